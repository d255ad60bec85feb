"""Cutting layouts checked and found a second way: by places on a coarse grid, every one tried."""

import math
from collections.abc import Iterable, Sequence
from functools import cache
from itertools import combinations

from analysis.packing.layouts import Layout, Piece, Sheet

TOLERANCE = 1e-9
# (start across, start along, width, length)
Box = tuple[int, int, int, int]


def assert_can_be_cut(layout: Layout, pieces: Sequence[Piece], gap_m: float = 0.0) -> None:
    """Every piece once, its own size, inside its pull, and no two nearer than the gap."""
    laid = [each for pull in layout.pulls for each in pull.placed]
    assert sorted(map(id, pieces)) == sorted(id(each.piece) for each in laid)
    for each in laid:
        size, own = (each.length_m, each.width_m), (each.piece.length_m, each.piece.width_m)
        assert size == (own[::-1] if each.turned else own)
        assert each.piece.may_turn or not each.turned
    for pull in layout.pulls:
        assert pull.length_m <= pull.sheet.longest_m + TOLERANCE
        for each in pull.placed:
            assert each.along_m >= -TOLERANCE
            assert each.along_m + each.length_m <= pull.length_m + TOLERANCE
            assert each.across_m >= -TOLERANCE
            assert each.across_m + each.width_m <= pull.sheet.width_m + TOLERANCE
        for one, other in combinations(pull.placed, 2):
            along = max(one.along_m, other.along_m) - min(
                one.along_m + one.length_m, other.along_m + other.length_m
            )
            across = max(one.across_m, other.across_m) - min(
                one.across_m + one.width_m, other.across_m + other.width_m
            )
            assert max(along, across) >= gap_m - TOLERANCE
    offcuts = [pull.sheet.name for pull in layout.pulls if pull.sheet.is_offcut]
    assert len(offcuts) == len(set(offcuts))
    money = sum(
        pull.length_m * pull.sheet.cost_per_m for pull in layout.pulls if not pull.sheet.is_offcut
    )
    assert abs(layout.cost - money) < 1e-6
    assert layout.least_cost <= layout.cost + TOLERANCE


def ways_of(piece: Piece) -> list[tuple[int, int]]:
    """(width, length) of a piece whose sizes are whole metres."""
    size = round(piece.width_m), round(piece.length_m)
    return [size, size[::-1]] if piece.may_turn and size[0] != size[1] else [size]


def fits(ways: Sequence[list[tuple[int, int]]], width: int, length: int, gap: int) -> bool:
    """Whether pieces of whole sizes go on a strip, by trying every whole place for each.

    Of the first in one quarter of the strip only: the others are mirror images.
    """
    return _place(ways, width, length, gap, ())


def _place(
    ways: Sequence[list[tuple[int, int]]], width: int, length: int, gap: int, laid: tuple[Box, ...]
) -> bool:
    if len(laid) == len(ways):
        return True
    half = 1 if laid else 2
    for wide, long in ways[len(laid)]:
        for across in range((width - wide) // half + 1):
            for along in range((length - long) // half + 1):
                box = (across, along, wide, long)
                if all(_apart(box, other, gap) for other in laid) and _place(
                    ways, width, length, gap, (*laid, box)
                ):
                    return True
    return False


def _apart(one: Box, other: Box, gap: int) -> bool:
    return any(
        one[at] + one[at + 2] + gap <= other[at] or other[at] + other[at + 2] + gap <= one[at]
        for at in (0, 1)
    )


def least_length(pieces: Sequence[Piece], width: int, gap: int = 0) -> int | None:
    """The least length of one strip, or None where a piece does not fit. [m]"""
    largest_first = sorted(pieces, key=lambda piece: -piece.width_m * piece.length_m)
    ways = [ways_of(piece) for piece in largest_first]
    if any(all(wide > width for wide, _ in each) for each in ways):
        return None
    area = sum(each[0][0] * each[0][1] for each in ways)
    length = -(-area // width)
    while not fits(ways, width, length, gap):
        length += 1
    return length


def least_cost(pieces: Sequence[Piece], sheets: Sequence[Sheet], gap: int = 0) -> float:
    """The least cost by trying every share of the pieces among the sheets; endless for no layout.

    A roll without a longest pull gives one strip; another gives as many pulls as one likes.
    """

    @cache
    def length(items: frozenset[int], width: int) -> float:
        one = least_length([pieces[item] for item in sorted(items)], width, gap) if items else 0
        return math.inf if one is None else one

    @cache
    def pulled(items: frozenset[int], at: int) -> float:
        """Cost of some pieces on one roll."""
        sheet = sheets[at]
        width, cost = round(sheet.width_m), sheet.cost_per_m
        if not items or sheet.longest_m == math.inf:
            return length(items, width) * cost
        return min(
            length(first, width) * cost + pulled(items - first, at)
            if length(first, width) <= sheet.longest_m
            else math.inf
            for first in _parts(items, min(items))
        )

    @cache
    def shared(items: frozenset[int], at: int) -> float:
        """Cost of some pieces on the sheets from that one on."""
        if at == len(sheets):
            return math.inf if items else 0.0
        sheet = sheets[at]
        costs = []
        for part in _parts(items, None):
            if sheet.is_offcut:
                here = 0.0 if length(part, round(sheet.width_m)) <= sheet.longest_m else math.inf
            else:
                here = pulled(part, at)
            costs.append(here + shared(items - part, at + 1))
        return min(costs)

    return shared(frozenset(range(len(pieces))), 0)


def _parts(items: frozenset[int], with_item: int | None) -> Iterable[frozenset[int]]:
    must = frozenset() if with_item is None else frozenset({with_item})
    others = sorted(items - must)
    for many in range(len(others) + 1):
        for some in combinations(others, many):
            yield must | frozenset(some)
