"""Figures about quotes and time: their numbers are those of the tables."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report import figures_learning as learning
from analysis.report import figures_quotes as quotes
from analysis.report.results import Review

MakeReview = Callable[..., Review]
LINE = "Too few jobs to learn from."
FIGURES: dict[str, tuple[str, Callable[[Review], Any]]] = {
    "quotes": ("next_quotes", quotes.gather_quotes),
    "calibration": ("quote_calibration", quotes.gather_calibration),
    "losses": ("quote_calibration", quotes.gather_losses),
    "drift": ("quoting_drift", learning.gather_drift),
    "learning": ("learning_curves", learning.gather_learning),
}


@pytest.mark.parametrize("name", list(FIGURES))
def test_what_is_not_there_says_why(name: str, make_review: MakeReview) -> None:
    table, gather = FIGURES[name]
    assert gather(make_review(results={table: Unavailable(table, (), LINE)})).line == LINE


def test_calibration_is_that_of_the_table(review: Review) -> None:
    info = quotes.gather_calibration(review)
    table = review.frame("quote_calibration").set_index("method")
    levels = ["inside_50_share", "inside_70_share", "inside_80_share", "inside_90_share"]
    assert info.promised == (50.0, 70.0, 80.0, 90.0)
    assert info.held == pytest.approx(100 * table.loc["this quote", levels].astype(float))
    assert all(a < b < c for a, b, c in zip(info.lows, info.held, info.highs, strict=True))
    assert info.title == "Quotes for 70% of jobs held for 71%"
    assert info.own_held_pct == pytest.approx(46.0)
    assert [row[2].text for row in info.grids[0].rows] == ["52.0", "71.0", "79.0", "91.0"]
    fig = quotes.draw_calibration(info)
    assert tuple(fig.data[0].x) == tuple(fig.data[0].y)
    assert tuple(fig.data[1].y) == info.held


def test_calibration_of_nothing_is_told(make_review: MakeReview) -> None:
    frame = make_review().frame("quote_calibration").assign(inside_50_share=np.nan)
    info = quotes.gather_calibration(make_review(results={"quote_calibration": frame}))
    assert info.line == "No past job was quoted again, so how often quotes hold is not known."
    assert info.line[:30] in json.dumps(quotes.draw_calibration(info).to_plotly_json())


def test_losses_are_least_first_and_said_to_the_hundredth(review: Review) -> None:
    info = quotes.gather_losses(review)
    assert info.title == "Hours lost a quote: 0.95 h against 1.29 h of the shop's own quotes"
    assert list(info.losses) == sorted(info.losses)
    assert info.names[0] == "this quote"
    assert [row[3].text for row in info.grids[0].rows][:2] == ["0.95", "1.02"]


def test_quotes_show_the_flagged_models_and_what_comes_often(review: Review) -> None:
    info = quotes.gather_quotes(review)
    table = review.frame("next_quotes")
    assert info.rows == len(table) == 42
    grid = info.grids[0]
    at = {heading.text: place for place, heading in enumerate(grid.headings)}
    marks = [row[at["Quote longer"]].text for row in grid.rows]
    assert len(grid.rows) == 25
    assert marks == ["yes"] * 15 + ["no"] * 10
    flagged = review.frame("hours_by_model").query("flagged")
    assert {row[1].text for row in grid.rows[:15]} <= set(flagged["make"] + " " + flagged["model"])
    often = [int(row[at["Jobs"]].text) for row in grid.rows[15:]]
    assert often == sorted(often, reverse=True)
    assert {row[at["Add hours"]].text for row in grid.rows} == {"1.0"}
    assert "42 pairs stand in the workbook" in info.note


def test_quotes_from_few_jobs_say_so(make_review: MakeReview) -> None:
    frame = make_review().frame("next_quotes").assign(enough=False)
    grid = quotes.gather_quotes(make_review(results={"next_quotes": frame})).grids[0]
    assert all(row[5].says_few for row in grid.rows)


def test_hours_to_add_weigh_pairs_by_their_jobs(make_review: MakeReview) -> None:
    frame = make_review().frame("next_quotes").head(3)
    some = frame.assign(
        jobs=[30, 10, 50], usual_hours=[4.0, 8.0, np.nan], hours_to_quote=[5.0, 9.0, 3.0]
    )
    share, pairs = quotes.hours_to_add(make_review(results={"next_quotes": some}))
    assert (share, pairs) == (pytest.approx(20.0), 2)
    gone = Unavailable("next_quotes", (), LINE)
    nothing, none = quotes.hours_to_add(make_review(results={"next_quotes": gone}))
    assert np.isnan(nothing)
    assert none == 0


@pytest.mark.parametrize(
    ("ends", "title"),
    [
        ((0.01, 0.06), "Hours rise against the quotes, like for like: +3.5% a year (1% to 6%)"),
        ((-0.06, -0.01), "Hours fall against the quotes, like for like: +3.5% a year (−6% to −1%)"),
        (
            (-0.01, 0.06),
            "No drift to be seen in the quoting: hours change by +3.5% a year (−1% to 6%), "
            "like for like",
        ),
    ],
)
def test_the_change_a_year_is_the_title(
    ends: tuple[float, float], title: str, make_review: MakeReview
) -> None:
    frame = make_review().frame("quoting_drift")
    last = frame["period"] == "change a year"
    frame = frame.assign(
        low_share=frame["low_share"].mask(last, ends[0]),
        high_share=frame["high_share"].mask(last, ends[1]),
    )
    info = learning.gather_drift(make_review(results={"quoting_drift": frame}))
    assert info.title == title
    assert "change a year" not in info.periods
    assert info.grids[0].rows[-1][0].text == "change a year"


def test_one_quarter_has_no_change_a_year(make_review: MakeReview) -> None:
    frame = make_review().frame("quoting_drift").head(1)
    info = learning.gather_drift(make_review(results={"quoting_drift": frame}))
    assert "cannot be told" in info.title
    assert info.periods == ("2025Q1",)


def pair_review(make_review: MakeReview, verdict: str, rate: float) -> Review:
    """A review with one pair, done eight times, exactly on Wright's curve of that rate."""
    table = make_review().frame("learning_curves").head(1)
    table = table.assign(
        service="roof",
        make="Harrow",
        model="Pike",
        jobs=8,
        learning_rate_share=rate,
        verdict=verdict,
    )
    jobs = make_review().frame("job_costs").head(8)
    number = np.arange(1, 9)
    power = 1 + np.log2(rate)
    jobs = jobs.assign(
        service="roof",
        make="Harrow",
        model="Pike",
        quoted_hours=2.0,
        actual_hours=2.6 * (number**power - (number - 1) ** power),
        redo_of=pd.Series([None] * 8, dtype="str"),
    )
    return make_review(results={"learning_curves": table, "job_costs": jobs})


def test_the_curve_goes_through_jobs_that_follow_it(make_review: MakeReview) -> None:
    info = learning.gather_learning(pair_review(make_review, "shrinks", 0.8))
    assert info.numbers == tuple(range(1, 9))
    assert info.curve == pytest.approx(info.over)
    assert info.over[0] == pytest.approx(1.3)
    assert info.title.startswith(
        "Roof on Harrow Pike: with each doubling of the jobs done the average falls to 80%"
    )
    fig = learning.draw_learning(info)
    assert [trace.name for trace in fig.data] == ["job", "learning curve"]


def test_without_a_sure_pair_the_title_says_so(make_review: MakeReview) -> None:
    info = learning.gather_learning(pair_review(make_review, "cannot tell", 0.99))
    assert info.title == (
        "No hours are sure to change with repetition; most often done: roof on Harrow Pike"
    )
    assert "0 shrinks, 0 grows, 0 steady, 1 cannot tell" in info.note


def test_pairs_that_change_stand_in_front(review: Review) -> None:
    info = learning.gather_learning(review)
    assert [len(grid.rows) for grid in info.grids] == [2, 12]
    assert {row[-1].text for row in info.grids[0].rows} == {"shrinks"}
    assert "2 shrinks, 0 grows, 1 steady, 9 cannot tell" in info.note
