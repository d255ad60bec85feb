"""Strips whose least length is known, as their pieces were cut from one sheet.

Hopper and Turton 2001 (C) and Burke, Kendall and Whitwell 2004 (N); see `strip_packing.json`. The
pieces go together in the direction in which they are listed, so none is turned. All of them:
`python -m tests.benchmarks.packing`.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from analysis.findings.layouts import Piece, Sheet
from analysis.findings.packing import pack
from tests.findings.cut_by_hand import assert_can_be_cut

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


@pytest.mark.parametrize("name", ["C1P1", "C1P2", "C1P3", "N1", "N2", "C2P3", "N4"])
def test_known_least_length(name: str) -> None:
    """At the least length up to twenty pieces; of the larger ones two, within 3 %."""
    each = INSTANCES[name]
    pieces = pieces_of(each)
    layout = pack(pieces, Sheet("strip", each["width"] / 100))
    assert_can_be_cut(layout, pieces)
    least = each["least"] / 100
    assert layout.least_cost <= least + 1e-9
    if len(pieces) <= 20:
        assert layout.length_m == pytest.approx(least, abs=1e-9)
        assert layout.is_best
    assert layout.length_m <= 1.03 * least + 1e-9
