"""How full the shop was by month, and what is short for the next quarter."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unavailable, Unreconciled
from analysis.findings.capacity_use import (
    BAYS,
    INSTALLERS,
    NOTHING,
    SHORT_FROM_SHARE,
    UNKNOWN,
    Governing,
    Spare,
    Use,
    constraints,
    governing,
    governing_in,
    spare_hours,
    utilisation_by_month,
    why_short,
)
from analysis.findings.margins import shop_result
from analysis.periods import Quarter
from analysis.price_tables import UTILISATION_BY_MONTH
from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.settings import Settings
from tests.shops import records_of

DEMO = Path(__file__).parents[2] / "data_demo"
QUARTER = Quarter(2026, 3)
JOBS = """
job_id | finished_on | status | service | make | model | quoted_hours | quoted_price | hours | crew
    A | 2026-08-02 | finished | roof | m | n | 4 | 90 | |
    B | | open | hood | m | n | 4 | 90 | |
    C | 2026-09-10 | finished | tint | m | n | 4 | 90 | 6 | Ines; Tom"""
HOURS = """
    job_id | worked_on | installer | hours
    A | 2026-07-31 | Ines | 3
    A | 2026-07-31 | Ines | 2
    A | 2026-07-31 | Tom | 4
    A | 2026-08-02 | Tom | 1
    B | 2026-08-03 | Ines | 2.5
    X | 2026-08-04 | Tom | 1.5
    A | 2026-10-01 | Tom | 8"""
CAPACITY = """
    month | installer_hours | bay_hours
    2026-05 | 30 | 20
    2026-07 | 6 | 10
    2026-07 | 4 | 5
    2026-08 | 10 | """
PURCHASES = "invoice | received_on | supplier | item | kind | quantity | unit_price\n"
PURCHASES += "A | 2026-05-02 | S | tape | consumable | 1 | 5"
OVERHEADS = "month | category | amount\n2026-07 | rent | 100"


def costed(folder: Path, **tables: str) -> tuple[Costing, Records]:
    made: dict[str, str] = {
        "jobs": JOBS,
        "hours": HOURS,
        "capacity": CAPACITY,
        "overheads": OVERHEADS,
        "purchases": PURCHASES,
    } | tables
    records = records_of(folder, **{name: text for name, text in made.items() if text})
    return cost_records(records, QUARTER.last_day), records


@pytest.fixture(scope="module")
def demo() -> tuple[Costing, Records]:
    records = read_records(DEMO)
    return cost_records(records, QUARTER.last_day), records


def test_months_by_hand(tmp_path: Path) -> None:
    table = utilisation_by_month(*costed(tmp_path), QUARTER)
    assert isinstance(table, pd.DataFrame)
    assert list(table) == UTILISATION_BY_MONTH.inside_names
    rows = table.set_index(table["month"].dt.strftime("%Y-%m"))
    # May is before the first entry of the log; October is after the quarter.
    assert list(rows.index) == ["2026-05", "2026-07", "2026-08", "2026-09"]
    assert rows.loc["2026-05", ["worked_hours", "bay_hours", "installer_use_share"]].isna().all()
    assert rows.loc["2026-05", "constraint"] == UNKNOWN
    july = rows.loc["2026-07"]
    assert (july["installer_hours"], july["bay_capacity_hours"]) == (10, 15)  # given twice: added
    assert (july["worked_hours"], july["bay_hours"]) == (9, 5)  # Ines held it longest, 3 + 2
    assert (july["installer_use_share"], july["bay_use_share"]) == (0.9, pytest.approx(1 / 3))
    # 100 of overheads over the 10 hours of the month that has both.
    assert (july["unused_hours"], july["unused_cost"]) == (1, pytest.approx(10))
    assert july["constraint"] == INSTALLERS
    august = rows.loc["2026-08"]
    assert (august["worked_hours"], august["bay_hours"]) == (5, 3.5)  # X is no job: it holds no bay
    assert np.isnan(august["bay_capacity_hours"])
    assert np.isnan(august["bay_use_share"])
    assert august["constraint"] == NOTHING
    # The sheet of job C: six hours of two people, three of the bay, on the day it was finished.
    assert tuple(rows.loc["2026-09", ["worked_hours", "bay_hours"]]) == (6, 3)
    assert np.isnan(rows.loc["2026-09", "unused_cost"])


def test_what_is_not_short_has_its_unused_hours_to_spare() -> None:
    """Twelve months of 100 and 80 hours, of which 90 and 50 were used; the year before is out."""
    months = pd.DataFrame(
        {
            "month": pd.date_range("2024-10-01", periods=24, freq="MS"),
            "installer_hours": 100.0,
            "worked_hours": 90.0,
            "bay_capacity_hours": [*[999.0] * 12, *[80.0] * 12],
            "bay_hours": 50.0,
        }
    )

    def spare(constraint: str, **changes: Any) -> Spare:
        held = Governing(constraint, *(Use(1.0, 1.0),) * 3)
        return spare_hours(months.assign(**changes), held, QUARTER)

    assert spare(INSTALLERS) == Spare(bay_hours=360)
    assert spare(BAYS) == Spare(people_hours=120)
    assert spare(NOTHING) == spare(UNKNOWN) == Spare()
    # One month in which it is not written down, and a year in which more was used than there was.
    last = months["month"] == months["month"].max()
    assert spare(INSTALLERS, bay_capacity_hours=months["bay_capacity_hours"].mask(last)) == Spare()
    assert spare(BAYS, worked_hours=101.0) == Spare()
    none = Unavailable("utilisation_by_month", (), "")
    short = Governing(BAYS, *(Use(1.0, 1.0),) * 3)
    assert spare_hours(none, short, QUARTER) == Spare()
    assert spare_hours(months.iloc[13:], short, QUARTER) == Spare()


def test_a_month_without_an_entry_between_others_was_not_worked(tmp_path: Path) -> None:
    hours = (
        "job_id | worked_on | installer | hours\nA | 2026-05-04 | Ines | 3\nA | 2026-07-02 | I | 2"
    )
    capacity = "month | installer_hours\n2026-04 | 9\n2026-06 | 9\n2026-08 | 9"
    table = utilisation_by_month(*costed(tmp_path, hours=hours, capacity=capacity), QUARTER)
    assert isinstance(table, pd.DataFrame)
    worked = table.set_index(table["month"].dt.month)["worked_hours"]
    assert worked[6] == 0
    assert np.isnan(worked[4])
    assert worked[8] == 0  # the sheet of job C is the last entry, in September


def test_without_capacity_and_without_hours(tmp_path: Path) -> None:
    made = costed(tmp_path / "a", capacity="", overheads="")
    table = utilisation_by_month(*made, QUARTER)
    assert isinstance(table, pd.DataFrame)
    assert table["worked_hours"].sum() == 20
    assert set(table["constraint"]) == {UNKNOWN}
    assert governing(*made, QUARTER).constraint == UNKNOWN
    jobs = JOBS.replace("| 6 | Ines; Tom", "| |")
    none = utilisation_by_month(
        *costed(tmp_path / "b", jobs=jobs, hours="", capacity="", overheads=""), QUARTER
    )
    assert isinstance(none, Unavailable)
    found = governing_in(none, QUARTER)
    assert found.constraint == UNKNOWN
    assert np.isnan(found.refill_share)
    assert "capacity" in why_short(found, Settings())


def test_bay_hours_that_are_not_those_of_the_jobs_stop_the_run(tmp_path: Path) -> None:
    costing, records = costed(tmp_path)
    costing.lines["bay_hours"] = costing.lines["bay_hours"] * 1.01
    with pytest.raises(Unreconciled, match="Bay hours"):
        utilisation_by_month(costing, records, QUARTER)


def test_the_demo_agrees_with_the_statement(demo: tuple[Costing, Records]) -> None:
    costing, records = demo
    table = utilisation_by_month(costing, records, QUARTER)
    assert isinstance(table, pd.DataFrame)
    assert len(table) == 24
    year = table[table["month"] >= QUARTER.year_first_day]
    rates = [costing.rates[QUARTER.index - back] for back in range(4)]
    statement = shop_result(costing, records, rates).set_index("line")["amount"]
    assert year["unused_cost"].sum() == pytest.approx(statement["unused_capacity"])
    found = governing(costing, records, QUARTER)
    assert 100 * found.year.installer_share == pytest.approx(statement["utilisation_pct"])
    now = year[year["month"] >= QUARTER.first_day]
    assert now["worked_hours"].sum() == pytest.approx(rates[0].worked_hours)
    assert found.constraint == INSTALLERS
    assert found.coming.installer_share > found.quarter.installer_share > SHORT_FROM_SHARE


def months(people: list[float], bays: list[float] | None = None) -> pd.DataFrame:
    """Months that end with the quarter, of 100 practical hours each, with that use."""
    use = np.array(people)
    held = np.full(len(use), np.nan) if bays is None else np.array(bays)
    end = QUARTER.first_day + pd.DateOffset(months=2)
    frame = pd.DataFrame(
        {
            "month": pd.date_range(end=end, periods=len(use), freq="MS"),
            "installer_hours": 100.0,
            "worked_hours": 100 * use,
            "bay_capacity_hours": 100.0,
            "bay_hours": 100 * held,
        }
    )
    return frame.assign(constraint=constraints(frame["worked_hours"] / 100, pd.Series(held)))


# By quarter, the oldest first: the fifth is the season of the next quarter, a year ago.
CASES: dict[str, tuple[list[float], float, str]] = {
    "full all year": ([0.9] * 8, 0.9, INSTALLERS),
    "idle all year": ([0.7] * 8, 0.7, NOTHING),
    "full in summer, idle in the winter to come": (
        [0.6, 0.6, 0.9, 1.0, 0.6, 0.6, 0.9, 1.0],
        0.6,
        NOTHING,
    ),
    "idle now, full in the season to come": (
        [1.0, 0.6, 0.6, 0.6, 1.0, 0.6, 0.6, 0.6],
        1.0,
        INSTALLERS,
    ),
    "grown by a fifth since": ([0.6, 0.6, 0.7, 0.7, 0.75, 0.75, 0.81, 0.81], 0.9, INSTALLERS),
    "fallen by a quarter": ([1.0, 1.0, 1.0, 1.0, 0.9, 0.7, 0.7, 0.7], 0.675, NOTHING),
}


@pytest.mark.parametrize("case", CASES)
def test_the_season_to_come_decides(case: str) -> None:
    quarters, coming, constraint = CASES[case]
    found = governing_in(months([use for use in quarters for _ in range(3)]), QUARTER)
    assert found.coming.installer_share == pytest.approx(coming)
    assert np.isnan(found.coming.bay_share)
    assert found.constraint == constraint
    assert found.year.installer_share == pytest.approx(np.mean(quarters[4:]))
    assert found.quarter.installer_share == pytest.approx(quarters[7])


def test_a_young_shop_is_judged_by_what_there_is() -> None:
    ended = governing_in(months([0.5, 0.5, 0.5, 0.9, 0.9, 0.9]), QUARTER)
    assert ended.coming.installer_share == pytest.approx(0.9)
    assert "quarter that ended" in ended.ground
    season = governing_in(months([0.5] * 2 + [0.9] * 3 + [0.4] * 9), QUARTER)
    assert season.coming.installer_share == pytest.approx(0.9)
    assert "changed" not in season.ground  # two months in both years show no change


@pytest.mark.parametrize(
    ("people", "bays", "constraint"),
    [
        (0.85, 0.8499, INSTALLERS),
        (0.86, 0.87, BAYS),
        (0.9, 0.9, BAYS),
        (0.8499, 0.8499, NOTHING),
        (np.nan, 0.9, BAYS),
        (0.5, np.nan, NOTHING),
        (np.nan, np.nan, UNKNOWN),
    ],
)
def test_what_is_used_more_is_short(people: float, bays: float, constraint: str) -> None:
    found = governing_in(months([people] * 24, [bays] * 24), QUARTER)
    assert found.constraint == constraint
    assert found.is_short == (constraint in (BAYS, INSTALLERS))
    word = {BAYS: "bays are what", INSTALLERS: "people's hours are what", NOTHING: "nothing is"}
    assert word.get(constraint, "cannot be said") in why_short(found, Settings())


@pytest.mark.parametrize(
    ("use", "share"), [(0.5, 0.0), (0.85, 0.0), (0.925, 0.5), (1.0, 1.0), (1.2, 1.0)]
)
def test_a_freed_hour_is_the_likelier_filled_the_fuller_the_shop(use: float, share: float) -> None:
    assert governing_in(months([use] * 24), QUARTER).refill_share == pytest.approx(share, abs=1e-9)
    full_bays = governing_in(months([0.2] * 24, [use] * 24), QUARTER)
    assert full_bays.refill_share == pytest.approx(share, abs=1e-9)


@given(st.lists(st.floats(0, 1.3), min_size=1, max_size=24), st.floats(0.2, 5))
def test_the_size_of_the_shop_does_not_matter(use: list[float], scale: float) -> None:
    frame = months(use, use[::-1])
    numbers: Any = frame.select_dtypes("number").columns
    larger = frame.assign(**{name: frame[name] * scale for name in numbers})
    one, other = governing_in(frame, QUARTER), governing_in(larger, QUARTER)
    assert other.coming.bay_share == pytest.approx(one.coming.bay_share, nan_ok=True)
    assert other.year.installer_share == pytest.approx(one.year.installer_share)
    assert 0 <= one.refill_share <= 1
    assert (one.refill_share == 0) or one.is_short
