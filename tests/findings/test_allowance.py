"""How large to cut: by hand, on simulated shops whose truth is known, and on the demo shops."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unavailable
from analysis.film_tables import BEST_ALLOWANCE, RECUTS_BY_ALLOWANCE
from analysis.findings.allowance import (
    ALL_PANELS,
    AS_IT_IS,
    LARGER,
    NOT_ENOUGH,
    SMALLER,
    best_allowance,
    expected_piece_cost,
    recuts_by_allowance,
)
from analysis.findings.evidence import wilson_interval
from analysis.findings.recuts import RecutCurve, learn_recuts
from analysis.records.read import read_records
from analysis.settings import Pricing, Settings
from data_demo import make_demo, scenario
from tests.findings.simulated_cuts import (
    INCH_M,
    INCHES,
    ROLL_M,
    UNTIL,
    Kind,
    answers,
    costing_of,
    learnt,
    run_shops,
    simulated_shop,
)

DEMO = Path(__file__).parents[2] / "data_demo"
UNSEEN = (5, 71)


def known_curve(costing: Costing, level: float, slope: float) -> RecutCurve:
    """The curve of a shop's cuts, with its draws replaced by what is told."""
    curve = learnt(costing)
    blank = np.zeros((2, len(curve.usual_m)))
    return RecutCurve(
        curve.cuts,
        curve.usual_m,
        curve.films,
        blank + level,
        blank + slope,
        np.zeros((2, len(curve.films))),
        curve.recut_film,
        curve.left_out,
    )


def test_columns_and_kinds_are_those_of_the_tables() -> None:
    shop = simulated_shop(Kind(cuts=700), 3)
    curve = learnt(shop.costing)
    table, bins = answers(shop.costing, curve), recuts_by_allowance(curve, 5)
    assert list(table.columns) == BEST_ALLOWANCE.inside_names
    assert list(bins.columns) == RECUTS_BY_ALLOWANCE.inside_names
    assert table[["panel", "film", "verdict"]].dtypes.eq("str").all()
    assert table[["cuts", "recuts", "pieces_a_year"]].dtypes.eq("int64").all()
    assert table.loc[0, "panel"] == ALL_PANELS
    assert table["film"].isna().tolist() == [True] + [False] * (len(table) - 1)
    for column in ("cuts", "recuts", "pieces_a_year"):
        assert table.loc[0, column] == table[column].iloc[1:].sum()
    assert bins["cuts"].sum() == table.loc[0, "cuts"] == len(curve.cuts)
    assert bins["recuts"].sum() == table.loc[0, "recuts"] == curve.recuts


def test_bins_by_hand() -> None:
    """One panel: its mean is the shop's, so that an allowance stands in its own row."""
    shop = simulated_shop(Kind(cuts=400, panels=1, films=1, level=-2.0), 2)
    curve = learnt(shop.costing)
    for unit, step in (("in", 0.5 * INCH_M), ("ft", 0.5 * INCH_M), ("cm", 0.01)):
        bins = recuts_by_allowance(curve, 30, unit)
        edges = [*bins["allowance_m"], np.inf]
        margin, again = curve.cuts["margin_m"] + 1e-9, curve.cuts["again"]
        own = [
            (margin >= low) & (margin < high)
            for low, high in zip(edges[:-1], edges[1:], strict=True)
        ]
        assert bins["cuts"].tolist() == [each.sum() for each in own]
        assert bins["recuts"].tolist() == [again[each].sum() for each in own]
        steps = bins["allowance_m"] / step
        assert steps.tolist() == pytest.approx(steps.round().tolist())
        low, high = wilson_interval(bins["recuts"], bins["cuts"])
        assert bins["low_share"].equals(low.rename("low_share"))
        assert bins["high_share"].equals(high.rename("high_share"))
        assert bins["enough"].tolist() == [bool(count >= 30) for count in bins["cuts"]]


def test_cost_of_a_piece_by_hand() -> None:
    """One curve for certain: (length + allowance along) × width ÷ pieces × price × (1 + p)."""
    shop = simulated_shop(Kind(cuts=900, panels=3, films=2), 7)
    curve = known_curve(shop.costing, -2.5, 3.0)
    assert curve.recut_film == pytest.approx(1.0)
    for panel, film in (("panel 0", "FILM-0"), ("panel 2", "FILM-1")):
        at, price = shop.panels.loc[panel], shop.films.loc[film, "price"]
        found = expected_piece_cost(curve, shop.costing, UNTIL, panel, film)
        margin = found["margin_m"].to_numpy()
        share = expit(-2.5 - 3.0 * (margin / curve.usual_m[panel] - 1))
        strip = at["length_m"] + 4 * at["along"] * margin
        cost = strip * ROLL_M / at["pieces"] * price * (1 + share)
        assert found["recut_share"].to_numpy() == pytest.approx(share)
        assert found["film_cost"].to_numpy() == pytest.approx(cost)
        row = answers(shop.costing, curve).set_index(["panel", "film"]).loc[(panel, film)]
        assert row["best_allowance_m"] == pytest.approx(margin[cost.argmin()])
        assert row["best_cost"] == pytest.approx(cost.min())
        usual = row["usual_allowance_m"]
        again = expit(-2.5 - 3.0 * (usual / curve.usual_m[panel] - 1))
        held = at["length_m"] + 4 * at["along"] * usual
        dear = held * ROLL_M / at["pieces"] * price * (1 + again)
        assert row["usual_cost"] == pytest.approx(dear)
        assert row["saving_a_year"] == pytest.approx((dear - cost.min()) * row["pieces_a_year"])


def test_a_recut_costs_a_strip_however_many_pieces_the_cut_had() -> None:
    """Eight strips of trim lie side by side; one that is cut again takes the roll's whole width."""
    shop = simulated_shop(Kind(cuts=800, panels=2, films=1), 3)
    pulls = shop.costing.shelf.pulls
    trim = (pulls["panel"] == "panel 0") & (pulls["reason"] == "first")
    pulls = pulls.assign(
        pieces=pulls["pieces"].where(~trim, 8.0),
        piece_width_m=pulls["piece_width_m"].where(pulls["panel"] != "panel 0", 0.15),
        finished_width_m=pulls["finished_width_m"].where(pulls["panel"] != "panel 0", 0.10),
    )
    costing = costing_of(pulls, shop.films)
    curve = known_curve(costing, -2.0, 0.0)
    found = expected_piece_cost(curve, costing, UNTIL, "panel 0", "FILM-0")
    each = curve.cuts[curve.cuts["panel"] == "panel 0"]
    along = each["along_m"].sum() / (each["along_m"] + each["across_m"]).sum()
    strip = shop.panels.loc["panel 0", "length_m"] + 4 * along * found["margin_m"]
    film = strip * ROLL_M * shop.films.loc["FILM-0", "price"]
    assert found["film_cost"].to_numpy() == pytest.approx((film * (1 + expit(-2.0)) / 8).to_numpy())


def test_all_panels_are_the_sum_of_the_panels_at_their_own_allowance() -> None:
    shop = simulated_shop(Kind(cuts=1200, panels=4, films=2), 9)
    curve = known_curve(shop.costing, -3.0, 2.5)
    table = answers(shop.costing, curve)
    recent = curve.cuts[curve.cuts["cut_on"] > UNTIL - pd.DateOffset(years=1)]
    usual = table.loc[0, "usual_allowance_m"]
    assert usual == pytest.approx(recent["margin_m"].mean())
    relative = usual / recent["panel"].map(curve.usual_m).mean()
    own = curve.usual_m.to_dict()
    share = expit(-3.0 - 2.5 * (relative - 1))
    total = sum(
        (shop.panels.loc[panel, "length_m"] + 4 * shop.panels.loc[panel, "along"] * relative * mean)
        * ROLL_M
        * shop.films.loc[film, "price"]
        * (1 + share)
        * ((recent["panel"] == panel) & (recent["film"] == film)).sum()
        for panel, mean in own.items()
        for film in shop.films.index
    )
    assert table.loc[0, "usual_recut_share"] == pytest.approx(share)
    assert table.loc[0, "usual_cost"] * table.loc[0, "pieces_a_year"] == pytest.approx(total)


@pytest.mark.parametrize(
    ("kind", "shops"),
    [
        (Kind(cuts=800, panels=5, films=3), 40),
        (Kind(cuts=800, panels=5, films=3, scale=INCHES, slope=1.4), 40),
    ],
    ids=["in parts", "in inches"],
)
def test_intervals_cover(kind: Kind, shops: int) -> None:
    """The model's own kind of shop, and one whose slopes are the same in inches everywhere.

    Seeds are others than any that something was chosen by. Best allowances are those of rows that
    get an answer.
    """
    share, best = run_shops(kind, range(1000, 1000 + shops))
    covered = {
        "recuts of a panel": share.loc[share["panel"] != ALL_PANELS, "is_covered"].mean(),
        "recuts of all": share.loc[share["panel"] == ALL_PANELS, "is_covered"].mean(),
        "best allowance": best["is_covered"].mean(),
        "saving": best["saving_covered"].mean(),
    }
    print(kind.scale, {name: round(float(each), 3) for name, each in covered.items()}, len(best))
    assert len(best) > 2.5 * shops
    for name, each in covered.items():
        assert 0.84 <= each <= 0.96, name
    # Most advice is right: what it says to do saves film in truth.
    advised = best[best["verdict"].isin([SMALLER, LARGER])]
    assert len(advised) > shops / 3
    assert (advised["truth_saving"] > 0).mean() > 0.9


def test_a_shop_whose_recuts_do_not_depend_on_the_allowance() -> None:
    """Less allowance then costs less, down to the least that was tried: never to cut larger.

    The slope cannot be below 0, so that some is always believed: the saving is understated.
    """
    share, best = run_shops(Kind(cuts=1000, panels=6, films=3, slope=0.0), range(1000, 1020))
    assert share["is_covered"].mean() > 0.75
    assert not (best["verdict"] == LARGER).any()
    smaller = best[best["verdict"] == SMALLER]
    assert len(smaller) > 20
    assert (smaller["truth_saving"] > 0).all()
    assert (smaller["truth_saving"] >= smaller["saving_low"]).mean() > 0.9
    # Few recuts: hardly anything is said, because a slope cannot be told from none.
    few, unsure = run_shops(Kind(cuts=120, panels=3, films=2, slope=0.0), range(1000, 1020))
    assert (unsure["verdict"] == SMALLER).sum() < 0.1 * (best["verdict"] == SMALLER).sum()
    assert (few["high_share"] - few["low_share"]).mean() > 0.08


def test_three_recuts_are_not_enough() -> None:
    shop = simulated_shop(Kind(cuts=900), 11)
    pulls = shop.costing.shelf.pulls
    again = pulls.index[pulls["reason"] == "recut"]
    costing = costing_of(pulls.drop(again[3:]), shop.films)
    curve = learnt(costing)
    assert curve.recuts == 3
    table = answers(costing, curve)
    assert (table["verdict"] == NOT_ENOUGH).all()
    blank = ["best_allowance_m", "low_allowance_m", "best_cost", "saving_a_year", "saving_low"]
    assert table[blank].isna().all(axis=None)
    assert table[["usual_allowance_m", "usual_cost", "usual_recut_share"]].notna().all(axis=None)
    # The same records where three are enough for the owner: the counts no longer stand against it.
    rest = answers(costing, curve, Settings(pricing=Pricing(fewest_jobs=1)))
    assert rest["usual_cost"].equals(table["usual_cost"])


def test_a_row_with_few_cuts_gets_no_verdict() -> None:
    shop = simulated_shop(Kind(cuts=1500, panels=12, films=12, slope=5.0), 4)
    table = answers(shop.costing, learnt(shop.costing)).iloc[1:]
    few = table["cuts"] < 5
    assert few.sum() > 3
    assert (table.loc[few, "verdict"] == NOT_ENOUGH).all()
    # A row without a recut of its own still has an answer, from the curve of all cuts.
    answered = table[(table["recuts"] == 0) & ~few & table["best_allowance_m"].notna()]
    assert len(answered) > 3


def test_a_clear_case_either_way() -> None:
    """A steep curve, and a shop that held far too much of late, or far too little."""
    kind = Kind(cuts=3000, panels=2, films=1, slope=8.0, level=-3.5, spread=0.4)
    shop = simulated_shop(kind, 5)
    pulls = shop.costing.shelf.pulls
    first = pulls["reason"] == "first"
    relative = pulls["margin_m"] / pulls["panel"].map(shop.panels["mean_m"])
    year = pulls["cut_on"] > UNTIL - pd.DateOffset(years=1)
    for keep, verdict in ((relative > 1.35, SMALLER), (relative < 0.65, LARGER)):
        kept = pulls[~first | ~year | keep]
        costing = costing_of(kept, shop.films)
        table = answers(costing, learnt(costing))
        assert (table["verdict"] == verdict).all(), table
        gap = table["best_allowance_m"] - table["usual_allowance_m"]
        assert (np.sign(gap) == (-1 if verdict == SMALLER else 1)).all()
        assert (table["saving_low"] > 0).all()
        assert (table["saving_low"] <= table["saving_a_year"]).all()
        assert (table["saving_a_year"] <= table["saving_high"]).all()


def test_hours_of_a_recut_stand_against_cutting_smaller() -> None:
    """The same cuts where each recut takes a day's rework: nothing is said to be cut smaller."""
    shop = simulated_shop(Kind(cuts=2000, panels=2, films=1, slope=0.0), 5)
    curve = learnt(shop.costing)
    assert (answers(shop.costing, curve)["verdict"] == SMALLER).any()
    pulls = shop.costing.shelf.pulls
    again = pulls.loc[pulls["reason"] == "recut", "job_line"].astype("int64")
    lines = shop.costing.lines.copy()
    lines.loc[again, ["rework_hours", "actual_hours", "labour_cost"]] = [8.0, 10.0, 10_000.0]
    dear = replace(shop.costing, lines=lines)
    assert not (answers(dear, curve)["verdict"] == SMALLER).any()
    # Only the verdict minds them: the money is film.
    assert answers(dear, curve)["usual_cost"].equals(answers(shop.costing, curve)["usual_cost"])


def test_a_film_without_a_price_has_an_allowance_and_no_money() -> None:
    shop = simulated_shop(Kind(cuts=1500, panels=3, films=2, slope=5.0), 6)
    curve = learnt(shop.costing)
    whole = answers(shop.costing, curve)
    part = answers(costing_of(shop.costing.shelf.pulls, shop.films.iloc[:1]), curve)
    other = part["film"] == "FILM-1"
    assert part.loc[other, ["usual_cost", "best_cost", "saving_a_year"]].isna().all(axis=None)
    assert part.loc[other, "best_allowance_m"].equals(whole.loc[other, "best_allowance_m"])
    same = part["film"] == "FILM-0"
    pd.testing.assert_frame_equal(part[same], whole[same])
    # The first row adds to nothing without it.
    assert np.isnan(part.loc[0, "usual_cost"])


def test_the_newest_price_counts() -> None:
    shop = simulated_shop(Kind(cuts=600, panels=2, films=1), 6)
    curve = learnt(shop.costing)
    old = shop.costing.purchase_lines
    days = [UNTIL - pd.DateOffset(years=2), UNTIL, UNTIL + pd.DateOffset(days=1)]
    lines = pd.concat(
        [old.assign(received_on=day, landed=old["landed"] * at) for at, day in enumerate(days, 1)],
        ignore_index=True,
    )
    dear = answers(replace(shop.costing, purchase_lines=lines), curve)
    cheap = answers(shop.costing, curve)
    assert dear["usual_cost"].to_numpy() == pytest.approx(2 * cheap["usual_cost"].to_numpy())


def test_cuts_without_a_pulled_width_and_a_year_without_cuts() -> None:
    shop = simulated_shop(Kind(cuts=700, panels=2, films=2), 8)
    pulls = shop.costing.shelf.pulls
    nowhere = costing_of(pulls.assign(pulled_width_m=np.nan), shop.films)
    curve = learnt(nowhere)
    answer = best_allowance(curve, nowhere, Settings(), UNTIL)
    assert isinstance(answer, Unavailable)
    assert "pulled_width" in answer.line
    assert len(recuts_by_allowance(curve, 5))
    later = UNTIL + pd.DateOffset(years=3)
    table = best_allowance(learnt(shop.costing), shop.costing, Settings(), later)
    assert isinstance(table, pd.DataFrame)
    assert (table["verdict"] == NOT_ENOUGH).all()
    assert table["usual_allowance_m"].isna().all()
    assert (table["pieces_a_year"] == 0).all()
    some = pulls.assign(pulled_width_m=pulls["pulled_width_m"].where(pulls["panel"] == "panel 0"))
    half = answers(costing_of(some, shop.films), learnt(costing_of(some, shop.films)))
    unknown = half["panel"] == "panel 1"
    assert half.loc[unknown, "usual_cost"].isna().all()
    assert half.loc[~unknown, "usual_cost"].notna().all()


def test_expected_cost_agrees_with_the_table() -> None:
    shop = simulated_shop(Kind(cuts=900), 12)
    curve = learnt(shop.costing)
    table = answers(shop.costing, curve, Settings(pricing=Pricing(fewest_jobs=1)))
    told = table[table["best_allowance_m"].notna()]
    assert len(told) > 3
    for panel, film, best, cost in told[
        ["panel", "film", "best_allowance_m", "best_cost"]
    ].itertuples(index=False):
        frame = expected_piece_cost(curve, shop.costing, UNTIL, panel, film)
        assert frame["margin_m"].is_monotonic_increasing
        assert frame["recut_share"].is_monotonic_decreasing
        assert frame["recut_share"].between(frame["low_share"], frame["high_share"]).all()
        near = (frame["margin_m"] - best).abs().idxmin()
        assert frame.loc[near, "film_cost"] == pytest.approx(cost, rel=1e-3)
    assert expected_piece_cost(curve, shop.costing, UNTIL, "panel 0", "NONE").empty


# ------------------------------------------------------------------ the demo shops


@pytest.fixture(scope="module", params=["committed", *UNSEEN])
def demo(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Costing:
    folder = DEMO
    if request.param != "committed":
        folder = tmp_path_factory.mktemp(f"seed{request.param}")
        make_demo.build(folder, seed=request.param)
    return cost_records(read_records(folder), UNTIL)


def planted_share(costing: Costing, curve: RecutCurve) -> pd.Series:
    """The planted probability of a recut of each cut, from the allowance held along the panel.

    The piece is longer than the panel by twice the allowance, or by once where it lies turned;
    small panels take half of it. People hold what they hold and differ in their recuts: each cut
    counts with the person who began its line.
    """
    cut = costing.shelf.pulls.loc[curve.cuts.index]
    inch = cut[["piece_length_m", "finished_length_m", "finished_width_m"]] / INCH_M
    turned = (inch["finished_length_m"] < inch["finished_width_m"]) & (cut["panel"] != "roof")
    small = (inch[["finished_length_m", "finished_width_m"]].min(axis=1) < 14) & (
        cut["panel"] != "roof"
    )
    ends = (inch["piece_length_m"] - inch["finished_length_m"]) / np.where(turned, 1, 2)
    held = ends * np.where(small, 2, 1)
    log = costing.log[costing.log["job_line"].notna()].sort_values("worked_on", kind="stable")
    began = log.drop_duplicates("job_line").set_index("job_line")["installer"]
    factor = {person.name: np.log(person.recut_factor) for person in scenario.INSTALLERS}
    own = cut["job_line"].astype("float64").map(began.rename(float).map(factor))
    odds = scenario.RECUT_LOGIT_AT_3 + scenario.RECUT_LOGIT_PER_INCH * (held - 3)
    return pd.Series(expit(odds + own.fillna(own.mean())), index=cut.index)


def test_the_planted_curve_is_found(demo: Costing) -> None:
    curve = learn_recuts(demo, UNTIL)
    assert isinstance(curve, RecutCurve)
    planted = planted_share(demo, curve)
    # One shop's luck: the number of recuts is within three standard errors of what was planted.
    luck = np.sqrt((planted * (1 - planted)).sum())
    assert curve.recuts == pytest.approx(planted.sum(), abs=3 * luck)
    relative = curve.cuts["margin_m"] / curve.cuts["panel"].map(curve.usual_m)
    mean = curve.cuts["margin_m"].mean()
    table = recuts_by_allowance(curve, 5)
    at = np.searchsorted(table["allowance_m"], relative * mean + 1e-9, side="right") - 1
    truth = planted.groupby(at).mean()
    large = table["cuts"] >= 500
    ratio = table.loc[large, "curve_share"] / truth[large]
    print(pd.DataFrame({"curve": table["curve_share"], "planted": truth, "cuts": table["cuts"]}))
    assert large.sum() >= 3
    assert ratio.between(1 / 1.5, 1.5).all()
    # From the smallest allowance to the largest that is cut often, recuts fall by two thirds.
    assert table.loc[large, "curve_share"].iloc[-1] < table["curve_share"].iloc[0] / 3


def test_the_demo_gets_advice_that_is_not_rash(demo: Costing) -> None:
    curve = learn_recuts(demo, UNTIL)
    assert isinstance(curve, RecutCurve)
    table = answers(demo, curve)
    assert table["verdict"].isin([SMALLER, LARGER, AS_IT_IS, NOT_ENOUGH]).all()
    assert table.loc[0, "verdict"] == AS_IT_IS
    change = table[table["verdict"].isin([SMALLER, LARGER])]
    assert (change["saving_low"] > 0).all()
    assert len(change) < len(table) / 5


def test_the_rows_carry_what_a_piece_costs() -> None:
    """Least near the best allowance over all, within its interval, missing where nobody cut."""
    shop = simulated_shop(Kind(cuts=3000, slope=4.0), 8)
    curve = learnt(shop.costing)
    costs = expected_piece_cost(curve, shop.costing, UNTIL)
    rows = recuts_by_allowance(curve, 5, costs=costs)
    known = rows[rows["piece_cost"].notna()]
    assert 2 < len(known) < len(rows)
    assert (known["piece_cost_low"] <= known["piece_cost"]).all()
    assert (known["piece_cost"] <= known["piece_cost_high"]).all()
    assert known["piece_cost"].between(costs["film_cost"].min(), costs["film_cost"].max()).all()
    # At a row's mean allowance it is the curve over all panels, read there.
    relative = curve.cuts["margin_m"] / curve.cuts["panel"].map(curve.usual_m)
    mean = curve.cuts["margin_m"].mean()
    first = known.iloc[0]
    step = known["allowance_m"].diff().dropna().min()
    inside = (relative * mean).between(first["allowance_m"], first["allowance_m"] + step - 1e-9)
    there = np.interp(relative[inside].mean(), costs["relative"], costs["film_cost"])
    assert first["piece_cost"] == pytest.approx(there, rel=1e-3)
    assert recuts_by_allowance(curve, 5)["piece_cost"].isna().all()
