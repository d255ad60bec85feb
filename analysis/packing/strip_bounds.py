"""What no layout on a strip can be under, and the exact layout of few pieces. Whole units.

Bounds from dual feasible functions: however pieces are cut across the roll, the values of their
widths sum to the value of the roll's width at most, so that each piece's value times its length
sums to the value times the layout's length (Fekete and Schepers 2004, A general framework for
bounds for higher-dimensional orthogonal packing problems, Mathematical Methods of Operations
Research 60:311-329; from memory). Where a piece may turn, the smaller of its two counts.
"""

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from analysis.packing.skyline import Spot, Ways

# A sum over subsets takes so many bits × sizes at most: a fraction of a second.
_MOST_WORK: Final = 200_000_000


def sums_of(parts: Sequence[set[int]], most: int) -> int:
    """The sums up to `most` of one number or none of each set, as the bits of a whole number.

    In a layout pushed to the left and to the start, each piece starts at such a sum (normal
    patterns: Herz 1972, Christofides and Whitlock 1977, Operations Research 25(1):30-44).
    """
    reached, mask = 1, (1 << (most + 1)) - 1
    for part in parts:
        now = reached
        for each in part:
            now |= reached << each
        reached = now & mask
    return reached


def useful_width(pieces: Sequence[Ways], width: int) -> int:
    """The largest width of side-by-side pieces that the strip holds: the rest is never filled."""
    reached = sums_of([{across for across, _ in ways} for ways in pieces], width)
    return reached.bit_length() - 1


def next_length(pieces: Sequence[Ways], least: int) -> int:
    """The least length of pieces behind each other that is not under `least`.

    Or `least` itself, which is no less true, where looking for it would take long.
    """
    kinds = [{along for _, along in ways} for ways in pieces]
    most = min(sum(map(max, kinds)), least + max(map(max, kinds)))
    if most * sum(map(len, kinds)) > _MOST_WORK:
        return least
    reached = sums_of(kinds, most)
    above = reached >> least
    return least + (above & -above).bit_length() - 1 if above else least


def least_length(pieces: Sequence[Ways], width: int) -> int:
    """A length that no layout is under: the longest piece, the area, and pieces side by side.

    Parameters
    ----------
    pieces : the ways of each; those too wide for the strip left out, one left at least
    width : of the strip [units]
    """
    longest = max(min(along for _, along in ways) for ways in pieces)
    kinds = Counter(pieces)
    least = max([longest, *(_total(kinds, *value) for value in _values(kinds, width))])
    return next_length(pieces, least)


def _total(kinds: Counter[Ways], value: Callable[[int], int], whole: int) -> int:
    total = sum(
        many * min(value(across) * along for across, along in ways) for ways, many in kinds.items()
    )
    return -(-total // whole)


def _values(kinds: Counter[Ways], width: int) -> Iterator[tuple[Callable[[int], int], int]]:
    """Dual feasible functions in whole numbers, each with the value of the strip's width."""
    yield lambda across: across, width
    widths = {across for ways in kinds for across, _ in ways}
    half = width // 2
    edges = {across for across in widths if across <= half}
    edges |= {width - across + 1 for across in widths if half < across}
    for edge in sorted(edge for edge in edges | {half} if edge):
        yield _without_small(width, edge), width
    for parts in range(2, 13):
        yield _in_parts(width, parts), width * (parts - 1)


def _without_small(width: int, edge: int) -> Callable[[int], int]:
    """Under `edge` nothing; so wide that only such fit beside it the whole width."""

    def value(across: int) -> int:
        if across > width - edge:
            return width
        return across if across >= edge else 0

    return value


def _in_parts(width: int, parts: int) -> Callable[[int], int]:
    """Rounded down to whole parts of the strip, where `parts` just fill it."""

    def value(across: int) -> int:
        share = parts * across
        return across * (parts - 1) if share % width == 0 else share // width * width

    return value


@dataclass
class _Few:
    """The search over corners: state that its steps share."""

    width: int
    limit: int
    kinds: list[Ways]
    left: list[int]
    nodes: int
    seen: set[tuple[object, ...]] = field(default_factory=set)


class _GaveUp(Exception):
    """The search has looked at as many states as it may."""


def exact_layout(
    pieces: Sequence[Ways], width: int, limit: int, nodes: int
) -> tuple[list[Spot] | None, int]:
    """A layout no longer than `limit`, or None when there is none, by looking at every layout.

    Any layout can be built piece by piece, each at a corner of the stairs that the pieces before it
    leave (Martello, Pisinger and Vigo 2000, The three-dimensional bin packing problem, Operations
    Research 48(2):256-267, section on two dimensions; from memory).

    Returns
    -------
    tuple
        The spots or None, and the states looked at. With all `nodes` of them it gave up, and None
        says nothing.
    """
    counted = Counter(pieces)
    kinds = sorted(counted, key=lambda ways: -ways[0][0] * ways[0][1])
    search = _Few(width, limit, kinds, [counted[kind] for kind in kinds], nodes)
    area = sum(ways[0][0] * ways[0][1] for ways in pieces)
    try:
        found = _place(search, ((width, 0),), area)
    except _GaveUp:
        return None, nodes
    if found is None:
        return None, nodes - search.nodes
    free = {kind: [item for item, ways in enumerate(pieces) if ways == kind] for kind in kinds}
    return [Spot(free[kinds[kind]].pop(), *spot) for kind, *spot in found], nodes - search.nodes


# Stairs: up to each place across, how far along is taken; falling.
_Stairs = tuple[tuple[int, int], ...]


def _place(search: _Few, stairs: _Stairs, area: int) -> list[tuple[int, int, int, int, int]] | None:
    """The rest of the pieces, of that area, outside the stairs: (kind, spot) of each, or None."""
    if not area:
        return []
    taken, before = 0, 0
    for until, height in stairs:
        taken += (until - before) * height
        before = until
    if search.width * search.limit - taken < area:
        return None
    state = (stairs, tuple(search.left))
    if state in search.seen:
        return None
    search.seen.add(state)
    search.nodes -= 1
    if search.nodes <= 0:
        raise _GaveUp
    for kind, ways in enumerate(search.kinds):
        if not search.left[kind]:
            continue
        search.left[kind] -= 1
        found = _at_corners(search, stairs, area, kind, ways)
        search.left[kind] += 1
        if found is not None:
            return found
    return None


def _at_corners(
    search: _Few, stairs: _Stairs, area: int, kind: int, ways: Ways
) -> list[tuple[int, int, int, int, int]] | None:
    for across, along in ways:
        start = 0
        for until, height in stairs:
            end, top = start + across, height + along
            if end <= search.width and top <= search.limit:
                rest = _place(search, _stepped(stairs, end, top), area - across * along)
                if rest is not None:
                    return [(kind, start, height, across, along), *rest]
            start = until
    return None


def _stepped(stairs: _Stairs, end: int, top: int) -> _Stairs:
    """The stairs with everything before `end` and `top` taken."""
    steps: list[tuple[int, int]] = [step for step in stairs if step[1] > top]
    if not steps or steps[-1][0] < end:
        steps.append((end, top))
    steps.extend(step for step in stairs if step[1] <= top and step[0] > steps[-1][0])
    return tuple(steps)
