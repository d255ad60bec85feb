"""Where the film went, by group: the exact split of what was consumed."""

import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period, group_sums
from analysis.sums import ratio

_AREAS = (
    "finished_area_m2",
    "side_loss_area_m2",
    "handling_margin_area_m2",
    "opening_area_m2",
    "recut_area_m2",
    "damage_area_m2",
    "test_area_m2",
    "end_of_roll_area_m2",
    "waste_area_m2",
    "side_and_handling_area_m2",
)


def waste_by(costing: Costing, key: str, period: Period, fewest: int) -> pd.DataFrame | Unavailable:
    """Film cut in a period, by `vehicle_class`, `service`, `film` or `panel`.

    By film all cuts count, counter sales and shop use included; otherwise cuts of known jobs.
    A first-time cut without finished sizes counts in `cuts` and `cuts_unmeasured` and in no area.
    Side loss and handling margin are missing for a group in which a piece was not measured; their
    sum `side_and_handling_area_m2` is not. [m²]
    """
    pulls = costing.shelf.pulls
    if pulls.empty:
        return Unavailable(
            f"waste_by_{key.removeprefix('vehicle_')}",
            ("cuts",),
            "Waste needs the cuts table, or pulled_length and finished_area in jobs.",
        )
    if key == "panel" and pulls["panel"].isna().all():
        return Unavailable(
            "waste_by_panel",
            ("cuts",),
            "Waste by panel needs the panel column of the cuts table filled in.",
        )
    chosen = pulls[period.holds(pulls["cut_on"])]
    if key != "film":
        chosen = chosen[chosen["job_line"].notna()]
    if key in ("service", "vehicle_class"):
        at = chosen["job_line"].astype("int64").to_numpy()
        chosen = chosen.assign(**{key: costing.lines[key].take(at).to_numpy()})
    measured = chosen[chosen["measured"]]
    share = ratio(measured["waste_area_m2"], measured["consumed_m2"])
    nothing = measured["consumed_m2"] == 0
    measured = measured.assign(
        waste_cost=(measured["film_cost"] * share).where(~nothing, measured["film_cost"] * 0.0)
    )
    sums = {name: name for name in _AREAS} | {
        "consumed_area_m2": "consumed_m2",
        "waste_cost": "waste_cost",
    }
    areas = group_sums(measured, {key: key}, sums, None)
    counts = group_sums(chosen.assign(no=~chosen["measured"]), {key: key}, {}, "cuts")
    unmeasured = group_sums(chosen[~chosen["measured"]], {key: key}, {}, "cuts_unmeasured")
    table = areas.reindex(counts.index).join(counts)
    return table.assign(
        cuts_unmeasured=unmeasured["cuts_unmeasured"].reindex(table.index, fill_value=0),
        waste_share=ratio(table["waste_area_m2"], table["consumed_area_m2"]),
        enough=is_enough(table["cuts"], fewest),
    ).reset_index()
