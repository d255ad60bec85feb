"""What the page says about prices: the suggestions, surcharges, assumptions and the year."""

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report.decisions_to_take import decisions_grid
from analysis.report.figures_outlook import draw_outlook, gather_outlook
from analysis.report.figures_suggestions import (
    MOST_ROWS,
    draw_suggestions,
    gather_sensitivity,
    gather_suggestions,
    gather_surcharges,
    repriced,
)
from analysis.report.grids import Grid
from analysis.report.price_answers import follow_up_answer, margin_answer, price_answer
from analysis.report.results import Review
from tests.report import made_money
from tests.report.made_prices import price_review, prices

NONE = Unavailable("price_suggestions", ("price_list",), "Prices need the table price_list.")


def rows_of(grid: Grid) -> list[list[str]]:
    return [[cell.text for cell in row] for row in grid.rows]


def suggestions(**columns: object) -> pd.DataFrame:
    """The made suggestions with columns of their moved rows changed."""
    frame = prices()["price_suggestions"].copy()
    moved = frame["verdict"].isin(["raise", "lower"])
    for name, value in columns.items():
        frame.loc[moved, name] = value
    return frame


def review_of(**tables: pd.DataFrame | Unavailable) -> Review:
    return price_review(**tables)


def test_the_moved_prices_stand_first_and_by_their_gain() -> None:
    frame = suggestions()
    moved = frame["verdict"].isin(["raise", "lower"])
    frame.loc[moved, "expected_gain"] = [10.0, -3.0, 90.0, 40.0]
    info = gather_suggestions(review_of(price_suggestions=frame))
    assert info.names[0].startswith("roof compact car")
    assert len(info.names) == 4
    assert info.changes[0] == pytest.approx(100 * (375 / 350 - 1))
    floor = frame.loc[frame["suggested_price"] == 375, "floor_price"].iloc[0]
    assert info.floors[0] == pytest.approx(100 * (floor / 350 - 1))
    assert "Raise 3 prices and lower 1 price of 11" in info.title
    assert "+$137 a quarter" in info.title


def test_the_chart_draws_the_suggestion_and_its_floor() -> None:
    info = gather_suggestions(review_of())
    fig = draw_suggestions(info)
    assert list(fig.data[1].x) == list(info.changes)
    assert fig.data[2].name.startswith("floor")
    assert list(fig.data[2].customdata) == list(info.floors)
    edge = 2 * max(abs(each) for each in info.changes)
    far = [abs(each) > edge for each in info.floors]
    assert any(far)
    symbols = ["triangle-right" if each else "line-ns" for each in far]
    assert list(fig.data[2].marker.symbol) == symbols
    assert max(abs(each) for each in fig.data[2].x) <= edge + 1e-9


def test_no_more_rows_than_a_chart_can_hold() -> None:
    frame = pd.concat([suggestions()] * 8, ignore_index=True)
    frame["vehicle_class"] = [f"class {at}" for at in range(len(frame))]
    info = gather_suggestions(review_of(price_suggestions=frame))
    assert len(info.names) == MOST_ROWS
    assert f"the {MOST_ROWS} of 32 that bring most" in info.note
    rows = rows_of(info.grids[1])
    assert len(rows) == len(frame)
    assert {row[5] for row in rows[:32]} == {"raise", "lower"}


def test_by_service_adds_up() -> None:
    frame = suggestions()
    grid = gather_suggestions(review_of(price_suggestions=frame)).grids[0]
    rows = rows_of(grid)
    heads = [heading.text for heading in grid.headings]
    assert heads[3:7] == ["Raise", "Hold", "Lower", "Not enough evidence"]
    counts = np.array([[int(cell) for cell in row[3:7]] for row in rows])
    assert counts.sum() == len(frame)
    assert counts[:, 0].sum() == (frame["verdict"] == "raise").sum()
    under = (frame["current_price"] < frame["floor_price"]).sum()
    assert sum(int(row[-1]) for row in rows) == under


def test_without_quotes_the_risk_stands_for_the_gain() -> None:
    frame = suggestions(expected_gain=np.nan, gain_low=np.nan, gain_high=np.nan)
    info = gather_suggestions(review_of(price_suggestions=frame))
    assert "a quarter expected" not in info.title
    assert all("pays while fewer than " in text for text in info.texts)
    roof = dict(zip(info.names, info.texts, strict=True))["roof compact car"]
    share = -frame.loc[frame["suggested_price"] == 375, "break_even_volume_share"].iloc[0]
    assert f"fewer than {100 * share:.0f}% of the jobs" in roof


def test_nothing_to_change_says_so_and_what_to_record() -> None:
    frame = suggestions()
    frame["verdict"] = "not enough evidence"
    frame["next_step"] = "Write lost quotes down."
    info = gather_suggestions(review_of(price_suggestions=frame))
    assert "For none of 11 prices is there enough evidence" in info.line
    assert "Write lost quotes down." in info.line
    assert len(info.grids) == 2
    answer = price_answer(review_of(price_suggestions=frame))
    assert "For none of 11 prices is there enough evidence" in answer.line


def test_what_is_not_known_is_said() -> None:
    review = review_of(price_suggestions=NONE)
    assert gather_suggestions(review).line == NONE.line
    answer = price_answer(review)
    assert (answer.line, answer.is_known) == (NONE.line, False)
    assert rows_of(decisions_grid(review))[0][0] == NONE.line


def test_services_are_named_once_with_their_range() -> None:
    frame = suggestions()
    named = repriced(review_of(price_suggestions=frame))
    assert "raise full colour change (+5% in 1 class)" in named
    assert "lower hood (−5% in 1 class)" in named


def test_services_that_move_alike_stand_together_and_the_others_are_counted() -> None:
    frame = suggestions()
    frame["verdict"], frame["change_share"] = "raise", 0.05
    frame["vehicle_class"] = "minivan"
    frame["service"] = [f"service {at}" for at in range(len(frame))]
    named = repriced(review_of(price_suggestions=frame))
    assert len(named) == 2
    assert named[0].startswith("raise service ")
    assert named[0].endswith("(each +5% in 1 class)")
    assert named[0].count("service") == 4
    assert named[1] == f"{len(frame) - 4} more services"


def test_the_dearest_surcharge_stands_first() -> None:
    table = made_money.surcharges(("roof", "hood"), ("compact car", "minivan"))
    info = gather_surcharges(review_of(model_surcharges=table))
    assert "2 vehicle models" in info.title
    assert rows_of(info.grids[0])[0][:2] == ["Solway", "Tern"]


def test_each_assumption_is_a_row_with_what_moves() -> None:
    base = prices()["price_suggestions"]
    table = made_money.sensitivity(base)
    info = gather_sensitivity(review_of(price_sensitivity=table))
    told = int((base["verdict"] != "not enough evidence").sum())
    rows = {row[0]: row for row in rows_of(info.grids[0])}
    assert rows["film costs 10 % more"][1:3] == ["0.0%", f"0 of {told}"]
    assert rows["wages are 10 % more"][1:3] == ["+10.0%", f"{told} of {told}"]
    assert "wages are 10 % more" in info.title
    still = gather_sensitivity(review_of(price_sensitivity=table.assign(moved=False)))
    assert still.title == "No assumption changes a suggestion"


def test_the_year_is_told_with_its_spread() -> None:
    info = gather_outlook(review_of(price_outlook=made_money.outlook()))
    assert "+$4,000 a year (−$1,000 to +$9,000), and $1,500 more if the hours" in info.title
    assert info.means == (120_000.0, 124_000.0)
    fig = draw_outlook(info)
    assert list(fig.data[1].x) == [120_000.0, 124_000.0]


def test_the_list_of_decisions_names_every_move_once() -> None:
    table = made_money.surcharges(("roof", "hood"), ("compact car", "minivan"))
    grid = decisions_grid(review_of(model_surcharges=table))
    first = [row[0] for row in rows_of(grid)]
    assert sum(text.startswith("Raise ") for text in first) == 3
    assert sum(text.startswith("Lower ") for text in first) == 1
    assert sum(text.startswith("Charge more for ") for text in first) == 2
    assert any(text.startswith("Leave ") for text in first)
    assert "Price sheet" in grid.note


def test_the_margin_moved_for_reasons_that_add_up(review: Review) -> None:
    bridge = pd.DataFrame(
        {
            "effect": ["margin 2026Q2", "price", "volume", "redo", "new: roof, minivan"]
            + ["margin 2026Q3"],
            "amount": [1000.0, 300.0, -500.0, -400.0, 100.0, 500.0],
            "note": "",
        }
    )
    cells = made_money.bridge_cells(("roof", "hood"), ("minivan",), np.random.default_rng(3))
    cells = cells.assign(jobs_now=[4, 1], jobs_before=[6, 3])
    answer = margin_answer(review_of(quarter_bridge=bridge, bridge_cells=cells))
    assert "$500 less than in 2026Q2, with 5 first-time jobs instead of 9; most" in answer.line
    assert "the number of jobs (−$500) and redos (−$400)" in answer.line
    assert "the price a job got (+$300)" in answer.detail
    same = bridge.assign(amount=[1000.0, 0.0, 0.0, 0.0, 0.0, 1000.2])
    assert "It did not" in margin_answer(review_of(quarter_bridge=same)).line


def test_what_came_of_the_decisions_is_counted() -> None:
    table = made_money.follow_up(("roof", "tint", "trim"))
    answer = follow_up_answer(review_of(price_follow_up=table))
    assert answer.line.startswith("Of 3 decisions: ")
    assert "1 gained" in answer.line
    assert "tint lost: 21 of 70 quotes won" in answer.detail
