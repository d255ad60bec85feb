"""What a price decision promised on the records of the day before it was taken."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.forecast import learn_hours
from analysis.findings.hours_model import hours_data
from analysis.pricing.demand import chance, learn_demand
from analysis.pricing.price_basis import ShortHours, price_basis
from analysis.pricing.price_cells import cell_of, price_cells
from analysis.records.model import Records

COLUMNS: Final = ("expected_win_share", "expected_hours", "expected_cost")
# A shop with more jobs than this learns its hours from the newest.
_MOST_LINES: Final = 5000
_SEED: Final = 20
# Hours of every model, for the jobs that came are of every model; what an hour earns elsewhere is
# no cost of a job.
_NO_MODELS: Final = pd.DataFrame({"make": [], "model": []}, dtype="str")
_NOT_SHORT: Final = ShortHours("not known", 0.0, 0.0)


def expected_then(costing: Costing, records: Records, windows: pd.DataFrame) -> pd.DataFrame:
    """Chance to win, hours and cost of a job, as expected when each decision was taken.

    From the records of the day before it was taken (or took effect, where that was earlier), once
    for each such day. `windows` : decided_on, effective_from, service, vehicle_class, new_price,
    expected_win_pct; the chance is left out where a decision states it. Hours [h] and cost [money]
    are those of `price_basis` without any model apart. Missing where too little was known.
    """
    start = windows[["decided_on", "effective_from"]].min(axis=1) - pd.Timedelta(days=1)
    parts = [
        _expected_on(costing, records, day, windows.loc[at]) for day, at in _by_day(start).items()
    ]
    return pd.concat(parts).reindex(windows.index)


def _by_day(days: pd.Series) -> dict[pd.Timestamp, pd.Index]:
    return {pd.Timestamp(str(day)): index for day, index in days.groupby(days).groups.items()}


def _expected_on(
    costing: Costing, records: Records, day: pd.Timestamp, windows: pd.DataFrame
) -> pd.DataFrame:
    blank = pd.DataFrame(np.nan, index=windows.index, columns=list(COLUMNS))
    with one_thread():
        data = hours_data(costing, day).newest(_MOST_LINES)
        forecaster = learn_hours(data, records["price_list"], day)
        basis = price_basis(costing, records, day, forecaster, _NO_MODELS, _NOT_SHORT, windows)
    if isinstance(basis, Unavailable):
        return blank
    cells = price_cells(records["price_list"], day)
    at = cell_of(cells, windows).dropna().astype("int64")
    own = basis.loc[at].set_axis(at.index)
    found = blank.assign(
        expected_hours=own["expected_hours"].reindex(windows.index),
        expected_cost=own["expected_cost"].reindex(windows.index),
    )
    if windows.loc[at.index, "expected_win_pct"].notna().all():
        return found
    demand = learn_demand(records, cells, day, _SEED)
    if isinstance(demand, Unavailable):
        return found
    new = windows.loc[at.index, "new_price"]
    step = np.log(new.where(new > 0) / own["current_price"])
    won = [
        float(chance(demand, cell, np.array([move])).mean())
        for cell, move in zip(at, step, strict=True)
    ]
    return found.assign(
        expected_win_share=pd.Series(won, index=at.index, dtype="float64").reindex(windows.index)
    )
