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
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.linalg import LinAlgError, cho_solve
from scipy.linalg.lapack import dpotrf
from scipy.optimize import minimize
from scipy.sparse import csr_array, issparse
from threadpoolctl import threadpool_limits

Array = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

# Relative standard deviations are looked for up to this; a factor that spreads a thousand times as
# wide as the noise is a mistake in the records.
_WIDEST = 1e3
# A relative standard deviation under this is none: the criterion no longer tells it from 0.
_NONE = 1e-6


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

    `of` : by level; `order` : the levels sorted by it; `starts` : where each parent's begin there.
    """

    of: Codes
    order: Codes
    starts: Codes

    def sums(self, values: Array) -> Array:
        """Sums of rows by parent: (levels, ...) to (parents, ...)."""
        return np.asarray(np.add.reduceat(values[self.order], self.starts, axis=0))

    def sums_across(self, values: Array) -> Array:
        """Sums of columns by parent: (rows, levels) to (rows, parents)."""
        return np.asarray(np.add.reduceat(values[:, self.order], self.starts, axis=1))


@dataclass(frozen=True, eq=False)
class _Eliminated:
    """The nested factors taken out at given relative sds: step by step, and what is left."""

    steps: tuple[tuple[Array, Array, Array, Array], ...]
    left: Array
    log_determinant: float


@dataclass(frozen=True, eq=False)
class Posterior:
    """Means and variances of linear combinations, given the relative standard deviations."""

    mean: Array
    variance: Array
    noise_variance: float


@dataclass(frozen=True, eq=False)
class Targets:
    """Linear combinations to be estimated, one a row.

    `nested` : weights on the levels of each nested factor, finest first (rows × levels, sparse or
    not);
    `rest` : weights on the levels of the crossed factors and on X (rows × columns); `fresh` : sum
    of squared weights on levels never seen, by factor (rows × factors), nested first.
    """

    nested: tuple[csr_array | Array, ...]
    rest: Array
    fresh: Array

    def plain(self) -> "Targets":
        """All of them, with plain matrices."""
        return self.some(slice(None))

    def some(self, rows: slice) -> "Targets":
        """Some of them, with plain matrices."""
        nested = tuple(_dense(each[rows]) for each in self.nested)
        return Targets(nested, self.rest[rows], self.fresh[rows])


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


@contextmanager
def one_thread() -> Iterator[None]:
    """A context in which linear algebra runs on one thread.

    The matrices here are small: threads that wait for each other cost more than they save (twice
    the time on two busy cores), and one thread gives the same digits on every machine.
    """
    with threadpool_limits(limits=1, user_api="blas"):
        yield


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
    pairs = np.unique(np.stack([fine, coarse]), axis=1)
    if pairs.shape[1] != int(fine.max()) + 1:
        raise ValueError("a nested factor has a level within two levels of the coarser one")
    order = np.argsort(pairs[1], kind="stable")
    starts = np.searchsorted(pairs[1][order], np.arange(int(coarse.max()) + 1))
    return Parents(pairs[1], order, starts)


def _eliminate(sums: Sums, relative: Array) -> _Eliminated:
    counts, cross, inner = sums.counts, sums.cross, sums.inner
    steps, log_determinant = [], 0.0
    for at in range(len(sums.nested)):
        square = np.full(len(counts), relative[at] ** 2)
        if at == 0:
            square = square * sums.stretch**2
        weight = 1 + square * counts
        steps.append((square, weight, counts, cross))
        log_determinant += float(np.log(weight).sum())
        shrunk = cross / weight[:, None]
        inner = inner - cross.T @ (square[:, None] * shrunk)
        if at + 1 < len(sums.nested):
            parents = sums.parents[at]
            counts, cross = parents.sums(counts / weight), parents.sums(shrunk)
    return _Eliminated(tuple(steps), inner, log_determinant)


def _scales(sums: Sums, relative: Array) -> Array:
    """Relative sd of each crossed level, then 1 for X."""
    crossed = np.repeat(relative[len(sums.nested) :], sums.crossed)
    return np.concatenate([crossed, np.ones(sums.fixed)])


def _factor(sums: Sums, relative: Array) -> tuple[_Eliminated, Array, Array]:
    """What is left after elimination, scaled, and its Cholesky factor with y as last column."""
    out = _eliminate(sums, relative)
    scale = np.append(_scales(sums, relative), 1.0)
    scaled = out.left * scale[:, None] * scale
    crossed = sum(sums.crossed)
    at = np.arange(crossed)
    scaled[at, at] += 1.0
    # The routine itself: its wrapper takes longer than such small matrices do.
    lower, fault = dpotrf(scaled, lower=True, clean=True)
    if fault:
        raise LinAlgError("the mixed-model equations are not positive definite")
    return out, scale[:-1], lower


def reml_criterion(sums: Sums, relative: Array) -> float:
    """−2 × the restricted log likelihood, profiled over β and σ, at relative sds (factors,)."""
    out, _, lower = _factor(sums, relative)
    return _criterion(sums, out, lower)


def _criterion(sums: Sums, out: _Eliminated, lower: Array) -> float:
    diagonal = np.diagonal(lower)
    free = sums.free
    residual = diagonal[-1] ** 2
    return float(
        out.log_determinant
        + 2 * np.log(diagonal[:-1]).sum()
        + free * (1 + np.log(2 * np.pi * residual / free))
    )


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
    out, scale, lower = _factor(sums, relative)
    solved, inverse = _solve(lower)
    noise = lower[-1, -1] ** 2 / sums.free
    crossed = sum(sums.crossed)
    effects = np.split(scale[:crossed] * solved[:crossed], np.cumsum(sums.crossed)[:-1])
    return Fit(
        relative,
        relative * np.sqrt(noise),
        float(np.sqrt(noise)),
        _criterion(sums, out, lower),
        solved[crossed:],
        noise * inverse[crossed:, crossed:],
        tuple(effects) if sums.crossed else (),
    )


def _smallest(sums: Sums, start: Array | None, free: Mask, polish: bool) -> Array:
    """Relative sds at the least criterion, sought from two starts, or from the one given."""
    number = int(free.sum())
    base = np.zeros(sums.factors) if start is None else start.copy()

    def whole(at: Array) -> Array:
        point = base.copy()
        point[free] = np.abs(at)
        return point

    def criterion(at: Array) -> float:
        return reml_criterion(sums, whole(at))

    starts = [np.full(number, 0.5), np.full(number, 0.1)]
    if start is not None:
        starts = [np.maximum(start[free], 0.05)]
    exactly = {"ftol": 1e-13, "gtol": 1e-7} if polish else {"ftol": 1e-8, "gtol": 1e-4}

    def descend(begin: Array) -> Any:
        bounds = [(0.0, _WIDEST)] * number
        return minimize(criterion, begin, method="L-BFGS-B", bounds=bounds, options=exactly)

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
    for at in range(number):
        none = best.copy()
        none[at] = 0.0
        if best[at] < _NONE or criterion(none) <= criterion(best) + 1e-9:
            best = none
    return whole(best)


def _solve(lower: Array) -> tuple[Array, Array]:
    """Solution of the mixed-model equations and their inverse, from the factor with y last."""
    size = lower.shape[0] - 1
    triangle = lower[:size, :size]
    inverse = cho_solve((triangle, True), np.eye(size), check_finite=False)
    # The last row of the factor is y's: L a = W'y, so that L' x = a.
    solved = np.linalg.solve(triangle.T, lower[size, :size])
    return np.asarray(solved, dtype=np.float64), inverse


def posterior(sums: Sums, relative: Array, targets: Targets) -> Posterior:
    """Means and variances of the targets, errors of the fixed effects included.

    Given the relative sds; the noise variance is the estimate at them, with `sums.free` degrees of
    freedom.
    """
    out, scale, lower = _factor(sums, relative)
    solved, inverse = _solve(lower)
    noise = lower[-1, -1] ** 2 / sums.free
    rest = targets.rest * scale
    constant = np.zeros(len(rest))
    own = targets.fresh @ relative**2
    carried = np.zeros((len(rest), len(sums.counts)))
    for at, (square, weight, counts, cross) in enumerate(out.steps):
        on = _dense(targets.nested[at]) + carried
        pulled = on * (square / weight)
        constant = constant + pulled @ cross[:, -1]
        rest = rest - (pulled @ cross[:, :-1]) * scale
        own = own + on**2 @ (square / weight)
        if at + 1 < len(out.steps):
            # A level gives way to all that stand above it, not to its parent alone.
            carried = sums.parents[at].sums_across(carried - pulled * counts)
    mean = constant + rest @ solved
    variance = noise * (own + np.einsum("ij,jk,ik->i", rest, inverse, rest, optimize=True))
    return Posterior(mean, variance, float(noise))


def _dense(weights: csr_array | Array) -> Array:
    if isinstance(weights, csr_array):
        return np.asarray(weights.toarray())
    return np.asarray(weights)


def effects(sums: Sums, relative: Array) -> tuple[tuple[Array, ...], Array]:
    """Best linear unbiased predictions: of the nested levels, finest first, and of the rest.

    The rest is one vector: levels of the crossed factors, then fixed effects.
    """
    out, scale, lower = _factor(sums, relative)
    size = len(scale)
    rest = scale * np.linalg.solve(lower[:size, :size].T, lower[size, :size])
    nested: list[Array] = []
    whole: Array | None = None
    for at in reversed(range(len(out.steps))):
        square, weight, counts, cross = out.steps[at]
        above = 0.0 if whole is None else whole[sums.parents[at].of]
        own = square / weight * (cross[:, -1] - cross[:, :-1] @ rest - counts * above)
        nested.insert(0, own)
        whole = own + above
    return tuple(nested), rest
