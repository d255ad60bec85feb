"""Figures about prices: what to ask next, what to add for slow vehicles, what it hangs on."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import MISSING, counted, listed
from analysis.pricing.price_words import HOLD, LOWER, NOT_ENOUGH, RAISE
from analysis.report.cautions import PRICE_CAUTION
from analysis.report.dots import PLAIN, STRONG, dots_figure
from analysis.report.grids import (
    Cell,
    FigureInfo,
    Grid,
    Heading,
    RowsInfo,
    few,
    labels_of,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.look import INK, alternative, nothing
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

MOST_ROWS: Final = 18
_MOST_NAMED: Final = 4
_TOP: Final = 10
# Floors further off than this many largest changes stand at the edge of the chart.
_FURTHEST: Final = 2.0
_LEGEND: Final = 22
_KEYS: Final = ("service", "vehicle_class")
_PRICES: Final = (
    *_KEYS,
    "current_price",
    "suggested_price",
    "change_pct",
    "verdict",
    "expected_gain",
    "gain_low",
    "gain_high",
    "reason",
)
_BEHIND: Final = (
    *_KEYS,
    "suggested_price",
    "floor_price",
    "expected_cost",
    "margin_pct",
    "suggested_margin_pct",
    "win_pct",
    "suggested_win_pct",
    "break_even_volume_pct",
    "jobs",
    "quotes",
    "next_step",
)
_SURCHARGES: Final = (
    "make",
    "model",
    "service",
    "vehicle_class",
    "surcharge",
    "price",
    "extra_hours",
    "hour_must_earn",
    "jobs",
    "model_jobs",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class SuggestionsInfo(RowsInfo):
    """Prices to change, those that bring most first: suggestion and floor against today [percent].

    `changes` : of the suggested price; `floors` : of the floor; NaN where not known.
    """

    changes: tuple[float, ...] = ()
    floors: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    caution: str = PRICE_CAUTION


def gather_suggestions(review: Review) -> SuggestionsInfo:
    """The prices to raise or lower, and the whole list behind them."""
    found = slices_of(review, "price_suggestions")
    title = "Prices for the next quarter"
    if found.line:
        return SuggestionsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = ranked(found.quarter)
    whole = tuple(
        plain_grid(review, found.table, frame, columns, caption=caption, names=len(_KEYS))
        for columns, caption in (
            (_PRICES, "Every price, those to change first"),
            (_BEHIND, "What each price rests on"),
        )
    )
    moved = frame[frame["verdict"].isin([RAISE, LOWER])]
    if moved.empty:
        line = f"{suggestion_finding(review)}. {_next_steps(frame)}".strip()
        return SuggestionsInfo(title=title, line=line, grids=whole)
    shown = moved.head(MOST_ROWS)
    names = labels_of(shown, found.table)
    texts = [_text(row, say) for _, row in shown.iterrows()]
    current = number(shown, "current_price")
    some = (
        ""
        if len(shown) == len(moved)
        else f" The chart shows the {MOST_ROWS} of {len(moved)} that bring most."
    )
    return SuggestionsInfo(
        title=suggestion_finding(review),
        alternative=alternative("Dot chart", "suggested change of each price", names, texts),
        grids=(_by_service(frame, say), *whole),
        note="The dot is the suggested price, the mark the floor: the lowest price that leaves the "
        "target margin; both against today's list price. A suggestion keeps within "
        f"{say.percent(100 * review.settings.pricing.largest_change)} of it, so a floor far "
        "off is reached in steps. Gains come out smaller than said where quotes are few: in "
        "simulated shops 94 % of what was expected came with 2,000 quotes, 75 % with 500, "
        f"58 % with 150.{some}",
        names=tuple(names),
        few=tuple(few(shown)),
        unit="%",
        separators=say.separators,
        changes=tuple(number(shown, "change_pct")),
        floors=tuple(100 * (number(shown, "floor_price") / current - 1)),
        texts=tuple(texts),
    )


def draw_suggestions(info: SuggestionsInfo) -> go.Figure:
    """A dot at each suggestion, a mark at its floor, today's price at 0."""
    if info.line:
        return nothing(info.title, info.line)
    none = [np.nan] * len(info.names)
    fig = dots_figure(
        info.names,
        (info.changes, none, none),
        info.texts,
        title=info.title,
        axis="Against today's list price, %",
        separators=info.separators,
        few=info.few,
        looks=[STRONG if change < 0 else PLAIN for change in info.changes],
    )
    fig.data[1].update(name="suggested price (diamond: lower)", showlegend=True)
    fig.data[0].update(showlegend=False)
    known = [abs(each) for each in info.changes if not np.isnan(each)]
    edge = _FURTHEST * max([*known, 1.0])
    shown = np.clip(info.floors, -edge, edge)
    far = np.abs(info.floors) > edge
    fig.add_scatter(
        x=list(shown),
        y=list(range(len(info.names))),
        mode="markers",
        name="floor (triangle: further off)",
        marker={
            "symbol": np.where(far, "triangle-right", "line-ns").tolist(),
            "size": 13,
            "color": INK,
            "line": {"color": INK, "width": 2.5},
        },
        customdata=list(info.floors),
        hovertemplate="floor: %{customdata:+.1f} %<extra></extra>",
    )
    fig.update_xaxes(zeroline=True)
    return fig.update_layout(
        showlegend=True,
        height=fig.layout.height + _LEGEND,
        margin_t=fig.layout.margin.t + _LEGEND,
    )


def _by_service(frame: pd.DataFrame, say: Numbers) -> Grid:
    """A row a service, what brings most first: how many prices move, how far, and the gain."""
    rows = []
    shown = [each for each in (RAISE, HOLD, LOWER, NOT_ENOUGH) if (frame["verdict"] == each).any()]
    for service, part in frame.groupby("service", sort=False):
        moved = part[part["verdict"].isin([RAISE, LOWER])]
        counts = part["verdict"].value_counts()
        under = int((number(part, "current_price") < number(part, "floor_price")).sum())
        cells = [
            label(service),
            change_range(number(moved, "change_pct"), say),
            say.change(number(moved, "expected_gain").sum(min_count=1)),
            *(str(int(counts.get(verdict, 0))) for verdict in shown),
            say.percent(number(part, "margin_pct").mean()),
            str(under),
        ]
        rows.append(tuple(Cell(each) for each in cells))
    heads = ("Service", "Change", "Gain a quarter", *(each.capitalize() for each in shown))
    more = ("Margin now, mean", "Under the floor")
    headings = tuple(Heading(name, is_number=at > 0) for at, name in enumerate((*heads, *more)))
    return Grid("By service", 1, (), headings, tuple(rows))


def change_range(changes: pd.Series, say: Numbers) -> str:
    """`+12%`, `+4% to +12%`; a dash for none."""
    low, high = say.percent_change(changes.min()), say.percent_change(changes.max())
    return low if low == high else f"{low} to {high}"


def ranked(frame: pd.DataFrame) -> pd.DataFrame:
    """Changes first, those that bring most first; a change of unknown gain by its size."""
    order = pd.DataFrame(
        {
            "place": frame["verdict"].map({RAISE: 0, LOWER: 0, HOLD: 1}).fillna(2),
            "gain": -number(frame, "expected_gain").fillna(0.0),
            "size": -number(frame, "change_pct").abs(),
        }
    ).sort_values(["place", "gain", "size"], kind="stable")
    return frame.loc[order.index].reset_index(drop=True)


def suggestion_finding(review: Review) -> str:
    """How many prices to change and what that is expected to bring, without a full stop."""
    frame = slices_of(review, "price_suggestions").quarter
    say = Numbers(review.settings)
    moved = frame[frame["verdict"].isin([RAISE, LOWER])]
    unsure = int((frame["verdict"] == NOT_ENOUGH).sum())
    if moved.empty:
        if unsure == len(frame):
            return f"For none of {counted(len(frame), 'price')} is there enough evidence"
        rest = f"; for {unsure} there is not enough evidence" if unsure else ""
        return f"None of {counted(len(frame), 'price')} needs a change now{rest}"
    parts = [
        f"{word} {counted(count, 'price')}"
        for word, count in (
            ("raise", int((moved["verdict"] == RAISE).sum())),
            ("lower", int((moved["verdict"] == LOWER).sum())),
        )
        if count
    ]
    words = listed(parts)
    return f"{words[:1].upper()}{words[1:]} of {len(frame)}{_gain(moved, say)}"


def _gain(moved: pd.DataFrame, say: Numbers) -> str:
    gain = number(moved, "expected_gain")
    if gain.isna().all():
        return ""
    some = "" if gain.notna().all() else f" from {int(gain.notna().sum())} of them"
    text = f"; {say.change(gain.sum())} a quarter expected{some}"
    if len(gain) <= _TOP or gain.sum() <= 0:
        return text
    top = say.percent(100 * gain.nlargest(_TOP).sum() / gain.sum())
    return f"{text}, {top} of it from the ten that bring most"


def repriced(review: Review) -> list[str]:
    """The services to reprice, those that bring most first: `raise roof (+12% in 10 classes)`.

    Those of the first that move alike stand together; how many come behind them stands last.
    """
    frame = ranked(slices_of(review, "price_suggestions").quarter)
    moved = frame[frame["verdict"].isin([RAISE, LOWER])]
    say = Numbers(review.settings)
    alike: dict[tuple[Any, str], list[str]] = {}
    groups = list(moved.groupby(["service", "verdict"], sort=False))
    for (service, verdict), rows in groups[:_MOST_NAMED]:
        size = change_range(number(rows, "change_pct"), say)
        classes = rows["vehicle_class"].dropna()
        of = f" in {counted(len(classes), 'class', 'classes')}" if len(classes) else ""
        alike.setdefault((verdict, size + of), []).append(label(service))
    named = [
        f"{verdict} {listed(services)} ({'each ' if len(services) > 1 else ''}{how})"
        for (verdict, how), services in alike.items()
    ]
    rest = len(groups) - _MOST_NAMED
    return named + ([counted(rest, "more service")] if rest > 0 else [])


def price_sentence(review: Review) -> str:
    """What to reprice, as a sentence; why it is not known, where it is not."""
    found = slices_of(review, "price_suggestions")
    if found.line:
        return found.line
    named = repriced(review)
    if not named:
        return f"{suggestion_finding(review)}."
    words = listed(named)
    return f"{words[:1].upper()}{words[1:]}."


def _next_steps(frame: pd.DataFrame) -> str:
    """The commonest thing to write down to be surer."""
    steps = frame["next_step"].dropna()
    return str(steps.mode().iloc[0]) if len(steps) else ""


def _text(row: pd.Series, say: Numbers) -> str:
    prices = f"{say.money(row['current_price'])} → {say.money(row['suggested_price'])}"
    gain = say.change(row["expected_gain"])
    if gain == MISSING:
        fewer = say.percent(-row["break_even_volume_pct"])
        return f"{prices}; pays while fewer than {fewer} of the jobs are lost"
    return f"{prices}; {gain} a quarter"


# --- surcharges ----------------------------------------------------------------------------------


def gather_surcharges(review: Review) -> FigureInfo:
    """What to add for flagged vehicles, dearest first: a table alone."""
    found = slices_of(review, "model_surcharges")
    title = "What to add for vehicles that take longer"
    if found.line:
        return FigureInfo(title=title, line=found.line)
    frame = found.quarter.sort_values("surcharge", ascending=False, kind="stable")
    grid = plain_grid(
        review, found.table, frame, _SURCHARGES, caption="Surcharges by vehicle", names=2
    )
    models = len(frame[["make", "model"]].drop_duplicates())
    return FigureInfo(
        title=f"Add a surcharge for {counted(models, 'vehicle model')}, or quote them longer",
        grids=(grid,),
        note="For models that are all but sure to run over, and only for the services on which "
        "they do. Hours beyond others of their class × what an hour must earn. The suggested "
        "prices leave these vehicles out, so nothing is charged twice. Grey rows rest on few jobs "
        "of that service on that model: what the model does elsewhere speaks for them.",
    )


# --- what the suggestions hang on ----------------------------------------------------------------


def gather_sensitivity(review: Review) -> FigureInfo:
    """How many suggestions change with each assumption: a table alone."""
    found = slices_of(review, "price_sensitivity")
    title = "How far the suggestions hang on what was assumed"
    if found.line:
        return FigureInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    keys = ["service", "vehicle_class"]
    base = (
        slices_of(review, "price_suggestions")
        .quarter[[*keys, "floor_price", "suggested_price"]]
        .rename(columns={"floor_price": "floor_now", "suggested_price": "price_now"})
    )
    frame = found.quarter.merge(base, on=keys, how="left", validate="m:1")
    rows, most = [], ("", 0)
    for assumption, part in frame.groupby("assumption", sort=False):
        moved = int(part["moved"].astype("boolean").fillna(False).sum())
        most = max(most, (str(assumption), moved), key=lambda each: each[1])
        floor = 100 * (number(part, "floor_price") / number(part, "floor_now") - 1).mean()
        price = 100 * (number(part, "suggested_price") / number(part, "price_now") - 1).mean()
        counts = part["verdict"].value_counts()
        cells = [
            label(assumption),
            say.percent_change(floor, 1),
            f"{moved} of {len(part)}",
            say.percent_change(price, 1),
            *(str(int(counts.get(verdict, 0))) for verdict in (RAISE, HOLD, LOWER, NOT_ENOUGH)),
        ]
        rows.append(tuple(Cell(each) for each in cells))
    names = ("Assumption", "Floor, mean", "Suggestions that change", "Suggested price, mean")
    headings = tuple(
        Heading(name, is_number=at > 0)
        for at, name in enumerate((*names, "Raise", "Hold", "Lower", "Not enough evidence"))
    )
    finding = (
        "No assumption changes a suggestion"
        if not most[1]
        else f"Most suggestions change with: {most[0]} ({most[1]})"
    )
    return FigureInfo(
        title=finding,
        grids=(Grid("One assumption changed at a time", 1, (), headings, tuple(rows)),),
        note="The suggestions made again with one assumption changed; every price stands in the "
        "table price_sensitivity. Means are against those of this review. Where it is known what "
        "customers do, that decides, and a higher target only moves the floor under which no price "
        "is lowered.",
    )
