"""Figures of the counter sale: titles say what the tables hold, and charts draw it."""

from __future__ import annotations

import io
import json
import re
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from openpyxl.utils import range_boundaries

from analysis.counter_tables import COUNTER_RESULT_TABLES
from analysis.errors import Unavailable, Unreconciled
from analysis.glossary import heading
from analysis.pricing.counter_words import MOST_YEARS
from analysis.report import figures_counter as counter
from analysis.report import figures_counter_why as why
from analysis.report.counter_phrases import counter_finding, settled_by, verdict_rows
from analysis.report.grids import FigureInfo, Grid
from analysis.report.numbers import Numbers
from analysis.report.results import Review
from analysis.report.workbook import workbook_bytes
from analysis.schema import Table
from analysis.settings import Settings, parse_settings
from tests.report import made_counter as made

NAN = float("nan")
METRIC = parse_settings('currency = "EUR"\nlocale = "de-DE"\nlength_unit = "m"\narea_unit = "m2"')
FIGURES = (
    (counter.gather_counter_verdicts, counter.draw_counter_verdicts),
    (counter.gather_counter_sale, counter.draw_counter_sale),
    (counter.gather_counter_quarters, counter.draw_counter_quarters),
    (why.gather_displaced, why.draw_displaced),
    (why.gather_unknowns, why.draw_unknowns),
)
EACH = pytest.mark.parametrize(("gather", "draw"), FIGURES, ids=lambda each: each.__name__)


def review_of(*frames: pd.DataFrame, **tables: Any) -> Review:
    """A review whose verdicts are these rows."""
    return made.counter_review(counter_verdicts=made.rows(*frames), **tables)


def drawn(fig: Any) -> str:
    return json.dumps(fig.to_plotly_json(), default=str, ensure_ascii=False)


def texts_of(grid: Grid) -> list[list[str]]:
    return [[cell.text for cell in row] for row in grid.rows]


def numbers_in(texts: Sequence[str]) -> set[str]:
    return {each for text in texts for each in re.findall(r"\d[\d.,]*\d|\d", text)}


def shown_texts(info: Any) -> list[str]:
    """Every text that the chart of a figure shows."""
    found = [*getattr(info, "names", ()), *getattr(info, "texts", ())]
    for name in ("low_texts", "high_texts"):
        found += getattr(info, name, ())
    return [*found, getattr(info, "share_text", ""), getattr(info, "break_even_text", "")]


def money(text: str) -> float:
    return float(re.sub(r"[^\d.\-]", "", text.replace("−", "-")))


# --- all of them ----------------------------------------------------------------------------------


@EACH
def test_a_shop_that_sells_nothing_over_the_counter_is_told_why(gather: Any, draw: Any) -> None:
    info = gather(made.no_counter_review())
    assert info.line == made.LINE
    assert info.title
    assert "Nothing was sold over the counter" in drawn(draw(info))


@EACH
def test_every_number_of_the_chart_stands_in_a_table(gather: Any, draw: Any) -> None:
    for settings in (None, METRIC):
        info = gather(made.counter_review(settings))
        cells = [text for grid in info.grids for row in texts_of(grid) for text in row]
        texts = shown_texts(info)
        assert numbers_in(texts)
        assert numbers_in(texts) <= numbers_in(cells)


@EACH
def test_who_cannot_see_it_gets_words_and_axes_have_units(gather: Any, draw: Any) -> None:
    info = gather(made.counter_review())
    assert "every number" in info.alternative
    assert info.note
    fig = draw(info)
    assert "USD" in fig.layout.xaxis.title.text + str(fig.layout.yaxis.title.text)
    # A telephone takes what is anchored at the right for the values of rows.
    rights = [each for each in fig.layout.annotations if each.xanchor == "right"]
    assert len(rights) in (0, len(getattr(info, "names", ())))


@EACH
def test_the_tables_are_not_changed(gather: Any, draw: Any) -> None:
    review = made.counter_review()
    before = {name: review.frame(name).copy() for name in review.results}
    draw(gather(review))
    for name, frame in before.items():
        pd.testing.assert_frame_equal(frame, review.frame(name))


@EACH
def test_other_money_and_huge_amounts(gather: Any, draw: Any) -> None:
    each = made.sales()
    amounts = [name for name in each.columns if each[name].dtype == "float64"]
    amounts = [name for name in amounts if not name.endswith(("_m", "_m2", "_share"))]
    each[amounts] *= 1e7
    verdicts = made.verdicts(each)
    tables = {
        "counter_verdicts": verdicts,
        "counter_sales_each": each,
        "counter_by_quarter": made.by_quarter(each),
        "counter_unknowns": made.unknowns(2.3e8),
    }
    info = gather(made.counter_review(METRIC, **tables))
    assert re.search(r"\d{3}\.\d{3}\.\d{3}\s€", f"{info.title} {info.alternative}")
    assert info.separators == ",."
    assert draw(info).layout.separators == ",."


# --- does it pay ----------------------------------------------------------------------------------

ROW, MONTH = made.all_row, made.month_row
UNSURE = {"verdict": "can't tell", "net_each": 3.0, "net_low": -10.0, "net_high": 16.0}


LOSES = {"verdict": "does not pay", "net_each": -12.0, "net_low": -20.0, "net_high": -4.0}
IDLE_PAYS, FULL_LOSES = MONTH("idle", 31.0, "pays"), MONTH("full", -12.0, "does not pay")
TOLD_YET = "Whether counter sales pay cannot be told yet:"


@pytest.mark.parametrize(
    ("title", "frames"),
    [
        ("Counter sales pay: $23 a sale ($9 to $38)", [ROW()]),
        ("Counter sales pay: $23 a sale ($9 to $38)", [ROW(), IDLE_PAYS]),
        ("Counter sales do not pay: −$12 a sale (−$20 to −$4)", [ROW(**LOSES)]),
        (
            "Counter sales pay in idle months ($31 a sale), and lose in full ones (−$12)",
            [ROW(**UNSURE), FULL_LOSES, IDLE_PAYS],
        ),
        (
            "Counter sales pay in full months ($9 a sale), and lose in idle ones (−$2)",
            [ROW(), MONTH("idle", -2.0, "does not pay"), MONTH("full", 9.0, "pays")],
        ),
        (
            "Counter sales pay in idle months ($31 a sale); over all it cannot be told yet",
            [ROW(**UNSURE), IDLE_PAYS, MONTH("full", -1.0, "can't tell")],
        ),
        (
            f"{TOLD_YET} 8 more answers at the counter would probably settle it",
            [ROW(**UNSURE, further_answers=8)],
        ),
        (
            f"{TOLD_YET} 1 more answer at the counter would probably settle it",
            [ROW(**UNSURE, further_answers=1)],
        ),
        (f"{TOLD_YET} $3 a sale (−$10 to $16)", [ROW(**UNSURE)]),
        # Three years of forty sales settle it; one more answer would take longer.
        (
            f"{TOLD_YET} 120 more answers at the counter would probably settle it",
            [ROW(**UNSURE, further_answers=120)],
        ),
        (f"{TOLD_YET} $3 a sale (−$10 to $16)", [ROW(**UNSURE, further_answers=121)]),
        (f"{TOLD_YET} $3 a sale (−$10 to $16)", [ROW(**UNSURE, further_answers=0)]),
        (f"{TOLD_YET} it would rest on 3 sales", [ROW(**UNSURE, enough=False, told=3)]),
        (
            "Whether counter sales pay cannot be told",
            [ROW(net_each=NAN), MONTH("full", 1.0, "can't tell")],
        ),
    ],
)
def test_the_title_says_whether_it_pays(title: str, frames: list[pd.DataFrame]) -> None:
    assert counter.gather_counter_verdicts(review_of(*frames)).title == title


def test_few_sales_never_say_that_it_pays() -> None:
    thin = ROW(enough=False, told=2)
    assert "cannot be told" in counter_finding(review_of(thin))
    months = MONTH("idle", 31.0, "pays", enough=False), MONTH("full", -9.0, "does not pay")
    assert counter_finding(review_of(ROW(), *months)) == "Counter sales pay: $23 a sale ($9 to $38)"


def test_answers_that_take_years_settle_nothing() -> None:
    say, most = Numbers(Settings()), int(MOST_YEARS)
    for sales, answers, told in ((1, most, True), (1, most + 1, False), (0, most, True)):
        rows = verdict_rows(review_of(ROW(**UNSURE, sales=sales, further_answers=answers)))
        words = f"{answers} more answers at the counter" if told else ""
        assert settled_by(rows["all", ""], say) == words


def test_the_verdict_stands_in_three_tables_on_three_questions() -> None:
    """What it leaves, why, and how sure the chances are: each with the name of its row."""
    few = ROW(kind="film", group="GB-60", enough=False, sales=4, told=3)
    leaves, reasons, chances = counter.gather_counter_verdicts(review_of(ROW(), few)).grids
    assert [each.caption for each in (leaves, reasons, chances)] == [
        "What a sale leaves, and whether it pays",
        "Why, and what would settle it",
        "How sure the chances are",
    ]
    for grid in (leaves, reasons, chances):
        assert [row[0] for row in texts_of(grid)] == ["All sales", "Film GB-60"]
    assert row_of(leaves) == {
        "Which sales": "All sales",
        "Sales": "40",
        "With all known": "38",
        "Margin a sale": "44",
        "Displaced installs": "24",
        "Later installs": "3",
        "Left a sale": "23",
        "From": "9",
        "To": "38",
        "Chance that it pays": "0.97",
        "Verdict": "pays",
    }
    assert row_of(reasons) == {
        "Which sales": "All sales",
        "Verdict": "pays",
        "Reason": "A sale leaves $44.00 before installs.",
    }
    # From and To stand twice, after the share of either kind of install.
    assert [each.text for each in chances.headings] == [
        *("Which sales", "Answers", "Would have booked", "Unsure"),
        *("Displaced", "From", "To", "Break-even displaced"),
        *("Came back", "Booked later", "From", "To", "Unknown", "Further answers"),
    ]
    assert texts_of(chances)[0][1:] == [
        *("30", "6", "4", "24.0", "12.0", "38.0", "47.0", "3", "8.0", "2.0", "17.0"),
        *("installs displaced", "–"),
    ]
    # What rests on few says so once, beside the number of sales that it rests on.
    said = [[cell.text for cell in grid.rows[1] if cell.says_few] for grid in (leaves, reasons)]
    assert said == [["3"], []]


def row_of(grid: Grid) -> dict[str, str]:
    """The first row by heading."""
    heads = [each.text for each in grid.headings]
    return dict(zip(heads, texts_of(grid)[0], strict=True))


def test_rows_stand_in_order_and_are_named() -> None:
    frames = [
        ROW(kind="service", group="roof"),
        ROW(kind="service", group="not named"),
        ROW(kind="film", group="GB-60"),
        MONTH("full", 1.0, "can't tell"),
        MONTH("idle", 2.0, "pays"),
        ROW(kind="months", group="months not known"),
        ROW(),
    ]
    info = counter.gather_counter_verdicts(review_of(*frames))
    assert info.names == (
        "All sales",
        "In idle months",
        "In full months",
        "In months not known",
        "Film GB-60",
        "Instead of roof",
        "No service named",
    )
    assert [row[0] for row in texts_of(info.grids[0])] == list(info.names)
    assert info.texts[:2] == ("$23 ($9 to $38): pays", "$2 (−$6 to $10): pays")


def test_marks_tell_the_verdict_by_their_shape() -> None:
    info = counter.gather_counter_verdicts(
        review_of(
            ROW(),
            MONTH("idle", -9.0, "does not pay"),
            MONTH("full", 1.0, "can't tell"),
            ROW(kind="film", group="GB-60", enough=False),
        )
    )
    fig = counter.draw_counter_verdicts(info)
    lines, marks = fig.data
    assert list(marks.x) == list(info.means) == [23.0, -9.0, 1.0, 23.0]
    assert list(marks.marker.symbol) == ["triangle-up", "triangle-down", "circle", "circle-open"]
    ends = [each for pair in zip(info.lows, info.highs, strict=True) for each in pair]
    assert [each for each in lines.x if each is not None] == ends
    assert info.few == (False, False, False, True)
    texts = [each.text for each in fig.layout.annotations]
    assert "Film GB-60 (few)" in texts
    assert "nothing left" in texts
    first, last = fig.layout.xaxis.range
    assert first < min(*ends, 0.0)
    assert last > max(*ends, 0.0)
    # The word 'few' stands in the table too.
    said = [[cell.says_few for cell in row] for row in info.grids[0].rows]
    assert [any(row) for row in said] == [False, False, False, True]


def test_what_is_not_known_stays_blank() -> None:
    gone = dict.fromkeys(("net_each", "net_low", "net_high"), NAN)
    blank = ROW(kind="film", group="GB-60", **gone, verdict="can't tell")
    info = counter.gather_counter_verdicts(review_of(ROW(), blank))
    assert info.texts[1] == "can't tell"
    assert np.isnan(info.means[1])
    assert counter.draw_counter_verdicts(info).data
    reason = "To tell, it wants a purchase of the film."
    nothing = counter.gather_counter_verdicts(review_of(ROW(**gone, reason=reason)))
    assert nothing.line == reason
    assert texts_of(nothing.grids[0])[0][0] == "All sales"
    wordless = counter.gather_counter_verdicts(review_of(ROW(**gone, reason=None)))
    assert wordless.line == "What a sale leaves is not known."


def test_one_film_and_one_sale_are_drawn() -> None:
    tables = made.counter(("GB-60",), ("roof",))
    info = counter.gather_counter_verdicts(made.counter_review(**tables))
    assert info.names[-2:] == ("Film GB-60", "Instead of roof")
    lone = counter.gather_counter_verdicts(review_of(ROW(sales=1, told=1, enough=False)))
    assert lone.names == ("All sales",)
    assert counter.draw_counter_verdicts(lone).data


def test_more_rows_than_a_chart_holds_are_in_the_table() -> None:
    films = [ROW(kind="film", group=f"F-{at}") for at in range(30)]
    info = counter.gather_counter_verdicts(review_of(ROW(), *films))
    assert len(info.names) == len(info.texts) == counter.MOST_ROWS
    assert len(info.grids[0].rows) == 31
    assert "The first 18 of 31 are drawn." in info.note


def test_names_are_drawn_as_they_are_typed() -> None:
    review = review_of(ROW(), ROW(kind="film", group=made.HOSTILE))
    text = drawn(counter.draw_counter_verdicts(counter.gather_counter_verdicts(review)))
    assert "<b>=1" not in text
    assert "&lt;b&gt;=1+1" in text
    assert "&#36;x&#36;" in text
    assert "\u2068" in text


def test_rows_of_verdicts_are_found_by_kind_and_group() -> None:
    rows = verdict_rows(review_of(MONTH("full", 1.0, "pays"), ROW(enough=False)))
    assert list(rows) == [("all", ""), ("months", "full months")]
    assert [row["few"] for row in rows.values()] == [True, False]


# --- what one sale leaves -------------------------------------------------------------------------


def year_of(each: pd.DataFrame) -> pd.DataFrame:
    return each[each["sold_on"] > made.DAY - pd.DateOffset(years=1)]


def test_the_parts_of_a_sale_add_to_what_is_left() -> None:
    review = made.counter_review()
    info = counter.gather_counter_sale(review)
    told = year_of(review.frame("counter_sales_each")).dropna(subset=["expected_net"])
    assert sum(info.steps[:-1]) == pytest.approx(info.steps[-1])
    assert info.steps[-1] == pytest.approx(told["expected_net"].mean())
    assert info.steps[-1] == pytest.approx(verdict_rows(review)["all", ""]["net_each"])
    assert info.names == (
        "Price of the film, net of tax",
        "Tools, cleaner and tape",
        "Card fee",
        "Film cut and sold",
        "Side loss",
        "Film cut again or spoiled",
        "Staff time",
        "Displaced installs",
        "Later installs",
        "Left",
    )
    film = -sum(info.steps[3:6])
    assert film == pytest.approx(told["film_cost"].mean())
    staff = told["staff_cost"] + told["other_staff_cost"]
    assert info.steps[6] == pytest.approx(-staff.mean())
    ends = [start + step for start, step in zip(info.starts, info.steps, strict=True)]
    assert list(info.starts[1:-1]) == pytest.approx(ends[:-2])
    assert ends[-2] == pytest.approx(info.steps[-1])
    assert info.starts[-1] == 0.0
    assert info.texts[0].startswith("$")
    assert [text[0] for text in info.texts[1:-1]] == [*"+−−−−−−+"]
    cells = [money(row[1]) for row in texts_of(info.grids[0])]
    assert cells == pytest.approx(info.steps, abs=0.0051)


def test_the_bars_are_the_steps() -> None:
    info = counter.gather_counter_sale(made.counter_review())
    (bars,) = counter.draw_counter_sale(info).data
    assert list(bars.x) == list(info.steps)
    assert list(bars.base) == list(info.starts)
    patterns = ["/" if step < 0 else "" for step in info.steps]
    assert list(bars.marker.pattern.shape) == patterns


def sale(**changes: float) -> pd.DataFrame:
    """One sale in round numbers: 62 net of tax leave 23."""
    frame = made.sales().tail(2).head(1).copy()
    amounts = {
        "revenue": 62.0,
        "extras_margin": 0.0,
        "payment_fee": 0.0,
        "film_cost": 19.0,
        "side_loss_cost": 3.0,
        "spoiled_cost": 0.0,
        "staff_cost": 8.0,
        "other_staff_cost": 0.0,
        "displaced_cost": 14.0,
        "later_installs": 2.0,
    } | changes
    costs = ("payment_fee", "film_cost", "staff_cost", "other_staff_cost", "displaced_cost")
    gains = ("revenue", "extras_margin", "later_installs")
    net = sum(amounts[each] for each in gains) - sum(amounts[each] for each in costs)
    return frame.assign(**amounts, expected_net=net)


def sale_info(**changes: float) -> counter.SaleInfo:
    return counter.gather_counter_sale(made.counter_review(counter_sales_each=sale(**changes)))


def test_the_title_says_what_takes_most() -> None:
    info = sale_info()
    assert info.title == "A counter sale of $62 net of tax leaves $23; film takes most ($19)"
    # What is nothing is left out, but for displaced and later installs.
    assert info.names == (
        "Price of the film, net of tax",
        "Film cut and sold",
        "Side loss",
        "Staff time",
        "Displaced installs",
        "Later installs",
        "Left",
    )
    assert info.texts == ("$62.00", "−$16.00", "−$3.00", "−$8.00", "−$14.00", "+$2.00", "$23.00")
    loses = sale_info(displaced_cost=70.0)
    assert loses.title == (
        "A counter sale of $62 net of tax leaves −$33; displaced installs take most ($70)"
    )
    assert counter.draw_counter_sale(loses).data
    slow = sale_info(staff_cost=30.0, displaced_cost=0.0)
    assert slow.title.endswith("staff time takes most ($30)")
    assert "Displaced installs" in slow.names
    gives = sale_info(film_cost=0.0, side_loss_cost=0.0, staff_cost=0.0, displaced_cost=0.0)
    assert gives.title == "A counter sale of $62 net of tax leaves $64"


def test_side_loss_that_is_not_known_stays_in_the_film() -> None:
    info = sale_info(side_loss_cost=NAN)
    assert info.steps[1] == -19.0
    assert "Side loss" not in info.names
    assert "Of 1 sale it is not known what of the film was lost" in info.note
    assert "not known what" not in sale_info().note


def test_parts_that_do_not_add_up_are_refused() -> None:
    wrong = sale().assign(expected_net=24.0)
    with pytest.raises(Unreconciled, match="What a counter sale leaves does not reconcile"):
        counter.gather_counter_sale(made.counter_review(counter_sales_each=wrong))
    with pytest.raises(Unreconciled):
        counter.gather_counter_sale(
            made.counter_review(counter_sales_each=sale().assign(revenue=NAN))
        )


def test_sales_that_are_not_known_are_left_out_and_counted() -> None:
    info = counter.gather_counter_sale(made.counter_review())
    assert "of which every amount is known" in info.note
    assert "which every amount" not in sale_info().note
    gone = sale().assign(expected_net=NAN)
    info = counter.gather_counter_sale(made.counter_review(counter_sales_each=gone))
    assert info.line == (
        "Of 1 sale of the twelve months not one has every amount known. The table of the sales "
        "shows what is missing."
    )
    old = sale().assign(sold_on=pd.Timestamp("2025-09-30"))
    info = counter.gather_counter_sale(made.counter_review(counter_sales_each=old))
    assert info.line == "No film was sold over the counter in the twelve months."
    assert counter.draw_counter_sale(info).layout.annotations


def test_a_verdict_of_another_amount_is_explained() -> None:
    same = counter.gather_counter_sale(made.counter_review())
    assert "The verdict says" not in same.note
    other = counter.gather_counter_sale(review_of(ROW(net_each=70.0)))
    assert "The verdict says $70 a sale" in other.note


# --- quarter by quarter ---------------------------------------------------------------------------


def quarters(**changes: Any) -> pd.DataFrame:
    frame = made.by_quarter(made.sales()).tail(3).reset_index(drop=True)
    given = {
        "sales": [11, 9, 14],
        "told": [11, 9, 12],
        "expected_net": [300.0, -40.0, 420.0],
        "net_low": [200.0, -90.0, 150.0],
        "net_high": [400.0, 20.0, 690.0],
    }
    return frame.assign(**(given | changes))


def quarters_info(**changes: Any) -> counter.CounterQuartersInfo:
    return counter.gather_counter_quarters(
        made.counter_review(counter_by_quarter=quarters(**changes))
    )


def test_quarters_stand_newest_first_with_their_sales() -> None:
    info = quarters_info()
    assert info.title == (
        "Counter sales of 2026Q3 left $420 ($150 to $690) from 12 sales; those of 2026Q2 left −$40 "
        "(−$90 to $20) from 9 sales"
    )
    assert info.names == ("2026Q3, 12 of 14 sales", "2026Q2, 9 sales", "2026Q1, 11 sales")
    assert info.texts == ("$420 ($150 to $690)", "−$40 (−$90 to $20)", "$300 ($200 to $400)")
    bars, ends = counter.draw_counter_quarters(info).data
    assert list(bars.x) == list(info.nets) == [420.0, -40.0, 300.0]
    assert list(bars.marker.pattern.shape) == ["", "/", ""]
    assert [each for each in ends.x if each is not None] == [150, 690, -90, 20, 200, 400]


def test_quarters_of_few_or_no_sales() -> None:
    none = {"sales": [11, 9, 0], "told": [11, 3, 0], "expected_net": [300.0, -40.0, 0.0]}
    info = quarters_info(**none, net_low=[200.0, -90.0, 0.0], net_high=[400.0, 20.0, 0.0])
    assert info.title == (
        "No film was sold over the counter in 2026Q3; the sales of 2026Q2 left −$40 (−$90 to $20) "
        "from 3 sales"
    )
    assert info.few == (False, True, False)
    assert info.texts[0] == "$0"
    fig = counter.draw_counter_quarters(info)
    assert "2026Q2, 3 of 9 sales (few)" in [each.text for each in fig.layout.annotations]
    assert fig.data[0].marker.pattern.shape[1] == "."
    gone = quarters_info(expected_net=[NAN] * 3, net_low=[NAN] * 3, net_high=[NAN] * 3)
    assert gone.line == "In no quarter every amount of a sale is known."
    blank = quarters_info(told=[11, 9, 0], expected_net=[300.0, -40.0, NAN])
    assert blank.title.startswith(
        "Counter sales of 2026Q3 left an amount that is not known from 14 sales; those of 2026Q2"
    )
    assert blank.texts[0] == "not known"


def test_many_quarters_are_in_the_table_alone() -> None:
    one = quarters().tail(1)
    many = pd.concat([one.assign(quarter=f"{2010 + at}Q3") for at in range(17)])
    info = counter.gather_counter_quarters(made.counter_review(counter_by_quarter=many))
    assert len(info.names) == counter.MOST_QUARTERS
    assert info.names[0].startswith("2026Q3")
    assert len(info.grids[0].rows) == 17
    assert "The newest 12 are drawn." in info.note


# --- installs that are displaced ------------------------------------------------------------------


def test_the_title_holds_the_break_even_against_what_is_learnt() -> None:
    told = "as learnt, 24% (12% to 38%) do"
    for even, title in (
        (0.47, f"Counter sales pay while fewer than 47% of them take an install's place; {told}"),
        (
            1.3,
            f"A counter sale leaves something even if every one takes an install's place; {told}",
        ),
        (-0.2, f"A counter sale loses even if none takes an install's place; {told}"),
    ):
        info = why.gather_displaced(review_of(ROW(break_even_displaced_share=even)))
        assert info.title == title
        assert info.break_even == pytest.approx(47.0 if even == 0.47 else NAN, nan_ok=True)


def test_the_line_falls_from_none_to_all_through_the_break_even() -> None:
    info = why.gather_displaced(review_of(ROW()))
    fig = why.draw_displaced(info)
    line, learnt, even = fig.data
    assert list(line.x) == [0.0, 100.0]
    assert list(line.y) == pytest.approx([47.0, 47.0 - 100.0])
    assert (even.x[0], even.y[0]) == pytest.approx((47.0, 0.0))
    at_even = line.y[0] + (line.y[1] - line.y[0]) * even.x[0] / 100
    assert at_even == pytest.approx(0.0)
    assert (learnt.x[0], learnt.y[0]) == pytest.approx((24.0, 23.0))
    assert "off the line" not in info.note
    band = fig.layout.shapes[0]
    assert (band.x0, band.x1) == pytest.approx((12.0, 38.0))
    words = [each.text for each in fig.layout.annotations]
    assert words == ["learnt: 24% (12% to 38%)"]
    assert list(even.text) == ["nothing left at 47%"]
    assert texts_of(info.grids[0]) == [
        ["none", "0%", "$47"],
        ["as learnt", "24% (12% to 38%)", "$23"],
        ["break-even", "47%", "$0"],
        ["all", "100%", "−$53"],
    ]
    assert "30 answers to date, 6 of them yes; 4 customers more unsure." in info.note


@pytest.mark.parametrize(
    ("even", "text"),
    [
        (1.3, "none up to 100%"),
        (1.01, "none up to 100%"),
        (1.0, "100%"),
        (0.47, "47%"),
        (0.0, "0%"),
        (-0.2, "under none"),
    ],
)
def test_there_is_no_share_beyond_none_and_all(even: float, text: str) -> None:
    info = why.gather_displaced(review_of(ROW(break_even_displaced_share=even)))
    row = {each[0]: each[1] for each in texts_of(info.grids[0])}
    assert row["break-even"] == text
    # Nor is a mark drawn where no share is.
    marks = why.draw_displaced(info).data
    texts = [text for each in marks for text in each.text or () if text]
    assert texts == ([f"nothing left at {text}"] if 0 <= even <= 1 else [])


def test_a_mean_off_the_line_is_explained() -> None:
    info = why.gather_displaced(review_of(ROW(net_each=30.0, displaced_each=17.0)))
    assert "The circle stands off the line" in info.note
    assert info.net == 30.0


def test_displaced_installs_that_cost_nothing() -> None:
    free = ROW(displaced_each=0.0, break_even_displaced_share=NAN, net_each=47.0)
    info = why.gather_displaced(review_of(free))
    assert info.title == (
        "Displaced installs cost nothing: what a sale leaves does not hang on them"
    )
    assert (info.at_none, info.at_all) == (47.0, 47.0)
    fig = why.draw_displaced(info)
    assert len(fig.data) == 2
    # Without a share there is nothing to scale by.
    no_share = dict.fromkeys(
        ("displaced_share", "displaced_low_share", "displaced_high_share"), NAN
    )
    info = why.gather_displaced(review_of(ROW(**no_share, break_even_displaced_share=NAN)))
    assert info.line == "What displaced installs would have left is not known."
    info = why.gather_displaced(review_of(ROW(**no_share)))
    assert info.title == "Counter sales pay while fewer than 47% of them take an install's place"
    assert len(why.draw_displaced(info).data) == 2
    assert not why.draw_displaced(info).layout.annotations


def test_installs_that_lose_money_raise_the_line() -> None:
    row = ROW(displaced_each=-12.0, break_even_displaced_share=NAN, net_each=59.0)
    info = why.gather_displaced(review_of(row))
    assert info.title == "A counter sale leaves $47 if none displaces an install, $97 if all do"
    assert info.at_all > info.at_none


def test_a_margin_that_is_not_known_draws_no_line() -> None:
    info = why.gather_displaced(review_of(ROW(margin_each=NAN, reason="It wants rates.")))
    assert info.line == "What a sale leaves before displaced installs is not known. It wants rates."
    assert why.draw_displaced(info).layout.annotations
    no_row = why.gather_displaced(review_of(MONTH("idle", 1.0, "pays")))
    assert no_row.line == "What a sale leaves before displaced installs is not known."


# --- every unknown --------------------------------------------------------------------------------


def test_unknowns_stand_by_how_far_they_move_it() -> None:
    info = why.gather_unknowns(review_of(ROW(), counter_unknowns=made.unknowns()))
    assert info.title == (
        "The answer hangs most on installs displaced: a sale leaves $41 at 8.0%, −$8 at 35%"
    )
    assert info.names == ("Installs displaced", "What an install leaves", "Staff time of a sale")
    assert info.low_texts == ("8.0%", "$84", "19 min")
    assert info.high_texts == ("35%", "$140", "31 min")
    assert info.texts == (
        "$41 to −$8; knowing it is worth $340 a year",
        "$29 to $16; knowing it is worth $12 a year",
        "$26 to $19",
    )
    assert info.note.endswith(
        "To be surer: Ask every customer whether they would have booked the install. 3 of 4 are "
        "drawn."
    )
    assert len(info.grids[0].rows) == 4
    assert texts_of(info.grids[0])[3][1:-1] == ["–"] * 7


def test_bars_go_from_one_end_to_the_other() -> None:
    info = why.gather_unknowns(review_of(ROW(), counter_unknowns=made.unknowns()))
    fig = why.draw_unknowns(info)
    bars, lows, highs = fig.data
    assert list(bars.base) == list(info.at_lows) == list(lows.x)
    ends = [base + length for base, length in zip(bars.base, bars.x, strict=True)]
    assert ends == pytest.approx(list(info.at_highs)) == list(highs.x)
    assert [text.strip("\u00a0") for text in lows.text] == ["8.0%", "&#36;84", "19 min"]
    # An end that leaves more stands at the right.
    assert list(lows.textposition) == ["middle right"] * 3
    assert list(highs.textposition) == ["middle left"] * 3
    first, last = fig.layout.xaxis.range
    assert first < min(info.at_highs)
    assert last > max(info.at_lows)
    at = {shape.x0 for shape in fig.layout.shapes}
    assert at == {0.0, 23.0}


def test_a_price_is_no_place_to_stand_at() -> None:
    frame = made.unknowns().assign(swing=[7.0, 49.0, 60.0, NAN])
    frame["unknown"] = frame["unknown"].replace(
        "what an install leaves", "price and cost of a sale"
    )
    info = why.gather_unknowns(review_of(ROW(), counter_unknowns=frame))
    assert info.title == (
        "The answer hangs most on price and cost of a sale: a sale leaves $29 to $16"
    )


def test_what_is_worth_nothing_to_know_is_not_asked_for() -> None:
    frame = made.unknowns().assign(value_of_knowing=[0.0, 0.2, 0.0, NAN])
    info = why.gather_unknowns(review_of(ROW(), counter_unknowns=frame))
    assert info.title == (
        "Nothing left open would change the answer; most moves installs displaced"
    )
    assert "worth $" not in " ".join(info.texts)
    assert "To be surer" not in info.note
    assert "would not change the decision" in info.note
    # As little as is nothing to speak of, and the first that is something.
    for worth, hangs in ((0.49, False), (0.5, True)):
        one = frame.assign(value_of_knowing=[0.0, 0.2, worth, NAN])
        info = why.gather_unknowns(review_of(ROW(), counter_unknowns=one))
        assert info.title.startswith("The answer hangs most on installs displaced") is hangs
        assert ("To be surer" in info.note) is hangs
    none = frame.assign(value_of_knowing=NAN)
    info = why.gather_unknowns(review_of(ROW(), counter_unknowns=none))
    assert info.title.startswith("Nothing left open would change the answer")


def test_unknowns_that_are_not_known() -> None:
    blank = made.unknowns().assign(net_at_low=NAN, net_at_high=NAN, swing=NAN)
    info = why.gather_unknowns(review_of(ROW(), counter_unknowns=blank))
    assert info.line == "How far the unknowns move what a sale leaves is not known."
    assert len(info.grids[0].rows) == 4
    gone = Unavailable("counter_unknowns", ("rates",), "It needs rates.")
    assert why.gather_unknowns(review_of(ROW(), counter_unknowns=gone)).line == "It needs rates."
    # Without the mean there is no line at it, and the bars are drawn.
    review = review_of(ROW(net_each=NAN), counter_unknowns=made.unknowns())
    fig = why.draw_unknowns(why.gather_unknowns(review))
    assert {shape.x0 for shape in fig.layout.shapes} == {0.0}


def test_unknowns_are_drawn_as_they_are_typed() -> None:
    frame = made.unknowns().assign(unknown=made.HOSTILE, record=made.HOSTILE)
    info: FigureInfo = why.gather_unknowns(review_of(ROW(), counter_unknowns=frame))
    text = drawn(why.draw_unknowns(info))
    assert "<b>=1" not in text
    assert "&lt;b&gt;=1+1" in text


# --- words and workbook ---------------------------------------------------------------------------


@pytest.mark.parametrize("table", COUNTER_RESULT_TABLES, ids=lambda each: each.name)
def test_headings_are_told_apart(table: Table) -> None:
    say = Numbers(Settings())
    heads = [(heading(column, table.name), say.unit(column)) for column in table.columns]
    others = [each for each in heads if each[0] not in ("From", "To")]
    assert len(others) == len(set(others))
    assert not [each for each, _ in others if each.endswith((" per", " low", " high", " each"))]
    # The ends of an interval stand right after its figure, or after one another.
    for at, (text, unit) in enumerate(heads):
        if text == "To":
            assert heads[at - 1] == ("From", unit)
        if text == "From":
            assert heads[at - 1][1] == unit


def test_the_workbook_has_a_sheet_a_table_and_two_charts() -> None:
    book = load_workbook(io.BytesIO(workbook_bytes(made.counter_review())))
    charts = {
        name: sheet._charts[0]
        for sheet in book.worksheets
        for name in sheet.tables
        if name.startswith(("counter", "cut_film")) and sheet._charts
    }
    tables = {name for sheet in book.worksheets for name in sheet.tables}
    assert {table.name for table in COUNTER_RESULT_TABLES} <= tables
    assert set(charts) == {"counter_verdicts", "counter_by_quarter"}
    # The answer stands first, before what it is made of.
    sheet = next(each for each in book.worksheets if "counter_verdicts" in each.tables)
    left, top, right, _ = range_boundaries(sheet.tables["counter_verdicts"].ref)
    assert [sheet.cell(top, at).value for at in range(left, right + 1)][2:10] == [
        *("Sales", "With all known", "Left a sale (USD)", "From (USD)", "To (USD)"),
        *("Chance that it pays", "Verdict", "Margin a sale (USD)"),
    ]
    titles = {name: each["A1"].value for each in book.worksheets for name in each.tables}
    assert titles["counter_by_quarter"] == "Counter sales by quarter"
    assert titles["counter_kits"] == "Kits of cut film"
    for name, column, key in (
        ("counter_verdicts", "Left a sale (USD)", "Which sales"),
        ("counter_by_quarter", "Left (USD)", "Quarter"),
    ):
        sheet = next(each for each in book.worksheets if name in each.tables)
        left, top, right, bottom = range_boundaries(sheet.tables[name].ref)
        heads = [sheet.cell(top, at).value for at in range(left, right + 1)]
        (series,) = charts[name].series
        for reference, head in ((series.val.numRef.f, column), (series.cat.numRef.f, key)):
            cells = reference.split("!")[1].replace("$", "")
            at = left + heads.index(head)
            assert range_boundaries(cells) == (at, top + 1, at, bottom)
