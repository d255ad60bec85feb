"""Job lines, whose redo they are, the hours that were worked on them, and their payment fees."""

from __future__ import annotations

from collections import defaultdict
from datetime import date
from fractions import Fraction

from .reading import Row, Settings, Shop, ratio, round_half_up, share_out_cents, total

NOTHING = Fraction(0)


class JobLine:
    """One service on one vehicle, with what was found out about it."""

    def __init__(self, row: Row, position: int, vehicle_class: str | None) -> None:
        self.row, self.position, self.vehicle_class = row, position, vehicle_class
        self.job_id: str = row["job_id"]
        self.line = int(row["line"] or 1)
        self.status = row["status"] or ("finished" if row["finished_on"] else "open")
        self.finished_on: date | None = row["finished_on"] if self.status == "finished" else None
        self.service: str = row["service"]
        self.film: str | None = row["film"]
        invoiced = row["invoiced_price"]
        self.invoiced: Fraction = row["quoted_price"] if invoiced is None else invoiced
        self.fee = NOTHING
        self.origin: JobLine = self  # the line whose work this does over; itself when none
        self.is_redo = row["redo_of"] is not None
        self.work: list[Work] = []
        self.work_is_from_sheet = False

    def hours(self) -> Fraction | None:
        """First-time work and rework together; unknown where nothing was written down."""
        return total([work.hours for work in self.work]) if self.work else None

    def rework_hours(self) -> Fraction | None:
        return total([w.hours for w in self.work if w.task == "rework"]) if self.work else None

    def labour(self) -> Fraction | None:
        return total([work.cost for work in self.work]) if self.work else None


class Job:
    """All lines of one job id, in file order."""

    def __init__(self, job_id: str) -> None:
        self.job_id = job_id
        self.lines: list[JobLine] = []

    def line_of_cut(self, row: Row) -> JobLine:
        """The line named; else the first whose film is the cut's; else the first line."""
        named = [
            line for line in self.lines if row["line"] is not None and line.line == row["line"]
        ]
        same_film = [line for line in self.lines if line.film == row["film"]]
        return (named or same_film or self.lines)[0]

    def line_of_service(self, service: str) -> JobLine:
        return ([line for line in self.lines if line.service == service] or self.lines)[0]


class Work:
    """Hours of one person on one line (or on a job that is not there) on one day."""

    def __init__(
        self,
        on: date,
        line: JobLine | None,
        installer: str | None,
        task: str | None,
        hours: Fraction,
        cost: Fraction | None,
    ) -> None:
        self.on, self.line, self.installer, self.task = on, line, installer, task
        self.hours, self.cost = hours, cost


def read_jobs(shop: Shop) -> dict[str, Job]:
    """Jobs by id, with their classes, fees and the lines whose work they do over."""
    jobs: dict[str, Job] = {}
    for position, row in enumerate(shop["jobs"]):
        line = JobLine(row, position, vehicle_class_of(row, shop["vehicles"]))
        jobs.setdefault(line.job_id, Job(line.job_id)).lines.append(line)
    for job in jobs.values():
        charge_fee(job, shop.settings)
        for line in job.lines:
            line.origin = origin_of(line, jobs)
    return jobs


def vehicle_class_of(row: Row, vehicles: list[Row]) -> str | None:
    """The job's own class; else the last row of its make and model whose years hold its year."""
    found: str | None = row["vehicle_class"]
    if found:
        return found
    year = row["model_year"]
    for vehicle in vehicles:
        if (vehicle["make"], vehicle["model"]) != (row["make"], row["model"]):
            continue
        first, last = vehicle["year_from"], vehicle["year_to"]
        after_first = first is None or (year is not None and year >= first)
        before_last = last is None or (year is not None and year <= last)
        if after_first and before_last:
            found = vehicle["vehicle_class"]
    return found


def origin_of(line: JobLine, jobs: dict[str, Job]) -> JobLine:
    """Through redos of redos to the first job: its line of the same service, else its first.

    A redo of a job that is not there stays where it is.
    """
    first, seen = line, {line.job_id}
    redo_of = line.row["redo_of"]
    while redo_of in jobs and redo_of not in seen:
        seen.add(redo_of)
        first = jobs[redo_of].line_of_service(line.service)
        redo_of = next((ln.row["redo_of"] for ln in jobs[redo_of].lines if ln.row["redo_of"]), None)
    return first


def charge_fee(job: Job, settings: Settings) -> None:
    """The fee on what was invoiced."""
    prices = {line.position: line.invoiced for line in job.lines}
    for line in job.lines:
        line.fee = shared_fee(job.lines, prices, settings)[line.position]


def shared_fee(
    lines: list[JobLine], prices: dict[int, Fraction], settings: Settings
) -> dict[int, Fraction]:
    """One card payment a job: percent of what is paid, and the fixed part once; by position.

    The fee is rounded to the cent and shared over the lines by price in whole cents. No fee on a
    price of 0, nor without a card.
    """
    fees = {line.position: NOTHING for line in lines}
    paid = [line for line in lines if line.finished_on and line.row["payment"] == "card"]
    paid = [line for line in paid if prices[line.position] != 0]
    if paid:
        amounts = [prices[line.position] for line in paid]
        fee = Fraction(round_half_up(card_fee(total(amounts), settings) * 100), 100)
        for line, share in zip(paid, share_out_cents(fee, amounts), strict=True):
            fees[line.position] = share
    return fees


def card_fee(amount: Fraction, settings: Settings) -> Fraction:
    return amount * settings.card_percent / 100 + settings.card_fixed


# ---- hours -----------------------------------------------------------------------------------


class Wages:
    """Wages by person and date, and what an hour costs."""

    def __init__(self, shop: Shop) -> None:
        self.settings = shop.settings
        self.rates: dict[str, list[tuple[date, Fraction]]] = defaultdict(list)
        for row in shop["rates"]:
            self.rates[row["installer"]].append((row["effective_from"], row["wage"]))
        for rates in self.rates.values():
            rates.sort(key=lambda rate: rate[0])

    def wage(self, installer: str | None, on: date) -> Fraction | None:
        """The wage in force; before the first, the first; without rates, the default wage."""
        if installer not in self.rates:
            return self.settings.default_wage
        rates = self.rates[installer]
        return [wage for since, wage in rates if since <= on or since == rates[0][0]][-1]

    def cost(
        self, installer: str | None, on: date, hours: Fraction, overtime: bool
    ) -> Fraction | None:
        """Hours x loaded rate: overtime multiplies the wage, the on-cost only where so set."""
        wage = self.wage(installer, on)
        return None if wage is None else hours * self.loaded(wage, overtime)

    def loaded(self, wage: Fraction, overtime: bool = False) -> Fraction:
        settings = self.settings
        multiplier = settings.overtime_multiplier if overtime else Fraction(1)
        on_cost = wage * settings.on_cost * (multiplier if settings.on_cost_on_overtime else 1)
        return wage * multiplier + on_cost

    def default_loaded(self) -> Fraction | None:
        wage = self.settings.default_wage
        return None if wage is None else self.loaded(wage)


def record_work(shop: Shop, jobs: dict[str, Job]) -> list[Work]:
    """All work: time entries shared over lines, then job sheets of lines without any entry."""
    wages, done = Wages(shop), []
    for row in shop["hours"]:
        hours = hours_of(row)
        cost = wages.cost(row["installer"], row["worked_on"], hours, row["overtime"] == "yes")
        for line, share in lines_of_entry(row, jobs):
            work = Work(
                row["worked_on"],
                line,
                row["installer"],
                row["task"],
                hours * share,
                None if cost is None else cost * share,
            )
            done.append(work)
            if line:
                line.work.append(work)
    for job in jobs.values():
        for line in job.lines:
            if not line.work and line.finished_on and line.row["hours"] is not None:
                line.work = work_of_sheet(line, line.finished_on, wages)
                line.work_is_from_sheet = True
                done += line.work
    return done


def hours_of(row: Row) -> Fraction:
    if row["hours"] is not None:
        return Fraction(row["hours"])
    minutes = [int(t[:2]) * 60 + int(t[3:5]) for t in (row["started_at"], row["stopped_at"])]
    return Fraction(minutes[1] - minutes[0], 60)


def lines_of_entry(row: Row, jobs: dict[str, Job]) -> list[tuple[JobLine | None, Fraction]]:
    """The line named; else all lines of the job by quoted hours, equally where those are 0."""
    if row["job_id"] not in jobs:
        return [(None, Fraction(1))]
    lines = jobs[row["job_id"]].lines
    for line in lines:
        if row["line"] is not None and line.line == row["line"]:
            return [(line, Fraction(1))]
    quoted = sum((line.row["quoted_hours"] for line in lines), NOTHING)
    if quoted == 0:
        return [(line, Fraction(1, len(lines))) for line in lines]
    return [(line, line.row["quoted_hours"] / quoted) for line in lines]


def crew_of(line: JobLine) -> list[str]:
    return [name.strip() for name in (line.row["crew"] or "").split(";") if name.strip()]


def work_of_sheet(line: JobLine, on: date, wages: Wages) -> list[Work]:
    """The hours of a job sheet, shared equally over its crew, on the day it was finished."""
    names: list[str | None] = [*crew_of(line)] or [None]
    hours = Fraction(line.row["hours"]) / len(names)
    return [Work(on, line, name, None, hours, wages.cost(name, on, hours, False)) for name in names]


Log = dict[tuple[date, str], Fraction]


def logs_by_job(shop: Shop) -> dict[str, Log]:
    """For each job, the hours that each person logged on each day, all lines together."""
    logs: dict[str, Log] = defaultdict(lambda: defaultdict(Fraction))
    for row in shop["hours"]:
        logs[row["job_id"]][row["worked_on"], row["installer"]] += hours_of(row)
    return logs


def bay_hours(job: Job, log: Log) -> dict[int, Fraction | None]:
    """Bay hours by line: found for the job, shared by actual hours, equally where those are 0.

    For each day the longest time that any one person logged, summed over days; a line without a
    log: its hours over the names in its crew (one where there is none).
    """
    longest: dict[date, Fraction] = {}
    for (on, _), hours in log.items():
        longest[on] = max(longest.get(on, NOTHING), hours)
    held = sum(longest.values(), NOTHING)
    for line in job.lines:
        if line.work_is_from_sheet:
            held += Fraction(line.row["hours"]) / max(len(crew_of(line)), 1)
    worked = total([line.hours() or NOTHING for line in job.lines])
    shares: dict[int, Fraction | None] = {}
    for line in job.lines:
        share = Fraction(1, len(job.lines)) if worked == 0 else ratio(line.hours(), worked)
        shares[line.position] = None if line.hours() is None or share is None else held * share
    return shares
