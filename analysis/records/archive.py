"""The archive that a workbook is: what it says of itself, checked against what it holds.

Any file may be called .xlsx. Nothing is made of its parts before their number, names, sizes and
checksums are known to be in order, no more is ever unpacked than was declared and allowed, and no
part may declare a document type, which keeps out every trick with entities.

The form of the archive: PKWARE APPNOTE 6.3.
"""

import io
import posixpath
import zipfile
import zlib
from collections.abc import Callable, Iterator
from typing import Final
from xml.parsers import expat

from analysis.errors import RecordsError
from analysis.records.delimited import shown

MEGABYTE: Final = 2**20
LARGEST_PART: Final = 200 * MEGABYTE  # bytes of one part, unpacked
LARGEST_TOTAL: Final = 400 * MEGABYTE  # bytes of all parts, unpacked
MOST_PARTS: Final = 5_000
LARGEST_MARK: Final = 4 * MEGABYTE  # bytes of one tag or comment, which is parsed anew each piece
DEEPEST: Final = 1_000  # elements one within the other; each takes memory until it ends
_MOST_ELEMENTS: Final = 200_000  # of the lists in a workbook: sheets, links of parts, styles
_PIECE: Final = 2**18
SAVE_AGAIN: Final = "Open it in your spreadsheet program, save it again as .xlsx, and try again."

Start = Callable[[str, dict[str, str]], None]
End = Callable[[str], None]


class Archive:
    """The parts of a workbook by name in lower case, checked for size, checksum and form."""

    def __init__(self, data: bytes, file: str) -> None:
        """Check every part; RecordsError for what is no workbook, locked, damaged, or too large."""
        self.data, self.file = data, file
        self.parts = self._directory()
        total = 0
        for name in self.parts:
            prolog = self.parser() if name.endswith((".xml", ".rels")) else None
            for piece in self.pieces(name):
                total += len(piece)
                if total > LARGEST_TOTAL:
                    raise self.too_large(f"it unpacks to over {LARGEST_TOTAL // MEGABYTE} MB")
                if prolog:
                    self.parse(name, prolog, piece)
                    prolog = None

    def damaged(self, what: str) -> RecordsError:
        """Make the refusal of a file that is not what a spreadsheet program writes."""
        return RecordsError(f"{self.file} is damaged or unsafe: {what}. {SAVE_AGAIN}")

    def too_large(self, what: str) -> RecordsError:
        """Make the refusal of a file beyond the limits."""
        remedy = "Keep only the records in it, or save each sheet as CSV."
        return RecordsError(f"{self.file} is too large to be read: {what}. {remedy}")

    def _refuse_other_formats(self) -> None:
        if self.data.startswith(b"\xd0\xcf\x11\xe0"):
            locked = "EncryptedPackage".encode("utf-16-le") in self.data
            what = "locked with a password" if locked else "an old .xls workbook, or a locked one"
            raise RecordsError(f"{self.file} is {what}. Save it as .xlsx without a password.")
        if not self.data.startswith(b"PK\x03\x04"):
            raise RecordsError(f"{self.file} is not an Excel workbook (.xlsx). {SAVE_AGAIN}")

    def _directory(self) -> dict[str, zipfile.ZipInfo]:
        self._refuse_other_formats()
        end = self.data.rfind(b"PK\x05\x06")
        if end < 0:
            raise self.damaged("its end is missing")
        # Every entry takes 46 bytes and its name: refuse a huge list before it is read.
        if int.from_bytes(self.data[end + 12 : end + 16], "little") > MOST_PARTS * 400:
            raise self.too_large(f"it has over {MOST_PARTS:,} parts")
        try:
            found = zipfile.ZipFile(io.BytesIO(self.data)).infolist()
        except (zipfile.BadZipFile, ValueError, NotImplementedError) as bad:
            raise self.damaged("its list of parts cannot be read") from bad
        if len(found) > MOST_PARTS:
            raise self.too_large(f"it has over {MOST_PARTS:,} parts")
        parts: dict[str, zipfile.ZipInfo] = {}
        for part in found:
            name = part.filename.replace("\\", "/").lstrip("/").lower()
            self._check_entry(name, part)
            if parts.setdefault(name, part) is not part:
                raise self.damaged(f"the part '{shown(name)}' is in it twice")
        return parts

    def _check_entry(self, name: str, part: zipfile.ZipInfo) -> None:
        if ".." in name.split("/"):
            raise self.damaged(f"a part is called '{shown(part.filename)}'")
        if part.flag_bits & 1:
            raise RecordsError(f"{self.file} is locked with a password. Save it without one.")
        if part.file_size > LARGEST_PART:
            limit = f"{LARGEST_PART // MEGABYTE} MB"
            raise self.too_large(f"the part '{shown(name)}' unpacks to over {limit}")

    def pieces(self, name: str) -> Iterator[bytes]:
        """Unpack a part piece by piece; size and checksum must be what the archive says."""
        if name not in self.parts:
            raise self.damaged(f"the part '{shown(name)}' is missing")
        part = self.parts[name]
        head = self.data[part.header_offset : part.header_offset + 30]
        lengths = int.from_bytes(head[26:28], "little") + int.from_bytes(head[28:30], "little")
        begin = part.header_offset + 30 + lengths
        packed = memoryview(self.data)[begin : begin + part.compress_size]
        size = checksum = 0
        if head[:4] == b"PK\x03\x04":
            for piece in self._unpacked(name, part.compress_type, packed):
                size += len(piece)
                checksum = zlib.crc32(piece, checksum)
                if size > part.file_size:  # never unpack more than was declared
                    break
                yield piece
        if size != part.file_size or checksum != part.CRC:
            raise self.damaged(f"the part '{shown(name)}' is not what the archive says it is")

    def _unpacked(self, name: str, method: int, packed: memoryview) -> Iterator[bytes]:
        if method not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise self.damaged(f"the part '{shown(name)}' is packed in an unknown way")
        unpacker = zlib.decompressobj(-zlib.MAX_WBITS)
        for at in range(0, len(packed), _PIECE):
            piece = bytes(packed[at : at + _PIECE])
            if method == zipfile.ZIP_STORED:
                yield piece
                continue
            try:
                while piece:
                    yield unpacker.decompress(piece, _PIECE)
                    piece = unpacker.unconsumed_tail
            except zlib.error as bad:
                raise self.damaged(f"the part '{shown(name)}' cannot be unpacked") from bad
        yield unpacker.flush()

    def parser(self, start: Start | None = None, end: End | None = None) -> expat.XMLParserType:
        """Make a parser that refuses document types, with them every entity, and deep nesting."""
        depth = 0

        def opened(tag: str, attributes: dict[str, str]) -> None:
            nonlocal depth
            depth += 1
            if depth > DEEPEST:
                raise self.damaged(f"over {DEEPEST:,} elements of it stand one within the other")
            if start is not None:
                start(tag, attributes)

        def closed(tag: str) -> None:
            nonlocal depth
            depth -= 1
            if end is not None:
                end(tag)

        def refuse(*_: object) -> None:
            raise self.damaged("it declares a document type, which no workbook needs")

        parser = expat.ParserCreate()
        parser.buffer_text = True
        parser.StartDoctypeDeclHandler = refuse
        parser.StartElementHandler = opened
        parser.EndElementHandler = closed
        return parser

    def parse(
        self, name: str, parser: expat.XMLParserType, piece: bytes, last: bool = False
    ) -> None:
        """Hand a piece of a part to its parser."""
        try:
            parser.Parse(piece, last)
        except expat.ExpatError as bad:
            where = f"line {bad.lineno} of the part '{shown(name)}'"
            raise self.damaged(f"{where} cannot be read ({expat.ErrorString(bad.code)})") from bad

    def run(self, name: str, parser: expat.XMLParserType) -> Iterator[None]:
        """Parse a whole part; yields after every piece, so that a reader can stop early."""
        handed = 0
        for piece in self.pieces(name):
            self.parse(name, parser, piece)
            handed += len(piece)
            if handed - parser.CurrentByteIndex > LARGEST_MARK:
                limit = f"{LARGEST_MARK // MEGABYTE} MB"
                raise self.damaged(f"a tag or comment of the part '{shown(name)}' is over {limit}")
            yield
        self.parse(name, parser, b"", last=True)

    def elements(self, name: str, *wanted: str) -> list[tuple[str, dict[str, str]]]:
        """List the elements of these names in a part, with their attributes."""
        found: list[tuple[str, dict[str, str]]] = []

        def start(tag: str, attributes: dict[str, str]) -> None:
            if tag.rpartition(":")[2] in wanted:
                found.append((tag.rpartition(":")[2], attributes))
            if len(found) > _MOST_ELEMENTS:
                raise self.too_large(f"the part '{shown(name)}' has too many entries")

        for _ in self.run(name, self.parser(start)):
            pass
        return found

    def links(self, part: str) -> dict[str, tuple[str, str]]:
        """Give what a part refers to inside the archive: identifier -> (kind, part)."""
        folder, name = posixpath.split(part)
        listed = posixpath.join(folder, "_rels", f"{name}.rels")
        links = {}
        for _, link in self.elements(listed, "Relationship") if listed in self.parts else ():
            if link.get("TargetMode") != "External":
                target = posixpath.join("/", folder, link.get("Target", "").replace("\\", "/"))
                kind = link.get("Type", "").rpartition("/")[2]
                links[link.get("Id", "")] = kind, posixpath.normpath(target).lstrip("/").lower()
        return links
