"""Past jobs quoted again: never from a later job, and as often right as promised."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.sparse import csr_array

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.findings.backtest import (
    FEWEST_JOBS,
    LEVELS,
    METHODS,
    pinball_loss,
    quote_again,
    quote_calibration,
)
from analysis.findings.hours_model import HoursData, hours_data
from analysis.records.read import read_records
from tests.demo import DEMO
from tests.oracle.hours_shop import Making, write_hours_shop

CONFIDENCE = 0.75
END = pd.Timestamp("2026-12-31")
# Many jobs in few months: many quoted again from few fits.
BUSY = Making(lines=560, models=30, days=260, people_sd=0.12, over=0.08)
SMALL = Making(lines=200, models=12, days=165, people_sd=0.12)
SHOPS = range(5)
FORECASTS = ["this quote", *(f"inside_{level * 100:.0f}" for level in LEVELS)]
NO_LIST = pd.DataFrame(
    {
        "service": pd.Series(dtype="str"),
        "vehicle_class": pd.Series(dtype="str"),
        "list_hours": pd.Series(dtype="float64"),
        "effective_from": pd.Series(dtype="datetime64[ns]"),
    }
)


def shop_data(folder: Path, seed: int, making: Making) -> HoursData:
    write_hours_shop(folder, seed, making)
    return hours_data(cost_records(read_records(folder), END), END)


def again(data: HoursData, price_list: pd.DataFrame = NO_LIST) -> pd.DataFrame:
    found = quote_again(data, price_list, CONFIDENCE, END)
    assert isinstance(found, pd.DataFrame)
    return found


# ---- pinball loss --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("quoted", "share", "loss"),
    [
        ([0, 2, 3], 0.1, 1 / 30),
        ([1, 2, 4], 0.1, 0.3),
        ([0, 2, 3], 0.9, 0.3),
        ([1, 2, 4], 0.9, 1 / 30),
    ],
)
def test_pinball_loss_of_published_examples(quoted: list[float], share: float, loss: float) -> None:
    """Docstring examples of mean_pinball_loss in the scikit-learn documentation; y is 1, 2, 3."""
    found = pinball_loss(np.array([1.0, 2.0, 3.0]), np.array(quoted, dtype=float), share)
    assert found.mean() == pytest.approx(loss, abs=1e-12)


def test_pinball_loss_of_another_published_example() -> None:
    """quantile_score(0.3, 0.5, 0.2) = 0.16 in the scoringrules documentation."""
    assert pinball_loss(np.array([0.3]), np.array([0.5]), 0.2) == pytest.approx(0.16, abs=1e-12)


def test_calibration_by_hand() -> None:
    """Two jobs of 4 and 6 h, quoted 5 h: one inside, 1 h spare and 1 h short."""
    hours = {method: [5.0, 5.0] for method in METHODS} | {"shop's quote": [4.0, 4.0]}
    levels = {f"inside_{level * 100:.0f}": [3.0, 6.0] for level in LEVELS}
    quoted = pd.DataFrame({"actual_hours": [4.0, 6.0]} | hours | levels)
    table = quote_calibration(quoted, 0.7).set_index("method")
    assert list(table.index) == list(METHODS)
    assert (table["jobs"] == 2).all()
    assert table.loc["this quote", "share_inside_share"] == 0.5
    assert table.loc["this quote", "pinball_loss"] == pytest.approx((0.3 * 1 + 0.7 * 1) / 2)
    # As long as quoted is inside.
    assert table.loc["shop's quote", "share_inside_share"] == 0.5
    assert table.loc["shop's quote", "pinball_loss"] == pytest.approx(0.7 * 2 / 2)
    inside = [f"inside_{level * 100:.0f}_share" for level in LEVELS]
    assert (table.loc["this quote", inside] == 0.5).all()
    assert table.loc[list(METHODS[1:]), inside].isna().all(axis=None)


# ---- never from a later job ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> HoursData:
    return shop_data(tmp_path_factory.mktemp("small"), 21, SMALL)


@pytest.fixture(scope="module")
def quoted(small: HoursData) -> pd.DataFrame:
    return again(small).set_index("job_id")


def test_a_later_job_changes_no_earlier_forecast(small: HoursData, quoted: pd.DataFrame) -> None:
    """To the last bit: the jobs finished from April on take five times as long."""
    day = pd.Timestamp("2026-03-31")
    late = small.lines["finished_on"] > day
    assert 20 < late.sum() < 100
    slow = small.lines["actual_hours"].where(~late, small.lines["actual_hours"] * 5)
    lines = small.lines.assign(
        actual_hours=slow, log_ratio=np.log(slow / small.lines["quoted_hours"])
    )
    found = again(replace(small, lines=lines)).set_index("job_id")
    assert list(found.index) == list(quoted.index)
    asked_on = small.lines.set_index("job_id")["quoted_on"].reindex(found.index)
    early = asked_on < pd.Timestamp("2026-05-01")
    assert 20 < early.sum() < len(early)
    for name in [*METHODS, *FORECASTS]:
        assert (found.loc[early, name] == quoted.loc[early, name]).all(), name
    after = asked_on >= pd.Timestamp("2026-05-01")
    assert (found.loc[after, "this quote"] > 1.2 * quoted.loc[after, "this quote"]).mean() > 0.9


def test_later_jobs_that_are_left_out_change_no_earlier_forecast(
    small: HoursData, quoted: pd.DataFrame
) -> None:
    found = again(small.until(pd.Timestamp("2026-04-20"))).set_index("job_id")
    assert 20 < len(found) < len(quoted)
    for name in [*METHODS, *FORECASTS]:
        # Fewer jobs asked at once may be added up in another order.
        same = pytest.approx(quoted.loc[found.index, name].to_numpy(), rel=1e-12)
        assert found[name].to_numpy() == same, name


def test_a_later_person_changes_no_earlier_forecast(small: HoursData) -> None:
    """Ada works alone until June, when Zoe takes over; Zoe's name must tell nothing of May."""
    late = (small.lines["finished_on"] > pd.Timestamp("2026-05-31")).to_numpy()
    assert 10 < late.sum() < 60
    number = len(small.lines)
    alone = replace(small, crew=csr_array(np.ones((number, 1))), people=pd.Index(["Ada"]))
    shares = csr_array(np.column_stack([~late, late]).astype(float))
    both = replace(small, crew=shares, people=pd.Index(["Ada", "Zoe"]))
    before, after = (again(data).set_index("job_id") for data in (alone, both))
    asked_on = small.lines.set_index("job_id")["quoted_on"].reindex(before.index)
    early = asked_on < pd.Timestamp("2026-06-01")
    assert early.sum() > 20
    for name in FORECASTS:
        same = pytest.approx(before.loc[early, name].to_numpy(), rel=1e-9)
        assert after.loc[early, name].to_numpy() == same, name


def test_a_later_list_changes_no_earlier_forecast(small: HoursData, quoted: pd.DataFrame) -> None:
    later = pd.DataFrame(
        {
            "service": ["roof", "hood", "trim", "front"],
            "vehicle_class": pd.Series([np.nan] * 4, dtype="str"),
            "list_hours": [30.0] * 4,
            "effective_from": pd.Timestamp("2026-04-01"),
        }
    )
    found = again(small, later).set_index("job_id")
    asked_on = small.lines.set_index("job_id")["quoted_on"].reindex(found.index)
    # The month of April learns up to the last day of March, when the list was not out.
    early = asked_on < pd.Timestamp("2026-05-01")
    assert (found.loc[early, FORECASTS] == quoted.loc[early, FORECASTS]).all(axis=None)
    assert not (found.loc[~early, FORECASTS] == quoted.loc[~early, FORECASTS]).any(axis=None)


# ---- the plain ways, by hand ---------------------------------------------------------------------


def by_hand() -> HoursData:
    """Forty roofs in January, listed at 4 h: Herons take 5 h, the last one 7 h, Otters 3 h.

    In February a roof on a Heron and one on a Stoat, which never came before, are quoted at 4.5 h.
    """
    number = 42
    days = [pd.Timestamp("2026-01-02") + pd.Timedelta(hours=16 * at) for at in range(40)]
    days = [day.normalize() for day in days] + [pd.Timestamp("2026-02-10")] * 2
    model = ["Heron", "Otter"] * 20 + ["Heron", "Stoat"]
    actual = np.array([5.0, 3.0] * 20 + [6.0, 4.0])
    actual[38] = 7.0
    lines = pd.DataFrame(
        {
            "job_id": [f"J{at}" for at in range(number)],
            "line": 1,
            "quoted_on": days,
            "started_on": days,
            "finished_on": days,
            "service": "roof",
            "vehicle_class": "minivan",
            "make": "Quillon",
            "model": model,
            "quoted_hours": 4.5,
            "actual_hours": actual,
            "log_ratio": np.log(actual / 4.5),
        }
    )
    crew = csr_array(np.eye(2)[np.arange(number) // 2 % 2])
    return HoursData(lines, crew, pd.Index(["Ada", "Bo"]), 0)


ROOF_LIST = pd.DataFrame(
    {
        "service": ["roof"],
        "vehicle_class": pd.Series([np.nan], dtype="str"),
        "list_hours": [4.0],
        "effective_from": pd.Timestamp("2025-01-01"),
    }
)


def test_the_plain_ways_of_quoting_by_hand() -> None:
    found = again(by_hand(), ROOF_LIST).set_index("model")
    assert list(found.index) == ["Heron", "Stoat"]
    service = (19 * 5 + 7 + 20 * 3) / 40
    assert found["service mean"].to_numpy() == pytest.approx([service, service])
    assert found["model mean"].to_numpy() == pytest.approx([(19 * 5 + 7) / 20, service])
    assert found["last similar job"].to_numpy() == pytest.approx([7, service])
    assert found["shop's quote"].to_numpy() == pytest.approx([4.5, 4.5])
    assert found["actual_hours"].to_numpy() == pytest.approx([6, 4])
    # A Heron takes about 5 h.
    assert 5 < found.loc["Heron", "this quote"] < 5.8


def test_too_few_jobs_are_told() -> None:
    data = by_hand()
    few = data.lines.index[data.lines["finished_on"] < "2026-02-01"][:-1]
    keep = np.r_[few.to_numpy(), 40, 41]
    lines = data.lines.iloc[keep].reset_index(drop=True)
    short = replace(data, lines=lines, crew=csr_array(data.crew[keep]))
    found = quote_again(short, ROOF_LIST, CONFIDENCE, END)
    assert isinstance(found, Unavailable)
    assert str(FEWEST_JOBS) in found.line


def test_jobs_are_asked_on_the_day_of_the_quote_else_of_the_start(small: HoursData) -> None:
    """A job quoted in March counts as asked in March though it was finished in April."""
    lines = small.lines
    asked = again(small)
    days = lines.set_index("job_id").loc[asked["job_id"]]
    assert (days["quoted_on"].dt.month < days["finished_on"].dt.month).any()
    blank = again(replace(small, lines=lines.assign(quoted_on=pd.NaT)))
    first = days["quoted_on"].min().month
    started = lines[lines["started_on"].dt.month >= first + 1]
    assert set(started["job_id"]) <= set(blank["job_id"])


# ---- as often right as promised ------------------------------------------------------------------


def assert_kept(found: pd.DataFrame) -> None:
    """Within three points of the promise at every level, and less lost than any plain way."""
    actual = found["actual_hours"].to_numpy()
    for level in LEVELS:
        share = float((actual <= found[f"inside_{level * 100:.0f}"]).mean())
        assert share == pytest.approx(level, abs=0.03), (level, share)
    table = quote_calibration(found, CONFIDENCE).set_index("method")
    assert table.loc["this quote", "share_inside_share"] == pytest.approx(CONFIDENCE, abs=0.03)
    loss = table["pinball_loss"]
    for method in METHODS[1:]:
        assert loss["this quote"] < loss[method], method


def test_promises_are_kept_on_simulated_shops(tmp_path: Path) -> None:
    """Over two thousand jobs; the standard error of a share of one half is a point."""
    parts = [again(shop_data(tmp_path / str(seed), seed, BUSY)) for seed in SHOPS]
    found = pd.concat(parts, ignore_index=True)
    assert len(found) > 2000
    assert_kept(found)


def test_promises_are_kept_on_the_demo() -> None:
    records = read_records(DEMO)
    until = pd.Timestamp("2026-09-30")
    data = hours_data(cost_records(records, until), until)
    found = quote_again(data, records["price_list"], CONFIDENCE, until)
    assert isinstance(found, pd.DataFrame)
    assert len(found) > 800
    assert_kept(found)
