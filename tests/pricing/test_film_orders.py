"""What to order, by hand, and against shops whose use is known."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.errors import Unavailable
from analysis.film_tables import FILM_ORDERS
from analysis.pricing.film_orders import (
    cover_weeks,
    film_orders,
    offcut_area_m2,
    roll_area_m2,
    weekly_use,
)
from tests.shops import PLAIN, plain, records_of

DAY = pd.Timestamp("2026-06-28")
# Lead time and safety days of a week each; one job is enough to stock by.
TOML = PLAIN + "[ordering]\nlead_days = 7\nsafety_days = 7\n[pricing]\nfewest_jobs = 2\n"
JOB = "job_id | status | quoted_on | finished_on | service | make | model | vehicle_class | film |"
JOB += " quoted_hours | quoted_price | quoted_film_area"
BOUGHT = "invoice|received_on|supplier|item|kind|roll_width|roll_length|quantity|unit_price"
CUT = "cut_id | cut_on | job_id | film | source | pulled_length | pulled_width |"
CUT += " kept_length | kept_width"
QUOTE = "quote_id | quoted_on | service | make | model | quoted_price | outcome | job_id"


def table(head: str, *rows: str) -> str:
    return "\n".join([head, *rows])


def orders(folder: Path, toml: str = TOML, day: pd.Timestamp = DAY, **tables: str) -> dict:
    records = records_of(folder / "shop", toml, **tables)
    found = film_orders(cost_records(records, day), records, day)
    assert isinstance(found, pd.DataFrame)
    assert list(found.columns) == FILM_ORDERS.inside_names
    rows = [{key: plain(value) for key, value in row.items()} for row in found.to_dict("records")]
    return {row["film"]: row for row in rows}


def roofs(film: str = "F", first: str = "2026-04-06", count: int = 6, size: int = 2) -> dict:
    """A roof of that film every second week: `size` m² each, one job and one cut a roof."""
    days = [pd.Timestamp(first) + pd.Timedelta(weeks=2 * at) for at in range(count)]
    jobs = [
        f"{film}{at} | finished | {day.date()} | {day.date()} | roof | Quillon | Heron |"
        f" compact car | {film} | 2 | 300 |"
        for at, day in enumerate(days)
    ]
    cuts = [
        f"{film}{at} | {day.date()} | {film}{at} | {film} | roll | {size} | 1 | |"
        for at, day in enumerate(days)
    ]
    return {"jobs": table(JOB, *jobs), "cuts": table(CUT, *cuts)}


def bought(*rows: str) -> str:
    return table(BOUGHT, *rows)


def test_a_roll_is_ordered_once_the_stock_has_fallen(tmp_path: Path) -> None:
    """Twelve weeks, six roofs of 2 m²: 1 m² a week. Reorder at 2 m²; up to 3 m² in rolls of 1.5."""
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 14 | 1 | 140",
                       "B | 2026-04-06 | S | F | film | 0.5 | 3 | 2 | 30")  # fmt: skip
    enough = bought("A | 2026-04-06 | S | F | film | 1 | 14.1 | 1 | 141")
    (row,) = orders(
        tmp_path, purchases=bought("A|2026-04-06|S|F|film|1|14|1|140"), **roofs()
    ).values()
    assert row["on_hand_area_m2"] == pytest.approx(2)
    assert row["weekly_area_m2"] == pytest.approx(1)
    assert row["reorder_area_m2"] == pytest.approx(2)
    assert row["cover_weeks"] == pytest.approx(2)
    assert (row["order_rolls"], row["order_cost"]) == (1, pytest.approx(140))
    assert (row["roll_width_m"], row["roll_length_m"]) == (1, 14)
    assert row["reason"] == (
        "2.0 m² on hand is not over 2.0 m²; use is 1.0 m² a week; take off what is on its way "
        "already."
    )
    (row,) = orders(tmp_path / "enough", purchases=enough, **roofs()).values()
    assert (row["order_rolls"], row["order_cost"]) == (0, 0)
    assert row["reason"] == "Enough: 2.1 m² on hand, order at 2.0 m²; use is 1.0 m² a week."
    # Two small rolls bought against one large one: the small one is bought most.
    (row,) = orders(tmp_path / "small", purchases=purchases, **roofs(size=3)).values()
    # 14 + 3 − 18 = −1: the shelf is taken as empty, 1.5 m² a week: 3 + 1.5 in rolls of 1.5.
    assert row["on_hand_area_m2"] == pytest.approx(-1)
    assert (row["roll_width_m"], row["roll_length_m"]) == (0.5, 3)
    assert (row["order_rolls"], row["order_cost"]) == (3, pytest.approx(90))
    assert row["reason"].startswith("More was cut than was bought, by 1.0 m²: count the shelf")
    assert row["cover_weeks"] == 0


def test_the_newest_purchase_prices_the_roll(tmp_path: Path) -> None:
    """Freight and credits are in it; a purchase after the day, and an older size, are not."""
    head = BOUGHT
    purchases = table(
        head,
        "A | 2025-01-06 | S | F | film | 2 | 2 | 5 | 999",
        "B | 2026-05-04 | S | F | film | 1 | 10 | 1 | 100",
        "C | 2026-06-01 | S | F | film | 1 | 12 | 1 | 130",
        "C | 2026-06-01 | S | freight | freight | | | 1 | 20",
        "C | 2026-06-02 | S | F | credit | | | 1 | 6",
        "D | 2026-07-01 | S | F | film | 3 | 12 | 9 | 1",
    )
    (row,) = orders(tmp_path, purchases=purchases, **roofs(size=8)).values()
    assert (row["roll_width_m"], row["roll_length_m"]) == (1, 12)
    assert row["order_rolls"] > 0
    assert row["order_cost"] == pytest.approx(row["order_rolls"] * 144)


def test_offcuts_are_not_on_the_roll(tmp_path: Path) -> None:
    """20 m² bought, 2 of 3 kept, 0.5 of it used: 17 on the roll, 1.5 on the shelf of offcuts."""
    tables = roofs(count=1) | {
        "cuts": table(
            CUT,
            "1 | 2026-04-06 | F0 | F | roll | 3 | 1 | 2 | 1",
            "2 | 2026-04-07 | F0 | F | offcut | 0.5 | 1 | |",
            "3 | 2026-07-07 | F0 | F | roll | 9 | 1 | |",
        )
    }
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 20 | 1 | 200")
    records = records_of(tmp_path / "shop", TOML, purchases=purchases, **tables)
    costing = cost_records(records, DAY)
    assert offcut_area_m2(costing, DAY).to_dict() == {"F": pytest.approx(1.5)}
    assert roll_area_m2(costing, DAY).to_dict() == {"F": pytest.approx(17)}
    assert roll_area_m2(costing, pd.Timestamp("2026-04-06")).to_dict() == {"F": pytest.approx(17)}
    # Consumed: 1 on the sixth, 0.5 on the seventh, over twelve weeks.
    assert weekly_use(costing, DAY)["weekly_area_m2"]["F"] == pytest.approx(1.5 / 12)


def test_waiting_jobs_raise_the_stock_at_which_to_order(tmp_path: Path) -> None:
    """Roofs take 2 m². One open on the sheet, one won without a job: 4 m² over usual 2 m²."""
    tables = roofs()
    tables["jobs"] += (
        "\nO1 | open | 2026-06-20 | | roof | Quillon | Heron | compact car | F | 2 | 300 |"
        "\nO2 | open | 2026-06-20 | | roof | Quillon | Heron | compact car | F | 2 | 300 |"
        "\nO3 | open | 2026-07-20 | | roof | Quillon | Heron | compact car | F | 2 | 300 |"
        "\nO4 | cancelled | 2026-06-20 | | roof | Quillon | Heron | compact car | F | 2 | 300 |"
    )
    # The film of O2 is cut already; nothing of it waits.
    tables["cuts"] += "\n9 | 2026-06-25 | O2 | F | roll | 2 | 1 | |"
    quotes = table(
        QUOTE,
        f"Q1 | {DAY.date()} | roof | Quillon | Stork | 300 | won |",
        "Q2 | 2026-06-22 | roof | Quillon | Crane | 300 | lost |",
        "Q3 | 2026-06-22 | roof | Quillon | Crane | 300 | open |",
        "Q4 | 2026-02-22 | roof | Quillon | Stork | 300 | won |",
        "Q5 | 2026-06-20 | roof | Quillon | Heron | 300 | won |",
        "Q6 | 2026-06-20 | roof | Quillon | Heron | 300 | won | O1",
    )
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 17.5 | 1 | 175")
    (row,) = orders(tmp_path, purchases=purchases, quotes=quotes, **tables).values()
    assert row["on_hand_area_m2"] == pytest.approx(3.5)
    assert (row["waiting_jobs"], row["waiting_area_m2"]) == (2, pytest.approx(4))
    # The safety days' use stays on the shelf when the waiting jobs are cut.
    assert row["reorder_area_m2"] == pytest.approx(4 + row["weekly_area_m2"])
    # Evenly over the two weeks of lead time and safety: 2 m² a week.
    assert row["cover_weeks"] == pytest.approx(1.75)
    assert row["order_rolls"] == 1
    assert "2 waiting jobs (film of 1 guessed) take about 4.0 m²" in row["reason"]


def test_a_later_finished_job_was_waiting_on_the_day(tmp_path: Path) -> None:
    tables = roofs()
    tables["jobs"] += (
        "\nL | finished | 2026-06-20 | 2026-07-02 | roof | Quillon | Heron | compact car | F | 2 |"
        " 300 |"
    )
    tables["cuts"] += "\n9 | 2026-07-01 | L | F | roll | 2 | 1 | |"
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 30 | 1 | 300")
    (row,) = orders(tmp_path, purchases=purchases, **tables).values()
    assert (row["waiting_jobs"], row["waiting_area_m2"]) == (1, pytest.approx(2))
    day = pd.Timestamp("2026-07-05")
    (row,) = orders(tmp_path / "later", day=day, purchases=purchases, **tables).values()
    assert (row["waiting_jobs"], row["waiting_area_m2"]) == (0, 0)


def test_a_waiting_job_without_a_past(tmp_path: Path) -> None:
    """Its quote's film area counts; without one the waiting area is not known, and it is said."""
    job = "\nN | open | 2026-06-20 | | hood | Quillon | Heron | compact car | F | 2 | 300 | "
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 30 | 1 | 300")
    tables = roofs()
    known = tables | {"jobs": tables["jobs"] + job + "5"}
    (row,) = orders(tmp_path / "known", purchases=purchases, **known).values()
    assert (row["waiting_jobs"], row["waiting_area_m2"]) == (1, pytest.approx(5))
    assert row["reorder_area_m2"] == pytest.approx(5 + row["weekly_area_m2"])
    unknown = tables | {"jobs": tables["jobs"] + job}
    (row,) = orders(tmp_path / "unknown", purchases=purchases, **unknown).values()
    assert (row["waiting_jobs"], row["waiting_area_m2"]) == (1, None)
    assert row["reorder_area_m2"] == pytest.approx(2)
    assert "1 waiting job not counted" in row["reason"]


def test_film_used_no_more_is_not_ordered(tmp_path: Path) -> None:
    tables = roofs(first="2024-01-01")
    purchases = bought("A | 2024-01-01 | S | F | film | 1 | 12 | 1 | 120")
    (row,) = orders(tmp_path, purchases=purchases, **tables).values()
    assert (row["on_hand_area_m2"], row["weekly_area_m2"], row["order_rolls"]) == (0, 0, 0)
    assert row["cover_weeks"] is row["reorder_area_m2"] is None
    assert row["reason"] == "Not used in the last 52 weeks."


def test_film_of_few_jobs_is_not_stocked(tmp_path: Path) -> None:
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 2 | 1 | 20")
    (row,) = orders(tmp_path, purchases=purchases, **roofs(count=1)).values()
    assert (row["order_rolls"], row["reorder_area_m2"]) == (0, None)
    assert row["reason"] == "Only 1 job in 12 weeks: buy it for a job, not for the shelf."


def test_film_under_four_weeks_old_has_no_usual_use(tmp_path: Path) -> None:
    tables = roofs(first="2026-06-08", count=2)
    purchases = bought("A | 2026-06-08 | S | F | film | 1 | 4 | 1 | 40")
    (row,) = orders(tmp_path, purchases=purchases, **tables).values()
    assert row["weekly_area_m2"] is row["cover_weeks"] is None
    assert (row["order_rolls"], row["on_hand_area_m2"]) == (0, 0)
    assert row["reason"] == "Under four weeks of records: too few to stock it by."


def test_film_never_bought_has_no_roll(tmp_path: Path) -> None:
    purchases = bought("A | 2026-04-06 | S | G | film | 1 | 4 | 1 | 40")
    found = orders(tmp_path, purchases=purchases, **roofs())
    row = found["F"]
    assert row["on_hand_area_m2"] == pytest.approx(-12)
    assert row["order_rolls"] is row["order_cost"] is row["roll_width_m"] is None
    assert "never bought" in row["reason"]
    assert found["G"]["order_rolls"] == 0


def test_without_any_cut_it_cannot_be_told(tmp_path: Path) -> None:
    jobs = table(JOB, "A | finished | 2026-04-06 | 2026-04-06 | tint | Q | H | | | 1 | 1 |")
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 4 | 1 | 40")
    records = records_of(tmp_path / "shop", TOML, jobs=jobs, purchases=purchases)
    found = film_orders(cost_records(records, DAY), records, DAY)
    assert isinstance(found, Unavailable)
    assert found.result == "film_orders"


def test_the_shops_units_stand_in_the_reason(tmp_path: Path) -> None:
    """The same shop in square feet, and with a decimal comma."""
    tables = roofs()
    purchases = bought("A | 2026-04-06 | S | F | film | 1 | 14 | 1 | 140")
    feet = TOML.replace('area_unit = "m2"', 'area_unit = "sq ft"')
    (row,) = orders(tmp_path / "feet", feet, purchases=purchases, **tables).values()
    assert row["reason"].startswith("22 sq ft on hand is not over 22 sq ft; use is 11 sq ft a week")
    comma = 'decimal_comma = true\nlocale = "de-DE"\n' + TOML
    (row,) = orders(tmp_path / "comma", comma, purchases=purchases, **tables).values()
    assert row["reason"].startswith("2,0 m² on hand is not over 2,0 m²; use is 1,0 m² a week")


def test_cover_by_hand() -> None:
    """Usual use; waiting jobs that the stock holds; more than it holds; nothing used."""
    frame = pd.DataFrame(
        [(10, 2, 0), (10, 2, 7), (10, 2, 20), (10, 0, 5), (10, 0, 20), (0, 2, 9)],
        columns=["held", "weekly", "waiting"],
        dtype="float64",
    )
    found = cover_weeks(frame["held"], frame["weekly"], frame["waiting"], 2.0)
    np.testing.assert_allclose(found, [5, 2 + 3 / 2, 1, np.nan, 1, 0])


def simulated(folder: Path, films: int, seed: int) -> tuple[Any, float]:
    """Films used by chance: 0.8 cuts a week, 1.5 m² each on average, from a few to a whole car."""
    chance = np.random.default_rng(seed)
    counts = chance.poisson(0.8, (films, 364))
    rows = []
    for film in range(films):
        days = np.repeat(np.arange(364), np.where(chance.random(364) < 1 / 7, counts[film], 0))
        sizes = chance.gamma(1.5, 1.0, len(days))
        rows += [
            f"{film}-{at} | {(DAY - pd.Timedelta(days=int(day))).date()} | | F{film:03d} | roll |"
            f" {max(size, 0.001):.4f} | 1 | |"
            for at, (day, size) in enumerate(zip(days, sizes, strict=True))
        ]
    purchases = [
        f"A | 2025-01-06 | S | F{film:03d} | film | 1 | 99 | 9 | 1" for film in range(films)
    ]
    jobs = table(JOB, "A | finished | 2026-04-06 | 2026-04-06 | tint | Q | H | | | 1 | 1 |")
    records = records_of(
        folder / "shop", jobs=jobs, purchases=bought(*purchases), cuts=table(CUT, *rows)
    )
    return cost_records(records, DAY), 0.8 * 1.5


def test_the_interval_holds_the_known_use(tmp_path: Path) -> None:
    """Of 300 films whose use is known, about nine of ten intervals hold it."""
    costing, known = simulated(tmp_path, 300, 20260628)
    use = weekly_use(costing, DAY)
    assert (use["weeks"] == 52).all()
    holds = (use["weekly_low_m2"] <= known) & (known <= use["weekly_high_m2"])
    assert 0.84 <= holds.mean() <= 0.95
    assert use["weekly_area_m2"].mean() == pytest.approx(known, rel=0.03)
