"""Whether a counter sale pays: pays, does not pay, or can't tell, and what would settle it."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.pricing.counter_model import (
    CounterModel,
    Parts,
    displaced_draws,
    later_draws,
    net_draws,
)

Array = npt.NDArray[np.float64]
PAYS, DOES_NOT, CANNOT_TELL = "pays", "does not pay", "can't tell"
# Probabilities from which on, and up to which, it is said.
SURE: Final = 0.9
# Further answers settle it where they do so in this share of the cases that are still possible.
_SETTLED: Final = 0.8
_MOST_ANSWERS: Final = 1024
_TRIALS: Final = 200
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


FEW_SALES, FEW_ANSWERS, NO_MINUTES, NO_COST = (
    "few sales",
    "few answers",
    "no minutes",
    "no cost",
)


def judge(
    model: CounterModel,
    chosen: pd.DataFrame,
    parts: Parts,
    fewest: int,
    rng: np.random.Generator,
) -> Judged:
    """The verdict on sales such as the chosen ones (all of them told); `parts` a mean a sale.

    Notes
    -----
    A verdict is held back where it would rest on fewer than `fewest` sales, or answers, unless it
    holds whether every sale displaces an install or none does; and 'pays' where no minutes of staff
    were ever written down, because they would only cost.
    """
    margin = np.broadcast_to(parts.margin, len(model.share))
    displaced, later = displaced_draws(model, parts), later_draws(model, parts)
    net = net_draws(model, parts)
    if len(chosen) == 0 or np.isnan(net).any():
        lacking = FEW_SALES if len(chosen) == 0 else NO_COST
        return Judged(margin, displaced, later, net, np.nan, CANNOT_TELL, False, None, lacking)
    probability = float((net > 0).mean())
    by_all = (parts.exposed * model.install).sum(axis=1)
    ends = [float((margin + later - part > 0).mean()) for part in (0.0, by_all)]
    holds = all(end >= SURE for end in ends) or all(end <= 1 - SURE for end in ends)
    answers = int(model.displaced.answers.sum())
    held = _held_back(model, len(chosen), answers, holds, probability, fewest)
    verdict = CANNOT_TELL if held else word(probability)
    further = None
    if verdict == CANNOT_TELL and held in ("", FEW_ANSWERS):
        further = further_answers(model, parts, net + displaced, rng)
        if held == FEW_ANSWERS and further is not None:
            further = max(further, fewest - answers)
    return Judged(margin, displaced, later, net, probability, verdict, holds, further, held)


def word(probability: float) -> str:
    """The word for a probability that it pays."""
    if probability >= SURE:
        return PAYS
    return DOES_NOT if probability <= 1 - SURE else CANNOT_TELL


def _held_back(
    model: CounterModel, sales: int, answers: int, holds: bool, probability: float, fewest: int
) -> str:
    if sales < fewest:
        return FEW_SALES
    if answers < fewest and not holds:
        return FEW_ANSWERS
    return NO_MINUTES if model.minutes_known == 0 and probability >= SURE else ""


def further_answers(
    model: CounterModel, parts: Parts, rest: Array, rng: np.random.Generator
) -> int | None:
    """How many more answers (yes or no) would probably settle whether it pays.

    `rest` : draws of what a sale leaves before displaced installs. The least number with which the
    verdict would be sure in `_SETTLED` of the cases that are still possible; None where not even
    `_MOST_ANSWERS` would do, because the answer hangs on something else.

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
    some = rng.choice(len(share), _INNER, replace=False) if len(share) > _INNER else slice(None)
    known, all_of_it = (rest - unsure)[some], full[some]

    def settles(answers: int) -> bool:
        truth = rng.beta(mean * weight, (1 - mean) * weight, _TRIALS)
        yes = rng.binomial(answers, truth)[:, None]
        drawn = rng.beta(
            mean * weight + yes,
            (1 - mean) * weight + answers - yes,
            (_TRIALS, len(known)),
        )
        pays = (known - drawn * all_of_it > 0).mean(axis=1)
        return bool(((pays >= SURE) | (pays <= 1 - SURE)).mean() >= _SETTLED)

    return _least(settles)


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
