"""Whether a counter sale pays: pays, does not pay, or can't tell, and what would settle it."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import Array
from analysis.pricing.counter_model import (
    CounterModel,
    Parts,
    displaced_draws,
    later_draws,
    net_draws,
)

PAYS, DOES_NOT, CANNOT_TELL = "pays", "does not pay", "can't tell"
# Probabilities from which on, and up to which, it is said.
SURE: Final = 0.9
UNSURE: Final = 0.1  # 1 - 0.9 is a hair under it
# Further answers settle it where they do so in this share of the cases that are still possible.
_SETTLED: Final = 2 / 3
_MOST_ANSWERS: Final = 1024
_TRIALS: Final = 400
_INNER: Final = 500


@dataclass(frozen=True, eq=False)
class Judged:
    """What sales such as some leave, and whether they pay. [money a sale]

    `net` : draws; `probability` that it is over 0 (NaN where it is not known); `verdict`; `holds` :
    it holds whatever share of installs is displaced; `further_answers` : answers at the counter
    that would probably settle it, None where nothing is to settle or answers would not do it;
    `held_back` : why nothing is said though the figures might: a key of what is wanting, else "".
    """

    margin: Array
    displaced: Array
    later: Array
    net: Array
    probability: float
    verdict: str
    holds: bool
    further_answers: int | None
    held_back: str


FEW_SALES, FEW_ANSWERS, NO_MONTHS, NO_MINUTES, NO_COST = (
    "few sales",
    "few answers",
    "no months",
    "no minutes",
    "no cost",
)


def judge(
    model: CounterModel,
    chosen: pd.DataFrame,
    parts: Parts,
    if_full: Parts,
    answers: int,
    fewest: int,
    seed: tuple[int, ...],
) -> Judged:
    """The verdict on sales such as the chosen ones; `parts` a mean a sale.

    `if_full` : the same if the months whose use is not known had been full; `answers` : yes or no
    at the counter that it rests on.

    Notes
    -----
    A verdict is held back where it would rest on fewer than `fewest` sales, or answers, unless it
    holds whether every sale displaces an install or none does; where it would be another if the
    months whose use is not known had been full; and 'pays' where fewer than `fewest` sales have
    their minutes written down, because time only costs.
    """
    margin = np.broadcast_to(parts.margin, len(model.share))
    displaced, later = displaced_draws(model, parts), later_draws(model, parts)
    net = net_draws(model, parts)
    if len(chosen) == 0 or np.isnan(net).any():
        return Judged(margin, displaced, later, net, np.nan, CANNOT_TELL, False, None, NO_COST)
    probability = float((net > 0).mean())
    by_all = (parts.exposed * model.install).sum(axis=1)
    ends = [float((margin + later - part > 0).mean()) for part in (0.0, by_all)]
    holds = all(end >= SURE for end in ends) or all(end <= UNSURE for end in ends)
    full = float((net_draws(model, if_full) > 0).mean())
    held = _held_back(model, len(chosen), answers, holds, (probability, full), fewest)
    verdict = CANNOT_TELL if held else word(probability)
    further = None
    # Answers alone do not settle what waits for minutes too.
    if held in ("", FEW_ANSWERS) and verdict == CANNOT_TELL and model.minutes_known >= fewest:
        further = further_answers(model, parts, net + displaced, seed)
        if held == FEW_ANSWERS and further is not None:
            further = max(further, fewest - answers)
    return Judged(margin, displaced, later, net, probability, verdict, holds, further, held)


def word(probability: float) -> str:
    """The word for a probability that it pays."""
    if probability >= SURE:
        return PAYS
    return DOES_NOT if probability <= UNSURE else CANNOT_TELL


def _held_back(
    model: CounterModel,
    sales: int,
    answers: int,
    holds: bool,
    probabilities: tuple[float, float],
    fewest: int,
) -> str:
    if sales < fewest:
        return FEW_SALES
    if answers < fewest and not holds:
        return FEW_ANSWERS
    if len({word(each) for each in probabilities}) > 1:
        return NO_MONTHS
    sure = probabilities[0] >= SURE
    return NO_MINUTES if model.minutes_known < fewest and sure else ""


def further_answers(
    model: CounterModel, parts: Parts, rest: Array, seed: tuple[int, ...]
) -> int | None:
    """How many more answers (yes or no) would probably settle whether it pays.

    `rest` : draws of what a sale leaves before displaced installs. The least number with which the
    verdict would be sure in `_SETTLED` of the cases that are still possible, and with twice as many
    too; None where not even `_MOST_ANSWERS` would do, because the answer hangs on something else.

    Notes
    -----
    Preposterior analysis (Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961; from
    memory): a share is drawn from what is known of it, answers from the share, and the verdict made
    again with them. The share of the sales together is held as a beta of the same mean and
    variance; what customers would do who are unsure stays as uncertain as it is.
    """
    full = (parts.exposed * model.install).sum(axis=1)
    cost_known = (parts.exposed * model.known_share * model.install).sum(axis=1)
    share = np.divide(cost_known, full, out=np.zeros_like(full), where=full != 0)
    unsure = displaced_draws(model, parts) - cost_known
    mean, variance = float(share.mean()), float(share.var())
    if not 0 < mean < 1 or variance <= 0:
        return None
    weight = max(mean * (1 - mean) / variance - 1, 1e-3)
    first, second = mean * weight, (1 - mean) * weight
    some = np.random.default_rng(seed).permutation(len(share))[:_INNER]
    known, all_of_it = (rest - unsure)[some], full[some]

    @cache
    def settles(answers: int) -> bool:
        # The same chance for every number, so that more answers do not settle less by luck.
        rng = np.random.default_rng([*seed, 1])
        truth = rng.beta(first, second, _TRIALS)
        yes = rng.binomial(answers, truth)[:, None]
        drawn = rng.beta(first + yes, second + answers - yes, (_TRIALS, len(known)))
        pays = (known - drawn * all_of_it > 0).mean(axis=1)
        return bool(((pays >= SURE) | (pays <= UNSURE)).mean() >= _SETTLED)

    return _least(lambda answers: settles(answers) and settles(2 * answers))


def _least(settles: Callable[[int], bool]) -> int | None:
    """The least number that settles it, to a tenth: doubling, then halving the step."""
    high = 1
    while not settles(high):
        high *= 2
        if high > _MOST_ANSWERS:
            return None
    low = high // 2
    while high - low > max(1, high // 10):
        middle = (low + high) // 2
        low, high = (low, middle) if settles(middle) else (middle, high)
    return high
