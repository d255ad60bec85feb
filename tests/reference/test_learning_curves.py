"""Wright's learning curve against published tables.

Wright's curve is of the average of all units: on an 80 % curve two units take 160 hours where the
first took 100, so that the second takes 60. (Crawford's is of the unit: there the second takes 80.)
"""

import numpy as np
import pytest

from analysis.findings.learning import wright_average_factor, wright_unit_factor

UNITS = np.array([1, 2, 3, 4, 5, 6, 8, 10, 20, 50, 100])


def test_time_of_one_unit() -> None:
    """learningCurve, reference manual 1.1.2 (Air Force Institute of Technology), ca_unit()."""
    assert 110 * wright_unit_factor(2200, 0.885) == pytest.approx(23.34001, abs=5e-6)


def test_averages_totals_and_blocks() -> None:
    """A study text for accountants, chapter 15, page 324: the first unit 100 hours, 80 %.

    The source prints 254.76 for the last block; 655.36 − 409.60 is 245.76, and so is its own
    average of 30.72 × 8: a misprint.
    """
    units = np.array([1, 2, 4, 8, 16])
    average = 100 * wright_average_factor(units, 0.8)
    assert average == pytest.approx([100, 80, 64, 51.2, 40.96], abs=1e-9)
    total = average * units
    assert total == pytest.approx([100, 160, 256, 409.6, 655.36], abs=1e-9)
    of_units = 100 * wright_unit_factor(np.arange(1, 17), 0.8)
    blocks = np.add.reduceat(of_units, [0, 1, 2, 4, 8])
    assert blocks == pytest.approx([100, 60, 96, 153.6, 245.76], abs=1e-9)
    assert blocks / [1, 1, 2, 4, 8] == pytest.approx([100, 60, 48, 38.4, 30.72], abs=1e-9)


@pytest.mark.parametrize(
    ("rate", "unit", "total"),
    [
        (
            0.80,
            [1, 0.6, 0.5063, 0.4537, 0.4182, 0.3919, 0.3546, 0.3286, 0.2606, 0.1931, 0.1542],
            [1, 1.6, 2.1063, 2.56, 2.9782, 3.3701, 4.096, 4.7651, 7.6242, 14.1914, 22.7062],
        ),
        (
            0.85,
            [1, 0.7, 0.6187, 0.5713, 0.5384, 0.5135, 0.4774, 0.4516, 0.3815, 0.3066, 0.2603],
            [1, 1.7, 2.3187, 2.89, 3.4284, 3.9419, 4.913, 5.8282, 9.9079, 19.9812, 33.968],
        ),
        (
            0.90,
            [1, 0.8, 0.7386, 0.7014, 0.6749, 0.6546, 0.6244, 0.6023, 0.5399, 0.4686, 0.4214],
            [1, 1.8, 2.5386, 3.24, 3.9149, 4.5695, 5.832, 7.0469, 12.6844, 27.5881, 49.6585],
        ),
    ],
)
def test_factor_tables(rate: float, unit: list[float], total: list[float]) -> None:
    """The columns for Wright's curve of the usual coefficient tables.

    Computed anew with an independent routine to 4 decimals; the tables of textbooks in operations
    management print the like (of those, 80 and 90 % of Crawford's curve were known from memory).
    """
    assert wright_unit_factor(UNITS, rate) == pytest.approx(unit, abs=6e-5)
    assert UNITS * wright_average_factor(UNITS, rate) == pytest.approx(total, abs=6e-5)


def test_a_rate_of_one_is_no_learning() -> None:
    assert wright_unit_factor(UNITS, 1.0) == pytest.approx(1.0)


@pytest.mark.parametrize(("unit", "rate"), [(2, 0.5), (2, 0.3), (0, 0.8)])
def test_what_no_curve_can_be_of(unit: int, rate: float) -> None:
    with pytest.raises(ValueError, match=r"over 0\.5|from 1"):
        wright_unit_factor(unit, rate)
    with pytest.raises(ValueError, match=r"over 0\.5|from 1"):
        wright_average_factor(unit, rate)
