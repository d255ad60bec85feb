"""Read a clean records folder: plain loops, exact numbers, no repairs.

Lengths become metres, areas square metres and all other numbers plain fractions, so that nothing
is rounded before the end. A blank cell, and a cell of a column that is not there, is None.
"""

from __future__ import annotations

import csv
import tomllib
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path
from typing import Any

METRES = {
    "in": Fraction(127, 5000),
    "ft": Fraction(381, 1250),
    "yd": Fraction(1143, 1250),
    "mm": Fraction(1, 1000),
    "cm": Fraction(1, 100),
    "m": Fraction(1),
}
SQUARE_METRES = {"sq ft": METRES["ft"] ** 2, "m2": Fraction(1)}

TABLES = (
    "jobs",
    "hours",
    "purchases",
    "cuts",
    "stock_counts",
    "counter_sales",
    "vehicles",
    "rates",
    "overheads",
    "capacity",
)
LENGTHS = {
    "pulled_length",
    "pulled_width",
    "roll_width",
    "roll_length",
    "piece_length",
    "piece_width",
    "finished_length",
    "finished_width",
    "kept_width",
    "kept_length",
    "length_on_hand",
    "length",
    "width",
}
AREAS = {"quoted_film_area", "finished_area", "opening_area", "area_on_hand"}
NUMBERS = {
    "quoted_hours",
    "quoted_price",
    "invoiced_price",
    "hours",
    "quantity",
    "unit_price",
    "discount",
    "pieces",
    "price",
    "minutes",
    "extras_price",
    "extras_cost",
    "wage",
    "amount",
    "installer_hours",
    "bay_hours",
    "line",
    "model_year",
    "year_from",
    "year_to",
}
DATES = {
    "quoted_on",
    "started_on",
    "finished_on",
    "worked_on",
    "received_on",
    "cut_on",
    "counted_on",
    "sold_on",
    "effective_from",
}


class Row(dict[str, Any]):
    """A row of a table; a column that is not there reads as None."""

    def __missing__(self, column: str) -> None:
        return None


class Settings:
    """The settings of shop.toml that bear on costs, with the defaults used here."""

    def __init__(self, toml: dict[str, Any]) -> None:
        labour, film, fees = toml.get("labour", {}), toml.get("film", {}), toml.get("fees", {})
        self.metre_of_a_unit = METRES[toml.get("length_unit", "in")]
        self.square_metres_of_a_unit = SQUARE_METRES[toml.get("area_unit", "sq ft")]
        self.fiscal_year_starts: int = toml.get("fiscal_year_starts", 1)
        self.tax = (
            number(toml.get("tax_rate", 0)) if toml.get("prices_include_tax") else Fraction(0)
        )
        self.on_cost = number(labour.get("on_cost", 0))
        self.overtime_multiplier = number(labour.get("overtime_multiplier", "1.5"))
        self.on_cost_on_overtime: bool = labour.get("on_cost_on_overtime", False)
        wage = labour.get("default_wage")
        self.default_wage = None if wage is None else number(wage)
        self.costing: str = film.get("costing", "fifo")
        self.offcut_life_months: int = film.get("offcut_life_months", 12)
        self.directional: set[str] = set(film.get("directional", ()))
        self.knife_gap = number(film.get("knife_gap", 0)) * self.metre_of_a_unit
        self.card_percent = number(fees.get("card_percent", 0))
        self.card_fixed = number(fees.get("card_fixed", 0))
        self.fewest_jobs: int = toml.get("pricing", {}).get("fewest_jobs", 5)


class Shop:
    """The settings and the typed rows of every table; a table that is not there has no rows."""

    def __init__(self, settings: Settings, tables: dict[str, list[Row]]) -> None:
        self.settings, self.tables = settings, tables

    def __getitem__(self, table: str) -> list[Row]:
        return self.tables.get(table, [])


def number(written: object) -> Fraction:
    """A decimal number as it was written: 0.1 is one tenth, not the nearest binary number."""
    return Fraction(str(written).strip())


def read_shop(folder: Path) -> Shop:
    """Read shop.toml and every table that is there."""
    settings = Settings(tomllib.loads((folder / "shop.toml").read_text(encoding="utf-8")))
    return Shop(
        settings, {table: read_table(folder / f"{table}.csv", settings) for table in TABLES}
    )


def read_table(path: Path, settings: Settings) -> list[Row]:
    """The rows of one file, in file order."""
    if not path.exists():
        return []
    with path.open(encoding="utf-8-sig", newline="") as file:
        written = list(csv.DictReader(file))
    return [
        Row({column: read_cell(column, cell, settings) for column, cell in row.items()})
        for row in written
        if any((cell or "").strip() for cell in row.values())
    ]


def read_cell(column: str, cell: str | None, settings: Settings) -> Any:
    """One cell in metres, square metres, a fraction, a date, or its text."""
    text = (cell or "").strip()
    if text == "":
        return None
    if column in LENGTHS:
        return number(text) * settings.metre_of_a_unit
    if column in AREAS:
        return number(text) * settings.square_metres_of_a_unit
    if column in NUMBERS:
        return number(text)
    if column in DATES:
        return date.fromisoformat(text[:10])
    if column == "month":
        return int(text[:4]) * 12 + int(text[5:7]) - 1
    return text


# ---- the calendar ----------------------------------------------------------------------------


def month_number(on: date) -> int:
    """Months counted from year 0, so that they can be added to and subtracted."""
    return on.year * 12 + on.month - 1


def first_day(month: int) -> date:
    return date(month // 12, month % 12 + 1, 1)


def add_months(on: date, months: int) -> date:
    """The same day some calendar months later; the month's last day where it has no such day."""
    month = month_number(on) + months
    last_day = (first_day(month + 1) - timedelta(days=1)).day
    return date(month // 12, month % 12 + 1, min(on.day, last_day))


class Quarter:
    """Three months of the fiscal year, which is named after the year in which it ends."""

    def __init__(self, label: str, fiscal_year_starts: int) -> None:
        self.label = label
        year, position = int(label[:4]), int(label[5:])
        begins = year * 12 if fiscal_year_starts == 1 else (year - 1) * 12 + fiscal_year_starts - 1
        self.first_month = begins + 3 * (position - 1)
        self.first = first_day(self.first_month)
        self.end = first_day(self.first_month + 3) - timedelta(days=1)

    def holds(self, on: date) -> bool:
        return self.first <= on <= self.end

    def holds_month(self, month: int) -> bool:
        return self.first_month <= month < self.first_month + 3

    def trailing_year_holds_month(self, month: int) -> bool:
        """The twelve calendar months that end with the quarter's last day."""
        return self.first_month - 9 <= month < self.first_month + 3


def quarter_of(on: date, fiscal_year_starts: int) -> Quarter:
    """The quarter in which a day falls."""
    months_in = (on.month - fiscal_year_starts) % 12
    ends_next_year = fiscal_year_starts > 1 and on.month >= fiscal_year_starts
    label = f"{on.year + (1 if ends_next_year else 0)}Q{months_in // 3 + 1}"
    return Quarter(label, fiscal_year_starts)


# ---- small sums ------------------------------------------------------------------------------


def total(amounts: list[Any]) -> Any:
    """A sum; unknown as soon as one of its parts is unknown; nothing to add is 0."""
    if any(amount is None for amount in amounts):
        return None
    return sum(amounts, Fraction(0))


def ratio(above: Any, below: Any) -> Any:
    """A division; blank where a side is unknown or the divisor is 0."""
    if above is None or below is None or below == 0:
        return None
    return above / below


def percent(above: Any, below: Any) -> Any:
    share = ratio(above, below)
    return None if share is None else 100 * share


def tidy(amount: Fraction) -> Fraction:
    """An amount to 15 decimal places.

    Every cost that leaves a stock goes through here and the stock keeps the exact rest, so that
    nothing is lost and the fractions do not grow with every division.
    """
    return Fraction(round(amount * 10**15), 10**15)


def share_out_cents(amount: Fraction, weights: list[Fraction]) -> list[Fraction]:
    """Whole cents by largest remainder, equal remainders to the earlier position.

    Where all weights are 0 the shares are equal.
    """
    if sum(weights) == 0:
        weights = [Fraction(1)] * len(weights)
    cents = round_half_up(amount * 100)
    exact = [cents * weight / sum(weights) for weight in weights]
    shares = [int(share // 1) for share in exact]
    by_remainder = sorted(range(len(exact)), key=lambda i: (-(exact[i] - shares[i]), i))
    for position in by_remainder[: cents - sum(shares)]:
        shares[position] += 1
    return [Fraction(share, 100) for share in shares]


def round_half_up(amount: Fraction) -> int:
    return int((amount + Fraction(1, 2)) // 1)
