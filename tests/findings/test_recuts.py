"""Which cuts were cut again, and the curve of recuts: by hand, by other methods, and published."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import isotonic_regression, minimize
from scipy.special import expit

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.findings import recuts
from analysis.findings.allowance import recuts_by_allowance
from analysis.findings.recuts import Cells, cuts_again, draw_curves, learn_recuts
from tests.findings.simulated_cuts import (
    UNTIL,
    Kind,
    answers,
    costing_of,
    learnt,
    simulated_shop,
)
from tests.shops import records_of

# fmt: off
# Spector and Mazzeo (1980), Journal of Economic Education 11:37-44: grade point average, whether
# taught by the new method, and whether the grade improved. As carried by general-purpose
# statistics libraries; the log-likelihood of the constant alone, -20.59173, is in Greene,
# Econometric Analysis (chapter on binary choice; from memory, and 11 of 32 gives it by hand).
GPA = [
    2.66, 2.89, 3.28, 2.92, 4.00, 2.86, 2.76, 2.87, 3.03, 3.92, 2.63, 3.32, 3.57, 3.26, 3.53, 2.74,
    2.75, 2.83, 3.12, 3.16, 2.06, 3.62, 2.89, 3.51, 3.54, 2.83, 3.39, 2.67, 3.65, 4.00, 3.10, 2.39,
]
NEW = [0] * 18 + [1] * 14
BETTER = [0] * 4 + [1] + [0] * 4 + [1] + [0] * 3 + [1] + [0] * 5 + [1, 0, 1, 0, 0, 1, 1, 1]
BETTER += [0, 1, 1, 0, 1]
# fmt: on
JOBS = """
job_id | line | finished_on | service | make | model | film | quoted_hours | quoted_price
J1     | 1    | 2026-03-02  | roof    | M    | m     | GB   | 2            | 300
J1     | 2    | 2026-03-02  | roof    | M    | m     | GB   | 2            | 300
J2     | 1    | 2026-04-02  | roof    | M    | m     | GB   | 2            | 300
"""
BOUGHT = """
invoice | received_on | supplier | item  | kind | quantity | unit_price | roll_width | roll_length
A       | 2025-12-01  | S        | OTHER | film | 1        | 500        | 1.5        | 20
"""
HEAD = "cut_id|cut_on|job_id|line|film|panel|pulled_length|pulled_width|piece_length|piece_width"
HEAD += "|finished_length|finished_width|reason\n"


def used(folder: Path, rows: str, until: str = "2026-12-31") -> tuple[pd.DataFrame, dict]:
    """What `cuts_again` says of a cut log: by cut, and what was left out."""
    records = records_of(folder, jobs=JOBS, purchases=BOUGHT, cuts=HEAD + rows)
    pulls = cost_records(records, pd.Timestamp("2026-12-31")).shelf.pulls
    cuts, left_out = cuts_again(pulls, pd.Timestamp(until))
    return cuts.assign(cut_id=pulls["cut_id"]).set_index("cut_id"), left_out


def test_allowance_a_side_however_the_piece_lay(tmp_path: Path) -> None:
    rows = """
    A | 2026-03-01 | J1 | 1 | GB | roof | 1.7 | 1.5 | 1.70 | 1.20 | 1.50 | 1.10 | first
    B | 2026-03-01 | J1 | 1 | GB | hood | 1.7 | 1.5 | 1.20 | 1.70 | 1.10 | 1.50 | first
    C | 2026-03-01 | J1 | 1 | GB | door | 1.2 | 1.5 | 1.20 | 1.45 | 1.30 | 1.10 | first
    """
    cuts, left_out = used(tmp_path, rows)
    # (0.20 + 0.10) ÷ 4, and (1.20 - 1.10 + 1.45 - 1.30) ÷ 4 for sizes written crosswise.
    assert list(cuts["margin_m"].round(9)) == [0.075, 0.075, 0.0625]
    # B does not fit across the roll as it is written: it lay turned.
    assert list(cuts["along_m"].round(9)) == [0.2, 0.2, 0.1]
    assert list(cuts["finished_along_m"]) == [1.5, 1.5, 1.1]
    assert list(cuts["piece_across_m"]) == [1.2, 1.2, 1.45]
    assert left_out["impossible"] == 0


def test_a_recut_belongs_to_the_latest_cut_of_its_line_panel_and_film(tmp_path: Path) -> None:
    size = "1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1"
    rows = f"""
    A | 2026-03-01 | J1 | 1 | GB | roof | {size} | first
    B | 2026-03-01 | J1 | 2 | GB | roof | {size} | first
    C | 2026-03-03 | J1 | 1 | GB | roof | {size} | first
    D | 2026-03-05 | J1 | 1 | GB | roof | {size} | first
    E | 2026-03-04 | J1 | 1 | GB | roof | {size} | recut
    F | 2026-03-04 | J1 | 1 | GB | roof | {size} | recut
    G | 2026-03-05 | J1 | 2 | GB | roof | {size} | damage
    H | 2026-02-20 | J1 | 2 | GB | roof | {size} | recut
    I | 2026-03-09 | J1 | 1 | GB | hood | {size} | recut
    K | 2026-04-01 | J2 | 1 | GB | roof | {size} | recut
    L | 2026-04-01 | J2 | 1 | GB | roof | {size} | first
    """
    cuts, left_out = used(tmp_path, rows)
    # E and F follow C; H came before B, I names another panel; K is of the day of L.
    assert cuts["again"].to_dict() == {"A": False, "B": False, "C": True, "D": False, "L": True}
    assert cuts["recut_m2"].to_dict() == pytest.approx(
        {"A": 0, "B": 0, "C": 2 * 1.7 * 1.5, "D": 0, "L": 1.7 * 1.5}
    )
    assert left_out == {"no_panel": 0, "not_measured": 0, "impossible": 0, "recuts_alone": 2}
    earlier, _ = used(tmp_path / "until", rows, "2026-03-03")
    assert earlier["again"].to_dict() == {"A": False, "B": False, "C": False}


def test_what_cannot_be_used_is_left_out_and_counted(tmp_path: Path) -> None:
    rows = """
    A | 2026-03-01 | J1 | 1 | GB | roof | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | first
    B | 2026-03-01 | J1 | 1 | GB |      | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | first
    C | 2026-03-01 | J1 | 1 | GB | hood | 1.7 | 1.5 | 1.7 |     | 1.5 | 1.1 | first
    D | 2026-03-01 | J1 | 1 | GB | door | 1.7 | 1.5 | 1.2 | 1.2 | 1.5 | 1.1 | first
    E | 2026-03-01 | J1 | 1 | GB | lid  | 4.7 | 1.5 | 4.7 | 1.2 | 1.5 | 1.1 | first
    F | 2026-03-01 |    |   | GB | roof | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | first
    G | 2026-03-02 | J1 | 1 | GB | hood | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | recut
    H | 2026-03-02 | J1 | 1 | GB |      | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | recut
    """
    cuts, left_out = used(tmp_path, rows)
    # G is a recut of C, whose size was not written down; H names no panel.
    assert list(cuts.index) == ["A"]
    assert not cuts["again"].any()
    assert left_out == {"no_panel": 1, "not_measured": 1, "impossible": 2, "recuts_alone": 1}


def test_without_panels_or_sizes_it_says_what_to_write_down(tmp_path: Path) -> None:
    rows = """
    A | 2026-03-01 | J1 | 1 | GB |      | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | first
    B | 2026-03-01 | J1 | 1 | GB | roof | 1.7 | 1.5 |     |     |     |     | first
    """
    records = records_of(tmp_path, jobs=JOBS, purchases=BOUGHT, cuts=HEAD + rows)
    curve = learn_recuts(cost_records(records, UNTIL), UNTIL)
    assert isinstance(curve, Unavailable)
    assert "finished_length" in curve.line
    nothing = records_of(tmp_path / "none", jobs=JOBS, purchases=BOUGHT)
    assert isinstance(learn_recuts(cost_records(nothing, UNTIL), UNTIL), Unavailable)


def test_one_cut_is_no_evidence(tmp_path: Path) -> None:
    rows = "A | 2026-09-01 | J1 | 1 | GB | roof | 1.7 | 1.5 | 1.7 | 1.2 | 1.5 | 1.1 | first"
    records = records_of(tmp_path, jobs=JOBS, purchases=BOUGHT, cuts=HEAD + rows)
    costing = cost_records(records, UNTIL)
    table = answers(costing, learnt(costing))
    assert list(table["verdict"]) == ["not enough recuts to tell"] * 2
    assert table["best_allowance_m"].isna().all()
    # The film was never bought: no money, but the allowance is what it is.
    assert table["usual_cost"].isna().all()
    assert table["usual_allowance_m"].round(9).tolist() == [0.075, 0.075]


def plain_cells(relative: list[float], again: list[int], panel: list[int] | None = None) -> Cells:
    """Cells of single cuts of one film."""
    codes = np.array(panel or [0] * len(again))
    return Cells.of(
        codes, np.zeros_like(codes), np.array(relative), np.array(again, dtype=np.float64)
    )


def test_the_log_likelihood_of_a_constant_is_the_published_one() -> None:
    cells = plain_cells([0.0] * 32, BETTER)
    at = np.array([[np.log(11 / 21), 0.0, 0.0, 0.0]])
    likelihood, gradient, _ = recuts._derivatives(cells, np.zeros(1), at)
    assert likelihood[0] == pytest.approx(-20.59173, abs=5e-6)
    assert gradient[0] == pytest.approx(0.0, abs=1e-12)


def test_the_likelihood_is_that_of_a_plain_logistic_fit() -> None:
    """At the estimates of a general-purpose optimizer nothing pulls, and the curvature is its."""

    def minus(theta: np.ndarray) -> float:
        odds = theta[0] + theta[1] * np.array(NEW) + theta[2] * np.array(GPA)
        return float(np.logaddexp(0, odds).sum() - odds @ np.array(BETTER))

    best = minimize(minus, [-10.0, 2.0, 3.0], method="BFGS", options={"gtol": 1e-9}).x
    cells = plain_cells([-each for each in GPA], BETTER, NEW)
    # Levels of the two panels, the common slope, no steeper panel, no film.
    effects = np.array([[best[0], 0.0, best[1], 0.0, 0.0, 0.0]])
    likelihood, gradient, information = recuts._derivatives(cells, best[2:], effects)
    assert likelihood[0] == pytest.approx(-minus(best))
    assert gradient[0, [0, 1, 2, 5]] == pytest.approx(0.0, abs=1e-4)
    # Steeper by the same in both panels is the common slope.
    assert gradient[0, 3] + gradient[0, 4] == pytest.approx(0.0, abs=1e-4)
    step = 1e-4
    for at in range(6):
        moved = effects + step * np.eye(6)[at]
        there = recuts._derivatives(cells, best[2:], moved)[1]
        # The expected information of the panels' slopes leaves out what is 0 on average.
        if at in (0, 1, 2, 5):
            assert -(there[0] - gradient[0]) / step == pytest.approx(
                information[0, at], rel=1e-2, abs=1e-2
            )


def test_the_draws_are_those_of_brute_force() -> None:
    """Against draws from what is believed before, weighed by the likelihood: two panels.

    Laplace's approximation and the grid are no more than that: the middle of an interval is right
    to a twentieth of it, its ends to a seventh (they come out wide rather than narrow).
    """
    rng = np.random.default_rng(3)
    relative, panel = rng.choice([-0.5, -0.2, 0.1, 0.4], 400), rng.integers(0, 2, 400)
    again = rng.random(400) < expit(-2.4 + 0.8 * panel - 2.0 * relative)
    cells = plain_cells(relative.tolist(), again.astype(int).tolist(), panel.tolist())
    level, slope, film = draw_curves(cells, 4000, 0)
    number = 1_000_000

    def half(sd: float) -> np.ndarray:
        return np.abs(rng.normal(0, sd, number))

    a, b = rng.normal(-3, 2, number), half(4.0)
    by_panel = half(0.5)[:, None] * rng.normal(size=(number, 2))
    steep = b[:, None] * np.exp(half(0.35)[:, None] * rng.normal(size=(number, 2)))
    base = (a + half(0.5) * rng.normal(size=number))[:, None] + by_panel
    weight = np.zeros(number)
    for at, which in enumerate(cells.panel):
        odds = base[:, which] - steep[:, which] * cells.relative[at]
        weight += odds * cells.again[at] - np.logaddexp(0, odds) * cells.cuts[at]
    weight = np.exp(weight - weight.max())
    # So many draws' worth: the ends are known to about a fiftieth of the interval.
    assert weight.sum() ** 2 / (weight**2).sum() > 4000
    for which in (0, 1):
        for at in (-0.4, 0.0, 0.4):
            mine = expit(level[:, which] + film[:, 0] - slope[:, which] * at)
            other = expit(base[:, which] - steep[:, which] * at)
            order = np.argsort(other)
            ends = np.interp(
                [0.05, 0.5, 0.95], np.cumsum(weight[order]) / weight.sum(), other[order]
            )
            spread = ends[2] - ends[0]
            found = np.quantile(mine, [0.05, 0.5, 0.95])
            assert found[1] == pytest.approx(ends[1], abs=spread / 20)
            assert found == pytest.approx(ends, abs=spread / 7)


@pytest.mark.parametrize("kind", [Kind(cuts=300), Kind(slope=0.0), Kind(level=-7.0, cuts=200)])
def test_no_curve_rises(kind: Kind) -> None:
    curve = learnt(simulated_shop(kind, 4).costing)
    assert (curve.slope >= 0).all()
    share = curve.share(np.arange(2), np.zeros(2, dtype=np.int64), np.linspace(0.3, 2.0, 9))
    assert (np.diff(share, axis=2) <= 0).all()
    table = recuts_by_allowance(curve, 5)
    assert (np.diff(table["curve_share"]) <= 0).all()


def test_isotonic_regression_sees_the_same_curve() -> None:
    """The least-squares fit that never rises lies in the curve's interval, with its own noise."""
    table = recuts_by_allowance(learnt(simulated_shop(Kind(cuts=3000), 8).costing), 5)
    fit = isotonic_regression(table["recut_share"], weights=table["cuts"], increasing=False).x
    half = (table["high_share"] - table["low_share"]) / 2
    assert table["enough"].sum() >= 5
    assert (fit[table["enough"]] > (table["curve_low_share"] - half)[table["enough"]]).all()
    assert (fit[table["enough"]] < (table["curve_high_share"] + half)[table["enough"]]).all()


def test_no_recut_at_all_is_a_low_curve() -> None:
    shop = simulated_shop(Kind(cuts=600), 1)
    pulls = shop.costing.shelf.pulls
    costing = costing_of(pulls[pulls["reason"] == "first"], shop.films)
    curve = learnt(costing)
    assert curve.recuts == 0
    assert curve.recut_film == 1.0
    table = recuts_by_allowance(curve, 5)
    assert (table["curve_share"] < 0.03).all()
    assert (answers(costing, curve)["verdict"] == "not enough recuts to tell").all()


def test_an_allowance_that_never_varied_tells_nothing() -> None:
    shop = simulated_shop(Kind(cuts=800, panels=3, spread=0.0), 2)
    curve = learnt(shop.costing)
    assert curve.recuts > 20
    table = answers(shop.costing, curve)
    rows = table.iloc[1:]
    assert (rows["verdict"] == "not enough recuts to tell").all()
    assert rows["best_allowance_m"].isna().all()
    assert rows["usual_recut_share"].notna().all()


def test_the_same_seed_gives_the_same_curve_and_nothing_is_changed() -> None:
    shop = simulated_shop(Kind(cuts=500), 5)
    before = shop.costing.shelf.pulls.copy(deep=True)
    one, two, other = learnt(shop.costing), learnt(shop.costing), learnt(shop.costing, seed=1)
    pd.testing.assert_frame_equal(answers(shop.costing, one), answers(shop.costing, two))
    assert not np.array_equal(one.level, other.level)
    pd.testing.assert_frame_equal(shop.costing.shelf.pulls, before)
    # Another seed moves an interval's ends by little: the draws are enough.
    first, second = (recuts_by_allowance(each, 5)["curve_high_share"] for each in (one, other))
    assert second.to_numpy() == pytest.approx(first.to_numpy(), rel=0.15)
