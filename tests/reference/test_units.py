"""Exact units.

Source: NIST Special Publication 811 (Thompson and Taylor, 2008), appendix B, exact factors;
international yard and pound agreement of 1959.
"""

from fractions import Fraction

import pytest

from analysis.units import AREA_UNITS, LENGTH_UNITS, parse_length

FACTORS = {
    "in": Fraction(127, 5000),
    "ft": Fraction(381, 1250),
    "yd": Fraction(1143, 1250),
}
AREAS = {
    "sq in": Fraction(16129, 25_000_000),
    "sq ft": Fraction(145161, 1_562_500),
    "sq yd": Fraction(1306449, 1_562_500),
}


def test_factors_are_exact() -> None:
    assert {unit: LENGTH_UNITS[unit] for unit in FACTORS} == FACTORS
    assert {unit: AREA_UNITS[unit] for unit in AREAS} == AREAS


@pytest.mark.parametrize(
    ("width", "length", "square_feet"),
    [("60 in", "50 yd", 750), ("54 in", "12.5 yd", 168.75)],
)
def test_linear_yards_of_a_roll(width: str, length: str, square_feet: float) -> None:
    area = parse_length(width, "m") * parse_length(length, "m")
    assert area / float(AREA_UNITS["sq ft"]) == pytest.approx(square_feet, rel=1e-14)
