"""The cost of the next job: rates, errors, films and hours that are short."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.findings.forecast import forecast_hours
from analysis.periods import quarter_of
from analysis.pricing.price_basis import ShortHours, price_basis
from analysis.pricing.price_cells import price_cells
from tests.pricing.test_price_basis import DAY, IDLE, NOBODY, basis_of, jobs, row, shop


def test_people_s_hours_count_where_people_are_short(tmp_path: Path) -> None:
    """Two lay each roof, so that a bay is held for half of the person hours."""
    head, *rows = jobs().split("\n")
    crewed = "\n".join([f"{head} | crew", *(f"{each} | Ines; Tom" for each in rows)])
    records, costing, quoter = shop(tmp_path, jobs=crewed)
    for constraint, column in (
        ("installers", "expected_hours"),
        ("nothing", "expected_hours"),
        ("bays", "bay_hours_each"),
    ):
        short = ShortHours(constraint, 60.0, 60.0)
        found = price_basis(costing, records, DAY, quoter.forecaster, NOBODY, short)
        assert isinstance(found, pd.DataFrame)
        compact = row(found, "roof", "compact car")
        assert compact["bay_hours_each"] == pytest.approx(compact["expected_hours"] / 2)
        assert compact["short_hours_each"] == compact[column]


def test_the_overhead_rate_is_that_of_the_newest_quarter(tmp_path: Path) -> None:
    overheads = "month | category | amount\n2026-01 | rent | 100\n2026-04 | rent | 900"
    capacity = "month | installer_hours\n2026-01 | 50\n2026-04 | 50"
    records, costing, quoter = shop(tmp_path, overheads=overheads, capacity=capacity)
    found = price_basis(costing, records, DAY, quoter.forecaster, NOBODY, IDLE)
    assert isinstance(found, pd.DataFrame)
    now = quarter_of(DAY, records.settings.fiscal_year_starts).index
    assert (found["overhead_rate"] == costing.rates[now].overhead_rate).all()
    assert found["overhead_rate"].iloc[0] == pytest.approx(10)


def test_the_error_of_the_film_falls_with_the_jobs_and_the_service_s_three(tmp_path: Path) -> None:
    """Compact cars take 2 and 4 m² in turn: 8 squares of 1 over 12 − 2 degrees of freedom."""
    lines = jobs().split("\n")
    varied = [
        each.replace("| 2 | 3 | 1 | 2", f"| 2 | {2 if at % 2 else 4} | 1 | 2")
        for at, each in enumerate(lines)
    ]
    compact = row(basis_of(tmp_path, jobs="\n".join(varied)), "roof", "compact car")
    assert compact["film_area_error_m2"] == pytest.approx(np.sqrt(8 / 10) / np.sqrt(8 + 3))


def test_the_films_in_use_are_those_of_the_last_twelve_months(tmp_path: Path) -> None:
    """Vans in BLUE were laid two years ago, compact cars in RED since: RED alone counts."""
    old = jobs().replace("2026-01-20", "2025-02-20").replace("2026-02-20", "2025-03-20")
    old = old.replace("2026-03-20", "2025-04-20").replace("2026-04-20", "2025-05-20")
    compact = row(basis_of(tmp_path, jobs=old), "roof", "compact car")
    assert compact["film_cost_per_m2"] == pytest.approx(6)


def test_the_error_of_the_hours_has_the_service_s_own_in_it(tmp_path: Path) -> None:
    lines = jobs().split("\n")
    varied = [
        each.replace("| 100 | 2 |", f"| 100 | {1.4 + 0.3 * (at % 5)} |")
        for at, each in enumerate(lines)
    ]
    records, costing, quoter = shop(tmp_path, jobs="\n".join(varied))
    found = price_basis(costing, records, DAY, quoter.forecaster, NOBODY, IDLE)
    assert isinstance(found, pd.DataFrame)
    compact = row(found, "roof", "compact car")
    asked = pd.DataFrame(
        {
            "service": "roof",
            "vehicle_class": "compact car",
            "make": "Harrow",
            "model": ["Dart", "Pike"],
        }
    ).astype("str")
    forecast = forecast_hours(quoter.forecaster, asked)
    own = ((0.5 * forecast.expected() * forecast.sd) ** 2).sum()
    common = compact["expected_hours"] * quoter.forecaster.noise["roof"] / np.sqrt(12)
    assert common > 0.01
    assert compact["hours_error"] == pytest.approx(np.sqrt(own + common**2))


def test_a_price_of_the_day_itself_stands_and_so_did_one_of_that_day_a_year_ago() -> None:
    prices = pd.DataFrame(
        {
            "service": ["roof"] * 3,
            "vehicle_class": pd.Series([None] * 3, dtype="str"),
            "list_price": [80.0, 100.0, 110.0],
            "list_hours": 2.0,
            "effective_from": [
                pd.Timestamp("2024-01-01"),
                DAY - pd.DateOffset(months=12),
                DAY,
            ],
        }
    )
    (cell,) = price_cells(prices, DAY).to_dict("records")
    assert cell["current_price"] == 110
    assert cell["price_since"] == DAY
    assert cell["price_drift_share"] == pytest.approx(0.10)
