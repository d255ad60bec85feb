"""Mixed models against published fits.

The data of each are in `mixed_models.json`, with their source. Where not said otherwise the fit is
that of the test suites of lme4 and MixedModels.jl (Bates, Mächler, Bolker and Walker), read there;
digits that those do not give come from a refit with a general-purpose likelihood routine.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from analysis.findings.mixed import (
    Array,
    Codes,
    Fit,
    Sums,
    Targets,
    effects,
    fit_reml,
    posterior,
    take_sums,
)

DATA: dict[str, Any] = json.loads(
    Path(__file__).with_name("mixed_models.json").read_text(encoding="utf-8")
)


def grouped(name: str, by: str) -> tuple[Array, Codes]:
    """The measurements, one after another, and the code of the group of each."""
    groups = list(DATA[name][by].values())
    code = np.repeat(np.arange(len(groups)), [len(each) for each in groups])
    return np.concatenate(groups).astype(np.float64), code.astype(np.int64)


def within(name: str, by: str) -> tuple[Array, Codes, Codes]:
    """The same, and the place of each measurement in its group."""
    y, code = grouped(name, by)
    size = len(next(iter(DATA[name][by].values())))
    return y, code, np.tile(np.arange(size, dtype=np.int64), len(y) // size)


def one_mean(y: Array) -> Array:
    return np.ones((len(y), 1))


def standard_errors(fit: Fit) -> Array:
    return np.sqrt(np.diagonal(fit.fixed_covariance))


def one_way(name: str, by: str, centre: float = 0.0) -> tuple[Sums, Fit]:
    y, group = grouped(name, by)
    sums = take_sums(y - centre, one_mean(y), [group])
    return sums, fit_reml(sums)


def test_dyestuff() -> None:
    """Read: the criterion and the batches' variance, 1764.05 (lme4's REML tests)."""
    sums, fit = one_way("dyestuff", "by_batch")
    assert fit.criterion == pytest.approx(319.654276842342, abs=1e-8)
    assert fit.sds[0] ** 2 == pytest.approx(1764.05, abs=1e-3)
    assert fit.noise_sd**2 == pytest.approx(2451.25, abs=1e-3)
    assert fit.sds[0] == pytest.approx(42.0006, abs=5e-5)
    assert fit.noise_sd == pytest.approx(49.5101, abs=5e-5)
    assert fit.fixed == pytest.approx([1527.5])
    assert standard_errors(fit) == pytest.approx([19.38341], abs=5e-6)
    predicted = [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529]
    assert effects(sums, fit.relative)[0][0] == pytest.approx(predicted, abs=5e-5)


def test_a_balanced_fit_is_the_analysis_of_variance() -> None:
    """Dyestuff: (mean square between - within) ÷ 5, with 11271.5 and 2451.25 published."""
    _, fit = one_way("dyestuff", "by_batch")
    assert fit.sds[0] ** 2 == pytest.approx((11271.5 - 2451.25) / 5, rel=1e-6)


def test_dyestuff2_has_a_variance_of_exactly_nothing() -> None:
    """Read: relative sd 0 (by maximum likelihood); the figures by REML are from the refit."""
    sums, fit = one_way("dyestuff2", "by_batch")
    assert fit.relative[0] == 0
    assert fit.sds[0] == 0
    assert fit.criterion == pytest.approx(161.828278, abs=5e-7)
    assert fit.noise_sd == pytest.approx(3.715684, abs=5e-7)
    assert fit.fixed == pytest.approx([5.6656], abs=1e-10)
    assert standard_errors(fit) == pytest.approx([0.678388], abs=5e-7)
    assert (effects(sums, fit.relative)[0][0] == 0).all()


# The factors of a crossed design, each as the nested factor or as a crossed one.
WAYS = {
    "plate nested": (("plate",), ("sample",)),
    "sample nested": (("sample",), ("plate",)),
    "both crossed": ((), ("plate", "sample")),
}


@pytest.mark.parametrize("way", WAYS)
def test_penicillin(way: str) -> None:
    """REML 330.8606 and its sds from the refit; those of lme4's teaching material from memory."""
    y, plate, sample = within("penicillin", "by_plate")
    codes = {"plate": plate, "sample": sample}
    nested, crossed = WAYS[way]
    sums = take_sums(
        y, one_mean(y), [codes[each] for each in nested], [codes[each] for each in crossed]
    )
    fit = fit_reml(sums)
    sds = dict(zip((*nested, *crossed), fit.sds, strict=True))
    assert fit.criterion == pytest.approx(330.86059, abs=5e-6)
    assert sds["plate"] == pytest.approx(0.8467, abs=5e-5)
    assert sds["sample"] == pytest.approx(1.93156, abs=5e-5)
    assert fit.noise_sd == pytest.approx(0.54992, abs=5e-6)
    assert fit.fixed == pytest.approx([22.97222], abs=5e-6)
    assert standard_errors(fit) == pytest.approx([0.80857], abs=5e-5)
    predicted = [2.18706, -1.01048, 1.9379, -0.0969, -0.01384, -3.00374]
    levels = effects(sums, fit.relative)[0] if nested else ()
    found = dict(zip((*nested, *crossed), (*levels, *fit.crossed_effects), strict=True))
    assert found["sample"] == pytest.approx(predicted, abs=5e-5)


def sleep() -> tuple[Array, Array, Codes, Array]:
    """Reaction times; 1 and day; subject; and the day in the column of its subject."""
    y, subject, day = within("sleepstudy", "by_subject")
    slopes = np.where(subject[:, None] == np.arange(18), day[:, None], 0).astype(np.float64)
    return y, np.column_stack([np.ones(len(y)), day]), subject, slopes


def test_sleepstudy_with_a_covariate() -> None:
    """Read in a printed fit: 1786.465, 37.12, 30.99, 251.41, 10.47."""
    y, fixed, subject, _ = sleep()
    fit = fit_reml(take_sums(y, fixed, [subject]))
    assert fit.criterion == pytest.approx(1786.465, abs=5e-4)
    assert fit.sds[0] == pytest.approx(37.124, abs=5e-4)
    assert fit.noise_sd == pytest.approx(30.991, abs=5e-4)
    assert fit.fixed == pytest.approx([251.405, 10.4673], abs=5e-4)


@pytest.mark.parametrize("intercepts", ["nested", "crossed"])
def test_sleepstudy_with_independent_slopes(intercepts: str) -> None:
    """Read in the printed fit that comes with Brune, Ortner and Filzmoser (2024).

    The slopes are a crossed factor given by its weights. A free correlation of intercept and slope,
    1743.6283 in lme4's tests, can only lower the criterion.
    """
    y, fixed, subject, slopes = sleep()
    one = [subject]
    sums = (
        take_sums(y, fixed, one, [slopes])
        if intercepts == "nested"
        else take_sums(y, fixed, [], [subject, slopes])
    )
    fit = fit_reml(sums)
    assert fit.criterion == pytest.approx(1743.669, abs=5e-4)
    assert fit.criterion > 1743.6282722424
    assert fit.sds == pytest.approx([25.051, 5.988], abs=5e-4)
    assert fit.noise_sd == pytest.approx(25.565, abs=5e-4)
    assert fit.fixed == pytest.approx([251.41, 10.47], abs=5e-3)


def test_sleepstudy_with_a_whole_subject_thrice_as_slow() -> None:
    """The second printed fit of Brune, Ortner and Filzmoser: the first subject's times × 3."""
    y, fixed, subject, slopes = sleep()
    fit = fit_reml(take_sums(np.where(subject == 0, 3 * y, y), fixed, [subject], [slopes]))
    assert fit.criterion == pytest.approx(1954.312, abs=5e-4)
    assert fit.sds == pytest.approx([119.77, 14.31], abs=5e-3)
    assert fit.noise_sd == pytest.approx(40.66, abs=5e-3)
    assert fit.fixed == pytest.approx([278.54, 12.89], abs=5e-3)


def test_sleepstudy_where_both_variances_are_nothing() -> None:
    """The third: every subject's fifth time × 3, which drowns what the subjects differ by."""
    y, fixed, subject, slopes = sleep()
    fit = fit_reml(take_sums(np.where(fixed[:, 1] == 4, 3 * y, y), fixed, [subject], [slopes]))
    assert list(fit.relative) == [0, 0]
    assert fit.criterion == pytest.approx(2371.468, abs=5e-4)
    assert fit.noise_sd == pytest.approx(182.6, abs=5e-2)
    assert fit.fixed == pytest.approx([324.880, 6.969], abs=5e-4)


def test_resistivity_of_silicon() -> None:
    """Certified mean squares 0.0127865654 (4 degrees of freedom) and 0.010831828 (20).

    Measured from 196, as below; from 0 the variance between instruments keeps four digits.
    """
    _, fit = one_way("SiRstv", "by_instrument", centre=196)
    assert fit.noise_sd**2 == pytest.approx(0.010831828, rel=1e-6)
    assert fit.sds[0] ** 2 == pytest.approx((0.0127865654 - 0.010831828) / 5, rel=1e-5)
    _, raw = one_way("SiRstv", "by_instrument")
    assert raw.sds[0] == pytest.approx(fit.sds[0], rel=5e-4)


def test_atomic_weight_of_silver() -> None:
    """Certified sum of squares 3.638341875e-9 between, mean square 2.28155932971014e-10 within.

    The measurements agree to seven digits, so that sums of squares of the numbers as they stand
    hold nothing else; they are measured from 107.868, which changes neither variance.
    """
    _, fit = one_way("AtmWtAg", "by_instrument", centre=107.868)
    assert fit.noise_sd**2 == pytest.approx(2.28155932971014e-10, rel=1e-6)
    between = (3.638341875e-09 - 2.28155932971014e-10) / 24
    assert fit.sds[0] ** 2 == pytest.approx(between, rel=1e-5)


def test_batting_averages_are_pulled_towards_their_mean() -> None:
    """Published: each average is pulled to .265 by a factor of .212 (values: from memory)."""
    average = np.array(DATA["batting"]["hits"]) / DATA["batting"]["at_bats"]
    players = np.arange(18, dtype=np.int64)
    sums = take_sums(average, one_mean(average), [players])
    # One average a player: a relative sd of √(c ÷ (1 - c)) keeps c of its distance.
    relative = np.array([np.sqrt(0.212 / (1 - 0.212))])
    targets = Targets((np.eye(18),), np.ones((18, 1)), np.zeros((18, 1)))
    # fmt: off
    published = [
        0.294, 0.289, 0.285, 0.280, 0.275, 0.275, 0.270, 0.266, 0.261,
        0.261, 0.256, 0.256, 0.256, 0.256, 0.256, 0.252, 0.247, 0.242,
    ]
    # fmt: on
    assert posterior(sums, relative, targets).mean == pytest.approx(published, abs=6e-4)
