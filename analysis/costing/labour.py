"""Hours worked: whose they are, what they cost, and how long they held a bay."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.cuts import line_of_work
from analysis.periods import quarter_index
from analysis.records.model import Records
from analysis.settings import Labour
from analysis.sums import ratio, strict_sum

_MONTHS: Final = 12
REWORK: Final = "rework"


def work_log(records: Records, labour: Labour) -> pd.DataFrame:
    """Every hour worked, as entries on job lines.

    Returns
    -------
    DataFrame
        One row an entry and job line: `worked_on, installer, task, hours` [h], `cost` [money]
        (missing where the wage is unknown), `job_id`, `job_line` (position in jobs, missing for
        work on an unknown job), `logged` (from the time log, not the job sheet), `bay_day` hours
        that a person held the bay [h, job sheet only].

    Notes
    -----
    Entries without a line (or with one that the job does not have) are shared over the job's
    lines by quoted hours, equally where those are 0; hours are not rounded. A line without any
    entry uses the hours of its job sheet, on the day it was finished, shared equally over the
    names in its crew.
    """
    logged = _logged(records)
    sheet = _job_sheet_hours(records["jobs"], logged)
    parts = [part for part in (logged, sheet) if len(part)]
    log = pd.concat(parts, ignore_index=True) if parts else logged
    return log.assign(cost=log["hours"] * loaded_rate(log, records["rates"], labour))


def loaded_rate(entries: pd.DataFrame, rates: pd.DataFrame, labour: Labour) -> pd.Series:
    """What an hour of each entry costs the shop. [money / h]

    wage at the date × (1 + on-cost); overtime multiplies the wage, and the on-cost only where
    `on_cost_on_overtime` says so. A date before the first wage takes the first; a person without a
    wage the default wage (missing where that is not set).
    """
    wage = wage_on(entries["installer"], entries["worked_on"], rates)
    if labour.default_wage is not None:
        wage = wage.fillna(labour.default_wage)
    premium = np.where(entries["overtime"].astype("bool"), labour.overtime_multiplier, 1.0)
    on_cost = labour.on_cost * (premium if labour.on_cost_on_overtime else 1.0)
    return wage * (premium + on_cost)


@dataclass(frozen=True)
class MeanRate:
    """Mean loaded rate of some hours, and the share of them that it leaves out. [money / h]"""

    rate: float
    unpaid_share: float


def mean_rate(log: pd.DataFrame, labour: Labour, after: pd.Timestamp) -> MeanRate:
    """Mean loaded rate of the hours worked in the twelve months before the day `after`.

    `log` : from `work_log`. Hours whose wage is not known are left out (all of them: NaN); without
    any hours it is the default wage, loaded.
    """
    first = after - pd.DateOffset(months=_MONTHS)
    recent = log[log["worked_on"].between(first, after, inclusive="left")]
    hours = float(recent["hours"].sum())
    if hours == 0:
        return MeanRate(labour.default_rate, 0.0)
    paid = recent[recent["cost"].notna()]
    paid_hours = float(paid["hours"].sum())
    rate = float(paid["cost"].sum()) / paid_hours if paid_hours > 0 else np.nan
    return MeanRate(rate, 1 - paid_hours / hours)


def quarterly_rates(log: pd.DataFrame, fiscal_year_starts: int) -> pd.Series:
    """Mean loaded rate of the hours worked in each quarter, by its number. [money / h]

    NaN where the wage of an hour is not known; a quarter without hours is in no row.
    """
    worked = log[log["hours"] > 0]
    number = quarter_index(worked["worked_on"], fiscal_year_starts)
    return ratio(strict_sum(worked["cost"], [number]), strict_sum(worked["hours"], [number]))


def wage_on(who: pd.Series, day: pd.Series, rates: pd.DataFrame) -> pd.Series:
    """Wage of each person on each day; before the first wage, the first. [money / h]"""
    people = pd.Index(rates["installer"].dropna().unique())
    if people.empty:
        return pd.Series(np.nan, index=who.index)
    person, paid = people.get_indexer(who), people.get_indexer(rates["installer"])
    since = _day_numbers(rates["effective_from"])
    order = np.lexsort((since, paid))
    paid, since = paid[order], since[order]
    wage = np.append(rates["wage"].to_numpy(dtype="float64")[order], np.nan)
    # One number a person and day, so that all entries are looked up at once and none is sorted.
    earliest, latest = since.min(), since.max()
    span = latest - earliest + 2
    asked = _day_numbers(day).clip(earliest - 1, latest) - earliest
    last = np.searchsorted(paid * span + since - earliest, person * span + asked, "right")
    first = np.searchsorted(paid, person)
    at = np.where(person < 0, len(order), np.maximum(last - 1, first))
    return pd.Series(wage[at], index=who.index)


def _day_numbers(days: pd.Series) -> np.ndarray:
    """Days since 1970, for comparing."""
    return days.to_numpy(dtype="datetime64[D]").astype("int64")


def line_hours(log: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Hours and labour of each job line.

    Returns
    -------
    DataFrame
        Index as `jobs`: `actual_hours`, `rework_hours`, `bay_hours` [h], `labour_cost` [money];
        missing where nobody wrote hours down.

    Notes
    -----
    Bay hours are found for the whole job, for each day the longest time any one person logged on
    it, summed over days, and shared over its lines by actual hours, equally where those are 0.
    """
    own = log[log["job_line"].notna()]
    line = own["job_line"].astype("int64")
    rework = own["hours"].where(own["task"] == REWORK, 0.0)
    frame = pd.DataFrame(
        {
            "actual_hours": strict_sum(own["hours"], line),
            "rework_hours": strict_sum(rework, line),
            "labour_cost": strict_sum(own["cost"], line),
        }
    ).reindex(np.arange(len(jobs)))
    frame.index = jobs.index
    return frame.assign(bay_hours=_bay_hours(own, jobs, frame["actual_hours"]))


def _bay_hours(own: pd.DataFrame, jobs: pd.DataFrame, actual: pd.Series) -> pd.Series:
    """Bay hours of each job line. [h]"""
    job = pd.Series(pd.factorize(jobs["job_id"])[0], index=jobs.index)
    own = own.assign(job=job.to_numpy()[own["job_line"].to_numpy(dtype="int64")])
    logged = own[own["logged"]]
    person_day = logged.groupby(["job", "worked_on", "installer"])["hours"].sum()
    held = person_day.groupby(level=["job", "worked_on"]).max().groupby(level="job").sum()
    sheet = own[~own["logged"]]
    from_sheet = sheet.groupby("job")["bay_day"].sum()
    per_job = held.add(from_sheet, fill_value=0.0)
    worked = actual.fillna(0.0)
    total = worked.groupby(job).transform("sum")
    equal = 1 / job.groupby(job).transform("size")
    share = (worked / total).where(total > 0, equal)
    # Not `map`: over no jobs at all that gives text.
    hours = pd.Series(per_job.reindex(job).to_numpy(dtype="float64"), index=jobs.index)
    return (hours * share).where(actual.notna())


def _logged(records: Records) -> pd.DataFrame:
    """The time log with each entry on its job line, entries without a line shared out."""
    hours, jobs = records["hours"], records["jobs"]
    entries = hours.assign(film=pd.Series(np.nan, index=hours.index, dtype="str"))
    exact = line_of_work(entries, jobs)
    lines = np.append(jobs["line"].to_numpy(dtype="float64", na_value=np.nan), np.nan)
    found = lines[exact.fillna(-1).to_numpy(dtype="int64")]
    known = exact.notna()
    shared = known & (found != entries["line"].to_numpy(dtype="float64", na_value=np.nan))
    whole = entries.assign(job_line=exact.where(~shared))
    parts = [whole[~shared], _shared(whole[shared], jobs)]
    log = (
        pd.concat([part for part in parts if len(part)], ignore_index=True) if len(whole) else whole
    )
    return log.assign(logged=True, bay_day=np.nan)[_COLUMNS]


_COLUMNS: Final = [
    "job_id",
    "job_line",
    "worked_on",
    "installer",
    "task",
    "hours",
    "overtime",
    "logged",
    "bay_day",
]


def _shared(entries: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Entries of a whole job, one row a line of it, hours in proportion to quoted hours."""
    at = pd.Series(pd.array(np.arange(len(jobs)), dtype="Int64"), index=jobs.index)
    jobs = jobs[jobs["job_id"].isin(entries["job_id"])]
    quoted = jobs["quoted_hours"].fillna(0.0)
    total = quoted.groupby(jobs["job_id"]).transform("sum")
    equal = 1 / quoted.groupby(jobs["job_id"]).transform("size")
    lines = pd.DataFrame(
        {
            "job_id": jobs["job_id"],
            "at": at[jobs.index],
            "share": (quoted / total).where(total > 0, equal),
        }
    )
    spread = entries.merge(lines, on="job_id", validate="m:m")
    return spread.assign(job_line=spread["at"], hours=spread["hours"] * spread["share"])


def _job_sheet_hours(jobs: pd.DataFrame, logged: pd.DataFrame) -> pd.DataFrame:
    """Hours of the job sheet for finished lines without any entry in the log."""
    numbers = pd.Series(np.arange(len(jobs)), index=jobs.index)
    wanted = (
        jobs["hours"].notna()
        & jobs["finished_on"].notna()
        & (jobs["status"] == "finished")
        & ~numbers.isin(logged["job_line"].dropna().astype("int64"))
    )
    sheet = jobs[wanted].assign(job_line=numbers[wanted].astype("Int64"))
    names = sheet["crew"].str.split(";").explode().astype("str").str.strip()
    names = names.where(names != "")
    names = names[~pd.DataFrame({"line": names.index, "name": names}).duplicated().to_numpy()]
    crew = names.groupby(level=0).transform("count").clip(lower=1)
    keep = names.notna() | (names.groupby(level=0).transform("count") == 0)
    people = pd.DataFrame({"installer": names, "crew": crew})[keep]
    people = people[~(people["installer"].isna() & people.index.duplicated())]
    rows = sheet.drop(columns=["crew"]).join(people, how="right", validate="1:m")
    each = rows["hours"] / rows["crew"]
    return rows.assign(
        worked_on=rows["finished_on"],
        task=pd.Series(np.nan, index=rows.index, dtype="str"),
        overtime=False,
        logged=False,
        hours=each,
        # The whole crew holds the bay together: one person's time, counted once.
        bay_day=each / rows["crew"],
    ).reset_index(drop=True)[_COLUMNS]
