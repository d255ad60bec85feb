"""Slips in the report on the counter sale that no other test notices."""

from __future__ import annotations

import pytest

from analysis.report import figures_counter as counter
from tests.report import made_counter as made


def test_each_verdict_has_its_own_ends() -> None:
    review = made.counter_review()
    info = counter.gather_counter_verdicts(review)
    table = review.frame("counter_verdicts").set_index("group")
    assert info.names[0] == "All sales"
    whole = table.loc["all sales"]
    ends = [info.lows[0], info.means[0], info.highs[0]]
    assert ends == pytest.approx([whole["net_low"], whole["net_each"], whole["net_high"]])
    assert all(low < high for low, high in zip(info.lows, info.highs, strict=True))
