"""The demo's records as a shop elsewhere would keep them: metric, day first, decimal commas."""

from __future__ import annotations

import csv
from pathlib import Path

from analysis.record_tables import RECORD_TABLES
from analysis.schema import Column, Kind
from analysis.units import metres_per, parse_area, parse_length, square_metres_per

TOML = """
currency = "USD"
locale = "de-DE"
length_unit = "cm"
area_unit = "m2"
date_formats = ["%d.%m.%Y"]
decimal_comma = true
[aliases.status]
"fertig" = "finished"
[aliases.service]
"Dach (außen)" = "roof"
"""
# Column names that no table shares with ours, with letters outside ASCII.
WORDS = {"job_id": "Auftragsnr.", "finished_on": "Fertig am", "quoted_price": "Preis für Kunden"}


def translated_demo(demo: Path, folder: Path) -> None:
    """Write the demo's tables to `folder` in another shop's habits; the content is the same."""
    folder.mkdir()
    maps = []
    for name, table in RECORD_TABLES.items():
        with (demo / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            rows = list(csv.DictReader(file))
        header = [column.name for column in table.columns if column.name in rows[0]]
        theirs = {ours: WORDS.get(ours, f"{ours} ({name} – größe)") for ours in header}
        maps.append(
            f"[columns.{name}]\n"
            + "\n".join(f'"{word}" = "{ours}"' for ours, word in theirs.items())
        )
        with (folder / f"{name}.csv").open("w", encoding="cp1252", newline="") as file:
            writer = csv.writer(file, delimiter=";", lineterminator="\r\n")
            writer.writerow([theirs[ours] for ours in header])
            for row in rows:
                writer.writerow([translated(table.column(ours), row[ours]) for ours in header])
    # The sections of the demo's settings stay as they are: wages, fees and targets.
    sections = (demo / "shop.toml").read_text(encoding="utf-8")
    sections = sections[sections.index("[labour]") :]
    # The one length among them is in the shop's unit.
    sections = sections.replace("longest_pull = 180", "longest_pull = 457.2")
    sections = sections.replace("extra_allowance = 2 ", "extra_allowance = 5.08 ")
    text = TOML + "\n" + sections + "\n" + "\n".join(maps) + "\n"
    (folder / "shop.toml").write_text(text, encoding="utf-8")


def translated(column: Column, cell: str) -> str:
    """One cell in the other shop's habits; a cell that is no value stays as it is."""
    if not cell:
        return cell
    if column.kind is Kind.DATE:
        year, month, day = cell.split("-")
        return f"{day}.{month}.{year}"
    if column.kind is Kind.LENGTH:
        return comma(parse_length(cell, "in") / metres_per("cm"))
    if column.kind is Kind.AREA:
        return comma(parse_area(cell, "sq ft") / square_metres_per("m2"))
    if column.kind in (Kind.MONEY, Kind.NUMBER, Kind.HOURS) and is_number(cell):
        return cell.replace(".", ",")
    if column.name == "status" and cell == "finished":
        return "fertig"
    if column.name == "service" and cell == "roof":
        return "Dach (außen)"
    return cell


def comma(number: float) -> str:
    return f"{number:.10f}".rstrip("0").rstrip(".").replace(".", ",")


def is_number(cell: str) -> bool:
    return cell.replace(".", "", 1).removeprefix("-").isdigit()
