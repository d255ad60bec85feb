"""A spreadsheet program as a person has one, to calculate and to save workbooks."""

import io
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import pytest
from openpyxl import load_workbook

needs_a_spreadsheet = pytest.mark.skipif(
    shutil.which("soffice") is None, reason="needs a spreadsheet program"
)


def saved_by_a_spreadsheet(paths: Sequence[Path], folder: Path) -> list[Path]:
    """Open workbooks, calculate, and save them as .xlsx into `folder`, under their own names."""
    profile = (folder / "profile").as_uri()
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--norestore"]
    command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(folder / "saved")]
    done = subprocess.run(
        [*command, *map(str, paths)], check=True, timeout=300, capture_output=True
    )
    saved = [folder / "saved" / path.name for path in paths]
    assert all(path.exists() for path in saved), done.stderr.decode(errors="replace")
    return saved


def sheet_alone(content: bytes, name: str) -> bytes:
    """A workbook with one of its sheets, its formulas without their values: small and quick."""
    book = load_workbook(io.BytesIO(content))
    for other in book.sheetnames:
        if other != name:
            del book[other]
    packed = io.BytesIO()
    book.save(packed)
    return packed.getvalue()
