"""Everything about the counter sale that a review tells, and what it is made from."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.counter_tables import COUNTER_RESULT_TABLES, COUNTER_SALES
from analysis.errors import Unavailable
from analysis.findings.capacity_use import Governing, governing
from analysis.findings.groups import Period
from analysis.periods import Quarter, quarter_of
from analysis.pricing.counter_kits import counter_kits
from analysis.pricing.counter_model import CounterModel, counter_model
from analysis.pricing.counter_sums import counter_by_quarter, counter_sales, counter_sales_each
from analysis.pricing.counter_unknowns import counter_unknowns
from analysis.pricing.counter_verdicts import counter_verdicts, parts_for, sales_of
from analysis.pricing.cut_film_prices import cut_film_prices, lowest_per_length
from analysis.pricing.sale_costs import SaleCosts
from analysis.records.model import Records

Result = pd.DataFrame | Unavailable
_SEED: Final = 0
_YEAR_DAYS: Final = 365
# A film's or service's own sales stand against all sales with the weight of so many of them.
_ALL_SALES: Final = 20.0
# From fewer days than these no year is made. Common practice, no source.
_LEAST_DAYS: Final = 91
_NO_SALES: Final = (
    "No counter sale is written down. Whether such a sale pays needs the table counter_sales: day, "
    "film, length, width and price of each, then minutes, the service that it stands in for, and "
    "whether the customer would have booked. The notebook 05_counter_sale tells it for assumptions "
    "that you type in."
)


@dataclass(frozen=True, eq=False)
class CounterReview:
    """What a review tells about the counter sale.

    `model` : what the decision is made from (None without any sale); `tables` and `year` : the
    results by name, of the quarter, and for the twelve months where a table has both.
    """

    model: CounterModel | None
    tables: dict[str, Result]
    year: dict[str, Result]


def review_counter(
    costing: Costing,
    records: Records,
    quarter: Quarter,
    governs: Governing,
    seen_until: pd.Timestamp,
) -> CounterReview:
    """Does the counter sale pay, and at what prices, as of a quarter's end.

    `seen_until` : newest day of the records: later ones may still come back.
    """
    with one_thread():
        model = counter_model(costing, records, quarter, governs, seen_until, _SEED)
        costs = sale_costs(model)
        kits = _kits(costing, records, quarter.last_day, model, costs)
        if model.sales.empty:
            gone: dict[str, Result] = {
                table.name: Unavailable(table.name, ("counter_sales",), _NO_SALES)
                for table in COUNTER_RESULT_TABLES
            }
            only_year: dict[str, Result] = {COUNTER_SALES.name: gone[COUNTER_SALES.name]}
            return CounterReview(None, gone | {"counter_kits": kits}, only_year)
        tables, year = _tables(costing, records, quarter, model, costs)
    return CounterReview(model, tables | {"counter_kits": kits}, year)


def _tables(
    costing: Costing, records: Records, quarter: Quarter, model: CounterModel, costs: SaleCosts
) -> tuple[dict[str, Result], dict[str, Result]]:
    day, settings = quarter.last_day, records.settings
    verdicts = counter_verdicts(model, settings)
    lowest = lowest_per_length(costing, records, day, model.sales, costs)
    of_quarter, of_year = (
        counter_sales(model, records, Period(first, day), verdicts, lowest)
        for first in (quarter.first_day, quarter.year_first_day)
    )
    tables: dict[str, Result] = {
        "counter_verdicts": verdicts,
        "counter_unknowns": _unknowns(model, day),
        "cut_film_prices": cut_film_prices(costing, records, day, model.sales, costs),
        "counter_sales": of_quarter,
        "counter_by_quarter": counter_by_quarter(model, quarter.index, settings),
        "counter_sales_each": counter_sales_each(model),
    }
    return tables, {"counter_sales": of_year}


def _kits(
    costing: Costing,
    records: Records,
    day: pd.Timestamp,
    model: CounterModel,
    costs: SaleCosts,
) -> Result:
    return counter_kits(costing, records, day, model.sales, costs, model.installs.cells)


def _unknowns(model: CounterModel, day: pd.Timestamp) -> Result:
    every = pd.Series(True, index=model.sales.index)
    chosen = sales_of(model, every)
    if chosen.empty or not chosen["told"].all():
        return Unavailable(
            "counter_unknowns",
            ("counter_sales", "purchases", "rates"),
            "What the answer hangs on needs a sale in the twelve months whose film and staff time "
            "have a cost, and jobs of the service it stands in for whose contribution is known.",
        )
    return counter_unknowns(model, chosen, parts_for(model, chosen, 0), _sales_a_year(model, day))


def _sales_a_year(model: CounterModel, day: pd.Timestamp) -> float:
    """Sales of the twelve months; of a shop that sells for less, as many a year as so far."""
    so_far = int((day - model.sales["sold_on"].min()).days) + 1
    days = min(max(so_far, _LEAST_DAYS), _YEAR_DAYS)
    return float(model.sales["is_recent"].sum() * _YEAR_DAYS / days)


def sale_costs(model: CounterModel) -> SaleCosts:
    """What a sale costs beside its film, by film and by service: means of the twelve months.

    A film or a service is drawn towards the mean of all sales; without a sale in them it has that
    mean. NaN where it is not known, staff time too where no minutes are written down. [money]
    """
    sales = model.sales[model.sales["is_recent"]]
    each = pd.DataFrame(
        {
            "staff_each": sales["staff_cost"] + sales["other_staff_cost"],
            "installs_each": sales["displaced_cost"] - sales["later_installs"],
            "film": sales["film"],
            "service": sales["service"],
        }
    )
    if not model.minutes_known:
        each = each.assign(staff_each=np.nan)
    amounts = ["staff_each", "installs_each"]
    mean = each[amounts].mean()
    return SaleCosts(
        by_film=_drawn_in(each.groupby("film")[amounts], mean),
        by_service=_drawn_in(each.groupby("service")[amounts], mean),
        staff_each=float(mean["staff_each"]),
        installs_each=float(mean["installs_each"]),
        area_m2=float((sales["length_m"] * sales["width_m"]).mean()),
    )


def _drawn_in(groups: Any, mean: pd.Series) -> pd.DataFrame:
    """Means by group, drawn towards that of all sales with the weight of `_ALL_SALES` of them."""
    own, count = groups.mean(), groups.count()
    # Of a group in which nothing is known, the mean of all is the best there is.
    drawn: pd.DataFrame = mean + (own - mean).fillna(0.0) * count / (count + _ALL_SALES)
    return drawn


def kit_costs(
    costing: Costing, records: Records, day: pd.Timestamp
) -> tuple[SaleCosts, pd.DataFrame]:
    """What a kit sold on a day costs beside its film; what installs leave by service and class.

    As of the quarter that holds the day. [money]
    """
    quarter = quarter_of(day, records.settings.fiscal_year_starts)
    governs = governing(costing, records, quarter)
    model = counter_model(costing, records, quarter, governs, day, _SEED)
    return sale_costs(model), model.installs.cells
