"""What the price list does not have is priced by none of its cells, and stops nothing."""

from pathlib import Path

import pandas as pd
import pytest

from analysis.pricing.follow_up import price_follow_up
from tests.pricing.test_price_basis import DAY, shop


@pytest.mark.parametrize(("service", "size"), [("bonnet", "compact car"), ("wash", "")])
def test_a_decision_on_what_the_list_does_not_price_stops_nothing(
    service: str, size: str, tmp_path: Path
) -> None:
    decisions = (
        "decided_on | service | vehicle_class | old_price | new_price | effective_from\n"
        f"2026-05-20 | {service} | {size} | 200 | 220 | 2026-06-01"
    )
    records, costing, _ = shop(tmp_path, decisions=decisions)
    found = price_follow_up(costing, records, DAY, 3)
    assert isinstance(found, pd.DataFrame)
    assert found["verdict"].tolist() == ["too early to tell"]
