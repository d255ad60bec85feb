"""Made-up lessons for the made-up review: pooled columns, and the tables of what was learnt."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.result_tables import RESULT_TABLES
from analysis.schema import Kind

FEWEST = 5
DAY = pd.Timestamp("2026-09-30")


def pooled(count: int) -> dict[str, Any]:
    """Columns that were estimated from all jobs; the same for every period of a table."""
    random = np.random.default_rng(5)
    middle = np.linspace(0.42, -0.05, count)
    probability = 1 / (1 + np.exp(-(middle - 0.1) / 0.02))
    reach = random.uniform(0.04, 0.09, count)
    return {
        "pooled_overrun_share": middle,
        "low_share": middle - reach,
        "high_share": middle + reach,
        "probability_over_tolerance": probability,
        "flagged": pd.array(probability > 0.85, dtype="boolean"),
        "against_average_share": middle,
        "jobs_to_date": pd.array(random.integers(8, 60, count), dtype="Int64"),
    }


def job_costs(services: Sequence[str], classes: Sequence[str], models: Sequence[Any]) -> Any:
    """Finished job lines over two years and a half, some of them redos."""
    random = np.random.default_rng(6)
    count = 240
    table = RESULT_TABLES["job_costs"]
    text = (Kind.TEXT, Kind.DATE)
    frame = pd.DataFrame(
        {
            column.inside: pd.Series(np.nan, index=range(count), dtype="float64")
            for column in table.columns
            if column.kind not in text
        }
    )
    at = random.integers(0, len(models), count)
    service = random.integers(0, len(services), count)
    quoted = random.uniform(2, 9, count).round(2)
    redo = pd.Series(["J-1" if number % 40 == 39 else None for number in range(count)], dtype="str")
    frame = frame.assign(
        job_id=[f"J-{number}" for number in range(count)],
        line=pd.Series([1] * count, dtype="Int64"),
        finished_on=pd.date_range("2024-04-01", DAY, periods=count).normalize(),
        quarter="2026Q3",
        service=[services[each] for each in service],
        vehicle_class=[classes[each % len(classes)] for each in at],
        make=[models[each][0] for each in at],
        model=[models[each][1] for each in at],
        film="GB-60",
        quoted_hours=quoted,
        actual_hours=quoted * np.exp(random.normal(0.3 - 0.06 * at, 0.2)),
        redo_of=redo,
    )
    return frame[table.inside_names]


def lessons(services: Sequence[str], models: Sequence[Any], tasks: Sequence[str]) -> dict[str, Any]:
    """The tables that rest on all jobs to date."""
    return {
        "overrun_by_task": _by_task(models, tasks),
        "hours_spread": _spread(),
        "jobs_that_pull": _pulls(services, models),
        "learning_curves": _curves(services, models),
        "quoting_drift": _drift(),
        "next_quotes": _quotes(services, models),
        "quote_calibration": _calibration(),
    }


def _by_task(models: Sequence[Any], tasks: Sequence[str]) -> pd.DataFrame:
    random = np.random.default_rng(7)
    keys = [(make, model, task) for make, model in models for task in tasks]
    frame = pd.DataFrame(keys, columns=["make", "model", "task"])
    over = random.normal(2, 9, len(frame))
    jobs = pd.Series(random.integers(2, 40, len(frame)))
    return frame.assign(
        jobs=jobs,
        hours=40 + over,
        usual_hours=40.0,
        over_hours=over,
        low_hours=over - 5,
        high_hours=over + 5,
        enough=(jobs >= FEWEST).astype("boolean"),
    )


def _spread() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "part": ["vehicle model", "vehicle class", "person", "job to job"],
            "spread_share": [0.11, 0.02, 0.12, 0.26],
            "low_share": [0.08, 0.0, 0.08, 0.25],
            "high_share": [0.15, 0.06, 0.3, 0.28],
            "levels": [7, 4, 3, 234],
            "note": pd.Series([np.nan, np.nan, np.nan, "Few people."], dtype="str"),
        }
    )


def _pulls(services: Sequence[str], models: Sequence[Any]) -> pd.DataFrame:
    count = 18
    return pd.DataFrame(
        {
            "job_id": [f"J-{number}" for number in range(count)],
            "line": pd.Series([1] * count, dtype="Int64"),
            "finished_on": pd.date_range("2026-01-10", periods=count, freq="7D"),
            "service": [services[number % len(services)] for number in range(count)],
            "make": [models[number % len(models)][0] for number in range(count)],
            "model": [models[number % len(models)][1] for number in range(count)],
            "quoted_hours": 4.0,
            "actual_hours": 9.0,
            "expected_hours": 4.4,
            "pull_share": np.linspace(0.12, -0.02, count),
            "held_back": pd.array([number % 6 == 5 for number in range(count)], dtype="boolean"),
        }
    )


def _curves(services: Sequence[str], models: Sequence[Any]) -> pd.DataFrame:
    keys = [(service, *model) for service in services[:3] for model in models[:4]]
    frame = pd.DataFrame(keys, columns=["service", "make", "model"])
    rate = np.linspace(0.86, 1.03, len(frame))
    return frame.assign(
        jobs=np.arange(30, 30 - len(frame), -1),
        learning_rate_share=rate,
        low_share=rate - 0.03,
        high_share=rate + 0.03,
        probability_shrinks=np.linspace(0.99, 0.02, len(frame)),
        verdict=["shrinks", "shrinks", *["cannot tell"] * (len(frame) - 3), "steady"],
    )


def _drift() -> pd.DataFrame:
    periods = [f"{year}Q{quarter}" for year in (2025, 2026) for quarter in (1, 2, 3)]
    like = np.linspace(-0.03, 0.04, len(periods))
    return pd.DataFrame(
        {
            "period": [*periods, "change a year"],
            "jobs": [40] * len(periods) + [40 * len(periods)],
            "overrun_share": [*(like + 0.1), np.nan],
            "like_for_like_share": [*like, 0.035],
            "low_share": [*(like - 0.02), 0.01],
            "high_share": [*(like + 0.02), 0.06],
        }
    )


def _quotes(services: Sequence[str], models: Sequence[Any]) -> pd.DataFrame:
    keys = [(service, *model) for service in services for model in models]
    frame = pd.DataFrame(keys, columns=["service", "make", "model"])
    jobs = pd.Series(np.arange(len(frame)) % 11 + 1)
    return frame.assign(
        vehicle_class="compact car",
        jobs=jobs,
        usual_hours=4.0,
        expected_hours=4.4,
        hours_to_quote=5.0,
        low_hours=3.0,
        high_hours=6.5,
        enough=(jobs >= FEWEST).astype("boolean"),
    )


def _calibration() -> pd.DataFrame:
    methods = ["this quote", "service mean", "model mean", "last similar job", "shop's quote"]
    levels = {"inside_50": 0.52, "inside_70": 0.71, "inside_80": 0.79, "inside_90": 0.91}
    blank = [np.nan] * 4
    return pd.DataFrame(
        {
            "method": methods,
            "jobs": 180,
            "share_inside_share": [0.71, 0.58, 0.57, 0.55, 0.46],
            "pinball_loss": [0.95, 1.09, 1.02, 1.25, 1.29],
            **{f"{name}_share": [share, *blank] for name, share in levels.items()},
        }
    )
