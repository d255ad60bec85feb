"""What to add for the vehicles that take longer: those whose overrun is flagged, and no other.

Surcharge = hours of the next job beyond those of the other models of its class × what an hour must
earn. The price list then stays that of the others, and the model that takes longer pays for it.
"""

from typing import Final

import numpy as np
import pandas as pd

from analysis.errors import Unavailable
from analysis.findings.evidence import is_enough
from analysis.price_tables import MODEL_SURCHARGES
from analysis.pricing.price_cells import cell_of
from analysis.pricing.price_lines import PriceTerms
from analysis.settings import Settings

_MODEL: Final = ["make", "model"]
_FROM_CELL: Final = [
    "expected_hours",
    "labour_rate",
    "consumables_rate",
    "redo_rate_share",
    "target_margin_share",
    "hour_value",
    "short_hours_each",
]


def model_surcharges(
    suggestions: pd.DataFrame,
    basis: pd.DataFrame,
    next_quotes: pd.DataFrame | Unavailable,
    hours_by_model: pd.DataFrame | Unavailable,
    settings: Settings,
) -> pd.DataFrame | Unavailable:
    """Surcharges of the flagged models, by service.

    Parameters
    ----------
    suggestions, basis : tables price_suggestions and price_basis, the same rows in the same order.
    next_quotes, hours_by_model : those tables, inside names.

    Returns
    -------
    DataFrame
        Inside names of the table model_surcharges, by its keys. A model has no row where it is not
        flagged or has fewer than `fewest_jobs` jobs; a service none where the surcharge is under
        one step of `round_to` or under `smallest_change` of the price, or where cost or price is
        not known. `enough` : whether the model has `fewest_jobs` jobs of that service.
    """
    if isinstance(next_quotes, Unavailable):
        return Unavailable("model_surcharges", next_quotes.missing, next_quotes.line)
    if isinstance(hours_by_model, Unavailable):
        return Unavailable("model_surcharges", hours_by_model.missing, hours_by_model.line)
    flagged = _flagged(hours_by_model, settings.pricing.fewest_jobs)
    rows = next_quotes.merge(flagged, on=_MODEL, validate="m:1")
    rows = rows.assign(cell=cell_of(basis, rows))
    rows = rows[rows["cell"].notna()].reset_index(drop=True)
    at = rows["cell"].to_numpy("int64")
    cells = basis[_FROM_CELL].iloc[at].reset_index(drop=True)
    extra = rows["expected_hours"] - cells["expected_hours"]
    an_hour = hour_must_earn(cells, PriceTerms.of(settings))
    surcharge = rounded_surcharge(extra * an_hour, settings)
    price = suggestions["suggested_price"].iloc[at].reset_index(drop=True)
    frame = rows.assign(
        extra_hours=extra,
        hour_must_earn=an_hour,
        surcharge=surcharge,
        price=price + surcharge,
        enough=is_enough(rows["jobs"], settings.pricing.fewest_jobs),
    )
    told = frame["surcharge"] >= least_surcharge(price, settings)
    frame = frame.loc[told, MODEL_SURCHARGES.inside_names]
    return frame.sort_values(MODEL_SURCHARGES.keys, kind="stable", ignore_index=True)


def _flagged(hours_by_model: pd.DataFrame, fewest: int) -> pd.DataFrame:
    """Flagged models with enough jobs: `make, model, model_jobs`."""
    holds = hours_by_model["flagged"].fillna(False).astype(bool)
    chosen = hours_by_model[holds & (hours_by_model["jobs_to_date"] >= fewest)]
    return chosen[[*_MODEL, "jobs_to_date"]].rename(columns={"jobs_to_date": "model_jobs"})


def rounded_surcharge(amount: pd.Series, settings: Settings) -> pd.Series:
    """An amount at the nearest step of `round_to`, halves upwards. [money]"""
    step = settings.pricing.round_to
    rounded: pd.Series = np.floor(amount / step + 0.5) * step
    return rounded


def least_surcharge(price: pd.Series, settings: Settings) -> pd.Series:
    """The least that is worth a surcharge: a step, and `smallest_change` of the price. [money]"""
    pricing = settings.pricing
    return (price * pricing.smallest_change).clip(lower=pricing.round_to)


def hour_must_earn(cells: pd.DataFrame, terms: PriceTerms) -> pd.Series:
    """What a further hour of a job must bring in its price. [money / h, as written]

    The larger of what leaves the target margin on its wages, consumables and redo reserve, and,
    where hours are short, what brings as much as the hour earns elsewhere, its consumables on top:
    that is a margin already, so no target comes on it.
    """
    rate = cells["labour_rate"] + cells["consumables_rate"]
    cost = rate * (1 + cells["redo_rate_share"].fillna(0.0))
    per_price = terms.net_of_tax * (1 - cells["target_margin_share"]) - terms.card_share
    at_target = cost / per_price.where(per_price > 0)
    short = cells["short_hours_each"] / cells["expected_hours"].where(cells["expected_hours"] > 0)
    elsewhere = cells["hour_value"] * short + cells["consumables_rate"]
    at_value = (elsewhere / terms.kept_share).where(cells["hour_value"] > 0)
    larger: pd.Series = at_target.where(~(at_value > at_target), at_value)
    return larger
