"""The benchmark's hand-written ways agree with the package, and would show it if they did not."""

from __future__ import annotations

import pytest

from analysis.records.model import Records
from tests.benchmarks.scale import PACKAGE, PANDAS, SQL, by_way, differences, totals
from tests.benchmarks.scale_package import JOB_COLUMNS
from tests.benchmarks.scale_shop import ENTRIES, scale_shop

LINES = 1_000


@pytest.fixture(scope="module")
def shop() -> Records:
    return scale_shop(LINES)


def test_the_shop_has_what_is_asked_for(shop: Records) -> None:
    assert len(shop["jobs"]) == LINES
    assert len(shop["hours"]) == LINES * ENTRIES
    assert shop["cuts"]["reason"].value_counts()["first"] == LINES
    assert not shop["jobs"].duplicated(["job_id", "line"]).any()
    assert shop["jobs"]["job_id"].nunique() < LINES


@pytest.mark.parametrize("way", [PANDAS, SQL])
def test_a_way_by_hand_agrees_to_the_cent(way: str, shop: Records) -> None:
    if way == SQL:
        pytest.importorskip("duckdb")
    package, by_hand = (totals(by_way(each, shop)[0]) for each in (PACKAGE, way))
    assert set(by_hand.loc["job_costs"].index) == set(JOB_COLUMNS)
    assert by_hand["sum"].gt(0).sum() > len(by_hand) / 2
    assert differences(package, by_hand).empty


def test_a_cent_too_much_is_a_difference(shop: Records) -> None:
    package = totals(by_way(PACKAGE, shop)[0])
    other = package.copy()
    other.loc[("margin_by_film", "film_cost"), "sum"] += 0.01
    assert differences(package, other).index.tolist() == [("margin_by_film", "film_cost")]
    is_waste = package.index.get_level_values("table") == "waste_by_class"
    assert len(differences(package[~is_waste], package)) == is_waste.sum() > 0
