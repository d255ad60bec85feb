"""What one vehicle adds to the list's price, because it takes longer than others of its class."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.forecast import HoursForecaster, forecast_hours
from analysis.pricing.asked import Asked
from analysis.pricing.price_basis import ShortHours, price_basis
from analysis.pricing.price_lines import PriceTerms
from analysis.pricing.surcharges import hour_must_earn, least_surcharge, rounded_surcharge
from analysis.records.model import Records

# So many standard errors beyond the others (9 chances in 10) before anything is added.
_SURE: Final = 1.2816


@dataclass(frozen=True)
class QuoteSurcharge:
    """Hours beyond those of the other models of the class [h], and the price of them [money]."""

    extra_hours: float
    amount: float


NO_SURCHARGE: Final = QuoteSurcharge(0.0, 0.0)


def quote_surcharge(
    costing: Costing,
    records: Records,
    day: pd.Timestamp,
    forecaster: HoursForecaster,
    asked: Asked,
    short: ShortHours,
    price: float,
) -> QuoteSurcharge:
    """The surcharge of the model that is asked about, on a list price.

    None for a model with fewer than `fewest_jobs` jobs, or whose hours are not surely (9 chances
    in 10) beyond those expected of the other models of the class. The amount is rounded, and left
    out where it is small, as in `surcharges`.
    """
    settings, vehicle = records.settings, asked.vehicle
    lines = forecaster.model.data.lines
    own = (lines["make"] == vehicle.make) & (lines["model"] == vehicle.model)
    if own.sum() < settings.pricing.fewest_jobs or np.isnan(price):
        return NO_SURCHARGE
    row = asked.row()
    others = price_basis(costing, records, day, forecaster, row[["make", "model"]], short, row)
    if isinstance(others, Unavailable) or others.empty:
        return NO_SURCHARGE
    forecast = forecast_hours(forecaster, row)
    expected, usual = float(forecast.expected()[0]), float(others["expected_hours"].iloc[0])
    if not usual > 0 or np.log(expected / usual) < _SURE * float(forecast.sd[0]):
        return NO_SURCHARGE
    extra = expected - usual
    an_hour = hour_must_earn(others, PriceTerms.of(settings))
    amount = float(rounded_surcharge(extra * an_hour, settings).iloc[0])
    least = float(least_surcharge(pd.Series([price]), settings).iloc[0])
    return QuoteSurcharge(extra, amount) if amount >= least else NO_SURCHARGE
