"""The way in: settings and records from a folder, in the forms that real shops write."""

# ruff: noqa: E501  (the rows of a table stand on one line each)
import datetime as dt
from pathlib import Path
from typing import Any

import openpyxl
import pandas as pd
import pytest

from analysis.errors import RecordsError, SettingsError
from analysis.record_tables import RECORD_TABLES
from analysis.records.read import read_records, read_settings
from analysis.settings import Settings

GERMAN = """\
currency = "EUR"
locale = "de-DE"
length_unit = "cm"
area_unit = "m2"
decimal_comma = true
date_formats = ["%d.%m.%Y"]

[columns.jobs]
"Auftrag" = "job_id"
"Fertig am" = "finished_on"
"Leistung" = "service"
"Marke" = "make"
"Modell" = "model"
"Stunden geplant" = "quoted_hours"
"Folie m²" = "quoted_film_area"
"Angebot" = "quoted_price"
"Zahlung" = "payment"
"Rolle" = "film"
"Länge gezogen" = "pulled_length"
"Rollenbreite" = "roll_width"

[columns.purchases]
"Rechnung" = "invoice"
"Eingang" = "received_on"
"Lieferant" = "supplier"
"Artikel" = "item"
"Art" = "kind"
"Breite" = "roll_width"
"Länge" = "roll_length"
"Menge" = "quantity"
"Einzelpreis" = "unit_price"

[aliases.kind]
"Folie" = "film"
"Fracht" = "freight"

[aliases.payment]
"Karte" = "card"
"bar" = "cash"
"""
JOBS = """\
Auftrag;Fertig am;Leistung;Marke;Modell;Stunden geplant;Folie m²;Angebot;Zahlung;Rolle;Länge gezogen;Rollenbreite
A1;13.07.2026;Dach;Möwe;Käfig 3;3,5;2,65;1.250,00;Karte;GB-60;172,5;152
A2;2026-07-14;Dach;Möwe;Käfig 3;3:30;2,65;€ 1250;bar;GB-60;1,73 m;152
A3;15.7.2026;Dach;Möwe;Käfig 3;3.5;2.65;12.50x;bar;GB-60;172;152
"""
PURCHASES = """\
Rechnung;Eingang;Lieferant;Artikel;Art;Breite;Länge;Menge;Einzelpreis
R1;01.07.2026;Nordfolie;GB-60;Folie;152;25 m;1;1.250
R1;01.07.2026;Nordfolie;Versand;Fracht;;;1;12,50 €
"""


def _german(folder: Path, encoding: str) -> Path:
    folder.mkdir()
    (folder / "shop.toml").write_text(GERMAN, encoding="utf-8")
    (folder / "jobs.csv").write_text(JOBS, encoding=encoding, newline="\r\n")
    (folder / "purchases.csv").write_text(PURCHASES, encoding=encoding, newline="\r\n")
    return folder


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_a_german_shop_keeps_its_own_sheets(encoding: str, tmp_path: Path, findings: Any) -> None:
    records = read_records(_german(tmp_path / "r", encoding))
    jobs, purchases = records["jobs"], records["purchases"]
    assert jobs["finished_on"].tolist() == [pd.Timestamp("2026-07-13"), pd.Timestamp("2026-07-14")]
    assert jobs["quoted_hours"].tolist() == [3.5, 3.5]
    assert jobs["quoted_price"].tolist() == [1250.0, 1250.0]
    assert jobs["quoted_film_area_m2"].tolist() == [2.65, 2.65]
    assert jobs["pulled_length_m"].tolist() == [1.725, 1.73]
    assert jobs["model"].tolist() == ["Käfig 3", "Käfig 3"]
    assert jobs["payment"].tolist() == ["card", "cash"]
    assert purchases["unit_price"].tolist() == [1250.0, 12.5]
    assert purchases["kind"].tolist() == ["film", "freight"]
    assert purchases["roll_length_m"].tolist()[0] == 25.0
    told = [each for each in findings(records) if each[3] != "not-utf-8"]
    assert told == [("jobs", 4, "Angebot", "not-money")]
    assert records.rejected["jobs"].splitlines()[1].startswith("A3;15.7.2026;Dach;Möwe;")
    assert len(findings(records)) == (3 if encoding == "cp1252" else 1)


def test_without_settings_all_defaults_hold_and_it_is_told(shop: Any, findings: Any) -> None:
    folder = shop.write()
    (folder / "shop.toml").unlink()
    assert read_settings(folder) == Settings()
    records = read_records(folder)
    assert findings(records) == [("", 1, "", "no-settings")]
    assert records.findings["file"].tolist() == ["shop.toml"]
    assert records.settings == Settings()
    assert "" not in {source.table for source in records.sources}


def test_settings_are_read_with_mark_and_in_any_case_of_the_name(tmp_path: Path) -> None:
    (tmp_path / "Shop.TOML").write_text('currency = "EUR"', encoding="utf-8-sig")
    assert read_settings(tmp_path).currency == "EUR"


def test_settings_that_cannot_be_read(tmp_path: Path) -> None:
    path = tmp_path / "shop.toml"
    path.write_bytes(b'currency = "EUR"\nlocale = "caf\xe9"\n')
    with pytest.raises(SettingsError, match=r"shop.toml, line 2: a letter is not UTF-8"):
        read_settings(tmp_path)
    path.write_text("currencyy = 1", encoding="utf-8")
    with pytest.raises(SettingsError, match="Did you mean currency"):
        read_settings(tmp_path)
    path.write_text("#" * (2**20 + 1), encoding="utf-8")
    with pytest.raises(SettingsError, match="too large"):
        read_settings(tmp_path)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(RecordsError, match="cannot be opened"):
        read_settings(tmp_path / "nowhere")
    with pytest.raises(RecordsError):
        read_records(tmp_path / "nowhere", Settings())


def test_a_folder_may_be_named_in_words(shop: Any) -> None:
    folder = shop.write()
    named, meant = read_records(str(folder)), read_records(folder)
    assert named.findings.equals(meant.findings)
    assert all(named[name].equals(meant[name]) for name in meant.tables)


def test_settings_may_be_passed_in(shop: Any) -> None:
    records = read_records(shop.write(), Settings(length_unit="cm"))
    assert records.settings.length_unit == "cm"
    assert records["cuts"]["pulled_length_m"].tolist()[0] == 0.68


def test_sources_tell_every_file_with_its_rows(shop: Any) -> None:
    records = shop.set("hours", 2, hours="x").read()
    assert records.sources[0].file == "shop.toml"
    assert records.sources[0].table == ""
    assert [each.table for each in records.sources[1:]] == [
        name for name in RECORD_TABLES if name in shop.tables
    ]
    hours = next(each for each in records.sources if each.table == "hours")
    assert (hours.rows_read, hours.rows_used, hours.rows_rejected) == (7, 6, 1)
    assert all(len(each.sha256) == 64 for each in records.sources)


def test_progress_is_told(shop: Any) -> None:
    lines: list[str] = []
    read_records(shop.write(), progress=lines.append)
    assert "reading jobs.csv" in lines
    assert "checking jobs" in lines
    assert lines[-1] == "checking the tables against each other"


@pytest.mark.parametrize(("delimiter", "encoding"), [(";", "utf-8-sig"), ("\t", "cp1252")])
def test_the_small_shop_in_other_forms(delimiter: str, encoding: str, shop: Any) -> None:
    plain = shop.read()
    other = read_records(shop.write(delimiter, encoding))
    assert other.findings.empty
    for name in RECORD_TABLES:
        pd.testing.assert_frame_equal(plain[name], other[name])


def _workbook(shop: Any, change: Any) -> Path:
    """The small shop as sheets of one workbook, its dates and numbers as a spreadsheet has them."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in shop.tables.items():
        sheet = book.create_sheet(name)
        kinds = {each.name: each.kind.value for each in RECORD_TABLES[name].columns}
        sheet.append(rows[0])
        for row in rows[1:]:
            sheet.append(
                [_cell(value, kinds[column]) for value, column in zip(row, rows[0], strict=True)]
            )
    change(book)
    shop.tables = {}
    folder: Path = shop.write()
    book.save(folder / "records.xlsx")
    return folder


def _cell(value: str, kind: str) -> Any:
    if not value:
        return None
    if kind == "date":
        return dt.datetime.fromisoformat(value)
    if kind == "time of day":
        return dt.time.fromisoformat(value)
    if kind in ("money", "number", "whole number", "length", "hours", "minutes", "area"):
        try:
            return float(value)
        except ValueError:
            return value
    return value


def test_a_workbook_reads_as_the_files_do(shop: Any) -> None:
    plain = shop.read()
    for path in shop.folder.glob("*.csv"):
        path.unlink()
    book = read_records(_workbook(shop, lambda _: None))
    assert book.findings.empty
    assert {each.file.split(",")[0] for each in book.sources} == {"shop.toml", "records.xlsx"}
    for name in RECORD_TABLES:
        pd.testing.assert_frame_equal(plain[name], book[name])


def test_cells_of_a_workbook_that_hold_no_value(shop: Any, findings: Any) -> None:
    def spoil(book: openpyxl.Workbook) -> None:
        book["rates"]["C2"] = "=A1+B1"
        book["rates"]["C3"] = "#N/A"
        book["rates"]["C3"].data_type = "e"
        book["jobs"]["D2"] = 46204
        book["jobs"]["D2"].number_format = "General"
        book["jobs"]["I3"] = dt.datetime(2026, 4, 3)

    records = read_records(_workbook(shop, spoil))
    told = {each[:3]: each[3] for each in findings(records)}
    assert told[("jobs", 2, "quoted_on")] == "number-for-date"
    assert told[("jobs", 3, "model")] == "date-in-text"
    assert told[("rates", 2, "wage")] == "not-money"
    assert told[("rates", 3, "wage")] == "spreadsheet-error"
    # What the reading knows of these two cells is what is told, once for each: they are not told
    # again as "formula-without-value" and "error-cell".
    rates = records.findings[records.findings["table"] == "rates"]
    assert len(rates) == 2
    assert rates["problem"].str.contains("formula was never calculated|error of the").all()
