"""From the frames inside to the tables at the edge: the shop's units, rounding, safe text."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.money import half_away
from analysis.safe_text import csv_cells
from analysis.schema import Column, Kind, Table
from analysis.settings import Settings
from analysis.units import metres_per, square_metres_per

# Decimal places when a table is written.
PLACES: Final = {
    Kind.MONEY: 2,
    Kind.MONEY_PER_HOUR: 2,
    Kind.MONEY_PER_AREA: 6,
    Kind.MONEY_PER_LENGTH: 4,
    Kind.AREA: 6,
    Kind.LENGTH: 6,
    Kind.HOURS: 6,
    Kind.PERCENT: 4,
    Kind.PROBABILITY: 4,
    Kind.NUMBER: 4,
}


def edge_factor(column: Column, settings: Settings) -> float:
    """What an inside value is multiplied by to stand in the shop's units."""
    match column.kind:
        case Kind.LENGTH:
            return 1 / metres_per(settings.length_unit)
        case Kind.AREA:
            return 1 / square_metres_per(settings.area_unit)
        case Kind.MONEY_PER_AREA:
            return square_metres_per(settings.area_unit)
        case Kind.MONEY_PER_LENGTH:
            return metres_per(settings.length_unit)
        case Kind.PERCENT:
            return 100.0
        case _:
            return 1.0


def unit_of(column: Column, settings: Settings) -> str:
    """The unit of a column at the edge, for a heading; empty where there is none."""
    match column.kind:
        case Kind.LENGTH:
            return settings.length_unit
        case Kind.AREA:
            return settings.area_unit
        case Kind.MONEY_PER_AREA:
            return f"{settings.currency} / {settings.area_unit}"
        case Kind.MONEY_PER_LENGTH:
            return f"{settings.currency} / {settings.length_unit}"
        case Kind.MONEY_PER_HOUR:
            return f"{settings.currency} / h"
        case Kind.MONEY:
            return settings.currency
        case Kind.PERCENT:
            return "%"
        case Kind.HOURS:
            return "h"
        case _:
            return ""


def to_edge(frame: pd.DataFrame, table: Table, settings: Settings) -> pd.DataFrame:
    """The table's columns, in order, under their edge names and in the shop's units. Unrounded."""
    columns = {}
    for column in table.columns:
        values = frame[column.inside]
        factor = edge_factor(column, settings)
        columns[column.name] = values * factor if factor != 1.0 else values
    return pd.DataFrame(columns, index=frame.index)


def round_half_away(values: pd.Series, places: int) -> pd.Series:
    """Round half away from zero, as an invoice does; never a minus nought."""
    plain = values.to_numpy(dtype="float64", na_value=np.nan)
    return pd.Series(half_away(plain, places), index=values.index, copy=False)


def rounded(edge: pd.DataFrame, table: Table) -> pd.DataFrame:
    """An edge table with every number rounded to the places of its kind.

    The statement holds money in every line but its percentages.
    """
    if table.name == "shop_result":
        share = edge["line"].str.endswith("_pct")
        money = round_half_away(edge["amount"], PLACES[Kind.MONEY])
        percent = round_half_away(edge["amount"], PLACES[Kind.PERCENT])
        return edge.assign(amount=money.where(~share, percent))
    return edge.assign(
        **{
            column.name: round_half_away(edge[column.name], PLACES[column.kind])
            for column in table.columns
            if column.kind in PLACES
        }
    )


def csv_text(edge: pd.DataFrame, table: Table) -> str:
    """An edge table as the text of a CSV file: rounded, ISO dates, blank for missing, LF."""
    frame = rounded(edge, table)
    columns = {}
    for column in table.columns:
        values = frame[column.name]
        if column.kind in PLACES:
            columns[column.name] = _plain_numbers(values, PLACES[column.kind])
        elif column.kind is Kind.DATE:
            columns[column.name] = values.dt.strftime("%Y-%m-%d")
        elif column.kind is Kind.WHOLE:
            columns[column.name] = values.astype("Int64")
        elif column.kind is Kind.YES_NO:
            columns[column.name] = values.map({True: "yes", False: "no"})
        else:
            columns[column.name] = csv_cells(values)
    text: str = pd.DataFrame(columns).to_csv(index=False, lineterminator="\n")
    return text


def _plain_numbers(values: pd.Series, places: int) -> pd.Series:
    """Numbers as the shortest text that is exact at their places: 12.5, never 12.500000000001."""

    def text(number: float) -> str:
        exact = f"{number:.{places}f}"
        return exact.rstrip("0").rstrip(".") if places else exact

    return values.map(text, na_action="ignore").astype("str")
