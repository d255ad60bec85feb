"""The past jobs that a quote leans on: how many are like it, and the nearest of them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.pricing.asked import Asked

MOST_JOBS: Final = 8
JOB_COLUMNS: Final = (
    "job_id",
    "line",
    "finished_on",
    "service",
    "make",
    "model",
    "quoted_hours",
    "actual_hours",
    "why",
)
_WHY: Final = ("same service and model", "same model", "same service and class")


@dataclass(frozen=True)
class Evidence:
    """Finished first-time jobs with quoted and actual hours that are like the one asked about."""

    same_service_and_model: int
    model: int
    service_and_class: int
    service: int


def past_jobs(lines: pd.DataFrame, asked: Asked) -> tuple[Evidence, pd.DataFrame]:
    """How many past jobs are like this one, and the nearest `MOST_JOBS` of them.

    `lines` : the job lines that the hours were learnt from. A model's jobs are those in the class
    asked about: in another class it is another vehicle. The table has `JOB_COLUMNS`, the same
    service and model first, then the model, then the service on the class; newest first in each.
    """
    is_service = lines["service"] == asked.service
    is_class = _in_class(lines, asked)
    is_model = _on_model(lines, asked) & is_class
    kinds = (is_service & is_model, is_model, is_service & is_class)
    evidence = Evidence(*(int(each.sum()) for each in (*kinds, is_service)))
    rank = np.select(kinds, range(len(kinds)), len(kinds))
    near = lines.assign(rank=rank)[rank < len(kinds)]
    near = near.sort_values(
        ["rank", "finished_on", "job_id", "line"],
        ascending=[True, False, True, True],
        kind="stable",
        ignore_index=True,
    ).head(MOST_JOBS)
    why = pd.Series(np.asarray(_WHY)[near["rank"]], index=near.index, dtype="str")
    return evidence, near.assign(why=why)[list(JOB_COLUMNS)]


def held_notes(lines: pd.DataFrame, held: npt.NDArray[np.bool_], asked: Asked) -> list[str]:
    """The jobs of this service on this model whose hours are too far off to be believed whole."""
    mine = held & (_on_model(lines, asked) & (lines["service"] == asked.service)).to_numpy()
    return [
        f"{row.job_id} took {row.actual_hours:.2f} h for {row.quoted_hours:.2f} h quoted, far off "
        "what the other jobs say: look whether that is right. It is held back here."
        for row in lines[mine].itertuples()
    ]


def _on_model(lines: pd.DataFrame, asked: Asked) -> pd.Series:
    vehicle = asked.vehicle
    return (lines["make"] == vehicle.make) & (lines["model"] == vehicle.model)


def _in_class(lines: pd.DataFrame, asked: Asked) -> pd.Series:
    vehicle_class = asked.vehicle.vehicle_class
    if vehicle_class is None:
        return lines["vehicle_class"].isna()
    return lines["vehicle_class"] == vehicle_class


def evidence_notes(lines: pd.DataFrame, asked: Asked, evidence: Evidence, fewest: int) -> list[str]:
    """What is to be said where few past jobs, or none, are like this one."""
    vehicle_class = asked.vehicle.vehicle_class
    notes = []
    others = lines.loc[_on_model(lines, asked) & ~_in_class(lines, asked), "vehicle_class"]
    if len(others):
        known = " or ".join(sorted(others.dropna().unique())) or "of no class"
        notes.append(
            f"In the records this model is {known}: {len(others)} of its jobs are not used here."
        )
    if evidence.model == 0:
        rest = "" if vehicle_class is None else "its class and "
        notes.append(f"No finished job on this model to learn from: it rests on {rest}the service.")
    elif evidence.same_service_and_model < fewest:
        few = _only(evidence.same_service_and_model, "such")
        notes.append(
            f"{few} on this model yet: its other jobs, its class and the service carry much of the "
            "quote."
        )
    if vehicle_class is not None and not (lines["vehicle_class"] == vehicle_class).any():
        notes.append("No finished job on this class to learn from: the range is wider for it.")
    if evidence.service < fewest:
        notes.append(f"{_only(evidence.service, 'finished')} of this service yet: take care.")
    return notes


def _only(count: int, kind: str) -> str:
    """`No such job`, `Only 1 such job`, `Only 3 such jobs`."""
    if count == 0:
        return f"No {kind} job"
    return f"Only {count} {kind} {'job' if count == 1 else 'jobs'}"
