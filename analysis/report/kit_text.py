"""A kit in words: its pieces as they are cut and as they stay, its prices, and a plain object."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from analysis.errors import Unreconciled
from analysis.locale_text import MISSING, counted
from analysis.pricing.counter_kits import Kit
from analysis.pricing.kit_layout import KitPiece
from analysis.report.kit_cautions import KIT_CAUTIONS
from analysis.report.layout_text import Tape, first_numbers, in_order
from analysis.report.numbers import Numbers, typed
from analysis.settings import Settings
from analysis.units import metres_per, square_metres_per

# What stands where a price is not known: for the customer, and on the screen.
ASK: Final = "ask"
NOT_KNOWN: Final = "not known"
_PLACES: Final = 6
# `front doors 1 of 2` is a piece of the panel front doors.
_OF_SEVERAL: Final = re.compile(r" \d+ of \d+\Z")
_LENGTHS: Final = ("length_m", "width_m", "finished_length_m", "finished_width_m")


@dataclass(frozen=True)
class KitRow:
    """Equal pieces of a panel: their numbers in the drawing, and their sizes by the tape."""

    numbers: str
    panel: str
    count: int
    cut: str
    finished: str


def kit_rows(kit: Kit, settings: Settings) -> tuple[KitRow, ...]:
    """The cut list of a kit, by panel and size, in the order of the drawing.

    Raises `Unreconciled` where a piece is drawn that the kit does not hold.
    """
    tape, pulls = Tape(settings), kit.layout.pulls
    same: dict[tuple[str, str, str], list[int]] = {}
    for pull, first in zip(pulls, first_numbers(pulls), strict=True):
        for number, each in enumerate(in_order(pull), start=first):
            piece = each.piece
            own = _piece_of(kit, piece.name, (piece.length_m, piece.width_m))
            cut = _size(tape, own.length_m, own.width_m)
            finished = _size(tape, own.finished_length_m, own.finished_width_m)
            same.setdefault((typed(own.panel), cut, finished), []).append(number)
    return tuple(
        KitRow(spans(numbers), panel, len(numbers), cut, finished)
        for (panel, cut, finished), numbers in same.items()
    )


def _piece_of(kit: Kit, name: str, size: tuple[float, float]) -> KitPiece:
    """The piece of the kit that is drawn under a name: of those of its panel that of its size."""
    own = [each for each in kit.pieces if each.panel == name] or [
        each for each in kit.pieces if each.panel == _OF_SEVERAL.sub("", name)
    ]
    if not own:
        raise Unreconciled(f"The kit's drawing holds {name}, which is none of its pieces.")
    return min(own, key=lambda each: math.dist(size, (each.length_m, each.width_m)))


def _size(tape: Tape, length_m: float, width_m: float) -> str:
    if math.isnan(length_m) or math.isnan(width_m):
        return MISSING
    return f"{tape.read(length_m)} × {tape.read(width_m)}"


def spans(numbers: Sequence[int]) -> str:
    """`2`, `2–4, 7`: numbers that follow one another as one span."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}–{run[-1]}" if len(run) > 1 else f"{run[0]}" for run in runs)


def price_text(price: float, settings: Settings, missing: str) -> str:
    """A price as it is asked: cents only where it has some."""
    if math.isnan(price):
        return missing
    return Numbers(settings).money(price, 0 if abs(price - round(price)) < 0.005 else 2)


def kit_name(kit: Kit) -> str:
    """`roof, midsize car`, with the vehicle where one was named."""
    vehicle = " ".join(each for each in (kit.make, kit.model) if each)
    return ", ".join(typed(each) for each in (kit.service, vehicle, kit.vehicle_class) if each)


def cut_off(kit: Kit, settings: Settings) -> str:
    """What to cut: `73 in off the roll of 60 in`, with `, in 3 pulls` where it takes several."""
    tape, pulls = Tape(settings), len(kit.layout.pulls)
    length = f"a length that is {NOT_KNOWN}"
    if not math.isnan(kit.cut_length_m):
        length = tape.length(tape.covering(kit.cut_length_m))
    several = f", in {pulls} pulls" if pulls > 1 else ""
    return f"{length} off the roll of {tape.length(kit.roll_width_m)}{several}"


def allowance_text(kit: Kit, settings: Settings) -> str | None:
    """What to trim a side, on the mean; None where nothing, or not known."""
    return Tape(settings).length(kit.allowance_m) if kit.allowance_m > 0 else None


# --- on the screen -------------------------------------------------------------------------------


def kit_lines(
    kit: Kit, settings: Settings, notes: Sequence[str] = (), questions: Sequence[str] = ()
) -> list[str]:
    """The kit in plain lines for whoever serves: what the customer sees, and what it leaves.

    `notes` : what is to be said about the question, beside the kit's own; `questions` : what is to
    be asked before any price is told.
    """
    titles = "; ".join(title for title, _ in KIT_CAUTIONS)
    return [
        *(typed(question) for question in questions),
        *_for_both(kit, settings),
        _for_the_shop(kit, settings),
        *(f"Note: {typed(note)}" for note in (*notes, kit.note) if note),
        f"Cautions on the sheet: {titles}.",
    ]


def _for_both(kit: Kit, settings: Settings) -> Iterator[str]:
    unit = Tape(settings).unit
    rows = kit_rows(kit, settings)
    pieces = counted(sum(row.count for row in rows), "piece")
    yield f"Kit: {kit_name(kit)}, in {typed(kit.film)}."
    yield f"Cut {cut_off(kit, settings)}: {pieces}."
    for row in rows:
        many = "" if row.count == 1 else f" ({counted(row.count, 'piece')})"
        stays = "" if row.finished == MISSING else f", finished {row.finished} {unit}"
        yield f"  {row.numbers:>5}  {row.panel}{many}: cut {row.cut} {unit}{stays}"
    yield f"Price of the kit: {price_text(kit.price, settings, NOT_KNOWN)}"
    more = ""
    if kit.install_for_model > 0:
        more = f" ({price_text(kit.install_for_model, settings, NOT_KNOWN)} of it for this model)"
    yield f"Price of the install: {price_text(kit.install_price, settings, NOT_KNOWN)}{more}"


def _for_the_shop(kit: Kit, settings: Settings) -> str:
    lowest, leaves = (
        NOT_KNOWN if math.isnan(amount) else Numbers(settings).money(amount, 2)
        for amount in (kit.lowest_price, kit.install_leaves)
    )
    return f"For you, not on the sheet. Lowest price: {lowest}. An install leaves: {leaves}."


# --- for a machine -------------------------------------------------------------------------------


def kit_object(
    kit: Kit,
    settings: Settings,
    as_of: pd.Timestamp,
    notes: Sequence[str] = (),
    sheet: Path | None = None,
) -> dict[str, Any]:
    """The kit as plain values in the shop's units; missing is None, numbers to 6 places.

    `as_of` : the day of its prices; `notes` : as in `kit_lines`; `sheet` : where it was written.
    """
    unit, square = metres_per(settings.length_unit), square_metres_per(settings.area_unit)

    def piece(each: KitPiece) -> dict[str, Any]:
        values = asdict(each)
        lengths = {name: _number(values[name] / unit) for name in _LENGTHS}
        own = {name: values[name] for name in values if name not in lengths}
        return own | {name.removesuffix("_m"): value for name, value in lengths.items()}

    money = ("film_cost", "lowest_price", "price", "install_price", "install_leaves")
    for_model = _number(kit.install_for_model)
    return {
        "service": kit.service,
        "vehicle_class": kit.vehicle_class,
        "make": kit.make,
        "model": kit.model,
        "film": kit.film,
        "as_of": as_of.date().isoformat(),
        "currency": settings.currency,
        "length_unit": settings.length_unit,
        "area_unit": settings.area_unit,
        "pieces": [piece(each) for each in kit.pieces],
        "allowance": _number(kit.allowance_m / unit),
        "roll_width": _number(kit.roll_width_m / unit),
        "cut_length": _number(kit.cut_length_m / unit),
        "film_area": _number(kit.film_area_m2 / square),
        **{name: _number(getattr(kit, name)) for name in money},
        "install_price_for_model": for_model,
        "notes": [note for note in (*notes, kit.note) if note],
        "cautions": [title for title, _ in KIT_CAUTIONS],
        "sheet": None if sheet is None else str(sheet),
    }


def _number(value: float) -> float | None:
    return round(float(value), _PLACES) if math.isfinite(value) else None
