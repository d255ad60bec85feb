"""What the owner reads about film: surpluses told, orders as of the newest day of the records."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

import math
from pathlib import Path

from analysis.records.read import read_records
from analysis.report.figures_film import NO_CAUSES, gather_causes
from analysis.report.film_answers import film_answer, order_answer, shelf_answer
from analysis.report.results import Review
from analysis.review import review_records
from tests.shops import write_shop

TOML = 'length_unit = "m"\narea_unit = "m2"\n[labour]\ndefault_wage = 20\n'
JOB = """
    job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_price | pulled_length | roll_width"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
    I1 | 2026-01-05 | Marlow | GB | film | 1 | 40 | 1 | 400"""


def review_of(folder: Path, **tables: str) -> Review:
    days = [f"2026-{month:02d}-{day:02d}" for month in range(1, 7) for day in (8, 15, 22)]
    rows = [
        f"\n    J{at} | {day} | roof | Harrow | Pike | midsize car | GB | 3 | 420 | 2 | 1"
        for at, day in enumerate(days)
    ]
    write_shop(folder, TOML, **{"jobs": JOB + "".join(rows), "purchases": BOUGHT} | tables)
    return review_records(read_records(folder), "2026Q2")


def counted(area: float) -> str:
    return f"\n    counted_on | film | area_on_hand\n    2026-06-30 | GB | {area}"


def test_a_surplus_is_no_agreement(tmp_path: Path) -> None:
    """18 pulls of 2 m² off 40 m²: 4 m² on the books."""
    more = shelf_answer(review_of(tmp_path / "more", stock_counts=counted(9)))
    assert more.line == "The counts found 5.0 m² more than the books say."
    less = shelf_answer(review_of(tmp_path / "less", stock_counts=counted(1)))
    assert "3.0 m² of film is missing" in less.line
    same = shelf_answer(review_of(tmp_path / "same", stock_counts=counted(4)))
    assert same.line == "The counts agree with the books."


def test_a_roll_that_came_after_the_quarter_is_not_ordered_again(tmp_path: Path) -> None:
    little = BOUGHT.replace("| 40 |", "| 37 |")
    wanted = review_of(tmp_path / "wanted", purchases=little)
    assert order_answer(wanted).line.startswith("Order now: GB")
    came = little + "\n    I2 | 2026-07-04 | Marlow | GB | film | 1 | 40 | 1 | 400"
    review = review_of(tmp_path / "came", purchases=came)
    assert order_answer(review).line == "Nothing has to be ordered now."
    assert str(review.frame("film_orders")["as_of"].iloc[0])[:10] == "2026-07-04"


def test_causes_that_nobody_writes_down_are_blank_and_not_none(tmp_path: Path) -> None:
    """Job sheets alone: 2 m² pulled and 1.5 finished a roof, of whatever was lost."""
    sheets = JOB.replace("| roll_width", "| roll_width | finished_area")
    rows = [
        f"\n    J{at} | 2026-05-{at + 1:02d} | roof | Harrow | Pike | midsize car | GB | 3 | 420 | 2 | 1 | 1.5"
        for at in range(6)
    ]
    review = review_of(tmp_path, jobs=sheets + "".join(rows))
    (row,) = review.frame("waste_by_film").to_dict("records")
    assert row["waste_area_m2"] == row["side_and_handling_area_m2"] == 3.0
    parts = ("opening", "recut", "damage", "test", "end_of_roll")
    assert all(math.isnan(row[f"{part}_area_m2"]) for part in parts)
    answer = film_answer(review)
    assert answer.line.startswith("Of 12.0 m² of film cut, 25% was lost: 3.0 m²")
    assert answer.detail.startswith(NO_CAUSES)
    assert gather_causes(review).line == NO_CAUSES
