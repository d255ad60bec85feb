"""A cutting layout in words: what to pull, and what to cut where, as a tape is read."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from analysis.locale_text import MISSING, counted, listed
from analysis.packing.layouts import LEAST_LENGTH, Placed, Pull
from analysis.pricing.layout_pieces import tape_mark_m, up_to_mark
from analysis.pricing.layout_sheets import FilmLayout
from analysis.pricing.tape_words import in_eighths
from analysis.report.cautions import CAUTIONS
from analysis.report.numbers import Numbers, typed
from analysis.settings import Settings
from analysis.units import metres_per, square_metres_per

BLADES: Final = dict(CAUTIONS)["Blades"]
# Places behind the decimal sign at which a metric unit shows a millimetre.
_PLACES: Final = {"mm": 0, "cm": 1, "m": 3}
_IN_WORDS: Final = {"in": "inches", "mm": "millimetres", "cm": "centimetres", "m": "metres"}
# Two rows of a cut list lie level where they start within so much of each other. [m]
_LEVEL: Final = 1e-4
# Areas that differ by less are as much: a square decimetre. [m²]
_SAME_M2: Final = 0.01
_SAME_MONEY: Final = 0.005


@dataclass(frozen=True)
class Tape:
    """Lengths as they are read off the shop's tape: inches to the eighth, metric to the mm."""

    settings: Settings

    @property
    def unit(self) -> str:
        """The unit that the tape is read in; feet and yards are read in inches."""
        return "in" if self.is_inches else self.settings.length_unit

    @property
    def is_inches(self) -> bool:
        """Whether the tape is in inches."""
        return self.settings.length_unit not in _PLACES

    @property
    def unit_in_words(self) -> str:
        """The unit in words: `inches`."""
        return _IN_WORDS[self.unit]

    def read(self, length_m: float) -> str:
        """A length at the nearest mark, without its unit: `58 3/8`, `152,4`."""
        if math.isnan(length_m):
            return MISSING
        if not self.is_inches:
            value = length_m / metres_per(self.unit)
            return Numbers(self.settings).number(value, _PLACES[self.unit])
        return in_eighths(length_m)

    def covering(self, length_m: float) -> float:
        """A length up to the next mark, so that a pull is never too short. [m]"""
        return up_to_mark(length_m, tape_mark_m(self.settings.length_unit))

    def tick(self, length_m: float) -> str:
        """A number on a ruler: no more places than a ruler has."""
        if self.is_inches:
            return self.read(length_m)
        places = 1 if self.unit == "m" else 0
        return Numbers(self.settings).number(length_m / metres_per(self.unit), places)

    def length(self, length_m: float) -> str:
        """A length with its unit; a long one in inches in feet too."""
        text = f"{self.read(length_m)} {self.unit}"
        if self.is_inches and length_m >= 10 * metres_per("ft"):
            feet, inches = divmod(length_m + LEAST_LENGTH, metres_per("ft"))
            text += f" ({feet:.0f} ft {self.read(max(inches - LEAST_LENGTH, 0.0))} in)"
        return text

    def size(self, along_m: float, across_m: float) -> str:
        """Two lengths with one unit: `58 3/8 × 40 in`."""
        return f"{self.read(along_m)} × {self.read(across_m)} {self.unit}"

    def area(self, area_m2: float) -> str:
        """An area in the shop's unit."""
        return Numbers(self.settings).area(area_m2 / square_metres_per(self.settings.area_unit))


@dataclass(frozen=True)
class CutRow:
    """A piece on a pull, in the order of the cut list.

    `along`, `across` : its size there; `from_left`, `from_start` : its nearer corner, by the tape.
    """

    number: int
    name: str
    job: str
    along: str
    across: str
    from_left: str
    from_start: str
    is_turned: bool


def in_order(pull: Pull) -> tuple[Placed, ...]:
    """The pieces of a pull from its start on, those that start level from the left edge on."""
    return tuple(
        sorted(
            pull.placed,
            key=lambda each: (round(each.along_m / _LEVEL), round(each.across_m / _LEVEL)),
        )
    )


def cut_rows(pull: Pull, first_number: int, settings: Settings) -> tuple[CutRow, ...]:
    """The cut list of a pull, numbered from `first_number` on."""
    tape = Tape(settings)
    return tuple(
        CutRow(
            number,
            typed(each.piece.name),
            typed(each.piece.owner),
            tape.read(each.length_m),
            tape.read(each.width_m),
            tape.read(each.across_m),
            tape.read(each.along_m),
            each.turned,
        )
        for number, each in enumerate(in_order(pull), start=first_number)
    )


def pull_name(pull: Pull, settings: Settings) -> str:
    """`118 1/2 in off the roll of 60 in`, or the offcut that is used."""
    tape = Tape(settings)
    if pull.sheet.is_offcut:
        size = tape.size(pull.sheet.longest_m, pull.sheet.width_m)
        return f"offcut kept from {typed(pull.sheet.name)}, {size}"
    pulled = tape.length(tape.covering(pull.length_m))
    return f"{pulled} off the roll of {tape.length(pull.sheet.width_m)}"


def first_numbers(pulls: Sequence[Pull]) -> list[int]:
    """The number of the first piece on each pull: pieces are numbered through."""
    numbers, number = [], 1
    for pull in pulls:
        numbers.append(number)
        number += len(pull.placed)
    return numbers


def film_title(film: FilmLayout) -> str:
    """The film's code as typed, or that none was named."""
    return typed(film.film) if film.film else "Film (not named)"


def layout_lines(films: Sequence[FilmLayout], settings: Settings) -> list[str]:
    """Every film's layout in plain lines, and what to mind about blades."""
    lines = [line for film in films for line in (*_film_lines(film, settings), "")]
    return [*lines, BLADES]


def _film_lines(film: FilmLayout, settings: Settings) -> Iterator[str]:
    pulls = film.layout.pulls
    yield f"{film_title(film)}: {summary(film, settings)}"
    if film.warning:
        yield f"  STOP. {film.warning}"
    for line in facts(film, settings):
        yield f"  {line}"
    for at, (pull, first) in enumerate(zip(pulls, first_numbers(pulls), strict=True), start=1):
        yield f"  Pull {at} of {len(pulls)}: {pull_name(pull, settings)}"
        unit = Tape(settings).unit
        for row in cut_rows(pull, first, settings):
            job = f" ({row.job})" if row.job else ""
            turned = ", turned" if row.is_turned else ""
            yield (
                f"    {row.number:>3}  {row.name}{job}: {row.along} along × {row.across} across "
                f"{unit}{turned}; {row.from_start} from the start, {row.from_left} from the left"
            )
    for note in film.notes:
        yield f"  Note: {typed(note)}"


def summary(film: FilmLayout, settings: Settings) -> str:
    """What to pull in all, in one line."""
    tape, layout = Tape(settings), film.layout
    offcuts = [pull for pull in layout.pulls if pull.sheet.is_offcut]
    rolls = len(layout.pulls) - len(offcuts)
    count = sum(len(pull.placed) for pull in layout.pulls)
    parts = []
    if rolls:
        parts.append(pulls_of(rolls, layout.length_m, tape))
    if offcuts:
        parts.append(counted(len(offcuts), "offcut"))
    return f"{counted(count, 'piece')} on {listed(parts)}."


def pulls_of(count: int, length_m: float, tape: Tape) -> str:
    """`1 pull of 95 in`, `4 pulls, together 495 in`."""
    length = tape.length(length_m)
    return f"1 pull of {length}" if count == 1 else f"{count} pulls, together {length}"


def facts(film: FilmLayout, settings: Settings) -> list[str]:
    """Film used and lost, what it saves, how sure it is that no layout is shorter."""
    lines = [_used_line(film, settings), _alone_line(film, settings)]
    if film.before is not None:
        lines.append(_before_line(film, settings))
    names = [pull.sheet.name for pull in film.layout.pulls if pull.sheet.is_offcut]
    if names:
        lines.append(
            f"Offcuts used, by the cut that each was kept from: "
            f"{listed([typed(name) for name in names])}. Look first whether they lie there."
        )
    return [*lines, _bound_line(film, settings)]


def lost_share(film: FilmLayout) -> float:
    """Film pulled that is in no piece, offcuts included. [share]"""
    pulled = sum(pull.area_m2 for pull in film.layout.pulls)
    return 1 - sum(pull.piece_m2 for pull in film.layout.pulls) / pulled


def _used_line(film: FilmLayout, settings: Settings) -> str:
    tape, numbers = Tape(settings), Numbers(settings)
    used = f"Film off rolls: {tape.area(film.layout.roll_area_m2)}"
    if film.is_priced:
        used += f", {numbers.money(film.layout.cost, 2)} at its newest price"
    lost = max(lost_share(film), 0.0) * 100
    return f"{used}; {numbers.percent(lost, 1)} of the film under the knife is in no piece."


def _alone_line(film: FilmLayout, settings: Settings) -> str:
    tape, alone = Tape(settings), film.alone
    saved = alone.area_m2 - film.layout.roll_area_m2
    one = f"Each piece by itself: {tape.length(alone.length_m)}, {tape.area(alone.area_m2)}"
    return f"{one}{_saving(film, saved, alone.cost - film.layout.cost, settings)}."


def _before_line(film: FilmLayout, settings: Settings) -> str:
    tape, before = Tape(settings), film.before
    if before is None:
        return ""
    then = f"As it was cut: {counted(before.pulls, 'pull')}, {tape.length(before.roll_length_m)}, "
    then += f"{tape.area(before.roll_area_m2)} off rolls"
    if before.offcut_area_m2 > 0:
        then += f" and {tape.area(before.offcut_area_m2)} of offcuts"
    if before.kept_area_m2 > 0:
        then += f", of which {tape.area(before.kept_area_m2)} was kept"
    if before.offcut_area_m2 > 0:
        return f"{then}. This layout takes no offcut, so the two are not alike."
    saved = before.roll_area_m2 - film.layout.roll_area_m2
    return f"{then}{_saving(film, saved, film.before_cost - film.layout.cost, settings)}."


def _saving(film: FilmLayout, area_m2: float, cost: float, settings: Settings) -> str:
    """`; this layout pulls 12 sq ft less, $40.10 less at today's prices`, more, or as much."""
    words = "as much"
    if abs(area_m2) >= _SAME_M2:
        words = f"{Tape(settings).area(abs(area_m2))} {'less' if area_m2 > 0 else 'more'}"
    if film.is_priced and abs(cost) >= _SAME_MONEY:
        money = Numbers(settings).money(abs(cost), 2)
        words += f", {money} {'less' if cost > 0 else 'more'} at today's prices"
    return f"; this layout pulls {words}"


def _bound_line(film: FilmLayout, settings: Settings) -> str:
    """How near the layout is to the best there may be."""
    layout = film.layout
    widths = {pull.sheet.width_m for pull in layout.pulls if not pull.sheet.is_offcut}
    what = "length" if len(widths) == 1 else "money" if film.is_priced else "film"
    more, most = _MORE[what]
    if not widths:
        return "It takes no film off a roll, and nothing can take less."
    if layout.is_best:
        return f"No {_LESS[what]} layout of these pieces on this film exists."
    if not layout.least_cost > 0:
        return f"How near this is to the {most} there may be is not known."
    over = (layout.cost / layout.least_cost - 1) * 100
    share = Numbers(settings).percent(math.ceil(over * 10 - 1e-9) / 10, 1)
    return f"It is at most {share} {more} than the {most} there may be."


_MORE: Final = {
    "length": ("longer", "shortest"),
    "money": ("dearer", "cheapest"),
    "film": ("larger", "smallest"),
}
_LESS: Final = {"length": "shorter", "money": "cheaper", "film": "smaller"}
