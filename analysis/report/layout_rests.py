"""What is left of a pull: the rectangles in no piece, and the stretches in which it is drawn."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from analysis.packing.layouts import LEAST_LENGTH, Placed, Pull

# So much of a pull is drawn in one picture: it fits on a page. [m]
MOST_LENGTH_M: Final = 4.5
# Film left over is worth a name where both sides reach this, 6 in. [m]
LEAST_SIDE_M: Final = 0.1524
_LETTERS: Final = "ABCDEF"


@dataclass(frozen=True)
class LeftOver:
    """A rectangle of film in no piece: its letter, its nearer corner and its size. [m]"""

    letter: str
    along_m: float
    across_m: float
    length_m: float
    width_m: float


def left_over(pull: Pull) -> tuple[LeftOver, ...]:
    """The largest rectangles of a pull that hold no piece, largest first, at most six.

    One after another the largest empty rectangle between the edges of pieces, both sides at least
    `LEAST_SIDE_M`; those that were named do not overlap.
    """
    ends = {each.along_m + each.length_m for each in pull.placed}
    along = edges([0.0, pull.length_m, *(each.along_m for each in pull.placed), *ends])
    sides = {each.across_m + each.width_m for each in pull.placed}
    across = edges([0.0, pull.sheet.width_m, *(each.across_m for each in pull.placed), *sides])
    taken = np.zeros((len(along) - 1, len(across) - 1), dtype=bool)
    for each in pull.placed:
        _fill(taken, along, across, each.along_m, each.across_m, each.length_m, each.width_m)
    found: list[LeftOver] = []
    while len(found) < len(_LETTERS):
        best = _largest(taken, along, across)
        if best is None:
            break
        top, left, length, width = best
        _fill(taken, along, across, top, left, length, width)
        found.append(LeftOver(_LETTERS[len(found)], top, left, length, width))
    return tuple(found)


def edges(values: Sequence[float]) -> np.ndarray:
    """Values in order, once each: those that differ by no length are one. [m]"""
    ordered = np.sort(np.asarray(values, dtype=np.float64))
    return ordered[np.r_[True, np.diff(ordered) > LEAST_LENGTH]]


def _fill(
    taken: np.ndarray,
    along: np.ndarray,
    across: np.ndarray,
    top: float,
    left: float,
    length: float,
    width: float,
) -> None:
    rows = slice(*np.searchsorted(along, [top - LEAST_LENGTH, top + length - LEAST_LENGTH]))
    columns = slice(*np.searchsorted(across, [left - LEAST_LENGTH, left + width - LEAST_LENGTH]))
    taken[rows, columns] = True


def _largest(
    taken: np.ndarray, along: np.ndarray, across: np.ndarray
) -> tuple[float, float, float, float] | None:
    """Start, left edge, length and width of the largest empty rectangle; None: all are small."""
    best, most = None, 0.0
    for top in range(len(along) - 1):
        free = np.ones(len(across) - 1, dtype=bool)
        for end in range(top + 1, len(along)):
            free &= ~taken[end - 1]
            if not free.any():
                break
            length = along[end] - along[top]
            for left, right in _runs(free):
                width = across[right] - across[left]
                if min(length, width) >= LEAST_SIDE_M and length * width > most + 1e-9:
                    most = length * width
                    best = float(along[top]), float(across[left]), float(length), float(width)
    return best


def _runs(free: np.ndarray) -> list[tuple[int, int]]:
    """Where stretches of true begin and end."""
    steps = np.flatnonzero(np.diff(np.r_[False, free, False].astype("int8")))
    return list(zip(steps[::2].tolist(), steps[1::2].tolist(), strict=True))


def parts(pull: Pull) -> tuple[tuple[float, float], ...]:
    """A pull in stretches that fit on a page, parted where no piece is cut if that can be. [m]"""
    cuts, start = [0.0], 0.0
    while pull.length_m - start > MOST_LENGTH_M + LEAST_LENGTH:
        end = start + MOST_LENGTH_M
        ends = [each.along_m + each.length_m for each in pull.placed]
        clear = [
            at
            for at in ends
            if start + MOST_LENGTH_M / 3 < at <= end + LEAST_LENGTH
            and not any(_crosses(each, at) for each in pull.placed)
        ]
        start = max(clear, default=end)
        cuts.append(start)
    return tuple(zip(cuts, [*cuts[1:], pull.length_m], strict=True))


def _crosses(each: Placed, at: float) -> bool:
    return each.along_m < at - LEAST_LENGTH and at + LEAST_LENGTH < each.along_m + each.length_m
