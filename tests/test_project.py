"""The project about itself: which way imports run, that documents are true, lint and types."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from analysis.cli import _build_parser
from analysis.costing.doubts import DOUBTS
from analysis.record_tables import RECORD_TABLES
from analysis.records.rules import RULES
from analysis.result_tables import RESULT_TABLES
from analysis.settings import known_keys
from tests import documents
from tests.studies import STUDIES

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "analysis"
# The way of the data. A module imports from its own stage and those before it.
STAGES = ("ground", *documents.STAGES, "review", "cutting", "kit_order", "cli")
DOCUMENTS = {name: (ROOT / name).read_text(encoding="utf-8") for name in documents.DOCUMENTS}


def stage_of(module: str) -> str:
    """The stage of `analysis.records.check` is `records`."""
    parts = module.split(".")
    if len(parts) == 1 or parts[1] not in STAGES:
        return "ground"
    return parts[1]


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: p.name)
def test_imports_run_along_the_way_of_the_data(path: Path) -> None:
    own = ".".join(("analysis", *path.relative_to(PACKAGE).with_suffix("").parts))
    if own in ("analysis.__init__", "analysis.__main__"):
        return
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        names = []
        if isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        elif isinstance(node, ast.Import):
            names = [each.name for each in node.names]
        for name in names:
            if name.split(".")[0] == "analysis" and name != "analysis":
                order = STAGES.index(stage_of(name)), STAGES.index(stage_of(own))
                assert order[0] <= order[1], f"{own} imports {name}, which comes after it"


@pytest.mark.parametrize("file", STUDIES)
def test_a_study_is_a_test(file: str) -> None:
    """One that was renamed would no longer be left out."""
    text = (ROOT / "tests" / file).read_text(encoding="utf-8")
    for part in STUDIES[file]:
        assert part.partition("[")[0] in text, part


def test_no_file_is_long_without_a_reason() -> None:
    """Tables of definitions may be long; nothing else."""
    long = {"record_tables.py", "result_tables.py", "film_tables.py", "price_tables.py"}
    for path in PACKAGE.rglob("*.py"):
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 420 or path.name in long, f"{path.name} has {lines} lines"


def test_documents_name_every_table_column_key_and_command() -> None:
    readme, developers = DOCUMENTS["README.md"], DOCUMENTS["DEVELOPERS.md"]
    for name, table in RECORD_TABLES.items():
        assert f"**{name}**" in readme, name
        for column in table.columns:
            assert f"`{column.name}`" in readme, f"{name}.{column.name}"
    for key, _, _ in known_keys():
        assert f"`{key}`" in readme, key
    for name in RESULT_TABLES:
        assert f"`{name}`" in developers or f"`{name}.csv`" in readme, name
    for rule in RULES | DOUBTS:
        assert f"`{rule}`" in developers, rule
    parser = _build_parser()
    (commands,) = [
        each.choices for each in parser._actions if hasattr(each, "choices") and each.choices
    ]
    for command in commands:
        assert f"python -m analysis {command}" in readme, command


def test_generated_parts_of_the_documents_are_up_to_date() -> None:
    for name, text in DOCUMENTS.items():
        made = documents.with_generated_parts(text)
        assert text == made, f"{name}: run python -m tests.documents"


def test_the_files_that_run_first_are_there() -> None:
    from tests.conftest import LONGEST

    assert [name for name in LONGEST if not (ROOT / "tests" / name).is_file()] == []


def test_nothing_names_a_machine_or_a_package_host() -> None:
    """No path of a machine, and no address of a package registry, in any text of the project."""
    path = re.compile(r"(?<![\w.])/(?:work|root|home|tmp|opt|farm)/[\w.]")
    # No address at all but the names of XML schemas and the example of the standards.
    host = re.compile(r"https?://(?!schemas\.openxmlformats\.org|example\.org|www\.w3\.org)")
    files = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False
    ).stdout.split()
    parts = ("analysis", "data_demo", "notebooks", "tests")
    files = files or [  # a copy without its history
        path.relative_to(ROOT).as_posix()
        for path in (
            *ROOT.glob("*.*"),
            *(each for part in parts for each in (ROOT / part).rglob("*.*")),
        )
        if path.is_file() and "__pycache__" not in path.parts
    ]
    for name in files:
        if Path(name).suffix in {".xlsx", ".png"} or name == "tests/test_project.py":
            continue
        text = (ROOT / name).read_text(encoding="utf-8")
        assert not path.search(text), name
        assert not host.search(text), name


@pytest.mark.parametrize(
    "command",
    [["ruff", "check", "."], ["ruff", "format", "--check", "."], ["mypy"]],
    ids=["lint", "format", "types"],
)
def test_lint_and_types(command: list[str]) -> None:
    done = subprocess.run(
        [sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
