"""What a column and a table are: one definition for reading, checking, template and report.

The record tables stand in `record_tables`, the result tables in `result_tables`; both are made of
the two classes here. Nothing else in the package states a column's kind, unit or words.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum


class Kind(StrEnum):
    """What a cell holds; decides how it is read, stored inside, and written."""

    TEXT = "text"
    NAMES = "names"
    CHOICE = "choice"
    YES_NO = "yes or no"
    DATE = "date"
    MONTH = "month"
    TIME = "time of day"
    HOURS = "hours"
    MINUTES = "minutes"
    LENGTH = "length"
    AREA = "area"
    MONEY = "money"
    NUMBER = "number"
    WHOLE = "whole number"
    # Result tables only:
    PERCENT = "percent"
    PROBABILITY = "probability"
    MONEY_PER_AREA = "money per area"
    MONEY_PER_HOUR = "money per hour"
    MONEY_PER_LENGTH = "money per length"


# Inside, a measure carries its unit in its name; at the edge the shop's unit applies. A percentage
# is a share inside.
_INSIDE_SUFFIX = {
    Kind.LENGTH: ("", "_m"),
    Kind.AREA: ("", "_m2"),
    Kind.PERCENT: ("_pct", "_share"),
    Kind.MONEY_PER_AREA: ("_per_area", "_per_m2"),
    Kind.MONEY_PER_LENGTH: ("_per_length", "_per_m"),
}


@dataclass(frozen=True)
class Column:
    """One column.

    `minimum` is the least value that is read (None: any); `words` the vocabulary of a choice, and
    `kept_as` the word that an unknown one is kept as (None: the row is rejected). `default` says
    in words what a blank means. `sums` marks a result that adds over rows.
    """

    name: str
    kind: Kind
    sentence: str
    required: bool = False
    key: bool = False
    words: tuple[str, ...] = ()
    kept_as: str | None = None
    minimum: float | None = None
    maximum: float | None = None
    default: str = ""
    example: str = ""
    sums: bool = False

    @property
    def inside(self) -> str:
        """The column's name in the frames inside: `pulled_length` is `pulled_length_m`."""
        edge, suffix = _INSIDE_SUFFIX.get(self.kind, ("", ""))
        return self.name.removesuffix(edge) + suffix if suffix else self.name


@dataclass(frozen=True)
class Table:
    """One table: its columns in order, and what a row of it is."""

    name: str
    title: str
    sentence: str
    columns: tuple[Column, ...]
    required: bool = False
    level: int = 3

    def __post_init__(self) -> None:
        names = [column.name for column in self.columns]
        if len(names) != len(set(names)):
            raise ValueError(f"table {self.name} names a column twice")

    @property
    def names(self) -> list[str]:
        """The names of the columns at the edge, in order."""
        return [column.name for column in self.columns]

    @property
    def inside_names(self) -> list[str]:
        """The names of the columns inside, in order."""
        return [column.inside for column in self.columns]

    @property
    def keys(self) -> list[str]:
        """The names (inside) of the key columns."""
        return [column.inside for column in self.columns if column.key]

    def column(self, name: str) -> Column:
        """The column of that name at the edge; `KeyError` names the table."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(f"{self.name} has no column {name}")


def by_name(tables: Sequence[Table]) -> dict[str, Table]:
    """Tables under their names, in order."""
    return {table.name: table for table in tables}
