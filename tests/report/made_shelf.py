"""Made-up tables of the shelf for the made-up review: streams, counts, and offcuts."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.findings import film_flows as points

DAY = pd.Timestamp("2026-09-30")
_OUT = {
    points.FINISHED: 0.66,
    "side loss": 0.12,
    "handling margin": 0.12,
    "opening": 0.02,
    "recut": 0.05,
    "damage": 0.02,
    "end of roll": 0.01,
}


def shelf(films: Sequence[str], size: float) -> dict[str, Any]:
    """The tables, in agreement with themselves."""
    return {
        "avoidable_by_job": _jobs(films),
        "film_flows": streams(size),
        "film_counts": _counts(films),
        "offcut_shelf": _offcuts(films, size),
        "offcuts_on_shelf": _on_shelf(films),
    }


def streams(size: float, surplus: float = 0.0) -> pd.DataFrame:
    """Streams of 300 m² × size at 40 an area; `surplus` was found too much at the counts."""
    total, missing = 300.0 * size, 6.0 * size - surplus
    closing = 0.3 * total - missing
    rows = [
        (points.ON_SHELF, points.FILM, 0.4 * total),
        (points.PURCHASED, points.FILM, 0.6 * total),
        (points.FILM, points.JOBS, 0.6 * total),
        (points.FILM, "counter sales", 0.08 * total),
        (points.FILM, "shop use and offcuts written off", 0.02 * total),
        (points.FILM, "missing at the counts", missing),
        (points.FILM, "closing stock", closing),
    ]
    rows += [(points.JOBS, name, 0.6 * total * share) for name, share in _OUT.items()]
    frame = pd.DataFrame(rows, columns=["flows_from", "flows_to", "area_m2"])
    return frame.assign(cost=frame["area_m2"] * 40.0)


def _jobs(films: Sequence[str]) -> pd.DataFrame:
    saved = np.array([3.0, 2.0, 1.0])
    return pd.DataFrame(
        {
            "job_id": ["J-7", "J-3", "J-5"],
            "film": [films[0], films[1], films[0]],
            "roll_width_m": 1.524,
            "cut_on": DAY - pd.to_timedelta([3, 9, 20], unit="D"),
            "pieces": [9, 4, 2],
            "pulled_length_m": 6.0,
            "shortest_length_m": 6.0 - saved / 1.524,
            "kept_area_m2": 0.0,
            "avoidable_area_m2": saved,
            "avoidable_cost": saved * 40.0,
        }
    )


def _counts(films: Sequence[str]) -> pd.DataFrame:
    days = pd.to_datetime(["2025-12-31", "2026-03-31", "2026-06-30", "2026-09-30"])
    frame = pd.DataFrame(
        [(film, day) for film in films for day in days], columns=["film", "counted_on"]
    )
    gap = np.where(frame["film"] == films[1], 2.0, 0.0)
    return frame.assign(
        counted_before=frame.groupby("film")["counted_on"].shift(),
        book_area_m2=40.0 + gap,
        counted_area_m2=40.0,
        unexplained_area_m2=gap,
        unexplained_cost=gap * 40.0,
        cut_area_m2=50.0,
        unexplained_share=gap / 50.0,
    )


def _offcuts(films: Sequence[str], size: float) -> pd.DataFrame:
    at = np.arange(len(films), dtype="float64")
    areas = {
        "opening": 2.0 * size + at,
        "kept": 3.0 * size + at,
        "used": 1.0 * size + at,
        "written_off": np.full(len(films), 0.5 * size),
        "missing": np.zeros(len(films)),
    }
    areas["closing"] = (
        areas["opening"] + areas["kept"] - areas["used"] - areas["written_off"] - areas["missing"]
    )
    columns = {f"{name}_area_m2": values for name, values in areas.items()}
    costs = {f"{name}_cost": values * 40.0 for name, values in areas.items()}
    return pd.DataFrame({"film": list(films), **columns, **costs}).assign(
        closing_offcuts=3, mean_age_days=80.0, oldest_days=200.0 + at
    )


def _on_shelf(films: Sequence[str]) -> pd.DataFrame:
    kept_on = DAY - pd.to_timedelta(np.arange(len(films)) * 30, unit="D")
    return pd.DataFrame(
        {
            "film": list(films),
            "cut_id": [f"C{number}" for number in range(len(films))],
            "kept_on": kept_on,
            "roll_id": "R1",
            "kept_length_m": [1.5] * (len(films) - 1) + [np.nan],
            "kept_width_m": [0.4] * (len(films) - 1) + [np.nan],
            "area_m2": 0.6,
            "cost": 24.0,
            "age_days": np.arange(len(films)) * 30.0,
            "leaves_on": kept_on + pd.DateOffset(months=12),
        }
    )
