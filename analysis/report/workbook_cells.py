"""From a column at the edge to the cells of a sheet: values, number formats, safe text, widths."""

import math
import re
import textwrap
from collections.abc import Sequence
from typing import Final

import pandas as pd
from babel import Locale
from babel.numbers import get_currency_precision
from openpyxl.cell.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from analysis.errors import OutputError
from analysis.report.edge import PLACES
from analysis.schema import Column, Kind
from analysis.settings import Settings

CellValue = str | int | float | pd.Timestamp | None

LONGEST_TEXT: Final = 32_767  # characters that a cell holds
DATE_FORMAT: Final = "yyyy-mm-dd"
_FORMULA_STARTS: Final = ("=", "+", "-", "@")
# What XML 1.0 cannot hold: control characters, halves of surrogate pairs, two non-characters.
_REFUSED: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
# A spreadsheet decodes such a run as one character; the escape keeps what was typed.
_LOOKS_ENCODED: Final = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
_PLACES_OF_UNIT: Final = {
    "in": 1, "ft": 2, "yd": 2, "mm": 0, "cm": 1, "m": 2,
    "sq in": 0, "sq ft": 1, "sq yd": 2, "cm2": 0, "m2": 2,
}  # fmt: skip
_PLACES_OF_KIND: Final = {
    Kind.HOURS: 2,
    Kind.PERCENT: 1,
    Kind.PROBABILITY: 2,
    Kind.NUMBER: 2,
    Kind.WHOLE: 0,
}
_SMALL_AREAS: Final = frozenset({"sq in", "cm2"})  # of which one costs a cent or less
_MONEY: Final = frozenset(
    {Kind.MONEY, Kind.MONEY_PER_AREA, Kind.MONEY_PER_HOUR, Kind.MONEY_PER_LENGTH}
)
_NUMBERS: Final = frozenset({*PLACES, Kind.WHOLE})
_NARROWEST, _WIDEST_TEXT = 9, 60
_FILTER_BUTTON = 4  # characters of a heading that the button of the filter hides


def stands_right(column: Column) -> bool:
    """Whether the cells of a column stand at its right edge, as numbers and dates do."""
    return column.kind in _NUMBERS or column.kind is Kind.DATE


def money_format(settings: Settings, places: int | None = None) -> str:
    """Number format of an amount: the currency's sign where the shop's locale puts it.

    `places` are decimal places; None: those of the currency.
    """
    pattern = Locale.parse(settings.babel_locale).currency_formats["standard"].pattern
    positive = pattern.split(";")[0]
    sign = '"' + settings.currency_symbol.replace('"', "") + '"'
    if places is None:
        places = get_currency_precision(settings.currency)
    number = "#,##0" + ("." + "0" * places if places else "")
    before = positive.index("¤") < positive.index("0")
    space = " " if re.search(r"[\s\u00a0\u202f]", positive) else ""
    amount = f"{sign}{space}{number}" if before else f"{number}{space}{sign}"
    return f"{amount};-{amount}"


def number_format(column: Column, settings: Settings) -> str:
    """Number format of a column's cells; 'General' for text."""
    if column.kind is Kind.DATE:
        return DATE_FORMAT
    if column.kind is Kind.MONEY_PER_AREA and settings.area_unit in _SMALL_AREAS:
        return money_format(settings, 4)
    if column.kind in _MONEY:
        return money_format(settings)
    if column.kind is Kind.AREA:
        places = _PLACES_OF_UNIT[settings.area_unit]
    elif column.kind is Kind.LENGTH:
        places = _PLACES_OF_UNIT[settings.length_unit]
    elif column.kind in _PLACES_OF_KIND:
        places = _PLACES_OF_KIND[column.kind]
    else:
        return "General"
    return "#,##0" + ("." + "0" * places if places else "")


def cell_values(values: pd.Series, column: Column) -> list[CellValue]:
    """The values of a column as a sheet holds them; missing is None.

    Raises
    ------
    OutputError
        A number that is not finite: no sheet can hold it.

    """
    missing = values.isna()
    if column.kind in _NUMBERS:
        numbers = values.astype("float64")
        if numbers.abs().eq(math.inf).any():
            raise OutputError(
                f"The column {column.name} holds a number without end. This is a fault of the "
                "program, not of your records; please report it with the records that show it."
            )
        if column.kind is Kind.WHOLE:
            return [None if gone else round(v) for v, gone in zip(numbers, missing, strict=True)]
        return [None if gone else float(v) for v, gone in zip(numbers, missing, strict=True)]
    if column.kind is Kind.DATE:
        days = pd.to_datetime(values)
        return [None if gone else day for day, gone in zip(days, missing, strict=True)]
    if column.kind is Kind.YES_NO:
        return [
            None if gone else "yes" if v else "no" for v, gone in zip(values, missing, strict=True)
        ]
    return [None if gone else str(v) or None for v, gone in zip(values, missing, strict=True)]


def clean_text(text: str) -> str:
    """Text as a sheet can hold it, with nothing lost from sight.

    A control character becomes its picture (U+2400 and on), what is no character at all becomes
    the replacement character, and text longer than a cell says that it was cut.
    """
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    text = _REFUSED.sub(lambda found: _picture(found[0]), text)
    text = _LOOKS_ENCODED.sub("_x005F_", text)
    if len(text) > LONGEST_TEXT:
        note = f" … (cut: {len(text):,} characters)"
        text = text[: LONGEST_TEXT - len(note)] + note
    return text


def _picture(character: str) -> str:
    return chr(0x2400 + ord(character)) if ord(character) < 0x20 else "\ufffd"


def put(sheet: Worksheet, row: int, column: int, value: CellValue) -> Cell:
    """Write a value; text stays text whatever it starts with, and missing stays empty."""
    cell = sheet.cell(row, column)
    if not isinstance(cell, Cell):
        raise TypeError(f"{cell.coordinate} is hidden under a merged cell")
    if not isinstance(value, str):
        if value is not None:
            cell.value = value
        return cell
    text = clean_text(value)
    cell.value = text
    # Set after the value: a text such as =1+1 or #N/A would else be taken for what it looks like.
    cell.data_type = "s"
    if text.startswith(_FORMULA_STARTS):
        cell.quotePrefix = True
    return cell


def shown_length(values: Sequence[CellValue], places_format: str) -> int:
    """Characters that the widest value of a column takes when shown."""
    numbers = [v for v in values if isinstance(v, int | float)]
    texts = [len(line) for v in values if isinstance(v, str) for line in v.splitlines()[:1]]
    longest = max(texts, default=0)
    if any(isinstance(v, pd.Timestamp) for v in values):
        longest = max(longest, len(DATE_FORMAT))
    if numbers:
        positive = places_format.split(";")[0]
        places = len(positive.partition(".")[2].rstrip('"').split('"')[0].strip())
        extra = len(re.sub(r'[#,0."]', "", positive))
        ends = (max(numbers), min(numbers))
        longest = max(longest, *(len(f"{end:,.{places}f}") + extra for end in ends))
    return longest


def column_width(heading: str, longest: int) -> float:
    """Width of a column: its values whole, its heading over two or three lines, in characters."""
    words = max(len(word) for word in heading.split()) + 2
    thirds = math.ceil(len(heading) / 2) + _FILTER_BUTTON
    wanted = max(longest + 2, words, min(thirds, 18), _NARROWEST)
    return float(min(wanted, _WIDEST_TEXT))


def lines_of(text: str, width: float) -> int:
    """Lines that text takes in a cell of that width, with whole words.

    A column's width counts digits; letters of running text are a little narrower.
    """
    usable = max(int(width * 1.08), 4)
    return sum(max(len(textwrap.wrap(part, usable)), 1) for part in text.split("\n"))
