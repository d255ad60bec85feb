"""What each word on the page and in the workbook means.

The definitions of figures are the sentences of the result tables, so that a figure is defined in
one place. Added here: the words of a heading, the lines of the statement, and a few terms of the
trade.
"""

from dataclasses import dataclass
from typing import Final

from analysis.counter_tables import COUNTER_RESULT_TABLES
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Column, Kind

# Unit suffixes leave a heading: the unit itself stands there.
_SUFFIXES: Final = ("_per_area", "_pct", "_area", "_length")
_HEADINGS: Final = {
    "landed_cost_per_area": "Landed cost",
    "low_pct": "From",
    "low_hours": "From",
    "high_hours": "To",
    "high_pct": "To",
    "cuts_unmeasured": "Not measured",
    **dict.fromkeys(
        (
            "low_allowance",
            "piece_cost_low",
            "curve_low_pct",
            "saving_low",
            "difference_low",
            "installed_low_per_area",
            "weekly_low",
        ),
        "From",
    ),
    **dict.fromkeys(
        (
            "high_allowance",
            "piece_cost_high",
            "curve_high_pct",
            "saving_high",
            "difference_high",
            "installed_high_per_area",
            "weekly_high",
        ),
        "To",
    ),
    "recut_pct": "Cut again",
    "allowance": "Allowance from",
    "usual_allowance": "Usual allowance",
    "best_allowance": "Best allowance",
    "usual_recut_pct": "Cut again at the usual",
    "best_recut_pct": "Cut again at the best",
    "usual_cost": "Film a piece at the usual",
    "best_cost": "Film a piece at the best",
    "curve_pct": "By the curve",
    "piece_cost": "Film a piece",
    "rise_pct": "Rise a year",
    "avoidable_in_job_area": "Avoidable within jobs",
    "current_price": "Price now",
    "floor_price": "Floor",
    "suggested_price": "Suggested",
    "margin_pct": "Margin now",
    "suggested_margin_pct": "Margin then",
    "win_pct": "Won now",
    "suggested_win_pct": "Won then",
    "break_even_volume_pct": "Break-even volume",
    "won_pct": "Won",
    "at_list_pct": "Won at list price",
    "lost_by_rise_pct": "Lost by 5 % more",
    "installer_use_pct": "Use of people's hours",
    "bay_use_pct": "Use of bay hours",
    "a_month": "A month",
    "told": "With all known",
    "mix": "Mix of jobs",
    "redo": "Redos",
    "new": "Done this quarter alone",
    "discontinued": "Done last quarter alone",
    "price_spread_pct": "Prices vary by",
    "governs": "Ranked now",
    "price_since": "Price stands since",
    "expected_hours_sd": "Spread of hours",
    "win_before_pct": "Won before",
    **dict.fromkeys(
        (
            "gain_low",
            "won_low_pct",
            "at_list_low_pct",
            "lost_by_rise_low_pct",
            "slope_low",
            "win_low_pct",
            "margin_low",
            "hours_low",
        ),
        "From",
    ),
    **dict.fromkeys(
        (
            "gain_high",
            "won_high_pct",
            "at_list_high_pct",
            "lost_by_rise_high_pct",
            "slope_high",
            "win_high_pct",
            "margin_high",
            "hours_high",
        ),
        "To",
    ),
}
# Flows of film: the same words for the area and for its cost, since each has its unit.
_FLOW_HEADINGS: Final = {
    "opening": "Opening stock",
    "purchased": "Bought",
    "jobs": "Jobs",
    "counter_sales": "Counter sales",
    "shop": "Shop",
    "unexplained": "Unexplained",
    "closing": "Closing stock",
    "kept": "Kept",
    "used": "Used",
    "written_off": "Written off",
    "missing": "Missing",
}
_FLOW_TABLES: Final = ("film_reconciliation", "offcut_shelf")

# Columns of the counter sale: some of their names mean another thing in other tables.
_COUNTER_HEADINGS: Final = {
    **dict.fromkeys(("displaced_low_pct", "later_low_pct", "net_low", "low"), "From"),
    **dict.fromkeys(("displaced_high_pct", "later_high_pct", "net_high", "high"), "To"),
    "kind": "By",
    "group": "Which sales",
    "displaced_pct": "Displaced",
    "later_pct": "Booked later",
    "margin_each": "Margin a sale",
    "install_each": "An install leaves",
    "install_contribution": "An install leaves",
    "install_leaves": "An install leaves",
    "displaced_each": "Displaced installs",
    "displaced_cost": "Displaced installs",
    "later_each": "Later installs",
    "net_each": "Left a sale",
    "expected_net": "Left",
    "probability_pays": "Chance that it pays",
    "break_even_displaced_pct": "Break-even displaced",
    "side_loss_cost": "Cost of side loss",
    "spoiled_cost": "Cost of spoiled film",
    "staff_cost": "Staff time",
    "other_staff_cost": "Other staff time",
    "extras_margin": "Extras",
    "payment_fee": "Card fee",
    "refill_pct": "Hours taken by others",
    "month_kind": "Month",
    "later_job_id": "Later job",
    "sale_id": "Sale",
    "middle": "Mean",
    "net_at_low": "Left at the lower end",
    "net_at_high": "Left at the upper end",
    "value_of_knowing": "Knowing is worth, a year",
    "record": "Write down",
    "film_area": "Film paid for",
    "film_price_cost": "Cost of the film",
    "staff_each": "Staff time",
    "installs_each": "Displaced less later",
    "lowest_price_per_length": "Lowest price per length",
    "price_to_ask_per_length": "Price to ask per length",
    "allowance": "Cut larger, a side",
    "cut_length": "Cut off the roll",
    "kit_lowest_price": "Lowest kit price",
    "difference": "Paid for the work",
}
_COUNTER_TABLES: Final = tuple(table.name for table in COUNTER_RESULT_TABLES)

# The lines of the statement, in words.
STATEMENT_LINES: Final = {
    "net_revenue": "Net revenue",
    "film": "Film",
    "consumables": "Consumables",
    "labour": "Labour",
    "contribution": "Contribution",
    "overhead_on_jobs": "Overhead on jobs",
    "redo": "Redo",
    "full_margin_of_jobs": "Full margin of jobs",
    "counter_sales": "Counter sales",
    "shop_film": "Film used by the shop",
    "unexplained_film": "Unexplained film",
    "work_on_cancelled_and_open_jobs": "Work on cancelled and open jobs",
    "unused_capacity": "Unused capacity",
    "overhead_rate_difference": "Overhead rate difference",
    "result": "Result",
    "work_on_cancelled_jobs": "Work on cancelled jobs",
    "wages_of_unused_hours": "Wages of unused hours, if paid",
    "consumables_not_charged": "Consumables bought, not charged",
    "break_even_revenue": "Break-even revenue",
    "margin_of_safety_pct": "Margin of safety",
    "utilisation_pct": "Utilisation",
}

_NO_FIGURES: Final = frozenset({Kind.TEXT, Kind.DATE, Kind.YES_NO, Kind.NUMBER})

# Common practice in the trade, no source.
_TRADE: Final = {
    "Blank": "A figure that these records do not allow to be computed. Shown as –; it is never 0.",
    "Few": (
        "A figure that rests on fewer jobs or cuts than pricing.fewest_jobs in shop.toml. Shown "
        "grey and marked 'few': the next job could turn it round."
    ),
    "Bay": "A place in the shop where one vehicle stands while it is worked on.",
    "First-time job": "A job that does not do an earlier one over.",
    "Redo": "A job that does an earlier one over, named by redo_of.",
    "Offcut": "What is left of a pull and kept on the shelf for a later job.",
    "Pull": "The film taken off the roll in one go.",
    "Allowance": (
        "What a piece is cut larger than it is finished, a side: the mean of both directions."
    ),
    "Panel": "The part of a vehicle that a piece covers: roof, hood, mirror.",
    "Post-heat": "Warming film that is laid, so that it does not lift.",
    "Practical capacity": (
        "Hours that can really be worked in a month: paid hours less holidays, training, "
        "cleaning and waiting."
    ),
    "Loaded rate": "Wage with what the shop pays on top of it.",
    "Cell": "One service on one vehicle class, such as roofs on vans.",
    "Bridge": (
        "The steps from last quarter's margin to this one's: what each cause added or took away."
    ),
    "Mix": "How the jobs are divided among services and vehicle classes.",
    "Discontinued": "A cell with jobs in the quarter before and none in this one.",
    "Governs": (
        "What ranks the services: an hour of what is short, or contribution where nothing is."
    ),
    "Like for like": "Compared as if the jobs, or the quotes, had been the same ones each time.",
    "Slope": (
        "How fast the chance to win falls as the price rises: the further below 0, the more "
        "customers mind the price."
    ),
    "Price spread": (
        "How far the prices quoted lie from the list as a rule: about two in three lie no further "
        "from their mean."
    ),
    "Margins": (
        "Material margin is what film and consumables leave of the revenue; less labour it is "
        "contribution; less overhead and redos too it is full margin."
    ),
    "Counter sale": "Cut film sold to somebody who fits it without the shop.",
    "Displaced install": (
        "An install that the customer of a counter sale would have booked with the shop instead."
    ),
    "Idle and full months": (
        "A month is full where hours are short: of those of people or of bays, whichever are used "
        "more. In the others an hour that is freed stays free."
    ),
    "Kit": "The pieces of one request, cut larger than finished, for somebody to fit at home.",
    "Strip": "What a roll is wider than the piece that is cut from it.",
    "Trailing year": "The twelve months that end with the quarter.",
    "Wilson interval": (
        "A range in which the true rate of a count out of a count plausibly lies (Wilson 1927). "
        "Wide where the count is small."
    ),
}


@dataclass(frozen=True)
class Entry:
    """One word: its definitions, each with the titles of the tables it holds in (empty: all)."""

    term: str
    definitions: tuple[tuple[str, tuple[str, ...]], ...]


def heading(column: Column, table: str = "") -> str:
    """The words of a column's heading, without its unit: `waste_area` is `Waste`."""
    flow = column.name.removesuffix("_area").removesuffix("_cost")
    if table in _FLOW_TABLES and flow in _FLOW_HEADINGS:
        return _FLOW_HEADINGS[flow]
    if table in _COUNTER_TABLES and column.name in _COUNTER_HEADINGS:
        return _COUNTER_HEADINGS[column.name]
    if column.name in _HEADINGS:
        return _HEADINGS[column.name]
    stem = column.name
    for suffix in _SUFFIXES:
        stem = stem.removesuffix(suffix)
    words = stem.replace("_", " ")
    return words[:1].upper() + words[1:]


def statement_line(name: str) -> str:
    """A line of the statement in words; a name that is not known comes back in plain letters."""
    return STATEMENT_LINES.get(name, name.replace("_", " ").capitalize())


def glossary_entries() -> list[Entry]:
    """Every term that page and workbook print, in the order of the alphabet."""
    found: dict[str, dict[str, list[str]]] = {}
    for table in RESULT_TABLES.values():
        for column in table.columns:
            if _is_figure(column):
                term = heading(column, table.name)
                term += ", %" if column.kind is Kind.PERCENT else ""
                found.setdefault(term, {}).setdefault(column.sentence, []).append(table.title)
    entries = [_entry(term, sentences) for term, sentences in found.items()]
    entries += [Entry(term, ((sentence, ()),)) for term, sentence in _TRADE.items()]
    return sorted(entries, key=lambda each: each.term.casefold())


def _entry(term: str, sentences: dict[str, list[str]]) -> Entry:
    if len(sentences) == 1:
        return Entry(term, ((next(iter(sentences)), ()),))
    return Entry(term, tuple((text, tuple(titles)) for text, titles in sentences.items()))


def _is_figure(column: Column) -> bool:
    """Whether a column is a figure that wants a definition, and not a name, a date or a mark.

    The cost of a flow of film is left out: its area says what the flow is.
    """
    repeats = column.key or column.sentence.startswith(("Cost of film ", "Cost of offcuts "))
    return column.kind not in _NO_FIGURES and not repeats
