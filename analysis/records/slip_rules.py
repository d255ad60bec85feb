"""Rules about slips of the pen in jobs: prices and hours far from what they are held against.

Doubtful, used all the same. A slip is told once: hours that are far from the list are not held
against the work, and hours that fit in no day not against the quote.
"""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from analysis.records.job_lines import sheet_and_log, vehicle_classes
from analysis.records.job_rules import long_day_entries
from analysis.records.list_prices import list_rows
from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, day, found, look_up, rows_told

# Times the list price, or one part in so many of it (common practice, no source).
FAR_PRICE: Final = 2.0
# The same for quoted hours against the list's, and for hours worked against the quoted.
_FAR_QUOTE: Final = 3.0
_FAR_WORK: Final = 4.0
_WORDS: Final = {
    FAR_PRICE: ("twice", "half"),
    _FAR_QUOTE: ("three times", "a third"),
    _FAR_WORK: ("four times", "a quarter"),
}
_DAY: Final = 24.0  # hours
_FEWEST: Final = 3  # lines from which on a row of the list, and not they, is doubted
_HAIR: Final = 1e-9

PRICE_FAR_FROM_LIST = Rule(
    "price-far-from-list",
    DOUBTFUL,
    "A price, quoted or invoiced, over twice or under half of the list price of its service and "
    "class on the day of the quote (cancelled jobs, redos and prices of 0 are exempt).",
    "Look whether a digit slipped; a price that is meant may stay.",
)
HOURS_FAR_FROM_LIST = Rule(
    "hours-far-from-list",
    DOUBTFUL,
    "Quoted hours over three times or under a third of the list's hours for the service and class "
    "on the day of the quote (cancelled jobs, redos and hours of 0 are exempt).",
    "Look whether a digit or a point slipped; hours that are meant may stay.",
)
LIST_FAR_FROM_JOBS = Rule(
    "list-far-from-jobs",
    DOUBTFUL,
    "A row of the price list from which most of its jobs, three at least, are as far: told here, "
    "and not job by job.",
    "Look whether a digit slipped in the price list, or whether the row is of another service.",
)
HOURS_FAR_FROM_QUOTE = Rule(
    "hours-far-from-quote",
    DOUBTFUL,
    "Hours of a finished job line, from the time log or else the job sheet, over four times or "
    "under a quarter of the quoted (redos and hours of 0 are exempt).",
    "Look for a slip in the hours (25 or 0.25 for 2.5), or for time of another job.",
)
SHEET_OVER_A_DAY = Rule(
    "sheet-over-a-day",
    DOUBTFUL,
    "Hours on a job sheet that do not fit into the one day on which the job was started and "
    "finished: over 24 for each person of crew.",
    "Look whether a point slipped in the hours, or whether the job took more days.",
)


def slip_findings(shop: Shop, told: pd.Index) -> tuple[Found, ...]:
    """Everything doubtful about the size of prices and hours of jobs.

    `told` : labels of the job lines whose hours are told of elsewhere.
    """
    findings = (
        *_against_list(shop, PRICE_FAR_FROM_LIST, ("quoted_price", "invoiced_price"), FAR_PRICE),
        *_against_list(shop, HOURS_FAR_FROM_LIST, ("quoted_hours",), _FAR_QUOTE),
        _over_a_day(shop),
    )
    told = told.union(rows_told(findings, HOURS_FAR_FROM_LIST, SHEET_OVER_A_DAY))
    return (*findings, _against_quote(shop, told))


def _against_list(shop: Shop, rule: Rule, columns: tuple[str, ...], far: float) -> Iterator[Found]:
    """Cells of jobs that are far from the list, and rows of the list from which most jobs are."""
    jobs, prices = shop.used["jobs"], shop.used["price_list"]
    if prices.empty:
        return
    money = rule is PRICE_FAR_FROM_LIST
    column = "list_price" if money else "list_hours"
    asked = jobs[(jobs["status"] != "cancelled") & jobs["redo_of"].isna()]
    classes = vehicle_classes(asked, shop.used["vehicles"])
    begun = asked["quoted_on"].fillna(asked["started_on"]).fillna(asked["finished_on"])
    rows = list_rows(asked.assign(vehicle_class=classes, on=begun), prices, column)
    listed = look_up(rows, prices[column])
    wrong = pd.DataFrame({each: _far(asked[each], listed, far) for each in columns})
    is_odd = wrong.any(axis=1)
    share = is_odd.groupby(rows).agg(["sum", "size"])
    off = share[(share["sum"] >= _FEWEST) & (share["sum"] > share["size"] / 2)]
    yield _off_list(shop, column, off)
    held = is_odd & ~rows.isin(off.index)
    since, numbers = (look_up(rows, prices[each]) for each in ("effective_from", "row"))
    for number, each in enumerate(columns):
        here = wrong[each] & held
        if number:
            here &= asked[each] != asked[columns[0]]  # an invoice that follows its quote
        at = asked.index[here]
        problems = [
            f"{_amount(value, shop, money)} {'is' if money else 'are'} "
            f"{_side(value / beside, far)} the {_amount(beside, shop, money)} that price_list has "
            f"from {day(first)} on (its row {row:.0f})"
            for value, beside, first, row in zip(
                asked[each][at], listed[at], since[at], numbers[at], strict=True
            )
        ]
        yield found(rule, "jobs", each, at, problems)


def _far(values: pd.Series, beside: pd.Series, far: float) -> pd.Series:
    ratio = values.where(values > 0) / beside
    return (ratio > far + _HAIR) | (ratio < 1 / far - _HAIR)


def _off_list(shop: Shop, column: str, off: pd.DataFrame) -> Found:
    at = pd.Index(off.index.astype("int64"))
    what = "price" if column == "list_price" else "hours"
    problems = [
        f"{odd} of the {size} jobs of this row are far from its {what}"
        for odd, size in zip(off["sum"], off["size"], strict=True)
    ]
    return found(LIST_FAR_FROM_JOBS, "price_list", column, at, problems)


def _amount(value: float, shop: Shop, money: bool) -> str:
    return f"{value:,.2f} {shop.settings.currency}" if money else f"{value:.4g} hours"


def _side(ratio: float, far: float) -> str:
    over, under = _WORDS[far]
    return f"over {over}" if ratio > 1 else f"under {under} of"


def _over_a_day(shop: Shop) -> Found:
    """Job sheets of one day with more hours than it has; of jobs whose log counts nothing."""
    jobs = shop.used["jobs"]
    people = jobs["crew"].str.count("; ") + 1
    alone = ~jobs["job_id"].isin(shop.read["hours"]["job_id"])
    long = alone & (jobs["started_on"] == jobs["finished_on"]) & (jobs["hours"] > _DAY * people)
    at = jobs.index[long.fillna(value=False).astype("bool")]
    problems = [
        f"{hours:.4g} hours of {crew} do not fit into one day, {day(on)}"
        for hours, crew, on in zip(
            jobs["hours"][at], jobs["crew"][at], jobs["finished_on"][at], strict=True
        )
    ]
    return found(SHEET_OVER_A_DAY, "jobs", "hours", at, problems)


def _against_quote(shop: Shop, told: pd.Index) -> Found:
    """Finished lines whose hours are far from the quoted; `told` : lines that are told already."""
    jobs = shop.used["jobs"]
    long = long_day_entries(shop.used["hours"])["job_id"]
    told = told.union(jobs.index[jobs["job_id"].isin(long)])
    counts = (jobs["status"] == "finished") & jobs["redo_of"].isna()
    log = sheet_and_log(shop, "quoted_hours", "hours", "hours")
    whole = counts.groupby(jobs["job_id"], sort=False).transform("all")
    log = log[whole[log.index]].rename(columns={"sheet": "quoted", "log": "worked"})
    alone = jobs[counts & ~jobs["job_id"].isin(shop.read["hours"]["job_id"])]
    sheet = pd.DataFrame({"quoted": alone["quoted_hours"], "worked": alone["hours"]})
    both = pd.concat([log.assign(where="in the time log"), sheet.assign(where="on the job sheet")])
    both = both[both["quoted"] > 0]
    odd = both[_far(both["worked"], both["quoted"], _FAR_WORK)].drop(told, errors="ignore")
    odd = odd.sort_index()
    problems = [
        f"{worked:.4g} hours {where} are {_side(worked / quoted, _FAR_WORK)} "
        f"the {quoted:.4g} quoted"
        for worked, quoted, where in odd[["worked", "quoted", "where"]].itertuples(
            index=False, name=None
        )
    ]
    return found(HOURS_FAR_FROM_QUOTE, "jobs", "hours", odd.index, problems)
