"""Figures about money: the quarter's statement, and what each service, class and film leaves."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.glossary import statement_line
from analysis.locale_text import counted
from analysis.report.grids import (
    ABSENT,
    Cell,
    Grid,
    Heading,
    Part,
    RowsInfo,
    Slices,
    few,
    labels_of,
    number,
    side_by_side,
    slices_of,
    year_name,
)
from analysis.report.look import (
    TOTAL,
    Panel,
    alternative,
    chart_names,
    look_of,
    nothing,
    rows_figure,
    signed_panel,
)
from analysis.report.numbers import Numbers, typed
from analysis.report.results import Review

# Lines of the statement that stand for all above them; the others are steps to the next.
TOTALS: Final = ("net_revenue", "contribution", "full_margin_of_jobs", "result")
_ADDED: Final = ("counter_sales",)
UTILISATION: Final = "utilisation_pct"
UNUSED_WAGES: Final = "wages_of_unused_hours"
BREAK_EVEN: Final = "break_even_revenue"
SAFETY: Final = "margin_of_safety_pct"
# Lines under the result that are in no sum.
_BESIDE: Final = (
    "work_on_cancelled_jobs",
    UNUSED_WAGES,
    "consumables_not_charged",
    BREAK_EVEN,
    SAFETY,
    UTILISATION,
)
MOST_ROWS: Final = 12
_MARGIN_COLUMNS: Final = (
    "jobs",
    "net_revenue",
    "contribution",
    "full_margin",
    "full_margin_pct",
)
_COST_COLUMNS: Final = (
    "jobs",
    "net_revenue",
    "film_cost",
    "consumables_cost",
    "material_margin",
    "labour_cost",
    "contribution",
    "overhead_cost",
    "redo_cost",
    "full_margin",
)
_GROUPS: Final = {
    "service": ("service", "services"),
    "class": ("vehicle class", "vehicle classes"),
    "film": ("film", "films"),
}


@dataclass(frozen=True)
class Margin:
    """A margin of the job statement: its column, its name, and the costs that it stands after."""

    column: str
    name: str
    after: str


# The last margin that the records allow is the one shown.
MARGINS: Final = (
    Margin("full_margin", "Full margin", "all costs"),
    Margin("contribution", "Contribution", "film, consumables and labour"),
    Margin("material_margin", "Material margin", "film and consumables"),
)


@dataclass(frozen=True, eq=False, kw_only=True)
class StatementInfo(RowsInfo):
    """The statement as steps: each line's bar goes from `starts` by `steps` [money]."""

    starts: tuple[float, ...] = ()
    steps: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    is_total: tuple[bool, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class FullMarginInfo(RowsInfo):
    """What each group leaves after all costs that are known, most first [money]."""

    measure: str = MARGINS[0].name
    amounts: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


def amounts_of(frame: pd.DataFrame) -> dict[str, float]:
    """The statement's amounts under the names of its lines."""
    return dict(zip(frame["line"], number(frame, "amount").tolist(), strict=True))


def last_known_margin(frame: pd.DataFrame) -> Margin | None:
    """The margin after most costs that any row has; None where no row has any."""
    return next((each for each in MARGINS if number(frame, each.column).notna().any()), None)


def gather_statement(review: Review) -> StatementInfo:
    """The quarter's statement, with the quarter before and the trailing year beside it."""
    found = slices_of(review, "shop_result")
    if found.line:
        return StatementInfo(title=f"The statement of {review.quarter.label}", line=found.line)
    say = Numbers(review.settings)
    amounts = amounts_of(found.quarter)
    lines = [line for line in amounts if line not in _BESIDE]
    starts, steps = _steps({line: amounts[line] for line in lines})
    names = [statement_line(line) for line in lines]
    texts = [say.money(step) for step in steps]
    return StatementInfo(
        title=_statement_title(review, amounts, say),
        alternative=alternative(
            "Bar chart in steps from net revenue to the result", say.settings.currency, names, texts
        ),
        grids=(_statement_grid(review, found, say),),
        note="Striped bars take away, blue ones add; dark grey ones are what is left so far.",
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.settings.currency,
        separators=say.separators,
        starts=tuple(starts),
        steps=tuple(steps),
        texts=tuple(texts),
        is_total=tuple(line in TOTALS for line in lines),
    )


def draw_statement(info: StatementInfo) -> go.Figure:
    """Bars in steps: each starts where the one above it ended."""
    if info.line:
        return nothing(info.title, info.line)
    looks = [
        TOTAL if is_total else look_of(step, False)
        for step, is_total in zip(info.steps, info.is_total, strict=True)
    ]
    panel = Panel(info.steps, info.texts, looks, info.unit, starts=info.starts)
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def gather_full_margin(review: Review, by: str) -> FullMarginInfo:
    """What each group left after all costs. `by`: service, class or film."""
    found = slices_of(review, f"margin_by_{by}")
    one, _ = _GROUPS[by]
    if found.line:
        return FullMarginInfo(title=f"Full margin by {one}", line=found.line)
    say = Numbers(review.settings)
    margin = last_known_margin(found.quarter)
    if margin is None:
        title = f"Full margin by {one}, {review.quarter.label}"
        line = f"The margin of no {one} can be computed from these records."
        grids = _margin_grids(review, found, found.quarter, one)
        return FullMarginInfo(title=title, line=line, grids=grids)
    frame = found.quarter.sort_values(margin.column, ascending=False, kind="stable")
    shown = _furthest_from_zero(frame, margin)
    names = labels_of(shown, found.table)
    texts = [say.money(each) for each in number(shown, margin.column)]
    notes = [
        "" if margin is MARGINS[0] else f"After {margin.after}; what comes after is not known.",
        "" if len(shown) == len(frame) else f"The chart shows the {MOST_ROWS} furthest from zero.",
    ]
    return FullMarginInfo(
        title=_margin_title(review, frame, labels_of(frame, found.table), by, margin),
        alternative=alternative("Bar chart", f"{margin.name.lower()} by {one}", names, texts),
        grids=_margin_grids(review, found, frame, one),
        note=" ".join(each for each in notes if each),
        measure=margin.name,
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.settings.currency,
        separators=say.separators,
        amounts=tuple(number(shown, margin.column)),
        texts=tuple(texts),
    )


def draw_full_margin(info: FullMarginInfo) -> go.Figure:
    """Bars to the right of zero earn, hatched ones to the left lose."""
    if info.line:
        return nothing(info.title, info.line)
    axis = f"{info.measure}, {info.unit}"
    panel = signed_panel(info.amounts, info.texts, info.few, axis)
    names = chart_names(info.names, info.few)
    return rows_figure(names, [panel], title=info.title, separators=info.separators)


def _steps(amounts: dict[str, float]) -> tuple[list[float], list[float]]:
    """Where each bar starts and how far it goes; a sum starts at 0, a cost goes back.

    A missing step leaves those after it without a start, until a sum that is known.
    """
    starts: list[float] = []
    steps: list[float] = []
    running = 0.0
    for line, amount in amounts.items():
        is_total = line in TOTALS
        step = amount if is_total or line in _ADDED else 0.0 - amount
        starts.append(0.0 if is_total else running)
        steps.append(step)
        running = amount if is_total else running + step
    return starts, steps


def _statement_title(review: Review, amounts: dict[str, float], say: Numbers) -> str:
    result = amounts.get("result", np.nan)
    if pd.isna(result):
        return f"The result of {review.quarter.label} cannot be computed to its last line"
    word = "a result of" if result >= 0 else "a loss of"
    revenue = say.money(amounts.get("net_revenue"))
    return f"{review.quarter.label}: {revenue} of net revenue left {word} {say.money(abs(result))}"


def _statement_grid(review: Review, found: Slices, say: Numbers) -> Grid:
    """Money in every line but the last, which is a percentage."""
    periods = {
        review.quarter.label: found.quarter,
        review.quarter.previous.label: found.previous,
        year_name(review): found.year,
    }
    amounts = {name: amounts_of(frame) for name, frame in periods.items() if len(frame)}
    rows = []
    for line, note in zip(found.quarter["line"], found.quarter["note"], strict=True):
        write = say.percent if line.endswith("_pct") else say.number
        cells = [Cell(write(a[line])) if line in a else ABSENT for a in amounts.values()]
        rows.append((Cell(_signed_line(line)), *cells, Cell(typed(note))))
    headings = (
        Heading("Line", is_number=False),
        *(Heading(name, say.settings.currency) for name in amounts),
        Heading("How it is made", is_number=False),
    )
    return Grid("The statement", 1, (), headings, tuple(rows))


def _signed_line(line: str) -> str:
    """A line's name with what it does to the sum: `− Film`, `= Contribution`."""
    if line in (TOTALS[0], *_BESIDE):
        return statement_line(line)
    sign = "=" if line in TOTALS else "+" if line in _ADDED else "−"
    return f"{sign} {statement_line(line)}"


def _margin_title(
    review: Review, frame: pd.DataFrame, names: Sequence[str], by: str, margin: Margin
) -> str:
    one, many = _GROUPS[by]
    amounts = number(frame, margin.column)
    known = int(amounts.notna().sum())
    earned = int((amounts > 0).sum())
    counts = f"{earned} of {counted(known, one, many)} earned money in {review.quarter.label}"
    if margin is not MARGINS[0]:
        counts += f" after {margin.after}"
    least = int(np.nanargmin(amounts))
    if amounts.iloc[least] >= 0:
        return f"{counts}; none lost any" if margin is MARGINS[0] else counts
    lost = Numbers(review.settings).money(-amounts.iloc[least])
    return f"{counts}; {names[least]} lost most ({lost})"


def _furthest_from_zero(frame: pd.DataFrame, margin: Margin) -> pd.DataFrame:
    """The rows that a chart has room for, in the order they came."""
    size = number(frame, margin.column).abs().fillna(-1)
    return frame[size.rank(method="first", ascending=False) <= MOST_ROWS]


def _margin_grids(review: Review, found: Slices, frame: pd.DataFrame, one: str) -> tuple[Grid, ...]:
    parts = [
        Part(review.quarter.label, found.quarter, _MARGIN_COLUMNS),
        Part(year_name(review), found.year, _MARGIN_COLUMNS),
    ]
    costs = [Part(review.quarter.label, found.quarter, _COST_COLUMNS)]
    return (
        side_by_side(review, found.table, parts, caption=f"Margin by {one}", order=frame),
        side_by_side(
            review,
            found.table,
            costs,
            caption=f"From net revenue to full margin by {one}",
            order=frame,
            note="Net revenue − film − consumables = material margin; − labour = contribution; "
            "− overhead − redo = full margin.",
        ),
    )
