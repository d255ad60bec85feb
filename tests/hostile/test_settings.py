"""`shop.toml` broken in every way: one line that names the key, or the settings as meant."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis.errors import SettingsError
from analysis.settings import FILE_NAME, Settings, parse_settings

BROKEN = {
    "not a number": "[labour]\ndefault_wage = nan",
    "infinite": "[labour]\ndefault_wage = -inf",
    "out of every range": "[labour]\ndefault_wage = 1e300",
    "a number of 6,000 digits": "[labour]\ndefault_wage = 0x" + "f" * 6_000,
    "a decimal number of 5,000 digits": "tax_rate = " + "9" * 5_000,
    "deep brackets": "date_formats = " + "[" * 20_000,
    "a text for a number": '[labour]\ndefault_wage = "23"',
    "a number for a text": "currency = 1",
    "a day for a text": "currency = 2026-01-01",
    "yes for a number": "tax_rate = true",
    "a value for a section": "film = 3",
    "a list for a section": "[[film]]",
    "an unknown key": "colour = 1",
    "an unknown section": "[a.b.c]\nd = 1",
    "a key without a name": '"" = 1',
    "a key of 100,000 letters": "x" * 100_000 + " = 1",
    "a value of 100,000 letters": f'currency = "{"x" * 100_000}"',
    "a key twice": "tax_rate = 0\ntax_rate = 0",
    "a section twice": "[film]\n[film]",
    "an unclosed text": 'currency = "USD',
    "a form without a year": 'date_formats = ["%d.%m."]',
    "a form with a day twice": 'date_formats = ["%d %d %m %Y"]',
    "a form that ends in a mark": 'date_formats = ["%d.%m.%Y %"]',
    "a form of no day": 'date_formats = ["%H:%M"]',
    "an unknown locale": 'locale = "x-klingon"',
    "a locale of a path": 'locale = "../../en"',
    "a NUL byte": 'currency = "\\u0000"',
    "a map of numbers": "[aliases.model]\na = 1",
    "a map of an unknown column": "[aliases.nothing]\na = 'b'",
}


@pytest.mark.parametrize("how", BROKEN)
def test_broken_settings_are_one_line(how: str) -> None:
    with pytest.raises(SettingsError) as caught:
        parse_settings(BROKEN[how])
    line = str(caught.value)
    assert line.startswith(FILE_NAME)
    assert "\n" not in line
    assert len(line) < 500
    line.encode()


@pytest.mark.parametrize("form", ["%d.%m.%Y", "%m/%d/%y", "%d %B %Y", "%Y%j", "%d.%m.%Y %H:%M"])
def test_forms_of_whole_days_are_taken(form: str) -> None:
    assert parse_settings(f'date_formats = ["{form}"]').date_formats == (form,)


@given(st.text(max_size=300))
def test_no_text_breaks_the_settings(text: str) -> None:
    try:
        assert isinstance(parse_settings(text), Settings)
    except SettingsError as error:
        assert str(error).startswith(FILE_NAME)
