"""review.xlsx: what stands in it, that text stays text, and that it is the same on every run."""

import datetime as dt
import io
import shutil
import subprocess
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.utils import range_boundaries

from analysis.errors import OutputError, Unavailable
from analysis.report import workbook_contents
from analysis.report.edge import rounded, to_edge
from analysis.report.results import Review
from analysis.report.workbook import workbook_bytes
from analysis.report.workbook_cells import LONGEST_TEXT, clean_text, money_format, number_format
from analysis.report.workbook_contents import HEADER_ROW, sheet_name
from analysis.result_tables import QUARTER_ONLY, RESULT_TABLES
from analysis.schema import Column, Kind
from analysis.settings import Settings, parse_settings

MakeReview = Callable[..., Review]


def job_costs(count: int) -> pd.DataFrame:
    """Job lines of every kind of column, as the costing gives them."""
    random = np.random.default_rng(3)
    columns: dict[str, Any] = {}
    for column in RESULT_TABLES["job_costs"].columns:
        match column.kind:
            case Kind.TEXT:
                values: Any = pd.Series([f"{column.name} {n}" for n in range(count)], dtype="str")
            case Kind.DATE:
                values = pd.Series(pd.date_range("2025-01-01", periods=count, freq="h"))
                values = values.dt.normalize()
            case Kind.WHOLE:
                values = pd.Series([1] * count, dtype="Int64")
            case _:
                values = pd.Series(random.uniform(1, 900, count))
        columns[column.inside] = values
    return pd.DataFrame(columns)


def table_of(book: Workbook, name: str) -> tuple[list[str], list[list[Any]]]:
    """Headings and rows of an Excel table, found by its name."""
    for sheet in book.worksheets:
        if name in sheet.tables:
            left, top, right, bottom = range_boundaries(sheet.tables[name].ref)
            rows = [
                [cell.value for cell in row]
                for row in sheet.iter_rows(top, bottom, left, right)  # type: ignore[arg-type]
            ]
            return [str(each) for each in rows[0]], rows[1:]
    raise KeyError(name)


def result_sheets(book: Workbook) -> list[Any]:
    """The sheets of plain tables; the price sheet has tests of its own."""
    return [sheet for sheet in book.worksheets[1:-1] if sheet.title != "Price sheet"]


def sheet_of(book: Workbook, name: str) -> Any:
    return next(sheet for sheet in book.worksheets if name in sheet.tables)


@pytest.fixture(scope="module")
def whole(make_review: MakeReview) -> Review:
    return make_review(results={"job_costs": job_costs(12)})


@pytest.fixture(scope="module")
def book(whole: Review) -> Workbook:
    return load_workbook(io.BytesIO(workbook_bytes(whole)))


def test_a_cover_then_a_sheet_a_result_in_order(book: Workbook) -> None:
    names = [next(iter(sheet.tables), None) for sheet in book.worksheets]
    assert names == [None, "price_sheet", *RESULT_TABLES, "record_findings", "row_counts", None]
    assert book.sheetnames[0] == "Cover"
    assert len({name.casefold() for name in book.sheetnames}) == len(book.sheetnames)


def test_each_table_holds_the_rows_of_quarter_and_year_as_the_csv_does(
    book: Workbook, whole: Review
) -> None:
    for name, table in RESULT_TABLES.items():
        headings, rows = table_of(book, name)
        edge = [rounded(to_edge(whole.frame(name), table, whole.settings), table)]
        if name in QUARTER_ONLY:
            assert len(headings) == len(table.columns)
        else:
            assert headings[0] == "Period"
            year = whole.year[name]
            assert isinstance(year, pd.DataFrame)
            edge.append(rounded(to_edge(year, table, whole.settings), table))
            periods = ["2026Q3"] * len(edge[0]) + ["year to 2026Q3"] * len(edge[1])
            assert [row[0] for row in rows] == periods
        assert len(rows) == sum(map(len, edge))
        at = headings.index(headings[-1])
        money = [n for n, c in enumerate(table.columns) if c.kind is Kind.MONEY]
        if money:
            at = money[0] + (0 if name in QUARTER_ONLY else 1)
            wanted = pd.concat(edge)[table.columns[money[0]].name]
            # Advice stands first in some sheets, so that the order is not that of the keys.
            found = [row[at] for row in rows]
            assert found.count(None) == wanted.isna().sum()
            known = sorted(each for each in found if each is not None)
            assert known == pytest.approx(sorted(wanted.dropna().to_list()))


def test_headings_carry_units_and_notes_the_definition(book: Workbook) -> None:
    headings, _ = table_of(book, "waste_by_class")
    assert "Consumed (sq ft)" in headings
    assert "Waste cost (USD)" in headings
    sheet = sheet_of(book, "waste_by_class")
    cell = sheet.cell(HEADER_ROW, headings.index("Consumed (sq ft)") + 1)
    assert "Film pulled less the offcut kept." in cell.comment.text
    assert "consumed_area" in cell.comment.text
    for each in result_sheets(book):
        for cell in each[HEADER_ROW]:
            assert cell.comment is not None, (each.title, cell.coordinate)


def test_units_follow_the_settings(make_review: MakeReview) -> None:
    settings = parse_settings('currency = "EUR"\nlocale = "de-DE"\narea_unit = "m2"')
    made = make_review(settings=settings, results={"job_costs": job_costs(3)})
    book = load_workbook(io.BytesIO(workbook_bytes(made)))
    headings, rows = table_of(book, "film_prices")
    at = next(n for n, text in enumerate(headings) if text.endswith("(EUR / m²)"))
    expected = made.frame("film_prices")["landed_cost_per_m2"].round(6)
    assert [row[at] for row in rows] == pytest.approx(expected.to_list())
    assert sheet_of(book, "film_prices").cell(HEADER_ROW + 1, at + 1).number_format == (
        '#,##0.00 "€";-#,##0.00 "€"'
    )


def test_header_and_keys_are_frozen_and_columns_wide_enough(book: Workbook) -> None:
    assert sheet_of(book, "hours_by_model").freeze_panes == "D5"
    assert sheet_of(book, "job_costs").freeze_panes == "C5"
    for sheet in result_sheets(book):
        assert sheet.freeze_panes is not None
        for row in sheet.iter_rows(min_row=HEADER_ROW + 1):
            for cell in row:
                width = sheet.column_dimensions[cell.column_letter].width
                if isinstance(cell.value, float):
                    assert len(f"{cell.value:,.2f}") <= width, (sheet.title, cell.coordinate)


def test_filters_belong_to_the_tables(book: Workbook) -> None:
    for sheet in result_sheets(book):
        table = next(iter(sheet.tables.values()))
        assert table.autoFilter is not None
        assert table.autoFilter.ref == table.ref
        names = [column.name for column in table.tableColumns]
        assert names == [cell.value for cell in sheet[HEADER_ROW]]


def test_few_jobs_are_grey_italics_with_the_word(make_review: MakeReview) -> None:
    hours = (
        make_review()
        .frame("hours_by_service")
        .assign(enough=pd.Series([True, False, True, True, pd.NA, True], dtype="boolean"))
    )
    made = make_review(results={"hours_by_service": hours, "job_costs": job_costs(1)})
    sheet = sheet_of(load_workbook(io.BytesIO(workbook_bytes(made))), "hours_by_service")
    headings = [cell.value for cell in sheet[HEADER_ROW]]
    at = headings.index("Enough") + 1
    marks = [sheet.cell(HEADER_ROW + 1 + row, at).value for row in range(6)]
    assert marks == ["yes", "no", "yes", "yes", None, "yes"]
    for row in range(6):
        for cell in sheet[HEADER_ROW + 1 + row][: at - 1]:
            assert bool(cell.font.italic) == (row == 1)


def test_dates_are_dates_and_missing_is_empty(make_review: MakeReview) -> None:
    frame = job_costs(3)
    frame.loc[1, ["finished_on", "film_cost", "redo_of"]] = [pd.NaT, np.nan, np.nan]
    book = load_workbook(io.BytesIO(workbook_bytes(make_review(results={"job_costs": frame}))))
    headings, rows = table_of(book, "job_costs")
    at = headings.index("Finished on")
    assert [row[at] for row in rows] == [dt.datetime(2025, 1, 1), None, dt.datetime(2025, 1, 1)]
    for name in ("Film cost (USD)", "Redo of"):
        at = headings.index(name)
        assert [row[at] is None for row in rows] == [False, True, False]


TYPED = (
    "=1+1",
    '=HYPERLINK("http://example.org","x")',
    "+1",
    "-2",
    "@SUM(A1)",
    "#N/A",
    "#REF!",
    "TRUE",
    "00012",
    "2026-07-01",
    "  two spaces ",
    "<script>alert('x')</script> & more",
)


def test_typed_text_is_never_anything_else(make_review: MakeReview) -> None:
    frame = job_costs(len(TYPED)).assign(job_id=list(TYPED))
    content = workbook_bytes(make_review(results={"job_costs": frame}))
    sheet = sheet_of(load_workbook(io.BytesIO(content)), "job_costs")
    for row, typed in enumerate(TYPED, HEADER_ROW + 1):
        cell = sheet.cell(row, 1)
        assert (cell.value, cell.data_type) == (typed, "s")
        assert bool(cell.quotePrefix) == typed.startswith(("=", "+", "-", "@"))
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = [name for name in archive.namelist() if name.startswith("xl/worksheets/sheet")]
        assert parts
        # The price sheet alone holds formulas, none of them from what was typed.
        parts.remove("xl/worksheets/sheet2.xml")
        assert not any(b"<f>" in archive.read(name) for name in parts)


def test_characters_that_a_workbook_refuses_stay_visible(make_review: MakeReview) -> None:
    typed = "a\x00b\x0bc\x1fd\ufffee\r\nf\tg"
    frame = job_costs(1).assign(job_id=[typed])
    book = load_workbook(io.BytesIO(workbook_bytes(make_review(results={"job_costs": frame}))))
    value = sheet_of(book, "job_costs").cell(HEADER_ROW + 1, 1).value
    assert value == "a␀b␋c␟d\ufffde\nf\tg"
    assert clean_text("half \ud83d pair") == "half \ufffd pair"


def test_text_that_looks_encoded_is_kept_as_typed() -> None:
    # ECMA-376, part 1, 22.9.2.19 (ST_Xstring): _xHHHH_ is a character, _x005F_ an underscore.
    assert clean_text("_x0041_") == "_x005F_x0041_"
    assert clean_text("_x00_ and x_x") == "_x00_ and x_x"


def test_text_too_long_for_a_cell_says_that_it_was_cut() -> None:
    cut = clean_text("x" * 40_000)
    assert len(cut) == LONGEST_TEXT
    assert cut.endswith(" … (cut: 40,000 characters)")


def test_the_cover_links_every_sheet_and_says_what_is_missing(make_review: MakeReview) -> None:
    line = "Film is not reconciled: there is no table stock_counts."
    gone = Unavailable("film_reconciliation", ("stock_counts",), line)
    made = make_review(
        results={"film_reconciliation": gone, "job_costs": job_costs(1)},
        year={"film_reconciliation": gone},
    )
    book = load_workbook(io.BytesIO(workbook_bytes(made)))
    cover = book["Cover"]
    texts = {str(c.value) for row in cover.iter_rows() for c in row if c.value is not None}
    assert {line, "Film in and out, 2026Q3"} <= texts
    assert any(text.startswith("Review 2026Q3 (") for text in texts)
    assert {"USD, net of tax unless a heading says otherwise.", "sq ft and in."} <= texts
    links = [c.hyperlink.location for row in cover.iter_rows() for c in row if c.hyperlink]
    quoted = [name.replace("'", "''") for name in book.sheetnames[1:]]
    assert links == [f"'{name}'!A1" for name in quoted]
    assert not any("film_reconciliation" in sheet.tables for sheet in book.worksheets)


def test_a_result_of_the_year_alone_has_its_sheet_and_no_chart(make_review: MakeReview) -> None:
    gone = Unavailable("margin_by_service", ("purchases",), "No film was bought.")
    made = make_review(results={"margin_by_service": gone, "job_costs": job_costs(1)})
    book = load_workbook(io.BytesIO(workbook_bytes(made)))
    _, rows = table_of(book, "margin_by_service")
    assert {row[0] for row in rows} == {"year to 2026Q3"}


def test_an_empty_table_is_still_a_table(make_review: MakeReview) -> None:
    empty = job_costs(1).iloc[:0]
    findings = make_review().records.findings.iloc[:0]
    made = make_review(
        results={"job_costs": empty, "film_prices": make_review().frame("film_prices").iloc[:0]}
    )
    object.__setattr__(made.records, "findings", findings)
    book = load_workbook(io.BytesIO(workbook_bytes(made)))
    for name in ("job_costs", "film_prices", "record_findings"):
        sheet = sheet_of(book, name)
        _, rows = table_of(book, name)
        assert [set(row) for row in rows] == [{None}]
        assert "There are no rows." in sheet["A2"].value


def test_charts_show_the_quarter_and_cover_no_table(make_review: MakeReview) -> None:
    made = make_review(results={"job_costs": job_costs(1)})
    content = workbook_bytes(made)
    book = load_workbook(io.BytesIO(content))
    charted = set()
    for sheet in book.worksheets:
        for chart in sheet._charts:
            table = next(iter(sheet.tables.values()))
            charted.add(table.displayName)
            _, _, right, bottom = range_boundaries(table.ref)
            corner = chart.anchor._from
            assert corner.row + 1 > bottom or corner.col + 1 > right
    assert {"margin_by_service", "hours_by_service", "waste_by_class", "film_prices"} <= charted
    assert {"hours_by_model", "quote_calibration"} <= charted
    sheet = sheet_of(book, "margin_by_service")
    rows = len(made.frame("margin_by_service"))
    reference = sheet._charts[0].series[0].val.numRef.f
    assert reference.replace("$", "").endswith(f"5:J{HEADER_ROW + rows}"), reference


def test_models_stand_likeliest_first_and_the_chart_shows_those(make_review: MakeReview) -> None:
    frame = make_review().frame("hours_by_model").iloc[::-1]
    made = make_review(results={"hours_by_model": frame}, year={"hours_by_model": frame})
    sheet = sheet_of(load_workbook(io.BytesIO(workbook_bytes(made))), "hours_by_model")
    headings = [cell.value for cell in sheet[HEADER_ROW]]
    at = headings.index("Pooled overrun (%)") + 1
    rows = range(HEADER_ROW + 1, HEADER_ROW + 1 + len(frame))
    shown = [sheet.cell(row, at).value for row in rows]
    assert shown == sorted(shown, reverse=True)
    marks = [sheet.cell(row, headings.index("Flagged") + 1).value for row in rows]
    assert marks == ["yes"] * 4 + ["no"] * 3
    series = sheet._charts[0].series[0]
    assert series.val.numRef.f.replace("$", "").endswith(f"{HEADER_ROW + len(frame)}")
    assert series.cat.multiLvlStrRef.f.replace("$", "").endswith(f"!B5:C{HEADER_ROW + len(frame)}")


def test_without_estimates_the_models_have_no_chart(make_review: MakeReview) -> None:
    blank = (
        make_review()
        .frame("hours_by_model")
        .assign(pooled_overrun_share=np.nan, probability_over_tolerance=np.nan, flagged=pd.NA)
    )
    made = make_review(results={"hours_by_model": blank}, year={"hours_by_model": blank})
    sheet = sheet_of(load_workbook(io.BytesIO(workbook_bytes(made))), "hours_by_model")
    assert not sheet._charts


def test_probabilities_are_shares_and_marks_are_words(book: Workbook, whole: Review) -> None:
    sheet = sheet_of(book, "learning_curves")
    headings = [cell.value for cell in sheet[HEADER_ROW]]
    at = headings.index("Probability shrinks") + 1
    assert sheet.cell(HEADER_ROW + 1, at).number_format == "#,##0.00"
    found = whole.frame("learning_curves")["probability_shrinks"].iloc[0]
    assert sheet.cell(HEADER_ROW + 1, at).value == pytest.approx(found, abs=5e-5)
    _, pulls = table_of(book, "jobs_that_pull")
    assert {row[-1] for row in pulls} == {"yes", "no"}


def test_too_many_rows_are_refused_in_plain_words(
    make_review: MakeReview, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workbook_contents, "SHEET_ROWS", HEADER_ROW + 99)
    made = make_review(results={"job_costs": job_costs(100)})
    with pytest.raises(OutputError, match="'Every finished job line' has 100 rows.*holds 99"):
        workbook_bytes(made)


def test_a_number_without_end_is_refused(make_review: MakeReview) -> None:
    frame = job_costs(2).assign(film_cost=[1.0, np.inf])
    with pytest.raises(OutputError, match="film_cost"):
        workbook_bytes(make_review(results={"job_costs": frame}))


def test_the_same_review_gives_the_same_bytes(whole: Review) -> None:
    content = workbook_bytes(whole)
    assert content == workbook_bytes(whole)
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert {part.date_time for part in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = ET.fromstring(archive.read("docProps/core.xml"))  # noqa: S314 - our own file
    stamps = [each.text for each in core if each.tag.endswith(("created", "modified"))]
    assert stamps == ["2026-09-30T00:00:00Z"] * 2


def test_a_frame_is_left_as_it_was(whole: Review) -> None:
    before = {name: whole.frame(name).copy() for name in RESULT_TABLES}
    workbook_bytes(whole)
    for name, frame in before.items():
        pd.testing.assert_frame_equal(frame, whole.frame(name))


@pytest.mark.parametrize(
    "title", [t.title for t in RESULT_TABLES.values()] + [":[]*?/\\'", "x" * 99]
)
def test_sheet_names_are_valid(title: str) -> None:
    name = sheet_name(title)
    assert 1 <= len(name) <= 31
    assert not set(name) & set("[]:*?/\\")
    assert name == name.strip("' ")


def test_titles_that_are_cut_alike_stay_apart() -> None:
    title = "A very long title of a table that goes on"
    first = workbook_contents.unique_name(title, set())
    second = workbook_contents.unique_name(title, {first.casefold()})
    assert first != second
    assert len(second) <= 31
    assert workbook_contents.unique_name("History", set()).casefold() != "history"


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("", '"$"#,##0.00;-"$"#,##0.00'),
        ('currency = "JPY"\nlocale = "ja-JP"', '"¥"#,##0;-"¥"#,##0'),
        ('currency = "CHF"\nlocale = "de-CH"', '"CHF" #,##0.00;-"CHF" #,##0.00'),
        ('currency = "SEK"\nlocale = "sv-SE"', '#,##0.00 "kr";-#,##0.00 "kr"'),
    ],
)
def test_money_is_shown_as_the_locale_does(text: str, form: str) -> None:
    found = money_format(parse_settings(text))
    # The yen sign has a full-width form in Japanese; both are the currency's sign.
    assert found.replace("\uffe5", "¥") == form


@pytest.mark.parametrize(
    ("kind", "form"),
    [
        (Kind.HOURS, "#,##0.00"),
        (Kind.AREA, "#,##0.0"),
        (Kind.LENGTH, "#,##0.0"),
        (Kind.PERCENT, "#,##0.0"),
        (Kind.WHOLE, "#,##0"),
        (Kind.DATE, "yyyy-mm-dd"),
        (Kind.TEXT, "General"),
    ],
)
def test_number_formats_follow_the_kind(kind: Kind, form: str) -> None:
    assert number_format(Column("x", kind, ""), Settings()) == form


@pytest.mark.skipif(shutil.which("soffice") is None, reason="needs a spreadsheet program")
def test_a_spreadsheet_program_reads_the_same_values(whole: Review, tmp_path: Path) -> None:
    (tmp_path / "review.xlsx").write_bytes(workbook_bytes(whole))
    profile, out = (tmp_path / "profile").as_uri(), tmp_path / "out"
    command = ["soffice", f"-env:UserInstallation={profile}", "--headless", "--norestore"]
    command += ["--convert-to", "xlsx:Calc MS Excel 2007 XML", "--outdir", str(out)]
    subprocess.run([*command, str(tmp_path / "review.xlsx")], check=True, timeout=180)  # noqa: S603
    ours = load_workbook(tmp_path / "review.xlsx")
    theirs = load_workbook(out / "review.xlsx", data_only=True)
    assert theirs.sheetnames == ours.sheetnames
    for sheet in ours.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                found = theirs[sheet.title].cell(cell.row, cell.column).value
                if cell.data_type == "f":
                    continue
                if isinstance(cell.value, float):
                    assert found == pytest.approx(cell.value)
                else:
                    assert found == cell.value, (sheet.title, cell.coordinate)
