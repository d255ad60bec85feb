"""How much of two years must stand side by side to show a change."""

import pytest

from analysis.findings.capacity_use import governing_in
from tests.findings.test_capacity_use import QUARTER, months


def test_half_a_year_in_both_years_shows_a_change() -> None:
    """Six months that stand in both years are enough; five are not."""
    found = governing_in(months([0.5] * 6 + [0.8] * 6 + [0.6] * 6), QUARTER)
    assert found.coming.installer_share == pytest.approx(0.8 * 0.6 / 0.5)
    assert "changed" in found.ground
    fewer = governing_in(months([0.5] * 5 + [0.8] * 6 + [0.6] * 6), QUARTER)
    assert fewer.coming.installer_share == pytest.approx(0.8)
