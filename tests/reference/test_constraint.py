"""Ranking and plan where hours are short, the mean of a mix, and overhead at several capacities."""

from __future__ import annotations

import numpy as np

from analysis.costing.jobs import cost_records
from analysis.findings.capacity_use import INSTALLERS, Governing, Use, utilisation_by_month
from analysis.findings.earning import best_plan, earning_by_service, hour_earned
from analysis.findings.groups import Period
from tests.findings.made_costing import QUARTER, costing_of
from tests.reference.published import Figures, published
from tests.reference.sources import HILLIER, OPENSTAX_2
from tests.shops import records_of

YEAR = Period(QUARTER.year_first_day, QUARTER.last_day)
SHORT = Governing(INSTALLERS, *(Use(1.0, np.nan),) * 3)
PRODUCTS = ("desk", "chair", "bookcase")
HOURS = (1.0, 0.5, 0.25)
DEMAND = (60_000, 48_000, 40_000)
MACHINE_HOURS = 80_000
# Price less variable cost. The source gives the bookcase's variable overhead as 42 in its solution
# and as 45 in its data: the first two products change places, the plan does not.
AS_SOLVED = (350 - 165, 200 - 145, 175 - 127)
AS_GIVEN = (350 - 165, 200 - 145, 175 - 130)


@published(OPENSTAX_2, "section 10.6, furniture maker")
def test_furniture_maker_with_80_000_machine_hours(figures: Figures) -> None:
    """Rank by contribution a machine hour, fill the hours in that order."""
    hour = ("desk", "bookcase", "chair")
    _furniture(figures, "", AS_SOLVED, (185, 110, 192), ("bookcase", "desk", "chair"), 14_120_000)
    figures.seen = "recomputed"
    _furniture(figures, " (bookcase as in the data)", AS_GIVEN, (185, 110, 180), hour, 14_000_000)


def _furniture(
    figures: Figures,
    case: str,
    margins: tuple[float, ...],
    per_hour: tuple[float, ...],
    order: tuple[str, ...],
    total: float,
) -> None:
    lines = [
        {"service": name, "material_margin": float(margin), "actual_hours": hours}
        for name, margin, hours in zip(PRODUCTS, margins, HOURS, strict=True)
    ]
    table = earning_by_service(costing_of(lines), SHORT, YEAR, 1).set_index("service")
    for name, each in zip(PRODUCTS, per_hour, strict=True):
        what = f"Contribution a machine hour, {name}{case}"
        figures.add(what, table.loc[name, "per_installer_hour"], each)
    ranked = " > ".join(table.sort_values("rank_when_full").index)
    figures.add(f"Order by contribution a machine hour{case}", ranked, " > ".join(order))
    plan = best_plan(
        np.array(margins, dtype="float64"),
        np.array([HOURS]),
        np.array([float(MACHINE_HOURS)]),
        np.array(DEMAND, dtype="float64"),
    )
    amounts = zip(PRODUCTS, plan.amounts, (60_000, 20_000, 40_000), strict=True)
    for name, amount, best in amounts:
        figures.add(f"Best number, {name}{case}", amount, best)
    what = f"Contribution of the best plan{case}"
    figures.add(what, plan.earns, total, seen="recomputed")
    # One machine hour more makes two chairs more.
    what = f"Value of one machine hour more{case}"
    figures.add(what, plan.hour_values[0], 110, seen="recomputed")


@published(HILLIER, "section 3.1; shadow prices of section 4.7", "from memory")
def test_two_products_in_three_plants(figures: Figures) -> None:
    """Max 3 x + 5 y with x up to 4, 2 y up to 12, 3 x + 2 y up to 18."""
    plan = best_plan(
        np.array([3.0, 5.0]),
        np.array([[1.0, 0.0], [0.0, 2.0], [3.0, 2.0]]),
        np.array([4.0, 12.0, 18.0]),
        np.array([100.0, 100.0]),
    )
    figures.add("Batches of the first product", plan.amounts[0], 2)
    figures.add("Batches of the second product", plan.amounts[1], 6)
    figures.add("Profit of the best plan", plan.earns, 36)
    for at, value in enumerate(("0", "1.5", "1")):
        figures.add(f"Shadow price of plant {at + 1}", plan.hour_values[at], value)


@published(OPENSTAX_2, "section 3.4, siding maker")
def test_siding_maker_with_a_fixed_mix(figures: Figures) -> None:
    """5, 3 and 2 of three grades together; 145,000 of fixed cost.

    An hour for each unit, so that the mean of an hour is the tenth part of the ten together.
    """
    grades = {"good": (5, 6.25 - 3.25), "better": (3, 7.75 - 4.50), "best": (2, 9.25 - 6.25)}
    lines = [
        {"service": name, "material_margin": margin, "actual_hours": 1.0}
        for name, (count, margin) in grades.items()
        for _ in range(count)
    ]
    earned = hour_earned(costing_of(lines), SHORT, YEAR)
    figures.add("Contribution of the mix", 10 * earned, "30.75")
    sets = 145_000 / (10 * earned)
    figures.add("Break-even mixes", sets, "4715.45", 0.01)
    for (name, (count, _)), units in zip(grades.items(), (23_577, 14_146, 9_431), strict=True):
        figures.add(f"Break-even units, {name} grade", count * sets, units, 0.6)


@published(OPENSTAX_2, "section 8.4, overhead at 90, 100 and 110 % of capacity")
def test_overhead_an_hour_at_several_capacities(figures: Figures) -> None:
    """6,000 fixed and 2.00 an hour. The price of an hour not worked is that rate."""
    for hours, rate in ((1800, "5.33"), (2000, "5.00"), (2200, "4.73")):
        records = records_of(
            figures.folder / str(hours),
            jobs="""
                job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
                J | 2026-07-31 | roof | m | n | 1 | 9 | 1700""",
            purchases="""
                invoice | received_on | supplier | item | kind | quantity | unit_price
                A | 2026-07-01 | S | tape | consumable | 1 | 5""",
            capacity=f"month | installer_hours\n2026-07 | {hours}",
            overheads=f"month | category | amount\n2026-07 | all | {6000 + 2 * hours}",
        )
        months = utilisation_by_month(cost_records(records, QUARTER.last_day), records, QUARTER)
        (row,) = months.to_dict("records")
        assert row["unused_hours"] == hours - 1700
        price = row["unused_cost"] / row["unused_hours"]
        figures.add(f"Overhead of an hour not worked, of {hours:,}", price, rate, 0.005)
