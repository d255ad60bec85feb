"""The cheapest of several rolls and offcuts: against every share of the pieces tried."""

import math
import random

import pytest

from analysis.packing.layouts import Layout, NoRoom, Piece, PieceTooWide, Sheet
from analysis.packing.pack import pack, pack_cheapest
from tests.findings.cut_by_hand import assert_can_be_cut, least_cost

INCH = 0.0254
EFFORT = 3.0


def some_pieces(rng: random.Random, many: int) -> list[Piece]:
    return [
        Piece(f"p{at}", rng.randint(1, 4), rng.randint(1, 4), rng.random() < 0.6)
        for at in range(many)
    ]


def some_sheets(rng: random.Random) -> list[Sheet]:
    """Two rolls, one of them perhaps short, and up to two offcuts."""
    short = rng.choice([math.inf, 4.0, 5.0])
    sheets = [
        Sheet("wide", 5.0, cost_per_m=rng.choice([5.0, 5.5, 6.25])),
        Sheet("narrow", 4.0, short, rng.choice([4.0, 4.5])),
    ]
    for at in range(rng.randint(0, 2)):
        sheets.append(Sheet(f"offcut {at}", rng.randint(1, 3), rng.randint(1, 4), 0.0, True))
    return sheets


@pytest.mark.parametrize("seed", range(40))
def test_equals_every_share_tried(seed: int) -> None:
    rng = random.Random(seed)
    pieces, sheets = some_pieces(rng, rng.randint(1, 4)), some_sheets(rng)
    gap = int(seed % 4 == 3)
    layout = pack_cheapest(pieces, sheets, gap, EFFORT)
    assert_can_be_cut(layout, pieces, gap)
    assert layout.is_best
    assert layout.cost == pytest.approx(least_cost(pieces, sheets, gap), abs=1e-6)
    assert layout.least_cost == pytest.approx(layout.cost, abs=1e-6)


@pytest.mark.parametrize("seed", range(10))
def test_one_short_roll_pulled_several_times(seed: int) -> None:
    rng = random.Random(500 + seed)
    pieces, roll = some_pieces(rng, 4), Sheet("roll", 5.0, 4.0, 2.0)
    layout = pack_cheapest(pieces, [roll], 0.0, EFFORT)
    assert_can_be_cut(layout, pieces)
    assert layout.cost == pytest.approx(least_cost(pieces, [roll]), abs=1e-6)
    assert layout.is_best


def test_one_roll_is_the_shortest_strip() -> None:
    pieces = [Piece("a", 60 * INCH, 28 * INCH), Piece("b", 60 * INCH, 28 * INCH)]
    roll = Sheet("roll", 60 * INCH, cost_per_m=9.0)
    assert pack_cheapest(pieces, [roll]) == pack(pieces, roll)


def test_narrow_film_for_narrow_pieces() -> None:
    """Each piece just as wide as a roll: each on its own."""
    pieces = [Piece("hood", 60, 58, False), Piece("roof", 70, 48, False)]
    sheets = [Sheet("60", 60.0, cost_per_m=6.0), Sheet("48", 48.0, cost_per_m=4.8)]
    layout = pack_cheapest(pieces, sheets, effort=EFFORT)
    assert {pull.sheet.name: pull.placed[0].piece.name for pull in layout.pulls} == {
        "60": "hood",
        "48": "roof",
    }
    assert layout.cost == pytest.approx(60 * 6.0 + 70 * 4.8)


def test_offcut_costs_nothing_and_is_used_first_and_once() -> None:
    pieces = [Piece("a", 1.0, 1.0), Piece("b", 1.0, 1.0)]
    offcut = Sheet("offcut", 1.0, 1.5, 0.0, is_offcut=True)
    layout = pack_cheapest(pieces, [Sheet("roll", 1.0, cost_per_m=3.0), offcut], effort=EFFORT)
    assert_can_be_cut(layout, pieces)
    assert layout.cost == pytest.approx(3.0)
    assert [(pull.sheet.name, pull.length_m) for pull in layout.pulls] == [
        ("offcut", 1.5),
        ("roll", 1.0),
    ]


def test_the_smaller_offcut_where_either_will_do() -> None:
    small = Sheet("small", 1.1, 1.1, 0.0, is_offcut=True)
    large = Sheet("large", 1.4, 3.0, 0.0, is_offcut=True)
    for sheets in ([small, large], [large, small]):
        layout = pack_cheapest([Piece("a", 1.0, 1.0)], sheets, effort=EFFORT)
        assert [pull.sheet.name for pull in layout.pulls] == ["small"]
        assert layout.cost == 0
        assert layout.is_best


def test_no_offcut_that_saves_nothing() -> None:
    """The small piece lies beside the large one on the roll as well."""
    pieces = [Piece("large", 2.0, 1.0, False), Piece("small", 0.4, 0.4)]
    sheets = [Sheet("roll", 1.5, cost_per_m=5.0), Sheet("offcut", 0.5, 0.5, 0.0, is_offcut=True)]
    layout = pack_cheapest(pieces, sheets, effort=EFFORT)
    assert [pull.sheet.name for pull in layout.pulls] == ["roll"]
    assert layout.cost == pytest.approx(10.0)


def test_piece_that_fits_no_sheet() -> None:
    sheets = [Sheet("48", 1.2), Sheet("60", 1.5), Sheet("offcut", 1.6, 1.6, 0.0, is_offcut=True)]
    with pytest.raises(PieceTooWide, match="hood"):
        pack_cheapest([Piece("hood", 2.0, 1.7)], sheets)


def test_no_room_on_the_offcuts() -> None:
    offcut = Sheet("offcut", 1.5, 1.5, 0.0, is_offcut=True)
    with pytest.raises(NoRoom, match="Add a roll"):
        pack_cheapest([Piece("a", 1.0, 1.0), Piece("b", 1.0, 1.0)], [offcut], effort=EFFORT)


def test_nothing_to_cut() -> None:
    assert pack_cheapest([], [Sheet("a", 1.0), Sheet("b", 2.0)]) == Layout((), 0.0, 0.0, True)


def test_a_day_of_panels() -> None:
    """Fourteen panels, three rolls and two offcuts: a sound bound, and the same again."""
    rng = random.Random(4)
    pieces = [
        Piece(f"p{at}", rng.randint(96, 544) / 8 * INCH, rng.randint(80, 352) / 8 * INCH)
        for at in range(14)
    ]
    sheets = [
        Sheet("60", 60 * INCH, cost_per_m=12.0),
        Sheet("54", 54 * INCH, cost_per_m=11.2),
        Sheet("48", 48 * INCH, cost_per_m=10.0),
        Sheet("offcut 1", 30 * INCH, 40 * INCH, 0.0, is_offcut=True),
        Sheet("offcut 2", 24 * INCH, 70 * INCH, 0.0, is_offcut=True),
    ]
    layout = pack_cheapest(pieces, sheets, 0.002, 1.0)
    assert_can_be_cut(layout, pieces, 0.002)
    assert 0 < layout.least_cost <= layout.cost
    assert layout.gap_share < 0.15
    assert pack_cheapest(pieces, sheets, 0.002, 1.0) == layout
    one = min(pack(pieces, sheet, 0.002, 0.2).cost for sheet in sheets[:3])
    assert layout.cost < one
