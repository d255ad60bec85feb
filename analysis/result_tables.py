"""Every result table and every column of it: the interface to whoever reads `tables/*.csv`.

Names are those at the edge, in the shop's units; `Column.inside` gives the name that the frames
carry before they are written. A sentence here is the definition that glossary, workbook and page
print.
"""

from typing import Final

from analysis.schema import Column, Kind, Table, by_name


def _money(name: str, sentence: str, *, sums: bool = True) -> Column:
    return Column(name, Kind.MONEY, sentence, sums=sums)


def _hours(name: str, sentence: str) -> Column:
    return Column(name, Kind.HOURS, sentence, sums=True)


def _area(name: str, sentence: str) -> Column:
    return Column(name, Kind.AREA, sentence, sums=True)


def _count(name: str, sentence: str) -> Column:
    return Column(name, Kind.WHOLE, sentence, sums=True)


def _percent(name: str, sentence: str) -> Column:
    return Column(name, Kind.PERCENT, sentence)


def _key(name: str, sentence: str, kind: Kind = Kind.TEXT) -> Column:
    return Column(name, kind, sentence, key=True)


_SERVICE = _key("service", "Service.")
_CLASS = _key("vehicle_class", "Size class of the vehicle.")
_FILM = _key("film", "Code of the film.")
_JOBS = _count("jobs", "First-time job lines finished in the period.")
_QUOTED = _hours("quoted_hours", "Person hours quoted.")
_ACTUAL = _hours("actual_hours", "Person hours worked, rework included.")
_REWORK = _hours("rework_hours", "The part of the actual hours logged as rework.")
_OVERRUN = _percent("overrun_pct", "Sum of actual hours ÷ sum of quoted hours, less one.")
_OVERRUN_COST = _money(
    "overrun_cost", "(Actual hours − quoted hours) × the group's labour cost an hour."
)
_REDO_HOURS = _hours(
    "redo_hours",
    "Hours of redo jobs finished in the period, under the service and model of the first job.",
)
_ENOUGH = Column(
    "enough", Kind.YES_NO, "Whether the count reaches pricing.fewest_jobs; greyed where not."
)
_FEE = _money("payment_fee", "Card fee: percent on what was paid, fixed part once a job.")
_REVENUE = _money("net_revenue", "Price invoiced, net of tax, less the payment fee.")
_FILM_COST = _money("film_cost", "Film consumed, at the landed cost of the film used.")
_CONSUMABLES = _money("consumables_cost", "Consumables an hour worked × actual hours.")
_LABOUR = _money("labour_cost", "Hours × loaded rate of the person on that day.")
_OVERHEAD = _money("overhead_cost", "Overhead rate at practical capacity × actual hours.")
_MATERIAL_MARGIN = _money("material_margin", "Net revenue − film − consumables.")
_CONTRIBUTION = _money("contribution", "Material margin − labour.")

JOB_COSTS = Table(
    "job_costs",
    "Every finished job line",
    "One row a finished job line up to the quarter's end: its hours, film and money.",
    (
        _key("job_id", "The shop's number of the job."),
        _key("line", "Line of the job.", Kind.WHOLE),
        Column("finished_on", Kind.DATE, "Day the job was finished."),
        Column("quarter", Kind.TEXT, "Fiscal quarter of that day."),
        Column("service", Kind.TEXT, "Service."),
        Column("vehicle_class", Kind.TEXT, "Size class of the vehicle."),
        Column("make", Kind.TEXT, "Make."),
        Column("model", Kind.TEXT, "Model."),
        Column("film", Kind.TEXT, "Film of the job sheet, else the one most used."),
        _QUOTED,
        _ACTUAL,
        _hours(
            "bay_hours",
            "For each day the longest time any one person logged on the job, summed over days.",
        ),
        _area("consumed_area", "Film pulled less the offcut kept."),
        _area("finished_area", "Film that stayed on the vehicle."),
        _area("waste_area", "Consumed − finished."),
        _money("quoted_price", "Price quoted, as written."),
        _REVENUE,
        _FILM_COST,
        _CONSUMABLES,
        _LABOUR,
        _OVERHEAD,
        _MATERIAL_MARGIN,
        _CONTRIBUTION,
        _money("full_margin", "Contribution − overhead."),
        _REWORK,
        _FEE,
        Column("redo_of", Kind.TEXT, "The job that this one does over."),
    ),
)


def _hours_table(by: str, title: str, keys: tuple[Column, ...], *more: Column) -> Table:
    return Table(
        f"hours_by_{by}",
        title,
        f"Actual against quoted hours by {by}, first-time jobs finished in the period.",
        (*keys, _JOBS, _QUOTED, _ACTUAL, _OVERRUN, *more, _ENOUGH),
    )


_HOURS_MORE = (_OVERRUN_COST, _REWORK, _REDO_HOURS)
HOURS_BY_SERVICE = _hours_table("service", "Hours by service", (_SERVICE,), *_HOURS_MORE)
HOURS_BY_CLASS = _hours_table("class", "Hours by vehicle class", (_CLASS,), *_HOURS_MORE)
HOURS_BY_MODEL = _hours_table(
    "model",
    "Hours by vehicle model",
    (_key("make", "Make."), _key("model", "Model.")),
    *_HOURS_MORE,
)
HOURS_BY_INSTALLER = _hours_table(
    "installer",
    "Hours by installer",
    (_key("installer", "Who. Quoted hours are the line's × the share of its actual hours."),),
    _OVERRUN_COST,
    _REWORK,
)
HOURS_BY_TASK = _hours_table(
    "task",
    "Hours by task",
    (_key("task", "Part of the work; a quote has no tasks, so quoted hours are blank."),),
)


def _waste_table(by: str, title: str, key: Column, which: str) -> Table:
    return Table(
        f"waste_by_{by}",
        title,
        f"Where the film cut in the period went, {which}.",
        (
            key,
            _count("cuts", "Pulls of film."),
            _area("consumed_area", "Film pulled less the offcut kept."),
            _area("finished_area", "Film that stayed on the vehicle or was sold."),
            _area("side_loss_area", "What the roll's width or the pull's length leaves over."),
            _area("handling_margin_area", "Allowance that is held by hand and trimmed off."),
            _area("opening_area", "Film laid over a hole and cut out."),
            _area("recut_area", "Film of pieces cut a second time."),
            _area("damage_area", "Film lost to damage."),
            _area("test_area", "Film used for tests."),
            _area("end_of_roll_area", "Rest of a roll that was too short to use."),
            _area("waste_area", "Consumed − finished."),
            _percent("waste_pct", "Waste ÷ consumed."),
            _money("waste_cost", "Each cut's cost × its waste ÷ its consumed area."),
            _area(
                "side_and_handling_area",
                "Side loss and handling margin together, where some pieces were not measured.",
            ),
            _count("cuts_unmeasured", "Pulls without finished sizes: counted, in no area here."),
            _ENOUGH,
        ),
    )


WASTE_BY_CLASS = _waste_table("class", "Film by vehicle class", _CLASS, "cuts of jobs")
WASTE_BY_SERVICE = _waste_table("service", "Film by service", _SERVICE, "cuts of jobs")
WASTE_BY_FILM = _waste_table("film", "Film by film", _FILM, "all cuts, counter and shop included")
WASTE_BY_PANEL = _waste_table(
    "panel", "Film by panel", _key("panel", "What the cut covers."), "cuts of jobs"
)

_FLOWS: Final = (
    ("opening", "on the shelf at the period's start"),
    ("purchased", "bought, net of film sent back and credits"),
    ("jobs", "consumed by jobs"),
    ("counter_sales", "consumed by counter sales"),
    ("shop", "used by the shop, offcuts written off included"),
    ("unexplained", "missing at the counts (surplus is negative)"),
    ("closing", "on the shelf at the period's end"),
)
FILM_RECONCILIATION = Table(
    "film_reconciliation",
    "Film: what came in and where it went",
    "opening + purchased = jobs + counter sales + shop + unexplained + closing, for every film.",
    (
        _FILM,
        *(_area(f"{name}_area", f"Film {what}.") for name, what in _FLOWS),
        *(_money(f"{name}_cost", f"Cost of film {what}.") for name, what in _FLOWS),
    ),
)

FILM_PRICES = Table(
    "film_prices",
    "What film costs, purchase by purchase",
    "A row a purchase line of film up to the quarter's end, after freight, discount and credits.",
    (
        _FILM,
        _key("supplier", "Who sold it."),
        _key("received_on", "Day it came.", Kind.DATE),
        Column("landed_cost_per_area", Kind.MONEY_PER_AREA, "Landed cost ÷ area bought."),
        _percent("change_pct", "Against the same film's last purchase from the same supplier."),
        Column("invoice", Kind.TEXT, "Number of the invoice."),
        _area("purchased_area", "Area of the line."),
        _money("landed_cost", "Price − discount + share of freight − credits."),
    ),
)


def _margin_table(by: str, title: str, key: Column) -> Table:
    return Table(
        f"margin_by_{by}",
        title,
        f"The job statement by {by}: job lines finished in the period.",
        (
            key,
            _JOBS,
            _REVENUE,
            _FILM_COST,
            _CONSUMABLES,
            _LABOUR,
            _OVERHEAD,
            _money(
                "redo_cost",
                "Film, consumables, labour, overhead and fee of redo jobs, less what was invoiced.",
            ),
            _MATERIAL_MARGIN,
            _CONTRIBUTION,
            _money("full_margin", "Contribution − overhead − redo cost."),
            _percent("full_margin_pct", "Full margin ÷ net revenue."),
            Column(
                "material_margin_per_bay_hour",
                Kind.MONEY_PER_HOUR,
                "Material margin ÷ bay hours: ranks services when the bays are full.",
            ),
            _hours("actual_hours", "Person hours worked on these job lines."),
            _hours("bay_hours", "Hours that a bay was held."),
            _percent("contribution_pct", "Contribution ÷ net revenue."),
            _ENOUGH,
        ),
    )


MARGIN_BY_SERVICE = _margin_table("service", "Margin by service", _SERVICE)
MARGIN_BY_CLASS = _margin_table("class", "Margin by vehicle class", _CLASS)
MARGIN_BY_FILM = _margin_table("film", "Margin by film", _FILM)

REDO = Table(
    "redo",
    "Work done over",
    "First-time jobs of the twelve months to the quarter's end, and those done over to date.",
    (
        _key("by", "What the row groups by: service, model or film."),
        _key("key", "The service, model or film."),
        _count("jobs", "First-time job lines finished in the twelve months."),
        _count("redos", "Those of them that have a redo to date."),
        _percent("redo_pct", "Redos ÷ jobs."),
        _percent("low_pct", "Lower end of the 90 % Wilson interval."),
        _percent("high_pct", "Upper end of the 90 % Wilson interval."),
        _money("redo_cost", "Cost of the redos finished in the twelve months."),
        _ENOUGH,
    ),
)

SHOP_RESULT = Table(
    "shop_result",
    "The quarter's statement",
    "From net revenue to the shop's result. Costs are positive amounts and are subtracted.",
    (
        _key("line", "Line of the statement."),
        Column("amount", Kind.NUMBER, "Money; the last line is in percent."),
        Column("note", Kind.TEXT, "How the line is made."),
    ),
)

# Tables that exist for the quarter alone; the others also come for the trailing year.
QUARTER_ONLY: Final = frozenset({"job_costs", "film_prices", "redo"})

RESULT_TABLES: Final = by_name(
    [
        SHOP_RESULT,
        MARGIN_BY_SERVICE,
        MARGIN_BY_CLASS,
        MARGIN_BY_FILM,
        HOURS_BY_SERVICE,
        HOURS_BY_CLASS,
        HOURS_BY_MODEL,
        HOURS_BY_INSTALLER,
        HOURS_BY_TASK,
        WASTE_BY_CLASS,
        WASTE_BY_SERVICE,
        WASTE_BY_FILM,
        WASTE_BY_PANEL,
        FILM_RECONCILIATION,
        FILM_PRICES,
        REDO,
        JOB_COSTS,
    ]
)
