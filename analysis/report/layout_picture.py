"""The cutting layout as a page to print and cut from: one file that asks nothing of any network.

What stands on it is gathered as plain values, `layout_picture.html` says how; text that a person
typed is escaped. The file ends in a seal, by which the next run knows its own page unchanged; no
other file is ever replaced.
"""

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Final

import jinja2
from markupsafe import Markup

from analysis.errors import OutputError
from analysis.packing.layouts import LEAST_LENGTH, Pull
from analysis.pricing.layout_sheets import FilmLayout
from analysis.report.cautions import DEFER
from analysis.report.layout_rests import LEAST_SIDE_M, left_over, parts
from analysis.report.layout_svg import SCALE, layout_svg
from analysis.report.layout_text import (
    BLADES,
    CutRow,
    Tape,
    cut_rows,
    facts,
    film_title,
    first_numbers,
    in_order,
    pull_name,
    summary,
)
from analysis.report.numbers import shop_name, typed
from analysis.report.replace import real_path, write_file
from analysis.settings import Settings

MARK: Final = "cutting layout"
_SEAL: Final = re.compile(rb"<!-- sealed ([0-9a-f]{64}) -->\n\Z")


@dataclass(frozen=True)
class LeftRow:
    """A rectangle of film in no piece, as it is read off the tape."""

    letter: str
    size: str
    from_start: str
    from_left: str


@dataclass(frozen=True)
class PartPicture:
    """A stretch of a pull that fits on a page: its picture, and the pieces that start on it."""

    svg: str
    rows: tuple[CutRow, ...]
    left: tuple[LeftRow, ...]
    title: str


@dataclass(frozen=True)
class PullPicture:
    """A pull of film with its pictures and its cut list. `has_jobs` : some piece names a job."""

    title: str
    parts: tuple[PartPicture, ...]
    has_jobs: bool


@dataclass(frozen=True)
class FilmPicture:
    """A film's layout as it stands on the page."""

    title: str
    warning: str
    summary: str
    facts: tuple[str, ...]
    notes: tuple[str, ...]
    pulls: tuple[PullPicture, ...]


def film_picture(film: FilmLayout, settings: Settings, key: str = "film") -> FilmPicture:
    """Everything that the page shows of a film's layout; `key` keeps its pictures apart."""
    pulls = film.layout.pulls
    return FilmPicture(
        film_title(film),
        film.warning,
        summary(film, settings),
        tuple(facts(film, settings)),
        tuple(typed(note) for note in film.notes),
        tuple(
            _pull_picture(pull, settings, first, f"Pull {at} of {len(pulls)}", f"{key}-{at}")
            for at, (pull, first) in enumerate(zip(pulls, first_numbers(pulls), strict=True), 1)
        ),
    )


def _pull_picture(
    pull: Pull, settings: Settings, first_number: int, name: str, key: str
) -> PullPicture:
    stretches = parts(pull)
    rows = cut_rows(pull, first_number, settings)
    starts = [each.along_m for each in in_order(pull)]
    left = left_over(pull)
    tape = Tape(settings)
    shown = []
    for at, (first, last) in enumerate(stretches, start=1):
        title = f"{name}, sheet {at} of {len(stretches)}" if len(stretches) > 1 else name
        svg = layout_svg(
            pull, settings, first_number=first_number, part=(first, last), key=f"{key}-{at}"
        )
        inside = [first - LEAST_LENGTH <= start < last - LEAST_LENGTH for start in starts]
        rests = [each for each in left if first - LEAST_LENGTH <= each.along_m < last]
        shown.append(
            PartPicture(
                svg,
                tuple(row for row, here in zip(rows, inside, strict=True) if here),
                tuple(
                    LeftRow(
                        each.letter,
                        tape.size(each.length_m, each.width_m),
                        tape.read(each.along_m),
                        tape.read(each.across_m),
                    )
                    for each in rests
                ),
                title,
            )
        )
    return PullPicture(
        f"{name}: {pull_name(pull, settings)}",
        tuple(shown),
        any(row.job for row in rows),
    )


def layout_page(films: Sequence[FilmLayout], settings: Settings, what: str) -> str:
    """The page of the layouts: HTML, sealed. `what` says whose pieces they are."""
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = files("analysis.report").joinpath("layout_picture.html").read_text(encoding="utf-8")
    tape = Tape(settings)
    text = environment.from_string(source).render(
        mark=MARK,
        what=typed(what),
        shop=shop_name(settings),
        films=[film_picture(film, settings, f"film-{at}") for at, film in enumerate(films, 1)],
        unit=tape.unit,
        unit_in_words=tape.unit_in_words,
        least_side=tape.length(LEAST_SIDE_M),
        nearest="1/8 in" if tape.is_inches else "1 mm",
        scale=f"1 : {SCALE:.0f}",
        blades=BLADES,
        defer=DEFER,
        # The pictures are made here, of text that was escaped there.
        drawn=Markup,
    )
    return sealed(text)


def sealed(text: str) -> str:
    """Text with its seal as the last line."""
    return f"{text}<!-- sealed {hashlib.sha256(text.encode()).hexdigest()} -->\n"


def is_ours(data: bytes) -> bool:
    """Whether a file is a page of this module, as it was written."""
    found = _SEAL.search(data)
    return found is not None and (
        hashlib.sha256(data[: found.start()]).hexdigest() == found[1].decode()
    )


def write_page(page: str, out: Path, records_folder: Path) -> None:
    """Write the page whole or not at all, in the place of an earlier one of ours or of nothing.

    Raises
    ------
    OutputError
        `out` lies in the records folder, is a folder or a file that is not ours as we wrote it, or
        cannot be written. What stood there still stands there.
    """
    target = real_path(out)
    records = real_path(records_folder)
    if records in target.parents:
        raise OutputError(
            f"{out} lies in the records folder {records_folder}, which is only read. Give another "
            "place with --out."
        )
    unfinished = target.with_name(f".{target.name}.unfinished")
    try:
        _refuse_foreign(target, out)
        target.parent.mkdir(parents=True, exist_ok=True)
        unfinished.unlink(missing_ok=True)
        write_file(unfinished, page.encode())
        unfinished.replace(target)
    except OSError as error:
        raise OutputError(
            f"{out} was not written: {error.strerror or error}. Close it where it is open, or give "
            "another place with --out."
        ) from error


def _refuse_foreign(target: Path, out: Path) -> None:
    if target.is_dir():
        raise OutputError(f"{out} is a folder. Give the name of a file with --out.")
    # What is neither a folder nor a file (a pipe) would be waited for without end.
    if target.exists() and not (target.is_file() and is_ours(target.read_bytes())):
        raise OutputError(
            f"{out} is there and is not a page as this program wrote it, so it is not replaced. "
            "Move it away, or give another name with --out."
        )
