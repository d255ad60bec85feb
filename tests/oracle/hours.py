"""The tables of hours: job lines, people and tasks, exact."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import Any

from .jobs import JobLine, Work
from .reading import ratio, total
from .tables import Amount, Costing, Costs, Table, in_key_order, less, product

NOTHING = Fraction(0)


def first_time(costing: Costing) -> list[Costs]:
    """First-time lines to date with quoted hours: a quote of 0 is no quote."""
    return [
        costs
        for costs in costing.costs
        if not costs.line.is_redo and costs.line.row["quoted_hours"] > 0
    ]


def with_hours(costing: Costing) -> list[Costs]:
    """The lines that hours are learnt from: those with actual hours too."""
    return [costs for costs in first_time(costing) if costs.hours]


def class_learnt(costing: Costing) -> dict[int, str | None]:
    """By position of a line the class that it is learnt under.

    A class left blank is that of the model's other lines, where those agree.
    """
    lines = [costs.line for costs in with_hours(costing)]
    known: dict[Any, set[str]] = {}
    for line in lines:
        classes = known.setdefault((line.row["make"], line.row["model"]), set())
        classes |= {line.vehicle_class} if line.vehicle_class else set()
    found = {}
    for line in lines:
        classes = known[line.row["make"], line.row["model"]]
        alone = next(iter(classes)) if len(classes) == 1 else None
        found[line.position] = line.vehicle_class or alone
    return found


def hours_table(
    costing: Costing, keys: dict[str, Callable[[JobLine], Any]], every_key: bool = False
) -> Table:
    """First-time lines finished in the quarter; redo hours under the first job of the chain.

    every_key: also a row for each key of any line finished up to the quarter's end.
    """

    def key_of(line: JobLine) -> tuple[Any, ...]:
        return tuple(key(line) for key in keys.values())

    groups: dict[tuple[Any, ...], tuple[list[Costs], list[Costs]]] = {}
    for costs in costing.costs if every_key else []:
        groups.setdefault(key_of(costs.line), ([], []))
    for costs in costing.in_quarter():
        first, redos = groups.setdefault(key_of(costs.line.origin), ([], []))
        (redos if costs.line.is_redo else first).append(costs)
    learnt = [key_of(costs.line) for costs in with_hours(costing)]
    if list(keys) == ["vehicle_class"]:
        learnt = [(each,) for each in class_learnt(costing).values()]
    return [
        dict(zip(keys, key, strict=True))
        | hours_of_group(costing, groups[key][0])
        | {"jobs_to_date": learnt.count(key) or None}
        | {"redo_hours": total([costs.hours for costs in groups[key][1]])}
        for key in in_key_order(set(groups))
    ]


def hours_of_group(costing: Costing, lines: list[Costs]) -> dict[str, Any]:
    """The hours of whole job lines."""
    return hours_row(
        costing,
        len(lines),
        total([costs.line.row["quoted_hours"] for costs in lines]),
        total([costs.hours for costs in lines]),
        total([costs.line.rework_hours() for costs in lines]),
        total([costs.labour for costs in lines]),
    )


def hours_row(
    costing: Costing, jobs: int, quoted: Amount, actual: Amount, rework: Amount, labour: Amount
) -> dict[str, Any]:
    """Overrun is the ratio of the sums less one; its cost is at the labour cost an actual hour."""
    overrun = ratio(actual, quoted)
    rate = NOTHING if actual == 0 and labour == 0 else ratio(labour, actual)
    return {
        "jobs": jobs,
        "quoted_hours": quoted,
        "actual_hours": actual,
        "overrun_pct": None if overrun is None else 100 * (overrun - 1),
        "overrun_cost": product(less(actual, quoted), rate),
        "rework_hours": rework,
        "enough": costing.enough(jobs),
    }


def work_in_quarter(
    costing: Costing, key: Callable[[Work], Any]
) -> dict[Any, list[tuple[Costs, list[Work]]]]:
    """Work on first-time lines finished in the quarter: key to (line, its work) of each line."""
    groups: dict[Any, list[tuple[Costs, list[Work]]]] = {}
    for costs in costing.in_quarter():
        if costs.line.is_redo:
            continue
        done: dict[Any, list[Work]] = {}
        for work in costs.line.work:
            done.setdefault(key(work), []).append(work)
        for name, works in done.items():
            if sum(work.hours for work in works) > 0:
                groups.setdefault(name, []).append((costs, works))
    return groups


def hours_by_installer(costing: Costing) -> Table:
    """His quoted hours are the line's quoted hours x his share of its actual hours."""
    rows = []
    learnt = [{w.installer for w in c.line.work if w.hours} for c in with_hours(costing)]
    groups = work_in_quarter(costing, lambda work: work.installer)
    for name in in_key_order(set(groups)):
        quoted = [
            c.line.row["quoted_hours"] * ratio(total([w.hours for w in works]), c.hours)
            for c, works in groups[name]
        ]
        done = [work for _, works in groups[name] for work in works]
        actual = total([work.hours for work in done])
        rework = total([work.hours for work in done if work.task == "rework"])
        cost = total([work.cost for work in done])
        row = hours_row(costing, len(groups[name]), total(quoted), actual, rework, cost)
        to_date = sum(name in people for people in learnt) if name else 0
        rows.append({"installer": name} | row | {"jobs_to_date": to_date or None})
    return rows


def hours_by_task(costing: Costing) -> Table:
    """A quote has no tasks: quoted hours and overrun are blank."""
    groups = work_in_quarter(costing, lambda work: work.task)
    return [
        {
            "task": task,
            "jobs": len(groups[task]),
            "quoted_hours": None,
            "actual_hours": total([work.hours for _, works in groups[task] for work in works]),
            "overrun_pct": None,
            "enough": costing.enough(len(groups[task])),
        }
        for task in in_key_order(set(groups))
    ]
