"""Whether it pays to sell cut film, told to shops whose truth is known.

What is measured over many shops more is printed by `python -m tests.pricing.simulated_counter`.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import beta as beta_distribution

from analysis.arrays import Array
from analysis.costing.jobs import cost_records
from analysis.findings.capacity_use import governing
from analysis.findings.sale_margins import NOT_KNOWN
from analysis.pricing.counter_chances import learn_displaced, learn_later
from analysis.pricing.counter_model import (
    CounterModel,
    Parts,
    net_draws,
    parts_of_mean,
    parts_of_sum,
)
from analysis.pricing.counter_review import review_counter
from analysis.pricing.counter_unknowns import (
    DISPLACED,
    ENDS,
    INSTALL,
    LATER,
    LATER_INSTALL,
    SALES,
    counter_unknowns,
)
from analysis.pricing.counter_verdict import (
    CANNOT_TELL,
    DOES_NOT,
    FEW_ANSWERS,
    FEW_SALES,
    NO_COST,
    NO_MINUTES,
    NO_MONTHS,
    PAYS,
    SURE,
    further_answers,
    judge,
    word,
)
from analysis.pricing.counter_verdicts import counter_verdicts
from analysis.records.read import read_records
from analysis.review import newest_day
from tests.pricing.made_counter import made_model, made_sales, still_parts
from tests.pricing.simulated_counter import (
    ALL_ASKED,
    ANSWERS,
    first_answers,
    found_in,
    settled_shares,
    study,
)
from tests.pricing.simulated_counter_shops import (
    DAY,
    KINDS,
    QUARTER,
    SETTINGS,
    Kind,
    Shop,
    simulated_shop,
    written_shop,
)

SHOPS = 5
STUDIED = (
    "few sales",
    "some sales",
    "near break-even",
    "clearly pays",
    "clearly loses",
    "all months full",
    "half of them full",
    "unsure twice as often",
    "young shop",
)


@cache
def studied(name: str) -> pd.DataFrame:
    at = 500_000 + 1000 * STUDIED.index(name)
    return study(KINDS[name], range(at, at + SHOPS))


@cache
def all_studied() -> pd.DataFrame:
    return pd.concat([studied(name) for name in STUDIED], ignore_index=True)


def all_row(shop: Shop, seed: int = 0, draws: int = 1000) -> dict[str, object]:
    table = counter_verdicts(shop.model(seed, draws), SETTINGS)
    return table.iloc[0].to_dict()


# --- right, or can't tell -------------------------------------------------------------------------


def test_a_verdict_is_right_or_is_none() -> None:
    """95 in 100 over many shops; of these some, no more wrong than chance would have it."""
    table = all_studied()
    assert table["wrong"].mean() <= 0.07, table[["true_net", "verdict", "probability"]]
    assert 0.3 <= table["told"].mean() <= 0.8


def test_clear_cases_are_told() -> None:
    pays, loses = studied("clearly pays"), studied("clearly loses")
    assert (pays["verdict"] == PAYS).mean() >= 0.7
    assert (loses["verdict"] == DOES_NOT).mean() >= 0.7
    assert not (pays["verdict"] == DOES_NOT).any()
    assert not (loses["verdict"] == PAYS).any()


def test_near_break_even_few_are_told() -> None:
    assert (studied("near break-even")["verdict"] == CANNOT_TELL).mean() >= 0.5


@pytest.mark.parametrize("name", ["net", "share", "later"])
def test_intervals_hold_the_truth_as_often_as_they_say(name: str) -> None:
    held = all_studied()[f"{name}_in"]
    assert 0.80 <= held.mean() <= 0.99


def test_what_is_expected_is_not_off_to_one_side() -> None:
    """In the mean of shops whose unsure customers are like the others; money a sale, and shares."""
    table = pd.concat([studied(name) for name in STUDIED if "unsure" not in name])
    for name, most in {"net": 6.0, "share": 0.04, "later": 0.045}.items():
        assert abs(table[f"{name}_off"].mean()) <= most, name


def test_probabilities_are_as_good_as_their_word() -> None:
    """Of shops told 0 to 30 %, few leave anything; of those told 70 % and more, most do."""
    table = all_studied().dropna(subset=["probability"])
    low, high = table["probability"] <= 0.3, table["probability"] >= 0.7
    assert (table.loc[low, "true_net"] > 0).mean() <= 0.3
    assert (table.loc[high, "true_net"] > 0).mean() >= 0.7


def test_the_study_judges_as_the_table_does() -> None:
    shop = simulated_shop(KINDS["some sales"], 3)
    found, row = found_in(shop, 0, 1000), all_row(shop)
    assert row["probability_pays"] == found.judged.probability
    assert row["verdict"] == found.judged.verdict
    ends = [row["displaced_low_share"], row["displaced_high_share"]]
    assert ends == pytest.approx(np.quantile(found.share_draws, ENDS))


@pytest.mark.parametrize("seed", range(3))
def test_shops_in_memory_are_what_records_make_of_them(seed: int, tmp_path: Path) -> None:
    """The whole way from files, against the frames that all the other tests here are made with."""
    shop = simulated_shop(list(KINDS.values())[seed * 3 + 1], seed)
    records = read_records(written_shop(tmp_path, shop))
    # Prices of chance: one of them may lie far from the middle, and is told and used.
    assert set(records.findings["rule"]) <= {"price-far-from-usual"}
    costing = cost_records(records, DAY)
    governs = governing(costing, records, QUARTER)
    review = review_counter(costing, records, QUARTER, governs, newest_day(records))
    assert review.model is not None
    ours, theirs = review.model.sales, shop.model(0, len(review.model.share)).sales
    assert list(ours["sale_id"]) == list(theirs["sale_id"])
    columns = ["margin", "displaced_cost", "later_installs", "expected_net"]
    assert ours[columns].to_numpy() == pytest.approx(theirs[columns].to_numpy(), abs=1e-6)
    verdicts = review.tables["counter_verdicts"]
    assert isinstance(verdicts, pd.DataFrame)
    row = verdicts.iloc[0]
    truth = shop.truth.net(review.model.later.months)
    wide = row["net_high"] - row["net_low"]
    assert row["net_low"] - wide / 2 <= truth <= row["net_high"] + wide / 2


# --- idle and full months -------------------------------------------------------------------------

EVEN = Kind(sales=400, full=0.5, net=0.0, net_sd=0.0, alike=200.0, later=0.01, unsure=0.0, jobs=400)


@pytest.mark.parametrize(
    ("kind", "idle", "full"),
    [
        (replace(EVEN, displaced=0.03, minutes=60.0), PAYS, DOES_NOT),
        (replace(EVEN, displaced=0.5, minutes=1.0), DOES_NOT, PAYS),
    ],
    ids=["an hour of advice", "every other install displaced"],
)
def test_idle_and_full_months_are_told_apart(kind: Kind, idle: str, full: str) -> None:
    """An hour at the counter is dear in full months, an install displaced in idle ones."""
    shop = simulated_shop(kind, 1)
    by_month = shop.truth.net_by_month(24)
    is_idle = shop.truth.refill == 0
    assert (by_month[is_idle].mean() > 0) == (idle == PAYS)
    assert (by_month[~is_idle].mean() > 0) == (full == PAYS)
    verdict = counter_verdicts(shop.model(0, 1000), SETTINGS).set_index("group")["verdict"]
    assert verdict["idle months"] == idle
    assert verdict["full months"] == full
    assert verdict["all sales"] == CANNOT_TELL


# --- who comes back -------------------------------------------------------------------------------

COMES_BACK = Kind(sales=600, months=6, later=0.3, delay=4.0)


def test_dropping_who_had_no_time_yet_would_be_wrong() -> None:
    """The share of all sales that came back is far too low; what is learnt is not."""
    ours, naive = [], []
    for seed in range(12):
        shop = simulated_shop(COMES_BACK, seed)
        sales = shop.records["counter_sales"]
        found = learn_later(sales, shop.records, DAY, 400, np.random.default_rng(seed))
        truth = shop.truth.later_within(found.months)
        ours.append(float(found.draws.mean()) - truth)
        naive.append(float(sales["later_job_id"].notna().mean()) - truth)
    assert np.mean(naive) < -0.06
    assert abs(np.mean(ours)) < 0.04
    assert abs(np.mean(ours)) < abs(np.mean(naive)) / 2


def test_sales_of_last_week_do_not_lower_the_chance() -> None:
    """Thrice as many sales as in the whole year, all sold in the last week, none back yet."""
    shop = simulated_shop(Kind(sales=300, months=12, later=0.3), 2)
    sales = shop.records["counter_sales"]
    sales = sales[sales["sold_on"] < DAY - pd.Timedelta(days=10)].reset_index(drop=True)
    week = pd.concat([sales] * 3, ignore_index=True).assign(
        sold_on=DAY - pd.Timedelta(days=3), later_job_id=None
    )
    week = week.astype(sales.dtypes.to_dict())
    rng = np.random.default_rng(0)
    before = learn_later(sales, shop.records, DAY, 4000, rng)
    after = learn_later(pd.concat([sales, week], ignore_index=True), shop.records, DAY, 4000, rng)
    naive = float(before.came.sum()) / (4 * len(sales))
    assert after.months == before.months
    assert before.draws.mean() > 0.2
    assert naive < 0.08
    # Half a month of a third of the first month's chance is what the week may take away.
    assert after.draws.mean() == pytest.approx(before.draws.mean(), abs=0.05)


def test_who_comes_back_to_a_later_sale_counts_once() -> None:
    """Two sales that name one job: it came of the last of them."""
    shop = simulated_shop(Kind(sales=40, later=0.3), 4)
    sales = shop.records["counter_sales"]
    came = sales["later_job_id"].notna()
    twice = pd.concat([sales, sales[came].assign(sale_id=sales["sale_id"] + "b")])
    twice = twice.reset_index(drop=True)
    found = learn_later(twice, shop.records, DAY, 400, np.random.default_rng(0))
    once = learn_later(sales, shop.records, DAY, 400, np.random.default_rng(0))
    assert once.came.sum() > 10
    assert found.came.sum() == once.came.sum()


def test_a_job_before_the_sale_is_none() -> None:
    shop = simulated_shop(Kind(sales=40, later=0.3), 4)
    sales = shop.records["counter_sales"]
    late = sales.assign(sold_on=DAY.floor("D")).astype({"sold_on": "datetime64[us]"})
    found = learn_later(late, shop.records, DAY, 400, np.random.default_rng(0))
    assert found.came.sum() == 0


# --- answers --------------------------------------------------------------------------------------


def test_more_answers_settle_more() -> None:
    """The same shops with 10, 30, 100 and 300 answers: can't tell falls, the share is narrower."""
    shops = [simulated_shop(ALL_ASKED, seed) for seed in range(12)]
    untold, wide = [], []
    for answers in ANSWERS:
        found = [first_answers(shop, answers) for shop in shops]
        untold.append(np.mean([word(each) == CANNOT_TELL for each, _ in found]))
        wide.append(np.mean([each for _, each in found]))
    assert all(np.diff(wide) < 0)
    assert all(np.diff(untold) <= 0.1)
    assert untold[-1] <= untold[0] - 0.2


def test_who_is_unsure_is_not_dropped() -> None:
    """The same yes and no, and ever more who are unsure: the share is as before, but wider."""
    said = ["yes"] * 10 + ["no"] * 30
    wide, middle = [], []
    for unsure in (0, 4, 20, 80):
        sales = pd.DataFrame({"service": "roof", "would_book": [*said, *["unsure"] * unsure]})
        found = learn_displaced(sales, 20_000, np.random.default_rng(0))
        share = found.draws[:, 0]
        wide.append(float(np.ptp(np.quantile(share, ENDS))))
        middle.append(float(share.mean()))
        assert found.known[:, 0].mean() == pytest.approx(10.5 / 41, abs=0.02)
    assert all(np.diff(wide) > 0)
    assert wide[-1] > 1.5 * wide[0]
    assert middle == pytest.approx([10.5 / 41] * 4, abs=0.05)
    dropped = pd.DataFrame({"service": "roof", "would_book": said})
    alone = learn_displaced(dropped, 20_000, np.random.default_rng(0)).draws[:, 0]
    assert float(np.ptp(np.quantile(alone, ENDS))) == pytest.approx(wide[0])


def test_who_was_not_asked_is_like_the_others() -> None:
    said = pd.DataFrame({"service": "roof", "would_book": ["yes"] * 10 + ["no"] * 30})
    blank = pd.concat([said, said.assign(would_book=None)], ignore_index=True)
    both = [learn_displaced(each, 4000, np.random.default_rng(0)).draws for each in (said, blank)]
    assert both[0] == pytest.approx(both[1])


def test_further_answers_settle_what_they_say_they_would() -> None:
    """With so many more answers, drawn from what is known, two in three and more are settled."""
    settled = settled_shares(range(50_000, 50_010), 10)
    assert len(settled) >= 3
    assert 0.55 <= np.mean(settled) <= 0.95


@pytest.mark.parametrize(("yes", "no"), [(0.5, 0.5), (1.0, 1.0), (3.0, 6.0), (4.0, 6.0)])
def test_further_answers_by_the_conjugate_beta(yes: float, no: float) -> None:
    """One share of a known beta; it pays below 25 %. Truth, answers and the new beta drawn anew.

    Two in three are settled with so many, and with twice as many; not with half as many, or not
    with their double.
    """
    rng = np.random.default_rng(3)
    model = made_model(share=rng.beta(yes, no, 4000), install=np.full(4000, 100.0))
    parts = still_parts(model, made_sales([25.0, 25.0]))
    further = further_answers(model, parts, np.full(4000, 25.0), (3,))
    assert further is not None

    def settled(answers: int) -> float:
        truth = rng.beta(yes, no, 40_000)
        more = rng.binomial(answers, truth)
        below = beta_distribution.cdf(0.25, yes + more, no + answers - more)
        return float(((below >= SURE) | (below <= 1 - SURE)).mean())

    assert min(settled(further), settled(2 * further)) >= 2 / 3 - 0.06
    assert min(settled(further // 2), settled(further)) <= 2 / 3 + 0.06


def test_further_answers_are_as_many_every_time() -> None:
    """The seed is of their own: nothing that was drawn before changes them."""
    rng = np.random.default_rng(3)
    model = made_model(share=rng.beta(3, 6, 4000), install=np.full(4000, 100.0))
    parts = still_parts(model, made_sales([25.0, 25.0]))
    found = [further_answers(model, parts, np.full(4000, 25.0), (3, 2, 0)) for _ in range(2)]
    assert found[0] == found[1]


def test_answers_that_could_not_settle_it_are_not_asked_for() -> None:
    """All is known of the share, and price and cost differ too much to tell."""
    rng = np.random.default_rng(0)
    model = made_model(share=rng.beta(2500, 7500, 4000), install=np.full(4000, 100.0))
    rest = rng.normal(25.0, 20.0, 4000)
    parts = still_parts(model, made_sales([25.0, 25.0]))
    assert further_answers(model, parts, rest, (0,)) is None


# --- thin evidence --------------------------------------------------------------------------------

FEWEST = SETTINGS.pricing.fewest_jobs
PROFIT = Kind(sales=60, net=80.0, net_sd=0.0, displaced=0.1, alike=100.0, unsure=0.0, full=0.0)
ALWAYS = replace(PROFIT, net=400.0)
NEVER = replace(PROFIT, net=0.0, price=20.0)


def with_answers(shop: Shop, answers: int, sales: int | None = None) -> Shop:
    """So many answers left, and so many sales in the twelve months: the others were before."""
    table = shop.records["counter_sales"]
    said = table["would_book"].where(table["would_book"].notna().cumsum() <= answers)
    table = table.assign(would_book=said)
    if sales is not None:
        recent = table["sold_on"] >= QUARTER.year_first_day
        old = DAY - pd.DateOffset(months=20)
        gone = recent & (recent.cumsum() > sales)
        table = table.assign(sold_on=table["sold_on"].mask(gone, old))
    return shop.with_sales(table)


def test_too_few_sales_say_nothing() -> None:
    shop = simulated_shop(ALWAYS, 1)
    row = all_row(with_answers(shop, 40, sales=FEWEST - 1))
    assert (row["sales"], row["verdict"], row["enough"]) == (FEWEST - 1, CANNOT_TELL, False)
    assert row["probability_pays"] > 0.95
    assert f"Only {FEWEST - 1} sales" in str(row["reason"])
    assert all_row(with_answers(shop, 40, sales=FEWEST + 10))["verdict"] == PAYS


def test_too_few_answers_say_nothing_but_what_holds_without_them() -> None:
    shop = simulated_shop(PROFIT, 1)
    assert all_row(with_answers(shop, 60))["verdict"] == PAYS
    thin = all_row(with_answers(shop, FEWEST - 1))
    assert (thin["answers"], thin["verdict"]) == (FEWEST - 1, CANNOT_TELL)
    assert "said whether they would have booked" in str(thin["reason"])
    # Whether every sale displaces an install, or none: it pays all the same, or loses.
    assert all_row(with_answers(simulated_shop(ALWAYS, 1), 0))["verdict"] == PAYS
    assert all_row(with_answers(simulated_shop(NEVER, 1), 0))["verdict"] == DOES_NOT


def test_without_minutes_nothing_pays() -> None:
    for kind, verdict in ((ALWAYS, CANNOT_TELL), (NEVER, DOES_NOT)):
        shop = simulated_shop(kind, 1)
        sales = shop.records["counter_sales"].assign(minutes=np.nan)
        row = all_row(shop.with_sales(sales))
        assert row["verdict"] == verdict
        if verdict == CANNOT_TELL:
            assert "Hardly any minutes are written down" in str(row["reason"])


def test_minutes_of_one_sale_do_not_say_that_it_pays() -> None:
    shop = simulated_shop(ALWAYS, 1)
    sales = shop.records["counter_sales"]
    for count, expected in ((1, CANNOT_TELL), (FEWEST - 1, CANNOT_TELL), (FEWEST, PAYS)):
        noted = sales["minutes"].where(sales["minutes"].notna().cumsum() <= count)
        model = shop.with_sales(sales.assign(minutes=noted)).model(0, 1000)
        row = counter_verdicts(model, SETTINGS).iloc[0]
        assert model.minutes_known == count
        assert row["probability_pays"] >= SURE
        assert row["verdict"] == expected


def test_a_service_with_one_answer_has_no_verdict() -> None:
    """Its share is that of the others, as sure as theirs; but its own customers said nothing."""
    shop = simulated_shop(replace(PROFIT, net=105.0), 1)
    sales = shop.records["counter_sales"]
    own = sales["service"] == "mirrors"
    said = sales["would_book"].mask(sales["would_book"] == "unsure")
    counted = (said.notna() & own).cumsum()
    for answers, expected in ((1, CANNOT_TELL), (FEWEST, PAYS)):
        few = said.mask(own & (counted > answers))
        table = counter_verdicts(
            shop.with_sales(sales.assign(would_book=few)).model(0, 1000), SETTINGS
        )
        rows = table.set_index(["kind", "group"])
        row = rows.loc[("service", "mirrors")]
        assert (row["answers"], row["verdict"]) == (answers, expected)
        assert row["enough"]
        assert row["probability_pays"] >= SURE
        assert ("Only 1 customer said" in row["reason"]) == (answers == 1)
        # All sales together, and months, rest on the answers of all.
        assert rows.loc[("all", "all sales"), "verdict"] == PAYS
        assert rows.loc[("months", "idle months"), "verdict"] == PAYS
        # It takes as many as are wanting, at least.
        if answers == 1 and not pd.isna(row["further_answers"]):
            assert row["further_answers"] >= FEWEST - 1


def test_a_service_that_pays_at_any_share_needs_no_answer() -> None:
    for kind, expected in ((ALWAYS, PAYS), (NEVER, DOES_NOT)):
        shop = simulated_shop(kind, 1)
        model = with_answers(shop, 0).model(0, 1000)
        rows = counter_verdicts(model, SETTINGS).set_index("group")
        assert (rows.loc["mirrors", "answers"], rows.loc["mirrors", "verdict"]) == (0, expected)


# --- what is held back, by hand -------------------------------------------------------------------


def test_months_that_are_not_known_as_if_they_had_been_full() -> None:
    """Of the six sales two are of such a month: 9 more staff time, and their installs are taken."""
    model = made_model(share=np.full(4, 0.5), install=np.full(4, 100.0), use_known=False)
    known = made_sales([20.0] * 4, refill=0.25)
    unknown = made_sales([20.0] * 2, month_kind=NOT_KNOWN, more_if_full=9.0)
    chosen = pd.concat([known.assign(more_if_full=50.0), unknown], ignore_index=True)
    parts, full = (
        parts_of_mean(model, chosen, np.random.default_rng(0), if_full=each)
        for each in (False, True)
    )
    assert parts.margin == pytest.approx(np.full(4, 20.0))
    of_unknown = (20.0 - full.margin) / 9
    assert full.exposed[:, 0] == pytest.approx(0.75 * (1 - of_unknown))
    assert parts.exposed[:, 0] == pytest.approx(0.75 + 0.25 * of_unknown)
    assert (parts.refill_later, full.refill_later) == (0.0, 1.0)
    some = replace(model, use_known=True, refill_later=0.3)
    known_use = parts_of_mean(some, chosen, np.random.default_rng(0), if_full=True)
    assert known_use.refill_later == 0.3


def test_minutes_that_are_not_noted_have_the_error_of_the_mean() -> None:
    """At 60 an hour a minute costs 1: three of the four sales are blank."""
    error = np.array([-3.0, 0.0, 3.0])
    model = made_model(share=np.zeros(3), install=np.zeros(3), minutes_error=error)
    chosen = made_sales([20.0] * 4, minutes=[10.0, np.nan, np.nan, np.nan], rate=60.0)
    assert parts_of_sum(model, chosen).margin == pytest.approx(80 - 3 * error)
    noted = made_sales([20.0] * 4, minutes=[10.0] * 4, rate=60.0)
    assert np.broadcast_to(parts_of_sum(model, noted).margin, 3) == pytest.approx([80] * 3)
    one = parts_of_mean(model, chosen, np.random.default_rng(0))
    assert (one.margin[0] > 20, one.margin[1], one.margin[2] < 20) == (
        True, pytest.approx(20.0), True,
    )  # fmt: skip


PAYING = {"share": np.full(100, 0.1), "install": np.full(100, 100.0)}


@pytest.mark.parametrize(
    ("margin", "answers", "noted", "full", "held", "verdict"),
    [
        ([30.0] * 6, 6, 6, 1.0, "", PAYS),
        ([30.0] * 4, 6, 6, 1.0, FEW_SALES, CANNOT_TELL),
        ([30.0] * 6, 4, 6, 1.0, FEW_ANSWERS, CANNOT_TELL),
        # Over 100 a sale it pays though every sale displaces one, under 0 it never does.
        ([130.0] * 6, 0, 6, 130.0, "", PAYS),
        ([-30.0] * 6, 0, 0, -30.0, "", DOES_NOT),
        ([30.0] * 6, 6, 4, 1.0, NO_MINUTES, CANNOT_TELL),
        ([30.0] * 6, 6, 6, -1.0, NO_MONTHS, CANNOT_TELL),
        ([np.nan] * 6, 6, 6, 1.0, NO_COST, CANNOT_TELL),
    ],
)
def test_what_holds_a_verdict_back(
    margin: list[float], answers: int, noted: int, full: float, held: str, verdict: str
) -> None:
    model = made_model(**PAYING, minutes_known=noted)
    chosen = made_sales(margin)
    parts = still_parts(model, chosen)
    if_full = still_parts(model, made_sales([full] * len(margin), refill=1.0))
    found = judge(model, chosen, parts, if_full, answers, FEWEST, (0, 2, 0))
    assert (found.held_back, found.verdict) == (held, verdict)


# --- what it is worth to know ---------------------------------------------------------------------


def drawn_model(seed: int, draws: int = 4000) -> tuple[CounterModel, pd.DataFrame, Parts]:
    """Two kinds of sales, everything about them uncertain, the mean near nothing."""
    rng = np.random.default_rng(seed)
    share = rng.beta([4, 6], [12, 9], (draws, 2))
    install = rng.normal([150, 90], [30, 25], (draws, 2))
    model = made_model(
        share=share,
        install=install,
        later=rng.beta(3, 27, draws),
        apart=rng.normal(20, 40, draws),
        refill_later=0.3,
    )
    count = 30
    chosen = made_sales(
        list(rng.gamma(2.0, 14.0, count)),
        minutes=list(rng.uniform(10, 40, count)),
        rate=30.0,
        kind=list(rng.integers(0, 2, count)),
    ).assign(refill_share=rng.choice([0.0, 0.6], count))
    return model, chosen, parts_of_mean(model, chosen, rng)


def nested(model: CounterModel, parts: Parts, name: str, outer: int, seed: int) -> float:
    """Expected value of knowing an unknown, by brute force: an inner mean for each of its draws."""
    rng = np.random.default_rng(seed)
    draws = len(model.share)
    best, every = [], []
    for at in rng.choice(draws, outer, replace=False):
        inner = {each: rng.permutation(draws) for each in (DISPLACED, INSTALL, LATER, SALES)}
        inner[LATER_INSTALL] = rng.permutation(draws)
        inner[name] = np.full(draws, at)
        net = net_of(model, parts, inner).mean()
        best.append(max(net, 0.0))
        every.append(net)
    return float(np.mean(best) - max(np.mean(every), 0.0))


def net_of(model: CounterModel, parts: Parts, at: dict[str, Array]) -> Array:
    """What a sale leaves with each unknown at draws of its own: the formula, written out again."""
    share, install = model.share[at[DISPLACED]], model.install[at[INSTALL]]
    sale = at[SALES]
    lost = (parts.exposed[sale] * share * install).sum(axis=1)
    beyond = model.later_apart[at[LATER_INSTALL]][:, None]
    bring = (parts.weight[sale] * (install + beyond)).sum(axis=1)
    free = 1 - model.refill_later
    return np.asarray(parts.margin[sale] - lost + model.later.draws[at[LATER]] * bring * free)


@pytest.mark.parametrize("name", [DISPLACED, INSTALL, LATER, LATER_INSTALL, SALES])
def test_the_value_of_knowing_is_that_of_nested_draws(name: str) -> None:
    model, chosen, parts = drawn_model(11)
    table = counter_unknowns(model, chosen, parts, 100.0).set_index("unknown")
    brute = 100 * nested(model, parts, name, outer=700, seed=1)
    assert table.loc[name, "value_of_knowing"] == pytest.approx(brute, rel=0.15, abs=12.0)


def test_the_ends_of_each_unknown_by_the_formula() -> None:
    """One at its end, the others at their means."""
    model, chosen, parts = drawn_model(5)
    table = counter_unknowns(model, chosen, parts, 1.0).set_index("unknown")
    assert table["swing"].is_monotonic_decreasing
    mean = Parts(
        *(each.mean(axis=0, keepdims=True) for each in (parts.margin, parts.exposed, parts.weight)),
        parts.refill_later,
    )
    later, apart = float(model.later.draws.mean()), float(model.later_apart.mean())
    share, install = model.share.mean(axis=0), model.install.mean(axis=0)

    def net(chance: float = later, beyond: float = apart) -> float:
        lost = float((mean.exposed * share * install).sum())
        bring = float((mean.weight * (install + beyond)).sum())
        return float(mean.margin[0]) - lost + chance * bring * (1 - model.refill_later)

    row = table.loc[LATER]
    ends = [net(chance=row[end] / 100) for end in ("low", "high")]
    assert [row["net_at_low"], row["net_at_high"]] == pytest.approx(ends)
    row = table.loc[LATER_INSTALL]
    usual = float((mean.weight * install).sum())
    ends = [net(beyond=row[end] - usual) for end in ("low", "high")]
    assert [row["net_at_low"], row["net_at_high"]] == pytest.approx(ends)
    # Of several services together the ends are those of the draws.
    moved = float(mean.margin[0]) - (mean.exposed * model.share * install).sum(axis=1)
    moved = moved + net() - float(mean.margin[0]) + float((mean.exposed * share * install).sum())
    ends = np.quantile(moved, ENDS)[::-1]
    row = table.loc[DISPLACED]
    assert [row["net_at_low"], row["net_at_high"]] == pytest.approx(list(ends))
    assert row["net_at_low"] > row["net_at_high"]


def test_knowing_everything_is_worth_no_less_than_knowing_one_thing() -> None:
    model, chosen, parts = drawn_model(11)
    table = counter_unknowns(model, chosen, parts, 100.0)
    net = net_draws(model, parts)
    every = 100 * float(np.maximum(net, 0).mean() - max(net.mean(), 0.0))
    assert table["value_of_knowing"].max() <= every + 5.0
    assert (table["value_of_knowing"] >= 0).all()
