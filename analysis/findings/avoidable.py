"""Side loss that a better layout would have saved: past cuts packed again, as the shop could have.

Per film, roll width and day, the pieces cut first-time for jobs are packed across the roll; what
was pulled over and above that, and not kept, need not have been. The same within each job alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.errors import Unavailable
from analysis.findings.groups import Period
from analysis.packing.layouts import LEAST_LENGTH
from analysis.packing.pack import pack_quick
from analysis.packing.packed_sets import PLACES, PackedSets, Packer, sets_of_pieces
from analysis.settings import Settings
from analysis.sums import ratio

_LEAST_SAVED: Final = 1e-4
_DAY: Final = ["film", "width", "cut_on"]
_JOB: Final = [*_DAY, "job_id"]


@dataclass(frozen=True, eq=False)
class LaidAgain:
    """Past cuts laid out again.

    `areas` : on the index of the pulls, `avoidable_area_m2` (packing the day's pieces of a film and
    roll width) and `avoidable_in_job_area_m2` (packing each job's by themselves; more than the
    day's, where another job of the day kept more than it could have saved). Missing where a piece
    has no sizes; 0 for every other pull, and for a piece that no roll of that width could have
    held. `jobs` : a row a job, film, roll width and day, columns of `AVOIDABLE_BY_JOB`.
    """

    areas: pd.DataFrame
    jobs: pd.DataFrame


def lay_again(
    pulls: pd.DataFrame, directional: Sequence[str], knife_gap_m: float, pack: Packer
) -> LaidAgain:
    """What each pull lost at the side for want of a better layout. [m²]

    Parameters
    ----------
    pulls : pulls of film (`Shelf.pulls`)
    directional : films whose pieces keep their direction
    knife_gap_m : room that the knife needs between two pieces [m]
    pack : packs pieces on one width; takes pieces, sheet and gap

    Notes
    -----
    Σ pulled length × width of the first-time roll cuts of jobs − shortest length × width − kept,
    not below 0, shared over the cuts by their side loss.
    """
    ours = (
        (pulls["owner"] == "jobs")
        & (pulls["source"] != "offcut")
        & (pulls["reason"] == "first")
        & pulls["pulled_m2"].notna()
    )
    has_sizes = pulls[["piece_length_m", "piece_width_m", "pieces"]].notna().all(axis=1)
    zero = pd.Series(0.0, index=pulls.index).mask(ours & ~has_sizes)
    cuts = _fitting(pulls[ours & has_sizes], directional)
    packer = PackedSets(pack, knife_gap_m)
    in_job, groups = _shared(cuts, _JOB, packer)
    by_day, _ = _shared(cuts, _DAY, packer, groups["packed_m"])
    areas = {
        "avoidable_area_m2": by_day.reindex(pulls.index).fillna(zero),
        "avoidable_in_job_area_m2": in_job.reindex(pulls.index).fillna(zero),
    }
    return LaidAgain(pd.DataFrame(areas), _by_job(cuts, in_job, groups))


def lay_past_cuts(
    pulls: pd.DataFrame, first: pd.Timestamp, last: pd.Timestamp, settings: Settings
) -> LaidAgain:
    """`lay_again` for the pulls of a span of days, by the quick packer."""
    chosen = pulls[pulls["cut_on"].between(first, last)]
    return lay_again(chosen, settings.film.directional, settings.knife_gap_m, pack_quick)


def avoidable_by_job(laid: LaidAgain, period: Period) -> pd.DataFrame | Unavailable:
    """The jobs of a period whose own pieces could have been laid out better, worst first."""
    if laid.jobs.empty:
        return Unavailable(
            "avoidable_by_job",
            ("cuts",),
            "Laying cuts out again needs piece_length and piece_width in cuts.",
        )
    rows = laid.jobs[period.holds(laid.jobs["cut_on"]) & (laid.jobs["avoidable_area_m2"] > 0)]
    return rows.sort_values(
        ["avoidable_area_m2", "job_id"], ascending=[False, True], kind="stable", ignore_index=True
    )


def _by_job(cuts: pd.DataFrame, in_job: pd.Series, groups: pd.DataFrame) -> pd.DataFrame:
    """One row a group of `_JOB`, with what was pulled and what would have done."""
    cost = cuts["film_cost"] * ratio(in_job, cuts["consumed_m2"]).fillna(0.0)
    rows = cuts.assign(avoidable_area_m2=in_job, avoidable_cost=cost)
    by = rows.groupby(_JOB, sort=False, dropna=False)
    table = by[["pieces", "pulled_m2", "kept_m2", "avoidable_area_m2"]].sum()
    table["avoidable_cost"] = by["avoidable_cost"].sum(min_count=1)
    table = table.reset_index().join(groups["packed_m"])
    return table.assign(
        pieces=table["pieces"].astype("int64"),
        roll_width_m=table["width"],
        pulled_length_m=table["pulled_m2"] / table["width"],
        shortest_length_m=table["packed_m"],
        kept_area_m2=table["kept_m2"],
    )


def _fitting(cuts: pd.DataFrame, directional: Sequence[str]) -> pd.DataFrame:
    """The cuts whose pieces their roll can hold, with sizes rounded for comparing."""
    cuts = cuts.assign(
        width=cuts["pulled_width_m"].round(PLACES),
        long=cuts["piece_length_m"].round(PLACES),
        wide=cuts["piece_width_m"].round(PLACES),
        may_turn=~cuts["film"].isin(list(directional)),
    )
    across = cuts["wide"].where(~cuts["may_turn"], cuts[["long", "wide"]].min(axis=1))
    return cuts[across <= cuts["width"] + LEAST_LENGTH / 4]


def _shared(
    cuts: pd.DataFrame, by: list[str], packer: PackedSets, jobs_m: pd.Series | None = None
) -> tuple[pd.Series, pd.DataFrame]:
    """Avoidable area of each group of cuts, shared over them by their side loss. [m²]

    The second frame has a row a group in order of first appearance, with `packed_m`. `jobs_m` is
    that of the groups by `_JOB`: its jobs one after another are a layout of the day too, which
    counts where the quick packer finds none better.
    """
    if cuts.empty:
        return pd.Series(dtype="float64", index=cuts.index), pd.DataFrame({"packed_m": []})
    number = cuts.groupby(by, sort=False, dropna=False).ngroup()
    sums = cuts[["pulled_m2", "kept_m2"]].groupby(number).sum()
    width = cuts["width"].groupby(number).first()
    worth = _could_save(cuts, number, sums, width)
    # Where nothing can be saved, how short a layout could be is not looked for.
    looked_at = number.map(worth)
    sets = sets_of_pieces(cuts[looked_at], number[looked_at])
    packed = {group: packer.length_m(pieces, width[group]) for group, pieces in sets.items()}
    sums["packed_m"] = pd.Series(packed, dtype="float64").reindex(sums.index).fillna(np.inf)
    if jobs_m is not None:
        jobs = cuts.groupby(_JOB, sort=False, dropna=False).ngroup()
        day_of_job = number.groupby(jobs).first()
        one_by_one = jobs_m.groupby(day_of_job).sum()
        sums["packed_m"] = sums["packed_m"].where(sums["packed_m"] < one_by_one, one_by_one)
    saved = (sums["pulled_m2"] - sums["packed_m"] * width - sums["kept_m2"]).clip(lower=0.0)
    # Less than a square centimetre is rounding of the sizes, not a better layout.
    saved = saved.where(saved > _LEAST_SAVED, 0.0)
    loss = (cuts["pulled_m2"] - cuts["kept_m2"] - cuts["piece_m2"]).clip(lower=0.0)
    total = loss.groupby(number).transform("sum")
    share = (loss / total.where(total > 0)).fillna(0.0)
    return number.map(saved) * share, sums


def _could_save(
    cuts: pd.DataFrame, number: pd.Series, sums: pd.DataFrame, width: pd.Series
) -> pd.Series:
    """Whether a group pulled more than its pieces' own area and its longest piece ask for."""
    area = cuts["piece_m2"].groupby(number).sum()
    turned = cuts[["long", "wide"]].min(axis=1)
    flattest = cuts["long"].where(~cuts["may_turn"], turned)
    least = pd.concat([area / width, flattest.groupby(number).max()], axis=1).max(axis=1)
    return sums["pulled_m2"] - least * width - sums["kept_m2"] > _LEAST_SAVED
