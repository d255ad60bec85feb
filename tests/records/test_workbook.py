"""Workbooks: honest ones come as they are, hostile ones end in one plain line."""

import datetime as dt
import io
import random
import struct
import tracemalloc
import zipfile
import zlib
from collections.abc import Mapping

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet
from python_calamine import CalamineWorkbook

from analysis.errors import RecordsError
from analysis.records import archive as archive_module
from analysis.records import workbook as workbook_module
from analysis.records.delimited import LARGEST_CELL, Note, RawTable
from analysis.records.workbook import holds_something, open_workbook, read_sheet

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
LINK = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
LINKS = "http://schemas.openxmlformats.org/package/2006/relationships"
FORMATS = ("General", "yyyy-mm-dd", "h:mm", "[h]:mm", '0.00" hood"', "[$CAD] #,##0.00", "@")


def links(*found: tuple[str, str, str]) -> str:
    body = "".join(
        f'<Relationship Id="{name}" Type="{LINK}/{kind}" Target="{target}"/>'
        for name, kind, target in found
    )
    return f'<Relationships xmlns="{LINKS}">{body}</Relationships>'


def parts(
    data: str, strings: str = "", first_1904: bool = False, after: str = ""
) -> dict[str, str]:
    """Make the parts of a workbook of one sheet, `jobs`, with `data` as its rows."""
    styles = "".join(
        f"<numFmt numFmtId='{200 + i}' formatCode='{code}'/>" for i, code in enumerate(FORMATS)
    )
    cells = "".join(f'<xf numFmtId="{200 + i}"/>' for i in range(len(FORMATS)))
    return {
        "[Content_Types].xml": "<Types/>",
        "_rels/.rels": links(("r1", "officeDocument", "xl/workbook.xml")),
        "xl/workbook.xml": f'<workbook xmlns="{MAIN}" xmlns:r="{LINK}">'
        f'<workbookPr date1904="{int(first_1904)}"/>'
        '<sheets><sheet name="jobs" sheetId="1" r:id="r1"/></sheets></workbook>',
        "xl/_rels/workbook.xml.rels": links(
            ("r1", "worksheet", "worksheets/sheet1.xml"),
            ("r2", "styles", "/xl/styles.xml"),
            ("r3", "sharedStrings", "sharedStrings.xml"),
        ),
        "xl/styles.xml": f'<styleSheet xmlns="{MAIN}"><numFmts>{styles}</numFmts><cellStyleXfs>'
        '<xf/><xf numFmtId="14"/><xf numFmtId="14"/></cellStyleXfs>'
        f'<cellXfs>{cells}<xf numFmtId="14"/></cellXfs>'
        '<dxfs><dxf><numFmt numFmtId="200" formatCode="yyyy"/></dxf></dxfs></styleSheet>',
        "xl/sharedStrings.xml": f'<sst xmlns="{MAIN}">{strings}</sst>',
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{MAIN}"><sheetData>{data}</sheetData>'
        f"{after}</worksheet>",
    }


def packed(content: Mapping[str, str | bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", method) as target:
        for name, text in content.items():
            target.writestr(name, text)
    return out.getvalue()


def read_bytes(data: bytes) -> RawTable:
    raw = read_sheet(open_workbook(data, "records.xlsx"), 0, "jobs")
    assert raw is not None
    return raw


def read(data: str, strings: str = "", first_1904: bool = False, after: str = "") -> RawTable:
    return read_bytes(packed(parts(data, strings, first_1904, after)))


def row(*cells: str, header: str = "a b c d e f g h i") -> str:
    """Make the rows of a sheet: a header and one row of these cells."""
    names = "".join(f'<c t="str"><v>{name}</v></c>' for name in header.split()[: len(cells)])
    return f'<row r="1">{names}</row><row r="2">{"".join(cells)}</row>'


def values(*cells: str, strings: str = "", first_1904: bool = False) -> list[object]:
    return read(row(*cells), strings, first_1904).cells.iloc[0].tolist()


def number(value: str, style: int = 0) -> str:
    return f'<c s="{style}"><v>{value}</v></c>'


def only(raw: RawTable, rule: str) -> Note:
    found = [note for note in raw.notes if note.rule == rule]
    assert len(found) == 1, raw.notes
    return found[0]


def saved(book: openpyxl.Workbook) -> bytes:
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def refused(data: bytes, match: str) -> None:
    with pytest.raises(RecordsError, match=match) as caught:
        read_bytes(data)
    assert str(caught.value).startswith("records.xlsx")
    assert "\n" not in str(caught.value)


# Honest workbooks


def test_a_workbook_reads_as_an_independent_reader_has_it() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    sheet.append(["id", "film", "hours", "on", "at", "took", "done", "zero", "note"])
    for i in range(40):
        on = dt.datetime(2026, 2, 20) + dt.timedelta(days=i)
        took = dt.timedelta(hours=20 + i, minutes=45)
        note = ["NA", " padded ", "00012", "1/2", "=", "x & <y>", "é€"][i % 7]
        sheet.append([1000 + i, "VX-1", 2.75 * i, on, dt.time(9, i), took, i % 2 == 0, 0, note])
    sheet["A60"] = "last"
    data = saved(book)
    raw = read_bytes(data)
    other = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_index(0).to_python()
    assert list(raw.header) == other[0]
    for found, wanted in zip(raw.cells.to_numpy().tolist(), [*other[1:41], other[59]], strict=True):
        found = [v.date() if isinstance(v, dt.datetime) else v for v in found]
        assert found == wanted
    assert raw.rows.tolist() == [*range(2, 42), 60]
    assert raw.file == "records.xlsx, sheet Sheet"
    assert raw.notes == ()


def test_kinds_of_cells() -> None:
    found = values(
        '<c t="s"><v>1</v></c>',
        '<c t="str"><v>00012</v></c>',
        '<c t="inlineStr"><is><t>NA</t></is></c>',
        number("12"),
        number("2.50"),
        '<c t="b"><v>1</v></c>',
        '<c t="d"><v>2026-07-01T09:15:00</v></c>',
        number("-3"),
        strings="<si><t>x</t></si><si><t>roof</t></si>",
    )
    assert found == ["roof", "00012", "NA", 12, 2.5, True, dt.datetime(2026, 7, 1, 9, 15), -3.0]
    assert [type(value) for value in found[3:6]] == [int, float, bool]


def test_dates_times_and_durations() -> None:
    found = values(
        number("46000", 1), number("46000.25", 1), number("0.385416666666667", 2),
        number("0.114583333333333", 3), number("1.25", 3), number("46000", 7), number("61", 1),
    )  # fmt: skip
    assert found == [
        dt.datetime(2025, 12, 9),
        dt.datetime(2025, 12, 9, 6),
        dt.time(9, 15),
        dt.timedelta(hours=2, minutes=45),
        dt.timedelta(hours=30),
        dt.datetime(2025, 12, 9),
        dt.datetime(1900, 3, 1),
    ]
    assert values(number("1", 1), number("0.9999999999", 2)) == [
        dt.datetime(1900, 1, 1),
        dt.time(23, 59, 59, 999000),
    ]


def test_the_1904_calendar() -> None:
    """Serial 46000 of 1900 is 44538 of 1904: the two differ by 1,462 days."""
    found = values(number("44538", 1), number("1.5", 3), first_1904=True)
    assert found == [dt.datetime(2025, 12, 9), dt.timedelta(hours=36)]


def test_a_number_in_a_money_or_text_format_is_no_date() -> None:
    found = values(number("12.5", 4), number("12.5", 5), number("12.5", 6), number("12.5", 0))
    assert found == [12.5] * 4


def test_numbers_that_are_no_dates_stay_numbers() -> None:
    found = values(number("-1", 1), number("3000000", 1), number("1e10", 3), number("-0.5", 3))
    assert found == [-1.0, 3_000_000, 1e10, dt.timedelta(hours=-12)]


@pytest.mark.parametrize("text", ["NaN", "1e999", "-inf", "1_0", "12 apples"])
def test_what_is_no_number_stays_its_text(text: str) -> None:
    assert values(number(text), number(text, 1)) == [text, text]


def test_rich_text_escapes_and_odd_markup() -> None:
    rich = '<si><r><t>ri</t></r><r><t xml:space="preserve">ch </t></r><rPh><t>NO</t></rPh></si>'
    found = values(
        '<c t="s"><v>0</v></c>',
        '<c t="s"><v>1</v></c>',
        '<c t="inlineStr"><is><r><t>a</t></r><rPh><t>NO</t></rPh><r><t>b</t></r></is></c>',
        "<c><v><![CDATA[5]]></v></c>",
        "<c><v>4<!-- x -->2</v></c>",
        "<c><is><t>untyped</t></is></c>",
        '<c t="inlineStr"><v>odd</v></c>',
        strings=rich + "<si><t>a_x000D_&#10;b &amp; _x005F_x</t></si>",
    )
    assert found == ["rich ", "a\r\nb & _x", "ab", 5, 42, "untyped", "odd"]


def test_cells_without_addresses_and_prefixed_names() -> None:
    raw = read("<row><c t='str'><v>a</v></c><c/><c t='str'><v>c</v></c></row><row/><row><c/><c/>"
               "<c><v>3</v></c></row>")  # fmt: skip
    assert raw.header == ("a", "", "c")
    assert raw.cells.to_numpy().tolist() == [["", "", 3]]
    assert raw.rows.tolist() == [3]
    content = parts("")
    content["xl/worksheets/sheet1.xml"] = (
        f'<x:worksheet xmlns:x="{MAIN}"><x:sheetData><x:row r="4"><x:c r="B4"><x:v>7</x:v></x:c>'
        "</x:row></x:sheetData></x:worksheet>"
    )
    raw = read_bytes(packed(content))
    assert raw.header == ("", "7")


def test_header_cells_that_are_no_text_become_names() -> None:
    raw = read('<row r="1"><c><v>2026</v></c><c><v>7.0</v></c><c s="1"><v>46000</v></c></row>')
    assert raw.header == ("2026", "7", "2025-12-09 00:00:00")


def test_blank_rows_count_in_the_row_numbers() -> None:
    raw = read(
        '<row r="3"><c r="A3" t="str"><v>a</v></c></row><row r="4"><c r="A4" s="1"/></row>'
        '<row r="5"><c r="A5" t="str"><v> </v></c></row><row r="9"><c r="A9"><v>1</v></c></row>'
    )
    assert raw.header == ("a",)
    assert raw.rows.tolist() == [9]


def test_hidden_rows_and_sheets_are_read() -> None:
    book = openpyxl.Workbook()
    sheet = book.create_sheet("jobs")
    assert isinstance(sheet, Worksheet)
    sheet.append(["a"])
    sheet.append([1])
    sheet.row_dimensions[2].hidden = True
    sheet.sheet_state = "hidden"
    opened = open_workbook(saved(book), "records.xlsx")
    assert [name for name, _ in opened.sheets] == ["Sheet", "jobs"]
    assert not holds_something(opened, 0)
    assert read_sheet(opened, 0, "jobs") is None
    assert holds_something(opened, 1)
    raw = read_sheet(opened, 1, "jobs")
    assert raw is not None
    assert raw.cells.to_numpy().tolist() == [[1]]


def test_errors_stay_as_their_text_and_are_told() -> None:
    error = '<c t="e"><f>VLOOKUP(1,Z1:Z2,1)</f><v>#N/A</v></c>'
    raw = read(row(number("1"), error) + f'<row r="3">{number("2")}{error}</row>')
    assert raw.cells[1].tolist() == ["#N/A", "#N/A"]
    note = only(raw, "error-cell")
    assert (note.row, note.column, note.value, note.severity) == (2, "b", "#N/A", "doubtful")
    assert "2 in this column" in note.problem
    assert values('<c t="e"><v>#REF!</v></c>') == ["#REF!"]
    assert values('<c t="e"><v/></c>') == ["#ERROR!"]


def test_a_formula_without_a_value_stays_as_formula_and_is_told() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["hours", "double"])
    sheet.append([2, "=A2*2"])
    raw = read_bytes(saved(book))
    assert raw.cells.to_numpy().tolist() == [[2, "=A2*2"]]
    note = only(raw, "formula-without-value")
    assert (note.row, note.column) == (2, "double")
    assert "calculate" in note.remedy
    assert values('<c t="str"><f>A1</f></c>', "<c><f/></c>") == ["=A1", "="]


def test_a_formula_with_a_value_is_its_value() -> None:
    raw = read(row("<c><f>1+1</f><v>2</v></c>", '<c t="str"><f>T("")</f><v></v></c>', number("1")))
    assert raw.cells.to_numpy().tolist() == [[2, "", 1]]
    assert raw.notes == ()


def test_merged_cells_are_told() -> None:
    body = row(number("1"), number("2")) + f'<row r="3">{number("3")}</row>'
    merged = '<mergeCells><mergeCell ref="A1:B1"/><mergeCell ref="B2:B3"/></mergeCells>'
    raw = read(body, after=merged)
    assert raw.cells.to_numpy().tolist() == [[1, 2], [3, ""]]
    note = only(raw, "merged-cells")
    assert (note.row, note.column, note.value) == (2, "b", "B2:B3")


def test_macros_are_told() -> None:
    content = {**parts(row(number("1"))), "xl/vbaProject.bin": "x"}
    book = open_workbook(packed(content), "records.xlsx")
    assert [(note.rule, note.file) for note in book.notes] == [("macros-ignored", "records.xlsx")]


# Cells far out


def test_a_cell_in_the_last_corner_costs_nothing_and_is_told() -> None:
    far = '<row r="1048576"><c r="XFD1048576"><v>9</v></c></row>'
    dimension = '<dimension ref="A1:XFD1048576"/>'
    content = parts(row(number("1")) + far)
    sheet = content["xl/worksheets/sheet1.xml"]
    content["xl/worksheets/sheet1.xml"] = sheet.replace("<sheetData>", f"{dimension}<sheetData>")
    tracemalloc.start()
    raw = read_bytes(packed(content))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20e6
    assert raw.rows.tolist() == [2, 1_048_576]
    assert raw.cells.shape == (2, 16_384)
    assert only(raw, "column-without-name").column == "column XFD"


def test_a_styled_cell_without_a_value_far_out_is_nothing() -> None:
    raw = read(row(number("1")) + '<row r="1048576"><c r="XFD1048576" s="1"/></row>')
    assert raw.cells.shape == (1, 1)
    assert raw.notes == ()


def test_too_wide_and_too_long_is_refused_with_the_place(monkeypatch: pytest.MonkeyPatch) -> None:
    body = row(number("1")) + '<row r="3"><c r="CV3"><v>1</v></c></row>'
    monkeypatch.setattr(workbook_module, "MOST_CELLS", 300)
    assert read(body).cells.shape == (2, 100)
    monkeypatch.setattr(workbook_module, "MOST_CELLS", 299)
    refused(packed(parts(body)), "sheet jobs has 3 filled rows and reaches to column CV")


@pytest.mark.parametrize(
    ("body", "match"),
    [
        ('<row r="3"/><row r="2"/>', "row 2 of sheet jobs is out of order"),
        ('<row r="3"/><row r="3"/>', "row 3 of sheet jobs is out of order"),
        ('<row r="1048577"/>', "row 1048577"),
        ('<row r="1048576"/><row/>', "row 1048577"),
        ('<row r="1"><c r="B1"/><c r="A1"/></row>', "cell A1 of sheet jobs is out of order"),
        ('<row r="1"><c r="B1"/><c r="B1"/></row>', "cell B1"),
        ('<row r="1"><c r="A7"/></row>', "cell A7"),
        ('<row r="1"><c r="$A$1"/></row>', r"cell \$A\$1"),
        ('<row r="1"><c r="XFE1"/></row>', "row 1 of sheet jobs has too many cells"),
        ('<row r="1"><c r="XFD1"/><c/></row>', "row 1 of sheet jobs has too many cells"),
        ('<row r="1"><c t="s"><v>0</v></c></row>', "cell A1 of sheet jobs holds '0' as 's'"),
        ('<row r="1"><c t="s"><v>-1</v></c></row>', "cell A1 .* holds '-1' as 's'"),
        ('<row r="1"><c t="b"><v>7</v></c></row>', "cell A1 .* holds '7' as 'b'"),
        ('<row r="1"><c t="q"><v>7</v></c></row>', "cell A1 .* holds '7' as 'q'"),
        ("<row>", "line 1 of the part 'xl/worksheets/sheet1.xml' cannot be read"),
    ],
)
def test_a_damaged_sheet_is_refused_with_the_place(body: str, match: str) -> None:
    refused(packed(parts(body)), match)


@pytest.mark.parametrize("where", ["strings", "cell"])
def test_a_huge_cell_is_refused(where: str) -> None:
    text = "x" * (LARGEST_CELL + 1)
    if where == "strings":
        data = packed(parts(row('<c t="s"><v>0</v></c>'), f"<si><t>{text}</t></si>"))
    else:
        data = packed(parts(row(f'<c t="str"><v>{text}</v></c>')))
    refused(data, "over 1 MB")
    assert values(f'<c t="str"><v>{text[1:]}</v></c>') == [text[1:]]
    shared = f"<si><t>{text[2:]}</t></si>"
    assert values('<c t="s"><v>1</v></c>', number("2"), strings=shared * 2) == [text[2:], 2]


# The archive


def test_other_kinds_of_file_are_named() -> None:
    refused(b"a,b\n1,2\n", "is not an Excel workbook")
    refused(b"", "is not an Excel workbook")
    old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600
    refused(old, "is an old .xls workbook, or a locked one")
    refused(old + "EncryptedPackage".encode("utf-16-le"), "is locked with a password")
    refused(packed({"mimetype": "spreadsheet", "content.xml": "<x/>"}), "is not an Excel workbook")
    binary = {**parts(""), "_rels/.rels": links(("r1", "officeDocument", "xl/workbook.bin"))}
    refused(packed({**binary, "xl/workbook.bin": "x"}), "is not an Excel workbook")


def test_a_truncated_workbook_is_refused() -> None:
    data = packed(parts(row(number("1"))))
    refused(data[: len(data) // 2], "its end is missing")
    refused(data[:-30], "damaged")
    cut = data[: data.index(b"PK\x01\x02") - 40] + data[data.index(b"PK\x01\x02") :]
    refused(cut, "damaged")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize(
    "part", ["xl/worksheets/sheet1.xml", "xl/sharedStrings.xml", "docProps/app.xml", "_rels/.rels"]
)
def test_a_document_type_is_refused_in_any_part(part: str, encoding: str) -> None:
    bomb = '<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]>'
    content: dict[str, str | bytes] = {**parts(row(number("1")))}
    content[part] = f"{bomb}<x>&b;</x>".encode(encoding)
    refused(packed(content), "it declares a document type")


def test_an_entity_without_a_document_type_is_refused() -> None:
    refused(packed(parts("<row><c><v>&x;</v></c></row>")), "undefined entity")


def test_the_same_part_twice_is_refused() -> None:
    out = io.BytesIO(packed(parts(row(number("1")))))
    with zipfile.ZipFile(out, "a") as target:
        target.writestr("XL/worksheets/sheet1.xml", "<x/>")
    refused(out.getvalue(), "the part 'xl/worksheets/sheet1.xml' is in it twice")


def test_names_that_lead_out_of_the_archive_are_refused() -> None:
    refused(packed({**parts(""), "../out.xml": "<x/>"}), r"a part is called '\.\./out\.xml'")


def test_parts_with_backslashes_are_found() -> None:
    content = {name.replace("/", "\\"): text for name, text in parts(row(number("1"))).items()}
    assert read_bytes(packed(content)).cells.to_numpy().tolist() == [[1]]


def test_a_missing_part_is_refused() -> None:
    content = parts(row(number("1")))
    del content["xl/worksheets/sheet1.xml"]
    refused(packed(content), "the part 'xl/worksheets/sheet1.xml' is missing")


@pytest.mark.parametrize(
    "change", [('worksheet" T', 'worksheet" TargetMode="External" T'), ("worksheet", "chartsheet")]
)
def test_charts_and_sheets_of_other_files_are_no_sheets(change: tuple[str, str]) -> None:
    content = parts(row(number("1")))
    name = "xl/_rels/workbook.xml.rels"
    content[name] = content[name].replace(*change, 1)
    assert open_workbook(packed(content), "records.xlsx").sheets == ()


def entry(data: bytes, name: str) -> int:
    """Where the entry of a part begins in the archive's list of parts."""
    at = data.index(b"PK\x01\x02")
    while data[at + 46 : at + 46 + len(name)] != name.encode():
        at = data.index(b"PK\x01\x02", at + 4)
    return at


def altered(data: bytes, name: str, offset: int, value: bytes) -> bytes:
    at = entry(data, name) + offset
    return data[:at] + value + data[at + len(value) :]


def test_a_part_larger_than_it_says_is_refused_unpacking_no_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The size that is declared is right for the first bytes, and so is the checksum."""
    bomb = row(number("1")) + " " * 50_000_000
    content = parts(bomb)
    name = "xl/worksheets/sheet1.xml"
    start = content[name].encode()[:1000]
    data = altered(packed(content), name, 24, struct.pack("<L", 1000))
    data = altered(data, name, 16, struct.pack("<L", zlib.crc32(start)))
    unpacked: list[int] = []
    checksum = zlib.crc32

    def counted(piece: bytes, start: int = 0) -> int:
        unpacked.append(len(piece))
        return checksum(piece, start)

    monkeypatch.setattr(zlib, "crc32", counted)
    refused(data, "the part 'xl/worksheets/sheet1.xml' is not what the archive says it is")
    assert sum(unpacked) < 1_000_000


def test_a_part_smaller_than_it_says_or_changed_is_refused() -> None:
    data = packed(parts(row(number("1"))), zipfile.ZIP_STORED)
    name = "xl/worksheets/sheet1.xml"
    refused(altered(data, name, 24, struct.pack("<L", 5000)), "is not what the archive says it is")
    refused(data.replace(b"<v>1</v>", b"<v>7</v>"), "is not what the archive says it is")
    assert read_bytes(data).cells.to_numpy().tolist() == [[1]]


def test_locked_and_strangely_packed_parts_are_refused() -> None:
    data = packed(parts(row(number("1"))))
    refused(altered(data, "xl/styles.xml", 8, b"\x01"), "is locked with a password")
    refused(altered(data, "xl/styles.xml", 10, b"\x0c"), "is packed in an unknown way")
    at = data.index(b"PK\x03\x04", 4) + 30 + len("_rels/.rels")
    refused(data[:at] + b"\xff" * 9 + data[at + 9 :], "cannot be unpacked")


def test_more_than_the_limits_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    small = packed(parts(row(number("1"))))
    big = packed({**parts(row(number("1"))), "xl/media/a.bin": "x" * 9000, "xl/b.bin": "x" * 9000})
    monkeypatch.setattr(archive_module, "LARGEST_PART", 10_000)
    monkeypatch.setattr(archive_module, "LARGEST_TOTAL", 15_000)
    assert read_bytes(small).cells.shape == (1, 1)
    refused(big, "it unpacks to over")
    monkeypatch.setattr(archive_module, "LARGEST_PART", 8_000)
    refused(big, "the part 'xl/media/a.bin' unpacks to over")
    monkeypatch.setattr(archive_module, "MOST_PARTS", 6)
    refused(small, "it has over 6 parts")


def test_a_huge_list_of_parts_is_refused_before_it_is_read() -> None:
    data = packed(parts(row(number("1"))))
    end = data.rindex(b"PK\x05\x06") + 12
    refused(data[:end] + struct.pack("<L", 90_000_000) + data[end + 4 :], "it has over 5,000 parts")


def test_the_limits_are_those_documented() -> None:
    assert archive_module.LARGEST_PART == 200 * 2**20
    assert archive_module.LARGEST_TOTAL == 400 * 2**20
    assert workbook_module.MOST_CELLS == 10_000_000


def test_damage_anywhere_ends_in_rows_or_in_one_plain_line() -> None:
    chance = random.Random(7)  # noqa: S311 - no secret hangs on it
    body = row(number("1"), number("46000", 1), '<c t="s"><v>0</v></c>', '<c t="b"><v>1</v></c>')
    content = parts(body, "<si><t>x</t></si>")
    outcomes = {True: 0, False: 0}
    for _ in range(400):
        changed = dict(content)
        name = chance.choice(list(changed)[1:])
        text = changed[name]
        at = chance.randrange(len(text))
        changed[name] = text[:at] + chance.choice(["", "9", "<", "&", "Z", "-"]) + text[at + 1 :]
        data = packed(changed, zipfile.ZIP_STORED)
        try:
            read_sheet(open_workbook(data, "records.xlsx"), 0, "jobs")
        except RecordsError:
            outcomes[False] += 1
        except IndexError:
            assert not open_workbook(data, "records.xlsx").sheets
        else:
            outcomes[True] += 1
    assert min(outcomes.values()) > 50
