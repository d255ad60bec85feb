"""The sheet of a kit: one printed page for the counter and for the customer, asking no network.

`kit_sheet.html` says how it looks; text that a person typed is escaped. What an install leaves the
shop, the lowest price and the cost of the film are for the owner alone and do not stand on it.
"""

import re
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Final

import jinja2
import pandas as pd
from markupsafe import Markup

from analysis.errors import WorkbookError
from analysis.locale_text import counted
from analysis.pricing.counter_kits import Kit
from analysis.report.kit_cautions import KIT_CAUTIONS, KIT_DEFER
from analysis.report.kit_text import (
    ASK,
    KitRow,
    allowance_text,
    cut_off,
    kit_name,
    kit_rows,
    price_text,
)
from analysis.report.layout_picture import sealed
from analysis.report.layout_svg import SCALE, layout_svg
from analysis.report.layout_text import Tape, first_numbers
from analysis.report.numbers import Numbers, shop_name, shortened, typed
from analysis.report.quote_text import tax_words
from analysis.settings import Settings

MARK: Final = "kit sheet"
# Room for the drawing on the smaller of the two papers, A4 and US letter. [mm]
_WIDE, _HIGH, _GAP = 104.0, 118.0, 2.0
# Smaller than this, numbers in the drawing are no longer read, and it is left out. [percent]
_LEAST_FIT: Final = 30
# So many rows of the cut list stand beside the drawing, and so many when set closer.
_ROWS, _CLOSE_ROWS = 18, 28
_LONGEST_NAME, _LONGEST_FILM, _LONGEST_TITLE = 26, 36, 60
_SIZE: Final = re.compile(r'width="([\d.]+)mm" height="([\d.]+)mm"')


@dataclass(frozen=True)
class Drawing:
    """The pulls of a kit as SVG pictures; `fit` : what of their full size they are shown at."""

    pulls: tuple[str, ...]
    fit: float


def kit_page(kit: Kit, settings: Settings, quarter_day: pd.Timestamp) -> str:
    """The sheet of a kit: HTML, sealed, one page when printed.

    Parameters
    ----------
    quarter_day : the day whose prices these are

    Raises
    ------
    WorkbookError
        The kit has more different pieces than one page holds.
    """
    environment = jinja2.Environment(
        autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    source = files("analysis.report").joinpath("kit_sheet.html").read_text(encoding="utf-8")
    rows = _rows(kit, settings)
    tape = Tape(settings)
    text = environment.from_string(source).render(
        mark=MARK,
        shop=shop_name(settings),
        name=shortened(kit_name(kit), _LONGEST_TITLE),
        film=shortened(typed(kit.film), _LONGEST_FILM),
        day=Numbers(settings).day(quarter_day),
        tax=_tax(settings),
        kit_price=price_text(kit.price, settings, ASK),
        install_price=price_text(kit.install_price, settings, ASK),
        cut_off=cut_off(kit, settings),
        count=counted(sum(row.count for row in rows), "piece"),
        allowance=allowance_text(kit, settings),
        rows=rows,
        is_close=len(rows) > _ROWS,
        unit=tape.unit,
        unit_in_words=tape.unit_in_words,
        drawing=_drawing(kit, settings),
        cautions=KIT_CAUTIONS,
        defer=KIT_DEFER,
        # The pictures are made here, of text that was escaped there.
        drawn=Markup,
    )
    return sealed(text)


def _rows(kit: Kit, settings: Settings) -> tuple[KitRow, ...]:
    rows = kit_rows(kit, settings)
    if len(rows) > _CLOSE_ROWS:
        raise WorkbookError(
            f"This kit has {len(rows)} different pieces, and one sheet holds {_CLOSE_ROWS}. Ask "
            "for a smaller service, or draw the pieces with the command layout."
        )
    return tuple(replace(row, panel=shortened(row.panel, _LONGEST_NAME)) for row in rows)


def _tax(settings: Settings) -> str:
    """What the prices say about tax."""
    if not settings.prices_include_tax:
        return "tax, where it is due, comes on top"
    return f"{tax_words(settings)} included"


# --- the drawing ---------------------------------------------------------------------------------


def _drawing(kit: Kit, settings: Settings) -> Drawing | None:
    """Every pull, as large as all of them fit; None where they would be too small to read."""
    pulls = kit.layout.pulls
    pictures = [
        layout_svg(pull, settings, first_number=first, key=f"kit-{at}")
        for at, (pull, first) in enumerate(zip(pulls, first_numbers(pulls), strict=True), 1)
    ]
    fit = _fit([_size(each) for each in pictures])
    if fit is None:
        return None
    # They are shown smaller than they say; their rulers stay true.
    unit = Tape(settings).unit
    said, left = f">{unit}, 1 : {SCALE:.0f}</text>", f">{unit}</text>"
    return Drawing(tuple(each.replace(said, left) for each in pictures), fit)


def _size(svg: str) -> tuple[float, float]:
    """Width and height of a picture at its full size. [mm]"""
    found = _SIZE.search(svg)
    if found is None:
        raise ValueError("A picture of a layout without its size.")
    return float(found[1]), float(found[2])


def _fit(sizes: list[tuple[float, float]]) -> float | None:
    """The largest share of their size, at most all of it, at which the pictures fill the room."""
    for percent in range(100, _LEAST_FIT - 1, -1):
        if _height([(w * percent / 100, h * percent / 100) for w, h in sizes]) <= _HIGH:
            return percent / 100
    return None


def _height(sizes: list[tuple[float, float]]) -> float:
    """Height of pictures laid in rows, as a browser breaks them; infinite where one is too wide."""
    height, row_width, row_height = 0.0, 0.0, 0.0
    for width, high in sizes:
        if width > _WIDE:
            return float("inf")
        if row_width and row_width + _GAP + width > _WIDE:
            height, row_width, row_height = height + row_height + _GAP, 0.0, 0.0
        row_width += width + (_GAP if row_width else 0.0)
        row_height = max(row_height, high)
    return height + row_height
