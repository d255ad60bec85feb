"""The list of decisions that a review leaves."""

import pytest

from analysis.report.decisions_to_take import decisions_grid
from tests.report.test_figures_suggestions import review_of, rows_of, suggestions


@pytest.mark.parametrize(
    ("verdict", "volumes", "risk"),
    [
        # The strictest of a service's prices is told.
        ("raise", [-12.0, -8.0, -20.0, -15.0], "loses money if over 8% of the jobs stay away"),
        ("lower", [12.0, 8.0, 20.0, 15.0], "pays only if 20% more come"),
    ],
)
def test_the_strictest_risk_of_a_service_is_told(
    verdict: str, volumes: list[float], risk: str
) -> None:
    frame = suggestions()
    moved = frame["verdict"].isin(["raise", "lower"])
    frame.loc[moved, "break_even_volume_share"] = [each / 100 for each in volumes]
    frame.loc[moved, "service"] = "roof"
    frame.loc[moved, "vehicle_class"] = ["a", "b", "c", "d"]
    frame.loc[moved, "verdict"] = verdict
    rows = rows_of(decisions_grid(review_of(price_suggestions=frame)))
    (row,) = [each for each in rows if each[0].startswith(f"{verdict.capitalize()} roof")]
    assert row[3] == risk
