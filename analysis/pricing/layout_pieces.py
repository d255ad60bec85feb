"""The pieces that a layout lays out: those of jobs, cut or not, and those of a pieces file.

A job that was cut gives its pieces as they were logged; one that was not gives the finished sizes
of `panels` with the shop's usual allowance on every side. Sizes worked out here are rounded up to
the finest mark of the shop's tape, so that a layout can be cut as it is read.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import WorkbookError
from analysis.packing.layouts import LEAST_LENGTH, Piece
from analysis.pricing.asked import as_known, meant
from analysis.pricing.film_needed import film_history, panels_needed, usual_film
from analysis.pricing.usual_sizes import (
    ALL_PANELS,
    Vehicle,
    listed_panels,
    usual_allowance,
)
from analysis.records.model import Records
from analysis.units import INCH_M

# Common practice: a tape in inches is read to the eighth, a metric one to the millimetre.
_EIGHTH: Final = float(INCH_M) / 8
_INCHES: Final = frozenset({"in", "ft", "yd"})
# More than this is no layout that a person cuts in one go.
MOST_PIECES: Final = 300
# The widest roll of a film, by its code. [m]
Widest = Callable[[str], float]


@dataclass(frozen=True)
class Before:
    """How the pieces were cut then: pulls, what they took of rolls and offcuts, what was kept.

    `off_rolls` : a pair a pull off a roll, its length and width. [m]
    """

    pulls: int
    off_rolls: tuple[tuple[float, float], ...]
    offcut_area_m2: float
    kept_area_m2: float

    @property
    def roll_length_m(self) -> float:
        """Length pulled off rolls. [m]"""
        return sum(length for length, _ in self.off_rolls)

    @property
    def roll_area_m2(self) -> float:
        """Film pulled off rolls. [m²]"""
        return sum(length * width for length, width in self.off_rolls)


@dataclass(frozen=True)
class PieceSet:
    """The pieces of one film. `before` : where all of them were cut already; else None.

    `warning` : what would ruin film if it were missed; empty without.
    """

    film: str
    pieces: tuple[Piece, ...]
    before: Before | None = None
    notes: tuple[str, ...] = ()
    warning: str = ""


WITHOUT_ALLOWANCE: Final = (
    "No allowance is known: some of these pieces are at their finished size, with nothing to tuck "
    "in or to hold. Do not cut from this sheet: lay out again with --allowance."
)


def tape_mark_m(length_unit: str) -> float:
    """The finest mark of a tape in the shop's unit. [m]"""
    return _EIGHTH if length_unit in _INCHES else 0.001


def up_to_mark(length_m: float, mark_m: float) -> float:
    """A length rounded up to the next mark; one that is on a mark stays. [m]"""
    return math.ceil(length_m / mark_m - LEAST_LENGTH / mark_m) * mark_m


def pieces_of_jobs(
    costing: Costing,
    records: Records,
    jobs: Sequence[str],
    until: pd.Timestamp,
    *,
    widest: Widest,
    film: str | None = None,
    allowance_m: float | None = None,
) -> tuple[PieceSet, ...]:
    """The pieces of jobs, one set a film, in the order in which the films come.

    Parameters
    ----------
    jobs : numbers of jobs, matched but for case, spaces and hyphens
    until : the day on which it is asked
    widest : the widest roll of each film; the allowance of a piece gives way where it is too narrow
    film : laid out in this film instead of the jobs' own
    allowance_m : allowance a side for pieces not cut yet (None: the shop's usual one) [m]

    Raises
    ------
    WorkbookError
        A job that is not in the records, or of which no piece is known.
    """
    lines = costing.lines.reset_index(drop=True)
    pulls = costing.shelf.pulls
    first = pulls[(pulls["reason"] == "first") & pulls["cut_id"].notna()]
    found: list[PieceSet] = []
    for job in _known_jobs(jobs, lines):
        own = lines[lines["job_id"] == job]
        cut = first[first["job_line"].isin(own.index)]
        found += _as_cut(job, cut, records)
        waiting = own[~own.index.isin(cut["job_line"].astype("int64"))]
        sets = [
            _to_cut(costing, records, line, until, widest, film, allowance_m)
            for line in waiting.to_dict("records")
        ]
        found += [each for each in sets if each is not None]
        if not len(cut) and not any(sets):
            raise WorkbookError(
                f"No piece of job {job} is known: no cut is logged for it, and panels has no sizes "
                "for its services on this vehicle. Write them into panels, or into a file for "
                "--pieces."
            )
    if film is not None:
        # What another film took then says nothing about this one.
        found = [
            replace(each, film=film, before=each.before if each.film == film else None)
            for each in found
        ]
    return by_film(found)


def by_film(sets: Sequence[PieceSet]) -> tuple[PieceSet, ...]:
    """Sets of the same film as one; what was cut then only where all of it was."""
    joined = []
    for film in dict.fromkeys(each.film for each in sets):
        own = [each for each in sets if each.film == film]
        cut = [each.before for each in own if each.before is not None]
        pieces = tuple(piece for each in own for piece in each.pieces)
        if len(pieces) > MOST_PIECES:
            raise WorkbookError(
                f"{len(pieces)} pieces of {film or 'film'} are more than one layout holds "
                f"({MOST_PIECES}). Lay out fewer jobs at a time."
            )
        notes = dict.fromkeys(note for each in own for note in each.notes)
        before = _added(cut) if len(cut) == len(own) else None
        warning = next((each.warning for each in own if each.warning), "")
        joined.append(PieceSet(film, pieces, before, tuple(notes), warning))
    return tuple(joined)


def _added(parts: Sequence[Before]) -> Before:
    return Before(
        sum(each.pulls for each in parts),
        tuple(pull for each in parts for pull in each.off_rolls),
        sum(each.offcut_area_m2 for each in parts),
        sum(each.kept_area_m2 for each in parts),
    )


def _known_jobs(jobs: Sequence[str], lines: pd.DataFrame) -> list[str]:
    known = lines["job_id"].drop_duplicates().tolist()
    found = []
    for job in jobs:
        name = as_known(job.strip(), known)
        if name is None:
            hint = meant(job, known) or ". Look it up in jobs, or give a file with --pieces."
            raise WorkbookError(f"There is no job {job} in the records{hint}")
        found.append(name)
    return list(dict.fromkeys(found))


# --- as they were cut ----------------------------------------------------------------------------


def _as_cut(job: str, cut: pd.DataFrame, records: Records) -> list[PieceSet]:
    """The pieces of a job's first-time cuts, a set a film."""
    cut = cut[cut["pulled_m2"].notna() & cut["film"].notna()]
    return [
        PieceSet(
            str(film),
            tuple(piece for row in rows.to_dict("records") for piece in _logged(job, row, records)),
            _cut_then(rows),
            tuple(
                f"{row['cut_id']} has no piece sizes: what was pulled for it stands as one piece."
                for row in rows[~_has_sizes(rows)].to_dict("records")
            ),
        )
        for film, rows in cut.groupby("film", sort=False)
    ]


def _has_sizes(rows: pd.DataFrame) -> pd.Series:
    return rows["piece_length_m"].notna() & rows["piece_width_m"].notna()


def _logged(job: str, row: dict[Any, Any], records: Records) -> list[Piece]:
    panel = row["panel"] if isinstance(row["panel"], str) else f"cut {row['cut_id']}"
    count, size = int(row["pieces"]), (row["piece_length_m"], row["piece_width_m"])
    if any(np.isnan(size)):
        count, size = 1, (row["pulled_length_m"], row["pulled_width_m"])
    return numbered(panel, count, size, records.settings.film.directional, row["film"], job)


def numbered(
    panel: str,
    count: int,
    size: tuple[float, float],
    directional: Sequence[str],
    film: str,
    owner: str,
) -> list[Piece]:
    """Equal pieces of a panel: `front doors 1 of 2`."""
    names = [panel] if count == 1 else [f"{panel} {at} of {count}" for at in range(1, count + 1)]
    return [Piece(name, *size, may_turn=film not in directional, owner=owner) for name in names]


def _cut_then(rows: pd.DataFrame) -> Before:
    roll = rows["source"] != "offcut"
    return Before(
        len(rows),
        tuple(
            zip(
                rows.loc[roll, "pulled_length_m"].tolist(),
                rows.loc[roll, "pulled_width_m"].tolist(),
                strict=True,
            )
        ),
        float(rows.loc[~roll, "pulled_m2"].sum()),
        float(rows["kept_m2"].sum()),
    )


# --- still to cut --------------------------------------------------------------------------------


def _to_cut(
    costing: Costing,
    records: Records,
    line: dict[Any, Any],
    until: pd.Timestamp,
    widest: Widest,
    film: str | None,
    allowance_m: float | None,
) -> PieceSet | None:
    """The pieces of a job line that nothing was cut for; None where it is not known to take any."""
    history = film_history(costing, records, until)
    service, size = line["service"], line["vehicle_class"]
    vehicle = Vehicle(line["make"], line["model"], size if isinstance(size, str) else None)
    notes, warning = [], ""
    own = line["film"] if isinstance(line["film"], str) else None
    if own is None and film is None:
        own = usual_film(history, service, until).film
        if own is None:
            return None
        notes.append(f"{line['job_id']} names no film: {own}, the usual one for {service}.")
    chosen = film or own or ""
    sizes = listed_panels(history.panels, service, vehicle)
    directional = records.settings.film.directional
    if len(sizes):
        allowed, warning = _with_allowance(sizes, costing, until, allowance_m)
        allowed, fewer = _given_way(allowed, widest(chosen), may_turn=chosen not in directional)
        notes += fewer
    else:
        allowed = panels_needed(history, service, vehicle, own)
        notes += [
            f"{line['job_id']}, {service}: no sizes in panels, pieces {source}."
            for source in allowed["source"].unique()
        ]
    if allowed.empty:
        return None
    mark = tape_mark_m(records.settings.length_unit)
    pieces = tuple(
        piece
        for row in allowed.to_dict("records")
        for piece in numbered(
            row["panel"],
            int(row["pieces"]),
            (up_to_mark(row["piece_length_m"], mark), up_to_mark(row["piece_width_m"], mark)),
            directional,
            chosen,
            line["job_id"],
        )
    )
    return PieceSet(chosen, pieces, None, tuple(notes), warning)


def _with_allowance(
    sizes: pd.DataFrame, costing: Costing, until: pd.Timestamp, allowance_m: float | None
) -> tuple[pd.DataFrame, str]:
    """Pieces as they will be cut, `piece_length_m` and `piece_width_m` added to the sizes.

    With a warning where no allowance is known.
    """
    length, width = sizes["finished_length_m"], sizes["finished_width_m"]
    warning = ""
    if allowance_m is not None:
        long = short = pd.Series(allowance_m, index=sizes.index)
    else:
        usual = usual_allowance(costing.shelf.pulls, until)
        own, whole = usual.reindex(sizes["panel"]).set_axis(sizes.index), usual.loc[ALL_PANELS]
        if whole.isna().any():
            warning = WITHOUT_ALLOWANCE
        long, short = (own[name].fillna(whole[name]).fillna(0.0) for name in ("long_m", "short_m"))
    is_long = length >= width
    pieces = sizes.assign(
        piece_length_m=length + 2 * long.where(is_long, short),
        piece_width_m=width + 2 * short.where(is_long, long),
    )
    return pieces, warning


def _given_way(
    pieces: pd.DataFrame, widest_m: float, *, may_turn: bool
) -> tuple[pd.DataFrame, list[str]]:
    """Pieces whose allowance gives way where the widest roll could hold them without it.

    The side across the roll: the shorter of a piece that may turn, else its width.
    """
    turned = may_turn & (pieces["piece_length_m"] < pieces["piece_width_m"])
    length, width = pieces["piece_length_m"], pieces["piece_width_m"]
    across = width.where(~turned, length)
    finished = pieces["finished_width_m"].where(~turned, pieces["finished_length_m"])
    over = (across > widest_m + LEAST_LENGTH) & (finished <= widest_m + LEAST_LENGTH)
    notes = [
        f"The allowance of {panel} gives way across the roll, which is no wider."
        for panel in pieces.loc[over, "panel"].unique()
    ]
    fitted = pieces.assign(
        piece_length_m=length.mask(over & turned, widest_m),
        piece_width_m=width.mask(over & ~turned, widest_m),
    )
    return fitted, notes
