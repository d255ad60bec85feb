"""The film room of the invented shop: rolls and offcuts on the shelf, orders, invoices and cuts.

The shelf is real: film is cut only from what is there, so that the book (purchases less cuts)
and the counts agree, save for the shrinkage that the scenario plants. Lengths in inches.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from data_demo import scenario as sc

Row = dict[str, Any]
Sku = tuple[str, float]  # film and roll width


@dataclass
class Roll:
    """A roll on the shelf and what is left on it."""

    roll_id: str
    film: str
    width: float
    left: float
    full: float
    received_on: date


@dataclass
class Offcut:
    """A kept piece of film."""

    roll_id: str
    film: str
    length: float
    width: float
    kept_on: date


@dataclass(frozen=True)
class Lay:
    """How equal pieces lie on a roll: the pull, and a piece along and across it."""

    pulled: float
    along: float
    across: float
    strip: float  # width that is left beside the pieces
    turned: bool


@dataclass
class Pull:
    """A pull that is planned and not yet made."""

    film: str
    width: float
    length: float
    row: Row
    keep: float = 0.0  # width of the strip that goes back on the shelf
    from_offcut: bool = False


def half(value: float) -> float:
    """Round to half an inch, as a tape is read."""
    return math.floor(value * 2 + 0.5) / 2


def lay(size: tuple[float, float, int], margin: float, roll: float, *, turn: bool = True) -> Lay:
    """Lay equal panels on a roll of this width, whichever way pulls less.

    The piece is larger than the panel by the margin at each end and by half of it at each side
    (a roof of 62 x 45 in with 3 in is cut as 68 x 48 in; common practice, no source). Where the
    roll is a little narrower than that, the margin across gives way.
    """
    length, width, pieces = size
    if min(length, width) < 14:
        margin = margin / 2
    ways = []
    for turned in (False, True) if turn else (False,):
        along, across = (length + 2 * margin, width + margin)
        least_across = width + 2.0
        if turned:
            along, across, least_across = across, along, length + 1.0
        if least_across > roll:
            continue
        beside = min(int(roll // least_across), pieces) or 1
        across = min(half(across), math.floor(roll / beside * 2) / 2)
        rows = math.ceil(pieces / beside)
        ways.append(Lay(rows * half(along), half(along), across, roll - beside * across, turned))
    if not ways:
        raise ValueError(f"a panel of {length} x {width} in lies on no roll of {roll} in")
    return min(ways, key=lambda way: way.pulled)


def add_months(day: date, months: int) -> date:
    """The same day so many months later, or the last day of a shorter month."""
    total = day.year * 12 + day.month - 1 + months
    year, month = total // 12, total % 12 + 1
    last = (date(year + month // 12, month % 12 + 1, 1) - timedelta(days=1)).day
    return date(year, month, min(day.day, last))


@dataclass
class FilmRoom:
    """Everything that lies on the shelf, and the rows written about it."""

    rng: np.random.Generator
    rolls: list[Roll] = field(default_factory=list)
    offcuts: list[Offcut] = field(default_factory=list)
    purchases: list[Row] = field(default_factory=list)
    cuts: list[Row] = field(default_factory=list)
    counts: list[Row] = field(default_factory=list)
    coming: list[tuple[date, str, list[Sku]]] = field(default_factory=list)
    wanted: dict[Sku, int] = field(default_factory=dict)  # could not be cut today
    cut_since: float = 0.0  # length of the shrinking film cut since the last loss
    invoices: int = 0

    # ------------------------------------------------------------ buying

    def price_of(self, film: sc.Film, width: float, day: date) -> float:
        """Price of a roll that day: the creeping film in small steps, others each half year."""
        years = (day - sc.FIRST_DAY).days / 365.25
        if film.code != sc.CREEPING_FILM:
            years = math.floor(years * 2) / 2
        price = film.price * (1 + film.yearly_rise) ** years
        return float(round(price * sc.NARROW_PRICE.get(int(width), 1.0), 2))

    def order(self, day: date, need: dict[Sku, float]) -> None:
        """Order what the waiting jobs need and the shelf lacks; it comes in a few working days."""
        orders: dict[str, list[Sku]] = {}
        for film in sc.FILMS:
            for width in film.widths:
                sku = (film.code, width)
                usable = sum(r.left for r in self.rolls if (r.film, r.width) == sku and r.left > 80)
                on_way = sum(skus.count(sku) for _, _, skus in self.coming) * film.roll_inches
                short = need.get(sku, 0.0) + 0.22 * film.roll_inches - usable - on_way
                rolls = max(0, math.ceil(short / film.roll_inches))
                if on_way == 0:
                    rolls = max(rolls, self.wanted.get(sku, 0))
                if rolls:
                    supplier = film.supplier
                    code, other, _, share = sc.SECOND_SUPPLIER
                    if film.code == code and self.rng.random() < share:
                        supplier = other
                    orders.setdefault(supplier, []).extend([sku] * rolls)
        self.wanted.clear()
        for supplier, skus in orders.items():
            arrives = day + timedelta(days=int(self.rng.integers(2, 5)))
            while arrives.weekday() > 4:
                arrives += timedelta(days=1)
            self.coming.append((arrives, supplier, skus))

    def receive(self, day: date) -> None:
        """Take in what comes today: film first, then the freight of its invoice."""
        for order in [each for each in self.coming if each[0] <= day]:
            self.coming.remove(order)
            _, supplier, skus = order
            invoice = self._invoice(supplier)
            for sku in dict.fromkeys(skus):
                self._take_in(day, supplier, invoice, sku, skus.count(sku))
            freight = 16 + 9.5 * len(skus) + round(float(self.rng.uniform(0, 14)), 2)
            self._line(day, supplier, invoice, "freight", "freight", 1, round(freight, 2))

    def _take_in(self, day: date, supplier: str, invoice: str, sku: Sku, rolls: int) -> None:
        film, width = sc.FILM[sku[0]], sku[1]
        price = self.price_of(film, width, day)
        if supplier != film.supplier:
            price = round(price * sc.SECOND_SUPPLIER[2], 2)
        sizes = {"roll_width": width, "roll_length": film.roll_length}
        for part in [rolls] if not film.tracked else [1] * rolls:
            discount = round(0.03 * part * price, 2) if rolls > 2 else ""
            ids = [f"R{len(self.purchases) + 1000:04d}"] if film.tracked else [""]
            self._line(
                day,
                supplier,
                invoice,
                film.code,
                "film",
                part,
                price,
                discount=discount,
                roll_id=ids[0],
                **sizes,
            )
            for _ in range(part):
                inches = film.roll_inches
                self.rolls.append(Roll(ids[0], film.code, width, inches, inches, day))

    def buy_sundries(self, day: date, busy: float) -> None:
        """The month's consumables, in step with how busy the month is."""
        invoice = self._invoice(sc.SUNDRIES)
        rise = 1.035 ** ((day - sc.FIRST_DAY).days / 365.25)
        for item, price, monthly in sc.CONSUMABLES:
            number = int(self.rng.poisson(monthly * busy))
            if number:
                unit = round(price * rise, 2)
                self._line(day, sc.SUNDRIES, invoice, item, "consumable", number, unit)
        freight = round(12 + float(self.rng.uniform(0, 9)), 2)
        self._line(day, sc.SUNDRIES, invoice, "freight", "freight", 1, freight)

    def credit(self, day: date, film: str, amount: float, *, same_invoice: bool) -> None:
        """Write a price allowance on a film's newest line, on its invoice or on its own note."""
        line = next(r for r in reversed(self.purchases) if r["item"] == film)
        invoice = line["invoice"] if same_invoice else self._invoice(line["supplier"]) + "-CR"
        self._line(
            day,
            line["supplier"],
            invoice,
            film,
            "credit",
            1,
            amount,
            roll_id=line["roll_id"] if same_invoice else "",
        )

    def send_back(self, day: date, film: str) -> bool:
        """Return one untouched roll, if there is one, at what it cost."""
        rolls = [r for r in self.rolls if r.film == film and r.left == r.full]
        if not rolls:
            return False
        roll = rolls[-1]
        self.rolls.remove(roll)
        line = next(r for r in self.purchases if r["roll_id"] == roll.roll_id)
        self._line(
            day,
            line["supplier"],
            line["invoice"] + "-R",
            film,
            "film",
            -1,
            line["unit_price"],
            roll_id=roll.roll_id,
            roll_width=roll.width,
            roll_length=line["roll_length"],
        )
        return True

    def _invoice(self, supplier: str) -> str:
        self.invoices += 1
        initials = "".join(word[0] for word in supplier.split() if word[0].isalpha())
        return f"{initials}-{self.invoices + 4100}"

    def _line(
        self,
        day: date,
        supplier: str,
        invoice: str,
        item: str,
        kind: str,
        quantity: int,
        unit_price: float,
        **more: Any,
    ) -> None:
        row = {
            "invoice": invoice,
            "received_on": day,
            "supplier": supplier,
            "item": item,
            "kind": kind,
            "quantity": quantity,
            "unit_price": unit_price,
        }
        empty = {"roll_width": "", "roll_length": "", "discount": "", "roll_id": ""}
        self.purchases.append({**row, **empty, **more})

    # ------------------------------------------------------------ cutting

    def choose(self, film: str, width: float, length: float, left: dict[int, float]) -> Roll | None:
        """The roll to pull from: the one whose end is used up best."""
        fits = [
            r for r in self.rolls if r.film == film and r.width == width and left[id(r)] >= length
        ]
        return min(fits, key=lambda r: (left[id(r)], r.roll_id), default=None)

    def offcut_for(self, film: str, along: float, across: float, pieces: int) -> Offcut | None:
        """The oldest offcut of some roll on which the pieces lie side by side or end to end."""
        seen: set[str] = set()
        for offcut in self.offcuts:  # in the order in which they were kept
            if offcut.film != film or offcut.roll_id in seen:
                continue
            seen.add(offcut.roll_id)
            beside = int(offcut.width // across)
            if beside and math.ceil(pieces / beside) * along <= offcut.length:
                return offcut
        return None

    def make(self, day: date, pulls: list[Pull]) -> bool:
        """Make all pulls of a job, or none if the shelf lacks film for one of them."""
        left = {id(roll): roll.left for roll in self.rolls}
        chosen: list[Roll | None] = []
        for pull in pulls:
            roll = None
            if not pull.from_offcut:
                roll = self.choose(pull.film, pull.width, pull.length, left)
                if roll is None:
                    self.wanted[pull.film, pull.width] = 1
                    return False
                left[id(roll)] -= pull.length
            chosen.append(roll)
        for pull, roll in zip(pulls, chosen, strict=True):
            if roll is None:
                self._cut_offcut(day, pull)
            else:
                self._cut_roll(day, pull, roll)
        self._scrap_ends(day, pulls)
        return True

    def _cut_roll(self, day: date, pull: Pull, roll: Roll) -> None:
        roll.left -= pull.length
        if pull.film == sc.SHRINKING_FILM:
            self.cut_since += pull.length
        kept: Row = {}
        if pull.keep:
            kept = {"kept_width": pull.keep, "kept_length": pull.length}
            self.offcuts.append(Offcut(roll.roll_id, pull.film, pull.length, pull.keep, day))
        self._write(day, pull.row, pull.film, roll.roll_id, pull.length, roll.width, kept)

    def _scrap_ends(self, day: date, pulls: list[Pull]) -> None:
        """What a job leaves of a roll goes into the bin when it is too short for anything."""
        for roll in self.rolls:
            if 0 < roll.left < sc.STUB:
                row = next(pull.row for pull in pulls if pull.film == roll.film)
                owner = {k: row.get(k, "") for k in ("job_id", "line", "sale_id", "key")}
                self.scrap(day, roll, owner if self.rng.random() < 0.7 else {})
        self.rolls = [r for r in self.rolls if r.left > 0]

    def scrap(self, day: date, roll: Roll, owner: Row) -> None:
        """Throw a roll's short end away, and write it down."""
        row = {**owner, "reason": "end-of-roll", "panel": ""}
        if roll.film == sc.SHRINKING_FILM:
            self.cut_since += roll.left
        self._write(day, row, roll.film, roll.roll_id, roll.left, roll.width, {})
        roll.left = 0.0

    def _cut_offcut(self, day: date, pull: Pull) -> None:
        row = pull.row
        offcut = self.offcut_for(pull.film, row["piece_length"], row["piece_width"], row["pieces"])
        if offcut is None:
            raise RuntimeError("an offcut that was planned for is gone")
        self.offcuts.remove(offcut)
        beside = int(offcut.width // row["piece_width"])
        used = math.ceil(row["pieces"] / beside) * row["piece_length"]
        rest = offcut.length - used
        kept: Row = {}
        if rest >= 20:
            kept = {"kept_width": offcut.width, "kept_length": rest}
            self.offcuts.append(Offcut(offcut.roll_id, pull.film, rest, offcut.width, day))
        row = {**row, "source": "offcut"}
        self._write(day, row, pull.film, offcut.roll_id, offcut.length, offcut.width, kept)

    def _write(
        self, day: date, row: Row, film: str, roll_id: str, length: float, width: float, kept: Row
    ) -> None:
        base = {
            "cut_id": f"C{len(self.cuts) + 1:05d}",
            "cut_on": day,
            "film": film,
            "roll_id": roll_id,
            "pulled_length": length,
            "pulled_width": width,
        }
        self.cuts.append({**row, **base, **kept})

    # ------------------------------------------------------------ shelf

    def morning(self, day: date) -> None:
        """Offcuts whose life is over go into the bin."""
        self.offcuts = [
            each for each in self.offcuts if add_months(each.kept_on, sc.OFFCUT_LIFE_MONTHS) > day
        ]

    def shrink(self) -> None:
        """Some of the shrinking film goes missing without a row anywhere."""
        loss = half(self.cut_since * sc.SHRINKAGE_SHARE)
        rolls = [r for r in self.rolls if r.film == sc.SHRINKING_FILM and r.left > loss + sc.STUB]
        if rolls and loss >= 1:
            rolls[0].left -= loss
            self.cut_since = 0.0

    def count(self, day: date) -> None:
        """Count what lies on the shelf: a row a film and width, and one for its offcuts."""
        for film in sc.FILMS:
            kept = sum(o.length * o.width for o in self.offcuts if o.film == film.code) / 144
            rows = [
                (width, sum(r.left for r in self.rolls if (r.film, r.width) == (film.code, width)))
                for width in film.widths
            ]
            base = {"counted_on": day, "film": film.code}
            blank = {"length_on_hand": "", "roll_width": "", "area_on_hand": ""}
            for width, length in rows:
                if length:
                    self.counts.append(
                        {**base, **blank, "length_on_hand": length, "roll_width": width}
                    )
            if kept or not any(length for _, length in rows):
                self.counts.append({**base, **blank, "area_on_hand": round(kept, 3)})
