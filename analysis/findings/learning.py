"""What repetition does to hours: Wright's learning curve by service and model.

Wright's law: each doubling of the jobs done takes the average hours of all of them to the same
share, the learning rate. Source: Wright (1936), Journal of the Aeronautical Sciences 3:122-128.
Most pairs of a service and a model do not learn, and chance makes some look as if they did; so the
rates are pooled: the prior of a pair's rate is a mixture of normal distributions around no change,
narrow to wide, whose shares are learnt from all pairs (adaptive shrinkage: Stephens 2017,
Biostatistics 18:275-294).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Array
from analysis.errors import Unavailable
from analysis.findings.evidence import LEVEL
from analysis.findings.flagging import flags
from analysis.findings.hours_model import HoursModel
from analysis.findings.mixed_effects import effects
from analysis.periods import DAYS_A_YEAR

# A change of the average hours by less than this with each doubling is none that matters; common
# practice, no source. [share]
SMALLEST_CHANGE: Final = 0.02
# Exponents b of the curve that are weighed: learning rates from 57 % to 146 % a doubling.
EXPONENTS: Final = np.arange(-80, 56) / 100
# Standard deviations of the mixture, in exponents: from 1 % a doubling to 19 %.
WIDTHS: Final = np.array([0.01, 0.05, 0.3])
# What counts as seen of each width before any pair is, so that a handful of pairs cannot make the
# mixture sure of itself (a Dirichlet prior): few pairs learn.
BEFORE: Final = np.array([4.0, 4.0, 1.0])
# One line in a hundred is a slip, five times as far off as chance takes it (common practice, no
# source): a single first job that went wrong is no learning curve.
_SLIP_SHARE: Final = 0.01
_SLIP_WIDTH: Final = 5.0
# The noise is drawn towards that of the fitted hours with the weight of so many jobs.
_NOISE_JOBS: Final = 20.0
# What all jobs change by in a year is expected to lie within this. [standard deviation, log]
_YEARLY: Final = 0.05
# Where the change a year is weighed, in its standard errors as if every curve were known.
_AWAY: Final = np.array([-3.0, -1.5, 0.0, 1.5, 3.0])
_TURNS: Final = 10
_STEPS: Final = 3
_CLOSE: Final = 1e-3
_ROUNDS: Final = 300
_KEYS: Final = ["service", "make", "model"]
_OUT: Final = [
    *_KEYS,
    "jobs",
    "learning_rate_share",
    "low_share",
    "high_share",
    "probability_shrinks",
    "verdict",
]


def wright_average_factor(unit: npt.ArrayLike, rate: npt.ArrayLike) -> Array:
    """Average time of the first `unit` units ÷ the time of the first: n^b, with b = log2(rate).

    `unit` ≥ 1, `rate` as a share; they broadcast. Raises `ValueError` for a rate of 0.5 or less,
    at which a second unit would take no time, and for a unit under 1.
    """
    units, exponent = _checked(unit, rate)
    return np.asarray(units**exponent)


def wright_unit_factor(unit: npt.ArrayLike, rate: npt.ArrayLike) -> Array:
    """Time of one unit ÷ that of the first: n^(1+b) − (n−1)^(1+b), with b = log2(rate).

    The difference of two totals, n × the average factor. Arguments and errors as for
    `wright_average_factor`.
    """
    units, exponent = _checked(unit, rate)
    return np.asarray(units ** (1 + exponent) - (units - 1) ** (1 + exponent))


def _checked(unit: npt.ArrayLike, rate: npt.ArrayLike) -> tuple[Array, Array]:
    units, rates = np.asarray(unit, dtype=np.float64), np.asarray(rate, dtype=np.float64)
    if (rates <= 0.5).any():
        raise ValueError("a learning rate must be over 0.5")
    if (units < 1).any():
        raise ValueError("units are numbered from 1")
    return units, np.log2(rates)


@dataclass(frozen=True, eq=False)
class _Repeats:
    """The lines of the pairs that were done more than once.

    `pairs` : service, make, model and jobs, a row each; `pair` : which of them, by line; `number` :
    1 for the pair's first job, 2 for its second; `years` : since the first job of all;
    `log_ratio` : who did it allowed for, by line.
    """

    pairs: pd.DataFrame
    pair: npt.NDArray[np.int64]
    number: Array
    years: Array
    log_ratio: Array


@dataclass(frozen=True, eq=False)
class _Weighed:
    """What the lines say of each exponent, the level of the pair at its best. (pairs × exponents)

    `log_likelihood`; `squares` : sum of squared distances to the curve, slips counted for less, in
    units of the noise; `moved` : sum of distance × years around the pair's mean; `spread` : sum of
    squared years around it.
    """

    log_likelihood: Array
    squares: Array
    moved: Array
    spread: Array


def learning_curves(
    model: HoursModel, fewest: int, error_rate: float
) -> pd.DataFrame | Unavailable:
    """Learning rate of each service on each vehicle model with at least `fewest` jobs.

    Log of actual ÷ quoted hours, less the estimated effect of who did it and what all jobs change
    by in a year, follows Wright's unit curve; the level of a pair is its own. Hours are taken
    against the quote, so that the size of the job is allowed for: a shop whose quotes follow its
    learning shows none. Jobs are numbered from the first in the records, by day finished and then
    by row; a pair that was done before the records start had learnt by then, and shows less here.
    A line that the model holds back is not held here, since a first job may be far over the
    average of the later ones: a slip is told apart by its distance to the curve.

    Parameters
    ----------
    model : fitted by `fit_hours`
    fewest : jobs
    error_rate : accepted share of wrong verdicts

    Returns
    -------
    DataFrame
        service, make, model, jobs; `learning_rate_share` (0.87: each doubling of the jobs done
        takes the average hours to 87 %; median of the pooled posterior, so that a rate seen in few
        jobs stands nearer 1), `low_share`, `high_share` (its 90 % interval), `probability_shrinks`
        (of a rate under 0.98) and `verdict`: shrinks, grows (a rate over 1.02) or steady, where
        that is likelier than not and the expected share of wrong verdicts of its kind stays within
        `error_rate`; else cannot tell. In order of probability, then of the keys.
    """
    repeats = _repeats(model)
    often = (repeats.pairs["jobs"] >= fewest).to_numpy()
    if not often.any():
        return Unavailable(
            "learning_curves",
            ("jobs",),
            f"No service was done {fewest} times on one vehicle model: what repetition does "
            "cannot be told.",
        )
    posterior = _fit(repeats, model.fit.noise_sd)[often]
    below = _cumulated(posterior)
    shrinks = _at(below, np.log2(1 - SMALLEST_CHANGE))
    grows = 1 - _at(below, np.log2(1 + SMALLEST_CHANGE))
    table = repeats.pairs[often].assign(
        learning_rate_share=np.exp2(_quantile(below, 0.5)),
        low_share=np.exp2(_quantile(below, (1 - LEVEL) / 2)),
        high_share=np.exp2(_quantile(below, (1 + LEVEL) / 2)),
        probability_shrinks=shrinks,
        verdict=_verdicts(shrinks, grows, error_rate).to_numpy(),
    )
    order = ["probability_shrinks", *_KEYS]
    ordered = table.sort_values(order, ascending=[False, True, True, True], kind="stable")
    return ordered[_OUT].reset_index(drop=True)


def _repeats(model: HoursModel) -> _Repeats:
    lines = model.data.lines
    own = lines["log_ratio"].to_numpy(dtype=np.float64) - _crew_effect(model)
    years = (lines["finished_on"] - lines["finished_on"].min()).dt.days / DAYS_A_YEAR
    ordered = lines[[*_KEYS, "finished_on"]].assign(own=own, years=years)
    ordered = ordered.sort_values("finished_on", kind="stable")
    grouped = ordered.groupby(_KEYS, dropna=False, sort=True)
    ordered = ordered.assign(number=grouped.cumcount() + 1)
    again = ordered[grouped["own"].transform("size") > 1]
    grouped = again.groupby(_KEYS, dropna=False, sort=True)
    return _Repeats(
        grouped.size().rename("jobs").reset_index(),
        np.asarray(grouped.ngroup(), dtype=np.int64),
        again["number"].to_numpy(np.float64),
        again["years"].to_numpy(np.float64),
        again["own"].to_numpy(np.float64),
    )


def _crew_effect(model: HoursModel) -> Array:
    """What the people on each line make of it, as far as the fit can tell. [log]"""
    if not model.has_crew:
        return np.zeros(len(model.data.lines))
    _, rest = effects(model.sums, model.fit.relative)
    people = rest[: len(model.data.people)]
    return np.asarray(model.data.crew @ people, dtype=np.float64)


def _fit(repeats: _Repeats, expected_noise: float) -> Array:
    """Probability of each exponent by pair. (pairs × exponents)

    In turn with the shares of the mixture, the noise (around the pairs' own curves: that of the
    fitted hours knows of no curves and of no service on a model) and what all jobs change by in a
    year (quotes that drift are no learning), by expectation maximisation; then averaged over what
    is left open about the change a year.
    """
    noise, yearly = expected_noise, 0.0
    shares = BEFORE / BEFORE.sum()
    free = len(repeats.pair) - len(repeats.pairs) + _NOISE_JOBS
    for _ in range(_TURNS):
        weighed = _weigh(repeats, noise, yearly)
        posterior, shares, _ = _posterior(weighed.log_likelihood, shares)
        spread = (posterior * weighed.spread).sum() + (noise / _YEARLY) ** 2
        moved = (posterior * weighed.moved).sum() * noise - yearly * (noise / _YEARLY) ** 2
        squares = (posterior * weighed.squares).sum() * noise**2
        error, before = noise / np.sqrt(spread), (noise, yearly)
        yearly += moved / spread
        noise = float(np.sqrt((squares + _NOISE_JOBS * expected_noise**2) / free))
        if np.abs(np.subtract(before, (noise, yearly))).max() < _CLOSE:
            break
    nodes = yearly + _AWAY * error
    each = [_posterior(_weigh(repeats, noise, at).log_likelihood, shares) for at in nodes]
    log = np.array([found[2] for found in each]) - (nodes / _YEARLY) ** 2 / 2
    weight = np.exp(log - log.max())
    return np.asarray(np.tensordot(weight / weight.sum(), [found[0] for found in each], axes=1))


def _weigh(repeats: _Repeats, noise: float, yearly: float) -> _Weighed:
    """Weigh every exponent: chance is normal but for a few slips, which are normal and wider.

    The level of a pair and its slips are told in turn, from those at the exponent before.
    """
    pair, number = repeats.pair, len(repeats.pairs)
    found = np.empty((4, number, len(EXPONENTS)))
    own = (repeats.log_ratio - yearly * repeats.years) / noise
    weight = np.ones(len(own))
    for at, exponent in enumerate(EXPONENTS):
        left = own - np.log(wright_unit_factor(repeats.number, np.exp2(exponent))) / noise
        for _ in range(_STEPS if at else 2 * _STEPS):
            total = np.bincount(pair, weight, number)
            away = left - (np.bincount(pair, weight * left, number) / total)[pair]
            plain = np.exp(-(away**2) / 2) * (1 - _SLIP_SHARE)
            slip = np.exp(-((away / _SLIP_WIDTH) ** 2) / 2) * _SLIP_SHARE / _SLIP_WIDTH
            # Never 0, so that a line a hundred standard deviations off is a slip, no error.
            density = np.maximum(plain + slip, 1e-300)
            weight = np.maximum((plain + slip / _SLIP_WIDTH**2) / density, 1 / _SLIP_WIDTH**2)
        late = repeats.years - (np.bincount(pair, weight * repeats.years, number) / total)[pair]
        found[0, :, at] = np.bincount(pair, np.log(density), number)
        found[1, :, at] = np.bincount(pair, weight * away**2, number)
        found[2, :, at] = np.bincount(pair, weight * away * late, number)
        found[3, :, at] = np.bincount(pair, weight * late**2, number)
    return _Weighed(*found)


def _posterior(log_likelihood: Array, shares: Array) -> tuple[Array, Array, float]:
    """Probability of each exponent by pair, shares of the mixture learnt from all, log evidence."""
    most = log_likelihood.max(axis=1, keepdims=True)
    likelihood = np.exp(log_likelihood - most)
    prior = np.exp(-((EXPONENTS / WIDTHS[:, None]) ** 2) / 2)
    prior = prior / prior.sum(axis=1, keepdims=True)
    seen = likelihood @ prior.T
    for _ in range(_ROUNDS):
        belonging = seen * shares
        counted = (belonging / belonging.sum(axis=1, keepdims=True)).sum(axis=0) + BEFORE
        before, shares = shares, counted / counted.sum()
        if np.abs(shares - before).max() < 1e-6:
            break
    posterior = likelihood * (shares @ prior)
    total = posterior.sum(axis=1, keepdims=True)
    return posterior / total, shares, float((np.log(total) + most).sum())


def _cumulated(posterior: Array) -> Array:
    """Probability of an exponent up to each edge between those weighed. (pairs × exponents + 1)"""
    return np.concatenate([np.zeros((len(posterior), 1)), np.cumsum(posterior, axis=1)], axis=1)


def _edges() -> Array:
    step = EXPONENTS[1] - EXPONENTS[0]
    return np.append(EXPONENTS - step / 2, EXPONENTS[-1] + step / 2)


def _at(below: Array, exponent: float) -> Array:
    """Probability of an exponent under the given one. (pairs,)"""
    edges = _edges()
    at = int(np.searchsorted(edges, exponent)) - 1
    part = (exponent - edges[at]) / (edges[at + 1] - edges[at])
    return np.asarray(below[:, at] + part * (below[:, at + 1] - below[:, at]))


def _quantile(below: Array, share: float) -> Array:
    """The exponent under which each pair lies with a probability. (pairs,)"""
    edges, row = _edges(), np.arange(len(below))
    at = np.clip((below < share).sum(axis=1) - 1, 0, len(edges) - 2)
    mass = below[row, at + 1] - below[row, at]
    return np.asarray(edges[at] + (share - below[row, at]) / mass * (edges[at + 1] - edges[at]))


def _verdicts(shrinks: Array, grows: Array, error_rate: float) -> pd.Series:
    verdict = pd.Series("cannot tell", index=range(len(shrinks)), dtype="str")
    kinds = {"shrinks": shrinks, "grows": grows, "steady": 1 - shrinks - grows}
    for word, probability in kinds.items():
        found = pd.Series(probability)
        verdict = verdict.mask(flags(found, error_rate).astype(bool) & (found > 0.5), word)
    return verdict
