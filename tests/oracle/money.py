"""Margins by service, class and film; redo work; the shop's statement of the quarter."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import sqrt
from typing import Any

from .jobs import JobLine, card_fee
from .reading import Row, Settings, percent, ratio, total
from .tables import (
    Amount,
    Costing,
    Costs,
    Table,
    film_of,
    in_key_order,
    less,
    make_of,
    model_of,
    product,
    service_of,
)
from .waste import film_reconciliation

NOTHING = Fraction(0)
Z_90 = 1.6448536269514722  # 95 % quantile of the standard normal distribution


def redo_cost(costs: Costs) -> Amount:
    """Film + consumables + labour + overhead + fee of a redo, less what was invoiced for it."""
    return less(NOTHING, costs.full_margin)


def margin_table(costing: Costing, name: str, key: Callable[[JobLine], Any]) -> Table:
    """First-time lines finished in the quarter; redo cost under the first job of the chain."""
    groups: dict[Any, tuple[list[Costs], list[Costs]]] = {}
    for costs in costing.in_quarter():
        first, redos = groups.setdefault(key(costs.line.origin), ([], []))
        (redos if costs.line.is_redo else first).append(costs)
    return [
        {name: k} | margins(*groups[k]) | {"enough": costing.enough(len(groups[k][0]))}
        for k in in_key_order(set(groups))
    ]


def margins(first: list[Costs], redos: list[Costs]) -> dict[str, Any]:
    """Full margin = contribution - overhead - redo cost; the two margins above stand before it."""
    net_revenue = total([costs.revenue for costs in first])
    overhead = total([costs.overhead for costs in first])
    redo = total([redo_cost(costs) for costs in redos])
    material_margin = total([costs.material_margin for costs in first])
    contribution = total([costs.contribution for costs in first])
    full_margin = less(contribution, overhead, redo)
    return {
        "jobs": len(first),
        "net_revenue": net_revenue,
        "film_cost": total([costs.film for costs in first]),
        "consumables_cost": total([costs.consumables for costs in first]),
        "labour_cost": total([costs.labour for costs in first]),
        "overhead_cost": overhead,
        "redo_cost": redo,
        "material_margin": material_margin,
        "contribution": contribution,
        "full_margin": full_margin,
        "full_margin_pct": percent(full_margin, net_revenue),
        "material_margin_per_bay_hour": ratio(material_margin, total([c.bay_hours for c in first])),
        "actual_hours": total([costs.hours for costs in first]),
        "bay_hours": total([costs.bay_hours for costs in first]),
        "contribution_pct": percent(contribution, net_revenue),
    }


# ---- redo ----------------------------------------------------------------------------------------


def redo_table(costing: Costing) -> Table:
    """By service, model and film: first-time lines of the trailing year, and those done over.

    A line is done over when a finished redo leads back to it. Cost: of redos finished in the year.
    """
    trailing = [
        costs
        for costs in costing.costs
        if costing.quarter.trailing_year_holds_month(
            costs.finished_on.year * 12 + costs.finished_on.month - 1
        )
    ]
    done_over = {costs.line.origin.position for costs in costing.costs if costs.line.is_redo}
    rows = []
    keys = {"service": service_of, "model": make_and_model, "film": film_of}
    for by, key in keys.items():
        groups: dict[Any, tuple[list[Costs], list[Costs]]] = {}
        for costs in trailing:
            first, redos = groups.setdefault(key(costs.line.origin), ([], []))
            (redos if costs.line.is_redo else first).append(costs)
        for name in in_key_order(set(groups)):
            first, redos = groups[name]
            again = sum(costs.line.position in done_over for costs in first)
            low, high = wilson(again, len(first))
            rows.append(
                {
                    "by": by,
                    "key": name,
                    "jobs": len(first),
                    "redos": again,
                    "redo_pct": percent(Fraction(again), len(first)),
                    "low_pct": low,
                    "high_pct": high,
                    "redo_cost": total([redo_cost(costs) for costs in redos]),
                    "enough": costing.enough(len(first)),
                }
            )
    return rows


def make_and_model(line: JobLine) -> str:
    return f"{make_of(line)} {model_of(line)}"


def wilson(found: int, n: int) -> tuple[float | None, float | None]:
    """Wilson's score interval of a proportion at 90 %, in percent (Wilson 1927, JASA 22:209)."""
    if n == 0:
        return None, None
    p = found / n
    centre = p + Z_90**2 / (2 * n)
    half = Z_90 * sqrt(p * (1 - p) / n + Z_90**2 / (4 * n**2))
    below = 1 + Z_90**2 / n
    return 100 * max((centre - half) / below, 0.0), 100 * min((centre + half) / below, 1.0)


# ---- the statement -------------------------------------------------------------------------------


def shop_result(costing: Costing) -> Table:
    """The quarter's statement. Costs are positive amounts and are subtracted."""
    finished = costing.in_quarter()
    sums = margins(
        [costs for costs in finished if not costs.line.is_redo],
        [costs for costs in finished if costs.line.is_redo],
    )
    film = film_reconciliation(costing)
    lines = {
        "net_revenue": sums["net_revenue"],
        "film": sums["film_cost"],
        "consumables": sums["consumables_cost"],
        "labour": sums["labour_cost"],
        "contribution": sums["contribution"],
        "overhead_on_jobs": sums["overhead_cost"],
        "redo": sums["redo_cost"],
        "full_margin_of_jobs": sums["full_margin"],
        "counter_sales": less(
            counter_sales(costing), total([row["counter_sales_cost"] for row in film])
        ),
        "shop_film": total([row["shop_cost"] for row in film]),
        "unexplained_film": total([row["unexplained_cost"] for row in film]),
        "work_on_cancelled_and_open_jobs": work_elsewhere(
            costing, finished, total([row["jobs_cost"] for row in film])
        ),
    }
    practical, overheads = capacity_of(costing), overheads_of(costing)
    rate = costing.rate("overhead", costing.quarter)
    worked = hours_worked(costing)
    lines["unused_capacity"] = product(less(practical, worked), rate)
    lines["overhead_rate_difference"] = less(overheads, product(rate, practical))
    lines["result"] = less(
        total([lines["full_margin_of_jobs"], lines["counter_sales"]]),
        lines["shop_film"],
        lines["unexplained_film"],
        lines["work_on_cancelled_and_open_jobs"],
        lines["unused_capacity"],
        lines["overhead_rate_difference"],
    )
    lines["work_on_cancelled_jobs"] = work_lost(costing)
    left = less(practical, worked)
    is_full = left is not None and left <= 0
    wages = NOTHING if is_full else product(left, mean_loaded_rate(costing))
    lines["wages_of_unused_hours"] = wages
    lines["consumables_not_charged"] = less(
        total(costing.consumables_bought(costing.quarter.holds)),
        by_hours(costing.rate("consumables", costing.quarter), worked),
    )
    lines |= break_even(lines["net_revenue"], lines["result"], overheads)
    lines["utilisation_pct"] = percent(worked, practical)
    return [{"line": line, "amount": amount} for line, amount in lines.items()]


def break_even(revenue: Amount, result: Amount, overheads: Amount) -> dict[str, Amount]:
    """Revenue of such work at which the result is nothing; how much less than it is that is, %."""
    lines: dict[str, Amount] = dict.fromkeys(("break_even_revenue", "margin_of_safety_pct"))
    if revenue is None or result is None or overheads is None:
        return lines
    if revenue > 0 and result + overheads > 0:
        at = overheads * revenue / (result + overheads)
        lines = {"break_even_revenue": at, "margin_of_safety_pct": 100 * (revenue - at) / revenue}
    return lines


def hours_worked(costing: Costing) -> Amount:
    """All hours worked in the quarter, whatever became of the job."""
    return total([w.hours for w in costing.work if costing.quarter.holds(w.on)])


def labour_worked(costing: Costing) -> Amount:
    return total([w.cost for w in costing.work if costing.quarter.holds(w.on)])


def capacity_of(costing: Costing) -> Amount:
    """Practical hours of the quarter's months; unknown where no month has a row."""
    months = costing.by_month("capacity", "installer_hours")
    hours = [months[month] for month in months if costing.quarter.holds_month(month)]
    return total(hours) if hours else None


def overheads_of(costing: Costing) -> Amount:
    months = costing.by_month("overheads", "amount")
    amounts = [months[month] for month in months if costing.quarter.holds_month(month)]
    return total(amounts) if amounts else None


def work_elsewhere(costing: Costing, finished: list[Costs], film_cut: Any) -> Any:
    """All work done in the quarter at its cost, less what stands on the lines finished in it.

    Kinds: labour; consumables and overhead at the quarter's rates; film cut for jobs.
    """
    hours = hours_worked(costing)
    done = total(
        [
            labour_worked(costing),
            by_hours(costing.rate("consumables", costing.quarter), hours),
            by_hours(costing.rate("overhead", costing.quarter), hours),
            film_cut,
        ]
    )
    on_lines = total(
        [total([costs.labour, costs.consumables, costs.overhead, costs.film]) for costs in finished]
    )
    return less(done, on_lines)


def work_lost(costing: Costing) -> Any:
    """What was worked and cut in the quarter on lines that were cancelled."""
    work = [w for w in costing.work if is_cancelled(w.line) and costing.quarter.holds(w.on)]
    hours = total([w.hours for w in work])
    rates = [costing.rate(kind, costing.quarter) for kind in ("consumables", "overhead")]
    hourly = [by_hours(rate, hours) for rate in rates]
    cut = [p for p in costing.pulls if is_cancelled(p.job_line) and costing.quarter.holds(p.on)]
    return total([*(w.cost for w in work), *hourly, *(pull.booked() for pull in cut)])


def by_hours(rate: Amount, hours: Amount) -> Amount:
    """Of no hours nothing, whatever the rate."""
    return NOTHING if hours == 0 else product(rate, hours)


def is_cancelled(line: JobLine | None) -> bool:
    return line is not None and line.status == "cancelled"


# ---- counter sales -------------------------------------------------------------------------------


def counter_sales(costing: Costing) -> Amount:
    """The net of the quarter's sales before film; their film is that of the reconciliation."""
    staff_rate = mean_loaded_rate(costing)
    return total(
        [
            net_of_sale(costing.settings, row, staff_rate)
            for row in costing.shop["counter_sales"]
            if costing.quarter.holds(row["sold_on"])
        ]
    )


def net_of_sale(settings: Settings, row: Row, staff_rate: Amount) -> Amount:
    """Price and extras without tax, less extras' cost, fee and staff minutes.

    The fee is as if by card, but for cash and transfer; it is on what was paid, with tax.
    """
    paid = row["price"] + (row["extras_price"] or 0)
    fee = NOTHING
    if row["payment"] not in ("cash", "transfer") and paid != 0:
        fee = card_fee(paid, settings)
    minutes = row["minutes"] or NOTHING
    staff = product(minutes / 60, staff_rate) if minutes else NOTHING
    return less(paid / (1 + settings.tax), row["extras_cost"] or NOTHING, fee, staff)


def mean_loaded_rate(costing: Costing) -> Amount:
    """Cost of the quarter's hours over these hours; without any, the default wage, loaded."""
    hours = hours_worked(costing)
    return costing.wages.default_loaded() if hours == 0 else ratio(labour_worked(costing), hours)
