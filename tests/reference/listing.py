"""The table of all published figures with ours: plain columns, or the part of a document."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

from tests.reference.published import ENTRIES, Check, Published, Source, all_checks

HEADER = ("what", "published", "ours", "within", "known", "source")
# Of a part: its heading, and what was checked.
Part = tuple[str, list[Check]]


@cache
def parts() -> tuple[Part, ...]:
    """A part a module with published figures, in order of their names; worked out once.

    Raises `ValueError` where two rows could not be told apart.
    """
    found: list[Part] = []
    for module in pkgutil.iter_modules([str(Path(__file__).parent)]):
        if not module.name.startswith("test_"):
            continue
        loaded = importlib.import_module(f"{__package__}.{module.name}")
        entries = [entry for (name, _), entry in ENTRIES.items() if name == loaded.__name__]
        if entries:
            heading = (loaded.__doc__ or module.name).splitlines()[0].rstrip(".")
            found.append((heading, all_checks(entries)))
    refuse_twins(found)
    return tuple(found)


def refuse_twins(found: Iterable[Part]) -> None:
    """Raise `ValueError` where two rows have the same name and source, or two sources one name."""
    rows = [each.published for _, checks in found for each in checks]
    names = [f"{each.what} ({each.source.short}, {each.place})" for each in rows]
    twins = sorted({name for name in names if names.count(name) > 1})
    shorts = [source.short for source in {each.source for each in rows}]
    twins += sorted({short for short in shorts if shorts.count(short) > 1})
    if twins:
        raise ValueError(f"More than one published figure or source is called {twins[0]}.")


def wrong(found: tuple[Part, ...]) -> list[Check]:
    """The checks that are out of tolerance."""
    return [each for _, checks in found for each in checks if not each.holds]


def cells(check: Check) -> tuple[str, ...]:
    """A check as cells under `HEADER`."""
    stated = check.published
    place = f"{stated.source.short}, {stated.place}" if stated.place else stated.source.short
    ours = check.ours if check.holds else f"{check.ours} (WRONG)"
    return (stated.what, stated.theirs, ours, within(stated), stated.seen, place)


def within(stated: Published) -> str:
    """The tolerance in words: exact, or the largest difference."""
    return "exact" if stated.exact else f"{stated.tolerance:.2g}"


def sources(found: tuple[Part, ...]) -> list[Source]:
    """Every source that is used, by its short name."""
    used = {each.published.source for _, checks in found for each in checks}
    return sorted(used, key=lambda source: source.short.lower())


def summary(found: tuple[Part, ...]) -> str:
    """How many figures there are, how they are known, and how many are out of tolerance."""
    checks = [each for _, part in found for each in part]
    known = {
        seen: sum(each.published.figures for each in checks if each.published.seen == seen)
        for seen in ("text", "recomputed", "from memory")
    }
    figures = sum(each.published.figures for each in checks)
    return (
        f"{figures} published figures in {len(checks)} rows from {len(sources(found))} sources: "
        f"{known['text']} read in a text, {known['recomputed']} recomputed from a text's inputs, "
        f"{known['from memory']} from memory; {len(wrong(found))} out of tolerance."
    )


def plain(found: tuple[Part, ...]) -> str:
    """The table in plain columns."""
    rows = [cells(each) for _, checks in found for each in checks]
    widths = [max(len(row[at]) for row in [HEADER, *rows]) for at in range(len(HEADER))]
    lines = [_padded(HEADER, widths)]
    for heading, checks in found:
        lines += ["", heading, *(_padded(cells(each), widths) for each in checks)]
    names = [f"{source.short}: {source.full}." for source in sources(found)]
    return "\n".join([*lines, "", "Sources", *names, "", summary(found)]) + "\n"


def _padded(row: tuple[str, ...], widths: list[int]) -> str:
    return "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def markdown(found: tuple[Part, ...]) -> str:
    """The table for a document, folded away behind its summary."""
    return "\n".join(_markdown_lines(found)) + "\n"


def _markdown_lines(found: tuple[Part, ...]) -> Iterator[str]:
    yield f"{summary(found)}\n"
    yield "<details><summary>Every published figure, with ours beside it</summary>\n"
    for heading, checks in found:
        yield f"{heading}\n"
        yield "| " + " | ".join(HEADER) + " |"
        yield "| --- | ---: | ---: | ---: | --- | --- |"
        for each in checks:
            yield "| " + " | ".join(cell.replace("|", "\\|") for cell in cells(each)) + " |"
        yield ""
    for source in sources(found):
        yield f"- {source.short}: {source.full}."
    yield "\n</details>"
