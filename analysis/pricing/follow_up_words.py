"""Why a decision is judged as it is, in words."""

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.locale_text import counted
from analysis.pricing.money_words import money_words, percent_words
from analysis.settings import Settings

GAINED: Final = "gained"
LOST: Final = "lost"
NO_DIFFERENCE: Final = "no difference to speak of"
TOO_EARLY: Final = "too early to tell"
# No verdict rests on fewer quotes won or lost, since or before (common practice, no source).
FEWEST_QUOTES: Final = 20


def reasons(frame: pd.DataFrame, day: pd.Timestamp, fewest: int, settings: Settings) -> pd.Series:
    """What came against what was expected, and what the verdict rests on, decision by decision."""
    rows: list[dict[Any, Any]] = frame.to_dict("records")
    words = [_reason(row, day, fewest, settings) for row in rows]
    return pd.Series(words, index=frame.index, dtype="str")


def _reason(row: dict[Any, Any], day: pd.Timestamp, fewest: int, settings: Settings) -> str:
    if row["replaced"]:
        return "Another decision on the same price took its place on the day it took effect."
    if row["effective_from"] > day:
        return f"It takes effect on {row['effective_from']:%Y-%m-%d}."
    parts = [_outcome(row, settings)]
    if row["has_quotes"]:
        parts.append(_judged(row, fewest, settings))
    else:
        parts.append(
            "What the price did to the jobs won cannot be told without the table quotes: a row a "
            "quote, won or lost."
        )
    if not row["in_list"] and not row["in_quotes"]:
        parts.append(
            "The new price stands neither in the price list nor in a quote since."
            if row["has_quotes"]
            else "The new price does not stand in the price list."
        )
    return " ".join(parts)


def _outcome(row: dict[Any, Any], settings: Settings) -> str:
    """Quotes won and what a job left, each against what was expected or came before."""
    parts = []
    if row["quotes"] > 0:
        words = f"{row['won']} of {counted(row['quotes'], 'quote')} won"
        words += f" ({percent_words(row['realised_win_share'], settings)})"
        if not np.isnan(row["expected_win_share"]):
            expected = percent_words(row["expected_win_share"], settings)
            words += f" where {expected} were expected"
        parts.append(words)
    elif row["has_quotes"]:
        parts.append("No quote was won or lost since")
    if not np.isnan(row["more_a_job"]):
        parts.append(
            f"at one and the same cost a job left {_more(row['more_a_job'], settings)} than before"
        )
    elif row["jobs"] > 0 and not np.isnan(row["realised_margin"]):
        over = row["realised_margin"] - row["expected_margin"]
        margin = money_words(row["realised_margin"], settings)
        left = f"{counted(row['jobs'], 'job')} left {margin} each"
        parts.append(left if np.isnan(over) else f"{left}, {_more(over, settings)} than expected")
    elif not row["has_quotes"]:
        parts.append("No job was asked for since and finished")
    return "; ".join(parts) + "."


def _judged(row: dict[Any, Any], fewest: int, settings: Settings) -> str:
    """The gain an enquiry with its interval, and what is wanting where it is too early."""
    if row["quotes_before"] < FEWEST_QUOTES:
        before = row["quotes_before"]
        were = "was" if before == 1 else "were"
        few = f"Only {counted(before, 'quote')} {were}" if before else "None was"
        return f"{few} won or lost in the twelve months before: too few to compare with."
    if np.isnan(row["gain"]) and row["quotes"] > 0:
        return "What a job costs is not known, so neither is what an enquiry left."
    if min(row["quotes"] - FEWEST_QUOTES, row["jobs"] - fewest) < 0:
        return f"Too few so far: {_wanting(row, fewest)}."
    low, high = (money_words(row[end], settings) for end in ("gain_low", "gain_high"))
    words = f"An enquiry left {_more(row['gain'], settings)} than before ({low} to {high})"
    if row["verdict"] in (GAINED, LOST):
        return f"{words}."
    if row["verdict"] == NO_DIFFERENCE:
        return f"{words}, where it left {money_words(row['left_before'], settings)}."
    return f"{words}, which may be chance: {_wanting(row, fewest)}."


def _wanting(row: dict[Any, Any], fewest: int) -> str:
    """What would tell: so many more quotes, so long at this pace; or that nothing would."""
    more, months = row["more_quotes"], row["more_months"]
    if row["ended"]:
        return "the next decision on the same price ended it"
    if np.isnan(more):
        before = row["quotes_before"]
        return f"so small a difference cannot be told from the {before} quotes before it"
    if np.isnan(months):
        return "at this pace it will not be told within five years"
    count = _round(more)
    quotes = "1 more quote" if count == 1 else f"some {count} more quotes"
    jobs = f", and {fewest} finished jobs," if row["jobs"] < fewest else ""
    when = "a month" if months <= 1.5 else f"{months:.0f} months"
    return f"{quotes}{jobs} would tell, in about {when} at this pace"


def _round(count: float) -> int:
    """A whole number with two figures at most that mean something."""
    step = 10 ** max(len(str(int(count))) - 2, 0)
    return int(np.ceil(count / step) * step)


def _more(amount: float, settings: Settings) -> str:
    return f"{money_words(abs(amount), settings)} {'less' if amount < 0 else 'more'}"
