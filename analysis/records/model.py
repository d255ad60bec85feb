"""The checked records: one typed frame a table, and what the check has to say."""

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

from analysis.record_tables import RECORD_TABLES
from analysis.settings import Settings

# Columns of the frame of record findings, and of record_findings.csv.
FINDING_COLUMNS = (
    "table",
    "file",
    "row",
    "column",
    "value",
    "rule",
    "severity",
    "problem",
    "remedy",
)
REJECTED, DOUBTFUL = "rejected", "doubtful"


@dataclass(frozen=True)
class Source:
    """A file that was read (`table` is '' for `shop.toml`); rows read = used + rejected."""

    table: str
    file: str
    sha256: str
    rows_read: int
    rows_used: int
    rows_rejected: int


@dataclass(frozen=True, eq=False)
class Records:
    """A shop's records, checked.

    `tables` holds a frame for every record table (an absent one is empty, with its columns). Its
    columns are the inside names of the schema, and `row`, the line in the file as a person sees it.
    Dates are datetime64, lengths metres, areas square metres, money plain numbers, hours decimal,
    text `str`, yes/no nullable booleans, whole numbers nullable integers. Defaults are filled in.

    `findings` has `FINDING_COLUMNS`; `rejected` maps a table to the text of the CSV file that holds
    its rejected rows in the shop's own columns; `present` names the tables that had a file.
    """

    tables: Mapping[str, pd.DataFrame]
    findings: pd.DataFrame
    rejected: Mapping[str, str]
    sources: tuple[Source, ...]
    present: frozenset[str]
    settings: Settings

    def __post_init__(self) -> None:
        missing = [name for name in RECORD_TABLES if name not in self.tables]
        if missing:
            raise ValueError(f"records without the tables {missing}")

    def __getitem__(self, table: str) -> pd.DataFrame:
        return self.tables[table]

    def has(self, *tables: str) -> bool:
        """Whether each of these tables holds at least one row."""
        return all(len(self.tables[table]) > 0 for table in tables)


def working_days(records: Records) -> pd.Series:
    """Every day on which work is dated: jobs finished, hours, cuts and counter sales."""
    days = [
        records["jobs"].loc[records["jobs"]["status"] == "finished", "finished_on"],
        records["hours"]["worked_on"],
        records["cuts"]["cut_on"],
        records["counter_sales"]["sold_on"],
    ]
    return pd.concat(days, ignore_index=True).dropna()


def newest_day(records: Records) -> pd.Timestamp:
    """The newest day of work or of a purchase: what to order is asked for today, not then."""
    bought = records["purchases"]["received_on"]
    return pd.Timestamp(pd.concat([working_days(records), bought], ignore_index=True).max())
