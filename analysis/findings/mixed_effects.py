"""What a fitted mixed model says: its effects, and linear combinations of them with their error.

Sources: Harville (1977), Journal of the American Statistical Association 72:320-338, for the best
linear unbiased predictions and their errors, those of the fixed effects included.
"""

from dataclasses import dataclass, fields

import numpy as np
from scipy.sparse import csr_array

from analysis.arrays import Array
from analysis.findings.mixed import AT_ONCE, Sums, factor, solve


@dataclass(frozen=True, eq=False)
class Posterior:
    """Means and variances of linear combinations, given the relative standard deviations.

    (targets,), and one noise variance; of several points, with those as first axis.
    """

    mean: Array
    variance: Array
    noise_variance: Array


@dataclass(frozen=True, eq=False)
class Combinations:
    """Linear combinations to be estimated, one a row.

    `nested` : weights on the levels of each nested factor, finest first (rows × levels, sparse or
    not);
    `rest` : weights on the levels of the crossed factors and on X (rows × columns); `fresh` : sum
    of squared weights on levels never seen, by factor (rows × factors), nested first.
    """

    nested: tuple[csr_array | Array, ...]
    rest: Array
    fresh: Array

    def plain(self) -> "Combinations":
        """All of them, with plain matrices."""
        return self.some(slice(None))

    def some(self, rows: slice) -> "Combinations":
        """Some of them, with plain matrices."""
        nested = tuple(_dense(each[rows]) for each in self.nested)
        return Combinations(nested, self.rest[rows], self.fresh[rows])


def posterior(sums: Sums, relative: Array, targets: Combinations) -> Posterior:
    """Means and variances of the targets, errors of the fixed effects included.

    Given the relative sds, (factors,) or (points × factors), which what is found then has as its
    first axis; the noise variance is the estimate at them, with `sums.free` degrees of freedom.
    """
    if relative.ndim == 1:
        found = posterior(sums, relative[None], targets)
        return Posterior(found.mean[0], found.variance[0], found.noise_variance[0])
    several = max(1, AT_ONCE // max(sums.cross.size, len(targets.rest) * len(sums.counts), 1))
    lots = [relative[first : first + several] for first in range(0, len(relative), several)]
    parts = [_posterior(sums, lot, targets) for lot in lots]
    names = [each.name for each in fields(Posterior)]
    return Posterior(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def _posterior(sums: Sums, relative: Array, targets: Combinations) -> Posterior:
    out, scale, lower = factor(sums, relative)
    solved, inverse = (np.array(each) for each in zip(*map(solve, lower), strict=True))
    noise = lower[:, -1, -1] ** 2 / sums.free
    rest = targets.rest * scale[:, None, :]
    constant = np.zeros(rest.shape[:2])
    own = relative**2 @ targets.fresh.T
    carried = np.zeros((1, 1, 1))
    for at, step in enumerate(out.steps):
        square, weight, counts, cross = step.of_points()
        share = square / weight
        on = _dense(targets.nested[at]) + carried
        pulled = on * share[:, None, :]
        constant = constant + (pulled @ cross[:, :, -1:])[:, :, 0]
        rest = rest - (pulled @ cross[:, :, :-1]) * scale[:, None, :]
        own = own + (on**2 @ share[:, :, None])[:, :, 0]
        if at + 1 < len(out.steps):
            # A level gives way to all that stand above it, not to its parent alone.
            carried = sums.parents[at].sums(carried - pulled * counts[:, None, :], -1)
    mean = constant + (rest @ solved[:, :, None])[:, :, 0]
    variance = noise[:, None] * (own + ((rest @ inverse) * rest).sum(axis=-1))
    return Posterior(mean, variance, noise)


def _dense(weights: csr_array | Array) -> Array:
    if isinstance(weights, csr_array):
        return np.asarray(weights.toarray())
    return np.asarray(weights)


def effects(sums: Sums, relative: Array) -> tuple[tuple[Array, ...], Array]:
    """Best linear unbiased predictions: of the nested levels, finest first, and of the rest.

    The rest is one vector: levels of the crossed factors, then fixed effects.
    """
    out, (scale,), (lower,) = factor(sums, relative[None])
    size = len(scale)
    rest = scale * np.linalg.solve(lower[:size, :size].T, lower[size, :size])
    nested: list[Array] = []
    whole: Array | None = None
    for at in reversed(range(len(out.steps))):
        square, weight, counts, cross = (each[0] for each in out.steps[at].of_points())
        above = 0.0 if whole is None else whole[sums.parents[at].of]
        own = square / weight * (cross[:, -1] - cross[:, :-1] @ rest - counts * above)
        nested.insert(0, own)
        whole = own + above
    return tuple(nested), rest
