"""Figures about the cost of film once it is on, and what another film or width would have cost."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.findings.film_swaps import CHEAPER
from analysis.locale_text import MISSING, counted, pretty_unit
from analysis.report.dots import PLAIN, STRONG, Line, dots_figure
from analysis.report.figures_allowance import NAME_LENGTH, in_brackets, lengths, two_names
from analysis.report.grids import Grid, RowsInfo, few, number, plain_grid, slices_of
from analysis.report.look import (
    INK,
    alternative,
    chart_names,
    finish,
    nothing,
    plain,
    row_names,
    rows_axis,
    rows_height,
    series_marker,
)
from analysis.report.numbers import Numbers, label, sentence_case
from analysis.report.results import Review
from analysis.report.vehicles import basis

# Of intervals of 90 %, so many lie wholly on the wrong side of no difference.
_BY_CHANCE: Final = 0.05
MOST_ROWS: Final = 14
_WHOLE: Final = 1000  # a name that nothing is cut off
_INSTALLED: Final = "installed_cost_per_area"
_COSTS: Final = (_INSTALLED, "installed_low_per_area", "installed_high_per_area")
_OTHER: Final = "_instead"
_PARTS: Final = (
    ("film", "film_cost_per_area"),
    ("labour", "labour_cost_per_area"),
    ("redo", "redo_cost_per_area"),
)
_INSTALLED_COLUMNS: Final = (
    "service",
    "film",
    "jobs",
    *_COSTS,
    "film_cost_per_area",
    "labour_cost_per_area",
    "redo_cost_per_area",
    "newest_cost_per_area",
    "waste_pct",
    "hours_per_area",
    "hours_effect_pct",
    "low_pct",
    "high_pct",
    "redo_pct",
)
_SWAP_COLUMNS: Final = (
    "jobs",
    "as_done_cost",
    "instead_cost",
    "difference",
    "difference_low",
    "difference_high",
    "verdict",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class InstalledInfo(RowsInfo):
    """Cost of a finished unit of area, service by service and film by film [money / area].

    `parts` : film, labour and redo, each with its values; `totals` with their 90 % intervals.
    """

    parts: tuple[tuple[str, tuple[float, ...]], ...] = ()
    totals: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class SwapsInfo(RowsInfo):
    """Cost in another film or off another width less the cost as done [money a year].

    `sure` : whether the row is cheaper for certain, on enough jobs.
    """

    differences: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    sure: tuple[bool, ...] = ()
    texts: tuple[str, ...] = ()


# --- what film costs once it is on ----------------------------------------------------------------


def gather_installed(review: Review) -> InstalledInfo:
    """The films of each service that was done in two films or more, the cheapest first."""
    found = slices_of(review, "film_installed")
    title = "What film costs once it is on"
    if found.line:
        return InstalledInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = _by_service(found.quarter)
    grid = plain_grid(review, found.table, frame, _INSTALLED_COLUMNS, caption=title, names=2)
    known = frame[number(frame, _INSTALLED).notna()]
    films = known.groupby("service", dropna=False)["film"].transform("size")
    compared = known[films > 1]
    if compared.empty:
        line = "No service was done in two films whose cost is known, so none can be compared."
        return InstalledInfo(title=title, line=line, grids=(grid,))
    shown = _whole_services(compared)
    names = _installed_names(shown)
    totals, lows, highs = (number(shown, name) for name in _COSTS)
    texts = [_cost(row, say) for _, row in shown.iterrows()]
    some = "" if len(shown) == len(compared) else " The chart shows the services done most."
    return InstalledInfo(
        title=_installed_title(review, compared, say),
        alternative=alternative(
            "Stacked bar chart with intervals", "cost of a finished unit of area", names, texts
        ),
        grids=(grid,),
        note=f"{basis(review)} At today's prices and wages: film with its waste and recuts, the "
        "hours that it takes, and doing over. The line at a bar's end is the 90 % interval of the "
        "sum. The films of a service share its hours, so that one can be dearer beyond chance "
        "although two lines overlap: the table 'Another film' says which. How film looks and lasts "
        f"is not in these figures. {_turned(compared)}{some}".rstrip(),
        names=tuple(names),
        few=tuple(few(shown)),
        unit=f"{say.settings.currency} / {say.area_unit}",
        separators=say.separators,
        parts=tuple((name, tuple(number(shown, column))) for name, column in _PARTS),
        totals=tuple(totals),
        lows=tuple(lows),
        highs=tuple(highs),
        texts=tuple(texts),
    )


def draw_installed(info: InstalledInfo) -> go.Figure:
    """Film, labour and redo one after the other, and the interval of their sum."""
    if info.line:
        return nothing(info.title, info.line)
    names = chart_names(info.names, info.few)
    places = list(range(len(names)))
    fig = go.Figure()
    for position, (part, values) in enumerate(info.parts):
        fig.add_bar(
            x=list(values),
            y=places,
            orientation="h",
            width=0.36,
            name=part,
            marker={**series_marker(position), "opacity": [0.45 if t else 1.0 for t in info.few]},
            customdata=[f"{name}, {part}" for name in names],
            hovertemplate="%{customdata}: %{x:,.2f} " + plain(info.unit) + "<extra></extra>",
        )
    fig.add_scatter(
        x=list(info.totals),
        y=places,
        mode="markers",
        name="90 % interval",
        marker={"symbol": "diamond", "size": 7, "color": INK},
        error_x={
            "type": "data",
            "symmetric": False,
            "array": [high - total for high, total in zip(info.highs, info.totals, strict=True)],
            "arrayminus": [total - low for low, total in zip(info.lows, info.totals, strict=True)],
            "color": INK,
            "thickness": 1.5,
        },
        customdata=[f"{name}: {plain(text)}" for name, text in zip(names, info.texts, strict=True)],
        hovertemplate="%{customdata}<extra></extra>",
    )
    row_names(fig, names, info.texts)
    height, head = rows_height(len(names), len(info.parts) + 1)
    finish(fig, title=info.title, separators=info.separators, height=height, head=head)
    fig.update_layout(barmode="relative", showlegend=True, legend_traceorder="normal")
    fig.update_xaxes(title_text=f"Cost once it is on, {plain(info.unit)}", rangemode="tozero")
    rows_axis(fig, len(names))
    return fig


def _by_service(frame: pd.DataFrame) -> pd.DataFrame:
    """The services done most first, in each the cheapest film first."""
    jobs = number(frame, "jobs").groupby(frame["service"], dropna=False).transform("sum")
    order = pd.DataFrame(
        {"jobs": -jobs, "service": frame["service"], "cost": number(frame, _INSTALLED)}
    ).sort_values(["jobs", "service", "cost"], kind="stable", na_position="last")
    return frame.loc[order.index].reset_index(drop=True)


def _whole_services(compared: pd.DataFrame) -> pd.DataFrame:
    """The first rows, no service cut in two; of a service of very many films the cheapest."""
    size = compared.groupby("service", dropna=False, sort=False)["film"].transform("size")
    last = compared.groupby("service", dropna=False, sort=False).cumcount(ascending=False)
    end = pd.Series(np.arange(1, len(compared) + 1), index=compared.index) + last
    fits = (end <= MOST_ROWS) | ((end == size) & (size > MOST_ROWS))
    return compared[fits].head(MOST_ROWS)


def _installed_names(frame: pd.DataFrame) -> list[str]:
    return [
        two_names(service, label(film), ": ")
        for service, film in zip(frame["service"], frame["film"], strict=True)
    ]


def _cost(row: pd.Series, say: Numbers) -> str:
    middle, low, high = (row[name] for name in _COSTS)
    return f"{say.money(middle, 2)}{in_brackets(say, low, high, 2)}"


def _installed_title(review: Review, compared: pd.DataFrame, say: Numbers) -> str:
    """The two films whose swap saves most beyond chance, with what each costs.

    The verdict is that of `film_swaps`: the films of a service share its hours, so that two can
    differ beyond chance although the intervals of their sums overlap.
    """
    swaps = _swap_order(slices_of(review, "film_swaps").quarter)
    swaps = swaps[swaps["sure"] & ~_is_width(swaps)]
    own = compared[["service", "film", *_COSTS]]
    pairs = swaps[["service", "film", "instead_film"]].merge(
        own, on=["service", "film"], validate="m:1"
    )
    other = own.rename(columns={"film": "instead_film"})
    keys = ["service", "instead_film"]
    pairs = pairs.merge(other, on=keys, suffixes=("", _OTHER), validate="m:1")
    if pairs.empty:
        return "No film is sure to be cheaper than another once it is on"
    row = pairs.iloc[0]
    instead = row[[name + _OTHER for name in _COSTS]].set_axis(list(_COSTS))
    return (
        f"{sentence_case(label(row['service']))}: once it is on, {label(row['instead_film'])} "
        f"costs {_cost(instead, say)} a {say.area_unit}, {label(row['film'])} {_cost(row, say)}"
    )


def _turned(compared: pd.DataFrame) -> str:
    """Services in which the film that is cheapest to buy is not the cheapest once it is on."""
    sure = compared[~few(compared) & number(compared, "newest_cost_per_area").notna()]
    turned = []
    for service, own in sure.groupby("service", dropna=False, sort=False):
        bought, on = (
            own["film"].iloc[int(number(own, name).to_numpy().argmin())]
            for name in ("newest_cost_per_area", _INSTALLED)
        )
        if bought != on:
            turned.append(f"{label(service)} ({label(bought)} to buy, {label(on)} on)")
    if not turned:
        return ""
    return f"The cheapest to buy is not the cheapest once it is on: {'; '.join(turned[:3])}."


# --- another film, another roll width -------------------------------------------------------------


def gather_swaps(review: Review) -> SwapsInfo:
    """Other films and other roll widths for last year's jobs, the largest sure saving first."""
    found = slices_of(review, "film_swaps")
    title = "What another film or roll width would have cost"
    if found.line:
        return SwapsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = _swap_order(found.quarter)
    grids = _swap_grids(review, frame)
    known = frame[number(frame, "difference").notna()]
    if known.empty:
        line = "What another film or roll width would have cost is not known for any job."
        return SwapsInfo(title=title, line=line, grids=grids)
    best = known.drop_duplicates(["service", "film", "roll_width"])
    shown = best.head(MOST_ROWS)
    names = _swap_names(review, shown, say)
    texts = [_swap_text(row, say) for _, row in shown.iterrows()]
    some = "" if len(shown) == len(known) else f" The chart shows {len(shown)} of {len(known)}."
    return SwapsInfo(
        title=_swap_title(review, known, say),
        alternative=alternative(
            "Dots with intervals", "cost instead less cost as done, a year", names, texts
        ),
        grids=grids,
        note="The jobs of the last twelve months again, at today's prices and wages. The dot is "
        "what would have been paid more (right) or less (left of the line), its own line the "
        "90 % interval; a diamond marks where all of it is cheaper. Each row is judged by itself: "
        f"of {len(known)}, about {max(round(_BY_CHANCE * len(known)), 1)} would look so by chance. "
        "A for B is A in the place of B; of each service and film the best that there is. Savings "
        "do not add up: a job can be in several rows. What the customer asked for, and how a "
        f"film looks and lasts, is not in these figures.{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit=say.settings.currency,
        separators=say.separators,
        differences=tuple(number(shown, "difference")),
        lows=tuple(number(shown, "difference_low")),
        highs=tuple(number(shown, "difference_high")),
        sure=tuple(shown["sure"]),
        texts=tuple(texts),
    )


def draw_swaps(info: SwapsInfo) -> go.Figure:
    """A dot each swap on its interval; a diamond where all of it is cheaper."""
    if info.line:
        return nothing(info.title, info.line)
    return dots_figure(
        info.names,
        (info.differences, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis=f"Cost instead − cost as done, {info.unit} a year",
        separators=info.separators,
        few=info.few,
        looks=[STRONG if each else PLAIN for each in info.sure],
        lines=(Line(0.0, "as done"),),
    )


def _swap_order(frame: pd.DataFrame) -> pd.DataFrame:
    """What is cheaper beyond chance first, thin rows last, each by the difference."""
    thin = few(frame)
    frame = frame.assign(sure=((frame["verdict"] == CHEAPER) & ~thin).astype(bool))
    order = pd.DataFrame(
        {"thin": thin, "unsure": ~frame["sure"], "difference": number(frame, "difference")}
    ).sort_values(["thin", "unsure", "difference"], kind="stable", na_position="last")
    return frame.loc[order.index].reset_index(drop=True)


def _is_width(frame: pd.DataFrame) -> pd.Series:
    """Which rows compare roll widths of one film, and not films."""
    return number(frame, "instead_width").notna()


def _swap_names(
    review: Review, frame: pd.DataFrame, say: Numbers, most: int = NAME_LENGTH
) -> list[str]:
    """`roof: GB-60 for MB-60` is GB-60 in the place of MB-60."""
    unit = pretty_unit(review.settings.length_unit)
    width, instead = number(frame, "roll_width"), number(frame, "instead_width")
    texts = lengths(say, [*width, *instead])
    return [
        two_names(
            row["service"],
            f"{label(row['instead_film'])} for {label(row['film'])}"
            if pd.isna(other)
            else f"{label(row['film'])}, {new} {unit}" + (f" for {old}" if old != MISSING else ""),
            ": ",
            most,
        )
        for (_, row), other, old, new in zip(
            frame.iterrows(), instead, texts[: len(frame)], texts[len(frame) :], strict=True
        )
    ]


def _swap_text(row: pd.Series, say: Numbers) -> str:
    change = say.change(row["difference"])
    told = f"{change}{in_brackets(say, row['difference_low'], row['difference_high'])}"
    if few(row.to_frame().T).iloc[0]:
        return f"{told}, {counted(row['jobs'], 'job')}: no advice"
    return f"{label(row['verdict'])}: {told}"


def _swap_title(review: Review, known: pd.DataFrame, say: Numbers) -> str:
    """The largest sure saving of each kind: another film, another roll width."""
    is_width = _is_width(known)
    kinds = (
        ("{film} costs {saved} a year more than {instead} would on {service}", known[~is_width]),
        ("another roll width would save {saved} a year: {name}", known[is_width]),
    )
    told = []
    for kind, rows in kinds:
        sure = rows[rows["sure"]]
        if len(sure):
            row = sure.iloc[0]
            between = in_brackets(say, -row["difference_high"], -row["difference_low"])
            saved = f"{say.money(-row['difference'])}{between}"
            name = _swap_names(review, sure.head(1), say, _WHOLE)[0]
            told.append(kind.format(saved=saved, name=name, **_films(row)))
    if not told:
        return "No other film or roll width looks cheaper than what was used"
    return sentence_case("; ".join(told))


def _films(row: pd.Series) -> dict[str, str]:
    """The names of a swap, in words."""
    return {
        "service": label(row["service"]),
        "film": label(row["film"]),
        "instead": label(row["instead_film"]),
    }


def _swap_grids(review: Review, frame: pd.DataFrame) -> tuple[Grid, ...]:
    is_width = _is_width(frame)
    table = slices_of(review, "film_swaps").table
    kinds = (
        (frame[~is_width], ("service", "film", "instead_film"), "Another film"),
        (
            frame[is_width],
            ("service", "film", "roll_width", "instead_width"),
            "Another roll width of the same film",
        ),
    )
    return tuple(
        plain_grid(review, table, rows, (*keys, *_SWAP_COLUMNS), caption=caption, names=len(keys))
        for rows, keys, caption in kinds
        if len(rows)
    )
