"""The second process: same results, same errors, and nothing left behind."""

import operator
import os
import pickle
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analysis import second_process
from analysis.errors import WorkbookError
from analysis.periods import Quarter
from analysis.records.read import read_records
from analysis.report.workbook import workbook_bytes
from analysis.review import review_records
from analysis.second_process import ALONE, SecondProcess

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "data_demo"
# Long enough for a process that is to end; the tests wait for it and not for this.
PATIENCE = 60


def test_the_work_is_done_by_another_process_in_order() -> None:
    with SecondProcess("analysis.periods") as helper:
        elsewhere = helper.ask(os.getpid)
        sums = [helper.ask(operator.add, each, each) for each in range(20)]
        assert elsewhere() != os.getpid()
        assert elsewhere() == elsewhere()
        # Whichever is asked for first.
        assert [each() for each in reversed(sums)] == [2 * each for each in reversed(range(20))]


def test_alone_the_work_is_done_here_and_when_it_is_asked_for(tmp_path: Path) -> None:
    assert ALONE.ask(os.getpid)() == os.getpid()
    making = ALONE.ask(os.mkdir, tmp_path / "made")
    assert not (tmp_path / "made").exists()
    making()
    assert (tmp_path / "made").exists()


def test_what_fails_there_fails_here_with_its_own_error() -> None:
    with SecondProcess() as helper:
        asked = helper.ask(Quarter.parse, "soon", 1)
        with pytest.raises(WorkbookError, match="write it as 2026Q3"):
            asked()
        assert helper.ask(os.getpid)() != os.getpid()


def test_where_it_is_ended_the_work_is_done_here() -> None:
    with SecondProcess() as helper:
        ended = helper.ask(os._exit, 3)
        later = helper.ask(operator.add, 20, 1)
        assert later() == 21
        assert helper.ask(os.getpid)() == os.getpid()
        assert ended is not None  # asking for its result would end this process


def test_where_none_can_be_started_the_work_is_done_here(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "executable", str(ROOT / "no-such-program"))
    with SecondProcess() as helper:
        assert helper.ask(os.getpid)() == os.getpid()


def test_what_cannot_be_sent_is_a_fault_that_is_told() -> None:
    unsendable = (pickle.PicklingError, AttributeError)
    with SecondProcess() as helper, pytest.raises(unsendable, match="(?i)pickle"):
        helper.ask(lambda: 1)


def test_what_prints_does_not_stand_among_the_answers(capfd: pytest.CaptureFixture[str]) -> None:
    with SecondProcess() as helper:
        assert helper.ask(print, "said aloud")() is None
        assert helper.ask(os.write, 1, b"and again")() == len("and again")
        assert helper.ask(operator.add, 1, 2)() == 3
    assert capfd.readouterr() == ("", "")


def test_what_python_prints_at_its_start_is_no_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A site's own start-up code may print before anything of ours runs."""
    (tmp_path / "sitecustomize.py").write_text("print('Welcome')\nprint('to Python')\n")
    monkeypatch.syspath_prepend(tmp_path)
    with SecondProcess() as helper:
        assert helper.ask(os.getpid)() != os.getpid()
        assert helper.ask(operator.add, 1, 2)() == 3
        assert helper.answered == 2


def test_after_an_answer_that_cannot_be_read_no_other_is_taken_for_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    with SecondProcess() as helper:
        assert helper.ask(operator.add, 1, 1)() == 2
        with monkeypatch.context() as broken:

            def no_memory(_: object) -> bytes:
                raise MemoryError

            broken.setattr(second_process, "_received", no_memory)
            assert helper.ask(operator.add, 2, 2)() == 4
        assert helper.ask(operator.add, 3, 3)() == 6
        assert helper.answered == 1


def test_it_runs_the_same_code_wherever_it_is_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Another package of this name in the current folder is not ours, nor is a module there."""
    (tmp_path / "analysis").mkdir()
    for name in ("__init__", "second_process", "periods"):
        (tmp_path / "analysis" / f"{name}.py").write_text("raise RuntimeError('not ours')\n")
    (tmp_path / "pickle.py").write_text("raise RuntimeError('not ours')\n")
    monkeypatch.chdir(tmp_path)
    with SecondProcess("analysis.periods") as helper:
        assert helper.ask(os.getpid)() != os.getpid()


def test_one_core_is_not_shared(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(second_process, "_cores", lambda: 1)
    with SecondProcess() as helper:
        assert helper.ask(os.getpid)() == os.getpid()


def test_a_review_has_all_of_its_work_answered() -> None:
    """Equal bytes alone would not tell a helper that never helps."""
    with SecondProcess() as helper:
        review = review_records(read_records(DEMO / "two_tables"), helper=helper)
        assert helper.answered == 4
        assert len(helper.ask(workbook_bytes, review)()) > 10_000
        assert helper.answered == 5


# Starts a second process, says which, keeps it busy for long and waits for its own end.
WAITING = """
import os, time
from analysis.second_process import SecondProcess

with SecondProcess() as helper:
    print(helper.ask(os.getpid)(), flush=True)
    helper.ask(time.sleep, 600)
    time.sleep(600)
"""


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGTERM, signal.SIGINT])
def test_it_ends_with_the_first_process(how: signal.Signals) -> None:
    """In the midst of a long piece of work, too."""
    first = subprocess.Popen(
        [sys.executable, "-c", WAITING], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert first.stdout is not None
    second = int(first.stdout.readline())
    try:
        time.sleep(0.5)  # until the long piece has begun
        first.send_signal(how)
        first.communicate(timeout=PATIENCE)
        until = time.monotonic() + PATIENCE
        while _lives(second) and time.monotonic() < until:
            time.sleep(0.05)
        assert not _lives(second)
    finally:
        first.kill()
        if _lives(second):
            os.kill(second, signal.SIGKILL)


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    stat = Path(f"/proc/{process}/stat")
    # One that has ended and is not yet counted by its parent does not live.
    return not stat.exists() or stat.read_text().rpartition(")")[2].split()[0] != "Z"
