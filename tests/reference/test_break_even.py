"""Contribution, and the change of sales that a change of price may cost, against published figures.

With a price of 100 a margin of so many percent is so much money.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.findings.break_even import break_even_revenue, margin_of_safety
from analysis.pricing.price_lines import (
    PriceTerms,
    break_even_shares,
    contributions,
    margin_shares,
)
from tests.reference.published import Figures, published
from tests.reference.sources import MARKETING_NOTE, OPENSTAX_2, PRICE_TABLE

PLAIN = PriceTerms()
MARGINS = [20, 25, 30, 35, 40, 45, 50, 55, 60]
NONE = float("nan")
# The handbook table of break-even sales changes, in whole percent: rise of sales needed after a
# price cut of so many percent, by margin; NONE where the margin is given away.
CUT = {
    2: [11, 9, 7, 6, 5, 5, 4, 4, 3],
    4: [25, 19, 15, 13, 11, 10, 9, 8, 7],
    6: [43, 32, 25, 21, 18, 15, 14, 12, 11],
    8: [67, 47, 36, 30, 25, 22, 19, 17, 15],
    10: [100, 67, 50, 40, 33, 29, 25, 22, 20],
    12: [150, 92, 67, 52, 43, 36, 32, 28, 25],
    14: [233, 127, 88, 67, 54, 45, 39, 34, 30],
    16: [400, 178, 114, 84, 67, 55, 47, 41, 36],
    18: [900, 257, 150, 106, 82, 67, 56, 49, 43],
    20: [NONE, 400, 200, 133, 100, 80, 67, 57, 50],
    25: [NONE, NONE, 500, 250, 167, 125, 100, 83, 71],
    30: [NONE, NONE, NONE, 600, 300, 200, 150, 120, 100],
}
# The other half of that table: fall of sales that leaves as much after a price rise.
RISE = {
    2: [9, 7, 6, 5, 5, 4, 4, 4, 3],
    4: [17, 14, 12, 10, 9, 8, 7, 7, 6],
    6: [23, 19, 17, 15, 13, 12, 11, 10, 9],
    8: [29, 24, 21, 19, 17, 15, 14, 13, 12],
    10: [33, 29, 25, 22, 20, 18, 17, 15, 14],
    12: [38, 32, 29, 26, 23, 21, 19, 18, 17],
    14: [41, 36, 32, 29, 26, 24, 22, 20, 19],
    16: [44, 39, 35, 31, 29, 26, 24, 23, 21],
    18: [47, 42, 38, 34, 31, 29, 26, 25, 23],
    20: [50, 44, 40, 36, 33, 31, 29, 27, 25],
    25: [56, 50, 45, 42, 38, 36, 33, 31, 29],
    30: [60, 55, 50, 46, 43, 40, 38, 35, 33],
}


def changes(new: float, margin: list[int]) -> pd.Series:
    old = pd.Series([100.0] * len(margin))
    return break_even_shares(old, old * 0 + new, 100.0 - pd.Series(margin), PLAIN) * 100


@published(PRICE_TABLE, "both halves")
def test_sales_that_a_price_change_needs_or_may_cost(figures: Figures) -> None:
    """Margins of 20 to 60 %, printed in whole percent."""
    needed = [changes(100 - cut, MARGINS) for cut in CUT]
    what = "Rise of sales that price cuts of 2 to 30 % need, by margin, %"
    figures.table(what, needed, list(CUT.values()), 0.51)
    borne = [-changes(100 + rise, MARGINS) for rise in RISE]
    what = "Fall of sales that price rises of 2 to 30 % may cost, by margin, %"
    figures.table(what, borne, list(RISE.values()), 0.51)


@published(MARKETING_NOTE, "worked example")
def test_in_money(figures: Figures) -> None:
    """Price 2.50, variable cost 1.00: half a unit of money less needs half as many sales again."""
    old = pd.Series([2.5, 2.5])
    cut, rise = break_even_shares(old, pd.Series([2.0, 3.0]), pd.Series([1.0, 1.0]), PLAIN)
    figures.add("Sales that 2.00 instead of 2.50 needs, cost 1.00", cut, "0.50")
    # By the note's formula.
    figures.add("Sales that 3.00 instead of 2.50 may cost", rise, "-0.25", seen="recomputed")


def test_as_much_is_left_at_the_break_even_volume() -> None:
    """By definition, with tax and card fee, at any prices."""
    terms = PriceTerms(net_of_tax=1 / 1.19, card_share=0.029, card_fixed=0.3)
    old, new = pd.Series([350.0, 350.0, 95.0]), pd.Series([375.0, 330.0, 120.0])
    cost = pd.Series([180.0, 180.0, 40.0])
    change = break_even_shares(old, new, cost, terms)
    before, after = (contributions(price, cost, terms) for price in (old, new))
    np.testing.assert_allclose(after * (1 + change), before, rtol=1e-12)


def left_of(price: float, cost: float, terms: PriceTerms = PLAIN) -> float:
    """What one unit leaves. [money]"""
    (left,) = contributions(pd.Series([float(price)]), pd.Series([float(cost)]), terms)
    return float(left)


def share_left(price: float, cost: float) -> float:
    (share,) = margin_shares(pd.Series([float(price)]), pd.Series([float(cost)]), PLAIN)
    return float(share)


@published(OPENSTAX_2, "sections 3.1 and 3.2, birdbaths")
def test_contribution_margin_and_its_ratio(figures: Figures) -> None:
    """At 100 with variable costs of 20, and at 75 with 15."""
    left = left_of(100, 20)
    figures.add("Contribution of a unit", left, 80)
    figures.add("Contribution of a unit of the second model", left_of(75, 15), 60)
    figures.add("Contribution margin", share_left(100, 20), "0.80")
    figures.add("Contribution margin of the second model", share_left(75, 15), "0.80")
    for units, income in ((175, -4000), (225, 0), (300, 6000)):
        figures.add(f"Income of {units} units, fixed cost 18,000", units * left - 18_000, income)
    figures.add("Contribution of break-even sales of 22,500", 22_500 * left / 100, 18_000)
    for units, income in ((500, 17_000), (750, 37_000)):
        figures.add(f"Income of {units} units, fixed cost 23,000", units * left - 23_000, income)


# Price, variable cost and fixed cost of a cup; contribution, units and sales at which the fixed
# cost is earned, and income at 1,500 cups.
COFFEE = [
    (3.75, 1.50, 2475, "2.25", 1100, "4,125.00", 900),
    (4.25, 1.50, 2475, "2.75", 900, "3,825.00", 1650),
    (3.75, 1.55, 2475, "2.20", 1125, "4,218.75", 825),
    (3.75, 1.50, 2700, "2.25", 1200, "4,500.00", 675),
    (3.75, 1.45, 2875, "2.30", 1250, "4,687.50", 575),
    (3.95, 1.45, 2875, "2.50", 1150, "4,542.50", 875),
]


@published(OPENSTAX_2, "section 3.3, coffee shop")
def test_what_changes_of_price_and_cost_do(figures: Figures) -> None:
    for price, cost, fixed, margin, units, sales, income in COFFEE:
        case = f"price {price:.2f}, cost {cost:.2f}, fixed {fixed:,}"
        left = left_of(price, cost)
        figures.add(f"Contribution of a cup: {case}", left, margin)
        figures.add(f"Break-even cups: {case}", fixed / left, units)
        figures.add(f"Break-even sales: {case}", fixed / share_left(price, cost), sales)
        figures.add(f"Income of 1,500 cups: {case}", 1500 * left - fixed, income)


@published(OPENSTAX_2, "section 3.5, machine parts")
def test_margin_of_safety(figures: Figures) -> None:
    """90 a part, 40 variable, 85,000 fixed; 2,500 parts are sold now."""
    left, share = left_of(90, 40), share_left(90, 40)
    figures.add("Break-even parts", 85_000 / left, 1700)
    figures.add("Break-even sales", 85_000 / share, 153_000)
    figures.add("Parts for 10,000 more", 95_000 / left, 1900)
    figures.add("Sales for 10,000 more", 95_000 / share, 171_000)
    figures.add("Margin of safety", 2500 * 90 - 85_000 / share, 72_000)
    figures.add("Margin of safety, share", 1 - 85_000 / share / (2500 * 90), "0.32")


@published(OPENSTAX_2, "section 3.5, companies A and B")
def test_operating_leverage(figures: Figures) -> None:
    """A tenth more of sales: the income rises by its degree of operating leverage, a tenth of it.

    The source prints 1.71 × 10 % = 17.4 % for A; its ratio is 1.74.
    """
    for name, sales, variable, fixed, degree, rise in (
        ("A", 250_000, 102_000, 63_000, "1.74", "0.174"),
        ("B", 315_000, 105_000, 125_000, "2.47", "0.247"),
    ):
        left = left_of(sales, variable)
        more = left_of(1.1 * sales, 1.1 * variable)
        figures.add(f"Income of {name}", left - fixed, 85_000)
        figures.add(f"Degree of operating leverage of {name}", left / (left - fixed), degree, 0.005)
        change = (more - left) / (left - fixed)
        figures.add(f"Rise of the income of {name} with sales a tenth up", change, rise, 0.0005)


@published(OPENSTAX_2, "section 3.1, kiosk")
def test_contribution_after_a_fee_on_each_sale(figures: Figures) -> None:
    """A price of 25, bought for 15, with 0.50 for each sale; rent 300 and salary 400."""
    left = left_of(25, 15, PriceTerms(card_fixed=0.5))
    for units, margin, income in ((100, 950, 250), (200, 1900, 1200)):
        figures.add(f"Contribution of {units} sales", units * left, margin)
        figures.add(f"Income of {units} sales", units * left - 700, income)


@published(OPENSTAX_2, "section 7.4, bicycle trainers")
def test_income_of_a_flexible_budget(figures: Figures) -> None:
    """22 of variable cost and 2.50 of selling cost a unit; 29,000, 18,000 and 1,000 fixed."""
    for units, price, income in ((1000, 70, -2500), (1500, 70, 20_250), (1500, 75, 27_750)):
        what = f"Income of {units:,} units at {price}"
        figures.add(what, units * left_of(price, 24.5) - 48_000, income)


@published(OPENSTAX_2, "section 3.3, coffee shop")
def test_revenue_at_which_nothing_is_left(figures: Figures) -> None:
    """1,500 cups a month: price, cost of a cup and fixed cost, one changed at a time."""
    cases = [
        (3.75, 1.50, 2475, 4125, 900),
        (4.25, 1.50, 2475, 3825, 1650),
        (3.75, 1.55, 2475, 4218.75, 825),
        (3.75, 1.50, 2700, 4500, 675),
        (3.75, 1.45, 2875, 4687.5, 575),
        (3.95, 1.45, 2875, 4542.5, 875),
    ]
    for price, cost, fixed, revenue, income in cases:
        contribution = 1500 * (price - cost)
        ours = break_even_revenue(1500 * price, contribution, fixed)
        case = f"price {price}, cost {cost}, fixed {fixed}"
        figures.add(f"Break-even sales of coffee, {case}", ours, f"{revenue:.2f}")
        left = contribution * margin_of_safety(1500 * price, ours)
        figures.add(f"Income of 1,500 cups, {case}", left, f"{income}", 0.005)


@published(OPENSTAX_2, "section 3.5, machine parts")
def test_how_much_revenue_may_be_missing(figures: Figures) -> None:
    """2,500 parts at 90, of which each costs 40; fixed costs of 85,000."""
    at = break_even_revenue(225_000, 125_000, 85_000)
    figures.add("Break-even sales of machine parts", at, "153000")
    safety = margin_of_safety(225_000, at)
    figures.add("Margin of safety, share of sales", safety, "0.32")
    figures.add("Margin of safety in money", safety * 225_000, "72000")
    more = break_even_revenue(225_000, 125_000, 95_000)
    figures.add("Sales that leave 10,000", more, "171000")
