"""Last year's jobs again, in another film or off another roll width, at today's prices."""

from typing import Any, Final

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from analysis.arrays import Array
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.film_tables import FILM_SWAPS
from analysis.findings.evidence import LEVEL, is_enough
from analysis.findings.film_effects import FilmEffects
from analysis.findings.film_installed import (
    MONTHS,
    FilmCosts,
    first_time,
    interval,
    newest_roll_costs,
)
from analysis.packing.layouts import LEAST_LENGTH
from analysis.packing.packed_sets import PLACES, PackedSets, Packer, sets_of_pieces
from analysis.records.model import Records
from analysis.settings import Settings

# A width that was bought this long ago may be bought again.
_WIDTH_MONTHS: Final = 24
_SET: Final = ["job_line", "film", "roll_width_m"]
CHEAPER, DEARER, CANNOT_TELL = "cheaper", "dearer", "cannot tell"


def film_swaps(
    costing: Costing,
    records: Records,
    costs: FilmCosts | Unavailable,
    effects: FilmEffects | Unavailable,
    until: pd.Timestamp,
    fewest: int,
    pack: Packer,
    seed: int = 0,
) -> pd.DataFrame | Unavailable:
    """What the first-time job lines of the last twelve months would have cost otherwise.

    Columns of `FILM_SWAPS` (inside): first the films (`other_films`), then the widths
    (`other_widths`), in which `instead_film` is missing. The verdict is the interval's: cheaper
    where all of it is under 0, dearer where all of it is over 0, and neither from fewer than
    `fewest` jobs. `costs` comes from `film_costs`; `pack` lays pieces on one roll (pieces, sheet,
    room for the knife [m]).
    """
    if isinstance(costs, Unavailable):
        return Unavailable("film_swaps", costs.missing, costs.line)
    parts = [
        other_films(costing, costs, effects, until, fewest, seed),
        other_widths(costing, records.settings, until, pack),
    ]
    filled = [part for part in parts if len(part)]
    if not filled:
        return Unavailable(
            "film_swaps",
            ("jobs", "purchases"),
            "No service of the last twelve months has been done in two films often enough, and no "
            "film was bought in two roll widths.",
        )
    table = pd.concat(filled, ignore_index=True)
    enough = is_enough(table["jobs"], fewest)
    verdict = np.select(
        [~enough.to_numpy(bool), table["difference_high"] < 0, table["difference_low"] > 0],
        [CANNOT_TELL, CHEAPER, DEARER],
        CANNOT_TELL,
    )
    words = pd.Series(verdict, index=table.index, dtype="str")
    return table.assign(verdict=words, enough=enough)[FILM_SWAPS.inside_names]


def other_films(
    costing: Costing,
    costs: FilmCosts,
    effects: FilmEffects | Unavailable,
    until: pd.Timestamp,
    fewest: int,
    seed: int = 0,
) -> pd.DataFrame:
    """The same service in another film: each two that were used `fewest` times in it to date.

    As done = finished area × the film's cost of finished area + actual hours × mean loaded rate,
    and the film's share of redos once more; instead the same with the other film's, its hours by
    the ratio of the two films' effects. Like with like: both films with the waste of all their
    jobs of the service. A job line without hours or without a finished area takes no part; a
    service whose films' effects on the hours cannot be told, and a film never bought, has no cost.
    The interval is of draws over waste, hours and redos. That one film's jobs were on larger
    vehicles by chance is in the scatter of its waste; that it always is, is not allowed for.
    """
    table = costs.table.reset_index(names="at")
    pairs = table[table["jobs"] >= fewest].merge(
        table[table["jobs"] >= fewest],
        on="service",
        suffixes=("", "_instead"),
        validate="m:m",
    )
    pairs = pairs[pairs["film"] != pairs["film_instead"]].reset_index(drop=True)
    work = _worked(first_time(costing, until), until)
    pairs = pairs.merge(work, on=["service", "film"], validate="m:1")
    if pairs.empty or isinstance(effects, Unavailable):
        return _nothing()
    own, instead = (pairs[name].to_numpy(dtype=np.int64) for name in ("at", "at_instead"))
    weights = effects.against(pairs["film"], pairs["film_instead"])
    area, hours = (pairs[name].to_numpy() for name in ("area_m2", "hours"))
    labour = hours * costs.rate
    film = costs.table["film_cost_per_m2"].to_numpy()
    redo = costs.table["redo_share"].to_numpy()
    ratio = np.exp(effects.middle(weights))
    done = (area * film[own] + labour) * (1 + redo[own])
    other = (area * film[instead] + labour * ratio) * (1 + redo[instead])
    drawn = _drawn(costs, effects, weights, own, instead, area, labour, seed)
    low, high = interval(drawn)
    return _rows(
        pairs,
        instead_film=pairs["film_instead"],
        roll_width_m=np.nan,
        instead_width_m=np.nan,
        jobs=pairs["lines"],
        as_done_cost=done,
        instead_cost=other,
        difference=other - done,
        difference_low=low,
        difference_high=high,
    )


def _worked(lines: pd.DataFrame, until: pd.Timestamp) -> pd.DataFrame:
    """Finished area and hours of the last twelve months by service and film."""
    recent = lines[
        (lines["finished_on"] > until - pd.DateOffset(months=MONTHS))
        & (lines["finished_area_m2"] > 0)
        & (lines["actual_hours"] > 0)
    ]
    return recent.groupby(["service", "film"], as_index=False).agg(
        lines=("job_id", "size"), area_m2=("finished_area_m2", "sum"), hours=("actual_hours", "sum")
    )


def _drawn(
    costs: FilmCosts,
    effects: FilmEffects,
    weights: Array,
    own: np.ndarray,
    instead: np.ndarray,
    area: Array,
    labour: Array,
    seed: int,
) -> Array:
    """Draws of the difference. (pairs × draws)"""
    price = costs.table["newest_cost_per_m2"].to_numpy()[:, None]
    film = price * costs.use
    drawn = np.exp(effects.drawn(weights, np.random.default_rng([seed, 3])))
    done = (area[:, None] * film[own] + labour[:, None]) * (1 + costs.redo[own])
    other = (area[:, None] * film[instead] + labour[:, None] * drawn) * (1 + costs.redo[instead])
    return np.asarray(other - done)


def other_widths(
    costing: Costing, settings: Settings, until: pd.Timestamp, pack: Packer
) -> pd.DataFrame:
    """The same film off another width that was bought in the last two years.

    The pieces of each job line's first-time cuts off rolls of one film and width are packed at that
    width and at the other, each at its newest landed cost: like with like, so that the difference
    is the width's and not the packing's. Film alone; hours and redos are the same. A job line with
    a piece without sizes, or that does not fit on both widths, takes no part, nor does a cut whose
    width is not that of a roll bought in those two years. The interval is
    Student's over the jobs' differences: another year's jobs would have differed so.
    """
    newest = newest_roll_costs(costing.purchase_lines, costing.credits, until)
    newest = newest[newest["bought_on"] > until - pd.DateOffset(months=_WIDTH_MONTHS)]
    newest = newest.assign(roll_width_m=newest["roll_width_m"].round(PLACES))
    prices = newest[["film", "roll_width_m", "cost_per_m2"]].drop_duplicates(
        ["film", "roll_width_m"], keep="last"
    )
    sets = _sets(costing, settings, until)
    pairs = sets.merge(prices, on=["film", "roll_width_m"], validate="m:1").merge(
        prices, on="film", suffixes=("", "_instead"), validate="m:m"
    )
    pairs = pairs[pairs["roll_width_m"] != pairs["roll_width_m_instead"]]
    narrower = pairs[["roll_width_m", "roll_width_m_instead"]].min(axis=1)
    fits = pairs["across_m"] <= narrower + LEAST_LENGTH / 4
    fits &= pairs["along_m"] <= settings.longest_pull_m + LEAST_LENGTH
    pairs = pairs[fits].reset_index(drop=True)
    if pairs.empty:
        return _nothing()
    packer = PackedSets(pack, settings.knife_gap_m)
    for end in ("", "_instead"):
        width = pairs["roll_width_m" + end]
        packed = [packer.length_m(*each) for each in zip(pairs["pieces"], width, strict=True)]
        length = pd.Series(packed, pairs.index, dtype="float64")
        pairs = pairs.assign(**{"cost" + end: length * width * pairs["cost_per_m2" + end]})
    return _by_pair(pairs)


def _sets(costing: Costing, settings: Settings, until: pd.Timestamp) -> pd.DataFrame:
    """The pieces of each job line, film and width of the last twelve months.

    `pieces` : how many of each size; `across_m` : the least width that takes all of
    them; `along_m` : the longest, laid so.
    """
    lines = first_time(costing, until)
    lines = lines[lines["finished_on"] > until - pd.DateOffset(months=MONTHS)]
    pulls = costing.shelf.pulls
    cuts = pulls[
        pulls["job_line"].isin(lines.index)
        & (pulls["reason"] == "first")
        & (pulls["source"] != "offcut")
        & pulls["pulled_width_m"].notna()
    ]
    sizes = cuts[["piece_length_m", "piece_width_m"]].round(PLACES)
    may_turn = ~cuts["film"].isin(list(settings.film.directional))
    least, most = sizes.min(axis=1), sizes.max(axis=1)
    cuts = cuts.assign(
        job_line=cuts["job_line"].astype("int64"),
        roll_width_m=cuts["pulled_width_m"].round(PLACES),
        long=sizes["piece_length_m"],
        wide=sizes["piece_width_m"],
        may_turn=may_turn,
        across_m=sizes["piece_width_m"].where(~may_turn, least),
        along_m=sizes["piece_length_m"].where(~may_turn, most),
        known=sizes.notna().all(axis=1) & cuts["pieces"].notna(),
    )
    whole = cuts.groupby(_SET)["known"].transform("all")
    cuts = cuts[whole]
    grouped = cuts.groupby(_SET, sort=True)
    found = grouped.agg(across_m=("across_m", "max"), along_m=("along_m", "max")).reset_index()
    pieces = pd.Series(sets_of_pieces(cuts, grouped.ngroup()), dtype="object")
    labels = lines.loc[found["job_line"], ["service", "job_id"]].reset_index(drop=True)
    return pd.concat([found, labels], axis=1).assign(pieces=pieces.reindex(found.index))


def _by_pair(pairs: pd.DataFrame) -> pd.DataFrame:
    """Sums by service, film and the two widths, with the interval over the jobs."""
    keys = ["service", "film", "roll_width_m", "roll_width_m_instead"]
    pairs = pairs.assign(difference=pairs["cost_instead"] - pairs["cost"])
    lines = pairs.groupby(keys)["job_line"].nunique()
    by_job = pairs.groupby([*keys, "job_id"])[["cost", "cost_instead", "difference"]].sum()
    grouped = by_job.groupby(level=keys)
    sums, jobs = grouped.sum(), grouped.size()
    # The sum of so many jobs, each of which might have been another.
    reach = stdtrit((jobs - 1).where(jobs > 1), (1 + LEVEL) / 2) * np.sqrt(
        jobs * grouped["difference"].var()
    )
    table = sums.assign(lines=lines, reach=reach).reset_index()
    return _rows(
        table,
        instead_film=pd.Series(np.nan, index=table.index, dtype="str"),
        roll_width_m=table["roll_width_m"],
        instead_width_m=table["roll_width_m_instead"],
        jobs=table["lines"],
        as_done_cost=table["cost"],
        instead_cost=table["cost_instead"],
        difference=table["difference"],
        difference_low=table["difference"] - table["reach"],
        difference_high=table["difference"] + table["reach"],
    )


def _rows(table: pd.DataFrame, **columns: Any) -> pd.DataFrame:
    return table[["service", "film"]].assign(**columns)


def _nothing() -> pd.DataFrame:
    return pd.DataFrame(columns=[*FILM_SWAPS.inside_names])
