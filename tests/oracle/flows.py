"""Every stream of film of a period, all films together, from purchases to each loss."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from .cuts import Pull
from .reading import total
from .tables import Costing, Table, less
from .waste import film_reconciliation, handling_margin, side_and_handling, side_loss

NOTHING = Fraction(0)
STREAMS = {
    "opening": ("opening stock", "film"),
    "purchased": ("purchased", "film"),
    "jobs": ("film", "jobs"),
    "counter_sales": ("film", "counter sales"),
    "shop": ("film", "shop use and offcuts written off"),
    "unexplained": ("film", "missing at the counts"),
    "closing": ("film", "closing stock"),
}
WHOLE = {"recut": "recut", "damage": "damage", "test": "test", "end-of-roll": "end of roll"}
CREDITS = "credits on film already used"
Stream = tuple[Any, Any]  # area and cost


def film_flows(costing: Costing) -> Table:
    """What flows into a point flows out of it; a stream of no area and no cost has no row."""
    films = film_reconciliation(costing)
    streams: dict[tuple[str, str], Stream] = {
        ends: (
            total([row[f"{name}_area"] for row in films]),
            total([row[f"{name}_cost"] for row in films]),
        )
        for name, ends in STREAMS.items()
    }
    cost_of_jobs = streams["film", "jobs"][1]
    parts = parts_of_jobs(costing)
    streams |= {("jobs", name): stream for name, stream in parts.items()}
    booked = total([cost for _, cost in parts.values()])
    streams["jobs", CREDITS] = (NOTHING, less(cost_of_jobs, booked))
    return [
        {"flows_from": ends[0], "flows_to": ends[1], "area": area, "cost": cost}
        for ends, (area, cost) in streams.items()
        if (area, cost) != (0, 0)
    ]


def parts_of_jobs(costing: Costing) -> dict[str, Stream]:
    """What became of the film that was cut for jobs, at the cost booked on the day of the cut."""
    streams: dict[str, list[Stream]] = {}
    for pull in costing.pulls:
        if pull.whose == "jobs" and costing.quarter.holds(pull.on):
            for name, area in parts_of(pull).items():
                streams.setdefault(name, []).append((area, booked_for(pull, area)))
    return {
        name: (costing.area(total([a for a, _ in parts])), total([cost for _, cost in parts]))
        for name, parts in streams.items()
    }


def parts_of(pull: Pull) -> dict[str, Any]:
    """The consumed area of one cut under the names of its parts."""
    if pull.reason != "first":
        return {WHOLE[pull.reason]: pull.consumed()}
    if pull.finished() is None:
        return {"not measured": pull.consumed()}
    parts = {"finished area": pull.finished(), "opening": pull.opening}
    if pull.piece is None:
        return parts | {"side loss and handling margin": side_and_handling(pull)}
    return parts | {"side loss": side_loss(pull), "handling margin": handling_margin(pull)}


def booked_for(pull: Pull, area: Fraction) -> Any:
    """The share of the cut's booked cost that falls to a part of it."""
    booked = pull.booked()
    if area == 0:
        return NOTHING
    return None if booked is None or pull.consumed() == 0 else booked * area / pull.consumed()
