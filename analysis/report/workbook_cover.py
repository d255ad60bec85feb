"""The workbook's first and last sheets: what is in it and how to read it; what the words mean."""

from collections.abc import Sequence
from typing import NamedTuple

from openpyxl.styles import Alignment
from openpyxl.worksheet.worksheet import Worksheet

from analysis.errors import Unavailable
from analysis.glossary import glossary_entries
from analysis.locale_text import counted
from analysis.pricing.price_sheet_form import SHEET_NAME
from analysis.report.numbers import Numbers, shop_name
from analysis.report.price_sheet_rows import why_no_prices
from analysis.report.results import Review
from analysis.report.sentences import answers
from analysis.report.workbook_cells import lines_of, put
from analysis.report.workbook_look import (
    BOLD,
    COVER,
    HEADER_ROW,
    LINE_POINTS,
    PLAIN,
    SUBTITLE,
    WRAPPED,
    fit_to_page,
    write_heading,
    write_link,
    write_title,
)
from analysis.result_tables import RESULT_TABLES

CAUTION_PEOPLE = (
    "Hours depend on the vehicles, films and helpers a person was given. Talk with the person "
    "first; no decision about staff should rest on this workbook alone, and employment law may "
    "set limits to how it is used."
)
_ABOUT_WIDTH, _TEXT_WIDTH = 44, 74
_MEANING_WIDTH, _WHERE_WIDTH = 90, 50


class Listed(NamedTuple):
    """A line of the list of sheets; `rows` is None for a sheet that is no table."""

    sheet_name: str
    title: str
    sentence: str
    rows: int | None


def write_cover(sheet: Worksheet, review: Review, listed: Sequence[Listed]) -> None:
    """Fill the first sheet."""
    numbers = Numbers(review.settings)
    for letter, width in zip("ABC", (_ABOUT_WIDTH, _TEXT_WIDTH, 10), strict=True):
        sheet.column_dimensions[letter].width = width
    shop = shop_name(review.settings)
    title = f"Review {numbers.quarter(review.quarter)}"
    write_title(sheet, f"{shop}: {title}" if shop else title)
    row = _write_block(sheet, 3, "The quarter in a few sentences", _answers(review))
    row = _write_block(sheet, row, "How to read this workbook", _how_to_read(review))
    row = _write_list(sheet, row, listed)
    row = _write_block(sheet, row, "Units", _units(review, numbers))
    row = _write_block(sheet, row, "Not computed", _not_computed(review))
    _write_block(sheet, row, "With care", _care(review))
    fit_to_page(sheet, landscape=False)


def _write_block(sheet: Worksheet, row: int, title: str, lines: list[tuple[str, str]]) -> int:
    """A titled block of lines, each with what it is about; returns the row of the next block."""
    put(sheet, row, 1, title).font = SUBTITLE
    for row_at, (about, text) in enumerate(lines, row + 1):
        put(sheet, row_at, 1, about).alignment = WRAPPED
        put(sheet, row_at, 2, text).alignment = WRAPPED
        _set_height(sheet, row_at, (about, _ABOUT_WIDTH), (text, _TEXT_WIDTH))
    return row + len(lines) + 2


def _write_list(sheet: Worksheet, row: int, listed: Sequence[Listed]) -> int:
    for at, text in enumerate(("Sheet", "What it shows", "Rows"), 1):
        write_heading(sheet, row, at, text)
    sheet.cell(row, 3).alignment = Alignment(horizontal="right")
    for row_at, line in enumerate(listed, row + 1):
        write_link(sheet, row_at, 1, line.sheet_name, line.title).alignment = WRAPPED
        put(sheet, row_at, 2, line.sentence).alignment = WRAPPED
        _set_height(sheet, row_at, (line.title, _ABOUT_WIDTH), (line.sentence, _TEXT_WIDTH))
        cell = put(sheet, row_at, 3, line.rows)
        cell.number_format, cell.alignment = "#,##0", Alignment(vertical="top")
    return row + len(listed) + 2


def _set_height(sheet: Worksheet, row: int, *cells: tuple[str, int]) -> None:
    lines = max(lines_of(text, width) for text, width in cells)
    sheet.row_dimensions[row].height = lines * LINE_POINTS


def _answers(review: Review) -> list[tuple[str, str]]:
    """The owner's questions, each with its line; what is missing stands behind it."""
    return [
        (each.question, each.line if each.is_known else f"Not known: {each.line}")
        for each in answers(review)
    ]


def _how_to_read(review: Review) -> list[tuple[str, str]]:
    label = review.quarter.label
    few = counted(review.settings.pricing.fewest_jobs, "job")
    return [
        ("Periods", f"{label} is the quarter, 'year to {label}' the twelve months ending with it."),
        ("Filters", "The button in a heading sorts and filters. A chart shows the rows left."),
        ("Meaning", "Rest the pointer on a heading: its note says how the column is made."),
        ("Empty cell", "These records do not allow the figure to be computed. It is never 0."),
        (
            "Grey italics",
            f"The figure rests on fewer than {few} or cuts (no under 'Enough'): the next one "
            "could turn it round.",
        ),
        ("Rounding", "Figures are rounded when written; rows may differ from their sum by a hair."),
    ]


def _units(review: Review, numbers: Numbers) -> list[tuple[str, str]]:
    settings = review.settings
    return [
        ("Money", f"{settings.currency}, net of tax unless a heading says otherwise."),
        ("Areas and lengths", f"{numbers.area_unit} and {settings.length_unit}."),
        ("Hours", "Decimal: 2.75 is two hours and three quarters."),
        ("Percentages", "12.5 is 12.5 %."),
    ]


def _not_computed(review: Review) -> list[tuple[str, str]]:
    """What is not there and why, for both periods."""
    label = review.quarter.label
    lines = []
    for period, found in ((label, review.results), (f"year to {label}", review.year)):
        for name, result in found.items():
            if isinstance(result, Unavailable):
                title = RESULT_TABLES[name].title if name in RESULT_TABLES else name
                lines.append((f"{title}, {period}", result.line))
    prices = why_no_prices(review)
    if prices is not None:
        lines.append((f"{SHEET_NAME}, {label}", prices.line))
    return lines or [("Nothing", "Every result could be computed from these records.")]


def _care(review: Review) -> list[tuple[str, str]]:
    rejected = sum(source.rows_rejected for source in review.records.sources)
    lines = [
        ("People", CAUTION_PEOPLE),
        ("Tax", "These are figures to run the shop by, not a tax return: ask your tax adviser."),
    ]
    if rejected:
        text = f"{counted(rejected, 'row')} of the records left out: see the sheet Record findings."
        lines.insert(0, ("Records", text))
    return lines


def write_words(sheet: Worksheet, title: str) -> None:
    """Fill the sheet of definitions, every term by the alphabet."""
    for letter, width in zip("ABC", (30, _MEANING_WIDTH, _WHERE_WIDTH), strict=True):
        sheet.column_dimensions[letter].width = width
    write_title(sheet, title)
    write_link(sheet, 2, 1, COVER, "Back to the cover")
    for at, text in enumerate(("Word", "Meaning", "Where it means that"), 1):
        write_heading(sheet, HEADER_ROW, at, text)
    row = HEADER_ROW
    for entry in glossary_entries():
        for number, (text, titles) in enumerate(entry.definitions):
            row += 1
            where = "; ".join(titles)
            for at, value in enumerate((entry.term if number == 0 else "", text, where), 1):
                cell = put(sheet, row, at, value or None)
                cell.alignment, cell.font = WRAPPED, BOLD if at == 1 else PLAIN
            _set_height(sheet, row, (text, _MEANING_WIDTH), (where, _WHERE_WIDTH))
    sheet.freeze_panes = f"A{HEADER_ROW + 1}"
    sheet.print_title_rows = f"{HEADER_ROW}:{HEADER_ROW}"
    fit_to_page(sheet)
