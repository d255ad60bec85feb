"""The pinball loss by which quotes are compared, against published scores of forecasts."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from analysis.findings.backtest import pinball_loss
from tests.reference.published import Figures, published
from tests.reference.sources import GNEITING, SCIKIT_LEARN, SCORING


@published(SCIKIT_LEARN, "mean_pinball_loss, examples")
def test_mean_pinball_loss(figures: Figures) -> None:
    """Printed as 0.03... and 0.3...; exact values recomputed."""
    actual = np.array([1.0, 2.0, 3.0])
    for quoted, share, theirs in (
        ([0, 2, 3], 0.1, 1 / 30),
        ([1, 2, 4], 0.1, 0.3),
        ([0, 2, 3], 0.9, 0.3),
        ([1, 2, 4], 0.9, 1 / 30),
    ):
        loss = pinball_loss(actual, np.array(quoted, dtype=float), share).mean()
        what = f"Pinball loss at {share:g} of 1, 2, 3 quoted as {', '.join(map(str, quoted))}"
        figures.add(what, loss, theirs)


@published(SCORING, "quantile_score, example")
def test_quantile_score(figures: Figures) -> None:
    (loss,) = pinball_loss(np.array([0.3]), np.array([0.5]), 0.2)
    figures.add("Pinball loss at 0.2 of 0.3 quoted as 0.5", loss, "0.16")


def interval_score(actual: float, low: float, high: float, alpha: float) -> float:
    """(2 ÷ alpha) × the pinball losses of both ends: the identity that the source gives."""
    y = np.array([actual])
    low_loss = pinball_loss(y, np.array([low]), alpha / 2)
    high_loss = pinball_loss(y, np.array([high]), 1 - alpha / 2)
    return float(2 / alpha * (low_loss + high_loss)[0])


@published(SCORING, "interval_score, examples")
def test_interval_score_from_the_losses_of_both_ends(figures: Figures) -> None:
    """The manual prints 0.4 for the third; the interval is 0.3 wide and holds the value."""
    for case, theirs, seen in (
        ((0.1, 0.0, 0.4, 0.5), "0.4", "text"),
        ((0.2, 0.1, 0.3, 0.5), "0.2", "text"),
        ((0.3, 0.2, 0.5, 0.5), "0.3", "recomputed"),
        ((0.1, 0.2, 0.4, 0.1), "2.2", "recomputed"),
        ((12.0, 4.0, 10.0, 0.2), "26", "recomputed"),
    ):
        actual, low, high, alpha = case
        what = f"Interval score of {actual:g} in {low:g} to {high:g}, alpha {alpha:g}"
        figures.add(what, interval_score(*case), theirs, seen=seen)


@published(GNEITING, "continuous ranked probability score of a normal forecast")
def test_losses_at_all_levels_are_the_ranked_probability_score(figures: Figures) -> None:
    """The score is twice the pinball loss, averaged over all levels."""
    levels = (np.arange(200_000) + 0.5) / 200_000
    for actual, mean, sd, theirs, seen in (
        (0.0, 0.1, 0.4, "0.10339992515976162", "text"),
        (0.0, 0.0, 1.0, "0.23369497726", "recomputed"),
        (1.3, 0.5, 2.0, "0.59337618069", "recomputed"),
    ):
        quoted = norm.ppf(levels, mean, sd)
        score = 2 * pinball_loss(np.full(len(levels), actual), quoted, levels).mean()
        what = f"Ranked probability score of {actual:g}, normal({mean:g}, {sd:g})"
        figures.add(what, score, theirs, 1e-6, seen=seen)
