"""Mutants of real files, read and checked: `python -m tests.hostile.fuzz --count N --seed S`.

A mutant is known by its number alone. It must end in records whose rows are all accounted for, or
in one plain line; anything else is a failure and is printed with the number that makes it again:
`python -m tests.hostile.fuzz --count 1 --seed NUMBER --keep FOLDER` writes its files down.
"""

from __future__ import annotations

import argparse
import contextlib
import faulthandler
import io
import random
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path
from typing import Final
from unittest.mock import patch

from analysis.cli import main as command
from analysis.errors import Unreconciled, WorkbookError
from analysis.pricing.pieces_file import read_pieces
from analysis.pricing.price_sheet_reader import read_price_sheet
from analysis.records import check
from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.report.folder import write_check
from analysis.review import check_records
from analysis.settings import Settings
from tests.hostile.account import account_for, independent_count, no_empty_words
from tests.hostile.mutate import (
    splice,
    spoil_cells,
    spoil_settings,
    spoil_text,
    spoil_workbook,
)
from tests.hostile.slices import demo_slice, workbook_slice, write_files

HANGS: Final = 120  # seconds; far above what any mutant takes on a busy machine
PIECES: Final = b"panel,length,width,pieces,film,turn,job\nhood,60,48,2,NK-GLOSS-WHITE,yes,J0001\n"
FAILED: Final = "FAILED"


def mutant(number: int) -> tuple[str, dict[str, bytes]]:
    """What kind of file is damaged, and the files of the records folder."""
    draw = random.Random(number)
    kind = draw.choices(
        ("csv", "workbook", "settings", "pieces", "sheet"), (50, 25, 10, 7, 8)
    )[0]  # fmt: skip
    if kind == "workbook":
        files = dict(workbook_slice())
        for _ in range(draw.choice((1, 1, 2))):
            files["records.xlsx"] = spoil_workbook(draw, files["records.xlsx"])
    elif kind == "sheet":
        files = {"review.xlsx": spoil_workbook(draw, price_sheet())}
    elif kind == "pieces":
        files = {"pieces.csv": spoil_cells(draw, PIECES)}
        if draw.random() < 0.5 and files["pieces.csv"]:
            files["pieces.csv"] = spoil_text(draw, files["pieces.csv"])
    else:
        files = _some_tables(draw)
        if kind == "settings":
            for _ in range(draw.choice((1, 1, 3))):
                files["shop.toml"] = spoil_settings(draw, files["shop.toml"])
        else:
            _spoil_tables(draw, files)
    return kind, files


def _some_tables(draw: random.Random) -> dict[str, bytes]:
    """The demo's slice, or that with tables left out: what leans on what must hold without it."""
    files = dict(demo_slice())
    share = draw.choice((0.0, 0.7, 1.0, 1.0, 1.0))
    for name in list(files):
        if name not in ("jobs.csv", "purchases.csv", "shop.toml") and draw.random() < share:
            del files[name]
    return files


def _spoil_tables(draw: random.Random, files: dict[str, bytes]) -> None:
    names = [name for name in files if name.endswith(".csv")]
    for _ in range(draw.choice((1, 1, 2, 4))):
        name = draw.choice([*names, "jobs.csv", "purchases.csv"])
        how = draw.random()
        if how < 0.55:
            files[name] = spoil_cells(draw, files[name])
        elif how < 0.9:
            files[name] = spoil_text(draw, files[name])
        else:
            files[name] = splice(draw, files[name], files[draw.choice(names)])


@lru_cache
def price_sheet() -> bytes:
    """A price sheet as a review writes it."""
    from tests.pricing.made_sheet import HOOD, ROOF, filled_sheet, made_shop

    with tempfile.TemporaryDirectory() as place:
        shop = made_shop(Path(place) / "shop")
        path = filled_sheet(shop, Path(place) / "review.xlsx", {ROOF: 375, HOOD: 300}, {})
        return path.read_bytes()


def outcome(number: int, folder: Path, *, review: bool = False) -> str:
    """Read the mutant of that number in an empty folder, and say how it ended."""
    kind, files = mutant(number)
    write_files(folder, files)
    try:
        found = _read(number, kind, files, folder)
        if review and kind not in ("pieces", "sheet"):
            _review(folder)
            found += ", reviewed"
    except Unreconciled:
        raise
    except WorkbookError as error:
        line = str(error)
        assert line.strip() and "\n" not in line, line
        line.encode()
        assert len(line) < 2_000, line[:300]
        return f"{kind}: refused in one line"
    return f"{kind}: {found}"


def _read(number: int, kind: str, files: dict[str, bytes], folder: Path) -> str:
    if kind == "pieces":
        sets = read_pieces(folder / "pieces.csv", Settings(), None, ["NK-GLOSS-WHITE"])
        assert all(each.length_m > 0 < each.width_m for found in sets for each in found.pieces)
        return "taken"
    if kind == "sheet":
        read_price_sheet(folder / "review.xlsx")
        return "taken"
    # What only doubts and rejects nothing takes most of the time: it is asked for one in ten, and
    # the costing on top of it for one in forty.
    with contextlib.ExitStack() as left_out:
        if number % 10:
            left_out.enter_context(patch.object(check, "_tell_doubtful", lambda *_: None))
        records = read_records(folder) if number % 40 else check_records(folder)
    account_for(records)
    _same_count(files, records)
    write_check(records, folder.parent / "check")
    rejected = sum(source.rows_rejected for source in records.sources)
    return "read, rows left out" if rejected else "read whole"


def _same_count(files: dict[str, bytes], records: Records) -> None:
    for source in records.sources:
        data = files.get(source.file, b"")
        if source.table and data:
            count = independent_count(data)
            assert count in (None, source.rows_read), (source, count)


def _review(folder: Path) -> None:
    """The whole command; whatever it says, it is no fault of the program."""
    out = folder.parent / "review"
    said, complained = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(complained):
        status = command(["review", str(folder), "--out", str(out), "--traceback"])
    assert status in (0, 1, 2)
    assert "fault of the program" not in complained.getvalue(), complained.getvalue()
    if status == 2:
        assert complained.getvalue().count("\n") == 1, complained.getvalue()
    else:
        no_empty_words(out)


@contextlib.contextmanager
def watched(seconds: int = HANGS) -> Iterator[None]:
    """End the run with a traceback where something hangs."""
    faulthandler.dump_traceback_later(seconds, exit=True, file=sys.__stderr__)
    try:
        yield
    finally:
        faulthandler.cancel_dump_traceback_later()


def run(number: int, *, review: bool = False) -> tuple[str, str]:
    """The outcome of a mutant, and the traceback where it failed. Warnings are failures."""
    with tempfile.TemporaryDirectory() as place, warnings.catch_warnings(), watched():
        warnings.simplefilter("error")
        try:
            return outcome(number, Path(place) / "records", review=review), ""
        except Exception:
            return FAILED, traceback.format_exc()


def main() -> int:
    """Run mutants and print how they ended."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=1_000)
    parser.add_argument("--seed", type=int, default=0, help="number of the first mutant")
    parser.add_argument("--review-every", type=int, default=0, help="the whole command, one in N")
    parser.add_argument("--keep", type=Path, help="write the files of the first mutant here")
    asked = parser.parse_args()
    if asked.keep:
        write_files(asked.keep, mutant(asked.seed)[1])
    ended: Counter[str] = Counter()
    started, slowest = time.perf_counter(), (0.0, 0)
    for number in range(asked.seed, asked.seed + asked.count):
        begun = time.perf_counter()
        every = asked.review_every
        how, why = run(number, review=bool(every) and number % every == 0)
        slowest = max(slowest, (time.perf_counter() - begun, number))
        ended[how] += 1
        if number % 500 == 499:
            sys.stderr.write(f"up to {number} ...\n")
        if how == FAILED:
            last = "\n".join(why.encode("ascii", "backslashreplace").decode().splitlines()[-30:])
            sys.stdout.write(f"--- mutant {number} failed ---\n{last}\n")
            sys.stdout.flush()
    for how, count in sorted(ended.items()):
        sys.stdout.write(f"{count:>7}  {how}\n")
    taken = time.perf_counter() - started
    sys.stdout.write(
        f"{asked.count} mutants from {asked.seed} in {taken:.0f} s; the slowest, {slowest[1]}, "
        f"took {slowest[0]:.1f} s\n"
    )
    return 1 if ended[FAILED] else 0


if __name__ == "__main__":
    raise SystemExit(main())
