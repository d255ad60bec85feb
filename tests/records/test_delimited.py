"""Delimited text as people save it: every row is read, rejected with a reason, or refused aloud."""

import csv
import io
import time

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.errors import RecordsError
from analysis.records.delimited import (
    LARGEST_CELL,
    MOST_BROKEN_ROWS,
    Note,
    RawTable,
    column_letter,
    read_delimited,
)


def read(text: str | bytes, encoding: str = "utf-8") -> RawTable:
    data = text if isinstance(text, bytes) else text.encode(encoding)
    raw = read_delimited(data, "jobs", "jobs.csv")
    assert raw is not None
    return raw


def rows(raw: RawTable) -> list[list[object]]:
    return raw.cells.to_numpy().tolist()


def only(raw: RawTable, rule: str) -> Note:
    found = [note for note in raw.notes if note.rule == rule]
    assert len(found) == 1, raw.notes
    return found[0]


def test_a_plain_file_comes_as_it_stands() -> None:
    raw = read("Job No , Hours\nA-1,2.75\nA-2,\n")
    assert raw.table == "jobs"
    assert raw.file == "jobs.csv"
    assert raw.header == ("Job No ", " Hours")
    assert rows(raw) == [["A-1", "2.75"], ["A-2", ""]]
    assert raw.rows.tolist() == [2, 3]
    assert raw.cells.columns.equals(pd.RangeIndex(2))
    assert {str(dtype) for dtype in raw.cells.dtypes} == {"object"}
    assert raw.notes == ()
    assert raw.rejected_rows == ()


def test_cells_stay_the_text_they_are() -> None:
    line = ["00012", "NA", "1.50", " padded ", "nan", "TRUE", "1e5"]
    assert rows(read("a;b;c;d;e;f;g\n" + ";".join(line))) == [line]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_files_are_read_without_a_note(encoding: str) -> None:
    raw = read("modèle,heures\nOrbis–é,2\n", encoding)
    assert raw.header == ("modèle", "heures")
    assert rows(raw) == [["Orbis–é", "2"]]
    assert raw.encoding == encoding
    assert raw.notes == ()


def test_other_files_are_read_as_windows_1252_and_the_first_odd_row_is_told() -> None:
    raw = read('a,b\n"two\nlines",1\nx,2\ncafé – 5 €,3\n', "cp1252")
    assert rows(raw)[2] == ["café – 5 €", "3"]
    assert raw.encoding == "cp1252"
    note = only(raw, "not-utf-8")
    assert (note.row, note.value, note.severity) == (4, "é", "doubtful")
    assert "UTF-8, so some letters" not in note.problem


def test_a_byte_that_means_nothing_stays_visible_and_mixed_text_is_told() -> None:
    raw = read("é,b\nü,1\n".encode() + b"x\x81y,2\n")
    assert rows(raw)[1] == ["x\\x81y", "2"]
    note = only(raw, "not-utf-8")
    assert note.row == 3
    assert "\\x81" in note.problem
    assert "parts of it are UTF-8" in note.problem


def test_damaged_utf_16_is_refused() -> None:
    with pytest.raises(RecordsError, match=r"jobs\.csv starts as UTF-16 text"):
        read("a,b\n1,2\n".encode("utf-16") + b"x")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16-le"])
def test_a_nul_byte_is_refused_with_its_row(encoding: str) -> None:
    text = 'a,b\n"1\n1",2\n3\0,4\n' if encoding == "utf-8" else "ab"
    row = 3 if encoding == "utf-8" else 1
    with pytest.raises(RecordsError, match=rf"jobs\.csv, row {row}: there is a NUL byte"):
        read(text, encoding)


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_the_separator_is_found(delimiter: str) -> None:
    raw = read("a,b,c\n1,2,3\n".replace(",", delimiter))
    assert raw.delimiter == delimiter
    assert rows(raw) == [["1", "2", "3"]]


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("price;hours\n1,50;2,75\n3,25;4,5\n", ";"),  # decimal commas in every row
        ("price;hours\n1,50;2\n", ";"),
        ("hours, total;price\n1,5;2\n", ";"),  # both fit: commas also stand in text and numbers
        ("id,crew,make\n1,Ada;Bo,Orbis\n2,Bo;Cy,Orbis\n", ","),  # the same count of semicolons
        ("id,crew\n" + "1,Ada;Bo;Cy\n" * 9, ","),
        ("a,b,c,d\n1,x;y\n2\n3,x;y,z\n4,x;y,z,1\n", ","),  # rows of unequal length
        ("Jobs, 2026\na;b;c\n1,5;2;3\n2,5;2;3\n", ";"),  # a title above
        ('a;b\n"x, y, z";1\n"p, q, r";2\n', ";"),  # separators inside quoted cells
        ("a\tb\n1,5\t2;5\n", "\t"),
        ("only\n1\n2\n", ","),
    ],
)
def test_the_separator_in_files_that_mislead(text: str, delimiter: str) -> None:
    assert read(text).delimiter == delimiter


@pytest.mark.parametrize("line", ["sep=|", '"sep=|"', "SEP=|"])
def test_a_line_that_names_the_separator_is_honoured_and_is_no_row(line: str) -> None:
    raw = read(f"{line}\r\na|b,c\r\n1|2,3\r\n")
    assert raw.header == ("a", "b,c")
    assert raw.rows.tolist() == [2]


@pytest.mark.parametrize("end", ["\r\n", "\n", "\r"])
def test_every_line_ending(end: str) -> None:
    raw = read(f'a,b{end}1,"x{end}y"{end}{end}2,z{end}')
    assert rows(raw) == [["1", f"x{end}y"], ["2", "z"]]
    assert raw.rows.tolist() == [2, 4]


def test_other_line_separators_stay_in_their_cell() -> None:
    cell = "a\u2028b\x85c\x0bd\x0ce"
    assert rows(read(f"a,b\n1,{cell}\n")) == [["1", cell]]


def test_blank_rows_are_no_rows_and_count_in_the_numbers() -> None:
    raw = read("\n , \na,b\n,\n1,2\n\n3,4\n\n")
    assert raw.header == ("a", "b")
    assert raw.rows.tolist() == [5, 7]


@pytest.mark.parametrize("text", ["", "\n\n", "\ufeff", " , ,\n", "\r\n"])
def test_nothing_in_the_file(text: str) -> None:
    assert read_delimited(text.encode(), "jobs", "jobs.csv") is None


def test_a_header_alone_is_an_empty_table() -> None:
    raw = read("a,b")
    assert raw.header == ("a", "b")
    assert raw.cells.shape == (0, 2)
    assert raw.rows.shape == (0,)


def test_short_rows_are_filled_up_and_long_ones_rejected() -> None:
    raw = read("a,b\n1\n2,x,,\n3,x,y,\n4,z\n")
    assert rows(raw) == [["1", ""], ["2", "x"], ["4", "z"]]
    assert raw.rows.tolist() == [2, 3, 5]
    assert [(row.row, row.cells) for row in raw.rejected_rows] == [(4, ("3", "x", "y", ""))]
    note = only(raw, "row-too-long")
    assert (note.row, note.severity) == (4, "rejected")
    assert note.value.startswith("y")


def test_a_column_without_a_name_keeps_its_cells_and_is_told() -> None:
    raw = read("a,,c,,\n1,x,2,,\n3,,4,,\n5,y,6,,\n")
    assert raw.header == ("a", "", "c")
    assert rows(raw)[0] == ["1", "x", "2"]
    note = only(raw, "column-without-name")
    assert (note.row, note.column, note.value) == (2, "column B", "x")
    assert "2 of its cells" in note.problem


def test_a_title_above_the_names_is_told() -> None:
    raw = read("Jobs of the year\n\na,b\n1,2\n")
    assert raw.header == ("Jobs of the year",)
    assert only(raw, "title-above-header").row == 1
    assert [row.row for row in raw.rejected_rows] == [3, 4]


def test_a_quotation_mark_that_never_closes_costs_one_row() -> None:
    raw = read('a,b\n1,x\n"2,y\n3,z\n4,"u\nv"\n5,w\n')
    assert rows(raw) == [["1", "x"], ["3", "z"], ["4", "u\nv"], ["5", "w"]]
    assert raw.rows.tolist() == [2, 4, 5, 6]
    assert [(row.row, row.cells) for row in raw.rejected_rows] == [(3, ('"2', "y"))]
    assert (only(raw, "broken-quotes").row, raw.notes[0].severity) == (3, "rejected")


def test_rejected_rows_stand_in_the_order_of_the_file() -> None:
    raw = read('a,b\n1,2,3\n4,"5\n6,7,8\n9,0\n')
    assert [row.row for row in raw.rejected_rows] == [2, 3, 4]
    assert raw.rows.tolist() == [5]


def test_an_inch_mark_inside_a_quoted_cell_is_not_changed_silently() -> None:
    raw = read('a,b\n1,"68" wide"\n2,"68"" wide"\n3,68" wide\n')
    assert rows(raw) == [["2", '68" wide'], ["3", '68" wide']]
    assert [row.row for row in raw.rejected_rows] == [2]


def test_a_stray_mark_closed_by_another_far_below_is_told() -> None:
    raw = read('a,b,c\n1,"x,2\n3,y,4\n5,z",6\n7,u,8\n')
    assert len(raw.cells) == 2
    note = only(raw, "rows-inside-cell")
    assert (note.row, note.column, note.severity) == (2, "b", "doubtful")
    assert not read('a,b,c\n1,"one, or\ntwo",2\n').notes


def test_a_broken_header_is_refused() -> None:
    with pytest.raises(RecordsError, match=r"jobs\.csv, row 2: a quotation mark .* column names"):
        read('\n"a,b\n1,2\n')
    with pytest.raises(RecordsError, match="row 1"):
        read('"a,b')


def test_quotation_marks_broken_all_over_are_refused() -> None:
    with pytest.raises(RecordsError, match="the first in row 2"):
        read("a,b\n" + '1,"x"y\n' * (MOST_BROKEN_ROWS + 1))
    assert len(read("a,b\n" + '1,"x"y\n' * MOST_BROKEN_ROWS + "1,2").rejected_rows) == 100


def test_a_cell_of_a_megabyte_is_read_and_a_larger_one_refused() -> None:
    assert rows(read("a,b\n1," + "x" * LARGEST_CELL))[0][1] == "x" * LARGEST_CELL
    with pytest.raises(RecordsError, match=r"jobs\.csv, row 3: a cell holds over 1,048,576"):
        read("a,b\n1,2\n3," + "x" * (LARGEST_CELL + 1))


def test_the_limit_of_the_csv_module_is_put_back() -> None:
    before = csv.field_size_limit(4321)
    try:
        read("a,b\n1," + "x" * 5000)
        with pytest.raises(RecordsError):
            read("a\0")
        assert csv.field_size_limit() == 4321
    finally:
        csv.field_size_limit(before)


def test_a_header_of_very_many_columns_costs_no_memory() -> None:
    with pytest.raises(RecordsError, match=r"jobs\.csv has 500,001 columns and 1,000 rows"):
        read("x" + "," * 500_000 + "\n" + "1,2\n" * 1000)


@pytest.mark.parametrize(
    "start",
    [b"PK\x03\x04rest", b"\xd0\xcf\x11\xe0rest", b"%PDF-1.7", b"<!doctype html>", b"<HTML>"],
)
def test_other_kinds_of_file_are_named(start: bytes) -> None:
    with pytest.raises(RecordsError, match=r"jobs\.csv is .*, not a CSV file\. Save it as"):
        read(start)


def test_column_letters_are_a_spreadsheet_s() -> None:
    wanted = {0: "A", 25: "Z", 26: "AA", 701: "ZZ", 702: "AAA", 16_383: "XFD"}
    assert {place: column_letter(place) for place in wanted} == wanted


cells = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=6)


@settings(max_examples=150, deadline=None)
@given(
    st.lists(st.lists(cells, min_size=3, max_size=3), max_size=6),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\r\n", "\n"]),
)
def test_what_is_written_is_read_back(body: list[list[str]], delimiter: str, end: str) -> None:
    written = io.StringIO()
    writer = csv.writer(written, delimiter=delimiter, lineterminator=end, quoting=csv.QUOTE_ALL)
    writer.writerows([["id", "film", "note"], *body])
    raw = read(f"sep={delimiter}{end}" + written.getvalue())
    filled = [i for i, row in enumerate(body) if any(cell.strip() for cell in row)]
    assert rows(raw) == [body[i] for i in filled]
    assert raw.rows.tolist() == [i + 2 for i in filled]
    assert not raw.rejected_rows


def test_many_rows_are_read_in_seconds() -> None:
    count = 200_000
    text = "id,make,film,hours,price\n" + "".join(
        f'{i},Orbis,VX-{i % 50},2.75,"1,250.00"\n' for i in range(count)
    )
    start = time.process_time()
    raw = read(text)
    assert time.process_time() - start < 6
    assert np.array_equal(raw.rows, np.arange(2, count + 2))
    assert rows(raw)[-1] == [str(count - 1), "Orbis", "VX-49", "2.75", "1,250.00"]
