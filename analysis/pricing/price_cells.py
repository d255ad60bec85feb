"""The cells of the price list: a service on a vehicle class, its price today, and its past jobs."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing

KEYS: Final = ["service", "vehicle_class"]
_MONTHS: Final = 12


def price_cells(price_list: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The price list as it stands on a day, a row a service and class, sorted by them.

    Returns
    -------
    DataFrame
        `service, vehicle_class` (missing: the row that holds for every class without its own),
        `current_price` [money, as written], `list_hours` [h], `price_since` (the day since which
        the price has stood), `price_drift_share` (against the price a year before; missing where
        there was none). A price of 0 is none, and its row is left out.
    """
    given = price_list[(price_list["list_price"] > 0) & (price_list["effective_from"] <= day)]
    given = given.sort_values("effective_from", kind="stable")
    by_cell = given.groupby(KEYS, dropna=False, sort=False)
    changed = given["list_price"] != by_cell["list_price"].shift()
    since = given[changed].groupby(KEYS, dropna=False, sort=False)["effective_from"].last()
    early = given[given["effective_from"] <= day - pd.DateOffset(months=_MONTHS)]
    before = early.groupby(KEYS, dropna=False, sort=False)["list_price"].last()
    cells = by_cell[["list_price", "list_hours"]].last()
    drift = cells["list_price"] / before.reindex(cells.index) - 1
    cells = cells.assign(price_since=since.reindex(cells.index), price_drift_share=drift)
    cells = cells.rename(columns={"list_price": "current_price"}).reset_index()
    return cells.sort_values(KEYS, kind="stable", ignore_index=True)


def cell_of(cells: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """The cell (position in `cells`) that each row's service and class is priced by.

    Its own class, else the row of the list for every class without its own; missing for a service
    or class that the list does not price.
    """
    index = pd.MultiIndex.from_frame(cells[KEYS])
    every = pd.MultiIndex.from_arrays([rows["service"], [np.nan] * len(rows)], names=KEYS)
    own = index.get_indexer(pd.MultiIndex.from_frame(rows[KEYS]))
    wide = index.get_indexer(every)
    at = np.where(own >= 0, own, wide)
    return pd.Series(at, index=rows.index, dtype="Int64").where(at >= 0)


def cell_lines(costing: Costing, cells: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The first-time job lines finished by a day that the list prices, with their `cell`."""
    lines = costing.lines
    lines = lines[lines["finished"] & ~lines["is_redo"] & (lines["finished_on"] <= day)]
    lines = lines.assign(cell=cell_of(cells, lines)).reset_index(drop=True)
    return lines[lines["cell"].notna()].astype({"cell": "int64"})
