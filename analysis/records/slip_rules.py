"""Rules about slips of the pen in jobs: prices and hours far from what they are held against.

Doubtful, used all the same. A slip is told once: hours that are far from the list are not held
against the work, and hours that fit in no day not against the quote.
"""

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.job_lines import sheet_and_log, vehicle_classes
from analysis.records.job_rules import long_day_entries
from analysis.records.list_prices import list_rows
from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, day, found, look_up, rows_told

# Times the list price, or one part in so many of it (common practice, no source).
FAR_PRICE: Final = 2.0
# The same for quoted hours against the list's and prices against the shop's others, and for hours
# worked against the quoted.
_FAR_QUOTE: Final = 3.0
_FAR_WORK: Final = 4.0
_WORDS: Final = {
    FAR_PRICE: ("twice", "half"),
    _FAR_QUOTE: ("three times", "a third"),
    _FAR_WORK: ("four times", "a quarter"),
}
_PRICES: Final = ("quoted_price", "invoiced_price")
_DAY: Final = 24.0  # hours
# From so many other prices of a service and class on there is a usual one; where over so many and
# so large a part of all are far from it, there is none after all.
_FEWEST_USUAL: Final = 5
_MOST_ODD: Final = 2
_ODD_SHARE: Final = 0.1
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
PRICE_FAR_FROM_USUAL = Rule(
    "price-far-from-usual",
    DOUBTFUL,
    "A price, quoted or invoiced, over three times or under a third of the median of the shop's "
    "other prices for its service and class, five at least, where no list price is of it "
    "(cancelled jobs, redos and prices of 0 are exempt; where over two and over a tenth of the "
    "prices are as far, there is no usual one, and none is told).",
    "Look whether a digit or a point slipped; a price that is meant may stay.",
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


def slip_findings(shop: Shop, asked: pd.DataFrame, told: pd.Index) -> tuple[Found, ...]:
    """Everything doubtful about the size of prices and hours of jobs.

    `asked` : `asked_lines` of the shop. `told` : labels of the job lines whose hours are told of
    elsewhere.
    """
    findings = (
        *_against_list(shop, asked, PRICE_FAR_FROM_LIST, FAR_PRICE, _PRICES),
        *_against_list(shop, asked, HOURS_FAR_FROM_LIST, _FAR_QUOTE, ("quoted_hours",)),
        _over_a_day(shop),
    )
    told = told.union(rows_told(findings, HOURS_FAR_FROM_LIST, SHEET_OVER_A_DAY))
    return (*findings, _against_quote(shop, told))


def _against_list(
    shop: Shop, asked: pd.DataFrame, rule: Rule, far: float, columns: tuple[str, ...]
) -> Iterator[Found]:
    """Cells of jobs that are far from the list, and rows of the list from which most jobs are."""
    prices = shop.used["price_list"]
    if prices.empty:
        return
    money = rule is PRICE_FAR_FROM_LIST
    column = "list_price" if money else "list_hours"
    rows = asked["price_row"] if money else list_rows(asked, prices, column)
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


def asked_lines(shop: Shop) -> pd.DataFrame:
    """Job lines whose price and hours were asked of somebody; cancelled jobs and redos are not.

    With their class, `on` (the day), and `price_row` (the label of the list price that held).
    """
    jobs = shop.used["jobs"]
    asked = jobs[(jobs["status"] != "cancelled") & jobs["redo_of"].isna()]
    begun = asked["quoted_on"].fillna(asked["started_on"]).fillna(asked["finished_on"])
    asked = asked.assign(vehicle_class=vehicle_classes(asked, shop.used["vehicles"]), on=begun)
    return asked.assign(price_row=list_rows(asked, shop.used["price_list"], "list_price"))


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


def usual_price_findings(
    shop: Shop, asked: pd.DataFrame, told_elsewhere: pd.Index
) -> Iterator[Found]:
    """Prices far from the shop's others, of lines that no list price is of.

    `asked` : `asked_lines` of the shop. `told_elsewhere` : labels of the job lines whose price
    another rule tells of.
    """
    listed = asked["price_row"].notna()
    cells = asked[["service", "vehicle_class"]].fillna("")
    cell = cells.groupby(["service", "vehicle_class"], sort=False).ngroup()
    told = pd.Series(asked.index.isin(told_elsewhere), asked.index)
    for column in _PRICES:
        prices = asked[column].where(asked[column] > 0).dropna()
        usual, others = _of_others(prices, cell[prices.index])
        far = _far(prices, usual, _FAR_QUOTE) & (others >= _FEWEST_USUAL)
        odd = far.groupby(cell[prices.index]).transform("sum")
        spread = odd > np.maximum(_MOST_ODD, _ODD_SHARE * (others + 1))
        # An invoice that follows its quote is told at the quote.
        held = far & ~spread & ~listed[prices.index] & ~told[prices.index]
        told[prices.index[held]] = True
        at = prices.index[held]
        problems = [
            f"{_amount(price, shop, money=True)} is {_side(price / beside, _FAR_QUOTE)} "
            f"{_amount(beside, shop, money=True)}, the middle of the {number} other prices of "
            + (service if pd.isna(size) else f"{service} on a {size}")
            for price, beside, number, service, size in zip(
                prices[at],
                usual[at],
                others[at],
                asked["service"][at],
                asked["vehicle_class"][at],
                strict=True,
            )
        ]
        yield found(PRICE_FAR_FROM_USUAL, "jobs", column, at, problems)


def _of_others(values: pd.Series, group: pd.Series) -> tuple[pd.Series, pd.Series]:
    """For each value: the median of the others in its group (missing where none), their number."""
    order = np.lexsort((values.to_numpy(), group.to_numpy()))
    by_group = group.iloc[order]
    place = by_group.groupby(by_group).cumcount().to_numpy()
    others = by_group.groupby(by_group).transform("size").to_numpy() - 1
    start = np.arange(len(order)) - place
    ranked = values.to_numpy()[order]
    middle = np.zeros(len(order))
    for half in ((others - 1) // 2, others // 2):
        # Of those left when the value itself is taken out, the one at the place `half`.
        at = start + np.maximum(half, 0)
        at += start + place <= at
        middle += ranked[np.minimum(at, len(order) - 1)] / 2
    index = values.index[order]
    usual = pd.Series(np.where(others > 0, middle, np.nan), index).reindex(values.index)
    return usual, pd.Series(others, index).reindex(values.index)
