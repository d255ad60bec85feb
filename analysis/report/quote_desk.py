"""The quote of the next job with its choices beside it, for a notebook: move one, see the hours."""

import html
import math
from collections.abc import Iterable
from typing import Any, Final

import ipywidgets as widgets  # type: ignore[import-untyped]
import plotly.graph_objects as go

from analysis.errors import WorkbookError
from analysis.pricing.quote import Quote, Quoter, next_quote
from analysis.report.cautions import STAFF_CAUTION
from analysis.report.look import BLUE, INK, TEMPLATE, VERMILION
from analysis.report.numbers import Numbers, label, typed
from analysis.report.quote_text import (
    in_words,
    price_words,
    quoted_hours,
    surcharge_words,
    usual_words,
)

ANYONE: Final = "anyone"
AS_RECORDED: Final = "as in the records"
# What a dropdown holds for no choice: it shows no label for None.
_NOTHING: Final = ""
OTHER_MODEL: Final = ("another make", "or model")
_LEAST, _MOST, _STEP = 50.0, 95.0, 1.0
_HEIGHT: Final = 330
_TOOLS: Final = (
    "zoom",
    "pan",
    "select",
    "lasso",
    "zoomIn",
    "zoomOut",
    "autoScale",
    "resetScale",
    "toImage",
)
# Positions of the figure's traces.
_CURVE, _MARK = 0, 1


def quote_desk(quoter: Quoter) -> widgets.VBox:
    """Choices of the job, the distribution of its hours, and the quote in words.

    Its children are the dropdowns Service, Vehicle, Class and Installer, the slider How safe, the
    figure and the text. Each change quotes anew from what `quoter` learnt.
    """
    names = quoter.names
    vehicles = {
        label(f"{make} {model}"): (make, model)
        for make, model in zip(names.vehicles["make"], names.vehicles["model"], strict=True)
    }
    service = _dropdown("Service", _named(sorted(names.services)))
    vehicle = _dropdown(
        "Vehicle",
        [*sorted(vehicles.items()), (" ".join(OTHER_MODEL), OTHER_MODEL)],
    )
    size = _dropdown("Class", [(AS_RECORDED, _NOTHING), *_named(names.classes)])
    who = _dropdown("Installer", [(ANYONE, _NOTHING), *_named(names.people)])
    slider = widgets.FloatSlider(
        description="How safe, %",
        min=_LEAST,
        max=_MOST,
        step=_STEP,
        value=min(max(100 * quoter.records.settings.quoting.confidence, _LEAST), _MOST),
        readout_format=".0f",
        continuous_update=False,
        layout=widgets.Layout(width="420px"),
        style={"description_width": "100px"},
    )
    figure, text = _empty_figure(quoter), widgets.HTML()

    def renew(_: Any = None) -> None:
        make, model = vehicle.value
        try:
            quote = next_quote(
                quoter,
                service.value,
                make,
                model,
                vehicle_class=size.value or None,
                installer=who.value or None,
                confidence=slider.value / 100,
            )
        except WorkbookError as error:
            text.value = f"<p>{html.escape(str(error))}</p>"
            return
        _show(figure, quote)
        text.value = _in_html(quote, Numbers(quoter.records.settings))

    for each in (service, vehicle, size, who, slider):
        each.observe(renew, names="value")
    renew()
    return widgets.VBox([service, vehicle, size, who, slider, figure, text])


def _named(values: Iterable[str]) -> list[tuple[str, str]]:
    return [(typed(each), each) for each in values]


def _dropdown(name: str, options: list[tuple[str, Any]]) -> widgets.Dropdown:
    return widgets.Dropdown(description=name, options=options)


def _empty_figure(quoter: Quoter) -> go.FigureWidget:
    figure = go.FigureWidget()
    figure.add_scatter(
        x=[],
        y=[],
        mode="lines",
        line={"color": BLUE, "width": 3},
        hovertemplate="%{y:.0f} % of such jobs finish inside %{x:.2f} h<extra></extra>",
    )
    figure.add_scatter(
        x=[],
        y=[],
        mode="markers",
        marker={
            "size": 14,
            "symbol": "diamond",
            "color": VERMILION,
            "line": {"color": INK, "width": 1},
        },
        hovertemplate="quote %{x:.2f} h for %{y:.0f} %<extra></extra>",
    )
    figure.update_layout(
        template=TEMPLATE,
        separators=Numbers(quoter.records.settings).separators,
        height=_HEIGHT,
        margin={"l": 60, "r": 10, "t": 40, "b": 50},
        showlegend=False,
        # The title needs the room; the curve is read, not explored.
        modebar={"remove": list(_TOOLS)},
    )
    figure.update_xaxes(title_text="Hours", rangemode="tozero")
    figure.update_yaxes(title_text="Such jobs finished inside, %", range=[0, 100])
    return figure


def _show(figure: go.FigureWidget, quote: Quote) -> None:
    """The curve of the job, and the mark at the confidence."""
    hours = quote.hours
    asked = quote.asked
    vehicle = label(f"{asked.vehicle.make} {asked.vehicle.model}")
    with figure.batch_update():
        figure.data[_CURVE].x = hours.grid["hours"].tolist()
        figure.data[_CURVE].y = (100 * hours.grid["share"]).tolist()
        figure.data[_MARK].x = [hours.quantile]
        figure.data[_MARK].y = [100 * hours.confidence]
        figure.layout.title.text = html.escape(
            f"Hours of the next {asked.service} on {vehicle}", quote=False
        )


def _in_html(quote: Quote, say: Numbers) -> str:
    """The quote in a few lines, the hours first; what a person typed is escaped."""
    hours = quote.hours
    floor, listed = say.money(quote.floor.price), say.money(quote.at_list.price)
    more = f", and {surcharge_words(quote, say)}" if quote.surcharge.amount > 0 else ""
    price = f"Price at the floor {floor}, by the list {listed}{more}."
    if math.isnan(quote.at_list.price):
        price = f"Price: {price_words(quote, say)}"
    lines = [
        *(typed(each.line) for each in quote.asked.questions),
        f"Expected {say.hours(hours.mean)}; half take less than {say.hours(hours.median)}, one in "
        f"twenty over {say.hours(hours.high)}. {usual_words(quote, say)}.",
        price,
        *(typed(each) for each in quote.notes),
        *((STAFF_CAUTION,) if quote.asked.installer is not None else ()),
    ]
    first = (
        f"Quote {say.hours(quoted_hours(hours.quantile), 2)}: {in_words(hours.confidence)} such "
        "jobs finish inside it."
    )
    rest = "".join(f"<p>{html.escape(each)}</p>" for each in lines)
    return f"<p><strong>{html.escape(first)}</strong></p>{rest}"
