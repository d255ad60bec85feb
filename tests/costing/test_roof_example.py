"""The trade's roof: what a 62 by 45 in roof takes from a 60 in roll.

Common practice, no source: the piece is cut 68 by 48 in, three or so inches to spare on each side.
"""

# ruff: noqa: E501  (the rows of the example tables are read across)

from pathlib import Path

import pytest

from tests.shops import only, reviewed

TOML = 'length_unit = "in"\narea_unit = "sq in"\n'
JOBS = """
    job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_price
    J1 | 2026-07-13 | roof | Harrow | Pike | compact car | GB | 3 | 420"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
    I1 | 2026-07-01 | Marlow | GB | film | 60 | 25 yd | 1 | 540"""
CUT = """
    cut_id | cut_on | job_id | film | panel | pulled_length | piece_length | piece_width |
    finished_length | finished_width | kept_width | kept_length
    C1 | 2026-07-13 | J1 | GB | roof | 68 | 68 | 48 | 62 | 45 | {kept}""".replace("|\n", "|")


def waste(folder: Path, kept: str) -> dict[str, float]:
    result = reviewed(
        folder, "2026Q3", TOML, jobs=JOBS, purchases=BOUGHT, cuts=CUT.format(kept=kept)
    )
    return only(result["waste_by_panel"], panel="roof")


def test_strip_is_binned(tmp_path: Path) -> None:
    row = waste(tmp_path, "| ")
    assert row["consumed_area"] == pytest.approx(4080)
    assert row["finished_area"] == pytest.approx(2790)
    assert row["side_loss_area"] == pytest.approx(816)
    assert row["side_loss_area"] / 4080 == pytest.approx(0.200, abs=5e-4)
    assert row["handling_margin_area"] == pytest.approx(474)
    assert row["handling_margin_area"] / 4080 == pytest.approx(0.116, abs=5e-4)
    assert row["waste_pct"] == pytest.approx(31.6, abs=0.05)
    # 540 for 60 in by 25 yd is a cent a square inch.
    assert row["waste_cost"] == pytest.approx(12.90)


def test_strip_is_kept(tmp_path: Path) -> None:
    row = waste(tmp_path, "12 | 68")
    assert row["consumed_area"] == pytest.approx(3264)
    assert row["side_loss_area"] == pytest.approx(0)
    assert row["waste_pct"] == pytest.approx(14.5, abs=0.05)
