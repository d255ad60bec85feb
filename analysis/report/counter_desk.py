"""A counter sale with its assumptions beside it, for a notebook: move one, see whether it pays."""

import math
from dataclasses import fields, replace
from numbers import Real
from typing import Any, Final

import ipywidgets as widgets  # type: ignore[import-untyped]
import pandas as pd
import plotly.graph_objects as go

from analysis.errors import Unavailable
from analysis.locale_text import counted, listed
from analysis.pricing.counter_arithmetic import Assumptions
from analysis.pricing.counter_model import CounterModel
from analysis.pricing.counter_words import lacking
from analysis.pricing.price_lines import PriceTerms
from analysis.report.cautions import PRICE_CAUTION
from analysis.report.counter_answers import counter_answer
from analysis.report.counter_desk_text import (
    amount,
    finding,
    idle_and_full,
    in_html,
    paragraph,
)
from analysis.report.grids import Cell, Grid, Heading
from analysis.report.look import BLUE, GREEN, INK, ORANGE, PAPER, TEMPLATE, VERMILION, plain
from analysis.report.notebook import Shown
from analysis.report.numbers import Numbers, typed
from analysis.report.results import Review
from analysis.settings import Settings

_PERCENT: Final = 100
_SHARES: Final = ("refill", "refill_later", "displaced", "later")
_NEVER_LESS_THAN_NOTHING: Final = ("price", "film", "minutes", "loaded")
_NO_SALES: Final = "The review holds no counter sales."
_TYPED_NOTE: Final = (
    "All of this follows from what was typed in. To learn it instead, write down every sale with "
    "its minutes, with the answer in would_book, and with the number of an install booked later."
)
_LATER_NOTE: Final = (
    "An install booked later is taken to leave nothing: type later_install to say what it leaves."
)
# Ends of the sliders where what is assumed does not ask for more. [minutes, money]
_MINUTES_TO: Final = 120.0
_MONEY_TO: Final = 100.0
# A slider of money has at least so many steps.
_STEPS: Final = 200
# A browser may write a slider's value with other last digits; less than this of a step is no move.
_NO_MOVE: Final = 1e-6
_ROUND: Final = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0)
_HEIGHT: Final = 380
_ROOM: Final = 0.08
_ENDS: Final = (0.0, 100.0)
# Positions of the figure's traces.
_LINES, _NOW, _EVEN = (0, 1, 2), 3, 4
_TOOLS: Final = ("zoom", "pan", "select", "lasso", "zoomIn", "zoomOut", "autoScale", "resetScale")


# --- from the records ----------------------------------------------------------------------------


def assumptions_from(
    review: Review, *, film: str | None = None, months: str | None = None
) -> Assumptions:
    """The counter sale of the twelve months on the mean; of one film, or of `months`, alone.

    `months` : `idle`, `full` or `not known`. Raises `ValueError`, with the reason, where no sale of
    theirs has every amount known.

    Notes
    -----
    Each mean is weighted by what it is multiplied with, so that fee, film, displaced and later
    installs, and the break-even share, are those of the verdict on the same sales. Staff time is
    not quite: an hour costs its wage or what it would earn, whichever is more in its own month, and
    here in one month of the mean fullness, which as a rule is less. On the demo shop `net` is some
    $3 over the verdict's $45 for all sales, $1 for those of full months, nothing for idle ones.
    """
    model, settings = _model(review), review.settings
    chosen = _told(review, film, months)
    install = float(chosen["install_contribution"].mean())
    free = 1 - chosen["refill_share"]
    share = chosen["displaced_share"]
    displaced = _weighted(share, chosen["install_contribution"] * free)
    return Assumptions(
        price=float(chosen["price"].mean()),
        film=float(chosen["film_cost"].mean()),
        extras=float(chosen["extras_margin"].mean()),
        minutes=float(chosen["usual_minutes"].mean()),
        loaded=_weighted(chosen["staff_rate"], chosen["usual_minutes"]),
        hour_earned=0.0 if math.isnan(model.hour_earned) else model.hour_earned,
        refill=float(chosen["refill_share"].mean()),
        refill_later=model.refill_later,
        # Installs that lose money may carry the weighted mean beyond every share there is.
        displaced=min(max(displaced, float(share.min())), float(share.max())),
        install=_weighted(chosen["install_contribution"], free),
        later=model.mean_later,
        later_install=install + float(model.later_apart.mean()),
        takes_installers=settings.counter.takes_installers,
        terms=_terms(chosen, settings),
    )


def _model(review: Review) -> CounterModel:
    """What the decision is made from; `ValueError` where nothing was sold."""
    counter = review.counter
    if counter is None or counter.model is None:
        found = counter.tables.get("counter_verdicts") if counter else None
        raise ValueError(found.line if isinstance(found, Unavailable) else _NO_SALES)
    return counter.model


def _told(review: Review, film: str | None, months: str | None) -> pd.DataFrame:
    """Sales of the twelve months of which every amount is known; `ValueError` where none is."""
    sales = _model(review).sales
    year = sales[sales["is_recent"]]
    chosen = year
    for name, value in (("film", film), ("month_kind", months)):
        chosen = chosen if value is None else chosen[chosen[name] == value]
    what = (f" of {typed(film)}" if film else "") + (
        f" in {typed(months)} months" if months else ""
    )
    if chosen.empty:
        last = Numbers(review.settings).day(review.quarter.last_day)
        raise ValueError(
            f"No counter sale{what} stands in the twelve months to {last}. {_there(year)}".strip()
        )
    told = chosen[chosen["told"].astype(bool)]
    if told.empty:
        wants = lacking(chosen)
        raise ValueError(
            f"Of {counted(len(chosen), 'counter sale')}{what} in the twelve months not one has "
            f"every amount known. {f'It wants {wants}.' if wants else ''}".strip()
        )
    return told


def _there(year: pd.DataFrame) -> str:
    """What may be asked for."""
    if year.empty:
        return ""
    films, months = (
        listed([typed(each) for each in sorted(year[name].dropna().unique())])
        for name in ("film", "month_kind")
    )
    return f"Films sold in them: {films}. Months: {months}."


def _weighted(values: pd.Series, weights: pd.Series) -> float:
    """Mean by weight; the plain one where nothing has any, and 0 where nothing is known."""
    total = float(weights.sum())
    mean = float((values * weights).sum()) / total if total else float(values.mean())
    return 0.0 if math.isnan(mean) else mean


def _terms(chosen: pd.DataFrame, settings: Settings) -> PriceTerms:
    """The shop's terms with the fee as it was: only part of the takings came by card."""
    own = PriceTerms.of(settings)
    fee, price = chosen["payment_fee"], chosen["price"]
    by_card = _weighted((fee > 0).astype("float64"), price)
    share = own.card_share * by_card
    return PriceTerms(own.net_of_tax, share, float(fee.mean()) - share * float(price.mean()))


def _of_records(told: pd.DataFrame, first: Assumptions, say: Numbers) -> str:
    """Where the start comes from, and how far it is from what the records say sale by sale."""
    start = f"The sliders start at the means of {counted(len(told), 'sale')} of the twelve months."
    net = float(told["expected_net"].mean())
    apart = first.net - net
    if amount(first.net, say) == amount(net, say):
        return start
    return (
        f"{start} Each in its own month, they left {amount(net, say)}, {amount(abs(apart), say)} "
        f"{'less' if apart > 0 else 'more'}: here all months are alike, and staff time costs what "
        "it does in the mean month."
    )


# --- the answer ----------------------------------------------------------------------------------


def verdict(review: Review) -> Shown:
    """The owner's question with its answer, and what stands behind it."""
    answer = counter_answer(review)
    rows = (
        (Cell(answer.question), Cell(answer.line)),
        (Cell("What stands behind it"), Cell(answer.detail)),
    )
    headings = (Heading("Question", is_number=False), Heading("Answer", is_number=False))
    return Shown(Grid(review.quarter.spelled, 1, (), headings, rows))


# --- the desk ------------------------------------------------------------------------------------


def counter_desk(start: Review | Assumptions, settings: Settings | None = None) -> widgets.VBox:
    """Sliders for what is assumed of a counter sale, a line over the displaced share, and words.

    Its children are the sliders Price of a sale, Displaced, Minutes, Bays full, Film cost, What an
    install leaves and Come back later, the figure and the text; without a known sale in a review,
    one sentence that says why. `settings` : of the review, else the defaults. Raises `ValueError`
    where a typed assumption is no amount or no share.
    """
    settings = settings or (start.settings if isinstance(start, Review) else Settings())
    say = Numbers(settings)
    if isinstance(start, Assumptions):
        says_nothing = start.later > 0 and start.later_install == 0
        first, notes = start, [*([_LATER_NOTE] if says_nothing else []), _TYPED_NOTE]
    else:
        try:
            first = assumptions_from(start)
        except ValueError as error:
            return widgets.VBox([widgets.HTML(paragraph(str(error)))])
        notes = [_of_records(_told(start, None, None), first, say), PRICE_CAUTION]
    _check(first)
    sliders = _sliders(first, settings.currency)
    # A slider stands at the nearest of its steps; what it stands for counts until it is moved.
    unmoved = {name: slider.value for name, slider in sliders.items()}
    figure, text = _empty_figure(settings), widgets.HTML()

    def renew(_: Any = None) -> None:
        for name, slider in sliders.items():
            if name in unmoved and abs(slider.value - unmoved[name]) > _NO_MOVE * slider.step:
                del unmoved[name]
        values = {name: each.value for name, each in sliders.items() if name not in unmoved}
        now = moved(first, **values)
        _show(figure, now, say)
        text.value = in_html(now, notes, say)

    for slider in sliders.values():
        slider.observe(renew, names="value")
    renew()
    return widgets.VBox([*sliders.values(), figure, text])


def moved(start: Assumptions, **sliders: float) -> Assumptions:
    """Assumptions with the sliders that were moved where they stand. [money, minutes, percent]

    `sliders` : any of `price, displaced, minutes, refill, film, install, later`. A later install
    goes with what an install leaves, at the distance that it had at the start; where nothing was
    said of later installs, they leave the same as any.
    """
    values: dict[str, Any] = {
        name: value / _PERCENT if name in _SHARES else value for name, value in sliders.items()
    }
    install = values.get("install", start.install)
    later_install = start.later_install + install - start.install
    if not start.later_install:
        later_install = 0.0 if start.later else install
    return replace(start, **values, later_install=later_install)


def _check(start: Assumptions) -> None:
    """Raise `ValueError` with what to type instead, so that no slider moves a value by itself."""
    for name in (each.name for each in fields(start) if each.type is float):
        written = getattr(start, name)
        value = float(written) if isinstance(written, Real) else math.nan
        if not math.isfinite(value):
            raise ValueError(f"{name} = {written!r} is no amount: type a number.")
        if name in _NEVER_LESS_THAN_NOTHING and value < 0:
            raise ValueError(f"{name} = {value:g} should be 0 or more.")
        if name in _SHARES and not 0 <= value <= 1:
            hint = f" Write {value / _PERCENT:g} for {value:g} %." if 1 < value <= _PERCENT else ""
            raise ValueError(f"{name} = {value:g} should be a share from 0 to 1.{hint}")
    if start.terms.kept_share <= 0:
        raise ValueError("After tax and card fee nothing is kept of a price: mend the terms.")


def _sliders(start: Assumptions, unit: str) -> dict[str, Any]:
    """The sliders by the name of what they move, each wide enough for where it starts."""
    price = max(start.price, start.lowest_price)
    install = max(abs(start.install), start.price)
    minutes = max(_MINUTES_TO, _round_up(2 * start.minutes))
    return {
        "price": _money(f"Price of a sale, {unit}", start.price, 2 * price),
        "displaced": _share("Displaced, % of sales", start.displaced),
        "minutes": _slider("Minutes of staff time", start.minutes, (0.0, minutes), 1.0),
        "refill": _share("Bays full, % (0: idle)", start.refill),
        "film": _money(f"Film cost, {unit}", start.film, max(2 * start.film, price)),
        "install": _money(f"What an install leaves, {unit}", start.install, 2 * install),
        "later": _share("Come back later, %", start.later),
    }


def _share(name: str, value: float) -> Any:
    return _slider(name, _PERCENT * value, _ENDS, 1.0)


def _money(name: str, value: float, reach: float) -> Any:
    most = _round_up(reach) or _MONEY_TO
    step = 10.0 ** math.floor(math.log10(most / _STEPS))
    return _slider(name, value, (-most if value < 0 else 0.0, most), step)


def _round_up(value: float) -> float:
    """The next round number; 0 for nothing."""
    if value <= 0:
        return 0.0
    scale = 10.0 ** math.floor(math.log10(value))
    return next(each * scale for each in _ROUND if each * scale >= value * (1 - 1e-9))


def _slider(name: str, value: float, ends: tuple[float, float], step: float) -> Any:
    places = max(0, -round(math.log10(step)))
    return widgets.FloatSlider(
        description=name,
        min=ends[0],
        max=ends[1],
        step=step,
        # A browser moves a slider between two steps to one of them, as if somebody had.
        value=round(round(value / step) * step, places),
        readout_format=f".{places}f",
        continuous_update=False,
        layout=widgets.Layout(width="520px"),
        style={"description_width": "220px"},
    )


# --- the figure ----------------------------------------------------------------------------------


def _empty_figure(settings: Settings) -> go.FigureWidget:
    say = Numbers(settings)
    figure = go.FigureWidget()
    for name, colour, dash, width in (
        ("as set", BLUE, "solid", 4),
        ("bays idle", ORANGE, "dash", 2),
        ("bays full", GREEN, "dot", 2),
    ):
        figure.add_scatter(
            x=[],
            y=[],
            mode="lines",
            name=name,
            line={"color": colour, "dash": dash, "width": width},
            hovertemplate=f"%{{x:.0f}} %, {name}: %{{y:,.2f}}<extra></extra>",
        )
    for name, colour, symbol in (
        ("now", PAPER, "circle"),
        ("nothing left", VERMILION, "diamond"),
    ):
        figure.add_scatter(
            x=[],
            y=[],
            mode="markers",
            name=name,
            marker={
                "symbol": symbol,
                "color": colour,
                "size": 13,
                "line": {"color": INK, "width": 2},
            },
            cliponaxis=False,
            hovertemplate=f"{name}: %{{x:.0f}} %, %{{y:,.2f}}<extra></extra>",
        )
    figure.update_layout(
        template=TEMPLATE,
        separators=say.separators,
        height=_HEIGHT,
        margin={"l": 76, "r": 24, "t": 74, "b": 52},
        title={"x": 0, "xanchor": "left", "y": 0.97, "yanchor": "top", "font": {"size": 15}},
        modebar={"remove": [*_TOOLS, "toImage"]},
    )
    figure.update_xaxes(title_text="Sales that take an install's place, %", range=[-1, 101])
    figure.update_yaxes(
        title_text=f"Left a sale, {settings.currency}", tickformat=",", zerolinewidth=1.5
    )
    return figure


def _show(figure: go.FigureWidget, now: Assumptions, say: Numbers) -> None:
    """The lines over the displaced share, where the sliders stand, and where nothing is left."""
    idle, full = idle_and_full(now)
    lines = [
        [replace(each, displaced=end / _PERCENT).net for end in _ENDS] for each in (now, idle, full)
    ]
    even = now.break_even_share
    crosses = 0 <= even <= 1
    ends = [0.0, *(each for line in lines for each in line)]
    room = _ROOM * ((max(ends) - min(ends)) or 1.0)
    with figure.batch_update():
        for at, line in zip(_LINES, lines, strict=True):
            figure.data[at].x, figure.data[at].y = list(_ENDS), line
        figure.data[_NOW].x, figure.data[_NOW].y = [_PERCENT * now.displaced], [now.net]
        figure.data[_EVEN].x = [_PERCENT * even] if crosses else []
        figure.data[_EVEN].y = [0.0] if crosses else []
        figure.layout.yaxis.range = [min(ends) - room, max(ends) + room]
        figure.layout.title.text = plain(finding(now, say))
