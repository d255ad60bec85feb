"""The shortest layout on one strip, in whole units: quick search and CP-SAT in turns.

The rounds double, so that more effort begins as less does and never ends worse.
"""

import itertools
import time
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import Final

from analysis.packing.skyline import Entry, Spot, Ways, anneal, first_orders, lay, strip_trial
from analysis.packing.strip_bounds import exact_layout, least_length, useful_width
from analysis.packing.strip_model import Strip, clock_of, solved_strip

# Pieces looked at, and states of the exact search, that take about a second of one core (measured;
# they set the pace, not the result).
LOOKS_A_SECOND: Final = 3_000_000
STATES_A_SECOND: Final = 50_000
_FIRST_ROUND: Final = 0.5
# Pieces looked at in one search over orders, at first.
_LOOKS_EACH: Final = 100_000
# So many of the last pieces are laid anew, with at most that effort. [about s]
_LAST_PIECES: Final = (12, 16, 18, 20)
_PART: Final = 0.125
# For past jobs: pieces up to which every layout is looked at, to the end or for a moment; the
# effort of that look and of the solver [about s]; pieces looked at in the search over orders, and
# in the one before the solver; and groups of pieces whose layout is kept.
_TINY: Final = 4
_FEW: Final = 8
_SMALL_EFFORT: Final = 0.3
_LOOK_EFFORT: Final = 0.04
_SOON_FEW: Final = 0.1
_SOON_MANY: Final = 0.25
_SOON_LOOKS: Final = 20_000
_FIRST_LOOKS: Final = 4_000
_KEPT: Final = 4096
# With more pieces the solver would take most of the time of a review, for some thousandths of film.
_SOLVED: Final = 12


def quick_strip(pieces: Sequence[Ways], width: int) -> tuple[Strip, list[Entry], int]:
    """The best of the usual orders; with its order and the width that can be of use."""
    useful = useful_width(pieces, width)
    least = least_length(pieces, useful)
    entries: list[Entry] = list(enumerate(pieces))
    tried: list[tuple[int, tuple[Spot, ...], list[Entry]]] = []
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


@lru_cache(maxsize=_KEPT)
def soon_strip(pieces: tuple[Ways, ...], width: int) -> Strip:
    """The shortest layout found within a fraction of a second, for thousands of small groups.

    Up to four pieces it is the shortest there is; up to a dozen, the solver is asked where no
    bound, no look at every layout and no short search over orders proves it, for it nearly always
    does so, and the sooner from a better layout; with more, and where it does not, a longer search
    is the last word. The same pieces come again and again: what was found for them is kept.
    """
    if len(pieces) <= _TINY:
        return small_strip(pieces, width, 1.0)
    best, order, useful = quick_strip(pieces, width)
    if len(pieces) <= _FEW and not best.is_best:
        best = small_strip(pieces, width, _LOOK_EFFORT)
    if not best.is_best and len(pieces) <= _SOLVED:
        best = _searched(pieces, useful, best, order, _FIRST_LOOKS, _FIRST_LOOKS, 0)[0]
    if not best.is_best and len(pieces) <= _SOLVED:
        effort = _SOON_FEW if len(pieces) <= _FEW else _SOON_MANY
        clock = clock_of(effort)
        _, best = solved_strip(pieces, useful, best, effort, clock, 0, is_simplified=False)
    if not best.is_best:
        best = _searched(pieces, useful, best, order, _SOON_LOOKS, _SOON_LOOKS, 0)[0]
    return best


def shortest_strip(pieces: Sequence[Ways], width: int, effort: float) -> Strip:
    """The shortest layout found, with what is proven of the shortest there is.

    Parameters
    ----------
    pieces : the ways each may lie, those too wide for the strip left out
    width : of the strip [units]
    effort : about seconds of one core
    """
    until = time.monotonic() + clock_of(effort)
    best, order, useful = quick_strip(pieces, width)
    if len(pieces) <= _FEW and not best.is_best:
        best = small_strip(pieces, width, min(effort, _SMALL_EFFORT))
    for turn in itertools.count():
        whole = _FIRST_ROUND * 2**turn
        clock = until - time.monotonic()
        if best.is_best or effort <= 0 or clock <= 0:
            return best
        spent = min(whole, effort)
        effort -= whole
        best = _improved(pieces, useful, best, order, spent / 2, turn)
        if not best.is_best:
            _, best = solved_strip(pieces, useful, best, spent / 2, clock, turn)
    return best


def _improved(
    pieces: Sequence[Ways], width: int, best: Strip, order: list[Entry], effort: float, turn: int
) -> Strip:
    """A shorter one by searches over orders, each finished by the solver.

    What the search leaves is mostly full at the start of the strip and worse at its end; the solver
    lays the last pieces anew beside those before them (large neighbourhood search: Shaw 1998; from
    memory).
    """
    looks = _LOOKS_EACH * 2 ** (turn // 2)
    for seed in itertools.count(1000 * turn):
        if effort <= 0 or best.is_best:
            return best
        stop_at = int(min(looks, effort * LOOKS_A_SECOND))
        best, spots = _searched(pieces, width, best, order, looks, stop_at, seed)
        effort -= looks / LOOKS_A_SECOND
        for many in _LAST_PIECES:
            if many >= len(pieces) or effort <= 0 or best.is_best:
                break
            last = sorted(spots, key=lambda spot: -spot.along)[:many]
            free = {spot.item for spot in last}
            free |= {spot.item for spot in spots if spot.along + spot.length >= best.length}
            kept = {spot.item: spot for spot in spots if spot.item not in free}
            spent, best = solved_strip(
                pieces, width, best, min(_PART, effort), clock_of(_PART), seed, kept
            )
            effort -= spent
    return best


def _searched(
    pieces: Sequence[Ways],
    width: int,
    best: Strip,
    order: list[Entry],
    looks: int,
    stop_at: int,
    seed: int,
) -> tuple[Strip, Sequence[Spot]]:
    """The better of `best` and what one search over orders finds; and what it finds."""
    area = sum(ways[0][0] * ways[0][1] for ways in pieces)
    narrowest = min(across for ways in pieces for across, _ in ways)
    trial = strip_trial(width, best.least, area, narrowest)
    value, spots = anneal(order, trial, best.least, looks, stop_at, seed)
    if value < best.length:
        best = replace(best, spots=tuple(spots), length=int(value))
    return best, spots
