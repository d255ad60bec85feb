"""What is known and not known about counter sales, as facts a sale and draws of what is uncertain.

The result of a sale is  margin − Σ share × install × (1 − refill) + later share × (install + what a
later one leaves beyond it) × (1 − refill over the year); see `counter_arithmetic`.
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Array
from analysis.costing.jobs import Costing
from analysis.findings.capacity_use import Governing
from analysis.findings.earning import hour_earned
from analysis.findings.groups import Period
from analysis.findings.sale_margins import NOT_KNOWN, month_use, sale_facts
from analysis.periods import Quarter
from analysis.pricing.counter_arithmetic import displaced_cost, later_gain, staff_rate
from analysis.pricing.counter_chances import Displaced, Later, learn_displaced, learn_later
from analysis.pricing.counter_installs import (
    Installs,
    centred,
    learn_installs,
    net_of_redos,
)
from analysis.pricing.film_needed import WIDER_JOBS
from analysis.records.model import Records

DRAWS: Final = 4000
_MOST_AT_ONCE: Final = 4_000_000


@dataclass(frozen=True, eq=False)
class CounterModel:
    """Every sale to the quarter's end, and draws of what is not known.

    `sales` : facts a sale (`sale_facts`) with `month_kind, refill_share, other_staff_cost, margin,
    displaced_share, install_contribution, displaced_cost, later_installs, expected_net` (chances at
    their means), `kind` (position among the kinds), `is_recent` (in the twelve months), `told`
    (every amount is known). A kind is a service as answered about, and what its install leaves:
    `share`, `install` (draws × kinds) and `mean_share`, `mean_install`. `later` : chance of a later
    install; `later_apart` : what it leaves beyond such an install [money]; `refill_later` : chance
    that it takes other work's hours. `minutes_known` of the sales have their minutes written down;
    `minutes_error` : draws of the error of their mean, which stands for the others [min].
    `use_known` : whether the use of any month of the twelve is known.
    """

    sales: pd.DataFrame
    share: Array
    known_share: Array
    install: Array
    displaced: Displaced
    later: Later
    later_apart: Array
    refill_later: float
    installs: Installs
    hour_earned: float
    minutes_known: int
    minutes_error: Array
    use_known: bool
    seed: int

    @property
    def mean_share(self) -> Array:
        """Mean chance that a sale of each kind displaces an install."""
        return np.asarray(self.share.mean(axis=0))

    @property
    def mean_install(self) -> Array:
        """Mean of what an install of each kind leaves. [money]"""
        return np.asarray(self.install.mean(axis=0))

    @property
    def mean_gain(self) -> Array:
        """What is expected of later installs, a sale of each kind. [money]"""
        leaves = self.mean_install + self.later_apart.mean()
        return np.asarray(later_gain(self.mean_later, leaves, self.refill_later))

    @property
    def mean_later(self) -> float:
        """Mean chance of a later install."""
        return float(self.later.draws.mean())


@dataclass(frozen=True, eq=False)
class Parts:
    """Draws of what sales leave: a mean a sale, or a sum. [money]

    `margin` before installs (draws); `exposed` : what each kind weighs, times the chance that its
    freed hours stay free (draws × kinds); `weight` : what each kind weighs (draws × kinds);
    `refill_later` : chance that a later install takes other work's hours.
    """

    margin: Array
    exposed: Array
    weight: Array
    refill_later: float


def counter_model(
    costing: Costing,
    records: Records,
    quarter: Quarter,
    governing: Governing,
    seen_until: pd.Timestamp,
    seed: int,
    draws: int = DRAWS,
) -> CounterModel:
    """Learn everything about the counter sales up to a quarter's end.

    `seen_until` : newest day of the records, up to which customers are known to have come back.
    """
    rng = np.random.default_rng(seed)
    day = quarter.last_day
    year = Period(quarter.year_first_day, day)
    facts = sale_facts(costing, records)
    sales = facts[facts["sold_on"] <= day].reset_index(drop=True)
    use = month_use(costing, records, quarter)
    earned = hour_earned(costing, governing, year)
    sales = _with_staff(sales, use, earned, records.settings.counter.takes_installers)
    displaced = learn_displaced(sales, draws, rng)
    later = learn_later(sales, records, min(day, seen_until), draws, rng)
    installs = learn_installs(costing, year, draws, rng)
    kinds, mixes, columns = _kinds(sales, installs, displaced)
    apart = _later_apart(costing, records, sales, later, kinds, mixes, installs, day, rng, draws)
    of_year = use.index >= year.first
    refill = use.loc[of_year, "refill_share"].dropna()
    model = CounterModel(
        sales=sales.assign(
            kind=kinds, is_recent=year.holds(sales["sold_on"]), came_back=later.came
        ),
        share=displaced.draws[:, columns],
        known_share=displaced.known[:, columns],
        install=np.where(mixes.sum(axis=1) > 0, installs.draws @ mixes.T, np.nan),
        displaced=displaced,
        later=later,
        later_apart=apart,
        refill_later=float(refill.mean()) if len(refill) else 0.0,
        installs=installs,
        hour_earned=earned,
        minutes_known=int(sales["minutes"].notna().sum()),
        minutes_error=_minutes_error(sales["minutes"], draws, rng),
        use_known=bool((use.loc[of_year, "month_kind"] != NOT_KNOWN).any()),
        seed=seed,
    )
    return _with_expected(model)


def parts_of_sum(model: CounterModel, chosen: pd.DataFrame) -> Parts:
    """What the chosen sales left together: of their margins minutes not written down are open."""
    kinds = model.share.shape[1]
    at = chosen["kind"].to_numpy(dtype=np.int64)
    free = 1 - chosen["refill_share"].to_numpy(dtype=np.float64)
    exposed = np.bincount(at, weights=free, minlength=kinds)[None, :]
    weight = np.bincount(at, minlength=kinds)[None, :].astype(np.float64)
    unwritten = float(chosen["a_minute_more"].sum())
    margin = float(chosen["margin"].sum()) - unwritten * model.minutes_error
    return Parts(margin, exposed.astype(np.float64), weight, model.refill_later)


def parts_of_mean(
    model: CounterModel, chosen: pd.DataFrame, rng: np.random.Generator, *, if_full: bool = False
) -> Parts:
    """What a sale such as the chosen ones leaves: which sales come has a spread of its own.

    `if_full` : as if every month whose use is not known had been full.

    Notes
    -----
    Weights of the sales are drawn by the Bayesian bootstrap (Rubin, The Bayesian bootstrap, Annals
    of Statistics 9, 1981, 130-134; from memory), and stretched about their mean by
    √((n + 1) ÷ (n − 3)): that gives the mean of n sales the variance of Student's t with n − 1
    degrees of freedom, which the bootstrap of few sales falls short of.
    """
    draws, kinds = model.share.shape
    count = len(chosen)
    at = chosen["kind"].to_numpy(dtype=np.int64)
    open_month = (chosen["month_kind"] == NOT_KNOWN).to_numpy() & if_full
    margin = chosen["margin"].to_numpy(dtype=np.float64) - np.where(
        open_month, chosen["more_if_full"], 0.0
    )
    of_kind = np.eye(kinds)[at]
    refill = np.where(open_month, 1.0, chosen["refill_share"].to_numpy(dtype=np.float64))
    free = (1 - refill)[:, None] * of_kind
    unwritten = chosen["a_minute_more"].to_numpy(dtype=np.float64)
    stretch = np.sqrt((count + 1) / max(count - 3, 1))
    step = max(1, _MOST_AT_ONCE // max(count, 1))
    rows = []
    for first in range(0, draws, step):
        part = rng.standard_exponential((min(step, draws - first), count))
        part /= part.sum(axis=1, keepdims=True)
        part = 1 / count + (part - 1 / count) * stretch
        error = model.minutes_error[first : first + step]
        rows.append((part @ margin - (part @ unwritten) * error, part @ free, part @ of_kind))
    later = 1.0 if if_full and not model.use_known else model.refill_later
    margins, exposed, weight = (np.concatenate(each) for each in zip(*rows, strict=True))
    return Parts(margins, exposed, weight, later)


def displaced_draws(model: CounterModel, parts: Parts) -> Array:
    """Cost of displaced installs, a draw each. [money]"""
    return np.asarray((parts.exposed * model.share * model.install).sum(axis=1))


def later_draws(model: CounterModel, parts: Parts) -> Array:
    """What later installs bring, a draw each. [money]"""
    leaves = model.install + model.later_apart[:, None]
    gain = later_gain(model.later.draws[:, None], leaves, parts.refill_later)
    return np.asarray((parts.weight * gain).sum(axis=1))


def net_draws(model: CounterModel, parts: Parts) -> Array:
    """Margin − displaced + later installs, a draw each. [money]"""
    return np.asarray(parts.margin - displaced_draws(model, parts) + later_draws(model, parts))


# --- making it ----------------------------------------------------------------------------------


def _with_staff(
    sales: pd.DataFrame, use: pd.DataFrame, earned: float, takes_installers: bool
) -> pd.DataFrame:
    """The month of each sale, and staff time beyond the minutes written down at their wage."""
    month = sales["sold_on"].dt.to_period("M").dt.to_timestamp()
    # A month whose use is not known counts as idle: a displaced install then counts in full.
    refill = month.map(use["refill_share"]).astype("float64").fillna(0.0)
    minutes = sales["minutes"].astype("float64")
    usual = minutes.fillna(minutes.mean()) if minutes.notna().any() else minutes.fillna(0.0)
    known_earned = 0.0 if np.isnan(earned) else earned
    rate = staff_rate(sales["staff_rate"], known_earned, refill, takes_installers)
    cost = (usual / 60 * rate).where(usual > 0, 0.0)
    other = cost - sales["staff_cost"]
    full = staff_rate(sales["staff_rate"], known_earned, 1.0, takes_installers)
    blank = minutes.isna() & bool(minutes.notna().any())
    known = sales["revenue"] + sales["extras_margin"] - sales["payment_fee"] - sales["film_cost"]
    return sales.assign(
        month_kind=month.map(use["month_kind"]).astype("str").fillna(NOT_KNOWN),
        refill_share=refill,
        usual_minutes=usual,
        other_staff_cost=other,
        a_minute_more=(rate / 60).where(blank, 0.0),
        more_if_full=(usual / 60 * (full - rate)).where(usual > 0, 0.0),
        margin=known - sales["staff_cost"] - other,
    )


def _minutes_error(minutes: pd.Series, draws: int, rng: np.random.Generator) -> Array:
    """Draws of the error of the mean of the minutes that are written down. [min]"""
    known = minutes.dropna().astype("float64")
    # A single note tells no spread: then it may be as large as the note.
    spread = float(known.std()) if len(known) > 1 else float(known.sum())
    return np.asarray(centred(rng.standard_normal(draws)) * spread / np.sqrt(max(len(known), 1)))


def _kinds(
    sales: pd.DataFrame, installs: Installs, displaced: Displaced
) -> tuple[npt.NDArray[np.int64], Array, npt.NDArray[np.int64]]:
    """Kinds of sales: the kind of each, each kind's mix of install cells, and its answers' column.

    A sale without a service, or of one that was never done, stands in for the mix of the other
    sales of its film, else of all. A kind of which nothing is known has a mix of NaN.
    """
    cell = installs.cell_of(sales)
    column = displaced.services.get_indexer(pd.Index(sales["service"]))
    column = np.where(column >= 0, column, len(displaced.services))
    known = cell >= 0
    film = pd.Series(np.where(known, "", sales["film"].fillna("")), index=sales.index)
    keys = pd.MultiIndex.from_arrays([column, cell, film])
    kinds, every = pd.factorize(keys)
    size = len(installs.cells)
    mixes = np.full((len(every), size), np.nan)
    whole = installs.cells["vehicle_class"].isna().to_numpy()
    usual = np.repeat(np.flatnonzero(whole), installs.cells.loc[whole, "jobs"])
    for at, (_, own, of_film) in enumerate(every):
        chosen = cell[known & (sales["film"] == of_film).to_numpy()] if own < 0 else cell[:0]
        # Of sales that all name no service it is taken that they stand in for what the shop does.
        others = chosen if len(chosen) else cell[known] if known.any() else usual
        if own >= 0:
            mixes[at] = np.eye(size)[own]
        elif len(others):
            mixes[at] = np.bincount(others, minlength=size) / len(others)
    return kinds.astype(np.int64), mixes, np.array([key[0] for key in every], dtype=np.int64)


def _later_apart(
    costing: Costing,
    records: Records,
    sales: pd.DataFrame,
    later: Later,
    kinds: npt.NDArray[np.int64],
    mixes: Array,
    installs: Installs,
    day: pd.Timestamp,
    rng: np.random.Generator,
    draws: int,
) -> Array:
    """What a later install leaves beyond one of the service that the sale stands in for. [money]

    The mean over the jobs that came, drawn towards 0 with the weight of `WIDER_JOBS` jobs: n ÷
    (n + 3); a job of which a line is not finished says nothing yet.
    """
    lines = net_of_redos(costing, day)
    every = costing.lines[~costing.lines["is_redo"]]
    open_jobs = every.loc[~(every["finished"] & (every["finished_on"] <= day)), "job_id"]
    lines = lines[~lines["job_id"].isin(open_jobs)]
    of_job = lines.groupby("job_id")["leaves"].sum(skipna=False)
    usual = (mixes @ installs.cells["contribution"].to_numpy(dtype=np.float64))[kinds]
    came = sales[later.came].assign(usual=usual[later.came.to_numpy()])
    apart = (came["later_job_id"].map(of_job) - came["usual"]).dropna()
    count = len(apart)
    mean = float(apart.sum()) / (count + WIDER_JOBS)
    spread = float(apart.std()) if count > WIDER_JOBS else installs.spread
    error = (0.0 if np.isnan(spread) else spread) / np.sqrt(count + WIDER_JOBS)
    return np.asarray(mean + centred(rng.standard_normal(draws)) * error)


def _with_expected(model: CounterModel) -> CounterModel:
    """The sales with what is expected of each, every chance at its mean."""
    sales = model.sales
    kind = sales["kind"].to_numpy(dtype=np.int64)
    share, leaves, gain = (
        pd.Series(each[kind], index=sales.index)
        for each in (model.mean_share, model.mean_install, model.mean_gain)
    )
    cost = displaced_cost(share, leaves, sales["refill_share"])
    expected = sales["margin"] - cost + gain
    full = sales.assign(
        displaced_share=share,
        install_contribution=leaves,
        displaced_cost=cost,
        later_installs=gain,
        expected_net=expected,
        told=expected.notna(),
    )
    return replace(model, sales=full)
