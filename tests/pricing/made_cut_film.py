"""Shops that sell film over the counter, and what a sale costs, for price list and kits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing, cost_records
from analysis.pricing.sale_costs import SaleCosts
from analysis.records.model import Records
from tests.shops import records_of

SALE_COLUMNS = "sale_id | sold_on | film | length | width | price | service"


def costed(folder: Path, toml: str, day: pd.Timestamp, **tables: str) -> tuple[Costing, Records]:
    """A shop written down, read and costed up to a day."""
    records = records_of(folder / "shop", toml, **tables)
    return cost_records(records, day), records


def sales_to(records: Records, day: pd.Timestamp) -> pd.DataFrame:
    """The counter sales up to a day, as far as the list and the kits read them."""
    sold = records["counter_sales"]
    sold = sold[sold["sold_on"] <= day]
    columns = ["sale_id", "sold_on", "film", "service", "length_m", "width_m"]
    return sold[columns].reset_index(drop=True)


def sale_costs(
    staff: float,
    installs: float,
    *,
    films: dict[str, tuple[float, float]] | None = None,
    services: dict[str, tuple[float, float]] | None = None,
    area_m2: float = 2.0,
) -> SaleCosts:
    """Costs over all, and of the films and services that have their own; of a sale so large."""
    return SaleCosts(_each(films or {}), _each(services or {}), staff, installs, area_m2)


def _each(costs: dict[str, tuple[float, float]]) -> pd.DataFrame:
    rows = np.array(list(costs.values()), dtype=float).reshape(-1, 2)
    index = pd.Index(list(costs), dtype="str")
    return pd.DataFrame(rows, index=index, columns=["staff_each", "installs_each"])
