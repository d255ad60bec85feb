"""Write a small shop down in a few lines, review it, and pick a row."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from . import review_tables

PLAIN = """
length_unit = "m"
area_unit = "m2"
[labour]
on_cost = 0.2
overtime_multiplier = 1.5
default_wage = 10
[film]
costing = "fifo"
offcut_life_months = 2
[fees]
card_percent = 3
card_fixed = 0.30
"""


def review(folder: Path, quarter: str, toml: str = PLAIN, **tables: str) -> dict[str, Any]:
    """Write the tables (columns in the first line, cells between bars) and review them."""
    folder.mkdir(exist_ok=True)
    (folder / "shop.toml").write_text(toml, encoding="utf-8")
    for table, text in tables.items():
        lines = [line.strip() for line in text.strip().splitlines()]
        rows = [",".join(cell.strip() for cell in line.split("|")) for line in lines]
        (folder / f"{table}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return review_tables(folder, quarter)


def only(rows: list[dict[str, Any]], **keys: Any) -> dict[str, Any]:
    (row,) = [row for row in rows if all(row[name] == key for name, key in keys.items())]
    return row
