"""From raw tables to checked ones: every row is used or rejected, and every finding has words."""

import csv
import io
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache
from itertools import chain
from typing import Final

import numpy as np
import pandas as pd

from analysis.errors import assert_reconciled
from analysis.record_tables import RECORD_TABLES
from analysis.records.cell_rules import REQUIRED_BLANK, CellFault, as_written, shown
from analysis.records.cells import missing_column, read_column
from analysis.records.count_rules import count_findings
from analysis.records.delimited import Note, RawTable
from analysis.records.entry_rules import entry_findings
from analysis.records.film_rules import film_findings, width_unknown, with_pulled_width
from analysis.records.headers import Header, header_notes, read_header
from analysis.records.job_lines import known_lines
from analysis.records.job_rules import HOURS_AGAINST_LOG, job_findings
from analysis.records.model import FINDING_COLUMNS, REJECTED
from analysis.records.money_rules import PRICE_UNDER_FILM, money_findings
from analysis.records.remark_rows import TOTAL_OR_REMARK, remark_rows, without_rows
from analysis.records.row_rules import (
    dates_out_of_range,
    repeated_keys,
    row_faults,
    with_defaults,
)
from analysis.records.rule import Found, Rule, Shop, found, rows_told
from analysis.records.size_rules import size_findings
from analysis.records.slip_rules import (
    PRICE_FAR_FROM_LIST,
    asked_lines,
    slip_findings,
    usual_price_findings,
)
from analysis.records.spellings import misspelt_names
from analysis.safe_text import safe_text
from analysis.schema import Column, Table
from analysis.settings import Settings

Progress = Callable[[str], None]
# Bounds that a rule about the whole row looks after, with better words.
_ROW_BOUNDS: Final = frozenset({("purchases", "unit_price")})


@dataclass(frozen=True)
class RowCounts:
    """How many rows of a table were read, used and rejected."""

    read: int
    used: int
    rejected: int


@dataclass(frozen=True, eq=False)
class Checked:
    """Checked tables (see `Records` for their form), findings, rejected rows and row counts."""

    tables: Mapping[str, pd.DataFrame]
    findings: pd.DataFrame
    rejected: Mapping[str, str]
    counts: Mapping[str, RowCounts]


@dataclass(frozen=True, eq=False)
class _ReadTable:
    """A raw table with its columns named and its cells typed; rows are labelled 0, 1, 2...

    `written` : `frame` before what blank cells stand for was filled in. `remarks` : numbers of the
    rows that are totals or remarks.
    """

    raw: RawTable
    header: Header
    written: pd.DataFrame
    frame: pd.DataFrame
    remarks: frozenset[int]


class _Work:
    """The findings so far, and which rows of each table they reject."""

    def __init__(self, frames: Mapping[str, pd.DataFrame]) -> None:
        self.found: list[Found] = []
        self.rejected = {
            name: pd.Series(data=False, index=frame.index) for name, frame in frames.items()
        }

    def add(self, findings: Iterable[Found]) -> None:
        for each in findings:
            if len(each.at):
                self.found.append(each)
                if each.rule.severity == REJECTED:
                    self.rejected[each.table].loc[each.at] = True

    def clean(self, name: str, frame: pd.DataFrame) -> pd.DataFrame:
        rejected = self.rejected[name]
        return frame[~rejected] if rejected.any() else frame


def check_tables(
    raws: Mapping[str, RawTable], settings: Settings, progress: Progress | None = None
) -> Checked:
    """Type, check and complete the tables of a shop.

    Parameters
    ----------
    raws : mapping of table name to RawTable
        The tables that are there, as their files hold them.
    settings : Settings
        The shop's settings.
    progress : callable, optional
        Called with a line for each step.

    Raises
    ------
    RecordsError
        A required table lacks a required column, or two columns of a file are the same.
    Unreconciled
        Rows read are not rows used and rejected: a fault of this program.

    """
    tell = progress or (lambda _: None)
    tables: dict[str, _ReadTable] = {}
    cell_findings: list[Found] = []
    for name, table in RECORD_TABLES.items():
        if name in raws:
            tell(f"checking {name}")
            tables[name], faults = _read_table(raws[name], table, settings)
            cell_findings += faults
    frames = {
        name: tables[name].frame if name in tables else _empty(table)
        for name, table in RECORD_TABLES.items()
    }
    work = _Work(frames)
    work.add(cell_findings)
    for name, each in tables.items():
        if each.header.missing:
            work.rejected[name][:] = True
    tell("checking the tables against each other")
    written = {name: tables[name].written if name in tables else frames[name] for name in frames}
    used = _reject_rows(frames, work)
    lines = {name: known_lines(used[name], used["jobs"]) for name in ("hours", "cuts")}
    shop = Shop(settings, written, frames, used, lines)
    _tell_doubtful(shop, work)
    return _checked(shop, work, tables)


def _read_table(raw: RawTable, table: Table, settings: Settings) -> tuple[_ReadTable, list[Found]]:
    header = read_header(raw, table, settings)
    index = pd.RangeIndex(len(raw.cells))
    columns: dict[str, pd.Series] = {}
    findings: list[Found] = []
    for column in table.columns:
        if column.name not in header.places:
            columns[column.inside] = missing_column(index, column)
            continue
        cells = raw.cells[header.places[column.name]].set_axis(index)
        read = read_column(cells, _bounded(table, column), settings)
        columns[column.inside] = read.typed
        findings += _cell_findings(table, column, read.faults)
        if column.required:
            blank = index[read.typed.isna()].difference(read.faults.index)
            problem = f"{column.name} is blank, and every row of {table.name} needs it"
            findings.append(found(REQUIRED_BLANK, table.name, column.name, blank, problem))
    remarks = remark_rows(raw, header, table, columns)
    columns["row"] = pd.Series(raw.rows, index=index, dtype="int64")
    written = pd.DataFrame(columns, index=index)
    frame = with_defaults(table.name, written)
    told = rows_told(remarks, TOTAL_OR_REMARK)
    findings = [*without_rows(findings, told), *remarks]
    numbers = frozenset(frame["row"][told])
    return _ReadTable(raw, header, written, frame, numbers), [] if header.missing else findings


def _bounded(table: Table, column: Column) -> Column:
    if (table.name, column.name) not in _ROW_BOUNDS:
        return column
    return replace(column, minimum=None)


def _cell_findings(table: Table, column: Column, faults: pd.Series) -> list[Found]:
    by_rule: dict[Rule, list[tuple[Hashable, CellFault]]] = {}
    for label, fault in faults.items():
        by_rule.setdefault(fault.rule, []).append((label, fault))
    return [
        found(
            rule,
            table.name,
            column.name,
            pd.Index([label for label, _ in each]),
            [fault.problem for _, fault in each],
            [fault.remedy for _, fault in each],
        )
        for rule, each in by_rule.items()
    ]


@cache
def _empty(table: Table) -> pd.DataFrame:
    """The frame of a table that is not there; nobody writes into it."""
    index = pd.RangeIndex(0)
    columns = {column.inside: missing_column(index, column) for column in table.columns}
    return pd.DataFrame({**columns, "row": pd.Series(dtype="int64")}, index=index)


def _reject_rows(frames: Mapping[str, pd.DataFrame], work: _Work) -> dict[str, pd.DataFrame]:
    """The rows left by the rules that reject, in the order in which one makes room for the next."""
    work.add(dates_out_of_range(frames))
    for name, frame in frames.items():
        work.add(row_faults(name, work.clean(name, frame)))
    for name, frame in frames.items():
        work.add(repeated_keys(name, work.clean(name, frame)))
    used = {name: work.clean(name, frame) for name, frame in frames.items()}
    # A purchase that is rejected for another cell still tells the width of its roll.
    cuts = with_pulled_width(used["cuts"], frames["purchases"])
    work.add([width_unknown(cuts)])
    used["cuts"] = work.clean("cuts", frames["cuts"]).assign(
        pulled_width_m=cuts["pulled_width_m"].dropna()
    )
    return used


def _tell_doubtful(shop: Shop, work: _Work) -> None:
    names = misspelt_names(shop)
    work.add(names.findings)
    jobs = list(job_findings(shop, names.odd))
    work.add(jobs)
    asked = asked_lines(shop)
    slips = slip_findings(shop, asked, rows_told(jobs, HOURS_AGAINST_LOG))
    work.add(slips)
    work.add(entry_findings(shop))
    work.add(film_findings(shop, names.odd["film"]))
    work.add(count_findings(shop, names.odd["film"]))
    work.add(size_findings(shop))
    priced = rows_told(slips, PRICE_FAR_FROM_LIST)
    money = list(money_findings(shop, names.odd["installer"], names.odd["service"], priced))
    work.add(money)
    work.add(usual_price_findings(shop, asked, rows_told(money, PRICE_UNDER_FILM)))


def _checked(shop: Shop, work: _Work, tables: Mapping[str, _ReadTable]) -> Checked:
    notes = findings_frame(chain.from_iterable(_notes(each) for each in tables.values()))
    cells = [_found_frame(each, tables[each.table]) for each in work.found]
    findings = _one_a_cell(pd.concat([*cells, findings_frame([])], ignore_index=True), notes)
    is_told = findings["severity"] == REJECTED
    told = findings[is_told].groupby("table")["row"].nunique().to_dict()
    rejected: dict[str, str] = {}
    counts: dict[str, RowCounts] = {}
    for name, each in tables.items():
        rows = _rejected_rows(each, work.rejected[name])
        if rows:
            rejected[name] = _csv_text(each.raw, rows)
        counts[name] = RowCounts(
            len(each.raw.cells) + len(each.raw.rejected_rows), len(shop.used[name]), len(rows)
        )
        _reconcile(each, counts[name], told.get(name, 0))
    frames = {name: frame.reset_index(drop=True) for name, frame in shop.used.items()}
    return Checked(frames, _in_order(findings, tables), rejected, counts)


def _reconcile(table: _ReadTable, count: RowCounts, told: int) -> None:
    """Hold the counts of a table against each other; `told` : rows told of as rejected."""
    assert_reconciled(f"rows of {table.raw.file}", count.used + count.rejected, count.read, 0)
    if not table.header.missing:
        what = f"rejected rows of {table.raw.file}, with their findings"
        assert_reconciled(what, told, count.rejected, 0)


def findings_frame(rows: Iterable[tuple[object, ...]]) -> pd.DataFrame:
    """Give rows of `FINDING_COLUMNS` as a frame, typed even where there are none."""
    dtypes = {each: "int64" if each == "row" else "str" for each in FINDING_COLUMNS}
    cells = list(zip(*rows, strict=True)) or [()] * len(FINDING_COLUMNS)
    return pd.DataFrame(
        {
            name: pd.Series(list(each), dtype=dtypes[name])
            for name, each in zip(FINDING_COLUMNS, cells, strict=True)
        }
    )


def note_rows(notes: Iterable[Note], table: str, file: str) -> Iterator[tuple[object, ...]]:
    """Turn notes of the reading into rows of findings; one about a whole file stands on row 1."""
    for note in notes:
        yield (
            table,
            note.file or file,
            1 if note.row is None else note.row,
            note.column,
            shown(note.value),
            note.rule,
            note.severity,
            note.problem,
            note.remedy,
        )


def _notes(table: _ReadTable) -> Iterator[tuple[object, ...]]:
    raw = table.raw
    notes = (
        note
        for note in header_notes(raw, RECORD_TABLES[raw.table], table.header)
        # A total is mostly a formula, of which nothing more is to be said.
        if not (note.column and note.count == 1 and note.row in table.remarks)
    )
    yield from note_rows(notes, raw.table, raw.file)


def _found_frame(each: Found, table: _ReadTable) -> pd.DataFrame:
    place = table.header.places.get(each.column)
    at = each.at.to_numpy()
    values = [""] * len(at)
    if place is not None:
        values = [shown(cell) for cell in table.raw.cells[place].to_numpy()[at]]
    return pd.DataFrame(
        {
            "table": each.table,
            "file": table.raw.file,
            "row": table.frame["row"].to_numpy()[at],
            "column": table.header.labels.get(each.column, each.column),
            "value": values,
            "rule": each.rule.code,
            "severity": each.rule.severity,
            "problem": each.problems,
            "remedy": each.remedies,
        }
    )


def _one_a_cell(findings: pd.DataFrame, notes: pd.DataFrame) -> pd.DataFrame:
    """Give findings and notes together; where both speak of one cell, a rejection takes the words.

    What the reading says of a cell (a formula that was never calculated) tells more than that its
    text is no number.
    """
    cell = ["table", "row", "column"]
    words = notes[notes["column"] != ""].drop_duplicates(cell)
    if findings.empty or words.empty:
        return pd.concat([findings, notes], ignore_index=True)
    both = findings.merge(
        words[[*cell, "problem", "remedy"]], on=cell, how="left", validate="many_to_one",
        suffixes=("", "_note"),
    )  # fmt: skip
    better = both["problem_note"].notna() & (both["severity"] == REJECTED)
    for column in ("problem", "remedy"):
        both[column] = both[column].where(~better, both[f"{column}_note"])
    merged = pd.MultiIndex.from_frame(both.loc[better, cell])
    left = notes[~pd.MultiIndex.from_frame(notes[cell]).isin(merged)]
    return pd.concat([both[list(FINDING_COLUMNS)], left], ignore_index=True)


def _in_order(findings: pd.DataFrame, tables: Mapping[str, _ReadTable]) -> pd.DataFrame:
    """Give findings by table, row and column, as they stand in the files."""
    order = {name: at for at, name in enumerate(RECORD_TABLES)}
    places = {
        (name, label.strip()): place
        for name, each in tables.items()
        for place, label in enumerate(each.raw.header)
    }
    place = [places.get(key, -1) for key in zip(findings["table"], findings["column"], strict=True)]
    keys = findings.assign(_table=findings["table"].map(order).fillna(-1), _place=place)
    ordered = keys.sort_values(["_table", "row", "_place"], kind="stable").index
    return findings.loc[ordered].reset_index(drop=True)


def _rejected_rows(table: _ReadTable, mask: pd.Series) -> list[tuple[int, list[str]]]:
    """Give number and cells of the rejected rows, in the order of the file."""
    at = np.flatnonzero(mask)
    cells = table.raw.cells.to_numpy(dtype=object)[at]
    rows = [
        (int(row), [as_written(cell) for cell in line])
        for row, line in zip(table.raw.rows[at], cells, strict=True)
    ]
    rows += [(row.row, [as_written(cell) for cell in row.cells]) for row in table.raw.rejected_rows]
    return sorted(rows, key=lambda each: each[0])


def _csv_text(raw: RawTable, rows: list[tuple[int, list[str]]]) -> str:
    """Give the rejected rows in the shop's own columns and with its own delimiter."""
    lines = [list(raw.header), *(cells for _, cells in rows)]
    ends = np.cumsum([len(line) for line in lines])
    safe = safe_text(pd.Series([cell for line in lines for cell in line], dtype="str")).tolist()
    return "".join(
        _csv_line(safe[end - len(line) : end], raw.delimiter)
        for line, end in zip(lines, ends, strict=True)
    )


def _csv_line(cells: list[str], delimiter: str) -> str:
    """A line that ends in LF, with every cell quoted in which a reader would see its end."""
    text = io.StringIO()
    # Cells with a mark of the line's end are quoted: either mark ends a line for most readers.
    csv.writer(text, delimiter=delimiter, lineterminator="\r\n").writerow(cells)
    return text.getvalue().removesuffix("\r\n") + "\n"
