"""Does a counter sale pay: over all, by film, by service, and in idle and full months apart."""

from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.counter_tables import COUNTER_VERDICTS
from analysis.findings.sale_margins import FULL, IDLE, NOT_KNOWN
from analysis.pricing.counter_arithmetic import break_even_share
from analysis.pricing.counter_model import CounterModel, Parts, parts_of_mean
from analysis.pricing.counter_unknowns import ENDS, largest_unknown, weighted_share
from analysis.pricing.counter_verdict import CANNOT_TELL, FEW_SALES, NO_COST, Judged, judge
from analysis.pricing.counter_words import lacking, reason, to_note
from analysis.settings import Settings

ALL, FILM, SERVICE, MONTHS = "all", "film", "service", "months"
ALL_SALES: Final = "all sales"
NOT_NAMED: Final = "not named"
MONTH_NAMES: Final = {
    IDLE: "idle months",
    FULL: "full months",
    NOT_KNOWN: "months not known",
}
_BLANK: Final = dict.fromkeys(
    (
        "install_each",
        "displaced_each",
        "later_each",
        "net_each",
        "net_low",
        "net_high",
        "break_even_displaced_share",
    ),
    np.nan,
)


def counter_verdicts(model: CounterModel, settings: Settings) -> pd.DataFrame:
    """A row a group of sales; columns of `COUNTER_VERDICTS` (inside). [money a sale, shares]

    A group is judged by its sales of the twelve months of which every amount is known; answers and
    customers who came back are counted over all its sales to date.
    """
    fewest = settings.pricing.fewest_jobs
    rows = [
        _row(model, kind, group, mask, settings, fewest, at)
        for at, (kind, group, mask) in enumerate(_groups(model.sales))
    ]
    frame = pd.DataFrame(rows, columns=COUNTER_VERDICTS.inside_names)
    whole = ("sales", "told", "answers", "would_have_booked", "unsure", "came_back")
    types: dict[str, Any] = dict.fromkeys(whole, "int64")
    return frame.astype(types | {"further_answers": "Int64", "enough": "boolean"})


def sales_of(model: CounterModel, mask: pd.Series) -> pd.DataFrame:
    """The sales of the twelve months that a group is judged by.

    Those of which everything is known; where there is none, those whose margin is.
    """
    recent = model.sales[mask & model.sales["is_recent"]]
    told = recent[recent["told"]]
    return told if len(told) else recent[recent["margin"].notna()]


def parts_for(
    model: CounterModel, chosen: pd.DataFrame, at: int, *, if_full: bool = False
) -> Parts:
    """What a sale such as the chosen ones leaves; `at` : the group's place, for its own seed."""
    rng = np.random.default_rng([model.seed, 1, at])
    return parts_of_mean(model, chosen, rng, if_full=if_full)


def _groups(sales: pd.DataFrame) -> Iterator[tuple[str, str, pd.Series]]:
    yield ALL, ALL_SALES, pd.Series(True, index=sales.index)
    for word, name in MONTH_NAMES.items():
        mask = sales["month_kind"] == word
        if mask.any():
            yield MONTHS, name, mask
    for film in sorted(sales["film"].dropna().unique()):
        yield FILM, str(film), sales["film"] == film
    for service in sorted(sales["service"].dropna().unique()):
        yield SERVICE, str(service), sales["service"] == service
    if sales["service"].isna().any():
        yield SERVICE, NOT_NAMED, sales["service"].isna()


def _row(
    model: CounterModel,
    kind: str,
    group: str,
    mask: pd.Series,
    settings: Settings,
    fewest: int,
    at: int,
) -> dict[str, Any]:
    to_date, chosen = model.sales[mask], sales_of(model, mask)
    recent = to_date[to_date["is_recent"]]
    book = to_date["would_book"]
    row: dict[str, Any] = {
        "kind": kind,
        "group": group,
        "sales": len(recent),
        "told": int(recent["told"].sum()),
        "answers": int(book.isin(["yes", "no"]).sum()),
        "would_have_booked": int((book == "yes").sum()),
        "unsure": int((book == "unsure").sum()),
        "came_back": int(to_date["came_back"].sum()),
        **_spread("later_share", model.later.draws, "later_low_share", "later_high_share"),
        "enough": int(recent["told"].sum()) >= fewest,
    }
    # Films and services need answers of their own; months differ in how full they were alone.
    answers = row["answers"] if kind in (FILM, SERVICE) else int(model.displaced.answers.sum())
    row |= _figures(model, chosen, to_date, at, answers, fewest)
    held = row.pop("held_back")
    row["reason"] = reason(row, held, answers, chosen, settings)
    if kind == ALL and (note := to_note(to_date)):
        row["reason"] = f"{row['reason']} {note}"
    if held == NO_COST and (wants := lacking(recent)):
        row["reason"] = f"{row['reason']} To tell, it wants {wants}.".strip()
    return row


def _figures(
    model: CounterModel,
    chosen: pd.DataFrame,
    to_date: pd.DataFrame,
    at: int,
    answers: int,
    fewest: int,
) -> dict[str, Any]:
    """The estimates of a group; blank where no sale is known."""
    shown = chosen if len(chosen) else to_date
    kinds = np.bincount(shown["kind"].to_numpy(dtype=np.int64), minlength=model.share.shape[1])
    of_kinds = kinds[None, :].astype(np.float64)
    weight = Parts(np.zeros(1), np.zeros_like(of_kinds), of_kinds, model.refill_later)
    share = weighted_share(weight, model.share)
    figures = _spread("displaced_share", share, "displaced_low_share", "displaced_high_share")
    if not len(chosen):
        blank = dict.fromkeys(("margin_each", "margin_low", "margin_high"), np.nan)
        sold = bool(to_date["is_recent"].any())
        said = {
            "probability_pays": np.nan,
            "verdict": CANNOT_TELL,
            "unknown": None,
            "further_answers": None,
            "held_back": NO_COST if sold else FEW_SALES,
        }
        return figures | blank | _BLANK | said
    parts = parts_for(model, chosen, at)
    is_open = bool((chosen["month_kind"] == NOT_KNOWN).any())
    full = parts_for(model, chosen, at, if_full=True) if is_open else parts
    judged = judge(model, chosen, parts, full, answers, fewest, (model.seed, 2, at))
    figures |= _spread("margin_each", judged.margin, "margin_low", "margin_high")
    figures["margin_each"] = float(chosen["margin"].mean())
    if np.isnan(judged.net).any():
        return figures | _BLANK | _said(judged, None)
    lost, won = float(chosen["displaced_cost"].mean()), float(chosen["later_installs"].mean())
    free = chosen["install_contribution"] * (1 - chosen["refill_share"])
    figures |= _spread("net_each", judged.net, "net_low", "net_high")
    figures |= {
        "install_each": float(chosen["install_contribution"].mean()),
        "displaced_each": lost,
        "later_each": won,
        "net_each": figures["margin_each"] - lost + won,
        "break_even_displaced_share": break_even_share(
            figures["margin_each"], won, float(free.mean())
        ),
    }
    return figures | _said(judged, largest_unknown(model, parts))


def _said(judged: Judged, unknown: str | None) -> dict[str, Any]:
    return {
        "probability_pays": judged.probability,
        "verdict": judged.verdict,
        "unknown": unknown,
        "further_answers": judged.further_answers,
        "held_back": judged.held_back,
    }


def _spread(name: str, draws: Any, low: str, high: str) -> dict[str, float]:
    ends = np.quantile(draws, ENDS)
    return {name: float(np.mean(draws)), low: float(ends[0]), high: float(ends[1])}
