"""The slow implementation of packing, offcuts, counts and flows of film, worked by hand."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from datetime import date
from fractions import Fraction
from itertools import product
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from . import review_tables
from .avoidable import savings
from .cuts import Pull
from .examples import PLAIN, only, review
from .film import FilmStore, Line
from .layout import MOST_PIECES, shortest_length
from .random_shop import write_random_shop
from .reading import Quarter, read_shop
from .tables import Costing
from .waste import side_loss

SIDE = st.integers(1, 4)
PIECES = st.lists(st.tuples(SIDE, SIDE), min_size=1, max_size=4)
ONE_ROLL = """
    invoice | received_on | item | kind | roll_width | roll_length | quantity | unit_price
    I1 | 2026-01-02 | F | film | 1 | 100 | 1 | 1000"""
TWO_JOBS = """
    job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_price
    J1 | 2026-01-12 | roof | Quillon | Heron | minivan     | F | 1 | 100
    J2 | 2026-01-12 | hood | Quillon | Otter | compact car | F | 1 | 100"""


def whole(*pieces: tuple[int, int]) -> list[tuple[Fraction, Fraction]]:
    return [(Fraction(along), Fraction(across)) for along, across in pieces]


# ---- the shortest packing ------------------------------------------------------------------------


def test_pieces_go_beside_each_other_and_turn_where_they_may() -> None:
    roll = Fraction(60)
    assert shortest_length(whole((68, 30), (50, 30)), roll, may_turn=False) == 68
    assert shortest_length(whole((68, 31), (50, 30)), roll, may_turn=False) == 118
    assert shortest_length(whole((58, 31)), roll, may_turn=True) == 31
    assert shortest_length(whole((58, 31)), roll, may_turn=False) == 58
    # Two small ones above each other, beside a long one.
    assert shortest_length(whole((30, 20), (68, 40), (38, 20)), roll, may_turn=False) == 68
    assert shortest_length([], roll, may_turn=True) == 0


def test_a_pinwheel_that_no_straight_cut_parts() -> None:
    """Four pieces of 2 by 1 around one of 1 by 1 fill 3 by 3, and no knife parts them right across."""
    wheel = whole((2, 1), (1, 2), (2, 1), (1, 2), (1, 1))
    assert shortest_length(wheel, Fraction(3), may_turn=False) == 3


def test_a_hair_too_wide_and_the_room_the_knife_needs() -> None:
    third = Fraction(1, 3)
    thirds = [(Fraction(1), third)] * 3
    assert shortest_length(thirds, Fraction(1), may_turn=False) == 1
    hair = [(Fraction(1), third + Fraction(1, 10**6))] * 3
    assert shortest_length(hair, Fraction(1), may_turn=False) == 2
    tenth = Fraction(1, 10)
    assert shortest_length(thirds, Fraction(1), may_turn=False, gap=tenth) == 2 + tenth
    assert shortest_length(thirds[:2], Fraction(1), may_turn=False, gap=tenth) == 1
    assert shortest_length(thirds, 1 + 2 * tenth, may_turn=False, gap=tenth) == 1


def test_too_many_pieces_and_a_piece_wider_than_the_roll_are_refused() -> None:
    with pytest.raises(ValueError, match="too many"):
        shortest_length(whole(*[(1, 1)] * (MOST_PIECES + 1)), Fraction(9), may_turn=True)
    with pytest.raises(ValueError, match="wider than the roll"):
        shortest_length(whole((2, 4)), Fraction(3), may_turn=False)
    assert shortest_length(whole((2, 4)), Fraction(3), may_turn=True) == 4


@settings(max_examples=120, deadline=None)
@given(pieces=PIECES, width=st.integers(4, 6), may_turn=st.booleans())
def test_no_place_on_the_grid_is_better(
    pieces: list[tuple[int, int]], width: int, may_turn: bool
) -> None:
    """Whole sizes have a shortest packing on the grid: try every square of it for every piece."""
    found = shortest_length(whole(*pieces), Fraction(width), may_turn)
    assert found.denominator == 1
    assert goes_on_grid(pieces, int(found), width, may_turn, frozenset())
    assert not goes_on_grid(pieces, int(found) - 1, width, may_turn, frozenset())


def goes_on_grid(
    pieces: list[tuple[int, int]],
    length: int,
    width: int,
    may_turn: bool,
    taken: frozenset[tuple[int, int]],
) -> bool:
    if not pieces:
        return True
    first, rest = pieces[0], pieces[1:]
    for along, across in {first, first[::-1]} if may_turn else {first}:
        for x, y in product(range(length - along + 1), range(width - across + 1)):
            cells = {(x + i, y + j) for i in range(along) for j in range(across)}
            if not cells & taken and goes_on_grid(rest, length, width, may_turn, taken | cells):
                return True
    return False


# ---- avoidable side loss -------------------------------------------------------------------------

CUTS = "cut_id|cut_on|job_id|film|source|pulled_length|pieces|piece_length|piece_width|finished_length|finished_width|kept_length|kept_width|reason|panel"


def waste_of_cuts(folder: Path, *rows: str, toml: str = PLAIN) -> dict[str, Any]:
    return review(
        folder, "2026Q1", toml,
        jobs=TWO_JOBS, purchases=ONE_ROLL, cuts="\n".join([CUTS, *rows]),
    )  # fmt: skip


def test_two_jobs_that_could_have_shared_a_pull(tmp_path: Path) -> None:
    """Half a roll's width each, 2 and 1.5 long: one pull of 2 had held both, 1.5 less than 3.5.

    Shared by side losses of 1 and 0.75; by itself each job needed what it pulled.
    """
    tables = waste_of_cuts(
        tmp_path,
        "C1|2026-01-10|J1|F|roll|2  | |2  |0.5|1.9|0.4| | | |roof",
        "C2|2026-01-10|J2|F|    |1.5| |1.5|0.5|1.4|0.4| | | |hood",
    )
    (row,) = tables["waste_by_width"]
    assert (row["roll_width"], row["cuts"], row["side_loss_area"]) == (1, 2, Fraction("1.75"))
    assert (row["avoidable_area"], row["avoidable_in_job_area"]) == (Fraction("1.5"), 0)
    assert row["avoidable_cost"] == 15
    roof = only(tables["waste_by_service"], service="roof")
    assert roof["avoidable_area"] == Fraction(3, 2) * 4 / 7
    assert only(tables["waste_by_panel"], panel="hood")["avoidable_area"] == Fraction(3, 2) * 3 / 7
    assert only(tables["waste_by_film"], film="F")["avoidable_cost"] == 15


def test_one_job_another_day_a_kept_strip_and_a_piece_to_turn(tmp_path: Path) -> None:
    tables = waste_of_cuts(
        tmp_path,
        # 0.9 by 0.5, turned: 0.5 of the roll instead of 0.9, with or without the job's other piece.
        "C1|2026-01-10|J1|F|roll|0.9| |0.9|0.5|0.8|0.4| | | |a",
        "C2|2026-01-11|J1|F|roll|2  | |2  |0.5|1.9|0.4|2|0.5| |b",
        "C3|2026-01-11|J1|F|roll|2  | |2  |0.5|1.9|0.4| | | |c",
    )
    panel = {row["panel"]: row for row in tables["waste_by_panel"]}
    assert panel["a"]["avoidable_area"] == panel["a"]["avoidable_in_job_area"] == Fraction("0.4")
    # Two halves pulled whole, and one half of it kept: 4 - 2 - 1, all by the side loss of c.
    assert (panel["b"]["side_loss_area"], panel["b"]["avoidable_area"]) == (0, 0)
    assert (panel["c"]["avoidable_area"], panel["c"]["avoidable_in_job_area"]) == (1, 1)
    kept_way = waste_of_cuts(
        tmp_path / "grain",
        "C1|2026-01-10|J1|F|roll|0.9| |0.9|0.5|0.8|0.4| | | |a",
        toml=PLAIN.replace("[film]", '[film]\ndirectional = ["F"]'),
    )
    assert only(kept_way["waste_by_panel"], panel="a")["avoidable_area"] == 0


def test_cuts_that_take_no_part(tmp_path: Path) -> None:
    """Recuts, offcuts, the shop's own cuts and a piece too wide have 0; without sizes: blank."""
    tables = waste_of_cuts(
        tmp_path,
        "C0|2026-01-09||F|roll|2||||||1|1||",
        "C1|2026-01-10|J1|F|roll   |2||2|0.5|1.9|0.4|||recut|recut",
        "C2|2026-01-10|J1|F|offcut |1||1|0.5|0.9|0.4|||first|offcut",
        "C3|2026-01-10|J1|F|roll   |2||2|1.1|1.9|0.4|||first|too wide",
        "C4|2026-01-10|J1|F|roll   |2||1|0.5|   |   |||first|not finished",
        "C5|2026-01-10|J1|F|roll   |1||1|0.5|0.9|0.4|||first|half",
        "C6|2026-01-10|J1|F|roll   |1|| |   |0.9|0.4|||first|no piece",
    )
    panel = {row["panel"]: row for row in tables["waste_by_panel"]}
    for name in ("recut", "offcut", "too wide"):
        assert (panel[name]["avoidable_area"], panel[name]["avoidable_cost"]) == (0, 0), name
    assert panel["not finished"]["avoidable_area"] is None
    # With the one that is not finished: 3 pulled for two halves of 1; 2 by side losses 1.5 and 0.5.
    assert panel["half"]["avoidable_area"] == Fraction("0.5")
    assert panel["no piece"]["avoidable_area"] is None
    offcuts, off_roll = tables["waste_by_width"][1], tables["waste_by_width"][0]
    assert (offcuts["roll_width"], offcuts["cuts"], offcuts["avoidable_area"]) == (None, 1, 0)
    assert (off_roll["cuts"], off_roll["avoidable_area"]) == (5, None)
    assert len(tables["waste_by_film"]) == 1


# ---- offcuts and counts --------------------------------------------------------------------------


def test_the_shelf_of_offcuts_from_quarter_to_quarter(tmp_path: Path) -> None:
    """Kept for two months: one is used in part and written off, one lies there whole."""
    tables: dict[str, Any] = {}
    for quarter in ("2025Q4", "2026Q1"):
        tables[quarter] = review(
            tmp_path, quarter,
            jobs=TWO_JOBS,
            purchases=ONE_ROLL.replace("2026-01-02", "2025-12-02"),
            cuts="""
                cut_id | cut_on | job_id | film | roll_id | source | pulled_length | kept_length | kept_width
                C1 | 2025-12-10 | J1 | F |    |        | 2   | 1   | 0.5
                C2 | 2026-01-20 | J2 | F |    | offcut | 0.3 |     |
                C3 | 2026-02-20 | J2 | F | R7 | roll   | 2   | 1.5 | 0.4""",
        )  # fmt: skip
    (row,) = tables["2025Q4"]["offcut_shelf"]
    assert (row["opening_area"], row["kept_area"], row["kept_cost"]) == (0, Fraction("0.5"), 5)
    assert (row["closing_offcuts"], row["mean_age_days"], row["oldest_days"]) == (1, 21, 21)
    (row,) = tables["2026Q1"]["offcut_shelf"]
    assert [row[f"{flow}_area"] for flow in ("opening", "kept", "used", "written_off", "missing")] == [
        Fraction("0.5"), Fraction("0.6"), Fraction("0.3"), Fraction("0.2"), 0,
    ]  # fmt: skip
    assert [row[f"{flow}_cost"] for flow in ("used", "written_off", "closing")] == [3, 2, 6]
    assert (row["closing_offcuts"], row["mean_age_days"]) == (1, 8 + 31)
    assert tables["2026Q1"]["offcuts_on_shelf"] == [
        {
            "film": "F",
            "cut_id": "C3",
            "kept_on": date(2026, 2, 20),
            "roll_id": "R7",
            "kept_length": Fraction("1.5"),
            "kept_width": Fraction("0.4"),
            "area": Fraction("0.6"),
            "cost": 6,
            "age_days": 39,
            "leaves_on": date(2026, 4, 20),
        }
    ]


def test_an_offcut_of_which_part_was_used_has_no_sizes(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        purchases=ONE_ROLL,
        cuts="""
            cut_id | cut_on | film | source | pulled_length | kept_length | kept_width
            C1 | 2026-03-10 | F |        | 2   | 1 | 0.5
            C2 | 2026-03-11 | F | offcut | 0.2 |   |
            C3 | 2026-03-21 | F |        | 2   | 1 | 0.1""",
    )  # fmt: skip
    first, second = tables["offcuts_on_shelf"]
    assert (first["area"], first["kept_length"], first["kept_width"]) == (
        Fraction("0.3"),
        None,
        None,
    )
    assert (first["cost"], second["kept_width"]) == (3, Fraction("0.1"))
    (row,) = tables["offcut_shelf"]
    assert row["mean_age_days"] == (3 * 21 + 1 * 10) / Fraction(4)
    assert row["oldest_days"] == 21


def test_a_count_for_which_the_rolls_do_not_hold_what_is_missing() -> None:
    film = FilmStore("fifo", 12, None)
    film.receive(Line(Fraction(10), Fraction(50)), date(2026, 1, 1))
    film.pull("jobs", date(2026, 1, 2), Fraction(8), kept=Fraction(4))
    film.count(Fraction(1), date(2026, 1, 3))
    (count,) = film.counts
    assert (count.book, count.counted, count.missing, count.cost) == (6, 1, 5, 25)
    (offcut,) = film.offcuts_ever
    assert offcut.leaving == [(date(2026, 1, 3), "missing", 3, 15)]


def test_counts_stand_beside_what_was_cut_since_the_one_before(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q2",
        purchases=ONE_ROLL,
        cuts="""
            cut_id | cut_on | film | pulled_length | kept_length | kept_width
            C1 | 2026-01-10 | F | 5  | 1 | 1
            C2 | 2026-01-31 | F | 16 |   |
            C3 | 2026-03-31 | F | 9  |   | """,
        stock_counts="""
            counted_on | film | area_on_hand | length_on_hand | roll_width
            2026-01-31 | F | 70 |   |
            2026-01-31 | F |    | 8 | 1
            2026-03-31 | F | 70 |   |
            2026-04-15 | F | 60 |   |
            2026-07-01 | F | 50 |   | """,
    )  # fmt: skip
    first, second, third = tables["film_counts"]
    assert (first["counted_before"], first["book_area"], first["counted_area"]) == (None, 80, 78)
    assert (first["unexplained_area"], first["unexplained_cost"]) == (2, 20)
    assert (first["cut_area"], first["unexplained_pct"]) == (20, 10)
    # Since then 9 were cut and an offcut of 1 was written off: 68 in the books and 70 there.
    assert (second["book_area"], second["unexplained_area"], second["cut_area"]) == (68, -2, 10)
    assert (second["unexplained_cost"], second["unexplained_pct"]) == (-20, -20)
    assert second["counted_before"] == date(2026, 1, 31)
    assert (third["unexplained_area"], third["cut_area"], third["unexplained_pct"]) == (10, 0, None)


# ---- flows ---------------------------------------------------------------------------------------


def test_flows_of_a_quarter_with_a_credit_after_the_cuts(tmp_path: Path) -> None:
    tables = review(
        tmp_path, "2026Q1",
        jobs=TWO_JOBS,
        purchases=ONE_ROLL + "\nI1 | 2026-02-02 | F | credit | | | 1 | 100",
        cuts="""
            cut_id | cut_on | job_id | film | pulled_length | piece_length | piece_width | finished_length | finished_width | opening_area | reason
            C1 | 2026-01-10 | J1 | F | 5 | 4 | 1   | 3 | 0.5 | 0.5 |
            C2 | 2026-01-11 | J1 | F | 2 |   |     | 1 | 1   |     |
            C3 | 2026-01-12 | J2 | F | 3 |   |     |   |     |     |
            C4 | 2026-01-12 | J2 | F | 1 |   |     |   |     |     | end-of-roll
            C5 | 2026-01-12 |    | F | 9 |   |     |   |     |     | test""",
        stock_counts="counted_on|film|area_on_hand\n2026-01-31|F|81",
    )  # fmt: skip
    flows = {
        (row["flows_from"], row["flows_to"]): (row["area"], row["cost"])
        for row in tables["film_flows"]
    }
    # Of the credit of 100, a hundredth falls to each unit of area, in stock or used.
    assert flows == {
        ("purchased", "film"): (100, 900),
        ("film", "jobs"): (11, 99),
        ("film", "shop use and offcuts written off"): (9, 81),
        ("film", "missing at the counts"): (-1, -10),
        ("film", "closing stock"): (81, 730),
        ("jobs", "finished area"): (2, 20),
        ("jobs", "side loss"): (1, 10),
        ("jobs", "handling margin"): (Fraction("2.5"), 25),
        ("jobs", "opening"): (Fraction("0.5"), 5),
        ("jobs", "side loss and handling margin"): (1, 10),
        ("jobs", "not measured"): (3, 30),
        ("jobs", "end of roll"): (1, 10),
        ("jobs", "credits on film already used"): (0, -11),
    }


# ---- laws that hold in every shop ----------------------------------------------------------------


@pytest.mark.parametrize("seed", range(12))
def test_film_of_every_random_shop_adds_up(tmp_path: Path, seed: int) -> None:
    closing: dict[str, Any] = {}
    for quarter in write_random_shop(tmp_path, seed):
        tables = review_tables(tmp_path, quarter)
        check_shelf(tables, closing)
        closing = {row["film"]: row for row in tables["offcut_shelf"]}
        check_flows(tables)
        check_savings(tmp_path, quarter, tables)


def check_shelf(tables: dict[str, Any], before: dict[str, Any]) -> None:
    """A quarter opens with what the one before left, and its offcuts add to what it leaves."""
    for row in tables["offcut_shelf"]:
        came = before.get(row["film"], {"closing_area": 0, "closing_cost": 0})
        assert row["opening_area"] == came["closing_area"]
        assert row["opening_cost"] == came["closing_cost"]
        left = [each for each in tables["offcuts_on_shelf"] if each["film"] == row["film"]]
        assert row["closing_area"] == sum(each["area"] for each in left)
        assert row["closing_offcuts"] == len(left)
        if None not in [row["closing_cost"], *(each["cost"] for each in left)]:
            assert row["closing_cost"] == sum(each["cost"] for each in left)


def check_flows(tables: dict[str, Any]) -> None:
    """What flows into the film and into the jobs flows out of them."""
    for point in ("film", "jobs"):
        for unit in ("area", "cost"):
            into = [row[unit] for row in tables["film_flows"] if row["flows_to"] == point]
            out = [row[unit] for row in tables["film_flows"] if row["flows_from"] == point]
            assert None in into + out or sum(into) == sum(out)


def check_savings(folder: Path, quarter: str, tables: dict[str, Any]) -> None:
    """No cut could save more than its side loss; each way of adding them up gives one sum."""
    shop = read_shop(folder)
    costing = Costing(shop, Quarter(quarter, shop.settings.fiscal_year_starts))
    for pull, saving in costing.savings.items():
        loss = side_loss(pull)
        for saved in (saving.in_day, saving.in_job):
            assert saved == 0 or loss is None or 0 <= saved <= max(loss, 0)
    sums = {
        tuple(
            None if None in cells else sum(cells)
            for column in ("avoidable_area", "avoidable_in_job_area", "avoidable_cost")
            for cells in [[row[column] for row in tables[f"waste_by_{by}"] if row["cuts"] > row["cuts_unmeasured"]]]
        )
        for by in ("class", "service", "panel", "width")
    }  # fmt: skip
    assert len(sums) == 1


def test_random_shops_have_days_worth_packing(tmp_path: Path) -> None:
    """Days of two to four pieces in one job and in two, kept strips, films with a direction."""
    seen = set()
    for seed in range(6):
        write_random_shop(tmp_path, seed)
        shop = read_shop(tmp_path)
        costing = Costing(shop, Quarter("2026Q1", 1), packed=False)
        days: dict[Any, list[Pull]] = {}
        for pull in costing.pulls:
            if pull.whose == "jobs" and pull.reason == "first" and pull.piece_sides:
                days.setdefault((pull.film, pull.width, pull.on), []).append(pull)
        for pulls in days.values():
            pieces, jobs = sum(pull.pieces for pull in pulls), {pull.job_id for pull in pulls}
            seen |= {("pieces", pieces), ("jobs", len(jobs))}
            if pieces > 1:
                seen |= {("kept", any(pull.kept > 0 for pull in pulls))}
                seen |= {("direction", pulls[0].film in shop.settings.directional)}
                found = savings(pulls, shop.settings).values()
                seen |= {("saved", any(saving.in_day for saving in found))}
    assert seen >= {("pieces", n) for n in (1, 2, 3, 4)} | {("jobs", 1), ("jobs", 2)}
    assert seen >= {(what, yes) for what in ("kept", "direction", "saved") for yes in (True, False)}
    assert max(n for what, n in seen if what == "pieces") <= MOST_PIECES
