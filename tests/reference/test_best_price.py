"""The price of the largest expected profit against the rules that textbooks derive for it.

Lerner's rule for a monopolist: at the best price (P − c) ÷ P = 1 ÷ |elasticity| (Lerner 1934;
Varian, Intermediate Microeconomics, chapter on monopoly). For a logit demand with the price itself
in it, the markup is P − c = 1 ÷ (b × (1 − share)) (Train, chapter 3, own-price derivative
b × share × (1 − share); Phillips, chapter 3). Rules and chapters from memory.

Here the log of the price is in the logit, so that the elasticity is slope × (1 − chance), and a
fee in percent comes off what is kept: the rule holds with c = cost after fees ÷ what is kept.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import expit, logit

from analysis.pricing.price_choice import chances
from analysis.pricing.suggest import suggest_prices
from analysis.settings import Fees, Pricing
from tests.pricing.made_prices import SHOP, basis_of, demand_for
from tests.reference.published import Figures, published
from tests.reference.sources import LERNER, TRAIN

# Steps of a cent would be thinned out; a tenth of money in a narrow band is a fine grid.
FINE = replace(
    SHOP,
    fees=Fees(card_percent=3.0, card_fixed=0.5),
    pricing=Pricing(round_to=0.5, largest_change=0.025, smallest_change=0.0),
)
COST, KEPT, FIXED = 190.0, 0.97, 0.5


def best_by_lerner(slope: float, win: float, listed: float) -> float:
    """The price at which (P − c) ÷ P = 1 ÷ |elasticity|."""
    cost = (COST + FIXED) / KEPT

    def off(price: float) -> float:
        chance = expit(logit(win) + slope * np.log(price / listed))
        return (price - cost) / price - 1 / (-slope * (1 - chance))

    return float(brentq(off, cost * 1.001, cost * 20))


@published(LERNER, "the rule at one demand", "recomputed")
def test_lerners_rule(figures: Figures) -> None:
    for slope, win in ((-4.0, 0.5), (-5.0, 0.6), (-8.0, 0.4), (-3.0, 0.3)):
        best = best_by_lerner(slope, win, 400.0)
        # The list stands a little off the best price, and customers answer as they would.
        near = 0.99 * best
        basis = basis_of({"current_price": near, "target_margin_share": 0.01})
        there = float(expit(logit(win) + slope * np.log(near / 400.0)))
        (row,) = suggest_prices(basis, demand_for(basis, slope, win=there), FINE).to_dict("records")
        what = f"Best price, demand of slope {slope:g} and {win:.0%} won at the list"
        figures.add(what, row["suggested_price"], f"{best:.2f}", 0.3)


@published(TRAIN, "own-price elasticity of a logit share", "from memory")
def test_the_elasticity_of_the_jobs_won_is_slope_by_one_minus_the_chance(figures: Figures) -> None:
    """By a small change of the price."""
    basis = basis_of({})
    demand = demand_for(basis, -4.0, win=0.6)
    small = 1e-5
    won, _ = chances(demand, np.array([0]), np.array([[-small, small]]))
    elasticity = np.log(won[0, 0, 1] / won[0, 0, 0]) / (2 * small)
    figures.add("Elasticity of jobs won, −4 × (1 − 0.6)", elasticity, "-1.6", 1.6e-6)


def test_the_logit_markup_in_money() -> None:
    """Train's and Phillips's form: b = −slope ÷ P is the derivative of the log-odds by price."""
    best = best_by_lerner(-5.0, 0.6, 400.0)
    chance = expit(logit(0.6) - 5.0 * np.log(best / 400.0))
    by_price = 5.0 / best
    assert best - (COST + FIXED) / KEPT == pytest.approx(1 / (by_price * (1 - chance)))
