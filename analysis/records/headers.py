"""Which column of a file is which of ours."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from rapidfuzz import fuzz, process

from analysis.errors import RecordsError
from analysis.records.delimited import Note, RawTable, shown
from analysis.records.model import DOUBTFUL, REJECTED
from analysis.records.rule import Rule, toml_line, toml_pair
from analysis.schema import Table
from analysis.settings import FILE_NAME, Settings

_NEAR = 55
_MOST_NAMED = 20  # columns that one line names
_HEADS = 10  # rows under the first one that may be those of the column names
_FEWEST_KNOWN = 2  # columns of ours that make a row one of column names
# What is told of a table whose column names stand further down comes from that alone.
_OF_TITLES = frozenset(
    {"title-above-header", "row-too-long", "column-without-name", "merged-cells"}
)

UNKNOWN_COLUMN = Rule(
    "unknown-column",
    DOUBTFUL,
    "A column that is none of ours; its cells are not read.",
    "If it is one of ours under another name, map it in shop.toml; else nothing is to be done.",
)
MISSING_COLUMN = Rule(
    "missing-column",
    REJECTED,
    "A table without a column that every row of it must have; none of its rows is used.",
    "Add the column, or map yours to it in shop.toml.",
)


@dataclass(frozen=True)
class Header:
    """The columns of a file: `places` by our name, and what the file has beside them or lacks.

    `names_row` : the number of the row in which the column names stand, where it is not the first.
    """

    places: Mapping[str, int]
    labels: Mapping[str, str]
    unknown: tuple[int, ...]
    missing: tuple[str, ...]
    names_row: int | None = None


def read_header(raw: RawTable, table: Table, settings: Settings) -> Header:
    """Match a file's column names to ours, by the shop's own map first.

    Raises
    ------
    RecordsError
        Two columns that are the same one of ours; a required column that a required table lacks.

    """
    places: dict[str, int] = {}
    unknown: list[int] = []
    for place, label in enumerate(raw.header):
        name = _ours(label, table, settings)
        if name not in table.names:
            unknown += [place] if label.strip() else []
            continue
        if name in places:
            raise RecordsError(
                f"{raw.file}: the columns '{shown(raw.header[places[name]])}' and "
                f"'{shown(label)}' are both {name}. Rename one of them, or map one to another "
                f"name in [columns.{table.name}] of {FILE_NAME}."
            )
        places[name] = place
    missing = [each.name for each in table.columns if each.required and each.name not in places]
    labels = {name: raw.header[place].strip() for name, place in places.items()}
    names_row = _names_row(raw, table, settings, len(places)) if missing else None
    header = Header(places, labels, tuple(unknown), tuple(missing), names_row)
    if missing and table.required:
        raise RecordsError(f"{raw.file}: {_lacks(raw, table, header)}")
    return header


def header_notes(raw: RawTable, table: Table, header: Header) -> Iterator[Note]:
    """What is to be told of the columns, and what the reading of the file has told."""
    rule = MISSING_COLUMN
    if header.names_row is not None:
        problem, remedy = _title_above(raw, header.names_row)
        title, place = _title(raw), header.names_row
        yield Note(place, "", title, rule.code, rule.severity, problem, remedy)
        yield from (note for note in raw.notes if note.rule not in _OF_TITLES)
        return
    for label, problem, remedy in unknown_columns(raw, table, header):
        code, severity = UNKNOWN_COLUMN.code, UNKNOWN_COLUMN.severity
        yield Note(1, label, label, code, severity, problem, remedy)
    for name, problem, remedy in missing_columns(raw, table, header):
        yield Note(1, name, "", rule.code, rule.severity, problem, remedy)
    yield from raw.notes


def _ours(label: str, table: Table, settings: Settings) -> str:
    """Give our name of a column, or what its name would be if it were one of ours."""
    return settings.columns.get(table.name, {}).get(_folded(label)) or _our_form(label)


def _names_row(raw: RawTable, table: Table, settings: Settings, known: int) -> int | None:
    """Find the number of the row below in which the column names stand, if they do.

    It is the first with two names of ours or more, and more than the first row has (`known`).
    """
    laid = zip(raw.rows[:_HEADS], raw.cells.head(_HEADS).to_numpy(dtype=object), strict=True)
    below = [(int(row), list(cells)) for row, cells in laid]
    below += [(each.row, list(each.cells)) for each in raw.rejected_rows[:_HEADS]]
    for row, cells in sorted(below, key=lambda each: each[0])[:_HEADS]:
        names = {_ours(str(cell), table, settings) for cell in cells}
        if len(names & set(table.names)) >= max(_FEWEST_KNOWN, known + 1):
            return row
    return None


def _title_above(raw: RawTable, row: int) -> tuple[str, str]:
    """Say that the column names stand in another row than the first, and what to do."""
    return (
        f"the column names stand in row {row}, below '{_title(raw)}'",
        f"If a title is above row {row}, delete it; if records are, move row {row} to the top: "
        "the first row must hold the column names.",
    )


def _title(raw: RawTable) -> str:
    return shown(next((label for label in raw.header if label.strip()), ""))


def unknown_columns(raw: RawTable, table: Table, header: Header) -> Iterator[tuple[str, str, str]]:
    """For each column that is none of ours: its name, the problem, what to do."""
    free = [name for name in table.names if name not in header.places]
    for place in header.unknown:
        label = raw.header[place].strip()
        near = _nearest(_our_form(label), free)
        problem = f"'{shown(label)}' is no column of {table.name}, so its cells are not read"
        if near:
            problem += f"; the nearest of ours is {near}"
        remedy = UNKNOWN_COLUMN.remedy
        if near:
            remedy = (
                f"If it is {near}, add, {toml_line(f'columns.{table.name}', shown(label), near)}."
            )
        yield label, problem, remedy


def missing_columns(raw: RawTable, table: Table, header: Header) -> Iterator[tuple[str, str, str]]:
    """Yield for each required column that the file lacks: its name, the problem, what to do."""
    for name in header.missing:
        yield name, *_lack(raw, table, header, name)


def _lacks(raw: RawTable, table: Table, header: Header) -> str:
    """What a table cannot do without, all at once: nobody mends a header column by column."""
    if header.names_row is not None:
        return ". ".join(_title_above(raw, header.names_row))
    if len(header.missing) == 1:
        return ". ".join(_lack(raw, table, header, header.missing[0]))
    theirs = [_theirs(raw, header, name) or "Your column" for name in header.missing]
    lines = [toml_pair(*pair) for pair in zip(theirs, header.missing, strict=True)]
    *others, last = header.missing
    labels = [shown(raw.header[place]) for place in header.unknown[:_MOST_NAMED]]
    unknown = f" None of ours are: {', '.join(labels)}." if labels else ""
    return (
        f"there are no columns {', '.join(others)} and {last}, which every row of {table.name} "
        f"needs. Add them, or, under [columns.{table.name}] of {FILE_NAME}, the lines "
        f"{', '.join(lines)}.{unknown}"
    )


def _lack(raw: RawTable, table: Table, header: Header, name: str) -> tuple[str, str]:
    theirs = _theirs(raw, header, name)
    hint = f"; the nearest of the file is '{theirs}'" if theirs else ""
    line = toml_line(f"columns.{table.name}", theirs or "Your column", name)
    return (
        f"there is no column {name}, which every row of {table.name} needs{hint}",
        f"Add the column, or, {line}.",
    )


def _theirs(raw: RawTable, header: Header, name: str) -> str | None:
    """The column of the file that is none of ours and whose name is nearest to `name`."""
    labels = {_our_form(raw.header[place]): raw.header[place].strip() for place in header.unknown}
    near = _nearest(name, list(labels))
    return shown(labels[near]) if near else None


def _nearest(name: str, names: list[str]) -> str | None:
    """Find the name that is nearest, its words in any order."""
    spaced = {each: each.replace("_", " ") for each in names}
    wanted = name.replace("_", " ")
    found = process.extractOne(wanted, spaced, scorer=fuzz.token_sort_ratio, score_cutoff=_NEAR)
    return found[2] if found else None


def _folded(label: str) -> str:
    return " ".join(label.split()).casefold()


def _our_form(label: str) -> str:
    return re.sub(r"[\s_-]+", "_", label.strip().casefold())
