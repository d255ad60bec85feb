"""A second process beside this one: a review has work for two cores.

It is asked for what a function of this package makes of its arguments. Both come to it, and the
answer goes back, as pickles on pipes that no one else holds. Where it gives none (it could not be
started, it was ended, or the function failed in it), the work is done here when the result is asked
for: later, with the same result or the same error. It ends with this process, however that ends.
"""

import gc
import os
import pickle
import signal
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from importlib import import_module
from types import TracebackType
from typing import Any, Final, ParamSpec, Protocol, Self, TypeVar

# What a command makes it keeps to its end: looking for garbage among it again and again would find
# none, and take a twentieth of the time of a review.
GARBAGE_SELDOM: Final = (100_000, 50, 50)
_FEWEST_CORES: Final = 2

P = ParamSpec("P")
T = TypeVar("T")


class Helper(Protocol):
    """Whoever takes work that is wanted later."""

    def ask(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
        """Begin the work if it can be begun elsewhere; calling what comes back gives its result.

        `function` stands in a module of this package. What it is given must not be changed until
        its result is there.
        """


class Alone:
    """No second process: the work is done when its result is asked for."""

    def ask(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
        """The function with its arguments, to be called."""
        return partial(function, *args, **kwargs)


ALONE: Final = Alone()


class SecondProcess:
    """A process that does one piece of work after the other while this one goes on.

    A context: the process is started on entry and ended on exit. It reads in `modules` at once.
    """

    def __init__(self, *modules: str) -> None:
        self._modules = modules
        self._process: subprocess.Popen[bytes] | None = None
        # One thread hands the work over and waits for it, a piece at a time.
        self._asking = ThreadPoolExecutor(max_workers=1)

    def __enter__(self) -> Self:
        if (os.cpu_count() or 1) >= _FEWEST_CORES and sys.executable:
            self._process = _started(self._modules)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._process is not None:
            self._process.kill()
        self._asking.shutdown(cancel_futures=True)
        if self._process is not None:
            self._process.communicate()

    def ask(self, function: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> Callable[[], T]:
        """Begin the work there; what comes back waits for it, and does it here where it must."""
        work = partial(function, *args, **kwargs)
        if self._process is None:
            return work
        answer = self._asking.submit(_answer, self._process, work)

        def result() -> T:
            found = answer.result()
            return found[0] if found else work()

        return result


def _started(modules: tuple[str, ...]) -> "subprocess.Popen[bytes] | None":
    """The process; none where the system starts no more."""
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    try:
        return subprocess.Popen(  # noqa: S603  this Python and this module
            [sys.executable, "-m", "analysis.second_process", *modules],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # What goes wrong there is done again here, and then told.
            stderr=subprocess.DEVNULL,
            env=environment,
        )
    except OSError:
        return None


def _answer(process: "subprocess.Popen[bytes]", work: Callable[[], T]) -> tuple[T] | None:
    """The result of the work in a tuple of its own, or none."""
    question = pickle.dumps(work, pickle.HIGHEST_PROTOCOL)
    if process.stdin is None or process.stdout is None:
        return None
    try:
        process.stdin.write(question)
        process.stdin.flush()
        found: tuple[T] | None = pickle.load(process.stdout)  # noqa: S301  from our own process
    except (OSError, EOFError, pickle.UnpicklingError):
        return None  # it was ended
    return found


def _serve(modules: list[str]) -> None:
    """Do what is asked for on the standard input until that ends."""
    # A stop from the keyboard reaches every process of a command; the first one decides.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(*GARBAGE_SELDOM)
    with os.fdopen(os.dup(1), "wb") as answers, os.fdopen(os.dup(0), "rb") as questions:
        os.dup2(2, 1)  # whatever prints must not stand among the answers
        for module in modules:
            import_module(module)
        while True:
            try:
                work = pickle.load(questions)  # noqa: S301  from the process that started this one
            except EOFError:
                return
            answers.write(_done(work))
            answers.flush()


def _done(work: Callable[[], Any]) -> bytes:
    """The result as a pickle; None where there is no result, whatever the reason."""
    try:
        return pickle.dumps((work(),), pickle.HIGHEST_PROTOCOL)
    except Exception:  # noqa: BLE001  the first process does it again, and tells what went wrong
        return pickle.dumps(None)


if __name__ == "__main__":
    _serve(sys.argv[1:])
