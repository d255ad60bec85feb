"""The pieces of a kit, and how they lie on the roll whose film for them costs least."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import WorkbookError
from analysis.packing.layouts import (
    LEAST_LENGTH,
    Layout,
    Piece,
    PieceTooWide,
    Sheet,
    check_layout,
)
from analysis.packing.pack import layout_apart, pack_cheapest, pack_quick
from analysis.pricing.asked import meant
from analysis.pricing.cut_film_prices import KEEP_STRIP, StripRule, film_rolls
from analysis.pricing.layout_pieces import numbered, tape_mark_m, up_to_mark
from analysis.pricing.layout_sheets import film_sheets, in_turn
from analysis.pricing.tape_words import length_words, size_words
from analysis.records.model import Records
from analysis.settings import Settings

# About seconds for a kit that one pull does not hold.
_EFFORT: Final = 0.1
# A piece fits a roll that is narrower by less than that; the layouts hold it so too. [m]
_FITS: Final = LEAST_LENGTH / 4


class NoKit(WorkbookError):
    """A kit that cannot be cut, or of which too little is known; the text says why."""


@dataclass(frozen=True)
class KitPiece:
    """`number` equal pieces of a panel: their size as cut, and as they stay on the vehicle. [m]"""

    panel: str
    number: int
    length_m: float
    width_m: float
    finished_length_m: float
    finished_width_m: float

    @property
    def allowance_m(self) -> float:
        """What the piece is larger, a side, than finished: the mean of both directions. [m]"""
        over = self.length_m - self.finished_length_m + self.width_m - self.finished_width_m
        return over / 4


@dataclass(frozen=True)
class KitRolls:
    """Rolls of a film, and the newest landed cost of a square metre of each (NaN: not known)."""

    film: str
    rolls: tuple[tuple[Sheet, float], ...]

    @property
    def widest_m(self) -> float:
        """Width of the widest. [m]"""
        return max(roll.width_m for roll, _ in self.rolls)

    @property
    def longest_m(self) -> float:
        """Length of the longest. [m]"""
        return max(roll.longest_m for roll, _ in self.rolls)


@dataclass(frozen=True)
class KitLayout:
    """Pieces laid out on a roll.

    `film_area_m2` : film that the price pays for, `film_cost` : that film at its newest cost, NaN
    where it is not known [money]; `notes` : what is to be said of it.
    """

    layout: Layout
    roll_width_m: float
    film_area_m2: float
    film_cost: float
    notes: tuple[str, ...]


def kit_rolls(costing: Costing, records: Records, film: str, day: pd.Timestamp) -> KitRolls:
    """The rolls of a film as of a day. Raises `NoKit` where none is known."""
    prices = film_rolls(costing, film, day)
    if prices.empty:
        bought = costing.purchase_lines.query("kind == 'film'")["item"].dropna().unique()
        raise NoKit(
            f"No roll width of {film} is known from purchases{meant(film, bought) or '.'} "
            "Enter a purchase of it with its roll_width, or take another film."
        )
    sheets = film_sheets(costing, records, film, day, use_offcuts=False).sheets
    return KitRolls(film, tuple((sheet, float(prices[sheet.width_m])) for sheet in sheets))


def kit_pieces(
    sized: pd.DataFrame, rolls: KitRolls, settings: Settings
) -> tuple[tuple[KitPiece, ...], tuple[str, ...]]:
    """Pieces with the extra allowance, rounded up to the tape's marks, and what is to be said.

    `sized` : a row a panel, `panel, pieces`, finished sizes, and `piece_length_m, piece_width_m` as
    the shop itself cuts them. Across the widest roll the extra gives way where it must; the shop's
    own allowance never does: `NoKit` where it would have to.
    """
    extra, mark = 2 * settings.extra_allowance_m, tape_mark_m(settings.length_unit)
    may_turn = rolls.film not in settings.film.directional
    pieces, notes = [], []
    for row in sized.to_dict("records"):
        own = (row["piece_length_m"], row["piece_width_m"])
        length, width = (up_to_mark(side + extra, mark) for side in own)
        across = 0 if may_turn and length < width else 1
        if own[across] > rolls.widest_m + _FITS:
            raise NoKit(_too_wide(row["panel"], own, rolls, settings, may_turn=may_turn))
        if (length, width)[across] > rolls.widest_m + _FITS:
            held = max(rolls.widest_m, own[across])
            length, width = (length, held) if across else (held, width)
            notes.append(f"The extra allowance of {row['panel']} gives way across the roll.")
        pieces.append(
            KitPiece(
                panel=row["panel"],
                number=int(row["pieces"]),
                length_m=length,
                width_m=width,
                finished_length_m=row["finished_length_m"],
                finished_width_m=row["finished_width_m"],
            )
        )
    return tuple(pieces), tuple(dict.fromkeys(notes))


def _too_wide(
    panel: str, own: tuple[float, float], rolls: KitRolls, settings: Settings, *, may_turn: bool
) -> str:
    kept = "" if may_turn else " and may not be turned"
    return (
        f"{panel} is {size_words(*own, settings)} with the shop's own allowance{kept}; the widest "
        f"roll of {rolls.film} is {length_words(rolls.widest_m, settings)}. Take a wider film, or "
        "lay it in two pieces with a seam."
    )


def lay_out_kit(
    pieces: tuple[KitPiece, ...], rolls: KitRolls, settings: Settings, rule: StripRule
) -> KitLayout:
    """The pieces on the roll on which the film that the price pays for costs least.

    Raises `NoKit` where a piece fits none of them.
    """
    laid = [
        piece
        for each in pieces
        for piece in numbered(
            each.panel,
            each.number,
            (each.length_m, each.width_m),
            settings.film.directional,
            rolls.film,
            "",
        )
    ]
    ways = [_on_roll(laid, roll, price, settings, rule) for roll, price in rolls.rolls]
    found = [way for way in ways if way is not None]
    if not found:
        widest, longest = (length_words(m, settings) for m in (rolls.widest_m, rolls.longest_m))
        raise NoKit(
            f"A piece of it fits on no roll of {rolls.film}, {widest} wide and {longest} long at "
            "most. Take another film, or lay it in two pieces with a seam."
        )
    # A roll without a price comes after all that have one; among those the least film.
    priced = [way for way in found if not math.isnan(way.film_cost)]
    if not priced:
        return min(found, key=lambda way: way.film_area_m2)
    return min(priced, key=lambda way: (way.film_cost, way.film_area_m2))


def _on_roll(
    pieces: Sequence[Piece], roll: Sheet, price: float, settings: Settings, rule: StripRule
) -> KitLayout | None:
    """The pieces on one roll; None where it does not hold them."""
    try:
        layout = _pulled(pieces, roll, settings)
    except PieceTooWide:
        return None
    layout = in_turn(layout, pieces)
    check_layout(layout, pieces, settings.knife_gap_m)
    # What is free beside the pieces of every pull is free along the whole length.
    used = max(each.across_m + each.width_m for pull in layout.pulls for each in pull.placed)
    strip = max(roll.width_m - used, 0.0)
    area = layout.length_m * (used + float(rule.paid_width_m(strip)))
    notes = []
    if rule.words(strip) == KEEP_STRIP:
        notes.append(f"Keep the strip beside it, {length_words(strip, settings)} wide.")
    if len(layout.pulls) > 1:
        notes.append(f"Cut in {len(layout.pulls)} pulls.")
    if any(pull.length_m > settings.longest_pull_m + LEAST_LENGTH for pull in layout.pulls):
        longest = length_words(settings.longest_pull_m, settings)
        notes.append(f"A piece is longer than is pulled at once, {longest}.")
    return KitLayout(layout, roll.width_m, area, area * price, tuple(notes))


def _pulled(pieces: Sequence[Piece], roll: Sheet, settings: Settings) -> Layout:
    """In one pull, else in several of which none is longer than may be.

    A piece that is longer than is pulled at once is cut off the roll all the same.
    """
    gap = settings.knife_gap_m
    layout = pack_quick(pieces, replace(roll, longest_m=math.inf), gap)
    longest = min(roll.longest_m, settings.longest_pull_m) + LEAST_LENGTH
    if layout.length_m > longest:
        layout = layout_apart(layout, gap)
    if any(pull.length_m > longest for pull in layout.pulls):
        of_pieces = max(piece.length_m for piece in pieces)
        may_be = min(roll.longest_m, max(settings.longest_pull_m, of_pieces))
        layout = pack_cheapest(pieces, [replace(roll, longest_m=may_be)], gap, _EFFORT)
    pulls = tuple(replace(pull, sheet=roll) for pull in layout.pulls)
    return replace(layout, pulls=pulls)
