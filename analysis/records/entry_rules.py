"""Rules about job lines as they were entered: the same one twice, money on a cancelled one."""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, found

# What has to be there for two lines to be the same job: all of these, and one of those.
_NEEDED: Final = ["finished_on", "make", "model", "service", "quoted_price"]
_ONE_OF: Final = ["hours", "crew", "model_year"]

SAME_JOB_AGAIN = Rule(
    "same-job-again",
    DOUBTFUL,
    "A job line like an earlier one in every cell but job_id, the day it was finished, vehicle, "
    "service and price being filled in, and hours, crew or model year (not where time or cuts "
    "stand under both numbers).",
    "If it is one job, entered again under another number, delete one of the two lines: both are "
    "counted. If it is another vehicle, leave it.",
)
CANCELLED_WITH_PRICE = Rule(
    "cancelled-with-price",
    DOUBTFUL,
    "A cancelled job line with an invoiced price that was written down.",
    "If money was kept, set status to finished, with finished_on, that price and the hours worked. "
    "Else clear invoiced_price, or leave it: as it stands it is in no revenue.",
)


def entry_findings(shop: Shop) -> Iterator[Found]:
    """Everything doubtful about how job lines were entered."""
    yield from _again(shop)
    yield _cancelled(shop)


def _again(shop: Shop) -> Iterator[Found]:
    jobs = shop.used["jobs"]
    told = jobs[_NEEDED].notna().all(axis=1) & jobs[_ONE_OF].notna().any(axis=1)
    cells = [column for column in jobs if column not in ("job_id", "row")]
    asked = jobs[told]
    asked = asked[asked.duplicated(cells, keep=False)]
    if asked.empty:
        return
    worked = pd.concat([shop.read["hours"]["job_id"], shop.read["cuts"]["job_id"]])
    has_work = asked["job_id"].isin(worked.dropna())
    # Blank cells are equal too, as they are in `duplicated`.
    same = asked.groupby(cells, dropna=False, sort=False).ngroup()
    first = asked.groupby(same)[["job_id", "row"]].transform("first")
    both = has_work & has_work.groupby(same).transform("first")
    again = asked.index[asked.duplicated(cells) & ~both]
    problems = [
        f"every cell but the number is that of job {job}, in row {row}"
        for job, row in first.loc[again].itertuples(index=False, name=None)
    ]
    yield found(SAME_JOB_AGAIN, "jobs", "job_id", again, problems)


def _cancelled(shop: Shop) -> Found:
    """A blank invoiced price takes the quoted one, so that only a written one says anything."""
    jobs = shop.used["jobs"]
    written = shop.written["jobs"]["invoiced_price"].reindex(jobs.index)
    kept = written[(jobs["status"] == "cancelled") & (written > 0)]
    money = shop.settings.currency
    problems = [
        f"the job is cancelled, and {price:,.2f} {money} stands as invoiced; it is in no revenue"
        for price in kept
    ]
    return found(CANCELLED_WITH_PRICE, "jobs", "invoiced_price", kept.index, problems)
