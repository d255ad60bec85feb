"""What was asked about, in the spelling of the records, and what is to be said about it."""

from collections.abc import Iterable
from dataclasses import dataclass

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import WorkbookError
from analysis.findings.hours_model import HoursData
from analysis.pricing.class_words import class_option, classes_meant, did_you_mean, nearest
from analysis.pricing.usual_sizes import Vehicle
from analysis.record_tables import VEHICLE_CLASSES
from analysis.records.job_lines import vehicle_classes
from analysis.records.model import Records
from analysis.records.spellings import normal


@dataclass(frozen=True, eq=False)
class KnownNames:
    """The names in the records, commonest first.

    `vehicles` : make, model of every vehicle named; `services` : those with hours to learn from;
    `people` : those who worked on such jobs; `classes`, `films`, `paid` : classes, films, and
    people with a wage.
    """

    vehicles: pd.DataFrame
    services: tuple[str, ...]
    classes: tuple[str, ...]
    films: tuple[str, ...]
    people: tuple[str, ...]
    paid: tuple[str, ...]


@dataclass(frozen=True)
class Question:
    """What to ask back before any answer: a name was given that is nearly a known one.

    `asks` : `Quillon Merow was never done here; did you mean Merrow?`; `about` : model or class.
    """

    asks: str
    about: str

    @property
    def line(self) -> str:
        """The question, and what the answer under it is worth."""
        return f"{self.asks} What follows is for a {self.about} never seen."


@dataclass(frozen=True)
class Asked:
    """The job asked about in known spellings; `installer` and `year` None where not given.

    `questions` : to be said before the answer; `notes` : after it.
    """

    service: str
    vehicle: Vehicle
    year: int | None
    installer: str | None
    notes: tuple[str, ...]
    questions: tuple[Question, ...] = ()

    def row(self) -> pd.DataFrame:
        """The job as one row: `service, vehicle_class, make, model`."""
        vehicle = self.vehicle
        return pd.DataFrame(
            {
                "service": [self.service],
                "vehicle_class": pd.Series([vehicle.vehicle_class], dtype="str"),
                "make": [vehicle.make],
                "model": [vehicle.model],
            }
        )


def known_names(costing: Costing, records: Records, data: HoursData) -> KnownNames:
    """The names that a question is held against."""
    tables = [records[name][["make", "model"]] for name in ("jobs", "vehicles")]
    counts = pd.concat(tables, ignore_index=True).dropna().value_counts()
    bought = costing.purchase_lines
    films = [bought.loc[bought["kind"] == "film", "item"], records["jobs"]["film"]]
    return KnownNames(
        vehicles=counts.index.to_frame(index=False),
        services=_commonest([data.lines["service"]]),
        classes=_commonest([costing.lines["vehicle_class"], records["vehicles"]["vehicle_class"]]),
        films=_commonest([*films, records["cuts"]["film"]]),
        people=tuple(str(each) for each in data.people),
        paid=_commonest([records["rates"]["installer"]]),
    )


def _commonest(columns: list[pd.Series]) -> tuple[str, ...]:
    return tuple(str(each) for each in pd.concat(columns).dropna().value_counts().index)


def as_known(name: str, known: Iterable[str]) -> str | None:
    """The known name that is the same but for case, spaces and hyphens; None where there is none.

    The name itself, where it is known as it stands.
    """
    names = list(known)
    if name in names:
        return name
    plain = normal(name)
    return next((each for each in names if normal(each) == plain), None)


def meant(name: str, known: Iterable[str]) -> str:
    """`; did you mean Merrow?`, or nothing where no known name is near."""
    near = nearest(name, list(known))
    return "" if near is None else f"; did you mean {near}?"


def ask(
    names: KnownNames,
    records: Records,
    lines: pd.DataFrame,
    service: str,
    vehicle: Vehicle,
    year: int | None,
    installer: str | None,
) -> Asked:
    """Match a question to the records.

    `lines` : every job line, with make, model, vehicle_class and finished_on.

    Raises
    ------
    WorkbookError
        Without a make or a model, or for a service without a job to learn from.
    """
    if not (vehicle.make.strip() and vehicle.model.strip()):
        raise WorkbookError("A quote needs the make and the model of the vehicle.")
    notes: list[str] = []
    questions: list[Question] = []
    known_service = _service(service, names)
    make, model = _make_and_model(vehicle, names, notes, questions)
    who = _person(installer, names, notes)
    named = Vehicle(make, model, vehicle.vehicle_class)
    found = _class(named, year, names, records, lines, notes, questions)
    return Asked(
        known_service, Vehicle(make, model, found), year, who, tuple(notes), tuple(questions)
    )


def _service(asked: str, names: KnownNames) -> str:
    known = as_known(asked, names.services)
    if known is None:
        near = nearest(asked, names.services)
        hint = f" Did you mean {near}?" if near else ""
        raise WorkbookError(
            f"No finished job of the service '{asked.strip()}' with quoted and actual hours is in "
            f"the records.{hint} These were done: {', '.join(names.services)}."
        )
    return known


def _make_and_model(
    vehicle: Vehicle, names: KnownNames, notes: list[str], questions: list[Question]
) -> tuple[str, str]:
    """Known spellings; a name that is nearly a known one is named, never replaced."""
    known = names.vehicles
    makes, models = known["make"].drop_duplicates(), known["model"]
    make = as_known(vehicle.make, makes)
    own = models[known["make"] == make] if make else models.iloc[:0]
    model = as_known(vehicle.model, own)
    if make and model:
        return make, model
    spelt = make or vehicle.make.strip(), vehicle.model.strip()
    near = nearest(vehicle.model, own.tolist())
    if near is None:
        near = nearest(" ".join(spelt), (known["make"] + " " + models).tolist())
    if near is None:
        # The right model under the wrong make.
        same = known[models.map(normal) == normal(vehicle.model)]
        near = f"{same['make'].iloc[0]} {same['model'].iloc[0]}" if len(same) else None
    if near is None:
        notes.append(f"No job on {spelt[0]} {spelt[1]} yet.")
    else:
        asks = f"{spelt[0]} {spelt[1]} was never done here; did you mean {near}?"
        questions.append(Question(asks, "model"))
    return spelt


def _class(
    vehicle: Vehicle,
    year: int | None,
    names: KnownNames,
    records: Records,
    lines: pd.DataFrame,
    notes: list[str],
    questions: list[Question],
) -> str | None:
    """The class given, else of `vehicles`, else of the model's newest job; None: not known."""
    if vehicle.vehicle_class is not None and vehicle.vehicle_class.strip():
        return _class_given(vehicle.vehicle_class.strip(), names, notes, questions)
    listed = _listed_class(vehicle, year, records)
    if listed is not None:
        return listed
    own = lines[(lines["make"] == vehicle.make) & (lines["model"] == vehicle.model)]
    own = own[own["vehicle_class"].notna()].sort_values("finished_on", kind="stable")
    if len(own):
        newest = str(own["vehicle_class"].iloc[-1])
        notes.append(f"Class {newest}: that of the newest job on this model.")
        return newest
    notes.append(
        f"The class of this vehicle is not known: give it with {class_option(names.classes)}, or "
        "the model year with --year."
    )
    return None


def _class_given(given: str, names: KnownNames, notes: list[str], questions: list[Question]) -> str:
    """A class in its known spelling; one that is nearly, or in short, a known one is asked about.

    It is never replaced.
    """
    known = as_known(given, names.classes) or as_known(given, VEHICLE_CLASSES)
    if known is None:
        hint = did_you_mean(classes_meant(given, names.classes))
        if hint:
            asks = f"The class {given} was never done here{hint}"
            questions.append(Question(asks, "class"))
            return given
    if known not in names.classes:
        notes.append(f"No vehicle of the class {known or given} yet.")
    return known or given


def _listed_class(vehicle: Vehicle, year: int | None, records: Records) -> str | None:
    """Class from `vehicles`, by model and model year; None where it is not there or in doubt."""
    asked = pd.DataFrame(
        {
            "make": [vehicle.make],
            "model": [vehicle.model],
            "model_year": pd.array([year], dtype="Int64"),
            "vehicle_class": pd.Series([None], dtype="str"),
        }
    )
    found = vehicle_classes(asked, records["vehicles"]).iloc[0]
    return None if pd.isna(found) else str(found)


def _person(installer: str | None, names: KnownNames, notes: list[str]) -> str | None:
    if installer is None or not installer.strip():
        return None
    known = as_known(installer, names.people)
    if known is not None:
        return known
    spelt = as_known(installer, names.paid) or installer.strip()
    hint = meant(installer, names.people)
    notes.append(
        f"{spelt} has no hours on a finished job yet and counts as a person not seen before"
        f"{hint or '.'}"
    )
    return spelt
