"""The hours that the shop itself counts on for a service on a class: its list, else its quotes."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import Array

# A service on a class done n times stands n against this many of what service and class alone say.
_BEFORE: Final = 1.0
_KEYS: Final = ["service", "vehicle_class"]


@dataclass(frozen=True, eq=False)
class UsualHours:
    """Usual hours by service and class.

    `listed` : list hours by service and class (a missing class holds for every class without a row
    of its own); `quoted` : log of what was quoted, by service and class; `service` : by service;
    `size` : what a class is quoted over the mean of its services, in logs.
    """

    listed: pd.Series
    quoted: pd.Series
    service: pd.Series
    size: pd.Series

    def are_listed(self, rows: pd.DataFrame) -> pd.Series:
        """Whether the usual hours of rows are the list's, and not those of past quotes."""
        return pd.Series(~np.isnan(self._of_list(rows)), index=rows.index)

    def of(self, rows: pd.DataFrame) -> pd.Series:
        """Usual hours of rows with service and vehicle_class; missing for an unknown service. [h]

        The list's hours for the class, else for all classes; else the geometric mean of what was
        quoted for the service on that class, drawn towards what the service and the size of the
        class make likely.
        """
        listed = self._of_list(rows)
        quoted = fetch(self.quoted, pd.MultiIndex.from_frame(rows[_KEYS]))
        service = fetch(self.service, pd.Index(rows["service"]))
        size = fetch(self.size, pd.Index(rows["vehicle_class"]))
        likely = service + np.where(np.isnan(size), 0.0, size)
        usual = np.exp(np.where(np.isnan(quoted), likely, quoted))
        return pd.Series(np.where(np.isnan(listed), usual, listed), index=rows.index)

    def _of_list(self, rows: pd.DataFrame) -> Array:
        """Hours of the list for the class, else for all classes; NaN without. [h]"""
        every = pd.MultiIndex.from_arrays([rows["service"], [np.nan] * len(rows)], names=_KEYS)
        own = fetch(self.listed, pd.MultiIndex.from_frame(rows[_KEYS]))
        return np.where(np.isnan(own), fetch(self.listed, every), own)


def fetch(values: pd.Series, keys: pd.Index) -> Array:
    """The value of each key, by the index of `values`; missing without one. (keys,)"""
    at = values.index.get_indexer(keys)
    found = np.append(values.to_numpy(dtype=np.float64), np.nan)
    return found[at]


def usual_hours(lines: pd.DataFrame, price_list: pd.DataFrame, day: pd.Timestamp) -> UsualHours:
    """Usual hours as they were known on a day.

    `lines` : service, vehicle_class, quoted_hours (over 0) of earlier jobs; `price_list` : as in
    the records. Of the list the newest row on or before the day counts (before the first: none).
    """
    log = pd.Series(np.log(lines["quoted_hours"].to_numpy(dtype=np.float64)), index=lines.index)
    service = log.groupby(lines["service"]).mean()
    over = log - lines["service"].map(service).astype("float64")
    by_class = over.groupby(lines["vehicle_class"], dropna=False)
    size = by_class.sum() / (by_class.size() + _BEFORE)
    likely = lines["service"].map(service).astype("float64") + _size_of(size, lines)
    left = (log - likely).groupby([lines[key] for key in _KEYS], dropna=False)
    cell = left.sum() / (left.size() + _BEFORE)
    cell_likely = likely.groupby([lines[key] for key in _KEYS], dropna=False).first()
    return UsualHours(_listed(price_list, day), cell + cell_likely, service, size)


def _size_of(size: pd.Series, lines: pd.DataFrame) -> pd.Series:
    return pd.Series(fetch(size, pd.Index(lines["vehicle_class"])), index=lines.index)


def _listed(price_list: pd.DataFrame, day: pd.Timestamp) -> pd.Series:
    known = price_list[
        price_list["list_hours"].notna()
        & (price_list["list_hours"] > 0)
        & (price_list["effective_from"] <= day)
    ]
    newest = known.sort_values("effective_from", kind="stable").drop_duplicates(_KEYS, keep="last")
    index = pd.MultiIndex.from_frame(newest[_KEYS])
    return pd.Series(newest["list_hours"].to_numpy(dtype=np.float64), index=index)
