"""The price list of cut film, worked out by hand; what holds of every price; the demo again."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.costing.jobs import Costing, cost_records
from analysis.counter_tables import CUT_FILM_PRICES
from analysis.errors import Unavailable
from analysis.pricing.counter_review import sale_costs as learnt_costs
from analysis.pricing.cut_film_prices import (
    KEEP_STRIP,
    NO_STRIP,
    WHOLE_WIDTH,
    StripRule,
    cut_film_prices,
    lowest_per_length,
    strip_rule,
)
from analysis.pricing.sale_costs import (
    FILM_UNKNOWN,
    INSTALLS_UNKNOWN,
    NO_PRICE,
    STAFF_UNKNOWN,
    SaleCosts,
    counter_prices,
)
from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.settings import Counter, Fees, Settings
from tests.pricing.made_counter import made_model, made_sales
from tests.pricing.made_cut_film import SALE_COLUMNS, costed, sale_costs, sales_to

DEMO = Path(__file__).parents[2] / "data_demo"
DAY = pd.Timestamp("2026-06-30")
FOOT, INCH = 0.3048, 0.0254
METRES = [0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0]
# Of a price 0.8 is net of tax, 0.76 is left after the card, and 0.44 after 40 % of the net price.
TOML = """
length_unit = "m"
area_unit = "m2"
prices_include_tax = true
tax_rate = 0.25
[labour]
default_wage = 10
[fees]
card_percent = 4
card_fixed = 0.5
[counter]
margin = 0.4
round_to = 1
"""
JOBS = """
    job_id | service | make | model | quoted_hours | quoted_price
    J1 | roof | Quillon | Heron | 2 | 300"""
PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |unit_price
    A | 2023-01-05 | S | F | film | 1.8 | 50 | 1 | 900
    B | 2025-01-05 | S | F | film | 1.5 | 20 | 1 | 360
    C | 2025-02-05 | S | F | film | 1.0 | 20 | 1 | 260
    D | 2025-02-05 | S | G | film | 1.2 | 25 | 1 | 300
    E | 2026-07-05 | S | F | film | 2.0 | 20 | 1 | 1"""
# Five offcuts, 4.0 m², have their year behind them, that of June since the last day; four are used
# whole: 3.0. Of that of December, 4.2 m², 0.7 are used: it is too young to tell.
CUTS = """
    cut_id | cut_on | film | source | pulled_length | pulled_width | kept_length | kept_width
    1 | 2024-01-10 | F | roll | 2 | 1.5 | 2 | 0.5
    2 | 2025-05-02 | F | roll | 2 | 1.5 | 1.0 | 0.4
    3 | 2025-05-03 | F | roll | 2 | 1.5 | 1.0 | 0.5
    4 | 2025-05-04 | F | roll | 2 | 1.5 | 1.8 | 0.5
    5 | 2025-06-30 | F | roll | 2 | 1.5 | 2.0 | 0.6
    6 | 2025-09-01 | F | offcut | 1.0 | 0.4 | |
    7 | 2025-09-02 | F | offcut | 1.0 | 0.5 | |
    8 | 2025-09-03 | F | offcut | 1.8 | 0.5 | |
    9 | 2025-09-04 | F | offcut | 2.0 | 0.6 | |
    10 | 2025-12-01 | F | roll | 6 | 1.5 | 6 | 0.7
    11 | 2026-02-06 | F | offcut | 1.0 | 0.7 | |"""
# F: 20, 22, 24, 26 and 30 a square metre of the year, all 2 m of 1.5; five narrow ones before.
SALES = (
    SALE_COLUMNS
    + """
    1 | 2026-01-01 | F | 2 | 1.5 | 60 | roof
    2 | 2026-02-01 | F | 2 | 1.5 | 66 | roof
    3 | 2026-03-01 | F | 2 | 1.5 | 72 | roof
    4 | 2026-04-01 | F | 2 | 1.5 | 78 | roof
    5 | 2026-05-01 | F | 2 | 1.5 | 90 | roof
    6 | 2025-03-01 | F | 1 | 0.9 | 90 | roof
    7 | 2025-03-02 | F | 1 | 0.9 | 90 | roof
    8 | 2025-03-03 | F | 1 | 0.9 | 90 | roof
    9 | 2025-03-04 | F | 1 | 0.9 | 90 | roof
    10 | 2025-03-05 | F | 1 | 0.9 | 90 | roof
    11 | 2025-03-05 | G | 4.2 | 1.2 | 90 | hood
    12 | 2025-03-06 | G | 1.8 | 0.3 | 90 | hood
    13 | 2026-07-02 | H | 1 | 1 | 90 | hood"""
)
COSTS = sale_costs(3, 2, films={"G": (4, -1)})


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Costing, Records]:
    return shop_of(tmp_path_factory.mktemp("cut_film"))


def shop_of(folder: Path, toml: str = TOML, **more: str) -> tuple[Costing, Records]:
    tables = {"jobs": JOBS, "purchases": PURCHASES, "cuts": CUTS, "counter_sales": SALES} | more
    return costed(folder, toml, DAY, **tables)


def prices_of(shop: tuple[Costing, Records], costs: SaleCosts = COSTS) -> pd.DataFrame:
    costing, records = shop
    found = cut_film_prices(costing, records, DAY, sales_to(records, DAY), costs)
    assert isinstance(found, pd.DataFrame)
    assert found.columns.tolist() == CUT_FILM_PRICES.inside_names
    assert not found.duplicated(CUT_FILM_PRICES.keys).any()
    return found


def rule_of(shop: tuple[Costing, Records], day: str = "2026-06-30") -> StripRule:
    costing, records = shop
    return strip_rule(costing, records.settings, pd.Timestamp(day))


def row_of(found: pd.DataFrame, film: str, width: float, length: float) -> dict[Any, Any]:
    at = (found["film"] == film) & np.isclose(found["width_m"], width)
    (row,) = found[at & np.isclose(found["length_m"], length)].to_dict("records")
    return row


# --- widths and lengths --------------------------------------------------------------------------


def test_films_widths_and_lengths_of_the_list(shop: tuple[Costing, Records]) -> None:
    """Rolls of 24 months, half and a third of the widest, and 0.9, sold five times; 0.3 only once.

    H was sold later; F is bought 2.0 wide later. 4.2 m of G was the longest: 4.5.
    """
    found = prices_of(shop)
    widths = {film: sorted(set(rows["width_m"])) for film, rows in found.groupby("film")}
    assert widths == {
        "F": pytest.approx([0.5, 0.75, 0.9, 1.0, 1.5]),
        "G": pytest.approx([0.4, 0.6, 1.2]),
    }
    lengths = {film: sorted(set(rows["length_m"])) for film, rows in found.groupby("film")}
    assert lengths == {"F": METRES, "G": [*METRES, 4.5]}
    assert len(found) == 5 * 7 + 3 * 8
    assert found.equals(found.sort_values(CUT_FILM_PRICES.keys, ignore_index=True))


@pytest.mark.parametrize(
    ("unit", "longest", "expected"),
    [
        ("in", "120", [1, 2, 3, 4, 5, 6, 8, 10]),
        ("ft", "10", [1, 2, 3, 4, 5, 6, 8, 10]),
        ("yd", "3.5", [1, 2, 3, 4, 5, 6, 8, 10, 11]),
    ],
)
def test_where_lengths_are_in_feet(
    unit: str, longest: str, expected: list[int], tmp_path: Path
) -> None:
    toml = TOML.replace('length_unit = "m"', f'length_unit = "{unit}"')
    sales = f"{SALE_COLUMNS}\n 1 | 2026-01-01 | F | {longest} | 0.5 m | 60 | roof"
    found = prices_of(shop_of(tmp_path, toml, cuts="cut_id | cut_on", counter_sales=sales))
    np.testing.assert_allclose(found["length_m"].unique(), np.array(expected) * FOOT)


@pytest.mark.parametrize(
    ("unit", "roll", "half", "third"),
    [
        ("m", "1.52", 0.76, 0.50),
        ("m", "1.53", 0.76, 0.51),
        ("cm", "152.6", 0.76, 0.50),
        ("in", "60", 30 * INCH, 20 * INCH),
        ("in", "61", 30 * INCH, 20 * INCH),
        ("ft", "5.1", 30 * INCH, 20 * INCH),
    ],
)
def test_half_and_a_third_are_what_a_tape_shows(
    unit: str, roll: str, half: float, third: float, tmp_path: Path
) -> None:
    """Whole centimetres or inches, never more than half and a third of the roll."""
    toml = TOML.replace('length_unit = "m"', f'length_unit = "{unit}"')
    sales = f"{SALE_COLUMNS}\n 1 | 2026-01-01 | F | 1 m | 0.2 m | 60 | roof"
    bought = PURCHASES.splitlines()[1] + f"\n A|2025-02-05|S|F|film|{roll}|25 m|1|300"
    shop = shop_of(tmp_path, toml, cuts="cut_id | cut_on", counter_sales=sales, purchases=bought)
    widths = sorted(set(prices_of(shop)["width_m"]))
    assert len(widths) == 3
    assert widths[:2] == pytest.approx([third, half], abs=1e-9)


def test_widths_of_the_same_millimetre_are_one(tmp_path: Path) -> None:
    """0.7502 was sold five times, and half of 1.5 is 0.75; 0.7512 is another width."""
    lines = [
        f"{number} | 2026-01-01 | F | 1 | {width} | 60 | roof"
        for number, width in enumerate([0.7502] * 5 + [0.7512] * 5)
    ]
    found = prices_of(shop_of(tmp_path, counter_sales="\n".join([SALE_COLUMNS, *lines])))
    assert sorted(set(found["width_m"])) == pytest.approx([0.5, 0.75, 0.7512, 1.0, 1.5])


# --- film and strip ------------------------------------------------------------------------------


def test_the_strip_rule_is_learnt_from_the_shelf(shop: tuple[Costing, Records]) -> None:
    """10 % quantile of 0.4, 0.5, 0.5, 0.6, 0.7: 0.44. Used 3.0 m² of the five old ones, of 4.0."""
    rule = rule_of(shop)
    assert rule.narrowest_m == pytest.approx(0.44)
    assert rule.used_share == pytest.approx(0.75)
    # Before the last of the five uses: four are too few.
    assert np.isnan(rule_of(shop, "2026-02-05").narrowest_m)


def test_with_four_offcuts_whose_life_is_over_no_strip_is_kept(
    shop: tuple[Costing, Records],
) -> None:
    """A day before the fifth's life is over. Cuts from offcuts are five, and 0.7 is wide enough."""
    rule = rule_of(shop, "2026-06-29")
    assert rule.narrowest_m == pytest.approx(0.44)
    assert np.isnan(rule.used_share)
    assert not rule.keeps(0.7)
    assert rule_of(shop).keeps(0.7)


def test_a_younger_offcut_does_not_count(shop: tuple[Costing, Records], tmp_path: Path) -> None:
    """That of December may be used whole or hardly: the share stays.

    With a life of six months it is old enough: 0.7 of its 4.2 m² were used, and 3.5 written off.
    """
    whole = CUTS.replace("offcut | 1.0 | 0.7", "offcut | 6.0 | 0.7")
    assert whole != CUTS
    used_whole = shop_of(tmp_path / "whole", cuts=whole)
    last = used_whole[0].shelf.offcuts.iloc[-1]
    assert (last["day"], last["what"]) == (pd.Timestamp("2026-02-06"), "used")
    assert last["area_m2"] == pytest.approx(4.2)
    assert rule_of(used_whole).used_share == rule_of(shop).used_share == pytest.approx(0.75)
    short = shop_of(tmp_path / "short", TOML + "[film]\noffcut_life_months = 6\n")
    assert rule_of(short).used_share == pytest.approx((3.0 + 0.7) / (4.0 + 4.2))


@pytest.mark.parametrize(
    ("width", "roll", "strip", "paid", "a_square"),
    [
        # On 1.0 the strip of 0.5 is kept, a quarter of it paid; on 1.5 that of 1.0 is dearer.
        (0.5, 1.0, KEEP_STRIP, 0.5 + 0.125, 13),
        # On 1.0 the strip of 0.25 is lost: the wider roll is cheaper.
        (0.75, 1.5, KEEP_STRIP, 0.75 + 0.1875, 12),
        # On 1.5 with a strip of 0.6: 1.05 × 12 = 12.6; on 1.0 with one of 0.1: 13.
        (0.9, 1.5, KEEP_STRIP, 0.9 + 0.15, 12),
        (1.0, 1.0, NO_STRIP, 1.0, 13),
        (1.5, 1.5, NO_STRIP, 1.5, 12),
    ],
)
def test_each_width_on_the_roll_that_is_cheapest_for_it(
    width: float,
    roll: float,
    strip: str,
    paid: float,
    a_square: float,
    shop: tuple[Costing, Records],
) -> None:
    row = row_of(prices_of(shop), "F", width, 2.0)
    assert (row["roll_width_m"], row["strip"]) == (roll, strip)
    assert row["film_area_m2"] == pytest.approx(2 * paid)
    assert row["film_price_cost"] == pytest.approx(2 * paid * a_square)
    assert ("25%" in str(row["note"])) == (strip == KEEP_STRIP)


def test_without_offcuts_in_use_the_piece_pays_for_the_whole_width(tmp_path: Path) -> None:
    """0.5 off the roll of 1.0, 13 a metre; 0.75 and 0.9 too."""
    found = prices_of(shop_of(tmp_path, cuts="cut_id | cut_on"))
    assert set(found["strip"]) == {NO_STRIP, WHOLE_WIDTH}
    for width in (0.5, 0.75, 0.9):
        row = row_of(found, "F", width, 1.0)
        assert (row["roll_width_m"], row["film_price_cost"]) == (1.0, pytest.approx(13))
        assert row["strip"] == WHOLE_WIDTH


def test_a_narrow_strip_is_lost_though_wide_ones_are_kept(tmp_path: Path) -> None:
    """Of G, 1.2 wide: 0.8 is sold often and leaves 0.4, narrower than 0.44."""
    lines = [f"{number} | 2026-01-01 | G | 1 | 0.8 | 60 | roof" for number in range(5)]
    shop = shop_of(tmp_path, counter_sales="\n".join([SALE_COLUMNS, *lines]))
    found = prices_of(shop)
    assert row_of(found, "G", 0.8, 1.0)["strip"] == WHOLE_WIDTH
    assert row_of(found, "G", 0.8, 1.0)["film_area_m2"] == pytest.approx(1.2)
    assert row_of(found, "G", 0.6, 1.0)["strip"] == KEEP_STRIP


# --- prices --------------------------------------------------------------------------------------


def test_a_price_worked_out_by_hand(shop: tuple[Costing, Records]) -> None:
    """2 m of 0.75: film 1.875 m² × 12 = 22.5, staff 3, card 0.5; installs 2 for 2 m², so 1.5.

    All of it is in the lowest price; in the one to ask too, with the margin on film, staff and
    card: 26 ÷ 0.44 = 59.09, and 1.5 ÷ 0.76 = 1.97 for the installs.
    """
    row = row_of(prices_of(shop), "F", 0.75, 2.0)
    assert row["film_price_cost"] == pytest.approx(22.5)
    assert (row["staff_each"], row["installs_each"]) == (3, 1.5)
    assert row["lowest_price"] == pytest.approx(27.5 / 0.76)
    assert row["lowest_price_per_m"] == pytest.approx(13.75 / 0.76)
    assert row["price_to_ask"] == 62
    assert row["price_to_ask_per_m"] == 31
    # Median 24 a square metre of the year's five sales, all of 3 m²: of others it says nothing.
    assert np.isnan(row["price_so_far"])
    assert row_of(prices_of(shop), "F", 1.5, 2.0)["price_so_far"] == pytest.approx(24 * 3)


def test_installs_won_lower_the_lowest_price_and_not_the_one_to_ask(
    shop: tuple[Costing, Records],
) -> None:
    """G of 1.2, 1 m: film 12, staff 4, installs −1 for 2 m², so −0.6."""
    row = row_of(prices_of(shop), "G", 1.2, 1.0)
    assert (row["staff_each"], row["installs_each"]) == (4, pytest.approx(-0.6))
    assert row["lowest_price"] == pytest.approx((12 + 4 - 0.6 + 0.5) / 0.76)
    assert row["price_to_ask"] == np.ceil((12 + 4 + 0.5) / 0.44)
    # Two sales, and both over a year ago.
    assert np.isnan(row["price_so_far"])


def test_the_lowest_price_is_never_under_nought_and_the_step_is_kept(tmp_path: Path) -> None:
    """Installs won of 100 a sale: the lowest price is 0, never less. Steps of 2.5."""
    shop = shop_of(tmp_path, TOML.replace("round_to = 1", "round_to = 2.5"))
    row = row_of(prices_of(shop, sale_costs(3, -100)), "F", 1.5, 0.5)
    assert row["lowest_price"] == 0
    # (9 + 3 + 0.5) ÷ 0.44 = 28.41.
    assert row["price_to_ask"] == 30


def test_without_a_target_the_price_to_ask_is_the_lowest(tmp_path: Path) -> None:
    """A target of nothing: it pays for installs displaced and no more."""
    shop = shop_of(tmp_path, TOML.replace("margin = 0.4", "margin = 0"))
    found = prices_of(shop, sale_costs(3, 2))
    assert (found["price_to_ask"] >= found["lowest_price"]).all()
    assert (found["price_to_ask"] < found["lowest_price"] + 1).all()


def test_installs_displaced_come_on_top_of_the_margin(shop: tuple[Costing, Records]) -> None:
    """Installs 20 a sale of 2 m², so 10 a square metre, of 1.5 wide.

    0.5 m: 12.5 ÷ 0.44 = 28.41 and 7.5 ÷ 0.76 = 9.87. 3 m: 57.5 ÷ 0.44 = 130.68 and 45 ÷ 0.76 =
    59.21.
    """
    found = prices_of(shop, sale_costs(3, 20))
    short, long = row_of(found, "F", 1.5, 0.5), row_of(found, "F", 1.5, 3.0)
    assert short["lowest_price"] == pytest.approx(20 / 0.76)
    assert short["price_to_ask"] == 39
    assert long["lowest_price"] == pytest.approx(102.5 / 0.76)
    assert long["price_to_ask"] == 190


def test_a_scrap_displaces_no_roof(shop: tuple[Costing, Records]) -> None:
    """Installs go by the area of the piece over that of the mean sale; staff time does not."""
    found = prices_of(shop, sale_costs(3, 40, area_m2=1.5))
    area = found["length_m"] * found["width_m"]
    np.testing.assert_allclose(found["installs_each"], 40 * area / 1.5)
    assert row_of(found, "F", 1.5, 1.0)["installs_each"] == pytest.approx(40)
    assert row_of(found, "F", 0.5, 0.25)["installs_each"] == pytest.approx(40 / 12)
    assert (found["staff_each"] == 3).all()


def test_few_sales_of_a_film_are_drawn_towards_all() -> None:
    """5 of A of 10, 20 of B of 30, mean 26. With the weight of 20 of all: 26 − 16 ÷ 5, 26 + 4 ÷ 2.

    Of services the same; those of C, before the year, say nothing.
    """
    count = 25
    installs = [10.0] * 5 + [30.0] * 20
    recent = made_sales([0.0] * count, minutes=[6.0] * 5 + [12.0] * 20, rate=50.0).assign(
        film=["A"] * 5 + ["B"] * 20,
        service=["hood"] * 10 + ["roof"] * 15,
        displaced_cost=installs,
        later_installs=0.0,
        length_m=[1.0] * 5 + [2.0] * 20,
        width_m=1.5,
    )
    older = recent.head(7).assign(is_recent=False, film="C", displaced_cost=900.0, length_m=99.0)
    sales = pd.concat([recent, older], ignore_index=True)
    model = replace(made_model(share=np.zeros(4), install=np.zeros(4)), sales=sales)
    costs = learnt_costs(model)
    assert (costs.staff_each, costs.installs_each) == pytest.approx((9.0, 26.0))
    assert costs.area_m2 == pytest.approx((5 * 1.5 + 20 * 3) / 25)
    films = costs.of_films(pd.Series(["A", "B", "C"]))
    assert films["installs_each"].tolist() == pytest.approx([26 - 16 / 5, 26 + 4 / 2, 26])
    assert films["staff_each"].tolist() == pytest.approx([9 - 4 / 5, 9 + 1 / 2, 9])
    services = costs.of_services(pd.Series(["hood", "roof"]))
    hood, roof = 20 - 26, 30 - 26
    expected = [26 + hood * 10 / 30, 26 + roof * 15 / 35]
    assert services["installs_each"].tolist() == pytest.approx(expected)
    # Without minutes of any sale staff time is not known.
    blind = learnt_costs(replace(model, minutes_known=0))
    assert np.isnan(blind.staff_each)
    assert blind.by_film["staff_each"].isna().all()


def test_what_is_not_known_is_not_in_the_price_and_is_said(shop: tuple[Costing, Records]) -> None:
    found = prices_of(shop, sale_costs(np.nan, np.nan, films={"G": (4, np.nan)}))
    row = row_of(found, "F", 1.5, 1.0)
    assert np.isnan(row["staff_each"])
    assert np.isnan(row["installs_each"])
    assert row["lowest_price"] == pytest.approx(18.5 / 0.76)
    assert row["note"] == f"{STAFF_UNKNOWN} {INSTALLS_UNKNOWN}"
    # Its own row stands, with what is missing in it.
    row = row_of(found, "G", 1.2, 1.0)
    assert row["lowest_price"] == pytest.approx((12 + 4 + 0.5) / 0.76)
    assert row["note"] == INSTALLS_UNKNOWN
    assert pd.isna(row_of(prices_of(shop), "G", 1.2, 1.0)["note"])


def test_no_price_leaves_more_than_tax_and_card_do(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, TOML.replace("margin = 0.4", "margin = 0.96"))
    found = prices_of(shop)
    assert found["price_to_ask"].isna().all()
    assert found["lowest_price"].notna().all()
    assert found["note"].str.contains(NO_PRICE, regex=False).all()


def test_a_film_without_a_roll_or_a_cost_has_blanks_and_says_why(tmp_path: Path) -> None:
    """H was never bought; of G 1.3 is sold often and no roll holds it; K came for nothing."""
    lines = [
        *(f"{number} | 2026-01-01 | G | 1 | 1.3 | 60 | roof" for number in range(5)),
        "6 | 2026-01-01 | H | 1 | 0.8 | 60 | roof",
        "7 | 2026-01-01 | H | 1 | 0.7 | 60 | roof",
        "8 | 2026-01-01 | H | 1 | 0.7 | 60 | roof",
        "9 | 2026-01-01 | K | 1 | 0.7 | 60 | roof",
    ]
    gift = "\n    K | 2025-02-05 | S | K | film | 1.0 | 25 | 1 | 0"
    shop = shop_of(
        tmp_path,
        purchases=PURCHASES + gift,
        counter_sales="\n".join([SALE_COLUMNS, *lines]),
    )
    found = prices_of(shop)
    wide = row_of(found, "G", 1.3, 1.0)
    assert wide["note"] == "No roll of it is so wide."
    assert pd.isna(wide["strip"])
    assert found.loc[found["film"] == "H", "width_m"].unique().tolist() == [0.7]
    never = row_of(found, "H", 0.7, 1.0)
    assert never["note"] == "No roll of it is known from purchases."
    given_away = row_of(found, "K", 1.0, 1.0)
    assert given_away["note"] == FILM_UNKNOWN
    assert given_away["film_area_m2"] == 1
    blank = ["film_price_cost", "lowest_price", "lowest_price_per_m", "price_to_ask"]
    for row in (wide, never, given_away):
        assert all(np.isnan(row[name]) for name in [*blank, "price_to_ask_per_m"])
    for row in (wide, never):
        assert np.isnan(row["roll_width_m"])
        assert np.isnan(row["film_area_m2"])
    # What they ask for it so far is known all the same.
    assert wide["price_so_far"] == pytest.approx(60)
    assert row_of(found, "G", 1.2, 1.0)["lowest_price"] > 0


def test_without_a_sale_there_is_no_list(shop: tuple[Costing, Records]) -> None:
    costing, records = shop
    none = sales_to(records, DAY).iloc[:0]
    found = cut_film_prices(costing, records, DAY, none, COSTS)
    assert isinstance(found, Unavailable)
    assert (found.result, found.missing) == ("cut_film_prices", ("counter_sales",))
    assert "counter_sales" in found.line
    assert lowest_per_length(costing, records, DAY, none, COSTS).empty


def test_a_shop_in_millimetres_with_a_decimal_comma(tmp_path: Path) -> None:
    """The same shelf of offcuts, of G: 0.6 off the roll of 1.2 keeps its strip of 0.6."""
    toml = TOML.replace('length_unit = "m"', 'length_unit = "mm"\nlocale = "de-DE"')
    toml = toml.replace('area_unit = "m2"', 'area_unit = "m2"\ndecimal_comma = true')
    head, *rows = [line.split("|") for line in CUTS.strip().splitlines()]
    cuts = [
        [number, day, " G ", source, *(_in_mm(cell) for cell in sizes)]
        for number, day, _, source, *sizes in rows
    ]
    found = prices_of(
        shop_of(
            tmp_path,
            toml,
            counter_sales=f"{SALE_COLUMNS}\n 1 | 2026-01-01 | G | 800 | 1200 | 60 | roof",
            purchases=PURCHASES.splitlines()[1] + "\n D|2025-02-05|S|G|film|1200|25 m|1|300",
            cuts="\n".join("|".join(cells) for cells in [head, *cuts]),
        )
    )
    assert found["length_m"].unique().tolist() == METRES
    row = row_of(found, "G", 0.6, 2.0)
    assert row["strip"] == KEEP_STRIP
    assert row["note"].replace("\u00a0", " ").startswith("25 % of the strip is in the price")
    assert row["film_area_m2"] == pytest.approx(2 * (0.6 + 0.25 * 0.6))
    assert row["film_price_cost"] == pytest.approx(15)


def _in_mm(cell: str) -> str:
    return f"{float(cell) * 1000:.0f}" if cell.strip() else ""


# --- a sale of usual length ----------------------------------------------------------------------


def test_lowest_price_of_a_metre_at_the_usual_length(shop: tuple[Costing, Records]) -> None:
    """F: most was bought 1.5 wide (18 a metre), 2 m a sale of the year; G: 3 m to date, 12."""
    costing, records = shop
    found = lowest_per_length(costing, records, DAY, sales_to(records, DAY), COSTS)
    assert found.index.tolist() == ["F", "G"]
    assert found["F"] == pytest.approx((36 + 3 + 2 + 0.5) / 0.76 / 2)
    assert found["G"] == pytest.approx((36 + 4 - 1 + 0.5) / 0.76 / 3)
    unknown = lowest_per_length(
        costing, records, DAY, sales_to(records, DAY), sale_costs(np.nan, np.nan)
    )
    assert unknown["F"] == pytest.approx((36 + 0.5) / 0.76 / 2)


def test_lowest_price_of_a_metre_is_missing_without_a_roll(tmp_path: Path) -> None:
    sales = f"{SALE_COLUMNS}\n 1 | 2026-01-01 | H | 2 | 1.5 | 60 | roof"
    costing, records = shop_of(tmp_path, counter_sales=sales)
    found = lowest_per_length(costing, records, DAY, sales_to(records, DAY), COSTS)
    assert found.index.tolist() == ["H"]
    assert np.isnan(found["H"])


# --- what holds of every price -------------------------------------------------------------------

MONEY = st.floats(0, 500, allow_nan=False)


@given(
    film=st.floats(0.01, 2000),
    more=st.floats(0, 1000),
    staff=MONEY,
    installs=st.floats(-300, 300),
    margin=st.floats(0, 0.7),
    tax=st.floats(0, 0.25),
    card=st.floats(0, 5),
    step=st.sampled_from([0.01, 0.05, 0.5, 1.0, 2.5, 5.0]),
)
def test_the_price_to_ask_holds_its_margin_and_rises_with_the_film(
    film: float,
    more: float,
    staff: float,
    installs: float,
    margin: float,
    tax: float,
    card: float,
    step: float,
) -> None:
    settings = Settings(
        prices_include_tax=True,
        tax_rate=tax,
        fees=Fees(card_percent=card, card_fixed=0.3),
        counter=Counter(margin=margin, round_to=step),
    )
    cost = pd.Series([film, film + more])
    each = pd.DataFrame({"staff_each": [staff] * 2, "installs_each": [installs] * 2})
    found = counter_prices(cost, each, settings)
    asked, lowest = found["price_to_ask"], found["lowest_price"]
    net = asked / (1 + tax)
    left = net - asked * card / 100 - 0.3 - cost - staff
    tiny = 1e-6 * (1 + asked)
    assert (asked >= lowest - tiny).all()
    # Once installs displaced are paid, after film and staff time the margin asked for is left.
    kept = 1 / (1 + tax) - card / 100
    paid = max(installs, 0.0) / kept
    assert (left - paid * kept >= margin * (asked - paid) / (1 + tax) - tiny).all()
    # Rounded up by less than a step, so the price is no dearer than it must be.
    below = asked - step - paid
    too_low = below / (1 + tax) * (1 - margin) - below * card / 100 - 0.3 - cost - staff
    assert (too_low < tiny).all()
    assert (abs(asked / step - (asked / step).round()) < 1e-6).all()
    assert asked[1] >= asked[0]
    assert lowest[1] >= lowest[0]


@given(
    strip=st.floats(0, 2),
    narrowest=st.floats(0.05, 1) | st.just(np.nan),
    share=st.floats(0, 1) | st.just(np.nan),
)
def test_a_kept_strip_never_costs_more_than_a_binned_one(
    strip: float, narrowest: float, share: float
) -> None:
    rule = StripRule(narrowest, share)
    paid, word = float(rule.paid_width_m(strip)), str(rule.words(strip))
    assert 0 <= paid <= strip
    if word == KEEP_STRIP:
        assert paid == pytest.approx((1 - share) * strip)
    else:
        assert paid == strip
    if np.isnan(narrowest + share):
        assert word != KEEP_STRIP


# --- the demo again ------------------------------------------------------------------------------


def test_every_row_of_the_demo_is_what_its_own_columns_say() -> None:
    """Everything worked out again from the records, in a plain loop."""
    day = pd.Timestamp("2026-09-30")
    records = read_records(DEMO)
    costing = cost_records(records, day)
    sales = sales_to(records, day)
    own = {"DK-20": (8.0, -2.0), "DK-35": (7.0, np.nan), "NK-CARBON": (9.0, 60.0)}
    mean_m2 = 1.2
    costs = sale_costs(9.0, 4.0, films=own, area_m2=mean_m2)
    found = cut_film_prices(costing, records, day, sales, costs)
    assert isinstance(found, pd.DataFrame)
    assert set(found["film"]) == set(sales["film"])
    assert (found.groupby("film").size() % 8 == 0).all()
    share = _used_of_old(costing.shelf.offcuts, day - pd.DateOffset(months=12), day)
    assert 0.5 < share < 1
    uses = records["cuts"].query("source == 'offcut' and cut_on <= @day")["pulled_width_m"]
    narrowest = float(np.quantile(uses, 0.1))
    fees, counter = records.settings.fees, records.settings.counter
    kept = 1 - fees.card_percent / 100
    strips = set()
    for row in found.to_dict("records"):
        strip = row["roll_width_m"] - row["width_m"]
        wide = strip >= narrowest
        word = NO_STRIP if strip < 0.0005 else KEEP_STRIP if wide else WHOLE_WIDTH
        assert row["strip"] == word
        strips.add(word)
        width = row["width_m"] + strip * ((1 - share) if wide else 1)
        assert row["film_area_m2"] == pytest.approx(row["length_m"] * width)
        staff, installs = np.nan_to_num(own.get(row["film"], (9.0, 4.0)))
        installs *= row["length_m"] * row["width_m"] / mean_m2
        assert row["staff_each"] == staff
        cost = row["film_price_cost"] + staff
        lowest = (cost + installs + fees.card_fixed) / kept
        assert row["lowest_price"] == pytest.approx(lowest)
        target = records.settings.counter_margin
        floor = (cost + fees.card_fixed) / (kept - target)
        step, paid = counter.round_to, max(installs, 0.0) / kept
        assert row["price_to_ask"] == pytest.approx(np.ceil((floor + paid) / step) * step)
        assert row["lowest_price_per_m"] == pytest.approx(row["lowest_price"] / row["length_m"])
        assert row["price_to_ask_per_m"] == pytest.approx(row["price_to_ask"] / row["length_m"])
        assert (INSTALLS_UNKNOWN in str(row["note"])) == (row["film"] == "DK-35")
    assert KEEP_STRIP in strips
    by = found.groupby(["film", "width_m"])
    for column in ("film_price_cost", "lowest_price", "price_to_ask"):
        assert (by[column].diff().dropna() > 0).all(), column
    sold = records["counter_sales"].query("sold_on > '2025-09-30' and sold_on <= @day")
    a_square = (sold["price"] / sold["length_m"] / sold["width_m"]).groupby(sold["film"])
    for film, rows in found.groupby("film"):
        expected = a_square.get_group(film).median() * rows["length_m"] * rows["width_m"]
        area = rows["length_m"] * rows["width_m"]
        areas = (sold["length_m"] * sold["width_m"])[sold["film"] == film]
        was_sold = area.between(areas.min() - 1e-9, areas.max() + 1e-9)
        assert was_sold.any()
        assert not was_sold.all()
        np.testing.assert_allclose(rows["price_so_far"], expected.where(was_sold))


def _used_of_old(moves: pd.DataFrame, last: pd.Timestamp, day: pd.Timestamp) -> float:
    """Of the area of offcuts kept up to `last`, what was used up to a day, one by one. [share]"""
    kept: dict[int, float] = {}
    used: dict[int, float] = {}
    for move in moves.to_dict("records"):
        if move["what"] == "kept" and move["day"] <= last:
            kept[move["ref"]] = move["area_m2"]
        elif move["what"] == "used" and move["day"] <= day:
            used[move["ref"]] = used.get(move["ref"], 0.0) + move["area_m2"]
    assert len(kept) > 50
    assert not used.keys() <= kept.keys()
    return sum(used.get(ref, 0.0) for ref in kept) / sum(kept.values())
