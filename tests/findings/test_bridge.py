"""The bridge from quarter to quarter: small shops by hand, and laws that hold for any shop."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unavailable, Unreconciled
from analysis.findings import bridge as bridge_module
from analysis.findings.bridge import (
    BOTH,
    DISCONTINUED,
    EFFECTS,
    LEFT_OUT,
    NEW,
    REDOS,
    bridge_cells,
    quarter_bridge,
    symmetrical_effects,
)
from analysis.findings.margins import shop_result
from analysis.periods import Quarter
from analysis.price_tables import BRIDGE_CELLS, QUARTER_BRIDGE
from analysis.records.model import Records
from analysis.records.read import read_records
from tests.oracle.random_shop import write_random_shop
from tests.shops import records_of

DEMO = Path(__file__).parents[2] / "data_demo"
Q2 = Quarter(2026, 2)
TOML = """
length_unit = "m"
area_unit = "m2"
prices_include_tax = true
tax_rate = 0.25
[pricing]
fewest_jobs = 2
"""
JOBS = """
    job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_price | redo_of
    A1 | 2026-02-10 | roof | Harrow | Pike | compact car | F | 4 | 500 |
    A2 | 2026-05-10 | roof | Harrow | Pike | compact car | F | 4 | 600 |
    A3 | 2026-05-11 | roof | Harrow | Pike | compact car | F | 4 | 600 |
    B1 | 2026-02-12 | hood | Harrow | Pike | | F | 2 | 200 |
    C2 | 2026-05-13 | tint | Harrow | Pike | large car | | 2 | 150 |"""
HOURS = """
    job_id | worked_on | installer | hours
    A1 | 2026-02-10 | Ann | 4
    A2 | 2026-05-10 | Bea | 5
    A3 | 2026-05-11 | Bea | 5
    B1 | 2026-02-12 | Ann | 2
    C2 | 2026-05-13 | Ann | 2"""
CUTS = """
    cut_id | cut_on | job_id | film | pulled_length | pulled_width
    1 | 2026-02-10 | A1 | F | 6 | 1
    2 | 2026-02-12 | B1 | F | 2 | 1
    3 | 2026-05-10 | A2 | F | 7 | 1
    4 | 2026-05-11 | A3 | F | 7 | 1"""
SHOP = {
    "jobs": JOBS,
    "hours": HOURS,
    "cuts": CUTS,
    "rates": """
        installer | effective_from | wage
        Ann | 2025-01-01 | 20
        Bea | 2025-01-01 | 24""",
    "purchases": """
        invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width | roll_length
        A | 2026-01-01 | S | F | film | 1 | 80 | 1 | 8
        B | 2026-03-01 | S | F | film | 1 | 240 | 1 | 20""",
    "overheads": "month | category | amount\n2026-01 | all | 300\n2026-04 | all | 500",
    "capacity": "month | installer_hours\n2026-01 | 100\n2026-04 | 100",
}


def costed(folder: Path, toml: str = TOML, **changes: str) -> tuple[Costing, Records]:
    records = records_of(folder, toml, **(SHOP | changes))
    return cost_records(records, Q2.last_day), records


def amounts(table: pd.DataFrame | Unavailable) -> dict[str, float]:
    assert isinstance(table, pd.DataFrame)
    assert table["effect"].is_unique
    return dict(zip(table["effect"], table["amount"], strict=True))


def cells_by_name(table: pd.DataFrame | Unavailable) -> dict[tuple[str, str], dict[Any, Any]]:
    assert isinstance(table, pd.DataFrame)
    assert list(table) == BRIDGE_CELLS.inside_names
    rows = table.to_dict("records")
    return {(row["service"], str(row["vehicle_class"])): row for row in rows}


def test_a_shop_by_hand(tmp_path: Path) -> None:
    """One cell in both quarters, one new, one discontinued. Overhead 3, then 4 an hour."""
    costing, records = costed(tmp_path)
    table = quarter_bridge(costing, records, Q2)
    found = amounts(table)
    before, now = 400 - 60 - 80 - 12.0, 2 * (480 - 84 - 120 - 20.0)
    hood, tint = 160 - 20 - 40 - 6.0, 120 - 40 - 8.0
    a_job = (before + now / 2) / 2
    expected = {
        "margin 2026Q1": before + hood,
        "price": 1.5 * 80,
        "volume": (2 - 1) * 1 * a_job,
        "mix": 0.0,
        "labour_efficiency": -1.5 * (5 - 4) * 22.0,
        "labour_rate": -1.5 * (24 - 20) * 4.5,
        "film_price": -1.5 * (12 - 10) * 6.5,
        "film_usage": -1.5 * (7 - 6) * 11.0,
        "consumables": 0.0,
        "redo": 0.0,
        "fees": 0.0,
        "overhead": -1.5 * (20 - 12.0),
        "new: tint, large car": tint,
        "discontinued: hood, not given": -hood,
        "margin 2026Q2": now + tint,
    }
    assert found == pytest.approx(expected)
    assert list(found) == list(expected)
    assert list(table) == QUARTER_BRIDGE.names
    assert table["note"].iloc[0] == (
        "Full margin after redos: 2 first-time job lines and 0 redo lines."
    )
    cells = cells_by_name(bridge_cells(costing, records, Q2))
    kinds = {name: row["kind"] for name, row in cells.items()}
    assert kinds == {
        ("hood", "nan"): DISCONTINUED,
        ("roof", "compact car"): BOTH,
        ("tint", "large car"): NEW,
    }
    assert not any(row["enough"] for row in cells.values())


def test_mix_is_what_the_jobs_are(tmp_path: Path) -> None:
    """One roof and two hoods, then two roofs and one hood, at unchanged margins of 100 and 20."""
    rows = [
        f"{name}{at} | 2026-0{month}-0{at} | {service} | Harrow | Pike | compact car | 1 | {price}"
        for month, name, service, price, count in (
            (2, "A", "roof", 100, 1),
            (2, "B", "hood", 20, 2),
            (5, "C", "roof", 100, 2),
            (5, "D", "hood", 20, 1),
        )
        for at in range(1, count + 1)
    ]
    head = "job_id|finished_on|service|make|model|vehicle_class|quoted_hours|quoted_price|hours"
    jobs = "\n".join([head, *(f"{row} | 0" for row in rows)])
    toml = 'length_unit = "m"\n[labour]\ndefault_wage = 10'
    zero = "\nG | 2026-01-01 | S | G | film | 1 | 1 | 1 | 1"
    costing, records = costed(
        tmp_path,
        toml,
        jobs=jobs,
        hours="job_id | worked_on | hours",
        cuts="cut_id|cut_on|job_id|film|pulled_length|pulled_width\n1|2026-01-02|x|G|1|1",
        purchases=SHOP["purchases"] + zero,
    )
    found = amounts(quarter_bridge(costing, records, Q2))
    assert found["mix"] == pytest.approx(3 * (1 / 3 * 100 - 1 / 3 * 20))
    assert found["margin 2026Q2"] - found["margin 2026Q1"] == pytest.approx(found["mix"])
    others = [found[name] for name in EFFECTS if name != "mix"]
    assert others == pytest.approx([0.0] * len(others))


def test_redos_stand_under_the_first_job_and_alone_where_it_has_none(tmp_path: Path) -> None:
    """R redoes A1 (a cell of both quarters) as a hood; S redoes B1, a cell without jobs now."""
    jobs = JOBS + (
        "\nR | 2026-05-20 | hood | Harrow | Dart | large car | | 0 | 0 | A1"
        "\nS | 2026-05-21 | hood | Harrow | Pike | | | 0 | 0 | B1"
        "\nT | 2026-05-22 | trim | Harrow | Pike | large car | | 0 | 25 | U"
    )
    hours = HOURS + (
        "\nR | 2026-05-20 | Ann | 1\nS | 2026-05-21 | Ann | 2\nT | 2026-05-22 | Ann | 1"
    )
    costing, records = costed(tmp_path, jobs=jobs, hours=hours)
    found = amounts(quarter_bridge(costing, records, Q2))
    cells = cells_by_name(bridge_cells(costing, records, Q2))
    assert cells["roof", "compact car"]["redo"] == pytest.approx(-1.5 * 24 / 2)
    hood = cells["hood", "nan"]
    assert (hood["kind"], hood["jobs_now"], hood["redo"]) == (DISCONTINUED, 0, -48)
    assert hood["discontinued"] == pytest.approx(-hood["margin_before"])
    trim = cells["trim", "large car"]
    assert (trim["kind"], trim["redo"], trim["enough"]) == (REDOS, -4, False)
    assert found["redo"] == pytest.approx(-18 - 48 - 4)
    assert "hood, large car" not in {", ".join(name) for name in cells}


def test_a_redo_before_the_first_job_of_a_new_cell(tmp_path: Path) -> None:
    jobs = JOBS + "\nR | 2026-02-20 | tint | Harrow | Pike | large car | | 0 | 0 | nobody"
    hours = HOURS + "\nR | 2026-02-20 | Ann | 1"
    costing, records = costed(tmp_path, jobs=jobs, hours=hours)
    tint = cells_by_name(bridge_cells(costing, records, Q2))["tint", "large car"]
    assert (tint["kind"], tint["redo"]) == (NEW, pytest.approx(23))
    assert tint["new"] == pytest.approx(tint["margin_now"])


def test_a_cell_without_film_in_one_quarter_takes_the_other_ones_cost(tmp_path: Path) -> None:
    """All 60 of A1's film are usage, and none is price."""
    jobs = JOBS.replace("A1 | 2026-02-10 | roof | Harrow | Pike | compact car | F", "A1 | {}")
    jobs = jobs.replace("{}", "2026-02-10 | roof | Harrow | Pike | compact car | ")
    costing, records = costed(tmp_path, jobs=jobs, cuts=CUTS.replace("| A1 |", "| other |"))
    roof = cells_by_name(bridge_cells(costing, records, Q2))["roof", "compact car"]
    assert roof["film_price"] == pytest.approx(0)
    assert roof["film_usage"] == pytest.approx(-1.5 * 84)


@pytest.mark.parametrize(
    ("changes", "name", "beyond"),
    [
        ({"overheads": "month | category | amount"}, "Contribution", {"overhead"}),
        (
            {"rates": "installer | effective_from | wage"},
            "Material margin",
            {"overhead", "labour_efficiency", "labour_rate"},
        ),
    ],
)
def test_the_last_margin_that_is_known_is_bridged(
    changes: dict[str, str], name: str, beyond: set[str], tmp_path: Path
) -> None:
    costing, records = costed(tmp_path, **changes)
    table = quarter_bridge(costing, records, Q2)
    found = amounts(table)
    assert isinstance(table, pd.DataFrame)
    assert set(EFFECTS) - set(found) == beyond
    assert all(note.startswith(f"{name} after redos: ") for note in table["note"].iloc[[0, -1]])
    assert "overhead" in table["note"].iloc[0]
    cells = bridge_cells(costing, records, Q2)
    assert isinstance(cells, pd.DataFrame)
    assert cells[list(beyond)].isna().all(axis=None)
    assert cells["margin_now"].sum() == pytest.approx(found["margin 2026Q2"])


def test_a_cell_with_a_job_of_unknown_cost_is_left_out_and_told(tmp_path: Path) -> None:
    """Film of one of the two roofs was never bought: the other cells are bridged without roofs."""
    costing, records = costed(
        tmp_path, cuts=CUTS.replace("4 | 2026-05-11 | A3 | F", "4 | 2026-05-11 | A3 | X")
    )
    more = JOBS + (
        "\nH | 2026-05-20 | hood | Harrow | Pike | | | 2 | 220 |"
        "\nI | 2026-02-20 | tint | Harrow | Pike | large car | | 2 | 140 |"
    )
    few = quarter_bridge(costing, records, Q2)
    assert isinstance(few, Unavailable)
    assert "no known cost" in few.line
    hours = HOURS + "\nH | 2026-05-20 | Ann | 2\nI | 2026-02-20 | Ann | 2"
    cuts = CUTS.replace("4 | 2026-05-11 | A3 | F", "4 | 2026-05-11 | A3 | X")
    costing, records = costed(tmp_path / "more", jobs=more, hours=hours, cuts=cuts)
    table = quarter_bridge(costing, records, Q2)
    assert isinstance(table, pd.DataFrame)
    assert table["note"].iloc[0].endswith("compact car (3 first-time job lines of both quarters).")
    assert table["note"].iloc[0].startswith("Full margin after redos: 2 first-time job lines")
    cells = cells_by_name(bridge_cells(costing, records, Q2))
    roof = cells.pop(("roof", "compact car"))
    assert roof["kind"] == LEFT_OUT
    assert (roof["jobs_before"], roof["jobs_now"]) == (1, 2)
    assert roof["margin_before"] == pytest.approx(248)
    assert all(np.isnan(roof[name]) for name in [*EFFECTS, NEW, DISCONTINUED, "margin_now"])
    found = amounts(table)
    assert found["margin 2026Q2"] == pytest.approx(sum(r["margin_now"] for r in cells.values()))
    for name in EFFECTS:
        assert found[name] == pytest.approx(sum(row[name] for row in cells.values())), name


def test_without_a_job_in_the_quarter_before_there_is_no_bridge(tmp_path: Path) -> None:
    costing, records = costed(tmp_path)
    for quarter, empty in ((Quarter(2026, 1), "2025Q4"), (Quarter(2026, 3), "2026Q3")):
        for compute in (quarter_bridge, bridge_cells):
            found = compute(costing, records, quarter)
            assert isinstance(found, Unavailable)
            assert found.line.startswith(f"No job was finished in {empty}")
            assert found.result == compute.__name__


def test_a_bridge_that_leaves_a_remainder_stops_the_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    costing, records = costed(tmp_path)
    off = (costing.lines["job_id"] == "A1") * 0.01
    wrong = costing.lines.assign(full_margin=costing.lines["full_margin"] + off)
    with pytest.raises(Unreconciled, match="A cell of the bridge"):
        quarter_bridge(replace(costing, lines=wrong), records, Q2)
    monkeypatch.setattr(bridge_module, "_margin_row", lambda *_: ("margin", 1.0, ""))
    with pytest.raises(Unreconciled, match="The bridge"):
        quarter_bridge(costing, records, Q2)


def test_the_demo_ends_in_the_margin_of_the_statement() -> None:
    records = read_records(DEMO)
    quarter = Quarter(2026, 3)
    costing = cost_records(records, quarter.last_day)
    found = amounts(quarter_bridge(costing, records, quarter))
    for each in (quarter, quarter.previous):
        statement = shop_result(costing, records, [costing.rates[each.index]])
        full = dict(zip(statement["line"], statement["amount"], strict=True))
        assert found[f"margin {each.label}"] == pytest.approx(full["full_margin_of_jobs"])
    first, *middle, last = found.values()
    assert first + sum(middle) == pytest.approx(last)


# --- laws ------------------------------------------------------------------------------------------

AMOUNT = st.integers(-500, 5000).map(lambda each: each / 4)
SIZE = st.one_of(st.just(0.0), st.integers(1, 400).map(lambda each: each / 8))
COSTS = ("fees", "labour", "film", "consumables", "redo", "overhead")


@st.composite
def two_quarters(draw: st.DrawFn) -> pd.DataFrame:
    """Cells with jobs in both quarters; of no hours (or area) there is no cost."""
    rows = []
    for _ in range(draw(st.integers(1, 6))):
        row: dict[str, float] = {}
        for when in ("before", "now"):
            row[f"jobs_{when}"] = draw(st.integers(1, 9))
            row |= {f"{name}_{when}": draw(AMOUNT) for name in ("price", *COSTS)}
            for size, cost in (("hours", "labour"), ("area", "film")):
                row[f"{size}_{when}"] = draw(SIZE)
                row[f"{cost}_{when}"] = row[f"{size}_{when}"] * draw(st.integers(0, 60))
            costs = sum(row[f"{name}_{when}"] for name in COSTS)
            row[f"margin_{when}"] = row[f"price_{when}"] - costs
        rows.append(row)
    return pd.DataFrame(rows).astype("float64")


def swapped(cells: pd.DataFrame) -> pd.DataFrame:
    """The same cells with the quarters the other way round."""
    other = {"before": "now", "now": "before"}
    return cells.rename(
        columns=lambda name: f"{name.rpartition('_')[0]}_{other[name.rpartition('_')[2]]}"
    )


@settings(max_examples=80, deadline=None)
@given(two_quarters())
def test_effects_add_to_the_change_and_turn_round_with_the_quarters(cells: pd.DataFrame) -> None:
    effects = symmetrical_effects(cells)
    change = cells["margin_now"] - cells["margin_before"]
    scale = float(cells.abs().to_numpy().max())
    assert effects.sum(axis=1).tolist() == pytest.approx(change.tolist(), abs=1e-11 * scale)
    back = symmetrical_effects(swapped(cells))
    assert back[EFFECTS].to_numpy() == pytest.approx(-effects.to_numpy(), abs=1e-11 * scale)


@settings(max_examples=40, deadline=None)
@given(two_quarters())
def test_cells_in_another_order_have_the_same_effects(cells: pd.DataFrame) -> None:
    turned = symmetrical_effects(cells[::-1])[::-1]
    assert turned.to_numpy() == pytest.approx(symmetrical_effects(cells).to_numpy())


def the_other_way(costing: Costing, quarter: Quarter) -> Costing:
    """The quarter's jobs moved to the quarter before, and that one's into it."""
    lines = costing.lines
    days = lines["finished_on"]
    here = days.between(quarter.first_day, quarter.last_day)
    back = days.between(quarter.previous.first_day, quarter.previous.last_day)
    moved = days.mask(here, quarter.previous.first_day).mask(back, quarter.first_day)
    return replace(costing, lines=lines.assign(finished_on=moved))


@pytest.mark.parametrize("seed", range(8))
def test_random_shops_add_up_and_turn_round(seed: int, tmp_path: Path) -> None:
    """Whole shops, with redos, blank classes, and unknown costs: every quarter that can be told."""
    labels = write_random_shop(tmp_path, seed, jobs=50, months=9)
    records = read_records(tmp_path)
    told = 0
    for label in labels[1:]:
        quarter = Quarter.parse(label, records.settings.fiscal_year_starts)
        costing = cost_records(records, quarter.last_day)
        before = costing.lines.copy()
        table, cells = (f(costing, records, quarter) for f in (quarter_bridge, bridge_cells))
        if isinstance(table, Unavailable) or isinstance(cells, Unavailable):
            assert isinstance(table, Unavailable) == isinstance(cells, Unavailable)
            continue
        told += 1
        amount = table["amount"]
        assert amount.iloc[:-1].sum() == pytest.approx(amount.iloc[-1])
        known = cells[cells["kind"] != LEFT_OUT]
        assert known["margin_now"].sum() == pytest.approx(amount.iloc[-1])
        opposite = bridge_cells(the_other_way(costing, quarter), records, quarter)
        assert isinstance(opposite, pd.DataFrame)
        names = [name for name in EFFECTS if not cells[name].isna().all()]
        assert opposite[names].to_numpy() == pytest.approx(
            -cells[names].to_numpy(), nan_ok=True, abs=1e-7
        )
        turned = -cells[[DISCONTINUED, NEW]].to_numpy()
        assert opposite[[NEW, DISCONTINUED]].to_numpy() == pytest.approx(turned, nan_ok=True)
        pd.testing.assert_frame_equal(costing.lines, before)
    assert told
