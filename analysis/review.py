"""The order of the work: records, costing, findings, one call a line."""

from collections.abc import Callable
from contextlib import nullcontext
from pathlib import Path
from typing import Final

import pandas as pd

from analysis.costing.doubts import with_costing_doubts
from analysis.costing.film import film_reconciliation
from analysis.costing.jobs import Costing, cost_records, quarter_label
from analysis.costing.purchases import film_prices
from analysis.errors import Unavailable, WorkbookError
from analysis.findings.avoidable import LaidAgain, avoidable_by_job, lay_past_cuts
from analysis.findings.bridge import bridge_cells, quarter_bridge
from analysis.findings.capacity_use import governing_in, spare_hours, utilisation_by_month
from analysis.findings.earning import best_mix, earning_by_service
from analysis.findings.film_flows import film_flows
from analysis.findings.film_lessons import learn_film
from analysis.findings.groups import Period
from analysis.findings.hours import (
    CLASS,
    MODEL,
    SERVICE,
    hours_by,
    hours_by_installer,
    hours_by_task,
)
from analysis.findings.lessons import Lessons, learn, nothing_learnt
from analysis.findings.margins import margin_by, redo_rates, shop_result
from analysis.findings.offcuts import film_counts, offcut_shelf, offcuts_on_shelf
from analysis.findings.quote_variances import job_variances, variances_by
from analysis.findings.waste import waste_by
from analysis.periods import Quarter, last_complete_quarter, quarter_index, quarter_of
from analysis.pricing.counter_review import review_counter
from analysis.pricing.film_orders import film_orders
from analysis.pricing.follow_up import price_follow_up
from analysis.pricing.price_review import review_prices
from analysis.pricing.quote import Quoter, prepare_quotes
from analysis.records.model import Records, newest_day, working_days
from analysis.records.read import read_records
from analysis.report.letters import with_letters
from analysis.report.results import Review
from analysis.result_tables import QUARTER_ONLY, RESULT_TABLES
from analysis.second_process import ALONE, Helper, SecondProcess

Results = dict[str, pd.DataFrame | Unavailable]
_WASTE: Final = {
    "class": "vehicle_class",
    "service": "service",
    "film": "film",
    "panel": "panel",
    "width": "roll_width_m",
}


def run_review(
    folder: Path | str,
    quarter: str | None = None,
    progress: Callable[[str], None] | None = None,
    *,
    installers_as_letters: bool = False,
    two_processes: bool = True,
) -> Review:
    """Read a records folder and compute the quarter's results.

    `quarter` is a label such as 2026Q3; by default the last complete one in the records;
    `installers_as_letters` puts a letter for every name of the people who do the work;
    with `two_processes` a second process takes half of the work, with the same results in less time
    and as much memory again. Raises `WorkbookError` where the folder, its settings or the quarter
    make a review impossible.
    """
    say = progress or (lambda _: None)
    with SecondProcess("analysis.review") if two_processes else nullcontext(ALONE) as helper:
        records = read_records(folder, progress=say)
        say("costing the jobs")
        review = review_records(records, quarter, say, helper)
    return with_letters(review) if installers_as_letters else review


def check_records(folder: Path | str, progress: Callable[[str], None] | None = None) -> Records:
    """Read and check a records folder; what only the costing can see is among the findings."""
    records = read_records(folder, progress=progress)
    days = working_days(records)
    return (
        records if days.empty else with_costing_doubts(records, cost_records(records, days.max()))
    )


def review_records(
    records: Records,
    quarter: str | None = None,
    progress: Callable[[str], None] | None = None,
    helper: Helper = ALONE,
) -> Review:
    """The results of checked records; `helper` takes what can be done beside the rest."""
    chosen = chosen_quarter(records, quarter)
    say = progress or (lambda _: None)
    day, newest = chosen.last_day, newest_day(records)
    fewest = records.settings.pricing.fewest_jobs
    costing = cost_records(records, day)
    records = with_costing_doubts(records, costing)
    months = utilisation_by_month(costing, records, chosen)
    governing = governing_in(months, chosen)
    pulls = costing.shelf.pulls
    # In the order in which the results are wanted.
    laying = helper.ask(lay_past_cuts, pulls, chosen.year_first_day, day, records.settings)
    following_up = helper.ask(price_follow_up, costing, records, day, fewest)
    learning_film = helper.ask(learn_film, costing, records, day)
    weighing = helper.ask(review_counter, costing, records, chosen, governing, newest)
    lessons = learn(costing, records, day, progress)
    pricing = review_prices(costing, records, chosen, lessons, governing, following_up, progress)
    say("laying out past cuts again")
    laid = laying()
    now = quarter_results(costing, records, chosen, months, laid, lessons)
    year = year_results(costing, records, chosen, laid, lessons)
    before = utilisation_by_month(costing, records, chosen.previous)
    previous = quarter_results(costing, records, chosen.previous, before, laid)
    now["film_orders"] = film_orders(costing, records, newest)
    say("learning how large to cut, comparing films")
    now |= learning_film()
    say("judging the counter sale")
    counter = weighing()
    return Review(
        quarter=chosen,
        settings=records.settings,
        records=records,
        results=in_order(now | pricing.tables | counter.tables),
        year=in_order(year | counter.year),
        previous=previous,
        pricing=pricing,
        counter=counter,
    )


def chosen_quarter(records: Records, label: str | None) -> Quarter:
    """The quarter asked for, else the last complete one.

    One without any work is reviewed where work is dated before it and after it: rent is paid in a
    quiet winter too.
    """
    starts = records.settings.fiscal_year_starts
    days = working_days(records)
    if days.empty:
        raise WorkbookError(
            "No day of work stands in these records; a review needs at least one finished job "
            "with its finished_on."
        )
    if label is None:
        return _default_quarter(records, days)
    asked = Quarter.parse(label, starts)
    if days.min() > asked.last_day or days.max() < asked.first_day:
        held = quarter_label(quarter_index(days.sort_values(), starts), records.settings)
        raise WorkbookError(
            f"Nothing was finished, worked, cut or sold in {asked.spelled}. These records hold "
            f"{held.iloc[0]} to {held.iloc[-1]}; ask for one of those."
        )
    return asked


def _default_quarter(records: Records, days: pd.Series) -> Quarter:
    """The last complete quarter with a finished job.

    A new shop may have none before the running quarter: then that one; without any finished job,
    the last complete quarter with work.
    """
    starts = records.settings.fiscal_year_starts
    jobs = records["jobs"]
    finished = jobs.loc[jobs["status"] == "finished", "finished_on"].dropna()
    complete = last_complete_quarter(days.max(), starts)
    done = (finished if len(finished) else days).sort_values()
    early = done[done <= complete.last_day]
    return quarter_of(early.iloc[-1] if len(early) else done.iloc[0], starts)


def read_and_cost(
    folder: Path | str, say: Callable[[str], None]
) -> tuple[Records, Costing, pd.Timestamp]:
    """Read a records folder and cost it up to its newest day, for a question of today.

    Raises `WorkbookError` where the folder cannot be read or nothing in it has a day.
    """
    records = read_records(folder, progress=say)
    day = newest_day(records)
    if pd.isna(day):
        raise WorkbookError("No day of work and no purchase stands in these records.")
    say("costing the jobs")
    costing = cost_records(records, day)
    return with_costing_doubts(records, costing), costing, day


def quarter_results(
    costing: Costing,
    records: Records,
    quarter: Quarter,
    months: pd.DataFrame | Unavailable,
    laid: LaidAgain,
    lessons: Lessons | None = None,
) -> Results:
    """Every result table for one quarter, in order; without lessons, those of sums alone.

    `months` are those of `utilisation_by_month` for the quarter.
    """
    period = Period(quarter.first_day, quarter.last_day)
    year = Period(quarter.year_first_day, quarter.last_day)
    fewest = records.settings.pricing.fewest_jobs
    governing = governing_in(months, quarter)
    quarters = year_quarters(quarter)
    variances = job_variances(costing, records, quarter)
    results = _period_results(costing, records, period, [quarter], laid, lessons, variances) | {
        "quarter_bridge": quarter_bridge(costing, records, quarter),
        "bridge_cells": bridge_cells(costing, records, quarter),
        "variances": variances,
        "utilisation_by_month": months,
        "earning_by_service": earning_by_service(costing, governing, year, fewest),
        "best_mix": best_mix(
            costing, spare_hours(months, governing, quarter), year, quarters, fewest
        ),
        "avoidable_by_job": avoidable_by_job(laid, period),
        "film_counts": film_counts(costing, quarter.last_day),
        "offcuts_on_shelf": offcuts_on_shelf(costing, records, quarter.last_day),
        "film_prices": film_prices(
            costing.purchase_lines[costing.purchase_lines["received_on"] <= quarter.last_day],
            costing.credits,
        ),
        "redo": redo_rates(costing, year, fewest),
        "job_costs": job_costs(costing, records, quarter),
        **(lessons.tables if lessons else {}),
    }
    return in_order(results)


def in_order(results: Results) -> Results:
    """Results in the order in which they are written; a name without a table is refused."""
    if unknown := results.keys() - RESULT_TABLES.keys():
        raise KeyError(f"no result table is called {', '.join(sorted(unknown))}")
    return {name: results[name] for name in RESULT_TABLES if name in results}


def year_results(
    costing: Costing,
    records: Records,
    quarter: Quarter,
    laid: LaidAgain,
    lessons: Lessons,
) -> Results:
    """Every result table that also exists for the twelve months that end with the quarter."""
    period = Period(quarter.year_first_day, quarter.last_day)
    quarters, variances = year_quarters(quarter), job_variances(costing, records, quarter, period)
    results = _period_results(costing, records, period, quarters, laid, lessons, variances)
    return {name: results[name] for name in results if name not in QUARTER_ONLY}


def year_quarters(quarter: Quarter) -> list[Quarter]:
    """The four quarters of the twelve months that end with one, the newest first."""
    quarters = [quarter]
    for _ in range(3):
        quarters.append(quarters[-1].previous)
    return quarters


def job_costs(costing: Costing, records: Records, quarter: Quarter) -> pd.DataFrame:
    """Every finished job line up to the quarter's end, by day, job and line."""
    lines = costing.lines
    chosen = lines[lines["finished"] & (lines["finished_on"] <= quarter.last_day)]
    chosen = chosen.assign(quarter=quarter_label(chosen["quarter_number"], records.settings))
    return chosen.sort_values(["finished_on", "job_id", "line"], kind="stable", ignore_index=True)


def _period_results(
    costing: Costing,
    records: Records,
    period: Period,
    quarters: list[Quarter],
    laid: LaidAgain,
    lessons: Lessons | None,
    variances: pd.DataFrame,
) -> Results:
    """The results that a quarter and a year both have; `variances` : those of the period's jobs."""
    fewest = records.settings.pricing.fewest_jobs
    rates = [costing.rates[each.index] for each in quarters if each.index in costing.rates]
    lay = lessons.laid_into if lessons else nothing_learnt
    return {
        "shop_result": shop_result(costing, records, rates),
        "variances_by_service": variances_by(variances, "service", fewest),
        "variances_by_class": variances_by(variances, "vehicle_class", fewest),
        "margin_by_service": margin_by(costing, "service", period, fewest),
        "margin_by_class": margin_by(costing, "vehicle_class", period, fewest),
        "margin_by_film": margin_by(costing, "film", period, fewest),
        "hours_by_service": lay("hours_by_service", hours_by(costing, SERVICE, period, fewest)),
        "hours_by_class": lay("hours_by_class", hours_by(costing, CLASS, period, fewest)),
        "hours_by_model": lay(
            "hours_by_model",
            hours_by(costing, MODEL, period, fewest, every_group_until=period.last),
        ),
        "hours_by_installer": lay(
            "hours_by_installer", hours_by_installer(costing, period, fewest)
        ),
        "hours_by_task": hours_by_task(costing, period, fewest),
        **{
            f"waste_by_{name}": waste_by(costing, laid.areas, key, period, fewest)
            for name, key in _WASTE.items()
        },
        "film_flows": film_flows(costing.shelf, period),
        "offcut_shelf": offcut_shelf(costing, period),
        "film_reconciliation": film_reconciliation(costing.shelf, period.first, period.last),
    }


def prepare_next_quotes(
    folder: Path | str, progress: Callable[[str], None] | None = None
) -> Quoter:
    """Read a records folder and learn from it what quotes of the next jobs are made from.

    Raises `WorkbookError` where the folder cannot be read, or holds too few jobs to learn from.
    """
    say = progress or (lambda _: None)
    records = read_records(folder, progress=say)
    if working_days(records).empty:
        raise WorkbookError("No day of work stands in these records; there is nothing to learn.")
    # As the kit of the same car: at the newest purchase's price.
    day = newest_day(records)
    say("costing the jobs")
    costing = cost_records(records, day)
    records = with_costing_doubts(records, costing)
    say("learning from past jobs")
    quoter = prepare_quotes(costing, records, day)
    if isinstance(quoter, Unavailable):
        raise WorkbookError(f"No quote can be made yet. {quoter.line}")
    return quoter
