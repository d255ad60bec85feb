"""Sets of pieces and the length that each takes: the same sets come again and again."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from typing import Final

import pandas as pd

from analysis.packing.layouts import Layout, Piece, Sheet

# Sizes are told apart to a ten-thousandth of a millimetre: an eighth of an inch stays one.
PLACES: Final = 7
# Length and width of a piece as cut [m], and whether it may turn.
Size = tuple[float, float, bool]
Packer = Callable[[Sequence[Piece], Sheet, float], Layout]


class PackedSets:
    """Packs each set of pieces once on each width. `pack` takes pieces, sheet and gap."""

    def __init__(self, pack: Packer, knife_gap_m: float) -> None:
        self.pack = pack
        self.gap = knife_gap_m
        self.known: dict[tuple[object, ...], float] = {}

    def length_m(self, pieces: Mapping[Size, int], width_m: float) -> float:
        """Shortest length of a roll that holds so many of each size. [m]"""
        key = (width_m, *sorted(pieces.items()))
        if key not in self.known:
            laid = [
                Piece(f"{long} x {wide}", long, wide, may_turn)
                for (long, wide, may_turn), many in sorted(pieces.items())
                for _ in range(many)
            ]
            self.known[key] = self.pack(laid, Sheet("roll", width_m), self.gap).length_m
        return self.known[key]


def sets_of_pieces(cuts: pd.DataFrame, number: pd.Series) -> dict[int, Counter[Size]]:
    """The pieces of each numbered group of cuts: how many of each size.

    `cuts` has `long`, `wide` [m], `may_turn` and `pieces`; `number` the group of each of its rows.
    """
    sets: dict[int, Counter[Size]] = {}
    columns = (cuts[name].tolist() for name in ("long", "wide", "may_turn", "pieces"))
    for group, long, wide, may_turn, pieces in zip(number.tolist(), *columns, strict=True):
        sets.setdefault(group, Counter())[long, wide, may_turn] += int(pieces)
    return sets
