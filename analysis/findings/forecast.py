"""The hours of the next job: a distribution for any service, model and person.

The same kind of model as for the overruns, but of log(actual ÷ usual hours), usual hours being
those that the shop counts on today, and with a service on a model as a level of its own. The
distribution holds the error of every effect, the spread of the models never seen, whoever may do
the job, and the chance from job to job as it was seen (not a normal curve laid over it).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import ndtr, ndtri

from analysis.arrays import Array
from analysis.errors import Unavailable
from analysis.findings.hours_model import (
    CELL,
    CLASS,
    HELD_AT,
    LEAST_NOISE,
    MODEL,
    HoursData,
    HoursModel,
    fit_hours,
)
from analysis.findings.pooling import average_crew, spread_of, targets_of
from analysis.findings.usual_hours import UsualHours, usual_hours
from analysis.periods import DAYS_A_YEAR

# The chance from job to job stands as so many equally likely values.
_ATOMS: Final = 61
# It is drawn towards a normal curve with the weight of so many jobs, and the noise of a service
# towards that of all with the weight of so many.
_NORMAL_JOBS: Final = 50
_SERVICE_JOBS: Final = 30
_HALVINGS: Final = 45
_MONTHS_OF_CREW: Final = 12
# A change a year is allowed for where the lines span so many years; most shops' is under 4 %.
_YEARS_FOR_TREND: Final = 1.5
_DRIFT_SD: Final = 0.04


@dataclass(frozen=True, eq=False)
class HoursForecaster:
    """What a forecast needs: the fitted hours, the usual hours, and the chance from job to job.

    `chance` : equally likely departures in standard deviations, (atoms,); `noise` : standard
    deviation of the noise by service, in logs; `crew` : share of each service's work by person
    (services × people); `crew_variance` : how the crews of its jobs differ, by service
    [log²]; `held` : by line, whether it was held back as far off.
    """

    model: HoursModel
    usual: UsualHours
    chance: Array
    noise: pd.Series
    crew: pd.DataFrame
    crew_variance: pd.Series
    held: npt.NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class HoursForecast:
    """Distributions of the hours of jobs, one a row.

    `usual` : usual hours [h]; `mean`, `sd` : of the log of hours ÷ usual hours, chance apart;
    `noise` : standard deviation of the chance; `chance` : its departures, equally likely.
    """

    usual: Array
    mean: Array
    sd: Array
    noise: Array
    chance: Array

    def below(self, log_ratio: Array) -> Array:
        """Probability of hours under usual hours × exp(`log_ratio`). (jobs,)"""
        away = log_ratio - self.mean
        steps = away[:, None] - self.noise[:, None] * self.chance
        return np.asarray(ndtr(steps / self.sd[:, None]).mean(axis=1))

    def quantile(self, share: float) -> Array:
        """Hours inside which each job finishes with a probability. [h]"""
        reach = 8 * self.sd + self.noise * (np.abs(self.chance).max() + 1)
        low, high = self.mean - reach, self.mean + reach
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            is_under = self.below(middle) < share
            low, high = np.where(is_under, middle, low), np.where(is_under, high, middle)
        return np.asarray(self.usual * np.exp((low + high) / 2))

    def expected(self) -> Array:
        """Mean hours. [h]"""
        chance = np.exp(self.noise[:, None] * self.chance).mean(axis=1)
        return np.asarray(self.usual * np.exp(self.mean + self.sd**2 / 2) * chance)


def learn_hours(
    data: HoursData,
    price_list: pd.DataFrame,
    day: pd.Timestamp,
    start: Mapping[tuple[str, ...], float] | None = None,
) -> HoursForecaster | Unavailable:
    """Learn from jobs finished by a day, to forecast jobs quoted after it.

    `data` holds only such jobs; `start` : relative sds to begin the fit from, by factor.
    """
    lines = data.lines
    if lines.empty:
        return Unavailable("hours_model", ("jobs",), "No finished job has quoted and actual hours.")
    usual = usual_hours(lines, price_list, day)
    log_ratio = np.log(lines["actual_hours"].to_numpy(float) / usual.of(lines).to_numpy())
    # A slip of the pen on a service that a model had once would pass for what the service takes on
    # it; so it is held first by what the model and the class say.
    coarse = fit_hours(data, response=log_ratio, polish=False, spread=False)
    if isinstance(coarse, Unavailable):
        return coarse
    since = _up_to_date(coarse, day)
    log_ratio = log_ratio + since
    held = coarse.held_response + since
    model = fit_hours(data, (CELL, MODEL, CLASS), response=held, start=start, polish=False)
    if isinstance(model, Unavailable):
        return model
    bound = HELD_AT * model.fit.noise_sd
    residual = np.clip(log_ratio - model.expected, -bound, bound)
    noise = _service_noise(residual, lines["service"], max(model.fit.noise_sd, LEAST_NOISE))
    crew, differ = _crews(model)
    is_held = coarse.held | model.held
    return HoursForecaster(model, usual, _chance(residual), noise, crew, differ, is_held)


def _up_to_date(model: HoursModel, day: pd.Timestamp) -> Array:
    """What to add to each line's log so that hours that drift stand as of the day. (lines,)

    The change a year of what the model leaves over, within services, drawn towards none by its
    error (a normal prior of `_DRIFT_SD`); none where the lines span too little to tell.
    """
    lines = model.data.lines
    years = pd.Series((lines["finished_on"] - day).dt.days / DAYS_A_YEAR)
    within = (years - years.groupby(lines["service"]).transform("mean")).to_numpy(float)
    spread = float((within**2).sum())
    if float(np.ptp(years)) < _YEARS_FOR_TREND or not spread:
        return np.zeros(len(lines))
    left = model.held_response - model.expected
    slope = float(within @ left) / spread
    error = model.fit.noise_sd**2 / spread
    slope *= _DRIFT_SD**2 / (_DRIFT_SD**2 + error)
    return np.asarray(-slope * years.to_numpy(float))


def _chance(residual: Array) -> Array:
    """Equally likely departures of mean 0 and variance 1: those seen, drawn towards the normal."""
    share = (np.arange(_ATOMS) + 0.5) / _ATOMS
    seen = np.quantile(residual, share)
    seen = (seen - seen.mean()) / max(float(seen.std()), 1e-9)
    weight = len(residual) / (len(residual) + _NORMAL_JOBS)
    mixed = weight * seen + (1 - weight) * ndtri(share)
    return np.asarray((mixed - mixed.mean()) / mixed.std())


def _service_noise(residual: Array, service: pd.Series, noise: float) -> pd.Series:
    """Standard deviation of the chance by service; few jobs are drawn towards that of all. [log]"""
    squares = pd.Series((residual**2) / max(float((residual**2).mean()), 1e-12))
    grouped = squares.groupby(service.to_numpy())
    ratio = (grouped.sum() + _SERVICE_JOBS) / (grouped.size() + _SERVICE_JOBS)
    return ratio.pow(0.5) * noise


def _crews(model: HoursModel) -> tuple[pd.DataFrame, pd.Series]:
    """Each service's work by person over its last twelve months, and how its crews' pace differs.

    Shares (services × people), and the variance over lines of the effect of the crew [log²].
    """
    data = model.data
    days = data.lines["finished_on"]
    recent = (days > days.max() - pd.DateOffset(months=_MONTHS_OF_CREW)).to_numpy()
    service = data.lines.loc[recent, "service"].to_numpy()
    shares = data.crew[recent].toarray()
    by_service = pd.DataFrame(shares, columns=data.people).groupby(service).sum()
    total = by_service.sum(axis=1)
    pace = shares @ model.fit.crossed_effects[0] if model.has_crew else np.zeros(len(shares))
    differ = pd.Series(pace).groupby(service).var(ddof=0)
    return by_service[total > 0].div(total[total > 0], axis=0), differ


def forecast_hours(
    forecaster: HoursForecaster, rows: pd.DataFrame, installer: pd.Series | None = None
) -> HoursForecast:
    """Forecast the hours of jobs to come.

    `rows` : service (one that was done before), vehicle_class, make, model; `installer` : who will
    do each, where that is known: a name that never worked counts as a fresh person; missing: the
    people who do such work, and how they differ.
    """
    model = forecaster.model
    number = len(rows)
    crew = _crew_weights(forecaster, rows["service"], installer)
    targets = targets_of(
        model,
        rows,
        np.arange(number),
        np.ones(number),
        with_factors=model.nested,
        crew=csr_array(crew),
    )
    extra = np.zeros(number)
    if model.has_crew:
        is_known = crew.sum(axis=1) > 0
        targets.fresh[:, -1] = np.where(is_known, 0.0, 1.0)
        if installer is None or installer.isna().any():
            differ = rows["service"].map(forecaster.crew_variance).fillna(0.0).to_numpy(float)
            named = np.zeros(number, bool) if installer is None else installer.notna().to_numpy()
            extra = np.where(named, 0.0, differ)
    spread = spread_of(model, targets)
    mean = spread.middle()
    variance = (spread.sd**2 + (spread.mean - mean[:, None]) ** 2) @ spread.weight + extra
    noise = rows["service"].map(forecaster.noise).to_numpy(dtype=np.float64)
    return HoursForecast(
        forecaster.usual.of(rows).to_numpy(dtype=np.float64),
        mean,
        np.sqrt(variance),
        np.where(np.isnan(noise), model.fit.noise_sd, noise),
        forecaster.chance,
    )


def _crew_weights(
    forecaster: HoursForecaster, service: pd.Series, installer: pd.Series | None
) -> Array:
    """Weights of people by row; a row of zeros is a person never seen."""
    model = forecaster.model
    people = model.data.people
    if not model.has_crew:
        return np.zeros((len(service), 0))
    usual = forecaster.crew.reindex(service.to_numpy()).to_numpy(copy=True)
    usual[np.isnan(usual).any(axis=1)] = average_crew(model)
    if installer is None:
        return np.asarray(usual)
    at = people.get_indexer(pd.Index(installer))
    one = (at[:, None] == np.arange(len(people))).astype(float)
    return np.where(installer.notna().to_numpy()[:, None], one, usual)
