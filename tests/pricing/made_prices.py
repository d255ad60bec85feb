"""Price bases and demands made by hand, for the tests of suggestions and what follows from them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from scipy.special import logit

from analysis.price_tables import PRICE_BASIS
from analysis.pricing.demand import Demand
from analysis.pricing.price_lines import PriceTerms, floor_prices
from analysis.settings import Fees, Pricing, Settings, Targets

SHOP = Settings(
    fees=Fees(card_percent=3.0, card_fixed=0.5),
    targets=Targets(margin=0.45),
    pricing=Pricing(round_to=5, largest_change=0.12, smallest_change=0.02, fewest_jobs=5),
)
# A roof: film 40, four hours at 30 and 5 of consumables, a reserve of 10.
CELL: dict[str, Any] = {
    "service": "roof",
    "vehicle_class": "compact car",
    "jobs": 20,
    "expected_hours": 4.0,
    "expected_hours_sd": 1.0,
    "bay_hours_each": 3.0,
    "film_area_m2": 2.0,
    "film_cost_per_m2": 20.0,
    "labour_rate": 30.0,
    "consumables_rate": 5.0,
    "redo_fixed": 10.0,
    "redo_rate_share": np.nan,
    "cost_error": 0.0,
    "target_margin_share": 0.45,
    "overhead_rate": 12.0,
    "hour_value": 0.0,
    "cost_drift_share": np.nan,
    "apart": np.nan,
    "note": None,
    "current_price": 400.0,
    "short_hours_each": 4.0,
    "hour_value_if_full": 60.0,
    "price_since": pd.Timestamp("2024-01-01"),
    "price_drift_share": np.nan,
    "jobs_year": 12,
}


def basis_of(*cells: dict[str, Any]) -> pd.DataFrame:
    """A price basis: `CELL` with what each row changes; the expected cost is the sum of parts."""
    frame = pd.DataFrame([CELL | cell for cell in cells])
    film = frame["film_area_m2"] * frame["film_cost_per_m2"]
    direct = film + frame["expected_hours"] * (frame["labour_rate"] + frame["consumables_rate"])
    cost = direct + frame["redo_fixed"].fillna(frame["redo_rate_share"] * direct)
    if "expected_cost" not in frame:
        frame["expected_cost"] = cost
    frame["expected_cost"] = frame["expected_cost"].fillna(cost)
    frame["enough"] = frame["jobs"] >= SHOP.pricing.fewest_jobs
    frame["note"] = frame["note"].astype("str").where(frame["note"].notna())
    frame["vehicle_class"] = frame["vehicle_class"].astype("str")
    return frame[[*PRICE_BASIS.inside_names, *frame.columns.difference(PRICE_BASIS.inside_names)]]


def demand_for(
    basis: pd.DataFrame,
    slope: float | Sequence[float],
    *,
    win: float = 0.6,
    doubt: float = 0.0,
    habit: Sequence[float] = (0.0,),
    enquiries: float = 10.0,
    draws: int = 400,
    learnt: bool = True,
    **cells: Any,
) -> Demand:
    """Demand with these slopes, known up to a normal error of `doubt` in log(−slope)."""
    steep = np.broadcast_to(np.asarray(slope, dtype=float), len(basis))
    error = np.random.default_rng(3).standard_normal(draws)[:, None] * doubt
    table = basis[["service", "vehicle_class"]].assign(
        quotes=200,
        won=round(200 * win),
        quotes_service=400,
        enquiries=enquiries,
        learnt=learnt,
        note=pd.Series(np.nan, basis.index, dtype="str"),
    )
    return Demand(
        table.assign(**cells).reset_index(drop=True),
        np.full((draws, len(basis)), logit(win)),
        steep * np.exp(error),
        np.tile(np.asarray(habit, dtype=float), (len(basis), 1)),
    )


def floor_of(basis: pd.DataFrame, settings: Settings = SHOP) -> pd.Series:
    """The floors of a basis. [money]"""
    terms = PriceTerms.of(settings)
    return floor_prices(basis["expected_cost"], basis["target_margin_share"], terms)
