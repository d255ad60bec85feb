"""The template: the reader takes it as it is, empty or filled in, and `shop.toml` stays valid."""

import errno
import io
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.utils import range_boundaries
from openpyxl.worksheet.worksheet import Worksheet

from analysis.errors import OutputError
from analysis.record_tables import RECORD_TABLES, VEHICLE_CLASSES
from analysis.records.read import read_records
from analysis.records.template import (
    EXAMPLES,
    HELP_SHEETS,
    LISTS,
    READ_ME,
    example_value,
    records_template,
    settings_template,
    write_template,
)
from analysis.schema import Kind
from analysis.settings import Settings, known_keys, parse_settings
from analysis.units import parse_length

EVERY_COLUMN = [
    (table.name, column) for table in RECORD_TABLES.values() for column in table.columns
]


@pytest.fixture(scope="module")
def book() -> Workbook:
    """The template as a file holds it."""
    buffer = io.BytesIO()
    records_template().save(buffer)
    return load_workbook(buffer)


def header(sheet: Any) -> list[Any]:
    return [cell.value for cell in sheet[1]]


def validations(book: Workbook) -> dict[tuple[str, str], Any]:
    """The validation of every column that has one, by table and column."""
    found = {}
    for name, table in RECORD_TABLES.items():
        sheet = book[name]
        assert isinstance(sheet, Worksheet)
        for rule in sheet.data_validations.dataValidation:
            at = range_boundaries(str(rule.sqref))[0]
            found[name, table.columns[at - 1].name] = rule
    return found


# --- records.xlsx --------------------------------------------------------------------------------


def test_a_sheet_a_table_in_order_between_help(book: Workbook) -> None:
    assert book.sheetnames == [READ_ME, EXAMPLES, *RECORD_TABLES, LISTS]
    assert not set(HELP_SHEETS) & set(RECORD_TABLES)


@pytest.mark.parametrize("name", RECORD_TABLES)
def test_a_table_is_its_header_and_nothing_else(book: Workbook, name: str) -> None:
    sheet = book[name]
    assert header(sheet) == RECORD_TABLES[name].names
    assert sheet.max_row == 1
    assert sheet.freeze_panes in ("A2", "B2")


def test_every_column_has_a_note_that_says_all_about_it(book: Workbook) -> None:
    for name, column in EVERY_COLUMN:
        at = RECORD_TABLES[name].names.index(column.name) + 1
        text = book[name].cell(1, at).comment.text
        assert column.sentence in text
        assert text.startswith("REQUIRED." if column.required else "Optional.")
        assert f"Blank means: {column.default}." in text or not column.default
        assert f"Example: {column.example}" in text or not column.example
        assert all(word in text for word in column.words)


def test_notes_name_the_units_of_the_shop() -> None:
    settings = parse_settings('currency = "EUR"\nlength_unit = "cm"\narea_unit = "m2"')
    sheet = records_template(settings)["jobs"]
    notes = {cell.value: cell.comment.text for cell in sheet[1]}
    assert "a length in cm" in notes["pulled_length"]
    assert "an area in m2" in notes["finished_area"]
    assert "an amount in EUR" in notes["quoted_price"]


def test_required_columns_differ_in_more_than_colour(book: Workbook) -> None:
    for name, column in EVERY_COLUMN:
        cell = book[name].cell(1, RECORD_TABLES[name].names.index(column.name) + 1)
        assert bool(cell.font.bold) == column.required
        assert cell.border.bottom.style == ("thick" if column.required else "thin")


def test_closed_lists_stop_and_open_ones_let_through(book: Workbook) -> None:
    found = validations(book)
    for name, column in EVERY_COLUMN:
        rule = found.pop((name, column.name), None)
        if column.kind is Kind.CHOICE:
            assert rule.formula1 == f'"{",".join(column.words)}"'
            assert rule.errorStyle == ("stop" if column.kept_as is None else "warning")
            assert rule.showErrorMessage
            assert len(rule.formula1) <= 257
        elif column.kind is Kind.YES_NO:
            assert (rule.formula1, rule.showErrorMessage) == ('"yes,no"', True)
        elif column.words:
            assert rule.formula1.startswith(f"{LISTS}!$")
            assert not rule.showErrorMessage
        else:
            assert rule is None, "nothing but lists is validated: 68 in is a length too"
    assert not found


def test_suggested_words_stand_where_the_lists_point(book: Workbook) -> None:
    rule = validations(book)["jobs", "vehicle_class"]
    column, first, last = re.fullmatch(
        rf"{LISTS}!\$([A-Z])\$(\d+):\$\1\$(\d+)", rule.formula1
    ).groups()  # type: ignore[union-attr]
    cells = book[LISTS][f"{column}{first}:{column}{last}"]
    words = [row[0].value for row in cells]
    assert words[: len(VEHICLE_CLASSES)] == list(VEHICLE_CLASSES)
    assert words[len(VEHICLE_CLASSES) :] == [None] * 40


def test_formats_keep_what_is_typed(book: Workbook) -> None:
    formats = {}
    for name, column in EVERY_COLUMN:
        letter = book[name].cell(1, RECORD_TABLES[name].names.index(column.name) + 1).column_letter
        formats[name, column.name] = book[name].column_dimensions[letter].number_format
    assert formats["jobs", "job_id"] == "@"
    assert formats["jobs", "model"] == "@"
    assert formats["jobs", "quoted_on"] == "yyyy-mm-dd"
    assert formats["jobs", "quoted_price"] == "#,##0.00"
    # Under a number format, 2:45 would become 0.11 hours without a word.
    assert formats["hours", "hours"] == "General"
    assert formats["cuts", "pulled_length"] == "General"


def test_example_rows_are_marked_and_stand_apart(book: Workbook) -> None:
    sheet = book[EXAMPLES]
    assert "invented shop" in sheet["A1"].value
    assert "Nothing on this sheet is read." in sheet["A2"].value
    rows = {tuple(c.value for c in row if c.value is not None): row[0].row for row in sheet}
    for table in RECORD_TABLES.values():
        at = rows[tuple(table.names)]
        for cell, column in zip(sheet[at + 1], table.columns, strict=False):
            expected = example_value(column)
            found = (
                cell.value.date()
                if column.kind in (Kind.DATE, Kind.MONTH) and cell.value
                else (cell.value)
            )
            assert found == expected, (table.name, column.name)
            assert bool(cell.font.italic)


def test_examples_are_valid_values() -> None:
    for name, column in EVERY_COLUMN:
        value = example_value(column)
        if value is None:
            assert not column.required, (name, column.name)
        elif column.kind is Kind.LENGTH:
            assert parse_length(str(value), "in") > 0
        elif column.kind is Kind.CHOICE:
            assert value in column.words
        elif isinstance(value, int | float):
            assert column.minimum is None or value >= column.minimum


def filled(folder: Path) -> None:
    """Write the template and copy its worked rows into the sheets, as a person would."""
    write_template(folder)
    book = load_workbook(folder / "records.xlsx")
    for name, table in RECORD_TABLES.items():
        for at, column in enumerate(table.columns, 1):
            book[name].cell(2, at).value = example_value(column)
    book.save(folder / "records.xlsx")


def test_the_filled_template_reads_without_deleting_anything(tmp_path: Path) -> None:
    filled(tmp_path / "shop")
    records = read_records(tmp_path / "shop")
    assert {name: len(records[name]) for name in RECORD_TABLES} == dict.fromkeys(RECORD_TABLES, 1)
    assert records.rejected == {}
    assert "rejected" not in set(records.findings["severity"])


def test_the_untouched_template_reads_as_empty_tables(tmp_path: Path) -> None:
    write_template(tmp_path / "shop")
    records = read_records(tmp_path / "shop")
    assert not records.has(*RECORD_TABLES)
    assert all(len(records[name]) == 0 for name in RECORD_TABLES)
    assert records.rejected == {}


@pytest.mark.skipif(shutil.which("soffice") is None, reason="needs a spreadsheet program")
def test_the_template_survives_a_spreadsheet_program(tmp_path: Path) -> None:
    write_template(tmp_path / "shop")
    profile, out = (tmp_path / "profile").as_uri(), tmp_path / "out"
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--norestore"]
    command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(out)]
    command.append(str(tmp_path / "shop" / "records.xlsx"))
    subprocess.run(command, check=True, timeout=180)  # noqa: S603
    book = load_workbook(out / "records.xlsx")
    for name, table in RECORD_TABLES.items():
        assert [cell.value for cell in book[name][1]][: len(table.columns)] == table.names
        assert book[name]["A2"].value is None
    assert len(validations(book)) == len(validations(load_workbook(tmp_path / "shop/records.xlsx")))


# --- shop.toml -----------------------------------------------------------------------------------


def test_the_untouched_settings_are_the_defaults() -> None:
    assert parse_settings(settings_template()) == Settings()


def test_with_every_line_uncommented_the_settings_parse() -> None:
    text = re.sub(r"(?m)^#", "", settings_template())
    settings = parse_settings(text)
    assert settings.labour.default_wage == 24.5
    assert settings.counter_margin == 0.4
    assert settings.target_margin("Roof") == 0.5
    assert settings.columns == {"jobs": {"job no.": "job_id"}}
    assert settings.aliases == {"model": {"pike gt": "Pike"}}
    plain = Settings()
    assert (settings.pricing, settings.fees, settings.film) == (
        plain.pricing,
        plain.fees,
        plain.film,
    )


def key_lines() -> list[str]:
    return [line for line in settings_template().splitlines() if re.match(r"# \w+ = ", line)]


@pytest.mark.parametrize("line", key_lines())
def test_each_key_can_be_uncommented_alone(line: str) -> None:
    text = settings_template().replace(f"\n{line}\n", f"\n{line.removeprefix('# ')}\n")
    if line == "# margin = 0.5":
        text = text.replace("# [targets.service.roof]", "[targets.service.roof]")
    assert text != settings_template()
    parse_settings(text)


def test_every_key_stands_with_sentence_and_default_in_order() -> None:
    text = settings_template()
    flat = " ".join(line.removeprefix("##").strip() for line in text.splitlines())
    at = 0
    for name, default, sentence in known_keys():
        found = flat.index(sentence, at)
        assert found >= at, name
        at = found
        key = name.rpartition(".")[2]
        if isinstance(default, bool):
            assert f"# {key} = {str(default).lower()}\n" in text
        elif isinstance(default, int | float):
            assert f"# {key} = {default}\n" in text
        elif isinstance(default, str):
            assert f'# {key} = "{default}"\n' in text


# --- writing -------------------------------------------------------------------------------------


def test_the_template_is_written_into_a_new_folder(tmp_path: Path) -> None:
    folder = tmp_path / "my shop" / "records"
    assert write_template(folder) == (folder / "records.xlsx", folder / "shop.toml")
    assert sorted(path.name for path in folder.iterdir()) == ["records.xlsx", "shop.toml"]
    assert (folder / "shop.toml").read_text(encoding="utf-8") == settings_template()
    assert load_workbook(folder / "records.xlsx").sheetnames[2] == "jobs"


@pytest.mark.parametrize("name", ["records.xlsx", "shop.toml", "jobs.csv", "decisions.csv"])
def test_nothing_is_overwritten(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text("mine")
    with pytest.raises(OutputError, match=f"{name} is there already"):
        write_template(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_text() == "mine"


def test_other_files_in_the_folder_stay(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("mine")
    write_template(tmp_path)
    assert (tmp_path / "letter.txt").read_text() == "mine"


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "shop").write_text("mine")
    with pytest.raises(OutputError, match="is a file"):
        write_template(tmp_path / "shop")


@pytest.mark.parametrize("failing", ["records.xlsx", "shop.toml"])
def test_a_full_disk_leaves_nothing_half_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    real = Path.open

    def fail(self: Path, *arguments: Any, **more: Any) -> Any:
        if self.name == failing:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(self, *arguments, **more)

    monkeypatch.setattr(Path, "open", fail)
    with pytest.raises(OutputError, match="No space left on device"):
        write_template(tmp_path / "shop")
    assert list(tmp_path.iterdir()) == []
