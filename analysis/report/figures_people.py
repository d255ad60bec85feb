"""The figure about people: hours on like jobs. For scheduling and training, never a ranking."""

from dataclasses import dataclass

import pandas as pd
import plotly.graph_objects as go

from analysis.errors import Unavailable
from analysis.locale_text import counted
from analysis.report.cautions import STAFF_CAUTION
from analysis.report.dots import Line, dots_figure
from analysis.report.grids import (
    Part,
    RowsInfo,
    labels_of,
    number,
    side_by_side,
    slices_of,
    year_name,
)
from analysis.report.look import alternative, nothing
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.report.vehicles import basis

_POOLED = ("jobs_to_date", "against_average_pct", "low_pct", "high_pct")
_PERIOD = ("jobs", "quoted_hours", "actual_hours", "rework_hours")


@dataclass(frozen=True, eq=False, kw_only=True)
class PeopleInfo(RowsInfo):
    """Hours of each person against the shop's average on like jobs, with intervals [percent].

    In the order of the alphabet.
    """

    middles: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    caution: str = STAFF_CAUTION


def gather_people(review: Review) -> PeopleInfo:
    """Hours of each person of the trailing year on like jobs."""
    found = slices_of(review, "hours_by_installer")
    title = "Hours by person, on like jobs"
    base = found.quarter if found.year.empty else found.year
    if found.line and base.empty:
        return PeopleInfo(title=title, line=found.line)
    known = base[number(base, "against_average_pct").notna() & base["installer"].notna()]
    if known.empty:
        return PeopleInfo(title=title, line=_why_nothing(review))
    say = Numbers(review.settings)
    jobs = number(known, "jobs_to_date").fillna(0)
    frame = known.assign(
        enough=(jobs >= review.settings.pricing.fewest_jobs).astype("boolean")
    ).sort_values("installer", kind="stable", ignore_index=True)
    names = labels_of(frame, found.table)
    middles, lows, highs = (number(frame, column) for column in _POOLED[1:])
    texts = [
        f"{say.percent_change(middle)} ({say.percent_range(low, high)}), {counted(count, 'job')}"
        for middle, low, high, count in zip(
            middles, lows, highs, number(frame, "jobs_to_date"), strict=True
        )
    ]
    sure = frame["enough"].astype(bool)
    told = middles[sure] if sure.any() else middles
    parts = [
        Part(f"All jobs to {say.day(review.quarter.last_day)}", frame, _POOLED),
        Part(review.quarter.label, found.quarter, _PERIOD),
        Part(year_name(review), found.year, _PERIOD),
    ]
    return PeopleInfo(
        title="On like jobs people's hours lie between "
        f"{say.percent_change(told.min())} and {say.percent_change(told.max())} of the shop's "
        "average: read with care",
        alternative=alternative("Dot chart with intervals", "hours on like jobs", names, texts),
        grids=(side_by_side(review, found.table, parts, caption="Hours by person", order=frame),),
        note=f"{basis(review)} Against the shop's average person on the same services and "
        "vehicles; the line is the 90 % interval. In the order of the alphabet.",
        names=tuple(names),
        few=tuple(~sure),
        unit="%",
        separators=say.separators,
        middles=tuple(middles),
        lows=tuple(lows),
        highs=tuple(highs),
        texts=tuple(texts),
    )


def draw_people(info: PeopleInfo) -> go.Figure:
    """A dot each person on its interval."""
    if info.line:
        return nothing(info.title, info.line)
    return dots_figure(
        info.names,
        (info.middles, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis="Hours against the shop's average on like jobs, %",
        separators=info.separators,
        few=info.few,
        lines=(Line(0.0, "average"),),
    )


def _why_nothing(review: Review) -> str:
    found = review.results.get("hours_spread")
    if isinstance(found, Unavailable):
        return found.line
    if isinstance(found, pd.DataFrame) and (found["part"] == "person").any():
        return "There is nothing to show: nobody of these people worked on a job to learn from."
    return "These records cannot tell people apart: too few jobs, or none with who did them."
