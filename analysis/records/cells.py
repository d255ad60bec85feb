"""One column of a file, from cells as they stand to typed values, faults named.

Every kind of cell has one parser. A parser sees each distinct cell of a column once, however many
rows hold it, so that a long table costs little more than a short one.
"""

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from analysis.records.cell_dates import (
    DateCells,
    date_remedies,
    read_date,
    read_month,
    read_time,
)
from analysis.records.cell_numbers import (
    read_area,
    read_hours,
    read_length,
    read_minutes,
    read_money,
    read_number,
    read_whole,
)
from analysis.records.cell_rules import (
    CONTROL,
    CONTROL_CHARACTER,
    DATE_IN_TEXT,
    KEPT_AS_OTHER,
    LINE_BREAK,
    LONGEST_NAME,
    LONGEST_NOTE,
    NOT_YES_NO,
    SPREADSHEET_ERROR,
    TEXT_TOO_LONG,
    UNKNOWN_WORD,
    Cell,
    CellContext,
    CellError,
    CellFault,
    Told,
    as_written,
    quoted,
    shown,
)
from analysis.records.rule import toml_line, words_or
from analysis.safe_text import plain_text
from analysis.schema import Column, Kind
from analysis.settings import Settings, alias_of

# Columns of running text, in which a line break is nothing to speak of.
FREE_TEXT: Final = frozenset({"note", "lost_reason"})
_NEAR_WORD: Final = 60
_BREAK: Final = re.compile(r"[\t\r\n]")
_ERRORS: Final = frozenset(
    {"#REF!", "#N/A", "#NAME?", "#VALUE!", "#DIV/0!", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"}
)
# What people write where nothing is to be written.
_NOTHING: Final = frozenset(
    {"-", "--", "–", "—", "?", "??", "/", ".", "n/a", "na", "none", "nil", "tbd"}
)
_LEAVE_BLANK: Final = "Leave the cell blank where there is nothing to write, or it is not known."
_YES_NO: Final = {"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False}
_DTYPES: Final = {
    Kind.TEXT: "str",
    Kind.NAMES: "str",
    Kind.CHOICE: "str",
    Kind.YES_NO: "boolean",
    Kind.DATE: "datetime64[us]",
    Kind.MONTH: "datetime64[us]",
    Kind.TIME: "timedelta64[us]",
    Kind.WHOLE: "Int64",
}


@dataclass(frozen=True, eq=False)
class ReadColumn:
    """A column that was read.

    `typed` holds the values, missing where the cell is blank or faulty; `faults` a `CellFault` for
    each row that has one, under its label (a doubtful one has a value all the same).
    """

    typed: pd.Series
    faults: pd.Series


_NO_FAULTS: Final = pd.Series([], pd.RangeIndex(0), dtype=object)


def dtype_of(column: Column) -> str:
    """Give the dtype of a column in the frames inside."""
    return _DTYPES.get(column.kind, "float64")


def read_column(cells: pd.Series, column: Column, settings: Settings) -> ReadColumn:
    """Read the cells of one column.

    Parameters
    ----------
    cells : Series
        Cells as the file holds them, dtype object; blank is '' (or only spaces).
    column : Column
        What the cells should be.
    settings : Settings
        The shop's units, date forms, decimal mark and aliases.

    """
    context = CellContext(column, settings, settings.aliases.get(column.name, {}))
    codes, distinct = _distinct(cells)
    values: list[Any] = []
    faults: dict[int, CellFault] = {}
    for code, cell in enumerate(distinct):
        value, fault = _read_cell(cell, context)
        values.append(value)
        if fault is not None:
            faults[code] = fault
    if column.kind is Kind.DATE and faults:
        times = np.bincount(codes, minlength=len(distinct)).tolist()
        faults = date_remedies(DateCells(distinct, times, values), faults, settings.date_formats)
    typed = pd.Series(_typed(values, column).array.take(codes), cells.index)
    if not faults:
        return ReadColumn(typed, _NO_FAULTS)
    at = np.flatnonzero(np.isin(codes, list(faults)))
    told = pd.Series([faults[code] for code in codes[at]], index=cells.index[at], dtype=object)
    return ReadColumn(typed, told)


def missing_column(index: pd.Index, column: Column) -> pd.Series:
    """Give the values of a column that the file does not have: all missing, of the right dtype."""
    return pd.Series(np.nan if dtype_of(column) == "str" else None, index, dtype=dtype_of(column))


def read_cell(cell: Cell, column: Column, settings: Settings) -> Any:
    """Give the value of one cell (None: blank); `CellError` says why there is none."""
    context = CellContext(column, settings, settings.aliases.get(column.name, {}))
    value, fault = _read_cell(cell, context)
    if value is None and fault is not None:
        raise CellError(fault.rule, fault.problem, fault.remedy)
    return value


def _distinct(cells: pd.Series) -> tuple[np.ndarray, list[Cell]]:
    """Give the distinct cells and which of them each row holds; 1, 1.0 and yes stay apart."""
    held = cells.tolist()
    if set(map(type, held)) <= {str}:
        codes, distinct = pd.factorize(cells.to_numpy(dtype=object))
        return codes, list(distinct)
    seen: dict[tuple[type, Cell], int] = {}
    codes = np.fromiter(
        (seen.setdefault((type(cell), cell), len(seen)) for cell in held), "int64", len(held)
    )
    return codes, [cell for _, cell in seen]


def _read_cell(cell: Cell, context: CellContext) -> tuple[Any, CellFault | None]:
    if isinstance(cell, str):
        cell = cell.strip()
        if not cell:
            return None, None
    try:
        if cell in _ERRORS:
            raise CellError(SPREADSHEET_ERROR, f"{quoted(cell)} is a spreadsheet's error mark")
        value = _PARSERS[context.column.kind](cell, context)
    except CellError as error:
        if not context.column.required and isinstance(cell, str) and cell.casefold() in _NOTHING:
            return None, replace(error.fault, remedy=_LEAVE_BLANK)
        return None, error.fault
    if isinstance(value, Told):
        return value.value, value.fault
    return value, None


def _typed(values: list[Any], column: Column) -> pd.Series:
    dtype = dtype_of(column)
    if dtype == "datetime64[us]":
        return pd.Series(np.array(values, dtype="datetime64[D]").astype(dtype))
    if dtype == "str":
        return pd.Series([np.nan if each is None else each for each in values], dtype=dtype)
    return pd.Series(values, dtype=dtype)


def _read_text(cell: Cell, context: CellContext) -> str | Told:
    free = context.column.name in FREE_TEXT
    if isinstance(cell, dt.date | dt.time | dt.timedelta) and not free:
        raise CellError(DATE_IN_TEXT, f"the cell holds a date or time ({shown(cell)}), not text")
    text = plain_text(as_written(cell))
    longest = LONGEST_NOTE if free else LONGEST_NAME
    if len(text) > longest:
        problem = f"{quoted(text)} has {len(text):,} characters, and {longest:,} are the most"
        raise CellError(TEXT_TOO_LONG, problem)
    if CONTROL.search(text):
        codes = ", ".join(f"\\x{ord(each):02x}" for each in dict.fromkeys(CONTROL.findall(text)))
        raise CellError(CONTROL_CHARACTER, f"{quoted(text)} holds the control character {codes}")
    text = alias_of(text, context.aliases)
    if not free and _BREAK.search(text):
        problem = f"{quoted(text)} has a line break or a tab inside"
        return Told(text, CellFault(LINE_BREAK, problem, LINE_BREAK.remedy))
    return text


def _read_names(cell: Cell, context: CellContext) -> str | Told | None:
    text = _read_text(cell, context)
    written = text.value if isinstance(text, Told) else text
    each = (alias_of(name.strip(), context.aliases) for name in str(written).split(";"))
    names = "; ".join(name for name in each if name) or None
    return Told(names, text.fault) if isinstance(text, Told) else names


def _read_choice(cell: Cell, context: CellContext) -> str | Told:
    column = context.column
    if isinstance(cell, bool) and "yes" in column.words:
        return "yes" if cell else "no"
    word = _word(alias_of(as_written(cell), context.aliases))
    if word in column.words:
        return word
    problem = f"{quoted(cell)} is not one of {words_or(column.words)}"
    near = process.extractOne(word, column.words, scorer=fuzz.ratio, score_cutoff=_NEAR_WORD)
    problem += f"; the nearest is {near[0]}" if near else ""
    remedy = "Write one of these words, or map yours to the one you mean"
    if near:
        # Only a likely word is offered: a map that is pasted unread must not change the meaning.
        remedy += ": " + toml_line(f"aliases.{column.name}", shown(cell, 40), near[0])
    else:
        remedy += f" in shop.toml, under [aliases.{column.name}]"
    remedy += "."
    if column.kept_as is not None:
        problem += f"; it counts as {column.kept_as}"
        return Told(column.kept_as, CellFault(KEPT_AS_OTHER, problem, remedy))
    raise CellError(UNKNOWN_WORD, problem, remedy)


def _read_yes_no(cell: Cell, context: CellContext) -> bool:
    if isinstance(cell, bool):
        return cell
    known = _YES_NO.get(alias_of(as_written(cell), context.aliases).strip().casefold())
    if known is None:
        raise CellError(NOT_YES_NO, f"{quoted(cell)} is neither yes nor no")
    return known


def _word(text: str) -> str:
    return re.sub(r"[\s_-]+", "-", text.strip().casefold())


_PARSERS: Final[dict[Kind, Callable[[Cell, CellContext], Any]]] = {
    Kind.TEXT: _read_text,
    Kind.NAMES: _read_names,
    Kind.CHOICE: _read_choice,
    Kind.YES_NO: _read_yes_no,
    Kind.DATE: read_date,
    Kind.MONTH: read_month,
    Kind.TIME: read_time,
    Kind.HOURS: read_hours,
    Kind.MINUTES: read_minutes,
    Kind.LENGTH: read_length,
    Kind.AREA: read_area,
    Kind.MONEY: read_money,
    Kind.NUMBER: read_number,
    Kind.WHOLE: read_whole,
}
