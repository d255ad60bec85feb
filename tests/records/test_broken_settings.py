"""A line of shop.toml that cannot be read: which it is, what stands there, what to write."""

from pathlib import Path

import pytest

from analysis.errors import SettingsError
from analysis.records.read import read_settings

HOW = (
    'Numbers take a point here (22.5, not 22,5), text stands in quotes ("USD"), so does a name '
    "with a space or a point, and true and false are small. Mend that line."
)
AFTER = "expected newline or end of document after a statement"


def said(folder: Path, text: str) -> str:
    (folder / "shop.toml").write_bytes(text.encode())
    with pytest.raises(SettingsError) as caught:
        read_settings(folder)
    return str(caught.value)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        ("default_wage = 22,5", AFTER),
        ("currency = USD", "invalid value"),
        ("decimal_comma = True", "invalid value"),
        ('Job no. = "job_id"', "expected '=' after a key in a key/value pair"),
        ('currency = "USD', "unterminated string"),
        ('date_formats = ["%d.%m.%Y"', "unclosed array"),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_the_line_is_told_with_what_it_should_be(
    line: str, reason: str, end: str, tmp_path: Path
) -> None:
    above = ["# Settings", "", 'locale = "en-US"', "[labour]"]
    # What is not closed goes on to the file's end, or is told at the end of its line.
    told = said(tmp_path, end.join([*above, line]))
    assert told.startswith(f"shop.toml, line 5: '{line}' cannot be read (")
    assert told.endswith(f"({reason}). {HOW}")


def test_a_key_or_section_that_stands_twice(tmp_path: Path) -> None:
    assert said(tmp_path, "tax_rate = 0.1\ntax_rate = 0.2\n") == (
        "shop.toml, line 2: 'tax_rate = 0.2' stands in the file a second time. "
        "Delete one of the two."
    )
    assert said(tmp_path, "[film]\n\n[film]\n").startswith("shop.toml, line 3: '[film]' stands ")
