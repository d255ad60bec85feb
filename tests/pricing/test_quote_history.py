"""Quotes against the list of their day: by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.pricing.quote_history import quote_history
from tests.shops import records_of

JOBS = """
job_id | finished_on | service | make | model | quoted_hours | quoted_price
J1     | 2026-09-01  | roof    | M    | m     | 2            | 300
"""
BOUGHT = """
invoice | received_on | supplier | item  | kind | quantity | unit_price | roll_width | roll_length
A       | 2025-12-01  | S        | OTHER | film | 1        | 500        | 1.5        | 20
"""
LIST = """
service | vehicle_class | list_price | effective_from
roof    | car           | 300        | 2026-01-01
roof    | car           | 330        | 2026-07-01
roof    |               | 400        | 2026-01-01
"""
QUOTES = """
quote_id | quoted_on  | service | make | model | vehicle_class | quoted_price | list_price | outcome
Q1       | 2026-03-01 | roof    | M    | m     | car           | 330          |            | won
Q2       | 2026-07-01 | roof    | M    | m     | car           | 330          |            | lost
Q3       | 2026-07-01 | roof    | M    | m     | car           | 330          | 300        | lost
Q4       | 2026-03-01 | roof    | M    | m     | van           | 400          |            | open
Q5       | 2026-03-01 | roof    | M    | k     |               | 440          |            | won
Q6       | 2026-12-01 | roof    | M    | m     | car           | 330          |            | won
Q7       | 2026-03-02 | roof    | M    | m     | car           | 700          |            | lost
Q8       | 2026-03-02 | roof    | M    | m     | car           | 0            |            | lost
Q9       | 2025-12-31 | roof    | M    | m     | car           | 290          |            | won
"""
VEHICLES = """
make | model | vehicle_class
M    | k     | van
"""


def history(folder: Path, **tables: str) -> pd.DataFrame:
    given = {
        "jobs": JOBS,
        "purchases": BOUGHT,
        "quotes": QUOTES,
        "price_list": LIST,
        "vehicles": VEHICLES,
    } | tables
    records = records_of(folder, **given)
    return quote_history(records, pd.Timestamp("2026-09-30")).set_index("quote_id")


def test_the_list_price_is_that_of_the_day_and_the_class(tmp_path: Path) -> None:
    found = history(tmp_path)
    prices = found["list_price"]
    assert prices[["Q1", "Q2", "Q3", "Q4", "Q5"]].tolist() == [300, 330, 300, 400, 400]
    assert found.loc["Q3", ["list_from", "dated_price"]].tolist() == ["quote", 330]
    assert found.loc["Q5", "vehicle_class"] == "van"
    assert found.loc[["Q1", "Q2"], "log_ratio"].tolist() == pytest.approx([np.log(1.1), 0.0])
    assert "Q6" not in found.index
    assert found["quoted_on"].is_monotonic_increasing


def test_prices_beyond_belief_stay_as_quotes_without_a_ratio(tmp_path: Path) -> None:
    found = history(tmp_path)
    assert found.loc[["Q7", "Q8"], "log_ratio"].isna().all()
    assert found.loc["Q7", "price"] == 700
    assert np.isnan(found.loc["Q8", "price"])


def test_without_a_list_of_the_day_the_usual_price_stands_in(tmp_path: Path) -> None:
    found = history(tmp_path)
    assert found.loc["Q9", "list_from"] == "usual price"
    assert found.loc["Q9", "list_price"] == pytest.approx(290)
    rows = """
    quote_id | quoted_on  | service | vehicle_class | quoted_price | outcome
    A        | 2026-03-01 | roof    | car           | 100          | won
    B        | 2026-03-01 | roof    | car           | 100          | won
    C        | 2026-03-01 | roof    | van           | 200          | lost
    D        | 2026-03-01 | roof    | van           | 200          | lost
    """
    bare = records_of(tmp_path / "bare", jobs=JOBS, purchases=BOUGHT, quotes=rows)
    found = quote_history(bare, pd.Timestamp("2026-09-30")).set_index("quote_id")
    # Two quotes stand two against two of the service's middle, the root of 100 × 200.
    middle = np.sqrt(100 * 200)
    assert found.loc["A", "list_price"] == pytest.approx(np.sqrt(100 * middle))
    assert found.loc["C", "list_price"] == pytest.approx(np.sqrt(200 * middle))


def test_no_quotes_at_all(tmp_path: Path) -> None:
    records = records_of(tmp_path, jobs=JOBS, purchases=BOUGHT)
    assert quote_history(records, pd.Timestamp("2026-09-30")).empty


def test_a_quote_without_a_price_counts_for_nothing_in_the_usual_price(tmp_path: Path) -> None:
    """One price on the car stands one against two of the service; the quote at 0 does not count."""
    rows = """
    quote_id | quoted_on  | service | make | model | vehicle_class | quoted_price | outcome
    Q1       | 2026-03-01 | tint    | M    | m     | car           | 400          | won
    Q2       | 2026-03-01 | tint    | M    | m     | car           | 0            | lost
    Q3       | 2026-03-01 | tint    | M    | m     | van           | 300          | won
    """
    found = history(tmp_path, quotes=rows, price_list="")
    mean = (np.log(400) + np.log(300)) / 2
    usual = np.exp(mean + (np.log(400) - mean) / 3)
    assert found.loc[["Q1", "Q2"], "list_price"].tolist() == pytest.approx([usual] * 2)
