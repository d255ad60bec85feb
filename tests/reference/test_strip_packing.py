"""Strips whose least length is known, as their pieces were cut from one sheet.

Hopper and Turton 2001 (C) and Burke, Kendall and Whitwell 2004 (N); see `strip_packing.json`. The
pieces go together in the direction in which they are listed, so none is turned. Those that take
longer: `python -m tests.benchmarks.packing`.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from analysis.packing.layouts import Piece, Sheet
from analysis.packing.pack import pack
from tests.findings.cut_by_hand import assert_can_be_cut
from tests.reference.published import Figures, published
from tests.reference.sources import BURKE, HOPPER

INSTANCES: dict[str, dict[str, Any]] = {
    each["name"]: each
    for each in json.loads(
        Path(__file__).with_name("strip_packing.json").read_text(encoding="utf-8")
    )["instances"]
}


def pieces_of(instance: dict[str, Any]) -> list[Piece]:
    """Its pieces, a unit as a centimetre. The first number is the width."""
    return [
        Piece(str(at), long / 100, wide / 100, may_turn=False)
        for at, (wide, long) in enumerate(instance["pieces"])
    ]


@pytest.mark.parametrize("name", INSTANCES)
def test_pieces_fill_the_sheet(name: str) -> None:
    each = INSTANCES[name]
    area = sum(wide * long for wide, long in each["pieces"])
    assert area == each["width"] * each["least"]


def note_length(figures: Figures, name: str) -> None:
    """Lay an instance and note its length: of up to twenty pieces the least, else within 3 %."""
    each = INSTANCES[name]
    pieces = pieces_of(each)
    layout = pack(pieces, Sheet("strip", each["width"] / 100))
    assert_can_be_cut(layout, pieces)
    assert layout.least_cost <= each["least"] / 100 + 1e-9
    within = 0.03 * each["least"]
    if len(pieces) <= 20:
        assert layout.is_best
        within = 1e-7
    what = f"{name}: least length of {len(pieces)} pieces on a strip of {each['width']}"
    figures.add(what, 100 * layout.length_m, str(each["least"]), within)


def note_bound(figures: Figures, names: list[str]) -> None:
    """No strip is said to need more than its least length, and none is laid shorter."""
    bounds = []
    for name in names:
        each, pieces = INSTANCES[name], pieces_of(INSTANCES[name])
        layout = pack(pieces, Sheet("strip", each["width"] / 100), effort=0.0)
        assert_can_be_cut(layout, pieces)
        assert layout.length_m >= each["least"] / 100 - 1e-9
        bounds.append(100 * layout.least_cost)
    least = [INSTANCES[name]["least"] for name in names]
    figures.table(f"{names[0]} to {names[-1]}: length needed at least", bounds, least, 1e-7)


@published(HOPPER, "categories 1 to 3")
def test_bound_of_the_length_of_categories(figures: Figures) -> None:
    note_bound(figures, [name for name in INSTANCES if name.startswith("C")])


@published(BURKE, "N1 to N6")
def test_bound_of_the_length_of_burke(figures: Figures) -> None:
    note_bound(figures, [name for name in INSTANCES if name.startswith("N")])


@published(HOPPER, "categories 1 to 3")
def test_known_least_length_of_categories(figures: Figures) -> None:
    for name in ("C1P1", "C1P2", "C1P3", "C2P2", "C2P3", "C3P3"):
        note_length(figures, name)


@published(BURKE, "N1, N2 and N4")
def test_known_least_length_of_burke(figures: Figures) -> None:
    for name in ("N1", "N2", "N4"):
        note_length(figures, name)
