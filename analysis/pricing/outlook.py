"""What the coming year may bring at given prices, beside holding them all: many years by chance."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.findings.evidence import LEVEL
from analysis.pricing.demand import Array, Demand
from analysis.pricing.price_choice import MOST_FREED, chances, demand_rows, unit_costs
from analysis.pricing.price_lines import PriceTerms
from analysis.settings import Settings

_YEARS: Final = 1_000
_SEED: Final = 1
_UNCHANGED: Final = (
    "Where it is not known what customers do at another price, today's price and jobs are counted."
)
_LEFT_OUT: Final = "Cells whose cost or price is not known are left out."


@dataclass(frozen=True)
class OutlookSpread:
    """Mean of a year's money, and the ends of its 90 % interval. [money a year]"""

    mean: float
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Outlook:
    """The coming year at given prices, at today's, and what the difference brings.

    `freed` : on top of the difference, what the hours of the jobs lost earn where they are filled;
    `jobs`, `held_jobs` : mean jobs a year; `hours`, `held_hours` : mean person hours [h]; `cells` :
    `service, vehicle_class, jobs, held_jobs, difference` (means, a row a basis row; missing where
    the cell is left out); `notes` : what was assumed.
    """

    total: OutlookSpread
    held: OutlookSpread
    difference: OutlookSpread
    freed: OutlookSpread
    probability_gains: float
    jobs: float
    held_jobs: float
    hours: float
    held_hours: float
    cells: pd.DataFrame
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Year:
    """By draw and cell: jobs, mean price paid ÷ list price, and both at held prices."""

    jobs: Array
    paid: Array
    held_jobs: Array
    held_paid: Array


def year_outlook(
    basis: pd.DataFrame,
    demand: Demand | None,
    settings: Settings,
    prices: pd.Series,
    draws: int = _YEARS,
    seed: int = _SEED,
) -> Outlook:
    """Contribution of the coming year at given prices and at today's, by the same chances.

    Parameters
    ----------
    basis : the frame of `price_basis`, with `jobs_year` (first-time jobs of the last four
        quarters), which a cell without a learnt answer to its price keeps.
    prices : a list price a basis row, same order; missing: today's. [money, as written]
    draws : so many years.

    Notes
    -----
    By cell and year: enquiries are Poisson about a mean that is known as well as last year's count
    tells it (gamma); a job is won with the chance of a posterior draw, and those won at the dearer
    of two prices are among those won at the cheaper. Hours of n jobs are lognormal with the mean
    and variance of a sum of n (Fenton 1960, IRE Transactions on Communications Systems 8:57-67;
    from memory). The expected cost's error is one draw a service. Prices around the list count at
    their mean. Hours that lost jobs free save their wages; where hours are short, what they earn
    beyond that (`hour_value`), as far as they are no more than a twentieth of all, stands apart.
    """
    rng = np.random.default_rng(seed)
    basis = basis.reset_index(drop=True)
    today = basis["current_price"].to_numpy(float)
    asked = np.where(np.isfinite(prices.to_numpy(float)), prices.to_numpy(float), today)
    known = np.isfinite(today) & basis["expected_cost"].notna().to_numpy()
    at = demand_rows(basis, demand)
    learnt = np.zeros(len(basis), dtype=bool)
    if demand is not None and (at >= 0).any():
        # Jobs without an enquiry: the quotes name no class, or another; the jobs stand for them.
        asked_for = demand.cells["enquiries"].to_numpy(float)[at] > 0
        idle = basis["jobs_year"].fillna(0.0).to_numpy(float) == 0
        learnt = (at >= 0) & demand.cells["learnt"].to_numpy(bool)[at] & known & (asked_for | idle)
    # No curve is pretended: what is not learnt stays at today's price.
    asked = np.where(learnt, asked, today)
    year = _year(basis, demand, at, np.log(asked / today), learnt, draws, rng)
    money, held, hours, held_hours = _money(basis, settings, asked, today, year, known, rng)
    freed = _freed(basis, year, known).sum(axis=1)
    total, of_held = money.sum(axis=1), held.sum(axis=1)
    notes = [_UNCHANGED] * bool((known & ~learnt).any()) + [_LEFT_OUT] * bool((~known).any())
    cells = basis[["service", "vehicle_class"]].assign(
        jobs=np.where(known, year.jobs.mean(axis=0), np.nan),
        held_jobs=np.where(known, year.held_jobs.mean(axis=0), np.nan),
        difference=np.where(known, (money - held).mean(axis=0), np.nan),
    )
    return Outlook(
        _spread(total),
        _spread(of_held),
        _spread(total - of_held),
        _spread(freed),
        float((total > of_held).mean()) if (asked != today)[known].any() else np.nan,
        float(cells["jobs"].sum()),
        float(cells["held_jobs"].sum()),
        hours,
        held_hours,
        cells,
        tuple(notes),
    )


def _year(
    basis: pd.DataFrame,
    demand: Demand | None,
    at: np.ndarray,
    step: Array,
    learnt: np.ndarray,
    draws: int,
    rng: np.random.Generator,
) -> _Year:
    """Jobs and prices of every year by chance; cells that are not learnt keep their jobs."""
    shape = (draws, len(basis))
    kept = rng.poisson(_rates(basis["jobs_year"].fillna(0.0).to_numpy(float), draws, rng))
    jobs, held_jobs = kept.astype(float), kept.astype(float)
    paid = np.broadcast_to(np.exp(step), shape).copy()
    held_paid = np.ones(shape)
    if demand is None or not learnt.any():
        return _Year(jobs, paid, held_jobs, held_paid)
    steps = np.column_stack([step[learnt], np.zeros(int(learnt.sum()))])
    won, income = chances(demand, at[learnt], steps)
    pick = rng.integers(0, won.shape[0], draws)
    won, income = won[pick], income[pick]
    last_year = 4 * demand.cells["enquiries"].to_numpy(float)[at[learnt]]
    enquiries = rng.poisson(_rates(last_year, draws, rng))
    more, fewer = won.max(axis=2), won.min(axis=2)
    at_cheaper = rng.binomial(enquiries, np.clip(more, 0, 1))
    at_dearer = rng.binomial(at_cheaper, np.clip(fewer / np.maximum(more, 1e-12), 0, 1))
    is_dearer = won[:, :, 0] <= won[:, :, 1]
    jobs[:, learnt] = np.where(is_dearer, at_dearer, at_cheaper)
    held_jobs[:, learnt] = np.where(is_dearer, at_cheaper, at_dearer)
    mean = income / np.maximum(won, 1e-12)
    paid[:, learnt], held_paid[:, learnt] = mean[:, :, 0], mean[:, :, 1]
    return _Year(jobs, paid, held_jobs, held_paid)


def _rates(count: Array, draws: int, rng: np.random.Generator) -> Array:
    """Means that a count of last year leaves open: gamma about it."""
    return rng.gamma(np.maximum(count, 1e-9), 1.0, (draws, len(count))) * (count > 0)


def _money(
    basis: pd.DataFrame,
    settings: Settings,
    asked: Array,
    today: Array,
    year: _Year,
    known: np.ndarray,
    rng: np.random.Generator,
) -> tuple[Array, Array, float, float]:
    """Contribution by year and cell at the prices asked and held, and mean hours of both."""
    terms = PriceTerms.of(settings)
    draws = len(year.jobs)
    expected = basis["expected_hours"].to_numpy(float)
    an_hour = (basis["labour_rate"] + basis["consumables_rate"]).to_numpy(float)
    rest = basis["expected_cost"].to_numpy(float) - expected * an_hour
    codes, services = pd.factorize(basis["service"])
    error = rng.standard_normal((draws, len(services)))[:, codes]
    error = error * basis["cost_error"].fillna(0.0).to_numpy(float)
    normal = rng.standard_normal(year.jobs.shape)
    takes = basis["expected_hours"].where(basis["expected_hours"] > 0)
    spread = (basis["expected_hours_sd"] / takes).fillna(0.0).to_numpy(float)
    kept = terms.kept_share

    def of(jobs: Array, paid: Array) -> tuple[Array, Array]:
        # The variance of the log of a sum of so many lognormals.
        log = np.log1p(spread**2 / np.maximum(jobs, 1.0))
        hours = jobs * expected * np.exp(np.sqrt(log) * normal - log / 2)
        left = jobs * (today * paid * kept - terms.card_fixed - rest - error) - hours * an_hour
        return np.where(known, left, 0.0), np.where(known, hours, 0.0)

    money, hours = of(year.jobs, year.paid)
    held, held_hours = of(year.held_jobs, year.held_paid)
    return money, held, float(hours.sum(axis=1).mean()), float(held_hours.sum(axis=1).mean())


def _freed(basis: pd.DataFrame, year: _Year, known: np.ndarray) -> Array:
    """What hours of lost jobs earn elsewhere, by year and cell; a cost where jobs are more."""
    beyond = np.where(known, unit_costs(basis)[1].to_numpy(float), 0.0)
    short = np.where(known, basis["short_hours_each"].fillna(0.0).to_numpy(float), 0.0)
    lost = year.held_jobs - year.jobs
    freed = (lost * short).sum(axis=1)
    most = MOST_FREED * (year.held_jobs * short).sum(axis=1)
    part = np.where(freed > most, most / np.where(freed > 0, freed, 1.0), 1.0)
    return np.asarray(lost * beyond * part[:, None])


def _spread(money: Array) -> OutlookSpread:
    low, high = np.quantile(money, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return OutlookSpread(float(money.mean()), float(low), float(high))
