"""From a price sheet that was filled in to rows of the record table `decisions`.

All or nothing: one cell that cannot be taken refuses the sheet. What is allowed and unusual is
taken and told: a large change, a price under the floor, a price that is no multiple. A price so far
from the current one that a digit may have slipped is taken only where that is said to be meant.
"""

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.special import expit, logit

from analysis.errors import RecordsError
from analysis.money import HALF_A_CENT
from analysis.pricing.decision_cells import (
    SheetWork,
    as_dicts,
    changed_inputs,
    filled_rows,
    first_day,
    heading,
    inputs_of,
    is_first_day_blank,
    sheet_note,
    what,
)
from analysis.pricing.money_words import money_words, price_words
from analysis.pricing.price_cells import KEYS, price_cells
from analysis.pricing.price_lines import price_lines
from analysis.pricing.price_sheet_form import shop_mark
from analysis.pricing.price_sheet_reader import FilledSheet
from analysis.record_tables import DECISIONS
from analysis.records.model import Records
from analysis.records.slip_rules import FAR_PRICE

_HAIR: Final = 1e-9
_A_STEP: Final = 1e-6
_SURE: Final = 1e-4  # a chance nearer to 0 or 1 has no log-odds to speak of


@dataclass(frozen=True, eq=False)
class Decisions:
    """What a sheet decides: `rows` to append to the table `decisions`, a column each of its own.

    `refused` : a line for each cell that cannot be taken; then `rows` is empty. `told` : what is
    unusual and taken all the same. `from_next_month` : no first day was typed in, so that it is the
    first of the month after the decision.
    """

    rows: pd.DataFrame
    refused: tuple[str, ...]
    told: tuple[str, ...]
    from_next_month: bool = False


def decisions_of(
    sheet: FilledSheet, records: Records, on: dt.date, *, far: bool = False
) -> Decisions:
    """The decisions of a sheet, taken on a day.

    Parameters
    ----------
    sheet : what a person filled in.
    records : the checked records that the decisions are to be added to.
    on : the day of the decision.
    far : whether prices over twice or under half of the current ones are meant.

    Returns
    -------
    Decisions
        Refused are: a sheet of other records; a first day before `on` or over a year after it; a
        price that is none, not over 0, or far from the current one; a service and class that the
        price list does not have, or whose list price is another than on the sheet; a row that was
        changed; the same service, class and first day as in the records or twice in the sheet; and
        a sheet without any price. A first day left blank is the first of the month after `on`.

    Notes
    -----
    What is expected at the new price: hours as on the sheet; the contribution at the costs that the
    sheet's inputs say; the chance to win on a straight line of log-odds over log(price) through the
    current and the suggested price, else, where these are one, with the slope of the service.
    """
    work = SheetWork(sheet, records, pd.Timestamp(on))
    if sheet.shop != shop_mark(records):
        raise RecordsError(
            f"{sheet.file}: the price sheet was made from other records, or currency, tax, the "
            "first job or the first invoice were changed since. Run review on these records, and "
            "fill in the sheet that it writes."
        )
    first = first_day(work)
    filled = filled_rows(work)
    if filled.empty and not work.refused:
        raise RecordsError(
            f"{sheet.file}: nothing is filled in under "
            f"{heading('new_price')} of the price sheet. Type the prices that you decide there, "
            "save the workbook, and run this again."
        )
    inputs, note = inputs_of(work), sheet_note(work)
    filled = _against_list(work, filled)
    if not far:
        _refuse_far(work, filled)
    if first is not None:
        _refuse_repeated(work, filled, first)
    if work.refused or first is None:
        return Decisions(_no_rows(), tuple(work.refused), ())
    lines = price_lines(_basis(filled), filled, inputs)
    _tell(work, filled, lines, first)
    filled = filled.assign(note=filled["note"].fillna(note) if note else filled["note"])
    rows = _rows(work, filled, lines, first)
    return Decisions(rows, (), tuple(work.told), is_first_day_blank(work))


def _no_rows() -> pd.DataFrame:
    return pd.DataFrame(columns=DECISIONS.inside_names)


# --- against the records -------------------------------------------------------------------------


def _against_list(work: SheetWork, filled: pd.DataFrame) -> pd.DataFrame:
    """The rows whose price the list still has; the others are refused."""
    listed = price_cells(work.records["price_list"], work.on)
    listed = listed[[*KEYS, "current_price", "price_since"]]
    listed = listed.rename(columns={"current_price": "listed_price"})
    both = filled.merge(listed, on=KEYS, how="left", validate="many_to_one")
    apart = ~((both["current_price"] - both["listed_price"]).abs() < HALF_A_CENT)
    day = f"{work.on:%Y-%m-%d}"
    for each in as_dicts(both[apart]):
        if pd.isna(each["listed_price"]):
            problem = f"the price list has no price for it on {day}"
            remedy = "Enter it in price_list first, and run review again."
            work.refuse_in(each, "service", problem, remedy)
            continue
        problem = (
            f"the current price is {_money(each['current_price'], work)} on the sheet, and "
            f"{_money(each['listed_price'], work)} in the price list of {day}"
        )
        remedy = (
            "The list has changed since the review: run review again and decide on its sheet (or "
            "give the day of the decision with --on)."
        )
        work.refuse_in(each, "current_price", problem, remedy)
    return both[~apart].reset_index(drop=True)


def _refuse_far(work: SheetWork, filled: pd.DataFrame) -> None:
    """A price over twice or under half of the current one: a digit may have slipped."""
    ratio = filled["new_price"] / filled["current_price"]
    for each in as_dicts(filled[(ratio > FAR_PRICE + _HAIR) | (ratio < 1 / FAR_PRICE - _HAIR)]):
        side = "over twice" if each["new_price"] > each["current_price"] else "under half"
        problem = (
            f"{_money(each['new_price'], work)} is {side} the current price of "
            f"{_money(each['current_price'], work)}"
        )
        remedy = "Mend the cell if a digit slipped; if it is meant, run this again with --far."
        work.refuse_in(each, "new_price", problem, remedy)


def _refuse_repeated(work: SheetWork, filled: pd.DataFrame, first: pd.Timestamp) -> None:
    past = work.records["decisions"][[*KEYS, "decided_on", "effective_from", "new_price"]]
    past = past.rename(columns={"new_price": "decided_price"})
    known = filled.merge(past, on=KEYS, how="inner", validate="many_to_many")
    taken = known["effective_from"] == first
    if is_first_day_blank(work):
        # The sheet names no day, so a second run of it in another month has another first day.
        same = (known["decided_price"] - known["new_price"]).abs() < HALF_A_CENT
        taken |= same & (known["decided_on"] >= known["price_since"])
    for each in as_dicts(known[taken].drop_duplicates("row")):
        problem = (
            f"the decisions already have a price for it from {each['effective_from']:%Y-%m-%d} on, "
            f"decided on {each['decided_on']:%Y-%m-%d}"
        )
        remedy = (
            "Clear the cell, or choose another first day; to take the earlier one back, delete its "
            "row from decisions."
        )
        work.refuse_in(each, "new_price", problem, remedy)
    for each in as_dicts(filled[filled.duplicated(KEYS)]):
        problem = "it has a new price in an earlier row of the sheet too"
        work.refuse_in(each, "new_price", problem, "Clear one of the two.")


def _money(amount: float, work: SheetWork) -> str:
    return "blank" if np.isnan(amount) else price_words(amount, work.settings)


# --- what is told --------------------------------------------------------------------------------


def _tell(work: SheetWork, filled: pd.DataFrame, lines: pd.DataFrame, first: pd.Timestamp) -> None:
    later = price_cells(work.records["price_list"], first)[[*KEYS, "current_price"]]
    later = later.rename(columns={"current_price": "later_price"})
    rows = filled.assign(floor_price=lines["floor_price"])
    for each in as_dicts(rows.merge(later, on=KEYS, how="left", validate="one_to_one")):
        start = f"{what(each)}: {_money(each['new_price'], work)}"
        work.told += [f"{start} {text}." for text in _unusual(work, each, first)]
    changed = "; ".join(changed_inputs(work))
    if changed:
        work.told.append(
            f"The expected margins rest on the inputs as they were changed in the sheet: {changed}."
        )


def _unusual(work: SheetWork, row: Mapping[str, Any], first: pd.Timestamp) -> Iterator[str]:
    """What is to be said about a new price, in words that go on after it."""
    pricing = work.settings.pricing
    new, old, floor, later = (
        float(row[name]) for name in ("new_price", "current_price", "floor_price", "later_price")
    )
    if new < floor - HALF_A_CENT:
        words = money_words(floor, work.settings)
        if words == _money(new, work):
            words = _money(floor, work)  # only the cents tell them apart
        yield f"is under the floor of {words}"
    if abs(new / old - 1) > pricing.largest_change + _HAIR:
        yield (
            f"is {new / old - 1:+.1%} from {_money(old, work)}, more than the largest change of "
            f"{pricing.largest_change:.0%}"
        )
    steps = (new + pricing.round_down_by) / pricing.round_to
    if abs(steps - round(steps)) > _A_STEP:
        less = f" less {_money(pricing.round_down_by, work)}" if pricing.round_down_by else ""
        yield f"is no multiple of {_money(pricing.round_to, work)}{less}"
    if abs(new - old) < HALF_A_CENT:
        yield "is the current price; it is kept as a decision"
    if min(abs(later - old), abs(later - new)) >= HALF_A_CENT:
        yield (f"replaces {_money(later, work)}, which the price list has on {first:%Y-%m-%d}")


# --- the rows ------------------------------------------------------------------------------------


def _basis(filled: pd.DataFrame) -> pd.DataFrame:
    """Rows as `price_lines` takes them: area × cost an area is the same in whatever unit."""
    return filled.rename(
        columns={
            "film_area": "film_area_m2",
            "film_cost_today": "film_cost_per_m2",
            "redo_rate": "redo_rate_share",
        }
    )


def expected_win(rows: pd.DataFrame) -> pd.Series:
    """Chance to win at the new price, as `decisions_of` says; missing where nothing tells. [share]

    `rows` : current_price, suggested_price, new_price, win_share, suggested_win_share, win_slope.
    """
    now, then = (
        pd.Series(logit(rows[name].clip(_SURE, 1 - _SURE)), index=rows.index)
        for name in ("win_share", "suggested_win_share")
    )
    apart = pd.Series(np.log(rows["suggested_price"] / rows["current_price"]), index=rows.index)
    slope = ((then - now) / apart.where(apart.abs() > _HAIR)).fillna(rows["win_slope"])
    step = pd.Series(np.log(rows["new_price"] / rows["current_price"]), index=rows.index)
    # Where the price stays, no slope is needed.
    moved = (slope * step).mask(step.abs() < _HAIR, 0.0)
    chance = pd.Series(expit(now + moved), index=rows.index)
    is_suggested = (rows["new_price"] - rows["suggested_price"]).abs() < HALF_A_CENT
    is_current = (rows["new_price"] - rows["current_price"]).abs() < HALF_A_CENT
    chance = chance.mask(is_suggested, rows["suggested_win_share"])
    return chance.mask(is_current, rows["win_share"])


def _rows(
    work: SheetWork, filled: pd.DataFrame, lines: pd.DataFrame, first: pd.Timestamp
) -> pd.DataFrame:
    rows = filled.assign(
        decided_on=work.on.normalize(),
        old_price=filled["current_price"],
        effective_from=first.normalize(),
        expected_win_pct=(100 * expected_win(filled)).round(2),
        expected_hours=filled["expected_hours"].round(2),
        expected_margin=lines["new_contribution"].round(2),
    )
    return rows[DECISIONS.inside_names].reset_index(drop=True)
