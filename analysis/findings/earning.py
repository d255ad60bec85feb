"""What an hour earns by service, what another mix would earn, and what an hour is worth."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd
from scipy.optimize import linprog

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, assert_reconciled
from analysis.findings.capacity_use import BAYS, INSTALLERS, NOTHING, UNKNOWN, Governing, Spare
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period, finished_in, group_sums
from analysis.periods import Quarter
from analysis.price_tables import BEST_MIX, EARNING_BY_SERVICE
from analysis.sums import ratio

ALL_SERVICES: Final = "all services"
# What ranks services while that constraint holds.
GOVERNS: Final = {
    BAYS: "by bay hour",
    INSTALLERS: "by installer hour",
    NOTHING: "by contribution",
    UNKNOWN: "not known",
}
_SUMS: Final = ("material_margin", "actual_hours", "bay_hours", "contribution", "net_revenue")


@dataclass(frozen=True, eq=False)
class Plan:
    """The best plan of a linear programme.

    `amounts` : how much of each activity; `earns` : the sum that they leave; `hour_values` : what
    one unit more of each limit would add (the dual prices).
    """

    amounts: np.ndarray
    earns: float
    hour_values: np.ndarray


def best_plan(margins: np.ndarray, uses: np.ndarray, limits: np.ndarray, most: np.ndarray) -> Plan:
    """The amounts that leave the largest sum of margins within the limits.

    Parameters
    ----------
    margins : margin of one unit of each activity [money]
    uses : a row a limit, a column an activity: what one unit takes [h]
    limits : what there is of each limit [h]
    most : the largest amount of each activity

    Notes
    -----
    max Σ margin × amount, with Σ use × amount ≤ limit and 0 ≤ amount ≤ most: a linear programme
    (Dantzig, Linear Programming and Extensions, 1963, chapter 3), solved by the dual simplex
    method. With one limit this is filling it by margin an hour, best first. That the plan is best
    is proved on every run: what the dual prices say it is worth is what it earns (chapter 6), else
    `Unreconciled` is raised.
    """
    found = linprog(
        -margins,
        A_ub=uses,
        b_ub=limits,
        bounds=np.column_stack([np.zeros(len(most)), most]),
        method="highs-ds",
    )
    if found.status != 0:  # 0 is always a plan, and every amount has an end
        raise AssertionError(found.message)
    amounts = np.clip(found.x, 0.0, most)
    earns = float(margins @ amounts)
    hour_values = np.maximum(-found.ineqlin.marginals, 0.0)
    worth = hour_values @ limits - np.minimum(found.upper.marginals, 0.0) @ most
    tolerance = 1e-6 * max(1.0, float(np.abs(margins) @ most))
    assert_reconciled("The best mix and its dual prices", earns, float(worth), tolerance)
    return Plan(amounts, earns, hour_values)


def earning_by_service(
    costing: Costing, governing: Governing, year: Period, fewest: int
) -> pd.DataFrame:
    """What an hour of each service left in the trailing year, and which services come first.

    Returns
    -------
    DataFrame
        Columns of `EARNING_BY_SERVICE` (inside), first-time job lines. [money, h, money / h]

    Notes
    -----
    Where hours are short, services rank by material margin an hour of what is short: that hour is
    all they compete for, and its wage is paid either way (bay hours where nothing is short or
    known). Where none are, they rank by contribution ÷ net revenue. Equal ones share a rank; a
    figure that is not known has none. Source of the rule: OpenStax, Principles of Accounting,
    Volume 2 (Franklin, Graybeal, Cooper; 2019), section 10.6.
    """
    table = _services(costing, year)
    per_bay = ratio(table["material_margin"], table["bay_hours"])
    per_installer = ratio(table["material_margin"], table["actual_hours"])
    contribution = ratio(table["contribution"], table["net_revenue"])
    full = per_installer if governing.constraint == INSTALLERS else per_bay
    table = table.assign(
        per_bay_hour=per_bay,
        per_installer_hour=per_installer,
        contribution_share=contribution,
        rank_when_full=_rank(full),
        rank_when_idle=_rank(contribution),
        governs=pd.Series(GOVERNS[governing.constraint], index=table.index, dtype="str"),
        enough=is_enough(table["jobs"], fewest),
    )
    return table.reset_index()[EARNING_BY_SERVICE.inside_names]


def best_mix(
    costing: Costing, spare: Spare, year: Period, quarters: list[Quarter], fewest: int
) -> pd.DataFrame | Unavailable:
    """The mix of services that would have left the largest material margin in the same hours.

    Parameters
    ----------
    spare : hours that the mix may take beyond those of today's, of what is not short [h]
    year, quarters : the twelve months, and the four quarters they are made of
    fewest : jobs below which a service keeps today's number

    Returns
    -------
    DataFrame
        Columns of `BEST_MIX` (inside): services in the order of their gain, then `ALL_SERVICES`
        with the sums. [jobs, h, money]

    Notes
    -----
    The hours of these jobs may not grow where they are short; those of what is not short may, by
    `spare`: an hour that nobody wants is no reason to leave a job undone (`spare_hours`, which
    leaves none where nothing is short or it is not known). A service has between no job and four
    times its best quarter, never under today's number. A service whose margin or hours
    are not known, or which has fewer jobs than `fewest`, keeps today's number, and its gain is 0.
    Jobs are not whole numbers. Hours, margins and what customers want are taken as they were in
    the twelve months: that many were wanted once in a quarter does not say that they would be all
    year, and a customer whose small job is turned away may take the large one elsewhere too. So the
    gain is the most that a mix could bring, and not a forecast. Raises `Unreconciled` where the
    plan leaves less than today's.
    """
    table = _services(costing, year).assign(most_jobs=_most_jobs(costing, quarters))
    each = table[["actual_hours", "bay_hours", "material_margin"]].div(table["jobs"], axis=0)
    is_free = (table["jobs"] >= fewest) & each.notna().all(axis=1)
    is_free &= (table["actual_hours"] > 0) & (table["bay_hours"] > 0)
    if not is_free.any():
        return Unavailable(
            BEST_MIX.name,
            ("jobs", "hours", "cuts", "purchases"),
            "No service of the twelve months has enough jobs with known hours and margin to ask "
            "what another mix would earn.",
        )
    table["most_jobs"] = table[["most_jobs", "jobs"]].max(axis=1)
    free, now = each[is_free], table.loc[is_free, "jobs"].to_numpy(dtype="float64")
    margins = free["material_margin"].to_numpy()
    uses = free[["actual_hours", "bay_hours"]].to_numpy().T
    most = table.loc[is_free, "most_jobs"].to_numpy(dtype="float64")
    limits = uses @ now + np.array([spare.people_hours, spare.bay_hours])
    plan = best_plan(margins, uses, limits, most)
    best = table["jobs"].astype("float64")
    best[is_free] = plan.amounts
    table = table.assign(
        best_jobs=best,
        hours_each=each["actual_hours"],
        bay_hours_each=each["bay_hours"],
        material_margin_each=each["material_margin"],
        best_material_margin=best * each["material_margin"],
        enough=is_enough(table["jobs"], fewest),
    )
    gain = table["best_material_margin"] - table["material_margin"]
    table = table.assign(gain=gain.where(is_free, 0.0))
    _check_gain(table, is_free, plan)
    return _with_all(table)


def hour_value(costing: Costing, governing: Governing, year: Period) -> float:
    """What one hour more of what is short would earn elsewhere. [money / h]

    0 where nothing is short, NaN where that or every margin is not known. It is an hour of
    `governing.constraint`: a bay hour or a person's hour.

    Notes
    -----
    The mean of the whole shop (`hour_earned`) × the chance that the hour is filled at all
    (`Governing.refill_share`). The mean is the material margin of the lines finished in the twelve
    months ÷ their hours of what is short, redos with both, over the lines of which both are known;
    never below 0.

    Not the dual price of the best mix. Its bounds are jobs that were done, and those were held
    down by the very hours that are short: a shop that is evenly full would get 0, one with a busy
    quarter the margin of whatever service the plan happens to end on. Nor the best service's
    margin, which the hour would earn only if those customers were waiting. Who waits wants what
    this shop's customers want, so a filled hour earns what hours earn in the mean. An hour valued
    too high raises all prices at once; hence the chance, without which a shop that passes 85 %
    would price as if somebody stood at the door for every hour.

    The material margin of an hour pays its wage too, and the wage is paid whichever job the hour
    goes to. So in the cost of a job this stands in the place of its labour where it is more, and
    is not added to it.
    """
    if not governing.is_short:
        return 0.0 if governing.constraint == NOTHING else np.nan
    return hour_earned(costing, governing, year) * governing.refill_share


def hour_earned(costing: Costing, governing: Governing, year: Period) -> float:
    """What an hour left in the mean of the whole shop: `hour_value` if every hour were filled.

    Of a bay hour where the bays are short, else of a person's hour. [money / h]
    """
    hours = "bay_hours" if governing.constraint == BAYS else "actual_hours"
    lines = finished_in(costing.lines, year)
    known = lines[lines["material_margin"].notna() & lines[hours].notna()]
    total = float(known[hours].sum())
    return max(0.0, float(known["material_margin"].sum()) / total) if total > 0 else np.nan


def _services(costing: Costing, year: Period) -> pd.DataFrame:
    """Sums of the first-time job lines of the year by service."""
    lines = finished_in(costing.lines, year)
    sums = {name: name for name in _SUMS}
    return group_sums(lines[~lines["is_redo"]], {"service": "service"}, sums, "jobs")


def _rank(values: pd.Series) -> pd.Series:
    return values.rank(method="min", ascending=False).astype("Int64")


def _most_jobs(costing: Costing, quarters: list[Quarter]) -> pd.Series:
    """Four times the first-time jobs of each service's best quarter."""
    first = costing.lines[costing.lines["finished"] & ~costing.lines["is_redo"]]
    first = first[first["quarter_number"].isin([each.index for each in quarters])]
    counts = first.groupby(["service", "quarter_number"], dropna=False).size()
    return 4 * counts.groupby(level="service", dropna=False).max()


def _check_gain(table: pd.DataFrame, is_free: pd.Series, plan: Plan) -> None:
    """The gains are those of the plan, and today's mix, which it could have kept, is no better."""
    before = float(table.loc[is_free, "material_margin"].sum())
    tolerance = 1e-6 * max(1.0, abs(before))
    gain = float(table["gain"].sum())
    assert_reconciled("The gain of the best mix", gain, plan.earns - before, tolerance)
    assert_reconciled("A gain of the best mix under 0", min(gain, 0.0), 0.0, tolerance)


def _with_all(table: pd.DataFrame) -> pd.DataFrame:
    """Services in the order of their gain, and a row of sums; a blank makes its sum blank."""
    order = table.reset_index().sort_values(
        ["gain", "service"], ascending=[False, True], kind="stable"
    )
    adding = [column.inside for column in BEST_MIX.columns if column.sums]
    adding = [name for name in adding if name not in ("hours_each", "bay_hours_each")]
    total = order[adding].sum(skipna=False).to_frame().T
    total = total.assign(service=ALL_SERVICES, enough=True)
    both = pd.concat([order, total], ignore_index=True)
    return both.astype({"jobs": "int64", "most_jobs": "int64", "enough": "boolean"})[
        BEST_MIX.inside_names
    ]
