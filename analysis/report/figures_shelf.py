"""Figures of the shelf: what is on it, how old it is, what the counts found, what was avoidable."""

from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import MISSING, counted
from analysis.report.grids import (
    Part,
    RowsInfo,
    few,
    labels_of,
    number,
    plain_grid,
    side_by_side,
    slices_of,
    year_name,
)
from analysis.report.look import (
    GAIN,
    LOSS,
    THIN,
    Panel,
    alternative,
    chart_names,
    nothing,
    rows_figure,
)
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

MOST_ROWS: Final = 12
# Less than this share of an area unit is nothing to speak of.
_A_HAND: Final = 0.05
_SHELF: Final = ("opening", "kept", "used", "written_off", "missing", "closing")
_AVOIDABLE_COLUMNS: Final = (
    "cuts",
    "side_loss_area",
    "avoidable_area",
    "avoidable_in_job_area",
    "avoidable_cost",
)
_OFFCUT_COLUMNS: Final = (
    "film",
    "cut_id",
    "kept_on",
    "age_days",
    "kept_length",
    "kept_width",
    "area",
    "cost",
    "leaves_on",
    "roll_id",
)
_COUNT_COLUMNS: Final = (
    "film",
    "counted_on",
    "counted_before",
    "book_area",
    "counted_area",
    "unexplained_area",
    "unexplained_cost",
    "cut_area",
    "unexplained_pct",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class BarsInfo(RowsInfo):
    """One bar a row, with its text, the axis in words, and the look of a bar on enough."""

    values: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    axis: str = ""
    look: str = LOSS


def draw_bars(info: BarsInfo) -> go.Figure:
    """A bar a row; what rests on few is grey and dotted."""
    if info.line:
        return nothing(info.title, info.line)
    looks = [THIN if is_few else info.look for is_few in info.few]
    panel = Panel(info.values, info.texts, looks, info.axis)
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def gather_avoidable(review: Review, by: str = "class") -> BarsInfo:
    """Film that a better layout would have saved, by class, service, film, panel or width."""
    found = slices_of(review, f"waste_by_{by}")
    title = "What a better layout would have saved"
    if found.line:
        return BarsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("avoidable_area", ascending=False, kind="stable")
    areas, costs = number(frame, "avoidable_area"), number(frame, "avoidable_cost")
    parts = [
        Part(review.quarter.label, found.quarter, _AVOIDABLE_COLUMNS),
        Part(year_name(review), found.year, _AVOIDABLE_COLUMNS),
    ]
    grid = side_by_side(review, found.table, parts, caption=title, order=frame)
    if areas.isna().all():
        line = (
            "Side loss that a better layout would have saved is not known: cuts lack the length "
            "or the width of their pieces."
        )
        return BarsInfo(title=title, line=line, grids=(grid,))
    shown = frame[areas > _A_HAND].head(MOST_ROWS)
    if shown.empty:
        line = f"No cut of {review.quarter.label} could have been laid out better."
        return BarsInfo(title=title, line=line, grids=(grid,))
    names = labels_of(shown, found.table)
    texts = [
        say.area(area) + ("" if say.money(cost) == MISSING else f", {say.money(cost)}")
        for area, cost in zip(
            number(shown, "avoidable_area"), number(shown, "avoidable_cost"), strict=True
        )
    ]
    in_job = say.area(number(frame, "avoidable_in_job_area").sum())
    worth = say.money(costs.sum(min_count=1))
    money = "" if worth == MISSING else f" ({worth})"
    least = "at least " if areas.isna().any() else ""
    return BarsInfo(
        title=f"Better layouts would have saved {least}{say.area(areas.sum())}{money} in "
        f"{review.quarter.label}",
        alternative=alternative("Bar chart", "avoidable side loss", names, texts),
        grids=(grid,),
        note="The pieces that were cut off rolls for jobs, packed again across the roll: all of a "
        f"day's pieces of one film and roll width together. Each job by itself: {in_job}; "
        "that can be more, where another job of the day kept a strip. The length of the table "
        "(film.longest_pull) is not minded here; the command layout, which draws how, minds it.",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.area_unit,
        separators=say.separators,
        values=tuple(number(shown, "avoidable_area")),
        texts=tuple(texts),
        axis=f"Side loss that was avoidable, {say.area_unit}",
    )


def gather_jobs(review: Review) -> BarsInfo:
    """The jobs of the quarter whose own pieces would have fitted on a shorter pull; a table."""
    found = slices_of(review, "avoidable_by_job")
    title = "Jobs that could have been laid out better"
    if found.line:
        return BarsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    caption = "Jobs to lay out again"
    grid = plain_grid(review, found.table, frame, found.table.names, caption=caption, names=2)
    worst = frame.iloc[0]
    cost = _worth(worst["avoidable_cost"], say)
    return BarsInfo(
        title=f"{counted(len(frame), 'job')} could have taken less film; most to save: "
        f"{label(worst['job_id'])}, {say.area(worst['avoidable_area'])}{cost}",
        grids=(grid,),
        note="The command layout with the number of the job draws how its pieces fit.",
    )


def gather_shelf(review: Review) -> BarsInfo:
    """The offcuts on the shelf by film, their age and worth, and what became of offcuts."""
    found = slices_of(review, "offcut_shelf")
    title = "The shelf of offcuts"
    if found.line:
        return BarsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("closing_area", ascending=False, kind="stable")
    grids = [
        side_by_side(
            review,
            found.table,
            [
                Part(
                    review.quarter.label,
                    found.quarter,
                    [f"{name}{unit}" for name in _SHELF] + (ages if unit == "_area" else []),
                )
            ],
            caption=caption,
            order=frame,
            note="On the shelf before + kept = used + written off + missing + on the shelf.",
        )
        for unit, caption in (("_area", "Offcuts in area"), ("_cost", "Offcuts in money"))
        for ages in [["closing_offcuts", "mean_age_days", "oldest_days"]]
    ]
    listed = slices_of(review, "offcuts_on_shelf")
    if not listed.line:
        grids.append(
            plain_grid(
                review,
                listed.table,
                listed.quarter,
                _OFFCUT_COLUMNS,
                caption="Offcuts to cut from, the oldest first",
                names=2,
                note="An offcut of which part was used has no sizes.",
            )
        )
    shown = frame[number(frame, "closing_area") > _A_HAND].head(MOST_ROWS)
    texts = [_shelf_text(row, say) for _, row in shown.iterrows()]
    names = labels_of(shown, found.table)
    if shown.empty:
        line = "The books hold no offcut at the quarter's end."
        return BarsInfo(title=title, line=line, grids=tuple(grids))
    return BarsInfo(
        title=_shelf_title(frame, say),
        alternative=alternative("Bar chart", "offcuts on the shelf", names, texts),
        grids=tuple(grids),
        note="An offcut lies at the cost it was cut at, until it is used or its life is over "
        "(film.offcut_life_months).",
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.area_unit,
        separators=say.separators,
        values=tuple(number(shown, "closing_area")),
        texts=tuple(texts),
        axis=f"Offcuts on the shelf, {say.area_unit}",
        look=GAIN,
    )


def gather_counts(review: Review) -> BarsInfo:
    """What the counts of the last twelve months found missing, against what was cut."""
    found = slices_of(review, "film_counts")
    title = "What the counts found"
    if found.line:
        return BarsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    grid = plain_grid(
        review,
        found.table,
        frame.sort_values(["counted_on", "film"], ascending=[False, True], kind="stable"),
        _COUNT_COLUMNS,
        caption="Counts, the newest first",
        names=2,
    )
    days = pd.to_datetime(frame["counted_on"])
    recent = frame[days >= review.quarter.year_first_day]
    by = recent.assign(
        area=number(recent, "unexplained_area"),
        cost=number(recent, "unexplained_cost"),
        cut=number(recent, "cut_area"),
    ).groupby("film")
    sums = by[["area", "cost", "cut"]].sum(min_count=1).assign(counts=by.size())
    sums = sums.sort_values("area", ascending=False, kind="stable")
    missing = sums[sums["area"] > _A_HAND].head(MOST_ROWS)
    if missing.empty:
        line = "The counts of the last twelve months found no film missing."
        return BarsInfo(title=title, line=line, grids=(grid,))
    texts = [_missing_text(row, say) for _, row in missing.iterrows()]
    names = [label(film) for film in missing.index]
    most = missing.iloc[0]
    return BarsInfo(
        title=f"{names[0]}: {say.area(most['area'])} missing at the counts of twelve months"
        f"{_worth(most['cost'], say)}",
        alternative=alternative("Bar chart", "film missing at the counts", names, texts),
        grids=(grid,),
        note="Film that left the shelf without a cut written down, or was counted wrongly. A "
        "surplus of one count makes up for what another of that film found missing.",
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.area_unit,
        separators=say.separators,
        values=tuple(missing["area"]),
        texts=tuple(texts),
        axis=f"Film missing at the counts of twelve months, {say.area_unit}",
    )


def _worth(cost: float, say: Numbers) -> str:
    text = say.money(cost)
    return "" if text == MISSING else f" ({text})"


def _missing_text(row: pd.Series, say: Numbers) -> str:
    """`49 sq ft ($147), 5.1 % of what was cut, 4 counts`."""
    share = ""
    if row["cut"] > 0:
        share = f", {say.percent(100 * row['area'] / row['cut'], 1)} of what was cut"
    worth = _worth(row["cost"], say)
    return f"{say.area(row['area'])}{worth}{share}, {counted(row['counts'], 'count')}"


def _shelf_text(row: pd.Series, say: Numbers) -> str:
    days = f"oldest {say.number(row['oldest_days'])} days"
    pieces = counted(row["closing_offcuts"], "offcut")
    return f"{say.area(row['closing_area'])}{_worth(row['closing_cost'], say)}, {pieces}, {days}"


def _shelf_title(frame: pd.DataFrame, say: Numbers) -> str:
    area, cost = number(frame, "closing_area").sum(), number(frame, "closing_cost").sum(min_count=1)
    gone = number(frame, "written_off_area").sum()
    used = number(frame, "used_area").sum()
    return (
        f"{say.area(area)} of offcuts on the shelf{_worth(cost, say)}; {say.area(used)} used and "
        f"{say.area(gone)} written off in the quarter"
    )
