"""Records of a made shop of any size, as checked tables: seeded and without a loop over rows.

Ten years of work. A job has one line or two; a line has six time entries, one first-time cut and
now and then a recut. Film is bought before it is cut, so that the oldest roll always pays.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.schema import Kind
from analysis.settings import Settings
from analysis.settings_sections import Fees, Labour

FIRST_DAY: Final = np.datetime64("2016-01-04")
LAST_DAY: Final = np.datetime64("2025-12-31")
DAYS: Final = int((LAST_DAY - FIRST_DAY).astype(int)) + 1
ENTRIES: Final = 6  # time entries a job line
ROLL_WIDTH_M, ROLL_LENGTH_M = 1.524, 45.72  # 60 in by 50 yd
ROLL_M2: Final = ROLL_WIDTH_M * ROLL_LENGTH_M
MONTHS: Final = np.arange("2015-01", "2026-01", dtype="datetime64[M]").astype("datetime64[D]")
SERVICES: Final = [f"service {at}" for at in range(12)]
CLASSES: Final = [f"class {at}" for at in range(10)]
FILMS: Final = [f"FILM-{at:02}" for at in range(40)]
PEOPLE: Final = [f"person {at}" for at in range(12)]
TASKS: Final = ["prep", "cutting", "laying", "trimming", "finishing", "rework"]
MODELS: Final = 500
SETTINGS: Final = Settings(labour=Labour(on_cost=0.12), fees=Fees(card_percent=2.9, card_fixed=0.3))


def scale_shop(lines: int, seed: int = 1) -> Records:
    """Checked records of a shop with that many job lines."""
    rng = np.random.default_rng(seed)
    jobs = _jobs(rng, lines)
    cuts = _cuts(rng, jobs)
    filled = {
        "jobs": jobs,
        "hours": _hours(rng, jobs),
        "cuts": cuts,
        "purchases": _purchases(rng, cuts),
        "rates": _rates(rng),
        "overheads": {
            "month": MONTHS,
            "category": _text(["rent"], np.zeros(len(MONTHS), dtype="int64")),
            "amount": lines * rng.integers(4_000, 5_000, len(MONTHS)) / 10_000,
        },
        "capacity": {"month": MONTHS, "installer_hours": np.full(len(MONTHS), lines * 6.5 / 120)},
    }
    tables = {name: _table(name, filled.get(name, {})) for name in RECORD_TABLES}
    nothing = pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Records(tables, nothing, {}, (), frozenset(filled), SETTINGS)


def _jobs(rng: np.random.Generator, lines: int) -> dict[str, Any]:
    """Columns of the job sheet: two lines follow each other where they are one job."""
    second = rng.random(lines) < 0.25
    second[0] = False
    second[1:] &= ~second[:-1]
    job = np.cumsum(~second) - 1
    day = FIRST_DAY + np.sort(rng.integers(0, DAYS, job[-1] + 1)).astype("timedelta64[D]")
    model = rng.integers(0, MODELS, job[-1] + 1)[job]
    card = rng.random(job[-1] + 1)[job] < 0.6
    price = rng.integers(20_000, 160_000, lines) / 100
    return {
        "job_id": _text([f"J{at}" for at in range(job[-1] + 1)], job),
        "line": second.astype("int64") + 1,
        "status": _text(["finished"], np.zeros(lines, dtype="int64")),
        "finished_on": day[job],
        "service": _text(SERVICES, rng.integers(0, len(SERVICES), lines)),
        "make": _text([f"make {at // 20}" for at in range(MODELS)], model),
        "model": _text([f"model {at}" for at in range(MODELS)], model),
        "vehicle_class": _text(CLASSES, model % len(CLASSES)),
        "film": _text(FILMS, rng.integers(0, len(FILMS), lines)),
        "quoted_hours": rng.integers(8, 48, lines) / 4,
        "quoted_price": price,
        "invoiced_price": price,
        "payment": _text(["cash", "card"], card.astype("int64")),
    }


def _hours(rng: np.random.Generator, jobs: dict[str, Any]) -> dict[str, Any]:
    at = np.repeat(np.arange(len(jobs["line"])), ENTRIES)
    before = rng.integers(0, 3, len(at)).astype("timedelta64[D]")
    task = rng.choice(len(TASKS), len(at), p=[0.2, 0.2, 0.3, 0.15, 0.12, 0.03])
    return {
        "job_id": jobs["job_id"][at],
        "line": jobs["line"][at],
        "worked_on": jobs["finished_on"][at] - before,
        "installer": _text(PEOPLE, rng.integers(0, len(PEOPLE), len(at))),
        "task": _text(TASKS, task),
        "hours": rng.integers(1, 8, len(at)) / 4,
        "overtime": rng.random(len(at)) < 0.05,
    }


def _cuts(rng: np.random.Generator, jobs: dict[str, Any]) -> dict[str, Any]:
    """One first-time cut a line, and a recut of one in thirty; in the order of the days."""
    lines = len(jobs["line"])
    again = np.flatnonzero(rng.random(lines) < 1 / 30)
    at = np.sort(np.concatenate([np.arange(lines), again]), kind="stable")
    is_again = np.concatenate([[False], at[1:] == at[:-1]])
    long, wide = rng.uniform(1.0, 2.5, len(at)).round(3), rng.uniform(0.8, 1.45, len(at)).round(3)
    return {
        "cut_id": _text([f"C{each}" for each in range(len(at))], np.arange(len(at))),
        "cut_on": jobs["finished_on"][at],
        "job_id": jobs["job_id"][at],
        "line": jobs["line"][at],
        "film": jobs["film"][at],
        "source": _text(["roll"], np.zeros(len(at), dtype="int64")),
        "reason": _text(["first", "recut"], is_again.astype("int64")),
        "pieces": np.ones(len(at), dtype="int64"),
        "pulled_length_m": long + 0.05,
        "pulled_width_m": np.full(len(at), ROLL_WIDTH_M),
        "piece_length_m": long,
        "piece_width_m": wide,
        "finished_length_m": long - 0.1,
        "finished_width_m": wide - 0.1,
    }


def _purchases(rng: np.random.Generator, cuts: dict[str, Any]) -> dict[str, Any]:
    """Rolls a month before they are begun, each with freight; consumables once a month."""
    area = cuts["pulled_length_m"] * cuts["pulled_width_m"]
    pulls = pd.DataFrame({"film": cuts["film"], "day": cuts["cut_on"], "area": area})
    reached = pulls.groupby("film")["area"].cumsum()
    begun = pulls.assign(roll=np.floor(reached / ROLL_M2).astype("int64"))
    begun = begun.drop_duplicates(["film", "roll"]).sort_values("day", kind="stable")
    rolls, months = len(begun), len(MONTHS)
    number = np.concatenate([np.arange(rolls), np.arange(rolls), rolls + np.arange(months)])
    is_film = np.concatenate([np.ones(rolls), np.zeros(rolls + months)]).astype(bool)
    received = begun["day"].to_numpy().astype("datetime64[D]") - np.timedelta64(30, "D")
    film = begun["film"].to_numpy(dtype=object)
    price = rng.integers(40_000, 80_000, rolls)
    freight = rng.integers(1_000, 4_000, rolls)
    consumables = rng.integers(4_000, 9_000, months) * max(len(area) // 1_000, 1)
    blank = np.full(rolls + months, np.nan)
    return {
        "invoice": _text([f"I{at}" for at in range(rolls + months)], number),
        "received_on": np.concatenate([received, received, MONTHS]),
        "supplier": _text(["supplier"], np.zeros(len(number), dtype="int64")),
        "item": np.concatenate([film, np.full(rolls, "freight"), np.full(months, "blades")]),
        "kind": np.repeat(np.array(["film", "freight", "consumable"]), [rolls, rolls, months]),
        "roll_width_m": np.concatenate([np.full(rolls, ROLL_WIDTH_M), blank]),
        "roll_length_m": np.concatenate([np.full(rolls, ROLL_LENGTH_M), blank]),
        "quantity": np.ones(len(number)),
        "unit_price": np.concatenate([price, freight, consumables]) / 100,
        "discount": np.where(is_film, 5.0, 0.0),
    }


def _rates(rng: np.random.Generator) -> dict[str, Any]:
    """A wage from the first day on, raised every year."""
    years = np.arange("2016", "2026", dtype="datetime64[Y]").astype("datetime64[D]")
    raised = rng.integers(20, 120, (len(PEOPLE), len(years))).cumsum(axis=1) / 100
    return {
        "installer": np.repeat(np.array(PEOPLE, dtype=object), len(years)),
        "effective_from": np.tile(years, len(PEOPLE)),
        "wage": (18 + raised).ravel(),
    }


def _text(words: list[str], codes: np.ndarray) -> np.ndarray:
    """Words by number; each word is held once, however many rows have it."""
    return np.array(words, dtype=object)[codes]


def _table(name: str, columns: dict[str, Any]) -> pd.DataFrame:
    """A checked table from some of its columns, the others missing."""
    size = len(next(iter(columns.values()), ()))
    made = {
        column.inside: _typed(columns.get(column.inside), column.kind, size)
        for column in RECORD_TABLES[name].columns
    }
    return pd.DataFrame({**made, "row": np.arange(2, size + 2)})


def _typed(values: np.ndarray | None, kind: Kind, size: int) -> pd.Series:
    dtypes = {
        Kind.DATE: "datetime64[us]",
        Kind.MONTH: "datetime64[us]",
        Kind.TIME: "timedelta64[us]",
        Kind.WHOLE: "Int64",
        Kind.YES_NO: "boolean",
        Kind.TEXT: "str",
        Kind.NAMES: "str",
        Kind.CHOICE: "str",
    }
    dtype = dtypes.get(kind, "float64")
    if values is None:
        return pd.Series(pd.NA if dtype in ("Int64", "boolean") else None, range(size), dtype=dtype)
    return pd.Series(values).astype(dtype)
