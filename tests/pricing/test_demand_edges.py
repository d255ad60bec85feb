"""What is learnt of customers: the town, the habit, the months."""

import numpy as np
import pandas as pd
import pytest

from analysis.pricing.demand import against_today
from analysis.pricing.demand_model import GROWTH
from analysis.pricing.demand_tables import demand_seasons
from tests.pricing.simulated_quotes import DAY, records_with
from tests.pricing.test_demand import learnt, plain_quotes

YEAR = 365.25


def test_prices_that_rose_with_the_town_and_no_faster_teach_nothing() -> None:
    days = pd.date_range("2019-10-01", DAY, periods=160)
    years = (DAY - days).days / YEAR
    # Above the list by chance in no way: each stands where the town stood on its day.
    rows = [
        (f"{day:%Y-%m-%d}", "roof", 100 * float(np.exp(-GROWTH * year)), ("won", "lost")[at % 2])
        for at, (day, year) in enumerate(zip(days, years, strict=True))
    ]
    cells = learnt(plain_quotes(rows)).cells
    assert not cells["learnt"].any()
    assert "too alike to learn from" in cells["note"].iloc[0]


def test_habit_counts_the_quotes_of_two_years() -> None:
    rows = [(f"2025-03-{1 + at % 28:02d}", "roof", 90.0, "won") for at in range(100)]
    rows += [(f"2026-06-{1 + at % 28:02d}", "roof", 100.0, "lost") for at in range(100)]
    (roof,) = np.exp(learnt(plain_quotes(rows)).habit)
    assert roof.min() == pytest.approx(0.9)
    assert roof.max() == pytest.approx(1.0)
    assert roof.mean() == pytest.approx(0.95, abs=0.01)


def test_without_today_s_list_a_quote_s_own_list_is_taken_to_have_followed_the_town() -> None:
    days = pd.to_datetime(["2024-01-10", "2025-01-10", "2026-01-10"])
    quotes: dict[str, object] = {
        "quote_id": np.array(["A", "B", "C"]),
        "quoted_on": days,
        "service": np.array(["roof"] * 3),
        "quoted_price": np.array([110.0, 110.0, 110.0]),
        "list_price": np.array([100.0] * 3),
        "outcome": np.array(["won", "lost", "won"]),
    }
    found = against_today(records_with(quotes, {}), DAY)
    assert found["against"].tolist() == pytest.approx([np.log(1.1)] * 3)


def test_a_quote_a_day_makes_as_many_a_month_as_a_month_has_days() -> None:
    days = pd.date_range("2025-10-01", DAY)
    rows = [
        (f"{day:%Y-%m-%d}", "roof", 95.0 + at % 11, ("won", "lost")[at % 2])
        for at, day in enumerate(days)
    ]
    records = plain_quotes(rows)
    table = demand_seasons(learnt(records), records, DAY)
    assert table["a_month"].tolist() == pytest.approx([365.25 / 12] * 4)
