"""Rules about jobs, the time logged on them, and their quotes: doubtful, used all the same."""

from collections.abc import Iterator, Mapping
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.job_lines import known_lines, sheet_against_log
from analysis.records.model import DOUBTFUL
from analysis.records.row_rules import hours_over_times
from analysis.records.rule import Found, Rule, Shop, day, found, look_up
from analysis.records.spellings import normal

_DAY: Final = ["installer", "worked_on"]
_DAY_HOURS: Final = 16.0
_HAIR: Final = 1e-9

DATES_OUT_OF_ORDER = Rule(
    "dates-out-of-order",
    DOUBTFUL,
    "A job that is finished before it was started or quoted.",
    "Look which of the dates is wrong.",
)
STATUS_WITH_FINISH = Rule(
    "status-with-finish",
    DOUBTFUL,
    "A job that is open or cancelled and has a day on which it was finished.",
    "Set status to finished, or clear finished_on. As it stands the job counts as not finished.",
)
TIME_ON_CANCELLED = Rule(
    "time-on-cancelled",
    DOUBTFUL,
    "Time on a cancelled job.",
    "Look whether the job was cancelled, or whether the time belongs to another job.",
)
WORK_OUTSIDE_JOB = Rule(
    "work-outside-job",
    DOUBTFUL,
    "Time or a cut on a day before the job was started or after it was finished.",
    "Look whether the day is right, and whether it is the right job.",
)
LONG_DAY = Rule(
    "long-day",
    DOUBTFUL,
    "More than 16 hours for one person on one day, over all jobs.",
    "Look whether an entry stands twice, or under the wrong person or day.",
)
UNKNOWN_JOB = Rule(
    "unknown-job",
    DOUBTFUL,
    "Time or a cut for a job that is not there.",
    "Mend the number, or add the job. Until then it counts for no job.",
)
UNKNOWN_LINE = Rule(
    "unknown-line",
    DOUBTFUL,
    "Time or a cut for a line that its job does not have.",
    "Mend the line, or leave it blank. Until then it counts as blank.",
)
HOURS_AGAINST_LOG = Rule(
    "hours-against-log",
    DOUBTFUL,
    "Hours on the job sheet that differ by over a tenth from the time log, which is what counts.",
    "Look whether an entry is missing or wrong, or clear hours on the job sheet.",
)
REDO_OF_UNKNOWN = Rule(
    "redo-of-unknown",
    DOUBTFUL,
    "A redo of a job that is not there.",
    "Mend the number in redo_of. Until then the redo counts under its own service and model.",
)
REDO_OF_ITSELF = Rule(
    "redo-of-itself",
    DOUBTFUL,
    "A redo of itself, or redos that lead back to themselves.",
    "Enter in redo_of the number of the job whose work is done over.",
)
REDO_OF_OTHER = Rule(
    "redo-of-other",
    DOUBTFUL,
    "A redo of a job on another make or model, or of a job without the redo's service.",
    "Look whether redo_of has the right number: the cost of a redo is charged to the job that it "
    "names.",
)
REDO_LATE = Rule(
    "redo-late",
    DOUBTFUL,
    "A redo later after its job than redo.window_months says.",
    "Look whether it is a redo, or new work; window_months stands under [redo] of shop.toml.",
)
WON_WITHOUT_JOB = Rule(
    "won-without-job",
    DOUBTFUL,
    "A quote that was won and has no job.",
    "Fill in job_id with the job that it became.",
)
CREW_WITH_COMMA = Rule(
    "crew-with-comma",
    DOUBTFUL,
    "A comma in crew, where names are parted by a semicolon.",
    "Put ; between names, as in Ines; Tomas.",
)
JOB_WITHOUT_QUOTE = Rule(
    "job-without-quote",
    DOUBTFUL,
    "A finished job without a quote, in a shop that keeps its quotes (from its first quote on; "
    "redos need none).",
    "Add the quote, or fill in its job_id.",
)


def job_findings(shop: Shop, misspelt: Mapping[str, frozenset[str]]) -> Iterator[Found]:
    """Everything doubtful about jobs, hours and quotes.

    `misspelt` : by kind of name the odd spellings, which are told of elsewhere.
    """
    jobs = shop.used["jobs"]
    yield from _job_dates(jobs)
    yield from _redos(shop, misspelt)
    yield hours_over_times(shop.used["hours"])
    for table, when in (("hours", "worked_on"), ("cuts", "cut_on")):
        if len(shop.used[table]):
            yield from _unknown_jobs(shop, table)
            yield from _outside(shop, table, when)
    yield from _cancelled(shop)
    yield from _long_days(shop.used["hours"])
    comma = jobs["crew"].str.contains(",", regex=False).fillna(False).astype("bool")
    problems = [f"'{crew}' is read as one name" for crew in jobs.loc[comma, "crew"]]
    yield found(CREW_WITH_COMMA, "jobs", "crew", jobs.index[comma], problems)
    yield _sheet_against_log(shop)
    yield from _quotes(shop)


def _job_dates(jobs: pd.DataFrame) -> Iterator[Found]:
    given = jobs[jobs["finished_on"].notna() & jobs["status"].ne("finished")]
    problems = [
        f"the job is {each} and has a day on which it was finished" for each in given.status
    ]
    yield found(STATUS_WITH_FINISH, "jobs", "status", given.index, problems)
    before_start = jobs["finished_on"] < jobs["started_on"]
    before_quote = jobs["finished_on"] < jobs["quoted_on"]
    wrong = jobs[before_start | before_quote]
    what = np.where(before_start[wrong.index], "started", "quoted")
    when = wrong["started_on"].where(before_start[wrong.index], wrong["quoted_on"])
    problems = [
        f"finished on {day(end)}, before it was {word} on {day(start)}"
        for end, word, start in zip(wrong["finished_on"], what, when, strict=True)
    ]
    yield found(DATES_OUT_OF_ORDER, "jobs", "finished_on", wrong.index, problems)


def known_jobs(shop: Shop) -> pd.Series:
    """Give the numbers of the jobs that stand in the file, rejected rows too."""
    return shop.read["jobs"]["job_id"].dropna().drop_duplicates()


def _unknown_jobs(shop: Shop, table: str) -> Iterator[Found]:
    rows = shop.used[table]
    known = rows["job_id"].isin(known_jobs(shop))
    unknown = rows["job_id"][rows["job_id"].notna() & ~known]
    problems = [f"there is no job {each} in jobs" for each in unknown]
    yield found(UNKNOWN_JOB, table, "job_id", unknown.index, problems)
    named = rows[known & rows["line"].notna()]
    lost = named[shop.lines[table][named.index].isna()]
    if lost.empty:
        return
    lost = lost[known_lines(lost, shop.read["jobs"]).isna()]
    problems = [
        f"job {job} has no line {line}" for job, line in zip(lost.job_id, lost.line, strict=True)
    ]
    yield found(UNKNOWN_LINE, table, "line", lost.index, problems)


def _spans(jobs: pd.DataFrame) -> pd.DataFrame:
    """First and last day of each job; unknown where a line of it does not say."""
    start, end = _ordered(jobs, "started_on"), _ordered(jobs, "finished_on")
    grouped = pd.DataFrame({"job": jobs["job_id"], "start": start, "end": end}).groupby(
        "job", sort=False
    )
    size, counts = grouped.size(), grouped.count()
    return pd.DataFrame(
        {
            "start": grouped["start"].min().where(counts["start"] == size),
            "end": grouped["end"].max().where(counts["end"] == size),
        }
    )


def _ordered(jobs: pd.DataFrame, column: str) -> pd.Series:
    """Give a date of each job line, missing where the line's dates contradict each other."""
    return jobs[column].where(~(jobs["finished_on"] < jobs["started_on"]))


def _outside(shop: Shop, table: str, when: str) -> Iterator[Found]:
    jobs = shop.used["jobs"]
    rows = shop.used[table]
    rows = rows[rows["job_id"].isin(jobs["job_id"])]
    line = shop.lines[table][rows.index]
    job_spans = _spans(jobs[jobs["job_id"].isin(rows["job_id"])])
    start, end = (
        look_up(line, _ordered(jobs, column)).where(
            line.notna(), look_up(rows["job_id"], job_spans[side])
        )
        for column, side in (("started_on", "start"), ("finished_on", "end"))
    )
    early, late = rows[when] < start, rows[when] > end
    wrong = rows[early | late]
    problems = [
        f"{day(on)} is before job {job} was started, on {day(first)}"
        if on < first
        else f"{day(on)} is after job {job} was finished, on {day(last)}"
        for on, job, first, last in zip(
            wrong[when], wrong["job_id"], start[wrong.index], end[wrong.index], strict=True
        )
    ]
    yield found(WORK_OUTSIDE_JOB, table, when, wrong.index, problems)


def _cancelled(shop: Shop) -> Iterator[Found]:
    hours, jobs = shop.used["hours"], shop.used["jobs"]
    cancelled = jobs["status"] == "cancelled"
    whole = cancelled.groupby(jobs["job_id"], sort=False).all()
    on_job = hours["job_id"].isin(whole.index[whole])
    on_line = shop.lines["hours"].isin(jobs.index[cancelled])
    at = hours.index[on_job | on_line]
    problems = [f"job {job} is cancelled" for job in hours["job_id"][at]]
    yield found(TIME_ON_CANCELLED, "hours", "job_id", at, problems)


def long_day_entries(hours: pd.DataFrame) -> pd.DataFrame:
    """Every entry of a person on a day of over 16 hours; `total` : the hours of that day."""
    total = hours.groupby(_DAY, sort=False)["hours"].transform("sum")
    return hours.assign(total=total)[total > _DAY_HOURS + _HAIR]


def _long_days(hours: pd.DataFrame) -> Iterator[Found]:
    long = long_day_entries(hours)
    last = long[~long.duplicated(_DAY, keep="last")]
    others = long.groupby(_DAY)["row"].agg(list)
    problems = []
    for who, on, hour, row in last[[*_DAY, "total", "row"]].itertuples(index=False, name=None):
        rest = [each for each in others[(who, on)] if each != row]
        also = f" (also row {', '.join(map(str, rest[:5]))})" if rest else ""
        problems.append(f"{who} has {hour:.4g} hours on {day(on)}{also}")
    yield found(LONG_DAY, "hours", "hours", last.index, problems)


def _sheet_against_log(shop: Shop) -> Found:
    differ = sheet_against_log(shop, "hours", "hours", "hours")
    problems = [
        f"the job sheet says {sheet:.4g} hours, the time log {log:.4g}"
        for sheet, log in zip(differ["sheet"], differ["log"], strict=True)
    ]
    return found(HOURS_AGAINST_LOG, "jobs", "hours", differ.index, problems)


def _redos(shop: Shop, misspelt: Mapping[str, frozenset[str]]) -> Iterator[Found]:
    jobs = shop.used["jobs"]
    redos = jobs[jobs["redo_of"].notna()]
    if redos.empty:
        return
    round_trip = redos["job_id"].isin(_in_circles(redos))
    at = redos.index[round_trip]
    problems = [
        f"job {job} is entered as a redo of itself"
        if job == of
        else f"the redos of job {job} lead back to it"
        for job, of in zip(redos["job_id"][at], redos["redo_of"][at], strict=True)
    ]
    yield found(REDO_OF_ITSELF, "jobs", "redo_of", at, problems)
    unknown = redos["redo_of"][~redos["redo_of"].isin(known_jobs(shop))]
    problems = [f"there is no job {each} in jobs" for each in unknown]
    yield found(REDO_OF_UNKNOWN, "jobs", "redo_of", unknown.index, problems)
    yield _late_redos(shop, redos[~round_trip])
    yield _redos_of_others(shop, redos[~round_trip], misspelt)


def _redos_of_others(
    shop: Shop, redos: pd.DataFrame, misspelt: Mapping[str, frozenset[str]]
) -> Found:
    """Redos whose vehicle or service no line of the job has that they name.

    A job with a rejected line is left alone, and so are names that are spelt oddly.
    """
    used, every = shop.used["jobs"], shop.read["jobs"]
    spoilt = every["job_id"][~every.index.isin(used.index)]
    kinds = ("make", "model", "service")
    named = used[used["job_id"].isin(redos["redo_of"]) & ~used["job_id"].isin(spoilt)]
    odd = [named["job_id"][named[kind].isin(misspelt[kind])] for kind in kinds]
    first = named[~named["job_id"].isin(pd.concat(odd))]
    asked = redos[redos["redo_of"].isin(first["job_id"])]
    for kind in kinds:
        asked = asked[~asked[kind].isin(misspelt[kind])]
    vehicles = first[["job_id", "make", "model"]].drop_duplicates()
    own = _keys(asked["redo_of"], asked["make"], asked["model"])
    other = ~own.isin(_keys(vehicles["job_id"], vehicles["make"], vehicles["model"]))
    service = _keys(asked["redo_of"], asked["service"])
    apart = ~service.isin(_keys(first["job_id"], first["service"]))
    done = first.groupby("job_id", sort=False)["service"].agg(lambda each: ", ".join(each.unique()))
    was = first.drop_duplicates("job_id").set_index("job_id")
    wrong = asked.assign(other=other)[other | apart]
    problems = [
        f"job {job} was on a {was.loc[job, 'make']} {was.loc[job, 'model']}, and this is a redo on "
        f"a {make} {model}"
        if on_other
        else f"job {job} was {done[job]}, and this is a redo of {what}"
        for job, make, model, what, on_other in wrong[
            ["redo_of", "make", "model", "service", "other"]
        ].itertuples(index=False, name=None)
    ]
    return found(REDO_OF_OTHER, "jobs", "redo_of", wrong.index, problems)


def _keys(jobs: pd.Series, *names: pd.Series) -> pd.Series:
    """Job number and names, compared without case, spaces and hyphens."""
    key = jobs.astype("str")
    for each in names:
        key = key + "\x1f" + each.map(normal).astype("str")
    return key


def _in_circles(redos: pd.DataFrame) -> set[str]:
    """Jobs whose chain of redos comes back to them."""
    of = dict(zip(redos["job_id"], redos["redo_of"], strict=True))
    circles: set[str] = set()
    done: set[str] = set()
    for start in of:
        chain: list[str] = []
        at = start
        while at in of and at not in done:
            done.add(at)
            chain.append(at)
            at = of[at]
        if at in chain:
            circles.update(chain[chain.index(at) :])
    return circles


def _late_redos(shop: Shop, redos: pd.DataFrame) -> Found:
    jobs = shop.used["jobs"]
    done = jobs[["job_id", "service", "finished_on"]].dropna()
    done = done[done["job_id"].isin(redos["redo_of"])]
    same = done.groupby(["job_id", "service"])["finished_on"].max().rename("same").reset_index()
    whole = done.groupby("job_id")["finished_on"].max().rename("whole")
    both = redos[["redo_of", "service"]].merge(
        same,
        left_on=["redo_of", "service"],
        right_on=["job_id", "service"],
        how="left",
        validate="many_to_one",
    )
    first = both["same"].set_axis(redos.index).fillna(look_up(redos["redo_of"], whole))
    when = redos["started_on"].fillna(redos["finished_on"]).fillna(redos["quoted_on"])
    months = shop.settings.redo.window_months
    late = redos.index[when > first + pd.DateOffset(months=months)]
    problems = [
        f"the redo of {day(on)} is over {months} months after job {job} was finished, on {day(end)}"
        for on, job, end in zip(when[late], redos["redo_of"][late], first[late], strict=True)
    ]
    return found(REDO_LATE, "jobs", "redo_of", late, problems)


def _quotes(shop: Shop) -> Iterator[Found]:
    quotes, jobs = shop.used["quotes"], shop.used["jobs"]
    if quotes.empty:
        return
    won = quotes[quotes["outcome"] == "won"]
    lost = won["job_id"][~won["job_id"].isin(known_jobs(shop))]
    problems = [
        "the quote was won and job_id is blank"
        if pd.isna(job)
        else f"the quote was won, and there is no job {job} in jobs"
        for job in lost
    ]
    yield found(WON_WITHOUT_JOB, "quotes", "job_id", lost.index, problems)
    begun = jobs["quoted_on"].fillna(jobs["started_on"]).fillna(jobs["finished_on"])
    first = jobs[
        (jobs["status"] == "finished")
        & jobs["redo_of"].isna()
        & (begun >= quotes["quoted_on"].min())
        & ~jobs["job_id"].isin(shop.read["quotes"]["job_id"])
    ].drop_duplicates("job_id")
    problems = [f"no row of quotes names job {job}" for job in first["job_id"]]
    yield found(JOB_WITHOUT_QUOTE, "jobs", "job_id", first.index, problems)
