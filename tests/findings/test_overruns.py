"""What lies behind an overrun, in shops of a few lines with figures worked by hand.

Also the smallest shops: whatever is missing, a review comes out and says what it lacked.
"""

# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.special import stdtrit

from analysis.findings.lessons import LEARNT
from analysis.report.edge import csv_text, to_edge
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.review import review_records
from tests.oracle.hours_shop import Making, write_hours_shop
from tests.shops import edge_rows, only, records_of, reviewed

BOUGHT = "invoice | received_on | supplier | item | kind | quantity | unit_price"
JOBS = "job_id | finished_on | service | make | model | vehicle_class | quoted_hours | quoted_price"
HOURS = "job_id | worked_on | installer | task | hours"


def text(heading: str, rows: list[tuple[Any, ...]]) -> str:
    return "\n".join([heading, *(" | ".join(str(cell) for cell in row) for row in rows)])


def shop(folder: Path, jobs: list[tuple[Any, ...]], hours: list[tuple[Any, ...]]) -> Review:
    """A shop of jobs (id, day, service, make, model, class, quoted hours) and time entries."""
    records = records_of(
        folder,
        jobs=text(JOBS, [(*job, 500) for job in jobs]),
        purchases=BOUGHT,
        hours=text(HOURS, hours),
    )
    return review_records(records, "2026Q1")


# ---- tasks ---------------------------------------------------------------------------------------

THREE_MODELS = (
    [
        ("J1", "2026-01-10", "roof", "Quillon", "Heron", "compact car", 4),
        ("J2", "2026-01-11", "roof", "Quillon", "Heron", "compact car", 2),
        ("J3", "2026-01-12", "roof", "Quillon", "Otter", "minivan", 4),
        ("J4", "2026-01-13", "roof", "Tamsin", "Wren", "large car", 6),
        ("J5", "2026-01-14", "hood", "Tamsin", "Wren", "large car", 3),
        ("J6", "2026-01-15", "roof", "Tamsin", "Wren", "large car", 0),
        ("J7", "2026-01-16", "roof", "Tamsin", "Wren", "large car", 5),
    ],
    [
        ("J1", "2026-01-10", "Ada", "laying", 4),
        ("J1", "2026-01-10", "Ada", "trimming", 2),
        ("J2", "2026-01-11", "Ada", "laying", 2),
        ("J3", "2026-01-12", "Ada", "laying", 3),
        ("J3", "2026-01-12", "Bo", "trimming", 1),
        ("J4", "2026-01-13", "Bo", "laying", 4),
        ("J4", "2026-01-13", "Bo", "trimming", 1),
        ("J4", "2026-01-13", "Bo", "", 1),
        ("J5", "2026-01-14", "Bo", "laying", 9),
        ("J6", "2026-01-15", "Bo", "laying", 9),
        ("J7", "2026-01-16", "Bo", "", 5),
    ],
)


def test_which_task_the_overrun_sits_in(tmp_path: Path) -> None:
    """The roof of the Heron takes 0.7 h of laying a quoted hour elsewhere: (3 + 4) ÷ (4 + 6)."""
    rows = edge_rows(shop(tmp_path, *THREE_MODELS))["overrun_by_task"]
    laying = only(rows, model="Heron", task="laying")
    assert (laying["jobs"], laying["hours"]) == (2, 6)
    assert laying["usual_hours"] == pytest.approx((4 + 2) * 0.7)
    assert laying["over_hours"] == pytest.approx(6 - 4.2)
    trimming = only(rows, model="Heron", task="trimming")
    assert trimming["hours"] == 2
    assert trimming["usual_hours"] == pytest.approx((4 + 2) * 2 / 10)
    # One line over by 4 − 2.8, the other by 2 − 1.4: a spread of 0.6 ÷ √2, Student's 90 % interval
    # of one degree of freedom (6.3138: common tables of the distribution).
    half = 6.3138 * 0.6 / np.sqrt(2) * np.sqrt(2)
    assert laying["low_hours"] == pytest.approx(1.8 - half, abs=1e-3)
    assert laying["high_hours"] == pytest.approx(1.8 + half, abs=1e-3)
    assert float(stdtrit(1, 0.95)) == pytest.approx(6.3138, abs=1e-4)


def test_lines_without_their_like_or_their_task_are_not_held_against_others(tmp_path: Path) -> None:
    """No other model had a hood; a quote of 0 h and a line without tasks say nothing."""
    rows = edge_rows(shop(tmp_path, *THREE_MODELS))["overrun_by_task"]
    wren = only(rows, model="Wren", task="laying")
    assert (wren["jobs"], wren["hours"]) == (1, 4)
    # Heron and Otter: 4 + 2 + 3 of laying for 10 quoted hours.
    assert wren["usual_hours"] == pytest.approx(6 * 9 / 10)
    assert wren["low_hours"] is wren["high_hours"] is None
    assert wren["enough"] is False
    otter = only(rows, model="Otter", task="trimming")
    assert otter["usual_hours"] == pytest.approx(4 * (2 + 1) / (4 + 2 + 6))
    assert len(rows) == 3 * 2


def test_without_tasks_it_is_said(tmp_path: Path) -> None:
    jobs, hours = THREE_MODELS
    review = shop(tmp_path, jobs, [(*entry[:3], "", entry[4]) for entry in hours])
    (line,) = [each.line for each in review.unavailable() if each.result == "overrun_by_task"]
    assert "task" in line


# ---- the jobs that pull --------------------------------------------------------------------------


def with_slip(folder: Path, actual: float | None) -> dict[str, list[dict[str, Any]]]:
    """A shop of 80 lines, and one more roof on Model 05 quoted at 1.25 h, if `actual` is given."""
    write_hours_shop(folder, 3, Making(lines=80, models=8, days=80, noise_sd=0.12))
    if actual is not None:
        job = "J9999,2026-03-01,2026-03-02,2026-03-20,roof,Quillon,Model 05,{},1.25,125\n"
        of_class = (folder / "jobs.csv").read_text(encoding="utf-8").split("Model 05,")[1]
        with (folder / "jobs.csv").open("a", encoding="utf-8") as file:
            file.write(job.format(of_class.split(",")[0]))
        with (folder / "hours.csv").open("a", encoding="utf-8") as file:
            file.write(f"J9999,2026-03-20,Ada,laying,{actual}\n")
    return edge_rows(
        review_records(records_of(folder, (folder / "shop.toml").read_text()), "2026Q1")
    )


@pytest.fixture(scope="module")
def slip(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[dict[str, Any]]]:
    """12 h written for 1.2 h."""
    return with_slip(tmp_path_factory.mktemp("slip"), 12)


def test_an_absurd_entry_comes_first_and_is_held_back(
    tmp_path: Path, slip: dict[str, list[dict[str, Any]]]
) -> None:
    """Off by a factor of ten, and its model hardly moves."""
    without = with_slip(tmp_path / "without", None)
    right = with_slip(tmp_path / "right", 1.2)
    first = slip["jobs_that_pull"][0]
    assert (first["job_id"], first["held_back"], first["actual_hours"]) == ("J9999", True, 12)
    assert first["expected_hours"] == pytest.approx(1.3, abs=0.4)
    assert first["pull_pct"] > 0
    assert not any(row["held_back"] for row in right["jobs_that_pull"] if row["job_id"] == "J9999")

    def overrun(rows: dict[str, list[dict[str, Any]]]) -> float:
        return only(rows["hours_by_model"], model="Model 05")["pooled_overrun_pct"]

    # Five lines, one of them as far off as is counted: it moves by less than the noise of one job,
    # where the plain ratio of sums moves by tens of points.
    assert abs(overrun(slip) - overrun(without)) < 8
    plain = [
        only(rows["hours_by_model"], model="Model 05")["overrun_pct"] for rows in (without, slip)
    ]
    assert plain[1] - plain[0] > 40
    noise = [
        only(rows["hours_spread"], part="job to job")["spread_pct"] for rows in (without, slip)
    ]
    assert noise[1] < 1.3 * noise[0]


def test_the_facts_of_the_jobs_that_pull_are_those_of_their_lines(
    slip: dict[str, list[dict[str, Any]]],
) -> None:
    rows = slip
    facts = ("finished_on", "service", "make", "model", "quoted_hours", "actual_hours")
    assert len(rows["jobs_that_pull"]) == 25
    pulls = [abs(np.log1p(row["pull_pct"] / 100)) for row in rows["jobs_that_pull"]]
    assert pulls == sorted(pulls, reverse=True)
    for row in rows["jobs_that_pull"]:
        line = only(rows["job_costs"], job_id=row["job_id"], line=row["line"])
        assert {name: row[name] for name in facts} == {name: line[name] for name in facts}


# ---- what spreads the hours ----------------------------------------------------------------------


def test_the_spread_names_its_parts(tmp_path: Path) -> None:
    write_hours_shop(tmp_path, 1, Making(lines=90, models=9, days=80))
    rows = edge_rows(review_records(records_of(tmp_path, (tmp_path / "shop.toml").read_text())))
    spread = {row["part"]: row for row in rows["hours_spread"]}
    assert list(spread) == ["vehicle model", "vehicle class", "person", "job to job"]
    levels = [spread[part]["levels"] for part in ("vehicle model", "person", "job to job")]
    assert levels == [9, 4, 90]
    assert all(row["note"] in (None, "") for row in spread.values())
    for row in spread.values():
        assert 0 <= row["low_pct"] < row["high_pct"]


def many(number: int, **same: str) -> tuple[list[tuple[Any, ...]], list[tuple[Any, ...]]]:
    """A shop of some jobs in which all that is in `same` is the same on every one of them."""
    jobs, hours = [], []
    for at in range(number):
        day = f"2026-{1 + at // 28:02d}-{1 + at % 28:02d}"
        model, vehicle_class = (
            ("Heron", "compact car"),
            ("Otter", "minivan"),
            ("Stoat", "large car"),
        )[at % 3]
        service = same.get("service", ("roof", "hood")[at % 2])
        model = same.get("model", model)
        vehicle_class = same.get("vehicle_class", vehicle_class)
        jobs.append((f"J{at}", day, service, "Quillon", model, vehicle_class, 4))
        person = same.get("installer", ("Ada", "Bo")[at // 2 % 2])
        hours.append((f"J{at}", day, person, "laying", 4 + (at * 7 % 5) / 4))
    return jobs, hours


@pytest.mark.parametrize(
    ("same", "parts", "words"),
    [
        (
            {"installer": "Ada"},
            ["vehicle model", "vehicle class", "job to job"],
            ["Fewer than two people"],
        ),
        (
            {"model": "Heron", "vehicle_class": "compact car"},
            ["person", "job to job"],
            ["One vehicle model only", "One vehicle class only"],
        ),
        (
            {"vehicle_class": "minivan"},
            ["vehicle model", "person", "job to job"],
            ["One vehicle class only"],
        ),
    ],
)
def test_a_part_that_cannot_be_told_is_named(
    tmp_path: Path, same: dict[str, str], parts: list[str], words: list[str]
) -> None:
    rows = edge_rows(shop(tmp_path, *many(24, **same)))["hours_spread"]
    assert [row["part"] for row in rows] == parts
    notes = " ".join(row["note"] or "" for row in rows)
    for word in words:
        assert word in notes


def test_with_hardly_more_lines_than_services_there_is_one_mean(tmp_path: Path) -> None:
    jobs, hours = many(9)
    jobs = [(*job[:2], f"service {at % 5}", *job[3:]) for at, job in enumerate(jobs)]
    rows = edge_rows(shop(tmp_path, jobs, hours))
    assert "one mean for all" in " ".join(row["note"] or "" for row in rows["hours_spread"])
    assert all(row["pooled_overrun_pct"] is not None for row in rows["hours_by_service"])


# ---- the smallest shops --------------------------------------------------------------------------


def assert_whole(review: Review) -> dict[str, list[dict[str, Any]]]:
    """Every table is there or says in a sentence why not, and can be written down."""
    assert review.results.keys() == RESULT_TABLES.keys()
    for each in review.unavailable():
        assert each.result in RESULT_TABLES
        assert each.missing
        assert each.line.endswith(".")
        assert len(each.line) > 20
    missing = {each.result for each in review.unavailable()}
    for table in (table for name, table in RESULT_TABLES.items() if name not in missing):
        edge = to_edge(review.frame(table.name), table, review.settings)
        assert csv_text(edge, table).count("\n") >= len(edge) + 1
    return edge_rows(review)


@pytest.mark.parametrize("number", [1, 3, 8])
@pytest.mark.parametrize(
    "same",
    [
        {},
        {"installer": "Ada"},
        {"installer": "Ada", "model": "Heron", "vehicle_class": "compact car", "service": "roof"},
        {"vehicle_class": ""},
    ],
)
def test_tiny_shops_come_out(tmp_path: Path, number: int, same: dict[str, str]) -> None:
    review = shop(tmp_path, *many(number, **same))
    rows = assert_whole(review)
    lacking = {each.result for each in review.unavailable()}
    models = rows["hours_by_model"]
    if number < 6:
        assert set(LEARNT) - {"overrun_by_task"} <= lacking
        assert {row["pooled_overrun_pct"] for row in models} == {None}
        assert {row["flagged"] for row in models} == {None}
    if number == 8:
        assert all(row["low_pct"] < row["pooled_overrun_pct"] < row["high_pct"] for row in models)
    assert "quote_calibration" in lacking


@pytest.mark.parametrize("number", [1, 8])
def test_shops_with_job_sheets_alone_come_out(tmp_path: Path, number: int) -> None:
    """No hours table: the hours, and perhaps the crew, stand on the job sheet."""
    jobs, hours = many(number)
    sheets = [(*job, 500, entry[4]) for job, entry in zip(jobs, hours, strict=True)]
    for crew in ("", "Ada; Bo"):
        records = records_of(
            tmp_path / (crew or "none"),
            jobs=text(f"{JOBS} | hours | crew", [(*row, crew) for row in sheets]),
            purchases=BOUGHT,
        )
        review = review_records(records, "2026Q1")
        rows = assert_whole(review)
        assert "overrun_by_task" in {each.result for each in review.unavailable()}
        if number >= 8:
            assert all(row["pooled_overrun_pct"] is not None for row in rows["hours_by_model"])


def test_without_any_hours_it_is_said(tmp_path: Path) -> None:
    records = records_of(
        tmp_path, jobs=text(JOBS, [(*job, 500) for job in many(30)[0]]), purchases=BOUGHT
    )
    review = review_records(records, "2026Q1")
    assert_whole(review)
    lacking = {each.result: each.line for each in review.unavailable()}
    assert set(LEARNT) <= set(lacking)
    assert "hours" in lacking["hours_spread"]


# ---- what counts ---------------------------------------------------------------------------------


def test_a_quote_of_no_hours_and_a_redo_change_no_estimate(tmp_path: Path) -> None:
    jobs, hours = many(30)
    plain = edge_rows(shop(tmp_path / "plain", jobs, hours))
    job = ("X1", "2026-02-20", "roof", "Quillon", "Heron", "compact car", 0)
    more = edge_rows(
        shop(tmp_path / "more", [*jobs, job], [*hours, ("X1", "2026-02-20", "Ada", "laying", 3)])
    )
    heron = [only(rows["hours_by_model"], model="Heron") for rows in (plain, more)]
    for name in ("pooled_overrun_pct", "low_pct", "high_pct", "jobs_to_date"):
        assert heron[0][name] == heron[1][name]
    assert heron[1]["actual_hours"] == heron[0]["actual_hours"] + 3
    redo = records_of(
        tmp_path / "redo",
        jobs=text(f"{JOBS} | redo_of", [(*job, 500, "") for job in jobs] + [(*job, 0, "J1")]),
        purchases=BOUGHT,
        hours=text(HOURS, [*hours, ("X1", "2026-02-20", "Ada", "laying", 3)]),
    )
    done_over = only(edge_rows(review_records(redo, "2026Q1"))["hours_by_model"], model="Heron")
    assert done_over["pooled_overrun_pct"] == heron[0]["pooled_overrun_pct"]


def test_a_model_without_a_class_and_one_of_two_classes(tmp_path: Path) -> None:
    """A new body moved the Heron to another class; nobody wrote down the class of the Otter."""
    jobs, hours = many(30)
    changed = []
    for at, job in enumerate(jobs):
        heron = "midsize car" if at >= 15 else "compact car"
        vehicle_class = {"Heron": heron, "Otter": "", "Stoat": job[5]}[job[4]]
        changed.append((*job[:5], vehicle_class, job[6]))
    rows = assert_whole(shop(tmp_path, changed, hours))
    heron, otter = (only(rows["hours_by_model"], model=name) for name in ("Heron", "Otter"))
    assert heron["jobs_to_date"] == otter["jobs_to_date"] == 10
    assert otter["low_pct"] < otter["pooled_overrun_pct"] < otter["high_pct"]
    levels = {row["part"]: row["levels"] for row in rows["hours_spread"]}
    # A model is a level within its class: the Heron is two.
    assert (levels["vehicle model"], levels["vehicle class"]) == (4, 4)
    classes = {row["vehicle_class"]: row["jobs_to_date"] for row in rows["hours_by_class"]}
    assert classes == {"compact car": 5, "midsize car": 5, "large car": 10, None: 10}
    quotes = {
        (row["vehicle_class"], row["service"]): row["jobs"]
        for row in rows["next_quotes"]
        if row["model"] == "Heron"
    }
    assert sum(quotes.values()) == 10
    assert {vehicle_class for vehicle_class, _ in quotes} == {"compact car", "midsize car"}


def test_the_quarter_before_holds_sums_only(tmp_path: Path) -> None:
    jobs, hours = many(56)
    before = [(f"B{job[0]}", job[1].replace("2026", "2025"), *job[2:]) for job in jobs]
    more = [(f"B{row[0]}", row[1].replace("2026", "2025"), *row[2:]) for row in hours]
    moved = [
        (*row[:1], row[1].replace("-01-", "-11-").replace("-02-", "-12-"), *row[2:])
        for row in before
    ]
    worked = [
        (*row[:1], row[1].replace("-01-", "-11-").replace("-02-", "-12-"), *row[2:]) for row in more
    ]
    review = shop(tmp_path, [*moved, *jobs], [*worked, *hours])
    assert not set(LEARNT) & set(review.previous)
    models = review.previous["hours_by_model"]
    assert models["jobs"].sum() == 56
    assert models["pooled_overrun_share"].isna().all()
    assert models["flagged"].isna().all()


def test_a_model_without_a_job_in_the_quarter_keeps_its_estimate(tmp_path: Path) -> None:
    """Hours to date stand beside those of the quarter."""
    jobs, hours = many(30)
    old = [("O1", "2025-12-10", "roof", "Tamsin", "Wren", "large car", 4, 500)]
    rows = reviewed(
        tmp_path,
        "2026Q1",
        jobs=text(JOBS, [*old, *((*job, 500) for job in jobs)]),
        purchases=BOUGHT,
        hours=text(HOURS, [("O1", "2025-12-10", "Ada", "laying", 5), *hours]),
    )
    wren = only(rows["hours_by_model"], model="Wren")
    assert (wren["jobs"], wren["jobs_to_date"]) == (0, 1)
    assert wren["overrun_pct"] is None
    assert wren["low_pct"] < wren["pooled_overrun_pct"] < wren["high_pct"]
