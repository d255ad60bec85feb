"""The least length of one roll: against every place tried, and what a layout must hold."""

import random
from fractions import Fraction

import pytest

from analysis.errors import Unreconciled
from analysis.packing.layouts import (
    Layout,
    Piece,
    PieceTooWide,
    Placed,
    Pull,
    Sheet,
    TooLittleFilm,
    check_layout,
)
from analysis.packing.pack import layout_apart, pack, pack_quick, pulls_apart
from analysis.packing.skyline import Spot, anneal, first_orders, lay, strip_trial
from analysis.packing.strip_bounds import least_length as bound
from analysis.packing.strip_bounds import useful_width
from analysis.packing.strip_model import Strip, run_solver, solved_strip
from analysis.packing.strip_solver import quick_strip, shortest_strip
from tests.findings.cut_by_hand import assert_can_be_cut, least_length, ways_of

INCH = 0.0254


def some_pieces(rng: random.Random, many: int, largest: int = 4) -> list[Piece]:
    """Pieces of whole metres, some alike, some of film with a direction."""
    kinds = [
        (rng.randint(1, largest), rng.randint(1, largest), rng.random() < 0.6)
        for _ in range(rng.randint(1, many))
    ]
    return [Piece(f"p{at}", *rng.choice(kinds)) for at in range(many)]


def inches(name: str, length: float, width: float, *, may_turn: bool = True) -> Piece:
    return Piece(name, length * INCH, width * INCH, may_turn)


def panels(rng: random.Random, many: int, *, may_turn: bool = True) -> list[Piece]:
    """Panels in eighths of an inch."""
    return [
        inches(f"p{at}", rng.randint(96, 544) / 8, rng.randint(80, 352) / 8, may_turn=may_turn)
        for at in range(many)
    ]


# ---- the least length ----------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(60))
def test_equals_every_place_tried(seed: int) -> None:
    rng = random.Random(seed)
    many = rng.randint(1, 4 if seed % 2 else 5)
    pieces = some_pieces(rng, many, largest=3 if many == 5 else 4)
    gap, width = seed % 2, rng.randint(4, 5)
    expected = least_length(pieces, width, gap)
    for layout in (
        pack(pieces, Sheet("roll", width), gap),
        pack_quick(pieces, Sheet("roll", width), gap),
    ):
        assert_can_be_cut(layout, pieces, gap)
        assert layout.is_best
        assert layout.gap_share == 0
        assert layout.cost == pytest.approx(expected, abs=1e-9)
        assert layout.least_cost == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("seed", range(40))
def test_no_bound_is_over_the_least(seed: int) -> None:
    rng = random.Random(1000 + seed)
    pieces = some_pieces(rng, rng.randint(2, 4), largest=5)
    ways = [tuple(ways_of(piece)) for piece in pieces]
    width = rng.randint(5, 8)
    expected = least_length(pieces, width)
    assert expected is not None
    useful = useful_width(ways, width)
    assert bound(ways, useful) <= expected
    start, _, _ = quick_strip(ways, width)
    assert start.least <= expected <= start.length


@pytest.mark.parametrize("seed", range(12))
def test_solver_alone_equals_every_place_tried(seed: int) -> None:
    """The model, without the look at every layout that mostly comes before it."""
    rng = random.Random(2000 + seed)
    pieces = some_pieces(rng, 4)
    ways = [tuple(ways_of(piece)) for piece in pieces]
    behind: list[Spot] = []
    for item, each in enumerate(ways):
        end = behind[-1].along + behind[-1].length if behind else 0
        behind.append(lay(6, [(item, each[:1])])[1][0]._replace(along=end))
    start = Strip(tuple(behind), behind[-1].along + behind[-1].length, 1)
    for turn in (0, 1):
        _, found = solved_strip(ways, 6, start, 5.0, 20.0, turn)
        assert found.is_best
        assert found.length == least_length(pieces, 6)


def test_example_of_the_trade() -> None:
    """Two pieces of 60 by 28 in on a roll of 60 in: 56 in when turned, 60 in side by side."""
    roll = Sheet("roll", 60 * INCH, cost_per_m=12.5)
    turned = [inches("left", 60, 28), inches("right", 60, 28)]
    layout = pack(turned, roll)
    assert layout.length_m == pytest.approx(56 * INCH, abs=1e-9)
    assert layout.cost == pytest.approx(56 * INCH * 12.5, abs=1e-9)
    assert layout.is_best
    assert all(each.turned for each in layout.pulls[0].placed)
    straight = [inches("left", 60, 28, may_turn=False), inches("right", 60, 28, may_turn=False)]
    layout = pack(straight, roll)
    assert layout.length_m == pytest.approx(60 * INCH, abs=1e-9)
    assert not any(each.turned for each in layout.pulls[0].placed)


def test_gap_lies_between_pieces_and_not_at_the_edges() -> None:
    """Two pieces of 30 in fill 60 in; with a gap they lie one behind the other."""
    roll = Sheet("roll", 60 * INCH)
    pieces = [inches("left", 20, 30, may_turn=False), inches("right", 20, 30, may_turn=False)]
    assert pack(pieces, roll).length_m == pytest.approx(20 * INCH, abs=1e-9)
    assert pack(pieces, roll, 0.005).length_m == pytest.approx(40 * INCH + 0.005, abs=1e-9)
    one = [inches("hood", 50, 60, may_turn=False)]
    assert pack(one, roll, 0.005).length_m == pytest.approx(50 * INCH, abs=1e-9)


def test_sizes_of_sixteenths_and_millimetres_are_exact() -> None:
    pieces = [
        inches("a", 33 + 1 / 16, 29 + 15 / 16, may_turn=False),
        inches("b", 20 + 3 / 16, 30 + 1 / 16, may_turn=False),
        Piece("c", 0.437, 1.001, may_turn=False),
    ]
    layout = pack(pieces, Sheet("roll", 60 * INCH))
    assert_can_be_cut(layout, pieces)
    expected = Fraction(33 * 16 + 1, 16) * Fraction(254, 10_000) + Fraction(437, 1000)
    assert layout.length_m == pytest.approx(float(expected), abs=1e-12)
    assert layout.is_best


def test_sizes_between_the_units_never_overlap() -> None:
    """A third of a metre is no whole unit: rounded up, never down."""
    pieces = [Piece(f"p{at}", 1 / 3, 1 / 3) for at in range(7)]
    layout = pack(pieces, Sheet("roll", 1.0001))
    assert_can_be_cut(layout, pieces)
    assert layout.length_m == pytest.approx(1.0, abs=4e-5)
    assert layout.length_m >= 1.0


def test_nothing_to_cut() -> None:
    for layout in (pack([], Sheet("roll", 1.5)), pack_quick([], Sheet("roll", 1.5))):
        assert layout == Layout((), 0.0, 0.0, True)


@pytest.mark.parametrize("may_turn", [True, False])
def test_twelve_panels(may_turn: bool) -> None:
    pieces = panels(random.Random(5), 12, may_turn=may_turn)
    roll = Sheet("roll", 60 * INCH)
    layout = pack(pieces, roll, 0.003, effort=1.0)
    assert_can_be_cut(layout, pieces, 0.003)
    assert layout.least_cost >= sum(each.length_m * each.width_m for each in pieces) / roll.width_m
    assert layout.gap_share < 0.08


# ---- how it behaves ------------------------------------------------------------------------------


def test_reruns_and_the_order_of_the_pieces_change_nothing() -> None:
    pieces = panels(random.Random(8), 16)
    roll = Sheet("roll", 60 * INCH)
    first = pack(pieces, roll, effort=1.0)
    assert pack(pieces, roll, effort=1.0) == first
    assert pack(pieces[::-1], roll, effort=1.0).cost == first.cost


def test_more_effort_is_never_worse() -> None:
    ways = [((wide, long), (long, wide)) for wide, long in ((37, 53), (41, 29), (23, 61), (31, 47))]
    pieces = ways * 4
    found = [shortest_strip(pieces, 120, effort) for effort in (0.0, 0.2, 0.6, 1.5)]
    lengths, bounds = [each.length for each in found], [each.least for each in found]
    assert lengths == sorted(lengths, reverse=True)
    assert bounds == sorted(bounds)
    assert lengths[-1] < lengths[0]


def test_search_over_orders_is_repeatable_and_better_than_its_start() -> None:
    rng = random.Random(3)
    pieces = [((rng.randint(5, 30), rng.randint(5, 30)),) for _ in range(25)]
    area = sum(wide * long for ((wide, long),) in pieces)
    trial = strip_trial(60, -(-area // 60), area)
    order = first_orders(list(enumerate(pieces)))[0]
    start = lay(60, order)[0]
    value, spots = anneal(order, trial, area / 60, 200_000, 200_000, 1)
    again, _ = anneal(order, trial, area / 60, 200_000, 200_000, 1)
    assert value == again
    assert int(value) == max(spot.along + spot.length for spot in spots) < start


# ---- refusals ------------------------------------------------------------------------------------


def test_piece_that_fits_neither_way() -> None:
    piece = Piece("hood", 1.7, 1.6, owner="J1")
    with pytest.raises(
        PieceTooWide, match=r"hood of J1 .*1\.700 m long.*60 in roll.*1\.524"
    ) as raised:
        pack([piece], Sheet("60 in roll", 60 * INCH))
    assert raised.value.piece is piece


def test_piece_with_a_direction_is_not_turned_to_fit() -> None:
    assert pack([Piece("hood", 1.4, 1.6)], Sheet("roll", 1.5)).length_m == pytest.approx(1.6)
    with pytest.raises(PieceTooWide, match="may not be turned"):
        pack([Piece("hood", 1.4, 1.6, may_turn=False)], Sheet("roll", 1.5))


def test_more_than_one_pull() -> None:
    pieces = [Piece("a", 1.0, 1.0), Piece("b", 1.0, 1.0)]
    with pytest.raises(TooLittleFilm, match=r"2\.000 m of end.*1\.500 m at most"):
        pack(pieces, Sheet("end", 1.2, longest_m=1.5))


def test_model_that_is_not_valid() -> None:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    sure = model.new_constant(1)
    model.add_hint(sure, 1)
    model.add_hint(sure, 0)
    with pytest.raises(Unreconciled, match="not valid"):
        run_solver(model, 1.0, 5.0, 0, {})


# ---- checks of a layout --------------------------------------------------------------------------


def laid(piece: Piece, along: float, across: float, *, turned: bool = False) -> Placed:
    size = (piece.length_m, piece.width_m)
    return Placed(piece, along, across, *(size[::-1] if turned else size), turned)


def test_layout_that_could_not_be_cut_is_refused() -> None:
    one, other = Piece("one", 1.0, 0.5, may_turn=False), Piece("other", 1.0, 0.5)
    roll = Sheet("roll", 1.0, longest_m=3.0)

    def check(*placed: Placed, length: float = 2.0, gap: float = 0.0) -> None:
        check_layout(Layout((Pull(roll, length, placed),), length, 0, False), [one, other], gap)

    check(laid(one, 0, 0), laid(other, 0, 0.5))
    for placed in (
        (laid(one, 0, 0),),
        (laid(one, 0, 0), laid(other, 0, 0.4)),
        (laid(one, 0, 0), laid(other, 1.1, 0.5)),
        (laid(one, 0, 0), laid(other, 0, 0.6)),
        (laid(one, 0, 0, turned=True), laid(other, 1, 0)),
        (laid(one, 0, 0), laid(other, -0.1, 0.5)),
    ):
        with pytest.raises(Unreconciled):
            check(*placed)
    with pytest.raises(Unreconciled, match="overlap"):
        check(laid(one, 0, 0), laid(other, 0, 0.5), gap=0.01)
    with pytest.raises(Unreconciled, match="longer"):
        check(laid(one, 0, 0), laid(other, 0, 0.5), length=3.5)


# ---- pulls as one cuts them ----------------------------------------------------------------------


def test_pull_is_parted_where_a_straight_cut_meets_no_piece() -> None:
    a, b, c = Piece("a", 1.0, 1.0), Piece("b", 0.5, 0.4), Piece("c", 0.8, 0.5)
    pull = Pull(Sheet("roll", 1.0), 2.3, (laid(c, 1.5, 0.5), laid(a, 0, 0), laid(b, 1.0, 0.3)))
    apart = pulls_apart(pull)
    assert [each.length_m for each in apart] == pytest.approx([1.0, 0.5, 0.8])
    assert [each.placed[0].piece.name for each in apart] == ["a", "b", "c"]
    assert [(each.placed[0].along_m, each.placed[0].across_m) for each in apart] == [(0, 0)] * 3


def test_pull_is_not_parted_through_a_piece() -> None:
    a, b, c = Piece("a", 1.0, 0.5), Piece("b", 1.6, 0.5), Piece("c", 0.6, 0.5)
    pull = Pull(Sheet("roll", 1.0), 1.6, (laid(a, 0, 0), laid(b, 0, 0.5), laid(c, 1.0, 0)))
    assert pulls_apart(pull) == (pull,)


def test_no_gap_is_left_where_the_roll_is_cut_off() -> None:
    pieces = [Piece(f"p{at}", 1.0, 1.4, may_turn=False) for at in range(3)]
    layout = pack(pieces, Sheet("roll", 1.5), 0.01)
    apart = pulls_apart(layout.pulls[0], 0.01)
    assert layout.length_m == pytest.approx(3.02)
    assert [each.length_m for each in apart] == pytest.approx([1.0, 1.0, 1.0])
    parted = layout_apart(layout, 0.01)
    assert parted.cost == pytest.approx(3.0)
    # Three pieces on three pulls: the bound less a gap for each cut-off is reached.
    assert parted.is_best


def test_what_is_proven_of_one_long_pull_is_not_claimed_of_short_ones() -> None:
    """Five pieces on two pulls: the bound gives a gap for every pull that there could be."""
    pieces = [Piece(f"p{at}", 1.0, 0.7, may_turn=False) for at in range(4)]
    layout = pack([*pieces, Piece("q", 0.5, 1.4, may_turn=False)], Sheet("roll", 1.5), 0.01)
    parted = layout_apart(layout, 0.01)
    assert layout.is_best
    assert parted.cost < layout.cost
    assert parted.least_cost <= layout.least_cost - 0.04 + 1e-9
    assert not parted.is_best


def test_parted_without_a_gap_keeps_its_proof() -> None:
    pieces = [Piece(f"p{at}", 1.0, 1.4, may_turn=False) for at in range(3)]
    parted = layout_apart(pack(pieces, Sheet("roll", 1.5, cost_per_m=7.0)))
    assert parted.is_best
    assert (parted.cost, parted.least_cost) == (pytest.approx(21.0), pytest.approx(21.0))
    assert len(parted.pulls) == 3


def test_offcut_stays_whole() -> None:
    a, b = Piece("a", 1.0, 1.0), Piece("b", 0.5, 0.4)
    pull = Pull(Sheet("offcut", 1.0, 3.0, 0.0, is_offcut=True), 3.0, (laid(a, 0, 0), laid(b, 1, 0)))
    assert pulls_apart(pull) == (pull,)


@pytest.mark.parametrize("seed", range(10))
def test_parted_pulls_hold_all_and_nothing_floats(seed: int) -> None:
    pieces = panels(random.Random(seed), 9)
    layout = pack_quick(pieces, Sheet("roll", 60 * INCH), 0.004)
    parted = layout_apart(layout, 0.004)
    apart = parted.pulls
    assert_can_be_cut(parted, pieces, 0.004)
    assert parted.length_m <= layout.length_m - 0.004 * (len(apart) - 1) + 1e-9
    for pull in apart:
        for each in pull.placed:
            for down, left in ((0.001, 0.0), (0.0, 0.001)):
                moved = laid(
                    each.piece, each.along_m - down, each.across_m - left, turned=each.turned
                )
                others = tuple(other for other in pull.placed if other is not each)
                one = Layout((Pull(pull.sheet, pull.length_m, (*others, moved)),), 0, 0, False)
                with pytest.raises(Unreconciled):
                    check_layout(one, [other.piece for other in pull.placed], 0.004)
