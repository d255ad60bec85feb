"""The figure about what film costs, purchase by purchase."""

from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.report.grids import FigureInfo, number, plain_grid, slices_of
from analysis.report.look import (
    INK,
    SERIES_COLOURS,
    SERIES_DASHES,
    SERIES_SYMBOLS,
    alternative,
    finish,
    nothing,
    plain,
    rows_height,
)
from analysis.report.numbers import Numbers, label, sentence_case, shortened
from analysis.report.results import Review

# Six lines are as many as symbols and dashes tell apart.
MOST_FILMS: Final = 6
_PRICE_COLUMNS: Final = (
    "film",
    "supplier",
    "received_on",
    "invoice",
    "purchased_area",
    "landed_cost",
    "landed_cost_per_area",
    "change_pct",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class PricesInfo(FigureInfo):
    """Landed cost per area over time: a line a film. [money / area]"""

    lines: tuple[tuple[str, tuple[pd.Timestamp, ...], tuple[float, ...]], ...] = ()
    unit: str = ""
    separators: str = ".,"


def gather_prices(review: Review) -> PricesInfo:
    """Landed cost of each film over time; the chart takes the films that most was bought of."""
    found = slices_of(review, "film_prices")
    if found.line:
        return PricesInfo(title="What film costs", line=found.line)
    say = Numbers(review.settings)
    column = found.table.column("landed_cost_per_area")
    frame = found.quarter.sort_values(["film", "received_on"], kind="stable")
    bought = number(frame, "purchased_area").groupby(frame["film"]).sum()
    most = bought.sort_values(ascending=False, kind="stable").head(MOST_FILMS).index
    lines = []
    for film in most:
        own = frame[(frame["film"] == film) & number(frame, "landed_cost_per_area").notna()]
        if len(own):
            days = tuple(pd.Timestamp(day) for day in own["received_on"])
            lines.append((label(film), days, tuple(number(own, "landed_cost_per_area"))))
    spans = [f"{say.number(v[0], 2)} to {say.number(v[-1], 2)}" for _, _, v in lines]
    named = [name for name, _, _ in lines]
    grid = plain_grid(
        review, found.table, frame, _PRICE_COLUMNS, caption="Purchases of film", names=1
    )
    return PricesInfo(
        title=_prices_title(lines, say),
        alternative=alternative("Line chart", "landed cost per area over time", named, spans),
        grids=(grid,),
        note="After freight, discount and credits. "
        + ("" if len(bought) <= MOST_FILMS else f"The {MOST_FILMS} films bought most."),
        lines=tuple(lines),
        unit=say.unit(column),
        separators=say.separators,
    )


def draw_prices(info: PricesInfo) -> go.Figure:
    """A stepped line a film, told apart by colour, dash and symbol."""
    if info.line:
        return nothing(info.title, info.line)
    fig = go.Figure()
    for position, (film, days, prices) in enumerate(info.lines):
        name = plain(shortened(film, 30))
        fig.add_scatter(
            x=[f"{day:%Y-%m-%d}" for day in days],
            y=list(prices),
            name=name,
            mode="lines+markers",
            line={
                "shape": "hv",
                "width": 2,
                "color": SERIES_COLOURS[position],
                "dash": SERIES_DASHES[position],
            },
            marker={"symbol": SERIES_SYMBOLS[position], "size": 9, "line": {"color": INK}},
            hovertemplate=f"{name}: %{{y:,.2f}}, %{{x}}<extra></extra>",
        )
    _, head = rows_height(1, len(info.lines))
    finish(fig, title=info.title, separators=info.separators, height=360 + head, head=head)
    fig.update_layout(showlegend=True, margin_l=56)
    fig.update_yaxes(title_text=plain(f"Landed cost, {info.unit}"), tickformat=",.2f")
    fig.update_xaxes(type="date", title_text="Day of receipt", tickformat="%Y-%m", showgrid=False)
    return fig


def _prices_title(
    lines: list[tuple[str, tuple[pd.Timestamp, ...], tuple[float, ...]]], say: Numbers
) -> str:
    """The film whose landed cost moved most from its first purchase to its newest."""
    moves = {name: 100 * (v[-1] / v[0] - 1) for name, _, v in lines if len(v) > 1 and v[0]}
    if not moves:
        return "What film costs, purchase by purchase"
    most = max(moves, key=lambda name: abs(moves[name]))
    move = say.percent_change(moves[most])
    return f"{sentence_case(most)} moved most since its first purchase: {move}"
