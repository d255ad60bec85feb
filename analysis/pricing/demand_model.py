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
common terms. From the tables a Gibbs sampler draws b, its mean and spread, and the common terms
(Gelfand and Smith 1990, Journal of the American Statistical Association 85:398-409), all chains at
once, a draw each. The time grows with the number of quotes and no faster.
"""

from dataclasses import dataclass
from itertools import combinations_with_replacement
from typing import Final

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.special import expit

from analysis.findings.mixed import Array, Codes, one_thread

# Believed before a quote is seen, weakly. The elasticity of the jobs won is slope × (1 − chance to
# win): a slope of 3 makes it −1.2 where six quotes in ten are won. Published means lie further out,
# −1.76 (Tellis 1988, Journal of Marketing Research 25:331-341) and −2.62 (Bijmolt, van Heerde and
# Pieters 2005, Journal of Marketing Research 42:141-156; both from memory), which are slopes of 4.4
# and 6.5; but those are consumer goods on a shelf, where the next brand costs no second visit. A
# factor of two and a half either way holds both. Services differ by a factor of about e^0.5.
STEEPNESS: Final = float(np.log(3.0))
STEEPNESS_SD: Final = float(np.log(2.5))
SPREAD_SD: Final = 0.5
# The rest is common practice, no source: six quotes in ten are won, give or take; services differ
# by a factor of two in their odds, classes by less, seasons mostly by less than a half; what the
# town pays rises by 2 % a year, give or take 2 %.
_COMMON: Final = 0.4
_COMMON_SD: Final = 1.5
_LEVEL_SD: Final = 0.7
_OFFSETS: Final = (0.08, 0.2, 0.4)
_OFFSET_SD: Final = 0.2
_SEASONS: Final = (0.06, 0.15, 0.3, 0.6, 1.0)
_SEASON_SD: Final = 0.4
_GROWTH: Final = 0.02
_GROWTH_SD: Final = 0.02

# Common terms: three contrasts of the four seasons, growth, and the common level.
_TERMS: Final = 5
_AT_GROWTH: Final = 3
_CONTRASTS: Final = np.array(
    [
        [0.5, 0.5, 0.5],
        [0.5, -0.5, -0.5],
        [-0.5, 0.5, -0.5],
        [-0.5, -0.5, 0.5],
    ]
)
_PAIRS: Final = tuple(combinations_with_replacement(range(_TERMS), 2))
_COARSE: Final = np.linspace(np.log(0.12), np.log(32.0), 16)
_FINE: Final = np.linspace(_COARSE[0], _COARSE[-1], 76)
_MEANS: Final = np.linspace(STEEPNESS - 2.4 * STEEPNESS_SD, STEEPNESS + 2.4 * STEEPNESS_SD, 15)
_SPREADS: Final = (0.08, 0.2, 0.35, 0.55, 0.8, 1.2)
SLOPES: Final = -np.exp(_FINE)
_SWEEPS: Final = 6
# A block of (nodes × quotes) larger than this is done in parts, to stay in little memory.
_BLOCK: Final = 1_000_000
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
        given = (cell, price, years, season, won)
        return cls(*(each[order] for each in given), service, services)  # type: ignore[arg-type]

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
class Draws:
    """Draws from what is left open: a row a draw.

    `level` : log-odds at today's list price and mean season, by cell; `slope` : change of the
    log-odds with log(price), below 0, by service; `season` : what a calendar quarter adds (4
    columns, sum 0); `growth` : what the town's prices rise a year, in logs.

    `alone` : what each slope of `SLOPES` weighs for a service from its own quotes and the prior
    alone, services × slopes; in the last row from the prior alone.
    """

    level: Array
    slope: Array
    season: Array
    growth: Array
    alone: Array


@dataclass(frozen=True, eq=False)
class _Nodes:
    """Where the likelihood is looked at: steepness by service, common terms, spread of offsets."""

    steepness: Array
    common: Array
    offset_sd: Array

    def part(self, which: slice) -> "_Nodes":
        return _Nodes(self.steepness[which], self.common[which], self.offset_sd[which])


@dataclass(frozen=True, eq=False)
class _Fit:
    """Likeliest levels (nodes × services) and offsets (nodes × cells), and how firm they are.

    `weight` : information of each cell's quotes; `log_likelihood`, `residual`, by cell.
    """

    level: Array
    offset: Array
    weight: Array
    level_precision: Array
    log_likelihood: Array


@dataclass(frozen=True, eq=False)
class _Tables:
    """Log likelihood by spread of offsets, service and steepness, quadratic in the common terms.

    `height` (spreads × services × steepness); `slope`, with a last axis of terms; `bend`, with a
    last axis of pairs of terms; `about` : the common terms that they are expanded at.
    """

    height: Array
    slope: Array
    bend: Array
    about: Array


def draw_demand(answers: Answers, draws: int, seed: int) -> Draws:
    """Draws from the posterior; the same seed gives the same draws."""
    rng = np.random.default_rng(seed)
    with one_thread():
        tables = _tables(answers)
        steepness, common, offset_at = _sample(tables, answers.services, draws, rng)
        return _finish(answers, tables, steepness, common, offset_at, rng)


def _prior_precision(season_sd: Array) -> Array:
    """Precision of the common terms, for each spread of the seasons. (… × terms)"""
    rest = np.array([_GROWTH_SD, _COMMON_SD]) ** -2.0
    rest = np.broadcast_to(rest, (*season_sd.shape, 2))
    return np.concatenate([np.repeat(season_sd[..., None] ** -2.0, 3, axis=-1), rest], axis=-1)


_PRIOR_MEAN: Final = np.array([0.0, 0.0, 0.0, _GROWTH, _COMMON])


def _base(answers: Answers, nodes: _Nodes) -> Array:
    """The log-odds without level and offset. (nodes × quotes)"""
    slope = -np.exp(nodes.steepness)[:, answers.service[answers.cell]]
    growth = nodes.common[:, [_AT_GROWTH]]
    season = (nodes.common[:, :3] @ _CONTRASTS.T)[:, answers.season]
    return np.asarray(slope * (answers.price + growth * answers.years) + season) + nodes.common[
        :, [-1]
    ]


def _fit(answers: Answers, nodes: _Nodes, start: tuple[Array, Array], steps: int) -> _Fit:
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
    return _Fit(level, offset, weight, precision, log_likelihood)


def _heights(answers: Answers, nodes: _Nodes, fit: _Fit) -> Array:
    """Log likelihood of each service with level and offsets integrated out. (nodes × services)"""
    hold = nodes.offset_sd[:, None] ** -2.0
    by_cell = fit.log_likelihood - hold * fit.offset**2 / 2
    by_cell = by_cell - np.log1p(fit.weight / hold) / 2
    level = (fit.level / _LEVEL_SD) ** 2 / 2 + np.log(fit.level_precision * _LEVEL_SD**2) / 2
    return answers.by_service(by_cell) - level


def _expanded(answers: Answers, nodes: _Nodes, fit: _Fit) -> tuple[Array, Array]:
    """How the heights change with the common terms: first and second derivatives.

    (nodes × services × terms) and (nodes × services × pairs of terms). Levels and offsets follow
    the common terms (their likeliest values move along).
    """
    hold = nodes.offset_sd[:, None] ** -2.0
    effect = np.repeat(fit.level[:, answers.service] + fit.offset, answers.counts, axis=1)
    share = expit(_base(answers, nodes) + effect)
    left, weight = answers.won - share, share * (1 - share)
    known = np.column_stack(
        [_CONTRASTS[answers.season], answers.years, np.ones(len(answers.years))]
    )
    scale = np.ones((*nodes.steepness.shape, _TERMS))
    scale[:, :, _AT_GROWTH] = -np.exp(nodes.steepness)
    first = [answers.by_service(answers.by_cell(left * column)) for column in known.T]
    cells = [answers.by_cell(weight * column) for column in known.T]
    firm = fit.weight + hold
    levels = [answers.by_service(each * hold / firm) for each in cells]
    second = []
    for a, b in _PAIRS:
        both = answers.by_cell(weight * (known[:, a] * known[:, b])) - cells[a] * cells[b] / firm
        seen = answers.by_service(both) - levels[a] * levels[b] / fit.level_precision
        second.append(-seen * scale[:, :, a] * scale[:, :, b])
    return np.stack(first, axis=2) * scale, np.stack(second, axis=2)


def _tables(answers: Answers) -> _Tables:
    """The tables of all services, expanded about the likeliest common terms."""
    about = _PRIOR_MEAN.copy()
    rate = (answers.won.sum() + 0.6) / (len(answers.won) + 1.0)
    about[-1] = np.log(rate / (1 - rate))
    level = np.zeros((len(_COARSE), answers.services))
    offset = np.zeros((len(_COARSE), len(answers.service)))
    prior = _prior_precision(np.array(_SEASON_SD))
    for steps in (6, 3):
        nodes = _coarse(answers, about, _OFFSETS[1])
        fit = _fit(answers, nodes, (level, offset), steps)
        level, offset = fit.level, fit.offset
        first, second = _expanded(answers, nodes, fit)
        share = _likely(_heights(answers, nodes, fit), _COARSE)
        pull = np.einsum("nst,ns->t", first, share) - prior * (about - _PRIOR_MEAN)
        bend = _square(np.einsum("nsp,ns->p", second, share)) - np.diag(prior)
        about = about - np.linalg.solve(bend, pull)
    parts = []
    for offset_sd in _OFFSETS:
        nodes = _coarse(answers, about, offset_sd)
        fit = _fit(answers, nodes, (level, offset), 4)
        parts.append((_heights(answers, nodes, fit), *_expanded(answers, nodes, fit)))
    height, first, second = (np.stack(each) for each in zip(*parts, strict=True))
    return _Tables(
        np.swapaxes(CubicSpline(_COARSE, height, axis=1)(_FINE), 1, 2),
        np.swapaxes(CubicSpline(_COARSE, first, axis=1)(_FINE), 1, 2),
        np.swapaxes(_between(second), 1, 2),
        about,
    )


def _coarse(answers: Answers, about: Array, offset_sd: float) -> _Nodes:
    count = len(_COARSE)
    return _Nodes(
        np.repeat(_COARSE[:, None], answers.services, axis=1),
        np.repeat(about[None, :], count, axis=0),
        np.full(count, offset_sd),
    )


def _between(values: Array) -> Array:
    """Values of the coarse grid on the fine one, on straight lines along the second axis.

    Straight, because a mean of two second derivatives still bends down.
    """
    at = (_FINE - _COARSE[0]) / (_COARSE[1] - _COARSE[0])
    below = np.clip(at.astype(np.int64), 0, len(_COARSE) - 2)
    part = (at - below)[None, :, None, None]
    return np.asarray(values[:, below] * (1 - part) + values[:, below + 1] * part)


def _likely(height: Array, steepness: Array) -> Array:
    """What each steepness of a grid weighs, other services unseen. (steepness × services)"""
    spread = np.hypot(STEEPNESS_SD, SPREAD_SD)
    log_share = height - ((steepness[:, None] - STEEPNESS) / spread) ** 2 / 2
    share = np.exp(log_share - log_share.max(axis=0))
    return np.asarray(share / share.sum(axis=0))


def _square(pairs: Array) -> Array:
    """Values of the pairs as symmetrical matrices. (… × pairs) to (… × terms × terms)"""
    matrix = np.zeros((*pairs.shape[:-1], _TERMS, _TERMS))
    for at, (a, b) in enumerate(_PAIRS):
        matrix[..., a, b] = matrix[..., b, a] = pairs[..., at]
    return matrix


def _features(away: Array) -> Array:
    """1, the terms, and their products, so that a height is one product of matrices."""
    products = [away[:, a] * away[:, b] * (0.5 if a == b else 1.0) for a, b in _PAIRS]
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
        curve = np.exp(-(((_FINE[:, None] - mean) / spread) ** 2) / 2)
        log_mean = -(((mean - STEEPNESS) / STEEPNESS_SD) ** 2) / 2
        log_spread = np.tile(_grid_prior(_SPREADS, SPREAD_SD), len(_MEANS))
        return cls(curve / curve.sum(axis=0), log_mean + log_spread)


def _sample(
    tables: _Tables, services: int, draws: int, rng: np.random.Generator
) -> tuple[Array, Array, Codes]:
    """Steepness (draws × services), common terms, and which spread of offsets, by Gibbs sampling.

    In turn, for each draw in a chain of its own: mean and spread of the steepness with every b
    integrated out, the b, the spread of offsets, the common terms, the spread of seasons.
    """
    table = np.concatenate([tables.height[..., None], tables.slope, tables.bend], axis=3)
    belief = _Belief.on_grid()
    offset_prior = _grid_prior(_OFFSETS, _OFFSET_SD)
    season_prior = _grid_prior(_SEASONS, _SEASON_SD)
    offset_at, season_at = (
        _pick(np.tile(np.exp(prior), (draws, 1)), rng) for prior in (offset_prior, season_prior)
    )
    away = np.zeros((draws, _TERMS))
    for _ in range(_SWEEPS):
        features = _features(away)
        at_b = _draw_steepness(table, features, offset_at, belief, rng)
        seen = table[:, np.arange(services), at_b]
        offset_at = _pick_log(np.einsum("kdsf,df->dk", seen, features) + offset_prior, rng)
        sums = seen[offset_at, np.arange(draws)].sum(axis=1)
        away = _draw_common(sums, np.array(_SEASONS)[season_at], tables.about, rng)
        season_at = _draw_season_sd(away + tables.about, season_prior, rng)
    jitter = (_FINE[1] - _FINE[0]) * (rng.random((draws, services)) - 0.5)
    return _FINE[at_b] + jitter, away + tables.about, offset_at


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


def _draw_common(
    sums: Array, season_sd: Array, about: Array, rng: np.random.Generator
) -> Array:
    """The common terms of every chain, less `about`: normal, given all else."""
    hold = _prior_precision(season_sd)
    at = np.arange(_TERMS)
    precision = -_square(sums[:, 1 + _TERMS :])
    precision[:, at, at] += hold
    pull = sums[:, 1 : 1 + _TERMS] + hold * (_PRIOR_MEAN - about)
    middle = np.linalg.solve(precision, pull[:, :, None])
    root = np.linalg.cholesky(np.linalg.inv(precision))
    return np.asarray(middle + root @ rng.normal(size=middle.shape))[:, :, 0]


def _draw_season_sd(common: Array, prior: Array, rng: np.random.Generator) -> Codes:
    sd = np.array(_SEASONS)
    size = (common[:, :3] ** 2).sum(axis=1)
    return _pick_log(prior - size[:, None] / sd**2 / 2 - 3 * np.log(sd), rng)


def _grid_prior(values: tuple[float, ...], spread: float) -> Array:
    """Log weights of a grid of standard deviations, believed half-normal."""
    grid = np.array(values)
    share = np.gradient(grid) * np.exp(-((grid / spread) ** 2) / 2)
    return np.log(share / share.sum())


def _pick(weight: Array, rng: np.random.Generator) -> Codes:
    """One position along the last axis, by weight, for every other position."""
    total = np.cumsum(weight, axis=-1)
    level = rng.random(total.shape[:-1])[..., None] * total[..., -1:]
    return np.minimum((total < level).sum(axis=-1), weight.shape[-1] - 1)


def _pick_log(log_weight: Array, rng: np.random.Generator) -> Codes:
    return _pick(np.exp(log_weight - log_weight.max(axis=-1, keepdims=True)), rng)


def _finish(
    answers: Answers,
    tables: _Tables,
    steepness: Array,
    common: Array,
    offset_at: Codes,
    rng: np.random.Generator,
) -> Draws:
    """Levels and offsets, given all else: their likeliest values and what is open about them."""
    draws, cells = len(steepness), len(answers.service)
    nodes = _Nodes(steepness, common, np.array(_OFFSETS)[offset_at])
    step = max(1, _BLOCK // max(len(answers.won), 1))
    level = np.empty((draws, cells))
    normal = rng.normal(size=(draws, answers.services)), rng.normal(size=(draws, cells))
    for begin in range(0, draws, step):
        which = slice(begin, begin + step)
        part = nodes.part(which)
        count = len(part.offset_sd)
        start = np.zeros((count, answers.services)), np.zeros((count, cells))
        fit = _fit(answers, part, start, 4)
        own = normal[0][which] / np.sqrt(fit.level_precision)
        firm = fit.weight + part.offset_sd[:, None] ** -2.0
        along = own[:, answers.service]
        offset = fit.offset - fit.weight / firm * along + normal[1][which] / np.sqrt(firm)
        level[which] = part.common[:, [-1]] + fit.level[:, answers.service] + along + offset
    season = common[:, :3] @ _CONTRASTS.T
    none = np.zeros((1, len(_FINE)))
    alone = _likely(np.concatenate([tables.height[1], none]).T, _FINE).T
    return Draws(level, -np.exp(steepness), season, common[:, _AT_GROWTH], alone)
