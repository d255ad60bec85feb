"""What the tables of the learnt hours hold that is counted or added: exact, from all jobs to date.

What a fitted model estimates in them is not here; it has tests of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from fractions import Fraction
from functools import cache
from math import sqrt
from typing import Any

from scipy.stats import t as student

from .hours import class_learnt, first_time, with_hours
from .reading import quarter_of, ratio, total
from .tables import Costing, Costs, Table, in_key_order, make_of, model_of

NOTHING = Fraction(0)
Pair = tuple[Any, Any]


# ---- tasks ---------------------------------------------------------------------------------------


class Timed:
    """A line with its hours by task."""

    def __init__(self, costs: Costs) -> None:
        self.service = costs.line.service
        self.pair: Pair = (make_of(costs.line), model_of(costs.line))
        self.quoted: Fraction = costs.line.row["quoted_hours"]
        self.spent: dict[str, Fraction] = {}
        for work in costs.line.work:
            if work.task is not None:
                self.spent[work.task] = self.spent.get(work.task, NOTHING) + work.hours


def overrun_by_task(costing: Costing) -> Table:
    """Each model's hours by task against what other models take of it a quoted hour.

    Only lines whose service other models had too count; a task that a line has no time on took 0.
    """
    timed = [line for line in map(Timed, first_time(costing)) if line.spent]
    tasks = sorted({task for line in timed for task in line.spent})
    rows = []
    for pair in in_key_order({line.pair for line in timed}):
        others = [line for line in timed if line.pair != pair]
        known = {line.service for line in others}
        own = [line for line in timed if line.pair == pair and line.service in known]
        if own:
            rows += [row_of_task(costing, pair, task, own, others) for task in tasks]
    return rows


def row_of_task(
    costing: Costing, pair: Pair, task: str, own: list[Timed], others: list[Timed]
) -> dict[str, Any]:
    """Hours less usual hours, with Student's interval from line to line."""

    @cache
    def rate(service: str) -> Any:
        same = [line for line in others if line.service == service]
        return ratio(
            total([line.spent.get(task, NOTHING) for line in same]),
            total([line.quoted for line in same]),
        )

    spent = [line.spent.get(task, NOTHING) for line in own]
    usual = [line.quoted * rate(line.service) for line in own]
    over = [one - other for one, other in zip(spent, usual, strict=True)]
    half = half_width([float(each) for each in over])
    middle = total(over)
    return {
        "make": pair[0],
        "model": pair[1],
        "task": task,
        "jobs": len(own),
        "hours": total(spent),
        "usual_hours": total(usual),
        "over_hours": middle,
        "low_hours": None if half is None else float(middle) - half,
        "high_hours": None if half is None else float(middle) + half,
        "enough": costing.enough(len(own)),
    }


def half_width(over: list[float]) -> float | None:
    """Half of the 90 % interval of a sum, from the spread of its parts (Student 1908)."""
    n = len(over)
    if n < 2:
        return None
    mean = sum(over) / n
    spread = sqrt(sum((each - mean) ** 2 for each in over) / (n - 1))
    return float(student.ppf(0.95, n - 1)) * spread * sqrt(n)


# ---- what is counted beside the estimates --------------------------------------------------------


def counted(
    costing: Costing, key: Callable[[Costs], tuple[Any, ...]]
) -> dict[tuple[Any, ...], int]:
    """Lines with both hours by key, in the order of the keys."""
    number: dict[tuple[Any, ...], int] = {}
    for costs in with_hours(costing):
        number[key(costs)] = number.get(key(costs), 0) + 1
    return {each: number[each] for each in in_key_order(set(number))}


def learning_curves(costing: Costing) -> Table:
    """Every service on a model that was done often enough, and how often."""
    pairs = counted(costing, lambda c: (c.line.service, make_of(c.line), model_of(c.line)))
    return [
        {"service": service, "make": make, "model": model, "jobs": jobs}
        for (service, make, model), jobs in pairs.items()
        if costing.enough(jobs)
    ]


def next_quotes(costing: Costing) -> Table:
    """Every service on a model and class done so far, and how often."""
    size = class_learnt(costing)
    cells = counted(
        costing,
        lambda c: (c.line.service, size[c.line.position], make_of(c.line), model_of(c.line)),
    )
    names = ("service", "vehicle_class", "make", "model")
    return [
        dict(zip(names, cell, strict=True)) | {"jobs": jobs, "enough": costing.enough(jobs)}
        for cell, jobs in cells.items()
    ]


def quoting_drift(costing: Costing) -> Table:
    """The ratio of the sums by fiscal quarter, from the first with a job to the last.

    The change a year, in the last row, is an estimate from all of the lines.
    """
    lines = with_hours(costing)
    if not lines:
        return []
    starts = costing.settings.fiscal_year_starts
    days = [costs.finished_on for costs in lines]
    at = quarter_of(min(days), starts)
    rows: Table = []
    while at.first <= max(days):
        done = [costs for costs in lines if at.holds(costs.finished_on)]
        over = ratio(
            total([costs.hours for costs in done]),
            total([costs.line.row["quoted_hours"] for costs in done]),
        )
        percent = None if over is None else 100 * (over - 1)
        rows.append({"period": at.label, "jobs": len(done), "overrun_pct": percent})
        at = quarter_of(at.end + timedelta(days=1), starts)
    return [*rows, {"period": "change a year", "jobs": len(lines), "overrun_pct": None}]
