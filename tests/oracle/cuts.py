"""From purchases, cuts, sales and job sheets to what each pull of film cost.

Every pull is a `Pull`: whose it was, how large, what became of it, and its cost from the store.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from datetime import date
from fractions import Fraction

from .film import NOTHING, FilmStore, Line, Use
from .jobs import Job, JobLine
from .reading import Row, Shop, share_out_cents

Widths = dict[str, list[tuple[date, Fraction, str | None]]]  # per film, by receipt
Event = tuple[date, int, Callable[[FilmStore], object]]


class Bought:
    """A purchase row of film or consumables with its landed cost."""

    def __init__(self, row: Row, value: Fraction, freight: Fraction) -> None:
        self.row, self.cost = row, value + freight
        self.is_film = row["kind"] == "film"
        self.is_return = row["quantity"] < 0
        self.line: Line | None = None
        if self.is_film and not self.is_return:
            self.line = Line(
                row["quantity"] * row["roll_width"] * row["roll_length"], self.cost, row["roll_id"]
            )


class Pull:
    """One pull of film."""

    def __init__(
        self,
        film: str,
        on: date,
        whose: str,
        job_id: str | None = None,
        job_line: JobLine | None = None,
        sale_id: str | None = None,
    ) -> None:
        self.film, self.on, self.whose = film, on, whose
        self.job_id, self.job_line, self.sale_id = job_id, job_line, sale_id
        self.cut_id: str | None = None
        self.panel: str | None = None
        self.reason = "first"
        self.roll_id: str | None = None
        self.from_offcuts = False
        self.width: Fraction | None = None  # pulled off the roll
        self.kept_sides: tuple[Fraction, Fraction] | None = None
        self.piece_sides: tuple[Fraction, Fraction] | None = None  # of each of its pieces
        self.pieces = 1
        self.pulled = self.kept = self.opening = NOTHING
        self.piece: Fraction | None = None
        self.finished_gross: Fraction | None = None
        self.use: Use | None = None
        self.cost_is_known = True

    def consumed(self) -> Fraction:
        """Pulled less kept."""
        return self.pulled - self.kept

    def cost(self) -> Fraction | None:
        """Its own cost: the issue cost of what was not kept, less later credits on it."""
        return self.use.cost if self.use and self.cost_is_known else None

    def booked(self) -> Fraction | None:
        """Its cost as it was booked on its day, before any later credit."""
        return self.use.booked if self.use and self.cost_is_known else None

    def cost_of(self, area: Fraction | None) -> Fraction | None:
        """Its own cost x a part of its consumed area over the whole of it."""
        cost, consumed = self.cost(), self.consumed()
        if consumed == 0 and cost is not None:
            return NOTHING
        return None if cost is None or area is None else cost * area / consumed

    def finished(self) -> Fraction | None:
        """A first-time cut finishes its finished pieces less the opening; any other, nothing."""
        if self.reason != "first":
            return NOTHING
        return None if self.finished_gross is None else self.finished_gross - self.opening


# ---- purchases -------------------------------------------------------------------------------


def land_purchases(shop: Shop) -> list[Bought]:
    """Film and consumable rows in file order, each with its share of its invoice's freight.

    Value = quantity x unit price - discount. The freight rows of an invoice are added and shared
    once, in cents, by value over its film and consumable rows; returned film takes none.
    """
    freight: dict[str, Fraction] = defaultdict(Fraction)
    rows: dict[str, list[int]] = defaultdict(list)
    for position, row in enumerate(shop["purchases"]):
        if row["kind"] == "freight":
            freight[row["invoice"]] += value_of(row)
        elif row["kind"] in ("film", "consumable") and value_of(row) >= 0 and row["quantity"] > 0:
            rows[row["invoice"]].append(position)
    share: dict[int, Fraction] = {}
    for invoice, positions in rows.items():
        weights = [value_of(shop["purchases"][position]) for position in positions]
        share.update(zip(positions, share_out_cents(freight[invoice], weights), strict=True))
    return [
        Bought(row, value_of(row), share.get(position, NOTHING))
        for position, row in enumerate(shop["purchases"])
        if row["kind"] in ("film", "consumable")
    ]


def value_of(row: Row) -> Fraction:
    value: Fraction = row["quantity"] * row["unit_price"] - (row["discount"] or 0)
    return value


def place_credits(shop: Shop, bought: list[Bought]) -> list[tuple[date, Bought, Fraction]]:
    """Credits in file order as (day, purchase row, amount).

    Quantity x unit price, shared by value over the rows of its item (and roll) on its invoice;
    where there are none, on the newest row of the item (and roll) received by then. A credit with
    no row to go to is in no cost.
    """
    of_item: dict[str, list[Bought]] = defaultdict(list)
    for purchase in bought:
        if not purchase.is_return:
            of_item[purchase.row["item"]].append(purchase)
    placed = []
    for row in shop["purchases"]:
        if row["kind"] != "credit":
            continue
        amount, on = row["quantity"] * row["unit_price"], row["received_on"]
        fitting = [p for p in of_item[row["item"]] if row["roll_id"] in (None, p.row["roll_id"])]
        same_invoice = [p for p in fitting if p.row["invoice"] == row["invoice"]]
        earlier = [p for p in fitting if p.row["received_on"] <= on]
        if len(same_invoice) > 1:
            amounts = share_out_cents(amount, [value_of(p.row) for p in same_invoice])
            placed += [(on, p, part) for p, part in zip(same_invoice, amounts, strict=True)]
        elif same_invoice:
            placed.append((on, same_invoice[0], amount))
        elif earlier:
            newest = max(p.row["received_on"] for p in earlier)
            placed.append((on, [p for p in earlier if p.row["received_on"] == newest][-1], amount))
    return [(max(on, p.row["received_on"]), p, part) for on, p, part in placed]


def widths_bought(bought: list[Bought]) -> Widths:
    """Per film, (day, roll width, roll) of its purchases in order of receipt."""
    widths: Widths = defaultdict(list)
    for purchase in bought:
        if purchase.is_film:
            row = purchase.row
            widths[row["item"]].append((row["received_on"], row["roll_width"], row["roll_id"]))
    for rows in widths.values():
        rows.sort(key=lambda receipt: receipt[0])
    return widths


# ---- the pulls -------------------------------------------------------------------------------


def pulls_of(shop: Shop, jobs: dict[str, Job], bought: list[Bought]) -> list[Pull]:
    """All pulls in their order within a day: cuts, sales without a cut, pulls of job sheets."""
    widths = widths_bought(bought)
    cuts = pulls_of_cuts(shop, jobs, widths)
    with_cut = {pull.sale_id for pull in cuts}
    sales = [
        pull_of_sale(row, widths) for row in shop["counter_sales"] if row["sale_id"] not in with_cut
    ]
    jobs_with_cut = {pull.job_id for pull in cuts}
    in_file_order = sorted(
        (line for job in jobs.values() for line in job.lines), key=lambda line: line.position
    )
    sheets = [
        pull_of_sheet(line, line.finished_on, widths)
        for line in in_file_order
        if line.finished_on
        and line.row["pulled_length"]
        and line.row["film"]
        and line.job_id not in jobs_with_cut
    ]
    return cuts + sales + sheets


def pulls_of_cuts(shop: Shop, jobs: dict[str, Job], widths: Widths) -> list[Pull]:
    """The rows of the cut log. The sold piece is the finished area of a sale's first-time cut."""
    sold = {row["sale_id"]: row["length"] * row["width"] for row in shop["counter_sales"]}
    pulls = []
    for row in shop["cuts"]:
        job_id = row["job_id"]
        sale_id = None if job_id else row["sale_id"]
        whose = "jobs" if job_id else "counter_sales" if sale_id else "shop"
        job_line = jobs[job_id].line_of_cut(row) if job_id in jobs else None
        pull = Pull(row["film"], row["cut_on"], whose, job_id, job_line, sale_id)
        pull.panel, pull.reason, pull.roll_id = (
            row["panel"],
            row["reason"] or "first",
            row["roll_id"],
        )
        pull.from_offcuts = row["source"] == "offcut"
        pull.cut_id = row["cut_id"]
        pull.width = row["pulled_width"] or width_of_cut(row, widths)
        pull.pulled = row["pulled_length"] * pull.width
        pull.kept = area_of(row, "kept") or NOTHING
        pull.kept_sides, pull.piece_sides = sides_of(row, "kept"), sides_of(row, "piece")
        pull.pieces = int(row["pieces"] or 1)
        pull.opening = row["opening_area"] or NOTHING
        pull.piece, pull.finished_gross = area_of(row, "piece"), area_of(row, "finished")
        if sale_id in sold and pull.reason == "first" and pull.finished_gross is None:
            area = sold.pop(sale_id)
            pull.finished_gross = area + pull.opening
            pull.piece = area if pull.piece is None else pull.piece
        pulls.append(pull)
    return pulls


def area_of(row: Row, part: str) -> Fraction | None:
    """Length x width of a part of the cut, all pieces together; None where it is not given."""
    sides = sides_of(row, part)
    if sides is None:
        return None
    pieces = 1 if part == "kept" else row["pieces"] or 1
    area: Fraction = pieces * sides[0] * sides[1]
    return area


def sides_of(row: Row, part: str) -> tuple[Fraction, Fraction] | None:
    """Length and width of a part of the cut; None where one of them is not given."""
    length, width = row[f"{part}_length"], row[f"{part}_width"]
    return None if length is None or width is None else (length, width)


def width_of_cut(row: Row, widths: Widths) -> Fraction:
    """The width of the roll that the cut names, else the width that all purchases share."""
    for _, width, roll_id in widths[row["film"]]:
        if roll_id and roll_id == row["roll_id"]:
            return width
    return shared_width(row["film"], widths)


def shared_width(film: str, widths: Widths) -> Fraction:
    different = {width for _, width, _ in widths[film]}
    if len(different) != 1:
        raise ValueError(
            f"the width of a pull of {film} is neither given nor the same in all purchases"
        )
    return different.pop()


def pull_of_sale(row: Row, widths: Widths) -> Pull:
    """A sale without a cut pulls its length over the roll's width; what is sold is finished.

    The roll's width is the one that all purchases share, else that of the newest purchase by then
    that is wide enough, else the widest.
    """
    receipts = widths[row["film"]]
    wide_enough = [w for on, w, _ in receipts if on <= row["sold_on"] and w >= row["width"]]
    if len({width for _, width, _ in receipts}) > 1 and wide_enough:
        width = wide_enough[-1]
    else:
        width = max((width for _, width, _ in receipts), default=row["width"])
    pull = Pull(row["film"], row["sold_on"], "counter_sales", sale_id=row["sale_id"])
    pull.pulled = row["length"] * width
    pull.piece = pull.finished_gross = row["length"] * row["width"]
    return pull


def pull_of_sheet(line: JobLine, finished_on: date, widths: Widths) -> Pull:
    """A job sheet's pull, on the day on which the line was finished."""
    row = line.row
    pull = Pull(row["film"], finished_on, "jobs", line.job_id, line)
    pull.width = row["roll_width"] or shared_width(row["film"], widths)
    pull.pulled = row["pulled_length"] * pull.width
    pull.finished_gross = row["finished_area"]
    return pull


# ---- through the stores ----------------------------------------------------------------------


def run_stores(
    shop: Shop, bought: list[Bought], pulls: list[Pull], until: date
) -> dict[str, FilmStore]:
    """Each film's days in order: expired offcuts, purchases, credits, cuts, counts."""
    events: dict[str, list[Event]] = defaultdict(list)
    for purchase in bought:
        if purchase.is_film:
            events[purchase.row["item"]].append((purchase.row["received_on"], 1, receipt(purchase)))
    for on, purchase, amount in place_credits(shop, bought):
        if purchase.line:
            events[purchase.row["item"]].append((on, 2, crediting(purchase.line, amount, on)))
    for pull in pulls:
        events[pull.film].append((pull.on, 3, pulling(pull)))
    counted: dict[tuple[str, date], Fraction] = defaultdict(Fraction)
    for row in shop["stock_counts"]:
        area = row["area_on_hand"]
        counted[row["film"], row["counted_on"]] += (
            row["length_on_hand"] * row["roll_width"] if area is None else area
        )
    for (film, on), area in counted.items():
        events[film].append((on, 4, counting(area, on)))
    return {film: run_store(shop, film, events[film], bought, until) for film in events}


def run_store(
    shop: Shop, film: str, events: list[Event], bought: list[Bought], until: date
) -> FilmStore:
    lines = [p for p in bought if p.line and p.row["item"] == film]
    first = min(lines, key=lambda p: p.row["received_on"]).line if lines else None
    store = FilmStore(shop.settings.costing, shop.settings.offcut_life_months, first)
    for on, _, happens in sorted(events, key=lambda event: event[:2]):
        store.expire(on)
        happens(store)
    store.expire(until)
    store.check()
    return store


def receipt(purchase: Bought) -> Callable[[FilmStore], object]:
    row, line = purchase.row, purchase.line
    if line:
        return lambda store: store.receive(line, row["received_on"])
    area = -row["quantity"] * row["roll_width"] * row["roll_length"]
    return lambda store: store.give_back(area, -purchase.cost, row["roll_id"], row["received_on"])


def crediting(line: Line, amount: Fraction, on: date) -> Callable[[FilmStore], object]:
    return lambda store: store.credit(line, amount, on)


def counting(area: Fraction, on: date) -> Callable[[FilmStore], object]:
    return lambda store: store.count(area, on)


def pulling(pull: Pull) -> Callable[[FilmStore], object]:
    def happens(store: FilmStore) -> None:
        pull.use = store.pull(
            pull.whose, pull.on, pull.pulled, pull.kept, pull.roll_id, pull.from_offcuts
        )
        pull.cost_is_known = store.ever_bought

    return happens
