"""Quoted against actual: what made each job leave more or less than its quote counted on.

The variances of standard costing (OpenStax, Principles of Accounting, Volume 2: Managerial
Accounting, 2019, chapter 8), favourable ones positive. The quote's hours and film are the standard
quantities; what an hour and a film cost by then are the standard prices.
"""

from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing, payment_fees
from analysis.costing.labour import mean_rate
from analysis.costing.purchases import film_prices
from analysis.errors import assert_reconciled
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period, finished_in
from analysis.periods import Quarter, quarter_from_index
from analysis.price_tables import VARIANCE_EFFECTS, VARIANCES
from analysis.records.model import Records
from analysis.settings import Settings

EFFECTS: Final = [column.name for column in VARIANCE_EFFECTS]
_SUMS: Final = ["quoted_profit", *EFFECTS, "total", "actual_profit"]
_HAIR: Final = 1e-9  # of the largest amount: what binary sums leave


def job_variances(
    costing: Costing, records: Records, quarter: Quarter, period: Period | None = None
) -> pd.DataFrame:
    """Actual less quoted profit of each job line, and the effects that add up to it. [money]

    Parameters
    ----------
    quarter : the job lines finished in it are told
    period : those finished in other days instead; each is held against its own quarter's standards

    Returns
    -------
    DataFrame
        The columns of `VARIANCES`, by day, job and line. An effect whose standard or cost is not
        known is missing, and so is the total then.

    Raises
    ------
    Unreconciled
        The effects of a line do not add to its actual less its quoted profit.

    Notes
    -----
    With r the standard rate, c the standard film cost: price = invoiced − quoted, net of tax;
    labour efficiency = (quoted − actual hours) × r; labour rate = r × actual hours − labour cost;
    film usage = (quoted − consumed area) × c; film price = c × consumed area − film cost; fees,
    consumables and overhead = those of the quote − those of the job. A line that names no film and
    used none has no film effects; a quote without a film area else leaves them unknown.
    """
    lines = finished_in(costing.lines, period or Period(quarter.first_day, quarter.last_day))
    settings = records.settings
    net = settings.net_of_tax
    fee = _quoted_fees(costing.lines, settings).reindex(lines.index)
    quarters = [int(each) for each in lines["quarter_number"].unique()]
    rate = _by_quarter(lines, {each: standard_rate(costing, settings, each) for each in quarters})
    rates = {each: costing.rates[each] for each in quarters}
    consumables = _by_quarter(lines, {n: each.consumables_rate for n, each in rates.items()})
    overhead = _by_quarter(lines, {n: each.overhead_rate for n, each in rates.items()})
    quoted_on = lines["quoted_on"].fillna(lines["started_on"]).fillna(lines["finished_on"])
    film_cost = standard_film_cost(costing, lines["film"], quoted_on)

    hours, actual_hours = lines["quoted_hours"], lines["actual_hours"]
    consumed = lines["consumed_area_m2"]
    filmless = lines["film"].isna() & (consumed == 0)
    area = lines["quoted_film_area_m2"]
    area = area.where(area.notna() | ~filmless, 0.0)
    labour, film = _cost(hours, rate), _cost(area, film_cost)
    hourly = {"consumables": _cost(hours, consumables), "overhead": _cost(hours, overhead)}
    effects = pd.DataFrame(
        {
            "price": (lines["invoiced_price"] - lines["quoted_price"]) * net,
            "labour_efficiency": labour - _cost(actual_hours, rate),
            "labour_rate": _cost(actual_hours, rate) - lines["labour_cost"],
            "film_usage": film - _cost(consumed, film_cost),
            "film_price": _cost(consumed, film_cost) - lines["film_cost"],
            "fees": fee - lines["payment_fee"],
            "consumables": hourly["consumables"] - lines["consumables_cost"],
            "overhead": hourly["overhead"] - lines["overhead_cost"],
        }
    )
    quoted = lines["quoted_price"] * net - fee - labour - sum(hourly.values()) - film
    table = lines.assign(
        **effects,
        quoted_profit=quoted,
        total=effects.sum(axis=1, skipna=False),
        actual_profit=lines["full_margin"],
    )
    _check(table, "The variances of a job line")
    table = table.sort_values(["finished_on", "job_id", "line"], kind="stable", ignore_index=True)
    return table[VARIANCES.inside_names]


def variances_by(variances: pd.DataFrame, key: str, fewest: int) -> pd.DataFrame:
    """Sums of the jobs' variances by `service` or `vehicle_class`.

    `jobs` counts every job line, `told` those of which every effect is known; the sums are those
    of the told ones, missing where there is none. Raises `Unreconciled` where they do not add.
    """
    is_told = variances["total"].notna()
    groups = variances[key]
    table = variances[_SUMS].where(is_told).groupby(groups, dropna=False).sum(min_count=1)
    told = is_told.astype("int64").groupby(groups, dropna=False).sum()
    _check(table, f"The sum of the variances by {key}")
    return table.assign(
        jobs=groups.groupby(groups, dropna=False).size().astype("int64"),
        told=told.astype("int64"),
        enough=is_enough(told, fewest),
    ).reset_index()[[key, "jobs", "told", *_SUMS, "enough"]]


def standard_rate(costing: Costing, settings: Settings, number: int) -> float:
    """Mean loaded rate of the twelve months before a quarter. [money / h]

    `number` is that of `periods.quarter_index`. Of hours whose wage is known; the default wage,
    loaded, where nobody worked in those months; NaN where neither is known.
    """
    start = quarter_from_index(number, settings.fiscal_year_starts).first_day
    return mean_rate(costing.log, settings.labour, start).rate


def standard_film_cost(costing: Costing, film: pd.Series, day: pd.Series) -> pd.Series:
    """Newest landed cost of each film on or before each day. [money / m²]

    After freight, discount and credits, the purchases of a day together by area. A film that was
    first bought later takes that purchase; one that was never bought has none.
    """
    prices = film_prices(costing.purchase_lines, costing.credits)
    sums = prices.groupby(["film", "received_on"])[["landed_cost", "purchased_area_m2"]]
    bought = sums.sum().reset_index().sort_values("received_on", kind="stable")
    bought = bought.assign(standard=bought["landed_cost"] / bought["purchased_area_m2"])
    asked = pd.DataFrame({"film": film, "day": day}).reset_index(names="at")
    asked = asked[asked["film"].notna()].sort_values("day", kind="stable")
    if bought.empty or asked.empty:
        return pd.Series(np.nan, index=film.index)
    found = pd.merge_asof(
        asked.astype({"day": bought["received_on"].dtype}),
        bought[["film", "received_on", "standard"]],
        left_on="day",
        right_on="received_on",
        by="film",
    ).set_index("at")["standard"]
    first = bought.drop_duplicates("film").set_index("film")["standard"]
    return found.reindex(film.index).fillna(film.map(first)).astype("float64")


def _quoted_fees(lines: pd.DataFrame, settings: Settings) -> pd.Series:
    """The card fee as it would be had every job been invoiced as quoted. [money]"""
    finished = lines[lines["finished"]]
    return payment_fees(finished.assign(invoiced_price=finished["quoted_price"]), settings)


def _by_quarter(lines: pd.DataFrame, values: dict[int, float]) -> pd.Series:
    return lines["quarter_number"].astype("float64").map(values).astype("float64")


def _cost(quantity: pd.Series, price: pd.Series) -> pd.Series:
    """Quantity × price; of nothing 0, whether its price is known or not."""
    return (quantity * price).where(quantity != 0, 0.0)


def _check(table: pd.DataFrame, what: str) -> None:
    told = table[table["total"].notna()]
    gap = told["actual_profit"] - told["quoted_profit"] - told["total"]
    scale = float(told[_SUMS].abs().to_numpy().max(initial=1.0))
    worst = float(gap.abs().max(skipna=False)) if len(gap) else 0.0
    assert_reconciled(what, worst, 0.0, _HAIR * scale)
