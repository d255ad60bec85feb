"""The demo shop as most tests read it: worked out once, and changed by nobody."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final

from analysis.pricing.quote import Quoter
from analysis.report.results import Review
from analysis.review import prepare_next_quotes, run_review
from tests.kept import kept

DEMO: Final = Path(__file__).parents[1] / "data_demo"


@cache
def demo_review() -> Review:
    """The review of the default quarter."""
    review: Review = kept(run_review)(DEMO, two_processes=False)
    return review


@cache
def demo_quoter() -> Quoter:
    """What quotes of the next jobs are made from."""
    return prepare_next_quotes(DEMO)
