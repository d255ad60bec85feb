"""The answers that the page opens with: plain sentences, each with its figures."""

from collections.abc import Callable
from typing import Any, Final

import pandas as pd

from analysis.locale_text import MISSING, counted, listed
from analysis.records.spellings import SPELT_TWO_WAYS
from analysis.report.answer import Answer
from analysis.report.counter_answers import counter_answer
from analysis.report.figures_money import (
    MARGINS,
    last_known_margin,
)
from analysis.report.figures_overruns import plainly_named
from analysis.report.figures_quotes import gather_calibration, hours_to_add
from analysis.report.figures_redo import service_rows
from analysis.report.film_answers import (
    cutting_answer,
    film_answer,
    order_answer,
    shelf_answer,
)
from analysis.report.grids import few, number, slices_of
from analysis.report.numbers import Numbers, label, sentence_case
from analysis.report.price_answers import follow_up_answer, margin_answer, price_answer
from analysis.report.result_answer import result_answer
from analysis.report.results import Review
from analysis.report.vehicles import Models, basis, model_names, quote_longer, ranked_models

MOST_NAMED: Final = 3
# So many more are named with their percent alone.
_MOST_OTHERS: Final = 5
# So many models must run over before it is said of the quoting, and not of them.
_FEWEST_FOR_ALL: Final = 3
# The first of the answers: what changed and why, what to reprice, which vehicles to quote longer,
# where the film goes, whether the counter sale pays. They stand on the first screen.
FIRST: Final = 6


def answers(review: Review) -> tuple[Answer, ...]:
    """The shop-level answers: those of the quarterly review first, see `FIRST`."""
    return tuple(answer(review) for answer in _ANSWERS)


def services_answer(review: Review) -> Answer:
    """Which services earned money after all costs, and which lost it."""
    question, anchor = "Which services earned, and which lost?", "money"
    found = slices_of(review, "margin_by_service")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    margin = last_known_margin(found.quarter)
    if margin is None:
        line = "The margin of no service can be computed from these records."
        return Answer(question, line, "", anchor, is_known=False)
    frame = found.quarter.sort_values(margin.column, ascending=False, kind="stable")
    amounts = number(frame, margin.column)
    best = _named_amounts(review, frame[amounts > 0].head(MOST_NAMED), margin.column)
    lost = _named_amounts(review, frame[amounts < 0].iloc[::-1], margin.column)
    earned = (
        f"{sentence_case(best)} earned most after {margin.after}."
        if best
        else "No service earned money."
    )
    unknown = int(amounts.isna().sum())
    losing = " No service lost money." if margin is MARGINS[0] and not unknown else ""
    if lost:
        losing = f" {sentence_case(lost)} lost money."
    parts = [
        f"The {margin.name.lower()} of {counted(unknown, 'service')} cannot be computed."
        if unknown
        else ""
    ]
    thin = int(few(frame).sum())
    if thin:
        least = review.settings.pricing.fewest_jobs
        parts.append(
            f"{counted(thin, 'service')} had fewer than {counted(least, 'job')}: such a margin can "
            "turn with the next job."
        )
    return Answer(question, earned + losing, " ".join(each for each in parts if each), anchor)


def vehicles_answer(review: Review) -> Answer:
    """Which vehicle models are flagged, with what is expected of their next job."""
    question, anchor = "Which vehicles to quote longer?", "overruns"
    models = ranked_models(review)
    if models.line:
        return Answer(question, models.line, "", anchor, is_known=False)
    say = Numbers(review.settings)
    flagged = models.flagged
    tolerance = say.percent(100 * review.settings.overrun.tolerance)
    if flagged.empty:
        first = models.frame.iloc[0]
        likely = say.percent(100 * first["probability_over_tolerance"])
        line = f"No model is sure to run over its quotes by more than {tolerance}."
        detail = (
            f"Likeliest is {model_names(models.frame.head(1))[0]}, with a probability of {likely}. "
            f"{_maybe(models, review)}{plainly_named(models, review)}"
        )
        return Answer(question, line, detail, anchor)
    dearest = number(flagged, "overrun_cost_year").sort_values(
        ascending=False, kind="stable", na_position="last"
    )
    top = flagged.loc[dearest.index].head(MOST_NAMED)
    named = [
        f"{name} {_model_figures(row, say)}"
        for name, row in zip(model_names(top), _rows(top), strict=True)
    ]
    rest = flagged.drop(top.index)
    line = f"{'; '.join(named)}{_others(rest, say)}."
    cost = number(top, "overrun_cost_year").notna().any()
    money = " Costs are those of their overruns in twelve months." if cost else ""
    false = models.false_share_pct
    often = say.percent(false) if false >= 1 else f"less than {say.percent(1)}"
    sure = f"{often} are expected to be false alarms"
    doubt = f"Of the {quote_longer(len(flagged))}, {sure}."
    if len(flagged) == 1:
        doubt = f"The chance that this is a false alarm is {say.percent(false)}."
    detail = (
        f"{_most_run_over(models, review, say)}{_hours_to_quote(top, review, say)}{basis(review)}"
        f"{money} {doubt} {_maybe(models, review)}{plainly_named(models, review)}"
    )
    return Answer(question, line, detail, anchor)


def _most_run_over(models: Models, review: Review, say: Numbers) -> str:
    """Where most vehicles run over, the way of quoting does, and not a vehicle."""
    told = int(models.frame["enough"].sum())
    flagged = len(models.flagged)
    if flagged < _FEWEST_FOR_ALL or 2 * flagged <= told:
        return ""
    add, _ = hours_to_add(review)
    more = f" ({say.percent(add)} over all)" if add > 0 else ""
    return (
        f"{flagged} of {counted(told, 'model')} with enough jobs run over: that is the way of "
        f"quoting rather than a vehicle, so quote every job longer first{more}. "
    )


def _others(rest: pd.DataFrame, say: Numbers) -> str:
    """The flagged models beyond the first, with their percent where they are few."""
    if rest.empty:
        return ""
    if len(rest) > _MOST_OTHERS:
        return f"; and {len(rest)} more"
    over = number(rest, "pooled_overrun_pct").map(say.percent_change)
    each = [f"{name} {pct}" for name, pct in zip(model_names(rest), over, strict=True)]
    return f"; also {listed(each)}"


def _hours_to_quote(top: pd.DataFrame, review: Review, say: Numbers) -> str:
    """What to write on the next quote: the percent is what such a job takes in the mean."""
    found = slices_of(review, "next_quotes")
    if found.line:
        return ""
    keys = ["make", "model"]
    rows = found.quarter.merge(top[keys], on=keys, how="inner", validate="m:1")
    often = rows.sort_values("jobs", ascending=False, kind="stable").drop_duplicates(keys)
    often = top[keys].merge(often, on=keys, how="inner", validate="1:1")
    named = [
        f"{row['make']} {row['model']}, {row['service']}: {say.hours(row['hours_to_quote'])} "
        f"instead of {say.hours(row['usual_hours'])}"
        for row in _rows(often)
    ]
    share = say.percent(100 * review.settings.quoting.confidence)
    return f"So that {share} of such jobs keep to the quote, write {'; '.join(named)}. "


def _maybe(models: Models, review: Review) -> str:
    """The models that look as if they ran over, on too few jobs."""
    # A misspelt model is no vehicle: the check says so.
    found = review.records.findings
    is_spelling = (found["rule"] == SPELT_TWO_WAYS.code) & (found["column"] == "model")
    doubted = found.loc[is_spelling, "value"]
    thin = models.thin[~models.thin["model"].isin(doubted)]
    if thin.empty:
        return ""
    names = listed(model_names(thin.head(MOST_NAMED)))
    fewest = counted(review.settings.pricing.fewest_jobs, "job")
    return f"{names} may too, but on fewer than {fewest}: no advice yet. "


def _model_figures(row: dict[str, Any], say: Numbers) -> str:
    """`+42% (35% to 48%, 63 jobs, cost $1,287)`."""
    cost = say.money(row["overrun_cost_year"])
    year = "" if cost == MISSING else f", cost {cost}"
    return (
        f"{say.percent_change(row['pooled_overrun_pct'])} "
        f"({say.percent_range(row['low_pct'], row['high_pct'])}, "
        f"{counted(row['jobs_to_date'], 'job')}{year})"
    )


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def quotes_answer(review: Review) -> Answer:
    """How often the quoted hours held, and what must be added for them to hold as wished."""
    question, anchor = "Do the quoted hours hold?", "overruns"
    found = gather_calibration(review)
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    say = Numbers(review.settings)
    wanted = say.percent(found.confidence_pct)
    if pd.isna(found.own_held_pct):
        line = f"How many of the shop's own quotes held is not known; {wanted} should."
        return Answer(question, line, "", anchor, is_known=False)
    line = f"{say.percent(found.own_held_pct)} of the shop's own quotes held; {wanted} should."
    add, _ = hours_to_add(review)
    parts = []
    if not pd.isna(add):
        word = "more" if add > 0 else "fewer"
        parts.append(
            f"For that, quote {say.percent(abs(add))} {word} hours over all, by service and model "
            "as the table says."
        )
    held = say.percent(found.confidence_held_pct)
    parts.append(
        f"Of {counted(found.jobs, 'job')} of two years quoted again this way beforehand, {held} "
        "would have held."
    )
    return Answer(question, line, " ".join(parts), anchor)


def redo_answer(review: Review) -> Answer:
    """How much work was done over, and what that cost."""
    question, anchor = "How much work was done over?", "redo"
    found = slices_of(review, "redo")
    if found.line:
        return Answer(question, found.line, "", anchor, is_known=False)
    services = service_rows(found.quarter)
    jobs, redos = number(services, "jobs").sum(), number(services, "redos").sum()
    say = Numbers(review.settings)
    if not jobs:
        line = "No first-time job was finished in the twelve months."
        return Answer(question, line, "", anchor, is_known=False)
    share = say.percent(100 * redos / jobs, 1)
    cost = number(services, "redo_cost").sum(skipna=False)
    line = (
        f"{say.number(redos)} of {counted(jobs, 'job')} in twelve months ({share})"
        f"{_at_cost(cost, say)}."
        if redos
        else f"None of {counted(jobs, 'job')} in twelve months."
    )
    sure = services[~few(services) & (number(services, "redos") > 0)]
    if sure.empty:
        return Answer(question, line, "", anchor)
    worst = sure.sort_values("redo_pct", ascending=False, kind="stable").iloc[0]
    detail = (
        f"Of the services most often {label(worst['key'])}: {say.percent(worst['redo_pct'], 1)} "
        f"(between {say.percent(worst['low_pct'], 1)} and {say.percent(worst['high_pct'], 1)} "
        "plausible)."
    )
    return Answer(question, line, detail, anchor)


def trust_answer(review: Review) -> Answer:
    """How far the records carry all this."""
    question, anchor = "How far can you trust it?", "records"
    sources = [each for each in review.records.sources if each.table]
    read = sum(each.rows_read for each in sources)
    left_out = sum(each.rows_rejected for each in sources)
    doubtful = int((review.records.findings["severity"] == "doubtful").sum())
    say = Numbers(review.settings)
    line = (
        f"{say.number(left_out)} of {say.number(read)} rows could not be read and are in no figure."
        if left_out
        else f"All {say.number(read)} rows were used."
    )
    parts = []
    if doubtful:
        parts.append(f"Doubtful entries in the rows that were used: {say.number(doubtful)}.")
    if gaps := len(review.unavailable()):
        parts.append(f"{counted(gaps, 'result')} could not be computed.")
    return Answer(question, line, " ".join(parts), anchor)


_ANSWERS: Final[tuple[Callable[[Review], Answer], ...]] = (
    result_answer,
    margin_answer,
    price_answer,
    vehicles_answer,
    film_answer,
    counter_answer,
    services_answer,
    follow_up_answer,
    quotes_answer,
    cutting_answer,
    order_answer,
    shelf_answer,
    redo_answer,
    trust_answer,
)


def _named_amounts(review: Review, frame: pd.DataFrame, column: str) -> str:
    """The first rows with their amounts: `roof ($1,200), hood ($800) and 2 more`."""
    say = Numbers(review.settings)
    top = frame.head(MOST_NAMED)
    names = [str(each) for each in top[frame.columns[0]].map(label)]
    named = [
        f"{name} ({say.money(amount)}{_mark(thin)})"
        for name, amount, thin in zip(names, number(top, column), few(top), strict=True)
    ]
    rest = len(frame) - len(top)
    return listed(named + ([f"{rest} more"] if rest else []))


def _mark(is_few: bool) -> str:
    return ", few jobs" if is_few else ""


def _at_cost(cost: float, say: Numbers) -> str:
    text = say.money(cost)
    return "" if text == MISSING else f", at a cost of {text}"
