"""How the costing grows with the records, and where its time goes.

`python -m tests.benchmarks.costing [LARGEST]`: shops of 10,000, 100,000 ... job lines, each with
two time entries and one cut, two thirds of the cuts from a named roll.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
import pandas as pd

from analysis.costing.cuts import film_pulls
from analysis.costing.film import run_shelf
from analysis.costing.jobs import cost_records
from analysis.costing.labour import work_log
from analysis.costing.purchases import credits_on_lines, landed_lines
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.schema import Kind
from analysis.settings import Labour, Settings

START = np.datetime64("2016-01-04")
FILMS = 40
ROLL_M2 = 69.7  # 60 in by 50 yd


def shop(lines: int, seed: int = 1) -> Records:
    """Checked records of a shop with that many job lines over ten years."""
    rng = np.random.default_rng(seed)
    day = START + np.sort(rng.integers(0, 3650, lines)).astype("timedelta64[D]")
    film = np.char.add("F", rng.integers(0, FILMS, lines).astype(str))
    number = np.char.add("J", np.arange(lines).astype(str))
    rolls = max(lines * 3 // 60, FILMS)
    roll_film = np.char.add("F", (np.arange(rolls) % FILMS).astype(str))
    roll_day = START + np.sort(rng.integers(-30, 3650, rolls)).astype("timedelta64[D]")
    roll = np.char.add("R", np.arange(rolls).astype(str))
    newest = pd.merge_asof(
        pd.DataFrame({"day": day, "film": film}).astype({"day": "datetime64[us]"}),
        pd.DataFrame({"day": roll_day, "film": roll_film, "roll": roll}).astype(
            {"day": "datetime64[us]"}
        ),
        on="day",
        by="film",
    )["roll"].where(rng.random(lines) < 2 / 3)
    filled = {
        "jobs": {
            "job_id": number,
            "line": 1,
            "status": "finished",
            "finished_on": day,
            "service": rng.choice(["roof", "hood", "tint", "trim"], lines),
            "make": "M",
            "model": np.char.add("m", rng.integers(0, 500, lines).astype(str)),
            "film": film,
            "quoted_hours": 3.0,
            "quoted_price": 400.0,
            "invoiced_price": 400.0,
            "payment": "card",
        },
        "hours": {
            "job_id": np.repeat(number, 2),
            "worked_on": np.repeat(day, 2),
            "installer": rng.choice(["A", "B", "C", "D"], 2 * lines),
            "task": rng.choice(["laying", "prep", "trimming"], 2 * lines),
            "hours": rng.uniform(1, 2, 2 * lines),
            "overtime": False,
        },
        "purchases": {
            "invoice": roll,
            "received_on": roll_day,
            "supplier": "S",
            "item": roll_film,
            "kind": "film",
            "roll_width_m": 1.524,
            "roll_length_m": 45.72,
            "quantity": 1.0,
            "unit_price": rng.uniform(500, 700, rolls),
            "discount": 0.0,
            "roll_id": roll,
        },
        "cuts": {
            "cut_id": number,
            "cut_on": day,
            "job_id": number,
            "film": film,
            "roll_id": newest.to_numpy(),
            "source": "roll",
            "reason": "first",
            "pieces": 1,
            "pulled_length_m": 1.7,
            "pulled_width_m": 1.524,
        },
        "rates": {
            "installer": np.repeat(["A", "B", "C", "D"], 10),
            "effective_from": np.tile(START + np.arange(10) * np.timedelta64(365, "D"), 4),
            "wage": 20.0,
        },
    }
    tables = {name: typed(name, filled.get(name, {})) for name in RECORD_TABLES}
    nothing = pd.DataFrame(columns=list(FINDING_COLUMNS))
    settings = Settings(labour=Labour(on_cost=0.1, default_wage=20.0))
    return Records(tables, nothing, {}, (), frozenset(filled), settings)


def typed(name: str, columns: dict[str, object]) -> pd.DataFrame:
    """A record frame from some of its columns, the others missing."""
    size = max((len(each) for each in columns.values() if isinstance(each, np.ndarray)), default=0)
    dtypes = {
        Kind.DATE: "datetime64[us]",
        Kind.MONTH: "datetime64[us]",
        Kind.TIME: "timedelta64[us]",
        Kind.WHOLE: "Int64",
        Kind.YES_NO: "boolean",
    }
    text = {Kind.TEXT, Kind.NAMES, Kind.CHOICE}
    frame = pd.DataFrame(index=pd.RangeIndex(size))
    for column in RECORD_TABLES[name].columns:
        dtype = "str" if column.kind in text else dtypes.get(column.kind, "float64")
        values = pd.Series(columns.get(column.inside, pd.NA), index=frame.index, dtype="object")
        frame[column.inside] = values.where(values.notna(), None).astype(dtype)
    return frame.assign(row=np.arange(2, size + 2))


def timed(work: Callable[[], object]) -> float:
    """Seconds of one run."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def main(largest: int = 100_000) -> None:
    """Print a row a size: seconds, and the growth against the size before."""
    print(f"{'job lines':>10} {'costing s':>10} {'shelf s':>9} {'labour s':>9} {'growth':>7}")
    size, before = 1_000, 0.0
    while size <= largest:
        records = shop(size)
        lines = landed_lines(records["purchases"])
        credits = credits_on_lines(records["purchases"], lines)
        pulls = film_pulls(records)
        until = pd.Timestamp("2026-01-31")
        settings, counts = records.settings, records["stock_counts"]
        shelf = timed(lambda: run_shelf(lines, credits, pulls, counts, settings, until))  # noqa: B023
        labour = timed(lambda: work_log(records, settings.labour))  # noqa: B023
        whole = timed(lambda: cost_records(records, until))  # noqa: B023
        growth = f"{whole / before:.1f}" if before else "-"
        print(f"{size:>10,} {whole:>10.2f} {shelf:>9.2f} {labour:>9.2f} {growth:>7}")
        size, before = size * 10, whole


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
