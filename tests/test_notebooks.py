"""The notebooks are thin, were run from top to bottom, and show what they are about."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))
MOST_CELLS, MOST_LINES = 20, 5


def code_cells(path: Path) -> list[dict[str, Any]]:
    book = json.loads(path.read_text(encoding="utf-8"))
    return [cell for cell in book["cells"] if cell["cell_type"] == "code"]


def test_the_notebooks_are_there() -> None:
    assert [path.stem for path in NOTEBOOKS] == [
        "00_start_here",
        "01_check_the_records",
        "02_quarterly_pricing_review",
        "03_vehicles_that_overrun",
        "04_where_the_film_goes",
        "05_counter_sale",
        "06_quote_the_next_job",
        "07_did_the_prices_work",
    ]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_is_thin_and_run_in_order(path: Path) -> None:
    cells = code_cells(path)
    assert len(cells) <= MOST_CELLS
    assert [cell["execution_count"] for cell in cells] == list(range(1, len(cells) + 1))
    for cell in cells:
        source = "".join(cell["source"])
        assert len(source.splitlines()) <= MOST_LINES
        assert "def " not in source
        assert not any(output["output_type"] in ("error", "stream") for output in cell["outputs"])


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_a_notebook_opens_with_what_it_decides_and_its_parameters(path: Path) -> None:
    book = json.loads(path.read_text(encoding="utf-8"))
    opening = "".join(book["cells"][0]["source"])
    assert "**Decides**" in opening
    assert "**Takes**" in opening
    parameters = "".join(book["cells"][1]["source"])
    assert parameters.startswith("RECORDS = ")
    assert "QUARTER = " in parameters


def marks(trace: dict[str, Any]) -> Any:
    """What a trace draws: points, bars, or the streams of a flow picture."""
    if trace.get("type") == "sankey":
        return trace["link"]["value"]
    return trace.get("y", trace.get("x", []))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_every_chart_is_drawn_and_carries_its_finding(path: Path) -> None:
    """A chart's title is a sentence about the data, and it holds marks."""
    for cell in code_cells(path):
        for output in cell["outputs"]:
            chart = output.get("data", {}).get("application/vnd.plotly.v1+json")
            if chart is not None:
                assert len(chart["layout"]["title"]["text"].split()) >= 4
                assert any(marks(trace) for trace in chart["data"])
