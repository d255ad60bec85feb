"""What the figures about overruns share: the models in order, their jobs, and what it rests on."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from analysis.errors import Unavailable
from analysis.locale_text import counted
from analysis.report.grids import Slices, labels_of, number, slices_of
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Column, Kind, Table

KEYS: Final = ["make", "model"]
POOLED: Final = (
    "jobs_to_date",
    "pooled_overrun_pct",
    "low_pct",
    "high_pct",
    "probability_over_tolerance",
    "flagged",
)


@dataclass(frozen=True, eq=False)
class Models:
    """The vehicle models, likeliest to run over first, at the edge.

    `frame` : make, model, `POOLED`, enough (of the jobs to date), `overrun_cost_year`; empty where
    nothing was estimated, and `line` then says why. `named_plainly` : models whose plain overrun of
    the trailing year exceeds the tolerance; `not_flagged` : how many of them are not to be quoted
    longer; `false_share_pct` : expected share of false ones among those that are, NaN without one.
    """

    slices: Slices
    frame: pd.DataFrame
    line: str = ""
    named_plainly: int = 0
    not_flagged: int = 0
    false_share_pct: float = float("nan")

    @property
    def flagged(self) -> pd.DataFrame:
        """The models to quote longer: flagged, on enough jobs."""
        return self.frame[self.frame["longer"]]

    @property
    def thin(self) -> pd.DataFrame:
        """The models that are flagged on fewer jobs than advice may rest on."""
        return self.frame[self.frame["flagged"] & ~self.frame["longer"]]


def ranked_models(review: Review) -> Models:
    """The models in order of the probability that they run over, then of the overrun."""
    found = slices_of(review, "hours_by_model")
    base = found.year if found.quarter.empty else found.quarter
    if found.line and base.empty:
        return Models(found, base.assign(flagged=False, longer=False), found.line)
    known = base[number(base, "probability_over_tolerance").notna()]
    if known.empty:
        return Models(found, known.assign(flagged=False, longer=False), _why_nothing(review))
    cost = found.year[[*KEYS, "overrun_cost", "overrun_pct"]].rename(
        columns={"overrun_cost": "overrun_cost_year", "overrun_pct": "overrun_pct_year"}
    )
    frame = known[[*KEYS, *POOLED]].merge(cost, on=KEYS, how="left", validate="one_to_one")
    jobs = number(frame, "jobs_to_date").fillna(0)
    frame = frame.assign(
        jobs_to_date=jobs.astype("int64"),
        flagged=frame["flagged"].astype("boolean").fillna(False).astype(bool),
        enough=(jobs >= review.settings.pricing.fewest_jobs).astype("boolean"),
        # Models that are all but sure stand in order of their overrun.
        rounded=number(frame, "probability_over_tolerance").round(2),
    )
    frame = frame.assign(longer=frame["flagged"] & frame["enough"].astype(bool))
    order = ["longer", "rounded", "pooled_overrun_pct"]
    frame = frame.sort_values(order, ascending=False, kind="stable", ignore_index=True)
    over = number(frame, "overrun_pct_year") > 100 * review.settings.overrun.tolerance
    false = 1 - number(frame[frame["longer"]], "probability_over_tolerance")
    return Models(
        found,
        frame.drop(columns="rounded"),
        "",
        int(over.sum()),
        int((over & ~frame["longer"]).sum()),
        100 * float(false.mean()),
    )


def _why_nothing(review: Review) -> str:
    found = review.results.get("hours_spread")
    if isinstance(found, Unavailable):
        return found.line
    return "There are too few finished jobs to tell overruns from chance."


def job_lines(review: Review) -> pd.DataFrame:
    """Finished first-time job lines with quoted and actual hours up to the quarter's end. [h]"""
    found = review.results.get("job_costs")
    table = RESULT_TABLES["job_costs"]
    if not isinstance(found, pd.DataFrame):
        found = pd.DataFrame(columns=table.inside_names)
    quoted, actual = number(found, "quoted_hours"), number(found, "actual_hours")
    first = found["redo_of"].isna() & (quoted > 0) & (actual > 0)
    chosen = found[first].assign(quoted_hours=quoted, actual_hours=actual)
    names = ["job_id", "line", "finished_on", "service", "vehicle_class", *KEYS]
    return chosen[[*names, "quoted_hours", "actual_hours"]].reset_index(drop=True)


def lines_of_model(review: Review, make: str, model: str) -> pd.DataFrame:
    """The job lines of one model, by day."""
    lines = job_lines(review)
    own = lines[(lines["make"] == make) & (lines["model"] == model)]
    return own.sort_values("finished_on", kind="stable", ignore_index=True)


def model_names(frame: pd.DataFrame) -> list[str]:
    """Make and model of each row as one name."""
    return labels_of(frame, RESULT_TABLES["hours_by_model"])


def basis(review: Review) -> str:
    """What every estimate rests on, as a sentence."""
    day = Numbers(review.settings).day(review.quarter.last_day)
    return f"Estimated from all jobs up to {day}, not from {review.quarter.label} alone."


def quote_longer(count: int) -> str:
    """`6 models to quote longer`."""
    return f"{counted(count, 'model')} to quote longer"


def extended(name: str, *columns: Column) -> Table:
    """A result table with columns that only the report shows."""
    table = RESULT_TABLES[name]
    return replace(table, columns=(*table.columns, *columns))


def only(frame: pd.DataFrame, shown: pd.DataFrame, keys: Sequence[str] = KEYS) -> pd.DataFrame:
    """The rows of a frame whose keys are shown."""
    keys = list(keys)
    return frame.merge(shown[keys], on=keys, how="inner", validate="one_to_one")


OVERRUN_OF_JOB: Final = Column(
    "overrun_pct", Kind.PERCENT, "Actual hours ÷ quoted hours, less one."
)
