"""The picture of a cutting layout: its numbers are the layout's, and it can be read and printed."""

from __future__ import annotations

import itertools
import math
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest

from analysis.errors import OutputError
from analysis.packing.layouts import Layout, Piece, Placed, Pull, Sheet
from analysis.pricing.layout_pieces import Before
from analysis.pricing.layout_sheets import FilmLayout, OneByOne
from analysis.report.layout_picture import film_picture, is_ours, layout_page, write_page
from analysis.report.layout_rests import LEAST_SIDE_M, left_over, parts
from analysis.report.layout_svg import SCALE, layout_svg
from analysis.report.layout_text import Tape, cut_rows, facts, in_order, layout_lines
from analysis.settings import Settings, parse_settings

INCH = 0.0254
INCHES = Settings()
CENTIMETRES = parse_settings(
    'length_unit = "cm"\narea_unit = "m2"\ndecimal_comma = true\nlocale = "de-DE"\n'
    'currency = "EUR"\n'
)
NAMESPACE = "{http://www.w3.org/2000/svg}"
ROLL = Sheet("roll", 60 * INCH, cost_per_m=10.0)


def placed(
    name: str, along: float, across: float, length: float, width: float, *, turned: bool = False
) -> Placed:
    """A piece by the tape in inches: where it lies, and its size there."""
    size = (width, length) if turned else (length, width)
    piece = Piece(name, size[0] * INCH, size[1] * INCH, owner="J1")
    return Placed(piece, along * INCH, across * INCH, length * INCH, width * INCH, turned)


def pull_of(*pieces: Placed, length: float, sheet: Sheet = ROLL) -> Pull:
    return Pull(sheet, length * INCH, pieces)


HOOD = placed("hood", 0, 0, 48, 40.375)
DOORS = (
    placed("doors 1 of 2", 48, 0, 24, 36, turned=True),
    placed("doors 2 of 2", 72, 0, 24, 36, turned=True),
)
CAP = placed("cap <b>&", 0, 40.375, 12, 10.5)
PULL = pull_of(DOORS[1], CAP, HOOD, DOORS[0], length=96)


def film_of(*pulls: Pull, least: float = 0.0, best: bool = False, **more: object) -> FilmLayout:
    cost = sum(each.length_m * each.sheet.cost_per_m for each in pulls)
    given = {"is_priced": True, "alone": OneByOne(3.0, 5.0, 30.0), "knife_gap_m": 0.0}
    given |= {"before": None, "before_cost": math.nan}
    return FilmLayout("F-1", Layout(pulls, cost, least or cost, best), **(given | more))  # type: ignore[arg-type]


def drawing(svg: str) -> ET.Element:
    """The picture, which must be well-formed."""
    return ET.fromstring(svg)  # noqa: S314 - our own text


def boxes(root: ET.Element) -> dict[int, tuple[float, float, float, float]]:
    """Each piece's box by its number: left, top, width, height on paper. [mm]"""
    found = {}
    for group in root.iter(f"{NAMESPACE}g"):
        if group.get("class") == "piece":
            rect = group.find(f"{NAMESPACE}rect")
            assert rect is not None
            found[int(group.get("data-number", ""))] = tuple(
                float(rect.get(name, "")) for name in ("x", "y", "width", "height")
            )
    return found


def texts(root: ET.Element) -> list[str]:
    return ["".join(each.itertext()) for each in root.iter(f"{NAMESPACE}text")]


# --- the tape ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("inches", "text"),
    [
        (0, "0"),
        (58.375, "58 3/8"),
        (0.5, "1/2"),
        (0.4999999, "1/2"),
        (60.06, "60"),
        (60.07, "60 1/8"),
        (11.99, "12"),
    ],
)
def test_inches_are_read_to_the_eighth(inches: float, text: str) -> None:
    assert Tape(INCHES).read(inches * INCH) == text


def test_long_lengths_in_inches_are_in_feet_too() -> None:
    tape = Tape(INCHES)
    assert tape.length(119.5 * INCH) == "119 1/2 in"
    assert tape.length(120 * INCH) == "120 in (10 ft 0 in)"
    assert tape.length(166.25 * INCH) == "166 1/4 in (13 ft 10 1/4 in)"
    assert tape.size(48 * INCH, 40.375 * INCH) == "48 × 40 3/8 in"
    feet = Tape(parse_settings('length_unit = "ft"\n'))
    assert feet.length(5.5 * 12 * INCH) == "66 in"


@pytest.mark.parametrize(
    ("unit", "text"), [("cm", "152,4 cm"), ("mm", "1.524 mm"), ("m", "1,524 m")]
)
def test_metric_lengths_show_the_millimetre(unit: str, text: str) -> None:
    settings = parse_settings(f'length_unit = "{unit}"\ndecimal_comma = true\nlocale = "de-DE"\n')
    assert Tape(settings).length(1.524) == text


def test_a_pull_is_never_told_too_short() -> None:
    """A metric piece in a shop of inches: 1.5 m are 59.06 in, pulled at 59 1/8."""
    piece = Placed(Piece("p", 1.5, 1.0), 0.0, 0.0, 1.5, 1.0, turned=False)
    pull = Pull(ROLL, 1.5, (piece,))
    assert "Pull 1 of 1: 59 1/8 in off" in "".join(layout_lines([film_of(pull)], INCHES))
    assert "cut off at 59 1/8 in" in texts(drawing(layout_svg(pull, INCHES)))


def test_the_cut_list_is_in_the_order_of_cutting() -> None:
    rows = cut_rows(PULL, 5, INCHES)
    assert [(row.number, row.name) for row in rows] == [
        (5, "hood"), (6, "cap <b>&"), (7, "doors 1 of 2"), (8, "doors 2 of 2"),
    ]  # fmt: skip
    assert (rows[1].along, rows[1].across) == ("12", "10 1/2")
    assert (rows[1].from_start, rows[1].from_left) == ("0", "40 3/8")
    assert (rows[3].from_start, rows[3].from_left, rows[3].is_turned) == ("72", "0", True)


# --- the picture ---------------------------------------------------------------------------------


@pytest.mark.parametrize("settings", [INCHES, CENTIMETRES], ids=["in", "cm"])
def test_every_piece_is_drawn_to_scale_where_it_lies(settings: Settings) -> None:
    root = drawing(layout_svg(PULL, settings, first_number=5))
    found = boxes(root)
    assert sorted(found) == [5, 6, 7, 8]
    x, y, _, _ = found[5]
    for number, each in zip((5, 6, 7, 8), in_order(PULL), strict=True):
        expected = (each.across_m, each.along_m, each.width_m, each.length_m)
        left, top, width, height = found[number]
        np.testing.assert_allclose(
            np.array([left - x, top - y, width, height]) * SCALE / 1000, expected, atol=2e-4
        )
    assert root.get("width") == f"{root.get('viewBox', '').split()[2]}mm"


def test_the_numbers_in_it_are_those_of_the_layout() -> None:
    found = texts(drawing(layout_svg(PULL, INCHES, first_number=5)))
    for text in ("5", "hood", "48 × 40 3/8", "J1", "24 × 36", "doors 1 of 2 (turned)"):
        assert text in found
    assert "cut off at 96 in" in found
    # Where pieces end, beside the picture; the rulers by the foot.
    assert {"12", "48", "72", "96"} <= set(found)
    assert {"24", "36", "60", "84"} <= set(found)
    metric = texts(drawing(layout_svg(PULL, CENTIMETRES)))
    assert "121,9 × 102,6" in metric
    assert "cut off at 243,9 cm" in metric
    assert {"20", "140", "240"} <= set(metric)


def test_what_people_typed_is_text_and_nothing_else() -> None:
    svg = layout_svg(PULL, INCHES)
    assert "<b>" not in svg
    assert "cap <b>&" in "".join(drawing(svg).itertext())
    page = layout_page([film_of(PULL)], INCHES, "<script>alert(1)</script>")
    assert "<script" not in page
    assert "<b>&" not in page


def test_a_turned_piece_says_so_without_colour() -> None:
    root = drawing(layout_svg(PULL, INCHES))
    arrows = [each for each in root.iter(f"{NAMESPACE}path") if each.get("class") == "turned"]
    assert len(arrows) == 2
    assert sum("(turned)" in text for text in texts(root)) == 2


def test_it_has_words_for_those_who_do_not_see_it() -> None:
    root = drawing(layout_svg(PULL, INCHES, first_number=5))
    assert root.get("role") == "img"
    assert root.get("aria-label") == (
        "Cutting layout: 96 in off the roll of 60 in, pieces 5 to 8. The cut list holds every "
        "number."
    )


def test_no_text_leaves_its_piece() -> None:
    """Pieces from a hand's breadth to a roof: what is written fits, the number is always there."""
    sizes = (3, 5.5, 9, 16, 44.5, 60)
    for length, width in itertools.product(sizes, sizes):
        pull = pull_of(
            placed("rear quarter extension 12 of 12", 0, 0, length, width), length=length
        )
        root = drawing(layout_svg(pull, INCHES, first_number=123))
        ((_, _, box_width, box_height),) = boxes(root).values()
        (group,) = [each for each in root.iter(f"{NAMESPACE}g") if each.get("class") == "piece"]
        lines = list(group.iter(f"{NAMESPACE}text"))
        assert lines
        assert "123" in "".join(lines[0].itertext())
        for line in lines:
            size = float(line.get("font-size", ""))
            across = box_height if "rotate" in line.get("transform", "") else box_width
            assert 0.5 * size * len("".join(line.itertext())) <= across
            assert size <= max(box_width, box_height)


def test_what_is_left_over_is_named_with_its_size() -> None:
    """Beside the doors 24 in of the roll's 60 over 48 in; beside the cap 9 1/8; below it 36."""
    found = left_over(PULL)
    first = found[0]
    assert (first.letter, first.along_m / INCH) == ("A", pytest.approx(12))
    # From below the cap to the end: 84 in × 19 5/8, or 48 × 24 at the doors: the first is larger.
    assert first.length_m / INCH == pytest.approx(84)
    assert first.width_m / INCH == pytest.approx(60 - 40.375)
    assert all(min(each.length_m, each.width_m) >= LEAST_SIDE_M for each in found)
    assert "A: left over 84 × 19 5/8" in texts(drawing(layout_svg(PULL, INCHES)))


def test_left_over_film_lies_beside_the_pieces() -> None:
    """On layouts made by chance: inside the pull, over no piece, and not over one another."""
    chance = np.random.default_rng(7)
    for _ in range(40):
        cells = [(row, column) for row in range(5) for column in range(3)]
        chosen = [cells[at] for at in chance.permutation(15)[: chance.integers(1, 15)]]
        pieces = [
            placed("p", row * 20, column * 20, *chance.integers(5, 21, 2).tolist())
            for row, column in chosen
        ]
        pull = pull_of(*pieces, length=100)
        rests = left_over(pull)
        taken = [(e.along_m, e.across_m, e.length_m, e.width_m) for e in pieces]
        taken += [(e.along_m, e.across_m, e.length_m, e.width_m) for e in rests]
        for one, other in itertools.combinations(taken, 2):
            overlap = [
                min(one[side] + one[side + 2], other[side] + other[side + 2])
                - max(one[side], other[side])
                for side in (0, 1)
            ]
            assert min(overlap) <= 1e-6
        for along, across, length, width in taken:
            assert along + length <= pull.length_m + 1e-9
            assert across + width <= pull.sheet.width_m + 1e-9


def test_a_long_pull_is_drawn_in_stretches_that_fit_on_a_page() -> None:
    """Parted between two pieces where it can be; a piece over the edge is drawn on both."""
    rows = [placed(f"p{at}", at * 60, 0, 60, 50) for at in range(5)]
    pull = pull_of(*rows, length=300)
    assert [(a / INCH, b / INCH) for a, b in parts(pull)] == [
        (pytest.approx(0), pytest.approx(120)),
        (pytest.approx(120), pytest.approx(240)),
        (pytest.approx(240), pytest.approx(300)),
    ]
    shown = film_picture(film_of(pull), INCHES).pulls[0]
    assert [[row.number for row in part.rows] for part in shown.parts] == [[1, 2], [3, 4], [5]]
    long = pull_of(placed("stripe", 0, 0, 300, 5), length=300)
    stretches = parts(long)
    assert len(stretches) == 2
    for stretch in stretches:
        assert list(boxes(drawing(layout_svg(long, INCHES, part=stretch)))) == [1]
    second = texts(drawing(layout_svg(long, INCHES, part=stretches[1])))
    assert "cut off at 300 in" in second
    assert parts(PULL) == ((0.0, PULL.length_m),)


# --- in words ------------------------------------------------------------------------------------


def test_what_it_takes_and_saves() -> None:
    """96 × 60 in are 40 sq ft, 24.38 of money; alone 5 m²; as cut 5.6 + 0.5 m², 0.5 of it kept."""
    before = Before(3, ((2.0, 1.5), (2.0, 1.3)), 0.5, 0.5)
    film = film_of(PULL, least=24.384 / 1.02, before=before, before_cost=20.0)
    lines = facts(film, INCHES)
    lost = 1 - (48 * 40.375 + 12 * 10.5 + 2 * 24 * 36) / (96 * 60)
    assert lines[0] == (
        f"Film off rolls: 40.0 sq ft, $24.38 at its newest price; {lost * 100:.1f}% of the film "
        "under the knife is in no piece."
    )
    assert lines[1].endswith("this layout pulls 13.8 sq ft less, $5.62 less at today's prices.")
    then = "As it was cut: 3 pulls, 157 1/2 in (13 ft 1 1/2 in), 60.3 sq ft off rolls"
    assert lines[2] == (
        f"{then} and 5.4 sq ft of offcuts, of which 5.4 sq ft was kept. This layout takes no "
        "offcut, so the two are not alike."
    )
    alike = Before(3, ((2.0, 1.5), (2.0, 1.3)), 0.0, 0.0)
    compared = facts(film_of(PULL, least=24.0, before=alike, before_cost=20.0), INCHES)[2]
    assert compared == f"{then}; this layout pulls 20.3 sq ft less, $4.38 more at today's prices."
    assert lines[3] == "It is at most 2.0% longer than the shortest there may be."
    unpriced = facts(film_of(PULL, is_priced=False), INCHES)
    assert unpriced[0].startswith("Film off rolls: 40.0 sq ft; ")
    assert unpriced[1].endswith("this layout pulls 13.8 sq ft less.")


def test_how_sure_it_is() -> None:
    square = (Placed(Piece("p", 1, 1), 0, 0, 1, 1, turned=False),)
    narrow = Pull(Sheet("roll", 1.0, cost_per_m=5.0), 1.0, square)
    offcut = Pull(Sheet("C-9", 1.0, 1.0, 0.0, is_offcut=True), 1.0, square)
    best = facts(film_of(PULL, best=True), INCHES)[-1]
    assert best == "No shorter layout of these pieces on this film exists."
    assert "No cheaper layout" in facts(film_of(PULL, narrow, best=True), INCHES)[-1]
    bare = film_of(PULL, narrow, least=20.0, is_priced=False)
    assert "larger than the smallest" in facts(bare, INCHES)[-1]
    only = facts(film_of(offcut), INCHES)
    assert "takes no film off a roll" in only[-1]
    assert any("C-9. Look first" in line for line in only)


def test_the_lines_hold_every_piece_with_its_place() -> None:
    lines = layout_lines([film_of(PULL)], INCHES)
    assert lines[0] == "F-1: 4 pieces on 1 pull of 96 in."
    assert "  Pull 1 of 1: 96 in off the roll of 60 in" in lines
    place = "24 along × 36 across in, turned; 72 from the start, 0 from the left"
    assert f"      4  doors 2 of 2 (J1): {place}" in lines
    assert "blade" in lines[-1]


# --- the page ------------------------------------------------------------------------------------


def test_the_page_asks_for_nothing_and_holds_every_number() -> None:
    page = layout_page([film_of(PULL)], INCHES, "J1")
    assert not re.search(r"(?:src|href)\s*=|@import|url\((?!#)", page)
    assert page.count("<svg") == 1
    for text in ("40 3/8", "1 : 20", "Cut away from yourself", "1/8 in", "turned"):
        assert text in page
    assert layout_page([film_of(PULL)], INCHES, "J1") == page
    (svg,) = re.findall(r"<svg.*?</svg>", page, re.DOTALL)
    drawing(svg)
    two = layout_page([film_of(PULL, PULL), film_of(PULL)], INCHES, "J1")
    keys = re.findall(r'<pattern id="([^"]+)"', two)
    assert len(keys) == len(set(keys)) == 3


def test_a_page_is_replaced_only_where_it_is_ours(tmp_path: Path) -> None:
    records = tmp_path / "records"
    records.mkdir()
    out = tmp_path / "new" / "layout.html"
    page = layout_page([film_of(PULL)], INCHES, "J1")
    write_page(page, out, records)
    assert is_ours(out.read_bytes())
    other = layout_page([film_of(PULL)], CENTIMETRES, "J2")
    write_page(other, out, records)
    assert out.read_text(encoding="utf-8") == other
    assert [path.name for path in out.parent.iterdir()] == ["layout.html"]
    out.write_text(other.replace("J2", "J3"), encoding="utf-8")
    with pytest.raises(OutputError, match="not replaced"):
        write_page(page, out, records)
    assert "J3" in out.read_text(encoding="utf-8")
    foreign = tmp_path / "notes.html"
    foreign.write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match="not replaced"):
        write_page(page, foreign, records)
    assert foreign.read_text(encoding="utf-8") == "mine"
    with pytest.raises(OutputError, match="is a folder"):
        write_page(page, tmp_path, records / "x")
    with pytest.raises(OutputError, match="records folder"):
        write_page(page, records / "layout.html", records)
    assert not list(records.iterdir())


def test_what_would_ruin_film_stands_before_everything_else() -> None:
    """Without an allowance the page does not say that it is in the sizes."""
    warned = film_of(PULL, warning="Do not cut from this sheet.")
    page, plain = (layout_page([film], INCHES, "J1") for film in (warned, film_of(PULL)))
    assert page.index("Do not cut from this sheet.") < page.index('class="answer"')
    assert "with the allowance in them" in plain
    assert "with the allowance in them" not in page
    assert "Stop." not in plain
    lines = layout_lines([warned], INCHES)
    assert lines[1] == "  STOP. Do not cut from this sheet."
