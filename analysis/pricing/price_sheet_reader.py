"""A price sheet that a person filled in, read back as it stands.

The reading goes through the guard of the records: no formula is calculated, no macro run, and what
a formula gave when the workbook was last saved is its value. Nothing is believed because it stands
in a cell: the marks must be ours, and what was not to be changed must be as it was written.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import pandas as pd

from analysis.errors import RecordsError
from analysis.pricing.price_sheet_form import (
    BLOCKS,
    COLUMNS,
    FORM,
    MARKS,
    NAMES,
    PLACE,
    SHEET_NAME,
)
from analysis.records.delimited import Cell, RawTable, column_letter
from analysis.records.files import LARGEST_FILE, fold_name, refuse_no_file
from analysis.records.workbook import open_workbook, read_sheet

_AGAIN: Final = (
    "Run review again, fill in the sheet that it writes, and leave its rows, columns and hidden "
    "cells where they are."
)


@dataclass(frozen=True)
class CellPlace:
    """A cell of the sheet, as a person finds it, and what it holds ('' where it is blank).

    `column` : its letter; `whose` : what it is for, in words.
    """

    row: int
    column: str
    value: Cell = ""
    whose: str = ""

    @property
    def words(self) -> str:
        """The cell as a spreadsheet names it, and whose it is: `Price sheet!N64 (roof, van)`."""
        whose = f" ({self.whose})" if self.whose else ""
        return f"{SHEET_NAME}!{self.column}{self.row}{whose}"


def place_of(row: int, name: str, value: Cell = "", whose: str = "") -> CellPlace:
    """The cell of a row in the column of that name."""
    return CellPlace(row, column_letter(PLACE[name] - 1), value, whose)


@dataclass(frozen=True, eq=False)
class FilledSheet:
    """What stands in the sheet.

    `quarter`, `shop`, `net_of_tax` are its marks; `inputs` the input cells by key, `were` what they
    held when the sheet was written; `rows` the table below, the cells of each column of the form by
    its name, and `row`, the number of the row in the sheet.
    """

    file: str
    quarter: str
    shop: str
    net_of_tax: float
    inputs: Mapping[str, CellPlace]
    were: Mapping[str, Cell]
    rows: pd.DataFrame


def read_price_sheet(path: Path) -> FilledSheet:
    """Read the price sheet of a workbook.

    Raises
    ------
    RecordsError
        There is no such file, it is no workbook or not safe to read, it has no price sheet, or the
        sheet's columns or hidden marks are not those that a review writes.
    """
    book = open_workbook(_data(path), path.name)
    names = [name for name, _ in book.sheets]
    found = [at for at, name in enumerate(names) if fold_name(name) == fold_name(SHEET_NAME)]
    if len(found) != 1:
        held = ", ".join(name.strip() for name in names[:8])
        raise RecordsError(
            f"{path.name} has no sheet called '{SHEET_NAME}'; it has {held}. Give the review.xlsx "
            "of a review of these records, with --sheet, and leave the sheet's name as it is."
        )
    raw = read_sheet(book, found[0], SHEET_NAME)
    if raw is None:
        raise RecordsError(f"{path.name}: the sheet {SHEET_NAME} is empty. {_AGAIN}")
    return _parsed(path.name, raw)


def _data(path: Path) -> bytes:
    refuse_no_file(path)
    try:
        if path.stat().st_size > LARGEST_FILE:
            raise RecordsError(f"{path.name} is too large for a workbook of ours. {_AGAIN}")
        return path.read_bytes()
    except FileNotFoundError as error:
        raise RecordsError(f"There is no file {path}. Check the path.") from error
    except OSError as error:
        raise RecordsError(
            f"{path} cannot be read ({error.strerror}). Close it where it is open, and see that "
            "you may read it."
        ) from error


def _parsed(file: str, raw: RawTable) -> FilledSheet:
    cells: list[list[Cell]] = raw.cells.to_numpy().tolist()
    numbers = [int(row) for row in raw.rows]
    at = next((i for i, row in enumerate(cells) if row[:1] == [NAMES[0]]), None)
    if at is None:
        raise _not_ours(file, "the hidden row with the names of its columns is gone")
    _refuse_other_columns(file, cells[at])
    ends = len(NAMES), len(NAMES) + len(MARKS)
    marks = dict(zip(MARKS, _padded(cells[at], ends[1])[ends[0] : ends[1]], strict=True))
    factor = marks["net_of_tax"]
    if marks["form"] != FORM or isinstance(factor, bool) or not isinstance(factor, int | float):
        raise _not_ours(file, "the hidden marks that say what it is are not ours")
    inputs, were = _inputs(cells[:at], numbers)
    rows = [_padded(row, len(NAMES))[: len(NAMES)] for row in cells[at + 2 :]]
    frame = pd.DataFrame(rows, columns=list(NAMES), dtype=object)
    frame = frame.assign(row=numbers[at + 2 :])
    # What a person wrote below the table, such as a sum, belongs to no service.
    ours = frame["own_service"].map(lambda cell: cell != "").astype(bool)
    stray = frame[~ours & frame["new_price"].map(lambda cell: cell != "").astype(bool)]
    if len(stray):
        place = place_of(int(stray["row"].iloc[0]), "new_price")
        raise RecordsError(
            f"{file}, {place.words}: a price stands in a row that the review did not write. Clear "
            "it; to price what has no row, enter it in price_list first and run review again."
        )
    return FilledSheet(
        file,
        str(marks["quarter"]),
        str(marks["shop"]),
        float(factor),
        inputs,
        were,
        frame[ours].reset_index(drop=True),
    )


def _padded(row: Sequence[Cell], width: int) -> list[Cell]:
    return [*row, *[""] * max(width - len(row), 0)]


def _refuse_other_columns(file: str, names: Sequence[Cell]) -> None:
    for place, (name, found) in enumerate(zip(NAMES, _padded(names, len(NAMES)), strict=False)):
        if name != found:
            wanted = COLUMNS[place].heading
            raise _not_ours(
                file,
                f"column {column_letter(place)} should be '{wanted}', and columns were moved, "
                "inserted or deleted",
            )


def _not_ours(file: str, what: str) -> RecordsError:
    return RecordsError(
        f"{file}, sheet {SHEET_NAME}: {what}, so it is not the sheet that a review wrote. {_AGAIN}"
    )


def _inputs(
    rows: Sequence[Sequence[Cell]], numbers: Sequence[int]
) -> tuple[dict[str, CellPlace], dict[str, Cell]]:
    """The input cells and what they held at first, by the key in the hidden cell of their row."""
    inputs: dict[str, CellPlace] = {}
    were: dict[str, Cell] = {}
    for row, block, key, was in _keys(rows):
        value = _padded(rows[row], BLOCKS[block])[BLOCKS[block] - 1]
        inputs[key] = CellPlace(numbers[row], column_letter(BLOCKS[block] - 1), value)
        were[key] = was
    return inputs, were


def _keys(rows: Sequence[Sequence[Cell]]) -> Iterator[tuple[int, int, str, Cell]]:
    width = len(NAMES) + 2 * len(BLOCKS)
    for at, row in enumerate(rows):
        padded = _padded(row, width)
        for block in range(len(BLOCKS)):
            key, was = padded[len(NAMES) + 2 * block : len(NAMES) + 2 * block + 2]
            if isinstance(key, str) and key:
                yield at, block, key, was
