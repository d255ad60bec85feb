"""Random but clean records folders with every kind of record in them at once.

`write_random_shop(folder, seed)` writes `shop.toml` and one CSV file a table. Every row is valid
(it may be doubtful: an unknown installer, time on an unknown job), every id is unique, and the
same seed always writes the same files. Names, models and films are invented.
"""

from __future__ import annotations

import csv
import random
from datetime import date, timedelta
from functools import partial
from pathlib import Path

from .random_film import COLUMNS, VEHICLES, Film, FilmRecords, Row
from .random_layouts import directional_films, plan_layouts

SERVICES = ("roof wrap", "hood wrap", "trim wrap", "protection film", "film removal")
INSTALLERS = ("Ada", "Bo", "Cleo")
UNKNOWN_INSTALLER = "Visiting Vee"
TASKS = (
    "disassembly",
    "prep",
    "cutting",
    "laying",
    "trimming",
    "post-heat",
    "reassembly",
    "",
    "other",
)


def write_random_shop(
    folder: Path, seed: int, *, jobs: int = 30, months: int = 15, sales: int = 8, shop_cuts: int = 6
) -> list[str]:
    """Write a random clean shop into `folder` and return the labels of its quarters, in order.

    jobs : number of jobs (of one to three lines each), at least 16
    months : length of the records, from 2025-01-01
    sales : number of counter sales
    shop_cuts : number of cuts for neither a job nor a sale
    """
    shop = RandomShop(seed, max(jobs, 16), max(months, 6), sales, shop_cuts)
    shop.make()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(shop.settings(), encoding="utf-8")
    for table, columns in COLUMNS.items():
        with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, columns.split(), restval="")
            writer.writeheader()
            writer.writerows(shop.rows[table])
    return shop.quarters()


class RandomShop(FilmRecords):
    """Builds the rows of one shop, day by day, so that stock is bought before most of it is cut."""

    def __init__(self, seed: int, jobs: int, months: int, sales: int, shop_cuts: int) -> None:
        super().__init__(seed, months)
        self.sizes = {"jobs": jobs, "sales": sales, "shop_cuts": shop_cuts}
        self.fiscal_year_starts = (1, 4, 1, 7, 2)[seed % 5]
        self.tax_included = seed % 3 == 1
        self.finished: list[str] = []

    def quarters(self) -> list[str]:
        """Labels of the quarters the records touch; a fiscal year is named after its end."""
        labels: list[str] = []
        on = self.start
        while on <= self.end:
            moved = (on.month - self.fiscal_year_starts) % 12
            ends_next_year = self.fiscal_year_starts > 1 and on.month >= self.fiscal_year_starts
            label = f"{on.year + ends_next_year}Q{moved // 3 + 1}"
            if label not in labels:
                labels.append(label)
            on = date(on.year + on.month // 12, on.month % 12 + 1, 1)
        return labels

    # ---- the order of the work -----------------------------------------------------------

    def make(self) -> None:  # noqa: C901 - one line a kind of event, in their order
        self.people_and_months()
        self.vehicles_and_prices()
        for film in self.films:
            first = self.start + timedelta(days=60 if film.runs_short else 0)
            self.at(first, partial(self.buy, film))
        for number in range(1, self.sizes["jobs"] + 1):
            self.make_job(number)
        plan_layouts(self)
        for number in range(1, self.sizes["sales"] + 1):
            self.at(self.day(), partial(self.make_sale, number))
        for _ in range(self.sizes["shop_cuts"]):
            self.at(self.day(), partial(self.make_cut, self.random.choice(self.films)))
        if self.seed % 7 == 6:  # a film that was never bought: its cost stays unknown
            ghost = Film("MYSTERY", (60, 50), 0.0, False)
            ghost.on_hand = 1e9
            self.at(self.start + timedelta(days=3), partial(self.make_cut, ghost, job_id="J0001"))
            self.at(self.day(), partial(self.make_cut, ghost))
        for film in self.films:
            for part in (0.35, 0.6, 0.95):
                on = self.start + timedelta(days=int((self.end - self.start).days * part))
                self.at(on, partial(self.count, film))
        for film in self.films[:2]:
            for _ in range(2):
                on = self.day(self.start + timedelta(days=100), self.end)
                self.at(on, partial(self.late_credit, film))
                on = self.day(self.start + timedelta(days=60), self.end)
                self.at(on, partial(self.give_back, film))
        for _ in range(4):
            self.at(self.day(), self.buy_consumables)
        for on, action in sorted(self.actions, key=lambda pair: pair[0]):
            action(on)
        self.vary_quotes()
        if self.seed % 4 == 3:
            self.random.shuffle(self.rows["cuts"])
            self.random.shuffle(self.rows["hours"])
            days = sorted({row["received_on"] for row in self.rows["purchases"]})
            order = {day: self.random.random() for day in days}  # the order within a day is kept
            self.rows["purchases"].sort(key=lambda row: order[row["received_on"]])

    def vary_quotes(self) -> None:
        """Some quotes name no film area or no day, some no start either; some months no bays.

        Some are of a day on which film came, some jobs began long before they were finished. In
        some shops most vehicles are of one class, so that the same work comes in every quarter.
        The chances are their own, so that all other cells stay what they are without them.
        """
        chances = random.Random(f"quotes of shop {self.seed}")
        bought = [row for row in self.rows["purchases"] if row["kind"] == "film"]
        jobs = {row["job_id"]: chances.random() for row in self.rows["jobs"]}
        for row in self.rows["jobs"]:
            when, started = jobs[row["job_id"]], row["started_on"]
            if row["quoted_film_area"]:
                area = self.area(chances.uniform(1200, 6000))
                row["quoted_film_area"] = "" if chances.random() < 0.15 else area
            if when < 0.2:
                early = date.fromisoformat(started) - timedelta(days=int(when * 500))
                row |= {"quoted_on": "", "started_on": "" if when < 0.08 else str(early)}
            elif when < 0.5:
                came = [each["received_on"] for each in bought if each["received_on"] <= started]
                row["quoted_on"] = max(came, default=row["quoted_on"])
            if self.seed % 4 == 1 and 100 * when % 10 < 8:
                row["vehicle_class"] = "compact car"
        for row in self.rows["capacity"]:
            if self.seed % 3 == 2 and chances.random() < 0.3:
                row["bay_hours"] = ""

    # ---- the tables without a story ------------------------------------------------------

    def people_and_months(self) -> None:
        for name in INSTALLERS:
            first = self.day(self.start - timedelta(days=90), self.start + timedelta(days=20))
            wage = self.random.uniform(18, 30)
            for on in (first, self.day(date(2025, 6, 1), date(2025, 9, 30))):
                self.rows["rates"].append(
                    {"installer": name, "effective_from": str(on), "wage": f"{wage:.2f}"}
                )
                wage *= 1.07
        on = self.start
        missing = self.day().strftime("%Y-%m") if self.seed % 2 else ""
        while on <= self.end:
            month = on.strftime("%Y-%m")
            for category in ("rent", "insurance"):
                self.rows["overheads"].append(
                    {"month": month, "category": category, "amount": self.money(700, 2600)}
                )
            if month != missing:
                self.rows["capacity"].append(
                    {"month": month, "installer_hours": self.money(250, 420), "bay_hours": "300"}
                )
            on = date(on.year + on.month // 12, on.month % 12 + 1, 1)

    def vehicles_and_prices(self) -> None:
        for make, model, vehicle_class in VEHICLES:
            if vehicle_class:
                self.rows["vehicles"].append(
                    {"make": make, "model": model, "vehicle_class": vehicle_class}
                )
        self.rows["vehicles"].append(
            {
                "make": "Quillon",
                "model": "Heron",
                "year_from": "2022",
                "vehicle_class": "midsize car",
            }
        )
        self.rows["vehicles"].append(
            {
                "make": "Tamsin",
                "model": "Wren",
                "year_to": "2019",
                "vehicle_class": "subcompact car",
            }
        )
        for service in SERVICES:
            self.rows["price_list"].append(
                {
                    "service": service,
                    "list_price": self.money(200, 1500),
                    "list_hours": self.money(2, 12),
                    "effective_from": "2025-01-01",
                }
            )

    # ---- jobs ----------------------------------------------------------------------------

    def make_job(self, number: int) -> None:
        """One job: its lines now, its cuts later in date order, its time entries now."""
        job_id = f"J{number:04d}"
        redo_of = self.redo_of(number)
        part = (number - 0.5) / self.sizes["jobs"] * (self.end - self.start).days
        started = min(self.start + timedelta(days=int(part)), self.end - timedelta(days=4))
        finished = started + timedelta(days=self.random.randint(0, 4))
        status = {5: "open", 9: "cancelled"}.get(number, "finished")
        if status == "finished" and number > 16 and self.chance(0.08):
            status = self.random.choice(("open", "cancelled"))
        style = ("logged", "logged", "sheet", "logged", "hours log", "cuts log")[number % 6]
        line_count = 1 + (number % 3 == 1) + (number % 9 == 1)
        services = self.random.sample(SERVICES, line_count)
        done_before = [row["service"] for row in self.rows["jobs"] if row["job_id"] == redo_of]
        if redo_of and done_before and self.chance(0.7):
            services = list(dict.fromkeys([done_before[0], *services[1:]]))
        make, model, _ = self.random.choice(VEHICLES)
        by_hand = status != "finished" or self.chance(0.7)
        common = {
            "job_id": job_id,
            "status": status if by_hand else "",
            "quoted_on": str(started - timedelta(days=9)),
            "started_on": str(started),
            "finished_on": str(finished) if status == "finished" else "",
            "make": make,
            "model": model,
            "model_year": str(self.random.choice((2016, 2019, 2022, 2024))),
            "vehicle_class": "special purpose vehicle" if self.chance(0.15) else "",
            "payment": self.random.choice(("card", "card", "cash", "transfer", "")),
            "redo_of": redo_of,
            "crew": "; ".join(self.random.sample(INSTALLERS, self.random.randint(0, 2))),
        }
        lines = [
            self.make_line(common, line, service, style, len(services))
            for line, service in enumerate(services, start=1)
        ]
        self.rows["jobs"].extend(lines)
        if style in ("logged", "hours log"):
            self.log_hours(job_id, lines, started, finished)
        for row in lines:
            if row["film"] and style in ("logged", "cuts log"):
                self.plan_cuts(row, len(lines), started, finished)
        if status == "finished":
            self.finished.append(job_id)
        if not redo_of:
            self.rows["quotes"].append(
                {
                    "quote_id": f"Q{number:04d}",
                    "quoted_on": common["quoted_on"],
                    "service": services[0],
                    "make": make,
                    "model": model,
                    "quoted_price": lines[0]["quoted_price"],
                    "outcome": "won",
                    "job_id": job_id,
                }
            )

    def redo_of(self, number: int) -> str:
        """Every seed has a redo, a redo of that redo, and (on some) a redo of an unknown job."""
        if number == 11 and self.finished:
            return self.finished[0]
        if number == 13:
            return "J0011"
        if number == 14 and self.seed % 3 == 0:
            return "J9999"
        if number > 16 and self.chance(0.1):
            return self.random.choice(self.finished)
        return ""

    def make_line(self, common: Row, line: int, service: str, style: str, count: int) -> Row:
        film = None if service == "film removal" else self.random.choice(self.films)
        quoted = "0" if common["redo_of"] or self.chance(0.05) else self.money(2, 14)
        price = "0" if common["redo_of"] else self.money(150, 1900)
        row = common | {
            "line": str(line) if count > 1 or self.chance(0.5) else "",
            "service": service,
            "film": film.code if film else "",
            "quoted_hours": quoted,
            "quoted_price": price,
            "quoted_film_area": self.area(3000) if film else "",
            "invoiced_price": "40.00"
            if common["redo_of"] and self.chance(0.3)
            else (self.money(150, 1900) if not common["redo_of"] and self.chance(0.3) else ""),
        }
        if style in ("sheet", "cuts log") or self.chance(0.1):
            row["hours"] = self.money(1, 15)
        if film and style in ("sheet", "hours log"):
            width = film.widths[0]
            row["pulled_length"] = self.length(self.random.choice((50, 68, 90)))
            row["roll_width"] = (
                self.length(width) if len(film.widths) > 1 or self.chance(0.5) else ""
            )
            measured = self.chance(0.8) and not self.sizes_pieces
            row["finished_area"] = self.area(2790) if measured else ""
            film.on_hand -= 80 * width
        return row

    def log_hours(self, job_id: str, lines: list[Row], started: date, finished: date) -> None:
        for _ in range(self.random.randint(2, 6)):
            row = self.random.choice(lines)
            self.rows["hours"].append(
                {
                    "job_id": job_id,
                    "line": row["line"] if self.chance(0.6) else "",
                    "worked_on": str(self.day(started, finished)),
                    "installer": UNKNOWN_INSTALLER
                    if self.chance(0.06)
                    else self.random.choice(INSTALLERS),
                    "task": "rework" if self.chance(0.1) else self.random.choice(TASKS),
                    "hours": self.money(0.25, 6),
                    "overtime": self.random.choice(("", "no", "yes")),
                }
            )
        for row in lines:  # every line has a first entry of its own
            self.rows["hours"].append(
                {
                    "job_id": job_id,
                    "line": row["line"],
                    "worked_on": str(started),
                    "installer": self.random.choice(INSTALLERS),
                    "task": "laying",
                    "hours": self.money(0.5, 5),
                    "overtime": "",
                }
            )
        if self.seed % 2 == 0 and job_id == "J0003":
            self.rows["hours"].append(
                {"job_id": "J8888", "worked_on": str(started), "installer": "Ada", "hours": "1.5"}
            )

    def plan_cuts(self, row: Row, line_count: int, started: date, finished: date) -> None:
        film = next(film for film in self.films if film.code == row["film"])
        first = max(started - timedelta(days=1), self.start)
        for position in range(self.random.randint(1, 3)):
            line = row["line"] if line_count == 1 or self.chance(0.6) else ""
            action = partial(self.make_cut, film, job_id=row["job_id"], line=line)
            if position == 0:
                action = partial(action, reason=self.random.choice(("", "first")))
            self.at(self.day(first, finished), action)

    # ---- settings ------------------------------------------------------------------------

    def settings(self) -> str:
        wage = "" if self.seed % 5 == 4 else "default_wage = 21.5\n"
        return (
            f'currency = "USD"\nlength_unit = "{self.unit}"\narea_unit = "{self.area_unit}"\n'
            f"fiscal_year_starts = {self.fiscal_year_starts}\n"
            f"prices_include_tax = {str(self.tax_included).lower()}\ntax_rate = 0.08\n\n"
            f"[labour]\non_cost = 0.22\novertime_multiplier = 1.5\n{wage}"
            f"on_cost_on_overtime = {str(self.seed % 4 == 2).lower()}\n\n"
            f'[film]\ncosting = "{("fifo", "moving-average")[self.seed % 2]}"\n'
            f"offcut_life_months = {self.random.choice((2, 9))}\n"
            f"directional = {directional_films(self.seed)}\n\n"
            f"[fees]\ncard_percent = 2.9\ncard_fixed = 0.30\n"
        )
