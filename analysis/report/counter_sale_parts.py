"""One counter sale in parts, from its price to what is left, that add up."""

from typing import Final

import pandas as pd

from analysis.errors import assert_reconciled
from analysis.report.grids import number

PRICE, EXTRAS, FEE = "Price of the film, net of tax", "Tools, cleaner and tape", "Card fee"
SOLD, SIDE, SPOILED = "Film cut and sold", "Side loss", "Film cut again or spoiled"
STAFF, DISPLACED, LATER, LEFT = "Staff time", "Displaced installs", "Later installs", "Left"
FILM: Final = (SOLD, SIDE, SPOILED)
# The columns of `counter_sales_each` that make each part.
MADE_OF: Final = {
    PRICE: ("revenue",),
    EXTRAS: ("extras_margin",),
    FEE: ("payment_fee",),
    SOLD: ("film_cost",),
    SIDE: ("side_loss_cost",),
    SPOILED: ("spoiled_cost",),
    STAFF: ("staff_cost", "other_staff_cost"),
    DISPLACED: ("displaced_cost",),
    LATER: ("later_installs",),
    LEFT: ("expected_net",),
}
_GAINS: Final = (PRICE, EXTRAS, LATER, LEFT)
_LEFT_OUT_AT_NOTHING: Final = (EXTRAS, FEE, SIDE, SPOILED)
_NOTHING: Final = 0.005  # less than half a cent


def sale_parts(told: pd.DataFrame) -> dict[str, float]:
    """Means of the parts of sales of which every amount is known, signed; the net at the end.

    Side loss and spoiled film that are not known stay in the film cut and sold. Raises
    `Unreconciled` unless the parts add to the net. [money]
    """
    mean = {
        part: sum(float(number(told, name).fillna(0.0).mean()) for name in names)
        for part, names in MADE_OF.items()
    }
    mean[SOLD] -= mean[SIDE] + mean[SPOILED]
    # Nought is added, so that a cost of nothing is no minus nought.
    parts = {part: (each if part in _GAINS else -each) + 0.0 for part, each in mean.items()}
    net = parts.pop(LEFT)
    tolerance = 1e-6 * max(1.0, *(abs(each) for each in parts.values()))
    assert_reconciled("What a counter sale leaves", sum(parts.values()), net, tolerance)
    shown = {
        part: amount
        for part, amount in parts.items()
        if part not in _LEFT_OUT_AT_NOTHING or abs(amount) > _NOTHING
    }
    return shown | {LEFT: net}
