"""Cells that hold a day, a month or a time of day."""

import datetime as dt
import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

from analysis.records.cell_rules import (
    DATE_TWO_WAYS,
    NOT_A_DATE,
    NOT_A_MONTH,
    NOT_A_TIME,
    NUMBER_FOR_DATE,
    Cell,
    CellContext,
    CellError,
    CellFault,
    quoted,
)

# ISO 8601 calendar dates, with or without hyphens, and with or without a time of day.
_ISO: Final = re.compile(
    r"(\d{4}-\d{2}-\d{2}|\d{8})(?:[T ]\s*\d{2}:?\d{2}(?::?\d{2}(?:[.,]\d+)?)?"
    r"(?:\s*Z|[+-]\d{2}(?::?\d{2})?)?)?",
    re.IGNORECASE,
)
_MONTH: Final = re.compile(r"(\d{4})-(\d{2})")
_TIME: Final = re.compile(r"(\d{1,2}):(\d{2})(?::(\d{2}))?")
# Unread dates of one form are odd ones out up to this share of those that were read.
_FEW: Final = 0.1
_CODE: Final = re.compile("%.")
_CODE_WORDS: Final = {
    "%d": "day",
    "%m": "month",
    "%Y": "year",
    "%y": "year in two digits",
    "%b": "month's short name",
    "%B": "month's name",
}
_BARE: Final = re.compile(r"\d+(?:[.,]\d+)?")


def read_date(cell: Cell, context: CellContext) -> dt.date:
    """Read a day; a time of day beside it is left out."""
    match cell:
        case dt.datetime():
            return cell.date()
        case dt.date():
            return cell
        case str():
            return _date_text(cell.strip(), context)
        case bool() | dt.time() | dt.timedelta():
            raise CellError(NOT_A_DATE, f"{quoted(cell)} is no date; expected one like 2026-07-13")
        case _:
            raise _bare_number(cell, "date")


def read_month(cell: Cell, context: CellContext) -> dt.date:
    """Read the first day of a month, from the month or from any day of it."""
    if isinstance(cell, str) and (found := _MONTH.fullmatch(cell.strip())):
        if 1 <= int(found[2]) <= 12 and int(found[1]) > 0:
            return dt.date(int(found[1]), int(found[2]), 1)
        raise CellError(NOT_A_MONTH, f"{quoted(cell)} is no month of the calendar")
    try:
        return read_date(cell, context).replace(day=1)
    except CellError as error:
        if error.fault.rule is not NOT_A_DATE:
            raise
        problem = f"{quoted(cell)} is no month; expected one like 2026-07"
        raise CellError(NOT_A_MONTH, problem) from error


# Forms in which people write days; month first and day first are both offered where both fit.
_USUAL_FORMS: Final = (
    "%m/%d/%Y",
    "%d/%m/%Y",
    "%d.%m.%Y",
    "%m-%d-%Y",
    "%d-%m-%Y",
    "%Y/%m/%d",
    "%m/%d/%y",
    "%d/%m/%y",
    "%d.%m.%y",
)


def read_time(cell: Cell, context: CellContext) -> dt.timedelta:  # noqa: ARG001
    """Read a time of day, as the time since midnight; 24:00 ends a day."""
    match cell:
        case dt.time():
            return dt.timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second)
        case dt.timedelta() if dt.timedelta() <= cell <= dt.timedelta(days=1):
            return cell
        case bool() | dt.date() | dt.timedelta():
            raise CellError(
                NOT_A_TIME, f"{quoted(cell)} is no time of day; expected one like 09:15"
            )
        case str():
            return _time_text(cell)
        case _:
            raise _bare_number(cell, "time")


def _time_text(cell: str) -> dt.timedelta:
    found = _TIME.fullmatch(cell.strip())
    if found:
        hour, minute, second = int(found[1]), int(found[2]), int(found[3] or 0)
        time = dt.timedelta(hours=hour, minutes=minute, seconds=second)
        if minute < 60 and second < 60 and time <= dt.timedelta(days=1):
            return time
    raise CellError(NOT_A_TIME, f"{quoted(cell)} is no time of day; expected one like 09:15")


def _bare_number(cell: Cell, what: str) -> CellError:
    return CellError(
        NUMBER_FOR_DATE,
        f"{quoted(cell)} is a bare number; expected a {what}",
        NUMBER_FOR_DATE.remedy if what == "date" else "Format the cell as a time, as 09:15.",
    )


def _date_text(text: str, context: CellContext) -> dt.date:
    readings: dict[str, dt.date] = {}
    iso = _ISO.fullmatch(text)
    if iso:
        try:
            readings["ISO 8601"] = dt.date.fromisoformat(iso[1])
        except ValueError:
            iso = None
    for form in context.settings.date_formats:
        try:
            readings[form] = dt.datetime.strptime(text, form).date()  # noqa: DTZ007
        except ValueError:
            continue
    days = set(readings.values())
    if len(days) == 1:
        return days.pop()
    if days:
        ways = " and ".join(f"{found} by {in_words(form)}" for form, found in readings.items())
        raise CellError(DATE_TWO_WAYS, f"{quoted(text)} is {ways}")
    if re.fullmatch(r"\d{4}-\d{2}-\d{2}.*", text):
        raise CellError(NOT_A_DATE, f"{quoted(text)} is no day of the calendar")
    if _BARE.fullmatch(text):
        raise _bare_number(text, "date")
    forms = _or_forms([*context.settings.date_formats])
    problem = f"{quoted(text)} is no date; expected one like 2026-07-13{forms}"
    raise CellError(NOT_A_DATE, problem, _remedy_for(text, context.settings.date_formats))


def _remedy_for(text: str, in_use: Sequence[str]) -> str:
    """What to write in shop.toml so that this date is read; the rule's own words where unknown."""
    return _add_forms(_fitting(text), in_use) or NOT_A_DATE.remedy


def _add_forms(forms: Sequence[str], in_use: Sequence[str]) -> str:
    """Say to add one of some forms beside those in use; nothing where there is none to add."""
    if not forms:
        return ""
    lines = " or ".join(
        f"date_formats = {json.dumps([*in_use, form])} (for {in_words(form)})" for form in forms
    )
    kept = ", which keeps the forms in use," if in_use else ""
    return (
        f"Write the date as 2026-07-13, or set {lines} in shop.toml{kept} as your dates are meant."
    )


def _fitting(text: str) -> list[str]:
    return [form for form in _USUAL_FORMS if _read_by(text, form) is not None]


def _read_by(text: str, form: str) -> dt.date | None:
    try:
        return dt.datetime.strptime(text, form).date()  # noqa: DTZ007
    except ValueError:
        return None


@dataclass(frozen=True)
class DateCells:
    """The distinct cells of a column of dates, how often each stands there, and what it gave."""

    cells: Sequence[Cell]
    counts: Sequence[int]
    values: Sequence[Any]

    def read(self) -> Iterator[tuple[Cell, int, Any]]:
        """Cell, count and value of every cell that was read."""
        for cell, count, value in zip(self.cells, self.counts, self.values, strict=True):
            if value is not None:
                yield cell, count, value

    def clashes(self, form: str) -> bool:
        """Whether a form reads a cell of the column as another day than it is read as now."""
        texts = ((cell.strip(), value) for cell, _, value in self.read() if isinstance(cell, str))
        return any(_read_by(text, form) not in (None, value) for text, value in texts)

    def usual(self, in_use: Sequence[str]) -> str:
        """How most of the cells that were read are written, by an example."""
        seen: dict[str, int] = {}
        for cell, count, _ in self.read():
            text = cell.strip() if isinstance(cell, str) else ""
            fits = (form for form in in_use if text and _read_by(text, form) is not None)
            form = next(fits, "%Y-%m-%d")
            seen[form] = seen.get(form, 0) + count
        return dt.date(2026, 7, 13).strftime(max(seen, key=lambda form: seen[form]))


def date_remedies(
    column: DateCells, faults: dict[int, CellFault], in_use: Sequence[str]
) -> dict[int, CellFault]:
    """The faults, with what to do about a date that is none as the rest of the column says.

    One cell among others, or a tenth of them at most, is to be written like them; so is one whose
    form would read some of the others as another day. Else its form is to be added to those in
    use. Of forms that all fit a cell, those that fit most of the unread cells are offered.
    """
    texts = {
        code: str(column.cells[code]).strip()
        for code, fault in faults.items()
        if fault.rule is NOT_A_DATE
    }
    fitting = {code: forms for code, text in texts.items() if (forms := _fitting(text))}
    size = Counter[str]()
    for code, forms in fitting.items():
        size.update(dict.fromkeys(forms, column.counts[code]))
    clashing = {form for form in size if column.clashes(form)}
    others = sum(count for _, count, _ in column.read())
    usual = column.usual(in_use) if others else ""
    told = dict(faults)
    for code, forms in fitting.items():
        most = max(size[form] for form in forms)
        forms = [form for form in forms if size[form] == most]
        few = (others > 1 and most == 1) or most <= _FEW * others
        remedy = _add_forms(forms, in_use)
        if few or clashing.intersection(forms):
            remedy = (
                f"Write it like {usual}, the form of most of the other {others:,} cells of this "
                "column; shop.toml stays as it is."
            )
        told[code] = replace(faults[code], remedy=remedy)
    return told


def _or_forms(forms: list[str]) -> str:
    """Read the shop's own date forms, for a message."""
    return f" (or in the form {' or '.join(map(in_words, forms))})" if forms else ""


def in_words(form: str) -> str:
    """A date form as a person says it: day.month.year. What has no word stays as it is."""
    return _CODE.sub(lambda code: _CODE_WORDS.get(code[0], code[0]), form)
