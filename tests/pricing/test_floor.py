"""The floor under a price: hand-worked sums, and a published example of contribution margin."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.costing.jobs import Costing, cost_records
from analysis.pricing.floor import (
    RedoHistory,
    at_price,
    floor_price,
    installer_rate,
    list_price,
    next_rates,
    redo_history,
    redo_reserve,
    replacement_cost,
)
from analysis.records.model import Records
from analysis.settings import parse_settings
from tests.shops import records_of

DAY = pd.Timestamp("2026-06-30")
PLAIN = parse_settings("")
TAXED = parse_settings(
    "prices_include_tax = true\ntax_rate = 0.2\n[fees]\ncard_percent = 2.9\ncard_fixed = 0.3"
)


def costed(folder: Path, toml: str, **tables: str) -> tuple[Costing, Records]:
    records = records_of(folder, toml, **tables)
    return cost_records(records, DAY), records


def test_floor_without_tax_and_fee_is_cost_over_one_less_the_margin() -> None:
    assert floor_price(55.0, 0.45, PLAIN) == pytest.approx(100.0)


@pytest.mark.parametrize(("price", "cost", "ratio"), [(100, 20, 0.8), (75, 15, 0.8)])
def test_floor_at_the_published_contribution_ratio_is_the_published_price(
    price: float, cost: float, ratio: float
) -> None:
    """OpenStax, Principles of Accounting 2 (2019), sections 3.1 and 3.2, the birdbath maker."""
    assert floor_price(cost, ratio, PLAIN) == pytest.approx(price)
    assert at_price(price, cost, PLAIN).contribution_share == pytest.approx(ratio)


def test_a_commission_on_each_sale_lowers_what_the_published_price_leaves() -> None:
    """OpenStax, Principles of Accounting 2 (2019), section 3.1, 'Margin at the Kiosk'.

    Price 25, bought at 15, commission 0.50 a sale: 100 sold leave a contribution of 950.
    """
    settings = parse_settings("[fees]\ncard_fixed = 0.5")
    left = at_price(25.0, 15.0, settings)
    assert 100 * left.contribution == pytest.approx(950)
    assert floor_price(15.0, left.contribution_share, settings) == pytest.approx(25.0)


def test_floor_with_tax_and_card_fee_by_hand() -> None:
    """(200 + 0.30) ÷ (0.55 ÷ 1.2 − 0.029) = 200.30 ÷ 0.429333 = 466.5373."""
    floor = floor_price(200.0, 0.45, TAXED)
    assert floor == pytest.approx(466.5373, abs=1e-4)
    left = at_price(floor, 200.0, TAXED)
    assert left.fee == pytest.approx(13.8296, abs=1e-4)
    # 466.5373 ÷ 1.2 = 388.7811; less 13.8296 and 200.
    assert left.contribution == pytest.approx(174.9515, abs=1e-4)
    assert left.contribution_share == pytest.approx(0.45)


@given(
    cost=st.floats(0, 1e5),
    margin=st.floats(0, 0.9),
    tax=st.floats(0, 0.3),
    percent=st.floats(0, 5),
    fixed=st.floats(0, 2),
)
def test_what_is_left_at_the_floor_is_the_target(
    cost: float, margin: float, tax: float, percent: float, fixed: float
) -> None:
    settings = parse_settings(
        f"prices_include_tax = true\ntax_rate = {tax:.9f}\n"
        f"[fees]\ncard_percent = {percent:.9f}\ncard_fixed = {fixed:.9f}"
    )
    floor = floor_price(cost, margin, settings)
    net = floor * settings.net_of_tax
    fee = floor * settings.fees.card_percent / 100 + settings.fees.card_fixed
    assert net - fee - cost == pytest.approx(margin * net, abs=1e-6, rel=1e-9)


def test_no_price_leaves_a_margin_that_the_card_takes_and_no_cost_has_no_floor() -> None:
    assert np.isnan(floor_price(10.0, 0.98, TAXED))
    assert np.isnan(floor_price(10.0, 1.0, PLAIN))
    assert np.isnan(floor_price(np.nan, 0.45, PLAIN))


def test_nothing_is_paid_on_a_price_of_nothing() -> None:
    left = at_price(0.0, 12.0, TAXED)
    assert (left.fee, left.contribution) == (0.0, -12.0)
    assert np.isnan(left.contribution_share)


PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |unit_price
    A | 2026-01-05 | S | F | film | 2 | 10 | 1 | 200
    B | 2026-05-04 | T | F | film | 2 | 10 | 1 | 270
    B | 2026-05-04 | T | F | film | 1 | 10 | 1 | 150
    B | 2026-05-04 | T | F | freight |  |  | 1 | 30
    B | 2026-05-06 | T | F | credit |  |  | 1 | 60
    C | 2026-07-06 | S | F | film | 2 | 10 | 1 | 900
    D | 2026-03-02 | S | cloth | consumable |  |  | 1 | 130"""
JOBS = """
    job_id | finished_on | service | make | model | quoted_hours | quoted_price | redo_of
    R1 | 2026-02-02 | roof | Q | Heron | 2 | 300 |
    R2 | 2026-02-03 | roof | Q | Heron | 2 | 300 |
    R3 | 2026-02-04 | roof | Q | Heron | 2 | 300 |
    R4 | 2026-02-05 | roof | Q | Heron | 2 | 300 |
    H1 | 2026-02-06 | hood | Q | Heron | 2 | 300 |
    X1 | 2026-03-02 | roof | Q | Heron | 1 | 20 | R1
    X2 | 2026-03-03 | roof | Q | Heron | 1 | 0 | R1"""
HOURS = """
    job_id | worked_on | installer | hours | overtime
    R1 | 2026-02-02 | Ines | 2 | no
    R2 | 2026-02-03 | Ines | 2 | no
    R3 | 2026-02-04 | Ines | 2 | no
    R4 | 2026-02-05 | Ines | 2 | no
    H1 | 2026-02-06 | Tomas | 2 | yes
    X1 | 2026-03-02 | Ines | 2 | no
    X2 | 2026-03-03 | Ines | 1 | no"""
# No roof takes film; the hood does.
CUTS = """
    cut_id | cut_on | job_id | film | pulled_length | pulled_width
    1 | 2026-02-06 | H1 | F | 1 | 2"""
RATES = """
    installer | effective_from | wage
    Ines | 2025-01-01 | 20
    Ines | 2026-06-01 | 22
    Tomas | 2025-01-01 | 30"""
TOML = 'length_unit = "m"\narea_unit = "m2"\n[labour]\non_cost = 0.1\n'


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> tuple[Costing, Records]:
    return costed(
        tmp_path_factory.mktemp("floor") / "shop",
        TOML,
        jobs=JOBS,
        hours=HOURS,
        purchases=PURCHASES,
        rates=RATES,
        cuts=CUTS,
    )


def test_replacement_cost_is_the_newest_landed_cost(shop: tuple[Costing, Records]) -> None:
    """May: 270 + 150 + freight 30 − credit 60 = 390 for 30 m²; July has not come yet."""
    costing, _ = shop
    assert replacement_cost(costing, "F", DAY) == pytest.approx(13.0)
    assert replacement_cost(costing, "F", pd.Timestamp("2026-05-03")) == pytest.approx(10.0)
    assert np.isnan(replacement_cost(costing, "F", pd.Timestamp("2026-01-04")))
    assert np.isnan(replacement_cost(costing, "G", DAY))


def test_a_credit_is_known_from_its_day_on(tmp_path: Path) -> None:
    """What was expected on a day must not know of an allowance that came months later."""
    records = records_of(
        tmp_path,
        jobs=f"""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
            J1 | {DAY:%Y-%m-%d} | roof | Quillon | Heron | 3 | 400 | 3""",
        purchases="""
        invoice|received_on|supplier|item|kind|quantity|unit_price|roll_width|roll_length
        A | 2026-04-20 | S | F | film | 1 | 100 | 1 | 10
        A | 2026-05-10 | S | F | credit | 1 | 20 | |""",
    )
    costing = cost_records(records, DAY)
    assert replacement_cost(costing, "F", pd.Timestamp("2026-05-09")) == pytest.approx(10.0)
    assert replacement_cost(costing, "F", pd.Timestamp("2026-05-10")) == pytest.approx(8.0)


def test_rates_of_the_next_job(shop: tuple[Costing, Records]) -> None:
    """11 h of Ines at 22, 2 overtime hours of Tomas at 30 × 1.5 + 3; cloth for 130 over 13 h."""
    costing, records = shop
    rates = next_rates(costing, records.settings, DAY)
    assert rates.labour == pytest.approx((11 * 22 + 2 * 48) / 13)
    assert rates.consumables == pytest.approx(10.0)
    assert rates.unpaid_share == 0
    # One's own is that of the newest wage, without overtime.
    assert installer_rate(records, "Ines", DAY) == pytest.approx(24.2)
    assert installer_rate(records, "Tomas", DAY) == pytest.approx(33.0)
    assert np.isnan(installer_rate(records, "Nobody", DAY))


def test_hours_without_a_wage_are_left_out_of_the_mean_and_counted(tmp_path: Path) -> None:
    costing, records = costed(
        tmp_path / "shop",
        TOML,
        jobs=JOBS,
        hours=HOURS,
        purchases=PURCHASES,
        rates="installer | effective_from | wage\nInes | 2025-01-01 | 20",
    )
    rates = next_rates(costing, records.settings, DAY)
    assert rates.labour == pytest.approx(22.0)
    assert rates.unpaid_share == pytest.approx(2 / 13)
    later = next_rates(costing, records.settings, pd.Timestamp("2027-06-30"))
    assert np.isnan(later.labour)
    waged = parse_settings("[labour]\ndefault_wage = 10\non_cost = 0.2")
    assert next_rates(costing, waged, pd.Timestamp("2027-06-30")).labour == pytest.approx(12.0)


def test_redo_reserve_by_hand(shop: tuple[Costing, Records]) -> None:
    """One job of five was done over, in two goes: 3 h at 22 + 10 consumables, less 20 charged.

    Shop 1 ÷ 5; roof (1 + 20 × 0.2) ÷ (4 + 20); hood 20 × 0.2 ÷ (1 + 20). A redo of a roof costs
    96 − 20 = 76; the job it did over 64 (2 h × 32).
    """
    costing, _ = shop
    history = redo_history(costing, DAY)
    assert redo_reserve(history, "roof", 1000.0) == pytest.approx(5 / 24 * 76)
    assert redo_reserve(history, "hood", 1000.0) == pytest.approx(4 / 21 * 76 / 64 * 1000)
    before = redo_history(costing, pd.Timestamp("2026-02-28"))
    assert redo_reserve(before, "roof", 1000.0) == 0
    # Between the two redos: 2 h, 64 less 20.
    between = redo_history(costing, pd.Timestamp("2026-03-02"))
    assert redo_reserve(between, "roof", 1000.0) == pytest.approx(5 / 24 * 44)


def test_a_redo_that_was_paid_for_reserves_nothing_and_an_unknown_cost_is_unknown() -> None:
    history = redo_history_of(cost=-50.0)
    assert redo_reserve(history, "roof", 100.0) == 0
    assert np.isnan(redo_reserve(redo_history_of(cost=np.nan), "hood", 100.0))


def redo_history_of(cost: float) -> RedoHistory:
    by_service = pd.Series([0.1, 0.1], index=["roof", "hood"])
    return RedoHistory(by_service, 0.1, pd.Series([cost], index=["roof"]), np.nan)


@pytest.mark.parametrize(
    ("service", "vehicle_class", "day", "price"),
    [
        ("roof", "minivan", "2026-06-30", 400),
        ("roof", "minivan", "2026-01-31", 380),
        ("roof", "minivan", "2026-02-01", 400),  # the day itself counts
        ("tint", None, "2026-06-30", None),  # a price of 0 is none
        # A class of its own row keeps it, though the row for all classes is newer.
        ("roof", "minivan", "2026-09-30", 400),
        ("roof", "compact car", "2026-06-30", 350),
        ("roof", None, "2026-06-30", 350),
        ("roof", "compact car", "2026-09-30", 360),
        ("roof", "compact car", "2025-12-31", None),
        ("hood", "compact car", "2026-06-30", None),
    ],
)
def test_list_price(service: str, vehicle_class: str | None, day: str, price: float | None) -> None:
    rows = [
        ("roof", None, 360, "2026-08-01"),
        ("roof", None, 350, "2026-01-01"),
        ("roof", "minivan", 400, "2026-02-01"),
        ("roof", "minivan", 380, "2026-01-01"),
        ("tint", None, 0, "2026-01-01"),
    ]
    names = ["service", "vehicle_class", "list_price", "effective_from"]
    prices = pd.DataFrame(rows, columns=names).astype({"vehicle_class": "str"})
    prices["effective_from"] = pd.to_datetime(prices["effective_from"])
    found = list_price(prices, service, vehicle_class, pd.Timestamp(day))
    assert np.isnan(found) if price is None else found == price


def test_the_target_of_a_service_is_its_own() -> None:
    settings = parse_settings("[targets]\nmargin = 0.5\n[targets.service.roof]\nmargin = 0.2")
    assert floor_price(80.0, settings.target_margin("Roof"), settings) == pytest.approx(100.0)
