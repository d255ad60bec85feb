"""Numbers, money and percentages as text in the shop's locale: the one place that writes them."""

import unicodedata
from collections.abc import Sequence
from copy import copy
from decimal import Decimal
from functools import cache
from typing import Final

import pandas as pd
from babel import Locale
from babel.numbers import NumberPattern

from analysis.money import half_away
from analysis.settings import Settings

MISSING: Final = "–"
_PRETTY_UNITS: Final = {"m2": "m²", "cm2": "cm²"}
# Control characters draw nothing, and some of them turn what follows round.
_CONTROLS: Final = frozenset({"Cc", "Cf", "Cs"})
_JOINERS: Final = frozenset("\u200c\u200d")


@cache
def locale_of(identifier: str) -> Locale:
    """A locale by its name, such as `en_US`."""
    return Locale.parse(identifier)


def number_text(value: float, places: int, settings: Settings) -> str:
    """A number with that many decimal places, half away from zero: `1,234.5`, `1.234,5`."""
    identifier = settings.babel_locale
    pattern = _pattern(identifier, "decimal_formats", None, places)
    return _minus(pattern.apply(decimal_of(value, places), locale_of(identifier)))


def money_text(value: float, places: int, settings: Settings) -> str:
    """An amount with the sign of the currency, where the locale puts it: `$345`, `345 €`."""
    identifier = settings.babel_locale
    text = _pattern(identifier, "currency_formats", "standard", places).apply(
        decimal_of(value, places),
        locale_of(identifier),
        currency=settings.currency,
        currency_digits=False,
    )
    return _minus(text)


def percent_text(percent: float, places: int, settings: Settings) -> str:
    """A percentage that is held as 12.5: `13%`, `12,5 %`."""
    identifier = settings.babel_locale
    pattern = _pattern(identifier, "percent_formats", None, places)
    return _minus(pattern.apply(decimal_of(percent, places) / 100, locale_of(identifier)))


def decimal_of(value: float, places: int) -> Decimal:
    """A number rounded half away from zero, exact in its decimals."""
    return Decimal(f"{float(half_away(value, places)):.{places}f}")


def pretty_unit(unit: str) -> str:
    """A unit as printed: `m2` is `m²`."""
    return _PRETTY_UNITS.get(unit, unit)


def counted(count: float, singular: str, plural: str = "") -> str:
    """`1 job`, `12 jobs`; `– jobs` where the count is missing."""
    word = singular if count == 1 else plural or singular + "s"
    return f"{MISSING if pd.isna(count) else int(count)} {word}"


def listed(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def clean(text: str) -> str:
    """Text on one line, without control characters."""
    if text.isprintable():
        return text.strip()
    kept = "".join(
        " " if each in "\t\r\n" else each
        for each in text
        if unicodedata.category(each) not in _CONTROLS or each in _JOINERS or each in "\t\r\n"
    )
    return " ".join(kept.split(" ")).strip()


def _minus(text: str) -> str:
    return clean(text.replace("-", "−"))


@cache
def _pattern(identifier: str, kind: str, name: str | None, places: int) -> NumberPattern:
    """A number pattern of a locale with that many decimal places: made once, used for thousands."""
    own: NumberPattern = copy(getattr(locale_of(identifier), kind)[name])
    own.frac_prec = (places, places)
    return own
