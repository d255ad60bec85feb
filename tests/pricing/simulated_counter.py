"""What is said of simulated counters, against what is true of them.

`python -m tests.pricing.simulated_counter [SHOPS [KIND ...]]` prints a row a kind of shop.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.findings.mixed import Array
from analysis.pricing.counter_model import CounterModel
from analysis.pricing.counter_unknowns import ENDS, weighted_install, weighted_share
from analysis.pricing.counter_verdict import CANNOT_TELL, DOES_NOT, PAYS, Judged, judge
from analysis.pricing.counter_verdicts import parts_for, sales_of
from tests.pricing.simulated_counter_shops import (
    CLASSES,
    KINDS,
    SERVICES,
    SETTINGS,
    Kind,
    Shop,
    simulated_shop,
)


@dataclass(frozen=True, eq=False)
class Found:
    """What is said of all sales of a shop, as the table of verdicts has it, and the truth.

    `net` : with later installs of the months that were seen, `net_ever` with all of them [money];
    `share` of these sales that displace an install, `install` : what it leaves [money]; `later`
    within the months that were seen.
    """

    model: CounterModel
    chosen: pd.DataFrame
    judged: Judged
    net: float
    net_ever: float
    share: float
    install: float
    later: float
    share_draws: Array
    install_draws: Array

    @property
    def is_right(self) -> bool:
        """Whether the verdict is true."""
        return self.judged.verdict == (PAYS if self.net > 0 else DOES_NOT)

    @property
    def is_wrong(self) -> bool:
        """Whether the contrary of the verdict is true."""
        return self.judged.verdict != CANNOT_TELL and not self.is_right


def found_in(shop: Shop, seed: int = 0, draws: int = 2000) -> Found:
    """The verdict on all sales of a shop."""
    model = shop.model(seed, draws)
    chosen = sales_of(model, pd.Series(True, index=model.sales.index))
    parts = parts_for(model, chosen, 0)
    rng = np.random.default_rng([seed, 2, 0])
    judged = judge(model, chosen, parts, SETTINGS.pricing.fewest_jobs, rng)
    truth, months = shop.truth, model.later.months
    service = pd.Index(SERVICES).get_indexer(chosen["service"])
    of_class = pd.Index(CLASSES).get_indexer(chosen["vehicle_class"])
    weight = replace(
        parts, weight=np.bincount(chosen["kind"], minlength=model.share.shape[1])[None]
    )
    return Found(
        model,
        chosen,
        judged,
        net=truth.net(months),
        net_ever=truth.net(np.inf),
        share=float(truth.share[service].mean()),
        install=float(truth.cells[service, of_class].mean()),
        later=truth.later_within(months),
        share_draws=weighted_share(weight, model.share),
        install_draws=weighted_install(model, weight),
    )


def _held(draws: Array, true: float) -> dict[str, float]:
    low, high = np.quantile(draws, ENDS)
    return {"in": low <= true <= high, "off": float(np.mean(draws)) - true, "wide": high - low}


def study(kind: Kind, seeds: range) -> pd.DataFrame:
    """A row a shop: whether the verdict is right, and what the intervals hold."""
    rows = []
    for seed in seeds:
        found = found_in(simulated_shop(kind, seed), seed)
        each = {
            "net": _held(found.judged.net, found.net),
            "share": _held(found.share_draws, found.share),
            "install": _held(found.install_draws, found.install),
            "later": _held(found.model.later.draws, found.later),
        }
        row = {f"{name}_{key}": value for name, of in each.items() for key, value in of.items()}
        said = found.judged
        rows.append(
            row
            | {
                "true_net": found.net,
                "ever_wrong": found.judged.verdict != CANNOT_TELL
                and (found.judged.verdict == PAYS) != (found.net_ever > 0),
                "probability": said.probability,
                "verdict": said.verdict,
                "wrong": found.is_wrong,
                "told": said.verdict != CANNOT_TELL,
                "further": said.further_answers,
                "held_back": said.held_back,
                "months": found.model.later.months,
            }
        )
    return pd.DataFrame(rows)


def summary(table: pd.DataFrame) -> dict[str, float]:
    """Shares over the shops of a kind. [shares; money; shares]"""
    return {
        "right or can't tell": 1 - table["wrong"].mean(),
        "can't tell": 1 - table["told"].mean(),
        "wrong as to all time": table["ever_wrong"].mean(),
        "wrong of told": table["wrong"].sum() / max(table["told"].sum(), 1),
        "net in 90 %": table["net_in"].mean(),
        "net off": table["net_off"].mean(),
        "net wide": table["net_wide"].mean(),
        "share in 90 %": table["share_in"].mean(),
        "share off": table["share_off"].mean(),
        "install in 90 %": table["install_in"].mean(),
        "later in 90 %": table["later_in"].mean(),
        "later off": table["later_off"].mean(),
    }


def main(shops: int = 200, *names: str) -> None:
    """Print a row a kind."""
    print(f"{shops} shops of each kind")
    for at, (name, kind) in enumerate(KINDS.items()):
        if not names or name in names:
            found = summary(study(kind, range(10_000 * at, 10_000 * at + shops)))
            cells = "  ".join(f"{key} {value:.3g}" for key, value in found.items())
            print(f"{name:24}{cells}", flush=True)


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:2]), *sys.argv[2:])
