"""The same tables in plain pandas, written by hand for the records of `scale_shop`.

It may leave out what the SQL leaves out (see `scale_sql`).
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.model import Records
from analysis.settings import Settings


def by_pandas(records: Records) -> dict[str, pd.DataFrame]:
    """The tables of `by_package`, with the columns that are compared."""
    jobs = records["jobs"]
    hours = _paid(records["hours"], records["rates"], records.settings)
    cuts = _costed(records["cuts"], _landed(records["purchases"]))
    key = ["job_id", "line"]
    rework = hours["hours"].where(hours["task"] == "rework", 0.0)
    labour = (
        hours.assign(rework=rework)
        .groupby(key, sort=False)[["hours", "rework", "cost"]]
        .sum()
        .set_axis(["actual_hours", "rework_hours", "labour_cost"], axis=1)
    )
    film = cuts.groupby(key, sort=False)["film_cost"].sum()
    lines = jobs.join(labour, on=key).join(film, on=key)
    lines["bay_hours"] = _bay(lines, hours)
    lines["payment_fee"] = _fees(jobs, records.settings)
    quarter = lines["finished_on"].dt.to_period("Q")
    rates = _rates(records, hours, quarter.unique())
    lines["net_revenue"] = lines["invoiced_price"] - lines["payment_fee"]
    lines["overhead_cost"] = lines["actual_hours"] * quarter.map(rates["overhead"])
    lines["consumables_cost"] = lines["actual_hours"] * quarter.map(rates["consumables"])
    lines["material_margin"] = lines["net_revenue"] - lines["film_cost"] - lines["consumables_cost"]
    lines["contribution"] = lines["material_margin"] - lines["labour_cost"]
    lines["full_margin"] = lines["contribution"] - lines["overhead_cost"]
    return {
        "job_costs": lines,
        "margin_by_service": _margin(lines, "service"),
        "margin_by_class": _margin(lines, "vehicle_class"),
        "margin_by_film": _margin(lines, "film"),
        "hours_by_service": _hours(lines, ["service"]),
        "hours_by_class": _hours(lines, ["vehicle_class"]),
        "hours_by_model": _hours(lines, ["make", "model"]),
        "waste_by_class": _waste(cuts, jobs),
    }


def _paid(hours: pd.DataFrame, rates: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    rates = rates.sort_values("effective_from")
    asked = hours[["installer", "worked_on"]].reset_index().sort_values("worked_on")
    known = rates[["installer", "effective_from", "wage"]]
    found = pd.merge_asof(
        asked, known, left_on="worked_on", right_on="effective_from", by="installer"
    ).set_index("index")["wage"]
    first = rates.drop_duplicates("installer").set_index("installer")["wage"]
    wage = found.reindex(hours.index).fillna(hours["installer"].map(first))
    labour = settings.labour
    factor = np.where(hours["overtime"].astype(bool), labour.overtime_multiplier, 1.0)
    return hours.assign(cost=hours["hours"] * wage * (factor + labour.on_cost))


def _bay(lines: pd.DataFrame, hours: pd.DataFrame) -> pd.Series:
    person = hours.groupby(["job_id", "worked_on", "installer"], sort=False)["hours"].sum()
    day = person.groupby(level=["job_id", "worked_on"], sort=False).max()
    held = day.groupby(level="job_id", sort=False).sum()
    whole = lines.groupby("job_id")["actual_hours"].transform("sum")
    return lines["job_id"].map(held) * lines["actual_hours"] / whole


def _landed(purchases: pd.DataFrame) -> pd.DataFrame:
    value = purchases["quantity"] * purchases["unit_price"] - purchases["discount"]
    is_freight = purchases["kind"] == "freight"
    freight = value[is_freight].groupby(purchases["invoice"]).sum()
    film = purchases[purchases["kind"] == "film"]
    return film.assign(
        area=film["quantity"] * film["roll_width_m"] * film["roll_length_m"],
        cost=value[film.index] + film["invoice"].map(freight).fillna(0.0),
    ).sort_values(["received_on", "row"])


def _costed(cuts: pd.DataFrame, film: pd.DataFrame) -> pd.DataFrame:
    """First-in first-out as the difference of cumulative cost at a pull's two ends."""
    cuts = cuts.assign(area=cuts["pulled_length_m"] * cuts["pulled_width_m"])
    ordered = cuts.sort_values(["cut_on", "row"])
    reached = ordered.groupby("film")["area"].cumsum()
    cost = pd.Series(0.0, index=ordered.index)
    for name, rolls in film.groupby("item"):
        at = reached[ordered["film"] == name]
        area = np.concatenate([[0.0], rolls["area"].cumsum()])
        paid = np.concatenate([[0.0], rolls["cost"].cumsum()])
        cost[at.index] = np.diff(np.interp(at, area, paid), prepend=0.0)
    return cuts.assign(film_cost=cost)


def _rates(records: Records, hours: pd.DataFrame, quarters: pd.Series) -> dict[str, pd.Series]:
    overheads = records["overheads"].groupby("month")["amount"].sum()
    practical = records["capacity"].groupby("month")["installer_hours"].sum()
    both = overheads.index.intersection(practical.index)
    bought = records["purchases"][records["purchases"]["kind"] == "consumable"]
    paid = bought["quantity"] * bought["unit_price"] - bought["discount"]
    per_month = paid.groupby(bought["received_on"].dt.to_period("M")).sum()
    worked = hours["hours"].groupby(hours["worked_on"].dt.to_period("M")).sum()
    overhead, consumables = {}, {}
    for quarter in quarters:
        last = quarter.asfreq("M", how="end")
        months = both[(both.to_period("M") > last - 12) & (both.to_period("M") <= last)]
        overhead[quarter] = overheads[months].sum() / practical[months].sum()
        consumables[quarter] = per_month[last - 11 : last].sum() / worked[last - 11 : last].sum()
    return {"overhead": pd.Series(overhead), "consumables": pd.Series(consumables)}


def _fees(jobs: pd.DataFrame, settings: Settings) -> pd.Series:
    fees = settings.fees
    paid = jobs[(jobs["payment"] == "card") & (jobs["invoiced_price"] > 0)]
    total = paid.groupby("job_id")["invoiced_price"].transform("sum")
    fee = total * fees.card_percent / 100 + fees.card_fixed
    cents = np.floor(fee * 100 + 0.5 + 1e-7)
    exact = paid["invoiced_price"] / total * cents
    base = np.floor(exact + 1e-6)
    left = cents - base.groupby(paid["job_id"]).transform("sum")
    order = pd.DataFrame({"job": paid["job_id"], "rest": -(exact - base).round(6)})
    rank = order.sort_values(["job", "rest"], kind="stable").groupby("job").cumcount()
    share = (base + (rank.reindex(paid.index) < left)) / 100
    return share.reindex(jobs.index, fill_value=0.0)


def _margin(lines: pd.DataFrame, key: str) -> pd.DataFrame:
    columns = ["net_revenue", "film_cost", "consumables_cost", "labour_cost", "overhead_cost"]
    columns += ["material_margin", "contribution", "actual_hours", "bay_hours", "full_margin"]
    grouped = lines.groupby(key)
    table = grouped[columns].sum().assign(jobs=grouped.size())
    return table.assign(
        full_margin_share=table["full_margin"] / table["net_revenue"],
        material_margin_per_bay_hour=table["material_margin"] / table["bay_hours"],
    ).reset_index()


def _hours(lines: pd.DataFrame, keys: list[str]) -> pd.DataFrame:
    columns = ["quoted_hours", "actual_hours", "rework_hours", "labour_cost"]
    grouped = lines.groupby(keys)
    table = grouped[columns].sum().assign(jobs=grouped.size())
    over = table["actual_hours"] - table["quoted_hours"]
    return table.assign(
        overrun_share=table["actual_hours"] / table["quoted_hours"] - 1,
        overrun_cost=over * table["labour_cost"] / table["actual_hours"],
    ).reset_index()


def _waste(cuts: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    first = cuts["reason"] == "first"
    pieces = cuts["pieces"].astype("float64")
    piece = pieces * cuts["piece_length_m"] * cuts["piece_width_m"]
    finished = (pieces * cuts["finished_length_m"] * cuts["finished_width_m"]).where(first, 0.0)
    parts = pd.DataFrame(
        {
            "consumed_area_m2": cuts["area"],
            "finished_area_m2": finished,
            "side_loss_area_m2": (cuts["area"] - piece).where(first, 0.0),
            "handling_margin_area_m2": (piece - finished).where(first, 0.0),
            "recut_area_m2": cuts["area"].where(cuts["reason"] == "recut", 0.0),
            "waste_area_m2": cuts["area"] - finished,
            "waste_cost": cuts["film_cost"] * (cuts["area"] - finished) / cuts["area"],
        }
    )
    classes = jobs.set_index(["job_id", "line"])["vehicle_class"]
    key = cuts[["job_id", "line"]].join(classes, on=["job_id", "line"])["vehicle_class"]
    grouped = parts.groupby(key)
    table = grouped.sum().assign(cuts=grouped.size())
    share = table["waste_area_m2"] / table["consumed_area_m2"]
    return table.assign(waste_share=share).reset_index()
