"""Variances, the bridge and capacity of the slow implementation, on shops worked by hand."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from . import review_tables
from .examples import only, review
from .random_shop import write_random_shop
from .reading import Quarter, read_shop

JOBS = "job_id | line | quoted_on | started_on | finished_on | service | vehicle_class | make | model | film | quoted_hours | quoted_film_area | quoted_price | invoiced_price | payment | redo_of | crew | hours | pulled_length | roll_width"
BOUGHT = "invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price"


def jobs(*rows: str) -> str:
    """Job rows: id, quoted, started, finished, service, class, film, and the rest as in `JOBS`."""
    found = []
    for row in rows:
        job_id, *days, service, vehicle_class, rest = [cell.strip() for cell in row.split("|", 6)]
        found.append(
            " | ".join([job_id, "", *days, service, vehicle_class, "Quillon", "Heron", rest])
        )
    return "\n".join([JOBS, *found])


# ---- quoted against actual -----------------------------------------------------------------------

RATES = """
    installer | effective_from | wage
    Ada | 2025-01-01 | 20
    Bo  | 2025-01-01 | 15"""
# F costs 10; then 600 + 1500 + 20 of freight less 20 of a later credit over 200: 10.50; after the
# quote 15. G was first bought after the quote: its first day, 5. H never was.
FILM = f"""
    {BOUGHT}
    I1 | 2026-01-10 | F | film | 1 | 100 | 1 | 1000
    I2 | 2026-03-20 | F | film | 1 | 50 | 1 | 600
    I2 | 2026-03-20 | F | film | 1 | 150 | 1 | 1500
    I2 | 2026-03-20 | van | freight | | | 1 | 20
    I2 | 2026-05-01 | F | credit | | | 1 | 20
    I3 | 2026-04-05 | F | film | 1 | 10 | 1 | 150
    I4 | 2026-04-20 | G | film | 1 | 10 | 1 | 50
    I5 | 2026-05-20 | G | film | 1 | 10 | 1 | 90
    I6 | 2026-04-01 | blades | consumable | | | 54 | 1"""
# Ada's ten hours at 24 and Bo's five at 18 before the quarter: 330 over 15, a standard of 22.
LOG = """
    job_id | worked_on | installer | hours
    J0 | 2026-02-19 | Ada | 10
    J0 | 2026-02-19 | Bo | 5
    J1 | 2026-04-09 | Ada | 4
    J1 | 2026-04-09 | Bo | 4"""


def quoted_and_done(folder: Path) -> dict[str, Any]:
    return review(
        folder, "2026Q2", rates=RATES, purchases=FILM, hours=LOG,
        jobs=jobs(
            "J0 | | | 2026-02-20 | hood | | | 5 | | 500 | | | | | | |",
            "J1 | 2026-04-01 | | 2026-04-10 | roof | van | F | 6 | 5 | 600 | 630 | card | | | | 6 | 1",
            "J2 | | 2026-04-02 | 2026-04-28 | roof | van | G | 2 | 3 | 100 | | cash | | | 1 | 2 | 1",
            "J3 | 2026-05-01 | | 2026-05-05 | roof | | F | 1 | | 100 | | cash | | | 1 | 1 | 1",
            "J4 | 2026-05-01 | | 2026-05-06 | hood | | H | 1 | 1 | 100 | | cash | | | 1 | 1 | 1",
            "J5 | | | 2026-05-07 | door | | | 0 | | 0 | | | J1 | | 1 | |",
        ),
        overheads="month|category|amount\n2026-04|rent|500",
        capacity="month|installer_hours\n2026-04|100",
    )  # fmt: skip


def test_variances_of_jobs_worked_by_hand(tmp_path: Path) -> None:
    tables = quoted_and_done(tmp_path)
    assert [row["job_id"] for row in tables["variances"]] == ["J1", "J2", "J3", "J4", "J5"]
    first = only(tables["variances"], job_id="J1")
    # 54 of consumables over the year's 27 hours: 2 an hour; 500 of overheads over 100 hours: 5.
    assert first["price"] == 630 - 600
    assert first["labour_efficiency"] == (6 - 8) * 22
    assert first["labour_rate"] == 22 * 8 - (4 * 24 + 4 * 18)
    assert first["film_usage"] == (5 - 6) * Fraction("10.5")
    assert first["film_price"] == 6 * Fraction("10.5") - 6 * 10
    assert first["fees"] == Fraction("18.30") - Fraction("19.20")
    assert (first["consumables"], first["overhead"]) == (-2 * 2, -2 * 5)
    assert first["quoted_profit"] == 600 - Fraction("18.30") - 6 * (22 + 2 + 5) - Fraction("52.50")
    assert first["actual_profit"] == 630 - Fraction("19.20") - 60 - 16 - 168 - 40
    assert first["total"] == Fraction("-28.40") == Fraction("326.80") - Fraction("355.20")
    # No day of the quote: that of the start. Both hours at the default wage, 12.
    later = only(tables["variances"], job_id="J2")
    assert (later["film_usage"], later["film_price"]) == (5, 0)
    assert (later["labour_efficiency"], later["labour_rate"]) == (22, 10)
    assert (later["quoted_profit"], later["total"], later["actual_profit"]) == (27, 44, 71)


def test_variances_that_cannot_be_told(tmp_path: Path) -> None:
    tables = quoted_and_done(tmp_path)
    no_area = only(tables["variances"], job_id="J3")
    assert [no_area[name] for name in ("film_usage", "quoted_profit", "total")] == [None] * 3
    assert no_area["film_price"] == 15 - 10  # bought before this quote; the oldest film was cut
    never = only(tables["variances"], job_id="J4")
    assert [never[name] for name in ("film_usage", "film_price", "actual_profit")] == [None] * 3
    redo = only(tables["variances"], job_id="J5")
    assert (redo["redo_of"], redo["film_usage"], redo["film_price"]) == ("J1", 0, 0)
    assert (redo["quoted_profit"], redo["total"], redo["actual_profit"]) == (0, -19, -19)
    by_service = {row["service"]: row for row in tables["variances_by_service"]}
    counts = {name: (row["jobs"], row["told"]) for name, row in by_service.items()}
    assert counts == {"door": (1, 1), "hood": (1, 0), "roof": (3, 2)}
    assert by_service["roof"]["total"] == Fraction("-28.40") + 44
    assert by_service["roof"]["film_price"] == 3  # without that of J3
    assert by_service["hood"]["price"] is None
    classes = [(r["vehicle_class"], r["jobs"], r["told"]) for r in tables["variances_by_class"]]
    assert classes == [("van", 2, 2), (None, 3, 1)]


def test_the_fee_of_a_quote_of_two_lines_and_net_of_tax(tmp_path: Path) -> None:
    """3 % of 901 and 0.30: 27.33, as 18.20 and 9.13; of 1001: 30.33, as 18.18 and 12.15."""
    toml = 'length_unit = "m"\nprices_include_tax = true\ntax_rate = 0.25\n[fees]\ncard_percent = 3\ncard_fixed = 0.3\n'
    tables = review(
        tmp_path, "2026Q1", toml,
        jobs="""
            job_id | line | finished_on | service | make | model | quoted_hours | quoted_price | invoiced_price | payment
            J1 | 1 | 2026-02-10 | roof | Quillon | Heron | 6 | 600 | | card
            J1 | 2 | 2026-02-10 | hood | Quillon | Heron | 2 | 301 | 401 | card""",
    )  # fmt: skip
    roof, hood = tables["variances"]
    assert (roof["price"], roof["fees"]) == (0, Fraction("0.02"))
    assert (hood["price"], hood["fees"]) == (80, Fraction("-3.02"))


# ---- quarter against quarter ---------------------------------------------------------------------


def two_quarters(folder: Path) -> dict[str, Any]:
    """Ada costs 12 an hour, then 18; film 10, then 12; overhead 1 an hour; fee on one roof."""
    then, now = "| | | 2026-02-10", "| | | 2026-05-10"
    return review(
        folder, "2026Q2",
        rates="installer|effective_from|wage\nAda|2025-01-01|10\nAda|2026-04-01|15",
        purchases=f"""
            {BOUGHT}
            I1 | 2026-01-10 | F | film | 1 | 4 | 1 | 40
            I2 | 2026-04-10 | F | film | 1 | 5 | 1 | 60""",
        jobs=jobs(
            "D0 | | | 2025-12-10 | door | car | | 1 | | 100 | | | | Ada | 1 | |",
            *[f"R{n} {then} | roof | car | F | 1 | | 100 | | | | Ada | 2 | 2 | 1" for n in (1, 2)],
            *[f"H{n} {then} | hood | car | | 1 | | 80 | | | | Ada | 1 | |" for n in (1, 2)],
            f"T1 {then} | tint | | | 1 | | 50 | | | | Ada | 1 | |",
            f"D1 {then} | door | car | | 0 | | 0 | | | D0 | Ada | 1 | |",
            f"R3 {now} | roof | car | F | 1 | | 110 | | card | | Ada | 3 | 1 | 1",
            *[f"R{n} {now} | roof | car | F | 1 | | 110 | | | | Ada | 3 | 1 | 1" for n in (4, 5, 6)],
            f"H3 {now} | hood | car | F | 1 | | 90 | | | | Ada | 1 | 1 | 1",
            f"H4 {now} | hood | van | | 0 | | 0 | | | H1 | Ada | 1 | |",
            f"B1 {now} | trim | van | | 1 | | 70 | | | | Ada | 1 | |",
            f"B2 {now} | trim | van | | 0 | | 0 | | | B1 | Ada | 1 | |",
            f"T2 {now} | tint | | | 0 | | 0 | | | T1 | Ada | 1 | |",
        ),
        overheads="month|category|amount\n2025-12|rent|100\n2026-02|rent|100\n2026-05|rent|100",
        capacity="month|installer_hours\n2025-12|100\n2026-02|100\n2026-05|100",
    )  # fmt: skip


def test_cells_of_a_bridge_worked_by_hand(tmp_path: Path) -> None:
    """Roofs: 2 jobs of 54 each, then 4 of 40.10; hoods: 2 of 67, then one of 59 with a redo of 19.

    Shares a half each of 4 jobs, then 4/5 and 1/5 of 5.
    """
    cells = {(r["service"], r["vehicle_class"]): r for r in two_quarters(tmp_path)["bridge_cells"]}
    roof, hood = cells["roof", "car"], cells["hood", "car"]
    assert (roof["margin_before"], roof["margin_now"]) == (2 * 54, 4 * Fraction("40.10"))
    margin = Fraction("47.05")
    assert roof["volume"] == 1 * Fraction(13, 20) * margin
    assert roof["mix"] == Fraction(9, 2) * Fraction(3, 10) * margin
    assert roof["price"] == 3 * 10
    assert roof["labour_efficiency"] == -3 * (3 - 2) * 15
    assert roof["labour_rate"] == -3 * (18 - 12) * Fraction(5, 2)
    assert roof["film_usage"] == -3 * (1 - 2) * 11
    assert roof["film_price"] == -3 * (12 - 10) * Fraction(3, 2)
    assert roof["fees"] == -3 * Fraction("3.60") / 4
    assert (roof["overhead"], roof["redo"], roof["consumables"]) == (-3, 0, 0)
    assert (hood["margin_before"], hood["margin_now"]) == (2 * 67, 59 - 19)
    margin = Fraction(67 + 40, 2)
    assert hood["volume"] == Fraction(7, 20) * margin
    assert hood["mix"] == Fraction(9, 2) * Fraction(-3, 10) * margin
    half = Fraction(3, 2)  # the mean of 2 jobs and 1
    assert (hood["price"], hood["labour_efficiency"]) == (half * 10, 0)
    assert hood["labour_rate"] == -half * 6
    # No film before: all of it is usage, at what it costs now.
    assert (hood["film_usage"], hood["film_price"]) == (-half * 12, 0)
    assert hood["redo"] == -half * 19
    assert ("hood", "van") not in cells  # the redo is charged to the first job's class


def test_a_bridge_worked_by_hand(tmp_path: Path) -> None:
    tables = two_quarters(tmp_path)
    kinds = {(r["service"], r["vehicle_class"]): r["kind"] for r in tables["bridge_cells"]}
    assert kinds == {
        ("door", "car"): "redos only",
        ("hood", "car"): "both quarters",
        ("roof", "car"): "both quarters",
        ("tint", None): "discontinued",
        ("trim", "van"): "new",
    }
    rows = [(row["effect"], row["amount"]) for row in tables["quarter_bridge"]]
    assert rows == [
        ("margin 2026Q1", 108 + 134 + 37 - 13),
        ("price", 30 + 15),
        ("volume", Fraction("30.5825") + Fraction("18.725")),
        ("mix", Fraction("63.5175") - Fraction("72.225")),
        ("labour_efficiency", -45),
        ("labour_rate", -45 - 9),
        ("film_price", -9),
        ("film_usage", 33 - 18),
        ("consumables", 0),
        # Hoods; a tint's redo in a quarter without tints; the door's redo of the quarter before.
        ("redo", Fraction("-28.5") - 19 + 13),
        ("fees", Fraction("-2.70")),
        ("overhead", -3),
        ("new: trim, van", 70 - 18 - 1 - 19),
        ("discontinued: tint, not given", -37),
        ("margin 2026Q2", Fraction("213.40")),
    ]


# ---- capacity ------------------------------------------------------------------------------------


def test_months_and_what_an_hour_left(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs=jobs(
            "J1 | | | 2026-02-01 | roof | | | 1 | | 100 | | | | | | |",
            "J2 | | | 2026-01-30 | hood | | | 1 | | 80 | | | | | | |",
            "J3 | | | 2026-02-20 | roof | | | 1 | | 50 | | | | Ada; Bo | 6 | |",
            "J4 | | | 2026-02-21 | door | | | 0 | | 0 | | | J1 | | | |",
        ),
        hours="""
            job_id | worked_on | installer | hours
            J1 | 2026-01-30 | Ada | 4
            J1 | 2026-01-30 | Bo | 3
            J2 | 2026-01-30 | Ada | 2
            J1 | 2026-02-01 | Ada | 1
            J1 | 2026-02-01 | Bo | 2
            J9 | 2026-03-02 | Ada | 2
            J9 | 2024-04-01 | Ada | 1
            J9 | 2024-03-31 | Ada | 1""",
        overheads="month|category|amount\n2026-01|rent|40",
        capacity="""
            month | installer_hours | bay_hours
            2026-01 | 20 | 12
            2026-02 | 10 | 10
            2026-02 | 8 |
            2026-03 | 15 | 10
            2025-11 | 5 | 4""",
    )  # fmt: skip
    names = (
        "month",
        "installer_hours",
        "worked_hours",
        "bay_capacity_hours",
        "bay_hours",
        "unused_cost",
    )
    rows = [tuple(row[name] for name in names) for row in tables["utilisation_by_month"]]
    # Overheads are 2 an hour. J1 held a bay four hours, then two; J3 six over two names; there is
    # no J9, so that its hours are worked and hold no bay.
    assert rows == [
        (date(2024, 4, 1), None, 1, None, 0, None),
        (date(2025, 11, 1), 5, 0, 4, 0, None),
        (date(2026, 1, 1), 20, 9, 12, 6, 22),
        (date(2026, 2, 1), 18, 9, None, 5, 18),
        (date(2026, 3, 1), 15, 2, 10, 0, 26),
    ]
    hood, roof = tables["earning_by_service"]
    assert (roof["jobs"], roof["material_margin"], roof["actual_hours"]) == (2, 150, 16)
    assert (roof["bay_hours"], roof["per_bay_hour"]) == (9, Fraction(150, 9))
    assert roof["per_installer_hour"] == Fraction(150, 16)
    # Hours cost 12: 150 - 192 and 80 - 24.
    assert (roof["contribution_pct"], roof["rank_when_idle"]) == (-28, 2)
    assert (hood["contribution_pct"], hood["rank_when_idle"]) == (70, 1)


# ---- laws that hold in every shop ----------------------------------------------------------------


@pytest.mark.parametrize("seed", range(9))
def test_what_explains_the_money_of_random_shops_adds_up(tmp_path: Path, seed: int) -> None:
    """Each part adds to a total that stands in another table; the effects are checked inside."""
    margin = None
    for quarter in write_random_shop(tmp_path, seed):
        tables = review_tables(tmp_path, quarter, packed=False)
        lines = [row for row in tables["job_costs"] if row["quarter"] == quarter]
        assert sum(row["jobs"] for row in tables["variances_by_class"]) == len(lines)
        bridge = tables["quarter_bridge"]
        statement = only(tables["shop_result"], line="full_margin_of_jobs")["amount"]
        if bridge:
            assert bridge[-1]["amount"] == statement
            assert bridge[0]["amount"] == margin
        margin = statement
        unused = only(tables["shop_result"], line="unused_capacity")["amount"]
        held = Quarter(quarter, read_shop(tmp_path).settings.fiscal_year_starts)
        rows = [row for row in tables["utilisation_by_month"] if held.holds(row["month"])]
        months = [row["unused_cost"] for row in rows]
        if None not in [unused, *months]:
            assert sum(months) == unused
