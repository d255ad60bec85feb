"""What a counter sale leaves, against worked decisions and data sets that were published.

The decisions are those of OpenStax, Principles of Accounting, Volume 2, chapter 10. The package
decides one thing, whether to sell film over the counter, so that its functions meet them in other
words:

- a special order (10.2) is a counter sale, the capacity that it takes the hour at the counter;
- selling at the split-off point or processing further (10.5) is film sold or laid: what laying it
  would have left is the install that the sale displaces;
- make or buy (10.3), and in-house or outside (10.3), are no counter sale. What is common to both is
  that only avoidable cost counts: the price saved outside is the price, what doing it oneself costs
  is film and staff time, and what goes on either way stands nowhere. That is all that they test.

Beside them: the value of perfect information.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.pricing.counter_arithmetic import (
    Assumptions,
    break_even_share,
    displaced_cost,
    lowest_price,
    staff_rate,
)
from analysis.pricing.counter_unknowns import DISPLACED, MINUTES, counter_unknowns
from analysis.pricing.price_lines import PriceTerms
from tests.pricing.made_counter import (
    made_model,
    made_sales,
    still_parts,
)
from tests.reference.published import Figures, published
from tests.reference.sources import (
    OPENSTAX_2,
    RAIFFA,
    SAMUELSON,
)

# --- special order, OpenStax 10.2: dental chairs --------------------------------------------------

VARIABLE = 750 + 600 + 300
OFFER, UNITS = 1800, 800
MORE_CAPACITY = (90_000 + 70_000) / UNITS
# A chair takes an hour of a capacity that costs nothing while it lies idle.
CHAIR = Assumptions(price=OFFER, film=VARIABLE, minutes=60, hour_earned=MORE_CAPACITY)


@published(OPENSTAX_2, "section 10.2, dental chairs")
def test_a_special_order_with_idle_capacity(figures: Figures) -> None:
    figures.add("Margin of a chair of the order, capacity to spare", CHAIR.net, "150", 0.005)
    figures.add("Margin of the order of 800, capacity to spare", CHAIR.net * UNITS, "120,000")
    figures.add("Lowest price of a chair, capacity to spare", CHAIR.lowest_price, "1,650")


@published(OPENSTAX_2, "section 10.2, dental chairs")
def test_a_special_order_at_full_capacity(figures: Figures) -> None:
    full = replace(CHAIR, refill=1.0)
    figures.add("Margin of a chair of the order, at capacity", full.net, "-50", 0.005)
    figures.add("Lowest price of a chair, at capacity", full.lowest_price, "1,850", 0.005)
    assert replace(full, price=full.lowest_price).net == pytest.approx(0)
    # Fixed cost that does not change is nowhere: somebody who is not needed elsewhere costs it not.
    assert replace(full, takes_installers=False).net == pytest.approx(150)


def test_the_lowest_price_for_many_at_once() -> None:
    staff = staff_rate(0.0, MORE_CAPACITY, pd.Series([0.0, 0.5, 1.0]), True)
    lowest = lowest_price(VARIABLE, staff, 0.0, PriceTerms())
    assert list(lowest) == pytest.approx([1650, 1750, 1850])


# --- sell or process further, OpenStax 10.5 -------------------------------------------------------


@published(OPENSTAX_2, "section 10.5, scrap of leather")
def test_scrap_of_leather_sold_or_processed(figures: Figures) -> None:
    """Sold for 900,000, processed it leaves 1,130,000; joint cost is spent either way."""
    scrap = 400_000 * 2.25
    processed = 100_000 * (15.0 - 2.85) - 85_000
    assert (scrap, processed) == pytest.approx((900_000, 1_130_000))
    sold = Assumptions(price=scrap, film=0.0, displaced=1.0, install=processed)
    figures.add("Gain of selling the scrap rather than processing it", sold.net, "-230,000", 0.5)
    figures.add("Price at which selling the scrap breaks even", sold.lowest_price, "1,130,000")
    # Selling would be right as long as under 900 ÷ 1130 of it would else have been processed.
    assert sold.break_even_share == pytest.approx(900 / 1130)
    assert replace(sold, displaced=900 / 1130).net == pytest.approx(0)


@published(OPENSTAX_2, "section 10.5, apples")
def test_apples_sold_or_pressed(figures: Figures) -> None:
    dozens = 2_400_000 / 12
    juice = dozens / 2 * (3.5 - 0.6) - 200_000
    sold = Assumptions(price=dozens * 1.1, film=dozens * 0.3, displaced=1.0, install=juice)
    figures.add("Apples sold as they are", sold.margin, "160,000", 0.5)
    figures.add("Apples pressed", sold.displaced_cost, "90,000", 0.5)
    assert sold.net == pytest.approx(70_000)
    # It pays whatever part of the apples would have been pressed.
    assert sold.break_even_share == pytest.approx(160 / 90)
    both = break_even_share(np.array([900.0, 160.0]), 0.0, np.array([1130.0, 90.0]))
    assert both == pytest.approx([900 / 1130, 160 / 90])


def test_juice_that_others_wait_to_press_costs_nothing() -> None:
    """The press that is freed is filled by others: opportunity cost is what is truly given up."""
    assert displaced_cost(1.0, 90_000, np.array([0.0, 0.25, 1.0])) == pytest.approx(
        [90_000, 67_500, 0]
    )


# --- avoidable cost only, OpenStax 10.3 -----------------------------------------------------------


@published(OPENSTAX_2, "section 10.3, lids")
def test_make_or_buy_on_avoidable_cost(figures: Figures) -> None:
    """Lids bought at 1.75; of the full cost of 2.19 a lid, 0.51 is fixed."""
    for fixed, make, saving in ((0.0, "201,600", "8,400"), (0.12, "216,000", "-6,000")):
        lid = Assumptions(price=1.75, film=0.87 + 0.45 + 0.36 + fixed)
        case = f"{fixed:.2f} of the fixed cost avoidable"
        figures.add(f"Cost of making 120,000 lids, {case}", 120_000 * lid.lowest_price, make, 0.01)
        figures.add(f"Saving by making them, {case}", 120_000 * lid.net, saving, 0.01)
    # By full cost every lid would be bought.
    assert 1.75 < 0.87 + 0.45 + 0.36 + 0.51 == pytest.approx(2.19)


@published(OPENSTAX_2, "section 10.3, law firm")
def test_a_lawyer_hired_or_outside(figures: Figures) -> None:
    """164,800 in-house, 175,000 outside. Hours cost what is paid with what comes on top."""
    outside = 50_000 + 50 * (10 * 200 + 500)
    hours = 20 * 52
    salary = 120_000 * (1 + 0.2)
    hired = Assumptions(price=outside, film=salary, minutes=60 * hours, loaded=20.0)
    assert hired.staff == pytest.approx(20_800)
    figures.add("Cost of a lawyer in-house", hired.lowest_price, "164,800", 0.5)
    figures.add("Saving over the lawyer outside", hired.net, "10,200", 0.5)


@published(OPENSTAX_2, "section 10.6, furniture maker")
def test_an_hour_at_the_counter_costs_what_it_would_earn(figures: Figures) -> None:
    """One machine hour more makes two chairs more, of 55 each."""
    chairs = 2 * (200 - 145)
    what = "Cost of an hour in which two chairs would be made"
    figures.add(what, staff_rate(30.0, chairs, 1.0, True), "110")
    assert staff_rate(30.0, chairs, 0.0, True) == pytest.approx(30)
    assert staff_rate(30.0, chairs, 1.0, False) == pytest.approx(30)
    # An hour that earns less than its wage is not sent home: it still costs the wage.
    assert staff_rate(30.0, 20.0, 1.0, True) == pytest.approx(30)


# --- value of perfect information -----------------------------------------------------------------


@published(SAMUELSON, "chapter 13, oil well (thousands of dollars)")
def test_two_states_of_an_oil_well(figures: Figures) -> None:
    """Thousands of dollars.

    Wet 600 with a chance of 0.4, dry −200: drilling is worth 120, a perfect test 0.6 × 200 = 120
    more. Here: 600 from the sale itself, 800 lost where it displaces an install, which it either
    always does or never.
    """
    share = np.repeat([0.0, 1.0], [400, 600])
    model = made_model(share=share, install=np.full(1000, 800.0))
    chosen = made_sales(margin=[600.0, 600.0])
    table = counter_unknowns(model, chosen, still_parts(model, chosen), 1.0).set_index("unknown")
    row = table.loc[DISPLACED]
    figures.add("Value of a perfect test of an oil well", row["value_of_knowing"], "120")
    assert (row["net_at_low"], row["net_at_high"]) == pytest.approx((600, -200))
    assert table["value_of_knowing"].drop(DISPLACED).fillna(0.0).tolist() == pytest.approx([0] * 5)
    # Two of them a year, and a well that pays whatever is found.
    twice = counter_unknowns(model, chosen, still_parts(model, chosen), 2.0).set_index("unknown")
    assert twice.loc[DISPLACED, "value_of_knowing"] == pytest.approx(240)
    rich = made_sales(margin=[800.0, 800.0])
    sure = counter_unknowns(model, rich, still_parts(model, rich), 1.0).set_index("unknown")
    assert sure.loc[DISPLACED, "value_of_knowing"] == pytest.approx(0)


@published(RAIFFA, "unit normal loss", "from memory")
def test_the_unit_normal_loss(figures: Figures) -> None:
    """Staff time at 60 an hour, so that a minute costs 1, its mean known to ±1."""
    minutes = np.array([20.0, 20.0, 20.0 + np.sqrt(6), 20.0 - np.sqrt(6)])
    assert minutes.std(ddof=1) / np.sqrt(len(minutes)) == pytest.approx(1.0)
    model = made_model(share=np.zeros(10), install=np.zeros(10))
    for at, loss in ((0, "0.3989"), (0.5, "0.1978"), (1, "0.0833"), (1.5, "0.0293"), (2, "0.0085")):
        chosen = made_sales(margin=[float(at)] * 4, minutes=list(minutes), rate=60.0)
        table = counter_unknowns(model, chosen, still_parts(model, chosen), 1.0)
        row = table.set_index("unknown").loc[MINUTES]
        what = f"Unit normal loss at {at:g}, as the value of knowing"
        figures.add(what, row["value_of_knowing"], loss, 6e-5)
        ends = row[["low", "high"]].to_numpy(dtype=float)
        assert ends == pytest.approx([20 - 1.6449, 20 + 1.6449], abs=1e-3)
