"""What film costs once it is on: film with its waste, the hours to lay it, and doing it over."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import betaln, stdtrit

from analysis.arrays import Array, Codes
from analysis.costing.jobs import Costing
from analysis.costing.labour import mean_rate
from analysis.errors import Unavailable
from analysis.film_tables import FILM_INSTALLED
from analysis.findings.evidence import LEVEL, is_enough
from analysis.findings.film_effects import DRAWS, FILM_SD, FilmEffects, hours_effects
from analysis.findings.film_trends import film_by_day
from analysis.records.model import Records
from analysis.sums import strict_sum
from analysis.units import square_metres_per

MONTHS: Final = 12
_KEYS: Final = ["service", "film"]
# How far a row's jobs scatter is drawn towards all rows' with the weight of so many jobs; common
# practice, no source.
_SCATTER_JOBS: Final = 4.0
# How strongly a film's redos are drawn to the service's, in jobs: all alike before the data speak.
_STRENGTHS: Final = 5.0 * 2.0 ** np.arange(8)
# A service's share of redos is expected near the shop's with the weight of so many jobs.
_SERVICE_JOBS: Final = 10.0


@dataclass(frozen=True, eq=False)
class FilmCosts:
    """Cost of finished area by service and film, in figures and in draws.

    `table` : columns of `FILM_INSTALLED` (inside), and `roll_width_m` that the price is of; `use` :
    film consumed ÷ finished area; `hours` : hours a finished area, the film's effect included
    [h/m²]; `redo` : share done over (each rows × draws); `rate` : mean loaded rate [money / h].
    """

    table: pd.DataFrame
    use: Array
    hours: Array
    redo: Array
    rate: float


def film_installed(costs: FilmCosts | Unavailable) -> pd.DataFrame | Unavailable:
    """Cost of a unit of finished area by service and film, at today's prices and wages.

    Columns of `FILM_INSTALLED` (inside); `costs`, and what each figure is: `film_costs`.
    """
    if isinstance(costs, Unavailable):
        return costs
    return costs.table[FILM_INSTALLED.inside_names]


def film_costs(
    costing: Costing,
    records: Records,
    effects: FilmEffects | Unavailable,
    until: pd.Timestamp,
    fewest: int,
    seed: int = 0,
) -> FilmCosts | Unavailable:
    """What a finished area costs in each service and film.

    Parameters
    ----------
    costing, records : up to the day `until` or later
    effects : from `film_effects`
    fewest : jobs
    seed : of the draws

    Notes
    -----
    film cost = newest landed cost of the film's main roll width ÷ (1 − waste share), the waste that
    of the job lines whose cuts were all measured. Labour = hours a finished area of the service's
    lines that have both × the film's effect × mean loaded rate of the last twelve months. Redo =
    share × (film + labour). `hours_per_area` is for one of the shop's area unit. The interval is of
    draws: film use and hours by Student's distribution on the logarithm of the ratio of two sums,
    clustered by job (linearised: Cochran 1977, Sampling Techniques, section 6.3; from memory); the
    film's effect; and redos. Where the effect of a film beside others is not known, it may be that
    of any film (`FILM_SD`). A film never bought has no cost.
    """
    rng = np.random.default_rng([seed, 2])
    lines = first_time(costing, until)
    rows = lines.groupby(_KEYS).size().rename("jobs").reset_index()
    if rows.empty:
        return Unavailable(
            "film_installed",
            ("jobs",),
            "What film costs once it is on needs finished jobs whose film is written down.",
        )
    use, use_sd, use_free = _film_use(costing, lines, rows, until)
    price = _main_prices(costing, rows, until)
    hours, drawn_hours = _hours(lines, rows, effects, rng, seed)
    redo, drawn_redo = _redos(costing, lines, rows, until, rng)
    rate = mean_rate(costing.log, records.settings.labour, until + pd.DateOffset(days=1)).rate
    drawn_use = _drawn(use, use_sd, use_free, rng)
    film = price["cost_per_m2"].to_numpy() * use
    labour = hours["hours_per_m2"].to_numpy() * rate
    drawn = price["cost_per_m2"].to_numpy()[:, None] * drawn_use + drawn_hours * rate
    low, high = interval(drawn * (1 + drawn_redo))
    unit = square_metres_per(records.settings.area_unit)
    table = pd.concat([rows, hours], axis=1).assign(
        roll_width_m=price["roll_width_m"],
        newest_cost_per_m2=price["cost_per_m2"],
        waste_share=1 - 1 / use,
        film_cost_per_m2=film,
        hours_per_area=hours["hours_per_m2"] * unit,
        labour_cost_per_m2=labour,
        redo_share=redo,
        redo_cost_per_m2=redo * (film + labour),
        installed_cost_per_m2=(film + labour) * (1 + redo),
        installed_low_per_m2=low,
        installed_high_per_m2=high,
        enough=is_enough(rows["jobs"], fewest),
    )
    return FilmCosts(table, drawn_use, drawn_hours, drawn_redo, rate)


def first_time(costing: Costing, until: pd.Timestamp) -> pd.DataFrame:
    """The first-time job lines finished up to a day, by their position in `costing.lines`."""
    lines = costing.lines.reset_index(drop=True)
    return lines[lines["finished"] & ~lines["is_redo"] & (lines["finished_on"] <= until)]


def interval(drawn: Array) -> tuple[Array, Array]:
    """The 90 % interval of draws (rows × draws); missing where they are."""
    low, high = np.quantile(drawn, [(1 - LEVEL) / 2, (1 + LEVEL) / 2], axis=1)
    return low, high


def newest_roll_costs(
    lines: pd.DataFrame, credits: pd.DataFrame, until: pd.Timestamp
) -> pd.DataFrame:
    """Newest landed cost of each film and roll width bought up to a day, whoever sold it.

    Returns
    -------
    DataFrame
        film, roll_width_m, `bought_on`, `cost_per_m2`, `is_main` (the width of which most area was
        bought in the twelve months to the day, else ever; of equals the wider).
    """
    known = credits[credits["received_on"] <= until]
    bought = film_by_day(lines[lines["received_on"] <= until], known)
    recent = bought["received_on"] > until - pd.DateOffset(months=MONTHS)
    bought = bought.assign(area_year=bought["area_m2"].where(recent, 0.0))
    by_width = bought.groupby(["film", "roll_width_m"])
    last = by_width["received_on"].transform("max")
    newest = bought[bought["received_on"] == last].groupby(["film", "roll_width_m"])
    sums = newest[["area_m2", "landed"]].sum()
    table = by_width.agg(
        bought_on=("received_on", "max"), ever=("area_m2", "sum"), year=("area_year", "sum")
    ).assign(cost_per_m2=sums["landed"] / sums["area_m2"])
    table = table.reset_index()
    order = ["film", "year", "ever", "roll_width_m"]
    main = table.sort_values(order, kind="stable").drop_duplicates("film", keep="last").index
    columns = ["film", "roll_width_m", "bought_on", "cost_per_m2"]
    return table[columns].assign(is_main=table.index.isin(main))


def _main_prices(costing: Costing, rows: pd.DataFrame, until: pd.Timestamp) -> pd.DataFrame:
    """Newest landed cost of each row's film, at its main roll width, and that width."""
    newest = newest_roll_costs(costing.purchase_lines, costing.credits, until)
    main = newest.loc[newest["is_main"], ["film", "roll_width_m", "cost_per_m2"]]
    return rows[["film"]].merge(main, how="left", on="film", validate="m:1")


def _film_use(
    costing: Costing, lines: pd.DataFrame, rows: pd.DataFrame, until: pd.Timestamp
) -> tuple[Array, Array, Array]:
    """Film consumed ÷ finished area by row, sd of its logarithm, degrees of freedom."""
    pulls = costing.shelf.pulls
    own = pulls[pulls["job_line"].notna() & (pulls["cut_on"] <= until)]
    line = own["job_line"].astype("int64")
    # Film of another kind on the same line is not this film's waste.
    own = own[line.map(lines["film"]).astype("str") == own["film"]]
    line = own["job_line"].astype("int64")
    sums = pd.DataFrame(
        {name: strict_sum(own[name], line) for name in ("consumed_m2", "finished_area_m2")}
    ).dropna()
    return ratio_of_sums(
        sums["consumed_m2"],
        sums["finished_area_m2"],
        _row_of(lines.loc[sums.index], rows, _KEYS),
        lines.loc[sums.index, "job_id"],
        len(rows),
    )


def _row_of(lines: pd.DataFrame, rows: pd.DataFrame, keys: list[str]) -> Codes:
    """Position in `rows` of each line, by its keys."""
    index = pd.MultiIndex.from_frame(rows[keys])
    return np.asarray(index.get_indexer(pd.MultiIndex.from_frame(lines[keys])), dtype=np.int64)


def ratio_of_sums(
    top: pd.Series, bottom: pd.Series, row: Codes, cluster: pd.Series, rows: int
) -> tuple[Array, Array, Array]:
    """Σ top ÷ Σ bottom by row, the sd of its logarithm, and the degrees of freedom.

    `row` : 0..rows-1 of each value; `cluster` : values of one cluster go together. Missing where a
    sum is not above 0. How far a row's clusters scatter is drawn towards what all rows' do.
    """
    frame = pd.DataFrame({"top": top, "bottom": bottom, "row": row, "cluster": cluster})
    each = frame.groupby(["row", "cluster"])[["top", "bottom"]].sum().reset_index()
    at = each["row"].to_numpy(dtype=np.int64)
    number, above, below = (
        np.bincount(at, weight, rows).astype(np.float64)
        for weight in (np.ones(len(at)), each["top"], each["bottom"])
    )
    known = (above > 0) & (below > 0)
    above, below = np.where(known, above, np.nan), np.where(known, below, np.nan)
    share = above / below
    # Each cluster's distance from the ratio, as a share of the mean cluster.
    away = (each["top"] - share[at] * each["bottom"]).to_numpy() * (number / above)[at]
    squares = np.bincount(at, np.nan_to_num(away) ** 2, rows)
    free = np.where(known, number - 1, 0.0)
    pooled = squares.sum() / free.sum() if free.sum() > 0 else np.nan
    variance = (squares + _SCATTER_JOBS * pooled) / (free + _SCATTER_JOBS)
    return share, np.sqrt(variance / np.maximum(number, 1)), free + _SCATTER_JOBS


def _drawn(middle: Array, log_sd: Array, free: Array, rng: np.random.Generator) -> Array:
    """Draws around a ratio, Student's in its logarithm. (rows × draws)"""
    even = np.tile((np.arange(DRAWS) + 0.5) / DRAWS, (len(middle), 1))
    away = stdtrit(free[:, None], rng.permuted(even, axis=1))
    return np.asarray(middle[:, None] * np.exp(log_sd[:, None] * away))


def _hours(
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    effects: FilmEffects | Unavailable,
    rng: np.random.Generator,
    seed: int,
) -> tuple[pd.DataFrame, Array]:
    """Effect of each row's film, hours a finished area, and draws of those hours."""
    both = lines[(lines["finished_area_m2"] > 0) & (lines["actual_hours"] > 0)]
    services = rows[["service"]].drop_duplicates(ignore_index=True)
    both = both[both["service"].isin(services["service"])]
    level, level_sd, free = ratio_of_sums(
        both["actual_hours"],
        both["finished_area_m2"],
        _row_of(both, services, ["service"]),
        both["job_id"],
        len(services),
    )
    blank = pd.DataFrame(np.nan, rows.index, ["hours_effect_share", "low_share", "high_share"])
    found, drawn = blank, np.full((len(rows), DRAWS), np.nan)
    if not isinstance(effects, Unavailable):
        found = hours_effects(effects, rows[_KEYS], seed)
        drawn = effects.drawn(effects.against_average(rows[_KEYS]), rng)
    # The one film of a service is its average; one of several without an effect may have any.
    alone = (~rows["service"].duplicated(keep=False)).to_numpy()
    spread = np.where(alone, 0.0, FILM_SD)[:, None] * rng.standard_normal(drawn.shape)
    drawn = np.where(np.isnan(drawn), spread, drawn)
    at = _row_of(rows, services, ["service"])
    hours = level[at] * (1 + found["hours_effect_share"].fillna(0.0))
    by_service = _drawn(level, level_sd, free, rng)
    return found.assign(hours_per_m2=hours), by_service[at] * np.exp(drawn)


def _redos(
    costing: Costing,
    lines: pd.DataFrame,
    rows: pd.DataFrame,
    until: pd.Timestamp,
    rng: np.random.Generator,
) -> tuple[Array, Array]:
    """Expected share of jobs done over by row, and draws of it."""
    every = costing.lines.reset_index(drop=True)
    over = every[every["is_redo"] & every["finished"] & (every["finished_on"] <= until)]
    redone = lines.index.isin(over["root"].dropna().astype("int64"))
    counted = lines[lines["film"].notna()]
    at = _row_of(counted, rows, _KEYS)
    hits = redone[lines["film"].notna().to_numpy()].astype(np.float64)
    redos = np.bincount(at, hits, len(rows)).astype(np.float64)
    service = np.asarray(pd.factorize(rows["service"])[0], dtype=np.int64)
    return pooled_shares(redos, rows["jobs"].to_numpy(dtype=np.float64), service, rng)


def pooled_shares(
    hits: Array, number: Array, group: Codes, rng: np.random.Generator
) -> tuple[Array, Array]:
    """Shares hits ÷ number, drawn to their group's: mean (rows,) and draws (rows × draws).

    Each row's share is Beta around its group's, as strongly as the rows of all groups say; the
    group's is Beta around the share of all. Both are weighed over a grid by the beta-binomial
    likelihood (Skellam 1948, Journal of the Royal Statistical Society B 10:257-261; Gelman et al.
    2013, Bayesian Data Analysis, section 5.3; from memory).
    """
    root = (np.arange(200) + 0.5) / 200
    share = root**2
    whole = (hits.sum() + 1) / (number.sum() + _SERVICE_JOBS)
    a, b = _SERVICE_JOBS * whole, _SERVICE_JOBS * (1 - whole)
    # A grid in the root of the share is finer near 0; its width there belongs to the weight.
    prior = (a - 1) * np.log(share) + (b - 1) * np.log1p(-share) + np.log(root)
    alpha = _STRENGTHS[:, None] * share
    beta = _STRENGTHS[:, None] * (1 - share)
    x, left = hits[:, None, None], (number - hits)[:, None, None]
    likely = betaln(x + alpha, left + beta) - betaln(alpha, beta)
    log = np.zeros((int(group.max()) + 1, *alpha.shape))
    np.add.at(log, group, likely)
    log += prior
    most = log.max(axis=(1, 2), keepdims=True)
    weight = np.exp(log - most)
    of_group = weight.sum(axis=2)
    strength = np.log(of_group).sum(axis=0)
    strength = np.exp(strength - strength.max())
    strength /= strength.sum()
    within = weight / of_group[:, :, None]
    mean = (x + alpha) / (number[:, None, None] + _STRENGTHS[:, None])
    middle = np.einsum("rkm,rkm,k->r", within[group], mean, strength)
    which = rng.choice(len(_STRENGTHS), DRAWS, p=strength)
    picked = np.empty((len(within), DRAWS))
    for at, each in enumerate(within):
        below = np.cumsum(each, axis=1)[which] < rng.random((DRAWS, 1))
        picked[at] = share[np.minimum(below.sum(axis=1), len(share) - 1)]
    picked = picked[group]
    drawn = rng.beta(
        hits[:, None] + picked * _STRENGTHS[which],
        (number - hits)[:, None] + (1 - picked) * _STRENGTHS[which],
    )
    return middle, drawn
