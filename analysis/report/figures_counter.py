"""Figures of the counter sale: whether it pays, what one sale leaves, and quarter by quarter."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.counter_tables import COUNTER_BY_QUARTER, COUNTER_SALES_EACH, COUNTER_VERDICTS
from analysis.locale_text import MISSING, counted
from analysis.pricing.counter_verdict import CANNOT_TELL, DOES_NOT, PAYS
from analysis.pricing.counter_verdicts import ALL
from analysis.report.counter_phrases import (
    cents,
    counter_finding,
    ends_of,
    in_order,
    level_ticks,
    row_name,
    verdict_rows,
    with_few_said,
)
from analysis.report.counter_sale_parts import (
    DISPLACED,
    FEE,
    FILM,
    LEFT,
    MADE_OF,
    PRICE,
    STAFF,
    sale_parts,
)
from analysis.report.dots import PLAIN, STRONG, THIN, Line, dots_figure
from analysis.report.grids import (
    Cell,
    Grid,
    Heading,
    RowsInfo,
    few,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.look import (
    INK,
    TOTAL,
    Panel,
    alternative,
    chart_names,
    look_of,
    nothing,
    rows_figure,
    signed_panel,
)
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

MOST_ROWS: Final = 18
MOST_QUARTERS: Final = 12
# The mark of each verdict: its look, and a symbol that reads without colour.
MARKS: Final = {
    PAYS: (PLAIN, "triangle-up"),
    DOES_NOT: (STRONG, "triangle-down"),
    CANNOT_TELL: (PLAIN, "circle"),
}
FEW_MARK: Final = (THIN, "circle-open")
# The tables under the verdicts: caption and columns.
_LEAVES, *_ = _VERDICT_GRIDS = (
    ("What a sale leaves, and whether it pays",
     "group sales told net_each net_low net_high probability_pays verdict margin_each "
     "displaced_each later_each"),
    ("Why, and what would settle it", "group verdict reason"),
    ("How sure the chances are",
     "group answers would_have_booked unsure displaced_pct displaced_low_pct displaced_high_pct "
     "break_even_displaced_pct came_back later_pct later_low_pct later_high_pct unknown "
     "further_answers"),
)  # fmt: skip


@dataclass(frozen=True, eq=False, kw_only=True)
class VerdictsInfo(RowsInfo):
    """What a sale leaves, all of them and by kind, with 90 % intervals [money]; each's verdict."""

    means: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    verdicts: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class SaleInfo(RowsInfo):
    """One sale as steps: each bar goes from `starts` by `steps` [money]; the last is the net."""

    starts: tuple[float, ...] = ()
    steps: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class CounterQuartersInfo(RowsInfo):
    """Expected net of each quarter's sales, the newest first, with 90 % intervals [money]."""

    nets: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


# --- does it pay ---------------------------------------------------------------------------------


def gather_counter_verdicts(review: Review) -> VerdictsInfo:
    """What a sale leaves and whether it pays: over all, by month, film and service."""
    found = slices_of(review, COUNTER_VERDICTS.name)
    title = "Does a counter sale pay?"
    if found.line:
        return VerdictsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = in_order(found.quarter)
    names = [row_name(row) for row in frame.to_dict("records")]
    named = frame.assign(group=names)
    grids = tuple(
        plain_grid(review, found.table, named, tuple(columns.split()), caption=caption)
        for caption, columns in _VERDICT_GRIDS
    )
    grids = (with_few_said(grids[0], _LEAVES[1].split().index("told")), *grids[1:])
    if number(frame, "net_each").isna().all():
        reasons = frame["reason"].dropna()
        line = str(reasons.iloc[0]) if len(reasons) else "What a sale leaves is not known."
        return VerdictsInfo(title=title, line=line, grids=grids)
    shown, names = frame.head(MOST_ROWS), names[:MOST_ROWS]
    texts = [_verdict_text(row, say) for row in shown.to_dict("records")]
    some = "" if len(shown) == len(frame) else f" The first {len(shown)} of {len(frame)} are drawn."
    return VerdictsInfo(
        title=counter_finding(review),
        alternative=alternative("Marks with intervals", "what a counter sale leaves", names, texts),
        grids=grids,
        note="The mark is what a sale such as those of the last twelve months leaves after film, "
        "staff time, the installs that it displaces and those that it brings; the line through it "
        f"is the 90 % interval. Triangle up: pays, with a probability of {say.percent(90)} or "
        f"more; down: does not pay, with {say.percent(10)} or less; full circle: can't tell; open "
        f"circle: rests on few. The chances are learnt from all sales to date.{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.settings.currency,
        separators=say.separators,
        means=tuple(number(shown, "net_each")),
        lows=tuple(number(shown, "net_low")),
        highs=tuple(number(shown, "net_high")),
        verdicts=tuple(label(each) for each in shown["verdict"]),
        texts=tuple(texts),
    )


def draw_counter_verdicts(info: VerdictsInfo) -> go.Figure:
    """A mark at each mean by its verdict, on a line over its interval, around nothing left."""
    if info.line:
        return nothing(info.title, info.line)
    marks = [
        FEW_MARK if thin else MARKS.get(verdict, FEW_MARK)
        for verdict, thin in zip(info.verdicts, info.few, strict=True)
    ]
    fig = dots_figure(
        info.names,
        (info.means, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis=f"What a sale leaves, {info.unit}",
        separators=info.separators,
        few=info.few,
        looks=[look for look, _ in marks],
        lines=(Line(0.0, "nothing left"),),
    )
    values = (*info.means, *info.lows, *info.highs)
    fig.update_xaxes(range=_reach(values), **level_ticks(values))
    # The line stands beside the marks alone, so that no name above them is struck through.
    whole = fig.layout.shapes[0]
    whole.update(yref="y")
    places = range(len(info.names))
    fig.layout.shapes = [go.layout.Shape(whole, y0=at - 0.18, y1=at + 0.3) for at in places]
    symbols = [symbol for _, symbol in marks]
    return fig.update_traces(marker_symbol=symbols, selector={"mode": "markers"})


def _reach(values: Sequence[float]) -> list[float]:
    """Ends of the axis: every value and nothing left, with room for its word."""
    ends = [0.0, *(each for each in values if not np.isnan(each))]
    room = 0.1 * (max(ends) - min(ends)) or 1.0
    return [min(ends) - room, max(ends) + room]


def _verdict_text(row: dict[Any, Any], say: Numbers) -> str:
    """`$23 ($9 to $38): pays`."""
    net, verdict = say.money(row["net_each"]), label(row["verdict"])
    return verdict if net == MISSING else f"{net}{ends_of(row, say)}: {verdict}"


# --- what one sale leaves ------------------------------------------------------------------------

# What may take most, in the words of a title.
_TAKES: Final = {STAFF: "staff time", DISPLACED: "displaced installs", FEE: "the card fee"}


def gather_counter_sale(review: Review) -> SaleInfo:
    """One sale of the twelve months on the mean: what it brings, what goes off, what is left."""
    found = slices_of(review, COUNTER_SALES_EACH.name)
    title = "What one counter sale leaves"
    if found.line:
        return SaleInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    first, last = review.quarter.year_first_day, review.quarter.last_day
    year = found.quarter[found.quarter["sold_on"].between(first, last)]
    told = year[number(year, "expected_net").notna()]
    if told.empty:
        return SaleInfo(title=title, line=_none_told(len(year)))
    parts = sale_parts(told)
    names, steps = list(parts), list(parts.values())
    places = cents(review, parts[PRICE])
    texts = [say.change(step, places) for step in steps]
    texts[0], texts[-1] = say.money(steps[0], places), say.money(steps[-1], places)
    ends = list(accumulate(steps[:-1]))
    return SaleInfo(
        title=_sale_title(parts, say),
        alternative=alternative(
            "Bar chart in steps from the price to what is left", say.settings.currency, names, texts
        ),
        grids=(_sale_grid(names, [say.number(step, places) for step in steps], say),),
        note=_sale_note(review, year, told, say),
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.settings.currency,
        separators=say.separators,
        starts=(0.0, *ends[:-1], 0.0),
        steps=tuple(steps),
        texts=tuple(texts),
    )


def draw_counter_sale(info: SaleInfo) -> go.Figure:
    """Bars in steps from the price to what is left: each starts where the one above it ended."""
    if info.line:
        return nothing(info.title, info.line)
    last = len(info.steps) - 1
    looks = [
        TOTAL if at in (0, last) else look_of(step, False) for at, step in enumerate(info.steps)
    ]
    panel = Panel(info.steps, info.texts, looks, f"{info.unit} a sale", starts=info.starts)
    names = chart_names(info.names, info.few)
    fig = rows_figure(names, [panel], title=info.title, separators=info.separators)
    return fig.update_xaxes(**level_ticks(info.steps))


def _none_told(sales: int) -> str:
    if not sales:
        return "No film was sold over the counter in the twelve months."
    return (
        f"Of {counted(sales, 'sale')} of the twelve months not one has every amount known. The "
        "table of the sales shows what is missing."
    )


def _sale_title(parts: dict[str, float], say: Numbers) -> str:
    film = sum(parts.get(each, 0.0) for each in FILM)
    costs = {"film": film} | {word: parts.get(part, 0.0) for part, word in _TAKES.items()}
    most = min(costs, key=lambda each: costs[each])
    start = f"A counter sale of {say.money(parts[PRICE])} net of tax leaves"
    taken = f"; {most} takes most ({say.money(-costs[most])})" if costs[most] < 0 else ""
    return f"{start} {say.money(parts[LEFT])}{taken}".replace("installs takes", "installs take")


def _sale_grid(names: Sequence[str], texts: Sequence[str], say: Numbers) -> Grid:
    headings = (
        Heading("Part", is_number=False),
        Heading("A sale", say.settings.currency),
        Heading("How it is made", is_number=False),
    )
    made = [
        " ".join(COUNTER_SALES_EACH.column(each).sentence for each in MADE_OF[name])
        for name in names
    ]
    rows = tuple(tuple(map(Cell, row)) for row in zip(names, texts, made, strict=True))
    return Grid("One sale, part by part", 1, (), headings, rows)


def _sale_note(review: Review, year: pd.DataFrame, told: pd.DataFrame, say: Numbers) -> str:
    notes = [
        f"The mean of the {counted(len(told), 'sale')} of the twelve months"
        f"{' of which every amount is known' if len(told) < len(year) else ''}. Plain bars add, "
        "striped ones take away. Overhead is not in it: it is there with the sale or without.",
    ]
    split = number(told, "side_loss_cost").isna() | number(told, "spoiled_cost").isna()
    if split.any():
        notes.append(
            f"Of {counted(int(split.sum()), 'sale')} it is not known what of the film was lost: it "
            "stands in the film cut and sold."
        )
    whole = verdict_rows(review).get((ALL, ""))
    net = float(number(told, "expected_net").mean())
    if whole is not None and abs(whole["net_each"] - net) > max(0.5, 0.02 * abs(net)):
        notes.append(
            f"The verdict says {say.money(whole['net_each'])} a sale: it is the mean over all that "
            "is not sure, and this is with every chance at its mean."
        )
    return " ".join(notes)


# --- quarter by quarter --------------------------------------------------------------------------


def gather_counter_quarters(review: Review) -> CounterQuartersInfo:
    """What the sales of each fiscal quarter are expected to have left, the newest first."""
    found = slices_of(review, COUNTER_BY_QUARTER.name)
    title = COUNTER_BY_QUARTER.title
    if found.line:
        return CounterQuartersInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    fewest = review.settings.pricing.fewest_jobs
    frame = found.quarter.sort_values("quarter", ascending=False, kind="stable", ignore_index=True)
    # A quarter without a sale rests on nothing that could change.
    enough = (number(frame, "told") >= fewest) | (number(frame, "sales") == 0)
    frame = frame.assign(enough=enough.astype("boolean"))
    columns = found.table.names
    grid = plain_grid(review, found.table, frame, columns, caption=title)
    grid = with_few_said(grid, columns.index("told"))
    if number(frame, "expected_net").isna().all():
        line = "In no quarter every amount of a sale is known."
        return CounterQuartersInfo(title=title, line=line, grids=(grid,))
    shown = frame.head(MOST_QUARTERS)
    names = [_quarter_name(row, say) for row in shown.to_dict("records")]
    texts = [_quarter_text(row, say) for row in shown.to_dict("records")]
    some = f" The newest {len(shown)} are drawn." if len(shown) < len(frame) else ""
    return CounterQuartersInfo(
        title=_quarters_title(review, frame, say),
        alternative=alternative("Bars", "what counter sales left by quarter", names, texts),
        grids=(grid,),
        note="The bar is what the sales of the quarter are expected to have left, displaced and "
        "later installs at their chances; the line at its end is the 90 % interval. Sales of which "
        f"an amount is not known are in the count alone.{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.settings.currency,
        separators=say.separators,
        nets=tuple(number(shown, "expected_net")),
        lows=tuple(number(shown, "net_low")),
        highs=tuple(number(shown, "net_high")),
        texts=tuple(texts),
    )


def draw_counter_quarters(info: CounterQuartersInfo) -> go.Figure:
    """A bar a quarter, with a line over its interval."""
    if info.line:
        return nothing(info.title, info.line)
    panel = signed_panel(info.nets, info.texts, info.few, f"{info.unit} a quarter")
    names = chart_names(info.names, info.few)
    fig = rows_figure(names, [panel], title=info.title, separators=info.separators)
    ends = zip(info.lows, info.highs, strict=True)
    fig.add_scatter(
        x=[each for low, high in ends for each in (low, high, None)],
        y=[each for at in range(len(names)) for each in (at, at, None)],
        mode="lines+markers",
        line={"color": INK, "width": 1.5},
        marker={"symbol": "line-ns", "size": 8, "line": {"color": INK, "width": 1.5}},
        cliponaxis=False,
        hoverinfo="skip",
    )
    fig.update_xaxes(zeroline=True, **level_ticks(info.highs))
    return fig.update_layout(showlegend=False)


def _quarter_name(row: dict[Any, Any], say: Numbers) -> str:
    """`2026Q3, 14 sales`; how many of them are known, where not all are."""
    told = "" if row["told"] == row["sales"] else f"{say.number(row['told'])} of "
    return f"{label(row['quarter'])}, {told}{counted(row['sales'], 'sale')}"


def _quarter_text(row: dict[Any, Any], say: Numbers) -> str:
    """`$420 ($150 to $690)`."""
    net = say.money(row["expected_net"])
    return "not known" if net == MISSING else f"{net}{ends_of(row, say)}" if row["sales"] else net


def _quarters_title(review: Review, frame: pd.DataFrame, say: Numbers) -> str:
    """What the quarter's sales left, and those of the newest quarter before it with any."""
    sold = frame[number(frame, "sales") > 0]
    now = review.quarter.label
    told = [(str(row["quarter"]), _told(row, say)) for row in sold.head(2).to_dict("records")]
    if told and told[0][0] == now:
        start, whose, before = f"Counter sales of {now} left {told[0][1]}", "those", told[1:]
    else:
        start, whose = f"No film was sold over the counter in {now}", "the sales"
        before = told[:1]
    return start + "".join(f"; {whose} of {quarter} left {words}" for quarter, words in before)


def _told(row: dict[Any, Any], say: Numbers) -> str:
    net = say.money(row["expected_net"])
    left = "an amount that is not known" if net == MISSING else f"{net}{ends_of(row, say)}"
    return f"{left} from {counted(row['sales'] if net == MISSING else row['told'], 'sale')}"
