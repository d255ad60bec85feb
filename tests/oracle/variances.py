"""Quoted against actual: why a job line left more or less than its quote said."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from fractions import Fraction
from typing import Any

from .jobs import JobLine, shared_fee
from .reading import Quarter, month_number, ratio, total
from .tables import Amount, Costing, Costs, Table, in_key_order, less, product

NOTHING = Fraction(0)
EFFECTS = (
    "price",
    "labour_efficiency",
    "labour_rate",
    "film_usage",
    "film_price",
    "fees",
    "consumables",
    "overhead",
)
PROFITS = ("quoted_profit", *EFFECTS, "total", "actual_profit")


def variances(costing: Costing) -> Table:
    """A row a job line finished in the quarter, redos among them."""
    return [row_of(costing, costs) for costs in costing.in_quarter()]


def row_of(costing: Costing, costs: Costs) -> dict[str, Any]:
    line = costs.line
    return {
        "job_id": line.job_id,
        "line": line.line,
        "finished_on": costs.finished_on,
        "service": line.service,
        "vehicle_class": line.vehicle_class,
        "redo_of": line.row["redo_of"],
    } | variances_of(costing, costs)


def variances_of(costing: Costing, costs: Costs) -> dict[str, Amount]:
    """The effects, their sum, and the two profits between which they lead."""
    line = costs.line
    quoted_hours, hours = line.row["quoted_hours"], costs.hours
    labour_rate = standard_labour_rate(costing, costs.quarter)
    consumables_rate = costing.rate("consumables", costs.quarter)
    overhead_rate = costing.rate("overhead", costs.quarter)
    hours_saved = less(quoted_hours, hours)
    net = 1 / (1 + costing.settings.tax)
    quoted_fee = fees_of_quotes(costing, line)[line.position]
    quoted_film, film_usage, film_price = film_of_quote(costing, costs)
    effects = {
        "price": (line.invoiced - line.row["quoted_price"]) * net,
        "labour_efficiency": product(hours_saved, labour_rate),
        "labour_rate": less(product(labour_rate, hours), costs.labour),
        "film_usage": film_usage,
        "film_price": film_price,
        "fees": quoted_fee - line.fee,
        "consumables": product(hours_saved, consumables_rate),
        "overhead": product(hours_saved, overhead_rate),
    }
    quoted_hour = total([labour_rate, consumables_rate, overhead_rate])
    # A quote of no hours, as that of a redo, needs to know no rate.
    quoted_work = product(quoted_hours, quoted_hour) if quoted_hours else NOTHING
    quoted_profit = less(line.row["quoted_price"] * net - quoted_fee, quoted_work, quoted_film)
    found = total(list(effects.values()))
    if found is not None:
        assert costs.full_margin is not None
        assert quoted_profit is not None
        assert found == costs.full_margin - quoted_profit, line.job_id
    return (
        effects
        | {"quoted_profit": quoted_profit, "total": found}
        | {"actual_profit": costs.full_margin}
    )


def film_of_quote(costing: Costing, costs: Costs) -> tuple[Amount, Amount, Amount]:
    """Quoted film at its standard cost, (quoted - consumed) x that, and what its price did.

    A line that names no film and used none has nothing of the three.
    """
    line = costs.line
    if line.film is None:
        assert costs.consumed == costs.film == 0
        return NOTHING, NOTHING, NOTHING
    standard = standard_film_cost(costing, line.film, day_of_quote(line))
    quoted_area = line.row["quoted_film_area"]
    return (
        product(quoted_area, standard),
        product(less(quoted_area, costs.consumed), standard),
        less(product(standard, costs.consumed), costs.film),
    )


def day_of_quote(line: JobLine) -> date:
    day: date = line.row["quoted_on"] or line.row["started_on"] or line.finished_on
    return day


def standard_labour_rate(costing: Costing, quarter: Quarter) -> Amount:
    """Mean loaded rate of the hours of the twelve months before the quarter, found once.

    Of those whose wage is known; where there are none, the default wage with its on-cost.
    """
    if ("standard", quarter.label) not in costing.rates:
        first = quarter.first_month - 12
        work = [w for w in costing.work if first <= month_number(w.on) < quarter.first_month]
        work = [w for w in work if w.cost is not None]
        hours, cost = total([w.hours for w in work]), total([w.cost for w in work])
        rate = costing.wages.default_loaded() if hours == 0 else ratio(cost, hours)
        costing.rates["standard", quarter.label] = rate
    return costing.rates["standard", quarter.label]


def standard_film_cost(costing: Costing, film: str, on: date) -> Amount:
    """What film bought on the newest day on or before the quote cost, by area, landed.

    Of a film that was first bought later, the first day to come; never bought: unknown.
    """
    lines = [(p.row["received_on"], p.line) for p in costing.bought if p.row["item"] == film]
    bought = [(day, line) for day, line in lines if line is not None]
    if not bought:
        return None
    before = [day for day, _ in bought if day <= on]
    newest = max(before) if before else min(day for day, _ in bought)
    of_day = [line for day, line in bought if day == newest]
    return sum(line.cost - line.credited for line in of_day) / sum(line.area for line in of_day)


def fees_of_quotes(costing: Costing, line: JobLine) -> dict[int, Fraction]:
    """By position the fee that the job's quoted prices would have cost, one card payment a job."""
    lines = costing.jobs[line.job_id].lines
    prices = {each.position: each.row["quoted_price"] for each in lines}
    return shared_fee(lines, prices, costing.settings)


# ---- by service and class ------------------------------------------------------------------------


def variances_by(
    costing: Costing, name: str, key: Callable[[JobLine], Any], lines: list[Costs]
) -> Table:
    """Sums over the lines of which every effect and both profits are known; none: blank.

    A redo counts under its own service and class.
    """
    groups: dict[Any, list[dict[str, Amount]]] = {}
    for costs in lines:
        groups.setdefault(key(costs.line), []).append(variances_of(costing, costs))
    rows = []
    for each in in_key_order(set(groups)):
        told = [row for row in groups[each] if None not in row.values()]
        sums = {column: total([row[column] for row in told]) for column in PROFITS}
        rows.append(
            {name: each, "jobs": len(groups[each]), "told": len(told)}
            | (sums if told else dict.fromkeys(PROFITS))
            | {"enough": costing.enough(len(told))}
        )
    return rows
