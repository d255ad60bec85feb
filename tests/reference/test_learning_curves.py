"""Wright's learning curve against published tables.

Wright's curve is of the average of all units: on an 80 % curve two units take 160 hours where the
first took 100, so that the second takes 60. (Crawford's is of the unit: there the second takes 80.)
"""

from __future__ import annotations

import numpy as np
import pytest

from analysis.findings.learning import wright_average_factor, wright_unit_factor
from tests.reference.published import Figures, published
from tests.reference.sources import STUDY_TEXT, WRIGHT_MANUAL, WRIGHT_TABLES

UNITS = np.array([1, 2, 3, 4, 5, 6, 8, 10, 20, 50, 100])


@published(WRIGHT_MANUAL, "ca_unit(), example")
def test_time_of_one_unit(figures: Figures) -> None:
    what = "Time of unit 2,200 at 88.5 %, the first 110"
    figures.add(what, 110 * wright_unit_factor(2200, 0.885), "23.34001", 5e-6)


@published(STUDY_TEXT, "page 324")
def test_averages_totals_and_blocks(figures: Figures) -> None:
    """The first unit 100 hours, 80 %.

    The source prints 254.76 for the last block; 655.36 − 409.60 is 245.76, and so is its own
    average of 30.72 × 8: a misprint.
    """
    units = np.array([1, 2, 4, 8, 16])
    average = 100 * wright_average_factor(units, 0.8)
    what = "of 1, 2, 4, 8 and 16 units, 80 %, the first 100 h"
    figures.table(f"Average time {what}", average, [100, 80, 64, 51.2, 40.96], 1e-9)
    total = average * units
    figures.table(f"Total time {what}", total, [100, 160, 256, 409.6, 655.36], 1e-9)
    of_units = 100 * wright_unit_factor(np.arange(1, 17), 0.8)
    blocks = np.add.reduceat(of_units, [0, 1, 2, 4, 8])
    what = "of the units that each doubling adds, 80 %"
    figures.table(f"Time {what}", blocks[:4], [100, 60, 96, 153.6], 1e-9)
    last = "Time of units 9 to 16, 80 % (printed 254.76, a misprint)"
    figures.add(last, blocks[4], "245.76", 1e-9, seen="recomputed")
    average = blocks / [1, 1, 2, 4, 8]
    figures.table(f"Average time {what}", average, [100, 60, 48, 38.4, 30.72], 1e-9)


# By learning rate: factors of one unit, and of all units up to it, for the numbers of `UNITS`.
FACTORS = {
    0.80: (
        [1, 0.6, 0.5063, 0.4537, 0.4182, 0.3919, 0.3546, 0.3286, 0.2606, 0.1931, 0.1542],
        [1, 1.6, 2.1063, 2.56, 2.9782, 3.3701, 4.096, 4.7651, 7.6242, 14.1914, 22.7062],
    ),
    0.85: (
        [1, 0.7, 0.6187, 0.5713, 0.5384, 0.5135, 0.4774, 0.4516, 0.3815, 0.3066, 0.2603],
        [1, 1.7, 2.3187, 2.89, 3.4284, 3.9419, 4.913, 5.8282, 9.9079, 19.9812, 33.968],
    ),
    0.90: (
        [1, 0.8, 0.7386, 0.7014, 0.6749, 0.6546, 0.6244, 0.6023, 0.5399, 0.4686, 0.4214],
        [1, 1.8, 2.5386, 3.24, 3.9149, 4.5695, 5.832, 7.0469, 12.6844, 27.5881, 49.6585],
    ),
}


@published(WRIGHT_TABLES, "80, 85 and 90 %, units 1 to 100", "recomputed")
def test_factor_tables(figures: Figures) -> None:
    """Computed anew with an independent routine to 4 decimals; textbooks print the like.

    Of those, the tables of 80 and 90 % for Crawford's curve were known from memory.
    """
    for rate, (unit, total) in FACTORS.items():
        what = f"factors at {rate:.0%}"
        figures.table(f"Unit {what}", wright_unit_factor(UNITS, rate), unit, 6e-5)
        cumulated = UNITS * wright_average_factor(UNITS, rate)
        figures.table(f"Cumulated {what}", cumulated, total, 6e-5)


def test_a_rate_of_one_is_no_learning() -> None:
    assert wright_unit_factor(UNITS, 1.0) == pytest.approx(1.0)


@pytest.mark.parametrize(("unit", "rate"), [(2, 0.5), (2, 0.3), (0, 0.8)])
def test_what_no_curve_can_be_of(unit: int, rate: float) -> None:
    with pytest.raises(ValueError, match=r"over 0\.5|from 1"):
        wright_unit_factor(unit, rate)
    with pytest.raises(ValueError, match=r"over 0\.5|from 1"):
        wright_average_factor(unit, rate)
