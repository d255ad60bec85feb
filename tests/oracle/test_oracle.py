"""The slow implementation against examples worked by hand and published ones.

It is the yardstick of the costing, so that it must itself be checked against figures that were
not computed by it.
"""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from datetime import date
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from .examples import only, review
from .film import FilmStore, Line
from .money import Z_90, wilson
from .reading import Quarter, add_months, share_out_cents

DAY = [date(2026, 1, day) for day in range(1, 32)]


def store(costing: str = "fifo", months: int = 12, *lines: Line) -> Any:
    """A stock into which the lines were received on the first day."""
    film = FilmStore(costing, months, lines[0] if lines else None)
    for line in lines:
        film.receive(line, DAY[0])
    return film


def line(area: int, cost: int, roll_id: str | None = None) -> Line:
    return Line(Fraction(area), Fraction(cost), roll_id)


# ---- waste of one cut ----------------------------------------------------------------------------

ROOF = "cut_id|cut_on|film|pulled_length|piece_length|piece_width|finished_length|finished_width"
ROOF_ROLL = """
    invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price
    I1 | 2026-01-02 | F | film | 60 | 600 | 1 | 500"""


def roof(folder: Path, kept_columns: str, kept_cells: str) -> dict[str, Any]:
    """A roof of 62 by 45 in, cut as a piece of 68 by 48 in from a 60 in roll."""
    tables = review(
        folder,
        "2026Q1",
        'length_unit = "in"\narea_unit = "sq ft"\n',
        purchases=ROOF_ROLL,
        cuts=f"{ROOF}{kept_columns}\nC1|2026-01-05|F|68|68|48|62|45{kept_cells}",
    )
    return only(tables["waste_by_film"], film="F")


def test_waste_of_a_roof_whose_side_strip_is_binned(tmp_path: Path) -> None:
    """Common practice, no source: the sizes and the way in which a roof is cut."""
    row = roof(tmp_path, "", "")
    assert row["consumed_area"] * 144 == 68 * 60 == 4080
    assert row["finished_area"] * 144 == 62 * 45 == 2790
    assert row["side_loss_area"] * 144 == 4080 - 68 * 48 == 816
    assert row["handling_margin_area"] * 144 == 3264 - 2790 == 474
    assert round(float(row["side_loss_area"] / row["consumed_area"]), 3) == 0.200
    assert round(float(row["handling_margin_area"] / row["consumed_area"]), 3) == 0.116
    assert round(float(row["waste_pct"]), 1) == 31.6
    assert float(row["waste_cost"]) == pytest.approx(500 / 36000 * (816 + 474), abs=1e-12)


def test_waste_of_a_roof_whose_side_strip_is_kept(tmp_path: Path) -> None:
    """Common practice, no source: the strip of 68 by 12 in goes back on the shelf."""
    row = roof(tmp_path, "|kept_length|kept_width", "|68|12")
    assert row["consumed_area"] * 144 == 3264
    assert row["side_loss_area"] == 0
    assert round(float(row["waste_pct"]), 1) == 14.5


def test_cuts_that_are_not_first_or_not_measured(tmp_path: Path) -> None:
    """A recut is waste as a whole; without finished sizes a first cut is only counted."""
    tables = review(
        tmp_path, "2026Q1",
        purchases="""
            invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price
            I1 | 2026-01-02 | F | film | 1 | 100 | 1 | 500""",
        cuts="""
            cut_id | cut_on | film | pulled_length | finished_length | finished_width | opening_area | reason
            C1 | 2026-01-05 | F | 3 | 2 | 0.9 | 0.3 | first
            C2 | 2026-01-05 | F | 2 | 1 | 1   |     | recut
            C3 | 2026-01-05 | F | 4 |   |     |     | """,
    )  # fmt: skip
    row = only(tables["waste_by_film"], film="F")
    assert (row["cuts"], row["cuts_unmeasured"]) == (3, 1)
    assert row["consumed_area"] == 5
    assert row["finished_area"] == Fraction("1.5")  # 2 x 0.9 less the opening
    assert row["recut_area"] == 2
    assert row["side_loss_area"] is None and row["handling_margin_area"] is None
    assert row["side_and_handling_area"] == 3 - Fraction("1.5") - Fraction("0.3")
    assert row["waste_area"] == Fraction("3.5")
    assert only(tables["film_reconciliation"], film="F")["shop_area"] == 9


# ---- published inventory examples ----------------------------------------------------------------
# OpenStax, Principles of Accounting, Volume 1: Financial Accounting (2019), chapter 10, sections
# 10.2 and 10.3, the company that sells tracking devices: 150 units at 21 on hand, 120 sold at 36,
# 225 bought at 27, 180 sold at 39, 210 bought at 33.

REVENUE = 120 * 36 + 180 * 39


def run_published(costing: str, *pulls: tuple[str | None, int]) -> Any:
    """Cost of goods sold and closing stock: (lot, units) of the two sales."""
    film = store(costing, 12, line(150, 150 * 21, "lot 1"))
    goods_sold = Fraction(0)
    for (lot, units), (units_bought, cost) in zip(pulls, ((225, 27), (210, 33)), strict=True):
        goods_sold += film.pull("jobs", DAY[1], Fraction(units), roll_id=lot).cost
        film.receive(line(units_bought, units_bought * cost, f"lot at {cost}"), DAY[2])
    film.check()
    return goods_sold, film.book_cost()


def test_fifo_of_the_published_example() -> None:
    """Section 10.3, perpetual FIFO: 7,200 sold, 8,955 left, gross margin 4,140."""
    goods_sold, closing = run_published("fifo", (None, 120), (None, 180))
    assert (goods_sold, closing, REVENUE - goods_sold) == (7200, 8955, 4140)


def test_moving_average_of_the_published_example() -> None:
    """Section 10.3, perpetual average: printed, rounded, as 7,253 sold and 8,902 left."""
    goods_sold, closing = run_published("moving-average", (None, 120), (None, 180))
    assert float(goods_sold) == pytest.approx(7252.941176, abs=1e-6)
    assert float(closing) == pytest.approx(8902.058824, abs=1e-6)
    assert float(closing / 285) == pytest.approx(31.2352941176, abs=1e-9)


def test_named_rolls_in_the_published_example() -> None:
    """Sections 10.2 and 10.3, specific identification: 140 of lot 1 and 160 of lot 2 sold."""
    film = store("fifo", 12, line(150, 3150, "1"), line(225, 6075, "2"), line(210, 6930, "3"))
    sold = [
        film.pull("jobs", DAY[1], Fraction(n), roll_id=lot) for n, lot in ((140, "1"), (160, "2"))
    ]
    goods_sold: Any = sum(use.cost for use in sold)
    assert (goods_sold, film.book_cost(), REVENUE - goods_sold) == (7260, 8895, 4080)


# ---- the film store, worked by hand --------------------------------------------------------------


def test_a_shortage_is_repaid_at_the_cost_at_which_it_was_used() -> None:
    film = store("fifo", 12, line(10, 10))
    assert film.pull("jobs", DAY[1], Fraction(15)).cost == 15  # 10 at 1, and 5 short at the last 1
    assert (film.book_area(), film.book_cost()) == (-5, -5)
    film.receive(line(20, 60), DAY[2])  # 5 of the 20 repay: 15 stay, at 60 - 5
    assert (film.book_area(), film.book_cost()) == (15, 55)
    assert film.pull("jobs", DAY[3], Fraction(15)).cost == 55
    film.check()


def test_film_cut_before_any_was_bought_costs_what_the_first_will_cost() -> None:
    to_come = line(100, 200)
    film: Any = FilmStore("fifo", 12, to_come)
    assert film.pull("jobs", DAY[0], Fraction(10)).cost == 20
    film.receive(to_come, DAY[1])
    assert (film.book_area(), film.book_cost()) == (90, 180)


def test_cost_left_on_no_area_goes_to_the_next_receipt() -> None:
    film = store("fifo", 12, line(10, 10))
    film.pull("jobs", DAY[1], Fraction(15))
    film.receive(line(5, 30), DAY[2])  # repays 5 that were used at 5 in all: 25 are left over
    assert (film.book_area(), film.book_cost()) == (0, 25)
    film.receive(line(10, 40), DAY[3])
    assert film.pull("jobs", DAY[4], Fraction(10)).cost == 65


@pytest.mark.parametrize("costing", ["fifo", "moving-average"])
def test_a_credit_after_part_of_the_roll_was_used(costing: str) -> None:
    bought = line(100, 500)
    film = store(costing, 12, bought)
    use = film.pull("jobs", DAY[1], Fraction(40), kept=Fraction(10))
    assert use.cost == 150  # 200 issued, 50 of them on the shelf
    film.credit(bought, Fraction(50), DAY[5])
    assert use.cost == 130  # 40 of 100 drawn: 20 of the credit, all on what was consumed
    assert film.book_cost() == 300 - 30 + 50
    assert (DAY[5], "jobs", 0, -20) in film.moves
    film.check()


def test_a_part_of_a_roll_goes_back_and_the_rest_keeps_the_difference() -> None:
    film = store("fifo", 12, line(100, 400, "A"), line(100, 500, "B"))
    film.give_back(Fraction(20), Fraction(90), "B", DAY[1])
    assert (film.book_area(), film.book_cost()) == (180, 810)
    assert film.pull("jobs", DAY[2], Fraction(80), roll_id="B").cost == 410
    film.give_back(Fraction(100), Fraction(380), None, DAY[3])  # the newest that is left: A
    assert (film.book_area(), film.book_cost()) == (0, 0)
    assert film.moves[-1] == (DAY[3], "shop", 0, 20)
    film.check()


def test_a_count_finds_less_and_a_later_one_more() -> None:
    film = store("fifo", 12, line(100, 500))
    film.count(Fraction(90), DAY[1])
    film.count(Fraction(96), DAY[2])
    assert film.moves[1:] == [(DAY[1], "unexplained", 10, 50), (DAY[2], "unexplained", -6, -30)]
    assert (film.book_area(), film.book_cost()) == (96, 480)


def test_a_count_takes_rolls_first_and_then_offcuts() -> None:
    film = store("fifo", 12, line(10, 50))
    film.pull("jobs", DAY[1], Fraction(8), kept=Fraction(4))
    film.count(Fraction(1), DAY[2])  # 2 on the roll and 4 on the shelf: 5 are missing
    assert film.moves[-1] == (DAY[2], "unexplained", 5, 25)
    assert [offcut.area for offcut in film.offcuts] == [1]


def test_an_offcut_of_the_same_roll_goes_before_an_older_one() -> None:
    film = store("fifo", 12, line(10, 10, "A"), line(10, 90, "B"))
    film.pull("jobs", DAY[1], Fraction(2), kept=Fraction(1), roll_id="A")
    film.pull("jobs", DAY[2], Fraction(2), kept=Fraction(1), roll_id="B")
    use = film.pull("jobs", DAY[3], Fraction(3, 2), roll_id="B", from_offcuts=True)
    assert use.cost == 9 + Fraction(1, 2)


def test_moving_average_costs_a_named_roll_at_the_roll() -> None:
    film = store("moving-average", 12, line(100, 500, "A"), line(100, 700, "B"))
    assert film.pull("jobs", DAY[1], Fraction(10), roll_id="B").cost == 70
    assert float(film.pull("jobs", DAY[2], Fraction(19)).cost) == pytest.approx(19 * 1130 / 190)
    film.check()


def test_an_offcut_is_used_and_the_rest_of_it_written_off(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs="""
            job_id | finished_on | service | make | model | film | quoted_hours | quoted_price
            J1 | 2026-01-12 | roof | Quillon | Heron | F | 1 | 100
            J2 | 2026-01-20 | roof | Quillon | Otter | F | 1 | 100""",
        purchases="""
            invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price | roll_id
            I1 | 2026-01-02 | F | film | 1 | 100 | 1 | 1000 | R1""",
        cuts="""
            cut_id | cut_on | job_id | film | roll_id | source | pulled_length | kept_length | kept_width
            C1 | 2026-01-10 | J1 | F | R1 |        | 2   | 1 | 0.5
            C2 | 2026-01-20 | J2 | F | R1 | offcut | 0.3 |   | """,
    )  # fmt: skip
    assert [row["film_cost"] for row in tables["job_costs"]] == [15, 3]
    row = only(tables["film_reconciliation"], film="F")
    assert (row["jobs_area"], row["jobs_cost"]) == (Fraction("1.8"), 18)
    # Kept on 10 January for two months: what is left of it leaves on 10 March.
    assert (row["shop_area"], row["shop_cost"]) == (Fraction("0.2"), 2)
    assert (row["closing_area"], row["closing_cost"]) == (98, 980)


# ---- small parts ---------------------------------------------------------------------------------


def test_cents_are_shared_by_largest_remainder() -> None:
    shares = share_out_cents(Fraction("0.10"), [Fraction(1)] * 3)
    assert shares == [Fraction("0.04"), Fraction("0.03"), Fraction("0.03")]
    assert share_out_cents(Fraction("0.05"), [Fraction(0)] * 2) == [
        Fraction("0.03"),
        Fraction("0.02"),
    ]


def test_months_are_calendar_months() -> None:
    assert add_months(date(2026, 1, 31), 1) == date(2026, 2, 28)
    assert add_months(date(2025, 11, 15), 3) == date(2026, 2, 15)


def test_a_fiscal_year_is_named_after_its_end() -> None:
    assert (Quarter("2026Q1", 7).first, Quarter("2026Q1", 7).end) == (
        date(2025, 7, 1),
        date(2025, 9, 30),
    )
    assert Quarter("2026Q3", 1).first == date(2026, 7, 1)


@pytest.mark.parametrize(("found", "n"), [(3, 20), (1, 29), (15, 148)])
def test_wilson_ends_are_where_the_score_test_is_at_its_limit(found: int, n: int) -> None:
    """Wilson 1927, J. Am. Stat. Assoc. 22:209: (share - p)^2 = z^2 p (1 - p) / n at both ends."""
    low, high = wilson(found, n)
    assert low is not None and high is not None and low < 100 * found / n < high
    for p in (low / 100, high / 100):
        assert (found / n - p) ** 2 == pytest.approx(Z_90**2 * p * (1 - p) / n)


def test_wilson_of_none_found_and_of_none_asked() -> None:
    low, high = wilson(0, 20)
    assert low == pytest.approx(0, abs=1e-12)
    assert high == pytest.approx(100 * Z_90**2 / (20 + Z_90**2))
    assert wilson(0, 0) == (None, None)
