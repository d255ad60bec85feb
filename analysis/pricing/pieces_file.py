"""A file of pieces to lay out: read as the records are, every mistake named with its place."""

from pathlib import Path
from typing import Final

import pandas as pd

from analysis.errors import WorkbookError
from analysis.packing.layouts import Piece
from analysis.pricing.asked import as_known, meant
from analysis.pricing.layout_pieces import PieceSet, by_film, numbered
from analysis.records.cells import missing_column, read_column
from analysis.records.delimited import RawTable, read_delimited, shown
from analysis.records.files import fold_name, refuse_no_file, refuse_repeated_names
from analysis.records.model import DOUBTFUL
from analysis.safe_text import name_on_one_line
from analysis.schema import Column, Kind
from analysis.settings import Settings

_LARGEST_FILE: Final = 5 * 2**20  # bytes
COLUMNS: Final = (
    Column("panel", Kind.TEXT, "Name of the piece.", required=True, example="hood"),
    Column("length", Kind.LENGTH, "Length of the piece as it is cut.", required=True, example="60"),
    Column("width", Kind.LENGTH, "Width of the piece as it is cut.", required=True, example="48"),
    Column("pieces", Kind.WHOLE, "Pieces of this size.", minimum=1, maximum=1000, default="1"),
    Column("film", Kind.TEXT, "Code of the film."),
    Column("turn", Kind.YES_NO, "Whether it may lie across the roll.", default="yes"),
    Column("job", Kind.TEXT, "The job that it is for."),
)
_OTHER_NAMES: Final = {"owner": "job"}


def read_pieces(
    path: Path, settings: Settings, film: str | None, films: list[str]
) -> tuple[PieceSet, ...]:
    """The pieces of a CSV file, one set a film.

    Parameters
    ----------
    path : columns of `COLUMNS`, comma, semicolon or tab between them; lengths in the shop's unit
    settings : the shop's units, decimal mark, and the films that have a direction
    film : film of the pieces that name none
    films : codes in the records; a film of the file is matched to them but for case and spaces

    Raises
    ------
    WorkbookError
        The file cannot be read, or a cell of it: one line with file, row, column and value.
    """
    raw = _table(path)
    columns = _columns(raw)
    read = {column.name: _column(raw, column, columns, settings) for column in COLUMNS}
    if raw.cells.empty:
        raise WorkbookError(
            f"{raw.file} has no piece under its header. Write a row a piece: "
            f"{', '.join(column.name for column in COLUMNS if column.required)}."
        )
    rows = pd.DataFrame(read)
    rows["film"] = rows["film"].fillna(film or "")
    notes = [
        f"{raw.file}{f', row {note.row}' if note.row else ''}: {note.problem}."
        for note in raw.notes
        if note.severity == DOUBTFUL
    ]
    unknown = {each: as_known(each, films) for each in rows["film"].unique() if each}
    notes += [
        f"The film {each} is not in the records{meant(each, films)}"
        for each, known in unknown.items()
        if known is None
    ]
    rows["film"] = [unknown.get(each) or each for each in rows["film"]]
    sets = [
        PieceSet(str(code), tuple(_pieces(own, settings)), None, tuple(notes))
        for code, own in rows.groupby("film", sort=False)
    ]
    return by_film(sets)


def _pieces(rows: pd.DataFrame, settings: Settings) -> list[Piece]:
    found = []
    for row in rows.to_dict("records"):
        owner = row["job"] if isinstance(row["job"], str) else ""
        count = 1 if pd.isna(row["pieces"]) else int(row["pieces"])
        turn = None if pd.isna(row["turn"]) else bool(row["turn"])
        # What the file says of a piece goes before what the settings say of its film.
        directional = settings.film.directional if turn is None else () if turn else (row["film"],)
        size = (float(row["length"]), float(row["width"]))
        found += numbered(str(row["panel"]), count, size, directional, row["film"], owner)
    return found


def _table(path: Path) -> RawTable:
    refuse_no_file(path)
    try:
        if path.stat().st_size > _LARGEST_FILE:
            raise WorkbookError(f"{path} is over 5 MB, too large for a file of pieces.")
        data = path.read_bytes()
    except OSError as error:
        raise WorkbookError(
            f"The pieces file {path} cannot be read ({error.strerror}). Check the path."
        ) from error
    raw = read_delimited(data, "pieces", name_on_one_line(path.name))
    if raw is None:
        raise WorkbookError(
            f"{path.name} is empty. Its first row names the columns: "
            f"{', '.join(column.name for column in COLUMNS)}."
        )
    refuse_repeated_names(raw.header, raw.file)
    for rejected in raw.rejected_rows:
        raise WorkbookError(f"{raw.file}, row {rejected.row}: {rejected.problem}. Mend that row.")
    return raw


def _columns(raw: RawTable) -> dict[str, int]:
    """Where each column of `COLUMNS` stands; refuses one that is missing or not known."""
    known = [column.name for column in COLUMNS]
    places: dict[str, int] = {}
    for place, header in enumerate(raw.header):
        name = _OTHER_NAMES.get(fold_name(header), fold_name(header))
        if name not in known or name in places:
            raise WorkbookError(
                f"{raw.file}, row 1: the column '{shown(header)}' is "
                f"{'there twice' if name in places else 'not known'}"
                f"{meant(name, known) or ';'} the columns are {', '.join(known)}. Name it so, or "
                "delete it."
            )
        places[name] = place
    for column in COLUMNS:
        if column.required and column.name not in places:
            raise WorkbookError(
                f"{raw.file}, row 1: there is no column {column.name}. Add it: "
                f"{column.sentence[0].lower()}{column.sentence[1:]}"
            )
    return places


def _column(raw: RawTable, column: Column, places: dict[str, int], settings: Settings) -> pd.Series:
    if column.name not in places:
        return missing_column(raw.cells.index, column)
    cells = raw.cells[places[column.name]]
    read = read_column(cells, column, settings)
    where = f"{raw.file}, row {{}}, column {column.name}"
    for at in read.typed.index[read.typed.isna()]:
        row = raw.rows[raw.cells.index.get_loc(at)]
        if at in read.faults.index:
            fault = read.faults[at]
            raise WorkbookError(f"{where.format(row)}: {fault.problem}. {fault.remedy}")
        if column.required:
            raise WorkbookError(
                f"{where.format(row)}: the cell is blank; expected one such as {column.example}. "
                "Fill it in, or delete the row."
            )
    return read.typed
