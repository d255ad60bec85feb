"""The arithmetic of a price."""

import pandas as pd
import pytest

from analysis.pricing.price_lines import PriceTerms, contributions, fees, margin_shares


def test_nothing_is_paid_by_card_where_nothing_is_asked() -> None:
    terms = PriceTerms(1.0, 0.03, 0.5)
    price, cost = pd.Series([0.0, 100.0]), pd.Series([40.0, 40.0])
    assert fees(price, terms).tolist() == [0.0, 3.5]
    assert contributions(price, cost, terms).tolist() == [-40.0, 56.5]


def test_a_margin_is_a_share_of_the_price_net_of_tax() -> None:
    terms = PriceTerms(1 / 1.25, 0.0, 0.0)
    price, cost = pd.Series([125.0]), pd.Series([60.0])
    assert margin_shares(price, cost, terms).tolist() == pytest.approx([0.4])
