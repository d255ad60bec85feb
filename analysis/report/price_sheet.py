"""The price sheet of `review.xlsx`: inputs at the top, and below them a row a service and class.

Every figure that can follow the inputs is a formula. Its value is written beside it as well
(`with_values`), which the writing library cannot do.
"""

import re
from collections.abc import Callable, Mapping
from typing import Final

from babel.numbers import get_currency_precision
from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment
from openpyxl.utils import get_column_letter
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.table import Table as SheetTable
from openpyxl.worksheet.table import TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from analysis.errors import Unreconciled
from analysis.pricing.price_sheet_form import (
    BLOCKS,
    CARD_FIXED,
    CARD_SHARE,
    COLUMNS,
    CONSUMABLES,
    FILM,
    FORM,
    NAMES,
    OVERHEAD,
    PLACE,
    SHEET_NAME,
    TARGET,
    WAGE,
    Input,
    SheetColumn,
    shop_mark,
)
from analysis.records.template import note
from analysis.report.cautions import PRICE_CAUTION
from analysis.report.numbers import Numbers, shop_name
from analysis.report.price_sheet_look import (
    BORDER,
    FILL,
    INPUT_WORD,
    alignment_of,
    beside_numbers,
    cell_format,
    column_widths,
    lay_out_pages,
    mark_input,
    number_like,
    shape_columns,
    show_cents_typed,
    with_words,
)
from analysis.report.price_sheet_rows import PriceRows, price_rows, row_formula
from analysis.report.results import Review
from analysis.report.workbook_cells import (
    CellValue,
    cell_values,
    lines_of,
    put,
)
from analysis.report.workbook_cover import Listed
from analysis.report.workbook_look import (
    BOLD,
    COVER,
    FEW,
    HEADER_NUMBER,
    HEADER_TEXT,
    HEADER_TEXT_INDENTED,
    LINE_POINTS,
    WRAPPED,
    write_heading,
    write_link,
    write_title,
)
from analysis.schema import Column, Kind
from analysis.settings import Settings

SENTENCE: Final = "Inputs to try, what follows from them, and a column for the prices you decide."
_HOW: Final = (
    "Cells marked 'input' are yours to change. Type what you decide under NEW PRICE, save the "
    "workbook, and run: python -m analysis decide, with the folder of your records. "
)
_LIVE: Final = (
    "Live: change an input, and film cost, expected cost, floor, every margin, full margin and "
    "break-even volume follow. Not live: the suggested price, its verdict and reason (they come "
    "from the quotes won and lost), hours, film, and a redo reserve that is a fixed amount."
)
_FIRST_INPUT_ROW: Final = 4
_TALLEST_FROZEN: Final = 14  # rows above the table that may stay in sight on a small screen
# The cells of the inputs as the formulas name them.
_IN_FORMULAS: Final = {
    WAGE: "in_wage",
    FILM: "in_film",
    OVERHEAD: "in_overhead",
    CONSUMABLES: "in_consumables",
    CARD_SHARE: "in_card",
    CARD_FIXED: "in_fixed",
}
_LABELS: Final = ((1, 2), (5, 7), (10, 11))  # columns of the words before each block's values
_LAST: Final = BLOCKS[2] + 1  # the last column that is used above the table

Values = Mapping[str, float | None]


class PriceSheet:
    """The sheet as it is being written; `values` are those of its formulas, by cell."""

    def __init__(self, sheet: Worksheet, rows: PriceRows, review: Review) -> None:
        self.sheet, self.rows, self.settings = sheet, rows, review.settings
        self.numbers = Numbers(review.settings)
        self.quarter, self.shop = review.quarter, shop_mark(review.records)
        self.note_row = _FIRST_INPUT_ROW + max(len(block) for block in rows.inputs)
        self.gain_row, self.names_row = self.note_row + 1, self.note_row + 2
        self.header_row = self.note_row + 3
        self.first_row = self.header_row + 1
        self.last_row = self.header_row + len(rows.cells)
        self.widths = column_widths(rows.cells)
        self.input_cells: dict[str, str] = {}
        self.values: dict[str, float | None] = {}

    def write(self) -> Values:
        """Fill the sheet; returns the value of every formula, by cell."""
        self._write_top()
        self._write_marks()
        self._write_inputs()
        for at, column in enumerate(COLUMNS, 1):
            self._write_column(at, column)
        self._write_gain()
        self._validate_rows()
        self._look()
        return self.values

    # --- above the table -------------------------------------------------------------------------

    def _write_top(self) -> None:
        sheet = self.sheet
        write_title(sheet, f"{SHEET_NAME} {self.quarter.label}")
        header = sheet.oddHeader
        if header is not None:
            # An ampersand begins a code there.
            header.left.text = shop_name(self.settings).replace("&", "&&")
            header.right.text = f"{SHEET_NAME} {self.quarter.label}, printed &D"
        write_link(sheet, 1, BLOCKS[1] - 1, COVER, "Back to the cover")
        width = self._width_of(1, _LAST)
        for row, text in ((2, _HOW + PRICE_CAUTION), (3, _LIVE)):
            put(sheet, row, 1, text).alignment = WRAPPED
            sheet.merge_cells(start_row=row, start_column=1, end_row=row, end_column=_LAST)
            sheet.row_dimensions[row].height = lines_of(text, width) * LINE_POINTS + 3

    def _write_marks(self) -> None:
        """The names of the columns, then what the sheet is and whose: all out of sight."""
        marks: list[CellValue] = [FORM, self.quarter.label, self.shop, self.rows.net_of_tax]
        for at, value in enumerate([*NAMES, *marks], 1):
            put(self.sheet, self.names_row, at, value)
        self.sheet.row_dimensions[self.names_row].hidden = True
        last = get_column_letter(len(NAMES) + len(marks))
        self.net_of_tax = f"${last}${self.names_row}"

    def _write_inputs(self) -> None:
        for block, inputs in enumerate(self.rows.inputs):
            for row, each in enumerate(inputs, _FIRST_INPUT_ROW):
                self._write_input(row, block, each)
        self._write_input(self.note_row, 0, self.rows.note)
        last = BLOCKS[2]
        self.sheet.merge_cells(
            start_row=self.note_row, start_column=BLOCKS[0], end_row=self.note_row, end_column=last
        )
        for at in range(BLOCKS[0], last + 1):
            self.sheet.cell(self.note_row, at).border = BORDER

    def _write_input(self, row: int, block: int, each: Input) -> None:
        sheet, at = self.sheet, BLOCKS[block]
        is_money = each.kind in (Kind.MONEY, Kind.MONEY_PER_HOUR)
        aside = self.settings.currency if is_money else each.aside
        self._write_label(row, block, f"{each.label} ({aside})" if aside else each.label)
        cell = put(sheet, row, at, each.was)
        mark_input(cell)
        cell.number_format = cell_format(each.kind, each.name, self.settings, self.rows.places)
        side = "left" if each.kind is Kind.TEXT else "right"
        cell.alignment = Alignment(horizontal=side, vertical="top")
        is_note = row == self.note_row
        mark = put(sheet, row, _LAST if is_note else at + 1, "input")
        mark.font = INPUT_WORD
        mark.alignment = Alignment(horizontal="left", vertical="top", indent=1)
        # Beside the key, what the cell held at first: what was changed can then be told.
        key = len(COLUMNS) + 1 + 2 * block
        put(sheet, row, key, each.key)
        put(sheet, row, key + 1, each.was).number_format = cell.number_format
        self.input_cells[each.key] = f"${get_column_letter(at)}${row}"
        validation = self._input_validation(each)
        sheet.add_data_validation(validation)
        validation.add(cell.coordinate)

    def _write_label(self, row: int, block: int, words: str) -> None:
        """The words before a value above the table, over as many lines as they take."""
        first, last = _LABELS[block]
        cell = put(self.sheet, row, first, words)
        cell.font, cell.alignment = BOLD, WRAPPED
        self.sheet.merge_cells(start_row=row, start_column=first, end_row=row, end_column=last)
        lines = lines_of(words, self._width_of(first, last))
        shape = self.sheet.row_dimensions[row]
        shape.height = max(shape.height or 0.0, lines * LINE_POINTS)

    def _write_gain(self) -> None:
        """What the rows with a new price are expected to gain, and of how many it is not known."""
        new, gain = (self._cells_of(name, "$") for name in ("new_price", "expected_gain"))
        for block, words, formula, kind in (
            (0, f"Expected gain a quarter of the rows with a new price, at the suggested prices "
             f"({self.settings.currency})", f"=SUMPRODUCT(ISNUMBER({new})*1,{gain})", Kind.MONEY),
            (1, "Of these rows, gain not known",
             f"=SUMPRODUCT(ISNUMBER({new})*(1-ISNUMBER({gain})))", Kind.WHOLE),
        ):  # fmt: skip
            self._write_label(self.gain_row, block, words)
            cell = put(self.sheet, self.gain_row, BLOCKS[block], None)
            cell.value, cell.font = formula, BOLD
            cell.alignment = Alignment(horizontal="right", vertical="top")
            cell.number_format = cell_format(kind, "expected_gain", self.settings, self.rows.places)
            self.values[cell.coordinate] = 0.0  # nothing is typed in yet

    def _cells_of(self, name: str, fixed: str = "") -> str:
        letter = f"{fixed}{get_column_letter(PLACE[name])}{fixed}"
        return f"{letter}{self.first_row}:{letter}{self.last_row}"

    def _width_of(self, first: int, last: int) -> float:
        return sum(self.widths[name] for name in NAMES[first - 1 : last])

    def _input_validation(self, each: Input) -> DataValidation:
        if each.kind is Kind.TEXT:
            found = DataValidation("textLength", operator="lessThanOrEqual", formula1="500")
            wanted = "At most 500 characters."
        elif each.kind is Kind.DATE:
            day = self.quarter.first_day
            found = DataValidation(
                "date",
                operator="greaterThanOrEqual",
                formula1=f"DATE({day.year},{day.month},{day.day})",
            )
            wanted = f"A day from {day:%Y-%m-%d} on, as 2026-11-01; not before you decide."
        else:
            found = DataValidation(
                "decimal", operator="between", formula1=f"{each.low:g}", formula2=f"{each.high:g}"
            )
            wanted = self._range_words(each)
        found.allow_blank = True
        return with_words(found, each.label, each.help, wanted)

    def _range_words(self, each: Input) -> str:
        low, high = each.low or 0.0, each.high or 0.0
        if each.kind is Kind.PERCENT:
            return (
                f"A percentage from {low * 100:g} % to {high * 100:g} %, as {each.was or 0.03:.1%}."
            )
        return f"An amount from {low:g} to {high:,.0f}, without a currency sign."

    # --- the table -------------------------------------------------------------------------------

    def _write_column(self, at: int, column: SheetColumn) -> None:
        given = self.rows.cells[column.name]
        plain = Column(column.name, column.kind, column.sentence)
        values = cell_values(given, plain)
        few = ~self.rows.cells["enough"].astype("boolean").fillna(value=True).astype(bool)
        for row, (value, is_few) in enumerate(zip(values, few, strict=True), self.first_row):
            cell = self._write_cell(row, at, column, value)
            form = cell_format(column.kind, column.name, self.settings, self.rows.places, value)
            if form != "General":
                cell.number_format = form
            cell.alignment = alignment_of(column, indented=beside_numbers(at))
            if column.typed:
                mark_input(cell)
            elif is_few:
                cell.font = FEW
        self._write_header(at, column)

    def _write_cell(self, row: int, at: int, column: SheetColumn, value: CellValue) -> Cell:
        if not column.live:
            return put(self.sheet, row, at, value)
        cell = put(self.sheet, row, at, None)
        cell.value = row_formula(column.name, self._address(row))
        self.values[cell.coordinate] = None if value is None else float(str(value))
        return cell

    def _address(self, row: int) -> Callable[[str], str]:
        """Where a formula of a row finds what it names."""
        service = str(self.rows.cells["own_service"].iloc[row - self.header_row - 1])
        own = f"{TARGET}: {service.casefold()}"
        known = {
            "nt": self.net_of_tax,
            "places": str(self.rows.places),
            "in_target": self.input_cells.get(own, self.input_cells[TARGET]),
            **{name: self.input_cells[key] for key, name in _IN_FORMULAS.items()},
        }
        return lambda name: known.get(name) or f"${get_column_letter(PLACE[name])}{row}"

    def _write_header(self, at: int, column: SheetColumn) -> None:
        unit = self.numbers.unit(Column(column.name, column.kind, ""))
        words = f"{column.heading} ({unit})" if unit and unit != "%" else column.heading
        cell = write_heading(self.sheet, self.header_row, at, words)
        right = number_like(column)
        text = HEADER_TEXT_INDENTED if beside_numbers(at) else HEADER_TEXT
        cell.alignment = HEADER_NUMBER if right else text
        if column.typed:
            cell.fill = FILL
        live = " Follows the inputs." if column.live else ""
        if not column.hidden:
            cell.comment = note(f"{column.heading}\n{column.sentence}{live}")

    def _validate_rows(self) -> None:
        price = DataValidation("decimal", operator="greaterThan", formula1="0", allow_blank=True)
        words = DataValidation(
            "textLength", operator="lessThanOrEqual", formula1="500", allow_blank=True
        )
        for found, name, about, wanted in (
            (price, "new_price", "The price that you decide, as customers see it.",
             f"A price over 0 in {self.settings.currency}, as 450 or 449.90."),
            (words, "note", "Why; kept with the decision.", "At most 500 characters."),
        ):  # fmt: skip
            self.sheet.add_data_validation(
                with_words(found, COLUMNS[PLACE[name] - 1].heading, about, wanted)
            )
            found.add(self._cells_of(name))

    # --- how it looks ----------------------------------------------------------------------------

    def _look(self) -> None:
        sheet = self.sheet
        shape_columns(sheet, self.widths, 2 * len(BLOCKS))
        sheet.row_dimensions[self.header_row].height = 4 * LINE_POINTS
        texts = [column.name for column in COLUMNS if column.kind is Kind.TEXT]
        texts = [name for name in texts if not COLUMNS[PLACE[name] - 1].hidden]
        for row, (_, each) in enumerate(self.rows.cells[texts].iterrows(), self.first_row):
            lines = [lines_of(str(v), self.widths[str(n)] - 1) for n, v in each.dropna().items()]
            sheet.row_dimensions[row].height = min(max([1, *lines]), 12) * LINE_POINTS
        last = f"{get_column_letter(len(COLUMNS))}{self.last_row}"
        table = SheetTable(displayName="price_sheet", ref=f"A{self.header_row}:{last}")
        table.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=True)
        sheet.add_table(table)
        # A short screen must not be filled by what stays in sight.
        frozen = self.first_row if self.header_row <= _TALLEST_FROZEN else 1
        sheet.freeze_panes = f"C{frozen}"
        new_prices = self._cells_of("new_price")
        show_cents_typed(sheet, new_prices, self.settings, self.rows.places)
        lay_out_pages(sheet, self.header_row, self.last_row)


def add_price_sheet(
    new_sheet: Callable[[str], Worksheet], review: Review
) -> tuple[Listed, Values] | None:
    """Add the sheet to a workbook, where the review has prices.

    Returns its line for the cover, and the value of each of its formulas by cell; None where there
    is no sheet (`why_no_prices` says why).
    """
    rows = price_rows(review, _places(review.settings))
    if not isinstance(rows, PriceRows):
        return None
    values = PriceSheet(new_sheet(SHEET_NAME), rows, review).write()
    return Listed(SHEET_NAME, SHEET_NAME, SENTENCE, len(rows.cells)), values


def _places(settings: Settings) -> int:
    return int(get_currency_precision(settings.currency))


def with_values(part: bytes, values: Values) -> bytes:
    """A sheet's part with the value of each formula written beside it.

    A blank is the empty text that the formula gives. Raises `Unreconciled` where formulas and
    values are not of the same cells.
    """
    left = dict(values)

    def filled(found: re.Match[str]) -> str:
        cell, more, formula = found[1], found[2], found[3]
        value = left.pop(cell, "")
        if value == "":
            raise Unreconciled(f"{cell} of the price sheet has a formula without a value.")
        if value is None:
            return f'<c r="{cell}"{more} t="str"><f>{formula}</f><v></v></c>'
        return f'<c r="{cell}"{more}><f>{formula}</f><v>{value!r}</v></c>'

    text = re.sub(
        r'<c r="([A-Z]+[0-9]+)"([^>]*)><f>([^<]*)</f><v ?(?:/>|></v>)</c>',
        filled,
        part.decode(),
    )
    if left:
        raise Unreconciled(f"{min(left)} of the price sheet has a value without a formula.")
    return text.encode()
