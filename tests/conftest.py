"""What holds for every test."""

import gc
import shutil
from pathlib import Path
from typing import Final

import pytest
from hypothesis import settings

from analysis.second_process import GARBAGE_SELDOM
from tests.kept import folder_of_kept
from tests.studies import is_study

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
    "findings/test_second_counter.py",
)


def pytest_configure(config: pytest.Config) -> None:
    """One folder of kept reviews for all workers, which have its name from the first process."""
    if not hasattr(config, "workerinput"):
        folder = folder_of_kept()
        config.add_cleanup(lambda: shutil.rmtree(folder, ignore_errors=True))


def pytest_addoption(parser: pytest.Parser) -> None:
    """`--studies`."""
    parser.addoption(
        "--studies", action="store_true", help="also the long ones of tests/studies.py"
    )


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The longest files first, the others as they were; studies only where they are asked for."""
    folder = Path(__file__).parent
    place = {folder / name: at for at, name in enumerate(LONGEST)}
    items.sort(key=lambda item: place.get(item.path, len(place)))
    if config.getoption("studies"):
        return
    chosen, left_out = [], []
    for item in items:
        here = item.path.relative_to(folder).as_posix() if folder in item.path.parents else ""
        (left_out if is_study(here, item.name) else chosen).append(item)
    config.hook.pytest_deselected(items=left_out)
    items[:] = chosen
