"""Everything about prices that a review tells, and what it is made from."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.capacity_use import Governing
from analysis.findings.groups import Period
from analysis.findings.lessons import Lessons
from analysis.money import HALF_A_CENT
from analysis.periods import Quarter
from analysis.pricing.demand import Demand, learn_demand
from analysis.pricing.demand_tables import demand_seasons, win_chances
from analysis.pricing.follow_up_words import TOO_EARLY
from analysis.pricing.money_words import price_words
from analysis.pricing.outlook import Outlook, year_outlook
from analysis.pricing.price_basis import price_basis, short_hours
from analysis.pricing.price_cells import KEYS, price_cells
from analysis.pricing.price_choice import demand_rows
from analysis.pricing.sensitivity import price_sensitivity
from analysis.pricing.suggest import suggest_prices
from analysis.pricing.surcharges import model_surcharges
from analysis.records.model import Records
from analysis.settings import Settings

Result = pd.DataFrame | Unavailable
_SEED: Final = 0
_BASED: Final = (
    "price_basis",
    "price_suggestions",
    "model_surcharges",
    "price_outlook",
    "price_sensitivity",
)
TODAY, SUGGESTED, DIFFERENCE, FREED = OUTLOOK_ROWS = (
    "today's",
    "suggested",
    "difference",
    "hours freed",
)


@dataclass(frozen=True, eq=False)
class PriceReview:
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
    follow_up_past: Callable[[], Result],
    progress: Callable[[str], None] | None = None,
) -> PriceReview:
    """Suggestions, surcharges, demand and follow-up as of a quarter's end.

    `follow_up_past` gives the table price_follow_up: it may be made elsewhere meanwhile.
    """
    say = progress or (lambda _: None)
    day, fewest = quarter.last_day, records.settings.pricing.fewest_jobs
    short = short_hours(costing, governing, Period(quarter.year_first_day, day))
    with one_thread():
        say("learning what customers pay")
        cells = price_cells(records["price_list"], day)
        demand = learn_demand(records, cells, day, _SEED)
        say("suggesting prices")
        flagged = lessons.flagged(fewest)
        basis = price_basis(costing, records, day, lessons.forecaster, flagged, short)
        tables = _of_demand(demand, records, day, fewest)
        tables |= _of_basis(basis, demand, lessons, records.settings)
    say("following up past prices")
    follow_up = follow_up_past()
    tables["price_follow_up"] = follow_up
    suggestions = tables["price_suggestions"]
    if isinstance(suggestions, pd.DataFrame):
        tables["price_suggestions"] = with_trials(suggestions, follow_up, records, day)
    return PriceReview(basis, demand, governing, tables)


def with_trials(
    suggestions: pd.DataFrame, follow_up: Result, records: Records, day: pd.Timestamp
) -> pd.DataFrame:
    """The suggestions, whose reason also says which price is on trial, or decided and to come."""
    decided = decided_prices(records, day)
    parts = [
        "Decided already: "
        + decided["new_price"].map(lambda price: price_words(price, records.settings)).astype("str")
        + " from "
        + decided["effective_from"].dt.strftime("%Y-%m-%d").astype("str")
        + decided["is_due"].map({True: "; enter it in price_list.", False: "."}).astype("str")
    ]
    keyed = [decided[KEYS]]
    if isinstance(follow_up, pd.DataFrame):
        trial = follow_up[follow_up["verdict"] == TOO_EARLY]
        since = trial["effective_from"].dt.strftime("%Y-%m-%d").astype("str")
        parts.insert(0, "Its price since " + since + " is still on trial.")
        keyed.insert(0, trial[KEYS])
    told = pd.concat(keyed, ignore_index=True).assign(
        more=pd.concat(parts, ignore_index=True).astype("str")
    )
    told = told.drop_duplicates(KEYS, keep="last")
    more = suggestions[KEYS].merge(told, on=KEYS, how="left", validate="m:1")["more"]
    more.index = suggestions.index
    reason = (suggestions["reason"] + " " + more.fillna("")).str.strip()
    return suggestions.assign(reason=reason.astype("str"))


def decided_prices(records: Records, day: pd.Timestamp) -> pd.DataFrame:
    """Prices that were decided and that the list of a day does not have, the last of each cell.

    `service, vehicle_class, new_price` [money], `effective_from`, and `is_due` : whether that day
    is past, so that the list lags behind.
    """
    cells = price_cells(records["price_list"], day).set_index(KEYS)
    decisions = records["decisions"].sort_values(["effective_from", "decided_on"], kind="stable")
    last = decisions.drop_duplicates(KEYS, keep="last")
    listed = cells.reindex(pd.MultiIndex.from_frame(last[KEYS]))
    is_due = last["effective_from"] <= day
    other = (last["new_price"] - listed["current_price"].to_numpy()).abs() >= HALF_A_CENT
    lags = is_due & other & (last["effective_from"] > listed["price_since"].to_numpy())
    last = last.assign(is_due=is_due)
    columns = [*KEYS, "new_price", "effective_from", "is_due"]
    found: pd.DataFrame = last.loc[lags | ~is_due, columns]
    return found.reset_index(drop=True)


def _of_demand(
    demand: Demand | Unavailable, records: Records, day: pd.Timestamp, fewest: int
) -> dict[str, Result]:
    if isinstance(demand, Unavailable):
        return {name: demand.of(name) for name in ("win_chances", "demand_seasons")}
    return {
        "win_chances": win_chances(demand, records, day, fewest),
        "demand_seasons": demand_seasons(demand, records, day),
    }


def _of_basis(
    basis: Result, demand: Demand | Unavailable, lessons: Lessons, settings: Settings
) -> dict[str, Result]:
    if isinstance(basis, Unavailable):
        return {name: basis.of(name) for name in _BASED}
    known = None if isinstance(demand, Unavailable) else demand
    suggestions = suggest_prices(basis, known, settings)
    models = lessons.pooled_models()
    return {
        "price_basis": basis,
        "price_suggestions": suggestions,
        "model_surcharges": model_surcharges(
            suggestions, basis, lessons.tables["next_quotes"], models, settings
        ),
        "price_outlook": _outlook(basis, known, settings, suggestions["suggested_price"]),
        "price_sensitivity": price_sensitivity(basis, known, settings, suggestions),
    }


def _outlook(
    basis: pd.DataFrame, demand: Demand | None, settings: Settings, prices: pd.Series
) -> Result:
    """The coming year; not told where no price has both a known cost and a learnt answer."""
    at = demand_rows(basis, demand)
    costed = (basis["expected_cost"].notna() & (at >= 0)).to_numpy()
    if demand is None or not demand.cells["learnt"].to_numpy(bool)[at[costed]].any():
        line = (
            "What the coming year brings at other prices needs a price whose cost is known and "
            "quotes, won and lost, that tell what its customers do."
        )
        return Unavailable("price_outlook", ("quotes",), line)
    return outlook_table(year_outlook(basis, demand, settings, prices))


def outlook_table(outlook: Outlook) -> pd.DataFrame:
    """The coming year at today's prices, at those suggested, and the difference."""
    spreads = (outlook.held, outlook.total, outlook.difference, outlook.freed)
    nothing = float("nan")
    jobs = (outlook.held_jobs, outlook.jobs, outlook.jobs - outlook.held_jobs, nothing)
    hours = (outlook.held_hours, outlook.hours, outlook.hours - outlook.held_hours, nothing)
    rows = [
        (name, count, time, each.mean, each.low, each.high)
        for name, count, time, each in zip(OUTLOOK_ROWS, jobs, hours, spreads, strict=True)
    ]
    columns = ["prices", "jobs", "hours", "contribution", "low", "high"]
    frame = pd.DataFrame(rows, columns=columns)
    gains = [nothing, nothing, outlook.probability_gains, nothing]
    note = pd.Series(" ".join(outlook.notes) or None, index=frame.index, dtype="str")
    return frame.assign(probability_gains=gains, note=note)
