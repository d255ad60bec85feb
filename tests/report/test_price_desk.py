"""The desk of prices: moving an assumption changes the sheet and the year."""

from dataclasses import replace
from typing import Any

import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report.price_desk import price_desk, scenario
from tests.demo import demo_review as review


def parts() -> tuple[dict[str, Any], Any, Any]:
    """The sliders by the beginning of their names, the figure and the text of a fresh desk."""
    *sliders, figure, text = price_desk(review()).children
    return {each.description.split(",")[0]: each for each in sliders}, figure, text


def at_rest(**moved: float) -> tuple[pd.DataFrame, Any]:
    pricing, settings = review().pricing, review().settings
    assert pricing is not None
    assert isinstance(pricing.basis, pd.DataFrame)
    assert not isinstance(pricing.demand, Unavailable)
    usual = {
        "target": settings.targets.margin,
        "wage": 0.0,
        "film": 0.0,
        "largest": settings.pricing.largest_change,
    }
    return scenario(pricing.basis, pricing.demand, settings, **usual | moved)


def test_at_rest_the_desk_says_what_the_review_says() -> None:
    suggestions, outlook = at_rest()
    frame = review().frame("price_suggestions")
    # The review's reasons also say which prices are on trial.
    assert frame["reason"].str.startswith(tuple(suggestions["reason"])).all()
    pd.testing.assert_frame_equal(suggestions.drop(columns="reason"), frame.drop(columns="reason"))
    table = review().frame("price_outlook").set_index("prices")
    assert outlook.difference.mean == pytest.approx(table.loc["difference", "contribution"])
    _, figure, text = parts()
    assert list(figure.data[0].x) == [outlook.held.mean, outlook.total.mean]
    raised = int((frame["verdict"] == "raise").sum())
    assert f"Raise {raised} prices" in text.value


def test_a_smaller_largest_change_brings_less() -> None:
    sliders, figure, text = parts()
    before = (figure.data[0].x, text.value)
    sliders["Largest change"].value = 4.0
    assert figure.data[0].x[0] == pytest.approx(before[0][0])
    assert figure.data[0].x[1] < before[0][1]
    assert text.value != before[1]
    suggestions, _ = at_rest(largest=0.04)
    assert (suggestions["change_share"].abs() <= 0.04 + 1e-9).all()


def test_dearer_wages_and_film_cost_money() -> None:
    base, dear, film = (at_rest(**each) for each in ({}, {"wage": 0.1}, {"film": 0.1}))
    for frame, outlook in (dear, film):
        assert outlook.held.mean < base[1].held.mean
        known = base[0]["floor_price"].notna()
        assert (frame["floor_price"][known] >= base[0]["floor_price"][known]).all()
    # Labour is in every job, film is not.
    assert (dear[0]["floor_price"] > base[0]["floor_price"])[known].all()


def test_the_target_moves_the_floors_of_every_service_by_the_same_points() -> None:
    base, _ = at_rest()
    higher, _ = at_rest(target=review().settings.targets.margin + 0.05)
    pricing = review().pricing
    assert pricing is not None
    assert isinstance(pricing.basis, pd.DataFrame)
    fees, targets = review().settings.fees, pricing.basis["target_margin_share"]
    card = fees.card_percent / 100
    expected = base["floor_price"] * (1 - targets - card) / (1 - targets - 0.05 - card)
    assert higher["floor_price"].to_numpy() == pytest.approx(expected.to_numpy())


def test_without_prices_the_desk_says_why() -> None:
    with pytest.raises(ValueError, match="no prices"):
        price_desk(replace(review(), pricing=None))
    pricing = review().pricing
    assert pricing is not None
    none = Unavailable("price_basis", ("price_list",), "Prices need the table price_list.")
    with pytest.raises(ValueError, match="price_list"):
        price_desk(replace(review(), pricing=replace(pricing, basis=none)))
