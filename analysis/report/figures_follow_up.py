"""The figure about price decisions: what each was to bring, and what came of it."""

import math
from dataclasses import dataclass
from typing import Any, Final

import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import counted
from analysis.pricing.follow_up_words import GAINED, LOST, NO_DIFFERENCE, TOO_EARLY
from analysis.report.dots import PLAIN, STRONG, THIN, Line, dots_figure
from analysis.report.grids import Grid, RowsInfo, Slices, number, plain_grid, slices_of
from analysis.report.look import alternative, nothing
from analysis.report.numbers import Numbers, label, shortened
from analysis.report.results import Review

MOST_ROWS: Final = 14
# The mark of each verdict: its look, and a symbol that reads without colour.
MARKS: Final = {
    GAINED: (PLAIN, "triangle-up"),
    LOST: (STRONG, "triangle-down"),
    NO_DIFFERENCE: (PLAIN, "circle"),
    TOO_EARLY: (THIN, "circle-open"),
}
# An interval that reaches further than this from its dot tells nothing and would squeeze the rest.
WIDEST_PCT: Final = 20.0
_NAME: Final = 28
_KEYS: Final = ("service", "vehicle_class", "effective_from")
_JUDGED: Final = (*_KEYS, "old_price", "new_price", "verdict", "reason", "quotes", "jobs")
_EXPECTED: Final = (
    *_KEYS,
    "expected_win_pct",
    "realised_win_pct",
    "win_low_pct",
    "win_high_pct",
    "win_before_pct",
    "expected_price",
    "realised_price",
    "expected_hours",
    "realised_hours",
    "hours_low",
    "hours_high",
    "expected_margin",
    "realised_margin",
    "margin_low",
    "margin_high",
    "gain",
    "gain_low",
    "gain_high",
    "quotes",
    "jobs",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class FollowUpInfo(RowsInfo):
    """Gain an enquiry by decision, newest first, with its 90 % interval [percent of the old price].

    Missing where it cannot be told, or where its interval is too wide to draw.
    """

    gains: tuple[float, ...] = ()
    lows: tuple[float, ...] = ()
    highs: tuple[float, ...] = ()
    verdicts: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()


def gather_follow_up(review: Review) -> FollowUpInfo:
    """The decisions taken by the quarter's end, the newest first."""
    found = slices_of(review, "price_follow_up")
    title = "Did the prices work?"
    if found.line:
        return FollowUpInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    every = found.quarter.sort_values(
        ["effective_from", "decided_on"], ascending=False, kind="stable"
    )
    shown = every.head(MOST_ROWS)
    names = [_name(row, say) for row in shown.to_dict("records")]
    texts = [_text(row, say) for row in shown.to_dict("records")]
    gains, lows, highs = _drawn(shown)
    some = "" if len(shown) == len(every) else f" The newest {len(shown)} are drawn."
    return FollowUpInfo(
        title=_title(every["verdict"], say),
        alternative=alternative(
            "Dot chart with intervals", "gain an enquiry by price decision", names, texts
        ),
        grids=_grids(review, found, every),
        note="What an enquiry leaves: the chance to win it × what the job then leaves. The dot is "
        "that since the decision less that before, in percent of the old price; the line is its "
        "90 % interval. Every job counts at one expected cost, every price without what the list "
        "moved by otherwise, and the share won before is moved by what the rest of the shop did "
        "meanwhile. Triangle up: gained; down: lost; full circle: no difference to speak of; open "
        f"circle: too early to tell. Without a mark: too few quotes to draw.{some}",
        names=tuple(names),
        few=(False,) * len(shown),
        unit="%",
        separators=say.separators,
        gains=gains,
        lows=lows,
        highs=highs,
        verdicts=tuple(shown["verdict"]),
        texts=tuple(texts),
    )


def draw_follow_up(info: FollowUpInfo) -> go.Figure:
    """A mark at each gain by its verdict, on a line over its interval, around no gain."""
    if info.line:
        return nothing(info.title, info.line)
    marks = [MARKS[verdict] for verdict in info.verdicts]
    fig = dots_figure(
        info.names,
        (info.gains, info.lows, info.highs),
        info.texts,
        title=info.title,
        axis="Gain an enquiry, % of the old price",
        separators=info.separators,
        few=info.few,
        looks=[look for look, _ in marks],
        lines=(Line(0.0, "as before"),),
    )
    symbols = [symbol for _, symbol in marks]
    fig.update_xaxes(range=_reach(info))
    # The line stands beside the marks alone, so that no name above them is struck through.
    whole = fig.layout.shapes[0]
    whole.update(yref="y")
    places = range(len(info.names))
    fig.layout.shapes = [go.layout.Shape(whole, y0=at - 0.18, y1=at + 0.3) for at in places]
    return fig.update_traces(marker_symbol=symbols, selector={"mode": "markers"})


def _reach(info: FollowUpInfo) -> list[float]:
    """Ends of the axis: every interval with room at its ends, and no gain; something where none."""
    ends = [0.0, *(each for each in (*info.lows, *info.highs) if not math.isnan(each))]
    room = 0.06 * (max(ends) - min(ends)) or WIDEST_PCT / 2
    return [min(ends) - room, max(ends) + room]


def _name(row: dict[Any, Any], say: Numbers) -> str:
    given = [row["service"], row["vehicle_class"]]
    what = " ".join(label(each) for each in given if not pd.isna(each))
    return f"{shortened(what, _NAME)}, {say.day(row['effective_from'])}"


def _text(row: dict[Any, Any], say: Numbers) -> str:
    moved = f"{say.money(row['old_price'])} to {say.money(row['new_price'])}: {row['verdict']}"
    # While it may be chance, the figure stands in the table beside its interval alone.
    if row["verdict"] == TOO_EARLY:
        return moved
    return f"{moved}, {say.change(row['gain'])} an enquiry"


def _drawn(shown: pd.DataFrame) -> tuple[tuple[float, ...], ...]:
    old = number(shown, "old_price")
    gain, low, high = (
        100 * number(shown, name) / old.where(old > 0) for name in ("gain", "gain_low", "gain_high")
    )
    told = (high - gain).combine(gain - low, max) <= WIDEST_PCT
    return tuple(tuple(each.where(told)) for each in (gain, low, high))


def _grids(review: Review, found: Slices, every: pd.DataFrame) -> tuple[Grid, ...]:
    judged = plain_grid(
        review, found.table, every, _JUDGED, caption="What became of each price", names=3
    )
    expected = plain_grid(
        review, found.table, every, _EXPECTED, caption="Expected, and what came", names=3
    )
    return judged, expected


def _title(verdicts: pd.Series, say: Numbers) -> str:
    """The finding: how many gained, lost, made no difference, and how many cannot be told."""
    count = verdicts.value_counts()
    every = counted(len(verdicts), "price decision")
    early = int(count.get(TOO_EARLY, 0))
    if early == len(verdicts):
        none = "none can be told" if early > 1 else "it cannot be told"
        return f"{every.capitalize()} so far: {none} from chance yet"
    words = [
        f"{say.number(count[verdict])} {words}"
        for verdict, words in (
            (GAINED, "gained"),
            (LOST, "lost"),
            (NO_DIFFERENCE, "made no difference to speak of"),
        )
        if verdict in count
    ]
    if early:
        words.append(f"{say.number(early)} cannot be told yet")
    return f"Of {every}, {', '.join(words)}"
