"""What the answer hangs on: each unknown moved by itself, and what it is worth to know it."""

from dataclasses import replace
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import ndtr, ndtri

from analysis.arrays import Array
from analysis.counter_tables import COUNTER_UNKNOWNS
from analysis.pricing.counter_arithmetic import later_gain
from analysis.pricing.counter_model import CounterModel, Parts

ENDS: Final = (0.05, 0.95)
(DISPLACED, INSTALL, LATER, LATER_INSTALL, SALES, MINUTES) = UNKNOWNS = (
    "installs displaced",
    "what an install leaves",
    "installs booked later",
    "what a later install leaves",
    "price and cost of a sale",
    "staff time of a sale",
)
PERCENT, MONEY, TIME = "percent", "money", "minutes"
RECORD: Final = {
    DISPLACED: "Ask every customer whether they would have booked the install, and write the "
    "answer in would_book; ask again who is unsure.",
    INSTALL: "Keep hours, cuts and prices of the jobs: it is learnt from jobs of the services that "
    "sales stand in for.",
    LATER: "Write the number of an install booked afterwards in later_job_id; only time shows who "
    "comes back.",
    LATER_INSTALL: "Write the number of an install booked afterwards in later_job_id.",
    SALES: "Write down every sale with its film, its size, its price and its extras; a price list "
    "makes sales more alike.",
    MINUTES: "Write down the minutes of every sale, from the first question to the till.",
}


def counter_unknowns(
    model: CounterModel, chosen: pd.DataFrame, parts: Parts, sales_a_year: float
) -> pd.DataFrame:
    """Each unknown over its 90 % interval, the others at their means.

    Returns
    -------
    DataFrame
        Columns of `COUNTER_UNKNOWNS` (inside), the largest swing first. [money a sale; money a
        year]

    Notes
    -----
    What a sale leaves is linear in each unknown, and they are independent; so the mean of the
    result given one of them is the result at that one with the others at their means, and the value
    of knowing it is E[max(net, 0)] − max(E[net], 0) over its draws, a sale that does not pay being
    left: the expected value of perfect information (Howard, Information value theory, IEEE
    Transactions on Systems Science and Cybernetics 2, 1966, 22-26; from memory). Staff time is part
    of what differs from sale to sale; its row shows the error of its mean.
    """
    moved = net_by_unknown(model, parts)
    rows = [
        _row(name, *_middle(model, chosen, parts, name), moved[name], sales_a_year)
        for name in UNKNOWNS
        if name != MINUTES
    ]
    rows.append(_minutes_row(model, chosen, float(moved[SALES].mean()), sales_a_year))
    table = pd.DataFrame(rows, columns=COUNTER_UNKNOWNS.inside_names)
    return table.sort_values("swing", ascending=False, kind="stable", ignore_index=True)


def net_by_unknown(model: CounterModel, parts: Parts) -> dict[str, Array]:
    """Draws of what a sale leaves with one unknown drawn and the others at their means."""
    margin, exposed, weight = (
        np.atleast_1d(each.mean(axis=0)) for each in (parts.margin, parts.exposed, parts.weight)
    )
    share, install = model.mean_share, model.mean_install
    chance, apart, refill = model.mean_later, float(model.later_apart.mean()), parts.refill_later
    gain = later_gain(chance, install + apart, refill)
    fixed = float(margin[0] - exposed @ (share * install) + weight @ gain)
    later_by_install = later_gain(chance, 1.0, refill)
    each_later = float(weight @ (install + apart))
    return {
        DISPLACED: fixed - (model.share - share) @ (exposed * install),
        INSTALL: fixed + (model.install - install) @ (weight * later_by_install - exposed * share),
        LATER: fixed + later_gain(model.later.draws - chance, each_later, refill),
        LATER_INSTALL: fixed + later_by_install * float(weight.sum()) * (model.later_apart - apart),
        SALES: parts.margin
        - parts.exposed @ (share * install)
        + parts.weight @ gain
        + np.zeros(len(model.share)),
    }


def largest_unknown(model: CounterModel, parts: Parts) -> str:
    """The unknown over whose 90 % interval the answer moves most."""
    swing = {
        name: float(np.diff(np.quantile(values, ENDS))[0])
        for name, values in net_by_unknown(model, parts).items()
    }
    return max(swing, key=lambda name: swing[name])


def weighted_share(parts: Parts, share: Array) -> Array:
    """Share of displaced installs over the sales together, a draw each."""
    total = parts.weight.sum(axis=1)
    return np.asarray((parts.weight * share).sum(axis=1) / total)


def weighted_install(model: CounterModel, parts: Parts) -> Array:
    """What an install leaves that a sale stands in for, a draw each. [money]"""
    mean = parts.weight.mean(axis=0)
    return np.asarray(model.install @ mean / mean.sum())


def _middle(
    model: CounterModel, chosen: pd.DataFrame, parts: Parts, name: str
) -> tuple[Array, str]:
    """Draws of an unknown itself, in the unit it is shown in."""
    mean = replace(parts, weight=parts.weight.mean(axis=0)[None, :])
    if name == DISPLACED:
        return 100 * weighted_share(mean, model.share), PERCENT
    if name == LATER:
        return 100 * model.later.draws, PERCENT
    install = weighted_install(model, parts)
    if name == INSTALL:
        return install, MONEY
    if name == LATER_INSTALL:
        return float(install.mean()) + model.later_apart, MONEY
    return parts.margin, MONEY


def _row(
    name: str, values: Array, unit: str, net: Array, sales_a_year: float
) -> tuple[str | float, ...]:
    order = np.quantile(values, ENDS)
    ends = np.quantile(net, ENDS)
    # The result falls with some unknowns: the end of the result belongs to the end of the unknown.
    if _falls(values, net):
        ends = ends[::-1]
    worth = float(np.maximum(net, 0).mean() - max(float(net.mean()), 0.0)) * sales_a_year
    return (
        name,
        float(values.mean()),
        float(order[0]),
        float(order[1]),
        unit,
        float(ends[0]),
        float(ends[1]),
        abs(float(ends[1] - ends[0])),
        max(worth, 0.0),
        RECORD[name],
    )


def _falls(values: Array, net: Array) -> bool:
    """Whether the result is less where the unknown is more."""
    spread = float(values.std()) * float(net.std())
    return spread > 0 and float(((values - values.mean()) * (net - net.mean())).mean()) < 0


def _minutes_row(
    model: CounterModel, chosen: pd.DataFrame, net: float, sales_a_year: float
) -> tuple[str | float, ...]:
    """The mean of the minutes with its error; blank where fewer than two were written down."""
    minutes = chosen["minutes"].dropna()
    nothing = float("nan")
    middle = float(minutes.mean()) if len(minutes) else nothing
    if len(minutes) < 2:  # no spread of a single one
        low, high, at_low, at_high, swing, worth = (nothing,) * 6
    else:
        error = float(minutes.std() / np.sqrt(len(minutes)))
        staff = (chosen["staff_cost"] + chosen["other_staff_cost"]).sum()
        rate = float(staff / chosen["usual_minutes"].sum()) if staff > 0 else 0.0
        half = float(ndtri(ENDS[1])) * error
        low, high = max(middle - half, 0.0), middle + half
        at_low, at_high = net + (middle - low) * rate, net - (high - middle) * rate
        swing = at_low - at_high
        worth = _normal_worth(net, error * rate) * sales_a_year
    return (
        MINUTES,
        middle,
        low,
        high,
        TIME,
        at_low,
        at_high,
        swing,
        worth,
        RECORD[MINUTES],
    )


def _normal_worth(mean: float, sd: float) -> float:
    """E[max(x, 0)] − max(E[x], 0) of a normal x (unit normal loss × sd). [as mean]"""
    if sd <= 0:
        return 0.0
    at = abs(mean) / sd
    density = float(np.exp(-at * at / 2) / np.sqrt(2 * np.pi))
    return sd * (density - at * float(ndtr(-at)))
