"""Film by hand: past cuts laid out again, the shelf of offcuts, counts, and the flows' money."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from analysis.findings.avoidable import lay_again, lay_past_cuts
from analysis.packing.layouts import Layout, Piece, Sheet
from analysis.packing.pack import pack_cheapest, pack_quick
from analysis.settings import Settings
from tests.findings.test_avoidable import INCH, areas, frame, pull
from tests.shops import reviewed


def test_the_knife_needs_its_room_between_two_pieces() -> None:
    """Two of 50 x 30 in on 60 in: with a knife's gap they no longer lie side by side."""
    two = frame(pull("J1", 50, (50, 30)), pull("J1", 50, (50, 30)))
    assert areas(two, ["GB-60"])["avoidable_area_m2"].sum() == pytest.approx(3000)
    found = lay_again(two, ["GB-60"], 0.003, pack_quick).areas
    assert found["avoidable_area_m2"].sum() == pytest.approx(0, abs=1e-6)


def test_the_same_pieces_off_another_width_are_packed_anew() -> None:
    wide = [pull("J1", 50, (50, 28)), pull("J1", 50, (50, 28))]
    narrow = [each | {"pulled_width_m": 40 * INCH} for each in wide]
    for rows in ([*wide, *narrow], [*narrow, *wide]):
        found = areas(frame(*rows), ["GB-60"])
        assert found["avoidable_area_m2"].sum() == pytest.approx(3000)


def test_shared_over_the_cuts_by_their_side_loss() -> None:
    """Side losses of 50 x 32 and 50 x 40: the 3000 saved go 4 to 5."""
    two = frame(pull("J1", 50, (50, 28)), pull("J1", 50, (50, 20)))
    found = areas(two, ["GB-60"])["avoidable_area_m2"].tolist()
    assert found == pytest.approx([3000 * 4 / 9, 3000 * 5 / 9])


def test_several_pieces_of_a_cut_are_all_packed() -> None:
    one = frame(pull("J1", 100, (50, 28), pieces=2.0))
    assert areas(one, ["GB-60"])["avoidable_area_m2"].tolist() == pytest.approx([3000])
    three = frame(pull("J1", 150, (50, 28), pieces=3.0))
    assert areas(three, ["GB-60"])["avoidable_area_m2"].tolist() == pytest.approx([3000])


def test_jobs_one_after_another_are_a_layout_of_the_day() -> None:
    """A packer that is poor with many pieces: the day is not longer than its jobs."""

    def poor(pieces: list[Piece], sheet: Sheet, gap: float) -> Layout:
        laid = pack_quick(pieces, sheet, gap)
        return laid if len(pieces) < 3 else pack_quick(pieces, Sheet("roll", 30 * INCH), gap)

    rows = [pull(job, 50, (50, 28)) for job in ("J1", "J1", "J2", "J2")]
    found = lay_again(frame(*rows), ["GB-60"], 0.0, poor).areas / INCH**2
    assert found["avoidable_area_m2"].sum() == pytest.approx(6000)


@pytest.mark.parametrize("widths", [(12.125, 24.625, 23.25), (20.0, 20.0, 20.0)])
def test_eighths_that_just_fill_the_roll_lie_side_by_side(widths: tuple[float, ...]) -> None:
    rows = [pull("J1", 40, (40, width)) for width in widths]
    assert areas(frame(*rows), ["GB-60"])["avoidable_area_m2"].sum() == pytest.approx(2 * 2400)


def test_first_and_last_day_of_the_span_take_part() -> None:
    first, last = pd.Timestamp("2025-10-01"), pd.Timestamp("2026-09-30")
    days = [first - pd.Timedelta(days=1), first, last, last + pd.Timedelta(days=1)]
    rows = [pull("J1", 100, (50, 28), pieces=2.0, cut_on=day) for day in days]
    laid = lay_past_cuts(frame(*rows), first, last, Settings())
    assert (laid.areas["avoidable_area_m2"] > 0).tolist() == [True, True]
    assert laid.jobs["cut_on"].tolist() == [first, last]


ROLL = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
    I1 | 2025-01-02 | S | F | film | 1 | 100 | 1 | 1000"""
JOBS = """
    job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_price
    J1 | 2026-03-30 | roof | Quillon | Heron | minivan | F | 1 | 500"""
CUTS = """
    cut_id|cut_on|job_id|film|source|pulled_length|pieces|piece_length|piece_width|finished_length|finished_width|kept_length|kept_width|reason|panel
"""


def shop(folder: Path, cuts: str, **more: str) -> dict[str, Any]:
    return reviewed(
        folder,
        "2026Q1",
        jobs=JOBS,
        purchases=more.pop("purchases", ROLL),
        cuts=CUTS.strip() + "\n" + cuts.strip(),
        **more,
    )


def test_an_offcut_of_the_first_day_is_kept_in_the_period(tmp_path: Path) -> None:
    tables = shop(
        tmp_path,
        """
        C0|2025-12-31|J1|F|roll|4|1|2|1|1.9|0.9|2|1|first|roof
        C1|2026-01-01|J1|F|roll|3|1|2|1|1.9|0.9|1|1|first|roof
        C2|2026-03-31|J1|F|offcut|1|1|1|1|0.9|0.9|||first|hood""",
    )
    (row,) = tables["offcut_shelf"]
    assert (row["opening_area"], row["kept_area"], row["used_area"]) == (2, 1, 1)
    # One metre of two was used: 89 days old, beside 90 for the other's square metre.
    assert row["closing_area"] == 2
    shelf = {each["cut_id"]: each for each in tables["offcuts_on_shelf"]}
    assert (
        shelf["C0"]["kept_length"] is None
        and shelf["C0"]["kept_width"] is None
        and shelf["C0"]["area"] == 1
    )
    assert (shelf["C1"]["kept_length"], shelf["C1"]["kept_width"]) == (1, 1)
    assert str(shelf["C1"]["leaves_on"])[:10] == "2027-01-01"


def test_age_is_the_mean_by_area(tmp_path: Path) -> None:
    tables = shop(
        tmp_path,
        """
        C0|2026-03-01|J1|F|roll|5|1|2|1|1.9|0.9|3|1|first|roof
        C1|2026-03-21|J1|F|roll|3|1|2|1|1.9|0.9|1|1|first|roof""",
    )
    (row,) = tables["offcut_shelf"]
    assert row["mean_age_days"] == pytest.approx((3 * 30 + 1 * 10) / 4)


def test_money_of_the_flows_is_of_the_parts_and_credits_are_told(tmp_path: Path) -> None:
    """10 a square metre: 2 m pulled, 1.71 finished, 0.29 lost as handling; half of it credited later."""
    bought = ROLL + "\n    I2 | 2026-03-20 | S | F | credit | | | 1 | 100"
    tables = shop(
        tmp_path, "C0|2026-03-01|J1|F|roll|2|1|2|1|1.9|0.9|||first|roof", purchases=bought
    )
    flows = {(r["flows_from"], r["flows_to"]): r for r in tables["film_flows"]}
    assert flows["jobs", "finished area"]["cost"] == pytest.approx(17.1)
    assert flows["jobs", "handling margin"]["cost"] == pytest.approx(2.9)
    # A tenth of the roll's price came back: of the two metres used 2.
    assert flows["jobs", "credits on film already used"]["cost"] == pytest.approx(-2.0)


def test_a_count_of_the_day_holds_the_days_cuts_and_what_was_missing_of_offcuts(
    tmp_path: Path,
) -> None:
    counts = """
        counted_on | film | area_on_hand
        2026-03-10 | F | 97
        2026-03-20 | F | 94"""
    tables = shop(
        tmp_path,
        """
        C0|2026-03-10|J1|F|roll|2|1|2|1|1.9|0.9|||first|roof
        C1|2026-03-12||F|roll|1||||||||test|
        C2|2026-03-20|J1|F|roll|1|1|1|1|0.9|0.9|||first|hood""",
        stock_counts=counts,
    )
    first, second = tables["film_counts"]
    assert (
        first["book_area"],
        first["counted_area"],
        first["unexplained_area"],
        first["cut_area"],
    ) == (98, 97, 1, 2)
    assert (second["book_area"], second["unexplained_area"], second["cut_area"]) == (95, 1, 2)


def test_an_offcut_costs_nothing_whatever_its_sheet_says() -> None:
    pieces = [Piece("a", 1.0, 1.0), Piece("b", 2.0, 1.0)]
    sheets = [Sheet("roll", 1.0, cost_per_m=3.0), Sheet("old", 1.0, 1.0, is_offcut=True)]
    assert pack_cheapest(pieces, sheets, effort=0.5).cost == pytest.approx(6.0)


def test_offcuts_missing_at_a_count_are_missing_and_not_used(tmp_path: Path) -> None:
    """100 bought, 3 cut, 1 of it kept: 98 on the books, 97 of it on rolls. Counted: half an offcut."""
    counts = """
        counted_on | film | area_on_hand
        2026-03-20 | F | 0.5"""
    tables = shop(
        tmp_path, "C0|2026-03-01|J1|F|roll|3|1|2|1|1.9|0.9|1|1|first|roof", stock_counts=counts
    )
    (row,) = tables["offcut_shelf"]
    assert (row["used_area"], row["missing_area"], row["closing_area"]) == (0, 0.5, 0.5)
