"""The figure about work done over: how often, and how sure that is."""

from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import counted
from analysis.report.dots import dots_figure
from analysis.report.grids import RowsInfo, few, number, plain_grid, slices_of
from analysis.report.look import alternative, nothing
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

# How many of each kind the chart shows.
_SHOWN: Final = {"service": 10, "model": 4, "film": 4}
_COLUMNS: Final = ("by", "key", "jobs", "redos", "redo_pct", "low_pct", "high_pct", "redo_cost")


@dataclass(frozen=True, eq=False, kw_only=True)
class RedoInfo(RowsInfo):
    """Share of jobs done over, with its 90 % interval [percent]."""

    rates: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


def gather_redo(review: Review) -> RedoInfo:
    """Share of first-time jobs done over: services first, then models and films with a redo."""
    found = slices_of(review, "redo")
    if found.line:
        return RedoInfo(title="Work done over", line=found.line)
    say = Numbers(review.settings)
    shown = _worth_showing(found.quarter)
    names = [f"{label(key)} ({by})" for by, key in zip(shown["by"], shown["key"], strict=True)]
    texts = [
        f"{say.number(redos)} of {counted(jobs, 'job')}, {say.percent(rate, 1)}"
        for redos, jobs, rate in zip(
            number(shown, "redos"), number(shown, "jobs"), number(shown, "redo_pct"), strict=True
        )
    ]
    grid = plain_grid(review, found.table, found.quarter, _COLUMNS, caption="Redos", names=2)
    return RedoInfo(
        title=_title(found.quarter, say),
        alternative=alternative("Dot chart with intervals", "share done over", names, texts),
        grids=(grid,),
        note="The dot is the share found, the line its 90 % interval. First-time jobs of the "
        "twelve months to the quarter's end, with their redos to date; ranked by the interval's "
        "low end, so that one unlucky job does not lead.",
        names=tuple(names),
        few=tuple(few(shown)),
        unit="%",
        separators=say.separators,
        rates=tuple(number(shown, "redo_pct")),
        lows=tuple(number(shown, "low_pct")),
        highs=tuple(number(shown, "high_pct")),
        texts=tuple(texts),
    )


def draw_redo(info: RedoInfo) -> go.Figure:
    """A dot at each share, on a line over its interval."""
    if info.line:
        return nothing(info.title, info.line)
    fig = dots_figure(
        info.names,
        (info.rates, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis="Jobs done over, %",
        separators=info.separators,
        few=info.few,
    )
    return fig.update_xaxes(rangemode="tozero")


def service_rows(frame: pd.DataFrame) -> pd.DataFrame:
    """The rows that group by service: every job stands in one of them."""
    return frame[frame["by"] == "service"]


def _worth_showing(frame: pd.DataFrame) -> pd.DataFrame:
    """Services, then models and films with a redo: of each kind those whose low end is highest."""
    order = pd.DataFrame(
        {
            "kind": frame["by"].map({kind: at for at, kind in enumerate(_SHOWN)}),
            "low": -number(frame, "low_pct"),
        }
    ).sort_values(["kind", "low"], kind="stable")
    ordered = frame.loc[order.index]
    worth = ordered[(ordered["by"] == "service") | (number(ordered, "redos") > 0)]
    place = worth.groupby("by").cumcount()
    return worth[place < worth["by"].map(_SHOWN)]


def _title(frame: pd.DataFrame, say: Numbers) -> str:
    services = service_rows(frame)
    redos, jobs = number(services, "redos").sum(), number(services, "jobs").sum()
    if not jobs:
        return "Work done over: no first-time jobs in the twelve months"
    share = say.percent(100 * redos / jobs, 1)
    return (
        f"{say.number(redos)} of {counted(jobs, 'job')} were done over in twelve months ({share})"
    )
