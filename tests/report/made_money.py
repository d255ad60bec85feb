"""Made-up tables of variances, bridge, capacity, demand and follow-up for the made-up review."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.price_tables import BRIDGE_EFFECTS, VARIANCE_EFFECTS

DAY = pd.Timestamp("2026-09-30")
EFFECTS = [column.name for column in VARIANCE_EFFECTS]
STEPS = [column.name for column in BRIDGE_EFFECTS]


def _enough(counts: Any) -> pd.Series:
    return (pd.Series(counts) >= 5).astype("boolean")


def money(services: Sequence[str], classes: Sequence[str], size: float) -> dict[str, Any]:
    """The tables, in agreement with themselves."""
    random = np.random.default_rng(5)
    cells = bridge_cells(services, classes, random)
    return {
        "variances": _variances(services, classes, random),
        "variances_by_service": _variances_by("service", services, size, random),
        "variances_by_class": _variances_by("vehicle_class", classes, size, random),
        "bridge_cells": cells,
        "quarter_bridge": bridge(cells),
        "utilisation_by_month": _utilisation(random),
        "earning_by_service": _earning(services, random),
        "best_mix": _mix(services, random),
        "win_chances": win_chances(services),
        "demand_seasons": _seasons(),
        "price_follow_up": follow_up(services),
        "price_outlook": outlook(),
    }


def _variances(services: Sequence[str], classes: Sequence[str], random: Any) -> pd.DataFrame:
    count = 12
    frame = pd.DataFrame(
        {
            "job_id": [f"J-{at}" for at in range(count)],
            "line": 1,
            "finished_on": DAY - pd.to_timedelta(np.arange(count)[::-1], unit="D"),
            "service": [services[at % len(services)] for at in range(count)],
            "vehicle_class": [classes[at % len(classes)] for at in range(count)],
            "quoted_profit": random.uniform(20, 90, count),
            **{name: random.normal(0, 15, count) for name in EFFECTS},
            "redo_of": pd.Series([np.nan] * count, dtype="str"),
        }
    )
    total = frame[EFFECTS].sum(axis=1)
    return frame.assign(total=total, actual_profit=frame["quoted_profit"] + total)


def _variances_by(key: str, names: Sequence[str], size: float, random: Any) -> pd.DataFrame:
    jobs = random.poisson(9 * size, len(names)) + 1
    frame = pd.DataFrame(
        {
            key: list(names),
            "jobs": jobs,
            "told": np.maximum(jobs - 1, 1),
            "quoted_profit": jobs * random.uniform(20, 90, len(names)),
            **{name: jobs * random.normal(0, 12, len(names)) for name in EFFECTS},
            "enough": _enough(jobs),
        }
    )
    total = frame[EFFECTS].sum(axis=1)
    return frame.assign(total=total, actual_profit=frame["quoted_profit"] + total)


def bridge_cells(services: Sequence[str], classes: Sequence[str], random: Any) -> pd.DataFrame:
    """Cells in both quarters, one new, one discontinued."""
    pairs = [(service, size) for service in services for size in classes[:2]]
    frame = pd.DataFrame(pairs, columns=["service", "vehicle_class"])
    count = len(frame)
    kind = pd.Series(["both quarters"] * count)
    kind.iloc[[0, 1]] = ["new", "discontinued"]
    before, now = random.poisson(8, count) + 1, random.poisson(8, count) + 1
    before[0], now[1] = 0, 0
    is_both = (kind == "both quarters").to_numpy()
    frame = frame.assign(kind=kind, jobs_before=before, jobs_now=now)
    frame["margin_before"] = np.where(before > 0, before * random.uniform(20, 60, count), 0.0)
    for name in STEPS:
        frame[name] = np.where(is_both, random.normal(0, 60, count), 0.0)
    frame["new"] = np.where(kind == "new", 240.0, 0.0)
    frame["discontinued"] = np.where(kind == "discontinued", -frame["margin_before"], 0.0)
    frame["margin_now"] = frame["margin_before"] + frame[[*STEPS, "new", "discontinued"]].sum(
        axis=1
    )
    return frame.assign(enough=_enough(np.minimum(before, now)))


def bridge(cells: pd.DataFrame) -> pd.DataFrame:
    """The bridge that the cells add up to."""
    rows = [("margin 2026Q2", cells["margin_before"].sum(), "Full margin after redos.")]
    rows += [(name, cells[name].sum(), "how it is made") for name in STEPS]
    for kind in ("new", "discontinued"):
        for row in cells[cells["kind"] == kind].to_dict("records"):
            name = f"{kind}: {row['service']}, {row['vehicle_class']}"
            rows.append((name, row[kind], "a cell of one quarter"))
    rows.append(("margin 2026Q3", cells["margin_now"].sum(), "Full margin after redos."))
    return pd.DataFrame(rows, columns=["effect", "amount", "note"])


def _utilisation(random: Any) -> pd.DataFrame:
    month = pd.date_range("2024-10-01", periods=24, freq="MS")
    worked = random.uniform(425, 478, 24)
    bay = worked * 0.8
    return pd.DataFrame(
        {
            "month": month,
            "installer_hours": 480.0,
            "worked_hours": worked,
            "installer_use_share": worked / 480,
            "bay_capacity_hours": 500.0,
            "bay_hours": bay,
            "bay_use_share": bay / 500,
            "unused_hours": 480 - worked,
            "unused_cost": (480 - worked) * 23.0,
            "constraint": np.where(worked / 480 >= 0.85, "installers", "nothing"),
        }
    )


def _earning(services: Sequence[str], random: Any) -> pd.DataFrame:
    count = len(services)
    jobs = random.poisson(30, count) + 4
    hours = jobs * random.uniform(2, 9, count)
    margin = hours * random.uniform(40, 80, count)
    share = random.uniform(0.2, 0.5, count)
    return pd.DataFrame(
        {
            "service": list(services),
            "jobs": jobs,
            "material_margin": margin,
            "actual_hours": hours,
            "bay_hours": hours * 0.8,
            "per_bay_hour": margin / (hours * 0.8),
            "per_installer_hour": margin / hours,
            "contribution_share": share,
            "rank_when_full": pd.Series(-margin / hours).rank().astype("int64"),
            "rank_when_idle": pd.Series(-share).rank().astype("int64"),
            "governs": "by contribution",
            "enough": _enough(jobs),
        }
    )


def _mix(services: Sequence[str], random: Any) -> pd.DataFrame:
    count = len(services)
    jobs = random.poisson(30, count) + 4
    best = jobs * np.linspace(1.3, 0.7, count)
    each = random.uniform(90, 700, count)
    frame = pd.DataFrame(
        {
            "service": list(services),
            "jobs": jobs,
            "most_jobs": np.ceil(jobs * 1.4).astype("int64"),
            "best_jobs": best,
            "hours_each": random.uniform(2, 12, count),
            "bay_hours_each": random.uniform(2, 9, count),
            "material_margin_each": each,
            "material_margin": jobs * each,
            "best_material_margin": best * each,
            "gain": (best - jobs) * each,
            "enough": _enough(jobs),
        }
    )
    total = frame.sum(numeric_only=True)
    last = pd.DataFrame(
        {
            "service": ["all services"],
            "jobs": [int(total["jobs"])],
            "most_jobs": [int(total["most_jobs"])],
            "best_jobs": [total["best_jobs"]],
            "material_margin": [total["material_margin"]],
            "best_material_margin": [total["best_material_margin"]],
            "gain": [total["gain"]],
            "enough": _enough([9]),
        }
    )
    return pd.concat([frame, last], ignore_index=True).astype({"enough": "boolean"})


def win_chances(services: Sequence[str]) -> pd.DataFrame:
    """One service of which the price tells nothing."""
    count = len(services)
    quotes = np.arange(count) * 25 + 12
    won = (quotes * 0.6).astype("int64")
    slope = -np.linspace(1.0, 6.0, count)
    learnt = pd.Series([at > 0 for at in range(count)], dtype="boolean")
    return pd.DataFrame(
        {
            "service": list(services),
            "quotes": quotes,
            "won": won,
            "won_share": won / quotes,
            "won_low_share": won / quotes - 0.1,
            "won_high_share": won / quotes + 0.1,
            "price_spread_share": 0.11,
            "at_list_share": 0.58,
            "at_list_low_share": 0.5,
            "at_list_high_share": 0.66,
            "lost_by_rise_share": 0.02 * -slope,
            "lost_by_rise_low_share": 0.01 * -slope,
            "lost_by_rise_high_share": 0.03 * -slope,
            "slope": slope,
            "slope_low": slope * 1.5,
            "slope_high": slope * 0.5,
            "learnt": learnt,
            "note": pd.Series(
                ["Only 12 quotes were decided." if not each else np.nan for each in learnt],
                dtype="str",
            ),
            "enough": _enough(quotes),
        }
    )


def _seasons() -> pd.DataFrame:
    share = np.array([0.52, 0.6, 0.58, 0.55])
    return pd.DataFrame(
        {
            "season": ["January to March", "April to June", "July to September", "October on"],
            "quotes": [90, 150, 140, 100],
            "won": [47, 90, 81, 55],
            "a_month": [15.0, 25.0, 23.3, 16.7],
            "like_for_like_share": share,
            "low_share": share - 0.07,
            "high_share": share + 0.07,
        }
    )


def follow_up(services: Sequence[str]) -> pd.DataFrame:
    """A decision that gained, one that lost, one too early to tell."""
    return pd.DataFrame(
        {
            "decided_on": pd.to_datetime(["2025-02-10", "2025-06-01", "2026-09-01"]),
            "service": list(services[:3]),
            "vehicle_class": pd.Series(["compact car", np.nan, np.nan], dtype="str"),
            "effective_from": pd.to_datetime(["2025-03-01", "2025-07-01", "2026-09-15"]),
            "old_price": [435.0, 275.0, 900.0],
            "new_price": [490.0, 315.0, 930.0],
            "expected_win_share": [0.55, 0.50, np.nan],
            "realised_win_share": [0.60, 0.30, np.nan],
            "win_low_share": [0.50, 0.22, np.nan],
            "win_high_share": [0.69, 0.40, np.nan],
            "win_before_share": [0.62, 0.55, 0.5],
            "expected_price": [488.0, 313.0, 925.0],
            "realised_price": [486.0, 312.0, np.nan],
            "expected_hours": [3.4, 2.8, 12.0],
            "realised_hours": [3.6, 2.9, np.nan],
            "hours_low": [3.3, 2.7, np.nan],
            "hours_high": [3.9, 3.1, np.nan],
            "expected_margin": [210.0, 150.0, 300.0],
            "realised_margin": [205.0, 148.0, np.nan],
            "margin_low": [190.0, 140.0, np.nan],
            "margin_high": [220.0, 156.0, np.nan],
            "quotes": [60, 70, 0],
            "jobs": [36, 21, 0],
            "gain": [18.0, -24.0, np.nan],
            "gain_low": [4.0, -38.0, np.nan],
            "gain_high": [32.0, -9.0, np.nan],
            "verdict": ["gained", "lost", "too early to tell"],
            "reason": [
                "36 of 60 quotes won where 55% were expected.",
                "21 of 70 quotes won where 50% were expected.",
                "No quote was decided since.",
            ],
        }
    )


def outlook() -> pd.DataFrame:
    """A year that the suggestions make better by 4,000, give or take 5,000."""
    return pd.DataFrame(
        {
            "prices": ["today's", "suggested", "difference", "hours freed"],
            "jobs": [400.0, 380.0, -20.0, np.nan],
            "hours": [4000.0, 3800.0, -200.0, np.nan],
            "contribution": [120_000.0, 124_000.0, 4_000.0, 1_500.0],
            "low": [105_000.0, 108_000.0, -1_000.0, 900.0],
            "high": [136_000.0, 141_000.0, 9_000.0, 2_100.0],
            "probability_gains": [np.nan, np.nan, 0.91, np.nan],
            "note": pd.Series([np.nan] * 4, dtype="str"),
        }
    )


def surcharges(services: Sequence[str], classes: Sequence[str]) -> pd.DataFrame:
    """Two flagged models, one of them dear on two services."""
    return pd.DataFrame(
        {
            "service": [services[0], services[1], services[0]],
            "vehicle_class": [classes[0], classes[0], classes[1]],
            "make": ["Harrow", "Harrow", "Solway"],
            "model": ["Pike", "Pike", "Tern"],
            "jobs": [9, 3, 6],
            "model_jobs": [14, 14, 6],
            "extra_hours": [0.8, 0.3, 1.6],
            "hour_must_earn": 61.5,
            "surcharge": [50.0, 20.0, 100.0],
            "price": [500.0, 350.0, 620.0],
            "enough": _enough([9, 3, 6]),
        }
    )


def sensitivity(suggestions: pd.DataFrame) -> pd.DataFrame:
    """The suggestions under two assumptions, one of which raises every floor by a tenth."""
    told = suggestions[suggestions["verdict"] != "not enough evidence"]
    keys = ["service", "vehicle_class", "floor_price", "suggested_price", "verdict"]
    dear = told[keys].assign(
        assumption="wages are 10 % more", floor_price=told["floor_price"] * 1.1, moved=True
    )
    same = told[keys].assign(assumption="film costs 10 % more", moved=False)
    frame = pd.concat([same, dear], ignore_index=True)
    return frame.astype({"moved": "boolean"})
