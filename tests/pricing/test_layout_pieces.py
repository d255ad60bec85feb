"""The pieces of jobs and of a pieces file, and the film to cut them from, worked out by hand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import WorkbookError
from analysis.packing.layouts import Layout, Piece, Placed, Pull, Sheet
from analysis.pricing.layout_pieces import (
    MOST_PIECES,
    WITHOUT_ALLOWANCE,
    Before,
    PieceSet,
    by_film,
    pieces_of_jobs,
    tape_mark_m,
    up_to_mark,
)
from analysis.pricing.layout_sheets import (
    FilmSheets,
    alone,
    film_sheets,
    lay_out,
    roll_prices,
    too_large,
    widest_roll_m,
)
from analysis.pricing.pieces_file import read_pieces
from analysis.pricing.usual_sizes import ALL_PANELS, usual_allowance
from analysis.records.model import Records
from analysis.settings import Settings, parse_settings
from tests.shops import PLAIN, records_of

DAY = pd.Timestamp("2026-06-30")
JOBS = """
    job_id | status | finished_on | service | make | model | vehicle_class | film | quoted_hours |
    quoted_price
    J1 | finished | 2026-05-04 | roof | Quillon | Heron | compact car | F | 2 | 300
    J2 | finished | 2026-05-05 | roof | Quillon | Heron | compact car | F | 2 | 300
    J3 | open | | roof | Quillon | Heron | compact car | F | 2 | 300
    J4 | open | | front | Quillon | Stork | compact car | G | 6 | 900
    J5 | open | | roof | Quillon | Heron | compact car | | 2 | 300
    J6 | open | | wash | Quillon | Heron | compact car | | 1 | 30
    J7 | open | | roof | Quillon | Crane | cargo van | F | 2 | 300
    J8 | finished | 2024-05-05 | hood | Quillon | Heron | compact car | F | 2 | 300
    J9 | open | | hood | Quillon | Heron | compact car | F | 2 | 300""".replace("|\n", "|")
PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |
    unit_price
    A | 2023-01-05 | S | F | film | 1.8 | 25 | 1 | 900
    B | 2026-01-05 | S | F | film | 1.5 | 20 | 1 | 300
    C | 2026-02-05 | S | F | film | 1.5 | 20 | 2 | 360
    C | 2026-02-05 | S | freight | freight | | | 1 | 30
    D | 2026-02-06 | S | F | film | 1.2 | 25 | 1 | 450
    E | 2026-07-06 | S | F | film | 1.0 | 25 | 1 | 1""".replace("|\n", "|")
# Roofs with 0.05 along and 0.03 across a side; the old hood with 0.01 everywhere.
CUTS = """
    cut_id | cut_on | job_id | film | source | panel | pulled_length | pulled_width | pieces |
    piece_length | piece_width | finished_length | finished_width | kept_length | kept_width |
    reason
    1 | 2026-05-04 | J1 | F | roll | roof | 1.7 | 1.5 | 1 | 1.7 | 1.16 | 1.6 | 1.1 | 1.7 | 0.3 |
    2 | 2026-05-04 | J1 | F | roll | visor | 0.6 | 1.5 | 3 | 0.6 | 0.4 | 0.5 | 0.34 | | |
    3 | 2026-05-04 | J1 | F | roll | roof | 1.7 | 1.5 | 1 | | | | | | | recut
    4 | 2026-05-05 | J2 | F | roll | roof | 1.7 | 1.5 | 1 | 1.7 | 1.16 | 1.6 | 1.1 | 1.7 | 0.3 |
    5 | 2026-05-06 | J2 | F | offcut | badge | 0.5 | 0.3 | 1 | | | | | | |
    6 | 2024-05-05 | J8 | F | roll | hood | 1.3 | 1.5 | 1 | 1.02 | 1.22 | 1 | 1.2 | | |""".replace(
    "|\n    piece", "| piece"
).replace("|\n    reason", "| reason")
PANELS = """
    vehicle_class | make | model | service | panel | finished_length | finished_width | pieces
    compact car |  |  | roof | roof | 1.60 | 1.10 | 1
    compact car |  |  | front | hood | 1.30 | 1.00 | 1
    compact car |  |  | front | fender | 0.60 | 0.90 | 2
     | Quillon | Stork | front | hood | 1.20 | 0.90 | 1
    cargo van |  |  | roof | roof | 2.90 | 1.48 | 1"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Costing, Records]:
    return costed(tmp_path_factory.mktemp("pieces"))


def costed(folder: Path, toml: str = PLAIN, **more: str) -> tuple[Costing, Records]:
    tables = {"jobs": JOBS, "purchases": PURCHASES, "cuts": CUTS, "panels": PANELS} | more
    records = records_of(folder / "shop", toml, **tables)
    return cost_records(records, DAY), records


def sets(shop: tuple[Costing, Records], *jobs: str, **more: Any) -> tuple[PieceSet, ...]:
    costing, records = shop
    return pieces_of_jobs(
        costing,
        records,
        jobs,
        DAY,
        widest=lambda film: widest_roll_m(costing, film, DAY, ()),
        **more,
    )


def sizes(found: PieceSet) -> list[tuple[str, float, float]]:
    return [(each.name, round(each.length_m, 6), round(each.width_m, 6)) for each in found.pieces]


def test_a_job_that_was_cut_gives_what_was_logged(shop: tuple[Costing, Records]) -> None:
    """First-time cuts alone; three pieces of a cut are three; how they were cut stands beside."""
    (found,) = sets(shop, "j-1")
    assert found.film == "F"
    assert sizes(found) == [
        ("roof", 1.7, 1.16),
        ("visor 1 of 3", 0.6, 0.4),
        ("visor 2 of 3", 0.6, 0.4),
        ("visor 3 of 3", 0.6, 0.4),
    ]
    assert {each.owner for each in found.pieces} == {"J1"}
    before = found.before
    assert before is not None
    assert (before.pulls, before.offcut_area_m2) == (2, 0)
    assert before.roll_length_m == pytest.approx(2.3)
    assert before.roll_area_m2 == pytest.approx(2.3 * 1.5)
    assert before.kept_area_m2 == pytest.approx(1.7 * 0.3)


def test_a_cut_without_piece_sizes_stands_as_it_was_pulled(
    shop: tuple[Costing, Records],
) -> None:
    (found,) = sets(shop, "J2")
    assert sizes(found) == [("roof", 1.7, 1.16), ("badge", 0.5, 0.3)]
    assert found.before is not None
    assert found.before.offcut_area_m2 == pytest.approx(0.15)
    assert found.before.roll_length_m == pytest.approx(1.7)
    assert found.notes == ("5 has no piece sizes: what was pulled for it stands as one piece.",)


def test_a_job_to_come_takes_the_panels_with_the_usual_allowance(
    shop: tuple[Costing, Records],
) -> None:
    (found,) = sets(shop, "J3")
    assert sizes(found) == [("roof", 1.7, 1.16)]
    assert (found.before, found.notes) == (None, ())
    (wide,) = sets(shop, "J3", allowance_m=0.1)
    assert sizes(wide) == [("roof", 1.8, 1.3)]
    (bare,) = sets(shop, "J3", allowance_m=0.0)
    assert sizes(bare) == [("roof", 1.6, 1.1)]


def test_the_panels_of_the_model_go_before_those_of_the_class(
    shop: tuple[Costing, Records],
) -> None:
    """Its hood, with the hood's own allowance of two years ago; fenders with that of all panels."""
    (found,) = sets(shop, "J4")
    assert found.film == "G"
    # All panels of the last year: long sides 0.05, 0.05, 0.05, short 0.03, 0.03, 0.03.
    assert sizes(found) == [
        ("hood", 1.22, 0.92),
        ("fender 1 of 2", 0.66, 1.0),
        ("fender 2 of 2", 0.66, 1.0),
    ]


def test_without_any_allowance_known_the_sheet_must_not_be_cut_from(tmp_path: Path) -> None:
    """A shop that writes no cuts down: pieces at their finished size carry a warning."""
    cuts = CUTS.splitlines()[1:2]
    shop = costed(tmp_path, cuts="\n".join(["", *cuts]))
    (bare,) = sets(shop, "J3")
    assert bare.warning == WITHOUT_ALLOWANCE
    (told,) = sets(shop, "J3", allowance_m=0.0)
    assert told.warning == ""
    assert sizes(told) == sizes(bare)
    (joined,) = by_film([told, bare])
    assert joined.warning == WITHOUT_ALLOWANCE


def test_the_usual_allowance_is_of_the_last_year_else_of_all(
    shop: tuple[Costing, Records],
) -> None:
    found = usual_allowance(shop[0].shelf.pulls, DAY)
    assert found.loc["roof"].tolist() == [pytest.approx(0.05), pytest.approx(0.03)]
    assert found.loc["hood"].tolist() == [pytest.approx(0.01), pytest.approx(0.01)]
    assert found.loc[ALL_PANELS].tolist() == [pytest.approx(0.05), pytest.approx(0.03)]
    before = usual_allowance(shop[0].shelf.pulls, pd.Timestamp("2023-01-01"))
    assert before.loc[ALL_PANELS].isna().all()


def test_the_allowance_gives_way_where_no_roll_is_wide_enough(
    shop: tuple[Costing, Records],
) -> None:
    """A roof of 1.48 takes 1.5, the widest roll bought lately; not 1.54."""
    (found,) = sets(shop, "J7")
    assert sizes(found) == [("roof", 3.0, 1.5)]
    assert "gives way" in found.notes[0]


def test_a_job_without_a_film_takes_the_usual_one_and_says_so(
    shop: tuple[Costing, Records],
) -> None:
    (found,) = sets(shop, "J5")
    assert found.film == "F"
    assert found.notes == ("J5 names no film: F, the usual one for roof.",)
    (other,) = sets(shop, "J5", film="G")
    assert (other.film, other.notes) == ("G", ())


def test_without_panels_the_pieces_are_as_cut_before(shop: tuple[Costing, Records]) -> None:
    (found,) = sets(shop, "J9")
    assert sizes(found) == [("hood", 1.02, 1.22)]
    assert found.notes == ("J9, hood: no sizes in panels, pieces as cut on this model before.",)


def test_jobs_of_one_film_are_one_set(shop: tuple[Costing, Records]) -> None:
    """What was cut then is told only where all of it was."""
    both = sets(shop, "J1", "J3", "J1")
    assert [(each.film, len(each.pieces)) for each in both] == [("F", 5)]
    assert both[0].before is None
    (cut,) = sets(shop, "J1", "J2")
    assert cut.before is not None
    assert cut.before.pulls == 4
    assert [each.film for each in sets(shop, "J3", "J4")] == ["F", "G"]
    # In another film than then, nothing is said about then.
    (other,) = sets(shop, "J1", film="G")
    assert (other.film, other.before) == ("G", None)
    assert sets(shop, "J1", film="F")[0].before is not None


@pytest.mark.parametrize(("job", "part"), [("J99", "There is no job J99"), ("J6", "No piece of")])
def test_what_is_not_known_is_one_line(job: str, part: str, shop: tuple[Costing, Records]) -> None:
    with pytest.raises(WorkbookError, match=part):
        sets(shop, job)


def test_directional_film_keeps_its_direction(tmp_path: Path) -> None:
    shop = costed(tmp_path, PLAIN + '[film]\ndirectional = ["F"]\n')
    assert not any(each.may_turn for found in sets(shop, "J1", "J3") for each in found.pieces)
    assert all(each.may_turn for found in sets(shop, "J4") for each in found.pieces)


def test_worked_out_sizes_are_rounded_up_to_the_tape() -> None:
    assert tape_mark_m("in") == tape_mark_m("ft") == pytest.approx(0.0254 / 8)
    assert tape_mark_m("cm") == 0.001
    assert up_to_mark(1.0, 0.001) == pytest.approx(1.0)
    assert up_to_mark(1.0002, 0.001) == pytest.approx(1.001)
    assert up_to_mark(0.1 + 0.2, 0.001) == pytest.approx(0.3)


def test_too_many_pieces_are_refused() -> None:
    many = PieceSet("F", (Piece("p", 1, 1),) * (MOST_PIECES + 1))
    with pytest.raises(WorkbookError, match="more than one layout holds"):
        by_film([many])


# --- rolls and offcuts ---------------------------------------------------------------------------


def test_rolls_as_bought_lately_at_their_newest_price(shop: tuple[Costing, Records]) -> None:
    """1.5 wide: (720 + 30) ÷ 60 m²; 1.2: 450 ÷ 30 m²; not the old width, nor the one to come."""
    costing, records = shop
    prices = roll_prices(costing, "F", DAY)
    assert prices.index.tolist() == [1.5, 1.2]
    np.testing.assert_allclose(prices, [12.5, 15])
    found = film_sheets(costing, records, "F", DAY, longest_m=5)
    assert found.is_priced
    rolls = [each for each in found.sheets if not each.is_offcut]
    assert [(each.width_m, each.longest_m) for each in rolls] == [(1.5, 5), (1.2, 5)]
    assert [each.cost_per_m for each in rolls] == [pytest.approx(18.75), pytest.approx(18)]
    # Two offcuts of 1.7 × 0.3 were kept, and 0.5 × 0.3 of the elder was used: one is whole.
    (offcut,) = [each for each in found.sheets if each.is_offcut]
    assert (offcut.name, offcut.width_m, offcut.longest_m) == ("4", 0.3, 1.7)
    assert offcut.cost_per_m == 0
    bare = film_sheets(costing, records, "F", DAY, use_offcuts=False)
    assert not any(each.is_offcut for each in bare.sheets)


def test_given_widths_cost_the_newest_price_of_the_film(shop: tuple[Costing, Records]) -> None:
    costing, records = shop
    found = film_sheets(costing, records, "F", DAY, widths_m=[1.0, 2.0], use_offcuts=False)
    assert found.is_priced
    # Newest of all widths: 450 ÷ 30 m².
    assert [(each.width_m, each.cost_per_m) for each in found.sheets] == [
        (2.0, pytest.approx(30)),
        (1.0, pytest.approx(15)),
    ]
    unknown = film_sheets(costing, records, "Z", DAY, widths_m=[1.2])
    assert not unknown.is_priced
    assert [each.cost_per_m for each in unknown.sheets] == [pytest.approx(1.2)]


@pytest.mark.parametrize("film", ["Z", ""])
def test_film_without_a_known_width_is_one_line(film: str, shop: tuple[Costing, Records]) -> None:
    with pytest.raises(WorkbookError, match="--roll-width"):
        film_sheets(*shop, film, DAY)


def test_pieces_one_by_one() -> None:
    """Each the shorter way off the roll that is cheapest for it."""
    rolls = [Sheet("roll", 1.5, cost_per_m=3), Sheet("roll", 1.0, cost_per_m=1)]
    pieces = [Piece("a", 2.0, 1.2), Piece("b", 0.9, 0.4), Piece("c", 0.9, 0.4, may_turn=False)]
    found = alone(pieces, rolls)
    assert found.length_m == pytest.approx(2.0 + 0.4 + 0.9)
    assert found.area_m2 == pytest.approx(2.0 * 1.5 + 0.4 + 0.9)
    assert found.cost == pytest.approx(2.0 * 3 + 0.4 + 0.9)


def test_equal_pieces_come_in_turn_and_then_is_priced_by_its_widths() -> None:
    """Three equal pieces laid in any order are numbered as they lie; 2 m off each of two rolls."""
    pieces = tuple(Piece(f"p {at} of 3", 1.0, 0.5) for at in (1, 2, 3)) + (Piece("q", 1.0, 0.6),)
    rolls = (Sheet("roll", 1.2, cost_per_m=4.0), Sheet("roll", 1.0, cost_per_m=3.0))

    def pack(asked: Any, sheets: Any, gap: float) -> Layout:
        one, two, three, other = asked
        first = Pull(rolls[0], 1.0, (laid(two, 0, 0), laid(other, 0, 0.5)))
        second = Pull(rolls[1], 1.0, (laid(one, 0, 0.5), laid(three, 0, 0)))
        return Layout((first, second), 7.0, 7.0, True)

    def laid(piece: Piece, along: float, across: float) -> Placed:
        return Placed(piece, along, across, piece.length_m, piece.width_m, turned=False)

    before = Before(2, ((2.0, 1.2), (2.0, 1.0)), 0.0, 0.0)
    found = lay_out(PieceSet("F", pieces, before), FilmSheets(rolls, True), 0.0, pack)
    names = [[each.piece.name for each in pull.placed] for pull in found.layout.pulls]
    assert names == [["p 1 of 3", "q"], ["p 2 of 3", "p 3 of 3"]]
    assert found.before_cost == pytest.approx(2 * 4 + 2 * 3)
    strange = Before(1, ((2.0, 0.9),), 0.0, 0.0)
    unknown = lay_out(PieceSet("F", pieces, strange), FilmSheets(rolls, True), 0.0, pack)
    assert np.isnan(unknown.before_cost)


def test_a_piece_that_fits_nowhere_is_found() -> None:
    sheets = [Sheet("roll", 1.5, 2.0), Sheet("7", 0.3, 1.0, 0.0, is_offcut=True)]
    fits = [Piece("a", 2.0, 1.5), Piece("b", 1.4, 1.8)]
    assert too_large(fits, sheets) is None
    assert too_large([*fits, Piece("c", 1.6, 1.6)], sheets).name == "c"  # type: ignore[union-attr]
    stiff = Piece("d", 1.4, 1.8, may_turn=False)
    assert too_large([stiff], sheets) is stiff


# --- a file of pieces ----------------------------------------------------------------------------

CENTIMETRES = parse_settings('length_unit = "cm"\ndecimal_comma = true\nlocale = "de-DE"\n')
INCHES = Settings()


def written(folder: Path, text: str, name: str = "pieces.csv") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_file_of_pieces_in_the_shops_unit(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "Panel;Length;Width;Pieces;Film;Turn;Owner\n"
        'hood;130,5;101;1;f;yes;J1\nstripe;4 m;7,5;2;;no;\n"roof; rear";20;5;;G;;\n',
    )
    found = read_pieces(path, CENTIMETRES, "F", ["F", "G"])
    assert [each.film for each in found] == ["F", "G"]
    assert sizes(found[0]) == [
        ("hood", 1.305, 1.01),
        ("stripe 1 of 2", 4.0, 0.075),
        ("stripe 2 of 2", 4.0, 0.075),
    ]
    assert [each.may_turn for each in found[0].pieces] == [True, False, False]
    assert [each.owner for each in found[0].pieces] == ["J1", "", ""]
    assert sizes(found[1]) == [("roof; rear", 0.2, 0.05)]
    assert found[0].notes == ()


def test_a_film_that_is_not_known_is_said(tmp_path: Path) -> None:
    path = written(tmp_path, "panel,length,width,film\nhood,60,48,GLOS-1\n")
    (found,) = read_pieces(path, INCHES, None, ["GLOSS-1"])
    assert found.film == "GLOS-1"
    assert found.notes == ("The film GLOS-1 is not in the records; did you mean GLOSS-1?",)


def test_the_file_goes_before_the_settings_on_turning(tmp_path: Path) -> None:
    settings = parse_settings('[film]\ndirectional = ["F"]\n')
    path = written(tmp_path, "panel,length,width,turn\na,60,48,\nb,60,48,yes\n")
    (found,) = read_pieces(path, settings, "F", ["F"])
    assert [each.may_turn for each in found.pieces] == [False, True]


HEAD = "panel,length,width,pieces,turn\n"


@pytest.mark.parametrize(
    ("text", "parts"),
    [
        ("", ["is empty", "panel, length, width"]),
        (HEAD, ["has no piece under its header"]),
        ("panel,length\nhood,60\n", ["row 1", "no column width"]),
        ("panel,lenght,width\nhood,60,48\n", ["row 1", "'lenght'", "did you mean length?"]),
        ("panel,length,width,owner,job\nhood,60,48,a,b\n", ["row 1", "'job'", "there twice"]),
        (HEAD + "hood,,48,1,yes\n", ["row 2", "column length", "blank"]),
        (HEAD + ",60,48,1,yes\n", ["row 2", "column panel", "blank"]),
        (HEAD + "hood,sixty,48,1,yes\n", ["row 2", "column length", "sixty", "expected"]),
        (HEAD + "hood,60,0,1,yes\n", ["row 2", "column width", "more than 0"]),
        (HEAD + "hood,60,48 kg,1,yes\n", ["row 2", "column width", "kg"]),
        (HEAD + "hood,60,48,1.5,yes\n", ["row 2", "column pieces", "no whole number"]),
        (HEAD + "hood,60,48,0,yes\n", ["row 2", "column pieces", "less than 1"]),
        (HEAD + "hood,60,48,999,yes\n", ["999 pieces", "Lay out fewer"]),
        (HEAD + "a,6,4,1,yes\nhood,60,48,1,perhaps\n", ["row 3", "column turn", "yes nor no"]),
        (HEAD + "hood,60,48,1,yes,more,still\n", ["row 2", "7 cells"]),
        (HEAD + 'hood,"60,48\n', ["row 2", "quotation mark"]),
        ("<html>", ["is a web page"]),
    ],
)
def test_each_mistake_is_one_line_with_its_place(
    text: str, parts: list[str], tmp_path: Path
) -> None:
    path = written(tmp_path, text)
    with pytest.raises(WorkbookError) as told:
        read_pieces(path, INCHES, "F", ["F"])
    line = str(told.value)
    assert "\n" not in line
    for part in parts:
        assert part in line, line
    assert "pieces.csv" in line or "Lay out fewer" in line


def test_a_file_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    with pytest.raises(WorkbookError, match="cannot be read"):
        read_pieces(tmp_path / "none.csv", INCHES, None, [])
