"""Where the film went: waste and its parts, the reconciliation of each film, and film prices."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from fractions import Fraction
from typing import Any

from .cuts import Pull
from .film import FilmStore
from .reading import percent, total
from .tables import Amount, Costing, Table, in_key_order, less

NOTHING = Fraction(0)
REASONS = {
    "recut": "recut_area",
    "damage": "damage_area",
    "test": "test_area",
    "end-of-roll": "end_of_roll_area",
}


def waste_table(costing: Costing, name: str, keys_of: Callable[[Pull], list[Any]]) -> Table:
    """Cuts of the quarter, by the day of the cut, in groups."""
    groups: dict[Any, list[Pull]] = {}
    for pull in costing.pulls:
        if costing.quarter.holds(pull.on):
            for key in keys_of(pull):
                groups.setdefault(key, []).append(pull)
    return [{name: key} | waste_of(costing, groups[key]) for key in in_key_order(set(groups))]


def waste_of(costing: Costing, pulls: list[Pull]) -> dict[str, Any]:
    """Sums over the cuts that can be measured; the others are only counted.

    Waste = consumed - finished, and is side loss + handling margin + opening of first-time cuts
    and the whole of what any other cut consumed. Where a first-time cut has no piece sizes, side
    loss and handling margin of the group are blank; their sum never is. Openings and the areas by
    reason are blank where no cut of the group is logged.
    """
    measured = [pull for pull in pulls if pull.finished() is not None]
    areas: dict[str, Any] = {
        "consumed_area": total([pull.consumed() for pull in measured]),
        "finished_area": total([pull.finished() for pull in measured]),
        "side_loss_area": total([side_loss(pull) for pull in measured]),
        "handling_margin_area": total([handling_margin(pull) for pull in measured]),
        "side_and_handling_area": total([side_and_handling(pull) for pull in measured]),
        "opening_area": total([pull.opening for pull in measured if pull.reason == "first"]),
    }
    for reason, column in REASONS.items():
        areas[column] = total([pull.consumed() for pull in measured if pull.reason == reason])
    if not any(pull.cut_id is not None for pull in measured):
        areas |= dict.fromkeys(("opening_area", *REASONS.values()))
    areas["waste_area"] = less(areas["consumed_area"], areas["finished_area"])
    costs = {"waste_cost": total([cost_of_waste(pull) for pull in measured])}
    if costing.packed:
        saved = [(pull, costing.savings[pull]) for pull in measured]
        areas["avoidable_area"] = total([saving.in_day for _, saving in saved])
        areas["avoidable_in_job_area"] = total([saving.in_job for _, saving in saved])
        costs["avoidable_cost"] = total([pull.cost_of(saving.in_day) for pull, saving in saved])
    if not measured:
        areas, costs = dict.fromkeys(areas), dict.fromkeys(costs)
    return (
        {"cuts": len(pulls), "cuts_unmeasured": len(pulls) - len(measured)}
        | {column: costing.area(area) for column, area in areas.items()}
        | costs
        | {
            "waste_pct": percent(areas["waste_area"], areas["consumed_area"]),
            "enough": costing.enough(len(pulls)),
        }
    )


def side_loss(pull: Pull) -> Amount:
    """Pulled less kept less piece."""
    if pull.reason != "first":
        return NOTHING
    return less(pull.consumed(), pull.piece)


def handling_margin(pull: Pull) -> Amount:
    """Piece less what its finished length and width cover."""
    if pull.reason != "first":
        return NOTHING
    return less(pull.piece, pull.finished_gross)


def side_and_handling(pull: Pull) -> Amount:
    """Consumed less finished less opening."""
    if pull.reason != "first":
        return NOTHING
    return less(pull.consumed(), pull.finished(), pull.opening)


def cost_of_waste(pull: Pull) -> Amount:
    """The cut's own cost x its waste over its consumed area."""
    return pull.cost_of(less(pull.consumed(), pull.finished()))


# ---- the reconciliation --------------------------------------------------------------------------


def film_reconciliation(costing: Costing) -> Table:
    """Opening + purchased = jobs + counter sales + shop + unexplained + closing, each film."""
    rows = []
    for film in in_key_order(set(costing.stores)):
        store = costing.stores[film]
        if any(on <= costing.quarter.end for on, *_ in store.moves):
            rows.append({"film": film} | reconcile(costing, store))
    return rows


def reconcile(costing: Costing, store: FilmStore) -> dict[str, Any]:
    """Moves of the quarter under their headings; stock before and after it.

    Of a film that was never bought no cost is known but that of no movement.
    """
    names = ("purchased", "jobs", "counter_sales", "shop", "unexplained")
    area, cost = dict.fromkeys(names, NOTHING), dict.fromkeys(names, NOTHING)
    opening_area = opening_cost = NOTHING
    for on, heading, moved, worth in store.moves:
        sign = 1 if heading == "purchased" else -1
        if on < costing.quarter.first:
            opening_area += sign * moved
            opening_cost += sign * worth
        elif on <= costing.quarter.end:
            area[heading] += moved
            cost[heading] += worth
    areas = {"opening": opening_area} | area
    costs: dict[str, Any] = {"opening": opening_cost} | cost
    for all_of in (areas, costs):
        all_of["closing"] = (
            all_of["opening"] + all_of["purchased"] - sum(all_of[n] for n in names[1:])
        )
    if not store.ever_bought:
        moved_at_all = {name: touched(costing, store, name) for name in areas}
        costs = {name: None if moved_at_all[name] else NOTHING for name in areas}
    return {f"{name}_area": costing.area(areas[name]) for name in areas} | {
        f"{name}_cost": costs[name] for name in areas
    }


def touched(costing: Costing, store: FilmStore, name: str) -> bool:
    """Whether a heading has a move in the quarter (opening: before it; closing: ever by then)."""
    for on, heading, *_ in store.moves:
        before, inside = on < costing.quarter.first, costing.quarter.holds(on)
        if (name == "opening" and before) or (name == "closing" and (before or inside)):
            return True
        if heading == name and inside:
            return True
    return False


# ---- prices --------------------------------------------------------------------------------------


def film_prices(costing: Costing) -> Table:
    """A row a purchase line of film up to the quarter's end, in order of receipt.

    Landed cost is after freight, discount and credits; the change is against the line of the same
    film and supplier before it. Returned film is no purchase.
    """
    lines = [p for p in costing.bought if p.line and p.row["received_on"] <= costing.quarter.end]
    before: dict[tuple[str, str | None], Fraction] = {}
    rows = []
    for purchase in sorted(lines, key=received_on):
        assert purchase.line is not None
        row, landed = purchase.row, purchase.line.landed_per_area()
        key = (row["item"], row["supplier"])
        change = percent(landed - before[key], before[key]) if key in before else None
        before[key] = landed
        rows.append(
            {
                "film": row["item"],
                "supplier": row["supplier"],
                "received_on": row["received_on"],
                "landed_cost_per_area": landed * costing.settings.square_metres_of_a_unit,
                "change_pct": change,
                "invoice": row["invoice"],
                "purchased_area": costing.area(purchase.line.area),
                "landed_cost": landed * purchase.line.area,
            }
        )
    return rows


def received_on(purchase: Any) -> date:
    on: date = purchase.row["received_on"]
    return on
