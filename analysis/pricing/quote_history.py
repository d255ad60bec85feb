"""Every quote to date, against the list price of its day."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.pricing.price_cells import KEYS
from analysis.records.job_lines import vehicle_classes
from analysis.records.list_prices import list_rows
from analysis.records.model import Records
from analysis.records.slip_rules import FAR_PRICE

# A price more than this factor from its list is a slip of the pen, or that of another thing
# (common practice, no source).
_FURTHEST: Final = float(np.log(FAR_PRICE))
# Where there is no list: a service on a class quoted n times stands n against this many of what the
# service is quoted over all classes.
_BEFORE: Final = 2.0
_KEPT: Final = ["quote_id", "quoted_on", "outcome", "job_id", "quoted_hours"]
FROM_QUOTE, FROM_LIST, USUAL = "quote", "price list", "usual price"


def quote_history(records: Records, day: pd.Timestamp) -> pd.DataFrame:
    """Every quote of the days up to `day`, whatever came of it.

    Returns
    -------
    DataFrame
        A row a quote, by day and number: `quote_id, quoted_on, service, vehicle_class` (its own,
        else by model and year from the vehicles table), `outcome` (won, lost, open), `job_id`,
        `quoted_hours` [h], `price` [money, as written], `list_price`: that of the quote, else of
        the price list that day, else what the shop usually quotes; `list_from` says which (quote,
        price list, usual price). `dated_price`: that of the price list that day, missing where it
        has none. `log_ratio`: log(price ÷ list price), missing where the price is 0, or over twice
        or under half of the list: such a quote was asked for and decided, but its price teaches
        nothing.
    """
    quotes = records["quotes"]
    quotes = quotes[quotes["quoted_on"] <= day]
    quotes = quotes.sort_values(["quoted_on", "quote_id"], kind="stable", ignore_index=True)
    classes = vehicle_classes(quotes, records["vehicles"])
    price = quotes["quoted_price"].where(quotes["quoted_price"] > 0)
    frame = quotes[_KEPT].assign(service=quotes["service"], vehicle_class=classes, price=price)
    own = quotes["list_price"].where(quotes["list_price"] > 0)
    dated = dated_prices(records["price_list"], frame)
    listed = own.fillna(dated)
    usual = _usual_prices(frame[listed.isna()]).reindex(frame.index)
    source = np.select([own.notna(), dated.notna()], [FROM_QUOTE, FROM_LIST], USUAL)
    list_price = listed.fillna(usual)
    ratio = pd.Series(np.log(price / list_price), index=frame.index)
    return frame.assign(
        list_price=list_price,
        list_from=pd.Series(source, index=frame.index, dtype="str"),
        dated_price=dated,
        log_ratio=ratio.where(ratio.abs() <= _FURTHEST),
    )


def dated_prices(price_list: pd.DataFrame, rows: pd.DataFrame) -> pd.Series:
    """The list price of each row's service and class on its day, on the rows' index. [money]

    The row of its class, else the row for every class without its own; missing before the first.
    `rows` : service, vehicle_class, quoted_on.
    """
    if price_list.empty or rows.empty:
        return pd.Series(np.nan, index=rows.index)
    label = list_rows(rows.rename(columns={"quoted_on": "on"}), price_list, "list_price")
    return label.map(price_list["list_price"]).astype("float64")


def _usual_prices(rows: pd.DataFrame) -> pd.Series:
    """What the shop usually quotes for the row's service and class, in place of a list. [money]

    The geometric mean of its quotes, few of them drawn towards the service's.
    """
    log = pd.Series(np.log(rows["price"]), index=rows.index)
    service = log.groupby(rows["service"]).transform("mean")
    keys = [rows[key] for key in KEYS]
    over = (log - service).groupby(keys, dropna=False)
    share = over.transform("sum") / (over.transform("count") + _BEFORE)
    usual: pd.Series = np.exp(service + share)
    return usual
