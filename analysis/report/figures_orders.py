"""The figure about ordering: how long the stock of each film lasts, and whole rolls to order."""

from dataclasses import dataclass
from typing import Final

import pandas as pd
import plotly.graph_objects as go

from analysis.locale_text import MISSING, counted, listed
from analysis.report.figures_allowance import with_texts
from analysis.report.grids import RowsInfo, number, plain_grid, slices_of
from analysis.report.look import (
    GAIN,
    INK,
    LOSS,
    TOTAL,
    Panel,
    alternative,
    chart_names,
    nothing,
    rows_figure,
)
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

MOST_ROWS: Final = 15
_MOST_NAMED: Final = 3
_LEGEND: Final = 22
# A bar ends here, or at twice the lead time and safety days: film that lies for years would press
# all others flat. [weeks]
LONGEST_BAR: Final = 26.0
_COLUMNS: Final = (
    "film",
    "order_rolls",
    "order_cost",
    "reason",
    "cover_weeks",
    "on_hand_area",
    "reorder_area",
    "weekly_area",
    "weekly_low",
    "weekly_high",
    "waiting_jobs",
    "waiting_area",
    "roll_width",
    "roll_length",
)


@dataclass(frozen=True, eq=False, kw_only=True)
class OrdersInfo(RowsInfo):
    """Weeks that the stock of each film lasts, and what to order; what to order first.

    `weeks` : as computed; `bars` : no longer than a bar may be; `rolls` : NaN where how many is
    not known; `horizon_weeks` : lead time and safety days of the settings.
    """

    weeks: tuple[float, ...] = ()
    bars: tuple[float, ...] = ()
    rolls: tuple[float, ...] = ()
    costs: tuple[float, ...] = ()
    texts: tuple[str, ...] = ()
    horizon_weeks: float = float("nan")


def gather_orders(review: Review) -> OrdersInfo:
    """Each film's stock in weeks; films to order first, then what runs out soonest."""
    found = slices_of(review, "film_orders")
    if found.line:
        return OrdersInfo(title="What to order", line=found.line)
    say = Numbers(review.settings)
    frame = _ordered(found.quarter)
    shown = frame.head(MOST_ROWS)
    names = [label(each) for each in shown["film"]]
    texts = [_text(row, say) for _, row in shown.iterrows()]
    weeks = number(shown, "cover_weeks")
    ordering = review.settings.ordering
    horizon = (ordering.lead_days + ordering.safety_days) / 7
    longest = max(LONGEST_BAR, 2 * horizon)
    covers = [_weeks(each, say) for each in number(frame, "cover_weeks")]
    caption = "What to order, film by film"
    grid = plain_grid(review, found.table, frame, _COLUMNS, caption=caption)
    some = (
        "" if len(shown) == len(frame) else f" The chart shows {MOST_ROWS} of {len(frame)} films."
    )
    return OrdersInfo(
        title=order_finding(review),
        alternative=alternative(
            "Bar chart", "weeks that the stock of each film lasts", names, texts
        ),
        grids=(with_texts(grid, _COLUMNS, {"cover_weeks": covers}),),
        note=f"As of {_day(frame, say)}, the newest day of the records. The mark is "
        f"lead time and safety days ({say.number(ordering.lead_days)} + "
        f"{say.number(ordering.safety_days)} days, ordering in shop.toml). Hatched bars: "
        "order now, in whole rolls, at the newest landed cost. Film of "
        "few jobs is bought for a job and not for the shelf, however little is left. Jobs that "
        f"wait are counted as cut first. A bar ends at {say.number(longest)} weeks. Offcuts and "
        f"film on its way are not counted: take off what is on its way.{some}",
        names=tuple(names),
        few=(False,) * len(names),
        unit="weeks",
        separators=say.separators,
        weeks=tuple(weeks),
        bars=tuple(weeks.clip(upper=longest)),
        rolls=tuple(number(shown, "order_rolls")),
        costs=tuple(number(shown, "order_cost")),
        texts=tuple(texts),
        horizon_weeks=horizon,
    )


def draw_orders(info: OrdersInfo) -> go.Figure:
    """Bars of weeks, those to order hatched, and a mark at lead time and safety days."""
    if info.line:
        return nothing(info.title, info.line)
    looks = [_look(rolls) for rolls in info.rolls]
    panel = Panel(info.bars, info.texts, looks, "Stock lasts, weeks")
    names = chart_names(info.names, info.few)
    fig = rows_figure(names, [panel], title=info.title, separators=info.separators)
    fig.data[0].update(showlegend=False)
    # A mark on each row and no line through all of them, which would cross the names.
    fig.add_scatter(
        x=[info.horizon_weeks] * len(names),
        y=list(range(len(names))),
        mode="markers",
        name="lead time + safety days",
        marker={"symbol": "line-ns", "size": 14, "line": {"color": INK, "width": 2.5}},
        hovertemplate="lead time + safety days: %{x:.1f} weeks<extra></extra>",
    )
    known = [each for each in info.bars if not pd.isna(each)]
    most = max([*known, 1.5 * info.horizon_weeks, 1.0])
    fig.update_xaxes(range=[0, 1.02 * most])
    return fig.update_layout(
        showlegend=True,
        height=fig.layout.height + _LEGEND,
        margin_t=fig.layout.margin.t + _LEGEND,
    )


def order_finding(review: Review) -> str:
    """What to order now and what it costs in all, without a full stop."""
    found = slices_of(review, "film_orders").quarter
    say = Numbers(review.settings)
    frame = _ordered(found)
    rolls = number(frame, "order_rolls")
    wanted = frame[rolls > 0]
    unknown = int(rolls.isna().sum())
    doubt = f"; for {counted(unknown, 'film')} it is not known" if unknown else ""
    if wanted.empty:
        return f"Nothing has to be ordered now{doubt}"
    named = [
        f"{label(film)} ({counted(count, 'roll')})"
        for film, count in zip(
            wanted["film"].head(_MOST_NAMED), number(wanted, "order_rolls"), strict=False
        )
    ]
    rest = len(wanted) - len(named)
    names = listed(named + ([f"{rest} more"] if rest else []))
    below = [label(each) for each in wanted.loc[number(wanted, "on_hand_area") < 0, "film"]]
    count = f"; count {listed(below[:_MOST_NAMED])} first" if below else ""
    return f"Order now: {names}{_in_all(wanted, say)}{count}{doubt}"


def order_sentence(review: Review) -> str:
    """What to order now, as a sentence; why it is not known, where it is not."""
    line = slices_of(review, "film_orders").line
    return line or f"{order_finding(review)}."


def _in_all(wanted: pd.DataFrame, say: Numbers) -> str:
    costs = number(wanted, "order_cost")
    if costs.isna().all():
        return "; what it costs is not known"
    total = say.money(costs.sum())
    if costs.isna().any():
        return f", {total} without {counted(int(costs.isna().sum()), 'film')} of unknown cost"
    return f", {total} in all" if len(wanted) > 1 else f", {total}"


def _ordered(frame: pd.DataFrame) -> pd.DataFrame:
    """Films to order first, then those of which it is not known, then what runs out soonest."""
    rolls = number(frame, "order_rolls")
    order = pd.DataFrame(
        {
            "place": (rolls > 0).map({True: 0, False: 2}).mask(rolls.isna(), 1),
            "weeks": number(frame, "cover_weeks"),
        }
    ).sort_values(["place", "weeks"], kind="stable", na_position="last")
    return frame.loc[order.index].reset_index(drop=True)


def _look(rolls: float) -> str:
    if pd.isna(rolls):
        return TOTAL
    return LOSS if rolls > 0 else GAIN


def _text(row: pd.Series, say: Numbers) -> str:
    weeks = row["cover_weeks"]
    lasts = "not in use" if pd.isna(weeks) else f"{_weeks(weeks, say)} weeks"
    rolls = row["order_rolls"]
    if pd.isna(rolls):
        return f"rolls to order not known; {lasts}"
    if not rolls > 0:
        return lasts
    cost = say.money(row["order_cost"])
    price = "" if cost == MISSING else f" ({cost})"
    first = "count, then order" if row["on_hand_area"] < 0 else "order"
    return f"{first} {counted(rolls, 'roll')}{price}; lasts {lasts}"


def _weeks(weeks: float, say: Numbers) -> str:
    return say.number(weeks, 1 if weeks < 10 else 0)


def _day(frame: pd.DataFrame, say: Numbers) -> str:
    return say.day(pd.Timestamp(frame["as_of"].iloc[0]))
