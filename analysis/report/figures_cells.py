"""The figure of services on vehicle classes: where hours run over the quote, as sums."""

import textwrap
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import counted
from analysis.report.grids import FigureInfo, number, plain_grid, slices_of, year_name
from analysis.report.look import INK, PAPER, SOFT_INK, alternative, finish, nothing, plain
from analysis.report.numbers import Numbers, label, shortened
from analysis.report.results import Review
from analysis.report.vehicles import job_lines
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Table

MOST_SERVICES: Final = 9
# Under the quote pale, over it dark: the order of the shades holds in grey print too.
_SHADES: Final = (
    (0.0, "#a9d2ea"),
    (0.35, "#e0eef6"),
    (0.5, "#f6f6f3"),
    (0.65, "#f4cfae"),
    (0.82, "#dd8745"),
    (1.0, "#a34100"),
)
_DARK_FROM: Final = 0.88
_CELL_ROW, _CELL_HEAD, _CELL_FOOT = 58, 92, 8


@dataclass(frozen=True, eq=False, kw_only=True)
class CellsInfo(FigureInfo):
    """Actual over quoted hours of each service on each class, less one [percent], and the jobs.

    Rows are classes, columns services; a cell without a job is NaN with 0 jobs.
    """

    classes: tuple[str, ...] = ()
    services: tuple[str, ...] = ()
    over_pct: tuple[tuple[float, ...], ...] = ()
    jobs: tuple[tuple[int, ...], ...] = ()
    few: tuple[tuple[bool, ...], ...] = ()
    texts: tuple[tuple[str, ...], ...] = ()
    separators: str = ".,"


def gather_cells(review: Review) -> CellsInfo:
    """Actual over quoted hours of each service on each class, over the trailing year."""
    found = slices_of(review, "job_costs")
    if found.line:
        return CellsInfo(title="Services on vehicle classes", line=found.line)
    lines = job_lines(review)
    days = pd.to_datetime(lines["finished_on"])
    year = lines[(days >= review.quarter.year_first_day) & (days <= review.quarter.last_day)]
    if year.empty:
        line = "There is nothing to show: no first-time job with quoted hours in twelve months."
        return CellsInfo(title="Services on vehicle classes", line=line)
    say = Numbers(review.settings)
    named = year.assign(
        service=year["service"].map(label), vehicle_class=year["vehicle_class"].map(label)
    )
    long = _summed(named, review.settings.pricing.fewest_jobs)
    services = named["service"].value_counts(sort=False).sort_values(ascending=False, kind="stable")
    classes = named["vehicle_class"].value_counts(sort=False)
    columns = list(services.index[:MOST_SERVICES])
    rows = list(classes.sort_values(ascending=False, kind="stable").index)
    table = _cells_table()
    over, jobs = (
        long.pivot_table(index="vehicle_class", columns="service", values=name).reindex(
            index=rows, columns=columns
        )
        for name in ("overrun_pct", "jobs")
    )
    jobs = jobs.fillna(0).astype("int64")
    thin = (jobs > 0) & (jobs < review.settings.pricing.fewest_jobs)
    some = "" if len(services) <= MOST_SERVICES else f" The {MOST_SERVICES} services done most."
    return CellsInfo(
        title=_cells_title(long, say),
        alternative=_cells_words(long, say),
        grids=(
            plain_grid(
                review,
                table,
                long,
                [*table.names[:-1]],
                caption="Services on vehicle classes, most jobs first",
                names=2,
            ),
        ),
        note=f"{year_name(review)}: hours worked over hours quoted, less one, and the number of "
        "jobs, as sums. Pale blue is under the quote, dark is far over it; in brackets, grey and "
        f"dotted what rests on few jobs; blank where there was none.{some}",
        classes=tuple(rows),
        services=tuple(columns),
        over_pct=tuple(map(tuple, over.to_numpy(float))),
        jobs=tuple(map(tuple, jobs.to_numpy())),
        few=tuple(map(tuple, thin.to_numpy())),
        texts=tuple(
            tuple(_cell_text(o, j, t, say) for o, j, t in zip(*row, strict=True))
            for row in zip(over.to_numpy(float), jobs.to_numpy(), thin.to_numpy(), strict=True)
        ),
        separators=say.separators,
    )


def draw_cells(info: CellsInfo) -> go.Figure:
    """A shaded cell each service and class, with its percentage and its number of jobs."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure(_shaded_cells(info))
    height = _CELL_HEAD + _CELL_FOOT + _CELL_ROW * len(info.classes)
    finish(fig, title=info.title, separators=info.separators, height=height, head=_CELL_HEAD)
    fig.update_layout(
        margin_b=_CELL_FOOT,
        barmode="overlay",
        annotations=[
            {
                "text": plain(shortened(name)),
                "x": 0,
                "xref": "paper",
                "xanchor": "left",
                "y": row - 0.34,
                "yref": "y",
                "yanchor": "middle",
                "showarrow": False,
            }
            for row, name in enumerate(info.classes)
        ],
    )
    fig.update_xaxes(
        side="top",
        title_text="Service",
        tickvals=list(range(len(info.services))),
        ticktext=[_wrapped(name) for name in info.services],
        range=[-0.5, len(info.services) - 0.5],
        showgrid=False,
        zeroline=False,
        ticks="",
        autotickangles=[0, 90],
        tickfont={"size": 11},
    )
    return fig.update_yaxes(range=[len(info.classes) - 0.5, -0.55], visible=False)


def _shaded_cells(info: CellsInfo) -> go.Bar:
    """The cells that hold a job: bars of one height, side by side."""
    places = [
        (row, column)
        for row, counts in enumerate(info.jobs)
        for column, count in enumerate(counts)
        if count
    ]
    over = [info.over_pct[row][column] for row, column in places]
    thin = [info.few[row][column] for row, column in places]
    texts = [info.texts[row][column] for row, column in places]
    reach = float(np.clip(np.abs(over).max(), 20, 60))
    return go.Bar(
        orientation="h",
        x=[0.96] * len(places),
        base=[column - 0.48 for _, column in places],
        y=[row + 0.15 for row, _ in places],
        width=0.64,
        marker={
            "color": [0.0 if few else each for each, few in zip(over, thin, strict=True)],
            "colorscale": [list(each) for each in _SHADES],
            "cmin": -reach,
            "cmax": reach,
            "line": {"color": SOFT_INK, "width": 0.5},
            "pattern": {
                "shape": ["." if few else "" for few in thin],
                "size": 7,
                "solidity": 0.12,
            },
        },
        text=texts,
        textposition="inside",
        insidetextanchor="middle",
        constraintext="none",
        textangle=0,
        textfont={
            "size": 11,
            "color": [_text_colour(*each, reach) for each in zip(over, thin, strict=True)],
        },
        customdata=[
            f"{plain(info.services[column])}, {plain(info.classes[row])}: "
            + texts[at].replace("<br>", ", ")
            for at, (row, column) in enumerate(places)
        ],
        hovertemplate="%{customdata}<extra></extra>",
    )


def _summed(lines: pd.DataFrame, fewest: int) -> pd.DataFrame:
    """Hours by service and class, most jobs first."""
    grouped = lines.groupby(["service", "vehicle_class"], dropna=False)
    sums = grouped[["quoted_hours", "actual_hours"]].sum()
    long = sums.assign(jobs=grouped.size()).reset_index()
    long = long.assign(
        overrun_pct=100 * (long["actual_hours"] / long["quoted_hours"] - 1),
        enough=(long["jobs"] >= fewest).astype("boolean"),
    )
    return long.sort_values("jobs", ascending=False, kind="stable", ignore_index=True)


def _cells_table() -> Table:
    hours = RESULT_TABLES["hours_by_service"]
    service, vehicle = hours.columns[0], RESULT_TABLES["hours_by_class"].columns[0]
    names = ("jobs", "quoted_hours", "actual_hours", "overrun_pct", "enough")
    columns = (service, vehicle, *(hours.column(name) for name in names))
    return Table("hours_by_service_and_class", "Hours by service and class", "", columns)


def _cell_text(over: float, jobs: int, is_few: bool, say: Numbers) -> str:
    if not jobs:
        return ""
    share = say.percent_change(over)
    return f"<i>({share})<br>{jobs}</i>" if is_few else f"{share}<br>{jobs}"


def _text_colour(over: float, is_few: bool, reach: float) -> str:
    if is_few:
        return SOFT_INK
    return PAPER if (over / reach + 1) / 2 > _DARK_FROM else INK


def _wrapped(name: str) -> str:
    """A name in up to three short lines."""
    lines = textwrap.wrap(name, 11)
    shown = lines[:3] if len(lines) <= 3 else [*lines[:2], lines[2][:10] + "…"]
    return "<br>".join(plain(line) for line in shown)


def _cells_title(long: pd.DataFrame, say: Numbers) -> str:
    sure = long[long["enough"].astype(bool) & (number(long, "overrun_pct") > 0)]
    if sure.empty:
        return "No service ran over on any vehicle class with enough jobs"
    worst = sure.sort_values("overrun_pct", ascending=False, kind="stable").iloc[0]
    return (
        f"Furthest over the quote: {label(worst['service'])} on {label(worst['vehicle_class'])}, "
        f"{say.percent_change(worst['overrun_pct'])} on {counted(worst['jobs'], 'job')}"
    )


def _cells_words(long: pd.DataFrame, say: Numbers) -> str:
    names = [f"{a} on {b}" for a, b in zip(long["service"], long["vehicle_class"], strict=True)]
    texts = [
        f"{say.percent_change(over)}, {counted(jobs, 'job')}"
        for over, jobs in zip(long["overrun_pct"], long["jobs"], strict=True)
    ]
    return alternative("Shaded table", "hours over the quote by service and class", names, texts)
