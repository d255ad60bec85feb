"""Suggestions: probabilities, and gains at wages alone."""

import numpy as np
import pytest
from scipy.special import expit, logit

from analysis.pricing.price_choice import respond
from analysis.pricing.suggest import suggest_prices, without_words
from tests.pricing.made_prices import SHOP, basis_of, demand_for


def test_a_price_that_stays_gains_with_no_probability() -> None:
    basis = basis_of({}, {"service": "wrap"})
    found = suggest_prices(basis, demand_for(basis, [-0.5, -4.5], doubt=0.1), SHOP)
    assert found["verdict"].tolist() == ["raise", "hold"]
    assert 0.5 < found["probability_gains"].iloc[0] <= 1
    assert np.isnan(found["probability_gains"].iloc[1])


def test_what_a_rise_would_gain_if_a_freed_hour_saved_its_wage_alone() -> None:
    basis = basis_of({"hour_value": 60.0})
    demand = demand_for(basis, -1.0)
    row = without_words(basis, demand, respond(basis, demand, SHOP), SHOP).iloc[0]
    assert row["verdict"] == "raise"
    price = row["suggested_price"]
    won = expit(logit(0.6) - np.log(price / 400))
    left = won * (price * 0.97 - 0.5 - 190) - 0.6 * (400 * 0.97 - 0.5 - 190)
    assert row["gain_at_wages"] == pytest.approx(left)
