"""One folder with one fault of every kind that the records page lists, and exactly its findings."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from pathlib import Path

from analysis.review import check_records
from tests.shops import write_shop

TOML = """
length_unit = "in"
area_unit = "sq in"
date_formats = ["%d/%m/%Y", "%m/%d/%Y"]
[redo]
window_months = 6
"""
JOBS = """
    job_id | line | status | quoted_on | started_on | finished_on | service | make | model | film | quoted_hours | quoted_price | payment | redo_of
    A1 | 1 |  | 2026-01-05 | 2026-02-02 | 2026-02-03 | roof | Quillon | Heron | F | 3 | 400 | cash |
    A2 | 1 |  | 2026-01-05 | 2026-02-04 | 2026-02-04 | roof | Quillon | Heron | F | 3 | 400 | cash |
    A3 | 1 |  | 2026-01-05 | 2026-02-05 | 2026-02-05 | roof | Quillon | Heron | F | 3 | 400 | cash |
    A4 | 1 |  | 2026-01-05 | 2026-02-06 | 2026-02-06 | roof | Quillon | Heron | F | 3 | 400 | cash |
    A5 | 1 | cancelled | 2026-01-05 | | | roof | Quillon | Heron | F | 3 | 400 | cash |
    A6 | 1 |  | 2026-01-05 | 2026-02-09 | 2026-02-09 | roof | Quillon | Heron | F | 3 | 400 | cash |
    A6 | 1 |  | 2026-01-05 | 2026-02-09 | 2026-02-09 | roof | Quillon | Heron | F | 3 | 440 | cash |
    A7 | 1 |  | 2026-01-05 | 2026-02-10 | 2026-02-10 | roof | Quillon | Hreon | F | 3 | 400 | cash |
    A8 | 1 |  | 2026-01-05 | 2026-02-11 | 2026-02-11 | roof | Quillon | Heron | F | 3 | 5 | cash |
    A9 | 1 |  | 2026-01-05 | 2026-02-12 | 2026-02-12 | roof | Quillon | Heron | F | 3 | 0 | | Z9
    B1 | 1 |  | 2026-01-05 | 2026-10-01 | 2026-10-01 | roof | Quillon | Heron | F | 3 | 0 | | A1
    B2 | 1 |  | 2026-01-05 | 2026-02-13 | 2026-02-13 | roof | Quillon | Heron | F | 3 | 400 | cash |
    B3 | 1 |  | 03/04/2026 | 2026-02-13 | 2026-02-13 | roof | Quillon | Heron | F | 3 | 400 | cash |
    B4 | 1 |  | 2026-01-05 | 2026-02-13 | 2029-02-13 | roof | Quillon | Heron | F | 3 | 400 | cash |
    B5 | 1 |  | 2026-01-05 | 2026-02-13 | 2026-02-13 | roof | Quillon | Heron | F | 3 | four | cash |
    B6 | 1 |  | 2026-01-05 | 2026-02-13 | 2026-02-13 | roof | Quillon | Heron | F | 3 | €400 | cash |
    B7 | 1 |  | 2026-01-05 | 2026-02-13 | 2026-02-13 | roof | Quillon | Heron | F | | 400 | cash |"""
HOURS = """
    job_id | worked_on | installer | hours | overtime
    A1 | 2026-02-02 | Ada | 3 | no
    A2 | 2026-02-04 | Ada | 9 | no
    A3 | 2026-02-04 | Ada | 8 | no
    A4 | 2026-02-06 | Ada | 3 | no
    A5 | 2026-02-06 | Ada | 1 | no
    A6 | 2026-02-09 | Ada | 3 | no
    A7 | 2026-02-10 | Ada | 3 | no
    A8 | 2026-02-11 | Ada | 3 | no
    A9 | 2026-02-12 | Ada | 3 | no
    B1 | 2026-10-01 | Ada | 3 | no
    B2 | 2026-02-13 | Ada | 3 | no
    B2 | 2026-02-13 | Ada | -1 | no
    B2 | 2026-02-13 | Ada | 25 | no
    B2 | 2026-02-13 | Ada | 1 | perhaps"""
PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price | roll_id
    I1 | 2026-01-20 | S | F | film | 60 | 25 yd | 2 | 540 | R1
    I2 | 2026-02-20 | S | G | film | 60 | 25 yd | 1 | 540 |
    I3 | 2026-01-20 | S | post | freight | | | 1 | 40 |"""
CUTS = """
    cut_id | cut_on | job_id | film | roll_id | pulled_length | pulled_width | piece_length | piece_width | finished_length | finished_width
    1 | 2026-02-02 | A1 | F | R1 | 68 | 60 | 68 | 48 | 62 | 45
    2 | 2026-02-04 | A2 | F | R1 | 68 | 66 | 68 | 48 | 62 | 45
    3 | 2026-02-05 | A3 | F | R1 | 68 | 60 | 80 | 48 | 62 | 45
    4 | 2026-02-06 | A4 | F | R1 | 68 | 60 | 60 | 40 | 66 | 45
    5 | 2026-02-09 | A6 | G | | 68 | 60 | 68 | 48 | 62 | 45
    6 | 2026-02-09 | A6 | F | R1 | 0 | 60 | | | |
    7 | 2026-02-09 | A6 | F | R1 | 68 kg | 60 | | | |
    8 | 2026-02-10 | A7 | F | R1 | 68 | 60 | 68 | 48 | 62 | 45
    9 | 2026-02-11 | A8 | F | R1 | 68 | 60 | 68 | 48 | 62 | 45
    10 | 2026-02-12 | A9 | F | R1 | 68 | 60 | 68 | 48 | 62 | 45
    11 | 2026-10-01 | B1 | F | R1 | 68 | 60 | 68 | 48 | 62 | 45
    12 | 2026-02-13 | B2 | F | R1 | 68 | 60 | 68 | 48 | 62 | 45"""
QUOTES = """
    quote_id | quoted_on | service | quoted_price | outcome | job_id
    Q1 | 2026-01-05 | roof | 400 | won | A1
    Q2 | 2026-01-05 | roof | 400 | won | A2
    Q3 | 2026-01-05 | roof | 400 | won | A3
    Q4 | 2026-01-05 | roof | 400 | won | A4
    Q6 | 2026-01-05 | roof | 400 | won | A6
    Q7 | 2026-01-05 | roof | 400 | won | A7
    Q8 | 2026-01-05 | roof | 400 | won | A8
    Q9 | 2026-01-05 | roof | 400 | won |"""
RATES = """
    installer | effective_from | wage
    Ada | 2026-01-01 | 20
    Ada | 2026-06-01 | 35"""
EXPECTED = [
    ("cuts", 3, "pulled_width", "wider-than-roll", "doubtful"),
    ("cuts", 4, "piece_length", "piece-over-pull", "doubtful"),
    ("cuts", 5, "finished_length", "finished-over-piece", "doubtful"),
    ("cuts", 6, "cut_on", "cut-before-bought", "doubtful"),
    ("cuts", 7, "pulled_length", "too-small", "rejected"),
    ("cuts", 8, "pulled_length", "not-a-length", "rejected"),
    ("hours", 4, "hours", "long-day", "doubtful"),
    ("hours", 4, "worked_on", "work-outside-job", "doubtful"),
    ("hours", 6, "job_id", "time-on-cancelled", "doubtful"),
    ("hours", 13, "hours", "too-small", "rejected"),
    ("hours", 14, "hours", "too-large", "rejected"),
    ("hours", 15, "overtime", "not-yes-no", "rejected"),
    ("jobs", 7, "job_id", "replaced-row", "rejected"),
    ("jobs", 9, "model", "spelt-two-ways", "doubtful"),
    ("jobs", 10, "quoted_price", "price-under-film", "doubtful"),
    ("jobs", 11, "redo_of", "redo-of-unknown", "doubtful"),
    ("jobs", 12, "redo_of", "redo-late", "doubtful"),
    ("jobs", 13, "job_id", "job-without-quote", "doubtful"),
    ("jobs", 14, "quoted_on", "date-two-ways", "rejected"),
    ("jobs", 15, "finished_on", "date-out-of-range", "rejected"),
    ("jobs", 16, "quoted_price", "not-money", "rejected"),
    ("jobs", 17, "quoted_price", "other-currency", "rejected"),
    ("jobs", 18, "quoted_hours", "required-blank", "rejected"),
    ("purchases", 4, "invoice", "freight-alone", "doubtful"),
    ("quotes", 9, "job_id", "won-without-job", "doubtful"),
    ("rates", 3, "wage", "wage-jump", "doubtful"),
]  # fmt: skip


def test_every_fault_is_told_and_nothing_else(tmp_path: Path) -> None:
    records = check_records(
        write_shop(
            tmp_path,
            TOML,
            jobs=JOBS,
            hours=HOURS,
            purchases=PURCHASES,
            cuts=CUTS,
            quotes=QUOTES,
            rates=RATES,
        )
    )
    columns = ["table", "row", "column", "rule", "severity"]
    told = sorted(records.findings[columns].itertuples(index=False, name=None))
    assert told == sorted(EXPECTED)
    for source in records.sources:
        assert source.rows_read == source.rows_used + source.rows_rejected
    assert {s.table: s.rows_rejected for s in records.sources if s.rows_rejected} == {
        "jobs": 6,
        "hours": 3,
        "cuts": 2,
    }
