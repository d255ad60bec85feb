"""Figures about time: what repetition does to hours, and whether quoting drifts."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.findings.drift import A_YEAR
from analysis.findings.learning import wright_unit_factor
from analysis.locale_text import counted
from analysis.report.grids import FigureInfo, number, plain_grid, slices_of
from analysis.report.look import (
    BLUE,
    GREY,
    INK,
    SOFT_INK,
    VERMILION,
    alternative,
    finish,
    nothing,
    plain,
)
from analysis.report.numbers import Numbers, label, sentence_case
from analysis.report.results import Review
from analysis.report.vehicles import basis, lines_of_model, model_names

_SURE: Final = ("shrinks", "grows")
_HEIGHT: Final = 320
_DRIFT_COLUMNS: Final = (
    "period",
    "jobs",
    "overrun_pct",
    "like_for_like_pct",
    "low_pct",
    "high_pct",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class LearningInfo(FigureInfo):
    """The jobs of one service on one model in order, and Wright's curve through them.

    `over` : actual hours ÷ quoted hours by job; `curve` : the same by the curve.
    """

    pair: str = ""
    rate_pct: float = float("nan")
    numbers: tuple[int, ...] = ()
    over: tuple[float, ...] = ()
    curve: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    separators: str = ".,"


@dataclass(frozen=True, eq=False, kw_only=True)
class DriftInfo(FigureInfo):
    """Hours against all quarters, like for like, by quarter, with 90 % intervals [percent]."""

    periods: tuple[str, ...] = ()
    middles: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    separators: str = ".,"


def gather_learning(review: Review) -> LearningInfo:
    """The pair whose hours change surest with repetition, else the one done most."""
    found = slices_of(review, "learning_curves")
    if found.line:
        return LearningInfo(title="What repetition does", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    sure = frame[frame["verdict"].isin(_SURE)]
    distance = (number(sure, "learning_rate_pct") - 100).abs()
    chosen = (
        sure.loc[distance.sort_values(ascending=False, kind="stable").index]
        if len(sure)
        else frame.sort_values("jobs", ascending=False, kind="stable")
    ).iloc[0]
    pair = _pair_name(chosen)
    lines = _lines_of_pair(review, chosen)
    over = (lines["actual_hours"] / lines["quoted_hours"]).to_numpy(float)
    rate = float(chosen["learning_rate_pct"])
    grids = [
        plain_grid(review, found.table, rows, found.table.names, caption=caption, names=3)
        for rows, caption in (
            (sure, "Hours that change with repetition"),
            (frame, "What repetition does, service by model"),
        )
        if len(rows)
    ]
    counts = frame["verdict"].value_counts()
    told = ", ".join(
        f"{int(counts.get(word, 0))} {word}" for word in (*_SURE, "steady", "cannot tell")
    )
    jobs = [f"Job {at}" for at in range(1, len(over) + 1)]
    texts = [f"{say.number(each, 2)} × the quote" for each in over]
    return LearningInfo(
        title=_learning_title(chosen, pair, len(sure), say),
        alternative=alternative(
            "Dots with a curve", f"hours ÷ quote of {pair}, job by job", jobs, texts
        )
        if len(texts)
        else "",
        grids=tuple(grids),
        note=f"{basis(review)} {counted(len(frame), 'pair')} of a service and a model: {told}. "
        "Each dot is a job; the curve is Wright's, at the rate estimated, laid through these dots "
        "by their median. Who did the job is allowed for in the rate, not in the dots.",
        pair=pair,
        rate_pct=rate,
        numbers=tuple(range(1, len(over) + 1)),
        over=tuple(over),
        curve=tuple(_curve(over, rate)),
        texts=tuple(f"{job}: {text}" for job, text in zip(jobs, texts, strict=True)),
        separators=say.separators,
    )


def draw_learning(info: LearningInfo) -> go.Figure:
    """Jobs in order, and the curve."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    fig.add_scatter(
        x=list(info.numbers),
        y=list(info.over),
        mode="markers",
        name="job",
        marker={"size": 8, "color": BLUE, "line": {"color": INK, "width": 0.8}},
        customdata=list(info.texts),
        hovertemplate="%{customdata}<extra></extra>",
    )
    fig.add_scatter(
        x=list(info.numbers),
        y=list(info.curve),
        mode="lines",
        name="learning curve",
        line={"color": VERMILION, "width": 3},
        hoverinfo="skip",
    )
    fig.add_hline(y=1.0, line={"color": SOFT_INK, "width": 1, "dash": "dash"}, layer="below")
    finish(fig, title=info.title, separators=info.separators, height=_HEIGHT, head=28)
    fig.update_layout(showlegend=True, margin_l=52)
    fig.update_xaxes(title_text="Number of the job, first to last", showgrid=False, zeroline=False)
    return fig.update_yaxes(title_text="Hours worked ÷ hours quoted", rangemode="tozero")


def gather_drift(review: Review) -> DriftInfo:
    """Whether hours drift away from the quotes, like for like."""
    found = slices_of(review, "quoting_drift")
    if found.line:
        return DriftInfo(title="Whether quoting drifts", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    is_change = frame["period"] == A_YEAR
    quarters = frame[~is_change & number(frame, "like_for_like_pct").notna()]
    grid = plain_grid(review, found.table, frame, _DRIFT_COLUMNS, caption=found.table.title)
    if quarters.empty:
        line = "There are too few jobs in any quarter to compare it, like for like."
        return DriftInfo(title="Whether quoting drifts", line=line, grids=(grid,))
    names = [label(each) for each in quarters["period"]]
    middles, lows, highs = (
        number(quarters, column) for column in ("like_for_like_pct", "low_pct", "high_pct")
    )
    texts = [
        f"{say.percent_change(middle, 1)} ({say.percent_range(low, high)})"
        for middle, low, high in zip(middles, lows, highs, strict=True)
    ]
    return DriftInfo(
        title=_drift_title(frame[is_change], say),
        alternative=alternative(
            "Dots with intervals over time", "hours like for like by quarter", names, texts
        ),
        grids=(grid,),
        note=f"{basis(review)} Each quarter's hours against what the same services, vehicles and "
        "people take over all quarters; the line is the 90 % interval. A rise says that quotes "
        "fall behind, and not that other work came in.",
        periods=tuple(names),
        middles=tuple(middles),
        lows=tuple(lows),
        highs=tuple(highs),
        separators=say.separators,
    )


def draw_drift(info: DriftInfo) -> go.Figure:
    """A dot each quarter on its interval."""
    if info.line:
        return nothing(info.title, info.line)
    names = [plain(name) for name in info.periods]
    fig = go.Figure()
    fig.add_scatter(
        x=[each for name in names for each in (name, name, None)],
        y=[
            each
            for low, high in zip(info.lows, info.highs, strict=True)
            for each in (low, high, None)
        ],
        mode="lines",
        line={"color": INK, "width": 1.5},
        hoverinfo="skip",
    )
    fig.add_scatter(
        x=names,
        y=list(info.middles),
        mode="markers",
        marker={"size": 10, "color": BLUE, "line": {"color": INK, "width": 1}},
        hovertemplate="%{x}: %{y:+.1f} %<extra></extra>",
    )
    fig.add_hline(y=0.0, line={"color": GREY, "width": 1}, layer="below")
    finish(fig, title=info.title, separators=info.separators, height=_HEIGHT - 40)
    fig.update_layout(showlegend=False, margin_l=52)
    fig.update_xaxes(title_text="Fiscal quarter", type="category", showgrid=False, automargin=True)
    return fig.update_yaxes(title_text="Hours, like for like, %", zeroline=False)


def _pair_name(row: pd.Series) -> str:
    model = model_names(row.to_frame().T)[0]
    return f"{label(row['service'])} on {model}"


def _lines_of_pair(review: Review, row: pd.Series) -> pd.DataFrame:
    lines = lines_of_model(review, row["make"], row["model"])
    return lines.loc[lines["service"].eq(row["service"])]


def _curve(over: np.ndarray, rate_pct: float) -> list[float]:
    """Wright's curve of that rate, at the height at which half of the jobs lie over it."""
    if not len(over) or not rate_pct > 50:
        return [float("nan")] * len(over)
    factor = wright_unit_factor(np.arange(1, len(over) + 1), rate_pct / 100)
    return [float(each) for each in factor * np.median(over / factor)]


def _learning_title(row: pd.Series, pair: str, sure: int, say: Numbers) -> str:
    rate = say.percent(row["learning_rate_pct"])
    if not sure:
        return f"No hours are sure to change with repetition; most often done: {pair}"
    word = "falls" if row["verdict"] == "shrinks" else "rises"
    return (
        f"{sentence_case(pair)}: with each doubling of the jobs done the average {word} to {rate} "
        f"({say.percent_range(row['low_pct'], row['high_pct'])})"
    )


def _drift_title(change: pd.DataFrame, say: Numbers) -> str:
    """The change a year, and whether it may be none."""
    if change.empty or number(change, "like_for_like_pct").isna().all():
        return "Whether quotes fall behind cannot be told from so few quarters"
    row = change.iloc[-1]
    middle, low, high = row["like_for_like_pct"], row["low_pct"], row["high_pct"]
    told = f"{say.percent_change(middle, 1)} a year ({say.percent_range(low, high)})"
    if low > 0:
        return f"Hours rise against the quotes, like for like: {told}"
    if high < 0:
        return f"Hours fall against the quotes, like for like: {told}"
    return f"No drift to be seen in the quoting: hours change by {told}, like for like"
