"""Figures of what changed: each bar opens into its cells, and titles say what the tables hold."""

import html
import json
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.errors import Unavailable
from analysis.findings.bridge import (
    BOTH,
    DISCONTINUED,
    EFFECTS,
    LEFT_OUT,
    NEW,
    cell_names,
)
from analysis.findings.evidence import is_enough
from analysis.findings.quote_variances import EFFECTS as VARIANCES
from analysis.periods import Quarter
from analysis.price_tables import BRIDGE_CELLS, VARIANCES_BY_CLASS, VARIANCES_BY_SERVICE
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.report import figures_bridge as figures
from analysis.report import figures_variances as quoted
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.settings import Settings

LINE = "No job was finished in 2026Q2, so there is nothing to compare with."
QUARTER = Quarter(2026, 3)
METRIC = Settings(currency="EUR", locale="de-DE")
LOOKS = {"#0072B2": "", "#D55E00": "/", "#595959": ""}


def made_cells(effects: list[str] = EFFECTS, count: int = 20) -> pd.DataFrame:
    """Cells of both quarters, two new, three discontinued and one left out."""
    random = np.random.default_rng(5)
    kinds = [BOTH] * count + [NEW] * 2 + [DISCONTINUED] * 3 + [LEFT_OUT]
    cells = pd.DataFrame(
        {
            "service": [f"service {at % 7}" for at in range(len(kinds))],
            "vehicle_class": [f"class {at // 7}" for at in range(len(kinds))],
            "kind": kinds,
            "jobs_before": random.integers(1, 9, len(kinds)),
            "jobs_now": random.integers(1, 9, len(kinds)),
        }
    )
    cells.loc[3, "vehicle_class"] = np.nan
    is_both = cells["kind"] == BOTH
    for name in EFFECTS:
        parts = random.normal(-20, 90, len(kinds)) if name in effects else np.nan
        cells[name] = pd.Series(parts, index=cells.index).where(is_both, 0.0)
    cells["margin_before"] = random.uniform(100, 900, len(kinds))
    cells[NEW] = random.uniform(50, 200, len(kinds)) * (cells["kind"] == NEW)
    cells[DISCONTINUED] = -cells["margin_before"] * (cells["kind"] == DISCONTINUED)
    changed = cells[[*effects, NEW, DISCONTINUED]].sum(axis=1)
    cells["margin_now"] = cells["margin_before"] + changed
    cells.loc[cells["kind"] == LEFT_OUT, [*EFFECTS, NEW, DISCONTINUED, "margin_now"]] = np.nan
    cells["enough"] = is_enough(cells["jobs_now"], 5)
    return cells[BRIDGE_CELLS.inside_names]


def made_bridge(cells: pd.DataFrame, effects: list[str] = EFFECTS) -> pd.DataFrame:
    told = cells[cells["kind"] != LEFT_OUT]
    rows = [("margin 2026Q2", told["margin_before"].sum(), "Full margin after redos.")]
    rows += [(name, told[name].sum(), f"How {name} is made.") for name in effects]
    for kind in (NEW, DISCONTINUED):
        some = told[told["kind"] == kind]
        rows += [
            (f"{kind}: {n}", a, "Its margin.")
            for n, a in zip(cell_names(some), some[kind], strict=True)
        ]
    rows.append(("margin 2026Q3", told["margin_now"].sum(), "Full margin after redos."))
    return pd.DataFrame(rows, columns=["effect", "amount", "note"])


def made_variances(key: str, count: int, seed: int = 3) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    table = VARIANCES_BY_SERVICE if key == "service" else VARIANCES_BY_CLASS
    frame = pd.DataFrame({key: [f"{key} {at}" for at in range(count)]})
    frame["jobs"] = frame["told"] = random.integers(2, 12, count)
    for name in VARIANCES:
        frame[name] = random.normal(-60, 100, count)
    frame["quoted_profit"] = random.uniform(500, 2000, count)
    frame["total"] = frame[VARIANCES].sum(axis=1)
    frame["actual_profit"] = frame["quoted_profit"] + frame["total"]
    frame["enough"] = is_enough(frame["told"], 5)
    return frame[table.inside_names]


def made_review(settings: Settings | None = None, **results: Any) -> Review:
    cells = made_cells()
    made = {
        "quarter_bridge": made_bridge(cells),
        "bridge_cells": cells,
        "variances_by_service": made_variances("service", 6),
        "variances_by_class": made_variances("vehicle_class", 15),
    }
    tables = {
        name: pd.DataFrame(columns=["row", *table.inside_names])
        for name, table in RECORD_TABLES.items()
    }
    records = Records(
        tables,
        pd.DataFrame(columns=list(FINDING_COLUMNS)),
        {},
        (),
        frozenset(),
        settings or Settings(),
    )
    year = {
        "variances_by_service": made_variances("service", 7, 4),
        "variances_by_class": made_variances("vehicle_class", 15, 4),
    }
    return Review(QUARTER, records.settings, records, made | results, year, {})


def drawn(fig: Any) -> str:
    return json.dumps(fig.to_plotly_json(), default=str, ensure_ascii=False)


def cell_number(text: str) -> float:
    return float(text.replace(",", "").replace("−", "-"))


# --- the bridge -----------------------------------------------------------------------------------


def test_steps_lead_from_one_margin_to_the_other() -> None:
    review = made_review()
    info = figures.gather_bridge(review)
    assert info.names[0] == "Margin 2026Q2"
    assert info.names[-1] == "Margin 2026Q3"
    names = {name: name.replace("_", " ").capitalize() for name in EFFECTS}
    names |= {"mix": "Mix of jobs", "redo": "Redos"}
    assert info.names[1:-3] == tuple(names.values())
    assert info.names[-3:-1] == ("Done this quarter alone", "Done last quarter alone")
    ends = [start + step for start, step in zip(info.starts, info.steps, strict=True)]
    assert list(info.starts[1:-1]) == pytest.approx(ends[:-2])
    assert ends[-2] == pytest.approx(info.steps[-1])
    assert (info.starts[0], info.starts[-1]) == (0.0, 0.0)
    bridge = review.frame("quarter_bridge")
    gone = bridge.loc[bridge["effect"].str.startswith(DISCONTINUED), "amount"]
    assert info.steps[-2] == pytest.approx(gone.sum())


def test_each_bar_opens_into_its_cells() -> None:
    review = made_review()
    cells = review.frame("bridge_cells")
    info = figures.gather_bridge(review)
    table, *opened = info.grids
    assert len(table.rows) == len(info.names)
    assert [grid.caption for grid in opened] == [
        f"{name}: the cells behind it" for name in info.names[1:-1]
    ]
    for grid, effect, step in zip(opened, info.effects[1:-1], info.steps[1:-1], strict=True):
        amounts = [cell_number(row[-1].text) for row in grid.rows]
        assert sum(amounts[:-1]) == pytest.approx(amounts[-1], abs=len(amounts))
        assert amounts[-1] == pytest.approx(step, abs=0.51)
        shown = amounts[: figures.MOST_CELLS] if len(grid.rows) > 13 else amounts[:-1]
        assert [abs(each) for each in shown] == sorted([abs(each) for each in shown], reverse=True)
        parts = cells.loc[cells["kind"] != LEFT_OUT, effect]
        assert abs(shown[0]) == pytest.approx(parts.abs().max(), abs=0.51)
    assert [cell.text for cell in opened[0].rows[12]][:2] == ["8 other cells", ""]
    assert [cell.text for cell in opened[0].rows[13]][0] == "Together"
    assert any(row[1].text == "not given" for grid in opened for row in grid.rows)
    thin = {cell.is_few for row in opened[0].rows for cell in row}
    assert thin == {True, False}


def test_a_bar_names_its_three_largest_cells() -> None:
    info = figures.gather_bridge(made_review())
    fig = figures.draw_bridge(info)
    (bars,) = fig.data
    for name, largest, hover in zip(info.names, info.cells, bars.customdata, strict=True):
        assert hover.startswith(f"<b>{name}: ")
        lines = [html.unescape(each) for each in hover.split("<br>")[1:]]
        assert lines == list(largest)
    assert [len(each) for each in info.cells] == [0, *[3] * 11, 2, 3, 0]


def test_signs_are_told_by_pattern_and_sign_too() -> None:
    info = figures.gather_bridge(made_review())
    (bars,) = figures.draw_bridge(info).data
    for effect, step, text, colour, pattern in zip(
        info.effects,
        info.steps,
        info.texts,
        bars.marker.color,
        bars.marker.pattern.shape,
        strict=True,
    ):
        assert LOOKS[colour] == pattern
        assert (pattern == "/") == (step < 0)
        if effect:
            assert text[0] == ("−" if step < 0 else "+")


def test_the_title_names_the_largest_cause_along_the_change() -> None:
    cells = made_cells()
    bridge = made_bridge(cells).set_index("effect")
    bridge["amount"] = 1.0
    bridge.loc[["margin 2026Q2", "price", "redo", "margin 2026Q3"], "amount"] = [900, 50, -300, 600]
    info = figures.gather_bridge(made_review(quarter_bridge=bridge.reset_index()))
    assert info.title == (
        "Full margin of jobs: $900 in 2026Q2, $600 in 2026Q3; redos moved it down most (−$300)"
    )
    bridge.loc[["price", "margin 2026Q3"], "amount"] = [400, 1000]
    info = figures.gather_bridge(made_review(quarter_bridge=bridge.reset_index()))
    assert info.title.endswith("$1,000 in 2026Q3; the price a job got moved it up most (+$400)")
    bridge["amount"] = 0.0
    info = figures.gather_bridge(made_review(quarter_bridge=bridge.reset_index()))
    assert info.title.endswith("; nothing changed it")


@pytest.mark.parametrize(("beyond", "name"), [(1, "Contribution"), (3, "Material margin")])
def test_the_margin_that_is_bridged_is_named(beyond: int, name: str) -> None:
    labour = ("labour_efficiency", "labour_rate")
    effects = [each for each in EFFECTS if each != "overhead"]
    effects = [each for each in effects if beyond == 1 or each not in labour]
    cells = made_cells(effects)
    review = made_review(quarter_bridge=made_bridge(cells, effects), bridge_cells=cells)
    info = figures.gather_bridge(review)
    assert info.title.startswith(f"{name} of jobs: ")
    assert f"The {name.lower()} is bridged" in info.note
    assert "1 cell could not be told" in info.note
    assert "Overhead" not in info.names
    assert figures.draw_bridge(info).data


@pytest.mark.parametrize("table", ["quarter_bridge", "bridge_cells"])
def test_a_bridge_that_is_not_there_says_why(table: str) -> None:
    info = figures.gather_bridge(made_review(**{table: Unavailable(table, ("jobs",), LINE)}))
    assert info.line == LINE
    assert LINE[:30] in drawn(figures.draw_bridge(info))
    empty = made_review().frame(table).head(0)
    assert figures.gather_bridge(made_review(**{table: empty})).line


def test_typed_markup_is_drawn_as_it_is() -> None:
    cells = made_cells()
    cells["service"] = "<b>=1+1</b> \u05e9\u05dc"
    review = made_review(bridge_cells=cells, quarter_bridge=made_bridge(cells))
    text = drawn(figures.draw_bridge(figures.gather_bridge(review)))
    assert "<b>=1" not in text
    assert "&lt;b&gt;=1" in text
    assert "\u2068" in text


def test_no_cell_in_both_quarters_still_draws() -> None:
    cells = made_cells(count=0)
    info = figures.gather_bridge(made_review(bridge_cells=cells, quarter_bridge=made_bridge(cells)))
    assert [grid.caption.split(":")[0] for grid in info.grids[1:]] == [
        "Done this quarter alone",
        "Done last quarter alone",
    ]
    assert figures.draw_bridge(info).data


# --- quoted against actual ------------------------------------------------------------------------

BY = pytest.mark.parametrize("by", ["service", "class"])


@BY
def test_groups_stand_by_what_they_left(by: str) -> None:
    review = made_review()
    info = quoted.gather_variances(review, by)
    frame = review.frame(f"variances_by_{by}")
    assert list(info.totals) == sorted(info.totals)
    assert len(info.names) == min(len(frame), quoted.MOST_ROWS)
    assert frame["total"].abs().max() == pytest.approx(max(abs(each) for each in info.totals))
    for name, total, cause, text in zip(
        info.names, info.totals, info.causes, info.texts, strict=True
    ):
        row = frame[frame.iloc[:, 0] == name].iloc[0]
        along = row[VARIANCES].astype("float64") * np.sign(total)
        assert cause == along.idxmax()
        assert text.count("$") == 2, name
    assert ("The chart shows the 12 largest." in info.note) == (len(frame) > 12)
    quarter, year = len(frame), len(review.year[f"variances_by_{by}"])
    rows = [len(grid.rows) for grid in info.grids]
    assert rows == [max(quarter, year), quarter, year]
    names = {html.unescape(each.text) for each in quoted.draw_variances(info).layout.annotations}
    assert set(info.texts) <= names


def test_the_title_says_how_much_and_by_what_group() -> None:
    frame = made_variances("service", 2)
    frame[VARIANCES] = 0.0
    frame["labour_efficiency"], frame["price"] = [-300.0, -100.0], [50.0, 0.0]
    frame["told"], frame["jobs"] = [4, 3], [5, 3]
    frame["total"] = frame[VARIANCES].sum(axis=1)
    frame["enough"] = pd.array([True, True], dtype="boolean")
    info = quoted.gather_variances(made_review(variances_by_service=frame), "service")
    assert info.title == (
        "2026Q3 by service: 7 job lines left $350 less than quoted, the largest part by service 0 "
        "(−$250, of it hours −$300)"
    )
    by_class = frame.rename(columns={"service": "vehicle_class"})
    other = quoted.gather_variances(made_review(variances_by_class=by_class), "class")
    assert other.title.startswith("2026Q3 by vehicle class: 7 job lines left $350 less")
    # A group of few jobs is not named.
    for thin, part in (
        ([False, True], "by service 1 (−$100, of it hours −$100)"),
        ([False, False], "by hours (−$400)"),
    ):
        few = frame.assign(enough=pd.array(thin, dtype="boolean"))
        info = quoted.gather_variances(made_review(variances_by_service=few), "service")
        assert info.title.endswith(f"the largest part {part}")
    assert "1 job line of 8 cannot be told" in info.note
    frame["labour_efficiency"] *= -1
    frame["total"] = frame[VARIANCES].sum(axis=1)
    info = quoted.gather_variances(made_review(variances_by_service=frame), "service")
    assert "$450 more than quoted" in info.title
    frame[[*VARIANCES, "total"]] = 0.0
    info = quoted.gather_variances(made_review(variances_by_service=frame), "service")
    assert info.title == "2026Q3 by service: 7 job lines left what their quotes counted on"


@BY
def test_redos_are_said_to_be_among_the_job_lines(by: str) -> None:
    review = made_review()
    assert "Redos are among the job lines." in quoted.gather_variances(review, by).note
    frame = review.frame(f"variances_by_{by}")
    margins = pd.DataFrame(columns=RESULT_TABLES[f"margin_by_{by}"].inside_names)
    margins[frame.columns[0]], margins["jobs"] = frame.iloc[:, 0], frame["jobs"]
    same = made_review(**{f"margin_by_{by}": margins})
    assert "Redos" not in quoted.gather_variances(same, by).note
    margins.loc[0, "jobs"] -= 1
    told = quoted.gather_variances(made_review(**{f"margin_by_{by}": margins}), by)
    lines = frame["jobs"].sum()
    assert f"Redos are among the job lines: {lines} here, {lines - 1} without them" in told.note
    headings = [each.text for each in told.grids[0].headings]
    assert "With all known" in headings


@BY
def test_variances_that_are_not_there_say_why(by: str) -> None:
    table = f"variances_by_{by}"
    info = quoted.gather_variances(made_review(**{table: Unavailable(table, (), LINE)}), by)
    assert info.line == LINE
    frame = made_review().frame(table)
    assert quoted.gather_variances(made_review(**{table: frame.head(0)}), by).line
    frame = frame.assign(told=0, **dict.fromkeys([*VARIANCES, "total"], np.nan))
    info = quoted.gather_variances(made_review(**{table: frame}), by)
    assert info.line.startswith("No job line of the quarter can be held against its quote")
    assert info.grids
    assert quoted.draw_variances(info).layout.annotations


def test_other_money_and_locale() -> None:
    review = made_review(METRIC)
    assert "€" in figures.gather_bridge(review).texts[0]
    assert figures.gather_bridge(review).separators == ",."
    assert "€" in quoted.gather_variances(review, "class").texts[0]


def test_words_for_who_cannot_see_it() -> None:
    review = made_review()
    for info, draw in (
        (figures.gather_bridge(review), figures.draw_bridge),
        (quoted.gather_variances(review, "service"), quoted.draw_variances),
    ):
        assert "every number" in info.alternative
        assert draw(info).layout.xaxis.title.text
