"""Rules that keep false finds to a share: the one for comparison, and that of the package."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t as student

from analysis.findings.flagging import flags
from tests.findings.simulated import alone_p_values, benjamini_hochberg
from tests.reference.published import Figures, published
from tests.reference.sources import BENJAMINI, STUDENT

# Fifteen comparisons of two treatments of a heart attack.
# fmt: off
HEART = [
    0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240,
    0.4262, 0.5719, 0.6528, 0.7590, 1.0000,
]
# The same p-values adjusted (recomputed): each the least rate at which it is rejected.
ADJUSTED = [
    0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.0638571429, 0.0638571429, 0.0645, 0.0765, 0.486,
    0.5811818182, 0.714875, 0.7532307692, 0.8132142857, 1.0,
]
# fmt: on


@published(BENJAMINI, "section 4, fifteen p-values")
def test_benjamini_and_hochberg_reject_the_four_smallest(figures: Figures) -> None:
    """The rule that the package's flags are compared with in simulations."""
    mixed = pd.Series(HEART).sample(frac=1, random_state=1)
    rejected = benjamini_hochberg(mixed, 0.05)
    figures.add("Rejected at 0.05, by the rule for comparison", rejected.sum(), 4)
    assert sorted(mixed[rejected]) == HEART[:4]


@pytest.mark.parametrize("at", range(14))
def test_each_is_rejected_from_its_adjusted_value_on(at: int) -> None:
    p = pd.Series(HEART)
    assert not benjamini_hochberg(p, ADJUSTED[at] - 1e-7)[at]
    assert benjamini_hochberg(p, ADJUSTED[at] + 1e-7)[at]


def test_a_model_with_one_line_is_no_comparison() -> None:
    p = pd.Series([np.nan, 0.04, np.nan, 0.9])
    assert list(benjamini_hochberg(p, 0.1)) == [False, True, False, False]


@published(STUDENT, "section 9, extra sleep of ten patients", "from memory")
def test_the_test_of_a_model_alone_is_that_of_students_paper(figures: Figures) -> None:
    """Extra sleep by the drug. [h] Data and t = 4.06 to two digits."""
    extra = [1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4]
    lines = pd.DataFrame({"make": "M", "model": "m", "log_ratio": extra})
    p = alone_p_values(lines, 0.0)[("M", "m")]
    # t = 1.58 ÷ (1.2300 ÷ √10) = 4.0621 with 9 degrees of freedom
    figures.add("One-sided p of the t test for comparison", p, "0.001416", 2e-6, seen="recomputed")
    figures.add("Student's t of that p", student(9).isf(p), "4.06", 0.005)
    moved = lines.assign(log_ratio=lines["log_ratio"] + np.log1p(0.1))
    assert alone_p_values(moved, 0.1)[("M", "m")] == pytest.approx(p)


def test_flags_by_hand() -> None:
    """1 - p in order: 0.02, 0.05, 0.11, 0.30; means 0.02, 0.035, 0.06, 0.12."""
    probability = pd.Series({"a": 0.70, "b": 0.98, "c": 0.89, "d": 0.95, "e": np.nan})
    assert list(flags(probability, 0.10)) == [False, True, True, True, False]
    assert list(flags(probability, 0.05)) == [False, True, False, True, False]
    assert list(flags(probability, 0.01)) == [False] * 5
    assert flags(probability, 0.13)[:4].all()


def test_no_model_and_no_probability_are_no_flag() -> None:
    assert flags(pd.Series(dtype="float64"), 0.1).empty
    assert not flags(pd.Series([np.nan, np.nan]), 0.1).any()


@pytest.mark.parametrize("seed", range(40))
def test_flags_are_as_many_as_the_rate_allows(seed: int) -> None:
    """The mean of 1 - p over the flagged is within the rate; with the next one it would not be."""
    rng = np.random.default_rng(seed)
    rate = float(rng.choice([0.05, 0.1, 0.2]))
    names = [f"m{at}" for at in rng.permutation(30)]
    probability = pd.Series(rng.beta(0.5, 0.5, 30), index=names)
    probability = probability.mask(rng.random(30) < 0.1)
    flagged = flags(probability, rate)
    assert flagged.index.equals(probability.index)
    doubt = (1 - probability).dropna()
    chosen, rest = doubt[flagged[doubt.index]], doubt[~flagged[doubt.index]]
    if len(chosen):
        assert chosen.mean() <= rate
        assert chosen.max() <= rest.min()
    if len(rest):
        assert (chosen.sum() + rest.min()) / (len(chosen) + 1) > rate
