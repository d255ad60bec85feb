"""The result tables about film: where it went, what it costs, how to cut it and what to order."""

from typing import Final

from analysis.result_columns import (
    CLASS,
    ENOUGH,
    FILM,
    SERVICE,
    area,
    count,
    day,
    key,
    length,
    money,
    per_area,
    percent,
    text,
)
from analysis.schema import Column, Kind, Table

SPLIT: Final = (
    area("side_loss_area", "What the roll's width or the pull's length leaves over."),
    area("handling_margin_area", "Allowance that is held by hand and trimmed off."),
    area("opening_area", "Film laid over a hole and cut out."),
    area("recut_area", "Film of pieces cut a second time."),
    area("damage_area", "Film lost to damage."),
    area("test_area", "Film used for tests."),
    area("end_of_roll_area", "Rest of a roll that was too short to use."),
)
_LOW = percent("low_pct", "Lower end of its 90 % interval.")
_HIGH = percent("high_pct", "Upper end of its 90 % interval.")


def _waste_table(by: str, title: str, key: Column, which: str) -> Table:
    return Table(
        f"waste_by_{by}",
        title,
        f"Where the film cut in the period went, {which}.",
        (
            key,
            count("cuts", "Pulls of film."),
            area("consumed_area", "Film pulled less the offcut kept."),
            area("finished_area", "Film that stayed on the vehicle or was sold."),
            *SPLIT,
            area("waste_area", "Consumed − finished."),
            percent("waste_pct", "Waste ÷ consumed."),
            money("waste_cost", "Each cut's cost × its waste ÷ its consumed area."),
            area(
                "avoidable_area",
                "Side loss that packing the day's pieces of a film across the roll would have "
                "saved: pulled − the shortest length × width − kept, not below 0.",
            ),
            area(
                "avoidable_in_job_area",
                "What packing each job's pieces by themselves would have saved.",
            ),
            money("avoidable_cost", "Each cut's cost × its avoidable area ÷ its consumed area."),
            area(
                "side_and_handling_area",
                "Side loss and handling margin together, where some pieces were not measured; all "
                "that was lost, where no cut is written down by itself.",
            ),
            count("cuts_unmeasured", "Pulls without finished sizes: counted, in no area here."),
            ENOUGH,
        ),
    )


WASTE_BY_CLASS = _waste_table("class", "Film by vehicle class", CLASS, "cuts of jobs")
WASTE_BY_SERVICE = _waste_table("service", "Film by service", SERVICE, "cuts of jobs")
WASTE_BY_FILM = _waste_table(
    "film", "Film lost by film", FILM, "all cuts, counter and shop included"
)
WASTE_BY_PANEL = _waste_table(
    "panel", "Film by panel", key("panel", "What the cut covers."), "cuts of jobs"
)
WASTE_BY_WIDTH = _waste_table(
    "width",
    "Film by roll width",
    key("roll_width", "Width pulled off the roll; blank for cuts from offcuts.", Kind.LENGTH),
    "cuts of jobs",
)
AVOIDABLE_BY_JOB = Table(
    "avoidable_by_job",
    "Jobs to lay out better",
    "A row a job, film, roll width and day of the quarter whose own pieces would have fitted on a "
    "shorter pull, the largest saving first.",
    (
        key("job_id", "The shop's number of the job."),
        FILM,
        key("roll_width", "Width pulled off the roll.", Kind.LENGTH),
        key("cut_on", "Day it was cut.", Kind.DATE),
        count("pieces", "Pieces cut first-time off the roll."),
        length("pulled_length", "Length pulled for them."),
        length("shortest_length", "Shortest length found that holds them."),
        area("kept_area", "Offcuts kept from the pulls."),
        area("avoidable_area", "(Pulled − shortest) × width − kept."),
        money("avoidable_cost", "Each cut's cost × its share of it ÷ its consumed area."),
    ),
)

_FLOWS: Final = (
    ("opening", "on the shelf at the period's start"),
    ("purchased", "bought, net of film sent back and credits"),
    ("jobs", "consumed by jobs"),
    ("counter_sales", "consumed by counter sales"),
    ("shop", "used by the shop, offcuts written off and losses on rolls sent back included"),
    ("unexplained", "missing at the counts (surplus is negative)"),
    ("closing", "on the shelf at the period's end"),
)
FILM_RECONCILIATION = Table(
    "film_reconciliation",
    "Film in and out",
    "opening + purchased = jobs + counter sales + shop + unexplained + closing, for every film.",
    (
        FILM,
        *(area(f"{name}_area", f"Film {what}.") for name, what in _FLOWS),
        *(money(f"{name}_cost", f"Cost of film {what}.") for name, what in _FLOWS),
    ),
)

FILM_FLOWS = Table(
    "film_flows",
    "Streams of film",
    "Every stream of film of the period, all films together; what flows into a point flows out.",
    (
        key("flows_from", "Where it comes from."),
        key("flows_to", "Where it goes."),
        area("area", "Film."),
        money("cost", "What it cost."),
    ),
)

FILM_COUNTS = Table(
    "film_counts",
    "What the counts found",
    "A row a count of a film up to the quarter's end: the books against the shelf.",
    (
        FILM,
        key("counted_on", "Day of the count.", Kind.DATE),
        day("counted_before", "Day of the film's count before; blank: its first."),
        area("book_area", "What the books held that day, before the count."),
        area("counted_area", "What was counted."),
        area(
            "unexplained_area", "Books − count: missing since the count before (surplus below 0)."
        ),
        money("unexplained_cost", "What it cost."),
        area(
            "cut_area",
            "Film cut, sold or written off since the count before (the first: since the start).",
        ),
        percent("unexplained_pct", "Unexplained ÷ cut."),
    ),
)

_SHELF: Final = (
    ("opening", "on the shelf at the period's start"),
    ("kept", "put back on the shelf"),
    ("used", "used up later"),
    ("written_off", "written off at the end of its life"),
    ("missing", "gone at a count, when the rolls did not hold what was missing"),
    ("closing", "on the shelf at the period's end"),
)
OFFCUT_SHELF = Table(
    "offcut_shelf",
    "The shelf of offcuts",
    "opening + kept = used + written off + missing + closing, for every film, in offcuts.",
    (
        FILM,
        *(area(f"{name}_area", f"Offcuts {what}.") for name, what in _SHELF),
        *(money(f"{name}_cost", f"Cost of offcuts {what}.") for name, what in _SHELF),
        count("closing_offcuts", "Offcuts on the shelf at the period's end."),
        Column("mean_age_days", Kind.NUMBER, "Their mean age in days, by area."),
        Column("oldest_days", Kind.NUMBER, "Age of the oldest in days."),
    ),
)

OFFCUTS_ON_SHELF = Table(
    "offcuts_on_shelf",
    "Offcuts to cut from",
    "A row an offcut that the books hold at the quarter's end, the oldest first.",
    (
        FILM,
        key("cut_id", "The cut that it was kept from."),
        day("kept_on", "Day it was kept."),
        text("roll_id", "Roll that it came from."),
        length("kept_length", "Its length; blank once part of it was used."),
        length("kept_width", "Its width; blank once part of it was used."),
        area("area", "What is left of it."),
        money("cost", "What that cost."),
        Column("age_days", Kind.NUMBER, "Days since it was kept."),
        day("leaves_on", "Day on which it is written off."),
    ),
)

RECUTS_BY_ALLOWANCE = Table(
    "recuts_by_allowance",
    "Recuts against the allowance",
    "How often a piece is cut again, by the allowance it was cut with; all records to date.",
    (
        key(
            "allowance",
            "Allowance a side, each panel's brought to the shop's mean, from (to under the next "
            "row's).",
            Kind.LENGTH,
        ),
        count("cuts", "First-time cuts with that allowance."),
        count("recuts", "Those of them with a recut of the same panel on the same job line."),
        percent("recut_pct", "Recuts ÷ cuts."),
        percent("low_pct", "Lower end of the 90 % Wilson interval."),
        percent("high_pct", "Upper end of the 90 % Wilson interval."),
        percent(
            "curve_pct",
            "The curve over all cuts, which never rises with the allowance, at the row's mean.",
        ),
        percent("curve_low_pct", "Lower end of its 90 % interval."),
        percent("curve_high_pct", "Upper end of its 90 % interval."),
        money(
            "piece_cost",
            "Expected film cost of the shop's average piece at the row's mean allowance, recuts "
            "included; blank outside what nine cuts in ten were cut with.",
            sums=False,
        ),
        money("piece_cost_low", "Lower end of its 90 % interval.", sums=False),
        money("piece_cost_high", "Upper end of its 90 % interval.", sums=False),
        ENOUGH,
    ),
)

BEST_ALLOWANCE = Table(
    "best_allowance",
    "How large to cut",
    "For each panel and film: the allowance at which a piece is expected to cost least film.",
    (
        key("panel", "What the cut covers; 'all panels' in the first row."),
        key("film", "Code of the film; blank in the first row."),
        Column("cuts", Kind.WHOLE, "First-time cuts to date, measured."),
        Column("recuts", Kind.WHOLE, "Those of them cut again."),
        length("usual_allowance", "Mean allowance a side in the last twelve months."),
        length("best_allowance", "Allowance a side that costs least film; blank: cannot tell."),
        length("low_allowance", "Lower end of its 90 % interval."),
        length("high_allowance", "Upper end of its 90 % interval."),
        percent("usual_recut_pct", "Expected recuts at the usual allowance."),
        percent("best_recut_pct", "Expected recuts at the best allowance."),
        money("usual_cost", "Expected film cost of a piece at the usual allowance.", sums=False),
        money("best_cost", "Expected film cost of a piece at the best allowance.", sums=False),
        Column("pieces_a_year", Kind.WHOLE, "Pieces cut first-time in the last twelve months."),
        money("saving_a_year", "(Usual − best cost) × pieces a year; film alone.", sums=False),
        money("saving_low", "Lower end of its 90 % interval.", sums=False),
        money("saving_high", "Upper end of its 90 % interval.", sums=False),
        text("verdict", "cut smaller, cut larger, as it is, or not enough recuts to tell."),
    ),
)

FILM_PRICES = Table(
    "film_prices",
    "What film costs, purchase by purchase",
    "A row a purchase line of film up to the quarter's end, after freight, discount and credits.",
    (
        FILM,
        key("supplier", "Who sold it."),
        key("received_on", "Day it came.", Kind.DATE),
        per_area("landed_cost_per_area", "Landed cost ÷ area bought."),
        percent("change_pct", "Against the same film's last purchase from the same supplier."),
        text("invoice", "Number of the invoice."),
        area("purchased_area", "Area of the line."),
        money("landed_cost", "Price − discount + share of freight − credits."),
    ),
)

FILM_PRICE_TRENDS = Table(
    "film_price_trends",
    "How fast film gets dearer",
    "For each film and supplier, over all purchases to date: the rise a year and the steps.",
    (
        FILM,
        key("supplier", "Who sold it."),
        count("purchases", "Days on which some was bought."),
        day("first_on", "First purchase."),
        day("newest_on", "Newest purchase."),
        per_area(
            "first_cost_per_area",
            "Landed cost ÷ area of the first, put to the film's main roll width.",
        ),
        per_area(
            "newest_cost_per_area",
            "Landed cost ÷ area of the newest, put to the film's main roll width.",
        ),
        percent("rise_pct", "Rise a year, by a straight line through the logarithms."),
        _LOW,
        _HIGH,
        count("steps", "Steps of the price that are more than chance."),
        text("pattern", "steady, rising, falling, in steps, or too few purchases."),
    ),
)

FILM_PRICE_STEPS = Table(
    "film_price_steps",
    "Steps of film prices",
    "A row a stretch between two steps of a film's price from one supplier.",
    (
        FILM,
        key("supplier", "Who sold it."),
        key("from_on", "First purchase of the stretch.", Kind.DATE),
        day("to_on", "Last purchase of the stretch."),
        count("purchases", "Days on which some was bought."),
        per_area(
            "cost_per_area",
            "Landed cost ÷ area over the stretch, put to the film's main roll width.",
        ),
        percent("step_pct", "Against the stretch before; blank: the first."),
        _LOW,
        _HIGH,
    ),
)

FILM_INSTALLED = Table(
    "film_installed",
    "What film costs once it is on",
    "For each service and film, cost of a unit of finished area at today's prices and wages.",
    (
        SERVICE,
        FILM,
        count("jobs", "First-time job lines of the service in this film to date."),
        per_area("newest_cost_per_area", "Newest landed cost ÷ area (the film's main roll width)."),
        percent("waste_pct", "Waste ÷ consumed on these jobs, recuts included, to date."),
        per_area("film_cost_per_area", "Newest landed cost ÷ (1 − waste)."),
        percent(
            "hours_effect_pct",
            "Hours against the same service on the same vehicles in the service's average film; "
            "blank where it had one film.",
        ),
        _LOW,
        _HIGH,
        Column("hours_per_area", Kind.NUMBER, "Expected hours for one unit of the shop's area."),
        per_area("labour_cost_per_area", "Those hours at the shop's mean loaded rate."),
        percent("redo_pct", "Jobs of the service in this film done over, drawn to the service's."),
        per_area("redo_cost_per_area", "That share × film and labour once more."),
        per_area("installed_cost_per_area", "Film + labour + redo."),
        per_area("installed_low_per_area", "Lower end of its 90 % interval."),
        per_area("installed_high_per_area", "Upper end of its 90 % interval."),
        ENOUGH,
    ),
)

FILM_SWAPS = Table(
    "film_swaps",
    "Another film or roll width",
    "Last year's jobs again, at today's prices: in another film of the same services, or off "
    "another width of the same film.",
    (
        SERVICE,
        FILM,
        key("instead_film", "The other film; blank where roll widths are compared."),
        key("roll_width", "Width that was used; blank where films are compared.", Kind.LENGTH),
        key("instead_width", "The other width; blank where films are compared.", Kind.LENGTH),
        count("jobs", "Job lines of the last twelve months that are compared."),
        money(
            "as_done_cost",
            "Film, labour and redo as done, at today's prices; where widths are compared, film "
            "alone, the pieces packed anew.",
        ),
        money("instead_cost", "The same in the other film or off the other width."),
        money("difference", "Instead − as done: negative saves."),
        money("difference_low", "Lower end of its 90 % interval.", sums=False),
        money("difference_high", "Upper end of its 90 % interval.", sums=False),
        text("verdict", "cheaper, dearer, or cannot tell."),
        ENOUGH,
    ),
)

FILM_ORDERS = Table(
    "film_orders",
    "What to order",
    "For each film on the newest day of the records: how long the stock lasts, and whole rolls to "
    "order.",
    (
        FILM,
        day("as_of", "The newest day of work or of a purchase in the records."),
        area("on_hand_area", "What the books hold, offcuts not counted."),
        area("weekly_area", "Use a week over the twelve months to that day."),
        area("weekly_low", "Lower end of the 90 % interval of that mean."),
        area("weekly_high", "Upper end of the 90 % interval of that mean."),
        count("waiting_jobs", "Jobs won and not yet done, or not yet cut."),
        area("waiting_area", "Film that they are expected to take."),
        Column(
            "cover_weeks",
            Kind.NUMBER,
            "Weeks that the stock lasts at the usual use, or until the waiting jobs are cut.",
        ),
        area(
            "reorder_area",
            "Order once the stock falls to this: use over lead time and safety days, or the "
            "waiting jobs and the safety days' use, where that is more.",
        ),
        length("roll_width", "Width of the roll that is bought most."),
        length("roll_length", "Length of that roll, by the newest purchase."),
        count("order_rolls", "Whole rolls to order now."),
        money("order_cost", "What they cost at the newest landed cost."),
        text("reason", "Why, in a sentence."),
    ),
)

FILM_RESULT_TABLES: Final = (
    WASTE_BY_CLASS,
    WASTE_BY_SERVICE,
    WASTE_BY_FILM,
    WASTE_BY_PANEL,
    WASTE_BY_WIDTH,
    AVOIDABLE_BY_JOB,
    FILM_FLOWS,
    FILM_RECONCILIATION,
    FILM_COUNTS,
    OFFCUT_SHELF,
    OFFCUTS_ON_SHELF,
    RECUTS_BY_ALLOWANCE,
    BEST_ALLOWANCE,
    FILM_INSTALLED,
    FILM_SWAPS,
    FILM_PRICE_TRENDS,
    FILM_PRICE_STEPS,
    FILM_PRICES,
    FILM_ORDERS,
)
# Film tables that exist for the quarter alone.
FILM_QUARTER_ONLY: Final = frozenset(
    {
        "avoidable_by_job",
        "film_counts",
        "offcuts_on_shelf",
        "recuts_by_allowance",
        "best_allowance",
        "film_installed",
        "film_swaps",
        "film_price_trends",
        "film_price_steps",
        "film_prices",
        "film_orders",
    }
)
