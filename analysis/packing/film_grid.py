"""Pieces and film in whole units, and back in metres.

A unit is 1/80 mm, in which a millimetre and a sixteenth of an inch (127/80 mm) are whole. Where a
piece is none of those (a third of a yard), it is a thousandth of a millimetre: sizes are then
rounded up, and the film counts as four thousandths wider, so that pieces that just fill it fit.
What is proven of a layout holds for those units.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from analysis.packing.layouts import Piece, Placed, Pull, Sheet
from analysis.packing.skyline import ENDLESS, Spot, Ways

COARSE: Final = 80_000  # units a metre
FINE: Final = 1_000_000
# A float is off a whole number of units by less; what the film gives on the fine grid. [units]
_SLACK: Final = 1e-6
_GIVES: Final = 4.0


@dataclass(frozen=True)
class FilmGrid:
    """Pieces and film in whole steps.

    Each piece is larger by the knife's gap both ways, and so is the film: then the pieces may lie
    edge to edge. `sizes` : (across, along) of each piece as it lies along the roll [steps]; `step`
    and `gap` [units]; `units` a metre.
    """

    sizes: tuple[tuple[int, int], ...]
    step: int
    gap: int
    units: int = COARSE

    @classmethod
    def of(cls, pieces: Sequence[Piece], knife_gap_m: float) -> "FilmGrid":
        """The coarsest grid on which all pieces are whole."""
        edges_m = [knife_gap_m, *(each for p in pieces for each in (p.width_m, p.length_m))]
        units = COARSE if all(_is_whole(each * COARSE) for each in edges_m) else FINE
        gap = _up(knife_gap_m * units)
        sizes = [
            (_up(piece.width_m * units) + gap, _up(piece.length_m * units) + gap)
            for piece in pieces
        ]
        step = math.gcd(*(edge for size in sizes for edge in size)) or 1
        return cls(tuple((wide // step, long // step) for wide, long in sizes), step, gap, units)

    def room(self, size_m: float) -> int:
        """Steps that film of a size holds. [m]"""
        if math.isinf(size_m):
            return ENDLESS
        slack = _SLACK if self.units == COARSE else _GIVES
        return (math.floor(size_m * self.units + slack) + self.gap) // self.step

    def length_m(self, steps: int) -> float:
        """Film under pieces that reach so far: less the gap behind the last. [m]"""
        return max(steps * self.step - self.gap, 0) / self.units

    def start_m(self, steps: int) -> float:
        """Where a piece starts. [m]"""
        return steps * self.step / self.units

    def ways(self, pieces: Sequence[Piece], sheet: Sheet) -> list[Ways]:
        """How each piece may lie on a sheet; no way for one that does not fit."""
        width, longest = self.room(sheet.width_m), self.room(sheet.longest_m)
        found = []
        for piece, (wide, long) in zip(pieces, self.sizes, strict=True):
            both = (
                [(wide, long), (long, wide)] if piece.may_turn and wide != long else [(wide, long)]
            )
            found.append(tuple(way for way in both if way[0] <= width and way[1] <= longest))
        return found

    def placed(self, piece: Piece, spot: Spot) -> Placed:
        """A piece on the film, in metres."""
        turned = (spot.width, spot.length) != self.sizes[spot.item]
        size = (piece.length_m, piece.width_m)
        along, across = size[::-1] if turned else size
        return Placed(
            piece, self.start_m(spot.along), self.start_m(spot.across), along, across, turned
        )

    def pull(self, pieces: Sequence[Piece], sheet: Sheet, spots: Iterable[Spot]) -> Pull:
        """One pull of a sheet with pieces on it, as long as they want; an offcut is whole."""
        laid = sorted(spots, key=lambda spot: (spot.along, spot.across))
        end = max(spot.along + spot.length for spot in laid)
        length = sheet.longest_m if sheet.is_offcut else self.length_m(end)
        return Pull(sheet, length, tuple(self.placed(pieces[spot.item], spot) for spot in laid))


def _up(number: float) -> int:
    return math.ceil(number - _SLACK)


def _is_whole(number: float) -> bool:
    return abs(number - round(number)) < _SLACK


def in_order(pieces: Sequence[Piece]) -> list[Piece]:
    """The largest first, so that the order in which they came changes nothing."""
    return sorted(
        pieces,
        key=lambda piece: (
            -piece.length_m * piece.width_m,
            -piece.length_m,
            piece.may_turn,
            piece.owner,
            piece.name,
        ),
    )
