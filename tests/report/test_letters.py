"""Letters for the names of people: no name is left in what is written, and nothing else changes."""

from __future__ import annotations

import re
from pathlib import Path

import pandas as pd
import pytest

from analysis.cli import main
from analysis.errors import Unavailable
from analysis.report.letters import letters_of, with_letters
from analysis.review import review_records
from tests.shops import PLAIN, records_of

JOBS = """
job_id | finished_on | service | make | model | quoted_hours | quoted_price | crew | hours
J1 | 2026-07-02 | roof | Harrow | Pike | 3 | 300 | |
J2 | 2026-07-09 | hood | Harrow | Pike | 2 | 250 | Ann Ott; Ann | 2.5
"""
HOURS = """
job_id | worked_on | installer | hours
J1 | 2026-07-02 | Ann | 3.5
J1 | 2026-07-02 | Ben Oak | 1
"""
PURCHASES = """
invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
I1 | 2026-06-01 | Reel | GB | film | 1.5 | 20 | 1 | 300
"""
RATES = """
installer | effective_from | wage
Ann | 2026-01-01 | 20
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    toml = PLAIN + '[aliases.installer]\n"Benny" = "Ben Oak"\n'
    records_of(tmp_path / "shop", toml, jobs=JOBS, hours=HOURS, purchases=PURCHASES, rates=RATES)
    return tmp_path / "shop"


def test_every_name_becomes_one_letter_and_the_figures_stay(tmp_path: Path) -> None:
    records = records_of(tmp_path, jobs=JOBS, hours=HOURS, purchases=PURCHASES, rates=RATES)
    plain = review_records(records, "2026Q3")
    lettered = with_letters(plain)
    letters = letters_of(records)
    assert sorted(letters) == ["Ann", "Ann Ott", "Ben Oak"]
    assert sorted(letters.values()) == ["A", "B", "C"]
    for results, hidden in ((plain.results, lettered.results), (plain.year, lettered.year)):
        before, after = results["hours_by_installer"], hidden["hours_by_installer"]
        assert isinstance(before, pd.DataFrame)
        assert isinstance(after, pd.DataFrame)
        named = before.assign(installer=before["installer"].map(letters)).sort_values("installer")
        pd.testing.assert_frame_equal(
            after, named.reset_index(drop=True).astype({"installer": "str"})
        )
    before = lettered.previous["hours_by_installer"]
    assert isinstance(before, Unavailable) or not set(before["installer"]) & set(letters)
    # A name inside a longer one is not replaced first.
    said = " ".join(lettered.records.findings["problem"])
    assert "Ott" not in said
    assert plain.records.findings["problem"].str.contains("Ben Oak").any()
    assert not lettered.records.findings["problem"].str.contains("Ben Oak").any()


def test_more_people_than_letters(tmp_path: Path) -> None:
    people = "\n".join(f"J1 | 2026-07-02 | P{at:02d} | 0.1" for at in range(30))
    hours = f"job_id | worked_on | installer | hours\n{people}"
    records = records_of(tmp_path, jobs=JOBS, hours=hours, purchases=PURCHASES)
    letters = letters_of(records)
    assert len(set(letters.values())) == len(letters) == 32
    assert {"Z", "A2"} <= set(letters.values())


def test_no_file_of_the_review_holds_a_name(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    status = main(
        ["review", str(folder), "--quarter", "2026Q3", "--out", str(out), "--installers-as-letters"]
    )
    assert status in (0, 1)
    for path in out.rglob("*"):
        if path.suffix in (".csv", ".html", ".json"):
            text = path.read_text(encoding="utf-8")
            assert "Ben Oak" not in text, path.name
            assert "Ann Ott" not in text, path.name
            assert "Benny" not in text, path.name
    main(["review", str(folder), "--quarter", "2026Q3", "--out", str(tmp_path / "named")])
    named = (tmp_path / "named" / "tables" / "hours_by_installer.csv").read_text(encoding="utf-8")
    assert "Ben Oak" in named


def test_a_short_name_is_no_part_of_a_word(tmp_path: Path) -> None:
    hours = HOURS.replace("Ben Oak", "an").replace("Ann", "A")
    records = records_of(tmp_path, jobs=JOBS, hours=hours, purchases=PURCHASES, rates=RATES)
    plain = review_records(records, "2026Q3").records.findings
    lettered = with_letters(review_records(records, "2026Q3")).records.findings
    letters = letters_of(records)
    changed = plain["problem"] != lettered["problem"]
    assert changed.any()
    for before, after in zip(plain["problem"][changed], lettered["problem"][changed], strict=True):
        words = [set(re.findall(r"\w+", text)) for text in (before, after)]
        assert words[1] - words[0] <= set(letters.values())
