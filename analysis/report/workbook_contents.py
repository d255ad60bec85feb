"""What stands on each sheet of `review.xlsx`: the results, the record findings, the row counts."""

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import pandas as pd

from analysis.errors import OutputError
from analysis.findings.allowance import LARGER, SMALLER
from analysis.glossary import statement_line
from analysis.pricing.price_sheet_form import SHEET_NAME as PRICES
from analysis.report.edge import rounded, to_edge
from analysis.report.results import Review
from analysis.report.workbook_cells import clean_text
from analysis.report.workbook_look import COVER, HEADER_ROW
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Column, Kind, Table

LIKELIEST_FIRST: Final = "hours_by_model"
SHEET_ROWS: Final = 1_048_576
PERIOD = Column(
    "period", Kind.TEXT, "The quarter, or the twelve months that end with it. Filter on it."
)
RECORD_FINDINGS = Table(
    "record_findings",
    "Record findings",
    "What the check found in the records. Rejected rows were left out; doubtful ones were used.",
    (
        Column("table", Kind.TEXT, "Table of the records."),
        Column("file", Kind.TEXT, "File it was read from."),
        Column("row", Kind.WHOLE, "Line in the file as a spreadsheet shows it; the header is 1."),
        Column("column", Kind.TEXT, "Column to look at."),
        Column("value", Kind.TEXT, "What stands there."),
        Column("rule", Kind.TEXT, "Rule that it breaks."),
        Column("severity", Kind.TEXT, "rejected: the row is left out. doubtful: used, and told."),
        Column("problem", Kind.TEXT, "What is wrong."),
        Column("remedy", Kind.TEXT, "What to do."),
    ),
)
ROW_COUNTS = Table(
    "row_counts",
    "Row counts",
    "Rows of every file that was read: rows read = rows used + rows rejected.",
    (
        Column("table", Kind.TEXT, "Table of the records; empty for the settings."),
        Column("file", Kind.TEXT, "File it was read from."),
        Column("rows_read", Kind.WHOLE, "Rows below the header that are not blank.", sums=True),
        Column("rows_used", Kind.WHOLE, "Rows that the results rest on.", sums=True),
        Column("rows_rejected", Kind.WHOLE, "Rows that were left out.", sums=True),
    ),
)


@dataclass(frozen=True, eq=False)
class Content:
    """One sheet to be: a table at the edge, rounded; its first `quarter_rows` are the quarter's."""

    table: Table
    edge: pd.DataFrame
    quarter_rows: int
    sheet_name: str = ""

    @property
    def has_period(self) -> bool:
        """Whether its first column names the period."""
        return self.table.columns[0] is PERIOD


def sheet_name(title: str) -> str:
    """A title as the name of a sheet: at most 31 characters, none that a sheet's name refuses."""
    name = re.sub(r"\s*:\s*", " - ", title)
    name = re.sub(r"[\[\]*?/\\]", " ", name)
    name = " ".join(clean_text(name).split()).strip("' ")
    if len(name) > 31:
        name = name[:30].rsplit(" ", 1)[0] + "…"
    return name or "Sheet"


def unique_name(title: str, taken: set[str]) -> str:
    """A title as the name of a sheet that no other sheet has (`taken`, case-folded)."""
    name, number = sheet_name(title), 2
    while name.casefold() in taken or name.casefold() == "history":
        ending = f" {number}"
        name, number = sheet_name(title)[: 31 - len(ending)] + ending, number + 1
    return name


def contents_of(review: Review) -> Iterator[Content]:
    """Every sheet that the review gives, in order."""
    for name, table in RESULT_TABLES.items():
        content = _result(review, name, table)
        if content is not None:
            yield content
    records = review.records
    yield _plain(RECORD_FINDINGS, records.findings)
    yield _plain(ROW_COUNTS, pd.DataFrame([vars(source) for source in records.sources]))


def _plain(table: Table, frame: pd.DataFrame) -> Content:
    edge = frame.reindex(columns=table.names).reset_index(drop=True)
    return Content(table, edge, len(edge))


def _result(review: Review, name: str, table: Table) -> Content | None:
    """The rows of the quarter, then those of the trailing year; None where there are neither."""
    label = review.quarter.label
    periods = ((label, review.results.get(name)), (f"year to {label}", review.year.get(name)))
    parts = []
    for period, frame in periods:
        if isinstance(frame, pd.DataFrame):
            edge = rounded(to_edge(frame, table, review.settings), table)
            edge = _likeliest_first(edge) if name == LIKELIEST_FIRST else edge
            edge = _advice_first(edge, name)
            # A table without a trailing year names no period, or has one of its own.
            edge = edge.assign(period=period) if name in review.year else edge
            parts.append(edge.reset_index(drop=True))
    if not parts:
        return None
    if name == "shop_result":
        parts = [part.assign(line=part["line"].map(statement_line)) for part in parts]
    quarter_rows = len(parts[0]) if isinstance(review.results.get(name), pd.DataFrame) else 0
    if name in review.year:
        table = replace(table, columns=(PERIOD, *table.columns))
    filled = [part for part in parts if len(part)] or parts[:1]
    return Content(table, pd.concat(filled, ignore_index=True)[table.names], quarter_rows)


def _advice_first(edge: pd.DataFrame, name: str) -> pd.DataFrame:
    """What to do before what to leave: films to order, panels to cut otherwise."""
    if name == "film_orders":
        order = edge["order_rolls"].astype("float64")
    elif name == "best_allowance":
        order = edge["verdict"].isin([SMALLER, LARGER]).astype("float64")
    else:
        return edge
    return edge.loc[order.sort_values(ascending=False, kind="stable", na_position="last").index]


def _likeliest_first(edge: pd.DataFrame) -> pd.DataFrame:
    """Models in the order in which they are flagged, those without an estimate last.

    The chart beside them shows the first rows.
    """
    order = pd.DataFrame(
        {
            "flagged": edge["flagged"].astype("boolean").fillna(False).astype(bool),
            "probability": edge["probability_over_tolerance"].astype("float64").round(2),
            "overrun": edge["pooled_overrun_pct"].astype("float64"),
        }
    )
    return edge.loc[
        order.sort_values(
            ["flagged", "probability", "overrun"], ascending=False, kind="stable"
        ).index
    ]


def named(contents: Iterator[Content]) -> list[Content]:
    """The sheets with a name each."""
    taken = {COVER.casefold(), PRICES.casefold()}
    named = []
    for content in contents:
        name = unique_name(content.table.title, taken)
        taken.add(name.casefold())
        named.append(replace(content, sheet_name=name))
    return named


def refuse_too_many(content: Content) -> None:
    """Raise `OutputError` where a table has more rows than a sheet holds."""
    most = SHEET_ROWS - HEADER_ROW
    if len(content.edge) > most:
        raise OutputError(
            f"'{content.table.title}' has {len(content.edge):,} rows; a sheet of a workbook holds "
            f"{most:,}. Split the records by year, and review each year on its own."
        )
