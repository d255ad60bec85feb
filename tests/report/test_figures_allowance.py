"""Figures about recuts and the allowance: their numbers are those of the tables."""

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report import figures_allowance as allowance
from analysis.report import figures_recuts as recuts
from analysis.settings import Settings
from tests.report import made_film
from tests.report.made_film import FILMS, INCH, NO_TELLING, PANELS, film_review

LINE = "How large to cut needs piece sizes."
METRIC = Settings(currency="EUR", locale="de-DE", length_unit="cm", area_unit="m2")
HOSTILE = "<b>=1+1</b> \u05e9\u05dc\u05d5\u05dd"


def drawn(fig: Any) -> str:
    """The figure as the text that a browser gets."""
    return json.dumps(fig.to_plotly_json(), default=str, ensure_ascii=False)


def best(**columns: Any) -> pd.DataFrame:
    """The made table of `best_allowance`, some columns of its first row changed."""
    frame = made_film.best_allowance(PANELS, FILMS)
    for name, value in columns.items():
        frame.loc[0, name] = value
    return frame


@pytest.mark.parametrize(
    ("table", "gather", "draw"),
    [
        ("recuts_by_allowance", recuts.gather_recuts, recuts.draw_recuts),
        ("best_allowance", allowance.gather_best_allowance, allowance.draw_best_allowance),
    ],
)
def test_what_is_not_there_says_why(table: str, gather: Any, draw: Any) -> None:
    info = gather(film_review(**{table: Unavailable(table, (), LINE)}))
    assert info.line == LINE
    assert LINE in drawn(draw(info))
    frame = film_review().frame(table)
    empty = gather(film_review(**{table: frame.head(0)}))
    assert empty.line == "There is nothing to show for 2026Q3."
    one = gather(film_review(**{table: frame.head(1)}))
    assert one.line == ""
    assert len(one.grids[0].rows) == 1
    assert draw(one).data


def test_recuts_are_those_of_the_table() -> None:
    info = recuts.gather_recuts(film_review())
    table = made_film.recuts()
    assert info.margins == pytest.approx((2.0, 2.5, 3.0, 3.5, 4.0, 4.5))
    assert info.bins[0] == "2.0 to 2.5 in"
    assert info.bins[-1] == "4.5 in or more"
    assert info.shares == pytest.approx(100 * table["recut_share"])
    assert info.curve == pytest.approx(100 * table["curve_share"])
    assert info.few == (False,) * 5 + (True,)
    assert info.texts[1] == "2.5 to 3.0 in: 12 of 160 cuts, 7.5% (5% to 13%)"
    assert info.grids[0].rows[-1][1].says_few
    assert "every number" in info.alternative


def test_recuts_draw_what_they_hold() -> None:
    info = recuts.gather_recuts(film_review())
    fig = recuts.draw_recuts(info)
    found = next(trace for trace in fig.data if trace.name == "found")
    assert tuple(found.y) == info.shares
    assert tuple(found.error_y.array) == pytest.approx(
        [high - share for high, share in zip(info.highs, info.shares, strict=True)]
    )
    assert tuple(next(t for t in fig.data if t.name == "curve").y) == info.curve
    assert tuple(next(t for t in fig.data if t.name == "90 % band").y) == info.curve_lows
    assert fig.layout.xaxis.ticktext[-1] == "4.5<br>3<br>few"
    assert "Allowance a side, in" in fig.layout.xaxis.title.text


def test_the_title_of_recuts_is_the_curve_where_most_is_cut() -> None:
    title = recuts.gather_recuts(film_review()).title
    assert title == (
        "Pieces cut again: 7.5% (5% to 10%) with 2.5 to 3.0 in a side, "
        "2.0% (1% to 3%) with 4.0 to 4.5 in"
    )


def test_a_curve_that_may_be_flat_says_so() -> None:
    flat = made_film.recuts().assign(curve_low_share=0.0, curve_high_share=0.2)
    title = recuts.gather_recuts(film_review(recuts_by_allowance=flat)).title
    assert title.startswith("That a larger allowance saves recuts is not sure: 7.5% (0% to 20%)")


def test_too_few_recuts_are_told_in_both_figures() -> None:
    review = film_review(best_allowance=best(verdict=NO_TELLING).head(1))
    assert recuts.gather_recuts(review).title == "Not enough recuts to tell how large to cut"
    told = "Not enough recuts to tell how large to cut over all"
    assert allowance.gather_best_allowance(review).title == told
    assert allowance.allowance_sentence(review) == f"{told}."


def test_recuts_without_a_curve_draw_the_dots_alone() -> None:
    blank = made_film.recuts().assign(
        curve_share=np.nan, curve_low_share=np.nan, curve_high_share=np.nan
    )
    info = recuts.gather_recuts(film_review(recuts_by_allowance=blank))
    assert info.title == "4.8% of pieces are cut again; not enough to tell by allowance"
    assert [trace.name for trace in recuts.draw_recuts(info).data] == ["found"]


def test_an_interval_of_few_cuts_does_not_flatten_the_others() -> None:
    frame = made_film.recuts()
    frame.loc[5, "high_share"] = 0.9
    info = recuts.gather_recuts(film_review(recuts_by_allowance=frame))
    assert recuts.draw_recuts(info).layout.yaxis.range[1] < 25


def test_many_bins_keep_their_labels_apart() -> None:
    frame = pd.concat([made_film.recuts().head(1)] * 40, ignore_index=True)
    frame = frame.assign(allowance_m=np.arange(40) * 0.01)
    info = recuts.gather_recuts(film_review(METRIC, recuts_by_allowance=frame))
    ticks = recuts.draw_recuts(info).layout.xaxis.ticktext
    assert len(info.shares) == len(ticks) == 40
    assert 0 < sum(1 for tick in ticks if tick) <= 13
    assert info.bins[3] == "3 to 4 cm"


def test_the_allowance_is_that_of_the_table() -> None:
    info = allowance.gather_best_allowance(film_review())
    table = made_film.best_allowance(PANELS, FILMS)
    assert info.names[:3] == ("all panels", "roof, GB-60", "roof, MB-60")
    assert info.usual == pytest.approx(table["usual_allowance_m"].head(12) / INCH)
    assert info.best == pytest.approx(table["best_allowance_m"].head(12) / INCH)
    assert info.savings == pytest.approx(table["saving_a_year"].head(12))
    assert info.changes == (True, True, True, *[False] * 9)
    assert info.texts[0] == ("cut smaller: $240 a year ($150 to $390), cut again 4.0% → 5.5%")
    assert info.texts[3] == "as it is"
    assert len(info.names) == 12
    assert len(info.grids[0].rows) == 17
    assert "hours of a recut are not counted" in info.note
    assert "The chart shows the first 12." in info.note


def test_the_allowance_draws_usual_and_best() -> None:
    info = allowance.gather_best_allowance(film_review())
    fig = allowance.draw_best_allowance(info)
    traces = {trace.name: trace for trace in fig.data}
    assert tuple(traces["usual"].x) == info.usual
    assert tuple(traces["best"].x) == info.best
    assert traces["usual"].marker.symbol == "square"
    assert list(traces["best"].marker.symbol[:4]) == ["diamond"] * 3 + ["circle"]
    assert [each for each in traces["90 % interval"].x if each is not None][0] == info.lows[0]


def test_cheap_pieces_are_told_to_the_hundredth_in_the_grid() -> None:
    grid = allowance.gather_best_allowance(film_review()).grids[0]
    at = {heading.text: place for place, heading in enumerate(grid.headings)}
    assert grid.rows[0][at["Film a piece at the usual"]].text == "12.40"
    assert grid.rows[0][at["Film a piece at the best"]].text == "12.10"
    assert grid.rows[-1][at["Film a piece at the best"]].text == "–"


@pytest.mark.parametrize(
    ("columns", "title"),
    [
        ({}, "Cut smaller: 2.7 in a side instead of 3.2 in saves $240 of film a year ($150 to "),
        (
            {"verdict": "cut larger", "saving_low": np.nan},
            "Cut larger: 2.7 in a side instead of 3.2 in saves $240 of film a year",
        ),
        (
            {"saving_a_year": np.nan},
            "Cut smaller: 2.7 in a side instead of 3.2 in; what it saves is not known",
        ),
        (
            {"verdict": "as it is"},
            "The allowance is about right over all: 3.2 in a side; largest of 2 exceptions: "
            "roof, GB-60, cut smaller: $225 a year",
        ),
        ({"cuts": 4}, "Not enough recuts to tell how large to cut over all; largest of 2"),
    ],
)
def test_the_finding_follows_the_verdict(columns: dict[str, Any], title: str) -> None:
    review = film_review(best_allowance=best(**columns))
    assert allowance.gather_best_allowance(review).title.startswith(title)
    assert allowance.allowance_sentence(review).startswith(title)
    assert allowance.allowance_sentence(review).endswith(".")


def test_as_it_is_without_exceptions_is_short() -> None:
    frame = best(verdict="as it is").assign(verdict="as it is")
    assert allowance.allowance_sentence(film_review(best_allowance=frame)) == (
        "The allowance is about right over all: 3.2 in a side."
    )


def test_a_thin_row_gives_no_advice() -> None:
    frame = made_film.best_allowance(PANELS, FILMS)
    frame.loc[1, "cuts"] = 4
    info = allowance.gather_best_allowance(film_review(best_allowance=frame))
    assert info.changes == (True, True, *[False] * 10)
    assert "roof, GB-60" not in info.names
    few_only = allowance.gather_best_allowance(film_review(best_allowance=frame.head(2)))
    assert few_only.texts[1] == "4 cuts: no advice yet"
    assert "roof, GB-60 (few)" in drawn(allowance.draw_best_allowance(few_only))
    at = [heading.text for heading in few_only.grids[0].headings].index("Cuts")
    assert few_only.grids[0].rows[1][at].says_few


def test_a_loss_keeps_its_sign() -> None:
    frame = best(saving_a_year=-20.0, saving_low=-70.0, saving_high=40.0)
    info = allowance.gather_best_allowance(film_review(best_allowance=frame))
    assert info.texts[0] == ("cut smaller: −$20 a year (−$70 to $40), cut again 4.0% → 5.5%")


def test_without_sizes_no_allowance_is_known() -> None:
    frame = best().assign(usual_allowance_m=np.nan, best_allowance_m=np.nan)
    info = allowance.gather_best_allowance(film_review(best_allowance=frame))
    assert "no allowance is known" in info.line
    assert len(info.grids[0].rows) == 17
    gone = film_review(best_allowance=Unavailable("best_allowance", (), LINE))
    assert allowance.allowance_sentence(gone) == LINE
    none = film_review(best_allowance=best().tail(3))
    assert "cannot be told" in allowance.allowance_sentence(none)


def test_a_metric_shop_reads_its_own_units() -> None:
    info = allowance.gather_best_allowance(film_review(METRIC))
    assert info.unit == "cm"
    assert info.usual[0] == pytest.approx(3.2 * 2.54)
    assert info.title.startswith("Cut smaller: 6,9 cm a side instead of 8,1 cm saves 240\xa0€")
    assert recuts.gather_recuts(film_review(METRIC)).bins[0] == "5,1 to 6,4 cm"


def test_a_long_panel_leaves_its_film_readable() -> None:
    frame = made_film.best_allowance(("quarter panel behind the rear door on the left",), FILMS)
    info = allowance.gather_best_allowance(film_review(best_allowance=frame))
    assert info.names[1].endswith("…, GB-60")
    assert len(info.names[1]) <= 44


def test_typed_markup_is_drawn_as_it_is() -> None:
    frame = made_film.best_allowance((HOSTILE, "roof"), ("=1+1<i>", "GB-60"))
    info = allowance.gather_best_allowance(film_review(best_allowance=frame))
    text = drawn(allowance.draw_best_allowance(info))
    assert "<i>" not in text
    assert "<b>=1" not in text
    assert "&lt;b&gt;=1+1" in text
    assert "\u2068" in text
