"""The price list of cut film, and the kits for those who fit it themselves: tables alone."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import pandas as pd
from babel.numbers import get_currency_precision

from analysis.counter_tables import COUNTER_KITS, COUNTER_SALES, CUT_FILM_PRICES
from analysis.locale_text import MISSING, counted, listed
from analysis.pricing.sale_costs import INSTALLS_UNKNOWN, STAFF_UNKNOWN
from analysis.report.grids import (
    ABSENT,
    Cell,
    FigureInfo,
    Grid,
    Heading,
    number,
    plain_grid,
    slices_of,
)
from analysis.report.kit_cautions import KIT_CAUTIONS, KIT_DEFER
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review
from analysis.schema import Kind
from analysis.settings import Settings

# Common practice in the trade, no source; the whole of it stands in KIT_CAUTIONS.
KIT_CAUTION: Final = (
    "Film is fitted with blades near paint and skin, with heat, and next to air bags, belts and "
    "sensors behind trim; no film belongs over sensors, cameras and lights, and local rules come "
    "first. The table of what to mind is printed with each kit by the command kit."
)
_KIT_COLUMNS: Final = (
    "service",
    "vehicle_class",
    "film",
    "kit_price",
    "install_price",
    "difference",
    "kit_lowest_price",
    "install_leaves",
    "pieces",
    "cut_list",
    "allowance",
    "cut_length",
    "roll_width",
    "film_area",
    "requests",
    "note",
)
# The lines of each width in the table of a film.
_ASK, _LOWEST, _SO_FAR = "price_to_ask", "lowest_price", "price_so_far"
# Lengths that differ by less are the same on any tape, in any unit.
_SAME_LENGTH, _MOST_PLACES = 1e-4, 3
_LINES: Final = (("to ask", _ASK), ("lowest", _LOWEST), ("so far", _SO_FAR))


@dataclass(frozen=True, eq=False, kw_only=True)
class KitsInfo(FigureInfo):
    """The kits, with what to mind where people fit film by themselves."""

    caution: str = KIT_CAUTION


# --- cut film ------------------------------------------------------------------------------------


def gather_cut_film_prices(review: Review) -> FigureInfo:
    """What to ask for cut film, a table a film; then lowest prices by length, and every piece."""
    found = slices_of(review, CUT_FILM_PRICES.name)
    title = "What to ask for cut film"
    if found.line:
        return FigureInfo(title=title, line=found.line)
    say, settings = Numbers(review.settings), review.settings
    frame, table = found.quarter, found.table
    every = plain_grid(review, table, frame, table.names, caption="Every piece", names=3)
    money = [column.name for column in table.columns if column.kind is Kind.MONEY]
    every = _retold(every, table.names, frame, dict.fromkeys(money, _cents(settings)), say)
    if number(frame, _ASK).isna().all():
        notes = frame["note"].dropna()
        line = str(notes.iloc[0]) if len(notes) else "No price of cut film can be computed."
        return FigureInfo(title=title, line=line, grids=(every,))
    # A film of which no price is known stands in the last table, with what it wants.
    known = number(frame, _ASK).notna().groupby(frame["film"], dropna=False).transform("any")
    shown = _as_text(frame[known], settings, say)
    by_film = dict(list(shown.groupby("film", sort=False, dropna=False)))
    films = [
        _film_grid(label(film), by_film[film], settings) for film in _most_sold(review, by_film)
    ]
    return FigureInfo(
        title=cut_film_finding(frame, say),
        grids=(*films, _per_length_grid(shown, settings), every),
        note="Prices as written. To ask: leaves the target margin of "
        f"{say.percent(100 * settings.counter_margin)} after film and staff time, once it "
        "has paid for displaced installs. Lowest: nothing is left after film, staff time, card "
        "fee, and displaced less later installs. So far: what the shop's sales of twelve months "
        "ask for such a piece. Film at its newest landed cost. The strip is what "
        "the roll is wider than the piece: one that is kept is film for another piece, else the "
        f"price pays for the whole width.{_left_out(frame)}{_not_known(frame[~known])}",
    )


def _most_sold(review: Review, films: Iterable[Any]) -> list[Any]:
    """The films, those sold most in the twelve months first."""
    year = review.year.get(COUNTER_SALES.name)
    sold = year.set_index("film")["sales"].to_dict() if isinstance(year, pd.DataFrame) else {}
    return sorted(films, key=lambda film: -sold.get(film, 0))


def _left_out(frame: pd.DataFrame) -> str:
    """What the prices leave out because it is not known: the same for all, so it is said once."""
    notes = frame["note"].dropna()
    parts = [
        each
        for each in (STAFF_UNKNOWN, INSTALLS_UNKNOWN)
        if notes.str.contains(each, regex=False).any()
    ]
    return f" {' '.join(parts)}" if parts else ""


def _not_known(frame: pd.DataFrame) -> str:
    """The films without a price, each with what it wants."""
    first = frame.drop_duplicates("film")
    named = [
        f"{label(film)}: {label(note)}" if not pd.isna(note) else f"{label(film)}."
        for film, note in zip(first["film"], first["note"], strict=True)
    ]
    return f" Prices are not known of {' '.join(named)}" if named else ""


def cut_film_finding(frame: pd.DataFrame, say: Numbers) -> str:
    """How many pieces are sold under the price to ask, and under the lowest; no full stop."""
    ask, lowest, so_far = (number(frame, each) for each in (_ASK, _LOWEST, _SO_FAR))
    known = so_far.notna() & ask.notna()
    count, under = int(known.sum()), int((so_far < ask)[known].sum())
    if not count:
        pieces = int(ask.notna().sum())
        return (
            f"Prices to ask for {say.number(pieces)} {'piece' if pieces == 1 else 'pieces'} of cut "
            "film; there are no prices so far to hold against them"
        )
    told = f"{say.number(count)} listed {'piece' if count == 1 else 'pieces'}"
    if not under:
        return f"At the prices so far, none of {told} is under the price to ask"
    loss = int((so_far < lowest)[known].sum())
    whose = "and under the lowest price too"
    if under > 1:
        whose = f"{say.number(loss)} of them under the lowest price"
    tail = f", {whose}" if loss else ""
    verb = "is" if under == 1 else "are"
    return (
        f"At the prices so far, {say.number(under)} of {told} {verb} under the price to ask{tail}"
    )


def _as_text(frame: pd.DataFrame, settings: Settings, say: Numbers) -> pd.DataFrame:
    """The keys as numbers, with `width_text` and `length_text`, and the prices as printed."""
    exact = {name: _exact_places(frame[name]) for name in ("width", "length")}
    texts = {
        f"{name}_text": [say.number(each, count) for each in frame[name]]
        for name, count in exact.items()
    }
    per_length = {
        name: say.column(frame[name], CUT_FILM_PRICES.column(name))
        for name in ("lowest_price_per_length", "price_to_ask_per_length")
    }
    places = {_ASK: _ask_places(settings), _LOWEST: _cents(settings), _SO_FAR: _cents(settings)}
    prices = {
        name: [say.number(each, count) for each in number(frame, name)]
        for name, count in places.items()
    }
    return frame.assign(**texts, **per_length, **prices)


def _exact_places(values: pd.Series) -> int:
    """Decimal places that a tape needs for these lengths: as few as leave none of them rounded."""
    known = values.dropna().astype("float64")
    for places in range(_MOST_PLACES):
        if ((known - known.round(places)).abs() < _SAME_LENGTH).all():
            return places
    return _MOST_PLACES


def _film_grid(film: str, part: pd.DataFrame, settings: Settings) -> Grid:
    """Widths down, lengths across: to ask, lowest, and so far where the shop has sold such."""
    lengths = _lengths(part)
    rows: list[tuple[Cell, ...]] = []
    for _, of_width in part.sort_values("width", kind="stable").groupby("width", dropna=False):
        width = str(of_width["width_text"].iloc[0])
        for word, name in _LINES:
            found = dict(zip(of_width["length_text"], of_width[name], strict=True))
            if name == _SO_FAR and set(found.values()) == {MISSING}:
                continue
            strip = _strip(of_width) if name == _ASK else ""
            cells = [Cell(str(found[each])) if each in found else ABSENT for each in lengths]
            rows.append((Cell(width), Cell(word), *cells, Cell(strip)))
    unit = settings.length_unit
    headings = (
        Heading("Width", unit, CUT_FILM_PRICES.column("width").sentence),
        Heading("Price", is_number=False),
        *(Heading(each, unit, CUT_FILM_PRICES.column(_ASK).sentence) for each in lengths),
        Heading("Strip", sentence=CUT_FILM_PRICES.column("strip").sentence, is_number=False),
    )
    caption = f"{film}: price by width and length, {settings.currency}"
    return Grid(caption, 2, (), headings, tuple(rows))


def _strip(of_width: pd.DataFrame) -> str:
    """What becomes of the strip; where that hangs on the length, with the lengths."""
    rules = of_width.dropna(subset=["strip"]).groupby("strip", sort=False)["length_text"]
    if rules.ngroups < 2:
        return "".join(label(rule) for rule, _ in rules)
    return "; ".join(f"{label(rule)} ({listed(list(lengths))})" for rule, lengths in rules)


def _lengths(part: pd.DataFrame) -> list[str]:
    """The lengths as printed, the shortest first."""
    return part.sort_values("length", kind="stable")["length_text"].drop_duplicates().to_list()


def _per_length_grid(shown: pd.DataFrame, settings: Settings) -> Grid:
    """Film and width down, lengths across: the lowest price of a unit of length."""
    lengths = _lengths(shown)
    rows: list[tuple[Cell, ...]] = []
    by = ["film", "width"]
    for (film, _), part in shown.groupby(by, sort=False, dropna=False):
        found = dict(zip(part["length_text"], part["lowest_price_per_length"], strict=True))
        cells = [Cell(str(found[each])) if each in found else ABSENT for each in lengths]
        rows.append((Cell(label(film)), Cell(str(part["width_text"].iloc[0])), *cells))
    unit = settings.length_unit
    headings = (
        Heading("Film", is_number=False),
        Heading("Width", unit),
        *(Heading(each, unit) for each in lengths),
    )
    caption = f"Lowest price per length, {settings.currency} / {unit}, by length of the piece"
    return Grid(caption, 2, (), headings, tuple(rows))


# --- kits ----------------------------------------------------------------------------------------


def gather_kits(review: Review) -> KitsInfo:
    """A kit for each common request: what to cut, what to ask, and what the install costs."""
    found = slices_of(review, COUNTER_KITS.name)
    title = "Kits for people who fit film themselves"
    if found.line:
        return KitsInfo(title=title, line=found.line)
    say = Numbers(review.settings)
    frame = found.quarter.sort_values("requests", ascending=False, kind="stable", ignore_index=True)
    ask = _ask_places(review.settings)
    places = {"kit_price": ask, "difference": ask, "kit_lowest_price": _cents(review.settings)}
    named = frame.assign(vehicle_class=frame["vehicle_class"].map(label))
    kits = plain_grid(
        review,
        found.table,
        named,
        _KIT_COLUMNS,
        caption="Kits, those asked for most first",
        names=3,
    )
    kits = _retold(kits, _KIT_COLUMNS, frame, places, say)
    if number(frame, "kit_price").isna().all():
        notes = frame["note"].dropna()
        line = str(notes.iloc[0]) if len(notes) else "No price of a kit can be computed."
        return KitsInfo(title=title, line=line, grids=(kits,))
    return KitsInfo(
        title=kits_finding(frame, say),
        grids=(kits, _cautions_grid()),
        note="Pieces are cut larger than the shop cuts its own, for a hand without practice. The "
        "difference is what the customer pays for the work; an install also leaves the shop "
        "what stands beside it, its redos paid, so a kit is for those who would not have booked.",
    )


def kits_finding(frame: pd.DataFrame, say: Numbers) -> str:
    """What kits cost against what installs cost, without a full stop."""
    known = frame[number(frame, "kit_price").notna()]
    services = known["service"].nunique()
    kits = counted(len(known), "kit")
    start = f"{kits} for {counted(services, 'service')}: {_range(known, 'kit_price', say)}"
    if number(known, "install_price").isna().all():
        return start
    return f"{start}, where the install costs {_range(known, 'install_price', say)}"


def _range(frame: pd.DataFrame, name: str, say: Numbers) -> str:
    """`$48 to $210`, or the one price."""
    low, high = say.money(number(frame, name).min()), say.money(number(frame, name).max())
    return low if low == high else f"{low} to {high}"


def _cautions_grid() -> Grid:
    headings = (Heading("What", is_number=False), Heading("What to mind", is_number=False))
    rows = tuple((Cell(title), Cell(text)) for title, text in KIT_CAUTIONS)
    return Grid("What to mind", 1, (), headings, rows, KIT_DEFER)


# --- prices as they are asked --------------------------------------------------------------------


def _retold(
    grid: Grid, names: Sequence[str], frame: pd.DataFrame, places: Mapping[str, int], say: Numbers
) -> Grid:
    """The grid with columns of money at other decimal places than the page's whole units.

    A price that is rounded to whole units may fall under the lowest one.
    """
    texts = {
        names.index(name): [say.number(each, count) for each in number(frame, name)]
        for name, count in places.items()
    }
    rows = tuple(
        tuple(
            replace(cell, text=texts[column][at]) if column in texts else cell
            for column, cell in enumerate(row)
        )
        for at, row in enumerate(grid.rows)
    )
    return replace(grid, rows=rows)


def _ask_places(settings: Settings) -> int:
    """Decimal places of a price to ask: none where it is a multiple of whole units."""
    return 0 if float(settings.counter.round_to).is_integer() else _cents(settings)


def _cents(settings: Settings) -> int:
    return int(get_currency_precision(settings.currency))
