"""How the rules that flag models fare where the truth is known, and how the fit grows.

`python -m tests.benchmarks.overruns [SHOPS]`: that many simulated shops a scenario; then the time
of fitting 50,000 job lines of 500 models, against one grouped mean over the same lines.
"""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np

from analysis.findings.flagging import overrun_probability
from analysis.findings.hours_model import CLASS, MODEL
from analysis.findings.pooling import group_targets, pooled_overruns
from tests.benchmarks.costing import timed
from tests.findings.simulated import (
    FEW_OVER,
    NONE_OVER,
    NORMAL,
    RULES,
    TOLERANCE,
    Scenario,
    fitted,
    run_shops,
    score,
    simulated_shop,
)

SCENARIOS = {
    "none over": NONE_OVER,
    "few over": FEW_OVER,
    "few, like classes": replace(FEW_OVER, class_sd=0.0),
    "few, long log": replace(FEW_OVER, lines=1200),
    "few, heavy tails": replace(FEW_OVER, tail=4),
    "a fifth over": replace(FEW_OVER, overrunning=0.2),
    "normal": NORMAL,
    "normal, wide": replace(NORMAL, model_sd=0.25),
    "normal, 80 lines": replace(NORMAL, lines=80, models=30),
}
LARGE = Scenario(model_sd=0.12, lines=50_000, models=500, services=40, people=12)
# None of the committed tests' seeds.
FIRST_SEED = 20_000


def print_rules(shops: int) -> None:
    """A row a scenario and rule; false shares of all flags, and as a mean over the shops."""
    print(
        f"{'scenario':<18} {'rule':<17} {'shops flagged':>13} {'flags':>6} {'found':>6} {'of':>6} "
        f"{'false':>12} {'false by shop':>14}"
    )
    for name, scenario in SCENARIOS.items():
        models = run_shops(scenario, range(FIRST_SEED, FIRST_SEED + shops)).models
        for rule in RULES:
            got = score(models, rule)
            share = f"{got.false_share:.0%} ± {got.false_share_error:.1%}" if got.flags else "-"
            mean = f"{got.mean_false_share:.0%} ± {got.mean_error:.1%}"
            print(
                f"{name:<18} {rule:<17} {got.shops_flagged:>13.0%} {got.flags:>6} {got.found:>6} "
                f"{got.of:>6} {share:>12} {mean:>14}"
            )


def print_times(repeats: int = 5) -> None:
    """A row a step: seconds, and as a multiple of one grouped mean over the same lines."""
    data, _ = simulated_shop(LARGE, FIRST_SEED)
    keys = ["make", "model"]
    lines = data.lines
    once = float(
        np.median([timed(lambda: lines.groupby(keys)["log_ratio"].mean()) for _ in range(repeats)])
    )
    model = fitted(data)
    targets = group_targets(model, keys, (MODEL, CLASS))
    steps = {
        "fit": lambda: fitted(data),
        "pooled overruns": lambda: pooled_overruns(model, *targets, TOLERANCE),
        "probabilities": lambda: overrun_probability(model, TOLERANCE),
    }
    print(f"\n{LARGE.lines:,} job lines, {LARGE.models} models; one grouped mean: {once:.4f} s")
    print(f"{'step':<18} {'s':>7} {'grouped means':>14}")
    for name, step in steps.items():
        seconds = timed(step)
        print(f"{name:<18} {seconds:>7.2f} {seconds / once:>14.0f}")


def main(shops: int = 60) -> None:
    """Print both tables."""
    print_rules(shops)
    print_times()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
