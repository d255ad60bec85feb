"""The figure of what changed: from last quarter's margin to this one's, each bar with its cells."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.findings.bridge import DISCONTINUED, LEFT_OUT, NEW, cell_names
from analysis.glossary import heading
from analysis.locale_text import counted
from analysis.price_tables import BRIDGE_CELLS, QUARTER_BRIDGE
from analysis.report.grids import (
    Cell,
    Grid,
    Heading,
    RowsInfo,
    few,
    number,
    slices_of,
)
from analysis.report.look import (
    TOTAL,
    Panel,
    alternative,
    chart_names,
    look_of,
    nothing,
    plain,
    rows_figure,
)
from analysis.report.numbers import Numbers, sentence_case, typed
from analysis.report.results import Review

MOST_CELLS: Final = 12
_HOVERED: Final = 3
_FULL: Final = "Full margin"
# What moved, in the words of a title: the amount beside them says which way.
CAUSES: Final = {
    "price": "the price a job got",
    "volume": "the number of jobs",
    "mix": "the mix of jobs",
    "labour_efficiency": "hours a job",
    "labour_rate": "the cost of an hour",
    "film_price": "the price of film",
    "film_usage": "film a job",
    "consumables": "consumables",
    "redo": "redos",
    "fees": "card fees",
    "overhead": "overhead",
    NEW: "kinds of work done this quarter only",
    DISCONTINUED: "kinds of work done last quarter only",
}


@dataclass(frozen=True, eq=False, kw_only=True)
class BridgeInfo(RowsInfo):
    """The bridge as steps: each bar goes from `starts` by `steps` [money].

    `effects` : the effect of each bar, empty for the two margins; `cells` : the largest cells
    behind it, as text.
    """

    effects: tuple[str, ...] = ()
    starts: tuple[float, ...] = ()
    steps: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    cells: tuple[tuple[str, ...], ...] = ()


def gather_bridge(review: Review) -> BridgeInfo:
    """The margin a quarter ago, what changed it, and the margin now; each bar with its cells."""
    found, of_cells = slices_of(review, "quarter_bridge"), slices_of(review, "bridge_cells")
    title = f"What changed from {review.quarter.previous.label} to {review.quarter.label}"
    if found.line or of_cells.line:
        return BridgeInfo(title=title, line=found.line or of_cells.line)
    say = Numbers(review.settings)
    rows = _gathered(found.quarter)
    cells = of_cells.quarter
    steps = rows["amount"].tolist()
    ends = list(accumulate(steps[:-1]))
    effects = ["", *rows["effect"].iloc[1:-1], ""]
    names = [_bar_name(effect) for effect in rows["effect"]]
    texts = [
        say.change(step) if effect else say.money(step)
        for effect, step in zip(effects, steps, strict=True)
    ]
    behind = {effect: _behind(cells, effect) for effect in effects if effect}
    grids = [_bridge_grid(rows, names, effects, behind, say)]
    grids += [
        _cells_grid(name, effect, behind[effect], step, say)
        for name, effect, step in zip(names, effects, steps, strict=True)
        if effect and len(behind[effect])
    ]
    margin = _margin_name(rows)
    return BridgeInfo(
        title=_bridge_title(review, rows, margin, say),
        alternative=alternative(
            f"Bar chart in steps from one {margin.lower()} to the next",
            say.settings.currency,
            names,
            texts,
        ),
        grids=tuple(grids),
        note=_bridge_note(margin, cells),
        names=tuple(names),
        few=(False,) * len(names),
        unit=say.settings.currency,
        separators=say.separators,
        effects=tuple(effects),
        starts=(0.0, *ends[: len(steps) - 2], 0.0),
        steps=tuple(steps),
        texts=tuple(texts),
        cells=tuple(_largest(behind[each], each, say) if each else () for each in effects),
    )


def draw_bridge(info: BridgeInfo) -> go.Figure:
    """Bars in steps: each starts where the one above it ended."""
    if info.line:
        return nothing(info.title, info.line)
    looks = [
        look_of(step, False) if effect else TOTAL
        for effect, step in zip(info.effects, info.steps, strict=True)
    ]
    panel = Panel(info.steps, info.texts, looks, info.unit, starts=info.starts)
    names = chart_names(info.names, info.few)
    fig = rows_figure(names, [panel], title=info.title, separators=info.separators)
    hover = [
        "<br>".join([f"<b>{name}: {plain(text)}</b>", *(plain(each) for each in cells)])
        for name, text, cells in zip(names, info.texts, info.cells, strict=True)
    ]
    fig.update_traces(customdata=hover)
    return fig


def _gathered(bridge: pd.DataFrame) -> pd.DataFrame:
    """The bridge with new cells in one row, and discontinued ones in another."""
    kinds = bridge["effect"].str.extract(rf"^({NEW}|{DISCONTINUED}): ", expand=False)
    effect = kinds.fillna(bridge["effect"])
    grouped = bridge.assign(effect=effect).groupby("effect", sort=False)
    sums = grouped["amount"].sum()
    rows = grouped["note"].first().to_frame().assign(amount=sums).reset_index()
    return rows.astype({"amount": "float64"})


def _bar_name(effect: str) -> str:
    if effect == NEW:
        return "Done this quarter alone"
    if effect == DISCONTINUED:
        return "Done last quarter alone"
    known = [each for each in BRIDGE_CELLS.columns if each.name == effect]
    return heading(known[0]) if known else sentence_case(effect)


def _margin_name(rows: pd.DataFrame) -> str:
    """Which margin is bridged: that after overhead, after labour, or after film."""
    effects = set(rows["effect"])
    if "overhead" in effects:
        return _FULL
    return "Contribution" if "labour_rate" in effects else "Material margin"


def _bridge_title(review: Review, rows: pd.DataFrame, margin: str, say: Numbers) -> str:
    before, now = rows["amount"].iloc[0], rows["amount"].iloc[-1]
    ends = (
        f"{margin} of jobs: {say.money(before)} in {review.quarter.previous.label}, "
        f"{say.money(now)} in {review.quarter.label}"
    )
    effects = rows.iloc[1:-1].set_index("effect")["amount"]
    found = main_cause(effects, now - before)
    if not found:
        return f"{ends}; nothing changed it"
    way = "down" if effects[found] < 0 else "up"
    return f"{ends}; {CAUSES[found]} moved it {way} most ({say.change(effects[found])})"


def main_cause(effects: pd.Series, change: float) -> str:
    """The largest effect that goes the way of the change; empty where there is none."""
    along = effects if change >= 0 else -effects
    return str(along.idxmax()) if len(along) and along.max() > 0 else ""


def _bridge_note(margin: str, cells: pd.DataFrame) -> str:
    out = int((cells["kind"] == LEFT_OUT).sum())
    notes = (
        "Dark grey bars are the margins; plain ones between them add, striped ones take away. A "
        "cell is a service on a vehicle class: the tables below open each bar into its cells.",
        ""
        if margin == _FULL
        else f"The {margin.lower()} is bridged, because what comes after it is not known.",
        f"{counted(out, 'cell')} could not be told; the table's first and last row say why."
        if out
        else "",
    )
    return " ".join(each for each in notes if each)


def _behind(cells: pd.DataFrame, effect: str) -> pd.DataFrame:
    """The cells with a part of an effect, the largest first."""
    amounts = number(cells, effect)
    some = amounts.notna() & (amounts.abs() > _NOTHING) & (cells["kind"] != LEFT_OUT)
    order = amounts[some].abs().sort_values(ascending=False, kind="stable").index
    return cells.loc[order]


_NOTHING: Final = 0.005  # less than half a cent: what binary sums leave


def _largest(cells: pd.DataFrame, effect: str, say: Numbers) -> tuple[str, ...]:
    top = cells.head(_HOVERED)
    return tuple(
        f"{typed(name)}: {say.change(amount)}"
        for name, amount in zip(cell_names(top), number(top, effect), strict=True)
    )


def _bridge_grid(
    rows: pd.DataFrame,
    names: Sequence[str],
    effects: Sequence[str],
    behind: dict[str, pd.DataFrame],
    say: Numbers,
) -> Grid:
    headings = (
        _text_heading("Effect", QUARTER_BRIDGE.column("effect").sentence),
        Heading("Amount", say.settings.currency, QUARTER_BRIDGE.column("amount").sentence),
        Heading("Cells", sentence="Services on a vehicle class that have a part in it."),
        _text_heading("How it is made", QUARTER_BRIDGE.column("note").sentence),
    )
    cells = tuple(
        (
            Cell(name),
            Cell(say.number(amount)),
            Cell(say.number(len(behind[effect])) if effect else ""),
            Cell(typed(note)),
        )
        for name, effect, amount, note in zip(
            names, effects, rows["amount"], rows["note"], strict=True
        )
    )
    return Grid("The bridge", 1, (), headings, cells)


def _cells_grid(name: str, effect: str, cells: pd.DataFrame, step: float, say: Numbers) -> Grid:
    """The cells behind a bar, the rest of them together, and their sum, which is the bar."""
    top, rest = cells.head(MOST_CELLS), cells.iloc[MOST_CELLS:]
    jobs = ("jobs_before", "jobs_now")
    blank = Cell("")
    rows = [
        (
            Cell(typed(service)),
            Cell("not given" if pd.isna(size) else typed(size)),
            *(Cell(say.number(each), is_few=thin) for each in counts),
            Cell(say.number(amount), is_few=thin),
        )
        for service, size, counts, amount, thin in zip(
            top["service"],
            top["vehicle_class"],
            top[list(jobs)].to_numpy().tolist(),
            number(top, effect),
            few(top),
            strict=True,
        )
    ]
    if len(rest):
        counts = [Cell(say.number(rest[each].sum())) for each in jobs]
        others = Cell(counted(len(rest), "other cell"))
        rows.append((others, blank, *counts, Cell(say.number(number(rest, effect).sum()))))
    rows.append((Cell("Together"), blank, blank, blank, Cell(say.number(step))))
    headings = (
        _text_heading("Service", BRIDGE_CELLS.column("service").sentence),
        _text_heading("Vehicle class", BRIDGE_CELLS.column("vehicle_class").sentence),
        Heading("Jobs before", sentence=BRIDGE_CELLS.column("jobs_before").sentence),
        Heading("Jobs now", sentence=BRIDGE_CELLS.column("jobs_now").sentence),
        Heading("Amount", say.settings.currency, BRIDGE_CELLS.column(effect).sentence),
    )
    return Grid(f"{name}: the cells behind it", 2, (), headings, tuple(rows))


def _text_heading(text: str, sentence: str) -> Heading:
    return Heading(text, sentence=sentence, is_number=False)
