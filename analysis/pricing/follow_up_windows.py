"""What came before and since each price decision: its days, its quotes, and the rest of the shop.

A decision is followed from the day it took effect to the day before the next decision on the same
price, and compared with the twelve months before it. Every quote of both windows is valued as of
the day it took effect: the price that it was quoted at, less what the list rose or fell by other
than through this decision. So neither a yearly rise of the whole list nor a cost that moved since
counts for or against it.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Array
from analysis.pricing.price_cells import KEYS
from analysis.pricing.quote_history import dated_prices

DECISION: Final = ["decided_on", *KEYS, "effective_from"]
_DAY: Final = pd.Timedelta(days=1)
_MONTHS: Final = 12
# Days from one key to the next in a table of running sums; more than any two dates are apart.
_APART: Final = 1_000_000
_CENT: Final = 0.005
# How far the odds of winning may move from one window to the other in the whole shop, season and
# market together, before the rest of the shop has spoken. [sd of log-odds; common practice, no
# source]
SHIFT_SD: Final = 0.25
Flags = npt.NDArray[np.bool_]


def decision_windows(decisions: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """The decisions taken by a day, sorted by their keys, with the days of their two windows.

    Since: `effective_from` to `until` (the day, or the day before the next decision on the same
    service and class took effect; `ended` says that it was one); before: `before_from` to the day
    before `effective_from`, twelve months or from the decision before. Of several that take effect
    on one day the one taken last stands; the others' windows are empty.
    """
    taken = decisions[decisions["decided_on"] <= day].drop_duplicates(DECISION, keep="last")
    taken = taken.sort_values(DECISION, kind="stable", ignore_index=True)
    starts = taken[[*KEYS, "effective_from"]].drop_duplicates().sort_values("effective_from")
    by_price = starts.groupby(KEYS, dropna=False, sort=False)["effective_from"]
    starts = starts.assign(earlier=by_price.shift(), following=by_price.shift(-1))
    taken = taken.merge(starts, on=[*KEYS, "effective_from"], how="left", validate="m:1")
    start = taken["effective_from"]
    replaced = taken.duplicated([*KEYS, "effective_from"], keep="last")
    following = taken["following"].where(~replaced, start)
    year_ago = start - pd.DateOffset(months=_MONTHS)
    return taken.assign(
        replaced=replaced,
        ended=following <= day,
        until=(following - _DAY).where(following <= day, day),
        before_from=year_ago.where(~(taken["earlier"] > year_ago), taken["earlier"]),
    )


@dataclass(frozen=True, eq=False)
class Reach:
    """Which service and class each decision reaches.

    `groups` : service, vehicle_class of the quotes and jobs; `own` : whether the decision holds for
    the group; `rest` : whether the group stands for the rest of the shop, which no decision of
    these windows reached. (decisions × groups)
    """

    groups: pd.DataFrame
    own: Flags
    rest: Flags


def reach_of(windows: pd.DataFrame, groups: pd.DataFrame, price_list: pd.DataFrame) -> Reach:
    """A decision holds for its class; with a blank class for every one without a list row."""
    listed = price_list[price_list["vehicle_class"].notna() & (price_list["list_price"] > 0)]
    first = listed.groupby(KEYS)["effective_from"].min().rename("listed_from").reset_index()
    since = groups.merge(first, on=KEYS, how="left", validate="1:1")["listed_from"]
    until = windows["until"].to_numpy()[:, None]
    # A missing day compares as later: never listed.
    unlisted = ~(since.to_numpy()[None, :] <= until)
    same_service = _equal(windows["service"], groups["service"])
    same_class = _equal(windows["vehicle_class"], groups["vehicle_class"])
    blank = windows["vehicle_class"].isna().to_numpy()[:, None]
    own = same_service & np.where(blank, unlisted, same_class)
    start = windows["effective_from"].to_numpy()
    within = (start > windows["before_from"].to_numpy()[:, None]) & (start <= until)
    reached = (within.astype(float) @ own.astype(float)) > 0
    return Reach(groups, own, ~own & ~reached)


def _equal(left: pd.Series, right: pd.Series) -> Flags:
    one, other = (each.fillna("").to_numpy(dtype=object) for each in (left, right))
    return np.asarray(one[:, None] == other[None, :], dtype=bool)


def group_codes(groups: pd.DataFrame, rows: pd.DataFrame) -> npt.NDArray[np.int64]:
    """The position in `groups` of each row's service and class."""
    found = rows[KEYS].merge(
        groups[KEYS].assign(at=np.arange(len(groups))), on=KEYS, how="left", validate="m:1"
    )
    return found["at"].to_numpy("int64")


def in_windows(windows: pd.DataFrame, reach: Reach, rows: pd.DataFrame, on: str) -> pd.DataFrame:
    """The rows that each decision reaches in its two windows, by the day in column `on`.

    A row a decision and row: the columns of `rows`, `decision` (position), `since`. A row stands
    once for each decision that it falls to.
    """
    decision, group = np.nonzero(reach.own)
    pairs = pd.DataFrame({"decision": decision, "group": group})
    found = pairs.merge(rows.assign(group=group_codes(reach.groups, rows)), on="group")
    own = windows.loc[found["decision"], ["before_from", "effective_from", "until"]]
    day, start = found[on].to_numpy(), own["effective_from"].to_numpy()
    since = (day >= start) & (day <= own["until"].to_numpy())
    before = (day >= own["before_from"].to_numpy()) & (day < start)
    kept = since | before
    return found.assign(since=since)[kept].reset_index(drop=True)


# --- the list without the decision ---------------------------------------------------------------


def list_steps(windows: pd.DataFrame, price_list: pd.DataFrame) -> pd.DataFrame:
    """Where each decision stands in the price list: `step_on` and `jump` (log of its step).

    The first row of its own service and class with the new price from the day of the decision to
    the end of its window, else the one of the day it takes effect; `in_list` says that the new
    price stands there. Missing day and a jump of 0 where there is neither.
    """
    rows = price_list.loc[price_list["list_price"] > 0, [*KEYS, "effective_from", "list_price"]]
    rows = rows.rename(columns={"effective_from": "step_on"})
    asked = windows[[*DECISION, "new_price", "until"]].assign(decision=np.arange(len(windows)))
    pairs = asked.merge(rows, on=KEYS).sort_values("step_on", kind="stable")
    same = (pairs["list_price"] - pairs["new_price"]).abs() < _CENT
    last = pairs["until"].where(pairs["until"] > pairs["effective_from"], pairs["effective_from"])
    named = pairs[same & pairs["step_on"].between(pairs["decided_on"], last)]
    dated = pairs[pairs["step_on"] == pairs["effective_from"]]
    first = named.drop_duplicates("decision").set_index("decision")["step_on"]
    step_on = first.combine_first(
        dated.drop_duplicates("decision").set_index("decision")["step_on"]
    )
    step_on = step_on.reindex(np.arange(len(windows))).set_axis(windows.index)
    day = step_on.fillna(windows["effective_from"])
    after = dated_prices(price_list, windows[KEYS].assign(quoted_on=day))
    earlier = dated_prices(price_list, windows[KEYS].assign(quoted_on=day - _DAY))
    jump = pd.Series(np.log(after / earlier)).where(step_on.notna()).fillna(0.0)
    standing = dated_prices(price_list, windows[KEYS].assign(quoted_on=last_day(windows)))
    stands = (standing - windows["new_price"]).abs() < _CENT
    return pd.DataFrame(
        {
            "step_on": step_on,
            "jump": jump,
            "in_list": windows.index.isin(first.index) | stands,
        },
        index=windows.index,
    )


def last_day(windows: pd.DataFrame) -> pd.Series:
    """The last day of each window, or its first where it has none."""
    start = windows["effective_from"]
    return windows["until"].where(windows["until"] > start, start)


def without_other_moves(
    windows: pd.DataFrame, steps: pd.DataFrame, found: pd.DataFrame, price_list: pd.DataFrame
) -> pd.Series:
    """What each quote's list moved by since its decision took effect, but for the decision.

    A factor; a price divided by it stands as of the day of effect. 1 where there is no list.
    """
    at = found["decision"].to_numpy()
    own = windows.loc[at, KEYS].reset_index(drop=True)
    jump, step_on = steps["jump"].to_numpy()[at], steps["step_on"].to_numpy()[at]

    def level(day: Array) -> Array:
        listed = np.log(dated_prices(price_list, own.assign(quoted_on=day))).to_numpy(float)
        return np.asarray(listed - np.where(day >= step_on, jump, 0.0))

    moved = level(found["quoted_on"].to_numpy()) - level(windows["effective_from"].to_numpy()[at])
    return pd.Series(np.exp(np.nan_to_num(moved)), index=found.index)


# --- the rest of the shop ------------------------------------------------------------------------


def rest_shift(windows: pd.DataFrame, reach: Reach, decided: pd.DataFrame) -> tuple[Array, Array]:
    """How the odds of winning moved in the rest of the shop, log, and its variance, by decision.

    The common odds ratio of Mantel and Haenszel (1959, Journal of the National Cancer Institute
    22:719-748), since against before, a stratum a service and class, with the variance of Robins,
    Breslow and Greenland (1986, Biometrics 42:311-323), drawn towards no move as far as it is open
    (`SHIFT_SD`). `decided` : `service, vehicle_class, quoted_on, won`.
    """
    code = group_codes(reach.groups, decided)
    order = np.lexsort((_number(decided["quoted_on"]), code))
    place = code[order] * _APART + _number(decided["quoted_on"])[order]
    won = np.concatenate([[0.0], np.cumsum(decided["won"].to_numpy(float)[order])])
    start = _number(windows["effective_from"])

    def counted(first: Array, last: Array) -> tuple[Array, Array]:
        base = np.arange(len(reach.groups))[None, :] * _APART
        low = np.searchsorted(place, base + first[:, None], "left")
        high = np.maximum(np.searchsorted(place, base + last[:, None], "right"), low)
        hits = (won[high] - won[low]) * reach.rest
        return hits, (high - low) * reach.rest - hits

    since = counted(start, _number(windows["until"]))
    before = counted(_number(windows["before_from"]), start - 1)
    shift, variance = common_odds(*since, *before)
    with np.errstate(invalid="ignore"):
        weight = np.where(np.isfinite(variance), SHIFT_SD**2 / (SHIFT_SD**2 + variance), 0.0)
    return np.where(weight > 0, shift * weight, 0.0), SHIFT_SD**2 * (1 - weight)


def common_odds(
    won: Array, lost: Array, won_before: Array, lost_before: Array
) -> tuple[Array, Array]:
    """Log of the common odds ratio over the strata of each row, and its variance.

    Not finite where no stratum tells. (rows × strata) to (rows,)
    """
    total = won + lost + won_before + lost_before
    each = np.where(total > 0, total, 1.0)
    for_it, against = won * lost_before / each, lost * won_before / each
    agree, differ = (won + lost_before) / each, (lost + won_before) / each
    up, down = for_it.sum(axis=1), against.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = (
            (agree * for_it).sum(axis=1) / (2 * up**2)
            + (agree * against + differ * for_it).sum(axis=1) / (2 * up * down)
            + (differ * against).sum(axis=1) / (2 * down**2)
        )
        return np.log(up / down), variance


def _number(days: pd.Series) -> Array:
    """Days as whole numbers."""
    return np.asarray(days.to_numpy().astype("datetime64[D]").astype("int64"))
