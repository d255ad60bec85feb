"""The forms of every kind of cell: what each reads as, and what is refused under which rule."""

import datetime as dt
from fractions import Fraction
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.record_tables import RECORD_TABLES
from analysis.records.cell_rules import NOT_A_DATE, CellError, as_written, shown
from analysis.records.cells import missing_column, read_cell, read_column
from analysis.safe_text import plain_text, safe_text
from analysis.settings import Settings

POINT = Settings()
COMMA = Settings(
    currency="EUR",
    locale="de-DE",
    length_unit="cm",
    area_unit="m2",
    decimal_comma=True,
    date_formats=("%d.%m.%Y",),
)
INCH = 0.0254
SQUARE_FOOT = 0.09290304


def read(column: str, cell: Any, settings: Settings = POINT) -> Any:
    """The value of a cell of `table.column`, or the rule that refuses it."""
    table, name = column.split(".")
    try:
        return read_cell(cell, RECORD_TABLES[table].column(name), settings)
    except CellError as error:
        assert error.fault.problem
        assert error.fault.remedy.endswith(".")
        return error.fault.rule.code


DAY = dt.date(2026, 7, 13)


def fault_of(column: str, cell: Any) -> tuple[str, str]:
    """What is said of a cell that cannot be read, and what is to be done."""
    table, name = column.split(".")
    with pytest.raises(CellError) as caught:
        read_cell(cell, RECORD_TABLES[table].column(name), POINT)
    return caught.value.fault.problem, caught.value.fault.remedy


@pytest.mark.parametrize("cell", ["-", "–", "?", " n/a ", "TBD", "none"])
@pytest.mark.parametrize(
    "column", ["jobs.hours", "jobs.finished_on", "jobs.pulled_length", "cuts.reason"]
)
def test_a_mark_for_nothing_is_to_be_left_blank(column: str, cell: str) -> None:
    remedy = "Leave the cell blank where there is nothing to write, or it is not known."
    assert fault_of(column, cell)[1] == remedy


def test_a_mark_for_nothing_in_a_cell_that_is_needed() -> None:
    assert fault_of("jobs.quoted_hours", "-")[1] == "Write hours as 2.75, 2:45, 2h45 or 165 min."


@pytest.mark.parametrize(
    ("column", "such"), [("jobs.model_year", "2023"), ("jobs.line", "1"), ("panels.pieces", "1")]
)
def test_a_whole_number_is_asked_for_as_the_column_has_it(column: str, such: str) -> None:
    assert fault_of(column, "'19") == (
        f"''19' cannot be read; expected a whole number such as {such}",
        f"Write a whole number such as {such}.",
    )
    assert fault_of(column, 1.5) == (
        "'1.5' is no whole number",
        f"Write a whole number such as {such}.",
    )


def date_remedy(cells: list[Any], settings: Settings) -> str:
    """What is to be done about the first cell of a column of dates."""
    column = RECORD_TABLES["jobs"].column("finished_on")
    faults = read_column(pd.Series(cells, dtype=object), column, settings).faults
    assert faults[0].rule.code == "not-a-date"
    return faults[0].remedy


@pytest.mark.parametrize("cell", ["4/13/2026", "4/5/2026"])
def test_one_date_in_another_form_is_to_be_written_like_the_others(cell: str) -> None:
    german = ["13.07.2026", "14.07.2026", "15.07.2026"]
    assert date_remedy([cell, *german], COMMA) == (
        "Write it like 13.07.2026, the form of most of the other 3 cells of this column; "
        "shop.toml stays as it is."
    )
    assert "Write it like 2026-07-13, the form of most of the other 2 " in date_remedy(
        [cell, "2026-07-13", dt.datetime(2026, 7, 14)], POINT
    )


def test_a_form_of_many_dates_is_to_be_added_to_those_in_use() -> None:
    mixed = ["4/13/2026", "4/5/2026", "13.07.2026", "14.07.2026"]
    # The first of the two tells that the month stands first in both.
    for cells in (mixed, [mixed[1], mixed[0], *mixed[2:]]):
        assert date_remedy(cells, COMMA) == (
            'Write the date as 2026-07-13, or set date_formats = ["%d.%m.%Y", "%m/%d/%Y"] '
            "(for month/day/year) in shop.toml, which keeps the forms in use, as your dates are "
            "meant."
        )


def test_a_form_that_would_read_other_cells_as_other_days_is_not_offered() -> None:
    day_first = Settings(date_formats=("%d/%m/%Y",))
    cells = ["4/13/2026", "4/14/2026", "4/5/2026", "13/4/2026"]
    assert "Write it like 13/07/2026, the form of most of the other 2 " in date_remedy(
        cells, day_first
    )


def test_a_column_of_one_unread_form_is_told_as_before() -> None:
    wanted = 'set date_formats = ["%m/%d/%Y"] (for month/day/year) in shop.toml'
    assert wanted in date_remedy(["4/13/2026"] * 3, POINT)
    assert date_remedy(["soon", "2026-07-13"], POINT) == NOT_A_DATE.remedy


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2026-07-13", DAY),
        (" 2026-07-13 ", DAY),
        ("20260713", DAY),
        ("2026-07-13T09:30", DAY),
        ("2026-07-13 09:30:15", DAY),
        ("2026-07-13T23:30:00Z", DAY),
        ("2026-07-13T09:30:00.5+02:00", DAY),
        (dt.date(2026, 7, 13), DAY),
        (dt.datetime(2026, 7, 13, 23, 59), DAY),
        ("", None),
        ("   ", None),
        ("13.7.2026", "not-a-date"),
        ("7/13/2026", "not-a-date"),
        ("2026-7-13", "not-a-date"),
        ("2026-02-30", "not-a-date"),
        ("2026-13-01", "not-a-date"),
        ("20261345", "number-for-date"),
        ("13 July", "not-a-date"),
        ("46216", "number-for-date"),
        (46216, "number-for-date"),
        (46216.5, "number-for-date"),
        (True, "not-a-date"),
        (dt.time(9, 15), "not-a-date"),
        ("2026-07-13 or so", "not-a-date"),
    ],
)
def test_dates(cell: Any, expected: Any) -> None:
    assert read("jobs.finished_on", cell) == expected


def test_dates_in_the_forms_that_the_shop_declares() -> None:
    assert read("jobs.finished_on", "13.07.2026", COMMA) == DAY
    assert read("jobs.finished_on", "13.7.2026", COMMA) == DAY
    assert read("jobs.finished_on", "2026-07-13", COMMA) == DAY
    assert read("jobs.finished_on", "31.2.2026", COMMA) == "not-a-date"
    both = Settings(date_formats=("%d/%m/%Y", "%m/%d/%Y"))
    assert read("jobs.finished_on", "13/07/2026", both) == DAY
    assert read("jobs.finished_on", "05/05/2026", both) == dt.date(2026, 5, 5)
    assert read("jobs.finished_on", "06/07/2026", both) == "date-two-ways"
    crossed = Settings(date_formats=("%Y-%d-%m",))
    assert read("jobs.finished_on", "2026-07-06", crossed) == "date-two-ways"
    assert read("jobs.finished_on", "2026-31-01", crossed) == dt.date(2026, 1, 31)


def test_a_form_of_dates_is_told_in_words() -> None:
    both = Settings(date_formats=("%d/%m/%Y", "%m/%d/%y", "%d. %B %Y"))
    column = RECORD_TABLES["jobs"].column("finished_on")
    cells = pd.Series(["soon", "06/07/2026"], dtype=object)
    faults = read_column(cells, column, both).faults
    assert [fault.problem for fault in faults] == [
        "'soon' is no date; expected one like 2026-07-13 (or in the form day/month/year or "
        "month/day/year in two digits or day. month's name year)",
    ]
    crossed = Settings(date_formats=("%d/%m/%Y", "%m/%d/%Y"))
    (fault,) = read_column(cells[1:], column, crossed).faults
    assert fault.problem == (
        "'06/07/2026' is 2026-07-06 by day/month/year and 2026-06-07 by month/day/year"
    )


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2026-07", dt.date(2026, 7, 1)),
        ("2026-07-31", dt.date(2026, 7, 1)),
        (dt.datetime(2026, 7, 31), dt.date(2026, 7, 1)),
        ("2026-13", "not-a-month"),
        ("July 2026", "not-a-month"),
        ("0000-07", "not-a-month"),
        (202607, "number-for-date"),
    ],
)
def test_months(cell: Any, expected: Any) -> None:
    assert read("overheads.month", cell) == expected


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("09:15", dt.timedelta(hours=9, minutes=15)),
        ("9:15", dt.timedelta(hours=9, minutes=15)),
        ("09:15:30", dt.timedelta(hours=9, minutes=15, seconds=30)),
        ("24:00", dt.timedelta(days=1)),
        (dt.time(16, 40), dt.timedelta(hours=16, minutes=40)),
        (dt.timedelta(hours=16), dt.timedelta(hours=16)),
        ("24:01", "not-a-time"),
        ("09:60", "not-a-time"),
        ("9.15", "not-a-time"),
        ("9 am", "not-a-time"),
        (dt.timedelta(hours=25), "not-a-time"),
        (dt.datetime(2026, 7, 13, 9, 15), "not-a-time"),
        (0.385, "number-for-date"),
    ],
)
def test_times_of_day(cell: Any, expected: Any) -> None:
    assert read("hours.started_at", cell) == expected


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("2.75", 2.75),
        ("2:45", 2.75),
        ("2:45:00", 2.75),
        ("2h45", 2.75),
        ("2h45m", 2.75),
        ("2 h 45 min", 2.75),
        ("2 hrs 45 mins", 2.75),
        ("2h", 2.0),
        ("2.5 h", 2.5),
        ("2.5 hours", 2.5),
        ("1 hour", 1.0),
        ("165 min", 2.75),
        ("165 Minutes", 2.75),
        ("0", 0.0),
        ("24", 24.0),
        (2.75, 2.75),
        (3, 3.0),
        (dt.time(2, 45), 2.75),
        (dt.timedelta(hours=2, minutes=45), 2.75),
        ("-2", "too-small"),
        ("-0:30", "too-small"),
        ("24.25", "too-large"),
        (dt.timedelta(hours=25), "too-large"),
        ("2h75", "not-hours"),
        ("2:75", "not-hours"),
        ("all day", "not-hours"),
        ("2 days", "not-hours"),
        ("nan", "not-hours"),
        ("2,75", "comma-decimal"),
        ("1,500", "number-two-ways"),
        (True, "not-hours"),
        (dt.date(2026, 7, 13), "not-hours"),
        (float("inf"), "not-hours"),
    ],
)
def test_hours(cell: Any, expected: Any) -> None:
    assert read("hours.hours", cell) == expected


def test_hours_over_a_day_are_refused_in_time_entries_only() -> None:
    assert read("jobs.quoted_hours", "34") == 34.0
    assert read("jobs.hours", "34:30") == 34.5
    assert read("capacity.installer_hours", "520") == 520.0


def test_hours_with_a_decimal_comma() -> None:
    assert read("hours.hours", "2,75", COMMA) == 2.75
    assert read("hours.hours", "2.75", COMMA) == 2.75
    assert read("hours.hours", "2,5 h", COMMA) == 2.5
    assert read("hours.hours", "1.500", COMMA) == "number-two-ways"


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("20", 20.0),
        ("20 min", 20.0),
        ("0:20", 20.0),
        ("1:05", 65.0),
        ("1h05", 65.0),
        ("1 h", 60.0),
        (20, 20.0),
        (dt.time(0, 20), 20.0),
        ("-5", "too-small"),
        ("some", "not-minutes"),
    ],
)
def test_minutes(cell: Any, expected: Any) -> None:
    assert read("counter_sales.minutes", cell) == expected


@pytest.mark.parametrize(
    ("cell", "inches"),
    [
        ("68", 68),
        ("68 in", 68),
        ('68"', 68),
        ("5 ft 8 in", 68),
        ("5'8\"", 68),
        ("5 1/2 in", 5.5),
        ("25 yd", 900),
        (68, 68),
        (68.0, 68),
    ],
)
def test_lengths(cell: Any, inches: float) -> None:
    assert read("cuts.pulled_length", cell) == float(Fraction(str(inches)) * Fraction("0.0254"))


def test_lengths_with_units_of_their_own() -> None:
    assert read("cuts.pulled_length", "1.73 m") == 1.73
    assert read("cuts.pulled_length", "173", COMMA) == 1.73
    assert read("cuts.pulled_length", "1,73 m", COMMA) == 1.73
    assert read("cuts.pulled_length", "1.73 m", COMMA) == 1.73
    assert read("cuts.pulled_length", 172.5, COMMA) == 1.725


@pytest.mark.parametrize(
    ("cell", "rule"),
    [
        ("0", "too-small"),
        (0, "too-small"),
        ("-68", "too-small"),
        (-68.0, "too-small"),
        ("68 kg", "not-a-length"),
        ("long", "not-a-length"),
        ("nan", "not-a-length"),
        ("1,5", "comma-decimal"),
        ("5 8", "not-a-length"),
        (True, "not-a-length"),
        (dt.date(2026, 7, 13), "not-a-length"),
        (float("nan"), "not-a-length"),
        ("9" * 80, "not-a-length"),
    ],
)
def test_refused_lengths(cell: Any, rule: str) -> None:
    assert read("cuts.pulled_length", cell) == rule


def test_nothing_on_hand_is_a_count() -> None:
    assert read("stock_counts.length_on_hand", "0") == 0.0
    assert read("stock_counts.length_on_hand", "0 yd") == 0.0
    assert read("stock_counts.length_on_hand", 0.0) == 0.0
    assert read("stock_counts.length_on_hand", "-1") == "too-small"
    assert read("stock_counts.area_on_hand", "0") == 0.0


def test_areas() -> None:
    assert read("jobs.quoted_film_area", "28.5") == pytest.approx(28.5 * SQUARE_FOOT, abs=1e-12)
    assert read("jobs.quoted_film_area", "28.5 sq ft") == read("jobs.quoted_film_area", 28.5)
    assert read("jobs.quoted_film_area", "2.65 m2") == 2.65
    assert read("jobs.quoted_film_area", "2,65", COMMA) == 2.65
    assert read("jobs.quoted_film_area", "-1") == "too-small"
    assert read("jobs.quoted_film_area", -1) == "too-small"
    assert read("jobs.quoted_film_area", "2,65") == "comma-decimal"
    assert read("jobs.quoted_film_area", "28 in") == "not-an-area"
    assert read("jobs.quoted_film_area", "nan") == "not-an-area"


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("1250", 1250.0),
        ("1,250.00", 1250.0),
        ("$1,250.00", 1250.0),
        ("$ 1250", 1250.0),
        ("US$1250", 1250.0),
        ("1250 USD", 1250.0),
        ("usd 1250", 1250.0),
        ("1,250,000", 1250000.0),
        ("1 250", 1250.0),
        ("1\u202f250.50", 1250.5),
        ("1'250.50", 1250.5),
        ("0.5", 0.5),
        (".5", 0.5),
        ("+5", 5.0),
        (1250, 1250.0),
        (1250.5, 1250.5),
        ("-5", "too-small"),
        ("$-5", "too-small"),
        ("−5", "too-small"),
        ("(5)", "not-money"),
        ("-$-5", "not-money"),
        ("5-", "not-money"),
        ("1250 net", "not-money"),
        ("about 1250", "not-money"),
        ("free", "not-money"),
        ("nan", "not-money"),
        ("inf", "not-money"),
        ("1e5", "not-money"),
        ("12.5.0", "not-money"),
        ("1.250,00", "comma-decimal"),
        ("12,50", "comma-decimal"),
        ("12,50,000", "comma-decimal"),
        ("0,250", "comma-decimal"),
        ("€5", "other-currency"),
        ("5 EUR", "other-currency"),
        ("£5", "other-currency"),
        ("CA$5", "other-currency"),
        ("5 kr", "other-currency"),
        (True, "not-money"),
        (dt.date(2026, 7, 13), "not-money"),
        (float("nan"), "not-money"),
        ("1" * 23, "too-large"),
        ("1" * 60, "not-money"),
    ],
)
def test_money(cell: Any, expected: Any) -> None:
    assert read("jobs.quoted_price", cell) == expected


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("1.250,00", 1250.0),
        ("1250,50", 1250.5),
        ("12.50", 12.5),
        ("1250.5", 1250.5),
        ("0.125", 0.125),
        ("1.250", 1250.0),
        ("1.250.000,5", 1250000.5),
        ("1 250,50", 1250.5),
        ("€ 12,50", 12.5),
        ("12,50 €", 12.5),
        ("12,50 EUR", 12.5),
        ("$12", "other-currency"),
        ("1,250.00", "not-money"),
        ("1.25.000", "not-money"),
    ],
)
def test_money_with_a_decimal_comma(cell: str, expected: Any) -> None:
    assert read("jobs.quoted_price", cell, COMMA) == expected


@pytest.mark.parametrize(
    ("currency", "locale", "cell"),
    [
        ("CAD", "en-US", "$5"),
        ("SEK", "en-US", "5 kr"),
        ("PLN", "pl-PL", "5 zł"),
        ("CHF", "de-CH", "CHF 5"),
        ("GBP", "en-GB", "£5"),
    ],
)
def test_a_currency_is_written_as_at_home(currency: str, locale: str, cell: str) -> None:
    assert read("jobs.quoted_price", cell, Settings(currency=currency, locale=locale)) == 5.0


def test_the_sign_of_another_currency_is_named() -> None:
    with pytest.raises(CellError, match="is in GBP \\(British Pound\\), and the shop's currency"):
        read_cell("£5", RECORD_TABLES["jobs"].column("quoted_price"), POINT)


def test_a_refund_of_overheads_may_be_negative() -> None:
    assert read("overheads.amount", "-35.50") == -35.5
    assert read("overheads.amount", "-$35.50") == -35.5


def test_numbers_and_whole_numbers() -> None:
    assert read("purchases.quantity", "2.5") == 2.5
    assert read("purchases.quantity", "-1") == -1.0
    assert read("purchases.quantity", "1,200") == 1200.0
    assert read("purchases.quantity", "two") == "not-a-number"
    assert read("purchases.quantity", "0x10") == "not-a-number"
    assert read("purchases.quantity", "1_000") == "not-a-number"
    assert read("cuts.pieces", "2") == 2
    assert read("cuts.pieces", "2.0") == 2
    assert read("cuts.pieces", 2.0) == 2
    assert read("cuts.pieces", "2.5") == "not-whole"
    assert read("cuts.pieces", 2.5) == "not-whole"
    assert read("cuts.pieces", "0") == "too-small"
    assert read("jobs.model_year", "1899") == "too-small"
    assert read("jobs.model_year", "2101") == "too-large"
    assert read("jobs.model_year", "2023") == 2023


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("yes", True),
        ("No", False),
        ("TRUE", True),
        ("false", False),
        ("1", True),
        ("0", False),
        (1, True),
        (0.0, False),
        (True, True),
        ("", None),
        ("y", "not-yes-no"),
        ("2", "not-yes-no"),
        ("maybe", "not-yes-no"),
    ],
)
def test_yes_and_no(cell: Any, expected: Any) -> None:
    assert read("hours.overtime", cell) == expected


@pytest.mark.parametrize(
    ("column", "cell", "expected"),
    [
        ("cuts.reason", "first", "first"),
        ("cuts.reason", " First ", "first"),
        ("cuts.reason", "End of roll", "end-of-roll"),
        ("cuts.reason", "end_of_roll", "end-of-roll"),
        ("cuts.reason", "tset", "unknown-word"),
        ("hours.task", "Post heat", "post-heat"),
        ("hours.task", "coffee", "other"),
        ("jobs.payment", "barter", "other"),
        ("counter_sales.would_book", True, "yes"),
        ("counter_sales.would_book", False, "no"),
        ("jobs.status", "done", "unknown-word"),
    ],
)
def test_choices(column: str, cell: Any, expected: Any) -> None:
    assert read(column, cell) == expected


def test_the_nearest_word_is_named() -> None:
    with pytest.raises(CellError, match="the nearest is test") as caught:
        read_cell("tset", RECORD_TABLES["cuts"].column("reason"), POINT)
    assert '[aliases.reason] of shop.toml, the line "tset" = "test"' in caught.value.fault.remedy


def test_aliases_come_before_the_vocabulary_and_are_case_folded() -> None:
    aliases = {
        "reason": {"verschnitt": "damage"},
        "model": {"pike iii": "Pike 3"},
        "overtime": {"ja": "yes"},
        "crew": {"tom": "Tomas"},
    }
    settings = Settings(aliases=aliases)
    assert read("cuts.reason", "Verschnitt", settings) == "damage"
    assert read("jobs.model", "PIKE  iii", settings) == "Pike 3"
    assert read("jobs.make", "Pike III", settings) == "Pike III"
    assert read("hours.overtime", "Ja", settings) is True
    assert read("jobs.crew", "Tom; Ines", settings) == "Tomas; Ines"


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        ("  J-1041 ", "J-1041"),
        ("00012", "00012"),
        ("a  b", "a  b"),
        (1001.0, "1001"),
        (1001, "1001"),
        (12.5, "12.5"),
        (True, "TRUE"),
        ("NA", "NA"),
        ("'=1+1", "=1+1"),
        ("'quoted", "'quoted"),
        ("\u00a0", None),
        ("a\x07b", "control-character"),
        (dt.date(2026, 4, 3), "date-in-text"),
        (dt.time(9, 3), "date-in-text"),
        ("#N/A", "spreadsheet-error"),
    ],
)
def test_text(cell: Any, expected: Any) -> None:
    assert read("jobs.job_id", cell) == expected


def test_running_text_may_hold_anything_that_can_be_read() -> None:
    assert read("decisions.note", "one\ntwo") == "one\ntwo"
    assert read("decisions.note", dt.date(2026, 4, 3)) == "2026-04-03"


def test_names_are_parted_by_semicolons() -> None:
    assert read("jobs.crew", "Ines;Tomas ; ") == "Ines; Tomas"
    assert read("jobs.crew", " ; ") is None


def test_values_are_shown_as_a_spreadsheet_shows_them() -> None:
    assert as_written(1001.0) == "1001"
    assert as_written(0.1) == "0.1"
    assert as_written(True) == "TRUE"
    assert as_written(dt.datetime(2026, 7, 13)) == "2026-07-13"
    assert as_written(dt.datetime(2026, 7, 13, 9, 5)) == "2026-07-13 09:05:00"
    assert as_written(dt.time(9, 5)) == "09:05"
    assert as_written(dt.timedelta(hours=26, minutes=5)) == "26:05"
    assert len(shown("x" * 200)) == 80
    assert shown("a\n b") == "a b"


def test_a_column_keeps_its_labels_and_tells_each_faulty_row() -> None:
    cells = pd.Series(["1", "x", "", "x", "2.5"], index=[10, 11, 12, 13, 14], dtype=object)
    read = read_column(cells, RECORD_TABLES["purchases"].column("quantity"), POINT)
    expected = pd.Series([1.0, np.nan, np.nan, np.nan, 2.5], index=cells.index)
    pd.testing.assert_series_equal(read.typed, expected)
    assert read.faults.index.tolist() == [11, 13]


def test_cells_that_are_equal_but_of_another_kind_stay_apart() -> None:
    cells = pd.Series([True, 1, 1.0, "1"], dtype=object)
    read = read_column(cells, RECORD_TABLES["jobs"].column("model"), POINT)
    assert read.typed.tolist() == ["TRUE", "1", "1", "1"]


def test_an_absent_column_has_the_dtype_of_a_present_one() -> None:
    for column in (each for table in RECORD_TABLES.values() for each in table.columns):
        blank = read_column(pd.Series(["", ""], dtype=object), column, POINT).typed
        pd.testing.assert_series_equal(blank, missing_column(pd.RangeIndex(2), column))


@given(st.decimals(min_value=0, max_value=10**9, places=2))
def test_every_plain_amount_is_read_as_it_stands(amount: Any) -> None:
    for text in (f"{amount}", f"{amount:,}", f"${amount:,}"):
        assert read("jobs.quoted_price", text) == float(amount)
    comma = f"{amount:,}".translate(str.maketrans(",.", ".,"))
    assert read("jobs.quoted_price", comma, COMMA) == float(amount)


@given(st.text(max_size=30), st.sampled_from(sorted(RECORD_TABLES)), st.booleans())
def test_no_text_breaks_a_parser(text: str, table: str, comma: bool) -> None:
    for column in RECORD_TABLES[table].columns:
        read(f"{table}.{column.name}", text, COMMA if comma else POINT)


@given(st.text(max_size=12))
def test_safe_text_is_no_formula_and_comes_back(text: str) -> None:
    safe = safe_text(pd.Series([text], dtype="str")).iloc[0]
    number = text[:1] in "+-" and text[1:2].isdigit()
    assert number or not safe.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
    if not text.startswith("'"):
        assert plain_text(safe) == text


def test_numbers_are_no_formula() -> None:
    texts = pd.Series(["-12", "-12,50", "+1 250.00", "-1+2", "=1", "@x", "x", ""], dtype="str")
    safe = ["-12", "-12,50", "+1 250.00", "'-1+2", "'=1", "'@x", "x", ""]
    assert safe_text(texts).tolist() == safe
