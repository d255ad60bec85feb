"""The film side of a random shop: buying, crediting, giving back, counting, cutting, selling."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, timedelta

Row = dict[str, str]

VEHICLES = (
    ("Quillon", "Heron", "compact car"),
    ("Quillon", "Otter", "minivan"),
    ("Bramblewick", "Stoat", "large car"),
    ("Tamsin", "Wren", ""),
)
PANELS = ("roof", "hood", "mirror", "")
PER_INCH = {"in": 1.0, "ft": 1 / 12, "cm": 2.54, "m": 0.0254, "mm": 25.4, "yd": 1 / 36}
DECIMALS = {"in": 1, "ft": 3, "cm": 1, "m": 3, "mm": 0, "yd": 4}

COLUMNS = {
    "jobs": (
        "job_id line status quoted_on started_on finished_on service make model "
        "model_year vehicle_class film quoted_hours quoted_film_area quoted_price "
        "invoiced_price payment redo_of crew hours pulled_length roll_width finished_area"
    ),
    "hours": "job_id line worked_on installer task hours overtime",
    "purchases": (
        "invoice received_on supplier item kind roll_width roll_length quantity "
        "unit_price discount roll_id"
    ),
    "cuts": (
        "cut_id cut_on job_id line sale_id film roll_id source panel pulled_length "
        "pulled_width pieces piece_length piece_width finished_length finished_width "
        "opening_area kept_width kept_length reason"
    ),
    "stock_counts": "counted_on film length_on_hand roll_width area_on_hand",
    "counter_sales": (
        "sale_id sold_on film length width price payment minutes extras_price extras_cost "
        "make model service would_book later_job_id"
    ),
    "quotes": (
        "quote_id quoted_on service make model model_year vehicle_class quoted_hours "
        "quoted_price list_price outcome job_id lost_reason"
    ),
    "price_list": "service vehicle_class list_price list_hours effective_from",
    "vehicles": "make model year_from year_to vehicle_class",
    "rates": "installer effective_from wage",
    "overheads": "month category amount",
    "capacity": "month installer_hours bay_hours",
}


class Film:
    """A film; roughly what is on hand and on the shelf [square inches], to know when to buy."""

    def __init__(self, code: str, widths: tuple[int, ...], price: float, runs_short: bool) -> None:
        self.code, self.widths, self.price, self.runs_short = code, widths, price, runs_short
        self.on_hand = self.shelf = 0.0
        self.rolls: list[tuple[str, int]] = []
        self.suppliers = ("North Film Supply", "Harbour Rolls")


class FilmRecords:
    """The rows of the tables, and the film side of them; days are handed in in order."""

    def __init__(self, seed: int, months: int) -> None:
        self.random = random.Random(seed)
        self.seed = seed
        self.start = date(2025, 1, 1)
        self.end = date(2025 + months // 12, months % 12 + 1, 1) - timedelta(days=1)
        self.unit = ("in", "cm", "ft", "m", "mm", "yd")[seed % 6]
        self.area_unit = "sq ft" if self.unit in ("in", "ft", "yd") else "m2"
        self.sizes_pieces = seed % 2 == 0  # no finished size without the size of its piece
        self.rows: dict[str, list[Row]] = {table: [] for table in COLUMNS}
        self.films = [
            Film("VF-RED", (60,), 5.1, False),
            Film("PF-CLEAR", (60, 48), 9.3, False),
            Film("RT-BLACK", (54,), 4.2, True),
        ]
        self.actions: list[tuple[date, Callable[[date], None]]] = []
        self.invoice = self.cut = self.roll = 0

    # ---- small helpers -------------------------------------------------------------------

    def chance(self, share: float) -> bool:
        return self.random.random() < share

    def length(self, inches: float) -> str:
        """A length in the shop's unit, as a plain decimal number."""
        return f"{inches * PER_INCH[self.unit]:.{DECIMALS[self.unit]}f}"

    def area(self, square_inches: float) -> str:
        factor = 1 / 144 if self.area_unit == "sq ft" else 0.0254**2
        return f"{square_inches * factor:.3f}"

    def money(self, low: float, high: float) -> str:
        return f"{self.random.uniform(low, high):.2f}"

    def day(self, first: date | None = None, last: date | None = None) -> date:
        first, last = first or self.start, last or self.end
        return first + timedelta(days=self.random.randint(0, max((last - first).days, 0)))

    def at(self, on: date, action: Callable[[date], None]) -> None:
        self.actions.append((on, action))

    # ---- film: buying, crediting, giving back, counting ----------------------------------

    def purchase(self, **cells: str) -> None:
        self.rows["purchases"].append(cells)

    def next_invoice(self) -> str:
        self.invoice += 1
        return f"INV-{self.invoice:03d}"

    def buy(self, film: Film, on: date) -> None:
        """One invoice: one to three lines of the film, perhaps freight, consumables, credit."""
        invoice, supplier = self.next_invoice(), self.random.choice(film.suppliers)
        for _ in range(self.random.randint(1, 3)):
            width, quantity = self.random.choice(film.widths), 1
            roll_id = ""
            if self.chance(0.6):
                self.roll += 1
                roll_id = f"R{self.roll:03d}"
                film.rolls.append((roll_id, width))
            if self.chance(0.3):
                quantity = 2
            inches = self.random.choice((180, 300, 420))
            price = width * inches / 144 * film.price * self.random.uniform(0.9, 1.2)
            self.purchase(
                invoice=invoice,
                received_on=str(on),
                supplier=supplier,
                item=film.code,
                kind="film",
                roll_width=self.length(width),
                roll_length=self.length(inches),
                quantity=str(quantity),
                roll_id=roll_id,
                unit_price=f"{price:.2f}",
                discount=self.money(1, 20) if self.chance(0.3) else "",
            )
            film.on_hand += width * inches * quantity
        if self.chance(0.4):
            self.purchase(
                invoice=invoice,
                received_on=str(on),
                supplier=supplier,
                item="cleaner",
                kind="consumable",
                quantity="3",
                unit_price=self.money(8, 20),
            )
        for _ in range(self.random.choice((0, 1, 1, 2))):
            self.purchase(
                invoice=invoice,
                received_on=str(on),
                supplier=supplier,
                item="carriage",
                kind="freight",
                quantity="1",
                unit_price=self.money(10, 60),
            )
        if not film.runs_short and self.chance(0.4):
            later = min(on + timedelta(days=self.random.choice((0, 25))), self.end)
            self.purchase(
                invoice=invoice,
                received_on=str(later),
                supplier=supplier,
                item=film.code,
                kind="credit",
                quantity="1",
                unit_price=self.money(5, 40),
            )

    def late_credit(self, film: Film, on: date) -> None:
        """A credit on an invoice of its own: it goes to the newest line (perhaps of one roll)."""
        roll_id = self.random.choice(film.rolls)[0] if film.rolls and self.chance(0.5) else ""
        self.purchase(
            invoice=self.next_invoice(),
            received_on=str(on),
            supplier=film.suppliers[0],
            item=film.code,
            kind="credit",
            quantity="2",
            unit_price=self.money(3, 25),
            roll_id=roll_id,
        )

    def give_back(self, film: Film, on: date) -> None:
        """A part of a fresh roll goes back the same day, or of the newest film a day later."""
        self.buy(film, on)
        bought = [row for row in self.rows["purchases"] if row["kind"] == "film"][-1]
        by_roll = bought["roll_id"] != "" and self.chance(0.7)
        back = on if by_roll else min(on + timedelta(days=1), self.end)
        self.purchase(
            invoice=self.next_invoice(),
            received_on=str(back),
            supplier=bought["supplier"],
            item=film.code,
            kind="film",
            roll_width=bought["roll_width"],
            roll_length=self.length(60),
            quantity="-1",
            unit_price=self.money(60, 160),
            roll_id=bought["roll_id"] if by_roll else "",
        )
        film.on_hand -= 60 * 60

    def buy_consumables(self, on: date) -> None:
        invoice = self.next_invoice()
        self.purchase(
            invoice=invoice,
            received_on=str(on),
            supplier="Corner Trade",
            item="blades",
            kind="consumable",
            quantity="10",
            unit_price=self.money(2, 9),
            discount="1.50",
        )
        if self.chance(0.5):
            self.purchase(
                invoice=invoice,
                received_on=str(on),
                supplier="Corner Trade",
                item="blades",
                kind="credit",
                quantity="1",
                unit_price=self.money(1, 6),
            )

    def count(self, film: Film, on: date) -> None:
        counted = max(film.on_hand * self.random.choice((0.9, 0.96, 1.0, 1.05)), 600.0)
        film.on_hand = counted
        film.shelf *= 0.5  # some of it has reached the end of its life
        if self.chance(0.5):
            cells = {"area_on_hand": self.area(counted)}
            self.rows["stock_counts"].append({"counted_on": str(on), "film": film.code} | cells)
            return
        for share in (0.7, 0.3):
            width = film.widths[0]
            self.rows["stock_counts"].append(
                {
                    "counted_on": str(on),
                    "film": film.code,
                    "roll_width": self.length(width),
                    "length_on_hand": self.length(counted * share / width),
                }
            )

    def make_cut(self, film: Film, on: date, **cells: str) -> None:
        """One pull, with or without sizes, kept offcut, named roll; any reason."""
        self.cut += 1
        width = self.random.choice(film.widths)
        row: Row = {"cut_id": f"C{self.cut:04d}", "cut_on": str(on), "film": film.code} | cells
        if film.rolls and self.chance(0.45):
            row["roll_id"], width = self.random.choice(film.rolls)
        pulled = self.random.choice((24, 36.5, 48, 68, 80))
        piece_width, piece_length = (
            self.random.choice((18, 30, 44)),
            pulled - self.random.choice((0, 2)),
        )
        row["pulled_length"] = self.length(pulled)
        if self.chance(0.6) or (len(film.widths) > 1 and not row.get("roll_id")):
            row["pulled_width"] = self.length(width)
        kept = 0.0
        if self.chance(0.35):
            kept_width = width - piece_width - self.random.choice((0, 1, 2))
            kept = kept_width * pulled
            row["kept_width"], row["kept_length"] = self.length(kept_width), self.length(pulled)
        if film.shelf > pulled * width and self.chance(0.8) or self.chance(0.05):
            row["source"] = "offcut"
            film.shelf -= pulled * width
        else:
            row["source"] = self.random.choice(("roll", ""))
        film.shelf += kept
        if "reason" not in row:
            row["reason"] = self.random.choice(
                ("", "first", "first", "", "recut", "damage", "test", "end-of-roll")
            )
        sizes = self.random.random()
        if sizes < 0.85:
            row["finished_length"] = self.length(piece_length - 4)
            row["finished_width"] = self.length(piece_width - 3.5)
            if self.chance(0.3):
                row["opening_area"] = self.area(90)
        if sizes < (0.85 if self.sizes_pieces else 0.75):
            row["piece_length"], row["piece_width"] = (
                self.length(piece_length),
                self.length(piece_width),
            )
            row["pieces"] = self.random.choice(("", "1"))
        row["panel"] = self.random.choice(PANELS)
        self.rows["cuts"].append(row)
        self.use(film, pulled * width, kept, on)

    def use(self, film: Film, pulled: float, kept: float, on: date) -> None:
        """Keep the rough stock, and buy before the rolls run out (one film is let run short)."""
        film.on_hand -= pulled - kept
        low = -2000 if film.runs_short else 20000
        if film.on_hand < low:
            self.buy(film, min(on + timedelta(days=10 * film.runs_short), self.end))

    def make_sale(self, number: int, on: date) -> None:
        film, sale_id = self.random.choice(self.films), f"S{number:03d}"
        inches, width = self.random.choice((24, 40, 60)), self.random.choice((20, 36, 48))
        make, model, _ = self.random.choice(VEHICLES)
        self.rows["counter_sales"].append(
            {
                "sale_id": sale_id,
                "sold_on": str(on),
                "film": film.code,
                "length": self.length(inches),
                "width": self.length(width),
                "price": self.money(20, 120),
                "payment": self.random.choice(("card", "cash", "", "transfer")),
                "minutes": self.random.choice(("", "10", "25")),
                "extras_price": self.random.choice(("", "9.50")),
                "extras_cost": self.random.choice(("", "4.2")),
                "make": make,
                "model": model,
                "service": "roof wrap",
                "would_book": self.random.choice(("yes", "no", "unsure", "")),
            }
        )
        if number % 2:
            self.make_cut(film, on, sale_id=sale_id, reason="first")
            if number % 4 == 1:
                self.make_cut(film, on, sale_id=sale_id, reason="damage")
        else:
            self.use(film, inches * max(film.widths), 0.0, on)
