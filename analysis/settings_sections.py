"""The sections of `shop.toml`: every key with its default, range and one sentence."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


def setting(
    default: Any,
    sentence: str,
    *,
    kind: type = float,
    least: float | None = None,
    most: float | None = None,
    words: tuple[str, ...] = (),
    example: float | None = None,
) -> Any:
    """A key: its default, its sentence, what may stand there, an example where none is set."""
    meta = {"sentence": sentence, "kind": kind, "least": least, "most": most, "words": words}
    return field(default=default, metadata=meta | {"example": example})


def share(default: float, sentence: str) -> Any:
    """A key that holds a share of 1."""
    return setting(default, sentence + " A share: 0.20 is 20 %.", least=0.0, most=1.0)


@dataclass(frozen=True)
class Labour:
    """What an hour of work costs."""

    on_cost: float = setting(
        0.0,
        "What the shop pays on top of a wage (payroll tax, insurance, paid leave), as a share of "
        "it: 0.12 is 12 %. Rates and rules are your tax adviser's to say.",
        least=0.0,
        most=1.0,
    )
    overtime_multiplier: float = setting(
        1.5, "Wage of an overtime hour ÷ plain wage.", least=1, most=4
    )
    on_cost_on_overtime: bool = setting(
        False, "Whether on-costs apply to the overtime premium too.", kind=bool
    )
    default_wage: float | None = setting(
        None,
        "Wage an hour of a person without a row in rates. Not set: unknown.",
        least=0.0,
        example=24.5,
    )

    @property
    def default_rate(self) -> float:
        """Default wage with what comes on top; NaN where none is set. [money / h]"""
        wage = self.default_wage
        return math.nan if wage is None else wage * (1 + self.on_cost)


@dataclass(frozen=True)
class Film:
    """How film is valued."""

    costing: str = setting(
        "fifo",
        "Which film is used up first in the books: the oldest, or all at the average.",
        kind=str,
        words=("fifo", "moving-average"),
    )
    offcut_life_months: int = setting(
        12, "Months a kept offcut stays on the shelf before it is written off.", kind=int, least=1
    )
    directional: tuple[str, ...] = setting(
        (),
        "Codes of films with a direction (grain, brushed, metallic flake): their pieces are not "
        'turned across the roll, as in ["CARBON-1"].',
        kind=tuple,
    )
    knife_gap: float = setting(
        0.0, "Room the knife needs between two pieces of a layout, in length_unit.", least=0.0
    )
    longest_pull: float = setting(
        0.0, "Longest length that is pulled at once, in length_unit; 0: no limit.", least=0.0
    )


@dataclass(frozen=True)
class Ordering:
    """When film has to be ordered."""

    lead_days: float = setting(7.0, "Days from an order to the film on the shelf.", least=0.0)
    safety_days: float = setting(
        7.0, "Days of use that should still lie there when an order comes in.", least=0.0
    )


@dataclass(frozen=True)
class Fees:
    """What taking a card costs."""

    card_percent: float = setting(
        0.0, "Card fee in percent of what was paid: 2.9 is 2.9 %.", least=0, most=20
    )
    card_fixed: float = setting(0.0, "Card fee a payment, in money.", least=0)


@dataclass(frozen=True)
class Targets:
    """What a service should leave after its own costs."""

    margin: float = share(0.45, "Target contribution margin of every service.")
    service: Mapping[str, float] = field(
        default_factory=dict,
        metadata={"sentence": "Target of one service: [targets.service.roof] margin = 0.5."},
    )


@dataclass(frozen=True)
class Pricing:
    """How far and in what steps a price may move."""

    round_to: float = setting(5.0, "Prices are multiples of this.", least=0.01)
    round_down_by: float = setting(0.0, "Taken off a rounded price: 1 turns 450 into 449.", least=0)
    largest_change: float = share(0.15, "Largest change of a price in one review.")
    smallest_change: float = share(0.02, "A smaller change is not worth the trouble.")
    fewest_jobs: int = setting(
        5, "A figure from fewer jobs is greyed, and nothing rests on it.", kind=int, least=1
    )


@dataclass(frozen=True)
class Counter:
    """The sale of cut film to people who fit it themselves."""

    takes_installers: bool = setting(
        True,
        "Whether whoever serves at the counter would otherwise be installing: then an hour of full "
        "months costs what it would earn.",
        kind=bool,
    )
    margin: float | None = setting(
        None,
        "What a price of cut film should leave after its own costs, as a share: 0.40 is 40 %. Not "
        "set: targets.margin.",
        least=0.0,
        most=1.0,
        example=0.4,
    )
    round_to: float = setting(1.0, "Prices of cut film are multiples of this.", least=0.01)
    extra_allowance: float | None = setting(
        None,
        "What a kit's pieces are cut larger, a side, than the shop cuts its own, for a hand "
        "without practice, in length_unit. Not set: 50 mm (common practice, no source).",
        least=0.0,
        example=2.0,
    )


@dataclass(frozen=True)
class Quoting:
    """How safe a quote should be."""

    confidence: float = share(0.7, "Share of jobs that should finish inside the quoted hours.")


@dataclass(frozen=True)
class Overrun:
    """When a vehicle counts as running over."""

    tolerance: float = share(0.10, "Overrun that is still fine.")
    error_rate: float = share(0.10, "Share of false flags that is accepted.")


@dataclass(frozen=True)
class Redo:
    """Which work counts as doing over."""

    window_months: int = setting(
        12, "A redo later than this after its job is told as doubtful.", kind=int, least=1
    )
