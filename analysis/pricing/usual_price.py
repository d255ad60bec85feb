"""What the shop usually charges for a job: the middle of what it invoiced in the last months."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing

_MONTHS: Final = 12
# From fewer jobs a middle half says nothing. Common practice, no source.
_LEAST_FOR_RANGE: Final = 5


@dataclass(frozen=True)
class UsualPrice:
    """The median of invoiced prices, as written, and the ends of their middle half. [money]

    `jobs` : how many prices it is of; `vehicle_class` : whose they are, None: any class; `low`,
    `high` : NaN where they are too few for a range, `median` where there is none.
    """

    median: float
    low: float
    high: float
    jobs: int
    vehicle_class: str | None


def usual_price(
    costing: Costing, service: str, vehicle_class: str | None, day: pd.Timestamp
) -> UsualPrice:
    """What first-time jobs of a service, finished in the twelve months up to a day, were invoiced.

    Those on the class, where there is one, else all of the service. A job that was given away is no
    price.
    """
    lines = costing.lines
    done = lines["finished"] & ~lines["is_redo"] & (lines["invoiced_price"] > 0)
    recent = (lines["finished_on"] > day - pd.DateOffset(months=_MONTHS)) & (
        lines["finished_on"] <= day
    )
    of_service = lines[done & recent & (lines["service"] == service)]
    own = of_service[of_service["vehicle_class"] == vehicle_class]
    found, of_class = (own, vehicle_class) if len(own) else (of_service, None)
    prices = found["invoiced_price"]
    low = high = np.nan
    if len(prices) >= _LEAST_FOR_RANGE:
        low, high = float(prices.quantile(0.25)), float(prices.quantile(0.75))
    return UsualPrice(float(prices.median()), low, high, len(prices), of_class)
