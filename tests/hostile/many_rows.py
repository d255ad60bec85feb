"""A time log of very many rows with one bad one: `python -m tests.hostile.many_rows [ROWS]`.

Prints the time and the memory that reading and checking take.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from analysis.records.read import read_records
from tests.hostile.account import account_for
from tests.hostile.slices import demo_slice, write_files


def write_many_rows(folder: Path, rows: int, bad: int) -> Path:
    """Records with a time log of so many rows, of which row `bad` holds no hours."""
    head = b"job_id,line,worked_on,installer,task,hours\n"
    days = [f"2024-{1 + at // 28:02}-{1 + at % 28:02}" for at in range(336)]
    lines = [
        f"J{1 + at % 12:04},1,{days[at % 336]},Ines,laying,{0.25 + at % 8 / 4:g}\n"
        for at in range(rows)
    ]
    lines[bad - 1] = "J0001,1,2024-01-09,Ines,laying,many\n"
    files = {name: demo_slice()[name] for name in ("jobs.csv", "purchases.csv", "shop.toml")}
    return write_files(folder, files | {"hours.csv": head + "".join(lines).encode()})


def main() -> None:
    """Read a large log and print what it took."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    with tempfile.TemporaryDirectory() as place:
        folder = write_many_rows(Path(place) / "shop", rows, rows // 2)
        begun = time.process_time()
        records = read_records(folder)
        taken = time.process_time() - begun
        account_for(records)
    rejected = records.findings[records.findings["severity"] == "rejected"]
    sys.stdout.write(
        f"{rows:,} rows: {taken:.1f} s of one core, {_peak()}; {len(rejected)} rejected, row "
        f"{rejected['row'].iloc[0]:,}\n"
    )


def _peak() -> str:
    if sys.platform == "win32":
        return "memory not measured"
    import resource

    return f"{resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024:,} MB at most"


if __name__ == "__main__":
    main()
