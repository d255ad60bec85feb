"""`review.xlsx`: a cover, then a sheet a result, as tables with filters, notes and charts.

The same review always gives the same bytes: the file carries the quarter's last day in place of
the clock, and its parts are packed with a fixed date.
"""

import io
import math
import zipfile
from copy import copy
from typing import Final, NamedTuple

import pandas as pd
from openpyxl import Workbook
from openpyxl.styles import Alignment
from openpyxl.styles.cell_style import StyleArray
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.table import Table as SheetTable
from openpyxl.worksheet.table import TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet
from openpyxl.writer.excel import ExcelWriter

from analysis.glossary import STATEMENT_LINES, heading
from analysis.records.template import note
from analysis.report.numbers import Numbers
from analysis.report.price_sheet import Values, add_price_sheet, with_values
from analysis.report.results import Review
from analysis.report.workbook_cells import (
    CellValue,
    cell_values,
    column_width,
    lines_of,
    money_format,
    number_format,
    put,
    shown_length,
    stands_right,
)
from analysis.report.workbook_charts import Place, chart_for
from analysis.report.workbook_contents import (
    PERIOD,
    Content,
    contents_of,
    named,
    refuse_too_many,
    unique_name,
)
from analysis.report.workbook_cover import CAUTION_PEOPLE, Listed, write_cover, write_words
from analysis.report.workbook_look import (
    COVER,
    FEW,
    HEADER_NUMBER,
    HEADER_ROW,
    HEADER_TEXT_INDENTED,
    LINE_POINTS,
    WRAPPED,
    fit_to_page,
    write_heading,
    write_link,
    write_title,
)
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Column, Kind, Table

_CAUTIONS: Final = {"hours_by_installer": CAUTION_PEOPLE}
_WORDS: Final = "What the words mean"
_NARROW: Final = 110  # characters: a chart right of a table no wider is seen without scrolling
_SHORT: Final = 45  # rows: a chart under a table no longer is soon found
_PAGE_WIDTH: Final = 260  # characters that still can be read on one printed page
_TEXT_WIDTH: Final = 100  # characters of a line of running text
_PRICE_PART: Final = "xl/worksheets/sheet2.xml"  # the price sheet comes right after the cover
_ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)


def workbook_bytes(review: Review) -> bytes:
    """The workbook as the bytes of its file.

    Raises
    ------
    OutputError
        A table has more rows than a sheet holds.

    """
    contents = named(contents_of(review))
    for content in contents:
        refuse_too_many(content)
    book = Workbook()
    del book[book.sheetnames[0]]
    cover = _new_sheet(book, COVER)
    prices = add_price_sheet(lambda name: _new_sheet(book, name), review)
    numbers = Numbers(review.settings)
    for content in contents:
        _write_sheet(_new_sheet(book, content.sheet_name), content, review, numbers)
    words = unique_name(_WORDS, {name.casefold() for name in book.sheetnames})
    write_words(_new_sheet(book, words), _WORDS)
    listed = [Listed(c.sheet_name, c.table.title, c.table.sentence, len(c.edge)) for c in contents]
    if prices:
        listed.insert(0, prices[0])
    listed.append(Listed(words, _WORDS, "Every term of this workbook, by the alphabet.", None))
    write_cover(cover, review, listed)
    return _packed(book, review.quarter.last_day, prices[1] if prices else None)


def _new_sheet(book: Workbook, name: str) -> Worksheet:
    sheet = book.create_sheet(name)
    if not isinstance(sheet, Worksheet):
        raise TypeError("a workbook to write has sheets of cells")
    return sheet


# --- one sheet -----------------------------------------------------------------------------------


def _write_sheet(sheet: Worksheet, content: Content, review: Review, numbers: Numbers) -> None:
    table = content.table
    headings = _headings(table, numbers)
    few = _few_rows(content)
    written = [_written(column, content, review) for column in table.columns]
    widths = [column_width(text, w.longest) for text, w in zip(headings, written, strict=True)]
    # Beside text over several lines, the other cells of the row stand at its top as well.
    top = any(w.longest > width for width, w in zip(widths, written, strict=True))
    for at, (column, (values, form, longest), width) in enumerate(
        zip(table.columns, written, widths, strict=True), 1
    ):
        sheet.column_dimensions[get_column_letter(at)].width = width
        beside = at > 1 and stands_right(table.columns[at - 2]) and not stands_right(column)
        alignment = _alignment(wrapped=longest > width, beside=beside, top=top)
        _write_column(sheet, at, values, _Style(form, few, alignment))
        _write_header(sheet, at, column, headings[at - 1], beside=beside)
    _mark_percent_lines(sheet, content)
    _set_heights(sheet, content, headings)
    _write_top(sheet, content)
    _add_table(sheet, content, headings)
    _freeze_and_print(sheet, content)
    _add_chart(sheet, content, review, numbers)


class _Written(NamedTuple):
    """The cells of a column: values, number format, characters that the longest takes."""

    values: list[CellValue]
    form: str
    longest: int


def _written(column: Column, content: Content, review: Review) -> _Written:
    form = number_format(column, review.settings)
    if content.table.name == "shop_result" and column.name == "amount":
        form = money_format(review.settings)
    values = cell_values(content.edge[column.name], column)
    return _Written(values, form, shown_length(values, form))


class _Style(NamedTuple):
    """How the cells of a column look; rows in `few` rest on few jobs."""

    form: str
    few: set[int]
    alignment: Alignment | None


def _headings(table: Table, numbers: Numbers) -> list[str]:
    """Heading of every column with its unit: `Waste (sq ft)`."""
    units = [numbers.unit(column) for column in table.columns]
    names = [heading(c, "" if c is PERIOD else table.name) for c in table.columns]
    return [f"{name} ({unit})" if unit else name for name, unit in zip(names, units, strict=True)]


def _few_rows(content: Content) -> set[int]:
    """Rows whose figures rest on too few jobs."""
    if "enough" not in content.edge:
        return set()
    few = content.edge["enough"].astype("boolean").eq(False).fillna(False)
    return set(few[few].index)


def _alignment(*, wrapped: bool, beside: bool, top: bool) -> Alignment | None:
    """Text right `beside` numbers keeps off them."""
    if not (wrapped or beside or top):
        return None
    return Alignment(
        horizontal="left" if beside else None,
        vertical="top" if top else None,
        wrap_text=wrapped or None,
        indent=1 if beside else 0,
    )


def _write_column(sheet: Worksheet, at: int, values: list[CellValue], style: _Style) -> None:
    looks: dict[tuple[bool, bool], StyleArray] = {}
    for row, value in enumerate(values):
        if value is None:
            continue
        cell = put(sheet, HEADER_ROW + 1 + row, at, value)
        # A look is found once a column: the library looks each part of it up again for each cell.
        key = (row in style.few, bool(cell.quotePrefix))
        if key in looks:
            cell._style = copy(looks[key])  # type: ignore[attr-defined]
            continue
        if style.form != "General":
            cell.number_format = style.form
        if style.alignment is not None:
            cell.alignment = style.alignment
        if row in style.few:
            cell.font = FEW
        looks[key] = cell._style  # type: ignore[attr-defined]


def _write_header(sheet: Worksheet, at: int, column: Column, text: str, *, beside: bool) -> None:
    cell = write_heading(sheet, HEADER_ROW, at, text)
    if stands_right(column):
        cell.alignment = HEADER_NUMBER
    elif beside:
        cell.alignment = HEADER_TEXT_INDENTED
    cell.comment = note(f"{text}\n{column.sentence}\n\nIn the CSV file: {column.name}")


def _mark_percent_lines(sheet: Worksheet, content: Content) -> None:
    """Lines of the statement that are percentages among amounts."""
    if content.table.name != "shop_result":
        return
    percents = {text for name, text in STATEMENT_LINES.items() if name.endswith("_pct")}
    at = content.table.names.index("amount") + 1
    for row in content.edge.index[content.edge["line"].isin(percents)]:
        sheet.cell(HEADER_ROW + 1 + row, at).number_format = '#,##0.0" %"'


def _width(sheet: Worksheet, at: int) -> float:
    return float(sheet.column_dimensions[get_column_letter(at)].width)


def _set_heights(sheet: Worksheet, content: Content, headings: list[str]) -> None:
    """Heights of the header and of rows with wrapped text: they do not find themselves.

    The header has a line more than its text, for the buttons of the filters.
    """
    lines = [lines_of(text, _width(sheet, at) - 2) for at, text in enumerate(headings, 1)]
    sheet.row_dimensions[HEADER_ROW].height = (max(lines) + 1) * LINE_POINTS
    tallest: dict[int, int] = {}
    for at, column in enumerate(content.table.columns, 1):
        if column.kind is Kind.TEXT:
            text = content.edge[column.name].dropna().astype("str")
            for row in text.index[text.str.len() > _width(sheet, at)]:
                lines_here = lines_of(str(text[row]), _width(sheet, at) - 1)
                tallest[row] = max(tallest.get(row, 1), lines_here)
    for row, count in tallest.items():
        sheet.row_dimensions[HEADER_ROW + 1 + row].height = min(count, 12) * LINE_POINTS


def _write_top(sheet: Worksheet, content: Content) -> None:
    """Title, what the table is, and the way back."""
    table = content.table
    text = table.sentence
    if "enough" in table.names:
        text += " Rows in grey italics, with no under 'Enough', rest on few jobs or cuts."
    if content.edge.empty:
        text += " There are no rows."
    text += f" {_CAUTIONS[table.name]}" if table.name in _CAUTIONS else ""
    write_title(sheet, table.title)
    total, last = 0.0, 0
    while last < len(table.columns) and total < _TEXT_WIDTH:
        last += 1
        total += _width(sheet, last)
    put(sheet, 2, 1, text).alignment = WRAPPED
    if last > 1:
        sheet.merge_cells(start_row=2, start_column=1, end_row=2, end_column=last)
    sheet.row_dimensions[2].height = lines_of(text, total) * LINE_POINTS + 2
    write_link(sheet, 3, 1, COVER, "Back to the cover")


def _add_table(sheet: Worksheet, content: Content, headings: list[str]) -> None:
    """A real table with filters. One without rows gets a blank one, as a table must have one."""
    rows = max(len(content.edge), 1)
    last = f"{get_column_letter(len(headings))}{HEADER_ROW + rows}"
    table = SheetTable(displayName=content.table.name, ref=f"A{HEADER_ROW}:{last}")
    table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
    sheet.add_table(table)


def _frozen_columns(content: Content) -> int:
    """The period and up to two columns that name a row stay when the sheet is scrolled."""
    count = 1 if content.has_period else 0
    for column in content.table.columns[count : count + 2]:
        if not column.key:
            break
        count += 1
    return max(count, 1)


def _freeze_and_print(sheet: Worksheet, content: Content) -> None:
    frozen = _frozen_columns(content)
    sheet.freeze_panes = f"{get_column_letter(frozen + 1)}{HEADER_ROW + 1}"
    sheet.print_title_rows = f"{HEADER_ROW}:{HEADER_ROW}"
    pages = math.ceil(_table_width(sheet, content) / _PAGE_WIDTH)
    if pages > 1:
        sheet.print_title_cols = f"A:{get_column_letter(frozen)}"
    fit_to_page(sheet, pages_wide=pages)


def _table_width(sheet: Worksheet, content: Content) -> float:
    return sum(_width(sheet, at) for at in range(1, len(content.table.columns) + 1))


def _add_chart(sheet: Worksheet, content: Content, review: Review, numbers: Numbers) -> None:
    """Right of a narrow or a long table, else under it; never over it."""
    source = RESULT_TABLES.get(content.table.name)
    if source is None:
        return
    place = Place(
        sheet,
        HEADER_ROW + 1,
        content.quarter_rows,
        {name: at for at, name in enumerate(content.table.names, 1)},
        {column.name: numbers.unit(column) for column in content.table.columns},
        review.quarter.label,
    )
    chart = chart_for(source, content.edge.iloc[: content.quarter_rows], place)
    if chart is None:
        return
    rows = max(len(content.edge), 1)
    if _table_width(sheet, content) <= _NARROW or rows > _SHORT:
        row, column = HEADER_ROW + 1, len(content.table.columns) + 2
    else:
        row, column = HEADER_ROW + rows + 3, _frozen_columns(content) + 1
    sheet.add_chart(chart, f"{get_column_letter(column)}{row}")


# --- the file ------------------------------------------------------------------------------------


def _packed(book: Workbook, day: pd.Timestamp, values: Values | None) -> bytes:
    """The file's bytes, without a trace of the clock.

    The writing library stamps its parts with the time of day, so the archive is packed anew; the
    `values` of the price sheet's formulas are put beside them on the way.
    """
    stamp = day.to_pydatetime()
    # Whoever opens it calculates anew; the values are for those who do not.
    book.calculation.fullCalcOnLoad = True
    book.properties.created = book.properties.modified = stamp
    book.properties.creator = "review"
    book.properties.title = f"{COVER} and tables"
    first = io.BytesIO()
    with zipfile.ZipFile(first, "w", zipfile.ZIP_STORED, allowZip64=True) as archive:
        ExcelWriter(book, archive).save()
    packed = io.BytesIO()
    with zipfile.ZipFile(first) as source, zipfile.ZipFile(packed, "w") as archive:
        for name in source.namelist():
            part = zipfile.ZipInfo(name, _ZIP_DATE)
            part.compress_type, part.create_system = zipfile.ZIP_DEFLATED, 3
            content = source.read(name)
            if values is not None and name == _PRICE_PART:
                content = with_values(content, values)
            archive.writestr(part, content, compresslevel=6)
    return packed.getvalue()
