"""Straight lines and steps against published figures."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analysis.findings.film_trends import LEAST_STRETCH, best_stretches, least_squares
from analysis.findings.mixed import Array

# NIST StRD, Norris (linear regression, lower difficulty): a U.S. government data set, read in the
# file that ships with a general-purpose numerical library.
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
# Annual flow of the Nile at Aswan 1871-1970, 10^8 m3: Cobb (1978), Biometrika 65:243-251, table 1;
# typed from memory and compared with a public copy.
NILE = np.array(
    [1120, 1160, 963, 1210, 1160, 1160, 813, 1230, 1370, 1140, 995, 935, 1110, 994, 1020, 960]
    + [1180, 799, 958, 1140, 1100, 1210, 1150, 1250, 1260, 1220, 1030, 1100, 774, 840, 874, 694]
    + [940, 833, 701, 916, 692, 1020, 1050, 969, 831, 726, 456, 824, 702, 1120, 1100, 832, 764]
    + [821, 768, 845, 864, 862, 698, 845, 744, 796, 1040, 759, 781, 865, 845, 944, 984, 897, 822]
    + [1010, 771, 676, 649, 846, 812, 742, 801, 1040, 860, 874, 848, 890, 744, 749, 838, 1050]
    + [918, 986, 797, 923, 975, 815, 1020, 906, 901, 1170, 912, 746, 919, 718, 714, 740],
    dtype=np.float64,
)


def test_norris() -> None:
    """Certified values of NIST StRD, Norris."""
    line = least_squares(np.column_stack([np.ones(36), NORRIS_X]), NORRIS_Y)
    assert line.coefficients == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-9)
    errors = np.sqrt(np.diagonal(line.covariance))
    assert errors == pytest.approx([0.232818234301152, 0.000429796848199937], rel=1e-9)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)
    assert line.free == 34


def test_the_nile_fell_after_1898() -> None:
    """The break after the 28th year, and the two means (Cobb 1978; the means from memory)."""
    assert NILE.mean() == pytest.approx(919.35)
    found = best_stretches(NILE, np.arange(100), 3)
    assert found[1][1].tolist() == [28]
    assert NILE[:28].mean() == pytest.approx(1097.75)
    assert NILE[28:].mean() == pytest.approx(849.9722, abs=1e-4)
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
