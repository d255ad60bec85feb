"""The numbers behind demand: draws from what quotes won and lost leave open.

For a quote of service s in cell c (a row of the price list), in calendar quarter q, t years ago:

    log-odds of winning = common + level_s + offset_c + season_q − exp(b_s) × (x + growth × t)

x is the log of its price ÷ today's list; growth is what prices in the whole town rise a year.
Levels, offsets and steepness b are drawn to each other as far as the quotes show that they are
alike (Gelman and Hill 2007, Data Analysis Using Regression and Multilevel/Hierarchical Models,
ch. 14). A steepness is never below 0, so that no service sells more for being dearer.

How it is computed. Once the common terms (seasons, growth, common level) are given, the services do
not hang together but through the prior of b. So each service has a table: for every b of a grid the
likelihood with its level and offsets integrated out by Laplace's approximation (Tierney and Kadane
1986, Journal of the American Statistical Association 81:82-86), as a quadratic function of the
common terms. `demand_draws` draws from the tables. The time grows with the number of quotes and no
faster.
"""

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import expit

from analysis.arrays import Array, Codes

# Believed before a quote is seen, weakly. The elasticity of the jobs won is slope × (1 − chance to
# win): a slope of 4 makes it −1.6 where six quotes in ten are won. Published means lie further out,
# −1.76 (Tellis 1988, Journal of Marketing Research 25:331-341) and −2.62 (Bijmolt, van Heerde and
# Pieters 2005, Journal of Marketing Research 42:141-156; both from memory), which are slopes of 4.4
# and 6.5; but those are consumer goods on a shelf, where the next brand costs no second visit. A
# factor of two and a half either way holds both. Services differ by a factor of some 1.6.
STEEPNESS: Final = float(np.log(4.0))
STEEPNESS_SD: Final = float(np.log(2.5))
SPREAD_SD: Final = 0.7
# The rest is common practice, no source: six quotes in ten are won, give or take; services differ
# by a factor of two in their odds, classes by less, seasons mostly by less than a half; what the
# town pays rises by 2 % a year, give or take 2 %.
_COMMON: Final = 0.4
_COMMON_SD: Final = 1.5
_LEVEL_SD: Final = 0.7
OFFSETS: Final = (0.08, 0.2, 0.4)
OFFSET_SD: Final = 0.2
SEASONS: Final = (0.06, 0.15, 0.3, 0.6, 1.0)
SEASON_SD: Final = 0.4
GROWTH: Final = 0.02
_GROWTH_SD: Final = 0.02

# Common terms: three contrasts of the four seasons, growth, and the common level.
TERMS: Final = 5
AT_GROWTH: Final = 3
CONTRASTS: Final = np.array(
    [
        [0.5, 0.5, 0.5],
        [0.5, -0.5, -0.5],
        [-0.5, 0.5, -0.5],
        [-0.5, -0.5, 0.5],
    ]
)
PAIRS: Final = tuple(combinations_with_replacement(range(TERMS), 2))
_COARSE: Final = np.linspace(np.log(0.12), np.log(32.0), 16)
FINE: Final = np.linspace(_COARSE[0], _COARSE[-1], 76)
_LONGEST_STEP: Final = 1.5


@dataclass(frozen=True, eq=False)
class Answers:
    """Quotes won or lost as numbers, in order of their cells.

    By quote: `cell`, `price` (x), `years` (t), `season` (0 to 3), `won` (0 or 1); `service` : the
    service of each cell, of `services`. A cell or a service may have no quote.
    """

    cell: Codes
    price: Array
    years: Array
    season: Codes
    won: Array
    service: Codes
    services: int

    @classmethod
    def of(
        cls,
        cell: Codes,
        price: Array,
        years: Array,
        season: Codes,
        won: Array,
        service: Codes,
        services: int,
    ) -> "Answers":
        """The same in whatever order."""
        order = np.argsort(cell, kind="stable")
        return cls(
            cell[order], price[order], years[order], season[order], won[order], service, services
        )

    @property
    def counts(self) -> Codes:
        """Quotes by cell."""
        return np.bincount(self.cell, minlength=len(self.service))

    def by_cell(self, values: Array) -> Array:
        """Sums by cell: (nodes × quotes) to (nodes × cells)."""
        counts = self.counts
        sums = np.zeros((len(values), len(counts)))
        filled = counts > 0
        if filled.any():
            starts = (np.cumsum(counts) - counts)[filled]
            sums[:, filled] = np.add.reduceat(values, starts, axis=1)
        return sums

    def by_service(self, values: Array) -> Array:
        """Sums by service: (nodes × cells) to (nodes × services)."""
        return np.asarray(values @ np.eye(self.services)[self.service])


@dataclass(frozen=True, eq=False)
class LevelNodes:
    """Where the likelihood is looked at: steepness by service, common terms, spread of offsets."""

    steepness: Array
    common: Array
    offset_sd: Array

    def part(self, which: slice) -> "LevelNodes":
        """Some of them."""
        return LevelNodes(self.steepness[which], self.common[which], self.offset_sd[which])


@dataclass(frozen=True, eq=False)
class LevelFit:
    """Likeliest levels (nodes × services) and offsets (nodes × cells), and how firm they are.

    `weight` : information of each cell's quotes; `log_likelihood`, `residual`, by cell.
    """

    level: Array
    offset: Array
    weight: Array
    level_precision: Array
    log_likelihood: Array


@dataclass(frozen=True, eq=False)
class Tables:
    """Log likelihood by spread of offsets, service and steepness, quadratic in the common terms.

    `height` (spreads × services × steepness); `slope`, with a last axis of terms; `bend`, with a
    last axis of pairs of terms; `about` : the common terms that they are expanded at.
    """

    height: Array
    slope: Array
    bend: Array
    about: Array


def common_precision(season_sd: Array) -> Array:
    """Precision of the common terms, for each spread of the seasons. (… × terms)"""
    rest = np.array([_GROWTH_SD, _COMMON_SD]) ** -2.0
    rest = np.broadcast_to(rest, (*season_sd.shape, 2))
    return np.concatenate([np.repeat(season_sd[..., None] ** -2.0, 3, axis=-1), rest], axis=-1)


COMMON_MEAN: Final = np.array([0.0, 0.0, 0.0, GROWTH, _COMMON])


def _base(answers: Answers, nodes: LevelNodes) -> Array:
    """The log-odds without level and offset. (nodes × quotes)"""
    slope = -np.exp(nodes.steepness)[:, answers.service[answers.cell]]
    growth = nodes.common[:, [AT_GROWTH]]
    season = (nodes.common[:, :3] @ CONTRASTS.T)[:, answers.season]
    return (
        np.asarray(slope * (answers.price + growth * answers.years) + season)
        + nodes.common[:, [-1]]
    )


def fit_levels(
    answers: Answers, nodes: LevelNodes, start: tuple[Array, Array], steps: int
) -> LevelFit:
    """Newton's method for levels and offsets at every node at once.

    The offsets of a service hang together through its level alone, so each step is a division by
    cell and one by service.
    """
    level, offset = start
    base = _base(answers, nodes)
    counts = answers.counts
    hold = nodes.offset_sd[:, None] ** -2.0
    own = _LEVEL_SD**-2.0
    for _ in range(steps):
        share = expit(base + np.repeat(level[:, answers.service] + offset, counts, axis=1))
        left = answers.by_cell(answers.won - share)
        weight = answers.by_cell(share * (1 - share))
        firm = weight + hold
        pull = left - hold * offset
        precision = own + answers.by_service(weight * hold / firm)
        level_pull = answers.by_service(left - weight / firm * pull) - own * level
        move = np.clip(level_pull / precision, -_LONGEST_STEP, _LONGEST_STEP)
        level = level + move
        step = (pull - weight * move[:, answers.service]) / firm
        offset = offset + np.clip(step, -_LONGEST_STEP, _LONGEST_STEP)
    odds = base + np.repeat(level[:, answers.service] + offset, counts, axis=1)
    share = expit(odds)
    weight = answers.by_cell(share * (1 - share))
    precision = own + answers.by_service(weight * hold / (weight + hold))
    log_likelihood = answers.by_cell(odds * answers.won - np.logaddexp(0.0, odds))
    return LevelFit(level, offset, weight, precision, log_likelihood)


def _heights(answers: Answers, nodes: LevelNodes, fit: LevelFit) -> Array:
    """Log likelihood of each service with level and offsets integrated out. (nodes × services)"""
    hold = nodes.offset_sd[:, None] ** -2.0
    by_cell = fit.log_likelihood - hold * fit.offset**2 / 2
    by_cell = by_cell - np.log1p(fit.weight / hold) / 2
    level = (fit.level / _LEVEL_SD) ** 2 / 2 + np.log(fit.level_precision * _LEVEL_SD**2) / 2
    return answers.by_service(by_cell) - level


def _expanded(answers: Answers, nodes: LevelNodes, fit: LevelFit) -> tuple[Array, Array]:
    """How the heights change with the common terms: first and second derivatives.

    (nodes × services × terms) and (nodes × services × pairs of terms). Levels and offsets follow
    the common terms (their likeliest values move along).
    """
    hold = nodes.offset_sd[:, None] ** -2.0
    effect = np.repeat(fit.level[:, answers.service] + fit.offset, answers.counts, axis=1)
    share = expit(_base(answers, nodes) + effect)
    left, weight = answers.won - share, share * (1 - share)
    known = np.column_stack([CONTRASTS[answers.season], answers.years, np.ones(len(answers.years))])
    scale = np.ones((*nodes.steepness.shape, TERMS))
    scale[:, :, AT_GROWTH] = -np.exp(nodes.steepness)
    first = [answers.by_service(answers.by_cell(left * column)) for column in known.T]
    cells = [answers.by_cell(weight * column) for column in known.T]
    firm = fit.weight + hold
    levels = [answers.by_service(each * hold / firm) for each in cells]
    second = []
    for a, b in PAIRS:
        both = answers.by_cell(weight * (known[:, a] * known[:, b])) - cells[a] * cells[b] / firm
        seen = answers.by_service(both) - levels[a] * levels[b] / fit.level_precision
        second.append(-seen * scale[:, :, a] * scale[:, :, b])
    return np.stack(first, axis=2) * scale, np.stack(second, axis=2)


def likelihood_tables(answers: Answers) -> Tables:
    """The tables of all services, expanded about the likeliest common terms."""
    about = COMMON_MEAN.copy()
    rate = (answers.won.sum() + 0.6) / (len(answers.won) + 1.0)
    about[-1] = np.log(rate / (1 - rate))
    level = np.zeros((len(_COARSE), answers.services))
    offset = np.zeros((len(_COARSE), len(answers.service)))
    prior = common_precision(np.array(SEASON_SD))
    for steps in (6, 3):
        nodes = _coarse(answers, about, OFFSETS[1])
        fit = fit_levels(answers, nodes, (level, offset), steps)
        level, offset = fit.level, fit.offset
        first, second = _expanded(answers, nodes, fit)
        share = _likely(_heights(answers, nodes, fit))
        pull = np.einsum("nst,ns->t", first, share) - prior * (about - COMMON_MEAN)
        bend = as_matrix(np.einsum("nsp,ns->p", second, share)) - np.diag(prior)
        about = about - np.linalg.solve(bend, pull)
    parts = []
    for offset_sd in OFFSETS:
        nodes = _coarse(answers, about, offset_sd)
        fit = fit_levels(answers, nodes, (level, offset), 4)
        parts.append((_heights(answers, nodes, fit), *_expanded(answers, nodes, fit)))
    height, first, second = (np.stack(each) for each in zip(*parts, strict=True))
    return Tables(
        np.swapaxes(CubicSpline(_COARSE, height, axis=1)(FINE), 1, 2),
        np.swapaxes(CubicSpline(_COARSE, first, axis=1)(FINE), 1, 2),
        np.swapaxes(_between(second), 1, 2),
        about,
    )


def _coarse(answers: Answers, about: Array, offset_sd: float) -> LevelNodes:
    count = len(_COARSE)
    return LevelNodes(
        np.repeat(_COARSE[:, None], answers.services, axis=1),
        np.repeat(about[None, :], count, axis=0),
        np.full(count, offset_sd),
    )


def _between(values: Array) -> Array:
    """Values of the coarse grid on the fine one, on straight lines along the second axis.

    Straight, because a mean of two second derivatives still bends down.
    """
    at = (FINE - _COARSE[0]) / (_COARSE[1] - _COARSE[0])
    below = np.clip(at.astype(np.int64), 0, len(_COARSE) - 2)
    part = (at - below)[None, :, None, None]
    return np.asarray(values[:, below] * (1 - part) + values[:, below + 1] * part)


def _likely(height: Array) -> Array:
    """What each steepness of the coarse grid weighs, other services unseen."""
    spread = np.hypot(STEEPNESS_SD, SPREAD_SD)
    log_share = height - ((_COARSE[:, None] - STEEPNESS) / spread) ** 2 / 2
    share = np.exp(log_share - log_share.max(axis=0))
    return np.asarray(share / share.sum(axis=0))


def as_matrix(pairs: Array) -> Array:
    """Values of the pairs as symmetrical matrices. (… × pairs) to (… × terms × terms)"""
    matrix = np.zeros((*pairs.shape[:-1], TERMS, TERMS))
    for at, (a, b) in enumerate(PAIRS):
        matrix[..., a, b] = matrix[..., b, a] = pairs[..., at]
    return matrix
