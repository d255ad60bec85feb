"""Decisions against the price list."""

from pathlib import Path

from tests.shops import records_of

JOBS = """
    job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
    A | 2026-01-05 | roof | Q | Heron | 2 | 400 | 2"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity|unit_price
    P1      | 2025-01-02  | Ash      | RED  | film | 1          | 100         | 1       | 500"""
LIST = """
    service | vehicle_class | list_price | list_hours | effective_from
    roof | | 400 | 2 | 2024-01-01
    roof | | 420 | 2 | 2026-03-01"""


def test_of_two_decisions_for_one_day_the_list_must_have_the_last_taken(tmp_path: Path) -> None:
    """Taken later, written down first."""
    decisions = """
        decided_on | service | old_price | new_price | effective_from
        2026-02-20 | roof | 400 | 420 | 2026-03-01
        2026-02-01 | roof | 400 | 450 | 2026-03-01"""
    records = records_of(
        tmp_path, jobs=JOBS, purchases=BOUGHT, price_list=LIST, decisions=decisions
    )
    assert "decision-not-in-list" not in set(records.findings["rule"])
    other = decisions.replace("| 420 |", "| 430 |")
    records = records_of(
        tmp_path / "b", jobs=JOBS, purchases=BOUGHT, price_list=LIST, decisions=other
    )
    told = records.findings[records.findings["rule"] == "decision-not-in-list"]
    assert len(told) == 1
    assert "430" in told["problem"].iloc[0]
