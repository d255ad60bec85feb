"""What came of price decisions: sums by hand, published odds, and shops whose truth is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.special import expit, logit
from scipy.stats import t as student

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.price_tables import PRICE_FOLLOW_UP
from analysis.pricing import follow_up
from analysis.pricing.follow_up import price_follow_up
from analysis.pricing.follow_up_windows import SHIFT_SD, common_odds, decision_windows
from tests.pricing.made_decisions import COST, Truth, followed
from tests.shops import records_of

DAY = pd.Timestamp("2026-06-30")
QUOTE = "quote_id | quoted_on | service | vehicle_class | quoted_price | outcome | job_id"
JOB = (
    "job_id | quoted_on | finished_on | service | make | model | vehicle_class | quoted_hours | "
    "quoted_price | hours"
)
DECISION = (
    "decided_on | service | vehicle_class | old_price | new_price | effective_from | "
    "expected_win_pct | expected_hours | expected_margin"
)
# One hood was cut from film, so that a roof without a cut is known to take none.
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |unit_price
    I | 2024-12-02 | S | F | film | 1 | 10 | 1 | 100
    I | 2024-12-02 | S | cloth | consumable | | | 1 | 0.01"""
CUT = """
    cut_id | cut_on | job_id | film | pulled_length | pulled_width
    C | 2024-12-10 | X | F | 1 | 1"""
LIST = """
    service | vehicle_class | list_price | list_hours | effective_from
    roof |  | 200 | 2 | 2024-01-01
    roof |  | 220 | 2 | 2026-01-01"""


@pytest.fixture
def one_cost(monkeypatch: pytest.MonkeyPatch) -> None:
    """A job is expected to cost 100, whatever the records say; nothing else is expected."""

    def expected(_costing: object, _records: object, windows: pd.DataFrame) -> pd.DataFrame:
        blank = {"expected_win_share": np.nan, "expected_hours": np.nan, "expected_cost": 100.0}
        return pd.DataFrame(blank, index=windows.index)

    monkeypatch.setattr(follow_up, "expected_then", expected)


def rows_of(head: str, *rows: str) -> str:
    return "\n".join([head, *rows])


def quotes_of(
    prefix: str, day: str, price: float, won: int, lost: int, what: str = "roof |"
) -> str:
    """Rows of quotes of one day and price; those won name the jobs prefix1, prefix2, …"""
    rows = [
        f"{prefix}{at} | {day} | {what} | {price} | {'won' if at <= won else 'lost'} | "
        f"{prefix + str(at) if at <= won else ''}"
        for at in range(1, won + lost + 1)
    ]
    return "\n".join(rows)


def job(name: str, day: str, price: float, hours: float, what: str = "roof") -> str:
    return f"{name} | | {day} | {what} | Q | Heron | | 2 | {price} | {hours}"


def followed_up(folder: Path, day: pd.Timestamp = DAY, **tables: str) -> pd.DataFrame:
    records = records_of(folder, **({"purchases": BOUGHT, "cuts": CUT} | tables))
    found = price_follow_up(cost_records(records, day), records, day, 3)
    assert isinstance(found, pd.DataFrame)
    assert list(found.columns) == PRICE_FOLLOW_UP.inside_names
    assert not found.duplicated(PRICE_FOLLOW_UP.keys).any()
    return found


RAISED = rows_of(DECISION, "2025-12-20 | roof | | 200 | 220 | 2026-01-01 | | |")
FEW = {
    "decisions": RAISED,
    "price_list": LIST,
    "quotes": rows_of(
        QUOTE,
        quotes_of("B", "2025-09-01", 200, 2, 2),
        quotes_of("S", "2026-02-01", 220, 3, 2),
    ),
    "jobs": rows_of(
        JOB,
        job("X", "2024-12-12", 100, 2, "hood"),
        job("B1", "2025-10-01", 200, 2),
        job("B2", "2025-10-01", 200, 2),
        job("S1", "2026-03-01", 220, 2),
        job("S2", "2026-03-01", 220, 3),
        job("S3", "2026-03-01", 220, 4),
    ),
}


@pytest.mark.usefixtures("one_cost")
def test_gain_and_what_came_by_hand(tmp_path: Path) -> None:
    """2 of 4 won at 200 before, 3 of 5 at 220 since; a job costs 100; nothing else is asked for."""
    row = followed_up(tmp_path, **FEW).iloc[0]
    # 3/5 × (220 − 100) − 2/4 × (200 − 100) = 72 − 50.
    assert row["gain"] == pytest.approx(22.0)
    # Shares with one won and one lost more: 4/7 and 3/6. Since: 120² × 4/7 × 3/7 ÷ 7 = 503.790;
    # before: 100² × 1/4 ÷ 6 = 416.667; the rest of the shop is silent: (100 × 1/4)² × 0.25².
    since, before, silent = 503.790, 416.667, 625 * SHIFT_SD**2
    total = since + before + silent
    free = total**2 / (since**2 / 4 + before**2 / 3)
    half = student.ppf(0.95, free) * np.sqrt(total)
    assert row["gain_high"] - row["gain"] == pytest.approx(half, abs=1e-3)
    assert row["gain"] - row["gain_low"] == pytest.approx(half, abs=1e-3)
    assert (row["quotes"], row["jobs"]) == (5, 3)
    assert row["realised_win_share"] == pytest.approx(0.6)
    assert row["win_before_share"] == pytest.approx(0.5)
    # Wilson's interval of 3 of 5, z = 1.644854: middle (0.6 + 0.270554) ÷ 1.541108.
    assert (row["win_low_share"] + row["win_high_share"]) / 2 == pytest.approx(0.564888, abs=1e-5)
    assert row["realised_price"] == pytest.approx(220.0)
    # Hours 2, 3, 4: mean 3, sd 1, Student's 2.919986 with two degrees of freedom, ÷ √3.
    assert row["realised_hours"] == pytest.approx(3.0)
    assert row["hours_high"] - 3 == pytest.approx(2.919986 / np.sqrt(3), abs=1e-5)
    # A wage of 10 and no on-cost: 220 − 20, 30, 40.
    assert row["realised_margin"] == pytest.approx(190.0, abs=0.01)
    assert 190 - row["margin_low"] == pytest.approx(29.19986 / np.sqrt(3), abs=1e-2)
    assert row["verdict"] == "too early to tell"
    assert row["reason"] == (
        "3 of 5 quotes won (60%); at one and the same cost a job left $20 more than before. Only 4 "
        "quotes were won or lost in the twelve months before: too few to compare with."
    )


@pytest.mark.usefixtures("one_cost")
def test_cost_of_jobs_that_came_does_not_move_the_gain(tmp_path: Path) -> None:
    """The jobs since took three times the hours: the gain stays, their own margin does not."""
    slow = FEW["jobs"].replace("220 | 2", "220 | 6").replace("220 | 3", "220 | 9")
    usual = followed_up(tmp_path / "a", **FEW).iloc[0]
    dear = followed_up(tmp_path / "b", **(FEW | {"jobs": slow})).iloc[0]
    assert dear["gain"] == pytest.approx(usual["gain"])
    assert dear["realised_margin"] < usual["realised_margin"] - 20


@pytest.mark.usefixtures("one_cost")
def test_other_moves_of_the_list_are_taken_out(tmp_path: Path) -> None:
    """The whole list rises by a tenth in April: quotes of May at 242 stand at 220."""
    later = FEW["quotes"].replace("2026-02-01 | roof | | 220", "2026-05-01 | roof | | 242")
    assert "242" in later
    listed = LIST + "\n    roof |  | 242 | 2 | 2026-04-01"
    row = followed_up(tmp_path, **(FEW | {"quotes": later, "price_list": listed})).iloc[0]
    assert row["gain"] == pytest.approx(22.0)
    assert row["realised_price"] == pytest.approx(242.0)


@pytest.mark.usefixtures("one_cost")
def test_a_price_that_was_never_asked_gains_nothing_and_is_told(tmp_path: Path) -> None:
    """The list stays at 200 and so do the quotes; 2 of 4 won before, 2 of 4 since."""
    tables = FEW | {
        "price_list": "\n".join(LIST.splitlines()[:-1]),
        "quotes": rows_of(
            QUOTE,
            quotes_of("B", "2025-09-01", 200, 2, 2),
            quotes_of("S", "2026-02-01", 200, 2, 2),
        ),
    }
    row = followed_up(tmp_path, **tables).iloc[0]
    assert row["gain"] == pytest.approx(0.0)
    assert row["reason"].endswith(
        "The new price stands neither in the price list nor in a quote since."
    )
    assert "stands neither" not in followed_up(tmp_path / "b", **FEW).iloc[0]["reason"]


@pytest.mark.usefixtures("one_cost")
def test_the_rest_of_the_shop_moves_what_was_won_before(tmp_path: Path) -> None:
    """Hoods: 20 of 40 won before, 30 of 40 since: odds × 3, so roofs are held against more."""
    rest = [
        quotes_of("H", "2025-09-01", 150, 20, 20, "hood |"),
        quotes_of("I", "2026-02-01", 150, 30, 10, "hood |"),
    ]
    row = followed_up(tmp_path, **(FEW | {"quotes": rows_of(FEW["quotes"], *rest)})).iloc[0]
    # One stratum: ln 3 with variance 1/20 + 1/20 + 1/30 + 1/10, drawn in towards none.
    variance = 1 / 20 + 1 / 20 + 1 / 30 + 1 / 10
    shift = np.log(3) * SHIFT_SD**2 / (SHIFT_SD**2 + variance)
    assert row["gain"] == pytest.approx(72 - 100 * expit(logit(0.5) + shift))
    assert row["win_before_share"] == pytest.approx(0.5)


def test_common_odds_are_those_published() -> None:
    """Admissions by department: common odds ratio 0.9047, 95 % interval 0.772 to 1.060.

    Data: Bickel, Hammel and O'Connell (1975), Science 187:398-404, the six largest departments;
    ratio and interval as a statistics package prints them for these data (from memory).
    """
    men = np.array([[512, 353, 120, 138, 53, 22], [313, 207, 205, 279, 138, 351]], dtype=float)
    women = np.array([[89, 17, 202, 131, 94, 24], [19, 8, 391, 244, 299, 317]], dtype=float)
    log, variance = common_odds(men[[0]], men[[1]], women[[0]], women[[1]])
    ends = np.exp(log[0] + np.array([-1, 0, 1]) * 1.959964 * np.sqrt(variance[0]))
    assert ends == pytest.approx([0.7719, 0.9047, 1.0603], abs=1e-4)


def test_odds_of_one_stratum_are_those_of_the_table() -> None:
    log, variance = common_odds(*(np.array([[each]]) for each in (30.0, 10.0, 20.0, 20.0)))
    assert log[0] == pytest.approx(np.log(3))
    assert variance[0] == pytest.approx(1 / 30 + 1 / 10 + 1 / 20 + 1 / 20)


@pytest.mark.usefixtures("one_cost")
def test_windows_end_with_the_next_decision_and_do_not_overlap(tmp_path: Path) -> None:
    decisions = rows_of(RAISED, "2026-03-20 | roof | | 220 | 240 | 2026-04-01 | | |")
    quotes = rows_of(
        QUOTE,
        quotes_of("A", "2024-12-31", 200, 1, 0),  # over twelve months before
        quotes_of("B", "2025-01-01", 200, 1, 0),
        quotes_of("C", "2025-12-31", 200, 0, 1),
        quotes_of("D", "2026-01-01", 220, 1, 1),
        quotes_of("E", "2026-03-31", 220, 0, 1),
        quotes_of("F", "2026-04-01", 240, 1, 0),
        quotes_of("G", "2026-06-30", 240, 1, 0),
        quotes_of("H", "2026-07-01", 240, 1, 0),  # after the day
    )
    found = followed_up(tmp_path, **(FEW | {"decisions": decisions, "quotes": quotes}))
    assert list(found["quotes"]) == [3, 2]
    assert list(found["realised_win_share"]) == pytest.approx([1 / 3, 1.0])
    # The second is compared with the days since the first alone.
    assert list(found["win_before_share"]) == pytest.approx([0.5, 1 / 3])


def test_of_two_decisions_for_one_day_the_later_stands() -> None:
    days = pd.to_datetime(["2025-12-01", "2025-12-20"])
    frame = pd.DataFrame(
        {
            "decided_on": days,
            "service": "roof",
            "vehicle_class": pd.Series([None, None], dtype="str"),
            "effective_from": pd.Timestamp("2026-01-01"),
        }
    )
    windows = decision_windows(frame, DAY)
    assert list(windows["replaced"]) == [True, False]
    assert windows["until"].iloc[0] < windows["effective_from"].iloc[0]
    assert windows["until"].iloc[1] == DAY
    assert windows["before_from"].iloc[1] == pd.Timestamp("2025-01-01")
    assert not windows["ended"].iloc[1]


@pytest.mark.usefixtures("one_cost")
def test_a_blank_class_holds_for_every_class_without_its_own_row(tmp_path: Path) -> None:
    listed = LIST + "\n    roof | minivan | 260 | 2 | 2025-02-01"
    quotes = rows_of(
        QUOTE,
        quotes_of("A", "2026-02-01", 220, 1, 0, "roof | large car"),
        quotes_of("B", "2026-02-01", 220, 1, 1, "roof |"),
        quotes_of("C", "2026-02-01", 260, 0, 5, "roof | minivan"),
        quotes_of("D", "2026-02-01", 260, 0, 7, "hood |"),
    )
    decisions = rows_of(RAISED, "2025-12-21 | roof | minivan | 250 | 260 | 2026-01-01 | | |")
    tables = FEW | {"price_list": listed, "quotes": quotes, "decisions": decisions}
    found = followed_up(tmp_path, **tables)
    assert list(found["quotes"]) == [3, 5]
    assert list(found["realised_win_share"]) == pytest.approx([2 / 3, 0.0])


@pytest.mark.usefixtures("one_cost")
def test_without_quotes_the_jobs_speak_and_no_gain_is_told(tmp_path: Path) -> None:
    tables = {name: text for name, text in FEW.items() if name != "quotes"}
    jobs = tables["jobs"].replace("S1 | | 2026", "S1 | 2025-12-30 | 2026")  # quoted before
    row = followed_up(tmp_path, **(tables | {"jobs": jobs})).iloc[0]
    assert (row["quotes"], row["jobs"]) == (0, 2)
    assert row["realised_price"] == pytest.approx(220.0)
    assert row["realised_hours"] == pytest.approx(3.5)
    blank = ["gain", "gain_low", "gain_high", "realised_win_share", "win_low_share"]
    assert row[blank].isna().all()
    assert row["verdict"] == "too early to tell"
    # 220 − 35 of labour = 185 against 220 − 100 expected.
    assert row["reason"] == (
        "2 jobs left $185 each, $65 more than expected. What the price did to the jobs won cannot "
        "be told without the table quotes: a row a quote, won or lost."
    )


def test_without_a_price_list_a_job_costs_what_the_jobs_did(tmp_path: Path) -> None:
    """Jobs before took 2 and 2 hours, since 2, 3 and 4, at 10 an hour: 26 a job."""
    row = followed_up(tmp_path, **{k: v for k, v in FEW.items() if k != "price_list"}).iloc[0]
    # 3/5 × (220 − 26) − 2/4 × (200 − 26).
    assert row["gain"] == pytest.approx(116.4 - 87, abs=0.01)
    assert row[["expected_hours", "expected_margin", "expected_win_share"]].isna().all()
    assert "stands neither" not in row["reason"]


def test_a_shop_of_nothing_but_a_decision_is_followed_up(tmp_path: Path) -> None:
    """No quotes, no list, no job of the service: every figure is missing, and it is said why."""
    tables = {"decisions": RAISED, "jobs": rows_of(JOB, job("X", "2024-12-12", 100, 2, "hood"))}
    row = followed_up(tmp_path, **tables).iloc[0]
    assert row[["realised_price", "realised_hours", "realised_margin", "gain"]].isna().all()
    assert (row["quotes"], row["jobs"]) == (0, 0)
    assert row["reason"].startswith("No job was asked for since and finished.")
    assert row["reason"].endswith("The new price does not stand in the price list.")


def test_what_the_decision_expected_is_taken_from_it(tmp_path: Path) -> None:
    decisions = rows_of(
        DECISION,
        "2025-12-20 | roof | | 200 | 220 | 2026-01-01 | 62.5 | 2.25 | 111",
        "2026-03-01 | roof | | 220 | 230 | 2026-08-01 | | |",
    )
    found = followed_up(tmp_path, **(FEW | {"decisions": decisions}))
    columns = ["expected_win_share", "expected_hours", "expected_margin", "expected_price"]
    assert list(found.loc[0, columns]) == pytest.approx([0.625, 2.25, 111.0, 220.0])
    # Else as it was known then.
    assert found.loc[1, "expected_hours"] == pytest.approx(2.0, abs=0.5)
    assert found.loc[1, "expected_win_share"] == pytest.approx(0.55, abs=0.2)
    rate = 10.0
    margin = 230 - found.loc[1, "expected_hours"] * rate
    assert found.loc[1, "expected_margin"] == pytest.approx(margin, abs=0.01)
    assert found.loc[1, "reason"] == "It takes effect on 2026-08-01."
    assert found.loc[1, "verdict"] == "too early to tell"


def test_expected_rests_on_what_was_known_before(tmp_path: Path) -> None:
    """Jobs and quotes after the day of the decision move nothing that was expected."""
    later = FEW["jobs"].replace("220 | 4", "220 | 40")
    more = rows_of(FEW["quotes"], quotes_of("Z", "2026-02-01", 220, 0, 30))
    one = followed_up(tmp_path / "a", **FEW).iloc[0]
    other = followed_up(tmp_path / "b", **(FEW | {"jobs": later, "quotes": more})).iloc[0]
    columns = ["expected_win_share", "expected_hours", "expected_margin", "expected_price"]
    assert one[columns].notna().all()
    pd.testing.assert_series_equal(one[columns], other[columns], check_names=False)
    assert other["realised_hours"] > one["realised_hours"]


def test_nothing_decided_is_told(tmp_path: Path) -> None:
    tables = {"purchases": BOUGHT, "jobs": FEW["jobs"], "decisions": RAISED}
    records = records_of(tmp_path, **tables)
    costing = cost_records(records, DAY)
    early = price_follow_up(costing, records, pd.Timestamp("2025-12-19"), 3)
    assert isinstance(early, Unavailable)
    assert early.line == "No price decision was taken by 2025-12-19."
    bare = records_of(tmp_path / "b", purchases=BOUGHT, jobs=FEW["jobs"])
    none = price_follow_up(cost_records(bare, DAY), bare, DAY, 3)
    assert isinstance(none, Unavailable)
    assert none.missing == ("decisions",)


# --- shops whose truth is known -------------------------------------------------------------------

SHOPS = 60
# A rise of a tenth that customers hardly mind, one that they mind, and one without effect.
KINDS = {"gains": (0.10, -1.0), "loses": (0.10, -9.0), "nothing": (0.0, -3.0)}
SINCE = (40, 150, 600)


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> pd.DataFrame:
    """Verdicts of 60 decisions of each kind and number of quotes, with the true gain."""
    kinds = [(kind, since) for kind in KINDS for since in SINCE for _ in range(SHOPS)]
    truths = [Truth(*KINDS[kind], since) for kind, since in kinds]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(
            follow_up,
            "expected_then",
            lambda _costing, _records, windows: pd.DataFrame(
                {"expected_win_share": 0.55, "expected_hours": 4.0, "expected_cost": COST},
                index=windows.index,
            ),
        )
        found = followed(tmp_path_factory.mktemp("shops"), truths, seed=8, season=0.15, rise=0.04)
    true = {(kind, since): Truth(*KINDS[kind], since).gain(0.15) for kind, since in set(kinds)}
    return found.assign(
        kind=[kind for kind, _ in kinds],
        size=[since for _, since in kinds],
        true=[true[each] for each in kinds],
    )


def test_a_verdict_is_right_or_too_early(judged: pd.DataFrame) -> None:
    right = {"gains": "gained", "loses": "lost"}
    told = judged[judged["kind"] != "nothing"]
    is_right = told["verdict"].isin(["too early to tell"]) | (
        told["verdict"] == told["kind"].map(right)
    )
    assert (is_right.groupby([told["kind"], told["size"]]).mean() >= 0.95).all()


def test_more_quotes_tell_more(judged: pd.DataFrame) -> None:
    early = (judged["verdict"] == "too early to tell").groupby([judged["kind"], judged["size"]])
    for kind in ("gains", "loses"):
        some = early.mean()[kind]
        assert some[40] > some[150] > some[600]
        assert some[600] < 0.2


def test_a_price_without_effect_is_seldom_said_to_have_one(judged: pd.DataFrame) -> None:
    none = judged[judged["kind"] == "nothing"]
    wrong = none["verdict"].isin(["gained", "lost"]).groupby(none["size"]).mean()
    assert (wrong <= 0.10).all()


def test_the_interval_holds_the_true_gain_nine_times_of_ten(judged: pd.DataFrame) -> None:
    inside = (judged["gain_low"] <= judged["true"]) & (judged["true"] <= judged["gain_high"])
    assert 0.85 <= inside.mean() <= 0.95


def test_reasons_say_what_would_tell(judged: pd.DataFrame) -> None:
    early = judged[judged["verdict"] == "too early to tell"]
    would = early["reason"].str.contains("would tell, in about|cannot be told from|five years")
    assert would.all()
    told = judged[judged["verdict"] == "gained"]["reason"].iloc[0]
    assert "where 55% were expected" in told
    assert "An enquiry left $" in told
