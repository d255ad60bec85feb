"""Wilson's interval against published tables.

Source: Newcombe (1998), Statistics in Medicine 17:857-872, table I, 95 % limits (figures from
memory; an independent library agrees to 4 decimals).
"""

import pandas as pd
import pytest
from scipy.stats import binomtest

from analysis.findings.evidence import wilson_interval

NEWCOMBE = {
    (81, 263): (0.2553, 0.3662),
    (15, 148): (0.0624, 0.1605),
    (0, 20): (0.0, 0.1611),
    (1, 29): (0.0061, 0.1718),
}


@pytest.mark.parametrize(("case", "limits"), NEWCOMBE.items())
def test_newcombe(case: tuple[int, int], limits: tuple[float, float]) -> None:
    low, high = wilson_interval(pd.Series([case[0]]), pd.Series([case[1]]), level=0.95)
    assert (low[0], high[0]) == pytest.approx(limits, abs=6e-5)


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
