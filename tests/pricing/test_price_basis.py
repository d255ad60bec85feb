"""The price list as of a day, and what the next job of each of its cells costs, worked by hand."""

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unavailable
from analysis.price_tables import PRICE_BASIS
from analysis.pricing.price_basis import ShortHours, price_basis
from analysis.pricing.price_cells import cell_of, price_cells
from analysis.pricing.quote import Quoter, prepare_quotes
from analysis.records.model import Records
from tests.shops import PLAIN, records_of

DAY = pd.Timestamp("2026-06-30")
IDLE = ShortHours("nothing", 0.0, 55.0)
NOBODY = pd.DataFrame({"make": pd.Series(dtype="str"), "model": pd.Series(dtype="str")})
LIST = """
    service | vehicle_class | list_price | list_hours | effective_from
    roof    | compact car   | 100        | 2          | 2024-01-01
    roof    | compact car   | 100        | 2          | 2025-02-01
    roof    | compact car   | 110        | 2          | 2026-03-01
    roof    |               | 150        | 3          | 2024-01-01
    roof    | minivan       | 400        | 4          | 2026-07-01
    wash    |               | 0          | 1          | 2024-01-01
    polish  |               | 60         | 1.5        | 2026-01-01
"""
PURCHASES = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity|unit_price
    P1      | 2025-01-02  | Ash      | RED  | film | 1          | 100         | 1       | 500
    P2      | 2026-02-01  | Ash      | RED  | film | 1          | 100         | 1       | 600
    P3      | 2025-01-02  | Ash      | BLUE | film | 1          | 100         | 1       | 1000
"""


def jobs() -> str:
    """Eight roofs on compact cars (3 m² of RED), four on vans (6 m² of BLUE): 2 and 3 hours."""
    head = (
        "job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | "
        "quoted_price | hours | pulled_length | roll_width | finished_area"
    )
    rows = [head]
    for at in range(8):
        model = "Dart" if at % 2 else "Pike"
        rows.append(
            f"A{at} | 2026-0{1 + at % 6}-10 | roof | Harrow | {model} | compact car | RED | 2 | "
            "100 | 2 | 3 | 1 | 2"
        )
    for at in range(4):
        rows.append(
            f"B{at} | 2026-0{1 + at}-20 | roof | Solway | Tern | cargo van | BLUE | 3 | 150 | "
            "4.5 | 6 | 1 | 4"
        )
    return "\n".join(rows)


def shop(folder: Path, toml: str = PLAIN, **more: str) -> tuple[Records, Costing, Quoter]:
    tables = {"jobs": jobs(), "purchases": PURCHASES, "price_list": LIST} | more
    records = records_of(folder, toml, **tables)
    costing = cost_records(records, DAY)
    quoter = prepare_quotes(costing, records, DAY)
    assert isinstance(quoter, Quoter)
    return records, costing, quoter


def basis_of(folder: Path, flagged: pd.DataFrame = NOBODY, **more: Any) -> pd.DataFrame:
    records, costing, quoter = shop(folder, **more)
    found = price_basis(costing, records, DAY, quoter.forecaster, flagged, IDLE)
    assert isinstance(found, pd.DataFrame)
    return found


def row(basis: pd.DataFrame, service: str, vehicle_class: str | None) -> pd.Series:
    of_class = basis["vehicle_class"]
    is_class = of_class.isna() if vehicle_class is None else of_class == vehicle_class
    (found,) = [each for _, each in basis[(basis["service"] == service) & is_class].iterrows()]
    return found


def test_the_list_stands_as_of_the_day(tmp_path: Path) -> None:
    records = records_of(tmp_path, jobs=jobs(), purchases=PURCHASES, price_list=LIST)
    cells = price_cells(records["price_list"], DAY)
    # A price of 0 is none, and one that begins tomorrow is none yet.
    assert [tuple(map(str, pair)) for pair in cells[["service", "vehicle_class"]].to_numpy()] == [
        ("polish", "nan"),
        ("roof", "compact car"),
        ("roof", "nan"),
    ]
    assert cells["current_price"].tolist() == [60, 110, 150]
    # Written down again at 100 is no change; 110 is one.
    assert cells["price_since"].dt.strftime("%Y-%m-%d").tolist() == [
        "2026-01-01",
        "2026-03-01",
        "2024-01-01",
    ]
    drift = cells["price_drift_share"].tolist()
    assert np.isnan(drift[0])
    assert drift[1:] == pytest.approx([0.10, 0.0])


def test_a_class_without_a_row_is_priced_by_the_row_for_all(tmp_path: Path) -> None:
    records = records_of(tmp_path, jobs=jobs(), purchases=PURCHASES, price_list=LIST)
    cells = price_cells(records["price_list"], DAY)
    asked = pd.DataFrame(
        {
            "service": ["roof", "roof", "roof", "wash", "polish"],
            "vehicle_class": pd.Series(
                ["compact car", "cargo van", None, "compact car", "minivan"], dtype="str"
            ),
        }
    )
    assert cell_of(cells, asked).tolist() == [1, 2, 2, pd.NA, 0]


def test_the_cost_is_made_of_its_parts(tmp_path: Path) -> None:
    basis = basis_of(tmp_path)
    assert set(PRICE_BASIS.inside_names) <= set(basis)
    compact = row(basis, "roof", "compact car")
    # Service mean (8 × 3 + 4 × 6) ÷ 12 = 4; drawn: (24 + 3 × 4) ÷ 11.
    assert compact["film_area_m2"] == pytest.approx(36 / 11)
    van = row(basis, "roof", None)
    assert van["film_area_m2"] == pytest.approx((24 + 3 * 4) / 7)
    # RED 24 m² at its newest 6, BLUE 24 m² at 10.
    assert compact["film_cost_per_m2"] == pytest.approx((24 * 6 + 24 * 10) / 48)
    assert compact["labour_rate"] == pytest.approx(10)
    assert compact["jobs"] == 8
    assert van["jobs"] == 4
    assert compact["expected_hours"] == pytest.approx(2, rel=0.05)
    assert van["expected_hours"] == pytest.approx(4.5, rel=0.08)
    for each in (compact, van):
        cost = each["film_area_m2"] * 8 + each["expected_hours"] * 10
        assert each["redo_fixed"] == 0
        assert each["expected_cost"] == pytest.approx(cost)
        assert pd.isna(each["note"])
    # No work a year ago: what it cost then is not known.
    assert np.isnan(compact["cost_drift_share"])


def test_the_drift_is_that_of_film_and_wages(tmp_path: Path) -> None:
    old = jobs() + "\nD0 | 2025-03-10 | strip | Harrow | Pike | compact car | | 1 | 50 | 1 | | |"
    compact = row(basis_of(tmp_path, jobs=old), "roof", "compact car")
    # A year ago RED cost 5 a square metre and BLUE 10: the mean of both 7.5, not 8.
    then = compact["film_area_m2"] * 7.5 + compact["expected_hours"] * 10
    assert compact["cost_drift_share"] == pytest.approx(compact["expected_cost"] / then - 1)


def test_the_error_of_the_cost_is_that_of_hours_and_film(tmp_path: Path) -> None:
    compact = row(basis_of(tmp_path), "roof", "compact car")
    assert compact["cost_error"] == pytest.approx(10 * compact["hours_error"])
    assert 0 < compact["hours_error"] < compact["expected_hours"]


def test_what_was_never_done_takes_the_hours_of_the_list(tmp_path: Path) -> None:
    polish = row(basis_of(tmp_path), "polish", None)
    assert polish["expected_hours"] == 1.5
    assert "the hours are the list's" in polish["note"]
    # Its film is not known, so that its cost is not.
    assert np.isnan(polish["film_area_m2"])
    assert np.isnan(polish["expected_cost"])
    assert "not written down" in polish["note"]
    assert not polish["enough"]


def test_flagged_models_are_left_out_of_the_hours(tmp_path: Path) -> None:
    slow = jobs() + "".join(
        f"\nC{at} | 2026-05-1{at} | roof | Oakley | Moor | compact car | RED | 2 | 100 | 5 | 3 | 1 "
        "| 2"
        for at in range(6)
    )
    with_it = row(basis_of(tmp_path / "a", jobs=slow), "roof", "compact car")
    flagged = pd.DataFrame({"make": ["Oakley"], "model": ["Moor"]})
    without = row(basis_of(tmp_path / "b", flagged, jobs=slow), "roof", "compact car")
    assert with_it["expected_hours"] > 2.8
    assert without["expected_hours"] < with_it["expected_hours"] - 0.6
    assert without["apart"] == "Oakley Moor (6 of its 14 jobs)"
    assert pd.isna(with_it["apart"])
    # Its film and its jobs count all the same.
    assert with_it["film_area_m2"] == without["film_area_m2"]
    assert without["jobs"] == 14


def test_a_redo_is_reserved_for(tmp_path: Path) -> None:
    done_over = jobs().replace("finished_area", "finished_area | redo_of").split("\n")
    rows = [done_over[0], *(f"{each} |" for each in done_over[1:])]
    rows.append(
        "R1 | 2026-06-20 | roof | Harrow | Pike | compact car | RED | 0 | 0 | 1 | 3 | 1 | 2 | A0"
    )
    compact = row(basis_of(tmp_path, jobs="\n".join(rows)), "roof", "compact car")
    # 1 of 12 jobs: (1 + 20 × 1/12) ÷ 32 of the redo's 3 m² of RED out of the first roll and 10.
    share = (1 + 20 / 12) / 32
    assert compact["redo_fixed"] == pytest.approx(share * (3 * 5 + 10))


def test_without_a_wage_the_cost_is_open_and_says_so(tmp_path: Path) -> None:
    bare = 'length_unit = "m"\narea_unit = "m2"\n'
    compact = row(basis_of(tmp_path, toml=bare), "roof", "compact car")
    assert np.isnan(compact["expected_cost"])
    assert "No wage is known." in compact["note"]


def test_without_a_price_list_there_is_nothing_to_price(tmp_path: Path) -> None:
    records = records_of(tmp_path, jobs=jobs(), purchases=PURCHASES)
    costing = cost_records(records, DAY)
    none = Unavailable("hours_model", (), "none")
    found = price_basis(costing, records, DAY, none, NOBODY, IDLE)
    assert isinstance(found, Unavailable)
    assert found.missing == ("price_list",)


def test_what_is_short_is_counted_in_its_own_hours(tmp_path: Path) -> None:
    records, costing, quoter = shop(tmp_path)
    short = ShortHours("bays", 60.0, 60.0)
    found = price_basis(costing, records, DAY, quoter.forecaster, NOBODY, short)
    assert isinstance(found, pd.DataFrame)
    assert (found["hour_value"] == 60).all()
    done = found["service"] == "roof"
    assert (
        found.loc[done, "short_hours_each"].tolist() == found.loc[done, "bay_hours_each"].tolist()
    )


def test_only_the_cells_asked_for_keep_their_places_and_figures(tmp_path: Path) -> None:
    records, costing, quoter = shop(tmp_path)
    whole = price_basis(costing, records, DAY, quoter.forecaster, NOBODY, IDLE)
    asked = pd.DataFrame(
        {"service": ["roof"], "vehicle_class": pd.Series(["cargo van"], dtype="str")}
    )
    part = price_basis(costing, records, DAY, quoter.forecaster, NOBODY, IDLE, asked)
    assert isinstance(whole, pd.DataFrame)
    assert isinstance(part, pd.DataFrame)
    assert part.index.tolist() == [2]
    pd.testing.assert_frame_equal(part, whole.loc[[2]])


def test_in_a_large_shop_the_commonest_vehicles_stand_for_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from analysis.pricing import price_basis as module

    before = basis_of(tmp_path / "a")
    monkeypatch.setattr(module, "_MOST_VEHICLES", 1)
    monkeypatch.setattr(module, "_LEAST_EACH", 1)
    after = basis_of(tmp_path / "b")
    # One of two compact cars is left; the van has but one.
    assert after["expected_hours"].notna().tolist() == before["expected_hours"].notna().tolist()
    assert row(after, "roof", None)["expected_hours"] == pytest.approx(
        row(before, "roof", None)["expected_hours"]
    )
    assert after["jobs"].tolist() == before["jobs"].tolist()
