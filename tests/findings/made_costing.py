"""A costing made of a few job lines, for findings that look at nothing else."""

from __future__ import annotations

from typing import Any

import pandas as pd

from analysis.costing.film import Shelf
from analysis.costing.jobs import Costing
from analysis.periods import Quarter, quarter_index

QUARTER = Quarter(2026, 3)
YEAR = [QUARTER, Quarter(2026, 2), Quarter(2026, 1), Quarter(2025, 4)]
LOG = {
    "job_id": "str",
    "job_line": "Int64",
    "worked_on": "datetime64[us]",
    "installer": "str",
    "hours": "float64",
    "logged": "bool",
    "bay_day": "float64",
}


def costing_of(lines: list[dict[str, Any]]) -> Costing:
    """Job lines with `service, material_margin, actual_hours`; the rest follows unless given.

    Finished in the quarter, for the price of twice the margin, of which half goes to wages; the
    bay is held as long as somebody works.
    """
    made = []
    for line in lines:
        margin, hours = line["material_margin"], line["actual_hours"]
        rest = {
            "finished": True,
            "finished_on": QUARTER.first_day,
            "is_redo": False,
            "bay_hours": hours,
            "net_revenue": 2 * margin,
            "contribution": margin / 2,
        }
        made.append(rest | line)
    frame = pd.DataFrame(made).astype({"service": "str"})
    frame = frame.assign(quarter_number=quarter_index(frame["finished_on"]).astype("Int64"))
    log = pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in LOG.items()})
    empty = pd.DataFrame()
    return Costing(frame, log, Shelf.__new__(Shelf), empty, empty, {}, pd.Series(dtype="float64"))
