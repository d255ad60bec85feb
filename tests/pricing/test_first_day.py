"""The first day of new prices, as it is typed on the sheet."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace
from typing import Any

import pandas as pd

from analysis.pricing.decision_cells import SheetWork, first_day
from analysis.pricing.price_sheet_form import FIRST_DAY
from analysis.pricing.price_sheet_reader import CellPlace
from analysis.settings import Settings


def work_with(day: dt.datetime) -> SheetWork:
    sheet: Any = SimpleNamespace(
        file="review.xlsx",
        inputs={FIRST_DAY: CellPlace(4, "C", day)},
        where=lambda row, column: f"row {row}, column {column}",
    )
    records: Any = SimpleNamespace(settings=Settings())
    return SheetWork(sheet, records, pd.Timestamp("2026-10-05"))


def test_a_year_after_the_decision_to_the_day_is_taken() -> None:
    work = work_with(dt.datetime(2027, 10, 5))
    assert first_day(work) == pd.Timestamp("2027-10-05")
    assert not work.refused
    late = work_with(dt.datetime(2027, 10, 6))
    first_day(late)
    assert "over a year after" in late.refused[0]
