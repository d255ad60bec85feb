"""The owner's questions about film: where it goes, how to cut it, what to order."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.findings.allowance import SMALLER
from analysis.locale_text import MISSING, counted, listed
from analysis.report.answer import Answer
from analysis.report.figures_allowance import allowance_sentence
from analysis.report.figures_film import (
    NO_CAUSES,
    cause_name,
    causes_told,
    is_counted,
    unexplained,
    waste_causes,
)
from analysis.report.figures_orders import order_sentence
from analysis.report.grids import number, slices_of
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

MOST_NAMED: Final = 3
# Less than this of an area unit is nothing to speak of.
_A_HAND: Final = 0.1


def film_answer(review: Review) -> Answer:
    """How much of the film cut was lost, and to what."""
    question, anchor = "Where does the film go?", "film"
    found = slices_of(review, "waste_by_film")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    say = Numbers(review.settings)
    consumed = number(found.quarter, "consumed_area").sum(min_count=1)
    waste = number(found.quarter, "waste_area").sum(min_count=1)
    if pd.isna(waste) or not consumed:
        line = "No cut of the quarter has finished sizes, so waste is not known."
        wanted = "Write finished sizes in cuts, or finished_area in jobs."
        return Answer(question, line, wanted, anchor, is_known=False)
    is_measured = number(found.quarter, "waste_area").notna()
    cost = number(found.quarter, "waste_cost")[is_measured].sum(skipna=False)
    if waste < 0:
        line = "More film is written down as finished than was cut, so waste is not known."
        detail = "Look at the finished sizes that the check doubts."
        return Answer(question, line, detail, anchor, is_known=False)
    share = say.percent(100 * waste / consumed)
    line = (
        f"Of {say.area(consumed)} of film cut, {share} was lost: {say.area(waste)}"
        f"{_worth(cost, say)}."
    )
    every = waste_causes(found.quarter)
    causes = every.head(MOST_NAMED)
    named = [
        f"{cause_name(cause).lower()} {say.area(area)}{_about(money, say)}"
        for cause, area, money in zip(causes["cause"], causes["area"], causes["cost"], strict=True)
    ]
    share = "All" if len(every) == len(causes) else "Most"
    detail = f"{share} of it to {listed(named)}." if named else ""
    if not causes_told(found.quarter):
        detail = NO_CAUSES
    saved = number(found.quarter, "avoidable_area").sum(min_count=1)
    if not pd.isna(saved) and saved > _A_HAND:
        worth = number(found.quarter, "avoidable_cost").sum(min_count=1)
        is_part = number(found.quarter, "avoidable_area").isna().any()
        least = "at least " if is_part else ""
        detail += f" Better layouts would have saved {least}{say.area(saved)}{_worth(worth, say)}."
    unmeasured = number(found.quarter, "cuts_unmeasured").sum()
    if unmeasured:
        detail += f" {counted(unmeasured, 'cut')} without finished sizes could not be counted in."
    return Answer(question, line, detail.strip(), anchor)


def shelf_answer(review: Review) -> Answer:
    """What the counts found missing, against what the books say is on the shelf."""
    question, anchor = "What does the shelf say?", "film"
    found = slices_of(review, "film_reconciliation")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    if not is_counted(review):
        line = f"No film was counted in {review.quarter.label}: what went missing is unseen."
        return Answer(question, line, "Count the shelf once a quarter.", anchor, is_known=False)
    say = Numbers(review.settings)
    frame = found.quarter
    missing, cost, surplus = unexplained(frame)
    line = "The counts agree with the books."
    parts = []
    if surplus:
        line = f"The counts found {say.area(surplus)} more than the books say."
        parts.append(
            "Look for cuts that were written down twice, for purchases that were not, and for "
            "offcuts that lie there longer than film.offcut_life_months."
        )
    if missing:
        parts = []
        line = f"{say.area(missing)} of film is missing{_worth(cost, say)}."
        worst = frame.iloc[int(np.nanargmax(number(frame, "unexplained_area")))]
        most = worst["unexplained_area"]
        is_all = say.area(most) == say.area(missing)
        share = "All" if is_all else f"Most ({say.area(most)})"
        parts.append(f"{share} of it is {label(worst['film'])}.")
    if surplus:
        films = counted(int((number(frame, "unexplained_area") < -_A_HAND).sum()), "film")
        parts.append(f"Of {films}, {say.area(surplus)} more was found than the books say.")
    return Answer(question, line, " ".join(parts), anchor)


def cutting_answer(review: Review) -> Answer:
    """How large to cut."""
    question, anchor = "How large to cut?", "saving"
    found = slices_of(review, "best_allowance")
    line = allowance_sentence(review)
    if found.line:
        return Answer(question, line, "", anchor, is_known=False)
    detail = (
        "Cutting smaller trades film for recuts, and each of those stops a job: try it on one "
        "panel first, and look at its recuts a month later."
        if (found.quarter["verdict"] == SMALLER).any()
        else ""
    )
    return Answer(question, line, detail, anchor)


def order_answer(review: Review) -> Answer:
    """What film to order now."""
    question, anchor = "What film to order?", "saving"
    found = slices_of(review, "film_orders")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    day = Numbers(review.settings).day(found.quarter["as_of"].max())
    return Answer(question, order_sentence(review), f"As of {day}, the newest day.", anchor)


def _worth(cost: float, say: Numbers) -> str:
    text = say.money(cost)
    return "" if text == MISSING else f", worth {text}"


def _about(cost: float, say: Numbers) -> str:
    text = say.money(cost)
    return "" if text == MISSING else f" (about {text})"
