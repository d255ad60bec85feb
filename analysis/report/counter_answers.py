"""The owner's question about the counter: does it pay to sell cut film, and to whom."""

from typing import Final

import pandas as pd

from analysis.counter_tables import COUNTER_UNKNOWNS, COUNTER_VERDICTS
from analysis.findings.sale_margins import IDLE
from analysis.locale_text import counted, listed
from analysis.pricing.counter_verdict import DOES_NOT, PAYS
from analysis.pricing.counter_verdicts import ALL, FILM, MONTH_NAMES, MONTHS, SERVICE
from analysis.report.answer import Answer
from analysis.report.counter_phrases import (
    Row,
    Rows,
    cost_by_all,
    displaced_finding,
    ends_of,
    is_sure,
    month_rows,
    months_differ,
    row_name,
    settled_by,
    to_write_down,
    verdict_rows,
)
from analysis.report.grids import number, slices_of
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

QUESTION: Final = "Does the counter sale of film pay?"
ANCHOR: Final = "counter"
MOST_NAMED: Final = 2
NOTEBOOK: Final = "05_counter_sale"
# Probabilities beyond these are not told to the percent.
_NEARLY: Final = 0.995
_ALL: Final = 100.0  # percent


def counter_answer(review: Review) -> Answer:
    """Whether a counter sale pays, in idle and in full months, and what would settle it."""
    found = slices_of(review, COUNTER_VERDICTS.name)
    if found.line:
        return Answer(QUESTION, found.line, _to_try(found.line), ANCHOR, is_known=False)
    say, rows = Numbers(review.settings), verdict_rows(review)
    whole = rows.get((ALL, ""))
    if whole is None or pd.isna(whole["net_each"]):
        reason = "" if whole is None or pd.isna(whole["reason"]) else str(whole["reason"])
        line = f"What a counter sale leaves is not known. {reason}".strip()
        detail = f"{to_write_down(review)} {_to_try(line)}".strip()
        return Answer(QUESTION, line, detail, ANCHOR, is_known=False)
    line, is_known = _line(whole, rows, say)
    parts = [
        _months(rows, say),
        _for_whom(rows, say),
        _displaced(whole, rows.get((MONTHS, MONTH_NAMES[IDLE])), say),
        _hangs_on(review, whole, say),
        _settled(whole, is_known, say),
        to_write_down(review, if_worth=is_known),
    ]
    return Answer(QUESTION, line, " ".join(each for each in parts if each), ANCHOR, is_known)


def _to_try(said: str) -> str:
    """The notebook that needs no sale in the records, unless it was named."""
    if NOTEBOOK in said:
        return ""
    return f"The notebook {NOTEBOOK} tells it for assumptions that you type in."


def _line(whole: Row, rows: Rows, say: Numbers) -> tuple[str, bool]:
    """The verdict as a sentence, and whether it is one."""
    if months_differ(rows):
        months = {row["verdict"]: (month, row) for month, row in month_rows(rows).items()}
        (paying, yes), (losing, no) = months[PAYS], months[DOES_NOT]
        return (
            f"Yes when the shop is {paying} ({_of_month(yes, say, unit=' a sale')}), no when it is "
            f"{losing} ({_of_month(no, say)}).",
            True,
        )
    chance = f"the chance that such sales pay is {_chance(whole['probability_pays'], say)}"
    left = f"a sale leaves {_each(whole, say)}, and {chance}"
    if is_sure(whole):
        return f"{'Yes' if whole['verdict'] == PAYS else 'No'}: {left}.", True
    if whole["few"]:
        return f"Too little is known to say: {_rests_on(whole)}; so far {left}.", False
    return f"So far {left}; that settles nothing yet.", False


def _of_month(row: Row, say: Numbers, unit: str = "") -> str:
    """`$31 a sale, $12 to $50`."""
    ends = ends_of(row, say).strip(" ()")
    return f"{say.money(row['net_each'])}{unit}{', ' if ends else ''}{ends}"


def _each(row: Row, say: Numbers) -> str:
    return f"{say.money(row['net_each'])}{ends_of(row, say)}"


def _chance(probability: float, say: Numbers) -> str:
    """A probability in percent; all but sure, where it is."""
    if pd.isna(probability):
        return "not known"
    if probability >= _NEARLY:
        return f"over {say.percent(99)}"
    if probability <= 1 - _NEARLY:
        return f"under {say.percent(1)}"
    return say.percent(100 * probability)


def _rests_on(row: Row) -> str:
    return f"it rests on {counted(row['told'], 'sale')} and {counted(row['answers'], 'answer')}"


def _months(rows: Rows, say: Numbers) -> str:
    """Idle and full months apart, where one says more than all sales do."""
    whole = rows[ALL, ""]
    if months_differ(rows):
        return f"Over all {_each(whole, say)} a sale."
    told = [
        f"{'they pay' if row['verdict'] == PAYS else 'they do not pay'} in {month} months "
        f"({_of_month(row, say, unit=' a sale')})"
        for month, row in month_rows(rows).items()
        if not is_sure(whole) or row["verdict"] != whole["verdict"]
    ]
    return f"So much is sure: {listed(told)}." if told else ""


def _for_whom(rows: Rows, say: Numbers) -> str:
    """Films and services of which it is sure, those that lose first, where they differ."""
    found = [row for (kind, _), row in rows.items() if kind in (FILM, SERVICE) and is_sure(row)]
    parts = []
    for verdict, word in ((DOES_NOT, "does not pay"), (PAYS, "pays")):
        some = [row for row in found if row["verdict"] == verdict]
        some.sort(key=lambda row: float(row["net_each"]), reverse=verdict == PAYS)
        names = [f"{_in_sentence(row)} ({say.money(row['net_each'])})" for row in some[:MOST_NAMED]]
        rest = len(some) - len(names)
        if names:
            parts.append(f"it {word} {listed(names + ([f'{rest} more'] if rest else []))}")
    if len(parts) < 2:
        return ""
    return f"For whom: {'; '.join(parts)}."


def _in_sentence(row: Row) -> str:
    name = row_name(row)
    lowered = f"{name[:1].lower()}{name[1:]}"
    return f"with {lowered}" if row["kind"] == FILM else lowered


def _displaced(whole: Row, idle: Row | None, say: Numbers) -> str:
    """Up to which share it pays; where full months hide it, the share of idle ones too."""
    if pd.isna(cost_by_all(whole)):
        return ""
    line = displaced_finding(whole, say)
    even = float("nan")
    if idle is not None and not idle["few"]:
        even = float(idle["break_even_displaced_pct"])
    if whole["break_even_displaced_pct"] > _ALL and 0 < even < _ALL:
        line += (
            ", for in full months other work fills the hour; in idle months sales lose where over "
            f"{say.percent(even)} do"
        )
    return f"{line}."


def _hangs_on(review: Review, whole: Row, say: Numbers) -> str:
    """The unknown that moves the answer most, with its ends."""
    if pd.isna(whole["unknown"]):
        return ""
    name = label(whole["unknown"])
    found = slices_of(review, COUNTER_UNKNOWNS.name)
    of_it = found.quarter[found.quarter["unknown"] == whole["unknown"]]
    if of_it.empty or number(of_it, "swing").isna().all():
        return f"What moves this most: {name}."
    row = of_it.iloc[0]
    ends = f"{say.money(row['net_at_low'])} to {say.money(row['net_at_high'])}"
    return f"What moves this most: {name}, from {ends} a sale at its two ends."


def _settled(whole: Row, is_known: bool, say: Numbers) -> str:
    answers = settled_by(whole, say)
    if is_known or not answers:
        return ""
    return f"{answers} would probably settle it."
