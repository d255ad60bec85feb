"""Months without overheads, without a kind of them, or without capacity: where the bounds lie."""

from pathlib import Path

import pytest

from analysis.records.read import read_records
from tests.shops import records_of

BOUGHT = """invoice|received_on|supplier|item|kind|roll_width|roll_length|quantity|unit_price
    A|2026-01-05|S|F|film|1|10|1|100"""


def told(
    folder: Path,
    overheads: dict[str, str],
    capacity: str = "",
    newest: str = "2026-09-30",
    worked: str = "2026-09-01",
    status: str = "finished",
) -> list[tuple[str, int, str, str]]:
    """The findings about months, as (table, row, rule, problem).

    Months are given as digits: `overheads` a category's, `capacity` its own.
    """
    jobs = f"""job_id|status|finished_on|service|make|model|quoted_hours|quoted_price|hours|payment
        A|finished|2026-01-20|roof|Quorl|Mistle|3|400|3|cash
        B|{status}|{newest}|roof|Quorl|Mistle|3|410|3|cash"""
    hours = f"job_id|worked_on|installer|hours\n        B|{worked}|Ann|3"
    bills = [f"{_month(at)}|{name}|100" for name, months in overheads.items() for at in months]
    rows = {"overheads": "\n".join(["month|category|amount", *bills])}
    if capacity:
        own = [f"{_month(at)}|160" for at in capacity]
        rows["capacity"] = "\n".join(["month|installer_hours", *own])
    records = records_of(folder, jobs=jobs, hours=hours, purchases=BOUGHT, **rows)
    found = records.findings[records.findings["table"].isin(["overheads", "capacity"])]
    return list(found[["table", "row", "rule", "problem"]].itertuples(index=False, name=None))


def _month(digit: str) -> str:
    return f"2026-{int(digit, 16):02d}"


@pytest.mark.parametrize(
    ("newest", "is_told"), [("2026-09-23", False), ("2026-09-24", True), ("2026-10-01", True)]
)
def test_a_month_is_over_from_its_last_week_on(tmp_path: Path, newest: str, is_told: bool) -> None:
    found = told(tmp_path, {"rent": "12345678"}, "123456789", newest)
    problem = f"2026-09 has no row in overheads, and work is dated up to {newest}"
    assert found == [("capacity", 10, "overheads-missing", problem)] * is_told


def test_time_is_work_and_an_open_job_is_none(tmp_path: Path) -> None:
    rent = {"rent": "12345678"}
    assert not told(tmp_path / "1", rent, newest="", status="open")
    (found,) = told(tmp_path / "2", rent, newest="", worked="2026-09-30", status="open")
    problem = "no row is of 2026-09, and work is dated up to 2026-09-30"
    assert found == ("overheads", 9, "overheads-missing", problem)


def test_months_in_neither_table_are_told_together_once_a_table(tmp_path: Path) -> None:
    words = "no row is of 2026-07 to 2026-09, and work is dated up to 2026-09-30"
    assert told(tmp_path / "1", {"rent": "123456"}, "123456") == [
        ("overheads", 7, "overheads-missing", words),
        ("capacity", 7, "capacity-missing", words),
    ]
    # A month that capacity has is told at its row; months to come, which it has too, are not.
    found = told(tmp_path / "2", {"rent": "123456"}, "12345689abc")
    assert [(table, row, problem[:23]) for table, row, _, problem in found] == [
        ("overheads", 7, "no row is of 2026-07, a"),
        ("capacity", 8, "2026-08 has no row in o"),
        ("capacity", 9, "2026-09 has no row in o"),
    ]


def test_capacity_of_a_month_that_has_bills(tmp_path: Path) -> None:
    problem = "2026-09 has no row in capacity, and work is dated up to 2026-09-30"
    assert told(tmp_path, {"rent": "123456789"}, "12345678") == [
        ("overheads", 10, "capacity-missing", problem)
    ]


def test_a_table_that_the_shop_does_not_keep_is_not_missed(tmp_path: Path) -> None:
    assert not told(tmp_path / "1", {"rent": "123456789"})
    assert not told(tmp_path / "2", {}, "123456789")


def test_a_rejected_bill_counts_as_there(tmp_path: Path) -> None:
    folder = tmp_path / "1"
    assert told(folder, {"rent": "12345678"})
    bills = (folder / "overheads.csv").read_text(encoding="utf-8")
    (folder / "overheads.csv").write_text(bills + "2026-09,rent,much\n", encoding="utf-8")
    assert read_records(folder).findings["rule"].tolist() == ["not-money"]


@pytest.mark.parametrize(
    ("power", "last", "problem"),
    [
        ("123456789", 0, ""),
        ("12345678", 8, "not in 2026-09"),
        ("123456", 6, "not in 2026-07 to 2026-09"),
        ("12345", 0, ""),  # away for four months: ended
        ("1239", 3, "not in 2026-04 to 2026-08, and again in 2026-09"),  # not where it comes back
        ("12346789", 4, "not in 2026-05, and again in 2026-06"),
        ("1246789", 0, ""),  # not three months one after another before
        ("1234789", 4, "not in 2026-05 to 2026-06, and again in 2026-07"),
    ],
)
def test_a_category_that_stays_away(tmp_path: Path, power: str, last: int, problem: str) -> None:
    found = told(tmp_path, {"rent": "123456789", "power": power})
    words = f"power stands in each of the three months before and {problem}"
    # Told on the last row in which it stands: behind the header and nine rows of rent.
    assert found == [("overheads", 10 + last, "overhead-category-missing", words)] * bool(last)


def test_a_category_is_not_missed_in_a_month_that_is_not_over(tmp_path: Path) -> None:
    bills = {"rent": "123456789", "power": "12345678"}
    assert not told(tmp_path / "1", bills, newest="2026-09-20")
    # One that comes back was forgotten, whenever work was last written down.
    assert told(
        tmp_path / "2", bills | {"power": "12345679"}, newest="2026-03-01", worked="2026-03-01"
    )


def test_a_month_without_any_bill_is_told_as_that_alone(tmp_path: Path) -> None:
    found = told(tmp_path, {"rent": "12345689", "power": "12345689"}, "123456789")
    assert [(table, row, rule) for table, row, rule, _ in found] == [
        ("capacity", 8, "overheads-missing")
    ]


def test_each_category_and_each_gap_is_told_once(tmp_path: Path) -> None:
    found = told(tmp_path, {"rent": "123456789", "power": "12356789", "water": "12345678"})
    assert [problem for _, _, _, problem in found] == [
        "power stands in each of the three months before and not in 2026-04, and again in 2026-05",
        "water stands in each of the three months before and not in 2026-09",
    ]
