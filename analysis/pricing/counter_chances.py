"""How often a counter sale takes an install's place, and how often an install comes later.

Both are drawn from posteriors, so that what follows from them carries their spread.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import betaln, expit, logit

from analysis.arrays import Array
from analysis.records.counter_rules import booking_days
from analysis.records.model import Records

# Jeffreys' prior of a share: half an answer of each kind.
JEFFREYS: Final = 0.5
# How far services differ among themselves (1 / (1 + weight of the common share)): about 0.18 in the
# median before anything is known. No source.
_ALIKE: Final = (2.0, 8.0)
# Customers who are unsure displace as often as the others, give or take this on the log-odds: where
# the others' share is 24 %, theirs may be 10 or 46 %. No source.
_UNSURE_SD: Final = 1.0
_SHARES: Final = 120
_SPREADS: Final = 40
_MONTH_DAYS: Final = 30.4375
_LONGEST_MONTHS: Final = 24
_TINY: Final = 1e-9  # a beta wants more than 0


@dataclass(frozen=True, eq=False)
class Displaced:
    """Chance that a sale takes an install's place. [shares]

    `services` : those that sales name; `draws` : (draws × services + 1), the last column for a
    service that was never asked about; `known` the same if nobody had been unsure; `answers`,
    `yes`, `unsure` : counts by service (the last: sales without one).
    """

    services: pd.Index
    draws: Array
    known: Array
    answers: Array
    yes: Array
    unsure: Array


@dataclass(frozen=True, eq=False)
class Later:
    """Chance of an install booked within `months` after a sale. [share]

    `came` : whether each sale's customer came back by then, on the sales' index; `followed` : sales
    that were looked at for a day or more.
    """

    draws: Array
    months: int
    came: pd.Series
    followed: int


def learn_displaced(sales: pd.DataFrame, draws: int, rng: np.random.Generator) -> Displaced:
    """Share of sales that displace an install, by service, from the answers in `would_book`.

    Notes
    -----
    Yes and no are counted; a blank is a customer who was not asked, and like the others. The shares
    of the services are partially pooled: beta with a common mean (uniform prior) and spread
    (`_ALIKE`), the posterior by a grid over both (Gelman et al., Bayesian Data Analysis, 3rd ed.
    2013, section 5.3; from memory). Who was unsure is not dropped: for that part of the customers
    the share is moved by a normal error of `_UNSURE_SD` on the log-odds.
    """
    named = sales["service"]
    services = pd.Index(sorted(named.dropna().unique()), name="service")
    at = pd.Series(services.get_indexer(named), index=sales.index)
    at = at.where(at >= 0, len(services))
    counts = {
        word: _counts(at[sales["would_book"] == word], len(services) + 1)
        for word in ("yes", "no", "unsure")
    }
    yes, answers = counts["yes"], counts["yes"] + counts["no"]
    share = _pooled_shares(yes, answers, draws, rng)
    unsure, known = counts["unsure"].sum(), answers.sum()
    part = rng.beta(unsure + JEFFREYS, known + JEFFREYS, draws) if unsure else np.zeros(draws)
    inside = np.clip(share, 1e-12, 1 - 1e-12)
    moved = expit(logit(inside) + rng.normal(0.0, _UNSURE_SD, draws)[:, None])
    mixed = share + part[:, None] * (moved - share)
    return Displaced(services, mixed, share, answers, yes, counts["unsure"])


def _counts(codes: pd.Series, size: int) -> Array:
    return np.bincount(codes.astype("int64"), minlength=size).astype(np.float64)


def _pooled_shares(yes: Array, answers: Array, draws: int, rng: np.random.Generator) -> Array:
    """Draws of each group's share, partially pooled. (draws × groups)"""
    # Even steps of the arcsine are fine near 0 and 1; a uniform prior weighs them by their width.
    mean = np.sin(np.pi / 2 * (np.arange(_SHARES) + 0.5) / _SHARES) ** 2
    spread = (np.arange(_SPREADS) + 0.5) / _SPREADS
    weight = (1 - spread) / spread
    first, second = mean[:, None] * weight, (1 - mean)[:, None] * weight
    log = np.log(mean * (1 - mean))[:, None] / 2 + np.zeros(_SPREADS)
    log += (_ALIKE[0] - 1) * np.log(spread) + (_ALIKE[1] - 1) * np.log1p(-spread)
    for hits, count in zip(yes, answers, strict=True):
        log = log + betaln(first + hits, second + count - hits) - betaln(first, second)
    chance = np.exp(log - log.max()).ravel()
    at = rng.choice(chance.size, size=draws, p=chance / chance.sum())
    alpha, beta = first.ravel()[at][:, None], second.ravel()[at][:, None]
    drawn: Array = rng.beta(alpha + yes, beta + answers - yes)
    return drawn


def learn_later(
    sales: pd.DataFrame,
    records: Records,
    seen_until: pd.Timestamp,
    draws: int,
    rng: np.random.Generator,
) -> Later:
    """Chance that the customer of a sale books an install afterwards.

    A sale is followed up to `seen_until`: one of last week had no time to come back and says
    nothing of the months to come (right-censored).

    Notes
    -----
    The day of booking is that of the quote, else of the start, else of the finish, of the job that
    `later_job_id` names; one before the sale, or after `seen_until`, is none. By month since the
    sale, sales at risk are counted as in a life table (Cutler and Ederer 1958), one whose time ends
    within a month by the part of it that was seen; the chance of each month has a beta posterior: a
    discrete beta process (Hjort 1990; both from memory). The prior weighs one sale in all, as
    Jeffreys' would without time, and lies where the sales were looked at. Months count as far as
    `pricing.fewest_jobs` sales were followed, `_LONGEST_MONTHS` at most; what comes after them does
    not. A sale after `seen_until` says nothing.
    """
    booked = booking_days(sales["later_job_id"], records["jobs"])
    gap = (booked - sales["sold_on"]).dt.days / _MONTH_DAYS
    until = (seen_until - sales["sold_on"]).dt.days / _MONTH_DAYS
    came = gap.notna() & (gap >= 0) & (booked <= seen_until)
    # A job that several sales name came of the last of them.
    latest = sales.loc[came, ["later_job_id", "sold_on"]].sort_values("sold_on", kind="stable")
    came &= ~came.index.isin(latest.index[latest["later_job_id"].duplicated(keep="last")])
    seen = until.to_numpy(dtype=np.float64)
    months = _months_seen(seen, records.settings.pricing.fewest_jobs)
    came &= gap < months
    followed = np.clip(seen, 0.0, months)
    at = np.floor(gap[came].to_numpy(dtype=np.float64)).astype(np.int64)
    events = np.bincount(at, minlength=months).astype(np.float64)
    # Who came was at risk for the whole month of it, the others as long as they were followed.
    start = np.arange(months)
    stayed = followed[~came.to_numpy(), None]
    risk = np.clip(stayed - start, 0.0, 1.0).sum(axis=0) + (at[:, None] >= start).sum(axis=0)
    prior = JEFFREYS * (risk / risk.sum() if risk.sum() > 0 else np.full(months, 1 / months))
    prior = np.maximum(prior, _TINY)
    monthly = rng.beta(prior + events, 1 - prior + risk - events, (draws, months))
    chance = 1 - np.prod(1 - monthly, axis=1)
    return Later(chance, months, came, int((until > 0).sum()))


def _months_seen(until: Array, fewest: int) -> int:
    """Months into which as many as `fewest` sales could be followed; at least one."""
    longest = np.sort(until)[::-1]
    seen = int(longest[fewest - 1]) + 1 if len(longest) >= fewest else 1
    return min(max(seen, 1), _LONGEST_MONTHS)
