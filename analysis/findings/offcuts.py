"""The shelf of offcuts, and what the counts found: film that the books hold, and film that is gone.

An offcut is put back at the cost it was cut at, used later, or written off when its life is over.
"""

from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.film import Shelf
from analysis.costing.jobs import Costing
from analysis.costing.stock import KEPT, LEAST_AREA, MISSING, USED, WRITTEN_OFF
from analysis.errors import Unavailable, assert_reconciled
from analysis.findings.groups import Period
from analysis.records.model import Records
from analysis.sums import ratio

_WHAT: Final = (KEPT, USED, WRITTEN_OFF, MISSING)
Result = pd.DataFrame | Unavailable


def offcut_shelf(costing: Costing, period: Period) -> Result:
    """Offcuts of each film in a period: opening + kept = used + written off + missing + closing.

    Columns of `OFFCUT_SHELF` [m², money, days]; a row a film that ever kept one. Raises
    `Unreconciled` where a film's offcuts do not add up.
    """
    moves = costing.shelf.offcuts
    moves = moves[moves["day"] <= period.last]
    if moves.empty:
        return Unavailable(
            "offcut_shelf",
            ("cuts",),
            "No offcut was kept: the shelf needs kept_length and kept_width in cuts.",
        )
    films = pd.Index(moves["film"].drop_duplicates(), name="film").sort_values()
    before = moves["day"] < period.first
    sign = np.where(moves["what"] == KEPT, 1.0, -1.0)
    signed = moves.assign(area_m2=moves["area_m2"] * sign, cost=moves["cost"] * sign)
    parts = {
        "opening": _sums(signed[before], films),
        **{what: _sums(moves[~before & (moves["what"] == what)], films) for what in _WHAT},
    }
    parts["closing"] = (
        parts["opening"] + parts[KEPT] - parts[USED] - parts[WRITTEN_OFF] - parts[MISSING]
    )
    left = _left(costing.shelf, period.last)
    _check(parts["closing"], _sums(left, films))
    table = {
        f"{name}_{measure}": _without_dust(part[measure], least)
        for measure, least in (("area_m2", LEAST_AREA), ("cost", 1e-6))
        for name, part in parts.items()
    }
    return pd.DataFrame(table, index=films).join(_ages(left, films)).reset_index()


def _sums(rows: pd.DataFrame, films: pd.Index) -> pd.DataFrame:
    sums = rows.groupby("film")[["area_m2", "cost"]].sum(skipna=False)
    return sums.reindex(films, fill_value=0.0)


def _without_dust(values: pd.Series, least: float) -> pd.Series:
    return values.where(values.abs() > least, values * 0.0)


def _check(booked: pd.DataFrame, held: pd.DataFrame) -> None:
    """What the moves leave is what the single offcuts hold."""
    for measure, tolerance in (("area_m2", 1e-4), ("cost", 1e-4)):
        gap = (booked[measure] - held[measure]).abs()
        for film in gap[gap > tolerance].index[:1]:
            assert_reconciled(
                f"Offcuts of film {film}", booked[measure][film], held[measure][film], tolerance
            )


def _left(shelf: Shelf, day: pd.Timestamp) -> pd.DataFrame:
    """The offcuts that the books hold at the end of a day: `film, ref, kept_on, area_m2, cost`.

    `whole` : whether nothing was taken from it, so that its sizes are those it was kept with.
    """
    moves = shelf.offcuts[shelf.offcuts["day"] <= day]
    sign = np.where(moves["what"] == KEPT, 1.0, -1.0)
    by = moves.assign(
        left=moves["area_m2"] * sign,
        worth=moves["cost"] * sign,
        kept_on=moves["day"].where(moves["what"] == KEPT),
        taken=(moves["what"] != KEPT),
    ).groupby("ref", sort=True)
    held = pd.DataFrame(
        {
            "film": by["film"].first(),
            "kept_on": by["kept_on"].min(),
            "area_m2": by["left"].sum(),
            "cost": by["worth"].sum(skipna=False),
            "whole": ~by["taken"].any(),
        }
    ).reset_index()
    held = held[held["area_m2"] > LEAST_AREA]
    return held.assign(age_days=(day - held["kept_on"]).dt.days.astype("float64"))


def _ages(left: pd.DataFrame, films: pd.Index) -> pd.DataFrame:
    by = left.assign(weighted=left["age_days"] * left["area_m2"]).groupby("film")
    return pd.DataFrame(
        {
            "closing_offcuts": by.size().reindex(films, fill_value=0),
            "mean_age_days": (by["weighted"].sum() / by["area_m2"].sum()).reindex(films),
            "oldest_days": by["age_days"].max().reindex(films),
        },
        index=films,
    )


def offcuts_on_shelf(costing: Costing, records: Records, until: pd.Timestamp) -> Result:
    """The offcuts that the books hold at the end of a day, the oldest first.

    Columns of `OFFCUTS_ON_SHELF` [m, m², money, days]. An offcut of which part was used has no
    sizes: the books know its area, not which end was cut off.
    """
    if costing.shelf.offcuts.empty:
        return Unavailable(
            "offcuts_on_shelf",
            ("cuts",),
            "No offcut was kept: the shelf needs kept_length and kept_width in cuts.",
        )
    left = _left(costing.shelf, until)
    pulls = costing.shelf.pulls
    at = left["ref"].to_numpy()
    cuts = records["cuts"].drop_duplicates("cut_id").set_index("cut_id")
    cut_id = pulls["cut_id"].take(at).set_axis(left.index)
    sizes = cuts.reindex(cut_id)[["kept_length_m", "kept_width_m"]].set_axis(left.index)
    life = pd.DateOffset(months=records.settings.film.offcut_life_months)
    table = left.assign(
        cut_id=cut_id,
        roll_id=pulls["roll_id"].take(at).set_axis(left.index),
        kept_length_m=sizes["kept_length_m"].where(left["whole"]),
        kept_width_m=sizes["kept_width_m"].where(left["whole"]),
        leaves_on=left["kept_on"] + life,
    )
    return table.sort_values(["kept_on", "film", "ref"], kind="stable", ignore_index=True)


def film_counts(costing: Costing, until: pd.Timestamp) -> Result:
    """Every count of a film up to a day: the books against the shelf.

    Columns of `FILM_COUNTS` [m², money, share]. `cut_m2` is what jobs, counter sales and the shop
    consumed after the day of the count before, up to this one's.
    """
    counts = costing.shelf.counts
    counts = counts[counts["day"] <= until]
    if counts.empty:
        return Unavailable(
            "film_counts",
            ("stock_counts",),
            "What is missing from the shelf is seen only by counting it: table stock_counts.",
        )
    counts = counts.sort_values(["film", "day"], kind="stable", ignore_index=True)
    moved = costing.shelf.movements
    cut = moved[moved["flow"].isin(["jobs", "counter_sales", "shop"])]
    cut = cut.sort_values("day", kind="stable")
    so_far = cut.assign(total=cut.groupby("film")["area_m2"].cumsum())[["film", "day", "total"]]
    at_count = pd.merge_asof(
        counts[["film", "day"]].reset_index().sort_values("day", kind="stable"),
        so_far,
        on="day",
        by="film",
    ).set_index("index")["total"]
    total = at_count.reindex(counts.index).fillna(0.0)
    before = total.groupby(counts["film"]).shift().fillna(0.0)
    cut_area = total - before
    return pd.DataFrame(
        {
            "film": counts["film"],
            "counted_on": counts["day"],
            "counted_before": counts.groupby("film")["day"].shift(),
            "book_area_m2": counts["book_m2"],
            "counted_area_m2": counts["counted_m2"],
            "unexplained_area_m2": counts["area_m2"],
            "unexplained_cost": counts["cost"],
            "cut_area_m2": cut_area,
            "unexplained_share": ratio(counts["area_m2"], cut_area.where(cut_area > LEAST_AREA)),
        }
    )
