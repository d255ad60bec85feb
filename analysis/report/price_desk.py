"""The price sheet with its assumptions beside it, for a notebook: move one, see what follows."""

import html
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import ipywidgets as widgets  # type: ignore[import-untyped]
import pandas as pd
import plotly.graph_objects as go

from analysis.errors import Unavailable
from analysis.locale_text import counted
from analysis.pricing.demand import Demand
from analysis.pricing.outlook import Outlook, year_outlook
from analysis.pricing.price_words import LOWER, RAISE
from analysis.pricing.sensitivity import with_costs
from analysis.pricing.suggest import suggest_prices
from analysis.report.cautions import PRICE_CAUTION
from analysis.report.look import BLUE, INK, TEMPLATE, VERMILION
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review
from analysis.settings import Settings

MOST_ROWS: Final = 12
_HEIGHT: Final = 260
_PERCENT: Final = 100
_TARGET_NOTE: Final = (
    "The target moves the floors (of a service with its own target by the same points). Where it "
    "is known what customers do, that decides the price, and none is lowered under its floor."
)
_NAMES: Final = ("today's prices", "suggested prices")
_TOOLS: Final = ("zoom", "pan", "select", "lasso", "zoomIn", "zoomOut", "autoScale", "resetScale")


def price_desk(review: Review) -> widgets.VBox:
    """Sliders for what was assumed, the year's contribution, and the prices that follow.

    Its children are the sliders Target margin (for every service), Wages, Film prices and Largest
    change, the figure and the text. Each change makes the suggestions anew from what the review
    learnt. Raises `ValueError`, with the reason, where there is nothing to price.
    """
    pricing = review.pricing
    if pricing is None or isinstance(pricing.basis, Unavailable):
        reason = "the review holds no prices" if pricing is None else pricing.basis.line
        raise ValueError(str(reason))
    settings, basis = review.settings, pricing.basis
    demand = None if isinstance(pricing.demand, Unavailable) else pricing.demand
    sliders = {
        "target": _slider("Target margin, %", 100 * settings.targets.margin, 0, 80, 1),
        "wage": _slider("Wages, change in %", 0, -20, 30, 1),
        "film": _slider("Film prices, change in %", 0, -20, 40, 1),
        "largest": _slider("Largest change, %", 100 * settings.pricing.largest_change, 0, 40, 1),
    }
    figure, text = _empty_figure(review), widgets.HTML()

    def renew(_: Any = None) -> None:
        moved = {name: slider.value / _PERCENT for name, slider in sliders.items()}
        found = scenario(basis, demand, settings, **moved)
        _show(figure, found[1], Numbers(settings))
        text.value = _in_html(*found, Numbers(settings))

    for slider in sliders.values():
        slider.observe(renew, names="value")
    renew()
    return widgets.VBox([*sliders.values(), figure, text])


def scenario(
    basis: pd.DataFrame,
    demand: Demand | None,
    settings: Settings,
    *,
    target: float,
    wage: float,
    film: float,
    largest: float,
) -> tuple[pd.DataFrame, Outlook]:
    """The suggestions, and the coming year at them, under other assumptions. [shares]

    `target` : margin asked of every service, less or more than the shop's by the same points where
    a service has its own; `wage`, `film` : change of wages and of film prices; `largest` : largest
    change of a price.
    """
    points = target - settings.targets.margin
    own = basis["target_margin_share"]
    margins = (own + points).clip(lower=0.0, upper=own.clip(lower=0.95))
    costed = with_costs(basis, wage=1 + wage, film=1 + film)
    costed = costed.assign(target_margin_share=margins)
    bounds = replace(settings, pricing=replace(settings.pricing, largest_change=largest))
    suggestions = suggest_prices(costed, demand, bounds)
    return suggestions, year_outlook(costed, demand, bounds, suggestions["suggested_price"])


def _slider(name: str, value: float, least: float, most: float, step: float) -> Any:
    return widgets.FloatSlider(
        description=name,
        min=least,
        max=max(most, value),
        step=step,
        value=max(value, least),
        readout_format=".0f",
        continuous_update=False,
        layout=widgets.Layout(width="460px"),
        style={"description_width": "160px"},
    )


def _empty_figure(review: Review) -> go.FigureWidget:
    say = Numbers(review.settings)
    figure = go.FigureWidget()
    figure.add_scatter(
        x=[],
        y=[],
        mode="markers",
        error_x={"type": "data", "symmetric": False, "array": [], "arrayminus": [], "color": INK},
        marker={
            "size": 13,
            "color": [BLUE, VERMILION],
            "symbol": ["circle", "diamond"],
            "line": {"color": INK, "width": 1},
        },
        hovertemplate="%{y}: %{x:,.0f}<extra></extra>",
    )
    figure.update_layout(
        template=TEMPLATE,
        separators=say.separators,
        height=_HEIGHT,
        margin={"l": 130, "r": 20, "t": 44, "b": 50},
        showlegend=False,
        modebar={"remove": [*_TOOLS, "toImage"]},
    )
    figure.update_xaxes(title_text=f"Contribution of the coming year, {say.settings.currency}")
    figure.update_yaxes(range=[1.6, -0.6])
    return figure


def _show(figure: go.FigureWidget, outlook: Outlook, say: Numbers) -> None:
    spreads = (outlook.held, outlook.total)
    with figure.batch_update():
        trace = figure.data[0]
        trace.x = [each.mean for each in spreads]
        trace.y = list(_NAMES)
        trace.error_x.array = [each.high - each.mean for each in spreads]
        trace.error_x.arrayminus = [each.mean - each.low for each in spreads]
        figure.layout.title.text = html.escape(_finding(outlook, say), quote=False).replace(
            "$", "&#36;"
        )


def _finding(outlook: Outlook, say: Numbers) -> str:
    gain = outlook.difference
    return (
        f"{say.change(gain.mean)} a year ({say.change(gain.low)} to {say.change(gain.high)}) "
        "with the suggested prices"
    )


def _in_html(suggestions: pd.DataFrame, outlook: Outlook, say: Numbers) -> str:
    """What follows in a line, the largest moves in a table; what a person typed is escaped."""
    moved = suggestions[suggestions["verdict"].isin([RAISE, LOWER])]
    gain = moved["expected_gain"].fillna(0.0)
    moved = moved.loc[gain.sort_values(ascending=False, kind="stable").index]
    count = {word: int((moved["verdict"] == word).sum()) for word in (RAISE, LOWER)}
    first = (
        f"Raise {counted(count[RAISE], 'price')}, lower {counted(count[LOWER], 'price')}, of "
        f"{len(suggestions)}. Jobs a year: {say.number(outlook.jobs)} instead of "
        f"{say.number(outlook.held_jobs)}; hours {say.number(outlook.hours)} instead of "
        f"{say.number(outlook.held_hours)}."
    )
    heads = ("Service", "Class", "Price now", "Floor", "Suggested", "Gain a quarter")
    rows = [
        (
            label(row["service"]),
            label(row["vehicle_class"]),
            say.money(row["current_price"]),
            say.money(row["floor_price"]),
            say.money(row["suggested_price"]),
            say.change(row["expected_gain"]),
        )
        for row in moved.head(MOST_ROWS).to_dict("records")
    ]
    table = _table(heads, rows) if rows else ""
    rest = len(moved) - len(rows)
    more = f"<p>And {rest} more.</p>" if rest else ""
    freed = outlook.freed.mean
    on_top = f"If the hours freed are filled: {say.change(freed)} a year more." if freed > 0 else ""
    lines = (on_top, _TARGET_NOTE, *outlook.notes, PRICE_CAUTION)
    notes = "".join(f"<p>{_escaped(each)}</p>" for each in lines if each)
    return f"<p><strong>{_escaped(first)}</strong></p>{table}{more}{notes}"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    side = ["left", "left", "right", "right", "right", "right"]
    head = "".join(
        f'<th style="text-align:{at};padding:0 8px">{each}</th>'
        for each, at in zip(heads, side, strict=True)
    )
    body = "".join(
        "<tr>"
        + "".join(
            f'<td style="text-align:{at};padding:0 8px">{_escaped(each)}</td>'
            for each, at in zip(row, side, strict=True)
        )
        + "</tr>"
        for row in rows
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _escaped(text: str) -> str:
    """Text in which a notebook sees neither markup nor a formula."""
    return html.escape(text).replace("$", "<span>$</span>")
