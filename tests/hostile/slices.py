"""Small slices of the demo's records that hang together, as CSV files and as one workbook."""

from __future__ import annotations

import csv
import io
from functools import lru_cache
from pathlib import Path
from typing import Final

import openpyxl

DEMO: Final = Path(__file__).parents[2] / "data_demo"
_IN_WORKBOOK: Final = ("jobs", "purchases", "hours", "cuts", "overheads")
_OF_JOBS: Final = ("hours", "cuts", "quotes")
_ROWS: Final = {"purchases": 30, "counter_sales": 10, "overheads": 30}


@lru_cache
def demo_slice(jobs: int = 12, most: int | None = None) -> dict[str, bytes]:
    """File name -> bytes: the first jobs of the demo, what belongs to them, and its settings.

    `most` : at most so many rows of any other table (None: a few).
    """
    tables = {}
    for path in sorted(DEMO.glob("*.csv")):
        header, *rows = list(csv.reader(path.read_text("utf-8").splitlines(keepends=True)))
        if path.stem == "jobs":
            kept = rows[:jobs]
            names = {row[0] for row in kept}
        tables[path.stem] = header, rows
    files = {"shop.toml": (DEMO / "shop.toml").read_bytes()}
    for name, (header, rows) in tables.items():
        if name in _OF_JOBS:
            at = header.index("job_id")
            rows = [row for row in rows if row[at] in names or not row[at]]
        rows = rows[:jobs] if name == "jobs" else rows[: most or _ROWS.get(name, 20)]
        text = io.StringIO()
        csv.writer(text, lineterminator="\n").writerows([header, *rows])
        files[f"{name}.csv"] = text.getvalue().encode()
    return files


@lru_cache
def workbook_slice(jobs: int = 6) -> dict[str, bytes]:
    """The same as `records.xlsx`, a sheet a table, with numbers and days as such."""
    files = demo_slice(jobs)
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name, data in files.items():
        if name.removesuffix(".csv") in _IN_WORKBOOK:
            sheet = book.create_sheet(name.removesuffix(".csv"))
            for row in csv.reader(io.StringIO(data.decode())):
                sheet.append([_cell(cell) for cell in row])
    packed = io.BytesIO()
    book.save(packed)
    return {"shop.toml": files["shop.toml"], "records.xlsx": packed.getvalue()}


def _cell(text: str) -> object:
    for kind in (int, float):
        try:
            return kind(text) if len(text) < 12 else text
        except ValueError:
            continue
    return text


def write_files(folder: Path, files: dict[str, bytes]) -> Path:
    """Write files into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder
