"""Sums that keep a missing number missing."""

import pandas as pd


def strict_sum(values: pd.Series, groups: pd.Series | list[pd.Series]) -> pd.Series:
    """Sum by group; a group with a missing number has a missing sum.

    `groups` is one key or a list of keys, on the index of `values`; a missing key is a group.
    """
    total: pd.Series = values.astype("float64").groupby(groups, dropna=False).sum(skipna=False)
    return total


def ratio(top: pd.Series, bottom: pd.Series) -> pd.Series:
    """Top ÷ bottom; missing where the bottom is 0 or either is missing."""
    return (top / bottom.where(bottom != 0)).astype("float64")
