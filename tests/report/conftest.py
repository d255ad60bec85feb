"""A made-up review: every result table filled from a seed, in agreement with itself."""

from collections.abc import Callable, Mapping, Sequence
from functools import cache
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records, Source
from analysis.report.results import Review
from analysis.result_tables import QUARTER_ONLY, RESULT_TABLES
from analysis.settings import Settings
from tests.report import made_counter, made_film, made_lessons, made_money, made_prices, made_shelf

SERVICES = ("roof", "hood", "colour change", "tint", "trim", "protection film, full front")
CLASSES = ("compact car", "midsize car", "small sport utility vehicle", "standard pickup")
MODELS = (
    ("Harrow", "Pike"),
    ("Harrow", "Dart"),
    ("Oakley & Rowe", "Fen 3"),
    ("Oakley & Rowe", "Moor"),
    ("Brindle", "Kestrel Estate"),
    ("Brindle", "Teal"),
    ("Solway", "Tern"),
)
FILMS = ("GB-60", "MB-60", "CL-72", "TN-40")
INSTALLERS = ("Ines", "Tomas", "Wren")
TASKS = ("disassembly", "prep", "cutting", "laying", "trimming", "post-heat", "reassembly")
PANELS = ("roof", "hood", "mirror", "spoiler")
WIDTHS = (1.2192, 1.524, float("nan"))
WASTE_PARTS = (
    "side_loss",
    "handling_margin",
    "opening",
    "recut",
    "damage",
    "test",
    "end_of_roll",
)
FEWEST = 5


def _enough(counts: pd.Series) -> pd.Series:
    return (counts >= FEWEST).astype("boolean")


def _hours(random: np.random.Generator, keys: Mapping[str, Sequence[str]], size: float) -> Any:
    frame = pd.DataFrame(keys)
    jobs = random.poisson(9 * size, len(frame)) + 1
    quoted = jobs * random.uniform(2, 9, len(frame))
    actual = quoted * random.normal(1.06, 0.14, len(frame))
    return frame.assign(
        jobs=jobs,
        quoted_hours=quoted,
        actual_hours=actual,
        overrun_share=actual / quoted - 1,
        overrun_cost=(actual - quoted) * 31.5,
        rework_hours=actual * 0.03,
        redo_hours=jobs * 0.1,
        enough=_enough(pd.Series(jobs)),
        **made_lessons.pooled(len(frame)),
    )


def _tasks(random: np.random.Generator, size: float) -> Any:
    frame = _hours(random, {"task": TASKS}, size)
    blank = pd.Series(np.nan, index=frame.index)
    return frame.assign(quoted_hours=blank, overrun_share=blank)


def _waste(random: np.random.Generator, key: str, values: Sequence[Any], size: float) -> Any:
    frame = pd.DataFrame({key: list(values)})
    cuts = pd.Series(random.poisson(14 * size, len(frame)) + 1)
    finished = cuts * random.uniform(1.0, 3.0, len(frame))
    scale = np.array([0.22, 0.12, 0.03, 0.05, 0.03, 0.01, 0.02])
    parts = {
        f"{name}_area_m2": finished * share * random.uniform(0.4, 1.4, len(frame))
        for name, share in zip(WASTE_PARTS, scale, strict=True)
    }
    frame = frame.assign(cuts=cuts, finished_area_m2=finished, **parts)
    waste = frame[list(parts)].sum(axis=1)
    return frame.assign(
        waste_area_m2=waste,
        consumed_area_m2=finished + waste,
        waste_share=waste / (finished + waste),
        waste_cost=waste * 22.0,
        avoidable_area_m2=frame["side_loss_area_m2"] * 0.6,
        avoidable_in_job_area_m2=frame["side_loss_area_m2"] * 0.4,
        avoidable_cost=frame["side_loss_area_m2"] * 0.6 * 22.0,
        side_and_handling_area_m2=frame["side_loss_area_m2"] + frame["handling_margin_area_m2"],
        cuts_unmeasured=0,
        enough=_enough(cuts),
    )


def _margin(random: np.random.Generator, key: str, values: Sequence[str], size: float) -> Any:
    count = len(values)
    jobs = pd.Series(random.poisson(9 * size, count) + 1)
    revenue = jobs * random.uniform(250, 1400, count)
    film = revenue * random.uniform(0.12, 0.3, count)
    consumables = revenue * 0.03
    labour = revenue * random.uniform(0.25, 0.5, count)
    overhead = revenue * random.uniform(0.12, 0.25, count)
    redo = revenue * random.uniform(0.0, 0.06, count)
    actual = labour / 31.5
    material = revenue - film - consumables
    return pd.DataFrame(
        {
            key: list(values),
            "jobs": jobs,
            "net_revenue": revenue,
            "film_cost": film,
            "consumables_cost": consumables,
            "labour_cost": labour,
            "overhead_cost": overhead,
            "redo_cost": redo,
            "material_margin": material,
            "contribution": material - labour,
            "full_margin": material - labour - overhead - redo,
            "full_margin_share": (material - labour - overhead - redo) / revenue,
            "material_margin_per_bay_hour": material / (actual * 0.8),
            "actual_hours": actual,
            "bay_hours": actual * 0.8,
            "contribution_share": (material - labour) / revenue,
            "enough": _enough(jobs),
        }
    )


def _statement(margin: pd.DataFrame, utilisation: float) -> pd.DataFrame:
    total = margin.sum(numeric_only=True)
    full = float(total["full_margin"])
    extra = {
        "counter_sales": 310.0,
        "shop_film": 95.0,
        "unexplained_film": 140.0,
        "work_on_cancelled_and_open_jobs": 60.0,
        "unused_capacity": float(total["overhead_cost"]) * 0.2,
        "overhead_rate_difference": -45.0,
    }
    amounts = {
        "net_revenue": total["net_revenue"],
        "film": total["film_cost"],
        "consumables": total["consumables_cost"],
        "labour": total["labour_cost"],
        "contribution": total["contribution"],
        "overhead_on_jobs": total["overhead_cost"],
        "redo": total["redo_cost"],
        "full_margin_of_jobs": full,
        **extra,
        "result": full + 2 * extra["counter_sales"] - sum(extra.values()),
        "work_on_cancelled_jobs": 45.0,
        "wages_of_unused_hours": float(total["labour_cost"]) * 0.1,
        "consumables_not_charged": -12.5,
        "break_even_revenue": float(total["net_revenue"]) * 0.8,
        "margin_of_safety_pct": 20.0,
        "utilisation_pct": utilisation,
    }
    return pd.DataFrame(
        {
            "line": list(amounts),
            "amount": [float(each) for each in amounts.values()],
            "note": ["how it is made"] * len(amounts),
        }
    )


def _flows(random: np.random.Generator, size: float) -> pd.DataFrame:
    count = len(FILMS)
    area = {
        "opening": random.uniform(20, 60, count),
        "purchased": random.uniform(40, 120, count) * size,
        "jobs": random.uniform(30, 60, count) * size,
        "counter_sales": random.uniform(0, 8, count) * size,
        "shop": random.uniform(0, 3, count) * size,
        "unexplained": random.uniform(-1, 4, count) * size,
    }
    out = area["jobs"] + area["counter_sales"] + area["shop"] + area["unexplained"]
    area["closing"] = area["opening"] + area["purchased"] - out
    return pd.DataFrame(
        {
            "film": list(FILMS),
            **{f"{name}_area_m2": values for name, values in area.items()},
            **{f"{name}_cost": values * 21.0 for name, values in area.items()},
        }
    )


def _prices(random: np.random.Generator) -> pd.DataFrame:
    rows = []
    for number, film in enumerate(FILMS):
        price = 18.0 + 4 * number
        for month in range(0, 20, 3):
            change = float(random.normal(0.01, 0.03))
            price *= 1 + change
            rows.append(
                {
                    "film": film,
                    "supplier": "Marlow Supply",
                    "received_on": pd.Timestamp("2025-01-10") + pd.DateOffset(months=month),
                    "landed_cost_per_m2": price,
                    "change_share": change if month else np.nan,
                    "invoice": f"INV-{number}{month:02d}",
                    "purchased_area_m2": 34.8,
                    "landed_cost": price * 34.8,
                }
            )
    return pd.DataFrame(rows)


def _redo(random: np.random.Generator) -> pd.DataFrame:
    keys = [("service", each) for each in SERVICES]
    keys += [("model", f"{make} {model}") for make, model in MODELS]
    keys += [("film", each) for each in FILMS]
    frame = pd.DataFrame(keys, columns=["by", "key"])
    jobs = pd.Series(random.poisson(30, len(frame)) + 1)
    redos = pd.Series(random.binomial(jobs, 0.05))
    share = redos / jobs
    return frame.assign(
        jobs=jobs,
        redos=redos,
        redo_share=share,
        low_share=(share - 0.03).clip(lower=0),
        high_share=(share + 0.06).clip(upper=1),
        redo_cost=redos * 190.0,
        enough=_enough(jobs),
    )


def _tables(seed: int, size: float, utilisation: float) -> dict[str, Any]:
    """Every table, made once; a test may change its own copy."""
    return _copies(_made_tables(seed, size, utilisation))


def _copies(tables: dict[str, Any]) -> dict[str, Any]:
    return {k: v.copy() if isinstance(v, pd.DataFrame) else v for k, v in tables.items()}


@cache
def _usual_prices() -> dict[str, Any]:
    return made_prices.prices(Settings())


@cache
def _made_tables(seed: int, size: float, utilisation: float) -> dict[str, Any]:
    random = np.random.default_rng(seed)
    models = {"make": [m for m, _ in MODELS], "model": [m for _, m in MODELS]}
    margin = _margin(random, "service", SERVICES, size)
    prices = made_prices.prices()
    made = {
        "shop_result": _statement(margin, utilisation),
        "margin_by_service": margin,
        "margin_by_class": _margin(random, "vehicle_class", CLASSES, size),
        "margin_by_film": _margin(random, "film", FILMS, size),
        "hours_by_service": _hours(random, {"service": SERVICES}, size),
        "hours_by_class": _hours(random, {"vehicle_class": CLASSES}, size),
        "hours_by_model": _hours(random, models, size / 2),
        "hours_by_installer": _hours(random, {"installer": INSTALLERS}, size * 2),
        "hours_by_task": _tasks(random, size),
        "waste_by_class": _waste(random, "vehicle_class", CLASSES, size),
        "waste_by_service": _waste(random, "service", SERVICES, size),
        "waste_by_film": _waste(random, "film", FILMS, size),
        "waste_by_panel": _waste(random, "panel", PANELS, size),
        "waste_by_width": _waste(random, "roll_width_m", WIDTHS, size),
        "film_reconciliation": _flows(random, size),
        "film_prices": _prices(random),
        "redo": _redo(random),
        "job_costs": made_lessons.job_costs(SERVICES, CLASSES, MODELS),
        **made_lessons.lessons(SERVICES, MODELS, TASKS),
        **made_shelf.shelf(FILMS, size),
        **made_film.film(SERVICES, FILMS, PANELS),
        **prices,
        "model_surcharges": made_money.surcharges(SERVICES, CLASSES),
        "price_sensitivity": made_money.sensitivity(prices["price_suggestions"]),
        **made_money.money(SERVICES, CLASSES, size),
        **made_counter.counter(),
    }
    return {name: made[name] for name in RESULT_TABLES}


def _records(settings: Settings, counted_on: pd.Timestamp) -> Records:
    tables = {
        name: pd.DataFrame(columns=["row", *table.inside_names])
        for name, table in RECORD_TABLES.items()
    }
    tables["stock_counts"] = pd.DataFrame(
        {"row": [2], "counted_on": [counted_on], "film": ["GB-60"]}
    )
    findings = pd.DataFrame(
        [
            (
                "jobs",
                "jobs.csv",
                14,
                "quoted_price",
                "<script>alert('x')</script>",
                "money",
                "rejected",
                "is no amount of money.",
                "Write a number such as 420.",
            ),
            (
                "jobs",
                "jobs.csv",
                31,
                "quoted_price",
                "ask Tomas & Wren",
                "money",
                "rejected",
                "is no amount of money.",
                "Write a number such as 420.",
            ),
            (
                "hours",
                "hours.csv",
                8,
                "job_id",
                "J-9",
                "unknown job",
                "doubtful",
                "names a job that is not in jobs.",
                "Mend the number, or add the job.",
            ),
        ],
        columns=list(FINDING_COLUMNS),
    )
    sources = (
        Source("", "shop.toml", "0" * 64, 0, 0, 0),
        Source("jobs", "jobs.csv", "1" * 64, 240, 238, 2),
        Source("hours", "hours.csv", "2" * 64, 1520, 1520, 0),
    )
    return Records(tables, findings, {}, sources, frozenset({"jobs", "hours"}), settings)


def build_review(
    seed: int = 7,
    *,
    settings: Settings | None = None,
    counted_on: pd.Timestamp | None = None,
    results: Mapping[str, pd.DataFrame | Unavailable] | None = None,
    year: Mapping[str, pd.DataFrame | Unavailable] | None = None,
    previous: Mapping[str, pd.DataFrame | Unavailable] | None = None,
) -> Review:
    """A whole review from a seed; tables given stand in the place of the made ones."""
    quarter = Quarter(2026, 3)
    # What a price must leave depends on the settings' targets and fees.
    prices = made_prices.prices(settings) if settings else _copies(_usual_prices())
    settings = settings or Settings()
    made = _tables(seed, 1.0, 88.0) | prices
    made_year = _tables(seed + 1, 4.0, 83.0) | {"counter_sales": made_counter.counter_year()}
    return Review(
        quarter=quarter,
        settings=settings,
        records=_records(settings, counted_on or quarter.last_day),
        results=made | dict(results or {}),
        year={k: v for k, v in made_year.items() if k not in QUARTER_ONLY} | dict(year or {}),
        previous=_tables(seed + 2, 0.9, 79.0) | dict(previous or {}),
    )


@pytest.fixture(scope="session")
def make_review() -> Callable[..., Review]:
    """The builder itself, for a test that changes a table."""
    return build_review


@pytest.fixture(scope="session")
def review() -> Review:
    """The made-up review as it is."""
    return build_review()
