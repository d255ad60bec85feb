"""What a counter sale leaves, against worked decisions and data sets that were published.

REL-01 to REL-05 are decisions of OpenStax, Principles of Accounting, Volume 2: Managerial
Accounting (Franklin, Graybeal, Cooper; Rice University, 2019), chapter 10; figures restated as
data. The package decides one thing, whether to sell film over the counter, so that its functions
meet them in other words:

- a special order (10.2) is a counter sale, the capacity that it takes the hour at the counter;
- selling at the split-off point or processing further (10.5) is film sold or laid: what laying it
  would have left is the install that the sale displaces;
- make or buy (10.3), and in-house or outside (10.3), are no counter sale. What is common to both is
  that only avoidable cost counts: the price saved outside is the price, what doing it oneself costs
  is film and staff time, and what goes on either way stands nowhere. That is all that they test.

Beside them: the value of perfect information, life tables, partial pooling and the Bayesian
bootstrap, each with its source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from analysis.findings.mixed import Array
from analysis.pricing.counter_arithmetic import (
    Assumptions,
    break_even_share,
    displaced_cost,
    lowest_price,
    staff_rate,
)
from analysis.pricing.counter_chances import learn_displaced, learn_later
from analysis.pricing.counter_model import parts_of_mean
from analysis.pricing.counter_unknowns import DISPLACED, MINUTES, counter_unknowns
from analysis.pricing.price_lines import PriceTerms
from tests.benchmarks.costing import typed
from tests.pricing.made_counter import (
    MONTH_DAYS,
    SEEN,
    made_model,
    made_sales,
    sales_followed,
    still_parts,
)

# --- special order, OpenStax 10.2 (REL-01): dental chairs -----------------------------------------

VARIABLE = 750 + 600 + 300
OFFER, UNITS = 1800, 800
MORE_CAPACITY = (90_000 + 70_000) / UNITS
# A chair takes an hour of a capacity that costs nothing while it lies idle.
CHAIR = Assumptions(price=OFFER, film=VARIABLE, minutes=60, hour_earned=MORE_CAPACITY)


def test_a_special_order_with_idle_capacity() -> None:
    assert CHAIR.net == pytest.approx(150, abs=0.005)
    assert CHAIR.net * UNITS == pytest.approx(120_000)
    assert CHAIR.lowest_price == pytest.approx(1650)


def test_a_special_order_at_full_capacity() -> None:
    full = replace(CHAIR, refill=1.0)
    assert full.net == pytest.approx(-50, abs=0.005)
    assert full.lowest_price == pytest.approx(1850, abs=0.005)
    assert replace(full, price=full.lowest_price).net == pytest.approx(0)
    # Fixed cost that does not change is nowhere: somebody who is not needed elsewhere costs it not.
    assert replace(full, takes_installers=False).net == pytest.approx(150)


def test_the_lowest_price_for_many_at_once() -> None:
    staff = staff_rate(0.0, MORE_CAPACITY, pd.Series([0.0, 0.5, 1.0]), True)
    lowest = lowest_price(VARIABLE, staff, 0.0, PriceTerms())
    assert list(lowest) == pytest.approx([1650, 1750, 1850])


# --- sell or process further, OpenStax 10.5 -------------------------------------------------------


def test_scrap_of_leather_sold_or_processed() -> None:
    """REL-03: sold for 900,000, processed it leaves 1,130,000; joint cost is spent either way."""
    scrap = 400_000 * 2.25
    processed = 100_000 * (15.0 - 2.85) - 85_000
    assert (scrap, processed) == pytest.approx((900_000, 1_130_000))
    sold = Assumptions(price=scrap, film=0.0, displaced=1.0, install=processed)
    assert sold.net == pytest.approx(-230_000, abs=0.5)
    assert sold.lowest_price == pytest.approx(1_130_000)
    # Selling would be right as long as under 900 ÷ 1130 of it would else have been processed.
    assert sold.break_even_share == pytest.approx(900 / 1130)
    assert replace(sold, displaced=900 / 1130).net == pytest.approx(0)


def test_apples_sold_or_pressed() -> None:
    """REL-04: 160,000 as apples, 90,000 as juice."""
    dozens = 2_400_000 / 12
    juice = dozens / 2 * (3.5 - 0.6) - 200_000
    sold = Assumptions(price=dozens * 1.1, film=dozens * 0.3, displaced=1.0, install=juice)
    assert sold.margin == pytest.approx(160_000, abs=0.5)
    assert sold.displaced_cost == pytest.approx(90_000, abs=0.5)
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


@pytest.mark.parametrize(
    ("avoidable_fixed", "make", "saving"), [(0.0, 201_600, 8_400), (0.12, 216_000, -6_000)]
)
def test_make_or_buy_on_avoidable_cost(avoidable_fixed: float, make: float, saving: float) -> None:
    """REL-02: lids bought at 1.75; of the full cost of 2.19 a lid, 0.51 is fixed."""
    lid = Assumptions(price=1.75, film=0.87 + 0.45 + 0.36 + avoidable_fixed)
    assert 120_000 * lid.lowest_price == pytest.approx(make, abs=0.01)
    assert 120_000 * lid.net == pytest.approx(saving, abs=0.01)
    # By full cost every lid would be bought.
    assert 1.75 < 0.87 + 0.45 + 0.36 + 0.51 == pytest.approx(2.19)


def test_a_lawyer_hired_or_outside() -> None:
    """REL-05: 164,800 in-house, 175,000 outside. Hours cost what is paid with what comes on top."""
    outside = 50_000 + 50 * (10 * 200 + 500)
    hours = 20 * 52
    salary = 120_000 * (1 + 0.2)
    hired = Assumptions(price=outside, film=salary, minutes=60 * hours, loaded=20.0)
    assert hired.staff == pytest.approx(20_800)
    assert hired.lowest_price == pytest.approx(164_800, abs=0.5)
    assert hired.net == pytest.approx(10_200, abs=0.5)


def test_an_hour_at_the_counter_costs_what_it_would_earn() -> None:
    """OpenStax 10.6: one machine hour more makes two chairs more, of 55 each (see CON-01)."""
    chairs = 2 * (200 - 145)
    assert staff_rate(30.0, chairs, 1.0, True) == pytest.approx(110)
    assert staff_rate(30.0, chairs, 0.0, True) == pytest.approx(30)
    assert staff_rate(30.0, chairs, 1.0, False) == pytest.approx(30)
    # An hour that earns less than its wage is not sent home: it still costs the wage.
    assert staff_rate(30.0, 20.0, 1.0, True) == pytest.approx(30)


# --- value of perfect information -----------------------------------------------------------------


def test_two_states_of_an_oil_well() -> None:
    """Samuelson and Marks, Managerial Economics, 7th ed. 2012, chapter 13 (thousands of dollars).

    Wet 600 with a chance of 0.4, dry −200: drilling is worth 120, a perfect test 0.6 × 200 = 120
    more. Here: 600 from the sale itself, 800 lost where it displaces an install, which it either
    always does or never.
    """
    share = np.repeat([0.0, 1.0], [400, 600])
    model = made_model(share=share, install=np.full(1000, 800.0))
    chosen = made_sales(margin=[600.0, 600.0])
    table = counter_unknowns(model, chosen, still_parts(model, chosen), 1.0).set_index("unknown")
    row = table.loc[DISPLACED]
    assert row["value_of_knowing"] == pytest.approx(120)
    assert (row["net_at_low"], row["net_at_high"]) == pytest.approx((600, -200))
    assert table["value_of_knowing"].drop(DISPLACED).fillna(0.0).tolist() == pytest.approx([0] * 5)
    # Two of them a year, and a well that pays whatever is found.
    twice = counter_unknowns(model, chosen, still_parts(model, chosen), 2.0).set_index("unknown")
    assert twice.loc[DISPLACED, "value_of_knowing"] == pytest.approx(240)
    rich = made_sales(margin=[800.0, 800.0])
    sure = counter_unknowns(model, rich, still_parts(model, rich), 1.0).set_index("unknown")
    assert sure.loc[DISPLACED, "value_of_knowing"] == pytest.approx(0)


@pytest.mark.parametrize(
    ("at", "loss"), [(0.0, 0.3989), (0.5, 0.1978), (1.0, 0.0833), (1.5, 0.0293), (2.0, 0.0085)]
)
def test_the_unit_normal_loss(at: float, loss: float) -> None:
    """Raiffa and Schlaifer (1961), table of the unit normal loss integral (from memory).

    Staff time at 60 an hour, so that a minute costs 1, its mean known to ±1: a sale leaves `at`.
    """
    minutes = np.array([20.0, 20.0, 20.0 + np.sqrt(6), 20.0 - np.sqrt(6)])
    assert minutes.std(ddof=1) / np.sqrt(len(minutes)) == pytest.approx(1.0)
    chosen = made_sales(margin=[at] * 4, minutes=list(minutes), rate=60.0)
    model = made_model(share=np.zeros(10), install=np.zeros(10))
    table = counter_unknowns(model, chosen, still_parts(model, chosen), 1.0).set_index("unknown")
    assert table.loc[MINUTES, "value_of_knowing"] == pytest.approx(loss, abs=6e-5)
    ends = table.loc[MINUTES, ["low", "high"]].to_numpy(dtype=float)
    assert ends == pytest.approx([20 - 1.6449, 20 + 1.6449], abs=1e-3)


# --- life tables ----------------------------------------------------------------------------------


def chance(gap: Array, left: Array, copies: int, draws: int = 400) -> Array:
    """Draws of the chance of an event: months until it (NaN for none), months followed."""
    sales, records = sales_followed(np.repeat(gap, copies), np.repeat(left, copies))
    return learn_later(sales, records, SEEN, draws, np.random.default_rng(1)).draws


def test_the_life_table_of_cutler_and_ederer() -> None:
    """Cutler and Ederer (1958), Journal of Chronic Diseases 8:699-712: 126 patients, five years.

    Deaths, and lost or withdrawn, by year; 44 in 100 live for five years. From memory; the figures
    agree with each other (126 − 47 − 19 = 60, and so on) and with the rate. A month stands for a
    year, and half of one is 15 or 16 whole days: so far it is counted to the day.
    """
    died, lost = [47, 5, 2, 2, 0], [19, 17, 15, 9, 6]
    gap, left = [], []
    for year, (dead, gone) in enumerate(zip(died, lost, strict=True)):
        gap += [year + 0.5] * dead + [np.nan] * gone
        left += [5.4] * dead + [year + 0.5] * gone
    gap, left = gap + [np.nan] * 4, left + [5.4] * 4
    assert len(gap) == 126
    survived = (1 - 47 / 116.5) * (1 - 5 / 51.5) * (1 - 2 / 30.5) * (1 - 2 / 16.5)
    assert survived == pytest.approx(0.44, abs=0.005)
    months = np.arange(5)
    part = np.floor((months + 0.5) * MONTH_DAYS) / MONTH_DAYS - months
    risk = np.array([126, 60, 38, 21, 10]) - np.array(lost) * (1 - part)
    by_day = float(np.prod(1 - np.array(died) / risk))
    assert by_day == pytest.approx(survived, abs=0.002)
    drawn = 1 - chance(np.array(gap), np.array(left), copies=300)
    assert drawn.mean() == pytest.approx(by_day, abs=0.0005)


@pytest.mark.parametrize("days", [3, 10, 27])
def test_a_month_that_was_seen_in_part_counts_for_that_part(days: int) -> None:
    """Events ÷ exposure, as in a life table by exact exposure (Hoem; common practice, from memory).

    5 of 100 sales came, the others were followed for so many days.
    """
    gap = np.r_[np.zeros(5), np.full(95, np.nan)]
    left = np.r_[np.full(5, days + 0.5), np.full(95, days + 0.5)] / MONTH_DAYS
    drawn = chance(gap, left, copies=200)
    assert drawn.mean() == pytest.approx(5 / (5 + 95 * days / MONTH_DAYS), rel=0.02)


def test_the_prior_lies_where_the_sales_were_looked_at() -> None:
    """Nobody came: half a sale in all, by month as the exposure (Jeffreys' without time).

    300 sales of a month, five of two years: spread evenly the prior would have 8 in 100 come back.
    """
    day = 1 / MONTH_DAYS
    left = np.r_[np.full(300, 1 + 0.9 * day), np.full(5, 24 + 0.9 * day)]
    risk = np.r_[300 * np.floor(MONTH_DAYS + 0.9) / MONTH_DAYS + 5, np.full(23, 5.0)]
    risk[0] = min(risk[0], 305)
    drawn = chance(np.full(305, np.nan), left, copies=1, draws=20_000)
    prior = 0.5 * risk / risk.sum()
    expected = 1 - np.prod(1 - prior / (1 + risk))
    assert expected < 0.03
    assert 1 - np.prod(1 - (0.5 / 24) / (1 + risk)) > 0.07
    assert drawn.mean() == pytest.approx(expected, abs=0.002)


def test_sales_that_were_all_followed_to_the_end_have_jeffreys_prior() -> None:
    drawn = chance(np.full(50, np.nan), np.full(50, 24.5), copies=1, draws=20_000)
    assert drawn.mean() == pytest.approx(0.5 / 51, rel=0.04)


# Weeks in remission of 21 children given 6-mercaptopurine (Freireich et al. 1963, Blood
# 21:699-716; Gehan 1965, Biometrika 52:203-223): relapses, and those still in remission.
RELAPSED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
IN_REMISSION = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
# Product-limit values after each week with a relapse, as printed in many courses.
PRODUCT_LIMIT = {6: 0.857, 7: 0.807, 10: 0.753, 13: 0.690, 16: 0.627, 22: 0.538, 23: 0.448}


def in_order(until: int) -> tuple[Array, Array]:
    """The data up to a week: months until a relapse (NaN for none), months followed.

    The product-limit estimate knows only the order of the times. Each run of relapses, and each run
    of ends of follow-up, is given a month of its own, so that nobody's time ends in a month with a
    relapse, and counting halves changes nothing.
    """
    times = sorted(
        [(week, 0) for week in RELAPSED] + [(week, 1) for week in IN_REMISSION],
    )
    month, before, gap, left = -1, None, [], []
    for week, ended in times:
        key = ended if ended else (0, week)
        if week <= until:
            month += key != before
            before = key
        gap.append(month + 0.5 if week <= until and not ended else np.nan)
        left.append(month + 0.5 if week <= until and ended else np.inf)
    follow = np.where(np.isinf(left), month + 1.4, left)
    return np.array(gap), follow


@pytest.mark.parametrize(("week", "survived"), PRODUCT_LIMIT.items())
def test_the_product_limit_of_remissions(week: int, survived: float) -> None:
    drawn = 1 - chance(*in_order(week), copies=300)
    assert drawn.mean() == pytest.approx(survived, abs=0.0015)


def test_the_spread_of_the_product_limit() -> None:
    """Greenwood's error at 23 weeks is 0.1346 (from memory; recomputed). One copy of the data."""
    at_risk = {
        6: (21, 3),
        7: (17, 1),
        10: (15, 1),
        13: (12, 1),
        16: (11, 1),
        22: (7, 1),
        23: (6, 1),
    }
    variance = sum(died / (n * (n - died)) for n, died in at_risk.values())
    assert 0.4482 * np.sqrt(variance) == pytest.approx(0.1346, abs=1e-4)
    drawn = 1 - chance(*in_order(23), copies=1, draws=20_000)
    # Drawn to the prior of half a sale in one, as little as 21 patients leave it.
    assert drawn.mean() == pytest.approx(0.448, abs=0.05)
    assert drawn.std() == pytest.approx(0.1346, rel=0.15)


# --- partial pooling ------------------------------------------------------------------------------

# Rats with a tumour, of so many, in 71 groups: Gelman et al., Bayesian Data Analysis, 3rd ed. 2013,
# table 5.1 (Tarone 1982); typed from a public copy.
# fmt: off
TUMOURS = [
    0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 2, 2, 1,
    5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10, 4, 4, 4, 4, 4, 4, 4, 10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6,
    6, 6, 6, 16, 15, 15, 9, 4,
]
RATS = [
    20, 20, 20, 20, 20, 20, 20, 19, 19, 19, 19, 18, 18, 17, 20, 20, 20, 20, 19, 19, 18, 18, 25, 24,
    23, 20, 20, 20, 20, 20, 20, 10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50, 20, 20, 20, 20,
    20, 20, 20, 48, 19, 19, 19, 22, 46, 49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 46, 47, 24, 14,
]
# fmt: on
# Maximum likelihood of the beta that the groups come from: printed with a package for R that
# carries the data (2.304768 and 14.079707).
ALPHA, BETA = 2.304768, 14.079707


def test_rats_with_tumours() -> None:
    groups = [f"{at:02d}" for at in range(len(RATS))]
    asked = [
        (group, word)
        for group, hits, count in zip(groups, TUMOURS, RATS, strict=True)
        for word in ["yes"] * hits + ["no"] * (count - hits)
    ]
    service, answer = (np.array(each, dtype=object) for each in zip(*asked, strict=True))
    sales = typed("counter_sales", {"service": service, "would_book": answer})
    found = learn_displaced(sales, 20_000, np.random.default_rng(1))
    assert list(found.services) == groups
    assert (found.yes[:-1].tolist(), found.answers[:-1].tolist()) == (TUMOURS, RATS)
    # A group that was never seen: the mean of what they come from, 0.1407.
    assert found.draws[:, -1].mean() == pytest.approx(ALPHA / (ALPHA + BETA), abs=0.006)
    # Each group: its own share drawn to the common one with the weight of 16 rats.
    shrunk = (np.array(TUMOURS) + ALPHA) / (np.array(RATS) + ALPHA + BETA)
    assert found.draws[:, :-1].mean(axis=0) == pytest.approx(shrunk, abs=0.012)
    # The book's last group, 4 of 14, and one without any tumour in 20.
    assert found.draws[:, 70].mean() == pytest.approx(0.2076, abs=0.01)
    assert found.draws[:, 0].mean() == pytest.approx(0.0633, abs=0.01)
    # As wide as the beta of each group, and a little more for what is not known of the common one.
    spread = np.sqrt(shrunk * (1 - shrunk) / (np.array(RATS) + ALPHA + BETA + 1))
    assert found.draws[:, :-1].std(axis=0) == pytest.approx(spread, rel=0.25)


# --- the Bayesian bootstrap -----------------------------------------------------------------------


@pytest.mark.parametrize("count", [5, 30, 300])
def test_the_bayesian_bootstrap_of_a_mean(count: int) -> None:
    """Rubin (1981), Annals of Statistics 9:130-134 (from memory): mean x̄, variance Σ(x−x̄)²÷n(n+1).

    Stretched to the variance of Student's t with n − 1 degrees of freedom about x̄, in units of
    s ÷ √n: (n − 1) ÷ (n − 3), so Σ(x−x̄)² ÷ n(n − 3). With many sales, the normal approximation of
    the error of a mean.
    """
    margin = np.random.default_rng(3).gamma(2.0, 15.0, count)
    model = made_model(share=np.zeros(20_000), install=np.zeros(20_000))
    chosen = made_sales(margin=list(margin))
    parts = parts_of_mean(model, chosen, np.random.default_rng(4))
    exact = float(student(count - 1).std() * margin.std(ddof=1) / np.sqrt(count))
    summed = ((margin - margin.mean()) ** 2).sum()
    assert exact == pytest.approx(np.sqrt(summed / (count * (count - 3))))
    rubin = np.sqrt(summed / (count * (count + 1)))
    assert exact == pytest.approx(rubin * np.sqrt((count + 1) / (count - 3)))
    assert parts.margin.mean() == pytest.approx(margin.mean(), abs=0.03 * exact)
    assert parts.margin.std() == pytest.approx(exact, rel=0.03)
    if count == 300:
        error = margin.std(ddof=1) / np.sqrt(count)
        ends = margin.mean() + error * norm.ppf([0.05, 0.95])
        assert np.quantile(parts.margin, [0.05, 0.95]) == pytest.approx(ends, abs=0.15 * error)
