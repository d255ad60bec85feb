"""What a job line is: its vehicle's class, which time and cuts are its own, sheet against log."""

import numpy as np
import pandas as pd

from analysis.records.rule import Shop, look_up

_TENTH = 0.1
_HAIR = 1e-9


def known_lines(rows: pd.DataFrame, jobs: pd.DataFrame) -> pd.Series:
    """For rows with `job_id` and `line`: the label of the job line they name, missing if none.

    Labels are decimal numbers, so that one may be missing.
    """
    if rows["line"].isna().all():
        return pd.Series(np.nan, rows.index)
    lines = jobs[["job_id", "line"]].dropna().drop_duplicates().reset_index(names="label")
    labels = rows[["job_id", "line"]].merge(
        lines, on=["job_id", "line"], how="left", validate="many_to_one"
    )["label"]
    return labels.set_axis(rows.index).astype("float64")


def cut_lines(cuts: pd.DataFrame, jobs: pd.DataFrame) -> pd.Series:
    """For cuts of jobs: the label of the job line each goes to.

    The line that the cut names; else the job's line of the cut's film; else the job's first line.
    """
    named = known_lines(cuts, jobs)
    if named.notna().all():
        return named
    cuts = cuts[named.isna()]
    jobs = jobs[jobs["job_id"].isin(cuts["job_id"])]
    first = jobs.sort_values("line", kind="stable")
    by_job = first.drop_duplicates("job_id").reset_index(names="label")
    by_film = first.dropna(subset="film").drop_duplicates(["job_id", "film"])
    film_label = cuts[["job_id", "film"]].merge(
        by_film.reset_index(names="label")[["job_id", "film", "label"]],
        on=["job_id", "film"],
        how="left",
        validate="many_to_one",
    )["label"]
    film = pd.Series(film_label.to_numpy(), cuts.index).astype("float64")
    any_line = look_up(cuts["job_id"], by_job.set_index("job_id")["label"]).astype("float64")
    return named.fillna(film.fillna(any_line))


def sheet_against_log(shop: Shop, sheet: str, table: str, amount: str) -> pd.DataFrame:
    """Job sheets that differ by over a tenth from the log; form as in `sheet_and_log`."""
    both = sheet_and_log(shop, sheet, table, amount)
    return both[(both["sheet"] - both["log"]).abs() > _TENTH * both["log"] + _HAIR]


def sheet_and_log(shop: Shop, sheet: str, table: str, amount: str) -> pd.DataFrame:
    """Give a column of the job sheets beside the sum of the log.

    Line by line where every row of the job's log names its line; else the job as a whole, where
    every line of it has a figure, on the job's first line. A job with a rejected row in the log is
    left out: its log is not whole.

    Returns
    -------
    DataFrame
        Index: labels of job lines. `sheet`, `log`: the two figures.

    """
    jobs, log, every = shop.used["jobs"], shop.used[table], shop.read[table]
    rejected = every["job_id"][~every.index.isin(log.index)]
    jobs = jobs[~jobs["job_id"].isin(rejected)]
    jobs = jobs[jobs["job_id"].isin(jobs["job_id"][jobs[sheet].notna()])]
    log = log[log["job_id"].isin(jobs["job_id"])]
    if log.empty:
        return pd.DataFrame({"sheet": [], "log": []}, pd.Index([], dtype="int64"), dtype="float64")
    line = shop.lines[table][log.index]
    lined = line.notna().groupby(log["job_id"], sort=False).transform("all")
    per_line = pd.DataFrame(
        {"sheet": jobs[sheet], "log": log[amount][lined].groupby(line[lined].astype("int64")).sum()}
    )
    whole = jobs.groupby("job_id", sort=False)[sheet].agg(["sum", "count", "size"])
    rest = log[amount][~lined].groupby(log["job_id"][~lined]).sum()
    first = jobs.drop_duplicates("job_id").reset_index(names="label").set_index("job_id")["label"]
    per_job = pd.DataFrame(
        {"sheet": whole["sum"].where(whole["count"] == whole["size"]), "log": rest}
    )
    per_job.index = pd.Index(first.reindex(per_job.index).to_numpy())
    return pd.concat([per_line, per_job]).dropna().sort_index()


def vehicle_classes(jobs: pd.DataFrame, vehicles: pd.DataFrame) -> pd.Series:
    """Size class of each job's vehicle: its own cell, else from `vehicles` by model and year.

    Where several rows of `vehicles` fit the model year, the last stands.
    """
    asked = jobs.loc[jobs["vehicle_class"].isna(), ["make", "model", "model_year"]]
    if asked.empty or vehicles.empty:
        return jobs["vehicle_class"]
    pairs = asked.reset_index(names="at").merge(vehicles, on=["make", "model"])
    year = pairs["model_year"]
    early = (year < pairs["year_from"]).fillna(False).astype("bool")
    late = (year > pairs["year_to"]).fillna(False).astype("bool")
    fits = pairs[~early & ~late]
    by_job = fits.groupby("at")["vehicle_class"]
    # Without a model year, rows of different classes leave the class unknown.
    several = by_job.nunique() > 1  # noqa: PD101 - one count a job, not one in all
    unsure = fits.groupby("at")["model_year"].first().isna() & several
    found = by_job.last().where(~unsure)
    return jobs["vehicle_class"].fillna(found.reindex(jobs.index).astype("str"))
