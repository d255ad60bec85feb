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

from analysis.arrays import Array, Codes
from analysis.findings.mixed import Fit, Sums, fit_reml, take_sums
from analysis.findings.mixed_effects import Combinations, effects, posterior
from tests.reference.published import Figures, published
from tests.reference.sources import BRUNE, EFRON, LME4, NIST

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


@published(LME4, "Dyestuff, REML")
def test_dyestuff(figures: Figures) -> None:
    """Read: criterion and variance of the batches (lme4's REML tests); the rest from the refit."""
    sums, fit = one_way("dyestuff", "by_batch")
    figures.add("Dyestuff: REML criterion", fit.criterion, "319.654276842342", 1e-8)
    figures.add("Dyestuff: variance between batches", fit.sds[0] ** 2, "1764.05", 1e-3)
    figures.seen = "recomputed"
    figures.add("Dyestuff: variance within batches", fit.noise_sd**2, "2451.25", 1e-3)
    figures.add("Dyestuff: sd between batches", fit.sds[0], "42.0006", 5e-5)
    figures.add("Dyestuff: sd within batches", fit.noise_sd, "49.5101", 5e-5)
    figures.add("Dyestuff: mean", fit.fixed[0], "1527.5", 1e-3)
    figures.add("Dyestuff: standard error of the mean", standard_errors(fit)[0], "19.38341", 5e-6)
    predicted = [-17.60685, 0.39126, 28.56223, -23.08454, 56.73319, -44.99529]
    ours = effects(sums, fit.relative)[0][0]
    figures.table("Dyestuff: effects of the batches", ours, predicted, 5e-5)
    # The mean squares of the analysis of variance are 11271.5 and 2451.25.
    expected = f"{(11271.5 - 2451.25) / 5:.2f}"
    what = "Dyestuff: (mean square between − within) ÷ 5"
    figures.add(what, fit.sds[0] ** 2, expected, 1.7e-3)


@published(LME4, "Dyestuff2")
def test_dyestuff2_has_a_variance_of_exactly_nothing(figures: Figures) -> None:
    """Read: relative sd 0 (by maximum likelihood); the figures by REML are from the refit."""
    sums, fit = one_way("dyestuff2", "by_batch")
    assert fit.relative[0] == 0
    figures.add("Dyestuff2: relative sd between batches", fit.relative[0], "0.0")
    assert fit.sds[0] == 0
    assert (effects(sums, fit.relative)[0][0] == 0).all()
    figures.seen = "recomputed"
    figures.add("Dyestuff2: REML criterion", fit.criterion, "161.828278", 5e-7)
    figures.add("Dyestuff2: sd within batches", fit.noise_sd, "3.715684", 5e-7)
    figures.add("Dyestuff2: mean", fit.fixed[0], "5.6656", 1e-10)
    figures.add("Dyestuff2: standard error of the mean", standard_errors(fit)[0], "0.678388", 5e-7)


# The factors of a crossed design, each as the nested factor or as a crossed one.
WAYS = {
    "plate nested": (("plate",), ("sample",)),
    "sample nested": (("sample",), ("plate",)),
    "both crossed": ((), ("plate", "sample")),
}


@published(LME4, "Penicillin, REML", "recomputed")
def test_penicillin(figures: Figures) -> None:
    """REML 330.8606 and its sds from the refit; those of lme4's teaching material from memory."""
    y, plate, sample = within("penicillin", "by_plate")
    codes = {"plate": plate, "sample": sample}
    for way, (nested, crossed) in WAYS.items():
        sums = take_sums(
            y, one_mean(y), [codes[each] for each in nested], [codes[each] for each in crossed]
        )
        fit = fit_reml(sums)
        sds = dict(zip((*nested, *crossed), fit.sds, strict=True))
        levels = effects(sums, fit.relative)[0] if nested else ()
        found = dict(zip((*nested, *crossed), (*levels, *fit.crossed_effects), strict=True))
        what = f"Penicillin, {way}"
        figures.add(f"{what}: REML criterion", fit.criterion, "330.86059", 5e-6)
        figures.add(f"{what}: sd between plates", sds["plate"], "0.8467", 5e-5)
        figures.add(f"{what}: sd between samples", sds["sample"], "1.93156", 5e-5)
        figures.add(f"{what}: sd of the rest", fit.noise_sd, "0.54992", 5e-6)
        figures.add(f"{what}: mean", fit.fixed[0], "22.97222", 5e-6)
        figures.add(f"{what}: error of the mean", standard_errors(fit)[0], "0.80857", 5e-5)
        predicted = [2.18706, -1.01048, 1.9379, -0.0969, -0.01384, -3.00374]
        figures.table(f"{what}: effects of the samples", found["sample"], predicted, 5e-5)


def sleep() -> tuple[Array, Array, Codes, Array]:
    """Reaction times; 1 and day; subject; and the day in the column of its subject."""
    y, subject, day = within("sleepstudy", "by_subject")
    slopes = np.where(subject[:, None] == np.arange(18), day[:, None], 0).astype(np.float64)
    return y, np.column_stack([np.ones(len(y)), day]), subject, slopes


def note(
    figures: Figures, what: str, fit: Fit, theirs: tuple[str, ...], sds: tuple[str, ...] = ()
) -> None:
    """Criterion, sd of the rest, intercept and slope as printed; then the sds of the factors.

    Each within half a digit of the last printed.
    """
    ours = (fit.criterion, fit.noise_sd, *fit.fixed)
    names = ("REML criterion", "sd of the rest", "intercept", "slope")
    printed = list(zip(names, ours, theirs, strict=True))
    factors = ("sd of the subjects", "sd of their slopes")
    printed += [(factors[at], fit.sds[at], each) for at, each in enumerate(sds)]
    for name, own, each in printed:
        figures.add(f"{what}: {name}", own, each, 0.5 * 10.0 ** -len(each.partition(".")[2]))


@published(LME4, "Sleepstudy, intercept by subject")
def test_sleepstudy_with_a_covariate(figures: Figures) -> None:
    """Read in a printed fit: 1786.465, 37.12, 30.99, 251.41, 10.47; further digits by a refit."""
    y, fixed, subject, _ = sleep()
    fit = fit_reml(take_sums(y, fixed, [subject]))
    note(figures, "Sleepstudy", fit, ("1786.465", "30.99", "251.41", "10.47"), ("37.12",))
    figures.seen = "recomputed"
    figures.add("Sleepstudy, refit: sd of the subjects", fit.sds[0], "37.124", 5e-4)
    figures.add("Sleepstudy, refit: sd of the rest", fit.noise_sd, "30.991", 5e-4)
    figures.add("Sleepstudy, refit: intercept", fit.fixed[0], "251.405", 5e-4)
    figures.add("Sleepstudy, refit: slope", fit.fixed[1], "10.4673", 5e-4)


@published(BRUNE, "Sleepstudy, first fit")
def test_sleepstudy_with_independent_slopes(figures: Figures) -> None:
    """The slopes are a crossed factor given by its weights.

    A free correlation of intercept and slope, 1743.6283 in lme4's tests, can only lower the
    criterion.
    """
    y, fixed, subject, slopes = sleep()
    nested = fit_reml(take_sums(y, fixed, [subject], [slopes]))
    crossed = fit_reml(take_sums(y, fixed, [], [subject, slopes]))
    for way, fit in (("nested", nested), ("crossed", crossed)):
        assert fit.criterion > 1743.6282722424
        what = f"Sleepstudy, independent slopes, subjects {way}"
        theirs = ("1743.669", "25.565", "251.41", "10.47")
        note(figures, what, fit, theirs, ("25.051", "5.988"))


@published(BRUNE, "Sleepstudy, second fit")
def test_sleepstudy_with_a_whole_subject_thrice_as_slow(figures: Figures) -> None:
    """The first subject's times × 3."""
    y, fixed, subject, slopes = sleep()
    fit = fit_reml(take_sums(np.where(subject == 0, 3 * y, y), fixed, [subject], [slopes]))
    theirs = ("1954.312", "40.66", "278.54", "12.89")
    note(figures, "Sleepstudy, one subject × 3", fit, theirs, ("119.77", "14.31"))


@published(BRUNE, "Sleepstudy, third fit")
def test_sleepstudy_where_both_variances_are_nothing(figures: Figures) -> None:
    """Every subject's fifth time × 3, which drowns what the subjects differ by."""
    y, fixed, subject, slopes = sleep()
    fit = fit_reml(take_sums(np.where(fixed[:, 1] == 4, 3 * y, y), fixed, [subject], [slopes]))
    assert list(fit.relative) == [0, 0]
    theirs = ("2371.468", "182.6", "324.880", "6.969")
    note(figures, "Sleepstudy, fifth times × 3", fit, theirs, ("0.000", "0.000"))


@published(NIST, "SiRstv, certified mean squares")
def test_resistivity_of_silicon(figures: Figures) -> None:
    """0.0127865654 (4 degrees of freedom) and 0.010831828 (20).

    Measured from 196, as below; from 0 the variance between instruments keeps four digits.
    """
    _, fit = one_way("SiRstv", "by_instrument", centre=196)
    figures.add("SiRstv: mean square within", fit.noise_sd**2, "0.010831828", 1e-8)
    between = (0.0127865654 - 0.010831828) / 5
    what = "SiRstv: variance between, (mean square − that within) ÷ 5"
    figures.add(what, fit.sds[0] ** 2, f"{between:.10f}", 3.9e-9, seen="recomputed")
    # From 0 as from 196: four digits of the sd.
    _, raw = one_way("SiRstv", "by_instrument")
    assert abs(raw.sds[0] / fit.sds[0] - 1) < 5e-4


@published(NIST, "AtmWtAg, certified sum of squares and mean square")
def test_atomic_weight_of_silver(figures: Figures) -> None:
    """Sum of squares 3.638341875e-9 between, mean square 2.28155932971014e-10 within.

    The measurements agree to seven digits, so that sums of squares of the numbers as they stand
    hold nothing else; they are measured from 107.868, which changes neither variance.
    """
    _, fit = one_way("AtmWtAg", "by_instrument", centre=107.868)
    what = "AtmWtAg: mean square within"
    figures.add(what, fit.noise_sd**2, "2.28155932971014e-10", 2.2e-16)
    between = (3.638341875e-09 - 2.28155932971014e-10) / 24
    what = "AtmWtAg: variance between, (mean square − that within) ÷ 24"
    figures.add(what, fit.sds[0] ** 2, f"{between:.6e}", 1.4e-15, seen="recomputed")


@published(EFRON, "eighteen batting averages", "from memory")
def test_batting_averages_are_pulled_towards_their_mean(figures: Figures) -> None:
    """Each average is pulled to .265 by a factor of .212."""
    average = np.array(DATA["batting"]["hits"]) / DATA["batting"]["at_bats"]
    players = np.arange(18, dtype=np.int64)
    sums = take_sums(average, one_mean(average), [players])
    # One average a player: a relative sd of √(c ÷ (1 - c)) keeps c of its distance.
    relative = np.array([np.sqrt(0.212 / (1 - 0.212))])
    targets = Combinations((np.eye(18),), np.ones((18, 1)), np.zeros((18, 1)))
    # fmt: off
    printed = [
        0.294, 0.289, 0.285, 0.280, 0.275, 0.275, 0.270, 0.266, 0.261,
        0.261, 0.256, 0.256, 0.256, 0.256, 0.256, 0.252, 0.247, 0.242,
    ]
    # fmt: on
    ours = posterior(sums, relative, targets).mean
    figures.table("Batting averages drawn to their mean by .212", ours, printed, 6e-4)
