"""A quote in words for a person, and as one plain object for a machine."""

import math
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.locale_text import counted, pretty_unit
from analysis.pricing.asking_price import AskingPrice, PriceFrom, asking_price
from analysis.pricing.floor import PriceResult
from analysis.pricing.quote import Quote
from analysis.report.cautions import CAUTIONS, STAFF_CAUTION
from analysis.report.numbers import Numbers, places_for, typed
from analysis.schema import Kind
from analysis.settings import Settings
from analysis.units import metres_per, square_metres_per

# Hours are quoted in steps of a quarter of an hour, upwards.
_STEP: Final = 0.25
_PLACES: Final = 6
_HOURS: Final = ("median", "mean", "quantile", "confidence", "low", "high", "usual")
# A confidence is said as so many of the first of these that fits.
_OUT_OF: Final = (10, 4, 20, 100)
# So many past jobs are named; all of the nearest are in the object for machines.
_SHOWN_JOBS: Final = 5
_HASTE: Final = dict(CAUTIONS)["Hours and haste"]


def quote_lines(quote: Quote, settings: Settings) -> list[str]:
    """The quote in plain lines: the answer, what to mind about it, and what it rests on.

    A question comes before all: the answer to it changes hours and price.
    """
    numbers = Numbers(settings)
    return [
        *(typed(each.line) for each in quote.asked.questions),
        *_answer(quote, numbers),
        *(f"Note: {typed(note)}" for note in quote.notes),
        *_hours_lines(quote, numbers),
        *_price_lines(quote, numbers),
        *_film_lines(quote, numbers),
        *_job_lines(quote, numbers),
        *_cautions(quote),
    ]


def quoted_hours(hours: float) -> float:
    """Hours rounded up to the quarter of an hour. [h]"""
    return math.ceil(hours / _STEP - 1e-9) * _STEP


def in_words(confidence: float) -> str:
    """`7 of 10`, `3 of 4`; a share that is neither as a percentage, `87.5 % of`."""
    for whole in _OUT_OF:
        count = confidence * whole
        if abs(count - round(count)) < 1e-9:
            return f"{round(count)} of {whole}"
    return f"{confidence * 100:g} % of"


def _answer(quote: Quote, numbers: Numbers) -> Iterator[str]:
    hours, asked = quote.hours, quote.asked
    quoted = numbers.hours(quoted_hours(hours.quantile), 2)
    share = in_words(hours.confidence)
    yield f"Quote {quoted}: {share} such jobs finish inside it."
    settings = numbers.settings
    tax = f" Prices include {tax_words(settings)}." if settings.prices_include_tax else ""
    yield f"Price: {price_words(quote, numbers)}{tax}"
    vehicle = asked.vehicle
    year = "" if asked.year is None else f" {asked.year}"
    words = f"{asked.service} on {vehicle.make} {vehicle.model}{year}"
    words += f", {vehicle.vehicle_class or 'class not known'}"
    if asked.installer is not None:
        words += f", by {asked.installer}"
    yield f"For {typed(words)}; from the records up to {numbers.day(quote.as_of)}."


def tax_words(settings: Settings) -> str:
    """The tax that prices include: `19% tax`, or `tax` where its rate is not told."""
    if not settings.tax_rate:
        return "tax"
    share = settings.tax_rate * 100
    places = next((each for each in (0, 1) if abs(share - round(share, each)) < 0.0005), 2)
    return f"{Numbers(settings).percent(share, places)} tax"


def price_words(quote: Quote, numbers: Numbers) -> str:
    """The price to ask and where it comes from, as far as the records tell it: a sentence."""
    asking = asking_price(quote, numbers.settings)
    price, floor = numbers.money(asking.price, 2), numbers.money(quote.floor.price, 2)
    enough = f"the floor is {floor}"
    if math.isnan(quote.floor.price):
        enough = "whether that is enough cannot be told"
    match asking.source:
        case PriceFrom.NOTHING:
            return (
                "neither a list price, nor what you usually charge, nor a floor can be told from "
                "these records."
            )
        case PriceFrom.FLOOR:
            return _floor_words(quote, asking, numbers)
        case PriceFrom.USUAL:
            why = f"what you usually charge: {_usual_price_words(quote, numbers)}"
            return f"{price}, {why}; the list has none; {enough}."
        case PriceFrom.LIST:
            if not asking.for_model > 0:
                return f"{price}, from the list; {enough}."
            listed = numbers.money(quote.at_list.price, 2)
            more = surcharge_words(quote, numbers)
            return f"{price}: {listed} from the list and {more}; {enough}."


def _floor_words(quote: Quote, asking: AskingPrice, numbers: Numbers) -> str:
    """The floor as the price to ask, and what lies under it."""
    price, floor = numbers.money(asking.price, 2), numbers.money(quote.floor.price, 2)
    name = "the floor" if price == floor else f"the floor of {floor} rounded up"
    if not math.isnan(quote.at_list.price):
        listed = numbers.money(quote.at_list.price, 2)
        more = surcharge_words(quote, numbers) if quote.surcharge.amount > 0 else ""
        both = f", with {more} on top," if more else ","
        return f"{price}, {name}; the list says {listed}{both} which is under it."
    if not math.isnan(quote.usual_price.median):
        usual = numbers.money(quote.usual_price.median, 2)
        why = _usual_price_words(quote, numbers)
        return (
            f"you usually charge {usual}, {why}; that is under the floor, so ask {price}, {name}; "
            "the list has none."
        )
    return (
        f"{price} or more, {name}; the list has none, and no such job was invoiced in the last "
        "twelve months."
    )


def _usual_price_words(quote: Quote, numbers: Numbers) -> str:
    """What the usual price is of: how many jobs, of what, and how far they lie apart."""
    usual = quote.usual_price
    on = "of any class" if usual.vehicle_class is None else f"on {typed(usual.vehicle_class)}"
    of = f"{typed(quote.asked.service)} {on} in the last twelve months"
    if math.isnan(usual.low):
        jobs = "the only job" if usual.jobs == 1 else f"the median of only {usual.jobs} jobs"
        return f"{jobs} of {of}, too few to say a range"
    low, high = numbers.money(usual.low, 2), numbers.money(usual.high, 2)
    return f"the median of {usual.jobs} jobs of {of}, the middle half of them {low} to {high}"


def usual_words(quote: Quote, numbers: Numbers) -> str:
    """What the shop counts on: the list's hours, or those of its past quotes."""
    usual = numbers.hours(quote.hours.usual, 2)
    return f"Your list says {usual}" if quote.hours.from_list else f"You usually quote {usual}"


def surcharge_words(quote: Quote, numbers: Numbers) -> str:
    """What is added for the vehicle, and why."""
    extra = quote.surcharge
    return (
        f"{numbers.money(extra.amount, 2)} because this model takes about "
        f"{numbers.hours(extra.extra_hours, 2)} more than others of its class"
    )


def _hours_lines(quote: Quote, numbers: Numbers) -> Iterator[str]:
    hours = quote.hours
    yield (
        f"Hours: {numbers.hours(hours.mean, 2)} expected; half take less than "
        f"{numbers.hours(hours.median, 2)}, one in twenty less than {numbers.hours(hours.low, 2)}, "
        f"one in twenty over {numbers.hours(hours.high, 2)}. {usual_words(quote, numbers)}."
    )


def _price_lines(quote: Quote, numbers: Numbers) -> Iterator[str]:
    costs = quote.costs
    parts = ", ".join(
        f"{word} {numbers.money(amount, 2)}"
        for word, amount in (
            ("film", costs.film),
            ("consumables", costs.consumables),
            ("labour", costs.labour),
            ("redo reserve", costs.redo_reserve),
        )
    )
    yield f"Expected cost {numbers.money(costs.total, 2)}: {parts}; overhead is not in it."
    target = numbers.percent(quote.target_margin * 100)
    yield _price_line(f"Floor price (target {target})", quote.floor, numbers)
    yield _price_line("List price", quote.at_list, numbers)


def _price_line(name: str, result: PriceResult, numbers: Numbers) -> str:
    line = f"{name}: {numbers.money(result.price, 2)}"
    if math.isnan(result.contribution):
        return line + "."
    tax = " net of tax" if numbers.settings.prices_include_tax else ""
    share = numbers.percent(result.contribution_share * 100)
    fee = f", after a card fee of {numbers.money(result.fee, 2)}" if result.fee else ""
    return f"{line}; leaves {numbers.money(result.contribution, 2)} ({share}{tax}){fee}."


def _film_lines(quote: Quote, numbers: Numbers) -> Iterator[str]:
    needed, settings = quote.film, numbers.settings
    area = needed.area
    if needed.panels.empty and not area.mean_m2 > 0:
        return
    square = square_metres_per(settings.area_unit)
    expected = numbers.area(area.mean_m2 / square)
    spread = f", give or take {numbers.area(area.sd_m2 / square)}" if area.sd_m2 > 0 else ""
    jobs = counted(area.service, "job")
    yield (
        f"Film: {typed(needed.film)}, {expected} expected{spread} ({jobs} of the service, "
        f"{area.vehicle_class} on the class, {area.model} on the model)."
    )
    for row in needed.panels.to_dict("records"):
        yield _panel_line(row, numbers)


def _panel_line(row: dict[Any, Any], numbers: Numbers) -> str:
    unit = metres_per(numbers.settings.length_unit)

    def length(name: str) -> str:
        value = row[name] / unit
        return numbers.number(value, places_for([value], Kind.LENGTH))

    word = pretty_unit(numbers.settings.length_unit)
    size = f"{length('piece_length_m')} × {length('piece_width_m')} {word}"
    pull = f"pull {length('pulled_length_m')} {word}"
    if not math.isnan(row["pulled_width_m"]):
        pull += f" off the roll of {length('pulled_width_m')} {word}"
    behind = f"as in {counted(row['cuts'], 'cut')}" if row["cuts"] else "worked out"
    pieces = counted(row["pieces"], "piece")
    return f"- {typed(row['panel'])}: {pieces} of {size} ({row['source']}); {pull} ({behind})."


def _job_lines(quote: Quote, numbers: Numbers) -> Iterator[str]:
    evidence = quote.evidence
    rows: list[dict[Any, Any]] = quote.jobs.head(_SHOWN_JOBS).to_dict("records")
    yield (
        f"It leans on {counted(evidence.same_service_and_model, 'job')} of this service on this "
        f"model, {evidence.model} on the model, {evidence.service_and_class} of the service on the "
        f"class, {evidence.service} of the service.{' The nearest:' if rows else ''}"
    )
    for row in rows:
        vehicle = typed(f"{row['make']} {row['model']}")
        yield (
            f"- {typed(row['job_id'])} ({numbers.day(row['finished_on'])}) "
            f"{typed(row['service'])}, {vehicle}: {numbers.number(row['quoted_hours'], 2)} quoted, "
            f"{numbers.hours(row['actual_hours'], 2)} taken ({row['why']})"
        )


def _cautions(quote: Quote) -> Iterator[str]:
    yield _HASTE
    if quote.asked.installer is not None:
        yield STAFF_CAUTION


def quote_object(quote: Quote, settings: Settings) -> dict[str, Any]:
    """The quote as plain values in the shop's units; missing is None, numbers to 6 places."""
    asked, hours, costs, film = quote.asked, quote.hours, quote.costs, quote.film
    square = square_metres_per(settings.area_unit)
    names = ("same_service_and_model", "model", "service_and_class", "service")
    value: dict[str, Any] = {
        "service": asked.service,
        "make": asked.vehicle.make,
        "model": asked.vehicle.model,
        "vehicle_class": asked.vehicle.vehicle_class,
        "year": asked.year,
        "installer": asked.installer,
        "as_of": quote.as_of,
        "hours": {name: getattr(hours, name) for name in _HOURS},
        "price": quote.at_list.price,
        "surcharge": quote.surcharge.amount,
        "extra_hours": quote.surcharge.extra_hours,
        "price_to_ask": asking_price(quote, settings).price,
        "usual_price": quote.usual_price.median,
        "usual_price_jobs": quote.usual_price.jobs,
        "floor": quote.floor.price,
        "target_margin": quote.target_margin,
        "contribution_at_list": quote.at_list.contribution,
        "contribution_at_floor": quote.floor.contribution,
        "costs": {
            "film": costs.film,
            "consumables": costs.consumables,
            "labour": costs.labour,
            "redo_reserve": costs.redo_reserve,
            "total": costs.total,
            "card_fee_at_list": quote.at_list.fee,
            "card_fee_at_floor": quote.floor.fee,
        },
        "evidence": {name: getattr(quote.evidence, name) for name in names},
        "jobs": quote.jobs.to_dict("records"),
        "film": {
            "film": film.film,
            "expected_area": film.area.mean_m2 / square,
            "area_sd": film.area.sd_m2 / square,
            "area_unit": settings.area_unit,
            "length_unit": settings.length_unit,
            "panels": _edge_panels(film.panels, settings).to_dict("records"),
        },
        "notes": [*(each.line for each in asked.questions), *quote.notes],
    }
    plain: dict[str, Any] = _plain(value)
    return plain


def _edge_panels(panels: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Panels with their lengths in the shop's unit, the names without `_m`."""
    unit = metres_per(settings.length_unit)
    lengths = [name for name in panels.columns if name.endswith("_m")]
    edge = panels.assign(**{name: panels[name] / unit for name in lengths})
    return edge.rename(columns={name: name.removesuffix("_m") for name in lengths})


def _plain(value: Any) -> Any:
    """Plain values all the way down: no NaN, days as ISO text, numbers to 6 places."""
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    if value is None or value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    if isinstance(value, float | np.floating):
        return round(float(value), _PLACES) if math.isfinite(value) else None
    return int(value) if isinstance(value, np.integer) else value
