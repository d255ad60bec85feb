"""The figure about what film costs, purchase by purchase."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analysis.report.grids import FigureInfo, number, plain_grid, slices_of
from analysis.report.look import BLUE, INK, alternative, finish, nothing, plain
from analysis.report.numbers import Numbers, label, shortened
from analysis.report.results import Review

MOST_FILMS: Final = 8
_COLUMNS: Final = (
    "film",
    "supplier",
    "received_on",
    "invoice",
    "purchased_area",
    "landed_cost",
    "landed_cost_per_area",
    "change_pct",
)
_ROW_HEIGHT, _FOOT = 92, 52


@dataclass(frozen=True)
class PriceLine:
    """Landed cost of one film, purchase by purchase [money / area].

    `change_pct` is the newest against the last one before the trailing year (or its first).
    """

    film: str
    days: tuple[pd.Timestamp, ...]
    costs: tuple[float, ...]
    change_pct: float
    text: str


@dataclass(frozen=True, eq=False, kw_only=True)
class PricesInfo(FigureInfo):
    """Landed cost per area over time: a line for each film that most was bought of."""

    lines: tuple[PriceLine, ...] = ()
    unit: str = ""
    separators: str = ".,"


def gather_prices(review: Review) -> PricesInfo:
    """Landed cost of each film over time; the chart takes the films that most was bought of."""
    found = slices_of(review, "film_prices")
    if found.line:
        return PricesInfo(title="What film costs", line=found.line)
    say = Numbers(review.settings)
    unit = say.unit(found.table.column("landed_cost_per_area"))
    frame = found.quarter.sort_values(["film", "received_on"], kind="stable")
    grid = plain_grid(review, found.table, frame, _COLUMNS, caption="Purchases of film", names=1)
    priced = frame[number(frame, "landed_cost_per_area").notna()]
    if priced.empty:
        line = "No purchase of film has a landed cost per area."
        return PricesInfo(title="What film costs", line=line, grids=(grid,))
    bought = number(priced, "purchased_area").groupby(priced["film"]).sum()
    most = bought.sort_values(ascending=False, kind="stable").head(MOST_FILMS).index
    lines = tuple(_line(review, priced[priced["film"] == film], say, unit) for film in most)
    some = "" if len(bought) <= MOST_FILMS else f" The {MOST_FILMS} films that most was bought of."
    return PricesInfo(
        title=_title(lines, say),
        alternative=alternative(
            "Line charts, one a film",
            "landed cost per area over time",
            [line.film for line in lines],
            [line.text for line in lines],
        ),
        grids=(grid,),
        note="At the right, the newest landed cost (after freight, discount and credits) and its "
        "change in twelve months. Each film has an upright scale of its own, which does not start "
        f"at 0.{some}",
        lines=lines,
        unit=unit,
        separators=say.separators,
    )


def draw_prices(info: PricesInfo) -> go.Figure:
    """A small stepped line a film, one under the other, over the same days."""
    if info.line:
        return nothing(info.title, info.line)
    count = len(info.lines)
    height = _ROW_HEIGHT * count + _FOOT
    gap = 34 / (_ROW_HEIGHT * count)
    fig = make_subplots(count, 1, shared_xaxes=True, vertical_spacing=gap)
    for row, line in enumerate(info.lines, start=1):
        name = plain(shortened(line.film))
        fig.add_scatter(
            x=[f"{day:%Y-%m-%d}" for day in line.days],
            y=list(line.costs),
            mode="lines+markers",
            line={"shape": "hv", "width": 1.5, "color": BLUE},
            marker={"size": 6, "color": BLUE, "line": {"width": 0.5, "color": INK}},
            hovertemplate=f"{name}: %{{y:,.2f}} {plain(info.unit)}, %{{x}}<extra></extra>",
            row=row,
            col=1,
        )
        for text, x, anchor in ((name, 0, "left"), (plain(line.text), 1, "right")):
            fig.add_annotation(
                text=text,
                x=x,
                xref="paper",
                xanchor=anchor,
                y=1,
                yref=f"y{row if row > 1 else ''} domain",
                yanchor="bottom",
                showarrow=False,
            )
    finish(fig, title=info.title, separators=info.separators, height=height, head=26)
    fig.update_layout(showlegend=False, margin_l=48)
    fig.update_yaxes(tickformat=",.2f", nticks=4)
    fig.update_xaxes(type="date", tickformat="%Y-%m", showgrid=False)
    return fig.update_xaxes(title_text="Day of receipt", row=count, col=1)


def _line(review: Review, own: pd.DataFrame, say: Numbers, unit: str) -> PriceLine:
    days = pd.to_datetime(own["received_on"])
    costs = number(own, "landed_cost_per_area")
    before = costs[days < review.quarter.year_first_day]
    base = float(before.iloc[-1] if len(before) else costs.iloc[0])
    newest = float(costs.iloc[-1])
    change = 100 * (newest / base - 1) if base and len(costs) > 1 else np.nan
    text = f"{say.number(newest, 2)} {unit}"
    if not np.isnan(change):
        text += f", {say.percent_change(change, 1)}"
    return PriceLine(
        label(own["film"].iloc[0]),
        tuple(pd.Timestamp(day) for day in days),
        tuple(costs),
        change,
        text,
    )


def _title(lines: tuple[PriceLine, ...], say: Numbers) -> str:
    """The film whose landed cost moved most in the trailing year."""
    moved = [line for line in lines if not np.isnan(line.change_pct)]
    if not moved:
        return "What film costs, purchase by purchase"
    most = max(moved, key=lambda line: abs(line.change_pct))
    change = say.percent_change(most.change_pct, 1)
    return f"Landed cost moved most for {most.film}: {change} in twelve months"
