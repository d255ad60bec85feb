"""Drift of the quoting: a tiny shop by hand, and simulated shops with a known drift."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.sparse import csr_array
from scipy.stats import t as student

from analysis.findings.drift import (
    A_YEAR,
    DAYS_A_YEAR,
    QUARTER_SD,
    change_a_year,
    quoting_drift,
)
from analysis.findings.hours_model import HoursData, HoursModel, fit_hours
from analysis.settings import Settings

FIRST = pd.Timestamp("2024-01-01")
CREWLESS = csr_array((0, 0))


def fitted(table: pd.DataFrame, crew: csr_array, people: int) -> HoursModel:
    log_ratio = np.log(table["actual_hours"] / table["quoted_hours"])
    names = pd.Index([f"p{at}" for at in range(people)])
    model = fit_hours(HoursData(table.assign(log_ratio=log_ratio), crew, names, 0))
    assert isinstance(model, HoursModel)
    return model


def shop(seed: int, yearly: float, lines: int = 300, slips: float = 0.0) -> HoursModel:
    """A shop of three years whose hours over the quote grow by a share a year."""
    draw = np.random.default_rng(seed)
    weight = draw.gamma(0.8, 1, 15) + 0.1
    model = draw.choice(15, lines, p=weight / weight.sum())
    service, person = draw.integers(0, 4, lines), draw.integers(0, 4, lines)
    day = draw.integers(0, 1096, lines)
    log_ratio = (
        draw.normal(0, 0.05, 4)[service]
        + draw.normal(0, 0.12, 15)[model]
        + draw.normal(0, 0.1, 4)[person]
        + draw.normal(0, 0.22, lines)
        + np.log1p(yearly) * day / DAYS_A_YEAR
        + np.where(draw.random(lines) < slips, np.log(10), 0)
    )
    quoted = draw.uniform(2, 30, lines)
    table = pd.DataFrame(
        {
            "finished_on": FIRST + pd.to_timedelta(day, unit="D"),
            "service": np.array(list("abcd"))[service],
            "vehicle_class": (model % 4).astype(str),
            "make": "K",
            "model": np.char.add("m", model.astype(str)),
            "quoted_hours": quoted,
            "actual_hours": quoted * np.exp(log_ratio),
        }
    )
    crew = csr_array((np.ones(lines), (np.arange(lines), person)), shape=(lines, 4))
    return fitted(table, crew, 4)


@pytest.mark.parametrize("yearly", [0.05, 0.0])
def test_a_known_drift_is_recovered(yearly: float) -> None:
    """So many of 100 intervals of 90 % hold it: two standard errors are 6."""
    last = [quoting_drift(shop(seed, yearly), Settings()).iloc[-1] for seed in range(100)]
    table = pd.DataFrame(last)
    held = (table["low_share"] <= yearly) & (yearly <= table["high_share"])
    assert 0.84 <= held.mean() <= 0.96
    assert table["like_for_like_share"].mean() == pytest.approx(yearly, abs=0.006)


def test_quarters_hold_the_drift_too() -> None:
    held = []
    for seed in range(40):
        model = shop(seed, 0.05)
        days = model.data.lines["finished_on"]
        trend = np.log(1.05) * (days - FIRST).dt.days / DAYS_A_YEAR
        label = days.dt.year.astype(str) + "Q" + days.dt.quarter.astype(str)
        truth = np.expm1((trend - trend.mean()).groupby(label).mean())
        rows = quoting_drift(model, Settings()).iloc[:-1].set_index("period")
        held += ((rows["low_share"] <= truth) & (truth <= rows["high_share"])).tolist()
    assert 0.87 <= np.mean(held) <= 0.93


def test_slips_do_not_make_a_drift() -> None:
    last = [quoting_drift(shop(seed, 0.0, slips=0.01), Settings()).iloc[-1] for seed in range(60)]
    told = [row["low_share"] > 0 or row["high_share"] < 0 for row in last]
    assert np.mean(told) <= 0.15


def tiny() -> pd.DataFrame:
    """Eight roofs on one model: four in one quarter, none in the next, four in the one after."""
    return pd.DataFrame(
        {
            "finished_on": pd.to_datetime(["2025-02-10"] * 4 + ["2025-09-10"] * 4),
            "service": "roof",
            "vehicle_class": "car",
            "make": "K",
            "model": "m",
            "quoted_hours": [2.0, 4.0, 2.0, 4.0, 2.0, 4.0, 2.0, 4.0],
            "actual_hours": [2.0, 4.4, 1.8, 4.2, 2.4, 4.6, 2.2, 5.0],
        }
    )


def test_by_hand() -> None:
    """One service, one model, nobody told apart: two means and their error.

    The quarters' effects have the prior sd 0.3. Their difference is drawn from that of the means,
    d, to d × 2 × 0.3² ÷ (2 × 0.3² + σ² (1/4 + 1/4)); each quarter stands half of it from the mean.
    """
    table = tiny()
    model = fitted(table, CREWLESS, 0)
    found = quoting_drift(model, Settings())
    assert found["period"].tolist() == ["2025Q1", "2025Q2", "2025Q3", A_YEAR]
    assert found["jobs"].tolist() == [4, 0, 4, 8]
    assert found["overrun_share"].to_numpy() == pytest.approx(
        [12.4 / 12 - 1, np.nan, 14.2 / 12 - 1, np.nan], nan_ok=True
    )
    log = np.log(table["actual_hours"] / table["quoted_hours"]).to_numpy()
    between = log[4:].mean() - log[:4].mean()
    prior = 2 * QUARTER_SD**2
    # The ratio of prior to noise is taken at the noise of the model without quarters.
    fraction = prior / (prior + np.var(log, ddof=1) / 2)
    half = between * fraction / 2
    shares = found["like_for_like_share"].to_numpy()
    assert shares[[0, 2]] == pytest.approx(np.expm1([-half, half]), rel=1e-2)
    assert np.isnan(shares[1])
    # Noise: what is left within the quarters, and of their difference beyond what the prior holds.
    left = (log[:4].var() + log[4:].var()) * 4 + between**2 * 2 * (1 - fraction)
    error = np.sqrt(left / 7 / 2 * fraction) / 2
    reach = student.ppf(0.95, 7) * error
    assert found["high_share"][2] == pytest.approx(np.expm1(half + reach), rel=1e-2)
    assert found["low_share"][2] == pytest.approx(np.expm1(half - reach), rel=1e-2)


def test_the_change_a_year_by_hand() -> None:
    """The same shop: least squares through two days, 212 days apart; too few quarters to tell."""
    table = tiny()
    model = fitted(table, CREWLESS, 0)
    found = change_a_year(model)
    log = np.log(table["actual_hours"] / table["quoted_hours"]).to_numpy()
    years = 212 / DAYS_A_YEAR
    slope = (log[4:].mean() - log[:4].mean()) / years
    noise = (log[:4].var() + log[4:].var()) * 4 / 6
    assert found.mean[0] == pytest.approx(slope)
    # Hours on paper have a least noise of their own, half a percent.
    assert found.sd[0] == pytest.approx(np.sqrt(noise / (8 * (years / 2) ** 2)), rel=0.005)
    row = quoting_drift(model, Settings()).iloc[-1]
    assert row[["like_for_like_share", "low_share", "high_share"]].isna().all()


def test_fiscal_quarters() -> None:
    found = quoting_drift(fitted(tiny(), CREWLESS, 0), Settings(fiscal_year_starts=7))
    assert found["period"].tolist() == ["2025Q3", "2025Q4", "2026Q1", A_YEAR]


def test_one_day_tells_no_trend() -> None:
    table = tiny().assign(finished_on=pd.Timestamp("2025-02-10"))
    found = quoting_drift(fitted(table, CREWLESS, 0), Settings())
    assert found["period"].tolist() == ["2025Q1", A_YEAR]
    assert found["like_for_like_share"].isna().all()


def test_nothing_passed_in_is_changed() -> None:
    model = shop(1, 0.05)
    before = model.data.lines.copy(deep=True)
    quoting_drift(model, Settings())
    pd.testing.assert_frame_equal(model.data.lines, before)
