"""The answers that the page opens with: plain sentences, each with its figures."""

from collections.abc import Callable
from typing import Any, Final

import pandas as pd

from analysis.glossary import statement_line
from analysis.records.spellings import SPELT_TWO_WAYS
from analysis.report.answer import Answer
from analysis.report.counter_answers import counter_answer
from analysis.report.figures_money import (
    BREAK_EVEN,
    MARGINS,
    SAFETY,
    TOTALS,
    UNUSED_WAGES,
    UTILISATION,
    amounts_of,
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
from analysis.report.numbers import MISSING, Numbers, counted, label, listed, sentence_case
from analysis.report.price_answers import follow_up_answer, margin_answer, price_answer
from analysis.report.results import Review
from analysis.report.vehicles import Models, basis, model_names, quote_longer, ranked_models

MOST_NAMED: Final = 3
# The first of the answers: what changed and why, what to reprice, which vehicles to quote longer,
# where the film goes, whether the counter sale pays. They stand on the first screen.
FIRST: Final = 6
# An amount under half a unit of money is no change.
_NO_CHANGE: Final = 0.5

# What a line of the statement is made from, told where the line is missing.
_WANTED: Final = {
    "net_revenue": "prices of every finished job",
    "film": "a purchase of every film that was cut",
    "consumables": "hours worked, in hours or in jobs",
    "labour": "the table rates, or labour.default_wage in shop.toml",
    "overhead_on_jobs": "the tables overheads and capacity",
}


def answers(review: Review) -> tuple[Answer, ...]:
    """The shop-level answers: those of the quarterly review first, see `FIRST`."""
    return tuple(answer(review) for answer in _ANSWERS)


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
    line = f"{word} {say.money(abs(result))}{_against(result, before.get('result'), review, say)}."
    detail = (
        f"Finished jobs left a full margin of {say.money(margin)}"
        f"{_against(margin, before.get('full_margin_of_jobs'), review, say)}. "
        f"{_utilisation(now, say)}{_break_even(now, say)}{_unused_wages(now, say)}"
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
    films = own["film"].map(label, na_action=None).value_counts().head(MOST_NAMED)
    named = [f"{film} ({count})" for film, count in films.items()]
    return (
        f" It is not known of {counted(len(own), 'job line')}, of the films {listed(named)}: look "
        "whether each was bought under that name, and whether every pull has its length and width."
    )


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
    rest = len(flagged) - len(top)
    line = f"{'; '.join(named)}{f'; and {rest} more' if rest else ''}."
    cost = number(top, "overrun_cost_year").notna().any()
    money = " Costs are those of their overruns in twelve months." if cost else ""
    false = models.false_share_pct
    often = say.percent(false) if false >= 1 else f"less than {say.percent(1)}"
    sure = f"{often} are expected to be false alarms"
    doubt = f"Of the {quote_longer(len(flagged))}, {sure}."
    if len(flagged) == 1:
        doubt = f"The chance that this is a false alarm is {say.percent(false)}."
    detail = (
        f"{basis(review)}{money} {doubt} {_maybe(models, review)}{plainly_named(models, review)}"
    )
    return Answer(question, line, detail, anchor)


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


def _against(now: float | None, before: float | None, review: Review, say: Numbers) -> str:
    """How an amount compares with that of the quarter before, as the end of a sentence."""
    if now is None or before is None or pd.isna(now) or pd.isna(before):
        return f" (nothing to compare with in {review.quarter.previous.label})"
    change, label_before = now - before, review.quarter.previous.label
    if abs(change) < _NO_CHANGE:
        return f", the same as in {label_before}"
    word = "more" if change > 0 else "less"
    return f", {say.money(abs(change))} {word} than in {label_before} ({say.money(before)})"


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
    return f" The result would be 0 at a net revenue of {say.money(at)}, {share} {word}."


def _unused_wages(amounts: dict[str, float], say: Numbers) -> str:
    """The largest thing that a result leaves out where people are paid by the week."""
    wages = amounts.get(UNUSED_WAGES)
    if wages is None or not wages >= _NO_CHANGE:
        return ""
    return f" If the other hours are paid too, {say.money(wages)} of wages come off the result."


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
