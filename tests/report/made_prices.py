"""Made-up prices for the made-up review: what jobs cost, and what to ask, in agreement."""

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.pricing.floor import at_price, floor_price
from analysis.record_tables import RECORD_TABLES
from analysis.records.cells import dtype_of
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.report.results import Review
from analysis.settings import Settings, parse_settings

FORMULA_LIKE = '=SUM(A1) "chrome" delete'
EMOJI = "tint 🚗, rear"
TOML = """
currency = "USD"
area_unit = "sq ft"
[fees]
card_percent = 2.9
card_fixed = 0.30
[targets]
margin = 0.45
[targets.service."Full Colour Change"]
margin = 0.40
[targets.service."a service without a price"]
margin = 0.10
[pricing]
round_to = 5
largest_change = 0.12
"""
SHOP = parse_settings(TOML)
NOTHING = np.nan
# service, class, hours, film m², film cost a m², redo fixed, redo share, current, suggested,
# verdict, jobs
_ROWS = (
    (FORMULA_LIKE, None, 1.5, 0.0, NOTHING, NOTHING, 0.02, 140.0, 140.0, "hold", 12),
    ("full colour change", "large car", 34.0, 24.5, 31.0, 88.0, NOTHING, 3595.0, 3760.0,
     "raise", 31),
    ("full colour change", "midsize car", 30.5, 21.0, 31.0, 88.0, NOTHING, 3350.0, 3350.0,
     "hold", 22),
    ("hood", "large car", 2.4, 2.1, 28.5, 0.0, NOTHING, 305.0, 290.0, "lower", 44),
    ("hood", None, 2.2, 1.9, 28.5, 0.0, NOTHING, 280.0, 280.0, "not enough evidence", 3),
    ("paint guard", "large car", 12.0, 8.0, NOTHING, NOTHING, 0.03, 1490.0, 1490.0,
     "not enough evidence", 2),
    ("roof", "compact car", 2.9, 2.6, 30.25, 6.4, NOTHING, 350.0, 375.0, "raise", 61),
    ("roof", "standard sport utility vehicle", 3.6, 3.4, 30.25, 6.4, NOTHING, 510.0, 510.0,
     "hold", 18),
    ("roof", None, 3.1, 2.8, 30.25, 6.4, NOTHING, NOTHING, NOTHING, "not enough evidence", 1),
    (EMOJI, "minivan", 3.0, 3.3, 9.8, NOTHING, 0.05, 95.0, 105.0, "raise", 27),
    (EMOJI, None, NOTHING, 3.0, 9.8, NOTHING, NOTHING, 250.0, 250.0, "not enough evidence", 0),
)  # fmt: skip
_NAMES = (
    "service", "vehicle_class", "expected_hours", "film_area_m2", "film_cost_per_m2", "redo_fixed",
    "redo_rate_share", "current_price", "suggested_price", "verdict", "jobs",
)  # fmt: skip
REASON = (
    "Costs rose by 6 % since the price was set, the price stands under its floor, and 14 of the "
    "31 quotes were won at it or above; a fifth of the jobs may go before the change loses money."
)


def prices(settings: Settings = SHOP) -> dict[str, pd.DataFrame]:
    """`price_basis`, `price_suggestions`, `win_chances` and `model_surcharges`, inside names."""
    rows = pd.DataFrame(list(_ROWS), columns=list(_NAMES))
    rows["vehicle_class"] = rows["vehicle_class"].astype("str")
    rows = rows.assign(labour_rate=29.4, consumables_rate=3.4271839, overhead_rate=21.987654321)
    film = (rows["film_area_m2"] * rows["film_cost_per_m2"]).mask(rows["film_area_m2"] == 0, 0.0)
    direct = film + rows["expected_hours"] * (rows["labour_rate"] + rows["consumables_rate"])
    cost = direct + rows["redo_fixed"].fillna(direct * rows["redo_rate_share"])
    enough = pd.array(rows["jobs"] >= settings.pricing.fewest_jobs, dtype="boolean")
    basis = rows[[*_NAMES[:7], "jobs", "labour_rate", "consumables_rate", "overhead_rate"]].assign(
        expected_hours_sd=0.4,
        bay_hours_each=rows["expected_hours"] * 0.8,
        expected_cost=cost,
        cost_error=cost * 0.03,
        target_margin_share=[settings.target_margin(each) for each in rows["service"]],
        hour_value=0.0,
        cost_drift_share=0.04,
        apart=pd.Series(None, index=rows.index, dtype="str"),
        price_drift_share=0.02,
        price_since=pd.Timestamp("2026-01-01"),
        note=pd.Series(None, index=rows.index, dtype="str"),
        enough=enough,
    )
    return {
        "price_basis": basis,
        "price_suggestions": _suggestions(rows, cost, enough, settings),
        "win_chances": _win_chances(rows),
        "model_surcharges": _surcharges(),
    }


def _surcharges() -> pd.DataFrame:
    """Of a class of its own, of one that the list has under no other name, and one not sure."""
    return pd.DataFrame(
        {
            "service": ["hood", "hood", "roof", "roof", "roof"],
            "vehicle_class": ["large car", "van", "compact car", "compact car", "compact car"],
            "make": ["Brenhall", "Brenhall", "Harrow", "Harrow", "Oakley"],
            "model": ["Garrow", "Loft", "Dart", "Pike", "Fen"],
            "jobs": [9, 7, 6, 12, 2],
            "model_jobs": [20, 9, 8, 30, 14],
            "extra_hours": [1.6, 0.9, 0.4, 1.0, 1.2],
            "hour_must_earn": 62.0,
            "surcharge": [100.0, 55.0, 25.0, 60.0, 75.0],
            "price": [390.0, 335.0, 400.0, 435.0, 450.0],
            "enough": pd.array([True, True, True, True, False], dtype="boolean"),
        }
    )


def _suggestions(
    rows: pd.DataFrame, cost: pd.Series, enough: object, settings: Settings
) -> pd.DataFrame:
    now = [at_price(p, c, settings) for p, c in zip(rows["current_price"], cost, strict=True)]
    then = [at_price(p, c, settings) for p, c in zip(rows["suggested_price"], cost, strict=True)]
    floors = [
        floor_price(c, settings.target_margin(s), settings)
        for s, c in zip(rows["service"], cost, strict=True)
    ]
    change = rows["suggested_price"] / rows["current_price"] - 1
    gain = pd.Series([b.contribution - a.contribution for a, b in zip(now, then, strict=True)])
    left = pd.Series([each.contribution for each in then])
    return rows[["service", "vehicle_class", "jobs"]].assign(
        quotes=rows["jobs"] * 2,
        current_price=rows["current_price"],
        floor_price=floors,
        suggested_price=rows["suggested_price"],
        change_share=change,
        verdict=rows["verdict"],
        expected_gain=gain * 4,
        gain_low=gain * 1,
        gain_high=gain * 7,
        break_even_volume_share=-gain / left.where(left > 0),
        reason=REASON,
        probability_gains=0.85,
        expected_cost=cost,
        margin_share=[each.contribution_share for each in now],
        suggested_margin_share=[each.contribution_share for each in then],
        win_share=0.55,
        suggested_win_share=0.55 - change,
        enquiries=8.0,
        next_step=pd.Series(None, index=rows.index, dtype="str"),
        enough=enough,
    )


def _win_chances(rows: pd.DataFrame) -> pd.DataFrame:
    services = rows["service"].drop_duplicates().to_list()
    frame = pd.DataFrame({"service": services, "quotes": 60, "won": 33, "won_share": 0.55})
    shares = ("won", "at_list", "lost_by_rise")
    columns = {
        f"{name}_{end}": value
        for name in shares
        for end, value in (("low_share", 0.4), ("high_share", 0.6))
    }
    return frame.assign(
        **columns,
        price_spread_share=0.06,
        at_list_share=0.55,
        lost_by_rise_share=0.1,
        slope=-2.0,
        slope_low=-3.5,
        slope_high=-0.8,
        learnt=True,
        note=pd.Series(None, index=frame.index, dtype="str"),
        enough=pd.array([True] * len(frame), dtype="boolean"),
    )


def no_records(settings: Settings) -> Records:
    """Records without a row."""
    tables = {
        name: pd.DataFrame(
            {column.inside: pd.Series(dtype=dtype_of(column)) for column in table.columns}
            | {"row": pd.Series(dtype="int64")}
        )
        for name, table in RECORD_TABLES.items()
    }
    doubts = pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Records(tables, doubts, {}, (), frozenset(), settings)


def price_review(
    settings: Settings = SHOP,
    records: Records | None = None,
    **tables: pd.DataFrame | Unavailable,
) -> Review:
    """A review that holds the tables of this module alone; those given stand in their place."""
    results: Mapping[str, pd.DataFrame | Unavailable] = prices(settings) | tables
    return Review(
        quarter=Quarter(2026, 3),
        settings=settings,
        records=records or no_records(settings),
        results=results,
        year={},
        previous={},
    )
