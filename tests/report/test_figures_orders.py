"""The figure about ordering: its numbers are those of the table."""

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.report.figures_orders import (
    LONGEST_BAR,
    draw_orders,
    gather_orders,
    order_sentence,
)
from analysis.settings import Ordering, Settings
from tests.report import made_film
from tests.report.made_film import FILMS, film_review

METRIC = Settings(currency="EUR", locale="de-DE", length_unit="cm", area_unit="m2")


def orders(**columns: Any) -> pd.DataFrame:
    """The made table, some columns of its first row changed."""
    frame = made_film.orders(FILMS)
    for name, value in columns.items():
        frame.loc[0, name] = value
    return frame


def drawn(frame: pd.DataFrame) -> str:
    """The figure of a table as the text that a browser gets."""
    fig = draw_orders(gather_orders(film_review(film_orders=frame)))
    return json.dumps(fig.to_plotly_json(), default=str, ensure_ascii=False)


def test_what_is_not_there_says_why() -> None:
    line = "What to order needs the film that was used."
    review = film_review(film_orders=Unavailable("film_orders", (), line))
    info = gather_orders(review)
    assert info.line == order_sentence(review) == line
    assert line in json.dumps(draw_orders(info).to_plotly_json())
    empty = gather_orders(film_review(film_orders=orders().head(0)))
    assert empty.line == "There is nothing to show for 2026Q3."


def test_films_to_order_stand_first_with_what_they_cost() -> None:
    info = gather_orders(film_review())
    assert info.title == "Order now: MB-60 (2 rolls) and GB-60 (1 roll), $2,302 in all"
    assert order_sentence(film_review()) == f"{info.title}."
    assert info.names == ("MB-60", "GB-60", "CL-72", "TN-40")
    assert info.texts == (
        "order 2 rolls ($1,490); lasts 1.0 weeks",
        "order 1 roll ($812); lasts 1.8 weeks",
        "400 weeks",
        "not in use",
    )
    assert info.weeks[:3] == (1.0, 1.8, 400.0)
    assert info.costs[:2] == (1490.0, 812.0)
    assert info.horizon_weeks == pytest.approx(2.0)
    assert "every number" in info.alternative


def test_the_picture_holds_what_the_figure_says() -> None:
    info = gather_orders(film_review())
    fig = draw_orders(info)
    bars, mark = fig.data
    assert tuple(bars.x[:3]) == info.bars[:3] == (1.0, 1.8, LONGEST_BAR)
    assert np.isnan(bars.x[3])
    assert list(bars.marker.pattern.shape) == ["/", "/", "", ""]
    assert set(mark.x) == {2.0}
    assert mark.name == "lead time + safety days"
    assert fig.layout.xaxis.title.text == "Stock lasts, weeks"
    grid = info.grids[0]
    at = {heading.text: place for place, heading in enumerate(grid.headings)}
    assert [row[at["Cover weeks"]].text for row in grid.rows] == ["1.0", "1.8", "400", "–"]
    assert grid.rows[0][at["Reason"]].text.startswith("4.0 sq ft on hand")


def test_nothing_to_order_is_said() -> None:
    review = film_review(film_orders=orders().tail(2))
    assert gather_orders(review).title == "Nothing has to be ordered now"
    assert order_sentence(review) == "Nothing has to be ordered now."


def test_the_shop_s_own_days_move_the_mark() -> None:
    slow = Settings(ordering=Ordering(lead_days=84, safety_days=28))
    info = gather_orders(film_review(slow))
    assert info.horizon_weeks == pytest.approx(16.0)
    assert info.bars[2] == pytest.approx(32.0)
    assert draw_orders(info).layout.xaxis.range[1] > 32
    assert "84 + 28 days" in info.note
    none = Settings(ordering=Ordering(lead_days=0, safety_days=0))
    assert draw_orders(gather_orders(film_review(none))).data


@pytest.mark.parametrize(
    ("columns", "title"),
    [
        ({"order_cost": np.nan}, "$1,490 without 1 film of unknown cost"),
        ({"order_rolls": pd.NA}, "Order now: MB-60 (2 rolls), $1,490; for 1 film it is not known"),
        ({"on_hand_area_m2": -3.0}, "$2,302 in all; count GB-60 first"),
    ],
)
def test_what_is_not_known_is_in_the_finding(columns: dict[str, Any], title: str) -> None:
    assert title in gather_orders(film_review(film_orders=orders(**columns))).title


def test_a_cost_that_nobody_knows_is_no_nought() -> None:
    frame = orders().head(2).assign(order_cost=np.nan)
    info = gather_orders(film_review(film_orders=frame))
    assert info.title.endswith("; what it costs is not known")
    assert info.texts[0] == "order 2 rolls; lasts 1.0 weeks"


def test_books_below_nothing_and_unknown_rolls_are_told_on_the_row() -> None:
    below = gather_orders(film_review(film_orders=orders(on_hand_area_m2=-3.0)))
    assert "count, then order 1 roll ($812); lasts 1.8 weeks" in below.texts
    unknown = gather_orders(film_review(film_orders=orders(order_rolls=pd.NA)))
    assert unknown.texts[1] == "rolls to order not known; 1.8 weeks"
    assert np.isnan(unknown.rolls[1])


def test_many_films_fold_into_the_grid() -> None:
    frame = pd.concat([orders().head(1)] * 40, ignore_index=True)
    frame = frame.assign(film=[f"F-{number:02d}" for number in range(40)])
    info = gather_orders(film_review(film_orders=frame))
    assert len(info.names) == 15
    assert len(info.grids[0].rows) == 40
    assert "The chart shows 15 of 40 films." in info.note
    assert info.title == (
        "Order now: F-00 (1 roll), F-01 (1 roll), F-02 (1 roll) and 37 more, $32,480 in all"
    )


def test_a_metric_shop_reads_its_own_money() -> None:
    info = gather_orders(film_review(METRIC))
    assert info.title.endswith("2.302\xa0€ in all")
    assert info.texts[0] == "order 2 rolls (1.490\xa0€); lasts 1,0 weeks"
    units = {heading.unit for heading in info.grids[0].headings}
    assert {"m²", "cm", "EUR"} <= units


def test_typed_markup_is_drawn_as_it_is() -> None:
    text = drawn(orders(film="<b>=1+1</b>").head(1))
    assert "<b>" not in text
    assert "&lt;b&gt;=1+1" in text
    assert "\u2068\u05e9\u05dc\u2069" in drawn(orders(film="\u05e9\u05dc").head(1))


def test_one_film_has_no_sum() -> None:
    info = gather_orders(film_review(film_orders=orders().head(1)))
    assert info.title == "Order now: GB-60 (1 roll), $812"
