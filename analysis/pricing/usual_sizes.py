"""How large pieces usually are: the finished sizes written down, and the allowance that is held."""

from dataclasses import dataclass
from typing import Final

import pandas as pd

ALL_PANELS: Final = "all panels"
_MONTHS: Final = 12


@dataclass(frozen=True)
class Vehicle:
    """The vehicle asked about; its class is None where it is not known."""

    make: str
    model: str
    vehicle_class: str | None


def listed_panels(panels: pd.DataFrame, service: str, vehicle: Vehicle) -> pd.DataFrame:
    """Rows of `panels` for a service on a vehicle: of the model, and of its class for the rest.

    `source` says in words which of the two a row is.
    """
    rows = panels[panels["service"] == service]
    model = rows[(rows["make"] == vehicle.make) & (rows["model"] == vehicle.model)]
    of_class = rows[(rows["vehicle_class"] == vehicle.vehicle_class) & rows["model"].isna()]
    of_class = of_class[~of_class["panel"].isin(model["panel"])]
    return pd.concat(
        [
            model.assign(source="listed for this model"),
            of_class.assign(source="listed for this class"),
        ],
        ignore_index=True,
    )


def usual_allowance(cuts: pd.DataFrame, until: pd.Timestamp) -> pd.DataFrame:
    """The shop's usual allowance a side, by panel and for `ALL_PANELS`: `long_m, short_m`. [m]

    Median of (piece − finished) ÷ 2 along the long and the short side of the finished piece, over
    the first-time cuts of the last twelve months, else over all to date. NaN where there is none.
    """
    sizes = ["piece_length_m", "piece_width_m", "finished_length_m", "finished_width_m"]
    cuts = cuts[
        (cuts["reason"] == "first")
        & (cuts["cut_on"] <= until)
        & cuts["panel"].notna()
        & cuts[sizes].notna().all(axis=1)
    ]
    along = (cuts["piece_length_m"] - cuts["finished_length_m"]) / 2
    across = (cuts["piece_width_m"] - cuts["finished_width_m"]) / 2
    is_long = cuts["finished_length_m"] >= cuts["finished_width_m"]
    sides = pd.DataFrame(
        {"long_m": along.where(is_long, across), "short_m": across.where(is_long, along)}
    ).clip(lower=0.0)
    recent = cuts["cut_on"] > until - pd.DateOffset(months=_MONTHS)
    by_panel = [chosen.groupby(cuts["panel"]).median() for chosen in (sides[recent], sides)]
    of_all = (sides[recent] if recent.any() else sides).median().to_frame(ALL_PANELS).T
    return pd.concat([by_panel[0].combine_first(by_panel[1]), of_all])
