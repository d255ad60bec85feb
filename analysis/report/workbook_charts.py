"""The native charts of the workbook: one for a sheet where a picture is read faster than rows.

A chart refers to the cells of the sheet's table, so it follows when a figure is changed or rows are
filtered. Series differ in lightness or in the shape of their points, not in colour alone.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd
from openpyxl.chart import BarChart, Reference, ScatterChart, Series
from openpyxl.chart.axis import ChartLines
from openpyxl.chart.data_source import AxDataSource, MultiLevelStrRef
from openpyxl.chart.label import DataLabelList
from openpyxl.chart.shapes import GraphicalProperties
from openpyxl.drawing.line import LineProperties
from openpyxl.worksheet.worksheet import Worksheet

from analysis.glossary import heading
from analysis.report.workbook_cells import DATE_FORMAT
from analysis.schema import Table

# More bars or lines than this cannot be told apart.
MOST_BARS: Final = 20
MOST_LINES: Final = 6
MOST_MODELS: Final = 12
# Colours that colour-blind readers tell apart (Okabe and Ito 2008, "Color universal design"), in an
# order in which neighbours differ in lightness.
_COLOURS: Final = ("0072B2", "F0E442", "D55E00", "56B4E9", "000000", "CC79A7", "009E73")
_SHADES: Final = ("BBD3E8", "5B94C5", "123F66")
_POINTS: Final = ("circle", "square", "triangle", "diamond", "x", "plus")
_OUTLINE: Final = "404040"
_WIDTH_CM: Final = 24

_MARGINS = ("material_margin", "contribution", "full_margin")
_WASTE_MEASURED = ("side_loss_area", "handling_margin_area")
_WASTE_TOGETHER = ("side_and_handling_area",)
_WASTE_REST = ("opening_area", "recut_area", "damage_area", "test_area", "end_of_roll_area")
_BARS: Final[Mapping[str, str]] = {
    "margin_by_service": "margin",
    "margin_by_class": "margin",
    "margin_by_film": "margin",
    "hours_by_service": "overrun",
    "hours_by_class": "overrun",
    "quote_calibration": "loss",
    "counter_verdicts": "left",
    "counter_by_quarter": "left",
    "waste_by_class": "waste",
    "waste_by_service": "waste",
    "waste_by_film": "waste",
    "waste_by_panel": "waste",
    "waste_by_width": "waste",
}


# What names the bars of a table about the counter sale, what they are, and the chart's title.
_LEFT: Final[Mapping[str, tuple[str, str, str]]] = {
    "counter_verdicts": ("group", "net_each", "What a counter sale leaves, year to"),
    "counter_by_quarter": ("quarter", "expected_net", "What counter sales left, up to"),
}


@dataclass(frozen=True)
class Place:
    """Where the rows of the quarter stand on a sheet. Numbers are those of the sheet, from 1."""

    sheet: Worksheet
    first_row: int
    rows: int
    columns: Mapping[str, int]
    units: Mapping[str, str]
    period: str

    def cells(self, name: str, start: int = 0, rows: int | None = None) -> Reference:
        """The cells of one column."""
        first = self.first_row + start
        last = first + (self.rows if rows is None else rows) - 1
        column = self.columns[name]
        return Reference(self.sheet, min_col=column, min_row=first, max_row=last)


def chart_for(table: Table, edge: pd.DataFrame, place: Place) -> BarChart | ScatterChart | None:
    """The chart of a table, or None where none helps: no rows, or more than can be told apart."""
    if place.rows == 0:
        return None
    if table.name == "film_prices":
        return _price_lines(edge, place)
    if table.name == "hours_by_model":
        return _pooled_bars(table, edge, place)
    if table.name not in _BARS or place.rows > MOST_BARS:
        return None
    key = table.columns[0].name
    match _BARS[table.name]:
        case "margin":
            return _bars(table, place, key, _MARGINS, _SHADES, "What is left of the revenue")
        case "overrun":
            chart = _bars(table, place, key, ("overrun_pct",), _SHADES[1:], "Hours over the quote")
            return _labelled(chart)
        case "loss":
            chart = _bars(table, place, key, ("pinball_loss",), _SHADES[1:], "Hours lost a quote")
            chart.title, chart.y_axis.number_format = (
                "Hours lost a quote, by way of quoting (h)",
                "0.0",
            )
            return _labelled(chart)
        case "left":
            key, name, title = _LEFT[table.name]
            chart = _bars(table, place, key, (name,), _SHADES[1:], title)
            chart.title = f"{title} {place.period} ({place.units[name]})"
            return _labelled(chart)
        case _:
            measured = edge[list(_WASTE_MEASURED)].notna().all(axis=None)
            parts = (_WASTE_MEASURED if measured else _WASTE_TOGETHER) + _WASTE_REST
            chart = _bars(table, place, key, parts, _COLOURS, "Film lost, by cause")
            chart.grouping, chart.overlap = "stacked", 100
            return chart


def _labelled(chart: BarChart) -> BarChart:
    """One series, each bar with its value."""
    chart.legend = None
    chart.dataLabels = DataLabelList(
        showVal=True, showSerName=False, showCatName=False, showLegendKey=False
    )
    return chart


def _pooled_bars(table: Table, edge: pd.DataFrame, place: Place) -> BarChart | None:
    """Pooled overruns of the models likeliest to run over: the first rows of the sheet."""
    rows = min(int(edge["pooled_overrun_pct"].notna().sum()), MOST_MODELS)
    if not rows:
        return None
    first = replace(place, rows=rows)
    chart = _bars(table, first, "make", ("pooled_overrun_pct",), _SHADES[1:], "")
    chart.title = (
        f"Expected overrun of the likeliest models, from all jobs to the end of {place.period} (%)"
    )
    names = Reference(
        place.sheet,
        min_col=place.columns["make"],
        max_col=place.columns["model"],
        min_row=place.first_row,
        max_row=place.first_row + rows - 1,
    )
    several = AxDataSource(multiLvlStrRef=MultiLevelStrRef(f=str(names)))
    for series in chart.series:
        series.cat = several
    chart.x_axis.noMultiLvlLbl = False
    # The make stands upright beside its model, and wants the height.
    chart.height = 4 + round(1.35 * rows)
    return _labelled(chart)


def _bars(
    table: Table,
    place: Place,
    key: str,
    names: Sequence[str],
    colours: Sequence[str],
    title: str,
) -> BarChart:
    """Lying bars, the first row on top; names stay left of negative bars."""
    chart = BarChart()
    chart.type, chart.grouping, chart.gapWidth = "bar", "clustered", 60
    for name, colour in zip(names, colours, strict=False):
        series = Series(place.cells(name), title=heading(table.column(name), table.name))
        series.graphicalProperties.solidFill = colour
        series.graphicalProperties.line.solidFill = _OUTLINE
        series.invertIfNegative = False
        chart.series.append(series)
    chart.set_categories(place.cells(key))
    chart.title = f"{title}, {place.period} ({place.units[names[0]]})"
    chart.x_axis.scaling.orientation = "maxMin"
    chart.x_axis.tickLblPos = "low"
    chart.y_axis.crosses = "max"
    chart.y_axis.number_format = "#,##0"
    bars = place.rows * (1 if len(names) == 1 or len(names) > len(_MARGINS) else len(names))
    _finish(chart, 5.0 + 0.55 * bars + 0.25 * place.rows)
    return chart


def _price_lines(edge: pd.DataFrame, place: Place) -> ScatterChart | None:
    """A line a film and supplier over time: those bought most often, at least twice."""
    keys = edge[["film", "supplier"]].fillna("")
    start = keys.ne(keys.shift()).any(axis=1)
    runs = edge.assign(at=range(len(edge)), run=start.cumsum()).groupby("run")["at"]
    spans = runs.agg(["min", "size"])
    spans = spans[spans["size"] > 1].sort_values("size", ascending=False, kind="stable")
    chosen = spans.head(MOST_LINES).sort_values("min")
    if chosen.empty:
        return None
    chart = ScatterChart()
    chart.style, chart.scatterStyle = 13, "lineMarker"
    for (first, rows), colour, point in zip(
        chosen.itertuples(index=False), _COLOURS, _POINTS, strict=False
    ):
        film, supplier = keys.iloc[first]
        series = Series(
            place.cells("landed_cost_per_area", first, rows),
            place.cells("received_on", first, rows),
            title=f"{film}, {supplier}" if supplier else str(film),
        )
        series.graphicalProperties.line.solidFill = colour
        series.graphicalProperties.line.width = 19_050  # 1.5 points, in English metric units
        series.marker.symbol, series.marker.size = point, 7
        series.marker.graphicalProperties.solidFill = colour
        series.marker.graphicalProperties.line.solidFill = _OUTLINE
        series.smooth = False
        chart.series.append(series)
    left_out = len(spans) - len(chosen)
    which = "the films bought most often" if left_out else "films bought more than once"
    chart.title = f"What film costs: {which} ({place.units['landed_cost_per_area']})"
    chart.x_axis.number_format = DATE_FORMAT
    chart.y_axis.number_format = "#,##0.00"
    _finish(chart, 11.0)
    return chart


def _finish(chart: BarChart | ScatterChart, height_cm: float) -> None:
    """Size, place of title and legend, and axes that stay in sight."""
    chart.width, chart.height = _WIDTH_CM, round(height_cm)
    if chart.title is not None:
        chart.title.overlay = False
    if chart.legend is not None:
        chart.legend.position = "b"
    chart.y_axis.majorGridlines = ChartLines(
        spPr=GraphicalProperties(ln=LineProperties(solidFill="D9D9D9"))
    )
    # Axes that are not named as kept are hidden by newer spreadsheet programs.
    chart.x_axis.delete = chart.y_axis.delete = False
