"""How near the layouts come to known least lengths, and how long past jobs take.

`python -m tests.benchmarks.packing [EFFORT]`: a row an instance of Hopper and Turton (2001) and of
Burke, Kendall and Whitwell (2004), pieces not turned; then small groups of panels such as a day's.
"""

from __future__ import annotations

import random
import sys
import time

import numpy as np

from analysis.packing.layouts import Piece, Sheet
from analysis.packing.pack import pack, pack_quick
from tests.reference.test_strip_packing import INSTANCES, pieces_of

INCH = 0.0254
# Panels as they are cut, length and width in inches, and how many of each a vehicle has: common
# practice, no source.
PANELS = (
    (60, 52, 1),
    (97, 52, 1),
    (74, 30, 2),
    (29.5, 48, 2),
    (48, 30, 2),
    (12.5, 16.5, 2),
    (40, 20, 6),
)


def print_instances(effort: float) -> None:
    """Instance, pieces, width, least length, found, bound, gap and seconds."""
    print("| instance | pieces | width | optimum | found | bound | over optimum % | seconds |")
    print("|---|---|---|---|---|---|---|---|")
    for name, each in INSTANCES.items():
        start = time.perf_counter()
        layout = pack(pieces_of(each), Sheet("strip", each["width"] / 100), effort=effort)
        seconds = time.perf_counter() - start
        found, bound = round(100 * layout.length_m), 100 * layout.least_cost
        over = 100 * (found / each["least"] - 1)
        print(
            f"| {name} | {len(each['pieces'])} | {each['width']} | {each['least']} | {found} "
            f"| {bound:.0f} | {over:.1f} | {seconds:.1f} |"
        )


def print_groups(many: int, seed: int = 1) -> None:
    """Past jobs: 1-12 pieces of 1-4 kinds on rolls of 60, 48 and 24 in."""
    rng = random.Random(seed)
    rolls = [Sheet(f"{width} in", width * INCH) for width in (60, 60, 48, 24)]
    took, best = [], []
    for _ in range(many):
        roll = rng.choice(rolls)
        pieces = [
            Piece("panel", long * INCH, wide * INCH)
            for long, wide, each in rng.sample(PANELS, rng.randint(1, 4))
            for _ in range(each)
            if min(long, wide) * INCH <= roll.width_m
        ]
        start = time.perf_counter()
        layout = pack_quick(pieces, roll)
        took.append(time.perf_counter() - start)
        best.append(layout.is_best)
    print(
        f"\n{many} groups: {sum(took):.1f} s, median {1000 * np.median(took):.1f} ms, "
        f"95 of 100 under {1000 * np.quantile(took, 0.95):.0f} ms; proven best {np.mean(best):.1%}"
    )


if __name__ == "__main__":
    print_instances(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0)
    print_groups(1000)
