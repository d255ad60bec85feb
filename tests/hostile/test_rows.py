"""Rows and cells that once broke the check or what it writes: each ends as a finding."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.errors import RecordsError
from analysis.records.delimited import read_delimited
from analysis.records.read import read_records
from analysis.review import check_records
from tests.hostile.account import account_for
from tests.hostile.slices import demo_slice, write_files

FEW = ("jobs.csv", "hours.csv", "purchases.csv", "shop.toml")


@pytest.fixture
def files() -> dict[str, bytes]:
    return {name: data for name, data in demo_slice().items() if name in FEW}


def put(files: dict[str, bytes], name: str, column: str, value: str, row: int = 2) -> None:
    """Write one cell, by its row in the file."""
    rows = list(csv.reader(files[name].decode().splitlines()))
    rows[row - 1][rows[0].index(column)] = value
    lines = [",".join('"' + cell.replace('"', '""') + '"' for cell in line) for line in rows]
    files[name] = ("\n".join(lines) + "\n").encode()


@pytest.mark.parametrize("day", ["0001-01-01", "9999-12-31", "1949-12-31", "2200-01-01"])
@pytest.mark.parametrize("everywhere", [False, True])
def test_days_at_the_ends_of_the_calendar(
    day: str, everywhere: bool, files: dict[str, bytes], tmp_path: Path
) -> None:
    """One such day, or no other: the row is out, and the sums of years stay in the calendar."""
    for name, column in (
        ("jobs.csv", "finished_on"), ("hours.csv", "worked_on"), ("purchases.csv", "received_on"),
    ):  # fmt: skip
        rows = files[name].count(b"\n")
        for row in range(2, rows + 1 if everywhere else 3):
            put(files, name, column, day, row)
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    told = records.findings[records.findings["rule"] == "date-out-of-range"]
    assert {"jobs", "hours", "purchases"} <= set(told["table"])
    assert records["jobs"].empty == everywhere


@pytest.mark.parametrize("month", ["0001-01", "9999-12"])
def test_months_at_the_ends_of_the_calendar(
    month: str, files: dict[str, bytes], tmp_path: Path
) -> None:
    files["overheads.csv"] = f"month,category,amount\n{month},rent,100\n2024-01,rent,100\n".encode()
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    assert len(records["overheads"]) == 1
    assert "date-out-of-range" in set(records.findings["rule"])


@pytest.mark.parametrize(
    ("value", "rule"),
    [
        ("nan", "not-money"), ("NaN", "not-money"), ("inf", "not-money"), ("-inf", "not-money"),
        ("Infinity", "not-money"), ("1e400", "not-money"), ("1e15", "not-money"),
        ("1e308", "not-money"), ("1" + "0" * 15, "too-large"), ("-1", "too-small"),
        ("-" + "9" * 15, "too-large"), ("9" * 400, "not-money"), ("0x10", "not-money"),
        ("=1+1", "not-money"), ("@SUM(A1)", "not-money"), ("<b>1</b>", "not-money"),
    ],
)  # fmt: skip
def test_money_that_is_none(value: str, rule: str, files: dict[str, bytes], tmp_path: Path) -> None:
    put(files, "jobs.csv", "quoted_price", value)
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    rejected = records.findings[records.findings["severity"] == "rejected"]
    (found,) = rejected.to_dict("records")
    assert (found["rule"], found["row"], found["column"]) == (rule, 2, "quoted_price")


def test_nothing_below_zero_is_nothing(files: dict[str, bytes], tmp_path: Path) -> None:
    """`-0` is 0, and no sign of it comes out."""
    put(files, "jobs.csv", "quoted_price", "-0")
    shop = write_files(tmp_path / "shop", files)
    assert read_records(shop)["jobs"]["quoted_price"].iloc[0] == 0
    out = tmp_path / "out"
    assert main(["check", str(shop), "--out", str(out)]) in (0, 1)


@pytest.mark.parametrize("mark", ["\r", "a\rb", "\r\n", "'\r", "=\r"])
def test_a_carriage_return_in_a_rejected_row_ends_no_line(
    mark: str, files: dict[str, bytes], tmp_path: Path
) -> None:
    """Written without quotation marks it made two rows of one."""
    files["purchases.csv"] += f'"{mark}",never,x,y,film,1,1,1,1,,\n'.encode()
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    kept = read_delimited(records.rejected["purchases"].encode(), "purchases", "rejected.csv")
    assert kept is not None
    assert len(kept.cells) == 1


def test_a_carriage_return_in_a_name_ends_no_line_of_a_result(
    files: dict[str, bytes], tmp_path: Path
) -> None:
    put(files, "hours.csv", "installer", "Ines\rCorbray")
    put(files, "hours.csv", "worked_on", "never\rever", 3)
    out = tmp_path / "out"
    assert main(["check", str(write_files(tmp_path / "shop", files)), "--out", str(out)]) == 1
    text = (out / "record_findings.csv").read_text("utf-8")
    assert "\r" not in text
    rows = list(csv.reader(text.splitlines(keepends=True)))
    assert {len(row) for row in rows} == {9}


def test_jobs_that_are_all_rejected_leave_nothing_to_cost(
    files: dict[str, bytes], tmp_path: Path
) -> None:
    """Hours without a single job: an empty column of text was multiplied."""
    head, *rows = files["jobs.csv"].decode().splitlines()
    files["jobs.csv"] = "\n".join([head, *("," + row.partition(",")[2] for row in rows)]).encode()
    records = check_records(write_files(tmp_path / "shop", files))
    account_for(records)
    assert records["jobs"].empty
    assert len(records["hours"]) > 0


def test_a_text_of_a_megabyte_is_left_out_and_told(files: dict[str, bytes], tmp_path: Path) -> None:
    put(files, "jobs.csv", "model", "y" * 500, 3)
    put(files, "jobs.csv", "service", "y" * 1_000_000)
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    told = records.findings[records.findings["rule"] == "text-too-long"]
    assert told[["row", "column"]].to_numpy().tolist() == [[2, "service"]]
    assert told["problem"].str.len().max() < 200


@pytest.mark.parametrize(
    "data", [b"sep=\x00\na\x00b\n", b"\x00" * 100, b"\xff\xfe\x00\x00a\x00\x00\x00", b"a\x00\n1\n"]
)
def test_nul_bytes_wherever_they_stand(
    data: bytes, files: dict[str, bytes], tmp_path: Path
) -> None:
    files["hours.csv"] = data
    with pytest.raises(RecordsError, match=r"hours\.csv.*NUL"):
        read_records(write_files(tmp_path / "shop", files))


@pytest.mark.parametrize(
    "data", [b",,,,\n,,,\n", b";;;\r\n;;\r\n", b"\t\t\r\t", b"\n\n \n", b"\xef\xbb\xbf"]
)
def test_a_file_of_separators_counts_as_absent(
    data: bytes, files: dict[str, bytes], tmp_path: Path
) -> None:
    files["hours.csv"] = data
    records = read_records(write_files(tmp_path / "shop", files))
    assert "hours" not in records.present
    assert "empty-file" in set(records.findings["rule"])


@pytest.mark.parametrize("value", ["9" * 24, "400000000", "10000001 m", "1e308"])
def test_a_length_beyond_any_roll_is_left_out(
    value: str, files: dict[str, bytes], tmp_path: Path
) -> None:
    """A number of 24 digits made a roll of 10²² metres."""
    put(files, "jobs.csv", "pulled_length", value)
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    rejected = records.findings[records.findings["severity"] == "rejected"]
    assert rejected[["row", "column"]].to_numpy().tolist() == [[2, "pulled_length"]]
    if "e" not in value:
        assert set(rejected["rule"]) == {"too-large"}
