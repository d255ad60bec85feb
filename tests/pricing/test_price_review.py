"""What a review adds to its suggestions: prices on trial, and those decided already."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.pricing.outlook import Outlook, OutlookSpread
from analysis.pricing.price_review import decided_prices, outlook_table, with_trials
from analysis.records.model import Records
from tests.shops import PLAIN, records_of

JOBS = """
    job_id | finished_on | service | make   | model | quoted_hours | quoted_price
    J1     | 2026-03-10  | roof    | Harrow | Pike  | 2            | 100
"""
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity|unit_price
    P1      | 2025-01-02  | Ash      | RED  | film | 1          | 100         | 1       | 500
"""
DECIDED = """
    decided_on | service | vehicle_class | old_price | new_price | effective_from
    2026-02-01 | roof    | compact car   | 100       | 110       | 2026-02-10
    2026-04-02 | roof    |               | 150       | 165       | 2026-05-01
    2026-04-03 | hood    | compact car   | 90        | 95        | 2026-05-01
"""
DAY = pd.Timestamp("2026-03-31")
SUGGESTIONS = pd.DataFrame(
    {
        "service": ["hood", "roof", "roof", "tint"],
        "vehicle_class": pd.Series(["compact car", "compact car", np.nan, np.nan], dtype="str"),
        "reason": ["A.", "B.", "C.", "D."],
    }
)
ON_TRIAL = pd.DataFrame(
    {
        "service": ["roof", "tint"],
        "vehicle_class": pd.Series(["compact car", np.nan], dtype="str"),
        "effective_from": pd.to_datetime(["2026-02-10", "2025-02-10"]),
        "verdict": ["too early to tell", "gained"],
    }
)


def records(folder: Path) -> Records:
    return records_of(folder, PLAIN, jobs=JOBS, purchases=BOUGHT, decisions=DECIDED)


def test_a_price_on_trial_and_one_to_come_are_said(tmp_path: Path) -> None:
    found = with_trials(SUGGESTIONS, ON_TRIAL, records(tmp_path), DAY)["reason"]
    assert found.tolist() == [
        "A. Decided already: $95 from 2026-05-01.",
        "B. Its price since 2026-02-10 is still on trial.",
        "C. Decided already: $165 from 2026-05-01.",
        "D.",
    ]


LISTED = """
    service | vehicle_class | list_price | list_hours | effective_from
    roof    | compact car   | {price}    | 2          | {since}
"""


@pytest.mark.parametrize(
    ("price", "since", "lags"),
    [
        (100, "2025-01-01", True),
        (110, "2026-02-10", False),
        (110, "2026-02-20", False),
        # Changed again since: what was decided then is past.
        (120, "2026-03-01", False),
    ],
)
def test_a_decided_price_that_the_list_does_not_have_yet_is_said(
    price: int, since: str, lags: bool, tmp_path: Path
) -> None:
    more = {"price_list": LISTED.format(price=price, since=since), "decisions": DECIDED}
    shop = records_of(tmp_path, PLAIN, jobs=JOBS, purchases=BOUGHT, **more)
    found = with_trials(SUGGESTIONS, ON_TRIAL, shop, DAY)["reason"]
    words = "B. Decided already: $110 from 2026-02-10; enter it in price_list."
    assert (found[1] == words) is lags
    decided = decided_prices(shop, DAY)
    assert decided["is_due"].tolist() == [True, False, False][0 if lags else 1 :]


def test_without_decisions_nothing_is_added(tmp_path: Path) -> None:
    bare = records_of(tmp_path, PLAIN, jobs=JOBS, purchases=BOUGHT)
    none = Unavailable("price_follow_up", ("decisions",), "none")
    found = with_trials(SUGGESTIONS, none, bare, DAY)
    assert found["reason"].tolist() == ["A.", "B.", "C.", "D."]


def test_the_outlook_keeps_freed_hours_apart() -> None:
    outlook = Outlook(
        total=OutlookSpread(12.0, 10.0, 14.0),
        held=OutlookSpread(9.0, 7.0, 11.0),
        difference=OutlookSpread(3.0, 1.0, 5.0),
        freed=OutlookSpread(0.5, 0.1, 0.9),
        probability_gains=0.97,
        jobs=40.0,
        held_jobs=44.0,
        hours=400.0,
        held_hours=430.0,
        cells=pd.DataFrame(),
        notes=(),
    )
    table = outlook_table(outlook).set_index("prices")
    assert table.loc["difference", "contribution"] == 3.0
    assert table.loc["difference", "jobs"] == -4.0
    assert table.loc["hours freed", "contribution"] == 0.5
    assert np.isnan(table.loc["hours freed", "jobs"])
    assert table["probability_gains"].isna().tolist() == [True, True, False, True]
