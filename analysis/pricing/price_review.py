"""Everything about prices that a review tells, and what it is made from."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.capacity_use import INSTALLERS, Governing, Use
from analysis.findings.earning import hour_value
from analysis.findings.groups import Period
from analysis.findings.lessons import Lessons
from analysis.findings.mixed import one_thread
from analysis.periods import Quarter
from analysis.pricing.demand import Demand, learn_demand
from analysis.pricing.demand_tables import demand_seasons, win_chances
from analysis.pricing.follow_up import price_follow_up
from analysis.pricing.price_basis import ShortHours, price_basis
from analysis.pricing.price_cells import price_cells
from analysis.pricing.sensitivity import price_sensitivity
from analysis.pricing.suggest import suggest_prices
from analysis.pricing.surcharges import model_surcharges
from analysis.records.model import Records

Result = pd.DataFrame | Unavailable
_SEED = 0


@dataclass(frozen=True, eq=False)
class Pricing:
    """What the prices of a review are made from, for whoever moves an assumption by hand.

    `basis` : cost of the next job, a row a cell of the price list; `demand` : what the quotes tell;
    `governing` : which hours are short; `tables` : the results about prices, by name.
    """

    basis: Result
    demand: Demand | Unavailable
    governing: Governing
    tables: dict[str, Result]


def review_prices(
    costing: Costing,
    records: Records,
    quarter: Quarter,
    lessons: Lessons,
    governing: Governing,
    progress: Callable[[str], None] | None = None,
) -> Pricing:
    """Suggestions, surcharges, demand and follow-up as of a quarter's end."""
    say = progress or (lambda _: None)
    day, fewest = quarter.last_day, records.settings.pricing.fewest_jobs
    with one_thread():
        say("learning what customers pay")
        cells = price_cells(records["price_list"], day)
        demand = learn_demand(records, cells, day, _SEED)
        say("costing the next jobs")
        short = short_hours(costing, governing, Period(quarter.year_first_day, day))
        basis = price_basis(
            costing, records, day, lessons.forecaster, lessons.flagged(fewest), short
        )
        say("suggesting prices")
        tables = _tables(basis, demand, records, lessons)
        say("following up past prices")
        tables["price_follow_up"] = price_follow_up(costing, records, day, fewest)
        tables["win_chances"] = _of_demand(demand, "win_chances") or win_chances(
            demand, records, day, fewest
        )
    return Pricing(basis, demand, governing, tables)


def short_hours(costing: Costing, governing: Governing, year: Period) -> ShortHours:
    """What an hour of what is short earns elsewhere, and what it would if hours were short."""
    constraint = governing.constraint if governing.is_short else INSTALLERS
    full = replace(governing, constraint=constraint, coming=Use(1.0, 1.0))
    return ShortHours(
        governing.constraint,
        hour_value(costing, governing, year),
        hour_value(costing, full, year),
    )
