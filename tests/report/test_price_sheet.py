"""The price sheet: its formulas against `price_lines`, in a spreadsheet, as inputs change."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook
from openpyxl.utils import range_boundaries

from analysis.errors import Unavailable, Unreconciled
from analysis.pricing.price_lines import PriceTerms, SheetInputs, price_lines
from analysis.pricing.price_sheet_form import BLOCKS, COLUMNS, NAMES, PLACE, SHEET_NAME
from analysis.report.edge import round_half_away
from analysis.report.price_sheet import with_values
from analysis.report.workbook import workbook_bytes
from analysis.settings import Settings, parse_settings
from analysis.units import square_metres_per
from tests.report.made_prices import (
    EMOJI,
    FORMULA_LIKE,
    SHOP,
    TOML,
    price_review,
    prices,
)
from tests.report.spreadsheet import needs_a_spreadsheet, saved_by_a_spreadsheet, sheet_alone

TAXED = parse_settings(
    'currency = "EUR"\nlocale = "de-DE"\narea_unit = "m2"\nlength_unit = "m"\n'
    "prices_include_tax = true\ntax_rate = 0.19\n[fees]\ncard_percent = 1.5\n[targets]\n"
    "margin = 0.38\n"
)
YEN = parse_settings('currency = "JPY"\nlocale = "ja-JP"\n[targets]\nmargin = 0.45\n')
Change = Callable[[SheetInputs], SheetInputs]
# What a person changes: the shop, cells by the key of the input, new prices by row, and what
# that means for `price_lines`.
SCENARIOS: dict[str, tuple[Settings, dict[str, Any], dict[int, Any], Change]] = {
    "as it is": (SHOP, {}, {}, lambda i: i),
    "new prices": (SHOP, {}, {0: 145, 1: 3700.5, 3: 250, 5: 1600, 6: 0.01, 9: 300, 8: 400},
                   lambda i: i),
    "target": (SHOP, {"target_margin": 0.52}, {6: 390}, lambda i: replace(i, target_share=0.52)),
    "own target": (SHOP, {"target_margin: full colour change": 0.3}, {},
                   lambda i: replace(i, service_targets={"full colour change": 0.3})),
    "no price can": (SHOP, {"target_margin": 0.95, "card_share": 0.2}, {6: 390},
                     lambda i: replace(i, target_share=0.95,
                                       terms=replace(i.terms, card_share=0.2))),
    "wages": (SHOP, {"wage_change": 0.08}, {6: 390},
              lambda i: replace(i, wage_change_share=0.08)),
    "film": (SHOP, {"film_price_change": -0.125}, {6: 390},
             lambda i: replace(i, film_change_share=-0.125)),
    "rates": (SHOP, {"overhead_an_hour": 31.5, "consumables_an_hour": 5}, {6: 390},
              lambda i: replace(i, overhead_rate=31.5, consumables_rate=5.0)),
    "card": (SHOP, {"card_share": 0.035, "card_fixed": 1.25}, {6: 390},
             lambda i: replace(i, terms=replace(i.terms, card_share=0.035, card_fixed=1.25))),
    "cleared": (SHOP, {"target_margin": None, "overhead_an_hour": None, "card_share": None,
                       "wage_change": None}, {6: 390},
                lambda i: replace(i, target_share=np.nan, overhead_rate=np.nan,
                                  terms=replace(i.terms, card_share=0.0))),
    "not known": (SHOP, {"consumables_an_hour": None}, {6: 390},
                  lambda i: replace(i, consumables_rate=np.nan)),
    "words": (SHOP, {"wage_change": "more", "card_fixed": "none", "target_margin": "half"},
              {6: "dear", 3: "$300"},
              lambda i: replace(i, target_share=np.nan, terms=replace(i.terms, card_fixed=0.0))),
    "tax": (TAXED, {"wage_change": 0.05}, {6: 390.0, 1: 3333.33},
            lambda i: replace(i, wage_change_share=0.05)),
    "yen": (YEN, {}, {6: 391}, lambda i: i),
}  # fmt: skip
LIVE = [column.name for column in COLUMNS if column.live]


_WRITTEN: dict[int, bytes] = {}
_ALONE: dict[int, bytes] = {}


def written(settings: Settings = SHOP) -> bytes:
    """The workbook of the made-up prices in one of the shops above, made once."""
    if id(settings) not in _WRITTEN:
        _WRITTEN[id(settings)] = workbook_bytes(price_review(settings))
    return _WRITTEN[id(settings)]


def header_row(sheet: Any) -> int:
    """The row of the headings: below the hidden row of names."""
    return next(row for row in range(1, 60) if sheet.cell(row, 1).value == "service") + 1


def input_cells(sheet: Any) -> dict[str, Any]:
    """The input cells by their key."""
    found = {}
    for row in range(1, header_row(sheet) - 1):
        for block, column in enumerate(BLOCKS):
            key = sheet.cell(row, len(COLUMNS) + 1 + 2 * block).value
            if key:
                found[key] = sheet.cell(row, column)
    return found


def row_cells(sheet: Any, name: str) -> list[Any]:
    first, rows = header_row(sheet) + 1, len(prices()["price_basis"])
    return [sheet.cell(row, PLACE[name]) for row in range(first, first + rows)]


def changed(name: str, path: Path) -> Path:
    """The workbook of a scenario, its cells filled in as a person would."""
    settings, inputs, new_prices, _ = SCENARIOS[name]
    # Without the values beside the formulas: all are calculated.
    if id(settings) not in _ALONE:
        _ALONE[id(settings)] = sheet_alone(written(settings), SHEET_NAME)
    book = load_workbook(io.BytesIO(_ALONE[id(settings)]))
    sheet = book[SHEET_NAME]
    cells = input_cells(sheet)
    for key, value in inputs.items():
        cells[key].value = value
    for row, value in new_prices.items():
        row_cells(sheet, "new_price")[row].value = value
    book.save(path)
    return path


@pytest.fixture(scope="module")
def calculated(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Any]:
    """The price sheet of every scenario, as a spreadsheet program calculates it."""
    folder = tmp_path_factory.mktemp("sheets")
    paths = [changed(name, folder / f"{at}.xlsx") for at, name in enumerate(SCENARIOS)]
    saved = saved_by_a_spreadsheet(paths, folder)
    return {
        name: load_workbook(path, data_only=True)[SHEET_NAME]
        for name, path in zip(SCENARIOS, saved, strict=True)
    }


def expected(name: str) -> pd.DataFrame:
    """What `price_lines` says of a scenario, under the names of the sheet's columns."""
    settings, _, new_prices, change = SCENARIOS[name]
    made = prices(settings)
    basis, asked = made["price_basis"], made["price_suggestions"]
    inputs = SheetInputs.of(settings, basis)
    inputs = change(
        replace(
            inputs,
            overhead_rate=round(inputs.overhead_rate, 6),
            consumables_rate=round(inputs.consumables_rate, 6),
        )
    )
    new = pd.Series(np.nan, index=basis.index)
    for row, price in new_prices.items():
        new[row] = price if isinstance(price, int | float) else np.nan
    lines = price_lines(basis, asked.assign(new_price=new), inputs)
    metres = square_metres_per(settings.area_unit)
    places = 0 if settings.currency == "JPY" else 2
    found = {
        "target_margin": lines["target_margin_share"],
        "film_cost_per_area": lines["film_cost_per_m2"] * metres,
        "direct_cost": lines["direct_cost"],
        "expected_cost": lines["expected_cost"],
        "floor_price": round_half_away(lines["floor_price"], places),
        "margin": lines["margin_share"],
        "change": asked["suggested_price"] / asked["current_price"] - 1,
    }
    for price in ("suggested", "new"):
        found[f"{price}_margin"] = lines[f"{price}_margin_share"]
        found[f"{price}_full_margin"] = lines[f"{price}_full_margin"]
        found[f"{price}_break_even"] = lines[f"{price}_break_even_share"]
    return pd.DataFrame(found)


@needs_a_spreadsheet
@pytest.mark.parametrize("name", list(SCENARIOS))
def test_every_formula_gives_what_price_lines_gives(
    name: str, calculated: Mapping[str, Any]
) -> None:
    wanted = expected(name)
    assert set(wanted) == set(LIVE)
    for column in LIVE:
        values = [cell.value for cell in row_cells(calculated[name], column)]
        found = pd.Series([np.nan if v in (None, "") else v for v in values], dtype="float64")
        np.testing.assert_allclose(found, wanted[column], rtol=1e-9, atol=1e-9, err_msg=column)
    if name not in ("words", "not known", "cleared", "no price can"):
        assert wanted["floor_price"].notna().sum() == 9


@needs_a_spreadsheet
def test_nothing_shows_an_error(calculated: Mapping[str, Any]) -> None:
    for name, sheet in calculated.items():
        for row in sheet.iter_rows():
            for cell in row:
                assert cell.data_type != "e", (name, cell.coordinate, cell.value)
                assert not str(cell.value).startswith("#"), (name, cell.coordinate)


@needs_a_spreadsheet
def test_values_beside_the_formulas_are_those_that_are_calculated(
    calculated: Mapping[str, Any],
) -> None:
    ours = load_workbook(io.BytesIO(written()), data_only=True)[SHEET_NAME]
    count = 0
    for row in calculated["as it is"].iter_rows():
        for cell in row:
            value, own = cell.value, ours[cell.coordinate].value
            if isinstance(value, int | float):
                assert own == pytest.approx(value, rel=1e-12), cell.coordinate
                count += 1
            else:
                assert (own or None) == (value or None), cell.coordinate
    assert count > 200


# --- the file ------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def book() -> Workbook:
    return load_workbook(io.BytesIO(written()))


def test_the_sheet_comes_after_the_cover_and_is_listed_there(book: Workbook) -> None:
    assert book.sheetnames[:2] == ["Cover", SHEET_NAME]
    links = [c.hyperlink.location for row in book["Cover"].iter_rows() for c in row if c.hyperlink]
    assert links[0] == f"'{SHEET_NAME}'!A1"


def test_the_same_prices_give_the_same_bytes() -> None:
    assert written() == workbook_bytes(price_review())


def test_every_formula_has_a_value_beside_it() -> None:
    with zipfile.ZipFile(io.BytesIO(written())) as archive:
        part = archive.read("xl/worksheets/sheet2.xml").decode()
        assert b'fullCalcOnLoad="1"' in archive.read("xl/workbook.xml")
    cells = re.findall(r'<c r="[A-Z]+\d+"([^>]*)><f>[^<]*</f>(<v>[^<]*</v>)</c>', part)
    rows = len(prices()["price_basis"])
    assert len(cells) == part.count("<f>") == rows * len(LIVE) + 2
    for kind, value in cells:
        assert ('t="str"' in kind) == (value == "<v></v>")


def test_values_must_fit_the_formulas() -> None:
    part = b'<c r="A1" s="3"><f>1+1</f><v /></c>'
    assert with_values(part, {"A1": 2.0}) == b'<c r="A1" s="3"><f>1+1</f><v>2.0</v></c>'
    with pytest.raises(Unreconciled, match="A1.*formula without a value"):
        with_values(part, {})
    with pytest.raises(Unreconciled, match="B1.*value without a formula"):
        with_values(part, {"A1": 2.0, "B1": 1.0})


def test_only_functions_of_old_programs(book: Workbook) -> None:
    used = set()
    for row in book[SHEET_NAME].iter_rows():
        for cell in row:
            if cell.data_type == "f":
                used |= set(re.findall(r"([A-Z]+)\(", cell.value))
                assert "!" not in cell.value
    assert used == {"IF", "AND", "OR", "ISNUMBER", "N", "ROUND", "SUMPRODUCT"}


def test_typed_text_is_never_a_formula(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    cell = row_cells(sheet, "service")[0]
    assert (cell.value, cell.data_type, bool(cell.quotePrefix)) == (FORMULA_LIKE, "s", True)
    assert row_cells(sheet, "service")[9].value == EMOJI
    table = sheet.iter_rows(min_row=header_row(sheet))
    formulas = {cell.column for row in table for cell in row if cell.data_type == "f"}
    assert formulas == {PLACE[name] for name in LIVE}


def test_inputs_are_marked_by_a_word_and_open_and_validated(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    checked = {
        str(each): rule for rule in sheet.data_validations.dataValidation for each in rule.sqref
    }
    cells = input_cells(sheet)
    assert set(cells) == {
        "first_day", "target_margin", "target_margin: full colour change", "wage_change",
        "film_price_change", "overhead_an_hour", "consumables_an_hour", "card_share",
        "card_fixed", "note",
    }  # fmt: skip
    for key, cell in cells.items():
        words = [sheet.cell(cell.row, at).value for at in range(cell.column + 1, BLOCKS[2] + 2)]
        assert "input" in words, key
        assert cell.protection.locked is False
        assert cell.fill.fill_type == "solid"
        assert cell.border.left.style
        rule = checked[cell.coordinate]
        assert rule.showErrorMessage
        assert rule.error
        assert rule.prompt
    ranges = {key: (checked[c.coordinate].formula1, checked[c.coordinate].formula2)
              for key, c in cells.items()}  # fmt: skip
    assert ranges["target_margin"] == ("0", "0.95")
    assert ranges["wage_change"] == ("-0.5", "1")
    # A card fee of a fifth is a slip; one of 3 % is none.
    assert ranges["card_share"] == ("0", "0.2")
    assert ranges["first_day"] == ("DATE(2026,7,1)", None)
    column = row_cells(sheet, "new_price")
    rule = checked[f"{column[0].coordinate}:{column[-1].coordinate}"]
    assert (rule.type, rule.operator, rule.formula1) == ("decimal", "greaterThan", "0")
    for name in ("new_price", "note"):
        assert "(input)" in sheet.cell(header_row(sheet), PLACE[name]).value
        assert all(cell.protection.locked is False for cell in row_cells(sheet, name))
    assert not sheet.protection.sheet


def test_services_with_their_own_target_follow_it(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    cells = input_cells(sheet)
    assert cells["target_margin: full colour change"].value == 0.4
    formulas = [cell.value for cell in row_cells(sheet, "target_margin")]
    letter, row = "C", cells["target_margin: full colour change"].row
    assert [f"${letter}${row}" in formula for formula in formulas] == [
        each == "full colour change" for each in prices()["price_basis"]["service"]
    ]


def test_what_the_eye_needs(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    head = header_row(sheet)
    assert sheet.freeze_panes == f"C{head + 1}"
    assert sheet.row_dimensions[head - 1].hidden
    for at, column in enumerate(COLUMNS, 1):
        letter = sheet.cell(head, at).column_letter
        dimension = sheet.column_dimensions.get(letter)
        if not column.hidden:
            assert not dimension.hidden
            assert sheet.cell(head, at).comment is not None
    table = sheet.tables["price_sheet"]
    assert table.autoFilter.ref == table.ref
    names = [each.name for each in table.tableColumns]
    assert len(set(map(str.casefold, names))) == len(NAMES)
    assert row_cells(sheet, "vehicle_class")[0].value == "every class"
    assert row_cells(sheet, "vehicle_class")[4].value == "every other class"
    assert row_cells(sheet, "own_class")[4].value is None
    text = " ".join(str(sheet.cell(row, 1).value) for row in (2, 3))
    assert "Live:" in text
    assert "Not live: the suggested price" in text
    assert "competition law" in text


def test_many_targets_leave_room_on_a_small_screen() -> None:
    """What stays in sight may not fill it: with many inputs only the columns are held."""
    made = prices()
    basis = pd.concat([made["price_basis"].assign(service=f"service {n}") for n in range(12)])
    asked = pd.concat([made["price_suggestions"].assign(service=f"service {n}") for n in range(12)])
    one = made["price_basis"].index == 3
    basis, asked = basis[np.tile(one, 12)], asked[np.tile(one, 12)]
    own = "".join(f"[targets.service.'service {n}']\nmargin = 0.45\n" for n in range(12))
    settings = parse_settings("[fees]\ncard_percent = 2.9\ncard_fixed = 0.30\n" + own)
    review = price_review(settings, price_basis=basis, price_suggestions=asked)
    sheet = load_workbook(io.BytesIO(workbook_bytes(review)))[SHEET_NAME]
    assert len(input_cells(sheet)) == 9 + 12
    assert sheet.freeze_panes == "C1"


# --- what there is to write ----------------------------------------------------------------------


@pytest.mark.parametrize("name", ["price_suggestions", "price_basis"])
def test_without_prices_there_is_no_sheet_and_the_cover_says_why(name: str) -> None:
    line = "Prices need the table price_list."
    review = price_review(**{name: Unavailable(name, ("price_list",), line)})
    book = load_workbook(io.BytesIO(workbook_bytes(review)))
    assert SHEET_NAME not in book.sheetnames
    cover = book["Cover"]
    texts = [[c.value for c in row[:2]] for row in cover.iter_rows()]
    assert [f"{SHEET_NAME}, 2026Q3", line] in texts


def test_an_empty_price_list_gives_no_sheet() -> None:
    made = {name: frame.iloc[:0] for name, frame in prices().items()}
    book = load_workbook(io.BytesIO(workbook_bytes(price_review(**made))))
    assert SHEET_NAME not in book.sheetnames
    assert any(
        "no price on the quarter's last day" in str(c.value)
        for row in book["Cover"].iter_rows()
        for c in row
    )


def test_what_does_not_agree_is_refused() -> None:
    made = prices()
    asked = made["price_suggestions"]
    for wrong in (
        asked.assign(floor_price=asked["floor_price"] + 0.02),
        asked.assign(floor_price=asked["floor_price"].mask(asked.index == 1)),
        asked.assign(expected_cost=asked["expected_cost"] * 1.001),
        asked.iloc[1:],
    ):
        with pytest.raises(Unreconciled):
            workbook_bytes(price_review(price_suggestions=wrong))
    rates = made["price_basis"].assign(
        overhead_rate=lambda frame: frame["overhead_rate"] + frame.index
    )
    with pytest.raises(Unreconciled, match="overhead_rate"):
        workbook_bytes(price_review(price_basis=rates))


def test_rows_in_another_order_are_put_in_order() -> None:
    turned = prices()["price_basis"].iloc[::-1]
    contents = (workbook_bytes(price_review(price_basis=turned)), written())
    ours, theirs = (load_workbook(io.BytesIO(each))[SHEET_NAME] for each in contents)
    for row in theirs.iter_rows():
        for cell in row:
            assert ours[cell.coordinate].value == cell.value


def test_frames_are_left_as_they_were() -> None:
    review = price_review()
    before = {name: review.frame(name).copy() for name in review.results}
    workbook_bytes(review)
    for name, frame in before.items():
        pd.testing.assert_frame_equal(frame, review.frame(name))


def test_the_first_day_is_left_blank_and_beside_it_stands_what_that_means(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    cell = input_cells(sheet)["first_day"]
    assert cell.value is None
    assert sheet.cell(cell.row, len(COLUMNS) + 2).value is None
    words = sheet.cell(cell.row, 1).value
    assert words == "First day of the new prices (blank: the first of next month)"
    assert sheet.row_dimensions[cell.row].height == 2 * 15


# --- prices, gains, dearer vehicles --------------------------------------------------------------

IN_WHOLE, WITH_CENTS = '"$"#,##0;-"$"#,##0', '"$"#,##0.00;-"$"#,##0.00'


def forms(sheet: Any, name: str) -> set[str]:
    return {cell.number_format for cell in row_cells(sheet, name)}


def test_prices_are_shown_in_whole_money_and_keep_their_values(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    for name in ("current_price", "floor_price", "suggested_price", "new_price", "expected_gain"):
        assert forms(sheet, name) == {IN_WHOLE}, name
    for name in ("suggested_full_margin", "expected_cost", "film_cost_per_area"):
        assert forms(sheet, name) == {WITH_CENTS}, name
    values = load_workbook(io.BytesIO(written()), data_only=True)[SHEET_NAME]
    floor = row_cells(values, "floor_price")[3].value
    assert floor == pytest.approx(266.67)
    (rules,) = sheet.conditional_formatting
    assert str(rules.sqref) == f"N{header_row(sheet) + 1}:N{header_row(sheet) + 11}"
    assert rules.rules[0].dxf.numFmt.formatCode == WITH_CENTS


def test_prices_that_have_cents_show_them() -> None:
    made = prices()["price_suggestions"]
    asked = made.assign(current_price=made["current_price"].replace(350.0, 349.99))
    cells = load_workbook(io.BytesIO(workbook_bytes(price_review(price_suggestions=asked))))
    sheet = cells[SHEET_NAME]
    found = [cell.number_format for cell in row_cells(sheet, "current_price")]
    assert found == [IN_WHOLE] * 6 + [WITH_CENTS] + [IN_WHOLE] * 4
    cents = parse_settings(TOML.replace("round_to = 5", "round_to = 0.5"))
    sheet = load_workbook(io.BytesIO(workbook_bytes(price_review(cents))))[SHEET_NAME]
    assert forms(sheet, "current_price") == forms(sheet, "floor_price") == {WITH_CENTS}


def test_the_vehicles_that_cost_more_are_named_where_that_is_sure(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    named = [cell.value for cell in row_cells(sheet, "dearer_vehicles")]
    wanted: list[str | None] = [None] * 11
    # A van has no price of its own, so that of every other class holds for it.
    wanted[3], wanted[4] = "Brenhall Garrow +$100", "Brenhall Loft +$55"
    wanted[6] = "Harrow Pike +$60, Harrow Dart +$25"
    assert named == wanted
    at = sheet.column_dimensions["M"]
    assert (at.width, at.hidden) == (30, False)


def test_without_surcharges_nobody_is_named() -> None:
    line = Unavailable("model_surcharges", ("hours",), "Surcharges need hours.")
    for found in (line, prices()["model_surcharges"].iloc[:0]):
        content = workbook_bytes(price_review(model_surcharges=found))
        sheet = load_workbook(io.BytesIO(content))[SHEET_NAME]
        assert {cell.value for cell in row_cells(sheet, "dearer_vehicles")} == {None}
        assert sheet.column_dimensions["M"].width == 11


def gain_cells(sheet: Any) -> list[Any]:
    """The sum of the gains, and the number of those not known: above the names of the columns."""
    return [sheet.cell(header_row(sheet) - 2, column).value for column in BLOCKS[:2]]


@needs_a_spreadsheet
def test_the_gains_of_the_rows_with_a_new_price_are_added(calculated: Mapping[str, Any]) -> None:
    gains = prices()["price_suggestions"]["expected_gain"]
    assert gain_cells(calculated["as it is"]) == [0, 0]
    rows = list(SCENARIOS["new prices"][2])
    known = gains[rows].dropna()
    assert 0 < len(known) < len(rows)
    added, unknown = gain_cells(calculated["new prices"])
    assert added == pytest.approx(known.sum())
    assert unknown == len(rows) - len(known)
    # What is no number is no price.
    assert gain_cells(calculated["words"])[0] == 0


# --- as it is printed ----------------------------------------------------------------------------


def test_it_is_printed_in_parts_and_what_stands_above_on_the_first_alone(book: Workbook) -> None:
    sheet = book[SHEET_NAME]
    head = header_row(sheet)
    parts = str(sheet.print_area).replace("$", "").replace("'Price sheet'!", "").split(",")
    last = head + 11
    assert parts == [f"A1:N{last}", f"O{head + 1}:S{last}", f"T{head + 1}:Z{last}"]
    assert (sheet.print_title_rows, sheet.print_title_cols) == (f"${head}:${head}", "$A:$B")
    assert sheet.page_setup.fitToWidth == 1
    widest = max(each.max_col for each in sheet.merged_cells.ranges)
    assert widest <= PLACE["new_price"]
    printed = {at for part in parts for at in range(*columns_of(part))}
    shown = {at for at, column in enumerate(COLUMNS, 1) if not column.hidden}
    assert printed == shown


def columns_of(part: str) -> tuple[int, int]:
    first, _, last, _ = range_boundaries(part)
    return int(first or 0), int(last or 0) + 1


def test_terms_are_those_of_the_settings() -> None:
    assert PriceTerms.of(TAXED) == PriceTerms(1 / 1.19, 0.015, 0.0)


def test_the_print_of_the_sheet_says_whose_it_is_and_of_when() -> None:
    """An ampersand begins a code in a header, so one in a name stands twice."""
    review = price_review(Settings(shop_name="Penn & Sons"))
    sheet = load_workbook(io.BytesIO(workbook_bytes(review)))[SHEET_NAME]
    assert sheet.oddHeader.left.text == "Penn && Sons"
    assert sheet.oddHeader.right.text == f"{SHEET_NAME} {review.quarter.label}, printed &D"
