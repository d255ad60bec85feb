"""The follow-up: fees, expected price, pace."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from analysis.pricing.follow_up import _with_power
from tests.pricing import test_follow_up
from tests.pricing.test_follow_up import FEW, followed_up, quotes_of, rows_of
from tests.shops import PLAIN

one_cost = test_follow_up.one_cost


@pytest.mark.usefixtures("one_cost")
def test_the_fixed_part_of_the_card_fee_is_taken_off_every_job_won(tmp_path: Path) -> None:
    """2 of 4 won at 200 before, 3 of 5 at 220 since; a job costs 100, and 50 of fee."""
    row = followed_up(tmp_path, **FEW, toml=f"{PLAIN}[fees]\ncard_fixed = 50\n").iloc[0]
    # 3/5 × (220 − 50 − 100) − 2/4 × (200 − 50 − 100) = 42 − 25.
    assert row["gain"] == pytest.approx(17.0)


@pytest.mark.usefixtures("one_cost")
def test_the_expected_price_stands_to_the_new_one_as_the_quotes_did_to_the_old(
    tmp_path: Path,
) -> None:
    """Twenty quotes at 180 against an old price of 200: nine tenths of the new 220."""
    quotes = rows_of(
        test_follow_up.QUOTE,
        quotes_of("B", "2025-09-01", 180, 10, 10),
        quotes_of("S", "2026-02-01", 220, 3, 2),
    )
    row = followed_up(tmp_path, **FEW | {"quotes": quotes}).iloc[0]
    assert row["expected_price"] == pytest.approx(0.9 * 220)


def test_the_pace_counts_both_ends_of_the_window() -> None:
    """A quote a day from the 1st to the 30th: thirty days, 30.4375 quotes a month."""
    frame = pd.DataFrame(
        {
            "left_before": [100.0],
            "gain": [10.0],
            "rest_variance": [0.0],
            "since_variance": [400.0],
            "quotes": [30],
            "jobs": [30],
            "quotes_before": [40],
            "until": [pd.Timestamp("2026-01-30")],
            "effective_from": [pd.Timestamp("2026-01-01")],
        }
    )
    found = _with_power(frame, 5).iloc[0]
    assert found["more_months"] == pytest.approx(found["more_quotes"] / (365.25 / 12))
