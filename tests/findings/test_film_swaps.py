"""Other films and other roll widths: figures by hand, and shops whose truth is known."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import Costing, cost_records
from analysis.errors import Unavailable
from analysis.film_tables import FILM_SWAPS
from analysis.findings.film_effects import film_effects
from analysis.findings.film_installed import film_costs, film_installed
from analysis.findings.film_swaps import film_swaps, other_widths
from analysis.packing.layouts import Layout, Piece, Pull, Sheet
from analysis.records.model import Records
from tests.findings.test_film_installed import (
    EFFECT,
    FEWEST,
    FILMS,
    NOISE,
    REDO,
    UNTIL,
    USE,
    simulated,
)
from tests.shops import PLAIN, records_of

NO_EFFECTS = Unavailable("film_effects", ("jobs",), "none")
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
    A | 2026-01-05 | S | F | film | 1.5 | 10 | 1 | 150
    B | 2026-01-05 | S | F | film | 1.2 | 10 | 1 | 108
    C | 2023-01-05 | S | F | film | 2.0 | 10 | 1 | 100"""
JOB = "job_id | finished_on | service | make | model | film | quoted_hours | quoted_price | hours"
CUT = "cut_id | cut_on | job_id | film | pulled_length | pulled_width | pieces | piece_length | piece_width | finished_length | finished_width | reason"


class Rows:
    """Lays pieces in rows as they come, turned where they are too wide; counts its calls."""

    def __init__(self) -> None:
        self.calls = 0

    def __call__(self, pieces: Sequence[Piece], sheet: Sheet, knife_gap_m: float) -> Layout:
        self.calls += 1
        length, row, used = 0.0, 0.0, 0.0
        for piece in pieces:
            size = (piece.length_m, piece.width_m)
            along, across = size if size[1] <= sheet.width_m + 1e-9 else size[::-1]
            assert across <= sheet.width_m + 1e-9
            assert piece.may_turn or size == (along, across)
            if used + across > sheet.width_m + 1e-9:
                length, row, used = length + row, 0.0, 0.0
            row, used = max(row, along), used + across
        total = length + row
        return Layout((Pull(sheet, total, ()),), total, total, is_best=False)


def width_shop(
    tmp_path: Path, cuts: dict[str, str], toml: str = PLAIN, day: str = "2026-03-02"
) -> tuple[Records, Costing]:
    """Jobs off the 1.5 m roll; `cuts` : pieces, length and width by job."""
    jobs = [f"{job} | {day} | roof | Quillon | Heron | F | 3 | 400 | 3" for job in cuts]
    rows = [
        f"{job} | {day} | {job} | F | 2 | 1.5 | {sizes} | 0.5 | 0.5 | first"
        for job, sizes in cuts.items()
    ]
    records = records_of(
        tmp_path, toml, jobs="\n".join([JOB, *jobs]), cuts="\n".join([CUT, *rows]), purchases=BOUGHT
    )
    return records, cost_records(records, UNTIL)


def widths(shop: tuple[Records, Costing], pack: Rows) -> pd.DataFrame:
    records, costing = shop
    return other_widths(costing, records.settings, UNTIL, pack)


def test_two_abreast_on_the_wide_roll_alone(tmp_path: Path) -> None:
    """Two pieces 0.75 m wide and 1 m long: 1 m of the 1.5 m roll at 10, 2 m of the 1.2 m at 9."""
    pack = Rows()
    shop = width_shop(tmp_path, {f"J{at}": "2 | 1 | 0.75" for at in range(6)})
    table = film_swaps(
        shop[1],
        shop[0],
        film_costs(shop[1], shop[0], NO_EFFECTS, UNTIL, FEWEST),
        NO_EFFECTS,
        UNTIL,
        FEWEST,
        pack,
    )
    assert isinstance(table, pd.DataFrame)
    assert list(table) == FILM_SWAPS.inside_names
    (row,) = table.itertuples()
    assert (row.service, row.film, row.jobs, row.enough) == ("roof", "F", 6, True)
    assert pd.isna(row.instead_film)
    # The 2 m roll was bought over two years ago.
    assert (row.roll_width_m, row.instead_width_m) == (1.5, 1.2)
    assert row.as_done_cost == pytest.approx(6 * 1 * 1.5 * 10)
    assert row.instead_cost == pytest.approx(6 * 2 * 1.2 * 9)
    assert row.difference == pytest.approx(39.6)
    assert [row.difference_low, row.difference_high] == pytest.approx([39.6, 39.6])
    assert row.verdict == "dearer"
    # Six jobs of the same pieces are packed once a width.
    assert pack.calls == 2


def test_the_interval_is_over_jobs(tmp_path: Path) -> None:
    """A lone piece saves 4.2 on the narrow roll, a pair costs 6.6 more: half and half tells nothing."""
    sizes = {f"J{at}": "1 | 1 | 0.75" if at % 2 else "2 | 1 | 0.75" for at in range(6)}
    shop = width_shop(tmp_path, sizes)
    table = film_swaps(
        shop[1],
        shop[0],
        film_costs(shop[1], shop[0], NO_EFFECTS, UNTIL, FEWEST),
        NO_EFFECTS,
        UNTIL,
        FEWEST,
        Rows(),
    )
    assert isinstance(table, pd.DataFrame)
    (row,) = table.itertuples()
    assert row.difference == pytest.approx(3 * 6.6 - 3 * 4.2)
    # Student's with 5 degrees of freedom: 2.015; sd of six values 5.4 either side of 1.2.
    reach = 2.0150 * np.sqrt(6) * 5.4 * np.sqrt(6 / 5)
    assert row.difference_high - row.difference == pytest.approx(reach, rel=1e-4)
    assert row.verdict == "cannot tell"


def test_few_jobs_give_no_advice(tmp_path: Path) -> None:
    shop = width_shop(tmp_path, {f"J{at}": "2 | 1 | 0.75" for at in range(FEWEST - 1)})
    table = film_swaps(
        shop[1],
        shop[0],
        film_costs(shop[1], shop[0], NO_EFFECTS, UNTIL, FEWEST),
        NO_EFFECTS,
        UNTIL,
        FEWEST,
        Rows(),
    )
    assert isinstance(table, pd.DataFrame)
    assert table[["verdict", "enough"]].to_numpy().tolist() == [["cannot tell", False]]


def test_pieces_that_do_not_fit_leave_their_job_out(tmp_path: Path) -> None:
    """1.3 by 1.4 m lies on no 1.2 m roll; 1 by 1.4 m does where it may be turned."""
    sizes = {"J1": "1 | 1.4 | 1.3", "J2": "1 | 1 | 1.4", "J3": "1 | 1.4 | 1", "J4": " |  | "}
    assert widths(width_shop(tmp_path / "a", sizes), Rows())["jobs"].tolist() == [2]
    toml = PLAIN + '[film]\ndirectional = ["F"]\n'
    assert widths(width_shop(tmp_path / "b", sizes, toml), Rows())["jobs"].tolist() == [1]
    toml = PLAIN + "[film]\nlongest_pull = 1.2\n"
    assert widths(width_shop(tmp_path / "c", sizes, toml), Rows()).empty


def test_old_jobs_are_not_done_again(tmp_path: Path) -> None:
    shop = width_shop(tmp_path, {"J1": "2 | 1 | 0.75"}, day="2025-06-30")
    assert widths(shop, Rows()).empty
    table = film_swaps(
        shop[1],
        shop[0],
        film_costs(shop[1], shop[0], NO_EFFECTS, UNTIL, FEWEST),
        NO_EFFECTS,
        UNTIL,
        FEWEST,
        Rows(),
    )
    assert isinstance(table, Unavailable)
    assert table.result == "film_swaps"


def test_no_film_at_all(tmp_path: Path) -> None:
    jobs = JOB + "\nJ1 | 2026-03-02 | removal | Quillon | Heron | | 3 | 400 | 3"
    records = records_of(tmp_path, jobs=jobs, purchases=BOUGHT)
    table = film_swaps(
        cost_records(records, UNTIL),
        records,
        film_costs(cost_records(records, UNTIL), records, NO_EFFECTS, UNTIL, FEWEST),
        NO_EFFECTS,
        UNTIL,
        FEWEST,
        Rows(),
    )
    assert isinstance(table, Unavailable)
    assert table.result == "film_swaps"


# ---------------------------------------------------------------- other films


def films(shop: tuple[Records, Costing], fewest: int = FEWEST) -> pd.DataFrame:
    records, costing = shop
    effects = film_effects(costing, UNTIL)
    table = film_swaps(
        costing,
        records,
        film_costs(costing, records, effects, UNTIL, fewest),
        effects,
        UNTIL,
        fewest,
        Rows(),
    )
    assert isinstance(table, pd.DataFrame)
    assert list(table) == FILM_SWAPS.inside_names
    return table


def test_another_film_by_the_figures_of_both(tmp_path: Path) -> None:
    """As done and instead from the published columns of `film_installed`, row by row."""
    records, costing = simulated(tmp_path, 11)
    effects = film_effects(costing, UNTIL)
    table = films((records, costing))
    cost = film_installed(film_costs(costing, records, effects, UNTIL, FEWEST))
    assert isinstance(cost, pd.DataFrame)
    cost = cost.set_index(["service", "film"])
    assert len(table) == 2 * 3 * 2
    lines = costing.lines[~costing.lines["is_redo"]]
    for row in table.itertuples():
        mine = lines[(lines["service"] == row.service) & (lines["film"] == row.film)]
        own, other = cost.loc[(row.service, row.film)], cost.loc[(row.service, row.instead_film)]
        area, labour = mine["finished_area_m2"].sum(), mine["actual_hours"].sum() * 10
        ratio = (1 + other["hours_effect_share"]) / (1 + own["hours_effect_share"])
        done = (area * own["film_cost_per_m2"] + labour) * (1 + own["redo_share"])
        instead = area * other["film_cost_per_m2"] + labour * ratio
        assert row.jobs == len(mine)
        assert row.as_done_cost == pytest.approx(done)
        assert row.instead_cost == pytest.approx(instead * (1 + other["redo_share"]))
        assert row.difference == pytest.approx(row.instead_cost - row.as_done_cost)
        assert row.difference_low < row.difference < row.difference_high


def test_the_true_difference_is_held(tmp_path: Path) -> None:
    """In nine of ten pairs of films; a verdict is hardly ever the wrong way round."""
    held, wrong = [], []
    for seed in range(12):
        records, costing = simulated(tmp_path / str(seed), seed + 50)
        table = films((records, costing))
        own = table["film"].map(FILMS.index).to_numpy()
        other = table["instead_film"].map(FILMS.index).to_numpy()
        lines = costing.lines[~costing.lines["is_redo"]]
        sums = lines.groupby(["service", "film"])[["finished_area_m2", "quoted_hours"]].sum()
        sums = sums.loc[list(zip(table["service"], table["film"], strict=True))]
        area, base = (sums[name].to_numpy() for name in sums)
        labour = base * 10 * np.exp(NOISE**2 / 2)
        film = area * 10 * (USE[other] - USE[own])
        work = labour * (np.exp(EFFECT[other]) - np.exp(EFFECT[own]))
        truth = (film + work) * (1 + REDO)
        held += list((table["difference_low"] <= truth) & (table["difference_high"] >= truth))
        wrong += list((table["verdict"] == "cheaper") & (truth > 0))
        wrong += list((table["verdict"] == "dearer") & (truth < 0))
    assert np.mean(held) >= 0.82
    assert np.mean(wrong) <= 0.05


def test_films_seldom_used_are_not_compared(tmp_path: Path) -> None:
    shop = simulated(tmp_path, 11)
    lines = shop[1].lines
    counts = lines[~lines["is_redo"]].groupby(["service", "film"]).size()
    fewest = int(counts.min()) + 1
    table = films(shop, fewest)
    rare = counts.idxmin()
    pairs = {*zip(table["service"], table["film"], strict=True)}
    pairs |= {*zip(table["service"], table["instead_film"], strict=True)}
    assert rare not in pairs
    assert pairs
