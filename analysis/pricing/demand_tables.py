"""What the price does to the quotes won, service by service, and when people ask and buy."""

from typing import Final

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.arrays import Codes
from analysis.findings.evidence import LEVEL, is_enough, wilson_interval
from analysis.price_tables import DEMAND_SEASONS, WIN_CHANCES
from analysis.pricing.demand import Array, Demand
from analysis.pricing.quote_history import quote_history
from analysis.records.model import Records

RISE: Final = 0.05
SEASONS: Final = ("January to March", "April to June", "July to September", "October to December")
_UNLISTED: Final = "Not on the price list."
_MONTH_DAYS: Final = 365.25 / 12
_ENDS: Final = (0.5, 0.5 - LEVEL / 2, 0.5 + LEVEL / 2)


def win_chances(demand: Demand, records: Records, day: pd.Timestamp, fewest: int) -> pd.DataFrame:
    """How often quotes are won by service, and how that changes with the price: `WIN_CHANCES`.

    All quotes up to `day`. What a rise loses is the share of the jobs won at today's list that are
    not won where every quote is 5 % dearer. The cells of a service count by their quotes; figures
    of the curve are medians of the draws and their middle nine tenths, blank where the service is
    not on the price list.
    """
    history = quote_history(records, day)
    decided = history[history["outcome"] != "open"]
    name = decided["service"]
    services = pd.Index(sorted({*demand.cells["service"], *name}), dtype="str")
    quotes = name.groupby(name).size().reindex(services, fill_value=0)
    is_won = decided["outcome"] == "won"
    won = is_won.groupby(name).sum().reindex(services, fill_value=0)
    low, high = wilson_interval(won, quotes)
    spread = pd.Series(np.exp(decided["log_ratio"]), index=decided.index).groupby(name).std()
    own = demand.cells.groupby("service")[["learnt", "note"]].first().reindex(services)
    note = own["note"].fillna(_UNLISTED).astype("str")
    table = pd.DataFrame(
        {
            "quotes": quotes,
            "won": won,
            "won_share": won / quotes.where(quotes > 0),
            "won_low_share": low,
            "won_high_share": high,
            "price_spread_share": spread.reindex(services),
            **_curves(demand, services),
            "learnt": own["learnt"].fillna(False).astype("boolean"),
            "note": note.where(note != ""),
            "enough": is_enough(quotes, fewest),
        }
    )
    return table.rename_axis("service").reset_index()[WIN_CHANCES.inside_names]


def _curves(demand: Demand, services: pd.Index) -> dict[str, pd.Series]:
    """Middles and ends of the curve's figures, on the services."""
    listed, weight = _cell_weights(demand)
    at_list = expit(demand.level) @ weight
    kept = _won(demand, float(np.log1p(RISE))) @ weight / (_won(demand, 0.0) @ weight)
    figures = {
        "at_list": ("_share", at_list),
        "lost_by_rise": ("_share", 1 - kept),
        "slope": ("", demand.slope @ weight),
    }
    columns = {}
    for name, (unit, draws) in figures.items():
        ends = np.quantile(draws, _ENDS, axis=0)
        for part, values in zip(("", "_low", "_high"), ends, strict=True):
            columns[f"{name}{part}{unit}"] = pd.Series(values, index=listed).reindex(services)
    return columns


def _cell_weights(demand: Demand) -> tuple[pd.Index, Array]:
    """The services of the cells, and what each cell weighs in its own. (cells × services)

    By its quotes won or lost; without any, all cells of the service weigh alike.
    """
    codes, listed = pd.factorize(demand.cells["service"], sort=True)
    quotes = demand.cells["quotes"].to_numpy(dtype=np.float64)
    few = 1e-9 + quotes
    weight = np.eye(len(listed))[codes] * few[:, None]
    return pd.Index(listed), weight / weight.sum(axis=0)


def _won(demand: Demand, step: float, season: Array | None = None) -> Array:
    """Chance to win what is usually quoted, the list moved by exp(step). (draws × cells)"""
    level = demand.level if season is None else demand.level + season[:, None]
    total = np.zeros_like(demand.level)
    for habit in demand.habit.T:
        total += expit(level + demand.slope * (step + habit))
    return np.asarray(total / demand.habit.shape[1])


def demand_seasons(demand: Demand, records: Records, day: pd.Timestamp) -> pd.DataFrame:
    """By quarter of the calendar year, in its order: quotes and the chance to win like for like.

    All quotes up to `day`. Quotes a month are those of every outcome, over the days from the first
    quote on. Like for like is the chance in each season to win the same quotes: all to date, at
    today's list and what is usually quoted around it.
    """
    history = quote_history(records, day)
    decided = history[history["outcome"] != "open"]
    season = decided["quoted_on"].dt.quarter
    every = pd.RangeIndex(1, len(SEASONS) + 1)
    days = pd.Series(pd.date_range(history["quoted_on"].min(), day).quarter).value_counts()
    months = days.reindex(every) / _MONTH_DAYS
    asked = _counts(history["quoted_on"].dt.quarter, every)
    quotes = demand.cells["quotes"].to_numpy(dtype=np.float64) + 1e-9
    share = [_won(demand, 0.0, adds) @ (quotes / quotes.sum()) for adds in demand.season.T]
    middle, low, high = np.quantile(np.array(share), _ENDS, axis=1)
    table = pd.DataFrame(
        {
            "season": list(SEASONS),
            "quotes": _counts(season, every),
            "won": _counts(season[decided["outcome"] == "won"], every),
            "a_month": asked / months.to_numpy(),
            "like_for_like_share": middle,
            "low_share": low,
            "high_share": high,
        }
    )
    return table[DEMAND_SEASONS.inside_names]


def _counts(seasons: pd.Series, every: pd.RangeIndex) -> Codes:
    return np.asarray(seasons.value_counts().reindex(every, fill_value=0), dtype=np.int64)
