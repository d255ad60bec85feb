"""Conservation of hours and wages on random time logs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.costing.jobs import payment_fees
from analysis.costing.labour import line_hours, work_log
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.settings import Fees, Labour, Settings
from tests.benchmarks.costing import typed

DAY = pd.Timestamp("2026-03-02")
JOB_LINES = st.lists(
    st.fixed_dictionaries(
        {
            "job": st.integers(0, 3),
            "quoted": st.sampled_from([0.0, 0.0, 1.5, 3.0, 8.0]),
            "hours": st.sampled_from([None, None, 2.0, 7.25]),
            "crew": st.sampled_from([None, "Ann", "Ann; Bea", "Zoe"]),
            "price": st.integers(0, 90_000),
            "payment": st.sampled_from(["card", "cash", None]),
        }
    ),
    min_size=1,
    max_size=7,
)
ENTRIES = st.lists(
    st.fixed_dictionaries(
        {
            "job": st.integers(0, 5),
            "line": st.sampled_from([None, 1, 2, 9]),
            "day": st.integers(0, 3),
            "who": st.sampled_from(["Ann", "Bea", "Zoe"]),
            "hours": st.integers(1, 900).map(lambda each: each / 100),
            "overtime": st.booleans(),
        }
    ),
    max_size=12,
)


def records_of(lines: list[dict[str, Any]], entries: list[dict[str, Any]]) -> Records:
    """Checked records of these job lines and time entries; job 4 and 5 are not there."""
    number = pd.Series([each["job"] for each in lines])
    jobs = {
        "job_id": np.array([f"J{each}" for each in number], dtype=object),
        "line": (number.groupby(number).cumcount() + 1).to_numpy(),
        "status": "finished",
        "finished_on": np.full(len(lines), np.datetime64(DAY.to_datetime64())),
        "service": "roof",
        "make": "M",
        "model": "m",
        "quoted_hours": np.array([each["quoted"] for each in lines]),
        "hours": np.array([each["hours"] for each in lines], dtype=object),
        "crew": np.array([each["crew"] for each in lines], dtype=object),
        "invoiced_price": np.array([each["price"] / 100 for each in lines]),
        "payment": np.array([each["payment"] for each in lines], dtype=object),
    }
    hours = {
        "job_id": np.array([f"J{each['job']}" for each in entries], dtype=object),
        "line": np.array([each["line"] for each in entries], dtype=object),
        "worked_on": np.array([DAY + pd.Timedelta(days=each["day"]) for each in entries]),
        "installer": np.array([each["who"] for each in entries], dtype=object),
        "hours": np.array([each["hours"] for each in entries]),
        "overtime": np.array([each["overtime"] for each in entries], dtype=object),
    }
    rates = {
        "installer": np.array(["Ann", "Bea"], dtype=object),
        "effective_from": np.array([DAY, DAY]),
        "wage": np.array([20.0, 26.0]),
    }
    filled = {"jobs": jobs, "hours": hours if entries else {}, "rates": rates}
    tables = {name: typed(name, filled.get(name, {})) for name in RECORD_TABLES}
    nothing = pd.DataFrame(columns=list(FINDING_COLUMNS))
    return Records(tables, nothing, {}, (), frozenset(), Settings())


@settings(max_examples=60, deadline=None)
@given(lines=JOB_LINES, entries=ENTRIES)
def test_hours_and_wages_are_conserved(
    lines: list[dict[str, Any]], entries: list[dict[str, Any]]
) -> None:
    records = records_of(lines, entries)
    labour = Labour(on_cost=0.2, default_wage=15.0)
    log = work_log(records, labour)
    result = line_hours(log, records["jobs"])
    known = {each["job"] for each in lines}
    on_jobs = sum(each["hours"] for each in entries if each["job"] in known)
    elsewhere = sum(each["hours"] for each in entries if each["job"] not in known)
    logged = log[log["logged"]]
    assert logged["hours"].sum() == pytest.approx(on_jobs + elsewhere)
    assert log.loc[log["job_line"].isna(), "hours"].sum() == pytest.approx(elsewhere)
    # The job sheet counts for lines without any entry, and for no other.
    touched = set(logged["job_line"].dropna().astype(int))
    sheet = sum(
        each["hours"] for at, each in enumerate(lines) if each["hours"] and at not in touched
    )
    assert result["actual_hours"].sum() == pytest.approx(on_jobs + sheet)
    wage = {"Ann": 20.0, "Bea": 26.0, "Zoe": 15.0}
    paid = sum(
        each["hours"] * wage[each["who"]] * ((1.5 if each["overtime"] else 1) + 0.2)
        for each in entries
    )
    assert logged["cost"].sum() == pytest.approx(paid)
    assert result["labour_cost"].sum() == pytest.approx(
        log.loc[log["job_line"].notna(), "cost"].sum()
    )
    # A bay is held no longer than people worked in it.
    assert (result["bay_hours"].sum() <= result["actual_hours"].sum() + 1e-9).all()


@settings(max_examples=60, deadline=None)
@given(lines=JOB_LINES, percent=st.integers(0, 500), fixed=st.integers(0, 99))
def test_card_fees_add_to_the_cent(lines: list[dict[str, Any]], percent: int, fixed: int) -> None:
    jobs = records_of(lines, [])["jobs"]
    fees = Fees(card_percent=percent / 100, card_fixed=fixed / 100)
    shares = payment_fees(jobs, Settings(fees=fees))
    by_card = jobs["invoiced_price"].where(jobs["payment"] == "card", 0.0)
    for job, price in by_card.groupby(jobs["job_id"]).sum().items():
        due = price * percent / 10_000 + fixed / 100 if price > 0 else 0.0
        share = shares[jobs["job_id"] == job].sum()
        assert share == pytest.approx(due, abs=0.00501)
        assert share * 100 == pytest.approx(round(share * 100))
