"""Prices and hours held against the list, the quote and the day: where the bounds lie."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from pathlib import Path

import pytest

from analysis.records.model import Records
from analysis.records.money_rules import landed_price
from tests.shops import records_of

JOB = "job_id|quoted_on|started_on|finished_on|status|service|make|model|vehicle_class|quoted_hours|quoted_price|invoiced_price|redo_of|crew|hours|payment"
LIST = """service|vehicle_class|list_price|list_hours|effective_from
    roof||400|3|2026-01-01
    roof|minivan|600|4|2026-01-01
    roof||500|3|2026-06-01"""
BOUGHT = """invoice|received_on|supplier|item|kind|roll_width|roll_length|quantity|unit_price
    A|2026-01-05|S|F|film|1|10|1|100"""


def told(folder: Path, *jobs: str, **tables: str) -> list[tuple[str, str, str]]:
    """The findings about jobs, as (rule, column, problem)."""
    records = read(folder, *jobs, **tables)
    found = records.findings[["rule", "column", "problem"]]
    return list(found.itertuples(index=False, name=None))


def read(folder: Path, *jobs: str, **tables: str) -> Records:
    rows = "\n".join([JOB, *jobs])
    return records_of(folder, **{"jobs": rows, "purchases": BOUGHT, "price_list": LIST} | tables)


def job(
    day: str = "2026-05-04",
    status: str = "finished",
    size: str = "",
    quoted_hours: str = "3",
    price: str = "400",
    invoiced: str = "",
    redo_of: str = "",
    crew: str = "Ann",
    hours: str = "3",
) -> str:
    return (
        f"J1|{day}|{day}|{day}|{status}|roof|Quorl|Mistle|{size}|{quoted_hours}|{price}|{invoiced}|"
        f"{redo_of}|{crew}|{hours}|cash"
    )


@pytest.mark.parametrize(
    ("price", "is_told"), [("200", False), ("199.99", True), ("800", False), ("800.01", True)]
)
def test_twice_and_half_of_the_list_price_are_the_last_that_pass(
    tmp_path: Path, price: str, is_told: bool
) -> None:
    assert bool(told(tmp_path, job(price=price))) == is_told


def test_the_price_of_the_day_and_of_the_class_counts(tmp_path: Path) -> None:
    assert not told(tmp_path / "1", job(price="950", day="2026-06-01"))
    assert told(tmp_path / "2", job(price="950", day="2026-05-31"))
    assert not told(tmp_path / "3", job(price="1150", size="minivan"))
    assert not told(tmp_path / "4", job(price="4000", day="2025-12-31"))
    vehicles = "make|model|vehicle_class\nQuorl|Mistle|minivan"
    assert not told(tmp_path / "5", job(price="1150"), vehicles=vehicles)


def test_what_is_no_price_for_the_work_is_not_held_against_the_list(tmp_path: Path) -> None:
    assert not told(tmp_path / "1", job(price="0", quoted_hours="0"))
    cancelled = job(status="cancelled", price="40").replace("|2026-05-04|cancelled", "||cancelled")
    assert not told(tmp_path / "2", cancelled)
    redo = job(price="40", quoted_hours="0.5", redo_of="J1").replace("J1|", "J2|", 1)
    assert not told(tmp_path / "3", job(), redo)
    assert not told(tmp_path / "4", job(price="40"), price_list="service|list_price|effective_from")


def test_the_words_name_both_prices_and_the_row(tmp_path: Path) -> None:
    assert told(tmp_path, job(invoiced="4000")) == [
        (
            "price-far-from-list",
            "invoiced_price",
            "4,000.00 USD is over twice the 400.00 USD that price_list has from 2026-01-01 on "
            "(its row 2)",
        )
    ]


def test_a_slip_in_the_list_is_told_at_the_list(tmp_path: Path) -> None:
    jobs = [job().replace("J1", f"J{number}") for number in range(1, 5)]
    spoilt = LIST.replace("roof||400|3", "roof||4000|3")
    assert told(tmp_path, *jobs, price_list=spoilt) == [
        ("list-far-from-jobs", "list_price", "4 of the 4 jobs of this row are far from its price")
    ]


@pytest.mark.parametrize(
    ("quoted", "is_told"), [("1", False), ("0.99", True), ("9", False), ("9.01", True)]
)
def test_a_third_and_three_times_the_hours_of_the_list_pass(
    tmp_path: Path, quoted: str, is_told: bool
) -> None:
    rules = [rule for rule, _, _ in told(tmp_path, job(quoted_hours=quoted))]
    assert rules == ["hours-far-from-list"] * is_told


@pytest.mark.parametrize(
    ("hours", "is_told"), [("0.75", False), ("0.74", True), ("12", False), ("12.01", True)]
)
def test_a_quarter_and_four_times_the_quoted_hours_pass(
    tmp_path: Path, hours: str, is_told: bool
) -> None:
    rules = [rule for rule, _, _ in told(tmp_path, job(hours=hours))]
    assert rules == ["hours-far-from-quote"] * is_told


def test_hours_that_fit_in_no_day_are_told_once(tmp_path: Path) -> None:
    one = told(tmp_path / "1", job(hours="35"))
    problem = "35 hours of Ann do not fit into one day, 2026-05-04"
    assert one == [("sheet-over-a-day", "hours", problem)]
    two = told(tmp_path / "2", job(hours="35", crew="Ann; Bo"))
    assert [rule for rule, _, _ in two] == ["hours-far-from-quote"]


def test_the_log_counts_where_there_is_one(tmp_path: Path) -> None:
    log = "job_id|worked_on|installer|hours\nJ1|2026-05-04|Ann|14"
    assert told(tmp_path / "1", job(hours=""), hours=log) == [
        (
            "hours-far-from-quote",
            "hours",
            "14 hours in the time log are over four times the 3 quoted",
        )
    ]
    # A sheet that contradicts its log is told as that alone.
    rules = [rule for rule, _, _ in told(tmp_path / "2", job(hours="35"), hours=log)]
    assert rules == ["hours-against-log"]


def test_the_landed_price_is_after_discount_and_with_freight(tmp_path: Path) -> None:
    """2 rolls of 10 m² at 100, 20 off, and half of the freight of 40: (180 + 20) ÷ 20 m²."""
    bought = """invoice|received_on|supplier|item|kind|roll_width|roll_length|quantity|unit_price|discount
    A|2026-01-05|S|F|film|1|10|2|100|20
    A|2026-01-05|S|G|film|1|10|1|180|
    A|2026-01-05|S|freight|freight|||1|40|"""
    purchases = read(tmp_path, job(), purchases=bought)["purchases"]
    assert landed_price(purchases).to_dict() == pytest.approx({"F": 10.0, "G": 20.0})
