"""Exact units."""

from __future__ import annotations

from fractions import Fraction

from analysis.units import AREA_UNITS, LENGTH_UNITS, parse_area, parse_length
from tests.reference.published import Figures, published
from tests.reference.sources import NIST_811, SI, YARD

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


@published(NIST_811, "appendix B.8", "recomputed")
def test_lengths_and_areas(figures: Figures) -> None:
    """The tables could not be read; the factors are quoted in many places and follow from 0.0254 m.

    The square yard is printed rounded.
    """
    for unit, metres in (("in", "2.54e-02"), ("ft", "3.048e-01"), ("yd", "9.144e-01")):
        figures.add(f"1 {unit}, m", parse_length(f"1 {unit}", "m"), metres)
    for unit, area in (("sq in", "6.4516e-04"), ("sq ft", "9.290304e-02")):
        figures.add(f"1 {unit}, m²", parse_area(f"1 {unit}", "m2"), area)
    figures.add("1 sq yd, m²", parse_area("1 sq yd", "m2"), "8.361274e-01", 5e-8)


@published(YARD, "the yard")
def test_the_yard(figures: Figures) -> None:
    figures.add("1 yd, m", LENGTH_UNITS["yd"], "0.9144")
    figures.add("1 yd, ft", LENGTH_UNITS["yd"] / LENGTH_UNITS["ft"], "3", seen="from memory")
    figures.add("1 ft, in", LENGTH_UNITS["ft"] / LENGTH_UNITS["in"], "12", seen="from memory")


@published(SI, "prefixes centi and milli", "from memory")
def test_metric_units(figures: Figures) -> None:
    figures.add("1 cm, m", parse_length("1 cm", "in"), "0.01")
    figures.add("1 mm, m", parse_length("1 mm", "in"), "0.001")
    figures.add("1 cm², m²", parse_area("1 cm2", "sq in"), "0.0001")


@published(NIST_811, "appendix B.8", "recomputed")
def test_linear_yards_of_a_roll(figures: Figures) -> None:
    for width, length, feet, metres in (
        ("60 in", "50 yd", "750", "69.67728"),
        ("54 in", "12.5 yd", "168.75", "15.677388"),
    ):
        area = parse_length(width, "m") * parse_length(length, "m")
        in_feet = area / float(AREA_UNITS["sq ft"])
        figures.add(f"{width} × {length}, sq ft", in_feet, feet, 1e-14 * float(feet))
        figures.add(f"{width} × {length}, m²", area, metres)
