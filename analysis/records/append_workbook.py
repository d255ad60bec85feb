"""Rows at the end of a sheet of a workbook.

The library that writes workbooks drops what it does not know. So a workbook is written anew only
if there is nothing of the kind in it, and what all its sheets hold is compared before and after.
"""

import io
import re
from collections.abc import Sequence
from copy import copy
from typing import Final

import pandas as pd
from openpyxl import load_workbook
from openpyxl.utils import get_column_letter, range_boundaries
from openpyxl.worksheet.worksheet import Worksheet

from analysis.errors import OutputError
from analysis.records.append import (
    NotAppended,
    is_same_and_more,
    lacking_columns,
    written_cells,
)
from analysis.records.delimited import RawTable
from analysis.records.headers import read_header
from analysis.records.workbook import Workbook, open_workbook, read_sheet
from analysis.schema import Column, Kind, Table
from analysis.settings import Settings

# Parts that are kept, or made anew from what is kept (the chain of calculation, the printer).
_KEPT: Final = re.compile(
    r"\[content_types\]\.xml|_rels/\.rels|docprops/(?:core|app|custom)\.xml|docprops/thumbnail\..*|"
    r"xl/(?:_rels/workbook\.xml\.rels|workbook\.xml|styles\.xml|sharedstrings\.xml|calcchain\.xml)|"
    r"xl/theme/theme\d*\.xml|xl/worksheets/(?:_rels/)?sheet\d+\.xml(?:\.rels)?|"
    r"xl/(?:comments/)?comments?\d*\.xml|xl/drawings/(?:commentsdrawing|vmldrawing)\d*\.vml|"
    r"xl/tables/table\d+\.xml|xl/printersettings/.*"
)
_SHEET: Final = re.compile(r"xl/worksheets/sheet\d+\.xml")
_NEWER: Final = re.compile(rb"<(?:\w+:)?extLst")
# The formula of a cell stands first in it (ECMA-376, part 1, 18.3.1.4).
_FORMULA: Final = re.compile(rb"<(?:\w+:)?c\b([^>]*)>\s*<(?:\w+:)?f[ >/]|<(?:\w+:)?f[ >/]")
_PLACE: Final = re.compile(rb'\br="([A-Za-z]+\d+)"')
_MOST_NAMED: Final = 3  # formulas that a line names
_WORDS: Final = (
    ("vbaproject", "macros"),
    ("chart", "charts"),
    ("pivot", "pivot tables"),
    ("externallink", "links to other workbooks"),
    ("media", "pictures"),
    ("drawing", "drawings"),
    ("threadedcomment", "conversations in notes"),
)
_DATE_FORMAT: Final = "yyyy-mm-dd"


def with_rows(
    data: bytes, raw: RawTable, table: Table, rows: pd.DataFrame, settings: Settings
) -> tuple[bytes, tuple[str, ...]]:
    """The bytes of a workbook with rows at the end of a table's sheet, and what it cannot take.

    Raises
    ------
    NotAppended
        The workbook holds something that writing it anew would lose.
    OutputError
        The rows would not be read back as they were meant.
    """
    file, _, name = raw.file.partition(", sheet ")
    book = open_workbook(data, file)
    parts, formulas = _would_lose(book), _formulas(book)
    if parts or formulas:
        lost = " and ".join([*([_named(formulas)] if formulas else []), *parts][:_MOST_NAMED])
        paste = f"aste the rows above under the last row of the sheet {name or table.name}."
        freed = "Put the values in place of the formulas (copy, paste as values) and run this again"
        raise NotAppended(
            f"{file} holds {lost}, so it is not written anew; nothing was written. "
            + (f"P{paste}" if parts else f"{freed}, or p{paste}"),
            _to_paste(raw, table, rows, settings),
        )
    at = _sheet_place(book, name)
    open_book = load_workbook(io.BytesIO(data), rich_text=True)
    sheet = open_book[book.sheets[at][0]]
    if not isinstance(sheet, Worksheet):
        raise OutputError(f"{raw.file} is no sheet of cells.")
    lacking = lacking_columns(raw, table, rows, settings)
    left_out = lacking if sheet.tables else ()
    _write(sheet, raw, table, rows, settings, lacking if not sheet.tables else ())
    packed = io.BytesIO()
    open_book.save(packed)
    content = packed.getvalue()
    _check(book, open_workbook(content, file), at, table, rows, settings, left_out)
    return content, left_out


def _sheet_place(book: Workbook, name: str) -> int:
    return next(at for at, (title, _) in enumerate(book.sheets) if title.strip() == name.strip())


def _would_lose(book: Workbook) -> list[str]:
    """What would be lost beside formulas, in words; nothing where all is kept."""
    lost = []
    for part in book.archive.parts:
        if part.endswith("/"):
            continue
        if not _KEPT.fullmatch(part):
            words = next((words for mark, words in _WORDS if mark in part), "")
            lost.append(words or f"the part {part}")
        elif _SHEET.fullmatch(part) and _NEWER.search(b"".join(book.archive.pieces(part))):
            lost.append("features of newer programs")
    return list(dict.fromkeys(lost))


def _formulas(book: Workbook) -> list[str]:
    """Where formulas stand, sheet by sheet: `jobs!H12`, or the sheet where the cell has no name."""
    cells = []
    for title, part in book.sheets:
        for formula in _FORMULA.finditer(b"".join(book.archive.pieces(part))):
            place = _PLACE.search(formula[1] or b"")
            cells.append(f"{title.strip()}!{place[1].decode()}" if place else title.strip())
    return cells


def _named(formulas: list[str]) -> str:
    """Name the first formulas, and say how many there are."""
    first = ", ".join(formulas[:_MOST_NAMED])
    more = f" and {len(formulas) - _MOST_NAMED:,} more" if len(formulas) > _MOST_NAMED else ""
    return f"formulas, whose values would be lost ({first}{more})"


def _to_paste(raw: RawTable, table: Table, rows: pd.DataFrame, settings: Settings) -> list[str]:
    """The rows as lines, in the order of the sheet's columns, a tab between cells."""
    places = read_header(raw, table, settings).places
    cells = written_cells(rows, table, settings)
    columns = [[""] * len(rows) for _ in raw.header]
    for name, place in places.items():
        columns[place] = cells[table.column(name).inside].to_list()
    return ["\t".join(line) for line in zip(*columns, strict=True)]


def _write(
    sheet: Worksheet,
    raw: RawTable,
    table: Table,
    rows: pd.DataFrame,
    settings: Settings,
    lacking: Sequence[str],
) -> None:
    head = next(
        at for at, row in enumerate(sheet.iter_rows(), 1) if any(c.value is not None for c in row)
    )
    last = int(raw.rows.max()) if len(raw.rows) else head
    places = dict(read_header(raw, table, settings).places)
    for at, name in enumerate(lacking, len(raw.header)):
        places[name] = at
        sheet.cell(head, at + 1, name)
        _copy_look(sheet, (head, 1), (head, at + 1))
    for row, each in enumerate(rows.to_dict("records"), last + 1):
        for name, place in places.items():
            column = table.column(name)
            _write_cell(sheet, row, place + 1, column, each[column.inside], copied=last > head)
    for found in sheet.tables.values():
        left, top, right, bottom = (int(end or 1) for end in range_boundaries(found.ref))
        if bottom == last:
            ref = f"{get_column_letter(left)}{top}:{get_column_letter(right)}{last + len(rows)}"
            found.ref = ref
            if found.autoFilter is not None:
                found.autoFilter.ref = ref


def _write_cell(
    sheet: Worksheet, row: int, at: int, column: Column, value: object, *, copied: bool
) -> None:
    """One cell, in the style of the one above; text stays text whatever it starts with."""
    cell = sheet.cell(row, at)
    if copied:
        _copy_look(sheet, (row - 1, at), (row, at))
    if pd.isna(value):  # type: ignore[call-overload]
        return
    if column.kind is Kind.DATE:
        cell.value = pd.Timestamp(str(value)).to_pydatetime()
        if cell.number_format == "General" or not copied:
            cell.number_format = _DATE_FORMAT
    elif column.kind is Kind.TEXT:
        cell.value = " ".join(str(value).split())
        cell.data_type = "s"
    else:
        cell.value = float(str(value))


def _copy_look(sheet: Worksheet, source: tuple[int, int], target: tuple[int, int]) -> None:
    above, cell = sheet.cell(*source), sheet.cell(*target)
    cell.number_format = above.number_format
    for part in ("font", "fill", "border", "alignment", "protection"):
        setattr(cell, part, copy(getattr(above, part)))


def _check(
    before: Workbook,
    after: Workbook,
    at: int,
    table: Table,
    rows: pd.DataFrame,
    settings: Settings,
    left_out: Sequence[str],
) -> None:
    """Refuse a workbook that does not read as before, but for the rows."""
    same = [name for name, _ in before.sheets] == [name for name, _ in after.sheets]
    for place in range(len(before.sheets)):
        old, new = (read_sheet(book, place, table.name) for book in (before, after))
        if not same or (old is None) != (new is None):
            same = False
        elif old is not None and new is not None and place != at:
            same &= old.header == new.header and old.cells.equals(new.cells)
        elif old is not None and new is not None:
            same &= is_same_and_more(old, new, table, rows, settings, left_out)
    if not same:
        raise OutputError(
            f"{before.file} cannot be written anew without changing what stands in it; nothing was "
            "written. Type the decisions into it, or keep them in decisions.csv."
        )
