"""Where the film went, by group: the exact split of what was consumed."""

import pandas as pd

from analysis.costing.cuts import FROM_LOG
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period, group_sums
from analysis.sums import ratio

# What only a row of the cuts table tells; a job sheet has one length for all of it.
_TOLD_BY_CUTS = (
    "opening_area_m2",
    "recut_area_m2",
    "damage_area_m2",
    "test_area_m2",
    "end_of_roll_area_m2",
)
_NAMES = {"vehicle_class": "class", "roll_width_m": "width"}
# Widths that differ by less than a tenth of a millimetre are one width.
_WIDTH_PLACES = 4
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
    "avoidable_area_m2",
    "avoidable_in_job_area_m2",
)


def waste_by(
    costing: Costing, avoidable: pd.DataFrame, key: str, period: Period, fewest: int
) -> pd.DataFrame | Unavailable:
    """Film cut in a period, by `vehicle_class`, `service`, `film`, `panel` or `roll_width_m`.

    `avoidable` comes from `lay_again`, for the pulls of the period at least. By film all
    cuts count, counter sales and shop use included; otherwise cuts of known jobs. A first-time cut
    without finished sizes counts in `cuts` and `cuts_unmeasured` and in no area. Side loss,
    handling margin and what was avoidable are missing for a group in which a piece was not
    measured; the sum `side_and_handling_area_m2` is not. Openings, recuts, damage, tests and ends
    of rolls are missing for a group without a row in the cuts table, where they stand in that sum.
    A cut from an offcut has no roll width.
    No table is by person: who cut a piece says little of why film was lost. [m²]
    """
    pulls = costing.shelf.pulls
    if pulls.empty:
        return Unavailable(
            f"waste_by_{_NAMES.get(key, key)}",
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
    if key == "roll_width_m":
        width = chosen["pulled_width_m"].where(chosen["source"] != "offcut")
        chosen = chosen.assign(roll_width_m=width.round(_WIDTH_PLACES))
    measured = chosen[chosen["measured"]].join(avoidable, validate="1:1")
    share = ratio(measured["waste_area_m2"], measured["consumed_m2"])
    saved = ratio(measured["avoidable_area_m2"], measured["consumed_m2"])
    nothing = measured["consumed_m2"] == 0
    cost = measured["film_cost"]
    measured = measured.assign(
        waste_cost=(cost * share).where(~nothing, cost * 0.0),
        avoidable_cost=(cost * saved).where(~nothing, cost * 0.0),
    )
    sums = {name: name for name in (*_AREAS, "waste_cost", "avoidable_cost")}
    sums["consumed_area_m2"] = "consumed_m2"
    areas = group_sums(measured, {key: key}, sums, None)
    counts = group_sums(chosen.assign(no=~chosen["measured"]), {key: key}, {}, "cuts")
    unmeasured = group_sums(chosen[~chosen["measured"]], {key: key}, {}, "cuts_unmeasured")
    table = areas.reindex(counts.index).join(counts)
    logged = group_sums(measured[measured["pulled_from"] == FROM_LOG], {key: key}, {}, "logged")
    is_told = logged["logged"].reindex(table.index).notna()
    told_apart = {name: table[name].where(is_told) for name in _TOLD_BY_CUTS}
    return table.assign(
        **told_apart,
        cuts_unmeasured=unmeasured["cuts_unmeasured"].reindex(table.index, fill_value=0),
        waste_share=ratio(table["waste_area_m2"], table["consumed_area_m2"]),
        enough=is_enough(table["cuts"], fewest),
    ).reset_index()
