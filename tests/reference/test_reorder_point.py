"""The stock at which to order, against published examples.

Heizer, Render and Munson: the problem of the stationery shop's notebook binders, 10,000 a year, 300
working days, a lead time of 5 days; the reorder point is use a day × lead time. The solved problem
of the surgery packs: 60 a week, a lead time of 6 weeks and a safety stock of 153.6 packs. (The
figures are as printed; chapter and edition from memory.)
"""

from __future__ import annotations

import pandas as pd

from analysis.pricing.film_orders import reorder_area_m2
from tests.reference.published import Figures, published
from tests.reference.sources import HEIZER

NOTHING = pd.Series([float("nan")])


@published(HEIZER, "notebook binders")
def test_use_a_day_by_lead_time(figures: Figures) -> None:
    a_week = pd.Series([10_000 / 300 * 7])
    (found,) = reorder_area_m2(a_week, NOTHING, lead_days=5, safety_days=0)
    figures.add("Reorder point, binders", found, "166.67", 0.005)
    figures.add("Reorder point, whole binders", round(found), "167")


@published(HEIZER, "surgery packs")
def test_with_a_safety_stock(figures: Figures) -> None:
    """A safety stock of 153.6 packs is 153.6 ÷ 60 weeks of use."""
    days = 153.6 / 60 * 7
    (found,) = reorder_area_m2(pd.Series([60.0]), NOTHING, lead_days=6 * 7, safety_days=days)
    figures.add("Reorder point, packs", found, "513.6")
    (bare,) = reorder_area_m2(pd.Series([60.0]), NOTHING, lead_days=6 * 7, safety_days=0)
    figures.add("Reorder point without safety stock, packs", bare, "360")
