"""Shops whose records can be read and are nasty all the same, from a plain small one."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Final

from analysis.record_tables import RECORD_TABLES
from analysis.schema import Kind
from tests.hostile.slices import demo_slice

Rows = list[dict[str, str]]
Shop = dict[str, Rows]
_NAMES: Final = frozenset({Kind.TEXT, Kind.NAMES})
_HOURS: Final = frozenset({Kind.HOURS, Kind.MINUTES})
_SIZES: Final = frozenset({Kind.LENGTH, Kind.AREA})
_NUMBER_COLUMNS: Final = frozenset({"job_id", "cut_id", "quote_id", "sale_id", "redo_of"})


def plain_shop(jobs: int = 16) -> Shop:
    """The demo's first jobs and what belongs to them."""
    return {
        name.removesuffix(".csv"): list(
            csv.DictReader(data.decode().splitlines(keepends=True), strict=True)
        )
        for name, data in demo_slice(jobs, most=600).items()
        if name.endswith(".csv")
    }


def write(folder: Path, shop: Shop, settings: bytes | None = None) -> Path:
    """Write a shop down as CSV files."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_bytes(demo_slice()["shop.toml"] if settings is None else settings)
    for name, rows in shop.items():
        columns = [column.name for column in RECORD_TABLES[name].columns]
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, columns, restval="")
            writer.writeheader()
            writer.writerows(rows)
    return folder


def changed(shop: Shop, kinds: frozenset[Kind], new: Callable[[str, str, int], str]) -> Shop:
    """The shop with every filled cell of some kinds replaced: `new(column, cell, row)`."""
    columns = {
        name: {column.name for column in RECORD_TABLES[name].columns if column.kind in kinds}
        for name in shop
    }
    return {
        name: [
            {key: new(key, cell, at) if cell and key in columns[name] else cell
             for key, cell in row.items()}
            for at, row in enumerate(rows)
        ]
        for name, rows in shop.items()
    }  # fmt: skip


def _renamed(column: str, cell: str, each: Callable[[str], str]) -> str:
    """Text by another name, the same wherever it stands; numbers of records stay."""
    if column in _NUMBER_COLUMNS or column in ("roll_id", "later_job_id", "category"):
        return cell
    return "; ".join(each(part.strip()) for part in cell.split(";"))


def names_as(each: Callable[[str], str]) -> Callable[[Shop], Shop]:
    """Every name of a shop passed through a function."""
    return lambda shop: changed(shop, _NAMES, lambda column, cell, _: _renamed(column, cell, each))


def _emoji(name: str) -> str:
    return "".join(chr(0x1F600 + ord(letter) % 60) for letter in name)


def _in_marks(name: str) -> str:
    return f"=<script>alert('{name}')</script>&\"{name}"


def _hidden(name: str) -> str:
    return f"\u202e{name[:2]}\u200b{name[2:]}e\u0301\u2066"


def one_row(shop: Shop) -> Shop:
    """The first row of every table, which hang together as far as they do."""
    return {name: rows[:1] for name, rows in shop.items()}


def many_lines(shop: Shop) -> Shop:
    """One job of very many lines."""
    first = shop["jobs"][0]
    lines = [{**first, "line": str(at), "hours": ""} for at in range(1, 2_001)]
    return {**shop, "jobs": [*lines, *shop["jobs"][1:]]}


def many_services(shop: Shop) -> Shop:
    """Three hundred services, each done once, quoted once, and on the list."""
    jobs, quotes, prices = [], [], []
    for at in range(300):
        own = {"service": f"service {at}", "line": "1"}
        job = {**shop["jobs"][at % len(shop["jobs"])], **own, "job_id": f"M{at}"}
        jobs.append(job | {"redo_of": "", "hours": "2.5"})
        quotes.append({**shop["quotes"][0], "service": own["service"], "quote_id": f"MQ{at}"})
        prices.append({**shop["price_list"][0], "service": own["service"]})
    return {**shop, "jobs": jobs, "quotes": quotes, "price_list": prices}


def alike(shop: Shop) -> Shop:
    """Names that differ in case or accents alone, row by row."""
    forms = (str.upper, str.lower, str.title, lambda name: name.replace("o", "ó"))
    return changed(
        shop, _NAMES, lambda column, cell, at: _renamed(column, cell, forms[at % len(forms)])
    )


def refunds(shop: Shop) -> Shop:
    """Film sent back, credits, and overheads that are paid back."""
    bought = [row for row in shop["purchases"] if row["kind"] == "film"]
    back = [{**row, "quantity": "-1", "roll_id": ""} for row in bought]
    credit = [{**row, "kind": "credit", "quantity": "1", "unit_price": "9999"} for row in bought]
    less = [{**row, "amount": f"-{row['amount']}"} for row in shop["overheads"]]
    return {**shop, "purchases": [*shop["purchases"], *back, *credit], "overheads": less}


def _same(kind: Kind, value: str) -> Callable[[Shop], Shop]:
    kinds = frozenset({kind})
    return lambda shop: changed(shop, kinds, lambda *_: value)


def _days(value: str) -> Callable[[Shop], Shop]:
    month = frozenset({Kind.MONTH})
    return lambda shop: changed(_same(Kind.DATE, value)(shop), month, lambda *_: value[:7])


def _all(kinds: frozenset[Kind], value: str) -> Callable[[Shop], Shop]:
    return lambda shop: changed(shop, kinds, lambda *_: value)


def gigantic(shop: Shop) -> Shop:
    """The largest figures that pass."""
    large = changed(shop, frozenset({Kind.MONEY}), lambda *_: "1e12".replace("1e12", "9" * 12))
    sizes = changed(large, _SIZES, lambda *_: "99999")
    return changed(sizes, _HOURS, lambda column, *_: "24" if column == "hours" else "99999")


NASTY_SHOPS: Final[dict[str, Callable[[Shop], Shop]]] = {
    "one day": _days("2026-07-13"),
    "the last day of the calendar": _days("9999-12-31"),
    "the first day of the calendar": _days("0001-01-01"),
    "one row in each table": one_row,
    "no money": _all(frozenset({Kind.MONEY}), "0"),
    "no hours": _all(_HOURS, "0"),
    "gigantic figures": gigantic,
    "a job of 2,000 lines": many_lines,
    "three hundred services": many_services,
    "names of emoji": names_as(_emoji),
    "names that cannot be seen": names_as(_hidden),
    "names of markup and formulas": names_as(_in_marks),
    "names that differ in case and accents": alike,
    "film sent back": refunds,
}
