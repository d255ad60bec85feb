"""The figures of use, of what an hour earns, and of the best mix."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.findings.capacity_use import (
    BAYS,
    INSTALLERS,
    NOTHING,
    UNKNOWN,
    constraints,
    governing_in,
    why_short,
)
from analysis.findings.earning import ALL_SERVICES
from analysis.periods import Quarter
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.report.figures_governs import (
    draw_earning,
    draw_mix,
    draw_use,
    gather_earning,
    gather_mix,
    gather_use,
)
from analysis.report.results import Review
from analysis.settings import Settings

QUARTER = Quarter(2026, 3)


def use(people: float, bays: float) -> pd.DataFrame:
    """Two years of the same use, of 100 hours of each."""
    month = pd.date_range("2024-10-01", periods=24, freq="MS")
    frame = pd.DataFrame(
        {
            "month": month,
            "installer_hours": 100.0,
            "worked_hours": 100 * people,
            "installer_use_share": people,
            "bay_capacity_hours": 100.0,
            "bay_hours": 100 * bays,
            "bay_use_share": bays,
            "unused_hours": 100 - 100 * people,
            "unused_cost": (100 - 100 * people) * 20,
        }
    )
    short = constraints(frame["installer_use_share"], frame["bay_use_share"])
    return frame.assign(constraint=short)


def earning(constraint_rank: list[int], idle_rank: list[int], enough: list[bool]) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "service": ["hood", "roof", "tint"],
            "jobs": [10, 20, 30],
            "material_margin": [1000.0, 1600.0, 900.0],
            "actual_hours": [20.0, 40.0, 30.0],
            "bay_hours": [20.0, 20.0, 30.0],
            "per_bay_hour": [50.0, 80.0, 30.0],
            "per_installer_hour": [50.0, 40.0, 30.0],
            "contribution_share": [0.2, 0.3, 0.5],
            "rank_when_full": pd.array(constraint_rank, dtype="Int64"),
            "rank_when_idle": pd.array(idle_rank, dtype="Int64"),
            "governs": "as told",
            "enough": pd.array(enough, dtype="boolean"),
        }
    )


def mix(gains: list[float]) -> pd.DataFrame:
    frame = pd.DataFrame(
        {
            "service": ["roof", "tint", "hood"],
            "jobs": [20, 30, 4],
            "most_jobs": [40, 40, 8],
            "best_jobs": [40.0, 12.5, 4.0],
            "hours_each": [2.0, 3.0, 1.0],
            "bay_hours_each": [1.0, 3.0, 1.0],
            "material_margin_each": [80.0, 30.0, 50.0],
            "material_margin": [1600.0, 900.0, 200.0],
            "best_material_margin": [3200.0, 375.0, 200.0],
            "gain": gains,
            "enough": [True, True, False],
        }
    )
    sums = frame[["jobs", "most_jobs", "best_jobs", "gain"]].sum().to_frame().T
    total = sums.assign(service=ALL_SERVICES, enough=True)
    whole = pd.concat([frame, total], ignore_index=True)
    return whole.astype({"jobs": "int64", "most_jobs": "int64", "enough": "boolean"})


def review_of(**results: Any) -> Review:
    findings = pd.DataFrame(columns=list(FINDING_COLUMNS))
    tables = {
        name: pd.DataFrame(columns=table.inside_names) for name, table in RECORD_TABLES.items()
    }
    records = Records(tables, findings, {}, (), frozenset(), Settings())
    return Review(QUARTER, Settings(), records, results, {}, {})


def cells_of(info: Any) -> list[str]:
    return [cell.text for grid in info.grids for row in grid.rows for cell in row]


@pytest.mark.parametrize(
    ("people", "bays", "constraint", "title"),
    [
        (0.9, 0.5, INSTALLERS, "People's hours are short for the next quarter: 90% of people's"),
        (0.5, 0.95, BAYS, "The bays are short for the next quarter: 50% of people's hours and 95%"),
        (0.5, 0.6, NOTHING, "No hours are short for the next quarter: 50% of people's hours"),
        (np.nan, 0.9, BAYS, "The bays are short for the next quarter: 90% of bay hours"),
    ],
)
def test_the_title_says_what_is_short(
    people: float, bays: float, constraint: str, title: str
) -> None:
    info = gather_use(review_of(utilisation_by_month=use(people, bays)))
    assert info.constraint == constraint
    assert info.title.startswith(title)
    assert len(info.months) == 24
    assert info.bay_use_pct[0] == pytest.approx(100 * bays)
    assert info.grids[0].rows[0][0].text.startswith("Sep 1, 2026")
    fig = draw_use(info)
    names = {trace.name: trace for trace in fig.data}
    assert ("People's hours" in names) == (not np.isnan(people))
    if len(names) == 2:  # told apart without colour
        one, other = names.values()
        assert one.marker.symbol != other.marker.symbol
        assert one.line.dash != other.line.dash
    assert any(shape.y0 == info.limit_pct == 85 for shape in fig.layout.shapes)
    (limit,) = fig.layout.annotations  # right of the plot, so that it crosses no line
    assert (limit.x, limit.xref, limit.xanchor) == (1, "x domain", "left")


def test_unused_capacity_is_priced() -> None:
    info = gather_use(review_of(utilisation_by_month=use(0.75, 0.5)))
    assert "Unused in twelve months: 300 h of people's time, $6,000 of overheads" in info.note
    over = gather_use(review_of(utilisation_by_month=use(1.1, 0.5)))
    assert "120 h more were worked" in over.note
    no_rate = use(0.75, 0.5).assign(unused_cost=np.nan)
    told = gather_use(review_of(utilisation_by_month=no_rate)).note
    assert "300 h of people's time." in told


def test_without_use_the_figure_says_what_to_keep() -> None:
    frame = use(np.nan, np.nan)
    info = gather_use(review_of(utilisation_by_month=frame))
    assert "capacity" in info.line
    assert info.grids
    assert "capacity" in json.dumps(draw_use(info).to_plotly_json(), default=str)


@pytest.mark.parametrize(
    ("people", "bays", "governs", "first", "hour"),
    [
        (0.9, 0.5, "by installer hour", "hood", "installer hour"),
        (0.5, 0.9, "by bay hour", "roof", "bay hour"),
        (0.5, 0.5, "by contribution", "tint", "bay hour"),
        (np.nan, np.nan, "not known", "roof", "bay hour"),
    ],
)
def test_the_one_rule_ranks_the_services(
    people: float, bays: float, governs: str, first: str, hour: str
) -> None:
    months = use(people, bays)
    ranks = [1, 2, 3] if hour == "installer hour" else [2, 1, 3]
    info = gather_earning(
        review_of(
            utilisation_by_month=months, earning_by_service=earning(ranks, [3, 2, 1], [True] * 3)
        )
    )
    assert info.governs == governs
    assert info.names[0] == first
    assert info.hour == hour
    assert why_short(governing_in(months, QUARTER), Settings()) in info.note
    assert f"{first} leaves most" in info.title
    assert ("percent of revenue" in info.title) == (governs == "by contribution")
    fig = draw_earning(info)
    assert fig.layout.xaxis.title.text == f"USD / {hour}"
    titles = [each.text for each in fig.layout.annotations if each.text.startswith("<b>")]
    assert titles == ["<b>An hour</b>", "<b>Contribution</b>"]  # short: two abreast on a phone
    headings = [each.text for each in info.grids[0].headings]
    assert headings[-1] == "Rank when idle"
    assert len(headings) == len(info.grids[0].rows[0]) == 10


def test_a_title_names_nothing_that_rests_on_few_jobs() -> None:
    table = earning([1, 2, 3], [3, 2, 1], [False, True, True])
    info = gather_earning(review_of(utilisation_by_month=use(0.9, 0.5), earning_by_service=table))
    assert "roof leaves most and tint least" in info.title
    assert info.few == (True, False, False)
    thin = gather_earning(
        review_of(
            utilisation_by_month=use(0.9, 0.5),
            earning_by_service=table.assign(enough=pd.array([False] * 3, dtype="boolean")),
        )
    )
    assert "too few jobs" in thin.title


def test_without_the_months_the_ranking_stands_and_says_so() -> None:
    none = Unavailable("utilisation_by_month", ("capacity",), "no capacity")
    for results in ({"utilisation_by_month": none}, {}):
        table = earning([2, 1, 3], [3, 2, 1], [True] * 3)
        info = gather_earning(review_of(earning_by_service=table, **results))
        assert info.governs == "not known"
        assert "cannot be said" in info.note
        assert info.names[0] == "roof"


def test_the_mix_names_what_grows_and_what_gives_way() -> None:
    info = gather_mix(review_of(best_mix=mix([1600.0, -525.0, 0.0])))
    assert info.gain == 1075
    assert "up to $1,075 more" in info.title
    assert "more of roof and less of tint" in info.title
    assert info.names == ("roof", "tint", "hood")
    assert ALL_SERVICES in cells_of(info)
    assert info.texts[0] == "20 → 40 jobs, +$1,600"
    assert "no forecast" in info.note
    assert "too little being known of them: hood." in info.note
    fig = draw_mix(info)
    now, best = (trace for trace in fig.data if trace.mode == "markers")
    assert list(now.x) == [20, 30, 4]
    assert list(best.x) == [40, 12.5, 4]
    assert now.marker.symbol != best.marker.symbol


@pytest.mark.parametrize(
    ("people", "bays", "hours", "note"),
    [
        (0.9, 0.5, "people's hours", "the bays, which had 600 h to spare"),
        (0.5, 0.95, "bay hours", "people, who had 600 h to spare"),
        (np.nan, 0.9, "hours", "People's hours and bay hours both are held to those"),
    ],
)
def test_the_mix_says_which_hours_it_is_held_to(
    people: float, bays: float, hours: str, note: str
) -> None:
    months = use(people, bays)
    info = gather_mix(review_of(utilisation_by_month=months, best_mix=mix([1600.0, -525.0, 0.0])))
    assert info.title.startswith(f"In the same {hours} another mix")
    assert note in info.note
    same = gather_mix(review_of(utilisation_by_month=months, best_mix=mix([0.2, -0.1, 0.0])))
    assert same.title == f"No other mix of services would have left more in the same {hours}"


def test_where_nothing_is_short_no_mix_is_weighed() -> None:
    """Work that leaves something is not given up for other work while hours stand idle."""
    months = use(0.5, 0.5)
    info = gather_mix(review_of(utilisation_by_month=months, best_mix=mix([1600.0, -525.0, 0.0])))
    assert info.line.startswith("Nothing is short")
    assert not info.names
    assert "Nothing is short" in json.dumps(draw_mix(info).to_plotly_json(), default=str)


def test_a_mix_that_is_best_already_and_one_that_is_not_known() -> None:
    same = gather_mix(review_of(best_mix=mix([0.2, -0.1, 0.0])))
    assert same.title.startswith("No other mix")
    none = Unavailable("best_mix", ("jobs",), "No service has enough jobs.")
    info = gather_mix(review_of(best_mix=none))
    assert info.line == none.line
    assert "enough jobs" in json.dumps(draw_mix(info).to_plotly_json(), default=str)


def test_typed_names_are_text_in_the_charts() -> None:
    bad = "<b>Ann</b> & co"
    table = mix([1600.0, -525.0, 0.0])
    table = table.assign(service=[bad, *table["service"].iloc[1:]])
    info = gather_mix(review_of(best_mix=table))
    assert "<b>Ann" not in json.dumps(draw_mix(info).to_plotly_json(), default=str)
    assert bad in cells_of(info)


def test_unknown_is_said_where_the_season_to_come_is_not_known() -> None:
    """Use of other months is drawn, and what is short for the next quarter is not told."""
    frame = use(0.9, 0.5)
    recent = frame["month"] >= QUARTER.year_first_day
    columns = ["worked_hours", "bay_hours", "installer_use_share", "bay_use_share"]
    frame = frame.assign(**{name: frame[name].where(~recent) for name in columns})
    info = gather_use(review_of(utilisation_by_month=frame))
    assert info.constraint == UNKNOWN
    assert info.title.endswith("is not known")
    assert not info.line
