"""Figures about one vehicle model, and about what lies behind the overruns of all of them."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import counted
from analysis.report.dots import PLAIN, STRONG, Line, dots_figure
from analysis.report.grids import (
    FigureInfo,
    RowsInfo,
    few,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.look import (
    INK,
    SERIES_COLOURS,
    SOFT_INK,
    alternative,
    finish,
    nothing,
    plain,
)
from analysis.report.numbers import Numbers, label, sentence_case
from analysis.report.results import Review
from analysis.report.vehicles import (
    KEYS,
    OVERRUN_OF_JOB,
    basis,
    extended,
    lines_of_model,
    model_names,
    ranked_models,
)
from analysis.result_tables import RESULT_TABLES

MOST_TASKS: Final = 12
MOST_JOBS: Final = 15
_LIKELIEST: Final = 3
_SYMBOLS: Final = (
    "circle",
    "square",
    "diamond",
    "triangle-up",
    "x",
    "star",
    "triangle-down",
    "cross",
)
_TASK_COLUMNS: Final = (
    "make",
    "model",
    "task",
    "jobs",
    "hours",
    "usual_hours",
    "over_hours",
    "low_hours",
    "high_hours",
)
_JOB_COLUMNS: Final = (
    "job_id",
    "line",
    "finished_on",
    "service",
    "quoted_hours",
    "actual_hours",
    "overrun_pct",
)
_PULL_COLUMNS: Final = (
    "job_id",
    "line",
    "finished_on",
    "service",
    "make",
    "model",
    "quoted_hours",
    "actual_hours",
    "expected_hours",
    "pull_pct",
    "held_back",
)
_CHART_HEIGHT, _LEGEND_ROW = 330, 24


@dataclass(frozen=True, eq=False, kw_only=True)
class JobsInfo(FigureInfo):
    """Overruns of one model's job lines by day [percent], with the pooled estimate.

    `services` : names of the services, most jobs first; `service` : which of them, by line.
    """

    days: tuple[pd.Timestamp, ...] = ()
    over_pct: tuple[float, ...] = ()
    service: tuple[int, ...] = ()
    services: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    pooled_pct: float = float("nan")
    low_pct: float = float("nan")
    high_pct: float = float("nan")
    tolerance_pct: float = 0.0
    separators: str = ".,"


@dataclass(frozen=True, eq=False, kw_only=True)
class OverHoursInfo(RowsInfo):
    """Hours over the usual ones, with 90 % intervals [h]. `strong` : the interval lies above 0."""

    over: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    strong: tuple[bool, ...] = ()
    texts: tuple[str, ...] = ()


def gather_model_jobs(review: Review, make: str, model: str) -> JobsInfo:
    """Every job line of one model over time, as overrun of its quote."""
    name = label(f"{make} {model}")
    found = slices_of(review, "job_costs")
    if found.line:
        return JobsInfo(title=name, line=found.line)
    lines = lines_of_model(review, make, model)
    if lines.empty:
        line = f"There is nothing to show: no first-time job with both hours is a {name}."
        return JobsInfo(title=name, line=line)
    say = Numbers(review.settings)
    over = 100 * (lines["actual_hours"] / lines["quoted_hours"] - 1)
    counts = lines["service"].map(label).value_counts(sort=False)
    services = list(counts.sort_values(ascending=False, kind="stable").index)
    frame = ranked_models(review).frame
    own = frame[(frame["make"] == make) & (frame["model"] == model)]
    middle, low, high = (
        float(own[column].iloc[0]) if len(own) else np.nan
        for column in ("pooled_overrun_pct", "low_pct", "high_pct")
    )
    table = extended("job_costs", OVERRUN_OF_JOB)
    grid = plain_grid(
        review,
        table,
        lines.assign(overrun_pct=over),
        _JOB_COLUMNS,
        caption=f"Jobs of {name}",
    )
    texts = [
        f"{label(job)}: {say.hours(actual)} for {say.hours(quoted)} quoted, "
        f"{say.percent_change(each)}"
        for job, actual, quoted, each in zip(
            lines["job_id"], lines["actual_hours"], lines["quoted_hours"], over, strict=True
        )
    ]
    expected = (
        ""
        if np.isnan(middle)
        else f"; expect {say.percent_change(middle)} of the next ({say.percent_range(low, high)})"
    )
    return JobsInfo(
        title=f"{name}: {int((over > 0).sum())} of {counted(len(over), 'job')} ran over{expected}",
        alternative=alternative(
            "Dots over time", f"overrun of the jobs of {name}", list(lines["job_id"]), texts
        ),
        grids=(grid,),
        note=f"{basis(review)} Each mark is a job line, its shape says the service. The band is "
        "the 90 % interval of the overrun expected of the next job, the line in it its middle.",
        days=tuple(pd.to_datetime(lines["finished_on"])),
        over_pct=tuple(over),
        service=tuple(services.index(each) for each in lines["service"].map(label)),
        services=tuple(services),
        texts=tuple(texts),
        pooled_pct=middle,
        low_pct=low,
        high_pct=high,
        tolerance_pct=100 * review.settings.overrun.tolerance,
        separators=say.separators,
    )


def draw_model_jobs(info: JobsInfo) -> go.Figure:
    """A mark each job by its day, and the band of the pooled estimate."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    for position, name in enumerate(info.services):
        at = [row for row, each in enumerate(info.service) if each == position]
        fig.add_scatter(
            x=[f"{info.days[row]:%Y-%m-%d}" for row in at],
            y=[info.over_pct[row] for row in at],
            name=plain(name),
            mode="markers",
            marker={
                "size": 9,
                "symbol": _SYMBOLS[position % len(_SYMBOLS)],
                "color": SERIES_COLOURS[position % len(SERIES_COLOURS)],
                "line": {"color": INK, "width": 0.8},
            },
            customdata=[plain(info.texts[row]) for row in at],
            hovertemplate="%{customdata}<br>%{x}<extra></extra>",
        )
    if not np.isnan(info.pooled_pct):
        fig.add_hrect(
            y0=info.low_pct, y1=info.high_pct, fillcolor=SOFT_INK, opacity=0.16, line_width=0
        )
        fig.add_hline(y=info.pooled_pct, line={"color": INK, "width": 1.5})
    fig.add_hline(y=info.tolerance_pct, line={"color": SOFT_INK, "width": 1, "dash": "dash"})
    head = _LEGEND_ROW * -(-len(info.services) // 3)
    finish(
        fig,
        title=info.title,
        separators=info.separators,
        height=_CHART_HEIGHT + head,
        head=head + 6,
    )
    fig.update_layout(showlegend=True, margin_l=52)
    fig.update_xaxes(type="date", tickformat="%Y-%m", showgrid=False, title_text="Day finished")
    return fig.update_yaxes(title_text="Hours over the quote, %")


def gather_model_tasks(review: Review, make: str, model: str) -> OverHoursInfo:
    """In which task of one model the hours over the usual ones sit, most first."""
    name = label(f"{make} {model}")
    found = slices_of(review, "overrun_by_task")
    if found.line:
        return OverHoursInfo(title=f"Tasks of {name}", line=found.line)
    own = found.quarter[(found.quarter["make"] == make) & (found.quarter["model"] == model)]
    if number(own, "over_hours").isna().all():
        line = f"There is nothing to show: no job of {name} has times by task to compare."
        return OverHoursInfo(title=f"Tasks of {name}", line=line)
    say = Numbers(review.settings)
    frame = own.sort_values("over_hours", ascending=False, kind="stable").head(MOST_TASKS)
    names = [label(each) for each in frame["task"]]
    first = frame.iloc[0]
    total = number(own, "over_hours").sum()
    title = (
        f"{name}: most over the usual in {names[0]}, {say.hours(first['over_hours'], 0)} "
        f"of {say.hours(total, 0)}"
        if first["over_hours"] > 0
        else f"{name}: no task took longer than usual"
    )
    return _over_info(review, frame, names, title, own, f"Tasks of {name}")


def gather_flagged_tasks(review: Review) -> OverHoursInfo:
    """For each flagged model the task that holds most of its overrun.

    Where none is flagged: for the models that are likeliest to run over.
    """
    found = slices_of(review, "overrun_by_task")
    models = ranked_models(review)
    title = "Which task the overruns sit in"
    if found.line or models.line:
        return OverHoursInfo(title=title, line=found.line or models.line)
    chosen = models.flagged if len(models.flagged) else models.frame.head(_LIKELIEST)
    tasks = chosen[KEYS].merge(found.quarter, on=KEYS, how="inner", validate="one_to_many")
    if number(tasks, "over_hours").isna().all():
        line = "There is nothing to show: no job of the models to look at has times by task."
        return OverHoursInfo(title=title, line=line)
    over = number(tasks, "over_hours")
    place = over.groupby([tasks["make"], tasks["model"]], dropna=False, sort=False)
    worst = tasks[place.rank(ascending=False, method="first") == 1].head(MOST_TASKS)
    names = [
        f"{name}: {label(task)}"
        for name, task in zip(model_names(worst), worst["task"], strict=True)
    ]
    sure = worst[~few(worst) & (number(worst, "over_hours") > 0)]
    if len(sure):
        most = sure["task"].map(label).value_counts(sort=False).sort_values(ascending=False)
        title = f"{sentence_case(str(most.index[0]))} is the task most over in {most.iloc[0]} of "
        title += counted(len(sure), "model")
    return _over_info(review, worst, names, title, worst, "The task that runs over most")


def draw_over_hours(info: OverHoursInfo) -> go.Figure:
    """A dot each task on its interval; a diamond where the whole interval is over 0."""
    if info.line:
        return nothing(info.title, info.line)
    return dots_figure(
        info.names,
        (info.over, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis="Hours over the usual",
        separators=info.separators,
        few=info.few,
        looks=[STRONG if each else PLAIN for each in info.strong],
        lines=(Line(0.0, "as usual"),),
    )


def gather_spread(review: Review) -> FigureInfo:
    """What makes hours differ: a table."""
    found = slices_of(review, "hours_spread")
    title = "What makes hours differ"
    if found.line:
        return FigureInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    names = [label(each) for each in frame["part"]]
    widest = number(frame, "spread_pct").fillna(-1)
    at = int(np.argmax(widest.to_numpy()))
    title = f"Hours differ most from {names[at]}"
    if names[at] != "job to job":
        title = f"Hours differ most by {names[at]}"
    title += f": {say.percent(frame['spread_pct'].iloc[at])} more or less is usual"
    columns = ["part", "spread_pct", "low_pct", "high_pct", "levels"]
    if frame["note"].map(lambda each: isinstance(each, str) and bool(each)).any():
        columns.append("note")
    return FigureInfo(
        title=title,
        grids=(plain_grid(review, found.table, frame, columns, caption=found.table.title),),
        note=f"{basis(review)} One standard deviation around the quote. Job to job is what neither "
        "the vehicle nor the person explains: no quote can foresee it, a safe one allows for it.",
    )


def gather_pulls(review: Review) -> FigureInfo:
    """The job lines that move their model's estimate most: a table."""
    found = slices_of(review, "jobs_that_pull")
    if found.line:
        return FigureInfo(title="The jobs that pull hardest", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    first, held = frame.iloc[0], int(frame["held_back"].astype("boolean").fillna(False).sum())
    name = label(f"{label(first['make'])} {label(first['model'])}")
    shown = frame.head(MOST_JOBS)
    grids = [
        plain_grid(review, found.table, shown, _PULL_COLUMNS, caption=found.table.title, names=2)
    ]
    rest = frame.iloc[MOST_JOBS:]
    if len(rest):
        caption = "The jobs that pull less, and all that were held back"
        grids.append(plain_grid(review, found.table, rest, _PULL_COLUMNS, caption=caption))
    return FigureInfo(
        title=f"Job {label(first['job_id'])} moves {name} most: "
        f"{say.percent_change(first['pull_pct'], 1)} of its hours",
        grids=tuple(grids),
        note=f"{basis(review)} Look first whether the hours of these jobs were written down "
        "right: a slip of the pen here moves a quote. Held back are lines further off than three "
        f"standard deviations, which count as if they stood there ({counted(held, 'line')}).",
    )


def _over_info(
    review: Review,
    frame: pd.DataFrame,
    names: list[str],
    title: str,
    table_rows: pd.DataFrame,
    caption: str,
) -> OverHoursInfo:
    """Rows of `frame` to draw, `table_rows` to print."""
    say = Numbers(review.settings)
    texts = _over_texts(frame, say)
    table = RESULT_TABLES["overrun_by_task"]
    return OverHoursInfo(
        title=title,
        alternative=alternative("Dot chart with intervals", "hours over the usual", names, texts),
        grids=(plain_grid(review, table, table_rows, _TASK_COLUMNS, caption=caption, names=3),),
        note=f"{basis(review)} Usual is what other models take of the task for each hour quoted; "
        "the line is the 90 % interval of the sum. A diamond marks a task whose whole interval is "
        "over the usual.",
        names=tuple(names),
        few=tuple(few(frame)),
        unit="h",
        separators=say.separators,
        over=tuple(number(frame, "over_hours")),
        lows=tuple(number(frame, "low_hours")),
        highs=tuple(number(frame, "high_hours")),
        strong=tuple(number(frame, "low_hours") > 0),
        texts=tuple(texts),
    )


def _over_texts(frame: pd.DataFrame, say: Numbers) -> list[str]:
    return [
        f"{say.hours(over, 0)} over ({say.number(low)} to {say.number(high)}) on "
        f"{counted(jobs, 'job')}"
        if not np.isnan(low)
        else f"{say.hours(over, 0)} over on {counted(jobs, 'job')}"
        for over, low, high, jobs in zip(
            number(frame, "over_hours"),
            number(frame, "low_hours"),
            number(frame, "high_hours"),
            number(frame, "jobs"),
            strict=True,
        )
    ]
