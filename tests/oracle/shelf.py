"""The shelf of offcuts, and what the counts of stock found."""

from __future__ import annotations

from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from .cuts import Pull
from .film import Count, FilmStore, Offcut
from .reading import ratio, total
from .tables import Costing, Table, in_key_order

NOTHING = Fraction(0)
REASONS = ("used", "written_off", "missing")
USED_UP = ("jobs", "counter_sales", "shop")


# ---- offcuts -------------------------------------------------------------------------------------


def offcut_shelf(costing: Costing) -> Table:
    """Opening + kept = used + written off + missing + closing; films that had an offcut by then."""
    end = costing.quarter.end
    rows = []
    for film in in_key_order(set(costing.stores)):
        store = costing.stores[film]
        offcuts = [offcut for offcut in store.offcuts_ever if offcut.kept_on <= end]
        if offcuts:
            rows.append({"film": film} | flows_of(costing, store, offcuts) | ages(offcuts, end))
    return rows


def flows_of(costing: Costing, store: FilmStore, offcuts: list[Offcut]) -> dict[str, Any]:
    """Area and cost of what came and went; of film never bought no cost but that of no move."""
    quarter, before = costing.quarter, costing.quarter.first - timedelta(days=1)
    moved = {
        "opening": [left_on(offcut, before) for offcut in offcuts if offcut.kept_on <= before],
        "kept": [(o.kept_area, o.kept_cost) for o in offcuts if quarter.holds(o.kept_on)],
    }
    for reason in REASONS:
        moved[reason] = [
            (area, cost)
            for offcut in offcuts
            for on, why, area, cost in offcut.leaving
            if why == reason and quarter.holds(on)
        ]
    moved["closing"] = [left_on(offcut, quarter.end) for offcut in offcuts]
    areas = {name: total([area for area, _ in parts]) for name, parts in moved.items()}
    costs = {name: total([cost for _, cost in parts]) for name, parts in moved.items()}
    for sums in (areas, costs):
        came, went = sums["opening"] + sums["kept"], sum(sums[reason] for reason in REASONS)
        assert came == went + sums["closing"]
    if not store.ever_bought:
        costs = {name: None if parts else NOTHING for name, parts in moved.items()}
    return {f"{name}_area": costing.area(areas[name]) for name in areas} | {
        f"{name}_cost": costs[name] for name in areas
    }


def left_on(offcut: Offcut, day: date) -> tuple[Fraction, Fraction]:
    """Area and cost of what was left of it at the end of a day on which it was there already."""
    gone = [(area, cost) for on, _, area, cost in offcut.leaving if on <= day]
    return (
        offcut.kept_area - sum((area for area, _ in gone), NOTHING),
        offcut.kept_cost - sum((cost for _, cost in gone), NOTHING),
    )


def ages(offcuts: list[Offcut], end: date) -> dict[str, Any]:
    """Number of offcuts at the period's end, their mean age by area, the oldest one's age."""
    there = [(offcut, left_on(offcut, end)[0]) for offcut in offcuts]
    there = [(offcut, area) for offcut, area in there if area > 0]
    by_area = [area * (end - offcut.kept_on).days for offcut, area in there]
    days = [(end - offcut.kept_on).days for offcut, _ in there]
    return {
        "closing_offcuts": len(there),
        "mean_age_days": ratio(total(by_area), total([area for _, area in there])),
        "oldest_days": max(days, default=None),
    }


def offcuts_on_shelf(costing: Costing) -> Table:
    """A row an offcut that is left at the quarter's end, the oldest first."""
    rows = []
    for pull in costing.pulls:
        offcut = pull.use.offcut if pull.use else None
        kept = offcut if offcut and offcut.kept_on <= costing.quarter.end else None
        if kept and left_on(kept, costing.quarter.end)[0] > 0:
            rows.append(row_of_offcut(costing, pull, kept))
    return sorted(rows, key=lambda row: row["kept_on"])


def row_of_offcut(costing: Costing, pull: Pull, offcut: Offcut) -> dict[str, Any]:
    """Its sizes are known while nothing was taken from it."""
    end, store = costing.quarter.end, costing.stores[pull.film]
    area, cost = left_on(offcut, end)
    whole = area == offcut.kept_area and pull.kept_sides is not None
    length, width = pull.kept_sides if whole and pull.kept_sides else (None, None)
    return {
        "film": pull.film,
        "cut_id": pull.cut_id,
        "kept_on": offcut.kept_on,
        "roll_id": pull.roll_id,
        "kept_length": costing.length(length),
        "kept_width": costing.length(width),
        "area": costing.area(area),
        "cost": cost if store.ever_bought else None,
        "age_days": (end - offcut.kept_on).days,
        "leaves_on": store.leaves_on(offcut),
    }


# ---- counts --------------------------------------------------------------------------------------


def film_counts(costing: Costing) -> Table:
    """A row a count of a film up to the quarter's end, in order of film and day."""
    rows = []
    for film in in_key_order(set(costing.stores)):
        before: date | None = None
        for count in costing.stores[film].counts:
            if count.on <= costing.quarter.end:
                rows.append({"film": film} | row_of_count(costing, film, count, before))
                before = count.on
    return rows


def row_of_count(costing: Costing, film: str, count: Count, before: date | None) -> dict[str, Any]:
    """The books against the shelf, beside what was cut since the count before (or ever)."""
    store = costing.stores[film]
    cut = total(
        [
            area
            for on, heading, area, _ in store.moves
            if heading in USED_UP and on <= count.on and (before is None or on > before)
        ]
    )
    share = ratio(count.missing, cut)
    known = store.ever_bought or count.missing == 0
    return {
        "counted_on": count.on,
        "counted_before": before,
        "book_area": costing.area(count.book),
        "counted_area": costing.area(count.counted),
        "unexplained_area": costing.area(count.missing),
        "unexplained_cost": count.cost if known else None,
        "cut_area": costing.area(cut),
        "unexplained_pct": None if share is None else 100 * share,
    }
