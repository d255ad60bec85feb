"""The price list of cut film and the kits: no price falls under the lowest by rounding."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.pricing.sale_costs import INSTALLS_UNKNOWN, STAFF_UNKNOWN
from analysis.report.figures_cut_film import (
    KIT_CAUTION,
    gather_cut_film_prices,
    gather_kits,
)
from analysis.report.grids import ABSENT, Grid
from analysis.report.kit_cautions import KIT_CAUTIONS
from analysis.settings import Settings, parse_settings
from tests.report import made_counter as made

NAN = float("nan")
HALVES = parse_settings("[counter]\nround_to = 0.5\nmargin = 0.3")
METRIC = parse_settings('currency = "EUR"\nlocale = "de-DE"\nlength_unit = "m"\narea_unit = "m2"')


def texts_of(grid: Grid) -> list[list[str]]:
    return [[cell.text for cell in row] for row in grid.rows]


def heads(grid: Grid) -> list[str]:
    return [each.text for each in grid.headings]


def film_info(frame: pd.DataFrame | None = None, settings: Settings | None = None) -> Any:
    tables = {} if frame is None else {"cut_film_prices": frame}
    return gather_cut_film_prices(made.counter_review(settings, **tables))


def kits_info(frame: pd.DataFrame | None = None, settings: Settings | None = None) -> Any:
    tables = {} if frame is None else {"counter_kits": frame}
    return gather_kits(made.counter_review(settings, **tables))


def pieces(**changes: Any) -> pd.DataFrame:
    """Three pieces of one film in round numbers."""
    frame = made.cut_film(("GB-60",)).head(3)
    given = {
        "lowest_price": [30.0, 50.0, 70.0],
        "price_to_ask": [60.0, 90.0, 130.0],
        "price_so_far": [25.0, 80.0, 140.0],
    }
    return frame.assign(**(given | changes))


# --- cut film -------------------------------------------------------------------------------------


def test_without_sales_it_says_why() -> None:
    review = made.no_counter_review()
    for gather in (gather_cut_film_prices, gather_kits):
        info = gather(review)
        assert info.line == made.LINE
        assert not info.grids
    empty = made.cut_film().head(0)
    assert film_info(empty).line == "There is nothing to show for 2026Q3."


@pytest.mark.parametrize(
    ("so_far", "title"),
    [
        (
            [25.0, 80.0, 140.0],
            "At the prices so far, 2 of 3 listed pieces are under the price to ask, 1 of them "
            "under the lowest price",
        ),
        (
            [60.0, 80.0, 140.0],
            "At the prices so far, 1 of 3 listed pieces is under the price to ask",
        ),
        (
            [60.0, 90.0, 130.0],
            "At the prices so far, none of 3 listed pieces is under the price to ask",
        ),
        (
            [25.0, NAN, NAN],
            "At the prices so far, 1 of 1 listed piece is under the price to ask, and under the "
            "lowest price too",
        ),
        (
            [NAN, NAN, NAN],
            "Prices to ask for 3 pieces of cut film; there are no prices so far to hold against "
            "them",
        ),
    ],
)
def test_the_title_counts_what_is_too_cheap(so_far: list[float], title: str) -> None:
    assert film_info(pieces(price_so_far=so_far)).title == title


def test_each_film_has_a_table_by_width_and_length() -> None:
    info = film_info()
    first, second, per_length, every = info.grids
    assert first.caption == "GB-60: price by width and length, USD"
    assert second.caption == "MB-60: price by width and length, USD"
    assert heads(first) == ["Width", "Price", "24", "48", "72", "120", "Strip"]
    assert [each.unit for each in first.headings] == ["in", "", *["in"] * 4, ""]
    frame = made.cut_film()
    film = frame[frame["film"] == "GB-60"]
    rows = texts_of(first)
    assert [row[:2] for row in rows] == [
        [width, line] for width in ("30", "60") for line in ("to ask", "lowest", "so far")
    ]
    for at, width in enumerate((30, 60)):
        part = film[(film["width_m"] / made.INCH).round() == width].sort_values("length_m")
        for line, name in enumerate(("price_to_ask", "lowest_price", "price_so_far")):
            shown = [float(text) for text in rows[3 * at + line][2:-1]]
            assert shown == pytest.approx(part[name].tolist(), abs=0.0051)
    # Nothing was sold of the second film so far: it has no line for that.
    assert {row[1] for row in texts_of(second)} == {"to ask", "lowest"}
    assert per_length.caption.startswith("Lowest price per length, USD / in")
    assert len(every.rows) == len(frame)


def test_the_strip_is_told_by_width_and_where_it_hangs_on_the_length() -> None:
    rows = texts_of(film_info().grids[0])
    assert [row[-1] for row in rows] == [
        "price the whole width (24); keep the strip (48, 72 and 120)",
        "",
        "",
        "no strip",
        "",
        "",
    ]
    one = film_info(pieces(strip="keep the strip")).grids[0]
    assert texts_of(one)[0][-1] == "keep the strip"
    none = film_info(pieces(strip=pd.Series([None] * 3, dtype="str"))).grids[0]
    assert texts_of(none)[0][-1] == ""


def test_the_lowest_price_is_no_lower_for_being_rounded() -> None:
    info = film_info(pieces(lowest_price=[31.4, 50.0, 70.0], price_to_ask=[60.5, 90.0, 130.0]))
    rows = texts_of(info.grids[0])
    assert rows[1][2:5] == ["31.40", "50.00", "70.00"]
    halves = film_info(pieces(price_to_ask=[60.5, 90.0, 130.0]), HALVES)
    assert texts_of(halves.grids[0])[0][2:5] == ["60.50", "90.00", "130.00"]
    every = halves.grids[-1]
    assert texts_of(every)[0][heads(every).index("Price to ask")] == "60.50"
    assert "target margin of 30%" in halves.note


def test_lengths_that_one_film_lacks_are_empty() -> None:
    frame = made.cut_film(("GB-60", "MB-60", "TN-40"))
    short = frame[(frame["film"] != "GB-60") | (frame["length_m"] < 2.0)]
    info = film_info(short)
    assert heads(info.grids[0])[2:-1] == ["24", "48", "72"]
    per_length = info.grids[-2]
    assert heads(per_length)[2:] == ["24", "48", "72", "120"]
    assert per_length.rows[0][-1] == ABSENT
    frame = frame.assign(length_m=frame["length_m"] * (1 + (frame["width_m"] > 1.0)))
    assert film_info(frame).grids[0].rows[0][2] != ABSENT


def test_a_film_without_a_price_says_what_it_wants() -> None:
    info = film_info()
    assert [grid.caption.split(":")[0] for grid in info.grids[:2]] == ["GB-60", "MB-60"]
    assert info.note.endswith("Prices are not known of TN-40: No roll of it is known.")
    gone = pieces(price_to_ask=NAN, note="No roll of it is known from purchases.")
    none = film_info(gone)
    assert none.line == "No roll of it is known from purchases."
    assert len(none.grids) == 1
    no_note = pd.Series([None] * 3, dtype="str")
    wordless = film_info(pieces(price_to_ask=NAN, note=no_note))
    assert wordless.line == "No price of cut film can be computed."


def test_metres_and_euros() -> None:
    grid = film_info(None, METRIC).grids[0]
    # Of whole feet and inches a tape in metres needs the millimetres.
    assert heads(grid)[2:-1] == ["0,610", "1,219", "1,829", "3,048"]
    assert {row[0] for row in texts_of(grid)} == {"0,762", "1,524"}
    assert texts_of(grid)[1][2:4] == ["31,91", "51,42"]
    assert grid.caption.endswith("EUR")


@pytest.mark.parametrize(
    ("lengths", "told", "settings"),
    [
        ([0.25, 0.5, 1.0], ["0,25", "0,50", "1,00"], METRIC),
        ([0.5, 1.0, 1.5], ["0,5", "1,0", "1,5"], METRIC),
        ([1.0, 2.0, 3.0], ["1", "2", "3"], METRIC),
        # As cut to the millimetre; finer than that no tape is.
        ([0.25, 0.505, 1.0], ["0,250", "0,505", "1,000"], METRIC),
        ([0.25, 0.50525, 1.0], ["0,250", "0,505", "1,000"], METRIC),
        # A length that went through inches is no other length for its last bits.
        ([0.25 + 1e-7, 0.5, 1.0 - 1e-7], ["0,25", "0,50", "1,00"], METRIC),
        ([24 * made.INCH, 48 * made.INCH, 72 * made.INCH], ["24", "48", "72"], None),
        ([24.5 * made.INCH, 48 * made.INCH, 72 * made.INCH], ["24.5", "48.0", "72.0"], None),
    ],
)
def test_lengths_are_told_as_finely_as_the_tape_needs(
    lengths: list[float], told: list[str], settings: Settings | None
) -> None:
    """None is told longer or shorter than a tape to the millimetre can tell."""
    info = film_info(pieces(length_m=lengths, width_m=1.52, roll_width_m=1.52), settings)
    film, per_length, _ = info.grids
    assert heads(film)[2:-1] == heads(per_length)[2:] == told
    if settings is METRIC:
        # Widths have places of their own.
        assert {row[0] for row in texts_of(film)} == {row[1] for row in texts_of(per_length)}
        assert {row[0] for row in texts_of(film)} == {"1,52"}


def test_a_strip_that_hangs_on_the_length_names_it_as_the_heading_does() -> None:
    rules = ["price the whole width", "keep the strip", "keep the strip"]
    frame = pieces(length_m=[0.25, 0.5, 1.0], strip=pd.Series(rules, dtype="str"))
    grid = film_info(frame, METRIC).grids[0]
    assert texts_of(grid)[0][-1] == "price the whole width (0,25); keep the strip (0,50 and 1,00)"


def test_films_that_are_sold_most_stand_first() -> None:
    """Over the twelve months, not over the quarter; those never sold stand last, as they are."""
    films = ("GB-60", "MB-60", "TN-40", "ZN-20")
    frame = made.cut_film((*films, "none"))
    review = made.counter_review(cut_film_prices=frame)
    year = review.year["counter_sales"]
    for sold, order in (
        ({"GB-60": 3, "MB-60": 9, "TN-40": 0, "ZN-20": 5}, ["MB-60", "ZN-20", "GB-60", "TN-40"]),
        ({"TN-40": 2}, ["TN-40", "GB-60", "MB-60", "ZN-20"]),
        ({"MB-60": 4, "TN-40": 4, "none": 9}, ["MB-60", "TN-40", "GB-60", "ZN-20"]),
    ):
        of_year = (
            year.head(1)
            .drop(columns=["film", "sales"])
            .merge(pd.DataFrame({"film": list(sold), "sales": list(sold.values())}), how="cross")
        )
        one = replace(review, year={"counter_sales": of_year})
        captions = [grid.caption.split(":")[0] for grid in gather_cut_film_prices(one).grids[:-2]]
        assert captions == order
    gone = Unavailable("counter_sales", ("purchases",), "It wants purchases.")
    for none in ({"counter_sales": gone}, {}):
        info = gather_cut_film_prices(replace(review, year=none))
        assert [grid.caption.split(":")[0] for grid in info.grids[:-2]] == list(films)


def test_what_prices_leave_out_is_said_once() -> None:
    """In the note under the title: the rows that it holds of are many."""
    for notes, said in (
        ([None, None, None], ""),
        ([STAFF_UNKNOWN] * 3, STAFF_UNKNOWN),
        ([None, None, INSTALLS_UNKNOWN], INSTALLS_UNKNOWN),
        (
            [f"{STAFF_UNKNOWN} {INSTALLS_UNKNOWN}", INSTALLS_UNKNOWN, None],
            f"{STAFF_UNKNOWN} {INSTALLS_UNKNOWN}",
        ),
    ):
        note = film_info(pieces(note=pd.Series(notes, dtype="str"))).note
        assert note.endswith(f"price pays for the whole width.{f' {said}' if said else ''}")
    # A film without a price comes after it.
    frame = made.cut_film(("GB-60", "TN-40"))
    frame["note"] = frame["note"].fillna(STAFF_UNKNOWN)
    assert film_info(frame).note.endswith(
        f"{STAFF_UNKNOWN} Prices are not known of TN-40: No roll of it is known."
    )


def test_huge_prices_and_names_as_typed() -> None:
    huge = pieces(
        film=made.HOSTILE,
        lowest_price=[3e7, 5e7, 7e7],
        price_to_ask=[6e7, 9e7, 1.3e8],
        price_so_far=NAN,
    )
    info = film_info(huge)
    assert texts_of(info.grids[0])[0][2] == "60,000,000"
    assert info.grids[0].caption.startswith("\u2068<b>=1+1</b> $x$")


# --- kits -----------------------------------------------------------------------------------------


def test_kits_stand_by_how_often_they_are_asked_for() -> None:
    info = kits_info()
    assert info.title == "4 kits for 2 services: $60 to $150, where the install costs $310 to $400"
    grid = info.grids[0]
    rows = [dict(zip(heads(grid), row, strict=True)) for row in texts_of(grid)]
    assert [row["Requests"] for row in rows] == ["6", "6", "5", "5", "4", "4"]
    first = rows[0]
    assert (first["Service"], first["Vehicle class"], first["Film"]) == (
        "roof",
        "compact car",
        "GB-60",
    )
    assert first["Kit price"] == "60"
    assert first["Install price"] == "310"
    assert first["Paid for the work"] == "250"
    assert first["Lowest kit price"] == "36.25"
    assert first["Cut list"] == "roof 62 × 54 in; 2 × mirror cap 14 × 12 in"
    assert rows[-1]["Kit price"] == "–"
    assert rows[-1]["Note"] == "A piece fits no roll."


def test_one_kit_without_a_list_price() -> None:
    one = made.kits().head(1).assign(install_price=NAN, difference=NAN)
    assert kits_info(one).title == "1 kit for 1 service: $60"
    every_class = one.assign(vehicle_class=pd.Series([None], dtype="str"))
    assert texts_of(kits_info(every_class).grids[0])[0][1] == "(not given)"
    halves = one.assign(kit_price=60.5, install_price=310.0, difference=249.5)
    row = texts_of(kits_info(halves, HALVES).grids[0])[0]
    assert row[3] == "60.50"
    assert row[5] == "249.50"


def test_kits_that_cannot_be_priced_say_why() -> None:
    gone = made.kits().assign(kit_price=NAN, note="No roll of it is known.")
    info = kits_info(gone)
    assert info.line == "No roll of it is known."
    assert len(info.grids[0].rows) == 6
    wordless = gone.assign(note=pd.Series([None] * 6, dtype="str"))
    assert kits_info(wordless).line == "No price of a kit can be computed."
    none = Unavailable("counter_kits", ("panels",), "Kits need panels.")
    review = made.counter_review(counter_kits=none)
    assert gather_kits(review).line == "Kits need panels."


def test_what_to_mind_stands_beside_the_kits() -> None:
    info = kits_info()
    assert info.caution == KIT_CAUTION
    for word in ("blades", "heat", "air bags", "sensors", "lights", "local rules", "command kit"):
        assert re.search(word, info.caution)
    assert texts_of(info.grids[1]) == [list(each) for each in KIT_CAUTIONS]
