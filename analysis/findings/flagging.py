"""Which models to quote longer: a probability for each, and flags that are seldom false.

The pooled estimates take models to differ like draws from one normal distribution. In a shop where
most models run as quoted and a few far over, that belief is too wide for the many and too narrow
for the few, and flags made from it are false too often. So the probabilities rest on a mixture of
normal distributions around the class, narrow to wide, whose shares are learnt from the models.
Source: Stephens (2017), Biostatistics 18:275-294 (adaptive shrinkage, mixture of normals).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from analysis.arrays import Array
from analysis.findings.hours_model import CLASS, MODEL, PRIOR_SD, HoursModel
from analysis.findings.mixed import Sums, fit_reml
from analysis.findings.mixed_effects import Combinations, posterior
from analysis.findings.pooling import group_targets, spread_of
from analysis.findings.variance_nodes import spread_nodes

# Standard deviations of the mixture, in logs: 1 % to 50 %.
WIDTHS: Final = np.array([0.01, 0.03, 0.06, 0.12, 0.25, 0.5])
# What counts as seen of each width before any model is: most of it of the narrowest; so that a
# handful of models cannot make the mixture sure of itself (a Dirichlet prior).
BEFORE: Final = np.array([5.0, 1.0, 1.0, 1.0, 1.0, 0.5])
# The widths' shares, and how wide each model is taken to spread, are learnt from the jobs that the
# probabilities then judge. Held against simulated shops they are too sure by this factor (of the
# normal quantile): of models at 0.8 to 0.9 some seven in ten ran over; with it, eight.
TOO_SURE: Final = 1.2
_ROUNDS: Final = 300
_LEAST: Final = 1e-9


@dataclass(frozen=True, eq=False)
class _Seen:
    """What the data alone say of each model's own effect, everything else allowed for. [log]

    `effect`, `variance` : the likelihood of the effect; `mean` : of the whole overrun, given the
    belief used; `slope` : how it moves with the effect; `left` : its variance with the effect
    known; `own_mean` : mean of the effect; `noise` : noise variance.
    """

    effect: Array
    variance: Array
    mean: Array
    left: Array
    slope: Array
    own_mean: Array
    noise: float


def overrun_probability(model: HoursModel, tolerance: float) -> pd.Series:
    """Probability that each model's expected overrun exceeds the tolerance, on make and model.

    Where the models are not a factor of the fit (too few lines) it is that of the pooled estimate.
    Raises `ValueError` for a fit with a finer factor than the models.
    """
    index, whole = group_targets(model, ["make", "model"], (MODEL, CLASS))
    limit = float(np.log1p(tolerance))
    if MODEL in model.nested[1:]:
        raise ValueError("the models must be the finest nested factor")
    if MODEL not in model.nested:
        return pd.Series(1 - spread_of(model, whole).shifted().below(limit), index=index)
    whole = whole.plain()
    own = _main_level(whole)
    relative = np.maximum(model.nodes.weight @ model.nodes.relative, 0.05)
    sums, shares = model.sums, np.ones(len(WIDTHS)) / len(WIDTHS)
    seen = _seen(sums, relative, own, whole)
    belonging, shares = _learn(seen, shares)
    # The other factors are judged anew, each model spreading as wide as it seems to: a model far
    # over must not pull its class along.
    level = np.asarray(own.nested[0]).argmax(axis=1)
    stretch = np.sqrt(np.full(sums.nested[0], WIDTHS**2 @ shares))
    stretch[level] = np.sqrt(belonging @ WIDTHS**2)
    sums = replace(sums, stretch=stretch / np.sqrt(seen.noise))
    relative[0] = 1.0
    others = np.arange(sums.factors) > 0
    fit = fit_reml(sums, relative, others, polish=False)
    nodes = spread_nodes(sums, fit, [PRIOR_SD[each] for each in model.factors], free=others)
    _, shares = _learn(_seen(sums, fit.relative, own, whole), shares)
    over = np.zeros(len(index))
    for at, weight in zip(nodes.relative, nodes.weight, strict=True):
        over += weight * _over(_seen(sums, at, own, whole), shares, limit)
    return _drawn_in(over, index)


def _drawn_in(probability: Array, index: pd.Index) -> pd.Series:
    """Probabilities drawn towards one half by `TOO_SURE`; 0 and 1 stay what they are."""
    with np.errstate(divide="ignore"):
        return pd.Series(ndtr(ndtri(np.clip(probability, 0.0, 1.0)) / TOO_SURE), index=index)


def _main_level(whole: Combinations) -> Combinations:
    """The effect of each model's own level; of the more frequent class where it has had two."""
    weights = np.asarray(whole.nested[0])
    ones = np.zeros_like(weights)
    ones[np.arange(len(weights)), weights.argmax(axis=1)] = 1.0
    others = tuple(np.zeros_like(each) for each in whole.nested[1:])
    return Combinations((ones, *others), np.zeros_like(whole.rest), np.zeros_like(whole.fresh))


def _seen(sums: Sums, relative: Array, own: Combinations, whole: Combinations) -> _Seen:
    both = Combinations(
        tuple(a + b for a, b in zip(own.nested, whole.nested, strict=True)),
        own.rest + whole.rest,
        whole.fresh,
    )
    effect, total, sum_of = (posterior(sums, relative, each) for each in (own, whole, both))
    level = np.asarray(own.nested[0]).argmax(axis=1)
    believed = (relative[0] * sums.stretch[level]) ** 2 * effect.noise_variance
    precision = np.maximum(1 / effect.variance - 1 / believed, _LEAST)
    shared = (sum_of.variance - effect.variance - total.variance) / 2
    slope = shared / effect.variance
    return _Seen(
        effect.mean / effect.variance / precision,
        1 / precision,
        total.mean + effect.noise_variance / 2,
        np.maximum(total.variance - slope * shared, 0.0),
        slope,
        effect.mean,
        float(effect.noise_variance),
    )


def _belonging(seen: _Seen, shares: Array) -> Array:
    """Probability that each model belongs to each width. (models × widths)"""
    variance = seen.variance[:, None] + WIDTHS**2
    log = np.log(shares + 1e-300) - (np.log(variance) + seen.effect[:, None] ** 2 / variance) / 2
    weight = np.exp(log - log.max(axis=1, keepdims=True))
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _learn(seen: _Seen, shares: Array) -> tuple[Array, Array]:
    """Shares of the widths, by expectation maximisation, and each model's belonging to them."""
    for _ in range(_ROUNDS):
        belonging = _belonging(seen, shares)
        counted = belonging.sum(axis=0) + BEFORE
        before, shares = shares, counted / counted.sum()
        if np.abs(shares - before).max() < 1e-6:
            break
    return _belonging(seen, shares), shares


def _over(seen: _Seen, shares: Array, limit: float) -> Array:
    """Probability that each model's expected log ratio exceeds the limit, the variances given."""
    belonging = _belonging(seen, shares)
    variance = 1 / (1 / seen.variance[:, None] + 1 / WIDTHS**2)
    effect = variance * (seen.effect / seen.variance)[:, None]
    mean = seen.mean[:, None] + seen.slope[:, None] * (effect - seen.own_mean[:, None])
    spread = np.sqrt(seen.left[:, None] + seen.slope[:, None] ** 2 * variance)
    return np.asarray((belonging * ndtr((mean - limit) / spread)).sum(axis=1))


def flags(probability: pd.Series, error_rate: float) -> pd.Series:
    """Which models to flag, so that the expected share of false flags is ≤ `error_rate`.

    In order of probability, while the mean of (1 − probability) over those flagged stays within
    it: the Bayesian false discovery rate (Newton, Noueiry, Sarkar and Ahlquist 2004, Biostatistics
    5:155-176). A missing probability is no flag.
    """
    order = (1 - probability).sort_values(kind="stable", na_position="last")
    mean = order.cumsum() / np.arange(1, len(order) + 1)
    flagged = (mean <= error_rate) & order.notna()
    return flagged.reindex(probability.index).astype("boolean")
