"""The costing of a whole shop, job costs and the tables of hours."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

from .avoidable import savings
from .cuts import Pull, land_purchases, place_credits, pulls_of, run_stores
from .jobs import JobLine, Wages, bay_hours, logs_by_job, read_jobs, record_work
from .reading import Quarter, Shop, month_number, quarter_of, ratio, read_shop, total

NOTHING = Fraction(0)
Table = list[dict[str, Any]]


Amount = Any  # a Fraction, or None where it is not known


class Costs:
    """What one finished job line brought in and cost."""

    def __init__(self, line: JobLine, finished_on: date, quarter: Quarter) -> None:
        self.line, self.finished_on, self.quarter = line, finished_on, quarter
        self.hours: Amount = line.hours()
        self.bay_hours: Amount = None
        self.consumed: Amount = None
        self.finished: Amount = None
        self.revenue: Amount = None
        self.film: Amount = None
        self.consumables: Amount = None
        self.labour: Amount = line.labour()
        self.overhead: Amount = None
        self.material_margin: Amount = None
        self.contribution: Amount = None
        self.full_margin: Amount = None


class Costing:
    """Everything that is computed once and read by the tables.

    Packing takes long where many pieces were cut on a day: without `packed` it is left out.
    """

    def __init__(self, shop: Shop, quarter: Quarter, *, packed: bool = True) -> None:
        self.shop, self.settings, self.quarter = shop, shop.settings, quarter
        self.jobs = read_jobs(shop)
        self.bought = land_purchases(shop)
        self.pulls = pulls_of(shop, self.jobs, self.bought)
        self.stores = run_stores(shop, self.bought, self.pulls, self.last_day())
        self.packed = packed
        inside = [pull for pull in self.pulls if packed and quarter.holds(pull.on)]
        self.savings = savings(inside, shop.settings)
        self.work = record_work(shop, self.jobs)
        self.wages = Wages(shop)
        self.rates: dict[tuple[str, str], Fraction | None] = {}
        self.lines = [line for job in self.jobs.values() for line in job.lines]
        self.name_films()
        self.costs = self.cost_lines()

    def last_day(self) -> date:
        """Stocks are followed to the last day written down, or the quarter's end if later."""
        days = [cell for rows in self.shop.tables.values() for row in rows for cell in row.values()]
        return max([day for day in days if isinstance(day, date)] + [self.quarter.end])

    def name_films(self) -> None:
        """A line's film is the one written down, else the one of which most was consumed."""
        self.pulls_of_line: dict[int, list[Pull]] = {line.position: [] for line in self.lines}
        for pull in self.pulls:
            if pull.job_line:
                self.pulls_of_line[pull.job_line.position].append(pull)
        for line in self.lines:
            consumed: dict[str, Fraction] = {}
            for pull in self.pulls_of_line[line.position]:
                consumed[pull.film] = consumed.get(pull.film, NOTHING) + pull.consumed()
            if line.film is None and consumed:
                line.film = max(consumed, key=lambda film: consumed[film])

    # ---- rates -----------------------------------------------------------------------------

    def rate(self, kind: str, quarter: Quarter) -> Amount:
        """The overhead or consumables rate of a quarter [currency per hour], found once."""
        if (kind, quarter.label) not in self.rates:
            find = self.find_overhead_rate if kind == "overhead" else self.find_consumables_rate
            self.rates[kind, quarter.label] = find(quarter)
        return self.rates[kind, quarter.label]

    def find_overhead_rate(self, quarter: Quarter) -> Amount:
        """Overheads over practical hours, of the trailing year's months that have both."""
        amounts, hours = (
            self.by_month("overheads", "amount"),
            self.by_month("capacity", "installer_hours"),
        )
        months = [m for m in amounts if m in hours and quarter.trailing_year_holds_month(m)]
        return ratio(total([amounts[m] for m in months]), total([hours[m] for m in months]))

    def by_month(self, table: str, column: str) -> dict[int, Fraction]:
        """A month given more than once is added."""
        months: dict[int, Fraction] = {}
        for row in self.shop[table]:
            months[row["month"]] = months.get(row["month"], NOTHING) + row[column]
        return months

    def consumables_bought(self, inside: Callable[[date], bool]) -> list[Fraction]:
        """What each consumable received on some days cost, and credits of those days, negative."""
        bought = [p.cost for p in self.bought if not p.is_film and inside(p.row["received_on"])]
        return bought + [
            -amount
            for on, p, amount in place_credits(self.shop, self.bought)
            if not p.is_film and inside(on)
        ]

    def find_consumables_rate(self, quarter: Quarter) -> Amount:
        """Consumables bought in the trailing year, less credits, over all hours worked in it."""

        def inside(on: date) -> bool:
            return quarter.trailing_year_holds_month(on.year * 12 + on.month - 1)

        bought = self.consumables_bought(inside)
        if not bought:
            return NOTHING
        return ratio(total(bought), total([work.hours for work in self.work if inside(work.on)]))

    # ---- job lines -------------------------------------------------------------------------

    def cost_lines(self) -> list[Costs]:
        """All finished lines up to the quarter's end, by day, job and line."""
        logs = logs_by_job(self.shop)
        found = []
        for job in self.jobs.values():
            bays = bay_hours(job, logs.get(job.job_id, {}))
            job_has_cuts = any(self.pulls_of_line[line.position] for line in job.lines)
            for line in job.lines:
                if line.finished_on and line.finished_on <= self.quarter.end:
                    costs = self.cost_line(line, line.finished_on, job_has_cuts)
                    costs.bay_hours = bays[line.position]
                    found.append(costs)
        return sorted(found, key=lambda c: (c.finished_on, c.line.job_id, c.line.line))

    def cost_line(self, line: JobLine, finished_on: date, job_has_cuts: bool) -> Costs:
        """The job statement: net revenue; less film, consumables, labour, overhead."""
        quarter = quarter_of(finished_on, self.settings.fiscal_year_starts)
        costs = Costs(line, finished_on, quarter)
        costs.revenue = line.invoiced / (1 + self.settings.tax) - line.fee
        pulls = self.pulls_of_line[line.position]
        if pulls or job_has_cuts or line.film is None:
            costs.consumed = total([pull.consumed() for pull in pulls])
            costs.finished = total([pull.finished() for pull in pulls])
            costs.film = total([pull.cost() for pull in pulls])
        # else: the line names a film of which nothing was written down, so that it stays unknown
        costs.consumables = product(self.rate("consumables", quarter), costs.hours)
        costs.overhead = product(self.rate("overhead", quarter), costs.hours)
        costs.material_margin = less(costs.revenue, costs.film, costs.consumables)
        costs.contribution = less(costs.material_margin, costs.labour)
        costs.full_margin = less(costs.contribution, costs.overhead)
        return costs

    def in_quarter(self) -> list[Costs]:
        return [costs for costs in self.costs if self.quarter.holds(costs.finished_on)]

    def in_year(self) -> list[Costs]:
        """Those finished in the twelve months that end with the quarter."""
        return [
            costs
            for costs in self.costs
            if self.quarter.trailing_year_holds_month(month_number(costs.finished_on))
        ]

    def enough(self, count: int) -> bool:
        """Whether a count is not greyed."""
        return count >= self.settings.fewest_jobs

    def length(self, metres: Fraction | None) -> Fraction | None:
        """In the shop's unit."""
        return None if metres is None else metres / self.settings.metre_of_a_unit

    def area(self, square_metres: Fraction | None) -> Fraction | None:
        """In the shop's unit."""
        return (
            None if square_metres is None else square_metres / self.settings.square_metres_of_a_unit
        )


def product(left: Fraction | None, right: Fraction | None) -> Fraction | None:
    return None if left is None or right is None else left * right


def less(amount: Amount, *taken: Amount) -> Amount:
    return None if amount is None or None in taken else amount - sum(taken)


def in_key_order(keys: set[Any]) -> list[Any]:
    """Sorted, the blank key last."""
    return sorted(keys, key=lambda key: [(k is None, k or "") for k in as_tuple(key)])


def as_tuple(key: Any) -> tuple[Any, ...]:
    return key if isinstance(key, tuple) else (key,)


def review_tables(folder: Path, quarter: str, *, packed: bool = True) -> dict[str, Table]:
    """The result tables of one quarter (`2026Q3`) from a clean records folder.

    Without `packed` what packing would have saved is left out.
    """
    # These modules read Costing, so that they can only be imported once it is there.
    from .avoidable import avoidable_by_job
    from .bridge import bridge_cells, quarter_bridge
    from .capacity import earning_by_service, utilisation_by_month
    from .flows import film_flows
    from .hours import hours_by_installer, hours_by_task, hours_table
    from .learnt import learning_curves, next_quotes, overrun_by_task, quoting_drift
    from .money import margin_table, redo_table, shop_result
    from .shelf import film_counts, offcut_shelf, offcuts_on_shelf
    from .variances import variances, variances_by
    from .waste import film_prices, film_reconciliation, waste_table

    shop = read_shop(folder)
    costing = Costing(shop, Quarter(quarter, shop.settings.fiscal_year_starts), packed=packed)
    only_packed = {"avoidable_by_job": avoidable_by_job(costing)} if packed else {}
    return only_packed | {
        "job_costs": job_costs(costing),
        "hours_by_service": hours_table(costing, {"service": service_of}),
        "hours_by_class": hours_table(costing, {"vehicle_class": class_of}),
        "hours_by_model": hours_table(
            costing, {"make": make_of, "model": model_of}, every_key=True
        ),
        "hours_by_installer": hours_by_installer(costing),
        "hours_by_task": hours_by_task(costing),
        "overrun_by_task": overrun_by_task(costing),
        "learning_curves": learning_curves(costing),
        "quoting_drift": quoting_drift(costing),
        "next_quotes": next_quotes(costing),
        "waste_by_class": waste_table(costing, "vehicle_class", of_jobs(class_of)),
        "waste_by_service": waste_table(costing, "service", of_jobs(service_of)),
        "waste_by_panel": waste_table(
            costing, "panel", lambda pull: [pull.panel] if pull.job_line else []
        ),
        "waste_by_film": waste_table(costing, "film", lambda pull: [pull.film]),
        "waste_by_width": waste_table(costing, "roll_width", width_off_the_roll(costing)),
        "film_flows": film_flows(costing),
        "offcut_shelf": offcut_shelf(costing),
        "offcuts_on_shelf": offcuts_on_shelf(costing),
        "film_counts": film_counts(costing),
        "film_reconciliation": film_reconciliation(costing),
        "film_prices": film_prices(costing),
        "margin_by_service": margin_table(costing, "service", service_of),
        "margin_by_class": margin_table(costing, "vehicle_class", class_of),
        "margin_by_film": margin_table(costing, "film", film_of),
        "redo": redo_table(costing),
        "shop_result": shop_result(costing),
        "variances": variances(costing),
        "variances_by_service": variances_by(costing, "service", service_of, costing.in_quarter()),
        "variances_by_class": variances_by(
            costing, "vehicle_class", class_of, costing.in_quarter()
        ),
        "quarter_bridge": quarter_bridge(costing),
        "bridge_cells": bridge_cells(costing),
        "utilisation_by_month": utilisation_by_month(costing),
        "earning_by_service": earning_by_service(costing),
    }


def service_of(line: JobLine) -> Any:
    return line.service


def class_of(line: JobLine) -> Any:
    return line.vehicle_class


def film_of(line: JobLine) -> Any:
    return line.film


def make_of(line: JobLine) -> Any:
    return line.row["make"]


def model_of(line: JobLine) -> Any:
    return line.row["model"]


def of_jobs(key: Callable[[JobLine], Any]) -> Callable[[Pull], list[Any]]:
    """The key of the line a pull goes to; no key for a pull that is not of a known job."""
    return lambda pull: [key(pull.job_line)] if pull.job_line else []


def width_off_the_roll(costing: Costing) -> Callable[[Pull], list[Any]]:
    """The width pulled off a roll, blank for a cut from an offcut; cuts of known jobs."""

    def width(pull: Pull) -> list[Any]:
        if not pull.job_line:
            return []
        return [None if pull.from_offcuts else costing.length(pull.width)]

    return width


def job_costs(costing: Costing) -> Table:
    """One row a finished job line."""
    rows = []
    for costs in costing.costs:
        line = costs.line
        rows.append(
            {
                "job_id": line.job_id,
                "line": line.line,
                "finished_on": costs.finished_on,
                "quarter": costs.quarter.label,
                "service": line.service,
                "vehicle_class": line.vehicle_class,
                "make": make_of(line),
                "model": model_of(line),
                "film": line.film,
                "quoted_hours": line.row["quoted_hours"],
                "actual_hours": costs.hours,
                "rework_hours": line.rework_hours(),
                "bay_hours": costs.bay_hours,
                "consumed_area": costing.area(costs.consumed),
                "finished_area": costing.area(costs.finished),
                "waste_area": costing.area(less(costs.consumed, costs.finished)),
                "quoted_price": line.row["quoted_price"],
                "payment_fee": line.fee,
                "net_revenue": costs.revenue,
                "film_cost": costs.film,
                "consumables_cost": costs.consumables,
                "labour_cost": costs.labour,
                "overhead_cost": costs.overhead,
                "material_margin": costs.material_margin,
                "contribution": costs.contribution,
                "full_margin": costs.full_margin,
                "redo_of": line.row["redo_of"],
            }
        )
    return rows
