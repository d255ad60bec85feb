"""Totals and remarks that stand in a table: one finding each, and no record is taken for one."""

from typing import Any

import pytest
from openpyxl import Workbook

from analysis.records.read import read_records
from tests.records.conftest import SmallShop


def told(shop: SmallShop) -> list[tuple[int, str, str, str]]:
    records = shop.read()
    for source in records.sources:
        assert source.rows_read == source.rows_used + source.rows_rejected
    columns = records.findings[["row", "column", "rule", "problem"]]
    return list(columns.itertuples(index=False, name=None))


@pytest.mark.parametrize(
    "word", ["TOTAL", "Total:", "grand total", "Sub-total", "Sum", "Summe", "Note: check this"]
)
def test_a_row_that_begins_with_a_total_is_told_once(word: str, shop: Any) -> None:
    shop.add("jobs", job_id=word, quoted_hours="18", quoted_price="2580", hours="4.5")
    problem = f"the row begins with '{word}': a total or a remark"
    assert told(shop) == [(9, "job_id", "total-or-remark", problem)]


def test_a_total_in_a_small_table(shop: Any) -> None:
    shop.add("overheads", month="Total", amount="4764.5").add("purchases", invoice="Total")
    assert [each[:3] for each in told(shop)] == [
        (7, "invoice", "total-or-remark"),
        (5, "month", "total-or-remark"),
    ]


def test_a_remark_alone_in_its_row(shop: Any) -> None:
    shop.add("jobs", service="Ann: remember to bill the Pike!").add("jobs", job_id="J7")
    assert told(shop) == [
        (
            9,
            "service",
            "total-or-remark",
            "the row holds nothing but the remark 'Ann: remember to bill the Pike!'",
        ),
        (10, "job_id", "total-or-remark", "the row holds nothing but 'J7'"),
    ]
    remedies = shop.read().findings["remedy"].tolist()
    assert remedies[0] == "Delete the row, or keep it outside of the table."
    assert remedies[1] == "Fill in the rest of the row, or delete it."


def test_sums_of_their_columns_are_a_total(shop: Any) -> None:
    shop.add("jobs", quoted_hours="18", quoted_price="2320", invoiced_price="1580")
    assert [each[:3] for each in told(shop)] == [(9, "quoted_hours", "total-or-remark")]
    # Of one that is no sum, every blank cell is told.
    shop.set("jobs", 9, quoted_price="2400")
    assert {each[2] for each in told(shop)} == {"required-blank"}


@pytest.mark.parametrize("word", ["Summit 4", "Totalled", "Notary", "Subaltern"])
def test_a_word_that_only_begins_like_a_total_is_none(word: str, shop: Any) -> None:
    shop.add("jobs", job_id=word, quoted_hours="18", quoted_price="2580")
    assert [each[1:3] for each in told(shop)] == [
        (column, "required-blank") for column in ("service", "make", "model")
    ]


def test_a_record_that_lacks_little_is_none(shop: Any) -> None:
    shop.set("quotes", 5, quote_id="Total 6", quoted_price="").set("hours", 8, job_id="")
    assert {each[2] for each in told(shop)} == {"required-blank"}


def test_formulas_of_a_total_are_not_told_beside_it(shop: Any) -> None:
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "overheads"
    for row in shop.tables.pop("overheads"):
        sheet.append(row)
    sheet.append(["Total", None, "=SUM(C2:C4)"])
    folder = shop.write()
    book.save(folder / "overheads.xlsx")
    found = read_records(folder).findings[["row", "rule"]].to_numpy().tolist()
    assert found == [[5, "total-or-remark"]]
    # With another formula of the column they are.
    sheet["C4"] = "=12*3"
    book.save(folder / "overheads.xlsx")
    found = read_records(folder).findings[["row", "column"]].to_numpy().tolist()
    assert found == [[4, "amount"], [5, "month"]]
