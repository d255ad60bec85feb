"""What is worked out once in a run of the tests, for all of its workers and kernels.

The same records give the same review, and a dozen notebooks and tests begin with that of the demo
shop. Whoever wants it first works it out; the others read what was kept. Kernels find `keep` in the
start-up files of IPython, which `folder_of_kept` writes. The published figures are kept too, for
the table of all of them.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import tempfile
from collections.abc import Callable
from functools import wraps
from importlib import import_module
from pathlib import Path
from typing import Any, Final

FOLDER: Final = "FILM_SHOP_KEPT_REVIEWS"
ROOT: Final = Path(__file__).parents[1]
_AT_START = """\
import sys
sys.path.insert(0, {root!r})
from tests.kept import keep
keep()
del sys, keep
"""


def folder_of_kept() -> Path:
    """A new folder for reviews, with what kernels need; named in the environment for both."""
    folder = Path(tempfile.mkdtemp(prefix="kept-reviews-"))
    startup = folder / "ipython" / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "00-kept.py").write_text(_AT_START.format(root=str(ROOT)), encoding="utf-8")
    os.environ[FOLDER] = str(folder)
    os.environ["IPYTHONDIR"] = str(folder / "ipython")
    return folder


def keep() -> None:
    """Have `run_review` of this process look first for what another has worked out."""
    review = import_module("analysis.review")
    review.run_review = kept(review.run_review)  # type: ignore[attr-defined]


def kept(work: Callable[..., Any]) -> Callable[..., Any]:
    """`run_review` that reads a review of the same bytes where there is one, and keeps its own."""

    @wraps(work)
    def run(folder: Path | str, quarter: str | None = None, *rest: Any, **how: Any) -> Any:
        letters = how.get("installers_as_letters", False)
        name = f"{_bytes_of(Path(folder))}-{quarter}-{letters}"
        return once(name, lambda: work(folder, quarter, *rest, **how))

    return run


def once(name: str, work: Callable[[], Any]) -> Any:
    """What another process of this run has kept under a name, else what `work` gives, kept.

    Outside a run of the tests nothing is kept.
    """
    if FOLDER not in os.environ:
        return work()
    path = Path(os.environ[FOLDER]) / name
    if path.exists():
        return pickle.loads(path.read_bytes())  # noqa: S301  from our own folder
    made = work()
    # Whole or not at all: two may write at once.
    part = path.with_name(f"{path.name}.{os.getpid()}")
    part.write_bytes(pickle.dumps(made))
    part.replace(path)
    return made


def _bytes_of(folder: Path) -> str:
    """A name for what a records folder holds, wherever it stands."""
    digest = hashlib.sha256()
    for path in sorted(folder.iterdir()):
        if path.is_file():
            digest.update(path.name.encode() + b"\0" + hashlib.sha256(path.read_bytes()).digest())
    return digest.hexdigest()[:16]
