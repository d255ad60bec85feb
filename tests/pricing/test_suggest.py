"""Suggested prices: verdicts, bounds, money and words, on cells made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import settings as run
from hypothesis import strategies as st
from scipy.special import expit, logit

from analysis.price_tables import PRICE_SUGGESTIONS
from analysis.pricing.money_words import money_words, percent_words, price_words
from analysis.pricing.price_choice import best_moves, candidate_prices, respond
from analysis.pricing.suggest import suggest_prices
from analysis.settings import Pricing, Settings
from tests.pricing.made_prices import SHOP, basis_of, demand_for, floor_of


def suggested(basis: pd.DataFrame, demand: Any, settings: Settings = SHOP) -> dict[str, Any]:
    (row,) = suggest_prices(basis, demand, settings).to_dict("records")
    return row


# --- which prices may be asked -------------------------------------------------------------------


def test_candidates_are_multiples_within_the_bounds() -> None:
    (row,) = candidate_prices(np.array([400.0]), SHOP)
    # 12 % is 352 to 448, and 2 % either side of 400 is not worth the trouble.
    assert list(row) == [400, *range(355, 393, 5), *range(410, 449, 5)]


def test_the_smallest_change_itself_may_be_asked() -> None:
    at = replace(SHOP, pricing=replace(SHOP.pricing, smallest_change=0.05, largest_change=0.1))
    (row,) = candidate_prices(np.array([400.0]), at)
    assert {380.0, 420.0, 360.0, 440.0} <= {*row}
    assert not {385.0, 395.0, 405.0, 415.0, 355.0, 445.0} & {*row}


def test_a_price_that_is_no_multiple_stays_a_candidate() -> None:
    ending = replace(SHOP, pricing=replace(SHOP.pricing, round_down_by=1.0))
    (row,) = candidate_prices(np.array([402.5]), ending)
    assert row[0] == 402.5
    assert set(row[1:] % 5) == {4.0}


def test_a_small_price_may_have_no_other() -> None:
    (row,) = candidate_prices(np.array([30.0]), SHOP)
    assert list(row) == [30.0]


def test_a_high_price_moves_in_round_steps() -> None:
    (row,) = candidate_prices(np.array([2960.0]), SHOP)
    assert len(row) <= 42
    assert set(row[1:] % 20) == {0.0}


@run(max_examples=60, deadline=None)
@given(
    price=st.floats(5, 9000),
    round_to=st.sampled_from([0.5, 1.0, 5.0, 10.0, 50.0]),
    down=st.sampled_from([0.0, 0.01, 1.0]),
    largest=st.floats(0.0, 0.5),
)
def test_every_candidate_keeps_the_bounds(
    price: float, round_to: float, down: float, largest: float
) -> None:
    shop = Settings(pricing=Pricing(round_to, down, largest, min(0.02, largest)))
    (row,) = candidate_prices(np.array([price]), shop)
    assert row[0] == price
    moved = row[1:]
    assert (np.abs(moved / price - 1) <= largest + 1e-8).all()
    assert (np.abs(moved / price - 1) >= shop.pricing.smallest_change - 1e-8).all()
    steps = (moved + down) / round_to
    assert steps == pytest.approx(np.round(steps), abs=1e-6)


# --- with what customers do ----------------------------------------------------------------------


def test_the_price_of_the_largest_profit_is_found() -> None:
    """Against a search over every price by another way of writing the same profit."""
    basis = basis_of({"current_price": 400.0})
    found = suggested(basis, demand_for(basis, -4.0, win=0.55, habit=(-0.1, 0.0, 0.1)))
    cost = 40 + 4 * 35 + 10
    profits = {}
    for price in (*range(355, 395, 5), 400, *range(410, 450, 5)):
        profits[price] = 0.0
        for around in (-0.1, 0.0, 0.1):
            paid = price * np.exp(around)
            chance = expit(logit(0.55) - 4 * np.log(paid / 400))
            profits[price] += chance * (paid * 0.97 - 0.5 - cost) / 3
    best = max(profits, key=lambda price: profits[price])
    assert 360 < best < 440
    assert found["suggested_price"] == best
    assert found["expected_gain"] == pytest.approx(10 * (profits[best] - profits[400]))


def test_patient_customers_raise_and_touchy_ones_lower() -> None:
    basis = basis_of({"current_price": 450.0})
    assert floor_of(basis)[0] < 400
    raised = suggested(basis, demand_for(basis, -1.0))
    assert raised["verdict"] == "raise"
    assert raised["suggested_price"] == 500
    lowered = suggested(basis, demand_for(basis, -8.0, win=0.4))
    assert lowered["verdict"] == "lower"
    assert lowered["suggested_price"] < 450
    for row in (raised, lowered):
        assert row["expected_gain"] > 0
        assert row["probability_gains"] == 1
        assert row["change_share"] == pytest.approx(row["suggested_price"] / 450 - 1)


def test_the_gain_is_enquiries_by_profit_an_enquiry() -> None:
    basis = basis_of({})
    row = suggested(basis, demand_for(basis, -1.0, win=0.6, enquiries=7.0))
    new = row["suggested_price"]
    then = expit(logit(0.6) - np.log(new / 400)) * (new * 0.97 - 0.5 - 190)
    now = 0.6 * (400 * 0.97 - 0.5 - 190)
    assert row["expected_gain"] == pytest.approx(7 * (then - now))
    assert row["gain_low"] == pytest.approx(row["expected_gain"])
    assert row["win_share"] == pytest.approx(0.6)
    assert row["suggested_win_share"] == pytest.approx(expit(logit(0.6) - np.log(new / 400)))
    assert row["enquiries"] == 7


def test_never_lowered_under_the_floor() -> None:
    basis = basis_of({"current_price": 375.0})
    floor = float(floor_of(basis)[0])
    assert 360 < floor < 370
    row = suggested(basis, demand_for(basis, -12.0, win=0.3))
    assert row["suggested_price"] >= floor or row["verdict"] == "hold"
    under = basis_of({"current_price": 360.0})
    row = suggested(under, demand_for(under, -12.0, win=0.3))
    assert row["verdict"] == "hold"
    assert "under its floor of $366" in row["reason"]


def test_doubt_makes_the_move_smaller_and_then_none() -> None:
    """Above the floor: with more doubt about the slope a move is smaller, then none."""
    basis = basis_of({"current_price": 410.0})
    prices = [
        suggested(basis, demand_for(basis, -2.6, win=0.5, doubt=doubt))["suggested_price"]
        for doubt in (0.0, 0.2, 0.5, 1.2)
    ]
    assert prices == sorted(prices, reverse=True)
    assert prices[0] > 425
    assert prices[-1] == 410
    vague = suggested(basis, demand_for(basis, -2.6, win=0.5, doubt=1.2))
    assert vague["verdict"] == "hold"
    assert vague["expected_gain"] == vague["gain_low"] == vague["gain_high"] == 0
    assert "too unsure to act on" in vague["reason"]
    assert vague["next_step"].startswith("Go on writing down every quote")


def test_an_unsure_cost_makes_the_gain_unsure() -> None:
    basis = basis_of({"cost_error": 0.0})
    unsure = basis_of({"cost_error": 60.0})
    sure = suggested(basis, demand_for(basis, -3.0))
    other = suggested(unsure, demand_for(unsure, -3.0))
    assert sure["gain_high"] - sure["gain_low"] < 1e-9
    assert other["verdict"] == "hold" or other["gain_high"] - other["gain_low"] > 20


def test_where_hours_are_short_a_job_costs_what_its_hours_would_earn() -> None:
    """Two services of which one fills few hours: raising it frees few, so all of it counts."""
    cells = (
        {"service": "roof", "current_price": 450.0},
        {"service": "wrap", "current_price": 450.0, "short_hours_each": 0.0},
    )
    idle, full = basis_of(*cells), basis_of(*({"hour_value": 70.0} | cell for cell in cells))
    demand = demand_for(idle, [-3.0, -3.0], enquiries=[1.0, 100.0])
    then = suggest_prices(full, demand, SHOP)["suggested_price"]
    now = suggest_prices(idle, demand, SHOP)["suggested_price"]
    assert now[0] == now[1]
    assert then[1] == now[1]


def test_the_new_prices_leave_no_more_hours_empty_than_may_be() -> None:
    """At the whole value of the hours an eighth of them would be left empty."""
    basis = basis_of(*({"service": f"s{i}", "hour_value": 50.0} for i in range(8)))
    demand = demand_for(basis, np.linspace(-4, -8, 8), win=0.6)
    response = respond(basis, demand, SHOP)
    floor, asked = floor_of(basis).to_numpy(), np.full(8, 10.0)
    at = best_moves(response, basis, floor, asked, SHOP, 1).chosen
    won = response.won.mean(axis=0)
    kept = np.take_along_axis(won, at[:, None], 1).sum() / won[:, 0].sum()
    idle = best_moves(response, basis.assign(hour_value=0.0), floor, asked, SHOP, 1).chosen
    alone = np.take_along_axis(won, idle[:, None], 1).sum() / won[:, 0].sum()
    # No more than a twentieth is freed for the sake of the hours, and most of that is used.
    assert alone > 1
    assert 0.95 <= kept < 0.97


# --- without it ----------------------------------------------------------------------------------


def test_without_quotes_a_price_over_its_floor_stays() -> None:
    row = suggested(basis_of({"current_price": 400.0}), None)
    assert row["verdict"] == "hold"
    assert row["suggested_price"] == 400
    assert row["expected_gain"] == 0
    assert np.isnan(row["win_share"])
    assert row["next_step"] == "Write down every quote with its price, won or lost."


def test_without_quotes_a_price_under_its_floor_goes_up_to_it() -> None:
    row = suggested(basis_of({"current_price": 340.0}), None)
    assert row["floor_price"] == pytest.approx((190 + 0.5) / (0.55 - 0.03))
    assert row["suggested_price"] == 370
    assert row["verdict"] == "raise"
    assert np.isnan(row["expected_gain"]) and np.isnan(row["probability_gains"])
    added = 30 * 0.97
    left = 340 * 0.97 - 0.5 - 190
    assert row["break_even_volume_share"] == pytest.approx(-added / (left + added))
    assert "if none stays away, $370 brings $29 more a job" in row["reason"]
    assert f"fewer than {round(100 * added / (left + added))} of 100" in row["reason"]


def test_no_further_than_the_largest_change() -> None:
    row = suggested(basis_of({"current_price": 300.0}), None)
    assert row["suggested_price"] == 335
    assert row["reason"].endswith("It stays under its floor of $366.")


def test_a_raise_that_still_loses_says_how_much() -> None:
    row = suggested(basis_of({"current_price": 150.0}), None)
    lost = 190 + 0.5 - row["suggested_price"] * 0.97
    assert (row["verdict"], row["suggested_price"]) == ("raise", 165)
    assert row["reason"].endswith(f"its floor of $366, and each job still loses ${lost:.0f}.")


def test_quotes_that_do_not_tell_hold_back_a_raise_that_may_lose() -> None:
    """Not learnt, but what is usual says that customers would leave: no raise, and no curve."""
    basis = basis_of({"current_price": 340.0})
    patient = suggested(basis, demand_for(basis, -1.5, learnt=False))
    touchy = suggested(basis, demand_for(basis, -9.0, learnt=False))
    assert (patient["verdict"], patient["suggested_price"]) == ("raise", 370)
    assert (touchy["verdict"], touchy["suggested_price"]) == ("hold", 340)
    for row in (patient, touchy):
        assert np.isnan(row["suggested_win_share"])
        assert np.isnan(row["probability_gains"])
    assert np.isnan(patient["expected_gain"])


def test_quotes_that_do_not_tell_move_nothing_over_its_floor() -> None:
    basis = basis_of({"current_price": 400.0})
    for slope in (-0.5, -12.0):
        row = suggested(basis, demand_for(basis, slope, learnt=False))
        assert row["verdict"] == "hold"


def test_a_job_that_loses_money_says_so() -> None:
    row = suggested(basis_of({"current_price": 180.0}), None)
    assert row["reason"].startswith("Costs $190 a job, which loses $16 at this price.")
    assert np.isnan(row["break_even_volume_share"])


# --- evidence ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cell", "reason", "step"),
    [
        ({"current_price": np.nan}, "names no price", "Write its price into price_list."),
        (
            {"expected_cost": np.nan, "labour_rate": np.nan, "note": "No wage is known."},
            "What it costs is not known. No wage is known.",
            "or wages (rates, or labour.default_wage).",
        ),
        ({"jobs": 2}, "Only 2 jobs of the service", "hours and film of 3 jobs more"),
        ({"target_margin_share": 0.98}, "No price leaves", "targets and fees"),
    ],
)
def test_not_enough_evidence(cell: dict[str, Any], reason: str, step: str) -> None:
    basis = basis_of(cell)
    row = suggested(basis, demand_for(basis, -1.0))
    assert row["verdict"] == "not enough evidence"
    assert reason in row["reason"]
    assert step in row["next_step"]
    for name in ("expected_gain", "gain_low", "probability_gains", "break_even_volume_share"):
        assert np.isnan(row[name])


def test_a_thin_cell_leans_on_its_service_where_its_quotes_tell() -> None:
    basis = basis_of({"jobs": 2}, {"vehicle_class": "minivan", "jobs": 30})
    thin, _ = suggest_prices(basis, demand_for(basis, -1.0), SHOP).to_dict("records")
    assert thin["verdict"] == "raise"
    assert not thin["enough"]
    assert "Only 2 jobs of its own: it leans on the 32 of the service." in thin["reason"]
    alone, other = suggest_prices(basis, None, SHOP).to_dict("records")
    assert alone["verdict"] == "not enough evidence"
    assert other["verdict"] == "hold"


# --- the table -----------------------------------------------------------------------------------


def test_rows_and_columns_are_those_of_the_basis_and_the_table() -> None:
    basis = basis_of(
        {"service": "wrap", "vehicle_class": None, "current_price": 3000.0},
        {"service": "roof", "current_price": 340.0},
        {"service": "hood", "current_price": np.nan},
    )
    demand = demand_for(basis.iloc[:2], [-2.0, -2.0])
    before = basis.copy()
    for known in (demand, None):
        table = suggest_prices(basis.set_index(pd.Index([7, 8, 9])), known, SHOP)
        assert list(table.columns) == PRICE_SUGGESTIONS.inside_names
        assert list(table["service"]) == ["wrap", "roof", "hood"]
        assert table["suggested_price"].isna().tolist() == [False, False, True]
        assert table["jobs"].dtype == "int64"
        assert table["quotes"].dtype == "int64"
    pd.testing.assert_frame_equal(basis, before)


def test_the_same_seed_gives_the_same_table() -> None:
    basis = basis_of({"cost_error": 20.0})
    demand = demand_for(basis, -2.0, doubt=0.3)
    first = suggest_prices(basis, demand, SHOP, seed=4)
    pd.testing.assert_frame_equal(first, suggest_prices(basis, demand, SHOP, seed=4))
    assert not first.equals(suggest_prices(basis, demand, SHOP, seed=5))


# --- in words ------------------------------------------------------------------------------------


def test_reasons_are_written_as_the_shop_writes_money() -> None:
    german = replace(SHOP, currency="EUR", locale="de-DE", prices_include_tax=True, tax_rate=0.19)
    row = suggested(basis_of({"current_price": 1090.0, "expected_cost": 650.0}), None, german)
    assert "1.220\N{NO-BREAK SPACE}€" in row["reason"]
    assert "45\N{NO-BREAK SPACE}%" in row["reason"]


def test_the_drift_of_the_cost_stands_beside_that_of_the_price() -> None:
    cell = {"current_price": 340.0, "cost_drift_share": 0.07, "price_drift_share": 0.0}
    row = suggested(basis_of(cell), None)
    assert "in a year the cost rose by 7% and the price stood still." in row["reason"]
    row = suggested(basis_of(cell | {"price_drift_share": 0.03}), None)
    assert "in a year the cost rose by 7%, and the price rose by 3%." in row["reason"]


def test_how_customers_take_the_price_is_said() -> None:
    basis = basis_of({"current_price": 400.0})
    calm = suggested(basis, demand_for(basis, -0.6))
    assert "Customers hardly mind the price: 3 of 100 jobs fewer at $445." in calm["reason"]
    minded = suggested(basis, demand_for(basis, -2.2))
    assert "of 100 jobs are lost, and it still earns more" in minded["reason"]


def test_amounts() -> None:
    assert money_words(231.4, SHOP) == "$231"
    assert money_words(0.5, SHOP) == "$0.50"
    assert money_words(-12.5, SHOP) == "\N{MINUS SIGN}$13"
    assert price_words(344.99, SHOP) == "$344.99"
    assert price_words(1345.0, SHOP) == "$1,345"
    assert percent_words(0.245, SHOP) == "25%"


# --- what an owner asked about --------------------------------------------------------------------


def test_no_price_is_lowered_into_hours_that_are_short() -> None:
    # Twelve of a hundred more jobs at 5 % less pay for themselves where hours stand idle ...
    cell = {"current_price": 700.0, "target_margin_share": 0.30}
    idle = suggested(basis_of(cell), demand_for(basis_of(cell), -9.0, win=0.4))
    assert idle["verdict"] == "lower"
    # ... and not where each of their four hours would have earned 120 elsewhere.
    full = basis_of(cell | {"hour_value": 120.0})
    assert suggested(full, demand_for(full, -9.0, win=0.4))["verdict"] != "lower"


def test_steps_too_coarse_to_move_are_said() -> None:
    coarse = replace(SHOP, pricing=replace(SHOP.pricing, round_to=100.0))
    basis = basis_of({"current_price": 150.0})
    row = suggested(basis, demand_for(basis, -2.0), coarse)
    assert row["verdict"] == "hold"
    assert "No price in the steps of shop.toml lies within 12%" in row["reason"]
    assert "smaller steps" in row["next_step"]


def test_a_job_that_still_loses_loses_less() -> None:
    basis = basis_of({"current_price": 150.0})
    row = suggested(basis, demand_for(basis, -6.0))
    assert row["verdict"] == "raise"
    assert "still loses less" in row["reason"]


def test_the_vehicles_that_are_charged_apart_are_named() -> None:
    basis = basis_of({"apart": "Harrow Pike (9 of its 20 jobs)"})
    row = suggested(basis, demand_for(basis, -2.0))
    assert row["reason"].startswith("Costs $190 a job without Harrow Pike (9 of its 20 jobs)")


def test_a_floor_missed_by_rounding_is_none() -> None:
    basis = basis_of({})
    floor = float(floor_of(basis).iloc[0])
    at_it = basis.assign(current_price=np.floor(floor))
    assert 0 < floor - at_it["current_price"].iloc[0] < 0.5
    assert "under its floor" not in suggested(at_it, None)["reason"]
