"""Tests that take long: other seeds and quarters, and rarer kinds of simulated shops.

`python -m pytest` leaves them out; `python -m pytest --studies` runs them with all others, as
before a new version.
"""

from __future__ import annotations

from typing import Final

# By file: what the names of its tests contain.
STUDIES: Final = {
    "browser/test_report_page.py": ("sideways_and_wide_tables_say_that_they_do[1280]",),
    "findings/test_allowance.py": ("intervals_cover[in inches]", "recuts_do_not_depend"),
    "findings/test_drift.py": ("recovered[0.0]", "slips_do_not"),
    "findings/test_film_installed.py": ("planted_effects_come_back[0.0]",),
    "findings/test_film_simulated.py": ("recut_curve_comes_back",),
    "findings/test_learning.py": ("[slips", "[quotes that"),
    "findings/test_overruns_simulated.py": ("[normal",),
    "findings/test_second_counter.py": (
        "demo_comes_out_the_same[2024Q1]",
        "demo_comes_out_the_same[2025Q2]",
        *(f"random_counters_come_out_the_same[{seed}]" for seed in (1, 6, 9, 11, 13, 18, 20, 22)),
    ),
    "findings/test_second_implementation.py": (
        "demo_shop_comes_out_the_same[2024Q1]",
        "demo_shop_comes_out_the_same[2025Q2]",
        *(
            f"random_shops_come_out_the_same[{seed}]"
            for seed in (3, 4, 6, 7, 13, 16, 17, 19, 20, 21)
        ),
    ),
    "hostile/test_pipeline.py": ("[gigantic figures]",),
    "test_demo.py": ("[5]",),
}


def is_study(file: str, name: str) -> bool:
    """Whether the test of that name in that file, below tests, is one of them."""
    return any(part in name for part in STUDIES.get(file, ()))
