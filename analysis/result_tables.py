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
_MAKE = _key("make", "Make.")
_MODEL = _key("model", "Model.")
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


_TO_DATE = Column(
    "jobs_to_date", Kind.WHOLE, "First-time job lines to date that the estimate rests on."
)
_HOURS_MORE = (_OVERRUN_COST, _REWORK, _REDO_HOURS)


def _pooled(what: str) -> tuple[Column, ...]:
    """Columns of a partially pooled overrun; `what` says of which job."""
    return (
        _percent(
            "pooled_overrun_pct",
            f"Expected overrun of the next job of {what}: partially pooled, all jobs to date.",
        ),
        _percent("low_pct", "Lower end of its 90 % interval."),
        _percent("high_pct", "Upper end of its 90 % interval."),
        Column(
            "probability_over_tolerance",
            Kind.PROBABILITY,
            "Probability that the expected overrun exceeds overrun.tolerance.",
        ),
        Column(
            "flagged",
            Kind.YES_NO,
            "Quote longer: in order of probability, while the expected share of false flags stays "
            "within overrun.error_rate.",
        ),
        _TO_DATE,
    )


HOURS_BY_SERVICE = _hours_table(
    "service",
    "Hours by service",
    (_SERVICE,),
    *_HOURS_MORE,
    *_pooled("the service, on the shop's usual vehicles"),
)
HOURS_BY_CLASS = _hours_table(
    "class",
    "Hours by vehicle class",
    (_CLASS,),
    *_HOURS_MORE,
    *_pooled("the class, apart from what its models do"),
)
HOURS_BY_MODEL = _hours_table(
    "model",
    "Hours by vehicle model",
    (_MAKE, _MODEL),
    *_HOURS_MORE,
    *_pooled("the model, on the services it comes for"),
)
HOURS_BY_INSTALLER = _hours_table(
    "installer",
    "Hours by installer",
    (_key("installer", "Who. Quoted hours are the line's × the share of its actual hours."),),
    _OVERRUN_COST,
    _REWORK,
    _percent(
        "against_average_pct",
        "Hours needed against the shop's average person on like jobs: partially pooled.",
    ),
    _percent("low_pct", "Lower end of its 90 % interval."),
    _percent("high_pct", "Upper end of its 90 % interval."),
    _TO_DATE,
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

HOURS_SPREAD = Table(
    "hours_spread",
    "What makes hours differ",
    "How far each part spreads the hours around the quote, from all jobs to date, by REML.",
    (
        _key(
            "part", "vehicle class, vehicle model, person, or job to job (what nothing explains)."
        ),
        _percent("spread_pct", "One standard deviation: so much more hours than usual."),
        _percent("low_pct", "Lower end of its 90 % interval."),
        _percent("high_pct", "Upper end of its 90 % interval."),
        _count("levels", "How many of them there are; for job to job, the job lines used."),
        Column("note", Kind.TEXT, "What the records were too few for; blank where all was told."),
    ),
)

JOBS_THAT_PULL = Table(
    "jobs_that_pull",
    "The jobs that pull hardest",
    "The job lines that move their model's pooled overrun most: look if their hours are right.",
    (
        _key("job_id", "The shop's number of the job."),
        _key("line", "Line of the job.", Kind.WHOLE),
        Column("finished_on", Kind.DATE, "Day the job was finished."),
        Column("service", Kind.TEXT, "Service."),
        Column("make", Kind.TEXT, "Make."),
        Column("model", Kind.TEXT, "Model."),
        _hours("quoted_hours", "Person hours quoted."),
        _hours("actual_hours", "Person hours worked."),
        _hours("expected_hours", "What the model of the hours expects of such a job."),
        _percent("pull_pct", "So far the model's pooled overrun moves with this job: % of hours."),
        Column(
            "held_back",
            Kind.YES_NO,
            "Further off than three standard deviations: counted as if it stood there.",
        ),
    ),
)

OVERRUN_BY_TASK = Table(
    "overrun_by_task",
    "Which task the overrun sits in",
    "Hours by task against the service's usual split, from all jobs to date with task times.",
    (
        _MAKE,
        _MODEL,
        _key("task", "Part of the work."),
        _count("jobs", "Job lines of the model with task times whose service others had too."),
        _hours("hours", "Hours of the task on them."),
        _hours("usual_hours", "Their quoted hours × what other models take of it a quoted hour."),
        _hours("over_hours", "Hours − usual hours."),
        _hours("low_hours", "Lower end of its 90 % interval."),
        _hours("high_hours", "Upper end of its 90 % interval."),
        _ENOUGH,
    ),
)

LEARNING_CURVES = Table(
    "learning_curves",
    "What repetition does",
    "Wright's learning curve by service and model: hours each time the jobs done double.",
    (
        _SERVICE,
        _MAKE,
        _MODEL,
        _JOBS,
        _percent(
            "learning_rate_pct",
            "Average hours after each doubling of the jobs done, in % of those before.",
        ),
        _percent("low_pct", "Lower end of its 90 % interval."),
        _percent("high_pct", "Upper end of its 90 % interval."),
        Column(
            "probability_shrinks",
            Kind.PROBABILITY,
            "Probability that hours shrink with repetition, by enough to matter.",
        ),
        Column("verdict", Kind.TEXT, "shrinks, grows, steady, or cannot tell."),
    ),
)

QUOTING_DRIFT = Table(
    "quoting_drift",
    "Whether quoting drifts",
    "Hours over the quote by quarter, like for like; the last row is the change a year.",
    (
        _key("period", "Fiscal quarter; 'change a year' in the last row."),
        _JOBS,
        _percent("overrun_pct", "Sum of actual hours ÷ sum of quoted hours, less one."),
        _percent(
            "like_for_like_pct",
            "Hours against what the same services, vehicles and people take over all quarters.",
        ),
        _percent("low_pct", "Lower end of its 90 % interval."),
        _percent("high_pct", "Upper end of its 90 % interval."),
    ),
)

NEXT_QUOTES = Table(
    "next_quotes",
    "Hours for the next quote",
    "For each service on each model done so far: the hours to quote next time.",
    (
        _SERVICE,
        _CLASS,
        _MAKE,
        _MODEL,
        _count("jobs", "Job lines of this service on this model to date."),
        _hours("usual_hours", "What the shop quotes: its list, else its own quotes to date."),
        _hours("expected_hours", "Mean of the next job's hours."),
        _hours("hours_to_quote", "The next job finishes inside them with quoting.confidence."),
        _hours("low_hours", "Nineteen of twenty such jobs take longer."),
        _hours("high_hours", "Nineteen of twenty such jobs take less."),
        _ENOUGH,
    ),
)

QUOTE_CALIBRATION = Table(
    "quote_calibration",
    "Whether the quotes hold as often as promised",
    "Every job quoted again from what was known before it, against four plain ways of quoting.",
    (
        _key("method", "this quote, service mean, model mean, last similar job, or shop's quote."),
        _count("jobs", "Job lines quoted again."),
        _percent("share_inside_pct", "Jobs that finished inside the hours quoted."),
        Column(
            "pinball_loss",
            Kind.NUMBER,
            "Mean loss in hours at quoting.confidence: hours short × confidence, or hours spare × "
            "(1 − confidence). Less is better.",
        ),
        _percent("inside_50_pct", "Jobs inside the hours promised for 50 % of jobs."),
        _percent("inside_70_pct", "Jobs inside the hours promised for 70 % of jobs."),
        _percent("inside_80_pct", "Jobs inside the hours promised for 80 % of jobs."),
        _percent("inside_90_pct", "Jobs inside the hours promised for 90 % of jobs."),
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
QUARTER_ONLY: Final = frozenset(
    {
        "job_costs",
        "film_prices",
        "redo",
        "hours_spread",
        "jobs_that_pull",
        "overrun_by_task",
        "learning_curves",
        "quoting_drift",
        "next_quotes",
        "quote_calibration",
    }
)

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
        OVERRUN_BY_TASK,
        HOURS_SPREAD,
        JOBS_THAT_PULL,
        LEARNING_CURVES,
        QUOTING_DRIFT,
        NEXT_QUOTES,
        QUOTE_CALIBRATION,
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
