"""What a cutting layout is: pieces, the film they are cut from, and where each piece lies.

Along is the way the roll unrolls, across is its width. A layout can be asked whether it could be
cut: every piece there once, inside its pull, and no two pieces nearer than the knife needs.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from analysis.errors import Unreconciled, WorkbookError

# A hundredth of a millimetre: sizes that differ by less are the same. [m]
LEAST_LENGTH: Final = 1e-5


@dataclass(frozen=True)
class Piece:
    """One piece to cut, as large as it is cut. [m]

    `may_turn` : whether it may lie across the roll too; not where the film has a direction.
    `owner` : the job that it is for.
    """

    name: str
    length_m: float
    width_m: float
    may_turn: bool = True
    owner: str = ""


@dataclass(frozen=True)
class Sheet:
    """Film to cut from: a roll, which gives pulls of any length up to `longest_m`, or an offcut.

    `cost_per_m` : cost of a metre of length at this width; an offcut costs nothing, its film is
    paid. An offcut is used once, whole, and `longest_m` is its length.
    """

    name: str
    width_m: float
    longest_m: float = math.inf
    cost_per_m: float = 1.0
    is_offcut: bool = False


class PieceTooWide(WorkbookError):
    """A piece that lies on no sheet: `piece`, and the widest `sheet`, to say it in other units."""

    def __init__(self, piece: Piece, sheet: Sheet) -> None:
        how = "neither way round" if piece.may_turn else "and may not be turned"
        owner = f" of {piece.owner}" if piece.owner else ""
        fits = "fits" if piece.may_turn else "does not fit"
        long = f", {sheet.longest_m:.3f} m long" if math.isfinite(sheet.longest_m) else ""
        super().__init__(
            f"The piece {piece.name}{owner} ({piece.length_m:.3f} m long, {piece.width_m:.3f} m "
            f"wide) {fits} on {sheet.name} ({sheet.width_m:.3f} m wide{long}) {how}. Take a wider "
            "roll, or lay the panel in two pieces with a seam."
        )
        self.piece = piece
        self.sheet = sheet


class TooLittleFilm(WorkbookError):
    """The pieces want more than one pull of a sheet gives."""

    def __init__(self, sheet: Sheet, needed_m: float) -> None:
        super().__init__(
            f"These pieces want {needed_m:.3f} m of {sheet.name}, which gives "
            f"{sheet.longest_m:.3f} m at most in one pull. Cut them in several pulls, or add "
            "another roll."
        )
        self.sheet = sheet
        self.needed_m = needed_m


class NoRoom(WorkbookError):
    """There is no roll for some pieces, and no room for them on the offcuts."""

    def __init__(self) -> None:
        super().__init__(
            "The pieces do not fit on these offcuts together, and no roll takes the rest. Add a "
            "roll that is wide enough."
        )


@dataclass(frozen=True)
class Placed:
    """A piece where it lies: its nearer corner, and its size there. [m]"""

    piece: Piece
    along_m: float
    across_m: float
    length_m: float
    width_m: float
    turned: bool


@dataclass(frozen=True)
class Pull:
    """One length of film pulled off a sheet, and the pieces on it. [m]"""

    sheet: Sheet
    length_m: float
    placed: tuple[Placed, ...]

    @property
    def area_m2(self) -> float:
        """Film pulled. [m²]"""
        return self.length_m * self.sheet.width_m

    @property
    def piece_m2(self) -> float:
        """Film in the pieces. [m²]"""
        return sum(each.length_m * each.width_m for each in self.placed)


@dataclass(frozen=True)
class Layout:
    """Pieces on pulls.

    `cost` : Σ pulled length × cost a metre; `least_cost` : what no layout of these pieces on these
    sheets can be under (proven); `is_best` : proven that there is no better. With one roll of cost
    1 a metre both are lengths. [m or money]
    """

    pulls: tuple[Pull, ...]
    cost: float
    least_cost: float
    is_best: bool

    @property
    def length_m(self) -> float:
        """Length pulled off rolls. [m]"""
        return sum(pull.length_m for pull in self.pulls if not pull.sheet.is_offcut)

    @property
    def roll_area_m2(self) -> float:
        """Film pulled off rolls. [m²]"""
        return sum(pull.area_m2 for pull in self.pulls if not pull.sheet.is_offcut)

    @property
    def gap_share(self) -> float:
        """So far at most the cost is over the best there may be. [share]"""
        return 0.0 if self.is_best or self.cost <= 0 else 1.0 - self.least_cost / self.cost


def check_layout(layout: Layout, pieces: Sequence[Piece], knife_gap_m: float = 0.0) -> None:
    """Raise `Unreconciled` unless this could be cut and holds every piece exactly once."""
    laid = [each for pull in layout.pulls for each in pull.placed]
    if sorted(id(each.piece) for each in laid) != sorted(id(piece) for piece in pieces):
        raise Unreconciled("A cutting layout does not hold every piece exactly once.")
    for pull in layout.pulls:
        _check_pull(pull, knife_gap_m)


def _check_pull(pull: Pull, knife_gap_m: float) -> None:
    where = f"A pull of {pull.length_m:.4f} m off {pull.sheet.name}"
    if pull.length_m > pull.sheet.longest_m + LEAST_LENGTH:
        raise Unreconciled(f"{where} is longer than it may be.")
    for each in pull.placed:
        piece = each.piece
        size = (piece.width_m, piece.length_m) if each.turned else (piece.length_m, piece.width_m)
        fits = (
            each.along_m >= -LEAST_LENGTH
            and each.across_m >= -LEAST_LENGTH
            and each.along_m + each.length_m <= pull.length_m + LEAST_LENGTH
            and each.across_m + each.width_m <= pull.sheet.width_m + LEAST_LENGTH
        )
        same = all(
            math.isclose(a, b, abs_tol=LEAST_LENGTH)
            for a, b in zip(size, (each.length_m, each.width_m), strict=True)
        )
        if not fits or not same or (each.turned and not piece.may_turn):
            raise Unreconciled(f"{where} does not hold {piece.name}.")
    for at, one in enumerate(pull.placed):
        for other in pull.placed[at + 1 :]:
            apart = _apart(
                one.along_m, one.length_m, other.along_m, other.length_m, knife_gap_m
            ) or _apart(one.across_m, one.width_m, other.across_m, other.width_m, knife_gap_m)
            if not apart:
                raise Unreconciled(f"{where}: {one.piece.name} and {other.piece.name} overlap.")


def _apart(start: float, size: float, other: float, other_size: float, gap: float) -> bool:
    gap -= LEAST_LENGTH
    return start + size + gap <= other or other + other_size + gap <= start
