"""The review's plain tables by the package: what the hand-written ways are measured against."""

from __future__ import annotations

import pandas as pd

from analysis.costing.jobs import cost_records
from analysis.findings.groups import Period
from analysis.findings.hours import CLASS, MODEL, SERVICE, hours_by
from analysis.findings.margins import margin_by
from analysis.findings.waste import waste_by
from analysis.records.model import Records
from tests.benchmarks.scale_shop import FIRST_DAY, LAST_DAY

MONEY = (
    "payment_fee",
    "net_revenue",
    "film_cost",
    "consumables_cost",
    "labour_cost",
    "overhead_cost",
    "material_margin",
    "contribution",
    "full_margin",
)
# What a job line is compared by, in all ways.
JOB_COLUMNS = ("actual_hours", "rework_hours", "bay_hours", *MONEY)
SPAN = Period(pd.Timestamp(FIRST_DAY), pd.Timestamp(LAST_DAY))


def by_package(records: Records) -> dict[str, pd.DataFrame]:
    """`job_costs`, and margins, hours and waste by group, over all years."""
    costing = cost_records(records, SPAN.last)
    # Packing past cuts again is not compared: nobody writes that by hand.
    pulls = costing.shelf.pulls
    avoidable = pd.DataFrame(0.0, pulls.index, ["avoidable_area_m2", "avoidable_in_job_area_m2"])
    keys = {"service": SERVICE, "class": CLASS, "model": MODEL}
    return {
        "job_costs": costing.lines,
        **{
            f"margin_by_{name}": margin_by(costing, key, SPAN, 5)
            for name, key in (
                ("service", "service"),
                ("class", "vehicle_class"),
                ("film", "film"),
            )
        },
        **{f"hours_by_{name}": hours_by(costing, key, SPAN, 5) for name, key in keys.items()},
        "waste_by_class": waste_by(costing, avoidable, "vehicle_class", SPAN, 5),
    }
