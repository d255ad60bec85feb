"""Why a counter sale pays or not, in plain sentences, and what is missing to tell."""

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.pricing.counter_unknowns import (
    DISPLACED,
    INSTALL,
    LATER,
    LATER_INSTALL,
    MINUTES,
    SALES,
)
from analysis.pricing.counter_verdict import (
    CANNOT_TELL,
    FEW_ANSWERS,
    FEW_SALES,
    NO_COST,
    NO_MINUTES,
)
from analysis.pricing.money_words import money_words, percent_words
from analysis.settings import Settings

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
    MINUTES: "the staff time",
}


def reason(row: dict[Any, Any], held_back: str, settings: Settings) -> str:
    """Why a verdict is as it is. `row` : columns of `counter_verdicts` (inside)."""
    parts = [_makes(row, settings), _break_even(row, settings)]
    if row["verdict"] == CANNOT_TELL:
        parts.append(_unsure(row, held_back, settings))
    return " ".join(part for part in parts if part)


def lacking(sales: pd.DataFrame) -> str:
    """What to write down for the sales of which not every amount is known; "" for nothing."""
    blank = [words for name, words in _LACKING.items() if sales[name].isna().any()]
    return "; ".join(blank)


def sums_note(sales: pd.DataFrame, minutes_known: int) -> str | float:
    """What was assumed for some sales, or is missing; NaN for nothing."""
    count = len(sales)
    parts = []
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
        parts.append(
            f"{unnamed} {_sales(unnamed)} without a service: taken to stand in for what the others "
            "do."
        )
    unknown = int((sales["month_kind"] == "not known").sum())
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
        return "It would pay even if every sale displaced an install."
    if share <= 0:
        return "It would lose even if no sale displaced an install."
    return f"It pays as long as under {percent_words(share, settings)} of sales displace one."


def _unsure(row: dict[Any, Any], held_back: str, settings: Settings) -> str:
    fewest = settings.pricing.fewest_jobs
    if held_back == FEW_SALES:
        count = int(row["told"])
        return f"Only {count} {_sales(count)} in the twelve months; nothing is said under {fewest}."
    if held_back == NO_COST:
        return ""
    if held_back == NO_MINUTES:
        return "No minutes are written down, and staff time may turn it round: note them."
    if held_back == FEW_ANSWERS:
        more = _more(row)
        return (
            f"Only {int(row['answers'])} customers said whether they would have booked the install"
            f"{more or '; nothing is said under ' + str(fewest)}."
        )
    line = f"It hangs most on {_HANGS[row['unknown']]}"
    return f"{line}{_more(row) or '; further answers alone would not settle it'}."


def _more(row: dict[Any, Any]) -> str:
    further = row["further_answers"]
    if pd.isna(further):
        return ""
    word = "answer" if further == 1 else "answers"
    return f"; some {int(further)} further {word} at the counter would probably settle it"
