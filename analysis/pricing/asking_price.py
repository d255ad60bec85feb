"""The one price to ask for a quoted job: of the list, else the usual one, else the floor."""

import math
from dataclasses import dataclass
from enum import Enum

from analysis.money import up_to_step
from analysis.pricing.floor import at_price
from analysis.pricing.quote import Quote
from analysis.settings import Settings


class PriceFrom(Enum):
    """What a price to ask is made from."""

    LIST = "list"
    USUAL = "usual"
    FLOOR = "floor"
    NOTHING = "nothing"


@dataclass(frozen=True)
class AskingPrice:
    """The price to ask, as written; NaN where none can be told. [money]

    `for_model` : the part of it that is for a model that takes longer; `leaves` : its contribution
    after the job's expected cost, NaN where that is not known.
    """

    price: float
    source: PriceFrom
    for_model: float
    leaves: float


def asking_price(quote: Quote, settings: Settings) -> AskingPrice:
    """What to ask for a job, at the counter as in a quote.

    The list's price with what the model adds, without a list what the shop usually charges; the
    floor, rounded up, where that is more, or where there is neither.
    """
    base, source = quote.at_list.price + quote.surcharge.amount, PriceFrom.LIST
    if math.isnan(base):
        base, source = quote.usual_price.median, PriceFrom.USUAL
    floor = quote.floor.price
    if not math.isnan(floor) and not base >= floor:
        base, source = rounded_up(floor, settings), PriceFrom.FLOOR
    if math.isnan(base):
        source = PriceFrom.NOTHING
    more = quote.surcharge.amount if source is PriceFrom.LIST else 0.0
    leaves = at_price(base, quote.costs.total, settings).contribution
    return AskingPrice(base, source, more, leaves)


def rounded_up(price: float, settings: Settings) -> float:
    """The next price that a review may set: a multiple of `round_to` less `round_down_by`."""
    step, less = settings.pricing.round_to, settings.pricing.round_down_by
    # A product of steps has dust behind it: 3 × 0.1 is 0.30000000000000004.
    return round(float(up_to_step(price + less, step)) - less, 9)
