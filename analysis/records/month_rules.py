"""Rules about months that lack overheads, one kind of them, or capacity; doubtful."""

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, day, found
from analysis.records.spellings import normal

# A month is over by the records where work is dated in so many of its last days.
_LAST_DAYS: Final = 7
# A category stood long enough to be missed, and one that stays away for longer has ended. [months]
_STOOD: Final = 3
_ENDED: Final = 3
_ONE: Final = pd.DateOffset(months=1)

CAPACITY_MISSING = Rule(
    "capacity-missing",
    DOUBTFUL,
    "A month without capacity: it has overheads and lies between months that have both, or it came "
    "after the last month with capacity and is over by the records, work being dated in its last "
    "week or later (told once a month; months without overheads too are told together).",
    "Add the month to capacity. Until then it is in no overhead rate, and its hours without work "
    "are seen nowhere.",
)
OVERHEADS_MISSING = Rule(
    "overheads-missing",
    DOUBTFUL,
    "A month without overheads: it has capacity and lies between months that have both, or it came "
    "after the last month with overheads and is over by the records, work being dated in its last "
    "week or later (told once a month; months without capacity too are told together).",
    "Add the month's bills to overheads. Until then they are in no result and in no overhead rate, "
    "and the quarter looks better than it was.",
)
OVERHEAD_CATEGORY_MISSING = Rule(
    "overhead-category-missing",
    DOUBTFUL,
    "A category of overheads that stands in three months one after another and not in the next "
    "that has overheads (told once a gap, where the category comes back, or where the month is "
    "over by the records and the gap three months long at most: after that it has ended).",
    "Was the bill forgotten, or is it to come? Then add it to overheads in its month: until it is "
    "there, the quarter looks better than it was. Was there none, or has the category ended? Then "
    "enter it once more with 0, or leave it.",
)


def month_findings(shop: Shop) -> Iterator[Found]:
    """Everything doubtful about months."""
    if shop.used["capacity"].empty and shop.read["overheads"].empty:
        return
    over = _last_month_over(shop)
    yield from _months_lacking(shop, CAPACITY_MISSING, "capacity", "overheads", over)
    yield from _months_lacking(shop, OVERHEADS_MISSING, "overheads", "capacity", over)
    if len(shop.read["overheads"]):
        yield _categories(shop, over)


def _newest_work(shop: Shop) -> pd.Timestamp:
    """The newest day of work; missing where there is none."""
    jobs = shop.used["jobs"]
    done = jobs["finished_on"][jobs["status"] == "finished"]
    return pd.Timestamp(pd.concat([done, shop.used["hours"]["worked_on"]]).max())


def _last_month_over(shop: Shop) -> pd.Timestamp:
    """The first day of the last month that is over by the records; missing where there is no work.

    The month of the newest day of work, where that lies in its last week; else the one before.
    """
    newest = _newest_work(shop)
    if pd.isna(newest):
        return newest
    first = newest.replace(day=1)
    return first if newest.day > newest.days_in_month - _LAST_DAYS else first - _ONE


def _months_lacking(
    shop: Shop, rule: Rule, table: str, beside: str, over: pd.Timestamp
) -> Iterator[Found]:
    """Months that `table` lacks: on the row that `beside` has of them, else on its own last row."""
    own, other = shop.used[table], shop.used[beside]
    if own.empty:
        return
    known = shop.read[table]["month"]
    first, last = own["month"].min(), own["month"].max()
    both = other["month"].between(first, last)
    late = (other["month"] > last) & (other["month"] <= over)
    lost = other[(both | late) & ~other["month"].isin(known)].drop_duplicates("month")
    work = f"and work is dated up to {day(_newest_work(shop))}" if not pd.isna(over) else ""
    problems = [
        f"{month:%Y-%m} has no row in {table}" + (f", {work}" if month > last else "")
        for month in lost["month"]
    ]
    yield found(rule, beside, "month", lost.index, problems)
    after = _months_after(last, over)
    alone = after[~after.isin(known) & ~after.isin(other["month"])]
    at = own.index[own["month"] == last][-1:] if len(alone) else own.index[:0]
    yield found(rule, table, "month", at, f"no row is of {_span(alone)}, {work}")


def _months_after(last: pd.Timestamp, over: pd.Timestamp) -> pd.DatetimeIndex:
    if pd.isna(over):
        return pd.DatetimeIndex([])
    return pd.date_range(last + _ONE, over, freq="MS")


def _span(months: pd.DatetimeIndex) -> str:
    """Months in words: `2026-08`, `2026-08 to 2026-10`."""
    if not len(months):
        return ""
    first, last = f"{months[0]:%Y-%m}", f"{months[-1]:%Y-%m}"
    return first if first == last else f"{first} to {last}"


def _categories(shop: Shop, over: pd.Timestamp) -> Found:
    """Categories that stay away from a month, on the last row in which they stand before it.

    A rejected row counts as being there: mending it mends the rest.
    """
    rows = shop.read["overheads"].dropna(subset=["month", "category"])
    names = rows["category"].map(normal)
    # Months by categories: whether the one has the other.
    stands = pd.crosstab(rows["month"], names) > 0
    stood = stands.rolling(_STOOD).sum().shift() == _STOOD
    labels, problems = [], []
    # One gap after another, in the order of the months; there are few.
    for at, which in np.argwhere((~stands & stood).to_numpy()):
        gap = _gap(stands.iloc[:, which], at, over)
        if gap:
            before = rows[
                (rows["month"] == stands.index[at - 1]) & (names == stands.columns[which])
            ]
            labels.append(before.index[-1])
            problems.append(f"{before['category'].iloc[-1]} {gap}")
    return found(OVERHEAD_CATEGORY_MISSING, "overheads", "category", pd.Index(labels), problems)


def _gap(stands: pd.Series, at: int, over: pd.Timestamp) -> str:
    """What is said of a gap that begins at a month; nothing where it is none to tell."""
    away, back = stands.index[at:], None
    again = np.flatnonzero(stands.iloc[at:])
    if len(again):
        away, back = away[: again[0]], away[again[0]]
    else:
        away = away[away <= over]
    if not len(away) or (back is None and len(away) > _ENDED):
        return ""
    months = _span(pd.DatetimeIndex(away))
    text = f"stands in each of the three months before and not in {months}"
    return text if back is None else f"{text}, and again in {back:%Y-%m}"
