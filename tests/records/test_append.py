"""Rows at the end of a record table: what stood there stays, and whatever is odd is refused."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.chart import BarChart, Reference
from openpyxl.comments import Comment
from openpyxl.worksheet.table import Table as SheetTable

from analysis.errors import OutputError
from analysis.record_tables import RECORD_TABLES
from analysis.records import append
from analysis.records.append import NotAppended, append_rows
from analysis.records.model import Records
from analysis.records.read import read_records
from analysis.records.template import write_template
from tests.records.conftest import TABLES

DECISIONS = RECORD_TABLES["decisions"]
HEADER = "decided_on,service,vehicle_class,old_price,suggested_price,new_price,effective_from,note"
OLD = "2026-07-30,roof,compact car,440,465,460,2026-08-03,costs rose"
NEW_NAMES = "expected_win_pct,expected_hours,expected_margin"


def rows(**changed: Any) -> pd.DataFrame:
    """Two decisions; the second has no class, no note and nothing that was expected."""
    frame = pd.DataFrame(
        {
            "decided_on": pd.to_datetime(["2026-10-05"] * 2),
            "service": pd.Series(["hood", "roof"], dtype="str"),
            "vehicle_class": pd.Series(["minivan", None], dtype="str"),
            "old_price": [260.0, 480.0],
            "suggested_price": [275.0, np.nan],
            "new_price": [279.5, 1495.0],
            "effective_from": pd.to_datetime(["2026-11-01"] * 2),
            "note": pd.Series(['Inés said: "go"; why not', None], dtype="str"),
            "expected_win_pct": [52.55, np.nan],
            "expected_hours": [2.25, np.nan],
            "expected_margin": [-12.4, np.nan],
        }
    )
    return frame.assign(**changed)


def folder_with(
    tmp_path: Path, content: bytes | None, toml: str = "", name: str = "decisions.csv"
) -> Path:
    folder = tmp_path / "records"
    folder.mkdir(exist_ok=True)
    (folder / "shop.toml").write_text(toml, encoding="utf-8")
    for table in ("jobs", "purchases"):
        (folder / f"{table}.csv").write_text(TABLES[table], encoding="utf-8")
    if content is not None:
        (folder / name).write_bytes(content)
    return folder


def appended(folder: Path, frame: pd.DataFrame | None = None, **more: Any) -> Records:
    append_rows(
        folder, "decisions", rows() if frame is None else frame, read_records(folder), **more
    )
    return read_records(folder)


def assert_added(records: Records, count: int, frame: pd.DataFrame | None = None) -> None:
    """The last rows are the new ones, and so many stand before them."""
    wanted = rows() if frame is None else frame
    found = records["decisions"]
    assert len(found) == count + len(wanted)
    added = found.tail(len(wanted)).drop(columns="row").reset_index(drop=True)
    pd.testing.assert_frame_equal(added[DECISIONS.inside_names], wanted, check_dtype=False)
    assert not records.rejected


def test_a_file_with_every_column_keeps_its_bytes(tmp_path: Path) -> None:
    before = f"{HEADER},{NEW_NAMES}\n{OLD},,,\n".encode()
    folder = folder_with(tmp_path, before)
    records = appended(folder)
    assert_added(records, 1)
    after = (folder / "decisions.csv").read_bytes()
    new = (
        '2026-10-05,hood,minivan,260,275,279.5,2026-11-01,"Inés said: ""go""; why not",'
        "52.55,2.25,-12.4\n2026-10-05,roof,,480,,1495,2026-11-01,,,,\n"
    )
    assert after == before + new.encode()


def test_a_header_that_lacks_columns_grows_and_rows_stay(tmp_path: Path) -> None:
    before = f"{HEADER}\n{OLD}\n".encode()
    folder = folder_with(tmp_path, before)
    found = append_rows(folder, "decisions", rows(), read_records(folder))
    assert (found.place, found.made, found.left_out) == ("decisions.csv", False, ())
    lines = (folder / "decisions.csv").read_text(encoding="utf-8").splitlines()
    assert lines[:2] == [f"{HEADER},{NEW_NAMES}", OLD]
    assert_added(read_records(folder), 1)


def test_columns_without_anything_in_them_are_not_added(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, f"{HEADER}\n{OLD}\n".encode())
    appended(folder, rows().iloc[1:].reset_index(drop=True))
    assert (folder / "decisions.csv").read_text(encoding="utf-8").splitlines()[0] == HEADER


COMMA = 'decimal_comma = true\ncurrency = "EUR"\nlocale = "de-DE"\n'
OWN = COMMA + (
    '[columns.decisions]\n"Entschieden am" = "decided_on"\nLeistung = "service"\n'
    'Klasse = "vehicle_class"\n"Preis alt" = "old_price"\n"Preis neu" = "new_price"\n'
    'Ab = "effective_from"\nVorschlag = "suggested_price"\nNotiz = "note"\n'
    'Marge = "expected_margin"\n'
)
OWN_HEADER = "Nr;Leistung;Klasse;Entschieden am;Preis neu;Preis alt;Ab;Vorschlag;Notiz"
OWN_ROW = "7;Haube;;2026-03-01;1.250,50;1.200,00;2026-04-01;;größer"


@pytest.mark.parametrize(
    ("toml", "content"),
    [
        ("", f"{HEADER}\r\n{OLD}\r\n".encode()),
        ("", f"{HEADER}\r\n{OLD}".encode()),
        ("", f"{HEADER}\n{OLD}".encode("utf-8-sig")),
        ("", f"{HEADER}\n{OLD}\n\n\n".encode()),
        ("", f"\n\n{HEADER}\n{OLD}\n".encode()),
        ("", f"sep=,\n{HEADER}\n{OLD}\n".encode()),
        ("", f"{HEADER}\r\n{OLD}\r\n".encode("utf-16")),
        ("", f"{HEADER}\r\n{OLD}\r\n".replace(",", "\t").encode()),
        ("", f"{HEADER},mine\n{OLD},x\n".encode()),
        ("", f'{HEADER}\n{OLD[:-10]}"costs\nrose"\n'.encode()),
        ("", f"{HEADER}\n".encode()),
        (COMMA, f"{HEADER}\r\n{OLD}\r\n".replace(",", ";").encode("cp1252")),
        (OWN, f"{OWN_HEADER}\r\n{OWN_ROW}\r\n".encode("cp1252")),
        (OWN, f"{OWN_HEADER}\n{OWN_ROW}".encode()),
    ],
    ids=["crlf", "no end", "marked", "blank ends", "blank begin", "sep", "utf-16", "tab",
         "own column", "line break", "header only", "semicolon", "own names cp1252", "own names"],
)  # fmt: skip
def test_every_way_of_writing_a_text_file(toml: str, content: bytes, tmp_path: Path) -> None:
    folder = folder_with(tmp_path, content, toml)
    before = read_records(folder)["decisions"]
    records = appended(folder)
    assert_added(records, len(before))
    pd.testing.assert_frame_equal(records["decisions"].head(len(before)), before)
    after = (folder / "decisions.csv").read_bytes()
    encoding = next((each for each in ("utf-16",) if content[:2] == b"\xff\xfe"), None)
    if encoding is None:
        head = content.index(b"\n" if b"expected" in content else b"d", 0)
        assert after[:head] == content[:head]
        assert after.count(b"\r\n") in (0, after.count(b"\n"))
        assert (b"\r\n" in after) == (b"\r\n" in content)


def test_the_shops_own_words_name_new_columns(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, f"{OWN_HEADER}\r\n{OWN_ROW}\r\n".encode("cp1252"), OWN)
    appended(folder)
    lines = (folder / "decisions.csv").read_bytes().decode("cp1252").split("\r\n")
    assert lines[0] == f"{OWN_HEADER};expected_win_pct;expected_hours;marge"
    assert lines[1] == OWN_ROW
    assert lines[2].split(";")[:3] == ["", "hood", "minivan"]
    assert "279,5" in lines[2]


def test_a_header_with_cells_without_a_name_is_left_alone(tmp_path: Path) -> None:
    before = f"{HEADER},,\n{OLD},,\n".encode()
    folder = folder_with(tmp_path, before)
    found = append_rows(folder, "decisions", rows(), read_records(folder))
    assert found.left_out == ("expected_win_pct", "expected_hours", "expected_margin")
    assert (folder / "decisions.csv").read_bytes().startswith(before)
    assert len(read_records(folder)["decisions"]) == 3


def test_old_rows_that_a_longer_header_would_change_keep_it_short(tmp_path: Path) -> None:
    """A row with a cell too many is rejected; a longer header would make it a figure."""
    before = f"{HEADER}\n{OLD},77\n{OLD.replace('roof', 'hood')}\n".encode()
    folder = folder_with(tmp_path, before)
    found = append_rows(folder, "decisions", rows(), read_records(folder))
    assert found.left_out == ("expected_win_pct", "expected_hours", "expected_margin")
    assert (folder / "decisions.csv").read_bytes().startswith(before)


def test_text_that_looks_like_a_formula_stays_text(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, f"{HEADER}\n".encode())
    frame = rows(service=pd.Series(["=1+1", "roof"], dtype="str"))
    frame["note"] = pd.Series(["@now", "-12"], dtype="str")
    assert_added(appended(folder, frame), 0, frame)
    assert ",'=1+1," in (folder / "decisions.csv").read_text(encoding="utf-8")


def test_a_note_of_several_lines_goes_on_one(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, f"{HEADER}\n{OLD}\n".encode())
    records = appended(folder, rows(note=pd.Series(["one\n two", None], dtype="str")))
    assert records["decisions"]["note"].to_list()[1] == "one two"


# --- refused -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "words"),
    [
        (HEADER.replace("vehicle_class", "size"), "no column for vehicle_class"),
        (HEADER.replace(",old_price", ",was"), "no column for old_price"),
    ],
)
def test_a_table_without_a_needed_column_is_refused(
    header: str, words: str, tmp_path: Path
) -> None:
    before = f"{header}\n{OLD}\n".encode()
    folder = folder_with(tmp_path, before)
    with pytest.raises(OutputError, match=words):
        append_rows(folder, "decisions", rows(), read_records(folder))
    assert (folder / "decisions.csv").read_bytes() == before


def test_a_letter_that_the_file_cannot_hold_is_refused(tmp_path: Path) -> None:
    before = f"{HEADER}\n{OLD.replace('rose', 'größer')}\n".encode("cp1252")
    folder = folder_with(tmp_path, before)
    with pytest.raises(OutputError, match=r"no UTF-8 file and cannot hold '🚗'"):
        appended(folder, rows(note=pd.Series(["🚗", None], dtype="str")))
    assert (folder / "decisions.csv").read_bytes() == before


def test_an_open_quotation_mark_at_the_end_swallows_nothing(tmp_path: Path) -> None:
    before = f'{HEADER}\n{OLD[:-10]}"costs'.encode()
    folder = folder_with(tmp_path, before)
    append_rows(folder, "decisions", rows(), read_records(folder))
    records = read_records(folder)
    assert records["decisions"]["service"].to_list() == ["hood", "roof"]
    assert set(records.rejected) == {"decisions"}


def test_what_would_be_read_otherwise_is_refused(tmp_path: Path) -> None:
    before = f"{HEADER}\n{OLD}\n".encode()
    toml = '[aliases.service]\nhood = "bonnet"\n'
    folder = folder_with(tmp_path, before, toml)
    with pytest.raises(OutputError, match="would not be read back as they were meant"):
        appended(folder)
    assert (folder / "decisions.csv").read_bytes() == before


def test_a_file_that_was_changed_meanwhile_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, f"{HEADER}\n{OLD}\n".encode())
    records = read_records(folder)
    path = folder / "decisions.csv"
    path.write_text(f"{HEADER}\n{OLD}\n{OLD.replace('roof', 'hood')}\n", encoding="utf-8")
    with pytest.raises(OutputError, match="was changed since it was read"):
        append_rows(folder, "decisions", rows(), records)
    # Between our last look and the rename.
    records, before = read_records(folder), path.read_bytes()

    def meddle(source: Path, target: Path) -> None:
        shutil.copystat(source, target)
        path.write_bytes(before + b"2026-10-02,hood,,1,1,1,2026-10-09,mine\n")

    monkeypatch.setattr(append.shutil, "copymode", meddle)
    with pytest.raises(OutputError, match="was changed since it was read"):
        append_rows(folder, "decisions", rows(), records)
    assert path.read_bytes().endswith(b"mine\n")
    assert sorted(each.name for each in folder.iterdir()) == [
        "decisions.csv", "jobs.csv", "purchases.csv", "shop.toml",
    ]  # fmt: skip


def test_a_table_that_appeared_or_went_meanwhile_is_refused(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, None)
    records = read_records(folder)
    (folder / "decisions.csv").write_text(f"{HEADER}\n{OLD}\n", encoding="utf-8")
    with pytest.raises(OutputError, match="was changed since it was read"):
        append_rows(folder, "decisions", rows(), records)
    records = read_records(folder)
    (folder / "decisions.csv").unlink()
    with pytest.raises(OutputError, match="was changed since it was read"):
        append_rows(folder, "decisions", rows(), records)


@pytest.mark.parametrize("mark", ["~$decisions.csv", ".~lock.decisions.csv#"])
def test_a_file_that_is_open_is_refused(mark: str, tmp_path: Path) -> None:
    folder = folder_with(tmp_path, f"{HEADER}\n{OLD}\n".encode())
    (folder / mark).write_text("")
    with pytest.raises(OutputError, match=r"is open in a spreadsheet program: .*decisions.csv"):
        appended(folder)


def test_a_full_disk_leaves_the_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = f"{HEADER}\n{OLD}\n".encode()
    folder = folder_with(tmp_path, before)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(append.os, "fsync", full)
    with pytest.raises(OutputError, match="No space left on device.*it is as it was"):
        appended(folder)
    assert (folder / "decisions.csv").read_bytes() == before
    assert not [each for each in folder.iterdir() if each.name.startswith(".")]


def test_a_read_only_file_or_folder_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = folder_with(tmp_path, f"{HEADER}\n{OLD}\n".encode())
    monkeypatch.setattr(append.os, "access", lambda *_: False)
    with pytest.raises(OutputError, match="read-only, or it is open in another program"):
        appended(folder)
    monkeypatch.undo()

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(append.tempfile, "mkstemp", refuse)
    with pytest.raises(OutputError, match="read-only, or it is open in another program"):
        appended(folder)


def test_mode_and_link_of_the_file_are_kept(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, None)
    real = tmp_path / "elsewhere.csv"
    real.write_text(f"{HEADER}\n{OLD}\n", encoding="utf-8")
    real.chmod(0o640)
    (folder / "decisions.csv").symlink_to(real)
    assert_added(appended(folder), 1)
    assert (folder / "decisions.csv").is_symlink()
    assert real.stat().st_mode & 0o777 == 0o640
    assert len(real.read_text(encoding="utf-8").splitlines()) == 4


def test_trying_writes_nothing(tmp_path: Path) -> None:
    before = f"{HEADER}\n{OLD}\n".encode()
    folder = folder_with(tmp_path, before)
    assert len(appended(folder, write=False)["decisions"]) == 1
    assert (folder / "decisions.csv").read_bytes() == before
    (folder / "decisions.csv").unlink()
    assert append_rows(folder, "decisions", rows(), read_records(folder), write=False).made
    assert not (folder / "decisions.csv").exists()


# --- a file that is not there --------------------------------------------------------------------


def test_a_new_file_is_made_in_the_form_of_the_others(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, None, OWN)
    jobs = (folder / "jobs.csv").read_text(encoding="utf-8")
    (folder / "jobs.csv").write_text(jobs.replace(";", "|").replace(",", ";"), encoding="utf-8")
    found = append_rows(folder, "decisions", rows(), read_records(folder))
    assert (found.place, found.made) == ("decisions.csv", True)
    content = (folder / "decisions.csv").read_bytes()
    assert content.startswith(b"\xef\xbb\xbf")
    head = content.decode("utf-8-sig").splitlines()[0]
    assert head.startswith("entschieden am;leistung;klasse;preis alt;vorschlag;preis neu;ab;notiz")
    assert_added(read_records(folder), 0)


def test_an_empty_file_is_filled(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, b"", name="Decisions.CSV")
    assert_added(appended(folder), 0)
    other = folder / "decisions.csv"
    assert not other.exists() or other.samefile(folder / "Decisions.CSV")


# --- workbooks -----------------------------------------------------------------------------------


def workbook(tmp_path: Path, *, head: str = HEADER, alone: bool = False) -> tuple[Path, Workbook]:
    """Records in a workbook; the caller changes it and saves it."""
    folder = folder_with(tmp_path, None)
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "decisions"
    sheet.append(head.split(","))
    cells: list[Any] = list(OLD.split(","))
    cells[0], cells[6] = pd.Timestamp(cells[0]), pd.Timestamp(cells[6])
    cells[3:6] = map(float, cells[3:6])
    sheet.append(cells)
    sheet["A2"].number_format = sheet["G2"].number_format = "d mmm yyyy"
    if not alone:
        other = book.create_sheet("rates")
        other.append(["installer", "effective_from", "wage"])
        other.append(["00123", pd.Timestamp("2026-01-01"), 25.5])
        other["A1"].comment = Comment("who", "")
    return folder, book


@pytest.mark.parametrize("alone", [False, True])
def test_rows_go_under_the_last_row_of_a_sheet(alone: bool, tmp_path: Path) -> None:
    folder, book = workbook(tmp_path, alone=alone)
    name = "decisions.xlsx" if alone else "records.xlsx"
    book.save(folder / name)
    before = read_records(folder)
    found = append_rows(folder, "decisions", rows(), before)
    assert found.place == f"{name}, sheet decisions"
    records = read_records(folder)
    assert_added(records, 1)
    pd.testing.assert_frame_equal(records["rates"], before["rates"])
    sheet = load_workbook(folder / name)["decisions"]
    assert sheet["A3"].number_format == "d mmm yyyy"
    assert sheet["I1"].value == "expected_win_pct"
    assert (sheet["K3"].value, sheet["K4"].value) == (-12.4, None)


def test_the_template_takes_rows(tmp_path: Path) -> None:
    folder = folder_with(tmp_path, None)
    write_template(tmp_path / "template")
    book = load_workbook(tmp_path / "template" / "records.xlsx")
    for name in ("jobs", "purchases"):
        del book[name]
    book.save(folder / "records.xlsx")
    assert_added(appended(folder), 0)


def test_a_table_of_the_sheet_grows_with_its_rows(tmp_path: Path) -> None:
    folder, book = workbook(tmp_path, head=f"{HEADER},{NEW_NAMES}")
    book["decisions"].add_table(SheetTable(displayName="d", ref="A1:K2"))
    book.save(folder / "records.xlsx")
    assert_added(appended(folder), 1)
    table = load_workbook(folder / "records.xlsx")["decisions"].tables["d"]
    assert (table.ref, table.autoFilter.ref) == ("A1:K4", "A1:K4")


def test_a_table_of_the_sheet_keeps_its_columns(tmp_path: Path) -> None:
    folder, book = workbook(tmp_path)
    book["decisions"].add_table(SheetTable(displayName="d", ref="A1:H2"))
    book.save(folder / "records.xlsx")
    found = append_rows(folder, "decisions", rows(), read_records(folder))
    assert found.left_out == ("expected_win_pct", "expected_hours", "expected_margin")


def with_formula(book: Workbook) -> None:
    book["rates"]["C2"] = "=20+5.5"


def with_chart(book: Workbook) -> None:
    chart = BarChart()
    chart.add_data(Reference(book["rates"], min_col=3, min_row=1, max_row=2))
    book["rates"].add_chart(chart, "E5")


@pytest.mark.parametrize(("spoil", "words"), [(with_formula, "formulas"), (with_chart, "charts")])
def test_what_would_be_lost_is_refused_and_the_rows_are_given(
    spoil: Any, words: str, tmp_path: Path
) -> None:
    folder, book = workbook(tmp_path)
    spoil(book)
    book.save(folder / "records.xlsx")
    before = (folder / "records.xlsx").read_bytes()
    with pytest.raises(NotAppended, match=f"records.xlsx holds .*{words}") as caught:
        append_rows(folder, "decisions", rows(), read_records(folder))
    assert caught.value.rows == (
        '2026-10-05\thood\tminivan\t260\t275\t279.5\t2026-11-01\tInés said: "go"; why not',
        "2026-10-05\troof\t\t480\t\t1495\t2026-11-01\t",
    )
    assert (folder / "records.xlsx").read_bytes() == before


@pytest.mark.parametrize(
    ("cells", "named"),
    [
        (("rates!C2",), "(rates!C2)"),
        (
            ("rates!C2", "decisions!D9", "rates!C9", "rates!D9", "rates!E9"),
            "(decisions!D9, rates!C2, rates!C9 and 2 more)",
        ),
    ],
)
def test_formulas_are_named_with_what_to_do(
    cells: tuple[str, ...], named: str, tmp_path: Path
) -> None:
    folder, book = workbook(tmp_path)
    for each in cells:
        sheet, _, place = each.partition("!")
        book[sheet][place] = "=20+5.5"
    book.save(folder / "records.xlsx")
    known = read_records(folder)
    with pytest.raises(NotAppended) as caught:
        append_rows(folder, "decisions", rows(), known)
    assert str(caught.value) == (
        f"records.xlsx holds formulas, whose values would be lost {named}, so it is not written "
        "anew; nothing was written. Put the values in place of the formulas (copy, paste as "
        "values) and run this again, or paste the rows above under the last row of the sheet "
        "decisions."
    )


def test_features_of_newer_programs_are_refused(tmp_path: Path) -> None:
    import zipfile

    folder, book = workbook(tmp_path)
    packed = io.BytesIO()
    book.save(packed)
    for part, old, new in (
        ("xl/worksheets/sheet2.xml", b"</worksheet>", b"<extLst><ext/></extLst></worksheet>"),
        ("xl/externalLinks/externalLink1.xml", b"", b"<x/>"),
        ("xl/vbaProject.bin", b"", b"x"),
    ):
        with (
            zipfile.ZipFile(io.BytesIO(packed.getvalue())) as source,
            zipfile.ZipFile(folder / "records.xlsx", "w") as target,
        ):
            for name in source.namelist():
                content = source.read(name)
                target.writestr(name, content.replace(old, new) if name == part else content)
            if not old:
                target.writestr(part, new)
        with pytest.raises(NotAppended, match="holds"):
            append_rows(folder, "decisions", rows(), read_records(folder))


def test_an_empty_sheet_is_refused(tmp_path: Path) -> None:
    folder, book = workbook(tmp_path)
    del book["decisions"]
    book.create_sheet("decisions")
    book.save(folder / "records.xlsx")
    with pytest.raises(OutputError, match="records.xlsx has an empty sheet for decisions"):
        append_rows(folder, "decisions", rows(), read_records(folder))
    assert not (folder / "decisions.csv").exists()
