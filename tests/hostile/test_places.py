"""What stands in the place of a file or a folder: pipes, links, folders, odd names, read-only."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.cli import main
from analysis.errors import RecordsError
from analysis.records.read import read_records
from tests.hostile.slices import demo_slice, write_files

ROOT = Path(__file__).parents[2]
FEW = ("jobs.csv", "hours.csv", "purchases.csv", "shop.toml")
posix = pytest.mark.skipif(os.name == "nt", reason="pipes and links of POSIX")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    files = {name: data for name, data in demo_slice().items() if name in FEW}
    return write_files(tmp_path / "records", files)


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """What a command says that ends in 2: one line, and no fault of the program."""
    status = main(arguments)
    said = capsys.readouterr()
    assert status == 2, said
    assert said.err.count("\n") == 1
    assert "fault of the program" not in said.err
    return said.err


def put(kind: str, path: Path) -> None:
    """Put something that is no file in a place."""
    if path.exists():
        path.unlink()
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "loop":
        path.symlink_to(path.name)
    else:
        path.symlink_to("nowhere")


KINDS = ["folder", "pipe", "device", "loop", "broken link"]


@posix
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ["jobs.csv", "hours.csv", "records.xlsx", "shop.toml"])
def test_what_is_no_file_in_the_place_of_a_table(
    kind: str, name: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(kind, folder / name)
    assert name in refused(["check", str(folder)], capsys)


@posix
@pytest.mark.parametrize("kind", KINDS)
def test_what_is_no_file_in_the_place_of_pieces_or_a_price_sheet(
    kind: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    put(kind, tmp_path / "it.csv")
    for command, option in (("layout", "--pieces"), ("decide", "--sheet")):
        line = refused([command, str(folder), option, str(tmp_path / "it.csv")], capsys)
        assert "it.csv" in line


@posix
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ["manifest.json", "record_findings.csv"])
def test_what_is_no_file_within_an_earlier_output(
    kind: str, name: str, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out"
    assert main(["check", str(folder), "--out", str(out)]) in (0, 1)
    put(kind, out / name)
    capsys.readouterr()
    assert "out" in refused(["check", str(folder), "--out", str(out)], capsys)
    assert not (out / name).is_file()


@posix
def test_an_out_folder_that_cannot_be(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "file").write_text("mine")
    os.mkfifo(tmp_path / "pipe")
    for out in ("loop", "loop/in", "file", "file/in", "pipe", "n" * 300, "/proc/none/in"):
        refused(["check", str(folder), "--out", str(tmp_path / out)], capsys)
    refused(["review", str(folder), "--out", str(tmp_path / "file")], capsys)
    assert (tmp_path / "file").read_text() == "mine"


@posix
def test_a_records_folder_that_cannot_be(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "loop").symlink_to("loop")
    (tmp_path / "file").write_text("mine")
    os.mkfifo(tmp_path / "pipe")
    for name in ("loop", "file", "file/in", "pipe", "n" * 300, "nowhere", "a\nb"):
        for command in ("check", "review", "decide"):
            refused([command, str(tmp_path / name)], capsys)


def test_names_of_files_with_odd_characters(folder: Path) -> None:
    """They are no tables: those that look like one are told, and nothing breaks."""
    odd = ["jobs (1).csv", "jobs\u202e.csv", "jobs 🚗.csv", "ho\u0301urs.csv", "hours'\";$(x).csv"]
    odd += ["<script>.csv", "-rf.csv", "%s.csv", "x" * 200 + ".csv"]
    for name in odd:
        (folder / name).write_bytes(b"a,b\n1,2\n")
    if os.name != "nt":
        (folder / "jobs\nnew line.csv").write_bytes(b"a\n")
        Path(os.fsdecode(os.fsencode(folder) + b"/hours\xff.csv")).write_bytes(b"a\n")
    records = read_records(folder)
    told = records.findings[records.findings["rule"] == "file-not-read"]
    assert {"jobs (1).csv", "jobs 🚗.csv"} <= set(told["file"])
    for words in records.findings[["file", "value", "problem", "remedy"]].to_numpy().ravel():
        words.encode()
        assert "\n" not in words


def test_a_name_that_is_no_text_goes_through_the_check(folder: Path, tmp_path: Path) -> None:
    if os.name == "nt":
        pytest.skip("names are text there")
    Path(os.fsdecode(os.fsencode(folder) + b"/hours\xff.csv")).write_bytes(b"a\n")
    assert main(["check", str(folder), "--out", str(tmp_path / "out")]) in (0, 1)
    odd = os.fsdecode(os.fsencode(tmp_path) + b"/re\xffcords")
    folder.rename(odd)
    assert main(["check", odd, "--out", str(tmp_path / "out2")]) in (0, 1)


def test_odd_words_on_a_screen_that_knows_only_ascii(folder: Path, tmp_path: Path) -> None:
    """Neither a letter nor a name that the screen cannot show stops a command."""
    jobs = (folder / "jobs.csv").read_text("utf-8").replace("roof", "toît 🚗", 3)
    (folder / "jobs.csv").write_text(jobs.replace("finished", "fertig ✓", 2), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "analysis", "check", str(folder), "--out", str(tmp_path / "out")],
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        capture_output=True,
        check=False,
    )
    assert done.returncode == 1, done.stderr
    assert b"Traceback" not in done.stderr
    assert b"fertig" in done.stdout


def may_not(path: Path, mode: int) -> None:
    path.chmod(mode)
    if os.access(path, os.W_OK if mode & 0o400 else os.R_OK):
        path.chmod(0o755)
        pytest.skip("this user may do everything")


@posix
def test_a_read_only_out_folder(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    home = tmp_path / "home"
    home.mkdir()
    may_not(home, 0o500)
    try:
        line = refused(["check", str(folder), "--out", str(home / "out")], capsys)
    finally:
        home.chmod(0o755)
    assert "may not be changed" in line


@posix
def test_a_read_only_records_folder_is_enough(folder: Path, tmp_path: Path) -> None:
    """Reading needs no right to write; nothing is put there."""
    before = sorted(path.name for path in folder.iterdir())
    folder.chmod(0o500)
    try:
        assert main(["check", str(folder), "--out", str(tmp_path / "out")]) in (0, 1)
    finally:
        folder.chmod(0o755)
    assert sorted(path.name for path in folder.iterdir()) == before


@posix
def test_a_file_that_is_gone_when_its_turn_comes(folder: Path) -> None:
    """Listed, and removed before it is read."""

    def remove(line: str) -> None:
        if line == "reading jobs.csv":
            (folder / "hours.csv").unlink()

    with pytest.raises(RecordsError, match=r"hours\.csv cannot be read"):
        read_records(folder, progress=remove)
