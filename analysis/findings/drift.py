"""Whether the shop's quoting drifts: hours over the quote by quarter, and their trend."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.sparse import csr_array
from scipy.special import stdtrit

from analysis.arrays import Array, Codes
from analysis.findings.evidence import LEVEL
from analysis.findings.hours_model import HoursModel, nested_codes, service_columns, sums_of
from analysis.findings.mixed import fit_reml
from analysis.findings.mixed_effects import Combinations, posterior
from analysis.periods import DAYS_A_YEAR, quarter_from_index, quarter_index
from analysis.settings import Settings
from analysis.sums import ratio

A_YEAR: Final = "change a year"
# How far a quarter may lie from the others before its jobs speak. [standard deviation, log]
# Common practice, no source: it keeps a quarter of two odd jobs from standing far off, and a
# quarter of twenty jobs hardly feels it.
QUARTER_SD: Final = 0.3
# A change a year is told from so many quarters on.
FEWEST_QUARTERS: Final = 4
# Sum of squared years, around the mean of each service, under which there is no trend to be told.
_LEAST_SPREAD: Final = 1e-3


@dataclass(frozen=True, eq=False)
class _Estimate:
    """An estimate and its standard error, in logs; missing where it cannot be told."""

    mean: Array
    sd: Array


_UNKNOWN: Final = _Estimate(np.array([np.nan]), np.array([np.nan]))


def quoting_drift(model: HoursModel, settings: Settings) -> pd.DataFrame:
    """Hours over the quote by fiscal quarter, like for like, and their change a year.

    Parameters
    ----------
    model : fitted by `fit_hours`
    settings : `fiscal_year_starts` is used

    Returns
    -------
    DataFrame
        One row for each quarter from the first to the last with a finished job, then one whose
        period is "change a year". `jobs`; `overrun_share` = Σ actual ÷ Σ quoted − 1 of the lines of
        the quarter (missing in the last row); `like_for_like_share`, `low_share`, `high_share`
        (90 %): hours of the quarter ÷ hours that the same services, vehicles and people take on the
        average of all lines, less one. It is the quarter's effect in the mixed model, the variances
        as fitted, less the mean of the effects over all lines. In the last row the factor a year
        less one, of a straight line in the logs: a fixed effect of the model fitted anew, with its
        error. Missing for a quarter without a job; in the last row also with jobs in fewer than
        `FEWEST_QUARTERS` quarters, or where the lines of each service are of about one day.
    """
    lines = model.data.lines
    quarter = quarter_index(lines["finished_on"], settings.fiscal_year_starts)
    first, last = int(quarter.min()), int(quarter.max())
    numbers = range(first, last + 1)
    sums = lines.groupby(quarter)[["actual_hours", "quoted_hours"]].sum().reindex(numbers)
    jobs = lines.groupby(quarter).size().reindex(numbers, fill_value=0)
    at = np.asarray(quarter - first, dtype=np.int64)
    by_quarter = _quarters(model, at, np.asarray(jobs, dtype=np.float64))
    labels = [quarter_from_index(each, settings.fiscal_year_starts).label for each in numbers]
    table = pd.DataFrame(
        {
            "period": labels,
            "jobs": jobs.to_numpy(),
            "overrun_share": (ratio(sums["actual_hours"], sums["quoted_hours"]) - 1).to_numpy(),
        }
    ).assign(**_shares(by_quarter if (jobs > 0).sum() > 1 else _UNKNOWN, model.sums.free))
    yearly = pd.DataFrame({"period": [A_YEAR], "jobs": [len(lines)], "overrun_share": [np.nan]})
    change = change_a_year(model) if (jobs > 0).sum() >= FEWEST_QUARTERS else _UNKNOWN
    trend = yearly.assign(**_shares(change, model.sums.free - 1))
    return pd.concat([table, trend], ignore_index=True)


def change_a_year(model: HoursModel) -> _Estimate:
    """What hours over the quote change by in a year, everything else alike. [log, one value]

    Years since the first job as a fixed effect beside the services, by REML.
    """
    services, years = service_columns(model), _years(model)
    within = years - services @ (services.T @ years / services.sum(axis=0))
    if (within**2).sum() < _LEAST_SPREAD:
        return _UNKNOWN
    fixed = np.column_stack([services, years - years.mean()])
    sums = sums_of(model.held_response, fixed, nested_codes(model), _crew(model))
    fit = fit_reml(sums, model.fit.relative)
    return _Estimate(fit.fixed[-1:], np.sqrt(np.diagonal(fit.fixed_covariance)[-1:]))


def _quarters(model: HoursModel, quarter: Codes, jobs: Array) -> _Estimate:
    """Effect of each quarter less their mean over all lines; `jobs` by quarter."""
    crossed = [*_crew(model), quarter]
    sums = sums_of(model.held_response, service_columns(model), nested_codes(model), crossed)
    relative = np.append(model.fit.relative, QUARTER_SD / model.fit.noise_sd)
    number = len(jobs)
    rest = np.zeros((number, sum(sums.crossed) + sums.fixed))
    start = sum(sums.crossed) - number
    rest[:, start : start + number] = np.eye(number) - jobs / jobs.sum()
    nested = tuple(csr_array((number, size)) for size in sums.nested)
    found = posterior(sums, relative, Combinations(nested, rest, np.zeros((number, sums.factors))))
    seen = jobs > 0
    return _Estimate(
        np.where(seen, found.mean, np.nan), np.where(seen, np.sqrt(found.variance), np.nan)
    )


def _shares(found: _Estimate, free: int) -> dict[str, Array]:
    reach = float(stdtrit(free, (1 + LEVEL) / 2)) * found.sd
    return {
        "like_for_like_share": np.exp(found.mean) - 1,
        "low_share": np.exp(found.mean - reach) - 1,
        "high_share": np.exp(found.mean + reach) - 1,
    }


def _years(model: HoursModel) -> Array:
    days = model.data.lines["finished_on"]
    return np.asarray((days - days.min()).dt.days, dtype=np.float64) / DAYS_A_YEAR


def _crew(model: HoursModel) -> list[csr_array]:
    return [model.data.crew] if model.has_crew else []
