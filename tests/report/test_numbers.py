"""Values as text: the shop's locale, a dash for what is missing, nothing typed that turns text."""

import numpy as np
import pandas as pd
import pytest
from babel.numbers import parse_decimal
from hypothesis import given
from hypothesis import strategies as st

from analysis.locale_text import counted, listed
from analysis.periods import Quarter
from analysis.report.edge import half_away
from analysis.report.numbers import (
    MISSING,
    NOT_GIVEN,
    Numbers,
    label,
    places_for,
    sentence_case,
    shortened,
    typed,
)
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Kind
from analysis.settings import Settings

US = Numbers(Settings())
GERMAN = Numbers(Settings(currency="EUR", locale="de-DE", area_unit="m2"))


@pytest.mark.parametrize(
    ("say", "expected"),
    [
        (US, ["−1,234.6", "$1,235", "+$1,235", "12.5%", "12.3 sq ft", "Jul 3, 2026"]),
        (
            GERMAN,
            ["−1.234,6", "1.235\xa0€", "+1.235\xa0€", "12,5\xa0%", "12,3 m²", "03.07.2026"],
        ),
    ],
)
def test_each_locale_writes_its_own_way(say: Numbers, expected: list[str]) -> None:
    found = [
        say.number(-1234.55, 1),
        say.money(1234.5),
        say.change(1234.5),
        say.percent(12.45, 1),
        say.area(12.34),
        say.day(pd.Timestamp("2026-07-03")),
    ]
    assert found == expected


@pytest.mark.parametrize("missing", [None, np.nan, pd.NA, pd.NaT])
def test_missing_is_a_dash_and_never_zero(missing: object) -> None:
    wrote = [US.number, US.money, US.change, US.percent, US.percent_change, US.area, US.hours]
    assert {write(missing) for write in wrote} == {MISSING}
    assert US.day(missing) == MISSING
    assert typed(missing) == MISSING
    assert label(missing) == NOT_GIVEN


def test_a_half_that_binary_writes_a_hair_low_is_a_half() -> None:
    """1.005 is 1.00499999999999989 in a machine: to the cent it is 1.01 all the same."""
    amounts = half_away(np.array([1.005, -1.005, 1.0049, 2.675]), 2)
    assert list(amounts) == [1.01, -1.01, 1.0, 2.68]


def test_half_is_rounded_away_from_zero_and_zero_has_no_sign() -> None:
    assert [US.number(0.5), US.number(2.5), US.number(-2.5)] == ["1", "3", "−3"]
    assert [US.money(-0.4), US.change(0.4), US.percent_change(-0.2)] == ["$0", "$0", "0%"]


@given(st.floats(-1e9, 1e9), st.sampled_from(["en_US", "de_DE", "fr_FR", "hi_IN", "sv_SE"]))
def test_a_number_reads_back_as_it_was_written(value: float, locale: str) -> None:
    text = Numbers(Settings(locale=locale.replace("_", "-"))).number(value, 2)
    back = float(parse_decimal(text.replace("−", "-"), locale=locale))
    assert back == pytest.approx(value, abs=0.00501)


def test_a_quarter_comes_with_its_days() -> None:
    fiscal = Quarter(2027, 1, starts_month=7)
    text = US.quarter(fiscal)
    assert text.startswith("2027Q1 (Jul 1")
    assert text.endswith("Sep 30, 2026)")


def test_a_column_has_one_number_of_places() -> None:
    table = RESULT_TABLES["waste_by_film"]
    area = table.column("waste_area")
    assert US.column(pd.Series([0.25, 3.0, np.nan]), area) == ["0.3", "3.0", MISSING]
    assert US.column(pd.Series([0.25, 250.0]), area) == ["0", "250"]
    assert US.column(pd.Series([1234.5]), table.column("waste_cost")) == ["1,235"]
    assert US.column(pd.Series([12.34]), table.column("waste_pct")) == ["12.3"]


def test_places_follow_the_size_where_the_unit_decides_it() -> None:
    assert places_for([0.02, None], Kind.AREA) == 2
    assert places_for([np.nan], Kind.AREA) == 0
    assert places_for([0.02], Kind.MONEY_PER_AREA) == 4
    assert places_for([3.2], Kind.MONEY_PER_AREA) == 2


@pytest.mark.parametrize(
    ("name", "unit"),
    [
        ("landed_cost_per_area", "EUR / m²"),
        ("change_pct", "%"),
        ("landed_cost", "EUR"),
        ("film", ""),
    ],
)
def test_units_are_printed_as_people_write_them(name: str, unit: str) -> None:
    assert GERMAN.unit(RESULT_TABLES["film_prices"].column(name)) == unit


def test_typed_text_keeps_its_words_and_loses_what_would_turn_the_line() -> None:
    assert typed("<script>") == "<script>"
    assert typed("a\u202eb\x00\nc\td") == "ab c d"
    assert typed("שלום") == "\u2068שלום\u2069"
    assert typed("👩\u200d🔧 fitted") == "👩\u200d🔧 fitted"
    assert typed(14.0) == "14"


def test_small_words() -> None:
    assert [counted(1, "job"), counted(0, "job"), counted(2, "class", "classes")] == [
        "1 job",
        "0 jobs",
        "2 classes",
    ]
    assert [listed([]), listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert sentence_case("roof and GB-60") == "Roof and GB-60"
    assert shortened("x" * 50, 10) == "x" * 9 + "…"
    assert shortened("roof", 10) == "roof"
