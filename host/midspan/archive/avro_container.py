"""Avro object container files as far as archives need them: header, blocks, and a way on past damage.

Layout: Apache Avro specification 1.11, "Object Container Files". A file is a header (magic, metadata, a random
16-byte marker) and blocks (number of datums, size in bytes, the datums, the marker again).
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import BytesIO, RawIOBase
from struct import error as struct_error
from typing import IO, Any

from fastavro import parse_schema, schemaless_reader, schemaless_writer, writer
from fastavro.schema import SchemaParseException, UnknownType
from fastavro.schema import fingerprint as crc_64_avro
from fastavro.schema import to_parsing_canonical_form as canonical_form

from midspan.base.errors import ArchiveError
from midspan.base.files import json_in

MAGIC = b"Obj\x01"
MARKER_BYTES = 16
PIECE_BYTES = 1 << 20
# Far above any shaft and any schema; a larger size is a damaged one and must not fill the memory.
LARGEST_BLOCK_BYTES, LARGEST_HEADER_BYTES = 1 << 22, 1 << 20
# What fastavro raises on bytes that are no datum or no schema.
DECODE_ERRORS = (
    EOFError, ValueError, IndexError, OverflowError, MemoryError, TypeError, KeyError, AttributeError, RecursionError,
    struct_error, SchemaParseException, UnknownType,
)  # fmt: skip
_HEADER_SCHEMA = parse_schema(
    {
        "type": "record",
        "name": "Header",
        "fields": [
            {"name": "magic", "type": {"type": "fixed", "name": "Magic", "size": 4}},
            {"name": "meta", "type": {"type": "map", "values": "bytes"}},
            {"name": "marker", "type": {"type": "fixed", "name": "Marker", "size": MARKER_BYTES}},
        ],
    }
)


Reader = IO[bytes] | RawIOBase


@dataclass(frozen=True, slots=True)
class Header:
    """What a file says of itself: schema, its CRC-64-AVRO fingerprint (hex), marker, length in bytes."""

    schema: Any
    fingerprint: str
    marker: bytes
    length: int


@dataclass(frozen=True, slots=True)
class Block:
    """The bytes of one block from `offset` to `end`; `framed` is False when its marker is damaged."""

    offset: int
    end: int
    count: int
    datums: bytes
    framed: bool


@dataclass(frozen=True, slots=True)
class Gap:
    """Bytes from `offset` to `end` that are no block; `torn` when no marker follows up to the end of the file."""

    offset: int
    end: int
    torn: bool


def fingerprint(schema: Any) -> str:
    """CRC-64-AVRO of a schema in Parsing Canonical Form, least significant byte first, as hex.

    >>> fingerprint("int")  # apache/avro, share/test/data/schema-tests.txt: 8247732601305521295
    '8f5c393f1ad57572'
    """
    return crc_64_avro(canonical_form(schema), "CRC-64-AVRO")


def header_bytes(schema: Any, marker: bytes) -> bytes:
    """The header of a file of unpacked blocks."""
    out = BytesIO()
    writer(out, schema, [], sync_marker=marker)
    return out.getvalue()


def block_bytes(datum: bytes, marker: bytes) -> bytes:
    """A block of one datum."""
    return _long_bytes(1) + _long_bytes(len(datum)) + datum + marker


def read_header(file: Reader, name: str) -> Header:
    """The header at the start of a file.

    Raises ArchiveError when the file is cut short in it, is no Avro file, or is packed.
    """
    file.seek(0)
    start = file.read(len(MAGIC))
    if start != MAGIC[: len(start)]:
        raise ArchiveError(f"{name}: is no Avro file: it starts with {start.hex(' ')}, not {MAGIC.hex(' ')}")
    file.seek(0)
    start = BytesIO(file.read(LARGEST_HEADER_BYTES))
    try:
        header: Any = schemaless_reader(start, _HEADER_SCHEMA, None)
    except DECODE_ERRORS as error:
        raise ArchiveError(f"{name}: its header is cut short or damaged ({error!r}); no shaft was read") from error
    return _header(header, start.tell(), name)


def _header(header: dict[str, Any], length: int, name: str) -> Header:
    codec = header["meta"].get("avro.codec", b"null")
    if codec != b"null":
        raise ArchiveError(f"{name}: is packed with {codec!r}; write it again with the codec null")
    try:
        source = json_in(header["meta"]["avro.schema"], f"{name}: the schema in its header", ArchiveError)
        schema = parse_schema(source)
        _fewest_bytes(schema, {})
        return Header(schema, fingerprint(schema), header["marker"], length)
    except DECODE_ERRORS as error:
        raise ArchiveError(f"{name}: the schema in its header cannot be read ({error!r})") from error


def _fewest_bytes(kind: Any, known: dict[str, int | None]) -> int:
    """The fewest bytes that a datum of a schema takes; `known` are those of types by name, None for an unfinished one.

    Raises ValueError for a type that contains itself, or an array of what takes no bytes: a few bytes of either would
    be as many values as they say, which no program survives.
    """
    if isinstance(kind, list):
        return 1 + min([_fewest_bytes(one, known) for one in kind], default=0)
    if isinstance(kind, str):
        if kind in known and known[kind] is None:
            raise ValueError(f"type {kind!r} contains itself")
        return known.get(kind) or _PLAIN_BYTES.get(kind, 1)
    form, name = kind["type"], kind.get("name", "")
    if form == "record":
        known[name] = None
        known[name] = sum(_fewest_bytes(one["type"], known) for one in kind["fields"])
    elif form == "fixed":
        known[name] = kind["size"]
    elif form in ("array", "map"):
        if not _fewest_bytes(kind["items" if form == "array" else "values"], known) and form == "array":
            raise ValueError("an array holds what takes no bytes")
        return 1
    else:
        return _fewest_bytes(form, known)
    return known[name] or 0


_PLAIN_BYTES = {"null": 0, "float": 4, "double": 8}


def walk(
    file: Reader, header: Header, is_whole: Callable[[bytes], bool], offset: int | None = None
) -> Iterator[Block | Gap]:
    """Everything from an offset on (the header's end), without holes: blocks, and gaps where bytes are no block.

    Where the frame of a block does not hold, its datums are asked (`is_whole`) whether they are good all the
    same; if not, the next marker shows where to go on. Memory stays flat however long the file is.
    """
    window = _Window(file)
    offset = header.length if offset is None else offset
    while offset < window.size:
        part = _block(window, offset, header.marker, is_whole) or _gap(window, offset, header.marker)
        yield part
        offset = part.end


def _block(window: _Window, offset: int, marker: bytes, is_whole: Callable[[bytes], bool]) -> Block | None:
    try:
        count, count_bytes = _read_long(window.read(offset, 10))
        size, size_bytes = _read_long(window.read(offset + count_bytes, 10))
    except IndexError:  # the file ends, or a number does not
        return None
    start = offset + count_bytes + size_bytes
    if not 0 <= size <= min(LARGEST_BLOCK_BYTES, window.size - start - MARKER_BYTES):
        return None
    body = window.read(start, size + MARKER_BYTES)
    datums, end = body[:size], start + len(body)
    framed = body[size:] == marker
    if not framed and not is_whole(datums):
        return None
    return Block(offset, end, count, datums, framed)


def _gap(window: _Window, offset: int, marker: bytes) -> Gap:
    found = window.find(marker, offset)
    return Gap(offset, window.size, True) if found is None else Gap(offset, found + MARKER_BYTES, False)


class _Window:
    """Bytes of a file by offset, read a piece at a time."""

    def __init__(self, file: Reader) -> None:
        self.size = os.fstat(file.fileno()).st_size
        self._file = file
        self._start = 0
        self._piece = b""

    def read(self, offset: int, length: int) -> bytes:
        first = offset - self._start
        if not 0 <= first <= len(self._piece) - length:
            self._file.seek(offset)
            self._piece = self._file.read(max(length, PIECE_BYTES))
            self._start, first = offset, 0
        return self._piece[first : first + length]

    def find(self, wanted: bytes, offset: int) -> int | None:
        while offset + len(wanted) <= self.size:
            found = self.read(offset, PIECE_BYTES).find(wanted)
            if found >= 0:
                return offset + found
            offset += PIECE_BYTES - len(wanted) + 1  # it may lie across two pieces
        return None


def _read_long(data: bytes) -> tuple[int, int]:
    """The zig-zag number at the start of the data and how many bytes it takes."""
    code = 0
    for position in range(10):
        code |= (data[position] & 127) << 7 * position
        if data[position] < 128:
            return (code >> 1) ^ -(code & 1), position + 1
    raise IndexError("a number of more than 10 bytes")


def _long_bytes(number: int) -> bytes:
    out = BytesIO()
    schemaless_writer(out, "long", number)
    return out.getvalue()
