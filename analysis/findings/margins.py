"""The job statement by group, work done over, and the shop's result."""

import numpy as np
import pandas as pd

from analysis.costing.film import film_reconciliation
from analysis.costing.jobs import Costing
from analysis.costing.overhead import QuarterRates
from analysis.costing.purchases import consumables_bought
from analysis.findings.break_even import break_even_revenue, margin_of_safety
from analysis.findings.evidence import is_enough, wilson_interval
from analysis.findings.groups import Period, both, finished_in, group_sums
from analysis.findings.sale_margins import sale_facts, staff_rates
from analysis.records.model import Records
from analysis.settings import Settings
from analysis.sums import ratio

_MONEY = (
    "net_revenue",
    "film_cost",
    "consumables_cost",
    "labour_cost",
    "overhead_cost",
    "material_margin",
    "contribution",
)
_SUMS = {name: name for name in (*_MONEY, "actual_hours", "bay_hours", "full_margin")}


def margin_by(costing: Costing, key: str, period: Period, fewest: int) -> pd.DataFrame:
    """The job statement by `service`, `vehicle_class` or `film`.

    First-time job lines finished in the period; redos stand in `redo_cost` alone, under the first
    job of their chain. full margin = contribution − overhead − redo cost. [money]
    """
    lines = finished_in(costing.lines, period)
    lines = lines.assign(redo_cost=-lines["full_margin"])
    charged = {key: "charged_" + key.removeprefix("vehicle_")}
    first = group_sums(lines[~lines["is_redo"]], {key: key}, _SUMS, "jobs")
    redo = group_sums(lines[lines["is_redo"]], charged, {"redo_cost": "redo_cost"}, None)
    table = both(first, redo)
    full = table["full_margin"] - table["redo_cost"]
    return table.assign(
        jobs=table["jobs"].astype("int64"),
        full_margin=full,
        full_margin_share=ratio(full, table["net_revenue"]),
        contribution_share=ratio(table["contribution"], table["net_revenue"]),
        material_margin_per_bay_hour=ratio(table["material_margin"], table["bay_hours"]),
        enough=is_enough(table["jobs"], fewest),
    ).reset_index()


def redo_rates(costing: Costing, year: Period, fewest: int) -> pd.DataFrame:
    """Share of first-time jobs of twelve months that were done over, by service, model and film.

    With its 90 % Wilson interval, and the cost of the redos finished in those months. A job is
    counted once, however often it was done over.
    """
    lines = costing.lines.reset_index(drop=True)
    to_date = lines["finished"] & (lines["finished_on"] <= year.last)
    chain = lines[lines["is_redo"] & to_date & lines["root"].notna()]
    first = finished_in(lines[~lines["is_redo"]], year)
    first = first.assign(redone=first.index.isin(chain["root"].astype("int64")).astype("float64"))
    redone = finished_in(lines[lines["is_redo"]], year)
    redone = redone.assign(redo_cost=-redone["full_margin"])
    parts = []
    for by in ("service", "model", "film"):
        own, charged = _label(first, by, ""), _label(redone, by, "charged_")
        counts = group_sums(first.assign(key=own), {"key": "key"}, {"redos": "redone"}, "jobs")
        cost = group_sums(
            redone.assign(key=charged), {"key": "key"}, {"redo_cost": "redo_cost"}, None
        )
        parts.append(both(counts, cost).reset_index().assign(by=by))
    table = pd.concat(parts, ignore_index=True)
    low, high = wilson_interval(table["redos"], table["jobs"])
    return table.assign(
        jobs=table["jobs"].astype("int64"),
        redos=table["redos"].astype("int64"),
        redo_share=ratio(table["redos"], table["jobs"]),
        low_share=low,
        high_share=high,
        enough=is_enough(table["jobs"], fewest),
    )


def _label(lines: pd.DataFrame, by: str, prefix: str) -> pd.Series:
    if by == "model":
        return lines[prefix + "make"] + " " + lines[prefix + "model"]
    return lines[prefix + by]


def shop_result(costing: Costing, records: Records, quarters: list[QuarterRates]) -> pd.DataFrame:
    """The statement of one quarter, or the sum of several: `line, amount, note`.

    Costs are positive amounts and are subtracted. The statement ends in the quarter's true
    overheads: overhead on jobs and redos, on work for cancelled and open jobs, unused capacity and
    the difference of the rate add up to what was paid.
    """
    statements = [_statement(costing, records, rates) for rates in quarters]
    total: dict[str, float] = {
        line: sum(each[line] for each in statements)
        for line in (statements[0] if statements else {})
    }
    practical = sum(each.practical_hours for each in quarters)
    worked = sum(each.worked_hours for each in quarters)
    used = 100 * worked / practical if practical > 0 else np.nan
    total |= _break_even(total, sum(each.overheads for each in quarters))
    total["utilisation_pct"] = used
    rows = [(line, amount, NOTES[line]) for line, amount in total.items()]
    return pd.DataFrame(rows, columns=["line", "amount", "note"]).astype({"amount": "float64"})


NOTES = {
    "net_revenue": "Invoiced, net of tax, less card fees; first-time jobs finished in the period.",
    "film": "Film of those jobs, at the landed cost of the film used.",
    "consumables": "Consumables an hour × their hours.",
    "labour": "Their hours × loaded rates.",
    "contribution": "Net revenue − film − consumables − labour.",
    "overhead_on_jobs": "Overhead rate at practical capacity × their hours.",
    "redo": "Cost of redos finished in the period, less what was invoiced for them.",
    "full_margin_of_jobs": "Contribution − overhead − redo.",
    "counter_sales": (
        "Film sold over the counter: price and extras − fee − film − minutes written down, at the "
        "mean loaded rate."
    ),
    "shop_film": (
        "Film used by the shop itself, offcuts written off and what rolls sent back cost more than "
        "was refunded included."
    ),
    "unexplained_film": "Film missing at the counts; a surplus is negative.",
    "work_on_cancelled_and_open_jobs": (
        "Labour, film, consumables and overhead of work on jobs not finished in the period, less "
        "earlier work on jobs that were; negative where more was finished than begun."
    ),
    "unused_capacity": "(Practical hours − hours worked) × overhead rate.",
    "overhead_rate_difference": "Overheads of the period − rate × practical hours.",
    "result": (
        "Full margin of jobs + counter sales − shop film − unexplained film − work on cancelled "
        "and open jobs − unused capacity − rate difference."
    ),
    "work_on_cancelled_jobs": (
        "What of the work on cancelled and open jobs was done in the period on jobs that are "
        "cancelled by now, before later credits: it comes back in no later period. Held in that "
        "line already."
    ),
    "wages_of_unused_hours": (
        "(Practical hours − hours worked) × mean loaded rate of the hours worked: what hours that "
        "nobody wrote down cost if they are paid all the same. In no line above."
    ),
    "consumables_not_charged": (
        "Consumables bought in the period − consumables an hour × all hours worked: put by for "
        "later, or, where negative, used of what was put by. In no line above."
    ),
    "break_even_revenue": (
        "Overheads of the period × net revenue ÷ (result + overheads): the revenue of such jobs at "
        "which the result is 0. Everything but overheads counts as growing with the revenue; wages "
        "that are paid whether or not there is work do not, and lift it."
    ),
    "margin_of_safety_pct": "1 − break-even revenue ÷ net revenue, in percent.",
    "utilisation_pct": "Hours worked ÷ practical hours, in percent.",
}


def _statement(costing: Costing, records: Records, rates: QuarterRates) -> dict[str, float]:
    """One quarter's lines, in order."""
    quarter = rates.quarter
    period = Period(quarter.first_day, quarter.last_day)
    lines = finished_in(costing.lines, period)
    first, redone = lines[~lines["is_redo"]], lines[lines["is_redo"]]
    flows = film_reconciliation(costing.shelf, period.first, period.last)
    contribution = _total(first["contribution"])
    overhead = _total(first["overhead_cost"])
    redo = -_total(redone["full_margin"])
    margin = contribution - overhead - redo
    sales = counter_sales_net(costing, records, period) - _total(flows["counter_sales_cost"])
    shop, unexplained = _total(flows["shop_cost"]), _total(flows["unexplained_cost"])
    other_work = _work_elsewhere(costing, lines, flows, rates)
    unused = (rates.practical_hours - rates.worked_hours) * rates.overhead_rate
    difference = rates.overheads - rates.overhead_rate * rates.practical_hours
    return {
        "net_revenue": _total(first["net_revenue"]),
        "film": _total(first["film_cost"]),
        "consumables": _total(first["consumables_cost"]),
        "labour": _total(first["labour_cost"]),
        "contribution": contribution,
        "overhead_on_jobs": overhead,
        "redo": redo,
        "full_margin_of_jobs": margin,
        "counter_sales": sales,
        "shop_film": shop,
        "unexplained_film": unexplained,
        "work_on_cancelled_and_open_jobs": other_work,
        "unused_capacity": unused,
        "overhead_rate_difference": difference,
        "result": margin + sales - shop - unexplained - other_work - unused - difference,
        "work_on_cancelled_jobs": _work_lost(costing, rates),
        "wages_of_unused_hours": _unused_wages(costing, records.settings, rates),
        "consumables_not_charged": _consumables_left(costing, records, rates),
    }


def _break_even(lines: dict[str, float], overheads: float) -> dict[str, float]:
    """The revenue that would leave nothing, and how far the period's is over it."""
    if not lines:
        return {}
    revenue = lines["net_revenue"]
    at = break_even_revenue(revenue, lines["result"] + overheads, overheads)
    safety = 100 * margin_of_safety(revenue, at)
    return {"break_even_revenue": at, "margin_of_safety_pct": safety}


def _unused_wages(costing: Costing, settings: Settings, rates: QuarterRates) -> float:
    """What the practical hours of which no work is written down cost, if they are paid. [money]"""
    left = rates.practical_hours - rates.worked_hours
    if left <= 0:
        return 0.0
    number = pd.Series([rates.quarter.index])
    return float(left * staff_rates(costing, settings, number).iloc[0])


def _consumables_left(costing: Costing, records: Records, rates: QuarterRates) -> float:
    """Consumables that were bought and not charged to any hour of the quarter. [money]"""
    quarter = rates.quarter
    bought = consumables_bought(records["purchases"], costing.purchase_lines, costing.credits)
    now = bought.loc[bought["day"].between(quarter.first_day, quarter.last_day), "amount"]
    return float(now.sum()) - _by_hours(rates.worked_hours, rates.consumables_rate)


def _total(values: pd.Series) -> float:
    """Sum in which a missing number is missing; of nothing, 0."""
    return float(values.sum(skipna=False)) if len(values) else 0.0


def _work_elsewhere(
    costing: Costing, lines: pd.DataFrame, flows: pd.DataFrame, rates: QuarterRates
) -> float:
    """Work done in the quarter that stands on no job line finished in it. [money]

    Work done earlier on a job finished now comes back as a negative amount, so that over the
    quarters nothing is counted twice.
    """
    log = costing.log
    period = Period(rates.quarter.first_day, rates.quarter.last_day)
    now = log[period.holds(log["worked_on"])]
    on_lines = _total(lines["actual_hours"])
    hourly = rates.overhead_rate + rates.consumables_rate
    beside = _by_hours(rates.worked_hours, hourly) - _by_hours(on_lines, hourly)
    labour = _total(now["cost"]) - _total(lines["labour_cost"])
    film = _total(flows["jobs_cost"]) - _total(lines["film_cost"])
    return labour + film + beside


def _work_lost(costing: Costing, rates: QuarterRates) -> float:
    """Work done in the quarter on job lines that were cancelled. [money]

    Labour, consumables and overhead of the hours, and film as it was booked on its day.
    """
    lines = costing.lines
    cancelled = lines.index[lines["status"] == "cancelled"]
    period = Period(rates.quarter.first_day, rates.quarter.last_day)
    log, pulls = costing.log, costing.shelf.pulls
    worked = log[log["job_line"].isin(cancelled) & period.holds(log["worked_on"])]
    cut = pulls[pulls["job_line"].isin(cancelled) & period.holds(pulls["cut_on"])]
    beside = _by_hours(_total(worked["hours"]), rates.overhead_rate + rates.consumables_rate)
    film = _total(cut.loc[cut["pulled_m2"].notna(), "consumed_cost"])
    return _total(worked["cost"]) + beside + film


def _by_hours(hours: float, rate: float) -> float:
    """Hours × rate; an unknown rate of hours that nobody worked costs nothing. [money]"""
    return hours * rate if hours else 0.0


def counter_sales_net(costing: Costing, records: Records, period: Period) -> float:
    """What counter sales of a period left before film: price, extras − fee − staff time. [money]"""
    facts = sale_facts(costing, records)
    chosen = facts[period.holds(facts["sold_on"])]
    return _total(
        chosen["revenue"] + chosen["extras_margin"] - chosen["payment_fee"] - chosen["staff_cost"]
    )
