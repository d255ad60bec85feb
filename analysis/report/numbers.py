"""Numbers, money, dates and units as the report writes them. Missing is a dash, never 0."""

import math
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from babel import Locale
from babel.dates import format_date, format_interval, format_skeleton

from analysis.locale_text import (
    MISSING,
    clean,
    decimal_of,
    locale_of,
    money_text,
    number_text,
    percent_text,
    pretty_unit,
)
from analysis.periods import Quarter
from analysis.report.edge import unit_of
from analysis.schema import Column, Kind
from analysis.settings import Settings

NOT_GIVEN: Final = "(not given)"
_RIGHT_TO_LEFT: Final = frozenset({"R", "AL", "AN", "RLE", "RLO", "RLI"})
_FIRST_ISOLATE, _POP_ISOLATE = "\u2068", "\u2069"


@dataclass(frozen=True)
class Numbers:
    """Writes values at the edge (the shop's units, percentages as 12.5) in the shop's locale."""

    settings: Settings

    @property
    def locale(self) -> Locale:
        """The shop's locale."""
        return locale_of(self.settings.babel_locale)

    @property
    def separators(self) -> str:
        """Decimal sign and thousands sign, as a chart wants them."""
        symbols = self.locale.number_symbols["latn"]
        return f"{symbols['decimal']}{symbols['group']}"

    @property
    def area_unit(self) -> str:
        """The shop's unit of areas, as printed: `sq ft`, `m²`."""
        return pretty_unit(self.settings.area_unit)

    def number(self, value: float | None, places: int = 0) -> str:
        """A number with that many decimal places."""
        if value is None or pd.isna(value):
            return MISSING
        return number_text(value, places, self.settings)

    def money(self, value: float | None, places: int = 0) -> str:
        """An amount with the sign of the currency, where the locale puts it."""
        if value is None or pd.isna(value):
            return MISSING
        return money_text(value, places, self.settings)

    def change(self, value: float | None, places: int = 0) -> str:
        """An amount with its sign shown: `+$120`, `−$80`."""
        text = self.money(value, places)
        is_gain = value is not None and not pd.isna(value) and decimal_of(value, places) > 0
        return f"+{text}" if is_gain else text

    def percent(self, value: float | None, places: int = 0) -> str:
        """A percentage that is held as 12.5: `13%`, `12,5 %`."""
        if value is None or pd.isna(value):
            return MISSING
        return percent_text(value, places, self.settings)

    def percent_change(self, value: float | None, places: int = 0) -> str:
        """A percentage with its sign shown: `+13%`."""
        text = self.percent(value, places)
        is_gain = value is not None and not pd.isna(value) and decimal_of(value, places) > 0
        return f"+{text}" if is_gain else text

    def percent_range(self, low: float | None, high: float | None) -> str:
        """An interval of percentages: `35% to 48%`."""
        return f"{self.percent(low)} to {self.percent(high)}"

    def area(self, value: float | None) -> str:
        """An area in the shop's unit, with the unit."""
        if value is None or pd.isna(value):
            return MISSING
        return f"{self.number(value, places_for([value], Kind.AREA))} {self.area_unit}"

    def hours(self, value: float | None, places: int = 1) -> str:
        """Hours, with their sign: `12.5 h`."""
        text = self.number(value, places)
        return text if text == MISSING else f"{text} h"

    def day(self, day: pd.Timestamp | None) -> str:
        """A date."""
        if day is None or pd.isna(day):
            return MISSING
        return clean(format_date(day.date(), "medium", locale=self.locale))

    def month(self, day: pd.Timestamp) -> str:
        """A month with its year."""
        return clean(format_skeleton("yMMM", day.date(), locale=self.locale))

    def span(self, first: pd.Timestamp, last: pd.Timestamp) -> str:
        """A period from one day to another."""
        text = format_interval(first.date(), last.date(), "yMMMd", locale=self.locale)
        return clean(text)

    def quarter(self, quarter: Quarter) -> str:
        """A quarter with its days: `2026Q3 (Jul 1 – Sep 30, 2026)`."""
        return f"{quarter.label} ({self.span(quarter.first_day, quarter.last_day)})"

    def column(self, values: pd.Series, column: Column) -> list[str]:
        """The cells of one column at the edge, all with the same number of places, no units."""
        if column.kind is Kind.DATE:
            return [self.day(value) for value in values]
        if column.kind is Kind.YES_NO:
            return [MISSING if pd.isna(v) else "yes" if v else "no" for v in values]
        if column.kind not in _PLACES and column.kind not in _ADAPTIVE:
            return [typed(value) for value in values]
        places = places_for(values, column.kind)
        return [
            self.number(value, places)
            for value in values.to_numpy(dtype="float64", na_value=np.nan).tolist()
        ]

    def unit(self, column: Column) -> str:
        """The unit for a heading: `USD`, `sq ft`, `h`, `%`; empty where there is none."""
        return " / ".join(pretty_unit(part) for part in unit_of(column, self.settings).split(" / "))


# Decimal places on the page; the workbook and the tables hold more.
_PLACES: Final = {
    Kind.MONEY: 0,
    Kind.MONEY_PER_HOUR: 0,
    Kind.MINUTES: 0,
    Kind.HOURS: 1,
    Kind.PERCENT: 1,
    Kind.PROBABILITY: 2,
    Kind.WHOLE: 0,
}
# Kinds whose size depends on the shop's unit: places follow the largest value of the column.
_ADAPTIVE: Final = frozenset(
    {Kind.AREA, Kind.LENGTH, Kind.NUMBER, Kind.MONEY_PER_AREA, Kind.MONEY_PER_LENGTH}
)


def places_for(values: pd.Series | Sequence[float | None], kind: Kind) -> int:
    """Decimal places for a column of that kind: fewer, the larger its largest value is."""
    if kind in _PLACES:
        return _PLACES[kind]
    largest = pd.Series(values, dtype="float64").abs().max()
    if kind is Kind.MONEY_PER_LENGTH:
        return 2
    if kind is Kind.MONEY_PER_AREA:
        return 2 if pd.isna(largest) or largest >= 1 else 4
    if pd.isna(largest) or largest >= 100:
        return 0
    return 1 if largest >= 1 else 2


def typed(value: object) -> str:
    """Text that a person typed, on one line and unable to turn what stands beside it round.

    Control characters go; text that runs from right to left is isolated, so that a number after
    it stays after it. It is still plain text: whoever puts it on a page escapes it.
    """
    if value is None or value is pd.NA or value is pd.NaT:
        return MISSING
    if isinstance(value, float) and math.isnan(value):
        return MISSING
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    return _isolated(clean(str(value)))


def shop_name(settings: Settings) -> str:
    """The shop's name as printed; empty where none is set."""
    return typed(settings.shop_name) if settings.shop_name.strip() else ""


def label(value: object) -> str:
    """The name of a group: as typed, or a word where nothing was."""
    text = typed(value)
    return NOT_GIVEN if text == MISSING or not text else text


def shortened(text: str, most: int = 44) -> str:
    """A name cut to a length that a chart can hold."""
    return text if len(text) <= most else text[: most - 1].rstrip() + "…"


def sentence_case(text: str) -> str:
    """A name at the start of a sentence: its first letter large, the others as typed."""
    return text[:1].upper() + text[1:]


def _isolated(text: str) -> str:
    turns = any(unicodedata.bidirectional(each) in _RIGHT_TO_LEFT for each in text)
    return f"{_FIRST_ISOLATE}{text}{_POP_ISOLATE}" if turns else text
