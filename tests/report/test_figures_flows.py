"""The flow picture: what is drawn is the table, nothing is lost on the way to it."""

from collections.abc import Callable

import pytest

from analysis.errors import Unavailable
from analysis.findings import film_flows as points
from analysis.report.figures_flows import COST, draw_flow_picture, gather_flow_picture
from analysis.report.results import Review
from tests.report.made_shelf import streams

MakeReview = Callable[..., Review]


@pytest.mark.parametrize("measure", ["area", "cost"])
def test_every_stream_above_nothing_is_drawn(measure: str, review: Review) -> None:
    info = gather_flow_picture(review, measure)
    assert not info.line
    fig = draw_flow_picture(info)
    link = fig.data[0].link
    table = review.frame("film_flows")
    drawn = {
        (info.names[source], info.names[target]): value
        for source, target, value in zip(link.source, link.target, link.value, strict=True)
    }
    column = "area_m2" if measure == "area" else "cost"
    factor = drawn[points.ON_SHELF, points.FILM] / table[column].iloc[0]
    for row in table.itertuples():
        expected = getattr(row, column) * factor
        assert drawn[row.flows_from, row.flows_to] == pytest.approx(expected)
    assert sum(each.is_loss for each in info.streams) == 8


def test_the_title_says_how_much_stayed_on_vehicles(review: Review) -> None:
    assert "66% stayed on vehicles" in gather_flow_picture(review).title
    assert "$" in gather_flow_picture(review, COST).title


def test_a_surplus_is_told_and_not_drawn(make_review: MakeReview) -> None:
    review = make_review(results={"film_flows": streams(1.0, surplus=9.0)})
    info = gather_flow_picture(review)
    assert "missing at the counts" in info.note
    assert "missing at the counts" not in info.names


def test_unknown_money_draws_no_money(make_review: MakeReview) -> None:
    frame = streams(1.0)
    frame.loc[3, "cost"] = float("nan")
    review = make_review(results={"film_flows": frame})
    assert gather_flow_picture(review, COST).line
    assert not gather_flow_picture(review).line


def test_no_table_says_why(make_review: MakeReview) -> None:
    why = "No film was bought."
    review = make_review(results={"film_flows": Unavailable("film_flows", ("purchases",), why)})
    assert gather_flow_picture(review).line == why
