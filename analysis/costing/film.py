"""Film through the shelf: what every pull cost, and a reconciliation that must come out.

Stages: purchase lines at landed cost → receipts; receipts, credits, pulls and counts of each film
in the order of the day → the film's store → the cost of each pull, and one movement a change of
stock. Opening + purchased = jobs + counter sales + shop + unexplained + closing, for every film
and period, in area and in money; `run_shelf` raises `Unreconciled` where it does not.

Order within a day: offcuts written off, purchases, credits, pulls, counts.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.costing.stock import LEAST_AREA, WRITTEN_OFF, FilmStore
from analysis.errors import assert_reconciled
from analysis.settings import Settings

FLOWS: Final = ("purchased", "jobs", "counter_sales", "shop", "unexplained")
_RECEIPT, _CREDIT, _PULL, _COUNT = range(4)
_NOBODY = -1
_EVENT_TYPES: Final = {
    "film": "str",
    "day": "datetime64[us]",
    "what": "int64",
    "ref": "int64",
    "area": "float64",
    "cost": "float64",
    "kept": "float64",
    "roll": "str",
    "from_offcut": "object",
    "expires": "datetime64[us]",
}
_MOVEMENT_TYPES: Final = {
    "film": "str",
    "day": "datetime64[us]",
    "flow": "str",
    "area_m2": "float64",
    "cost": "float64",
}
_OFFCUT_TYPES: Final = {
    "film": "str",
    "day": "datetime64[us]",
    "ref": "int64",
    "what": "str",
    "area_m2": "float64",
    "cost": "float64",
}
_COUNT_TYPES: Final = {
    "film": "str",
    "day": "datetime64[us]",
    "book_m2": "float64",
    "counted_m2": "float64",
    "area_m2": "float64",
    "cost": "float64",
}


@dataclass(frozen=True, eq=False)
class Shelf:
    """What went over the shelf.

    `pulls` : the pulls with `issue_cost` (of the whole pull), `consumed_cost` (of what was
    consumed, as booked that day), `film_cost` (the same after credits that came later), `short_m2`
    (cut with no stock left) and `offcut_lacking_m2` (an offcut that was not there).
    `movements` : a row a change of stock: `film, day, flow` (one of `FLOWS`), `area_m2`, `cost`;
    purchases add to the stock, the other flows take from it.
    `closing` : a row a film: `area_m2`, `cost` as the stores hold them at the end.
    `offcuts` : a row a change of an offcut: `film, day, ref` (the pull that kept it, a position in
    `pulls`), `what` (kept, used, written_off, missing), `area_m2`, `cost`.
    `counts` : a row a count: `film, day, book_m2` (before it), `counted_m2`, `area_m2` and `cost`
    (unexplained).
    """

    pulls: pd.DataFrame
    movements: pd.DataFrame
    closing: pd.DataFrame
    offcuts: pd.DataFrame
    counts: pd.DataFrame


def run_shelf(
    lines: pd.DataFrame,
    credits: pd.DataFrame,
    pulls: pd.DataFrame,
    counts: pd.DataFrame,
    settings: Settings,
    until: pd.Timestamp,
) -> Shelf:
    """Cost every pull of film.

    Parameters
    ----------
    lines, credits : from `purchases.landed_lines` and `credits_on_lines`
    pulls : from `cuts.film_pulls`, in order
    counts : the stock counts
    settings : the way film is valued, and the life of an offcut
    until : day to which offcuts grow old. A pull without an area takes no part.

    Raises
    ------
    Unreconciled
        A film's movements do not add to what its store holds.

    Notes
    -----
    First-in first-out and moving average, perpetual: OpenStax, Principles of Accounting 1 (2019),
    10.2 and 10.3.
    """
    film_lines = lines[lines["kind"] == "film"]
    events = _events(film_lines, credits, pulls, counts, settings)
    ledger = _Ledger(settings, until, len(pulls), pulls["owner"].to_numpy(dtype=object))
    for film, rows in events.groupby("film", sort=True, dropna=False):
        ledger.run(film, rows)
    consumed_share = (pulls["consumed_m2"] / pulls["pulled_m2"]).to_numpy()
    issue_cost = ledger.issue_cost
    costed = pulls.assign(
        issue_cost=issue_cost,
        consumed_cost=issue_cost * consumed_share,
        film_cost=issue_cost * consumed_share + ledger.adjustment,
        short_m2=ledger.short,
        offcut_lacking_m2=ledger.lacking,
    )
    shelf = Shelf(
        costed,
        _movements(costed, ledger),
        ledger.closing_frame(),
        _typed(ledger.offcuts, _OFFCUT_TYPES),
        _typed(ledger.counts, _COUNT_TYPES),
    )
    _check(shelf)
    return shelf


def film_reconciliation(
    shelf: Shelf, first_day: pd.Timestamp, last_day: pd.Timestamp
) -> pd.DataFrame:
    """Opening, flows and closing of each film in a period, in area [m²] and money.

    A row a film with stock or movement by the period's end; columns of `FILM_RECONCILIATION`.
    """
    moved = shelf.movements[shelf.movements["day"] <= last_day]
    before = moved["day"] < first_day
    signed = moved[["area_m2", "cost"]].mul(_sign(moved), axis=0)
    films = pd.Index(moved["film"].drop_duplicates(), name="film").sort_values()
    opening = _by_film(signed[before], moved["film"], films)
    closing = _by_film(signed, moved["film"], films)
    flows = {flow: moved[~before & (moved["flow"] == flow)] for flow in FLOWS}
    sums = {flow: _by_film(rows, rows["film"], films) for flow, rows in flows.items()}
    parts = {"opening": opening, **sums, "closing": closing}
    table = {
        f"{name}_{measure}": part[measure]
        for measure in ("area_m2", "cost")
        for name, part in parts.items()
    }
    return _without_dust(pd.DataFrame(table, index=films).reset_index())


def _sign(moved: pd.DataFrame) -> pd.Series:
    """Purchases add to the stock, every other flow takes from it."""
    return pd.Series(np.where(moved["flow"] == "purchased", 1.0, -1.0), index=moved.index)


def _by_film(rows: pd.DataFrame, films: pd.Series, index: pd.Index) -> pd.DataFrame:
    """Area and cost summed by film; a missing number makes its sum missing; no row is 0."""
    sums = rows[["area_m2", "cost"]].groupby(films, dropna=False).sum(skipna=False)
    return sums.reindex(index, fill_value=0.0)


def _without_dust(frame: pd.DataFrame) -> pd.DataFrame:
    """Binary sums leave dust: under a square millimetre, or a ten-thousandth of a cent, is 0."""
    numbers = frame.drop(columns="film")
    least = [LEAST_AREA if name.endswith("_m2") else 1e-6 for name in numbers.columns]
    clean = numbers.where(numbers.abs().gt(least, axis=1), numbers * 0.0)
    return pd.concat([frame[["film"]], clean], axis=1)


def _events(
    film_lines: pd.DataFrame,
    credits: pd.DataFrame,
    pulls: pd.DataFrame,
    counts: pd.DataFrame,
    settings: Settings,
) -> pd.DataFrame:
    """Everything that changes the stock, one row each, in order within each film."""
    on_film = credits[credits["line"].isin(film_lines.index)]
    measured = pulls[pulls["pulled_m2"].notna()]
    life = pd.DateOffset(months=settings.film.offcut_life_months)
    counted = _counted(counts)
    parts = [
        pd.DataFrame(
            {
                "film": film_lines["item"],
                "day": film_lines["received_on"],
                "what": _RECEIPT,
                "ref": film_lines.index,
                "area": film_lines["area_m2"],
                "cost": film_lines["landed"],
                "roll": film_lines["roll_id"],
            }
        ),
        pd.DataFrame(
            {
                "film": film_lines["item"].reindex(on_film["line"]).to_numpy(),
                "day": on_film["received_on"].to_numpy(),
                "what": _CREDIT,
                "ref": on_film["line"].to_numpy(),
                "cost": on_film["amount"].to_numpy(),
            }
        ),
        pd.DataFrame(
            {
                "film": measured["film"],
                "day": measured["cut_on"],
                "what": _PULL,
                "ref": measured.index,
                "area": measured["pulled_m2"],
                "kept": measured["kept_m2"],
                "roll": measured["roll_id"],
                "from_offcut": measured["source"] == "offcut",
                "expires": measured["cut_on"] + life,
            }
        ),
        counted.assign(what=_COUNT, ref=_NOBODY),
    ]
    filled = [part for part in parts if len(part)]
    events = pd.concat(filled, ignore_index=True) if filled else parts[0]
    events = events.reindex(columns=list(_EVENT_TYPES)).astype(_EVENT_TYPES)
    return events.sort_values(["day", "what"], kind="stable")


def _counted(counts: pd.DataFrame) -> pd.DataFrame:
    """A film's counts of one day added: `film, day, area` [m²]."""
    area = counts["area_on_hand_m2"].fillna(counts["length_on_hand_m"] * counts["roll_width_m"])
    frame = pd.DataFrame({"film": counts["film"], "day": counts["counted_on"], "area": area})
    return frame.groupby(["film", "day"], as_index=False).agg({"area": "sum"})


def _append(columns: dict[str, list[Any]], names: Iterable[str], values: tuple[Any, ...]) -> None:
    """Note one row."""
    for name, value in zip(names, values, strict=True):
        columns[name].append(value)


class _Ledger:
    """Runs the films' stores and notes what each event did."""

    def __init__(
        self, settings: Settings, until: pd.Timestamp, pulls: int, owners: np.ndarray
    ) -> None:
        self.average = settings.film.costing == "moving-average"
        self.until = until
        self.issue_cost = np.full(pulls, np.nan)
        self.adjustment = np.zeros(pulls)
        self.short = np.zeros(pulls)
        self.lacking = np.zeros(pulls)
        self.owners = owners
        self.other: dict[str, list[Any]] = defaultdict(list)
        self.closing: dict[str, list[Any]] = defaultdict(list)
        self.offcuts: dict[str, list[Any]] = defaultdict(list)
        self.counts: dict[str, list[Any]] = defaultdict(list)

    def run(self, film: Any, events: pd.DataFrame) -> None:
        """All events of one film, in order."""
        bought = events[(events["what"] == _RECEIPT) & (events["area"] > 0)]
        first = (bought["cost"] / bought["area"]).iloc[0] if len(bought) else None
        store = FilmStore(self.average, first, keep_draws=bool((events["what"] == _CREDIT).any()))
        layers: dict[Any, int] = {}
        epoch = pd.Timestamp(0)
        days = events["day"].to_numpy()
        ordinal = ((events["day"] - epoch) // pd.Timedelta(days=1)).tolist()
        expires = ((events["expires"] - epoch) / pd.Timedelta(days=1)).tolist()
        named = [roll if isinstance(roll, str) else None for roll in events["roll"].tolist()]
        columns = (events[name].tolist() for name in ("what", "ref", "area", "cost", "kept"))
        rows = zip(
            ordinal, days, *columns, named, events["from_offcut"].tolist(), expires, strict=True
        )
        for on, day, what, ref, area, cost, kept, roll, offcut, until in rows:
            if store.next_expiry <= on:
                self._write_off(film, store, on)
            if what == _PULL:
                self._pull(store, ref, area, kept, roll, offcut is True, until)
            elif what == _RECEIPT:
                self._receipt(film, store, layers, (day, ref, area, cost, roll))
            elif what == _CREDIT:
                self._credit(film, store, day, layers[ref], cost)
            else:
                self._count(film, store, day, area)
            if store.offcut_moves:
                self._note_offcuts(film, store, day)
        self._write_off(film, store, (self.until - epoch) // pd.Timedelta(days=1))
        held = (film, store.area, store.value, len(events))
        _append(self.closing, ("film", "area_m2", "cost", "events"), held)

    def _pull(
        self,
        store: FilmStore,
        ref: int,
        area: float,
        kept: float,
        roll: str | None,
        from_offcut: bool,
        expires: float,
    ) -> None:
        cost, lacking = 0.0, area
        if from_offcut:
            cost, lacking = store.use_offcut(area, roll)
            self.lacking[ref] = lacking
        if lacking > 0:
            more, self.short[ref] = store.issue(lacking, roll, ref)
            cost += more
        self.issue_cost[ref] = cost
        if kept > 0:
            store.keep(kept, cost * kept / area, roll, expires, ref)

    def _receipt(
        self, film: Any, store: FilmStore, layers: dict[Any, int], receipt: tuple[Any, ...]
    ) -> None:
        day, ref, area, cost, roll = receipt
        if area > 0:
            layers[ref] = store.receive(area, cost, roll, purchase=True)
        else:
            lost = store.give_back(-area, -cost, roll)
            if lost:
                self._note(film, day, "shop", 0.0, lost)
        self._note(film, day, "purchased", area, cost)

    def _credit(self, film: Any, store: FilmStore, day: Any, layer: int, amount: float) -> None:
        self._note(film, day, "purchased", 0.0, -amount)
        for consumer, part in store.credit(layer, amount):
            if consumer == _NOBODY:
                self._note(film, day, "unexplained", 0.0, -part)
            else:
                self.adjustment[consumer] -= part
                self._note(film, day, str(self.owners[consumer]), 0.0, -part)

    def _write_off(self, film: Any, store: FilmStore, today: float) -> None:
        for offcut in store.write_off(today):
            end = pd.Timestamp(0) + pd.Timedelta(days=offcut.expires)
            day = np.datetime64(end.to_pydatetime())
            self._note(film, day, "shop", offcut.area, offcut.cost)
            move = (film, day, offcut.ref, WRITTEN_OFF, offcut.area, offcut.cost)
            _append(self.offcuts, _OFFCUT_TYPES, move)

    def _count(self, film: Any, store: FilmStore, day: Any, counted: float) -> None:
        book = store.area
        gap, value = store.count(counted, _NOBODY)
        self._note(film, day, "unexplained", gap, value)
        _append(self.counts, _COUNT_TYPES, (film, day, book, counted, gap, value))

    def _note(self, film: Any, day: Any, flow: str, area: float, cost: float) -> None:
        _append(self.other, _MOVEMENT_TYPES, (film, day, flow, area, cost))

    def _note_offcuts(self, film: Any, store: FilmStore, day: Any) -> None:
        for ref, what, area, cost in store.offcut_moves:
            _append(self.offcuts, _OFFCUT_TYPES, (film, day, ref, what, area, cost))
        store.offcut_moves.clear()

    def closing_frame(self) -> pd.DataFrame:
        """What every store holds at the end."""
        return pd.DataFrame(
            {name: self.closing[name] for name in ("film", "area_m2", "cost", "events")}
        )


def _typed(rows: dict[str, list[Any]], types: dict[str, str]) -> pd.DataFrame:
    """A frame of what was noted, with its columns even where nothing was."""
    return pd.DataFrame({name: rows[name] for name in types}).astype(types)


def _movements(pulls: pd.DataFrame, ledger: _Ledger) -> pd.DataFrame:
    taken = pulls["pulled_m2"].notna()
    by_pulls = pd.DataFrame(
        {
            "film": pulls["film"],
            "day": pulls["cut_on"],
            "flow": pulls["owner"],
            "area_m2": pulls["consumed_m2"],
            "cost": pulls["consumed_cost"],
        }
    )[taken]
    others = _typed(ledger.other, _MOVEMENT_TYPES)
    parts = [part for part in (by_pulls, others) if len(part)]
    return pd.concat(parts, ignore_index=True) if parts else others


def _check(shelf: Shelf) -> None:
    """Σ movements = what the store holds, for every film, in area and in money."""
    moved = shelf.movements
    closing = shelf.closing.set_index("film")
    booked = _by_film(
        moved[["area_m2", "cost"]].mul(_sign(moved), axis=0), moved["film"], closing.index
    )
    size = _by_film(moved[["area_m2", "cost"]].abs(), moved["film"], closing.index)
    for measure, unit in (("area_m2", LEAST_AREA), ("cost", 1e-6)):
        tolerance = unit * (closing["events"] + 1) + 1e-9 * size[measure].fillna(0.0)
        gap = (booked[measure] - closing[measure]).abs()
        for film in gap[gap > tolerance].index[:1]:
            assert_reconciled(
                f"Film {film}, {measure}",
                booked[measure][film],
                closing[measure][film],
                tolerance[film],
            )
