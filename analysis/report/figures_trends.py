"""The figure about how fast film gets dearer, film by film and supplier by supplier."""

from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.findings.film_trends import FEW
from analysis.locale_text import counted
from analysis.report.dots import PLAIN, STRONG, Line, dots_figure
from analysis.report.grids import Grid, RowsInfo, few, number, plain_grid, slices_of
from analysis.report.look import alternative, nothing
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

MOST_ROWS: Final = 12


@dataclass(frozen=True, eq=False, kw_only=True)
class TrendsInfo(RowsInfo):
    """Rise of the landed cost a year by film and supplier, with 90 % intervals [percent].

    `dearer` : whether the rise is more than chance.
    """

    rises: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    dearer: tuple[bool, ...] = ()
    patterns: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()


def gather_trends(review: Review) -> TrendsInfo:
    """The rise a year of each film and supplier, the fastest that is sure first."""
    found = slices_of(review, "film_price_trends")
    title = "How fast film gets dearer"
    if found.line:
        return TrendsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = _ordered(found.quarter)
    trends = plain_grid(review, found.table, frame, found.table.names, caption=title, names=2)
    grids = (trends, *_step_grids(review))
    known = frame[number(frame, "rise_pct").notna()]
    if known.empty:
        line = "No film was bought often enough from one supplier to tell how its price moves."
        return TrendsInfo(title=title, line=line, grids=grids)
    shown = known.head(MOST_ROWS)
    names = [
        f"{label(film)}, {label(supplier)}"
        for film, supplier in zip(shown["film"], shown["supplier"], strict=True)
    ]
    texts = [_text(row, say) for _, row in shown.iterrows()]
    some = "" if len(shown) == len(known) else f" The chart shows {MOST_ROWS} of {len(known)}."
    return TrendsInfo(
        title=_title(known, say),
        alternative=alternative(
            "Dots with intervals", "rise of landed cost a year by film and supplier", names, texts
        ),
        grids=grids,
        note="From all purchases to date. The dot is the rise a year by a straight line through "
        "the logarithms, its line the 90 % interval; a diamond marks what gets dearer "
        "beyond chance, over all purchases and not the last twelve months. "
        "In steps: the price stood still between the steps, which have a table of their own; the "
        f"line goes through them.{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit="%",
        separators=say.separators,
        rises=tuple(number(shown, "rise_pct")),
        lows=tuple(number(shown, "low_pct")),
        highs=tuple(number(shown, "high_pct")),
        dearer=tuple(shown["dearer"]),
        patterns=tuple(label(each) for each in shown["pattern"]),
        texts=tuple(texts),
    )


def draw_trends(info: TrendsInfo) -> go.Figure:
    """A dot each film and supplier on its interval; a diamond where it is sure to get dearer."""
    if info.line:
        return nothing(info.title, info.line)
    return dots_figure(
        info.names,
        (info.rises, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis="Rise of the landed cost a year, %",
        separators=info.separators,
        few=info.few,
        looks=[STRONG if each else PLAIN for each in info.dearer],
        lines=(Line(0.0, "no rise"),),
    )


def _ordered(frame: pd.DataFrame) -> pd.DataFrame:
    """What is sure to get dearer first, then the others, by their rise; too few purchases last."""
    enough = frame["pattern"] != FEW
    dearer = enough & (number(frame, "low_pct") > 0)
    frame = frame.assign(enough=enough.astype("boolean"), dearer=dearer.astype(bool))
    order = pd.DataFrame(
        {"few": ~enough, "unsure": ~dearer, "rise": -number(frame, "rise_pct")}
    ).sort_values(["few", "unsure", "rise"], kind="stable", na_position="last")
    return frame.loc[order.index].reset_index(drop=True)


def _text(row: pd.Series, say: Numbers) -> str:
    steps = row["steps"]
    stepped = f", {counted(steps, 'step')}" if not pd.isna(steps) and steps > 0 else ""
    return f"{label(row['pattern'])}: {_rise(row, say)}{stepped}"


def _rise(row: pd.Series, say: Numbers) -> str:
    """`+9.5% a year (8.0% to 11.0%)`: of many purchases the ends lie close."""
    told = f"{say.percent_change(row['rise_pct'], 1)} a year"
    low, high = row["low_pct"], row["high_pct"]
    if pd.isna(low) or pd.isna(high):
        return told
    return f"{told} ({say.percent(low, 1)} to {say.percent(high, 1)})"


def _title(shown: pd.DataFrame, say: Numbers) -> str:
    dearer = int(shown["dearer"].sum())
    if not dearer:
        return "No film has got dearer beyond chance"
    row = shown.iloc[0]
    rest = f"; {dearer - 1} more {'rises' if dearer == 2 else 'rise'} too" if dearer > 1 else ""
    return (
        f"{label(row['film'])} from {label(row['supplier'])} gets dearer fastest: "
        f"{_rise(row, say)}{rest}"
    )


def _step_grids(review: Review) -> tuple[Grid, ...]:
    """The stretches of the prices that stepped; a price of one stretch says nothing more."""
    found = slices_of(review, "film_price_steps")
    if found.line:
        return ()
    frame = found.quarter
    stretches = frame.groupby(["film", "supplier"], dropna=False)["from_on"].transform("size")
    stepped = frame[stretches > 1]
    if stepped.empty:
        return ()
    caption = "When the price of film stepped"
    columns = found.table.names
    return (plain_grid(review, found.table, stepped, columns, caption=caption, names=2),)
