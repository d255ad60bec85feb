"""The verdict on the counter sale in words, for its figures and for the answers."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import pandas as pd
from babel.numbers import get_currency_precision

from analysis.counter_tables import COUNTER_UNKNOWNS, COUNTER_VERDICTS
from analysis.findings.sale_margins import FULL, IDLE
from analysis.locale_text import MISSING, counted
from analysis.pricing.counter_verdict import DOES_NOT, PAYS
from analysis.pricing.counter_verdicts import (
    ALL,
    FILM,
    MONTH_NAMES,
    MONTHS,
    NOT_NAMED,
    SERVICE,
)
from analysis.pricing.counter_words import MOST_YEARS
from analysis.report.grids import Grid, few, number, slices_of
from analysis.report.numbers import NOT_GIVEN, Numbers, label
from analysis.report.results import Review

# A row of `counter_verdicts` at the edge, with `few`.
Row = dict[Any, Any]
Rows = dict[tuple[str, str], Row]

# Amounts as long as this stand side by side on a telephone in so many ticks at most.
_LONG_AMOUNT, _FEWEST_TICKS = 100_000.0, 4
_KINDS: Final = (ALL, MONTHS, FILM, SERVICE)
# Above this, the cents of a sale are not worth reading. [money]
_CENTS_UP_TO: Final = 1000.0
_WHOLE: Final = 100.0  # percent
# Less than this a year is nothing to speak of. [money]
WORTH_NOTHING: Final = 0.5


# --- rows of verdicts ----------------------------------------------------------------------------


def in_order(frame: pd.DataFrame) -> pd.DataFrame:
    """Verdicts: all, idle and full months, films, services; within them as they stand."""
    places = {kind: at for at, kind in enumerate(_KINDS)}
    months = {name: at for at, name in enumerate(MONTH_NAMES.values())}
    order = pd.DataFrame(
        {
            "kind": frame["kind"].map(places).fillna(len(places)),
            "month": frame["group"].map(months).where(frame["kind"] == MONTHS).fillna(len(months)),
        }
    )
    ordered = order.sort_values(["kind", "month"], kind="stable").index
    return frame.loc[ordered].reset_index(drop=True)


def row_name(row: Row) -> str:
    """The name of a row of verdicts: `In idle months`, `Film GB-60`, `Instead of roof`."""
    kind, group = row["kind"], label(row["group"])
    if kind == ALL:
        return "All sales"
    if kind == MONTHS:
        return f"In {group}"
    if group in (NOT_GIVEN, NOT_NAMED):
        return f"No {kind} named"
    return f"Film {group}" if kind == FILM else f"Instead of {group}"


def verdict_rows(review: Review) -> Rows:
    """Rows of `counter_verdicts` under kind and group, in order; that of all under no group."""
    frame = in_order(slices_of(review, COUNTER_VERDICTS.name).quarter)
    return {
        (str(row["kind"]), "" if row["kind"] == ALL else label(row["group"])): row | {"few": thin}
        for row, thin in zip(frame.to_dict("records"), few(frame).tolist(), strict=True)
    }


def is_sure(row: Row) -> bool:
    """Whether a row says that it pays or does not, and rests on enough."""
    return not row["few"] and row["verdict"] in (PAYS, DOES_NOT) and not pd.isna(row["net_each"])


def month_rows(rows: Rows) -> dict[str, Row]:
    """The rows of idle and of full months, where they say for sure whether it pays."""
    found = {month: rows.get((MONTHS, MONTH_NAMES[month])) for month in (IDLE, FULL)}
    return {month: row for month, row in found.items() if row and is_sure(row)}


def months_differ(rows: Rows) -> bool:
    """Whether a sale surely pays in the one kind of months, and surely not in the other."""
    return len({row["verdict"] for row in month_rows(rows).values()}) > 1


# --- does it pay ---------------------------------------------------------------------------------


def counter_finding(review: Review) -> str:
    """Whether counter sales pay, without a full stop."""
    say, rows = Numbers(review.settings), verdict_rows(review)
    whole, months = rows.get((ALL, "")), month_rows(rows)
    if months_differ(rows):
        return f"Counter sales {_month_words(months, say)}"
    if whole is None or pd.isna(whole["net_each"]):
        return "Whether counter sales pay cannot be told"
    if is_sure(whole):
        word = "pay" if whole["verdict"] == PAYS else "do not pay"
        return f"Counter sales {word}: {each_sale(whole, say)}"
    if months:
        return f"Counter sales {_month_words(months, say)}; over all it cannot be told yet"
    return f"Whether counter sales pay cannot be told yet: {_wanting(whole, say)}"


def _month_words(months: dict[str, Row], say: Numbers) -> str:
    """`pay in idle months ($31 a sale), and lose in full ones (−$12)`: what pays first."""
    words: list[str] = []
    for verdict, word in ((PAYS, "pay"), (DOES_NOT, "lose")):
        for month, row in months.items():
            if row["verdict"] == verdict:
                noun, unit = (f"{month} ones", "") if words else (MONTH_NAMES[month], " a sale")
                words.append(f"{word} in {noun} ({say.money(row['net_each'])}{unit})")
    return ", and ".join(words)


def each_sale(row: Row, say: Numbers) -> str:
    """`$23 a sale ($9 to $38)`."""
    return f"{say.money(row['net_each'])} a sale{ends_of(row, say)}"


def ends_of(row: Row, say: Numbers) -> str:
    """` ($9 to $38)`; nothing where an end is not known."""
    low, high = say.money(row["net_low"]), say.money(row["net_high"])
    return "" if MISSING in (low, high) else f" ({low} to {high})"


def _wanting(row: Row, say: Numbers) -> str:
    """What would settle it, else how far apart the ends are."""
    answers = settled_by(row, say)
    if answers:
        return f"{answers} would probably settle it"
    if row["few"]:
        return f"it would rest on {counted(row['told'], 'sale')}"
    return each_sale(row, say)


def settled_by(row: Row, say: Numbers) -> str:
    """`8 more answers at the counter`; nothing where answers would not settle it."""
    answers = row["further_answers"]
    # What would take years to ask settles nothing.
    if pd.isna(answers) or not 0 < answers <= MOST_YEARS * max(row["sales"], 1):
        return ""
    word = "more answer" if answers == 1 else "more answers"
    return f"{say.number(answers)} {word} at the counter"


# --- installs that are displaced -----------------------------------------------------------------


def learnt(row: Row, say: Numbers) -> str:
    """The share of displaced installs as learnt: `24% (12% to 38%)`."""
    low, high = row["displaced_low_pct"], row["displaced_high_pct"]
    share = say.percent(row["displaced_pct"])
    return share if pd.isna(low) or pd.isna(high) else f"{share} ({say.percent_range(low, high)})"


def cost_by_all(row: Row) -> float:
    """What it costs, a sale, if every sale displaces an install; NaN if not known. [money]

    From the break-even share, at which what is left before displaced installs is used up; else
    from the share as learnt.
    """
    even, share = (float(row[name]) for name in ("break_even_displaced_pct", "displaced_pct"))
    before, cost = float(row["margin_each"] + row["later_each"]), float(row["displaced_each"])
    if before and even:
        found = before / even * _WHOLE
        if not pd.isna(found):
            return found
    if share > 0:
        return cost / share * _WHOLE
    # No share to scale by: nothing is nothing, and anything else cannot be told.
    return 0.0 if cost == 0 else float("nan")


def displaced_finding(row: Row, say: Numbers) -> str:
    """The share up to which it pays against the share learnt, without a full stop."""
    even, by_all = row["break_even_displaced_pct"], cost_by_all(row)
    if by_all == 0:
        return "Displaced installs cost nothing: what a sale leaves does not hang on them"
    if pd.isna(even):
        ends = [say.money(row["margin_each"] + row["later_each"] - part) for part in (0.0, by_all)]
        return f"A counter sale leaves {ends[0]} if none displaces an install, {ends[1]} if all do"
    so_far = learnt(row, say)
    known = "" if so_far == MISSING else f"; as learnt, {so_far} do"
    if even > _WHOLE:
        return f"A counter sale leaves something even if every one takes an install's place{known}"
    if even < 0:
        return f"A counter sale loses even if none takes an install's place{known}"
    up_to = say.percent(even)
    return f"Counter sales pay while fewer than {up_to} of them take an install's place{known}"


# --- shared --------------------------------------------------------------------------------------


def to_write_down(review: Review, *, if_worth: bool = False) -> str:
    """What to record of the unknown that is worth most to know; nothing where none is told.

    `if_worth` : nothing where knowing it would not change what is decided.
    """
    frame = slices_of(review, COUNTER_UNKNOWNS.name).quarter
    told = frame[frame["record"].notna()].reset_index(drop=True)
    worth = number(told, "value_of_knowing").fillna(0.0)
    if told.empty or (if_worth and worth.max() < WORTH_NOTHING):
        return ""
    return label(told["record"].iloc[int(worth.argmax())])


def cents(review: Review, amount: float) -> int:
    """Decimal places of an amount of a single sale: those of the currency, where it is small."""
    if abs(amount) >= _CENTS_UP_TO:
        return 0
    return int(get_currency_precision(review.settings.currency))


def level_ticks(values: Sequence[float]) -> dict[str, float | None]:
    """Settings of an axis of amounts whose ticks stand level: few of them where they are long."""
    longest = max((abs(each) for each in values if not math.isnan(each)), default=0.0)
    return {"nticks": _FEWEST_TICKS if longest >= _LONG_AMOUNT else None, "tickangle": 0}


def with_few_said(grid: Grid, at: int) -> Grid:
    """The grid with the word 'few' in a column, where a row rests on few."""
    rows = tuple(
        tuple(
            replace(cell, says_few=cell.is_few) if place == at else cell
            for place, cell in enumerate(row)
        )
        for row in grid.rows
    )
    return replace(grid, rows=rows)
