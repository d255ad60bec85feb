"""More of orders, swaps, trends, recuts, and prices of rolls."""

# ruff: noqa: E501  (the rows of the example tables are read across)
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.findings.film_installed import newest_roll_costs
from analysis.findings.film_trends import _rise_interval, least_squares
from analysis.pricing.film_orders import usual_roll
from analysis.pricing.layout_sheets import roll_prices
from tests.findings.test_film_swaps import Rows, width_shop, widths
from tests.findings.test_recuts import used
from tests.pricing.test_film_orders import bought, orders, roofs
from tests.shops import records_of


def test_part_of_a_roll_is_a_whole_roll(tmp_path: Path) -> None:
    """4.5 m² wanted in rolls of 2 m²: three."""
    purchases = bought("A|2026-04-06|S|F|film|1|14|1|140", "B|2026-04-06|S|F|film|0.5|4|2|40")
    (row,) = orders(tmp_path, purchases=purchases, **roofs(size=3)).values()
    # 14 + 4 - 18 = 0 on hand.
    assert (row["order_rolls"], row["order_cost"]) == (3, pytest.approx(120))


def test_a_credit_that_came_later_is_in_no_price_of_the_day(tmp_path: Path) -> None:
    rows = bought("A|2026-04-06|S|F|film|1|14|1|140", "A|2026-07-10|S|F|credit|||1|70")
    records = records_of(tmp_path, purchases=rows, **roofs())
    costing = cost_records(records, pd.Timestamp("2026-06-28"))
    day = pd.Timestamp("2026-06-28")
    assert usual_roll(costing, day)["cost_per_m2"].item() == pytest.approx(10)
    assert roll_prices(costing, "F", day).item() == pytest.approx(10)
    newest = newest_roll_costs(costing.purchase_lines, costing.credits, day)
    assert newest["cost_per_m2"].item() == pytest.approx(10)


def test_the_knife_gap_is_packed_on_both_widths(tmp_path: Path) -> None:
    gaps = []

    class Noted(Rows):
        def __call__(self, pieces, sheet, knife_gap_m):
            gaps.append(knife_gap_m)
            return super().__call__(pieces, sheet, knife_gap_m)

    toml = 'length_unit = "m"\narea_unit = "m2"\n[film]\nknife_gap = 0.01\n[labour]\ndefault_wage = 10\n'
    widths(width_shop(tmp_path, {f"J{at}": "2 | 1 | 0.75" for at in range(6)}, toml), Noted())
    assert gaps == [0.01, 0.01]


def test_residuals_that_follow_each_other_widen_the_interval() -> None:
    """Variance x (1 + r) / (1 - r), r the correlation of one residual with the next."""
    years = np.arange(12) / 4.0
    design = np.column_stack([np.ones(12), years])
    y = np.repeat([0.0, 0.1, 0.0], 4)
    line = least_squares(design, y)
    e = line.residuals
    r = (e[1:] @ e[:-1]) / (e @ e)
    assert r > 0.3
    from scipy.stats import t

    plain = t.ppf(0.95, 10) * np.sqrt(line.covariance[1, 1])
    low, high = _rise_interval(line)
    assert (high - low) / 2 == pytest.approx(plain * np.sqrt((1 + r) / (1 - r)))


def test_a_recut_in_another_film_is_no_recut_of_this_cut(tmp_path: Path) -> None:
    size = "1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1"
    rows = f"""
    A | 2026-03-01 | J1 | 1 | GB    | roof | {size} | first
    B | 2026-03-02 | J1 | 1 | OTHER | roof | {size} | recut"""
    cuts, left_out = used(tmp_path, rows)
    assert cuts["again"].to_dict() == {"A": False}
    assert left_out["recuts_alone"] == 1


def test_as_many_uses_as_asked_are_enough_to_stock_by(tmp_path: Path) -> None:
    """Two roofs, fewest_jobs = 2."""
    purchases = bought("A|2026-04-06|S|F|film|1|14|1|140")
    (row,) = orders(tmp_path, purchases=purchases, **roofs(count=2)).values()
    assert row["reorder_area_m2"] == row["reorder_area_m2"]
    assert row["reorder_area_m2"] > 0
