"""Rows that are put at the end of a record table: the one way in which this package writes records.

What stands in the file stays as it is, byte by byte in a text file. The new file is written beside
the old one, read back, and put in its place by one rename; if anything is not as it should be, the
old one stays. Only a header may grow, by the names of columns that it lacks.
"""

import contextlib
import csv
import hashlib
import io
import os
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

from analysis.errors import OutputError
from analysis.record_tables import RECORD_TABLES
from analysis.records.cells import missing_column, read_column
from analysis.records.delimited import RawTable, read_delimited
from analysis.records.files import BOOK, DELIMITED, WORKBOOK, fold_name, read_raw_folder
from analysis.records.headers import read_header
from analysis.records.model import Records
from analysis.records.workbook import open_workbook
from analysis.safe_text import safe_text
from analysis.schema import Column, Kind, Table
from analysis.settings import Settings

_NUMBERS: Final = frozenset({Kind.MONEY, Kind.NUMBER, Kind.HOURS})
_A_HAIR: Final = 0.0051  # numbers are written to two places
_OPEN_MARKS: Final = ("~${}", ".~lock.{}#")


class NotAppended(OutputError):
    """The rows cannot be put in; `rows` holds them as text, a tab between cells, to paste."""

    def __init__(self, line: str, rows: Sequence[str]) -> None:
        super().__init__(line)
        self.rows = tuple(rows)


@dataclass(frozen=True)
class Appended:
    """Where the rows went; `made` : a new file; `left_out` : columns that the table cannot take."""

    place: str
    made: bool
    left_out: tuple[str, ...]


def append_rows(
    folder: Path, name: str, rows: pd.DataFrame, records: Records, *, write: bool = True
) -> Appended:
    """Put rows at the end of a table of a records folder.

    Parameters
    ----------
    folder : the records folder.
    name : name of the table; where it is not there, `NAME.csv` is made.
    rows : a column for each column of the table (inside names), at least one row.
    records : the records as they were read; a file that was changed since is not written to.
    write : whether to write; if not, everything is tried but the last step.

    Raises
    ------
    OutputError
        The table cannot take the rows, or its file is open elsewhere, read-only, or was changed.
        The file is as it was.
    NotAppended
        Its workbook holds what would be lost by writing it anew.
    RecordsError
        The folder or the table cannot be read.
    """
    table, settings = RECORD_TABLES[name], records.settings
    raw = read_raw_folder(folder, [name], []).tables.get(name)
    known = next((source.sha256 for source in records.sources if source.table == name), None)
    if raw is None:
        if known is not None:
            raise _changed(name)
        return _append_new(folder, table, rows, records, write=write)
    path = folder / raw.file.partition(", sheet ")[0]
    _refuse_open(path)
    data = path.read_bytes()
    if hashlib.sha256(data).hexdigest() != known:
        raise _changed(path.name)
    if path.suffix.strip().lower() == WORKBOOK:
        from analysis.records.append_workbook import with_rows

        content, left_out = with_rows(data, raw, table, rows, settings)
    else:
        content, left_out = text_with_rows(data, raw, table, rows, settings)
    if write:
        _replace(path, content, data)
    return Appended(raw.file, made=False, left_out=left_out)


def _changed(file: str) -> OutputError:
    return OutputError(
        f"{file} was changed since it was read; nothing was written. Run this again."
    )


# --- text files ----------------------------------------------------------------------------------


def text_with_rows(
    data: bytes, raw: RawTable, table: Table, rows: pd.DataFrame, settings: Settings
) -> tuple[bytes, tuple[str, ...]]:
    """The bytes of a text file with rows at its end, and the columns that it cannot take.

    Delimiter, encoding, line ends and order of columns are the file's own.
    """
    lacking = lacking_columns(raw, table, rows, settings)
    longer = _with_longer_header(data, raw, table, lacking, settings) if lacking else None
    for begin, left_out in ((longer, ()), (data, lacking)):
        if begin is None:
            continue
        start = read_delimited(begin, table.name, raw.file)
        if start is None:
            continue
        content = begin + _rows_text(begin, start, table, rows, settings)
        end = read_delimited(content, table.name, raw.file)
        if end is not None and is_same_and_more(raw, end, table, rows, settings, left_out):
            return content, left_out
    raise OutputError(
        f"{raw.file} cannot take the rows: they would not be read back as they were meant. Look at "
        "its last line (an open quotation mark?) and its column names, and run check."
    )


def lacking_columns(
    raw: RawTable, table: Table, rows: pd.DataFrame, settings: Settings
) -> tuple[str, ...]:
    """Columns with something in them that the file has not; one that is needed refuses the rows."""
    header = read_header(raw, table, settings)
    given = [each for each in table.columns if rows[each.inside].notna().any()]
    lacking = [each for each in given if each.name not in header.places]
    needed = [each.name for each in lacking if each.required or each.key or _says_what(each)]
    if needed or header.missing:
        names = ", ".join(dict.fromkeys([*needed, *header.missing]))
        raise OutputError(
            f"{raw.file} has no column for {names}. Add it to the header, or map your own to it in "
            f"[columns.{table.name}] of shop.toml."
        )
    return tuple(each.name for each in lacking)


def _says_what(column: Column) -> bool:
    return column.name == "vehicle_class"


def _with_longer_header(
    data: bytes, raw: RawTable, table: Table, names: Sequence[str], settings: Settings
) -> bytes | None:
    """The file with more names in its header; None where the header does not lend itself to it."""
    encoding = _encoding(raw, data)
    mark = data[: len(data) - len(_body(data))]
    try:
        text = _body(data).decode(encoding)
    except UnicodeDecodeError:
        return None
    lines = io.StringIO(text, newline="").readlines()
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=raw.delimiter)
    for record in reader:
        # Where the header has cells without a name, a new name would stand in the wrong place.
        if tuple(record) == raw.header:
            break
        if any(cell.strip() for cell in record) and reader.line_num > 1:
            return None
    else:
        return None
    at = sum(map(len, lines[: reader.line_num]))
    head = text[:at].rstrip("\r\n")
    more = "".join(raw.delimiter + _label(name, table, settings) for name in names)
    return mark + (head + more + text[len(head) :]).encode(encoding)


def _label(name: str, table: Table, settings: Settings) -> str:
    """The shop's own word for a column, else ours."""
    own = settings.columns.get(table.name, {})
    return next((theirs for theirs, ours in own.items() if ours == name), name)


def _body(data: bytes) -> bytes:
    for mark in (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff"):
        if data.startswith(mark):
            return data[len(mark) :]
    return data


def _encoding(raw: RawTable, data: bytes) -> str:
    if raw.encoding == "utf-16":
        return "utf-16-le" if data.startswith(b"\xff\xfe") else "utf-16-be"
    return raw.encoding.removesuffix("-sig")


def _rows_text(
    data: bytes, raw: RawTable, table: Table, rows: pd.DataFrame, settings: Settings
) -> bytes:
    """The new rows as bytes, on lines of their own."""
    encoding = _encoding(raw, data)
    text = _body(data).decode(encoding, "replace")
    end = next((each for each in ("\r\n", "\n", "\r") if each in text), "\n")
    begin = "" if text.endswith(("\n", "\r")) or not text else end
    header = read_header(raw, table, settings)
    cells = written_cells(rows, table, settings)
    columns: list[list[str]] = [[""] * len(rows) for _ in raw.header]
    for name, place in header.places.items():
        columns[place] = cells[table.column(name).inside].to_list()
    lines = io.StringIO(newline="")
    csv.writer(lines, delimiter=raw.delimiter, lineterminator=end).writerows(
        zip(*columns, strict=True)
    )
    try:
        return (begin + lines.getvalue()).encode(encoding)
    except UnicodeEncodeError as error:
        raise OutputError(
            f"{raw.file} is no UTF-8 file and cannot hold '{error.object[error.start]}'. Save it "
            "as CSV (UTF-8), or leave the letter out of the note."
        ) from error


def written_cells(rows: pd.DataFrame, table: Table, settings: Settings) -> pd.DataFrame:
    """Cells as text that the shop's settings read back: ISO dates, its decimal mark, no formula."""
    columns = {}
    for column in table.columns:
        values = rows[column.inside]
        if column.kind is Kind.DATE:
            text = values.dt.strftime("%Y-%m-%d")
        elif column.kind in _NUMBERS:
            text = values.map(lambda value: _number(value, settings), na_action="ignore")
        else:
            # On one line: a row of a table is a line to whoever reads it.
            text = safe_text(values).str.replace(r"\s+", " ", regex=True).str.strip()
        columns[column.inside] = text.astype("str").fillna("")
    return pd.DataFrame(columns, index=rows.index)


def _number(value: float, settings: Settings) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return text.replace(".", ",") if settings.decimal_comma else text


def is_same_and_more(
    before: RawTable,
    after: RawTable,
    table: Table,
    rows: pd.DataFrame,
    settings: Settings,
    left_out: Sequence[str] = (),
) -> bool:
    """Whether a table reads as it did before, with exactly these rows behind."""
    if before.rejected_rows != after.rejected_rows:
        return False
    old, new = (_typed(each, table, settings) for each in (before, after))
    if len(new) != len(old) + len(rows):
        return False
    if not new.iloc[: len(old)].reset_index(drop=True).equals(old):
        return False
    added = new.iloc[len(old) :].reset_index(drop=True)
    for column in table.columns:
        wanted = rows[column.inside].reset_index(drop=True)
        found = added[column.inside]
        if column.name in left_out:
            continue
        if (found.isna() != wanted.isna()).any():
            return False
        if column.kind in _NUMBERS:
            same = (found - wanted).abs().fillna(0.0).lt(_A_HAIR)
        elif column.kind is Kind.TEXT:
            same = found.fillna("").str.split().eq(wanted.fillna("").str.split())
        else:
            same = found.eq(wanted) | found.isna()
        if not bool(np.all(same)):
            return False
    return True


def _typed(raw: RawTable, table: Table, settings: Settings) -> pd.DataFrame:
    header = read_header(raw, table, settings)
    index = pd.RangeIndex(len(raw.cells))
    columns = {
        column.inside: read_column(
            raw.cells[header.places[column.name]].set_axis(index), column, settings
        ).typed
        if column.name in header.places
        else missing_column(index, column)
        for column in table.columns
    }
    return pd.DataFrame(columns, index=index)


# --- a file that is not there yet ----------------------------------------------------------------


def _append_new(
    folder: Path, table: Table, rows: pd.DataFrame, records: Records, *, write: bool
) -> Appended:
    """Make the table's file, in the form of the shop's other files."""
    path = _new_path(folder, table.name)
    settings = records.settings
    form = read_raw_folder(folder, ["jobs"], []).tables.get("jobs")
    is_text = form is not None and ", sheet " not in form.file
    delimiter = form.delimiter if form is not None and is_text else ","
    if settings.decimal_comma and delimiter == ",":
        delimiter = ";"
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    writer.writerow([_label(name, table, settings) for name in table.names])
    cells = written_cells(rows, table, settings)
    writer.writerows(cells[table.inside_names].itertuples(index=False, name=None))
    # A spreadsheet needs the mark to read letters beyond ASCII.
    written = text.getvalue()
    content = written.encode("utf-8" if written.isascii() else "utf-8-sig")
    head = read_delimited(content.splitlines(keepends=True)[0], table.name, path.name)
    end = read_delimited(content, table.name, path.name)
    if head is None or end is None or not is_same_and_more(head, end, table, rows, settings):
        raise OutputError(
            f"{path.name} cannot be made: its rows would not be read back as they were meant. "
            "Type them into a table of your own, by the names in the manual."
        )
    if write:
        _refuse_open(path)
        _replace(path, content, path.read_bytes() if path.exists() else None)
    return Appended(path.name, made=True, left_out=())


def _new_path(folder: Path, name: str) -> Path:
    """The file to make; an empty one that is there already is filled, an empty sheet is not."""
    for path in sorted(folder.iterdir()):
        stem, suffix = fold_name(path.stem), path.suffix.strip().lower()
        if path.name.startswith((".", "~$")) or not path.is_file():
            continue
        if stem == name and suffix in DELIMITED:
            return path
        holds = stem == BOOK and path.stat().st_size > 0
        if suffix == WORKBOOK and (stem == name or holds):
            titles = [title for title, _ in open_workbook(path.read_bytes(), path.name).sheets]
            if stem == name or name in map(fold_name, titles):
                raise OutputError(
                    f"{path.name} has an empty sheet for {name}. Put the names of its columns in "
                    "the first row, save it, and run this again; or delete that sheet."
                )
    return folder / f"{name}.csv"


# --- disk ----------------------------------------------------------------------------------------


def _refuse_open(path: Path) -> None:
    for form in _OPEN_MARKS:
        mark = path.with_name(form.format(path.name))
        if mark.exists():
            raise OutputError(
                f"{path.name} is open in a spreadsheet program: {mark.name} says so. Close it "
                f"there, and run this again. If it is not open, remove {mark.name}."
            )


def _replace(path: Path, content: bytes, before: bytes | None) -> None:
    """Put new content in place of a file by one rename, if the file is still what it was."""
    target = path.resolve()
    try:
        if before is not None and not os.access(target, os.W_OK):
            raise PermissionError
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        new = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            if before is not None:
                shutil.copymode(target, new)
            else:
                new.chmod(0o644)
            if (target.read_bytes() if target.exists() else None) != before:
                raise _changed(path.name)
            new.replace(target)
        finally:
            with contextlib.suppress(FileNotFoundError):
                new.unlink()
    except PermissionError as error:
        raise OutputError(
            f"{path.name} cannot be written: the file or its folder is read-only, or it is open "
            "in another program. Close it or make it writable; nothing was written."
        ) from error
    except OSError as error:
        raise OutputError(
            f"{path.name} cannot be written ({error.strerror or error}); it is as it was."
        ) from error
