"""The cheapest cutting layout on rolls of several widths and on offcuts.

One model of CP-SAT: each piece lies on one strip, each strip is a pull of a roll or an offcut. It
starts from a layout made by best fit, and its bound is on the cost of all of them together.
"""

import math
from collections.abc import Mapping, Sequence
from typing import Final

from analysis.packing.cheapest_model import (
    FilmToCut,
    Plan,
    add_plan_hints,
    end_of,
    film_model,
    read_plan,
    slots_of,
)
from analysis.packing.film_grid import FilmGrid, in_order
from analysis.packing.layouts import Layout, NoRoom, Piece, PieceTooWide, Pull, Sheet
from analysis.packing.pulls import tidy
from analysis.packing.skyline import Entry, Spot, first_orders, lay
from analysis.packing.strip_model import SOLVER_A_SECOND, clock_of, run_solver
from analysis.packing.strip_solver import shortest_strip, soon_strip

# Of the effort: the cost, then less offcut and fewer pulls, then each strip by itself.
_SHARES: Final = (0.7, 0.1, 0.2)


def cheapest_on(
    pieces: Sequence[Piece], sheets: Sequence[Sheet], knife_gap_m: float, effort: float
) -> Layout:
    """As `packing.pack_cheapest` says."""
    if not pieces:
        return Layout((), 0.0, 0.0, True)
    film = _film(pieces, sheets, knife_gap_m)
    start = _start(film)
    plan, least = _solved(film, start, effort * _SHARES[0])
    plan = _shortened(film, plan, effort * _SHARES[2])
    cost = film.cost(plan)
    proven = cost <= least * (1 + 1e-6) + 1e-9
    if proven:
        plan = _fewest(film, plan, effort * _SHARES[1])
        cost = film.cost(plan)
    ordered = sorted(
        plan, key=lambda each: (not sheets[each[0]].is_offcut, each[0], -end_of(each[1]))
    )
    pulls = tuple(_pull(film, sheet, spots, knife_gap_m) for sheet, spots in ordered)
    return Layout(pulls, cost, cost if proven else max(least, 0.0), proven)


def _film(pieces: Sequence[Piece], sheets: Sequence[Sheet], knife_gap_m: float) -> FilmToCut:
    ordered = in_order(pieces)
    grid = FilmGrid.of(ordered, knife_gap_m)
    ways = [grid.ways(ordered, sheet) for sheet in sheets]
    for item, piece in enumerate(ordered):
        if not any(of_sheet[item] for of_sheet in ways):
            raise PieceTooWide(piece, max(sheets, key=lambda sheet: sheet.width_m))
    return FilmToCut(
        grid,
        ordered,
        sheets,
        [grid.room(sheet.width_m) for sheet in sheets],
        [grid.room(sheet.longest_m) for sheet in sheets],
        ways,
    )


def _pull(film: FilmToCut, sheet: int, spots: Sequence[Spot], knife_gap_m: float) -> Pull:
    return tidy(film.grid.pull(film.pieces, film.sheets[sheet], spots), knife_gap_m)


def _start(film: FilmToCut) -> Plan | None:
    """The cheapest of some layouts by best fit, or None where they leave pieces over."""
    rolls = [at for at, sheet in enumerate(film.sheets) if not sheet.is_offcut]
    by_area = sorted(
        (at for at, sheet in enumerate(film.sheets) if sheet.is_offcut),
        key=lambda at: film.widths[at] * film.longest[at],
    )
    best: tuple[float, Plan] | None = None
    for offcuts in (by_area, by_area[::-1], []):
        on_offcuts, rest = _on_offcuts(film, offcuts)
        plans = [_on_rolls(film, rest, rolls, first) for first in rolls or [0]]
        for on_rolls in (*plans, _each_on_its_roll(film, rest, rolls)):
            if on_rolls is None:
                continue
            plan = on_offcuts + on_rolls
            if best is None or film.cost(plan) < best[0]:
                best = film.cost(plan), plan
    return best[1] if best else None


def _on_offcuts(film: FilmToCut, offcuts: Sequence[int]) -> tuple[Plan, list[int]]:
    """Each offcut filled as far as it goes, and the pieces left over."""
    plan: Plan = []
    rest = list(range(len(film.pieces)))
    for sheet in offcuts:
        spots = _filled(film, sheet, rest)
        if spots:
            plan.append((sheet, spots))
            rest = _without(rest, spots)
    return plan, rest


def _filled(film: FilmToCut, sheet: int, items: Sequence[int]) -> list[Spot]:
    """The most area of the pieces that one of the usual orders lays on one strip of a sheet."""
    fit: list[Entry] = [(item, film.ways[sheet][item]) for item in items if film.ways[sheet][item]]
    tried = [lay(film.widths[sheet], order, film.longest[sheet])[1] for order in first_orders(fit)]
    return max(tried, key=lambda spots: sum(spot.width * spot.length for spot in spots), default=[])


def _without(items: Sequence[int], spots: Sequence[Spot]) -> list[int]:
    laid = {spot.item for spot in spots}
    return [item for item in items if item not in laid]


def _on_rolls(
    film: FilmToCut, items: Sequence[int], rolls: Sequence[int], first: int
) -> Plan | None:
    """All on the first roll that fit it, the others on the cheapest film that they do fit."""

    def price(roll: int) -> tuple[bool, float]:
        return roll != first, film.sheets[roll].cost_per_m / film.sheets[roll].width_m

    plan: Plan = []
    rest = list(items)
    for roll in sorted(rolls, key=price):
        fit = [item for item in rest if film.ways[roll][item]]
        rest = [item for item in rest if not film.ways[roll][item]]
        plan.extend(_pulled(film, roll, fit))
    return None if rest else plan


def _each_on_its_roll(film: FilmToCut, items: Sequence[int], rolls: Sequence[int]) -> Plan | None:
    """Equal pieces on the roll that is cheapest for them alone, side by side."""
    of_roll: dict[int, list[int]] = {}
    for kind in _kinds(film, items):
        priced = [
            (
                -(-len(kind) // (film.widths[roll] // across))
                * along
                * film.sheets[roll].cost_per_m,
                roll,
            )
            for roll in rolls
            for across, along in film.ways[roll][kind[0]]
        ]
        if not priced:
            return None
        of_roll.setdefault(min(priced)[1], []).extend(kind)
    return [each for roll, own in of_roll.items() for each in _pulled(film, roll, own)]


def _pulled(film: FilmToCut, roll: int, items: Sequence[int]) -> Plan:
    """Pieces on as many pulls of a roll as they want."""
    if not items:
        return []
    found = soon_strip(tuple(film.ways[roll][item] for item in items), film.widths[roll])
    if found.length <= film.longest[roll]:
        return [(roll, [spot._replace(item=items[spot.item]) for spot in found.spots])]
    plans = [_one_by_one(film, roll, items)]
    plans += [_in_rows(film, roll, items, flat=flat) for flat in (True, False)]
    plans.append(_kinds_in_rows(film, roll, items))
    return min(plans, key=lambda plan: sum(end_of(spots) for _, spots in plan))


def _one_by_one(film: FilmToCut, roll: int, items: Sequence[int]) -> Plan:
    """Each pull with the most area that goes on it."""
    plan: Plan = []
    rest = list(items)
    while rest:
        spots = _filled(film, roll, rest)
        plan.append((roll, spots))
        rest = _without(rest, spots)
    return plan


def _in_rows(film: FilmToCut, roll: int, items: Sequence[int], *, flat: bool) -> Plan:
    """Pieces side by side in rows across the roll, rows on pulls, each pull then laid anew.

    The longest first into the first row that holds it (first-fit decreasing height: Coffman, Garey,
    Johnson and Tarjan 1980, from memory). `flat` : each piece the way that takes least length, else
    the way it was given.
    """
    ways = {
        item: min(film.ways[roll][item], key=lambda way: way[1])
        if flat
        else film.ways[roll][item][0]
        for item in items
    }
    longest_first = sorted(items, key=lambda item: -ways[item][1])
    rows = _first_fit([([item], ways[item][0]) for item in longest_first], film.widths[roll])
    return _rows_on_pulls(film, roll, rows, ways)


def _kinds_in_rows(film: FilmToCut, roll: int, items: Sequence[int]) -> Plan:
    """Equal pieces in rows of their own, the way that takes least length, as by hand."""
    ways: dict[int, tuple[int, int]] = {}
    rows: list[list[int]] = []
    for kind in _kinds(film, items):
        _, way = min(
            (-(-len(kind) // (film.widths[roll] // way[0])) * way[1], way)
            for way in film.ways[roll][kind[0]]
        )
        beside = film.widths[roll] // way[0]
        rows += [kind[at : at + beside] for at in range(0, len(kind), beside)]
        ways |= dict.fromkeys(kind, way)
    rows.sort(key=lambda row: -ways[row[0]][1])
    return _rows_on_pulls(film, roll, rows, ways)


def _kinds(film: FilmToCut, items: Sequence[int]) -> list[list[int]]:
    """The items, equal ones together."""
    kinds: dict[object, list[int]] = {}
    for item in items:
        key = (film.grid.sizes[item], *(ways[item] for ways in film.ways))
        kinds.setdefault(key, []).append(item)
    return list(kinds.values())


def _rows_on_pulls(
    film: FilmToCut, roll: int, rows: Sequence[list[int]], ways: Mapping[int, tuple[int, int]]
) -> Plan:
    """Rows put on as few pulls as first fit finds, each laid anew where that is shorter."""
    deep = {row[0]: max(ways[item][1] for item in row) for row in rows}
    by_first = {row[0]: row for row in rows}
    plan: Plan = []
    for pull in _first_fit([([row[0]], deep[row[0]]) for row in rows], film.longest[roll]):
        spots: list[Spot] = []
        along = 0
        for first in pull:
            across = 0
            for item in by_first[first]:
                spots.append(Spot(item, across, along, *ways[item]))
                across += ways[item][0]
            along += deep[first]
        of_pull = [spot.item for spot in spots]
        found = soon_strip(tuple(film.ways[roll][item] for item in of_pull), film.widths[roll])
        if found.length < along:
            spots = [spot._replace(item=of_pull[spot.item]) for spot in found.spots]
        plan.append((roll, spots))
    return plan


def _first_fit(groups: Sequence[tuple[list[int], int]], room: int) -> list[list[int]]:
    """Groups of items, each of a size, put together: each into the first that has room for it."""
    together: list[list[int]] = []
    left: list[int] = []
    for items, size in groups:
        at = next((at for at, free in enumerate(left) if free >= size), len(left))
        if at == len(left):
            together.append([])
            left.append(room)
        together[at] += items
        left[at] -= size
    return together


def _shortened(film: FilmToCut, plan: Plan, effort: float) -> Plan:
    """Each pull of a roll laid anew by itself, where that is shorter."""
    rolls = [at for at, (sheet, _) in enumerate(plan) if not film.sheets[sheet].is_offcut]
    shorter = list(plan)
    for at in rolls:
        sheet, spots = plan[at]
        items = sorted(spot.item for spot in spots)
        ways = [film.ways[sheet][item] for item in items]
        found = shortest_strip(ways, film.widths[sheet], effort / len(rolls))
        if found.length < end_of(spots):
            shorter[at] = sheet, [spot._replace(item=items[spot.item]) for spot in found.spots]
    return shorter


def _solved(film: FilmToCut, start: Plan | None, effort: float) -> tuple[Plan, float]:
    """The cheapest plan found, and the cost that none is under."""
    if start is not None and film.cost(start) <= 0:
        return start, 0.0
    made = film_model(film, slots_of(film, start))
    if start is not None:
        add_plan_hints(film, made, start)
    made.model.minimize(made.cost)
    solver, status = run_solver(made.model, effort * SOLVER_A_SECOND, clock_of(effort), 0, {})
    if status in {"OPTIMAL", "FEASIBLE"}:
        found = read_plan(film, made, solver)
        least = max(solver.best_objective_bound, 0.0) * made.unit
        cheaper = start is None or film.cost(found) < film.cost(start)
        return found if cheaper or start is None else start, least
    if start is None:
        raise NoRoom
    return start, max(solver.best_objective_bound, 0.0) * made.unit if status == "UNKNOWN" else 0.0


def _fewest(film: FilmToCut, plan: Plan, effort: float) -> Plan:
    """As cheap a plan on less offcut, and of these in fewer pulls; the same if none is found."""
    offcut = [film.widths[at] * film.longest[at] for at in range(len(film.sheets))]
    free = any(film.sheets[sheet].is_offcut for sheet, _ in plan)
    if not free and len(plan) < 2:
        return plan
    made = film_model(film, slots_of(film, plan))
    largest = max(offcut[sheet] for sheet in made.slots)
    add_plan_hints(film, made, plan)
    dearest = math.ceil(film.cost(plan) / made.unit) + 1 if made.unit else 0
    if made.unit:
        made.model.add(made.cost <= dearest)
    weights = [
        1 + (1000 * offcut[sheet] // largest if film.sheets[sheet].is_offcut else 0)
        for sheet in made.slots
    ]
    made.model.minimize(sum(w * used for w, used in zip(weights, made.used, strict=True)))
    solver, status = run_solver(made.model, effort * SOLVER_A_SECOND, clock_of(effort), 0, {})
    if status not in {"OPTIMAL", "FEASIBLE"}:
        return plan
    found = read_plan(film, made, solver)
    return found if film.cost(found) <= film.cost(plan) + 1e-9 else plan
