"""How a figure looks: one palette, one chart template, one way of drawing rows of bars.

The eight colours are those of Okabe and Ito, "Color Universal Design" (2008), chosen to be told
apart with any kind of colour vision. No colour stands alone: a pattern, a symbol or a word says
the same, so that a page printed in black still reads.
"""

import html
import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import plotly.graph_objects as go
from plotly.subplots import make_subplots

from analysis.report.numbers import shortened

BLUE, VERMILION, GREEN, ORANGE = "#0072B2", "#D55E00", "#009E73", "#E69F00"
SKY, PURPLE, YELLOW, BLACK = "#56B4E9", "#CC79A7", "#F0E442", "#000000"
INK, SOFT_INK, LINE, GREY, PAPER = "#1b1b1b", "#595959", "#d6d6d6", "#b0b0b0", "#ffffff"
FONT: Final = "system-ui, -apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
FEW: Final = "few"

# What a bar means: its colour and its pattern.
GAIN, LOSS, TOTAL, THIN = "gain", "loss", "total", "thin"
_BAR_LOOKS: Final = {
    GAIN: (BLUE, ""),
    LOSS: (VERMILION, "/"),
    TOTAL: (SOFT_INK, ""),
    THIN: (GREY, "."),
}
# One look a series, for up to eight of them.
SERIES_COLOURS: Final = (BLUE, ORANGE, SKY, VERMILION, PURPLE, YELLOW, GREEN, GREY)
SERIES_PATTERNS: Final = ("", "/", ".", "x", "\\", "-", "|", "")

_ROW_HEIGHT, _BAR_WIDTH, _LABEL_RISE = 42, 0.36, 0.4
_FOOT, _HEAD, _PANEL_HEAD, _LEGEND_ROW = 52, 6, 24, 22

TEMPLATE: Final = go.layout.Template(
    layout={
        "font": {"family": FONT, "size": 13, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "colorway": list(SERIES_COLOURS),
        "margin": {"l": 10, "r": 10, "t": 8, "b": _FOOT},
        "dragmode": False,
        "hoverlabel": {"font": {"family": FONT, "size": 13}, "align": "left"},
        "xaxis": {
            "gridcolor": LINE,
            "tickformat": ",",
            "zerolinecolor": GREY,
            "zerolinewidth": 1,
            "ticks": "outside",
            "tickcolor": LINE,
            "fixedrange": True,
            "title": {"font": {"size": 13}, "standoff": 6},
        },
        "yaxis": {
            "gridcolor": LINE,
            "zerolinecolor": INK,
            "fixedrange": True,
            "title": {"font": {"size": 13}},
        },
        "legend": {"orientation": "h", "x": 0, "xanchor": "left", "y": 1, "yanchor": "bottom"},
    }
)


@dataclass(frozen=True)
class Panel:
    """One column of bars beside the same names: values, the text at each, and the axis."""

    values: Sequence[float]
    texts: Sequence[str]
    looks: Sequence[str]
    axis: str
    title: str = ""
    starts: Sequence[float] | None = None


def plain(text: str) -> str:
    """Text that a chart draws as it is: what looks like markup to the chart is escaped.

    Two $ would be taken for a formula in a notebook; written as an entity they are not.
    """
    return html.escape(text, quote=False).replace("$", "&#36;")


def chart_names(names: Sequence[str], thin: Sequence[bool]) -> list[str]:
    """The names of rows in a chart: short, escaped, with the word where one rests on few."""
    return [
        plain(shortened(name) + (f" ({FEW})" if is_few else ""))
        for name, is_few in zip(names, thin, strict=True)
    ]


def look_of(value: float, is_few: bool) -> str:
    """The look of a bar by the sign of its value; grey where it rests on few."""
    if is_few:
        return THIN
    return LOSS if value < 0 else GAIN


def signed_panel(
    values: Sequence[float],
    texts: Sequence[str],
    thin: Sequence[bool],
    axis: str,
    title: str = "",
) -> Panel:
    """A column of bars whose look follows their sign, and greys where they rest on few."""
    looks = [look_of(value, is_few) for value, is_few in zip(values, thin, strict=True)]
    return Panel(values, texts, looks, axis, title)


def rows_figure(
    names: Sequence[str], panels: Sequence[Panel], *, title: str, separators: str
) -> go.Figure:
    """Bars in rows: each name above its bar, its value at the right.

    Names stand above the bars and not beside them, so that a long one fits on a telephone.
    """
    fig = make_subplots(1, len(panels), shared_yaxes=True, horizontal_spacing=0.07)
    names_shown = list(names)
    for column, panel in enumerate(panels, start=1):
        _add_panel(fig, panel, names_shown, column, is_alone=len(panels) == 1)
    _add_notes(fig, [_row_text(name, at, 0, "left") for at, name in enumerate(names_shown)])
    head = _PANEL_HEAD if any(panel.title for panel in panels) else _HEAD
    height = _height(len(names_shown), head)
    finish(fig, title=title, separators=separators, height=height, head=head)
    fig.update_layout(bargap=0, showlegend=False)
    rows_axis(fig, len(names_shown))
    return fig


def rows_axis(fig: go.Figure, count: int) -> None:
    """Rows from the top down, with room for the names above them, and no lines through them."""
    fig.update_xaxes(showgrid=False)
    fig.update_yaxes(range=[count - 0.6, -0.72], visible=False)


def row_names(fig: go.Figure, names: Sequence[str], texts: Sequence[str], **look: object) -> None:
    """Each row's name at the left above its bar, and its value at the right."""
    left = [_row_text(name, at, 0, "left") for at, name in enumerate(names)]
    right = [_row_text(plain(text), at, 1, "right") for at, text in enumerate(texts)]
    _add_notes(fig, [note | look for note in (*left, *right)])


def finish(fig: go.Figure, *, title: str, separators: str, height: int, head: int = _HEAD) -> None:
    """The template, the height, and the finding as a title with room of its own above the chart.

    `height` is that of the chart alone; `head` what of it lies above the axes. [pixels]
    """
    lines = [plain(line) for line in textwrap.wrap(title, 68)]
    room = _title_room(len(lines))
    fig.update_layout(
        # Set and not updated, which would look up every property of the title by its path.
        overwrite=True,
        template=TEMPLATE,
        separators=separators,
        height=height + room,
        margin_t=head + room,
        title={
            "text": "<br>".join(lines),
            "font": {"size": 15},
            "x": 0,
            "xanchor": "left",
            "xref": "container",
            "y": 1,
            "yref": "container",
            "yanchor": "top",
            # The library lifts a title of several lines, however many, by some 12 pixels.
            "pad": {"t": 6 if len(lines) == 1 else 18, "l": 4},
        },
    )


def without_title(fig: go.Figure) -> dict[str, Any]:
    """The figure, as plain data, for a page that prints the finding as a heading of its own."""
    chart: dict[str, Any] = fig.to_plotly_json()
    layout = chart["layout"]
    room = _title_room(1 + layout["title"]["text"].count("<br>"))
    layout["title"] = {}
    layout["height"] -= room
    layout["margin"]["t"] -= room
    return chart


def _title_room(lines: int) -> int:
    return 14 + 20 * lines


def rows_height(count: int, legend_entries: int = 0) -> tuple[int, int]:
    """Height of a chart of rows, and what of it a legend above it takes [pixels]."""
    head = _HEAD + _LEGEND_ROW * -(-legend_entries // 3)
    return _height(count, head), head


def nothing(title: str, line: str) -> go.Figure:
    """A figure that says why there is nothing to draw."""
    fig = go.Figure()
    finish(fig, title=title, separators=".,", height=120)
    fig.update_xaxes(visible=False)
    fig.update_yaxes(visible=False)
    text = "<br>".join(plain(each) for each in textwrap.wrap(line, 60))
    return fig.add_annotation(text=text, x=0, xref="paper", xanchor="left", y=0.5, showarrow=False)


def series_marker(position: int) -> dict[str, object]:
    """Colour and pattern of the n-th series of a stacked bar."""
    at = position % len(SERIES_COLOURS)
    return {
        "color": SERIES_COLOURS[at],
        "line": {"color": INK, "width": 0.7},
        "pattern": {
            "shape": SERIES_PATTERNS[at],
            "bgcolor": SERIES_COLOURS[at],
            "fgcolor": INK,
            "size": 6,
            "solidity": 0.2,
        },
    }


def alternative(kind: str, what: str, names: Sequence[str], texts: Sequence[str]) -> str:
    """Words in place of a chart: what kind it is, its first values, and where the others are."""
    shown = [f"{name}: {text}" for name, text in zip(names, texts, strict=True)][:4]
    rest = f"; and {len(names) - 4} more" if len(names) > 4 else ""
    return f"{kind}: {what}. {'; '.join(shown)}{rest}. The table that follows holds every number."


def _add_panel(
    fig: go.Figure, panel: Panel, names: Sequence[str], column: int, *, is_alone: bool
) -> None:
    looks = [_BAR_LOOKS[each] for each in panel.looks]
    hover = [f"{name}: {plain(text)}" for name, text in zip(names, panel.texts, strict=True)]
    fig.add_bar(
        x=list(panel.values),
        y=list(range(len(names))),
        base=list(panel.starts) if panel.starts is not None else None,
        orientation="h",
        width=_BAR_WIDTH,
        marker={
            "color": [colour for colour, _ in looks],
            "line": {"color": INK, "width": 0.7},
            "pattern": {"shape": [shape for _, shape in looks], "size": 6, "solidity": 0.3},
        },
        customdata=hover,
        hovertemplate="%{customdata}<extra></extra>",
        row=1,
        col=column,
    )
    fig.update_xaxes(title_text=plain(panel.axis), row=1, col=column)
    _panel_texts(fig, panel, column, is_alone=is_alone)


def _panel_texts(fig: go.Figure, panel: Panel, column: int, *, is_alone: bool) -> None:
    axis = "x" if column == 1 else f"x{column}"
    if is_alone:
        texts = [plain(text) for text in panel.texts]
        _add_notes(fig, [_row_text(text, at, 1, "right") for at, text in enumerate(texts)])
    else:
        fig.update_traces(
            text=[plain(text) for text in panel.texts],
            textposition="outside",
            cliponaxis=False,
            col=column,
        )
        known = [0.0, *(value for value in panel.values if not math.isnan(value))]
        least, most = min(known), max(known)
        room = 0.45 * ((most - least) or 1.0)
        fig.update_xaxes(range=[least - room * (least < 0), most + room], col=column)
    if panel.title:
        fig.add_annotation(
            text=f"<b>{plain(panel.title)}</b>",
            x=0,
            xref=f"{axis} domain",
            xanchor="left",
            y=1,
            yref="paper",
            yanchor="bottom",
            showarrow=False,
        )


def _row_text(text: str, position: int, x: float, anchor: str) -> dict[str, object]:
    return {
        "text": text,
        "x": x,
        "xref": "paper",
        "xanchor": anchor,
        "y": position - _LABEL_RISE,
        "yref": "y",
        "yanchor": "middle",
        "showarrow": False,
    }


def _add_notes(fig: go.Figure, notes: list[dict[str, object]]) -> None:
    """Add them all at once: the library checks every note again for each that is added.

    Set and not updated, as an update looks up every property of every note by its path.
    """
    fig.layout.annotations = [*fig.layout.annotations, *notes]


def _height(count: int, head: int) -> int:
    return head + _FOOT + _ROW_HEIGHT * max(count, 1)
