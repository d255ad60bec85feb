"""The shortest length of a roll on which pieces can be packed, by trying every packing that counts.

Any packing of rectangles can be laid out one piece after another so that each is neither left of
nor below one that lies already, and pushed left and down until every piece touches (right edge of
another, or the roll's edge) on its left and below. So it is enough to try, in every order and
direction, the corners that the edges of the pieces laid so far make. Exact, and slow.
"""

from __future__ import annotations

from collections import Counter
from fractions import Fraction
from math import lcm

NOTHING = Fraction(0)
MOST_PIECES = 6

Piece = tuple[Fraction, Fraction]  # along the roll and across it, as it was cut
Sides = tuple[int, int]  # the same in whole numbers of a unit that divides all lengths
Laid = list[tuple[int, int]]  # far ends of the pieces on the roll: along and across


def fits(piece: Piece, width: Fraction, may_turn: bool) -> bool:
    """Whether a roll of this width holds the piece, in one of its directions."""
    return piece[1] <= width or (may_turn and piece[0] <= width)


def shortest_length(
    pieces: list[Piece], width: Fraction, may_turn: bool, gap: Fraction = NOTHING
) -> Fraction:
    """Least length of a roll of this width that holds all pieces, with a gap between any two.

    A gap is laid as room behind and beside each piece, on a roll that is wider by it, and the last
    one is taken off again. Raises ValueError for more than `MOST_PIECES` pieces, or for one that
    the roll cannot hold.
    """
    if len(pieces) > MOST_PIECES:
        raise ValueError(f"{len(pieces)} pieces are too many to try every packing of them")
    if not all(fits(piece, width, may_turn) for piece in pieces):
        raise ValueError("a piece is wider than the roll")
    if not pieces:
        return NOTHING
    with_gap = [(along + gap, across + gap) for along, across in pieces]
    unit = lcm(*(side.denominator for piece in [*with_gap, (gap, width)] for side in piece))
    whole = Counter((int(a * unit), int(b * unit)) for a, b in with_gap)
    search = Search(int((width + gap) * unit), may_turn, whole)
    return Fraction(search.shortest(), unit) - gap


class Search:
    """The best length found so far, and the tree of packings that may be shorter."""

    def __init__(self, width: int, may_turn: bool, pieces: Counter[Sides]) -> None:
        self.width, self.may_turn, self.pieces = width, may_turn, pieces
        area = sum(along * across * count for (along, across), count in pieces.items())
        longest = max(min(along for along, _ in self.directions(sides)) for sides in pieces)
        self.least = max(-(-area // width), longest)
        self.best = sum(max(sides) * count for sides, count in pieces.items()) + 1

    def directions(self, sides: Sides) -> list[Sides]:
        """The ways in which a piece can lie on this roll."""
        ways = {sides, sides[::-1]} if self.may_turn else {sides}
        return sorted(way for way in ways if way[1] <= self.width)

    def shortest(self) -> int:
        self.lay([], +self.pieces)
        return self.best

    def lay(self, laid: Laid, left: Counter[Sides]) -> None:
        """Try every piece that is left, in every direction, on every corner of those laid."""
        if not left:
            self.best = max(along for along, _ in laid)
            return
        for sides in left:
            rest = left - Counter([sides])
            for along, across in self.directions(sides):
                for x, y in corners(laid):
                    if self.best == self.least:
                        return
                    if x + along < self.best and y + across <= self.width:
                        self.lay([*laid, (x + along, y + across)], rest)


def corners(laid: Laid) -> list[tuple[int, int]]:
    """Where the next piece may begin: beyond every piece that lies, along the roll or across it."""
    xs, ys = {0, *(far for far, _ in laid)}, {0, *(far for _, far in laid)}
    return [
        (x, y)
        for x in sorted(xs)
        for y in sorted(ys)
        if all(x >= far_x or y >= far_y for far_x, far_y in laid)
    ]
