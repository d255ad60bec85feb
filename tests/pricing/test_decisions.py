"""A filled-in price sheet read back: what it decides, what is refused, what is told."""

from __future__ import annotations

import datetime as dt
import io
import math
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest
from openpyxl import Workbook, load_workbook

from analysis.errors import RecordsError
from analysis.pricing.decisions import Decisions, decisions_of, expected_win
from analysis.pricing.floor import at_price
from analysis.pricing.price_sheet_form import COLUMNS, NAMES, PLACE, SHEET_NAME
from analysis.pricing.price_sheet_reader import read_price_sheet
from analysis.records.model import Records
from analysis.records.read import read_records
from tests.pricing.made_sheet import (
    GUARD,
    HOOD,
    HOOD_LARGE,
    LARGE_CHANGE,
    ROOF,
    ROOF_OTHER,
    ROOF_SUV,
    SIGN,
    TINT,
    cell_of,
    filled_sheet,
    header_row,
    input_cell,
    made_shop,
    price_list,
    review_bytes,
)
from tests.report.made_prices import EMOJI, FORMULA_LIKE, SHOP, TOML, prices
from tests.report.spreadsheet import needs_a_spreadsheet, saved_by_a_spreadsheet

ON = dt.date(2026, 10, 5)
Edit = Callable[[Any], object]
# The shop that no test changes, read once.
_READ: dict[Path, Records] = {}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    shop = made_shop(tmp_path_factory.mktemp("decide") / "shop")
    _READ[shop] = read_records(shop)
    return shop


@pytest.fixture(scope="module")
def blank(shop: Path) -> bytes:
    return review_bytes(shop)


def edited(blank: bytes, path: Path, *edits: Edit) -> Path:
    book = load_workbook(io.BytesIO(blank))
    for edit in edits:
        edit(book[SHEET_NAME])
    book.save(path)
    return path


def set_price(row: int, value: Any, name: str = "new_price") -> Edit:
    def edit(sheet: Any) -> None:
        cell_of(sheet, row, name).value = value

    return edit


def set_input(key: str, value: Any) -> Edit:
    def edit(sheet: Any) -> None:
        input_cell(sheet, key).value = value

    return edit


def decided(shop: Path, path: Path, on: dt.date = ON) -> Decisions:
    return decisions_of(read_price_sheet(path), _READ.get(shop) or read_records(shop), on)


def cost(row: int) -> float:
    return float(prices()["price_basis"]["expected_cost"].iloc[row])


def test_what_a_sheet_decides(shop: Path, tmp_path: Path) -> None:
    path = filled_sheet(
        shop,
        tmp_path / "review.xlsx",
        {ROOF: 375, HOOD: 300, SIGN: "$150.00", LARGE_CHANGE: "3,700.00"},
        {HOOD: " costs \n rose "},
        note="from the review",
    )
    found = decided(shop, path)
    assert found.refused == ()
    rows = found.rows.set_index("service")
    assert list(rows.index) == [FORMULA_LIKE, "full colour change", "hood", "roof"]
    assert rows["new_price"].to_list() == [150, 3700, 300, 375]
    assert rows["old_price"].to_list() == [140, 3595, 280, 350]
    assert rows["suggested_price"].to_list() == [140, 3760, 280, 375]
    assert rows["vehicle_class"].isna().to_list() == [True, False, True, False]
    assert set(rows["decided_on"]) == {pd.Timestamp(ON)}
    assert set(rows["effective_from"]) == {pd.Timestamp("2026-11-01")}
    assert rows["note"].str.split().str.join(" ").to_list() == [
        "from the review", "from the review", "costs rose", "from the review",
    ]  # fmt: skip
    roof = rows.loc["roof"]
    assert roof["expected_hours"] == 2.9
    assert roof["expected_margin"] == round(at_price(375, cost(ROOF), SHOP).contribution, 2)
    assert roof["expected_win_pct"] == pytest.approx(100 * (0.55 - 25 / 350), abs=0.01)
    # The price of the hood was to stay, so that the service's slope of -2 tells what a rise does.
    odds = 0.55 / 0.45 * (300 / 280) ** -2
    assert rows.loc["hood", "expected_win_pct"] == pytest.approx(100 * odds / (1 + odds), abs=0.01)


def test_expected_margins_follow_the_inputs_of_the_sheet(shop: Path, tmp_path: Path) -> None:
    path = filled_sheet(
        shop, tmp_path / "review.xlsx", {ROOF: 375}, wage_change=0.1, card_fixed=1.3
    )
    found = decided(shop, path)
    more = 2.9 * 29.4 * 0.1 + 1.0
    margin = at_price(375, cost(ROOF) + more, SHOP).contribution
    assert found.rows["expected_margin"].iloc[0] == pytest.approx(margin, abs=0.0051)
    assert found.told[-1] == (
        "The expected margins rest on the inputs as they were changed in the sheet: "
        "wages change by 10.00%; card fee, fixed part $1.30."
    )


def test_what_is_not_known_stays_blank(shop: Path, tmp_path: Path) -> None:
    found = decided(shop, filled_sheet(shop, tmp_path / "review.xlsx", {GUARD: 1600}))
    row = found.rows.iloc[0]
    assert math.isnan(row["expected_margin"])
    assert row["expected_hours"] == 12
    assert pd.isna(row["note"])


def test_what_is_unusual_is_told_and_taken(shop: Path, tmp_path: Path) -> None:
    asked = {ROOF: 412.5, HOOD: 280, HOOD_LARGE: 250, ROOF_SUV: 520}
    found = decided(shop, filled_sheet(shop, tmp_path / "review.xlsx", asked))
    assert found.refused == ()
    assert found.told == (
        "hood, large car: $250 is under the floor of $267.",
        "hood, large car: $250 is -18.0% from $305, more than the largest change of 12%.",
        "hood, every class without its own: $280 is the current price; it is kept as a decision.",
        "roof, compact car: $412.50 is +17.9% from $350, more than the largest change of 12%.",
        "roof, compact car: $412.50 is no multiple of $5.",
    )


def test_a_price_a_little_under_its_floor_shows_the_cents(shop: Path, tmp_path: Path) -> None:
    # The floor of 266.67 is $267 in whole money too.
    path = filled_sheet(shop, tmp_path / "review.xlsx", {HOOD_LARGE: 267 - 0.34})
    assert "$266.66 is under the floor of $267." in decided(shop, path).told[0]
    path = filled_sheet(shop, tmp_path / "review.xlsx", {HOOD_LARGE: 267}, target_margin=0.451)
    told = decided(shop, path).told[0]
    assert told == "hood, large car: $267 is under the floor of $267.18."


# --- a slip of a digit, and the first day --------------------------------------------------------


@pytest.mark.parametrize(
    ("row", "price", "side"),
    [
        (HOOD_LARGE, 3050, "$3,050 is over twice the current price of $305"),
        (HOOD_LARGE, 610.01, "$610.01 is over twice the current price of $305"),
        (HOOD_LARGE, 610, None),
        (LARGE_CHANGE, 375.5, "$375.50 is under half the current price of $3,595"),
        (ROOF, 174.99, "$174.99 is under half the current price of $350"),
        (ROOF, 175, None),
    ],
)
def test_a_price_far_from_the_current_one_is_refused_unless_it_is_meant(
    row: int, price: float, side: str | None, shop: Path, blank: bytes, tmp_path: Path
) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(row, price), set_price(HOOD, 300))
    found = decided(shop, path)
    if side is None:
        assert found.refused == ()
        return
    (line,) = found.refused
    cell = cell_of(load_workbook(io.BytesIO(blank))[SHEET_NAME], row, "new_price").coordinate
    keys = prices()["price_basis"].iloc[row]
    whose = f"{keys['service']}, {keys['vehicle_class']}"
    assert line == (
        f"Price sheet!{cell} ({whose}): {side}. Mend the cell if a digit slipped; if it is meant, "
        "run this again with --far."
    )
    assert found.rows.empty
    meant = decisions_of(read_price_sheet(path), _READ[shop], ON, far=True)
    assert meant.refused == ()
    assert price in meant.rows["new_price"].to_list()
    assert any("more than the largest change" in each for each in meant.told)


@pytest.mark.parametrize(
    ("on", "first"),
    [("2026-10-05", "2026-11-01"), ("2026-11-28", "2026-12-01"), ("2026-12-31", "2027-01-01"),
     ("2026-11-01", "2026-12-01")],
)  # fmt: skip
def test_a_blank_first_day_is_the_first_of_the_month_after_the_decision(
    on: str, first: str, shop: Path, blank: bytes, tmp_path: Path
) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375))
    for edit in (set_input("first_day", None), set_input("first_day", "  ")):
        again = edited(path.read_bytes(), tmp_path / "other.xlsx", edit)
        found = decided(shop, again, dt.date.fromisoformat(on))
        assert found.from_next_month
        assert set(found.rows["effective_from"]) == {pd.Timestamp(first)}
    typed = edited(
        blank, path, set_price(ROOF, 375), set_input("first_day", dt.datetime(2027, 1, 4))
    )
    found = decided(shop, typed, dt.date.fromisoformat(on))
    assert not found.from_next_month
    assert set(found.rows["effective_from"]) == {pd.Timestamp("2027-01-04")}


def test_a_sheet_without_a_day_is_not_taken_again_in_another_month(
    blank: bytes, tmp_path: Path
) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(HOOD, 300), set_price(ROOF, 375))
    header = "decided_on,service,vehicle_class,old_price,new_price,effective_from\n"
    november = dt.date(2026, 11, 3)
    past = "2026-10-05,hood,,280,300,2026-11-01\n2026-10-05,roof,compact car,350,370,2026-11-01\n"
    other = made_shop(tmp_path / "shop", decisions=header + past)
    (line,) = decided(other, path, november).refused
    assert "(hood, every class without its own): the decisions already have a price" in line
    assert "from 2026-11-01 on, decided on 2026-10-05" in line
    # Before the list price of today was set, the same was decided once.
    old = header + "2025-10-05,hood,,280,300,2025-11-01\n"
    other = made_shop(tmp_path / "shop", decisions=old)
    assert decided(other, path, november).refused == ()


def test_a_later_price_of_the_list_is_told(tmp_path: Path) -> None:
    later = price_list() + "roof,compact car,360,2026-10-20\n"
    shop = made_shop(tmp_path / "shop", price_list=later)
    found = decided(shop, filled_sheet(shop, tmp_path / "review.xlsx", {ROOF: 375}))
    assert found.told == (
        "roof, compact car: $375 replaces $360, which the price list has on 2026-11-01.",
    )
    followed = price_list() + "roof,compact car,375,2026-11-01\n"
    (shop / "price_list.csv").write_text(followed, encoding="utf-8")
    assert decided(shop, tmp_path / "review.xlsx").told == ()


# Cells as a spreadsheet names them, and whose they are.
NEW, DAY = "N17 (roof, compact car)", "C4 (first day of the new prices)"
SERVICE, CLASS = "A17 (roof, compact car)", "B15 (hood, every class without its own)"
CURRENT, SUGGESTED = "C17 (roof, compact car)", "F17 (roof, compact car)"
OTHER = "A19 (roof, every class without its own)"
REFUSED: list[tuple[str, list[Edit], str, str, str]] = [
    ("no price", [set_price(ROOF, "ask Tomas")], NEW, "'ask Tomas' is no amount",
     "Write the amount alone"),
    ("nothing", [set_price(ROOF, 0)], NEW, "'0' is no price", "Enter the price"),
    ("negative", [set_price(ROOF, -5)], NEW, "'-5' is less than 0", "Enter"),
    ("yes", [set_price(ROOF, True)], NEW, "yes/no", "Write the amount"),
    ("a day", [set_price(ROOF, dt.datetime(2026, 4, 3))], NEW, "a date", "Write"),
    ("other money", [set_price(ROOF, "€400")], NEW, "EUR", "Enter the amount"),
    ("an error", [set_price(ROOF, "#REF!")], NEW, "error mark", "Mend"),
    ("a formula", [set_price(ROOF, "=C17*1.02")], NEW, "never saved", "Open"),
    ("early", [set_price(ROOF, 375), set_input("first_day", dt.datetime(2026, 10, 4))],
     DAY, "2026-10-04 is before the day of the decision", "--on"),
    ("late", [set_price(ROOF, 375), set_input("first_day", dt.datetime(2027, 10, 6))],
     DAY, "over a year after", "Look at the year"),
    ("no date", [set_price(ROOF, 375), set_input("first_day", "in spring")],
     DAY, "'in spring' is no date", "Write the date"),
    ("a number", [set_price(ROOF, 375), set_input("wage_change", "a bit")],
     "H4 (wages change by)", "'a bit' is no number", "plain number"),
    ("no target", [set_price(ROOF, 375), set_input("target_margin: full colour change", "half")],
     "C6 (target margin of full colour change)", "'half' is no number", "plain number"),
    ("not in the list", [set_price(ROOF_OTHER, 400)], OTHER,
     "the price list has no price for it on 2026-10-05", "price_list first"),
    ("service changed", [set_price(ROOF, 375), set_price(ROOF, "hood", "service")], SERVICE,
     "'hood' stands where the review wrote 'roof'", "Undo"),
    ("class changed", [set_price(HOOD, 300), set_price(HOOD, "van", "vehicle_class")], CLASS,
     "'van' stands where", "Undo"),
    ("price typed over", [set_price(ROOF, 375), set_price(ROOF, 375, "current_price")],
     CURRENT, "'375' stands where the review wrote '350'", "Undo"),
    ("suggestion typed over", [set_price(ROOF, 375), set_price(ROOF, 380, "suggested_price")],
     SUGGESTED, "'380' stands where", "Undo"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("edits", "place", "problem", "remedy"),
    [each[1:] for each in REFUSED],
    ids=[each[0] for each in REFUSED],
)
def test_what_is_refused(
    edits: list[Edit],
    place: str,
    problem: str,
    remedy: str,
    shop: Path,
    blank: bytes,
    tmp_path: Path,
) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(LARGE_CHANGE, 3700), *edits)
    found = decided(shop, path)
    (line,) = found.refused
    assert line.startswith(f"{SHEET_NAME}!{place}: ")
    assert problem in line
    assert remedy in line
    assert found.rows.empty


def test_every_fault_is_said_at_once(shop: Path, blank: bytes, tmp_path: Path) -> None:
    path = edited(
        blank,
        tmp_path / "review.xlsx",
        set_price(ROOF, "?"),
        set_price(HOOD, 0),
        set_price(ROOF_OTHER, 300),
        set_input("first_day", "soon"),
    )
    assert len(decided(shop, path).refused) == 4


def test_rows_are_named_as_the_sheet_shows_them(shop: Path, blank: bytes, tmp_path: Path) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, "?"))
    cell = cell_of(load_workbook(io.BytesIO(blank))[SHEET_NAME], ROOF, "new_price").coordinate
    assert decided(shop, path).refused[0].startswith(f"Price sheet!{cell} (roof, compact car): ")


def test_a_list_that_changed_since_the_review_is_refused(
    shop: Path, blank: bytes, tmp_path: Path
) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(HOOD, 300))
    other = made_shop(tmp_path / "shop", price_list=price_list(hood=285))
    (line,) = decided(other, path).refused
    assert "(hood, every class without its own): the current price is $280 on the sheet" in line
    assert "and $285 in the price list of 2026-10-05" in line
    assert "run review again" in line
    gone = "\n".join(line for line in price_list().splitlines() if not line.startswith("hood,,"))
    other = made_shop(tmp_path / "shop", price_list=gone)
    assert "has no price for it on 2026-10-05" in decided(other, path).refused[0]


def test_the_same_decision_is_refused(shop: Path, blank: bytes, tmp_path: Path) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(HOOD, 300), set_price(ROOF, 375))
    past = (
        "decided_on,service,vehicle_class,old_price,new_price,effective_from\n"
        "2026-10-01,hood,,280,290,2026-11-01\n2026-10-01,roof,compact car,350,360,2026-11-02\n"
    )
    other = made_shop(tmp_path / "shop", decisions=past)
    (line,) = decided(other, path).refused
    assert "(hood, every class without its own): the decisions already have a price for it" in line
    assert "for it from 2026-11-01 on" in line
    assert "decided on 2026-10-01" in line


def test_a_row_that_stands_twice_is_refused(shop: Path, blank: bytes, tmp_path: Path) -> None:
    def copy(sheet: Any) -> None:
        for at in range(1, len(COLUMNS) + 1):
            source = sheet.cell(header_row(sheet) + 1 + ROOF, at).value
            sheet.cell(header_row(sheet) + 1 + ROOF_OTHER, at).value = source

    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375), copy)
    (line,) = decided(shop, path).refused
    assert "it has a new price in an earlier row of the sheet too" in line


def test_nothing_filled_in_is_refused(shop: Path, blank: bytes, tmp_path: Path) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, "  "))
    with pytest.raises(RecordsError, match="nothing is filled in under NEW PRICE"):
        decided(shop, path)


def test_a_sheet_of_another_shop_is_refused(blank: bytes, tmp_path: Path) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375))
    for at, (toml, jobs) in enumerate(
        (
            (TOML.replace("USD", "CAD"), None),
            (TOML + "\n", "job_id,finished_on,service,make,model,quoted_hours,quoted_price\n"
             "A1,2026-08-03,roof,Harrow,Pike,3,350\n"),
            ("prices_include_tax = true\ntax_rate = 0.07\n" + TOML, None),
        )
    ):  # fmt: skip
        tables = {} if jobs is None else {"jobs": jobs}
        other = made_shop(tmp_path / f"shop{at}", toml, **tables)
        with pytest.raises(RecordsError, match="made from other records"):
            decided(other, path)


def test_more_work_since_the_review_changes_nothing(blank: bytes, tmp_path: Path) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375))
    jobs = (
        "job_id,finished_on,service,make,model,quoted_hours,quoted_price\n"
        "J9,2026-10-02,tint,Harrow,Pike,3,350\nJ2,2026-09-04,hood,Harrow,Pike,2,280\n"
        "J1,2026-08-03,roof,Harrow,Pike,3.5,355\n"
    )
    other = made_shop(tmp_path / "shop", TOML + "# target under review\n", jobs=jobs)
    assert len(decided(other, path).rows) == 1


# --- a sheet that is not ours --------------------------------------------------------------------


def delete_names(sheet: Any) -> None:
    sheet.delete_rows(header_row(sheet) - 1)


def insert_column(sheet: Any) -> None:
    sheet.insert_cols(5)


def swap_names(sheet: Any) -> None:
    row = header_row(sheet) - 1
    sheet.cell(row, 3).value, sheet.cell(row, 6).value = NAMES[5], NAMES[2]


def spoil_mark(sheet: Any) -> None:
    sheet.cell(header_row(sheet) - 1, len(NAMES) + 1).value = "another form"


def price_below(sheet: Any) -> None:
    sheet.cell(header_row(sheet) + 30, PLACE["new_price"]).value = 5000


@pytest.mark.parametrize(
    ("edit", "words"),
    [
        (delete_names, "hidden row with the names of its columns is gone"),
        (insert_column, "column E should be 'Floor', and columns were moved"),
        (swap_names, "column C should be 'Current price'"),
        (spoil_mark, "hidden marks"),
        (price_below, r"Price sheet!N\d+: a price stands in a row"),
        (lambda sheet: setattr(sheet, "title", "Prices"), "no sheet called 'Price sheet'"),
    ],
)
def test_another_form_is_refused(edit: Edit, words: str, blank: bytes, tmp_path: Path) -> None:
    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375), edit)
    with pytest.raises(RecordsError, match=words) as caught:
        read_price_sheet(path)
    assert "review.xlsx" in str(caught.value)


def test_files_that_are_no_workbook_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "review.xlsx"
    with pytest.raises(RecordsError, match="There is no file"):
        read_price_sheet(path)
    path.write_text("service,new_price\n")
    with pytest.raises(RecordsError, match="not an Excel workbook"):
        read_price_sheet(path)
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("xl/workbook.xml", "<!DOCTYPE x><workbook/>")
    with pytest.raises(RecordsError, match="damaged or unsafe"):
        read_price_sheet(path)
    book = Workbook()
    book.worksheets[0].title = SHEET_NAME
    book.save(path)
    with pytest.raises(RecordsError, match="is empty"):
        read_price_sheet(path)


def test_what_stands_below_or_beside_the_table_is_left_alone(
    shop: Path, blank: bytes, tmp_path: Path
) -> None:
    def scribble(sheet: Any) -> None:
        sheet.cell(header_row(sheet) + 40, 1).value = "ask about the vans"
        sheet.cell(header_row(sheet) + 3, len(COLUMNS) + 20).value = 17
        sheet.insert_rows(4)
        sheet.cell(4, 1).value = "my own line"

    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375), scribble)
    assert decided(shop, path).rows["new_price"].to_list() == [375]


def test_rows_may_be_sorted(shop: Path, blank: bytes, tmp_path: Path) -> None:
    def turn(sheet: Any) -> None:
        first = header_row(sheet) + 1
        rows = [
            [sheet.cell(first + n, at).value for at in range(1, len(COLUMNS) + 1)]
            for n in range(11)
        ]
        for n, values in enumerate(reversed(rows)):
            for at, value in enumerate(values, 1):
                sheet.cell(first + n, at).value = value

    path = edited(blank, tmp_path / "review.xlsx", set_price(ROOF, 375), turn)
    found = decided(shop, path)
    assert found.rows[["service", "new_price"]].to_numpy().tolist() == [["roof", 375]]


# --- what was expected ---------------------------------------------------------------------------


def win(current: float, suggested: float, new: float, slope: float = np.nan) -> float:
    rows = pd.DataFrame(
        {
            "current_price": [current],
            "suggested_price": [suggested],
            "new_price": [new],
            "win_share": [0.6],
            "suggested_win_share": [0.6 if suggested == current else 0.5],
            "win_slope": [slope],
        }
    )
    return float(expected_win(rows).iloc[0])


def test_the_chance_to_win_at_the_new_price() -> None:
    assert win(400, 440, 400) == 0.6
    assert win(400, 440, 440) == 0.5
    assert 0.5 < win(400, 440, 420) < 0.6
    assert win(400, 440, 480) < 0.5
    # At the geometric mean the log-odds are half-way.
    odds = math.sqrt(0.6 / 0.4)
    assert win(400, 440, math.sqrt(400 * 440)) == pytest.approx(odds / (1 + odds))
    assert math.isnan(win(400, 400, 420))
    assert win(400, 400, 400) == 0.6
    odds = 0.6 / 0.4 * 1.05**-3
    assert win(400, 400, 420, -3) == pytest.approx(odds / (1 + odds))


# --- as a person does it -------------------------------------------------------------------------


@needs_a_spreadsheet
def test_a_sheet_saved_by_a_spreadsheet_program(shop: Path, tmp_path: Path) -> None:
    """Filled in, one price by a formula, and saved by a program that writes workbooks its way."""
    new = {ROOF: "=ROUND(C17*1.07,0)", SIGN: 150, TINT: 105, HOOD: "$300"}
    path = filled_sheet(shop, tmp_path / "review.xlsx", new, {TINT: '=no "formula"'})
    book = load_workbook(path)
    cell = cell_of(book[SHEET_NAME], ROOF, "new_price")
    assert f"C{cell.row}" == "C17"
    cell_of(book[SHEET_NAME], TINT, "note").data_type = "s"
    book.save(path)
    (saved,) = saved_by_a_spreadsheet([path], tmp_path)
    found = decided(shop, saved)
    assert found.refused == ()
    rows = found.rows.set_index("service")
    assert rows["new_price"].to_dict() == {FORMULA_LIKE: 150, "hood": 300, "roof": 375, EMOJI: 105}
    assert rows.loc[EMOJI, "note"] == '=no "formula"'
    assert rows.loc["roof", "expected_margin"] == round(
        at_price(375, cost(ROOF), SHOP).contribution, 2
    )
