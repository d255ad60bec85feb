"""Figures about film: what it is lost to, and where what came in went."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.film_tables import FILM_RECONCILIATION, WASTE_BY_FILM, WASTE_BY_WIDTH
from analysis.glossary import heading
from analysis.locale_text import MISSING
from analysis.report.grids import (
    ABSENT,
    Band,
    Cell,
    Grid,
    Heading,
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
    alternative,
    chart_names,
    finish,
    nothing,
    plain,
    row_names,
    rows_axis,
    rows_figure,
    rows_height,
    series_marker,
    signed_panel,
)
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.schema import Table

MOST_ROWS: Final = 12
CAUSES: Final = (
    "side_loss_area",
    "handling_margin_area",
    "opening_area",
    "recut_area",
    "damage_area",
    "test_area",
    "end_of_roll_area",
)
NO_CAUSES: Final = (
    "To what it was lost is not written down: the table cuts, a row a pull with its pieces and its "
    "reason, tells side loss, handling and recuts apart."
)
UNSPLIT: Final = "side_and_handling_area"
FLOWS_OUT: Final = (
    "jobs_area",
    "counter_sales_area",
    "shop_area",
    "unexplained_area",
    "closing_area",
)
_FLOWS: Final = ("opening", "purchased", *(name.removesuffix("_area") for name in FLOWS_OUT))
# Film still on the shelf is pale, so that what left it stands out.
_FLOW_SERIES: Final = (0, 1, 2, 3, 7)
_WASTE_COLUMNS: Final = ("cuts", "consumed_area", "waste_area", "waste_pct", "waste_cost")
_GROUPS: Final = {
    "class": "vehicle class",
    "service": "service",
    "film": "film",
    "panel": "panel",
    "width": "roll width",
}


@dataclass(frozen=True, eq=False, kw_only=True)
class CausesInfo(RowsInfo):
    """Wasted film by cause, largest first: areas, and what they cost at each film's average."""

    areas: tuple[float, ...] = ()
    costs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class StacksInfo(RowsInfo):
    """Parts of each group, one beside the other. `parts`: each part's name and its areas.

    `series` says which colour and pattern each part has: the same for a cause in every chart.
    """

    parts: tuple[tuple[str, tuple[float, ...]], ...] = ()
    series: tuple[int, ...] = ()
    texts: tuple[str, ...] = ()
    axis: str = ""


def causes_told(frame: pd.DataFrame) -> bool:
    """Whether any film's losses are told apart: not where all cuts stand on job sheets alone."""
    return bool(number(frame, "recut_area").notna().any())


def waste_causes(frame: pd.DataFrame) -> pd.DataFrame:
    """Wasted area and its cost by cause, largest area first: `cause`, `area`, `cost`.

    `frame` is `waste_by_film` at the edge. The cost is each film's mean cost of wasted area × the
    cause's area of that film. Where a film's side loss and handling margin are not told apart,
    their sum is a cause of its own. Causes that took no film have no row.
    """
    per_area = number(frame, "waste_cost") / number(frame, "waste_area").replace(0.0, np.nan)
    parts = split_waste(frame)
    areas = parts.sum(min_count=1)
    # A film without a cost leaves the money of its causes unknown; it is not counted as nothing.
    money = parts.mul(per_area, axis=0).where(parts.fillna(0.0) != 0.0, 0.0)
    costs = money.sum(skipna=False)
    causes = pd.DataFrame({"area": areas, "cost": costs}).rename_axis("cause").reset_index()
    causes = causes[causes["area"].fillna(0.0) != 0.0]
    return causes.sort_values("area", ascending=False, kind="stable").reset_index(drop=True)


def split_waste(frame: pd.DataFrame) -> pd.DataFrame:
    """Areas by cause of each row; the sum of side loss and handling only where they are blank."""
    parts = pd.DataFrame({cause: number(frame, cause) for cause in CAUSES})
    together = number(frame, UNSPLIT)
    return parts.assign(**{UNSPLIT: together.where(parts["side_loss_area"].isna())})


def cause_name(column: str) -> str:
    """A cause in words."""
    return heading(WASTE_BY_FILM.column(column))


def gather_causes(review: Review) -> CausesInfo:
    """What film is lost to, over all films, counter and shop included."""
    found = slices_of(review, "waste_by_film")
    if found.line:
        return CausesInfo(title="What film is lost to", line=found.line)
    say = Numbers(review.settings)
    causes = waste_causes(found.quarter)
    if not causes_told(found.quarter) and not causes.empty:
        return CausesInfo(title="What film is lost to", line=NO_CAUSES)
    if causes.empty:
        line = f"No film was lost in {review.quarter.label}, or no cut was measured."
        return CausesInfo(title="What film is lost to", line=line)
    names = [cause_name(each) for each in causes["cause"]]
    texts = [
        f"{say.area(area)}, {say.money(cost)}"
        for area, cost in zip(causes["area"], causes["cost"], strict=True)
    ]
    lost = say.area(number(found.quarter, "waste_area").sum(min_count=1))
    most = f"{say.area(causes['area'].iloc[0])} ({say.money(causes['cost'].iloc[0])})"
    return CausesInfo(
        title=f"Of {lost} lost in {review.quarter.label}, {most} went to {names[0].lower()}",
        alternative=alternative("Bar chart", "wasted film by cause", names, texts),
        grids=(_causes_grid(review, found, say),),
        note="The money of a cause is its area at each film's mean cost of wasted film.",
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.area_unit,
        separators=say.separators,
        areas=tuple(causes["area"]),
        costs=tuple(causes["cost"]),
        texts=tuple(texts),
    )


def draw_causes(info: CausesInfo) -> go.Figure:
    """Bars of area, with the money at the right."""
    if info.line:
        return nothing(info.title, info.line)
    panel = signed_panel(info.areas, info.texts, info.few, f"Film lost, {info.unit}")
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def gather_waste(review: Review, by: str) -> StacksInfo:
    """What was lost of the film of each group, by cause. `by`: class, service, film or panel."""
    found = slices_of(review, f"waste_by_{by}")
    one = _GROUPS[by]
    if found.line:
        return StacksInfo(title=f"Film lost by {one}", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("waste_area", ascending=False, kind="stable")
    shown = frame.head(MOST_ROWS)
    every = _names(frame, found.table, say)
    names = every[: len(shown)]
    texts = _waste_texts(shown, say)
    parts = split_waste(shown)
    used = [name for name in (*CAUSES, UNSPLIT) if parts[name].abs().sum() > 0]
    return StacksInfo(
        title=_waste_title(review, frame, every, one),
        alternative=alternative("Stacked bar chart", f"film lost by {one}", names, texts),
        grids=_waste_grids(review, found, frame, one),
        note="" if len(shown) == len(frame) else f"The chart shows the {MOST_ROWS} largest.",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.area_unit,
        separators=say.separators,
        parts=tuple((cause_name(name), tuple(parts[name])) for name in used),
        series=tuple((*CAUSES, UNSPLIT).index(name) for name in used),
        texts=tuple(texts),
        axis=f"Film lost, {say.area_unit}",
    )


def gather_flows(review: Review) -> StacksInfo:
    """Where the film of the period went: opening stock and purchases, by what became of them."""
    found = slices_of(review, "film_reconciliation")
    if found.line:
        return StacksInfo(title="Where the film went", line=found.line)
    say = Numbers(review.settings)
    held = number(found.quarter, "opening_area") + number(found.quarter, "purchased_area")
    order = held.sort_values(ascending=False, kind="stable").index
    frame, held = found.quarter.loc[order], held.loc[order]
    shown = frame.head(MOST_ROWS)
    names = labels_of(shown, found.table)
    texts = [say.area(each) for each in held.head(MOST_ROWS)]
    return StacksInfo(
        title=_flows_title(review, frame, say),
        alternative=alternative("Stacked bar chart", "where each film went", names, texts),
        grids=_flow_grids(review, found, frame),
        note="A bar is what was there: opening stock and purchases. Film that a count found too "
        "much stands left of zero.",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.area_unit,
        separators=say.separators,
        parts=tuple((_flow_name(name), tuple(number(shown, name))) for name in FLOWS_OUT),
        series=_FLOW_SERIES,
        texts=tuple(texts),
        axis=f"Film, {say.area_unit}",
    )


def draw_stacks(info: StacksInfo) -> go.Figure:
    """Parts of each row one after the other, told apart by colour and pattern."""
    if info.line:
        return nothing(info.title, info.line)
    names = chart_names(info.names, info.few)
    say_unit = plain(info.unit)
    fig = go.Figure()
    for (part, areas), position in zip(info.parts, info.series, strict=True):
        fig.add_bar(
            x=list(areas),
            y=list(range(len(names))),
            orientation="h",
            width=0.36,
            name=part,
            marker=series_marker(position),
            customdata=[f"{name}, {part.lower()}" for name in names],
            hovertemplate="%{customdata}: %{x:,.1f} " + say_unit + "<extra></extra>",
        )
    row_names(fig, names, info.texts)
    height, head = rows_height(len(names), len(info.parts))
    finish(fig, title=info.title, separators=info.separators, height=height, head=head)
    fig.update_layout(barmode="relative", showlegend=True, legend_traceorder="normal")
    fig.update_xaxes(title_text=plain(info.axis))
    rows_axis(fig, len(names))
    return fig


def unexplained(frame: pd.DataFrame) -> tuple[float, float, float]:
    """Film missing at the counts, its cost, and film found too much. [area, money, area].

    `frame` is `film_reconciliation` at the edge. Films found short and films found over are added
    apart: one does not make up for the other.
    """
    area, cost = number(frame, "unexplained_area"), number(frame, "unexplained_cost")
    missing = float(area[area > 0].sum())
    return missing, float(cost[area > 0].sum(skipna=False)), float(-area[area < 0].sum())


def is_counted(review: Review) -> bool:
    """Whether film was counted in the quarter; without a count nobody knows what is missing."""
    days = pd.to_datetime(review.records["stock_counts"]["counted_on"])
    return bool(days.between(review.quarter.first_day, review.quarter.last_day).any())


def _causes_grid(review: Review, found: Slices, say: Numbers) -> Grid:
    """Area and money of each cause, quarter and trailing year."""
    periods = {review.quarter.label: found.quarter, year_name(review): found.year}
    causes = {name: waste_causes(frame) for name, frame in periods.items() if len(frame)}
    cells = [_cause_cells(frame, say) for frame in causes.values()]
    rows = [
        (Cell(cause_name(cause)), *(cell for own in cells for cell in own.get(cause, _NO_CAUSE)))
        for cause in dict.fromkeys(cause for own in cells for cause in own)
    ]
    pair = (Heading("Area", say.area_unit), Heading("Cost", say.settings.currency))
    bands = (Band("", 1), *(Band(name, 2) for name in causes))
    headings = (Heading("Cause", is_number=False), *(pair * len(causes)))
    return Grid("What film is lost to", 1, bands, headings, tuple(rows))


_NO_CAUSE: Final = (ABSENT, ABSENT)


def _cause_cells(causes: pd.DataFrame, say: Numbers) -> dict[str, tuple[Cell, Cell]]:
    return {
        str(cause): (Cell(say.number(area)), Cell(say.number(cost)))
        for cause, area, cost in zip(causes["cause"], causes["area"], causes["cost"], strict=True)
    }


def _names(frame: pd.DataFrame, table: Table, say: Numbers) -> list[str]:
    """The name of each row; a roll's width with its unit."""
    if table.name != WASTE_BY_WIDTH.name:
        return labels_of(frame, table)
    width = table.columns[0]
    texts = say.column(frame[width.name], width)
    return ["from offcuts" if text == MISSING else f"{text} {say.unit(width)}" for text in texts]


def _waste_texts(frame: pd.DataFrame, say: Numbers) -> list[str]:
    return [
        f"{say.area(area)}, {say.percent(share)}"
        for area, share in zip(number(frame, "waste_area"), number(frame, "waste_pct"), strict=True)
    ]


def _waste_title(review: Review, frame: pd.DataFrame, names: list[str], one: str) -> str:
    quarter = review.quarter.label
    areas = number(frame, "waste_area")
    if areas.isna().all():
        return f"Film lost by {one}: no cut of {quarter} was measured"
    say = Numbers(review.settings)
    most, cost = say.area(areas.iloc[0]), say.money(number(frame, "waste_cost").iloc[0])
    return f"Most film lost by {one}: {names[0]}, {most} ({cost}) in {quarter}"


def _waste_grids(review: Review, found: Slices, frame: pd.DataFrame, one: str) -> tuple[Grid, ...]:
    together = [UNSPLIT] if number(frame, "side_loss_area").isna().any() else []
    causes = ["cuts", "finished_area", *CAUSES, *together, "cuts_unmeasured"]
    parts = [
        Part(review.quarter.label, found.quarter, _WASTE_COLUMNS),
        Part(year_name(review), found.year, _WASTE_COLUMNS),
    ]
    by_cause = [Part(review.quarter.label, found.quarter, causes)]
    return (
        side_by_side(review, found.table, parts, caption=f"Film lost by {one}", order=frame),
        side_by_side(
            review, found.table, by_cause, caption=f"Film lost by {one} and cause", order=frame
        ),
    )


def _flow_name(column: str) -> str:
    return heading(FILM_RECONCILIATION.column(column), FILM_RECONCILIATION.name)


def _flows_title(review: Review, frame: pd.DataFrame, say: Numbers) -> str:
    if not is_counted(review):
        return f"Where the film went in {review.quarter.label}: none was counted"
    missing, cost, surplus = unexplained(frame)
    if missing:
        return f"{say.area(missing)} of film ({say.money(cost)}) is missing"
    return "The counts agree with the books" if not surplus else "The counts found more than booked"


def _flow_grids(review: Review, found: Slices, frame: pd.DataFrame) -> tuple[Grid, ...]:
    grids = []
    for name, caption in (("_area", "Film in area"), ("_cost", "Film in money")):
        columns = [f"{flow}{name}" for flow in _FLOWS]
        parts = [
            Part(review.quarter.label, found.quarter, columns),
            Part(year_name(review), found.year, columns),
        ]
        grids += [
            side_by_side(
                review,
                found.table,
                [part],
                caption=f"{caption}: {part.period}",
                order=frame,
                note="Opening stock + bought = jobs + counter sales + shop + unexplained "
                "+ closing stock.",
            )
            for part in parts
            if len(part.frame)
        ]
    return tuple(grids)
