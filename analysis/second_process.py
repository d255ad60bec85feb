"""A second process beside this one: a review has work for two cores.

It is asked for what a function of this package makes of its arguments. Both come to it, and the
answer goes back, as pickles on pipes that no one else holds. Where it gives none (it could not be
started, it was ended, or the function failed in it), the work is done here when the result is asked
for: later, with the same result or the same error. It ends with this process, however that ends.
"""

import gc
import os
import pickle
import secrets
import signal
import subprocess
import sys
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from importlib import import_module
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from types import TracebackType
from typing import IO, Any, BinaryIO, Final, ParamSpec, Protocol, Self, TypeVar, cast

# What a command makes it keeps to its end: looking for garbage among it again and again would find
# none, and take a twentieth of the time of a review.
GARBAGE_SELDOM: Final = (100_000, 50, 50)
_FEWEST_CORES: Final = 2
# Bytes that say how long a question or an answer is.
_LENGTH: Final = 8
_NO_ANSWER: Final = pickle.dumps(None)

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
    `answered` : how many pieces of work it has done.
    """

    def __init__(self, *modules: str) -> None:
        self._modules = modules
        self._mark = secrets.token_hex(16)
        self._process: subprocess.Popen[bytes] | None = None
        self._answers: BinaryIO | None = None
        # One thread hands the work over and waits for it, a piece at a time.
        self._asking = ThreadPoolExecutor(max_workers=1)
        self.answered = 0

    def __enter__(self) -> Self:
        if _cores() >= _FEWEST_CORES:
            self._process = _started(self._mark, self._modules)
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
        # Pickled here and now: nobody else is at work on it.
        question = pickle.dumps(work, pickle.HIGHEST_PROTOCOL)
        answer = self._asking.submit(self._answer, self._process, question)

        def result() -> T:
            found: tuple[T] | None = pickle.loads(answer.result())  # noqa: S301  our own process
            return found[0] if found else work()

        return result

    def _answer(self, process: "subprocess.Popen[bytes]", question: bytes) -> bytes:
        """The pickled answer as it comes; that there is none where it does not come."""
        try:
            if self._answers is None:
                self._answers = _after_mark(process, self._mark)
            _send(process.stdin, question)
            answer = _received(self._answers)
        except Exception:
            # An answer half read would be taken for that of the next question: no more are asked.
            process.kill()
            return _NO_ANSWER
        self.answered += answer != _NO_ANSWER
        return answer


def _cores() -> int:
    """Processor cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def _started(mark: str, modules: tuple[str, ...]) -> "subprocess.Popen[bytes] | None":
    """The process; none where the system starts no more, or there is no Python to start."""
    if not sys.executable or getattr(sys, "frozen", False):
        return None
    # The same modules as here, wherever either process stands; -P: the current folder is not one.
    path = os.pathsep.join(str(Path(each).absolute()) for each in sys.path)
    no_window: int = getattr(subprocess, "CREATE_NO_WINDOW", 0)
    try:
        return subprocess.Popen(  # noqa: S603  this Python and this module
            [sys.executable, "-P", "-m", "analysis.second_process", mark, *modules],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            # What goes wrong there is done again here, and then told.
            stderr=subprocess.DEVNULL,
            env=os.environ | {"PYTHONPATH": path},
            creationflags=no_window,
        )
    except OSError:
        return None


def _after_mark(process: "subprocess.Popen[bytes]", mark: str) -> BinaryIO:
    """Where the answers come, after whatever Python itself printed at its start."""
    answers = cast(BinaryIO, process.stdout)
    while line := answers.readline():
        if line.rstrip().endswith(mark.encode()):
            return answers
    raise EOFError("the second process ended before its first answer")


def _send(pipe: IO[bytes] | None, content: bytes) -> None:
    """Write so many bytes, with their number in front."""
    if pipe is None:
        raise BrokenPipeError("there is no pipe to write to")
    pipe.write(len(content).to_bytes(_LENGTH) + content)
    pipe.flush()


def _received(pipe: BinaryIO) -> bytes:
    """What `_send` sent; `EOFError` at the end."""
    number = pipe.read(_LENGTH)
    content = pipe.read(int.from_bytes(number))
    if len(number) < _LENGTH or len(content) < int.from_bytes(number):
        raise EOFError("the other process ended")
    return content


def _serve(mark: str, modules: list[str]) -> None:
    """Do what is asked for on the standard input until that ends."""
    # A stop from the keyboard reaches every process of a command; the first one decides.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    gc.set_threshold(*GARBAGE_SELDOM)
    asked: SimpleQueue[bytes] = SimpleQueue()
    reader = Thread(target=_read_questions, args=(os.dup(0), asked), daemon=True)
    with os.fdopen(os.dup(1), "wb") as answers:
        os.dup2(2, 1)  # whatever prints from here on must not stand among the answers
        answers.write(f"\n{mark}\n".encode())
        answers.flush()
        reader.start()
        for module in modules:
            import_module(module)
        while True:
            _send(answers, _done(pickle.loads(asked.get())))  # noqa: S301  from our first process


def _read_questions(pipe: int, asked: "SimpleQueue[bytes]") -> None:
    """Put what is asked in the queue; end with whoever asks, in the midst of work too.

    As bytes: to unpickle them imports modules, and two threads that import at once may wait for
    each other for ever.
    """
    try:
        with os.fdopen(pipe, "rb") as questions:
            while True:
                asked.put(_received(questions))
    finally:
        os._exit(0)


def _done(work: Callable[[], Any]) -> bytes:
    """The result as a pickle; None where there is no result, whatever the reason."""
    try:
        return pickle.dumps((work(),), pickle.HIGHEST_PROTOCOL)
    except Exception:  # noqa: BLE001  the first process does it again, and tells what went wrong
        return _NO_ANSWER


if __name__ == "__main__":
    _serve(sys.argv[1], sys.argv[2:])
