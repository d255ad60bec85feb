"""Grouping job lines of a period: one shape for every table of sums."""

from dataclasses import dataclass

import pandas as pd


@dataclass(frozen=True)
class Period:
    """A span of days, both ends included."""

    first: pd.Timestamp
    last: pd.Timestamp

    def holds(self, days: pd.Series) -> pd.Series:
        """Which days fall into it."""
        return days.between(self.first, self.last)


def finished_in(lines: pd.DataFrame, period: Period) -> pd.DataFrame:
    """The finished job lines of a period."""
    return lines[lines["finished"] & period.holds(lines["finished_on"])]


def group_sums(
    frame: pd.DataFrame, keys: dict[str, str], sums: dict[str, str], count: str | None
) -> pd.DataFrame:
    """Sums by group, one row a group, sorted by key; a missing number makes its sum missing.

    `keys` and `sums` map result columns to the frame's columns; `count` names the column of the
    number of rows.
    """
    by = [frame[column].rename(name) for name, column in keys.items()]
    values = pd.DataFrame(
        {name: frame[column].astype("float64") for name, column in sums.items()}, index=frame.index
    )
    grouped = values.groupby(by, dropna=False)
    result = grouped.sum(skipna=False)
    if count is not None:
        result[count] = grouped.size()
    result.index = result.index.set_names(list(keys))
    return result


def both(first: pd.DataFrame, redo: pd.DataFrame) -> pd.DataFrame:
    """First-time and redo sums side by side; a group without one of them has 0 of it."""
    index = first.index.union(redo.index)
    joined = [part.reindex(index, fill_value=0.0) for part in (first, redo)]
    return pd.concat(joined, axis=1)
