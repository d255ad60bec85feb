"""Figures of what the counter sale hangs on: installs that are displaced, and every unknown."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.counter_tables import COUNTER_UNKNOWNS, COUNTER_VERDICTS
from analysis.locale_text import MISSING, counted
from analysis.pricing.counter_verdicts import ALL
from analysis.report.counter_phrases import (
    WORTH_NOTHING,
    Row,
    cost_by_all,
    displaced_finding,
    learnt,
    level_ticks,
    to_write_down,
    verdict_rows,
)
from analysis.report.counter_unknown_texts import UnknownTexts, unknowns_grid
from analysis.report.dots import Line, add_line
from analysis.report.grids import Cell, FigureInfo, Grid, Heading, RowsInfo, number, slices_of
from analysis.report.look import (
    BLUE,
    INK,
    ORANGE,
    PAPER,
    SKY,
    SOFT_INK,
    VERMILION,
    alternative,
    chart_names,
    finish,
    nothing,
    plain,
    row_names,
    rows_axis,
    rows_height,
)
from analysis.report.numbers import Numbers, sentence_case
from analysis.report.results import Review

MOST_ROWS: Final = 12
_ALL: Final = 100.0  # percent
_SHARES_HEIGHT, _FOOT_WORD = 320, 14
_ROOM, _BAR_WIDTH = 0.22, 0.3
# So far from the line, as a share of its fall, a mark still looks as if it lay on it.
_ON_THE_LINE: Final = 0.02


@dataclass(frozen=True, eq=False, kw_only=True)
class DisplacedInfo(FigureInfo):
    """What a sale leaves with no sale displacing an install, and with every one [money].

    `share`, `share_low`, `share_high` : what is learnt of the share [percent] and its 90 % ends;
    `net` : what a sale leaves as learnt; `break_even` : share at which nothing is left, NaN where
    there is none from 0 to 100 %.
    """

    at_none: float = np.nan
    at_all: float = np.nan
    share: float = np.nan
    share_low: float = np.nan
    share_high: float = np.nan
    net: float = np.nan
    break_even: float = np.nan
    share_text: str = ""
    break_even_text: str = ""
    unit: str = ""
    separators: str = ".,"


@dataclass(frozen=True, eq=False, kw_only=True)
class UnknownsInfo(RowsInfo):
    """What a sale leaves at the ends of each unknown's interval [money], widest first.

    `low_texts`, `high_texts` : the unknown's own ends, as printed; `net` : what a sale leaves with
    every unknown at its mean, NaN where that is not known.
    """

    at_lows: tuple[float, ...] = ()
    at_highs: tuple[float, ...] = ()
    low_texts: tuple[str, ...] = ()
    high_texts: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    net: float = np.nan


# --- installs that are displaced -----------------------------------------------------------------


def gather_displaced(review: Review) -> DisplacedInfo:
    """What a sale leaves against the share of sales that take an install's place."""
    found = slices_of(review, COUNTER_VERDICTS.name)
    title = "How many installs a counter sale may displace"
    if found.line:
        return DisplacedInfo(title=title, line=found.line)
    row = verdict_rows(review).get((ALL, ""))
    if row is None or pd.isna(row["margin_each"]) or pd.isna(row["later_each"]):
        reason = "" if row is None or pd.isna(row["reason"]) else f" {row['reason']}"
        line = f"What a sale leaves before displaced installs is not known.{reason}"
        return DisplacedInfo(title=title, line=line)
    by_all = cost_by_all(row)
    if np.isnan(by_all):
        line = "What displaced installs would have left is not known."
        return DisplacedInfo(title=title, line=line)
    say = Numbers(review.settings)
    at_none = float(row["margin_each"] + row["later_each"])
    even = float(row["break_even_displaced_pct"])
    share, low, high = (
        float(row[name]) for name in ("displaced_pct", "displaced_low_pct", "displaced_high_pct")
    )
    share_text = learnt(row, say)
    net = float(row["net_each"])
    told = [
        ("no sale takes an install's place", say.money(at_none)),
        ("every sale does", say.money(at_none - by_all)),
        (f"learnt: {share_text}", say.money(net)),
    ]
    if _is_between(even):
        told.append((f"break-even: {say.percent(even)}", say.money(0.0)))
    return DisplacedInfo(
        title=displaced_finding(row, say),
        alternative=alternative(
            "Straight line",
            "what a sale leaves against the share of displaced installs",
            [name for name, _ in told],
            [text for _, text in told],
        ),
        grids=(_displaced_grid(row, (at_none, at_none - by_all, net), even, say),),
        note="The line is what a sale leaves if so many of the customers would have booked the "
        "install instead; a diamond marks where nothing is left. The shaded band is what is "
        "learnt of the share from the answers at the counter, 90 % interval; the circle its mean. "
        f"{_answers(row, say)} An install displaced in a full month costs less: another job may "
        f"take its hours.{_off_the_line(net - (at_none - share / 100 * by_all), by_all)}",
        at_none=at_none,
        at_all=at_none - by_all,
        share=share,
        share_low=low,
        share_high=high,
        net=net,
        break_even=even if 0 <= even <= 100 else np.nan,
        share_text=share_text,
        break_even_text=say.percent(even),
        unit=say.settings.currency,
        separators=say.separators,
    )


def draw_displaced(info: DisplacedInfo) -> go.Figure:
    """A line from no displaced install to all of them, the break-even, and what is learnt."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    if not (np.isnan(info.share_low) or np.isnan(info.share_high)):
        fig.add_vrect(
            x0=info.share_low,
            x1=info.share_high,
            fillcolor=SKY,
            opacity=0.25,
            line_width=0,
            layer="below",
        )
    fig.add_scatter(
        x=[0.0, 100.0],
        y=[info.at_none, info.at_all],
        mode="lines",
        line={"color": BLUE, "width": 2.5},
        hovertemplate="%{x:.0f} %: %{y:,.0f}<extra></extra>",
    )
    ends = [0.0, info.at_none, info.at_all]
    room = 0.16 * ((max(ends) - min(ends)) or 1.0)
    _add_mark(fig, (info.share, info.net), "circle", PAPER, "")
    word = f"nothing left at {info.break_even_text}"
    _add_mark(fig, (info.break_even, 0.0), "diamond", VERMILION, word)
    finish(fig, title=info.title, separators=info.separators, height=_SHARES_HEIGHT, head=26)
    if not np.isnan(info.share):
        _add_word(fig, info.share, f"learnt: {info.share_text}")
    fig.add_hline(y=0, line={"color": SOFT_INK, "width": 1}, layer="below")
    fig.update_xaxes(
        title_text="Sales that take an install's place, %",
        range=[-1, 101],
        dtick=25,
        ticksuffix=" %",
    )
    fig.update_yaxes(
        title_text=f"Left a sale, {info.unit}",
        range=[min(ends) - room, max(ends) + room],
        tickformat=",",
        automargin=True,
    )
    return fig.update_layout(showlegend=False, margin_r=22)


def _add_mark(fig: go.Figure, at: tuple[float, float], symbol: str, colour: str, word: str) -> None:
    """A mark on the line with its word beside it; nothing where its place is not known."""
    if np.isnan(at[0]):
        return
    fig.add_scatter(
        x=[at[0]],
        y=[at[1]],
        mode="markers+text" if word else "markers",
        marker={
            "symbol": symbol,
            "size": 12,
            "color": colour,
            "line": {"color": INK, "width": 1.5},
        },
        text=[plain(word)],
        # The line falls: above it at the right, and below it at the left, there is room.
        textposition="top right" if at[0] <= 50 else "bottom left",
        textfont={"size": 12, "color": INK},
        cliponaxis=False,
        hovertemplate="%{x:.0f} %: %{y:,.0f}<extra></extra>",
    )


def _add_word(fig: go.Figure, at: float, word: str) -> None:
    """A word over the plot, at the band that it names."""
    anchor = "left" if at < 35 else "right" if at > 65 else "center"
    fig.add_annotation(
        text=plain(word),
        x={"left": 0.0, "right": 100.0}.get(anchor, at),
        xanchor=anchor,
        y=1,
        yref="paper",
        yanchor="bottom",
        showarrow=False,
        font={"size": 12, "color": INK},
    )


def _off_the_line(gap: float, by_all: float) -> str:
    """Why the mean stands off the line, where it does."""
    if not abs(gap) > _ON_THE_LINE * abs(by_all):
        return ""
    return (
        " The circle stands off the line because sales that stand in for different services "
        "displace more or fewer installs; along the line all of them displace the same share."
    )


def _answers(row: Row, say: Numbers) -> str:
    """How many were asked, and what they said."""
    yes = f"{say.number(row['would_have_booked'])} of them yes"
    told = f"{counted(row['answers'], 'answer')} to date, {yes}"
    unsure = row["unsure"]
    more = "" if pd.isna(unsure) or not unsure else f"; {counted(unsure, 'customer')} more unsure"
    return f"{told}{more}."


def _displaced_grid(row: Row, nets: tuple[float, float, float], even: float, say: Numbers) -> Grid:
    rows = [
        ("none", say.percent(0.0), say.money(nets[0])),
        ("as learnt", learnt(row, say), say.money(nets[2])),
        ("break-even", _even_text(even, say), say.money(0.0) if _is_between(even) else MISSING),
        ("all", say.percent(100.0), say.money(nets[1])),
    ]
    headings = (
        Heading("Sales that take an install's place", is_number=False),
        Heading("Share"),
        Heading("Left a sale"),
    )
    cells = tuple(tuple(map(Cell, each)) for each in rows)
    return Grid("What a sale leaves, by displaced installs", 1, (), headings, cells)


def _is_between(even: float) -> bool:
    """Whether a break-even share lies between none and all of the sales."""
    return 0 <= even <= _ALL


def _even_text(even: float, say: Numbers) -> str:
    """The break-even share; there are no shares beyond none and all."""
    if even > _ALL:
        return f"none up to {say.percent(_ALL)}"
    return "under none" if even < 0 else say.percent(even)


# --- every unknown -------------------------------------------------------------------------------


def gather_unknowns(review: Review) -> UnknownsInfo:
    """How far each unknown moves what a sale leaves, and what it would be worth to know it."""
    found = slices_of(review, COUNTER_UNKNOWNS.name)
    title = "What the answer hangs on"
    if found.line:
        return UnknownsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("swing", ascending=False, kind="stable", ignore_index=True)
    rows = [UnknownTexts.of(row, say, review) for row in frame.to_dict("records")]
    grid = unknowns_grid(rows)
    known = number(frame, "net_at_low").notna() & number(frame, "net_at_high").notna()
    if not known.any():
        line = "How far the unknowns move what a sale leaves is not known."
        return UnknownsInfo(title=title, line=line, grids=(grid,))
    chosen = frame.index[known][:MOST_ROWS]
    shown, words = frame.loc[chosen], [rows[at] for at in chosen]
    names = [sentence_case(each.name) for each in words]
    texts = [each.text for each in words]
    whole = verdict_rows(review).get((ALL, ""))
    some = "" if len(shown) == len(frame) else f" {len(shown)} of {len(frame)} are drawn."
    return UnknownsInfo(
        title=_unknowns_finding(frame, words[0]),
        alternative=alternative(
            "Bars from one end to the other", "what a sale leaves by unknown", names, texts
        ),
        grids=(grid,),
        note="Each bar goes from what a sale leaves with the unknown at one end of its 90 % "
        "interval to the other, the others at their means; the ends stand beside it. What "
        "knowing is worth: what would be added a year by knowing it for sure before deciding "
        f"whether to go on selling.{_surer(review)}{some}".strip(),
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.settings.currency,
        separators=say.separators,
        at_lows=tuple(number(shown, "net_at_low")),
        at_highs=tuple(number(shown, "net_at_high")),
        low_texts=tuple(each.low for each in words),
        high_texts=tuple(each.high for each in words),
        texts=tuple(texts),
        net=float("nan") if whole is None else float(whole["net_each"]),
    )


def _unknowns_finding(frame: pd.DataFrame, widest: UnknownTexts) -> str:
    """What the answer hangs on, or that nothing left open would change it; no full stop."""
    if number(frame, "value_of_knowing").fillna(0.0).max() < WORTH_NOTHING:
        return f"Nothing left open would change the answer; most moves {widest.name}"
    return f"The answer hangs most on {widest.name}: {widest.nets}"


def draw_unknowns(info: UnknownsInfo) -> go.Figure:
    """Bars between what a sale leaves at the ends, widest on top, around the mean."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    places = list(range(len(info.names)))
    names = chart_names(info.names, info.few)
    lows, highs = np.array(info.at_lows), np.array(info.at_highs)
    fig.add_bar(
        x=list(highs - lows),
        base=list(lows),
        y=places,
        orientation="h",
        width=_BAR_WIDTH,
        marker={"color": ORANGE, "line": {"color": INK, "width": 0.7}},
        customdata=[f"{name}: {plain(text)}" for name, text in zip(names, info.texts, strict=True)],
        hovertemplate="%{customdata}<extra></extra>",
    )
    for values, texts, is_left in (
        (info.at_lows, info.low_texts, lows <= highs),
        (info.at_highs, info.high_texts, lows > highs),
    ):
        fig.add_scatter(
            x=list(values),
            y=places,
            mode="text",
            # A hard space keeps the word off the bar.
            text=[f"\u00a0{plain(text)}\u00a0" for text in texts],
            textposition=["middle left" if left else "middle right" for left in is_left],
            textfont={"size": 12, "color": INK},
            cliponaxis=False,
            hoverinfo="skip",
        )
    height, head = rows_height(len(places))
    height += _FOOT_WORD
    finish(fig, title=info.title, separators=info.separators, height=height, head=head)
    rows_axis(fig, len(places))
    row_names(fig, names, info.texts)
    fig.update_xaxes(
        title_text=f"What a sale leaves, {info.unit}", range=_reach((*lows, *highs)), zeroline=False
    )
    fig.update_xaxes(**level_ticks((*lows, *highs)))
    for line in (Line(0.0, ""), Line(info.net, "all as learnt")):
        if _is_inside(line.at, (*lows, *highs)):
            _add_across_bars(fig, line, len(places))
    # Room for the word under the last bar.
    fig.update_yaxes(range=[len(places) - 0.4, -0.72])
    return fig.update_layout(showlegend=False)


def _is_inside(at: float, values: Sequence[float]) -> bool:
    low, high = _reach(values)
    return low <= at <= high


def _add_across_bars(fig: go.Figure, line: Line, count: int) -> None:
    """An upright line with its word, across the bars and not the names above them."""
    add_line(fig, line)
    whole = fig.layout.shapes[-1].update(
        yref="y", layer="above", line={"color": INK, "dash": "solid"}
    )
    parts = [go.layout.Shape(whole, y0=at - 0.18, y1=at + 0.3) for at in range(count)]
    fig.layout.shapes = [*fig.layout.shapes[:-1], *parts]


def _reach(values: Sequence[float]) -> list[float]:
    """Ends of the axis with room for the words beside the bars."""
    room = _ROOM * ((max(values) - min(values)) or 1.0)
    return [min(values) - room, max(values) + room]


def _surer(review: Review) -> str:
    record = to_write_down(review, if_worth=True)
    if record:
        return f" To be surer: {record}"
    return " To know any one of them for sure would not change the decision."
