"""The check as a whole: every row is used or rejected, in words that a person understands."""

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.errors import RecordsError, Unreconciled
from analysis.record_tables import RECORD_TABLES
from analysis.records import check as check_module
from analysis.records.cells import dtype_of
from analysis.records.check import check_tables
from analysis.records.delimited import RawTable
from analysis.records.model import FINDING_COLUMNS, REJECTED
from analysis.settings import Settings
from tests.hostile.account import account_for


def raw_table(name: str, rows: list[list[Any]], file: str = "") -> RawTable:
    """A raw table from a header and rows."""
    cells = pd.DataFrame(rows[1:], columns=range(len(rows[0])), dtype=object)
    numbers = np.arange(2, len(rows) + 1)
    return RawTable(name, file or f"{name}.csv", tuple(rows[0]), cells, numbers)


def raw_tables(shop: Any) -> dict[str, RawTable]:
    """The small shop without the way over the disk."""
    return {name: raw_table(name, rows) for name, rows in shop.tables.items()}


# The commonest faults, and every word of what is said about them.
MESSAGES = [
    (
        ("jobs", 2, {"model": ""}),
        "model is blank, and every row of jobs needs it",
        "Fill in the cell.",
    ),
    (
        ("hours", 2, {"worked_on": "7/6/2026"}),
        "'7/6/2026' is no date; expected one like 2026-07-13",
        "Write it like 2026-07-13, the form of most of the other 6 cells of this column; "
        "shop.toml stays as it is.",
    ),
    (
        ("cuts", 2, {"reason": "fist"}),
        "'fist' is not one of first, recut, damage, test or end-of-roll; the nearest is first",
        "Write one of these words, or map yours to the one you mean: under [aliases.reason] of "
        'shop.toml, the line "fist" = "first".',
    ),
    (
        ("rates", 2, {"wage": "24,50"}),
        "'24,50' has a comma, and this shop writes decimals with a point",
        "Write 2.5 for two and a half; or, if all your files write 2,5, set decimal_comma = true "
        "in shop.toml.",
    ),
    (
        ("cuts", 7, {"pulled_length": "12 lbs"}),
        "'12 lbs' has the unit 'lbs', which is no length; expected a length such as 68, 68 in, "
        "5 ft 8 in, 5'8\", 1.73 m or 25 yd",
        "Write a length such as 68, 68 in, 5 ft 8 in, 5'8\", 1.73 m or 25 yd.",
    ),
    (
        ("jobs", 2, {"finished_on": ""}),
        "the job is finished and has no day of it",
        "Fill in finished_on, or set status to open or cancelled.",
    ),
    (
        ("hours", 8, {"job_id": "J66"}),
        "there is no job J66 in jobs",
        "Mend the number, or add the job. Until then it counts for no job.",
    ),
    (
        ("cuts", 6, {"film": "GB60"}),
        "'GB60' (1 row) is nearly 'GB-60', the known spelling of this film",
        "If they are the same, write it the same way, or map it: under [aliases.film] of "
        'shop.toml, the line "GB60" = "GB-60".',
    ),
    (
        ("jobs", 3, {"payment": ""}),
        "1 finished job has a price and no payment; no card fee is counted for them",
        "Fill in payment, so that the card fee is counted where there was one.",
    ),
    (
        ("jobs", 2, {"quoted_price": "€420"}),
        "'€420' is in EUR (Euro), and the shop's currency is USD",
        "Enter the amount in the shop's currency, or set currency in shop.toml.",
    ),
]


@pytest.mark.parametrize(("fault", "problem", "remedy"), MESSAGES)
def test_messages_word_for_word(fault: Any, problem: str, remedy: str, shop: Any) -> None:
    table, row, cells = fault
    shop.set(table, row, **cells)
    findings = check_tables(raw_tables(shop), Settings()).findings
    assert findings[["problem", "remedy"]].to_numpy().tolist() == [[problem, remedy]]


def test_a_finding_names_the_place_as_the_person_sees_it(shop: Any) -> None:
    shop.rename("jobs", "quoted_price", " Quoted Price ").set("jobs", 4, quoted_hours="x" * 100)
    shop.tables["jobs"][2][shop.tables["jobs"][0].index(" Quoted Price ")] = "a lot"
    records = shop.read()
    assert list(records.findings.columns) == list(FINDING_COLUMNS)
    first, second = records.findings.to_dict("records")
    assert (first["file"], first["row"], first["column"]) == ("jobs.csv", 3, "Quoted Price")
    assert first["value"] == "a lot"
    assert second["value"] == "x" * 79 + "…"
    assert len(second["problem"]) < 120


def test_every_faulty_cell_of_a_row_is_told(shop: Any, findings: Any) -> None:
    shop.set("purchases", 3, quantity="?", unit_price="??", received_on="")
    assert findings(shop.read()) == [
        ("purchases", 3, "received_on", "required-blank"),
        ("purchases", 3, "quantity", "not-a-number"),
        ("purchases", 3, "unit_price", "not-money"),
    ]


def test_rejected_rows_come_back_in_the_shops_own_columns(shop: Any) -> None:
    shop.settings += '[columns.hours]\n"Day" = "worked_on"\n'
    shop.rename("hours", "worked_on", "Day").add("hours", job_id="=J1", Day="soon", installer="-x")
    shop.set("hours", 2, hours="-1,5")
    text = shop.read().rejected["hours"]
    rows = list(csv.reader(io.StringIO(text)))
    assert rows == [
        shop.tables["hours"][0],
        ["J1", "1", "2026-07-06", "Ines", "prep", "-1,5", "", "", "no"],
        ["'=J1", "", "soon", "'-x", "", "", "", "", ""],
    ]
    assert text.endswith("\n")
    assert "\r" not in text


def test_rejected_rows_can_be_mended_and_put_back(shop: Any) -> None:
    shop.set("hours", 2, worked_on="soon", installer="-Ines").set("rates", 2, installer="-Ines")
    shop.set("rates", 3, installer="-Ines")
    records = shop.read()
    mended = records.rejected["hours"].replace("soon", "2026-07-06")
    rows = list(csv.reader(io.StringIO(mended)))
    shop.tables["hours"][1] = rows[1]
    again = shop.read()
    assert not again.rejected
    assert again["hours"]["installer"][0] == "-Ines"


def test_rows_that_cannot_be_laid_under_the_header_are_kept_too(shop: Any) -> None:
    shop.tables["rates"][2].append("more")
    records = shop.read()
    rows = list(csv.reader(io.StringIO(records.rejected["rates"])))
    assert rows[1] == ["Ines", "2026-07-01", "25.50", "more"]
    source = next(each for each in records.sources if each.table == "rates")
    assert (source.rows_read, source.rows_used, source.rows_rejected) == (3, 2, 1)


def test_defaults(shop: Any) -> None:
    shop.set("jobs", 2, line="", status="", invoiced_price="").set("jobs", 8, status="")
    shop.set("cuts", 2, pulled_width="", source="", reason="", pieces="")
    shop.set("cuts", 7, pulled_width="")
    shop.set("hours", 2, task="", overtime="")
    records = shop.read()
    job = records["jobs"].iloc[0]
    assert (job["line"], job["status"], job["invoiced_price"]) == (1, "finished", 420.0)
    assert records["jobs"]["status"].iloc[-1] == "open"
    cut = records["cuts"].iloc[0]
    assert (cut["source"], cut["reason"], cut["pieces"]) == ("roll", "first", 1)
    assert cut["pulled_width_m"] == pytest.approx(60 * 0.0254)
    assert records["cuts"]["pulled_width_m"].iloc[5] == pytest.approx(48 * 0.0254)
    entry = records["hours"].iloc[0]
    assert entry["overtime"] is np.False_
    assert pd.isna(entry["task"])  # a blank task stays blank: it is a row of its own
    assert records["hours"]["hours"].tolist()[1] == 1.5
    assert records["purchases"]["discount"].tolist() == [0, 0, 0, 15, 0]
    assert records["panels"]["pieces"].tolist() == [1, 1]


def test_frames_have_the_columns_and_dtypes_of_the_schema(shop: Any) -> None:
    full = shop.read()
    shop.without(*(name for name in list(shop.tables) if name not in ("jobs", "purchases")))
    bare = shop.read()
    for name, table in RECORD_TABLES.items():
        for records in (full, bare):
            frame = records[name]
            assert list(frame.columns) == [*table.inside_names, "row"]
            assert frame["row"].dtype == "int64"
            for column in table.columns:
                assert str(frame[column.inside].dtype) == dtype_of(column), (name, column.name)
            assert frame.index.equals(pd.RangeIndex(len(frame)))


def test_a_row_that_replaces_another_is_the_one_used(shop: Any) -> None:
    shop.copy("jobs", 2, quoted_price="430").copy("jobs", 2, quoted_price="440")
    records = shop.read()
    assert records["jobs"]["quoted_price"].tolist()[-1] == 440.0
    assert records.findings["rule"].tolist() == ["replaced-row", "replaced-row"]
    assert records.findings["problem"][0].endswith("in row 10, which is the one used")


def test_a_faulty_row_replaces_nothing(shop: Any, findings: Any) -> None:
    shop.copy("jobs", 2, quoted_price="a lot")
    records = shop.read()
    assert findings(records) == [("jobs", 9, "quoted_price", "not-money")]
    assert records["jobs"]["job_id"].tolist()[0] == "J1"


def test_one_bad_row_leaves_the_others_alone(shop: Any) -> None:
    clean = shop.read()
    shop.add("hours", job_id="J1", worked_on="never", installer="Ines", hours="1")
    spoilt = shop.read()
    for name in RECORD_TABLES:
        pd.testing.assert_frame_equal(clean[name], spoilt[name])


def test_two_columns_that_are_one(shop: Any) -> None:
    shop.rename("jobs", "crew", "Pulled-Length")
    with pytest.raises(RecordsError, match=r"jobs.csv: the columns 'Pulled-Length' and "):
        shop.read()


def test_a_required_table_without_a_required_column(shop: Any) -> None:
    shop.rename("jobs", "quoted_hours", "hours quoted")
    with pytest.raises(RecordsError) as caught:
        shop.read()
    assert str(caught.value) == (
        "jobs.csv: there is no column quoted_hours, which every row of jobs needs; the nearest of "
        "the file is 'hours quoted'. Add the column, or, under [columns.jobs] of shop.toml, the "
        'line "hours quoted" = "quoted_hours".'
    )


def test_all_required_columns_that_are_missing_are_named_at_once(shop: Any) -> None:
    shop.rename("jobs", "quoted_hours", "hours quoted")
    shop.rename("jobs", "job_id", "Nr")
    with pytest.raises(RecordsError) as caught:
        shop.read()
    assert str(caught.value) == (
        "jobs.csv: there are no columns job_id and quoted_hours, which every row of jobs needs. "
        'Add them, or, under [columns.jobs] of shop.toml, the lines "Your column" = "job_id", '
        '"hours quoted" = "quoted_hours". None of ours are: Nr, hours quoted.'
    )


def test_an_optional_table_without_a_required_column_is_rejected_whole(shop: Any) -> None:
    shop.rename("capacity", "installer_hours", "staff")
    records = shop.read()
    assert records["capacity"].empty
    assert len(records.rejected["capacity"].splitlines()) == 3
    told = records.findings[records.findings["severity"] == REJECTED]
    assert told[["row", "column", "rule"]].to_numpy().tolist() == [
        [1, "installer_hours", "missing-column"]
    ]


@pytest.mark.parametrize("above", [1, 2, 9])
def test_column_names_under_a_title_are_found(above: int, shop: Any) -> None:
    names = len(shop.tables["jobs"][0])
    titles = [["JOBS 2026 - Bayside Film"], *([f"note {at}"] for at in range(1, above))]
    shop.tables["jobs"][:0] = titles
    for wide in (False, True):  # cells of the title that a spreadsheet wrote, or none
        if wide:
            shop.tables["jobs"][0] += [""] * (names - 1)
        with pytest.raises(RecordsError) as caught:
            shop.read()
        assert str(caught.value) == (
            f"jobs.csv: the column names stand in row {above + 1}, below 'JOBS 2026 - Bayside "
            f"Film'. If a title is above row {above + 1}, delete it; if records are, move row "
            f"{above + 1} to the top: the first row must hold the column names."
        )


def test_column_names_far_below_are_not_looked_for(shop: Any) -> None:
    shop.tables["jobs"][:0] = [[f"note {at}"] for at in range(11)]
    with pytest.raises(RecordsError, match=r"^jobs\.csv: there are no columns job_id, "):
        shop.read()


def test_a_title_above_an_optional_table_is_one_finding(shop: Any) -> None:
    shop.tables["capacity"][:0] = [["Hours of 2026", "", ""], ["of the shop"]]
    records = shop.read()
    columns = ["row", "column", "value", "rule", "severity"]
    assert records.findings[columns].to_numpy().tolist() == [
        [3, "", "Hours of 2026", "missing-column", "rejected"]
    ]
    assert records["capacity"].empty
    assert len(records.rejected["capacity"].splitlines()) == 5


def test_names_that_a_sort_put_below_records_are_told_in_their_row(shop: Any) -> None:
    """Nobody is told to delete the records above them."""
    names, *rows = shop.tables["capacity"]
    shop.tables["capacity"] = [*rows, names]
    records = shop.read()
    (told,) = records.findings.to_dict("records")
    assert (told["row"], told["rule"]) == (len(rows) + 1, "missing-column")
    assert f"if records are, move row {len(rows) + 1} to the top" in told["remedy"]
    account_for(records)


def test_headers_are_matched_without_case_spaces_and_hyphens(shop: Any) -> None:
    shop.rename("jobs", "job_id", "  JOB id ").rename(
        "jobs", "quoted_film_area", "Quoted-Film area"
    )
    assert shop.read().findings.empty


def test_a_lost_row_is_a_fault_of_the_program(shop: Any, monkeypatch: Any) -> None:
    monkeypatch.setattr(check_module, "_rejected_rows", lambda *_: [])
    shop.set("hours", 2, hours="-1")
    with pytest.raises(Unreconciled, match=r"rows of hours.csv"):
        check_tables(raw_tables(shop), Settings())


def test_nothing_that_is_passed_in_is_changed(shop: Any) -> None:
    raws = raw_tables(shop.set("hours", 2, hours="-1"))
    before = {name: raw.cells.copy() for name, raw in raws.items()}
    check_tables(raws, Settings())
    for name, raw in raws.items():
        pd.testing.assert_frame_equal(raw.cells, before[name])


ODD_CELLS = st.sampled_from(
    ["", "0", "-1", "1e9", "nan", "x", "J1", "2026-07-06", "1999-01-01", "9999-12-31", "25:00",
     "film", "freight", "credit", "finished", "cancelled", "yes", "Ines", "GB-60", "R-1", "=1",
     "1,5", "68 in", "\x07", "café", 3, 2.5, True]
)  # fmt: skip


@given(data=st.data())
@settings(
    max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_rows_read_are_rows_used_and_rejected(data: Any, shop: Any, tmp_path: Path) -> None:
    tables = {name: [list(row) for row in rows] for name, rows in shop.tables.items()}
    for _ in range(data.draw(st.integers(1, 12))):
        rows = tables[data.draw(st.sampled_from(sorted(tables)))]
        at = data.draw(st.integers(1, len(rows) - 1))
        column = data.draw(st.integers(0, len(rows[0]) - 1))
        rows[at][column] = data.draw(ODD_CELLS)
    raws = {name: raw_table(name, rows) for name, rows in tables.items()}
    checked = check_tables(raws, Settings())
    for name, count in checked.counts.items():
        used, lost = set(checked.tables[name]["row"]), set(range(2, count.read + 2))
        lost -= used
        assert count.read == len(tables[name]) - 1 == count.used + count.rejected
        assert count.used == len(used)
        told = checked.findings[checked.findings["table"] == name]
        assert set(told["row"][told["severity"] == REJECTED]) == lost
        kept = list(csv.reader(io.StringIO(checked.rejected.get(name, ""))))
        assert len(kept) == (len(lost) + 1 if lost else 0)
    assert not checked.findings.isna().any().any()
    places = checked.findings[["table", "row", "column"]][checked.findings["severity"] == REJECTED]
    assert not places.duplicated().any()
