"""Lengths and areas: text to metres, and metres to the shop's units.

Factors are exact by definition (international yard and pound agreement of 1959; NIST Special
Publication 811, appendix B): 1 in = 0.0254 m, 1 ft = 12 in, 1 yd = 3 ft.
"""

import re
from fractions import Fraction
from typing import Final

INCH_M: Final = Fraction(254, 10_000)
LENGTH_UNITS: Final[dict[str, Fraction]] = {
    "in": INCH_M,
    "ft": 12 * INCH_M,
    "yd": 36 * INCH_M,
    "mm": Fraction(1, 1000),
    "cm": Fraction(1, 100),
    "m": Fraction(1),
}
AREA_UNITS: Final[dict[str, Fraction]] = {
    "sq in": INCH_M**2,
    "sq ft": (12 * INCH_M) ** 2,
    "sq yd": (36 * INCH_M) ** 2,
    "cm2": Fraction(1, 10_000),
    "m2": Fraction(1),
}
_WORDS: Final[dict[str, str]] = {
    "in": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "″": "in",
    "”": "in",
    "“": "in",
    "''": "in",
    "ft": "ft",
    "foot": "ft",
    "feet": "ft",
    "'": "ft",
    "′": "ft",
    "’": "ft",
    "‘": "ft",
    "yd": "yd",
    "yds": "yd",
    "yard": "yd",
    "yards": "yd",
    "mm": "mm",
    "cm": "cm",
    "m": "m",
    "meter": "m",
    "meters": "m",
    "metre": "m",
    "metres": "m",
}
_AREA_WORDS: Final[dict[str, str]] = {
    "sq in": "sq in",
    "in2": "sq in",
    "sqin": "sq in",
    "in²": "sq in",
    "sq ft": "sq ft",
    "ft2": "sq ft",
    "sqft": "sq ft",
    "ft²": "sq ft",
    "sq yd": "sq yd",
    "yd2": "sq yd",
    "yd²": "sq yd",
    "cm2": "cm2",
    "cm²": "cm2",
    "sq cm": "cm2",
    "m2": "m2",
    "m²": "m2",
    "sq m": "m2",
    "sqm": "m2",
}
_NUMBER = r"(?:\d+\s+\d+/\d+|\d+/\d+|\d+(?:[.,]\d+)*|[.,]\d+)"
_TERM = re.compile(rf"\s*({_NUMBER})\s*(''|[A-Za-z]+\.?|[\"'″”“′’‘])?\s*-?")
LENGTH_FORMS: Final = "a length such as 68, 68 in, 5 ft 8 in, 5'8\", 1.73 m or 25 yd"
# A cell longer than this is no measurement; it is refused before a pattern is tried on it.
_LONGEST_CELL = 60


class UnitError(ValueError):
    """The text is no length (or no area); `str()` says why in words."""


def parse_length(text: str, default_unit: str, *, decimal_comma: bool = False) -> float:
    """Read a length as people write it.

    Parameters
    ----------
    text : `68`, `68 in`, `5 ft 8 in`, `5'8"`, `1.73 m`, `25 yd`, `5 1/2 in`
    default_unit : unit of a bare number, a key of `LENGTH_UNITS`
    decimal_comma : `1,73` is read as well as `1.73`

    Returns
    -------
    float
        Length, above 0. [m]

    Raises
    ------
    UnitError
        No length, a unit that is no length, zero or negative, or a number read in two ways.
    """
    stripped = text.strip()
    if len(stripped) > _LONGEST_CELL:
        raise UnitError("is too long for a length")
    if stripped.startswith(("-", "−")):
        raise UnitError("is negative")
    terms = _length_terms(stripped, decimal_comma=decimal_comma)
    if len(terms) > 1 and any(unit is None for _, unit in terms):
        raise UnitError("has a number without a unit")
    sizes = [LENGTH_UNITS[unit or default_unit] for _, unit in terms]
    if sizes != sorted(set(sizes), reverse=True):
        raise UnitError("names its units in an order that has no meaning")
    total = sum((number * size for (number, _), size in zip(terms, sizes, strict=True)), Fraction())
    if total <= 0:
        raise UnitError("is zero")
    return float(total)


def _length_terms(text: str, *, decimal_comma: bool) -> list[tuple[Fraction, str | None]]:
    terms: list[tuple[Fraction, str | None]] = []
    at = 0
    while at < len(text):
        found = _TERM.match(text, at)
        if found is None:
            raise UnitError("is no length")
        word = (found[2] or "").lower().rstrip(".")
        if found[2] and word not in _WORDS:
            raise UnitError(f"has the unit '{found[2]}', which is no length")
        terms.append((_number(found[1], decimal_comma=decimal_comma), _WORDS.get(word)))
        at = found.end()
    if not terms:
        raise UnitError("is no length")
    return terms


def _number(text: str, *, decimal_comma: bool) -> Fraction:
    """A plain, mixed or common-fraction number; a comma is a decimal where the shop says so."""
    if "/" in text:
        whole, _, fraction = text.rpartition(" ")
        top, bottom = fraction.split("/")
        if int(bottom) == 0:
            raise UnitError("divides by zero")
        return Fraction(int(whole or 0)) + Fraction(int(top), int(bottom))
    plain = text.replace(",", ".") if decimal_comma and text.count(",") == 1 else text
    if "," in plain or plain.count(".") > 1:
        raise UnitError("has a comma or point that can be read in two ways")
    return Fraction(plain if plain[0] != "." else "0" + plain)


def parse_area(text: str, default_unit: str, *, decimal_comma: bool = False) -> float:
    """Read an area, 0 or more, in the shop's area unit or with its unit. [m²]

    Raises
    ------
    UnitError
        No number, a unit that is no area, or negative.
    """
    stripped = text.strip()
    if stripped.startswith(("-", "−")):
        raise UnitError("is negative")
    found = re.fullmatch(rf"({_NUMBER})\s*([A-Za-z²2 ]*)\.?", stripped[: _LONGEST_CELL + 1])
    if found is None or len(stripped) > _LONGEST_CELL:
        raise UnitError("is no area")
    word = " ".join(found[2].lower().split())
    if word and word not in _AREA_WORDS:
        raise UnitError(f"has the unit '{found[2].strip()}', which is no area")
    unit = _AREA_WORDS[word] if word else default_unit
    return float(_number(found[1], decimal_comma=decimal_comma) * AREA_UNITS[unit])


def metres_per(unit: str) -> float:
    """Metres in one of the length unit. [m]"""
    return float(LENGTH_UNITS[unit])


def square_metres_per(unit: str) -> float:
    """Square metres in one of the area unit. [m²]"""
    return float(AREA_UNITS[unit])
