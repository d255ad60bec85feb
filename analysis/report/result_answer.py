"""The first question of an owner: what the quarter left, and how far that can be held against."""

from typing import Final

import pandas as pd

from analysis.glossary import statement_line
from analysis.locale_text import counted, listed
from analysis.records.model import working_days
from analysis.report.answer import Answer
from analysis.report.figures_money import (
    BREAK_EVEN,
    SAFETY,
    TOTALS,
    UNUSED_WAGES,
    UTILISATION,
    amounts_of,
)
from analysis.report.grids import slices_of
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

_MOST_FILMS: Final = 3
# An amount under half a unit of money is no change.
_NO_CHANGE: Final = 0.5
# Days at the beginning or the end of a quarter without any work, after which it is not whole.
_DAYS_MISSING: Final = 14

# What a line of the statement is made from, told where the line is missing.
_WANTED: Final = {
    "net_revenue": "prices of every finished job",
    "film": "a purchase of every film that was cut",
    "consumables": "hours worked, in hours or in jobs",
    "labour": "the table rates, or labour.default_wage in shop.toml",
    "overhead_on_jobs": "the tables overheads and capacity",
}


def result_answer(review: Review) -> Answer:
    """What the quarter left, and how that compares with the quarter before."""
    question, anchor = "What did the quarter leave?", "money"
    found = slices_of(review, "shop_result")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    say = Numbers(review.settings)
    now, before = amounts_of(found.quarter), amounts_of(found.previous)
    result, margin = now.get("result"), now.get("full_margin_of_jobs")
    if result is None or pd.isna(result):
        return _no_result(review, question, now, anchor)
    word = "A result of" if result >= 0 else "A loss of"
    line = (
        f"{word} {say.money(abs(result))}{_against(result, before.get('result'), review, say)}"
        f"{_if_paid(result, now, say)}.{_without_overheads(review, say)}"
    )
    detail = (
        f"{_nothing_done(review)}Finished jobs left a full margin of {say.money(margin)}"
        f"{_against(margin, before.get('full_margin_of_jobs'), review, say)}. "
        f"{_utilisation(now, say)}{_break_even(now, say)}{_ended_early(review, say)}"
    )
    return Answer(question, line, detail.strip(), anchor)


def _no_result(review: Review, question: str, now: dict[str, float], anchor: str) -> Answer:
    """No result: the first line of the statement that is missing is the one to mend."""
    blank = next((name for name, amount in now.items() if pd.isna(amount)), "result")
    line = f"The result of {review.quarter.label} cannot be computed to its last line."
    known = [name for name in TOTALS if not pd.isna(now.get(name, float("nan")))]
    if known:
        amount = Numbers(review.settings).money(now[known[-1]])
        line += f" {statement_line(known[-1])}: {amount}."
    detail = f"The first line that is missing is {statement_line(blank)}."
    if blank in _WANTED:
        detail += f" It wants {_WANTED[blank]}."
    if blank == "film":
        detail += _unknown_film(review)
    return Answer(question, line, detail, anchor, is_known=False)


def _unknown_film(review: Review) -> str:
    """Of how many job lines the film has no cost, and which films those are."""
    found = review.results.get("job_costs")
    if not isinstance(found, pd.DataFrame):
        return ""
    own = found[(found["quarter"] == review.quarter.label) & found["film_cost"].isna()]
    if own.empty:
        return ""
    films = own["film"].map(label, na_action=None).value_counts().head(_MOST_FILMS)
    named = [f"{film} ({count})" for film, count in films.items()]
    return (
        f" It is not known of {counted(len(own), 'job line')}, of the films {listed(named)}: look "
        "whether each was bought under that name, and whether every pull has its length and width."
    )


def _if_paid(result: float, amounts: dict[str, float], say: Numbers) -> str:
    """What is left where people are paid by the week: the most that a result leaves out."""
    wages = amounts.get(UNUSED_WAGES)
    if wages is None or not wages >= _NO_CHANGE:
        return ""
    left = result - wages
    kind = "a loss of " if left < 0 <= result else ""
    return f"; {kind}{say.money(abs(left))} if hours without work are paid too"


def _against(now: float | None, before: float | None, review: Review, say: Numbers) -> str:
    """How an amount compares with that of the quarter before, as the end of a sentence."""
    label_before = review.quarter.previous.label
    if now is None or before is None or pd.isna(now) or pd.isna(before):
        return f" (nothing to compare with in {label_before})"
    if began := begun_within(review):
        return f" (the records begin on {say.day(began)}: {label_before} is not whole)"
    change = now - before
    if abs(change) < _NO_CHANGE:
        return f", the same as in {label_before}"
    # More of a loss is no gain: where one of them is a loss, better and worse are not mistaken.
    words = ("more", "less") if min(now, before) >= 0 else ("better", "worse")
    word = words[0] if change > 0 else words[1]
    return f", {say.money(abs(change))} {word} than in {label_before} ({say.money(before)})"


def begun_within(review: Review) -> pd.Timestamp | None:
    """The first day of work, where the quarter before is not whole in the records."""
    days = working_days(review.records)
    before = review.quarter.previous
    late = before.first_day + pd.Timedelta(days=_DAYS_MISSING)
    first = pd.Timestamp(days.min()) if len(days) else None
    return first if first is not None and late < first <= before.last_day else None


def _ended_early(review: Review, say: Numbers) -> str:
    """A quarter that is not whole yet: its capacity and overheads are, its work is not."""
    days = working_days(review.records)
    early = review.quarter.last_day - pd.Timedelta(days=_DAYS_MISSING)
    if days.empty or not review.quarter.first_day <= days.max() < early:
        return ""
    return f" The records end on {say.day(days.max())}, before the quarter is over."


def _nothing_done(review: Review) -> str:
    days = working_days(review.records)
    held = days.between(review.quarter.first_day, review.quarter.last_day).any()
    return "" if held or days.empty else "Nothing was finished, worked, cut or sold in it. "


def _without_overheads(review: Review, say: Numbers) -> str:
    """The months of the quarter whose overheads are not written down, though others are."""
    days = working_days(review.records)
    if days.empty:
        return ""
    last = min(review.quarter.last_day, days.max())
    months = pd.period_range(review.quarter.first_day, last, freq="M")
    written = pd.PeriodIndex(review.records["overheads"]["month"], freq="M")
    lack = months[~months.isin(written)]
    if lack.empty or len(lack) == len(months):
        return ""
    named = listed([say.month(each.start_time) for each in lack])
    return f" Overheads of {named} are not written down: it comes out too good by them."


def _utilisation(amounts: dict[str, float], say: Numbers) -> str:
    used = amounts.get(UTILISATION)
    if used is None or pd.isna(used):
        return ""
    return f"{say.percent(used)} of the hours that can be worked were worked."


def _break_even(amounts: dict[str, float], say: Numbers) -> str:
    """How far the revenue is from the one that leaves nothing."""
    at, safety = amounts.get(BREAK_EVEN), amounts.get(SAFETY)
    if at is None or safety is None or pd.isna(at) or pd.isna(safety):
        return ""
    word = "less" if safety >= 0 else "more"
    share = say.percent(abs(safety))
    return (
        f" The result would be 0 at a net revenue of {say.money(at)}, {share} {word}; at a higher "
        "one where wages are paid with or without work."
    )
