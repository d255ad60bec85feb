"""Variances and the bridge against worked examples of textbooks.

The sources count what cost more as positive; here favourable is positive, so every cost variance
has the other sign. Material examples are film of one job line, labour examples its hours, variable
overhead its consumables. Where a source takes the price variance on what was bought and not on
what was used, it agrees only where both are equal.
"""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from itertools import product
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.findings.bridge import symmetrical_effects
from analysis.findings.quote_variances import EFFECTS, job_variances
from analysis.periods import Quarter
from tests.reference.published import Figures, published
from tests.reference.sources import (
    BAMBER,
    CHEMICAL,
    DRURY,
    HEISINGER,
    HORNGREN,
    LPU,
    OPENSTAX_2,
)
from tests.shops import records_of

Q1 = Quarter(2026, 1)
TOML = 'length_unit = "m"\narea_unit = "m2"'
BOUGHT = "invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width"


def variances_of(
    folder: Path,
    *,
    film: tuple[float, float, float, float] = (1, 1, 1, 1),
    labour: tuple[float, float, float, float] = (1, 1, 1, 1),
    variable_rate: float = 0.0,
) -> dict[str, float]:
    """Effects of one job line; unrounded.

    `film` : standard quantity and price, actual quantity and price; `labour` : standard hours and
    rate, actual hours and rate; `variable_rate` : consumables an hour.
    """
    area, area_price, used, used_price = film
    hours, rate, worked, paid = labour
    # An hour of the year before sets the standard rate; consumables are spread over both.
    spent = variable_rate * (worked + 1)
    records = records_of(
        folder,
        TOML,
        jobs=f"""
            job_id | quoted_on | finished_on | service | make | model | film | quoted_hours | quoted_film_area | quoted_price | hours | crew
            before | | 2025-06-30 | box | m | n | | 1 | | 0 | 1 | Usual
            job | 2026-01-10 | 2026-02-10 | box | m | n | F | {hours} | {area} | 0 | {worked} | Now""",
        rates=f"installer|effective_from|wage\nUsual|2025-01-01|{rate}\nNow|2025-01-01|{paid}",
        purchases=f"""
            {BOUGHT} | roll_length | roll_id
            A | 2026-01-01 | S | F | film | 1 | {area_price * used} | 1 | {used} | usual
            B | 2026-01-20 | S | F | film | 1 | {used_price * used} | 1 | {used} | now
            C | 2026-01-20 | S | glue | consumable | 1 | {spent} | | |""",
        cuts=f"""
            cut_id | cut_on | job_id | film | roll_id | pulled_length | pulled_width
            1 | 2026-02-10 | job | F | now | {used} | 1""",
        overheads="month | category | amount\n2026-01 | all | 0",
        capacity="month | installer_hours\n2026-01 | 100",
    )
    lines = job_variances(cost_records(records, Q1.last_day), records, Q1)
    (row,) = lines[lines["job_id"] == "job"][[*EFFECTS, "total"]].to_dict("records")
    return {str(name): float(value) for name, value in row.items()}


# Names of our effects as the sources name them.
NAMES = {
    "film_price": "Material price variance",
    "film_usage": "Material quantity variance",
    "labour_rate": "Labour rate variance",
    "labour_efficiency": "Labour time variance",
    "consumables": "Variable overhead efficiency variance",
    "total": "Total variance",
}


def note(
    figures: Figures, case: str, found: dict[str, float], theirs: dict[str, float | str]
) -> None:
    """Variances with the sign of the sources: what cost more is positive."""
    for effect, each in theirs.items():
        figures.add(f"{NAMES[effect]}: {case}", -found[effect], each)


# --- OpenStax, chapters 7 and 8 -------------------------------------------------------------------


@published(OPENSTAX_2, "section 8.2, candy company")
def test_material_price(figures: Figures) -> None:
    """20 units bought at 6 and at 9, standard 7."""
    for price, theirs in ((6, -20), (9, 40)):
        found = variances_of(figures.folder / str(price), film=(20, 7, 20, price))
        note(figures, f"20 bought at {price}, standard 7", found, {"film_price": theirs})
        assert found["film_usage"] == pytest.approx(0)


@published(OPENSTAX_2, "section 8.2, box of candy")
def test_material_price_and_quantity(figures: Figures) -> None:
    """Standard 0.25 at 7."""
    for used, price, of_price, of_quantity, total in (
        (0.2, 7, "0.00", "-0.35", "-0.35"),
        (0.5, 7, "0.00", "1.75", "1.75"),
        (0.5, 9, "1.00", "1.75", "2.75"),
    ):
        case = f"{used} used at {price}, standard 0.25 at 7"
        found = variances_of(figures.folder / case, film=(0.25, 7, used, price))
        theirs = {"film_price": of_price, "film_usage": of_quantity, "total": total}
        note(figures, case, found, theirs)


@published(OPENSTAX_2, "section 8.2, shampoo")
def test_material_of_a_batch(figures: Figures) -> None:
    """11,000 units of 8 at 0.85; 89,000 used for 74,760."""
    found = variances_of(figures.folder, film=(11_000 * 8, 0.85, 89_000, 74_760 / 89_000))
    note(figures, "shampoo", found, {"film_price": -890, "film_usage": 850, "total": -40})


@published(OPENSTAX_2, "section 8.2, exercise, dress maker", "recomputed")
def test_material_in_yards(figures: Figures) -> None:
    found = variances_of(figures.folder, film=(8_575 * 6, 6.2, 52_000, 325_520 / 52_000))
    theirs = {"film_price": 3120, "film_usage": 3410, "total": 6530}
    note(figures, "dresses, yards of cloth", found, theirs)


@published(OPENSTAX_2, "section 8.3, box of candy")
def test_labour_rate_and_time(figures: Figures) -> None:
    """Standard 0.1 h at 8."""
    for hours, rate, of_rate, of_time, total in (
        (0.1, 7.5, "-0.05", "0.00", "-0.05"),
        (0.1, 9.5, "0.15", "0.00", "0.15"),
        (0.05, 8, "0.00", "-0.40", "-0.40"),
        (0.2, 8, "0.00", "0.80", "0.80"),
        (0.2, 9.5, "0.30", "0.80", "1.10"),
    ):
        case = f"{hours} h at {rate}, standard 0.1 h at 8"
        found = variances_of(figures.folder / case, labour=(0.1, 8, hours, rate))
        theirs = {"labour_rate": of_rate, "labour_efficiency": of_time, "total": total}
        note(figures, case, found, theirs)


@published(OPENSTAX_2, "section 8.4")
def test_variable_overhead_efficiency(figures: Figures) -> None:
    """4,000 for 2,000 budgeted hours. The spending variance has no counterpart here:

    jobs are charged the rate that was paid.
    """
    for hours, theirs in ((2500, 1000), (2000, 0), (1800, -400)):
        found = variances_of(
            figures.folder / str(hours),
            labour=(2000, 10, hours, 10),
            variable_rate=4000 / 2000,
        )
        note(figures, f"{hours:,} h, standard 2,000 h at 2", found, {"consumables": theirs})


@published(OPENSTAX_2, "section 8.4, flexible budget")
def test_flexible_overhead_rate(figures: Figures) -> None:
    """2 an hour and 6,000 fixed, at 90, 100 and 110 % of capacity."""
    for hours, theirs in ((1800, "5.33"), (2000, "5.00"), (2200, "4.73")):
        records = records_of(
            figures.folder / str(hours),
            TOML,
            jobs=f"""
                job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
                J | 2026-02-10 | box | m | n | 1 | 0 | {hours}""",
            purchases=f"{BOUGHT} | roll_length\nA|2026-01-05|S|glue|consumable|1|{2 * hours}||",
            overheads="month | category | amount\n2026-01 | all | 6000",
            capacity=f"month | installer_hours\n2026-01 | {hours}",
        )
        rates = cost_records(records, Q1.last_day).rates[Q1.index]
        rate = rates.overhead_rate + rates.consumables_rate
        figures.add(f"Overhead an hour at {hours:,} h", rate, theirs, 0.005)


@published(OPENSTAX_2, "section 7.4, bicycle trainers")
def test_flexible_budget(figures: Figures) -> None:
    """More units, and a higher price.

    Gross profit 19,000 at 1,000 units of 70, 43,000 at 1,500,
    and 50,500 at 1,500 of 75, with 22 of variable cost a unit and 29,000 of fixed.
    """
    quantity = effects_of([(1000, 70 - 22.0)], [(1500, 70 - 22.0)]).iloc[0]
    figures.add("Gross profit of 500 trainers more", quantity["volume"], 43_000 - 19_000)
    assert quantity.drop("volume").abs().max() == pytest.approx(0)
    price = effects_of([(1500, 70 - 22.0)], [(1500, 75 - 22.0)]).iloc[0]
    figures.add("Gross profit of a price 5 higher", price["price"], 50_500 - 43_000)
    assert price.drop("price").abs().max() == pytest.approx(0)


# --- other textbooks ------------------------------------------------------------------------------


@published(BAMBER, "exercise, boat fenders of extruded vinyl")
def test_boat_fenders_of_extruded_vinyl(figures: Figures) -> None:
    """Its answers were read on public pages; the book itself was not seen."""
    found = variances_of(
        figures.folder,
        film=(210_000 * 8, 1.4, 1_780_000, 1.3),
        labour=(210_000 * 0.024, 12, 4_900, 13),
    )
    theirs = {
        "film_price": -178_000,
        "film_usage": 140_000,
        "labour_rate": 4_900,
        "labour_efficiency": -1_680,
    }
    note(figures, "boat fenders", found, theirs)


@published(HEISINGER, "sections 10.3 to 10.5, ice cream", "from memory")
def test_ice_cream(figures: Figures) -> None:
    """Recomputed. Its price variance is on the 440,000 that were bought and has no counterpart.

    399,000 were used.
    """
    found = variances_of(
        figures.folder,
        film=(210_000 * 2, 1.0, 399_000, 1.2),
        labour=(210_000 * 0.1, 13, 18_900, 15),
        variable_rate=5,
    )
    theirs = {
        "film_usage": -21_000,
        "labour_rate": 37_800,
        "labour_efficiency": -27_300,
        "consumables": -10_500,
    }
    note(figures, "ice cream", found, theirs)


@published(CHEMICAL, "exercise")
def test_two_materials_with_a_standard_loss(figures: Figures) -> None:
    """35 of A at 25 and 65 of B at 36 give 95; 125 of A at 27 and 275 of B at 34 gave 365.

    Quantity is mix (165) and yield (507.63) together: the package does not part them.
    """
    a = variances_of(figures.folder / "A", film=(35 * 365 / 95, 25, 125, 27))
    b = variances_of(figures.folder / "B", film=(65 * 365 / 95, 36, 275, 34))
    for effect, theirs in (
        ("film_price", "-300.00"),
        ("film_usage", "672.63"),
        ("total", "372.63"),
    ):
        what = f"{NAMES[effect]}: chemical mixture, A and B"
        figures.add(what, -(a[effect] + b[effect]), theirs, 0.01)


# --- price, quantity and mix ------------------------------------------------------------------------

Sides = list[tuple[float, float]]  # units and value a unit, of each product


def effects_of(budget: Sides, actual: Sides) -> pd.DataFrame:
    """The bridge's effects from budget to actual, a row a product: all of a value is its price."""
    ends = {"before": np.array(budget, dtype=float), "now": np.array(actual, dtype=float)}
    cells = {}
    for when, sides in ends.items():
        cells[f"jobs_{when}"] = sides[:, 0]
        cells[f"price_{when}"] = cells[f"margin_{when}"] = sides[:, 0] * sides[:, 1]
    return symmetrical_effects(pd.DataFrame(cells))


def as_published(
    budget: Sides, actual: Sides, *, share_of: int = 0, total_of: int = 1, value_of: int = 0
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Price, quantity and mix variance of each product, by the formulas of the sources.

    quantity = change of all units × share × value; mix = all units × change of the share × value;
    price = units × change of the value. The sources take shares and values of the budget (0) and
    units of the actual (1).
    """
    sides = np.array([budget, actual], dtype=float)
    units, values = sides[..., 0], sides[..., 1]
    all_units = units.sum(axis=1)
    shares = units / all_units[:, None]
    price = units[total_of] * (values[1] - values[0])
    quantity = (all_units[1] - all_units[0]) * shares[share_of] * values[value_of]
    mix = all_units[total_of] * (shares[1] - shares[0]) * values[value_of]
    return price, quantity, mix


WINE = ([(1200, 5), (400, 16)], [(1100, 5.5), (700, 15.5)])
THREE = ([(8000, 20), (7000, 12), (5000, 9)], [(6000, 20), (7000, 12), (9000, 9)])
TICKETS = ([(5500, 14), (7000, 3)], [(3200, 14), (6800, 3)])
EXAMPLES = pytest.mark.parametrize("example", [WINE, THREE, TICKETS])


def test_forward_is_the_published_value() -> None:
    """The formulas above give what the sources print.

    Wine (LPU): price and volume read, quantity and mix recomputed. Three products (Drury): total
    read, quantity and mix recomputed. Tickets (Horngren): all four read.
    """
    price, quantity, mix = as_published(*WINE)
    assert (price.sum(), quantity.sum(), mix.sum()) == pytest.approx((200, 1550, 2750))
    assert quantity.sum() + mix.sum() == pytest.approx(4300)
    price, quantity, mix = as_published(*THREE)
    assert quantity == pytest.approx([16_000, 8_400, 4_500])
    assert mix == pytest.approx([-56_000, -8_400, 31_500])
    assert price.sum() + quantity.sum() + mix.sum() == pytest.approx(-4_000)
    _, quantity, mix = as_published(*TICKETS)
    assert quantity == pytest.approx([-15_400, -4_200])
    assert mix == pytest.approx([-16_800, 3_600])


@EXAMPLES
def test_the_bridge_is_the_mean_of_the_published_formulas_either_way(
    example: tuple[Sides, Sides],
) -> None:
    """Weights of the budget and weights of the actual, averaged: neither is preferred."""
    found = effects_of(*example)
    forward_price = as_published(*example, total_of=1)[0]
    backward_price = as_published(*example, total_of=0)[0]
    assert found["price"].tolist() == pytest.approx((forward_price + backward_price) / 2)
    ways = list(product((0, 1), repeat=2))
    quantity = [as_published(*example, share_of=s, value_of=v)[1] for s, v in ways]
    mix = [as_published(*example, total_of=t, value_of=v)[2] for t, v in ways]
    assert found["volume"].tolist() == pytest.approx(np.mean(quantity, axis=0))
    assert found["mix"].tolist() == pytest.approx(np.mean(mix, axis=0))


@published(LPU, "section 8.2, two wines")
def test_the_totals_are_those_of_the_sources(figures: Figures) -> None:
    """The effects are means of both ways, as above; what they add up to is the sources' total."""
    figures.add("Sales variance in all, two wines", effects_of(*WINE).sum().sum(), 4500)
    three = effects_of(*THREE).sum().sum()
    what, where = "Sales margin variance in all, three products", "three products"
    figures.add(what, three, -4000, source=DRURY, place=where)
    tickets = effects_of(*TICKETS).sum().sum()
    where = "lower and upper tier tickets"
    figures.add("Sales variance in all, tickets", tickets, -32_800, source=HORNGREN, place=where)


@EXAMPLES
def test_the_other_way_round_has_the_other_sign(example: tuple[Sides, Sides]) -> None:
    """What the published formulas do not: from actual to budget they give other amounts."""
    budget, actual = example
    there, back = effects_of(budget, actual), effects_of(actual, budget)
    assert back.to_numpy() == pytest.approx(-there.to_numpy())
    forward, backward = as_published(budget, actual)[1], as_published(actual, budget)[1]
    assert backward.sum() != pytest.approx(-forward.sum())
