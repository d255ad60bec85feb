"""The shelf of one film: rolls in order of receipt, kept offcuts, and what each pull costs.

One store a film. Every method takes areas in square metres and money as plain numbers, and keeps
area and cost in balance: what was received is what was issued plus what is left.

The store goes through a film's events one after another, because what a pull takes depends on all
that came before it (a named roll, an offcut, a count). Plain lists keep that quick: about a
million pulls in a few seconds.
"""

from collections import defaultdict
from dataclasses import dataclass, field

# One square millimetre: less than this is no film. [m²]
LEAST_AREA = 1e-6
# What happens to an offcut.
KEPT, USED, WRITTEN_OFF, MISSING = "kept", "used", "written_off", "missing"


@dataclass
class Offcut:
    """A kept offcut on the shelf; `ref` is the pull that it was kept from."""

    area: float
    cost: float
    roll: str | None
    expires: float
    ref: int


@dataclass
class FilmStore:
    """Stock of one film, valued first-in first-out or at the moving average.

    Layers are held as parallel lists: what is left of each [m²], what it cost, its roll, the unit
    cost it landed at. `short_area` and `short_cost` are film cut that nothing was left for; the
    next receipt nets them at that cost. `carried` is money left on an area of 0; the next receipt
    takes it over. `first_unit` is the landed cost of the film's first purchase, for cuts before it
    (None: never bought). `offcut_moves` notes what happened to offcuts since it was last emptied:
    ref, what, area, cost. `draws` remembers which consumer drew from which layer, for credits that
    come after.
    """

    average: bool
    first_unit: float | None
    keep_draws: bool = False
    left: list[float] = field(default_factory=list)
    cost: list[float] = field(default_factory=list)
    unit: list[float] = field(default_factory=list)
    bought: list[float] = field(default_factory=list)
    by_roll: dict[str, list[int]] = field(default_factory=lambda: defaultdict(list))
    offcuts: list[Offcut] = field(default_factory=list)
    offcut_moves: list[tuple[int, str, float, float]] = field(default_factory=list)
    draws: dict[int, list[tuple[int, float]]] = field(default_factory=lambda: defaultdict(list))
    returned: dict[int, float] = field(default_factory=lambda: defaultdict(float))
    short_draws: list[tuple[int | None, float]] = field(default_factory=list)
    head: int = 0
    roll_area: float = 0.0
    roll_cost: float = 0.0
    offcut_area: float = 0.0
    short_area: float = 0.0
    short_cost: float = 0.0
    carried: float = 0.0
    last_layer: int | None = None
    next_expiry: float = float("inf")

    # -- what is there -------------------------------------------------------------------------

    @property
    def area(self) -> float:
        """Book stock: rolls and offcuts less what is short. [m²]"""
        return self.roll_area + self.offcut_area - self.short_area

    @property
    def value(self) -> float:
        """Cost of the book stock."""
        held = self.roll_cost if self.average else sum(self.cost)
        return held + sum(each.cost for each in self.offcuts) - self.short_cost + self.carried

    @property
    def newest_unit(self) -> float:
        """Landed cost of the newest purchase so far, else of the first to come; NaN if none."""
        if self.last_layer is not None:
            return self.unit[self.last_layer]
        return float("nan") if self.first_unit is None else self.first_unit

    # -- receipts ------------------------------------------------------------------------------

    def receive(self, area: float, cost: float, roll: str | None, *, purchase: bool) -> int:
        """Take in a layer; what was short is netted first. Returns the layer's number."""
        unit = cost / area
        cost += self.carried
        self.carried = 0.0
        if self.short_draws:
            self._repay(len(self.left), min(area, self.short_area))
        layer_area, layer_cost = area - self.short_area, cost - self.short_cost
        self.short_area = self.short_cost = 0.0
        if layer_area < -LEAST_AREA:
            self.short_area, self.short_cost = -layer_area, -layer_cost
            layer_area = layer_cost = 0.0
        elif layer_area <= LEAST_AREA:
            self.carried, layer_area, layer_cost = layer_cost, 0.0, 0.0
        layer = len(self.left)
        self.left.append(layer_area)
        self.cost.append(layer_cost)
        self.unit.append(unit)
        self.bought.append(area)
        self.roll_area += layer_area
        self.roll_cost += layer_cost
        if roll is not None:
            self.by_roll[roll].append(layer)
        if purchase:
            self.last_layer = layer
        return layer

    def _repay(self, layer: int, area: float) -> None:
        """Those who were short have drawn from the layer that repays them, the oldest first."""
        waiting, self.short_draws = self.short_draws, []
        for consumer, short in waiting:
            drawn = min(short, area)
            area -= drawn
            if consumer is None:
                self.returned[layer] += drawn
            elif drawn > 0:
                self.draws[layer].append((consumer, drawn))
            if short - drawn > LEAST_AREA:
                self.short_draws.append((consumer, short - drawn))

    def give_back(self, area: float, refund: float, roll: str | None) -> float:
        """Film goes back to the supplier: it leaves its roll (else the newest) at the refund.

        Returns what a roll that is gone with it had cost more than was refunded (a loss) or less;
        of a roll that is not gone, that stays with the rest of it.
        """
        carried = self.carried
        named = self.by_roll.get(roll, []) if roll is not None else []
        order = [*reversed(named), *(k for k in reversed(range(len(self.left))) if k not in named)]
        wanted, touched = area, []
        for layer in order:
            if wanted <= LEAST_AREA:
                break
            taken = min(self.left[layer], wanted)
            if taken > 0:
                touched.append((layer, taken))
                wanted -= taken
        if wanted > LEAST_AREA:
            self.short_area += wanted
            self.short_cost += refund * wanted / area
            if self.keep_draws:
                self.short_draws.append((None, wanted))
        for layer, taken in touched:
            self.returned[layer] += taken
            self._take_out(layer, taken, refund * taken / area)
        lost, self.carried = self.carried - carried, carried
        return lost

    # -- issues --------------------------------------------------------------------------------

    def issue(self, area: float, roll: str | None, consumer: int) -> tuple[float, float]:
        """Take film off the rolls. Returns its cost and the area that was short.

        A named roll gives first what it has left; the rest comes from the oldest layers.
        """
        total = 0.0
        average = self.roll_cost / self.roll_area if self.roll_area > LEAST_AREA else 0.0
        if roll is not None:
            for layer in self.by_roll.get(roll, ()):
                if area <= LEAST_AREA:
                    break
                taken = min(self.left[layer], area)
                if taken > 0:
                    price = self.unit[layer] * taken if self.average else None
                    total += self._draw(layer, taken, consumer, price)
                    area -= taken
        while area > LEAST_AREA and self.head < len(self.left):
            layer = self.head
            taken = min(self.left[layer], area)
            if taken > 0:
                price = average * taken if self.average else None
                total += self._draw(layer, taken, consumer, price)
                area -= taken
            if self.left[layer] <= 0:
                self.head += 1
        if area <= LEAST_AREA:
            return total, 0.0
        short_cost = area * self.newest_unit
        self.short_area += area
        self.short_cost += short_cost
        if self.keep_draws:
            self.short_draws.append((consumer, area))
        return total + short_cost, area

    def _draw(self, layer: int, taken: float, consumer: int, price: float | None) -> float:
        if self.left[layer] - taken <= LEAST_AREA:
            # The last millimetre goes with the pull, so that no layer keeps dust.
            taken = self.left[layer]
        if price is None:
            price = self.cost[layer] * taken / self.left[layer]
        if self.keep_draws:
            self.draws[layer].append((consumer, taken))
        self._take_out(layer, taken, price)
        return price

    def _take_out(self, layer: int, taken: float, price: float) -> None:
        self.left[layer] -= taken
        self.cost[layer] -= price
        self.roll_area -= taken
        self.roll_cost -= price
        if self.left[layer] <= LEAST_AREA and not self.average:
            self.carried += self.cost[layer]
            self.roll_cost -= self.cost[layer]
            self.cost[layer] = 0.0
        if self.left[layer] <= LEAST_AREA:
            self.roll_area -= self.left[layer]
            self.left[layer] = 0.0
        if self.average and self.roll_area <= LEAST_AREA:
            self.carried += self.roll_cost
            self.roll_area = self.roll_cost = 0.0

    # -- offcuts -------------------------------------------------------------------------------

    def keep(self, area: float, cost: float, roll: str | None, expires: float, ref: int) -> None:
        """Put an offcut on the shelf at the cost it was issued at."""
        self.offcuts.append(Offcut(area, cost, roll, expires, ref))
        self.offcut_moves.append((ref, KEPT, area, cost))
        self.offcut_area += area
        self.next_expiry = min(self.next_expiry, expires)

    def use_offcut(self, area: float, roll: str | None, what: str = USED) -> tuple[float, float]:
        """Take from the shelf: the same roll's offcuts first, else the oldest.

        Returns the cost and the area that the shelf lacked.
        """
        same = [each for each in self.offcuts if roll is not None and each.roll == roll]
        others = [each for each in self.offcuts if roll is None or each.roll != roll]
        total = 0.0
        for offcut in (*same, *others):
            if area <= LEAST_AREA:
                break
            taken = offcut.area if offcut.area - area <= LEAST_AREA else area
            price = offcut.cost * taken / offcut.area
            offcut.area -= taken
            offcut.cost -= price
            self.offcut_area -= taken
            area -= taken
            total += price
            self.offcut_moves.append((offcut.ref, what, taken, price))
        self.offcuts = [each for each in self.offcuts if each.area > 0]
        return total, max(area, 0.0) if area > LEAST_AREA else 0.0

    def write_off(self, day: float) -> list[Offcut]:
        """Offcuts whose life is over by this day leave the shelf."""
        if self.next_expiry > day:
            return []
        over = [each for each in self.offcuts if each.expires <= day]
        self.offcuts = [each for each in self.offcuts if each.expires > day]
        self.next_expiry = min((each.expires for each in self.offcuts), default=float("inf"))
        self.offcut_area -= sum(each.area for each in over)
        return over

    # -- corrections ---------------------------------------------------------------------------

    def count(self, counted: float, consumer: int) -> tuple[float, float]:
        """Bring the book to a count. Returns the unexplained area and cost; surplus negative."""
        gap = self.area - counted
        if gap < -LEAST_AREA:
            cost = -gap * self.newest_unit
            self.receive(-gap, cost, None, purchase=False)
            return gap, -cost
        if gap <= LEAST_AREA:
            return 0.0, 0.0
        from_rolls = min(gap, self.roll_area)
        cost = 0.0
        if from_rolls > LEAST_AREA:
            cost, _ = self.issue(from_rolls, None, consumer)
        if gap - from_rolls > LEAST_AREA:
            cost += self.use_offcut(gap - from_rolls, None, MISSING)[0]
        return gap, cost

    def credit(self, layer: int, amount: float) -> list[tuple[int, float]]:
        """Lower a layer's cost by a credit.

        The share of the layer still in stock stays with it; the rest lowers the cost of those who
        drew from it, by area. Returns (consumer, amount) of that rest.
        """
        kept = self.bought[layer] - self.returned[layer]
        in_stock = amount * self.left[layer] / kept if self.left[layer] > 0 else 0.0
        rest = amount - in_stock
        drawn = self.draws.get(layer, [])
        total = sum(area for _, area in drawn)
        self.unit[layer] -= amount / self.bought[layer]
        self.roll_cost -= in_stock
        self.cost[layer] -= in_stock
        if total <= 0:
            # Nobody drew from it: the money stays with the stock.
            self.carried -= rest
            return []
        return [(consumer, rest * area / total) for consumer, area in drawn]
