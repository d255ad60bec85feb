"""Side loss that packing the day's pieces of a film across the roll would have saved."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from .cuts import Pull
from .layout import Piece, fits, shortest_length
from .reading import Settings, total

if TYPE_CHECKING:
    from .tables import Costing, Table

NOTHING = Fraction(0)


class Saving:
    """Of one pull, what packing with all the day's pieces, and its job's pieces, had saved.

    None where it cannot be told for want of piece sizes.
    """

    def __init__(self, known: bool) -> None:
        self.in_day: Any = NOTHING if known else None
        self.in_job: Any = NOTHING if known else None


class Together:
    """Cuts off one width of one film whose pieces are packed together."""

    def __init__(self, pulls: list[Pull], settings: Settings) -> None:
        self.pulls, self.settings, self.first = pulls, settings, pulls[0]
        assert self.first.width is not None
        self.width = self.first.width
        self.pieces: list[Piece] = [
            pull.piece_sides for pull in pulls for _ in range(pull.pieces) if pull.piece_sides
        ]

    def packed_length(self) -> Fraction:
        turn = may_turn(self.first, self.settings)
        return shortest_length(self.pieces, self.width, turn, self.settings.knife_gap)

    def avoidable(self) -> list[Fraction]:
        """Pulled less the shortest packing less kept, shared over the cuts by their side loss."""
        consumed = total([pull.consumed() for pull in self.pulls])
        saved = max(consumed - self.packed_length() * self.width, NOTHING)
        losses = [max(pull.consumed() - (pull.piece or NOTHING), NOTHING) for pull in self.pulls]
        whole = sum(losses, NOTHING)
        return [NOTHING if whole == 0 else saved * loss / whole for loss in losses]


def savings(pulls: list[Pull], settings: Settings) -> dict[Pull, Saving]:
    """The saving of every pull: 0 for one that takes no part, where nothing is missing."""
    found = {
        pull: Saving(known=pull.piece_sides is not None or not first_off_a_roll(pull))
        for pull in pulls
    }
    for day in days_of(pulls, settings):
        for pull, area in zip(day.pulls, day.avoidable(), strict=True):
            found[pull].in_day = area
    for job in jobs_of(pulls, settings):
        for pull, area in zip(job.pulls, job.avoidable(), strict=True):
            found[pull].in_job = area
    return found


def first_off_a_roll(pull: Pull) -> bool:
    """A first-time cut of a job, off a roll."""
    return pull.whose == "jobs" and pull.reason == "first" and not pull.from_offcuts


def takes_part(pull: Pull, settings: Settings) -> bool:
    """Such a cut, with piece sizes, of which the roll's width holds a piece."""
    if not first_off_a_roll(pull) or pull.piece_sides is None or pull.width is None:
        return False
    return fits(pull.piece_sides, pull.width, may_turn(pull, settings))


def may_turn(pull: Pull, settings: Settings) -> bool:
    return pull.film not in settings.directional


def days_of(pulls: list[Pull], settings: Settings) -> list[Together]:
    """The cuts that take part, by film, width and day."""
    return grouped(pulls, settings, lambda pull: (pull.film, pull.width, pull.on))


def jobs_of(pulls: list[Pull], settings: Settings) -> list[Together]:
    """The cuts that take part, by film, width, day and job."""
    return grouped(pulls, settings, lambda pull: (pull.film, pull.width, pull.on, pull.job_id))


def grouped(
    pulls: list[Pull], settings: Settings, key: Callable[[Pull], tuple[Any, ...]]
) -> list[Together]:
    groups: dict[tuple[Any, ...], list[Pull]] = {}
    for pull in pulls:
        if takes_part(pull, settings):
            groups.setdefault(key(pull), []).append(pull)
    return [Together(group, settings) for group in groups.values()]


# ---- the tables ----------------------------------------------------------------------------------


def avoidable_by_job(costing: Costing, most_pieces: int | None = None) -> Table:
    """The quarter's jobs whose own pieces had gone on a shorter pull, the largest saving first.

    With `most_pieces`, only those of so many pieces at most.
    """
    inside = [pull for pull in costing.pulls if costing.quarter.holds(pull.on)]
    rows = []
    for job in jobs_of(inside, costing.settings):
        if most_pieces is None or len(job.pieces) <= most_pieces:
            areas = job.avoidable()
            if any(areas):
                rows.append(row_of_job(costing, job, areas))
    return sorted(rows, key=lambda row: (-row["avoidable_area"], row["job_id"]))


def row_of_job(costing: Costing, job: Together, areas: list[Fraction]) -> dict[str, Any]:
    costs = [pull.cost_of(area) for pull, area in zip(job.pulls, areas, strict=True)]
    return {
        "job_id": job.first.job_id,
        "film": job.first.film,
        "roll_width": costing.length(job.width),
        "cut_on": job.first.on,
        "pieces": len(job.pieces),
        "pulled_length": costing.length(total([pull.pulled for pull in job.pulls]) / job.width),
        "shortest_length": costing.length(job.packed_length()),
        "kept_area": costing.area(total([pull.kept for pull in job.pulls])),
        "avoidable_area": costing.area(total(areas)),
        "avoidable_cost": total(costs),
    }
