"""Linear mixed models by restricted maximum likelihood (REML): nested and crossed random effects.

y = X β + Σ Z u + e, with u ~ N(0, sd²) by factor and e ~ N(0, σ²). Nested factors (a cell within a
model within a class) are eliminated one after another, because their blocks stay diagonal; what is
left (crossed factors and fixed effects) is one small matrix, so that 50,000 rows with 500 levels
cost no more than their sums, which are taken once.

Sources: Harville (1977), Journal of the American Statistical Association 72:320-338, for REML and
the mixed-model equations; Bates, Mächler, Bolker and Walker (2015), Journal of Statistical Software
67(1), for the profiled criterion in relative standard deviations.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.linalg import LinAlgError, cho_solve
from scipy.linalg.lapack import dpotrf
from scipy.optimize import minimize
from scipy.sparse import csr_array, issparse

from analysis.arrays import Array, Codes, Mask

# Relative standard deviations are looked for up to this; a factor that spreads a thousand times as
# wide as the noise is a mistake in the records.
_WIDEST = 1e3
# A relative standard deviation under this is none: the criterion no longer tells it from 0.
_NONE = 1e-6
# Step of a relative standard deviation by which the slope of the criterion is taken.
_STEP = 1e-8
# Points are taken together up to so many numbers: more would not stay near the processor.
AT_ONCE = 50_000


@dataclass(frozen=True, eq=False)
class Sums:
    """Everything that the criterion needs of the rows, taken once.

    `rows`, `fixed` : numbers of rows and of columns of X; `nested`, `crossed` : levels of each
    nested and crossed factor; `parents` : for each nested factor but the coarsest, the level above
    each level; `counts` : rows a level of the finest nested factor; `cross` : its sums of [Z
    crossed, X, y]; `inner` : [Z, X, y]'[Z, X, y]; `stretch` : how much wider than its factor each
    finest level is believed to spread (1: alike).
    """

    rows: int
    fixed: int
    nested: tuple[int, ...]
    crossed: tuple[int, ...]
    parents: tuple["Parents", ...]
    counts: Array
    cross: Array
    inner: Array
    stretch: Array

    @property
    def factors(self) -> int:
        """How many variances are to be estimated, the noise apart."""
        return len(self.nested) + len(self.crossed)

    @property
    def free(self) -> int:
        """Rows less fixed effects."""
        return self.rows - self.fixed


@dataclass(frozen=True, eq=False)
class Parents:
    """The level above each level of a nested factor.

    `of` : by level; `order` : the levels sorted by it, None where they are; `starts` : where each
    parent's begin there.
    """

    of: Codes
    order: Codes | None
    starts: Codes

    def sums(self, values: Array, axis: int) -> Array:
        """Sums by parent along an axis: so many levels become so many parents."""
        if self.order is not None:
            values = values.take(self.order, axis=axis)
        return np.asarray(np.add.reduceat(values, self.starts, axis=axis))


class _Step(NamedTuple):
    """One nested factor taken out: arrays by level, a row for points that are alike so far.

    `lies_in` : the row of each point, but of an array with one row, which is that of all.
    """

    square: Array
    weight: Array
    counts: Array
    cross: Array
    lies_in: Codes

    def of_points(self) -> Iterator[Array]:
        """The four arrays, a row a point or one for all."""
        for each in (self.square, self.weight, self.counts, self.cross):
            yield each if len(each) == 1 else each[self.lies_in]


@dataclass(frozen=True, eq=False)
class Eliminated:
    """The nested factors taken out at several points: step by step, and what is left of each."""

    steps: tuple[_Step, ...]
    left: Array
    log_determinant: Array


@dataclass(frozen=True, eq=False)
class Fit:
    """A fitted model.

    `relative` : standard deviations of the factors ÷ that of the noise, nested first; `sds` : the
    standard deviations; `noise_sd` : that of the noise; `criterion` : −2 × the restricted log
    likelihood; `fixed`, `fixed_covariance` : the fixed effects; `crossed_effects` : best linear
    unbiased predictions of the crossed factors' levels.
    """

    relative: Array
    sds: Array
    noise_sd: float
    criterion: float
    fixed: Array
    fixed_covariance: Array
    crossed_effects: tuple[Array, ...]


def take_sums(
    y: Array,
    fixed: Array,
    nested: Sequence[Codes] = (),
    crossed: Sequence[Codes | csr_array | Array] = (),
) -> Sums:
    """The sums of a data set.

    Parameters
    ----------
    y : (rows,) ; fixed : X, (rows, columns), of full rank
    nested : codes 0..k-1 of each nested factor, finest first, each within the next
    crossed : codes of each crossed factor, or its weights (rows × levels)

    Raises
    ------
    ValueError
        A finer factor is not within the next coarser one.
    """
    rows = len(y)
    blocks = [_weights(each) for each in crossed]
    everything = np.hstack([*(block.toarray() for block in blocks), fixed, y[:, None]])
    sizes = tuple(int(codes.max()) + 1 for codes in nested)
    parents = tuple(
        _parents(fine, coarse) for fine, coarse in zip(nested[:-1], nested[1:], strict=True)
    )
    if nested:
        indicator = _weights(nested[0])
        counts = np.asarray(indicator.sum(axis=0), dtype=np.float64)
        cross = np.asarray(indicator.T @ everything)
    else:
        counts, cross = np.zeros(0), np.zeros((0, everything.shape[1]))
    return Sums(
        rows,
        fixed.shape[1],
        sizes,
        tuple(block.shape[1] for block in blocks),
        parents,
        counts,
        cross,
        everything.T @ everything,
        np.ones(len(counts)),
    )


def _weights(factor: Codes | csr_array | Array) -> csr_array:
    if issparse(factor):
        return csr_array(factor)
    if factor.ndim == 2:
        return csr_array(factor)
    rows = len(factor)
    return csr_array(
        (np.ones(rows), (np.arange(rows), factor)), shape=(rows, int(factor.max()) + 1)
    )


def _parents(fine: Codes, coarse: Codes) -> Parents:
    of = np.zeros(int(fine.max()) + 1, dtype=np.int64)
    of[fine] = coarse
    if (of[fine] != coarse).any():
        raise ValueError("a nested factor has a level within two levels of the coarser one")
    order = np.argsort(of, kind="stable")
    starts = np.searchsorted(of[order], np.arange(int(coarse.max()) + 1))
    return Parents(of, None if (np.diff(of) >= 0).all() else order, starts)


def _eliminate(sums: Sums, relative: Array) -> Eliminated:
    """At several points, relative sds (points × factors).

    Points after each other that differ in coarser factors alone share what comes before those.
    """
    points = len(relative)
    counts, cross, inner = sums.counts[None], sums.cross[None], sums.inner[None]
    log_determinant, lies_in = np.zeros(1), np.zeros(points, dtype=np.int64)
    is_new = np.arange(points) == 0
    steps = []
    for at in range(len(sums.nested)):
        is_new[1:] |= relative[1:, at] != relative[:-1, at]
        first = np.flatnonzero(is_new)
        before, lies_in = lies_in[first], np.cumsum(is_new) - 1
        if at:
            counts, cross = counts[before], cross[before]
        square = np.repeat(relative[first, at, None] ** 2, counts.shape[-1], axis=-1)
        if at == 0:
            square = square * sums.stretch**2
        weight = 1 + square * counts
        steps.append(_Step(square, weight, counts, cross, lies_in))
        log_determinant = log_determinant[before] + np.log(weight).sum(axis=-1)
        shrunk = cross / weight[..., None]
        inner = inner[before] - cross.swapaxes(-1, -2) @ (square[..., None] * shrunk)
        if at + 1 < len(sums.nested):
            parents = sums.parents[at]
            counts, cross = parents.sums(counts / weight, -1), parents.sums(shrunk, -2)
    return Eliminated(tuple(steps), inner[lies_in], log_determinant[lies_in])


def _scaled(sums: Sums, left: Array, relative: Array) -> tuple[Array, Array]:
    """What is left, scaled by the relative sd of each crossed level, and the scale (1 for X, y)."""
    scale = np.ones((len(relative), left.shape[-1]))
    crossed = sum(sums.crossed)
    scale[:, :crossed] = np.repeat(relative[:, len(sums.nested) :], sums.crossed, axis=-1)
    scaled = left * scale[:, :, None] * scale[:, None, :]
    at = np.arange(crossed)
    scaled[:, at, at] += 1.0
    return scaled, scale


def _lower(scaled: Array) -> Array:
    # The routine itself: its wrapper takes longer than such small matrices do.
    lower, fault = dpotrf(scaled, lower=True, clean=True)
    if fault:
        raise LinAlgError("the mixed-model equations are not positive definite")
    return np.asarray(lower)


def factor(sums: Sums, relative: Array) -> tuple[Eliminated, Array, Array]:
    """What is left after elimination, its scale, and its Cholesky factor with y as last column.

    At several points, each in a row of its own.
    """
    out = _eliminate(sums, relative)
    scaled, scale = _scaled(sums, out.left, relative)
    return out, scale[:, :-1], np.array([_lower(each) for each in scaled])


def reml_criterion(sums: Sums, relative: Array) -> float:
    """−2 × the restricted log likelihood, profiled over β and σ, at relative sds (factors,)."""
    return float(reml_criteria(sums, relative[None, :])[0])


def reml_criteria(sums: Sums, relative: Array) -> Array:
    """The criterion at several points: (points × factors) to (points,).

    The matrices are small, so that many of them at once cost little more than one does.
    """
    several = max(1, AT_ONCE // max(sums.cross.size, 1))
    lots = [relative[first : first + several] for first in range(0, len(relative), several)]
    return np.concatenate([_criteria(sums, lot) for lot in lots])


def _criteria(sums: Sums, relative: Array) -> Array:
    out, _, lower = factor(sums, relative)
    return _criterion(sums, out, lower)


def _criterion(sums: Sums, out: Eliminated, lower: Array) -> Array:
    diagonal = np.diagonal(lower, axis1=-2, axis2=-1)
    free = sums.free
    residual = diagonal[:, -1] ** 2
    rest = 2 * np.log(diagonal[:, :-1]).sum(axis=-1)
    return np.asarray(out.log_determinant + rest + free * (1 + np.log(2 * np.pi * residual / free)))


def fit_reml(
    sums: Sums, start: Array | None = None, free: Mask | None = None, *, polish: bool = True
) -> Fit:
    """Fit by REML; a variance may come out as exactly 0.

    `start` : relative sds to begin from, (factors,); `free` : which of them are sought, all by
    default, the others staying at `start`. Raises `ValueError` with no more rows than fixed
    effects, and `LinAlgError` where X is not of full rank or y has no spread.
    """
    if sums.free < 1:
        raise ValueError("no more rows than fixed effects")
    free = np.ones(sums.factors, dtype=bool) if free is None else free
    relative = np.zeros(sums.factors) if start is None else start
    if free.any():
        relative = _smallest(sums, start, free, polish)
    out, (scale,), lowers = factor(sums, relative[None])
    lower = lowers[0]
    solved, inverse = solve(lower)
    noise = lower[-1, -1] ** 2 / sums.free
    crossed = sum(sums.crossed)
    effects = np.split(scale[:crossed] * solved[:crossed], np.cumsum(sums.crossed)[:-1])
    return Fit(
        relative,
        relative * np.sqrt(noise),
        float(np.sqrt(noise)),
        float(_criterion(sums, out, lowers)[0]),
        solved[crossed:],
        noise * inverse[crossed:, crossed:],
        tuple(effects) if sums.crossed else (),
    )


def _smallest(sums: Sums, start: Array | None, free: Mask, polish: bool) -> Array:
    """Relative sds at the least criterion, sought from two starts, or from the one given."""
    number = int(free.sum())
    base = np.zeros(sums.factors) if start is None else start.copy()

    def whole(at: Array) -> Array:
        points = np.broadcast_to(base, (*at.shape[:-1], len(base))).copy()
        points[..., free] = np.abs(at)
        return points

    def criterion(at: Array) -> float:
        return reml_criterion(sums, whole(at))

    def with_slope(at: Array) -> tuple[float, Array]:
        """The criterion and its slope by forward differences, all points at once."""
        step = np.where(at + _STEP > _WIDEST, -_STEP, _STEP)
        ahead = at + np.diag(step)
        found = reml_criteria(sums, whole(np.vstack([ahead, at])))
        return float(found[-1]), (found[:-1] - found[-1]) / (np.diagonal(ahead) - at)

    starts = [np.full(number, 0.5), np.full(number, 0.1)]
    if start is not None:
        starts = [np.maximum(start[free], 0.05)]
    exactly = {"ftol": 1e-13, "gtol": 1e-7} if polish else {"ftol": 1e-8, "gtol": 1e-4}

    def descend(begin: Array) -> Any:
        bounds = [(0.0, _WIDEST)] * number
        return minimize(
            with_slope, begin, jac=True, method="L-BFGS-B", bounds=bounds, options=exactly
        )

    found = [descend(each) for each in starts]
    best = np.abs(min(found, key=lambda each: float(each.fun)).x)
    if polish:
        if (best < _NONE).any():
            # At 0 the slope is 0 as well: a search that came there by a long step would stay.
            away = [descend(np.where(best < _NONE, begin, best)) for begin in (0.2, 0.5)]
            best = np.abs(min([*found, *away], key=lambda each: float(each.fun)).x)
        exact = minimize(
            criterion,
            best,
            method="Nelder-Mead",
            options={"xatol": 1e-8, "fatol": 1e-10, "maxiter": 400 * number},
        )
        best = np.abs(exact.x)
    least = criterion(best)
    for at in range(number):
        none = best.copy()
        none[at] = 0.0
        without = criterion(none)
        if best[at] < _NONE or without <= least + 1e-9:
            best, least = none, without
    return whole(best)


def solve(lower: Array) -> tuple[Array, Array]:
    """Solution of the mixed-model equations and their inverse, from the factor with y last."""
    size = lower.shape[0] - 1
    triangle = lower[:size, :size]
    inverse = cho_solve((triangle, True), np.eye(size), check_finite=False)
    # The last row of the factor is y's: L a = W'y, so that L' x = a.
    solved = np.linalg.solve(triangle.T, lower[size, :size])
    return np.asarray(solved, dtype=np.float64), inverse
