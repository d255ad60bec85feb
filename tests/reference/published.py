"""Figures that somebody published, and ours beside them: stated once, asserted and listed.

A function under `@published(...)` works figures out through the package and notes each beside the
published one. For pytest it is a test, which fails where one is out of its tolerance or none was
noted; for `python -m tests.reference` it is some rows of the table.
"""

from __future__ import annotations

import math
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from functools import cache
from pathlib import Path
from typing import Any, Literal

import numpy as np
import numpy.typing as npt

from tests.kept import once

# Text: read in the source or on a page that quotes it. Recomputed: the inputs were read, the answer
# was worked out apart from the package. From memory: the source was not seen.
Seen = Literal["text", "recomputed", "from memory"]
# Where a source gives an answer that is exact: what binary numbers may add to it, as a share.
EXACT = 1e-9


@dataclass(frozen=True)
class Source:
    """Where figures were published: its name in the table, and in full."""

    short: str
    full: str


@dataclass(frozen=True)
class Published:
    """One published figure: as printed, and how far from it ours may lie.

    `tolerance` : largest difference, in the unit of `theirs`; 0 for words, which must be the same;
    `exact` : it is what binary numbers need; `figures` : how many stand in the row.
    """

    what: str
    source: Source
    place: str
    theirs: str
    tolerance: float
    seen: Seen
    exact: bool = False
    figures: int = 1


@dataclass(frozen=True)
class Check:
    """A published figure with ours, as shown: rounded to the digits that the source prints."""

    published: Published
    ours: str
    holds: bool


@dataclass
class Figures:
    """What one function notes: `add` a figure, `table` for many of one kind.

    `folder` is an empty folder for shops that are written down.
    """

    source: Source
    place: str
    seen: Seen
    folder: Path
    checks: list[Check] = field(default_factory=list)

    def add(
        self,
        what: str,
        ours: Any,
        theirs: float | str,
        within: float | None = None,
        *,
        seen: Seen | None = None,
        place: str | None = None,
        source: Source | None = None,
    ) -> None:
        """Note one figure, or words. `theirs` as printed; `within` None: exact (to 1e-9 of it)."""
        text = theirs if isinstance(theirs, str) else f"{theirs:,.10g}"
        number = as_number(text)
        tolerance = 0.0 if number is None else _tolerance(number, within)
        stated = Published(
            what,
            source or self.source,
            self.place if place is None else place,
            text,
            tolerance,
            seen or self.seen,
            exact=number is None or within is None,
        )
        if number is None:
            self.checks.append(Check(stated, str(ours), str(ours) == text))
            return
        own = float(ours)
        holds = abs(own - number) <= tolerance
        self.checks.append(Check(stated, as_printed(own, text, tolerance), holds))

    def table(
        self,
        what: str,
        ours: npt.ArrayLike,
        theirs: npt.ArrayLike,
        within: float | None = None,
        *,
        seen: Seen | None = None,
        place: str | None = None,
    ) -> None:
        """Note many figures in one row, with the largest difference; NaN is where none is."""
        own, other = np.asarray(ours, dtype=float), np.asarray(theirs, dtype=float)
        if own.shape != other.shape:
            raise ValueError(f"{what}: {own.shape} figures of ours, {other.shape} published.")
        known = ~np.isnan(other)
        away, most = np.abs(own - other)[known], np.abs(other[known]).max()
        allowed = np.array([_tolerance(each, within) for each in other[known]])
        holds = bool((np.isnan(own) == ~known).all() and (away <= allowed).all())
        tolerance = _tolerance(float(most), within)
        stated = Published(
            what,
            self.source,
            self.place if place is None else place,
            f"{known.sum()} figures",
            tolerance,
            seen or self.seen,
            exact=within is None,
            figures=int(known.sum()),
        )
        # NaN where the published has a figure: no difference can be told.
        largest = "unknown" if np.isnan(away).any() else _difference(away.max(), tolerance)
        shown = "the same" if within is None and holds else f"at most {largest} off"
        self.checks.append(Check(stated, shown, holds))


def _tolerance(number: float, within: float | None) -> float:
    return max(EXACT * abs(number), EXACT) if within is None else within


def as_number(text: str) -> float | None:
    """A printed number, which may have commas between thousands; None for words."""
    try:
        return float(text.replace(",", ""))
    except ValueError:
        return None


def as_printed(own: float, theirs: str, tolerance: float) -> str:
    """Our figure with the digits of theirs, but none finer than the tolerance.

    Halves go away from zero after twelve digits, so that no machine shows another last digit.
    """
    if not math.isfinite(own):
        return str(own)
    mantissa, _, power = theirs.lower().partition("e")
    places = len(mantissa.partition(".")[2])
    scale = int(power or 0)
    finest = scale - math.floor(math.log10(tolerance) + 1e-9) if tolerance > 0 else places
    unit = Decimal(1).scaleb(-max(0, min(places, finest)))
    rounded = Decimal(f"{own:.12e}").scaleb(-scale).quantize(unit, rounding=ROUND_HALF_UP)
    # The zero that is added turns −0 into 0.
    text = f"{rounded + 0:,f}" if "," in theirs else f"{rounded + 0:f}"
    return f"{text}e{scale:+03d}" if power else text


def _difference(away: float, tolerance: float) -> str:
    """The largest difference, to a tenth of the tolerance's first digit, rounded up."""
    places = 1 - math.floor(math.log10(tolerance))
    step = 10.0**-places
    return f"{math.ceil(away / step - 1e-6) * step:.{max(0, places)}f}"


Work = Callable[[Figures], None]


@dataclass(frozen=True)
class Entry:
    """A function that notes figures, and what is the same for all of them."""

    work: Work
    source: Source
    place: str
    seen: Seen

    def run(self, folder: Path) -> list[Check]:
        """Work the figures out, with a folder for files."""
        figures = Figures(self.source, self.place, self.seen, folder)
        self.work(figures)
        return figures.checks


@cache
def checked(entry: Entry) -> tuple[Check, ...]:
    """The figures of an entry; worked out once for its own test and for the table of all."""

    def work() -> tuple[Check, ...]:
        with tempfile.TemporaryDirectory() as folder:
            return tuple(entry.run(Path(folder)))

    code = entry.work.__code__
    name = f"{entry.work.__module__}.{entry.work.__name__}.{code.co_firstlineno}"
    checks: tuple[Check, ...] = once(name, work)
    return checks


# By module and name, so that a module that is loaded twice stands once.
ENTRIES: dict[tuple[str, str], Entry] = {}


def published(
    source: Source, place: str = "", seen: Seen = "text"
) -> Callable[[Work], Callable[[], None]]:
    """Make a function that notes figures a test of pytest, and rows of the table.

    `place` : chapter, section, table; `seen` : how the figures are known, where not said otherwise.
    """

    def keep(work: Work) -> Callable[[], None]:
        entry = Entry(work, source, place, seen)
        ENTRIES[work.__module__, work.__name__] = entry

        def test() -> None:
            checks = checked(entry)
            assert checks, "no figure was noted"
            wrong = [line_of(each) for each in checks if not each.holds]
            assert not wrong, "\n".join(wrong)

        test.__name__, test.__doc__, test.__module__ = work.__name__, work.__doc__, work.__module__
        return test

    return keep


def line_of(check: Check) -> str:
    """A check in one line, for a test that fails."""
    stated = check.published
    return (
        f"{stated.what}: ours {check.ours}, published {stated.theirs} "
        f"(± {stated.tolerance:g}; {stated.source.short}, {stated.place})"
    )


def all_checks(entries: Sequence[Entry]) -> list[Check]:
    """The figures of all entries, in order."""
    return [check for entry in entries for check in checked(entry)]
