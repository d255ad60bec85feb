"""The commands as a person runs them: what they write, what they print, how they end."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest

from analysis.cli import main
from analysis.report.folder import write_review
from analysis.result_tables import QUARTER_ONLY, RESULT_TABLES
from analysis.review import run_review
from analysis.schema import Column, Kind
from tests.shops import write_shop
from tests.translation import translated_demo

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data_demo"


def table(out: Path, name: str) -> list[dict[str, str]]:
    with (out / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def reconciles(out: Path) -> None:
    """What must come out on any records: film, and the margins against the job lines."""
    for row in table(out, "film_reconciliation"):
        for unit in ("area", "cost"):
            cells = {name: row[f"{name}_{unit}"] for name in FLOWS}
            if "" in cells.values():
                continue
            amounts = {name: float(cell) for name, cell in cells.items()}
            into = amounts.pop("opening") + amounts.pop("purchased")
            assert into == pytest.approx(sum(amounts.values()), abs=0.05)
    quarter = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["quarter"]
    jobs = [row for row in table(out, "job_costs") if row["quarter"] == quarter]
    for by in ("service", "class", "film"):
        rows = table(out, f"margin_by_{by}")
        for column in ("full_margin", "net_revenue"):
            of_jobs = [row[column] for row in jobs if column == "full_margin" or not row["redo_of"]]
            of_groups = [row[column] for row in rows]
            if "" not in of_jobs and "" not in of_groups:
                total = sum(map(float, of_groups))
                assert total == pytest.approx(sum(map(float, of_jobs)), abs=1)
    counts = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["tables"]
    for each in counts.values():
        assert each["rows_read"] == each["rows_used"] + each["rows_rejected"]


FLOWS = (
    "opening", "purchased", "jobs", "counter_sales", "shop", "unexplained", "closing",
)  # fmt: skip


@pytest.fixture(scope="module")
def demo_out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("demo") / "review"
    assert main(["review", str(DEMO), "--out", str(out)]) == 1
    return out


def test_review_of_the_demo_is_whole_and_reconciles(demo_out: Path) -> None:
    assert json.loads((demo_out / "manifest.json").read_text())["quarter"] == "2026Q3"
    names = {path.stem for path in (demo_out / "tables").iterdir()}
    years = {f"{name}_year" for name in RESULT_TABLES if name not in QUARTER_ONLY}
    assert names == set(RESULT_TABLES) | years
    for name, columns in RESULT_TABLES.items():
        rows = table(demo_out, name)
        assert rows, name
        assert list(rows[0]) == columns.names
    for file in ("index.html", "review.xlsx", "record_findings.csv"):
        assert (demo_out / file).is_file()
    assert {path.stem for path in (demo_out / "rejected").iterdir()} == {"jobs", "hours", "quotes"}
    reconciles(demo_out)


def test_a_second_run_with_two_processes_writes_the_same_bytes(
    demo_out: Path, tmp_path: Path
) -> None:
    again = tmp_path / "again"
    command = [sys.executable, "-m", "analysis", "review", str(DEMO), "--out", str(again)]
    assert subprocess.run(command, cwd=ROOT, capture_output=True, check=False).returncode == 1
    for path in sorted(demo_out.rglob("*")):
        if path.is_file():
            assert path.read_bytes() == (again / path.relative_to(demo_out)).read_bytes(), path.name


def test_two_tables_give_hours_film_and_contribution(tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert main(["review", str(DEMO / "two_tables"), "--out", str(out)]) == 0
    reconciles(out)
    lines = {row["line"]: row["amount"] for row in table(out, "shop_result")}
    assert float(lines["contribution"]) > 0
    # Overheads and capacity are not written down: blank, never 0.
    assert lines["overhead_on_jobs"] == lines["unused_capacity"] == lines["result"] == ""
    missing = json.loads((out / "manifest.json").read_text(encoding="utf-8"))["not_computed"]
    assert {each["result"] for each in missing} == {
        "avoidable_by_job",
        "best_allowance",
        "counter_by_quarter",
        "counter_kits",
        "counter_sales",
        "counter_sales_each",
        "counter_unknowns",
        "counter_verdicts",
        "cut_film_prices",
        "demand_seasons",
        "film_counts",
        "hours_by_task",
        "model_surcharges",
        "offcut_shelf",
        "offcuts_on_shelf",
        "overrun_by_task",
        "price_basis",
        "price_follow_up",
        "price_outlook",
        "price_sensitivity",
        "price_suggestions",
        "recuts_by_allowance",
        "waste_by_panel",
        "win_chances",
    }


def test_a_foreign_folder_gives_the_same_figures(demo_out: Path, tmp_path: Path) -> None:
    """Metric, semicolons, decimal commas, CP-1252, day first, foreign column names and aliases."""
    folder, out = tmp_path / "laden", tmp_path / "out"
    translated_demo(DEMO, folder)
    review = run_review(folder, two_processes=False)
    write_review(review, "", out, folder, workbook=bytes)  # the tables alone
    reconciles(out)
    for name in RESULT_TABLES.keys() - ROWS_BY_TAPE:
        ours, theirs = table(demo_out, name), table(out, name)
        assert len(ours) == len(theirs), name
        for one, other in zip(ours, theirs, strict=True):
            for column in RESULT_TABLES[name].columns:
                if column.name != "reason":  # a sentence in the shop's units
                    same_figure(column, one[column.name], other[column.name])


# A tape in inches has other steps than one in centimetres: other rows, or other sizes to cut.
ROWS_BY_TAPE = {"recuts_by_allowance", "cut_film_prices", "counter_kits"}


def same_figure(column: Column, one: str, other: str) -> None:
    """Equal, areas converted from square feet to square metres and inches to centimetres."""
    try:
        left, right = float(one), float(other)
    except ValueError:
        assert one == other
        return
    if column.kind is Kind.MONEY_PER_AREA:
        left /= 0.3048**2
    elif column.kind is Kind.MONEY_PER_LENGTH:
        left /= 2.54
    elif column.kind is Kind.AREA:
        left *= 0.3048**2
    elif column.kind is Kind.LENGTH:
        left *= 2.54
    elif column.name == "hours_per_area":
        left /= 0.3048**2
    # Randomness is seeded, but a fit in other units ends a hair elsewhere.
    assert right == pytest.approx(left, rel=2e-4, abs=0.02), column


def test_a_template_filled_in_by_hand_is_read_as_it_is(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = tmp_path / "mine", tmp_path / "out"
    assert main(["template", str(folder)]) == 0
    book = openpyxl.load_workbook(folder / "records.xlsx")
    fill(
        book["jobs"],
        {
            "job_id": "1",
            "finished_on": "2026-07-13",
            "service": "roof",
            "make": "Harrow",
            "model": "Pike",
            "film": "GB",
            "quoted_hours": 3,
            "quoted_price": 420,
            "crew": "Ines; Tomas",
            "hours": "3h30",
            "pulled_length": "5 ft 8 in",
            "roll_width": 60,
            "finished_area": 19.375,
        },
    )
    fill(
        book["purchases"],
        {
            "invoice": "A-1",
            "received_on": "2026-07-01",
            "supplier": "Marlow",
            "item": "GB",
            "kind": "film",
            "roll_width": "60 in",
            "roll_length": "25 yd",
            "quantity": 1,
            "unit_price": "$540.00",
        },
    )
    book.save(folder / "records.xlsx")
    capsys.readouterr()
    assert main(["review", str(folder), "--quarter", "2026Q3", "--out", str(out)]) == 0
    said = capsys.readouterr().out.splitlines()
    assert len(said) == len({*said})
    assert any("It wants the table rates, or labour.default_wage" in line for line in said)
    reconciles(out)
    (job,) = table(out, "job_costs")
    # 60 in by 25 yd for 540 is a cent a square inch; 68 in by 60 in are 4,080.
    assert (job["film_cost"], job["actual_hours"], job["bay_hours"]) == ("40.8", "3.5", "1.75")
    assert float(job["consumed_area"]) == pytest.approx(4080 / 144)
    # Without a wage the labour is unknown: blank, and so is what adds to it.
    assert (job["material_margin"], job["labour_cost"], job["contribution"]) == ("379.2", "", "")


def fill(sheet: openpyxl.worksheet.worksheet.Worksheet, row: dict[str, object]) -> None:
    """Type a row under the header, as a person would."""
    header = [cell.value for cell in sheet[1]]
    for name, value in row.items():
        sheet.cell(row=2, column=header.index(name) + 1, value=value)


def test_an_untouched_template_reads_as_empty(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["template", str(tmp_path / "mine")]) == 0
    assert main(["check", str(tmp_path / "mine")]) == 0
    assert main(["review", str(tmp_path / "mine")]) == 2
    said = capsys.readouterr()
    assert "without rows: jobs, hours, purchases" in said.out
    assert "begin with jobs and purchases" in said.out
    assert said.err.count("\n") == 1
    assert "No day of work" in said.err


def test_of_many_findings_of_a_kind_the_first_are_shown_and_the_others_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = "".join(
        f"\n            J{at} | 2026-02-1{at} | roof | Quillon | Heron | 3 | tbd" for at in range(7)
    )
    write_shop(
        tmp_path / "shop",
        jobs="job_id | finished_on | service | make | model | quoted_hours | quoted_price" + rows,
        purchases="invoice | received_on | supplier | item | kind | quantity | unit_price",
    )
    assert main(["check", str(tmp_path / "shop")]) == 1
    said = capsys.readouterr().out
    assert said.count("'tbd' is no amount") == 5
    assert "... and 2 more of this kind" in said
    assert "rejected (rows left out): 7" in said


def test_check_writes_beside_the_records_and_says_what_is_wrong(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    write_shop(
        tmp_path / "shop",
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price
            J1 | 2026-02-10 | roof | Quillon | Heron | 3 | tbd
            J2 | 2026-02-11 | roof | Quillon | Heron | 3 | 400""",
        purchases="invoice | received_on | supplier | item | kind | quantity | unit_price",
    )
    assert main(["check", str(tmp_path / "shop")]) == 1
    said = capsys.readouterr().out
    assert "jobs.csv, row 2, column quoted_price: 'tbd' is no amount" in said
    rejected = (tmp_path / "record-check" / "rejected" / "jobs.csv").read_text("utf-8-sig")
    assert rejected.splitlines() == [
        "job_id,finished_on,service,make,model,quoted_hours,quoted_price",
        "J1,2026-02-10,roof,Quillon,Heron,3,tbd",
    ]


def one_job(folder: Path) -> Path:
    """A shop of one job, without payment and without any purchase."""
    return write_shop(
        folder,
        jobs="""
            job_id | finished_on | service | make | model | quoted_hours | quoted_price
            J2 | 2026-02-11 | roof | Quillon | Heron | 3 | 400""",
        purchases="invoice | received_on | supplier | item | kind | quantity | unit_price",
    )


@pytest.mark.parametrize(("strict", "status"), [((), 0), (("--strict", "doubtful"), 1)])
def test_strictness_decides_the_exit_status(
    strict: tuple[str, ...], status: int, tmp_path: Path
) -> None:
    """Blank payment is doubtful, and told; nothing is rejected."""
    shop = one_job(tmp_path / "shop")
    assert main(["check", str(shop), *strict]) == status
    assert main(["review", str(shop), "--quarter", "2026Q1", *strict]) == status


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["review", "nowhere-at-all"], "nowhere-at-all"),
        (["review", str(DEMO), "--quarter", "2019Q1"], "2024Q1 to 2026Q4"),
        (["review", str(DEMO), "--quarter", "soon"], "write it as 2026Q3"),
        (["review", str(DEMO), "--out", str(DEMO / "out")], "records"),
        (["template", str(DEMO)], "shop.toml"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(
    arguments: list[str], part: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(arguments) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert part in said
    assert "Traceback" not in said


def test_a_mistyped_command_is_said_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["revue"])
    assert ended.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_fault_of_the_program_is_one_line_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("broken on purpose")

    monkeypatch.setattr("analysis.review.review_records", broken)
    assert main(["review", str(DEMO)]) == 2
    said = capsys.readouterr().err
    assert "fault of the program" in said
    assert said.count("\n") == 1


# Ends at once, as when the machine is switched off, where the work comes to a step.
DYING = """
import os, sys
from analysis import cli

said, last = cli._Progress.__call__, sys.argv[1]

def told(self, step):
    if step == last:
        os._exit(9)
    said(self, step)

cli._Progress.__call__ = told
sys.exit(cli.main(sys.argv[2:], two_processes=True))
"""


def test_a_stop_half_way_leaves_the_earlier_review(tmp_path: Path) -> None:
    """Stopped at several steps; what stands there is a whole review each time."""
    shop = one_job(tmp_path / "shop")
    out = tmp_path / "reviews" / "review"
    review = ["review", str(shop), "--quarter", "2026Q1", "--out", str(out)]
    assert main(review) == 0
    whole = {path.relative_to(out): path.read_bytes() for path in out.rglob("*") if path.is_file()}
    assert whole
    for step in ("costing the jobs", "laying out past cuts again", "putting review in place"):
        command = [sys.executable, "-c", DYING, step, *review]
        ended = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)
        assert ended.returncode == 9, ended.stderr
        left = {p.relative_to(out): p.read_bytes() for p in out.rglob("*") if p.is_file()}
        assert left == whole
    assert main(review) == 0
    assert [path.name for path in out.parent.iterdir() if path != out] == []
