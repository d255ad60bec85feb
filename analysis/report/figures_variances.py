"""Figures of quoted against actual: what each service and vehicle class left less its quotes."""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.findings.quote_variances import EFFECTS as VARIANCES
from analysis.locale_text import counted
from analysis.report.figures_bridge import main_cause
from analysis.report.grids import (
    Part,
    RowsInfo,
    few,
    labels_of,
    number,
    side_by_side,
    slices_of,
    year_name,
)
from analysis.report.look import alternative, chart_names, nothing, rows_figure, signed_panel
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.schema import Table

MOST_ROWS: Final = 12
_SHORT: Final = {
    "price": "price",
    "labour_efficiency": "hours",
    "labour_rate": "labour rate",
    "film_usage": "film used",
    "film_price": "film price",
    "fees": "card fees",
    "consumables": "consumables",
    "overhead": "overhead",
}
_GROUPS: Final = {
    "service": ("service", "services"),
    "class": ("vehicle class", "vehicle classes"),
}
_TOLD_COLUMNS: Final = ("jobs", "told", "quoted_profit", "total", "actual_profit")
_EFFECT_COLUMNS: Final = ("told", "quoted_profit", *VARIANCES, "total", "actual_profit")


@dataclass(frozen=True, eq=False, kw_only=True)
class VariancesInfo(RowsInfo):
    """Actual less quoted profit of each group [money], with what made most of it."""

    totals: tuple[float, ...] = ()
    causes: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()


def gather_variances(review: Review, by: str) -> VariancesInfo:
    """Actual less quoted profit of each group, least first. `by`: service or class."""
    found = slices_of(review, f"variances_by_{by}")
    one, _ = _GROUPS[by]
    title = f"Quoted against actual by {one}, {review.quarter.label}"
    if found.line:
        return VariancesInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.assign(total=number(found.quarter, "total"))
    frame = frame.sort_values("total", kind="stable", na_position="last")
    periods = {review.quarter.label: found.quarter, year_name(review): found.year}
    grids = [
        side_by_side(
            review,
            found.table,
            [Part(name, each, _TOLD_COLUMNS) for name, each in periods.items()],
            caption=f"Quoted against actual by {one}",
            order=frame,
            note="Quoted profit + total = actual profit, of the job lines with all known.",
        )
    ]
    grids += [
        side_by_side(
            review,
            found.table,
            [Part(name, each, _EFFECT_COLUMNS)],
            caption=f"What made the difference by {one}, {name}",
            order=frame,
        )
        for name, each in periods.items()
        if len(each)
    ]
    known = frame[frame["total"].notna()]
    if known.empty:
        line = (
            "No job line of the quarter can be held against its quote: a rate, or the quoted film "
            "area of jobs that take film, is not known."
        )
        return VariancesInfo(title=title, line=line, grids=tuple(grids))
    shown = known[known["total"].abs().rank(method="first", ascending=False) <= MOST_ROWS]
    names = labels_of(shown, found.table)
    causes = [_row_cause(row) for row in shown.to_dict("records")]
    texts = [
        _with_cause(row, cause, say)
        for row, cause in zip(shown.to_dict("records"), causes, strict=True)
    ]
    some = "" if len(shown) == len(known) else f" The chart shows the {MOST_ROWS} largest."
    return VariancesInfo(
        title=_variances_title(review, known, found.table, say),
        alternative=alternative("Bar chart", f"actual less quoted profit by {one}", names, texts),
        grids=tuple(grids),
        note="In brackets the largest part of the difference. Hours are at the mean rate of the "
        "twelve months before the quarter, film at what it last cost when the job was quoted."
        f"{_redos(review, by, frame, say)}{_untold(frame, say)}{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.settings.currency,
        separators=say.separators,
        totals=tuple(number(shown, "total")),
        causes=tuple(causes),
        texts=tuple(texts),
    )


def draw_variances(info: VariancesInfo) -> go.Figure:
    """Bars to the right of zero left more than quoted, striped ones to the left less."""
    if info.line:
        return nothing(info.title, info.line)
    axis = f"Actual less quoted profit, {info.unit}"
    panel = signed_panel(info.totals, info.texts, info.few, axis)
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def _row_cause(row: dict[Hashable, float]) -> str:
    return main_cause(pd.Series({name: float(row[name]) for name in VARIANCES}), row["total"])


def _with_cause(row: dict[Hashable, float], cause: str, say: Numbers) -> str:
    total = say.change(row["total"])
    return f"{total} ({_SHORT[cause]} {say.change(row[cause])})" if cause else total


def _variances_title(review: Review, known: pd.DataFrame, table: Table, say: Numbers) -> str:
    """What the job lines left against their quotes, and the group that made the most of it."""
    sums = {name: float(number(known, name).sum()) for name in VARIANCES}
    total = float(known["total"].sum())
    jobs = counted(known["told"].sum(), "job line")
    start = f"{review.quarter.label} by {_GROUPS[table.name.removeprefix('variances_by_')][0]}"
    cause = main_cause(pd.Series(sums), total)
    if not cause or say.change(total) == say.change(0.0):
        return f"{start}: {jobs} left what their quotes counted on"
    way = "less" if total < 0 else "more"
    told = f"{start}: {jobs} left {say.money(abs(total))} {way} than quoted, the largest part by"
    sure = known[~few(known)].reset_index(drop=True)
    group = main_cause(number(sure, "total"), total)
    if not group:
        return f"{told} {_SHORT[cause]} ({say.change(sums[cause])})"
    row = sure.loc[int(group)].to_dict()
    change = _with_cause(row, _row_cause(row), say).replace(" (", ", of it ", 1)
    return f"{told} {labels_of(sure, table)[int(group)]} ({change.rstrip(')')})"


def _redos(review: Review, by: str, frame: pd.DataFrame, say: Numbers) -> str:
    """Why there are more job lines here than jobs in the statement by the same grouping."""
    lines = number(frame, "jobs").sum()
    first = number(slices_of(review, f"margin_by_{by}").quarter, "jobs").sum()
    if not first:
        return " Redos are among the job lines."
    if first == lines:
        return ""
    return (
        f" Redos are among the job lines: {say.number(lines)} here, {say.number(first)} without "
        f"them under Margin by {_GROUPS[by][0]}."
    )


def _untold(frame: pd.DataFrame, say: Numbers) -> str:
    missing = int(number(frame, "jobs").sum() - number(frame, "told").sum())
    if not missing:
        return ""
    return (
        f" {counted(missing, 'job line')} of {say.number(number(frame, 'jobs').sum())} cannot be "
        "told: a rate or the quoted film area is not known."
    )
