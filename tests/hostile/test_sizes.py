"""What is made to be too much: bombs of markup and text, very many columns and rows."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.records import workbook as workbook_module
from analysis.records.archive import DEEPEST, LARGEST_MARK, LARGEST_TOTAL, MEGABYTE
from analysis.records.read import read_records
from tests.hostile.account import account_for
from tests.hostile.many_rows import write_many_rows
from tests.hostile.slices import demo_slice, write_files
from tests.records.test_workbook import packed, parts, read, refused, row, values

SHEET = "xl/worksheets/sheet1.xml"


def with_markup(markup: str) -> bytes:
    """A workbook with more markup before its rows."""
    content = parts(row('<c t="str"><v>1</v></c>'))
    content[SHEET] = content[SHEET].replace("<sheetData>", f"{markup}<sheetData>")
    return packed(content)


@pytest.mark.parametrize(
    "markup",
    ['<x a="{}"/>', "<!--{}-->", "<?x {}?>", "<{}/>", "<x {}/>"],
    ids=["attribute", "comment", "instruction", "name", "attributes"],
)
def test_markup_without_end_is_refused(markup: str) -> None:
    """Each piece of a file would be parsed from the beginning of the tag: time with the square."""
    size = LARGEST_MARK + MEGABYTE
    filling = (
        " ".join(f'a{at}="1"' for at in range(size // 8)) if markup == "<x {}/>" else "y" * size
    )
    refused(with_markup(markup.replace("{}", filling)), r"tag or comment of the part .* over 4 MB")


def test_deep_nesting_is_refused() -> None:
    refused(with_markup("<x>" * (DEEPEST + 1)), "one within the other")
    deep = "<x>" * (DEEPEST // 2)
    assert read(row('<c t="str"><v>1</v></c>'), after=deep + deep.replace("<", "</")).header == (
        "a",
    )


def test_a_long_number_format_is_not_looked_at_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    """A megabyte of brackets as a format took hours: the time goes with the square of it."""
    seen: list[int] = []
    real = workbook_module.is_date_format

    def count(code: str) -> bool:
        seen.append(len(code))
        return bool(real(code))

    monkeypatch.setattr(workbook_module, "is_date_format", count)
    content = parts(row('<c t="str"><v>1</v></c>'))
    styles = content["xl/styles.xml"]
    content["xl/styles.xml"] = styles.replace("General", "[" * MEGABYTE)
    workbook_module.open_workbook(packed(content), "records.xlsx")
    assert 100 < max(seen) <= 1_000


def test_one_part_is_one_sheet() -> None:
    content = parts(row('<c t="str"><v>1</v></c>'))
    sheet = '<sheet name="jobs" sheetId="1" r:id="r1"/>'
    main = content["xl/workbook.xml"].replace(sheet, sheet + sheet.replace("jobs", "hours"))
    refused(packed(content | {"xl/workbook.xml": main}), "two sheets are the one part")


def test_one_text_in_very_many_cells_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    """A megabyte of shared text in every cell: the file is small, and the rows are not."""
    assert LARGEST_TOTAL == 400 * MEGABYTE
    monkeypatch.setattr(workbook_module, "LARGEST_TOTAL", 50_000)
    cell = '<c t="s"><v>0</v></c>'
    rows = "".join(f'<row r="{at}">{cell}</row>' for at in range(2, 100))
    data = f'<row r="1"><c t="str"><v>a</v></c></row>{rows}'
    refused(packed(parts(data, f"<si><t>{'y' * 1_000}</t></si>")), "cells of sheet jobs hold over")


def test_half_a_letter_stays_as_it_is_written(tmp_path: Path) -> None:
    """`_xD800_` stands for no letter that any file can hold."""
    assert values('<c t="inlineStr"><is><t>a_xD800_b_x0041_</t></is></c>') == ["a_xD800_b_x0041_"]
    assert values('<c t="inlineStr"><is><t>a_x0041_</t></is></c>') == ["aA"]


def test_very_many_columns_are_told_and_the_rows_read(tmp_path: Path) -> None:
    more = 2_000
    lines = demo_slice()["jobs.csv"].decode().splitlines()
    names = ",".join(f"more {at}" for at in range(more))
    wide = [f"{lines[0]},{names}", *(line + ",1" * more for line in lines[1:])]
    files = {"purchases.csv": demo_slice()["purchases.csv"], "jobs.csv": "\n".join(wide).encode()}
    records = read_records(write_files(tmp_path / "shop", files))
    account_for(records)
    told = records.findings[records.findings["rule"] == "unknown-column"]
    assert len(told) == more
    assert len(records["jobs"]) == len(lines) - 1


def test_a_header_of_very_many_names_is_one_short_line(tmp_path: Path) -> None:
    """Every column unknown: the line that refuses the file names some of them."""
    names = ",".join(f"{'x' * 300}{at}" for at in range(1_000))
    files = {"purchases.csv": demo_slice()["purchases.csv"], "jobs.csv": f"{names}\n".encode()}
    with pytest.raises(Exception, match=r"jobs\.csv: there are no columns") as caught:
        read_records(write_files(tmp_path / "shop", files))
    assert len(str(caught.value)) < 5_000


def test_one_bad_row_among_very_many(tmp_path: Path) -> None:
    rows = 20_000
    records = read_records(write_many_rows(tmp_path / "shop", rows, bad=rows // 2))
    account_for(records)
    (source,) = [each for each in records.sources if each.table == "hours"]
    assert (source.rows_read, source.rows_rejected) == (rows, 1)
    (bad,) = records.findings[records.findings["severity"] == "rejected"].itertuples()
    assert (bad.row, bad.column) == (rows // 2 + 1, "hours")
