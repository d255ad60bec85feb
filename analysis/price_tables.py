"""The result tables that explain the quarter's money, and those about prices."""

from typing import Final

from analysis.result_columns import (
    CLASS,
    ENOUGH,
    JOBS,
    MAKE,
    MODEL,
    SERVICE,
    area,
    count,
    day,
    hours,
    key,
    money,
    percent,
    text,
)
from analysis.schema import Column, Kind, Table

_LOW = percent("low_pct", "Lower end of its 90 % interval.")
_HIGH = percent("high_pct", "Upper end of its 90 % interval.")


def _per_hour(name: str, sentence: str) -> Column:
    return Column(name, Kind.MONEY_PER_HOUR, sentence)


# --- quoted against actual -----------------------------------------------------------------------

VARIANCE_EFFECTS: Final = (
    money("price", "(Invoiced − quoted price), net of tax."),
    money("labour_efficiency", "(Quoted − actual hours) × standard rate."),
    money("labour_rate", "(Standard − actual rate) × actual hours."),
    money("film_usage", "(Quoted − consumed film) × standard film cost."),
    money("film_price", "(Standard − actual film cost) × consumed film."),
    money("fees", "Card fee of the quoted price − fee paid."),
    money("consumables", "(Quoted − actual hours) × consumables an hour."),
    money("overhead", "(Quoted − actual hours) × overhead rate."),
)
_QUOTED_PROFIT = money(
    "quoted_profit",
    "Quoted price net of tax and fee − quoted hours × (standard rate + consumables + overhead) − "
    "quoted film × its standard cost.",
)
_VARIANCE_TOTAL = money("total", "Actual − quoted profit: the sum of the effects.")
_ACTUAL_PROFIT = money("actual_profit", "Full margin of the job lines.")

VARIANCES = Table(
    "variances",
    "Quoted against actual, by job",
    "Why each job line of the quarter left more (positive) or less than quoted. Blank where the "
    "quote names no film area, or a rate is not known.",
    (
        key("job_id", "The shop's number of the job."),
        key("line", "Line of the job.", Kind.WHOLE),
        day("finished_on", "Day the job was finished."),
        text("service", "Service."),
        text("vehicle_class", "Size class of the vehicle."),
        _QUOTED_PROFIT,
        *VARIANCE_EFFECTS,
        _VARIANCE_TOTAL,
        _ACTUAL_PROFIT,
        Column("redo_of", Kind.TEXT, "The job that this one does over."),
    ),
)


def _variances_by(by: str, title: str, key_column: Column) -> Table:
    return Table(
        f"variances_by_{by}",
        title,
        f"Sums of the jobs' variances by {by}, over the job lines of which all effects are known.",
        (
            key_column,
            count("jobs", "Job lines finished in the period, redos among them."),
            count("told", "Those of them of which every effect is known: the sums are theirs."),
            _QUOTED_PROFIT,
            *VARIANCE_EFFECTS,
            _VARIANCE_TOTAL,
            _ACTUAL_PROFIT,
            ENOUGH,
        ),
    )


VARIANCES_BY_SERVICE = _variances_by("service", "Quoted against actual, by service", SERVICE)
VARIANCES_BY_CLASS = _variances_by("class", "Quoted against actual, by vehicle class", CLASS)

# --- quarter against quarter ---------------------------------------------------------------------

BRIDGE_EFFECTS: Final = (
    money("price", "Change of the price a job, net of tax."),
    money("volume", "Change of the number of jobs, at the mean mix and margin."),
    money("mix", "Change of what the jobs are, at the mean number and margin."),
    money("labour_efficiency", "Change of the hours a job, at the mean rate."),
    money("labour_rate", "Change of the labour cost an hour, at the mean hours."),
    money("film_price", "Change of the film cost an area, at the mean area."),
    money("film_usage", "Change of the film a job, at the mean cost an area."),
    money("consumables", "Change of the consumables a job."),
    money("redo", "Change of the cost of redos a job."),
    money("fees", "Change of the card fees a job."),
    money("overhead", "Change of the overhead a job."),
)

QUARTER_BRIDGE = Table(
    "quarter_bridge",
    "From last quarter's margin to this one's",
    "The full margin of finished jobs after redos, a quarter ago and now, and what made the "
    "difference. Favourable is positive; the effects add up without a remainder (Bennet 1920).",
    (
        key("effect", "The margin of a quarter, or what changed it."),
        Column("amount", Kind.MONEY, "Money."),
        text("note", "How the effect is made."),
    ),
)

BRIDGE_CELLS = Table(
    "bridge_cells",
    "The cells behind the bridge",
    "A row a service and vehicle class with work in either quarter: its margin then and now, and "
    "its part of every effect.",
    (
        SERVICE,
        CLASS,
        text(
            "kind",
            "both quarters, new, discontinued, redos only, or left out (not all known).",
        ),
        count("jobs_before", "First-time job lines of the quarter before."),
        count("jobs_now", "First-time job lines of the quarter."),
        money("margin_before", "Full margin after redos, the quarter before."),
        *BRIDGE_EFFECTS,
        money("new", "Margin of a cell with jobs in this quarter alone."),
        money("discontinued", "Margin of a cell with jobs in the quarter before alone, negative."),
        money("margin_now", "Full margin after redos, the quarter."),
        ENOUGH,
    ),
)

# --- what governs --------------------------------------------------------------------------------

UTILISATION_BY_MONTH = Table(
    "utilisation_by_month",
    "How full the shop is",
    "Hours worked and bay hours held against what could be, month by month, two years back.",
    (
        key("month", "First day of the month.", Kind.DATE),
        hours("installer_hours", "Practical hours of the people (capacity)."),
        hours("worked_hours", "Hours worked, on whatever job."),
        percent("installer_use_pct", "Hours worked ÷ practical hours."),
        hours("bay_capacity_hours", "Hours that the bays could be held (capacity)."),
        hours("bay_hours", "Hours that jobs held a bay."),
        percent("bay_use_pct", "Bay hours ÷ hours that the bays could be held."),
        hours("unused_hours", "Practical hours − hours worked."),
        money("unused_cost", "Unused hours × overhead rate."),
        text("constraint", "What is short in the month: bays, installers, or nothing."),
    ),
)

EARNING_BY_SERVICE = Table(
    "earning_by_service",
    "What an hour earns",
    "Services of the twelve months by what an hour leaves, and by contribution: the first ranks "
    "them where hours are short, the second where they are not.",
    (
        SERVICE,
        JOBS,
        money("material_margin", "Net revenue − film − consumables."),
        hours("actual_hours", "Person hours of these jobs."),
        hours("bay_hours", "Hours that they held a bay."),
        _per_hour("per_bay_hour", "Material margin ÷ bay hours."),
        _per_hour("per_installer_hour", "Material margin ÷ person hours."),
        percent("contribution_pct", "Contribution ÷ net revenue."),
        Column("rank_when_full", Kind.WHOLE, "Rank by margin an hour of what is short."),
        Column("rank_when_idle", Kind.WHOLE, "Rank by contribution."),
        text(
            "governs",
            "Which rank holds now: by bay hour, by installer hour, by contribution, or not known.",
        ),
        ENOUGH,
    ),
)

BEST_MIX = Table(
    "best_mix",
    "What another mix would earn in the same hours",
    "Jobs of the twelve months, and the mix that leaves the largest material margin in the same "
    "hours of what is short, no service above four times its best quarter (a linear programme).",
    (
        key("service", "Service; 'all services' in the last row."),
        count("jobs", "First-time job lines of the twelve months."),
        count("most_jobs", "Four times the jobs of its best quarter: demand that was seen."),
        Column("best_jobs", Kind.NUMBER, "Jobs in the best mix.", sums=True),
        Column("hours_each", Kind.HOURS, "Person hours a job."),
        Column("bay_hours_each", Kind.HOURS, "Bay hours a job."),
        money("material_margin_each", "Material margin a job.", sums=False),
        money("material_margin", "Material margin of the twelve months."),
        money("best_material_margin", "The same in the best mix."),
        money("gain", "Difference."),
        ENOUGH,
    ),
)

# --- demand --------------------------------------------------------------------------------------

WIN_CHANCES = Table(
    "win_chances",
    "What the price does to the quotes won",
    "By service: how often quotes were won, and how that changes with the price against the list, "
    "from all quotes to date, partially pooled.",
    (
        SERVICE,
        count("quotes", "Quotes won or lost, to date."),
        count("won", "Those won."),
        percent("won_pct", "Won ÷ quotes."),
        percent("won_low_pct", "Lower end of its 90 % Wilson interval."),
        percent("won_high_pct", "Upper end of its 90 % Wilson interval."),
        percent("price_spread_pct", "Standard deviation of price ÷ list."),
        percent("at_list_pct", "Chance to win at today's list price."),
        percent("at_list_low_pct", "Lower end of its 90 % interval."),
        percent("at_list_high_pct", "Upper end of its 90 % interval."),
        percent("lost_by_rise_pct", "Share of the jobs won that a price 5 % higher loses."),
        percent("lost_by_rise_low_pct", "Lower end of its 90 % interval."),
        percent("lost_by_rise_high_pct", "Upper end of its 90 % interval."),
        Column("slope", Kind.NUMBER, "Change of the log-odds of winning with log(price ÷ list)."),
        Column("slope_low", Kind.NUMBER, "Lower end of its 90 % interval."),
        Column("slope_high", Kind.NUMBER, "Upper end of its 90 % interval."),
        Column("learnt", Kind.YES_NO, "Whether the quotes tell what the price does."),
        text("note", "What they were too few or too alike for."),
        ENOUGH,
    ),
)

DEMAND_SEASONS = Table(
    "demand_seasons",
    "When people ask, and when they buy",
    "By quarter of the calendar year: enquiries, and the chance to win like for like.",
    (
        key("season", "Quarter of the calendar year: January to March and so on."),
        count("quotes", "Quotes won or lost, to date."),
        count("won", "Those won."),
        Column("a_month", Kind.NUMBER, "Quotes a month."),
        percent("like_for_like_pct", "Chance to win the shop's usual quote in this season."),
        _LOW,
        _HIGH,
    ),
)

# --- prices --------------------------------------------------------------------------------------

PRICE_BASIS = Table(
    "price_basis",
    "What the next job costs",
    "By service and class of the price list: the expected cost of a job bought today, part by "
    "part, from which the floor follows.",
    (
        SERVICE,
        CLASS,
        count("jobs", "First-time job lines to date."),
        hours("expected_hours", "Mean hours of the next job, flagged models apart."),
        Column("expected_hours_sd", Kind.HOURS, "Standard deviation from job to job."),
        Column("bay_hours_each", Kind.HOURS, "Bay hours of such a job."),
        area("film_area", "Expected film of a job, recuts included."),
        Column("film_cost_per_area", Kind.MONEY_PER_AREA, "Replacement cost of the films used."),
        _per_hour("labour_rate", "Mean loaded rate of the trailing twelve months."),
        _per_hour("consumables_rate", "Consumables an hour worked."),
        money("redo_fixed", "Redo reserve: chance × mean cost of the service's redos.", sums=False),
        Column(
            "redo_rate_pct",
            Kind.PERCENT,
            "Redo reserve as a part of film, labour and consumables, where the service had none.",
        ),
        money("expected_cost", "Film + labour + consumables + redo reserve.", sums=False),
        money("cost_error", "Standard error of the expected cost.", sums=False),
        percent("target_margin_pct", "Contribution margin asked for."),
        _per_hour("overhead_rate", "Overheads ÷ practical capacity."),
        _per_hour("hour_value", "What an hour of what is short earns elsewhere; 0 when idle."),
        percent("cost_drift_pct", "Expected cost against the same job at a year ago's rates."),
        percent("price_drift_pct", "List price against a year ago."),
        day("price_since", "Day since which the list price has stood."),
        text("apart", "Flagged models that are charged for by themselves, with their jobs."),
        text("note", "What is not known; blank where all is."),
        ENOUGH,
    ),
)

PRICE_SUGGESTIONS = Table(
    "price_suggestions",
    "Prices for the next quarter",
    "A row a service and class of the price list: what it costs, what is asked, what to ask, why, "
    "and what may come of it.",
    (
        SERVICE,
        CLASS,
        count("jobs", "First-time job lines to date."),
        count("quotes", "Quotes won or lost to date."),
        money("current_price", "List price at the quarter's end.", sums=False),
        money("floor_price", "Lowest price that leaves the target margin.", sums=False),
        money("suggested_price", "The current price, unless raised or lowered.", sums=False),
        percent("change_pct", "Suggested ÷ current price − 1."),
        text("verdict", "raise, hold, lower, or not enough evidence."),
        money("expected_gain", "Profit a quarter that the change is expected to bring."),
        money("gain_low", "Lower end of its 90 % interval.", sums=False),
        money("gain_high", "Upper end of its 90 % interval.", sums=False),
        percent(
            "break_even_volume_pct",
            "Change of the number of jobs at which the new price leaves as much as the old.",
        ),
        text("reason", "Why, and what speaks against it."),
        Column("probability_gains", Kind.PROBABILITY, "Probability that the change gains."),
        money("expected_cost", "Expected cost of a job.", sums=False),
        percent("margin_pct", "Contribution margin of a job at the current price."),
        percent("suggested_margin_pct", "The same at the suggested price."),
        percent("win_pct", "Chance to win at the current price."),
        percent("suggested_win_pct", "The same at the suggested price."),
        Column("enquiries", Kind.NUMBER, "Quotes a quarter, mean of the last four."),
        text("next_step", "What to write down to be surer; blank where nothing is missing."),
        ENOUGH,
    ),
)

MODEL_SURCHARGES = Table(
    "model_surcharges",
    "What to add for vehicles that take longer",
    "For the flagged models alone, by service: the hours that they take beyond others of their "
    "class × what an hour must earn.",
    (
        SERVICE,
        CLASS,
        MAKE,
        MODEL,
        count("jobs", "Job lines of this service on this model to date."),
        count("model_jobs", "Job lines of the model to date that the flag rests on."),
        Column("extra_hours", Kind.HOURS, "Mean hours of the next job beyond others of the class."),
        _per_hour("hour_must_earn", "Price of an hour that leaves the target margin."),
        money("surcharge", "Hours × that, in steps of pricing.round_to.", sums=False),
        money("price", "Suggested price + surcharge.", sums=False),
        ENOUGH,
    ),
)

PRICE_OUTLOOK = Table(
    "price_outlook",
    "What the coming year may bring",
    "Contribution of the coming year with today's prices and with those suggested, over a thousand "
    "years by chance: enquiries, answers to the price, hours, film.",
    (
        key("prices", "today's, suggested, the difference, or hours freed (on top of it)."),
        Column("jobs", Kind.NUMBER, "Mean number of jobs."),
        Column("hours", Kind.HOURS, "Mean person hours."),
        money("contribution", "Mean contribution of the year.", sums=False),
        money("low", "One year in twenty brings less.", sums=False),
        money("high", "One year in twenty brings more.", sums=False),
        Column("probability_gains", Kind.PROBABILITY, "Probability that the suggestions gain."),
        text("note", "What was assumed."),
    ),
)

PRICE_SENSITIVITY = Table(
    "price_sensitivity",
    "How far the suggestions hang on what was assumed",
    "The suggestions again with one assumption changed.",
    (
        key("assumption", "What is different."),
        SERVICE,
        CLASS,
        money("floor_price", "Floor under it.", sums=False),
        money("suggested_price", "Suggestion under it.", sums=False),
        text("verdict", "Verdict under it."),
        Column("moved", Kind.YES_NO, "Whether the suggestion is another."),
    ),
)

PRICE_FOLLOW_UP = Table(
    "price_follow_up",
    "Did the prices work?",
    "Each decision with what was expected of it and what came, from its first day to the next "
    "decision on the same price or the quarter's end.",
    (
        key("decided_on", "Day of the decision.", Kind.DATE),
        SERVICE,
        CLASS,
        key("effective_from", "First day it held.", Kind.DATE),
        money("old_price", "Price before.", sums=False),
        money("new_price", "Price decided.", sums=False),
        percent("expected_win_pct", "Chance to win that was expected."),
        percent("realised_win_pct", "Quotes won ÷ quotes since."),
        percent("win_low_pct", "Lower end of its 90 % Wilson interval."),
        percent("win_high_pct", "Upper end of its 90 % Wilson interval."),
        percent("win_before_pct", "The same in the twelve months before."),
        money("expected_price", "Price of a quote that was expected.", sums=False),
        money("realised_price", "Mean price of the quotes since.", sums=False),
        Column("expected_hours", Kind.HOURS, "Hours a job that were expected."),
        Column("realised_hours", Kind.HOURS, "Mean hours of the jobs since."),
        Column("hours_low", Kind.HOURS, "Lower end of its 90 % interval."),
        Column("hours_high", Kind.HOURS, "Upper end of its 90 % interval."),
        money("expected_margin", "Contribution a job that was expected.", sums=False),
        money("realised_margin", "Mean contribution of the jobs since.", sums=False),
        money("margin_low", "Lower end of its 90 % interval.", sums=False),
        money("margin_high", "Upper end of its 90 % interval.", sums=False),
        count("quotes", "Quotes won or lost since."),
        count("jobs", "First-time jobs quoted since and finished."),
        money("gain", "Contribution an enquiry since − before.", sums=False),
        money("gain_low", "Lower end of its 90 % interval.", sums=False),
        money("gain_high", "Upper end of its 90 % interval.", sums=False),
        text("verdict", "gained, lost, no difference to speak of, or too early to tell."),
        text("reason", "Why, in a sentence."),
    ),
)

PRICE_RESULT_TABLES: Final = (
    PRICE_SUGGESTIONS,
    MODEL_SURCHARGES,
    PRICE_OUTLOOK,
    PRICE_FOLLOW_UP,
    QUARTER_BRIDGE,
    BRIDGE_CELLS,
    VARIANCES_BY_SERVICE,
    VARIANCES_BY_CLASS,
    EARNING_BY_SERVICE,
    BEST_MIX,
    UTILISATION_BY_MONTH,
    WIN_CHANCES,
    DEMAND_SEASONS,
    PRICE_BASIS,
    PRICE_SENSITIVITY,
)
# Variances come for the trailing year too; the others for the quarter alone.
PRICE_QUARTER_ONLY: Final = tuple(
    table.name
    for table in (*PRICE_RESULT_TABLES, VARIANCES)
    if not table.name.startswith("variances_by")
)
