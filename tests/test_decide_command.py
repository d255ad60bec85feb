"""`decide` as a person runs it: from a filled-in price sheet to rows of decisions."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook

from analysis.cli import main
from analysis.pricing.price_sheet_form import SHEET_NAME
from analysis.records.read import read_records
from analysis.report.folder import _manifest_text
from tests.pricing.made_sheet import (
    HOOD,
    ROOF,
    SIGN,
    cell_of,
    filled_sheet,
    input_cell,
    made_shop,
    price_list,
)
from tests.report.made_prices import FORMULA_LIKE
from tests.report.spreadsheet import needs_a_spreadsheet, saved_by_a_spreadsheet

ON = ("--on", "2026-10-05")


def add_review(folder: Path, quarter: str, sheet: Path, records: str | None = None) -> Path:
    """A review's folder beside the records, as far as `decide` looks at it."""
    out = folder.parent / f"review-{quarter}"
    out.mkdir()
    shutil.copy(sheet, out / "review.xlsx")
    facts = {"command": "review", "quarter": quarter, "records": records or folder.name}
    (out / "manifest.json").write_text(json.dumps(facts), encoding="utf-8")
    return out / "review.xlsx"


@pytest.fixture(scope="module")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheet of the made-up shop, with two prices filled in."""
    folder = tmp_path_factory.mktemp("decide")
    shop = made_shop(folder / "shop")
    return filled_sheet(shop, folder / "review.xlsx", {ROOF: 375, HOOD: 300}, {HOOD: "costs"})


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    return made_shop(tmp_path / "shop")


def test_decisions_are_written_and_said(
    shop: Path, filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["decide", str(shop), "--sheet", str(filled), *ON]) == 0
    said = capsys.readouterr()
    lines = said.out.splitlines()
    assert said.err == ""
    assert lines[0] == (
        "2 decisions of Oct 5, 2026, from review.xlsx; new prices from Nov 1, 2026 (no day in the "
        "sheet: the first of next month):"
    )
    assert lines[1].startswith(
        "- hood, every class without its own: $280 → $300 (+7.1%); expected: 52% of the "
        "quotes won, 2.20 h a job and $"
    )
    assert lines[2].startswith("- roof, compact car: $350 → $375 (+7.1%); expected: 48% of")
    assert "Made decisions.csv." in lines
    assert any("price_list too, with effective_from 2026-11-01" in line for line in lines)
    assert "competition law" in lines[-1]
    assert "nan" not in said.out.casefold()
    text = (shop / "decisions.csv").read_text(encoding="utf-8").splitlines()
    assert text[0].startswith("decided_on,service,vehicle_class,old_price,suggested_price,")
    assert text[1].startswith("2026-10-05,hood,,280,280,300,2026-11-01,costs,51.")
    assert text[2].startswith("2026-10-05,roof,compact car,350,375,375,2026-11-01,,47.86,2.9,")
    found = read_records(shop)
    assert len(found["decisions"]) == 2
    told = found.findings[found.findings["table"] == "decisions"]
    assert set(told["rule"]) == {"decision-not-in-list"}
    followed = price_list() + "roof,compact car,375,2026-11-01\nhood,,300,2026-11-01\n"
    (shop / "price_list.csv").write_text(followed, encoding="utf-8")
    assert "decision-not-in-list" not in set(read_records(shop).findings["rule"])


def test_the_same_sheet_twice_is_refused(
    shop: Path, filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["decide", str(shop), "--sheet", str(filled), *ON]) == 0
    before = (shop / "decisions.csv").read_bytes()
    capsys.readouterr()
    assert main(["decide", str(shop), "--sheet", str(filled), "--on", "2026-10-06"]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    lines = said.err.splitlines()
    assert len(lines) == 3
    assert all("the decisions already have a price" in line for line in lines[:2])
    assert lines[2] == (
        "Could not be done: 2 cells of review.xlsx cannot be taken, as said above; nothing was "
        "written."
    )
    assert (shop / "decisions.csv").read_bytes() == before


def test_a_dry_run_writes_nothing(
    shop: Path, filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    names = sorted(each.name for each in shop.iterdir())
    assert main(["decide", str(shop), "--sheet", str(filled), *ON, "--dry-run"]) == 0
    assert "Nothing was written; decisions.csv would be made." in capsys.readouterr().out
    assert sorted(each.name for each in shop.iterdir()) == names


def test_one_fault_refuses_all_in_one_line(
    shop: Path, filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = load_workbook(filled)
    cell = cell_of(book[SHEET_NAME], SIGN, "new_price")
    cell.value = "ask"
    book.save(tmp_path / "other.xlsx")
    assert main(["decide", str(shop), "--sheet", str(tmp_path / "other.xlsx"), *ON]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    (line,) = said.err.splitlines()
    assert line.startswith(f"Could not be done: other.xlsx, Price sheet!{cell.coordinate} (")
    assert f"({FORMULA_LIKE}, every class without its own): 'ask'" in line
    assert line.endswith("Nothing was written.")
    assert not (shop / "decisions.csv").exists()


def test_a_slip_of_a_zero_is_refused_unless_it_is_meant(
    shop: Path, filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = load_workbook(filled)
    cell = cell_of(book[SHEET_NAME], HOOD, "new_price")
    cell.value = 3000
    book.save(tmp_path / "other.xlsx")
    asked = ["decide", str(shop), "--sheet", str(tmp_path / "other.xlsx"), *ON]
    assert main(asked) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == (
        f"Could not be done: other.xlsx, Price sheet!{cell.coordinate} (hood, every class without "
        "its own): $3,000 is over twice the current price of $280. Mend the cell if a digit "
        "slipped; if it is meant, run this again with --far. Nothing was written.\n"
    )
    assert not (shop / "decisions.csv").exists()
    assert main([*asked, "--far"]) == 0
    out = capsys.readouterr().out
    assert "$280 → $3,000 (+971.4%)" in out
    assert "USD" not in out
    assert ".00" not in out
    assert len(read_records(shop)["decisions"]) == 2


def test_a_day_that_was_typed_in_is_not_called_left_blank(
    shop: Path, filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import datetime as dt

    book = load_workbook(filled)
    input_cell(book[SHEET_NAME], "first_day").value = dt.datetime(2026, 10, 12)
    book.save(tmp_path / "other.xlsx")
    assert main(["decide", str(shop), "--sheet", str(tmp_path / "other.xlsx"), *ON]) == 0
    first = capsys.readouterr().out.splitlines()[0]
    assert first.endswith("from other.xlsx; new prices from Oct 12, 2026:")


def test_the_newest_review_beside_the_records_is_taken(
    shop: Path, filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["decide", str(shop), *ON]) == 2
    assert "There is no review of shop beside it. Run review first" in capsys.readouterr().err
    old = load_workbook(filled)
    cell_of(old[SHEET_NAME], ROOF, "new_price").value = None
    old.save(tmp_path / "old.xlsx")
    add_review(shop, "2026Q2", tmp_path / "old.xlsx")
    add_review(shop, "2026Q3", filled)
    # Of another shop, and what is no review of ours.
    add_review(shop, "2026Q4", tmp_path / "old.xlsx", records="another")
    (tmp_path / "check").mkdir()
    (tmp_path / "check" / "manifest.json").write_text("{", encoding="utf-8")
    assert main(["decide", str(shop), *ON]) == 0
    assert capsys.readouterr().out.startswith("2 decisions")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--on", "5/10/2026"], "'5/10/2026' is no day; write it as 2026-10-05"),
        (["--sheet", "nowhere.xlsx"], "There is no file nowhere.xlsx"),
        (["--sheet", __file__], "is not an Excel workbook"),
    ],
)
def test_what_cannot_be_done_is_one_line(
    arguments: list[str], words: str, shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    try:
        status: Any = main(["decide", str(shop), *arguments])
    except SystemExit as stop:
        status = stop.code
    said = capsys.readouterr()
    assert status == 2
    (line,) = said.err.splitlines()
    assert words in line
    assert said.out == ""


def test_without_a_day_it_is_decided_today(
    shop: Path, filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The sheet's first day lies before today or after; either way today is what counts."""
    import datetime as dt

    before = dt.datetime.now().astimezone().date()
    book = load_workbook(filled)
    input_cell(book[SHEET_NAME], "first_day").value = dt.datetime(2020, 1, 1)
    book.save(tmp_path / "other.xlsx")
    assert main(["decide", str(shop), "--sheet", str(tmp_path / "other.xlsx")]) == 2
    # It may be midnight in between.
    days = {before, dt.datetime.now().astimezone().date()}
    said = capsys.readouterr().err
    assert any(f"2020-01-01 is before the day of the decision, {day}" in said for day in days)


def test_a_workbook_that_cannot_be_written_gives_the_rows(
    shop: Path, filled: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from openpyxl import Workbook

    book = Workbook()
    book.worksheets[0].title = "decisions"
    book.worksheets[0].append(
        ["decided_on", "service", "vehicle_class", "old_price", "new_price", "effective_from"]
    )
    book.worksheets[0]["H9"] = "=1+1"
    book.save(shop / "records.xlsx")
    assert main(["decide", str(shop), "--sheet", str(filled), *ON]) == 2
    said = capsys.readouterr()
    assert said.out.splitlines() == [
        "2026-10-05\thood\t\t280\t300\t2026-11-01\t\t",
        "2026-10-05\troof\tcompact car\t350\t375\t2026-11-01\t\t",
    ]
    assert "holds formulas, whose values would be lost (decisions!H9)" in said.err
    assert "paste the rows above" in said.err


@needs_a_spreadsheet
def test_from_the_program_that_saved_the_sheet_to_the_records(
    shop: Path, filled: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    book = load_workbook(filled)
    cell_of(book[SHEET_NAME], SIGN, "new_price").value = "=ROUND(145.2,0)"
    book.save(tmp_path / "mine.xlsx")
    (saved,) = saved_by_a_spreadsheet([tmp_path / "mine.xlsx"], tmp_path)
    assert main(["decide", str(shop), "--sheet", str(saved), *ON]) == 0
    assert capsys.readouterr().out.startswith("3 decisions of Oct 5, 2026, from mine.xlsx")
    found = read_records(shop)["decisions"].set_index("service")
    assert found["new_price"].to_dict() == {FORMULA_LIKE: 145, "hood": 300, "roof": 375}


# --- the review of which the sheet is ------------------------------------------------------------


def unchanged_review(shop: Path, out: Path) -> Path:
    """A review's folder as a review leaves it, its workbook alone."""
    out.mkdir()
    (out / "review.xlsx").write_bytes(b"as it was written")
    hashes = {"review.xlsx": hashlib.sha256(b"as it was written").hexdigest()}
    facts = {"command": "review", "records": shop.name, "files_written": hashes}
    (out / "manifest.json").write_text(_manifest_text(facts), encoding="utf-8")
    return out / "review.xlsx"


def test_a_review_over_a_filled_in_workbook_is_refused_before_the_work(
    shop: Path, filled: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(*_: object, **__: object) -> None:
        raise AssertionError("the work has begun")

    monkeypatch.setattr("analysis.review.review_records", work)
    out = shop.parent / "review-2026Q3"
    book = unchanged_review(shop, out)
    asked = ["review", str(shop), "--quarter", "2026Q3"]
    assert main(asked) == 2
    assert "the work has begun" in capsys.readouterr().err
    shutil.copy(filled, book)
    for arguments in (asked, [*asked, "--out", str(out)]):
        assert main(arguments) == 2
        (line,) = capsys.readouterr().err.splitlines()
        assert line == (
            f"Could not be done: {book} was changed after it was written: prices may be filled in "
            "there. Run decide first, which puts them into your records. Move it out of that "
            "folder then (or give another folder with --out), and run again."
        )
    assert book.read_bytes() == filled.read_bytes()
    book.unlink()
    assert main(asked) == 2
    assert "the work has begun" in capsys.readouterr().err
    (out / "mine.txt").write_text("mine", encoding="utf-8")
    assert main(asked) == 2
    assert "holds mine.txt, which was not written" in capsys.readouterr().err
    assert main(["review", str(shop), "--out", str(shop / "out")]) == 2
    assert "lies in the records folder" in capsys.readouterr().err
    assert main(["review", str(shop), "--out", str(filled)]) == 2
    assert "is a file. Move it" in capsys.readouterr().err
