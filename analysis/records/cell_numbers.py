"""Cells that hold a number, money, hours, minutes, a length or an area."""

import datetime as dt
import math
import re
from functools import lru_cache
from typing import Final

from babel import Locale
from babel.core import get_global
from babel.languages import get_official_languages
from babel.localedata import locale_identifiers
from babel.numbers import get_currency_name, get_currency_symbol, is_currency

from analysis.records.cell_rules import (
    COMMA_DECIMAL,
    NOT_A_LENGTH,
    NOT_A_NUMBER,
    NOT_AN_AREA,
    NOT_HOURS,
    NOT_MINUTES,
    NOT_MONEY,
    NOT_WHOLE,
    NUMBER_TWO_WAYS,
    OTHER_CURRENCY,
    TOO_LARGE,
    TOO_SMALL,
    Cell,
    CellContext,
    CellError,
    as_written,
    quoted,
)
from analysis.records.rule import Rule
from analysis.units import (
    LENGTH_FORMS,
    UnitError,
    parse_area,
    parse_length,
)

# No shop has a number of more digits; the bound keeps sums exact and refuses damaged cells.
_LONGEST_NUMBER: Final = 24
_LARGEST: Final = 1e12
_LONGEST_M: Final = 1e7  # a quarter of the way round the earth; a longer one is a slip [m]
_LARGEST_M2: Final = 1e9  # [m²]
_SPACES: Final = " \u00a0\u202f'’"
_PLAIN: Final = re.compile(r"\d+(?:\.\d+)?|\.\d+")
_POINT_GROUPED: Final = re.compile(rf"[1-9]\d{{0,2}}([,{_SPACES}])\d{{3}}(?:\1\d{{3}})*(?:\.\d+)?")
_COMMA_PLAIN: Final = re.compile(r"\d+(?:,\d+)?|,\d+")
_COMMA_GROUPED: Final = re.compile(rf"[1-9]\d{{0,2}}([.{_SPACES}])\d{{3}}(?:\1\d{{3}})*(?:,\d+)?")
_HAS_COMMA: Final = re.compile(r"[\d.,]*\d,\d[\d.,]*|,\d+")
_SIGN: Final = re.compile(r"([-+−]?)\s*(.*)", re.DOTALL)
_MONEY: Final = re.compile(
    r"([-+−]?)\s*([^\d\s.,()+−-][^\d,()+−-]*?)?\s*([-+−]?)\s*"
    r"(\d[\d.,'’\s]*|[.,]\d+)([^\d\s.,'’()+−-].*)?",
    re.DOTALL,
)
_AREA_FORMS: Final = "an area such as 28.5, 28.5 sq ft or 2.65 m2"
_COMMA_SEEN: Final = "has a comma, and this shop writes decimals with a point"
# Signs that stand for more than one currency; whose it is shows from the shop's own.
_SHARED_SIGNS: Final = ("kr", "kr.", "zł", "kč", "fr", "fr.", "sfr.", "lei", "₽", "r$", "rs", "rs.")
_CLOCK: Final = re.compile(r"(\d{1,4}):([0-5]\d)(?::([0-5]\d))?")
_HOUR: Final = r"h(?:(?:ou)?rs?)?\.?"
_MINUTE: Final = r"m(?:in(?:ute)?s?)?\.?"
_HOURS_MINUTES: Final = re.compile(
    rf"(\d{{1,4}})\s*{_HOUR}\s*([0-5]?\d)\s*(?:{_MINUTE})?", re.IGNORECASE
)
_ONLY_HOURS: Final = re.compile(rf"([\d.,]+)\s*{_HOUR}", re.IGNORECASE)
_ONLY_MINUTES: Final = re.compile(r"([\d.,]+)\s*min(?:ute)?s?\.?", re.IGNORECASE)


def read_number(cell: Cell, context: CellContext) -> float:
    """Read a plain number, thousands grouped by three or not."""
    return _bounded(_amount(cell, context, NOT_A_NUMBER, "a number such as 12.5"), cell, context)


def read_whole(cell: Cell, context: CellContext) -> int:
    """Read a whole number."""
    number = _amount(cell, context, NOT_WHOLE, _expected(NOT_WHOLE, context))
    if not number.is_integer():
        raise _refused(NOT_WHOLE, f"{quoted(cell)} is no whole number", context)
    return int(_bounded(number, cell, context))


def read_money(cell: Cell, context: CellContext) -> float:
    """Read an amount, with or without the shop's own currency sign or code."""
    if isinstance(cell, str):
        found = _MONEY.fullmatch(cell)
        if found is None or (found[1] and found[3]):
            raise _no_money(cell, context)
        before, after = (found[2] or "").strip(), (found[5] or "").strip()
        for sign in (before, after):
            _refuse_foreign(sign, cell, context)
        amount = _plain(found[4].strip(), cell, context, NOT_MONEY, grouped=True)
        if (found[1] or found[3]) in ("-", "−"):
            amount = -amount
    else:
        amount = _amount(cell, context, NOT_MONEY, "an amount such as 1250")
    return _bounded(amount, cell, context)


def read_hours(cell: Cell, context: CellContext) -> float:
    """Decimal hours, from any of the ways in which people write a duration [h]."""
    return _bounded(_duration(cell, context, NOT_HOURS, 60), cell, context)


def read_minutes(cell: Cell, context: CellContext) -> float:
    """Minutes; a bare number is minutes [min]."""
    return _bounded(_duration(cell, context, NOT_MINUTES, 1), cell, context)


def read_length(cell: Cell, context: CellContext) -> float:
    """Read a length in metres [m]."""
    text, comma = _measure_text(cell, context, NOT_A_LENGTH, LENGTH_FORMS)
    try:
        length = parse_length(text, context.settings.length_unit, decimal_comma=comma)
        return _real(length, _LONGEST_M, cell)
    except UnitError as error:
        if context.column.minimum == 0 and str(error) == "is zero":
            return 0.0
        raise _unit_fault(cell, error, context, NOT_A_LENGTH, LENGTH_FORMS) from error


def read_area(cell: Cell, context: CellContext) -> float:
    """Read an area in square metres [m²]."""
    text, comma = _measure_text(cell, context, NOT_AN_AREA, _AREA_FORMS)
    try:
        area = parse_area(text, context.settings.area_unit, decimal_comma=comma)
        return _real(area, _LARGEST_M2, cell)
    except UnitError as error:
        raise _unit_fault(cell, error, context, NOT_AN_AREA, _AREA_FORMS) from error


def _real(measure: float, most: float, cell: Cell) -> float:
    if measure > most:
        raise CellError(TOO_LARGE, f"{quoted(cell)} is larger than any real figure of a shop")
    return measure


def _measure_text(cell: Cell, context: CellContext, rule: Rule, forms: str) -> tuple[str, bool]:
    """Read a measure as text, and whether a comma is its decimal mark (never in a number cell)."""
    if isinstance(cell, str):
        return cell, context.settings.decimal_comma
    return as_written(_amount(cell, context, rule, forms)), False


def _unit_fault(
    cell: Cell, error: UnitError, context: CellContext, rule: Rule, forms: str
) -> CellError:
    reason = str(error)
    if reason in ("is zero", "is negative"):
        least = "0 or more" if context.column.minimum == 0 else "more than 0"
        return CellError(TOO_SMALL, f"{quoted(cell)} {reason}; expected {least}")
    if "two ways" in reason:
        if "," in str(cell) and not context.settings.decimal_comma:
            return CellError(COMMA_DECIMAL, f"{quoted(cell)} {_COMMA_SEEN}")
        return CellError(NUMBER_TWO_WAYS, f"{quoted(cell)} {reason}")
    return CellError(rule, f"{quoted(cell)} {reason}; expected {forms}")


def _amount(cell: Cell, context: CellContext, rule: Rule, expected: str) -> float:
    """Read the number of a cell, whether the file holds it as text or as a number."""
    if isinstance(cell, bool) or not isinstance(cell, str | int | float):
        raise _refused(rule, f"{quoted(cell)} is {_what(cell)}; expected {expected}", context)
    if isinstance(cell, str):
        return _signed(cell, context, rule, grouped=True)
    return _finite(float(cell), cell, rule)


def _what(cell: Cell) -> str:
    if isinstance(cell, bool):
        return "a yes/no cell"
    return "a date" if isinstance(cell, dt.date) else "a time"


def _finite(number: float, cell: Cell, rule: Rule) -> float:
    if not math.isfinite(number):
        raise CellError(rule, f"{quoted(cell)} is no number")
    if abs(number) > _LARGEST:
        raise CellError(TOO_LARGE, f"{quoted(cell)} is larger than any real figure of a shop")
    return number


def _signed(text: str, context: CellContext, rule: Rule, *, grouped: bool) -> float:
    found = _SIGN.fullmatch(text.strip())
    sign, rest = (found[1], found[2]) if found else ("", text)
    number = _plain(rest, text, context, rule, grouped=grouped)
    return -number if sign in ("-", "−") else number


def _plain(text: str, cell: Cell, context: CellContext, rule: Rule, *, grouped: bool) -> float:
    """Read an unsigned number in the shop's way of writing decimals."""
    if len(text) <= _LONGEST_NUMBER:
        number = (
            _comma_number(text, cell, grouped=grouped)
            if context.settings.decimal_comma
            else _point_number(text, cell, grouped=grouped)
        )
        if number is not None:
            return _finite(number, cell, rule)
    if rule is NOT_MONEY:
        raise _no_money(cell, context)
    raise _refused(
        rule, f"{quoted(cell)} cannot be read; expected {_expected(rule, context)}", context
    )


def _expected(rule: Rule, context: CellContext) -> str:
    """What was expected instead; of a whole number, such as stands in the column."""
    if rule is NOT_WHOLE:
        return f"a whole number such as {context.column.example or 2}"
    return _EXPECTED[rule.code]


def _refused(rule: Rule, problem: str, context: CellContext) -> CellError:
    if rule is NOT_WHOLE:
        return CellError(rule, problem, f"Write {_expected(rule, context)}.")
    return CellError(rule, problem)


_EXPECTED: Final = {
    NOT_A_NUMBER.code: "a number such as 12.5",
    NOT_HOURS.code: "hours such as 2.75, 2:45, 2h45 or 165 min",
    NOT_MINUTES.code: "minutes such as 20, 20 min or 0:20",
    NOT_A_LENGTH.code: LENGTH_FORMS,
    NOT_AN_AREA.code: _AREA_FORMS,
}


def _point_number(text: str, cell: Cell, *, grouped: bool) -> float | None:
    if _PLAIN.fullmatch(text):
        return float(text)
    if _POINT_GROUPED.fullmatch(text):
        if grouped:
            return float(re.sub(rf"[,{_SPACES}]", "", text))
        raise CellError(NUMBER_TWO_WAYS, f"{quoted(cell)} can be read in two ways")
    if _HAS_COMMA.fullmatch(text):
        raise CellError(COMMA_DECIMAL, f"{quoted(cell)} {_COMMA_SEEN}")
    return None


def _comma_number(text: str, cell: Cell, *, grouped: bool) -> float | None:
    if _COMMA_PLAIN.fullmatch(text):
        return float(text.replace(",", "."))
    if _COMMA_GROUPED.fullmatch(text):
        if grouped:
            return float(re.sub(rf"[.{_SPACES}]", "", text).replace(",", "."))
        raise CellError(NUMBER_TWO_WAYS, f"{quoted(cell)} can be read in two ways")
    # 12.50 has no second reading here: a thousands mark stands before three digits.
    return float(text) if _PLAIN.fullmatch(text) else None


def _bounded(number: float, cell: Cell, context: CellContext) -> float:
    least, most = context.column.minimum, context.column.maximum
    if least is not None and number < least:
        raise CellError(TOO_SMALL, f"{quoted(cell)} is less than {least:g}")
    if most is not None and number > most:
        note = " (a time entry is one person on one day)" if context.column.name == "hours" else ""
        raise CellError(TOO_LARGE, f"{quoted(cell)} is more than {most:g}{note}")
    return number


def _no_money(cell: Cell, context: CellContext) -> CellError:
    problem = f"{quoted(cell)} is no amount; expected one such as 1250"
    if context.settings.decimal_comma:
        return CellError(NOT_MONEY, problem, NOT_MONEY.remedy.replace("1,250.00", "1.250,00"))
    return CellError(NOT_MONEY, problem)


def _refuse_foreign(sign: str, cell: Cell, context: CellContext) -> None:
    own = context.settings.currency
    if not sign or sign.casefold() in _own_signs(own, context.settings.babel_locale):
        return
    code = _currency_of(sign)
    if code is None:
        raise _no_money(cell, context)
    raise CellError(
        OTHER_CURRENCY, f"{quoted(cell)} is in {code}, and the shop's currency is {own}"
    )


@lru_cache(maxsize=32)
def _own_signs(currency: str, locale: str) -> frozenset[str]:
    """How a currency is written: its code, and its signs in the locale and where it is used."""
    homes = ["en", "en_CA", locale]
    for territory, uses in get_global("territory_currencies").items():
        if any(code == currency and until is None for code, _, until, _ in uses):
            homes += [f"{each}_{territory}" for each in get_official_languages(territory)]
    known = [home for home in homes if home in locale_identifiers()]
    signs = {str(get_currency_symbol(currency, locale=home)) for home in known}
    return frozenset(sign.casefold() for sign in signs | {currency})


def _currency_of(sign: str) -> str | None:
    """Read the name of the currency that a sign or a code stands for."""
    if is_currency(sign.upper()):
        return _named(sign.upper())
    for code, symbol in Locale("en").currency_symbols.items():
        if symbol == sign:
            return _named(code)
    return f"another currency ({sign})" if sign.casefold() in _SHARED_SIGNS else None


def _named(code: str) -> str:
    return f"{code} ({get_currency_name(code, locale='en')})"


def _duration(cell: Cell, context: CellContext, rule: Rule, unit: int) -> float:
    """Read a duration in a unit of so many minutes, which is also the unit of a bare number."""
    match cell:
        case bool() | dt.date():
            raise CellError(
                rule, f"{quoted(cell)} is {_what(cell)}; expected {_EXPECTED[rule.code]}"
            )
        case dt.time():
            return (cell.hour * 60 + cell.minute + cell.second / 60) / unit
        case dt.timedelta():
            return cell.total_seconds() / 60 / unit
        case str():
            found = _SIGN.fullmatch(cell.strip())
            sign, rest = (found[1], found[2]) if found else ("", cell)
            length = _duration_text(rest, cell, context, rule, unit)
            return -length if sign in ("-", "−") else length
        case _:
            return _finite(float(cell), cell, rule)


def _duration_text(text: str, cell: str, context: CellContext, rule: Rule, unit: int) -> float:
    if clock := _CLOCK.fullmatch(text):
        return (int(clock[1]) * 60 + int(clock[2]) + int(clock[3] or 0) / 60) / unit
    if both := _HOURS_MINUTES.fullmatch(text):
        return (int(both[1]) * 60 + int(both[2])) / unit
    if only := _ONLY_HOURS.fullmatch(text):
        return _plain(only[1], cell, context, rule, grouped=False) * 60 / unit
    if only := _ONLY_MINUTES.fullmatch(text):
        return _plain(only[1], cell, context, rule, grouped=False) / unit
    return _plain(text, cell, context, rule, grouped=False)
