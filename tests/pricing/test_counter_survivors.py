"""Slips in the counter sale that no other test notices, each held by one small case."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.findings.capacity_use import SHORT_FROM_SHARE
from analysis.findings.sale_margins import FULL, IDLE, NOT_KNOWN, month_kinds
from analysis.pricing.counter_chances import Later, learn_later
from tests.pricing.made_counter import SEEN, made_records

DAYS_A_MONTH = 30.4375


def later_of(
    left: list[float], gap: list[float | None], seen: pd.Timestamp = SEEN, draws: int = 200
) -> Later:
    """Sales of `left` months before `SEEN`; jobs booked `gap` months after them (None: none)."""
    sold = [SEEN - pd.Timedelta(days=round(each * DAYS_A_MONTH)) for each in left]
    came = [at for at, each in enumerate(gap) if each is not None]
    booked = [sold[at] + pd.Timedelta(days=round((gap[at] or 0.0) * DAYS_A_MONTH)) for at in came]
    named = np.array([f"J{at}" if at in came else None for at in range(len(left))], dtype=object)
    records = made_records(
        {
            "counter_sales": {
                "sold_on": np.array(sold, dtype="datetime64[us]"),
                "later_job_id": named,
            },
            "jobs": {
                "job_id": np.array([f"J{at}" for at in came], dtype=object),
                "quoted_on": np.array(booked, dtype="datetime64[us]"),
            },
        }
    )
    return learn_later(
        records["counter_sales"], records, seen, draws, np.random.default_rng(0)
    )


# --- which months are full ------------------------------------------------------------------------


def test_a_month_is_full_from_the_share_on() -> None:
    use = pd.Series([SHORT_FROM_SHARE, SHORT_FROM_SHARE - 0.001, np.nan])
    assert month_kinds(use).to_list() == [FULL, IDLE, NOT_KNOWN]


# --- who comes back -------------------------------------------------------------------------------


def test_who_books_on_the_day_of_the_sale_came_back() -> None:
    assert later_of([6.0] * 6, [0.0, *[None] * 5]).came.to_list() == [True, *[False] * 5]


def test_a_booking_after_the_last_day_seen_is_not_known_yet() -> None:
    """A review of an older quarter knows nothing of what was booked since."""
    seen = SEEN - pd.Timedelta(days=90)
    known = later_of([12.0] * 6, [2.0, 10.0, *[None] * 4], seen)
    assert known.came.to_list() == [True, *[False] * 5]
    blind = later_of([12.0] * 6, [2.0, *[None] * 5], seen)
    assert known.draws == pytest.approx(blind.draws)


def test_months_count_as_far_as_enough_sales_were_followed() -> None:
    """Five followed for some 3 ½ months and one for 30: four months, for five are enough."""
    assert later_of([30.0, *[3.5] * 5], [None] * 6).months == 4
    assert later_of([30.0, *[3.5] * 3], [None] * 4).months == 1


def test_months_end_after_two_years() -> None:
    assert later_of([40.0] * 6, [None] * 6).months == 24


def test_who_comes_after_the_months_that_count_is_not_counted() -> None:
    found = later_of([12.0, *[2.5] * 5], [10.0, *[None] * 5])
    assert found.months == 3
    assert not found.came.any()
