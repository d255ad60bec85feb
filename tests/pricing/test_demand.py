"""What the price does to the quotes won: simulated shops, brute force, and edges."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit
from scipy.stats import norm

from analysis.errors import Unavailable
from analysis.price_tables import DEMAND_SEASONS, WIN_CHANCES
from analysis.pricing import demand_draws, demand_model
from analysis.pricing.demand import Demand, chance, learn_demand
from analysis.pricing.demand_draws import draw_demand
from analysis.pricing.demand_model import Answers
from analysis.pricing.demand_tables import demand_seasons, win_chances
from analysis.records.model import Records
from tests.pricing.simulated_quotes import (
    DAY,
    Kind,
    cells_of,
    records_with,
    simulated_quotes,
    with_quotes,
)

SEEN = (0.05, 0.5, 0.95)


def learnt(records: Records, seed: int = 1) -> Demand:
    """What is learnt of a simulated shop; it must be something."""
    found = learn_demand(records, cells_of(records), DAY, seed)
    assert isinstance(found, Demand)
    return found


def by_service(demand: Demand) -> pd.DataFrame:
    """Quantiles of slope and of the chance at list (mean over the classes), by service."""
    rows = {}
    for service, cells in demand.cells.groupby("service"):
        at = cells.index.to_numpy()
        slope = np.quantile(demand.slope[:, at[0]], SEEN)
        at_list = np.quantile(expit(demand.level[:, at]).mean(axis=1), SEEN)
        rows[service] = [*slope, *at_list, bool(cells["learnt"].all()), cells["note"].iloc[0]]
    columns = ["low", "slope", "high", "list_low", "at_list", "list_high", "learnt", "note"]
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns)


def plain_quotes(rows: list[tuple[str, str, float, str]], *, listed: float = 100.0) -> Records:
    """Quotes of (day, service, price, outcome) against one list price."""
    day, service, price, outcome = zip(*rows, strict=True)
    names = sorted(set(service))
    quotes: dict[str, object] = {
        "quote_id": np.array([f"Q{at:03d}" for at in range(len(rows))]),
        "quoted_on": pd.to_datetime(np.array(day)),
        "service": np.array(service),
        "quoted_price": np.array(price),
        "outcome": np.array(outcome),
    }
    prices: dict[str, object] = {
        "service": np.array(names),
        "list_price": np.full(len(names), listed),
        "effective_from": pd.to_datetime(np.array(["2020-01-01"] * len(names))),
    }
    return records_with(quotes, prices)


def test_nine_intervals_of_ten_hold_the_truth() -> None:
    """Forty small shops of two services, prices ±13 %: at least 85 in 100 of slopes and levels."""
    slope, at_list = [], []
    for seed in range(40):
        records, truth = simulated_quotes(Kind(quotes=150, services=2), seed)
        found = by_service(learnt(records, seed))
        slope.extend((found["low"] <= truth.slope) & (truth.slope <= found["high"]))
        at_list.extend((found["list_low"] <= truth.at_list) & (truth.at_list <= found["list_high"]))
    assert np.mean(slope) >= 0.85
    assert np.mean(at_list) >= 0.85


def test_draws_are_those_of_brute_force() -> None:
    """One service in one season of today: every steepness and level on a grid, and no Laplace."""
    rng = np.random.default_rng(4)
    x = rng.normal(0, 0.15, 60)
    won = (rng.random(60) < expit(0.6 - 4 * x)).astype(np.float64)
    nothing = np.zeros(60, dtype=np.int64)
    answers = Answers.of(nothing, x, np.zeros(60), nothing, won, np.zeros(1, dtype=np.int64), 1)
    draws = draw_demand(answers, 4000, 1)
    # Prior of the steepness, its mean and its spread integrated out; that of the level is so wide
    # (common level, service, class and season together) that its spreads do not matter.
    steepness = np.linspace(np.log(0.12), np.log(32.0), 300)
    spread = np.linspace(0.02, 2.0, 100)
    wide = np.hypot(demand_model.STEEPNESS_SD, spread)
    away = (steepness[:, None] - demand_model.STEEPNESS) / wide
    half_normal = np.exp(-((spread / demand_model.SPREAD_SD) ** 2) / 2)
    prior = (np.exp(-(away**2) / 2) / wide * half_normal).sum(axis=1)
    level = np.linspace(-4, 6, 400)
    odds = level[None, :, None] - np.exp(steepness)[:, None, None] * x
    log_likelihood = (odds * won - np.logaddexp(0, odds)).sum(axis=2)
    weight = np.exp(log_likelihood - log_likelihood.max()) * prior[:, None]
    weight = weight * np.exp(-(((level - 0.4) / 1.7) ** 2) / 2)
    total = np.cumsum(weight.sum(axis=1)) / weight.sum()
    exact = np.exp(np.interp(SEEN, total, steepness))
    found = np.quantile(-draws.slope[:, 0], SEEN)
    assert np.abs(found - exact).max() < 0.06 * (exact[2] - exact[0])


def test_levels_and_offsets_are_integrated_out() -> None:
    """Two cells of one service: the heights against the sum over a grid of level and offsets."""
    rng = np.random.default_rng(2)
    cell = np.repeat([0, 1], [14, 9])
    x = rng.normal(0, 0.2, 23)
    won = (rng.random(23) < 0.65).astype(np.float64)
    nothing = np.zeros(23, dtype=np.int64)
    answers = Answers.of(cell, x, np.zeros(23), nothing, won, np.zeros(2, dtype=np.int64), 1)
    steepness, sd = np.array([-1.0, 1.0, 2.5, 1.0]), np.array([0.2, 0.2, 0.2, 0.8])
    common = np.tile([0.3, 0.0, 0.0, 0.02, 0.4], (4, 1))
    nodes = demand_model.LevelNodes(steepness[:, None], common, sd)
    fit = demand_model.fit_levels(answers, nodes, (np.zeros((4, 1)), np.zeros((4, 2))), 8)
    found = demand_model._heights(answers, nodes, fit)[:, 0]
    level = np.linspace(-4, 4, 161)
    exact = []
    for at in range(4):
        offset = np.linspace(-5, 5, 161) * sd[at]
        effect = level[:, None] + offset
        by_cell = []
        for each in (0, 1):
            mine = cell == each
            fixed = 0.15 + 0.4 - np.exp(steepness[at]) * x[mine]
            odds = effect[..., None] + fixed
            log_likelihood = (odds * won[mine] - np.logaddexp(0, odds)).sum(axis=2)
            by_cell.append(
                np.trapezoid(np.exp(log_likelihood) * norm.pdf(offset, 0, sd[at]), offset)
            )
        prior = norm.pdf(level, 0, 0.7)
        exact.append(np.log(np.trapezoid(by_cell[0] * by_cell[1] * prior, level)))
    assert found == pytest.approx(exact, abs=0.03)


def test_no_service_sells_more_for_being_dearer() -> None:
    """Dear quotes won and cheap ones lost: the slope goes to the bound and no further."""
    rows = [
        (
            f"2026-0{1 + at % 9}-1{at % 10}",
            "roof",
            100.0 + 4 * (at % 10),
            "won" if at % 10 > 4 else "lost",
        )
        for at in range(60)
    ]
    demand = learnt(plain_quotes(rows))
    assert (demand.slope < 0).all()
    # The prior alone gives a middle of 3: the quotes must pull it far down.
    assert np.median(demand.slope) > -1.0


def test_prices_that_never_vary_teach_nothing() -> None:
    records, _ = simulated_quotes(Kind(haggle=0.0, town=0.0), 3)
    found = by_service(learnt(records))
    assert not found["learnt"].any()
    assert found.loc["service 0", "note"] == (
        "Prices varied by only 0 % around the list: too alike to learn from."
    )
    # What was believed before stays: a factor of some seven either way.
    assert (found["low"] / found["high"] > 15).all()


def test_what_is_wanting_is_said() -> None:
    records, _ = simulated_quotes(Kind(quotes=60, haggle=0.06), 3)
    notes = by_service(learnt(records))["note"]
    assert notes["service 3"].startswith("Only ")
    assert notes["service 3"].endswith(" quotes were decided.")
    assert "are too few to tell: it takes some" in notes["service 0"]
    rich = by_service(learnt(simulated_quotes(Kind(quotes=900, haggle=0.13), 3)[0]))
    assert rich["learnt"].all()
    assert (rich["note"] == "").all()


def test_a_discount_in_the_season_that_buys_less_is_not_taken_for_the_price() -> None:
    """In winter quotes stand 8 % lower and fewer are won: blind to the season, price would help."""
    blind, seeing, truths = [], [], []
    for seed in range(3):
        kind = Kind(quotes=900, services=2, season=0.9, winter_discount=0.08, haggle=0.08)
        records, truth = simulated_quotes(kind, seed)
        demand = learnt(records)
        found = by_service(demand)
        truths.append(truth.slope)
        seeing.append(found[["low", "slope", "high"]])
        autumn = records["quotes"].assign(quoted_on=pd.Timestamp("2026-08-01"))
        blind.append(by_service(learnt(with_quotes(records, autumn)))["slope"])
        assert np.median(demand.season[:, 0]) < -0.4
    truth, found = pd.concat(truths), pd.concat(seeing)
    assert ((found["low"] <= truth) & (truth <= found["high"])).mean() >= 0.8
    # Blind to the season the slopes come out well too flat.
    assert (pd.concat(blind) / truth).median() < (found["slope"] / truth).median() - 0.15
    assert (found["slope"] / truth).median() == pytest.approx(1.0, abs=0.25)


def test_a_list_that_was_raised_teaches_beyond_what_the_town_did() -> None:
    """Little haggling, the list raised by 14 % in one step: the step alone tells the slope."""
    kind = Kind(
        quotes=1500, services=2, haggle=0.02, raised=0.14, town=0.0, slope=4.0, slope_sd=0.1
    )
    records, truth = simulated_quotes(kind, 5)
    found = by_service(learnt(records))
    assert ((found["low"] <= truth.slope) & (truth.slope <= found["high"])).all()
    assert (found["high"] < -1.2).all()
    assert found["learnt"].all()


def test_a_list_that_stood_still_while_the_town_rose_wins_more_today() -> None:
    """At 5 % a year today's list wins more quotes than the mean of two and a half years."""
    kind = Kind(quotes=1500, services=2, slope=6.0, slope_sd=0.1, town=0.05, raised=1e-9)
    records, truth = simulated_quotes(kind, 5)
    found = by_service(learnt(records))
    assert ((found["list_low"] <= truth.at_list) & (truth.at_list <= found["list_high"])).all()
    quotes = records["quotes"]
    won = (quotes["outcome"] == "won").groupby(quotes["service"]).mean()
    assert (found["list_low"] > won).all()


def test_without_an_outcome_to_tell_apart_no_curve_is_pretended() -> None:
    roof = [(f"2026-05-{at:02d}", "roof", 100.0 + at, "won") for at in range(1, 20)]
    cases = {
        "Every quote in the table quotes is won": roof,
        "Every quote in the table quotes is lost": [(*row[:3], "lost") for row in roof],
        "No quote is marked won or lost yet": [(*row[:3], "open") for row in roof],
    }
    for line, rows in cases.items():
        records = plain_quotes(rows)
        found = learn_demand(records, cells_of(records), DAY, 1)
        assert isinstance(found, Unavailable)
        assert found.missing == ("quotes",)
        assert found.line.startswith(line)
    bare = learn_demand(records_with({}, {}), cells_of(records_with({}, {})), DAY, 1)
    assert isinstance(bare, Unavailable)
    assert "needs the table quotes" in bare.line


@pytest.mark.parametrize("count", [2, 12, 60])
def test_few_quotes_and_quotes_that_a_price_parts_stay_wide(count: int) -> None:
    """Every quote under 100 won, every one over it lost: no slope without end."""
    rows = [
        (f"2026-05-{1 + at % 28:02d}", "roof", 95.0 + 10 * (at % 2), "lost" if at % 2 else "won")
        for at in range(count)
    ]
    found = by_service(learnt(plain_quotes(rows)))
    assert np.isfinite(found[["low", "high"]].to_numpy()).all()
    if count < 60:
        assert found["low"].iloc[0] / found["high"].iloc[0] > 3
        assert not found["learnt"].iloc[0]
    else:
        # Sixty that the price parts without one exception: as steep as is believed at all.
        assert -35 < found["slope"].iloc[0] < -15


def test_a_service_of_which_all_quotes_were_won_stays_wide() -> None:
    rows = [(f"2026-05-{at:02d}", "roof", 90.0 + at, "won") for at in range(1, 28)]
    rows += [
        (f"2026-06-{at:02d}", "hood", 90.0 + at, "won" if at % 3 else "lost") for at in range(1, 28)
    ]
    found = by_service(learnt(plain_quotes(rows)))
    assert found.loc["roof", "note"] == "All 27 quotes were won."
    assert 0.8 < found.loc["roof", "list_low"] < found.loc["roof", "list_high"] < 1


def test_a_priced_cell_without_quotes_has_the_service_s_level_and_the_prior_s_slope() -> None:
    rows = [
        (f"2026-05-{at:02d}", "roof", 90.0 + at, "won" if at % 2 else "lost") for at in range(1, 28)
    ]
    records = plain_quotes(rows)
    cells = pd.DataFrame(
        {
            "service": ["roof", "roof", "hood"],
            "vehicle_class": ["van", None, None],
            "current_price": [120.0, 100.0, 80.0],
        }
    )
    demand = learn_demand(records, cells, DAY, 1)
    assert isinstance(demand, Demand)
    assert demand.cells["quotes"].tolist() == [0, 27, 0]
    assert demand.cells["quotes_service"].tolist() == [27, 27, 0]
    assert demand.cells.loc[2, "note"] == "No quote was decided."
    assert np.std(demand.level[:, 0]) > np.std(demand.level[:, 1])
    assert np.median(demand.level[:, 0]) == pytest.approx(np.median(demand.level[:, 1]), abs=0.15)
    assert demand.slope.shape == demand.level.shape == (600, 3)


def test_without_a_price_list_the_quotes_make_the_cells() -> None:
    records, _ = simulated_quotes(Kind(quotes=400), 2)
    bare = with_quotes(records_with({}, {}), records["quotes"])
    demand = learnt(bare)
    assert len(demand.cells) == 12
    assert by_service(demand).loc["service 0", "slope"] < -0.5


def test_chance_is_the_mean_over_what_is_quoted() -> None:
    records, _ = simulated_quotes(Kind(quotes=100), 2)
    demand = learnt(records)
    found = chance(demand, 1, np.array([0.0, 0.1]))
    by_hand = [
        expit(demand.level[7, 1] + demand.slope[7, 1] * (0.1 + each)) for each in demand.habit[1]
    ]
    assert found.shape == (600, 2)
    assert found[7, 1] == pytest.approx(np.mean(by_hand))
    assert (found[:, 1] < found[:, 0]).all()


def test_quotes_with_a_price_beyond_belief_are_counted_and_told() -> None:
    rows = [("2026-05-01", "roof", 500.0, "won"), ("2026-05-02", "roof", 0.0, "lost")]
    demand = learnt(plain_quotes(rows))
    assert demand.cells["quotes"].tolist() == [2]
    assert demand.cells["enquiries"].tolist() == [pytest.approx(2 / (151 / 91.3), rel=0.02)]
    note = "2 quotes with a price far from the list left aside."
    assert demand.cells["note"].tolist() == [note]


def test_habit_is_what_is_quoted_around_the_list_lately() -> None:
    """Old quotes at half as much again do not count; few quotes lean on the whole shop's."""
    rows = [(f"2023-05-{1 + at % 28:02d}", "roof", 150.0, "won") for at in range(50)]
    rows += [(f"2026-05-{1 + at % 28:02d}", "roof", 90.0 + 0.1 * at, "lost") for at in range(200)]
    rows += [("2026-05-02", "hood", 130.0, "won")]
    demand = learnt(plain_quotes(rows))
    hood, roof = demand.habit
    assert demand.cells["service"].tolist() == ["hood", "roof"]
    assert np.exp(roof).max() < 1.12
    assert np.exp(roof).mean() == pytest.approx(0.9995, abs=0.01)
    assert roof.shape == (9,)
    assert np.median(np.exp(hood)) < 1.1
    assert np.exp(hood).mean() > np.exp(roof).mean()


def test_enquiries_count_every_outcome_of_the_last_four_quarters() -> None:
    rows = [("2025-09-30", "roof", 100.0, "won"), ("2025-10-01", "roof", 100.0, "lost")]
    rows += [("2026-09-30", "roof", 100.0, "open"), ("2026-10-01", "roof", 100.0, "won")]
    demand = learnt(plain_quotes(rows))
    assert demand.cells["enquiries"].tolist() == [pytest.approx(2 / 4, rel=0.01)]
    assert demand.cells["quotes"].tolist() == [2]
    # Half a year old: two quarters.
    young = learnt(
        plain_quotes(
            [("2026-04-01", "roof", 100.0, "won"), *rows[2:3] * 3]
            + [("2026-06-01", "roof", 100.0, "lost")]
        )
    )
    assert young.cells["enquiries"].tolist() == [pytest.approx(5 / 2, rel=0.01)]


def test_the_same_seed_gives_the_same_draws_in_whatever_order_the_rows_stand() -> None:
    records, _ = simulated_quotes(Kind(quotes=120), 2)
    mixed = records["quotes"].sample(frac=1, random_state=1)
    first, again = learnt(records), learnt(with_quotes(records, mixed))
    other = learnt(records, seed=2)
    assert np.array_equal(first.slope, again.slope)
    assert np.array_equal(first.level, again.level)
    assert not np.array_equal(first.slope, other.slope)


def test_win_chances_are_those_of_quotes_and_draws() -> None:
    records, _ = simulated_quotes(Kind(quotes=400, services=3), 2)
    demand = learnt(records)
    table = win_chances(demand, records, DAY, 5)
    assert table.columns.tolist() == WIN_CHANCES.inside_names
    row = table.iloc[0]
    quotes = records["quotes"]
    mine = quotes[quotes["service"] == row["service"]]
    assert row["quotes"] == len(mine)
    assert row["won_share"] == pytest.approx((mine["outcome"] == "won").mean())
    ratio = mine["quoted_price"] / mine["list_price"]
    assert row["price_spread_share"] == pytest.approx(ratio.std())
    at = demand.cells.index[demand.cells["service"] == row["service"]]
    weight = demand.cells.loc[at, "quotes"].to_numpy() / len(mine)
    kept = [np.column_stack([chance(demand, each, np.log([1.05]))[:, 0] for each in at]) @ weight]
    before = np.column_stack([chance(demand, each, np.zeros(1))[:, 0] for each in at]) @ weight
    lost = np.quantile(1 - kept[0] / before, SEEN)
    found = row[["lost_by_rise_low_share", "lost_by_rise_share", "lost_by_rise_high_share"]]
    assert found.astype(float).tolist() == pytest.approx(lost)
    assert row["slope_low"] < row["slope"] < row["slope_high"] < 0
    assert row["learnt"]
    assert table["note"].isna().all() == table["learnt"].all()


def test_a_service_that_is_not_on_the_list_has_its_counts_alone() -> None:
    records, _ = simulated_quotes(Kind(quotes=200, services=2), 2)
    quotes = records["quotes"].assign(
        service=records["quotes"]["service"].replace("service 1", "decals")
    )
    changed = with_quotes(records, quotes)
    table = win_chances(learnt(changed), changed, DAY, 5).set_index("service")
    assert table.loc["decals", "note"] == "Not on the price list."
    assert table.loc["decals", "quotes"] > 0
    assert np.isnan(table.loc["decals", "slope"])
    assert table.loc["service 1", "quotes"] == 0


def test_seasons_tell_when_people_ask_and_when_they_buy() -> None:
    records, _ = simulated_quotes(Kind(quotes=1200, services=2, season=0.9), 1)
    demand = learnt(records)
    table = demand_seasons(demand, records, DAY)
    assert table.columns.tolist() == DEMAND_SEASONS.inside_names
    assert table["season"].iloc[0] == "January to March"
    assert table["quotes"].sum() == 1200
    assert table["won"].sum() == (records["quotes"]["outcome"] == "won").sum()
    assert table["high_share"].iloc[0] < table["low_share"].iloc[1:].min()
    # 1,200 quotes over two and a half years.
    assert table["a_month"].mean() == pytest.approx(1200 / 30, rel=0.1)
    assert demand.season.sum(axis=1) == pytest.approx(np.zeros(600), abs=1e-12)
    # Of what is planted, drawn a little towards no difference.
    assert np.median(demand.season, axis=0) == pytest.approx([-0.9, 0.3, 0.3, 0.3], abs=0.3)


def test_many_quotes_are_done_in_parts_with_the_same_result(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    records, _ = simulated_quotes(Kind(quotes=200), 2)
    whole = learnt(records)
    monkeypatch.setattr(demand_draws, "_BLOCK", 3000)
    parts = learnt(records)
    assert np.allclose(whole.level, parts.level, rtol=0, atol=1e-9)


def test_before_a_quote_is_seen_the_prior_is_what_it_says() -> None:
    none = np.zeros(0, dtype=np.int64)
    empty = np.zeros(0)
    answers = Answers.of(none, empty, empty, none, empty, np.zeros(1, dtype=np.int64), 1)
    low, middle, high = np.quantile(-draw_demand(answers, 4000, 1).slope[:, 0], SEEN)
    rng = np.random.default_rng(0)
    mean = rng.normal(demand_model.STEEPNESS, demand_model.STEEPNESS_SD, 100_000)
    spread = np.abs(rng.normal(0, demand_model.SPREAD_SD, 100_000))
    believed = np.quantile(np.exp(mean + spread * rng.normal(size=100_000)), SEEN)
    # The grid ends at 32, so the upper end comes out a little lower.
    assert [low, middle] == pytest.approx(believed[:2], rel=0.15)
    assert 0.75 * believed[2] < high < 1.05 * believed[2]
