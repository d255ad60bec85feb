"""What the next job of every cell of the price list is expected to cost, bought today.

Expected cost = film area × its replacement cost + hours × (labour rate + consumables an hour) +
redo reserve. Hours are the forecast's means over the models done so far, each as often as it came;
the models that are flagged as running over are left out, because they are charged for by
themselves (`surcharges`).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import Array
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.capacity_use import Governing
from analysis.findings.earning import hour_earned, hour_value
from analysis.findings.evidence import is_enough
from analysis.findings.forecast import HoursForecaster, forecast_hours
from analysis.findings.groups import Period
from analysis.periods import quarter_of
from analysis.pricing.film_needed import WIDER_JOBS
from analysis.pricing.floor import (
    Rates,
    next_rates,
    redo_history,
    redo_parts,
    replacement_costs,
)
from analysis.pricing.price_cells import cell_lines, cell_of, price_cells
from analysis.pricing.price_lines import SheetInputs, direct_costs, with_reserve
from analysis.records.model import Records

_MONTHS: Final = 12
_VEHICLE: Final = ["vehicle_class", "make", "model"]
# A forecast costs a few milliseconds; in a shop with more vehicles than this the commonest stand
# for the others of their cell.
_MOST_VEHICLES: Final = 1500
_LEAST_EACH: Final = 8


@dataclass(frozen=True)
class ShortHours:
    """What an hour of what is short earns elsewhere. [money / h]

    `constraint` : bays, installers, nothing, or not known; `value` : 0 where nothing is short;
    `value_if_full` : what it would be if it were.
    """

    constraint: str
    value: float
    value_if_full: float


def short_hours(costing: Costing, governing: Governing, year: Period) -> ShortHours:
    """What an hour of what is short earns elsewhere, and what it would if hours were short."""
    return ShortHours(
        governing.constraint,
        hour_value(costing, governing, year),
        hour_earned(costing, governing, year),
    )


def price_basis(
    costing: Costing,
    records: Records,
    day: pd.Timestamp,
    forecaster: HoursForecaster | Unavailable,
    flagged: pd.DataFrame,
    short: ShortHours,
    of: pd.DataFrame | None = None,
) -> pd.DataFrame | Unavailable:
    """The expected cost of the next job, a row a cell of the price list as of a day.

    Parameters
    ----------
    flagged : `make, model` of the models that are charged for by themselves
    of : `service, vehicle_class` of what is asked for: only the cells that price it, on their
        places in the list; None: every cell

    Returns
    -------
    DataFrame
        Inside names of the table price_basis, and `current_price` [money, as written],
        `short_hours_each` (hours of what is short that a job takes [h]), `hour_value_if_full`
        [money / h], `jobs_year` (jobs of the trailing twelve months). Missing where the records do
        not say; `note` says what.
    """
    cells = price_cells(records["price_list"], day)
    if cells.empty:
        return Unavailable(
            "price_basis",
            ("price_list",),
            "Prices need the table price_list: service, vehicle_class, list_price and the day "
            "from which it holds.",
        )
    settings = records.settings
    lines = cell_lines(costing, cells, day)
    counted = lines.groupby("cell").size().reindex(cells.index, fill_value=0)
    recent = lines[lines["finished_on"] > day - pd.DateOffset(months=_MONTHS)]
    of_year = recent.groupby("cell").size().reindex(cells.index, fill_value=0)
    wanted = cells.index if of is None else pd.Index(cell_of(cells, of).dropna().unique())
    hours = _hours(cells, lines, forecaster, flagged, wanted)
    film = _film(cells, lines, costing, day)
    rates = next_rates(costing, settings, day)
    reserve = redo_parts(redo_history(costing, day), cells["service"])
    frame = pd.concat([cells, hours, film, reserve], axis=1)
    cost = _cost(frame, rates, frame["film_cost_per_m2"])
    before = next_rates(costing, settings, day - pd.DateOffset(months=_MONTHS))
    then = _cost(frame, before, frame["film_cost_before_per_m2"])
    quarter = quarter_of(day, settings.fiscal_year_starts).index
    known = [index for index in costing.rates if index <= quarter]
    frame = frame.assign(
        jobs=counted.astype("int64"),
        jobs_year=of_year.astype("float64"),
        labour_rate=rates.labour,
        consumables_rate=rates.consumables,
        expected_cost=cost,
        cost_error=_cost_error(frame, rates),
        target_margin_share=[settings.target_margin(each) for each in cells["service"]],
        overhead_rate=costing.rates[max(known)].overhead_rate if known else np.nan,
        hour_value=short.value,
        hour_value_if_full=short.value_if_full,
        short_hours_each=frame[
            "bay_hours_each" if short.constraint == "bays" else "expected_hours"
        ],
        cost_drift_share=cost / then - 1,
        apart=_apart(cells, lines, flagged),
        enough=is_enough(counted, settings.pricing.fewest_jobs),
    )
    return frame.assign(note=_notes(frame, rates)).loc[cells.index.isin(wanted)]


def _cost_error(frame: pd.DataFrame, rates: Rates) -> pd.Series:
    """Standard error of the expected cost of a job, from its hours and its film. [money]"""
    of_hours = frame["hours_error"] * (rates.labour + rates.consumables)
    of_film = (frame["film_area_error_m2"] * frame["film_cost_per_m2"]).where(
        frame["film_area_m2"] != 0, 0.0
    )
    error: pd.Series = np.sqrt(of_hours**2 + of_film**2)
    return error


def _cost(frame: pd.DataFrame, rates: Rates, film_cost: pd.Series) -> pd.Series:
    """Expected cost of a job at rates and film costs. [money]"""
    priced = frame.assign(film_cost_per_m2=film_cost, labour_rate=rates.labour)
    inputs = SheetInputs(target_share=0.0, consumables_rate=rates.consumables)
    return with_reserve(direct_costs(priced, inputs), priced)


# --- hours ---------------------------------------------------------------------------------------


def _hours(
    cells: pd.DataFrame,
    lines: pd.DataFrame,
    forecaster: HoursForecaster | Unavailable,
    flagged: pd.DataFrame,
    wanted: pd.Index,
) -> pd.DataFrame:
    """Hours of the next job by cell: mean, spread from job to job, error of the mean. [h]"""
    blank = pd.DataFrame(
        dict.fromkeys(("expected_hours", "expected_hours_sd", "hours_error"), np.nan),
        index=cells.index,
    )
    if isinstance(forecaster, Unavailable):
        found = blank
    else:
        asked = _asked(cells, lines, flagged)
        done = forecaster.model.data.lines["service"]
        asked = asked[asked["cell"].isin(wanted) & asked["service"].isin(done)]
        found = _forecast(cells, _commonest(asked), forecaster) if len(asked) else blank
    # What was never done, or cannot be forecast, is expected to take what the list says.
    listed = found["expected_hours"].isna() & cells["list_hours"].notna()
    expected = found["expected_hours"].fillna(cells["list_hours"])
    own = lines.groupby("service")[["bay_hours", "actual_hours"]].sum()
    crew = (own["bay_hours"] / own["actual_hours"].where(own["actual_hours"] > 0)).reindex(
        cells["service"]
    )
    return found.assign(
        expected_hours=expected,
        hours_listed=listed,
        bay_hours_each=expected * crew.to_numpy(float),
    )


def _asked(cells: pd.DataFrame, lines: pd.DataFrame, flagged: pd.DataFrame) -> pd.DataFrame:
    """The vehicles to forecast for each cell, each with the `weight` of its jobs.

    A cell without any, or with flagged models alone, is asked for on a model of its class that was
    never seen.
    """
    models = pd.MultiIndex.from_frame(flagged[["make", "model"]])
    own = lines[~pd.MultiIndex.from_frame(lines[["make", "model"]]).isin(models)]
    by = own.groupby(["cell", *_VEHICLE], dropna=False).size().rename("weight").reset_index()
    rest = cells.index.difference(pd.Index(by["cell"].unique()))
    bare = pd.DataFrame(
        {
            "cell": rest,
            "vehicle_class": cells.loc[rest, "vehicle_class"].to_numpy(),
            "make": pd.Series(np.nan, index=range(len(rest)), dtype="str"),
            "model": pd.Series(np.nan, index=range(len(rest)), dtype="str"),
            "weight": 1,
        }
    )
    asked = pd.concat([part for part in (by, bare) if len(part)], ignore_index=True)
    return asked.assign(service=cells["service"].to_numpy()[asked["cell"].to_numpy(int)])


def _commonest(asked: pd.DataFrame) -> pd.DataFrame:
    """The vehicles, or of more than `_MOST_VEHICLES` the commonest of each cell."""
    if len(asked) <= _MOST_VEHICLES:
        return asked
    each = max(_LEAST_EACH, _MOST_VEHICLES // asked["cell"].nunique())
    order = asked.sort_values("weight", ascending=False, kind="stable")
    return asked[order.groupby("cell").cumcount().reindex(asked.index) < each]


def _apart(cells: pd.DataFrame, lines: pd.DataFrame, flagged: pd.DataFrame) -> pd.Series:
    """The flagged models that are a tenth or more of a cell's jobs, in words; missing without."""
    models = pd.MultiIndex.from_frame(flagged[["make", "model"]])
    own = lines[pd.MultiIndex.from_frame(lines[["make", "model"]]).isin(models)]
    count = own.groupby(["cell", "make", "model"]).size().rename("jobs").reset_index()
    total = count["cell"].map(lines.groupby("cell").size())
    count = count[10 * count["jobs"] >= total]
    count = count.sort_values(["cell", "jobs"], ascending=[True, False], kind="stable")
    words = count["make"] + " " + count["model"] + " (" + count["jobs"].astype("str")
    of = " of its " + total.reindex(count.index).astype("str") + " jobs)"
    named = (words + of).groupby(count["cell"]).agg(" and ".join)
    return named.reindex(cells.index).astype("str")


def _forecast(
    cells: pd.DataFrame, asked: pd.DataFrame, forecaster: HoursForecaster
) -> pd.DataFrame:
    """The forecasts of the vehicles, weighted into their cells. [h]"""
    data = forecaster.model.data.lines
    done = asked.reset_index(drop=True)
    forecast = forecast_hours(forecaster, done[["service", *_VEHICLE]])
    mean = forecast.expected()
    weight = (done["weight"] / done.groupby("cell")["weight"].transform("sum")).to_numpy(float)
    by = done["cell"].to_numpy()

    def summed(values: Array) -> pd.Series:
        return pd.Series(values).groupby(by).sum().reindex(cells.index)

    expected = summed(weight * mean)
    around = mean**2 * np.expm1(forecast.sd**2 + forecast.noise**2)
    apart = summed(weight * mean**2) - expected**2
    # The models' errors are their own; the service's is common to all of them.
    jobs = data.groupby("service").size().reindex(cells["service"]).to_numpy(float)
    noise = forecaster.noise.reindex(cells["service"]).to_numpy(float)
    common = expected * noise / np.sqrt(jobs)
    own = summed((weight * mean * forecast.sd) ** 2)
    return pd.DataFrame(
        {
            "expected_hours": expected,
            "expected_hours_sd": np.sqrt(summed(weight * around) + apart.clip(lower=0.0)),
            "hours_error": np.sqrt(own + common**2),
        }
    )


# --- film ----------------------------------------------------------------------------------------


def _film(
    cells: pd.DataFrame, lines: pd.DataFrame, costing: Costing, day: pd.Timestamp
) -> pd.DataFrame:
    """Film of the next job by cell: area [m²], its error, and what the films in use cost today."""
    known = lines[lines["consumed_area_m2"].notna()]
    area = known["consumed_area_m2"]
    of_service = area.groupby(known["service"]).agg(["mean", "size"]).reindex(cells["service"])
    of_service.index = cells.index
    by_cell = area.groupby(known["cell"])
    total = by_cell.sum().reindex(cells.index, fill_value=0.0)
    count = by_cell.size().reindex(cells.index, fill_value=0)
    # Drawn towards the service's mean as the quote of a single job is.
    mean = (total + WIDER_JOBS * of_service["mean"]) / (count + WIDER_JOBS)
    away = (area - by_cell.transform("mean")) ** 2
    free = known.groupby("service").size() - known.groupby("service")["cell"].nunique()
    spread = np.sqrt(away.groupby(known["service"]).sum() / free.where(free > 0))
    error = spread.reindex(cells["service"]).to_numpy(float) / np.sqrt(count + WIDER_JOBS)
    now = _film_costs(cells, lines, replacement_costs(costing, day), day)
    year_ago = day - pd.DateOffset(months=_MONTHS)
    before = _film_costs(cells, lines, replacement_costs(costing, year_ago), day)
    return pd.DataFrame(
        {
            "film_area_m2": mean,
            "film_area_error_m2": error.fillna(0.0),
            "film_cost_per_m2": now,
            "film_cost_before_per_m2": before,
        }
    )


def _film_costs(
    cells: pd.DataFrame, lines: pd.DataFrame, costs: pd.Series, day: pd.Timestamp
) -> pd.Series:
    """Mean cost of the films that each service used, by what it used of each. [money / m²]

    Over the trailing twelve months, for a service without any film in them over all records; a film
    without a cost counts in no mean.
    """
    used = lines[(lines["consumed_area_m2"] > 0) & lines["film"].isin(costs.dropna().index)]
    recent = used[used["finished_on"] > day - pd.DateOffset(months=_MONTHS)]
    means = []
    for chosen in (recent, used):
        area = chosen["consumed_area_m2"]
        money = area * chosen["film"].map(costs).astype("float64")
        by = chosen["service"]
        means.append(money.groupby(by).sum() / area.groupby(by).sum())
    mean = means[0].combine_first(means[1]).reindex(cells["service"])
    return pd.Series(mean.to_numpy(float), index=cells.index)


# --- notes ---------------------------------------------------------------------------------------


def _notes(frame: pd.DataFrame, rates: Rates) -> pd.Series:
    """What is not known of each cell, in plain words; empty where all is."""
    film = frame["film_area_m2"]
    parts = {
        "Its hours are not known.": frame["expected_hours"].isna(),
        "Never done so far: the hours are the list's.": frame["hours_listed"],
        "The film that it takes is not written down.": film.isna(),
        "The price of its film is not known.": (film > 0) & frame["film_cost_per_m2"].isna(),
        "No wage is known.": pd.Series(np.isnan(rates.labour), index=frame.index),
        "What its redos cost is not known.": frame["redo_fixed"].isna()
        & frame["redo_rate_share"].isna(),
    }
    notes = pd.Series("", index=frame.index)
    for text, holds in parts.items():
        notes = notes.where(~holds, (notes + " " + text).str.strip())
    return notes.where(notes != "").astype("str")
