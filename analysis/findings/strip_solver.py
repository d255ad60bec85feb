"""The shortest layout on one strip, in whole units: quick search and CP-SAT in turns.

The rounds double, so that more effort begins as less does and never ends worse. One worker each:
measured, several that take turns (`interleave_search`) neither repeat exactly nor find more.
"""

import itertools
import math
import time
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from analysis.errors import Unreconciled
from analysis.findings.skyline import Entry, Spot, Ways, anneal, first_orders, lay, strip_trial
from analysis.findings.strip_bounds import exact_layout, least_length, next_length, useful_width

# Pieces looked at, CP-SAT's deterministic seconds, and states of the exact search that take about
# a second of one core each (measured once; they set the pace, not the result).
LOOKS_A_SECOND: Final = 3_000_000
SOLVER_A_SECOND: Final = 0.4
STATES_A_SECOND: Final = 50_000
_FIRST_ROUND: Final = 0.5
# Of a round, what goes to the search over orders; the solver has the rest.
_ORDERS_SHARE: Final = 1 / 3
# The solver is stopped after so many times the effort on the clock, however busy the machine.
_CLOCK: Final = 3.0
_ENERGY: Final = {
    "use_timetabling_in_no_overlap_2d": True,
    "use_energetic_reasoning_in_no_overlap_2d": True,
}


@dataclass(frozen=True)
class Strip:
    """A layout on one strip: spots, its length, and the length that none is under. [units]"""

    spots: tuple[Spot, ...]
    length: int
    least: int

    @property
    def is_best(self) -> bool:
        """Whether there is proven to be none shorter."""
        return self.length <= self.least


def quick_strip(pieces: Sequence[Ways], width: int) -> tuple[Strip, list[Entry], int]:
    """The best of the usual orders; with its order and the width that can be of use."""
    useful = useful_width(pieces, width)
    least = least_length(pieces, useful)
    entries: list[Entry] = list(enumerate(pieces))
    tried = []
    for order in first_orders(entries):
        length, spots, _, _ = lay(useful, order)
        if not tried or length < tried[0][0]:
            tried = [(length, tuple(spots), order)]
        if length <= least:
            break
    length, spots_, order = tried[0]
    return Strip(spots_, length, least), order, useful


def small_strip(pieces: Sequence[Ways], width: int, effort: float) -> Strip:
    """The shortest of few pieces by looking at every layout, as far as the effort goes. [about s]

    Up to five or six pieces it proves what it finds; with more it may give up, and says so by
    `least`.
    """
    best, _, useful = quick_strip(pieces, width)
    states = int(effort * STATES_A_SECOND)
    while not best.is_best and states > 0:
        spots, seen = exact_layout(pieces, useful, best.length - 1, states)
        states -= seen
        if spots is not None:
            length = max(spot.along + spot.length for spot in spots)
            best = replace(best, spots=tuple(spots), length=length)
        elif states > 0:
            best = replace(best, least=best.length)
    return best


def shortest_strip(pieces: Sequence[Ways], width: int, effort: float, few: int = 6) -> Strip:
    """The shortest layout found, with what is proven of the shortest there is.

    Parameters
    ----------
    pieces : the ways each may lie, those too wide for the strip left out
    width : of the strip [units]
    effort : about seconds of one core
    few : up to that many pieces are first tried by looking at every layout
    """
    until = time.monotonic() + _CLOCK * effort
    best, order, useful = quick_strip(pieces, width)
    if len(pieces) <= few and not best.is_best:
        best = small_strip(pieces, width, min(effort, 0.3))
    for turn in itertools.count():
        whole = _FIRST_ROUND * 2**turn
        if best.is_best or effort <= 0 or time.monotonic() > until:
            return best
        spent = min(whole, effort)
        effort -= whole
        looks = whole * _ORDERS_SHARE * LOOKS_A_SECOND
        value, spots = anneal(
            order,
            strip_trial(useful, best.least, sum(ways[0][0] * ways[0][1] for ways in pieces)),
            best.least,
            int(looks),
            int(looks * spent / whole),
            turn,
        )
        if value < best.length and isinstance(spots, list):
            best = replace(best, spots=tuple(spots), length=int(value))
        if not best.is_best:
            share = spent * (1 - _ORDERS_SHARE) * SOLVER_A_SECOND
            best = _solved(pieces, useful, best, share, until - time.monotonic(), turn)


def _solved(
    pieces: Sequence[Ways], width: int, start: Strip, effort: float, clock: float, turn: int
) -> Strip:
    """A shorter layout than `start` by CP-SAT, or `start` with a better bound."""
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    # With one length left to ask for, only whether it can be had: a fixed length is found sooner.
    asked = start.least if next_length(pieces, start.least + 1) >= start.length else start.length
    length = model.new_int_var(start.least, asked, "length")
    laid = [_add_piece(model, ways, (width, asked), length) for ways in pieces]
    if asked > start.least:
        spots = _equal_in_row(pieces, start.spots)
        model.add_hint(length, start.length)
        for ways, spot, piece in zip(pieces, spots, laid, strict=True):
            _add_hint(model, ways, spot, piece)
        model.minimize(length)
    across = [each for piece in laid for each in piece.across_on]
    along = [each for piece in laid for each in piece.along_on]
    sizes = [size for ways in pieces for size in ways]
    model.add_no_overlap_2d(across, along)
    model.add_cumulative(across, [size for _, size in sizes], length)
    model.add_cumulative(along, [size for size, _ in sizes], width)
    for one, other in _equal_pairs(pieces):
        model.add(laid[one].along <= laid[other].along)
    solver, status = run_solver(model, effort, clock, turn, _ENERGY if turn % 2 == 0 else {})
    if status == "INFEASIBLE":
        return replace(start, least=start.length)
    if status == "UNKNOWN":
        return start
    least = max(start.least, math.ceil(solver.best_objective_bound - 1e-6))
    found = []
    for item, (ways, piece) in enumerate(zip(pieces, laid, strict=True)):
        way = 0 if piece.turned is None else int(solver.boolean_value(piece.turned))
        found.append(Spot(item, solver.value(piece.across), solver.value(piece.along), *ways[way]))
    reached = max(spot.along + spot.length for spot in found)
    if reached >= start.length:
        return replace(start, least=least)
    return Strip(tuple(found), reached, least)


def run_solver(
    model: Any, effort: float, clock: float, seed: int, more: Mapping[str, object]
) -> tuple[Any, str]:
    """CP-SAT's answer: one worker, a fixed seed, `effort` deterministic and `clock` real seconds.

    Returns
    -------
    tuple
        The solver and its status: OPTIMAL, FEASIBLE, INFEASIBLE or UNKNOWN.

    Raises
    ------
    Unreconciled
        The model is no valid one: a fault of this program.
    """
    from ortools.sat.python import cp_model

    solver = cp_model.CpSolver()
    settings = {
        "num_workers": 1,
        "random_seed": seed,
        "max_deterministic_time": max(effort, 1e-3),
        "max_time_in_seconds": max(clock, 0.05),
        **more,
    }
    for name, value in settings.items():
        setattr(solver.parameters, name, value)
    status = solver.solve(model)
    if status == cp_model.MODEL_INVALID:
        raise Unreconciled("The model of a cutting layout is not valid: " + model.validate())
    return solver, solver.status_name(status)


@dataclass(frozen=True)
class _Laid:
    """A piece in the model: where it starts, whether turned, and its intervals, one a way."""

    across: Any
    along: Any
    turned: Any
    across_on: list[Any]
    along_on: list[Any]


def _add_piece(model: Any, ways: Ways, room: tuple[int, int], length: Any) -> _Laid:
    width, longest = room
    across = model.new_int_var(0, width - min(size for size, _ in ways), "")
    along = model.new_int_var(0, longest - min(size for _, size in ways), "")
    if len(ways) == 1:
        model.add(along + ways[0][1] <= length)
        one = model.new_fixed_size_interval_var(across, ways[0][0], "")
        other = model.new_fixed_size_interval_var(along, ways[0][1], "")
        return _Laid(across, along, None, [one], [other])
    turned = model.new_bool_var("")
    laid = _Laid(across, along, turned, [], [])
    for (wide, long), lies in zip(ways, (~turned, turned), strict=True):
        model.add(along + long <= length).only_enforce_if(lies)
        model.add(across + wide <= width).only_enforce_if(lies)
        laid.across_on.append(model.new_optional_fixed_size_interval_var(across, wide, lies, ""))
        laid.along_on.append(model.new_optional_fixed_size_interval_var(along, long, lies, ""))
    return laid


def _add_hint(model: Any, ways: Ways, spot: Spot, piece: _Laid) -> None:
    """Where the piece lies in a known layout; never a hint on a constant."""
    model.add_hint(piece.across, spot.across)
    model.add_hint(piece.along, spot.along)
    if piece.turned is not None:
        model.add_hint(piece.turned, (spot.width, spot.length) != ways[0])


def _equal_pairs(pieces: Sequence[Ways]) -> list[tuple[int, int]]:
    """Each piece and the next one equal to it: they need no order but one."""
    alike: dict[Ways, list[int]] = defaultdict(list)
    for item, ways in enumerate(pieces):
        alike[ways].append(item)
    return [pair for items in alike.values() for pair in itertools.pairwise(items)]


def _equal_in_row(pieces: Sequence[Ways], spots: Sequence[Spot]) -> list[Spot]:
    """The spots by piece, equal pieces from the start of the strip on."""
    free: dict[Ways, list[Spot]] = defaultdict(list)
    for spot in sorted(spots, key=lambda spot: (-spot.along, -spot.across)):
        free[pieces[spot.item]].append(spot)
    return [free[ways].pop()._replace(item=item) for item, ways in enumerate(pieces)]
