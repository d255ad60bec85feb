"""The pooled columns against the same model written down with plain square matrices.

tests/oracle/dense_hours.py takes the variances found for the truth; the package averages over
what the records leave open about them and holds back lines that stand further off than three
standard deviations. So estimates may differ by a part of their own error and no more: `APART` of
a standard deviation, a fifth of the way from the estimate to the end of its interval. What both
estimate, given the same variances and no line held back, is the same number.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.findings.hours_model import CLASS, MODEL, HoursModel, fit_hours, hours_data
from analysis.findings.mixed_effects import posterior
from analysis.findings.overruns import pooled_by_model
from analysis.findings.pooling import group_targets, service_targets
from analysis.records.read import read_records
from analysis.report.edge import to_edge
from analysis.result_tables import RESULT_TABLES
from analysis.review import review_records
from analysis.schema import Kind
from tests.demo import DEMO
from tests.findings.test_second_implementation import write_clean
from tests.oracle.dense_hours import DenseHours, Pooled
from tests.oracle.hours_shop import write_hours_shop
from tests.oracle.reading import Quarter, read_shop
from tests.oracle.tables import Costing
from tests.shops import edge_rows

SHOPS = range(6)
QUARTER = "2026Q2"
APART = 1 / 3
WIDER = 1.3
TOLERANCE = ERROR_RATE = 0.10
KEYS = {
    "hours_by_model": ("make", "model"),
    "hours_by_class": ("vehicle_class",),
    "hours_by_service": ("service",),
    "hours_by_installer": ("installer",),
}
FLAGGED = ("hours_by_model", "hours_by_class", "hours_by_service")


@dataclass(frozen=True)
class Shop:
    """A shop reviewed by the package and fitted densely."""

    rows: dict[str, list[dict[str, Any]]]
    model: HoursModel
    dense: DenseHours

    def pooled(self, table: str) -> dict[Any, Pooled]:
        return {
            "hours_by_model": self.dense.by_model,
            "hours_by_class": self.dense.by_class,
            "hours_by_service": self.dense.by_service,
            "hours_by_installer": self.dense.by_person,
        }[table]()

    def pairs(self, table: str) -> list[tuple[dict[str, Any], Pooled]]:
        """Every row of a table with its second estimate."""
        pooled = self.pooled(table)
        keys = [tuple(row[name] for name in KEYS[table]) for row in self.rows[table]]
        return [
            (row, pooled[key if len(key) > 1 else key[0]])
            for row, key in zip(self.rows[table], keys, strict=True)
        ]


def fitted(folder: Path) -> HoursModel:
    records = read_records(folder)
    until = pd.Timestamp(Quarter(QUARTER, 1).end)
    model = fit_hours(hours_data(cost_records(records, until), until))
    assert isinstance(model, HoursModel)
    return model


@pytest.fixture(scope="module")
def held() -> list[bool]:
    """Whether a line was held back, by shop so far."""
    return []


@pytest.fixture(scope="module", params=SHOPS)
def shop(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory, held: list[bool]
) -> Shop:
    folder = tmp_path_factory.mktemp("shop")
    write_hours_shop(folder, request.param)
    review = review_records(read_records(folder), QUARTER)
    dense = DenseHours(Costing(read_shop(folder), Quarter(QUARTER, 1)))
    model = fitted(folder)
    held.append(bool(model.held.any()))
    return Shop(edge_rows(review), model, dense)


def test_estimates_and_intervals_of_models_agree(shop: Shop) -> None:
    for row, plug_in in shop.pairs("hours_by_model"):
        middle, low, high = logs(row, "pooled_overrun_pct")
        assert abs(middle - plug_in.middle) < APART * plug_in.sd, row
        assert low < middle < high
        width = np.log1p(plug_in.high) - np.log1p(plug_in.low)
        assert 0.95 < (high - low) / width < WIDER, row


def logs(row: dict[str, Any], name: str) -> tuple[float, float, float]:
    """Estimate and interval of a row, as logs of a ratio."""
    middle, low, high = (np.log1p(row[each] / 100) for each in (name, "low_pct", "high_pct"))
    return middle, low, high


@pytest.mark.parametrize("table", ["hours_by_class", "hours_by_service", "hours_by_installer"])
def test_estimates_of_the_other_tables_lie_near(shop: Shop, table: str) -> None:
    """Five classes and four people say little of how far they differ; plug-in may even say 0."""
    name = "against_average_pct" if table == "hours_by_installer" else "pooled_overrun_pct"
    pairs = shop.pairs(table)
    assert len(pairs) > 3
    for row, plug_in in pairs:
        middle, low, high = logs(row, name)
        assert low < middle < high
        assert low < plug_in.middle < high


def test_every_model_with_a_finished_first_time_job_has_a_row(shop: Shop) -> None:
    rows = {(row["make"], row["model"]): row for row in shop.rows["hours_by_model"]}
    assert len(rows) == 20
    for model in shop.dense.models:
        assert rows[model]["pooled_overrun_pct"] is not None
        assert isinstance(rows[model]["flagged"], bool)


def test_given_the_variances_both_are_the_same_number(shop: Shop) -> None:
    if shop.model.held.any():
        return  # the second implementation holds nothing back
    made = {
        "hours_by_model": group_targets(shop.model, ["make", "model"], (MODEL, CLASS)),
        "hours_by_class": group_targets(shop.model, ["vehicle_class"], (CLASS,)),
        "hours_by_service": service_targets(shop.model),
    }
    for table, (index, targets) in made.items():
        found = posterior(shop.model.sums, shop.model.fit.relative, targets)
        plug_in = shop.pooled(table)
        for key, mean, variance in zip(index, found.mean, found.variance, strict=True):
            other = plug_in[key if len(key) > 1 else key[0]]
            assert mean + found.noise_variance / 2 == pytest.approx(other.middle, abs=3e-4)
            assert np.sqrt(variance) == pytest.approx(other.sd, rel=0.01)


def test_nothing_is_held_back_in_some_of_the_shops(held: list[bool]) -> None:
    """Or the test before this one would be empty."""
    assert held.count(False) >= 3


def test_spreads_are_those_of_restricted_likelihood(shop: Shop) -> None:
    rows = {row["part"]: row for row in shop.rows["hours_spread"]}
    sds = np.append(shop.dense.relative, 1.0) * np.sqrt(shop.dense.noise)
    parts = ("vehicle class", "vehicle model", "person", "job to job")
    held = shop.model.held.any()
    for part, sd in zip(parts, sds, strict=True):
        assert rows[part]["spread_pct"] / 100 == pytest.approx(
            np.expm1(sd), abs=0.03 if held else 0.001
        )
        assert rows[part]["low_pct"] < rows[part]["high_pct"]


def test_probabilities_agree_where_the_case_is_clear(shop: Shop) -> None:
    """Elsewhere they need not: most models running as quoted is part of the package's belief."""
    for row, plug_in in shop.pairs("hours_by_model"):
        probability, other = row["probability_over_tolerance"], plug_in.over(TOLERANCE)
        if other > 0.99:
            assert probability > 0.9, row
        if other < 0.01:
            assert probability < 0.1, row


@pytest.mark.parametrize("table", FLAGGED)
def test_flags_follow_the_rule(shop: Shop, table: str) -> None:
    assert_rule_holds(shop.rows[table])


def assert_rule_holds(rows: list[dict[str, Any]]) -> None:
    """In order of probability, while the mean of (1 − probability) is within the error rate."""
    by_probability = sorted(rows, key=lambda row: -row["probability_over_tolerance"])
    false = 0.0
    for number, row in enumerate(by_probability, start=1):
        assert 0 <= row["probability_over_tolerance"] <= 1
        false += 1 - row["probability_over_tolerance"]
        assert row["flagged"] is bool(false / number <= ERROR_RATE), row


def test_flags_are_yes_or_no_and_probabilities_shares() -> None:
    for name in FLAGGED:
        assert RESULT_TABLES[name].column("flagged").kind is Kind.YES_NO
        assert RESULT_TABLES[name].column("probability_over_tolerance").kind is Kind.PROBABILITY


def test_the_demo_agrees(tmp_path: Path) -> None:
    """Its first year, so that the square matrices stay small."""
    records = read_records(DEMO)
    write_clean(records, tmp_path)
    quarter = Quarter("2024Q4", 1)
    until = pd.Timestamp(quarter.end)
    model = fit_hours(hours_data(cost_records(records, until), until))
    assert isinstance(model, HoursModel)
    found = pooled_by_model(model, records.settings.overrun)
    table = RESULT_TABLES["hours_by_model"]
    edge = found.reset_index().reindex(columns=table.inside_names)
    rows = to_edge(edge, table, records.settings).to_dict("records")
    dense = DenseHours(Costing(read_shop(tmp_path), quarter, packed=False))
    plug_in = dense.by_model()
    assert len(rows) == len(plug_in) > 40
    assert len(model.data.lines) == len(dense.y)
    for row in rows:
        other = plug_in[row["make"], row["model"]]
        middle = np.log1p(row["pooled_overrun_pct"] / 100)
        assert abs(middle - other.middle) < APART * other.sd + 0.002, row
        width = np.log1p([row["low_pct"] / 100, row["high_pct"] / 100]) @ (-1, 1)
        assert 0.95 < width / (np.log1p(other.high) - np.log1p(other.low)) < WIDER, row
        probability = row["probability_over_tolerance"]
        assert probability > 0.9 or other.over(TOLERANCE) < 0.99, row
        assert probability < 0.1 or other.over(TOLERANCE) > 0.01, row
    assert_rule_holds([row | {"flagged": bool(row["flagged"])} for row in rows])
    assert sum(bool(row["flagged"]) for row in rows) >= 2
