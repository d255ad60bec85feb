"""A fixed sample of the mutants, and those that once failed. Many more: see `fuzz.py`."""

from __future__ import annotations

import pytest

from tests.hostile.fuzz import FAILED, run

SAMPLE = range(20_000, 20_080)
# Mutants that broke something, each mended: a number of too many digits, brackets without end, an
# infinite wage in shop.toml; a long name in a line; a carriage return alone in a rejected row.
ONCE_FAILED = (388, 786, 813, 7_723, 100_030)


@pytest.mark.parametrize("first", range(SAMPLE.start, SAMPLE.stop, 40))
def test_no_mutant_breaks_the_reading(first: int) -> None:
    failed = {}
    ended = set()
    for number in range(first, first + 40):
        how, why = run(number)
        ended.add(how)
        if how == FAILED:
            failed[number] = why
    assert not failed, "\n".join(f"mutant {number}: {why}" for number, why in failed.items())
    assert any("refused" in how for how in ended)
    assert any("left out" in how for how in ended)


@pytest.mark.parametrize("number", ONCE_FAILED)
def test_what_once_failed_does_not(number: int) -> None:
    how, why = run(number)
    assert how != FAILED, why
