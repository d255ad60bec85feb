"""Nasty shops through every command: no traceback, no warning, no empty words, and it adds up.

Three of the shops run here; all of them: `python -m tests.hostile.pipeline`.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tests.hostile.pipeline import run_shop
from tests.hostile.shops import NASTY_SHOPS


@pytest.mark.parametrize(
    "name", ["one row in each table", "gigantic figures", "names of markup and formulas"]
)
def test_a_nasty_shop_goes_through_every_command(name: str, tmp_path: Path) -> None:
    ended = run_shop(NASTY_SHOPS[name], tmp_path, jobs=12)
    assert ended["check"].status in (0, 1)
    assert ended["review"].status in (0, 1)
    if name == "names of markup and formulas":
        no_markup_and_no_formula(tmp_path / "out")


def no_markup_and_no_formula(out: Path) -> None:
    """What a person typed is text in the page, in every table and in the workbook."""
    import openpyxl

    page = (out / "index.html").read_text("utf-8")
    assert "<script>alert(" not in page.lower()
    assert "</script>&" not in page
    for path in out.rglob("*.csv"):
        for row in csv.reader(path.read_text("utf-8-sig").splitlines(keepends=True)):
            assert not [cell for cell in row if cell.startswith(("=", "+", "@", "\t", "\r"))]
    for sheet in openpyxl.load_workbook(out / "review.xlsx"):
        for cells in sheet.iter_rows():
            assert not [c for c in cells if c.data_type == "f" and "script" in str(c.value)]
