"""The figures about demand: what the price does to the quotes won, and when people ask and buy."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
import plotly.graph_objects as go
from plotly.subplots import make_subplots
from scipy.special import expit, logit

from analysis.findings.evidence import wilson_interval
from analysis.locale_text import counted
from analysis.pricing.demand import against_today
from analysis.report.grids import FigureInfo, RowsInfo, few, number, plain_grid, slices_of
from analysis.report.look import (
    BLUE,
    FEW,
    GREY,
    INK,
    ORANGE,
    SKY,
    SOFT_INK,
    alternative,
    finish,
    nothing,
    plain,
)
from analysis.report.numbers import Numbers, label, sentence_case, shortened
from analysis.report.results import Review

Points = tuple[float, ...]

MOST_PANELS: Final = 12
_UNTOLD: Final = "What the price does to the quotes won"
_SEASONS_UNTOLD: Final = "When people ask, and when they buy"
_LIST: Final = "today's list"
_NOT_LEARNT: Final = "not learnt"
# Dots: so many of a service at most, of at least so many quotes each.
_MOST_DOTS, _LEAST_IN_A_DOT = 5, 8
_CURVE_POINTS: Final = 41
_WIDEST: Final = 0.45
_PANEL_HEIGHT, _PANEL_GAP, _SEASONS_HEIGHT = 150, 74, 290
_CURVE_COLUMNS: Final = ("at_list_pct", "at_list_low_pct", "at_list_high_pct", "slope")


@dataclass(frozen=True)
class Curve:
    """One service: its curve with the ends of its band, and the quotes behind it [percent].

    `grid` : the places of the curve, price against today's list less 100 %; `places`, `shares`,
    `lows`, `highs`, `counts` : bins of quotes, their mean price, share won and Wilson's interval.
    """

    name: str
    text: str
    learnt: bool
    few: bool
    grid: Points
    middle: Points
    low: Points
    high: Points
    places: Points
    shares: Points
    lows: Points
    highs: Points
    counts: tuple[int, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class DemandInfo(FigureInfo):
    """The curves, those that are learnt first, the service that minds the price most at the top."""

    curves: tuple[Curve, ...] = ()
    against: str = _LIST
    separators: str = ".,"


@dataclass(frozen=True, eq=False, kw_only=True)
class SeasonsInfo(RowsInfo):
    """Quotes a month, and the chance to win the same quotes, by season [percent]."""

    a_month: Points = ()
    shares: Points = ()
    lows: Points = ()
    highs: Points = ()


def gather_demand(review: Review) -> DemandInfo:
    """How the share of quotes won falls with the price, service by service."""
    found = slices_of(review, "win_chances")
    if found.line:
        return DemandInfo(title=_UNTOLD, line=found.line)
    say = Numbers(review.settings)
    frame = _sorted(found.quarter)
    told = [name for name in found.table.names if name != "enough"]
    grid = plain_grid(review, found.table, frame, told, caption=_UNTOLD)
    known = frame[number(frame, "slope").notna()]
    if known.empty:
        listed = _against(review) == _LIST
        line = f"No service with quotes {'is on the price list' if listed else 'has a price'}."
        return DemandInfo(title=_UNTOLD, line=line, grids=(grid,))
    shown = known.head(MOST_PANELS)
    texts = [_text(row, say) for _, row in shown.iterrows()]
    names = [label(name) for name in shown["service"]]
    against = _against(review)
    some = "" if len(shown) == len(known) else f" The chart shows the first {MOST_PANELS}."
    return DemandInfo(
        title=demand_finding(review),
        alternative=alternative(
            "Small charts of falling curves", "share of quotes won against the price", names, texts
        ),
        grids=(grid,),
        note="Prices that were lowered for those who hesitated make a curve look flatter than it "
        f"is. The curve is the chance to win a quote at a price against {against}, the shaded band "
        "its 90 % interval. Dots are quotes of like prices, the line through each the 90 % Wilson "
        f"interval, the number under it how many. Past prices are put against {against}, carried "
        f"to today at {say.percent(2)} a year. Grey and dashed: the quotes do not tell what the "
        f"price does, and the curve is what is believed of any service.{some}",
        against=against,
        curves=_curves(shown, texts, review),
        separators=say.separators,
    )


def demand_finding(review: Review) -> str:
    """Whose customers mind the price most, and least, without a full stop."""
    frame = slices_of(review, "win_chances").quarter
    say = Numbers(review.settings)
    known = _sorted(frame)
    known = known[known["learnt"].fillna(False).astype(bool) & ~few(known)]
    if known.empty:
        return "The quotes do not tell yet what the price does to the share won"
    first, last = known.iloc[0], known.iloc[-1]
    loses = f"a price 5% higher loses {_lost(first, say)} of the jobs won"
    if len(known) == 1:
        return f"{sentence_case(label(first['service']))}: {loses}"
    sure = first["lost_by_rise_low_pct"] > last["lost_by_rise_high_pct"]
    word = "mind" if sure else "seem to mind"
    return (
        f"Customers for {label(first['service'])} {word} the price most: {loses}; "
        f"for {label(last['service'])} the least: {_lost(last, say)}"
    ).replace("5%", say.percent(5))


def draw_demand(info: DemandInfo) -> go.Figure:
    """A small chart a service, two abreast: the curve, its band, and the quotes."""
    if info.line:
        return nothing(info.title, info.line)
    rows = math.ceil(len(info.curves) / 2)
    height = rows * (_PANEL_HEIGHT + _PANEL_GAP)
    fig = make_subplots(
        rows,
        2,
        horizontal_spacing=0.09,
        vertical_spacing=_PANEL_GAP / height if rows > 1 else 0,
        subplot_titles=[_panel_title(each) for each in info.curves],
    )
    for at, curve in enumerate(info.curves):
        _add_curve(fig, curve, at // 2 + 1, at % 2 + 1)
    finish(fig, title=info.title, separators=info.separators, height=height + 62, head=46)
    ends = [info.curves[0].grid[0], info.curves[0].grid[-1]]
    fig.update_xaxes(range=ends, ticksuffix=" %", zeroline=True, nticks=5)
    fig.update_yaxes(range=[0, 104], nticks=5, showgrid=True)
    for column in (1, 2):
        last = (len(info.curves) - column) // 2 + 1
        if last:
            fig.update_xaxes(title_text=f"Price against {info.against}", row=last, col=column)
    fig.update_yaxes(title_text="Won, %", col=1)
    fig.update_annotations(font_size=13)
    return fig.update_layout(showlegend=False, margin_l=46)


def gather_seasons(review: Review) -> SeasonsInfo:
    """When people ask, and when they buy like for like."""
    found = slices_of(review, "demand_seasons")
    if found.line:
        return SeasonsInfo(title=_SEASONS_UNTOLD, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter
    grid = plain_grid(review, found.table, frame, found.table.names, caption=_SEASONS_UNTOLD)
    names = [label(name) for name in frame["season"]]
    columns = ("a_month", "like_for_like_pct", "low_pct", "high_pct")
    asked, share, low, high = (number(frame, name) for name in columns)
    texts = [
        f"{say.number(often)} quotes a month, won {say.percent(middle)} "
        f"({say.percent_range(least, most)})"
        for often, middle, least, most in zip(asked, share, low, high, strict=True)
    ]
    return SeasonsInfo(
        title=_seasons_title(frame, say),
        alternative=alternative("Bars and dots", "quotes a month and share won", names, texts),
        grids=(grid,),
        note="Bars: quotes of every outcome a month. Dots: the chance to win the same quotes in "
        f"each season, at {_against(review)} and what is usually quoted around it; the line "
        "through each is its 90 % interval. Seasons are quarters of the calendar year.",
        names=tuple(names),
        few=tuple(few(frame)),
        separators=say.separators,
        a_month=tuple(asked),
        shares=tuple(share),
        lows=tuple(low),
        highs=tuple(high),
    )


def draw_seasons(info: SeasonsInfo) -> go.Figure:
    """Bars of the quotes a month beside dots of the chance to win, season by season."""
    if info.line:
        return nothing(info.title, info.line)
    titles = ["<b>Quotes a month</b>", "<b>Won like for like, %</b>"]
    fig = make_subplots(1, 2, horizontal_spacing=0.12, subplot_titles=titles)
    ticks = [plain("–".join(word[:3] for word in name.split(" to "))) for name in info.names]
    fig.add_bar(
        x=ticks,
        y=list(info.a_month),
        marker={"color": ORANGE, "line": {"color": INK, "width": 0.7}},
        hovertemplate="%{y:.0f}<extra></extra>",
        row=1,
        col=1,
    )
    fig.add_scatter(
        x=ticks,
        y=list(info.shares),
        mode="markers",
        marker={"size": 11, "color": BLUE, "line": {"color": INK, "width": 1}},
        error_y=_bars(info.shares, info.lows, info.highs),
        hovertemplate="%{y:.0f} %<extra></extra>",
        row=1,
        col=2,
    )
    finish(fig, title=info.title, separators=info.separators, height=_SEASONS_HEIGHT, head=30)
    fig.update_xaxes(tickangle=0, tickfont_size=11)
    fig.update_yaxes(rangemode="tozero")
    fig.update_yaxes(range=[0, 104], nticks=5, col=2)
    fig.update_annotations(font_size=13)
    return fig.update_layout(showlegend=False, margin_l=40)


def _against(review: Review) -> str:
    """What prices are put against; without a price list, what is usually asked of each service."""
    return _LIST if review.records.has("price_list") else "the usual price"


def _sorted(frame: pd.DataFrame) -> pd.DataFrame:
    """Learnt services first, each part by what a rise loses."""
    order = pd.DataFrame(
        {
            "not_learnt": ~frame["learnt"].fillna(False).astype(bool),
            "few": few(frame),
            "lost": -number(frame, "lost_by_rise_pct"),
        }
    ).sort_values(["not_learnt", "few", "lost"], kind="stable", na_position="last")
    return frame.loc[order.index].reset_index(drop=True)


def _lost(row: pd.Series, say: Numbers) -> str:
    low, high = row["lost_by_rise_low_pct"], row["lost_by_rise_high_pct"]
    return f"{say.percent(row['lost_by_rise_pct'])} ({say.percent_range(low, high)})"


def _text(row: pd.Series, say: Numbers) -> str:
    if not row["learnt"]:
        return f"{_NOT_LEARNT}: {label(row['note']).rstrip('.')}"
    return f"{say.percent(5)} dearer loses {_lost(row, say)}"


def _panel_title(curve: Curve) -> str:
    """The name in bold, and under it what a rise loses, or that it is not learnt."""
    thin = f" ({FEW})" if curve.few else ""
    text = curve.text if curve.learnt else _NOT_LEARNT
    return f"<b>{plain(shortened(curve.name, 30))}{thin}</b><br>{plain(text)}"


def _curves(shown: pd.DataFrame, texts: list[str], review: Review) -> tuple[Curve, ...]:
    records = review.records
    quotes = pd.DataFrame({"service": [], "against": [], "won": []})
    if records.has("quotes"):
        quotes = against_today(records, review.quarter.last_day)
    reach = float(quotes["against"].abs().quantile(0.97)) if len(quotes) else 0.2
    at = np.linspace(-1, 1, _CURVE_POINTS) * float(np.clip(1.1 * reach, 0.1, _WIDEST))
    by_service = dict(list(quotes.groupby("service")))
    none = quotes.head(0)
    return tuple(
        _curve(row, text, at, by_service.get(row["service"], none))
        for (_, row), text in zip(shown.iterrows(), texts, strict=True)
    )


def _curve(row: pd.Series, text: str, at: np.ndarray, quotes: pd.DataFrame) -> Curve:
    middle, low, high = _band(row, at)
    places, won, count = _bins(quotes[quotes["against"].abs() <= np.abs(at).max()])
    ends = wilson_interval(won, count)
    return Curve(
        name=label(row["service"]),
        text=text,
        learnt=bool(row["learnt"]),
        few=bool(few(row.to_frame().T).iloc[0]),
        grid=tuple(100 * (np.exp(at) - 1)),
        middle=tuple(100 * middle),
        low=tuple(100 * low),
        high=tuple(100 * high),
        places=tuple(100 * (np.exp(places) - 1)),
        shares=tuple(100 * won / count),
        lows=tuple(100 * ends[0]),
        highs=tuple(100 * ends[1]),
        counts=tuple(int(each) for each in count),
    )


def _band(row: pd.Series, at: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The curve, and the ends of its band: those of level and slope, taken as independent."""
    shares = np.array([row[name] for name in _CURVE_COLUMNS[:3]], dtype=np.float64) / 100
    level, level_low, level_high = logit(np.clip(shares, 0.001, 0.999))
    slope, flat, steep = (float(row[name]) for name in ("slope", "slope_high", "slope_low"))
    odds = level + slope * at
    # To the right the steep end is the low one, to the left the flat one.
    down = np.where(at > 0, slope - steep, flat - slope) * np.abs(at)
    up = np.where(at > 0, flat - slope, slope - steep) * np.abs(at)
    low = odds - np.hypot(level - level_low, down)
    high = odds + np.hypot(level_high - level, up)
    return expit(odds), expit(low), expit(high)


def _bins(quotes: pd.DataFrame) -> tuple[pd.Series, pd.Series, pd.Series]:
    """Quotes of like prices, as many in each: mean price, how many were won, how many there are."""
    dots = int(np.clip(len(quotes) // _LEAST_IN_A_DOT, 1, _MOST_DOTS))
    order = quotes["against"].rank(method="first") - 1
    bins = (order * dots // max(len(quotes), 1)).astype("int64")
    grouped = quotes.groupby(bins)
    return grouped["against"].mean(), grouped["won"].sum(), grouped["won"].size()


def _add_curve(fig: go.Figure, curve: Curve, row: int, column: int) -> None:
    colour, fill = (BLUE, SKY) if curve.learnt else (SOFT_INK, GREY)
    dash, symbol = ("solid", "circle") if curve.learnt else ("dash", "circle-open")
    at, panel = list(curve.grid), {"row": row, "col": column}
    for ends, filled in ((curve.high, None), (curve.low, "tonexty")):
        fig.add_scatter(
            x=at,
            y=list(ends),
            mode="lines",
            line={"color": fill, "width": 1, "dash": "dot"},
            fill=filled,
            fillcolor="rgba(86, 180, 233, 0.25)" if curve.learnt else "rgba(176, 176, 176, 0.25)",
            hoverinfo="skip",
            **panel,
        )
    fig.add_scatter(
        x=at,
        y=list(curve.middle),
        mode="lines",
        line={"color": colour, "width": 2.5, "dash": dash},
        hovertemplate="price %{x:+.0f} %: won %{y:.0f} %<extra></extra>",
        **panel,
    )
    fig.add_scatter(
        x=list(curve.places),
        y=list(curve.shares),
        mode="markers",
        marker={"size": 8, "color": colour, "symbol": symbol, "line": {"color": INK, "width": 1}},
        error_y=_bars(curve.shares, curve.lows, curve.highs),
        customdata=[counted(each, "quote") for each in curve.counts],
        hovertemplate="%{customdata} at %{x:+.0f} %: won %{y:.0f} %<extra></extra>",
        **panel,
    )
    fig.add_scatter(
        x=list(curve.places),
        y=[5.0] * len(curve.places),
        mode="text",
        text=[str(each) for each in curve.counts],
        textfont={"size": 10, "color": SOFT_INK},
        hoverinfo="skip",
        **panel,
    )


def _bars(middles: Points, lows: Points, highs: Points) -> dict[str, object]:
    return {
        "type": "data",
        "symmetric": False,
        "array": [high - middle for high, middle in zip(highs, middles, strict=True)],
        "arrayminus": [middle - low for middle, low in zip(middles, lows, strict=True)],
        "color": INK,
        "thickness": 1.2,
        "width": 3,
    }


def _seasons_title(frame: pd.DataFrame, say: Numbers) -> str:
    """When most is asked for, and whether the seasons buy alike like for like."""
    asked = number(frame, "a_month")
    if asked.dropna().empty:
        return _SEASONS_UNTOLD
    most, least = frame.iloc[int(asked.argmax())], frame.iloc[int(asked.argmin())]
    start = (
        f"Most quotes are asked for from {label(most['season'])} ({say.number(asked.max())} a "
        f"month), fewest from {label(least['season'])} ({say.number(asked.min())})"
    )
    share = number(frame, "like_for_like_pct")
    if share.dropna().empty:
        return start
    best, worst = frame.iloc[int(share.argmax())], frame.iloc[int(share.argmin())]
    if not best["low_pct"] > worst["high_pct"]:
        return f"{start}; like for like the seasons buy alike, as far as can be told"
    return (
        f"{start}; like for like most are won from {label(best['season'])} "
        f"({say.percent(share.max())}), fewest from {label(worst['season'])} "
        f"({say.percent(share.min())})"
    )
