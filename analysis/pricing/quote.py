"""Hours and price of the next job, with the past jobs that they lean on.

The hours are the predictive distribution of `findings.forecast`; the quote takes the quantile at
the shop's confidence, and its price is held against the floor and the list.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, WorkbookError
from analysis.findings.capacity_use import governing
from analysis.findings.forecast import (
    HoursForecast,
    HoursForecaster,
    forecast_hours,
    learn_hours,
)
from analysis.findings.groups import Period
from analysis.findings.hours_model import hours_data
from analysis.periods import last_complete_quarter
from analysis.pricing.asked import Asked, KnownNames, as_known, ask, known_names, meant
from analysis.pricing.film_needed import (
    ExpectedArea,
    FilmHistory,
    expected_area,
    film_history,
    panels_needed,
    usual_film,
)
from analysis.pricing.floor import (
    PriceResult,
    Rates,
    RedoHistory,
    at_price,
    floor_price,
    installer_rate,
    list_price,
    next_rates,
    redo_history,
    redo_reserve,
    replacement_cost,
)
from analysis.pricing.money_words import percent_words
from analysis.pricing.past_jobs import Evidence, evidence_notes, held_notes, past_jobs
from analysis.pricing.price_basis import ShortHours, short_hours
from analysis.pricing.quote_surcharge import QuoteSurcharge, quote_surcharge
from analysis.pricing.usual_price import UsualPrice, usual_price
from analysis.pricing.usual_sizes import Vehicle
from analysis.records.model import Records

LOW, HIGH = 0.05, 0.95
# The grid of a chart runs between these shares, in so many steps of equal size in log hours.
_ENDS: Final = (0.01, 0.99)
_STEPS: Final = 60


@dataclass(frozen=True, eq=False)
class Quoter:
    """Everything that quotes are made from, learnt once from the records up to `day`."""

    costing: Costing
    records: Records
    day: pd.Timestamp
    forecaster: HoursForecaster
    film: FilmHistory
    redo: RedoHistory
    rates: Rates
    names: KnownNames
    short: ShortHours


@dataclass(frozen=True, eq=False)
class QuotedHours:
    """Hours of the next job. [h]

    `usual` : what the shop counts on (the list where `from_list`, else past quotes); `quantile` :
    hours inside which a share of `confidence` of such jobs finishes; `low`, `high` : 5 and 95 %;
    `grid` : `share, hours` for a chart.
    """

    usual: float
    from_list: bool
    median: float
    mean: float
    quantile: float
    confidence: float
    low: float
    high: float
    grid: pd.DataFrame


@dataclass(frozen=True)
class QuotedCosts:
    """Expected cost of the job at today's prices; NaN where the records do not say. [money]"""

    film: float
    consumables: float
    labour: float
    redo_reserve: float

    @property
    def total(self) -> float:
        """Their sum: what the floor must cover beside the fee."""
        return self.film + self.consumables + self.labour + self.redo_reserve


@dataclass(frozen=True, eq=False)
class QuotedFilm:
    """The film to pull: its code (None: takes none, or not known), expected area, and panels."""

    film: str | None
    area: ExpectedArea
    panels: pd.DataFrame


@dataclass(frozen=True, eq=False)
class Quote:
    """The answer to one question; `jobs` has `JOB_COLUMNS`, `notes` are plain sentences.

    `floor` and `at_list` hold NaN where a price is not known; `surcharge` goes on top of the list;
    `usual_price` : what such jobs were invoiced. `asking_price` has what to ask of these.
    """

    asked: Asked
    as_of: pd.Timestamp
    hours: QuotedHours
    costs: QuotedCosts
    target_margin: float
    floor: PriceResult
    at_list: PriceResult
    surcharge: QuoteSurcharge
    usual_price: UsualPrice
    film: QuotedFilm
    evidence: Evidence
    jobs: pd.DataFrame
    notes: tuple[str, ...]


def prepare_quotes(costing: Costing, records: Records, day: pd.Timestamp) -> Quoter | Unavailable:
    """Learn from everything finished by a day; `Unavailable` where that is too little."""
    data = hours_data(costing, day)
    with one_thread():
        forecaster = learn_hours(data, records["price_list"], day)
    if isinstance(forecaster, Unavailable):
        return forecaster
    return Quoter(
        costing,
        records,
        day,
        forecaster,
        film_history(costing, records, day),
        redo_history(costing, day),
        next_rates(costing, records.settings, day),
        known_names(costing, records, data),
        _short(costing, records, day),
    )


def _short(costing: Costing, records: Records, day: pd.Timestamp) -> ShortHours:
    """What is short, and what its hours earn, as the review of the last whole quarter says."""
    quarter = last_complete_quarter(day, records.settings.fiscal_year_starts)
    governs = governing(costing, records, quarter)
    return short_hours(costing, governs, Period(quarter.year_first_day, quarter.last_day))


def next_quote(
    quoter: Quoter,
    service: str,
    make: str,
    model: str,
    *,
    vehicle_class: str | None = None,
    year: int | None = None,
    installer: str | None = None,
    film: str | None = None,
    confidence: float | None = None,
) -> Quote:
    """Quote the next job.

    Names are matched to those of the records by the aliases of the settings, and but for case,
    spaces and hyphens. The class is the one
    given, else that of `vehicles`, else that of the newest job on the model, else not known.

    Raises
    ------
    WorkbookError
        A service without a job to learn from, no make or model, or a confidence that is none.
    """
    settings = quoter.records.settings
    share = settings.quoting.confidence if confidence is None else confidence
    if not 0 < share < 1:
        raise WorkbookError(
            f"A confidence of {share:g} cannot be quoted: it is a share over 0 and under 1, such "
            "as 0.8 for 8 jobs of 10 (--confidence, or quoting.confidence in shop.toml)."
        )
    every, spelt = quoter.costing.lines, settings.spelling
    wanted = Vehicle(
        spelt("make", make),
        spelt("model", model),
        vehicle_class and spelt("vehicle_class", vehicle_class),
    )
    who = installer and spelt("installer", installer)
    service = spelt("service", service)
    asked = ask(quoter.names, quoter.records, every, service, wanted, year, who)
    hours = _hours(quoter, asked, share)
    needed, film_notes = _film(quoter, asked, film and spelt("film", film))
    costs, cost_notes = _costs(quoter, asked, hours.mean, needed)
    floor, listed = _prices(quoter, asked, costs)
    surcharge = quote_surcharge(
        quoter.costing,
        quoter.records,
        quoter.day,
        quoter.forecaster,
        asked,
        quoter.short,
        listed.price,
    )
    past = quoter.forecaster.model.data.lines
    evidence, jobs = past_jobs(past, asked)
    notes = (
        *asked.notes,
        *held_notes(past, quoter.forecaster.held, asked),
        *evidence_notes(past, asked, evidence, settings.pricing.fewest_jobs),
        *film_notes,
        *cost_notes,
        *_price_notes(asked, costs, floor, listed),
        *quoter.forecaster.model.notes,
    )
    target = settings.target_margin(asked.service)
    return Quote(
        asked,
        quoter.day,
        hours,
        costs,
        target,
        floor,
        listed,
        surcharge,
        usual_price(quoter.costing, asked.service, asked.vehicle.vehicle_class, quoter.day),
        needed,
        evidence,
        jobs,
        notes,
    )


def _hours(quoter: Quoter, asked: Asked, confidence: float) -> QuotedHours:
    row = asked.row()
    who = None if asked.installer is None else pd.Series([asked.installer], dtype="str")
    forecast = forecast_hours(quoter.forecaster, row, who)
    low, median, high, quoted = (
        float(forecast.quantile(share)[0]) for share in (LOW, 0.5, HIGH, confidence)
    )
    return QuotedHours(
        usual=float(forecast.usual[0]),
        from_list=bool(quoter.forecaster.usual.are_listed(row).iloc[0]),
        median=median,
        mean=float(forecast.expected()[0]),
        quantile=quoted,
        confidence=confidence,
        low=low,
        high=high,
        grid=_grid(forecast),
    )


def _grid(forecast: HoursForecast) -> pd.DataFrame:
    """Share of jobs that finish inside so many hours: `share, hours`."""
    first, last = (float(forecast.quantile(share)[0]) for share in _ENDS)
    hours = np.geomspace(first, last, _STEPS)
    repeated = HoursForecast(
        usual=np.repeat(forecast.usual, _STEPS),
        mean=np.repeat(forecast.mean, _STEPS),
        sd=np.repeat(forecast.sd, _STEPS),
        noise=np.repeat(forecast.noise, _STEPS),
        chance=forecast.chance,
    )
    share = repeated.below(np.log(hours / repeated.usual))
    return pd.DataFrame({"share": share, "hours": hours})


def _film(quoter: Quoter, asked: Asked, film: str | None) -> tuple[QuotedFilm, list[str]]:
    """The film of the job, and what is to be said about it."""
    area = expected_area(quoter.film, asked.service, asked.vehicle)
    notes: list[str] = []
    chosen: str | None
    if film is not None and film.strip():
        chosen = as_known(film, quoter.names.films) or film.strip()
        if chosen not in quoter.names.films:
            notes.append(
                f"The film {chosen} is not in the records{meant(film, quoter.names.films) or '.'}"
            )
    else:
        usual = usual_film(quoter.film, asked.service, quoter.day)
        chosen = usual.film
        if chosen is not None:
            when = "in the last twelve months" if usual.recent else "in all records"
            notes.append(
                f"Film: {chosen}, which this service used most {when} ({usual.jobs} of {usual.of} "
                "jobs)."
            )
    panels = panels_needed(quoter.film, asked.service, asked.vehicle, chosen)
    if area.mean_m2 == 0 and panels.empty:
        notes.append("This service has taken no film so far.")
    elif panels.empty:
        notes.append("No panel sizes and no cuts by panel tell the pieces of this job.")
    return QuotedFilm(chosen, area, panels), notes


def _costs(
    quoter: Quoter, asked: Asked, hours: float, needed: QuotedFilm
) -> tuple[QuotedCosts, list[str]]:
    """Costs of the expected hours and film, and what is not known of them."""
    notes: list[str] = []
    area = needed.area.mean_m2
    film = area
    if area != 0:
        price = np.nan
        if needed.film is not None:
            price = replacement_cost(quoter.costing, needed.film, quoter.day)
        film = area * price
        if np.isnan(area):
            notes.append("What this service takes of film is not written down: its cost is open.")
        elif needed.film is None:
            notes.append("No film is known for this service: its cost is open until one is named.")
        elif np.isnan(price):
            notes.append(f"{needed.film} was never bought: its cost is open.")
    labour = hours * _labour_rate(quoter, asked, notes)
    consumables = hours * quoter.rates.consumables
    if np.isnan(consumables):
        notes.append("No hours to spread the consumables over: their cost is open.")
    reserve = redo_reserve(quoter.redo, asked.service, film + labour + consumables)
    if quoter.redo.shop_share == 0:
        notes.append("No job was ever written down as done over: nothing is reserved for it.")
    return QuotedCosts(film, consumables, labour, reserve), notes


def _labour_rate(quoter: Quoter, asked: Asked, notes: list[str]) -> float:
    """The installer's own loaded rate, else the mean of the shop. [money / h]"""
    rates = quoter.rates
    if asked.installer is not None:
        own = installer_rate(quoter.records, asked.installer, quoter.day)
        if not np.isnan(own):
            return own
        notes.append(f"No wage of {asked.installer} is known: the mean of the shop stands for it.")
    if np.isnan(rates.labour):
        notes.append(
            "No wage is known: the cost of labour is open; fill in rates, or labour.default_wage "
            "in shop.toml."
        )
    elif rates.unpaid_share > 0:
        unpaid = percent_words(rates.unpaid_share, quoter.records.settings)
        notes.append(
            f"The wage behind {unpaid} of the hours of the last twelve months is "
            "not known; the mean of the others stands for it."
        )
    return rates.labour


def _prices(quoter: Quoter, asked: Asked, costs: QuotedCosts) -> tuple[PriceResult, PriceResult]:
    """What the floor and the list price leave."""
    settings = quoter.records.settings
    floor = floor_price(costs.total, settings.target_margin(asked.service), settings)
    listed = list_price(
        quoter.records["price_list"], asked.service, asked.vehicle.vehicle_class, quoter.day
    )
    return at_price(floor, costs.total, settings), at_price(listed, costs.total, settings)


def _price_notes(
    asked: Asked, costs: QuotedCosts, floor: PriceResult, listed: PriceResult
) -> list[str]:
    notes = []
    if np.isnan(costs.total):
        notes.append("A part of the cost is open, so there is no floor price.")
    elif np.isnan(floor.price):
        notes.append("No price leaves the target margin after tax and card fee: lower the target.")
    if np.isnan(listed.price):
        notes.append(f"The price list has no price for {asked.service} on this class.")
    elif listed.price < floor.price:
        notes.append("The list price is under the floor.")
    return notes
