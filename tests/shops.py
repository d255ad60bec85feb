"""Small shops written in a few lines, and their reviewed tables as plain rows."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.report.edge import to_edge
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.review import review_records

PLAIN = """
length_unit = "m"
area_unit = "m2"
[labour]
default_wage = 10
"""


def write_shop(folder: Path, toml: str = PLAIN, **tables: str) -> Path:
    """Write tables down: columns in the first line, cells between bars."""
    folder.mkdir(exist_ok=True, parents=True)
    (folder / "shop.toml").write_text(toml, encoding="utf-8")
    for table, text in tables.items():
        lines = [line.strip() for line in text.strip().splitlines()]
        rows = [",".join(cell.strip() for cell in line.split("|")) for line in lines]
        (folder / f"{table}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return folder


def records_of(folder: Path, toml: str = PLAIN, **tables: str) -> Records:
    """The checked records of a shop written down as `write_shop` does."""
    return read_records(write_shop(folder, toml, **tables))


def reviewed(folder: Path, quarter: str, toml: str = PLAIN, **tables: str) -> dict[str, Any]:
    """The rows of every result of the quarter, at the edge, unrounded."""
    return edge_rows(review_records(records_of(folder, toml, **tables), quarter))


def edge_rows(review: Review) -> dict[str, list[dict[str, Any]]]:
    """Every result that was computed, as rows of plain values; missing is None."""
    rows = {}
    for name, frame in review.results.items():
        if isinstance(frame, pd.DataFrame):
            table = to_edge(frame, RESULT_TABLES[name], review.settings)
            rows[name] = [
                {key: plain(value) for key, value in row.items()}
                for row in table.to_dict("records")
            ]
    return rows


def plain(value: Any) -> Any:
    """A cell as a Python value: missing is None, a day its ISO text, a number a float."""
    if value is None or value is pd.NA or value is pd.NaT:
        return None
    if isinstance(value, float | np.floating) and np.isnan(value):
        return None
    if hasattr(value, "isoformat"):
        return value.isoformat()[:10]
    if isinstance(value, bool | np.bool_):
        return bool(value)
    if isinstance(value, str):
        return value
    return float(value)


def only(rows: list[dict[str, Any]], **keys: Any) -> dict[str, Any]:
    """The one row with these keys."""
    (row,) = [row for row in rows if all(row[name] == key for name, key in keys.items())]
    return row


def amounts(result: dict[str, Any]) -> dict[str, float]:
    """The lines of the statement by name."""
    return {row["line"]: row["amount"] for row in result["shop_result"]}
