"""The files of the invented shop: its tables, its settings, and the blemishes in them."""

from __future__ import annotations

import csv
from collections.abc import Iterable
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from data_demo import scenario as sc

Row = dict[str, Any]
Tables = dict[str, list[Row]]
COLUMNS = {
    "jobs": "job_id line status quoted_on started_on finished_on service make model model_year "
    "vehicle_class film quoted_hours quoted_film_area quoted_price invoiced_price payment redo_of "
    "crew hours pulled_length roll_width finished_area",
    "hours": "job_id line worked_on installer task hours started_at stopped_at overtime",
    "purchases": "invoice received_on supplier item kind roll_width roll_length quantity "
    "unit_price discount roll_id",
    "cuts": "cut_id cut_on job_id line sale_id film roll_id source panel pulled_length "
    "pulled_width pieces piece_length piece_width finished_length finished_width opening_area "
    "kept_width kept_length reason",
    "stock_counts": "counted_on film length_on_hand roll_width area_on_hand",
    "quotes": "quote_id quoted_on service make model model_year vehicle_class quoted_hours "
    "quoted_price list_price outcome job_id lost_reason",
    "counter_sales": "sale_id sold_on film length width price minutes extras_price extras_cost "
    "make model service would_book later_job_id payment",
    "price_list": "service vehicle_class list_price list_hours effective_from",
    "vehicles": "make model year_from year_to vehicle_class",
    "panels": "vehicle_class make model service panel finished_length finished_width opening_area "
    "pieces",
    "rates": "installer effective_from wage",
    "overheads": "month category amount",
    "capacity": "month installer_hours bay_hours",
    "decisions": "decided_on service vehicle_class old_price suggested_price new_price "
    "effective_from note",
}


def cell(value: Any) -> str:
    """One value as the shop writes it: ISO dates, numbers without idle zeros."""
    if value is None:
        return ""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return f"{value:.3f}".rstrip("0").rstrip(".")
    return str(value)


def write_table(folder: Path, table: str, rows: Iterable[Row]) -> None:
    """Write one table: UTF-8, commas, LF."""
    columns = COLUMNS[table].split()
    with (folder / f"{table}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(columns)
        writer.writerows([cell(row.get(column, "")) for column in columns] for row in rows)


# ---------------------------------------------------------------- blemishes


def _at(rows: list[Row], day: date, column: str) -> int:
    return next(n for n, row in enumerate(rows) if row[column] and row[column] >= day)


def blemish(tables: Tables) -> None:
    """Plant the mistakes that BLEMISHES lists, in the tables as they are."""
    jobs, hours, cuts, quotes = (tables[name] for name in ("jobs", "hours", "cuts", "quotes"))
    finished = [row for row in jobs if row["status"] == "finished" and not row["redo_of"]]
    for row in [r for r in finished if r["line"] == 1][7::83][:14]:
        row["payment"] = ""
    row = next(r for r in finished[600:] if r["model"] == "Thresk")
    row.update(model="Tresk", vehicle_class=row["key"].vehicle_class)
    row = next(r for r in finished[820:] if r["service"] == "roof" and r["invoiced_price"] is None)
    jobs.insert(jobs.index(row) + 1, {**row, "quoted_price": row["quoted_price"] + 40.0})

    cancelled = next(r for r in jobs if r["status"] == "cancelled" and r["quoted_on"].year == 2026)
    marta = sc.INSTALLERS[0].name
    base = {
        "job_id": cancelled["job_id"],
        "line": cancelled["line"],
        "installer": marta,
        "task": "prep",
        "overtime": "no",
    }
    day = next(
        r["worked_on"]
        for r in hours
        if r["worked_on"] >= cancelled["quoted_on"] + timedelta(days=6)
    )
    hours.insert(_at(hours, day, "worked_on"), {**base, "worked_on": day, "hours": 1.5})
    at = next(
        n
        for n in range(_at(hours, date(2026, 7, 20), "worked_on"), len(hours))
        if hours[n]["installer"] == marta and hours[n]["hours"] == 2.75
    )
    hours.insert(at + 1, {**hours[at], "hours": 27})
    other = next(r for r in hours[at + 40 :] if r["installer"] == sc.CAREFUL_INSTALLER)
    other["installer"] = sc.CAREFUL_INSTALLER.replace("Corbray", "Corbay")

    lost = next(r for r in quotes if r["outcome"] == "lost" and r["quoted_on"] >= date(2026, 5, 14))
    lost["quoted_on"] = date(2062, 5, 14)
    next(r for r in reversed(quotes) if r["outcome"] == "open")["quoted_price"] = "tbd"
    won = next(r for r in quotes if r["outcome"] == "lost" and r["quoted_on"] >= date(2025, 9, 2))
    won.update(outcome="won", lost_reason="")

    bought = tables["purchases"]
    at = _at(bought, date(2026, 8, 3), "received_on")
    bought.insert(
        at,
        {
            **bought[at],
            "invoice": "CFS-9007",
            "supplier": sc.FILM["NK-CARBON"].supplier,
            "item": "freight",
            "kind": "freight",
            "roll_width": "",
            "roll_length": "",
            "quantity": 1,
            "unit_price": 86.5,
            "discount": "",
            "roll_id": "",
        },
    )
    recent = cuts[_at(cuts, date(2026, 7, 15), "cut_on") :]
    wide = next(
        r
        for r in recent
        if r["film"] == "NK-CARBON"
        and r["source"] == "roll"
        and r["reason"] == "first"
        and r["pulled_width"] == 60
    )
    wide["pulled_width"] = 72
    swapped = next(
        r for r in recent if r.get("panel") == "grille surround" and r["reason"] == "first"
    )
    longer = max("finished_length", "finished_width", key=lambda name: float(swapped[name]))
    swapped[longer] = 83


# ---------------------------------------------------------------- settings

SHOP_TOML = """# Settings of {name} (an invented shop; {level}).

shop_name = "{shop}"  # on what is printed and sent
currency = "USD"             # ISO 4217 code
locale = "en-US"             # how numbers and dates are shown
length_unit = "in"           # a length without a unit is in inches
area_unit = "sq ft"          # areas are square feet
date_formats = ["%Y-%m-%d"]  # how this shop writes a date (ISO is always read)
decimal_comma = false        # 1.5 is one and a half
fiscal_year_starts = 1       # month in which the fiscal year starts
prices_include_tax = false   # prices stand without sales tax
tax_rate = 0.0               # so none is taken out of them

[labour]
on_cost = 0.13               # what comes on top of a wage, as a share of it
overtime_multiplier = 1.5    # an overtime hour is paid so many times
on_cost_on_overtime = false  # on-cost is on the plain wage only
default_wage = 23.0          # of somebody without a row in rates

[film]
costing = "fifo"             # the oldest film is used up first
offcut_life_months = {life}      # then a kept offcut goes into the bin
directional = ["{grain}"]  # its weave runs along the roll: pieces are not turned
longest_pull = {table}          # the cutting table, in inches

[ordering]
lead_days = 4                # from the order to the shelf
safety_days = 7              # of use that should still lie there when it comes

[fees]
card_percent = 2.9           # of what was paid by card, in percent
card_fixed = 0.30            # and so much a payment

[targets]
margin = 0.45                # contribution margin that a service should leave

[targets.service."full colour change"]
margin = 0.40                # less for the long jobs that fill the bays

[pricing]
round_to = 5                 # prices are multiples of this
round_down_by = 0            # nothing is taken off a rounded price
largest_change = 0.12        # of a list price in one review
smallest_change = 0.02       # less is not worth a new list
fewest_jobs = 5              # nothing rests on fewer jobs

[counter]
takes_installers = true      # who cuts film at the counter is called off a car
margin = 0.40                # what a price of cut film should leave
round_to = 1                 # prices of cut film are whole dollars
extra_allowance = 2          # inches a side more in a kit, for a hand without practice

[quoting]
confidence = 0.75            # share of jobs that should finish inside the quoted hours

[overrun]
tolerance = 0.10             # an overrun up to this is fine
error_rate = 0.10            # accepted share of false flags

[redo]
window_months = 12           # a redo later than this is asked about
"""


def shop_toml(level: str) -> str:
    """The settings file, each key with its sentence."""
    return SHOP_TOML.format(
        name=sc.SHOP_NAME,
        shop=sc.SHOP_NAME.partition(",")[0],
        level=level,
        life=sc.OFFCUT_LIFE_MONTHS,
        grain=sc.DIRECTIONAL_FILM,
        table=sc.LONGEST_PULL,
    )
