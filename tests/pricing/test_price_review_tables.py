"""What a review tells of prices."""

from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from analysis.findings.capacity_use import NOTHING, Governing, Use
from analysis.findings.groups import Period
from analysis.pricing import price_basis, price_review
from analysis.pricing.outlook import year_outlook
from analysis.report.price_answers import price_answer
from tests.pricing.made_prices import SHOP, basis_of, demand_for
from tests.report.test_figures_suggestions import review_of, suggestions


def test_today_s_year_and_the_suggested_one_stand_in_their_own_rows() -> None:
    basis = basis_of({"jobs_year": 50})
    outlook = year_outlook(basis, demand_for(basis, -0.5), SHOP, pd.Series([440.0]))
    table = price_review.outlook_table(outlook).set_index("prices")
    assert table.loc["today's", "contribution"] == outlook.held.mean
    assert table.loc["suggested", "contribution"] == outlook.total.mean
    assert table.loc["difference", "contribution"] == outlook.difference.mean
    assert table.loc["suggested", "contribution"] > table.loc["today's", "contribution"]


def test_idle_hours_are_worth_nothing_and_would_earn_what_hours_earn_if_they_were_short(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(price_basis, "hour_value", lambda *_: 0.0)
    monkeypatch.setattr(price_basis, "hour_earned", lambda *_: 55.0)
    use = Use(0.5, 0.5)
    governing = Governing(NOTHING, use, use, use)
    year = Period(pd.Timestamp("2025-07-01"), pd.Timestamp("2026-06-30"))
    costing: Any = None
    found = price_basis.short_hours(costing, governing, year)
    assert (found.constraint, found.value, found.value_if_full) == (NOTHING, 0.0, 55.0)


def test_prices_decided_already_are_counted() -> None:
    frame = suggestions()
    moved = frame[frame["verdict"].isin(["raise", "lower"])]
    review = review_of(price_suggestions=frame)
    assert "decided already" not in price_answer(review).detail
    day = review.quarter.last_day
    decided = moved[["service", "vehicle_class"]].head(2).assign(new_price=999.0)
    decided["effective_from"] = [day + pd.Timedelta(days=1)] * 2
    decided["decided_on"] = day
    tables = dict(review.records.tables) | {"decisions": decided}
    told = replace(review, records=replace(review.records, tables=tables))
    assert "2 prices of these were decided already." in price_answer(told).detail


def test_prices_left_under_their_floor_are_counted() -> None:
    frame = suggestions()
    still = frame.index[~frame["verdict"].isin(["raise", "lower"])]
    frame.loc[still, ["current_price", "floor_price"]] = [300.0, 200.0]
    frame.loc[still[:2], "floor_price"] = 310.0
    answer = price_answer(review_of(price_suggestions=frame))
    assert "2 other prices stand under the floor" in answer.detail
