"""Every table that a shop may keep, and every column of it: the interface to the shop's files."""

from typing import Final

from analysis.schema import Column, Kind, Table, by_name

# Vehicle size classes of 40 CFR 600.315-08, spelled in the singular.
VEHICLE_CLASSES: Final = (
    "two-seater",
    "minicompact car",
    "subcompact car",
    "compact car",
    "midsize car",
    "large car",
    "small station wagon",
    "midsize station wagon",
    "large station wagon",
    "small pickup",
    "standard pickup",
    "passenger van",
    "cargo van",
    "minivan",
    "small sport utility vehicle",
    "standard sport utility vehicle",
    "special purpose vehicle",
)
TASKS: Final = (
    "disassembly",
    "prep",
    "cutting",
    "laying",
    "trimming",
    "post-heat",
    "reassembly",
    "rework",
    "other",
)
REASONS: Final = ("first", "recut", "damage", "test", "end-of-roll")
PAYMENTS: Final = ("cash", "card", "transfer", "other")


def _text(name: str, sentence: str, example: str = "", **more: object) -> Column:
    return Column(name, Kind.TEXT, sentence, example=example, **more)  # type: ignore[arg-type]


def _money(name: str, sentence: str, example: str = "", **more: object) -> Column:
    minimum = more.pop("minimum", 0.0)
    return Column(
        name,
        Kind.MONEY,
        sentence,
        example=example,
        minimum=minimum,  # type: ignore[arg-type]
        **more,  # type: ignore[arg-type]
    )


def _date(name: str, sentence: str, example: str = "", **more: object) -> Column:
    return Column(name, Kind.DATE, sentence, example=example, **more)  # type: ignore[arg-type]


def _length(name: str, sentence: str, example: str = "", **more: object) -> Column:
    return Column(name, Kind.LENGTH, sentence, example=example, **more)  # type: ignore[arg-type]


def _area(name: str, sentence: str, example: str = "") -> Column:
    return Column(name, Kind.AREA, sentence, example=example, minimum=0.0)


def _hours(name: str, sentence: str, example: str = "", **more: object) -> Column:
    return Column(name, Kind.HOURS, sentence, example=example, minimum=0.0, **more)  # type: ignore[arg-type]


def _year(name: str, sentence: str, example: str = "") -> Column:
    return Column(name, Kind.WHOLE, sentence, example=example, minimum=1900, maximum=2100)


def _line(sentence: str, default: str) -> Column:
    return Column("line", Kind.WHOLE, sentence, minimum=1, default=default, example="1")


_SERVICE = _text("service", "What was done: roof, hood, tint, in the shop's own words.", "roof")
_CLASS = _text(
    "vehicle_class",
    "Size class of the vehicle.",
    "compact car",
    words=VEHICLE_CLASSES,
)


def _needed(column: Column, *, key: bool = False) -> Column:
    return Column(**{**column.__dict__, "required": True, "key": key})


JOBS = Table(
    "jobs",
    "Jobs",
    "One row a job line: one service on one vehicle.",
    (
        _text("job_id", "The shop's number of the job.", "J-1041", required=True, key=True),
        Column(
            "line",
            Kind.WHOLE,
            "Line of the job; a job with a roof and a hood has two.",
            key=True,
            minimum=1,
            default="1",
            example="1",
        ),
        Column(
            "status",
            Kind.CHOICE,
            "Where the job stands.",
            words=("open", "finished", "cancelled"),
            default="finished where finished_on is given, else open",
            example="finished",
        ),
        _date("quoted_on", "Day of the quote.", "2026-07-02"),
        _date("started_on", "Day the work began.", "2026-07-13"),
        _date("finished_on", "Day the work was done; wanted for a finished job.", "2026-07-13"),
        _needed(_SERVICE),
        _text("make", "Make of the vehicle.", "Harrow", required=True),
        _text("model", "Model of the vehicle.", "Pike", required=True),
        _year("model_year", "Model year.", "2023"),
        _CLASS,
        _text("film", "Code of the film that was sold.", "GB-60"),
        _hours("quoted_hours", "Person hours that the quote counts on.", "3.5", required=True),
        _area("quoted_film_area", "Film that the quote counts on.", "28.5"),
        _money("quoted_price", "Price quoted, net of discount.", "420", required=True),
        _money("invoiced_price", "Price invoiced.", "420", default="the quoted price"),
        Column(
            "payment",
            Kind.CHOICE,
            "How it was paid; decides the fee.",
            words=PAYMENTS,
            kept_as="other",
            default="no fee",
            example="card",
        ),
        _text("redo_of", "The job_id whose work this job does over.", ""),
        Column(
            "crew",
            Kind.NAMES,
            "Who worked on it, names with ; between, where no time is logged.",
            example="Ines; Tomas",
        ),
        _hours("hours", "Person hours in total, where no time is logged.", "3.25"),
        _length("pulled_length", "Length pulled from the roll, where no cut is logged.", "68 in"),
        _length("roll_width", "Width of that roll.", "60 in"),
        _area("finished_area", "Film that stayed on the vehicle, where no cut is logged.", "19.4"),
    ),
    required=True,
    level=1,
)

HOURS = Table(
    "hours",
    "Hours",
    "One row a time entry: one person, one day, one job, one task.",
    (
        _text("job_id", "The job worked on.", "J-1041", required=True),
        _line("Line of the job.", "shared over the job's lines by quoted hours"),
        _date("worked_on", "Day of the work.", "2026-07-13", required=True),
        _text("installer", "Who worked.", "Ines", required=True),
        Column(
            "task",
            Kind.CHOICE,
            "What was done. rework is time spent doing one's own work over.",
            words=TASKS,
            kept_as="other",
            example="laying",
        ),
        _hours(
            "hours", "Hours in this entry; or give started_at and stopped_at.", "1.5", maximum=24
        ),
        Column("started_at", Kind.TIME, "Start, 24-hour clock.", example="09:15"),
        Column(
            "stopped_at",
            Kind.TIME,
            "Stop on the same day; past midnight is a second row.",
            example="10:45",
        ),
        Column(
            "overtime",
            Kind.YES_NO,
            "Whether these hours are paid as overtime.",
            default="no",
            example="no",
        ),
    ),
    level=2,
)

PURCHASES = Table(
    "purchases",
    "Purchases",
    "One row an invoice line: film, consumables, freight, or a credit.",
    (
        _text("invoice", "Number of the invoice.", "INV-7731", required=True),
        _date("received_on", "Day the goods (or the credit) came.", "2026-07-01", required=True),
        _text("supplier", "Who sold it.", "Marlow Supply", required=True),
        _text(
            "item",
            "Film code, or name of the consumable; for a credit, what it credits.",
            "GB-60",
            required=True,
        ),
        Column(
            "kind",
            Kind.CHOICE,
            "What the line is. Freight is spread over the invoice's other "
            "lines by value; a credit lowers the cost of its item.",
            required=True,
            words=("film", "consumable", "freight", "credit"),
            example="film",
        ),
        _length("roll_width", "Width of the roll; wanted for film.", "60 in"),
        _length("roll_length", "Length of one roll; wanted for film.", "25 yd"),
        Column(
            "quantity",
            Kind.NUMBER,
            "How many rolls or pieces; negative film is film sent back.",
            required=True,
            example="1",
        ),
        _money("unit_price", "Price of one, net of tax.", "612.50", required=True),
        _money("discount", "Discount in money for the whole line.", "0", default="0"),
        _text("roll_id", "Tag on the roll, if the shop tags its rolls.", "R-218"),
    ),
    required=True,
    level=1,
)

CUTS = Table(
    "cuts",
    "Cuts",
    "One row a pull of film: for a job, a counter sale, or the shop itself.",
    (
        _text("cut_id", "Number of the cut.", "C-3120", required=True, key=True),
        _date("cut_on", "Day of the cut.", "2026-07-13", required=True),
        _text("job_id", "The job it is for.", "J-1041"),
        _line("Line of the job.", "the job's line of that film, else its first"),
        _text("sale_id", "The counter sale it is for; neither job nor sale is shop use.", ""),
        _text("film", "Film code.", "GB-60", required=True),
        _text("roll_id", "Tag of the roll it came from.", "R-218"),
        Column(
            "source",
            Kind.CHOICE,
            "Whether it came off a roll or is a kept offcut.",
            words=("roll", "offcut"),
            default="roll",
            example="roll",
        ),
        _text("panel", "What it covers.", "roof"),
        _length("pulled_length", "Length pulled.", "68 in", required=True),
        _length("pulled_width", "Width pulled.", "60 in", default="the roll's width"),
        Column(
            "pieces", Kind.WHOLE, "Equal pieces in this pull.", minimum=1, default="1", example="1"
        ),
        _length("piece_length", "Length of a piece as cut.", "68 in"),
        _length("piece_width", "Width of a piece as cut.", "48 in"),
        _length("finished_length", "Length of a piece as it stayed on the vehicle.", "62 in"),
        _length("finished_width", "Width of a piece as it stayed on the vehicle.", "45 in"),
        _area("opening_area", "Sunroof and the like inside the pieces, for the whole cut.", ""),
        _length("kept_width", "Width of the offcut put back on the shelf.", "12 in"),
        _length("kept_length", "Length of the offcut put back on the shelf.", "68 in"),
        Column(
            "reason",
            Kind.CHOICE,
            "Why it was cut. Anything but first is film lost.",
            words=REASONS,
            default="first",
            example="first",
        ),
    ),
    level=2,
)

STOCK_COUNTS = Table(
    "stock_counts",
    "Stock counts",
    "One row a film (or a roll) counted; rolls and offcuts together.",
    (
        _date(
            "counted_on", "Day of the count, after that day's cuts.", "2026-09-30", required=True
        ),
        _text("film", "Film code.", "GB-60", required=True),
        Column(
            "length_on_hand",
            Kind.LENGTH,
            "Length on hand; or give area_on_hand.",
            minimum=0.0,
            example="41 yd",
        ),
        _length("roll_width", "Width of what was counted; wanted with a length.", "60 in"),
        _area("area_on_hand", "Area on hand.", ""),
    ),
)

QUOTES = Table(
    "quotes",
    "Quotes",
    "One row a quote, won or lost.",
    (
        _text("quote_id", "Number of the quote.", "Q-2201", required=True, key=True),
        _date("quoted_on", "Day of the quote.", "2026-07-02", required=True),
        _needed(_SERVICE),
        _text("make", "Make of the vehicle.", "Harrow"),
        _text("model", "Model of the vehicle.", "Pike"),
        _year("model_year", "Model year.", "2023"),
        _CLASS,
        _hours("quoted_hours", "Person hours quoted.", "3.5"),
        _money("quoted_price", "Price quoted.", "420", required=True),
        _money("list_price", "List price that day.", "440"),
        Column(
            "outcome",
            Kind.CHOICE,
            "What came of it.",
            required=True,
            words=("won", "lost", "open"),
            example="won",
        ),
        _text("job_id", "The job it became.", "J-1041"),
        _text("lost_reason", "Why it was lost, in the customer's words.", ""),
    ),
)

COUNTER_SALES = Table(
    "counter_sales",
    "Counter sales",
    "One row a piece of film sold to someone who fits it themselves.",
    (
        _text("sale_id", "Number of the sale.", "S-081", required=True, key=True),
        _date("sold_on", "Day of the sale.", "2026-07-18", required=True),
        _text("film", "Film code.", "GB-60", required=True),
        _length("length", "Length sold.", "6 ft", required=True),
        _length("width", "Width sold.", "60 in", required=True),
        _money("price", "Price of the film.", "96", required=True),
        Column("minutes", Kind.MINUTES, "Staff time to advise and cut.", minimum=0.0, example="20"),
        _money("extras_price", "Price of tools, cleaner and tape sold with it.", "18"),
        _money("extras_cost", "What those cost the shop.", "9"),
        _text("make", "Make of the vehicle.", "Harrow"),
        _text("model", "Model of the vehicle.", "Pike"),
        _text("service", "The install that it stands in for.", "roof"),
        Column(
            "would_book",
            Kind.CHOICE,
            "Would they have booked the install?",
            words=("yes", "no", "unsure"),
            example="unsure",
        ),
        _text("later_job_id", "An install booked afterwards.", ""),
        Column(
            "payment",
            Kind.CHOICE,
            "How it was paid; decides the fee.",
            words=PAYMENTS,
            kept_as="other",
            default="as if by card",
            example="card",
        ),
    ),
)

PRICE_LIST = Table(
    "price_list",
    "Price list",
    "One row a list price from a day on; a blank class holds for every class without its own.",
    (
        _needed(_SERVICE),
        _CLASS,
        _money("list_price", "List price.", "440", required=True),
        _hours("list_hours", "Person hours behind it.", "3.5"),
        _date("effective_from", "First day it holds.", "2026-01-01", required=True),
    ),
)

VEHICLES = Table(
    "vehicles",
    "Vehicles",
    "One row a model: its size class, in the shop's own words or the standard ones.",
    (
        _text("make", "Make.", "Harrow", required=True),
        _text("model", "Model.", "Pike", required=True),
        _year("year_from", "First model year; blank for any.", "2021"),
        _year("year_to", "Last model year; blank for any.", ""),
        _needed(_CLASS),
    ),
)

PANELS = Table(
    "panels",
    "Panels",
    "One row a panel of a service: its finished size on a class or a model.",
    (
        _CLASS,
        _text("make", "Make, with the model, instead of a class.", ""),
        _text("model", "Model.", ""),
        _needed(_SERVICE),
        _text("panel", "The panel.", "roof", required=True),
        _length("finished_length", "Finished length.", "62 in", required=True),
        _length("finished_width", "Finished width.", "45 in", required=True),
        _area("opening_area", "Opening inside it.", ""),
        Column("pieces", Kind.WHOLE, "Pieces of this size.", minimum=1, default="1", example="1"),
    ),
)

RATES = Table(
    "rates",
    "Wage rates",
    "One row a wage from a day on.",
    (
        _text("installer", "Who.", "Ines", required=True),
        _date("effective_from", "First day it holds.", "2026-01-01", required=True),
        _money("wage", "Wage an hour before on-costs.", "24.50", required=True),
    ),
)

OVERHEADS = Table(
    "overheads",
    "Overheads",
    "One row a month and category; a month given twice is added.",
    (
        Column("month", Kind.MONTH, "Month.", required=True, example="2026-07"),
        _text("category", "Rent, insurance, power, software.", "rent", required=True),
        _money(
            "amount",
            "Amount, net of tax; a refund is negative.",
            "2400",
            required=True,
            minimum=None,
        ),
    ),
)

CAPACITY = Table(
    "capacity",
    "Capacity",
    "One row a month: hours that can really be worked, not the calendar's.",
    (
        Column("month", Kind.MONTH, "Month.", required=True, example="2026-07"),
        Column(
            "installer_hours",
            Kind.HOURS,
            "Practical installer hours of the month.",
            required=True,
            minimum=0.0,
            example="520",
        ),
        Column(
            "bay_hours", Kind.HOURS, "Practical bay hours of the month.", minimum=0.0, example="360"
        ),
    ),
)

DECISIONS = Table(
    "decisions",
    "Decisions",
    "One row a price decision.",
    (
        _date("decided_on", "Day of the decision.", "2026-10-05", required=True),
        _needed(_SERVICE),
        _CLASS,
        _money("old_price", "Price before.", "440", required=True),
        _money("suggested_price", "Price that was suggested.", "465"),
        _money("new_price", "Price decided.", "460", required=True),
        _date("effective_from", "First day it holds.", "2026-10-12", required=True),
        _text("note", "Why.", ""),
        Column(
            "expected_win_pct",
            Kind.NUMBER,
            "Chance to win a quote that was expected: 62.5 for 62.5 %.",
            minimum=0,
            maximum=100,
            example="62.5",
        ),
        _hours("expected_hours", "Hours a job that were expected.", "2.8"),
        _money("expected_margin", "Contribution a job that was expected.", "190", minimum=None),
    ),
)

RECORD_TABLES: Final = by_name(
    [
        JOBS,
        HOURS,
        PURCHASES,
        CUTS,
        STOCK_COUNTS,
        QUOTES,
        COUNTER_SALES,
        PRICE_LIST,
        VEHICLES,
        PANELS,
        RATES,
        OVERHEADS,
        CAPACITY,
        DECISIONS,
    ]
)
