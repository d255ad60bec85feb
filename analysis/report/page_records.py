"""The page's tables about the records: what was read, and what the check has to say."""

import pandas as pd

from analysis.locale_text import MISSING
from analysis.records.model import REJECTED
from analysis.report.grids import Cell, Grid, Heading
from analysis.report.numbers import Numbers, shortened, typed
from analysis.report.results import Review

_EXAMPLES = 2
_SEVERITIES = {REJECTED: "left out"}


def sources_grid(review: Review) -> Grid:
    """Rows read, used and left out of every table that had a file."""
    say = Numbers(review.settings)
    sources = [each for each in review.records.sources if each.table]
    rows = [
        (
            Cell(each.table),
            Cell(typed(each.file)),
            Cell(say.number(each.rows_read)),
            Cell(say.number(each.rows_used)),
            Cell(say.number(each.rows_rejected)),
        )
        for each in sources
    ]
    headings = (
        Heading("Table", is_number=False),
        Heading("File", is_number=False),
        Heading("Rows read"),
        Heading("Used"),
        Heading("Left out"),
    )
    note = "Rows read = used + left out. Rows that were left out stand in files of their own."
    return Grid("Rows of each table", 1, (), headings, tuple(rows), note)


def findings_grid(review: Review) -> Grid:
    """The check's findings grouped by rule, most first, each with its first examples."""
    findings = review.records.findings
    say = Numbers(review.settings)
    groups = findings.groupby(["severity", "rule", "table"], sort=False, dropna=False)
    rows = [
        (
            Cell(typed(rule)),
            Cell(typed(table)),
            Cell(_SEVERITIES.get(str(severity), typed(severity))),
            Cell(say.number(len(group))),
            Cell("\n".join(_example(row) for row in _records(group.head(_EXAMPLES)))),
        )
        for (severity, rule, table), group in groups
    ]
    counts = [len(group) for _, group in groups]
    order = sorted(range(len(rows)), key=lambda at: (rows[at][2].text != "left out", -counts[at]))
    headings = (
        Heading("What", is_number=False),
        Heading("Table", is_number=False),
        Heading("Row is", is_number=False),
        Heading("Count"),
        Heading("First examples", is_number=False),
    )
    note = "All of them stand in record_findings.csv." if rows else ""
    return Grid("What the check found", 1, (), headings, tuple(rows[at] for at in order), note)


def _records(frame: pd.DataFrame) -> list[dict[str, object]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def _example(row: dict[str, object]) -> str:
    """One finding in a line: where, what stands there, what is wrong, what to do."""
    where = [typed(row["file"]), f"row {typed(row['row'])}", typed(row["column"])]
    value = shortened(typed(row["value"]), 60)
    said = [each for each in where if MISSING not in each and each]
    shown = f": “{value}”" if value not in ("", MISSING) else ""
    words = [each for each in (typed(row["problem"]), typed(row["remedy"])) if each != MISSING]
    return f"{', '.join(said)}{shown} – {'. '.join(each.rstrip('.') for each in words)}."
