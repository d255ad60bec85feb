"""The prices that could be asked of a cell, and what an enquiry would leave at each of them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import expit

from analysis.pricing.demand import Array, Demand
from analysis.pricing.price_cells import KEYS
from analysis.pricing.price_lines import PriceTerms
from analysis.settings import Settings

# More prices than this are thinned to every second, third … multiple: a price of 3,000 is not
# chosen to the nearest 5.
MOST: Final = 40
_TINY: Final = 1e-9
Flags = npt.NDArray[np.bool_]
Places = npt.NDArray[np.int64]
# The doubt that a move must stand: the price is taken whose gain is largest in the worst such share
# of what quotes and costs leave open. Chosen on simulated shops: with more, too many shops lose by
# chance; with less, too many gains are left.
DOUBT: Final = 0.20
# Hours are short only as long as they are filled: what they would earn elsewhere is counted as far
# as the new prices together free no more than this share of them. Common practice, no source.
MOST_FREED: Final = 0.05
_PARTS: Final = 16


@dataclass(frozen=True, eq=False)
class Response:
    """How customers answer to each price that could be asked.

    `prices` : cells × candidates, the current price first, blank where there are fewer; `known` :
    cells for which demand holds an answer at all; `learnt` : those whose quotes tell it; `won` :
    chance that an enquiry is won, draws × cells × candidates; `paid` : mean of chance × price paid
    ÷ current list price. Both are blank where there is no answer.
    """

    prices: Array
    known: Flags
    learnt: Flags
    won: Array
    paid: Array

    def part(self, rows: Flags) -> "Response":
        """Some of the cells."""
        return Response(
            self.prices[rows],
            self.known[rows],
            self.learnt[rows],
            self.won[:, rows],
            self.paid[:, rows],
        )


def candidate_prices(current: Array, settings: Settings) -> Array:
    """The prices that a review may set, a row a current price, that itself first. [money]

    Multiples of `round_to` less `round_down_by`, by no less than `smallest_change` and no more than
    `largest_change` away; blank where there are fewer than in the widest row.
    """
    pricing = settings.pricing
    step, less = pricing.round_to, pricing.round_down_by
    reach = pricing.largest_change + _TINY
    first = np.ceil((current * (1 - reach) + less) / step)
    last = np.floor((current * (1 + reach) + less) / step)
    # Every multiple of the stride, so that the prices stay round ones.
    stride = np.maximum(np.ceil((last - first + 1) / MOST), 1)
    begin = np.ceil(first / stride) * stride
    several = begin[:, None] + stride[:, None] * np.arange(MOST + 1)
    price = several * step - less
    with np.errstate(invalid="ignore"):
        far = np.abs(price / current[:, None] - 1) >= pricing.smallest_change - _TINY
        moved = np.abs(price - current[:, None]) > _TINY
        usable = (several <= last[:, None]) & far & moved & (price > 0)
    price = np.sort(np.where(usable, price, np.nan), axis=1)
    width = int(usable.sum(axis=1).max(initial=0))
    return np.column_stack([current, price[:, :width]])


def respond(basis: pd.DataFrame, demand: Demand | None, settings: Settings) -> Response:
    """The answers to every price that could be asked, for the cells of a price basis."""
    current = basis["current_price"].to_numpy(float)
    prices = candidate_prices(current, settings)
    at = demand_rows(basis, demand)
    known = (at >= 0) & np.isfinite(current)
    learnt = np.zeros_like(known)
    draws = 0
    if demand is not None and known.any():
        draws = demand.level.shape[0]
        learnt = known & demand.cells["learnt"].to_numpy(bool)[at]
    won = np.full((draws, *prices.shape), np.nan)
    paid = won.copy()
    if demand is not None and known.any():
        with np.errstate(invalid="ignore"):
            steps = np.log(prices[known] / current[known, None])
        won[:, known], paid[:, known] = chances(demand, at[known], steps)
    return Response(prices, known, learnt, won, paid)


def demand_rows(basis: pd.DataFrame, demand: Demand | None) -> Places:
    """Position of each basis row among the cells of the demand; −1 where it has none."""
    if demand is None:
        return np.full(len(basis), -1, dtype="int64")
    known = demand.cells[KEYS].assign(at=np.arange(len(demand.cells)))
    found = basis[KEYS].merge(known, on=KEYS, how="left", validate="m:1")
    return found["at"].fillna(-1).to_numpy("int64")


def chances(demand: Demand, at: Places, steps: Array) -> tuple[Array, Array]:
    """Chance to win, and mean of chance × exp(step + habit), draws × cells × steps.

    `at` : cells of the demand; `steps` : log(new ÷ current list price), cells × steps.
    """
    level, slope, habit = demand.level[:, at, None], demand.slope[:, at, None], demand.habit[at]
    won = np.zeros((level.shape[0], *steps.shape))
    paid = np.zeros_like(won)
    for point in habit.T:
        moved = steps + point[:, None]
        chance = expit(level + slope * moved)
        won += chance
        paid += chance * np.exp(moved)
    points = habit.shape[1]
    return won / points, paid / points


def unit_costs(basis: pd.DataFrame) -> tuple[pd.Series, pd.Series]:
    """What a job costs, and what it costs beyond its wages where hours are short. [money]

    Where the constraint binds, wages are paid whatever is done, and an hour costs what it would
    earn elsewhere: cost = film + consumables + reserve + max(labour, hour value × short hours).
    """
    labour = basis["expected_hours"] * basis["labour_rate"]
    elsewhere = basis["hour_value"] * basis["short_hours_each"]
    return basis["expected_cost"], (elsewhere - labour).clip(lower=0.0).fillna(0.0)


def cost_draws(basis: pd.DataFrame, draws: int, seed: int) -> Array:
    """Errors of the expected cost, draws × cells. [money]

    Hours are learnt by service, so that one normal draw holds for all classes of a service; a cost
    without a known error counts as sure.
    """
    codes, services = pd.factorize(basis["service"])
    normal = np.random.default_rng(seed).standard_normal((draws, len(services)))
    return np.asarray(normal[:, codes] * basis["cost_error"].fillna(0.0).to_numpy(float))


def gains(response: Response, basis: pd.DataFrame, settings: Settings, seed: int) -> Array:
    """Gain an enquiry of each price over the current one, draws × cells × candidates. [money]

    Profit = paid × what is kept of a price − chance × (fixed fee + cost of a job), the whole of
    what hours would earn elsewhere counted where they are short.
    """
    cost, beyond = unit_costs(basis)
    draws = response.won.shape[0]
    each = (cost + beyond).to_numpy(float) + cost_draws(basis, draws, seed)
    current = basis["current_price"].to_numpy(float)[:, None]
    terms = PriceTerms.of(settings)
    income = response.paid * current * terms.kept_share
    profit = income - response.won * (each + terms.card_fixed)[:, :, None]
    return np.asarray(profit - profit[:, :, :1])


@dataclass(frozen=True, eq=False)
class Moves:
    """The candidate chosen, by cell, and what an enquiry gains.

    `gain` : draws × cells × candidates [money]; `counted` : the part of what hours would earn
    elsewhere that is in it.
    """

    chosen: Places
    gain: Array
    counted: float


def best_moves(
    response: Response,
    basis: pd.DataFrame,
    floor: Array,
    enquiries: Array,
    settings: Settings,
    seed: int,
) -> "Moves":
    """The candidate to ask for, by cell, and the gains of all.

    Where hours are short, the largest part of what they would earn elsewhere is counted at which
    the new prices together free no more than `MOST_FREED` of the hours that these cells take now.
    Hours that a lower price takes cost the whole of it.
    """
    short = basis["short_hours_each"].fillna(0.0).to_numpy(float)[:, None]
    held = response.won.mean(axis=0) * short
    allowed = may_be_asked(response.prices, floor, response.learnt)

    whole = gains(response, basis, settings, seed)
    beyond = unit_costs(basis)[1].to_numpy(float)
    # What of a gain is hours freed; a lower price takes hours from others, at all that they earn.
    with np.errstate(invalid="ignore"):
        frees = (response.prices >= response.prices[:, :1]) * beyond[:, None]
    freed = (response.won[:, :, :1] - response.won) * frees

    def moves(part: int) -> Moves:
        gain = whole if part == _PARTS else whole - (1 - part / _PARTS) * freed
        return Moves(choose(gain, allowed), gain, part / _PARTS)

    def fills(found: Moves) -> bool:
        then = np.take_along_axis(held, found.chosen[:, None], axis=1)[:, 0]
        return bool(enquiries @ then >= (1 - MOST_FREED) * (enquiries @ held[:, 0]))

    found = moves(_PARTS)
    if not (beyond > 0).any() or fills(found):
        return found
    found, low, high = moves(0), 0, _PARTS
    while high - low > 1:
        middle = (low + high) // 2
        trial = moves(middle)
        if fills(trial):
            found, low = trial, middle
        else:
            high = middle
    return found


def may_be_asked(prices: Array, floor: Array, learnt: Flags) -> Flags:
    """Which candidates may be asked for, cells × candidates; the current price always.

    Nothing is lowered under its floor. Where the quotes do not tell what customers do, a price
    under its floor may be raised to the lowest price that is not under it, and nothing else.
    """
    current, least = prices[:, :1], floor[:, None]
    with np.errstate(invalid="ignore"):
        reached = np.where(prices >= least, prices, np.inf).min(axis=1, keepdims=True)
        to_floor = (prices > current) & (prices <= reached) & (current < least)
        free = (prices > current) | (prices >= least)
        allowed = np.where(learnt[:, None], free, to_floor)
    allowed[:, 0] = True
    return np.asarray(allowed)


def choose(gain: Array, allowed: Flags, doubt: float = DOUBT) -> Places:
    """The candidate to ask for, by cell; 0 where the current price stays.

    The one whose gain, less than which comes with a probability of `doubt`, is largest; none where
    that is no gain. So a move must gain with a probability of 1 − doubt, and is the smaller, the
    less is known of the customers.
    """
    worth = np.full(allowed.shape, -np.inf)
    asked = gain[:, allowed]
    asked[~np.isfinite(asked)] = -np.inf
    worth[allowed] = np.quantile(asked, doubt, axis=0, method="lower")
    worth[:, 0] = 0.0
    return np.asarray(worth.argmax(axis=1), dtype="int64")
