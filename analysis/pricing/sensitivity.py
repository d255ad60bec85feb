"""How far the suggested prices hang on what was assumed: the suggestions again, one thing changed.

What customers do is learnt once and used again; only the costs and the target change.
"""

from typing import Final

import pandas as pd

from analysis.price_tables import PRICE_SENSITIVITY
from analysis.pricing.demand import Demand
from analysis.pricing.price_choice import respond
from analysis.pricing.price_words import NOT_ENOUGH
from analysis.pricing.suggest import without_words
from analysis.settings import Settings

FILM_LESS: Final = "film costs 10 % less"
FILM_MORE: Final = "film costs 10 % more"
SHORT: Final = "hours are short"
IDLE: Final = "hours stand idle"
TARGET_LOWER: Final = "target margin 5 points lower"
TARGET_HIGHER: Final = "target margin 5 points higher"
WAGES_LESS: Final = "wages are 10 % less"
WAGES_MORE: Final = "wages are 10 % more"
_POINTS: Final = 0.05
_TENTH: Final = 0.10


def price_sensitivity(
    basis: pd.DataFrame, demand: Demand | None, settings: Settings, suggestions: pd.DataFrame
) -> pd.DataFrame:
    """The suggestions with one assumption changed at a time.

    Parameters
    ----------
    suggestions : table price_suggestions of the same basis, same rows in the same order.

    Returns
    -------
    DataFrame
        Inside names of the table price_sensitivity, by its keys; cells without a verdict are left
        out. `moved` : whether the suggested price is another.

    Notes
    -----
    A redo reserve that is an amount stays as it is; one that is a part of the cost moves with it.
    """
    told = (suggestions["verdict"] != NOT_ENOUGH).to_numpy(bool)
    response = respond(basis, demand, settings)
    before = suggestions["suggested_price"].reset_index(drop=True)
    parts = []
    for assumption, changed in assumptions(basis).items():
        found = without_words(changed, demand, response, settings)
        found = found.assign(
            assumption=assumption, moved=(found["suggested_price"] - before).abs() > 1e-9
        )
        parts.append(found.loc[told, PRICE_SENSITIVITY.inside_names])
    table = pd.concat(parts, ignore_index=True)
    table = table.astype({"moved": "boolean", "assumption": "str", "verdict": "str"})
    return table.sort_values(PRICE_SENSITIVITY.keys, kind="stable", ignore_index=True)


def assumptions(basis: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """The basis under each assumption; short hours only where it is known what they would earn."""
    changed = {
        FILM_LESS: with_costs(basis, film=1 - _TENTH),
        FILM_MORE: with_costs(basis, film=1 + _TENTH),
        IDLE: basis.assign(hour_value=0.0),
        TARGET_LOWER: _with_target(basis, -_POINTS),
        TARGET_HIGHER: _with_target(basis, _POINTS),
        WAGES_LESS: with_costs(basis, wage=1 - _TENTH),
        WAGES_MORE: with_costs(basis, wage=1 + _TENTH),
    }
    if basis["hour_value_if_full"].notna().any():
        changed[SHORT] = basis.assign(hour_value=basis["hour_value_if_full"])
    return changed


def with_costs(basis: pd.DataFrame, film: float = 1.0, wage: float = 1.0) -> pd.DataFrame:
    """The basis with film and wages at these factors of today's."""
    area = basis["film_area_m2"]
    film_cost = (area * basis["film_cost_per_m2"]).mask(area == 0, 0.0)
    labour = basis["expected_hours"] * basis["labour_rate"]
    # What does not change is left out: where it is not known, it makes nothing unknown.
    changes = [(film_cost, film), (labour, wage)]
    more = sum((cost * (by - 1) for cost, by in changes if by != 1), 0.0)
    reserve = basis["redo_rate_share"].where(basis["redo_fixed"].isna(), 0.0)
    return basis.assign(
        expected_cost=basis["expected_cost"] + more * (1 + reserve),
        film_cost_per_m2=basis["film_cost_per_m2"] * film,
        labour_rate=basis["labour_rate"] * wage,
    )


def _with_target(basis: pd.DataFrame, points: float) -> pd.DataFrame:
    own = basis["target_margin_share"]
    target = (own + points).clip(lower=0.0, upper=own.clip(lower=0.95))
    return basis.assign(target_margin_share=target)
