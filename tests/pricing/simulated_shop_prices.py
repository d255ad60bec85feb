"""Shops whose customers are known, and what four ways of setting prices earn in them.

Each service has a true slope of the log-odds to win with log(price) and a level; its classes lie a
little apart. List prices stand off the best ones by chance; quotes of two years are written at the
list times what the owner felt on the day. What is known of a cost is off by a known error. Profit
is the expected one under the truth, so that no luck of the year is in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.special import expit, logit, logsumexp
from scipy.stats import norm

from analysis.pricing.demand import Array, Demand
from analysis.pricing.price_choice import KEYS, candidate_prices, kept_share, unit_costs
from analysis.settings import Fees, Pricing, Settings, Targets

SERVICES, CLASSES = 5, 4
COST_ERROR = 0.04  # of the expected cost
TARGET = 0.45
LAST_DAY = pd.Timestamp("2026-09-30")
_DAYS = 730
_POINTS = 15


@dataclass(frozen=True)
class Kind:
    """A kind of shop: quotes in two years, spread of log(quoted ÷ list), hours short or idle."""

    quotes: int
    habit_sd: float
    full: bool = False

    def __str__(self) -> str:
        hours = "full" if self.full else "idle"
        return f"{self.quotes} quotes, prices spread by {self.habit_sd:.0%}, {hours}"


@dataclass(frozen=True, eq=False)
class Shop:
    """One shop: what it knows (basis, quotes, settings) and the truth about its cells.

    `quotes` has the inside columns of the record table; `level, slope` by cell at today's list;
    `cost` of a job as it truly is, `whole_cost` with what its hours would earn elsewhere. [money]
    """

    basis: pd.DataFrame
    quotes: pd.DataFrame
    settings: Settings
    level: Array
    slope: Array
    cost: Array
    whole_cost: Array
    habit_sd: float


def simulated_shop(kind: Kind, seed: int) -> Shop:
    """A shop of a kind by chance."""
    rng = np.random.default_rng(seed)
    settings = Settings(
        fees=Fees(card_percent=2.9, card_fixed=0.3),
        targets=Targets(margin=TARGET),
        pricing=Pricing(round_to=5, largest_change=float(rng.choice([0.12, 0.15]))),
    )
    cells = SERVICES * CLASSES
    service = np.repeat(np.arange(SERVICES), CLASSES)
    size = np.tile(np.linspace(0.9, 1.25, CLASSES), SERVICES)
    hours = np.exp(rng.uniform(np.log(2), np.log(20), SERVICES))[service] * size
    labour, consumables = 28.0, 2.5
    cost = hours * (labour + consumables) + rng.uniform(5, 25, SERVICES)[service] * hours
    margin = np.clip(rng.normal(0.48, 0.08, SERVICES)[service] + rng.normal(0, 0.04, cells), 0.2, 0.7)
    price = 5 * np.round(cost / (1 - margin) / kept_share(settings) / 5)
    known = cost * (1 + COST_ERROR * rng.standard_normal(SERVICES)[service])
    basis = pd.DataFrame(
        {
            "service": [f"service {i}" for i in service],
            "vehicle_class": [f"class {i}" for i in np.tile(np.arange(CLASSES), SERVICES)],
            "jobs": 0,
            "expected_hours": hours,
            "labour_rate": labour,
            "consumables_rate": consumables,
            "expected_cost": known,
            "cost_error": COST_ERROR * known,
            "target_margin_share": TARGET,
            "hour_value": 0.0,
            "short_hours_each": hours,
            "cost_drift_share": np.nan,
            "current_price": price,
            "note": pd.Series(np.nan, range(cells), dtype="str"),
        }
    )
    slope = -rng.uniform(1, 8, SERVICES)[service]
    level = logit(rng.uniform(0.45, 0.75, SERVICES))[service] + rng.normal(0, 0.2, cells)
    quotes = _quotes(basis, level, slope, kind, rng)
    won = quotes.groupby(KEYS)["won"].sum()
    basis["jobs"] = won.reindex(pd.MultiIndex.from_frame(basis[KEYS]), fill_value=0).to_numpy()
    basis["enough"] = basis["jobs"] >= settings.pricing.fewest_jobs
    won_jobs = basis["jobs"].to_numpy(float)
    left = price * kept_share(settings) - (cost - hours * labour)
    basis["hour_value_if_full"] = (won_jobs @ left) / (won_jobs @ hours)
    if kind.full:
        basis["hour_value"] = basis["hour_value_if_full"]
    beyond = unit_costs(basis)[1].to_numpy(float)
    return Shop(basis, quotes, settings, level, slope, cost, cost + beyond, kind.habit_sd)


def _quotes(
    basis: pd.DataFrame, level: Array, slope: Array, kind: Kind, rng: np.random.Generator
) -> pd.DataFrame:
    weight = rng.dirichlet(np.full(len(basis), 4.0))
    at = rng.choice(len(basis), kind.quotes, p=weight)
    habit = kind.habit_sd * rng.standard_normal(kind.quotes)
    day = LAST_DAY - pd.to_timedelta(np.sort(rng.integers(0, _DAYS, kind.quotes))[::-1], unit="D")
    won = rng.random(kind.quotes) < expit(level[at] + slope[at] * habit)
    listed = basis["current_price"].to_numpy(float)[at]
    return pd.DataFrame(
        {
            "quote_id": [f"Q-{i}" for i in range(kind.quotes)],
            "quoted_on": day,
            "service": basis["service"].to_numpy()[at],
            "vehicle_class": basis["vehicle_class"].to_numpy()[at],
            "quoted_price": listed * np.exp(habit),
            "list_price": listed,
            "outcome": np.where(won, "won", "lost"),
            "won": won,
        }
    )


# --- what a price earns under the truth ----------------------------------------------------------


def true_profit(shop: Shop, prices: Array, cost: Array) -> Array:
    """Expected profit an enquiry at each price, cells × candidates. [money]"""
    points = shop.habit_sd * norm.ppf((np.arange(_POINTS) + 0.5) / _POINTS)
    current = shop.basis["current_price"].to_numpy(float)[:, None]
    profit = np.zeros_like(prices)
    for point in points:
        quoted = prices * np.exp(point)
        chance = expit(shop.level[:, None] + shop.slope[:, None] * np.log(quoted / current))
        left = quoted * kept_share(shop.settings) - shop.settings.fees.card_fixed
        profit += chance * (left - cost[:, None])
    return profit / len(points)


def yearly(shop: Shop, prices: Array, *, whole: bool = True) -> float:
    """Profit of a year's enquiries at one price a cell. [money]

    `whole` : with the hours at what they would earn elsewhere; else at their wages alone.
    """
    cost = shop.whole_cost if whole else shop.cost
    keys = pd.MultiIndex.from_frame(shop.basis[KEYS])
    asked = shop.quotes.groupby(KEYS).size().reindex(keys, fill_value=0).to_numpy() / 2
    return float((asked * true_profit(shop, prices[:, None], cost)[:, 0]).sum())


def floors(shop: Shop) -> Array:
    """Floor of each cell from what is known of its cost. [money]"""
    per_price = kept_share(shop.settings) - shop.settings.net_of_tax * TARGET
    cost = shop.basis["expected_cost"].to_numpy(float) + shop.settings.fees.card_fixed
    return np.asarray(cost / per_price)


def cost_plus(shop: Shop) -> Array:
    """The candidate nearest to the floor, up or down: a price set from cost alone. [money]"""
    prices = candidate_prices(shop.basis["current_price"].to_numpy(float), shop.settings)
    away = np.abs(prices - floors(shop)[:, None])
    return np.take_along_axis(prices, np.nanargmin(away, axis=1)[:, None], axis=1)[:, 0]


def best_known(shop: Shop) -> Array:
    """The price of one who knows customers and costs, within the same bounds. [money]"""
    prices = candidate_prices(shop.basis["current_price"].to_numpy(float), shop.settings)
    with np.errstate(invalid="ignore"):
        barred = (prices < prices[:, :1]) & (prices < floors(shop)[:, None])
    profit = np.where(barred | np.isnan(prices), -np.inf, true_profit(shop, prices, shop.whole_cost))
    return np.take_along_axis(prices, profit.argmax(axis=1)[:, None], axis=1)[:, 0]


# --- a small posterior ---------------------------------------------------------------------------


def by_grid(shop: Shop, seed: int, draws: int = 400) -> Demand:
    """Demand learnt on a grid, the classes of a service alike, its slope pooled with the others'.

    Prior: level normal(0.5, 1), log(−slope) normal(middle, 0.6), middle normal(log 3, 0.6).
    """
    rng = np.random.default_rng(seed)
    level, size = np.linspace(-1.5, 3, 46), np.linspace(np.log(0.2), np.log(25), 46)
    middle = np.log(3) + 0.6 * norm.ppf((np.arange(21) + 0.5) / 21)
    pooled = norm.logpdf(size, middle[:, None], 0.6)
    names = list(shop.basis["service"].unique())
    logs, habits, learnt, of_middle = {}, {}, {}, np.zeros(len(middle))
    for name in names:
        own = shop.quotes[shop.quotes["service"] == name]
        habit = np.log(own["quoted_price"] / own["list_price"]).to_numpy(float)
        sign = np.where(own["outcome"] == "won", 1.0, -1.0)
        odds = level[:, None, None] - np.exp(size)[None, :, None] * habit
        logs[name] = norm.logpdf(level, 0.5, 1)[:, None] - np.logaddexp(0, -sign * odds).sum(axis=2)
        of_middle += logsumexp(logsumexp(logs[name], axis=0) + pooled, axis=1)
        shares = (np.arange(_POINTS) + 0.5) / _POINTS
        habits[name] = np.quantile(habit, shares) if len(habit) else np.zeros(_POINTS)
        learnt[name] = len(own) >= 20 and float(np.std(habit)) > 0.01
    chosen = rng.choice(len(middle), draws, p=np.exp(of_middle - logsumexp(of_middle)))
    levels, slopes = {}, {}
    for name in names:
        weight = (logs[name] + pooled[chosen][:, None, :]).reshape(draws, -1)
        noisy = weight + rng.gumbel(size=weight.shape)  # a draw from each row
        at = noisy.argmax(axis=1)
        levels[name], slopes[name] = level[at // size.size], -np.exp(size[at % size.size])
    cells = shop.basis[KEYS].copy()
    keys = pd.MultiIndex.from_frame(cells)
    count = shop.quotes.groupby(KEYS).size().reindex(keys, fill_value=0).to_numpy()
    cells = cells.assign(
        quotes=count,
        won=shop.basis["jobs"].to_numpy(),
        quotes_service=pd.Series(count).groupby(cells["service"]).transform("sum"),
        enquiries=count / 8,
        learnt=[learnt[name] for name in cells["service"]],
        note=pd.Series(np.nan, cells.index, dtype="str"),
    )
    each = list(cells["service"])
    return Demand(
        cells,
        np.column_stack([levels[name] for name in each]),
        np.column_stack([slopes[name] for name in each]),
        np.array([habits[name] for name in each]),
    )
