"""How full the shop was, and what an hour of each service left."""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction
from typing import Any

from .jobs import crew_of, logs_by_job
from .reading import first_day, month_number, percent, quarter_of, ratio, total
from .tables import Costing, Costs, Table, in_key_order, less, product

NOTHING = Fraction(0)


def utilisation_by_month(costing: Costing) -> Table:
    """The months of the two years that end with the quarter, those with capacity or hours."""
    practical = capacity_by_month(costing, "installer_hours")
    could_be_held = capacity_by_month(costing, "bay_hours")
    worked = hours_by_month(costing)
    held = bay_hours_by_month(costing)
    months = set(practical) | set(worked)
    last = costing.quarter.first_month + 3
    rows = []
    for month in sorted(month for month in months if last - 24 <= month < last):
        quarter = quarter_of(first_day(month), costing.settings.fiscal_year_starts)
        could, did = practical.get(month), worked.get(month, NOTHING)
        bays, bay_hours = could_be_held.get(month), held.get(month, NOTHING)
        rows.append(
            {
                "month": first_day(month),
                "installer_hours": could,
                "worked_hours": did,
                "installer_use_pct": percent(did, could),
                "bay_capacity_hours": bays,
                "bay_hours": bay_hours,
                "bay_use_pct": percent(bay_hours, bays),
                "unused_hours": less(could, did),
                "unused_cost": product(less(could, did), costing.rate("overhead", quarter)),
            }
        )
    return rows


def capacity_by_month(costing: Costing, column: str) -> dict[int, Any]:
    """A month given more than once is added; with a blank among its rows it is blank."""
    months: dict[int, list[Any]] = defaultdict(list)
    for row in costing.shop["capacity"]:
        months[row["month"]].append(row[column])
    return {month: total(amounts) for month, amounts in months.items()}


def hours_by_month(costing: Costing) -> dict[int, Fraction]:
    """All hours worked, whatever became of the job."""
    months: dict[int, Fraction] = defaultdict(Fraction)
    for work in costing.work:
        months[month_number(work.on)] += work.hours
    return months


def bay_hours_by_month(costing: Costing) -> dict[int, Fraction]:
    """For each job and day the longest time of any one person, in the month of that day.

    Hours of a job sheet: over the names of its crew, on the day on which the line was finished.
    Time on a job that is not there holds no bay.
    """
    months: dict[int, Fraction] = defaultdict(Fraction)
    known = {line.job_id for line in costing.lines}
    for job_id, log in logs_by_job(costing.shop).items():
        if job_id not in known:
            continue
        for on in {on for on, _ in log}:
            months[month_number(on)] += max(log[each] for each in log if each[0] == on)
    for line in costing.lines:
        if line.work_is_from_sheet and line.finished_on:
            hours = Fraction(line.row["hours"]) / max(len(crew_of(line)), 1)
            months[month_number(line.finished_on)] += hours
    return months


def earning_by_service(costing: Costing) -> Table:
    """First-time lines finished in the trailing year, and their rank by contribution."""
    groups: dict[str, list[Costs]] = {}
    for costs in costing.in_year():
        if not costs.line.is_redo:
            groups.setdefault(costs.line.service, []).append(costs)
    rows = []
    for service in in_key_order(set(groups)):
        lines = groups[service]
        margin = total([costs.material_margin for costs in lines])
        hours = total([costs.hours for costs in lines])
        held = total([costs.bay_hours for costs in lines])
        revenue = total([costs.revenue for costs in lines])
        rows.append(
            {
                "service": service,
                "jobs": len(lines),
                "material_margin": margin,
                "actual_hours": hours,
                "bay_hours": held,
                "per_bay_hour": ratio(margin, held),
                "per_installer_hour": ratio(margin, hours),
                "contribution_pct": percent(
                    total([costs.contribution for costs in lines]), revenue
                ),
                "enough": costing.enough(len(lines)),
            }
        )
    shares = [row["contribution_pct"] for row in rows]
    for row in rows:
        own = row["contribution_pct"]
        better = 0 if own is None else sum(s is not None and s > own for s in shares)
        row["rank_when_idle"] = None if own is None else 1 + better
    return rows
