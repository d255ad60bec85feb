"""How the price sheet looks: widths, number formats, marked cells, and the printed pages."""

from collections.abc import Mapping
from typing import Final

import pandas as pd
from openpyxl.cell.cell import Cell
from openpyxl.formatting.rule import Rule
from openpyxl.styles import Alignment, Border, Font, PatternFill, Protection, Side
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.styles.numbers import NumberFormat
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.worksheet import Worksheet

from analysis.money import HALF_A_CENT
from analysis.pricing.price_sheet_form import COLUMNS, NAMES, PLACE, SheetColumn
from analysis.report.workbook_cells import CellValue, money_format, number_format, stands_right
from analysis.report.workbook_look import fit_to_page
from analysis.schema import Column, Kind
from analysis.settings import Settings

FILL: Final = PatternFill("solid", fgColor="FFF6D6")
INPUT_WORD: Final = Font(name="Calibri", size=9, italic=True, color="404040")
_LINE = Side(style="thin", color="7A6200")
BORDER: Final = Border(left=_LINE, right=_LINE, top=_LINE, bottom=_LINE)
_OPEN = Protection(locked=False)
_PERCENT: Final = "0.0%;-0.0%"
_SIGNED: Final = "+0.0%;-0.0%;0.0%"
_SIGNED_COLUMNS: Final = frozenset({"change", "suggested_break_even", "new_break_even"})
# Prices in steps of one or more need no cents; those that have some keep them.
_PRICES: Final = frozenset({"current_price", "suggested_price", "new_price"})
_IN_WHOLE: Final = _PRICES | {"floor_price", "expected_gain"}
_WIDTHS: Final = {
    "service": 24, "vehicle_class": 26, "verdict": 15, "dearer_vehicles": 30, "note": 30,
    "reason": 105, "new_price": 12,
}  # fmt: skip
_WIDTH: Final = 11
# The last column of each printed page but the last: to decide on, to look at, to know.
_PAGE_ENDS: Final = ("new_price", "reason")
_CENTS: Final = 164  # the first number of a format that is not built in


def column_widths(cells: pd.DataFrame) -> dict[str, float]:
    """Width of every column by its name; one of text that stays blank is narrow."""
    widths = {name: float(_WIDTHS.get(name, _WIDTH)) for name in NAMES}
    if cells["dearer_vehicles"].isna().all():
        widths["dearer_vehicles"] = float(_WIDTH)
    return widths


# --- number formats ------------------------------------------------------------------------------


def cell_format(
    kind: Kind, name: str, settings: Settings, places: int, value: CellValue = None
) -> str:
    """Number format of a cell, by its column and, for a price, by whether it has cents.

    `places` are the decimal places of the currency.
    """
    if kind is Kind.PERCENT:
        return _SIGNED if name in _SIGNED_COLUMNS else _PERCENT
    if kind is not Kind.MONEY:
        return number_format(Column(name, kind, ""), settings)
    is_whole = name in _IN_WHOLE and settings.pricing.round_to >= 1
    if is_whole and name in _PRICES and isinstance(value, int | float):
        is_whole = abs(value - round(value)) < HALF_A_CENT
    return money_format(settings, 0 if is_whole else places)


def show_cents_typed(sheet: Worksheet, cells: str, settings: Settings, places: int) -> None:
    """Let a price that is typed with cents show them, where the column's format has none."""
    if not places:
        return
    first = cells.split(":", maxsplit=1)[0]
    form = NumberFormat(numFmtId=_CENTS, formatCode=money_format(settings, places))
    has_cents = f"AND(ISNUMBER({first}),ROUND({first},0)<>ROUND({first},2))"
    rule = Rule(type="expression", formula=[has_cents], dxf=DifferentialStyle(numFmt=form))
    sheet.conditional_formatting.add(cells, rule)


# --- cells ---------------------------------------------------------------------------------------


def number_like(column: SheetColumn) -> bool:
    """Whether the cells of a column stand at its right edge."""
    return stands_right(Column(column.name, column.kind, column.sentence))


def beside_numbers(at: int) -> bool:
    """Whether a column of text stands right of numbers, and has to keep off them."""
    return at > 1 and number_like(COLUMNS[at - 2]) and not number_like(COLUMNS[at - 1])


def alignment_of(column: SheetColumn, *, indented: bool) -> Alignment:
    """Where a column's values stand in their cells."""
    is_text = column.kind is Kind.TEXT and not column.hidden
    return Alignment(
        horizontal="left" if indented else None,
        vertical="top",
        wrap_text=is_text or None,
        indent=1 if indented else 0,
    )


def mark_input(cell: Cell) -> None:
    """Mark a cell as one to be filled in."""
    cell.fill, cell.border, cell.protection = FILL, BORDER, _OPEN


def with_words(found: DataValidation, title: str, about: str, wanted: str) -> DataValidation:
    """A validation that says what the cell is for and, where it refuses, what it wants."""
    found.showInputMessage = found.showErrorMessage = True
    found.promptTitle = found.errorTitle = title[:32]
    found.prompt, found.error = f"{about} {wanted}"[:255], wanted[:225]
    found.errorStyle = "stop"
    return found


# --- the page ------------------------------------------------------------------------------------


def shape_columns(sheet: Worksheet, widths: Mapping[str, float], more: int) -> None:
    """Widths of the columns; hidden ones, and `more` right of them, out of sight."""
    for at, column in enumerate(COLUMNS, 1):
        shape = sheet.column_dimensions[get_column_letter(at)]
        shape.width, shape.hidden = widths[column.name], column.hidden
    for at in range(len(COLUMNS) + 1, len(COLUMNS) + 1 + more):
        sheet.column_dimensions[get_column_letter(at)].hidden = True


def lay_out_pages(sheet: Worksheet, header_row: int, last_row: int) -> None:
    """Print in parts of whole columns, each with service and class.

    What stands above the table is on the first page alone, for its first columns are those that
    every page has.
    """
    shown = [at for at, column in enumerate(COLUMNS, 1) if not column.hidden]
    ends = [*(PLACE[name] for name in _PAGE_ENDS), shown[-1]]
    parts, first, top = [], 1, 1
    for end in ends:
        parts.append(f"{get_column_letter(first)}{top}:{get_column_letter(end)}{last_row}")
        first, top = end + 1, header_row + 1
    sheet.print_area = ",".join(parts)
    sheet.print_title_rows = f"{header_row}:{header_row}"
    sheet.print_title_cols = "A:B"
    fit_to_page(sheet)
