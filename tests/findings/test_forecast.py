"""The forecast of the next job's hours, against draws of many jobs and against closed cases."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.sparse import csr_array
from scipy.special import ndtri

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.findings.forecast import (
    HoursForecast,
    HoursForecaster,
    forecast_hours,
    learn_hours,
)
from analysis.findings.hours_model import HoursData, hours_data
from analysis.findings.overruns import next_quotes
from analysis.findings.pooling import spread_of, targets_of
from analysis.findings.usual_hours import usual_hours
from analysis.records.read import read_records
from tests.oracle.hours_shop import PEOPLE, Making, write_hours_shop

LEVELS = (0.05, 0.5, 0.7, 0.8, 0.9, 0.95)
DAY = pd.Timestamp("2026-12-31")
NO_LIST = pd.DataFrame(
    {
        "service": pd.Series(dtype="str"),
        "vehicle_class": pd.Series(dtype="str"),
        "list_hours": pd.Series(dtype="float64"),
        "effective_from": pd.Series(dtype="datetime64[ns]"),
    }
)


# ---- a distribution and its figures --------------------------------------------------------------


@pytest.fixture
def forecast() -> HoursForecast:
    """Two jobs; the chance leans to the long side."""
    chance = np.sort(np.random.default_rng(5).gamma(2.0, size=61))
    chance = (chance - chance.mean()) / chance.std()
    return HoursForecast(
        usual=np.array([3.0, 40.0]),
        mean=np.array([0.1, -0.2]),
        sd=np.array([0.2, 0.05]),
        noise=np.array([0.3, 0.15]),
        chance=chance,
    )


def test_quantiles_are_those_of_many_jobs_drawn(forecast: HoursForecast) -> None:
    rng = np.random.default_rng(1)
    draws = 400_000
    for job in range(2):
        log = rng.normal(forecast.mean[job], forecast.sd[job], draws)
        log += forecast.noise[job] * rng.choice(forecast.chance, draws)
        hours = forecast.usual[job] * np.exp(log)
        for level in LEVELS:
            # A quantile of so many draws has a standard error of 0.1 to 0.2 % here.
            drawn = np.quantile(hours, level)
            assert forecast.quantile(level)[job] == pytest.approx(drawn, rel=0.01)
        assert forecast.expected()[job] == pytest.approx(hours.mean(), rel=0.005)


def test_quantiles_rise_and_are_undone_by_the_probability(forecast: HoursForecast) -> None:
    shares = np.linspace(0.01, 0.99, 99)
    hours = np.array([forecast.quantile(share) for share in shares])
    assert (np.diff(hours, axis=0) > 0).all()
    for share, each in zip(shares, hours, strict=True):
        assert forecast.below(np.log(each / forecast.usual)) == pytest.approx(share, abs=1e-9)


def test_the_mean_is_that_of_the_distribution(forecast: HoursForecast) -> None:
    """E[H] = ∫ (1 − F(h)) dh over h from 0 (integration by parts)."""
    for job in range(2):
        hours = np.linspace(1e-6, 12 * forecast.usual[job], 60_001)
        one = replace(
            forecast,
            usual=np.full(len(hours), forecast.usual[job]),
            mean=np.full(len(hours), forecast.mean[job]),
            sd=np.full(len(hours), forecast.sd[job]),
            noise=np.full(len(hours), forecast.noise[job]),
        )
        above = 1 - one.below(np.log(hours / one.usual))
        integral = np.sum((above[1:] + above[:-1]) / 2 * np.diff(hours))
        assert forecast.expected()[job] == pytest.approx(integral, rel=1e-5)


# ---- a closed case -------------------------------------------------------------------------------


def one_service(log_ratio: np.ndarray, quoted: float = 4.0) -> HoursData:
    """One service on one model by one person: nothing to tell apart."""
    number = len(log_ratio)
    days = pd.date_range("2026-01-01", periods=number, freq="D")
    lines = pd.DataFrame(
        {
            "job_id": [f"J{at}" for at in range(number)],
            "line": 1,
            "quoted_on": days,
            "started_on": days,
            "finished_on": days,
            "service": "roof",
            "vehicle_class": "minivan",
            "make": "Quillon",
            "model": "Otter",
            "quoted_hours": quoted,
            "actual_hours": quoted * np.exp(log_ratio),
            "log_ratio": log_ratio,
        }
    )
    return HoursData(lines, csr_array(np.ones((number, 1))), pd.Index(["Ada"]), 0)


@pytest.mark.parametrize("number", [12, 60, 400])
def test_one_service_and_nothing_else_is_a_mean_and_a_spread(number: int) -> None:
    """Then the log of the next hours has the lines' mean, and variance s² (1 + 1 ÷ n)."""
    normal = ndtri((np.arange(number) + 0.5) / number)
    log_ratio = 0.15 + 0.2 * normal / normal.std(ddof=1)
    learnt = learn_hours(one_service(log_ratio), NO_LIST, DAY)
    assert isinstance(learnt, HoursForecaster)
    assert learnt.model.fit.noise_sd == pytest.approx(0.2, rel=1e-3)
    row = learnt.model.data.lines[:1]
    found = forecast_hours(learnt, row)
    assert found.usual == pytest.approx(4.0)
    assert found.mean == pytest.approx(0.15)
    assert found.sd == pytest.approx(0.2 / np.sqrt(number), rel=1e-3)
    for level in LEVELS:
        closed = 4 * np.exp(0.15 + 0.2 * np.sqrt(1 + 1 / number) * ndtri(level))
        # The chance stands as 61 values: at the ends they are a step of a tenth of s apart.
        assert found.quantile(level)[0] == pytest.approx(closed, rel=0.02)
    mean = 4 * np.exp(0.15 + 0.2**2 * (1 + 1 / number) / 2)
    assert found.expected()[0] == pytest.approx(mean, rel=0.003)


def test_too_few_jobs_are_told() -> None:
    learnt = learn_hours(one_service(np.array([0.1, 0.2, 0.3])), NO_LIST, DAY)
    assert isinstance(learnt, Unavailable)
    assert "3" in learnt.line
    assert isinstance(learn_hours(one_service(np.zeros(0)), NO_LIST, DAY), Unavailable)


# ---- a whole shop --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def learnt(tmp_path_factory: pytest.TempPathFactory) -> HoursForecaster:
    folder = tmp_path_factory.mktemp("shop")
    write_hours_shop(folder, 11, Making(lines=240, people_sd=0.2, over=0.1))
    data = shop_data(folder)
    found = learn_hours(data, NO_LIST, DAY)
    assert isinstance(found, HoursForecaster)
    return found


def shop_data(folder: Path) -> HoursData:
    return hours_data(cost_records(read_records(folder), DAY), DAY)


def asked(learnt: HoursForecaster) -> pd.DataFrame:
    """Jobs of models often done, seldom done, and never done."""
    lines = learnt.model.data.lines
    often = lines[lines["model"] == lines["model"].value_counts().index[0]][:2]
    seldom = lines[lines["model"] == lines["model"].value_counts().index[-1]][:1]
    never = lines[:1].assign(model="Never seen")
    rows = pd.concat([often, seldom, never], ignore_index=True)
    return rows[["service", "vehicle_class", "make", "model"]]


def drawn_hours(learnt: HoursForecaster, rows: pd.DataFrame, draws: int) -> np.ndarray:
    """Hours of each job, drawn from the pieces: who does it, the variances, effects, chance."""
    model, rng = learnt.model, np.random.default_rng(3)
    number, people = len(rows), len(model.data.people)
    log = np.empty((number, draws))
    for at in range(number):
        one = rows[at : at + 1]
        share = learnt.crew.loc[one["service"].iloc[0]].to_numpy()
        person = rng.choice(people, draws, p=share / share.sum())
        node = rng.choice(len(model.nodes.weight), draws, p=model.nodes.weight)
        mean, sd = np.empty((2, people, len(model.nodes.weight)))
        for who in range(people):
            crew = csr_array(np.eye(people)[who : who + 1])
            group, weight = np.zeros(1, dtype=np.int64), np.ones(1)
            targets = targets_of(model, one, group, weight, with_factors=model.nested, crew=crew)
            spread = spread_of(model, targets)
            mean[who], sd[who] = spread.mean[0], spread.sd[0]
        log[at] = rng.normal(mean[person, node], sd[person, node])
        noise = learnt.noise[one["service"].iloc[0]]
        log[at] += noise * rng.choice(learnt.chance, draws)
    return learnt.usual.of(rows).to_numpy()[:, None] * np.exp(log)


def test_forecasts_are_those_of_many_jobs_drawn(learnt: HoursForecaster) -> None:
    """Person, variances, effects and chance drawn one after another, a hundred thousand times.

    The forecast lays one normal curve over person and effects: it may be off by a few percent of
    the hours where four people differ much.
    """
    rows = asked(learnt)
    found = forecast_hours(learnt, rows)
    drawn = drawn_hours(learnt, rows, 100_000)
    for level in LEVELS:
        assert found.quantile(level) == pytest.approx(np.quantile(drawn, level, axis=1), rel=0.04)
        held = (drawn <= found.quantile(level)[:, None]).mean(axis=1)
        assert held == pytest.approx(level, abs=0.025)
    assert found.expected() == pytest.approx(drawn.mean(axis=1), rel=0.015)


def test_what_is_less_known_spreads_wider(learnt: HoursForecaster) -> None:
    found = forecast_hours(learnt, asked(learnt))
    often, _, seldom, never = found.quantile(0.9) / found.quantile(0.5)
    assert often < never
    assert found.sd[0] < found.sd[2] < found.sd[3]


def test_who_does_it_counts(learnt: HoursForecaster) -> None:
    rows = asked(learnt)[:1]
    rows = pd.concat([rows] * 6, ignore_index=True)
    who = pd.Series([*PEOPLE, "A new hand", np.nan], dtype="str")
    found = forecast_hours(learnt, rows, who)
    effects = learnt.model.fit.crossed_effects[0]
    known = found.quantile(0.5)[:4]
    assert (np.argsort(known) == np.argsort(effects)).all()
    assert np.ptp(np.log(known)) == pytest.approx(np.ptp(effects), rel=0.2)
    # Somebody new may be like any of them, and nobody named is one of those who do such work.
    assert found.sd[4] > found.sd[:4].max()
    nobody = forecast_hours(learnt, rows[:1])
    assert found.quantile(0.7)[5] == pytest.approx(nobody.quantile(0.7)[0])
    assert found.sd[5] > found.sd[:4].min()


def test_next_quotes_are_the_forecasts(learnt: HoursForecaster) -> None:
    table = next_quotes(learnt, 0.8, 5)
    lines = learnt.model.data.lines
    keys = ["service", "vehicle_class", "make", "model"]
    assert len(table) == len(lines.drop_duplicates(keys))
    assert table["jobs"].sum() == len(lines)
    assert (table["enough"] == (table["jobs"] >= 5)).all()
    found = forecast_hours(learnt, table)
    assert table["hours_to_quote"].to_numpy() == pytest.approx(found.quantile(0.8))
    assert table["expected_hours"].to_numpy() == pytest.approx(found.expected())
    assert table["low_hours"].to_numpy() == pytest.approx(found.quantile(0.05))
    assert table["high_hours"].to_numpy() == pytest.approx(found.quantile(0.95))
    order = ["low_hours", "hours_to_quote", "high_hours"]
    assert (np.diff(table[order], axis=1) > 0).all()
    safer = next_quotes(learnt, 0.9, 5)
    assert (safer["hours_to_quote"] > table["hours_to_quote"]).all()


def test_a_forecast_is_in_the_units_of_the_list(learnt: HoursForecaster, tmp_path: Path) -> None:
    """A list that says half the hours changes the usual hours, and hardly the forecast."""
    rows = asked(learnt)[:3]
    half = learnt.usual.of(rows) / 2
    listed = pd.DataFrame(
        {
            "service": rows["service"],
            "vehicle_class": rows["vehicle_class"],
            "list_hours": half,
            "effective_from": pd.Timestamp("2026-01-01"),
        }
    ).drop_duplicates(["service", "vehicle_class"])
    again = learn_hours(learnt.model.data, listed, DAY)
    assert isinstance(again, HoursForecaster)
    found, before = forecast_hours(again, rows), forecast_hours(learnt, rows)
    assert found.usual == pytest.approx(half.to_numpy())
    # Well known cells: what was done counts, whatever it is measured against.
    assert found.quantile(0.5)[:2] == pytest.approx(before.quantile(0.5)[:2], rel=0.15)


# ---- usual hours ---------------------------------------------------------------------------------

DONE = pd.DataFrame(
    {
        "service": ["roof", "roof", "hood"],
        "vehicle_class": ["compact car", "minivan", "minivan"],
        "quoted_hours": [4.0, 9.0, 2.0],
    }
)


def listed(*rows: tuple[str, str | None, float | None, str]) -> pd.DataFrame:
    names = ["service", "vehicle_class", "list_hours", "effective_from"]
    frame = pd.DataFrame(rows, columns=names)
    return frame.assign(
        vehicle_class=frame["vehicle_class"].astype("str"),
        list_hours=frame["list_hours"].astype("float64"),
        effective_from=pd.to_datetime(frame["effective_from"]),
    )


def usual(price_list: pd.DataFrame, service: str, vehicle_class: str | None) -> float:
    rows = pd.DataFrame(
        {
            "service": [service],
            "vehicle_class": pd.Series([vehicle_class], dtype="str"),
        }
    )
    day = pd.Timestamp("2026-06-30")
    return float(usual_hours(DONE, price_list, day).of(rows).iloc[0])


def test_the_list_comes_first_and_its_own_class_before_all_classes() -> None:
    prices = listed(
        ("roof", None, 5.0, "2025-01-01"),
        ("roof", "minivan", 7.0, "2025-01-01"),
    )
    assert usual(prices, "roof", "minivan") == 7
    assert usual(prices, "roof", "compact car") == 5
    assert usual(prices, "roof", None) == 5
    assert usual(prices, "roof", "cargo van") == 5


def test_the_list_is_the_one_of_the_day() -> None:
    prices = listed(
        ("roof", "minivan", 8.0, "2026-06-30"),
        ("roof", "minivan", 6.0, "2025-01-01"),
        ("roof", "minivan", 99.0, "2026-07-01"),
    )
    assert usual(prices, "roof", "minivan") == 8
    later = listed(("roof", "minivan", 99.0, "2026-07-01"))
    assert usual(later, "roof", "minivan") == pytest.approx(usual(NO_LIST, "roof", "minivan"))


def test_without_a_list_quotes_are_drawn_towards_what_is_likely() -> None:
    """Roofs are quoted √(4 × 9) = 6 h; a class once done counts half, a cell once done half more.

    Compact: 6 ÷ 1.5^0.5 is likely, and 4 was quoted: the geometric mean of both, 6 ÷ 1.5^0.75.
    Minivans are 1.5 times as long on a roof, and like the hood's only class on a hood: 1.5^(1 ÷ 3).
    """
    assert usual(NO_LIST, "roof", "compact car") == pytest.approx(6 / 1.5**0.75)
    likely = 6 * 1.5 ** (1 / 3)
    assert usual(NO_LIST, "roof", "minivan") == pytest.approx(np.sqrt(likely * 9))
    # A class the service never came on: the service, and the size of the class.
    assert usual(NO_LIST, "hood", "compact car") == pytest.approx(2 / 1.5**0.5)
    assert usual(NO_LIST, "roof", "cargo van") == pytest.approx(6)
    assert usual(NO_LIST, "roof", None) == pytest.approx(6)
    assert np.isnan(usual(NO_LIST, "front", "minivan"))


def test_hours_that_the_list_lacks_are_those_quoted() -> None:
    prices = listed(("roof", "minivan", None, "2025-01-01"), ("hood", None, 0.0, "2025-01-01"))
    for service in ("roof", "hood"):
        assert usual(prices, service, "minivan") == pytest.approx(
            usual(NO_LIST, service, "minivan")
        )
