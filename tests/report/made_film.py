"""Made-up estimates about film for the made-up review: allowance, price, cost, swaps, orders."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.report.results import Review
from analysis.settings import Settings

SHOP = Settings()
SERVICES = ("roof", "hood", "colour change", "tint")
FILMS = ("GB-60", "MB-60", "CL-72", "TN-40")
PANELS = ("roof", "hood", "mirror", "spoiler")
FEWEST = 5
DAY = pd.Timestamp("2026-09-30")
INCH = 0.0254
SUPPLIERS = ("Marlow Supply", "Hollins Trade")
NO_TELLING = "not enough recuts to tell"


def film(services: Sequence[str], films: Sequence[str], panels: Sequence[str]) -> dict[str, Any]:
    """The tables of estimates about film, inside names."""
    return {
        "recuts_by_allowance": recuts(),
        "best_allowance": best_allowance(panels, films),
        "film_installed": installed(services, films),
        "film_swaps": swaps(services, films),
        "film_price_trends": trends(films),
        "film_price_steps": steps(films),
        "film_orders": orders(films),
    }


def enough(counts: Sequence[int]) -> Any:
    """Whether each count is enough to lean on."""
    return pd.array([count >= FEWEST for count in counts], dtype="boolean")


def recuts() -> pd.DataFrame:
    """Six bins of half an inch from 2 in; the last of them thin."""
    cuts = [40, 160, 300, 280, 90, 3]
    again = [5, 12, 14, 9, 2, 0]
    share = np.array(again) / np.array(cuts)
    curve = np.array([0.11, 0.075, 0.047, 0.031, 0.02, 0.013])
    return pd.DataFrame(
        {
            "allowance_m": np.array([2.0, 2.5, 3.0, 3.5, 4.0, 4.5]) * INCH,
            "cuts": cuts,
            "recuts": again,
            "recut_share": share,
            "low_share": (share - 0.03).clip(0),
            "high_share": share + 0.05,
            "curve_share": curve,
            "curve_low_share": curve * 0.7,
            "curve_high_share": curve * 1.3,
            "piece_cost": [np.nan, 12.52, 12.31, 12.4, 12.75, np.nan],
            "piece_cost_low": [np.nan, 12.1, 12.0, 12.2, 12.6, np.nan],
            "piece_cost_high": [np.nan, 13.1, 12.7, 12.6, 12.9, np.nan],
            "enough": enough(cuts),
        }
    )


def best_allowance(panels: Sequence[str], films: Sequence[str]) -> pd.DataFrame:
    """All panels, then each panel in each film: the first to be cut smaller, the last thin."""
    keys = [("all panels", None), *((panel, film) for panel in panels for film in films)]
    frame = pd.DataFrame(keys, columns=["panel", "film"]).astype("str")
    count = len(frame)
    cuts = np.array([900, *np.linspace(90, 2, count - 1).astype(int)])
    saving = np.linspace(240.0, -6.0, count)
    verdict = ["cut smaller", "cut smaller", "cut larger", *["as it is"] * (count - 3)]
    verdict[-3:] = [NO_TELLING] * 3
    told = np.array([each != NO_TELLING for each in verdict])
    usual = np.linspace(3.2, 2.6, count)
    best = np.where(told, usual + np.where(np.array(verdict) == "cut larger", 0.4, -0.5), np.nan)
    return frame.assign(
        cuts=cuts,
        recuts=cuts // 20,
        usual_allowance_m=usual * INCH,
        best_allowance_m=best * INCH,
        low_allowance_m=(best - 0.3) * INCH,
        high_allowance_m=(best + 0.4) * INCH,
        usual_recut_share=0.04,
        best_recut_share=np.where(told, 0.055, np.nan),
        usual_cost=12.4,
        best_cost=np.where(told, 12.1, np.nan),
        pieces_a_year=cuts // 2,
        saving_a_year=np.where(told, saving, np.nan),
        saving_low=np.where(told, saving - 90, np.nan),
        saving_high=np.where(told, saving + 150, np.nan),
        verdict=verdict,
    )


def installed(services: Sequence[str], films: Sequence[str]) -> pd.DataFrame:
    """The first three services in two or three films; another in one; the last film thin."""
    keys = [(service, film) for service in services[:3] for film in films[:3]][:8]
    keys.append((services[3], films[3]))
    frame = pd.DataFrame(keys, columns=["service", "film"])
    jobs = np.array([60, 30, 12, 40, 25, 9, 8, 4, 6])[: len(frame)]
    newest = np.tile([30.0, 26.0, 34.0], 3)[: len(frame)]
    labour = np.tile([40.0, 70.0, 42.0], 3)[: len(frame)]
    redo = np.full(len(frame), 3.0)
    total = newest / 0.8 + labour + redo
    return frame.assign(
        jobs=jobs,
        newest_cost_per_m2=newest,
        waste_share=0.2,
        film_cost_per_m2=newest / 0.8,
        hours_effect_share=0.1,
        low_share=0.02,
        high_share=0.18,
        hours_per_area=0.11,
        labour_cost_per_m2=labour,
        redo_share=0.03,
        redo_cost_per_m2=redo,
        installed_cost_per_m2=total,
        installed_low_per_m2=total - 9,
        installed_high_per_m2=total + 11,
        enough=enough(list(jobs)),
    )


def swaps(services: Sequence[str], films: Sequence[str]) -> pd.DataFrame:
    """Three films and two widths: one cheaper for sure of each kind, one dearer, one thin."""
    nothing = np.nan
    rows = [
        (services[0], films[1], films[0], nothing, nothing, 40, -420.0, 130.0, "cheaper"),
        (services[0], films[0], films[1], nothing, nothing, 20, 390.0, 200.0, "dearer"),
        (services[1], films[0], films[2], nothing, nothing, 30, -60.0, 240.0, "cannot tell"),
        (services[1], films[0], films[0], 1.524, 1.2192, 25, -150.0, 90.0, "cheaper"),
        (services[2], films[2], films[2], nothing, 1.2192, 3, -80.0, 50.0, "cheaper"),
    ]
    names = ["service", "film", "instead_film", "roll_width_m", "instead_width_m", "jobs"]
    frame = pd.DataFrame(rows, columns=[*names, "difference", "reach", "verdict"])
    return frame.assign(
        as_done_cost=2000.0,
        instead_cost=2000.0 + frame["difference"],
        difference_low=frame["difference"] - frame["reach"],
        difference_high=frame["difference"] + frame["reach"],
        enough=enough(list(frame["jobs"])),
    ).drop(columns="reach")


def trends(films: Sequence[str]) -> pd.DataFrame:
    """A film that rises, one in steps, one that falls, one steady, one bought twice."""
    rise = np.array([0.095, 0.06, -0.03, 0.004, np.nan])
    return pd.DataFrame(
        {
            "film": [*films[:4], films[0]],
            "supplier": [*[SUPPLIERS[0]] * 4, SUPPLIERS[1]],
            "purchases": [24, 18, 12, 15, 2],
            "first_on": DAY - pd.DateOffset(months=30),
            "newest_on": DAY - pd.DateOffset(days=12),
            "first_cost_per_m2": [20.0, 22.0, 31.0, 26.0, 21.0],
            "newest_cost_per_m2": [25.0, 26.0, 29.0, 26.2, 21.5],
            "rise_share": rise,
            "low_share": rise - 0.015,
            "high_share": rise + 0.02,
            "steps": [0, 2, 0, 0, 0],
            "pattern": ["rising", "in steps", "falling", "steady", "too few purchases"],
        }
    )


def steps(films: Sequence[str]) -> pd.DataFrame:
    """Three stretches of the second film; one of the first."""
    starts = pd.to_datetime(["2024-04-02", "2025-01-09", "2025-11-20", "2024-04-02"])
    return pd.DataFrame(
        {
            "film": [films[1]] * 3 + [films[0]],
            "supplier": SUPPLIERS[0],
            "from_on": starts,
            "to_on": starts + pd.DateOffset(months=7),
            "purchases": [6, 7, 5, 24],
            "cost_per_m2": [22.0, 24.0, 26.0, 22.5],
            "step_share": [np.nan, 0.09, 0.083, np.nan],
            "low_share": [np.nan, 0.07, 0.06, np.nan],
            "high_share": [np.nan, 0.11, 0.1, np.nan],
        }
    )


def orders(films: Sequence[str]) -> pd.DataFrame:
    """Two films to order, one that lies for years, and one that nobody uses."""
    return pd.DataFrame(
        {
            "film": list(films[:4]),
            "as_of": pd.Timestamp("2026-09-30"),
            "on_hand_area_m2": [30.0, 4.0, 400.0, 12.0],
            "weekly_area_m2": [2.5, 4.0, 1.0, np.nan],
            "weekly_low_m2": [2.0, 3.0, 0.6, np.nan],
            "weekly_high_m2": [3.1, 5.2, 1.5, np.nan],
            "waiting_jobs": [4, 1, 0, 0],
            "waiting_area_m2": [33.0, 2.0, 0.0, 0.0],
            "cover_weeks": [1.8, 1.0, 400.0, np.nan],
            "reorder_area_m2": [33.0, 8.0, 2.0, np.nan],
            "roll_width_m": 1.524,
            "roll_length_m": 22.86,
            "order_rolls": pd.array([1, 2, 0, 0], dtype="Int64"),
            "order_cost": [812.0, 1490.0, 0.0, 0.0],
            "reason": [
                "30 sq ft on hand is not over 33 sq ft; 4 waiting jobs.",
                "4.0 sq ft on hand is not over 8.0 sq ft.",
                "Enough: 400 sq ft on hand.",
                "Not used in the last 52 weeks.",
            ],
        }
    )


def film_review(settings: Settings | None = None, **tables: pd.DataFrame | Unavailable) -> Review:
    """A review that holds the tables of this module alone; those given stand in their place."""
    made = film(SERVICES, FILMS, PANELS) | tables
    empty = {
        name: pd.DataFrame(columns=table.inside_names) for name, table in RECORD_TABLES.items()
    }
    doubts = pd.DataFrame(columns=list(FINDING_COLUMNS))
    records = Records(empty, doubts, {}, (), frozenset(), settings or SHOP)
    return Review(
        quarter=Quarter(2026, 3),
        settings=settings or SHOP,
        records=records,
        results=made,
        year={},
        previous={},
    )
