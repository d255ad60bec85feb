"""The jobs that wait for each film, and what they are expected to take of it."""

from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.pricing.film_needed import expected_area, film_history, usual_film
from analysis.pricing.usual_sizes import Vehicle
from analysis.records.model import Records

# A quote won longer ago than this, and still without a job, became none. Common practice.
_WON_DAYS: Final = 91
_JOB: Final = ["service", "make", "model"]


def waiting_film(costing: Costing, records: Records, until: pd.Timestamp) -> pd.DataFrame:
    """The jobs that wait for each film at the end of a day, and what they are expected to take.

    Returns
    -------
    DataFrame
        By `film`: `waiting_jobs`; `waiting_area_m2`, expected, and `waiting_sd_m2`, its standard
        deviation, jobs being independent (missing where one of the jobs has no past to tell from
        and no film in its quote); `guessed_film`, those of them whose film is the usual one of
        their service. [m²]

    Notes
    -----
    A job line waits if it was quoted by then, is not cancelled, not finished by then, and nothing
    was cut for it. So does a quote won in the last 91 days that names no job of the records, where
    no job of that service on that model was quoted or finished since.
    """
    asked = pd.concat(
        [_waiting_lines(costing, until), _won_quotes(records, until)], ignore_index=True
    )
    history = film_history(costing, records, until)
    services = asked["service"].dropna().unique()
    usual = {each: usual_film(history, each, until).film for each in services}
    guessed = asked["film"].isna()
    asked["film"] = asked["film"].fillna(asked["service"].map(usual).astype("str"))
    asked = asked.assign(guessed=guessed)[asked["film"].notna()]
    labels = asked[[*_JOB, "vehicle_class"]].drop_duplicates()
    found = [
        expected_area(history, service, Vehicle(make, model, None if pd.isna(size) else str(size)))
        for service, make, model, size in labels.itertuples(index=False)
    ]
    labels = labels.assign(
        area=pd.Series([each.mean_m2 for each in found], labels.index, dtype="float64"),
        sd=pd.Series([each.sd_m2 for each in found], labels.index, dtype="float64"),
    )
    asked = asked.merge(labels, how="left", on=[*_JOB, "vehicle_class"], validate="m:1")
    area = asked["area"].fillna(asked["quoted_film_area_m2"])
    by = asked.assign(area=area, variance=asked["sd"] ** 2).groupby("film")
    return pd.DataFrame(
        {
            "waiting_jobs": by.size(),
            "waiting_area_m2": by["area"].sum(skipna=False),
            "waiting_sd_m2": np.sqrt(by["variance"].sum(skipna=False)),
            "guessed_film": by["guessed"].sum().astype("int64"),
        }
    )


def _waiting_lines(costing: Costing, until: pd.Timestamp) -> pd.DataFrame:
    lines = costing.lines.reset_index(drop=True)
    pulls = costing.shelf.pulls
    cut = pulls.loc[pulls["job_line"].notna() & (pulls["cut_on"] <= until), "job_line"]
    is_open = (lines["status"] == "open") & ~(lines["quoted_on"] > until)
    later = (lines["status"] == "finished") & (lines["finished_on"] > until)
    waits = is_open | (later & (lines["quoted_on"] <= until))
    return lines.loc[
        waits & ~lines.index.isin(cut.astype("int64")),
        [*_JOB, "vehicle_class", "film", "quoted_film_area_m2"],
    ]


def _won_quotes(records: Records, until: pd.Timestamp) -> pd.DataFrame:
    quotes, jobs = records["quotes"], records["jobs"]
    age = (until - quotes["quoted_on"]).dt.days
    won = quotes[(quotes["outcome"] == "won") & age.between(0, _WON_DAYS)]
    won = won[~won["job_id"].isin(jobs["job_id"])].reset_index(names="quote")
    newest = jobs[["quoted_on", "finished_on"]].max(axis=1)
    pairs = won[["quote", *_JOB, "quoted_on"]].merge(
        jobs[_JOB].assign(newest=newest), on=_JOB, validate="m:m"
    )
    became = pairs.loc[pairs["newest"] >= pairs["quoted_on"], "quote"]
    won = won[~won["quote"].isin(became)]
    return pd.DataFrame(won[[*_JOB, "vehicle_class"]]).assign(
        film=pd.Series(np.nan, won.index, dtype="str"), quoted_film_area_m2=np.nan
    )
