"""The film that a layout is cut from: rolls as they are bought, at today's price, and offcuts."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.costing.purchases import after_credits
from analysis.errors import WorkbookError
from analysis.findings.offcuts import offcuts_on_shelf
from analysis.packing.layouts import LEAST_LENGTH, Layout, Piece, Sheet, check_layout
from analysis.pricing.asked import meant
from analysis.pricing.floor import replacement_cost
from analysis.pricing.layout_pieces import Before, PieceSet
from analysis.records.model import Records

# Packs pieces on rolls and offcuts with so much room between two of them. [m]
Packer = Callable[[Sequence[Piece], Sequence[Sheet], float], Layout]
# Widths that were not bought for so long are not ordered any more. Common practice.
_MONTHS: Final = 24


@dataclass(frozen=True)
class FilmSheets:
    """What a film is cut from. `is_priced` : costs are money; else areas, in square metres."""

    sheets: tuple[Sheet, ...]
    is_priced: bool


def roll_prices(costing: Costing, film: str, until: pd.Timestamp) -> pd.Series:
    """Newest landed cost of a square metre, by roll width [m], of the last 24 months (else ever).

    Credits are taken off; lines of one day count by their area.
    """
    lines = costing.purchase_lines
    lines = lines[
        (lines["kind"] == "film")
        & (lines["item"] == film)
        & (lines["received_on"] <= until)
        & (lines["area_m2"] > 0)
    ]
    recent = lines["received_on"] > until - pd.DateOffset(months=_MONTHS)
    lines = lines[recent] if recent.any() else lines
    width = lines["roll_width_m"].round(5)
    newest = lines["received_on"] == lines.groupby(width)["received_on"].transform("max")
    paid = after_credits(lines, costing.credits, until)[newest].groupby(width).sum()
    area = lines.loc[newest, "area_m2"].groupby(width).sum()
    prices: pd.Series = paid / area
    return prices.sort_index(ascending=False)


def _longest_roll_m(costing: Costing, film: str, until: pd.Timestamp) -> float:
    """The longest roll of a film that was bought; infinite where none is known. [m]"""
    lines = costing.purchase_lines
    own = lines[(lines["item"] == film) & (lines["received_on"] <= until) & (lines["area_m2"] > 0)]
    longest = own["roll_length_m"].max()
    return math.inf if pd.isna(longest) else float(longest)


def widest_roll_m(
    costing: Costing, film: str, until: pd.Timestamp, widths_m: Sequence[float]
) -> float:
    """The widest roll that may be used; infinite where none is known. [m]"""
    known = list(widths_m) or roll_prices(costing, film, until).index.tolist()
    return max(known, default=math.inf)


def film_sheets(
    costing: Costing,
    records: Records,
    film: str,
    until: pd.Timestamp,
    *,
    widths_m: Sequence[float] = (),
    longest_m: float = math.inf,
    use_offcuts: bool = True,
) -> FilmSheets:
    """Rolls and offcuts of a film.

    Parameters
    ----------
    widths_m : widths of rolls to use instead of those bought; cost by the film's newest
    longest_m : longest pull off a roll
    use_offcuts : whether the offcuts on the shelf may be used, those whose sizes are known

    Raises
    ------
    WorkbookError
        No roll width of the film is known.
    """
    if widths_m:
        a_square = replacement_cost(costing, film, until)
        prices = pd.Series(a_square, index=sorted(set(widths_m), reverse=True), dtype="float64")
    else:
        prices = roll_prices(costing, film, until)
    if prices.empty:
        bought = costing.purchase_lines.query("kind == 'film'")["item"].dropna().unique()
        hint = meant(film, bought) if film else ""
        name = f"the film {film}" if film else "a film without a name"
        raise WorkbookError(
            f"No roll width of {name} is known from purchases{hint or '.'} "
            "Give the width with --roll-width, or the film with --film."
        )
    is_priced = bool((prices > 0).all())
    if not is_priced:
        prices = pd.Series(1.0, index=prices.index)
    longest = min(longest_m, _longest_roll_m(costing, film, until))
    rolls = [
        Sheet("roll", width, longest, price * width)
        for width, price in zip(prices.index.tolist(), prices.tolist(), strict=True)
    ]
    offcuts = _offcuts(costing, records, film, until) if use_offcuts else []
    return FilmSheets((*rolls, *offcuts), is_priced)


def _offcuts(costing: Costing, records: Records, film: str, until: pd.Timestamp) -> list[Sheet]:
    held = offcuts_on_shelf(costing, records, until)
    if not isinstance(held, pd.DataFrame):
        return []
    own = held[
        (held["film"] == film) & held["kept_length_m"].notna() & held["kept_width_m"].notna()
    ]
    return [
        Sheet(str(cut_id), float(width), float(length), 0.0, is_offcut=True)
        for cut_id, length, width in own[["cut_id", "kept_length_m", "kept_width_m"]].itertuples(
            index=False
        )
    ]


# --- laid out ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class OneByOne:
    """Each piece pulled by itself off the roll that is cheapest for it; cost as the layout's."""

    length_m: float
    area_m2: float
    cost: float


@dataclass(frozen=True)
class FilmLayout:
    """The layout of one film's pieces.

    `is_priced` : the layout's cost is money; else square metres. `alone` : what the pieces would
    take one by one; `before` : how they were cut then, where they were, and `before_cost` what the
    rolls' film of that would cost now (NaN: a roll of a width without a price); `knife_gap_m` :
    room between two pieces [m]; `warning` : what would ruin film if it were missed.
    """

    film: str
    layout: Layout
    is_priced: bool
    alone: OneByOne
    before: Before | None
    before_cost: float
    knife_gap_m: float
    notes: tuple[str, ...] = ()
    warning: str = ""


def lay_out(asked: PieceSet, film: FilmSheets, knife_gap_m: float, pack: Packer) -> FilmLayout:
    """Lay out the pieces of a film and hold the result against what it claims.

    Every piece must fit one of the rolls or offcuts, see `too_large`. Raises `Unreconciled` where
    the layout could not be cut: a fault of the program.
    """
    layout = in_turn(pack(asked.pieces, film.sheets, knife_gap_m), asked.pieces)
    check_layout(layout, asked.pieces, knife_gap_m)
    rolls = [sheet for sheet in film.sheets if not sheet.is_offcut]
    return FilmLayout(
        asked.film,
        layout,
        film.is_priced,
        alone(asked.pieces, rolls),
        asked.before,
        _cost_now(asked.before, rolls),
        knife_gap_m,
        asked.notes,
        asked.warning,
    )


def in_turn(layout: Layout, pieces: Sequence[Piece]) -> Layout:
    """The same layout with pieces of one size and job in the order in which they were asked for."""
    waiting: dict[tuple[object, ...], list[Piece]] = {}
    for piece in reversed(pieces):
        waiting.setdefault(_kind(piece), []).append(piece)
    pulls = [
        replace(
            pull,
            placed=tuple(
                replace(each, piece=waiting[_kind(each.piece)].pop())
                for each in sorted(pull.placed, key=lambda at: (at.along_m, at.across_m))
            ),
        )
        for pull in layout.pulls
    ]
    return replace(layout, pulls=tuple(pulls))


def _kind(piece: Piece) -> tuple[object, ...]:
    return piece.length_m, piece.width_m, piece.may_turn, piece.owner


def _cost_now(before: Before | None, rolls: Sequence[Sheet]) -> float:
    """What film pulled then would cost off the rolls of today."""
    if before is None:
        return math.nan
    prices = {round(roll.width_m, 4): roll.cost_per_m for roll in rolls}
    return sum(length * prices.get(round(width, 4), math.nan) for length, width in before.off_rolls)


def alone(pieces: Sequence[Piece], rolls: Sequence[Sheet]) -> OneByOne:
    """What the pieces take when each is pulled by itself, the shorter way where it may turn."""
    length = area = total = 0.0
    for piece in pieces:
        ways = [
            (needed * roll.cost_per_m, needed, roll.width_m)
            for roll in rolls
            if math.isfinite(needed := _needed_m(piece, roll))
        ]
        cost, needed, width = min(ways, default=(math.nan, math.nan, math.nan))
        length, area, total = length + needed, area + needed * width, total + cost
    return OneByOne(length, area, total)


def too_large(pieces: Sequence[Piece], sheets: Sequence[Sheet]) -> Piece | None:
    """The first piece that no sheet holds; None where all fit somewhere."""
    for piece in pieces:
        if not any(math.isfinite(_needed_m(piece, sheet)) for sheet in sheets):
            return piece
    return None


def _needed_m(piece: Piece, sheet: Sheet) -> float:
    """The shortest pull of a sheet that holds a piece; infinite where none does. [m]"""
    sizes = [(piece.length_m, piece.width_m)]
    if piece.may_turn:
        sizes.append((piece.width_m, piece.length_m))
    fits = [
        along
        for along, across in sizes
        if along <= sheet.longest_m + LEAST_LENGTH and across <= sheet.width_m + LEAST_LENGTH / 4
    ]
    return min(fits, default=math.inf)
