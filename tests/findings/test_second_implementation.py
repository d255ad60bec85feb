"""Every result against a slow second implementation, written from the definitions alone.

The second implementation (tests/oracle) works row by row in exact fractions and shares no line of
code with the package. Random shops hold everything at once in small amounts; the demo shop adds
size.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.record_tables import RECORD_TABLES
from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.result_tables import RESULT_TABLES
from analysis.review import review_records
from analysis.schema import Kind
from analysis.units import metres_per, square_metres_per
from tests.oracle import review_tables
from tests.oracle.random_shop import write_random_shop
from tests.shops import edge_rows, plain

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.mark.parametrize("seed", range(24))
def test_random_shops_come_out_the_same(seed: int, tmp_path: Path) -> None:
    labels = write_random_shop(tmp_path, seed)
    records = read_records(tmp_path)
    assert not (records.findings["severity"] == "rejected").any()
    for quarter in (labels[1], labels[-1]):
        assert differences(records, tmp_path, quarter) == []


@pytest.mark.parametrize("quarter", ["2024Q1", "2025Q2", "2026Q3"])
def test_the_demo_shop_comes_out_the_same(quarter: str, tmp_path: Path) -> None:
    records = read_records(DEMO)
    write_clean(records, tmp_path)
    assert differences(records, tmp_path, quarter) == []


def differences(records: Records, folder: Path, quarter: str) -> list[str]:
    """Every cell in which the two implementations differ, for the quarter and the one before."""
    review = review_records(records, quarter)
    found = compared(edge_rows(review), folder, quarter)
    before = replace(review, results=review.previous)
    if len(before.frame("shop_result")) == 1:
        return found  # the records begin after it
    return found + compared(edge_rows(before), folder, review.quarter.previous.label)


def compared(ours: dict[str, list[dict[str, Any]]], folder: Path, quarter: str) -> list[str]:
    found = []
    for name, rows in review_tables(folder, quarter).items():
        keys = [column.name for column in RESULT_TABLES[name].columns if column.key]
        mine, theirs = by_key(ours.get(name, []), keys), by_key(rows, keys)
        for key in sorted(mine.keys() | theirs.keys(), key=str):
            if len(mine[key]) != len(theirs[key]):
                found.append(f"{name} {key}: {len(mine[key])} rows against {len(theirs[key])}")
                continue
            for one, other in zip(mine[key], theirs[key], strict=True):
                found += [
                    f"{name} {key} {column}: {one[column]} against {value(other[column])}"
                    for column in one.keys() & other.keys()
                    if column != "note" and not same(one[column], value(other[column]))
                ]
    return found


def by_key(rows: list[dict[str, Any]], keys: list[str]) -> dict[Hashable, list[dict[str, Any]]]:
    table: dict[Hashable, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        table[tuple(value(row[key]) for key in keys)].append(row)
    return table


def value(cell: Any) -> Any:
    return float(cell) if isinstance(cell, Fraction | int) else plain(cell)


def same(one: Any, other: Any) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return one == pytest.approx(other, rel=1e-7, abs=1e-6)
    return bool(one == other)


def write_clean(records: Records, folder: Path) -> None:
    """The checked records as files in the plainest form, which the second implementation reads."""
    settings = records.settings
    factor = {
        Kind.LENGTH: metres_per(settings.length_unit),
        Kind.AREA: square_metres_per(settings.area_unit),
    }
    (folder / "shop.toml").write_bytes((DEMO / "shop.toml").read_bytes())
    for name, table in RECORD_TABLES.items():
        frame = records[name]
        cells = {}
        for column in table.columns:
            values = frame[column.inside]
            if column.kind in factor:
                values = values / factor[column.kind]
            elif column.kind in (Kind.DATE, Kind.MONTH):
                form = "%Y-%m-%d" if column.kind is Kind.DATE else "%Y-%m"
                values = values.dt.strftime(form)
            elif column.kind is Kind.YES_NO:
                values = values.map({True: "yes", False: "no"})
            elif column.kind is Kind.TIME:
                continue
            cells[column.name] = values
        pd.DataFrame(cells).to_csv(folder / f"{name}.csv", index=False)
