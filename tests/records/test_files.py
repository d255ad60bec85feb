"""The records folder: each table found in one place, read once, and nothing left out unsaid."""

import datetime as dt
import hashlib
import io
import os
import zipfile
from collections.abc import Sequence
from pathlib import Path

import openpyxl
import pytest

from analysis.errors import RecordsError
from analysis.records import files
from analysis.records.files import RawFolder, near_table, read_raw_folder, refuse_repeated_names

TABLES = ("jobs", "hours", "purchases", "cuts", "stock_counts", "rates")
REQUIRED = ("jobs", "purchases")
CSV = "id,film\n1,VX\n"


def book(**sheets: Sequence[Sequence[object]]) -> bytes:
    workbook = openpyxl.Workbook()
    del workbook["Sheet"]
    for name, rows in sheets.items():
        sheet = workbook.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    out = io.BytesIO()
    workbook.save(out)
    return out.getvalue()


ROWS = (("id", "film"), (1, "VX"))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Make a folder with the required tables."""
    put(tmp_path, "jobs.csv", CSV)
    put(tmp_path, "purchases.csv", CSV)
    return tmp_path


def put(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def read(folder: Path) -> RawFolder:
    return read_raw_folder(folder, TABLES, REQUIRED)


def rules(found: RawFolder) -> list[tuple[str, str]]:
    assert all(note.severity == "doubtful" and note.row is None for note in found.notes)
    return [(note.rule, note.file) for note in found.notes]


def test_a_folder_of_csv_files(folder: Path) -> None:
    put(folder, "cuts.tsv", "id\tfilm\n7\tVX\n")
    put(folder, "photo.jpg", "x")
    put(folder, "notes.txt", "x")
    found = read(folder)
    assert found.folder == folder
    assert list(found.tables) == ["jobs", "purchases", "cuts"]
    assert [raw.file for raw in found.tables.values()] == ["jobs.csv", "purchases.csv", "cuts.tsv"]
    assert found.tables["cuts"].cells.to_numpy().tolist() == [["7", "VX"]]
    assert found.notes == ()


def test_names_of_files_and_sheets_are_compared_trimmed_and_without_case(tmp_path: Path) -> None:
    put(tmp_path, "JOBS.CSV", CSV)
    put(tmp_path, "Purchases .csv", CSV)
    put(tmp_path, "Records.XLSX", book(**{" Hours ": ROWS, "CUTS": ROWS}))
    found = read(tmp_path)
    assert list(found.tables) == ["jobs", "hours", "purchases", "cuts"]
    assert found.tables["hours"].file == "Records.XLSX, sheet Hours"
    assert found.notes == ()


def test_a_whole_workbook_of_records(tmp_path: Path) -> None:
    put(tmp_path, "records.xlsx", book(purchases=ROWS, jobs=ROWS, Notes=(("free",),)))
    found = read(tmp_path)
    assert [raw.file for raw in found.tables.values()] == [
        "records.xlsx, sheet jobs",
        "records.xlsx, sheet purchases",
    ]
    assert found.tables["jobs"].cells.to_numpy().tolist() == [[1, "VX"]]
    assert [source.file for source in found.sources] == ["records.xlsx"]
    assert found.notes == ()


def test_a_workbook_of_its_own_reads_the_sheet_of_its_name(folder: Path) -> None:
    put(folder, "hours.xlsx", book(First=(("no",),), Hours=ROWS))
    found = read(folder)
    assert found.tables["hours"].file == "hours.xlsx, sheet Hours"
    assert found.notes == ()


def test_a_workbook_of_its_own_reads_the_first_filled_sheet_and_tells_of_others(
    folder: Path,
) -> None:
    put(folder, "hours.xlsx", book(Blank=(), Spring=ROWS, Empty=(), Summer=ROWS))
    found = read(folder)
    assert found.tables["hours"].file == "hours.xlsx, sheet Spring"
    assert rules(found) == [("sheet-not-read", "hours.xlsx")]
    assert "not read: Summer" in found.notes[0].problem


@pytest.mark.parametrize(
    ("names", "listed"),
    [
        (("jobs.csv", "jobs.tsv"), "jobs.csv and jobs.tsv"),
        (("jobs.csv", "Jobs.csv"), "Jobs.csv and jobs.csv"),
        (("jobs.csv", "jobs.xlsx"), "jobs.csv and jobs.xlsx"),
        (("jobs.csv", "records.xlsx"), "jobs.csv and records.xlsx, sheet jobs"),
    ],
)
def test_a_table_in_two_places_is_refused(
    tmp_path: Path, names: tuple[str, str], listed: str
) -> None:
    put(tmp_path, "purchases.csv", CSV)
    for name in names:
        put(tmp_path, name, book(jobs=ROWS) if name.endswith("xlsx") else CSV)
    with pytest.raises(RecordsError, match=f"The table jobs stands in {listed}. Keep it"):
        read(tmp_path)


def test_two_sheets_of_one_name_are_refused(folder: Path) -> None:
    doubled = book(**{"hours": ROWS, "Hours ": ROWS})
    path = put(folder, "hours.xlsx", doubled)
    with pytest.raises(RecordsError, match=r"hours\.xlsx has two sheets called hours"):
        read(folder)
    path.rename(folder / "records.xlsx")
    with pytest.raises(RecordsError, match="sheet hours and records.xlsx, sheet Hours"):
        read(folder)


def test_missing_tables_are_named_with_the_place_and_the_remedy(tmp_path: Path) -> None:
    put(tmp_path, "hours.csv", CSV)
    with pytest.raises(RecordsError) as caught:
        read(tmp_path)
    line = str(caught.value)
    assert f"The records in {tmp_path} lack jobs and purchases" in line
    assert "jobs.csv, jobs.xlsx, purchases.csv" in line
    assert "\n" not in line
    assert "Found, but not it" not in line


def test_a_missing_table_names_what_may_be_meant(tmp_path: Path) -> None:
    put(tmp_path, "purchases.csv", CSV)
    put(tmp_path, "Jobs 2026.csv", CSV)
    put(tmp_path, "records.ods", "x")
    with pytest.raises(RecordsError, match=r"Found, but not it: Jobs 2026\.csv, records\.ods\."):
        read(tmp_path)


@pytest.mark.parametrize("content", ["", "\n\n", "\ufeff"])
@pytest.mark.parametrize("name", ["jobs.csv", "hours.csv"])
def test_an_empty_file(folder: Path, name: str, content: str) -> None:
    put(folder, name, content)
    if name == "jobs.csv":
        with pytest.raises(RecordsError, match=r"jobs\.csv is empty, and the table jobs is needed"):
            read(folder)
    else:
        found = read(folder)
        assert "hours" not in found.tables
        assert rules(found) == [("empty-file", "hours.csv")]


def test_empty_workbooks_and_sheets(folder: Path) -> None:
    put(folder, "hours.xlsx", b"")
    put(folder, "cuts.xlsx", book(one=()))
    put(folder, "records.xlsx", book(rates=()))
    found = read(folder)
    assert list(found.tables) == ["jobs", "purchases"]
    assert rules(found) == [("empty-file", f"{name}.xlsx") for name in ("hours", "cuts", "records")]
    put(folder, "records.xlsx", b"")
    assert ("empty-file", "records.xlsx") in rules(read(folder))


def test_a_header_alone_is_a_table_without_rows(folder: Path) -> None:
    put(folder, "jobs.csv", "id,film\n")
    assert read(folder).tables["jobs"].cells.shape == (0, 2)


@pytest.mark.parametrize("name", ["jobs.csv", "jobs.xlsx"])
def test_two_columns_of_one_name_are_refused(folder: Path, name: str) -> None:
    (folder / "jobs.csv").unlink()
    header = ("id", "Hours", "film", " hours")
    put(folder, name, book(jobs=[header]) if name.endswith("x") else ",".join(header))
    with pytest.raises(RecordsError, match=rf"{name}.*: columns B and D are both called 'hours'"):
        read(folder)


def test_columns_without_a_name_are_not_the_same() -> None:
    refuse_repeated_names(("a", "", "b", " "), "jobs.csv")
    with pytest.raises(RecordsError, match="columns A and C"):
        refuse_repeated_names(("Straße", "", "STRASSE"), "jobs.csv")


@pytest.mark.parametrize("suffix", [".xls", ".xlsm", ".xlsb", ".ods", ".numbers", ".XLS"])
def test_another_format_is_refused_where_it_is_the_only_one(folder: Path, suffix: str) -> None:
    put(folder, f"hours{suffix}", "x")
    with pytest.raises(RecordsError, match=f"hours{suffix} is in a format .* hours.xlsx or hours"):
        read(folder)
    put(folder, "hours.csv", CSV)
    assert rules(read(folder)) == [("format-not-read", f"hours{suffix}")]


def test_text_files_and_other_workbooks_of_records_are_told(folder: Path) -> None:
    put(folder, "hours.txt", "x")
    put(folder, "records.ods", "x")
    found = read(folder)
    assert rules(found) == [("format-not-read", "hours.txt"), ("format-not-read", "records.ods")]


def test_names_near_a_table_are_told(folder: Path) -> None:
    put(folder, "hour.csv", CSV)
    put(folder, "Cuts (1).csv", CSV)
    put(folder, "customers.csv", CSV)
    put(folder, "records.xlsx", book(**{"stock counts": ROWS, "Sheet1": ROWS}))
    put(folder, "rates.xlsx", book(rates=ROWS, hours=ROWS))
    found = read(folder)
    assert sorted(rules(found)) == [
        ("file-not-read", "Cuts (1).csv"),
        ("file-not-read", "hour.csv"),
        ("sheet-not-read", "rates.xlsx"),
        ("sheet-not-read", "records.xlsx"),
    ]
    assert "the table stock_counts" in " ".join(note.problem for note in found.notes)


@pytest.mark.parametrize(
    ("name", "table"),
    [
        ("job", "jobs"),
        ("Jobs 2026", "jobs"),
        ("copy of purchases", "purchases"),
        ("Stock-Counts", "stock_counts"),
        ("purchasse", "purchases"),
        ("customers", None),
        ("Sheet1", None),
        ("", None),
    ],
)
def test_near_names(name: str, table: str | None) -> None:
    assert near_table(name, TABLES) == table


def test_hidden_files_and_locks_are_passed_over(folder: Path) -> None:
    for name in ("~$jobs.xlsx", ".jobs.csv", ".~lock.jobs.csv#"):
        put(folder, name, "x")
    (folder / "hours").mkdir()
    found = read(folder)
    assert list(found.tables) == ["jobs", "purchases"]
    assert found.notes == ()


def test_every_file_read_is_hashed_once(folder: Path) -> None:
    put(folder, "shop.toml", 'currency = "USD"\n')
    put(folder, "records.xlsx", book(hours=ROWS, cuts=ROWS))
    put(folder, "other.csv", CSV)
    os.utime(folder / "jobs.csv", (1_780_000_000, 1_780_000_000))
    sources = {source.file: source for source in read(folder).sources}
    assert sorted(sources) == ["jobs.csv", "purchases.csv", "records.xlsx", "shop.toml"]
    for name, source in sources.items():
        data = (folder / name).read_bytes()
        assert source.sha256 == hashlib.sha256(data).hexdigest()
        assert source.size == len(data)
    assert sources["jobs.csv"].modified == dt.datetime(2026, 5, 28, 20, 26, 40, tzinfo=dt.UTC)


def test_progress_names_each_file(folder: Path) -> None:
    put(folder, "records.xlsx", book(hours=ROWS))
    lines: list[str] = []
    read_raw_folder(folder, TABLES, REQUIRED, lines.append)
    assert sorted(lines) == [
        "reading jobs.csv",
        "reading purchases.csv",
        "reading records.xlsx",
        "reading records.xlsx, sheet hours",
    ]


def test_links_to_files_are_followed_and_broken_ones_told(folder: Path, tmp_path: Path) -> None:
    target = put(tmp_path, "elsewhere.dat", CSV)
    (folder / "hours.csv").symlink_to(target)
    assert "hours" in read(folder).tables
    target.unlink()
    with pytest.raises(RecordsError, match=r"hours\.csv is a link to a file that is not there"):
        read(folder)


def test_a_folder_that_is_none(tmp_path: Path) -> None:
    with pytest.raises(RecordsError, match="There is no folder"):
        read(tmp_path / "nowhere")
    with pytest.raises(RecordsError, match="is a file; give the folder"):
        read(put(tmp_path, "jobs.csv", CSV))


def test_a_file_that_may_not_be_read(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(_: Path) -> bytes:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refuse)
    with pytest.raises(RecordsError, match=r"jobs\.csv cannot be read \(Permission denied\)"):
        read(folder)


@pytest.mark.parametrize("writes", [1, 2])
def test_a_file_that_changes_while_it_is_read(
    folder: Path, monkeypatch: pytest.MonkeyPatch, writes: int
) -> None:
    """Read again once; what is hashed and what is parsed are the same bytes."""
    true_read = Path.read_bytes
    left = [writes]

    def read_and_write(path: Path) -> bytes:
        data = true_read(path)
        if path.name == "jobs.csv" and left[0]:
            left[0] -= 1
            path.write_bytes(data + b"2,more\n")
        return data

    monkeypatch.setattr(Path, "read_bytes", read_and_write)
    if writes == 2:
        with pytest.raises(RecordsError, match=r"jobs\.csv is being written to"):
            read(folder)
        return
    found = read(folder)
    assert len(found.tables["jobs"].cells) == 2
    wanted = hashlib.sha256(true_read(folder / "jobs.csv")).hexdigest()
    assert {source.file: source.sha256 for source in found.sources}["jobs.csv"] == wanted


def test_a_file_too_large_is_refused(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "LARGEST_FILE", len(CSV))
    assert read(folder).tables
    monkeypatch.setattr(files, "LARGEST_FILE", len(CSV) - 1)
    with pytest.raises(RecordsError, match=r"jobs\.csv is over 0 MB, too large"):
        read(folder)


def test_a_damaged_workbook_names_itself(folder: Path) -> None:
    put(folder, "hours.xlsx", b"PK\x03\x04 nothing")
    with pytest.raises(
        RecordsError, match=r"^hours\.xlsx is damaged or unsafe: its end is missing"
    ):
        read(folder)


def test_macros_are_told_once_for_the_file(folder: Path) -> None:
    data = io.BytesIO(book(hours=ROWS))
    with zipfile.ZipFile(data, "a") as archive:
        archive.writestr("xl/vbaProject.bin", "x")
    put(folder, "records.xlsx", data.getvalue())
    assert rules(read(folder)) == [("macros-ignored", "records.xlsx")]
