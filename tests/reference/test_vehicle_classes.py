"""The default vocabulary of size classes.

Source: 40 CFR 600.315-08, classes of comparable automobiles, as restated in the U.S. DOE/EPA Fuel
Economy Guide, "Vehicle size classes used in the Fuel Economy Guide". The split of sport utility
vehicles into small and standard is from memory.
"""

from analysis.record_tables import VEHICLE_CLASSES

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


def test_every_class_of_the_rule_is_there_once() -> None:
    cars = {name if name == "two-seater" else f"{name} car" for name in CARS}
    wagons = {f"{size} station wagon" for size in WAGONS}
    assert set(VEHICLE_CLASSES) == cars | wagons | TRUCKS
    assert len(VEHICLE_CLASSES) == 17
