"""Variances of jobs against their quotes: small shops by hand, and what must hold in any."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unreconciled
from analysis.findings.groups import Period
from analysis.findings.quote_variances import (
    EFFECTS,
    job_variances,
    standard_film_cost,
    standard_rate,
    variances_by,
)
from analysis.periods import Quarter
from analysis.price_tables import VARIANCES, VARIANCES_BY_CLASS, VARIANCES_BY_SERVICE
from analysis.pricing.floor import replacement_cost
from analysis.records.model import Records
from analysis.records.read import read_records
from tests.oracle.random_shop import write_random_shop
from tests.shops import PLAIN, plain, records_of

DEMO = Path(__file__).parents[2] / "data_demo"
Q1 = Quarter(2026, 1)
TOML = """
length_unit = "m"
area_unit = "m2"
prices_include_tax = true
tax_rate = 0.25
[fees]
card_percent = 2
card_fixed = 0.5
"""
# One job line, and the year before it that its standards come from.
SHOP = {
    "jobs": """
        job_id | quoted_on | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_film_area | quoted_price | invoiced_price | payment
        P | | 2025-06-30 | roof | Harrow | Pike | compact car | | 5 | | 100 | 100 | cash
        J | 2026-01-05 | 2026-02-10 | roof | Harrow | Pike | compact car | F | 6 | 5 | 500 | 450 | card""",
    "hours": """
        job_id | worked_on | installer | hours
        P | 2025-06-30 | Ann | 5
        J | 2026-02-10 | Ann | 4
        J | 2026-02-10 | Bea | 4""",
    "rates": """
        installer | effective_from | wage
        Ann | 2025-01-01 | 20
        Ann | 2026-01-01 | 24
        Bea | 2025-01-01 | 16""",
    "purchases": """
        invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width | roll_length
        A | 2025-12-01 | S | F | film | 1 | 100 | 1 | 10
        B | 2026-01-20 | S | F | film | 1 | 120 | 1 | 10
        C | 2025-06-01 | S | tape | consumable | 1 | 13 | |
        D | 2025-11-01 | S | G | film | 1 | 1 | 1 | 1""",
    "cuts": """
        cut_id | cut_on | job_id | film | pulled_length | pulled_width
        1 | 2025-12-05 | other | F | 4 | 1
        2 | 2026-02-10 | J | F | 7 | 1""",
    "overheads": "month | category | amount\n2026-01 | all | 300",
    "capacity": "month | installer_hours\n2026-01 | 100",
}


def costed(folder: Path, toml: str = TOML, **changes: str) -> tuple[Costing, Records]:
    records = records_of(folder, toml, **(SHOP | changes))
    return cost_records(records, Q1.last_day), records


def the_job(folder: Path, toml: str = TOML, **changes: str) -> dict[str, Any]:
    costing, records = costed(folder, toml, **changes)
    (row,) = job_variances(costing, records, Q1).to_dict("records")
    return {name: plain(value) for name, value in row.items()}


def test_one_job_by_hand(tmp_path: Path) -> None:
    """Standards: r = 20 (2025), c = 10 (December's roll); 4 h at 24, 4 at 16; film 6 at 10, 1 at 12.

    Consumables 13 over the 8 hours of the twelve months and the 5 before: 1 an hour; overhead 3.
    """
    row = the_job(tmp_path)
    expected = {
        "price": -50 / 1.25,
        "labour_efficiency": (6 - 8) * 20.0,
        "labour_rate": 8 * 20 - (4 * 24 + 4 * 16.0),
        "film_usage": (5 - 7) * 10.0,
        "film_price": 7 * 10 - (6 * 10 + 1 * 12.0),
        "fees": 10.5 - 9.5,
        "consumables": (6 - 8) * 1.0,
        "overhead": (6 - 8) * 3.0,
    }
    assert {name: row[name] for name in EFFECTS} == pytest.approx(expected)
    quoted = 500 / 1.25 - 10.5 - 6 * (20 + 1 + 3) - 5 * 10
    assert row["quoted_profit"] == pytest.approx(quoted)
    assert row["actual_profit"] == pytest.approx(450 / 1.25 - 9.5 - 160 - 72 - 8 - 24)
    assert row["total"] == pytest.approx(sum(expected.values()))
    assert (row["job_id"], row["line"], row["redo_of"]) == ("J", 1.0, None)


def test_a_quote_without_film_area_leaves_film_and_total_unknown(tmp_path: Path) -> None:
    row = the_job(tmp_path, jobs=SHOP["jobs"].replace("| 6 | 5 |", "| 6 | |"))
    unknown = {"film_usage", "quoted_profit", "total"}
    assert {name for name in [*EFFECTS, "quoted_profit", "total"] if row[name] is None} == unknown
    assert row["film_price"] == pytest.approx(-2)


def test_a_line_without_film_has_no_film_effects(tmp_path: Path) -> None:
    """The film of the shop is written down; this line names none and took none."""
    jobs = SHOP["jobs"].replace("| F | 6 | 5 |", "| | 6 | |")
    row = the_job(tmp_path, jobs=jobs, cuts=SHOP["cuts"].replace("| J |", "| other |"))
    assert (row["film_usage"], row["film_price"]) == (0.0, 0.0)
    assert row["total"] is not None


def test_a_quoted_area_of_a_film_without_a_name_is_unknown(tmp_path: Path) -> None:
    jobs = SHOP["jobs"].replace("| F | 6 | 5 |", "| | 6 | 5 |")
    row = the_job(tmp_path, jobs=jobs, cuts=SHOP["cuts"].replace("| J |", "| other |"))
    assert (row["film_usage"], row["film_price"], row["total"]) == (None, 0.0, None)


def test_without_overheads_that_effect_is_unknown_and_no_other(tmp_path: Path) -> None:
    row = the_job(tmp_path, overheads="month | category | amount")
    unknown = {"overhead", "quoted_profit", "total", "actual_profit"}
    names = [*EFFECTS, "quoted_profit", "total", "actual_profit"]
    assert {name for name in names if row[name] is None} == unknown


def test_the_day_of_the_quote_else_of_the_start_else_of_the_finish(tmp_path: Path) -> None:
    """December's roll is 10 an area, that of 20 January 12."""
    head = SHOP["jobs"].replace("quoted_on |", "quoted_on | started_on |")
    head = head.replace("P | |", "P | | |")
    for name, days, usage in (
        ("quote", "2026-01-05 | 2026-02-01", -20.0),
        ("start", "| 2026-01-19", -20.0),
        ("start after", "| 2026-01-20", -24.0),
        ("finish", "|", -24.0),
    ):
        row = the_job(tmp_path / name, jobs=head.replace("J | 2026-01-05", f"J | {days}"))
        assert row["film_usage"] == pytest.approx(usage), name


def test_a_film_bought_after_the_quote_takes_its_first_purchase(tmp_path: Path) -> None:
    jobs = SHOP["jobs"].replace("2026-01-05", "2025-11-30")
    assert the_job(tmp_path, jobs=jobs)["film_usage"] == pytest.approx(-20)


def test_purchases_of_a_day_count_by_area_and_credits_lower_them(tmp_path: Path) -> None:
    more = SHOP["purchases"].rstrip() + (
        "\n E | 2025-12-01 | S | F | film | 1 | 400 | 1 | 30"
        "\n E | 2025-12-09 | S | F | credit | 1 | 80 | |"
    )
    row = the_job(tmp_path, purchases=more)
    assert row["film_usage"] == pytest.approx(-2 * (100 + 400 - 80) / 40)


@pytest.mark.parametrize(
    ("toml", "effect"), [(TOML, None), (TOML + "[labour]\ndefault_wage = 15\non_cost = 0.2", -36.0)]
)
def test_nobody_worked_in_the_year_before(toml: str, effect: float | None, tmp_path: Path) -> None:
    """Then the default wage, loaded: 15 × 1.2 × −2 h; without one it is unknown."""
    hours = SHOP["hours"].replace("P | 2025-06-30", "P | 2024-12-31")
    assert the_job(tmp_path, toml, hours=hours)["labour_efficiency"] == (
        None if effect is None else pytest.approx(effect)
    )


def test_the_year_before_ends_with_the_quarter_before(tmp_path: Path) -> None:
    """Hours of the quarter's own days are no standard; those of the first day of the year are."""
    costing, records = costed(tmp_path)
    log = costing.log.head(3).assign(
        worked_on=pd.to_datetime(["2025-01-01", "2025-12-31", "2026-01-01"]),
        hours=[1.0, 3.0, 100.0],
        cost=[10.0, 90.0, 1.0],
    )
    found = standard_rate(replace(costing, log=log), records.settings, Q1.index)
    assert found == pytest.approx(25)
    later = log.assign(worked_on=log["worked_on"] - pd.DateOffset(days=1))
    found = standard_rate(replace(costing, log=later), records.settings, Q1.index)
    assert found == pytest.approx(91 / 103)
    unpaid = log.assign(cost=[np.nan, 90.0, 1.0])
    found = standard_rate(replace(costing, log=unpaid), records.settings, Q1.index)
    assert found == pytest.approx(30)


def test_a_job_of_two_lines_pays_one_fee_as_quoted_and_as_invoiced(tmp_path: Path) -> None:
    """As quoted 2 % of 600 + 0.50 = 12.50; as invoiced 2 % of 550 + 0.50 = 11.50."""
    jobs = SHOP["jobs"].replace("job_id |", "job_id | line |").replace("P |", "P | 1 |")
    jobs = jobs.replace("J | 2026", "J | 1 | 2026")
    second = "J | 2 | 2026-01-05 | 2026-02-11 | tint | Harrow | Pike | | | 1 | | 100 | 100 | card"
    costing, records = costed(tmp_path, jobs=f"{jobs.rstrip()}\n{second}")
    rows = job_variances(costing, records, Q1)
    assert rows["line"].tolist() == [1, 2]
    assert rows["fees"].sum() == pytest.approx(1.0)


def test_each_line_of_a_year_is_held_against_its_own_quarter(tmp_path: Path) -> None:
    """The year before the second quarter of 2025 has no hours; that before 2026Q1 has."""
    costing, records = costed(tmp_path, TOML + "[labour]\ndefault_wage = 11")
    year = Period(Q1.year_first_day, Q1.last_day)
    rows = job_variances(costing, records, Q1, year).set_index("job_id")
    assert rows.index.tolist() == ["P", "J"]
    assert rows.loc["P", "labour_rate"] == pytest.approx(5 * 11 - 5 * 20)
    alone = job_variances(costing, records, Q1).set_index("job_id")
    pd.testing.assert_frame_equal(rows.loc[["J"]], alone)


def test_sums_are_those_of_the_lines_that_are_told(tmp_path: Path) -> None:
    jobs = SHOP["jobs"].rstrip() + (
        "\nK | 2026-01-05 | 2026-02-11 | roof | Harrow | Pike | | F | 6 | | 500 | 500 |"
        "\nL | 2026-01-05 | 2026-02-12 | hood | Harrow | Pike | | F | 6 | | 500 | 500 |"
        "\nM | 2026-01-05 | 2026-02-09 | roof | Harrow | Pike | | | 1 | | 50 | 50 |"
    )
    hours = SHOP["hours"] + "\nK | 2026-02-11 | Ann | 1\nL | 2026-02-12 | Ann | 1"
    costing, records = costed(tmp_path, jobs=jobs, hours=hours + "\nM | 2026-02-09 | Ann | 1")
    lines = job_variances(costing, records, Q1)
    assert lines["job_id"].tolist() == ["M", "J", "K", "L"]
    assert list(lines) == VARIANCES.inside_names
    table = variances_by(lines, "service", 2)
    assert list(table) == VARIANCES_BY_SERVICE.inside_names
    hood, roof = table.to_dict("records")
    assert (hood["jobs"], hood["told"], hood["enough"]) == (1, 0, False)
    assert np.isnan(hood["total"])
    assert (roof["jobs"], roof["told"], roof["enough"]) == (3, 2, True)
    told = lines[lines["job_id"].isin(["M", "J"])]
    assert roof["total"] == pytest.approx(told["total"].sum())
    assert roof["total"] == pytest.approx(roof["actual_profit"] - roof["quoted_profit"])
    by_class = variances_by(lines, "vehicle_class", 3)
    assert list(by_class) == VARIANCES_BY_CLASS.inside_names
    assert [plain(each) for each in by_class["vehicle_class"]] == ["compact car", None]
    assert by_class["jobs"].tolist() == [1, 3]
    assert not by_class["enough"].any()


def test_no_line_is_an_empty_table(tmp_path: Path) -> None:
    costing, records = costed(tmp_path)
    lines = job_variances(costing, records, Quarter(2025, 4))
    assert lines.empty
    assert list(lines) == VARIANCES.inside_names
    assert variances_by(lines, "service", 5).empty


def test_a_profit_that_does_not_come_out_stops_the_run(tmp_path: Path) -> None:
    costing, records = costed(tmp_path)
    wrong = costing.lines.assign(full_margin=costing.lines["full_margin"] + 0.01)
    with pytest.raises(Unreconciled, match="variances of a job line"):
        job_variances(replace(costing, lines=wrong), records, Q1)


def test_the_standard_film_cost_is_the_cost_that_quotes_take() -> None:
    """The vectorised look-up against the one of a single quote, film by film and day by day.

    Credits apart: a quote knows those that had come by its day, a standard knows them all.
    """
    records = read_records(DEMO)
    costing = cost_records(records, Quarter(2026, 3).last_day)
    assert len(costing.credits) > 0
    costing = replace(costing, credits=costing.credits.iloc[:0])
    films = sorted(costing.lines["film"].dropna().unique())
    days = pd.date_range("2024-01-05", "2026-09-25", freq="23D")
    asked = pd.MultiIndex.from_product([films, days], names=["film", "day"]).to_frame(index=False)
    found = standard_film_cost(costing, asked["film"].astype("str"), asked["day"])
    single = pd.Series(
        [replacement_cost(costing, f, d) for f, d in zip(asked["film"], asked["day"], strict=True)]
    )
    bought = single.notna()
    assert bought.mean() > 0.8
    assert found[bought].tolist() == pytest.approx(single[bought].tolist(), rel=1e-12)
    assert found.notna().all()


@pytest.mark.parametrize("seed", range(6))
def test_on_random_shops_what_is_told_adds_up(seed: int, tmp_path: Path) -> None:
    """Every effect known: they add to the difference; one not known: neither is the total."""
    labels = write_random_shop(tmp_path, seed)
    records = read_records(tmp_path)
    quarter = Quarter.parse(labels[-1], records.settings.fiscal_year_starts)
    costing = cost_records(records, quarter.last_day)
    before = costing.lines.copy()
    lines = job_variances(
        costing, records, quarter, Period(quarter.year_first_day, quarter.last_day)
    )
    known = lines[EFFECTS].notna().all(axis=1)
    assert known.any()
    assert (lines["total"].notna() == known).all()
    difference = lines["actual_profit"] - lines["quoted_profit"]
    assert lines.loc[known, "total"].tolist() == pytest.approx(difference[known].tolist())
    by_class = variances_by(lines, "vehicle_class", 5)
    assert by_class["jobs"].sum() == len(lines)
    assert by_class["total"].sum() == pytest.approx(lines["total"].sum())
    pd.testing.assert_frame_equal(costing.lines, before)


def test_plain_settings_read(tmp_path: Path) -> None:
    """Without tax and fees the price effect is the price, and there is none of fees."""
    row = the_job(tmp_path, PLAIN)
    assert (row["price"], row["fees"]) == (-50.0, 0.0)
