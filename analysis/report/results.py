"""What a review is: every result under its name, with what it was computed from."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.pricing.counter_review import CounterReview
from analysis.pricing.price_review import PriceReview
from analysis.records.model import Records
from analysis.settings import Settings

YEAR_SUFFIX = "_year"


@dataclass(frozen=True, eq=False)
class Review:
    """The quarter's results.

    `results` holds a frame (inside names) or an `Unavailable` for each table of `RESULT_TABLES`,
    in that order; `year` the same for the twelve months that end with the quarter, where a table
    exists for it; `previous` the tables of sums for the quarter before (empty tables where the
    records do not reach back). `records` are the checked records that all of it was computed from.
    `pricing` and `counter` are what prices and the counter sale were made from, for whoever moves
    an assumption by hand.
    """

    quarter: Quarter
    settings: Settings
    records: Records
    results: Mapping[str, pd.DataFrame | Unavailable]
    year: Mapping[str, pd.DataFrame | Unavailable]
    previous: Mapping[str, pd.DataFrame | Unavailable]
    pricing: PriceReview | None = None
    counter: CounterReview | None = None

    def frame(self, name: str) -> pd.DataFrame:
        """A result that is there; `KeyError` says why it is not."""
        found = self.results[name]
        if isinstance(found, Unavailable):
            raise KeyError(found.line)
        return found

    def unavailable(self) -> list[Unavailable]:
        """What could not be computed, each with its plain line."""
        return [found for found in self.results.values() if isinstance(found, Unavailable)]
