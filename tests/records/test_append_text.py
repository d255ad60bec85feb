"""Typed text that looks like a formula stays text when decisions are appended."""

from pathlib import Path

import pandas as pd
from openpyxl import load_workbook

from tests.records.test_append import HEADER, NEW_NAMES, appended, rows, workbook


def test_a_note_that_looks_like_a_formula_is_text_in_a_workbook_too(tmp_path: Path) -> None:
    folder, book = workbook(tmp_path, head=f"{HEADER},{NEW_NAMES}")
    book.save(folder / "records.xlsx")
    frame = rows()
    frame = frame.assign(note=pd.Series(["=1+1"] * len(frame), dtype="str"))
    appended(folder, frame)
    sheet = load_workbook(folder / "records.xlsx")["decisions"]
    head = [cell.value for cell in sheet[1]]
    cell = sheet.cell(sheet.max_row, head.index("note") + 1)
    assert (cell.value, cell.data_type) == ("=1+1", "s")
