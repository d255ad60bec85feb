"""From purchases to finished area and each loss: every stream of film, in area and money."""

from typing import Final

import pandas as pd

from analysis.costing.film import Shelf, film_reconciliation
from analysis.costing.stock import LEAST_AREA
from analysis.errors import Unavailable, assert_reconciled
from analysis.findings.groups import Period
from analysis.sums import ratio

ON_SHELF: Final = "opening stock"
PURCHASED: Final = "purchased"
FILM: Final = "film"
JOBS: Final = "jobs"
FINISHED: Final = "finished area"
LATER_CREDITS: Final = "credits on film already used"
# What flows out of the film that was there, by the columns of the reconciliation.
_OUT: Final = {
    "jobs": JOBS,
    "counter_sales": "counter sales",
    "shop": "shop use and offcuts written off",
    "unexplained": "missing at the counts",
    "closing": "closing stock",
}
_PARTS: Final = {
    "finished_area_m2": FINISHED,
    "side_loss_area_m2": "side loss",
    "handling_margin_area_m2": "handling margin",
    "opening_area_m2": "opening",
    "recut_area_m2": "recut",
    "damage_area_m2": "damage",
    "test_area_m2": "test",
    "end_of_roll_area_m2": "end of roll",
}
_TOGETHER: Final = "side loss and handling margin"
UNMEASURED: Final = "not measured"


def film_flows(shelf: Shelf, period: Period) -> pd.DataFrame | Unavailable:
    """Every stream of film of a period, all films together. [m², money]

    Columns of `FILM_FLOWS`. Opening stock and purchases flow into film; film into jobs, counter
    sales, shop, missing, closing; jobs into finished area and each loss. A surplus found at a
    count, or more film cut than the books held, is a negative stream. The money of the parts of a
    cut is its cost as booked that day × the part ÷ its consumed area; credits that came later stand
    apart. Raises `Unreconciled` where a point's in and out differ.
    """
    books = film_reconciliation(shelf, period.first, period.last)
    if books.empty:
        return Unavailable(
            "film_flows", ("purchases",), "No film was bought or cut up to the quarter's end."
        )
    total = books.drop(columns="film").sum(skipna=False)
    rows = [
        (source, FILM, total[f"{name}_area_m2"], total[f"{name}_cost"])
        for name, source in (("opening", ON_SHELF), ("purchased", PURCHASED))
    ]
    rows += [
        (FILM, target, total[f"{name}_area_m2"], total[f"{name}_cost"])
        for name, target in _OUT.items()
    ]
    split = _job_parts(shelf, period)
    booked = _jobs_pulls(shelf, period)["consumed_cost"].sum(skipna=False)
    rest = total["jobs_cost"] - booked
    if pd.isna(rest) or abs(rest) > 1e-6:
        split.append((JOBS, LATER_CREDITS, 0.0, rest))
    flows = pd.DataFrame(rows + split, columns=["flows_from", "flows_to", "area_m2", "cost"])
    _check(flows)
    there = (flows["area_m2"].abs() > LEAST_AREA) | (flows["cost"].abs() > 1e-6)
    return flows[there | flows["cost"].isna()].reset_index(drop=True)


def _job_parts(shelf: Shelf, period: Period) -> list[tuple[str, str, float, float]]:
    """What became of the film of jobs, part by part."""
    pulls = _jobs_pulls(shelf, period)
    per_m2 = ratio(pulls["consumed_cost"], pulls["consumed_m2"])
    is_split = pulls["measured"] & pulls["side_loss_area_m2"].notna()
    is_first = pulls["reason"] == "first"
    areas = {
        name: pulls[column].where(
            pulls["measured"] & (is_split | (not column.startswith(("side_loss", "handling")))),
            0.0,
        )
        for column, name in _PARTS.items()
    }
    areas[_TOGETHER] = pulls["side_and_handling_area_m2"].where(
        pulls["measured"] & ~is_split & is_first, 0.0
    )
    areas[UNMEASURED] = pulls["consumed_m2"].where(~pulls["measured"], 0.0)
    return [
        (JOBS, name, float(part.sum(skipna=False)), _money(part, per_m2))
        for name, part in areas.items()
    ]


def _jobs_pulls(shelf: Shelf, period: Period) -> pd.DataFrame:
    pulls = shelf.pulls
    taken = pulls["pulled_m2"].notna() & (pulls["owner"] == "jobs")
    return pulls[taken & period.holds(pulls["cut_on"])]


def _money(part: pd.Series, per_m2: pd.Series) -> float:
    """Σ part × its cut's cost an area; a part that took no film costs nothing."""
    return float((part * per_m2).where(part != 0.0, 0.0).sum(skipna=False))


def _check(flows: pd.DataFrame) -> None:
    """What flows into film flows out of it, and what flows into jobs too."""
    for point in (FILM, JOBS):
        into = flows[flows["flows_to"] == point]
        out = flows[flows["flows_from"] == point]
        for measure in ("area_m2", "cost"):
            given, taken = into[measure].sum(skipna=False), out[measure].sum(skipna=False)
            if pd.notna(given) and pd.notna(taken):
                size = flows[measure].abs().sum() * 1e-9 + 1e-4
                assert_reconciled(
                    f"The flow of film through {point}, {measure}", given, taken, size
                )
