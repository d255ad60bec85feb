"""Simulated hours of shops whose truth is known, and the rules that flag their models.

Shops are drawn with random effects of services, classes, models and people; a share of the models
runs over by 20 to 60 %. What each rule flags can then be held against what is true.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.random import Generator
from scipy.sparse import csr_array
from scipy.stats import t as student

from analysis.arrays import Array
from analysis.errors import Unavailable
from analysis.findings.flagging import flags, overrun_probability
from analysis.findings.hours_model import CLASS, MODEL, HoursData, HoursModel, fit_hours
from analysis.findings.mixed_effects import Combinations
from analysis.findings.pooling import group_targets, pooled_overruns, service_targets

TOLERANCE = 0.10
ERROR_RATE = 0.10
OVERRUN = (0.2, 0.6)
# What `rule_flags` compares, by its columns.
RULES = ("pooled", "each model alone", "naive")


@dataclass(frozen=True)
class Scenario:
    """What a kind of shop is like; standard deviations in logs of actual ÷ quoted hours.

    `overrunning` : share of the models that run over by 20 to 60 %; `model_sd` : how far the models
    differ otherwise; effects are cut off at `cut_at` standard deviations (a class or a service that
    is itself beyond the tolerance makes every model in it a true overrun). `tail` : degrees
    of freedom of the noise, which is normal where it is 0.
    """

    overrunning: float = 0.0
    model_sd: float = 0.0
    class_sd: float = 0.05
    service_sd: float = 0.05
    people_sd: float = 0.1
    noise_sd: float = 0.22
    lines: int = 240
    models: int = 60
    classes: int = 8
    services: int = 5
    people: int = 4
    cut_at: float = 3.0
    tail: int = 0


# Quotes that are right on the average, whatever the model: the effects cannot add to the tolerance.
NONE_OVER = Scenario(class_sd=0.025, service_sd=0.02, cut_at=2.0)
# Most models run as quoted, one in ten far over.
FEW_OVER = Scenario(overrunning=0.1)
# Every model differs, as the model of the hours has it.
NORMAL = Scenario(model_sd=0.12)


@dataclass(frozen=True, eq=False)
class Truth:
    """The true expected overruns of a simulated shop at its average crew. [share]

    `models` : on make and model, each at the mean of the services of its own lines; `classes` : the
    same with its models at the mean of all that could have been drawn; `services` : on the vehicles
    of all of the shop's lines.
    """

    models: pd.Series
    classes: pd.Series
    services: pd.Series


def simulated_shop(scenario: Scenario, seed: int) -> tuple[HoursData, Truth]:
    """The finished job lines of one shop and the truth about it.

    Jobs are skewed: about three on most models, twenty on a few. Three lines in ten are laid by two
    people. The expected ratio of actual to quoted hours is 1 where every effect is 0.
    """
    rng = np.random.default_rng([seed, scenario.lines, scenario.models])
    popularity = rng.gamma(0.8, 1.0, scenario.models) + 0.15
    model = rng.choice(scenario.models, scenario.lines, p=popularity / popularity.sum())
    class_of = rng.integers(0, scenario.classes, scenario.models)
    service = rng.integers(0, scenario.services, scenario.lines)
    model_effect, model_mean = _model_effects(scenario, rng)
    class_effect = _effects(scenario.class_sd, scenario.classes, scenario, rng)
    service_effect = _effects(scenario.service_sd, scenario.services, scenario, rng)
    crew = _crew(scenario, rng)
    # The quotes are made for the shop's average crew.
    person_effect = _effects(scenario.people_sd, scenario.people, scenario, rng)
    person_effect -= np.asarray(crew.mean(axis=0)) @ person_effect
    vehicle = (model_effect + class_effect[class_of])[model]
    by_line = service_effect[service] + vehicle
    log_ratio = by_line + crew @ person_effect + _noise(scenario, rng)
    lines = pd.DataFrame(
        {
            "service": _names("service", service),
            "vehicle_class": _names("class", class_of[model]),
            "make": "Make",
            "model": _names("model", model),
            "log_ratio": log_ratio,
        }
    )
    people = pd.Index(_names("person", np.arange(scenario.people)))
    of_service = pd.Series(service_effect[service])
    of_class = class_effect[class_of[model]]
    truth = Truth(
        _overrun(pd.Series(by_line), lines, ["make", "model"]),
        _overrun(of_service + of_class + model_mean, lines, ["vehicle_class"]),
        _overrun(of_service + vehicle.mean(), lines, ["service"]),
    )
    return HoursData(lines, crew, people, 0), truth


def _effects(sd: float, number: int, scenario: Scenario, rng: Generator) -> Array:
    return np.asarray(rng.normal(0, 1, number).clip(-scenario.cut_at, scenario.cut_at) * sd)


def _model_effects(scenario: Scenario, rng: Generator) -> tuple[Array, float]:
    """Effects of the models, and the mean of all that could have been drawn."""
    effect = _effects(scenario.model_sd, scenario.models, scenario, rng)
    over = rng.choice(scenario.models, round(scenario.overrunning * scenario.models), replace=False)
    effect[over] += np.log1p(rng.uniform(*OVERRUN, len(over)))
    low, high = (1 + each for each in OVERRUN)
    # ∫ ln x dx = x ln x - x
    mean = (high * np.log(high) - low * np.log(low)) / (high - low) - 1
    return effect, float(mean * len(over) / scenario.models)


def _crew(scenario: Scenario, rng: Generator) -> csr_array:
    """Shares of each line's hours by person. (lines × people)"""
    first = rng.integers(0, scenario.people, scenario.lines)
    second = (first + rng.integers(1, scenario.people, scenario.lines)) % scenario.people
    share = np.where(rng.random(scenario.lines) < 0.3, rng.uniform(0.3, 0.7, scenario.lines), 1.0)
    rows = np.arange(scenario.lines)
    by_person = np.zeros((scenario.lines, scenario.people))
    by_person[rows, first] = share
    by_person[rows, second] += 1 - share
    return csr_array(by_person)


def _noise(scenario: Scenario, rng: Generator) -> Array:
    """Noise with an expected ratio of 1 (of a lognormal variable: Aitchison and Brown 1957)."""
    if scenario.tail:
        spread = np.sqrt(scenario.tail / (scenario.tail - 2))
        drawn = rng.standard_t(scenario.tail, scenario.lines) / spread
    else:
        drawn = rng.normal(0, 1, scenario.lines)
    return np.asarray(drawn * scenario.noise_sd - scenario.noise_sd**2 / 2)


def _names(word: str, number: np.ndarray) -> np.ndarray:
    return np.char.add(f"{word} ", np.char.zfill(number.astype(str), 3))


def _overrun(by_line: pd.Series, lines: pd.DataFrame, keys: list[str]) -> pd.Series:
    mean = by_line.groupby([lines[key] for key in keys]).mean()
    if len(keys) == 1:
        mean.index = pd.MultiIndex.from_arrays([mean.index], names=keys)
    return mean.map(np.expm1)


def fitted(data: HoursData) -> HoursModel:
    """The fitted hours of a shop that has enough of them."""
    model = fit_hours(data)
    assert not isinstance(model, Unavailable)
    return model


def alone_p_values(lines: pd.DataFrame, tolerance: float) -> pd.Series:
    """One-sided t-test of each model alone: log(actual ÷ quoted) over log(1 + tolerance).

    Missing for a model with one line, which has no spread.
    """
    grouped = lines.groupby(["make", "model"])["log_ratio"]
    number, spread = grouped.size(), grouped.std()
    away = (grouped.mean() - np.log1p(tolerance)) / (spread / np.sqrt(number))
    degrees = (number - 1).clip(lower=1)
    return pd.Series(student.sf(away, degrees), index=number.index).where(number > 1)


def benjamini_hochberg(p_values: pd.Series, error_rate: float) -> pd.Series:
    """Which hypotheses the step-up procedure rejects; a missing p-value is not counted.

    Benjamini and Hochberg (1995), Journal of the Royal Statistical Society B 57:289-300.
    """
    ordered = p_values.dropna().sort_values()
    rank = np.arange(1, len(ordered) + 1)
    under = np.flatnonzero(ordered.to_numpy() <= rank / max(len(ordered), 1) * error_rate)
    rejected = ordered.index[: under.max() + 1] if len(under) else ordered.index[:0]
    return pd.Series(p_values.index.isin(rejected), index=p_values.index)


def rule_flags(
    model: HoursModel, tolerance: float = TOLERANCE, error_rate: float = ERROR_RATE
) -> pd.DataFrame:
    """What each of `RULES` flags, on make and model.

    Pooled: `flags` of the package. Each model alone: its t-test, with Benjamini and Hochberg's
    procedure. Naive: its mean ratio is over the tolerance.
    """
    lines = model.data.lines
    ratio = np.exp(lines["log_ratio"]).groupby([lines["make"], lines["model"]]).mean()
    alone = benjamini_hochberg(alone_p_values(lines, tolerance), error_rate)
    pooled = flags(overrun_probability(model, tolerance), error_rate)
    return pd.DataFrame(
        {"pooled": pooled.astype(bool), "each model alone": alone, "naive": ratio > 1 + tolerance}
    )


def intervals(
    model: HoursModel, targets: tuple[pd.MultiIndex, Combinations], truth: pd.Series
) -> pd.DataFrame:
    """The pooled estimates beside the truth, and whether the interval covers it."""
    found = pooled_overruns(model, *targets, TOLERANCE).assign(truth=truth)
    return found.assign(is_covered=found["truth"].between(found["low_share"], found["high_share"]))


@dataclass(frozen=True, eq=False)
class Runs:
    """Many shops of one scenario, one row a group and `shop`.

    `models` : intervals, truth, `is_over`, and the flags of each rule; `classes`, `services` :
    intervals and truth.
    """

    models: pd.DataFrame
    classes: pd.DataFrame
    services: pd.DataFrame


def run_shops(scenario: Scenario, seeds: Iterable[int]) -> Runs:
    """Simulate, fit and judge one shop a seed."""
    models, classes, services = {}, {}, {}
    for seed in seeds:
        data, truth = simulated_shop(scenario, seed)
        model = fitted(data)
        of_models = group_targets(model, ["make", "model"], (MODEL, CLASS))
        of_classes = group_targets(model, ["vehicle_class"], (CLASS,))
        by_model = intervals(model, of_models, truth.models)
        models[seed] = by_model.join(rule_flags(model), validate="one_to_one").assign(
            is_over=by_model["truth"] > TOLERANCE
        )
        classes[seed] = intervals(model, of_classes, truth.classes)
        services[seed] = intervals(model, service_targets(model), truth.services)
    return Runs(*(pd.concat(each, names=["shop"]) for each in (models, classes, services)))


@dataclass(frozen=True)
class Score:
    """How a rule did over many shops.

    `shops_flagged` : share of the shops with any flag; `flags`, `found`, `of` : flags, true ones,
    and true overruns; `false_share` : false flags ÷ flags; `false_share_error` : its standard
    error, shops being drawn at random; `mean_false_share` : mean over the shops of each one's false
    share (0 without a flag), which is what a false discovery rate is; `mean_error` : its error.
    """

    shops_flagged: float
    flags: int
    found: int
    of: int
    false_share: float
    false_share_error: float
    mean_false_share: float
    mean_error: float


def score(models: pd.DataFrame, rule: str) -> Score:
    """The score of one of `RULES`; the error of a ratio by Cochran (1977), Sampling Techniques."""
    flagged = models[rule]
    by_shop = (
        pd.DataFrame({"flags": flagged, "false": flagged & ~models["is_over"]})
        .groupby(level="shop")
        .sum()
    )
    number = len(by_shop)
    total = int(by_shop["flags"].sum())
    share = by_shop["false"].sum() / max(total, 1)
    residual = by_shop["false"] - share * by_shop["flags"]
    each = by_shop["false"] / by_shop["flags"].clip(lower=1)
    return Score(
        float((by_shop["flags"] > 0).mean()),
        total,
        int((flagged & models["is_over"]).sum()),
        int(models["is_over"].sum()),
        float(share),
        float(np.sqrt((residual**2).sum() * number / (number - 1)) / max(total, 1)),
        float(each.mean()),
        float(each.std() / np.sqrt(number)),
    )


def coverage(table: pd.DataFrame) -> tuple[float, float]:
    """Share of the intervals that cover the truth, and its standard error over the shops."""
    by_shop = table["is_covered"].groupby(level="shop").agg(["sum", "size"])
    share = float(by_shop["sum"].sum() / by_shop["size"].sum())
    residual = by_shop["sum"] - share * by_shop["size"]
    number = len(by_shop)
    return share, float(
        np.sqrt((residual**2).sum() * number / (number - 1)) / by_shop["size"].sum()
    )
