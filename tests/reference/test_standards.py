"""Money, dates, workbooks and text files as the standards have them."""

from __future__ import annotations

import pandas as pd

from analysis.money import allocate_cents, to_cents
from analysis.periods import quarter_of
from analysis.record_tables import RECORD_TABLES
from analysis.records.cells import read_cell
from analysis.records.delimited import read_delimited
from analysis.report.workbook_cells import money_format
from analysis.settings import Settings
from tests.records.test_workbook import number, values
from tests.reference.published import Figures, published
from tests.reference.sources import (
    COMAP,
    CP1252,
    ECMA_376,
    EURO,
    ISO_4217,
    ISO_8601,
    ISO_80000,
    RFC_4180,
    SI,
    US_CODE,
)

# --- money ----------------------------------------------------------------------------------------


def cents(amount: float) -> int:
    (found,) = to_cents(pd.Series([amount]))
    return int(found)


@published(ISO_80000, "annex B, rule B; range 0.1 as a cent is here", "from memory")
def test_rounding_of_halves(figures: Figures) -> None:
    """The standard rounds to tenths: its numbers are divided by ten, and tenths are cents."""
    for given, theirs in (
        (12.223, "12.2"),
        (12.251, "12.3"),
        (12.275, "12.3"),
        (12.25, "12.3"),
        (12.35, "12.4"),
        (-12.25, "-12.3"),
    ):
        figures.add(f"{given} rounded to tenths", cents(given / 10) / 10, theirs)


@published(EURO, "the rule at four amounts", "from memory")
def test_half_a_cent_goes_up(figures: Figures) -> None:
    """Numbers that binary stores a hair below the half among them."""
    for given, theirs in ((0.125, "0.13"), (1.005, "1.01"), (2.675, "2.68"), (1.0049, "1.00")):
        figures.add(f"{given} to the cent", cents(given) / 100, theirs)


# Population of the census of 1790, and seats of 120 by Hamilton's method.
STATES = {
    "Virginia": (630_560, 21),
    "Massachusetts": (475_327, 16),
    "Pennsylvania": (432_879, 14),
    "North Carolina": (353_523, 12),
    "New York": (331_589, 11),
    "Maryland": (278_514, 9),
    "Connecticut": (236_841, 8),
    "South Carolina": (206_236, 7),
    "New Jersey": (179_570, 6),
    "New Hampshire": (141_822, 5),
    "Vermont": (85_533, 3),
    "Georgia": (70_835, 2),
    "Kentucky": (68_705, 2),
    "Rhode Island": (68_446, 2),
    "Delaware": (55_540, 2),
}


@published(COMAP, "table 14.5")
def test_cents_are_shared_by_largest_remainder(figures: Figures) -> None:
    """Seats as cents, populations as weights."""
    people = pd.Series([people for people, _ in STATES.values()])
    house = pd.Series("house", index=people.index)
    seats = allocate_cents(pd.Series({"house": 120}), people, house)
    theirs = [each for _, each in STATES.values()]
    figures.table("Seats of 15 states in a house of 120", seats, theirs)


@published(ISO_4217, "minor units", "from memory")
def test_decimal_places_of_currencies(figures: Figures) -> None:
    for currency, places in (("USD", 2), ("EUR", 2), ("CAD", 2), ("JPY", 0), ("KWD", 3)):
        form = money_format(Settings(currency=currency)).split(";")[0]
        ours = len(form.partition("0.")[2].rstrip("\u00a0"))
        figures.add(f"Decimal places of {currency} in the workbook", ours, places)


# --- dates ----------------------------------------------------------------------------------------


@published(ISO_8601, "calendar dates, with and without a time of day")
def test_calendar_dates(figures: Figures) -> None:
    column = RECORD_TABLES["jobs"].column("finished_on")
    for text in (
        "1985-04-12",
        "19850412",
        "19850412T101530",
        "19850412T101530Z",
        "19850412T101530+0400",
        "19850412T101530+04",
        "1985-04-12T10:15:30",
        "1985-04-12T10:15:30Z",
        "1985-04-12T10:15:30+04:00",
        "1985-04-12T10:15:30+04",
    ):
        day = read_cell(text, column, Settings())
        figures.add(f"Day of {text}", f"{day:%d %B %Y}", "12 April 1985")


@published(ECMA_376, "serial dates of the 1900 and the 1904 system")
def test_serial_dates_of_workbooks(figures: Figures) -> None:
    """Serial 59 and 61 of 1900 are neighbours, as 60 is the day that never was.

    Day 0 of 1904, its first, is read as midnight: a number under 1 is a time of day.
    """
    for first_1904, serial, theirs in (
        (False, "1", "1900-01-01"),
        (False, "59", "1900-02-28"),
        (False, "61", "1900-03-01"),
        (False, "3687", "1910-02-03"),
        (False, "38749", "2006-02-01"),
        (False, "2958465", "9999-12-31"),
        (True, "2225", "1910-02-03"),
        (True, "37287", "2006-02-01"),
        (True, "2957003", "9999-12-31"),
    ):
        (day,) = values(number(serial, 1), first_1904=first_1904)
        base = 1904 if first_1904 else 1900
        figures.add(f"Day {serial} of the {base} system", f"{day:%Y-%m-%d}", theirs)


@published(SI, "table 8: 1 h = 60 min", "from memory")
def test_hours_as_they_are_written(figures: Figures) -> None:
    column = RECORD_TABLES["jobs"].column("hours")
    for text in ("2:45", "2h45", "165 min"):
        figures.add(f"{text} in hours", read_cell(text, column, Settings()), "2.75")


@published(US_CODE, "fiscal year from 1 October")
def test_a_fiscal_year_that_starts_in_october(figures: Figures) -> None:
    """Named for the year in which it ends."""
    quarter = quarter_of(pd.Timestamp("2025-10-01"), starts_month=10)
    figures.add("Quarter of 1 October 2025", quarter.label, "2026Q1", seen="from memory")
    last = quarter_of(pd.Timestamp("2026-09-30"), starts_month=10)
    figures.add("First day of the fiscal year", f"{last.year_first_day:%d %B}", "01 October")
    figures.add("Last day of the fiscal year", f"{last.last_day:%d %B}", "30 September")


# --- text files -----------------------------------------------------------------------------------


@published(RFC_4180, "section 2, rules 1, 2, 5, 6 and 7")
def test_examples_of_the_csv_format(figures: Figures) -> None:
    """The examples under a header of three names; a line break is CR LF."""
    for rule, text, theirs in (
        (1, "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", "aaa|bbb|ccc, zzz|yyy|xxx"),
        (2, "aaa,bbb,ccc\r\nzzz,yyy,xxx", "aaa|bbb|ccc, zzz|yyy|xxx"),
        (5, '"aaa","bbb","ccc"\r\nzzz,yyy,xxx', "aaa|bbb|ccc, zzz|yyy|xxx"),
        (6, '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', "aaa|b CR LF bb|ccc, zzz|yyy|xxx"),
        (7, '"aaa","b""bb","ccc"', 'aaa|b"bb|ccc'),
    ):
        raw = read_delimited(f"one,two,three\r\n{text}".encode(), "jobs", "jobs.csv")
        assert raw is not None
        rows = ["|".join(row) for row in raw.cells.itertuples(index=False)]
        read = ", ".join(rows).replace("\r\n", " CR LF ")
        figures.add(f"Cells of the example of rule {rule}", read, theirs)


@published(CP1252, "bytes 80 to 9F", "from memory")
def test_a_file_in_windows_1252(figures: Figures) -> None:
    """Bytes that are no UTF-8, in a cell."""
    for byte, name, theirs in (
        (0x80, "euro sign", "€"),
        (0x92, "right quotation mark", "’"),
        (0x96, "en dash", "–"),
        (0x99, "trade mark sign", "™"),
    ):
        raw = read_delimited(b"one,two\r\na" + bytes([byte]) + b"b,c\r\n", "jobs", "jobs.csv")
        assert raw is not None
        figures.add(f"Byte {byte:02X}, {name}", raw.cells.iloc[0, 0], f"a{theirs}b")
