"""The cutting layout of jobs, or of a file of pieces: from a records folder to layouts."""

import hashlib
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import WorkbookError
from analysis.packing.layouts import Layout, Piece, Sheet
from analysis.packing.pack import layout_apart, pack_cheapest
from analysis.pricing.asked import as_known
from analysis.pricing.layout_pieces import PieceSet, pieces_of_jobs
from analysis.pricing.layout_sheets import (
    FilmLayout,
    FilmSheets,
    Packer,
    film_sheets,
    lay_out,
    too_large,
    widest_roll_m,
)
from analysis.pricing.pieces_file import read_pieces
from analysis.records.model import Records
from analysis.report.folder import beside
from analysis.report.layout_text import Tape
from analysis.report.numbers import typed
from analysis.review import read_and_cost
from analysis.safe_text import name_on_one_line
from analysis.settings import Settings
from analysis.units import LENGTH_FORMS, UnitError, parse_length

# Characters of a file's name that say whose layout it is.
_LONGEST_NAME: Final = 80
DEFAULT_EFFORT: Final = 10.0


@dataclass(frozen=True)
class LayoutAsked:
    """What a person asks for; lengths as they typed them, in the shop's unit or with their own.

    Either `jobs` or `pieces_file`. None, and no widths: as the records and settings have it.
    `effort` : about seconds to look for a better layout of a film.
    """

    jobs: tuple[str, ...] = ()
    pieces_file: Path | None = None
    roll_widths: tuple[str, ...] = ()
    film: str | None = None
    gap: str | None = None
    allowance: str | None = None
    longest_pull: str | None = None
    keep_direction: bool = False
    use_offcuts: bool = True
    effort: float = DEFAULT_EFFORT


@dataclass(frozen=True, eq=False)
class LayoutPlan:
    """The layouts that were asked for, a film each; `what` says whose pieces they are."""

    films: tuple[FilmLayout, ...]
    records: Records
    what: str


def prepare_layout(
    folder: Path | str,
    asked: LayoutAsked,
    progress: Callable[[str], None] | None = None,
    pack: Packer | None = None,
) -> LayoutPlan:
    """Lay out what is asked, each film by itself, on the film that the shop has or buys.

    `pack` stands in for the package's own way of packing. Raises `WorkbookError` for whatever is
    not known or does not fit: one line with what to do.
    """
    say = progress or (lambda _: None)
    records, costing, until = read_and_cost(folder, say)
    settings = records.settings
    widths = tuple(_length(each, "--roll-width", settings) for each in asked.roll_widths)
    sets = _pieces(costing, records, until, asked, widths)
    if asked.keep_direction:
        sets = tuple(_kept(each) for each in sets)
    gap = settings.knife_gap_m
    if asked.gap is not None:
        gap = _length(asked.gap, "--gap", settings, may_be_zero=True)
    longest = settings.longest_pull_m
    if asked.longest_pull is not None:
        longest = _length(asked.longest_pull, "--longest-pull", settings)
    packer = pack or _packer(asked.effort, longest)
    films = []
    for each in sets:
        sheets = film_sheets(
            costing,
            records,
            each.film,
            until,
            widths_m=widths,
            longest_m=longest,
            # Pieces that were cut then are compared with rolls, not with what lies there today.
            use_offcuts=asked.use_offcuts and each.before is None,
        )
        _refuse_too_large(each, sheets, settings)
        say(f"laying out {each.film}")
        films.append(lay_out(each, sheets, gap, packer))
    return LayoutPlan(tuple(films), records, _what(asked))


def _packer(effort: float, longest_m: float) -> Packer:
    """The package's own packing; without a longest pull, in pulls as short as they part."""

    def pack(pieces: Sequence[Piece], sheets: Sequence[Sheet], knife_gap_m: float) -> Layout:
        layout = pack_cheapest(pieces, sheets, knife_gap_m, effort)
        if math.isfinite(longest_m):
            return layout
        return layout_apart(layout, knife_gap_m)

    return pack


def _pieces(
    costing: Costing,
    records: Records,
    until: pd.Timestamp,
    asked: LayoutAsked,
    widths: Sequence[float],
) -> tuple[PieceSet, ...]:
    lines = costing.purchase_lines
    films = [
        *lines.loc[lines["kind"] == "film", "item"].dropna().unique(),
        *records["jobs"]["film"].dropna().unique(),
    ]
    film = None
    if asked.film is not None:
        written = records.settings.spelling("film", asked.film)
        film = as_known(written, films) or written.strip()
    allowance = None
    if asked.allowance is not None:
        allowance = _length(asked.allowance, "--allowance", records.settings, may_be_zero=True)
    if asked.pieces_file is not None:
        if allowance is not None:
            raise WorkbookError(
                "--allowance is for the panels of --jobs: the pieces of a file are cut at the size "
                "that stands there. Leave it out."
            )
        return read_pieces(asked.pieces_file, records.settings, film, films)
    return pieces_of_jobs(
        costing,
        records,
        asked.jobs,
        until,
        widest=lambda code: widest_roll_m(costing, code, until, widths),
        film=film,
        allowance_m=allowance,
    )


def _kept(pieces: PieceSet) -> PieceSet:
    """The same pieces, none of which may turn."""
    return replace(pieces, pieces=tuple(replace(each, may_turn=False) for each in pieces.pieces))


def _refuse_too_large(asked: PieceSet, film: FilmSheets, settings: Settings) -> None:
    piece = too_large(asked.pieces, film.sheets)
    if piece is None:
        return
    tape = Tape(settings)
    rolls = [sheet for sheet in film.sheets if not sheet.is_offcut]
    widest, longest = max(each.width_m for each in rolls), rolls[0].longest_m
    of_job = f" of {typed(piece.owner)}" if piece.owner else ""
    held = f"the widest roll of {typed(asked.film) or 'film'} is {tape.length(widest)}"
    if math.isfinite(longest):
        held += f", the longest pull {tape.length(longest)}"
    kept = "" if piece.may_turn else " and may not be turned"
    raise WorkbookError(
        f"{typed(piece.name)}{of_job} is {tape.size(piece.length_m, piece.width_m)}{kept}; {held}. "
        "Cut it in two, give a wider roll with --roll-width, or a smaller allowance with "
        "--allowance."
    )


def _length(text: str, option: str, settings: Settings, *, may_be_zero: bool = False) -> float:
    try:
        return parse_length(text, settings.length_unit, decimal_comma=settings.decimal_comma)
    except UnitError as error:
        if may_be_zero and str(error) == "is zero":
            return 0.0
        raise WorkbookError(f"{option}: '{text}' {error}; expected {LENGTH_FORMS}.") from error


def _what(asked: LayoutAsked) -> str:
    return name_on_one_line(asked.pieces_file.name) if asked.pieces_file else ", ".join(asked.jobs)


def default_layout_out(folder: Path, asked: LayoutAsked) -> Path:
    """Where the picture goes unless told otherwise: `layouts/layout-J1.html` beside the records."""
    names = [asked.pieces_file.stem] if asked.pieces_file else list(asked.jobs)
    plain = [re.sub(r"[^\w.-]+", "_", name).strip("._") for name in names]
    shown = "-".join(each for each in plain if each)
    if len(shown) > _LONGEST_NAME:
        # Two long lists that begin alike must not share a file.
        shown = f"{shown[:_LONGEST_NAME]}-{hashlib.sha256(shown.encode()).hexdigest()[:6]}"
    return beside(folder) / "layouts" / f"layout-{shown or 'pieces'}.html"
