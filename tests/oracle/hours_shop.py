"""Records of a shop whose hours have a known making: services, classes, models, people, chance.

`write_hours_shop(folder, seed)` writes `shop.toml`, `jobs.csv` and `hours.csv`.
The same seed always writes the same files. Names are invented.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from random import Random

SETTINGS = 'length_unit = "m"\narea_unit = "m2"\n[labour]\ndefault_wage = 20\n'
SERVICES = {"roof": 3.0, "hood": 4.5, "trim": 2.0, "front": 8.0}
CLASSES = ("compact car", "minivan", "large car", "cargo van", "standard pickup")
PEOPLE = ("Ada", "Bo", "Cleo", "Dov")
TASKS = {"disassembly": 0.2, "laying": 0.6, "trimming": 0.2}


@dataclass(frozen=True)
class Making:
    """Standard deviations in logs of actual ÷ quoted hours; `over` : what every job takes more."""

    lines: int = 180
    models: int = 20
    days: int = 170
    class_sd: float = 0.06
    model_sd: float = 0.15
    people_sd: float = 0.08
    noise_sd: float = 0.2
    over: float = 0.03


def write_hours_shop(folder: Path, seed: int, making: Making | None = None) -> None:
    """Write the shop; its first day is 2026-01-05."""
    making = making or Making()
    rng = Random(seed)  # noqa: S311
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(SETTINGS, encoding="utf-8")
    of_class = {name: rng.gauss(0, making.class_sd) for name in CLASSES}
    of_person = {name: rng.gauss(0, making.people_sd) for name in PEOPLE}
    models = [f"Model {number:02d}" for number in range(making.models)]
    of_model = {name: rng.gauss(0, making.model_sd) for name in models}
    class_of = {name: rng.choice(CLASSES) for name in models}
    popular = [rng.gammavariate(0.8, 1.0) + 0.2 for _ in models]
    jobs, hours = [], []
    for number in range(making.lines):
        job_id = f"J{number:04d}"
        model = rng.choices(models, popular)[0] if number >= len(models) else models[number]
        service = rng.choice(list(SERVICES))
        vehicle_class = class_of[model]
        quoted = round(4 * SERVICES[service] * (1 + 0.1 * CLASSES.index(vehicle_class))) / 4
        finished = date(2026, 1, 5) + timedelta(days=number * making.days // making.lines)
        jobs.append(
            {
                "job_id": job_id,
                "quoted_on": finished - timedelta(days=6),
                "started_on": finished,
                "finished_on": finished,
                "service": service,
                "make": "Quillon",
                "model": model,
                "vehicle_class": vehicle_class,
                "quoted_hours": quoted,
                "quoted_price": 100 * quoted,
            }
        )
        crew = rng.sample(PEOPLE, 2 if rng.random() < 0.3 else 1)
        share = rng.uniform(0.3, 0.7) if len(crew) == 2 else 1.0
        parts = dict(zip(crew, (share, 1 - share), strict=False))
        level = making.over + of_class[vehicle_class] + of_model[model]
        level += sum(of_person[name] * part for name, part in parts.items())
        actual = quoted * 2.718281828459045 ** (level + rng.gauss(0, making.noise_sd))
        hours += [
            {
                "job_id": job_id,
                "worked_on": finished,
                "installer": name,
                "task": task,
                "hours": f"{actual * part * of_task:.4f}",
            }
            for name, part in parts.items()
            for task, of_task in TASKS.items()
        ]
    heading = "invoice,received_on,supplier,item,kind,quantity,unit_price\n"
    (folder / "purchases.csv").write_text(heading, encoding="utf-8")
    write_rows(folder / "jobs.csv", jobs)
    write_rows(folder / "hours.csv", hours)


def write_rows(path: Path, rows: list[dict[str, object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
