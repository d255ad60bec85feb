"""Lengths inside a sentence or a cut list, as they are read off the shop's tape."""

import math
from fractions import Fraction
from typing import Final

from babel.numbers import format_decimal

from analysis.pricing.layout_pieces import tape_mark_m
from analysis.settings import Settings
from analysis.units import metres_per

# Forms that show a millimetre; without a sign between thousands, which may be read as a decimal.
_FORMS: Final = {"mm": "0", "cm": "0.0", "m": "0.000"}


def length_words(length_m: float, settings: Settings) -> str:
    """A length with its unit: `58 3/8 in`, `152,4 cm`."""
    return f"{_read(length_m, settings)} {_unit(settings)}"


def size_words(length_m: float, width_m: float, settings: Settings) -> str:
    """Two lengths with one unit: `58 3/8 × 40 in`."""
    return f"{_read(length_m, settings)} × {length_words(width_m, settings)}"


def _unit(settings: Settings) -> str:
    """Feet and yards are read in inches."""
    return settings.length_unit if settings.length_unit in _FORMS else "in"


def _read(length_m: float, settings: Settings) -> str:
    """A length at the nearest mark of the tape."""
    unit = _unit(settings)
    if unit in _FORMS:
        value = length_m / metres_per(unit)
        return str(format_decimal(value, format=_FORMS[unit], locale=settings.babel_locale))
    return in_eighths(length_m)


def in_eighths(length_m: float) -> str:
    """Inches at the nearest eighth, without their unit: `58 3/8`."""
    eighths = Fraction(math.floor(length_m / tape_mark_m("in") + 0.5 + 1e-6), 8)
    whole, rest = divmod(eighths, 1)
    if not rest:
        return str(whole)
    return f"{whole} {rest}" if whole else str(rest)
