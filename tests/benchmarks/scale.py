"""The costing and its plain tables beside hand-written DuckDB and plain pandas.

`python -m tests.benchmarks.scale [--lines 1000 100000 1000000] [--threads 1]`: a made shop of each
size; the same tables three ways, each in a process of its own; their totals are compared to the
cent. Printed are seconds of the processor, peak memory, and ratios, which say more than seconds
do. Needs the extra `benchmarks`.
"""

from __future__ import annotations

import argparse
import multiprocessing
import pickle
import resource
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import Final

import pandas as pd

from analysis.records.model import Records
from tests.benchmarks.scale_package import JOB_COLUMNS, by_package
from tests.benchmarks.scale_pandas import by_pandas
from tests.benchmarks.scale_shop import scale_shop

PACKAGE, SQL, PANDAS = "package", "DuckDB", "plain pandas"
WAYS: Final = (PACKAGE, SQL, PANDAS)
Tables = dict[str, pd.DataFrame]
_CENT: Final = 0.005


def totals(tables: Tables) -> pd.DataFrame:
    """Sums of what is compared: a row a table and column, from every number of the table.

    `largest` is that of a single row, for columns whose sum says nothing.
    """
    rows = []
    for name, table in tables.items():
        numbers = [c for c in table.columns if pd.api.types.is_numeric_dtype(table[c])]
        kept = list(JOB_COLUMNS) if name == "job_costs" else numbers
        for column in kept:
            values = table[column].astype("float64")
            rows.append((name, column, len(table), values.sum(skipna=False), values.max()))
    frame = pd.DataFrame(rows, columns=["table", "column", "rows", "sum", "largest"])
    return frame.set_index(["table", "column"])


def differences(package: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    """Totals that differ by a cent or more, or that one way lacks; of what `other` computes."""
    asked = package.reindex(other.index)
    agrees = ((asked - other).abs() < _CENT).all(axis=1)
    return pd.concat({"package": asked, "other": other}, axis=1)[~agrees]


def by_way(way: str, records: Records, threads: int = 1) -> tuple[Tables, float]:
    """The tables one way, and the processor's seconds; the database is filled beforehand."""
    if way == SQL:
        # Imported here: the other ways do without it.
        from tests.benchmarks.scale_sql import by_sql, loaded

        db = loaded(records, threads)
        return _timed(lambda: by_sql(db, records))
    return _timed(lambda: by_package(records) if way == PACKAGE else by_pandas(records))


def _timed(work: Callable[[], Tables]) -> tuple[Tables, float]:
    start = time.process_time()
    tables = work()
    return tables, time.process_time() - start


def _measured(way: str, shop: Path, threads: int) -> tuple[pd.DataFrame, float, float]:
    """Totals, seconds, and gigabytes at the peak, the records among them."""
    with shop.open("rb") as file:
        records = pickle.load(file)  # noqa: S301  written by this run
    tables, seconds = by_way(way, records, threads)
    peak = _peak()
    return totals(tables), seconds, peak


def _peak() -> float:
    """Largest memory so far. [GB]"""
    unit = 1 if sys.platform == "darwin" else 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e9


def measure(lines: int, threads: int, runs: int) -> dict[str, tuple[float, float]]:
    """Seconds (the best of the runs) and gigabytes of each way; its totals must agree.

    Raises `AssertionError` with the totals that do not.
    """
    context = multiprocessing.get_context("spawn")
    found: dict[str, tuple[float, float]] = {}
    with tempfile.TemporaryDirectory() as folder:
        shop = Path(folder) / "shop.pickle"
        with shop.open("wb") as file:
            pickle.dump(scale_shop(lines), file)
        package = pd.DataFrame()
        for way in WAYS * runs:
            with ProcessPoolExecutor(1, context) as alone:
                sums, seconds, peak = alone.submit(_measured, way, shop, threads).result()
            package = sums if way == PACKAGE else package
            apart = differences(package, sums)
            assert apart.empty, f"{way} differs from the package:\n{apart.to_string()}"
            best = min(seconds, found[way][0]) if way in found else seconds
            found[way] = best, peak
    return found


def main() -> None:
    """Print a row a size and way, and how the package grows from one size to the next."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--lines", type=int, nargs="+", default=[1_000, 100_000, 1_000_000])
    parser.add_argument("--threads", type=int, default=1, help="of DuckDB")
    parser.add_argument("--runs", type=int, default=1, help="the best of so many counts")
    asked = parser.parse_args()
    print(f"{'job lines':>10} {'':>13} {'CPU s':>8} {'GB':>6} {'package ÷ it':>13} {'growth':>7}")
    before: tuple[int, dict[str, tuple[float, float]]] | None = None
    for lines in asked.lines:
        found = measure(lines, asked.threads, asked.runs)
        for way, (seconds, peak) in found.items():
            ratio = found[PACKAGE][0] / seconds
            growth = ""
            if before is not None:
                growth = f"{seconds / before[1][way][0] / (lines / before[0]):.2f}"
            print(f"{lines:>10,} {way:>13} {seconds:>8.2f} {peak:>6.2f} {ratio:>13.2f} {growth:>7}")
        before = lines, found
    print("growth: time against the size before, divided by how much larger the shop is")


if __name__ == "__main__":
    main()
