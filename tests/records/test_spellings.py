"""Names that stand in no table of reference, near to one of it or not."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.shops import records_of

BOUGHT = """invoice|received_on|supplier|item|kind|roll_width|roll_length|quantity|unit_price
    A|2026-01-05|S|GB-60|film|1|90|9|100"""
VEHICLES = """make|model|vehicle_class
    Tarn|Hebb|minivan
    Tarn|Osca|minivan
    Vessa|Pim|minivan
    Vessa|Vent|minivan
    Vessa|Went|minivan"""
LIST = """service|list_price|list_hours|effective_from
    roof|400|3|2026-01-01
    hood|400|3|2026-01-01
    tint|400|3|2026-01-01"""
HEAD = "job_id|finished_on|service|make|model|film|quoted_hours|quoted_price|hours|payment"
USUAL = {"service": "roof", "make": "Tarn", "model": "Hebb", "film": "GB-60"}
Told = list[tuple[str, str, str, str]]


def told(folder: Path, *odd: dict[str, str], usual: int = 30, **tables: str) -> Told:
    """Findings about the odd job lines, which follow so many usual ones: rule, column, value."""
    rows = [USUAL] * usual + [USUAL | each for each in odd]
    lines = [
        f"J{number}|{date(2026, 1, 6) + timedelta(number)}|{row['service']}|{row['make']}|"
        f"{row['model']}|{row['film']}|3|400|3|cash"
        for number, row in enumerate(rows)
    ]
    given = {"vehicles": VEHICLES, "price_list": LIST, "purchases": BOUGHT} | tables
    records = records_of(folder, jobs="\n".join([HEAD, *lines]), **given)
    columns = records.findings[["rule", "column", "value", "remedy"]]
    return list(columns.itertuples(index=False, name=None))


@pytest.mark.parametrize(
    ("column", "odd", "meant"),
    [
        ("model", "Heb", "Hebb"),
        ("model", "Hebbb", "Hebb"),
        ("model", "Hbeb", "Hebb"),
        ("model", "Osc", "Osca"),
        ("service", "rof", "roof"),
        ("service", "hod", "hood"),
        ("service", "roofs", "roof"),
        ("service", "tints", "tint"),
        ("service", "tintt", "tint"),
        ("film", "GC-60", "GB-60"),
    ],
)
def test_a_short_name_a_letter_off_the_list(
    tmp_path: Path, column: str, odd: str, meant: str
) -> None:
    ((rule, where, value, remedy),) = told(tmp_path, {column: odd})
    assert (rule, where, value) == ("spelt-two-ways", column, odd)
    assert f'the line "{odd}" = "{meant}"' in remedy


@pytest.mark.parametrize(("odd", "meant"), [("Pimm", "Pim"), ("Ventt", "Vent"), ("Vnet", "Vent")])
def test_a_model_of_a_make_with_few_jobs(tmp_path: Path, odd: str, meant: str) -> None:
    ((rule, where, value, remedy),) = told(tmp_path, {"make": "Vessa", "model": odd})
    assert (rule, where, value) == ("spelt-two-ways", "model", odd)
    assert f'"{odd}" = "{meant}"' in remedy


def test_a_film_of_another_number_is_another_film(tmp_path: Path) -> None:
    assert [each[:2] for each in told(tmp_path, {"film": "GB-6"})] == [
        ("film-never-bought", "film")
    ]


def test_a_make_a_letter_off_is_told_without_its_models(tmp_path: Path) -> None:
    ((rule, where, value, _),) = told(tmp_path, {"make": "Vesa", "model": "Pim"})
    assert (rule, where, value) == ("spelt-two-ways", "make", "Vesa")


def test_two_listed_names_may_differ_by_a_letter(tmp_path: Path) -> None:
    assert not told(
        tmp_path, {"make": "Vessa", "model": "Vent"}, {"make": "Vessa", "model": "Went"}
    )


def test_two_slips_are_near_from_five_letters_on(tmp_path: Path) -> None:
    vehicles = f"{VEHICLES}\n    Vessa|Marlow|minivan"
    long = told(tmp_path / "1", {"make": "Vessa", "model": "Malrwo"}, vehicles=vehicles)
    assert [each[0] for each in long] == ["spelt-two-ways"]
    short = told(tmp_path / "2", {"service": "rf"})
    assert [each[0] for each in short] == ["name-not-listed"]


def test_names_near_to_none_are_told_together(tmp_path: Path) -> None:
    odd = [{"make": "Tarn", "model": name} for name in ("Zook", "Quill", "Zook")]
    records = told(tmp_path, *odd)
    assert [each[:3] for each in records] == [("name-not-listed", "model", "Zook")]


def test_three_lines_or_a_tenth_of_the_commonest_are_no_slip(tmp_path: Path) -> None:
    thrice = [{"model": "Heb"}] * 3
    assert not told(tmp_path / "1", *thrice, usual=90)
    assert not told(tmp_path / "2", {"model": "Heb"}, usual=10)
    assert told(tmp_path / "3", {"model": "Heb"}, usual=11)


def test_a_list_that_holds_few_of_the_jobs_is_none_to_go_by(tmp_path: Path) -> None:
    others = [{"model": name} for name in ("Zook", "Quill", "Brax") for _ in range(3)]
    assert not told(tmp_path / "1", {"model": "Heb"}, *others)
    assert told(tmp_path / "2", {"model": "Heb"}, *others[:6])
    assert not told(tmp_path / "3", {"model": "Heb"}, vehicles="make|model|vehicle_class")
