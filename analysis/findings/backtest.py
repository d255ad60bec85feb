"""Whether the forecast hours hold as often as promised: every past job quoted again, beforehand.

Month by month: the model learns from the jobs finished before the month and forecasts those quoted
in it; no job is ever forecast from itself or from a later one.
"""

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.arrays import Array
from analysis.errors import Unavailable
from analysis.findings.forecast import HoursForecaster, forecast_hours, learn_hours
from analysis.findings.hours_model import HoursData
from analysis.findings.usual_hours import fetch

LEVELS: Final = (0.5, 0.7, 0.8, 0.9)
# A first forecast needs this many jobs to learn from.
FEWEST_JOBS: Final = 40
# The backtest goes back this far: older quotes say little of today's.
MONTHS: Final = 24
# A shop with more jobs is judged on an even choice of those of a month, and each month's forecast
# learns from the newest: what came before would change little, and cost much.
MOST_A_MONTH: Final = 120
MOST_LEARNT: Final = 5000
METHODS: Final = ("this quote", "service mean", "model mean", "last similar job", "shop's quote")


def quote_again(
    data: HoursData, price_list: pd.DataFrame, confidence: float, until: pd.Timestamp
) -> pd.DataFrame | Unavailable:
    """Every job of the last two years quoted again from what was known before its month.

    Of a month with over `MOST_A_MONTH` jobs every second, third ... is taken.

    Returns
    -------
    DataFrame
        One row a job line: its keys, `quoted_on` (else started, else finished), `actual_hours`,
        hours by method (columns named as `METHODS`; 'this quote' at `confidence`), and the forecast
        hours at `LEVELS` (columns `inside_50` ...). [h]
    """
    lines = data.lines
    asked_on = lines["quoted_on"].fillna(lines["started_on"]).fillna(lines["finished_on"])
    # A quote dated after the work would let a job be forecast from itself.
    asked_on = asked_on.where(asked_on <= lines["finished_on"], lines["finished_on"])
    first_month = until.to_period("M") - MONTHS + 1
    months = asked_on.dt.to_period("M")
    parts: list[pd.DataFrame] = []
    start: dict[tuple[str, ...], float] | None = None
    for month in sorted(months[months >= first_month].unique()):
        day = month.start_time - pd.Timedelta(days=1)
        known = data.until(day).newest(MOST_LEARNT)
        if len(known.lines) < FEWEST_JOBS:
            continue
        learnt = learn_hours(known, price_list, day, start)
        if isinstance(learnt, Unavailable):
            continue
        start = learnt.model.relative
        asked = lines[(months == month) & lines["service"].isin(learnt.noise.index)]
        if len(asked):
            step = -(-len(asked) // MOST_A_MONTH)
            parts.append(_quoted(learnt, asked.iloc[::step], confidence))
    if not parts:
        return Unavailable(
            "quote_calibration",
            ("jobs",),
            f"Quoting past jobs again needs {FEWEST_JOBS} finished jobs before the first of them.",
        )
    return pd.concat(parts, ignore_index=True)


def _quoted(learnt: HoursForecaster, asked: pd.DataFrame, confidence: float) -> pd.DataFrame:
    known = learnt.model.data.lines
    forecast = forecast_hours(learnt, asked)
    usual = pd.Series(forecast.usual, index=asked.index)
    over = known["actual_hours"] / learnt.usual.of(known)
    service = asked["service"].map(over.groupby(known["service"]).mean())
    by_model = _by_keys(over.groupby([known["make"], known["model"]]).mean(), asked)
    same = ["service", "make", "model"]
    newest = known.sort_values("finished_on", kind="stable")
    similar = _by_keys(newest.groupby(same)["actual_hours"].last(), asked)
    hours: dict[str, Any] = {
        "this quote": forecast.quantile(confidence),
        "service mean": usual * service,
        "model mean": usual * by_model.fillna(service),
        "last similar job": similar.fillna(usual * service),
        "shop's quote": asked["quoted_hours"],
    }
    inside: dict[str, Any] = {
        f"inside_{level * 100:.0f}": forecast.quantile(level) for level in LEVELS
    }
    keys = ["job_id", "line", "service", "make", "model", "finished_on", "actual_hours"]
    return asked[keys].assign(**hours, **inside)


def _by_keys(values: pd.Series, asked: pd.DataFrame) -> pd.Series:
    """The value of each row's keys, those that `values` is indexed by; missing without one."""
    keys = pd.MultiIndex.from_frame(asked[[str(name) for name in values.index.names]])
    return pd.Series(fetch(values, keys), index=asked.index)


def pinball_loss(actual: Array, quoted: Array, share: float) -> Array:
    """Loss of each quote at a quantile: hours short × share, hours spare × (1 − share).

    Source: Koenker and Bassett (1978), Econometrica 46:33-50.
    """
    short = actual - quoted
    return np.maximum(share * short, (share - 1) * short)


def quote_calibration(quoted: pd.DataFrame, confidence: float) -> pd.DataFrame:
    """How often each way of quoting holds, and what it loses. A row a method."""
    actual = quoted["actual_hours"].to_numpy(float)
    rows = []
    for method in METHODS:
        hours = quoted[method].to_numpy(float)
        row = {
            "method": method,
            "jobs": len(quoted),
            "share_inside_share": float((actual <= hours).mean()),
            "pinball_loss": float(pinball_loss(actual, hours, confidence).mean()),
        }
        for level in LEVELS:
            name = f"inside_{level * 100:.0f}"
            held = float((actual <= quoted[name]).mean()) if method == METHODS[0] else np.nan
            row[f"{name}_share"] = held
        rows.append(row)
    return pd.DataFrame(rows)
