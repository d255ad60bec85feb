"""Overhead charged to jobs, the job cost sheet, and over- and under-absorption."""

from __future__ import annotations

import pandas as pd

from analysis.costing.jobs import cost_records
from analysis.costing.labour import loaded_rate
from analysis.periods import Quarter
from analysis.settings import Fees, Labour, Settings
from tests.reference.published import Figures, published
from tests.reference.sources import BLS, FEE_CAP, OPENSTAX_1, OPENSTAX_2
from tests.shops import amounts, only, records_of, reviewed

TOML = """
length_unit = "m"
area_unit = "m2"
[labour]
default_wage = 15
"""
JOB = """
    job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours | crew
    J | 2026-03-31 | sign | m | n | 4 | 2000 | {hours} | {crew}"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | quantity | unit_price
    A | 2026-01-05 | S | paint | consumable | 1 | {consumables}"""

FILM = """
    B | 2026-01-06 | S | F | film | 1 | 10 | 1 | 1"""


@published(OPENSTAX_2, "section 6.1, recording devices")
def test_single_rate_absorption(figures: Figures) -> None:
    """2,500,000 over 1,250,000 hours."""
    result = reviewed(
        figures.folder,
        "2026Q1",
        TOML,
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours
            S | 2026-03-31 | Solo | m | n | 1 | 2800000 | 350000
            B | 2026-03-31 | Band | m | n | 1 | 2500000 | 400000
            O | 2026-03-31 | Orchestra | m | n | 1 | 7500000 | 500000""",
        purchases=BOUGHT.format(consumables=0),
        overheads="month | category | amount\n2026-01 | all | 2500000",
        capacity="month | installer_hours\n2026-01 | 1250000",
    )
    hours = {"Solo": 350_000, "Band": 400_000, "Orchestra": 500_000}
    units = {"Solo": 140_000, "Band": 100_000, "Orchestra": 250_000}
    cost = {row["service"]: row["overhead_cost"] for row in result["margin_by_service"]}
    assert set(cost) == set(units)
    for name, each in {"Solo": 5, "Band": 8, "Orchestra": 4}.items():
        figures.add(f"Overhead an hour, {name}", cost[name] / hours[name], "2.00")
        figures.add(f"Overhead of a unit, {name}", cost[name] / units[name], each)


@published(OPENSTAX_2, "sections 4.4 and 4.5, the sign")
def test_job_cost_sheet(figures: Figures) -> None:
    """The source charges 2.50 a labour dollar; here the same 165 stands on the hours.

    Four hours, of which two at 15 and two at 18, so 41.25 an hour.
    """
    result = reviewed(
        figures.folder,
        "2026Q1",
        TOML,
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | film
            J | 2026-03-31 | sign | m | n | 4 | 2000 |""",
        cuts="""
            cut_id | cut_on | job_id | film | pulled_length | pulled_width
            1 | 2026-03-01 | another | F | 1 | 1""",
        hours="""
            job_id | worked_on | installer | hours
            J | 2026-03-30 | Ann | 1
            J | 2026-03-31 | Ann | 1
            J | 2026-03-31 | Bea | 2""",
        rates="""
            installer | effective_from | wage
            Ann | 2026-01-01 | 15
            Bea | 2026-01-01 | 18""",
        purchases=BOUGHT.format(consumables=700) + FILM,
        overheads="month | category | amount\n2026-01 | all | 165",
        capacity="month | installer_hours\n2026-01 | 4",
    )
    job = only(result["job_costs"], job_id="J")
    parts = [job[f"{each}_cost"] for each in ("consumables", "labour", "overhead")]
    for name, ours, theirs in zip(
        ("Material", "Labour", "Overhead"), parts, (700, 66, 165), strict=True
    ):
        figures.add(f"{name} of the sign", ours, theirs)
    figures.add("Cost of the sign", sum(parts), 931)
    lines = amounts(result)
    figures.add("Margin of the sign", lines["contribution"] - lines["overhead_on_jobs"], 1069)


@published(OPENSTAX_2, "section 4.5, four jobs of a month")
def test_jobs_of_a_month_by_status(figures: Figures) -> None:
    """2.50 of overhead a labour dollar: here 37.50 an hour, the wage being 15.

    What two jobs had cost before the month is film pulled before it; of one an hour too, at 52.50,
    as a job without any hours has no cost.
    """
    jobs = {"POR143": (200, 150), "MAC001": (700, 66), "TRJ441": (500, 150), "SWM505": (0, 0)}
    opening = {"POR143": 1000, "SWM505": 1531}
    pulled = [("2025-12-10", "POR143", 1000.0), ("2025-12-11", "SWM505", 1531 - 52.5)]
    pulled += [("2026-01-10", job, material) for job, (material, _) in jobs.items() if material]
    cuts = "cut_id | cut_on | job_id | film | pulled_length | pulled_width"
    for at, (day, job, area) in enumerate(pulled):
        cuts += f"\n{at} | {day} | {job} | F | {area} | 1"
    hours = "job_id | worked_on | installer | hours\nSWM505 | 2025-12-11 | Ann | 1"
    hours += "".join(
        f"\n{job} | 2026-01-12 | Ann | {paid / 15}" for job, (_, paid) in jobs.items() if paid
    )
    sheet = "job_id | status | finished_on | service | make | model | quoted_hours | quoted_price"
    for job in jobs:
        done = "open |" if job == "TRJ441" else "finished | 2026-01-31"
        sheet += f"\n{job} | {done} | sign | m | n | 1 | 9000"
    result = reviewed(
        figures.folder,
        "2026Q1",
        TOML,
        jobs=sheet,
        cuts=cuts,
        hours=hours,
        purchases="""
            invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width |
            roll_length
            A | 2025-12-01 | S | F | film | 1 | 9000 | 1 | 9000
            B | 2026-01-02 | S | paint | consumable | 1 | 0 | |""".replace("|\n", "|"),
        overheads="month | category | amount\n2026-01 | all | 3750",
        capacity="month | installer_hours\n2026-01 | 100",
    )
    for job, theirs in (("POR143", 1725), ("MAC001", 931), ("SWM505", 1531)):
        row = only(result["job_costs"], job_id=job)
        cost = row["film_cost"] + row["labour_cost"] + row["overhead_cost"]
        figures.add(f"Cost of job {job}", cost, theirs)
    lines = amounts(result)
    # Of work under way at the beginning, two jobs were finished: it comes back in this line.
    under_way = lines["work_on_cancelled_and_open_jobs"] + sum(opening.values())
    figures.add("Work in process at the end of the month", under_way, 1025)
    applied = 3750 - lines["unused_capacity"]
    figures.add("Overhead applied in the month", applied, 915)


@published(OPENSTAX_2, "section 4.6, the sign company")
def test_overheads_not_absorbed_stand_as_one_line(figures: Figures) -> None:
    """The rate is set on the twelve months; the quarter's own overheads differ from it."""
    for paid, under in ((256_500, 6500), (248_000, -2000)):
        earlier = 4 * 250_000 - paid
        result = reviewed(
            figures.folder / str(paid),
            "2026Q4",
            TOML,
            jobs=JOB.format(hours=100_000, crew="").replace("2026-03-31", "2026-12-31"),
            purchases=BOUGHT.format(consumables=0),
            overheads=f"month|category|amount\n2026-01|all|{earlier}\n2026-12|all|{paid}",
            capacity="month | installer_hours\n2026-01 | 300000\n2026-12 | 100000",
        )
        lines = amounts(result)
        figures.add(f"Overhead applied, paid {paid:,}", lines["overhead_on_jobs"], 250_000)
        assert abs(lines["unused_capacity"]) < 1e-6
        what = f"Under-applied, paid {paid:,} (over-applied is negative)"
        figures.add(what, lines["overhead_rate_difference"], under)


@published(OPENSTAX_2, "section 10.4, three product lines")
def test_segments_and_common_cost(figures: Figures) -> None:
    """Boots, equipment and clothing as services: what varies is film and wages.

    75,000 of direct fixed cost each are consumables, spread over the hundred hours of each line.
    """
    lines = {
        "boots": (1_150_000, 423_000, 195_000, 532_000, 457_000),
        "equipment": (1_540_000, 507_000, 130_000, 903_000, 828_000),
        "clothing": (1_354_000, 378_000, 147_000, 829_000, 754_000),
    }
    jobs = "job_id | finished_on | service | make | model | quoted_hours | quoted_price | hours |"
    jobs += " crew | film"
    rates = "installer | effective_from | wage"
    bought = "invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width |"
    bought += " roll_length\nA | 2026-01-05 | S | paint | consumable | 1 | 225000 | |"
    cuts = "cut_id | cut_on | job_id | film | pulled_length | pulled_width"
    for name, (sales, film, wages, _, _) in lines.items():
        jobs += f"\n{name} | 2026-03-31 | {name} | m | n | 1 | {sales} | 100 | {name} | {name}"
        rates += f"\n{name} | 2026-01-01 | {wages / 100}"
        bought += f"\nB | 2026-01-05 | S | {name} | film | 1 | {film} | 1 | 10"
        cuts += f"\n{name} | 2026-03-01 | {name} | {name} | 10 | 1"
    result = reviewed(
        figures.folder,
        "2026Q1",
        TOML,
        jobs=jobs,
        rates=rates,
        purchases=bought,
        cuts=cuts,
        overheads="month | category | amount\n2026-01 | all | 1581000",
        capacity="month | installer_hours\n2026-01 | 300",
    )
    for name, (*_, contribution, margin) in lines.items():
        row = only(result["margin_by_service"], service=name)
        left = row["net_revenue"] - row["film_cost"] - row["labour_cost"]
        figures.add(f"Contribution of {name}", left, contribution)
        figures.add(f"Segment margin of {name}", row["contribution"], margin)
    statement = amounts(result)
    figures.add("Segment margins together", statement["contribution"], 2_039_000)
    figures.add("Operating income", statement["result"], 458_000)


def loaded(wage: float, on_cost: float) -> float:
    """What an hour of a plain wage costs with what comes on top."""
    entries = pd.DataFrame(
        {"installer": ["Ann"], "worked_on": [pd.Timestamp("2026-01-02")], "overtime": [False]}
    )
    rates = pd.DataFrame(
        {"installer": ["Ann"], "effective_from": [pd.Timestamp("2026-01-01")], "wage": [wage]}
    )
    (rate,) = loaded_rate(entries, rates, Labour(on_cost=on_cost))
    return float(rate)


@published(BLS, "private industry, an hour worked: total, wages, benefits")
def test_compensation_of_an_hour(figures: Figures) -> None:
    """Benefits ÷ wages as the on-cost."""
    for when, total, wages, benefits in (
        ("June 2025", "45.65", 32.07, 13.58),
        ("December 2024", "44.67", 31.47, 13.20),
    ):
        ours = loaded(wages, benefits / wages)
        figures.add(f"Hour with what comes on top, {when}, $", ours, total, 0.005)


@published(OPENSTAX_1, "section 12.5, payroll tax: 6.2 and 1.45 % (26 U.S.C. 3111)")
def test_employers_payroll_tax(figures: Figures) -> None:
    """Below the wage base, which the package does not know: a tax on every hour's wage."""
    tax = loaded(40_000, 0.062 + 0.0145) - 40_000
    figures.add("Tax on wages of 40,000, $", tax, "3,060.00", 0.005, seen="recomputed")


@published(FEE_CAP, "21 cents, 5 basis points and 1 cent", "recomputed")
def test_fee_of_a_regulated_debit_card(figures: Figures) -> None:
    records = records_of(
        figures.folder,
        "[fees]\ncard_percent = 0.05\ncard_fixed = 0.22",
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price | payment
            J | 2026-03-31 | sign | m | n | 4 | 1000 | card""",
        purchases=BOUGHT.format(consumables=1),
    )
    assert records.settings == Settings(fees=Fees(card_percent=0.05, card_fixed=0.22))
    (fee,) = cost_records(records, Quarter(2026, 1).last_day).lines["payment_fee"]
    figures.add("Fee of a payment of 1,000, $", fee, "0.72")
