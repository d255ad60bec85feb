"""Many invented prices in one set of records, each with a decision whose truth is known."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from analysis.costing.jobs import cost_records
from analysis.pricing.follow_up import price_follow_up
from analysis.records.model import Records
from tests.shops import records_of

START = pd.Timestamp("2025-10-01")
RISES_ON = pd.Timestamp("2026-01-01")
DAY = pd.Timestamp("2026-06-30")
REST = "everything else"
OLD, COST, HABIT = 400.0, 220.0, 0.10
JOBS = 8
_YEAR = 365
_SINCE_DAYS = (DAY - START).days + 1


@dataclass(frozen=True)
class Truth:
    """One kind of decision: how far the price moves, and how customers answer to it.

    `slope` : change of the log-odds with log(price); `won` : share won at the old price; `since` :
    quotes since; before they came at the same pace.
    """

    change: float
    slope: float
    since: int
    won: float = 0.6

    def gain(self, season: float = 0.0) -> float:
        """True gain an enquiry at the one cost, the odds of everybody up by a season. [money]"""
        return self._left(1 + self.change, season) - self._left(1.0, season)

    def _left(self, factor: float, season: float) -> float:
        # Over the quotes around the list, by Gauss and Hermite's rule.
        nodes, weight = np.polynomial.hermite_e.hermegauss(31)
        price = factor * np.exp(HABIT * nodes)
        won = expit(logit(self.won) + season + self.slope * np.log(price))
        return float(weight @ (won * (OLD * price - COST)) / weight.sum())


def followed(
    folder: Path,
    truths: list[Truth],
    seed: int,
    *,
    rest: int = 1500,
    season: float = 0.0,
    rise: float = 0.0,
) -> pd.DataFrame:
    """The follow-up of one decision a truth, each a service of its own, on `DAY`.

    `rest` : quotes a year of another service; `season` : what the odds of everybody rise by, in
    logs, from the first day since on; `rise` : of the list and what everybody pays, from `RISES_ON`
    on.
    """
    records = _records(folder, truths, np.random.default_rng(seed), rest, season, rise)
    found = price_follow_up(cost_records(records, DAY), records, DAY, 5)
    assert isinstance(found, pd.DataFrame)
    place = found["service"].str.removeprefix("service ").astype(int)
    return found.set_axis(place).sort_index()


def _records(
    folder: Path,
    truths: list[Truth],
    rng: np.random.Generator,
    rest: int,
    season: float,
    rise: float,
) -> Records:
    plain = records_of(
        folder,
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
            A | 2024-01-05 | base | Q | Heron | 2 | 400 | 2""",
        purchases="""
            invoice | received_on | supplier | item | kind | quantity | unit_price
            I | 2024-01-02 | S | cloth | consumable | 1 | 0.01""",
    )
    names = [f"service {at}" for at in range(len(truths))]
    quotes = pd.concat(
        [
            *(
                _quotes(name, each, rng, season, rise)
                for name, each in zip(names, truths, strict=True)
            ),
            _quotes(REST, Truth(0.0, -2.0, round(rest * _SINCE_DAYS / _YEAR)), rng, season, rise),
        ],
        ignore_index=True,
    )
    quotes = quotes.assign(quote_id=[f"Q{at}" for at in range(len(quotes))])
    won = quotes[(quotes["outcome"] == "won") & (quotes["quoted_on"] >= START)]
    jobs = won.groupby("service").head(JOBS)
    quotes.loc[jobs.index, "job_id"] = jobs["quote_id"].str.replace("Q", "J")
    new = [OLD * (1 + each.change) for each in truths]
    first = START - pd.DateOffset(years=3)
    steps = (
        (first, [*names, REST], [OLD] * (len(names) + 1)),
        (START, names, new),
        (RISES_ON, names, [each * (1 + rise) for each in new]),
    )
    prices = pd.concat(
        [
            pd.DataFrame({"service": which, "list_price": price, "effective_from": day})
            for day, which, price in steps
        ]
    ).assign(list_hours=4.0)
    tables = {
        "quotes": quotes,
        "jobs": pd.DataFrame(
            {
                "job_id": jobs["quote_id"].str.replace("Q", "J"),
                "line": 1,
                "status": "finished",
                "finished_on": DAY,
                "service": jobs["service"],
                "make": "Q",
                "model": "Heron",
                "quoted_hours": 4.0,
                "hours": 4.0,
                "quoted_price": jobs["quoted_price"],
                "invoiced_price": jobs["quoted_price"],
            }
        ),
        "price_list": prices,
        "decisions": pd.DataFrame(
            {
                "decided_on": START - pd.Timedelta(days=1),
                "service": names,
                "old_price": OLD,
                "new_price": new,
                "effective_from": START,
                "expected_win_pct": 55.0,
            }
        ),
    }
    full = {name: _like(plain[name], frame) for name, frame in tables.items()}
    return replace(plain, tables={**plain.tables, **full})


def _like(empty: pd.DataFrame, frame: pd.DataFrame) -> pd.DataFrame:
    """The frame with the columns and types of a table of records."""
    bare = frame.assign(row=1).reindex(columns=empty.columns).reset_index(drop=True)
    return bare.astype(empty.dtypes.to_dict())


def _quotes(
    name: str, truth: Truth, rng: np.random.Generator, season: float, rise: float
) -> pd.DataFrame:
    count = round(truth.since * (_YEAR + _SINCE_DAYS) / _SINCE_DAYS)
    ago = rng.integers(0, _YEAR + _SINCE_DAYS, count)
    day = DAY - pd.to_timedelta(ago, unit="D")
    since = np.asarray(day >= START)
    price = np.exp(HABIT * rng.normal(size=count)) * np.where(since, 1 + truth.change, 1.0)
    odds = logit(truth.won) + truth.slope * np.log(price) + np.where(since, season, 0.0)
    won = rng.random(count) < expit(odds)
    return pd.DataFrame(
        {
            "quoted_on": day,
            "service": name,
            "quoted_price": OLD * price * np.where(day >= RISES_ON, 1 + rise, 1.0),
            "outcome": np.where(won, "won", "lost"),
        }
    )
