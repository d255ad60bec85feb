"""A commented `shop.toml`, made from the settings' own definitions."""

import json
import textwrap
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final

from analysis.settings import Settings, known_keys

_HEAD: Final = """\
## Settings of the shop. Every key below is switched off by the # before it and then has the value
## that is shown. To change one: take away that # and write your value. Lines with two # explain.
"""
# Keys whose value is a section of its own, each with lines that show its form.
_SECTIONS: Final = {
    "targets.service": ("[targets.service.roof]", "margin = 0.5"),
    "columns": ("[columns.jobs]", '"Job no." = "job_id"'),
    "aliases": ("[aliases.model]", '"Pike GT" = "Pike"'),
}


def settings_template() -> str:
    """The text of a `shop.toml` in which every key stands, commented, at its default.

    As it is, it gives the default settings; with one `#` taken from the start of every line, it
    still is a valid file.
    """
    details = _key_details()
    blocks, section = [_HEAD], ""
    for name, default, sentence in known_keys():
        head, _, key = name.rpartition(".")
        lines = []
        if name in _SECTIONS:
            section = ""
            lines += _prose(sentence + " Take the # from both lines.")
            lines += ["# " + line for line in _SECTIONS[name]]
        else:
            if head != section:
                section = head
                lines.append(f"[{head}]")
            lines += _prose(" ".join([sentence, *_limits(details[name])]))
            if default is None:
                lines += _prose("Not set by default; the number below is an example.")
            shown = details[name]["example"] if default is None else default
            lines.append(f"# {key} = {_toml(shown)}")
        blocks.append("\n".join(lines) + "\n")
    return "\n".join(blocks)


def _key_details() -> dict[str, Mapping[str, Any]]:
    details: dict[str, Mapping[str, Any]] = {}
    for each in fields(Settings):
        inner = each.default_factory
        if isinstance(inner, type) and is_dataclass(inner):
            details |= {f"{each.name}.{part.name}": part.metadata for part in fields(inner)}
        else:
            details[each.name] = each.metadata
    return details


def _prose(text: str) -> list[str]:
    return ["## " + line for line in textwrap.wrap(text, 97, break_long_words=False)]


def _limits(detail: Mapping[str, Any]) -> Iterator[str]:
    if detail.get("words"):
        yield "One of: " + ", ".join(detail["words"]) + "."
    least, most = detail.get("least"), detail.get("most")
    if least is not None and most is not None:
        yield f"From {least:g} to {most:g}."
    elif least is not None:
        yield f"From {least:g} on."


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, tuple):
        return json.dumps(list(value))
    return json.dumps(value, ensure_ascii=False)
