"""Every result against a slow second implementation, written from the definitions alone.

The second implementation (tests/oracle) works row by row in exact fractions and shares no line of
code with the package. Random shops hold everything at once in small amounts; the demo shop adds
size. What a fitted model estimates is named in `ESTIMATES`, and nothing else is left out.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Hashable, Mapping, Set
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.findings.lessons import LEARNT
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
POOLED = {
    "pooled_overrun_pct",
    "low_pct",
    "high_pct",
    "probability_over_tolerance",
    "flagged",
}
INTERVAL = {"low_pct", "high_pct"}
# Estimates of a fitted model, compared in test_pooled_columns, test_forecast and test_backtest.
ESTIMATES = {
    "hours_by_service": POOLED,
    "hours_by_class": POOLED,
    "hours_by_model": POOLED,
    "hours_by_installer": {"against_average_pct"} | INTERVAL,
    "learning_curves": {"learning_rate_pct", "probability_shrinks", "verdict"} | INTERVAL,
    "quoting_drift": {"like_for_like_pct"} | INTERVAL,
    "next_quotes": {
        "usual_hours",
        "expected_hours",
        "hours_to_quote",
        "low_hours",
        "high_hours",
    },
}
# Counts beside an estimate; blank, as it is, for the quarter before.
BESIDE = {name: {"jobs_to_date"} for name in ESTIMATES if name.startswith("hours_by")}
# Tables whose very rows are estimates.
ESTIMATED_TABLES = {"hours_spread", "jobs_that_pull", "quote_calibration"}
# Words about a row, which the second implementation does not write.
WORDS = {"shop_result": {"note"}}


def test_every_column_is_compared_or_named(tmp_path: Path) -> None:
    """A new column of a result table must come into one implementation or be named here."""
    labels = write_random_shop(tmp_path, 1)
    seen = review_tables(tmp_path, labels[-1])
    assert RESULT_TABLES.keys() == seen.keys() | ESTIMATED_TABLES
    for name, rows in seen.items():
        left_out = ESTIMATES.get(name, set()) | WORDS.get(name, set())
        assert rows[0].keys() == set(RESULT_TABLES[name].names) - left_out, name


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
    found = compared(edge_rows(review), folder, quarter, RESULT_TABLES.keys())
    before = replace(review, results=review.previous)
    if len(before.frame("shop_result")) == 1:
        return found  # the records begin after it
    ours, label = edge_rows(before), review.quarter.previous.label
    for name in LEARNT:
        assert name not in before.results
    for name in set(ours) & set(ESTIMATES):
        blank = ESTIMATES[name] | BESIDE[name]
        assert all(row[column] is None for row in ours[name] for column in blank)
    tables = RESULT_TABLES.keys() - set(LEARNT)
    return found + compared(ours, folder, label, tables, left_out=BESIDE)


def compared(
    ours: dict[str, list[dict[str, Any]]],
    folder: Path,
    quarter: str,
    tables: Set[str],
    left_out: Mapping[str, Set[str]] | None = None,
) -> list[str]:
    found = []
    theirs_by_table = review_tables(folder, quarter)
    for name in sorted(tables - ESTIMATED_TABLES):
        rows = theirs_by_table[name]
        keys = [column.name for column in RESULT_TABLES[name].columns if column.key]
        mine, theirs = by_key(ours.get(name, []), keys), by_key(rows, keys)
        for key in sorted(mine.keys() | theirs.keys(), key=str):
            if len(mine[key]) != len(theirs[key]):
                found.append(f"{name} {key}: {len(mine[key])} rows against {len(theirs[key])}")
                continue
            for one, other in zip(mine[key], theirs[key], strict=True):
                found += [
                    f"{name} {key} {column}: {one[column]} against {value(cell)}"
                    for column, cell in other.items()
                    if column not in (left_out or {}).get(name, ())
                    and not same(one[column], value(cell))
                ]
    return found


def by_key(rows: list[dict[str, Any]], keys: list[str]) -> dict[Hashable, list[dict[str, Any]]]:
    table: dict[Hashable, list[dict[str, Any]]] = defaultdict(list)
    for row in rows:
        table[tuple(value(row[key]) for key in keys)].append(row)
    return table


def value(cell: Any) -> Any:
    if isinstance(cell, bool):
        return cell
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
