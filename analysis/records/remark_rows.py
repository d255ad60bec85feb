"""Rows of a table that are no records: totals under a column, and remarks beside the table."""

import re
from collections.abc import Mapping
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.cell_rules import Cell, as_written, quoted
from analysis.records.delimited import RawTable
from analysis.records.headers import Header
from analysis.records.model import REJECTED
from analysis.records.rule import Found, Rule, found
from analysis.schema import Kind, Table

TOTAL_OR_REMARK = Rule(
    "total-or-remark",
    REJECTED,
    "A row that looks like a total or a remark: half of the cells that every row needs are blank "
    "or cannot be read, and the row begins with such a word, or holds one cell alone, or nothing "
    "but the sums of the columns above it (told once a row).",
    "Delete the row, or keep it outside of the table.",
)
_WORDS: Final = re.compile(
    r"\W*(?:grand|sub|zwischen)?[\s-]*(?:totals?|sums?|summe|gesamt|somme|averages?|remarks?|notes?|"
    r"n\.?b\.?|to-?do|memo|comments?|bemerkung(?:en)?|notiz(?:en)?)\b",
    re.IGNORECASE,
)
_NUMBERS: Final = frozenset(
    {Kind.HOURS, Kind.MINUTES, Kind.LENGTH, Kind.AREA, Kind.MONEY, Kind.NUMBER, Kind.WHOLE}
)
_FEWEST, _HALF = 2, 0.5  # required cells that are blank or faulty: their number, their share
_SAME: Final = 0.005  # a sum that is shown rounded, as a share of it


def remark_rows(
    raw: RawTable, header: Header, table: Table, typed: Mapping[str, pd.Series]
) -> list[Found]:
    """Find the rows that look like totals or remarks.

    Parameters
    ----------
    raw, header, table
        The file's table, which column of it is which, and what it should be.
    typed : mapping of inside name to Series
        Every column of the table, read: missing where the cell is blank or faulty.

    Returns
    -------
    list of Found
        One problem a row, at the column of its first filled cell ('' where that is none of ours).

    """
    wanted = [typed[each.inside].isna().to_numpy() for each in table.columns if each.required]
    lacking = np.sum(wanted, axis=0)
    doubted = pd.Index(
        np.flatnonzero((lacking >= _FEWEST) & (lacking >= _HALF * len(wanted))), dtype="int64"
    )
    ours = {place: name for name, place in header.places.items()}
    cells = raw.cells.to_numpy(dtype=object)
    is_sum = _sums(table, header, typed, doubted)
    told: dict[str, list[tuple[int, str, str]]] = {}
    for row in doubted:
        filled = [place for place, cell in enumerate(cells[row]) if as_written(cell).strip()]
        if filled:
            only_sums = is_sum.get(row) == set(filled)
            words = _words(cells[row][filled[0]], len(filled), only_sums=only_sums)
            if words is not None:
                told.setdefault(ours.get(filled[0], ""), []).append((row, *words))
    return [
        found(TOTAL_OR_REMARK, table.name, column, pd.Index(rows), problems, remedies)
        for column, each in told.items()
        for rows, problems, remedies in [zip(*each, strict=True)]
    ]


def _words(first: Cell, count: int, *, only_sums: bool) -> tuple[str, str] | None:
    """Say what a row that lacks much looks like, and what to do; None where it may be a record.

    `first` : its first filled cell; `count` : how many are filled.
    """
    text = as_written(first).strip()
    if _WORDS.match(text):
        return f"the row begins with {quoted(first)}: a total or a remark", TOTAL_OR_REMARK.remedy
    if only_sums:
        return "the row holds nothing but the sums of its columns", TOTAL_OR_REMARK.remedy
    if count > 1:
        return None
    if " " in text:
        return f"the row holds nothing but the remark {quoted(first)}", TOTAL_OR_REMARK.remedy
    return (
        f"the row holds nothing but {quoted(first)}",
        "Fill in the rest of the row, or delete it.",
    )


def _sums(
    table: Table, header: Header, typed: Mapping[str, pd.Series], rows: pd.Index
) -> dict[int, set[int]]:
    """For each of some rows: places of the cells that are the sum of all above them."""
    sums: dict[int, set[int]] = {}
    for column in table.columns:
        if column.kind not in _NUMBERS or column.name not in header.places or rows.empty:
            continue
        values = typed[column.inside].astype("float64").fillna(0.0).to_numpy()
        above = np.cumsum(values) - values
        same = np.abs(values - above) <= _SAME * np.abs(above)
        for at in rows[same[rows] & (values[rows] != 0)]:
            sums.setdefault(at, set()).add(header.places[column.name])
    return sums


def without_rows(findings: list[Found], rows: pd.Index) -> list[Found]:
    """Give findings of one table without what they say of some rows."""
    if rows.empty:
        return findings
    left = []
    for each in findings:
        labels = each.at
        keep = ~labels.isin(rows)
        problems = [text for text, kept in zip(each.problems, keep, strict=True) if kept]
        remedies = [text for text, kept in zip(each.remedies, keep, strict=True) if kept]
        left.append(found(each.rule, each.table, each.column, labels[keep], problems, remedies))
    return left
