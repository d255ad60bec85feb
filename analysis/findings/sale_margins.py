"""What each counter sale left, before any install that it displaced or brings: facts alone."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.cuts import FOR_SALE, FROM_LOG
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, assert_reconciled
from analysis.findings.capacity_use import (
    SHORT_FROM_SHARE,
    refill_shares,
    utilisation_by_month,
)
from analysis.periods import Quarter, quarter_index, quarter_of
from analysis.records.job_lines import vehicle_classes
from analysis.records.model import Records
from analysis.settings import Settings
from analysis.sums import ratio, strict_sum

IDLE, FULL, NOT_KNOWN = "idle", "full", "not known"
_NO_FEE: Final = ("cash", "transfer")


def sale_facts(costing: Costing, records: Records) -> pd.DataFrame:
    """Every counter sale with what it took in and what it cost.

    Returns
    -------
    DataFrame
        On the index of `counter_sales`: its columns, `vehicle_class`, `quarter_number` (fiscal),
        `revenue, extras_margin, payment_fee, film_cost, side_loss_cost, spoiled_cost, staff_rate,
        staff_cost` [money, money / h], `side_loss_area_m2` and `has_cut` (whether a cut is written
        down). Missing where the records do not say; minutes that were not written down cost
        nothing here.

    Notes
    -----
    Film is all that was cut for the sale, spoiled pieces too, at the landed cost of the film used;
    a strip that went back on the shelf is not lost, one that was thrown away is. The fee is as if
    by card, unless the sale says otherwise. Staff time costs the mean loaded rate of the quarter's
    hours (the default wage where none were worked). Raises `Unreconciled` where the film of sales
    is not what the shelf gave out to the counter.
    """
    sales, settings = records["counter_sales"], records.settings
    paid = sales["price"] + sales["extras_price"].fillna(0.0)
    extras = sales["extras_price"].fillna(0.0) * settings.net_of_tax
    number = quarter_index(sales["sold_on"], settings.fiscal_year_starts)
    rate = staff_rates(costing, settings, number)
    minutes = sales["minutes"].fillna(0.0)
    return sales.assign(
        vehicle_class=_classes(sales, records["vehicles"]),
        quarter_number=number,
        revenue=sales["price"] * settings.net_of_tax,
        extras_margin=extras - sales["extras_cost"].fillna(0.0),
        payment_fee=_fees(sales, paid, settings),
        staff_rate=rate,
        staff_cost=(minutes / 60 * rate).where(minutes > 0, 0.0),
        **_film(costing, sales),
    )


def month_use(costing: Costing, records: Records, quarter: Quarter) -> pd.DataFrame:
    """How full each month was, from that of the first counter sale to the quarter's end.

    By first day of the month: `refill_share` (chance that other work takes an hour that a job
    leaves free: 0 up to `SHORT_FROM_SHARE` of the hours used, 1 where all are, a straight line
    between, as `Governing.refill_share`) and `month_kind` (`FULL` from `SHORT_FROM_SHARE` on,
    `IDLE`, `NOT_KNOWN`). The use is that of bays or of people, whichever is more.
    """
    sold = records["counter_sales"]["sold_on"].dropna()
    first = sold.min() if len(sold) else quarter.first_day
    parts, at = [], quarter
    while at.last_day >= first:
        months = utilisation_by_month(costing, records, at)
        if not isinstance(months, Unavailable):
            parts.append(months.set_index("month")[["installer_use_share", "bay_use_share"]])
        at = quarter_of(
            at.year_first_day - pd.DateOffset(years=1, days=1), records.settings.fiscal_year_starts
        )
    if not parts:
        return pd.DataFrame(
            {"refill_share": pd.Series(dtype="float64"), "month_kind": pd.Series(dtype="str")},
            index=pd.DatetimeIndex([], name="month"),
        )
    use = pd.concat(parts).sort_index().max(axis=1)
    return pd.DataFrame({"refill_share": refill_shares(use), "month_kind": month_kinds(use)})


def month_kinds(use: pd.Series) -> pd.Series:
    """The word for a month, by the share of the hours used."""
    words = np.select([use.isna(), use >= SHORT_FROM_SHARE], [NOT_KNOWN, FULL], IDLE)
    return pd.Series(words, index=use.index, dtype="str")


def _classes(sales: pd.DataFrame, vehicles: pd.DataFrame) -> pd.Series:
    """Size class of each sale's vehicle by its model; a sale names no year."""
    asked = sales[["make", "model"]].assign(
        vehicle_class=pd.Series(np.nan, index=sales.index, dtype="str"),
        model_year=pd.Series(pd.NA, index=sales.index, dtype="Int64"),
    )
    return vehicle_classes(asked, vehicles)


def _fees(sales: pd.DataFrame, paid: pd.Series, settings: Settings) -> pd.Series:
    fee = paid * settings.fees.card_percent / 100 + settings.fees.card_fixed
    by_card = ~sales["payment"].isin(_NO_FEE)
    return fee.where(by_card & (paid > 0), 0.0)


def staff_rates(costing: Costing, settings: Settings, number: pd.Series) -> pd.Series:
    """Mean loaded rate of the hours worked in each quarter, by its number. [money / h]

    The default wage where none were worked; missing where a wage is.
    """
    known = costing.labour_rates
    own = number.map(known).astype("float64")
    return own.where(number.isin(known.index), settings.labour.default_rate)


def _film(costing: Costing, sales: pd.DataFrame) -> dict[str, pd.Series]:
    """Film of each sale: its cost [money], what of it is side loss [m², money] or was spoiled."""
    pulls = costing.shelf.pulls
    of_counter = pulls[pulls["owner"] == FOR_SALE]
    own = of_counter[of_counter["sale"].notna()]
    at = own["sale"].astype("int64")
    is_first = own["reason"] == "first"
    every = pd.RangeIndex(len(sales))
    cost = strict_sum(own["film_cost"], [at]).reindex(every)
    first_cost, first_area = (
        strict_sum(own.loc[is_first, name], [at[is_first]]).reindex(every)
        for name in ("film_cost", "consumed_m2")
    )
    spoiled = strict_sum(own.loc[~is_first, "film_cost"], [at[~is_first]]).reindex(every)
    # Of cuts that a sale does not have, nothing was lost.
    none_first, none_spoiled = (
        every.isin(at) & ~every.isin(at[which]) for which in (is_first, ~is_first)
    )
    sold = (sales["length_m"] * sales["width_m"]).set_axis(every)
    side = (first_area - sold).mask(none_first, 0.0)
    _check_film(costing, of_counter, cost)
    columns = {
        "film_cost": cost,
        "side_loss_area_m2": side,
        "side_loss_cost": (first_cost * ratio(side, first_area)).mask(none_first, 0.0),
        "spoiled_cost": spoiled.mask(none_spoiled, 0.0),
        "has_cut": pd.Series(every.isin(at[own["pulled_from"] == FROM_LOG]), index=every),
    }
    return {name: values.set_axis(sales.index) for name, values in columns.items()}


def _check_film(costing: Costing, of_counter: pd.DataFrame, of_sales: pd.Series) -> None:
    """By film, cut for the counter = taken by the counter; the cuts of known sales = their cost.

    A film of which a cost is not known is left out: it is blank in the sale, and in the flows.
    """
    moved = costing.shelf.movements
    taken = moved.loc[moved["flow"] == FOR_SALE, ["film", "cost"]]
    cut = of_counter[["film", "film_cost"]].set_axis(["film", "cost"], axis=1)
    both = pd.concat([taken, cut.assign(cost=-cut["cost"])])
    apart = strict_sum(both["cost"], [both["film"]]).dropna()
    tolerance = 1e-6 * max(1.0, float(taken["cost"].abs().sum()))
    assert_reconciled("Film of counter sales", float(apart.abs().sum()), 0.0, tolerance)
    own = of_counter[of_counter["sale"].isin(of_sales.index[of_sales.notna()])]
    of_cuts = float(own["film_cost"].sum())
    assert_reconciled("Film of known sales", float(of_sales.sum()), of_cuts, tolerance)
