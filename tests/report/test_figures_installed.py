"""Figures about what film costs, once it is on, swapped, and over time: the tables' numbers."""

import html
import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report import figures_installed as installed
from analysis.report import figures_trends as trends
from analysis.settings import Settings
from tests.report import made_film
from tests.report.made_film import FILMS, SERVICES, film_review

LINE = "What film costs needs the table purchases."
METRIC = Settings(currency="EUR", locale="de-DE", length_unit="cm", area_unit="m2")
SQ_FT = 0.09290304
FIGURES = {
    "film_installed": (installed.gather_installed, installed.draw_installed),
    "film_swaps": (installed.gather_swaps, installed.draw_swaps),
    "film_price_trends": (trends.gather_trends, trends.draw_trends),
}
ALL = pytest.mark.parametrize("table", list(FIGURES))


def drawn(fig: Any) -> str:
    """The figure as the text that a browser gets."""
    return json.dumps(fig.to_plotly_json(), default=str, ensure_ascii=False)


@ALL
def test_what_is_not_there_says_why(table: str) -> None:
    gather, draw = FIGURES[table]
    info = gather(film_review(**{table: Unavailable(table, (), LINE)}))
    assert info.line == LINE
    assert LINE in drawn(draw(info))
    empty = gather(film_review(**{table: film_review().frame(table).head(0)}))
    assert empty.line == "There is nothing to show for 2026Q3."


@ALL
def test_every_figure_has_words_and_its_numbers(table: str) -> None:
    gather, draw = FIGURES[table]
    info = gather(film_review())
    assert info.line == ""
    assert "every number" in info.alternative
    fig = draw(info)
    assert fig.layout.xaxis.title.text
    names = {html.unescape(note.text) for note in fig.layout.annotations}
    marks = [" (few)" if thin else "" for thin in info.few]
    assert {name + mark for name, mark in zip(info.names, marks, strict=True)} <= names
    assert set(info.texts) <= names


@ALL
def test_typed_markup_is_drawn_as_it_is(table: str) -> None:
    gather, draw = FIGURES[table]
    frame = film_review().frame(table)
    hostile = {film: f"<b>{film}=1+1</b> \u05e9\u05dc" for film in FILMS}
    info = gather(film_review(**{table: frame.assign(film=frame["film"].map(hostile))}))
    text = drawn(draw(info))
    assert "<b>GB" not in text
    assert "&lt;b&gt;" in text
    assert "\u2068" in text


@ALL
def test_forty_rows_fold_into_the_grid(table: str) -> None:
    gather, draw = FIGURES[table]
    frame = film_review().frame(table)
    many = pd.concat([frame] * 10, ignore_index=True).head(40)
    many = many.assign(film=[f"F-{at:02d}" for at in range(len(many))])
    info = gather(film_review(**{table: many}))
    assert 2 <= len(info.names) <= 14
    assert sum(len(grid.rows) for grid in info.grids[:2]) >= 40
    assert "The chart shows" in info.note
    assert draw(info).data


# --- once it is on --------------------------------------------------------------------------------


def test_installed_costs_are_those_of_the_table() -> None:
    info = installed.gather_installed(film_review())
    table = made_film.installed(SERVICES, FILMS)
    assert info.names[:3] == ("roof: GB-60", "roof: CL-72", "roof: MB-60")
    assert "tint: TN-40" not in info.names
    assert info.totals[0] == pytest.approx(table.loc[0, "installed_cost_per_m2"] * SQ_FT)
    sums = np.sum([values for _, values in info.parts], axis=0)
    assert sums == pytest.approx(info.totals)
    assert info.few == (False,) * 7 + (True,)
    assert info.texts[0] == "$7.48 ($6.64 to $8.50)"
    assert [len(grid.rows) for grid in info.grids] == [9]
    assert info.grids[0].rows[7][2].says_few


def test_installed_draws_parts_and_intervals() -> None:
    info = installed.gather_installed(film_review())
    fig = installed.draw_installed(info)
    assert [trace.name for trace in fig.data] == ["film", "labour", "redo", "90 % interval"]
    assert tuple(fig.data[1].x) == info.parts[1][1]
    assert tuple(fig.data[3].error_x.array) == pytest.approx(
        [high - total for high, total in zip(info.highs, info.totals, strict=True)]
    )
    assert len({trace.marker.pattern.shape for trace in fig.data[:3]}) == 3
    assert min(fig.data[0].marker.opacity) == fig.data[0].marker.opacity[-1] < 1
    assert "USD / sq ft" in fig.layout.xaxis.title.text


def test_the_title_names_films_that_surely_differ() -> None:
    info = installed.gather_installed(film_review())
    assert info.title == (
        "Roof: once it is on, GB-60 costs $7.48 ($6.64 to $8.50) a sq ft, "
        "MB-60 $9.80 ($8.97 to $10.82)"
    )
    assert "roof (MB-60 to buy, GB-60 on)" in info.note
    gone = Unavailable("film_swaps", (), LINE)
    unsure = installed.gather_installed(film_review(film_swaps=gone))
    assert unsure.title == "No film is sure to be cheaper than another once it is on"


def test_thin_films_make_no_title() -> None:
    frame = made_film.installed(SERVICES, FILMS)
    thin = frame.assign(enough=pd.array([False] * len(frame), dtype="boolean"))
    swaps = made_film.swaps(SERVICES, FILMS)
    unsure = swaps.assign(enough=pd.array([False] * len(swaps), dtype="boolean"))
    info = installed.gather_installed(film_review(film_installed=thin, film_swaps=unsure))
    assert info.title == "No film is sure to be cheaper than another once it is on"
    assert all(info.few)


def test_a_film_whose_cost_is_not_known_is_in_the_grid_alone() -> None:
    frame = made_film.installed(SERVICES, FILMS)
    frame.loc[0, "installed_cost_per_m2"] = np.nan
    info = installed.gather_installed(film_review(film_installed=frame))
    assert "roof: GB-60" not in info.names
    assert len(info.grids[0].rows) == 9
    one = installed.gather_installed(film_review(film_installed=frame.head(2)))
    assert one.line.startswith("No service was done in two films")
    assert len(one.grids[0].rows) == 2


def test_no_service_is_cut_in_two() -> None:
    frame = made_film.installed(SERVICES, FILMS).head(8)
    more = frame.assign(service=frame["service"] + " again", jobs=1)
    info = installed.gather_installed(
        film_review(film_installed=pd.concat([frame, more], ignore_index=True))
    )
    shown = pd.Series([name.split(": ")[0] for name in info.names]).value_counts()
    whole = pd.concat([frame, more])["service"].value_counts()
    assert shown.to_dict() == whole[shown.index].to_dict()
    assert len(info.names) < 16


def test_a_metric_shop_reads_its_own_units() -> None:
    info = installed.gather_installed(film_review(METRIC))
    assert info.unit == "EUR / m²"
    assert info.texts[0] == "80,50\xa0€ (71,50\xa0€ to 91,50\xa0€)"
    swaps = installed.gather_swaps(film_review(METRIC))
    assert "hood: GB-60, 122 cm for 152" in swaps.names


# --- another film, another width ------------------------------------------------------------------


def test_swaps_are_those_of_the_table() -> None:
    info = installed.gather_swaps(film_review())
    assert info.names == (
        "roof: GB-60 for MB-60",
        "hood: GB-60, 48 in for 60",
        "hood: CL-72 for GB-60",
        "roof: MB-60 for GB-60",
        "colour change: CL-72, 48 in",
    )
    assert info.differences == (-420.0, -150.0, -60.0, 390.0, -80.0)
    assert info.sure == (True, True, False, False, False)
    assert info.texts[0] == "cheaper: −$420 (−$550 to −$290)"
    assert info.texts[3] == "dearer: +$390 ($190 to $590)"
    assert info.texts[4] == "−$80 (−$130 to −$30), 3 jobs: no advice"
    assert [grid.caption for grid in info.grids] == [
        "Another film",
        "Another roll width of the same film",
    ]
    assert [len(grid.rows) for grid in info.grids] == [3, 2]


def test_swaps_draw_what_they_hold() -> None:
    info = installed.gather_swaps(film_review())
    fig = installed.draw_swaps(info)
    assert tuple(fig.data[1].x) == info.differences
    assert list(fig.data[1].marker.symbol) == [
        "diamond",
        "diamond",
        "circle",
        "circle",
        "circle-open",
    ]
    assert [each for each in fig.data[0].x if each is not None][:2] == [info.lows[0], info.highs[0]]


def test_the_surest_saving_is_the_title() -> None:
    info = installed.gather_swaps(film_review())
    assert info.title == (
        "MB-60 costs $420 ($290 to $550) a year more than GB-60 would on roof; another roll width "
        "would save $150 ($60 to $240) a year: hood: GB-60, 48 in for 60"
    )
    dear = made_film.swaps(SERVICES, FILMS).iloc[[1, 2, 4]]
    title = installed.gather_swaps(film_review(film_swaps=dear)).title
    assert title == "No other film or roll width looks cheaper than what was used"


def test_of_a_service_and_film_the_chart_holds_the_best() -> None:
    frame = made_film.swaps(SERVICES, FILMS)
    worse = frame.head(1).assign(instead_film="TN-40", difference=-300.0)
    info = installed.gather_swaps(
        film_review(film_swaps=pd.concat([worse, frame], ignore_index=True))
    )
    assert info.names[0] == "roof: GB-60 for MB-60"
    assert "roof: TN-40 for MB-60" not in info.names
    assert len(info.grids[0].rows) == 4
    assert "The chart shows 5 of 6." in info.note


def test_swaps_without_a_difference_have_no_dot() -> None:
    frame = made_film.swaps(SERVICES, FILMS).assign(difference=np.nan)
    info = installed.gather_swaps(film_review(film_swaps=frame))
    assert "not known for any job" in info.line
    assert [len(grid.rows) for grid in info.grids] == [3, 2]


# --- over time ------------------------------------------------------------------------------------


def test_trends_are_those_of_the_table() -> None:
    info = trends.gather_trends(film_review())
    assert info.names == tuple(f"{film}, Marlow Supply" for film in ("GB-60", "MB-60")) + tuple(
        f"{film}, Marlow Supply" for film in ("TN-40", "CL-72")
    )
    assert info.rises == pytest.approx((9.5, 6.0, 0.4, -3.0))
    assert info.dearer == (True, True, False, False)
    assert info.texts[1] == "in steps: +6.0% a year (4.5% to 8.0%), 2 steps"
    assert info.texts[3] == "falling: −3.0% a year (−4.5% to −1.0%)"
    assert info.title == (
        "GB-60 from Marlow Supply gets dearer fastest: +9.5% a year (8.0% to 11.5%); "
        "1 more rises too"
    )
    assert [len(grid.rows) for grid in info.grids] == [5, 3]
    fig = trends.draw_trends(info)
    assert tuple(fig.data[1].x) == info.rises
    assert list(fig.data[1].marker.symbol) == ["diamond", "diamond", "circle", "circle"]


def test_prices_that_stand_make_no_alarm() -> None:
    frame = made_film.trends(FILMS).iloc[[2, 3]]
    info = trends.gather_trends(film_review(film_price_trends=frame))
    assert info.title == "No film has got dearer beyond chance"


def test_too_few_purchases_are_told_and_not_drawn() -> None:
    frame = made_film.trends(FILMS).tail(1)
    info = trends.gather_trends(film_review(film_price_trends=frame))
    assert "not" not in info.title
    assert info.line.startswith("No film was bought often enough")
    assert info.grids[0].rows[0][-1].text == "too few purchases"
    told = frame.assign(rise_share=0.5, low_share=0.4, high_share=0.6)
    info = trends.gather_trends(film_review(film_price_trends=told))
    assert info.few == (True,)
    assert info.dearer == (False,)
    assert info.title == "No film has got dearer beyond chance"


def test_without_steps_there_is_no_table_of_steps() -> None:
    gone = Unavailable("film_price_steps", (), LINE)
    assert len(trends.gather_trends(film_review(film_price_steps=gone)).grids) == 1
    level = made_film.steps(FILMS).tail(1)
    assert len(trends.gather_trends(film_review(film_price_steps=level)).grids) == 1
