"""What all sheets of the workbook share: fonts, lines, links and the printed page."""

from typing import Final

from openpyxl.cell.cell import Cell
from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
from openpyxl.worksheet.hyperlink import Hyperlink
from openpyxl.worksheet.properties import PageSetupProperties
from openpyxl.worksheet.worksheet import Worksheet

from analysis.report.workbook_cells import put

COVER: Final = "Cover"
HEADER_ROW: Final = 4
LINE_POINTS: Final = 15.0
_FACE: Final = "Calibri"

TITLE = Font(name=_FACE, size=16, bold=True)
SUBTITLE = Font(name=_FACE, size=12, bold=True)
PLAIN = Font(name=_FACE, size=11)
BOLD = Font(name=_FACE, size=11, bold=True)
LINK = Font(name=_FACE, size=11, underline="single", color="0B57A4")
FEW = Font(name=_FACE, size=11, italic=True, color="6B6B6B")
HEADER_FILL = PatternFill("solid", fgColor="E7ECF2")
HEADER_BORDER = Border(bottom=Side(style="medium", color="404040"))
WRAPPED = Alignment(wrap_text=True, vertical="top")
# The button of the filter covers the lower right of a heading, so headings stand at the top.
HEADER_TEXT = Alignment(wrap_text=True, vertical="top", horizontal="left")
HEADER_TEXT_INDENTED = Alignment(wrap_text=True, vertical="top", horizontal="left", indent=1)
HEADER_NUMBER = Alignment(wrap_text=True, vertical="top", horizontal="right")


def write_title(sheet: Worksheet, text: str) -> None:
    """The title of a sheet, in its first cell."""
    put(sheet, 1, 1, text).font = TITLE
    sheet.row_dimensions[1].height = 26
    sheet.sheet_view.showGridLines = False


def write_link(sheet: Worksheet, row: int, column: int, target: str, text: str) -> Cell:
    """A link to the first cell of another sheet."""
    cell = put(sheet, row, column, text)
    cell.font = LINK
    quoted = target.replace("'", "''")
    cell.hyperlink = Hyperlink(ref=cell.coordinate, location=f"'{quoted}'!A1", display=text)
    return cell


def write_heading(sheet: Worksheet, row: int, column: int, text: str) -> Cell:
    """One heading of a table."""
    cell = put(sheet, row, column, text)
    cell.font, cell.fill, cell.border = BOLD, HEADER_FILL, HEADER_BORDER
    cell.alignment = HEADER_TEXT
    return cell


def fit_to_page(sheet: Worksheet, *, landscape: bool = True, pages_wide: int = 1) -> None:
    """Print on so many pages side by side, with the sheet's name and page numbers below."""
    sheet.page_setup.orientation = "landscape" if landscape else "portrait"
    sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight = pages_wide, 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    footer = sheet.oddFooter
    if footer is not None:
        footer.left.text, footer.right.text = "&A", "&P / &N"
