"""The unknowns of the counter sale as printed: each with its ends, in its own unit."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from analysis.counter_tables import COUNTER_UNKNOWNS
from analysis.locale_text import MISSING
from analysis.pricing.counter_unknowns import PERCENT, SALES, TIME
from analysis.report.counter_phrases import WORTH_NOTHING, cents
from analysis.report.grids import Cell, Grid, Heading
from analysis.report.numbers import Numbers, label, sentence_case, typed
from analysis.report.results import Review


@dataclass(frozen=True)
class UnknownTexts:
    """One unknown as printed."""

    name: str
    low: str
    high: str
    middle: str
    at_low: str
    at_high: str
    swing: str
    worth: str
    record: str
    is_worth_knowing: bool

    @property
    def nets(self) -> str:
        """What a sale leaves at the ends, as a sentence's end: the ends of a price say little."""
        if self.name == SALES:
            return f"a sale leaves {self.at_low} to {self.at_high}"
        return f"a sale leaves {self.at_low} at {self.low}, {self.at_high} at {self.high}"

    @property
    def text(self) -> str:
        """`$41 to −$8; knowing it is worth $340 a year`."""
        worth = f"; knowing it is worth {self.worth} a year" if self.is_worth_knowing else ""
        return f"{self.at_low} to {self.at_high}{worth}"

    @classmethod
    def of(cls, row: dict[Any, Any], say: Numbers, review: Review) -> "UnknownTexts":
        """A row of `counter_unknowns` at the edge."""
        low, high, middle = (
            own_unit(row[name], row["unit"], say, review) for name in ("low", "high", "middle")
        )
        return cls(
            name=label(row["unknown"]),
            low=low,
            high=high,
            middle=middle,
            at_low=say.money(row["net_at_low"]),
            at_high=say.money(row["net_at_high"]),
            swing=say.money(row["swing"]),
            worth=say.money(row["value_of_knowing"]),
            record=typed(row["record"]),
            is_worth_knowing=row["value_of_knowing"] >= WORTH_NOTHING,
        )


def own_unit(value: float, unit: str, say: Numbers, review: Review) -> str:
    """A value of an unknown with its unit: `12%`, `25 min`, `$140`."""
    if pd.isna(value):
        return MISSING
    small = 1 if abs(value) < 10 else 0
    if unit == PERCENT:
        return say.percent(value, small)
    if unit == TIME:
        return f"{say.number(value, small)} min"
    return say.money(value, cents(review, value) if small else 0)


def unknowns_grid(rows: Sequence[UnknownTexts]) -> Grid:
    """A row an unknown; each value stands with its own unit."""
    sentences = {each: COUNTER_UNKNOWNS.column(each).sentence for each in COUNTER_UNKNOWNS.names}
    headings = (
        Heading("Unknown", sentence=sentences["unknown"], is_number=False),
        Heading("Mean", sentence=sentences["middle"]),
        Heading("From", sentence=sentences["low"]),
        Heading("To", sentence=sentences["high"]),
        Heading("A sale leaves at the lower end", sentence=sentences["net_at_low"]),
        Heading("At the upper end", sentence=sentences["net_at_high"]),
        Heading("Swing", sentence=sentences["swing"]),
        Heading("Knowing it is worth, a year", sentence=sentences["value_of_knowing"]),
        Heading("Write down", sentence=sentences["record"], is_number=False),
    )
    cells = tuple(
        tuple(
            Cell(text)
            for text in (
                sentence_case(row.name),
                row.middle,
                row.low,
                row.high,
                row.at_low,
                row.at_high,
                row.swing,
                row.worth,
                row.record,
            )
        )
        for row in rows
    )
    return Grid("Every unknown", 1, (), headings, cells)
