"""What lies behind an overrun: what spreads the hours, which job pulls, which task it sits in."""

from typing import Final

import numpy as np
import pandas as pd
from scipy.special import gammaincinv, stdtrit

from analysis.arrays import Array
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.evidence import LEVEL, is_enough
from analysis.findings.flagging import flags, overrun_probability
from analysis.findings.forecast import HoursForecaster, forecast_hours
from analysis.findings.hours_model import CELL, CLASS, CREW, HELD_AT, MODEL, HoursModel
from analysis.findings.mixed_effects import Combinations
from analysis.findings.pooling import (
    average_crew,
    group_targets,
    pooled_overruns,
    service_targets,
    spread_of,
)
from analysis.settings import Overrun

PART: Final = {CLASS: "vehicle class", MODEL: "vehicle model", CREW: "person"}
NOISE: Final = "job to job"
# The jobs that pull hardest are shown up to this many.
_SHOWN: Final = 25
POOLED: Final = (
    "pooled_overrun_share",
    "low_share",
    "high_share",
    "probability_over_tolerance",
    "flagged",
    "jobs_to_date",
)
PERSON: Final = ("against_average_share", "low_share", "high_share", "jobs_to_date")


def pooled_by_model(model: HoursModel, overrun: Overrun) -> pd.DataFrame:
    """Pooled overrun of each make and model, `POOLED` columns.

    The estimate and its interval are those of the pooled model; the probability, and so the flag,
    also allow for most models running as quoted (`flagging`).
    """
    targets = group_targets(model, ["make", "model"], (MODEL, CLASS))
    pooled = pooled_overruns(model, *targets, overrun.tolerance)
    probability = overrun_probability(model, overrun.tolerance)
    return _counted(
        pooled.assign(
            probability_over_tolerance=probability, flagged=flags(probability, overrun.error_rate)
        ),
        model,
    )


def _counted(pooled: pd.DataFrame, model: HoursModel) -> pd.DataFrame:
    """With the number of job lines of each group."""
    keys = [str(name) for name in pooled.index.names]
    jobs = model.data.lines.groupby(keys, dropna=False).size()
    return pooled.assign(jobs_to_date=jobs.to_numpy())


def pooled_by_class(model: HoursModel, overrun: Overrun) -> pd.DataFrame:
    """Pooled overrun of each vehicle class, apart from what its models do."""
    targets = group_targets(model, ["vehicle_class"], (CLASS,))
    pooled = pooled_overruns(model, *targets, overrun.tolerance)
    return _counted(_flagged(pooled, overrun), model)


def pooled_by_service(model: HoursModel, overrun: Overrun) -> pd.DataFrame:
    """Pooled overrun of each service, on the shop's usual vehicles."""
    pooled = pooled_overruns(model, *service_targets(model), overrun.tolerance)
    return _counted(_flagged(pooled, overrun), model)


def _flagged(pooled: pd.DataFrame, overrun: Overrun) -> pd.DataFrame:
    return pooled.assign(flagged=flags(pooled["probability_over_tolerance"], overrun.error_rate))


def pooled_by_person(model: HoursModel) -> pd.DataFrame:
    """Hours that each person needs against the shop's average on like jobs, with 90 % intervals.

    Empty where people are not told apart.
    """
    people = model.data.people if model.has_crew else model.data.people[:0]
    number = len(people)
    rest = np.zeros((number, sum(model.sums.crossed) + model.sums.fixed))
    if number:
        rest[:, :number] = np.eye(number) - average_crew(model)
    nested = tuple(np.zeros((number, len(levels))) for levels in model.levels)
    spread = spread_of(model, Combinations(nested, rest, np.zeros((number, model.sums.factors))))
    return pd.DataFrame(
        {
            "against_average_share": np.exp(spread.middle()) - 1,
            "low_share": np.exp(spread.quantile((1 - LEVEL) / 2)) - 1,
            "high_share": np.exp(spread.quantile((1 + LEVEL) / 2)) - 1,
            "jobs_to_date": np.asarray((model.data.crew > 0).sum(axis=0)).ravel()[:number],
        },
        index=pd.MultiIndex.from_arrays([people], names=["installer"]),
    )


def hours_spread(model: HoursModel) -> pd.DataFrame:
    """How far each part spreads the hours: one standard deviation as a share, with 90 % interval.

    The estimates are REML's; the intervals are of the likelihood × the prior of `spread_nodes`.
    """
    relative, weight = model.nodes.relative, model.nodes.weight
    noise = spread_of(model, _no_targets(model)).noise_variance
    rows = []
    for at, factor in enumerate(model.factors):
        sds = relative[:, at] * np.sqrt(noise)
        number = model.sums.crossed[0] if factor == CREW else len(model.levels[at])
        low, high = _ends(sds, weight)
        # Where the likeliest spread is none, none is within the interval.
        low = min(low, float(model.fit.sds[at]))
        rows.append((PART[factor], model.fit.sds[at], low, high, number))
    deviation = np.sqrt(model.sums.free / np.array([*_chi_ends(model.sums.free)]))
    low, high = model.fit.noise_sd * deviation
    rows.append((NOISE, model.fit.noise_sd, low, high, model.sums.rows))
    names = ["part", "spread_share", "low_share", "high_share", "levels"]
    frame = pd.DataFrame(rows, columns=names)
    shares = ["spread_share", "low_share", "high_share"]
    note = [""] * (len(frame) - 1) + [" ".join(model.notes)]
    return frame.assign(**{name: np.expm1(frame[name]) for name in shares}, note=note)


def _no_targets(model: HoursModel) -> Combinations:
    nested = tuple(np.zeros((1, len(levels))) for levels in model.levels)
    rest = np.zeros((1, sum(model.sums.crossed) + model.sums.fixed))
    return Combinations(nested, rest, np.zeros((1, model.sums.factors)))


def _ends(values: Array, weight: Array) -> tuple[float, float]:
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    tail = (1 - LEVEL) / 2
    at = np.minimum(np.searchsorted(below, [tail, 1 - tail]), len(values) - 1)
    low, high = values[order][at]
    return float(low), float(high)


def _chi_ends(free: int) -> tuple[float, float]:

    tail = (1 - LEVEL) / 2
    # Chi-squared's quantile is twice that of a gamma of half the degrees of freedom.
    high, low = 2 * gammaincinv(free / 2, [1 - tail, tail])
    return float(high), float(low)


def jobs_that_pull(model: HoursModel) -> pd.DataFrame:
    """The job lines that move their model's pooled overrun most, or would, hardest first.

    `pull_share` : by how much the model's pooled hours would fall without the line, the other
    effects staying: residual × h ÷ (1 − h), with h = θ² ÷ (1 + θ² n), θ the relative standard
    deviation of models and n the model's lines (the leave-one-out identity of a weighted mean; Cook
    and Weisberg 1982, Residuals and Influence in Regression). Without models as a factor: the pull
    on the service's mean, h = 1 ÷ n.
    """
    lines = model.data.lines
    group = ["make", "model"] if MODEL in model.nested else ["service"]
    count = lines.groupby(group, dropna=False)["log_ratio"].transform("size").to_numpy(float)
    if MODEL in model.nested:
        square = max(float(model.nodes.weight @ model.nodes.relative[:, 0]), 1e-6) ** 2
        lever = square / (1 + square * count)
    else:
        lever = 1 / np.maximum(count, 2)
    weight = lever / (1 - lever)
    bound = HELD_AT * model.fit.noise_sd
    pull = np.clip(model.residual, -bound, bound) * weight
    frame = lines.assign(
        expected_hours=lines["quoted_hours"].to_numpy(float) * np.exp(model.expected),
        pull_share=np.expm1(pull),
        held_back=pd.array(model.held, dtype="boolean"),
        # In the order of what each would do if it were not held back: slips come first.
        hardest=np.abs(model.residual * weight),
    )
    order = ["hardest", "job_id", "line"]
    hardest = frame.sort_values(order, ascending=[False, True, True], kind="stable")
    kept = hardest.head(_SHOWN)
    beyond = hardest.iloc[_SHOWN:]
    return pd.concat([kept, beyond[beyond["held_back"]]], ignore_index=True)


def overrun_by_task(
    costing: Costing, until: pd.Timestamp, fewest: int
) -> pd.DataFrame | Unavailable:
    """Hours by task of each model against what other models take, from jobs with task times.

    Usual hours of a line and task = its quoted hours × the hours of the task that first-time lines
    of the same service on other models took for each quoted hour. Over hours are summed over the
    model's lines; their 90 % interval is Student's, from line to line.
    """
    lines = costing.lines.reset_index(drop=True)
    first = lines["finished"] & ~lines["is_redo"] & (lines["finished_on"] <= until)
    chosen = lines[first & (lines["quoted_hours"] > 0)]
    log = costing.log[costing.log["job_line"].notna() & costing.log["task"].notna()]
    at = log["job_line"].astype("int64")
    log = log.assign(at=at)[at.isin(chosen.index)]
    if log.empty:
        return Unavailable(
            "overrun_by_task", ("hours",), "Overruns by task need time entries with their task."
        )
    spent = log.pivot_table(index="at", columns="task", values="hours", aggfunc="sum")
    spent = spent.fillna(0.0)
    timed = chosen.loc[spent.index]
    own = [timed["make"], timed["model"], timed["service"]]
    keys = ["make", "model", "service"]
    totals = spent.assign(quoted=timed["quoted_hours"].astype("float64"))
    by_cell = totals.groupby(own).sum()
    by_service = totals.groupby(timed["service"]).sum()
    service = by_cell.index.get_level_values("service")
    others = by_service.reindex(service).set_axis(by_cell.index) - by_cell
    rate = others.div(others["quoted"].where(others["quoted"] > 1e-9), axis=0)
    place = rate.index.get_indexer(pd.MultiIndex.from_frame(timed[keys]))
    rates = rate.drop(columns="quoted").to_numpy(float)[place]
    usual = spent * 0 + rates * timed["quoted_hours"].to_numpy(float)[:, None]
    known = usual.notna().all(axis=1)
    return _summed_by_task(timed[known], spent[known], usual[known], fewest)


def _summed_by_task(
    timed: pd.DataFrame, spent: pd.DataFrame, usual: pd.DataFrame, fewest: int
) -> pd.DataFrame:
    by = [timed["make"], timed["model"]]
    over = (spent - usual).groupby(by)
    jobs = over.size()
    parts = {
        "hours": spent.groupby(by).sum(),
        "usual_hours": usual.groupby(by).sum(),
        "over_hours": over.sum(),
        "deviation": over.std().mul(np.sqrt(jobs), axis=0),
    }
    long = [
        part.rename_axis(columns="task").melt(ignore_index=False, value_name=name)
        for name, part in parts.items()
    ]
    # Every part has the same models and tasks in the same order.
    table = pd.concat([long[0], *(each.iloc[:, [-1]] for each in long[1:])], axis=1)
    table = table.assign(jobs=jobs.reindex(table.index).to_numpy()).reset_index()
    table = table.sort_values(["make", "model", "task"], kind="stable", ignore_index=True)
    reach = stdtrit((table["jobs"] - 1).where(table["jobs"] > 1), (1 + LEVEL) / 2)
    return table.assign(
        low_hours=table["over_hours"] - reach * table["deviation"],
        high_hours=table["over_hours"] + reach * table["deviation"],
        enough=is_enough(table["jobs"], fewest),
    )


def next_quotes(forecaster: HoursForecaster, confidence: float, fewest: int) -> pd.DataFrame:
    """For each service on each model done so far, the hours to quote next time. [h]

    A model that was done in two classes has a row for each.
    """
    lines = forecaster.model.data.lines
    keys = list(CELL)
    grouped = lines.groupby(keys, dropna=False, sort=True)
    rows = grouped.size().rename("jobs").reset_index()
    forecast = forecast_hours(forecaster, rows)
    table = rows.assign(
        usual_hours=forecast.usual,
        expected_hours=forecast.expected(),
        hours_to_quote=forecast.quantile(confidence),
        low_hours=forecast.quantile((1 - LEVEL) / 2),
        high_hours=forecast.quantile((1 + LEVEL) / 2),
        enough=is_enough(rows["jobs"], fewest),
    )
    order = ["service", "vehicle_class", "make", "model"]
    return table.sort_values(order, kind="stable", ignore_index=True)
