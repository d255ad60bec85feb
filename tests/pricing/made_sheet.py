"""A records folder with the made-up price list, and its price sheet, filled in as by a person."""

import csv
import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd
from openpyxl import load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from analysis.pricing.price_sheet_form import BLOCKS, COLUMNS, PLACE, SHEET_NAME
from analysis.records.read import read_records
from analysis.report.workbook import workbook_bytes
from tests.report.made_prices import TOML, price_review, prices
from tests.report.spreadsheet import sheet_alone

# Rows of the made-up prices.
SIGN, LARGE_CHANGE, MIDSIZE_CHANGE, HOOD_LARGE, HOOD, GUARD = range(6)
ROOF, ROOF_SUV, ROOF_OTHER, TINT = range(6, 10)
JOBS = """job_id,finished_on,service,make,model,quoted_hours,quoted_price
J1,2026-08-03,roof,Harrow,Pike,3,350
J2,2026-09-04,hood,Harrow,Pike,2,280
"""
PURCHASES = """invoice,received_on,supplier,item,kind,roll_width,roll_length,quantity,unit_price
INV-1,2026-06-20,Marlow Supply,GB-60,film,60 in,25 yd,2,600
"""


def made_shop(folder: Path, toml: str = TOML, **tables: str | bytes) -> Path:
    """Write the records: `toml`, jobs, purchases, the price list, and the tables given."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(toml, encoding="utf-8")
    written = {"jobs": JOBS, "purchases": PURCHASES, "price_list": price_list()} | tables
    for name, text in written.items():
        content = text if isinstance(text, bytes) else text.encode()
        (folder / f"{name}.csv").write_bytes(content)
    return folder


def price_list(**changed: float) -> str:
    """The list behind the made-up prices; `changed` gives other prices by service."""
    asked = prices()["price_suggestions"].dropna(subset="current_price")
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["service", "vehicle_class", "list_price", "effective_from"])
    for row in asked.itertuples():
        vehicle_class = "" if pd.isna(row.vehicle_class) else row.vehicle_class
        # A text that looks like a formula is kept as such by an apostrophe.
        service = f"'{row.service}" if str(row.service).startswith("=") else row.service
        price = changed.get(str(row.service), row.current_price)
        writer.writerow([service, vehicle_class, price, "2026-01-01"])
    return text.getvalue()


def filled_sheet(
    folder: Path,
    path: Path,
    new_prices: Mapping[int, Any],
    notes: Mapping[int, str] | None = None,
    **inputs: Any,
) -> Path:
    """The workbook of a review of these records, with cells filled in by row and by input."""
    book = load_workbook(io.BytesIO(review_bytes(folder)))
    sheet = book[SHEET_NAME]
    assert isinstance(sheet, Worksheet)
    for row, value in new_prices.items():
        cell_of(sheet, row, "new_price").value = value
    for row, text in (notes or {}).items():
        cell_of(sheet, row, "note").value = text
    for key, value in inputs.items():
        input_cell(sheet, key).value = value
    book.save(path)
    return path


def review_bytes(folder: Path) -> bytes:
    """The workbook of the made-up prices, of these records, with the price sheet alone."""
    records = read_records(folder)
    content = workbook_bytes(price_review(records.settings, records))
    return sheet_alone(content, SHEET_NAME)


def header_row(sheet: Any) -> int:
    """The row of the headings: below the hidden row of names."""
    return next(row for row in range(1, 60) if sheet.cell(row, 1).value == "service") + 1


def cell_of(sheet: Any, row: int, name: str) -> Any:
    """A cell of the table, by the number of its row and the name of its column."""
    return sheet.cell(header_row(sheet) + 1 + row, PLACE[name])


def input_cell(sheet: Any, key: str) -> Any:
    """An input cell, by its key."""
    for row in range(1, header_row(sheet) - 1):
        for block, column in enumerate(BLOCKS):
            if sheet.cell(row, len(COLUMNS) + 1 + 2 * block).value == key:
                return sheet.cell(row, column)
    raise KeyError(key)
