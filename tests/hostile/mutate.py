"""Damage to files, drawn from a seed: what disks, mail, spreadsheets and tired people do to them.

`spoil_text` works on any bytes, `spoil_cells` on a delimited file, `spoil_workbook` on an archive
and the XML within. Each returns new bytes and never raises.
"""

from __future__ import annotations

import io
import random
import re
import warnings
import zipfile
from collections.abc import Callable, Sequence
from typing import Final

# What has broken readers of numbers, dates, text, markup and formulas.
NASTY: Final = (
    "", " ", "nan", "NaN", "inf", "-Infinity", "1e400", "-0", "-0.0", "1e308", "1e15", "-1e15",
    "999999999999999999999999", "0x10", "1_000", "１２", "٣", "½", "1,5", "1.5.5", "--1", "+", "-",
    "$", "$1e5", "€5", "(5)", "5 %", "0001-01-01", "9999-12-31", "2025-02-29", "2026-13-01",
    "0000-00-00", "2026-07-13T25:00", "1900-02-29", "45000", "24:00", "99:99", "25:61:61",
    "=1+1", "=cmd|' /C calc'!A0", "+1+1", "-2+3", "@SUM(1)", "\t=1", "'=1", "''", "#REF!", "#N/A",
    "<script>alert(1)</script>", "</script>", "&amp;", "javascript:alert(1)", '"', '""', "'",
    "\u202eevil", "\u200b", "\ufeff", "\u0301", "e\u0301", "é", "👩\u200d🔧", "🚗" * 50, "İ", "ß",
    "\x00", "\x07", "\x1b[31m", "\x7f", "\u2028", "a\nb", "a\r\nb", "\r", "_xD800_", "_x0000_",
    "x" * 5_000, "x;y;z", ";", ";;", "a,b", "yes", "TRUE", "no", "None", "null", "NULL", "NA",
    "5'8\"", "5 ft", "1e5 in", "12 in in", "1/0", "1/2", "70 in", "0 in", "-5 in", "1h2h", "9" * 30,
    "J0001", "{{ x }}", "${x}", "%s", "%d", "\\", "../../etc", "C:\\x",
)  # fmt: skip

Spoil = Callable[[random.Random, bytes], bytes]


# --- bytes ---------------------------------------------------------------------------------------


def _flip(draw: random.Random, data: bytes) -> bytes:
    found = bytearray(data)
    for _ in range(draw.choice((1, 1, 3, 20))):
        found[draw.randrange(len(found))] ^= 1 << draw.randrange(8)
    return bytes(found)


def _put_bytes(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + draw.randbytes(draw.choice((1, 2, 16))) + data[at:]


def _cut_out(draw: random.Random, data: bytes) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + data[at + draw.choice((1, 2, 50, 2_000)) :]


def _truncate(draw: random.Random, data: bytes) -> bytes:
    return data[: draw.randrange(len(data) + 1)]


def _double_block(draw: random.Random, data: bytes) -> bytes:
    at, size = draw.randrange(len(data)), draw.choice((5, 500, 5_000))
    return data[:at] + data[at : at + size] + data[at:]


def _put_mark(draw: random.Random, data: bytes) -> bytes:
    mark = draw.choice((b"\x00", b'"', b"\r", b"\xff", b"\xef\xbb\xbf", b"\x1a", b"'", b"\n\n"))
    at = draw.randrange(len(data))
    return data[:at] + mark + data[at:]


BYTES: Final[Sequence[Spoil]] = (
    _flip, _put_bytes, _cut_out, _truncate, _double_block, _put_mark,
)  # fmt: skip


# --- lines and cells of delimited text -----------------------------------------------------------


def _double_line(draw: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    at = draw.randrange(len(lines))
    return b"".join([*lines[:at], lines[at] * draw.choice((2, 2, 50)), *lines[at + 1 :]])


def _swap_lines(draw: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    one, other = draw.randrange(len(lines)), draw.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]
    return b"".join(lines)


def _drop_line(draw: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    del lines[draw.randrange(len(lines))]
    return b"".join(lines)


def _nasty_cell(draw: random.Random, data: bytes) -> bytes:
    """A cell here and there, or a whole column, replaced; sometimes quoted as it should be."""
    lines = data.split(b"\n")
    value = draw.choice(NASTY)
    if draw.random() < 0.5:
        value = '"' + value.replace('"', '""') + '"'
    written = value.encode()
    column = draw.randrange(lines[0].count(b",") + 1)
    chosen = range(len(lines)) if draw.random() < 0.2 else [draw.randrange(len(lines))]
    for at in chosen:
        cells = lines[at].split(b",")
        if column < len(cells):
            cells[column] = written
            lines[at] = b",".join(cells)
    return b"\n".join(lines)


def _drop_column(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    column = draw.randrange(lines[0].count(b",") + 1)
    cells = [line.split(b",") for line in lines]
    return b"\n".join(b",".join(c for i, c in enumerate(row) if i != column) for row in cells)


def _double_column(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    column = draw.randrange(lines[0].count(b",") + 1)
    cells = [line.split(b",") for line in lines]
    return b"\n".join(b",".join([*row, *row[column : column + 1]]) for row in cells)


def _other_delimiter(draw: random.Random, data: bytes) -> bytes:
    return data.replace(b",", draw.choice((b";", b"\t", b"|", b", ", b",,", b"")))


def _other_ends(draw: random.Random, data: bytes) -> bytes:
    lines = data.split(b"\n")
    ends = (b"\n", b"\r\n", b"\r", b"\n\r")
    return b"".join(line + draw.choice(ends) for line in lines)


def _other_encoding(draw: random.Random, data: bytes) -> bytes:
    code = draw.choice(("utf-16", "utf-16-le", "utf-32", "utf-8-sig", "cp1252", "utf-7"))
    return data.decode("utf-8", "replace").encode(code, "replace")


def _headline(draw: random.Random, data: bytes) -> bytes:
    first = (
        b"sep=;",
        b"sep=,",
        b"sep=\x00",
        b'"sep=\t"',
        b"A title",
        b",,,",
        b"\xef\xbb\xbf",
        b"=1",
    )
    return draw.choice(first) + draw.choice((b"\n", b"\r\n", b"")) + data


CELLS: Final[Sequence[Spoil]] = (
    _double_line, _swap_lines, _drop_line, _nasty_cell, _nasty_cell, _nasty_cell, _nasty_cell,
    _drop_column, _double_column, _other_delimiter, _other_ends, _other_encoding, _headline,
)  # fmt: skip


def spoil_text(draw: random.Random, data: bytes) -> bytes:
    """Bytes damaged without regard to what they mean."""
    return draw.choice(BYTES)(draw, data) if data else draw.randbytes(5)


def spoil_cells(draw: random.Random, data: bytes) -> bytes:
    """A delimited file damaged in its lines, cells or form."""
    return draw.choice(CELLS)(draw, data) if data else b"x"


def splice(draw: random.Random, data: bytes, other: bytes) -> bytes:
    """The beginning of a file with the end of another, or lines of the other somewhere within."""
    lines, others = data.splitlines(keepends=True), other.splitlines(keepends=True)
    at, from_there = draw.randrange(len(lines) + 1), draw.randrange(len(others) + 1)
    after = lines[at:] if draw.random() < 0.5 else []
    return b"".join([*lines[:at], *others[from_there : from_there + 20], *after])


# --- workbooks -----------------------------------------------------------------------------------

_DOCTYPE: Final = '<!DOCTYPE x [<!ENTITY a "aaaa"><!ENTITY b SYSTEM "file:///nowhere">]>'
_XML: Final = (
    (r"<v>[^<]*</v>", ("<v>{}</v>", "<v></v>", "<v>1e400</v>", "<v>-1</v>", "<v>99999999</v>")),
    (r' t="\w+"', (' t="b"', ' t="e"', ' t="d"', ' t="s"', ' t="zz"', "", ' t="str"')),
    (r' s="\d+"', (' s="0"', ' s="99999"', ' s="-1"', ' s="x"', "")),
    (r' r="[A-Z]+\d+"', (' r="A1"', ' r="XFD1048576"', ' r="ZZZZ9"', ' r=""', "", ' r="a2"')),
    (r'<row r="\d+"', ('<row r="1"', '<row r="1048576"', '<row r="99999999"', "<row")),
    (r"<t[^>]*>[^<]*</t>", ("<t>{}</t>", "<t/>", "<t>_xD800_</t>", "<t>&bogus;</t>")),
    (r"</\w+>", ("", "</x>", "<a><b><c>")),
    (r'Target="[^"]*"', ('Target="../../x"', 'Target=""', 'Target="http:"', 'Target="%00"')),
    (r'Id="[^"]*"', ('Id=""', 'Id="rId1"')),
    (r'name="[^"]*"', ('name="jobs"', 'name="JOBS "', 'name=""', 'name="hours (2)"')),
    (r"<\?xml[^>]*>", ('<?xml version="1.0" encoding="utf-16"?>', _DOCTYPE, "", "<?xml?>")),
    (r"<sheetData>", ("", "<sheetData/><sheetData>", "<mergeCells><mergeCell ref='A1:ZZ9'/>")),
    (r'formatCode="[^"]*"', ('formatCode="[h]:mm"', 'formatCode="yyyy"', 'formatCode=""')),
    (r'numFmtId="\d+"', ('numFmtId="14"', 'numFmtId="46"', 'numFmtId="99999999999"', "")),
)  # fmt: skip


def _spoil_xml(draw: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    for _ in range(20):
        pattern, instead = draw.choice(_XML)
        found = list(re.finditer(pattern, text))
        if found:
            break
    else:
        return spoil_text(draw, data)
    new = draw.choice(instead)
    if "{}" in new:
        cell = draw.choice(NASTY).replace("&", "&amp;").replace("<", "&lt;")
        new = new.replace("{}", cell)
    count = draw.choice((1, 1, 1, 5, len(found)))
    for match in sorted(draw.sample(found, min(count, len(found))), key=lambda m: -m.start()):
        text = text[: match.start()] + new + text[match.end() :]
    return text.encode("utf-8", "surrogatepass")


def _rename_part(draw: random.Random, name: str) -> str:
    return draw.choice(
        (name.upper(), f"/{name}", f"../{name}", name.replace("/", "\\"), f"{name}x")
    )


def _repack(draw: random.Random, data: bytes) -> bytes:
    """The archive packed anew with a part damaged, renamed, doubled, left out or added."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            parts = [(name, archive.read(name)) for name in archive.namelist()]
    except Exception:  # noqa: BLE001  (an archive that is damaged already)
        return spoil_text(draw, data)
    at = draw.randrange(len(parts))
    name, content = parts[at]
    kind = draw.choice(("xml", "xml", "xml", "xml", "bytes", "rename", "drop", "other", "macro"))
    if kind == "xml":
        parts[at] = name, _spoil_xml(draw, content)
    elif kind == "bytes":
        parts[at] = name, spoil_text(draw, content)
    elif kind == "rename":
        parts[at] = _rename_part(draw, name), content
    elif kind == "drop":
        del parts[at]
    elif kind == "other":
        parts[at] = name, draw.choice(parts)[1]
    else:
        parts.append(("xl/vbaProject.bin", b"macro"))
    packed = io.BytesIO()
    method = draw.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED))
    with warnings.catch_warnings(), zipfile.ZipFile(packed, "w", method) as new:
        warnings.simplefilter("ignore")  # of two parts of one name, which is what is wanted
        for name, content in parts:
            new.writestr(name, content)
    return packed.getvalue()


def spoil_workbook(draw: random.Random, data: bytes) -> bytes:
    """A workbook damaged as an archive, in its parts, or in the XML of a part."""
    return _repack(draw, data) if draw.random() < 0.8 else spoil_text(draw, data)


# --- settings ------------------------------------------------------------------------------------

_TOML: Final = (
    "1e400", "nan", "-inf", "inf", "0", "-1", "10e30", "9" * 400, "0x" + "f" * 5_000, "true", "''",
    '"x"', "[]", "{}", "[1]", '["%d %d"]', '["%d"]', '["%"]', "2026-01-01", "[[[[]]]]", '"\\u0000"',
    '"en-XX"', '"XXX"', "1_000", "00", '"""a\nb"""', "[" * 3_000, "{a={b={c=1}}}", '"🚗"',
)  # fmt: skip


def spoil_settings(draw: random.Random, data: bytes) -> bytes:
    """A `shop.toml` with a value replaced, a key misspelt or doubled, or bytes damaged."""
    if draw.random() < 0.3 or b"=" not in data:
        return spoil_text(draw, data)
    lines = data.split(b"\n")
    at = draw.choice([i for i, line in enumerate(lines) if b"=" in line])
    key, _, value = lines[at].partition(b"=")
    kind = draw.choice(("value", "value", "value", "key", "double", "section"))
    if kind == "value":
        lines[at] = key + b"= " + draw.choice(_TOML).encode()
    elif kind == "key":
        lines[at] = spoil_text(draw, key) + b"=" + value
    elif kind == "double":
        lines.insert(at, lines[at])
    else:
        names = (
            b"[labour]",
            b"[x]",
            b"[[film]]",
            b"[aliases.model]",
            b"[columns.jobs]",
            b"[a.b.c]",
        )
        lines.insert(at, draw.choice(names))
    return b"\n".join(lines)
