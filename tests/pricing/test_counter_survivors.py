"""Slips in the counter sale that no other test notices, each held by one small case."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import norm

from analysis.costing.jobs import cost_records
from analysis.findings.capacity_use import SHORT_FROM_SHARE, governing
from analysis.findings.groups import Period
from analysis.findings.sale_margins import FULL, IDLE, NOT_KNOWN, month_kinds, month_use
from analysis.pricing.counter_chances import Later, learn_later
from analysis.pricing.counter_installs import Installs, learn_installs
from analysis.pricing.counter_model import (
    CounterModel,
    Parts,
    counter_model,
    later_draws,
    net_draws,
    parts_of_mean,
    parts_of_sum,
)
from analysis.pricing.counter_review import review_counter, sale_costs
from analysis.pricing.counter_sums import counter_by_quarter, counter_sales
from analysis.pricing.counter_unknowns import MINUTES, counter_unknowns
from analysis.pricing.counter_verdict import (
    DOES_NOT,
    FEW_ANSWERS,
    NO_MINUTES,
    PAYS,
    SURE,
    judge,
    word,
)
from analysis.pricing.counter_verdicts import counter_verdicts, parts_for, sales_of
from analysis.pricing.film_needed import WIDER_JOBS
from tests.pricing.made_counter import SEEN, made_model, made_records, made_sales, still_parts
from tests.pricing.simulated_counter_shops import (
    DAY,
    QUARTER,
    SETTINGS,
    SHORT,
    Kind,
    Shop,
    simulated_shop,
)
from tests.pricing.test_counter_by_hand import SALES, shop

DAYS_A_MONTH = 30.4375


def later_of(
    left: list[float], gap: list[float | None], seen: pd.Timestamp = SEEN, draws: int = 200
) -> Later:
    """Sales of `left` months before `SEEN`; jobs booked `gap` months after them (None: none)."""
    sold = [SEEN - pd.Timedelta(days=round(each * DAYS_A_MONTH)) for each in left]
    came = [at for at, each in enumerate(gap) if each is not None]
    booked = [sold[at] + pd.Timedelta(days=round((gap[at] or 0.0) * DAYS_A_MONTH)) for at in came]
    named = np.array([f"J{at}" if at in came else None for at in range(len(left))], dtype=object)
    records = made_records(
        {
            "counter_sales": {
                "sold_on": np.array(sold, dtype="datetime64[us]"),
                "later_job_id": named,
            },
            "jobs": {
                "job_id": np.array([f"J{at}" for at in came], dtype=object),
                "quoted_on": np.array(booked, dtype="datetime64[us]"),
            },
        }
    )
    return learn_later(records["counter_sales"], records, seen, draws, np.random.default_rng(0))


# --- which months are full ------------------------------------------------------------------------


def test_a_month_is_full_from_the_share_on() -> None:
    use = pd.Series([SHORT_FROM_SHARE, SHORT_FROM_SHARE - 0.001, np.nan])
    assert month_kinds(use).to_list() == [FULL, IDLE, NOT_KNOWN]


# --- who comes back -------------------------------------------------------------------------------


def test_who_books_on_the_day_of_the_sale_came_back() -> None:
    assert later_of([6.0] * 6, [0.0, *[None] * 5]).came.to_list() == [True, *[False] * 5]


def test_a_booking_after_the_last_day_seen_is_not_known_yet() -> None:
    """A review of an older quarter knows nothing of what was booked since."""
    seen = SEEN - pd.Timedelta(days=90)
    known = later_of([12.0] * 6, [2.0, 10.0, *[None] * 4], seen)
    assert known.came.to_list() == [True, *[False] * 5]
    blind = later_of([12.0] * 6, [2.0, *[None] * 5], seen)
    assert known.draws == pytest.approx(blind.draws)


def test_months_count_as_far_as_enough_sales_were_followed() -> None:
    """Five followed for some 3 ½ months and one for 30: four months, for five are enough."""
    assert later_of([30.0, *[3.5] * 5], [None] * 6).months == 4
    assert later_of([30.0, *[3.5] * 3], [None] * 4).months == 1


def test_months_end_after_two_years() -> None:
    assert later_of([40.0] * 6, [None] * 6).months == 24


def test_who_comes_after_the_months_that_count_is_not_counted() -> None:
    found = later_of([12.0, *[2.5] * 5], [10.0, *[None] * 5])
    assert found.months == 3
    assert not found.came.any()


# --- what an install leaves -----------------------------------------------------------------------


def usual_shop() -> Shop:
    return simulated_shop(Kind(), 3)


@cache
def usual_model() -> CounterModel:
    return usual_shop().model()


def installs_of(jobs: list[tuple[str, str, float]], draws: int = 40_000) -> Installs:
    """Installs learnt from jobs of the year: service, class, what each left."""
    service, vehicle_class, leaves = zip(*jobs, strict=True)
    lines = pd.DataFrame(
        {
            "job_id": [f"J{at}" for at in range(len(jobs))],
            "finished": True,
            "finished_on": DAY,
            "is_redo": False,
            "root": pd.Series(pd.NA, range(len(jobs)), dtype="Int64"),
            "service": pd.Series(service, dtype="str"),
            "vehicle_class": pd.Series(vehicle_class, dtype="str"),
            "contribution": leaves,
        }
    )
    costing = replace(usual_shop().costing, lines=lines)
    year = Period(QUARTER.year_first_day, DAY)
    return learn_installs(costing, year, draws, np.random.default_rng(0))


# Two services of equal spread relative to their size: neither leans on the other. [money]
ROOF, HOOD = (80.0, 90.0, 110.0, 120.0), (160.0, 180.0, 220.0, 240.0)
JOBS = [
    (service, ("van", "car")[at % 2], each)
    for service, leaves in (("roof", ROOF), ("hood", HOOD))
    for at, each in enumerate(leaves)
]


def test_the_error_of_an_install_is_that_of_a_mean() -> None:
    """Of a service sd ÷ √n; of a class 3/5 of its variance, and sd² ÷ (n + 3) of its own."""
    installs = installs_of(JOBS)
    spread = installs.draws.std(axis=0)
    cells = installs.cells.assign(error=spread)
    for service, leaves in (("roof", ROOF), ("hood", HOOD)):
        sd = float(np.std(leaves, ddof=1))
        own = cells[cells["service"] == service].set_index("vehicle_class")["error"]
        of_service = sd / np.sqrt(4)
        assert own[own.index.isna()].to_list() == pytest.approx([of_service], rel=0.02)
        of_class = np.hypot(np.sqrt(3 / 5) * of_service, sd / np.sqrt(2 + WIDER_JOBS))
        assert own[["car", "van"]].to_list() == pytest.approx([of_class] * 2, rel=0.02)


def test_classes_of_a_service_move_with_it() -> None:
    installs = installs_of(JOBS)
    at = {
        (row["service"], row["vehicle_class"]): place
        for place, row in installs.cells.fillna({"vehicle_class": ""}).iterrows()
    }
    one, other = (installs.draws[:, at["roof", each]] for each in ("car", "van"))
    # Of a variance 3 ÷ 5 × sd² ÷ 4 + sd² ÷ 5 the first part is common; their mean has that of the
    # service, sd² ÷ 4.
    assert np.corrcoef(one, other)[0, 1] == pytest.approx(0.15 / (0.15 + 0.2), abs=0.02)
    whole = installs.draws[:, at["roof", ""]]
    assert ((one + other) / 2).std() == pytest.approx(whole.std(), rel=0.03)


def test_a_service_of_few_jobs_leans_on_the_spread_of_the_shop() -> None:
    """Three jobs that happened to leave the same do not make the fourth certain."""
    alike = [("wheels", "car", 100.0)] * 3
    installs = installs_of([*JOBS, *alike])
    cells = installs.cells
    at = int(cells.index[(cells["service"] == "wheels") & cells["vehicle_class"].isna()][0])
    assert installs.draws[:, at].std() > 3


def test_the_spread_of_a_job_is_about_its_own_service() -> None:
    squares = sum((np.array(each) - np.mean(each)) @ (np.array(each) - np.mean(each))
                  for each in (ROOF, HOOD))  # fmt: skip
    assert installs_of(JOBS).spread == pytest.approx(np.sqrt(squares / (8 - 2)))


# --- the model of all sales -----------------------------------------------------------------------


def seen_to(day: pd.Timestamp, shop: Shop | None = None) -> CounterModel:
    shop = shop or usual_shop()
    return counter_model(shop.costing, shop.records, QUARTER, SHORT, day, 0, 500)


def test_nobody_is_followed_beyond_the_quarter_or_the_records() -> None:
    whole, beyond = seen_to(DAY), seen_to(DAY + pd.Timedelta(days=400))
    assert beyond.later.draws == pytest.approx(whole.later.draws)
    early = DAY - pd.Timedelta(days=200)
    sales = seen_to(early).sales
    booked = usual_shop().records["jobs"].set_index("job_id")["quoted_on"]
    came = sales.loc[sales["came_back"], "later_job_id"].map(booked)
    assert 0 < len(came) < whole.later.came.sum()
    assert (came <= early).all()


def test_a_later_install_takes_the_hours_of_the_months_of_the_year() -> None:
    shop = usual_shop()
    refill = month_use(shop.costing, shop.records, QUARTER)["refill_share"]
    of_year = refill[refill.index >= QUARTER.year_first_day]
    assert of_year.mean() != pytest.approx(refill.mean(), rel=1e-3)
    assert usual_model().refill_later == pytest.approx(of_year.mean())


def test_what_later_installs_leave_beyond_the_others_by_hand() -> None:
    """Sum of the differences ÷ (jobs + 3)."""
    model, lines = usual_model(), usual_shop().costing.lines
    leaves = lines[lines["finished"]].set_index("job_id")["contribution"]
    came = model.sales[model.sales["came_back"]]
    apart = (came["later_job_id"].map(leaves) - came["install_contribution"]).dropna()
    assert len(apart) > WIDER_JOBS
    expected = apart.sum() / (len(apart) + WIDER_JOBS)
    assert model.later_apart.mean() == pytest.approx(expected)


def test_a_later_install_that_is_not_finished_by_the_day_says_nothing_yet() -> None:
    shop = usual_shop()
    lines, booked = shop.costing.lines, shop.records["counter_sales"]["later_job_id"].dropna()
    one = lines["job_id"].isin(booked) & lines["finished"]
    late = lines["finished_on"].mask(one, DAY + pd.Timedelta(days=9))
    after = replace(shop, costing=replace(shop.costing, lines=lines.assign(finished_on=late)))
    assert after.model().later_apart.mean() == pytest.approx(0)


def test_a_later_install_brings_what_it_leaves_beyond_too() -> None:
    model = usual_model()
    leaves = model.sales["install_contribution"] + model.later_apart.mean()
    expected = model.mean_later * leaves * (1 - model.refill_later)
    assert model.sales["later_installs"].to_list() == pytest.approx(expected.to_list())
    one = np.ones(10)
    made = made_model(0 * one, 100 * one, later=0.5 * one, apart=-20 * one)
    parts = still_parts(made, made_sales([0.0]))
    assert later_draws(made, parts) == pytest.approx(40 * one)


def test_a_sale_of_the_last_day_is_one_of_the_quarter() -> None:
    shop = usual_shop()
    sales = shop.records["counter_sales"]
    last = sales["sold_on"].mask(sales.index == sales["sold_on"].argmax(), DAY)
    model = shop.with_sales(sales.assign(sold_on=last)).model(draws=100)
    assert len(model.sales) == len(sales)
    assert model.sales.loc[model.sales["sold_on"] == DAY, "is_recent"].all()


# --- the verdict ----------------------------------------------------------------------------------


def test_the_ends_of_can_not_tell_belong_to_the_words() -> None:
    assert word(SURE) == PAYS
    assert word(1 - SURE) == DOES_NOT
    assert word(0.1) == DOES_NOT


def test_no_fewer_further_answers_than_a_verdict_needs() -> None:
    """Four answers are asked for where one was given and five are the least, though one settles."""
    share = np.random.default_rng(0).beta(0.05, 0.05, 4000)
    model = made_model(share, np.full(4000, 100.0), answers=1)
    chosen = made_sales([50.0] * 10)
    parts = still_parts(model, chosen)
    judged = judge(model, chosen, parts, parts, 1, 5, (0,))
    assert judged.held_back == FEW_ANSWERS
    assert judged.further_answers == 4


def test_a_group_is_judged_by_what_is_told_and_asked_of_all_to_date() -> None:
    model = usual_model()
    sales = model.sales
    untold = sales["is_recent"] & (sales.index % 2 == 0)
    blank = replace(
        model,
        sales=sales.assign(
            told=~untold,
            margin=sales["margin"].mask(untold),
            expected_net=sales["expected_net"].mask(untold),
        ),
    )
    every = pd.Series(True, index=sales.index)
    assert sales_of(blank, every)["told"].all()
    fewest = replace(SETTINGS.pricing, fewest_jobs=int(sales["is_recent"].sum()))
    row = counter_verdicts(blank, replace(SETTINGS, pricing=fewest)).iloc[0]
    assert row["sales"] == fewest.fewest_jobs
    assert row["told"] == (~untold & sales["is_recent"]).sum()
    # Enough is of those told; answers are of all to date.
    assert not row["enough"]
    assert row["answers"] == sales["would_book"].isin(["yes", "no"]).sum()
    assert row["answers"] > (sales["is_recent"] & sales["would_book"].isin(["yes", "no"])).sum()


# --- what a sale costs, and sums ------------------------------------------------------------------


def test_the_next_sale_costs_what_those_of_the_twelve_months_do() -> None:
    model = usual_model()
    recent = model.sales[model.sales["is_recent"]]
    assert len(recent) < len(model.sales)
    costs = sale_costs(model)
    installs = recent["displaced_cost"] - recent["later_installs"]
    staff = recent["staff_cost"] + recent["other_staff_cost"]
    assert costs.installs_each == pytest.approx(installs.mean())
    assert costs.staff_each == pytest.approx(staff.mean())
    # A service is drawn towards all sales as if these were twenty.
    own = installs.groupby(recent["service"]).agg(["mean", "size"])
    drawn = (own["mean"] * own["size"] + 20 * installs.mean()) / (own["size"] + 20)
    assert costs.by_service["installs_each"].to_dict() == pytest.approx(drawn.to_dict())
    assert costs.area_m2 == pytest.approx((recent["length_m"] * recent["width_m"]).mean())
    # Without minutes the staff time of a sale is not known, which is not 0.
    without = sale_costs(replace(model, minutes_known=0))
    assert np.isnan(without.staff_each)
    assert without.by_film["staff_each"].isna().all()


def test_the_ends_of_a_sum_are_about_the_sum() -> None:
    model = usual_model()
    table = counter_by_quarter(model, QUARTER.index, SETTINGS)
    some = table[table["told"] > 1]
    assert len(some) > 3
    assert some["expected_net"].between(some["net_low"], some["net_high"]).all()
    assert (some["net_high"] - some["net_low"] > 1).all()


def test_a_sum_with_a_blank_fact_is_blank_and_its_note_counts_who_is_left_out() -> None:
    model, records = usual_model(), usual_shop().records
    sales = model.sales
    one = sales.index == sales.index[sales["is_recent"]][0]
    gone = {name: sales[name].mask(one) for name in ("film_cost", "margin", "expected_net")}
    blank = replace(model, sales=sales.assign(told=~one, **gone))
    period = Period(QUARTER.year_first_day, DAY)
    verdicts = counter_verdicts(blank, SETTINGS)
    table = counter_sales(blank, records, period, verdicts, pd.Series(dtype="float64"))
    row = table.set_index("film").loc[sales.loc[one, "film"].iloc[0]]
    assert np.isnan(row["film_cost"])
    assert np.isnan(row["margin"])
    assert row["revenue"] > 0
    assert row["told"] == row["sales"] - 1
    assert f"1 of {row['sales']} sales left out of expected_net" in row["note"]
    assert "a purchase of the film" in row["note"]


# --- what the answer hangs on ---------------------------------------------------------------------


def test_the_row_of_minutes_by_hand() -> None:
    """Minutes of 10, 20 and 30 at 120 an hour: a mean of 20, with an error of 10 ÷ √3."""
    one = np.ones(50)
    model = made_model(0.1 * one, 100 * one)
    chosen = made_sales([5.0, 5.0, 5.0], minutes=[10.0, 20.0, 30.0], rate=120.0)
    parts = still_parts(model, chosen)
    table = counter_unknowns(model, chosen, parts, 7.0).set_index("unknown")
    row, half = table.loc[MINUTES], 1.6448536 * 10 / np.sqrt(3)
    assert row["middle"] == pytest.approx(20)
    assert [row["low"], row["high"]] == pytest.approx([20 - half, 20 + half])
    # A sale leaves 5 − 0.1 × 100; a minute costs 2.
    assert [row["net_at_low"], row["net_at_high"]] == pytest.approx([-5 + 2 * half, -5 - 2 * half])
    assert row["swing"] == pytest.approx(4 * half)
    # The unit normal loss at 5 ÷ 11.547 is 0.2192; times 11.547, and seven sales a year.
    sd = 2 * 10 / np.sqrt(3)
    loss = norm.pdf(5 / sd) - 5 / sd * norm.sf(5 / sd)
    assert loss == pytest.approx(0.2192, abs=5e-4)
    assert row["value_of_knowing"] == pytest.approx(7 * sd * loss)


def test_what_knowing_is_worth_grows_with_the_sales_of_a_year() -> None:
    rng = np.random.default_rng(0)
    model = made_model(rng.beta(2, 6, 4000), np.full(4000, 100.0))
    chosen = made_sales([25.0] * 6)
    parts: Parts = parts_of_mean(model, chosen, rng)
    once, often = (
        counter_unknowns(model, chosen, parts, each).set_index("unknown")["value_of_knowing"]
        for each in (1.0, 12.0)
    )
    assert once["installs displaced"] > 1
    assert often["installs displaced"] == pytest.approx(12 * once["installs displaced"])


@pytest.mark.parametrize(("first_month", "days"), [("07", 92), ("09", 91)])
def test_a_young_shop_sells_as_many_a_year_as_so_far(
    first_month: str, days: int, tmp_path: Path
) -> None:
    """Four sales since 1 July; where the first is of September, a quarter of a year at least."""
    sales = SALES.replace("2026-07-0", f"2026-{first_month}-0").replace("2026-08", "2026-09")
    records = shop(tmp_path, counter_sales=sales if first_month == "09" else SALES)
    costing = cost_records(records, DAY)
    review = review_counter(costing, records, QUARTER, governing(costing, records, QUARTER), DAY)
    found, model = review.tables["counter_unknowns"], review.model
    assert isinstance(found, pd.DataFrame)
    assert model is not None
    chosen = sales_of(model, pd.Series(True, index=model.sales.index))
    expected = counter_unknowns(model, chosen, parts_for(model, chosen, 0), 4 * 365 / days)
    assert expected["value_of_knowing"].max() > 0
    pd.testing.assert_frame_equal(found, expected)


# --- what is not written down ---------------------------------------------------------------------


def test_the_break_even_share_is_of_the_hours_that_stay_free() -> None:
    model = usual_model()
    row = counter_verdicts(model, SETTINGS).iloc[0]
    chosen = sales_of(model, pd.Series(True, index=model.sales.index))
    by_all = chosen["install_contribution"] * (1 - chosen["refill_share"])
    before = chosen["margin"] + chosen["later_installs"]
    assert by_all.mean() < 0.95 * chosen["install_contribution"].mean()
    assert row["break_even_displaced_share"] == pytest.approx(before.mean() / by_all.mean())


def test_minutes_that_are_not_written_down_leave_a_sum_open() -> None:
    """Of two sales without minutes an hour costs 60: one minute more of the mean costs 2."""
    one = np.ones(200)
    error = np.linspace(-3, 3, 200)
    model = replace(made_model(0 * one, 0 * one), minutes_error=error)
    chosen = made_sales([50.0] * 3, minutes=[20.0, np.nan, np.nan], rate=60.0)
    assert net_draws(model, parts_of_sum(model, chosen)) == pytest.approx(150 - 2 * error)


def test_months_that_are_not_known_as_if_they_were_full() -> None:
    """Other work takes the hours, of displaced installs and of later ones, and time costs more."""
    one = np.ones(200)
    model = made_model(0.5 * one, 100 * one, later=0.4 * one)
    chosen = made_sales([30.0] * 4, month_kind=NOT_KNOWN, more_if_full=7.0)
    blind = replace(model, use_known=False)
    known, full = (
        net_draws(blind, parts_of_mean(blind, chosen, np.random.default_rng(0), if_full=each))
        for each in (False, True)
    )
    assert known == pytest.approx((30 - 50 + 40) * one)
    assert full == pytest.approx((30 - 7) * one)
    # Where other months are known, what later installs take is too; and known months stay.
    seen = replace(model, use_known=True)
    later = net_draws(seen, parts_of_mean(seen, chosen, np.random.default_rng(0), if_full=True))
    assert later == pytest.approx((30 - 7 + 40) * one)
    idle = made_sales([30.0] * 4, month_kind=IDLE, more_if_full=7.0)
    same = net_draws(seen, parts_of_mean(seen, idle, np.random.default_rng(0), if_full=True))
    assert same == pytest.approx((30 - 50 + 40) * one)


@pytest.mark.parametrize(("known", "held"), [(4, NO_MINUTES), (5, "")])
def test_too_few_minutes_do_not_say_that_it_pays(known: int, held: str) -> None:
    one = np.ones(200)
    model = made_model(0.1 * one, 100 * one, minutes_known=known)
    chosen = made_sales([50.0] * 10)
    parts = still_parts(model, chosen)
    assert judge(model, chosen, parts, parts, 100, 5, (0,)).held_back == held
