"""Columns that several result tables share, and the short forms they are written in."""

from analysis.schema import Column, Kind


def money(name: str, sentence: str, *, sums: bool = True) -> Column:
    """An amount of money; adds over rows unless told otherwise."""
    return Column(name, Kind.MONEY, sentence, sums=sums)


def hours(name: str, sentence: str) -> Column:
    """Person hours; they add over rows."""
    return Column(name, Kind.HOURS, sentence, sums=True)


def area(name: str, sentence: str) -> Column:
    """An area; it adds over rows."""
    return Column(name, Kind.AREA, sentence, sums=True)


def count(name: str, sentence: str) -> Column:
    """A whole number that adds over rows."""
    return Column(name, Kind.WHOLE, sentence, sums=True)


def length(name: str, sentence: str) -> Column:
    """A length."""
    return Column(name, Kind.LENGTH, sentence)


def per_area(name: str, sentence: str) -> Column:
    """Money for one unit of area."""
    return Column(name, Kind.MONEY_PER_AREA, sentence)


def per_length(name: str, sentence: str) -> Column:
    """Money for one unit of length."""
    return Column(name, Kind.MONEY_PER_LENGTH, sentence)


def day(name: str, sentence: str) -> Column:
    """A day."""
    return Column(name, Kind.DATE, sentence)


def text(name: str, sentence: str) -> Column:
    """Words."""
    return Column(name, Kind.TEXT, sentence)


def percent(name: str, sentence: str) -> Column:
    """A percentage; a share inside."""
    return Column(name, Kind.PERCENT, sentence)


def key(name: str, sentence: str, kind: Kind = Kind.TEXT) -> Column:
    """A column that says what a row is about."""
    return Column(name, kind, sentence, key=True)


SERVICE = key("service", "Service.")
CLASS = key("vehicle_class", "Size class of the vehicle.")
FILM = key("film", "Code of the film.")
MAKE = key("make", "Make.")
MODEL = key("model", "Model.")
JOBS = count("jobs", "First-time job lines finished in the period.")
QUOTED = hours("quoted_hours", "Person hours quoted.")
ACTUAL = hours("actual_hours", "Person hours worked, rework included.")
REWORK = hours("rework_hours", "The part of the actual hours logged as rework.")
OVERRUN = percent("overrun_pct", "Sum of actual hours ÷ sum of quoted hours, less one.")
OVERRUN_COST = money(
    "overrun_cost", "(Actual hours − quoted hours) × the group's labour cost an hour."
)
REDO_HOURS = hours(
    "redo_hours",
    "Hours of redo jobs finished in the period, under the service and model of the first job.",
)
ENOUGH = Column(
    "enough", Kind.YES_NO, "Whether the count reaches pricing.fewest_jobs; greyed where not."
)
FEE = money("payment_fee", "Card fee: percent on what was paid, fixed part once a job.")
REVENUE = money("net_revenue", "Price invoiced, net of tax, less the payment fee.")
FILM_COST = money("film_cost", "Film consumed, at the landed cost of the film used.")
CONSUMABLES = money("consumables_cost", "Consumables an hour worked × actual hours.")
LABOUR = money("labour_cost", "Hours × loaded rate of the person on that day.")
OVERHEAD = money("overhead_cost", "Overhead rate at practical capacity × actual hours.")
MATERIAL_MARGIN = money("material_margin", "Net revenue − film − consumables.")
CONTRIBUTION = money("contribution", "Material margin − labour.")
