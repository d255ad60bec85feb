"""Surcharges of the models that take longer."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.price_tables import MODEL_SURCHARGES
from analysis.pricing.price_lines import PriceTerms
from analysis.pricing.suggest import suggest_prices
from analysis.pricing.surcharges import hour_must_earn, model_surcharges
from analysis.settings import Settings
from tests.pricing.made_prices import SHOP, basis_of

BASIS = basis_of(
    {"vehicle_class": "compact car"},
    {"vehicle_class": None, "expected_hours": 5.0},
    {"service": "wrap", "vehicle_class": "compact car", "expected_hours": 30.0},
)


def quotes(*rows: tuple[str, str | None, str, float]) -> pd.DataFrame:
    """Rows of next_quotes: service, class, model, expected hours."""
    frame = pd.DataFrame(rows, columns=["service", "vehicle_class", "model", "expected_hours"])
    frame["vehicle_class"] = frame["vehicle_class"].astype("str")
    return frame.assign(make="Harrow", jobs=7)


def models(flagged: bool | None = True, jobs: int = 9) -> pd.DataFrame:
    """Rows of hours_by_model: the Pike flagged or not, the Perch not."""
    flags = pd.Series([flagged, False], dtype="boolean")
    return pd.DataFrame(
        {"make": "Harrow", "model": ["Pike", "Perch"], "flagged": flags, "jobs_to_date": [jobs, 40]}
    )


def surcharges(
    asked: pd.DataFrame, by_model: pd.DataFrame, basis: pd.DataFrame = BASIS, shop: Settings = SHOP
) -> list[dict[str, Any]]:
    table = model_surcharges(suggest_prices(basis, None, shop), basis, asked, by_model, shop)
    assert isinstance(table, pd.DataFrame)
    assert list(table.columns) == MODEL_SURCHARGES.inside_names
    return table.to_dict("records")


def test_extra_hours_by_what_an_hour_must_earn() -> None:
    asked = quotes(("roof", "compact car", "Pike", 5.5), ("roof", "compact car", "Perch", 6.0))
    (row,) = surcharges(asked, models())
    assert row["model"] == "Pike"
    assert row["extra_hours"] == pytest.approx(1.5)
    assert row["hour_must_earn"] == pytest.approx(35 / (0.55 - 0.03))
    # 1.5 × 67.31 = 100.96
    assert row["surcharge"] == 100
    assert row["price"] == 500
    assert (row["jobs"], row["model_jobs"], row["enough"]) == (7, 9, True)
    (thin,) = surcharges(asked.assign(jobs=4), models())
    assert not thin["enough"]


def test_the_price_with_the_surcharge_leaves_the_target_on_the_hours_added() -> None:
    an_hour = hour_must_earn(BASIS.iloc[:1], PriceTerms.of(SHOP)).iloc[0]
    assert an_hour * (1 - 0.03) - 35 == pytest.approx(0.45 * an_hour)


def test_where_hours_are_short_they_earn_what_they_would_elsewhere() -> None:
    full = BASIS.assign(hour_value=90.0, short_hours_each=BASIS["expected_hours"] * 0.75)
    an_hour = hour_must_earn(full, PriceTerms.of(SHOP)).iloc[0]
    # Three bay hours for four person hours, 5 of consumables on top, net of the card's 3 %.
    assert an_hour == pytest.approx((90 * 0.75 + 5) / 0.97)
    slack = BASIS.assign(hour_value=20.0)
    assert hour_must_earn(slack, PriceTerms.of(SHOP)).iloc[0] == pytest.approx(35 / 0.52)


def test_a_service_on_which_the_model_is_not_over_has_none() -> None:
    asked = quotes(("roof", "compact car", "Pike", 5.5), ("wrap", "compact car", "Pike", 29.0))
    assert [row["service"] for row in surcharges(asked, models())] == ["roof"]


def test_what_is_not_worth_the_trouble_is_none() -> None:
    """5 is one step and under 2 % of 400; 10 is over it. Of a price of 200, 5 is enough."""
    assert surcharges(quotes(("roof", "compact car", "Pike", 4.04)), models()) == []
    (row,) = surcharges(quotes(("roof", "compact car", "Pike", 4.12)), models())
    assert row["surcharge"] == 10
    cheap = BASIS.assign(current_price=200.0, target_margin_share=0.02)
    assert surcharges(quotes(("roof", "compact car", "Pike", 4.05)), models(), cheap) == []
    (row,) = surcharges(quotes(("roof", "compact car", "Pike", 4.08)), models(), cheap)
    assert row["surcharge"] == 5


@pytest.mark.parametrize("by_model", [models(False), models(None), models(jobs=4)])
def test_only_flagged_models_with_enough_jobs(by_model: pd.DataFrame) -> None:
    assert surcharges(quotes(("roof", "compact car", "Pike", 8.0)), by_model) == []


def test_a_class_without_its_own_row_is_priced_by_the_row_for_all() -> None:
    asked = quotes(("roof", "minivan", "Pike", 7.0), ("wrap", "minivan", "Pike", 70.0))
    (row,) = surcharges(asked, models())
    assert row["extra_hours"] == pytest.approx(2.0)
    assert row["vehicle_class"] == "minivan"


def test_unknown_costs_make_no_surcharge() -> None:
    unknown = BASIS.assign(labour_rate=np.nan)
    assert surcharges(quotes(("roof", "compact car", "Pike", 8.0)), models(), unknown) == []
    no_price = BASIS.assign(current_price=np.nan)
    assert surcharges(quotes(("roof", "compact car", "Pike", 8.0)), models(), no_price) == []


def test_tax_in_the_prices_is_in_the_surcharge() -> None:
    taxed = replace(SHOP, prices_include_tax=True, tax_rate=0.25)
    (row,) = surcharges(quotes(("roof", "compact car", "Pike", 5.5)), models(), shop=taxed)
    assert row["hour_must_earn"] == pytest.approx(35 / (0.8 * 0.55 - 0.03))


def test_what_is_missing_is_said() -> None:
    missing = Unavailable("next_quotes", ("jobs",), "Too few jobs.")
    suggestions = suggest_prices(BASIS, None, SHOP)
    for pair in ((missing, models()), (quotes(), missing)):
        found = model_surcharges(suggestions, BASIS, *pair, SHOP)
        assert found == Unavailable("model_surcharges", ("jobs",), "Too few jobs.")
