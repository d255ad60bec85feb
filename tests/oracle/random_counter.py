"""Random shops with much at the counter: what other random shops leave out of their sales.

`write_counter_shop(folder, seed)` writes a random shop and then goes over it: sales of every
service and none, months from idle to over-full, people or bays short, cuts that were spoiled,
kept, late or for two things at once. The same seed always writes the same files.
"""

from __future__ import annotations

import csv
import random
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

from .capacity import bay_hours_by_month, hours_by_month
from .random_film import COLUMNS, DECIMALS, PER_INCH
from .random_shop import SERVICES, write_random_shop
from .reading import Quarter, first_day, read_shop
from .tables import Costing

Row = dict[str, str]
NEVER_DONE = "ceiling stars"
GHOST = "MYSTERY"
BEFORE = date(2024, 12, 20)  # a sale before anything else was written down
VEHICLES = (
    ("Quillon", "Heron"),
    ("Quillon", "Otter"),
    ("Bramblewick", "Stoat"),
    ("Tamsin", "Wren"),
    ("Quillon", "Gannet"),
    ("", ""),
)
# The shares of its capacity that a month is used to: people's, bays'.
PEOPLE_SHORT = ((0.6, 1.15), (0.3, 0.9))
BAYS_SHORT = ((0.2, 0.7), (0.75, 1.2))


def write_counter_shop(
    folder: Path, seed: int, *, sales: int = 16, settled: bool = False
) -> list[str]:
    """Write the shop into `folder` and return the labels of its quarters, in order.

    settled : whether every cut of a sale is of its day, and no credit came
    """
    labels = write_random_shop(folder, seed, sales=sales)
    made = CounterRecords(folder, seed, settled=settled)
    made.vary_sales()
    made.vary_cuts()
    made.fill_months(labels[-1])
    made.write()
    return labels


class CounterRecords:
    """Rows of the tables that are gone over, as text."""

    def __init__(self, folder: Path, seed: int, *, settled: bool) -> None:
        self.folder, self.seed, self.settled = folder, seed, settled
        self.random = random.Random(f"counter of shop {seed}")
        self.unit = ("in", "cm", "ft", "m", "mm", "yd")[seed % 6]
        tables = ("counter_sales", "cuts", "capacity", "purchases")
        self.rows = {table: self.read(table) for table in tables}
        if settled:
            bought = self.rows["purchases"]
            self.rows["purchases"] = [row for row in bought if row["kind"] != "credit"]

    def read(self, table: str) -> list[Row]:
        with (self.folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
            return list(csv.DictReader(file))

    def write(self) -> None:
        for table, rows in self.rows.items():
            with (self.folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, COLUMNS[table].split(), restval="")
                writer.writeheader()
                writer.writerows(rows)
        if self.seed % 3 == 2:
            with (self.folder / "shop.toml").open("a", encoding="utf-8") as file:
                file.write("\n[counter]\ntakes_installers = false\n")

    def length(self, inches: float) -> str:
        return f"{inches * PER_INCH[self.unit]:.{DECIMALS[self.unit]}f}"

    # ---- sales -------------------------------------------------------------------------------

    def vary_sales(self) -> None:
        """Every cell of a sale that bears on its money takes many values, blank among them.

        In some shops nothing is sold at the end, though film is cut for sales not written down.
        """
        pick = self.random.choice
        if self.seed % 8 == 4:
            sales = self.rows["counter_sales"]
            self.rows["counter_sales"] = [row for row in sales if row["sold_on"] < "2026-01-01"]
        jobs = [row["job_id"] for row in self.read("jobs") if row["status"] != "cancelled"]
        silent = self.seed % 6 == 5  # nobody wrote minutes down
        for row in self.rows["counter_sales"]:
            make, model = pick(VEHICLES)
            row |= {
                "service": pick((*SERVICES, "roof wrap", "", NEVER_DONE)),
                "make": make,
                "model": model,
                "payment": pick(("card", "cash", "transfer", "other", "")),
                "minutes": "" if silent else pick(("", "0", "10", "25", "47.5")),
                "price": pick(("0", "35", "89.90", f"{self.random.uniform(20, 160):.2f}")),
                "extras_price": pick(("", "", "0", "9.50", "31")),
                "extras_cost": pick(("", "4.2", "12")),
                "later_job_id": pick(("", "", pick(jobs))),
            }
        old, ghost = self.rows["counter_sales"][0], self.rows["counter_sales"][1]
        # One before anything was worked; in some shops, film that was never bought.
        self.rows["counter_sales"].append(
            old | {"sale_id": "S900", "sold_on": str(BEFORE), "minutes": "15", "price": "70"}
        )
        if self.seed % 3 == 0:
            first = {"sale_id": "S901", "film": GHOST, "service": "roof wrap"}
            self.rows["counter_sales"] += [ghost | first, ghost | {"sale_id": "S902"}]

    # ---- cuts --------------------------------------------------------------------------------

    def vary_cuts(self) -> None:
        """Sales cut twice, spoiled, from the shelf, in the next quarter, and with a job's name."""
        sales = self.rows["counter_sales"]
        uncut = {row["sale_id"] for row in sales} - {row["sale_id"] for row in self.rows["cuts"]}
        ways: list[Callable[[Row], None]] = [
            lambda sale: self.cut(sale, reason="first", strip=True),
            lambda sale: self.cut(sale, reason="", days=1),
            lambda sale: self.cut(sale, reason="recut"),
            lambda sale: self.cut(sale, reason="test", days=40),
            lambda sale: self.cut(sale, reason="first", source="offcut"),
            lambda sale: self.cut(sale, reason="damage", strip=True),
        ]
        for row in sales:
            if row["sale_id"] in uncut and self.random.random() < 0.6:
                self.cut(row, reason="first", strip=True, days=self.random.choice((0, 0, 60)))
                uncut.remove(row["sale_id"])
            if row["sale_id"] not in uncut:
                for way in self.random.sample(ways, self.random.choice((0, 1, 2, 3))):
                    way(row)
        left = [row for row in sales if row["sale_id"] in uncut and row["film"] != GHOST]
        if left:  # its only cut is no first one
            self.cut(left[0], reason="recut")
        if left[1:]:  # and one that goes to the job whose name it bears as well
            cut = next(row for row in sales if row["sale_id"] not in uncut)
            self.cut(cut, reason="first", job_id="J0003")
        if self.seed % 4 == 3:
            self.random.shuffle(self.rows["cuts"])

    def cut(
        self,
        sale: Row,
        *,
        reason: str,
        strip: bool = False,
        days: int = 0,
        source: str = "",
        job_id: str = "",
    ) -> None:
        """One pull for a sale, of its length or a hair more, over the roll or less."""
        cut_on = date.fromisoformat(sale["sold_on"]) + timedelta(days=0 if self.settled else days)
        pulled = float(sale["length"]) / PER_INCH[self.unit] + self.random.choice((0, 0.5, 2))
        width = self.random.choice((48, 54, 60))
        row = {
            "cut_id": f"X{len(self.rows['cuts']):04d}",
            "cut_on": str(cut_on),
            "job_id": job_id,
            "sale_id": sale["sale_id"],
            "film": sale["film"],
            "source": source,
            "pulled_length": self.length(pulled),
            "pulled_width": self.length(width),
            "reason": reason,
        }
        if strip:
            kept = {"kept_length": self.length(pulled), "kept_width": self.length(width / 3)}
            row |= kept
        if self.random.random() < 0.5:
            row |= {"piece_length": sale["length"], "piece_width": self.length(18)}
            row |= {"finished_length": sale["length"], "finished_width": self.length(17)}
        self.rows["cuts"].append(row)

    # ---- months ------------------------------------------------------------------------------

    def fill_months(self, last_quarter: str) -> None:
        """Capacity such that months come out from idle to over-full; some months have none."""
        shop = read_shop(self.folder)
        quarter = Quarter(last_quarter, shop.settings.fiscal_year_starts)
        costing = Costing(shop, quarter, packed=False)
        worked, held = hours_by_month(costing), bay_hours_by_month(costing)
        people, bays = BAYS_SHORT if self.seed % 4 == 1 else PEOPLE_SHORT
        self.rows["capacity"] = []
        if self.seed % 2:  # a month of which nobody wrote down what was worked
            early = {"month": "2024-12", "installer_hours": "160", "bay_hours": "200"}
            self.rows["capacity"].append(early)
        for month in sorted(worked):
            if self.random.random() < 0.1:
                continue
            hours = float(worked[month]) / self.random.uniform(*people)
            could = float(held.get(month, 0)) / self.random.uniform(*bays)
            known = self.random.random() < (1.0 if self.seed % 4 == 1 else 0.7)
            self.rows["capacity"].append(
                {
                    "month": first_day(month).strftime("%Y-%m"),
                    "installer_hours": f"{hours:.2f}",
                    "bay_hours": f"{could:.2f}" if known and could else "",
                }
            )
