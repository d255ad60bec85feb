"""The owner's questions about prices: why the margin moved, what to reprice, what came of it."""

from typing import Any, Final

import pandas as pd

from analysis.findings.bridge import DISCONTINUED, NEW
from analysis.locale_text import counted, listed
from analysis.pricing.follow_up_words import GAINED, LOST
from analysis.pricing.price_cells import KEYS
from analysis.pricing.price_review import decided_prices
from analysis.pricing.price_words import LOWER, RAISE
from analysis.report.answer import Answer
from analysis.report.figures_bridge import CAUSES
from analysis.report.figures_outlook import wages_sentence
from analysis.report.figures_suggestions import price_sentence, suggestion_finding
from analysis.report.grids import number, slices_of
from analysis.report.numbers import Numbers, label
from analysis.report.result_answer import begun_within
from analysis.report.results import Review

MOST_NAMED: Final = 3
# An amount under half a unit of money is no change.
_NO_CHANGE: Final = 0.5
_ALONE: Final = "one quarter alone"
_NAMES: Final = {**CAUSES, _ALONE: "kinds of work done in one of the two quarters only"}
_ONE_QUARTER: Final = (NEW, DISCONTINUED)


def margin_answer(review: Review) -> Answer:
    """Why the margin of finished jobs is another than in the quarter before."""
    question, anchor = "Why did the margin move?", "money"
    found = slices_of(review, "quarter_bridge")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    say = Numbers(review.settings)
    amounts = number(found.quarter, "amount")
    change = amounts.iloc[-1] - amounts.iloc[0]
    before = review.quarter.previous.label
    if abs(change) < _NO_CHANGE:
        line = f"It did not: {say.money(amounts.iloc[-1])}, as in {before}."
        return Answer(question, line, "", anchor)
    effects = _summed(found.quarter.iloc[1:-1])
    with_it = effects[effects * change > 0].sort_values(key=abs, ascending=False)
    against = effects[effects * change < 0].sort_values(key=abs, ascending=False)
    word = "more" if change > 0 else "less"
    line = (
        f"{say.money(abs(change))} {word} than in {before}{_jobs(review)}; most of it from "
        f"{_named(with_it, say)}."
    )
    detail = f"Against it worked {_named(against, say)}." if len(against) else ""
    if began := begun_within(review):
        detail = (
            f"The records begin on {say.day(began)}, so {before} is not whole and this says "
            f"little. {detail}"
        )
    return Answer(question, line, detail, anchor)


def _jobs(review: Review) -> str:
    """`, with 104 first-time jobs instead of 137`."""
    cells = slices_of(review, "bridge_cells")
    if cells.line:
        return ""
    now, before = (number(cells.quarter, name).sum() for name in ("jobs_now", "jobs_before"))
    return f", with {counted(now, 'first-time job')} instead of {int(before)}"


def _summed(rows: pd.DataFrame) -> pd.Series:
    """Amounts by effect, the cells of one quarter together."""
    names = rows["effect"].astype("str").str.split(":").str[0]
    names = names.where(~names.isin(_ONE_QUARTER), _ALONE)
    return number(rows, "amount").groupby(names.to_numpy(), sort=False).sum()


def _named(effects: pd.Series, say: Numbers) -> str:
    top = effects.head(MOST_NAMED)
    return listed(
        [
            f"{_NAMES.get(str(name), label(name))} ({say.change(amount)})"
            for name, amount in top.items()
        ]
    )


def price_answer(review: Review) -> Answer:
    """Which prices to change."""
    question, anchor = "What to reprice?", "prices"
    found = slices_of(review, "price_suggestions")
    line = price_sentence(review)
    if found.line:
        return Answer(question, line, "", anchor, is_known=False)
    say = Numbers(review.settings)
    frame = found.quarter
    moved = frame["verdict"].isin([RAISE, LOWER])
    if not moved.any():
        return Answer(question, line, "", anchor)
    parts = [f"{suggestion_finding(review)}."]
    if told := _decided(review, frame[moved]):
        parts.append(told)
    below = number(frame, "suggested_price") < number(frame, "floor_price")
    if still := int((moved & below).sum()):
        parts.append(
            f"{still} of them {'stays' if still == 1 else 'stay'} under the floor even so: a price "
            "moves "
            f"{say.percent(100 * review.settings.pricing.largest_change)} at most at a time."
        )
    if told := wages_sentence(review, say):
        parts.append(told)
    under = frame[~moved & (number(frame, "current_price") < number(frame, "floor_price"))]
    if len(under):
        parts.append(
            f"{counted(len(under), 'other price')} stand under the floor; the table says why they "
            "are left."
            if len(under) > 1
            else "One other price stands under its floor; the table says why it is left."
        )
    surcharges = slices_of(review, "model_surcharges")
    if not surcharges.line:
        models = len(surcharges.quarter[["make", "model"]].drop_duplicates())
        parts.append(
            f"{counted(models, 'vehicle model')} should cost more than its class."
            if models == 1
            else f"{counted(models, 'vehicle model')} should cost more than their class."
        )
    return Answer(question, line, " ".join(parts), anchor)


def _decided(review: Review, moved: pd.DataFrame) -> str:
    """How many of the suggested prices were decided already, and are not in the list yet."""
    decided = decided_prices(review.records, review.quarter.last_day)
    both = moved[KEYS].merge(decided, on=KEYS, validate="1:1")
    if both.empty:
        return ""
    due = int(both["is_due"].sum())
    lag = f", and {due} of those should be in price_list by now" if due else ""
    return f"{counted(len(both), 'price')} of these {_were(len(both))} decided already{lag}."


def _were(count: int) -> str:
    return "was" if count == 1 else "were"


def follow_up_answer(review: Review) -> Answer:
    """What came of the prices that were decided."""
    question, anchor = "Did the last prices work?", "prices"
    found = slices_of(review, "price_follow_up")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    counts = found.quarter["verdict"].value_counts()
    words = [f"{int(count)} {verdict}" for verdict, count in counts.items()]
    told = found.quarter[found.quarter["verdict"].isin([GAINED, LOST])]
    named = [
        f"{_what(row)} {row['verdict']}: {row['reason']}"
        for row in told.sort_values("decided_on").tail(MOST_NAMED).to_dict("records")
    ]
    line = f"Of {counted(len(found.quarter), 'decision')}: {listed(words)}."
    if review.records["quotes"].empty:
        named.append(
            "What a price did to the jobs won is never told without the table quotes: a row a "
            "quote, won or lost, with its price."
        )
    return Answer(question, line, " ".join(named), anchor)


def _what(row: dict[Any, Any]) -> str:
    size = row["vehicle_class"]
    return label(row["service"]) + ("" if pd.isna(size) else f" on {label(size)}")
