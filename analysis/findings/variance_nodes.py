"""What the data leave open about the variances of a mixed model, as a few weighted points."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.arrays import Array, Mask
from analysis.findings.mixed import Fit, Sums, reml_criteria


@dataclass(frozen=True, eq=False)
class Nodes:
    """Relative sds that stand for what the data leave open about them; weights sum to 1."""

    relative: Array
    weight: Array


def spread_nodes(
    sums: Sums,
    fit: Fit,
    prior_sd: Sequence[float] | Array,
    number: int = 64,
    free: Mask | None = None,
) -> Nodes:
    """Points over the likelihood of the variances, so that their error is carried on.

    The restricted likelihood × a half-normal prior of scale `prior_sd` (in units of y, a factor
    each) on every standard deviation (Gelman 2006, Bayesian Analysis 1:515-534), by importance
    sampling over a fixed Sobol sequence; the proposal is the product of the conditional densities
    at the optimum. `free` : which factors vary; the others stay as fitted.
    """
    varies = np.flatnonzero(np.ones(sums.factors, dtype=bool) if free is None else free)
    if not varies.size:
        return Nodes(fit.relative[None, :], np.ones(1))
    scale = np.asarray(prior_sd)[varies] / fit.noise_sd
    points = np.tile(fit.relative, (number, 1))
    # Imported here, as it takes half a second that not every command needs.
    from scipy.stats import qmc

    uniform = (qmc.Sobol(len(varies), scramble=False).random(number) + 0.5 / number) % 1
    log_proposal = np.zeros(number)
    for which, at in enumerate(varies):
        grid, density = _conditional(sums, fit, int(at), scale[which])
        points[:, at], log_density = _drawn(grid, density, uniform[:, which])
        log_proposal += log_density
    log_target = -reml_criteria(sums, points) / 2
    log_target -= (points[:, varies] ** 2 / (2 * scale**2)).sum(axis=1)
    log_weight = log_target - log_proposal
    weight = np.exp(log_weight - log_weight.max())
    kept = weight > weight.max() * 1e-4
    return Nodes(points[kept], weight[kept] / weight[kept].sum())


def _conditional(sums: Sums, fit: Fit, at: int, scale: float) -> tuple[Array, Array]:
    """A grid over one relative sd and its density there, the others at the optimum."""
    centre = fit.relative[at]
    widest = max(3 * centre, 0.1)
    for _ in range(12):
        grid = widest * np.linspace(0, 1, 25) ** 1.5
        points = np.tile(fit.relative, (len(grid), 1))
        points[:, at] = grid
        log_density = -reml_criteria(sums, points) / 2 - grid**2 / (2 * scale**2)
        density = np.exp(0.8 * (log_density - log_density.max()))
        if density[-1] < 1e-3:
            break
        widest *= 2
    seen = density > 1e-3
    last = int(np.flatnonzero(seen)[-1]) + 1
    return grid[: last + 1], density[: last + 1]


def _drawn(grid: Array, density: Array, uniform: Array) -> tuple[Array, Array]:
    """Points of a piecewise linear density at given probabilities, and its logarithm there."""
    width = np.diff(grid)
    mass = (density[1:] + density[:-1]) / 2 * width
    total = mass.sum()
    before = np.concatenate([[0.0], np.cumsum(mass)]) / total
    piece = np.clip(np.searchsorted(before, uniform, side="right") - 1, 0, len(width) - 1)
    left, slope = density[piece] / total, np.diff(density)[piece] / width[piece] / total
    wanted = uniform - before[piece]
    root = np.sqrt(np.maximum(left**2 + 2 * slope * wanted, 0.0))
    step = np.where(left + root > 0, 2 * wanted / np.maximum(left + root, 1e-300), 0.0)
    step = np.clip(step, 0.0, width[piece])
    return grid[piece] + step, np.log(np.maximum(left + slope * step, 1e-300))
