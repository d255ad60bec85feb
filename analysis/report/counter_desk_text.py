"""What the desk of the counter sale says beside its sliders: whether it pays, and why."""

import html
from dataclasses import replace
from typing import Final

import numpy as np
from babel.numbers import get_currency_precision

from analysis.locale_text import MISSING
from analysis.pricing.counter_arithmetic import Assumptions
from analysis.report.grids import Cell, Grid, Heading
from analysis.report.notebook import Shown
from analysis.report.numbers import Numbers

_PERCENT: Final = 100
# Above this, the cents of a sale are not worth reading. [money]
_CENTS_UP_TO: Final = 1000.0
_FEE, _EXTRAS = "Tax and card fee", "Tools and the like"
_LEFT_OUT_AT_NOTHING: Final = (_FEE, _EXTRAS)
_NOTHING: Final = 0.0005
_TABLE: Final = '<table style="border-collapse:separate;border-spacing:12px 3px">'


def idle_and_full(now: Assumptions) -> tuple[Assumptions, Assumptions]:
    """The same sale in months with idle bays, and in full ones."""
    return replace(now, refill=0.0), replace(now, refill=1.0)


def finding(now: Assumptions, say: Numbers) -> str:
    """What a sale leaves and at which displaced share nothing is left, without a full stop."""
    even, start = now.break_even_share, _leaves(now.net, say)
    if np.isnan(even):
        return f"{start}; displaced installs cost nothing"
    if even > 1:
        return f"{start}, and something even if all displace an install"
    if even < 0:
        return f"{start}, and loses even if none displaces an install"
    return f"{start}; nothing is left at {say.percent(_PERCENT * even)} displaced"


def _leaves(net: float, say: Numbers) -> str:
    """`A sale leaves $12.40`, `A sale loses $3.10`."""
    return f"A sale {'loses' if net < 0 else 'leaves'} {amount(abs(net), say)}"


def amount(value: float, say: Numbers, largest: float | None = None) -> str:
    """Money of a single sale, with the cents of the currency where it (or `largest`) is small."""
    small = abs(value if largest is None else largest) < _CENTS_UP_TO
    places = get_currency_precision(say.settings.currency) if small else 0
    # What rounds to nothing has no sign.
    return say.money(round(value, places + 1) + 0.0, places)


def in_html(now: Assumptions, notes: list[str], say: Numbers) -> str:
    """What follows in a few lines and a table of the parts; what could be markup is escaped."""
    first = f"{_leaves(now.net, say)}. {_by_months(now, say)}"
    lines = (
        f"{_break_even(now, say)} Lowest price as written: {amount(now.lowest_price, say)}, tools "
        "and the like not counted.",
        _months_mean(now, say),
        *notes,
    )
    strong = paragraph(first).replace("<p>", "<p><strong>").replace("</p>", "</strong></p>")
    # A table inside a widget has no room between its cells unless it is given some.
    table = Shown(_parts_grid(now, say))._repr_html_().replace("<table>", _TABLE)
    rest = "".join(paragraph(each) for each in lines[1:] if each)
    return f'<div style="line-height:1.4">{strong}{paragraph(lines[0])}{table}{rest}</div>'


def _by_months(now: Assumptions, say: Numbers) -> str:
    """Whether it pays with bays idle, and with bays full."""
    idle, full = (each.net for each in idle_and_full(now))
    left = (amount(idle, say), amount(full, say))
    if idle > 0 and full > 0:
        return f"It pays with bays idle ({left[0]}) and with bays full ({left[1]})."
    if idle > 0:
        return f"It pays with bays idle ({left[0]}), and loses with bays full ({left[1]})."
    if full > 0:
        return f"It pays with bays full ({left[1]}), and loses with bays idle ({left[0]})."
    return f"It does not pay, with bays idle ({left[0]}) or full ({left[1]})."


def _break_even(now: Assumptions, say: Numbers) -> str:
    even = now.break_even_share
    if np.isnan(even):
        why = "other work takes their hours" if now.refill >= 1 else "an install leaves nothing"
        return f"As set, displaced installs cost nothing: {why}."
    if even > 1:
        return "As set, it pays even if every sale takes an install's place."
    if even < 0:
        return "As set, it loses even if no sale takes an install's place."
    return (
        f"As set, it pays while fewer than {say.percent(_PERCENT * even)} of sales take an "
        f"install's place, and {say.percent(_PERCENT * now.displaced)} do."
    )


def _months_mean(now: Assumptions, say: Numbers) -> str:
    """What idle and full do to the sum."""
    wage = f"its wage ({amount(now.loaded, say)})"
    gone = "Bays full: other work takes the hours of a displaced install, so that it costs nothing"
    if not now.takes_installers or now.hour_earned <= now.loaded:
        return (
            f"Bays idle: a displaced install is lost. {gone}. An hour at the counter costs {wage}."
        )
    return (
        f"Bays idle: a displaced install is lost, and an hour at the counter costs {wage}. {gone}, "
        f"and an hour costs what it would earn on a car ({amount(now.hour_earned, say)})."
    )


def _parts_grid(now: Assumptions, say: Numbers) -> Grid:
    """Every part of a sale, as set, with bays idle and with bays full; they add to what is left."""
    sales = (now, *idle_and_full(now))
    columns = [_parts(each) for each in sales]
    largest = max(abs(value) for column in columns for value in column.values())
    rows = tuple(
        (Cell(name), *(Cell(amount(column[name], say, largest)) for column in columns))
        for name in columns[0]
        if name not in _LEFT_OUT_AT_NOTHING or abs(columns[0][name]) > _NOTHING
    )
    evens = [each.break_even_share for each in sales]
    shares = [say.percent(_PERCENT * each) if 0 <= each <= 1 else MISSING for each in evens]
    rows = (*rows, (Cell("Nothing is left at, displaced"), *map(Cell, shares)))
    heads = ("As set", "Bays idle", "Bays full")
    headings = (Heading("Part of a sale", is_number=False), *(Heading(each) for each in heads))
    return Grid("What a sale leaves, part by part", 1, (), headings, rows)


def _parts(now: Assumptions) -> dict[str, float]:
    """Signed parts that add to the last. [money]"""
    terms = now.terms
    kept = now.price * terms.kept_share - terms.card_fixed
    return {
        "Price": now.price,
        _FEE: kept - now.price,
        _EXTRAS: now.extras,
        "Film": -now.film,
        "Staff time": -now.staff,
        "Displaced installs": -now.displaced_cost,
        "Later installs": now.later_gain,
        "Left": now.net,
    }


def paragraph(text: str) -> str:
    """A paragraph in which a notebook sees neither markup nor a formula."""
    return f"<p>{html.escape(text).replace('$', '<span>$</span>')}</p>"
