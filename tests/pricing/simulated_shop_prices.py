"""Shops whose customers are known, and what four ways of setting prices earn in them.

Each service has a true slope of the log-odds to win with log(price) and a level; its classes lie a
little apart. List prices stand off the best ones by chance; quotes of two years are written at the
list times what the owner felt on the day. What is known of a cost is off by a known error. Profit
is the expected one under the truth, so that no luck of the year is in it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit, logit
from scipy.stats import norm

from analysis.pricing.demand import Array, Demand, learn_demand
from analysis.pricing.price_cells import KEYS
from analysis.pricing.price_choice import candidate_prices
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.schema import Kind as CellKind
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
    `cost` of a job as it truly is [money]; `asked` : enquiries a year; `capacity` : hours a year
    that can be worked, of what more is won as much is turned away from all.
    """

    basis: pd.DataFrame
    quotes: pd.DataFrame
    settings: Settings
    level: Array
    slope: Array
    cost: Array
    asked: Array
    capacity: float
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
    margin = rng.normal(0.48, 0.08, SERVICES)[service] + rng.normal(0, 0.04, cells)
    margin = np.clip(margin, 0.2, 0.7)
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
            "apart": np.nan,
            "jobs_year": 12.0,
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
    keys = pd.MultiIndex.from_frame(basis[KEYS])
    asked = quotes.groupby(KEYS).size().reindex(keys, fill_value=0).to_numpy(float) / 2
    shop = Shop(basis, quotes, settings, level, slope, cost, asked, np.inf, kind.habit_sd)
    if not kind.full:
        return shop
    wanted = float(asked @ (_at(chance_to_win(shop, price[:, None])) * hours))
    return replace(shop, capacity=wanted / float(rng.uniform(1.0, 1.2)))


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


def kept_share(settings: Settings) -> float:
    """What is left of a price as written after tax and the card's percentage."""
    return settings.net_of_tax - settings.fees.card_percent / 100


# --- what a price earns under the truth ----------------------------------------------------------


def _at(column: Array) -> Array:
    return np.asarray(column[:, 0])


def chance_to_win(shop: Shop, prices: Array) -> Array:
    """True chance to win an enquiry at each price, cells × candidates."""
    return _answers(shop, prices)[0]


def _answers(shop: Shop, prices: Array) -> tuple[Array, Array]:
    """Chance to win, and mean of chance × price paid [money], cells × candidates."""
    current = shop.basis["current_price"].to_numpy(float)[:, None]
    won, paid = np.zeros_like(prices), np.zeros_like(prices)
    for point in shop.habit_sd * norm.ppf((np.arange(_POINTS) + 0.5) / _POINTS):
        quoted = prices * np.exp(point)
        chance = expit(shop.level[:, None] + shop.slope[:, None] * np.log(quoted / current))
        won, paid = won + chance, paid + chance * quoted
    return won / _POINTS, paid / _POINTS


def true_profit(shop: Shop, prices: Array, an_hour: float = 0.0) -> Array:
    """Expected profit an enquiry, cells × candidates, an hour costing so much more. [money]"""
    won, paid = _answers(shop, prices)
    cost = shop.cost + an_hour * shop.basis["expected_hours"].to_numpy(float)
    return paid * kept_share(shop.settings) - won * (shop.settings.fees.card_fixed + cost[:, None])


def yearly(shop: Shop, prices: Array) -> float:
    """Profit of a year at one price a cell, as far as there are hours to do the work. [money]"""
    hours = shop.basis["expected_hours"].to_numpy(float)
    wanted = float(shop.asked @ (_at(chance_to_win(shop, prices[:, None])) * hours))
    served = min(1.0, shop.capacity / wanted)
    return served * float(shop.asked @ _at(true_profit(shop, prices[:, None])))


def floors(shop: Shop) -> Array:
    """Floor of each cell from what is known of its cost. [money]"""
    per_price = kept_share(shop.settings) - shop.settings.net_of_tax * TARGET
    cost = shop.basis["expected_cost"].to_numpy(float) + shop.settings.fees.card_fixed
    return np.asarray(cost / per_price)


def cost_plus(shop: Shop) -> Array:
    """The candidate nearest to the floor, up or down: a price set from cost alone. [money]"""
    prices = candidate_prices(shop.basis["current_price"].to_numpy(float), shop.settings)
    away = np.abs(prices - floors(shop)[:, None])
    return _at(np.take_along_axis(prices, np.nanargmin(away, axis=1)[:, None], axis=1))


def best_known(shop: Shop) -> Array:
    """The prices of one who knows customers, costs and hours, within the same bounds. [money]

    In a full shop the best of those that charge an hour at one value or another.
    """
    prices = candidate_prices(shop.basis["current_price"].to_numpy(float), shop.settings)
    with np.errstate(invalid="ignore"):
        barred = (prices < prices[:, :1]) & (prices < floors(shop)[:, None])
    values = [0.0] if np.isinf(shop.capacity) else list(np.linspace(0, 100, 26))
    tried = []
    for an_hour in values:
        profit = true_profit(shop, prices, an_hour)
        profit = np.where(barred | np.isnan(prices), -np.inf, profit)
        tried.append(_at(np.take_along_axis(prices, profit.argmax(axis=1)[:, None], axis=1)))
    return max(tried, key=lambda each: yearly(shop, each))


# --- what the shop learns ------------------------------------------------------------------------


def records_of(shop: Shop) -> Records:
    """The shop's quotes and price list as checked records; every other table is empty."""
    tables = {
        name: pd.DataFrame({column.inside: _empty(column.kind) for column in table.columns})
        for name, table in RECORD_TABLES.items()
    }
    blank = pd.Series(np.nan, shop.quotes.index, dtype="str")
    tables["quotes"] = shop.quotes.drop(columns="won").assign(
        make=blank, model=blank, model_year=pd.NA, job_id=blank, quoted_hours=np.nan
    )
    tables["price_list"] = shop.basis[KEYS].assign(
        list_price=shop.basis["current_price"],
        list_hours=np.nan,
        effective_from=LAST_DAY - pd.DateOffset(years=3),
    )
    none = pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Records(tables, none, {}, (), frozenset({"quotes"}), shop.settings)


def _empty(kind: CellKind) -> pd.Series:
    types = {CellKind.DATE: "datetime64[ns]", CellKind.TEXT: "str"}
    return pd.Series([], dtype=types.get(kind, "float64"))


def learnt(shop: Shop, seed: int) -> Demand | None:
    """Demand learnt from the shop's quotes."""
    found = learn_demand(records_of(shop), shop.basis[[*KEYS, "current_price"]], LAST_DAY, seed)
    return found if isinstance(found, Demand) else None
