"""A table as it stands in its file, and the reading of delimited text.

Nothing here knows what a column means: a cell is what the file holds, a row number is the one that
a spreadsheet shows, and a row that cannot be laid under the header is handed on with its reason.
Workbook sheets are laid under their header by the same function as delimited files.
"""

import codecs
import csv
import datetime as dt
import io
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final, NamedTuple

import numpy as np
import pandas as pd

from analysis.errors import RecordsError
from analysis.records.model import DOUBTFUL, REJECTED

Cell = str | bool | int | float | dt.datetime | dt.date | dt.time | dt.timedelta

LARGEST_CELL: Final = 2**20  # characters; a larger one is a damaged file, or no table at all
MOST_CELLS: Final = 100_000_000  # rows x columns
MOST_BROKEN_ROWS: Final = 100  # with unpaired quotation marks; with more, the file is refused
DELIMITERS: Final = ("\t", ";", ",")  # in the order that settles a tie: commas also stand in text
SAMPLE_ROWS: Final = 200
_NOTHING: Final = ' \t\r\n;,"'  # a file of these alone holds blank cells at most
_SAMPLE_CHARACTERS: Final = 2_000_000
_SHOWN: Final = 80  # characters of a value that a note repeats
_SWALLOWED: Final = (
    "this cell holds line breaks and what looks like whole rows",
    "Look for a quotation mark that is not closed; delete a stray one.",
)
_NOT_TEXT: Final = (  # first bytes in lower case
    ((b"pk\x03\x04",), "is a workbook or an archive, not a CSV file"),
    ((b"\xd0\xcf\x11\xe0",), "is an old or locked workbook, not a CSV file"),
    ((b"%pdf",), "is a PDF, not a CSV file"),
    ((b"<!doctype", b"<html"), "is a web page, not a CSV file"),
)


@dataclass(frozen=True)
class Note:
    """What the reading has to say about a place in a file.

    `row` is the row as the person sees it (None: the file as a whole), `column` the name as the
    file has it, `rule` a fixed word, `severity` 'rejected' (the row is in `rejected_rows`) or
    'doubtful' (used, and told). `file` is set on notes that belong to the folder, not to a table;
    `count` says of how many cells a note speaks that names the first of them.
    """

    row: int | None
    column: str
    value: str
    rule: str
    severity: str
    problem: str
    remedy: str
    file: str = ""
    count: int = 1


class RejectedRow(NamedTuple):
    """A row that cannot be laid under the header, with its cells as they are."""

    row: int
    cells: tuple[Cell, ...]
    problem: str


@dataclass(frozen=True, eq=False)
class RawTable:
    """One table as its file holds it.

    `header` is as written, '' for a column without a name. `cells` has the columns 0..k-1 of dtype
    object: text is `str` ('' when empty, never trimmed), and a workbook's cells may be whole or
    decimal numbers, yes/no, dates, times and durations. `rows` holds, for each row of `cells`, its
    number as a spreadsheet shows it (the first row of the sheet is 1; blank rows count).
    Rows read = rows of `cells` + `rejected_rows`. `encoding` and `delimiter` serve to write
    rejected rows back in the shop's own form.
    """

    table: str
    file: str
    header: tuple[str, ...]
    cells: pd.DataFrame
    rows: np.ndarray
    notes: tuple[Note, ...] = ()
    rejected_rows: tuple[RejectedRow, ...] = ()
    encoding: str = "utf-8-sig"
    delimiter: str = ","


@dataclass(frozen=True, eq=False)
class TextGrid:
    """Rows in the order of the file with their numbers, before one of them is taken as header."""

    file: str
    records: Sequence[Sequence[Cell]]
    numbers: np.ndarray
    broken: tuple[RejectedRow, ...] = ()
    notes: tuple[Note, ...] = ()
    encoding: str = "utf-8-sig"
    delimiter: str = ","


def read_delimited(data: bytes, table: str, file: str) -> RawTable | None:
    """Read the bytes of a CSV file; None when there is nothing in it.

    UTF-8 with or without mark, UTF-16 with mark, else Windows-1252 with a note. Comma, semicolon
    or tab, or what a first line `sep=` says (a spreadsheet does not show that line, so it has no
    row number). In a file with line breaks inside cells the row number is the record's number.
    A row with a quotation mark that does not close is rejected alone: reading goes on at the line
    below it. RecordsError where the bytes are no text, a cell is over 1 MB, or quotation marks are
    broken all over.
    """
    for start, what in _NOT_TEXT:
        if data[:9].lower().startswith(start):
            raise RecordsError(f"{file} {what}. Save it as CSV (UTF-8), or as a .xlsx workbook.")
    text, encoding, first_bad = _decode(data, file)
    separated = re.match(r'"?sep=([^"\r\n])"?(?:\r\n|\r|\n|$)', text, re.IGNORECASE)
    begin = separated.end() if separated else 0  # the line `sep=` is no row
    if not text[begin:].strip(_NOTHING):
        return None
    with _larger_cells():
        delimiter = separated.group(1) if separated else _delimiter(text)
        _refuse_nul(text[begin:], delimiter, file)
        grid = _read_grid(text[begin:], delimiter, encoding, file)
        notes = [*_encoding_notes(data, begin, first_bad, delimiter)]
    raw = lay_under_header(table, grid)
    return raw and replace(raw, notes=(*notes, *raw.notes, *_swallowed(raw)))


def lay_under_header(table: str, grid: TextGrid, grows: bool = False) -> RawTable | None:
    """Take the first row that is not blank as header and lay the others under it.

    Blank rows are no rows. Short rows are filled up with ''. A longer row is rejected when the
    cells too many hold something; with `grows` (a sheet, where no cell lies outside) the header
    gets columns without a name instead. None when there is no row at all.
    RecordsError when the header row itself is broken, or the table is too large.
    """
    found = np.flatnonzero(np.fromiter(map(_holds_something, grid.records), bool))
    if grid.broken and not (len(found) and grid.numbers[found[0]] < grid.broken[0].row):
        raise _broken_header(grid)
    if not len(found):
        return None
    head_row = int(grid.numbers[found[0]])
    header = [_header_text(cell) for cell in grid.records[found[0]]]
    body = [grid.records[i] for i in found[1:]]
    rows = grid.numbers[found[1:]]
    lengths = np.fromiter(map(len, body), int, len(body))
    if grows:
        header += [""] * (int(lengths.max(initial=0)) - len(header))

    kept = np.ones(len(body), bool)
    rejected = list(grid.broken)
    notes = [*_title_notes(head_row, header, body), *grid.notes]
    for i in np.flatnonzero(lengths > len(header)):
        if _holds_something(body[i][len(header) :]):
            kept[i] = False
            row, note = _too_long(int(rows[i]), body[i], len(header))
            rejected.append(row)
            notes.append(note)
    if len(body) * len(header) > MOST_CELLS:
        size = f"{len(header):,} columns and {len(body):,} rows"
        raise RecordsError(f"{grid.file} has {size}: too many. Keep only the records in it.")
    cells = _frame([body[i] for i in np.flatnonzero(kept)], len(header))
    header, cells, unnamed = _columns_without_name(header, cells, rows[kept])
    rejected.sort(key=lambda row: row.row)
    told = (*notes, *unnamed), tuple(rejected), grid.encoding, grid.delimiter
    return RawTable(table, grid.file, tuple(header), cells, rows[kept], *told)


def column_letter(place: int) -> str:
    """Give the letter of a column as a spreadsheet shows it: 0 is A, 26 is AA."""
    letters, place = "", place + 1
    while place:
        place, rest = divmod(place - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


def column_label(header: Sequence[str], place: int) -> str:
    """Give the name of a column, or its letter where it has none."""
    return header[place].strip() or f"column {column_letter(place)}"


def shown(value: object) -> str:
    """Give a value as a note repeats it: one line, not too long."""
    text = " ".join(str(value).split())
    return text if len(text) <= _SHOWN else f"{text[: _SHOWN - 1]}…"


def _decode(data: bytes, file: str) -> tuple[str, str, int | None]:
    """Text, encoding, and the place of the first byte that is not UTF-8 (None: all is well)."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), "utf-16", None
        except UnicodeDecodeError as bad:
            raise RecordsError(
                f"{file} starts as UTF-16 text and is damaged at byte {bad.start + 1}. "
                "Save it again as CSV (UTF-8)."
            ) from bad
    marked = data.startswith(codecs.BOM_UTF8)
    data = data.removeprefix(codecs.BOM_UTF8)
    try:
        return data.decode("utf-8"), "utf-8-sig" if marked else "utf-8", None
    except UnicodeDecodeError as bad:
        # Five bytes mean nothing in Windows-1252; they stay visible as \x81 and the like.
        return data.decode("cp1252", "backslashreplace"), "cp1252", bad.start


def _encoding_notes(data: bytes, begin: int, bad: int | None, delimiter: str) -> Iterator[Note]:
    if bad is None:
        return
    body = data.removeprefix(codecs.BOM_UTF8)
    problem = "the file is not UTF-8 and was read as Windows-1252"
    undefined = sorted(set(b"\x81\x8d\x8f\x90\x9d") & set(body))
    if undefined:
        codes = ", ".join(f"\\x{code:02x}" for code in undefined)
        problem += f"; bytes that mean nothing there stand as {codes}"
    lenient = body.decode("utf-8", "replace")
    if any(character > "\x7f" for character in set(lenient) - {"\ufffd"}):
        problem += "; parts of it are UTF-8, so some letters with accents came out wrong"
    value = body[bad : bad + 1].decode("cp1252", "backslashreplace")
    remedy = "Look at the names with accents; save the file as CSV (UTF-8) to be sure."
    row = _row_at_end(body[begin:bad].decode("latin-1"), delimiter)
    yield Note(row, "", value, "not-utf-8", DOUBTFUL, problem, remedy)


def _refuse_nul(text: str, delimiter: str, file: str) -> None:
    place = text.find("\0")
    if place >= 0:
        raise RecordsError(
            f"{file}, row {_row_at_end(text[:place], delimiter)}: there is a NUL byte, so this is "
            "no plain text file, or a damaged one. Save the table again as CSV (UTF-8)."
        )


def _row_at_end(text: str, delimiter: str) -> int:
    """Count the row in which `text`, the beginning of a file, ends."""
    lines = io.StringIO(text + "x", newline="")
    try:
        return sum(1 for _ in csv.reader(lines, delimiter=delimiter))
    except csv.Error:  # quotation marks are broken above: the line is the best that can be told
        return sum(1 for _ in io.StringIO(text + "x", newline=""))


@contextmanager
def _larger_cells() -> Iterator[None]:
    """Let the csv module read cells up to `LARGEST_CELL`, and put its own limit back after."""
    limit = csv.field_size_limit(LARGEST_CELL)
    try:
        yield
    finally:
        csv.field_size_limit(limit)


def _delimiter(text: str) -> str:
    """Of tab, semicolon and comma, the one that cuts most of the first rows alike."""
    scores = {delimiter: _fit(text, delimiter) for delimiter in DELIMITERS}
    best = max(DELIMITERS, key=scores.__getitem__)  # the first of equals
    return best if scores[best] > (0, 0) else ","


def _fit(text: str, delimiter: str) -> tuple[int, int]:
    """How many of the first rows fit one layout of two columns or more, and its columns."""
    sizes = []
    lines = io.StringIO(text[:_SAMPLE_CHARACTERS], newline="")
    try:
        for record in islice(csv.reader(lines, delimiter=delimiter), SAMPLE_ROWS):
            if _holds_something(record):
                sizes.append(len(record))
    except csv.Error:  # a cell without end: judge by the rows above it; _read_grid tells the row
        sizes.append(1)
    head = sizes[0] if sizes else 1
    under_header = (sum(1 < size <= head for size in sizes), head)
    alike = Counter(size for size in sizes if size > 1)
    # A title above the header makes the header's own width useless, so the commonest counts too.
    commonest = max(((count, size) for size, count in alike.items()), default=(0, 0))
    return max(under_header if head > 1 else (0, 0), commonest)


def _read_grid(text: str, delimiter: str, encoding: str, file: str) -> TextGrid:
    """Cut text into rows. A row whose quotation marks do not pair is set apart, as a line."""
    lines = io.StringIO(text, newline="").readlines()
    records: list[tuple[str, ...]] = []
    broken: list[tuple[RejectedRow, Note]] = []
    start = 0
    while start < len(lines):
        reader = csv.reader(islice(lines, start, None), delimiter=delimiter, strict=True)
        used = 0
        try:
            for record in reader:
                records.append(tuple(record))  # three times as fast to keep as lists
                used = reader.line_num
            break
        except csv.Error as error:
            row = len(records) + len(broken) + 1
            if reader.line_num == used + 1 and "field limit" in str(error):
                raise RecordsError(
                    f"{file}, row {row}: a cell holds over {LARGEST_CELL:,} characters. "
                    "Shorten it, or look for a quotation mark that is not closed."
                ) from error
            broken.append(_broken_row(row, lines[start + used], delimiter))
            start += used + 1
        if len(broken) > MOST_BROKEN_ROWS:
            raise RecordsError(
                f"{file}: over {MOST_BROKEN_ROWS} rows have quotation marks that do not pair, the "
                f'first in row {broken[0][1].row}. Write a mark inside a quoted cell twice ("").'
            )
    numbers = np.arange(1, len(records) + len(broken) + 1)
    numbers = np.delete(numbers, [row.row - 1 for row, _ in broken])
    rejected, notes = tuple(row for row, _ in broken), tuple(note for _, note in broken)
    return TextGrid(file, records, numbers, rejected, notes, encoding, delimiter)


def _broken_row(row: int, line: str, delimiter: str) -> tuple[RejectedRow, Note]:
    problem = "a quotation mark is opened here and not closed as it should be"
    remedy = 'Close the quotation mark, or delete it; inside a quoted cell write it twice ("").'
    note = Note(row, "", shown(line), "broken-quotes", REJECTED, problem, remedy)
    return RejectedRow(row, tuple(line.rstrip("\r\n").split(delimiter)), problem), note


def _broken_header(grid: TextGrid) -> RecordsError:
    row = grid.broken[0]
    return RecordsError(
        f"{grid.file}, row {row.row}: {row.problem}, in the row of column names. Mend that row."
    )


def _swallowed(raw: RawTable) -> Iterator[Note]:
    """Cells with line breaks in which a whole row seems to stand: two stray quotation marks."""
    wanted = len(raw.header) - 1
    if wanted < 1:
        return
    for place in range(len(raw.header)):
        for i, cell in enumerate(raw.cells[place].tolist()):
            if "\n" not in cell and "\r" not in cell:
                continue
            if any(line.count(raw.delimiter) >= wanted for line in re.split(r"[\r\n]+", cell)):
                where = int(raw.rows[i]), column_label(raw.header, place), shown(cell)
                yield Note(*where, "rows-inside-cell", DOUBTFUL, *_SWALLOWED)


def _holds_something(record: Sequence[Cell]) -> bool:
    return any(cell.strip() if isinstance(cell, str) else True for cell in record)


def _header_text(cell: Cell) -> str:
    """Text of a header cell; a number or a date in a workbook's header becomes a name."""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return str(cell)


def _frame(records: Sequence[Sequence[Cell]], width: int) -> pd.DataFrame:
    """Rows as a frame of `width` columns of objects: short rows filled up, long ones cut."""
    values = np.empty((len(records), width), dtype=object)
    if records:
        values[:] = [(*row[:width], *("",) * (width - len(row))) for row in records]
    return pd.DataFrame(values, columns=pd.RangeIndex(width), dtype=object)


def _columns_without_name(
    header: list[str], cells: pd.DataFrame, rows: np.ndarray
) -> tuple[list[str], pd.DataFrame, list[Note]]:
    """Drop empty columns without a name at the right; tell of those that hold something."""
    notes: list[Note] = []
    last = max((place for place, name in enumerate(header) if name.strip()), default=0)
    for place in (place for place, name in enumerate(header) if not name.strip()):
        column = cells[place].tolist()
        used = [i for i, cell in enumerate(column) if _holds_something((cell,))]
        if used:
            last = max(last, place)
            label, value = column_label(header, place), shown(column[used[0]])
            problem = f"{label} has no name, and {len(used)} of its cells are filled"
            remedy = "Give the column a name in the first row, or clear it if it is not needed."
            where = int(rows[used[0]]), label, value
            notes.append(Note(*where, "column-without-name", DOUBTFUL, problem, remedy))
    return header[: last + 1], cells.iloc[:, : last + 1], notes


def _too_long(row: int, record: Sequence[Cell], width: int) -> tuple[RejectedRow, Note]:
    problem = f"the row has {len(record)} cells and the header has {width}"
    value = shown(" | ".join(map(str, record[width:])))
    remedy = "Quote a cell that holds the separator, or clear the cells that are too many."
    note = Note(row, "", value, "row-too-long", REJECTED, problem, remedy)
    return RejectedRow(row, tuple(record), problem), note


def _title_notes(row: int, header: Sequence[str], body: Sequence[Sequence[Cell]]) -> Iterator[Note]:
    names = [name for name in header if name.strip()]
    if len(names) == 1 and body and sum(_holds_something((cell,)) for cell in body[0]) > 1:
        problem = "the first row has one filled cell and the next one more: it looks like a title"
        remedy = "The first row must hold the column names: delete the title above them."
        yield Note(row, "", shown(names[0]), "title-above-header", DOUBTFUL, problem, remedy)
