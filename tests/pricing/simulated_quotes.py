"""Simulated quotes of shops whose customers are known: levels, slopes, seasons, town, and list.

A quote is won with the log-odds: level of its service + what its class adds + what its season adds
+ slope × log(price ÷ going price). The going price is what the town pays: today's fair price taken
back by the town's rise. The list follows it, or stays behind and is raised in one step.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.arrays import Array
from analysis.pricing.price_cells import price_cells
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.settings import Settings
from tests.benchmarks.costing import typed

DAY = pd.Timestamp("2026-09-30")
CLASSES = ("compact", "midsize", "pickup")
YEARS = 2.5


@dataclass(frozen=True)
class Kind:
    """What a kind of shop is like.

    `quotes` : over all services in two and a half years; `haggle` : sd of log(quoted ÷ list);
    `slope`, `slope_sd` : middle of the slopes (as a positive number) and sd of their logarithm;
    `season` : what January to March takes from the log-odds, the other three adding a third each;
    `winter_discount` : how far below the list quotes stand then, in logs; `town` : rise of the
    town's prices a year; `raised` : the list stood still and was raised by this on one day, a year
    before today (else it follows the town).
    """

    quotes: int = 300
    services: int = 4
    haggle: float = 0.13
    slope: float = 3.0
    slope_sd: float = 0.5
    level: float = 0.5
    season: float = 0.0
    winter_discount: float = 0.0
    town: float = 0.02
    raised: float = 0.0


@dataclass(frozen=True, eq=False)
class Truth:
    """By service: `slope` (below 0), and `at_list`, the chance to win at today's list price."""

    slope: pd.Series
    at_list: pd.Series


def simulated_quotes(kind: Kind, seed: int) -> tuple[Records, Truth]:
    """Records with quotes and a price list alone, and the truth behind them.

    The slopes of the services are drawn from the kind's, as the model believes that they are.
    """
    rng = np.random.default_rng(seed)
    names = [f"service {at}" for at in range(kind.services)]
    slope = -kind.slope * np.exp(rng.normal(0, kind.slope_sd, kind.services))
    level = kind.level + rng.normal(0, 0.5, kind.services)
    by_class = rng.normal(0, 0.15, (kind.services, len(CLASSES)))
    service = rng.choice(kind.services, kind.quotes, p=_asked(kind.services))
    vehicle = rng.integers(0, len(CLASSES), kind.quotes)
    quoted_on = DAY - pd.to_timedelta(np.sort(rng.integers(0, int(YEARS * 365), kind.quotes)), "D")
    years = np.asarray((DAY - quoted_on).days, dtype=np.float64) / 365.25
    winter = np.asarray(quoted_on.quarter == 1)
    base = 200.0 * (1 + np.arange(kind.services))[service] * (1 + 0.1 * vehicle)
    going = base * np.exp(-kind.town * years)
    listed = _listed(kind, base, years)
    felt = rng.normal(0, kind.haggle, kind.quotes) - kind.winter_discount * winter
    price = np.maximum(listed * np.exp(felt), 1.0)
    season = np.where(winter, -kind.season, kind.season / 3)
    odds = level[service] + by_class[service, vehicle] + season
    odds = odds + slope[service] * np.log(price / going)
    won = rng.random(kind.quotes) < expit(odds)
    quotes = {
        "quote_id": [f"Q{at:05d}" for at in range(kind.quotes)],
        "quoted_on": quoted_on,
        "service": np.array(names)[service],
        "vehicle_class": np.array(CLASSES)[vehicle],
        "quoted_price": price,
        "list_price": listed,
        "outcome": np.where(won, "won", "lost"),
    }
    today = float(_listed(kind, np.ones(1), np.zeros(1))[0])
    at_list = expit(level[:, None] + by_class + slope[:, None] * np.log(today))
    truth = Truth(pd.Series(slope, names), pd.Series(at_list.mean(axis=1), names))
    return records_with(quotes, _price_list(kind, names)), truth


def records_with(quotes: dict[str, object], price_list: dict[str, object]) -> Records:
    """Records of these two tables alone, inside names."""
    filled = {"quotes": quotes, "price_list": price_list}
    tables = {name: typed(name, filled.get(name, {})) for name in RECORD_TABLES}
    nothing = pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Records(tables, nothing, {}, (), frozenset(filled), Settings())


def cells_of(records: Records, day: pd.Timestamp = DAY) -> pd.DataFrame:
    """The cells of the price list on a day."""
    return price_cells(records["price_list"], day)


def with_quotes(records: Records, quotes: pd.DataFrame) -> Records:
    """The same records with other quotes."""
    return replace(records, tables={**records.tables, "quotes": quotes})


def _asked(services: int) -> Array:
    """Some services are asked for often, some seldom."""
    share = 1.0 / (1 + np.arange(services))
    return np.asarray(share / share.sum())


def _listed(kind: Kind, base: Array, years: Array) -> Array:
    """The list price of the day: the town's, or one that was raised in one step a year ago."""
    if kind.raised:
        return base * np.where(years > 1.0, 1.0, 1 + kind.raised)
    # The list follows the town from quarter to quarter.
    return base * np.exp(-kind.town * np.floor(years * 4) / 4)


def _price_list(kind: Kind, names: list[str]) -> dict[str, object]:
    quarters = np.arange(int(YEARS * 4) + 2) / 4
    rows = [
        (name, vehicle, 200.0 * (1 + at) * (1 + 0.1 * of), years)
        for at, name in enumerate(names)
        for of, vehicle in enumerate(CLASSES)
        for years in quarters
    ]
    service, vehicle, base, years = zip(*rows, strict=True)
    # A row holds from its day on, to the next: years ago, the end of the span it holds for.
    from_day = [DAY - pd.Timedelta(days=int((each + 0.25) * 365.25)) for each in years]
    return {
        "service": service,
        "vehicle_class": vehicle,
        "list_price": _listed(kind, np.array(base), np.array(years) + 1e-6),
        "effective_from": from_day,
    }
