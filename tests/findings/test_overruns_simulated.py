"""Flags and intervals against the truth, over simulated shops.

A share of false flags is a mean over chance; each test says how far chance may carry it with this
many shops (`score` and `coverage` give standard errors over the shops).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest

from tests.findings.simulated import (
    ERROR_RATE,
    FEW_OVER,
    NONE_OVER,
    NORMAL,
    TOLERANCE,
    Runs,
    Scenario,
    coverage,
    run_shops,
    score,
    simulated_shop,
)

SCENARIOS = {"none over": NONE_OVER, "few over": FEW_OVER, "normal": NORMAL}
SEEDS = {
    "none over": range(1000, 1030),
    "few over": range(1000, 1075),
    "normal": range(1000, 1040),
}


@pytest.fixture(scope="module")
def runs() -> Mapping[str, Runs]:
    """All shops of a scenario, fitted once for all the tests of this file that ask for it."""
    return _Fitted()


class _Fitted(dict[str, Runs]):
    def __missing__(self, name: str) -> Runs:
        self[name] = run_shops(SCENARIOS[name], SEEDS[name])
        return self[name]


def test_without_an_overrun_few_shops_have_a_flag(runs: Mapping[str, Runs]) -> None:
    models = runs["none over"].models
    assert not models["is_over"].any()
    assert score(models, "pooled").shops_flagged <= ERROR_RATE
    assert score(models, "naive").shops_flagged > 0.9


@pytest.mark.parametrize("name", ["few over", "normal"])
def test_the_share_of_false_flags_is_within_the_rate(name: str, runs: Mapping[str, Runs]) -> None:
    """The mean over the shops of each one's false share: what the rate is defined for."""
    found = score(runs[name].models, "pooled")
    assert found.flags > 50
    assert found.mean_false_share <= ERROR_RATE


@pytest.mark.parametrize("name", ["few over", "normal"])
def test_the_flags_of_all_shops_together(name: str, runs: Mapping[str, Runs]) -> None:
    """False flags ÷ flags of all shops: within the rate and one standard error of so many shops.

    Shops with many flags weigh more in it than in the mean over the shops.
    """
    found = score(runs[name].models, "pooled")
    print(f"{name}: {found.false_share:.1%} of {found.flags} flags are false")
    assert found.false_share <= ERROR_RATE + found.false_share_error


@pytest.mark.parametrize("name", ["few over", "normal"])
def test_twice_as_many_finds_as_each_model_alone(name: str, runs: Mapping[str, Runs]) -> None:
    models = runs[name].models
    assert score(models, "each model alone").found > 0
    assert score(models, "pooled").found >= 2 * score(models, "each model alone").found


def test_flagging_by_the_mean_alone_is_mostly_wrong(runs: Mapping[str, Runs]) -> None:
    """So that the tests above mean something: chance alone carries many models over."""
    found = score(runs["few over"].models, "naive")
    print(f"naive rule: {found.false_share:.0%} of {found.flags} flags are false")
    assert found.false_share > 0.4
    assert found.mean_false_share > 0.4


GROUPS = ("models", "classes", "services")


@pytest.mark.parametrize("group", GROUPS)
@pytest.mark.parametrize("name", ["few over", "normal"])
def test_ninety_percent_intervals_cover_ninety_percent(
    name: str, group: str, runs: Mapping[str, Runs]
) -> None:
    """Of classes (eight a shop) and services (five), chance may carry the share 3 points off."""
    share, error = coverage(getattr(runs[name], group))
    assert error < 0.02
    assert 0.87 <= share <= 0.93


def test_nothing_over_is_covered_at_least_as_often(runs: Mapping[str, Runs]) -> None:
    """Models that do not differ: the prior on the spreads keeps the intervals wider than needed."""
    assert coverage(runs["none over"].models)[0] >= 0.90


@pytest.mark.parametrize("name", SCENARIOS)
def test_a_shop_is_what_its_scenario_says(name: str) -> None:
    scenario = SCENARIOS[name]
    data, truth = simulated_shop(scenario, 5000)
    again, _ = simulated_shop(scenario, 5000)
    assert data.lines.equals(again.lines)
    assert not data.lines.equals(simulated_shop(scenario, 5001)[0].lines)
    jobs = data.lines.groupby(["make", "model"]).size()
    assert 2 <= jobs.median() <= 4
    assert jobs.max() > 10
    assert np.asarray(data.crew.sum(axis=1)) == pytest.approx(np.ones(scenario.lines))
    assert truth.models.index.equals(jobs.index)


def test_the_truth_is_the_mean_of_many_lines() -> None:
    """The ratios of a very long log come to the truth of its models, classes and services."""
    long = Scenario(overrunning=0.1, lines=60_000, models=20)
    data, truth = simulated_shop(long, 5002)
    ratio = np.exp(data.lines["log_ratio"])
    of_models = ratio.groupby([data.lines["make"], data.lines["model"]]).mean() - 1
    size = data.lines.groupby(["make", "model"]).size()
    assert ((of_models - truth.models).abs() * np.sqrt(size) < 4 * 0.35).all()
    assert (truth.models > TOLERANCE).sum() >= 2
