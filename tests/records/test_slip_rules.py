"""Prices and hours held against the list, the quote and the day: where the bounds lie."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.records.model import Records
from analysis.records.money_rules import landed_price
from analysis.records.slip_rules import _of_others
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
    jobs = [job(day=f"2026-05-0{at}").replace("J1", f"J{at}") for at in range(1, 5)]
    spoilt = LIST.replace("roof||400|3", "roof||4000|3")
    assert told(tmp_path, *jobs, price_list=spoilt) == [
        ("list-far-from-jobs", "list_price", "4 of the 4 jobs of this row are far from its price")
    ]


def usual(
    *prices: str, size: str = "", redo_of: str = "", start: int = 10, invoiced: str = ""
) -> list[str]:
    """Jobs of these prices, a day each."""
    return [
        job(day=f"2026-05-{at:02d}", price=price, size=size, redo_of=redo_of, invoiced=invoiced)
        .replace("J1", f"J{at}", 1)
        for at, price in enumerate(prices, start)
    ]  # fmt: skip


NO_LIST = {"price_list": "service|list_price|effective_from"}
FIVE = ("300", "350", "400", "450", "500")


@pytest.mark.parametrize(
    ("price", "is_told"), [("1200", False), ("1200.01", True), ("133.34", False), ("133.3", True)]
)
def test_three_times_and_a_third_of_the_usual_price_pass(
    tmp_path: Path, price: str, is_told: bool
) -> None:
    rules = [rule for rule, _, _ in told(tmp_path, *usual(*FIVE, price), **NO_LIST)]
    assert rules == ["price-far-from-usual"] * is_told


def test_a_slip_without_a_list_in_words(tmp_path: Path) -> None:
    prices = ("360", "372", "380", "372", "365", "390")
    found = told(tmp_path / "1", *usual("3720.00", *prices, size="minivan"), **NO_LIST)
    words = (
        "3,720.00 USD is over three times 372.00 USD, the middle of the 6 other prices of roof on "
        "a minivan"
    )
    assert found == [("price-far-from-usual", "quoted_price", words)]
    late = usual(*prices, size="minivan") + usual("372", size="minivan", invoiced="37.2", start=20)
    found = told(tmp_path / "2", *late, **NO_LIST)
    assert [(rule, column) for rule, column, _ in found] == [
        ("price-far-from-usual", "invoiced_price")
    ]


def test_four_others_are_too_few_and_other_classes_are_no_others(tmp_path: Path) -> None:
    assert not told(tmp_path / "1", *usual("4000", *FIVE[:4]), **NO_LIST)
    vans = usual("4000", size="minivan", start=20)
    assert not told(tmp_path / "2", *usual(*FIVE), *vans, **NO_LIST)


def test_where_a_list_price_is_of_the_line_it_alone_is_held_against_it(tmp_path: Path) -> None:
    rules = [rule for rule, _, _ in told(tmp_path / "1", *usual("4000", *FIVE))]
    assert rules == ["price-far-from-list"]
    # A list that begins after the quote holds nothing against it.
    late = {"price_list": "service|list_price|effective_from\nroof|400|2026-06-01"}
    rules = [rule for rule, _, _ in told(tmp_path / "2", *usual("4000", *FIVE), **late)]
    assert rules == ["price-far-from-usual"]


def test_a_price_under_its_film_is_told_once(tmp_path: Path) -> None:
    cuts = "cut_id|cut_on|job_id|film|pulled_length|pulled_width\n1|2026-05-10|J10|F|8|1"
    rules = [rule for rule, _, _ in told(tmp_path, *usual("40", *FIVE), **NO_LIST, cuts=cuts)]
    assert rules == ["price-under-film"]


def test_redos_and_prices_of_0_are_neither_slips_nor_usual(tmp_path: Path) -> None:
    assert not told(tmp_path / "1", *usual("0", "0", "0", *FIVE), **NO_LIST)
    redo = usual("40", redo_of="J10", start=20)
    assert not told(tmp_path / "2", *usual(*FIVE), *redo, **NO_LIST)
    # Four prices and two redos are four prices.
    redos = usual("400", "400", redo_of="J11", start=20)
    assert not told(tmp_path / "3", *usual("4000", *FIVE[:4]), *redos, **NO_LIST)


def test_a_service_without_a_usual_price_has_no_slips(tmp_path: Path) -> None:
    two = told(tmp_path / "1", *usual("4000", "40", *FIVE), **NO_LIST)
    assert len(two) == 2
    three = told(tmp_path / "2", *usual("4000", "40", "5000", *FIVE, "420"), **NO_LIST)
    assert not three


def test_the_median_of_the_others_is_that_of_each_list_without_it() -> None:
    rng = np.random.default_rng(7)
    values = pd.Series(rng.integers(1, 9, 60).astype("float64"), index=rng.permutation(60))
    group = pd.Series(rng.integers(0, 9, 60), index=values.index)
    found, others = _of_others(values, group)
    for at in values.index:
        rest = values[(group == group[at]) & (values.index != at)]
        assert others[at] == len(rest)
        assert found[at] == rest.median() or (rest.empty and np.isnan(found[at]))


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
