"""The suggestions with one assumption changed."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from analysis.price_tables import PRICE_SENSITIVITY
from analysis.pricing.sensitivity import (
    FILM_MORE,
    IDLE,
    SHORT,
    TARGET_HIGHER,
    TARGET_LOWER,
    WAGES_LESS,
    WAGES_MORE,
    assumptions,
    price_sensitivity,
    with_costs,
)
from analysis.pricing.suggest import suggest_prices
from tests.pricing.made_prices import SHOP, basis_of, demand_for


def test_every_assumption_is_the_suggestion_of_a_shop_where_it_holds() -> None:
    """Each row against a suggestion made from scratch."""
    basis = basis_of(
        {"current_price": 350.0, "cost_error": 10.0},
        {"service": "wrap", "current_price": 420.0, "redo_fixed": np.nan, "redo_rate_share": 0.05},
    )
    demand = demand_for(basis, [-3.0, -4.0], doubt=0.2)
    suggestions = suggest_prices(basis, demand, SHOP)
    table = price_sensitivity(basis, demand, SHOP, suggestions)
    assert list(table.columns) == PRICE_SENSITIVITY.inside_names
    assert len(table) == 8 * 2
    assert table["assumption"].is_monotonic_increasing
    for assumption, changed in assumptions(basis).items():
        again = suggest_prices(changed, demand, SHOP)
        mine = table[table["assumption"] == assumption].set_index("service")
        for row in again.itertuples():
            found = mine.loc[row.service]
            assert found["suggested_price"] == row.suggested_price
            assert found["floor_price"] == pytest.approx(row.floor_price)
            assert found["verdict"] == row.verdict
            before = suggestions.set_index("service").loc[row.service, "suggested_price"]
            assert found["moved"] == (row.suggested_price != before)
    assert table["moved"].any() and not table["moved"].all()


def test_without_demand_a_higher_target_raises_to_a_higher_floor() -> None:
    basis = basis_of({"current_price": 370.0})
    suggestions = suggest_prices(basis, None, SHOP)
    table = price_sensitivity(basis, None, SHOP, suggestions).set_index("assumption")
    assert suggestions["verdict"].tolist() == ["hold"]
    assert table.loc[TARGET_HIGHER, "floor_price"] == pytest.approx(190.5 / (0.5 - 0.03))
    assert table.loc[TARGET_HIGHER, "suggested_price"] == 410
    assert table.loc[TARGET_HIGHER, "verdict"] == "raise"
    assert table.loc[TARGET_LOWER, "suggested_price"] == 370
    assert table.loc[WAGES_MORE, "floor_price"] == pytest.approx(202.5 / 0.52)
    assert table.loc[WAGES_MORE, "moved"]
    assert table.loc[FILM_MORE, "floor_price"] == pytest.approx(194.5 / 0.52)
    assert not table.loc[WAGES_LESS, "moved"]


def test_the_parts_of_the_cost_move_with_their_prices() -> None:
    basis = basis_of({}, {"redo_fixed": np.nan, "redo_rate_share": 0.1})
    wages = with_costs(basis, wage=1.1)
    assert list(wages["expected_cost"]) == pytest.approx([190 + 12, 180 * 1.1 + 12 * 1.1])
    assert list(wages["labour_rate"]) == pytest.approx([33, 33])
    film = with_costs(basis, film=0.9)
    assert list(film["expected_cost"]) == pytest.approx([190 - 4, 180 * 1.1 - 4 * 1.1])
    both = with_costs(basis, film=0.9, wage=1.1)
    assert list(both["expected_cost"]) == pytest.approx([190 - 4 + 12, (180 - 4 + 12) * 1.1])
    bare = basis_of({"film_area_m2": 0.0, "film_cost_per_m2": np.nan, "expected_cost": 150.0})
    assert list(with_costs(bare, film=1.1)["expected_cost"]) == [150]


def test_hours_short_and_idle() -> None:
    basis = basis_of({"hour_value": 20.0})
    changed = assumptions(basis)
    assert changed[SHORT]["hour_value"].tolist() == [60]
    assert changed[IDLE]["hour_value"].tolist() == [0]
    unknown = basis.assign(hour_value_if_full=np.nan)
    assert SHORT not in assumptions(unknown)


def test_cells_without_a_verdict_are_left_out() -> None:
    basis = basis_of({}, {"service": "wrap", "current_price": np.nan}, {"service": "hood"})
    suggestions = suggest_prices(basis, None, SHOP)
    table = price_sensitivity(basis, None, SHOP, suggestions)
    assert set(table["service"]) == {"roof", "hood"}
    nothing = basis.assign(current_price=np.nan)
    empty = price_sensitivity(nothing, None, SHOP, suggest_prices(nothing, None, SHOP))
    assert isinstance(empty, pd.DataFrame)
    assert empty.empty
