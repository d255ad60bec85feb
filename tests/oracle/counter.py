"""What counter sales left, as far as it is counted: chances are estimates, and not made again here.

Rows carry the names that the package uses inside: metres, square metres, shares of 1.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from .capacity import bay_hours_by_month, capacity_by_month, hours_by_month
from .cuts import Pull
from .jobs import card_fee
from .reading import Quarter, Row, first_day, month_number, quarter_of, ratio, total
from .tables import Amount, Costing, Table, in_key_order, less, product

NOTHING = Fraction(0)
FULL_FROM = Fraction(85, 100)
OF_SERVICE_ALONE = 3  # jobs of a class that weigh as much as all of the service
# Sums over all sales of a group; missing where one is missing.
SUMS = (
    "revenue",
    "extras_margin",
    "payment_fee",
    "film_cost",
    "side_loss_area_m2",
    "side_loss_cost",
    "spoiled_cost",
    "staff_cost",
    "other_staff_cost",
    "margin",
)


class Counter:
    """Every sale up to the end of the quarter that is reviewed.

    takes_installers : whether who serves would else be installing (`[counter]` of shop.toml)
    bays_govern : whether bays, and not people, are short; compared where that is decided
    """

    def __init__(
        self, costing: Costing, *, takes_installers: bool = True, bays_govern: bool = False
    ) -> None:
        self.costing, self.takes_installers = costing, takes_installers
        self.shop, self.settings = costing.shop, costing.settings
        self.sales = [
            sale for sale in self.shop["counter_sales"] if sale["sold_on"] <= costing.quarter.end
        ]
        self.usual_minutes = self.mean_minutes()
        self.hour_earned = self.find_hour_earned(bays_govern)
        self.use = self.use_by_month()
        self.installs = Installs(costing)
        self.each = [self.row_of(sale) for sale in self.sales]
        self.name_mixed_installs()

    # ---- what all sales share ----------------------------------------------------------------

    def mean_minutes(self) -> Fraction:
        """The mean of the minutes that were written down; 0 where none were."""
        written = [sale["minutes"] for sale in self.sales if sale["minutes"] is not None]
        mean: Fraction | None = ratio(total(written), len(written))
        return NOTHING if mean is None else mean

    def find_hour_earned(self, bays_govern: bool) -> Amount:
        """Material margin an hour of the year's finished lines, redos with them; never under 0."""
        margins, hours = [], []
        for costs in self.costing.in_year():
            its_hours = costs.bay_hours if bays_govern else costs.hours
            if costs.material_margin is not None and its_hours is not None:
                margins.append(costs.material_margin)
                hours.append(its_hours)
        earned = ratio(total(margins), total(hours))
        return None if earned is None else max(earned, NOTHING)

    def use_by_month(self) -> dict[int, Fraction]:
        """How full each month was, people or bays, whichever was fuller; no month without both.

        Before the first entry of the log, and after the last, nobody knows what was worked.
        """
        worked, held = hours_by_month(self.costing), bay_hours_by_month(self.costing)
        people = capacity_by_month(self.costing, "installer_hours")
        bays = capacity_by_month(self.costing, "bay_hours")
        found = {}
        for month in range(min(worked), max(worked) + 1) if worked else []:
            uses = [
                ratio(worked.get(month, NOTHING), people.get(month)),
                ratio(held.get(month, NOTHING), bays.get(month)),
            ]
            known = [use for use in uses if use is not None]
            if known:
                found[month] = max(known)
        return found

    def loaded_rate(self, quarter: Quarter) -> Amount:
        """Cost of the hours worked in a quarter over these hours; without any, the default wage."""
        inside = [work for work in self.costing.work if quarter.holds(work.on)]
        hours = total([work.hours for work in inside])
        if hours == 0:
            return self.costing.wages.default_loaded()
        return ratio(total([work.cost for work in inside]), hours)

    # ---- a sale ------------------------------------------------------------------------------

    def row_of(self, sale: Row) -> dict[str, Any]:
        quarter = quarter_of(sale["sold_on"], self.settings.fiscal_year_starts)
        vehicle_class = class_of_sale(sale, self.shop["vehicles"])
        row = {
            "sale_id": sale["sale_id"],
            "sold_on": sale["sold_on"],
            "quarter": quarter.label,
            "film": sale["film"],
            "service": sale["service"],
            "vehicle_class": vehicle_class,
            "length_m": sale["length"],
            "width_m": sale["width"],
            "would_book": sale["would_book"],
            "later_job_id": sale["later_job_id"],
            "install_contribution": self.installs.leaves(sale["service"], vehicle_class),
        }
        row |= self.money_of(sale) | self.film_of(sale) | self.month_of(sale)
        row |= self.staff_of(sale, self.loaded_rate(quarter), row["refill_share"])
        costs = ("payment_fee", "film_cost", "staff_cost", "other_staff_cost")
        came_in = row["revenue"] + row["extras_margin"]
        return row | {"margin": less(came_in, *[row[name] for name in costs])}

    def money_of(self, sale: Row) -> dict[str, Any]:
        """Net of tax; the fee on what was paid with tax, not rounded."""
        extras, net = sale["extras_price"] or NOTHING, 1 / (1 + self.settings.tax)
        paid = sale["price"] + extras
        free = sale["payment"] in ("cash", "transfer") or paid == 0
        return {
            "revenue": sale["price"] * net,
            "extras_margin": extras * net - (sale["extras_cost"] or NOTHING),
            "payment_fee": NOTHING if free else card_fee(paid, self.settings),
        }

    def film_of(self, sale: Row) -> dict[str, Any]:
        """Film of all its pulls. What was sold is set once against its first-time pulls."""
        pulls = [pull for pull in self.costing.pulls if pull.sale_id == sale["sale_id"]]
        first = [pull for pull in pulls if pull.reason == "first"]
        spoiled = [pull for pull in pulls if pull.reason != "first"]
        lost, lost_cost = NOTHING, NOTHING
        if first:
            consumed = total([pull.consumed() for pull in first])
            lost = consumed - sale["length"] * sale["width"]
            lost_cost = product(cost_of(first), ratio(lost, consumed))
        return {
            "film_cost": cost_of(pulls),
            "side_loss_area_m2": lost,
            "side_loss_cost": lost_cost,
            "spoiled_cost": cost_of(spoiled),
        }

    def month_of(self, sale: Row) -> dict[str, Any]:
        """Whether hours were short, and how likely other work took a free hour."""
        use = self.use.get(month_number(sale["sold_on"]))
        if use is None:
            return {"month_kind": "not known", "refill_share": NOTHING}
        above = (use - FULL_FROM) / (1 - FULL_FROM)
        return {
            "month_kind": "full" if use >= FULL_FROM else "idle",
            "refill_share": min(max(above, NOTHING), Fraction(1)),
        }

    def staff_of(self, sale: Row, loaded: Amount, refill: Fraction) -> dict[str, Any]:
        """Minutes written down at what an hour is paid; the rest of what they cost beside it."""
        written = sale["minutes"]
        staff = cost_of_minutes(written or NOTHING, loaded)
        rate = loaded
        if self.takes_installers and None not in (loaded, self.hour_earned):
            rate = max(loaded, refill * self.hour_earned)
        used = cost_of_minutes(self.usual_minutes if written is None else written, rate)
        return {"staff_cost": staff, "other_staff_cost": less(used, staff)}

    # ---- all sales ---------------------------------------------------------------------------

    def name_mixed_installs(self) -> None:
        """A sale that stands in for no known install: the mean of its film's, else of all."""
        known = [row for row in self.each if row["install_contribution"] is not None]
        found = [(row["film"], row["install_contribution"]) for row in known]
        for row in self.each:
            if row["install_contribution"] is None:
                of_film = [leaves for film, leaves in found if film == row["film"]]
                taken = of_film or [leaves for _, leaves in found]
                row["install_contribution"] = ratio(total(taken), len(taken))

    def by_film(self, *, year: bool) -> Table:
        """Sums by film, of the quarter or of the twelve months that end with it.

        A film that was ever sold has a row.
        """
        quarter = self.costing.quarter
        rows = []
        for film in in_key_order({row["film"] for row in self.each}):
            inside = [
                row
                for row in self.each
                if row["film"] == film
                and (
                    quarter.trailing_year_holds_month(month_number(row["sold_on"]))
                    if year
                    else quarter.holds(row["sold_on"])
                )
            ]
            rows.append({"film": film} | sums_of(inside))
        return rows

    def by_quarter(self) -> Table:
        """Sums by fiscal quarter, from that of the first sale to the one that is reviewed."""
        if not self.sales:
            return []
        starts, rows = self.settings.fiscal_year_starts, []
        first = quarter_of(min(sale["sold_on"] for sale in self.sales), starts)
        for month in range(first.first_month, self.costing.quarter.first_month + 1, 3):
            label = quarter_of(first_day(month), starts).label
            inside = [row for row in self.each if row["quarter"] == label]
            rows.append({"quarter": label} | sums_of(inside))
        return rows


def sums_of(rows: Table) -> dict[str, Any]:
    return {"sales": len(rows)} | {name: total([row[name] for row in rows]) for name in SUMS}


def cost_of(pulls: list[Pull]) -> Amount:
    return total([pull.cost() for pull in pulls])


def cost_of_minutes(minutes: Fraction, rate: Amount) -> Amount:
    """No minutes cost nothing, whatever an hour costs."""
    return NOTHING if minutes == 0 else product(minutes / 60, rate)


def class_of_sale(sale: Row, vehicles: list[Row]) -> str | None:
    """The class of its make and model, whose year is not known.

    Known where all rows of the model name one class.
    """
    classes = {
        vehicle["vehicle_class"]
        for vehicle in vehicles
        if sale["make"] and (vehicle["make"], vehicle["model"]) == (sale["make"], sale["model"])
    }
    return classes.pop() if len(classes) == 1 else None


class Installs:
    """What an install leaves once its redos are paid, by service and class."""

    def __init__(self, costing: Costing) -> None:
        self.to_date: list[tuple[str, str | None, Fraction]] = []
        self.of_year: list[tuple[str, str | None, Fraction]] = []
        in_year = {costs.line.position for costs in costing.in_year()}
        for costs in costing.costs:
            if costs.line.is_redo:
                continue
            redos = [c for c in costing.costs if c.line.is_redo and c.line.origin is costs.line]
            left = total([costs.contribution] + [redo.contribution for redo in redos])
            if left is None:
                continue
            known = (costs.line.service, costs.line.vehicle_class, left)
            self.to_date.append(known)
            if costs.line.position in in_year:
                self.of_year.append(known)

    def leaves(self, service: str | None, vehicle_class: str | None) -> Amount:
        """The service's mean, drawn towards that of the class the more jobs of it there were.

        Over the year's lines, else over all to date; missing for a service never done.
        """
        lines = [line for line in self.of_year if line[0] == service]
        lines = lines or [line for line in self.to_date if line[0] == service]
        if service is None or not lines:
            return None
        mean = mean_of([left for _, _, left in lines])
        of_class = [left for _, its_class, left in lines if its_class == vehicle_class]
        if vehicle_class is None or not of_class:
            return mean
        weight = Fraction(len(of_class), len(of_class) + OF_SERVICE_ALONE)
        return mean + weight * (mean_of(of_class) - mean)


def mean_of(amounts: list[Fraction]) -> Fraction:
    return sum(amounts, NOTHING) / len(amounts)
