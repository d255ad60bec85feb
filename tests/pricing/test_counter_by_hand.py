"""A small shop's counter sales, each amount worked out by hand."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.findings.capacity_use import governing, refill_shares
from analysis.findings.groups import Period
from analysis.findings.sale_margins import FULL, IDLE, month_use, sale_facts
from analysis.periods import Quarter
from analysis.pricing.counter_arithmetic import break_even_share
from analysis.pricing.counter_chances import learn_displaced, learn_later
from analysis.pricing.counter_installs import learn_installs, net_of_redos
from analysis.pricing.counter_model import CounterModel, counter_model
from analysis.records.model import Records
from tests.shops import records_of

TOML = """currency = "USD"
locale = "en-US"
length_unit = "in"
area_unit = "sq ft"
[labour]
on_cost = 0.25
default_wage = 20
[fees]
card_percent = 3
card_fixed = 0.30
[pricing]
fewest_jobs = 2
"""
# Tables as files hold them: one line a row, however long. ruff: noqa: E501
PURCHASES = """\
invoice,received_on,supplier,item,kind,roll_width,roll_length,quantity,unit_price,roll_id
I1,2026-01-02,Elm,GB,film,60,3600,1,1500,
"""
# A roof leaves 300 − 30 film (3 h at 25) …: see _ROOF.
JOBS = """\
job_id,finished_on,service,make,model,vehicle_class,film,quoted_hours,quoted_price,payment,hours,pulled_length,roll_width,redo_of
J1,2026-07-06,roof,Ash,One,compact car,GB,3,300,cash,3,72,60,
J2,2026-07-07,roof,Ash,Two,minivan,GB,3,400,cash,3,72,60,
J3,2026-07-08,hood,Ash,One,compact car,GB,2,200,cash,2,48,60,
J4,2026-08-10,hood,Ash,One,compact car,GB,2,0,cash,2,48,60,J3
J5,2026-09-01,roof,Ash,One,compact car,GB,3,300,cash,3,72,60,
"""
VEHICLES = """\
make,model,vehicle_class
Ash,One,compact car
Ash,Two,minivan
"""
SALES = """\
sale_id,sold_on,film,length,width,price,minutes,extras_price,extras_cost,make,model,service,would_book,later_job_id,payment
S1,2026-07-01,GB,48,60,100,30,20,8,Ash,One,roof,no,J5,card
S2,2026-07-02,GB,48,24,50,,,,Ash,Two,roof,yes,,cash
S3,2026-08-03,GB,24,60,40,15,,,,,hood,unsure,,transfer
S4,2026-09-02,GB,24,60,40,15,,,,,,,,
"""
CUTS = """\
cut_id,cut_on,sale_id,film,pulled_length,pulled_width,kept_length,kept_width,reason
C1,2026-07-02,S2,GB,48,60,48,30,first
C2,2026-08-03,S3,GB,24,60,,,first
C3,2026-08-03,S3,GB,24,60,,,damage
"""
CAPACITY = """\
month,installer_hours,bay_hours
2026-07,8.0,100
2026-08,100,100
2026-09,100,100
"""
# Film costs 1,500 for 3,600 in × 60 in: 25 cents for an inch of its length.
INCH = 1500 / 3600
RATE = 20 * 1.25
QUARTER = Quarter.parse("2026Q3")


def shop(folder: Path, **tables: str) -> Records:
    """The shop; a table given anew stands in for its own."""
    own = {
        "purchases": PURCHASES,
        "jobs": JOBS,
        "vehicles": VEHICLES,
        "counter_sales": SALES,
        "cuts": CUTS,
        "capacity": CAPACITY,
    }
    return records_of(folder, TOML, **(own | tables))


@pytest.fixture
def records(tmp_path: Path) -> Records:
    return shop(tmp_path)


def model_of(records: Records, draws: int = 2000) -> CounterModel:
    costing = cost_records(records, QUARTER.last_day)
    governs = governing(costing, records, QUARTER)
    return counter_model(costing, records, QUARTER, governs, QUARTER.last_day, 0, draws)


def test_facts_of_each_sale(records: Records) -> None:
    facts = sale_facts(cost_records(records, QUARTER.last_day), records).set_index("sale_id")
    assert facts["revenue"].to_list() == [100, 50, 40, 40]
    assert facts["extras_margin"].to_list() == [12, 0, 0, 0]
    # Card on film and extras; cash and transfer have none; a blank is as if by card.
    assert facts["payment_fee"].to_list() == pytest.approx([3.9, 0, 0, 1.5])
    # A strip of 30 in goes back on the shelf; what was spoiled is paid for as well.
    assert facts["film_cost"].to_list() == pytest.approx(
        [48 * INCH, 24 * INCH, 48 * INCH, 24 * INCH]
    )
    assert facts["side_loss_cost"].to_list() == pytest.approx([0, 24 * INCH / 5, 0, 0])
    assert facts.loc["S2", "side_loss_area_m2"] == pytest.approx(48 * 6 * 0.0254**2)
    assert facts["spoiled_cost"].to_list() == pytest.approx([0, 0, 24 * INCH, 0])
    assert facts["staff_cost"].to_list() == pytest.approx([RATE / 2, 0, RATE / 4, RATE / 4])
    assert facts["vehicle_class"].fillna("").to_list() == ["compact car", "minivan", "", ""]


def test_a_month_is_full_by_what_is_used_more(records: Records) -> None:
    costing = cost_records(records, QUARTER.last_day)
    use = month_use(costing, records, QUARTER)
    # July: 3 + 3 + 2 of 8 hours; August 2 of 100, September 3.
    assert use["month_kind"].to_list() == [FULL, IDLE, IDLE]
    assert use["refill_share"].to_list() == [1.0, 0.0, 0.0]


def test_months_before_the_two_years_are_looked_up_too(tmp_path: Path) -> None:
    old = SALES + "S0,2022-03-03,GB,24,60,40,15,,,,,hood,,,\n"
    jobs = JOBS + "J0,2022-03-05,roof,Ash,One,compact car,GB,3,300,cash,3,,,\n"
    capacity = CAPACITY + "2022-03,3,10\n"
    records = shop(tmp_path, counter_sales=old, jobs=jobs, capacity=capacity)
    use = month_use(cost_records(records, QUARTER.last_day), records, QUARTER)
    assert use.loc[pd.Timestamp("2022-03-01"), "month_kind"] == FULL


# What is left of a job after film and its hours at 25: roof 300 or 400, 72 in, 3 h.
_ROOF = [300 - 72 * INCH - 75, 400 - 72 * INCH - 75, 300 - 72 * INCH - 75]
_HOOD = 200 - 48 * INCH - 50 + (0 - 48 * INCH - 50)


def test_an_install_leaves_its_contribution_after_its_redos(records: Records) -> None:
    lines = net_of_redos(cost_records(records, QUARTER.last_day), QUARTER.last_day)
    leaves = lines.set_index("job_id")["leaves"]
    assert leaves.to_dict() == pytest.approx(
        {"J1": _ROOF[0], "J2": _ROOF[1], "J3": _HOOD, "J5": _ROOF[2]}
    )
    # The redo of August is not yet there in July.
    early = net_of_redos(cost_records(records, QUARTER.last_day), pd.Timestamp("2026-07-31"))
    assert early.set_index("job_id").loc["J3", "leaves"] == pytest.approx(150 - 48 * INCH)


def test_a_class_is_drawn_towards_its_service(records: Records) -> None:
    costing = cost_records(records, QUARTER.last_day)
    year = Period(QUARTER.year_first_day, QUARTER.last_day)
    installs = learn_installs(costing, year, 4000, np.random.default_rng(0))
    cells = installs.cells.set_index(["service", installs.cells["vehicle_class"].fillna("")])
    roof = float(np.mean(_ROOF))
    assert cells.loc[("roof", ""), "contribution"] == pytest.approx(roof)
    van = roof + 1 / 4 * (_ROOF[1] - roof)
    assert cells.loc[("roof", "minivan"), "contribution"] == pytest.approx(van)
    compact = roof + 2 / 5 * (_ROOF[0] - roof)
    assert cells.loc[("roof", "compact car"), "contribution"] == pytest.approx(compact)
    # The draws have these means to the last digit, and spread as the error of a mean of three.
    assert installs.draws.mean(axis=0) == pytest.approx(installs.cells["contribution"].to_numpy())
    at = int(installs.cell_of(pd.DataFrame({"service": ["roof"], "vehicle_class": ["van"]}))[0])
    assert installs.cells.loc[at, "vehicle_class"] is np.nan or at == 1
    assert installs.draws[:, at].std() > 0


def test_a_class_has_the_error_of_its_service_as_far_as_it_leans_on_it(records: Records) -> None:
    """N ÷ (n + 3) is its own: of one van a quarter, of two compact cars two fifths.

    The rest is its service's, by variance; so the classes together are as sure as the service.
    """
    costing = cost_records(records, QUARTER.last_day)
    year = Period(QUARTER.year_first_day, QUARTER.last_day)
    installs = learn_installs(costing, year, 40_000, np.random.default_rng(0))
    keys = pd.MultiIndex.from_arrays(
        [installs.cells["service"], installs.cells["vehicle_class"].fillna("")]
    )
    at = {key: keys.get_loc(("roof", key)) for key in ("", "minivan", "compact car")}
    noise = installs.draws - installs.draws.mean(axis=0)
    whole = noise[:, at[""]]
    spread = whole.std() * np.sqrt(3)
    for key, jobs, leans in (("minivan", 1, np.sqrt(3 / 4)), ("compact car", 2, np.sqrt(3 / 5))):
        own = noise[:, at[key]]
        assert (own @ whole) / (whole @ whole) == pytest.approx(leans, abs=0.02)
        error = np.sqrt((leans * whole.std()) ** 2 + spread**2 / (jobs + 3))
        assert own.std() == pytest.approx(error, rel=0.02)


def test_an_unknown_class_and_service_fall_back(records: Records) -> None:
    costing = cost_records(records, QUARTER.last_day)
    year = Period(QUARTER.year_first_day, QUARTER.last_day)
    installs = learn_installs(costing, year, 10, np.random.default_rng(0))
    asked = pd.DataFrame(
        {
            "service": pd.Series(["roof", "roof", "wheels", np.nan], dtype="str"),
            "vehicle_class": pd.Series([np.nan, "cargo van", np.nan, np.nan], dtype="str"),
        }
    )
    at = installs.cell_of(asked)
    whole = installs.cells.index[
        (installs.cells["service"] == "roof") & installs.cells["vehicle_class"].isna()
    ][0]
    assert at.tolist() == [whole, whole, -1, -1]


def test_a_job_older_than_the_year_counts_where_there_is_no_newer(tmp_path: Path) -> None:
    jobs = JOBS + "J0,2024-03-05,wheels,Ash,One,compact car,GB,1,90,cash,1,12,60,\n"
    records = shop(tmp_path, jobs=jobs)
    costing = cost_records(records, QUARTER.last_day)
    year = Period(QUARTER.year_first_day, QUARTER.last_day)
    cells = learn_installs(costing, year, 10, np.random.default_rng(0)).cells
    assert "wheels" in set(cells["service"])


def test_each_sale_adds_up(records: Records) -> None:
    model = model_of(records)
    sales = model.sales.set_index("sale_id")
    # In July every hour is used: the half hour costs what it would earn, if that is more.
    lines = cost_records(records, QUARTER.last_day).lines
    earned = float(lines["material_margin"].sum() / lines["actual_hours"].sum())
    assert model.hour_earned == pytest.approx(earned)
    assert earned > RATE
    other = sales["other_staff_cost"]
    assert other["S1"] == pytest.approx(0.5 * (earned - RATE))
    # Minutes of S2 are not written down: 20, the mean of the others.
    assert other["S2"] == pytest.approx(20 / 60 * earned)
    assert other["S3"] == pytest.approx(0)
    margin = 100 + 12 - 3.9 - 48 * INCH - RATE / 2 - other["S1"]
    assert sales.loc["S1", "margin"] == pytest.approx(margin)
    net = sales["margin"] - sales["displaced_cost"] + sales["later_installs"]
    pd.testing.assert_series_equal(sales["expected_net"], net, check_names=False)
    # A full month: the place of an install is taken by another.
    assert sales.loc["S1", "displaced_cost"] == 0
    hood = sales.loc["S3"]
    assert hood["displaced_cost"] == pytest.approx(
        hood["displaced_share"] * hood["install_contribution"]
    )
    assert hood["install_contribution"] == pytest.approx(_HOOD)
    # A sale without a service stands in for what the others of its film do.
    named = sales.loc[["S1", "S2", "S3"], "install_contribution"]
    assert sales.loc["S4", "install_contribution"] == pytest.approx(named.mean())


def test_without_takes_installers_an_hour_costs_its_wage(tmp_path: Path) -> None:
    own = TOML + "[counter]\ntakes_installers = false\n"
    tables = {"purchases": PURCHASES, "jobs": JOBS, "counter_sales": SALES, "capacity": CAPACITY}
    model = model_of(records_of(tmp_path, own, **tables))
    sales = model.sales.set_index("sale_id")
    assert sales.loc["S1", "other_staff_cost"] == pytest.approx(0)
    assert sales.loc["S2", "other_staff_cost"] == pytest.approx(20 / 60 * RATE)


def test_answers_are_counted_and_pull_the_share(records: Records) -> None:
    sales = records["counter_sales"]
    rng = np.random.default_rng(0)
    learnt = learn_displaced(sales, 20_000, rng)
    assert learnt.services.to_list() == ["hood", "roof"]
    assert learnt.answers.tolist() == [0, 2, 0]
    assert learnt.yes.tolist() == [0, 1, 0]
    assert learnt.unsure.tolist() == [1, 0, 0]
    many = pd.concat([sales[sales["would_book"] == "no"]] * 400, ignore_index=True)
    few = learn_displaced(many, 20_000, rng).draws
    # 0 of 400: the upper end of a beta posterior with Jeffreys' prior is 0.48 %; ours is near it.
    assert 0.0024 < np.quantile(few[:, 0], 0.95) < 0.0060


def test_only_time_tells_who_comes_back(records: Records) -> None:
    sales = records["counter_sales"].sort_values("sale_id", ignore_index=True)
    later = learn_later(sales, records, QUARTER.last_day, 4000, np.random.default_rng(0))
    assert later.came.to_list() == [True, False, False, False]
    # Before the booking nobody has come.
    early = learn_later(
        sales.head(2), records, pd.Timestamp("2026-08-31"), 4000, np.random.default_rng(0)
    )
    assert not early.came.any()


def test_a_job_before_the_sale_or_named_twice_is_counted_once(tmp_path: Path) -> None:
    twice = SALES.replace("S2,2026-07-02,GB,48,24,50,,,,Ash,Two,roof,yes,,cash",
                          "S2,2026-07-02,GB,48,24,50,,,,Ash,Two,roof,yes,J5,cash")  # fmt: skip
    before = twice.replace("S4,2026-09-02,GB,24,60,40,15,,,,,,,,",
                           "S4,2026-09-02,GB,24,60,40,15,,,,,,,J1,")  # fmt: skip
    records = shop(tmp_path, counter_sales=before)
    sales = records["counter_sales"].sort_values("sale_id", ignore_index=True)
    later = learn_later(sales, records, QUARTER.last_day, 100, np.random.default_rng(0))
    assert later.came.to_list() == [False, True, False, False]
    codes = set(records.findings["rule"])
    assert {"later-job-before-sale", "later-job-twice"} <= codes


def test_a_month_of_which_every_hour_is_used_is_full_to_the_last_digit() -> None:
    """0.85 and 1 − 0.85 are no binary fractions: 1 must come out, or the break-even is absurd."""
    used = refill_shares(pd.Series([1.0, 8 / 8, 0.85, 0.925, 1.2]))
    assert used.to_list() == [1.0, 1.0, 0.0, 0.5, 1.0]
    assert np.isnan(break_even_share(50.0, 0.0, 1e-12))
    assert break_even_share(50.0, 10.0, 120.0) == 0.5
