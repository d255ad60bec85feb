"""The table of cases names tests that are there."""

from __future__ import annotations

import importlib
from collections import Counter

import pytest

from tests.hostile.cases import CASES, Case


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.case[:40])
def test_the_test_of_a_case_is_collected(case: Case) -> None:
    file, _, function = case.test.partition("::")
    module = importlib.import_module(file.removesuffix(".py").replace("/", "."))
    assert file.rpartition("/")[2].startswith("test_")
    assert function.startswith("test_")
    found = getattr(module, function)
    assert callable(found)
    assert found.__module__ == module.__name__
    marks = {mark.name for mark in getattr(found, "pytestmark", [])}
    assert "skip" not in marks


def test_no_case_stands_twice() -> None:
    assert max(Counter(case.case for case in CASES).values()) == 1
