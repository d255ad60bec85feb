"""The job that the page draws as it was cut and as it could have been cut."""


# ruff: noqa: E501  (the rows of the example tables are read across)

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from analysis.records.read import read_records
from analysis.report.example_layout import gather_example
from analysis.report.notebook import layout_example
from analysis.report.results import Review
from analysis.review import review_records
from tests.shops import write_shop

TOML = 'length_unit = "in"\narea_unit = "sq ft"\n[labour]\ndefault_wage = 20\n'
JOBS = """
    job_id | finished_on | service | make | model | vehicle_class | film | quoted_hours | quoted_price
    J1 | 2026-07-13 | trim | Harrow | Pike | midsize car | GB | 3 | 420
    J2 | 2026-07-14 | trim | Harrow | Pike | midsize car | GB | 3 | 420"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
    I1 | 2026-07-01 | Marlow | GB | film | 60 | 25 yd | 2 | 540"""
CUTS = """
    cut_id | cut_on | job_id | film | panel | pulled_length | piece_length | piece_width | pieces | finished_length | finished_width
    C1 | 2026-07-13 | J1 | GB | door <b> | 50 | 50 | 28 | 1 | 46 | 25
    C2 | 2026-07-13 | J1 | GB | fender | 50 | 50 | 28 | 1 | 46 | 25
    C3 | 2026-07-13 | J1 | GB | hood | 60 | 60 | 50 | 1 | 56 | 46"""


def review_of(folder: Path, cuts: str, toml: str = TOML) -> Review:
    write_shop(folder, toml, jobs=JOBS, purchases=BOUGHT, cuts=cuts)
    return review_records(read_records(folder), "2026Q3")


def test_before_and_after_hold_the_same_pieces(tmp_path: Path) -> None:
    info = gather_example(review_of(tmp_path, CUTS))
    assert not info.line
    assert "J1" in info.title
    sizes = [
        sorted(
            (each.piece.name, round(each.piece.length_m, 4))
            for pull in pulls
            for each in pull.placed
        )
        for pulls in (info.before, info.after)
    ]
    assert sizes[0] == sizes[1]
    inches = [
        round(sum(pull.length_m for pull in pulls) / 0.0254, 3)
        for pulls in (info.before, info.after)
    ]
    # Door and fender side by side: 50 in instead of 100; the hood turned: 50 instead of 60.
    assert inches == [160, 100]
    assert "38% less" in info.title


def test_the_pictures_are_well_formed_and_escape_what_was_typed(tmp_path: Path) -> None:
    review = review_of(tmp_path, CUTS)
    for words, svg in gather_example(review).pictures:
        root = ElementTree.fromstring(svg)  # noqa: S314  made by this package
        assert root.attrib["aria-label"] == words
        assert len(root) >= 1
        assert "<b>" not in svg
    example = layout_example(review)
    assert re.match(r"As it was cut: 3 pulls, together 160 in", repr(example.before))


@pytest.mark.parametrize("sizes", ["70 | 70", "200 | 20"])
def test_a_job_that_cannot_be_drawn_is_passed_over(tmp_path: Path, sizes: str) -> None:
    """A piece that no roll of that width, or no pull of that length, holds: another job is drawn."""
    odd = f"""
    C9 | 2026-07-13 | J1 | GB | odd | 70 | {sizes} | 1 | 66 | 16
    D1 | 2026-07-14 | J2 | GB | door | 40 | 40 | 20 | 1 | 36 | 16"""
    info = gather_example(review_of(tmp_path, CUTS + odd))
    assert "J2" in info.title


def test_nothing_to_save_says_so(tmp_path: Path) -> None:
    tight = (
        CUTS.split("\n    C1")[0]
        + "\n    C1 | 2026-07-13 | J1 | GB | hood | 58 | 58 | 60 | 1 | 50 | 50"
    )
    directional = TOML.replace("[labour]", '[film]\ndirectional = ["GB"]\n[labour]')
    review = review_of(tmp_path, tight, directional)
    info = gather_example(review)
    assert info.line
    assert repr(layout_example(review).before) == info.line
