"""Runs that are stopped at many moments, and a disk that is full: the earlier output stays whole.

Runs killed at each step of the writing, and two at once, are in `tests/report/test_folder.py`; a
review killed at several moments is in `tests/test_commands.py`.
"""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from analysis.cli import main
from tests.hostile.slices import demo_slice, write_files

ROOT = Path(__file__).parents[2]
FEW = ("jobs.csv", "hours.csv", "purchases.csv", "shop.toml")


def snapshot(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    files = {name: data for name, data in demo_slice().items() if name in FEW}
    return write_files(tmp_path / "records", files)


@pytest.mark.skipif(os.name == "nt", reason="signals of POSIX")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stop_at_many_moments_leaves_the_earlier_output(
    number: signal.Signals, folder: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    command = [sys.executable, "-m", "analysis", "check", str(folder), "--out", str(out)]
    begun = time.perf_counter()
    done = subprocess.run(command, cwd=ROOT, capture_output=True, check=False)
    taken = time.perf_counter() - begun
    assert done.returncode in (0, 1), done.stderr
    whole = snapshot(out)
    for part in (0.6, 0.95):
        running = subprocess.Popen(
            command, cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
        )
        time.sleep(taken * part)
        running.send_signal(number)
        said = running.communicate()[1]
        assert b"Traceback" not in said
        assert running.returncode in (0, 1, 2, -number)
        if number == signal.SIGINT and running.returncode == 2:
            assert said.startswith(b"Could not be done: Stopped before the end")
            assert said.count(b"\n") == 1
        assert snapshot(out) == whole
    assert main(["check", str(folder), "--out", str(out)]) == done.returncode
    assert snapshot(out) == whole
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "records"]


def test_a_disk_that_is_full_half_way(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A real small disk where there may be one; every other way is patched in `test_folder.py`."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mount, unmount = shutil.which("mount"), shutil.which("umount")
    if not mount or not unmount or sys.platform != "linux":
        pytest.skip("no small disk can be made here")
    made = subprocess.run(
        [mount, "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(disk)],
        capture_output=True,
        check=False,
    )
    if made.returncode:
        pytest.skip("this user may not make a small disk")
    try:
        out = disk / "out"
        assert main(["check", str(folder), "--out", str(out)]) in (0, 1)
        earlier = snapshot(out)
        jobs = folder / "jobs.csv"
        jobs.write_text(jobs.read_text("utf-8").replace("2024", "20x4"), encoding="utf-8")
        hours = folder / "hours.csv"
        more = hours.read_text("utf-8") + "J0001,1,never,Ines,laying,none,,,\n" * 2_000
        hours.write_text(more, encoding="utf-8")
        capsys.readouterr()
        assert main(["check", str(folder), "--out", str(out)]) == 2
        said = capsys.readouterr().err
        assert "the disk is full" in said
        assert said.count("\n") == 1
        assert snapshot(out) == earlier
    finally:
        subprocess.run([unmount, str(disk)], check=False)
