"""The figure about the coming year: what it may bring at today's prices and at those suggested."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.pricing.price_review import DIFFERENCE, FREED, SUGGESTED, TODAY
from analysis.report.dots import PLAIN, STRONG, dots_figure
from analysis.report.grids import RowsInfo, number, plain_grid, slices_of
from analysis.report.look import alternative, nothing
from analysis.report.numbers import Numbers
from analysis.report.results import Review

_COLUMNS = ("prices", "contribution", "low", "high", "jobs", "hours", "probability_gains")
# Wages under this are not worth a sentence. [money]
_LEAST_WAGES = 1.0
_NAMES = {TODAY: "With today's prices", SUGGESTED: "With the suggested prices"}


@dataclass(frozen=True, eq=False, kw_only=True)
class OutlookInfo(RowsInfo):
    """Contribution of the coming year at two lists of prices, with 90 % intervals [money]."""

    means: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


def gather_outlook(review: Review) -> OutlookInfo:
    """The coming year at today's prices and at those suggested."""
    found = slices_of(review, "price_outlook")
    title = "What the coming year may bring"
    if found.line:
        return OutlookInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    grid = plain_grid(review, found.table, found.quarter, _COLUMNS, caption=title)
    shown = found.quarter[found.quarter["prices"].isin(_NAMES)]
    names = [_NAMES[str(each)] for each in shown["prices"]]
    means, lows, highs = (number(shown, each) for each in ("contribution", "low", "high"))
    texts = [
        f"{say.money(mean)} ({say.money(low)} to {say.money(high)})"
        for mean, low, high in zip(means, lows, highs, strict=True)
    ]
    notes = found.quarter["note"].dropna().unique()
    return OutlookInfo(
        title=outlook_finding(found.quarter, say),
        alternative=alternative("Dot chart with intervals", "contribution a year", names, texts),
        grids=(grid,),
        note="A thousand years by chance, with enquiries as in the last four quarters: how many "
        "are won, how long the jobs take, what film costs. The line holds nine years of ten; most "
        "of it is the luck of a year, which is the same at either price. Customers are taken to "
        "answer as in past quotes. Overheads are not taken off. "
        f"{' '.join([wages_sentence(review, say), *map(str, notes)])}".strip(),
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.settings.currency,
        separators=say.separators,
        means=tuple(means),
        lows=tuple(lows),
        highs=tuple(highs),
        texts=tuple(texts),
    )


def wages_freed(review: Review) -> float:
    """Wages of the hours that the suggested prices leave without work, in the coming year. [money]

    They are gained only where those hours are not paid, or other work fills them; 0 where none are
    left, NaN where it is not known.
    """
    found, basis = slices_of(review, "price_outlook"), slices_of(review, "price_basis")
    if found.line or basis.line:
        return np.nan
    frame = found.quarter
    hours = number(frame[frame["prices"] == DIFFERENCE], "hours").sum(min_count=1)
    rate = number(basis.quarter, "labour_rate").mean()
    return float(max(-hours, 0.0) * rate) if not np.isnan(hours) else np.nan


def wages_sentence(review: Review, say: Numbers) -> str:
    """How much of the year's gain is wages, or nothing where that is little or not known."""
    wages = wages_freed(review)
    if not wages >= _LEAST_WAGES:
        return ""
    frame = slices_of(review, "price_outlook").quarter
    gain = number(frame[frame["prices"] == DIFFERENCE], "contribution").iloc[0]
    return (
        f"Of the {say.money(gain)} a year about {say.money(wages)} is wages of hours left without "
        "work: gained only where they are not paid, or other work fills them."
    )


def outlook_finding(frame: pd.DataFrame, say: Numbers) -> str:
    """What the suggestions are expected to bring in a year, without a full stop."""
    row = frame[frame["prices"] == DIFFERENCE].iloc[0]
    if not row["contribution"]:
        return "The coming year with today's prices: none is to be changed"
    low, high = say.change(row["low"]), say.change(row["high"])
    return (
        f"The suggested prices are expected to bring {say.change(row['contribution'])} a year "
        f"({low} to {high}){_freed(frame, say)}"
    )


def _freed(frame: pd.DataFrame, say: Numbers) -> str:
    """What comes on top where the hours that fewer jobs leave are filled."""
    freed = frame.loc[frame["prices"] == FREED, "contribution"]
    if freed.empty or not freed.iloc[0] > 0:
        return ""
    return f", and {say.money(freed.iloc[0])} more if the hours freed are filled"


def draw_outlook(info: OutlookInfo) -> go.Figure:
    """A dot at each mean, on a line over nine years of ten."""
    if info.line:
        return nothing(info.title, info.line)
    return dots_figure(
        info.names,
        (info.means, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis=f"Contribution of the coming year, {info.unit}",
        separators=info.separators,
        few=info.few,
        looks=[PLAIN, STRONG],
    )
