"""Pieces and film in whole units, and back in metres.

A unit is 1/80 mm, in which a millimetre and a sixteenth of an inch (127/80 mm) are whole; other
sizes are rounded up, the film's down. What is proven of a layout holds for those units.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from analysis.findings.layouts import Piece, Placed, Pull, Sheet
from analysis.findings.skyline import ENDLESS, Spot, Ways

UNITS_A_METRE: Final = 80_000
# A float is off a whole number of units by less. [units]
_SLACK: Final = 1e-6


@dataclass(frozen=True)
class Grid:
    """Pieces and film in whole steps.

    Each piece is larger by the knife's gap both ways, and so is the film: then the pieces may lie
    edge to edge. `sizes` : (across, along) of each piece as it lies along the roll [steps]; `step`
    and `gap` [units].
    """

    sizes: tuple[tuple[int, int], ...]
    step: int
    gap: int

    @classmethod
    def of(cls, pieces: Sequence[Piece], knife_gap_m: float) -> "Grid":
        """The coarsest grid on which all pieces are whole."""
        gap = _up(knife_gap_m)
        sizes = [(_up(piece.width_m) + gap, _up(piece.length_m) + gap) for piece in pieces]
        step = math.gcd(*(edge for size in sizes for edge in size)) or 1
        return cls(tuple((wide // step, long // step) for wide, long in sizes), step, gap)

    def room(self, size_m: float) -> int:
        """Steps that film of a size holds. [m]"""
        if math.isinf(size_m):
            return ENDLESS
        return (math.floor(size_m * UNITS_A_METRE + _SLACK) + self.gap) // self.step

    def length_m(self, steps: int) -> float:
        """Film under pieces that reach so far: less the gap behind the last. [m]"""
        return max(steps * self.step - self.gap, 0) / UNITS_A_METRE

    def start_m(self, steps: int) -> float:
        """Where a piece starts. [m]"""
        return steps * self.step / UNITS_A_METRE

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


def _up(size_m: float) -> int:
    return math.ceil(size_m * UNITS_A_METRE - _SLACK)


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
