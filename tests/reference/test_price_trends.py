"""Straight lines and steps against published figures."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analysis.arrays import Array
from analysis.findings.film_trends import LEAST_STRETCH, best_stretches, least_squares
from tests.reference.published import Figures, published
from tests.reference.sources import COBB, NIST, OPENSTAX_2

# Norris (linear regression, lower difficulty): a U.S. government data set, read in the file that
# ships with a general-purpose numerical library.
NORRIS_Y = np.array(
    [0.1, 338.8, 118.1, 888.0, 9.2, 228.1, 668.5, 998.5, 449.1, 778.9, 559.2, 0.3]
    + [0.1, 778.1, 668.8, 339.3, 448.9, 10.8, 557.7, 228.3, 998.0, 888.8, 119.6, 0.3]
    + [0.6, 557.6, 339.3, 888.0, 998.5, 778.9, 10.2, 117.6, 228.9, 668.4, 449.2, 0.2]
)
NORRIS_X = np.array(
    [0.2, 337.4, 118.2, 884.6, 10.1, 226.5, 666.3, 996.3, 448.6, 777.0, 558.2, 0.4]
    + [0.6, 775.5, 666.9, 338.0, 447.5, 11.6, 556.0, 228.1, 995.8, 887.6, 120.2, 0.3]
    + [0.3, 556.8, 339.1, 887.2, 999.0, 779.0, 11.1, 118.3, 229.2, 669.1, 448.9, 0.5]
)
# Annual flow of the Nile at Aswan 1871-1970, 10^8 m3: typed from memory and compared with a public
# copy.
NILE = np.array(
    [1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960]
    + [1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694]
    + [940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764]
    + [821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822]
    + [1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050]
    + [918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740],
    dtype=np.float64,
)


@published(NIST, "Norris, certified values")
def test_norris(figures: Figures) -> None:
    line = least_squares(np.column_stack([np.ones(36), NORRIS_X]), NORRIS_Y)
    errors = np.sqrt(np.diagonal(line.covariance))
    for name, ours, theirs in (
        ("intercept", line.coefficients[0], "-0.262323073774029"),
        ("slope", line.coefficients[1], "1.00211681802045"),
        ("error of the intercept", errors[0], "0.232818234301152"),
        ("error of the slope", errors[1], "0.000429796848199937"),
        ("residual sd", line.residual_sd, "0.884796396144373"),
    ):
        figures.add(f"Norris: {name}", ours, theirs, 1e-9 * abs(float(theirs)))
    figures.add("Norris: degrees of freedom", line.free, 34)


@published(OPENSTAX_2, "section 2.3, maintenance of an airline")
def test_high_low_and_least_squares(figures: Figures) -> None:
    """The straight line through the highest and the lowest month, and through all six.

    May stands as 64,500 in one table of the source and as 64,520 elsewhere, of which 1.96 follows.
    """
    hours = np.array([21_000, 23_000, 14_000, 17_000, 10_000, 19_000], dtype=float)
    cost = np.array([84_000, 90_000, 70_500, 75_000, 64_520, 78_000], dtype=float)
    ends = [int(hours.argmax()), int(hours.argmin())]
    design = np.column_stack([np.ones(6), hours])
    line = least_squares(design[ends], cost[ends])
    figures.add("High-low: cost an hour", line.coefficients[1], "1.96", 1e-9)
    figures.add("High-low: fixed cost", line.coefficients[0], "44,920", 1e-6)
    for at, theirs in ((20_000, "84,120"), (30_000, "103,720"), (40_000, "123,320")):
        figures.add(f"High-low: cost of {at:,} hours", line.coefficients @ [1, at], theirs, 1e-6)
    figures.seen = "recomputed"
    line = least_squares(design, cost)
    figures.add("Least squares: cost an hour", line.coefficients[1], "1.89576470588", 1e-10)
    figures.add("Least squares: fixed cost", line.coefficients[0], "44143.4117647", 1e-6)


@published(COBB, "table 1; means from memory")
def test_the_nile_fell_after_1898(figures: Figures) -> None:
    """The break after the 28th year, and the two means."""
    assert NILE.mean() == pytest.approx(919.35)
    found = best_stretches(NILE, np.arange(100), 3)
    (after,) = found[1][1]
    figures.add("Nile: last year of the higher flow", 1871 + int(after) - 1, "1898", 0.1)
    figures.seen = "from memory"
    figures.add("Nile: mean flow up to it", NILE[:after].mean(), "1097.75")
    figures.add("Nile: mean flow after it", NILE[after:].mean(), "849.9722", 1e-4)
    both = ((NILE[:28] - 1097.75) ** 2).sum() + ((NILE[28:] - NILE[28:].mean()) ** 2).sum()
    assert found[1][0] == pytest.approx(both)
    # By the criterion of Schwarz with 3 log n a step, one break is the best number.
    score = [100 * np.log(squares / 100) + 3 * np.log(100) * len(at) for squares, at in found]
    assert int(np.argmin(score)) == 1


def squares_of(y: Array, day: Array, starts: tuple[int, ...]) -> float:
    stretch = np.searchsorted(starts, day, side="right")
    return float(sum(((y[stretch == at] - y[stretch == at].mean()) ** 2).sum() for at in
                     range(len(starts) + 1)))  # fmt: skip


@pytest.mark.parametrize("seed", range(5))
def test_the_best_of_all_stretches(seed: int) -> None:
    """Against every way of cutting ten days with one to three prices each into stretches."""
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(10), rng.integers(1, 4, 10))
    y = rng.normal(size=len(day)) + (day > 4)
    for steps, (squares, starts) in enumerate(best_stretches(y, day, 3)):
        allowed = [
            each
            for each in itertools.combinations(range(10), steps)
            if np.all(np.diff([0, *each, 10]) >= LEAST_STRETCH)
        ]
        best = min(allowed, key=lambda each: squares_of(y, day, each))
        assert squares == pytest.approx(squares_of(y, day, best))
        assert tuple(starts) == best
