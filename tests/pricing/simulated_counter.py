"""What is said of simulated counters, against what is true of them.

`python -m tests.pricing.simulated_counter [SHOPS [KIND ...]]` prints a row a kind of shop, then
what answers do.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.arrays import Array
from analysis.pricing.counter_chances import learn_displaced
from analysis.pricing.counter_model import CounterModel, net_draws
from analysis.pricing.counter_unknowns import ENDS, weighted_install, weighted_share
from analysis.pricing.counter_verdict import CANNOT_TELL, DOES_NOT, PAYS, Judged, judge, word
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
    full = parts_for(model, chosen, 0, if_full=True)
    answers, fewest = int(model.displaced.answers.sum()), SETTINGS.pricing.fewest_jobs
    judged = judge(model, chosen, parts, full, answers, fewest, (model.seed, 2, 0))
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


# --- answers --------------------------------------------------------------------------------------

# Where the answer hangs on installs displaced, and little else.
HANGS = Kind(
    sales=400, asked=0.02, unsure=0.0, jobs=600, leaves=400.0, leaves_sd=0.25, later=0.02,
    apart_sd=0.0, net=0.0, net_sd=40.0, noted=1.0,
)  # fmt: skip
ALL_ASKED = replace(HANGS, sales=160, asked=1.0, jobs=300)
ANSWERS = (10, 30, 100, 300)


def first_answers(shop: Shop, answers: int) -> tuple[float, float]:
    """Probability that it pays, and width of the interval of the share, with so many answers."""
    sales = shop.records["counter_sales"]
    asked = np.random.default_rng(7).permutation(len(sales)) < answers
    said = sales["would_book"].where(asked)
    model = shop.with_sales(sales.assign(would_book=said)).model(0, 1000)
    recent = model.sales[model.sales["is_recent"]]
    net = net_draws(model, parts_for(model, recent, 0))
    share = model.share[:, model.sales["kind"]].mean(axis=1)
    return float((net > 0).mean()), float(np.ptp(np.quantile(share, ENDS)))


def settled_shares(seeds: range, times: int) -> list[float]:
    """Of shops that further answers would settle: how often as many, drawn anew, do settle it."""
    shares = []
    for seed in seeds:
        found = found_in(simulated_shop(HANGS, seed), seed, 1000)
        further = found.judged.further_answers
        if found.judged.verdict == CANNOT_TELL and further is not None:
            rng = np.random.default_rng(seed)
            shares.append(float(np.mean([_settles(found, further, rng) for _ in range(times)])))
    return shares


def _settles(found: Found, further: int, rng: np.random.Generator) -> bool:
    """Whether the verdict is one, with so many more answers such as are to be expected."""
    model = found.model
    of_sales = pd.Index(SERVICES).get_indexer(found.chosen["service"])
    service = rng.choice(of_sales, further)
    at = model.displaced.services.get_indexer(pd.Index(SERVICES))
    share = model.displaced.known[rng.integers(len(model.share)), at][service]
    said = np.where(rng.random(further) < share, "yes", "no")
    more = pd.DataFrame({"service": np.array(SERVICES, dtype=object)[service], "would_book": said})
    asked = pd.concat([model.sales[["service", "would_book"]], more], ignore_index=True)
    learnt = learn_displaced(asked, len(model.share), rng)
    of_kind = model.sales.groupby("kind")["service"].first()
    column = learnt.services.get_indexer(of_kind.sort_index())
    again = replace(
        model,
        share=learnt.draws[:, column],
        known_share=learnt.known[:, column],
        displaced=learnt,
    )
    pays = (net_draws(again, parts_for(model, found.chosen, 0)) > 0).mean()
    return word(float(pays)) != CANNOT_TELL


def main(shops: int = 200, *names: str) -> None:
    """Print a row a kind, and without names what answers do."""
    print(f"{shops} shops of each kind", flush=True)
    for at, (name, kind) in enumerate(KINDS.items()):
        if names and name not in names:
            continue
        found = summary(study(kind, range(10_000 * at, 10_000 * at + shops)))
        if name == (names or tuple(KINDS))[0]:
            print("|", " | ".join(["kind", *found]), "|")
            print("|---" * (1 + len(found)) + "|")
        cells = [name, *(f"{value:.3g}" for value in found.values())]
        print("|", " | ".join(cells), "|", flush=True)
    if names:
        return
    asked = [simulated_shop(ALL_ASKED, seed) for seed in range(shops)]
    for answers in ANSWERS:
        pays = [first_answers(shop, answers)[0] for shop in asked]
        untold = np.mean([word(each) == CANNOT_TELL for each in pays])
        print(f"can't tell with {answers} answers: {untold:.3g}", flush=True)
    settled = settled_shares(range(50_000, 50_000 + shops), 10)
    mean = f"{np.mean(settled):.3g}" if settled else "none"
    print(f"settled by further answers: {mean}, of {len(settled)} shops", flush=True)


if __name__ == "__main__":
    main(*(int(each) for each in sys.argv[1:2]), *sys.argv[2:])
