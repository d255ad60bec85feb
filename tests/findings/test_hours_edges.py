"""Hours kept in a hurry: copied from the quote, people who join late, a pair with one slip."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.sparse import csr_array

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.findings.flagging import flags
from analysis.findings.hours_model import HoursData, fit_hours, hours_data
from analysis.pricing.quote import Quoter, next_quote, prepare_quotes
from analysis.report.results import Review
from analysis.review import review_records
from tests.shops import records_of

ROLL = """
invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
A | 2023-12-01 | S | GB | film | 1.5 | 100 | 1 | 1500
"""
HEAD = "job_id | finished_on | service | make | model | vehicle_class | quoted_hours | quoted_price"


def shop(tmp_path: Path, rows: list[tuple[str, float, str, str]]) -> Review:
    """A review of job sheets: model, hours of 4 quoted, crew, class; three days apart."""
    days = pd.date_range("2024-01-02", periods=len(rows), freq="3D")
    lines = [
        f"J{at:03d} | {day:%Y-%m-%d} | roof | Harrow | {model} | {size} | 4 | 400 | {crew} | {took}"
        for at, (day, (model, took, crew, size)) in enumerate(zip(days, rows, strict=True))
    ]
    jobs = "\n".join([f"{HEAD} | crew | hours", *lines])
    return review_records(records_of(tmp_path, jobs=jobs, purchases=ROLL))


def noisy(number: int, seed: int = 1) -> np.ndarray:
    return np.round(4 * np.exp(np.random.default_rng(seed).normal(0, 0.2, number)), 2)


COPIED = {
    "all as quoted": [(f"M{at % 3}", 4.0, "Ines", "compact car") for at in range(50)],
    "all half more": [(f"M{at % 3}", 6.0, "Ines", "compact car") for at in range(50)],
    "each model its own": [
        (f"M{at % 8}", 8.0 if at % 8 == 0 else 4.0, "Ines", "compact car") for at in range(50)
    ],
    "first copied, then real": [
        (f"M{at % 5}", 4.0 if at < 60 else took, "Ines", "compact car")
        for at, took in enumerate(noisy(120))
    ],
}


@pytest.mark.parametrize("rows", COPIED.values(), ids=COPIED)
def test_hours_that_are_copied_never_stop_the_review(
    rows: list[tuple[str, float, str, str]], tmp_path: Path
) -> None:
    review = shop(tmp_path, rows)
    for name in ("hours_by_model", "next_quotes"):
        table = review.results[name]
        if isinstance(table, pd.DataFrame):
            numbers = table.select_dtypes("number").astype("float64")
            assert not np.isinf(numbers.to_numpy()).any()
    spread = review.results["hours_spread"]
    if isinstance(spread, Unavailable):
        assert "copied" in spread.line


@pytest.mark.parametrize("what", ["person", "class", "model"])
def test_a_shop_that_grows_is_quoted_again(what: str, tmp_path: Path) -> None:
    """What joins later is a factor in the later months of the backtest and not in the first."""
    rows = []
    for at, took in enumerate(noisy(160)):
        is_new = at >= 100 and at % 2 == 0
        rows.append(
            (
                f"M{at % 4}" if what != "model" or is_new else "M0",
                float(took),
                "Tomas" if what == "person" and is_new else "Ines",
                "minivan" if what == "class" and is_new else "compact car",
            )
        )
    if what == "class":
        rows = [(f"{m}{size[0]}", took, crew, size) for m, took, crew, size in rows]
    calibration = shop(tmp_path, rows).results["quote_calibration"]
    assert isinstance(calibration, pd.DataFrame)
    assert calibration["jobs"].iloc[0] > 80


def test_a_pair_that_always_works_together_is_not_told_apart(tmp_path: Path) -> None:
    """One unequal note must not accuse a person, nor blow up the quotes."""
    jobs = [f"{HEAD}"]
    hours = ["job_id | worked_on | installer | hours"]
    for at, took in enumerate(noisy(80, 2)):
        day = pd.Timestamp("2024-01-02") + pd.Timedelta(days=3 * at)
        jobs.append(
            f"J{at:03d} | {day:%Y-%m-%d} | roof | Harrow | M{at % 5} | compact car | 4 | 400"
        )
        slip = 10.0 if at == 40 else took / 2
        hours.append(f"J{at:03d} | {day:%Y-%m-%d} | Ines | {slip:.2f}")
        hours.append(f"J{at:03d} | {day:%Y-%m-%d} | Tomas | {took / 2:.2f}")
    records = records_of(tmp_path, jobs="\n".join(jobs), hours="\n".join(hours), purchases=ROLL)
    day = pd.Timestamp("2024-12-31")
    costing = cost_records(records, day)
    model = fit_hours(hours_data(costing, day))
    assert not isinstance(model, Unavailable)
    assert not model.has_crew
    assert any("together" in note for note in model.notes)
    quoter = prepare_quotes(costing, records, day)
    assert isinstance(quoter, Quoter)
    quote = next_quote(quoter, "roof", "Harrow", "M0")
    assert 3.5 < quote.hours.median < 4.6
    assert quote.hours.high < 8


def test_a_class_left_blank_is_that_of_the_models_other_jobs(tmp_path: Path) -> None:
    rows = [
        (f"M{at % 6}", float(took), "Ines", "compact car" if at % 2 else "")
        for at, took in enumerate(noisy(60, 3))
    ]
    rows = [
        (m, took, crew, "minivan" if m == "M5" and size else size) for m, took, crew, size in rows
    ]
    spread = shop(tmp_path, rows).frame("hours_spread").set_index("part")
    assert spread.loc["vehicle model", "levels"] == 6


def test_half_of_the_hours_copied_do_not_make_the_others_slips(tmp_path: Path) -> None:
    """Of 300 lines half are the quote; the others keep their say."""
    took = noisy(300, 4)
    rows = [
        (f"M{at % 10}", 4.0 if at % 2 else float(each), "Ines", "compact car")
        for at, each in enumerate(took)
    ]
    pulls = shop(tmp_path, rows).frame("jobs_that_pull")
    assert pulls["held_back"].sum() < 0.05 * len(rows)


def data_of(number: int) -> HoursData:
    days = pd.date_range("2024-01-02", periods=number, freq="D")
    lines = pd.DataFrame({"finished_on": days, "log_ratio": 0.0})
    return HoursData(lines, csr_array(np.ones((number, 1))), pd.Index(["Ines"]), 0)


def test_until_a_day_holds_that_day_and_newest_are_the_newest() -> None:
    data = data_of(9)
    days = data.lines["finished_on"]
    assert data.until(days[4]).lines["finished_on"].max() == days[4]
    assert data.newest(3).lines["finished_on"].tolist() == days.tail(3).tolist()
    assert data.newest(20) is data


def test_a_flag_may_use_up_the_whole_rate() -> None:
    assert flags(pd.Series([0.75, 0.75]), 0.25).all()
    assert not flags(pd.Series([0.75, 0.5]), 0.25).all()
