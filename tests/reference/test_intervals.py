"""Wilson's interval of a share, and the common odds ratio of several tables, as published."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest, norm

from analysis.findings.evidence import wilson_interval
from analysis.pricing.follow_up_windows import common_odds
from tests.reference.published import Figures, published
from tests.reference.sources import AGRESTI, BICKEL, NEWCOMBE

LIMITS = {
    (81, 263): ("0.2553", "0.3662"),
    (15, 148): ("0.0624", "0.1605"),
    (0, 20): ("0.0000", "0.1611"),
    (1, 29): ("0.0061", "0.1718"),
}


@published(NEWCOMBE, "table I, 95 % limits", "from memory")
def test_newcombe(figures: Figures) -> None:
    """An independent library agrees to four decimals."""
    for (hits, count), limits in LIMITS.items():
        low, high = wilson_interval(pd.Series([hits]), pd.Series([count]), level=0.95)
        for end, ours, theirs in (("Lower", low, limits[0]), ("Upper", high, limits[1])):
            figures.add(f"{end} end, {hits} of {count}", ours[0], theirs, 6e-5)


def test_ninety_percent_is_that_of_a_general_purpose_library() -> None:
    hits, count = pd.Series([0, 1, 4, 12]), pd.Series([3, 9, 5, 12])
    low, high = wilson_interval(hits, count)
    for at in range(4):
        published = binomtest(int(hits[at]), int(count[at])).proportion_ci(0.90, "wilson")
        assert (low[at], high[at]) == pytest.approx((published.low, published.high))


def test_nothing_counted_is_missing() -> None:
    low, high = wilson_interval(pd.Series([0]), pd.Series([0]))
    assert low.isna().all()
    assert high.isna().all()


# By department: men admitted and refused, women admitted and refused.
BERKELEY = [
    (512, 313, 89, 19),
    (353, 207, 17, 8),
    (120, 205, 202, 391),
    (138, 279, 131, 244),
    (53, 138, 94, 299),
    (22, 351, 24, 317),
]
# By dose: cured and died of those injected at once, and of those injected later.
RABBITS = [(0, 6, 0, 5), (3, 3, 0, 6), (6, 0, 2, 4), (5, 1, 6, 0), (2, 0, 5, 0)]


def note_odds(
    figures: Figures, what: str, tables: list[tuple[int, ...]], theirs: tuple[str, str, str]
) -> None:
    """Common odds ratio, and its 95 % limits with the variance of Robins and others."""
    counts = np.array(tables, dtype=float).T[:, None, :]
    (log,), (variance,) = common_odds(*counts)
    ends = np.exp(log + np.array([0.0, -1.0, 1.0]) * norm.isf(0.025) * np.sqrt(variance))
    names = ("common odds ratio", "lower end", "upper end")
    for name, ours, each in zip(names, ends, theirs, strict=True):
        within = 0.5 * 10.0 ** -len(each.partition(".")[2])
        figures.add(f"{what}: {name}", ours, each, within)


@published(BICKEL, "admissions to six departments", "from memory")
def test_common_odds_of_admission(figures: Figures) -> None:
    """The estimate and its limits as a general-purpose statistics program prints them."""
    note_odds(figures, "Admissions", BERKELEY, ("0.9046968", "0.7719074", "1.0603298"))


@published(AGRESTI, "penicillin and rabbits", "from memory")
def test_common_odds_where_tables_are_small(figures: Figures) -> None:
    note_odds(figures, "Penicillin at once or later", RABBITS, ("7", "1.026713", "47.725133"))
