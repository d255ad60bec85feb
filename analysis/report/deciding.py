"""The command `decide`: which sheet, what it decides, where that is written, in plain lines."""

import datetime as dt
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import pandas as pd

from analysis.errors import RecordsError
from analysis.locale_text import counted, listed
from analysis.pricing.decisions import Decisions, decisions_of
from analysis.pricing.money_words import money_words, price_words
from analysis.pricing.price_sheet_reader import read_price_sheet
from analysis.records.append import Appended, append_rows
from analysis.records.model import Records
from analysis.report.cautions import PRICE_CAUTION
from analysis.report.folder import MANIFEST, REVIEW, records_name
from analysis.report.numbers import Numbers, typed
from analysis.report.replace import real_path

_TABLE: Final = "decisions"
_WORKBOOK: Final = "review.xlsx"


@dataclass(frozen=True)
class Decided:
    """What is to be said: `lines`, and why nothing was written (empty: it was, or would be)."""

    lines: tuple[str, ...]
    failure: str = ""

    @property
    def is_done(self) -> bool:
        """Whether the sheet was taken."""
        return not self.failure


def decide(
    folder: Path,
    records: Records,
    sheet: Path | None = None,
    on: dt.date | None = None,
    *,
    far: bool = False,
    write: bool = True,
) -> Decided:
    """Put the decisions of a price sheet into the records, all or none.

    Parameters
    ----------
    folder : the records folder, from which `records` were just read.
    sheet : the workbook; None: that of the newest review beside the folder.
    on : day of the decision; None: today.
    far : whether prices over twice or under half of the current ones are meant.
    write : whether to write; if not, everything is tried but that.

    Raises
    ------
    WorkbookError
        There is no sheet, it is of other records, or the table cannot take the rows.
    """
    path = sheet or newest_review(folder)
    day = on or dt.datetime.now().astimezone().date()
    found = decisions_of(read_price_sheet(path), records, day, far=far)
    if found.refused:
        if len(found.refused) == 1:
            return Decided((), f"{path.name}, {found.refused[0]} Nothing was written.")
        return Decided(
            found.refused,
            f"{counted(len(found.refused), 'cell')} of {path.name} cannot be taken, as said above; "
            "nothing was written.",
        )
    appended = append_rows(folder, _TABLE, found.rows, records, write=write)
    return Decided(tuple(_lines(found, appended, path, records, write=write)))


def newest_review(folder: Path) -> Path:
    """The workbook of the latest quarter that was reviewed of a records folder.

    Raises `RecordsError` where there is none beside the folder.
    """
    home, name = real_path(folder), records_name(folder)
    reviews = []
    for manifest in sorted(home.parent.glob(f"*/{MANIFEST}")):
        facts = _facts(manifest)
        path = manifest.with_name(_WORKBOOK)
        if facts.get("command") == REVIEW and facts.get("records") == name and path.is_file():
            # Of two reviews of one quarter, the one that was saved last is being worked on.
            reviews.append((str(facts.get("quarter", "")), path.stat().st_mtime_ns, path))
    if not reviews:
        raise RecordsError(
            f"There is no review of {name} beside it. Run review first, fill in the price "
            f"sheet of its {_WORKBOOK}, and run this again; or name the workbook with --sheet."
        )
    return max(reviews)[-1]


def _facts(manifest: Path) -> dict[str, Any]:
    try:
        facts = json.loads(manifest.read_bytes()) if manifest.is_file() else {}
    except (OSError, ValueError, RecursionError):
        return {}
    return facts if isinstance(facts, dict) else {}


def _lines(
    found: Decisions, appended: Appended, path: Path, records: Records, *, write: bool
) -> Iterator[str]:
    numbers, rows = Numbers(records.settings), found.rows
    first, on = rows["effective_from"].iloc[0], rows["decided_on"].iloc[0]
    why = " (no day in the sheet: the first of next month)" if found.from_next_month else ""
    yield (
        f"{counted(len(rows), 'decision')} of {numbers.day(on)}, from {path.name}; new prices from "
        f"{numbers.day(first)}{why}:"
    )
    for row in rows.to_dict("records"):
        yield f"- {_decision({str(name): value for name, value in row.items()}, numbers)}"
    for text in found.told:
        yield f"Note: {typed(text)}"
    if appended.left_out:
        yield (
            f"Note: {appended.place} has no columns for {listed(appended.left_out)} and its header "
            "cannot be made longer safely, so they are left out."
        )
    if write:
        verb = "Made" if appended.made else "Written to"
        yield f"{verb} {appended.place}."
    else:
        verb = "be made" if appended.made else "take them"
        yield f"Nothing was written; {appended.place} would {verb}."
    yield (
        f"Put the new prices into price_list too, with effective_from {first:%Y-%m-%d}: reviews "
        "and quotes take their prices from there."
    )
    yield PRICE_CAUTION


def _decision(row: dict[str, Any], numbers: Numbers) -> str:
    """One decision in words: `roof, compact car: $350 → $375 (+7.1%); expected: …`."""
    service, vehicle_class = row["service"], row["vehicle_class"]
    what = typed(service)
    what += (
        ", every class without its own" if pd.isna(vehicle_class) else f", {typed(vehicle_class)}"
    )
    old, new = float(row["old_price"]), float(row["new_price"])
    change = numbers.percent_change(100 * (new / old - 1), 1)
    expected = []
    if not pd.isna(row["expected_win_pct"]):
        expected.append(f"{numbers.percent(row['expected_win_pct'])} of the quotes won")
    if not pd.isna(row["expected_hours"]):
        expected.append(f"{numbers.hours(row['expected_hours'], 2)} a job")
    if not pd.isna(row["expected_margin"]):
        margin = money_words(row["expected_margin"], numbers.settings)
        expected.append(f"{margin} contribution a job")
    words = f"; expected: {listed(expected)}" if expected else ""
    before, after = (price_words(price, numbers.settings) for price in (old, new))
    return f"{what}: {before} → {after} ({change}){words}"
