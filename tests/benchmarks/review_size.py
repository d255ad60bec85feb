"""What the full review costs in a shop that is the demo many times over.

`python -m tests.benchmarks.review_size [--copies 1 4 16]`: the demo's records, each copy with job
numbers, rolls and people of its own and with hours, lengths and prices a little apart, reviewed by
the command. Printed are seconds, seconds of the processor and peak memory.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Final

import numpy as np
import pandas as pd

DEMO: Final = Path(__file__).parents[2] / "data_demo"
# Names that belong to one copy alone.
_OWN: Final = (
    "job_id",
    "redo_of",
    "cut_id",
    "roll_id",
    "invoice",
    "sale_id",
    "later_job_id",
    "quote_id",
    "installer",
)
# Tables that are the same for all copies; what a month costs and holds grows with them.
_SHARED: Final = ("price_list", "vehicles", "panels", "decisions", "stock_counts")
_GROWS: Final = {"overheads": ["amount"], "capacity": ["installer_hours", "bay_hours"]}
_LENGTHS: Final = ("pulled_length", "piece_length", "finished_length")
_SPREAD: Final = {"hours": 0.1, "quoted_price": 0.02, "price": 0.02}
_INCHES: Final = np.arange(-4, 5) / 8


def write_shop(folder: Path, copies: int, seed: int = 1) -> int:
    """The demo's records so many times over; returns the number of job lines."""
    rng = np.random.default_rng(seed)
    folder.mkdir(parents=True)
    (folder / "shop.toml").write_bytes((DEMO / "shop.toml").read_bytes())
    lines = 0
    for path in sorted(DEMO.glob("*.csv")):
        table = pd.read_csv(path, dtype="str", keep_default_na=False)
        if path.stem in _GROWS:
            for column in _GROWS[path.stem]:
                number = pd.to_numeric(table[column])
                table[column] = (number * copies).map("{:.2f}".format)
        elif path.stem not in _SHARED:
            parts = [table, *(_copied(table, copy, rng) for copy in range(2, copies + 1))]
            table = pd.concat(parts, ignore_index=True)
        table.to_csv(folder / path.name, index=False)
        lines += len(table) if path.stem == "jobs" else 0
    return lines


def _copied(table: pd.DataFrame, copy: int, rng: np.random.Generator) -> pd.DataFrame:
    own = {
        name: table[name].where(table[name] == "", table[name] + f"/{copy}")
        for name in _OWN
        if name in table
    }
    if "crew" in table:
        own["crew"] = table["crew"].str.replace(r"\s*;\s*|$", f"/{copy};", regex=True)
        own["crew"] = own["crew"].str.rstrip(";").where(table["crew"] != "", "")
    for name, spread in _SPREAD.items():
        if name in table:
            own[name] = _apart(table[name], factor=1 + spread * rng.standard_normal(len(table)))
    longer = rng.choice(_INCHES, len(table))
    own |= {name: _apart(table[name], more=longer) for name in _LENGTHS if name in table}
    return table.assign(**own)


def _apart(
    texts: pd.Series, factor: np.ndarray | float = 1.0, more: np.ndarray | float = 0.0
) -> pd.Series:
    """Plain numbers a little apart; every other text as it is."""
    number = pd.to_numeric(texts, errors="coerce")
    changed = (number * factor + more).where(number > 1)
    return changed.map("{:.3f}".format).where(changed.notna(), texts)


def measure(copies: int) -> tuple[int, float, float, float]:
    """Job lines, seconds, seconds of the processor and gigabytes at the peak of one review.

    A review works in two processes: the seconds of the processor are those of both, the gigabytes
    those of the larger.

    Raises `CalledProcessError` where the command could not review the records.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "shop"
        lines = write_shop(folder, copies)
        command = [sys.executable, "-m", "analysis", "review", str(folder)]
        command += ["--out", str(Path(name) / "out")]
        begun = time.perf_counter()
        process = subprocess.Popen(  # noqa: S603  our own command
            command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        _, status, used = os.wait4(process.pid, 0)
        taken = time.perf_counter() - begun
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode not in (0, 1):
            raise subprocess.CalledProcessError(process.returncode, command)
    unit = 1 if sys.platform == "darwin" else 1024
    return lines, taken, used.ru_utime + used.ru_stime, used.ru_maxrss * unit / 1e9


def main() -> None:
    """Print a row a size, and the growth against the size before."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--copies", type=int, nargs="+", default=[1, 4, 16])
    print(f"{'job lines':>10} {'s':>8} {'CPU s':>8} {'GB':>6} {'growth':>7}")
    before: tuple[int, float] | None = None
    for copies in parser.parse_args().copies:
        lines, taken, seconds, peak = measure(copies)
        growth = f"{seconds / before[1] / (lines / before[0]):.2f}" if before else ""
        row = f"{lines:>10,} {taken:>8.1f} {seconds:>8.1f} {peak:>6.2f} {growth:>7}"
        print(row, flush=True)
        before = lines, seconds
    print("growth: CPU s against the size before, divided by how much larger the shop is")


if __name__ == "__main__":
    main()
