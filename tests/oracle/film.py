"""The stock of one film: layers of roll film, a shelf of offcuts, and what each cut cost.

A receipt is a layer. Cuts take the roll they name and then the oldest layers. What all layers
lack is a shortage, a negative balance that the next receipt repays. A kept offcut goes to the
shelf at the cost at which it was issued.
"""

from __future__ import annotations

from datetime import date
from fractions import Fraction

from .reading import add_months, tidy

NOTHING = Fraction(0)


class Line:
    """A purchase line of film: its area, its landed cost, and who has drawn from it."""

    def __init__(self, area: Fraction, cost: Fraction, roll_id: str | None = None) -> None:
        self.area, self.cost, self.roll_id = area, cost, roll_id
        self.credited = NOTHING
        self.returned_area = NOTHING
        self.draws: list[tuple[Use, Fraction]] = []

    def landed_per_area(self) -> Fraction:
        """Price less discount plus freight share, less the credits so far, over the area."""
        return (self.cost - self.credited) / self.area


class Layer:
    """What is left of one receipt."""

    def __init__(self, line: Line | None, area: Fraction, cost: Fraction) -> None:
        self.line, self.area, self.cost = line, area, cost

    def roll_id(self) -> str | None:
        return self.line.roll_id if self.line else None


class Offcut:
    """A piece on the shelf; `leaving` holds (day, why, area, cost) of what was taken from it."""

    def __init__(self, area: Fraction, cost: Fraction, roll_id: str | None, kept_on: date) -> None:
        self.area, self.cost, self.roll_id, self.kept_on = area, cost, roll_id, kept_on
        self.kept_area, self.kept_cost = area, cost
        self.leaving: list[tuple[date, str, Fraction, Fraction]] = []

    def take(self, wanted: Fraction, on: date, why: str) -> tuple[Fraction, Fraction]:
        """As much of it as is wanted and there; the area taken and its share of the cost."""
        taken = min(self.area, wanted)
        part = self.cost if taken == self.area else tidy(self.cost * taken / self.area)
        self.area -= taken
        self.cost -= part
        self.leaving.append((on, why, taken, part))
        return taken, part


class Use:
    """Film that left: whose it was, and its own cost after the kept part and later credits.

    `booked` is that cost before later credits; `offcut` what was put back on the shelf.
    """

    def __init__(self, whose: str) -> None:
        self.whose = whose
        self.cost = self.booked = NOTHING
        self.offcut: Offcut | None = None


class Count:
    """What a count found: the books before it, and what was missing, at its cost."""

    def __init__(self, on: date, book: Fraction, counted: Fraction) -> None:
        self.on, self.book, self.counted = on, book, counted
        self.missing = book - counted
        self.cost = NOTHING


class FilmStore:
    """The stock of one film. `moves` holds (day, heading, area, cost) for the reconciliation."""

    def __init__(self, costing: str, offcut_life_months: int, first_line: Line | None) -> None:
        self.moving_average = costing == "moving-average"
        self.offcut_life_months = offcut_life_months
        self.first_line = first_line
        self.ever_bought = first_line is not None
        self.last_line: Line | None = None
        self.layers: list[Layer] = []
        self.offcuts: list[Offcut] = []
        self.offcuts_ever: list[Offcut] = []
        self.counts: list[Count] = []
        self.short_area, self.short_cost = NOTHING, NOTHING
        self.short_uses: list[tuple[Use | None, Fraction]] = []
        self.carried_cost = NOTHING
        self.average_cost = NOTHING  # of all layers together, where the moving average is used
        self.moves: list[tuple[date, str, Fraction, Fraction]] = []

    # ---- what is there -------------------------------------------------------------------

    def roll_area(self) -> Fraction:
        return sum((layer.area for layer in self.layers), NOTHING)

    def book_area(self) -> Fraction:
        """Layers and offcuts less the shortage."""
        return self.roll_area() + sum((o.area for o in self.offcuts), NOTHING) - self.short_area

    def book_cost(self) -> Fraction:
        rolls = self.average_cost + sum((layer.cost for layer in self.layers), NOTHING)
        return (
            rolls
            + sum((o.cost for o in self.offcuts), NOTHING)
            - self.short_cost
            + self.carried_cost
        )

    def newest_landed(self) -> Fraction:
        """Landed cost per area of the newest line received; before any, of the first to come."""
        line = self.last_line or self.first_line
        return line.landed_per_area() if line else NOTHING

    # ---- receipts ------------------------------------------------------------------------

    def receive(self, line: Line, on: date) -> None:
        """A purchase line comes in as one layer, after it has repaid a shortage."""
        self.last_line = line
        self.moves.append((on, "purchased", line.area, line.cost))
        self.add_layer(line, line.area, line.cost)

    def add_layer(self, line: Line | None, area: Fraction, cost: Fraction) -> None:
        """Shortage repaid first; a cost left on no area is carried to the next receipt."""
        self.repay_uses(line, min(area, self.short_area))
        left_area = area - self.short_area
        left_cost = cost - self.short_cost + self.carried_cost
        self.short_area = self.short_cost = self.carried_cost = NOTHING
        if left_area < 0:
            self.short_area, self.short_cost = -left_area, -left_cost
        elif left_area == 0:
            self.carried_cost = left_cost
        elif self.moving_average:
            self.layers.append(Layer(line, left_area, NOTHING))
            self.average_cost += left_cost
        else:
            self.layers.append(Layer(line, left_area, left_cost))

    def repay_uses(self, line: Line | None, area: Fraction) -> None:
        """The uses that were short have drawn from the line that repays them, the oldest first."""
        while area > 0:
            use, short = self.short_uses.pop(0)
            drawn = min(short, area)
            if line and use:
                line.draws.append((use, drawn))
            elif line:
                line.returned_area += drawn
            if drawn < short:
                self.short_uses.insert(0, (use, short - drawn))
            area -= drawn

    def give_back(self, area: Fraction, cost: Fraction, roll_id: str | None, on: date) -> None:
        """Film goes back to the supplier: from its roll, else from the newest layers backwards.

        The line's own landed cost leaves, shared over the touched layers by area; a difference to
        a layer's cost stays with the rest of the layer; when nothing is left of it, it is the
        shop's.
        """
        self.moves.append((on, "purchased", -area, -cost))
        newest_first = self.layers[::-1]
        of_roll = [layer for layer in newest_first if roll_id and layer.roll_id() == roll_id]
        left, left_cost = area, cost
        for layer in of_roll + [layer for layer in newest_first if layer not in of_roll]:
            taken = min(layer.area, left)
            leaving = left_cost if taken == left else tidy(cost * taken / area)
            layer.area -= taken
            if layer.line:
                layer.line.returned_area += taken
            if self.moving_average:
                self.average_cost -= leaving
            else:
                layer.cost -= leaving
            left -= taken
            left_cost -= leaving
        if left > 0:
            self.short_area += left
            self.short_cost += left_cost
            self.short_uses.append((None, left))
        carried = self.carried_cost
        self.drop_empty_layers()
        if lost := self.carried_cost - carried:
            self.carried_cost = carried
            self.moves.append((on, "shop", NOTHING, lost))

    def drop_empty_layers(self) -> None:
        """The cost that still stands on an empty layer, or on no layer at all, is carried."""
        self.carried_cost += sum((layer.cost for layer in self.layers if layer.area == 0), NOTHING)
        self.layers = [layer for layer in self.layers if layer.area > 0]
        if self.moving_average and not self.layers:
            self.carried_cost += self.average_cost
            self.average_cost = NOTHING

    # ---- credits -------------------------------------------------------------------------

    def credit(self, line: Line, amount: Fraction, on: date) -> None:
        """A price allowance on a line.

        The share that is still in stock lowers the layer's cost. The rest lowers, by the area
        drawn, the cost of the cuts and count losses that drew from the line; it is booked under
        their heading on the credit's date.
        """
        line.credited += amount
        self.moves.append((on, "purchased", NOTHING, -amount))
        layer = next((layer for layer in self.layers if layer.line is line), None)
        in_stock = layer.area if layer else NOTHING
        area = line.area - line.returned_area
        kept_back = tidy(amount * in_stock / area) if layer else NOTHING
        rest = amount - kept_back
        if self.moving_average:
            self.average_cost -= kept_back
        elif layer:
            layer.cost -= kept_back
        drawn = sum((share for _, share in line.draws), NOTHING)
        for use, share in line.draws:
            part = tidy((amount - kept_back) * share / drawn)
            use.cost -= part
            rest -= part
            self.moves.append((on, use.whose, NOTHING, -part))
        self.carried_cost -= rest  # nothing but the last decimal, unless nobody drew

    # ---- cuts ----------------------------------------------------------------------------

    def pull(
        self,
        whose: str,
        on: date,
        pulled: Fraction,
        kept: Fraction = NOTHING,
        roll_id: str | None = None,
        from_offcuts: bool = False,
    ) -> Use:
        """One cut: issued whole, the kept part back on the shelf at its share of the issue cost."""
        use = Use(whose)
        cost, left = NOTHING, pulled
        if from_offcuts:
            cost, left = self.take_offcuts(pulled, roll_id, on, "used")
        if left > 0:
            cost += self.take_rolls(left, roll_id, use)
        kept_cost = tidy(cost * kept / pulled)
        if kept > 0:
            use.offcut = Offcut(kept, kept_cost, roll_id, on)
            self.offcuts.append(use.offcut)
            self.offcuts_ever.append(use.offcut)
        use.cost = use.booked = cost - kept_cost
        self.moves.append((on, whose, pulled - kept, use.cost))
        return use

    def take_offcuts(
        self, wanted: Fraction, roll_id: str | None, on: date, why: str
    ) -> tuple[Fraction, Fraction]:
        """Offcuts of the same roll first, then the oldest; the cost and the area still lacking."""
        same_roll = [o for o in self.offcuts if roll_id and o.roll_id == roll_id]
        others = [o for o in self.offcuts if o not in same_roll]
        cost = NOTHING
        for offcut in same_roll + others:
            if wanted == 0:
                break
            taken, part = offcut.take(wanted, on, why)
            cost += part
            wanted -= taken
        self.offcuts = [o for o in self.offcuts if o.area > 0]
        return cost, wanted

    def take_rolls(self, wanted: Fraction, roll_id: str | None, use: Use) -> Fraction:
        """The named roll first, then the oldest layers, then short. Returns the issue cost."""
        average = (
            self.average_cost / self.roll_area() if self.moving_average and self.layers else NOTHING
        )
        of_roll = [layer for layer in self.layers if roll_id and layer.roll_id() == roll_id]
        others = [layer for layer in self.layers if layer not in of_roll]
        cost = NOTHING
        for layer in of_roll + others:
            taken = min(layer.area, wanted)
            if taken == 0:
                continue
            if self.moving_average:
                landed = layer.line.landed_per_area() if layer.line else average
                part = tidy(taken * (landed if layer in of_roll else average))
                self.average_cost -= part
            else:
                part = layer.cost if taken == layer.area else tidy(layer.cost * taken / layer.area)
                layer.cost -= part
            layer.area -= taken
            cost += part
            wanted -= taken
            if layer.line:
                layer.line.draws.append((use, taken))
        if wanted > 0:
            part = tidy(wanted * self.newest_landed())
            self.short_area += wanted
            self.short_cost += part
            self.short_uses.append((use, wanted))
            cost += part
        self.drop_empty_layers()
        return cost

    # ---- counts and the end of an offcut's life ------------------------------------------

    def count(self, counted: Fraction, on: date) -> None:
        """Book less counted is unexplained: a loss from the oldest film, or a surplus received."""
        found = Count(on, self.book_area(), counted)
        self.counts.append(found)
        unexplained = found.missing
        if unexplained > 0:
            use = Use("unexplained")
            from_rolls = min(unexplained, self.roll_area())
            cost = self.take_rolls(from_rolls, None, use) if from_rolls > 0 else NOTHING
            if unexplained > from_rolls:
                cost += self.take_offcuts(unexplained - from_rolls, None, on, "missing")[0]
            use.cost = use.booked = found.cost = cost
            self.moves.append((on, "unexplained", unexplained, cost))
        elif unexplained < 0:
            cost = tidy(-unexplained * self.newest_landed())
            found.cost = -cost
            self.moves.append((on, "unexplained", unexplained, -cost))
            self.add_layer(None, -unexplained, cost)

    def expire(self, today: date) -> None:
        """Offcuts whose life is over leave as shop use, on the day on which it was over."""
        for offcut in list(self.offcuts):
            over_on = self.leaves_on(offcut)
            if over_on <= today:
                self.offcuts.remove(offcut)
                area, cost = offcut.take(offcut.area, over_on, "written_off")
                self.moves.append((over_on, "shop", area, cost))

    def leaves_on(self, offcut: Offcut) -> date:
        """The day on which its life is over."""
        return add_months(offcut.kept_on, self.offcut_life_months)

    def check(self) -> None:
        """Everything that moved is what is there, exactly, in area and in money."""
        for position, book in ((2, self.book_area()), (3, self.book_cost())):
            moved = NOTHING
            for move in self.moves:
                amount = move[2] if position == 2 else move[3]
                moved += amount if move[1] == "purchased" else -amount
            if moved != book:
                raise AssertionError(
                    f"film moved {float(moved)} is not film in stock {float(book)}"
                )
