"""Result tables as the grids of the page: periods side by side, units in the headings.

A grid is text, ready to print; the frames that it is made of are those that the chart beside it
draws.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate

import pandas as pd

from analysis.errors import Unavailable
from analysis.glossary import heading
from analysis.locale_text import MISSING
from analysis.report.edge import to_edge
from analysis.report.numbers import NOT_GIVEN, Numbers, label
from analysis.report.results import Review
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Column, Kind, Table

_NUMBER_KINDS = frozenset(Kind) - {
    Kind.TEXT,
    Kind.NAMES,
    Kind.CHOICE,
    Kind.YES_NO,
    Kind.DATE,
    Kind.MONTH,
    Kind.TIME,
}
# A text of more letters than this is a sentence.
_MOST_OF_A_NAME = 40
# Columns that count what a row rests on: the word 'few' stands in their cells; quotes only where
# nothing else is counted.
_COUNTS = ("jobs", "cuts", "jobs_to_date")
_QUOTES = "quotes"


@dataclass(frozen=True)
class Heading:
    """A column's heading: its words, its unit, and the definition that a pointer shows."""

    text: str
    unit: str = ""
    sentence: str = ""
    is_number: bool = True


@dataclass(frozen=True)
class Band:
    """A heading over several columns: the period that they hold for. Empty over the names."""

    text: str
    width: int


@dataclass(frozen=True)
class Cell:
    """One cell. `is_few`: rests on few jobs or cuts; `says_few`: the word stands in this cell."""

    text: str
    is_few: bool = False
    says_few: bool = False
    is_absent: bool = False

    @property
    def is_prose(self) -> bool:
        """Whether it is a sentence, which wants a wide column."""
        return len(self.text) > _MOST_OF_A_NAME

    @property
    def is_missing(self) -> bool:
        """Whether the figure could not be computed."""
        return self.text == MISSING


# A period that has no row for this key at all.
ABSENT = Cell("", is_absent=True)


@dataclass(frozen=True)
class Grid:
    """A table to print: `names` columns of each row are its heading."""

    caption: str
    names: int
    bands: tuple[Band, ...]
    headings: tuple[Heading, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""

    @property
    def band_starts(self) -> frozenset[int]:
        """Positions of the columns at which a period begins."""
        ends = list(accumulate(band.width for band in self.bands))
        return frozenset(ends[:-1])


@dataclass(frozen=True, eq=False)
class Slices:
    """One result table over its periods, at the edge (the shop's units, percentages as 12.5).

    A frame is empty where the table could not be computed; `line` then says why.
    """

    table: Table
    quarter: pd.DataFrame
    year: pd.DataFrame
    previous: pd.DataFrame
    line: str = ""


@dataclass(frozen=True, eq=False)
class Part:
    """The columns of one period in a grid of several."""

    period: str
    frame: pd.DataFrame
    columns: Sequence[str]


@dataclass(frozen=True, eq=False, kw_only=True)
class FigureInfo:
    """What every figure holds: its finding, its words for who cannot see it, and its numbers.

    `line` says why there is nothing to draw; it is empty where there is something.
    """

    title: str
    alternative: str = ""
    grids: tuple[Grid, ...] = field(default=())
    note: str = ""
    line: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class RowsInfo(FigureInfo):
    """A figure of rows: their names, which rest on few jobs or cuts, and the unit of the axis."""

    names: tuple[str, ...] = ()
    few: tuple[bool, ...] = ()
    unit: str = ""
    separators: str = ".,"


def slices_of(review: Review, name: str) -> Slices:
    """A result over the quarter, the trailing year and the quarter before."""
    table = RESULT_TABLES[name]
    found = review.results.get(name)
    line = found.line if isinstance(found, Unavailable) else ""
    quarter = _edge(review.results, table, review)
    if not line and quarter.empty:
        line = f"There is nothing to show for {review.quarter.label}."
    return Slices(
        table=table,
        quarter=quarter,
        year=_edge(review.year, table, review),
        previous=_edge(review.previous, table, review),
        line=line,
    )


def _edge(
    results: Mapping[str, pd.DataFrame | Unavailable], table: Table, review: Review
) -> pd.DataFrame:
    found = results.get(table.name)
    if not isinstance(found, pd.DataFrame):
        return pd.DataFrame(columns=table.names)
    return to_edge(found, table, review.settings).reset_index(drop=True)


def year_name(review: Review) -> str:
    """The trailing year in words."""
    return f"Twelve months to {Numbers(review.settings).day(review.quarter.last_day)}"


def labels_of(frame: pd.DataFrame, table: Table) -> list[str]:
    """The name of each row: its keys, with a word for a missing one."""
    keys = [each.name for each in table.columns if each.key]
    texts = [[label(value) for value in frame[key]] for key in keys]
    return [_joined(parts) for parts in zip(*texts, strict=True)]


def _joined(parts: tuple[str, ...]) -> str:
    given = [each for each in parts if each != NOT_GIVEN]
    return " ".join(given) if given else NOT_GIVEN


def number(frame: pd.DataFrame, column: str) -> pd.Series:
    """A column as plain numbers, missing ones NaN."""
    return pd.to_numeric(frame[column], errors="coerce").astype("float64")


def few(frame: pd.DataFrame) -> pd.Series:
    """Whether each row rests on few jobs or cuts; a table without the mark has none."""
    if "enough" not in frame:
        return pd.Series(False, index=frame.index)
    return ~frame["enough"].astype("boolean").fillna(True).astype(bool)


def side_by_side(
    review: Review,
    table: Table,
    parts: Sequence[Part],
    *,
    caption: str,
    order: pd.DataFrame,
    note: str = "",
) -> Grid:
    """The periods of one table beside each other, a row a key.

    `parts` are the periods, left to right; one without rows is left out. `order` has the keys in
    the order of the rows; keys that it lacks follow. Pandas raises `MergeError` where a key stands
    twice in one period.
    """
    parts = [part for part in parts if len(part.frame)]
    keys = [each.name for each in table.columns if each.key]
    frames = [order[keys], *(part.frame[keys] for part in parts)]
    rows = pd.concat([each for each in frames if len(each)] or frames[:1], ignore_index=True)
    rows = rows.drop_duplicates(ignore_index=True)
    say = Numbers(review.settings)
    blocks = [_names(rows, table, keys, say)]
    blocks += [_block(rows, keys, part, table, say) for part in parts]
    headings = [_heading(table.column(key), table, say) for key in keys]
    headings += [_heading(table.column(n), table, say) for part in parts for n in part.columns]
    bands = (Band("", len(keys)), *(Band(part.period, len(part.columns)) for part in parts))
    cells = [
        tuple(cell for block in blocks for cell in block[position]) for position in range(len(rows))
    ]
    return Grid(caption, len(keys), bands, tuple(headings), tuple(cells), note)


def plain_grid(
    review: Review,
    table: Table,
    frame: pd.DataFrame,
    columns: Sequence[str],
    *,
    caption: str,
    names: int = 1,
    note: str = "",
) -> Grid:
    """Columns of one frame as they are, without periods."""
    say = Numbers(review.settings)
    block = _cells(frame, [table.column(name) for name in columns], say)
    headings = tuple(_heading(table.column(name), table, say) for name in columns)
    return Grid(caption, names, (), headings, tuple(block), note)


def _heading(column: Column, table: Table, say: Numbers) -> Heading:
    is_number = column.kind in _NUMBER_KINDS
    return Heading(heading(column, table.name), say.unit(column), column.sentence, is_number)


def _names(
    rows: pd.DataFrame, table: Table, keys: list[str], say: Numbers
) -> list[tuple[Cell, ...]]:
    columns = [table.column(key) for key in keys]
    texts = [say.column(rows[c.name], c) for c in columns]
    named = [[NOT_GIVEN if text == MISSING else text for text in each] for each in texts]
    return [tuple(Cell(text) for text in row) for row in zip(*named, strict=True)]


def _block(
    rows: pd.DataFrame, keys: list[str], part: Part, table: Table, say: Numbers
) -> list[tuple[Cell, ...]]:
    """The cells of one period; a key without a row in it has empty ones."""
    found = rows.merge(part.frame, on=keys, how="left", validate="one_to_one", indicator="_found")
    cells = _cells(found, [table.column(name) for name in part.columns], say)
    absent = (ABSENT,) * len(part.columns)
    here = (found["_found"] == "both").tolist()
    return [row if is_here else absent for row, is_here in zip(cells, here, strict=True)]


def _cells(frame: pd.DataFrame, columns: Sequence[Column], say: Numbers) -> list[tuple[Cell, ...]]:
    texts = [say.column(frame[column.name], column) for column in columns]
    names = [column.name for column in columns]
    counting = [each for each in names if each in _COUNTS] or [_QUOTES]
    counts = [each in counting for each in names]
    return [
        tuple(
            Cell(text, is_few=thin, says_few=thin and counts_here)
            for text, counts_here in zip(row, counts, strict=True)
        )
        for row, thin in zip(zip(*texts, strict=True), few(frame).tolist(), strict=True)
    ]
