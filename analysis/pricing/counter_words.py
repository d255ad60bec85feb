"""Why a counter sale pays or not, in plain sentences, and what is missing to tell."""

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.findings.sale_margins import NOT_KNOWN
from analysis.locale_text import counted, listed
from analysis.pricing.counter_unknowns import (
    DISPLACED,
    INSTALL,
    LATER,
    LATER_INSTALL,
    SALES,
)
from analysis.pricing.counter_verdict import (
    CANNOT_TELL,
    DOES_NOT,
    FEW_ANSWERS,
    FEW_SALES,
    NO_COST,
    NO_MINUTES,
    NO_MONTHS,
)
from analysis.pricing.money_words import money_words, percent_words
from analysis.settings import Settings

# Other work takes the hours of displaced installs where less than this of their cost is left.
_MOSTLY: Final = 0.9
# Answers that take longer than this at the pace of the twelve months are not worth waiting for.
MOST_YEARS: Final = 3.0
# Columns of a sale that may be missing, and what to write down for them.
_LACKING: Final = {
    "film_cost": "a purchase of the film before its first sale, with roll width and length",
    "staff_cost": "what an hour costs (the table rates, or labour.default_wage in shop.toml)",
    "install_contribution": "finished jobs whose hours, wages, film and prices are all known",
}
_HANGS: Final = {
    DISPLACED: "how many installs it displaces",
    INSTALL: "what an install leaves",
    LATER: "how many installs come later",
    LATER_INSTALL: "what a later install leaves",
    SALES: "price and cost, which differ much from sale to sale",
}


def reason(
    row: dict[Any, Any], held_back: str, answers: int, chosen: pd.DataFrame, settings: Settings
) -> str:
    """Why a verdict is as it is.

    `row` : columns of `counter_verdicts` (inside); `answers` : what it
    rests on of them; `chosen` : its sales.
    """
    parts = [_makes(row, settings)]
    if held_back not in (FEW_SALES, NO_COST):
        parts.append(_break_even(row, settings))
    if row["verdict"] == DOES_NOT:
        parts.append(_to_do(row, chosen, settings))
    if row["verdict"] == CANNOT_TELL:
        parts.append(_unsure(row, held_back, answers, settings))
    return " ".join(part for part in parts if part)


def lacking(sales: pd.DataFrame) -> str:
    """What to write down for the sales of which not every amount is known; "" for nothing."""
    blank = [words for name, words in _LACKING.items() if sales[name].isna().any()]
    return "; ".join(blank)


def sums_note(sales: pd.DataFrame, minutes_known: int) -> str | float:
    """What was assumed for some sales, or is missing; NaN for nothing."""
    count = len(sales)
    parts = []
    without = int((~sales["has_cut"]).sum())
    if without:
        parts.append(
            f"{without} {_sales(without)} without a row in cuts: the roll's whole width counts as "
            "used."
        )
    untold = int((~sales["told"]).sum())
    if untold:
        parts.append(
            f"{untold} of {count} {_sales(count)} left out of expected_net: it wants "
            f"{lacking(sales)}."
        )
    if not minutes_known and count:
        parts.append("No minutes are written down: staff time is not in it.")
    elif blank := int(sales["minutes"].isna().sum()):
        parts.append(f"Minutes of {blank} {_sales(blank)} are taken from the mean of the others.")
    unnamed = int(sales["service"].isna().sum())
    if unnamed:
        others = "the others" if unnamed < count else "other sales, else the shop's jobs,"
        parts.append(
            f"{unnamed} {_sales(unnamed)} without a service: taken to stand in for what {others} "
            "do."
        )
    unknown = int((sales["month_kind"] == NOT_KNOWN).sum())
    if unknown:
        parts.append(
            f"How full the month of {unknown} {_sales(unknown)} was is not known: an install "
            "displaced counts in full."
        )
    return " ".join(parts) if parts else np.nan


def _sales(count: int) -> str:
    return "sale" if count == 1 else "sales"


def _makes(row: dict[Any, Any], settings: Settings) -> str:
    if pd.isna(row["margin_each"]):
        return ""
    line = f"A sale leaves {money_words(row['margin_each'], settings)} before installs"
    if pd.isna(row["net_each"]):
        return line + "."
    lost, won = row["displaced_each"], row["later_each"]
    return (
        f"{line}; {money_words(lost, settings)} goes for installs it displaces "
        f"({percent_words(row['displaced_share'], settings)} of sales), and "
        f"{money_words(won, settings)} comes from installs booked later "
        f"({percent_words(row['later_share'], settings)})."
    )


def _break_even(row: dict[Any, Any], settings: Settings) -> str:
    share = row["break_even_displaced_share"]
    if pd.isna(share):
        return ""
    if share >= 1:
        line = "It would pay even if every sale displaced an install"
        taken = row["displaced_each"] < _MOSTLY * row["displaced_share"] * row["install_each"]
        return (
            f"{line}, because in full months other work takes its hours." if taken else f"{line}."
        )
    if share <= 0:
        return "It would lose even if no sale displaced an install."
    return f"It pays as long as under {percent_words(share, settings)} of sales displace one."


def _unsure(row: dict[Any, Any], held_back: str, answers: int, settings: Settings) -> str:
    fewest = settings.pricing.fewest_jobs
    if held_back == FEW_SALES:
        count = int(row["told"])
        return f"Only {count} {_sales(count)} in the twelve months; nothing is said under {fewest}."
    if held_back == NO_COST:
        return ""
    if held_back == NO_MINUTES:
        return "Hardly any minutes are written down, and staff time may turn it round: note them."
    if held_back == NO_MONTHS:
        return (
            "How full the shop was is not known, and in full months it would be another answer: "
            "keep the tables hours and capacity."
        )
    if held_back == FEW_ANSWERS:
        who = counted(answers, "customer")
        more = _more(row) or f"; nothing is said under {fewest}"
        return f"Only {who} said whether they would have booked the install{more}."
    line = f"It hangs most on {_HANGS[row['unknown']]}"
    return f"{line}{_more(row) or '; further answers alone would not settle it'}."


def _to_do(row: dict[Any, Any], chosen: pd.DataFrame, settings: Settings) -> str:
    """What a sale that does not pay would need, and where most of it goes."""
    more = money_words(-row["net_each"], settings)
    staff = float((chosen["staff_cost"] + chosen["other_staff_cost"]).mean())
    takes = {
        "film": float(chosen["film_cost"].mean()),
        "staff time": staff,
        "installs displaced": float(row["displaced_each"]),
    }
    most = max(takes, key=lambda name: takes[name])
    return (
        f"It would have to bring {more} more a sale; most goes for {most} "
        f"({money_words(takes[most], settings)})."
    )


def to_note(sales: pd.DataFrame) -> str:
    """The columns that no sale has filled in, in a sentence; "" for none."""
    wanted = ("minutes", "service", "would_book", "later_job_id")
    blank = [name for name in wanted if sales[name].isna().all()]
    if not blank:
        return ""
    return f"No sale has anything in {listed(blank)}: write that down to be surer."


def _more(row: dict[Any, Any]) -> str:
    further = row["further_answers"]
    if pd.isna(further):
        return ""
    if further > MOST_YEARS * max(row["sales"], 1):
        return "; it would take years of answers to settle, so think of the price instead"
    word = "answer" if further == 1 else "answers"
    return f"; some {int(further)} further {word} at the counter would probably settle it"
