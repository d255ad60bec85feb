"""What the figures gather; and, of each, that it draws."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report import figures_film as film
from analysis.report import figures_governs as governs
from analysis.report import figures_hours as hours
from analysis.report import figures_learning as learning
from analysis.report import figures_money as money
from analysis.report import figures_overruns as overruns
from analysis.report import figures_people as people
from analysis.report import figures_prices as prices
from analysis.report import figures_quotes as quotes
from analysis.report import figures_redo as redo
from analysis.report import figures_shelf as shelf
from analysis.report.grids import Part, few, side_by_side, slices_of
from analysis.report.look import without_title
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Kind
from analysis.settings import Settings

MakeReview = Callable[..., Review]
Gather = Callable[[Review], Any]
FIGURES: dict[str, tuple[str, Gather, Callable[[Any], Any]]] = {
    "statement": ("shop_result", money.gather_statement, money.draw_statement),
    "use": ("utilisation_by_month", governs.gather_use, governs.draw_use),
    "ranking": ("earning_by_service", governs.gather_earning, governs.draw_earning),
    "mix": ("best_mix", governs.gather_mix, governs.draw_mix),
    **{
        f"margin {by}": (
            f"margin_by_{by}",
            lambda review, by=by: money.gather_full_margin(review, by),
            money.draw_full_margin,
        )
        for by in ("service", "class", "film")
    },
    **{
        f"hours {by}": (
            f"hours_by_{by}",
            lambda review, by=by: hours.gather_hours(review, by),
            hours.draw_hours,
        )
        for by in ("service", "class", "installer")
    },
    "tasks": ("hours_by_task", hours.gather_tasks, hours.draw_tasks),
    "causes": ("waste_by_film", film.gather_causes, film.draw_causes),
    **{
        f"waste {by}": (
            f"waste_by_{by}",
            lambda review, by=by: film.gather_waste(review, by),
            film.draw_stacks,
        )
        for by in ("class", "service", "film", "panel", "width")
    },
    **{
        f"avoidable {by}": (
            f"waste_by_{by}",
            lambda review, by=by: shelf.gather_avoidable(review, by),
            shelf.draw_bars,
        )
        for by in ("class", "service")
    },
    "shelf": ("offcut_shelf", shelf.gather_shelf, shelf.draw_bars),
    "counts": ("film_counts", shelf.gather_counts, shelf.draw_bars),
    "flows": ("film_reconciliation", film.gather_flows, film.draw_stacks),
    "prices": ("film_prices", prices.gather_prices, prices.draw_prices),
    "redo": ("redo", redo.gather_redo, redo.draw_redo),
    "vehicles": ("hours_by_model", overruns.gather_vehicles, overruns.draw_vehicles),
    "people": ("hours_by_installer", people.gather_people, people.draw_people),
    "learning": ("learning_curves", learning.gather_learning, learning.draw_learning),
    "drift": ("quoting_drift", learning.gather_drift, learning.draw_drift),
    "losses": ("quote_calibration", quotes.gather_losses, quotes.draw_losses),
}
ALL = pytest.mark.parametrize("name", list(FIGURES))


def with_table(make_review: MakeReview, table: str, frame: object) -> Review:
    """A review in which one table is another, over every period that it has."""
    return make_review(results={table: frame}, year={table: frame}, previous={table: frame})


def drawn(name: str, review: Review) -> str:
    """The figure as the text that a browser gets."""
    _, gather, draw = FIGURES[name]
    return json.dumps(draw(gather(review)).to_plotly_json(), default=str)


@ALL
def test_every_figure_has_a_finding_words_and_its_numbers(name: str, review: Review) -> None:
    _, gather, draw = FIGURES[name]
    info = gather(review)
    assert info.title
    assert not info.line
    assert "every number" in info.alternative
    assert info.grids[0].rows
    fig = draw(info)
    assert len(fig.data) > 0
    axes = [axis for axis in fig.layout if axis.startswith(("xaxis", "yaxis"))]
    assert any(fig.layout[axis].title.text for axis in axes)
    bare = without_title(fig)
    assert bare["layout"]["height"] < fig.layout.height
    assert not bare["layout"]["title"]


@ALL
def test_a_result_that_is_not_there_says_why(name: str, make_review: MakeReview) -> None:
    table, gather, draw = FIGURES[name]
    line = "Keep the table hours: without it nobody knows who worked."
    info = gather(with_table(make_review, table, Unavailable(table, ("hours",), line)))
    assert info.line == line
    assert line[:30] in json.dumps(draw(info).to_plotly_json())


@ALL
def test_an_empty_table_is_told_and_draws(name: str, make_review: MakeReview) -> None:
    table, gather, draw = FIGURES[name]
    empty = make_review().frame(table).head(0)
    info = gather(with_table(make_review, table, empty))
    assert "nothing" in info.line.lower()
    draw(info).to_plotly_json()


@ALL
def test_one_row_draws(name: str, make_review: MakeReview) -> None:
    table, gather, draw = FIGURES[name]
    one = make_review().frame(table).head(1)
    info = gather(with_table(make_review, table, one))
    draw(info).to_plotly_json()
    assert info.title


@ALL
def test_missing_values_are_blank_and_draw(name: str, make_review: MakeReview) -> None:
    table, gather, draw = FIGURES[name]
    schema = RESULT_TABLES[table]
    text = {Kind.TEXT, Kind.DATE, Kind.YES_NO}
    numbers = [c.inside for c in schema.columns if not c.key and c.kind not in text]
    blank = make_review().frame(table).assign(**dict.fromkeys(numbers, np.nan))
    info = gather(with_table(make_review, table, blank))
    draw(info).to_plotly_json()
    cells = [cell.text for grid in info.grids for row in grid.rows for cell in row]
    assert not {"nan", "None", "NaN", "<NA>"} & set(cells)
    assert info.line or "–" in cells
    assert "nan" not in info.title


@ALL
def test_a_typed_name_is_text_in_the_chart_and_whole_in_the_table(
    name: str, make_review: MakeReview
) -> None:
    table, gather, _ = FIGURES[name]
    keys = [c.inside for c in RESULT_TABLES[table].columns if c.key and c.kind is Kind.TEXT]
    if table == "shop_result":
        keys = ["note"]
    if not keys:
        assert table in ("waste_by_width", "utilisation_by_month")  # nobody types a name there
        return
    bad = "<b>Ann</b> & <a href='javascript:x'>co</a> " + "long " * 20 + "end"
    frame = make_review().frame(table)
    frame = frame.assign(**{keys[-1]: [bad] + frame[keys[-1]].tolist()[1:]})
    review = with_table(make_review, table, frame)
    text = drawn(name, review)
    assert "<b>Ann" not in text
    assert "<a href" not in text
    if name != "causes":
        cells = [cell.text for grid in gather(review).grids for row in grid.rows for cell in row]
        assert bad in cells


@ALL
def test_nothing_that_is_passed_in_is_changed(name: str, make_review: MakeReview) -> None:
    table, gather, draw = FIGURES[name]
    review = make_review()
    before = review.frame(table).copy()
    draw(gather(review))
    pd.testing.assert_frame_equal(review.frame(table), before)


@pytest.mark.parametrize("name", ["margin class", "hours class", "waste film"])
def test_few_is_said_in_a_word(name: str, make_review: MakeReview) -> None:
    table, gather, draw = FIGURES[name]
    thin = make_review().frame(table).assign(enough=False)
    info = gather(with_table(make_review, table, thin))
    assert all(info.few)
    first = info.grids[0].rows[0]
    assert [cell.says_few for cell in first].count(True) == 2  # quarter and year
    assert all(cell.is_few for cell in first[info.grids[0].names :])
    assert "(few)" in json.dumps(draw(info).to_plotly_json())


def test_the_steps_of_the_statement_lead_to_its_result(review: Review) -> None:
    info = money.gather_statement(review)
    running = 0.0
    for start, step, is_total in zip(info.starts, info.steps, info.is_total, strict=True):
        if is_total:
            assert step == pytest.approx(running if running else step)
            running = step
        else:
            assert start == pytest.approx(running)
            running += step
    assert info.steps[-1] == pytest.approx(money.amounts_of(review.frame("shop_result"))["result"])
    assert info.names[-1] == "Result"


def test_a_missing_line_of_the_statement_stays_missing(make_review: MakeReview) -> None:
    frame = make_review().frame("shop_result")
    frame = frame.assign(amount=frame["amount"].where(frame["line"] != "labour"))
    info = money.gather_statement(make_review(results={"shop_result": frame}))
    at = info.names.index("Labour")
    assert np.isnan(info.steps[at])
    assert info.texts[at] == "–"
    assert info.starts[info.names.index("Overhead on jobs")] == info.steps[at + 1]


def test_the_title_names_who_lost_most(make_review: MakeReview) -> None:
    frame = make_review().frame("margin_by_class").assign(full_margin=[500.0, -20.0, 0.0, -90.0])
    info = money.gather_full_margin(make_review(results={"margin_by_class": frame}), "class")
    assert info.title == (
        "1 of 4 vehicle classes earned money in 2026Q3; standard pickup lost most ($90)"
    )
    assert info.amounts == (500.0, 0.0, -20.0, -90.0)


def test_no_person_is_named_in_the_title_and_the_caution_stands(review: Review) -> None:
    info = hours.gather_hours(review, "installer")
    assert not any(name in info.title for name in info.names)
    assert "Employment law" in info.caution


@pytest.mark.parametrize("by", ["class", "service", "film", "panel"])
def test_the_parts_of_waste_add_to_it(by: str, review: Review) -> None:
    info = film.gather_waste(review, by)
    frame = slices_of(review, f"waste_by_{by}").quarter
    total = sum(np.nansum(areas) for _, areas in info.parts)
    assert total == pytest.approx(frame["waste_area"].sum())
    assert info.unit == "sq ft"


def test_what_was_not_told_apart_is_a_part_of_its_own(make_review: MakeReview) -> None:
    frame = make_review().frame("waste_by_film")
    blank = frame.assign(side_loss_area_m2=np.nan, handling_margin_area_m2=np.nan)
    review = make_review(results={"waste_by_film": blank})
    info = film.gather_waste(review, "film")
    names = [name for name, _ in info.parts]
    assert names[-1] == "Side and handling"
    assert "Side loss" not in names
    total = sum(np.nansum(areas) for _, areas in info.parts)
    assert total == pytest.approx(slices_of(review, "waste_by_film").quarter["waste_area"].sum())
    headings = [heading.text for heading in info.grids[1].headings]
    assert "Side and handling" in headings


def test_a_cause_keeps_its_colour_when_another_is_absent(make_review: MakeReview) -> None:
    frame = make_review().frame("waste_by_film").assign(handling_margin_area_m2=0.0)
    info = film.gather_waste(make_review(results={"waste_by_film": frame}), "film")
    assert [name for name, _ in info.parts][:2] == ["Side loss", "Opening"]
    assert info.series[:2] == (0, 2)


def test_the_money_of_the_causes_is_the_cost_of_the_waste(review: Review) -> None:
    info = film.gather_causes(review)
    assert sum(info.costs) == pytest.approx(review.frame("waste_by_film")["waste_cost"].sum())
    assert list(info.areas) == sorted(info.areas, reverse=True)


def test_film_that_came_in_is_film_that_went(review: Review) -> None:
    info = film.gather_flows(review)
    frame = slices_of(review, "film_reconciliation").quarter.set_index("film")
    for at, name in enumerate(info.names):
        went = sum(areas[at] for _, areas in info.parts)
        row = frame.loc[name]
        assert went == pytest.approx(row["opening_area"] + row["purchased_area"])


def test_missing_film_is_not_made_up_for_by_film_found(review: Review) -> None:
    frame = pd.DataFrame(
        {"unexplained_area": [4.0, -1.0, np.nan], "unexplained_cost": [40.0, -9.0, np.nan]}
    )
    assert film.unexplained(frame) == (4.0, 40.0, 1.0)


def test_without_a_count_the_title_says_so(make_review: MakeReview) -> None:
    review = make_review(counted_on=pd.Timestamp("2026-06-30"))
    assert film.gather_flows(review).title.endswith("none was counted")


def test_a_price_moves_against_the_last_one_before_the_year(make_review: MakeReview) -> None:
    frame = make_review().frame("film_prices").head(3)
    days = pd.to_datetime(["2025-09-30", "2025-10-01", "2026-09-01"])
    costs = {"received_on": days, "landed_cost_per_m2": [20.0, 30.0, 25.0]}
    info = prices.gather_prices(make_review(results={"film_prices": frame.assign(**costs)}))
    assert info.lines[0].change_pct == pytest.approx(25.0)
    assert info.title.endswith("+25.0% in twelve months")


def test_redos_lead_with_services_and_with_the_surest(review: Review) -> None:
    info = redo.gather_redo(review)
    kinds = [name.rsplit("(", 1)[1] for name in info.names]
    assert kinds == sorted(kinds, key=["service)", "model)", "film)"].index)
    services = info.lows[: kinds.count("service)")]
    assert list(services) == sorted(services, reverse=True)
    assert all(
        low <= rate <= high
        for low, rate, high in zip(info.lows, info.rates, info.highs, strict=True)
    )


def test_periods_meet_on_their_keys_missing_ones_too(make_review: MakeReview) -> None:
    made = make_review()
    quarter = made.frame("margin_by_film").head(2).assign(film=["GB-60", np.nan])
    year = made.year["margin_by_film"].head(3).assign(film=[np.nan, "CL-72", "GB-60"])
    review = make_review(results={"margin_by_film": quarter}, year={"margin_by_film": year})
    found = slices_of(review, "margin_by_film")
    parts = [Part("Q", found.quarter, ["jobs"]), Part("Y", found.year, ["jobs"])]
    grid = side_by_side(review, found.table, parts, caption="", order=found.quarter)
    names = [row[0].text for row in grid.rows]
    assert names == ["GB-60", "(not given)", "CL-72"]
    assert grid.rows[2][1].is_absent
    assert grid.rows[1][2].text == str(year["jobs"].iloc[0])
    assert [(band.text, band.width) for band in grid.bands] == [("", 1), ("Q", 1), ("Y", 1)]
    assert grid.band_starts == {1, 2}


def test_a_key_that_stands_twice_is_refused(review: Review) -> None:
    found = slices_of(review, "margin_by_film")
    twice = pd.concat([found.quarter, found.quarter])
    with pytest.raises(pd.errors.MergeError):
        side_by_side(
            review, found.table, [Part("Q", twice, ["jobs"])], caption="", order=found.quarter
        )


def test_an_unknown_count_is_not_called_few(review: Review) -> None:
    frame = pd.DataFrame({"enough": pd.array([True, False, pd.NA], dtype="boolean")})
    assert few(frame).tolist() == [False, True, False]


def test_figures_speak_the_shop_s_units_and_signs(make_review: MakeReview) -> None:
    settings = Settings(currency="EUR", locale="de-DE", area_unit="m2")
    info = film.gather_causes(make_review(settings=settings))
    assert info.unit == "m²"
    assert info.separators == ",."
    assert "€" in info.title
    assert film.draw_causes(info).layout.separators == ",."
