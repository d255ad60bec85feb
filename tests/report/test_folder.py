"""The review's folder: whole or not at all, and never over what somebody else put there."""

import csv
import errno
import hashlib
import json
import os
import signal
import subprocess
import sys
import textwrap
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import OutputError, Unavailable
from analysis.periods import Quarter
from analysis.records.model import FINDING_COLUMNS, Records, Source
from analysis.report import folder
from analysis.report import replace as swap
from analysis.report.folder import default_check_out, default_out, write_check, write_review
from analysis.report.replace import replace_folder
from analysis.report.results import Review
from analysis.result_tables import QUARTER_ONLY, RESULT_TABLES
from analysis.schema import Kind

ROOT = Path(__file__).parents[2]
PAGE = "<!doctype html><title>Review</title><p>Größe: 5 m²</p>\n"


@pytest.fixture
def made(make_review: Callable[..., Review]) -> Review:
    """A review with one table for which records are missing, and two rejected rows."""
    gone = Unavailable("film_reconciliation", ("stock_counts",), "There are no stock counts.")
    few = ("shop_result", "margin_by_service", "hours_by_model", "film_prices", "job_costs")
    whole = make_review(results={"film_reconciliation": gone, "job_costs": job_costs()})
    results = {n: v for n, v in whole.results.items() if n in (*few, "film_reconciliation")}
    year = {n: v for n, v in whole.year.items() if n in few}
    rejected = {"jobs": "job_id;price\r\nJ-7;=cheap\r\n", "cuts": "cut_id\nÜ-1\n"}
    return replace(
        whole, results=results, year=year, records=replace(whole.records, rejected=rejected)
    )


def job_costs() -> pd.DataFrame:
    kinds: Mapping[Kind, Any] = {
        Kind.TEXT: pd.Series(["=J-1", "J-2"], dtype="str"),
        Kind.DATE: pd.to_datetime(pd.Series(["2026-07-01", None])),
        Kind.WHOLE: pd.Series([1, 2], dtype="Int64"),
    }
    columns = RESULT_TABLES["job_costs"].columns
    return pd.DataFrame({c.inside: kinds.get(c.kind, pd.Series([1.5, np.nan])) for c in columns})


def snapshot(folder: Path) -> dict[str, bytes]:
    """Every file under a folder with its content."""
    paths = sorted(path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def assert_tidy(parent: Path, *names: str) -> None:
    """Nothing but these stands in the parent: no lock, nothing unfinished."""
    assert sorted(path.name for path in parent.iterdir()) == sorted(names)


# --- what is written -----------------------------------------------------------------------------


def test_the_folder_holds_page_workbook_tables_findings_rejects_and_manifest(
    made: Review, tmp_path: Path
) -> None:
    out = tmp_path / "review-2026Q3"
    write_review(made, PAGE, out)
    names = set(snapshot(out))
    quarter = {"shop_result", "margin_by_service", "hours_by_model", "film_prices", "job_costs"}
    year = {f"{name}_year" for name in quarter - QUARTER_ONLY}
    assert names == {
        "index.html",
        "review.xlsx",
        "record_findings.csv",
        "rejected/jobs.csv",
        "rejected/cuts.csv",
        "manifest.json",
        *(f"tables/{name}.csv" for name in quarter | year),
    }
    assert (out / "index.html").read_text(encoding="utf-8") == PAGE
    assert_tidy(tmp_path, "review-2026Q3")


def test_tables_are_the_csv_of_the_results(made: Review, tmp_path: Path) -> None:
    write_review(made, PAGE, tmp_path / "out")
    with (tmp_path / "out/tables/job_costs.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0]) == RESULT_TABLES["job_costs"].names
    assert rows[0]["job_id"] == "'=J-1"
    assert [row["finished_on"] for row in rows] == ["2026-07-01", ""]
    assert [row["film_cost"] for row in rows] == ["1.5", ""]


def test_findings_and_rejected_rows_are_written_as_they_are(made: Review, tmp_path: Path) -> None:
    frame = made.records.findings.assign(value=["=1+1", "ask Tomas & Wren", None])
    records = replace(made.records, findings=frame)
    write_check(records, tmp_path / "check")
    files = snapshot(tmp_path / "check")
    assert set(files) == {
        "record_findings.csv",
        "rejected/jobs.csv",
        "rejected/cuts.csv",
        "manifest.json",
    }
    assert files["rejected/jobs.csv"] == b"job_id;price\r\nJ-7;=cheap\r\n"
    # A spreadsheet reads letters beyond ASCII only with the mark before them.
    assert files["rejected/cuts.csv"] == b"\xef\xbb\xbf" + "cut_id\nÜ-1\n".encode()
    rows = list(csv.DictReader(files["record_findings.csv"].decode().splitlines()))
    assert list(rows[0]) == list(FINDING_COLUMNS)
    assert [row["value"] for row in rows] == ["'=1+1", "ask Tomas & Wren", ""]
    assert [row["row"] for row in rows] == ["14", "31", "8"]


def test_the_manifest_says_what_was_read_used_written_and_left_out(
    made: Review, tmp_path: Path
) -> None:
    write_review(made, PAGE, tmp_path / "out", seed=7)
    files = snapshot(tmp_path / "out")
    manifest = json.loads(files["manifest.json"])
    assert manifest["quarter"] == "2026Q3"
    assert manifest["seed"] == 7
    assert manifest["settings"]["labour"]["overtime_multiplier"] == 1.5
    assert manifest["files_read"] == {
        "hours.csv": "2" * 64,
        "jobs.csv": "1" * 64,
        "shop.toml": "0" * 64,
    }
    assert manifest["tables"]["jobs"] == {
        "file": "jobs.csv",
        "rows_read": 240,
        "rows_used": 238,
        "rows_rejected": 2,
    }
    assert set(manifest["tables"]) == {"jobs", "hours"}
    assert manifest["not_computed"] == [
        {
            "result": "film_reconciliation",
            "period": "2026Q3",
            "missing": ["stock_counts"],
            "line": "There are no stock counts.",
        }
    ]
    written = {n: hashlib.sha256(c).hexdigest() for n, c in files.items() if n != "manifest.json"}
    assert manifest["files_written"] == written
    assert list(manifest) == sorted(manifest)
    assert str(tmp_path) not in files["manifest.json"].decode()


def test_two_runs_write_the_same_bytes_wherever_they_write(made: Review, tmp_path: Path) -> None:
    write_review(made, PAGE, tmp_path / "one")
    write_review(made, PAGE, tmp_path / "deeper" / "two")
    assert snapshot(tmp_path / "one") == snapshot(tmp_path / "deeper/two")


def test_progress_is_told(made: Review, tmp_path: Path) -> None:
    told: list[str] = []
    write_review(made, PAGE, tmp_path / "out", progress=told.append)
    assert told == ["making review.xlsx", "putting out in place"]


@pytest.mark.parametrize(
    ("folder", "expected"),
    [("shop/records", "shop/review-2026Q3"), ("records", "review-2026Q3")],
)
def test_default_folders_stand_beside_the_records(folder: str, expected: str) -> None:
    assert default_out(Path(folder), Quarter(2026, 3)) == Path(expected)
    assert default_check_out(Path(folder)) == Path(expected).with_name("record-check")


def test_another_shops_output_is_left_where_it_is(made: Review, tmp_path: Path) -> None:
    """The demo first, one's own shop then: both beside each other, each under its own name."""
    for name in ("demo", "mine"):
        (tmp_path / name).mkdir()
    first = default_out(tmp_path / "demo", Quarter(2026, 3))
    write_review(made, PAGE, first, tmp_path / "demo")
    own = default_out(tmp_path / "mine", Quarter(2026, 3))
    assert own == tmp_path / "mine-review-2026Q3"
    assert default_out(tmp_path / "demo", Quarter(2026, 3)) == first
    write_check(made.records, default_check_out(tmp_path / "mine"), tmp_path / "mine")
    assert default_check_out(tmp_path / "demo") == tmp_path / "demo-record-check"
    (first / "manifest.json").write_text("[]")
    assert default_out(tmp_path / "mine", Quarter(2026, 3)) == first


@pytest.mark.parametrize("here", [".", ".."])
def test_default_folders_of_dots_stand_outside_too(here: str) -> None:
    out = default_out(Path(here), Quarter(2026, 3))
    assert not out.is_relative_to(Path(here).resolve())


# --- what is refused -----------------------------------------------------------------------------


def records_in(folder: Path, records: Records) -> Records:
    """Write a file of records and say that it was read."""
    folder.mkdir(parents=True)
    (folder / "jobs.csv").write_text("job_id\nJ-1\n")
    content = (folder / "jobs.csv").read_bytes()
    source = Source("jobs", "jobs.csv", hashlib.sha256(content).hexdigest(), 1, 1, 0)
    return replace(records, sources=(source,))


@pytest.mark.parametrize("inside", [".", "review", "a/b/review"])
def test_never_inside_the_records(made: Review, tmp_path: Path, inside: str) -> None:
    records = records_in(tmp_path / "records", made.records)
    before = snapshot(tmp_path)
    with pytest.raises(OutputError, match="lies in the records folder"):
        write_check(records, tmp_path / "records" / inside)
    assert snapshot(tmp_path) == before


@pytest.mark.parametrize("inside", [".", "review", "a/b/review"])
def test_never_inside_a_records_folder_that_is_named(
    made: Review, tmp_path: Path, inside: str
) -> None:
    # Its one file was changed since it was read: only the name tells that these are the records.
    records = records_in(tmp_path / "records", made.records)
    (tmp_path / "records" / "jobs.csv").write_text("job_id\nJ-2\n")
    before = snapshot(tmp_path)
    with pytest.raises(OutputError, match="lies in the records folder"):
        write_check(records, tmp_path / "records" / inside, tmp_path / "records")
    with pytest.raises(OutputError, match="lies in the records folder"):
        write_review(made, PAGE, tmp_path / "records" / inside, tmp_path / "records")
    assert snapshot(tmp_path) == before


def test_never_inside_the_records_through_a_link(made: Review, tmp_path: Path) -> None:
    records = records_in(tmp_path / "records", made.records)
    (tmp_path / "link").symlink_to(tmp_path / "records", target_is_directory=True)
    with pytest.raises(OutputError, match="lies in the records folder"):
        write_check(records, tmp_path / "link" / "out")


def test_never_around_the_records(made: Review, tmp_path: Path) -> None:
    records = records_in(tmp_path / "out" / "records", made.records)
    before = snapshot(tmp_path)
    with pytest.raises(OutputError, match="holds records, which was not written"):
        write_check(records, tmp_path / "out")
    assert snapshot(tmp_path) == before


def test_beside_the_records_is_fine(made: Review, tmp_path: Path) -> None:
    records = records_in(tmp_path / "records", made.records)
    write_check(records, tmp_path / "record-check")
    assert_tidy(tmp_path, "records", "record-check")


def test_a_file_in_the_way_is_refused(made: Review, tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    with pytest.raises(OutputError, match="out is a file"):
        write_check(made.records, tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"
    assert_tidy(tmp_path, "out")


@pytest.mark.parametrize("name", ["notes.txt", "tables/notes.csv", "mine/notes.txt"])
def test_a_foreign_file_is_refused_by_name(made: Review, tmp_path: Path, name: str) -> None:
    out = tmp_path / "out"
    write_review(made, PAGE, out)
    (out / name).parent.mkdir(exist_ok=True)
    (out / name).write_text("mine")
    before = snapshot(out)
    named = name.split("/")[0] if name.startswith("mine") else name
    with pytest.raises(OutputError, match=f"holds {named}, which was not written"):
        write_review(made, PAGE + "newer", out)
    assert snapshot(out) == before
    assert_tidy(tmp_path, "out")


def test_a_folder_without_our_manifest_is_refused(made: Review, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "manifest.json").write_text('{"name": "my site"}')
    with pytest.raises(OutputError, match=r"holds manifest\.json, which was not written"):
        write_check(made.records, tmp_path / "out")


@pytest.mark.parametrize("name", ["review.xlsx", "tables/job_costs.csv", "manifest.json"])
def test_a_changed_file_is_refused_by_name(made: Review, tmp_path: Path, name: str) -> None:
    out = tmp_path / "out"
    write_review(made, PAGE, out)
    content = (out / name).read_bytes()
    (out / name).write_bytes(content.replace(b"2026Q3", b"2026Q2") + b" ")
    before = snapshot(out)
    with pytest.raises(OutputError, match=f"{name} was changed after it was written.*Move it"):
        write_review(made, PAGE, out)
    assert snapshot(out) == before


def test_a_manifest_changed_in_its_values_is_refused(made: Review, tmp_path: Path) -> None:
    write_check(made.records, tmp_path / "out")
    path = tmp_path / "out" / "manifest.json"
    path.write_text(path.read_text().replace('"rows_used": 238', '"rows_used": 239'))
    with pytest.raises(OutputError, match=r"manifest\.json was changed"):
        write_check(made.records, tmp_path / "out")


def test_a_changed_file_that_was_moved_away_is_no_hindrance(made: Review, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_review(made, PAGE, out)
    (out / "review.xlsx").rename(tmp_path / "prices.xlsx")
    write_review(made, PAGE, out)
    assert (out / "review.xlsx").exists()


@pytest.mark.parametrize("mark", ["~$review.xlsx", ".~lock.review.xlsx#"])
def test_an_open_workbook_is_told_as_such(made: Review, tmp_path: Path, mark: str) -> None:
    write_check(made.records, tmp_path / "out")
    (tmp_path / "out" / mark).write_text("")
    with pytest.raises(OutputError, match="is open in a spreadsheet program"):
        write_check(made.records, tmp_path / "out")


def test_a_link_in_place_of_a_file_is_refused(made: Review, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_check(made.records, out)
    (out / "record_findings.csv").rename(tmp_path / "elsewhere.csv")
    (out / "record_findings.csv").symlink_to(tmp_path / "elsewhere.csv")
    with pytest.raises(OutputError, match=r"record_findings\.csv was changed"):
        write_check(made.records, out)


def test_a_check_does_not_replace_a_review(made: Review, tmp_path: Path) -> None:
    write_review(made, PAGE, tmp_path / "out")
    with pytest.raises(OutputError, match="holds a review, and this is a check"):
        write_check(made.records, tmp_path / "out")


def test_marks_of_file_managers_are_no_hindrance_and_stay(made: Review, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_check(made.records, out)
    (out / ".DS_Store").write_bytes(b"view")
    write_check(made.records, out)
    assert (out / ".DS_Store").read_bytes() == b"view"


def test_a_later_run_replaces_the_earlier_whole(made: Review, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_review(made, PAGE, out)
    fewer = replace(made, year={}, records=replace(made.records, rejected={}))
    write_review(fewer, "newer", out)
    names = set(snapshot(out))
    assert not any(name.endswith("_year.csv") or name.startswith("rejected") for name in names)
    assert (out / "index.html").read_text() == "newer"
    assert_tidy(tmp_path, "out")


# --- when writing fails --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EACCES, "may not be changed"),
        (errno.EROFS, "may not be changed"),
        (errno.EIO, "was not written"),
    ],
)
@pytest.mark.parametrize("name", ["index.html", "manifest.json"])
def test_a_failing_disk_leaves_the_earlier_output(
    made: Review,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    number: int,
    words: str,
    name: str,
) -> None:
    out = tmp_path / "out"
    small = replace(made, results={}, year={})
    write_review(small, PAGE, out)
    before = snapshot(out)
    real = folder.write_file

    def fail(path: Path, content: bytes) -> None:
        if path.name == name:
            path.write_bytes(content[: len(content) // 2])
            raise OSError(number, os.strerror(number))
        real(path, content)

    monkeypatch.setattr(folder, "write_file", fail)
    with pytest.raises(OutputError, match=words):
        write_review(small, "newer", out)
    assert snapshot(out) == before
    assert_tidy(tmp_path, "out")


def test_a_folder_that_may_not_be_written_is_told(
    made: Review, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Path, *_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", str(self))

    monkeypatch.setattr(Path, "mkdir", refuse)
    with pytest.raises(OutputError, match="may not be changed"):
        write_check(made.records, tmp_path / "out")
    assert_tidy(tmp_path)


@pytest.mark.parametrize("failing", [1, 2])
def test_a_failing_rename_leaves_the_earlier_output(
    made: Review, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: int
) -> None:
    out = tmp_path / "out"
    write_check(made.records, out)
    before = snapshot(out)
    real, calls = swap._rename, []

    def fail(source: Path, target: Path) -> None:
        calls.append(source)
        if len(calls) == failing:
            raise PermissionError(errno.EACCES, "in use")
        real(source, target)

    monkeypatch.setattr(swap, "_rename", fail)
    with pytest.raises(OutputError, match="open in another program"):
        write_check(replace(made.records, rejected={}), out)
    assert snapshot(out) == before
    assert_tidy(tmp_path, "out")


def test_a_file_saved_during_the_run_is_not_lost(made: Review, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_review(made, PAGE, out)

    def save(line: str) -> None:
        if line.startswith("putting"):
            (out / "index.html").write_text("edited meanwhile")

    with pytest.raises(OutputError, match=r"index\.html was changed"):
        write_review(made, PAGE, out, progress=save)
    assert (out / "index.html").read_text() == "edited meanwhile"
    assert_tidy(tmp_path, "out")


def test_an_interrupt_leaves_the_earlier_output(made: Review, tmp_path: Path) -> None:
    out = tmp_path / "out"
    write_review(made, PAGE, out)
    before = snapshot(out)

    def stop(line: str) -> None:
        raise KeyboardInterrupt(line)

    with pytest.raises(KeyboardInterrupt):
        write_review(made, "newer", out, progress=stop)
    assert snapshot(out) == before
    assert_tidy(tmp_path, "out")


# --- runs that are killed, and runs at the same time ---------------------------------------------

KILLED = """
    import os, signal, sys
    from pathlib import Path
    from analysis.report import replace as swap

    out, step = Path(sys.argv[1]), sys.argv[2]
    die = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
    real_rename, real_rmtree, calls = swap._rename, swap.shutil.rmtree, []

    def fill(folder):
        (folder / "a.txt").write_text("new")
        if step == "while filling":
            die()

    def rename(source, target):
        real_rename(source, target)
        calls.append(source)
        if step == f"after rename {len(calls)}":
            die()

    def rmtree(path):
        if step == "before tidying":
            die()
        real_rmtree(path)

    swap._rename, swap.shutil.rmtree = rename, rmtree
    if step == "after the mark":
        swap._sync_tree = die
    if step == "before the mark":
        swap.write_file = die
    swap.replace_folder(out, fill, lambda folder: None)
"""
STEPS = {
    "before the mark": "old",
    "while filling": "old",
    "after the mark": "old",
    "after rename 1": "old",
    "after rename 2": "new",
    "before tidying": "new",
}


def run_and_die(out: Path, step: str) -> None:
    command = [sys.executable, "-c", textwrap.dedent(KILLED), str(out), step]
    done = subprocess.run(command, cwd=ROOT, check=False, timeout=120)  # noqa: S603
    assert done.returncode == -signal.SIGKILL


@pytest.mark.skipif(sys.platform == "win32", reason="needs a signal that kills")
@pytest.mark.parametrize("step", STEPS)
@pytest.mark.parametrize("earlier", [True, False])
def test_a_killed_run_is_mended_by_the_next(tmp_path: Path, step: str, earlier: bool) -> None:
    out = tmp_path / "out"
    if earlier:
        out.mkdir()
        (out / "a.txt").write_text("old")
    elif step == "before tidying":
        pytest.skip("there is nothing to tidy away")
    elif step == "after rename 2":
        step = "after rename 1"  # with nothing to move aside, the one rename is the last
    run_and_die(out, step)
    expected = STEPS[step] if earlier else "new" if step == "after rename 1" else None
    seen = []

    def look(folder: Path) -> None:
        seen.append((folder / "a.txt").read_text() if (folder / "a.txt").exists() else None)

    def fill(folder: Path) -> None:
        (folder / "a.txt").write_text("newest")

    replace_folder(out, fill, look)
    assert seen[0] == expected
    assert snapshot(out) == {"a.txt": b"newest"}
    assert_tidy(tmp_path, "out")


def test_a_killed_run_is_mended_even_if_the_next_is_refused(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.txt").write_text("old")
    run_and_die(out, "after rename 1")
    assert not out.exists()

    def refuse(folder: Path) -> None:
        raise OutputError("changed")

    with pytest.raises(OutputError, match="changed"):
        replace_folder(out, lambda folder: None, refuse)
    assert snapshot(out) == {"a.txt": b"old"}
    assert_tidy(tmp_path, "out")


def test_a_folder_put_in_the_gap_of_a_killed_run_is_not_lost(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "a.txt").write_text("old")
    run_and_die(out, "after rename 1")
    out.mkdir()
    (out / "mine.txt").write_text("mine")
    before = snapshot(tmp_path)
    with pytest.raises(OutputError, match="Move one of the two away"):
        replace_folder(out, lambda folder: None, lambda folder: None)
    after = snapshot(tmp_path)
    assert {n: c for n, c in before.items() if not n.endswith(".lock")} == after


@pytest.mark.parametrize("foreign", ["letter.txt", "new/letter.txt"])
def test_leftovers_that_are_not_ours_stay(tmp_path: Path, foreign: str) -> None:
    work = tmp_path / ".out.unfinished"
    (work / foreign).parent.mkdir(parents=True)
    (work / foreign).write_text("mine")
    with pytest.raises(OutputError, match="not left from a review"):
        replace_folder(tmp_path / "out", lambda folder: None, lambda folder: None)
    assert (work / foreign).read_text() == "mine"


HOLDING = """
    import sys
    from pathlib import Path
    from analysis.report.replace import replace_folder

    def fill(folder):
        (folder / "a.txt").write_text("first")
        print("writing", flush=True)
        sys.stdin.readline()

    replace_folder(Path(sys.argv[1]), fill, lambda folder: None)
"""


def test_two_runs_at_once_do_not_mix(tmp_path: Path) -> None:
    out = tmp_path / "out"
    command = [sys.executable, "-c", textwrap.dedent(HOLDING), str(out)]

    def fill(folder: Path) -> None:
        (folder / "b.txt").write_text("second")

    with subprocess.Popen(  # noqa: S603
        command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == "writing\n"
        with pytest.raises(OutputError, match="Another run is writing"):
            replace_folder(out, fill, lambda folder: None)
        first.communicate("\n", timeout=60)
    assert first.returncode == 0
    assert snapshot(out) == {"a.txt": b"first"}
    replace_folder(out, fill, lambda folder: None)
    assert snapshot(out) == {"b.txt": b"second"}
    assert_tidy(tmp_path, "out")
