"""Kits for people who fit film themselves: the pieces to cut, their price, and the install's.

A kit's pieces are the finished sizes of `panels` with the shop's own allowance and more for a hand
without practice, laid out on the roll on which the film costs least. It is priced as cut film is.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.counter_tables import COUNTER_KITS
from analysis.errors import Unavailable
from analysis.packing.layouts import Layout
from analysis.pricing.asked import as_known, meant
from analysis.pricing.asking_price import AskingPrice
from analysis.pricing.cut_film_prices import strip_rule
from analysis.pricing.film_needed import FilmHistory, film_history, usual_film, with_margin
from analysis.pricing.kit_layout import (
    KitLayout,
    KitPiece,
    KitRolls,
    NoKit,
    kit_pieces,
    kit_rolls,
    lay_out_kit,
)
from analysis.pricing.price_cells import KEYS, cell_of, price_cells
from analysis.pricing.sale_costs import SaleCosts, cost_notes, counter_prices, joined_notes
from analysis.pricing.tape_words import size_words
from analysis.pricing.usual_sizes import ALL_PANELS, Vehicle, listed_panels, usual_allowance
from analysis.records.model import Records

__all__ = ["Kit", "KitAsked", "KitPiece", "NoKit", "counter_kits", "cut_list", "make_kit"]

_FINISHED: Final = ["finished_length_m", "finished_width_m"]


@dataclass(frozen=True)
class KitAsked:
    """What is asked for. `film` None: the usual one; `make`, `model` None: any of the class."""

    service: str
    vehicle_class: str
    film: str | None = None
    make: str | None = None
    model: str | None = None


@dataclass(frozen=True, eq=False)
class Kit:
    """A kit with its prices; NaN where one is not known. [m, m², money]

    `layout` : how the pieces lie on the roll; `pieces` : what is cut; `allowance_m` : a side, mean
    over the pieces; `film_area_m2` : film that the price pays for, which a strip that is kept is
    not; `lowest_price` : nothing is left, `price` : to ask, both as written; `install_price` : list
    price of the install, of a model that is quoted the quote's price to ask; `install_leaves` :
    what an install leaves the shop; `install_for_model` : part of its price for a model that takes
    longer, NaN where no model is quoted.
    """

    service: str
    vehicle_class: str
    film: str
    make: str | None
    model: str | None
    layout: Layout
    pieces: tuple[KitPiece, ...]
    allowance_m: float
    roll_width_m: float
    cut_length_m: float
    film_area_m2: float
    film_cost: float
    lowest_price: float
    price: float
    install_price: float
    install_leaves: float
    note: str
    install_for_model: float = np.nan

    @property
    def count(self) -> int:
        """Pieces in the kit."""
        return sum(each.number for each in self.pieces)


@dataclass(frozen=True)
class _Cut:
    """A kit before its price: what is cut, how it lies, and what is to be said of it."""

    film: str
    pieces: tuple[KitPiece, ...]
    laid: KitLayout
    notes: tuple[str, ...]

    @property
    def count(self) -> int:
        return sum(each.number for each in self.pieces)

    @property
    def allowance_m(self) -> float:
        return sum(each.number * each.allowance_m for each in self.pieces) / self.count


@dataclass(frozen=True, eq=False)
class _Desk:
    """What all kits of a day share.

    `usual` : `usual_allowance`; `film` : the usual one of a service, None where not known, and what
    is to be said of it; `rolls` of a film; `lay_out` : pieces on those. What was asked once is not
    worked out again.
    """

    records: Records
    usual: pd.DataFrame
    film: Callable[[str], tuple[str | None, tuple[str, ...]]]
    rolls: Callable[[str], KitRolls]
    lay_out: Callable[[tuple[KitPiece, ...], str], KitLayout]


def make_kit(
    costing: Costing,
    records: Records,
    day: pd.Timestamp,
    asked: KitAsked,
    costs: SaleCosts,
    installs: pd.DataFrame,
    quoted: AskingPrice | None = None,
) -> Kit:
    """The kit of a service on a vehicle, as of a day.

    Parameters
    ----------
    costs : what a sale costs beside its film
    installs : `service, vehicle_class` (missing: the whole service), `contribution`
    quoted : what a quote asks for the install on the model; None: the list's price for the class

    Raises
    ------
    WorkbookError
        No panel of it is listed; its film, or a roll of it, is not known; a piece fits no roll.
    """
    desk, asked = _desk(costing, records, day), _as_spelt(asked, costing, records)
    cut = _cut(desk, asked, _sized(_listed(asked, records), desk))
    rows = pd.DataFrame([[asked.service, asked.vehicle_class]], columns=KEYS, dtype="str")
    terms = _terms(rows.assign(film_cost=cut.laid.film_cost), records, day, costs, installs)
    money = terms.iloc[0]
    return Kit(
        service=asked.service,
        vehicle_class=asked.vehicle_class,
        film=cut.film,
        make=asked.make,
        model=asked.model,
        layout=cut.laid.layout,
        pieces=cut.pieces,
        allowance_m=cut.allowance_m,
        roll_width_m=cut.laid.roll_width_m,
        cut_length_m=cut.laid.layout.length_m,
        film_area_m2=cut.laid.film_area_m2,
        film_cost=cut.laid.film_cost,
        lowest_price=float(money["kit_lowest_price"]),
        price=float(money["kit_price"]),
        install_price=quoted.price if quoted else float(money["install_price"]),
        install_leaves=quoted.leaves if quoted else float(money["install_leaves"]),
        note=" ".join([*cut.notes, money["note"]]).strip(),
        install_for_model=quoted.for_model if quoted else np.nan,
    )


def counter_kits(
    costing: Costing,
    records: Records,
    day: pd.Timestamp,
    sales: pd.DataFrame,
    costs: SaleCosts,
    installs: pd.DataFrame,
) -> pd.DataFrame | Unavailable:
    """The kits that are asked for: of every class that `panels` lists for a service.

    Parameters
    ----------
    sales : a row a counter sale up to the day, inside names of the table counter_sales_each
    costs, installs : as in `make_kit`

    Returns
    -------
    DataFrame
        Inside names of the table counter_kits: the services that sales stood in for, most often
        first, else every service with panels; classes by name. A kit that cannot be made has
        blanks and says why.
    """
    panels = records["panels"]
    panels = panels[panels["vehicle_class"].notna() & panels["model"].isna()]
    requests = sales["service"].value_counts().sort_index()
    requests = requests.sort_values(ascending=False, kind="stable")
    services = list(requests.index) or sorted(panels["service"].unique())
    panels = panels[panels["service"].isin(services)].assign(source="")
    if panels.empty:
        return Unavailable(
            "counter_kits",
            ("panels",),
            "Kits are cut to finished sizes: they need panels, by vehicle class, of the services "
            "that counter_sales names.",
        )
    desk = _desk(costing, records, day)
    sized = _sized(panels.reset_index(drop=True), desk)
    kits = [(KitAsked(*map(str, cell)), rows) for cell, rows in sized.groupby(KEYS)]
    kits.sort(key=lambda kit: services.index(kit[0].service))
    rows = pd.DataFrame([_row(desk, asked, own) for asked, own in kits])
    rows = rows.astype({"film": "str", "cut_list": "str", "pieces": "Int64"})
    terms = _terms(rows, records, day, costs, installs)
    # What cannot be made says why, and no more.
    notes = joined_notes(rows["note"], terms["note"].where(rows["cut_list"].notna(), ""))
    frame = rows.assign(
        **terms.drop(columns="note"),
        difference=terms["install_price"] - terms["kit_price"],
        requests=rows["service"].map(requests).fillna(0).astype("int64"),
        note=notes.astype("str").where(notes != ""),
    )
    return frame[COUNTER_KITS.inside_names]


def _row(desk: _Desk, asked: KitAsked, sized: pd.DataFrame) -> dict[str, Any]:
    """A row of the table but for money; blanks and a note for a kit that cannot be made."""
    row: dict[str, Any] = {
        "service": asked.service,
        "vehicle_class": asked.vehicle_class,
        "film": desk.film(asked.service)[0],
        "pieces": int(sized["pieces"].sum()),
    }
    try:
        cut = _cut(desk, asked, sized)
    except NoKit as none:
        sizes = ["allowance_m", "roll_width_m", "cut_length_m", "film_area_m2", "film_cost"]
        return row | dict.fromkeys(sizes, np.nan) | {"cut_list": None, "note": str(none)}
    return row | {
        "cut_list": cut_list(cut.pieces, desk.records),
        "allowance_m": cut.allowance_m,
        "roll_width_m": cut.laid.roll_width_m,
        "cut_length_m": cut.laid.layout.length_m,
        "film_area_m2": cut.laid.film_area_m2,
        "film_cost": cut.laid.film_cost,
        "note": " ".join(cut.notes),
    }


def cut_list(pieces: Sequence[KitPiece], records: Records) -> str:
    """Each piece as it is cut: `roof 62 × 54 in; 2 × mirror cap 14 × 12 in`."""
    return "; ".join(
        (f"{each.number} × " if each.number > 1 else "")
        + f"{each.panel} {size_words(each.length_m, each.width_m, records.settings)}"
        for each in pieces
    )


# --- what is cut ---------------------------------------------------------------------------------


def _desk(costing: Costing, records: Records, day: pd.Timestamp) -> _Desk:
    history = film_history(costing, records, day)
    settings, sold = records.settings, records["counter_sales"]
    sold = sold[sold["sold_on"] <= day]
    rule = strip_rule(costing, settings, day)

    @cache
    def film(service: str) -> tuple[str | None, tuple[str, ...]]:
        return _usual_film(service, sold, history)

    @cache
    def rolls(film: str) -> KitRolls:
        return kit_rolls(costing, records, film, day)

    @cache
    def lay_out(pieces: tuple[KitPiece, ...], film: str) -> KitLayout:
        return lay_out_kit(pieces, rolls(film), settings, rule)

    # Of job cuts alone: how large kits were cut says nothing about how the shop cuts.
    usual = usual_allowance(history.cuts, day)
    return _Desk(records, usual, film, rolls, lay_out)


def _usual_film(
    service: str, sold: pd.DataFrame, history: FilmHistory
) -> tuple[str | None, tuple[str, ...]]:
    """The film sold most for a service, else the one laid most for it; of equals the last."""
    sold = sold[(sold["service"] == service) & sold["film"].notna()]
    if len(sold):
        films = sold.groupby("film")["sold_on"].agg(["size", "max"])
        return str(films.sort_values(["size", "max"], kind="stable").index[-1]), ()
    film = usual_film(history, service, history.until).film
    if film is None:
        return None, ()
    return film, (f"None was sold for {service} yet: {film} is the film laid most for it.",)


def _as_spelt(asked: KitAsked, costing: Costing, records: Records) -> KitAsked:
    """The same with names as the records spell them, as far as they know them."""
    panels, lines = records["panels"], costing.purchase_lines
    films = lines.loc[lines["kind"] == "film", "item"]

    def spelt(name: str | None, known: pd.Series) -> str | None:
        return None if name is None else as_known(name, known.dropna().unique()) or name.strip()

    return KitAsked(
        spelt(asked.service, panels["service"]) or "",
        spelt(asked.vehicle_class, panels["vehicle_class"]) or "",
        spelt(asked.film, films),
        spelt(asked.make, panels["make"]),
        spelt(asked.model, panels["model"]),
    )


def _listed(asked: KitAsked, records: Records) -> pd.DataFrame:
    """The panels of the service on the vehicle."""
    panels = records["panels"]
    vehicle = Vehicle(asked.make or "", asked.model or "", asked.vehicle_class)
    listed = listed_panels(panels, asked.service, vehicle)
    if listed.empty:
        of_service = panels[panels["service"] == asked.service]
        own = of_service["vehicle_class"].dropna().unique()
        if len(own):
            hint = f"; they are for {', '.join(own)}."
        elif len(of_service):
            hint = "; they are for single models: give --make and --model."
        else:
            hint = meant(asked.service, panels["service"].dropna().unique()) or "."
        raise NoKit(
            f"No panel of {asked.service} on {asked.vehicle_class} is listed{hint} Write its "
            "finished sizes into panels."
        )
    return listed


def _sized(listed: pd.DataFrame, desk: _Desk) -> pd.DataFrame:
    """Panels as the shop cuts them, `piece_length_m, piece_width_m`, beside what was listed."""
    pieces = with_margin(listed, desk.usual)
    sizes = ["pieces", "piece_length_m", "piece_width_m"]
    return pieces[["panel", *sizes]].join(listed[[*KEYS, *_FINISHED, "source"]])


def _cut(desk: _Desk, asked: KitAsked, sized: pd.DataFrame) -> _Cut:
    """Pieces and layout. Raises `NoKit` where the film is not known, or a piece fits nowhere."""
    film, notes = (asked.film, ()) if asked.film is not None else desk.film(asked.service)
    if film is None:
        raise NoKit(
            f"Which film is for {asked.service} is not known: none was sold for it, none laid."
        )
    said = list(notes)
    of_class = sized["source"] == "listed for this class"
    if asked.model is not None and of_class.any():
        said.append(f"Sizes of the class: {', '.join(sized.loc[of_class, 'panel'].unique())}.")
    if desk.usual.loc[ALL_PANELS].isna().any():
        said.append("The shop's own allowance is not known: only the extra is in the sizes.")
    pieces, gives_way = kit_pieces(sized, desk.rolls(film), desk.records.settings)
    laid = desk.lay_out(pieces, film)
    return _Cut(film, pieces, laid, (*said, *gives_way, *laid.notes))


# --- what it costs -------------------------------------------------------------------------------


def _terms(
    kits: pd.DataFrame,
    records: Records,
    day: pd.Timestamp,
    costs: SaleCosts,
    installs: pd.DataFrame,
) -> pd.DataFrame:
    """Prices of kits and of their installs.

    `kits` : `service, vehicle_class, film_cost`. Returns `kit_lowest_price, kit_price,
    install_price, install_leaves` [money] and `note`, on the same index.
    """
    each = costs.of_services(kits["service"])
    prices = counter_prices(kits["film_cost"], each, records.settings)
    cells = price_cells(records["price_list"], day)
    listed = cell_of(cells, kits).map(cells["current_price"])
    known = installs[installs["contribution"].notna()]
    wide = known[known["vehicle_class"].isna()].set_index("service")["contribution"]
    own = known[known["vehicle_class"].notna()]
    of_class = kits[KEYS].merge(own[[*KEYS, "contribution"]], how="left", validate="m:1")
    leaves = of_class["contribution"].set_axis(kits.index).fillna(kits["service"].map(wide))
    return pd.DataFrame(
        {
            "kit_lowest_price": prices["lowest_price"],
            "kit_price": prices["price_to_ask"],
            "install_price": listed.astype("float64"),
            "install_leaves": leaves.astype("float64"),
            "note": cost_notes(prices, kits["film_cost"], each),
        },
        index=kits.index,
    )
