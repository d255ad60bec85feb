"""Cutting layouts: the least length of one roll, or the least cost of several, for some pieces."""

import math
from collections.abc import Callable, Sequence

from analysis.packing.cheapest import cheapest_on
from analysis.packing.film_grid import FilmGrid, in_order
from analysis.packing.layouts import (
    LEAST_LENGTH,
    Layout,
    Piece,
    PieceTooWide,
    Sheet,
    TooLittleFilm,
    check_layout,
)
from analysis.packing.pulls import layout_apart, pulls_apart, tidy
from analysis.packing.skyline import Ways
from analysis.packing.strip_model import Strip
from analysis.packing.strip_solver import shortest_strip, soon_strip

__all__ = ["layout_apart", "pack", "pack_cheapest", "pack_quick", "pulls_apart"]


def pack(
    pieces: Sequence[Piece], sheet: Sheet, knife_gap_m: float = 0.0, effort: float = 10.0
) -> Layout:
    """The shortest layout of the pieces on one strip of a sheet.

    Reruns are equal, unless the machine is so busy that ten seconds and three times the effort pass
    on the clock: then it stops with what it has, and says how far that may be from the best.

    Parameters
    ----------
    pieces : none, or what is to be cut
    sheet : its width and its cost a metre
    knife_gap_m : least distance between two pieces [m]
    effort : about seconds of one core at most; more is never worse

    Returns
    -------
    Layout
        One pull; `is_best` only when proven.

    Raises
    ------
    PieceTooWide
        A piece fits neither way.
    TooLittleFilm
        The strip would be longer than the sheet gives in one pull.
    """
    return _on_one(
        pieces, sheet, knife_gap_m, lambda ways, room: shortest_strip(ways, room, effort)
    )


def pack_quick(pieces: Sequence[Piece], sheet: Sheet, knife_gap_m: float = 0.0) -> Layout:
    """As `pack` with little effort: for thousands of past jobs, each a few pieces.

    Proven to be best for up to four pieces, and for most groups of up to eight; the solver is asked
    only where neither a bound nor a look at every layout has proven it.
    """
    return _on_one(pieces, sheet, knife_gap_m, soon_strip)


def _on_one(
    pieces: Sequence[Piece],
    sheet: Sheet,
    knife_gap_m: float,
    shortest: Callable[[tuple[Ways, ...], int], Strip],
) -> Layout:
    if not pieces:
        return Layout((), 0.0, 0.0, True)
    ordered = in_order(pieces)
    grid = FilmGrid.of(ordered, knife_gap_m)
    ways = grid.ways(ordered, sheet)
    for piece, each in zip(ordered, ways, strict=True):
        if not each:
            raise PieceTooWide(piece, sheet)
    found = shortest(tuple(ways), grid.room(sheet.width_m))
    length_m = grid.length_m(found.length)
    if length_m > sheet.longest_m + LEAST_LENGTH:
        raise TooLittleFilm(sheet, length_m)
    pull = tidy(grid.pull(ordered, sheet, found.spots), knife_gap_m)
    cost_per_m = sheet.cost_per_m
    least = min(grid.length_m(found.least), length_m) * cost_per_m
    layout = Layout((pull,), length_m * cost_per_m, least, found.is_best)
    check_layout(layout, pieces, knife_gap_m)
    return layout


def pack_cheapest(
    pieces: Sequence[Piece],
    sheets: Sequence[Sheet],
    knife_gap_m: float = 0.0,
    effort: float = 10.0,
) -> Layout:
    """The cheapest layout of the pieces on rolls of several widths and on offcuts.

    Parameters
    ----------
    pieces : none, or what is to be cut
    sheets : rolls, each pulled as often as need be, and offcuts, each used once at most and free
    knife_gap_m : least distance between two pieces [m]
    effort : about seconds of one core at most; reruns are as with `pack`

    Returns
    -------
    Layout
        Pulls; `cost` and `least_cost` are money. Costs are compared to a millionth. Of proven best
        layouts the one on less offcut and in fewer pulls, as far as the effort goes.

    Raises
    ------
    PieceTooWide
        A piece fits no sheet.
    NoRoom
        The pieces that fit only on offcuts do not fit there together.
    """
    if len(sheets) == 1 and not sheets[0].is_offcut and math.isinf(sheets[0].longest_m):
        return pack(pieces, sheets[0], knife_gap_m, effort)
    layout = cheapest_on(pieces, sheets, knife_gap_m, effort)
    check_layout(layout, pieces, knife_gap_m)
    return layout
