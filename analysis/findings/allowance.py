"""How large to cut: film held as allowance each time against film lost to recuts now and then.

*Film of a piece* at an allowance m a side: the length that it takes on the roll × the roll's width
÷ the pieces that lie side by side, at the film's newest landed cost. Only the length costs film:
across, the roll's width is pulled anyway, so that a narrower piece saves nothing. The allowance
keeps the proportion between length and width that the shop gives the panel.

*Expected film cost* adds, once a cut, the probability of a recut × the film of one: so many times
the roll's width × the piece's length as recuts took (about one: a piece that is cut again lies
alone). The hours of a recut are not in it, nor the customer's wait: it leans to the small
side. `cut smaller` is therefore only said where it holds with the hours too: those logged as rework
on the job lines with a recut or damage; where none are logged, as much again as the film.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Array, Codes, Mask
from analysis.costing.jobs import Costing
from analysis.costing.purchases import film_prices
from analysis.errors import Unavailable
from analysis.film_tables import BEST_ALLOWANCE, RECUTS_BY_ALLOWANCE
from analysis.findings.evidence import LEVEL, is_enough, wilson_interval
from analysis.findings.recuts import RecutCurve
from analysis.settings import Settings
from analysis.sums import ratio
from analysis.units import metres_per

Words = npt.NDArray[np.str_]
ALL_PANELS: Final = "all panels"
SMALLER, LARGER, AS_IT_IS = "cut smaller", "cut larger", "as it is"
NOT_ENOUGH: Final = "not enough recuts to tell"
# Allowances are looked at between these shares of those seen: none is advised that was not tried.
_SEEN: Final = (0.05, 0.95)
_ENDS: Final = ((1 - LEVEL) / 2, (1 + LEVEL) / 2)
_POINTS: Final = 31
# An interval over more than this share of the allowances seen says nothing about the best.
_MOST: Final = 0.5
# A saving under this share of the film is not worth a changed habit (common practice, no source).
_SMALL: Final = 0.01
# Pulls after which a piece is laid a second time.
_SPOILT: Final = ("recut", "damage")
_METRIC_STEP_M: Final = 0.01
_HALF_INCH: Final = 0.5


def recuts_by_allowance(
    curve: RecutCurve, fewest: int, length_unit: str = "in", costs: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Recuts by allowance, with the curve beside them: columns of `RECUTS_BY_ALLOWANCE`.

    Rows are half inches (whole centimetres where lengths are metric) of the allowance a side, each
    cut's brought to the shop's mean: allowance ÷ its panel's mean × the mean over all cuts. As
    they were measured the rows could not be compared, because small parts stand at one end and
    large ones at the other. The curve is that of all cuts together, every panel's allowance being
    the same share of its mean: it never rises. `enough` : whether a row has `fewest` cuts. `costs`
    comes from `expected_piece_cost` over all panels; without it the costs are missing.
    """
    step = _METRIC_STEP_M if length_unit in ("mm", "cm", "m") else _HALF_INCH * metres_per("in")
    relative, mean = _relative(curve), float(curve.cuts["margin_m"].mean())
    # Binary dust must not move a cut that lies on the edge of a row.
    at = np.floor(relative * mean / step + 1e-6)
    rows = pd.DataFrame({"at": at, "relative": relative, "again": curve.cuts["again"]})
    found = rows.groupby("at", sort=True).agg(
        cuts=("again", "size"), recuts=("again", "sum"), relative=("relative", "mean")
    )
    low, high = wilson_interval(found["recuts"], found["cuts"])
    mix = _mix(curve, curve.cuts)
    share = curve.share(*_codes(curve, mix), found["relative"].to_numpy())
    share = np.average(share, axis=1, weights=mix["cuts"])
    curve_low, curve_high = np.quantile(share, _ENDS, axis=0)
    table = found.assign(
        allowance_m=found.index * step,
        recuts=found["recuts"].astype("int64"),
        recut_share=found["recuts"] / found["cuts"],
        low_share=low,
        high_share=high,
        curve_share=share.mean(axis=0),
        curve_low_share=curve_low,
        curve_high_share=curve_high,
        enough=is_enough(found["cuts"], fewest),
        **_costs_at(costs, found["relative"]),
    )
    return table.reset_index(drop=True)[RECUTS_BY_ALLOWANCE.inside_names]


def _costs_at(costs: pd.DataFrame | None, relative: pd.Series) -> dict[str, Any]:
    """Expected cost of a piece and its interval at allowances; missing where none was looked at."""
    names = {
        "piece_cost": "film_cost",
        "piece_cost_low": "low_cost",
        "piece_cost_high": "high_cost",
    }
    if costs is None:
        return dict.fromkeys(names, np.nan)
    return {
        name: np.interp(relative, costs["relative"], costs[column], left=np.nan, right=np.nan)
        for name, column in names.items()
    }


def best_allowance(
    curve: RecutCurve, costing: Costing, settings: Settings, until: pd.Timestamp
) -> pd.DataFrame | Unavailable:
    """The allowance that costs least film, panel by panel and film by film.

    Columns of `BEST_ALLOWANCE`; first a row over all panels, in which every panel's allowance is
    the same share of its mean (the shop holds more everywhere, or less), then a row a panel and
    film. Rows need not add to the first. The best allowance lies between the 5th and the 95th
    percentile of those that the panel was cut with. Intervals hold what the cuts leave open about
    the curve; sizes, prices and the film of a recut count as known. [m, money]

    `Unavailable` where no cut has the width that it was pulled at.

    Notes
    -----
    `not enough recuts to tell`, and no best: fewer than `pricing.fewest_jobs` recuts of the panel
    over all films, or cuts in the row; none in the last twelve months; the allowance never varied;
    or the saving may be none while the best may lie over most of the range. `as it is` : the best
    may be the usual, the saving may be none, is under a hundredth of the film, or (to cut smaller)
    does not stand with the hours of the recuts.
    """
    if curve.cuts["pulled_width_m"].isna().all():
        return Unavailable(
            "best_allowance", ("cuts",), "How large to cut needs the pulled_width of the cuts."
        )
    fewest = settings.pricing.fewest_jobs
    rows = [_all_panels(curve, costing, until), _panels(curve, costing, until)]
    work = _work_of_recut(costing, until)
    table = pd.concat([_answers(curve, each, fewest, work) for each in rows], ignore_index=True)
    return table[BEST_ALLOWANCE.inside_names]


def expected_piece_cost(
    curve: RecutCurve,
    costing: Costing,
    until: pd.Timestamp,
    panel: str = ALL_PANELS,
    film: str | None = None,
) -> pd.DataFrame:
    """Expected film cost of a piece against its allowance, for a row of `best_allowance`.

    Returns
    -------
    DataFrame
        By rising `margin_m` (allowance a side, over the range looked at): `recut_share` with
        `low_share` and `high_share` (90 %), and `film_cost` with `low_cost` and `high_cost`
        (expected, of a piece; missing where the film was never bought); `relative` : allowance ÷
        the mean. Empty where the shop has no such cuts.
    """
    if panel == ALL_PANELS:
        rows = _all_panels(curve, costing, until)
    else:
        own = (curve.cuts["panel"] == panel) & (curve.cuts["film"] == film)
        rows = _panels(curve, costing, until, own)
    share, cost = rows.share[:, :, :_POINTS], rows.cost[:, :, :_POINTS]
    low, high = np.quantile(share, _ENDS, axis=0)
    margin = rows.relative[:, :_POINTS] * rows.scale_m[:, None]
    money = rows.money[:, None]
    low_cost, high_cost = np.quantile(cost, _ENDS, axis=0) * money
    columns = {"margin_m": margin, "recut_share": share.mean(axis=0), "low_share": low}
    columns |= {"high_share": high, "film_cost": cost.mean(axis=0) * money}
    columns |= {"low_cost": low_cost, "high_cost": high_cost}
    columns |= {"relative": rows.relative[:, :_POINTS]}
    return pd.DataFrame({name: values.ravel() for name, values in columns.items()})


@dataclass(frozen=True, eq=False)
class _Rows:
    """Rows of the table, each at the allowances looked at and, last, at the usual one.

    `keys` : panel, film, cuts, recuts, pieces_a_year, usual_allowance_m; `relative` : allowance ÷
    mean (rows × allowances); `scale_m` : the mean, (rows,); `share` : recuts of a cut (draws × rows
    × allowances); `film` : cost of a piece's film (rows × allowances); `lost` : of that expected to
    go into recuts (draws × rows × allowances); `cuts_a_piece` : (rows,); `money` : 1, or missing
    where a film has no price and costs are areas.
    """

    keys: pd.DataFrame
    relative: Array
    scale_m: Array
    share: Array
    film: Array
    lost: Array
    cuts_a_piece: Array
    money: Array

    @property
    def cost(self) -> Array:
        """Expected cost of a piece. (draws × rows × allowances)"""
        return np.asarray(self.film + self.lost)

    def saving(self, best: Codes, work: float | None = None) -> Array:
        """Usual − best cost × pieces a year; `work` : what a recut's hours cost. (draws × rows)

        With work that is not known, or not to be compared with areas: as much as the recut's film.
        """
        at = np.arange(len(best))
        film = self.film[:, -1] - self.film[at, best]
        lost = self.lost[:, :, -1] - self.lost[:, at, best]
        if work is not None:
            share = self.share[:, :, -1] - self.share[:, at, best]
            known = work * share * self.cuts_a_piece + 0 * self.money
            lost = lost + np.where(np.isnan(known), lost, known)
        return np.asarray((film + lost) * self.keys["pieces_a_year"].to_numpy())


def _relative(curve: RecutCurve) -> pd.Series:
    """Allowance of each cut ÷ the mean of its panel."""
    return curve.cuts["margin_m"] / curve.cuts["panel"].map(curve.usual_m)


def _codes(curve: RecutCurve, rows: pd.DataFrame) -> tuple[Codes, Codes]:
    """Positions of panels and films of the rows."""
    panel = curve.usual_m.index.get_indexer(pd.Index(rows["panel"]))
    return panel, curve.films.get_indexer(pd.Index(rows["film"]))


def _mix(curve: RecutCurve, cuts: pd.DataFrame) -> pd.DataFrame:
    """Cuts by panel and film: numbers, pieces, and the film that they take.

    `film_m2` without allowance and `held_m2` for the panel's mean allowance; `recut_m2` and
    `recut_held_m2` the same for one piece of each cut, alone on the roll. Film that is not known
    (the pulled width was not written down) is in none.
    """
    width = cuts["pulled_width_m"]
    abreast = np.floor(width / cuts["piece_across_m"] + 1e-6).clip(lower=1.0)
    rows = np.ceil(cuts["pieces"] / np.minimum(abreast, cuts["pieces"]))
    every = curve.cuts.groupby("panel")[["along_m", "across_m"]].sum()
    both = every["along_m"] + every["across_m"]
    along = (every["along_m"] / both.where(both > 0)).fillna(0.5)
    held = cuts["panel"].map(4 * along * curve.usual_m)
    parts = cuts[["panel", "film"]].assign(
        cuts=1.0,
        pieces=cuts["pieces"],
        film_m2=rows * width * cuts["finished_along_m"],
        held_m2=rows * width * held,
        recut_m2=width * cuts["finished_along_m"] * curve.recut_film,
        recut_held_m2=width * held * curve.recut_film,
    )
    return parts.groupby(["panel", "film"], sort=True).sum(min_count=1).reset_index()


def _recent(cuts: pd.DataFrame, until: pd.Timestamp) -> pd.Series:
    """Which cuts are of the last twelve months."""
    return cuts["cut_on"] > until - pd.DateOffset(years=1)


def _prices(costing: Costing, until: pd.Timestamp) -> pd.Series:
    """Newest landed cost of each film on a day. [money a m²]"""
    lines, credits = costing.purchase_lines, costing.credits
    known = film_prices(
        lines[lines["received_on"] <= until], credits[credits["received_on"] <= until]
    ).sort_values("received_on", kind="stable")
    return known.groupby("film")["landed_cost_per_m2"].last()


def _work_of_recut(costing: Costing, until: pd.Timestamp) -> float:
    """Labour cost of laying a piece a second time; missing where no rework is logged. [money]

    Rework hours of the job lines with a recut or damage, at each line's own cost of an hour, ÷ the
    number of those pulls. Rework for other reasons on the same lines is in it: rather too much.
    """
    pulls, lines = costing.shelf.pulls, costing.lines
    spoilt = pulls[
        pulls["reason"].isin(_SPOILT) & (pulls["cut_on"] <= until) & pulls["job_line"].notna()
    ]
    number = spoilt["job_line"].astype("int64").value_counts()
    on = lines.take(number.index.to_numpy())
    rework = (on["rework_hours"] * ratio(on["labour_cost"], on["actual_hours"])).to_numpy()
    known = rework > 0
    return float(rework[known].sum() / number[known].sum()) if known.any() else np.nan


def _panels(
    curve: RecutCurve, costing: Costing, until: pd.Timestamp, only: pd.Series | None = None
) -> _Rows:
    """A row a panel and film, by its cuts of the last twelve months, else by all.

    `only` : which of the curve's cuts take part (all).
    """
    cuts = curve.cuts if only is None else curve.cuts[only]
    recent = _recent(cuts, until)
    priced = cuts["pulled_width_m"].notna()
    has_recent = (recent & priced).groupby([cuts["panel"], cuts["film"]]).transform("any")
    used = cuts[priced & (recent | ~has_recent)]
    keys = _keys(cuts.assign(recent=recent), ["panel", "film"])
    mix = keys[["panel", "film"]].merge(
        _mix(curve, used), on=["panel", "film"], how="left", validate="one_to_one"
    )
    scale = keys["panel"].map(curve.usual_m).to_numpy(dtype=np.float64)
    by_panel = _relative(curve).groupby(curve.cuts["panel"])
    seen = (keys["panel"].map(by_panel.quantile(end)) for end in _SEEN)
    low, high = (each.to_numpy(dtype=np.float64) for each in seen)
    relative = _looked_at(low, high, keys["usual_allowance_m"].to_numpy() / scale)
    price = mix["film"].map(_prices(costing, until)).to_numpy(dtype=np.float64)
    known = np.where(np.isnan(price), 1.0, price)
    share, film, lost = _parts(curve, mix, relative, known)
    pieces = mix["pieces"].to_numpy()
    film, lost = film / pieces[:, None], lost / pieces[:, None]
    often = mix["cuts"].to_numpy() / pieces
    money = np.where(np.isnan(price), np.nan, 1.0)
    return _Rows(keys, relative, scale, share, film, lost, often, money)


def _all_panels(curve: RecutCurve, costing: Costing, until: pd.Timestamp) -> _Rows:
    """One row over all panels, each at the same share of its mean allowance."""
    recent = _recent(curve.cuts, until)
    priced = curve.cuts["pulled_width_m"].notna()
    some = priced & recent if (priced & recent).any() else priced
    mix = _mix(curve, curve.cuts[some])
    whole = curve.cuts.assign(recent=recent, panel=ALL_PANELS, film="")
    keys = _keys(whole, ["panel", "film"]).assign(film=pd.Series([np.nan], dtype="str"))
    panel_means = curve.cuts["panel"].map(curve.usual_m)
    scale = np.array([panel_means[recent if recent.any() else some].mean()])
    low, high = _relative(curve).quantile(list(_SEEN))
    usual = keys["usual_allowance_m"].to_numpy() / scale
    relative = _looked_at(np.array([low]), np.array([high]), usual)
    price = mix["film"].map(_prices(costing, until)).to_numpy(dtype=np.float64)
    known = np.ones(len(price)) if np.isnan(price).any() else price
    share, film, lost = _parts(curve, mix, relative, known)
    pieces = mix["pieces"].sum()
    share = np.average(share, axis=1, weights=mix["cuts"])[:, None, :]
    film, lost = (each.sum(axis=-2, keepdims=True) / pieces for each in (film, lost))
    money = np.where(np.isnan(price).any(), np.nan, np.ones(1))
    often = np.array([mix["cuts"].sum() / pieces])
    return _Rows(keys, relative, scale, share, film, lost, often, money)


def _keys(cuts: pd.DataFrame, by: list[str]) -> pd.DataFrame:
    """What each row counts: all cuts to date, and those of the last twelve months (`recent`)."""
    counted = cuts.assign(
        usual_allowance_m=cuts["margin_m"].where(cuts["recent"]),
        pieces_a_year=cuts["pieces"].where(cuts["recent"], 0.0),
    )
    keys = counted.groupby(by, sort=True).agg(
        cuts=("again", "size"),
        recuts=("again", "sum"),
        usual_allowance_m=("usual_allowance_m", "mean"),
        pieces_a_year=("pieces_a_year", "sum"),
    )
    whole = dict.fromkeys(("cuts", "recuts", "pieces_a_year"), "int64")
    return keys.astype(whole).reset_index()


def _looked_at(low: Array, high: Array, usual: Array) -> Array:
    """Even steps from low to high and, last, the usual. (rows × allowances)"""
    return np.hstack([np.linspace(low, high, _POINTS, axis=1), usual[:, None]])


def _parts(
    curve: RecutCurve, mix: pd.DataFrame, relative: Array, price: Array
) -> tuple[Array, Array, Array]:
    """Recut share, cost of film, and cost of film expected for recuts, by combination."""
    share = curve.share(*_codes(curve, mix), relative)
    areas = ("film_m2", "held_m2", "recut_m2", "recut_held_m2")
    fixed, held, again, again_held = (mix[[name]].to_numpy() * price[:, None] for name in areas)
    return share, fixed + held * relative, (again + again_held * relative) * share


def _answers(curve: RecutCurve, rows: _Rows, fewest: int, work: float) -> pd.DataFrame:
    """The best allowance of each row, what it saves, and what to do."""
    cost = rows.cost
    low, high = rows.relative[:, [0]], rows.relative[:, [_POINTS - 1]]
    inside = (rows.relative >= low) & (rows.relative <= high)
    best = np.where(inside, cost.mean(axis=0), np.inf).argmin(axis=1)
    each = np.where(inside, cost, np.inf).argmin(axis=2)
    at = np.arange(len(best))
    found = np.quantile(rows.relative[at, each], _ENDS, axis=0)
    chosen = rows.relative[at, best]
    ends = np.minimum(found[0], chosen), np.maximum(found[1], chosen)
    saved = rows.saving(best)
    saving = np.quantile(saved, _ENDS, axis=0)
    usual, usual_cost = rows.relative[:, -1], cost[:, :, -1].mean(axis=0)
    spent = usual_cost * rows.keys["pieces_a_year"].to_numpy()
    verdict = _verdicts(
        thin=(curve.recuts < fewest)
        | (rows.keys.groupby("panel")["recuts"].transform("sum").to_numpy() < fewest)
        | (rows.keys["cuts"].to_numpy() < fewest)
        | ~(saving[0] > -np.inf)
        | ((high - low)[:, 0] <= 0),
        vague=(saving[0] <= 0) & (ends[1] - ends[0] > _MOST * (high - low)[:, 0]),
        stays=((ends[0] <= usual) & (usual <= ends[1]))
        | (saving[0] <= 0)
        | (saved.mean(axis=0) < _SMALL * spent),
        smaller=chosen < usual,
        safe=np.quantile(rows.saving(best, work), _ENDS[0], axis=0) > 0,
    )
    told = np.where(verdict == NOT_ENOUGH, np.nan, 1.0)
    return rows.keys.assign(
        best_allowance_m=chosen * rows.scale_m * told,
        low_allowance_m=ends[0] * rows.scale_m * told,
        high_allowance_m=ends[1] * rows.scale_m * told,
        usual_recut_share=rows.share[:, :, -1].mean(axis=0),
        best_recut_share=rows.share[:, at, best].mean(axis=0) * told,
        usual_cost=usual_cost * rows.money,
        best_cost=cost[:, at, best].mean(axis=0) * rows.money * told,
        saving_a_year=saved.mean(axis=0) * rows.money * told,
        saving_low=saving[0] * rows.money * told,
        saving_high=saving[1] * rows.money * told,
        verdict=pd.Series(verdict, index=rows.keys.index, dtype="str"),
    )


def _verdicts(*, thin: Mask, vague: Mask, stays: Mask, smaller: Mask, safe: Mask) -> Words:
    """What to do, by row. `safe` : the saving stands with the work of the recuts."""
    verdict = np.where(smaller, SMALLER, LARGER)
    verdict = np.where(stays | (smaller & ~safe), AS_IT_IS, verdict)
    return np.where(thin | vague, NOT_ENOUGH, verdict)
