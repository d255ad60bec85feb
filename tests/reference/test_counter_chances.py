"""Chances and spreads behind the counter sale: life tables, partial pooling, the bootstrap."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from analysis.arrays import Array
from analysis.pricing.counter_chances import learn_displaced, learn_later
from analysis.pricing.counter_model import parts_of_mean
from tests.benchmarks.costing import typed
from tests.pricing.made_counter import (
    MONTH_DAYS,
    SEEN,
    made_model,
    made_sales,
    sales_followed,
)
from tests.reference.published import Figures, published
from tests.reference.sources import CUTLER, GEHAN, GELMAN, RUBIN

# --- life tables ----------------------------------------------------------------------------------


def chance(gap: Array, left: Array, copies: int, draws: int = 400) -> Array:
    """Draws of the chance of an event: months until it (NaN for none), months followed."""
    sales, records = sales_followed(np.repeat(gap, copies), np.repeat(left, copies))
    return learn_later(sales, records, SEEN, draws, np.random.default_rng(1)).draws


@published(CUTLER, "126 patients, five years", "from memory")
def test_the_life_table_of_cutler_and_ederer(figures: Figures) -> None:
    """Deaths, and lost or withdrawn, by year; 44 in 100 live for five years.

    The figures agree with each other (126 − 47 − 19 = 60, and so on) and with the rate. A month
    stands for a year, and half of one is 15 or 16 whole days: so far it is counted to the day.
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
    figures.add("Share that lives for five years", drawn.mean(), "0.44", 0.005)


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


# Weeks in remission of 21 children given 6-mercaptopurine: relapses, and those still in remission.
RELAPSED = [6, 6, 6, 7, 10, 13, 16, 22, 23]
IN_REMISSION = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
# Product-limit values after each week with a relapse, as printed in many courses.
PRODUCT_LIMIT = {
    6: "0.857",
    7: "0.807",
    10: "0.753",
    13: "0.690",
    16: "0.627",
    22: "0.538",
    23: "0.448",
}


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


@published(GEHAN, "remissions with 6-mercaptopurine")
def test_the_product_limit_of_remissions(figures: Figures) -> None:
    for week, survived in PRODUCT_LIMIT.items():
        drawn = 1 - chance(*in_order(week), copies=300)
        figures.add(f"Share in remission after week {week}", drawn.mean(), survived, 0.0015)


@published(GEHAN, "remissions with 6-mercaptopurine", "recomputed")
def test_the_spread_of_the_product_limit(figures: Figures) -> None:
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
    figures.add("Greenwood's error at 23 weeks", drawn.std(), "0.1346", 0.02)


# --- partial pooling ------------------------------------------------------------------------------

# Rats with a tumour, of so many, in 71 groups; typed from a public copy.
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
# Maximum likelihood of the beta that the groups come from, as printed.
ALPHA, BETA = 2.304768, 14.079707


@published(GELMAN, "table 5.1, rats with tumours")
def test_rats_with_tumours(figures: Figures) -> None:
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
    new = found.draws[:, -1].mean()
    figures.add("Share in a group not seen", new, f"{ALPHA / (ALPHA + BETA):.4f}", 0.006)
    # Each group: its own share drawn to the common one with the weight of 16 rats.
    shrunk = (np.array(TUMOURS) + ALPHA) / (np.array(RATS) + ALPHA + BETA)
    figures.seen = "recomputed"
    ours = found.draws[:, :-1].mean(axis=0)
    figures.table("Shares of 71 groups drawn to the common one", ours, shrunk, 0.012)
    # The book's last group, 4 of 14, and one without any tumour in 20.
    figures.add("Share of the group with 4 of 14", found.draws[:, 70].mean(), "0.2076", 0.01)
    figures.add("Share of a group with none of 20", found.draws[:, 0].mean(), "0.0633", 0.01)
    # As wide as the beta of each group, and a little more for what is not known of the common one.
    spread = np.sqrt(shrunk * (1 - shrunk) / (np.array(RATS) + ALPHA + BETA + 1))
    assert found.draws[:, :-1].std(axis=0) == pytest.approx(spread, rel=0.25)


# --- the Bayesian bootstrap -----------------------------------------------------------------------


@published(RUBIN, "variance of a mean, Σ(x−x̄)² ÷ n(n+1)", "from memory")
def test_the_bayesian_bootstrap_of_a_mean(figures: Figures) -> None:
    """Mean x̄, variance Σ(x−x̄)²÷n(n+1).

    Stretched to the variance of Student's t with n − 1 degrees of freedom about x̄, in units of
    s ÷ √n: (n − 1) ÷ (n − 3), so Σ(x−x̄)² ÷ n(n − 3). With many sales, the normal approximation of
    the error of a mean.
    """
    for count in (5, 30, 300):
        margin = np.random.default_rng(3).gamma(2.0, 15.0, count)
        model = made_model(share=np.zeros(20_000), install=np.zeros(20_000))
        chosen = made_sales(margin=list(margin))
        parts = parts_of_mean(model, chosen, np.random.default_rng(4))
        exact = float(student(count - 1).std() * margin.std(ddof=1) / np.sqrt(count))
        summed = ((margin - margin.mean()) ** 2).sum()
        assert exact == pytest.approx(np.sqrt(summed / (count * (count - 3))))
        rubin = np.sqrt(summed / (count * (count + 1)))
        stretch = np.sqrt((count + 1) / (count - 3))
        assert exact == pytest.approx(rubin * stretch)
        assert parts.margin.mean() == pytest.approx(margin.mean(), abs=0.03 * exact)
        assert parts.margin.std() == pytest.approx(exact, rel=0.03)
        what = f"Spread of a mean of {count} sales by Rubin's formula"
        figures.add(what, parts.margin.std() / stretch, f"{rubin:.2f}", 0.03 * rubin)
        if count == 300:
            error = margin.std(ddof=1) / np.sqrt(count)
            ends = margin.mean() + error * norm.ppf([0.05, 0.95])
            found = np.quantile(parts.margin, [0.05, 0.95])
            assert found == pytest.approx(ends, abs=0.15 * error)
