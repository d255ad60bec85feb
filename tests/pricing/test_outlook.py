"""The coming year at given prices."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

from analysis.pricing.outlook import year_outlook
from tests.pricing.made_prices import SHOP, basis_of, demand_for

MANY = 20_000


def test_the_mean_is_what_can_be_worked_out() -> None:
    basis = basis_of({}, {"service": "wrap", "current_price": 900.0, "expected_cost": 400.0})
    demand = demand_for(basis, [-2.0, -3.0], win=0.6, enquiries=50.0)
    asked = pd.Series([440.0, 850.0])
    found = year_outlook(basis, demand, SHOP, asked, draws=MANY)
    at = [expit(logit(0.6) - 2 * np.log(1.1)), expit(logit(0.6) - 3 * np.log(850 / 900))]
    left = [440 * 0.97 - 0.5 - 190, 850 * 0.97 - 0.5 - 400]
    total = 200 * (at[0] * left[0] + at[1] * left[1])
    held = 200 * 0.6 * ((400 * 0.97 - 0.5 - 190) + (900 * 0.97 - 0.5 - 400))
    assert found.total.mean == pytest.approx(total, rel=0.005)
    assert found.held.mean == pytest.approx(held, rel=0.005)
    assert found.difference.mean == pytest.approx(total - held, rel=0.05)
    assert found.jobs == pytest.approx(200 * sum(at), rel=0.01)
    assert found.held_jobs == pytest.approx(240, rel=0.01)
    assert found.hours == pytest.approx(found.jobs * 4, rel=0.01)
    assert found.notes == ()
    assert found.cells["difference"].sum() == pytest.approx(found.difference.mean)


def test_the_spread_is_that_of_counts_hours_and_costs() -> None:
    """Jobs are Poisson about a gamma: variance 2 × mean; hours and cost error come on top."""
    basis = basis_of({"expected_hours_sd": 2.0, "cost_error": 8.0})
    demand = demand_for(basis, -2.0, win=0.6, enquiries=50.0)
    found = year_outlook(basis, demand, SHOP, basis["current_price"], draws=MANY)
    left = 400 * 0.97 - 0.5 - 190
    # Enquiries: Poisson and gamma, 200 each; a win is a coin on top.
    jobs = 0.6**2 * 400 + 200 * 0.6 * 0.4
    variance = jobs * left**2 + 120 * (2 * 35) ** 2 + (120**2 + jobs) * 8**2
    width = 2 * 1.6449 * np.sqrt(variance)
    assert found.total.high - found.total.low == pytest.approx(width, rel=0.03)


def test_hours_of_few_jobs_spread_about_their_mean() -> None:
    basis = basis_of({"expected_hours_sd": 8.0, "jobs_year": 2})
    found = year_outlook(basis, None, SHOP, basis["current_price"], draws=10 * MANY)
    assert found.hours / found.jobs == pytest.approx(4, rel=0.03)


def test_holding_every_price_makes_no_difference() -> None:
    basis = basis_of({"cost_error": 10.0}, {"service": "wrap"})
    demand = demand_for(basis, [-2.0, -3.0], doubt=0.4, habit=(-0.1, 0.1))
    for asked in (basis["current_price"], pd.Series([np.nan, np.nan])):
        found = year_outlook(basis, demand, SHOP, asked)
        assert found.difference.mean == found.difference.low == found.difference.high == 0
        assert np.isnan(found.probability_gains)
        assert found.total == found.held


def test_the_same_chances_make_the_difference_surer_than_either_year() -> None:
    basis = basis_of({"cost_error": 10.0})
    demand = demand_for(basis, -1.0)
    found = year_outlook(basis, demand, SHOP, pd.Series([440.0]))
    width = found.difference.high - found.difference.low
    assert width < (found.total.high - found.total.low) / 2
    assert found.probability_gains > 0.9


def test_without_demand_prices_and_jobs_stay_as_they_were() -> None:
    basis = basis_of({"jobs_year": 50})
    found = year_outlook(basis, None, SHOP, pd.Series([440.0]), draws=MANY)
    assert found.jobs == found.held_jobs
    assert found.jobs == pytest.approx(50, rel=0.01)
    # No curve is pretended: what a raise would bring is not counted.
    assert found.difference.mean == 0
    assert np.isnan(found.probability_gains)
    assert "today's price and jobs are counted" in found.notes[0]
    unlearnt = demand_for(basis, -9.0, learnt=False)
    again = year_outlook(basis, unlearnt, SHOP, pd.Series([440.0]), draws=MANY)
    assert again.difference == found.difference


def test_cells_without_cost_or_price_are_left_out_and_told() -> None:
    basis = basis_of({}, {"service": "wrap", "current_price": np.nan}, {"service": "hood"})
    basis.loc[2, "expected_cost"] = np.nan
    demand = demand_for(basis, [-2.0, -2.0, -2.0])
    found = year_outlook(basis, demand, SHOP, pd.Series([440.0, np.nan, 440.0]))
    assert np.isfinite(found.total.mean)
    assert found.cells["jobs"].isna().tolist() == [False, True, True]
    assert found.notes == ("Cells whose cost or price is not known are left out.",)


def test_hours_that_lost_jobs_free_earn_elsewhere_as_far_as_they_are_few() -> None:
    cells = {"hour_value": 100.0, "jobs_year": 40}
    basis = basis_of(cells, {"service": "wrap"} | cells)
    demand = demand_for(basis, [-2.0, -2.0], enquiries=100.0)
    idle = basis.assign(hour_value=0.0)
    for asked in ([404.0, 400.0], [448.0, 448.0]):
        prices = pd.Series(asked)
        full = year_outlook(basis, demand, SHOP, prices, draws=MANY)
        bare = year_outlook(idle, demand, SHOP, prices, draws=MANY)
        lost = full.held_jobs - full.jobs
        beyond = 100 * 4 - 4 * 30
        counted = min(lost, 0.05 * full.held_jobs)
        assert full.freed.mean == pytest.approx(counted * beyond, rel=0.03)
        assert bare.freed.mean == 0
        # It stands apart from what the prices bring.
        assert full.difference == bare.difference


def test_the_same_seed_gives_the_same_year() -> None:
    basis = basis_of({})
    demand = demand_for(basis, -2.0, doubt=0.3)
    first = year_outlook(basis, demand, SHOP, pd.Series([440.0]), seed=3)
    assert first.total == year_outlook(basis, demand, SHOP, pd.Series([440.0]), seed=3).total
    assert first.total != year_outlook(basis, demand, SHOP, pd.Series([440.0]), seed=4).total
