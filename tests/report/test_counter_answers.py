"""The owner's question about the counter, answered from the verdicts alone."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report.answer import Answer
from analysis.report.counter_answers import counter_answer
from analysis.settings import parse_settings
from tests.report import made_counter as made
from tests.report.made_counter import all_row, month_row

NAN = float("nan")
UNSURE: dict[str, Any] = {
    "verdict": "can't tell",
    "net_each": 3.0,
    "net_low": -10.0,
    "net_high": 16.0,
    "probability_pays": 0.62,
}
DISPLACED = (
    "Counter sales pay while fewer than 47% of them take an install's place; as learnt, 24% (12% "
    "to 38%) do."
)
HANGS = "What moves this most: installs displaced, from $41 to −$8 a sale at its two ends."
ASK = "Ask every customer whether they would have booked the install."


def answer_of(*frames: pd.DataFrame, **tables: Any) -> Answer:
    given = {"counter_verdicts": made.rows(*frames), "counter_unknowns": made.unknowns()}
    return counter_answer(made.counter_review(**(given | tables)))


def test_a_shop_without_sales_is_shown_where_to_try_them() -> None:
    answer = counter_answer(made.no_counter_review())
    assert (answer.question, answer.anchor) == ("Does the counter sale of film pay?", "counter")
    assert answer.line == made.LINE
    assert not answer.is_known
    assert answer.detail == ""
    bare = Unavailable("counter_verdicts", ("counter_sales",), "Nothing was sold.")
    other = counter_answer(made.counter_review(counter_verdicts=bare))
    assert other.line == "Nothing was sold."
    assert other.detail == (
        "The notebook 05_counter_sale tells it for assumptions that you type in."
    )


def test_it_pays() -> None:
    answer = answer_of(all_row())
    assert answer.line == (
        "Yes: a sale leaves $23 ($9 to $38), and the chance that such sales pay is 97%."
    )
    assert answer.is_known
    assert answer.detail == f"{DISPLACED} {HANGS} {ASK}"


def test_it_does_not() -> None:
    answer = answer_of(
        all_row(
            verdict="does not pay",
            net_each=-12.0,
            net_low=-20.0,
            net_high=-4.0,
            probability_pays=0.02,
            break_even_displaced_share=-0.1,
        )
    )
    assert answer.line == (
        "No: a sale leaves −$12 (−$20 to −$4), and the chance that such sales pay is 2%."
    )
    assert answer.detail.startswith("A counter sale loses even if none takes an install's place;")


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (1.0, "over 99%"),
        (0.996, "over 99%"),
        (0.96, "96%"),
        (0.004, "under 1%"),
        (NAN, "not known"),
    ],
)
def test_no_probability_is_certain(probability: float, words: str) -> None:
    answer = answer_of(all_row(probability_pays=probability))
    assert answer.line.endswith(f"the chance that such sales pay is {words}.")


def test_idle_and_full_months_apart_where_they_differ() -> None:
    months = month_row("full", -12.0, "does not pay"), month_row("idle", 31.0, "pays")
    answer = answer_of(all_row(**UNSURE), *months)
    assert answer.line == (
        "Yes when the shop is idle ($31 a sale, $23 to $39), no when it is full (−$12, −$20 to "
        "−$4)."
    )
    assert answer.is_known
    assert answer.detail.startswith("Over all $3 (−$10 to $16) a sale.")
    turned = answer_of(
        all_row(), month_row("full", 12.0, "pays"), month_row("idle", -31.0, "does not pay")
    )
    assert turned.line.startswith("Yes when the shop is full ($12 a sale, $4 to $20), no when it")


def test_months_that_agree_are_not_named() -> None:
    months = month_row("full", 12.0, "pays"), month_row("idle", 31.0, "pays")
    answer = answer_of(all_row(), *months)
    assert answer.line.startswith("Yes: ")
    assert "months" not in answer.detail


def test_it_cannot_be_told_yet() -> None:
    answer = answer_of(all_row(**UNSURE, further_answers=8), month_row("idle", 31.0, "pays"))
    assert answer.line == (
        "So far a sale leaves $3 (−$10 to $16), and the chance that such sales pay is 62%; that "
        "settles nothing yet."
    )
    assert not answer.is_known
    assert answer.detail == (
        f"So much is sure: they pay in idle months ($31 a sale, $23 to $39). {DISPLACED} {HANGS} "
        f"8 more answers at the counter would probably settle it. {ASK}"
    )
    # Where answers would not settle it, none are asked for.
    assert "settle" not in answer_of(all_row(**UNSURE)).detail


def test_few_sales_are_no_answer() -> None:
    answer = answer_of(all_row(**UNSURE, enough=False, told=3, answers=1))
    assert answer.line == (
        "Too little is known to say: it rests on 3 sales and 1 answer; so far a sale leaves $3 "
        "(−$10 to $16), and the chance that such sales pay is 62%."
    )
    assert not answer.is_known
    thin = answer_of(all_row(enough=False, told=3))
    assert not thin.is_known


def test_what_is_not_known_says_why() -> None:
    answer = answer_of(all_row(net_each=NAN, reason="To tell, it wants a purchase of the film."))
    assert answer.line == (
        "What a counter sale leaves is not known. To tell, it wants a purchase of the film."
    )
    assert not answer.is_known
    assert answer.detail.startswith(ASK)
    assert "05_counter_sale" in answer.detail
    gone = Unavailable("counter_unknowns", ("rates",), "It needs rates.")
    bare = answer_of(all_row(net_each=NAN, reason=None), counter_unknowns=gone)
    assert bare.line == "What a counter sale leaves is not known."
    assert bare.detail == "The notebook 05_counter_sale tells it for assumptions that you type in."


def test_for_whom_it_pays_and_for_whom_not() -> None:
    groups = [
        ("service", "Roof", 40.0, "pays"),
        ("service", "tint", -20.0, "does not pay"),
        ("film", "GB-60", 70.0, "pays"),
        ("film", "MB-60", 10.0, "pays"),
        ("service", "hood", 5.0, "can't tell"),
    ]
    rows = [
        all_row(kind=kind, group=group, net_each=net, verdict=verdict)
        for kind, group, net, verdict in groups
    ]
    answer = answer_of(all_row(), *rows)
    assert answer.detail.startswith(
        "For whom: it does not pay instead of tint (−$20); it pays with film GB-60 ($70), instead "
        "of Roof ($40) and 1 more."
    )
    thin = [row.assign(enough=pd.array([False], dtype="boolean")) for row in rows[1:2]]
    assert "For whom" not in answer_of(all_row(), rows[0], *thin).detail


def test_nothing_is_asked_for_that_would_not_change_the_answer() -> None:
    worthless = made.unknowns().assign(value_of_knowing=0.0)
    assert ASK not in answer_of(all_row(), counter_unknowns=worthless).detail
    unsure = answer_of(all_row(**UNSURE), counter_unknowns=worthless)
    assert unsure.detail.endswith("Write down the minutes of every sale.")


def test_what_it_hangs_on_is_told_as_far_as_it_is_known() -> None:
    blank = made.unknowns().assign(swing=NAN, net_at_low=NAN, net_at_high=NAN)
    told = answer_of(all_row(), counter_unknowns=blank)
    assert "What moves this most: installs displaced. " in told.detail
    assert "What moves this most" not in answer_of(all_row(unknown=None)).detail


EVERY_ONE = (
    "A counter sale leaves something even if every one takes an install's place; as learnt, 24% "
    "(12% to 38%) do"
)
IN_IDLE = ", for in full months other work fills the hour; in idle months sales lose where over"


@pytest.mark.parametrize(
    ("whole", "idle", "said"),
    [
        (1.4, 0.62, f"{EVERY_ONE}{IN_IDLE} 62% do. "),
        (1.01, 0.99, f"{EVERY_ONE}{IN_IDLE} 99% do. "),
        # Where the idle months say no more than all, and where they are not known.
        (1.4, 1.2, f"{EVERY_ONE}. "),
        (1.4, 1.0, f"{EVERY_ONE}. "),
        (1.4, -0.1, f"{EVERY_ONE}. "),
        (1.4, NAN, f"{EVERY_ONE}. "),
        # There is a share for all: it is told alone.
        (1.0, 0.62, "Counter sales pay while fewer than 100% of them take an install's place;"),
        (0.47, 0.31, DISPLACED),
        (-0.1, 0.31, "A counter sale loses even if none takes an install's place;"),
    ],
)
def test_the_share_of_idle_months_is_told_where_full_ones_hide_it(
    whole: float, idle: float, said: str
) -> None:
    months = (
        month_row("full", 12.0, "pays", break_even_displaced_share=3.0),
        month_row("idle", 31.0, "pays", break_even_displaced_share=idle),
    )
    detail = answer_of(all_row(break_even_displaced_share=whole), *months).detail
    assert detail.startswith(said)
    assert ("in idle months sales lose" in detail) is (IN_IDLE in said)


def test_without_idle_months_no_share_of_theirs_is_told() -> None:
    full = month_row("full", 12.0, "pays", break_even_displaced_share=0.5)
    detail = answer_of(all_row(break_even_displaced_share=1.4), full).detail
    assert detail.startswith(f"{EVERY_ONE}. ")
    free = all_row(break_even_displaced_share=NAN, displaced_each=0.0)
    idle = month_row("idle", 31.0, "pays", break_even_displaced_share=0.62)
    assert answer_of(free, idle).detail.startswith("Displaced installs cost nothing:")


def test_answers_that_take_years_are_not_asked_for() -> None:
    """Three years of forty sales are 120 answers."""
    some = answer_of(all_row(**UNSURE, further_answers=120)).detail
    assert "120 more answers at the counter would probably settle it." in some
    years = answer_of(all_row(**UNSURE, further_answers=121)).detail
    assert "settle" not in years
    assert years.endswith(ASK)


def test_names_huge_amounts_and_another_locale() -> None:
    settings = parse_settings('currency = "EUR"\nlocale = "de-DE"')
    huge = {"net_each": 2.3e9, "net_low": 9e8, "net_high": 3.8e9}
    rows = made.rows(
        all_row(**huge),
        all_row(kind="film", group=made.HOSTILE),
        all_row(kind="service", group="x", verdict="does not pay", net_each=-1.0),
    )
    answer = counter_answer(made.counter_review(settings, counter_verdicts=rows))
    line = answer.line.replace("\u00a0", " ")
    assert line.startswith("Yes: a sale leaves 2.300.000.000 € (900.000.000 € to 3.800.000.000 €),")
    assert "97 %" in line
    # Plain text: the page escapes it.
    assert "film \u2068<b>=1+1</b> $x$" in answer.detail
