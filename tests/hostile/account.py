"""What must hold of any records that were read, however they came."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.records.delimited import read_delimited
from analysis.records.headers import MISSING_COLUMN
from analysis.records.model import FINDING_COLUMNS, REJECTED, Records
from analysis.records.rules import RULES

# Rules of a row as a whole: no column is at fault.
_WHOLE_ROW = frozenset({"broken-quotes", "row-too-long"})


def account_for(records: Records) -> None:
    """Every row is used or rejected, every rejected row is kept and told, nothing is half a value.

    Raises AssertionError.
    """
    for source in records.sources:
        if source.table:
            assert source.rows_read == source.rows_used + source.rows_rejected, source
            assert len(records[source.table]) == source.rows_used, source
            kept = kept_rows(records, source.table)
            assert kept == source.rows_rejected, (source, kept)
    tell_the_place(records)
    for name, frame in records.tables.items():
        for column in frame.select_dtypes("number"):
            values = frame[column].dropna().to_numpy(dtype="float64")
            assert np.isfinite(values).all(), (name, column)


def kept_rows(records: Records, table: str) -> int:
    """How many rows stand in the text of the rejected rows, read as a file of records is."""
    text = records.rejected.get(table)
    if text is None:
        return 0
    raw = read_delimited(text.encode(), table, f"rejected/{table}.csv")
    assert raw is not None
    return len(raw.cells) + len(raw.rejected_rows)


def tell_the_place(records: Records) -> None:
    """Each finding names file and row, and a column but where the whole row is meant."""
    findings = records.findings
    for name in FINDING_COLUMNS:
        if name != "row":
            assert findings[name].notna().all(), name
            "".join(findings[name]).encode()
    rejected = findings[findings["severity"] == REJECTED]
    assert (rejected["row"] >= 1).all()
    for name in ("table", "file", "problem", "remedy"):
        assert (rejected[name] != "").all(), name
    assert set(rejected["rule"]) <= set(RULES)
    whole = rejected["rule"].isin(_WHOLE_ROW)
    # Where the column names stand in another row than the first, that row is told.
    whole |= (rejected["rule"] == MISSING_COLUMN.code) & (rejected["row"] > 1)
    assert (rejected.loc[~whole, "column"] != "").all()


def independent_count(data: bytes) -> int | None:
    """Rows under the header of a plain file, counted line by line; None where it is not so plain.

    Plain is UTF-8 without quotation marks and without a line `sep=`.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return None
    if '"' in text or text.lower().startswith("sep="):
        return None
    raw = read_delimited(data, "any", "any.csv")
    if raw is None:
        return None
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return sum(1 for line in lines if line.replace(raw.delimiter, "").strip()) - 1


# --- what came out -------------------------------------------------------------------------------


def no_empty_words(out: Path) -> None:
    """No table that was written holds a word for nothing, or a number that is none."""
    for path in sorted(out.glob("tables/*.csv")):
        for row in csv.DictReader(path.read_text("utf-8").splitlines(keepends=True)):
            for column, cell in row.items():
                assert cell not in ("nan", "NaN", "None", "NaT", "<NA>"), (path.name, column, row)
                assert cell.lstrip("-").lower() not in ("inf", "infinity"), (path.name, column, row)


def is_finite(value: object) -> bool:
    """Whether a value is no number, or a finite one."""
    return not isinstance(value, float) or math.isfinite(value) or pd.isna(value)
