"""Every result table and every column of it: the interface to whoever reads `tables/*.csv`.

Names are those at the edge, in the shop's units; `Column.inside` gives the name that the frames
carry before they are written. A sentence here is the definition that glossary, workbook and page
print.
"""

from typing import Final

from analysis.counter_tables import COUNTER_QUARTER_ONLY, COUNTER_RESULT_TABLES
from analysis.film_tables import FILM_QUARTER_ONLY, FILM_RESULT_TABLES
from analysis.price_tables import PRICE_QUARTER_ONLY, PRICE_RESULT_TABLES, VARIANCES
from analysis.result_columns import (
    ACTUAL,
    CLASS,
    CONSUMABLES,
    CONTRIBUTION,
    ENOUGH,
    FEE,
    FILM,
    FILM_COST,
    JOBS,
    LABOUR,
    MAKE,
    MATERIAL_MARGIN,
    MODEL,
    OVERHEAD,
    OVERRUN,
    OVERRUN_COST,
    QUOTED,
    REDO_HOURS,
    REVENUE,
    REWORK,
    SERVICE,
    area,
    count,
    hours,
    key,
    money,
    percent,
)
from analysis.schema import Column, Kind, Table, by_name

JOB_COSTS = Table(
    "job_costs",
    "Every finished job line",
    "One row a finished job line up to the quarter's end: its hours, film and money.",
    (
        key("job_id", "The shop's number of the job."),
        key("line", "Line of the job.", Kind.WHOLE),
        Column("finished_on", Kind.DATE, "Day the job was finished."),
        Column("quarter", Kind.TEXT, "Fiscal quarter of that day."),
        Column("service", Kind.TEXT, "Service."),
        Column("vehicle_class", Kind.TEXT, "Size class of the vehicle."),
        Column("make", Kind.TEXT, "Make."),
        Column("model", Kind.TEXT, "Model."),
        Column("film", Kind.TEXT, "Film of the job sheet, else the one most used."),
        QUOTED,
        ACTUAL,
        hours(
            "bay_hours",
            "For each day the longest time any one person logged on the job, summed over days.",
        ),
        area("consumed_area", "Film pulled less the offcut kept."),
        area("finished_area", "Film that stayed on the vehicle."),
        area("waste_area", "Consumed − finished."),
        money("quoted_price", "Price quoted, as written."),
        REVENUE,
        FILM_COST,
        CONSUMABLES,
        LABOUR,
        OVERHEAD,
        MATERIAL_MARGIN,
        CONTRIBUTION,
        money("full_margin", "Contribution − overhead."),
        REWORK,
        FEE,
        Column("redo_of", Kind.TEXT, "The job that this one does over."),
    ),
)


def _hours_table(by: str, title: str, keys: tuple[Column, ...], *more: Column) -> Table:
    return Table(
        f"hours_by_{by}",
        title,
        f"Actual against quoted hours by {by}, first-time jobs finished in the period.",
        (*keys, JOBS, QUOTED, ACTUAL, OVERRUN, *more, ENOUGH),
    )


_TO_DATE = Column(
    "jobs_to_date", Kind.WHOLE, "First-time job lines to date that the estimate rests on."
)
_HOURS_MORE = (OVERRUN_COST, REWORK, REDO_HOURS)


def _pooled(what: str) -> tuple[Column, ...]:
    """Columns of a partially pooled overrun; `what` says of which job."""
    return (
        percent(
            "pooled_overrun_pct",
            f"Expected overrun of the next job of {what}: partially pooled, all jobs to date.",
        ),
        percent("low_pct", "Lower end of its 90 % interval."),
        percent("high_pct", "Upper end of its 90 % interval."),
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
    (SERVICE,),
    *_HOURS_MORE,
    *_pooled("the service, on the shop's usual vehicles"),
)
HOURS_BY_CLASS = _hours_table(
    "class",
    "Hours by vehicle class",
    (CLASS,),
    *_HOURS_MORE,
    *_pooled("the class, apart from what its models do"),
)
HOURS_BY_MODEL = _hours_table(
    "model",
    "Hours by vehicle model",
    (MAKE, MODEL),
    *_HOURS_MORE,
    *_pooled("the model, on the services it comes for"),
)
HOURS_BY_INSTALLER = _hours_table(
    "installer",
    "Hours by installer",
    (key("installer", "Who. Quoted hours are the line's × the share of its actual hours."),),
    OVERRUN_COST,
    REWORK,
    percent(
        "against_average_pct",
        "Hours needed against the shop's average person on like jobs: partially pooled.",
    ),
    percent("low_pct", "Lower end of its 90 % interval."),
    percent("high_pct", "Upper end of its 90 % interval."),
    _TO_DATE,
)
HOURS_BY_TASK = _hours_table(
    "task",
    "Hours by task",
    (key("task", "Part of the work; a quote has no tasks, so quoted hours are blank."),),
)


def _margin_table(by: str, title: str, key: Column) -> Table:
    return Table(
        f"margin_by_{by}",
        title,
        f"The job statement by {by}: job lines finished in the period.",
        (
            key,
            JOBS,
            REVENUE,
            FILM_COST,
            CONSUMABLES,
            LABOUR,
            OVERHEAD,
            money(
                "redo_cost",
                "Film, consumables, labour, overhead and fee of redo jobs, less what was invoiced.",
            ),
            MATERIAL_MARGIN,
            CONTRIBUTION,
            money("full_margin", "Contribution − overhead − redo cost."),
            percent("full_margin_pct", "Full margin ÷ net revenue."),
            Column(
                "material_margin_per_bay_hour",
                Kind.MONEY_PER_HOUR,
                "Material margin ÷ bay hours: ranks services when the bays are full.",
            ),
            hours("actual_hours", "Person hours worked on these job lines."),
            hours("bay_hours", "Hours that a bay was held."),
            percent("contribution_pct", "Contribution ÷ net revenue."),
            ENOUGH,
        ),
    )


MARGIN_BY_SERVICE = _margin_table("service", "Margin by service", SERVICE)
MARGIN_BY_CLASS = _margin_table("class", "Margin by vehicle class", CLASS)
MARGIN_BY_FILM = _margin_table("film", "Margin by film", FILM)

REDO = Table(
    "redo",
    "Work done over",
    "First-time jobs of the twelve months to the quarter's end, and those done over to date.",
    (
        key("by", "What the row groups by: service, model or film."),
        key("key", "The service, model or film."),
        count("jobs", "First-time job lines finished in the twelve months."),
        count("redos", "Those of them that have a redo to date."),
        percent("redo_pct", "Redos ÷ jobs."),
        percent("low_pct", "Lower end of the 90 % Wilson interval."),
        percent("high_pct", "Upper end of the 90 % Wilson interval."),
        money("redo_cost", "Cost of the redos finished in the twelve months."),
        ENOUGH,
    ),
)

HOURS_SPREAD = Table(
    "hours_spread",
    "What makes hours differ",
    "How far each part spreads the hours around the quote, from all jobs to date, by REML.",
    (
        key("part", "vehicle class, vehicle model, person, or job to job (what nothing explains)."),
        percent("spread_pct", "One standard deviation: so much more hours than usual."),
        percent("low_pct", "Lower end of its 90 % interval."),
        percent("high_pct", "Upper end of its 90 % interval."),
        count("levels", "How many of them there are; for job to job, the job lines used."),
        Column("note", Kind.TEXT, "What the records were too few for; blank where all was told."),
    ),
)

JOBS_THAT_PULL = Table(
    "jobs_that_pull",
    "The jobs that pull hardest",
    "The job lines that move their model's pooled overrun most: look if their hours are right.",
    (
        key("job_id", "The shop's number of the job."),
        key("line", "Line of the job.", Kind.WHOLE),
        Column("finished_on", Kind.DATE, "Day the job was finished."),
        Column("service", Kind.TEXT, "Service."),
        Column("make", Kind.TEXT, "Make."),
        Column("model", Kind.TEXT, "Model."),
        hours("quoted_hours", "Person hours quoted."),
        hours("actual_hours", "Person hours worked."),
        hours("expected_hours", "What the model of the hours expects of such a job."),
        percent("pull_pct", "So far the model's pooled overrun moves with this job: % of hours."),
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
        MAKE,
        MODEL,
        key("task", "Part of the work."),
        count("jobs", "Job lines of the model with task times whose service others had too."),
        hours("hours", "Hours of the task on them."),
        hours("usual_hours", "Their quoted hours × what other models take of it a quoted hour."),
        hours("over_hours", "Hours − usual hours."),
        hours("low_hours", "Lower end of its 90 % interval."),
        hours("high_hours", "Upper end of its 90 % interval."),
        ENOUGH,
    ),
)

LEARNING_CURVES = Table(
    "learning_curves",
    "What repetition does",
    "Wright's learning curve by service and model: hours each time the jobs done double.",
    (
        SERVICE,
        MAKE,
        MODEL,
        JOBS,
        percent(
            "learning_rate_pct",
            "Average hours after each doubling of the jobs done, in % of those before.",
        ),
        percent("low_pct", "Lower end of its 90 % interval."),
        percent("high_pct", "Upper end of its 90 % interval."),
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
        key("period", "Fiscal quarter; 'change a year' in the last row."),
        JOBS,
        percent("overrun_pct", "Sum of actual hours ÷ sum of quoted hours, less one."),
        percent(
            "like_for_like_pct",
            "Hours against what the same services, vehicles and people take over all quarters.",
        ),
        percent("low_pct", "Lower end of its 90 % interval."),
        percent("high_pct", "Upper end of its 90 % interval."),
    ),
)

NEXT_QUOTES = Table(
    "next_quotes",
    "Hours for the next quote",
    "For each service on each model done so far: the hours to quote next time.",
    (
        SERVICE,
        CLASS,
        MAKE,
        MODEL,
        count("jobs", "Job lines of this service on this model to date."),
        hours("usual_hours", "What the shop quotes: its list, else its own quotes to date."),
        hours("expected_hours", "Mean of the next job's hours."),
        hours("hours_to_quote", "The next job finishes inside them with quoting.confidence."),
        hours("low_hours", "Nineteen of twenty such jobs take longer."),
        hours("high_hours", "Nineteen of twenty such jobs take less."),
        ENOUGH,
    ),
)

QUOTE_CALIBRATION = Table(
    "quote_calibration",
    "Whether the quotes hold as often as promised",
    "Every job quoted again from what was known before it, against four plain ways of quoting.",
    (
        key("method", "this quote, service mean, model mean, last similar job, or shop's quote."),
        count("jobs", "Job lines quoted again."),
        percent("share_inside_pct", "Jobs that finished inside the hours quoted."),
        Column(
            "pinball_loss",
            Kind.NUMBER,
            "Mean loss in hours at quoting.confidence: hours short × confidence, or hours spare × "
            "(1 − confidence). Less is better.",
        ),
        percent("inside_50_pct", "Jobs inside the hours promised for 50 % of jobs."),
        percent("inside_70_pct", "Jobs inside the hours promised for 70 % of jobs."),
        percent("inside_80_pct", "Jobs inside the hours promised for 80 % of jobs."),
        percent("inside_90_pct", "Jobs inside the hours promised for 90 % of jobs."),
    ),
)

SHOP_RESULT = Table(
    "shop_result",
    "The quarter's statement",
    "From net revenue to the shop's result. Costs are positive amounts and are subtracted.",
    (
        key("line", "Line of the statement."),
        Column("amount", Kind.NUMBER, "Money; percent in the lines that end in _pct."),
        Column("note", Kind.TEXT, "How the line is made."),
    ),
)

# Tables that exist for the quarter alone; the others also come for the trailing year.
QUARTER_ONLY: Final = frozenset(
    {
        "job_costs",
        "redo",
        "hours_spread",
        "jobs_that_pull",
        "overrun_by_task",
        "learning_curves",
        "quoting_drift",
        "next_quotes",
        "quote_calibration",
        *FILM_QUARTER_ONLY,
        *PRICE_QUARTER_ONLY,
        *COUNTER_QUARTER_ONLY,
    }
)

RESULT_TABLES: Final = by_name(
    [
        SHOP_RESULT,
        *PRICE_RESULT_TABLES,
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
        *FILM_RESULT_TABLES,
        *COUNTER_RESULT_TABLES,
        REDO,
        VARIANCES,
        JOB_COSTS,
    ]
)
