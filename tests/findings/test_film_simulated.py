"""Whole shops simulated through their records: what was put in about film must come out again.

Side loss, allowance and shrinkage are what the simulation did, so that they must come out exactly;
the recut curve is chance, so that its 90 % intervals must hold the truth about nine times in ten.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analysis.records.read import read_records
from analysis.report.results import Review
from analysis.review import review_records
from tests.shops import write_shop

TOML = 'length_unit = "cm"\narea_unit = "m2"\n[labour]\ndefault_wage = 20\n'
ROLL_CM, LENGTH_CM = 150.0, 2500.0
JOBS = 700


@dataclass(frozen=True)
class Truth:
    """What a shop does: its usual allowance, its recuts, what its counts will miss."""

    margin_cm: float
    level: float  # log-odds of a recut at the usual allowance
    fall: float  # of the log-odds, for each cm more
    shrinkage: float  # of what is cut, gone without a cut
    beside: int  # pieces side by side on a pull

    def recut_share(self, margin_cm: float) -> float:
        return float(expit(self.level - self.fall * (margin_cm - self.margin_cm)))


TRUTHS = (
    Truth(4.0, -2.6, 0.9, 0.05, 1),
    Truth(6.0, -3.0, 0.6, 0.0, 2),
    Truth(3.0, -2.2, 1.2, 0.12, 1),
)


def simulated(truth: Truth, folder: Path, seed: int) -> tuple[Review, pd.DataFrame]:
    """A shop of one panel in one film over a year, reviewed; with its cuts as they were made."""
    rng = np.random.default_rng(seed)
    days = pd.Timestamp("2025-07-01") + pd.to_timedelta(np.sort(rng.integers(0, 456, JOBS)), "D")
    margin = (truth.margin_cm + rng.normal(0, 0.25 * truth.margin_cm, JOBS)).clip(1.0).round(1)
    long = rng.choice([90.0, 110.0, 120.0], JOBS) + 2 * margin
    wide = 40.0 + 2 * margin
    again = rng.random(JOBS) < [truth.recut_share(each) for each in margin]
    cuts = pd.DataFrame(
        {
            "cut_id": [f"C{at}" for at in range(JOBS)],
            "cut_on": days,
            "job_id": [f"J{at}" for at in range(JOBS)],
            "pulled_length": long,
            "piece_length": long,
            "piece_width": wide,
            "finished_length": long - 2 * margin,
            "finished_width": 40.0,
            "pieces": truth.beside,
            "reason": "first",
        }
    )
    recuts = cuts[again].assign(cut_id=lambda rows: rows["cut_id"] + "R", reason="recut", pieces=1)
    every = (
        pd.concat([cuts, recuts])
        .sort_values("cut_on", kind="stable")
        .assign(film="GB", panel="hood", pulled_width=ROLL_CM)
    )
    write_shop(folder, TOML)
    every.to_csv(folder / "cuts.csv", index=False)
    jobs = cuts[["job_id"]].assign(
        finished_on=days,
        service="hood",
        make="Harrow",
        model="Pike",
        vehicle_class="midsize car",
        film="GB",
        quoted_hours=2,
        quoted_price=300,
        hours=2,
    )
    jobs.to_csv(folder / "jobs.csv", index=False)
    used = every.assign(area=every["pulled_length"] * ROLL_CM)
    rolls = int(np.ceil(used["area"].sum() * 1.3 / (ROLL_CM * LENGTH_CM)))
    bought = {
        "invoice": ["I1"],
        "received_on": ["2025-06-30"],
        "supplier": ["Marlow"],
        "item": ["GB"],
        "kind": ["film"],
        "roll_width": [ROLL_CM],
        "roll_length": [LENGTH_CM],
        "quantity": [rolls],
        "unit_price": [600],
    }
    pd.DataFrame(bought).to_csv(folder / "purchases.csv", index=False)
    ends = pd.date_range("2025-09-30", "2026-09-30", freq="QE")
    cut_by = [used.loc[used["cut_on"] <= end, "area"].sum() for end in ends]
    held = [
        (rolls * ROLL_CM * LENGTH_CM - (1 + truth.shrinkage) * each) / 10_000 for each in cut_by
    ]
    counts = pd.DataFrame({"counted_on": ends, "film": "GB", "area_on_hand": held})
    counts.to_csv(folder / "stock_counts.csv", index=False)
    return review_records(read_records(folder), "2026Q3"), every


@pytest.mark.parametrize("truth", TRUTHS, ids=lambda each: f"margin {each.margin_cm} cm")
def test_what_the_shop_did_comes_out_exactly(truth: Truth, tmp_path: Path) -> None:
    review, cuts = simulated(truth, tmp_path, 1)
    quarter = cuts[(cuts["cut_on"] >= "2026-07-01") & (cuts["cut_on"] <= "2026-09-30")]
    first = quarter[quarter["reason"] == "first"]
    row = review.frame("waste_by_panel").iloc[0]
    pieces = first["pieces"] * first["piece_length"] * first["piece_width"]
    side = (first["pulled_length"] * ROLL_CM - pieces).sum() / 10_000
    assert row["side_loss_area_m2"] == pytest.approx(side)
    finished = (first["pieces"] * first["finished_length"] * first["finished_width"]).sum() / 1e4
    assert row["handling_margin_area_m2"] == pytest.approx(pieces.sum() / 1e4 - finished)
    again = quarter[quarter["reason"] == "recut"]
    assert row["recut_area_m2"] == pytest.approx((again["pulled_length"] * ROLL_CM).sum() / 1e4)
    counts = review.frame("film_counts")
    assert counts["unexplained_share"].tolist() == pytest.approx([truth.shrinkage] * len(counts))
    # The last twelve months' mean allowance, a side.
    year = cuts[(cuts["reason"] == "first") & (cuts["cut_on"] > "2025-09-30")]
    mean = ((year["piece_length"] - year["finished_length"]) / 2).mean() / 100
    best = review.frame("best_allowance").iloc[0]
    assert best["usual_allowance_m"] == pytest.approx(mean, rel=0.02)


def test_the_recut_curve_comes_back_within_its_intervals(tmp_path: Path) -> None:
    """Over three kinds of shop and the rows of their curves with ten cuts or more."""
    held = []
    for at, truth in enumerate(TRUTHS):
        review, _ = simulated(truth, tmp_path / str(at), 10 + at)
        rows = review.frame("recuts_by_allowance")
        rows = rows[rows["cuts"] >= 10]
        for row in rows.to_dict("records"):
            middle = 100 * row["allowance_m"] + 0.5  # rows are whole centimetres
            share = truth.recut_share(middle)
            # A row is a centimetre wide: its truth is that of its own cuts, near its middle.
            slack = 0.15 * share
            held.append(row["curve_low_share"] - slack <= share <= row["curve_high_share"] + slack)
    assert len(held) >= 12
    assert np.mean(held) >= 0.8, f"{np.mean(held):.2f} of {len(held)} rows hold the truth"
