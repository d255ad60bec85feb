"""What holds for every test."""

import gc
from pathlib import Path
from typing import Final

import pytest
from hypothesis import settings

from analysis.second_process import GARBAGE_SELDOM

# No test asserts an absolute time: a busy machine is no fault.
settings.register_profile("unhurried", deadline=None)
settings.load_profile("unhurried")

# As `python -m analysis` does, and for the same reason.
gc.set_threshold(*GARBAGE_SELDOM)

# The files that take longest. A worker takes whole files in this order, so that none of these is
# begun when the other workers have little left to do; the two that drive a browser stand apart, so
# that they seldom run beside each other.
LONGEST: Final = (
    "browser/test_jupyterlab.py",
    "findings/test_second_implementation.py",
    "test_commands.py",
    "browser/test_report_page.py",
    "findings/test_overruns_simulated.py",
    "test_demo.py",
    "report/test_workbook.py",
    "findings/test_allowance.py",
    "hostile/test_pipeline.py",
    "test_project.py",
    "findings/test_second_counter.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest files first; the others as they were."""
    folder = Path(__file__).parent
    place = {folder / name: at for at, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))
