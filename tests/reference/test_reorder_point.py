"""The stock at which to order, against published examples.

Source: Heizer, Render and Munson, Operations Management, chapter 12, Managing Inventory. The
problem of the stationery shop's notebook binders: 10,000 a year, 300 working days, a lead time of
5 days; the reorder point is use a day × lead time, 167 binders. The solved problem of the surgery
packs: 60 a week, a lead time of 6 weeks and a safety stock of 153.6 packs; the reorder point is
360 + 153.6 = 513.6 packs. (The figures are as printed; chapter and edition from memory.)
"""

import pandas as pd
import pytest

from analysis.pricing.film_orders import reorder_area_m2

NOTHING = pd.Series([float("nan")])


def test_use_a_day_by_lead_time() -> None:
    a_week = pd.Series([10_000 / 300 * 7])
    (found,) = reorder_area_m2(a_week, NOTHING, lead_days=5, safety_days=0)
    assert found == pytest.approx(166.67, abs=0.005)
    assert round(found) == 167


def test_with_a_safety_stock() -> None:
    """A safety stock of 153.6 packs is 153.6 ÷ 60 weeks of use."""
    days = 153.6 / 60 * 7
    (found,) = reorder_area_m2(pd.Series([60.0]), NOTHING, lead_days=6 * 7, safety_days=days)
    assert found == pytest.approx(513.6)
    (bare,) = reorder_area_m2(pd.Series([60.0]), NOTHING, lead_days=6 * 7, safety_days=0)
    assert bare == pytest.approx(360)
