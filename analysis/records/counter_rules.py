"""Rules about counter sales: the install named as booked afterwards, the answers. Doubtful."""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from analysis.records.job_rules import known_jobs
from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, day, found

UNKNOWN_LATER_JOB = Rule(
    "unknown-later-job",
    DOUBTFUL,
    "A counter sale whose later job is not there.",
    "Mend the number in later_job_id. Until then the sale counts as one without.",
)
LATER_JOB_BEFORE = Rule(
    "later-job-before-sale",
    DOUBTFUL,
    "A counter sale whose later job was quoted (else started, else finished) before the sale.",
    "Mend the number in later_job_id, or the day. Until then the sale counts as one without.",
)
LATER_JOB_TWICE = Rule(
    "later-job-twice",
    DOUBTFUL,
    "A later job that another counter sale names as well; it counts for the last sale before it.",
    "Leave the number with the sale that brought the job.",
)
ONLY_YES = Rule(
    "only-yes",
    DOUBTFUL,
    "Several counter sales with yes in would_book, none with no, and others left blank (told "
    "once).",
    "Write no where the customer said no: a blank counts as not asked.",
)
EXTRAS_COST_BLANK = Rule(
    "extras-cost-blank",
    DOUBTFUL,
    "Counter sales with a price for extras and a blank cost; all of the price counts as margin "
    "(told once).",
    "Enter what the tools, cleaner and tape cost the shop in extras_cost.",
)
_SEVERAL: Final = 5


def counter_findings(shop: Shop) -> Iterator[Found]:
    """Everything doubtful about counter sales."""
    sales = shop.used["counter_sales"]
    if sales.empty:
        return
    yield from later_job_findings(shop)
    book = sales["would_book"]
    yes, no, blank = (int(each.sum()) for each in (book == "yes", book == "no", book.isna()))
    is_told = yes >= _SEVERAL and not no and blank > 0
    first = sales.index[book == "yes"][: 1 if is_told else 0]
    problem = f"{yes} sales have yes, none has no, and {blank} are blank"
    yield found(ONLY_YES, "counter_sales", "would_book", first, problem)
    open_cost = sales.index[(sales["extras_price"] > 0) & sales["extras_cost"].isna()]
    many = "1 sale has" if len(open_cost) == 1 else f"{len(open_cost):,} sales have"
    problem = f"{many} a price for extras and no cost of them"
    yield found(EXTRAS_COST_BLANK, "counter_sales", "extras_cost", open_cost[:1], problem)


def later_job_findings(shop: Shop) -> Iterator[Found]:
    """Everything doubtful about `later_job_id`."""
    sales = shop.used["counter_sales"]
    named = sales["later_job_id"].dropna()
    unknown = named[~named.isin(known_jobs(shop))]
    problems = [f"there is no job {each} in jobs" for each in unknown]
    yield found(UNKNOWN_LATER_JOB, "counter_sales", "later_job_id", unknown.index, problems)
    booked = booking_days(named, shop.used["jobs"])
    sold = sales["sold_on"].reindex(named.index)
    early = named[booked < sold]
    problems = [
        f"job {job} was booked on {day(came)}, before the sale on {day(gone)}"
        for job, came, gone in zip(early, booked[early.index], sold[early.index], strict=True)
    ]
    yield found(LATER_JOB_BEFORE, "counter_sales", "later_job_id", early.index, problems)
    again = named[named.duplicated()]
    problems = [f"job {job} is named by an earlier row too" for job in again]
    yield found(LATER_JOB_TWICE, "counter_sales", "later_job_id", again.index, problems)


def booking_days(named: pd.Series, jobs: pd.DataFrame) -> pd.Series:
    """Day on which each named job was booked: quoted, else started, else finished; else missing."""
    on = jobs["quoted_on"].fillna(jobs["started_on"]).fillna(jobs["finished_on"])
    first = on.groupby(jobs["job_id"]).min()
    return pd.Series(first.reindex(named.to_numpy()).to_numpy(), index=named.index)
