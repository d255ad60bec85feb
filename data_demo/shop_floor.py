"""The work of the invented shop, day by day: who works on what, how long, and with which film."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

import numpy as np

from data_demo import scenario as sc
from data_demo.demand import Demand, Job, Line, best_width, nominal_pulls, panel_size
from data_demo.film_room import FilmRoom, Pull, Sku, half, lay

Row = dict[str, Any]
PEOPLE = {person.name: person for person in sc.INSTALLERS}
CREW_OF_TWO = 11.0  # listed hours from which a second installer joins
CREW_OF_THREE = 30.0
BUSY = 40.0  # listed hours that wait and could start: the day is worked longer


@dataclass
class Worked:
    """Time of one installer on one line and task, one day."""

    line: Line
    task: str
    hours: float


@dataclass
class ShopFloor:
    """The installers, the jobs that wait for them, and the time they write down."""

    rng: np.random.Generator
    film: FilmRoom
    demand: Demand
    days_off: dict[str, set[date]]
    waiting: list[Job] = field(default_factory=list)
    running: list[Job] = field(default_factory=list)
    redos: list[tuple[date, Line]] = field(default_factory=list)
    hours: list[Row] = field(default_factory=list)
    learned: int = 0

    # ------------------------------------------------------------ a day

    def here(self, person: sc.Installer, day: date) -> bool:
        """Whether the installer is at work that day."""
        return (
            day.weekday() in person.weekdays
            and (day.month, day.day) not in sc.HOLIDAYS
            and day not in self.days_off[person.name]
        )

    def work(self, day: date) -> None:
        """A day of work: redos that are due come in, and everyone works his hours."""
        for due in [each for each in self.redos if each[0] <= day]:
            self.redos.remove(due)
            self._redo(day, due[1])
        self.waiting.sort(key=lambda job: (job.ready_on, job.job_id))
        backlog = sum(
            line.list_hours
            for job in self.waiting
            if job.ready_on <= day
            for line in job.lines
            if line.status == "open"
        )
        order = [person for person in sc.INSTALLERS if self.here(person, day)]
        for each in self.rng.permutation(len(order)):
            self._day_of(order[int(each)], day, backlog)
        for job in self.running:
            job.crew.clear()

    def _day_of(self, person: sc.Installer, day: date, backlog: float) -> None:
        left = float(self.rng.choice([7.0, 7.25, 7.5, 7.5, 7.75]))
        if backlog > BUSY:
            left = float(self.rng.choice([7.75, 8.0, 8.0, 9.0]))
        done: list[Worked] = []
        while left >= 0.25:
            job = self._take(person, day, left)
            line = job.current() if job else None
            if job is None or line is None:
                break
            if person.name not in job.crew:
                job.crew.append(person.name)
            left -= self._work_on(line, person, left, done)
            if not line.tasks:
                self._finish(line, day)
            if job.current() is None:
                self.running.remove(job)
        self._write_down(person, day, done)

    def _take(self, person: sc.Installer, day: date, left: float) -> Job | None:
        """His job of yesterday; one that wants a second pair of hands; or the next that waits."""
        own = [job for job in self.running if any(person.name in each.crew for each in job.lines)]
        others = [job for job in self.running if job not in own]
        for job in own + [job for job in others if self._wants_hands(job, day)]:
            if self._ready(job, person, day):
                return job
        self.waiting = [job for job in self.waiting if job.current()]  # less the cancelled
        for job in self.waiting:
            if self._comes_now(job, day, left) and self._ready(job, person, day):
                self.waiting.remove(job)
                self.running.append(job)
                return job
        return None

    def _wants_hands(self, job: Job, day: date) -> bool:
        """Whether a running job lies because its people are away, or has room for one more."""
        names = {name for line in job.lines for name in line.crew}
        if not any(self.here(PEOPLE[name], day) for name in names):
            return True
        line = job.current()
        hours = line.list_hours if line else 0.0
        crew = 1 + (hours >= CREW_OF_TWO) + (hours >= CREW_OF_THREE)
        return line is not None and len(line.crew) < crew and bool(self.rng.random() < 0.75)

    def _comes_now(self, job: Job, day: date, left: float) -> bool:
        """Whether a waiting vehicle is here, or can be called in early, and is worth beginning."""
        if job.ready_on > day + timedelta(days=sc.CALLED_IN_EARLY):
            return False
        if job.ready_on > day and self.rng.random() < 0.5:
            return False  # asked to come sooner, and could not
        return left >= 1 or sum(line.list_hours for line in job.lines) <= 2

    def _work_on(self, line: Line, person: sc.Installer, left: float, done: list[Worked]) -> float:
        """Work the line's tasks in turn; return the hours taken, to a quarter."""
        if not line.tasks:
            raise RuntimeError("work on a line without tasks")
        if person.name not in line.crew:
            line.crew.append(person.name)
        whole = sum(work for _, work in line.tasks) * person.speed
        taken = min(left, max(0.25, round(whole * 4) / 4))
        ends = taken >= whole - 0.125
        share = 1.0 if ends else taken / whole
        budget, exact, written = sum(work for _, work in line.tasks) * share, 0.0, 0.0
        scale = taken / (budget * person.speed)
        for task in line.tasks:
            part = min(task[1], budget)
            budget -= part
            task[1] -= part
            exact += part * person.speed * scale
            quarters = min(round(exact * 4) / 4, taken)
            if quarters > written:
                done.append(Worked(line, task[0], quarters - written))
                written = quarters
        line.tasks = [] if ends else [task for task in line.tasks if task[1] > 1e-9]
        return float(taken)

    def _write_down(self, person: sc.Installer, day: date, done: list[Worked]) -> None:
        """The day's entries: one a line and task; what passes eight hours is overtime."""
        total, clock = 0.0, 8.0
        for entry in done:
            for overtime in (False, True):
                before = min(max(8.0 - total, 0.0), entry.hours)
                part = entry.hours - before if overtime else before
                if part > 0:
                    self.hours.append(
                        {
                            "job_id": entry.line.job_id,
                            "line": entry.line,
                            "worked_on": day,
                            "installer": person.name,
                            "task": entry.task,
                            "hours": part,
                            "begin": clock,
                            "overtime": "yes" if overtime else "no",
                        }
                    )
                    clock += part
            total += entry.hours

    # ------------------------------------------------------------ a line

    def _ready(self, job: Job, person: sc.Installer, day: date) -> bool:
        """Whether the job's next line can be worked: begun, or its film is there and is cut."""
        line = job.current()
        return line is not None and (line.started_on is not None or self._start(line, person, day))

    def _start(self, line: Line, person: sc.Installer, day: date) -> bool:
        """Cut the line's film and set out its tasks; False if film for it is lacking."""
        pulls, again = self._pulls(line, person)
        if not self.film.make(day, pulls):
            return False
        line.started_on = day
        line.tasks = self._tasks(line, again)
        return True

    def _tasks(self, line: Line, again: int) -> list[list[Any]]:
        """Tasks of the line with the hours that the average installer would need."""
        service = sc.SERVICE[line.service]
        spread = min(max(float(self.rng.normal()), -2.5), 2.5) * sc.HOURS_NOISE
        noise = math.exp(spread - sc.HOURS_NOISE**2 / 2)
        work = line.list_hours * service.hours_bias * noise
        if line.redo_of:
            work *= 0.55 if line.list_hours < 6 else 0.25
        key = (line.model.make, line.model.model)
        if (*key, line.service) == sc.LEARNING_PAIR and not line.redo_of:
            self.learned += 1
            work *= sc.LEARNING_FIRST * self.learned**-sc.LEARNING_POWER
        tasks = {
            task: share * work for task, share in zip(sc.TASKS, service.tasks, strict=True) if share
        }
        for overrun in sc.OVERRUNS:
            if key == (overrun.make, overrun.model) and line.service in overrun.services:
                for task in overrun.tasks:
                    tasks[task] = tasks.get(task, 0.0) + overrun.share * work / len(overrun.tasks)
        if again:
            tasks["rework"] = again * float(self.rng.uniform(0.3, 0.7))
        return [[task, work] for task, work in tasks.items()]

    def _pulls(self, line: Line, person: sc.Installer) -> tuple[list[Pull], int]:
        """All pulls of a line: the first cuts, and those that go wrong."""
        pulls: list[Pull] = []
        again, offcut_free = 0, True
        for panel in line.panels:
            spread = float(self.rng.normal(0, sc.MARGIN_SPREAD))
            margin = half(min(max(person.margin + spread, 1.0), 5.5))
            pull = self._pull(line, panel, margin)
            luck = self.rng.random(3)
            row = pull.row
            if offcut_free and luck[0] < 0.65:
                fit = self.film.offcut_for(
                    line.film, row["piece_length"], row["piece_width"], row["pieces"]
                )
                small = panel in (
                    "mirror caps",
                    "door handles",
                    "grille surround",
                    "headlamps",
                    "window trim",
                )
                if fit and small:
                    pull.from_offcut, offcut_free = True, False
            pulls.append(pull)
            logit = sc.RECUT_LOGIT_AT_3 + sc.RECUT_LOGIT_PER_INCH * (margin - 3)
            logit += math.log(person.recut_factor)
            recut = luck[1] < 1 / (1 + math.exp(-logit))
            if recut or luck[2] < sc.DAMAGE_SHARE:
                again += 1
                pulls.append(self._again(pull, "recut" if recut else "damage"))
        return pulls, again

    def _again(self, pull: Pull, reason: str) -> Pull:
        """The pull that replaces a spoilt one: one piece of it, at the same margin."""
        row = {**pull.row, "reason": reason, "pieces": 1, "opening_area": ""}
        length = min(row["piece_length"], pull.length)
        if pull.row["panel"] == "roof":
            length = pull.length
        return Pull(pull.film, pull.width, length, row)

    def _pull(self, line: Line, panel: str, margin: float) -> Pull:
        size = panel_size(line.vehicle_class, panel)
        turn = panel != "roof"
        width = best_width(line.film, size, margin, turn=turn)
        way = lay(size, margin, width, turn=turn)
        length, across, pieces = size
        if way.turned:
            length, across = across, length
        row: Row = {
            "job_id": line.job_id,
            "line": line.line,
            "key": line,
            "panel": panel,
            "pieces": pieces,
            "piece_length": way.along,
            "piece_width": way.across,
            "finished_length": length,
            "finished_width": across,
            "opening_area": "",
            "reason": "first",
        }
        if panel == "roof" and line.model.sunroof and length > sc.OPENING[0] + 12:
            row["sunroof"] = True
            row["margin_along"] = way.along - length
        keep = 0.0
        tracked = sc.FILM[line.film].tracked
        if tracked and way.strip >= sc.OFFCUT_LEAST_WIDTH and way.pulled >= 24:
            keep = way.strip if self.rng.random() < sc.KEPT_SHARE else 0.0
        return Pull(line.film, width, way.pulled, row, keep)

    def _finish(self, line: Line, day: date) -> None:
        line.status, line.finished_on = "finished", day
        if line.redo_of or line.service == "removal":
            return
        factor = float(np.mean([PEOPLE[name].redo_factor for name in line.crew]))
        if self.rng.random() < sc.REDO_SHARE * factor:
            self.redos.append((day + timedelta(days=int(self.rng.integers(12, 130))), line))

    def _redo(self, day: date, first: Line) -> None:
        """Do a line over: its first panel or two again, for nothing or for little."""
        free = self.rng.random() < sc.REDO_FREE_SHARE
        price = 0.0 if free else 5.0 * round(first.price * 0.15 / 5)
        panels = first.panels[:1] if len(first.panels) < 5 else first.panels[:2]
        line = self.demand.line(
            day, first.model, first.year, first.service, first.film, 0.0, price, panels
        )
        job = self.demand.add(day, [line], "" if free else "card", first.job_id)
        self.waiting.append(job)

    # ------------------------------------------------------------ film that will be needed

    def need(self, day: date) -> dict[Sku, float]:
        """Length of each film and width that the waiting jobs of the next two weeks will take."""
        need: dict[Sku, float] = {}
        for job in self.waiting:
            if job.ready_on > day + timedelta(days=9):
                continue
            for line in job.lines:
                self._add_need(need, line)
        for job in self.running:
            for line in job.lines:
                if line.status == "open" and line.started_on is None:
                    self._add_need(need, line)
        return need

    def _add_need(self, need: dict[Sku, float], line: Line) -> None:
        if line.film and line.status == "open":
            for width, length in nominal_pulls(line):
                need[line.film, width] = need.get((line.film, width), 0.0) + length
