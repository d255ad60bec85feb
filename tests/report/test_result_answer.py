"""What the quarter left, in words: on small shops whose statement is known by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.report.answer import Answer
from analysis.report.result_answer import result_answer
from analysis.review import review_records
from tests.shops import PLAIN, records_of

JOBS = """
    job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours | film |
""".rstrip().rstrip("|")
JOBS += "| pulled_length | roll_width\n"
# Film and paint cost nothing here.
BOUGHT = """
invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width | roll_length
A | 2025-10-05 | S | paint | consumable | 1 | 0 | |
A | 2025-10-05 | S | F | film | 1 | 0 | 1 | 100"""
MONTHS = ("2026-01", "2026-02", "2026-03", "2026-04", "2026-05", "2026-06")


def job(day: str, price: float, number: int) -> str:
    return f"J{number} | {day} | roof | Quillon | Heron | 3 | {price} | 3 | F | 1 | 1\n"


def answer_of(
    folder: Path,
    *jobs: tuple[str, float],
    rent: float = 1000,
    months: tuple[str, ...] = MONTHS,
    hours: float = 3,
    quarter: str = "2026Q2",
) -> Answer:
    """Each job takes 3 hours at 10; `hours` can be worked a month."""
    overheads = "month | category | amount\n" + "\n".join(f"{m} | rent | {rent}" for m in months)
    capacity = "month | installer_hours\n" + "\n".join(f"{m} | {hours}" for m in MONTHS)
    records = records_of(
        folder,
        PLAIN,
        jobs=JOBS + "".join(job(day, price, at) for at, (day, price) in enumerate(jobs)),
        purchases=BOUGHT,
        overheads=overheads,
        capacity=capacity,
    )
    return result_answer(review_records(records, quarter))


def every_month(price: float, *, later: float) -> tuple[tuple[str, float], ...]:
    return tuple((f"{m}-03", later if m > "2026-03" else price) for m in MONTHS) + (
        ("2026-06-29", later),
    )


@pytest.mark.parametrize(
    ("before", "now", "told"),
    [
        (2000, 1400, "A result of $2,480, $430 less than in 2026Q1 ($2,910)."),
        (500, 700, "A loss of $320, $1,270 better than in 2026Q1 (−$1,590)."),
        (700, 500, "A loss of $1,120, $130 worse than in 2026Q1 (−$990)."),
    ],
)
def test_more_of_a_loss_is_worse(tmp_path: Path, before: float, now: float, told: str) -> None:
    answer = answer_of(tmp_path, *every_month(before, later=now))
    assert answer.line == told


def test_wages_of_hours_without_work_stand_in_the_first_line(tmp_path: Path) -> None:
    """Twelve of 120 hours were worked: the other 108 cost 1,080 where they are paid."""
    answer = answer_of(tmp_path, *every_month(1500, later=1000), hours=40)
    assert answer.line == (
        "A result of $880, $530 less than in 2026Q1 ($1,410); "
        "a loss of $200 if hours without work are paid too."
    )


def test_a_month_without_overheads_is_told_at_once(tmp_path: Path) -> None:
    answer = answer_of(tmp_path, *every_month(2000, later=1900), months=MONTHS[:-1])
    assert answer.line.endswith(
        "Overheads of Jun 2026 are not written down: it comes out too good by them."
    )
    whole = answer_of(tmp_path / "whole", *every_month(2000, later=1900))
    assert "not written down" not in whole.line


def test_records_that_begin_or_end_within_a_quarter_say_so(tmp_path: Path) -> None:
    late = answer_of(tmp_path / "late", ("2026-03-30", 2000), ("2026-06-29", 1900))
    assert "(the records begin on Mar 30, 2026: 2026Q1 is not whole)" in late.line
    assert "in 2026Q1 (" not in late.line
    early = answer_of(tmp_path / "early", ("2026-01-05", 2000), ("2026-05-04", 1900))
    assert "The records end on May 4, 2026, before the quarter is over." in early.detail
    whole = answer_of(tmp_path / "whole", *every_month(2000, later=1900))
    assert "The records" not in whole.line + whole.detail


def test_a_quarter_in_which_nothing_was_done_says_so(tmp_path: Path) -> None:
    answer = answer_of(tmp_path, ("2025-11-10", 400), ("2026-05-04", 400), quarter="2026Q1")
    assert answer.line.startswith("A loss of $3,000")
    assert answer.detail.startswith("Nothing was finished, worked, cut or sold in it.")
