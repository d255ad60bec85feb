"""A quick layout in whole units: best fit on a skyline, and a search over the order of pieces.

Across runs from 0 to the strip's width, along from 0 up. The skyline is how far each part of the
width is filled. The next piece always goes into the lowest gap, the leftmost of equals, and of the
pieces in order the first that fits it best (Burke, Kendall and Whitwell 2004, A new placement
heuristic for the orthogonal stock-cutting problem, Operations Research 52(4):655-671). What fits
best is judged by the gap's width and the height of its two walls (after Leung, Zhang and Sim 2011,
A two-stage intelligent search algorithm for the two-dimensional strip packing problem, European
Journal of Operational Research 215(1):57-69; from memory, the scores are this project's own).
"""

import math
import random
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

# The ways a piece may lie: (across, along), the one tried first in front.
Ways = tuple[tuple[int, int], ...]
# A piece in an order: its number and its ways.
Entry = tuple[int, Ways]
ENDLESS: Final = 10**12
_PERFECT: Final = 5
# Scores of a piece that is level with the lower wall.
_AT_LOWER: Final = frozenset({1, 4})
# A skyline between its two endless walls.
_ONE_SEGMENT: Final = 3
# What trying an order costs besides the pieces looked at, in pieces.
_TRIAL_WORK: Final = 20


class Spot(NamedTuple):
    """Where a piece lies, in whole units."""

    item: int
    across: int
    along: int
    width: int
    length: int


def lay(
    width: int,
    order: Sequence[Entry],
    longest: int = ENDLESS,
    waste: int = ENDLESS**2,
    narrowest: int = 0,
) -> tuple[int, list[Spot], list[Entry], int]:
    """Lay pieces into a strip by best fit.

    Parameters
    ----------
    width : of the strip [units]
    order : pieces; of equally good ones the first is taken
    longest : no piece ends beyond it; one that would is left over [units]
    waste : the strip's area that may stay empty under the skyline; beyond it the laying is left
    narrowest : no piece is less wide whichever way it lies; 0 where that is not known [units]

    Returns
    -------
    tuple
        Length used [units], spots, the pieces left over, and the work done (pieces looked at).

    Notes
    -----
    The skyline is two lists, from left to right: how far each segment is filled and how wide it
    is; an endless wall stands at either end. Plain lists and few calls: this is where a layout's
    time goes.
    """
    heights, widths = [ENDLESS, 0, ENDLESS], [0, width, 0]
    rest = list(order)
    spots: list[Spot] = []
    used, work = 0, 0
    while rest:
        low = min(heights)
        if low >= longest:
            break
        at = heights.index(low)
        work += len(rest)
        gap, left, right = widths[at], heights[at - 1] - low, heights[at + 1] - low
        higher, lower = (left, right) if left >= right else (right, left)
        chosen, way, score = -1, (0, 0), -1
        if gap >= narrowest:
            chosen, way, score = _best_fit(rest, gap, longest - low, higher, lower)
        if chosen < 0:
            waste -= lower * gap
            if len(heights) == _ONE_SEGMENT or waste < 0:
                break
            heights[at] += lower
            _join(heights, widths, at)
            continue
        across, along = way
        on_left = (left >= right) != (score in _AT_LOWER)
        start = sum(widths[:at]) if on_left else sum(widths[:at]) + gap - across
        _fill(heights, widths, at, way, on_left)
        spots.append(Spot(rest.pop(chosen)[0], start, low, across, along))
        used = max(used, low + along)
    return used, spots, rest, work


def _fill(
    heights: list[int], widths: list[int], at: int, way: tuple[int, int], on_left: bool
) -> None:
    """Lay a piece at the left or the right of a segment."""
    across, along = way
    if widths[at] > across:
        rest = at + 1 if on_left else at
        heights.insert(rest, heights[at])
        widths.insert(rest, widths[at] - across)
        at = at if on_left else at + 1
    heights[at] += along
    widths[at] = across
    _join(heights, widths, at)


def _join(heights: list[int], widths: list[int], at: int) -> None:
    """One segment of it and the neighbours of the same height."""
    height = heights[at]
    if heights[at + 1] == height:
        widths[at] += widths.pop(at + 1)
        del heights[at + 1]
    if heights[at - 1] == height:
        widths[at - 1] += widths.pop(at)
        del heights[at]


def _best_fit(
    rest: list[Entry], gap: int, room: int, higher: int, lower: int
) -> tuple[int, tuple[int, int], int]:
    """The piece for a gap: its place in the order, its way, and its score; -1 for none.

    Filling the width comes first (3 and over); then being level with the higher wall (2), then
    with the lower one (1).
    """
    chosen, way, best = -1, (0, 0), -1
    for number, (_, ways) in enumerate(rest):
        for each in ways:
            across, along = each
            if across > gap or along > room:
                continue
            score = 2 if along == higher else 1 if along == lower else 0
            if across == gap:
                score += 3
            if score > best:
                chosen, way, best = number, each, score
                if score == _PERFECT:
                    return chosen, way, best
    return chosen, way, best


def first_orders(entries: Sequence[Entry]) -> list[list[Entry]]:
    """The usual orders: by width, length, area and edge, the largest first, each piece both ways.

    The order in which the pieces came has no say, except among equal ones.
    """

    def keys(ways: Ways) -> list[tuple[int, ...]]:
        across, along = ways[0]
        least, most = min(across, along), max(across, along)
        return [
            (-across, -along),
            (-along, -across),
            (-across * along, -across),
            (-across - along, -across),
            (-most, -least),
        ]

    wide = [(item, tuple(sorted(ways, reverse=True))) for item, ways in entries]
    long = [(item, tuple(sorted(ways))) for item, ways in entries]
    turned = [wide] if wide == long else [wide, long]
    return [
        sorted(each, key=lambda entry: keys(entry[1])[number])  # noqa: B023
        for each in turned
        for number in range(5)
    ]


# What an order comes to: (value, spots or None where over the limit, work).
Trial = Callable[[Sequence[Entry], float], tuple[float, list[Spot] | None, int]]


def strip_trial(width: int, least: int, area: int, narrowest: int = 0) -> Trial:
    """The trial of an order on one strip: its length and its spots.

    To the length comes, under one unit, the share of the strip beyond `least` that is taken: of
    equally long layouts the one with less out there is nearer to a shorter one. `narrowest` is as
    of `lay`.
    """

    def trial(order: Sequence[Entry], limit: float) -> tuple[float, list[Spot] | None, int]:
        longest = int(min(limit, ENDLESS))
        used, spots, rest, work = lay(width, order, longest, width * longest - area, narrowest)
        if rest:
            return math.inf, None, work
        over = sum(
            spot.width * min(spot.length, spot.along + spot.length - least)
            for spot in spots
            if spot.along + spot.length > least
        )
        return used + over / (width * (used - least + 1)), spots, work

    return trial


def anneal(
    order: Sequence[Entry], trial: Trial, least: float, work: int, stop_at: int, seed: int
) -> tuple[float, list[Spot]]:
    """Search over orders: two pieces swapped, one moved, one turned, worse ones taken ever less.

    Simulated annealing (Kirkpatrick, Gelatt and Vecchi 1983, Science 220:671-680), cooled over
    `work` pieces looked at and left at `stop_at`: a longer search begins as a shorter one does.

    Returns
    -------
    tuple
        The least value found, and its spots. A trial without a limit always comes to some.
    """
    rng = random.Random(seed)  # noqa: S311  chance for a search, not for a secret
    current = list(order)
    value, result, done = trial(current, math.inf)
    best = (value, result or [])
    while done < stop_at and best[0] > least:
        heat = 0.02 * least * max(1.0 - done / work, 0.0)
        limit = value - heat * math.log(1.0 - rng.random())
        tried = _changed(current, rng)
        new, result, cost = trial(tried, limit)
        done += cost + _TRIAL_WORK
        if result is not None and new <= limit:
            current, value = tried, new
            if new < best[0]:
                best = (new, result)
    return best


def _changed(order: list[Entry], rng: random.Random) -> list[Entry]:
    changed = order[:]
    one, other, how = rng.randrange(len(order)), rng.randrange(len(order)), rng.random()
    item, ways = changed[one]
    if how < 0.2 and len(ways) > 1:
        changed[one] = (item, ways[::-1])
    elif how < 0.6:
        changed[one], changed[other] = changed[other], changed[one]
    else:
        changed.insert(other, changed.pop(one))
    return changed
