"""Which pieces were cut a second time, and how likely that is at each allowance.

The *allowance a side* of a measured first-time cut is the mean over both directions of what the
piece is larger than what stayed on the vehicle, a side: ((piece length − finished length) + (piece
width − finished width)) ÷ 4. It is the same whichever way the piece lay.

The curve is logistic: the log-odds that a piece is cut again are those of its panel and its film
at the panel's mean allowance, and fall on a straight line with the allowance ÷ that mean. In parts
of the mean, because half an inch less is little on a roof that is cut with three and everything on
a mirror cap that is cut with one. Panels and films, and the panels' slopes, are drawn to each other
as far as the cuts show that they are alike (Gelman and Hill 2007, Data Analysis Using Regression
and Multilevel/Hierarchical Models, ch. 14). No slope rises.
"""

from dataclasses import dataclass
from itertools import product
from typing import Final

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.arrays import Array, Codes, one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable

# A piece that is this much larger a side is a slip of the pen (common practice, no source). [m]
_LARGEST_M: Final = 0.30
# Sizes are tape measures: finished sizes over the piece by less than this are no error. [m]
_HAIR: Final = 1e-6
# A panel that is cut without any allowance still has a scale to measure one on. [m]
_LEAST_USUAL_M: Final = 1e-3
_KEY: Final = ["job_line", "panel", "film"]
_SIZES: Final = ["piece_length_m", "piece_width_m", "finished_length_m", "finished_width_m"]
# Believed before a cut is seen, weakly (common practice, no source): one piece in twenty is cut
# again, give or take a factor of seven; the log-odds fall by up to eight by the time the allowance
# has doubled; panels and films differ by up to a factor of three, panels' slopes by up to half.
_LEVEL: Final = -3.0
_LEVEL_SD: Final = 2.0
_SLOPE_SD: Final = 4.0
_SPREAD_SD: Final = 0.5
_SLOPE_SPREAD_SD: Final = 0.35
_STEEPEST: Final = 14.0
# A slope whose weight is under e to minus this of the likeliest is not looked at.
_FAINT: Final = 7.0
_SLOPES: Final = 9
_SPREADS: Final = (0.05, 0.3, 0.6, 1.0)
_SLOPE_SPREADS: Final = (0.05, 0.3, 0.6)
_WANTED: Final = (
    "How large to cut needs, in the cuts table, panel, piece_length, piece_width, finished_length "
    "and finished_width of each first-time cut for a job, and a row of reason recut for each piece "
    "cut again."
)


@dataclass(frozen=True, eq=False)
class RecutCurve:
    """How likely a piece is to be cut again, and the cuts that say so.

    `cuts` : the measured first-time cuts, columns of `cuts_again`; `usual_m` : mean allowance a
    side by panel, on the panels' names [m]; `films` : the films.

    Draws from what the cuts leave open: `level` (draws × panels) log-odds at the panel's mean
    allowance; `slope` (draws × panels, 0 or more) their fall by the time the allowance has
    doubled; `film` (draws × films) what a film adds.

    `recut_film` : film consumed by the recuts of a cut ÷ (the width that it was pulled at × the
    length of one piece). `left_out` : first-time cuts of jobs without a panel (`no_panel`),
    without sizes (`not_measured`), whose sizes cannot be (`impossible`), and recuts that follow
    no first-time cut (`recuts_alone`).
    """

    cuts: pd.DataFrame
    usual_m: pd.Series
    films: pd.Index
    level: Array
    slope: Array
    film: Array
    recut_film: float
    left_out: dict[str, int]

    @property
    def recuts(self) -> int:
        """How many of the cuts were cut again."""
        return int(self.cuts["again"].sum())

    def share(self, panel: Codes, film: Codes, relative: Array) -> Array:
        """Probability that a piece is cut again. (draws × combinations × allowances)

        `panel`, `film` : positions in `usual_m` and `films`, (combinations,); `relative` :
        allowance ÷ the panel's mean, (allowances,) or (combinations × allowances).
        """
        base = self.level[:, panel] + self.film[:, film]
        fall = self.slope[:, panel, None] * (np.atleast_2d(relative) - 1.0)
        return np.asarray(expit(base[:, :, None] - fall))


def learn_recuts(
    costing: Costing, until: pd.Timestamp, *, draws: int = 1000, seed: int = 0
) -> RecutCurve | Unavailable:
    """The curve of recuts against the allowance, from all cuts for jobs up to the day `until`.

    `Unavailable` where no first-time cut for a job has a panel, piece sizes and finished sizes.
    """
    cuts, left_out = cuts_again(costing.shelf.pulls, until)
    if cuts.empty:
        return Unavailable("recuts_by_allowance", ("cuts",), _WANTED)
    usual = cuts.groupby("panel", sort=True)["margin_m"].mean().clip(lower=_LEAST_USUAL_M)
    films = pd.Index(cuts["film"].drop_duplicates().sort_values())
    panel = usual.index.get_indexer(pd.Index(cuts["panel"]))
    film = films.get_indexer(pd.Index(cuts["film"]))
    relative = cuts["margin_m"].to_numpy(dtype=np.float64) / usual.to_numpy()[panel] - 1.0
    cells = Cells.of(panel, film, relative, cuts["again"].to_numpy(dtype=np.float64))
    level, slope, by_film = draw_curves(cells, draws, seed)
    return RecutCurve(cuts, usual, films, level, slope, by_film, _recut_film(cuts), left_out)


def cuts_again(pulls: pd.DataFrame, until: pd.Timestamp) -> tuple[pd.DataFrame, dict[str, int]]:
    """The measured first-time cuts for jobs up to a day, and which of them were cut again.

    Returns
    -------
    DataFrame
        A row a cut, `pulls`' index kept: `cut_on, panel, film`, `margin_m` (allowance a side),
        `along_m` and `across_m` (what the piece is larger along and across the roll, both ends),
        `finished_along_m`, `piece_across_m`, `pulled_width_m`, `pieces`, `again` (bool),
        `recut_m2` (film consumed by its recuts; 0 without). [m, m²]
    dict
        Counts of what was left out, as in `RecutCurve`.

    Notes
    -----
    A recut belongs to the latest first-time cut of its job line, panel and film on or before its
    day; one that follows none counts nowhere. Damage, tests and ends of rolls are no recuts. A
    piece that is smaller than its finished size, or larger by a foot a side, is left out. A piece
    that does not fit across the pull as it is written lay turned.
    """
    known = pulls[(pulls["cut_on"] <= until) & pulls["job_line"].notna()]
    known = known.assign(job_line=known["job_line"].astype("int64"))
    named = known[known["panel"].notna()]
    first, recut = (named[named["reason"] == reason] for reason in ("first", "recut"))
    of_cut = _recut_of(first, recut)
    found = of_cut.notna()
    replaced = of_cut[found].astype("int64")
    recut_m2 = recut.loc[found, "consumed_m2"].groupby(replaced).sum(min_count=1)
    measured = first[_SIZES].notna().all(axis=1)
    sized = _sized(first[measured])
    possible = (
        (sized[["along_m", "across_m"]] >= -_HAIR).all(axis=1)
        & (sized["margin_m"] >= 0)
        & (sized["margin_m"] <= _LARGEST_M)
    )
    columns = ["cut_on", "panel", "film", "pulled_width_m"]
    kept = first.loc[sized.index[possible]]
    cuts = sized[possible].assign(
        **{name: kept[name] for name in columns},
        pieces=kept["pieces"].fillna(1.0),
        again=kept.index.isin(replaced),
        recut_m2=recut_m2.reindex(kept.index).where(kept.index.isin(replaced), 0.0),
    )
    return cuts, {
        "no_panel": int((known["panel"].isna() & (known["reason"] == "first")).sum()),
        "not_measured": int((~measured).sum()),
        "impossible": int((~possible).sum()),
        "recuts_alone": int((known["reason"] == "recut").sum() - found.sum()),
    }


def _recut_of(first: pd.DataFrame, recut: pd.DataFrame) -> pd.Series:
    """For each recut the index label of the cut that it replaces, on its index; missing: none."""
    if first.empty or recut.empty:
        return pd.Series(np.nan, index=recut.index)
    earlier = first[["cut_on", *_KEY]].reset_index(names="first")
    later = recut[["cut_on", *_KEY]].reset_index(names="recut")
    pairs = pd.merge_asof(
        later.sort_values("cut_on", kind="stable"),
        earlier.sort_values("cut_on", kind="stable"),
        on="cut_on",
        by=_KEY,
    )
    return pairs.set_index("recut")["first"].reindex(recut.index)


def _sized(cuts: pd.DataFrame) -> pd.DataFrame:
    """Sizes of measured cuts along and across the roll, and the allowance a side. [m]"""
    length, width = cuts["piece_length_m"], cuts["piece_width_m"]
    finished_length, finished_width = cuts["finished_length_m"], cuts["finished_width_m"]
    # The finished sizes may be written the other way round than the piece's.
    crossed = ((length < finished_length - _HAIR) | (width < finished_width - _HAIR)) & (
        (length >= finished_width - _HAIR) & (width >= finished_length - _HAIR)
    )
    own_length = finished_length.where(~crossed, finished_width)
    own_width = finished_width.where(~crossed, finished_length)
    roll = cuts["pulled_width_m"] + _HAIR
    turned = (width > roll) & (length <= roll)
    along = (length - own_length).where(~turned, width - own_width)
    across = (width - own_width).where(~turned, length - own_length)
    return pd.DataFrame(
        {
            # A tape's own rounding is no allowance below nothing.
            "margin_m": ((along + across) / 4).where(lambda x: x.abs() > _HAIR, 0.0),
            "along_m": along,
            "across_m": across,
            "finished_along_m": own_length.where(~turned, own_width),
            "piece_across_m": width.where(~turned, length),
        }
    )


def _recut_film(cuts: pd.DataFrame) -> float:
    """Film of recuts ÷ (pulled width × length of one piece) of their cuts, as the ratio of sums.

    One piece is mostly cut again off the whole width, whatever lay beside it the first time.
    Without a recut nothing is known: 1.
    """
    again = cuts[cuts["again"] & cuts["recut_m2"].notna() & cuts["pulled_width_m"].notna()]
    strip = again["pulled_width_m"] * (again["finished_along_m"] + again["along_m"])
    return float(again["recut_m2"].sum() / strip.sum()) if strip.sum() > 0 else 1.0


@dataclass(frozen=True, eq=False)
class Cells:
    """Cuts that are alike for the curve, added up: one panel, film and allowance each.

    Cells lie in order of panel and film: `starts` says where each pair begins, `pair_panel` and
    `pair_film` which it is (pairs × panels, pairs × films; 0 or 1). By cell: `panel`, `film`,
    `relative` (allowance ÷ the panel's mean, less 1), and the numbers `cuts` and `again`.
    """

    panels: int
    films: int
    starts: Codes
    pair_panel: Array
    pair_film: Array
    panel: Codes
    film: Codes
    relative: Array
    cuts: Array
    again: Array

    @classmethod
    def of(cls, panel: Codes, film: Codes, relative: Array, again: Array) -> "Cells":
        """Cells of single cuts: codes 0..k-1, allowances to a thousandth, and 0 or 1."""
        frame = pd.DataFrame(
            {"panel": panel, "film": film, "relative": np.round(relative, 3), "again": again}
        )
        keys = ["panel", "film", "relative"]
        found = frame.groupby(keys, sort=True)["again"].agg(["sum", "size"]).reset_index()
        pair = found["panel"] * (film.max() + 1) + found["film"]
        starts = np.flatnonzero(~pair.duplicated().to_numpy())
        at_panel, at_film = (found[key].to_numpy() for key in ("panel", "film"))
        panels, films = int(panel.max()) + 1, int(film.max()) + 1
        return cls(
            panels,
            films,
            starts,
            np.eye(panels)[at_panel[starts]],
            np.eye(films)[at_film[starts]],
            at_panel,
            at_film,
            found["relative"].to_numpy(),
            found["size"].to_numpy(dtype=np.float64),
            found["sum"].to_numpy(dtype=np.float64),
        )

    def by_pair(self, values: Array) -> Array:
        """Sums of cells by panel and film. (nodes × cells) to (nodes × pairs)"""
        return np.asarray(np.add.reduceat(values, self.starts, axis=1))


@dataclass(frozen=True, eq=False)
class _Fit:
    """For each node: the likeliest effects, their precision, and the log of what it weighs."""

    effects: Array
    precision: Array
    log_weight: Array


def draw_curves(cells: Cells, draws: int, seed: int) -> tuple[Array, Array, Array]:
    """Draws of levels (draws × panels), slopes (draws × panels) and films (draws × films).

    A grid over the common slope and the spreads of panels, films and panels' slopes; at each node
    Laplace's approximation for all the rest (Tierney and Kadane 1986, Journal of the American
    Statistical Association 81:82-86), whose integral weighs the node; then draws from the nodes.
    """
    with one_thread():
        slopes, nodes, fit = _grid(cells)
    weight = np.exp(fit.log_weight - fit.log_weight.max())
    rng = np.random.default_rng(seed)
    share = (np.arange(draws) + rng.random()) / draws
    chosen = np.searchsorted(np.cumsum(weight / weight.sum()), share).clip(max=len(nodes) - 1)
    used, of_draw = np.unique(chosen, return_inverse=True)
    root = np.linalg.cholesky(np.linalg.inv(fit.precision[used]))
    normal = rng.normal(size=(draws, root.shape[1]))
    away = np.matmul(root[of_draw], normal[:, :, None])[:, :, 0]
    effects = fit.effects[chosen] + away
    jitter = (slopes[1] - slopes[0]) * (rng.random(draws) - 0.5)
    slope = np.abs(nodes[chosen, 0] + jitter)
    panels = cells.panels
    level = effects[:, :1] + effects[:, 1 : 1 + panels]
    by_panel = slope[:, None] * np.exp(effects[:, 1 + panels : 1 + 2 * panels])
    return level, by_panel, effects[:, 1 + 2 * panels :]


def _grid(cells: Cells) -> tuple[Array, Array, _Fit]:
    """The slopes of the grid, its nodes (slope and three spreads, a row each), and their fit.

    Where on the slope the grid has to lie is found first, at middling spreads.
    """
    slopes = np.linspace(0.0, _STEEPEST, 2 * _SLOPES)
    rate = (cells.again.sum() + 0.5) / (cells.cuts.sum() + 1.0)
    effects = np.zeros((len(slopes), 1 + 2 * cells.panels + cells.films))
    effects[:, 0] = np.log(rate / (1 - rate))
    middling = [_SPREADS[1], _SPREADS[1], _SLOPE_SPREADS[1]]
    for steps in (6, 4):
        nodes = np.array([[slope, *middling] for slope in slopes])
        fit = _fit(cells, nodes, effects, steps)
        seen = slopes[fit.log_weight > fit.log_weight.max() - _FAINT]
        reach = slopes[1] - slopes[0]
        before = slopes
        slopes = np.linspace(max(seen.min() - reach, 0.0), seen.max() + reach, _SLOPES)
        effects = fit.effects[np.abs(slopes[:, None] - before).argmin(axis=1)]
    axes = (slopes, np.array(_SPREADS), np.array(_SPREADS), np.array(_SLOPE_SPREADS))
    nodes = np.array(list(product(*axes)))
    fit = _fit(cells, nodes, np.repeat(effects, len(nodes) // len(slopes), axis=0), steps=4)
    width = [np.log(each) for each in product(*(_widths(axis) for axis in axes))]
    log_weight = fit.log_weight + np.array(width).sum(axis=1)
    return slopes, nodes, _Fit(fit.effects, fit.precision, log_weight)


def _fit(cells: Cells, nodes: Array, start: Array, steps: int) -> _Fit:
    """Newton's method at every node at once. `nodes` : slope and three spreads, a row each."""
    panels, films = cells.panels, cells.films
    prior = np.hstack(
        [
            np.full((len(nodes), 1), _LEVEL_SD),
            np.repeat(nodes[:, [1]], panels, axis=1),
            np.repeat(nodes[:, [3]], panels, axis=1),
            np.repeat(nodes[:, [2]], films, axis=1),
        ]
    )
    centre = np.zeros(prior.shape[1])
    centre[0] = _LEVEL
    effects = start
    at = np.arange(prior.shape[1])
    for _ in range(steps):
        _, gradient, precision = _derivatives(cells, nodes[:, 0], effects)
        precision[:, at, at] += prior**-2
        gradient = gradient - (effects - centre) / prior**2
        move = np.linalg.solve(precision, gradient[:, :, None])[:, :, 0]
        effects = effects + np.clip(move, -1.5, 1.5)
    log_likelihood, _, precision = _derivatives(cells, nodes[:, 0], effects)
    precision[:, at, at] += prior**-2
    away = (effects - centre) / prior
    log_prior = -(away**2).sum(axis=1) / 2 - np.log(prior).sum(axis=1)
    believed = np.array([_SLOPE_SD, _SPREAD_SD, _SPREAD_SD, _SLOPE_SPREAD_SD])
    log_prior -= ((nodes / believed) ** 2).sum(axis=1) / 2
    log_determinant = np.linalg.slogdet(precision)[1]
    return _Fit(effects, precision, log_likelihood + log_prior - log_determinant / 2)


def _derivatives(cells: Cells, slope: Array, effects: Array) -> tuple[Array, Array, Array]:
    """Log likelihood, its gradient, and its expected information, at every node."""
    panels = cells.panels
    own = effects[:, 1 : 1 + panels] + effects[:, :1]
    steeper = effects[:, 1 + panels : 1 + 2 * panels]
    fall = -(slope[:, None] * np.exp(steeper))[:, cells.panel] * cells.relative
    odds = own[:, cells.panel] + effects[:, 1 + 2 * panels :][:, cells.film] + fall
    share = expit(odds)
    log_likelihood = odds @ cells.again - np.logaddexp(0.0, odds) @ cells.cuts
    left = cells.again - cells.cuts * share
    weight = cells.cuts * share * (1 - share)
    by_pair = [cells.by_pair(each) for each in (left, left * fall)]
    on_panel, on_film = cells.pair_panel, cells.pair_film
    gradient = np.hstack(
        [by_pair[0].sum(axis=1, keepdims=True), *(each @ on_panel for each in by_pair)]
        + [by_pair[0] @ on_film]
    )
    plain, once, twice = (cells.by_pair(each) for each in (weight, weight * fall, weight * fall**2))
    panel, both, film = (plain @ on_panel, once @ on_panel, plain @ on_film)
    size = gradient.shape[1]
    found = np.zeros((len(slope), size, size))
    found[:, 0, 0] = plain.sum(axis=1)
    found[:, 0, 1:] = np.hstack([panel, both, film])
    p = np.arange(1, 1 + panels)
    f = np.arange(1 + 2 * panels, size)
    found[:, p, p] = panel
    found[:, p, p + panels] = both
    found[:, p + panels, p + panels] = twice @ on_panel
    found[:, f, f] = film
    at_panel, at_film = on_panel.argmax(axis=1), on_film.argmax(axis=1)
    found[:, 1 + at_panel, f[at_film]] = plain
    found[:, 1 + panels + at_panel, f[at_film]] = once
    upper = np.triu(np.ones((size, size)), 1)
    found = found + np.transpose(found * upper, (0, 2, 1))
    return log_likelihood, gradient, found


def _widths(values: Array) -> Array:
    """Width that each value of a grid stands for, by the trapezoidal rule."""
    step = np.diff(values)
    return np.asarray((np.append(step, 0.0) + np.append(0.0, step)) / 2)
