"""The lowest price that leaves the target margin, and what any price leaves.

With P the price as written, nt the factor that takes the tax out, m the target margin, c and f the
card's percentage (as a share) and its fixed part: P·nt·(1 − m) = cost + P·c + f. The cost is what
the job is expected to cost if it were bought today: film at its newest landed cost, consumables,
labour, and a reserve for doing it over. Overhead is not in it: the target is a contribution margin.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.costing.labour import loaded_rate, mean_rate
from analysis.costing.purchases import film_prices
from analysis.periods import quarter_of
from analysis.pricing.price_lines import (
    PriceTerms,
    contributions,
    fees,
    floor_prices,
    margin_shares,
    reserves,
)
from analysis.records.list_prices import list_rows
from analysis.records.model import Records
from analysis.settings import Settings
from analysis.sums import strict_sum

# A service's own share of jobs done over stands against the shop's with the weight of so many jobs.
_SHOP_JOBS: Final = 20.0


@dataclass(frozen=True)
class Rates:
    """What an hour of the next job costs; NaN where the records do not say. [money / h]

    `labour` : mean loaded rate of the hours worked in the trailing twelve months; `unpaid_share` :
    share of those hours whose wage is not known and which the mean leaves out; `consumables` : rate
    of the newest quarter.
    """

    labour: float
    unpaid_share: float
    consumables: float


def next_rates(costing: Costing, settings: Settings, day: pd.Timestamp) -> Rates:
    """The rates of a job quoted on a day.

    Without any hours in the twelve months labour costs the default wage, loaded.
    """
    labour = mean_rate(costing.log, settings.labour, day + pd.DateOffset(days=1))
    quarter = quarter_of(day, settings.fiscal_year_starts).index
    known = [index for index in costing.rates if index <= quarter]
    consumables = costing.rates[max(known)].consumables_rate if known else np.nan
    return Rates(labour.rate, labour.unpaid_share, consumables)


def installer_rate(records: Records, installer: str, day: pd.Timestamp) -> float:
    """Newest loaded rate of one person on a day, no overtime; NaN without a wage. [money / h]"""
    entry = pd.DataFrame(
        {"installer": pd.Series([installer], dtype="str"), "worked_on": [day], "overtime": [False]}
    )
    return float(loaded_rate(entry, records["rates"], records.settings.labour).iloc[0])


def replacement_cost(costing: Costing, film: str, day: pd.Timestamp) -> float:
    """Landed cost of a film when it was last bought, on or before a day. [money / m²]

    After freight, discount and the credits that had come by that day; several rolls received on one
    day count by their area.
    NaN for a film that was not bought by then.
    """
    return float(replacement_costs(costing, day).get(film, np.nan))


def replacement_costs(costing: Costing, day: pd.Timestamp) -> pd.Series:
    """`replacement_cost` of every film bought by a day, by its code. [money / m²]"""
    prices = film_prices(costing.purchase_lines, costing.credits, day)
    newest = prices["received_on"] == prices.groupby("film")["received_on"].transform("max")
    sums = prices[newest].groupby("film")[["landed_cost", "purchased_area_m2"]].sum()
    area = sums["purchased_area_m2"]
    return (sums["landed_cost"] / area.where(area > 0)).rename("replacement_cost")


@dataclass(frozen=True, eq=False)
class RedoHistory:
    """How often work is done over, and what that costs.

    `share` : of first-time jobs done over, by service, drawn towards `shop_share`; `cost` : mean
    cost of a job's redos by service [money], where it is known; `ratio` : cost of redos ÷ direct
    cost of the jobs done over, in the whole shop.
    """

    share: pd.Series
    shop_share: float
    cost: pd.Series
    ratio: float


def redo_history(costing: Costing, day: pd.Timestamp) -> RedoHistory:
    """Every redo finished by a day, against the first-time jobs finished by it.

    The cost of a redo is its film, consumables, labour and fee less what was charged for it net of
    tax, not overhead; a job done over twice has both.
    """
    lines = costing.lines.reset_index(drop=True)
    done = lines[lines["finished"] & (lines["finished_on"] <= day)]
    first = done[~done["is_redo"]]
    redos = done[done["is_redo"] & done["root"].isin(first.index)]
    # The contribution is net of the fee already.
    cost = strict_sum(-redos["contribution"], redos["root"].astype("int64"))
    redone = pd.Series(first.index.isin(cost.index), index=first.index).groupby(first["service"])
    shop = float(redone.sum().sum()) / len(first) if len(first) else np.nan
    root = first.loc[cost.index]
    direct = root["film_cost"] + root["consumables_cost"] + root["labour_cost"]
    both = cost.notna() & direct.notna()
    total = float(direct[both].sum())
    return RedoHistory(
        share=(redone.sum() + _SHOP_JOBS * shop) / (redone.size() + _SHOP_JOBS),
        shop_share=shop,
        cost=cost.dropna().groupby(root["service"]).mean(),
        ratio=float(cost[both].sum()) / total if total > 0 else np.nan,
    )


def redo_parts(history: RedoHistory, services: pd.Series) -> pd.DataFrame:
    """What a job of each service must set aside for the chance of being done over, in two parts.

    `redo_fixed` : probability × mean cost of a redo of the service [money]; where the service has
    none, missing, and `redo_rate_share` : probability × the shop's ratio, a share of the direct
    cost (`price_lines.reserves` takes the one or the other). Redos that were paid for above
    their cost reserve nothing.
    """
    share = services.map(history.share).astype("float64").fillna(history.shop_share)
    cost = services.map(history.cost).astype("float64").clip(lower=0.0)
    fixed = (share * cost).where(share != 0, 0.0)
    rate = (share * max(history.ratio, 0.0)).where(fixed.isna())
    return pd.DataFrame({"redo_fixed": fixed, "redo_rate_share": rate})


def redo_reserve(history: RedoHistory, service: str, direct_cost: float) -> float:
    """The reserve of one job of a direct cost; see `redo_parts`. [money]"""
    parts = redo_parts(history, pd.Series([service], dtype="str"))
    return float(reserves(pd.Series([direct_cost]), parts).iloc[0])


def floor_price(cost: float, target_margin: float, settings: Settings) -> float:
    """The price as written at which a job leaves the target margin after a card fee. [money]

    `cost` : expected cost with the redo reserve; `target_margin` : share of the price net of tax.
    NaN where the cost is not known, or where no price leaves that margin.
    """
    terms = PriceTerms.of(settings)
    return float(floor_prices(pd.Series([cost]), pd.Series([target_margin]), terms).iloc[0])


@dataclass(frozen=True)
class PriceResult:
    """What a price leaves.

    `price` : as written; `fee` : of a card payment; `contribution` : price net of tax − fee −
    expected cost; `contribution_share` : of the price net of tax. [money]
    """

    price: float
    fee: float
    contribution: float
    contribution_share: float


def at_price(price: float, cost: float, settings: Settings) -> PriceResult:
    """What a job of an expected cost leaves at a price, paid by card."""
    prices, costs, terms = pd.Series([price]), pd.Series([cost]), PriceTerms.of(settings)
    return PriceResult(
        price,
        float(fees(prices, terms).iloc[0]),
        float(contributions(prices, costs, terms).iloc[0]),
        float(margin_shares(prices, costs, terms).iloc[0]),
    )


def list_price(
    prices: pd.DataFrame, service: str, vehicle_class: str | None, day: pd.Timestamp
) -> float:
    """The list price of a service on a class on a day; NaN where there is none. [money]

    The newest row of the class on or before the day, else the newest without a class, which holds
    for every class without a row of its own. A price of 0 is none.
    """
    if prices.empty:
        return np.nan
    asked = pd.DataFrame(
        {
            "service": pd.Series([service], dtype="str"),
            "vehicle_class": pd.Series([vehicle_class or None], dtype="str"),
            "on": [day],
        }
    )
    label = list_rows(asked, prices, "list_price")
    return float(label.map(prices["list_price"]).iloc[0])
