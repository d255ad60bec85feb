"""Write the records of the invented shop: `python data_demo/make_demo.py`.

The same seed writes the same bytes. The scenario (people, prices, planted causes, blemishes) is in
`scenario.py`; this module runs the days and writes one CSV a table, `shop.toml`, and `two_tables/`:
the same shop as it would look if it kept only a job sheet and its invoices.
"""

from __future__ import annotations

import math
import sys
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np

if __package__ in (None, ""):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from data_demo import scenario as sc
from data_demo import sheets, writing
from data_demo.demand import Demand, Job
from data_demo.film_room import FilmRoom, Pull, Roll, half
from data_demo.shop_floor import ShopFloor

Row = dict[str, Any]


def days() -> list[date]:
    """The working days, Monday to Friday."""
    span = range((sc.LAST_DAY - sc.FIRST_DAY).days + 1)
    every = [sc.FIRST_DAY + timedelta(days=n) for n in span]
    return [day for day in every if day.weekday() < 5 and (day.month, day.day) not in sc.HOLIDAYS]


def count_days(working: list[date]) -> set[date]:
    """The last working day of each quarter."""
    last: dict[tuple[int, int], date] = {}
    for day in working:
        last[day.year, (day.month - 1) // 3] = day
    return {day for day in last.values() if day != working[-1]}


def days_off(rng: np.random.Generator) -> dict[str, set[date]]:
    """Two weeks of holiday a year and a few sick days for each."""
    off: dict[str, set[date]] = {}
    for person in sc.INSTALLERS:
        mine: set[date] = set()
        for year in range(sc.FIRST_DAY.year, sc.LAST_DAY.year + 1):
            for month in (int(rng.integers(7, 10)), 12):
                first = date(year, month, int(rng.integers(1, 22)))
                mine |= {first + timedelta(days=n) for n in range(7)}
            sick = rng.integers(0, 365, size=3)
            mine |= {date(year, 1, 1) + timedelta(days=int(n)) for n in sick}
        off[person.name] = mine
    return off


# ---------------------------------------------------------------- the counter


def sale_days(working: list[date], rng: np.random.Generator) -> list[date]:
    """Days of the counter sales, more of them in the season."""
    weights = np.array([sc.SEASON[day.month - 1] for day in working[5:]])
    picked = rng.choice(len(weights), size=sc.COUNTER_SALES, p=weights / weights.sum())
    return sorted(working[5 + int(n)] for n in picked)


def sell(day: date, number: int, film: FilmRoom, rng: np.random.Generator) -> Row | None:
    """One counter sale: cut from the shelf; three in five have a row in the cut log."""
    stock = [each for each in sc.FILMS if each.counter]
    shares = np.array([each.counter for each in stock])
    kind = stock[int(rng.choice(len(stock), p=shares / shares.sum()))]
    tint = not kind.tracked
    length = half(float(rng.choice([36, 48, 60, 72, 96] if not tint else [48, 72, 96, 120])))
    width = float(rng.choice([60, 60, 30, 24])) if not tint else 60.0
    sale_id = f"S{number:03d}"
    logged = len(kind.widths) > 1 or (not tint and rng.random() < 0.5)
    row = {
        "sale_id": sale_id,
        "reason": "first",
        "pieces": 1,
        "panel": "",
        "opening_area": "",
        "piece_length": length,
        "piece_width": width,
        "finished_length": length,
        "finished_width": width,
    }
    keep = 60 - width if width < 40 and logged and rng.random() < 0.6 else 0.0
    if not film.make(day, [Pull(kind.code, 60, length, row, keep)]):
        return None
    if not logged:
        ends = [cut for cut in film.cuts if cut.get("sale_id") == sale_id]
        ends[0]["unlogged"] = True
        for cut in ends[1:]:  # a roll's end that this sale left stands as shop use
            cut["sale_id"] = ""
    area = length * width / 144
    cost = film.price_of(kind, 60, day) / (kind.roll_inches * 60 / 144)
    price = max(12.0, math.floor(area * cost * float(rng.normal(2.35, 0.25))))
    extras = float(rng.choice([0, 0, 9, 14, 22, 31]))
    asked = rng.random() < sc.ASKED_SHARE
    displaced = rng.random() < sc.DISPLACED_SHARE
    answer = ("yes" if displaced else "no") if asked else str(rng.choice(["unsure", ""]))
    model = sc.MODELS[int(rng.choice(len(sc.MODELS)))] if rng.random() < 0.7 else None
    service = (
        "tint"
        if tint
        else str(rng.choice(["roof", "trim blackout", "hood", "mirror caps and small parts"]))
    )
    return {
        "sale_id": sale_id,
        "sold_on": day,
        "film": kind.code,
        "length": length,
        "width": width,
        "price": price,
        "minutes": int(5 * rng.integers(2, 8)) if rng.random() < 0.93 else "",
        "extras_price": extras or "",
        "extras_cost": round(extras * 0.55, 2) or "",
        "make": model.make if model else "",
        "model": model.model if model else "",
        "service": service,
        "would_book": answer,
        "later_job_id": "",
        "payment": str(rng.choice(["card", "card", "cash", "cash", "transfer"])),
    }


def come_back(sales: list[Row], jobs: list[Job], rng: np.random.Generator) -> None:
    """Some customers of the counter book an install later: their sale names the job."""
    taken: set[str] = set()
    for sale in sales:
        if rng.random() >= sc.COMES_BACK_SHARE:
            continue
        for job in jobs:
            first = job.lines[0]
            after = (first.quoted_on - sale["sold_on"]).days
            fits = first.service == sale["service"] and not first.redo_of and 5 < after < 150
            if fits and job.job_id not in taken and first.status == "finished":
                taken.add(job.job_id)
                sale.update(later_job_id=job.job_id, make=first.model.make, model=first.model.model)
                break


# ---------------------------------------------------------------- the days


def stock_up(film: FilmRoom) -> None:
    """The first delivery: a roll of everything, on the first morning."""
    for supplier in dict.fromkeys(each.supplier for each in sc.FILMS):
        skus = [
            (each.code, width)
            for each in sc.FILMS
            if each.supplier == supplier
            for width in each.widths
        ]
        film.coming.append((sc.FIRST_DAY, supplier, skus))


def odd_days(day: date, film: FilmRoom, rng: np.random.Generator) -> None:
    """Credits, the returned roll, test strips, and the ends thrown away before a count."""
    if day == date(2025, 4, 8):
        film.credit(day, "NK-SATIN-GREY", 140.0, same_invoice=True)
    if day == date(2026, 6, 2):
        film.credit(day, "SB-CLEAR", 95.0, same_invoice=False)
    if day == date(2025, 10, 6) and not film.send_back(day, "NK-GLOSS-WHITE"):
        film.send_back(day, "NK-DEEP-RED")
    if rng.random() < 0.07 and film.rolls:
        roll = film.rolls[int(rng.integers(len(film.rolls)))]
        row = {"reason": "test", "panel": ""}
        if roll.left > 100:
            film.make(day, [Pull(roll.film, roll.width, 12.0, row)])


def simulate(seed: int) -> tuple[ShopFloor, list[Row]]:
    """Run the shop from its first day to its last."""
    streams = np.random.SeedSequence(seed).spawn(6)
    shop, asked, counter, odd, calendar, work = (np.random.default_rng(s) for s in streams)
    film = FilmRoom(shop)
    demand = Demand(asked)
    floor = ShopFloor(work, film, demand, days_off(calendar))
    working = days()
    counts, selling = count_days(working), sale_days(working, counter)
    sales: list[Row] = []
    stock_up(film)
    month = 0
    for day in working:
        film.morning(day)
        if day.month != month:
            month = day.month
            film.buy_sundries(day, sc.SEASON[month - 1])
            film.shrink()
        film.receive(day)
        odd_days(day, film, odd)
        floor.waiting.extend(demand.enquiries(day))
        floor.work(day)
        for _ in range(selling.count(day)):
            sale = sell(day, len(sales) + 1, film, counter)
            if sale:
                sales.append(sale)
        if day in counts:
            throw_away(day, film)
            film.count(day)
        film.order(day, floor.need(day))
    come_back(sales, demand.jobs, counter)
    return floor, sales


def throw_away(day: date, film: FilmRoom) -> None:
    """Before a count, ends that no job would take go into the bin."""
    short: list[Roll] = [roll for roll in film.rolls if roll.left < 1.5 * sc.STUB]
    for roll in short:
        film.scrap(day, roll, {})
    film.rolls = [roll for roll in film.rolls if roll.left > 0]


def build(folder: Path, seed: int = sc.DEFAULT_SEED) -> None:
    """Write every file of the demo into the folder.

    The folder is made if it is not there; files of these names are replaced. Another seed is
    another shop with the same people, prices and planted causes.
    """
    floor, sales = simulate(seed)
    rng = np.random.default_rng(seed + 1)
    tables = {
        "jobs": sheets.job_rows(floor.demand.jobs, rng),
        "hours": sheets.hour_rows(floor, rng),
        "purchases": floor.film.purchases,
        "cuts": [row for row in sheets.cut_rows(floor, rng) if not row.get("unlogged")],
        "stock_counts": floor.film.counts,
        "quotes": floor.demand.quotes,
        "counter_sales": sales,
        "price_list": sheets.price_rows(),
        "vehicles": sheets.vehicle_rows(),
        "panels": sheets.panel_rows(),
        "rates": sheets.rate_rows(),
        "overheads": sheets.overhead_rows(rng),
        "capacity": sheets.capacity_rows(floor),
        "decisions": sheets.decision_rows(),
    }
    sheet = sheets.level_one(tables["jobs"], tables["hours"], tables["cuts"])
    small = folder / "two_tables"
    small.mkdir(parents=True, exist_ok=True)
    writing.write_table(small, "jobs", sheet)
    writing.write_table(small, "purchases", tables["purchases"])
    writing.blemish(tables)
    for name, rows in tables.items():
        writing.write_table(folder, name, rows)
    for where, level in ((folder, "all tables"), (small, "two tables")):
        text = writing.shop_toml(level)
        (where / "shop.toml").write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    build(Path(__file__).resolve().parent)
