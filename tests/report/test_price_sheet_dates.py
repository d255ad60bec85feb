"""The first day on the price sheet."""

import io

from openpyxl import load_workbook

from analysis.pricing.price_sheet_form import FIRST_DAY, SHEET_NAME
from tests.report.made_prices import SHOP, price_review
from tests.report.test_price_sheet import input_cells, written


def test_the_first_day_may_be_any_from_the_quarter_on() -> None:
    sheet = load_workbook(io.BytesIO(written()))[SHEET_NAME]
    cell = input_cells(sheet)[FIRST_DAY]
    (rule,) = [
        each for each in sheet.data_validations.dataValidation if cell.coordinate in each.sqref
    ]
    day = price_review(SHOP).quarter.first_day
    assert (rule.type, rule.operator) == ("date", "greaterThanOrEqual")
    assert rule.formula1 == f"DATE({day.year},{day.month},{day.day})"
