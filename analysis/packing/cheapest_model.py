"""The model of several strips for CP-SAT: each piece on one pull of a roll or on one offcut."""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from analysis.packing.film_grid import FilmGrid
from analysis.packing.layouts import Piece, Sheet
from analysis.packing.skyline import ENDLESS, Spot, Ways
from analysis.packing.strip_model import add_hint, equal_pairs

# Costs are whole numbers in the model: the dearest film costs so much a unit of length.
_DEAREST: Final = 1_000_000

# Pieces on a strip: the sheet's number, and the spots.
Plan = list[tuple[int, list[Spot]]]


@dataclass(frozen=True)
class FilmToCut:
    """Sheets and pieces on one grid: how each piece may lie on each sheet.

    `widths`, `longest` : of the sheets [steps]; `ways` : by sheet and piece.
    """

    grid: FilmGrid
    pieces: list[Piece]
    sheets: Sequence[Sheet]
    widths: list[int]
    longest: list[int]
    ways: list[list[Ways]]

    def cost(self, plan: Plan) -> float:
        """Σ length × cost a metre, offcuts free."""
        return sum(
            self.grid.length_m(end_of(spots)) * self.sheets[sheet].cost_per_m
            for sheet, spots in plan
            if not self.sheets[sheet].is_offcut
        )


def end_of(spots: Sequence[Spot]) -> int:
    """How far along the strip the pieces reach. [steps]"""
    return max(spot.along + spot.length for spot in spots)


@dataclass
class FilmModel:
    """What is asked of the model's answer.

    `slots` : the sheet of each strip; `on` : by (piece, slot, way) whether it lies so; `starts` :
    (across, along) of each piece; `lengths`, `used` : of each slot; `cost` : in whole numbers, and
    `unit` : the least money that one of them stands for.
    """

    model: Any
    slots: list[int]
    on: dict[tuple[int, int, int], Any]
    starts: list[tuple[Any, Any]]
    lengths: list[Any]
    used: list[Any]
    cost: Any
    unit: float


def slots_of(film: FilmToCut, start: Plan | None) -> list[int]:
    """The strips that a cheapest layout may want: each offcut, and pulls of each roll.

    A roll without a longest pull wants one. Else as many as there are pieces that fit it, or as
    known layouts say: with more pulls of the shortest piece each, it were dearer than the start.
    """
    slots = []
    for at, sheet in enumerate(film.sheets):
        fit = [ways for ways in film.ways[at] if ways]
        many = min(len(fit), 1)
        if fit and not sheet.is_offcut and math.isfinite(sheet.longest_m):
            many = len(fit)
            shortest = film.grid.length_m(min(along for ways in fit for _, along in ways))
            if start is not None and shortest * sheet.cost_per_m > 0:
                many = min(many, int(film.cost(start) / (shortest * sheet.cost_per_m) + 1e-6))
        slots.extend([at] * many)
    return slots


def film_model(film: FilmToCut, slots: list[int]) -> FilmModel:
    """The model, as yet without anything to make least; no strip is longer than all pieces."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    most = min(ENDLESS, sum(max(size) for size in film.grid.sizes))
    rooms = [(film.widths[sheet], min(film.longest[sheet], most)) for sheet in slots]
    starts = [
        (
            model.new_int_var(0, max(width for width, _ in rooms) - 1, ""),
            model.new_int_var(0, max(long for _, long in rooms) - 1, ""),
        )
        for _ in film.pieces
    ]
    on = {
        (item, slot, way): model.new_bool_var("")
        for item in range(len(film.pieces))
        for slot, sheet in enumerate(slots)
        for way in range(len(film.ways[sheet][item]))
    }
    lengths = [model.new_int_var(0, long, "") for _, long in rooms]
    used = [model.new_bool_var("") for _ in slots]
    for item in range(len(film.pieces)):
        model.add_exactly_one(lies for (piece, _, _), lies in on.items() if piece == item)
    cost, unit = _cost(film, slots, lengths, used)
    made = FilmModel(model, slots, on, starts, lengths, used, cost, unit)
    for slot, room in enumerate(rooms):
        _add_strip(film, made, slot, room[0])
    _break_ties(film, made)
    return made


def _cost(
    film: FilmToCut, slots: Sequence[int], lengths: list[Any], used: list[Any]
) -> tuple[Any, float]:
    """Σ whole cost a unit × length, and the least money that one whole cost stands for.

    A pull is its length on the grid less the gap behind its last piece.
    """
    of_slot = [
        0.0 if film.sheets[sheet].is_offcut else film.sheets[sheet].cost_per_m for sheet in slots
    ]
    dearest = max(of_slot, default=0.0)
    whole = [round(each / dearest * _DEAREST) if dearest else 0 for each in of_slot]
    real = [
        each / film.grid.units / number
        for each, number in zip(of_slot, whole, strict=True)
        if number
    ]
    cost = sum(
        each * (film.grid.step * lengths[slot] - film.grid.gap * used[slot])
        for slot, each in enumerate(whole)
        if each
    )
    return cost, min(real, default=0.0)


def _add_strip(film: FilmToCut, made: FilmModel, slot: int, width: int) -> None:
    """What lies on one strip lies inside it, apart, and takes no more area than it has."""
    model, length, used = made.model, made.lengths[slot], made.used[slot]
    across_on, along_on, sizes, lying = [], [], [], []
    for (item, of_slot, way), lies in made.on.items():
        if of_slot != slot:
            continue
        wide, long = film.ways[made.slots[slot]][item][way]
        across, along = made.starts[item]
        across_on.append(model.new_optional_fixed_size_interval_var(across, wide, lies, ""))
        along_on.append(model.new_optional_fixed_size_interval_var(along, long, lies, ""))
        model.add(across + wide <= width).only_enforce_if(lies)
        model.add(along + long <= length).only_enforce_if(lies)
        model.add_implication(lies, used)
        sizes.append((wide, long))
        lying.append(lies)
    model.add_bool_or([*lying, ~used])
    model.add(length == 0).only_enforce_if(~used)
    model.add_no_overlap_2d(across_on, along_on)
    model.add_cumulative(along_on, [wide for wide, _ in sizes], width)
    model.add_cumulative(across_on, [long for _, long in sizes], length)
    area = [wide * long * lies for (wide, long), lies in zip(sizes, lying, strict=True)]
    model.add(sum(area) <= width * length)


def _break_ties(film: FilmToCut, made: FilmModel) -> None:
    """Of layouts that differ by a swap of like pulls or like pieces, one."""
    model = made.model
    for slot, sheet in enumerate(made.slots[1:], start=1):
        if sheet == made.slots[slot - 1]:
            model.add(made.lengths[slot - 1] >= made.lengths[slot])
    for one, other in equal_pairs(_alike(film)):
        model.add(_slot_of(made, one) <= _slot_of(made, other))


def _alike(film: FilmToCut) -> list[Ways]:
    """All ways of each piece on any sheet: equal for pieces that may change places."""
    return [
        tuple(sorted({way for of_sheet in film.ways for way in of_sheet[item]}))
        for item in range(len(film.pieces))
    ]


def _slot_of(made: FilmModel, item: int) -> Any:
    return sum(slot * lies for (piece, slot, _), lies in made.on.items() if piece == item)


def add_plan_hints(film: FilmToCut, made: FilmModel, plan: Plan) -> None:
    """Where the pieces lie in a plan; its pulls of a roll from the longest on."""
    free: dict[int, list[int]] = {}
    for slot, sheet in enumerate(made.slots):
        free.setdefault(sheet, []).append(slot)
    found: dict[Ways, list[tuple[int, Spot]]] = defaultdict(list)
    alike = _alike(film)
    ends = [0] * len(made.slots)
    for sheet, spots in sorted(plan, key=lambda each: -end_of(each[1])):
        slot = free[sheet].pop(0)
        ends[slot] = end_of(spots)
        for spot in spots:
            found[alike[spot.item]].append((slot, spot))
    for spots_of_kind in found.values():
        spots_of_kind.sort(key=lambda each: -each[0])
    lies_at = [found[kind].pop() for kind in alike]
    for (item, slot, way), lies in made.on.items():
        at, spot = lies_at[item]
        size = film.ways[made.slots[slot]][item][way]
        made.model.add_hint(lies, at == slot and size == (spot.width, spot.length))
    for item, (across, along) in enumerate(made.starts):
        add_hint(made.model, across, lies_at[item][1].across)
        add_hint(made.model, along, lies_at[item][1].along)
    for slot, end in enumerate(ends):
        add_hint(made.model, made.lengths[slot], end)
        made.model.add_hint(made.used[slot], end > 0)


def read_plan(film: FilmToCut, made: FilmModel, solver: Any) -> Plan:
    """The plan that the solver found, each strip's spots."""
    on_slot: dict[int, list[Spot]] = {}
    for (item, slot, way), lies in made.on.items():
        if solver.boolean_value(lies):
            across, along = (solver.value(each) for each in made.starts[item])
            size = film.ways[made.slots[slot]][item][way]
            on_slot.setdefault(slot, []).append(Spot(item, across, along, *size))
    return [(made.slots[slot], spots) for slot, spots in sorted(on_slot.items())]
