"""The job statement: one row a job line, from the price to the full margin."""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.costing.cuts import FOR_JOB, film_pulls
from analysis.costing.film import Shelf, run_shelf
from analysis.costing.labour import line_hours, quarterly_rates, work_log
from analysis.costing.overhead import QuarterRates, quarter_rates
from analysis.costing.purchases import consumables_bought, credits_on_lines, landed_lines
from analysis.money import allocate_cents, to_cents
from analysis.periods import quarter_from_index, quarter_index, quarter_of
from analysis.records.job_lines import vehicle_classes
from analysis.records.model import Records
from analysis.settings import Settings
from analysis.sums import strict_sum

# Where the records show that a quarter was one of the shop's.
_DATED = (
    ("jobs", "finished_on"),
    ("hours", "worked_on"),
    ("cuts", "cut_on"),
    ("counter_sales", "sold_on"),
    ("overheads", "month"),
    ("capacity", "month"),
)


@dataclass(frozen=True, eq=False)
class Costing:
    """Everything that the findings are computed from.

    `lines` : every job line of the records, `jobs`' order, with hours, film and money of
    `job_statement`, `root` (position of the line that it does over in the end, missing for
    first-time work) and the labels that its costs stand under (`charged_service`,
    `charged_class`, `charged_make`, `charged_model`, `charged_film`).
    `log` : hours worked; `shelf` : film; `rates` : by quarter number; `labour_rates` : mean loaded
    rate of the hours worked, by quarter number [money / h].
    """

    lines: pd.DataFrame
    log: pd.DataFrame
    shelf: Shelf
    purchase_lines: pd.DataFrame
    credits: pd.DataFrame
    rates: dict[int, QuarterRates]
    labour_rates: pd.Series


def cost_records(records: Records, until: pd.Timestamp) -> Costing:
    """Cost every job line of the records; offcuts grow old up to the day `until`."""
    settings = records.settings
    purchase_lines = landed_lines(records["purchases"])
    credits = credits_on_lines(records["purchases"], purchase_lines)
    pulls = film_pulls(records)
    counts = records["stock_counts"]
    shelf = run_shelf(purchase_lines, credits, pulls, counts, settings, until)
    log = work_log(records, settings.labour)
    consumables = consumables_bought(records["purchases"], purchase_lines, credits)
    rates = rates_by_quarter(records, consumables, log, until)
    lines = job_statement(records, log, shelf, rates)
    labour_rates = quarterly_rates(log, settings.fiscal_year_starts)
    return Costing(lines, log, shelf, purchase_lines, credits, rates, labour_rates)


def rates_by_quarter(
    records: Records, consumables: pd.DataFrame, log: pd.DataFrame, until: pd.Timestamp
) -> dict[int, QuarterRates]:
    """Overhead and consumables rates of every quarter with a finished job, and of the last five.

    Those are the quarter of `until`, its twelve months and the quarter before; one from before
    the records begin is in none.
    """
    starts = records.settings.fiscal_year_starts
    dated = [records[table][column] for table, column in _DATED]
    numbers = quarter_index(pd.concat(dated, ignore_index=True), starts).dropna()
    finished = quarter_index(records["jobs"]["finished_on"], starts).dropna()
    last = quarter_of(until, starts).index
    days = log.groupby("worked_on")[["hours"]].sum().reset_index()
    recent = [last - back for back in range(5) if last - back >= numbers.min()]
    return {
        number: quarter_rates(
            quarter_from_index(number, starts),
            records["overheads"],
            records["capacity"],
            consumables,
            days,
        )
        for number in sorted({int(each) for each in finished.unique()} | set(recent) | {last})
    }


def job_statement(
    records: Records, log: pd.DataFrame, shelf: Shelf, rates: dict[int, QuarterRates]
) -> pd.DataFrame:
    """One row a job line: hours, film, and money from price to full margin.

    Notes
    -----
    net revenue = price ÷ (1 + tax) − fee; material margin = net revenue − film − consumables;
    contribution = material margin − labour; full margin = contribution − overhead. A line whose
    film was never written down has no film cost, unless its service takes none (no film named, no
    cut): then it is 0.
    """
    settings, jobs = records.settings, records["jobs"]
    finished = (jobs["status"] == "finished") & jobs["finished_on"].notna()
    number = quarter_index(jobs["finished_on"].where(finished), settings.fiscal_year_starts)
    film = _film_of_lines(shelf.pulls, jobs)
    fee = payment_fees(jobs[finished], settings).reindex(jobs.index)
    # The job sheet's own finished area gives way to that of the pulls, which includes it.
    sheet = jobs.drop(columns="finished_area_m2")
    frame = pd.concat([sheet, line_hours(log, jobs), film], axis=1).assign(
        finished=finished,
        quarter_number=number.astype("Int64"),
        film=_main_film(shelf.pulls, jobs),
        vehicle_class=vehicle_classes(jobs, records["vehicles"]),
        payment_fee=fee,
        net_revenue=jobs["invoiced_price"] * settings.net_of_tax - fee,
    )
    overhead = {key: each.overhead_rate for key, each in rates.items()}
    consumables = {key: each.consumables_rate for key, each in rates.items()}
    quarter = frame["quarter_number"].astype("float64")
    frame = frame.assign(
        overhead_cost=frame["actual_hours"] * quarter.map(overhead),
        consumables_cost=frame["actual_hours"] * quarter.map(consumables),
    )
    material = frame["net_revenue"] - frame["film_cost"] - frame["consumables_cost"]
    contribution = material - frame["labour_cost"]
    frame = frame.assign(
        material_margin=material,
        contribution=contribution,
        full_margin=contribution - frame["overhead_cost"],
    )
    return _charged(frame)


def payment_fees(jobs: pd.DataFrame, settings: Settings) -> pd.Series:
    """Card fee of each finished job line. [money]

    One payment a job: percent on the sum of its card lines, the fixed part once, rounded to the
    cent and shared by price in whole cents by largest remainder. Nothing on a price of 0.
    """
    price = jobs["invoiced_price"].fillna(0.0)
    paid = price.where(jobs["payment"] == "card", 0.0)
    job = pd.Series(pd.factorize(jobs["job_id"])[0], index=jobs.index)
    total = paid.groupby(job).sum()
    fee = total * settings.fees.card_percent / 100 + settings.fees.card_fixed
    cents = to_cents(fee[total > 0])
    shares = allocate_cents(cents, paid[paid > 0], job[paid > 0])
    return (shares / 100).reindex(jobs.index, fill_value=0.0)


def _film_of_lines(pulls: pd.DataFrame, jobs: pd.DataFrame) -> pd.DataFrame:
    """Film of each job line: areas [m²] and cost, on `jobs`' index."""
    own = pulls[pulls["job_line"].notna()]
    line = own["job_line"].astype("int64")
    columns = {
        "consumed_area_m2": "consumed_m2",
        "finished_area_m2": "finished_area_m2",
        "waste_area_m2": "waste_area_m2",
        "film_cost": "film_cost",
    }
    sums = {name: strict_sum(own[column], line) for name, column in columns.items()}
    frame = pd.DataFrame(sums).reindex(np.arange(len(jobs)))
    frame.index = jobs.index
    # A line without a pull used no film where the job's film is written down on other lines, or
    # where the line names none; a line that names a film and has no pull anywhere is unknown.
    job_pulled = jobs["job_id"].isin(jobs["job_id"].take(line.unique()))
    none = frame["consumed_area_m2"].isna() & ~_has_pull(line, jobs)
    none &= (job_pulled | jobs["film"].isna()) & bool((pulls["owner"] == FOR_JOB).any())
    return frame.where(~none, frame.fillna(0.0))


def _has_pull(lines: pd.Series, jobs: pd.DataFrame) -> pd.Series:
    return pd.Series(np.isin(np.arange(len(jobs)), lines.to_numpy()), index=jobs.index)


def _main_film(pulls: pd.DataFrame, jobs: pd.DataFrame) -> pd.Series:
    """The film of the job sheet, else the one that the line consumed most of."""
    own = pulls[pulls["job_line"].notna() & pulls["film"].notna()]
    area = own.groupby([own["job_line"].astype("int64"), "film"])["consumed_m2"].sum()
    most = area.reset_index().sort_values(["job_line", "consumed_m2"], kind="stable")
    by_line = most.groupby("job_line")["film"].last()
    found = pd.Series(np.arange(len(jobs)), index=jobs.index).map(by_line)
    return jobs["film"].fillna(found.astype("str"))


def _charged(lines: pd.DataFrame) -> pd.DataFrame:
    """Adds the first job of each redo chain, and the labels that its costs stand under."""
    root = redo_roots(lines)
    own = pd.Series(np.arange(len(lines)), index=lines.index)
    at = root.fillna(own).to_numpy(dtype="int64")
    labels = {
        f"charged_{label}": lines[column].take(at).to_numpy()
        for label, column in (
            ("service", "service"),
            ("class", "vehicle_class"),
            ("make", "make"),
            ("model", "model"),
            ("film", "film"),
        )
    }
    return lines.assign(root=root.astype("Int64"), is_redo=lines["redo_of"].notna(), **labels)


def redo_roots(jobs: pd.DataFrame) -> pd.Series:
    """Position of the first job line that each redo does over; missing where there is none.

    A redo names a job, which may be a redo itself: the chain is followed to its first job, and
    there to the line of the same service, else the first line. A redo of a job that is not there,
    or of itself, has none; in a chain that runs in a circle it is the job that the redo names.
    """
    if jobs["redo_of"].isna().all():
        return pd.Series(np.nan, index=jobs.index)
    numbers = pd.Series(np.arange(len(jobs)), index=jobs.index)
    order = jobs.assign(at=numbers).sort_values(["job_id", "line"], kind="stable")
    names = order["job_id"].drop_duplicates(ignore_index=True)
    position = pd.Series(np.arange(len(names)), index=names)
    done_over = order.groupby("job_id", sort=False)["redo_of"].first().map(position)
    chain = _follow(done_over.reindex(names).to_numpy(dtype="float64", copy=True))
    first_job = jobs["redo_of"].map(position)
    start = first_job.fillna(0).astype("int64").to_numpy()
    end = pd.Series(chain[start] if len(chain) else chain, index=jobs.index).fillna(first_job)
    own = jobs["job_id"].map(position)
    end = end.where(first_job.notna() & (end != own))
    asked = pd.DataFrame({"job_id": end.map(names).astype("str"), "service": jobs["service"]})
    same = asked.merge(
        order.drop_duplicates(["job_id", "service"])[["job_id", "service", "at"]],
        how="left",
        validate="m:1",
    )["at"]
    first = asked[["job_id"]].merge(
        order.drop_duplicates("job_id")[["job_id", "at"]], how="left", validate="m:1"
    )["at"]
    root = same.fillna(first)
    root.index = jobs.index
    return root


def _follow(parent: np.ndarray) -> np.ndarray:
    """The end of each chain of parents; a chain that runs in a circle has none."""
    parent[parent == np.arange(len(parent))] = np.nan
    root = parent.copy()
    for _ in range(len(parent)):
        known = ~np.isnan(root)
        further = np.full(len(root), np.nan)
        further[known] = parent[root[known].astype("int64")]
        moving = ~np.isnan(further)
        if not moving.any():
            return root
        circle = moving & (further == np.arange(len(root)))
        root[moving] = further[moving]
        if circle.any():
            root[circle] = np.nan
            parent = parent.copy()
            parent[circle] = np.nan
    return root


def quarter_label(numbers: pd.Series, settings: Settings) -> pd.Series:
    """Names of numbered quarters: `2026Q3`."""
    names = {
        number: quarter_from_index(number, settings.fiscal_year_starts).label
        for number in numbers.dropna().unique()
    }
    return numbers.map(names).astype("str")
