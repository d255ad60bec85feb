"""Kits for people who fit film themselves: pieces, rolls and prices by hand; the demo again."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import Costing, cost_records
from analysis.counter_tables import COUNTER_KITS
from analysis.errors import Unavailable, WorkbookError
from analysis.packing.layouts import Layout, Sheet, check_layout
from analysis.pricing.counter_kits import (
    Kit,
    KitAsked,
    KitPiece,
    NoKit,
    counter_kits,
    cut_list,
    make_kit,
)
from analysis.pricing.cut_film_prices import StripRule
from analysis.pricing.film_needed import film_history
from analysis.pricing.kit_layout import KitRolls, lay_out_kit
from analysis.pricing.layout_sheets import roll_prices
from analysis.pricing.sale_costs import FILM_UNKNOWN, INSTALLS_UNKNOWN, STAFF_UNKNOWN
from analysis.pricing.usual_sizes import ALL_PANELS, Vehicle, listed_panels, usual_allowance
from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.settings import Settings
from tests.pricing.made_cut_film import SALE_COLUMNS, costed, sale_costs, sales_to

DEMO = Path(__file__).parents[2] / "data_demo"
DAY = pd.Timestamp("2026-06-30")
TOML = """
length_unit = "m"
area_unit = "m2"
[labour]
default_wage = 10
[fees]
card_percent = 4
card_fixed = 0.5
[counter]
margin = 0.4
round_to = 1
extra_allowance = 0.04
"""
JOBS = """
    job_id | finished_on | service | make | model | vehicle_class|film|quoted_hours|quoted_price
    J1 | 2026-02-01 | roof | Quillon | Heron | compact car | G | 2 | 300
    J2 | 2026-02-02 | hood | Quillon | Heron | compact car | F | 2 | 300"""
PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |unit_price
    A | 2026-01-05 | S | F | film | 1.5 | 20 | 1 | 360
    B | 2026-01-05 | S | F | film | 1.2 | 20 | 1 | 312
    C | 2026-01-05 | S | G | film | 1.2 | 20 | 1 | 240"""
# The roof with 0.05 long and 0.03 short a side; the piece of a kit, 0.2 larger, says nothing.
CUTS = """
    cut_id | cut_on | job_id | sale_id | film | panel | pulled_length | pulled_width |piece_length |
    piece_width | finished_length | finished_width
    1 | 2026-02-01 | J1 | | G | roof | 1.7 | 1.2 | 1.7 | 1.16 | 1.6 | 1.1
    2 | 2026-02-02 | | 1 | F | roof | 2 | 1.5 | 2.0 | 1.5 | 1.6 | 1.1
    3 | 2026-02-02 | | 2 | F | roof | 2 | 1.5 | 2.0 | 1.5 | 1.6 | 1.1""".replace("|\n", "|")
PANELS = """
    vehicle_class | make | model | service | panel | finished_length | finished_width | pieces
    compact car | | | roof | roof | 1.60 | 1.10 | 1
    compact car | | | roof | visor | 0.50 | 0.20 | 2
     | Quillon | Stork | roof | roof | 1.20 | 1.00 | 1
    cargo van | | | roof | roof | 2.90 | 1.40 | 1
    standard pickup | | | roof | roof | 2.90 | 1.48 | 1
    compact car | | | hood | hood | 1.00 | 0.90 | 1
    compact car | | | cap | cap | 0.20 | 0.10 | 2"""
SALES = (
    SALE_COLUMNS
    + """
    1 | 2026-02-02 | F | 2 | 1.5 | 90 | roof
    2 | 2026-02-03 | F | 2 | 1.5 | 90 | roof
    3 | 2026-02-04 | G | 2 | 1.2 | 90 | roof
    4 | 2026-02-05 | G | 2 | 1.2 | 90 |
    5 | 2026-07-02 | G | 2 | 1.2 | 90 | roof
    6 | 2026-07-03 | G | 2 | 1.2 | 90 | roof"""
)
PRICES = """
    service | vehicle_class | list_price | effective_from
    roof | | 400 | 2025-01-01
    roof | compact car | 320 | 2025-01-01
    roof | compact car | 350 | 2026-01-01
    roof | compact car | 999 | 2026-07-01"""
INSTALLS = pd.DataFrame(
    {
        "service": ["roof", "roof", "roof"],
        "vehicle_class": pd.Series([None, "compact car", "standard pickup"], dtype="str"),
        "contribution": [150.0, 120.0, np.nan],
    }
)
COSTS = sale_costs(3, 2, services={"roof": (4, 1)})
ROOF = KitAsked("roof", "compact car")
HOOD = KitAsked("hood", "compact car")

Shop = tuple[Costing, Records]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return shop_of(tmp_path_factory.mktemp("kits"))


def shop_of(folder: Path, toml: str = TOML, **more: str) -> Shop:
    tables = {
        "jobs": JOBS,
        "purchases": PURCHASES,
        "cuts": CUTS,
        "panels": PANELS,
        "counter_sales": SALES,
        "price_list": PRICES,
    }
    return costed(folder, toml, DAY, **tables | more)


def kit_of(shop: Shop, asked: KitAsked = ROOF, **more: Any) -> Kit:
    terms = {"costs": COSTS, "installs": INSTALLS} | more
    return make_kit(*shop, DAY, asked, **terms)


def kits_of(shop: Shop, **more: Any) -> dict[tuple[str, str], dict[Any, Any]]:
    terms = {"sales": sales_to(shop[1], DAY), "costs": COSTS, "installs": INSTALLS} | more
    found = counter_kits(*shop, DAY, **terms)
    assert isinstance(found, pd.DataFrame)
    assert found.columns.tolist() == COUNTER_KITS.inside_names
    return {(row["service"], row["vehicle_class"]): row for row in found.to_dict("records")}


def sizes(kit: Kit) -> dict[str, tuple[int, float, float]]:
    return {
        each.panel: (each.number, round(each.length_m, 6), round(each.width_m, 6))
        for each in kit.pieces
    }


def check_cut(kit: Kit, gap: float = 0.0) -> None:
    """The layout could be cut, and holds the kit's pieces, each once, off one roll."""
    laid = [each.piece for pull in kit.layout.pulls for each in pull.placed]
    check_layout(kit.layout, laid, gap)
    wanted = [(piece.length_m, piece.width_m) for piece in kit.pieces for _ in range(piece.number)]
    assert sorted((each.length_m, each.width_m) for each in laid) == sorted(wanted)
    assert {pull.sheet.width_m for pull in kit.layout.pulls} == {kit.roll_width_m}
    assert kit.cut_length_m == pytest.approx(sum(pull.length_m for pull in kit.layout.pulls))


# --- pieces --------------------------------------------------------------------------------------


def test_pieces_with_the_shops_own_allowance_and_the_extra(shop: Shop) -> None:
    """Roof 1.60 + 2 × (0.05 + 0.04) by 1.10 + 2 × (0.03 + 0.04); the visor by that of all."""
    kit = kit_of(shop)
    assert sizes(kit) == {"roof": (1, 1.78, 1.24), "visor": (2, 0.68, 0.34)}
    assert kit.count == 3
    assert kit.allowance_m == pytest.approx((0.09 + 0.07) / 2)
    roof = kit.pieces[0]
    assert (roof.finished_length_m, roof.finished_width_m) == (1.6, 1.1)
    check_cut(kit)


def test_what_the_extra_is_where_the_shop_says_nothing(tmp_path: Path) -> None:
    """50 mm a side."""
    shop = shop_of(tmp_path, TOML.replace("extra_allowance = 0.04", ""))
    assert sizes(kit_of(shop, HOOD))["hood"] == (1, 1.2, 1.06)


def test_without_a_cut_only_the_extra_is_in_the_sizes(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, cuts="cut_id | cut_on")
    kit = kit_of(shop)
    assert sizes(kit)["roof"] == (1, 1.68, 1.18)
    assert kit.allowance_m == pytest.approx(0.04)
    assert "own allowance is not known" in kit.note
    assert "allowance" not in kit_of(shop_of(tmp_path / "cut")).note


def test_panels_of_the_model_go_before_those_of_its_class(shop: Shop) -> None:
    """Stork has a roof of its own, 1.20 × 1.00; its visors are those of the class."""
    stork = KitAsked(" Roof ", "Compact-Car", "f", "quillon", "stork")
    kit = kit_of(shop, stork)
    assert (kit.service, kit.vehicle_class, kit.film) == ("roof", "compact car", "F")
    assert (kit.make, kit.model) == ("Quillon", "Stork")
    assert sizes(kit) == {"roof": (1, 1.38, 1.14), "visor": (2, 0.68, 0.34)}
    assert "Sizes of the class: visor." in kit.note
    unknown = kit_of(shop, KitAsked("roof", "compact car", "F", "Quillon", "Egret"))
    assert sizes(unknown)["roof"] == (1, 1.78, 1.24)
    assert "Sizes of the class: roof, visor." in unknown.note
    assert "Sizes" not in kit_of(shop).note


def test_the_extra_gives_way_across_the_roll_and_the_own_allowance_does_not(shop: Shop) -> None:
    """1.40 + 0.06 + 0.08 is 1.54, the roll 1.5; of the pickup 1.48 + 0.06 is too wide by itself."""
    kit = kit_of(shop, KitAsked("roof", "cargo van"))
    assert sizes(kit) == {"roof": (1, 3.08, 1.5)}
    assert "The extra allowance of roof gives way across the roll." in kit.note
    assert kit.allowance_m == pytest.approx((0.09 + 0.05) / 2)
    check_cut(kit)
    with pytest.raises(NoKit) as told:
        kit_of(shop, KitAsked("roof", "standard pickup"))
    assert isinstance(told.value, WorkbookError)
    line = str(told.value)
    assert line.startswith("roof is 3.000 × 1.540 m with the shop's own allowance; the widest roll")
    assert "1.500 m" in line
    assert "may not be turned" not in line


def test_sizes_are_rounded_up_to_the_marks_of_the_tape(tmp_path: Path) -> None:
    """1.78 m is 70.08 in, so 70 1/8; in millimetres nothing is left to round."""
    toml = TOML.replace('"m"', '"in"').replace("extra_allowance = 0.04", "extra_allowance = 1.5")
    tables = {
        "purchases": PURCHASES.replace("1.5 |", "60 |")
        .replace("1.2 |", "48 |")
        .replace("| 20 |", "| 25 yd |"),
        "panels": """
            vehicle_class | service | panel | finished_length | finished_width | pieces
            compact car | roof | roof | 62.3 | 43.1 | 1
            compact car | roof | cap | 1.05 | 0.6 | 2""",
        "cuts": "cut_id | cut_on",
        "counter_sales": f"{SALE_COLUMNS}\n 1 | 2026-02-02 | F | 60 | 50 | 90 | roof",
    }
    shop = shop_of(tmp_path, toml, **tables)
    kit = kit_of(shop)
    eighths = np.array([(each.length_m, each.width_m) for each in kit.pieces]) / 0.0254 * 8
    np.testing.assert_allclose(eighths, [[523, 369], [33, 29]])
    assert cut_list(kit.pieces, shop[1]) == "roof 65 3/8 × 46 1/8 in; 2 × cap 4 1/8 × 3 5/8 in"
    assert kits_of(shop)["roof", "compact car"]["cut_list"] == cut_list(kit.pieces, shop[1])


@pytest.mark.parametrize(
    ("unit", "expected"),
    [
        ("mm", "roof 1780 × 1240 mm; 2 × visor 680 × 340 mm"),
        ("cm", "roof 178,0 × 124,0 cm; 2 × visor 68,0 × 34,0 cm"),
        ("m", "roof 1,780 × 1,240 m; 2 × visor 0,680 × 0,340 m"),
        ("ft", "roof 70 1/8 × 48 7/8 in; 2 × visor 26 3/4 × 13 3/8 in"),
    ],
)
def test_a_cut_list_is_read_as_the_shops_tape(unit: str, expected: str, shop: Shop) -> None:
    """Feet are read in inches; metric units with a decimal comma and nothing between thousands."""
    pieces = [KitPiece("roof", 1, 1.78, 1.24, 1.6, 1.1), KitPiece("visor", 2, 0.68, 0.34, 0.5, 0.2)]
    settings = Settings(length_unit=unit, locale="de-DE", decimal_comma=True)
    records = Records(**{**shop[1].__dict__, "settings": settings})
    assert cut_list(pieces, records) == expected


# --- film and roll -------------------------------------------------------------------------------


def test_a_kit_worked_out_by_hand(shop: Shop) -> None:
    """Roof 1.78 along, visors abreast after it: 2.12 of 1.5, which is 3.18 m² at 12.

    0.14 stay free beside them. On the roll of 1.2 the roof, 1.24 wide, does not lie.
    """
    kit = kit_of(shop)
    assert (kit.film, kit.roll_width_m) == ("F", 1.5)
    assert kit.cut_length_m == pytest.approx(2.12)
    assert kit.film_area_m2 == pytest.approx(3.18)
    assert kit.film_cost == pytest.approx(38.16)
    assert kit.lowest_price == pytest.approx((38.16 + 4 + 1 + 0.5) / 0.96)
    # Film, staff time and card fee, and 40 % of the price left: 42.66 ÷ 0.56 = 76.18; 1 ÷ 0.96 =
    # 1.04 for the installs.
    assert kit.price == 78
    assert (kit.install_price, kit.install_leaves, kit.note) == (350, 120, "")


def test_installs_displaced_come_on_top_of_the_margin(shop: Shop) -> None:
    """Roofs displace 40 a sale: 76.18 and 40 ÷ 0.96 = 41.67; a hood costs what it did.

    16.22 of film and 3 of staff time: 19.72 ÷ 0.56 = 35.22; 2 ÷ 0.96 of a mean sale's installs.
    """
    costs = sale_costs(3, 2, services={"roof": (4, 40)})
    roof = kit_of(shop, costs=costs)
    assert roof.lowest_price == pytest.approx(82.66 / 0.96)
    assert roof.price == 118
    assert kit_of(shop, HOOD, costs=costs).price == 38
    assert kits_of(shop, costs=costs)["roof", "compact car"]["kit_price"] == 118


def test_the_roll_is_the_one_whose_film_costs_least(shop: Shop) -> None:
    """Hood 1.18 × 1.04, turned: 1.04 of 1.2 at 13 costs 16.22; of 1.5 at 12 it is 18.72."""
    kit = kit_of(shop, HOOD)
    assert (kit.roll_width_m, kit.film_cost) == (1.2, pytest.approx(1.04 * 1.2 * 13))
    assert kit.cut_length_m == pytest.approx(1.04)
    (placed,) = kit.layout.pulls[0].placed
    assert placed.turned


def test_a_directional_film_keeps_its_direction(tmp_path: Path) -> None:
    """The hood lies along: 1.18 of 1.2. A roof of 1.0 × 1.6 is too wide, and may not be turned."""
    toml = TOML + '[film]\ndirectional = ["F"]\n'
    wide = PANELS.replace(
        "cargo van | | | roof | roof | 2.90 | 1.40", "cargo van |||roof|roof|1|1.6"
    )
    shop = shop_of(tmp_path, toml, panels=wide)
    kit = kit_of(shop, HOOD)
    assert (kit.roll_width_m, kit.cut_length_m) == (1.2, pytest.approx(1.18))
    assert not any(each.turned for pull in kit.layout.pulls for each in pull.placed)
    with pytest.raises(NoKit, match="and may not be turned"):
        kit_of(shop, KitAsked("roof", "cargo van"))
    turned = shop_of(tmp_path / "turned", panels=wide)
    check_cut(kit_of(turned, KitAsked("roof", "cargo van")))


def test_a_strip_that_the_shop_would_use_is_not_paid_for(tmp_path: Path) -> None:
    """Five cuts off offcuts 0.3 wide: the strip beside the hood is kept, and a fifth of it paid.

    Of five offcuts whose year is over four are used; the one of July, used too, is too young. On
    1.5 it is 0.32 wide beside the turned hood: 1.04 × (1.18 + 0.064) × 12 = 15.53, under 16.22.
    """
    kept = [f"2025-03-0{number}" for number in range(1, 6)] + ["2025-07-01"]
    used = [f"2025-04-0{number}" for number in range(1, 5)] + ["2026-03-10"]
    head, *rows = CUTS.strip().splitlines()
    cuts = "\n".join(
        [
            f"{head} | source | kept_length | kept_width",
            *(f"{row} | roll | |" for row in rows),
            *(
                f"{10 + at} | {day} | | | F | badge | 1 | 1.5 | | | | | roll | 1 | 0.3"
                for at, day in enumerate(kept)
            ),
            *(
                f"{20 + at} | {day} | | | F | badge | 1 | 0.3 | | | | | offcut | |"
                for at, day in enumerate(used)
            ),
        ]
    )
    early = "\n    Z | 2025-01-05 | S | F | film | 1.5 | 20 | 1 | 300"
    shop = shop_of(tmp_path, cuts=cuts, purchases=PURCHASES + early)
    kit = kit_of(shop, HOOD)
    assert kit.roll_width_m == 1.5
    assert kit.film_area_m2 == pytest.approx(1.04 * (1.18 + 0.2 * 0.32))
    assert kit.film_cost == pytest.approx(1.04 * 1.244 * 12)
    assert "Keep the strip beside it, 0.320 m wide." in kit.note
    # That of the roof, 0.14, is binned.
    assert kit_of(shop).film_area_m2 == pytest.approx(3.18)
    assert "strip" not in kit_of(shop).note


def test_the_film_is_the_one_sold_most_else_the_one_laid_most(shop: Shop) -> None:
    """Roofs: F twice to date, though G is laid; the hood was never sold for, and F is laid."""
    assert kit_of(shop).film == "F"
    assert kit_of(shop, KitAsked("roof", "compact car", "G", "Quillon", "Stork")).film == "G"
    hood = kit_of(shop, HOOD)
    assert hood.film == "F"
    assert "None was sold for hood yet: F is the film laid most for it." in hood.note
    with pytest.raises(NoKit, match="film is for cap is not known"):
        kit_of(shop, KitAsked("cap", "compact car"))
    assert sizes(kit_of(shop, KitAsked("cap", "compact car", "G"))) == {"cap": (2, 0.38, 0.24)}


def test_of_films_sold_as_often_the_one_sold_last(tmp_path: Path) -> None:
    sales = f"""{SALE_COLUMNS}
    1 | 2026-02-02 | G | 2 | 1.2 | 90 | hood
    2 | 2026-02-03 | F | 2 | 1.5 | 90 | hood
    3 | 2026-02-05 | G | 2 | 1.2 | 90 | hood
    4 | 2026-02-06 | F | 2 | 1.2 | 90 | hood"""
    assert kit_of(shop_of(tmp_path, counter_sales=sales), HOOD).film == "F"


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (
            KitAsked("rof", "compact car"),
            "No panel of rof on compact car.*did you mean roof.*panels",
        ),
        (
            KitAsked("roof", "minivan"),
            "No panel of roof on minivan is listed; they are for compact car",
        ),
        (KitAsked("roof", "compact car", "Z-1"), "No roll width of Z-1 is known"),
    ],
)
def test_what_is_not_known_is_one_line(asked: KitAsked, words: str, shop: Shop) -> None:
    with pytest.raises(NoKit, match=words) as told:
        kit_of(shop, asked)
    assert "\n" not in str(told.value)


def test_a_service_with_sizes_of_single_models_alone_asks_for_the_model(tmp_path: Path) -> None:
    panels = PANELS + "\n     | Quillon | Stork | trim | sill | 1.20 | 0.10 | 2"
    shop = shop_of(tmp_path, panels=panels)
    words = "No panel of trim on minivan is listed; they are for single models: give --make"
    with pytest.raises(NoKit, match=words):
        kit_of(shop, KitAsked("trim", "minivan"))


def test_a_kit_longer_than_is_pulled_at_once_comes_in_several_pulls(tmp_path: Path) -> None:
    """2 m at once: the roof is one pull, the visors another, and the film is as much."""
    shop = shop_of(tmp_path, TOML + "[film]\nlongest_pull = 2\n")
    kit = kit_of(shop)
    assert [pull.length_m for pull in kit.layout.pulls] == pytest.approx([1.78, 0.34])
    assert kit.cut_length_m == pytest.approx(2.12)
    assert kit.note == "Cut in 2 pulls."
    check_cut(kit)
    van = kit_of(shop, KitAsked("roof", "cargo van"))
    assert "A piece is longer than is pulled at once, 2.000 m." in van.note


def test_the_knife_has_its_room(tmp_path: Path) -> None:
    """0.01 between roof and visors, and none at the edge."""
    kit = kit_of(shop_of(tmp_path, TOML + "[film]\nknife_gap = 0.01\n"))
    assert kit.cut_length_m == pytest.approx(2.13)
    check_cut(kit, 0.01)


def test_a_piece_longer_than_a_roll_has_no_kit(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, purchases=PURCHASES.replace("| 20 |", "| 3 |"))
    with pytest.raises(NoKit, match="fits on no roll of F, 1.500 m wide and 3.000 m long"):
        kit_of(shop, KitAsked("roof", "cargo van"))
    assert kit_of(shop).cut_length_m == pytest.approx(2.12)


def test_pieces_that_interlock_are_pulled_apart_where_the_roll_is_short() -> None:
    """3.0 beside 1.6 and 1.6: no straight cut parts 3.2. Off 3.1 at most: 3.0 with 1.6, and 1.6."""
    pieces = (KitPiece("a", 1, 3.0, 0.5, 2.9, 0.4), KitPiece("b", 2, 1.6, 0.5, 1.5, 0.4))

    def laid(longest_m: float) -> Layout:
        rolls = KitRolls("F", ((Sheet("roll", 1.0, longest_m, 12.0), 12.0),))
        found = lay_out_kit(pieces, rolls, Settings(), StripRule(np.nan, np.nan))
        assert found.film_cost == pytest.approx(found.layout.length_m * 12)
        return found.layout

    assert [pull.length_m for pull in laid(20.0).pulls] == pytest.approx([3.2])
    short = laid(3.1)
    assert sorted(pull.length_m for pull in short.pulls) == pytest.approx([1.6, 3.0])
    assert all(pull.sheet.longest_m == 3.1 for pull in short.pulls)
    with pytest.raises(NoKit):
        laid(2.9)


def test_a_film_without_a_cost_has_a_layout_and_no_price(tmp_path: Path) -> None:
    """Of the two rolls the one with less film, where neither has a price."""
    free = PURCHASES.replace("| 360", "| 0").replace("| 312", "| 0")
    kit = kit_of(shop_of(tmp_path, purchases=free), HOOD)
    assert kit.film_area_m2 == pytest.approx(1.04 * 1.2)
    assert np.isnan([kit.film_cost, kit.lowest_price, kit.price]).all()
    assert FILM_UNKNOWN in kit.note
    # A roll with a price goes before one without, however much film it takes.
    one = kit_of(shop_of(tmp_path / "one", purchases=PURCHASES.replace("| 312", "| 0")), HOOD)
    assert (one.roll_width_m, one.film_cost) == (1.5, pytest.approx(1.04 * 1.5 * 12))


# --- prices and the table ------------------------------------------------------------------------


def test_the_table_says_of_each_kit_what_the_kit_says(shop: Shop) -> None:
    found = kits_of(shop)
    # Only roofs were asked for to date; the newest sales are still to come.
    assert list(found) == [
        ("roof", "cargo van"),
        ("roof", "compact car"),
        ("roof", "standard pickup"),
    ]
    for (service, size), row in list(found.items())[:2]:
        kit = kit_of(shop, KitAsked(service, size))
        assert row["pieces"] == kit.count
        assert row["cut_list"] == cut_list(kit.pieces, shop[1])
        for name in ("film", "allowance_m", "roll_width_m", "cut_length_m", "film_area_m2"):
            assert row[name] == getattr(kit, name), name
        assert row["kit_lowest_price"] == pytest.approx(kit.lowest_price)
        assert row["kit_price"] == kit.price
        assert row["install_price"] == kit.install_price
        assert row["difference"] == pytest.approx(kit.install_price - kit.price)
        assert row["install_leaves"] == kit.install_leaves
        assert row["requests"] == 3
        assert (row["note"] if isinstance(row["note"], str) else "") == kit.note
    van = found["roof", "cargo van"]
    # The row of the list without a class, and what the service leaves.
    assert (van["install_price"], van["install_leaves"]) == (400, 150)


def test_a_kit_that_cannot_be_cut_is_a_row_of_blanks_that_says_why(shop: Shop) -> None:
    row = kits_of(shop)["roof", "standard pickup"]
    assert row["note"].startswith("roof is 3.000 × 1.540 m")
    assert (row["film"], row["pieces"], row["requests"]) == ("F", 1, 3)
    blank = ["cut_list", "allowance_m", "roll_width_m", "cut_length_m", "film_area_m2"]
    for name in (*blank, "kit_lowest_price", "kit_price", "difference"):
        assert pd.isna(row[name]), name
    # A contribution that is not known gives way to that of the service.
    assert (row["install_price"], row["install_leaves"]) == (400, 150)


def test_services_come_in_the_order_in_which_they_are_asked_for(tmp_path: Path) -> None:
    more = [f"{number} | 2026-03-0{number - 5} | F | 1 | 1 | 9 | hood" for number in range(7, 11)]
    shop = shop_of(tmp_path, counter_sales="\n".join([SALES, *more]))
    found = kits_of(shop)
    assert [service for service, _ in found] == ["hood", "roof", "roof", "roof"]
    assert found["hood", "compact car"]["requests"] == 4
    assert pd.isna(found["hood", "compact car"]["install_price"])
    assert pd.isna(found["hood", "compact car"]["install_leaves"])


def test_without_a_sale_every_service_with_panels_has_its_kits(tmp_path: Path) -> None:
    """Roofs in the film laid most for them, G, whose roll of 1.2 no van's roof fits on."""
    shop = shop_of(tmp_path, counter_sales=SALE_COLUMNS)
    found = kits_of(shop)
    assert list(found) == [
        ("cap", "compact car"),
        ("hood", "compact car"),
        ("roof", "cargo van"),
        ("roof", "compact car"),
        ("roof", "standard pickup"),
    ]
    assert {row["requests"] for row in found.values()} == {0}
    assert found["roof", "compact car"]["film"] == "G"
    assert pd.isna(found["roof", "cargo van"]["kit_price"])
    cap = found["cap", "compact car"]
    assert pd.isna(cap["film"])
    assert "is not known" in cap["note"]
    assert cap["pieces"] == 2


def test_without_panels_there_are_no_kits(tmp_path: Path) -> None:
    """No table, and none of the services that are asked for."""
    columns = PANELS.strip().splitlines()[0]
    for at, panels in enumerate((columns, PANELS.replace("roof", "door"))):
        shop = shop_of(tmp_path / str(at), panels=panels)
        found = counter_kits(*shop, DAY, sales_to(shop[1], DAY), COSTS, INSTALLS)
        assert isinstance(found, Unavailable)
        assert (found.result, found.missing) == ("counter_kits", ("panels",))
        assert "panels" in found.line


def test_what_is_not_known_is_not_in_the_price_and_is_said(shop: Shop) -> None:
    kit = kit_of(shop, costs=sale_costs(np.nan, np.nan), installs=INSTALLS.iloc[:0])
    assert kit.lowest_price == pytest.approx((38.16 + 0.5) / 0.96)
    assert kit.note == f"{STAFF_UNKNOWN} {INSTALLS_UNKNOWN}"
    assert np.isnan(kit.install_leaves)
    # A service without a row of its own has the costs over all.
    assert kit_of(shop, HOOD).lowest_price == pytest.approx((1.04 * 1.2 * 13 + 5.5) / 0.96)


def test_without_a_price_list_the_difference_is_not_known(tmp_path: Path) -> None:
    shop = shop_of(tmp_path, price_list="service | list_price | effective_from")
    row = kits_of(shop)["roof", "compact car"]
    assert pd.isna(row["install_price"])
    assert pd.isna(row["difference"])
    assert row["kit_price"] > 0


# --- the demo again ------------------------------------------------------------------------------


def test_every_kit_of_the_demo_can_be_cut_and_is_large_enough() -> None:
    """Every figure of the table worked out again from the kit's own pieces and layout."""
    day = pd.Timestamp("2026-09-30")
    records = read_records(DEMO)
    shop = cost_records(records, day), records
    own = {"hood": (8.0, -2.0), "roof": (9.0, 90.0)}
    sales, costs = sales_to(records, day), sale_costs(9.0, 4.0, services=own)
    found = counter_kits(*shop, day, sales, costs, INSTALLS)
    assert isinstance(found, pd.DataFrame)
    requests = sales["service"].value_counts()
    assert found["requests"].is_monotonic_decreasing
    assert set(found["service"]) == set(requests.index)
    assert len(found) == 10 * len(requests)
    assert found["kit_price"].notna().all()
    fees, target = records.settings.fees, records.settings.counter_margin
    kept = 1 - fees.card_percent / 100
    for row in found.to_dict("records"):
        a_square = roll_prices(shop[0], row["film"], day)[row["roll_width_m"]]
        staff, installs = own.get(row["service"], (9.0, 4.0))
        cost = row["film_area_m2"] * a_square + staff
        lowest = (cost + installs + fees.card_fixed) / kept
        floor = (cost + fees.card_fixed) / (kept - target)
        assert row["kit_lowest_price"] == pytest.approx(lowest)
        assert row["kit_price"] == np.ceil(floor + max(installs, 0.0) / kept)
        assert row["difference"] == pytest.approx(row["install_price"] - row["kit_price"])
        assert row["requests"] == requests[row["service"]]
    usual = usual_allowance(film_history(*shop, day).cuts, day)
    extra = records.settings.extra_allowance_m
    # Each kit by itself takes its time: one in five, the widest roofs among them.
    chosen = found.iloc[::5].to_dict("records")
    assert any("gives way" in str(row["note"]) for row in chosen)
    for row in chosen:
        kit = make_kit(*shop, day, KitAsked(row["service"], row["vehicle_class"]), costs, INSTALLS)
        check_cut(kit, records.settings.knife_gap_m)
        listed = listed_panels(
            records["panels"], row["service"], Vehicle("", "", row["vehicle_class"])
        )
        assert [each.panel for each in kit.pieces] == listed["panel"].tolist()
        assert row["pieces"] == kit.count == listed["pieces"].sum()
        full = [_is_large_enough(each, usual, extra) for each in kit.pieces]
        assert all(full) == ("gives way" not in kit.note)
        directional = kit.film in records.settings.film.directional
        laid = [each for pull in kit.layout.pulls for each in pull.placed]
        assert all(each.piece.may_turn != directional for each in laid)
        used = max(each.across_m + each.width_m for each in laid)
        area = kit.cut_length_m * kit.roll_width_m
        if "Keep the strip" in kit.note:
            assert kit.cut_length_m * used < row["film_area_m2"] < area
        else:
            assert row["film_area_m2"] == pytest.approx(area)
        for column in ("film", "allowance_m", "roll_width_m", "cut_length_m", "film_area_m2"):
            assert row[column] == getattr(kit, column), column


def _is_large_enough(piece: KitPiece, usual: pd.DataFrame, extra: float) -> bool:
    """The shop's own allowance is in it, always; whether the extra is."""
    own = usual.loc[piece.panel if piece.panel in usual.index else ALL_PANELS]
    sides = (own["long_m"], own["short_m"])
    if piece.finished_length_m < piece.finished_width_m:
        sides = sides[::-1]
    spare = [
        (piece.length_m - piece.finished_length_m) / 2 - sides[0],
        (piece.width_m - piece.finished_width_m) / 2 - sides[1],
    ]
    assert min(spare) > -1e-6
    # Rounded up to an eighth of an inch, no more.
    assert max(spare) < extra + 0.0254 / 16 + 1e-6
    return min(spare) > extra - 1e-6


def test_equal_kits_are_laid_out_once(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second class with the same sizes costs no further layout."""
    asked: list[tuple[KitPiece, ...]] = []

    def counted(pieces: tuple[KitPiece, ...], *more: Any) -> Any:
        asked.append(pieces)
        return lay_out_kit(pieces, *more)

    monkeypatch.setattr("analysis.pricing.counter_kits.lay_out_kit", counted)
    costing, records = shop
    van = records["panels"]["vehicle_class"] == "cargo van"
    same = records["panels"][~van & (records["panels"]["service"] == "roof")]
    same = same[same["vehicle_class"] == "compact car"]
    twice = pd.concat([same, same.assign(vehicle_class="minivan")], ignore_index=True)
    tables = {**records.tables, "panels": twice}
    doubled = Records(**{**records.__dict__, "tables": tables})
    assert len(kits_of((costing, doubled))) == 2
    assert len(asked) == 1


def test_a_piece_says_what_it_is_larger() -> None:
    piece = KitPiece("hood", 2, 1.2, 1.0, 1.0, 0.9)
    assert piece.allowance_m == pytest.approx((0.1 + 0.05) / 2)
