"""Every command on nasty shops: `python -m tests.hostile.pipeline [JOBS] [NAME ...]`."""

from __future__ import annotations

import contextlib
import io
import sys
import tempfile
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from analysis.cli import main as command
from analysis.pricing.price_sheet_form import PLACE, SHEET_NAME
from tests.hostile.account import no_empty_words
from tests.hostile.shops import NASTY_SHOPS, Shop, plain_shop, write
from tests.test_commands import reconciles

_NOTHING = frozenset({"nan", "none", "nat", "<na>", "inf", "-inf", "infinity"})

_AS_PRINTED = frozenset({"nan", "NaN", "$nan", "NaT", "<NA>", "inf", "-inf", "Infinity", "∞"})


@dataclass(frozen=True)
class Ended:
    """How a command ended: its status and what it printed."""

    status: int
    said: str
    complained: str


def run_shop(make: Callable[[Shop], Shop], place: Path, jobs: int) -> dict[str, Ended]:
    """Run every command on a shop made from the plain one; what must hold is asserted."""
    shop = make(plain_shop(jobs))
    folder = write(place / "shop", shop)
    first, out = shop["jobs"][0], place / "out"
    names = ["--service", first["service"], "--make", first["make"], "--model", first["model"]]
    kit = ["--class", "compact car", "--out", str(place / "kit.html")]
    jobs_of = ["--jobs", first["job_id"], "--effort", "0", "--out", str(place / "layout.html")]
    ended = {
        "check": run(["check", str(folder), "--out", str(place / "check")]),
        "review": run(["review", str(folder), "--out", str(out)]),
        "quote": run(["quote", str(folder), *names, "--json"]),
        "layout": run(["layout", str(folder), *jobs_of]),
        "kit": run(["kit", str(folder), *names[:2], *kit]),
    }
    if ended["review"].status != 2:
        no_empty_words(out)
        no_empty_cells(out / "review.xlsx")
        reconciles(out)
        sheet = fill_in(out / "review.xlsx", place / "filled.xlsx")
        ended["decide"] = run(["decide", str(folder), "--sheet", str(sheet), "--dry-run"])
    return ended


def run(arguments: list[str]) -> Ended:
    """Run a command; a traceback goes up, a line of failure is one line, words are words."""
    said, complained = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        status = command([*arguments, "--traceback"])
    found = Ended(status, said.getvalue(), complained.getvalue())
    assert status in (0, 1, 2)
    if status == 2:
        assert found.complained.splitlines()[-1].startswith("Could not be done: "), found
    # A sentence may begin with None, so words for nothing are looked for as programs write them.
    assert not _AS_PRINTED & set(found.said.replace('"', " ").split()), found.said
    return found


def no_empty_cells(path: Path) -> None:
    """No cell of a workbook holds a word for nothing."""
    for sheet in openpyxl.load_workbook(path):
        for cells in sheet.iter_rows():
            found = [each.coordinate for each in cells if str(each.value).lower() in _NOTHING]
            bad = [each for each in found if sheet[each].value is not None]
            assert not bad, (sheet.title, bad)


def fill_in(path: Path, filled: Path) -> Path:
    """A price sheet with a new price in its first row, or as it is where there is none."""
    book = openpyxl.load_workbook(path)
    if SHEET_NAME in book.sheetnames:
        sheet = book[SHEET_NAME]
        assert isinstance(sheet, Worksheet)
        for row in range(1, sheet.max_row + 1):
            price = sheet.cell(row, PLACE["own_current_price"]).value
            if isinstance(price, int | float):
                sheet.cell(row, PLACE["new_price"], price * 1.05)
                break
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of what the writer of workbooks leaves out
        book.save(filled)
    return filled


def main() -> None:
    """Run the shops and print how each command ended."""
    warnings.simplefilter("error")
    jobs = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    for name in sys.argv[2:] or list(NASTY_SHOPS):
        with tempfile.TemporaryDirectory() as place:
            ended = run_shop(NASTY_SHOPS[name], Path(place), jobs)
        how = ", ".join(f"{each} {found.status}" for each, found in ended.items())
        sys.stdout.write(f"{name}: {how}\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
