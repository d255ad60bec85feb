"""From the margin of the quarter before to the quarter's: what made the difference.

Every effect is of the symmetrical kind: the change of one factor x the mean of the other over the
two quarters, so that nothing is left over and no order matters (Bennet 1920, Journal of the Royal
Statistical Society 83:455).
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

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
# The margins that can be bridged, best first, and what the lesser ones know nothing of.
LEFT_OUT = {
    "full_margin": (),
    "contribution": ("overhead",),
    "material_margin": ("overhead", "labour_efficiency", "labour_rate"),
}
Cell = tuple[str, str | None]  # service and vehicle class


class Side:
    """What one cell was in one quarter: its first-time lines, and the redos charged to it."""

    def __init__(self, net: Fraction) -> None:
        self.net = net
        self.first: list[Costs] = []
        self.redos: list[Costs] = []

    def jobs(self) -> int:
        return len(self.first)

    def sums(self, of: str) -> dict[str, Amount]:
        """Prices before the fee, and every cost; what a margin knows nothing of is 0."""
        first, left_out = self.first, LEFT_OUT[of]
        labour = [] if "labour_rate" in left_out else [each.labour for each in first]
        overhead = [] if "overhead" in left_out else [each.overhead for each in first]
        return {
            "price": total([each.line.invoiced * self.net for each in first]),
            "fees": total([each.line.fee for each in first]),
            "film": total([each.film for each in first]),
            "area": total([each.consumed for each in first]),
            "consumables": total([each.consumables for each in first]),
            "labour": total(labour),
            "hours": total([each.hours for each in first]),
            "overhead": total(overhead),
            "redo": -total([getattr(each, of) for each in self.redos]),
        }

    def margin(self, of: str) -> Amount:
        """Of the first-time lines, less the redos."""
        return total([getattr(each, of) for each in self.first + self.redos])


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


def margin_to_bridge(cells: dict[Cell, Pair]) -> str | None:
    """The best margin that is known of both quarters; none where a quarter finished no job."""
    pairs = cells.values()
    for side in ("before", "now"):
        if not any(getattr(p, side).first or getattr(p, side).redos for p in pairs):
            return None
    for of in LEFT_OUT:
        if None not in [side.margin(of) for pair in pairs for side in (pair.before, pair.now)]:
            return of
    return None


# ---- the effects of one cell ---------------------------------------------------------------------


def effects_of(of: str, pair: Pair, jobs_before: int, jobs_now: int) -> dict[str, Amount]:
    """What made a cell's margin differ; the two counts are those of all cells of both quarters."""
    effects: dict[str, Amount] = dict.fromkeys((*EFFECTS, "new", "discontinued"), NOTHING)
    old, new = pair.before.sums(of), pair.now.sums(of)
    margin_before, margin_now = pair.before.margin(of), pair.now.margin(of)
    kind = pair.kind()
    if kind == "both quarters":
        effects |= within_jobs(pair.before.jobs(), old, pair.now.jobs(), new)
        effects |= of_counts(of, pair, jobs_before, jobs_now)
    elif kind == "new":  # redos of the quarter before, charged to it, fell away
        effects |= {"new": margin_now, "redo": old["redo"]}
    elif kind == "discontinued":
        effects |= {"discontinued": -margin_before, "redo": -new["redo"]}
    else:
        effects |= {"redo": old["redo"] - new["redo"]}
    assert margin_before + sum(effects.values()) == margin_now
    assert all(effects[effect] == 0 for effect in LEFT_OUT[of])
    return effects | dict.fromkeys(LEFT_OUT[of])


def of_counts(of: str, pair: Pair, jobs_before: int, jobs_now: int) -> dict[str, Fraction]:
    """More jobs in all, and other jobs among them, each at the cell's mean margin a job."""
    was, now = Fraction(pair.before.jobs()), Fraction(pair.now.jobs())
    share_was, share_now = was / jobs_before, now / jobs_now
    margin_each = mean(pair.before.margin(of) / was, pair.now.margin(of) / now)
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
    """A row a cell; no rows where there is nothing that can be compared."""
    cells = cells_of(costing)
    of = margin_to_bridge(cells)
    if of is None:
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
            "margin_before": cells[cell].before.margin(of),
            "margin_now": cells[cell].now.margin(of),
            "enough": costing.enough(cells[cell].jobs_it_rests_on()),
        }
        | effects_of(of, cells[cell], jobs_before, jobs_now)
        for cell in in_key_order(set(cells))
    ]


def quarter_bridge(costing: Costing) -> Table:
    """Margin, effects over all cells, new and discontinued cells one by one, margin."""
    before = quarter_before(costing.quarter, costing.settings.fiscal_year_starts)
    rows, of = bridge_cells(costing), margin_to_bridge(cells_of(costing))
    if of is None:
        return []
    steps: list[tuple[str, Any]] = [
        (f"margin {before.label}", total([row["margin_before"] for row in rows]))
    ]
    steps += [
        (effect, total([row[effect] for row in rows]))
        for effect in EFFECTS
        if effect not in LEFT_OUT[of]
    ]
    for kind in ("new", "discontinued"):
        steps += [
            (f"{kind}: {row['service']}, {row['vehicle_class'] or 'not given'}", row[kind])
            for row in rows
            if row["kind"] == kind
        ]
    margin = total([row["margin_now"] for row in rows])
    assert total([amount for _, amount in steps]) == margin
    assert margin == total([getattr(costs, of) for costs in costing.in_quarter()])
    steps.append((f"margin {costing.quarter.label}", margin))
    return [{"effect": effect, "amount": amount} for effect, amount in steps]
