"""Past cuts laid out again: what could have been saved, by hand and with a counting packer.

The definitions are the trade's own arithmetic (common practice, no source); the packer itself is
checked against published instances in tests/reference.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.findings.avoidable import avoidable_by_job, lay_again
from analysis.findings.groups import Period
from analysis.packing.layouts import Layout, Piece, Sheet
from analysis.packing.pack import pack_quick
from analysis.units import metres_per

INCH = metres_per("in")
DAY = pd.Timestamp("2026-07-06")
PERIOD = Period(pd.Timestamp("2026-07-01"), pd.Timestamp("2026-09-30"))


def pull(job: str, pulled: float, piece: tuple[float, float], **more: Any) -> dict[str, Any]:
    """One first-time pull off a 60 in roll; sizes in inches."""
    row = {
        "cut_on": DAY,
        "film": "GB-60",
        "source": "roll",
        "reason": "first",
        "owner": "jobs",
        "job_id": job,
        "pieces": 1.0,
        "pulled_length_m": pulled * INCH,
        "pulled_width_m": 60 * INCH,
        "piece_length_m": piece[0] * INCH,
        "piece_width_m": piece[1] * INCH,
        "kept_m2": 0.0,
        "film_cost": pulled,
    }
    return row | more


def frame(*rows: dict[str, Any]) -> pd.DataFrame:
    made = pd.DataFrame(list(rows))
    pulled = made["pulled_length_m"] * made["pulled_width_m"]
    piece = made["pieces"] * made["piece_length_m"] * made["piece_width_m"]
    return made.assign(pulled_m2=pulled, piece_m2=piece, consumed_m2=pulled - made["kept_m2"])


def areas(pulls: pd.DataFrame, directional: Sequence[str] = ()) -> pd.DataFrame:
    """Avoidable areas in square inches."""
    return lay_again(pulls, directional, 0.0, pack_quick).areas / INCH**2


def test_two_halves_side_by_side() -> None:
    """Two of 50 x 28 in, pulled one after the other: 50 in would have done for both."""
    found = areas(frame(pull("J1", 50, (50, 28)), pull("J1", 50, (50, 28))), ["GB-60"])
    assert found["avoidable_area_m2"].tolist() == pytest.approx([1500, 1500])
    assert found["avoidable_in_job_area_m2"].tolist() == pytest.approx([1500, 1500])


def test_two_jobs_of_a_day_could_have_been_cut_in_one_go() -> None:
    found = areas(frame(pull("J1", 50, (50, 28)), pull("J2", 50, (50, 28))), ["GB-60"])
    assert found["avoidable_area_m2"].sum() == pytest.approx(3000)
    assert found["avoidable_in_job_area_m2"].sum() == pytest.approx(0, abs=1e-6)


def test_other_days_films_and_widths_are_not_ganged() -> None:
    later = pull("J2", 50, (50, 28), cut_on=DAY + pd.Timedelta(days=1))
    other = pull("J3", 50, (50, 28), film="MB-60")
    narrow = pull("J4", 50, (50, 28), pulled_width_m=30 * INCH)
    found = areas(frame(pull("J1", 50, (50, 28)), later, other, narrow), ["GB-60", "MB-60"])
    assert found["avoidable_area_m2"].abs().max() == pytest.approx(0, abs=1e-6)


def test_a_piece_may_turn_unless_its_film_has_a_direction() -> None:
    one = frame(pull("J1", 50, (50, 20)))
    assert areas(one)["avoidable_area_m2"].tolist() == pytest.approx([(50 - 20) * 60])
    assert areas(one, ["GB-60"])["avoidable_area_m2"].tolist() == pytest.approx([0], abs=1e-6)


def test_a_strip_that_was_kept_is_not_lost() -> None:
    """Of what turning saves, the strip on the shelf is taken off; never below 0."""
    kept = 20 * 40 * INCH**2
    one = frame(pull("J1", 50, (50, 20), kept_m2=kept))
    assert areas(one)["avoidable_area_m2"].tolist() == pytest.approx([30 * 60 - 800])
    all_kept = frame(pull("J1", 50, (50, 20), kept_m2=50 * 40 * INCH**2))
    assert areas(all_kept)["avoidable_area_m2"].tolist() == [0.0]


@pytest.mark.parametrize(("saved", "told"), [(0.8e-4, 0.0), (1.3e-4, 1.3e-4)])
def test_under_a_square_centimetre_is_rounding_and_no_better_layout(
    saved: float, told: float
) -> None:
    """Of a piece laid along the roll only what was pulled beyond its own length can be saved."""
    one = frame(pull("J1", 50 + saved / (60 * INCH) / INCH, (50, 20)))
    found = lay_again(one, ["GB-60"], 0.0, pack_quick).areas
    assert found["avoidable_area_m2"].tolist() == pytest.approx([told], abs=2e-5)
    assert (found["avoidable_area_m2"] == 0).tolist() == [told == 0]


def test_what_takes_no_part_has_none() -> None:
    """Recuts, offcuts, counter sales and the shop's own cuts are no layout of the day's pieces."""
    others = [
        pull("J1", 50, (50, 20), reason="recut"),
        pull("J1", 50, (50, 20), source="offcut"),
        pull("J1", 50, (50, 20), owner="shop"),
        pull("J1", 50, (80, 70)),  # no roll of 60 in holds this piece
    ]
    assert areas(frame(*others))["avoidable_area_m2"].tolist() == [0.0] * 4


def test_a_piece_without_sizes_is_not_known() -> None:
    unknown = pull("J1", 50, (np.nan, np.nan))
    found = areas(frame(unknown, pull("J1", 50, (50, 20))))
    assert np.isnan(found["avoidable_area_m2"].iloc[0])
    assert found["avoidable_area_m2"].iloc[1] == pytest.approx(1800)


def test_equal_sets_of_pieces_are_packed_once() -> None:
    calls = []

    def counting(pieces: Sequence[Piece], sheet: Sheet, gap: float) -> Layout:
        calls.append(len(pieces))
        return pack_quick(pieces, sheet, gap)

    days = [pull(f"J{at}", 50, (50, 28), cut_on=DAY + pd.Timedelta(days=at)) for at in range(9)]
    lay_again(frame(*days), (), 0.0, counting)
    assert calls == [1]


def test_the_jobs_to_look_at_come_worst_first() -> None:
    pulls = frame(
        pull("J1", 50, (50, 28)),
        pull("J1", 50, (50, 28)),
        pull("J2", 50, (50, 28), cut_on=DAY + pd.Timedelta(days=1)),
        pull("J2", 90, (50, 28), cut_on=DAY + pd.Timedelta(days=1)),
        pull("J9", 50, (50, 28), cut_on=DAY + pd.Timedelta(days=200)),
    )
    jobs = avoidable_by_job(lay_again(pulls, ["GB-60"], 0.0, pack_quick), PERIOD)
    assert isinstance(jobs, pd.DataFrame)
    assert jobs["job_id"].tolist() == ["J2", "J1"]
    assert (jobs["shortest_length_m"] / INCH).tolist() == pytest.approx([50, 50])
    assert (jobs["pulled_length_m"] / INCH).tolist() == pytest.approx([140, 100])
    assert (jobs["avoidable_area_m2"] / INCH**2).tolist() == pytest.approx([90 * 60, 50 * 60])
    # Money: each cut's own cost an area (1 an inch of length) × its share of what was avoidable.
    assert jobs["avoidable_cost"].tolist() == pytest.approx([90, 50])


def test_no_sizes_at_all_says_what_to_write_down() -> None:
    nothing = lay_again(frame(pull("J1", 50, (np.nan, np.nan))), (), 0.0, pack_quick)
    found = avoidable_by_job(nothing, PERIOD)
    assert isinstance(found, Unavailable)
    assert "piece_length" in found.line
