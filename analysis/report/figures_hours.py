"""Figures about hours: quoted against actual, by whom, on what vehicle, and in which task."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.report.cautions import STAFF_CAUTION
from analysis.report.grids import (
    Grid,
    Part,
    RowsInfo,
    Slices,
    few,
    labels_of,
    number,
    side_by_side,
    slices_of,
    year_name,
)
from analysis.report.look import (
    BLACK,
    Panel,
    alternative,
    chart_names,
    look_of,
    nothing,
    rows_figure,
    signed_panel,
)
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.report.vehicles import POOLED

MOST_ROWS: Final = 12
_COLUMNS: Final = ("jobs", "quoted_hours", "actual_hours", "overrun_pct", "overrun_cost")
_GROUPS: Final = {
    "service": "service",
    "class": "vehicle class",
    "installer": "installer",
}
_POOLED: Final = {
    "service": "on the shop's usual vehicles",
    "class": "apart from what its models do",
}


@dataclass(frozen=True, eq=False, kw_only=True)
class HoursInfo(RowsInfo):
    """Actual and quoted hours of each group. [h] `texts` say the overrun."""

    actual: tuple[float, ...] = ()
    quoted: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    caution: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class TasksInfo(RowsInfo):
    """Hours of each task, most first [h]."""

    hours: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


def gather_hours(review: Review, by: str) -> HoursInfo:
    """Actual against quoted hours. `by`: service, class or installer."""
    found = slices_of(review, f"hours_by_{by}")
    one = _GROUPS[by]
    if found.line:
        return HoursInfo(title=f"Hours by {one}", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("actual_hours", ascending=False, kind="stable")
    shown = frame.head(MOST_ROWS)
    names = labels_of(shown, found.table)
    texts = _overrun_texts(shown, say)
    parts = [
        Part(review.quarter.label, found.quarter, [*_COLUMNS, "rework_hours"]),
        Part(year_name(review), found.year, _COLUMNS),
    ]
    return HoursInfo(
        title=(
            f"Hours by installer, {review.quarter.label}: read with care"
            if by == "installer"
            else _hours_title(review, frame, labels_of(frame, found.table), one)
        ),
        alternative=alternative("Bar chart", f"hours by {one}", names, texts),
        grids=(
            side_by_side(review, found.table, parts, caption=f"Hours by {one}", order=frame),
            *_pooled_grid(review, found, by),
        ),
        note="The bar is what was worked; the upright line is what was quoted.",
        names=tuple(names),
        few=tuple(few(shown)),
        unit="h",
        separators=say.separators,
        actual=tuple(number(shown, "actual_hours")),
        quoted=tuple(number(shown, "quoted_hours")),
        texts=tuple(texts),
        caution=STAFF_CAUTION if by == "installer" else "",
    )


def _pooled_grid(review: Review, found: Slices, by: str) -> tuple[Grid, ...]:
    """What the next job of each service or class is expected to take over its quote."""
    if by not in _POOLED or number(found.quarter, "pooled_overrun_pct").isna().all():
        return ()
    jobs = number(found.quarter, "jobs_to_date").fillna(0)
    enough = (jobs >= review.settings.pricing.fewest_jobs).astype("boolean")
    pooled = found.quarter.assign(enough=enough)
    order = pooled.sort_values("probability_over_tolerance", ascending=False, kind="stable")
    day = Numbers(review.settings).day(review.quarter.last_day)
    part = Part(f"All jobs to {day}", pooled, POOLED)
    caption = f"Expected overrun of the next job by {_GROUPS[by]}, {_POOLED[by]}"
    return (side_by_side(review, found.table, [part], caption=caption, order=order),)


def draw_hours(info: HoursInfo) -> go.Figure:
    """Bars of actual hours, each with a line at its quoted hours; overruns are hatched."""
    if info.line:
        return nothing(info.title, info.line)
    looks = [
        look_of(quoted - actual, thin)
        for quoted, actual, thin in zip(info.quoted, info.actual, info.few, strict=True)
    ]
    panel = Panel(info.actual, info.texts, looks, "Person hours")
    names = chart_names(info.names, info.few)
    fig = rows_figure(names, [panel], title=info.title, separators=info.separators)
    fig.add_scatter(
        x=list(info.quoted),
        y=list(range(len(names))),
        mode="markers",
        marker={"symbol": "line-ns", "size": 15, "line": {"width": 4, "color": BLACK}},
        customdata=[f"{name}: quoted" for name in names],
        hovertemplate="%{customdata} %{x:,.1f} h<extra></extra>",
    )
    return fig.update_xaxes(rangemode="tozero")


def gather_tasks(review: Review) -> TasksInfo:
    """Where the hours go, task by task."""
    found = slices_of(review, "hours_by_task")
    if found.line:
        return TasksInfo(title="Hours by task", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("actual_hours", ascending=False, kind="stable")
    hours = number(frame, "actual_hours")
    names = labels_of(frame, found.table)
    shares = [say.percent(each) for each in 100 * hours / hours.sum(min_count=1)]
    texts = [f"{say.hours(h)}, {share}" for h, share in zip(hours, shares, strict=True)]
    parts = [
        Part(review.quarter.label, found.quarter, ["jobs", "actual_hours"]),
        Part(year_name(review), found.year, ["jobs", "actual_hours"]),
    ]
    return TasksInfo(
        title=f"Most hours go into {names[0]}: {texts[0]} of the hours in {review.quarter.label}",
        alternative=alternative("Bar chart", "hours by task", names, texts),
        grids=(side_by_side(review, found.table, parts, caption="Hours by task", order=frame),),
        note="A quote has no tasks, so there is nothing to hold these hours against.",
        names=tuple(names),
        few=tuple(few(frame)),
        unit="h",
        separators=say.separators,
        hours=tuple(hours),
        texts=tuple(texts),
    )


def draw_tasks(info: TasksInfo) -> go.Figure:
    """Bars of hours."""
    if info.line:
        return nothing(info.title, info.line)
    panel = signed_panel(info.hours, info.texts, info.few, "Person hours")
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def _overrun_texts(frame: pd.DataFrame, say: Numbers) -> list[str]:
    """What stands at the right of each row: the hours, and how far over the quote."""
    return [
        f"{say.hours(hours)}, {say.percent_change(over)}"
        for hours, over in zip(
            number(frame, "actual_hours"), number(frame, "overrun_pct"), strict=True
        )
    ]


def _hours_title(review: Review, frame: pd.DataFrame, names: list[str], one: str) -> str:
    """The group that ran over by most hours, among those with enough jobs."""
    over = (number(frame, "actual_hours") - number(frame, "quoted_hours")).where(~few(frame))
    say = Numbers(review.settings)
    if not (over > 0).any():
        return f"No {one} with enough jobs ran over its quoted hours in {review.quarter.label}"
    worst = int(np.nanargmax(over.to_numpy()))
    share = say.percent_change(number(frame, "overrun_pct").iloc[worst])
    hours = say.hours(over.iloc[worst])
    quarter = review.quarter.label
    return f"Most over the quote by {one}: {names[worst]}, {hours} more ({share}) in {quarter}"
