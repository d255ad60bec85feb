"""What a sale over the counter costs beside its film, and the prices that follow from all of it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.money import up_to_step
from analysis.pricing.counter_arithmetic import lowest_price
from analysis.pricing.price_lines import PriceTerms, floor_prices
from analysis.settings import Settings

EACH: Final = ["staff_each", "installs_each"]
FILM_UNKNOWN: Final = "What its film costs is not known."
STAFF_UNKNOWN: Final = "Staff time is not known and not in it."
INSTALLS_UNKNOWN: Final = "What an install leaves is not known: installs displaced are not in it."
NO_PRICE: Final = "No price leaves the margin asked for after tax and card fee."


@dataclass(frozen=True, eq=False)
class SaleCosts:
    """What the next sale costs beside its film. [money a sale]

    `by_film`, `by_service` : index film or service; `staff_each`, and `installs_each`, displaced −
    later installs. `staff_each`, `installs_each` : over all, for a film or service without a row of
    its own. `area_m2` : of the mean sale, which `installs_each` belongs to: a scrap displaces no
    roof. NaN where it is not known.
    """

    by_film: pd.DataFrame
    by_service: pd.DataFrame
    staff_each: float
    installs_each: float
    area_m2: float

    def of_films(self, films: pd.Series) -> pd.DataFrame:
        """`staff_each, installs_each` of each film, on the index of `films`."""
        return self._of(films, self.by_film)

    def of_services(self, services: pd.Series) -> pd.DataFrame:
        """`staff_each, installs_each` of each service, on the index of `services`."""
        return self._of(services, self.by_service)

    def _of(self, names: pd.Series, table: pd.DataFrame) -> pd.DataFrame:
        own = table[EACH].reindex(names.to_numpy()).astype("float64").to_numpy()
        over_all = [self.staff_each, self.installs_each]
        known = names.isin(table.index).to_numpy()[:, None]
        return pd.DataFrame(np.where(known, own, over_all), index=names.index, columns=EACH)


def counter_prices(film_cost: pd.Series, each: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """The prices of pieces that are sold over the counter, a row a piece.

    Parameters
    ----------
    film_cost : what the film of each costs [money]
    each : `staff_each, installs_each` of such a sale, same index

    Returns
    -------
    DataFrame
        `lowest_price` : nothing is left, paid by card; `price_to_ask` : leaves the target margin
        after film and staff time, as the price of an install does, once it has paid for installs
        displaced; so it is over the lowest price; rounded up to `counter.round_to`. [money, as
        written]

    Notes
    -----
    Staff time or installs that are not known are not in the price, see `cost_notes`. Installs won
    lower the lowest price alone.
    """
    terms = PriceTerms.of(settings)
    staff, installs = each["staff_each"].fillna(0.0), each["installs_each"].fillna(0.0)
    lowest = pd.Series(lowest_price(film_cost, staff, installs, terms), index=film_cost.index)
    cost = film_cost + staff
    floor = floor_prices(cost, pd.Series(settings.counter_margin, index=cost.index), terms)
    # Without a floor there is no price to ask, whatever the lowest is.
    asked = floor + installs.clip(lower=0.0) / terms.kept_share
    asked = pd.Series(up_to_step(asked, settings.counter.round_to), asked.index)
    return pd.DataFrame({"lowest_price": lowest, "price_to_ask": asked}, index=film_cost.index)


def cost_notes(prices: pd.DataFrame, film_cost: pd.Series, each: pd.DataFrame) -> pd.Series:
    """What `counter_prices` left out or could not say, in words; empty where nothing."""
    known = film_cost.notna()
    return joined_notes(
        pd.Series(FILM_UNKNOWN, index=film_cost.index).where(~known, ""),
        pd.Series(STAFF_UNKNOWN, index=film_cost.index).where(
            known & each["staff_each"].isna(), ""
        ),
        pd.Series(INSTALLS_UNKNOWN, index=film_cost.index).where(
            known & each["installs_each"].isna(), ""
        ),
        pd.Series(NO_PRICE, index=film_cost.index).where(known & prices["price_to_ask"].isna(), ""),
    )


def joined_notes(first: pd.Series, *more: pd.Series) -> pd.Series:
    """Notes of several kinds as one text a row; empty where there is none."""
    text = first
    for each in more:
        text = text + " " + each
    joined: pd.Series = text.str.split().str.join(" ")
    return joined
