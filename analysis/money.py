"""Rounding as an invoice rounds, prices in steps, and whole cents where money is shared out."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.errors import Unreconciled

# Amounts that differ by less are the same money.
HALF_A_CENT: Final = 0.005

# Steps that a price lies over one by less than this lie on it.
_SAME_STEP: Final = 1e-9


def half_away(values: np.ndarray | float, places: int) -> np.ndarray:
    """Numbers rounded half away from zero, as an invoice rounds; never a minus nought.

    The tiny allowance mends binary numbers such as 1.005, which are stored a hair too small.
    """
    scaled = values * 10.0**places
    whole = np.sign(scaled) * np.floor(np.abs(scaled) + 0.5 + 1e-7)
    return np.asarray(whole / 10.0**places + 0.0)


def up_to_step(prices: np.ndarray | pd.Series | float, step: float) -> np.ndarray:
    """To the next whole step; a price that lies on one stays. [money]"""
    # A product of steps has dust behind it: 3 × 0.1 is 0.30000000000000004.
    steps = np.ceil(np.asarray(prices, dtype=np.float64) / step - _SAME_STEP)
    return np.asarray((steps * step).round(9))


def to_cents(amounts: pd.Series) -> pd.Series:
    """Amounts in whole cents, half away from zero as an invoice rounds. [cents]"""
    cents = half_away(amounts.to_numpy(dtype="float64", na_value=np.nan) * 100, 0)
    return pd.Series(cents, index=amounts.index).astype("int64")


def allocate_cents(totals: pd.Series, weights: pd.Series, groups: pd.Series) -> pd.Series:
    """Share whole-cent totals over the rows of each group by largest remainder.

    Parameters
    ----------
    totals : one row a group, index = group label, integer. [cents]
    weights : one row a receiver, 0 or more; a group whose weights are all 0 shares equally.
    groups : the group label of each receiver, same index as `weights`.

    Returns
    -------
    Series
        Cents of each receiver, same index as `weights`. [cents] A receiver of a group that
        `totals` does not name gets 0.

    Raises
    ------
    Unreconciled
        A group's shares do not add to its total, or a total has nobody to go to.

    Notes
    -----
    Hamilton's method of largest remainder; equal remainders go to the earlier row.
    """
    total = groups.map(totals).fillna(0).astype("int64")
    weight = weights.astype("float64")
    group_weight = weight.groupby(groups).transform("sum")
    count = weight.groupby(groups).transform("size")
    share = (weight / group_weight).where(group_weight > 0, 1 / count)
    exact = share * total.abs()
    # A share that is a whole number of cents may be stored a hair below it.
    base = np.floor(exact + 1e-6).astype("int64")
    left = total.abs() - base.groupby(groups).transform("sum")
    remainder = (exact - base).round(6)
    order = pd.DataFrame({"g": groups, "r": -remainder, "at": np.arange(len(groups))})
    order = order.sort_values(["g", "r", "at"], kind="stable")
    rank = order.groupby("g").cumcount().reindex(weights.index)
    shares: pd.Series = (base + (rank < left).astype("int64")) * np.sign(total)
    _check_shares(shares, totals, groups)
    return shares.astype("int64")


def _check_shares(shares: pd.Series, totals: pd.Series, groups: pd.Series) -> None:
    given = shares.groupby(groups).sum().reindex(totals.index, fill_value=0)
    wrong = given[given != totals]
    if len(wrong):
        label = wrong.index[0]
        raise Unreconciled(
            f"Sharing out {totals[label]} cents of {label!r} gave {wrong.iloc[0]} cents."
        )
