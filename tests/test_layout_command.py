"""`layout` as a person runs it: its words, its picture, and how it ends."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.cutting import LayoutAsked, default_layout_out, prepare_layout
from analysis.packing.layouts import check_layout
from analysis.report.layout_picture import is_ours
from tests.shops import write_shop

DEMO = Path(__file__).parents[1] / "data_demo"
QUICK = ("--effort", "0.5")
COMMA = """
length_unit = "cm"
area_unit = "m2"
decimal_comma = true
locale = "de-DE"
currency = "EUR"
[film]
knife_gap = 0.3
"""
TABLES = {
    "jobs": """
        job_id | status | finished_on | service | make | model | vehicle_class | film |
        quoted_hours | quoted_price
        A1 | finished | 2026-05-04 | roof | Quillon | Heron | compact car | F | 2 | 300
        A2 | open | | roof | Quillon | Heron | compact car | F | 2 | 300
        A3 | open | | front | Quillon | Heron | compact car | F | 6 | 900
        A4 | open | | roof | Quillon | Crane | cargo van | F | 2 | 300""".replace("|\n", "|"),
    "purchases": """
        invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |
        unit_price
        A | 2026-04-06 | S | F | film | 152 | 2500 | 1 | 500""".replace("|\n", "|"),
    "cuts": """
        cut_id | cut_on | job_id | film | panel | pulled_length | pulled_width | piece_length |
        piece_width | finished_length | finished_width
        K1 | 2026-05-04 | A1 | F | roof | 180 | 152 | 171 | 116 | 160 | 110""".replace("|\n", "|"),
    "panels": """
        vehicle_class | service | panel | finished_length | finished_width | pieces
        compact car | roof | roof | 160 | 110 | 1
        compact car | front | hood | 130 | 100 | 1
        compact car | front | fender | 95 | 62 | 2
        cargo van | roof | roof | 290 | 170 | 1""",
}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> str:
    return str(write_shop(tmp_path_factory.mktemp("layout") / "shop", COMMA, **TABLES))


def test_a_past_job_of_the_demo_is_laid_out_and_drawn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A full colour change: the pieces as logged, before and after, and the picture beside."""
    picture = tmp_path / "layout.html"
    asked = ["layout", str(DEMO), "--jobs", "j1227", "--out", str(picture), *QUICK]
    assert main(asked) == 0
    said = capsys.readouterr()
    assert said.err == ""
    lines = said.out.splitlines()
    assert re.match(r"NK-DEEP-RED: 15 pieces on \d+ pulls, together [\d /]+ in", lines[0])
    for part in ("As it was cut: 9 pulls, 498 1/2 in", "Each piece by itself", "sq ft", "blade"):
        assert part in said.out
    assert "nan" not in said.out.casefold()
    assert is_ours(picture.read_bytes())
    text = picture.read_text(encoding="utf-8")
    for number in range(1, 16):
        assert f'data-number="{number}"' in text
    # Again, in its own place.
    assert main(asked) == 0
    assert is_ours(picture.read_bytes())


def test_the_layout_can_be_cut_and_takes_no_more_than_one_by_one(shop: str) -> None:
    plan = prepare_layout(shop, LayoutAsked(jobs=("A2", "A3", "a1"), gap="5 mm", effort=0.5))
    (film,) = plan.films
    pieces = [each.piece for pull in film.layout.pulls for each in pull.placed]
    assert len(pieces) == 5
    check_layout(film.layout, pieces, 0.005)
    assert film.layout.length_m <= film.alone.length_m + 1e-6
    assert film.knife_gap_m == pytest.approx(0.005)
    assert film.before is None


def test_a_shop_in_centimetres_with_a_decimal_comma(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "deep" / "cuts.html"
    arguments = ["layout", shop, "--jobs", "A2", "A3", "--allowance", "2,5", *QUICK]
    assert main([*arguments, "--out", str(out)]) == 0
    said = capsys.readouterr().out
    assert said.startswith("F: 4 pieces on ")
    for part in ("m²", "€", "off the roll of 152,0 cm", "(A3)"):
        assert part in said
    # 160 × 110 and 2.5 a side.
    assert "165,0 along × 115,0 across cm" in said or "115,0 along × 165,0 across cm" in said
    assert "cm" in out.read_text(encoding="utf-8")


def test_what_was_cut_is_told_against_what_could_have_been(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Pulled 180 for a roof of 171: nine centimetres of 152, at 13,16 € a square metre."""
    out = str(tmp_path / "a.html")
    assert main(["layout", shop, "--jobs", "A1", "--out", out]) == 0
    said = capsys.readouterr().out.replace("\u00a0", " ")
    assert "F: 1 piece on 1 pull of 171,0 cm." in said
    assert "As it was cut: 1 pull, 180,0 cm, 2,7 m² off rolls" in said
    assert "this layout pulls 0,14 m² less, 1,80 € less at today's prices" in said
    assert "No shorter layout" in said


def test_a_file_of_pieces_on_rolls_of_ones_own(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pieces = tmp_path / "two stripes.csv"
    pieces.write_text("panel;length;width;turn\nstripe;100;7,5;no\nstripe;60 in;7,5;\n")
    out = str(tmp_path / "a.html")
    arguments = ["layout", shop, "--pieces", str(pieces), "--out", out]
    assert main([*arguments, "--roll-width", "1 m", "76", "--keep-direction"]) == 0
    said = capsys.readouterr().out
    # 152.4 long side by side on the narrower roll; no film is named, so nothing has a price.
    assert "Film (not named): 2 pieces on 1 pull of 152,4 cm." in said
    assert "off the roll of 76,0 cm" in said
    assert "€" not in said
    assert "turned" not in said
    assert main([*arguments, "--film", "f"]) == 0
    assert "F: 2 pieces" in capsys.readouterr().out
    out = Path(shop).parent / "layouts"
    assert default_layout_out(Path(shop), LayoutAsked(pieces_file=pieces)) == (
        out / "layout-two_stripes.html"
    )
    jobs = LayoutAsked(jobs=("A/1", "B 2"))
    assert default_layout_out(Path(shop), jobs) == out / "layout-A_1-B_2.html"
    many = [f"J{number}" for number in range(40)]
    one, other = (LayoutAsked(jobs=(*many, last)) for last in ("A", "B"))
    names = {default_layout_out(Path(shop), each).name for each in (one, other)}
    assert len(names) == 2
    assert all(len(name) < 110 for name in names)


def test_a_pull_is_no_longer_than_it_may_be(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = str(tmp_path / "a.html")
    arguments = ["layout", shop, "--jobs", "A2", "A3", "A1", "--longest-pull", "2 m", *QUICK]
    assert main([*arguments, "--out", out]) == 0
    pulls = re.findall(r"Pull \d+ of \d+: ([\d,]+) cm", capsys.readouterr().out)
    assert len(pulls) > 1
    assert all(float(each.replace(",", ".")) <= 200 for each in pulls)


@pytest.mark.parametrize(
    ("arguments", "parts"),
    [
        (["--jobs", "A9"], ["There is no job A9"]),
        (["--jobs", "A4"], ["roof of A4", "176,0", "152,0 cm", "--roll-width"]),
        (["--jobs", "A2", "--roll-width", "wide"], ["--roll-width: 'wide'", "expected"]),
        (["--jobs", "A2", "--gap=-1"], ["--gap: '-1' is negative"]),
        (["--jobs", "A2", "--film", "Z"], ["No roll width", "film Z"]),
        (["--pieces", "none.csv"], ["none.csv cannot be read"]),
        (["--pieces", "none.csv", "--allowance", "2"], ["--allowance is for the panels"]),
        (["--jobs", "A2", "--longest-pull", "50"], ["longest pull 50,0 cm"]),
        (["--jobs", "A2", "--out", "SHOP/a.html"], ["records folder"]),
    ],
)
def test_what_cannot_be_done_is_one_line(
    arguments: list[str], parts: list[str], shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    joined = [each.replace("SHOP", shop) for each in arguments]
    assert main(["layout", shop, *joined]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    for part in parts:
        assert part in said.err
    assert not list(Path(shop).glob("*.html"))


def test_a_file_of_somebody_else_stays(
    shop: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "mine.html"
    out.write_text("mine")
    assert main(["layout", shop, "--jobs", "A2", "--out", str(out)]) == 2
    assert "not replaced" in capsys.readouterr().err
    assert out.read_text() == "mine"


@pytest.mark.parametrize("arguments", [[], ["--jobs", "A2", "--pieces", "x.csv"]])
def test_jobs_or_a_file_are_asked_for(
    arguments: list[str], shop: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["layout", shop, *arguments])
    assert ended.value.code == 2
    assert "--pieces" in capsys.readouterr().err


def test_records_without_a_day_are_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    empty = {name: TABLES[name].strip().splitlines()[0] for name in ("jobs", "purchases")}
    folder = write_shop(tmp_path / "empty", COMMA, **empty)
    assert main(["layout", str(folder), "--jobs", "A1"]) == 2
    assert "No day of work" in capsys.readouterr().err
