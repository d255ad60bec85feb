"""The figure about price decisions: its numbers and words are those of the table."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.price_tables import PRICE_FOLLOW_UP
from analysis.report.figures_follow_up import (
    MARKS,
    MOST_ROWS,
    FollowUpInfo,
    draw_follow_up,
    gather_follow_up,
)
from analysis.report.results import Review
from analysis.schema import Kind
from tests.shops import records_of

LINE = "No price decision was taken by 2026-09-30."
VERDICTS = ("gained", "lost", "no difference to speak of", "too early to tell")
JOBS = """
    job_id | finished_on | service | make | model | quoted_hours | quoted_price
    A | 2026-07-02 | roof | Q | Heron | 2 | 300"""
PURCHASES = """
    invoice | received_on | supplier | item | kind | quantity | unit_price
    I | 2026-07-01 | S | cloth | consumable | 1 | 9"""
TABLES = {"jobs": JOBS, "purchases": PURCHASES}


def table(*verdicts: str, **columns: object) -> pd.DataFrame:
    """A row a verdict, a month apart; gains of 10, 20, … of an old price of 200, ± 5."""
    count = len(verdicts)
    days = pd.date_range("2025-01-01", periods=count, freq="MS")
    gain = 10.0 * np.arange(1, count + 1)
    numbers = {
        column.inside: np.nan
        for column in PRICE_FOLLOW_UP.columns
        if column.kind not in (Kind.TEXT, Kind.DATE)
    }
    given = {
        "decided_on": days - pd.Timedelta(days=10),
        "service": [f"service {at}" for at in range(count)],
        "vehicle_class": pd.Series(["minivan"] * (count - 1) + [np.nan], dtype="str"),
        "effective_from": days,
        "old_price": 200.0,
        "new_price": 220.0,
        "gain": gain,
        "gain_low": gain - 5,
        "gain_high": gain + 5,
        "quotes": 40,
        "jobs": 20,
        "verdict": list(verdicts),
        "reason": "8 of 20 quotes won.",
    }
    return pd.DataFrame(numbers | given | columns)[PRICE_FOLLOW_UP.inside_names]


def gathered(folder: Path, found: pd.DataFrame | Unavailable, toml: str = "") -> FollowUpInfo:
    records = records_of(folder, toml, **TABLES)
    results = {"price_follow_up": found}
    return gather_follow_up(Review(Quarter(2026, 3), records.settings, records, results, {}, {}))


def test_what_is_not_there_says_why(tmp_path: Path) -> None:
    info = gathered(tmp_path, Unavailable("price_follow_up", (), LINE))
    assert info.line == LINE
    assert LINE[:30] in json.dumps(draw_follow_up(info).to_plotly_json())


def test_gains_are_shares_of_the_old_price_newest_first(tmp_path: Path) -> None:
    info = gathered(tmp_path, table(*VERDICTS))
    assert info.verdicts == VERDICTS[::-1]
    assert info.gains == pytest.approx((20.0, 15.0, 10.0, 5.0))
    assert info.lows == pytest.approx((17.5, 12.5, 7.5, 2.5))
    assert info.highs == pytest.approx((22.5, 17.5, 12.5, 7.5))
    assert info.names[0] == "service 3, Apr 1, 2025"
    assert info.names[1] == "service 2 minivan, Mar 1, 2025"
    assert info.texts[0] == "$200 to $220: too early to tell"
    assert info.texts[3] == "$200 to $220: gained, +$10 an enquiry"


def test_every_verdict_has_a_symbol_and_a_word(tmp_path: Path) -> None:
    info = gathered(tmp_path, table(*VERDICTS))
    fig = draw_follow_up(info)
    marks = next(trace for trace in fig.data if trace.mode == "markers")
    symbols = [MARKS[verdict][1] for verdict in info.verdicts]
    assert list(marks.marker.symbol) == symbols
    assert len(set(symbols)) == len(VERDICTS)
    assert tuple(marks.x) == pytest.approx(info.gains)
    shown = json.dumps(fig.to_plotly_json(), default=str)
    assert all(verdict in shown for verdict in VERDICTS)
    assert all(word in info.note for word in ("up: gained", "down: lost", "open circle: too early"))


def test_the_line_of_no_gain_runs_through_no_name(tmp_path: Path) -> None:
    fig = draw_follow_up(gathered(tmp_path, table(*VERDICTS)))
    names = [each.y for each in fig.layout.annotations if each.yref == "y"]
    assert len(fig.layout.shapes) == len(VERDICTS)
    for at, shape in enumerate(fig.layout.shapes):
        assert shape.yref == "y"
        assert shape.x0 == shape.x1 == 0
        assert shape.y0 < at < shape.y1
        assert not any(shape.y0 <= y <= shape.y1 for y in names)


@pytest.mark.parametrize(
    ("verdicts", "title"),
    [
        (
            VERDICTS,
            "Of 4 price decisions, 1 gained, 1 lost, 1 made no difference to speak of, 1 cannot be "
            "told yet",
        ),
        (("gained",), "Of 1 price decision, 1 gained"),
        (VERDICTS[3:], "1 price decision so far: it cannot be told from chance yet"),
        (VERDICTS[3:] * 3, "3 price decisions so far: none can be told from chance yet"),
    ],
)
def test_the_title_counts_the_verdicts(
    verdicts: tuple[str, ...], title: str, tmp_path: Path
) -> None:
    assert gathered(tmp_path, table(*verdicts)).title == title


def test_what_is_too_wide_or_unknown_has_no_mark_and_keeps_its_row(tmp_path: Path) -> None:
    found = table(*VERDICTS[3:] * 3, gain_high=[15.0, 65.0, np.nan], old_price=[200.0, 200.0, 0.0])
    info = gathered(tmp_path, found)
    assert np.isnan(info.gains[:2]).all()
    assert np.isnan(info.highs[:2]).all()
    assert info.gains[2] == pytest.approx(5.0)
    assert len(info.names) == 3
    # 0 to 7.5 with room at both ends; a chart without any mark keeps an axis around no gain.
    assert draw_follow_up(info).layout.xaxis.range == pytest.approx((-0.45, 7.95))
    bare = gathered(tmp_path / "b", found.assign(gain=np.nan))
    assert draw_follow_up(bare).layout.xaxis.range == pytest.approx((-10.0, 10.0))


def test_the_tables_hold_every_decision_and_both_sides(tmp_path: Path) -> None:
    count = MOST_ROWS + 3
    info = gathered(tmp_path, table(*["lost"] * count, expected_win_share=0.55))
    assert len(info.names) == MOST_ROWS
    assert f"The newest {MOST_ROWS} are drawn." in info.note
    judged, expected = info.grids
    assert len(judged.rows) == len(expected.rows) == count
    headings = [heading.text for heading in expected.headings]
    assert expected.rows[0][headings.index("Expected win")].text == "55.0"
    for what in ("win", "price", "hours", "margin"):
        assert f"Expected {what}" in headings
        assert f"Realised {what}" in headings
    assert judged.rows[0][-3].text == "8 of 20 quotes won."
