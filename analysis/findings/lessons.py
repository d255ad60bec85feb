"""What the finished jobs teach about hours: learnt once a review, laid into its tables."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.backtest import quote_again, quote_calibration
from analysis.findings.drift import quoting_drift
from analysis.findings.forecast import HoursForecaster, learn_hours
from analysis.findings.hours_model import fit_hours, hours_data
from analysis.findings.learning import learning_curves
from analysis.findings.overruns import (
    PERSON,
    POOLED,
    hours_spread,
    jobs_that_pull,
    next_quotes,
    overrun_by_task,
    pooled_by_class,
    pooled_by_model,
    pooled_by_person,
    pooled_by_service,
)
from analysis.records.model import Records

Result = pd.DataFrame | Unavailable
# The tables that are made of what was learnt.
LEARNT: Final = (
    "overrun_by_task",
    "hours_spread",
    "jobs_that_pull",
    "learning_curves",
    "quoting_drift",
    "next_quotes",
    "quote_calibration",
)


@dataclass(frozen=True, eq=False)
class Lessons:
    """What was learnt from all jobs up to a day.

    `pooled` : pooled columns by the table that they stand in, on its keys; None where there was too
    little to learn from. `tables` : the results named in `LEARNT`. `forecaster` : hours of the next
    job.
    """

    pooled: Mapping[str, pd.DataFrame] | None
    tables: Mapping[str, Result]
    forecaster: HoursForecaster | Unavailable

    def flagged(self, fewest: int) -> pd.DataFrame:
        """The models to quote longer, `make, model`: flagged, on at least `fewest` jobs."""
        if self.pooled is None:
            return pd.DataFrame({name: pd.Series(dtype="str") for name in ("make", "model")})
        models = self.pooled["hours_by_model"]
        is_sure = models["flagged"].fillna(False).astype(bool) & (models["jobs_to_date"] >= fewest)
        return models[is_sure].reset_index()[["make", "model"]]

    def pooled_models(self) -> Result:
        """Pooled columns of every model, `make` and `model` first."""
        if self.pooled is None:
            line = "Which vehicles run over could not be told."
            return Unavailable("hours_by_model", ("jobs",), line)
        return self.pooled["hours_by_model"].reset_index()

    def laid_into(self, name: str, table: Result) -> Result:
        """The table of hours with its pooled columns; missing where nothing was learnt."""
        return _with_pooled(table, None if self.pooled is None else self.pooled[name], name)


def nothing_learnt(name: str, table: Result) -> Result:
    """The table of hours with its pooled columns blank."""
    return _with_pooled(table, None, name)


def _with_pooled(table: Result, pooled: pd.DataFrame | None, name: str) -> Result:
    if isinstance(table, Unavailable):
        return table
    columns = PERSON if name == "hours_by_installer" else POOLED
    if pooled is None:
        blank = table.assign(**dict.fromkeys(columns, np.nan))
        kinds = {"flagged": "boolean", "jobs_to_date": "Int64"}
        return blank.astype({name: kind for name, kind in kinds.items() if name in columns})
    keys = [str(each) for each in pooled.index.names]
    at = pooled.index.get_indexer(_index(table, keys))
    # One row more than there is: where a group was not estimated, all is missing.
    found = pooled.reset_index(drop=True).reindex(np.where(at < 0, len(pooled), at))
    found = found.set_axis(table.index)
    found = found.assign(jobs_to_date=found["jobs_to_date"].astype("Int64"))
    if "flagged" in columns:
        found = found.assign(flagged=found["flagged"].fillna(False).astype("boolean"))
    return table.join(found[list(columns)])


def _index(table: pd.DataFrame, keys: list[str]) -> pd.Index:
    if len(keys) == 1:
        return pd.MultiIndex.from_arrays([table[keys[0]]], names=keys)
    return pd.MultiIndex.from_frame(table[keys])


def learn(
    costing: Costing,
    records: Records,
    until: pd.Timestamp,
    progress: Callable[[str], None] | None = None,
) -> Lessons:
    """Learn from every job finished by a day."""
    with one_thread():
        return _learn(costing, records, until, progress or (lambda _: None))


def _learn(
    costing: Costing, records: Records, until: pd.Timestamp, say: Callable[[str], None]
) -> Lessons:
    settings = records.settings
    fewest, confidence = settings.pricing.fewest_jobs, settings.quoting.confidence
    by_task = overrun_by_task(costing, until, fewest)
    data = hours_data(costing, until)
    say("telling overruns from chance")
    model = fit_hours(data)
    if isinstance(model, Unavailable):
        missing: dict[str, Result] = {name: model.of(name) for name in LEARNT}
        return Lessons(None, missing | {"overrun_by_task": by_task}, model)
    pooled = {
        "hours_by_model": pooled_by_model(model, settings.overrun),
        "hours_by_class": pooled_by_class(model, settings.overrun),
        "hours_by_service": pooled_by_service(model, settings.overrun),
        "hours_by_installer": pooled_by_person(model),
    }
    forecaster = learn_hours(data, records["price_list"], until)
    say("quoting past jobs again")
    again = quote_again(data, records["price_list"], confidence, until)
    tables: dict[str, Result] = {
        "hours_spread": hours_spread(model),
        "jobs_that_pull": jobs_that_pull(model),
        "learning_curves": learning_curves(model, fewest, settings.overrun.error_rate),
        "quoting_drift": quoting_drift(model, settings),
        "next_quotes": forecaster.of("next_quotes")
        if isinstance(forecaster, Unavailable)
        else next_quotes(forecaster, confidence, fewest),
        "quote_calibration": again
        if isinstance(again, Unavailable)
        else quote_calibration(again, confidence),
    }
    return Lessons(pooled, tables | {"overrun_by_task": by_task}, forecaster)
