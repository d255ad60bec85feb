"""Figures about overruns: facts of the made-up review, and what they say without one."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report import figures_cells as cells
from analysis.report import figures_models as models
from analysis.report import figures_overruns as overruns
from analysis.report import figures_people as people
from analysis.report import notebook
from analysis.report.results import Review
from analysis.report.vehicles import job_lines, ranked_models

MakeReview = Callable[..., Review]
LINE = "Keep the table hours: without it nobody knows."
TABLES: dict[str, tuple[str, Callable[[Review], Any]]] = {
    "spread": ("hours_spread", models.gather_spread),
    "pulls": ("jobs_that_pull", models.gather_pulls),
}
DRAWN: dict[str, tuple[str, Callable[[Review], Any], Callable[[Any], Any]]] = {
    "cells": ("job_costs", cells.gather_cells, cells.draw_cells),
    "jobs": (
        "job_costs",
        lambda review: models.gather_model_jobs(review, "Harrow", "Pike"),
        models.draw_model_jobs,
    ),
    "tasks": (
        "overrun_by_task",
        lambda review: models.gather_model_tasks(review, "Harrow", "Pike"),
        models.draw_over_hours,
    ),
    "flagged tasks": ("overrun_by_task", models.gather_flagged_tasks, models.draw_over_hours),
}


def models_like(make_review: MakeReview, **columns: object) -> Review:
    """The made-up review with other columns of its models, in every period."""
    frame = make_review().frame("hours_by_model").assign(**columns)
    return make_review(results={"hours_by_model": frame}, year={"hours_by_model": frame})


@pytest.mark.parametrize("name", list(DRAWN))
def test_it_draws_with_words_and_numbers(name: str, review: Review) -> None:
    _, gather, draw = DRAWN[name]
    info = gather(review)
    assert not info.line
    assert info.grids[0].rows
    assert "every number" in info.alternative
    fig = draw(info)
    assert fig.layout.xaxis.title.text
    assert sum(len(trace.x) for trace in fig.data) > 0


@pytest.mark.parametrize("name", [*DRAWN, *TABLES])
def test_what_is_not_there_says_why(name: str, make_review: MakeReview) -> None:
    table, gather, *draw = (DRAWN | TABLES)[name]
    info = gather(make_review(results={table: Unavailable(table, ("hours",), LINE)}))
    assert info.line == LINE
    if draw:
        assert LINE[:30] in json.dumps(draw[0](info).to_plotly_json())


@pytest.mark.parametrize("name", list(DRAWN))
def test_nothing_known_is_told(name: str, make_review: MakeReview) -> None:
    table, gather, draw = DRAWN[name]
    frame = make_review().frame(table)
    numbers = frame.select_dtypes("number").columns.difference(["line"])
    blank = frame.assign(**dict.fromkeys(numbers, np.nan))
    info = gather(make_review(results={table: blank}))
    assert "nothing to show" in info.line
    draw(info).to_plotly_json()


@pytest.mark.parametrize("name", [*DRAWN, *TABLES])
def test_a_typed_name_is_text(name: str, make_review: MakeReview) -> None:
    table, gather, *draw = (DRAWN | TABLES)[name]
    bad = "<b>Ann</b> & <a href='javascript:x'>co</a>"
    frame = make_review().frame(table)
    key = {"job_costs": "service", "overrun_by_task": "task"}.get(table, str(frame.columns[0]))
    info = gather(make_review(results={table: frame.assign(**{key: bad})}))
    assert bad in [cell.text for grid in info.grids for row in grid.rows for cell in row]
    if draw:
        text = json.dumps(draw[0](info).to_plotly_json(), default=list)
        assert "<b>Ann" not in text
        assert "<a href" not in text


def test_flagged_models_are_named_and_marked(review: Review) -> None:
    info = overruns.gather_vehicles(review)
    frame = review.frame("hours_by_model").sort_values("pooled_overrun_share", ascending=False)
    flagged = int(frame["flagged"].sum())
    assert info.title == (
        "4 models to quote longer: Harrow Pike +42% (34% to 50%), Harrow Dart +34% (26% to 42%) "
        "and 2 more"
    )
    assert info.flagged == (True,) * flagged + (False,) * (len(frame) - flagged)
    assert all("quote longer" in text for text in info.texts[:flagged])
    assert not any("quote longer" in text for text in info.texts[flagged:])
    assert info.middles == pytest.approx(100 * frame["pooled_overrun_share"])
    assert list(info.probabilities) == sorted(info.probabilities, reverse=True)
    assert info.jobs == tuple(frame["jobs_to_date"])
    symbols = overruns.draw_vehicles(info).data[1].marker.symbol
    assert symbols[:flagged] == ("diamond",) * flagged
    assert "diamond" not in symbols[flagged:]


def test_every_interval_holds_its_estimate(review: Review) -> None:
    info = overruns.gather_vehicles(review)
    who = people.gather_people(review)
    tasks = models.gather_flagged_tasks(review)
    for lows, middles, highs in (
        (info.lows, info.middles, info.highs),
        (who.lows, who.middles, who.highs),
        (tasks.lows, tasks.over, tasks.highs),
    ):
        assert middles
        assert all(a <= b <= c for a, b, c in zip(lows, middles, highs, strict=True))


def test_the_table_holds_estimate_quarter_and_year(review: Review) -> None:
    grid = overruns.gather_vehicles(review).grids[0]
    assert [band.text for band in grid.bands] == [
        "",
        "All jobs to Sep 30, 2026",
        "2026Q3",
        "Twelve months to Sep 30, 2026",
    ]
    first = [cell.text for cell in grid.rows[0]]
    assert first[:2] == ["Harrow", "Pike"]
    assert first[3:8] == ["42.0", *first[4:6], "1.00", "yes"]
    assert [heading.text for heading in grid.headings].count("Overrun cost") == 2


def test_models_after_the_first_fifteen_stand_in_a_table_of_their_own(
    make_review: MakeReview,
) -> None:
    frame = make_review().frame("hours_by_model")
    many = pd.concat(
        [frame.assign(model=frame["model"] + f" {at}", flagged=False) for at in range(4)],
        ignore_index=True,
    )
    info = overruns.gather_vehicles(
        make_review(results={"hours_by_model": many}, year={"hours_by_model": many})
    )
    assert len(info.names) == 10
    assert [len(grid.rows) for grid in info.grids] == [10, len(many)]


def test_the_plain_average_is_held_against_it(make_review: MakeReview) -> None:
    over = [0.5, 0.02, 0.11, 0.3, 0.1, np.nan, 0.4]
    review = models_like(make_review, overrun_share=over)
    info = overruns.gather_vehicles(review)
    assert info.named_plainly == 4
    # Of those four the first, third and fourth are among the four flagged.
    assert "named 4 models over 10%: 1 of them cannot be told from chance" in info.note
    found = ranked_models(review)
    sure = review.frame("hours_by_model")["probability_over_tolerance"].head(4)
    assert found.false_share_pct == pytest.approx(100 * (1 - sure).mean())


def test_an_estimate_from_few_jobs_says_so(make_review: MakeReview) -> None:
    info = overruns.gather_vehicles(models_like(make_review, jobs_to_date=4))
    assert all(info.few)
    assert "(few)" in json.dumps(overruns.draw_vehicles(info).to_plotly_json(), default=list)
    assert info.grids[0].rows[0][2].says_few


def test_without_a_flag_the_title_says_that_none_is_sure(make_review: MakeReview) -> None:
    info = overruns.gather_vehicles(models_like(make_review, flagged=False))
    assert info.title == "No model is sure to run over; likeliest Harrow Pike (100%)"
    tasks = models.gather_flagged_tasks(models_like(make_review, flagged=False))
    assert len(tasks.names) == 3


def test_without_an_estimate_the_reason_is_that_of_the_lessons(make_review: MakeReview) -> None:
    frame = make_review().frame("hours_by_model").assign(probability_over_tolerance=np.nan)
    few = Unavailable("hours_spread", ("jobs",), "Too few jobs to learn from.")
    review = make_review(results={"hours_by_model": frame, "hours_spread": few})
    assert overruns.gather_vehicles(review).line == few.line
    with pytest.raises(ValueError, match="Too few jobs"):
        notebook.chosen_model(review)


def test_cells_are_sums_and_thin_ones_are_marked(review: Review) -> None:
    info = cells.gather_cells(review)
    lines = job_lines(review)
    year = lines[lines["finished_on"] >= review.quarter.year_first_day]
    assert sum(map(sum, info.jobs)) == len(year)
    for row, vehicle in enumerate(info.classes):
        for column, service in enumerate(info.services):
            own = year[(year["service"] == service) & (year["vehicle_class"] == vehicle)]
            assert info.jobs[row][column] == len(own)
            assert info.few[row][column] == (0 < len(own) < 5)
            text = info.texts[row][column]
            if len(own):
                over = 100 * (own["actual_hours"].sum() / own["quoted_hours"].sum() - 1)
                assert info.over_pct[row][column] == pytest.approx(over)
                assert text.startswith("<i>(") == (len(own) < 5)
                assert f"<br>{len(own)}" in text
            else:
                assert text == ""
    fig = cells.draw_cells(info)
    patterns = dict(zip(fig.data[0].text, fig.data[0].marker.pattern.shape, strict=True))
    assert {shape for text, shape in patterns.items() if text.startswith("<i>")} == {"."}
    assert {shape for text, shape in patterns.items() if not text.startswith("<i>")} == {""}


def test_redos_are_in_no_cell_and_no_list(review: Review) -> None:
    redone = review.frame("job_costs").dropna(subset="redo_of")
    assert len(redone) > 0
    assert not set(redone["job_id"]) & set(job_lines(review)["job_id"])


def test_a_model_s_jobs_stand_against_its_estimate(review: Review) -> None:
    info = models.gather_model_jobs(review, "Harrow", "Pike")
    lines = job_lines(review)
    own = lines[(lines["make"] == "Harrow") & (lines["model"] == "Pike")]
    over = int((own["actual_hours"] > own["quoted_hours"]).sum())
    assert info.title == (
        f"Harrow Pike: {over} of {len(own)} jobs ran over; expect +42% of the next (34% to 50%)"
    )
    assert list(info.days) == sorted(info.days)
    assert len(info.grids[0].rows) == len(own) == len(info.over_pct)
    fig = models.draw_model_jobs(info)
    symbols = [trace.marker.symbol for trace in fig.data]
    assert len(set(symbols)) == len(symbols) == len(info.services)


def test_the_task_that_runs_over_most_is_each_model_s_own(review: Review) -> None:
    info = models.gather_flagged_tasks(review)
    frame = review.frame("overrun_by_task")
    for name, over in zip(info.names, info.over, strict=True):
        model, task = name.split(": ")
        own = frame[(frame["make"] + " " + frame["model"]) == model]
        assert over == pytest.approx(own["over_hours"].max())
        assert own.loc[own["over_hours"].idxmax(), "task"] == task
    assert len(info.names) == 4
    assert info.strong == tuple(low > 0 for low in info.lows)


def test_jobs_that_pull_come_with_the_advice_to_look(review: Review) -> None:
    info = models.gather_pulls(review)
    assert info.title == "Job J-0 moves Harrow Pike most: +12.0% of its hours"
    assert "written down right" in info.note
    assert "(3 lines)" in info.note
    assert [len(grid.rows) for grid in info.grids] == [15, 3]


def test_what_spreads_the_hours_is_a_table_with_its_notes(review: Review) -> None:
    info = models.gather_spread(review)
    assert info.title == "Hours differ most from job to job: 26% more or less is usual"
    assert [heading.text for heading in info.grids[0].headings][-1] == "Note"


def test_people_are_in_the_order_of_the_alphabet_and_named_in_no_title(review: Review) -> None:
    info = people.gather_people(review)
    assert list(info.names) == sorted(info.names)
    assert not any(name in info.title for name in info.names)
    assert "Employment law" in info.caution
    said = f"{info.title} {info.note}".lower()
    assert not any(word in said for word in ("best", "worst", "slow", "fast", "flag", "rank"))


def test_the_chosen_model_is_the_flagged_one_that_cost_most(make_review: MakeReview) -> None:
    cost = [10.0, 900.0, 20.0, 30.0, 5000.0, 0.0, 0.0]
    assert notebook.chosen_model(models_like(make_review, overrun_cost=cost)) == ("Harrow", "Dart")
    unknown = models_like(make_review, overrun_cost=np.nan)
    assert notebook.chosen_model(unknown) == ("Harrow", "Pike")
