"""The flow picture: from purchases to finished area and each loss, in area or in money."""

from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.findings import film_flows as points
from analysis.locale_text import MISSING
from analysis.report.grids import FigureInfo, Part, number, side_by_side, slices_of, year_name
from analysis.report.look import (
    BLUE,
    FONT,
    GREY,
    INK,
    ORANGE,
    SKY,
    VERMILION,
    alternative,
    finish,
    nothing,
    plain,
)
from analysis.report.numbers import Numbers, sentence_case
from analysis.report.results import Review

AREA, COST = "area", "cost"
_KEPT: Final = {points.FILM, points.JOBS, points.FINISHED}
_STOCK: Final = {points.ON_SHELF, points.PURCHASED, "closing stock", "counter sales"}
# A white rim keeps a name readable where a stream runs through it.
_HALO: Final = "1px 0 2px #fff, -1px 0 2px #fff, 0 1px 2px #fff, 0 -1px 2px #fff"
_AND: Final = ", worth "
_ROW_HEIGHT: Final = 68
_LEAST_HEIGHT: Final = 380


@dataclass(frozen=True)
class Stream:
    """One stream: between which points (positions in `names`), and how much of what is shown."""

    source: int
    target: int
    amount: float
    is_loss: bool


@dataclass(frozen=True, eq=False, kw_only=True)
class FlowsInfo(FigureInfo):
    """The streams of film; `names` of the points, each with its `text` (area and money)."""

    names: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    streams: tuple[Stream, ...] = ()
    unit: str = ""
    separators: str = ".,"


def gather_flow_picture(review: Review, measure: str = AREA) -> FlowsInfo:
    """Every stream of film of the quarter, drawn by area or by money.

    Streams below 0 (a surplus found at a count, more film cut than the books held) cannot be drawn;
    they stand in the table and are told.
    """
    found = slices_of(review, "film_flows")
    if found.line:
        return FlowsInfo(title="From purchases to finished area", line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    amounts = number(frame, measure)
    if amounts.isna().any():
        line = "The cost of some film is not known, so its streams have no money."
        return FlowsInfo(title="From purchases to finished area", line=line)
    drawn = frame[amounts > 0]
    names = list(dict.fromkeys([*drawn["flows_from"], *drawn["flows_to"]]))
    at = {name: position for position, name in enumerate(names)}
    streams = tuple(
        Stream(at[source], at[target], float(amount), _is_loss(source, target))
        for source, target, amount in zip(
            drawn["flows_from"], drawn["flows_to"], amounts[amounts > 0], strict=True
        )
    )
    texts = [_text(frame, name, say) for name in names]
    parts = [
        Part(review.quarter.label, found.quarter, [AREA, COST]),
        Part(year_name(review), found.year, [AREA, COST]),
    ]
    grid = side_by_side(
        review,
        found.table,
        parts,
        caption="Streams of film" if measure == AREA else "Streams of film and what they cost",
        order=frame[found.table.keys],
    )
    below = [f"{row_from} to {to}" for row_from, to in _below(frame, amounts)]
    note = (
        "Losses are those of jobs; the figures below count the counter's and the shop's film too. "
        "Missing is net of what counts found too much."
    )
    note += f" Below 0 and not drawn: {'; '.join(below)}." if below else ""
    return FlowsInfo(
        title=_title(review, frame, measure, say),
        alternative=alternative("Flow picture", "where the film went", names, texts),
        grids=(grid,),
        note=note,
        names=tuple(names),
        texts=tuple(texts),
        streams=streams,
        unit=say.area_unit if measure == AREA else review.settings.currency,
        separators=say.separators,
    )


def draw_flow_picture(info: FlowsInfo) -> go.Figure:
    """Streams as bands from left to right; what is lost is hatched by its words and its colour."""
    if info.line:
        return nothing(info.title, info.line)
    ends = {each.source for each in info.streams} ^ {each.target for each in info.streams}
    # What flows through a point is what comes in: the numbers stand at the ends alone, so that
    # they do not run into each other on a telephone.
    labels = [
        "<br>".join(
            plain(part) for part in (sentence_case(name), *(text.split(_AND) if at in ends else ()))
        )
        for at, (name, text) in enumerate(zip(info.names, info.texts, strict=True))
    ]
    lost = {stream.target for stream in info.streams if stream.is_loss}
    colours = [_colour(name, at in lost) for at, name in enumerate(info.names)]
    fig = go.Figure(
        go.Sankey(
            arrangement="snap",
            textfont={"family": FONT, "size": 11, "color": INK, "shadow": _HALO},
            node={
                "label": labels,
                "color": colours,
                "line": {"color": INK, "width": 0.7},
                "pad": 46,
                "thickness": 12,
                "hovertemplate": "%{label}<extra></extra>",
            },
            link={
                "source": [each.source for each in info.streams],
                "target": [each.target for each in info.streams],
                "value": [each.amount for each in info.streams],
                "color": [_pale(_colour(info.names[s.target], s.is_loss)) for s in info.streams],
                "hovertemplate": "%{source.label} → %{target.label}<br>%{value:,.1f} "
                + plain(info.unit)
                + "<extra></extra>",
            },
        )
    )
    last = len({s.target for s in info.streams} - {s.source for s in info.streams})
    height = max(_LEAST_HEIGHT, _ROW_HEIGHT * last)
    finish(fig, title=info.title, separators=info.separators, height=height, head=12)
    return fig.update_layout(margin_b=34)


def _is_loss(source: str, target: str) -> bool:
    return (
        source == points.JOBS
        and target not in (points.FINISHED, points.UNMEASURED, points.LATER_CREDITS)
        or target.startswith(("shop use", "missing"))
    )


def _below(frame: pd.DataFrame, amounts: pd.Series) -> list[tuple[str, str]]:
    rows = frame[amounts < 0]
    return list(zip(rows["flows_from"], rows["flows_to"], strict=True))


def _text(frame: pd.DataFrame, name: str, say: Numbers) -> str:
    """What flows through a point: `4,878 sq ft, worth $17,503`."""
    rows = frame[frame["flows_to"] == name]
    if rows.empty:
        rows = frame[frame["flows_from"] == name]
    area, cost = say.area(number(rows, AREA).sum()), say.money(number(rows, COST).sum(skipna=False))
    return area if cost == MISSING else f"{area}{_AND}{cost}"


def _title(review: Review, frame: pd.DataFrame, measure: str, say: Numbers) -> str:
    """How much of the film that jobs took stayed on vehicles."""
    amount = number(frame, measure)
    into_jobs = amount[(frame["flows_from"] == points.FILM) & (frame["flows_to"] == points.JOBS)]
    on_vehicles = amount[frame["flows_to"] == points.FINISHED]
    jobs = float(into_jobs.sum())
    unknown = float(amount[frame["flows_to"] == points.UNMEASURED].sum())
    if jobs <= 0:
        return f"Where the film went in {review.quarter.label}: jobs took none"
    taken = f"{say.area(jobs)} of film" if measure == AREA else f"film worth {say.money(jobs)}"
    share = say.percent(100 * float(on_vehicles.sum()) / jobs)
    if unknown > 0:
        told = say.percent(100 * unknown / jobs)
        return f"Of {taken} that jobs took, {share} is known to be on vehicles, {told} not measured"
    return f"Of {taken} that jobs took, {share} stayed on vehicles"


def _colour(name: str, is_loss: bool) -> str:
    if is_loss:
        return VERMILION
    if name in _KEPT:
        return BLUE
    return ORANGE if name == "counter sales" else SKY if name in _STOCK else GREY


def _pale(colour: str) -> str:
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return f"rgba({red},{green},{blue},0.35)"
