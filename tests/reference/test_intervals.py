"""Wilson's interval against published tables."""

from __future__ import annotations

import pandas as pd
import pytest
from scipy.stats import binomtest

from analysis.findings.evidence import wilson_interval
from tests.reference.published import Figures, published
from tests.reference.sources import NEWCOMBE

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
