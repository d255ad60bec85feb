"""The default vocabulary of size classes."""

from __future__ import annotations

from analysis.record_tables import VEHICLE_CLASSES
from tests.reference.published import Figures, published
from tests.reference.sources import FUEL_GUIDE

CARS = ("two-seater", "minicompact", "subcompact", "compact", "midsize", "large")
WAGONS = ("small", "midsize", "large")
TRUCKS = {
    "small pickup",
    "standard pickup",
    "passenger van",
    "cargo van",
    "minivan",
    "small sport utility vehicle",
    "standard sport utility vehicle",
    "special purpose vehicle",
}


@published(FUEL_GUIDE, "vehicle size classes")
def test_every_class_of_the_rule_is_there_once(figures: Figures) -> None:
    """The split of sport utility vehicles into small and standard is from memory."""
    cars = {name if name == "two-seater" else f"{name} car" for name in CARS}
    wagons = {f"{size} station wagon" for size in WAGONS}
    assert set(VEHICLE_CLASSES) == cars | wagons | TRUCKS
    known = set(VEHICLE_CLASSES)
    figures.add("Classes of cars", len(known & cars), 6)
    figures.add("Classes of station wagons", len(known & wagons), 3)
    figures.add("Classes of trucks", len(known & TRUCKS), 8, seen="from memory")
    figures.add("Classes in all", len(VEHICLE_CLASSES), 17, seen="from memory")
