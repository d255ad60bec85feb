"""What the cuts and the invoices teach about film: learnt once a review, a table each."""

from collections.abc import Mapping

import pandas as pd

from analysis.arrays import one_thread
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.allowance import best_allowance, expected_piece_cost, recuts_by_allowance
from analysis.findings.film_effects import film_effects
from analysis.findings.film_installed import film_costs, film_installed
from analysis.findings.film_swaps import film_swaps
from analysis.findings.film_trends import film_price_steps, film_price_trends
from analysis.findings.recuts import learn_recuts
from analysis.packing.pack import pack_quick
from analysis.records.model import Records


def learn_film(
    costing: Costing, records: Records, until: pd.Timestamp
) -> Mapping[str, pd.DataFrame | Unavailable]:
    """What is learnt from all records up to a day; there is none for the quarter before."""
    settings = records.settings
    fewest = settings.pricing.fewest_jobs
    bought = costing.purchase_lines[costing.purchase_lines["received_on"] <= until]
    credits = costing.credits[costing.credits["received_on"] <= until]
    with one_thread():
        curve = learn_recuts(costing, until)
        if isinstance(curve, Unavailable):
            missing = {name: curve.of(name) for name in ("recuts_by_allowance", "best_allowance")}
            cut: dict[str, pd.DataFrame | Unavailable] = dict(missing)
        else:
            costs = expected_piece_cost(curve, costing, until)
            unit = settings.length_unit
            cut = {
                "recuts_by_allowance": recuts_by_allowance(curve, fewest, unit, costs),
                "best_allowance": best_allowance(curve, costing, settings, until),
            }
        effects = film_effects(costing, until)
        installed = film_costs(costing, records, effects, until, fewest)
        return cut | {
            "film_installed": film_installed(installed),
            "film_swaps": film_swaps(
                costing, records, installed, effects, until, fewest, pack_quick
            ),
            "film_price_trends": film_price_trends(bought, credits),
            "film_price_steps": film_price_steps(bought, credits),
        }
