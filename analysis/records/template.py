"""An empty records workbook to fill in, from the schema, written with a commented `shop.toml`.

The sheets that are named as tables hold a header and nothing else, so that a template which nobody
touched reads as empty tables and a filled one needs nothing deleted. The worked rows stand on a
sheet of their own, which no table is named after and which is therefore never read.
"""

import datetime as dt
import io
import textwrap
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

from openpyxl import Workbook
from openpyxl.comments import Comment
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from analysis.errors import OutputError
from analysis.record_tables import RECORD_TABLES
from analysis.records.settings_template import settings_template
from analysis.schema import Column, Kind, Table
from analysis.settings import FILE_NAME, Settings

RECORDS_FILE: Final = "records.xlsx"
READ_ME, EXAMPLES, LISTS = "read me", "example rows", "lists"
# Sheets that help the person who fills the workbook in; whoever reads records leaves them alone.
HELP_SHEETS: Final = (READ_ME, EXAMPLES, LISTS)
_LAST_ROW: Final = 1_048_576
# Text and names are formatted as text: else a job 00012 becomes 12 and a model 9-3 a date.
_FORMATS: Final = {
    Kind.TEXT: "@",
    Kind.NAMES: "@",
    Kind.CHOICE: "@",
    Kind.YES_NO: "@",
    Kind.DATE: "yyyy-mm-dd",
    Kind.MONTH: "yyyy-mm",
    Kind.TIME: "hh:mm",
    Kind.MONEY: "#,##0.00",
}
# How a cell is written, in words.
_WRITTEN: Final = {
    Kind.DATE: "a date, as in 2026-07-13.",
    Kind.MONTH: "a month, as in 2026-07.",
    Kind.TIME: "a time of day, 24-hour clock, as in 09:15.",
    Kind.HOURS: "hours, as in 2.75, 2:45, 2h45 or 165 min.",
    Kind.MINUTES: "minutes, as in 20.",
    Kind.LENGTH: "a length in {length}, or with its unit: 68 in, 5 ft 8 in, 1.73 m.",
    Kind.AREA: "an area in {area}.",
    Kind.MONEY: "an amount in {currency}.",
    Kind.WHOLE: "a whole number.",
    Kind.NUMBER: "a number.",
    Kind.YES_NO: "yes or no.",
    Kind.CHOICE: "a word of the list.",
    Kind.NAMES: "names with ; between.",
}
_LEVELS: Final = {1: "needed", 2: "who did what, and how film was cut", 3: "adds detail"}
_WIDEST_NOTE: Final = 46  # characters of a line in a note
_FACE: Final = "Calibri"
_TITLE = Font(name=_FACE, size=16, bold=True)
_PLAIN = Font(name=_FACE, size=11)
_BOLD = Font(name=_FACE, size=11, bold=True)
_LINK = Font(name=_FACE, size=11, underline="single", color="0B57A4")
_EXAMPLE = Font(name=_FACE, size=11, italic=True, color="6B6B6B")
_REQUIRED_FILL = PatternFill("solid", fgColor="D9E4F2")
_OPTIONAL_FILL = PatternFill("solid", fgColor="F3F3F3")
_REQUIRED_BORDER = Border(bottom=Side(style="thick", color="1F3A5F"))
_OPTIONAL_BORDER = Border(bottom=Side(style="thin", color="808080"))
_WRAPPED = Alignment(wrap_text=True, vertical="top")
_LEFT = Alignment(horizontal="left")


def note(text: str) -> Comment:
    """A note on a cell, its box as large as its text."""
    lines = [
        line for part in text.split("\n") for line in textwrap.wrap(part, _WIDEST_NOTE) or [""]
    ]
    width = 24 + 7 * max(len(line) for line in lines)
    return Comment(text, "", height=16 + 18 * len(lines), width=max(width, 160))


# --- records.xlsx --------------------------------------------------------------------------------


def records_template(settings: Settings | None = None) -> Workbook:
    """The workbook to fill in: a sheet a record table, with help before and lists after.

    Parameters
    ----------
    settings : Settings or None
        The shop's units and currency, for the notes. None: those of an empty `shop.toml`.

    """
    settings = settings or Settings()
    book = Workbook()
    del book[book.sheetnames[0]]
    _write_read_me(_new_sheet(book, READ_ME), settings)
    _write_examples(_new_sheet(book, EXAMPLES), settings)
    ranges = _list_ranges()
    for table in RECORD_TABLES.values():
        _write_table(_new_sheet(book, table.name), table, settings, ranges)
    _write_lists(_new_sheet(book, LISTS), ranges)
    return book


def _new_sheet(book: Workbook, name: str) -> Worksheet:
    sheet = book.create_sheet(name)
    if not isinstance(sheet, Worksheet):
        raise TypeError("a workbook to write has sheets of cells")
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = 1, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    return sheet


def _write_table(
    sheet: Worksheet, table: Table, settings: Settings, ranges: Mapping[tuple[str, ...], str]
) -> None:
    for at, column in enumerate(table.columns, 1):
        letter = get_column_letter(at)
        _write_header(sheet, 1, at, column, settings)
        sheet.column_dimensions[letter].width = _width(column)
        form = _FORMATS.get(column.kind)
        if form:
            # The style of the whole column: no cell is made, so an empty sheet stays empty.
            sheet.column_dimensions[letter].number_format = form
        validation = _validation(column, ranges)
        if validation is not None:
            validation.add(f"{letter}2:{letter}{_LAST_ROW}")
            sheet.add_data_validation(validation)
    sheet.freeze_panes = "B2" if table.columns[0].required else "A2"
    sheet.row_dimensions[1].height = 20
    if table.required:
        sheet.sheet_properties.tabColor = "1F3A5F"


def _write_header(sheet: Worksheet, row: int, at: int, column: Column, settings: Settings) -> None:
    cell = sheet.cell(row, at, column.name)
    cell.number_format = "@"
    cell.font = _BOLD if column.required else _PLAIN
    cell.fill = _REQUIRED_FILL if column.required else _OPTIONAL_FILL
    cell.border = _REQUIRED_BORDER if column.required else _OPTIONAL_BORDER
    cell.comment = note(_note_text(column, settings))


def _note_text(column: Column, settings: Settings) -> str:
    lines = [
        ("REQUIRED. " if column.required else "Optional. ") + column.sentence,
        f"Write: {_how_written(column, settings)}",
    ]
    if column.words:
        lines.append(_words_line(column))
    if column.default:
        lines.append(f"Blank means: {column.default}.")
    if column.example:
        lines.append(f"Example: {column.example}")
    return "\n".join(lines)


def _words_line(column: Column) -> str:
    words = ", ".join(column.words)
    if column.kind is Kind.TEXT:
        return f"Usual words: {words}; or your own, as in your vehicles sheet."
    if column.kept_as is not None:
        return f"One of: {words}. Another word is kept as {column.kept_as}."
    return f"One of: {words}."


def _how_written(column: Column, settings: Settings) -> str:
    form = _WRITTEN.get(column.kind, "text.")
    return form.format(
        length=settings.length_unit, area=settings.area_unit, currency=settings.currency
    )


def _width(column: Column) -> float:
    longest = max([len(column.name), len(column.example), *map(len, column.words)])
    return float(min(max(longest + 3, 11), 32))


def _validation(column: Column, ranges: Mapping[tuple[str, ...], str]) -> DataValidation | None:
    """The list of a cell. Only a word that would be rejected is stopped; others are let through."""
    if column.kind is Kind.YES_NO:
        return _closed(("yes", "no"))
    if not column.words:
        return None
    if column.kind is Kind.TEXT:
        open_list = DataValidation("list", formula1=ranges[column.words], allow_blank=True)
        open_list.showErrorMessage = False
        return open_list
    closed = _closed(column.words)
    if column.kept_as is not None:
        closed.errorStyle = "warning"
        closed.error = f"Not a word of the list: it would be kept as '{column.kept_as}'."
    return closed


def _closed(words: tuple[str, ...]) -> DataValidation:
    closed = DataValidation("list", formula1=f'"{",".join(words)}"', allow_blank=True)
    closed.showErrorMessage, closed.errorStyle = True, "stop"
    closed.errorTitle, closed.error = "Not in the list", _short("Choose: " + ", ".join(words) + ".")
    return closed


def _short(text: str) -> str:
    """A message as long as a validation holds: 255 characters."""
    return text if len(text) <= 255 else text[:254] + "…"


def _list_ranges() -> dict[tuple[str, ...], str]:
    """Where each list of suggested words stands on the sheet of lists."""
    found = dict.fromkeys(words for _, words in _suggested())
    spare = 40  # rows below the words, so that a shop can add its own
    return {
        words: f"{LISTS}!${letter}$2:${letter}${len(words) + 1 + spare}"
        for letter, words in zip(map(get_column_letter, range(1, 27)), found, strict=False)
    }


def _suggested() -> Iterator[tuple[str, tuple[str, ...]]]:
    for table in RECORD_TABLES.values():
        for column in table.columns:
            if column.words and column.kind is Kind.TEXT:
                yield column.name, column.words


def _write_lists(sheet: Worksheet, ranges: Mapping[tuple[str, ...], str]) -> None:
    names = {words: name for name, words in _suggested()}
    for at, words in enumerate(ranges, 1):
        sheet.cell(1, at, names[words]).font = _BOLD
        sheet.cell(1, at).comment = note(
            "Suggested words. Add your own below: the lists show them."
        )
        for row, word in enumerate(words, 2):
            sheet.cell(row, at, word)
        sheet.column_dimensions[get_column_letter(at)].width = max(map(len, words)) + 4
    sheet.freeze_panes = "A2"


# --- help sheets ---------------------------------------------------------------------------------


def _write_read_me(sheet: Worksheet, settings: Settings) -> None:
    for letter, width in zip("ABC", (18, 78, 34), strict=True):
        sheet.column_dimensions[letter].width = width
    sheet.sheet_view.showGridLines = False
    sheet.cell(1, 1, "The records of your shop").font = _TITLE
    sheet.row_dimensions[1].height = 26
    for row, text in enumerate(_instructions(settings), 3):
        sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=3)
        sheet.cell(row, 1, text).alignment = _WRAPPED
        sheet.row_dimensions[row].height = 15.0 * len(textwrap.wrap(text, 124))
    row = sheet.max_row + 2
    for at, text in enumerate(("Sheet", "What a row is", ""), 1):
        sheet.cell(row, at, text or None).font = _BOLD
        sheet.cell(row, at).border = _OPTIONAL_BORDER
    for row_at, table in enumerate(RECORD_TABLES.values(), row + 1):
        cell = sheet.cell(row_at, 1, table.name)
        cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"'{table.name}'!A1")
        cell.font = _LINK
        sheet.cell(row_at, 2, table.sentence)
        sheet.cell(row_at, 3, "needed" if table.required else _LEVELS[max(table.level, 2)])


def _instructions(settings: Settings) -> list[str]:
    return [
        "Fill in the sheets named as tables, one row under the other from row 2 on. "
        "Only 'jobs' and 'purchases' are needed; leave any other sheet empty until you keep it.",
        "Headings in bold with a thick line are required. Rest the pointer on a heading: its note "
        "says what belongs there. Leave the headings as they are, or keep your own and name them "
        f"in {FILE_NAME} under [columns.jobs] and so on.",
        f"A length without a unit counts in '{settings.length_unit}', an area in "
        f"'{settings.area_unit}', money in {settings.currency}. Change that in {FILE_NAME}. "
        "A length may carry its own unit: 68 in, 5 ft 8 in, 1.73 m, 25 yd.",
        "A cell with a list offers its words. 'vehicle_class' only suggests: your own words are "
        "fine, on the sheet 'lists' and in 'vehicles'.",
        f"The sheets '{READ_ME}', '{EXAMPLES}' and '{LISTS}' are never read as records. "
        f"'{EXAMPLES}' shows one row of every table of an invented shop.",
        "Wages and hours of people are personal data: keep this file where only those can open it "
        "who need it, and record no more than the law and your agreements allow.",
    ]


def _write_examples(sheet: Worksheet, settings: Settings) -> None:
    sheet.sheet_view.showGridLines = False
    sheet.cell(1, 1, "Example rows of an invented shop").font = _TITLE
    sheet.row_dimensions[1].height = 26
    sheet.cell(
        2, 1, "Nothing on this sheet is read. Write your own rows on the sheets of the tables."
    )
    sheet.cell(2, 1).font = _BOLD
    row = 4
    for table in RECORD_TABLES.values():
        sheet.cell(row, 1, f"{table.name}: {table.sentence}").font = _BOLD
        for at, column in enumerate(table.columns, 1):
            _write_header(sheet, row + 1, at, column, settings)
            cell = sheet.cell(row + 2, at, example_value(column))
            cell.font, cell.alignment = _EXAMPLE, _LEFT
            cell.number_format = _FORMATS.get(column.kind, "General")
        row += 5
    most = max(len(table.columns) for table in RECORD_TABLES.values())
    for at in range(1, most + 1):
        sheet.column_dimensions[get_column_letter(at)].width = 19
    sheet.freeze_panes = "A3"


def example_value(column: Column) -> str | int | float | dt.date | dt.time | None:
    """A column's example as a person would enter it in a sheet; None where it has none."""
    text = column.example
    if not text:
        return None
    match column.kind:
        case Kind.DATE:
            return dt.date.fromisoformat(text)
        case Kind.MONTH:
            return dt.date.fromisoformat(f"{text}-01")
        case Kind.TIME:
            return dt.time.fromisoformat(text)
        case Kind.WHOLE:
            return int(text)
        case Kind.MONEY | Kind.NUMBER | Kind.HOURS | Kind.MINUTES | Kind.AREA:
            return float(text)
        case _:
            return text


# --- writing -------------------------------------------------------------------------------------


def write_template(folder: Path) -> tuple[Path, Path]:
    """Write `records.xlsx` and `shop.toml` into a folder, which is made if it is not there.

    Returns
    -------
    tuple of Path
        The two files.

    Raises
    ------
    OutputError
        One of the files is there already, or a CSV file of a table (which would then stand in two
        places), or the folder cannot be written to. Nothing is changed then.

    """
    _refuse_existing(folder)
    buffer = io.BytesIO()
    records_template().save(buffer)
    contents = {RECORDS_FILE: buffer.getvalue(), FILE_NAME: settings_template().encode()}
    made_folder = not folder.exists()
    written: list[Path] = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in contents.items():
            with (folder / name).open("xb") as file:
                written.append(folder / name)
                file.write(content)
    except OSError as error:
        for path in written:
            path.unlink(missing_ok=True)
        if made_folder and folder.is_dir():
            folder.rmdir()
        raise OutputError(
            f"The template cannot be written to {folder}: {error.strerror or error}. "
            "Choose another folder, or make room on the disk."
        ) from error
    return folder / RECORDS_FILE, folder / FILE_NAME


def _refuse_existing(folder: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file. Give the name of a folder.")
    for name in (RECORDS_FILE, FILE_NAME):
        if (folder / name).exists():
            raise OutputError(
                f"{folder / name} is there already and is left as it is. Give another folder."
            )
    for table in RECORD_TABLES:
        if (folder / f"{table}.csv").exists():
            raise OutputError(
                f"{folder / table}.csv is there already: with {RECORDS_FILE} beside it, the table "
                f"{table} would stand in two places. Give another folder."
            )
