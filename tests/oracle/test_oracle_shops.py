"""The slow implementation on whole shops: jobs worked by hand, and laws that hold in every shop."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from . import review_tables
from .examples import PLAIN, only, review
from .money import hours_worked, labour_worked, overheads_of
from .random_shop import write_random_shop
from .reading import Quarter, read_shop
from .tables import Costing

# ---- jobs, worked by hand ------------------------------------------------------------------------


def test_a_job_of_two_lines_with_shared_hours_and_one_card_fee(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs="""
            job_id | line | finished_on | service | make | model | quoted_hours | quoted_price | payment
            J1 | 1 | 2026-02-10 | roof | Quillon | Heron | 6 | 600 | card
            J1 | 2 | 2026-02-10 | hood | Quillon | Heron | 2 | 301 | card""",
        hours="""
            job_id | line | worked_on | installer | task | hours | overtime
            J1 |   | 2026-02-09 | Ada | laying | 4 | no
            J1 | 2 | 2026-02-09 | Bo  | laying | 2 | yes
            J1 | 1 | 2026-02-10 | Ada | rework | 1 | no""",
        rates="""
            installer | effective_from | wage
            Ada | 2026-01-01 | 20
            Bo  | 2026-03-01 | 30""",
        purchases="""
            invoice | received_on | item | kind | quantity | unit_price
            I1 | 2026-01-05 | blades | consumable | 7 | 10""",
        overheads="month|category|amount\n2026-01|rent|700",
        capacity="month|installer_hours\n2026-01|100",
    )  # fmt: skip
    roof_line, hood = tables["job_costs"]
    # 3 % of 901 and 0.30 are 27.33; by price 18.1998 and 9.1302: the odd cent to the first.
    assert (roof_line["payment_fee"], hood["payment_fee"]) == (Fraction("18.20"), Fraction("9.13"))
    # Four hours without a line by quoted hours, 3 and 1.
    assert (roof_line["actual_hours"], roof_line["rework_hours"]) == (4, 1)
    assert (hood["actual_hours"], hood["rework_hours"]) == (3, 0)
    # On the first day four hours, on the second one; by actual hours 4 to 3.
    assert (roof_line["bay_hours"], hood["bay_hours"]) == (Fraction(20, 7), Fraction(15, 7))
    # Ada costs 20 x 1.2; Bo's overtime 30 x 1.5 + 30 x 0.2, at his first wage.
    assert (roof_line["labour_cost"], hood["labour_cost"]) == (96, 24 + 2 * 51)
    # 70 of consumables over 7 hours; 700 of overheads over 100 hours.
    assert (roof_line["consumables_cost"], hood["overhead_cost"]) == (40, 21)
    assert roof_line["material_margin"] == Fraction("541.80")
    assert roof_line["contribution"] == Fraction("445.80")
    assert roof_line["full_margin"] == Fraction("417.80")
    assert hood["full_margin"] == Fraction("114.87")
    bo = only(tables["hours_by_installer"], installer="Bo")
    assert (bo["jobs"], bo["quoted_hours"], bo["actual_hours"]) == (1, Fraction(4, 3), 2)
    result = {row["line"]: row["amount"] for row in tables["shop_result"]}
    assert result["unused_capacity"] == 93 * 7
    assert result["overhead_rate_difference"] == 0
    assert result["work_on_cancelled_and_open_jobs"] == 0
    assert result["result"] == Fraction("873.67") - 222 - 70 - 700
    assert result["utilisation_pct"] == 7


def test_a_redo_of_a_redo_goes_to_the_first_job(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs="""
            job_id | line | finished_on | service | make | model | quoted_hours | quoted_price | redo_of | hours
            J1 | 1 | 2026-01-10 | hood | Quillon | Heron | 2 | 200 |    | 2
            J1 | 2 | 2026-01-10 | roof | Quillon | Heron | 6 | 600 |    | 6
            J2 |   | 2026-02-10 | trim | Quillon | Heron | 0 | 0   | J1 | 3
            J3 |   | 2026-03-10 | roof | Quillon | Heron | 0 | 5   | J2 | 2""",
        overheads="month|category|amount\n2026-01|rent|100",
        capacity="month|installer_hours\n2026-01|100",
    )  # fmt: skip
    hood = only(tables["margin_by_service"], service="hood")
    roof_row = only(tables["margin_by_service"], service="roof")
    # An hour costs 10 x 1.2 and 1 of overhead; the trim goes to the first line, the roof to the roof.
    assert (hood["jobs"], hood["redo_cost"]) == (1, 3 * 13)
    assert (roof_row["jobs"], roof_row["redo_cost"]) == (1, 2 * 13 - 5)
    assert roof_row["full_margin"] == 600 - 6 * 13 - 21
    assert len(tables["margin_by_service"]) == 2
    assert only(tables["hours_by_service"], service="hood")["redo_hours"] == 3
    assert only(tables["hours_by_class"], vehicle_class=None)["redo_hours"] == 5
    redo = only(tables["redo"], by="service", key="roof")
    assert (redo["jobs"], redo["redos"], redo["redo_pct"], redo["redo_cost"]) == (1, 1, 100, 21)


def test_a_shop_that_keeps_only_job_sheets(tmp_path: Path) -> None:
    """Hours and pull stand on the job sheet; prices hold tax; the class is looked up."""
    tables = review(
        tmp_path, "2026Q1", f"prices_include_tax = true\ntax_rate = 0.25\n{PLAIN}",
        jobs="""
            job_id | finished_on | service | make | model | model_year | film | quoted_hours | quoted_price | payment | crew | hours | pulled_length | finished_area
            J1 | 2026-01-10 | roof | Quillon | Heron | 2021 | F | 5 | 500 | card | Ada; Bo | 6 | 3 | 2.5
            J2 | 2026-01-11 | roof | Quillon | Heron | 2024 | F | 5 | 500 | cash |  | 4 | 3 |
            J3 | 2026-01-12 | roof | Quillon | Heron | 2024 | G | 5 | 500 | cash |  |  |  | """,
        vehicles="""
            make | model | year_from | year_to | vehicle_class
            Quillon | Heron | | | compact car
            Quillon | Heron | 2022 | | midsize car""",
        rates="installer | effective_from | wage\nAda | 2026-01-01 | 20",
        purchases="""
            invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price
            I1 | 2026-01-02 | F | film | 1 | 100 | 1 | 1000""",
    )  # fmt: skip
    first, second, third = tables["job_costs"]
    assert (first["vehicle_class"], second["vehicle_class"]) == ("compact car", "midsize car")
    assert first["net_revenue"] == 400 - Fraction("15.30")  # 3 % of the 500 that were paid
    assert (first["actual_hours"], first["bay_hours"]) == (6, 3)
    assert first["labour_cost"] == 3 * 24 + 3 * 12  # Ada at 20, Bo without a wage of his own at 10
    assert (first["film_cost"], first["waste_area"]) == (30, Fraction("0.5"))
    assert (second["labour_cost"], second["bay_hours"]) == (48, 4)
    assert (second["film_cost"], second["waste_area"]) == (30, None)
    blank = ("actual_hours", "labour_cost", "film_cost", "consumed_area", "material_margin")
    assert [third[column] for column in blank] == [None] * 5
    assert (first["overhead_cost"], first["consumables_cost"]) == (None, 0)
    waste = only(tables["waste_by_class"], vehicle_class="midsize car")
    assert (waste["cuts"], waste["cuts_unmeasured"], waste["consumed_area"]) == (1, 1, None)


def test_rates_of_the_trailing_year_and_returned_film_without_freight(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
            J1 | 2025-03-31 | roof | Quillon | Heron | 5 | 500 | 5
            J2 | 2026-01-10 | roof | Quillon | Heron | 5 | 500 | 10""",
        purchases="""
            invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price
            I1 | 2025-03-31 | blades | consumable | | | 1 | 100
            I2 | 2025-04-01 | blades | consumable | | | 1 | 30
            I3 | 2026-01-02 | F | film | 1 | 100 | 1 | 400
            I4 | 2026-01-03 | F | film | 1 | 10 | -1 | 40
            I4 | 2026-01-03 | F | film | 1 | 100 | 1 | 400
            I4 | 2026-01-03 | van | freight | | | 1 | 20""",
        overheads="month|category|amount\n2025-03|rent|999\n2025-04|rent|100\n2025-05|rent|77",
        capacity="month|installer_hours\n2025-03|100\n2025-04|50",
    )  # fmt: skip
    job = only(tables["job_costs"], job_id="J2")
    assert job["consumables_cost"] == 30  # 30 over the 10 hours of the year that began in April
    assert job["overhead_cost"] == 20  # April alone has both: 100 over 50, times 10 hours
    film = only(tables["film_reconciliation"], film="F")
    assert (film["purchased_area"], film["purchased_cost"]) == (190, 400 - 40 + 420)
    assert [row["landed_cost_per_area"] for row in tables["film_prices"]] == [4, Fraction("4.2")]


def test_film_that_was_never_bought_has_no_cost(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
            J1 | 2026-01-10 | roof | Quillon | Heron | 5 | 500 | 5""",
        cuts="""
            cut_id | cut_on | job_id | film | pulled_length | pulled_width
            C1 | 2026-01-09 | J1 | G | 2 | 1""",
    )  # fmt: skip
    (job,) = tables["job_costs"]
    assert (job["film"], job["consumed_area"]) == ("G", 2)
    assert (job["film_cost"], job["material_margin"], job["contribution"]) == (None, None, None)
    row = only(tables["film_reconciliation"], film="G")
    assert (row["jobs_area"], row["closing_area"], row["jobs_cost"]) == (2, -2, None)


def test_freight_and_credit_in_the_price_of_film(tmp_path: Path) -> None:
    """Ten of freight over 300, 100 and 100: 6, 2 and 2; then a credit of 4 on two lines of F."""
    tables = review(
        tmp_path, "2026Q1",
        purchases="""
            invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price | discount
            I1 | 2026-01-05 | Harbour | F | film | 1 | 100 | 1 | 310 | 10
            I1 | 2026-01-05 | Harbour | F | film | 1 | 50 | 1 | 100 |
            I1 | 2026-01-05 | Harbour | blades | consumable | | | 10 | 10 |
            I1 | 2026-01-05 | Harbour | van | freight | | | 1 | 10 |
            I1 | 2026-02-05 | Harbour | F | credit | | | 2 | 2 |""",
    )  # fmt: skip
    first, second = tables["film_prices"]
    assert first["landed_cost_per_area"] == Fraction(306 - 3, 100)
    assert second["landed_cost_per_area"] == Fraction(102 - 1, 50)
    assert second["change_pct"] == 100 * (Fraction(101, 50) / Fraction(303, 100) - 1)
    assert only(tables["film_reconciliation"], film="F")["closing_cost"] == 404


def test_a_counter_sale_without_a_cut_pulls_the_roll_over_its_width(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        purchases="""
            invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price
            I1 | 2026-01-02 | F | film | 1.5 | 100 | 1 | 1500""",
        counter_sales="""
            sale_id | sold_on | film | length | width | price | minutes | extras_price | extras_cost
            S1 | 2026-01-05 | F | 2 | 1 | 60 | 15 | 10 | 4""",
    )  # fmt: skip
    assert only(tables["waste_by_film"], film="F")["side_loss_area"] == 1
    assert tables["waste_by_service"] == []
    result = {row["line"]: row["amount"] for row in tables["shop_result"]}
    # 70 less extras 4, card 2.10 and 0.30, film 3 m2 at 10, a quarter of an hour at 12.
    assert result["counter_sales"] == 70 - 4 - Fraction("2.40") - 30 - 3


# ---- laws that hold in every shop ----------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_every_random_shop_adds_up(tmp_path: Path, seed: int) -> None:
    quarters = write_random_shop(tmp_path, seed)
    closing: dict[str, Any] = {}
    for quarter in quarters:
        tables = review_tables(tmp_path, quarter)
        check_margins(tables, quarter)
        check_waste(tables)
        for row in tables["film_reconciliation"]:
            opening = closing.get(row["film"], (0, 0))
            assert (row["opening_area"], row["opening_cost"]) == opening
            closing[row["film"]] = (row["closing_area"], row["closing_cost"])
        check_result(tables)
        check_statement(tmp_path, tables, quarter)


def check_margins(tables: dict[str, Any], quarter: str) -> None:
    """Full margin by service, class and film adds to that of the quarter's job lines."""
    lines = [row for row in tables["job_costs"] if row["quarter"] == quarter]
    for table in ("margin_by_service", "margin_by_class", "margin_by_film"):
        parts = [row["full_margin"] for row in tables[table]]
        wholes = [row["full_margin"] for row in lines]
        if None not in parts + wholes:
            assert sum(parts) == sum(wholes)


def check_waste(tables: dict[str, Any]) -> None:
    """The parts of waste add to waste."""
    parts = ("side_and_handling", "opening", "recut", "damage", "test", "end_of_roll")
    for row in tables["waste_by_film"]:
        if row["waste_area"] is not None:
            # A part that nobody writes down is blank, and in the first of them.
            assert row["waste_area"] == sum(row[f"{part}_area"] or 0 for part in parts)
        if row["side_loss_area"] is not None:
            both = row["side_loss_area"] + row["handling_margin_area"]
            assert both == row["side_and_handling_area"]


def check_result(tables: dict[str, Any]) -> None:
    """The statement's steps, and nothing else, lead from net revenue to the result."""
    line = {row["line"]: row["amount"] for row in tables["shop_result"]}
    if line["result"] is None:
        return
    assert line["full_margin_of_jobs"] == line["net_revenue"] - sum(
        line[name] for name in ("film", "consumables", "labour", "overhead_on_jobs", "redo")
    )
    off = ("shop_film", "unexplained_film", "work_on_cancelled_and_open_jobs", "unused_capacity")
    result = line["full_margin_of_jobs"] + line["counter_sales"] - sum(line[name] for name in off)
    assert line["result"] == result - line["overhead_rate_difference"]


def check_statement(folder: Path, tables: dict[str, Any], quarter: str) -> None:
    """The result is what came in less film used, hours paid, consumables and the true overheads."""
    line = {row["line"]: row["amount"] for row in tables["shop_result"]}
    if line["result"] is None:
        return
    shop = read_shop(folder)
    costing = Costing(shop, Quarter(quarter, shop.settings.fiscal_year_starts))
    came_in = sum(row["net_revenue"] for row in tables["job_costs"] if row["quarter"] == quarter)
    headings = ("jobs_cost", "shop_cost", "unexplained_cost")
    film = sum(row[heading] for row in tables["film_reconciliation"] for heading in headings)
    consumables = costing.rate("consumables", costing.quarter) * hours_worked(costing)
    paid = labour_worked(costing) + consumables + overheads_of(costing)
    assert line["result"] == came_in + line["counter_sales"] - film - paid


def test_a_random_shop_has_everything_in_it_and_is_the_same_each_time(tmp_path: Path) -> None:
    for name in ("a", "b"):
        write_random_shop(tmp_path / name, 3)
    files = sorted(path.name for path in (tmp_path / "a").iterdir())
    for name in files:
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()
    text = {name: (tmp_path / "a" / name).read_text(encoding="utf-8") for name in files}
    for kind in (",film,", ",consumable,", ",freight,", ",credit,", ",-1,"):
        assert kind in text["purchases.csv"]
    for word in (",offcut,", ",recut", "S001,"):
        assert word in text["cuts.csv"]
    for word in (",open,", ",cancelled,", "J0011", ",card,", ",cash,"):
        assert word in text["jobs.csv"]
