"""The figure about the allowance: how large to cut each panel in each film."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.findings.allowance import ALL_PANELS, LARGER, NOT_ENOUGH, SMALLER
from analysis.locale_text import MISSING, counted, pretty_unit
from analysis.report.dots import PLAIN, STRONG, dots_figure
from analysis.report.grids import (
    Grid,
    RowsInfo,
    few,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.look import (
    INK,
    ORANGE,
    PAPER,
    alternative,
    nothing,
    plain,
)
from analysis.report.numbers import (
    Numbers,
    label,
    places_for,
    shortened,
)
from analysis.report.results import Review
from analysis.report.vehicles import basis
from analysis.schema import Kind

MOST_ROWS: Final = 12
_UNTOLD: Final = "How large to cut"
_LEGEND: Final = 22
_LEAST_OF_A_NAME: Final = 7
_HAIR: Final = 0.005
NAME_LENGTH: Final = 44  # what a chart leaves of a name
_CHANGES: Final = (SMALLER, LARGER)
_HOURS: Final = (
    "The savings are of film alone, the hours of a recut are not counted; cut smaller is said only "
    "where it holds with the hours too."
)


@dataclass(frozen=True, eq=False, kw_only=True)
class BestMarginInfo(RowsInfo):
    """Usual and best allowance a side, panel by panel, with the interval of the best [length unit].

    `savings` : money a year; `changes` : whether the row says to cut otherwise.
    """

    usual: tuple[float, ...] = ()
    best: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    savings: tuple[float, ...] = ()
    changes: tuple[bool, ...] = ()
    texts: tuple[str, ...] = ()


def in_brackets(say: Numbers, low: float, high: float, places: int = 0) -> str:
    """An interval of money behind its middle: ` ($40 to $230)`; nothing where it is not known."""
    if pd.isna(low) or pd.isna(high):
        return ""
    return f" ({say.money(low, places)} to {say.money(high, places)})"


def lengths(say: Numbers, values: Sequence[float]) -> list[str]:
    """Lengths that are compared, with as many places as tell them apart, without their unit."""
    known = pd.Series(values, dtype="float64").dropna()
    places = places_for(list(values), Kind.LENGTH) + (1 if known.abs().max() < 1 else 0)
    if ((known - known.round()).abs() < _HAIR).all():
        places = 0
    return [say.number(each, places) for each in values]


def two_names(first: object, second: str, sign: str, most: int = NAME_LENGTH) -> str:
    """`roof, GB-60`: a long first name is cut, so that the second still stands in a chart."""
    room = max(most - len(sign) - len(second), _LEAST_OF_A_NAME)
    given = label(first)
    name = given if len(given) <= room else label(shortened(str(first), room))
    return f"{name}{sign}{second}"


def gather_best_allowance(review: Review) -> BestMarginInfo:
    """Usual and best allowance, over all and for each panel and film, the largest saving first."""
    found = slices_of(review, "best_allowance")
    if found.line:
        return BestMarginInfo(title=_UNTOLD, line=found.line)
    say = Numbers(review.settings)
    frame = _sorted(_with_enough(found.quarter, review))
    grid = _best_grid(review, frame, say)
    marked = frame[
        number(frame, "usual_allowance").notna() | number(frame, "best_allowance").notna()
    ]
    if marked.empty:
        line = "No piece has a piece size and a finished size, so no allowance is known."
        return BestMarginInfo(title=_UNTOLD, line=line, grids=(grid,))
    shown = marked.head(MOST_ROWS)
    names = _names(shown)
    texts = [_saving_text(row, say) for _, row in shown.iterrows()]
    some = "" if len(shown) == len(marked) else f" The chart shows the first {MOST_ROWS}."
    return BestMarginInfo(
        title=allowance_finding(review),
        alternative=alternative(
            "Dots with intervals", "usual and best allowance a side", names, texts
        ),
        grids=(grid,),
        note=f"{basis(review)} The square is the allowance a side as it was cut in the last "
        "twelve months, the dot the one that costs least film, its line the 90 % interval; a "
        "diamond marks where to cut otherwise. Cut smaller, cut larger: move from the square to "
        "the mark. As it is: leave it; the saving may be none, or is too small for a new habit, or "
        "goes into the hours of recuts. Not enough recuts to tell: leave it too, and go on writing "
        f"every recut into cuts. {_HOURS}{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=pretty_unit(review.settings.length_unit),
        separators=say.separators,
        usual=tuple(number(shown, "usual_allowance")),
        best=tuple(number(shown, "best_allowance")),
        lows=tuple(number(shown, "low_allowance")),
        highs=tuple(number(shown, "high_allowance")),
        savings=tuple(number(shown, "saving_a_year")),
        changes=tuple(shown["changes"]),
        texts=tuple(texts),
    )


def draw_best_allowance(info: BestMarginInfo) -> go.Figure:
    """On each row a square at the usual allowance, and a dot at the best on its interval."""
    if info.line:
        return nothing(info.title, info.line)
    fig = dots_figure(
        info.names,
        (info.best, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis=f"Allowance a side, {info.unit}",
        separators=info.separators,
        few=info.few,
        looks=[STRONG if each else PLAIN for each in info.changes],
    )
    fig.data[0].update(name="90 % interval")
    fig.data[1].update(name="best")
    fig.add_scatter(
        x=list(info.usual),
        y=list(range(len(info.usual))),
        mode="markers",
        name="usual",
        cliponaxis=False,
        marker={
            "size": 10,
            "symbol": "square",
            "color": ORANGE,
            "line": {"color": INK, "width": 1},
        },
        customdata=[f"{plain(name)}: usual" for name in info.names],
        hovertemplate="%{customdata} %{x:.2f} " + plain(info.unit) + "<extra></extra>",
    )
    # The square lies under the dot, so that both are seen where they are the same.
    fig.data = (fig.data[0], fig.data[2], fig.data[1])
    fig.update_layout(
        showlegend=True,
        height=fig.layout.height + _LEGEND,
        margin_t=fig.layout.margin.t + _LEGEND,
        legend_bgcolor=PAPER,
    )
    return fig


def allowance_finding(review: Review) -> str:
    """Whether to cut smaller or larger over all, and what it saves, without a full stop."""
    frame = _with_enough(slices_of(review, "best_allowance").quarter, review)
    say = Numbers(review.settings)
    whole = is_over_all(frame)
    if not whole.any():
        return _UNTOLD
    row = frame[whole].iloc[0]
    single = _exceptions(frame[frame["changes"] & ~whole], say)
    if row["verdict"] == NOT_ENOUGH or not row["enough"]:
        return f"Not enough recuts to tell how large to cut over all{single}"
    unit = pretty_unit(review.settings.length_unit)
    usual, best = lengths(say, [row["usual_allowance"], row["best_allowance"]])
    if not row["changes"]:
        size = "" if usual == MISSING else f": {usual} {unit} a side"
        return f"The allowance is about right over all{size}{single}"
    word = "Cut smaller" if row["verdict"] == SMALLER else "Cut larger"
    start = f"{word}: {best} {unit} a side instead of {usual} {unit}"
    saving = say.money(row["saving_a_year"])
    if saving == MISSING:
        return f"{start}; what it saves is not known"
    between = in_brackets(say, row["saving_low"], row["saving_high"])
    return f"{start} saves {saving} of film a year{between}{_recuts_text(row, say)}"


def allowance_sentence(review: Review) -> str:
    """How large to cut, as a sentence; why it is not known, where it is not."""
    found = slices_of(review, "best_allowance")
    if found.line:
        return found.line
    finding = allowance_finding(review)
    if finding == _UNTOLD:
        return "How large to cut cannot be told from these records."
    return f"{finding}."


def verdict_over_all(review: Review) -> str:
    """The verdict of the first row, all panels; empty where there is none."""
    found = slices_of(review, "best_allowance").quarter
    first = found[is_over_all(found)]
    return label(first["verdict"].iloc[0]) if len(first) else ""


def is_over_all(frame: pd.DataFrame) -> pd.Series:
    """Which row of `best_allowance` is the one over all panels and films."""
    return (frame["panel"] == ALL_PANELS) & frame["film"].isna()


def _with_enough(frame: pd.DataFrame, review: Review) -> pd.DataFrame:
    """The rows, with whether enough pieces were cut, and whether the row says to cut otherwise."""
    enough = number(frame, "cuts").fillna(0) >= review.settings.pricing.fewest_jobs
    changes = frame["verdict"].isin(_CHANGES) & enough & number(frame, "best_allowance").notna()
    return frame.assign(enough=enough.astype("boolean"), changes=changes.astype(bool))


def _sorted(frame: pd.DataFrame) -> pd.DataFrame:
    """All panels first, then rows that say to cut otherwise, then the others, by their saving."""
    order = pd.DataFrame(
        {
            "all": ~is_over_all(frame),
            "as_it_is": ~frame["changes"],
            "few": few(frame),
            "saving": -number(frame, "saving_a_year"),
        }
    ).sort_values(["all", "as_it_is", "few", "saving"], kind="stable", na_position="last")
    return frame.loc[order.index].reset_index(drop=True)


def _names(frame: pd.DataFrame) -> list[str]:
    """`roof, GB-60`; the row over all has no film."""
    return [
        label(panel) if whole else two_names(panel, label(film), ", ")
        for panel, film, whole in zip(
            frame["panel"], frame["film"], is_over_all(frame), strict=True
        )
    ]


def _exceptions(changed: pd.DataFrame, say: Numbers) -> str:
    """The rows to cut otherwise though the whole stays, the largest saving named."""
    if changed.empty:
        return ""
    first = _sorted(changed).head(1)
    which = "one exception" if len(changed) == 1 else f"largest of {len(changed)} exceptions"
    return f"; {which}: {_names(first)[0]}, {_saving_text(first.iloc[0], say)}"


def _saving_text(row: pd.Series, say: Numbers) -> str:
    if not row["enough"]:
        return f"{counted(row['cuts'], 'cut')}: no advice yet"
    word = label(row["verdict"])
    saving = say.money(row["saving_a_year"])
    if not row["changes"] or saving == MISSING:
        return word
    between = in_brackets(say, row["saving_low"], row["saving_high"])
    return f"{word}{_edge_text(row)}: {saving} a year{between}{_recuts_text(row, say)}"


def _edge_text(row: pd.Series) -> str:
    """Said where the best is the smallest, or the largest, that was tried: it may lie beyond."""
    at_edge = row["low_allowance"] == row["best_allowance"] == row["high_allowance"]
    return " (as far as was tried)" if at_edge else ""


def _recuts_text(row: pd.Series, say: Numbers) -> str:
    """`, cut again 4.6% → 15.4%`: what the saving is bought with."""
    usual, best = (say.percent(row[name], 1) for name in ("usual_recut_pct", "best_recut_pct"))
    return "" if MISSING in (usual, best) else f", cut again {usual} → {best}"


def _best_grid(review: Review, frame: pd.DataFrame, say: Numbers) -> Grid:
    table = slices_of(review, "best_allowance").table
    caption = "How large to cut, panel by panel"
    first = [*table.names[:2], "verdict", "saving_a_year", "saving_low", "saving_high"]
    columns = [*first, *(name for name in table.names if name not in first)]
    grid = plain_grid(review, table, frame, columns, caption=caption, names=2)
    texts: dict[str, list[str]] = {
        name: [say.number(each, 2) for each in number(frame, name)]
        for name in ("usual_cost", "best_cost")
    }
    margins = ["usual_allowance", "best_allowance", "low_allowance", "high_allowance"]
    every = lengths(say, [float(each) for name in margins for each in number(frame, name)])
    for at, name in enumerate(margins):
        texts[name] = every[at * len(frame) : (at + 1) * len(frame)]
    return with_texts(grid, columns, texts)


def with_texts(grid: Grid, columns: Sequence[str], texts: dict[str, list[str]]) -> Grid:
    """A grid in which some columns are written otherwise, as with more places."""
    places = {list(columns).index(name): own for name, own in texts.items()}
    rows = tuple(
        tuple(
            replace(cell, text=places[at][position]) if at in places else cell
            for at, cell in enumerate(row)
        )
        for position, row in enumerate(grid.rows)
    )
    return replace(grid, rows=rows)
