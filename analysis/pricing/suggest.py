"""Prices for the next quarter: raise, hold, lower, or not enough evidence.

For each service and class of the price list the price is asked for whose expected profit an enquiry
is safely the largest, over everything that the quotes and costs leave open:

    profit(price) = mean over what is quoted around the list of
        chance to win × (quoted price × (net of tax − card share) − fixed fee − cost of a job)

(Phillips, Pricing and Revenue Optimization, chapter on basic price optimisation: the price that
maximises contribution × demand; from memory.) Where hours are short, an hour costs what it would
earn elsewhere. A price moves by no less and no more than the shop's settings say, and never down to
under its floor. Without quotes no curve is pretended: a price under its floor is raised to it, with
the jobs that may be lost before that loses money.
"""

from typing import Final

import numpy as np
import pandas as pd

from analysis.findings.evidence import LEVEL, is_enough
from analysis.price_tables import PRICE_SUGGESTIONS
from analysis.pricing.demand import Array, Demand
from analysis.pricing.price_choice import (
    Places,
    Response,
    best_moves,
    chances,
    demand_rows,
    may_be_asked,
    respond,
    unit_costs,
)
from analysis.pricing.price_lines import (
    PriceTerms,
    break_even_shares,
    contributions,
    floor_prices,
    margin_shares,
)
from analysis.pricing.price_words import HOLD, LOWER, NOT_ENOUGH, RAISE, next_steps, reasons
from analysis.settings import Settings

_SEED: Final = 1
_OF_CURVE: Final = (
    "gain",
    "gain_low",
    "gain_high",
    "probability_gains",
    "chosen_win_share",
    "hopeful_price",
    "hopeful_chance",
    "gain_at_wages",
)
_DEMAND_COLUMNS: Final = ("quotes", "quotes_service", "enquiries", "note")


def suggest_prices(
    basis: pd.DataFrame, demand: Demand | None, settings: Settings, seed: int = _SEED
) -> pd.DataFrame:
    """What to ask for each cell of the price list.

    Parameters
    ----------
    basis : the frame of `price_basis`, `current_price` and `short_hours_each` in it.
    demand : what the quotes tell; None where there are none.
    seed : of the draws of the cost's error.

    Returns
    -------
    DataFrame
        A row a basis row, in its order; inside names of the table price_suggestions. Gains are
        blank where customers' answers are not learnt, and 0 for hold. [money a quarter]

    Notes
    -----
    A cell with fewer jobs than `fewest_jobs` leans on its service, where that has enough and its
    quotes tell what the price does; else nothing is suggested.
    """
    frame = without_words(basis, demand, respond(basis, demand, settings), settings, seed)
    frame["reason"] = reasons(frame, settings)
    frame["next_step"] = next_steps(frame, settings)
    return frame[PRICE_SUGGESTIONS.inside_names]


def without_words(
    basis: pd.DataFrame,
    demand: Demand | None,
    response: Response,
    settings: Settings,
    seed: int = _SEED,
) -> pd.DataFrame:
    """The figures of `suggest_prices`, and those that its words are made of."""
    frame = _facts(basis.reset_index(drop=True), demand, settings)
    frame["learnt"] = response.learnt
    frame["candidates"] = np.isfinite(response.prices[:, 1:]).sum(axis=1)
    frame["told"] = _is_told(frame, settings)
    frame = _with_choice(frame, response, settings, seed)
    frame = _with_floor_alone(frame, response.prices, settings)
    frame["verdict"] = _verdicts(frame)
    return _with_money(frame, settings)


def _facts(basis: pd.DataFrame, demand: Demand | None, settings: Settings) -> pd.DataFrame:
    """The basis with floor, margin, and what the quotes count."""
    terms = PriceTerms.of(settings)
    price, cost = basis["current_price"], basis["expected_cost"]
    at = demand_rows(basis, demand)
    frame = basis.rename(columns={"note": "basis_note"}).assign(
        floor_price=floor_prices(cost, basis["target_margin_share"], terms),
        margin_share=margin_shares(price, cost, terms),
        service_jobs=basis.groupby("service")["jobs"].transform("sum"),
        enough=is_enough(basis["jobs"], settings.pricing.fewest_jobs),
    )
    for name in _DEMAND_COLUMNS:
        if demand is None:
            frame[name] = pd.Series(np.nan, frame.index, dtype="str" if name == "note" else float)
        else:
            known = demand.cells[name].reset_index(drop=True)
            frame[name] = known.reindex(at).to_numpy()
    for name in ("quotes", "quotes_service"):
        frame[name] = frame[name].fillna(0).astype("int64")
    frame["win_share"] = np.nan
    if demand is not None and (at >= 0).any():
        won, _ = chances(demand, at[at >= 0], np.zeros((int((at >= 0).sum()), 1)))
        frame.loc[at >= 0, "win_share"] = won[:, :, 0].mean(axis=0)
    return frame.assign(has_quotes=demand is not None)


def _is_told(frame: pd.DataFrame, settings: Settings) -> pd.Series:
    """Whether the evidence allows a verdict: price and cost known, and jobs behind the cost."""
    known = frame["current_price"].notna() & frame["floor_price"].notna()
    fewest = settings.pricing.fewest_jobs
    of_service = frame["learnt"] & (frame["service_jobs"] >= fewest)
    return known & ((frame["jobs"] >= fewest) | of_service)


def _with_choice(
    frame: pd.DataFrame, response: Response, settings: Settings, seed: int
) -> pd.DataFrame:
    """The price by what customers do, with its gain an enquiry where that is learnt. [money]"""
    frame = frame.assign(
        chosen_price=frame["current_price"], **dict.fromkeys(_OF_CURVE, np.nan), weighed=False
    )
    rows = response.known & frame["told"].to_numpy(bool)
    if not rows.any():
        return frame
    part, own = response.part(rows), frame[rows]
    floor, asked = own["floor_price"].to_numpy(float), own["enquiries"].to_numpy(float)
    moves = best_moves(part, own, floor, asked, settings, seed)
    at, gain = moves.chosen, moves.gain
    hope = _most_hopeful(gain, part, floor)
    won = _at(part.won, at).mean(axis=0)
    # What the same move would gain if the hours of lost jobs saved their wages alone.
    freed = (won - part.won[:, :, 0].mean(axis=0)) * unit_costs(own)[1].to_numpy(float)
    taken = _at(gain, at)
    at_wages = taken.mean(axis=0) + moves.counted * freed
    low, high = np.quantile(taken, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=0)
    columns = (
        taken.mean(axis=0),
        low,
        high,
        np.where(at > 0, (taken > 0).mean(axis=0), np.nan),
        won,
        np.take_along_axis(part.prices, hope[:, None], 1)[:, 0],
        (_at(gain, hope) > 0).mean(axis=0),
        at_wages,
    )
    for name, values in zip(_OF_CURVE, columns, strict=True):
        # No curve is pretended where the quotes do not tell it.
        frame.loc[rows, name] = np.where(part.learnt, values, np.nan)
    frame.loc[rows, "chosen_price"] = np.take_along_axis(part.prices, at[:, None], 1)[:, 0]
    frame["weighed"] = rows
    return frame


def _at(values: Array, at: Places) -> Array:
    """Values of one candidate a cell: draws × cells."""
    return np.take_along_axis(values, at[None, :, None], axis=2)[:, :, 0]


def _most_hopeful(gain: Array, part: Response, floor: Array) -> Places:
    """The candidate of the largest expected gain, however unsure; 0 where none is expected."""
    allowed = may_be_asked(part.prices, floor, part.learnt)
    mean = gain.mean(axis=0)
    mean = np.where(allowed & np.isfinite(mean), mean, -np.inf)
    return np.asarray(mean.argmax(axis=1), dtype="int64")


def _with_floor_alone(frame: pd.DataFrame, prices: Array, settings: Settings) -> pd.DataFrame:
    """Without quotes: a price under its floor goes up to it, or as near as one review may go."""
    alone = (frame["told"] & ~frame["weighed"]).to_numpy(bool)
    allowed = may_be_asked(prices, frame["floor_price"].to_numpy(float), np.zeros_like(alone))
    highest = np.where(allowed & np.isfinite(prices), prices, -np.inf).max(axis=1)
    return frame.assign(chosen_price=frame["chosen_price"].where(~alone, highest))


def _verdicts(frame: pd.DataFrame) -> pd.Series:
    move = frame["chosen_price"] - frame["current_price"]
    words = np.select(
        [~frame["told"], move > 0, move < 0], [NOT_ENOUGH, RAISE, LOWER], default=HOLD
    )
    return pd.Series(words, index=frame.index, dtype="str")


def _with_money(frame: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Margins, break-even volume and the gain a quarter."""
    terms = PriceTerms.of(settings)
    old, cost = frame["current_price"], frame["expected_cost"]
    told, hold = frame["told"], frame["verdict"] == HOLD
    new = frame["chosen_price"].where(told, old)
    moved = frame["verdict"].isin([RAISE, LOWER])
    # Jobs without an enquiry: the quotes name another class, or none; how many ask is not known.
    unseen = (frame["enquiries"] == 0) & (frame["jobs_year"] > 0)
    a_quarter = frame["enquiries"].astype("float64").mask(unseen)
    left = contributions(old, cost, terms)
    return frame.assign(
        suggested_price=new,
        change_share=new / old - 1,
        contribution=left,
        added=contributions(new, cost, terms) - left,
        expected_gain=(frame["gain"] * a_quarter).mask(hold, 0.0),
        gain_low=(frame["gain_low"] * a_quarter).mask(hold, 0.0),
        gain_high=(frame["gain_high"] * a_quarter).mask(hold, 0.0),
        # Where a job left nothing before, losing jobs loses nothing.
        break_even_volume_share=break_even_shares(old, new, cost, terms).where(moved & (left > 0)),
        suggested_margin_share=margin_shares(new, cost, terms).where(told),
        suggested_win_share=frame["chosen_win_share"],
    )
