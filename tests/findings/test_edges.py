"""Boundaries and rare cases, each in a shop of a few lines with figures worked by hand."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from analysis.errors import WorkbookError
from analysis.findings.evidence import is_enough
from analysis.periods import Quarter, last_complete_quarter, quarter_of
from analysis.report.edge import csv_text, round_half_away
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.review import review_records
from analysis.schema import Column, Kind, Table
from analysis.settings import Settings
from tests.shops import PLAIN, amounts, edge_rows, only, records_of, reviewed

JOB = """
    job_id | finished_on | service | make | model | film | quoted_hours | quoted_price | hours
    J1 | 2026-02-10 | roof | Quillon | Heron | {film} | 3 | 400 | 3"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price | roll_id
    A | 2026-01-05 | S | F | film | 1 | 10 | 1 | 100 |"""


def test_a_sale_takes_the_width_bought_that_day(tmp_path: Path) -> None:
    """Two widths; the roll that came on the day of the sale is the newest that holds the piece."""
    more = "\n    B | 2026-02-01 | S | F | film | 2 | 10 | 1 | 200 |"
    sale = "sale_id | sold_on | film | length | width | price\nS1 | 2026-02-01 | F | 3 | 0.5 | 50"
    result = reviewed(
        tmp_path, "2026Q1", jobs=JOB.format(film=""), purchases=BOUGHT + more, counter_sales=sale
    )
    assert only(result["waste_by_film"], film="F")["consumed_area"] == pytest.approx(6)


def test_a_sale_of_two_cuts_is_finished_once(tmp_path: Path) -> None:
    cuts = """
        cut_id | cut_on | sale_id | film | pulled_length
        1 | 2026-02-01 | S1 | F | 2
        2 | 2026-02-01 | S1 | F | 2"""
    sale = "sale_id | sold_on | film | length | width | price\nS1 | 2026-02-01 | F | 1.5 | 1 | 50"
    result = reviewed(
        tmp_path,
        "2026Q1",
        jobs=JOB.format(film=""),
        purchases=BOUGHT,
        counter_sales=sale,
        cuts=cuts,
    )
    row = only(result["waste_by_film"], film="F")
    assert (row["finished_area"], row["cuts"], row["cuts_unmeasured"]) == (1.5, 2, 1)


def test_film_sent_back_leaves_the_newest_of_its_lot(tmp_path: Path) -> None:
    """Lot L at 10 and 20 an area; 4 go back at 20: the 8 cut then come from the first 10."""
    lot = """
        invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price | roll_id
        A | 2026-01-05 | S | F | film | 1 | 10 | 1 | 100 | L
        B | 2026-01-06 | S | F | film | 1 | 10 | 1 | 200 | L
        C | 2026-01-07 | S | F | film | 1 | 4 | -1 | 80 | L"""
    cut = "cut_id | cut_on | job_id | film | pulled_length | pulled_width\n1 | 2026-02-01 | J1 | F | 8 | 1"
    result = reviewed(tmp_path, "2026Q1", jobs=JOB.format(film="F"), purchases=lot, cuts=cut)
    row = only(result["film_reconciliation"], film="F")
    assert (row["jobs_cost"], row["closing_cost"]) == (pytest.approx(80), pytest.approx(140))


def test_offcuts_grow_old_to_the_end_of_the_quarter(tmp_path: Path) -> None:
    """Kept in January, a life of one month, nothing after it: written off in the quarter all the same."""
    toml = PLAIN + "[film]\noffcut_life_months = 1\n"
    cut = """
        cut_id | cut_on | job_id | film | pulled_length | kept_length | kept_width
        1 | 2026-02-10 | J1 | F | 4 | 1 | 1"""
    result = reviewed(
        tmp_path, "2026Q1", toml, jobs=JOB.format(film="F"), purchases=BOUGHT, cuts=cut
    )
    row = only(result["film_reconciliation"], film="F")
    assert (row["shop_area"], row["shop_cost"]) == (pytest.approx(1), pytest.approx(10))


@pytest.mark.parametrize(("film", "cost"), [("", None), ("F", None)])
def test_where_no_film_is_written_down_its_cost_is_unknown(
    film: str, cost: float | None, tmp_path: Path
) -> None:
    result = reviewed(tmp_path, "2026Q1", jobs=JOB.format(film=film), purchases=BOUGHT)
    assert only(result["job_costs"], job_id="J1")["film_cost"] is cost


def test_a_job_without_film_in_a_shop_that_logs_it_used_none(tmp_path: Path) -> None:
    cut = "cut_id | cut_on | job_id | film | pulled_length\n1 | 2026-02-01 | {job} | F | 1"
    tables = {"jobs": JOB.format(film=""), "purchases": BOUGHT}
    result = reviewed(tmp_path / "a", "2026Q1", **tables, cuts=cut.format(job="J0"))
    assert only(result["job_costs"], job_id="J1")["film_cost"] == 0
    # Film that the shop used for itself says nothing about what is written down for jobs.
    result = reviewed(tmp_path / "b", "2026Q1", **tables, cuts=cut.format(job=""))
    assert only(result["job_costs"], job_id="J1")["film_cost"] is None


def test_a_long_chain_of_redos_stands_under_its_first_job(tmp_path: Path) -> None:
    """Done over six times: each cost is the first job's service, however far back that was."""
    rows = "".join(
        f"\n        J{at} | 2026-02-{at + 1:02d} | {'hood' if at else 'roof'} | Quillon | Heron |"
        f" 3 | {0 if at else 400} | 3 | {f'J{at - 1}' if at else ''}"
        for at in range(7)
    )
    result = reviewed(
        tmp_path,
        "2026Q1",
        jobs="job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours |"
        f" redo_of{rows}",
        purchases=BOUGHT,
        cuts="cut_id | cut_on | job_id | film | pulled_length\n1 | 2026-01-06 | J99 | F | 1",
        overheads="month | category | amount\n2026-02 | rent | 0",
        capacity="month | installer_hours\n2026-02 | 100",
    )
    services = {row["service"]: row for row in result["margin_by_service"]}
    assert list(services) == ["roof"]
    assert only(result["hours_by_service"], service="roof")["redo_hours"] == pytest.approx(18)


def test_a_credit_written_down_before_its_line_waits_for_it(tmp_path: Path) -> None:
    credit = """
    A | 2026-02-10 | S | G | film | 1 | 10 | 1 | 100 |
    A | 2026-01-15 | S | G | credit | | | 1 | 20 |"""
    result = reviewed(tmp_path, "2026Q1", jobs=JOB.format(film=""), purchases=BOUGHT + credit)
    assert only(result["film_reconciliation"], film="G")["closing_cost"] == pytest.approx(80)


def test_what_a_roll_sent_back_cost_more_than_was_refunded_is_a_loss_now(tmp_path: Path) -> None:
    """A roll of 100 goes back for 80: the 20 wait for no next roll of a film that may never come."""
    back = """
    A | 2026-01-15 | S | G | film | 1 | 20 | 1 | 100 | R1
    B | 2026-02-15 | S | G | film | 1 | 20 | -1 | 80 | R1"""
    result = reviewed(tmp_path, "2026Q1", jobs=JOB.format(film=""), purchases=BOUGHT + back)
    row = only(result["film_reconciliation"], film="G")
    assert (row["closing_area"], row["closing_cost"]) == (0, 0)
    assert row["purchased_cost"] == pytest.approx(20)
    assert row["shop_cost"] == pytest.approx(20)
    assert amounts(result)["shop_film"] == pytest.approx(20)


def test_a_quarter_without_a_finished_job_counts_in_the_year(tmp_path: Path) -> None:
    months = [f"2025-{month:02d}" for month in range(1, 13)]
    review = review_records(
        records_of(
            tmp_path,
            jobs="""
                job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
                J1 | 2025-02-10 | roof | Quillon | Heron | 3 | 400 | 3
                J2 | 2025-11-10 | roof | Quillon | Heron | 3 | 400 | 3""",
            purchases=BOUGHT.replace("2026", "2025"),
            cuts="cut_id | cut_on | job_id | film | pulled_length\n1 | 2025-02-01 | J0 | F | 1",
            counter_sales="sale_id | sold_on | film | length | width | price\nS1 | 2025-08-01 | F | 1 | 1 | 90",
            overheads="month | category | amount\n"
            + "\n".join(f"{m} | rent | 1000" for m in months),
            capacity="month | installer_hours\n" + "\n".join(f"{m} | 100" for m in months),
        ),
        "2025Q4",
    )
    assert review.quarter.label == "2025Q4"
    year = statement(review.year["shop_result"])
    assert year["counter_sales"] == pytest.approx(80)
    paid = sum(
        year[line] for line in ("overhead_on_jobs", "unused_capacity", "overhead_rate_difference")
    )
    assert paid == pytest.approx(12_000)
    assert statement(review.previous["shop_result"])["counter_sales"] == pytest.approx(80)


def test_a_quarter_without_any_work_is_reviewed_between_others(tmp_path: Path) -> None:
    """What is paid all the same is its result; before the first and after the last is refused."""
    months = ("2025-07", "2025-08", "2025-09")
    jobs = """
        job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
        J1 | 2024-02-10 | roof | Quillon | Heron | 3 | 400 | 3
        J2 | 2025-11-10 | roof | Quillon | Heron | 3 | 400 | 3"""
    records = records_of(
        tmp_path,
        jobs=jobs,
        purchases=BOUGHT.replace("2026", "2025")
        + "\nB | 2025-08-05 | S | paint | consumable | | | 1 | 60 |",
        overheads="month | category | amount\n" + "\n".join(f"{m} | rent | 1000" for m in months),
        capacity="month | installer_hours\n" + "\n".join(f"{m} | 100" for m in months),
    )
    quiet = statement(review_records(records, "2025Q3").results["shop_result"])
    assert quiet["net_revenue"] == 0
    assert quiet["result"] == pytest.approx(-3000)
    assert quiet["unused_capacity"] == pytest.approx(3000)
    # Paint was bought and nobody worked since: at no hours its unknown rate costs nothing.
    assert quiet["work_on_cancelled_and_open_jobs"] == 0
    assert quiet["consumables_not_charged"] == pytest.approx(60)
    for quarter in ("2023Q4", "2026Q1"):
        with pytest.raises(WorkbookError, match="These records hold 2024Q1 to 2025Q4"):
            review_records(records, quarter)


def test_work_on_cancelled_jobs_is_told_apart_from_work_under_way(tmp_path: Path) -> None:
    """Two hours and a metre of film on a job called off, three hours on one that is under way."""
    result = reviewed(
        tmp_path,
        "2026Q1",
        jobs="""
            job_id | status | finished_on | service | make | model | quoted_hours | quoted_price
            J1 | finished | 2026-02-10 | roof | Quillon | Heron | 3 | 400
            J2 | cancelled | | roof | Quillon | Heron | 3 | 400
            J3 | open | | roof | Quillon | Heron | 3 | 400""",
        hours="""
            job_id | worked_on | installer | hours
            J1 | 2026-02-10 | Wren | 3
            J2 | 2026-02-11 | Wren | 2
            J3 | 2026-02-12 | Wren | 3""",
        cuts="""
            cut_id | cut_on | job_id | film | pulled_length
            1 | 2026-02-10 | J1 | F | 2
            2 | 2026-02-11 | J2 | F | 1""",
        purchases=BOUGHT + "\nA | 2026-01-05 | S | paint | consumable | | | 1 | 0 |",
        overheads="month | category | amount\n2026-02 | rent | 1000",
        capacity="month | installer_hours\n2026-02 | 100",
    )
    lines = amounts(result)
    # 20 an hour with its overhead, the metre of film at 10.
    assert lines["work_on_cancelled_jobs"] == pytest.approx(2 * 20 + 10)
    assert lines["work_on_cancelled_and_open_jobs"] == pytest.approx(5 * 20 + 10)


def test_a_shop_without_a_single_job_row_is_reviewed(tmp_path: Path) -> None:
    result = reviewed(
        tmp_path,
        "2026Q1",
        jobs="job_id | finished_on | service | make | model | quoted_hours | quoted_price",
        purchases=BOUGHT,
        counter_sales="sale_id | sold_on | film | length | width | price\nS1 | 2026-02-01 | F | 1 | 1 | 90",
    )
    assert amounts(result)["counter_sales"] == pytest.approx(80)
    assert result["job_costs"] == []


def test_enough_is_reached_at_the_count_itself() -> None:
    assert is_enough(pd.Series([4, 5, 6]), 5).tolist() == [False, True, True]


@pytest.mark.parametrize(
    ("newest", "label"),
    [
        ("2026-09-30", "2026Q3"),
        ("2026-09-24", "2026Q3"),
        ("2026-09-23", "2026Q2"),
        ("2026-10-01", "2026Q3"),
    ],
)
def test_a_quarter_is_complete_from_its_last_week_on(newest: str, label: str) -> None:
    assert last_complete_quarter(pd.Timestamp(newest)).label == label


@pytest.mark.parametrize(
    ("day", "starts", "label"),
    [
        ("2026-03-31", 4, "2026Q4"),
        ("2026-04-01", 4, "2027Q1"),
        ("2026-12-31", 10, "2027Q1"),
        ("2026-01-01", 1, "2026Q1"),
    ],
)
def test_fiscal_quarters_are_named_for_the_year_they_end_in(
    day: str, starts: int, label: str
) -> None:
    quarter = quarter_of(pd.Timestamp(day), starts)
    assert quarter.label == label
    assert quarter.first_day <= pd.Timestamp(day) <= quarter.last_day
    assert Quarter.parse(label, starts) == quarter


def test_rounding_is_that_of_an_invoice() -> None:
    values = pd.Series([0.125, 2.675, -0.125, 0.005, -0.004])
    assert round_half_away(values, 2).tolist() == [0.13, 2.68, -0.13, 0.01, 0.0]


def test_numbers_in_a_table_are_plain() -> None:
    table = Table("t", "T", "T.", (Column("a", Kind.MONEY, "A."), Column("b", Kind.HOURS, "B.")))
    frame = pd.DataFrame({"a": [100.0, 1.005, float("nan")], "b": [2.5, 1 / 3, 20.0]})
    assert csv_text(frame, table).splitlines() == ["a,b", "100,2.5", "1.01,0.333333", ",20"]


def test_the_statement_is_in_cents_and_its_share_in_four_places(tmp_path: Path) -> None:
    review = one_shop(tmp_path)
    table = RESULT_TABLES["shop_result"]
    text = csv_text(review.frame("shop_result"), table)
    lines = dict(row.split(",")[:2] for row in text.splitlines()[1:])
    assert lines["labour"] == "33.33"
    assert lines["utilisation_pct"] == "33.3333"


def test_the_year_adds_its_quarters_and_the_quarter_before_is_the_one_before(
    tmp_path: Path,
) -> None:
    review = one_shop(tmp_path)
    now, before = amounts(edge_rows(review)), statement(review.previous["shop_result"])
    year = statement(review.year["shop_result"])
    assert (now["net_revenue"], before["net_revenue"]) == (400, 250)
    assert year["net_revenue"] == 650
    assert year["overhead_on_jobs"] == pytest.approx(
        now["overhead_on_jobs"] + before["overhead_on_jobs"]
    )
    assert review.previous["margin_by_service"]["net_revenue"].tolist() == [250]  # type: ignore[index,union-attr]


def one_shop(folder: Path) -> Review:
    """Two quarters, a job in each; wages and hours that do not come out even."""
    records = records_of(
        folder,
        PLAIN.replace("default_wage = 10", "default_wage = 11.11"),
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
            J1 | 2025-12-10 | roof | Quillon | Heron | 3 | 250 | 2
            J2 | 2026-02-10 | roof | Quillon | Heron | 3 | 400 | 3""",
        purchases=BOUGHT,
        cuts="cut_id | cut_on | film | pulled_length\n1 | 2026-02-01 | F | 1",
        overheads="month | category | amount\n2025-12 | rent | 90\n2026-02 | rent | 90",
        capacity="month | installer_hours\n2025-12 | 9\n2026-02 | 9",
    )
    return review_records(records, "2026Q1")


def statement(frame: object) -> dict[str, float]:
    assert isinstance(frame, pd.DataFrame)
    return dict(zip(frame["line"], frame["amount"], strict=True))


def test_settings_hold_the_defaults_that_are_written_down() -> None:
    """Defaults change nothing: no on-cost, no fee, no tax."""
    settings = Settings()
    assert (settings.labour.on_cost, settings.fees.card_percent, settings.tax_rate) == (0, 0, 0)
    assert settings.net_of_tax == 1


def test_a_redo_finished_on_the_last_day_of_the_quarter_counts(tmp_path: Path) -> None:
    """And one finished on the day after does not."""
    jobs = """
        job_id | finished_on | service | make | model | film | quoted_hours | quoted_price | hours | redo_of
        J1 | 2026-02-10 | roof | Quillon | Heron | | 3 | 400 | 3 |
        J2 | 2026-02-11 | roof | Quillon | Heron | | 3 | 400 | 3 |
        R1 | 2026-03-31 | roof | Quillon | Heron | | 0 | 0 | 1 | J1
        R2 | 2026-04-01 | roof | Quillon | Heron | | 0 | 0 | 1 | J2"""
    result = reviewed(tmp_path, "2026Q1", jobs=jobs, purchases=BOUGHT)
    row = only(result["redo"], by="service", key="roof")
    assert (row["jobs"], row["redos"], row["redo_pct"]) == (2, 1, 50)
