"""The result tables about film that is cut and sold over the counter."""

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
    per_length,
    percent,
    text,
)
from analysis.schema import Column, Kind, Table

_LOW, _HIGH = "Lower end of its 90 % interval.", "Upper end of its 90 % interval."
_EACH: Final = ", a sale"


def _probability(name: str, sentence: str) -> Column:
    return Column(name, Kind.PROBABILITY, sentence)


def _number(name: str, sentence: str) -> Column:
    return Column(name, Kind.NUMBER, sentence)


# --- what the sales left ------------------------------------------------------------------------

_REVENUE = money("revenue", "Price of the film, net of tax.")
_FILM_COST = money("film_cost", "Film cut for them, at the landed cost of the film used.")
_STAFF = money("staff_cost", "Minutes written down × mean loaded rate of the quarter.")
_EXTRAS = money("extras_margin", "Price of tools, cleaner and tape net of tax − their cost.")
_FEE = money("payment_fee", "Card fee on film and extras, unless paid in cash or by transfer.")
_SIDE_AREA = area("side_loss_area", "Film cut beyond the piece sold and not kept.")
_SIDE_COST = money("side_loss_cost", "The part of the film cost that is side loss.")
_SPOILED = money("spoiled_cost", "The part of the film cost that was cut again, or spoiled.")
_OTHER_STAFF = money(
    "other_staff_cost",
    "Staff time beyond that: minutes not written down, at the mean of the others; in full months "
    "what the hour would earn beyond its wage.",
)
_MARGIN = money(
    "margin",
    "Revenue + extras − fee − film − staff time − other staff time, before installs displaced or "
    "won; the statement leaves the other staff time out.",
)
_DISPLACED = money(
    "displaced_cost",
    "Chance that the sale took an install's place × what the install leaves × chance that no other "
    "job takes the free hours.",
)
_LATER = money(
    "later_installs",
    "Chance of an install booked later × what it leaves × chance that it takes no other job's "
    "hours.",
)
_NET = money("expected_net", "Margin − displaced installs + later installs.")
_SHARE_SENTENCE: Final = (
    "Share of displaced installs at which nothing is left; over 100 % it pays whatever the share, "
    "under 0 % not even without any."
)
_BREAK_EVEN = percent("break_even_displaced_pct", _SHARE_SENTENCE)
_PAYS = _probability(
    "probability_pays",
    "Probability that a sale such as those of the last twelve months leaves something.",
)
_VERDICT = text(
    "verdict", "pays (probability 0.9 or more), does not pay (0.1 or less), can't tell."
)
_ANSWERS = count("answers", "Sales to date with yes or no in would_book.")

COUNTER_SALES = Table(
    "counter_sales",
    "Film sold over the counter",
    "What the sales of a period left, by film, and whether such a sale pays. Money is summed over "
    "the sales; chances are those of all sales to date.",
    (
        FILM,
        count("sales", "Sales."),
        _REVENUE,
        _FILM_COST,
        _STAFF,
        _EXTRAS,
        _DISPLACED,
        _LATER,
        _NET,
        money("net_low", _LOW),
        money("net_high", _HIGH),
        _PAYS,
        _VERDICT,
        _BREAK_EVEN,
        per_length(
            "lowest_price_per_length",
            "Price at which the next sale of usual length leaves nothing, at the full width and "
            "today's cost of film ÷ its length.",
        ),
        _FEE,
        _SIDE_AREA,
        _SIDE_COST,
        _SPOILED,
        _OTHER_STAFF,
        _MARGIN,
        count("told", "Sales of which every amount is known: expected_net is theirs."),
        text("note", "What was assumed, or is missing."),
        ENOUGH,
    ),
)

COUNTER_SALES_EACH = Table(
    "counter_sales_each",
    "Counter sales one by one",
    "Every sale to date: what it left, and what is expected of the installs it took or brings.",
    (
        key("sale_id", "Number of the sale."),
        day("sold_on", "Day of the sale."),
        text("film", "Code of the film."),
        text("service", "The install that it stands in for."),
        text("vehicle_class", "Size class of the vehicle."),
        length("length", "Length sold."),
        length("width", "Width sold."),
        _REVENUE,
        _EXTRAS,
        _FEE,
        _FILM_COST,
        _SIDE_AREA,
        _SIDE_COST,
        _SPOILED,
        _STAFF,
        _OTHER_STAFF,
        _MARGIN,
        text("would_book", "Would they have booked the install? As answered."),
        percent("displaced_pct", "Chance that such a sale takes an install's place."),
        money("install_contribution", "What such an install leaves, its redos paid."),
        text("month_kind", "idle, full, or not known: whether hours were short in that month."),
        percent("refill_pct", "Chance that another job takes the hours of a displaced install."),
        _DISPLACED,
        text("later_job_id", "The install booked afterwards."),
        _LATER,
        _NET,
    ),
)

COUNTER_BY_QUARTER = Table(
    "counter_by_quarter",
    "Counter sales by quarter",
    "What the sales of each fiscal quarter left.",
    (
        key("quarter", "Fiscal quarter."),
        count("sales", "Sales."),
        _REVENUE,
        _EXTRAS,
        _FEE,
        _FILM_COST,
        _STAFF,
        _OTHER_STAFF,
        _MARGIN,
        _DISPLACED,
        _LATER,
        _NET,
        money("net_low", _LOW),
        money("net_high", _HIGH),
        count("told", "Sales of which every amount is known: expected_net is theirs."),
    ),
)

# --- does it pay --------------------------------------------------------------------------------

COUNTER_VERDICTS = Table(
    "counter_verdicts",
    "Does a counter sale pay?",
    "A sale such as those of the last twelve months: over all, by film, by the install it stands "
    "in for, and in idle and full months apart. Chances are learnt from all sales to date.",
    (
        key("kind", "all, film, service or months."),
        key("group", "Which of them."),
        count("sales", "Sales of the twelve months."),
        count("told", "Those of which every amount is known: the figures are theirs."),
        money("net_each", f"Margin − displaced + later installs{_EACH}.", sums=False),
        money("net_low", _LOW, sums=False),
        money("net_high", _HIGH, sums=False),
        _PAYS,
        _VERDICT,
        money("margin_each", f"Margin before displaced and later installs{_EACH}.", sums=False),
        money("margin_low", _LOW, sums=False),
        money("margin_high", _HIGH, sums=False),
        money("install_each", "What a displaced install would have left.", sums=False),
        money("displaced_each", f"Cost of displaced installs{_EACH}.", sums=False),
        money("later_each", f"Later installs{_EACH}.", sums=False),
        _BREAK_EVEN,
        _ANSWERS,
        count("would_have_booked", "Those of them that answered yes."),
        count("unsure", "Sales to date whose customer was unsure."),
        percent("displaced_pct", "Chance that a sale takes an install's place."),
        percent("displaced_low_pct", _LOW),
        percent("displaced_high_pct", _HIGH),
        count("came_back", "Sales to date whose customer booked an install later."),
        percent("later_pct", "Chance of an install booked later, within the months seen."),
        percent("later_low_pct", _LOW),
        percent("later_high_pct", _HIGH),
        text("unknown", "What moves the answer most."),
        count("further_answers", "Answers at the counter that would probably settle it."),
        text("reason", "Why, in words."),
        ENOUGH,
    ),
)

COUNTER_UNKNOWNS = Table(
    "counter_unknowns",
    "What the answer hangs on",
    "Each unknown moved over its 90 % interval, the others held at their means: what a sale leaves "
    "then, and what it would be worth to know it.",
    (
        key("unknown", "What is not known."),
        _number("middle", "Its mean, in percent, minutes or money."),
        _number("low", _LOW),
        _number("high", _HIGH),
        text("unit", "Unit of the three: percent, minutes or money."),
        money("net_at_low", "What a sale leaves at the lower end.", sums=False),
        money("net_at_high", "What a sale leaves at the upper end.", sums=False),
        money("swing", "The distance between the two.", sums=False),
        money(
            "value_of_knowing",
            "What knowing it for sure would add a year: the expected value of perfect information "
            "about it (Howard 1966) × sales a year.",
            sums=False,
        ),
        text("record", "What to write down to be surer."),
    ),
)

# --- prices and kits ----------------------------------------------------------------------------

CUT_FILM_PRICES = Table(
    "cut_film_prices",
    "Price list of cut film",
    "By film, width and length: the lowest price at which a sale leaves nothing, and the price to "
    "ask. Film at its newest landed cost.",
    (
        FILM,
        key("width", "Width of the piece.", Kind.LENGTH),
        key("length", "Length of the piece.", Kind.LENGTH),
        length("roll_width", "Width of the roll it is cut from."),
        text("strip", "no strip, keep the strip, or price the whole width."),
        area("film_area", "Film that the price pays for."),
        money("film_price_cost", "That film at its newest landed cost.", sums=False),
        money("staff_each", "Staff time of a sale.", sums=False),
        money(
            "installs_each",
            "Displaced − later installs, in proportion to the area of the piece.",
            sums=False,
        ),
        money("lowest_price", "Price as written at which nothing is left after all.", sums=False),
        per_length("lowest_price_per_length", "Lowest price ÷ length."),
        money(
            "price_to_ask",
            "Price as written that leaves counter.margin after film and staff time, once it has "
            "paid for displaced installs; rounded up.",
            sums=False,
        ),
        per_length("price_to_ask_per_length", "Price to ask ÷ length."),
        money(
            "price_so_far",
            "What sales of the twelve months ask for such a piece, by area; blank for areas that "
            "were not sold.",
            sums=False,
        ),
        text("note", "What was assumed, or is missing."),
    ),
)

COUNTER_KITS = Table(
    "counter_kits",
    "Kits of cut film",
    "For people who fit film themselves, by request and vehicle class: what to cut, its price, and "
    "what the install of the same costs.",
    (
        SERVICE,
        CLASS,
        FILM,
        count("pieces", "Pieces in the kit."),
        text("cut_list", "Each piece as it is cut, length × width."),
        length("allowance", "What the pieces are larger, a side, than finished, on the mean."),
        length("roll_width", "Width of the roll."),
        length("cut_length", "Length to cut off the roll."),
        area("film_area", "Film that the price pays for."),
        money("kit_lowest_price", "Price as written at which nothing is left.", sums=False),
        money("kit_price", "Price as written to ask, as for cut film.", sums=False),
        money("install_price", "List price of the install.", sums=False),
        money("difference", "Install − kit: what the customer pays for the work.", sums=False),
        money("install_leaves", "What an install leaves the shop, its redos paid.", sums=False),
        count("requests", "Counter sales to date that stood in for this service."),
        text("note", "What was assumed, or is missing."),
    ),
)

COUNTER_RESULT_TABLES: Final = (
    COUNTER_VERDICTS,
    COUNTER_UNKNOWNS,
    CUT_FILM_PRICES,
    COUNTER_KITS,
    COUNTER_SALES,
    COUNTER_BY_QUARTER,
    COUNTER_SALES_EACH,
)
# Sums by film come for the trailing year too; the others for the quarter alone.
COUNTER_QUARTER_ONLY: Final = tuple(
    table.name for table in COUNTER_RESULT_TABLES if table is not COUNTER_SALES
)
