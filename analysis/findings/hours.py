"""Actual against quoted hours, by group. Overrun is the ratio of sums, never a mean of ratios."""

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period, both, finished_in, group_sums
from analysis.sums import ratio

_SUMS = {name: name for name in ("quoted_hours", "actual_hours", "rework_hours", "labour_cost")}
SERVICE = {"service": "service"}
CLASS = {"vehicle_class": "vehicle_class"}
MODEL = {"make": "make", "model": "model"}


def hours_by(
    costing: Costing,
    keys: dict[str, str],
    period: Period,
    fewest: int,
    *,
    every_group_until: pd.Timestamp | None = None,
) -> pd.DataFrame:
    """Hours of the first-time jobs finished in a period, by `keys`.

    `overrun_share` = Σ actual ÷ Σ quoted − 1; `overrun_cost` = (Σ actual − Σ quoted) × the
    group's labour cost an actual hour; `redo_hours` = hours of redos finished in the period under
    the first job of their chain. `every_group_until` adds a row of zeros for each group that has
    a finished job up to that day and none in the period.
    """
    lines = finished_in(costing.lines, period)
    charged = {name: _charged(column) for name, column in keys.items()}
    first = group_sums(lines[~lines["is_redo"]], keys, _SUMS, "jobs")
    redo = group_sums(lines[lines["is_redo"]], charged, {"redo_hours": "actual_hours"}, None)
    table = both(first, redo)
    if every_group_until is not None:
        known = costing.lines["finished"] & (costing.lines["finished_on"] <= every_group_until)
        every = group_sums(costing.lines[known], keys, {}, "any").index
        table = table.reindex(table.index.union(every), fill_value=0.0)
    return _with_overrun(table, fewest)


def _charged(column: str) -> str:
    return "charged_" + column.removeprefix("vehicle_")


def _with_overrun(table: pd.DataFrame, fewest: int) -> pd.DataFrame:
    over = table["actual_hours"] - table["quoted_hours"]
    rate = ratio(table["labour_cost"], table["actual_hours"])
    cost = (over * rate).where(table["actual_hours"] != 0, over * 0.0)
    return table.assign(
        jobs=table["jobs"].astype("int64"),
        overrun_share=ratio(table["actual_hours"], table["quoted_hours"]) - 1,
        overrun_cost=cost,
        enough=is_enough(table["jobs"], fewest),
    ).reset_index()


def hours_by_installer(costing: Costing, period: Period, fewest: int) -> pd.DataFrame | Unavailable:
    """Hours by person: quoted hours are the line's × the person's share of its actual hours."""
    work = _first_time_work(costing, period)
    if work["installer"].isna().all():
        return Unavailable(
            "hours_by_installer",
            ("hours",),
            "Hours by installer need the hours table, or names in the crew column of jobs.",
        )
    sums = {
        "quoted_hours": "quoted_share",
        "actual_hours": "hours",
        "rework_hours": "rework",
        "labour_cost": "cost",
    }
    table = group_sums(work, {"installer": "installer"}, sums, None)
    return _with_overrun(table.assign(jobs=_lines_touched(work, "installer")), fewest)


def hours_by_task(costing: Costing, period: Period, fewest: int) -> pd.DataFrame | Unavailable:
    """Hours by task; a quote has no tasks, so quoted hours and overrun are missing.

    Hours without a task (those of the job sheet among them) are a row of their own, so that the
    rows add to the hours of the other tables.
    """
    work = _first_time_work(costing, period)
    if work["task"].isna().all():
        return Unavailable(
            "hours_by_task", ("hours",), "Hours by task need time entries in the hours table."
        )
    table = group_sums(work, {"task": "task"}, {"actual_hours": "hours"}, None)
    jobs = _lines_touched(work, "task")
    return table.assign(
        jobs=jobs, quoted_hours=np.nan, overrun_share=np.nan, enough=is_enough(jobs, fewest)
    ).reset_index()


def _first_time_work(costing: Costing, period: Period) -> pd.DataFrame:
    """Time on first-time lines finished in the period, with each entry's share of the quote."""
    lines = costing.lines.reset_index(drop=True)
    chosen = finished_in(lines[~lines["is_redo"]], period)
    log = costing.log[costing.log["job_line"].notna()]
    at = log["job_line"].astype("int64")
    work = log.assign(at=at)[at.isin(chosen.index)]
    quoted = work["at"].map(chosen["quoted_hours"])
    share = ratio(work["hours"], work["at"].map(chosen["actual_hours"])).fillna(0.0)
    return work.assign(
        quoted_share=quoted * share, rework=work["hours"].where(work["task"] == "rework", 0.0)
    )


def _lines_touched(work: pd.DataFrame, key: str) -> pd.Series:
    """Number of lines with time of each group; a share of 0 hours touches no line."""
    touched = work["at"].where(work["hours"] > 0)
    return touched.groupby(work[key], dropna=False).nunique()
