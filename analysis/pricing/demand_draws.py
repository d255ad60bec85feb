"""Draws of what quotes won and lost leave open about demand, from the tables of `demand_model`.

A Gibbs sampler (Gelfand and Smith 1990, Journal of the American Statistical Association
85:398-409) draws each service's steepness, its mean and spread over services, and the common terms;
each draw is the end of a chain of its own. Once those are given, levels and offsets are normal
about their likeliest values.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.arrays import Array, Codes, one_thread
from analysis.pricing.demand_model import (
    AT_GROWTH,
    COMMON_MEAN,
    CONTRASTS,
    FINE,
    OFFSET_SD,
    OFFSETS,
    PAIRS,
    SEASON_SD,
    SEASONS,
    SPREAD_SD,
    STEEPNESS,
    STEEPNESS_SD,
    TERMS,
    Answers,
    LevelNodes,
    Tables,
    as_matrix,
    common_precision,
    fit_levels,
    likelihood_tables,
)

_MEANS: Final = np.linspace(STEEPNESS - 2.4 * STEEPNESS_SD, STEEPNESS + 2.4 * STEEPNESS_SD, 15)
_SPREADS: Final = (0.08, 0.2, 0.35, 0.55, 0.8, 1.2, 1.7)
_SWEEPS: Final = 6
# A block of (draws × quotes) larger than this is done in parts, to stay in little memory.
_BLOCK: Final = 1_000_000


@dataclass(frozen=True, eq=False)
class Draws:
    """Draws from what is left open: a row a draw.

    `level` : log-odds at today's list price and mean season, by cell; `slope` : change of the
    log-odds with log(price), below 0, by service; `season` : what a calendar quarter adds (4
    columns, sum 0); `growth` : what the town's prices rise a year, in logs.
    """

    level: Array
    slope: Array
    season: Array
    growth: Array


def draw_demand(answers: Answers, draws: int, seed: int) -> Draws:
    """Draws from the posterior; the same seed gives the same draws."""
    rng = np.random.default_rng(seed)
    with one_thread():
        tables = likelihood_tables(answers)
        steepness, common, offset_at = _sample(tables, answers.services, draws, rng)
        return _finish(answers, tables, steepness, common, offset_at, rng)


def _features(away: Array) -> Array:
    """1, the terms, and their products, so that a height is one product of matrices."""
    products = [away[:, a] * away[:, b] * (0.5 if a == b else 1.0) for a, b in PAIRS]
    return np.column_stack([np.ones(len(away)), away, *products])


@dataclass(frozen=True, eq=False)
class _Belief:
    """The prior of mean and spread of the steepness, on a grid.

    `curve` : prior of a steepness of the fine grid, by column a mean and spread; `log_weight` :
    of the column.
    """

    curve: Array
    log_weight: Array

    @classmethod
    def on_grid(cls) -> "_Belief":
        mean, spread = (each.ravel() for each in np.meshgrid(_MEANS, _SPREADS, indexing="ij"))
        curve = np.exp(-(((FINE[:, None] - mean) / spread) ** 2) / 2)
        log_mean = -(((mean - STEEPNESS) / STEEPNESS_SD) ** 2) / 2
        log_spread = np.tile(_grid_prior(_SPREADS, SPREAD_SD), len(_MEANS))
        return cls(curve / curve.sum(axis=0), log_mean + log_spread)


def _sample(
    tables: Tables, services: int, draws: int, rng: np.random.Generator
) -> tuple[Array, Array, Codes]:
    """Steepness (draws × services), common terms, and which spread of offsets, by Gibbs sampling.

    In turn, for each draw in a chain of its own: mean and spread of the steepness with every b
    integrated out, the b, the spread of offsets, the common terms, the spread of seasons.
    """
    table = np.concatenate([tables.height[..., None], tables.slope, tables.bend], axis=3)
    belief = _Belief.on_grid()
    offset_prior = _grid_prior(OFFSETS, OFFSET_SD)
    season_prior = _grid_prior(SEASONS, SEASON_SD)
    offset_at, season_at = (
        _pick(np.tile(np.exp(prior), (draws, 1)), rng) for prior in (offset_prior, season_prior)
    )
    away = np.zeros((draws, TERMS))
    for _ in range(_SWEEPS):
        features = _features(away)
        at_b = _draw_steepness(table, features, offset_at, belief, rng)
        seen = table[:, np.arange(services), at_b]
        offset_at = _pick_log(np.einsum("kdsf,df->dk", seen, features) + offset_prior, rng)
        sums = seen[offset_at, np.arange(draws)].sum(axis=1)
        away = _draw_common(sums, np.array(SEASONS)[season_at], tables.about, rng)
        season_at = _draw_season_sd(away + tables.about, season_prior, rng)
    jitter = (FINE[1] - FINE[0]) * (rng.random((draws, services)) - 0.5)
    return FINE[at_b] + jitter, away + tables.about, offset_at


def _draw_steepness(
    table: Array, features: Array, offset_at: Codes, belief: _Belief, rng: np.random.Generator
) -> Codes:
    """A steepness of the fine grid for every chain and service."""
    _, services, count, size = table.shape
    log_share = np.empty((len(features), services, count))
    for at in range(len(table)):
        mine = offset_at == at
        product = features[mine] @ table[at].reshape(-1, size).T
        log_share[mine] = product.reshape(-1, services, count)
    share = np.exp(log_share - log_share.max(axis=2, keepdims=True))
    by_belief = np.log(share @ belief.curve + 1e-300).sum(axis=1) + belief.log_weight
    chosen = _pick_log(by_belief, rng)
    return _pick(share * belief.curve.T[chosen][:, None, :], rng)


def _draw_common(sums: Array, season_sd: Array, about: Array, rng: np.random.Generator) -> Array:
    """The common terms of every chain, less `about`: normal, given all else."""
    hold = common_precision(season_sd)
    at = np.arange(TERMS)
    precision = -as_matrix(sums[:, 1 + TERMS :])
    precision[:, at, at] += hold
    pull = sums[:, 1 : 1 + TERMS] + hold * (COMMON_MEAN - about)
    middle = np.linalg.solve(precision, pull[:, :, None])
    root = np.linalg.cholesky(np.linalg.inv(precision))
    return np.asarray(middle + root @ rng.normal(size=middle.shape))[:, :, 0]


def _draw_season_sd(common: Array, prior: Array, rng: np.random.Generator) -> Codes:
    sd = np.array(SEASONS)
    size = (common[:, :3] ** 2).sum(axis=1)
    return _pick_log(prior - size[:, None] / sd**2 / 2 - 3 * np.log(sd), rng)


def _grid_prior(values: tuple[float, ...], spread: float) -> Array:
    """Log weights of a grid of standard deviations, believed half-normal."""
    grid = np.array(values)
    share = np.gradient(grid) * np.exp(-((grid / spread) ** 2) / 2)
    return np.asarray(np.log(share / share.sum()))


def _pick(weight: Array, rng: np.random.Generator) -> Codes:
    """One position along the last axis, by weight, for every other position."""
    total = np.cumsum(weight, axis=-1)
    level = rng.random(total.shape[:-1])[..., None] * total[..., -1:]
    return np.asarray(np.minimum((total < level).sum(axis=-1), weight.shape[-1] - 1))


def _pick_log(log_weight: Array, rng: np.random.Generator) -> Codes:
    return _pick(np.exp(log_weight - log_weight.max(axis=-1, keepdims=True)), rng)


def _finish(
    answers: Answers,
    tables: Tables,
    steepness: Array,
    common: Array,
    offset_at: Codes,
    rng: np.random.Generator,
) -> Draws:
    """Levels and offsets, given all else: their likeliest values and what is open about them."""
    draws, cells = len(steepness), len(answers.service)
    nodes = LevelNodes(steepness, common, np.array(OFFSETS)[offset_at])
    step = max(1, _BLOCK // max(len(answers.won), 1))
    level = np.empty((draws, cells))
    normal = rng.normal(size=(draws, answers.services)), rng.normal(size=(draws, cells))
    for begin in range(0, draws, step):
        which = slice(begin, begin + step)
        part = nodes.part(which)
        count = len(part.offset_sd)
        start = np.zeros((count, answers.services)), np.zeros((count, cells))
        fit = fit_levels(answers, part, start, 4)
        own = normal[0][which] / np.sqrt(fit.level_precision)
        firm = fit.weight + part.offset_sd[:, None] ** -2.0
        along = own[:, answers.service]
        offset = fit.offset - fit.weight / firm * along + normal[1][which] / np.sqrt(firm)
        level[which] = part.common[:, [-1]] + fit.level[:, answers.service] + along + offset
    season = common[:, :3] @ CONTRASTS.T
    return Draws(level, -np.exp(steepness), season, common[:, AT_GROWTH])
