"""Contribution, and the change of sales that a change of price may cost, against published figures.

Sources beside each check. With a price of 100 a margin of so many percent is so much money.
"""

import numpy as np
import pandas as pd
import pytest

from analysis.pricing.price_lines import (
    PriceTerms,
    break_even_shares,
    contributions,
    margin_shares,
)

PLAIN = PriceTerms()
MARGINS = [20, 25, 30, 35, 40, 45, 50, 55, 60]
NONE = float("nan")
# "See what happens when you either increase prices or decrease them", a public one-page handbook
# table of break-even sales changes, in whole percent: rise of sales needed after a price cut of
# so many percent, by margin; NONE where the margin is given away.
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


@pytest.mark.parametrize("cut", list(CUT))
def test_sales_that_a_price_cut_needs(cut: int) -> None:
    # Printed in whole percent.
    np.testing.assert_allclose(changes(100 - cut, MARGINS), CUT[cut], atol=0.51)


@pytest.mark.parametrize("rise", list(RISE))
def test_sales_that_a_price_rise_may_cost(rise: int) -> None:
    np.testing.assert_allclose(-changes(100 + rise, MARGINS), RISE[rise], atol=0.51)


def test_in_money() -> None:
    """Price 2.50, variable cost 1.00: half a unit of money less needs half as many sales again.

    Source: a university's public marketing course note, "Computing Percent Breakeven Price
    Change". The rise by the same amount follows from its formula and figures.
    """
    old = pd.Series([2.5, 2.5])
    found = break_even_shares(old, pd.Series([2.0, 3.0]), pd.Series([1.0, 1.0]), PLAIN)
    np.testing.assert_allclose(found, [0.5, -0.25], atol=1e-9)


def test_as_much_is_left_at_the_break_even_volume() -> None:
    """By definition, with tax and card fee, at any prices."""
    terms = PriceTerms(net_of_tax=1 / 1.19, card_share=0.029, card_fixed=0.3)
    old, new = pd.Series([350.0, 350.0, 95.0]), pd.Series([375.0, 330.0, 120.0])
    cost = pd.Series([180.0, 180.0, 40.0])
    change = break_even_shares(old, new, cost, terms)
    before, after = (contributions(price, cost, terms) for price in (old, new))
    np.testing.assert_allclose(after * (1 + change), before, rtol=1e-12)


def test_contribution_margin_and_its_ratio() -> None:
    """Birdbaths at 100 with variable costs of 20, and at 75 with 15.

    Source: Franklin, Graybeal and Cooper, Principles of Accounting, Volume 2: Managerial
    Accounting (OpenStax 2019), sections 3.1 and 3.2. At 225 units the fixed 18,000 are earned.
    """
    price, cost = pd.Series([100.0, 75.0]), pd.Series([20.0, 15.0])
    left = contributions(price, cost, PLAIN)
    assert left.to_list() == [80, 60]
    assert margin_shares(price, cost, PLAIN).to_list() == [0.8, 0.8]
    income = [units * left[0] - 18_000 for units in (175, 225, 300)]
    assert income == [-4000, 0, 6000]


def test_contribution_after_a_fee_on_each_sale() -> None:
    """A price of 25, bought for 15, with 0.50 for each sale: 950 and 1,900 are left of 100 and 200.

    Source: as above, section 3.1, exercise of the kiosk; rent 300 and salary 400 make the income.
    """
    terms = PriceTerms(card_fixed=0.5)
    (left,) = contributions(pd.Series([25.0]), pd.Series([15.0]), terms)
    assert [units * left for units in (100, 200)] == pytest.approx([950, 1900])
    assert [units * left - 700 for units in (100, 200)] == pytest.approx([250, 1200])
