"""The reading of .xlsx workbooks.

One pass over a sheet reads its values and keeps what readers of workbooks commonly drop or change
without a word: text that looks like a number stays text, 'NA' stays 'NA', an error stays as its
text ('#REF!'), a formula whose value was never saved stays as its formula, and a cell far out on
the sheet costs no memory. Hidden rows, columns and sheets are read like any other. Macros are not
run and links to other files are not followed. In a range of merged cells only the first holds the
value, as in the file.

The form of the parts is ECMA-376, part 1, section 18 (SpreadsheetML).
"""

import datetime as dt
import math
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from openpyxl.styles.numbers import builtin_format_code, is_date_format
from openpyxl.utils.escape import unescape

from analysis.errors import RecordsError
from analysis.records.archive import LARGEST_TOTAL, MEGABYTE, SAVE_AGAIN, Archive
from analysis.records.delimited import (
    LARGEST_CELL,
    Cell,
    Note,
    RawTable,
    TextGrid,
    column_label,
    column_letter,
    lay_under_header,
    shown,
)
from analysis.records.model import DOUBTFUL

MOST_CELLS: Final = 10_000_000  # rows that hold something x columns up to the last filled one
LAST_ROW: Final = 1_048_576  # XFD1048576 is the last cell that a sheet can have
LAST_COLUMN: Final = 16_384
_DAY_MS: Final = 86_400_000
_ELAPSED: Final = re.compile(r"\[(h+|m+|s+)\]", re.IGNORECASE)
_LONGEST_FORMAT: Final = 1_000  # characters of a number format that are looked at
_HALF: Final = re.compile("[\ud800-\udfff]")
_ODD: Final = {
    "error-cell": (
        "a cell holds an error of the spreadsheet and is read as that text",
        "Mend the formula, or type the value in its place.",
    ),
    "formula-without-value": (
        "a formula was never calculated, so there is no value to read",
        "Open the workbook in your spreadsheet program, let it calculate, and save it.",
    ),
    "merged-cells": (
        "cells are merged, and only the first of them holds the value",
        "Unmerge them and fill in every cell.",
    ),
}


@dataclass(frozen=True, eq=False)
class Workbook:
    """A workbook that has passed the guard: its sheets in order, and what cells refer to."""

    file: str
    archive: Archive
    sheets: tuple[tuple[str, str], ...]  # name, part
    strings: list[str]
    moments: dict[str, str]  # style of a cell -> 'date' or 'elapsed', where it is one
    from_1904: bool
    notes: tuple[Note, ...]


def open_workbook(data: bytes, file: str) -> Workbook:
    """Check the bytes of a workbook and read everything but its sheets.

    RecordsError for what is no workbook, is locked, damaged, or over the limits.
    """
    archive = Archive(data, file)
    main = dict(archive.links("").values()).get("officeDocument", "xl/workbook.xml")
    if main not in archive.parts or not main.endswith(".xml"):
        raise RecordsError(f"{file} is not an Excel workbook (.xlsx). {SAVE_AGAIN}")
    links = archive.links(main)
    sheets: list[tuple[str, str]] = []
    from_1904 = False
    for name, attributes in archive.elements(main, "sheet", "workbookPr"):
        if name == "workbookPr":
            from_1904 = attributes.get("date1904") in ("1", "true")
            continue
        link = next((v for k, v in attributes.items() if k.rpartition(":")[2] == "id"), "")
        kind, part = links.get(link, ("", ""))
        if kind == "worksheet":
            # One part read as many sheets would make a small file a long one.
            if any(part == other for _, other in sheets):
                raise archive.damaged(f"two sheets are the one part '{shown(part)}'")
            sheets.append((attributes.get("name", ""), part))
    by_kind = dict(links.values())
    strings = _strings(archive, by_kind["sharedStrings"]) if "sharedStrings" in by_kind else []
    moments = _moments(archive, by_kind["styles"]) if "styles" in by_kind else {}
    notes: tuple[Note, ...] = ()
    if any(part.endswith("vbaproject.bin") for part in archive.parts):
        problem = "the workbook holds macros; they are not run"
        remedy = "Nothing to do; save it as .xlsx without macros to be rid of this line."
        notes = (Note(None, "", "", "macros-ignored", DOUBTFUL, problem, remedy, file),)
    return Workbook(file, archive, tuple(sheets), strings, moments, from_1904, notes)


def holds_something(book: Workbook, sheet: int) -> bool:
    """Tell whether any cell of a sheet is filled; reading stops at the first."""
    reader = _SheetReader(book, sheet)
    return any(reader.numbers for _ in reader.passes())


def read_sheet(book: Workbook, sheet: int, table: str) -> RawTable | None:
    """Read one sheet, by its place in `book.sheets`, as a table; None when nothing is in it.

    A filled cell right of the last column name makes a column without a name, which is told.
    """
    reader = _SheetReader(book, sheet)
    for _ in reader.passes():
        pass
    grid = TextGrid(reader.label, reader.records, np.array(reader.numbers, dtype=int))
    raw = lay_under_header(table, grid, grows=True)
    return raw and replace(raw, notes=(*raw.notes, *reader.notes(raw.header)))


class _Letters:
    """Letters of a cell or a shared string, piece by piece as the parser hands them on."""

    def __init__(self, archive: Archive, where: str) -> None:
        self.archive, self.where = archive, where
        self.size = 0
        self.into: list[str] | None = None  # where letters go: None outside an element of text
        self.aside = False  # inside a reading aid of East Asian text (`rPh`), which is no value

    def add(self, letters: str) -> None:
        if self.into is not None:
            self.into.append(letters)
            self.size += len(letters)
            if self.size > LARGEST_CELL:
                raise self.archive.too_large(f"a cell in {self.where} is over 1 MB")


def _strings(archive: Archive, part: str) -> list[str]:
    """Read the strings that cells of all sheets share; of rich text, the letters."""
    strings: list[str] = []
    pieces: list[str] = []
    letters = _Letters(archive, "the texts of the workbook")

    def start(tag: str, _: dict[str, str]) -> None:
        name = tag.rpartition(":")[2]
        if name == "t" and not letters.aside:
            letters.into = pieces
        letters.aside = letters.aside or name == "rPh"

    def end(tag: str) -> None:
        name = tag.rpartition(":")[2]
        letters.into = None
        letters.aside = letters.aside and name != "rPh"
        if name == "si":
            strings.append(_plain("".join(pieces)))
            pieces.clear()
            letters.size = 0
            if len(strings) > MOST_CELLS:
                raise archive.too_large(f"it has over {MOST_CELLS:,} texts")

    parser = archive.parser(start, end)
    parser.CharacterDataHandler = letters.add
    for _ in archive.run(part, parser):
        pass
    return strings


def _moments(archive: Archive, part: str) -> dict[str, str]:
    """Find the cell styles that show a number as a date or time, or as an elapsed time."""
    codes: dict[str, str] = {}
    moments: dict[str, str] = {}
    place = -1  # of the style among those of cells; the list of named styles comes before
    for name, attributes in archive.elements(part, "numFmt", "cellXfs", "xf"):
        number = attributes.get("numFmtId", "0")[:9]
        if name == "cellXfs":
            place = 0
        elif name == "numFmt":  # those of conditional formats come after and change nothing
            codes[number] = attributes.get("formatCode", "")[:_LONGEST_FORMAT]
        elif name == "xf" and place >= 0:
            known = builtin_format_code(int(number)) if number.isdecimal() else None
            code = codes.get(number, known) or "General"
            if _ELAPSED.search(code):
                moments[str(place)] = "elapsed"
            elif is_date_format(code):
                moments[str(place)] = "date"
            place += 1
    return moments


def _plain(text: str) -> str:
    """Resolve the workbook's own escapes of control characters, as in `_x000D_`.

    One that stands for half a letter (a surrogate) is none, and the text stays as it is.
    """
    resolved = str(unescape(text)) if "_x" in text else text
    return text if _HALF.search(resolved) else resolved


def _number(text: str) -> float | str:
    """Read a number; what is none, or not finite, stays as its text for the check to tell."""
    if text.isascii() and text.isdigit() and len(text) <= 15:
        return int(text)
    try:
        number = float(text)
    except ValueError:
        return text
    return number if math.isfinite(number) and "_" not in text else text


def _moment(days: float, kind: str, from_1904: bool) -> Cell:
    """Turn days since the workbook's first day into date, time or duration, to a millisecond.

    A number that is no date (before the first day, after the year 9999) stays a number. The
    1900 system counts a 29 February 1900 that never was (ECMA-376, part 1, 18.17.4.1).
    """
    try:
        since = dt.timedelta(milliseconds=round(days * _DAY_MS))
        if kind == "elapsed":
            return since
        if days < 0:
            return days
        if days < 1:
            return (dt.datetime.min + min(since, dt.timedelta(milliseconds=_DAY_MS - 1))).time()
        first = dt.datetime(1904, 1, 1) if from_1904 else dt.datetime(1899, 12, 30)
        return first + since + dt.timedelta(days=not from_1904 and days < 60)
    except OverflowError:
        return days


def _iso(text: str) -> Cell:
    """Read a date that the workbook holds as ISO 8601 text; other text stays text."""
    try:
        return dt.datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        return text


class _SheetReader(_Letters):
    """Reads one sheet in one pass: rows that hold something, their numbers, and what is odd."""

    def __init__(self, book: Workbook, sheet: int) -> None:
        name, self.part = book.sheets[sheet]
        self.book, self.label = book, f"{book.file}, sheet {name.strip()}"
        super().__init__(book.archive, f"sheet {name.strip()}")
        self.records: list[tuple[Cell, ...]] = []
        self.numbers: list[int] = []
        self.width = self.row = self.column = 0
        self.held = 0  # letters in all cells; one shared text may stand in very many
        self.in_data = self.in_row = False
        self.cells: list[Cell] = []
        self.cell: dict[str, str] | None = None
        self.texts: dict[str, list[str]] = {}
        # What has to be told: (rule, column) -> how often, first row, what stands there.
        self.odd: dict[tuple[str, int], tuple[int, int, str]] = {}

    def passes(self) -> Iterator[None]:
        """Read on; yields after every piece of the part."""
        parser = self.archive.parser(self.start, self.end)
        parser.CharacterDataHandler = self.add
        return self.archive.run(self.part, parser)

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        name = tag.rpartition(":")[2] if ":" in tag else tag
        if self.cell is not None:
            if name in ("v", "f", "t") and not self.aside:
                self.into = self.texts.setdefault(name, [])
            elif name == "rPh":
                self.aside = True
        elif name == "c" and self.in_row:
            self._open_cell(attributes)
        elif name == "row" and self.in_data:
            self._open_row(attributes.get("r"))
        elif name == "sheetData":
            self.in_data = True
        elif name == "mergeCell":
            self._note_merged(attributes.get("ref", ""))

    def end(self, tag: str) -> None:
        name = tag.rpartition(":")[2] if ":" in tag else tag
        self.into = None
        if name == "c" and self.cell is not None:
            self._close_cell(self.cell)
        elif name == "row" and self.in_row:
            self._close_row()
        elif name == "rPh":
            self.aside = False
        elif name == "sheetData":
            self.in_data = False

    def _open_row(self, given: str | None) -> None:
        row = int(given) if given and given.isdecimal() and len(given) < 9 else self.row + 1
        if not self.row < row <= LAST_ROW:
            raise self.archive.damaged(f"row {row} of {self.where} is out of order")
        self.row, self.column, self.in_row = row, 0, True

    def _close_row(self) -> None:
        self.in_row = False
        if not self.cells:
            return
        self.records.append(tuple(self.cells))
        self.numbers.append(self.row)
        self.cells.clear()
        if len(self.records) * self.width > MOST_CELLS:
            raise self.archive.too_large(
                f"{self.where} has {len(self.records):,} filled rows and reaches to column "
                f"{column_letter(self.width - 1)} (look for a stray cell there)"
            )
        if self.held > LARGEST_TOTAL:
            limit = f"{LARGEST_TOTAL // MEGABYTE} million"
            raise self.archive.too_large(f"the cells of {self.where} hold over {limit} characters")

    def _open_cell(self, attributes: dict[str, str]) -> None:
        place = attributes.get("r")
        if place is not None:
            letters = place.rstrip("0123456789")
            column = _column(letters)
            if place[len(letters) :] != str(self.row) or column < self.column:
                raise self.archive.damaged(f"cell {shown(place)} of {self.where} is out of order")
            self.column = column
        if self.column >= LAST_COLUMN:
            raise self.archive.damaged(f"row {self.row} of {self.where} has too many cells")
        self.cell = attributes
        self.size = 0

    def _close_cell(self, attributes: dict[str, str]) -> None:
        value = self._value(attributes.get("t", "n"), attributes.get("s", "0"))
        if value != "":
            self.cells.extend([""] * (self.column - len(self.cells)))
            self.cells.append(value)
            self.held += len(value) if isinstance(value, str) else 0
            self.width = max(self.width, len(self.cells))
        self.cell = None
        self.texts.clear()
        self.column += 1

    def _value(self, kind: str, style: str) -> Cell:
        """Make the value of the cell that ends here; '' for an empty one."""
        pieces = self.texts.get("v")
        if kind == "inlineStr" or pieces is None:
            pieces = self.texts.get("t", pieces)
            kind = "inlineStr" if "t" in self.texts else kind
        text = "".join(pieces or ())
        if not text and "f" in self.texts and (kind != "str" or pieces is None):
            text = "=" + "".join(self.texts["f"])
            self._tell("formula-without-value", self.column, self.row, text)
            return text
        if not text and kind != "e":
            return ""
        if kind == "n":
            value = _number(text)
            moment = self.book.moments.get(style)
            if moment is None or isinstance(value, str):
                return value
            return _moment(value, moment, self.book.from_1904)
        return self._typed(kind, text)

    def _typed(self, kind: str, text: str) -> Cell:
        """Make the value of a cell that is no number."""
        if kind == "s" and text.isdecimal() and int(text[:9]) < len(self.book.strings):
            return self.book.strings[int(text[:9])]
        if kind in ("str", "inlineStr"):
            return _plain(text)
        if kind == "b" and text in ("0", "1", "false", "true"):
            return text in ("1", "true")
        if kind == "d":
            return _iso(text)
        if kind == "e":
            self._tell("error-cell", self.column, self.row, text or "#ERROR!")
            return text or "#ERROR!"
        place = f"{column_letter(self.column)}{self.row}"
        what = f"cell {place} of {self.where} holds '{shown(text)}' as '{kind}'"
        raise self.archive.damaged(what)

    def _note_merged(self, place: str) -> None:
        ends = re.fullmatch(r"([A-Z]{1,3})(\d{1,7}):[A-Z]{1,3}(\d{1,7})", place)
        if ends and self.numbers and int(ends[3]) > self.numbers[0]:
            self._tell("merged-cells", _column(ends[1]), int(ends[2]), place)

    def _tell(self, rule: str, column: int, row: int, text: str) -> None:
        count, first, value = self.odd.get((rule, column), (0, row, text))
        self.odd[rule, column] = count + 1, first, value

    def notes(self, header: tuple[str, ...]) -> Iterator[Note]:
        """Tell of errors, formulas without a value and merged cells: once a column."""
        for (rule, column), (count, row, value) in sorted(self.odd.items()):
            label = column_label((*header, *[""] * (column + 1 - len(header))), column)
            problem, remedy = _ODD[rule]
            problem = f"{problem} ({count} in this column, the first in row {row})"
            yield Note(row, label, shown(value), rule, DOUBTFUL, problem, remedy, count=count)


def _column(letters: str) -> int:
    """Give the place of a column from its letters, A is 0; -1 for what is no column."""
    place = 0
    for letter in letters.upper() if letters.isascii() and letters.isalpha() else "@":
        place = 26 * place + ord(letter) - ord("@")
    return place - 1
