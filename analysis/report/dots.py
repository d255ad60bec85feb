"""Charts of estimates: a dot at each, on a line over its interval, in rows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import plotly.graph_objects as go

from analysis.report.look import (
    BLUE,
    GREY,
    INK,
    PAPER,
    SOFT_INK,
    VERMILION,
    chart_names,
    finish,
    plain,
    row_names,
    rows_axis,
    rows_height,
)

# What a dot means: its colour and its symbol.
PLAIN, STRONG, THIN = "plain", "strong", "thin"
_LOOKS: Final = {
    PLAIN: (BLUE, "circle"),
    STRONG: (VERMILION, "diamond"),
    THIN: (PAPER, "circle-open"),
}


@dataclass(frozen=True)
class Line:
    """An upright line through all rows, with its word."""

    at: float
    word: str


def dots_figure(
    names: Sequence[str],
    values: tuple[Sequence[float], Sequence[float], Sequence[float]],
    texts: Sequence[str],
    *,
    title: str,
    axis: str,
    separators: str,
    few: Sequence[bool],
    looks: Sequence[str] | None = None,
    lines: Sequence[Line] = (),
) -> go.Figure:
    """A row each name: its dot, its interval, and its text at the right.

    `values` are middles, lower and upper ends; a missing one draws nothing. `looks` are `PLAIN` or
    `STRONG` by row; rows that rest on few are open circles unless they are strong.
    """
    middles, lows, highs = (list(each) for each in values)
    shown = chart_names(names, few)
    places = list(range(len(shown)))
    looks = [_look(look, thin) for look, thin in zip(looks or [PLAIN] * len(few), few, strict=True)]
    fig = go.Figure()
    ends = [each for low, high in zip(lows, highs, strict=True) for each in (low, high, None)]
    fig.add_scatter(
        x=ends,
        y=[each for at in places for each in (at, at, None)],
        mode="lines",
        line={"color": INK, "width": 1.5},
        cliponaxis=False,
        hoverinfo="skip",
    )
    fig.add_scatter(
        x=middles,
        y=places,
        mode="markers",
        cliponaxis=False,
        marker={
            "size": [13 if look == STRONG else 11 for look in looks],
            "color": [GREY if look == THIN else _LOOKS[look][0] for look in looks],
            "symbol": [_LOOKS[look][1] for look in looks],
            "line": {"color": INK, "width": 1},
            "opacity": 1,
        },
        customdata=[f"{name}: {plain(text)}" for name, text in zip(shown, texts, strict=True)],
        hovertemplate="%{customdata}<extra></extra>",
    )
    height, _ = rows_height(len(shown))
    row_names(fig, shown, texts, bgcolor=PAPER, borderpad=0)
    finish(fig, title=title, separators=separators, height=height)
    fig.update_layout(showlegend=False)
    fig.update_xaxes(title_text=plain(axis), zeroline=False)
    rows_axis(fig, len(shown))
    if lines:
        fig.update_yaxes(range=[len(shown) - 0.4, -0.72])
    for line in lines:
        add_line(fig, line)
    return fig


def add_line(fig: go.Figure, line: Line) -> None:
    """A dashed upright line with its word at its foot."""
    fig.add_shape(
        type="line",
        x0=line.at,
        x1=line.at,
        y0=0,
        y1=1,
        yref="paper",
        layer="below",
        line={"color": SOFT_INK, "width": 1, "dash": "dash" if line.at else "solid"},
    )
    fig.add_annotation(
        text=plain(line.word),
        x=line.at,
        xanchor="center",
        y=0,
        yref="paper",
        yanchor="bottom",
        showarrow=False,
        bgcolor=PAPER,
        borderpad=0,
        font={"size": 11, "color": SOFT_INK},
    )


def _look(look: str, is_few: bool) -> str:
    return THIN if is_few and look == PLAIN else look
