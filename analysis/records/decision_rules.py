"""Rules about price decisions: doubtful, used all the same."""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from analysis.money import HALF_A_CENT
from analysis.records.list_prices import list_rows
from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, day, first_of_each, found, look_up

_CELL: Final = ["service", "vehicle_class"]

UNKNOWN_SERVICE = Rule(
    "unknown-service",
    DOUBTFUL,
    "A decision for a service that no job, quote or list price has (told once a service).",
    "Write the service as it stands in jobs.",
)
DECISION_NOT_LISTED = Rule(
    "decision-not-in-list",
    DOUBTFUL,
    "A decision whose new price the price list does not have on the first day of it (where there "
    "is a price list).",
    "Enter the new price in price_list with that day as effective_from: reviews and quotes take "
    "their prices from there.",
)


def decision_findings(shop: Shop, misspelt_services: frozenset[str]) -> Iterator[Found]:
    """Everything doubtful about decisions; misspelt services are told of elsewhere."""
    if shop.used["decisions"].empty:
        return
    known = set(misspelt_services)
    for table in ("jobs", "quotes", "price_list"):
        known |= set(shop.read[table]["service"].dropna())
    services = first_of_each(shop.used["decisions"]["service"])
    lost = services[~services["value"].isin(known)]
    problems = [f"no job, quote or list price is of the service {each}" for each in lost["value"]]
    yield found(UNKNOWN_SERVICE, "decisions", "service", pd.Index(lost["at"]), problems)
    yield _not_listed(shop, misspelt_services | set(lost["value"]))


def _not_listed(shop: Shop, told_elsewhere: frozenset[str]) -> Found:
    """Decisions that the list does not follow; of two for one day, the last one taken counts.

    A service with a rejected list price is left alone: mending that row mends the rest.
    """
    every, prices = shop.read["price_list"], shop.used["price_list"]
    spoilt = every.loc[every.index.difference(prices.index), "service"]
    decisions = shop.used["decisions"]
    if prices.empty:
        return found(DECISION_NOT_LISTED, "decisions", "new_price", decisions.index[:0], ())
    decisions = decisions.sort_values("decided_on", kind="stable")
    decisions = decisions.drop_duplicates([*_CELL, "effective_from"], keep="last")
    apart = decisions["service"].isin([*told_elsewhere, *spoilt])
    decisions = decisions[~apart]
    rows = list_rows(decisions.rename(columns={"effective_from": "on"}), prices, "list_price")
    listed = look_up(rows, prices["list_price"])
    lost = decisions[~((decisions["new_price"] - listed).abs() < HALF_A_CENT)].sort_index()
    problems = [
        f"{new:,.2f} was decided, and the price list has "
        + ("no price" if pd.isna(there) else f"{there:,.2f}")
        + f" on {day(on)}"
        for new, there, on in zip(
            lost["new_price"], listed[lost.index], lost["effective_from"], strict=True
        )
    ]
    return found(DECISION_NOT_LISTED, "decisions", "new_price", lost.index, problems)
