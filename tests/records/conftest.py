"""A small shop whose records have nothing wrong with them, to be spoilt in one place at a time."""

# ruff: noqa: E501  (the rows of a table stand on one line each)
import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from analysis.records.model import Records
from analysis.records.read import read_records

SETTINGS = """\
currency = "USD"
length_unit = "in"
area_unit = "sq ft"
"""

# Each table as CSV text; a row's number in the file is its place below the header plus one.
TABLES = {
    "jobs": """\
job_id,line,status,quoted_on,started_on,finished_on,service,make,model,model_year,vehicle_class,film,quoted_hours,quoted_film_area,quoted_price,invoiced_price,payment,redo_of,crew,hours,pulled_length,roll_width,finished_area
J1,1,finished,2026-07-01,2026-07-06,2026-07-06,roof,Harrow,Pike,2023,compact car,GB-60,3,28.5,420,420,card,,,,,,
J2,1,finished,2026-07-02,2026-07-07,2026-07-08,roof,Harrow,Pike,2022,compact car,GB-60,3,28.5,420,420,cash,,,,,,
J2,2,finished,2026-07-02,2026-07-07,2026-07-08,hood,Harrow,Pike,2022,compact car,MB-40,2,16,260,260,cash,,,,,,
J3,1,finished,2026-07-15,2026-07-20,2026-07-20,roof,Harrow,Pike,2023,compact car,GB-60,0,,0,0,,J1,,,,,
J4,1,cancelled,2026-07-03,,,roof,Bramble,Otter,2021,minivan,GB-60,4,30,480,,,,,,,,
J5,1,finished,2026-07-04,2026-07-09,2026-07-09,roof,Bramble,Otter,2021,minivan,GB-60,4,30,480,480,card,,Ines; Tomas,4.5,70 in,60 in,22
J6,1,open,2026-07-25,2026-07-28,,hood,Bramble,Otter,2024,minivan,MB-40,2,16,260,,,,,,,,
""",
    "hours": """\
job_id,line,worked_on,installer,task,hours,started_at,stopped_at,overtime
J1,1,2026-07-06,Ines,prep,1.5,,,no
J1,1,2026-07-06,Tomas,laying,,09:00,10:30,no
J2,1,2026-07-07,Ines,laying,3:15,,,
J2,2,2026-07-08,Ines,laying,105 min,,,
J2,,2026-07-08,Tomas,reassembly,1,,,yes
J3,1,2026-07-20,Ines,laying,2h45,,,
J6,1,2026-07-28,Tomas,prep,1,,,
""",
    "purchases": """\
invoice,received_on,supplier,item,kind,roll_width,roll_length,quantity,unit_price,discount,roll_id
INV-1,2026-06-20,Marlow Supply,GB-60,film,60 in,25 yd,2,600,0,
INV-1,2026-06-20,Marlow Supply,squeegee,consumable,,,4,12,,
INV-1,2026-06-20,Marlow Supply,freight,freight,,,1,40,,
INV-2,2026-06-22,Tarn Films,MB-40,film,48 in,25 yd,1,450,15,R-1
INV-2,2026-06-25,Tarn Films,MB-40,credit,,,1,20,,R-1
""",
    "cuts": """\
cut_id,cut_on,job_id,line,sale_id,film,roll_id,source,panel,pulled_length,pulled_width,pieces,piece_length,piece_width,finished_length,finished_width,opening_area,kept_width,kept_length,reason
C1,2026-07-06,J1,1,,GB-60,,roll,roof,68,60,1,68,48,62,45,,12,68,first
C2,2026-07-07,J2,1,,GB-60,,roll,roof,68,60,1,68,48,62,45,2,,,first
C3,2026-07-08,J2,2,,MB-40,R-1,roll,hood,50,,1,50,44,46,40,,,,first
C4,2026-07-20,J3,,,GB-60,,roll,roof,68,60,,,,62,45,,,,
C5,2026-07-18,,,S1,GB-60,,roll,,72,60,,,,,,,,,
C6,2026-07-21,,,,MB-40,R-1,roll,,12,48,,,,,,,,,test
""",
    "stock_counts": """\
counted_on,film,length_on_hand,roll_width,area_on_hand
2026-07-31,GB-60,30 yd,60,
2026-07-31,MB-40,,,260
""",
    "quotes": """\
quote_id,quoted_on,service,make,model,model_year,vehicle_class,quoted_hours,quoted_price,list_price,outcome,job_id,lost_reason
Q1,2026-07-01,roof,Harrow,Pike,2023,compact car,3,420,440,won,J1,
Q2,2026-07-02,roof,Harrow,Pike,2022,compact car,5,680,700,won,J2,
Q3,2026-07-04,roof,Bramble,Otter,2021,minivan,4,480,480,won,J5,
Q4,2026-07-05,hood,Harrow,Pike,2020,compact car,2,260,260,lost,,too dear
Q5,2026-07-25,hood,Bramble,Otter,2024,minivan,2,260,260,open,,
""",
    "counter_sales": """\
sale_id,sold_on,film,length,width,price,minutes,extras_price,extras_cost,make,model,service,would_book,later_job_id,payment
S1,2026-07-18,GB-60,6 ft,60 in,96,20,18,9,Harrow,Pike,roof,no,,card
S2,2026-07-19,MB-40,4 ft,48 in,60,15,,,,,hood,unsure,J6,cash
""",
    "price_list": """\
service,vehicle_class,list_price,list_hours,effective_from
roof,compact car,440,3,2026-01-01
roof,,480,4,2026-01-01
hood,,260,2,2026-01-01
roof,compact car,460,3,2026-08-03
""",
    "vehicles": """\
make,model,year_from,year_to,vehicle_class
Harrow,Pike,2020,,compact car
Bramble,Otter,,,minivan
""",
    "panels": """\
vehicle_class,make,model,service,panel,finished_length,finished_width,opening_area,pieces
compact car,,,roof,roof,62,45,,1
,Bramble,Otter,hood,hood,46,40,,
""",
    "rates": """\
installer,effective_from,wage
Ines,2026-01-01,24.50
Ines,2026-07-01,25.50
Tomas,2026-01-01,22
""",
    "overheads": """\
month,category,amount
2026-06,rent,2400
2026-07,rent,2400
2026-07,power,-35.5
""",
    "capacity": """\
month,installer_hours,bay_hours
2026-06,320,240
2026-07,320,240
""",
    "decisions": """\
decided_on,service,vehicle_class,old_price,suggested_price,new_price,effective_from,note
2026-07-30,roof,compact car,440,465,460,2026-08-03,"costs rose;
see the review"
""",
}

Finding = tuple[str, int, str, str]


class SmallShop:
    """The records of the small shop, to change and then to read."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.settings = SETTINGS
        self.tables: dict[str, list[list[str]]] = {
            name: list(csv.reader(text.splitlines(keepends=True))) for name, text in TABLES.items()
        }

    def set(self, table: str, row: int, **cells: str) -> "SmallShop":
        """Write cells of one row, by its number in the file."""
        for column, value in cells.items():
            self.tables[table][row - 1][self.tables[table][0].index(column)] = value
        return self

    def add(self, table: str, **cells: str) -> "SmallShop":
        """Add a row at the end."""
        header = self.tables[table][0]
        self.tables[table].append([cells.get(column, "") for column in header])
        assert set(cells) <= set(header)
        return self

    def copy(self, table: str, row: int, **cells: str) -> "SmallShop":
        """Add a copy of a row at the end, with some cells changed."""
        self.tables[table].append(list(self.tables[table][row - 1]))
        return self.set(table, len(self.tables[table]), **cells)

    def rename(self, table: str, column: str, label: str) -> "SmallShop":
        """Give a column another name."""
        header = self.tables[table][0]
        header[header.index(column)] = label
        return self

    def without(self, *tables: str) -> "SmallShop":
        """Leave out tables."""
        for table in tables:
            del self.tables[table]
        return self

    def write(self, delimiter: str = ",", encoding: str = "utf-8") -> Path:
        """Write the folder."""
        self.folder.mkdir(parents=True, exist_ok=True)
        (self.folder / "shop.toml").write_text(self.settings, encoding="utf-8")
        for name, rows in self.tables.items():
            path = self.folder / f"{name}.csv"
            with path.open("w", encoding=encoding, newline="") as file:
                csv.writer(file, delimiter=delimiter).writerows(rows)
        return self.folder

    def read(self) -> Records:
        """Write the folder and read it."""
        return read_records(self.write())


def told(records: Records) -> list[Finding]:
    """The findings as (table, row, column, rule)."""
    columns = records.findings[["table", "row", "column", "rule"]]
    return [tuple(each) for each in columns.itertuples(index=False)]


@pytest.fixture
def shop(tmp_path: Path) -> SmallShop:
    """The small shop, before it is written."""
    return SmallShop(tmp_path / "records")


@pytest.fixture
def findings() -> Callable[[Records], list[Finding]]:
    """The findings of records as (table, row, column, rule)."""
    return told
