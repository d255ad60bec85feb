"""The parts of the documents that are made from the definitions in the package.

`python -m tests.documents` writes them anew; a test compares. Each part stands between two marks,
`<!-- made: NAME -->` and `<!-- end: NAME -->`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable
from pathlib import Path

from analysis.costing.doubts import DOUBTS
from analysis.record_tables import RECORD_TABLES
from analysis.records.rules import RULES
from analysis.result_tables import QUARTER_ONLY, RESULT_TABLES
from analysis.schema import Column
from analysis.settings import known_keys
from tests.hostile.cases import CASES
from tests.reference.listing import markdown, parts

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "analysis"
STAGES = ("records", "costing", "packing", "findings", "pricing", "report")
DOCUMENTS = ("README.md", "DEVELOPERS.md", "tests/reference/PUBLISHED.md")


def records_part() -> str:
    """Every record table, with each of its columns."""
    parts = []
    for name, table in RECORD_TABLES.items():
        wanted = " (required)" if table.required else ""
        parts.append(f"<details><summary><b>{name}</b>{wanted}: {table.sentence}</summary>\n")
        parts.append(f"**{name}**\n")
        parts.append("| column | what | how it is written | example |")
        parts.append("| --- | --- | --- | --- |")
        parts += [_column_row(column) for column in table.columns]
        parts.append("\n</details>\n")
    return "\n".join(parts)


def _column_row(column: Column) -> str:
    must = " **required**" if column.required else ""
    form = str(column.kind)
    if column.words:
        form += ": " + ", ".join(column.words)
    blank = f" Blank: {column.default}." if column.default else ""
    return f"| `{column.name}`{must} | {column.sentence}{blank} | {form} | {column.example} |"


def settings_part() -> str:
    """Every key of shop.toml, with its default."""
    rows = ["| key | default | what |", "| --- | --- | --- |"]
    rows += [f"| `{key}` | {_default(value)} | {text} |" for key, value, text in known_keys()]
    return "\n".join(rows) + "\n"


def _default(value: object) -> str:
    if value is None or value in ({}, (), ""):
        return "not set"
    return str(value).lower() if isinstance(value, bool) else f"{value}"


def results_part() -> str:
    """Every result table, with each of its columns."""
    rows = ["| table | a row | columns |", "| --- | --- | --- |"]
    for name, table in RESULT_TABLES.items():
        year = "" if name in QUARTER_ONLY else f", `{name}_year.csv`"
        columns = ", ".join(f"`{column.name}`" for column in table.columns)
        rows.append(f"| `{name}.csv`{year} | {table.sentence} | {columns} |")
    return "\n".join(rows) + "\n"


def rules_part() -> str:
    """Every rule of the check."""
    rows = ["| rule | severity | finds | what to do |", "| --- | --- | --- | --- |"]
    rows += [
        f"| `{code}` | {rule.severity} | {_cell(rule.finds)} | {_cell(rule.remedy)} |"
        for code, rule in (RULES | DOUBTS).items()
    ]
    return "\n".join(rows) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


def published_part() -> str:
    """Every published figure, with ours."""
    return markdown(parts())


def hostile_part() -> str:
    """What happens to hostile and broken input, with the test that shows it."""
    rows = ["| case | what happens | shown by |", "| --- | --- | --- |"]
    rows += [
        f"| {_cell(each.case)} | {_cell(each.happens)} | `{each.test.removeprefix('tests/')}` |"
        for each in CASES
    ]
    return "\n".join(rows) + "\n"


def modules_part() -> str:
    """Every module, with the first line of its docstring."""
    rows = ["| module | what |", "| --- | --- |"]
    for path in sorted(PACKAGE.rglob("*.py"), key=_in_stages):
        text = ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))
        first = (text or "").split("\n\n")[0].replace("\n", " ")
        rows.append(f"| `{path.relative_to(PACKAGE).as_posix()}` | {_cell(first)} |")
    return "\n".join(rows) + "\n"


def _in_stages(path: Path) -> tuple[int, str]:
    """The ground floor first, then each stage along the way of the data."""
    part = path.relative_to(PACKAGE).parts[0]
    return (STAGES.index(part) if part in STAGES else -1, path.as_posix())


PARTS: dict[str, Callable[[], str]] = {
    "records": records_part,
    "settings": settings_part,
    "results": results_part,
    "rules": rules_part,
    "published": published_part,
    "hostile": hostile_part,
    "modules": modules_part,
}


def with_generated_parts(text: str) -> str:
    """A document with each marked part made anew."""
    for name, make in PARTS.items():
        # What a document does not hold is not made: the published figures take a while.
        if f"<!-- made: {name} -->" not in text:
            continue
        part = f"<!-- made: {name} -->\n\n{make()}\n<!-- end: {name} -->"
        pattern = rf"<!-- made: {name} -->.*?<!-- end: {name} -->"
        text = re.sub(pattern, lambda _, part=part: part, text, flags=re.DOTALL)  # type: ignore[misc]
    return text


def main() -> None:
    """Write the generated parts of every document."""
    for name in DOCUMENTS:
        path = ROOT / name
        path.write_text(with_generated_parts(path.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
