"""The row of the price list that held for a service and class on a day."""

from typing import Final

import numpy as np
import pandas as pd

_CELL: Final = ["service", "vehicle_class"]


def list_rows(asked: pd.DataFrame, prices: pd.DataFrame, column: str) -> pd.Series:
    """Labels of the rows of `prices` that held for each row asked about.

    The newest row on or before the day with something over 0 in `column`: of the class, else of
    those for every class without its own. A class without any row of its own by that day takes
    the row without a class.

    Parameters
    ----------
    asked : DataFrame
        `service`, `vehicle_class`, `on` (the day; missing: no row).
    prices : DataFrame
        The price list.
    column : str
        `list_price` or `list_hours`.

    Returns
    -------
    Series
        Decimal numbers on the index of `asked`, missing where no row held.

    """
    if prices.empty or asked.empty:
        return pd.Series(np.nan, asked.index)
    given = prices.loc[prices[column] > 0, [*_CELL, "effective_from"]].reset_index(names="label")
    given = given.rename(columns={"effective_from": "on"}).sort_values("on", kind="stable")
    given = given.fillna({"vehicle_class": ""})
    days = asked.loc[asked["on"].notna(), [*_CELL, "on"]].sort_values("on", kind="stable")
    days = days.fillna({"vehicle_class": ""})
    wide = given[given["vehicle_class"] == ""].drop(columns="vehicle_class")
    own = pd.merge_asof(days, given, on="on", by=_CELL)["label"]
    common = pd.merge_asof(days, wide, on="on", by="service")["label"]
    return own.fillna(common).set_axis(days.index).reindex(asked.index).astype("float64")
