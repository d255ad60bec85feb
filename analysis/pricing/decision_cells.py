"""What a person typed into a price sheet, read cell by cell; what cannot be taken is refused."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.errors import RecordsError
from analysis.pricing.money_words import price_words
from analysis.pricing.price_cells import KEYS
from analysis.pricing.price_lines import PriceTerms, SheetInputs
from analysis.pricing.price_sheet_form import (
    CARD_FIXED,
    CARD_SHARE,
    COLUMNS,
    CONSUMABLES,
    EVERY_CLASS,
    FILM,
    FIRST_DAY,
    NOTE,
    OTHER_CLASSES,
    OVERHEAD,
    PLACE,
    TARGET,
    WAGE,
)
from analysis.pricing.price_sheet_reader import CellPlace, FilledSheet, place_of
from analysis.record_tables import DECISIONS
from analysis.records.cell_rules import CellError, as_written, quoted, shown
from analysis.records.cells import read_cell
from analysis.records.delimited import Cell
from analysis.records.model import Records
from analysis.settings import Settings

_LATEST: Final = pd.DateOffset(years=1)  # the check rejects days further off
_NEW_ROW: Final = (
    "Undo the change (or run review again), and type what you decide under NEW PRICE alone."
)
# The inputs behind the expected margins, then the others.
_BEHIND_MARGINS: Final = {
    WAGE: "wages change by",
    FILM: "film prices change by",
    CONSUMABLES: "consumables an hour",
    CARD_SHARE: "card fee",
    CARD_FIXED: "card fee, fixed part",
}
_LABELS: Final = _BEHIND_MARGINS | {
    FIRST_DAY: "first day of the new prices",
    TARGET: "target margin",
    OVERHEAD: "overhead an hour",
    NOTE: "note for every decision",
}
_HAIR: Final = 1e-9


@dataclass(eq=False)
class SheetWork:
    """The work on one sheet: where it stands, and what was refused and told so far."""

    sheet: FilledSheet
    records: Records
    on: pd.Timestamp
    refused: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    @property
    def settings(self) -> Settings:
        """The shop's settings."""
        return self.records.settings

    def input(self, key: str) -> CellPlace | None:
        """An input cell, named; None where the sheet has none of that key."""
        place = self.sheet.inputs.get(key)
        name, _, service = key.partition(": ")
        whose = f"{_LABELS[name]} of {shown(service)}" if service else _LABELS[name]
        return None if place is None else replace(place, whose=whose)

    def refuse(self, place: CellPlace, problem: str, remedy: str) -> None:
        """Add a refusal: where, what is wrong, what to do."""
        self.refused.append(f"{place.words}: {problem}. {remedy}")

    def refuse_in(self, row: Mapping[str, Any], name: str, problem: str, remedy: str) -> None:
        """Add a refusal of a row's cell in the column of that name."""
        self.refuse(place_of(int(row["row"]), name, whose=what(row)), problem, remedy)

    def read(self, place: CellPlace, name: str) -> Any:
        """A cell read as a column of decisions; None where it is blank or refused."""
        unsaved = isinstance(place.value, str) and place.value.startswith("=")
        if unsaved and name != NOTE:
            problem = f"{quoted(place.value)} is a formula whose value was never saved"
            remedy = "Open the workbook in your spreadsheet program, let it calculate, and save it."
            self.refuse(place, problem, remedy)
            return None
        try:
            return read_cell(place.value, DECISIONS.column(name), self.settings)
        except CellError as error:
            self.refuse(place, error.fault.problem, error.fault.remedy)
            return None


def what(row: Mapping[str, Any]) -> str:
    """A service and class in words."""
    if pd.isna(row["vehicle_class"]):
        return f"{shown(row['service'])}, every class without its own"
    return f"{shown(row['service'])}, {shown(row['vehicle_class'])}"


def heading(name: str) -> str:
    """What stands over a column of the sheet."""
    return COLUMNS[PLACE[name] - 1].heading


def is_first_day_blank(work: SheetWork) -> bool:
    """Whether no first day was typed in, so that the new prices hold from next month on."""
    place = work.input(FIRST_DAY)
    return place is not None and isinstance(place.value, str) and not place.value.strip()


def first_day(work: SheetWork) -> pd.Timestamp | None:
    """The first day of the new prices; None where it is refused.

    A blank cell means the first day of the month after that of the decision.
    """
    place = work.input(FIRST_DAY)
    if place is None:
        raise RecordsError(
            f"{work.sheet.file}: the price sheet has no cell for the {_LABELS[FIRST_DAY]}. "
            "Run review again, and fill in the sheet that it writes."
        )
    if is_first_day_blank(work):
        return work.on.normalize().replace(day=1) + pd.DateOffset(months=1)
    found = work.read(place, "effective_from")
    if found is None:
        return None
    first = pd.Timestamp(found)
    if first < work.on:
        problem = f"{first:%Y-%m-%d} is before the day of the decision, {work.on:%Y-%m-%d}"
        remedy = (
            "Enter that day or a later one, clear the cell for the first of next month, or give "
            "the day of the decision with --on."
        )
        work.refuse(place, problem, remedy)
    elif first > work.on + _LATEST:
        problem = f"{first:%Y-%m-%d} is over a year after the decision of {work.on:%Y-%m-%d}"
        work.refuse(place, problem, "Look at the year.")
    return first


def inputs_of(work: SheetWork) -> SheetInputs:
    """The inputs as they stand in the sheet; a cleared one is none, or not known."""

    def number(key: str, blank: float) -> float:
        place = work.input(key)
        if place is None or place.value == "":
            return blank
        if isinstance(place.value, bool) or not isinstance(place.value, int | float):
            problem = f"{quoted(place.value)} is no number"
            work.refuse(place, problem, "Enter a plain number, as 3.5 or 3.5%.")
            return blank
        return float(place.value)

    own = [key for key in work.sheet.inputs if key.startswith(f"{TARGET}: ")]
    return SheetInputs(
        target_share=number(TARGET, np.nan),
        service_targets={key.removeprefix(f"{TARGET}: "): number(key, np.nan) for key in own},
        wage_change_share=number(WAGE, 0.0),
        film_change_share=number(FILM, 0.0),
        overhead_rate=number(OVERHEAD, np.nan),
        consumables_rate=number(CONSUMABLES, np.nan),
        terms=PriceTerms(work.sheet.net_of_tax, number(CARD_SHARE, 0.0), number(CARD_FIXED, 0.0)),
    )


def filled_rows(work: SheetWork) -> pd.DataFrame:
    """The rows with a new price, typed; what cannot be read, or was changed, is refused."""
    found = []
    for each in as_dicts(work.sheet.rows):
        cell, typed = each["new_price"], {**_typed(each), "row": int(each["row"])}
        if isinstance(cell, str) and not cell.strip():
            continue
        place = place_of(int(each["row"]), "new_price", cell, what(typed))
        price = work.read(place, "new_price")
        if price is None:
            continue
        if price <= 0:
            problem = f"{quoted(cell)} is no price; expected one over 0, such as 450"
            work.refuse(place, problem, "Enter the price, or clear the cell.")
            continue
        if not _is_as_written(work, typed, each):
            continue
        note = work.read(place_of(place.row, "note", each["note"], place.whose), "note")
        found.append({**typed, "new_price": float(price), "note": note})
    names = [*KEYS, *_NUMBERS, "row", "new_price", "note"]
    frame = pd.DataFrame(found, columns=names)
    return frame.astype({**dict.fromkeys(KEYS, "str"), "note": "str"})


def as_dicts(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a short frame as plain dictionaries."""
    return [{str(name): value for name, value in row.items()} for row in frame.to_dict("records")]


_NUMBERS: Final = {
    "current_price": "own_current_price",
    "suggested_price": "own_suggested_price",
    "expected_hours": "expected_hours",
    "film_area": "film_area",
    "film_cost_today": "film_cost_today",
    "labour_rate": "labour_rate",
    "redo_fixed": "redo_fixed",
    "redo_rate": "redo_rate",
    "win_share": "win_share",
    "suggested_win_share": "suggested_win_share",
    "win_slope": "win_slope",
}


def _typed(row: Mapping[str, Cell]) -> dict[str, object]:
    """The service, the class (None: every class without its own) and the numbers of a row."""
    typed: dict[str, object] = {
        "service": as_written(row["own_service"]),
        "vehicle_class": as_written(row["own_class"]) or None,
    }
    return typed | {name: _as_number(row[source]) for name, source in _NUMBERS.items()}


def _as_number(cell: Cell) -> float:
    is_number = isinstance(cell, int | float) and not isinstance(cell, bool)
    return float(cell) if is_number else np.nan  # type: ignore[arg-type]


def _is_as_written(work: SheetWork, row: Mapping[str, object], cells: Mapping[str, Cell]) -> bool:
    """Refuse a row in which something was changed that was not to be."""
    own_class = as_written(cells["own_class"])
    classes = [own_class] if own_class else [EVERY_CLASS, OTHER_CLASSES]
    for name, wanted in (
        ("service", [as_written(cells["own_service"])]),
        ("vehicle_class", classes),
        ("current_price", [as_written(cells["own_current_price"])]),
        ("suggested_price", [as_written(cells["own_suggested_price"])]),
    ):
        if as_written(cells[name]) not in wanted:
            stood = quoted(wanted[0]) if wanted[0] else "nothing"
            problem = f"{quoted(cells[name])} stands where the review wrote {stood}"
            work.refuse_in(row, name, problem, _NEW_ROW)
            return False
    return True


def changed_inputs(work: SheetWork) -> Iterator[str]:
    """The inputs behind the expected margins that a person changed, each in words."""
    for key, label in _BEHIND_MARGINS.items():
        place, was = work.sheet.inputs.get(key), work.sheet.were.get(key, "")
        if place is not None and abs(_or_zero(place.value) - _or_zero(was)) > _HAIR:
            is_share = key in (WAGE, FILM, CARD_SHARE)
            value = _or_zero(place.value)
            words = f"{value:.2%}" if is_share else price_words(value, work.settings)
            yield f"{label} {words}"


def _or_zero(cell: Cell) -> float:
    return float(np.nan_to_num(_as_number(cell)))


def sheet_note(work: SheetWork) -> str | None:
    """The note for every decision without its own."""
    place = work.input(NOTE)
    if place is None:
        return None
    note = work.read(place, "note")
    return None if note is None else str(note)
