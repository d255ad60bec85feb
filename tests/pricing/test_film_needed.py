"""The film of the next job, worked out by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.pricing.film_needed import (
    FilmHistory,
    expected_area,
    film_history,
    panels_needed,
    usual_film,
)
from analysis.pricing.usual_sizes import Vehicle
from tests.shops import PLAIN, records_of

DAY = pd.Timestamp("2026-06-30")
HERON = Vehicle("Quillon", "Heron", "compact car")
STORK = Vehicle("Quillon", "Stork", "compact car")
VAN = Vehicle("Quillon", "Crane", "cargo van")
UNKNOWN = Vehicle("Quillon", "Rook", None)

JOBS = """
    job_id | finished_on | service | make | model | vehicle_class|film|quoted_hours|quoted_price
    J1 | 2026-02-01 | roof | Quillon | Heron | compact car | F | 2 | 300
    J2 | 2026-02-02 | roof | Quillon | Heron | compact car | F | 2 | 300
    J3 | 2026-02-03 | roof | Quillon | Stork | compact car | G | 2 | 300
    J4 | 2026-02-04 | roof | Quillon | Crane | cargo van | G | 2 | 300
    J5 | 2024-02-04 | hood | Quillon | Crane | cargo van | G | 2 | 300
    J6 | 2026-02-06 | clean | Quillon | Crane | cargo van |  | 2 | 90"""
PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity |unit_price
    A | 2024-01-05 | S | F | film | 1.5 | 25 | 1 | 500
    B | 2024-01-05 | S | G | film | 1.2 | 25 | 1 | 500
    C | 2024-01-06 | S | G | film | 1.5 | 25 | 1 | 600"""
# Roofs lie along the roll with a margin of 0.05 long, 0.03 across; the hood was laid across it.
CUT_COLUMNS = """
    cut_id | cut_on | job_id | film | panel | pulled_length | pulled_width | piece_length |
    piece_width | finished_length | finished_width | reason""".replace("|\n", "|")
CUTS = (
    CUT_COLUMNS
    + """
    1 | 2026-02-01 | J1 | F | roof | 1.70 | 1.5 | 1.70 | 1.16 | 1.60 | 1.10 | first
    2 | 2026-02-02 | J2 | F | roof | 1.72 | 1.5 | 1.70 | 1.16 | 1.60 | 1.10 | first
    3 | 2026-02-03 | J3 | G | roof | 1.80 | 1.5 | 1.70 | 1.16 | 1.60 | 1.10 | first
    4 | 2026-02-04 | J4 | G | roof | 2.90 | 1.5 | 2.90 | 1.46 | 2.80 | 1.40 | first
    5 | 2026-02-04 | J4 | G | roof | 2.90 | 1.5 | 2.90 | 1.46 | 2.80 | 1.40 | recut
    6 | 2024-02-04 | J5 | G | hood | 1.04 | 1.5 | 1.04 | 1.32 | 1.00 | 1.20 | first"""
)
PANELS = """
    vehicle_class | make | model | service | panel | finished_length | finished_width | pieces
    compact car |  |  | roof | roof | 1.60 | 1.10 | 1
    compact car |  |  | roof | visor | 0.50 | 0.20 | 4
     | Quillon | Stork | roof | roof | 1.80 | 1.00 | 1
    cargo van |  |  | hood | hood | 1.30 | 1.02 | 1"""


@pytest.fixture(scope="module")
def history(tmp_path_factory: pytest.TempPathFactory) -> FilmHistory:
    return history_of(tmp_path_factory.mktemp("film"), panels=PANELS)


def history_of(folder: Path, **more: str) -> FilmHistory:
    tables = {"jobs": JOBS, "purchases": PURCHASES, "cuts": CUTS} | more
    records = records_of(folder / "shop", PLAIN, **tables)
    return film_history(cost_records(records, DAY), records, DAY)


def panels(history: FilmHistory, service: str, vehicle: Vehicle, film: str | None = "F") -> dict:
    rows = panels_needed(history, service, vehicle, film)
    return {row["panel"]: row for row in rows.to_dict("records")}


def test_listed_panels_with_the_usual_margin_and_the_pull_of_past_jobs(
    history: FilmHistory,
) -> None:
    found = panels(history, "roof", HERON)
    roof = found["roof"]
    assert roof["piece_length_m"] == pytest.approx(1.70)
    assert roof["piece_width_m"] == pytest.approx(1.16)
    # Median of 1.70, 1.72 and 1.80 on this class, off the roll of 1.5.
    assert roof["pulled_length_m"] == pytest.approx(1.72)
    assert (roof["pulled_width_m"], roof["cuts"], roof["pieces"]) == (1.5, 3, 1)
    assert roof["source"] == "listed for this class, with the usual margin"


def test_a_panel_never_cut_takes_the_margin_of_all_and_lies_side_by_side(
    history: FilmHistory,
) -> None:
    """Margin long 0.05, short 0.03 (median of five cuts): 0.60 × 0.26, five across 1.5."""
    visor = panels(history, "roof", HERON)["visor"]
    assert visor["piece_length_m"] == pytest.approx(0.60)
    assert visor["piece_width_m"] == pytest.approx(0.26)
    assert visor["pulled_length_m"] == pytest.approx(0.60)
    assert (visor["pieces"], visor["cuts"], visor["pulled_width_m"]) == (4, 0, 1.5)


def test_rows_of_the_model_go_before_those_of_its_class(history: FilmHistory) -> None:
    found = panels(history, "roof", STORK)
    assert set(found) == {"roof", "visor"}
    assert found["roof"]["source"].startswith("listed for this model")
    assert found["roof"]["piece_length_m"] == pytest.approx(1.90)
    # The class is pulled 1.72, which this longer roof would not fit on.
    assert found["roof"]["pulled_length_m"] == pytest.approx(1.90)


def test_a_piece_lies_on_the_roll_as_before(history: FilmHistory) -> None:
    """Listed 1.30 × 1.02; cut across the roll before, margin 0.06 long and 0.02 short."""
    hood = panels(history, "hood", VAN, "G")["hood"]
    assert hood["piece_length_m"] == pytest.approx(1.06)
    assert hood["piece_width_m"] == pytest.approx(1.42)
    assert hood["pulled_length_m"] == pytest.approx(1.06)


def test_without_a_panels_table_the_pieces_are_those_cut_before(tmp_path: Path) -> None:
    history = history_of(tmp_path)
    roof = panels(history, "roof", HERON)["roof"]
    assert roof["source"] == "as cut on this model before"
    assert (roof["piece_length_m"], roof["pulled_length_m"]) == pytest.approx((1.70, 1.72))
    newcomer = Vehicle("Quillon", "Egret", "compact car")
    assert panels(history, "roof", newcomer)["roof"]["source"] == "as cut on this class before"
    assert panels(history, "roof", UNKNOWN) == {}


def test_a_panel_of_half_the_jobs_is_cut_again_and_one_of_fewer_is_not(tmp_path: Path) -> None:
    more = (
        CUTS
        + """
    7 | 2026-02-02 | J2 | F | visor | 0.60 | 1.5 | 0.60 | 0.26 | 0.50 | 0.20 | first
    8 | 2026-02-03 | J3 | G | edge | 0.60 | 1.5 | 0.60 | 0.26 | 0.50 | 0.20 | first"""
    )
    history = history_of(tmp_path, cuts=more)
    assert set(panels(history, "roof", HERON)) == {"roof", "visor"}
    newcomer = Vehicle("Quillon", "Egret", "compact car")
    assert set(panels(history, "roof", newcomer)) == {"roof"}


def test_without_any_cut_the_size_is_the_finished_one_and_says_so(tmp_path: Path) -> None:
    nothing = "cut_id | cut_on | film | pulled_length"
    history = history_of(tmp_path, panels=PANELS, cuts=nothing)
    roof = panels(history, "roof", HERON, "G")["roof"]
    assert "margin not known" in roof["source"]
    assert (roof["piece_length_m"], roof["piece_width_m"]) == (1.60, 1.10)
    # The narrowest roll of G that holds 1.10.
    assert (roof["pulled_width_m"], roof["pulled_length_m"]) == (1.2, 1.60)
    assert np.isnan(panels(history, "roof", HERON, None)["roof"]["pulled_width_m"])


def test_expected_area_is_drawn_from_the_model_to_its_class_to_the_service(
    history: FilmHistory,
) -> None:
    """Consumed: Heron 2.55 and 2.58, Stork 2.70, van 4.35 + recut 4.35."""
    service = (2.55 + 2.58 + 2.70 + 8.70) / 4
    compact = (2.55 + 2.58 + 2.70 + 3 * service) / 6
    heron = expected_area(history, "roof", HERON)
    assert heron.mean_m2 == pytest.approx((2.55 + 2.58 + 3 * compact) / 5)
    assert (heron.model, heron.vehicle_class, heron.service) == (2, 3, 4)
    # Around the class means 2.61 and 8.70, two of four jobs are free.
    assert heron.sd_m2 == pytest.approx(np.sqrt((0.06**2 + 0.03**2 + 0.09**2) / 2))
    unknown = expected_area(history, "roof", UNKNOWN)
    assert unknown.mean_m2 == pytest.approx(service)
    assert (unknown.model, unknown.vehicle_class) == (0, 0)


def test_a_service_without_film_takes_none_and_an_unknown_one_is_unknown(
    history: FilmHistory,
) -> None:
    assert expected_area(history, "clean", VAN).mean_m2 == 0
    assert np.isnan(expected_area(history, "wash", VAN).mean_m2)


def test_the_film_used_most_is_that_of_the_last_twelve_months(history: FilmHistory) -> None:
    roof = usual_film(history, "roof", DAY)
    # Two jobs each: the one used last.
    assert (roof.film, roof.jobs, roof.of, roof.recent) == ("G", 2, 4, True)
    hood = usual_film(history, "hood", DAY)
    assert (hood.film, hood.recent) == ("G", False)
    assert usual_film(history, "clean", DAY).film is None
