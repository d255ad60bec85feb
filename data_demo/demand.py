"""Who asks the invented shop for what, at which price, and what comes of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from data_demo import scenario as sc
from data_demo.film_room import lay

Row = dict[str, Any]
FREE_CHOICE = tuple(service.name for service in sc.SERVICES)
SECOND_LINES = ("mirror caps and small parts", "trim blackout", "tint")
LOST = ("too dear", "went elsewhere", "no answer", "sold the vehicle", "will do it himself", "")
LOST_SHARES = (0.38, 0.19, 0.20, 0.06, 0.07, 0.10)


@dataclass
class Line:
    """One line of a job: one service on one vehicle."""

    job_id: str
    line: int
    service: str
    film: str
    model: sc.Model
    year: int
    vehicle_class: str
    quoted_on: date
    quoted_hours: float
    list_hours: float
    quoted_area: float
    price: float
    panels: tuple[str, ...]
    status: str = "open"
    started_on: date | None = None
    finished_on: date | None = None
    tasks: list[list[Any]] = field(default_factory=list)  # [task, hours of average work left]
    crew: list[str] = field(default_factory=list)
    redo_of: str = ""
    invoiced: float | None = None
    quote: Row = field(default_factory=dict)


@dataclass
class Job:
    """A vehicle in the shop: its lines, and from when on they can be worked."""

    job_id: str
    ready_on: date
    lines: list[Line]
    payment: str
    crew: list[str] = field(default_factory=list)  # who is on it today

    def current(self) -> Line | None:
        """The line that is worked on next."""
        return next((line for line in self.lines if line.status == "open"), None)


def class_of(model: sc.Model, year: int) -> str:
    """Size class of a model of that year."""
    for make, name, until, before in sc.CHANGED_CLASS:
        if (make, name) == (model.make, model.model) and year <= until:
            return before
    return model.vehicle_class


def panel_size(vehicle_class: str, panel: str) -> tuple[float, float, int]:
    """Finished length, width and number of a panel on a class, in inches."""
    cls = sc.CLASS[vehicle_class]
    if panel in ("roof", "hood"):
        length, width = cls.roof if panel == "roof" else cls.hood
        return length, width, 1
    if vehicle_class == sc.WASTEFUL_CLASS and panel in sc.WASTEFUL_PANELS:
        return sc.WASTEFUL_PANELS[panel]
    length, width, pieces = sc.PANEL_SIZE[panel]
    return float(math.floor(length * cls.scale + 0.5)), float(width), pieces


def panels_of(service: str, vehicle_class: str) -> tuple[str, ...]:
    """The panels that a service covers on a class."""
    return tuple(
        p
        for p in sc.PANELS[service]
        if not (vehicle_class == "two-seater" and p in ("rear doors", "rear glass"))
    )


def best_width(film: str, size: tuple[float, float, int], margin: float, *, turn: bool) -> float:
    """The roll width of this film on which the panels take the least film."""
    widths = []
    for width in sc.FILM[film].widths:
        length, across, _ = size
        if min(length, across) + 1 <= width:
            try:
                widths.append((lay(size, margin, width, turn=turn).pulled * width, width))
            except ValueError:  # too wide for this roll; a wider one is tried
                continue
    return min(widths)[1]


def nominal_pulls(line: Line, margin: float = 3.2) -> list[tuple[float, float]]:
    """Roll width and length of each pull that the line will need, before it is cut."""
    pulls = []
    for panel in line.panels:
        size = panel_size(line.vehicle_class, panel)
        width = best_width(line.film, size, margin, turn=panel != "roof")
        pulls.append((width, lay(size, margin, width, turn=panel != "roof").pulled))
    return pulls


# ---------------------------------------------------------------- prices


def list_hours(service: sc.Service, vehicle_class: str) -> float:
    """Hours that the list counts on, to a quarter."""
    size = sc.CLASS[vehicle_class].size if service.by_class else 1.0
    return round(service.list_hours * size * 4) / 4


def going_price(service: sc.Service, vehicle_class: str, day: date) -> float:
    """What the town pays that day: the shop's list without its decisions."""
    size = sc.CLASS[vehicle_class].size if service.by_class else 1.0
    price = service.list_price * size * (1 + service.yearly_rise) ** (day.year - sc.FIRST_DAY.year)
    return 5.0 * round(price / 5)


def list_price(service: sc.Service, vehicle_class: str, day: date) -> float:
    """The list price that day, the shop's decisions included."""
    price = going_price(service, vehicle_class, day)
    for decision in sc.DECISIONS:
        mine = decision.service == service.name and decision.vehicle_class in ("", vehicle_class)
        if mine and date.fromisoformat(decision.effective_from) <= day:
            price = 5.0 * round(price * (1 + decision.change) / 5)
    return price


def pick(rng: np.random.Generator, names: tuple[str, ...], shares: tuple[float, ...]) -> str:
    """One of the names, by their shares."""
    weights = np.array(shares) / sum(shares)
    return names[int(rng.choice(len(names), p=weights))]


@dataclass
class Demand:
    """Enquiries, quotes and the jobs that come of them."""

    rng: np.random.Generator
    quotes: list[Row] = field(default_factory=list)
    jobs: list[Job] = field(default_factory=list)

    def enquiries(self, day: date) -> list[Job]:
        """Quote all who ask today; return the jobs won."""
        years = (day - sc.FIRST_DAY).days / 365.25
        rate = sc.ENQUIRIES_A_DAY * sc.SEASON[day.month - 1] * (1 + 0.02 * years)
        if (day - sc.FIRST_DAY).days < 14:
            rate *= 2  # those who waited for the shop to open
        number = int(rate + self.rng.random())
        won = [self._enquiry(day) for _ in range(number)]
        return [job for job in won if job]

    def _model(self) -> sc.Model:
        weights = np.array([model.weight for model in sc.MODELS])
        return sc.MODELS[int(self.rng.choice(len(weights), p=weights / weights.sum()))]

    def _service(self, model: sc.Model) -> str:
        """What is asked for: some models come for the work that is hard on them."""
        make, name, service = sc.LEARNING_PAIR
        if (model.make, model.model) == (make, name) and self.rng.random() < sc.LEARNING_MIX:
            return service
        names = FREE_CHOICE
        for overrun in sc.OVERRUNS:
            mine = (overrun.make, overrun.model) == (model.make, model.model)
            if mine and self.rng.random() < sc.OVERRUN_MIX:
                names = overrun.services
        return pick(self.rng, names, tuple(sc.SERVICE[each].asked for each in names))

    def _enquiry(self, day: date) -> Job | None:
        model = self._model()
        year = int(day.year - min(self.rng.gamma(1.6, 2.4), 12))
        first = self._service(model)
        services = [first]
        if first not in ("removal", *SECOND_LINES) and self.rng.random() < 0.17:
            services.append(SECOND_LINES[int(self.rng.integers(3))])
        lines = [line for each in services if (line := self._quote(day, model, year, each))]
        return self._job(day, lines) if lines else None

    def _film(self, service: sc.Service) -> str:
        if not service.films:
            return ""
        names, shares = zip(*service.films, strict=True)
        return pick(self.rng, names, shares)

    def _quote(self, day: date, model: sc.Model, year: int, name: str) -> Line | None:
        """Write a quote; return the job line where it is won."""
        rng, service = self.rng, sc.SERVICE[name]
        vehicle_class = class_of(model, year)
        hours = list_hours(service, vehicle_class)
        listed = list_price(service, vehicle_class, day)
        price = 5.0 * round(listed * math.exp(rng.normal(-0.005, sc.PRICE_SPREAD)) / 5)
        step = 0.25 if hours < 8 else 0.5
        quoted = max(step, step * round(hours * math.exp(rng.normal(0, 0.05)) / step))
        line = self.line(day, model, year, name, self._film(service), quoted, price)
        going = going_price(service, vehicle_class, day)
        logit = math.log(service.win / (1 - service.win))
        logit += service.sensitivity * math.log(price / going)
        won = bool(rng.random() < 1 / (1 + math.exp(-logit)))
        reason = pick(rng, LOST, LOST_SHARES)
        undecided = (sc.LAST_DAY - day).days < 9 and rng.random() < 0.35
        outcome = "open" if undecided else "won" if won else "lost"
        line.quote = {
            "quote_id": f"Q{len(self.quotes) + 1:04d}",
            "quoted_on": day,
            "service": name,
            "make": model.make,
            "model": model.model,
            "model_year": year,
            "vehicle_class": vehicle_class,
            "quoted_hours": quoted,
            "quoted_price": price,
            "list_price": listed,
            "outcome": outcome,
            "job_id": "",
            "lost_reason": reason if outcome == "lost" else "",
        }
        self.quotes.append(line.quote)
        return line if outcome == "won" else None

    def line(
        self,
        day: date,
        model: sc.Model,
        year: int,
        service: str,
        film: str,
        quoted: float,
        price: float,
        panels: tuple[str, ...] | None = None,
    ) -> Line:
        """A job line that has no job yet."""
        vehicle_class = class_of(model, year)
        covered = panels_of(service, vehicle_class) if panels is None else panels
        hours = list_hours(sc.SERVICE[service], vehicle_class)
        line = Line(
            "",
            1,
            service,
            film,
            model,
            year,
            vehicle_class,
            day,
            quoted,
            hours,
            0.0,
            price,
            covered,
        )
        if film:
            area = sum(width * length for width, length in nominal_pulls(line)) / 144
            line.quoted_area = round(area)
        return line

    def _job(self, day: date, lines: list[Line]) -> Job:
        names = tuple(name for name, _ in sc.PAYMENTS)
        shares = tuple(share for _, share in sc.PAYMENTS)
        early = (day - sc.FIRST_DAY).days < 14  # the shop opens with an empty book
        lag = int(self.rng.integers(0, 4)) if early else int(self.rng.integers(3, 16))
        job = self.add(day + timedelta(days=lag), lines, pick(self.rng, names, shares))
        for line in lines:
            line.quote["job_id"] = line.job_id
        if len(self.jobs) % sc.CANCELLED_EVERY == sc.CANCELLED_EVERY // 2:
            for line in lines:
                line.status = "cancelled"
        elif self.rng.random() < 0.06:
            change = math.exp(float(self.rng.normal(0.02, 0.07)))
            lines[0].invoiced = 5.0 * round(lines[0].price * change / 5)
        return job

    def add(self, ready_on: date, lines: list[Line], payment: str, redo_of: str = "") -> Job:
        """Number the lines of a new job and keep it."""
        job_id = f"J{len(self.jobs) + 1:04d}"
        for number, line in enumerate(lines, start=1):
            line.job_id, line.line, line.redo_of = job_id, number, redo_of
        job = Job(job_id, ready_on, lines, payment)
        self.jobs.append(job)
        return job
