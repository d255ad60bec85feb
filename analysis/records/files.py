"""The records folder: which file holds which table, read once, hashed, and laid out as it stands.

A table is a file of its own (`jobs.csv`, `jobs.tsv`, `jobs.xlsx`) or a sheet of `records.xlsx`.
Names are compared trimmed and without regard to case. What has nearly the name of a table and is
not read is told, so that no file stays out by a slip of the pen.
"""

import datetime as dt
import difflib
import hashlib
import os
import re
import stat
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from analysis.errors import RecordsError
from analysis.records.delimited import (
    Note,
    RawTable,
    RejectedRow,
    column_letter,
    read_delimited,
    shown,
)
from analysis.records.model import DOUBTFUL
from analysis.records.workbook import Workbook, holds_something, open_workbook, read_sheet
from analysis.safe_text import name_on_one_line

__all__ = [
    "Note",
    "RawFolder",
    "RawTable",
    "RejectedRow",
    "SourceFile",
    "fold_name",
    "near_table",
    "read_raw_folder",
    "refuse_no_file",
    "refuse_repeated_names",
]

BOOK: Final = "records"  # the workbook whose sheets are tables
SETTINGS: Final = "shop.toml"
DELIMITED: Final = (".csv", ".tsv")
WORKBOOK: Final = ".xlsx"
OTHER_FORMATS: Final = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers")
LARGEST_FILE: Final = 500 * 2**20  # bytes
_MOST_NAMED: Final = 8  # files or sheets that one line names
_NEAR: Final = 0.8  # share of letters in common that makes a name a likely slip for another


@dataclass(frozen=True)
class SourceFile:
    """A file that was read: the hash is of the very bytes that were parsed, `modified` in UTC."""

    file: str
    sha256: str
    size: int
    modified: dt.datetime


@dataclass(frozen=True, eq=False)
class RawFolder:
    """A records folder as it stands: the tables found, the files read, and what is to be told."""

    folder: Path
    tables: dict[str, RawTable]
    sources: tuple[SourceFile, ...]
    notes: tuple[Note, ...]


@dataclass
class _Reading:
    """The work on one folder: what was read and noted so far."""

    folder: Path
    names: tuple[str, ...]
    progress: Callable[[str], None]
    sources: list[SourceFile] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def note(self, file: str, rule: str, problem: str, remedy: str) -> None:
        file, problem = name_on_one_line(file), name_on_one_line(problem)
        self.notes.append(Note(None, "", file, rule, DOUBTFUL, problem, remedy, file))

    def note_empty(self, file: str, problem: str) -> None:
        self.note(file, "empty-file", problem, "Fill it in, or delete it if it is not needed.")

    def read(self, path: Path) -> bytes:
        """Read the bytes of a file, once, and list it among the sources."""
        self.progress(f"reading {path.name}")
        data, modified = _read_unchanged(path)
        digest = hashlib.sha256(data).hexdigest()
        self.sources.append(SourceFile(path.name, digest, len(data), modified))
        return data

    def open(self, path: Path) -> Workbook | None:
        """Read and open a workbook; None for a file of no bytes."""
        data = self.read(path)
        if not data:
            return None
        book = open_workbook(data, path.name)
        self.notes += book.notes
        return book


@dataclass(frozen=True)
class _Place:
    """Where a table may stand: a file, or a sheet of the common workbook."""

    path: Path
    book: Workbook | None = None
    sheet: int = 0

    def __str__(self) -> str:
        if self.book is None:
            return self.path.name
        return f"{self.path.name}, sheet {self.book.sheets[self.sheet][0].strip()}"


def read_raw_folder(
    folder: Path,
    table_names: Sequence[str],
    required: Sequence[str],
    progress: Callable[[str], None] | None = None,
) -> RawFolder:
    """Find and read the tables of a records folder.

    Parameters
    ----------
    folder : Path
        The records folder.
    table_names : sequence of str
        Names of the tables to look for; the result has them in this order.
    required : sequence of str
        Those of them that must be there and hold at least a header.
    progress : callable, optional
        Called with one line for each file before it is read.

    Returns
    -------
    RawFolder
        A table that is absent, or whose file is empty, is not in `tables`.

    Raises
    ------
    RecordsError
        A required table is missing or empty, a table stands in two places, a file cannot be read,
        is no table, or has two columns of one name. One line: what, where, and what to do.

    """
    work = _Reading(folder, tuple(table_names), progress or (lambda _: None))
    paths = _listing(folder, work.names)
    for path in paths:
        if fold_name(path.name) == SETTINGS:
            work.read(path)
    places = _places(work, paths)
    _tell_unread(work, paths, places)
    _refuse_missing(work, [name for name in required if not places[name]], paths)
    tables = {}
    for name in work.names:
        for place in places[name]:
            raw = _read_table(work, name, place)
            if raw is not None:
                refuse_repeated_names(raw.header, raw.file)
                tables[name] = raw
            elif name in required:
                raise RecordsError(
                    f"{place} is empty, and the table {name} is needed. Put its column names in "
                    "the first row and the records below."
                )
            else:
                work.note_empty(place.path.name, f"{place} is empty; {name} counts as absent")
    return RawFolder(folder, tables, tuple(work.sources), tuple(work.notes))


def fold_name(name: str) -> str:
    """Give a column, sheet or file name as names are compared: trimmed and case-folded."""
    return name.strip().casefold()


def refuse_repeated_names(header: Sequence[str], file: str) -> None:
    """Raise RecordsError when two columns have the same name, case and outer blanks aside."""
    seen: dict[str, int] = {}
    for place, name in enumerate(header):
        first = seen.setdefault(fold_name(name), place)
        if first != place and fold_name(name):
            raise RecordsError(
                f"{file}: columns {column_letter(first)} and {column_letter(place)} are both "
                f"called '{shown(name)}'. Rename or delete one of them."
            )


def near_table(name: str, table_names: Sequence[str]) -> str | None:
    """Find the table that a file or sheet name seems to mean: 'Jobs 2026', 'hour', 'Cuts (1)'."""
    plain = re.sub(r"[^a-z]+", "_", fold_name(name)).strip("_")
    whole = [table for table in table_names if f"_{table}_" in f"_{plain}_"]
    near = difflib.get_close_matches(plain, table_names, 1, _NEAR)
    return max(whole, key=len) if whole else next(iter(near), None)


def _listing(folder: Path, names: Sequence[str]) -> list[Path]:
    """Files of the folder by name, without hidden ones and the lock files of open documents."""
    try:
        entries = sorted(folder.iterdir())
    except FileNotFoundError as bad:
        raise RecordsError(f"There is no folder {folder}. Check the path.") from bad
    except NotADirectoryError as bad:
        raise RecordsError(f"{folder} is a file; give the folder that holds the records.") from bad
    except OSError as bad:
        raise RecordsError(f"The folder {folder} cannot be opened: {bad.strerror}.") from bad
    entries = [entry for entry in entries if not entry.name.startswith((".", "~$"))]
    for entry in entries:
        is_table = _suffix(entry) in (*DELIMITED, WORKBOOK)
        if is_table and fold_name(entry.stem) in (*names, BOOK):
            refuse_no_file(entry)
    return [entry for entry in entries if _is_file(entry)]


def refuse_no_file(path: Path) -> None:
    """Raise RecordsError where a folder, a pipe, a device or a link to nowhere stands.

    A pipe would be waited for without end, and a device has none. What is not there at all is for
    the reading to say.
    """
    try:
        mode = path.stat().st_mode
    except OSError as bad:
        if path.is_symlink():
            raise RecordsError(
                f"{path.name} is a link to a file that is not there. Mend it."
            ) from bad
        return
    if not stat.S_ISREG(mode):
        what = "a folder" if stat.S_ISDIR(mode) else "a pipe or a device"
        raise RecordsError(
            f"{path.name} is {what}, and a file is wanted there. Move it away, and put the file in "
            "its place if there is one."
        )


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError as bad:
        raise RecordsError(
            f"{path.name} cannot be looked at ({bad.strerror}). See that you may open the folder."
        ) from bad


def _suffix(path: Path) -> str:
    return path.suffix.strip().lower()


def _places(work: _Reading, paths: Sequence[Path]) -> dict[str, list[_Place]]:
    """Where each table stands: nowhere or in one place, else RecordsError."""
    places: dict[str, list[_Place]] = {name: [] for name in work.names}
    for path in paths:
        name = fold_name(path.stem)
        if name in places and _suffix(path) in (*DELIMITED, WORKBOOK):
            places[name].append(_Place(path))
        elif name == BOOK and _suffix(path) == WORKBOOK:
            book = work.open(path)
            if book is None:
                work.note_empty(path.name, f"{path.name} is empty")
                continue
            for sheet, (title, _) in enumerate(book.sheets):
                if fold_name(title) in places:
                    places[fold_name(title)].append(_Place(path, book, sheet))
                else:
                    _tell_sheet(work, path, title)
    for name, found in places.items():
        if len(found) > 1:
            listed = " and ".join(map(str, found[:_MOST_NAMED]))
            raise RecordsError(f"The table {name} stands in {listed}. Keep it in one place only.")
    return places


def _tell_sheet(work: _Reading, path: Path, title: str) -> None:
    table = near_table(title, work.names)
    if table:
        problem = f"the sheet '{title}' is not read; it may be meant for the table {table}"
        remedy = f"Move it to a file {table}.csv, or name the sheet {table} in {BOOK}{WORKBOOK}."
        work.note(path.name, "sheet-not-read", problem, remedy)


def _tell_unread(work: _Reading, paths: Sequence[Path], places: dict[str, list[_Place]]) -> None:
    """Note the files that are not read and have the name of a table, or nearly."""
    for path in paths:
        name, suffix = fold_name(path.stem), _suffix(path)
        if suffix not in (*DELIMITED, WORKBOOK, *OTHER_FORMATS, ".txt"):
            continue
        known = name in places or name == BOOK
        if known and suffix in OTHER_FORMATS and not places.get(name, True):
            remedy = f"Save it as {name}{WORKBOOK} or {name}.csv."
            raise RecordsError(f"{path.name} is in a format that is not read. {remedy}")
        if known and suffix in (*OTHER_FORMATS, ".txt"):
            problem = f"{path.name} is in a format that is not read"
            remedy = f"Save it as {name}{WORKBOOK}, or as CSV, if it holds records."
            work.note(path.name, "format-not-read", problem, remedy)
        elif not known and (table := near_table(name, work.names)):
            problem = f"{path.name} is not read; it may be meant for the table {table}"
            remedy = f"Call it {table}{suffix} if it is; else move it out of the records folder."
            work.note(path.name, "file-not-read", problem, remedy)


def _refuse_missing(work: _Reading, missing: Sequence[str], paths: Sequence[Path]) -> None:
    if not missing:
        return
    wanted = " and ".join(missing)
    files = ", ".join(f"{name}{suffix}" for name in missing for suffix in (".csv", WORKBOOK))
    line = (
        f"The records in {work.folder} lack {wanted}: there is no {files}, and no sheet of that "
        f"name in {BOOK}{WORKBOOK}. Save the table under one of these names."
    )
    meant = [path.name for path in paths if near_table(path.stem, missing)]
    meant += [path.name for path in paths if fold_name(path.stem) == BOOK]
    meant = list(map(name_on_one_line, meant[:_MOST_NAMED]))
    raise RecordsError(f"{line} Found, but not it: {', '.join(meant)}." if meant else line)


def _read_table(work: _Reading, name: str, place: _Place) -> RawTable | None:
    """Read a table from its place; None when there is nothing in it."""
    if place.book is not None:
        work.progress(f"reading {place}")
        return read_sheet(place.book, place.sheet, name)
    if _suffix(place.path) in DELIMITED:
        return read_delimited(work.read(place.path), name, place.path.name)
    book = work.open(place.path)
    if book is None:
        return None
    sheet = _sheet(work, name, book, place.path)
    return None if sheet is None else read_sheet(book, sheet, name)


def _sheet(work: _Reading, name: str, book: Workbook, path: Path) -> int | None:
    """Choose the sheet of a table's own workbook: the one of its name, else the first filled."""
    titles = [title for title, _ in book.sheets]
    named = [i for i, title in enumerate(titles) if fold_name(title) == name]
    if len(named) > 1:
        raise RecordsError(f"{path.name} has two sheets called {name}. Keep one of them.")
    if named:
        for title in titles[: named[0]] + titles[named[0] + 1 :]:
            _tell_sheet(work, path, title)
        return named[0]
    filled = [i for i in range(len(titles)) if holds_something(book, i)]
    if len(filled) > 1:
        rest = ", ".join(titles[i] for i in filled[1 : 1 + _MOST_NAMED])
        problem = f"only the sheet '{titles[filled[0]]}' is read as {name}; not read: {rest}"
        remedy = f"Put all rows on one sheet, or name the right one {name}."
        work.note(path.name, "sheet-not-read", problem, remedy)
    return filled[0] if filled else None


def _read_unchanged(path: Path) -> tuple[bytes, dt.datetime]:
    """Read a file whole; a second time where another program wrote to it meanwhile."""
    for _ in range(2):
        try:
            before = path.stat()
            if before.st_size > LARGEST_FILE:
                limit = LARGEST_FILE // 2**20
                raise RecordsError(f"{path.name} is over {limit} MB, too large for a table.")
            data = path.read_bytes()
            after = path.stat()
        except OSError as bad:
            raise RecordsError(
                f"{path.name} cannot be read ({bad.strerror}). Close it where it is open, and see "
                "that you may read it."
            ) from bad
        if _stamp(before) == _stamp(after) and len(data) == after.st_size:
            return data, dt.datetime.fromtimestamp(after.st_mtime, dt.UTC)
    raise RecordsError(f"{path.name} is being written to. Close the program that does, try again.")


def _stamp(state: os.stat_result) -> tuple[int, int]:
    return state.st_size, state.st_mtime_ns
