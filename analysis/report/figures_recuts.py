"""The figure about recuts: how often a piece is cut again, by the allowance it was cut with."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.findings.allowance import NOT_ENOUGH
from analysis.locale_text import counted, pretty_unit
from analysis.report.figures_allowance import lengths, verdict_over_all, with_texts
from analysis.report.grids import FigureInfo, few, number, plain_grid, slices_of
from analysis.report.look import BLUE, FEW, INK, SKY, SOFT_INK, alternative, finish, nothing, plain
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.report.vehicles import basis

PIECE_COSTS: Final = ("piece_cost", "piece_cost_low", "piece_cost_high")
_HEIGHT: Final = 340
_MOST_LARGE, _MOST_TICKS = 6, 12
# The curve is told where most is cut: at these shares of the cuts.
_MIDDLE: Final = (0.1, 0.9)


@dataclass(frozen=True, eq=False, kw_only=True)
class RecutsInfo(FigureInfo):
    """Recuts by allowance a side, bin by bin, and the curve over all cuts [percent].

    `margins` : lower end of each bin [length unit], `starts` : as text, `bins` : the bin in words;
    `lows` and `highs` are Wilson's of `shares`.
    """

    margins: tuple[float, ...] = ()
    starts: tuple[str, ...] = ()
    bins: tuple[str, ...] = ()
    cuts: tuple[int, ...] = ()
    shares: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    few: tuple[bool, ...] = ()
    curve: tuple[float, ...] = ()
    curve_lows: tuple[float, ...] = ()
    curve_highs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    unit: str = ""
    separators: str = ".,"


def gather_recuts(review: Review) -> RecutsInfo:
    """How often pieces are cut again, by the allowance that they were cut with."""
    found = slices_of(review, "recuts_by_allowance")
    title = "Recuts against the allowance"
    if found.line:
        return RecutsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("allowance", kind="stable", ignore_index=True)
    columns = [name for name in found.table.names if name != "enough"]
    grid = plain_grid(review, found.table, frame, columns, caption=title)
    cents = {name: [say.number(each, 2) for each in number(frame, name)] for name in PIECE_COSTS}
    grid = with_texts(grid, columns, cents)
    shown = frame[number(frame, "allowance").notna() & (number(frame, "cuts") > 0)]
    if shown.empty:
        line = "No first-time cut has a piece size and a finished size, so no allowance is known."
        return RecutsInfo(title=title, line=line, grids=(grid,))
    unit = pretty_unit(review.settings.length_unit)
    starts = lengths(say, list(number(shown, "allowance")))
    bins = _bins(starts, unit)
    shares, lows, highs = (number(shown, name) for name in ("recut_pct", "low_pct", "high_pct"))
    texts = [
        f"{say.number(recuts)} of {counted(cuts, 'cut')}, {say.percent(share, 1)} "
        f"({say.percent_range(low, high)})"
        for recuts, cuts, share, low, high in zip(
            number(shown, "recuts"), number(shown, "cuts"), shares, lows, highs, strict=True
        )
    ]
    curve, curve_lows, curve_highs = (
        number(shown, name) for name in ("curve_pct", "curve_low_pct", "curve_high_pct")
    )
    return RecutsInfo(
        title=_recuts_title(review, shown, bins, say),
        alternative=alternative(
            "Dots with intervals and a falling curve",
            "share of pieces cut again by allowance a side",
            bins,
            texts,
        ),
        grids=(grid,),
        note=f"{basis(review)} A dot is what was found at an allowance, its line the 90 % Wilson "
        "interval; of few cuts it may run out of the picture. The curve, which the title quotes, "
        "is that of all cuts, the shaded band its 90 % interval. Under each allowance stands how "
        "many pieces were cut with it. The allowance is what a piece is larger than what stays "
        "on, a side, put to the shop's average panel. The table has the film that such "
        "a piece is expected to cost, recuts included.",
        margins=tuple(number(shown, "allowance")),
        starts=tuple(starts),
        bins=tuple(bins),
        cuts=tuple(int(each) for each in number(shown, "cuts")),
        shares=tuple(shares),
        lows=tuple(lows),
        highs=tuple(highs),
        few=tuple(few(shown)),
        curve=tuple(curve),
        curve_lows=tuple(curve_lows),
        curve_highs=tuple(curve_highs),
        texts=tuple(f"{name}: {text}" for name, text in zip(bins, texts, strict=True)),
        unit=unit,
        separators=say.separators,
    )


def draw_recuts(info: RecutsInfo) -> go.Figure:
    """A dot each allowance on its interval, the curve, and its band."""
    if info.line:
        return nothing(info.title, info.line)
    places = list(range(len(info.margins)))
    fig = go.Figure()
    _add_curve(fig, info, places)
    fig.add_scatter(
        x=places,
        y=list(info.shares),
        mode="markers",
        name="found",
        cliponaxis=False,
        marker={
            "size": 10,
            "color": [SOFT_INK if thin else BLUE for thin in info.few],
            "symbol": ["circle-open" if thin else "circle" for thin in info.few],
            "line": {"color": INK, "width": 1},
        },
        error_y={
            "type": "data",
            "symmetric": False,
            "array": [high - share for high, share in zip(info.highs, info.shares, strict=True)],
            "arrayminus": [share - low for share, low in zip(info.shares, info.lows, strict=True)],
            "color": INK,
            "thickness": 1.5,
        },
        customdata=[plain(text) for text in info.texts],
        hovertemplate="%{customdata}<extra></extra>",
    )
    finish(fig, title=info.title, separators=info.separators, height=_HEIGHT, head=28)
    fig.update_layout(showlegend=True, margin_l=46, margin_b=74)
    fig.update_xaxes(
        title_text=f"Allowance a side, {plain(info.unit)}, from; below it: pieces cut",
        tickvals=places,
        ticktext=_ticks(info),
        tickfont={"size": 13 if len(places) <= _MOST_LARGE else 11},
        range=[-0.5, len(places) - 0.5],
        showgrid=False,
        zeroline=False,
    )
    return fig.update_yaxes(title_text="Cut again, %", range=[0, _top(info)])


def _top(info: RecutsInfo) -> float:
    """Where the upright axis ends: intervals of few cuts may run out of the picture."""
    ends = [high for high, thin in zip(info.highs, info.few, strict=True) if not thin]
    known = pd.Series([*(ends or info.highs), *info.curve_highs, *info.shares]).dropna()
    return 1.1 * float(known.max()) if len(known) and known.max() > 0 else 1.0


def _add_curve(fig: go.Figure, info: RecutsInfo, places: list[int]) -> None:
    at = [each for each in places if not np.isnan(info.curve[each])]
    if not at:
        return
    there = [each for each in at if not np.isnan(info.curve_lows[each] + info.curve_highs[each])]
    edge = {"color": SKY, "width": 1, "dash": "dot"}
    for name, ends, fill in (
        ("upper", info.curve_highs, None),
        ("90 % band", info.curve_lows, "tonexty"),
    ):
        fig.add_scatter(
            x=there,
            y=[ends[each] for each in there],
            mode="lines",
            name=name,
            line=edge,
            fill=fill,
            fillcolor="rgba(86, 180, 233, 0.28)",
            showlegend=fill is not None,
            hoverinfo="skip",
        )
    fig.add_scatter(
        x=at,
        y=[info.curve[each] for each in at],
        mode="lines",
        name="curve",
        line={"color": BLUE, "width": 3},
        hoverinfo="skip",
    )


def _ticks(info: RecutsInfo) -> list[str]:
    every = 1 + len(info.starts) // (_MOST_TICKS + 1)
    return [
        "" if at % every else f"{start}<br>{cuts}" + (f"<br>{FEW}" if thin else "")
        for at, (start, cuts, thin) in enumerate(zip(info.starts, info.cuts, info.few, strict=True))
    ]


def _bins(starts: list[str], unit: str) -> list[str]:
    """Each bin in words: `2.0 to 2.5 in`, the last `4.0 in or more`."""
    within = [f"{low} to {high} {unit}" for low, high in zip(starts, starts[1:], strict=False)]
    return [*within, f"{starts[-1]} {unit} or more"]


def _recuts_title(review: Review, shown: pd.DataFrame, bins: list[str], say: Numbers) -> str:
    """What the curve says between a small and a large allowance, or that it cannot be told."""
    if verdict_over_all(review) == NOT_ENOUGH:
        return "Not enough recuts to tell how large to cut"
    cuts = number(shown, "cuts").to_numpy()
    before = (np.cumsum(cuts) - cuts / 2) / cuts.sum()
    first, last = (int(np.abs(before - share).argmin()) for share in _MIDDLE)
    curve, low, high = (
        number(shown, name).to_numpy() for name in ("curve_pct", "curve_low_pct", "curve_high_pct")
    )
    if first == last or np.isnan(curve[[first, last]]).any():
        share = say.percent(100 * number(shown, "recuts").sum() / cuts.sum(), 1)
        return f"{share} of pieces are cut again; not enough to tell by allowance"
    small, large = (
        f"{say.percent(curve[at], 1)} ({say.percent_range(low[at], high[at])})"
        for at in (first, last)
    )
    if not low[first] > high[last]:
        return (
            "That a larger allowance saves recuts is not sure: "
            f"{small} with {bins[first]} a side, {large} with {bins[last]}"
        )
    return f"Pieces cut again: {small} with {bins[first]} a side, {large} with {bins[last]}"
