"""Pulls as one cuts them: pieces pushed together, long pulls parted into short ones."""

import math
from collections.abc import Iterable
from dataclasses import replace

from analysis.packing.layouts import LEAST_LENGTH, Layout, Placed, Pull


def tidy(pull: Pull, knife_gap_m: float = 0.0) -> Pull:
    """The same pull with its pieces pushed to the start and to the left, as far as they go."""
    placed = list(pull.placed)
    moved = True
    while moved:
        moved = False
        for number in sorted(
            range(len(placed)), key=lambda at: (placed[at].along_m, placed[at].across_m)
        ):
            piece, others = placed[number], placed[:number] + placed[number + 1 :]
            lower = replace(
                piece, along_m=_pushed(_upright(piece), map(_upright, others), knife_gap_m)
            )
            left = replace(lower, across_m=_pushed(_flat(lower), map(_flat, others), knife_gap_m))
            if (piece.along_m - left.along_m) + (piece.across_m - left.across_m) > LEAST_LENGTH:
                placed[number], moved = left, True
    return replace(pull, placed=tuple(sorted(placed, key=lambda at: (at.along_m, at.across_m))))


# A piece seen in the direction in which it is pushed: start and size, then beside it the same.
_View = tuple[float, float, float, float]


def _upright(placed: Placed) -> _View:
    return placed.along_m, placed.length_m, placed.across_m, placed.width_m


def _flat(placed: Placed) -> _View:
    return placed.across_m, placed.width_m, placed.along_m, placed.length_m


def _pushed(piece: _View, others: Iterable[_View], gap: float) -> float:
    """How near the edge it can go: up to the last piece that lies in its way. [m]"""
    start, _, beside, wide = piece
    stop = 0.0
    for other, size, other_beside, other_wide in others:
        in_way = (
            beside + wide + gap > other_beside + LEAST_LENGTH
            and other_beside + other_wide + gap > beside + LEAST_LENGTH
            and other + size + gap <= start + LEAST_LENGTH
        )
        if in_way:
            stop = max(stop, other + size + gap)
    return min(stop, start)


def pulls_apart(pull: Pull, knife_gap_m: float = 0.0) -> tuple[Pull, ...]:
    """A pull as several short ones, parted wherever a straight cut across meets no piece.

    The knife needs no gap where the roll is cut off, so that each ends with its last piece. An
    offcut lies there whole and stays so. Each is tidy.
    """
    if pull.sheet.is_offcut or not pull.placed:
        return (tidy(pull, knife_gap_m),)
    groups: list[list[Placed]] = []
    end = -math.inf
    for each in sorted(pull.placed, key=lambda at: (at.along_m, at.across_m)):
        if not groups or each.along_m < end + knife_gap_m - LEAST_LENGTH:
            groups = groups or [[]]
        else:
            groups.append([])
        groups[-1].append(each)
        end = max(end, each.along_m + each.length_m)
    starts = [0.0, *(group[0].along_m for group in groups[1:])]
    return tuple(
        tidy(
            replace(
                pull,
                length_m=max(each.along_m + each.length_m for each in group) - start,
                placed=tuple(replace(each, along_m=each.along_m - start) for each in group),
            ),
            knife_gap_m,
        )
        for group, start in zip(groups, starts, strict=True)
    )


def layout_apart(layout: Layout, knife_gap_m: float = 0.0) -> Layout:
    """The layout with its pulls parted (`pulls_apart`), its cost and its bound with them.

    Parted pulls save the knife's gap where they are cut off. Any layout in k pulls, put end to end
    with a gap between, is one of those that the bound is proven for; so none is under that bound
    less a gap for every pull that there could be.
    """
    pulls = tuple(part for pull in layout.pulls for part in pulls_apart(pull, knife_gap_m))
    cost = sum(pull.length_m * pull.sheet.cost_per_m for pull in pulls if not pull.sheet.is_offcut)
    dearest = max((p.sheet.cost_per_m for p in pulls if not p.sheet.is_offcut), default=0.0)
    pieces = sum(len(pull.placed) for pull in pulls)
    least = layout.least_cost - max(pieces - 1, 0) * knife_gap_m * dearest
    least = max(min(least, cost), 0.0)
    is_best = cost <= least * (1 + 1e-9) or (layout.is_best and knife_gap_m == 0.0)
    return Layout(pulls, cost, cost if is_best else least, is_best)
