"""The model of one strip for CP-SAT, in whole units, and how the solver is run.

One worker each: measured, several that take turns (`interleave_search`) neither repeat exactly nor
find more.
"""

import itertools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Any, Final

from analysis.errors import Unreconciled
from analysis.packing.skyline import Spot, Ways
from analysis.packing.strip_bounds import next_length

# CP-SAT's deterministic seconds that take about a second of one core (measured; it sets the pace,
# not the result), and what building a model takes. [about s]
SOLVER_A_SECOND: Final = 0.4
_MODEL_EFFORT: Final = 0.01
# However busy the machine, the clock stops a search after some multiple of its effort.
_CLOCK: Final = (10.0, 3.0)
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


def clock_of(effort: float) -> float:
    """Seconds on the clock after which a search of that effort is stopped."""
    return _CLOCK[0] + _CLOCK[1] * effort


def solved_strip(
    pieces: Sequence[Ways],
    width: int,
    start: Strip,
    effort: float,
    clock: float,
    turn: int,
    kept: Mapping[int, Spot] = MappingProxyType({}),
    *,
    is_simplified: bool = True,
) -> tuple[float, Strip]:
    """A shorter layout than `start`, or `start` with a better bound; and the effort spent.

    Parameters
    ----------
    pieces, width : as of `start` [units]
    effort, clock : about seconds of one core, and seconds at most on the clock
    turn : seed; odd ones reason less in each step
    kept : pieces that stay where these spots are, all nearer than its length; then only a shorter
        layout is looked for, and no bound is learnt
    is_simplified : whether the solver simplifies the model first; a dozen pieces are proven in less
        time than that takes
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    # With one length left to ask for, only whether it can be had: a fixed length is found sooner.
    asked = start.least if next_length(pieces, start.least + 1) >= start.length else start.length
    asked = min(asked, start.length - 1) if kept else asked
    length = model.new_int_var(start.least, asked, "length")
    laid = [
        _kept_piece(model, kept[item])
        if item in kept
        else _add_piece(model, ways, (width, asked), length)
        for item, ways in enumerate(pieces)
    ]
    _keep_apart(model, laid, width, length)
    for one, other in equal_pairs(pieces):
        if one not in kept and other not in kept:
            model.add(laid[one].along <= laid[other].along)
    if asked > start.least:
        model.minimize(length)
    if asked == start.length:
        _add_hints(model, pieces, start, laid)
        model.add_hint(length, start.length)
    more = dict(_ENERGY) if turn % 2 == 0 and not kept else {}
    more["cp_model_presolve"] = is_simplified
    solver, status = run_solver(model, effort * SOLVER_A_SECOND, clock, turn, more)
    spent = solver.response_proto.deterministic_time / SOLVER_A_SECOND + _MODEL_EFFORT
    if status in {"OPTIMAL", "FEASIBLE"}:
        bound = start.least if kept else math.ceil(solver.best_objective_bound - 1e-6)
        return spent, _better(start, max(start.least, bound), _spots(solver, laid))
    impossible = status == "INFEASIBLE" and not kept
    return spent, replace(start, least=start.length) if impossible else start


def _better(start: Strip, least: int, spots: Sequence[Spot]) -> Strip:
    reached = max(spot.along + spot.length for spot in spots)
    if reached >= start.length:
        return replace(start, least=least)
    return Strip(tuple(spots), reached, least)


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
    """A piece in the model: where it starts, whether turned, its ways, and an interval for each."""

    across: Any
    along: Any
    turned: Any
    ways: Ways
    across_on: list[Any]
    along_on: list[Any]


def _kept_piece(model: Any, spot: Spot) -> _Laid:
    one = model.new_fixed_size_interval_var(spot.across, spot.width, "")
    other = model.new_fixed_size_interval_var(spot.along, spot.length, "")
    return _Laid(spot.across, spot.along, None, ((spot.width, spot.length),), [one], [other])


def _add_piece(model: Any, ways: Ways, room: tuple[int, int], length: Any) -> _Laid:
    width, longest = room
    across = model.new_int_var(0, width - min(size for size, _ in ways), "")
    along = model.new_int_var(0, longest - min(size for _, size in ways), "")
    if len(ways) == 1:
        model.add(along + ways[0][1] <= length)
        one = model.new_fixed_size_interval_var(across, ways[0][0], "")
        other = model.new_fixed_size_interval_var(along, ways[0][1], "")
        return _Laid(across, along, None, ways, [one], [other])
    turned = model.new_bool_var("")
    laid = _Laid(across, along, turned, ways, [], [])
    for (wide, long), lies in zip(ways, (~turned, turned), strict=True):
        model.add(along + long <= length).only_enforce_if(lies)
        model.add(across + wide <= width).only_enforce_if(lies)
        laid.across_on.append(model.new_optional_fixed_size_interval_var(across, wide, lies, ""))
        laid.along_on.append(model.new_optional_fixed_size_interval_var(along, long, lies, ""))
    return laid


def _keep_apart(model: Any, laid: Sequence[_Laid], width: int, length: Any) -> None:
    """No two pieces overlap; for the solver's bounds also what each line along or across holds."""
    across = [each for piece in laid for each in piece.across_on]
    along = [each for piece in laid for each in piece.along_on]
    sizes = [size for piece in laid for size in piece.ways]
    model.add_no_overlap_2d(across, along)
    model.add_cumulative(across, [size for _, size in sizes], length)
    model.add_cumulative(along, [size for size, _ in sizes], width)


def _spots(solver: Any, laid: Sequence[_Laid]) -> list[Spot]:
    found = []
    for item, piece in enumerate(laid):
        way = 0 if piece.turned is None else int(solver.boolean_value(piece.turned))
        at = solver.value(piece.across), solver.value(piece.along)
        found.append(Spot(item, *at, *piece.ways[way]))
    return found


def _add_hints(model: Any, pieces: Sequence[Ways], start: Strip, laid: Sequence[_Laid]) -> None:
    """Where the pieces lie in a known layout."""
    spots = _equal_in_row(pieces, start.spots)
    for ways, spot, piece in zip(pieces, spots, laid, strict=True):
        add_hint(model, piece.across, spot.across)
        add_hint(model, piece.along, spot.along)
        if piece.turned is not None:
            model.add_hint(piece.turned, (spot.width, spot.length) != ways[0])


def add_hint(model: Any, variable: Any, value: int) -> None:
    """A hint, but never on what is constant: hinted twice, that makes a model invalid."""
    if len(set(variable.proto.domain)) > 1:
        model.add_hint(variable, value)


def equal_pairs(pieces: Sequence[Ways]) -> list[tuple[int, int]]:
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
