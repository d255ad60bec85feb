"""The sheet of a kit: one page that a customer can read, and nothing on it that is the owner's."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import Unreconciled, WorkbookError
from analysis.packing.layouts import Layout, Piece, Placed, Pull, Sheet
from analysis.pricing.counter_kits import Kit
from analysis.pricing.kit_layout import KitPiece
from analysis.pricing.layout_pieces import numbered
from analysis.report.kit_cautions import KIT_CAUTIONS, KIT_DEFER
from analysis.report.kit_sheet import kit_page
from analysis.report.kit_text import KitRow, cut_off, kit_lines, kit_object, kit_rows, spans
from analysis.report.layout_picture import is_ours
from analysis.settings import Settings, parse_settings

INCH = 0.0254
INCHES = Settings()
MILLIMETRES = parse_settings(
    'length_unit = "mm"\narea_unit = "m2"\ndecimal_comma = true\nlocale = "de-DE"\n'
    'currency = "EUR"\nprices_include_tax = true\ntax_rate = 0.19\n'
)
DAY = pd.Timestamp("2026-09-30")
NAN = float("nan")
BROWSERS = ("chromium", "chromium-browser", "google-chrome", "chrome")
# Length, width and number of pieces, finished, in inches.
Size = tuple[float, float, int]
ROOF: dict[str, Size] = {"roof": (62, 45, 1)}
TRIM: dict[str, Size] = {"grille surround": (38, 12, 1), "window trim": (38, 3, 3)}


def kit_of(
    panels: dict[str, Size],
    *,
    over: float = 4.5,
    pulls: int = 1,
    roll: float = 60.0,
    **given: object,
) -> Kit:
    """A kit whose pieces lie one behind another, dealt out over so many pulls."""
    pieces, to_cut = [], []
    for panel, (length, width, count) in panels.items():
        size = ((length + over) * INCH, (width + over) * INCH)
        pieces.append(KitPiece(panel, count, *size, length * INCH, width * INCH))
        to_cut += numbered(panel, count, size, (), "GB-60", "")
    laid = [
        _pull(to_cut[at::pulls], Sheet("roll", roll * INCH, cost_per_m=10.0)) for at in range(pulls)
    ]
    layout = Layout(tuple(laid), 1.0, 1.0, True)
    owner = {"film_cost": 17.31, "lowest_price": 61.23, "install_leaves": 181.47}
    asked = {"service": "roof", "vehicle_class": "midsize car", "film": "GB-60"}
    asked |= {"make": None, "model": None, "note": "Only the owner reads this."}
    sums = {"cut_length_m": layout.length_m, "film_area_m2": layout.roll_area_m2}
    sizes = {"allowance_m": over / 2 * INCH, "roll_width_m": roll * INCH, **sums}
    prices = {"price": 95.0, "install_price": 395.0}
    made = {"layout": layout, "pieces": tuple(pieces), **asked, **sizes, **prices, **owner}
    return Kit(**(made | given))  # type: ignore[arg-type]


def _pull(pieces: list[Piece], sheet: Sheet) -> Pull:
    placed, along = [], 0.0
    for each in pieces:
        placed.append(Placed(each, along, 0.0, each.length_m, each.width_m, turned=False))
        along += each.length_m
    return Pull(sheet, along, tuple(placed))


def text_of(page: str) -> str:
    """What is read on the page, without its head and its pictures' titles."""
    body = page[page.index("<body>") :]
    body = re.sub(r"<title>.*?</title>", "", body, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", body).replace("\u00a0", " ").split())


# --- what stands on it ---------------------------------------------------------------------------


def test_the_sheet_holds_pieces_prices_and_what_each_includes() -> None:
    page = kit_page(kit_of(ROOF), INCHES, DAY)
    said = text_of(page)
    for part in (
        "Kit: roof, midsize car",
        "Film GB-60",
        "Sep 30, 2026",
        "The kit $95 Film in the sizes below.",
        "The same, fitted by the shop $395 Film and the work.",
        "Ask for the shop's own terms.",
        "1 piece, from 66 1/2 in off the roll of 60 in.",
        "2 1/4 in a side to trim",
        "1 roof 66 1/2 × 49 1/2 62 × 45",
        "tax, where it is due, comes on top",
    ):
        assert part in said.replace("&#39;", "'"), part
    assert is_ours(page.encode())
    assert kit_page(kit_of(ROOF), INCHES, DAY) == page


def test_every_caution_stands_on_every_sheet() -> None:
    """The line on tint too: no name of a service or film tells what is one."""
    for kit in (kit_of(ROOF), kit_of(TRIM, service="trim", film="X")):
        said = text_of(kit_page(kit, INCHES, DAY)).replace("&#39;", "'")
        for title, text in KIT_CAUTIONS:
            assert f"{title}. {text}" in said
        assert said.endswith(KIT_DEFER) or f"{KIT_DEFER} <!--" in said
    words = " ".join(text for _, text in KIT_CAUTIONS) + KIT_DEFER
    for subject in (
        "film-cutting tape", "towards your hand", "burn", "crack glass", "disconnect",
        "licensed practice", "radar", "number plates", "Gloves", "no flame", "helper", "cure",
        "fresh", "windscreen", "lamp", "insurance", "lease", "local rules", "Local codes",
        "Common practice in the trade; the film maker's instructions and local rules come first.",
    ):  # fmt: skip
        assert subject in words, subject


def test_what_is_the_owners_is_not_on_the_sheet() -> None:
    """In no unit of writing: neither in the text, nor in the page's source."""
    for settings in (INCHES, MILLIMETRES):
        page = kit_page(kit_of(ROOF), settings, DAY)
        for amount in ("61.23", "61,23", "181.47", "181,47", "17.31", "17,31", "Only the owner"):
            assert amount not in page
        for word in ("lowest", "leaves", "margin", "cost"):
            assert word not in text_of(page).casefold()
    for_the_owner = "\n".join(kit_lines(kit_of(ROOF), INCHES))
    for amount in ("$61.23", "$181.47", "Only the owner"):
        assert amount in for_the_owner


def test_a_price_that_is_not_known_is_asked_for_and_never_0() -> None:
    kit = kit_of(ROOF, price=NAN, install_price=NAN, lowest_price=NAN, install_leaves=NAN)
    page = kit_page(kit, INCHES, DAY)
    assert re.findall(r'<p class="price">(.*?)</p>', page) == ["ask", "ask"]
    assert "nan" not in text_of(page).casefold()
    lines = kit_lines(kit, INCHES)
    assert "Price of the kit: not known" in lines
    assert "Price of the install: not known" in lines
    owner = "For you, not on the sheet. Lowest price: not known. An install leaves: not known."
    assert owner in lines
    assert "$0" not in "".join([*lines, page])
    found = kit_object(kit, INCHES, DAY)
    assert [found[name] for name in ("price", "install_price", "lowest_price")] == [None] * 3


def test_sizes_that_are_not_known_are_dashes() -> None:
    kit = kit_of(ROOF, allowance_m=NAN, cut_length_m=NAN)
    (piece,) = kit.pieces
    bare = KitPiece(piece.panel, 1, piece.length_m, piece.width_m, NAN, NAN)
    kit = kit_of(ROOF, allowance_m=NAN, cut_length_m=NAN, pieces=(bare,))
    assert kit_rows(kit, INCHES) == (KitRow("1", "roof", 1, "66 1/2 × 49 1/2", "–"),)
    said = text_of(kit_page(kit, INCHES, DAY))
    assert "to trim" not in said
    assert "a length that is not known off the roll of 60 in" in said


def test_cents_stand_only_where_there_are_some() -> None:
    page = kit_page(kit_of(ROOF, price=94.5, install_price=1395.0), INCHES, DAY)
    assert re.findall(r'<p class="price">(.*?)</p>', page) == ["$94.50", "$1,395"]


def test_another_unit_and_another_way_of_writing_numbers() -> None:
    """66.5 in are 1,689.1 mm, 49.5 in 1,257.3; the pull is cut at the next mark, 1,690."""
    kit = kit_of(ROOF, price=94.5, install_price=1395.0)
    said = text_of(kit_page(kit, MILLIMETRES, DAY))
    for part in (
        "94,50 €",
        "1.395 €",
        "1.690 mm off the roll of 1.524 mm",
        "1.689 × 1.257 1.575 × 1.143",
        "57 mm a side",
        "30.09.2026",
        "19 % tax included",
        "rulers are in millimetres",
    ):
        assert part in said, part


# --- what people typed ---------------------------------------------------------------------------


def test_what_people_typed_is_text_and_nothing_else() -> None:
    evil = '<script>alert(1)</script> & "'
    panels = {"roof <b>&": (62.0, 45.0, 1), "cap\u202e\n": (10.0, 8.0, 2)}
    kit = kit_of(panels, service=evil, vehicle_class="<i>car", film="<u>F", make="<s>", model="'\"")
    page = kit_page(kit, INCHES, DAY)
    for markup in ("<script", "<b>", "<i>", "<u>", "<s>", "\u202e"):
        assert markup not in page
    assert "&lt;script&gt;" in page
    assert "roof &lt;b&gt;&amp;" in page
    lines = "\n".join(kit_lines(kit, INCHES))
    assert "\u202e" not in lines


def test_the_page_asks_for_nothing() -> None:
    page = kit_page(kit_of(TRIM), INCHES, DAY)
    assert not re.search(r"(?:src|href)\s*=|@import|url\((?!#)|<script|<link|<img", page)
    hosts = set(re.findall(r"https?://[\w.]+", page))
    assert hosts <= {"http://www.w3.org"}
    assert "default-src 'none'" in page


# --- the drawing and its list --------------------------------------------------------------------


def test_the_numbers_of_the_list_are_those_of_the_drawing() -> None:
    """Three strips of trim, dealt over two pulls: 1 and 2 on the first, 3 and 4 on the second."""
    kit = kit_of(TRIM, pulls=2)
    assert kit_rows(kit, INCHES) == (
        KitRow("1", "grille surround", 1, "42 1/2 × 16 1/2", "38 × 12"),
        KitRow("2–4", "window trim", 3, "42 1/2 × 7 1/2", "38 × 3"),
    )
    page = kit_page(kit, INCHES, DAY)
    pictures = [ET.fromstring(svg) for svg in re.findall(r"<svg.*?</svg>", page, re.DOTALL)]  # noqa: S314
    assert len(pictures) == 2
    drawn = [each.get("data-number") for svg in pictures for each in svg.iter()]
    assert [each for each in drawn if each] == ["1", "2", "3", "4"]
    assert "170 in (14 ft 2 in) off the roll of 60 in, in 2 pulls" in text_of(page)
    keys = re.findall(r'<pattern id="([^"]+)"', page)
    assert len(keys) == len(set(keys)) == 2
    # Shown smaller than drawn: no scale is claimed, the rulers tell it.
    assert "1 : 20" not in page


def test_a_panel_of_several_sizes_has_a_row_for_each() -> None:
    kit = kit_of({"glass": (30, 20, 1), "glass ": (40, 20, 2)})
    pieces = tuple(
        KitPiece("glass", p.number, p.length_m, p.width_m, p.finished_length_m, p.finished_width_m)
        for p in kit.pieces
    )
    layout = Layout(
        tuple(
            Pull(
                pull.sheet,
                pull.length_m,
                tuple(
                    Placed(
                        Piece(p.piece.name.replace("glass ", "glass"), p.length_m, p.width_m),
                        p.along_m, p.across_m, p.length_m, p.width_m, False,
                    )
                    for p in pull.placed
                ),
            )
            for pull in kit.layout.pulls
        ),
        1.0, 1.0, True,
    )  # fmt: skip
    named = kit_of({"glass": (30, 20, 1)}, pieces=pieces, layout=layout)
    rows = kit_rows(named, INCHES)
    assert [(row.numbers, row.count, row.finished) for row in rows] == [
        ("1", 1, "30 × 20"),
        ("2–3", 2, "40 × 20"),
    ]


def test_a_drawn_piece_that_the_kit_does_not_hold_is_refused() -> None:
    kit = kit_of(ROOF, pieces=kit_of(TRIM).pieces)
    with pytest.raises(Unreconciled, match="roof"):
        kit_rows(kit, INCHES)


def test_more_pieces_than_a_page_holds_are_refused() -> None:
    many: dict[str, Size] = {f"part {at}": (8.0 + at / 8, 3.0, 1) for at in range(29)}
    with pytest.raises(WorkbookError, match="29 different pieces, and one sheet holds 28"):
        kit_page(kit_of(many), INCHES, DAY)


def test_pulls_too_many_to_read_are_not_drawn_and_it_says_so() -> None:
    many: dict[str, Size] = {"door": (60.0, 40.0, 40)}
    page = kit_page(kit_of(many, pulls=40), INCHES, DAY)
    assert "<svg" not in page
    assert "too many pulls to draw" in text_of(page)
    assert "1–40 door × 40 64 1/2 × 44 1/2 60 × 40" in text_of(page)


def test_spans_of_numbers() -> None:
    assert spans([3, 1, 2, 7, 9, 8, 5]) == "1–3, 5, 7–9"
    assert spans([4]) == "4"


def test_a_metric_cut_is_never_told_too_short() -> None:
    """1.5 m are 59.06 in: cut at 59 1/8."""
    assert cut_off(kit_of(ROOF, cut_length_m=1.5), INCHES) == "59 1/8 in off the roll of 60 in"


def test_the_object_is_in_the_shops_units() -> None:
    found = kit_object(kit_of(TRIM), MILLIMETRES, DAY, ("A note.",), Path("a.html"))
    assert found["pieces"][1] == {
        "panel": "window trim",
        "number": 3,
        "length": 1079.5,
        "width": 190.5,
        "finished_length": 965.2,
        "finished_width": 76.2,
    }
    assert found["roll_width"] == 1524.0
    assert (found["lowest_price"], found["install_leaves"]) == (61.23, 181.47)
    assert math.isclose(found["film_area"], 4 * 1.0795 * 1.524, rel_tol=1e-6)
    assert found["notes"] == ["A note.", "Only the owner reads this."]
    assert (found["as_of"], found["sheet"]) == ("2026-09-30", "a.html")


# --- on paper ------------------------------------------------------------------------------------


def printed_pages(page: str, paper: str, folder: Path) -> int:
    """How many pages a browser prints on that paper."""
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        pytest.skip("no browser here that prints a page")
    plain = "@page { size: portrait;"
    assert page.count(plain) == 1
    source, out = folder / f"{paper}.html", folder / f"{paper}.pdf"
    source.write_text(page.replace(plain, f"@page {{ size: {paper} portrait;"), encoding="utf-8")
    subprocess.run(
        [
            browser,
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--no-pdf-header-footer",
            f"--user-data-dir={folder / 'profile'}",
            f"--print-to-pdf={out}",
            str(source),
        ],
        capture_output=True,
        check=True,
        timeout=120,
    )
    return len(re.findall(rb"/Type\s*/Page\b", out.read_bytes()))


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_fullest_sheet_prints_on_one_page(paper: str, tmp_path: Path) -> None:
    """As many rows as fit, the drawing as large as can be, and every name too long."""
    name = "WWWWW WWWWW " * 12
    widest: dict[str, Size] = {f"{at} {name}": (1.5 + at / 8, 44.0, 1) for at in range(28)}
    kit = kit_of(widest, over=1.125, service=name, vehicle_class=name, film=name)
    assert kit.layout.length_m > 2.0
    assert printed_pages(kit_page(kit, INCHES, DAY), paper, tmp_path) == 1


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("rows", [1, 18])
def test_a_sheet_prints_on_one_page(rows: int, paper: str, tmp_path: Path) -> None:
    """One long piece, drawn small; and a wide drawing beside rows of two lines each."""
    panels: dict[str, Size] = {
        f"rear quarter, outer side {at}": (96 / rows - 3 + at / 16, 44.0, 1) for at in range(rows)
    }
    page = kit_page(kit_of(panels, over=1.125), MILLIMETRES, DAY)
    assert "<svg" in page
    assert printed_pages(page, paper, tmp_path) == 1


def test_more_pages_than_one_would_be_counted(tmp_path: Path) -> None:
    page = kit_page(kit_of(ROOF), INCHES, DAY)
    longer = page.replace("</body>", "<p>more</p>" * 100 + "</body>")
    assert printed_pages(longer, "A4", tmp_path) > 1
