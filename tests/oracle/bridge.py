"""From the margin of the quarter before to the quarter's: what made the difference.

Every effect is of the symmetrical kind: the change of one factor x the mean of the other over the
two quarters, so that nothing is left over and no order matters (Bennet 1920, Journal of the Royal
Statistical Society 83:455).
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from .money import redo_cost
from .reading import Quarter, ratio, total
from .tables import Amount, Costing, Costs, Table, in_key_order

NOTHING = Fraction(0)
EFFECTS = (
    "price",
    "volume",
    "mix",
    "labour_efficiency",
    "labour_rate",
    "film_price",
    "film_usage",
    "consumables",
    "redo",
    "fees",
    "overhead",
)
Cell = tuple[str, str | None]  # service and vehicle class


class Side:
    """What one cell was in one quarter: its first-time lines, and the redos charged to it."""

    def __init__(self, net: Fraction) -> None:
        self.net = net
        self.first: list[Costs] = []
        self.redos: list[Costs] = []

    def jobs(self) -> int:
        return len(self.first)

    def sums(self) -> dict[str, Amount]:
        """Prices before the fee, and every cost."""
        first = self.first
        return {
            "price": total([each.line.invoiced * self.net for each in first]),
            "fees": total([each.line.fee for each in first]),
            "film": total([each.film for each in first]),
            "area": total([each.consumed for each in first]),
            "consumables": total([each.consumables for each in first]),
            "labour": total([each.labour for each in first]),
            "hours": total([each.hours for each in first]),
            "overhead": total([each.overhead for each in first]),
            "redo": total([redo_cost(each) for each in self.redos]),
        }

    def margin(self) -> Amount:
        """Full margin of the first-time lines less the cost of the redos."""
        return total([each.full_margin for each in self.first + self.redos])


class Pair:
    """A cell in both quarters."""

    def __init__(self, net: Fraction) -> None:
        self.before, self.now = Side(net), Side(net)

    def kind(self) -> str:
        if self.before.jobs() and self.now.jobs():
            return "both quarters"
        if self.now.jobs():
            return "new"
        return "discontinued" if self.before.jobs() else "redos only"

    def jobs_it_rests_on(self) -> int:
        """Of the two quarters that are compared the fewer; those of the one, where it is one."""
        counts = [side.jobs() for side in (self.before, self.now)]
        return min(counts) or max(counts)


def cells_of(costing: Costing) -> dict[Cell, Pair]:
    """Every cell with a first-time line in one of the quarters, or a redo charged to it."""
    before = quarter_before(costing.quarter, costing.settings.fiscal_year_starts)
    net = 1 / (1 + costing.settings.tax)
    cells: dict[Cell, Pair] = {}
    for costs in costing.costs:
        if not (costing.quarter.holds(costs.finished_on) or before.holds(costs.finished_on)):
            continue
        first = costs.line.origin if costs.line.is_redo else costs.line
        pair = cells.setdefault((first.service, first.vehicle_class), Pair(net))
        side = pair.now if costing.quarter.holds(costs.finished_on) else pair.before
        (side.redos if costs.line.is_redo else side.first).append(costs)
    return cells


def quarter_before(quarter: Quarter, fiscal_year_starts: int) -> Quarter:
    year, position = int(quarter.label[:4]), int(quarter.label[5:])
    label = f"{year}Q{position - 1}" if position > 1 else f"{year - 1}Q4"
    return Quarter(label, fiscal_year_starts)


def can_be_bridged(cells: dict[Cell, Pair]) -> bool:
    """Whether both quarters finished a job, and the full margin of all of them is known."""
    for side in ("before", "now"):
        sides = [getattr(pair, side) for pair in cells.values()]
        if not any(each.first or each.redos for each in sides):
            return False
        if None in [each.margin() for each in sides]:
            return False
    return True


# ---- the effects of one cell ---------------------------------------------------------------------


def effects_of(pair: Pair, jobs_before: int, jobs_now: int) -> dict[str, Fraction]:
    """What made a cell's margin differ; the two counts are those of all cells of both quarters."""
    effects = dict.fromkeys((*EFFECTS, "new", "discontinued"), NOTHING)
    old, new = pair.before.sums(), pair.now.sums()
    margin_before, margin_now = pair.before.margin(), pair.now.margin()
    kind = pair.kind()
    if kind == "both quarters":
        effects |= within_jobs(pair.before.jobs(), old, pair.now.jobs(), new)
        effects |= of_counts(pair, jobs_before, jobs_now)
    elif kind == "new":  # redos of the quarter before, charged to it, fell away
        effects |= {"new": margin_now, "redo": old["redo"]}
    elif kind == "discontinued":
        effects |= {"discontinued": -margin_before, "redo": -new["redo"]}
    else:
        effects |= {"redo": old["redo"] - new["redo"]}
    assert margin_before + sum(effects.values()) == margin_now
    return effects


def of_counts(pair: Pair, jobs_before: int, jobs_now: int) -> dict[str, Fraction]:
    """More jobs in all, and other jobs among them, each at the cell's mean margin a job."""
    was, now = Fraction(pair.before.jobs()), Fraction(pair.now.jobs())
    share_was, share_now = was / jobs_before, now / jobs_now
    margin_each = mean(pair.before.margin() / was, pair.now.margin() / now)
    return {
        "volume": (jobs_now - jobs_before) * mean(share_was, share_now) * margin_each,
        "mix": mean(jobs_before, jobs_now) * (share_now - share_was) * margin_each,
    }


def within_jobs(
    jobs_before: int, old: dict[str, Amount], jobs_now: int, new: dict[str, Amount]
) -> dict[str, Fraction]:
    """What changed in a job of the cell, times its mean number of jobs."""
    jobs = mean(jobs_before, jobs_now)
    was = {name: amount / jobs_before for name, amount in old.items()}
    now = {name: amount / jobs_now for name, amount in new.items()}
    hours, rate = two_factors(was["hours"], was["labour"], now["hours"], now["labour"])
    area, cost = two_factors(was["area"], was["film"], now["area"], now["film"])
    return {
        "price": jobs * (now["price"] - was["price"]),
        "labour_efficiency": -jobs * hours,
        "labour_rate": -jobs * rate,
        "film_usage": -jobs * area,
        "film_price": -jobs * cost,
    } | {
        name: -jobs * (now[name] - was[name])
        for name in ("consumables", "redo", "fees", "overhead")
    }


def two_factors(
    much_was: Fraction, cost_was: Fraction, much_now: Fraction, cost_now: Fraction
) -> tuple[Fraction, Fraction]:
    """A cost's change by how much was used, and by what a unit of it cost.

    A quarter that used none takes the other's unit cost.
    """
    unit_was, unit_now = ratio(cost_was, much_was), ratio(cost_now, much_now)
    if unit_was is None:
        unit_was = unit_now or NOTHING
    if unit_now is None:
        unit_now = unit_was
    by_use = (much_now - much_was) * mean(unit_was, unit_now)
    by_unit = (unit_now - unit_was) * mean(much_was, much_now)
    assert by_use + by_unit == cost_now - cost_was
    return by_use, by_unit


def mean(one: Fraction | int, other: Fraction | int) -> Fraction:
    return Fraction(one + other) / 2


# ---- the tables ----------------------------------------------------------------------------------


def bridge_cells(costing: Costing) -> Table:
    """A row a cell; no rows where the two quarters cannot be compared as they are."""
    cells = cells_of(costing)
    if not can_be_bridged(cells):
        return []
    both = [pair for pair in cells.values() if pair.kind() == "both quarters"]
    jobs_before = sum(pair.before.jobs() for pair in both)
    jobs_now = sum(pair.now.jobs() for pair in both)
    return [
        {
            "service": cell[0],
            "vehicle_class": cell[1],
            "kind": cells[cell].kind(),
            "jobs_before": cells[cell].before.jobs(),
            "jobs_now": cells[cell].now.jobs(),
            "margin_before": cells[cell].before.margin(),
            "margin_now": cells[cell].now.margin(),
            "enough": costing.enough(cells[cell].jobs_it_rests_on()),
        }
        | effects_of(cells[cell], jobs_before, jobs_now)
        for cell in in_key_order(set(cells))
    ]


def quarter_bridge(costing: Costing) -> Table:
    """Margin, effects over all cells, new and discontinued cells one by one, margin."""
    before = quarter_before(costing.quarter, costing.settings.fiscal_year_starts)
    rows = bridge_cells(costing)
    if not rows:
        return []
    steps: list[tuple[str, Any]] = [
        (f"margin {before.label}", total([row["margin_before"] for row in rows]))
    ]
    steps += [(effect, total([row[effect] for row in rows])) for effect in EFFECTS]
    for kind in ("new", "discontinued"):
        steps += [
            (f"{kind}: {row['service']}, {row['vehicle_class'] or 'not given'}", row[kind])
            for row in rows
            if row["kind"] == kind
        ]
    margin = total([row["margin_now"] for row in rows])
    assert total([amount for _, amount in steps]) == margin
    assert margin == total([costs.full_margin for costs in costing.in_quarter()])
    steps.append((f"margin {costing.quarter.label}", margin))
    return [{"effect": effect, "amount": amount} for effect, amount in steps]
