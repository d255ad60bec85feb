"""Overheads and consumables an hour, over the twelve months that end with a quarter.

Overhead is charged at practical capacity, so that hours not worked stand as unused capacity and
load no job (time-driven activity-based costing: Kaplan and Anderson, Harvard Business Review,
November 2004).
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.periods import Quarter


@dataclass(frozen=True)
class QuarterRates:
    """Rates that hold for the jobs finished in one quarter.

    `overhead_rate` and `consumables_rate` are money an hour worked; NaN where the records do not
    say. The hours and sums behind them stand beside, for the twelve months and for the quarter.
    """

    quarter: Quarter
    overhead_rate: float
    consumables_rate: float
    overheads: float
    practical_hours: float
    worked_hours: float


def quarter_rates(
    quarter: Quarter,
    overheads: pd.DataFrame,
    capacity: pd.DataFrame,
    consumables: pd.DataFrame,
    log: pd.DataFrame,
) -> QuarterRates:
    """The rates of one quarter.

    Parameters
    ----------
    overheads, capacity : the record tables
    consumables : `day, amount` from `purchases.consumables_bought` [money]
    log : `worked_on, hours` from `labour.work_log` [h]

    Notes
    -----
    Overhead rate = overheads ÷ practical installer hours, over the months of the trailing twelve
    for which both are written down. Consumables rate = consumables bought ÷ hours worked, over
    the trailing twelve months; in the first year, over the months there are.
    """
    first, start, last = quarter.year_first_day, quarter.first_day, quarter.last_day
    cost = overheads.groupby("month")["amount"].sum()
    hours = capacity.groupby("month")["installer_hours"].sum()
    both = cost.index.intersection(hours.index)
    both = both[(both >= first) & (both <= last)]
    practical = hours[both].sum()
    bought = consumables.loc[consumables["day"].between(first, last), "amount"].sum()
    worked = log.loc[log["worked_on"].between(first, last), "hours"].sum()
    now = (cost.index >= start) & (cost.index <= last)
    open_now = (hours.index >= start) & (hours.index <= last)
    return QuarterRates(
        quarter=quarter,
        overhead_rate=float(cost[both].sum() / practical) if practical > 0 else np.nan,
        consumables_rate=_rate(float(bought), float(worked)),
        overheads=float(cost[now].sum()) if now.any() else np.nan,
        practical_hours=float(hours[open_now].sum()) if open_now.any() else np.nan,
        worked_hours=float(log.loc[log["worked_on"].between(start, last), "hours"].sum()),
    )


def _rate(amount: float, hours: float) -> float:
    if amount == 0:
        return 0.0
    return amount / hours if hours > 0 else np.nan
