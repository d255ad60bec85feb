"""The desk of the counter sale as it starts from the records, and the notebook that shows it."""

import json
import math
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.findings.capacity_use import governing
from analysis.pricing.counter_model import CounterModel
from analysis.pricing.counter_review import CounterReview, review_counter
from analysis.records.read import read_records
from analysis.report.counter_desk import assumptions_from, counter_desk, verdict
from analysis.report.results import Review
from analysis.review import chosen_quarter, newest_day
from tests.report.test_counter_desk import desk, words

ROOT = Path(__file__).parents[2]


@cache
def review() -> Review:
    """The demo shop's counter sales; the rest of its review is not computed."""
    records = read_records(ROOT / "data_demo")
    quarter = chosen_quarter(records, None)
    costing = cost_records(records, quarter.last_day)
    governs = governing(costing, records, quarter)
    counter = review_counter(costing, records, quarter, governs, newest_day(records))
    return Review(
        quarter=quarter,
        settings=records.settings,
        records=records,
        results=counter.tables,
        year=counter.year,
        previous={},
        counter=counter,
    )


def model() -> CounterModel:
    counter = review().counter
    assert counter is not None
    assert counter.model is not None
    return counter.model


def with_sales(**columns: Any) -> Review:
    """The demo shop's review with other columns in its sales."""
    counter = review().counter
    assert counter is not None
    other = replace(model(), sales=model().sales.assign(**columns))
    return replace(review(), counter=replace(counter, model=other))


def groups() -> list[tuple[dict[str, str], str]]:
    films = sorted(model().sales.loc[model().sales["is_recent"], "film"].unique())
    return [
        ({}, "all sales"),
        ({"months": "idle"}, "idle months"),
        ({"months": "full"}, "full months"),
        *(({"film": film}, film) for film in films),
    ]


def test_the_start_is_that_of_the_verdict_but_for_staff_time() -> None:
    """All is the verdict's once staff time is that of each sale in its own month."""
    rows = review().frame("counter_verdicts").set_index("group")
    sales = model().sales[model().sales["is_recent"] & model().sales["told"].astype(bool)]
    for asked, group in groups():
        found, row = assumptions_from(review(), **asked), rows.loc[group]
        column = {"film": "film", "months": "month_kind"}
        chosen = sales
        for name, value in asked.items():
            chosen = chosen[chosen[column[name]] == value]
        assert found.price == pytest.approx(chosen["price"].mean())
        assert found.displaced_cost == pytest.approx(row["displaced_each"])
        assert found.later_gain == pytest.approx(row["later_each"])
        staff = float((chosen["staff_cost"] + chosen["other_staff_cost"]).mean())
        assert found.net + found.staff - staff == pytest.approx(row["net_each"])
        # A month of the mean fullness never costs more than idle and full ones apart.
        assert found.staff <= staff + 1e-9
        at_own = (found.margin + found.staff - staff + found.later_gain) / (
            found.install * (1 - found.refill)
        )
        assert at_own == pytest.approx(row["break_even_displaced_share"])


def test_in_idle_months_the_start_leaves_what_the_verdict_says() -> None:
    row = review().frame("counter_verdicts").set_index("group").loc["idle months"]
    found = assumptions_from(review(), months="idle")
    assert found.net == pytest.approx(row["net_each"])
    assert found.break_even_share == pytest.approx(row["break_even_displaced_share"])


def test_the_fee_is_the_one_that_was_paid_and_rises_with_what_came_by_card() -> None:
    found = assumptions_from(review())
    sales = model().sales[model().sales["is_recent"]]
    by_card = ~sales["payment"].isin(["cash", "transfer"])
    share = float(sales.loc[by_card, "price"].sum() / sales["price"].sum())
    assert 0 < share < 1
    assert found.terms.card_share == pytest.approx(0.029 * share)
    fee = found.price * found.terms.card_share + found.terms.card_fixed
    assert fee == pytest.approx(sales["payment_fee"].mean())


def test_where_every_month_is_full_the_means_are_plain_ones() -> None:
    found = assumptions_from(with_sales(refill_share=1.0, displaced_cost=0.0))
    sales = model().sales[model().sales["is_recent"]]
    assert found.displaced == pytest.approx(sales["displaced_share"].mean())
    assert found.install == pytest.approx(sales["install_contribution"].mean())
    assert found.displaced_cost == 0


def test_installs_that_lose_money_leave_the_share_a_share() -> None:
    signs = pd.Series([1.0, -1.0] * len(model().sales)).head(len(model().sales))
    shares = pd.Series([0.9, 0.1] * len(model().sales)).head(len(model().sales))
    odd = with_sales(install_contribution=100 * signs, displaced_share=shares)
    assert 0.1 <= assumptions_from(odd).displaced <= 0.9
    assert len(counter_desk(odd).children) == 9


def test_the_desk_starts_from_the_records_and_says_how_far_off_it_is() -> None:
    sliders, figure, text = desk(review())
    found = assumptions_from(review())
    assert list(figure.data[3].y) == pytest.approx([found.net])
    assert sliders["price"].value == pytest.approx(found.price, abs=0.5)
    net = float(review().frame("counter_verdicts").iloc[0]["net_each"])
    assert f"Each in its own month, they left ${net:.2f}, ${found.net - net:.2f} less" in words(
        text
    )
    assert "means of 43 sales" in words(text)
    assert "competition law" in words(text)
    sliders["price"].value = 60.0
    assert list(figure.data[3].y) == pytest.approx([replace(found, price=60.0).net])


@pytest.mark.parametrize(
    ("changed", "asked", "said"),
    [
        ({}, {"film": "<i>GB"}, "No counter sale of <i>GB stands in the twelve months to Sep 30"),
        ({}, {"months": "wet"}, "in wet months stands .* Months: full and idle."),
        ({"is_recent": False}, {}, "No counter sale stands in the twelve months to Sep 30, 2026.$"),
        (
            {"told": False, "film_cost": math.nan},
            {},
            "not one has every amount known. It wants a p",
        ),
    ],
)
def test_where_nothing_is_known_the_reason_is_given(
    changed: dict[str, Any], asked: dict[str, str], said: str
) -> None:
    with pytest.raises(ValueError, match=said):
        assumptions_from(with_sales(**changed), **asked)


def test_without_counter_sales_the_desk_is_a_sentence() -> None:
    """A notebook that is run on such a shop goes on to the section where assumptions are typed."""
    line = "Nothing was sold over the counter."
    none = CounterReview(None, {"counter_verdicts": Unavailable("counter_verdicts", (), line)}, {})
    for counter, said in ((none, line), (None, "holds no counter sales")):
        without = replace(review(), counter=counter)
        with pytest.raises(ValueError, match=said):
            assumptions_from(without)
        (only,) = counter_desk(without).children
        assert said in only.value
    (only,) = counter_desk(with_sales(is_recent=False)).children
    assert "No counter sale stands in the twelve months" in only.value


def test_a_reason_is_no_markup_and_no_formula() -> None:
    line = "<b>$4 & $5</b>"
    none = CounterReview(None, {"counter_verdicts": Unavailable("counter_verdicts", (), line)}, {})
    (only,) = counter_desk(replace(review(), counter=none)).children
    assert only.value == "<p>&lt;b&gt;<span>$</span>4 &amp; <span>$</span>5&lt;/b&gt;</p>"


def test_the_verdict_is_the_reports_answer() -> None:
    question, behind = verdict(review()).grid.rows
    assert question[0].text.endswith("?")
    assert question[1].text
    assert behind[1].text


# --- the notebook --------------------------------------------------------------------------------


def outputs() -> list[dict[str, Any]]:
    path = ROOT / "notebooks" / "05_counter_sale.ipynb"
    book = json.loads(path.read_text(encoding="utf-8"))
    assert "widgets" not in book["metadata"]
    code = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    return [output["data"] for cell in code for output in cell["outputs"]]


def test_the_notebook_holds_its_answer_figures_tables_and_desks() -> None:
    kinds = [next(iter(sorted(data))) for data in outputs()]
    assert kinds.count("application/vnd.plotly.v1+json") == 4
    assert kinds.count("application/vnd.jupyter.widget-view+json") == 2
    texts = ["".join(data.get("text/plain", "")) for data in outputs()]
    shown = "\n".join(texts)
    assert "Does the counter sale of film pay?" in texts[0]
    for caption in ("price by width and length", "Kits, ", "What to mind", "Every unknown"):
        assert caption in shown
