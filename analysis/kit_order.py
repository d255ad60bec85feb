"""A kit for somebody who fits film by themselves: from a records folder to pieces and prices."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, WorkbookError
from analysis.findings.hours_model import hours_data
from analysis.pricing.asked import KnownNames, Question, as_known, ask, known_names, meant
from analysis.pricing.asking_price import AskingPrice, asking_price
from analysis.pricing.class_words import class_option, classes_meant, did_you_mean
from analysis.pricing.counter_kits import Kit, KitAsked, make_kit
from analysis.pricing.counter_review import kit_costs
from analysis.pricing.quote import next_quote, prepare_quotes
from analysis.pricing.usual_sizes import Vehicle
from analysis.record_tables import VEHICLE_CLASSES
from analysis.records.model import Records
from analysis.report.folder import beside
from analysis.report.numbers import Numbers
from analysis.report.quote_text import price_words
from analysis.review import read_and_cost

_NOT_QUOTED: Final = (
    "The install is not quoted for this model: its price is the list's for the class, and what it "
    "leaves that of past installs."
)
# Characters of a file's name that say whose kit it is.
_LONGEST_NAME: Final = 80


@dataclass(frozen=True)
class KitRequest:
    """What a person asks for, as they typed it.

    Either `vehicle_class`, or `make` and `model`, or all three: sizes of the model, then, before
    those of the class. `film` None: the usual one.
    """

    service: str
    vehicle_class: str | None = None
    make: str | None = None
    model: str | None = None
    film: str | None = None


@dataclass(frozen=True, eq=False)
class KitPlan:
    """The kit with its prices, as of `day`.

    `notes` : what is to be said about the question; `questions` : what is to be asked first.
    """

    kit: Kit
    records: Records
    day: pd.Timestamp
    notes: tuple[str, ...]
    questions: tuple[str, ...] = ()


def prepare_kit(
    folder: Path | str,
    asked: KitRequest,
    progress: Callable[[str], None] | None = None,
) -> KitPlan:
    """Make the kit that is asked for, at the prices of the newest day of the records.

    Raises `WorkbookError` for a name that is not known, a vehicle without a class, or a service
    without sizes: one line with what to do.
    """
    say = progress or (lambda _: None)
    wanted = _whole(asked)
    records, costing, day = read_and_cost(folder, say)
    spelt = {
        name: text and records.settings.spelling(name, text) for name, text in vars(wanted).items()
    }
    known, notes, questions = _as_known(KitRequest(**spelt), costing, records, day)
    say("judging the counter sale")
    with one_thread():
        costs, installs = kit_costs(costing, records, day)
    say("quoting the install")
    quoted, why = _quoted_install(known, costing, records, day)
    say("laying out the kit")
    as_of = (
        f"Prices, and what an install leaves, are as of {day:%Y-%m-%d}, the newest day of the "
        "records; the report's are as of its quarter's end."
    )
    kit = make_kit(costing, records, day, known, costs, installs, quoted)
    asks = tuple(each.line for each in questions)
    return KitPlan(kit, records, day, (*notes, *why, as_of), asks)


def _quoted_install(
    asked: KitAsked, costing: Costing, records: Records, day: pd.Timestamp
) -> tuple[AskingPrice | None, tuple[str, ...]]:
    """What `quote` asks for the install on the model, and why; None where only a class is asked.

    Two commands at one counter say one price.
    """
    if asked.make is None or asked.model is None:
        return None, ()
    quoter = prepare_quotes(costing, records, day)
    if isinstance(quoter, Unavailable):
        return None, (f"{_NOT_QUOTED} {quoter.line}",)
    if asked.service not in quoter.names.services:
        none = f"No finished job of {asked.service} has quoted and actual hours."
        return None, (f"{_NOT_QUOTED} {none}",)
    quote = next_quote(
        quoter,
        asked.service,
        asked.make,
        asked.model,
        vehicle_class=asked.vehicle_class,
        film=asked.film,
    )
    asking = asking_price(quote, records.settings)
    notes = [f"Price of the install: {price_words(quote, Numbers(records.settings))}"]
    if math.isnan(asking.leaves):
        notes.append("What the install leaves is not known; the command quote says why.")
    return asking, tuple(notes)


def _whole(asked: KitRequest) -> KitRequest:
    """The request without blank parts; refused where it names no vehicle."""
    parts = {name: (value or "").strip() or None for name, value in vars(asked).items()}
    service = parts.pop("service")
    if service is None:
        raise WorkbookError("A kit needs a service: say with --service what is to be fitted.")
    whole = KitRequest(service, **parts)
    if whole.vehicle_class is None and not (whole.make and whole.model):
        raise WorkbookError(
            "A kit needs the size class of the vehicle (--class), or its make and model (--make "
            "and --model)."
        )
    return whole


def _as_known(
    asked: KitRequest, costing: Costing, records: Records, day: pd.Timestamp
) -> tuple[KitAsked, tuple[str, ...], tuple[Question, ...]]:
    """The request in the spellings of the records, and what is to be said about it."""
    panels, prices = records["panels"], records["price_list"]
    names = known_names(costing, records, hours_data(costing, day))
    services = pd.concat([panels["service"], records["jobs"]["service"], prices["service"]])
    service = _known("service", asked.service, services.dropna().unique().tolist())
    film = None if asked.film is None else _known("film", asked.film, list(names.films))
    given = None
    if asked.vehicle_class is not None:
        listed = [panels["vehicle_class"], prices["vehicle_class"]]
        classes = [*names.classes, *pd.concat(listed).dropna().unique(), *VEHICLE_CLASSES]
        given = _known_class(asked.vehicle_class, list(dict.fromkeys(classes)), names.classes)
        names = replace(names, classes=tuple(classes))
    if asked.make is None or asked.model is None:
        return KitAsked(service, given or "", film), (), ()
    vehicle = Vehicle(asked.make, asked.model, given)
    return _of_vehicle(vehicle, service, film, names, costing, records)


def _known(what: str, name: str, known: list[str]) -> str:
    found = as_known(name, known)
    if found is not None:
        return found
    near = meant(name, known)
    hint = near or (f". These are: {', '.join(known)}." if known else ".")
    raise WorkbookError(f"There is no {what} '{name}' in the records{hint}")


def _known_class(name: str, known: list[str], in_use: tuple[str, ...]) -> str:
    """A class in its known spelling; a short form of one is asked about, never replaced."""
    found = as_known(name, known)
    if found is not None:
        return found
    hint = did_you_mean(classes_meant(name, in_use) or classes_meant(name, known))
    hint = hint or f". Give one with {class_option(in_use or known)}."
    raise WorkbookError(f"There is no size class '{name}' in the records{hint}")


def _of_vehicle(
    vehicle: Vehicle,
    service: str,
    film: str | None,
    names: KnownNames,
    costing: Costing,
    records: Records,
) -> tuple[KitAsked, tuple[str, ...], tuple[Question, ...]]:
    """The request for one model: its class is the one given, else found as for a quote."""
    # The services of a kit, whether or not their hours are known.
    found = ask(
        replace(names, services=(service,)), records, costing.lines, service, vehicle, None, None
    )
    own = found.vehicle
    if own.vehicle_class is None:
        asks = " ".join(each.asks for each in found.questions)
        raise WorkbookError(
            f"The size class of {own.make} {own.model} is not known: give it with "
            f"{class_option(names.classes)}. {asks}".strip()
        )
    asked = KitAsked(service, own.vehicle_class, film, own.make, own.model)
    return asked, found.notes, found.questions


def default_kit_out(folder: Path, kit: Kit) -> Path:
    """Where the sheet goes unless told otherwise: `kits/kit-roof-van-F.html` beside the records."""
    parts = (kit.service, kit.make, kit.model, kit.vehicle_class, kit.film)
    plain = [re.sub(r"[^\w.-]+", "_", part).strip("._") for part in parts if part]
    shown = "-".join(part for part in plain if part)[:_LONGEST_NAME]
    return beside(folder) / "kits" / f"kit-{shown or 'sheet'}.html"
