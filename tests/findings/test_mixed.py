"""The mixed model against a second implementation by brute force; the hours' model at its edges.

Random small designs: chains of one to three nested factors, none to two crossed ones as codes or
as fractional weights, variances of nothing among them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from numpy.random import Generator
from scipy.optimize import minimize
from scipy.sparse import csr_array

from analysis.arrays import Array, Codes
from analysis.errors import Unavailable
from analysis.findings.flagging import overrun_probability
from analysis.findings.hours_model import (
    CELL,
    CLASS,
    CREW,
    HELD_AT,
    MODEL,
    HoursData,
    HoursModel,
    fit_hours,
)
from analysis.findings.mixed import Fit, Sums, fit_reml, reml_criterion, take_sums
from analysis.findings.mixed_effects import Combinations, effects, posterior
from analysis.findings.pooling import group_targets, pooled_overruns
from analysis.findings.variance_nodes import spread_nodes
from tests.findings.dense import Dense
from tests.findings.simulated import FEW_OVER, NORMAL, fitted, simulated_shop

DESIGNS = range(24)


class Design:
    """A random small data set: for the package, and for the second implementation."""

    def __init__(self, seed: int) -> None:
        rng = np.random.default_rng([seed, 77])
        rows = int(rng.integers(24, 45))
        chain = seed % 4  # none to three nested factors
        crossed = int(rng.integers(0 if chain else 1, 3))
        self.nested = nested_chain(rng, rows, chain)
        self.crossed = [crossed_factor(rng, rows) for _ in range(crossed)]
        columns = int(rng.integers(1, 4))
        self.fixed = np.column_stack([np.ones(rows), rng.normal(size=(rows, columns - 1))])
        plain = [indicator(each) for each in (*self.nested, *self.crossed)]
        y = self.fixed @ rng.normal(size=columns) + rng.normal(size=rows)
        for each in plain:
            y = y + each @ rng.normal(0, rng.choice([0.0, 0.5, 2.0]), each.shape[1])
        self.dense = Dense(y, self.fixed, tuple(plain))
        given = [csr_array(each) if seed % 2 and each.ndim == 2 else each for each in self.crossed]
        self.sums = take_sums(y, self.fixed, self.nested, given)
        self.rng = rng

    def relative(self) -> Array:
        """Relative standard deviations, some of them nothing."""
        number = len(self.dense.factors)
        size = self.rng.choice([0.0, 0.2, 1.0, 3.0], number)
        return np.asarray(size * self.rng.uniform(0.5, 1, number))


def nested_chain(rng: Generator, rows: int, factors: int) -> list[Codes]:
    """Codes of nested factors, finest first, with levels of one row among them, none of one level.

    A factor of one level cannot be told from the mean; the hours' model leaves it out.
    """
    chain: list[Codes] = []
    code, levels = np.arange(rows), rows
    for _ in range(factors):
        fewer = max(levels // 2, 2)
        above = np.append(np.arange(2), rng.integers(0, fewer, levels - 2))
        above = np.unique(above, return_inverse=True)[1]
        code, levels = above[code].astype(np.int64), int(above.max()) + 1
        chain.append(code)
    return chain


def crossed_factor(rng: Generator, rows: int) -> Codes | Array:
    """Codes, or shares of several levels that add to 1."""
    levels = int(rng.integers(2, 5))
    if rng.random() < 0.5:
        code = np.append(np.arange(levels), rng.integers(0, levels, rows - levels))
        return code.astype(np.int64)
    return rng.dirichlet(np.full(levels, 0.5), rows)


def indicator(factor: Codes | Array) -> Array:
    """The weights of a factor, which codes stand for."""
    if factor.ndim == 2:
        return factor.astype(np.float64)
    return np.asarray(factor[:, None] == np.arange(int(factor.max()) + 1), dtype=np.float64)


@pytest.mark.parametrize("seed", DESIGNS)
def test_the_criterion_and_the_effects(seed: int) -> None:
    design = Design(seed)
    for _ in range(3):
        relative = design.relative()
        dense = design.dense
        assert reml_criterion(design.sums, relative) == pytest.approx(dense.criterion(relative))
        nested, rest = effects(design.sums, relative)
        columns = dense.fixed.shape[1]
        crossed = np.split(rest[:-columns], np.cumsum(design.sums.crossed)[:-1])
        found = [*nested, *crossed] if design.sums.crossed else list(nested)
        for ours, theirs in zip(found, dense.effects(relative), strict=True):
            assert ours == pytest.approx(theirs, abs=1e-8)
        assert rest[-columns:] == pytest.approx(dense.beta(relative)[0])


@pytest.mark.parametrize("seed", DESIGNS)
def test_means_and_variances_of_any_combination(seed: int) -> None:
    design = Design(seed)
    relative = design.relative()
    number = 5
    rng, dense, sums = design.rng, design.dense, design.sums
    on = [rng.normal(size=(number, each.shape[1])) for each in dense.factors]
    for each in on:
        each[rng.random(each.shape) < 0.5] = 0
    on_fixed = rng.normal(size=(number, sums.fixed))
    unseen = rng.normal(size=(number, sums.factors, 2)) * (rng.random((number, 1, 1)) < 0.5)
    chain = len(sums.nested)
    weights = [csr_array(each) if seed % 2 else each for each in on[:chain]]
    targets = Combinations(
        tuple(weights), np.hstack([*on[chain:], on_fixed]), (unseen**2).sum(axis=2)
    )
    found = posterior(sums, relative, targets)
    assert found.noise_variance == pytest.approx(dense.noise_variance(relative))
    for at in range(number):
        levels = [each[at] for each in on]
        mean, variance = dense.combination(relative, levels, on_fixed[at], unseen[at])
        assert found.mean[at] == pytest.approx(mean, abs=1e-8)
        assert found.variance[at] == pytest.approx(variance, abs=1e-8)


@pytest.mark.parametrize("seed", DESIGNS)
def test_the_fit_is_the_least_criterion(seed: int) -> None:
    design = Design(seed)
    fit = fit_reml(design.sums)
    dense = design.dense
    assert fit.criterion == pytest.approx(dense.criterion(fit.relative))
    assert fit.noise_sd**2 == pytest.approx(dense.noise_variance(fit.relative))
    assert fit.sds == pytest.approx(fit.relative * fit.noise_sd)
    beta, spread = dense.beta(fit.relative)
    assert fit.fixed == pytest.approx(beta)
    assert fit.fixed_covariance == pytest.approx(spread * fit.noise_sd**2)
    crossed = dense.effects(fit.relative)[len(design.nested) :]
    assert len(fit.crossed_effects) == len(crossed)
    for ours, theirs in zip(fit.crossed_effects, crossed, strict=True):
        assert ours == pytest.approx(theirs, abs=1e-8)
    for start in (0.1, 1.0):
        lowest = minimize(
            lambda at: dense.criterion(np.abs(at)),
            np.full(len(fit.relative), start),
            method="Nelder-Mead",
            options={"maxfev": 150},
        )
        assert fit.criterion <= lowest.fun + 1e-6
    for at, value in enumerate(fit.relative):
        nearby = fit.relative.copy()
        nearby[at] = value + 0.01
        assert fit.criterion <= dense.criterion(nearby)


@pytest.mark.parametrize("seed", [each for each in DESIGNS if each % 4])
def test_levels_that_spread_wider_than_others(seed: int) -> None:
    """A stretched level is a level whose weights are stretched, and whose effect is given back."""
    design = Design(seed)
    stretch = design.rng.uniform(0.2, 3, design.sums.nested[0])
    sums = replace(design.sums, stretch=stretch)
    first, *others = design.dense.factors
    dense = replace(design.dense, factors=(first * stretch, *others))
    relative = design.relative()
    assert reml_criterion(sums, relative) == pytest.approx(dense.criterion(relative))
    ours = effects(sums, relative)[0][0]
    assert ours == pytest.approx(dense.effects(relative)[0] * stretch, abs=1e-8)
    eye = np.eye(len(stretch))
    none = [np.zeros((len(stretch), each.shape[1])) for each in others]
    chain = len(sums.nested)
    columns = sum(sums.crossed) + sums.fixed
    found = posterior(
        sums,
        relative,
        Combinations(
            (eye, *none[: chain - 1]),
            np.zeros((len(stretch), columns)),
            np.zeros((len(stretch), sums.factors)),
        ),
    )
    for at in range(len(stretch)):
        levels = [eye[at] * stretch, *(each[at] for each in none)]
        fresh = np.zeros((sums.factors, 1))
        mean, variance = dense.combination(relative, levels, np.zeros(sums.fixed), fresh)
        assert found.mean[at] == pytest.approx(mean, abs=1e-8)
        assert found.variance[at] == pytest.approx(variance, abs=1e-8)


def test_only_the_free_ones_are_sought() -> None:
    design = Design(7)
    start = np.full(design.sums.factors, 0.7)
    free = np.arange(design.sums.factors) == 1
    fit = fit_reml(design.sums, start, free)
    assert list(fit.relative[~free]) == list(start[~free])
    grid = [np.where(free, value, start) for value in np.linspace(0, 3, 61)]
    assert fit.criterion <= min(design.dense.criterion(each) for each in grid)


def test_a_factor_that_is_not_within_the_next() -> None:
    fine, coarse = np.array([0, 0, 1, 1, 2]), np.array([0, 1, 0, 0, 1])
    with pytest.raises(ValueError, match="within two levels"):
        take_sums(np.arange(5.0), np.ones((5, 1)), [fine, coarse])


def test_no_more_rows_than_fixed_effects() -> None:
    sums = take_sums(np.arange(3.0), np.eye(3), [np.array([0, 0, 1])])
    with pytest.raises(ValueError, match="rows"):
        fit_reml(sums)


def nodes_mean(sums: Sums, fit: Fit, prior: float, number: int) -> Array:
    nodes = spread_nodes(sums, fit, [prior] * sums.factors, number)
    assert nodes.weight.sum() == pytest.approx(1)
    assert np.isfinite(nodes.relative).all()
    assert (nodes.relative >= 0).all()
    assert (nodes.weight > 0).all()
    return np.asarray(nodes.weight @ nodes.relative)


@pytest.mark.parametrize("seed", range(4))
def test_few_nodes_stand_for_many(seed: int) -> None:
    """The mean relative sds by 64 points and by 1024, of a shop's hours: within a twentieth."""
    model = fitted(simulated_shop(NORMAL, seed + 500)[0])
    few, many = (nodes_mean(model.sums, model.fit, 0.3, number) for number in (64, 1024))
    assert few == pytest.approx(many, rel=0.05, abs=0.01)


def test_the_nodes_of_one_factor_are_its_posterior() -> None:
    """One factor: the mean by the points is that by the trapezium rule over the density."""
    rng = np.random.default_rng(11)
    code = np.repeat(np.arange(8), 5)
    y = rng.normal(0, 0.4, 8)[code] + rng.normal(0, 1, 40)
    sums = take_sums(y, np.ones((40, 1)), [code])
    fit = fit_reml(sums)
    grid = np.linspace(0, 4, 2001)
    log = np.array([-reml_criterion(sums, np.array([each])) / 2 for each in grid])
    log -= (grid * fit.noise_sd / 0.5) ** 2 / 2
    density = np.exp(log - log.max())
    expected = np.trapezoid(grid * density, grid) / np.trapezoid(density, grid)
    assert nodes_mean(sums, fit, 0.5, 64) == pytest.approx([expected], rel=0.02)
    assert nodes_mean(sums, fit, 0.5, 1024) == pytest.approx([expected], rel=0.002)


def test_nodes_of_data_that_say_nothing() -> None:
    """A level a row: the criterion is flat, and the prior alone holds the spread."""
    rng = np.random.default_rng(3)
    sums = take_sums(rng.normal(size=9), np.ones((9, 1)), [np.arange(9)])
    assert reml_criterion(sums, np.array([0.0])) == pytest.approx(
        reml_criterion(sums, np.array([5.0]))
    )
    assert (nodes_mean(sums, fit_reml(sums), 0.3, 64) < 1).all()


def test_nodes_where_nothing_varies_are_the_fit() -> None:
    design = Design(2)
    fit = fit_reml(design.sums)
    none = np.zeros(design.sums.factors, dtype=bool)
    nodes = spread_nodes(design.sums, fit, [1.0] * design.sums.factors, free=none)
    assert nodes.relative == pytest.approx(fit.relative[None, :])
    assert list(nodes.weight) == [1]


def with_log_ratio(data: HoursData, at: int, value: float) -> HoursData:
    changed = data.lines["log_ratio"].to_numpy(copy=True)
    changed[at] = value
    return replace(data, lines=data.lines.assign(log_ratio=changed))


def by_model(model: HoursModel) -> pd.DataFrame:
    return pooled_overruns(model, *group_targets(model, ["make", "model"], (MODEL, CLASS)), 0.1)


def overruns(model: HoursModel) -> pd.Series:
    return by_model(model)["pooled_overrun_share"]


# How far one slip may move the overrun of its own model (with two jobs or three, most), and that of
# any other. Not held back, it moves the others by 0.10.
OWN_MOVED, OTHERS_MOVED = 0.25, 0.04


@pytest.mark.parametrize("at", [0, 17, 101, 200])
@pytest.mark.parametrize("times", [10.0, 0.1])
def test_one_slip_of_the_pen_is_held(at: int, times: float) -> None:
    """Hours written ten times too long or short: as if they stood `HELD_AT` sds off."""
    data, _ = simulated_shop(NORMAL, 777)
    before = fitted(data)
    slip = with_log_ratio(data, at, data.lines["log_ratio"][at] + np.log(times))
    after = fitted(slip)
    assert after.held[at]
    assert after.held.sum() <= before.held.sum() + 2
    moved = (overruns(after) - overruns(before)).abs()
    own = (data.lines["make"][at], data.lines["model"][at])
    assert moved[own] < OWN_MOVED
    assert moved.drop(own).max() < OTHERS_MOVED
    # Were it a thousand times too long, it would be held at the same place.
    worse = with_log_ratio(data, at, data.lines["log_ratio"][at] + 3 * np.log(times))
    assert overruns(fitted(worse)).to_numpy() == pytest.approx(overruns(after), abs=5e-3)


def test_a_far_off_line_stands_where_it_is_held() -> None:
    data, _ = simulated_shop(NORMAL, 778)
    model = fitted(with_log_ratio(data, 5, 3.0))
    assert model.residual[5] > HELD_AT * model.fit.noise_sd
    assert model.expected + model.residual == pytest.approx(
        model.data.lines["log_ratio"].where(model.data.lines.index != 5, 3.0)
    )


def subset(data: HoursData, chosen: np.ndarray) -> HoursData:
    """Some of the lines, by their numbers, in that order."""
    lines = data.lines.iloc[chosen].reset_index(drop=True)
    return replace(data, lines=lines, crew=csr_array(data.crew[chosen]))


def test_three_lines_are_too_few() -> None:
    data, _ = simulated_shop(NORMAL, 3)
    found = fit_hours(subset(data, np.arange(3)))
    assert isinstance(found, Unavailable)
    assert "Too few finished job lines" in found.line


def test_no_lines_are_too_few() -> None:
    data, _ = simulated_shop(NORMAL, 3)
    assert isinstance(fit_hours(subset(data, np.arange(0))), Unavailable)


def test_hardly_more_lines_than_services_have_one_mean() -> None:
    data, _ = simulated_shop(NORMAL, 4)
    few = subset(data, np.arange(12))
    few = replace(few, lines=few.lines.assign(service=[f"s{at % 10}" for at in range(12)]))
    model = fitted(few)
    assert model.services.empty
    assert any("one mean for all" in each for each in model.notes)
    assert len(model.fit.fixed) == 1
    assert np.isfinite(overruns(model)).all()


ONE_OF = {
    "vehicle model": ({"model": "only", "vehicle_class": "only"}, MODEL),
    "vehicle class": ({"vehicle_class": "only"}, CLASS),
}


@pytest.mark.parametrize("word", ONE_OF)
def test_a_factor_with_one_level_is_dropped_and_told(word: str) -> None:
    data, _ = simulated_shop(NORMAL, 5)
    columns, factor = ONE_OF[word]
    model = fitted(replace(data, lines=data.lines.assign(**columns)))
    assert factor not in model.factors
    assert any(each.startswith(f"One {word} only") for each in model.notes)
    probability = overrun_probability(model, 0.1)
    assert probability.between(0, 1).all()


def test_one_person_is_no_factor() -> None:
    data, _ = simulated_shop(NORMAL, 6)
    alone = replace(data, crew=csr_array(np.ones((240, 1))), people=pd.Index(["A"]))
    model = fitted(alone)
    assert CREW not in model.factors
    assert any("people are not told apart" in each for each in model.notes)
    assert np.isfinite(overruns(model)).all()


def test_every_model_once_is_all_chance() -> None:
    data, _ = simulated_shop(NORMAL, 7)
    once = data.lines.assign(model=[f"m{at}" for at in range(240)])
    model = fitted(replace(data, lines=once))
    assert MODEL not in model.factors
    assert CLASS in model.factors
    assert any("has two job lines" in each for each in model.notes)


def test_the_probability_where_models_are_no_factor_is_the_pooled_one() -> None:
    data, _ = simulated_shop(NORMAL, 8)
    once = data.lines.assign(model=[f"m{at}" for at in range(240)])
    model = fitted(replace(data, lines=once))
    pooled = by_model(model)
    found = overrun_probability(model, 0.1)
    assert found.index.equals(pooled.index)
    assert found.to_numpy() == pytest.approx(pooled["probability_over_tolerance"].to_numpy())


def test_services_on_a_model_as_a_factor_of_their_own() -> None:
    """With the cells in the fit the estimates are those without, where cells do not differ."""
    data, _ = simulated_shop(replace(FEW_OVER, lines=600), 9)
    cells = fit_hours(data, (CELL, MODEL, CLASS))
    assert isinstance(cells, HoursModel)
    assert cells.nested == (CELL, MODEL, CLASS)
    assert overruns(cells).to_numpy() == pytest.approx(overruns(fitted(data)).to_numpy(), abs=0.05)


def test_a_fit_does_not_depend_on_the_order_of_the_lines() -> None:
    data, _ = simulated_shop(NORMAL, 10)
    order = np.random.default_rng(1).permutation(240)
    assert overruns(fitted(subset(data, order))).to_numpy() == pytest.approx(
        overruns(fitted(data)).to_numpy(), abs=1e-4
    )
