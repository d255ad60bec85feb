"""Prices of film over time: simulated series whose truth is known, and the demo shop's."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.arrays import Array
from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.film_tables import FILM_PRICE_STEPS, FILM_PRICE_TRENDS
from analysis.findings.film_trends import film_price_steps, film_price_trends
from analysis.records.read import read_records

DEMO = Path(__file__).resolve().parents[2] / "data_demo"
START = pd.Timestamp("2024-01-01")
NO_CREDITS = pd.DataFrame({"line": pd.Series(dtype="int64"), "amount": pd.Series(dtype="float64")})


def bought(
    log_price: Array, days: Array, width: float | Array = 1.5, film: str = "F"
) -> pd.DataFrame:
    """Purchase lines of rolls of 20 m at given log prices an area."""
    area = np.broadcast_to(width, log_price.shape) * 20.0
    return pd.DataFrame(
        {
            "kind": "film",
            "item": film,
            "supplier": "S",
            "received_on": START + pd.to_timedelta(days, unit="D"),
            "roll_width_m": np.broadcast_to(width, log_price.shape),
            "area_m2": area,
            "landed": np.exp(log_price) * area,
        }
    )


def trend(lines: pd.DataFrame) -> Any:
    table = film_price_trends(lines, NO_CREDITS)
    assert isinstance(table, pd.DataFrame)
    assert list(table) == FILM_PRICE_TRENDS.inside_names
    (row,) = table.itertuples()
    return row


def steps_of(lines: pd.DataFrame) -> pd.DataFrame:
    table = film_price_steps(lines, NO_CREDITS)
    assert isinstance(table, pd.DataFrame)
    assert list(table) == FILM_PRICE_STEPS.inside_names
    return table


def random_days(rng: np.random.Generator, number: int) -> Array:
    return np.sort(rng.choice(1000, number, replace=False)).astype(np.float64)


@pytest.mark.parametrize("number", [5, 12, 40])
def test_no_steps_in_noise(number: int) -> None:
    """Level prices: at most one series in twenty steps, one in ten rises or falls."""
    rng = np.random.default_rng(number)
    found, held = [], 0
    for _ in range(120):
        days = random_days(rng, number)
        row = trend(bought(3 + rng.normal(0, 0.01, number), days))
        found.append(row.pattern)
        held += row.low_share <= 0 <= row.high_share
    counts = pd.Series(found).value_counts(normalize=True)
    assert counts.get("in steps", 0) <= 0.05
    assert counts["steady"] >= 0.80
    assert held >= 120 * 0.83


@pytest.mark.parametrize(("number", "noise"), [(12, 0.01), (60, 0.005)])
def test_a_drift_is_a_line(number: int, noise: float) -> None:
    """A rise of a tenth a year is never a staircase, and its interval holds it."""
    rng = np.random.default_rng(number)
    held = 0
    for _ in range(60):
        days = random_days(rng, number)
        y = 3 + np.log(1.1) * days / 365.25 + rng.normal(0, noise, number)
        row = trend(bought(y, days))
        assert (row.pattern, row.steps) == ("rising", 0)
        held += row.low_share <= 0.1 <= row.high_share
    assert held >= 60 * 0.8


def test_steps_are_given_back() -> None:
    """Two steps, three roll widths with levels of their own: dates, sizes and their intervals."""
    rng = np.random.default_rng(8)
    sizes, at = np.array([0.05, -0.04]), np.array([300, 700])
    right, held = 0, []
    for _ in range(50):
        days = random_days(rng, 40)
        width = rng.choice([1.5, 1.2, 0.6], 40, p=[0.5, 0.35, 0.15])
        level = np.select([width == 1.2, width == 0.6], [0.03, 0.12], 0.0)
        y = 3 + level + (days[:, None] >= at) @ sizes + rng.normal(0, 0.006, 40)
        lines = bought(y, days, width)
        row, table = trend(lines), steps_of(lines)
        assert row.pattern == "in steps"
        assert len(table) == row.steps + 1
        truth = [START + pd.Timedelta(days=float(days[days >= each].min())) for each in at]
        if table["from_on"].iloc[1:].tolist() == truth:
            right += 1
            true = np.expm1(sizes)
            held += list(table["low_share"].iloc[1:] <= true)
            held += list(table["high_share"].iloc[1:] >= true)
    assert right >= 45
    # Each end fails one time in twenty.
    assert np.mean(held) >= 0.91


def test_a_width_is_no_change_of_price() -> None:
    """The narrow roll is a tenth dearer an area; the price of either never moved."""
    days = np.arange(0.0, 800, 50)
    width = np.where(np.arange(16) < 8, 1.5, np.where(np.arange(16) % 2 == 0, 0.6, 1.5))
    lines = bought(np.where(width == 0.6, 3.1, 3.0), days, width)
    row = trend(lines)
    assert (row.pattern, row.steps) == ("steady", 0)
    assert row.rise_share == pytest.approx(0, abs=1e-9)
    assert row.newest_cost_per_m2 == pytest.approx(np.exp(3))
    assert steps_of(lines)["cost_per_m2"].tolist() == pytest.approx([np.exp(3)])


def test_figures_by_hand() -> None:
    """Two rolls of one day are one purchase; a step of 10 % between the third and the fourth."""
    days = np.array([0, 0, 100, 200, 300, 400, 500])
    price = np.array([10, 10.2, 10, 10, 11, 11, 11])
    lines = bought(np.log(price), days)
    row = trend(lines)
    assert (row.purchases, row.steps, row.pattern) == (6, 1, "in steps")
    assert row.first_cost_per_m2 == pytest.approx(10.1)
    assert (row.first_on, row.newest_on) == (START, START + pd.Timedelta(days=500))
    table = steps_of(lines)
    assert table["purchases"].tolist() == [3, 3]
    assert table["from_on"].tolist() == [START, START + pd.Timedelta(days=300)]
    assert table["to_on"].iloc[0] == START + pd.Timedelta(days=200)
    assert table["cost_per_m2"].tolist() == pytest.approx([10.05, 11])
    assert np.isnan(table["step_share"].iloc[0])
    log_mean = np.log([10.1, 10, 10]).mean()
    assert table["step_share"].iloc[1] == pytest.approx(11 / np.exp(log_mean) - 1)


def test_credits_and_film_sent_back() -> None:
    lines = bought(np.log(np.full(5, 10.0)), np.arange(0, 500, 100))
    back = lines.iloc[[4]].assign(area_m2=-30.0, landed=-300.0)
    lines = pd.concat([lines, back], ignore_index=True)
    credits = pd.DataFrame({"line": [0], "amount": [30.0]})
    table = film_price_trends(lines, credits)
    assert isinstance(table, pd.DataFrame)
    assert table["first_cost_per_m2"].tolist() == pytest.approx([9.0])
    assert table["purchases"].tolist() == [5]


@pytest.mark.parametrize("at", [0, 7, 19])
def test_one_slip_of_the_pen_moves_little(at: int) -> None:
    """A price ten times too high is no step, and the rise stays what it was."""
    rng = np.random.default_rng(1)
    days = np.arange(0.0, 1000, 50)
    y = 3 + 0.05 * days / 365.25 + rng.normal(0, 0.005, 20)
    y[at] += np.log(10)
    row = trend(bought(y, days))
    assert (row.pattern, row.purchases) == ("rising", 20)
    assert row.rise_share == pytest.approx(np.expm1(0.05), abs=0.006)


@pytest.mark.parametrize(("days", "count"), [([0.0], 1), ([0, 200, 400], 3), ([0, 9, 18, 27], 4)])
def test_too_few_purchases(days: list[float], count: int) -> None:
    lines = bought(np.linspace(3, 3.2, count), np.array(days))
    row = trend(lines)
    assert (row.pattern, row.steps, row.purchases) == ("too few purchases", 0, count)
    assert np.isnan([row.rise_share, row.low_share, row.high_share]).all()
    assert len(steps_of(lines)) == 1


def test_prices_that_never_move() -> None:
    row = trend(bought(np.full(8, 3.0), np.arange(0.0, 800, 100)))
    assert row.pattern == "steady"
    assert row.rise_share == pytest.approx(0, abs=1e-9)


def test_every_width_bought_once() -> None:
    """More widths than the days can tell apart: no trend, no error."""
    row = trend(bought(np.full(5, 3.0), np.arange(0.0, 500, 100), np.arange(1.0, 6)))
    assert row.pattern == "too few purchases"


def test_nothing_bought() -> None:
    none = bought(np.zeros(0), np.zeros(0))
    for table in (film_price_trends(none, NO_CREDITS), film_price_steps(none, NO_CREDITS)):
        assert isinstance(table, Unavailable)
        assert table.missing == ("purchases",)
    free = bought(np.array([3.0]), np.zeros(1)).assign(landed=0.0)
    assert isinstance(film_price_trends(free, NO_CREDITS), Unavailable)


@pytest.fixture(scope="module")
def makers() -> Iterator[tuple[ModuleType, ModuleType]]:
    """The generator of the demo shop and its scenario."""
    sys.path.insert(0, str(DEMO))
    before = set(sys.modules)
    yield importlib.import_module("make_demo"), importlib.import_module("scenario")
    sys.path.remove(str(DEMO))
    for name in set(sys.modules) - before:
        if str(DEMO) in str(getattr(sys.modules[name], "__file__", None)):
            del sys.modules[name]


@pytest.mark.parametrize("seed", [None, 1, 2])
def test_the_creeping_film_of_the_demo_shop(
    seed: int | None, makers: tuple[ModuleType, ModuleType], tmp_path: Path
) -> None:
    """Every film's interval, but for one of twelve, holds the rise of its landed price.

    Freight does not rise with the price: the planted rise × the price's share of landed cost.
    """
    generator, scenario = makers
    folder = DEMO
    if seed is not None:
        folder = tmp_path
        generator.build(folder, seed=seed)
    costing = cost_records(read_records(folder), pd.Timestamp("2026-09-30"))
    lines = costing.purchase_lines
    table = film_price_trends(lines, costing.credits)
    assert isinstance(table, pd.DataFrame)
    film = lines[lines["kind"] == "film"]
    sums = film.groupby(["item", "supplier"])[["value", "landed"]].sum()
    of_price = (sums["value"] / sums["landed"]).to_numpy()
    truth = np.array([scenario.FILM[each].yearly_rise for each in table["film"]]) * of_price
    held = (table["low_share"] <= truth) & (table["high_share"] >= truth)
    creeping = table["film"] == scenario.CREEPING_FILM
    assert held[creeping].all()
    assert held.sum() >= len(held) - 1
    assert table.loc[creeping, ["pattern", "steps"]].to_numpy().tolist() == [["rising", 0]]
    assert table["rise_share"].idxmax() == creeping.idxmax()
