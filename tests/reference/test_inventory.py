"""Inventory costing against a published example.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting (Franklin, Graybeal,
Cooper; Rice University, 2019), chapter 10, sections 10.2 and 10.3, the tracking-device company:
opening 150 at 21; 120 sold; 225 bought at 27; 180 sold; 210 bought at 33.
"""

from pathlib import Path

import pytest

from tests.shops import only, reviewed

BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |
    unit_price | roll_id
    A | 2026-01-01 | S | F | film | 1 | 150 | 1 | 3150 | L0
    B | 2026-01-03 | S | F | film | 1 | 225 | 1 | 6075 | L1
    C | 2026-01-05 | S | F | film | 1 | 210 | 1 | 6930 | L2""".replace("|\n", "|")
JOB = """
    job_id | finished_on | service | make | model | quoted_hours | quoted_price
    J | 2026-01-31 | s | m | n | 1 | 11340"""
SOLD = """
    cut_id | cut_on | job_id | film | pulled_length | pulled_width
    1 | 2026-01-02 | J | F | 120 | 1
    2 | 2026-01-04 | J | F | 180 | 1"""
# Specific identification: 140 from the opening lot, 160 from the second.
TRACED = """
    cut_id | cut_on | job_id | film | pulled_length | pulled_width | roll_id
    1 | 2026-01-06 | J | F | 140 | 1 | L0
    2 | 2026-01-06 | J | F | 160 | 1 | L1"""


def sold_and_left(folder: Path, costing: str, cuts: str) -> tuple[float, float]:
    toml = f'length_unit = "m"\narea_unit = "m2"\n[film]\ncosting = "{costing}"\n'
    result = reviewed(folder, "2026Q1", toml, jobs=JOB, purchases=BOUGHT, cuts=cuts)
    row = only(result["film_reconciliation"], film="F")
    job = only(result["job_costs"], job_id="J")
    assert job["film_cost"] == pytest.approx(row["jobs_cost"])
    return row["jobs_cost"], row["closing_cost"]


def test_first_in_first_out(tmp_path: Path) -> None:
    """Section 10.3, perpetual: cost of goods sold 7,200, closing stock 8,955."""
    sold, left = sold_and_left(tmp_path, "fifo", SOLD)
    assert (sold, left) == (pytest.approx(7200), pytest.approx(8955))
    assert 11340 - sold == pytest.approx(4140)


def test_moving_average(tmp_path: Path) -> None:
    """Section 10.3, perpetual average; printed rounded as 7,253 and 8,902, here exact."""
    sold, left = sold_and_left(tmp_path, "moving-average", SOLD)
    assert sold == pytest.approx(7252.941176, abs=1e-6)
    assert left == pytest.approx(8902.058824, abs=1e-6)


def test_specific_identification(tmp_path: Path) -> None:
    """Sections 10.2 and 10.3: cost of goods sold 7,260, closing stock 8,895."""
    for costing in ("fifo", "moving-average"):
        sold, left = sold_and_left(tmp_path / costing, costing, TRACED)
        assert (sold, left) == (pytest.approx(7260), pytest.approx(8895))
