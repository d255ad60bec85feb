"""Fiscal quarters, and the twelve months that end with one."""

import re
from dataclasses import dataclass
from typing import Final

import pandas as pd

from analysis.errors import WorkbookError

# Julian year.
DAYS_A_YEAR: Final = 365.25
_LABEL = re.compile(r"(\d{4})Q([1-4])")


@dataclass(frozen=True, order=True)
class Quarter:
    """One fiscal quarter. `year` is the year in which the fiscal year ends.

    `starts_month` is the month (1-12) in which the fiscal year starts; 1 is the calendar year.
    """

    year: int
    number: int
    starts_month: int = 1

    @classmethod
    def parse(cls, label: str, starts_month: int = 1) -> "Quarter":
        """Read `2026Q3`; anything else raises `WorkbookError` saying what was expected."""
        found = _LABEL.fullmatch(label.strip().upper())
        if found is None:
            raise WorkbookError(f"'{label}' is no quarter; write it as 2026Q3.")
        return cls(int(found[1]), int(found[2]), starts_month)

    @property
    def label(self) -> str:
        """The name in tables and folders: `2026Q3`."""
        return f"{self.year:04d}Q{self.number}"

    @property
    def index(self) -> int:
        """A running number: neighbouring quarters differ by 1 (as `quarter_index` counts)."""
        return self.year * 4 + self.number - 1

    @property
    def first_day(self) -> pd.Timestamp:
        """First day of the quarter."""
        year = self.year if self.starts_month == 1 else self.year - 1
        months = self.starts_month - 1 + 3 * (self.number - 1)
        return pd.Timestamp(year=year + months // 12, month=months % 12 + 1, day=1)

    @property
    def last_day(self) -> pd.Timestamp:
        """Last day of the quarter."""
        return self.first_day + pd.DateOffset(months=3, days=-1)

    @property
    def year_first_day(self) -> pd.Timestamp:
        """First day of the twelve calendar months that end with this quarter."""
        return self.first_day - pd.DateOffset(months=9)

    @property
    def previous(self) -> "Quarter":
        """The quarter before this one."""
        if self.number > 1:
            return Quarter(self.year, self.number - 1, self.starts_month)
        return Quarter(self.year - 1, 4, self.starts_month)

    @property
    def spelled(self) -> str:
        """The name with its dates, for a title."""
        first, last = self.first_day, self.last_day
        return f"{self.label} ({first:%b %Y} to {last:%b %Y})"


def quarter_of(day: pd.Timestamp, starts_month: int = 1) -> Quarter:
    """The fiscal quarter that holds a day."""
    offset = (day.month - starts_month) % 12
    year = day.year + (1 if starts_month > 1 and day.month >= starts_month else 0)
    return Quarter(year, offset // 3 + 1, starts_month)


def quarter_index(days: pd.Series, starts_month: int = 1) -> pd.Series:
    """A running number of the fiscal quarter of each day; missing stays missing. Vectorised.

    Numbers of neighbouring quarters differ by 1; `quarter_label` names one.
    """
    month = days.dt.month
    offset = (month - starts_month) % 12
    later = (month >= starts_month) & (starts_month > 1)
    year = days.dt.year + later.astype("int64")
    number: pd.Series = (year * 4 + offset // 3).where(days.notna())
    return number


def quarter_from_index(index: int, starts_month: int = 1) -> Quarter:
    """The quarter that `quarter_index` numbered."""
    return Quarter(int(index) // 4, int(index) % 4 + 1, starts_month)


def last_complete_quarter(newest: pd.Timestamp, starts_month: int = 1) -> Quarter:
    """The last quarter that the records reach the end of.

    A quarter whose last week holds work counts as complete: few shops work on its last day.
    """
    quarter = quarter_of(newest, starts_month)
    if quarter.last_day - newest <= pd.Timedelta(days=6):
        return quarter
    return quarter.previous
