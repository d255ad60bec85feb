"""What an hour earns, the best mix, and the worth of an hour."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unavailable
from analysis.findings.capacity_use import (
    BAYS,
    INSTALLERS,
    NOTHING,
    UNKNOWN,
    Governing,
    Spare,
    Use,
    governing,
    spare_hours,
    utilisation_by_month,
)
from analysis.findings.earning import (
    ALL_SERVICES,
    best_mix,
    best_plan,
    earning_by_service,
    hour_earned,
    hour_value,
)
from analysis.findings.groups import Period
from analysis.price_tables import BEST_MIX, EARNING_BY_SERVICE
from analysis.records.read import read_records
from tests.findings.made_costing import QUARTER, YEAR, costing_of

DEMO = Path(__file__).parents[2] / "data_demo"
PERIOD = Period(QUARTER.year_first_day, QUARTER.last_day)


def holds(constraint: str, use: float = 1.0) -> Governing:
    """That this is short (or nothing, or not known), at such a use of both."""
    return Governing(constraint, *(Use(use, use),) * 3)


def jobs(
    service: str, count: int, margin: float, hours: float, **rest: Any
) -> list[dict[str, Any]]:
    line = {"service": service, "material_margin": margin, "actual_hours": hours} | rest
    return [dict(line) for _ in range(count)]


def lines() -> list[dict[str, Any]]:
    """Slow work holds a bay as long as it takes; quick work is done by two side by side."""
    return [
        *jobs("slow", 6, 100, 4, contribution=90),
        *jobs("quick", 5, 120, 6, bay_hours=3, contribution=60),
        *jobs("lost", 1, np.nan, 2),
        *jobs("slow", 1, -500, 9, is_redo=True),
        *jobs("slow", 9, 1, 1, finished_on=pd.Timestamp("2025-09-30")),
        *jobs("slow", 9, 1, 1, finished=False),
    ]


@pytest.fixture(scope="module")
def demo() -> tuple[Costing, Governing]:
    records = read_records(DEMO)
    costing = cost_records(records, QUARTER.last_day)
    return costing, governing(costing, records, QUARTER)


@pytest.fixture(scope="module")
def spare(demo: tuple[Costing, Governing]) -> Spare:
    months = utilisation_by_month(demo[0], read_records(DEMO), QUARTER)
    return spare_hours(months, demo[1], QUARTER)


@pytest.mark.parametrize(
    ("constraint", "governs", "ranks"),
    [
        (BAYS, "by bay hour", {"quick": 1, "slow": 2}),
        (INSTALLERS, "by installer hour", {"slow": 1, "quick": 2}),
        (NOTHING, "by contribution", {"quick": 1, "slow": 2}),
        (UNKNOWN, "not known", {"quick": 1, "slow": 2}),
    ],
)
def test_the_hour_that_is_short_ranks(constraint: str, governs: str, ranks: dict[str, int]) -> None:
    table = earning_by_service(costing_of(lines()), holds(constraint), PERIOD, 6)
    assert list(table) == EARNING_BY_SERVICE.inside_names
    rows = table.set_index("service")
    assert list(rows.index) == ["lost", "quick", "slow"]
    assert rows["jobs"].to_dict() == {"lost": 1, "quick": 5, "slow": 6}
    assert rows["per_bay_hour"].to_dict() == pytest.approx(
        {"lost": np.nan, "quick": 40, "slow": 25}, nan_ok=True
    )
    assert rows.loc[["quick", "slow"], "per_installer_hour"].tolist() == [20, 25]
    assert rows["contribution_share"].to_dict() == pytest.approx(
        {"lost": np.nan, "quick": 0.25, "slow": 0.45}, nan_ok=True
    )
    assert rows["rank_when_full"].dropna().to_dict() == ranks
    assert rows["rank_when_idle"].dropna().to_dict() == {"slow": 1, "quick": 2}
    assert set(rows["governs"]) == {governs}
    assert rows["enough"].to_dict() == {"lost": False, "quick": False, "slow": True}


def test_the_best_mix_by_hand() -> None:
    """100 h of both: 'rich' is bound by its best quarter, 'dull' gives its hours up."""
    early = YEAR[1].first_day
    made = costing_of(
        [
            *jobs("rich", 6, 100, 2),
            *jobs("rich", 4, 100, 2, finished_on=early),
            *jobs("dull", 10, 40, 4),
            *jobs("even", 10, 80, 4),
        ]
    )
    table = best_mix(made, Spare(), PERIOD, YEAR, 5)
    assert isinstance(table, pd.DataFrame)
    assert list(table) == BEST_MIX.inside_names
    rows = table.set_index("service")
    assert rows["most_jobs"].to_dict() == {"rich": 24, "even": 40, "dull": 40, ALL_SERVICES: 104}
    best = {"rich": 24, "even": 13, "dull": 0, ALL_SERVICES: 37}  # 48 h, the 52 that are left
    assert rows["best_jobs"].to_dict() == pytest.approx(best)
    gain = {"rich": 1400, "even": 240, "dull": -400, ALL_SERVICES: 1240}
    assert rows["gain"].to_dict() == pytest.approx(gain)
    assert list(rows.index) == list(gain)
    assert rows.loc[ALL_SERVICES, "material_margin"] == 2200
    assert rows.loc[ALL_SERVICES, ["hours_each", "material_margin_each"]].isna().all()


@pytest.mark.parametrize(
    ("spare", "long", "gain"),
    [
        (Spare(), 0, 0),  # a long job leaves more an hour of people, a short one of a bay
        (Spare(bay_hours=6), 3, 6 * 5),  # 3 long jobs more for 6 short ones of the same hours
        (Spare(bay_hours=500), 10, 100),  # no more than the best quarter
        (Spare(people_hours=100), -10, 1900),  # 40 short jobs in the bay hours of 10 long ones
    ],
)
def test_only_what_is_short_is_held_to_its_hours(spare: Spare, long: float, gain: float) -> None:
    """A short job takes 2 h of people and 1 of a bay, a long one 4 and 4."""
    early = YEAR[1].first_day
    made = costing_of(
        [
            *jobs("short", 20, 100, 2, bay_hours=1),
            *jobs("short", 10, 100, 2, bay_hours=1, finished_on=early),
            *jobs("long", 5, 210, 4, bay_hours=4),
            *jobs("long", 5, 210, 4, bay_hours=4, finished_on=early),
        ]
    )
    table = best_mix(made, spare, PERIOD, YEAR, 5)
    assert isinstance(table, pd.DataFrame)
    rows = table.set_index("service")
    assert rows.loc["long", "best_jobs"] == pytest.approx(10 + long)
    assert rows.loc[ALL_SERVICES, "gain"] == pytest.approx(gain)


def test_what_is_thin_or_not_known_keeps_its_number() -> None:
    made = costing_of(
        [
            *jobs("good", 8, 100, 2),
            *jobs("bad", 8, 10, 2),
            *jobs("thin", 2, 900, 1),
            *jobs("blank", 8, np.nan, 2),
            *jobs("no hours", 8, 50, 0),
            *jobs("unlogged", 8, 50, np.nan),
        ]
    )
    table = best_mix(made, Spare(), PERIOD, YEAR, 5)
    assert isinstance(table, pd.DataFrame)
    rows = table.set_index("service")
    for service in ("thin", "blank", "no hours", "unlogged"):
        assert rows.loc[service, "best_jobs"] == rows.loc[service, "jobs"]
        assert rows.loc[service, "gain"] == 0
    assert rows.loc["good", "best_jobs"] == pytest.approx(16)
    assert rows.loc["bad", "best_jobs"] == pytest.approx(0)
    assert rows.loc[ALL_SERVICES, "gain"] == pytest.approx(720)
    assert np.isnan(rows.loc[ALL_SERVICES, "material_margin"])
    none = best_mix(costing_of(jobs("thin", 2, 9, 1)), Spare(), PERIOD, YEAR, 5)
    assert isinstance(none, Unavailable)


def test_a_loss_is_left_out_and_redos_do_not_count() -> None:
    made = costing_of([*jobs("loss", 5, -20, 2), *jobs("gain", 5, 20, 2, is_redo=False)])
    table = best_mix(made, Spare(), PERIOD, YEAR, 5)
    assert isinstance(table, pd.DataFrame)
    rows = table.set_index("service")
    assert rows["best_jobs"].to_dict() == pytest.approx({"gain": 10, "loss": 0, ALL_SERVICES: 10})


def test_the_demo_stays_in_its_hours(demo: tuple[Costing, Governing], spare: Spare) -> None:
    """People's hours alone are short there: held to those, more is left than if bays were too."""
    table = best_mix(demo[0], spare, PERIOD, YEAR, 5)
    assert isinstance(table, pd.DataFrame)
    rows, total = table.iloc[:-1], table.iloc[-1]
    assert spare.people_hours == 0
    assert spare.bay_hours > 1000
    for hours, more in (("hours_each", 0.0), ("bay_hours_each", spare.bay_hours)):
        held = (rows["jobs"] * rows[hours]).sum() + more
        assert (rows["best_jobs"] * rows[hours]).sum() <= held * (1 + 1e-9)
    both = best_mix(demo[0], Spare(), PERIOD, YEAR, 5)
    assert isinstance(both, pd.DataFrame)
    assert total["gain"] > both.iloc[-1]["gain"]
    # Filling people's hours by margin an hour, best first, is exact where they alone bind.
    each = rows["material_margin_each"] / rows["hours_each"]
    left, earns = (rows["jobs"] * rows["hours_each"]).sum(), 0.0
    for at in each.sort_values(ascending=False).index:
        taken = min(rows["most_jobs"][at], left / rows["hours_each"][at])
        left -= taken * rows["hours_each"][at]
        earns += taken * rows["material_margin_each"][at]
        assert rows["best_jobs"][at] == pytest.approx(taken, abs=1e-6)
    assert total["best_material_margin"] == pytest.approx(earns)
    assert rows["gain"].is_monotonic_decreasing
    assert (rows["best_jobs"] <= rows["most_jobs"] + 1e-9).all()
    assert 0 < total["gain"] < 0.2 * total["material_margin"]
    for name in ("jobs", "best_jobs", "material_margin", "best_material_margin", "gain"):
        assert total[name] == pytest.approx(rows[name].sum())


# --- the programme itself ------------------------------------------------------------------------

SIZES = st.integers(1, 6)


def programme(seed: int, size: int, limits: int) -> tuple[np.ndarray, ...]:
    random = np.random.default_rng(seed)
    margins = random.normal(200, 200, size)
    uses = random.uniform(0.5, 20, (limits, size))
    most = random.integers(0, 60, size).astype("float64")
    there = uses @ (most * random.uniform(0, 1, size))
    return margins, uses, there, most


@given(st.integers(0, 10**6), SIZES)
@settings(max_examples=150, deadline=None)
def test_one_limit_is_filled_best_first(seed: int, size: int) -> None:
    """Filling by margin an hour is exact where parts of a job count (Dantzig 1957)."""
    margins, uses, limits, most = programme(seed, size, 1)
    left, earns = float(limits[0]), 0.0
    for at in np.argsort(-margins / uses[0]):
        if margins[at] > 0:
            taken = min(most[at], left / uses[0, at])
            left -= taken * uses[0, at]
            earns += taken * margins[at]
    assert best_plan(margins, uses, limits, most).earns == pytest.approx(earns, abs=1e-6)


@given(st.integers(0, 10**6), SIZES)
@settings(max_examples=150, deadline=None)
def test_no_limit_is_broken_and_no_exchange_is_better(seed: int, size: int) -> None:
    margins, uses, limits, most = programme(seed, size, 2)
    plan = best_plan(margins, uses, limits, most)
    amounts = plan.amounts
    assert (amounts >= 0).all()
    assert (amounts <= most).all()
    assert (uses @ amounts <= limits + 1e-6).all()
    assert plan.earns == pytest.approx(margins @ amounts)
    for giver in (None, *range(size)):
        given_up = 0.0 if giver is None else min(1.0, amounts[giver])
        lost = 0.0 if giver is None else given_up * margins[giver]
        freed = np.zeros(2) if giver is None else given_up * uses[:, giver]
        room = np.maximum(limits - uses @ amounts, 0) + freed
        for taker in range(size):
            more = min(most[taker] - amounts[taker], (room / uses[:, taker]).min())
            assert more * margins[taker] - lost <= 1e-5


@given(st.integers(0, 10**6), SIZES)
@settings(max_examples=60, deadline=None)
def test_the_dual_price_is_what_an_hour_more_adds(seed: int, size: int) -> None:
    margins, uses, limits, most = programme(seed, size, 2)
    plan = best_plan(margins, uses, limits, most)
    for at in range(2):
        step = np.zeros(2)
        step[at] = 1.0
        more = best_plan(margins, uses, limits + step, most).earns - plan.earns
        assert -1e-6 <= more <= plan.hour_values[at] + 1e-6  # never more than the first hour's


# --- the worth of an hour ------------------------------------------------------------------------


def test_an_hour_is_worth_what_the_shop_earns_in_one_as_far_as_it_is_filled() -> None:
    made = costing_of(lines())
    # 600 + 600 − 500 over 24 + 30 + 9 person hours and 24 + 15 + 9 bay hours; 'lost' is not known.
    assert hour_value(made, holds(INSTALLERS), PERIOD) == pytest.approx(700 / 63)
    assert hour_value(made, holds(BAYS), PERIOD) == pytest.approx(700 / 48)
    assert hour_value(made, holds(BAYS, 0.94), PERIOD) == pytest.approx(0.6 * 700 / 48)
    assert hour_value(made, holds(BAYS, 0.85), PERIOD) == 0
    assert hour_value(made, holds(NOTHING, 0.5), PERIOD) == 0
    assert np.isnan(hour_value(made, holds(UNKNOWN, np.nan), PERIOD))
    assert hour_earned(made, holds(NOTHING), PERIOD) == pytest.approx(700 / 63)
    losing = costing_of(jobs("loss", 3, -5, 1))
    assert hour_value(losing, holds(BAYS), PERIOD) == 0
    assert np.isnan(hour_value(costing_of(jobs("lost", 3, np.nan, 1)), holds(BAYS), PERIOD))


def test_in_the_demo_an_hour_is_worth_more_than_its_wage_and_less_than_the_best(
    demo: tuple[Costing, Governing],
) -> None:
    costing, found = demo
    value = hour_value(costing, found, PERIOD)
    best = earning_by_service(costing, found, PERIOD, 5)["per_installer_hour"].max()
    wage = costing.log["cost"].sum() / costing.log["hours"].sum()
    assert wage < value < hour_earned(costing, found, PERIOD) < best
