"""From the simulation to the rows of the shop's tables."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import numpy as np

from data_demo import scenario as sc
from data_demo.demand import Job, Line, list_hours, list_price, panel_size, panels_of
from data_demo.shop_floor import ShopFloor

Row = dict[str, Any]
OPENING_AREA = sc.OPENING[0] * sc.OPENING[1] / 144


# ---------------------------------------------------------------- work


def job_rows(jobs: list[Job], rng: np.random.Generator) -> list[Row]:
    """One row a job line. The class stands on the sheet only where somebody filled it in."""
    rows = []
    for job in jobs:
        filled = rng.random() < 0.55
        for line in job.lines:
            done = line.status == "finished"
            rows.append(
                {
                    "job_id": line.job_id,
                    "line": line.line,
                    "status": line.status,
                    "quoted_on": line.quoted_on,
                    "started_on": line.started_on,
                    "finished_on": line.finished_on,
                    "service": line.service,
                    "make": line.model.make,
                    "model": line.model.model,
                    "model_year": line.year,
                    "vehicle_class": line.vehicle_class if filled else "",
                    "film": line.film,
                    "quoted_hours": line.quoted_hours,
                    "quoted_film_area": line.quoted_area or "",
                    "quoted_price": line.price,
                    "invoiced_price": line.invoiced if done else None,
                    "payment": job.payment if done else "",
                    "redo_of": line.redo_of,
                    "key": line,
                }
            )
    return rows


def clock(hours: float) -> str:
    """Hours as a time of day or a duration: 2:45."""
    return f"{int(hours)}:{round(hours % 1 * 60):02d}"


def hour_rows(floor: ShopFloor, rng: np.random.Generator) -> list[Row]:
    """The time log, each in the way that he writes it; some leave the line out."""
    rows = []
    lines = {job.job_id: len(job.lines) for job in floor.demand.jobs}
    for entry in floor.hours:
        line: Line = entry["line"]
        row = {**entry, "line": line.line, "key": line, "exact": entry["hours"]}
        if lines[line.job_id] > 1 and rng.random() < 0.05:
            row["line"] = ""
        if row["installer"] == sc.CLOCK_WRITER:
            row["hours"] = clock(entry["hours"])
        if row["installer"] == sc.START_STOP_WRITER:
            begin = entry["begin"]
            row["hours"] = ""
            row["started_at"] = f"{clock(begin):0>5}"
            row["stopped_at"] = f"{clock(begin + entry['hours']):0>5}"
        rows.append(row)
    return rows


def cut_rows(floor: ShopFloor, rng: np.random.Generator) -> list[Row]:
    """The cut log; sunroofs as they were counted on the day."""
    rows = []
    lines = {job.job_id: len(job.lines) for job in floor.demand.jobs}
    for cut in floor.film.cuts:
        row = {"source": "roll", **cut}
        if row.get("sunroof") and row["reason"] == "first":
            if row["cut_on"] >= sc.OPENING_COUNTED_FROM:
                row["opening_area"] = OPENING_AREA
            else:
                strip = (row["finished_length"] - sc.OPENING[0]) / 2
                row.update(
                    pieces=2, finished_length=strip, piece_length=strip + row["margin_along"]
                )
        if row.get("line") and lines[row["job_id"]] > 1 and rng.random() < 0.05:
            row["line"] = ""
        if not sc.FILM[row["film"]].tracked:
            row["pulled_width"] = ""
        row["exact_width"] = cut["pulled_width"]
        rows.append(row)
    return rows


def level_one(jobs: list[Row], hours: list[Row], cuts: list[Row]) -> list[Row]:
    """The job sheet of a shop that keeps no logs: sums of the time and cut logs on each line.

    A line with cuts of several widths has its film as a length of the widest roll; what went back
    on the shelf is not pulled.
    """
    worked: dict[int, float] = {}
    crews: dict[int, list[str]] = {}
    consumed: dict[int, float] = {}
    finished: dict[int, float] = {}
    widest: dict[int, float] = {}
    for row in hours:
        key = id(row["key"])
        worked[key] = worked.get(key, 0.0) + row["exact"]
        names = crews.setdefault(key, [])
        if row["installer"] not in names:
            names.append(row["installer"])
    for row in cuts:
        if not row.get("key"):
            continue
        key = id(row["key"])
        area = row["pulled_length"] * row["exact_width"]
        area -= row.get("kept_length", 0) * row.get("kept_width", 0)
        consumed[key] = consumed.get(key, 0.0) + area
        if row["source"] == "roll":
            widest[key] = max(widest.get(key, 0.0), row["exact_width"])
        if row["reason"] == "first":
            piece = row["pieces"] * row["finished_length"] * row["finished_width"] / 144
            finished[key] = finished.get(key, 0.0) + piece - (row["opening_area"] or 0.0)
    rows = []
    for row in jobs:
        key = id(row["key"])
        extra: Row = {"vehicle_class": row["key"].vehicle_class}
        if row["status"] == "finished":
            extra |= {"crew": "; ".join(crews[key]), "hours": worked[key]}
            if key in consumed:
                width = widest.get(key, 60.0)
                extra |= {
                    "pulled_length": consumed[key] / width,
                    "roll_width": width,
                    "finished_area": finished[key],
                }
        rows.append({**row, **extra})
    return rows


# ---------------------------------------------------------------- what stands beside the work


def months() -> list[date]:
    """First days of the months of the records."""
    days, day = [], sc.FIRST_DAY.replace(day=1)
    while day <= sc.LAST_DAY:
        days.append(day)
        day = (day + timedelta(days=32)).replace(day=1)
    return days


def price_rows() -> list[Row]:
    """The price list: each January, and from each decision on. A blank class holds for all."""
    starts = [date(year, 1, 1) for year in range(sc.FIRST_DAY.year, sc.LAST_DAY.year + 1)]
    rows = []
    for service in sc.SERVICES:
        classes = [cls.name for cls in sc.CLASSES] if service.by_class else [""]
        for name in classes:
            cls = name or "midsize car"
            days = starts + [
                date.fromisoformat(d.effective_from)
                for d in sc.DECISIONS
                if d.service == service.name and d.vehicle_class == name
            ]
            before = None
            for day in sorted(days):
                price = list_price(service, cls, day)
                if price != before:
                    rows.append(
                        {
                            "service": service.name,
                            "vehicle_class": name,
                            "list_price": price,
                            "list_hours": list_hours(service, cls),
                            "effective_from": day,
                        }
                    )
                before = price
    return rows


def decision_rows() -> list[Row]:
    """Past decisions, with the list prices before and after them."""
    rows = []
    for each in sc.DECISIONS:
        service, cls = sc.SERVICE[each.service], each.vehicle_class or "midsize car"
        day = date.fromisoformat(each.effective_from)
        old = list_price(service, cls, day - timedelta(days=1))
        suggested = 5.0 * round(old * (1 + each.suggested) / 5) if each.suggested else ""
        rows.append(
            {
                "decided_on": each.decided_on,
                "service": each.service,
                "vehicle_class": each.vehicle_class,
                "old_price": old,
                "suggested_price": suggested,
                "new_price": list_price(service, cls, day),
                "effective_from": each.effective_from,
                "note": each.note,
            }
        )
    return rows


def vehicle_rows() -> list[Row]:
    """Each model's class, twice where a new body changed it."""
    rows = []
    changed = {(make, name): (until, old) for make, name, until, old in sc.CHANGED_CLASS}
    for model in sc.MODELS:
        row: Row = {"make": model.make, "model": model.model, "vehicle_class": model.vehicle_class}
        until, old = changed.get((model.make, model.model), (None, ""))
        if until:
            rows.append({**row, "year_to": until, "vehicle_class": old})
            row["year_from"] = until + 1
        rows.append(row)
    return rows


def panel_rows() -> list[Row]:
    """Panels a class and service; the roofs with an opening a model."""
    rows = []
    for cls in sc.CLASSES:
        for service in sc.PANELS:
            for panel in panels_of(service, cls.name):
                length, width, pieces = panel_size(cls.name, panel)
                rows.append(
                    {
                        "vehicle_class": cls.name,
                        "service": service,
                        "panel": panel,
                        "finished_length": length,
                        "finished_width": width,
                        "pieces": pieces,
                    }
                )
    for model in sc.MODELS:
        if model.sunroof:
            length, width, _ = panel_size(model.vehicle_class, "roof")
            rows.append(
                {
                    "make": model.make,
                    "model": model.model,
                    "service": "roof",
                    "panel": "roof",
                    "finished_length": length,
                    "finished_width": width,
                    "opening_area": OPENING_AREA,
                    "pieces": 1,
                }
            )
    return rows


def rate_rows() -> list[Row]:
    """Wages from the first day, and after each raise."""
    rows = []
    for person in sc.INSTALLERS:
        wage = person.wage
        rows.append({"installer": person.name, "effective_from": date(2023, 9, 1), "wage": wage})
        for day, factor in sc.RAISES:
            wage = round(wage * factor * 4) / 4
            rows.append({"installer": person.name, "effective_from": day, "wage": wage})
    return rows


def overhead_rows(rng: np.random.Generator) -> list[Row]:
    """Overheads a month and category."""
    rows = []
    for day in months():
        for category, amount, rise, winter in sc.OVERHEADS:
            value = amount * (1 + rise) ** (day.year - sc.FIRST_DAY.year)
            if winter:
                value += winter * (day.month in (12, 1, 2)) + float(rng.normal(0, 35))
            rows.append(
                {"month": day.strftime("%Y-%m"), "category": category, "amount": round(value, 2)}
            )
    return rows


def capacity_rows(floor: ShopFloor) -> list[Row]:
    """Hours that can really be worked: days that somebody is there, at the practical rate."""
    rows = []
    for first in months():
        following = (first + timedelta(days=32)).replace(day=1)
        days = [first + timedelta(days=n) for n in range((following - first).days)]
        days = [day for day in days if day >= sc.FIRST_DAY]
        people = sum(floor.here(person, day) for person in sc.INSTALLERS for day in days)
        open_days = sum(any(floor.here(p, day) for p in sc.INSTALLERS) for day in days)
        rows.append(
            {
                "month": first.strftime("%Y-%m"),
                "installer_hours": round(people * sc.PRACTICAL_HOURS_A_DAY),
                "bay_hours": round(open_days * sc.BAYS * sc.PRACTICAL_HOURS_A_DAY),
            }
        )
    return rows
