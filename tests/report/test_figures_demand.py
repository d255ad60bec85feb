"""Figures about demand: their curves and dots are those of the tables and of the quotes."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit

from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.price_tables import WIN_CHANCES
from analysis.pricing.demand import Demand, learn_demand
from analysis.pricing.demand_tables import SEASONS, demand_seasons, win_chances
from analysis.records.model import Records
from analysis.report import figures_demand as demand
from analysis.report.results import Review
from analysis.settings import Settings
from tests.pricing.simulated_quotes import DAY, Kind, cells_of, simulated_quotes

RECORDS, _ = simulated_quotes(Kind(quotes=600, services=3, season=0.8), 4)
HOSTILE = "<b>=1+1</b> $x$ \u05e9\u05dc\u05d5\u05dd"
LINE = "Nothing is known of quotes."


def chances(**changes: Any) -> pd.DataFrame:
    """Three services as made up: tint minds the price, trim does not, caps are not learnt."""
    rows = pd.DataFrame(
        {
            "service": ["caps", "tint", "trim"],
            "quotes": [9, 240, 180],
            "won": [6, 150, 130],
            "at_list_share": [0.6, 0.5, 0.7],
            "at_list_low_share": [0.3, 0.45, 0.65],
            "at_list_high_share": [0.8, 0.55, 0.75],
            "lost_by_rise_share": [0.20, 0.11, 0.02],
            "lost_by_rise_low_share": [0.01, 0.08, 0.01],
            "lost_by_rise_high_share": [0.40, 0.15, 0.05],
            "slope": [-3.0, -5.0, -1.0],
            "slope_low": [-12.0, -7.0, -2.0],
            "slope_high": [-0.6, -3.5, -0.3],
            "learnt": pd.array([False, True, True], dtype="boolean"),
            "note": ["Only 9 quotes were decided.", "", ""],
            "enough": pd.array([True, True, True], dtype="boolean"),
        }
    )
    rows = rows.assign(**changes)
    return rows.reindex(columns=WIN_CHANCES.inside_names)


def review(results: Mapping[str, Any], records: Records = RECORDS) -> Review:
    return Review(Quarter(2026, 3), Settings(), records, results, {}, {})


@pytest.fixture(scope="module")
def simulated() -> Review:
    found = learn_demand(RECORDS, cells_of(RECORDS), DAY, 1)
    assert isinstance(found, Demand)
    tables = {
        "win_chances": win_chances(found, RECORDS, DAY, 5),
        "demand_seasons": demand_seasons(found, RECORDS, DAY),
    }
    return review(tables)


def drawn(fig: Any) -> str:
    return json.dumps(fig.to_plotly_json(), default=str, ensure_ascii=False)


@pytest.mark.parametrize(
    ("table", "gather", "draw"),
    [
        ("win_chances", demand.gather_demand, demand.draw_demand),
        ("demand_seasons", demand.gather_seasons, demand.draw_seasons),
    ],
)
def test_what_is_not_there_says_why(table: str, gather: Any, draw: Any) -> None:
    info = gather(review({table: Unavailable(table, ("quotes",), LINE)}))
    assert info.line == LINE
    assert LINE in drawn(draw(info))


def test_the_title_names_who_minds_the_price_most_and_least() -> None:
    info = demand.gather_demand(review({"win_chances": chances()}))
    assert info.title == (
        "Customers for tint mind the price most: a price 5% higher loses 11% (8% to 15%) of the "
        "jobs won; for trim the least: 2% (1% to 5%)"
    )
    unsure = chances(lost_by_rise_low_share=[0.01, 0.04, 0.01])
    assert "seem to mind" in demand.demand_finding(review({"win_chances": unsure}))
    one = chances(learnt=pd.array([False, True, False], dtype="boolean"))
    assert demand.demand_finding(review({"win_chances": one})) == (
        "Tint: a price 5% higher loses 11% (8% to 15%) of the jobs won"
    )
    none = chances(learnt=pd.array([False] * 3, dtype="boolean"))
    assert "do not tell yet" in demand.demand_finding(review({"win_chances": none}))


def test_a_service_that_is_not_learnt_is_last_grey_and_named() -> None:
    info = demand.gather_demand(review({"win_chances": chances()}))
    assert [curve.name for curve in info.curves] == ["tint", "trim", "caps"]
    assert info.curves[2].text == "not learnt: Only 9 quotes were decided"
    fig = demand.draw_demand(info)
    lines = [trace for trace in fig.data if trace.mode == "lines" and trace.line.width == 2.5]
    assert [line.line.dash for line in lines] == ["solid", "solid", "dash"]
    titles = [each.text for each in fig.layout.annotations]
    assert "<b>caps</b><br>not learnt" in titles
    assert "<b>tint</b><br>5% dearer loses 11% (8% to 15%)" in titles


def test_the_curve_runs_through_the_table(simulated: Review) -> None:
    info = demand.gather_demand(simulated)
    table = simulated.frame("win_chances").set_index("service")
    for curve in info.curves:
        row = table.loc[curve.name]
        middle = len(curve.grid) // 2
        assert curve.grid[middle] == pytest.approx(0)
        found = (curve.low[middle], curve.middle[middle], curve.high[middle])
        ends = ["at_list_low_share", "at_list_share", "at_list_high_share"]
        assert found == pytest.approx(100 * row[ends].to_numpy(dtype=float))
        last = np.log1p(curve.grid[-1] / 100)
        at_last = expit(logit(row["at_list_share"]) + row["slope"] * last)
        assert curve.middle[-1] == pytest.approx(100 * at_last)
        assert all(a > b for a, b in zip(curve.middle, curve.middle[1:], strict=False))
        assert all(a <= b <= c for a, b, c in zip(curve.low, curve.middle, curve.high, strict=True))


def test_the_band_is_steep_at_one_end_and_flat_at_the_other() -> None:
    """At a price a fifth over the list the low end has the steep slope, the level left alone."""
    sure = {"at_list_low_share": [0.6, 0.5, 0.7], "at_list_high_share": [0.6, 0.5, 0.7]}
    curve = demand.gather_demand(review({"win_chances": chances(**sure)})).curves[0]
    for at in (0, -1):
        step = np.log1p(curve.grid[at] / 100)
        steep, flat = 100 * expit(-7.0 * step), 100 * expit(-3.5 * step)
        assert sorted((steep, flat)) == pytest.approx([curve.low[at], curve.high[at]])


def test_dots_are_the_quotes(simulated: Review) -> None:
    info = demand.gather_demand(simulated)
    quotes = RECORDS["quotes"]
    for curve in info.curves:
        mine = quotes[quotes["service"] == curve.name]
        assert 0.9 * len(mine) < sum(curve.counts) <= len(mine)
        won = sum(s * n / 100 for s, n in zip(curve.shares, curve.counts, strict=True))
        assert won <= (mine["outcome"] == "won").sum() + 1e-6
        assert len(curve.places) == 5
        assert list(curve.places) == sorted(curve.places)
        assert all(
            a <= b <= c for a, b, c in zip(curve.lows, curve.shares, curve.highs, strict=True)
        )
    # The dots fall as the curve does.
    first = info.curves[0]
    assert first.shares[0] > first.shares[-1]


def test_quotes_that_are_not_there_leave_the_curves(simulated: Review) -> None:
    bare, _ = simulated_quotes(Kind(quotes=0), 1)
    info = demand.gather_demand(review({"win_chances": chances()}, bare))
    assert [len(curve.places) for curve in info.curves] == [0, 0, 0]
    assert demand.draw_demand(info).data


def test_names_are_drawn_as_they_are_typed() -> None:
    frame = chances(service=["caps", HOSTILE, "trim"])
    info = demand.gather_demand(review({"win_chances": frame}))
    text = drawn(demand.draw_demand(info))
    assert "<b>=1+1</b>" not in text
    assert "&lt;b&gt;=1+1" in text


def test_a_service_off_the_list_is_in_the_table_alone() -> None:
    frame = chances(slope=[np.nan, -5.0, -1.0], at_list_share=[np.nan, 0.5, 0.7])
    info = demand.gather_demand(review({"win_chances": frame}))
    assert len(info.curves) == 2
    assert len(info.grids[0].rows) == 3
    nothing = chances(slope=[np.nan] * 3)
    info = demand.gather_demand(review({"win_chances": nothing}))
    assert info.line == "No service with quotes is on the price list."


def test_without_a_price_list_prices_are_put_against_the_usual_one(simulated: Review) -> None:
    tables = RECORDS.tables | {"price_list": RECORDS["price_list"].head(0)}
    bare = review(simulated.results, replace(RECORDS, tables=tables))
    for found, words, other in (
        (simulated, "today's list", "the usual price"),
        (bare, "the usual price", "today's list"),
    ):
        info = demand.gather_demand(found)
        assert info.note.startswith("Prices that were lowered for those who hesitated")
        notes = info.note + demand.gather_seasons(found).note
        assert notes.count(words) == 3
        assert other not in notes
        assert f"Price against {words}" in drawn(demand.draw_demand(info))
    none = review({"win_chances": chances(slope=[np.nan] * 3)}, bare.records)
    assert demand.gather_demand(none).line == "No service with quotes has a price."


def test_seasons_tell_both(simulated: Review) -> None:
    info = demand.gather_seasons(simulated)
    table = simulated.frame("demand_seasons")
    assert info.names == SEASONS
    assert info.a_month == pytest.approx(tuple(table["a_month"]))
    assert info.shares == pytest.approx(tuple(100 * table["like_for_like_share"]))
    assert "fewest from January to March (" in info.title
    assert "like for like most are won from" in info.title
    fig = demand.draw_seasons(info)
    assert tuple(fig.data[0].y) == info.a_month
    assert tuple(fig.data[1].y) == info.shares
    assert fig.data[0].x[0] == "Jan–Mar"


def test_seasons_that_do_not_differ_say_so() -> None:
    frame = pd.DataFrame(
        {
            "season": list(SEASONS),
            "quotes": [10, 20, 15, 12],
            "won": [5, 10, 8, 6],
            "a_month": [3.0, 6.0, 5.0, 4.0],
            "like_for_like_share": [0.5, 0.52, 0.51, 0.5],
            "low_share": [0.4] * 4,
            "high_share": [0.6] * 4,
        }
    )
    info = demand.gather_seasons(review({"demand_seasons": frame}))
    assert info.title == (
        "Most quotes are asked for from April to June (6 a month), fewest from January to March "
        "(3); like for like the seasons buy alike, as far as can be told"
    )
    young = frame.assign(a_month=[np.nan, 6.0, 5.0, np.nan])
    assert "fewest from July" in demand.gather_seasons(review({"demand_seasons": young})).title


def test_the_ends_of_an_interval_stand_right_after_its_figure() -> None:
    grid = demand.gather_demand(review({"win_chances": chances()})).grids[0]
    heads = [heading.text for heading in grid.headings]
    ends = {heads[at - 1] for at, text in enumerate(heads) if text == "From"}
    assert ends == {"Won", "Won at list price", "Lost by 5 % more", "Slope"}
    assert all(heads[at + 1] == "To" for at, text in enumerate(heads) if text == "From")
