"""How far each model, class, service and person truly runs over: estimates with their spread."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import ndtr, stdtr

from analysis.arrays import Array, Codes
from analysis.findings.evidence import LEVEL
from analysis.findings.hours_model import HoursModel
from analysis.findings.mixed_effects import Combinations, posterior

# With more degrees of freedom than this, Student's distribution is the normal one.
_NORMAL_FROM: Final = 200
_HALVINGS: Final = 50
# Combinations are looked at in lots: their weights are plain matrices (targets × levels).
_AT_ONCE: Final = 500


@dataclass(frozen=True, eq=False)
class Spread:
    """Distributions of several quantities, each a mixture over what the variances may be.

    `mean`, `sd` : (quantities × nodes), in logs; `weight` : (nodes,); `noise_variance` : (nodes,);
    `free` : degrees of freedom.
    """

    mean: Array
    sd: Array
    weight: Array
    noise_variance: Array
    free: int

    def shifted(self) -> "Spread":
        """The same for the logarithm of the expected ratio: half the noise variance added.

        The mean of a lognormal variable is exp(μ + σ²/2) (Aitchison and Brown 1957).
        """
        mean = self.mean + self.noise_variance / 2
        return Spread(mean, self.sd, self.weight, self.noise_variance, self.free)

    def middle(self) -> Array:
        """The mean of each quantity. (quantities,)"""
        return np.asarray(self.mean @ self.weight)

    def below(self, value: float | Array) -> Array:
        """Probability that each quantity is under a value. (quantities,)"""
        value = np.asarray(value, dtype=np.float64)
        away = np.broadcast_to(value, (len(self.mean),))[:, None] - self.mean
        with np.errstate(divide="ignore", invalid="ignore"):
            z = np.where(self.sd > 0, away / self.sd, np.sign(away) * np.inf)
        z = np.where(np.isnan(z), 0.0, z)
        found = ndtr(z) if self.free > _NORMAL_FROM else stdtr(self.free, z)
        return np.asarray(found @ self.weight, dtype=np.float64)

    def quantile(self, share: float) -> Array:
        """The value under which each quantity lies with a probability. (quantities,)"""
        reach = 40 * self.sd.max(axis=1) + 1e-12
        low, high = self.mean.min(axis=1) - reach, self.mean.max(axis=1) + reach
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            is_under = self.below(middle) < share
            low, high = np.where(is_under, middle, low), np.where(is_under, high, middle)
        return np.asarray((low + high) / 2)


def spread_of(model: HoursModel, targets: Combinations) -> Spread:
    """What the model says about linear combinations of its effects."""
    number = len(targets.rest)
    mean = np.empty((number, len(model.nodes.weight)))
    variance, noise = np.empty_like(mean), np.empty(mean.shape[1])
    for first in range(0, number, _AT_ONCE):
        rows = slice(first, first + _AT_ONCE)
        some = targets.some(rows)
        found = posterior(model.sums, model.nodes.relative, some)
        mean[rows], variance[rows], noise = found.mean.T, found.variance.T, found.noise_variance
    return Spread(mean, np.sqrt(variance), model.nodes.weight, noise, model.sums.free)


def targets_of(
    model: HoursModel,
    rows: pd.DataFrame,
    group: Codes,
    weight: Array,
    *,
    with_factors: Sequence[tuple[str, ...]],
    with_service: bool = True,
    crew: csr_array | None = None,
) -> Combinations:
    """Linear combinations: for each group the weighted sum over its rows.

    `rows` : service, vehicle_class, make, model of each row; `group` : 0..k-1; `weight` : (rows,);
    `with_factors` : the nested factors that take part (the others stand at their average);
    `crew` : weights of people by group (groups × people), the average installer where not given. A
    level never seen counts as a fresh draw: give it a group of its own, of weight 1.
    """
    number = int(group.max()) + 1
    fresh = np.zeros((number, model.sums.factors))
    nested = []
    for at, (columns, levels) in enumerate(zip(model.nested, model.levels, strict=True)):
        if columns not in with_factors:
            nested.append(csr_array((number, len(levels))))
            continue
        found = levels.get_indexer(pd.MultiIndex.from_frame(rows[list(columns)]))
        known = found >= 0
        shape = (number, len(levels))
        nested.append(csr_array((weight[known], (group[known], found[known])), shape=shape))
        np.add.at(fresh[:, at], group[~known], weight[~known] ** 2)
    rest = np.zeros((number, sum(model.sums.crossed) + model.sums.fixed))
    people = sum(model.sums.crossed)
    if with_service:
        column = np.zeros(len(rows), dtype=np.int64)
        if len(model.services):
            column = model.services.get_indexer(pd.Index(rows["service"]))
            if (column < 0).any():
                raise ValueError("a service that the model of the hours never saw")
        np.add.at(rest, (group, people + column), weight)
    if model.has_crew:
        # The shop's average crew, not a crew of average people elsewhere: its effect is known best.
        rest[:, :people] = average_crew(model) if crew is None else crew.toarray()
    return Combinations(tuple(nested), rest, fresh)


def average_crew(model: HoursModel) -> Array:
    """Share of the shop's work by person, each line counting once. (people,)"""
    share = np.asarray(model.data.crew.sum(axis=0), dtype=np.float64)
    return np.asarray(share / share.sum())


def group_targets(
    model: HoursModel, keys: Sequence[str], with_factors: Sequence[tuple[str, ...]]
) -> tuple[pd.MultiIndex, Combinations]:
    """A target for each group of the model's own lines: the mean over them.

    The service effects averaged over the group's lines + the effects of `with_factors`.
    """
    lines = model.data.lines
    grouped = lines.groupby(list(keys), dropna=False, sort=True)
    group = np.asarray(grouped.ngroup(), dtype=np.int64)
    index = grouped.size().index
    weight = 1 / np.bincount(group)[group]
    if not isinstance(index, pd.MultiIndex):
        index = pd.MultiIndex.from_arrays([index], names=list(keys))
    return index, targets_of(model, lines, group, weight, with_factors=with_factors)


def service_targets(model: HoursModel) -> tuple[pd.MultiIndex, Combinations]:
    """A target for each service: its effect on the vehicles that the shop has had."""
    index, targets = group_targets(model, ["service"], ())
    lines = model.data.lines
    number, rows = len(index), np.zeros(len(lines), dtype=np.int64)
    weight = np.full(len(lines), 1 / len(lines))
    usual = targets_of(model, lines, rows, weight, with_factors=model.nested).plain().nested
    nested = tuple(np.repeat(each, number, axis=0) for each in usual)
    return index, Combinations(nested, targets.rest, targets.fresh)


def pooled_overruns(
    model: HoursModel, index: pd.MultiIndex, targets: Combinations, tolerance: float
) -> pd.DataFrame:
    """Expected overrun of the next job of each target, on `index`.

    Returns
    -------
    DataFrame
        `pooled_overrun_share`, `low_share`, `high_share` (90 %), `probability_over_tolerance`. The
        quantity is the expected ratio of actual to quoted hours less one, with half the noise
        variance (lognormal mean), at the shop's average crew.
    """
    spread = spread_of(model, targets).shifted()
    return pd.DataFrame(
        {
            "pooled_overrun_share": np.exp(spread.middle()) - 1,
            "low_share": np.exp(spread.quantile((1 - LEVEL) / 2)) - 1,
            "high_share": np.exp(spread.quantile((1 + LEVEL) / 2)) - 1,
            "probability_over_tolerance": 1 - spread.below(np.log1p(tolerance)),
        },
        index=index,
    )
