"""The part of Avro object container files that archives need: header, blocks, and reading on past damage.

Layout: Apache Avro specification 1.11, "Object Container Files". A file is a header (magic, metadata, a random 16-byte
marker) followed by blocks (number of datums, size in bytes, the datums, the marker again).
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
# Far above any shaft and any schema: a larger size comes from damage and must not fill the memory.
LARGEST_BLOCK_BYTES, LARGEST_HEADER_BYTES = 1 << 22, 1 << 20
# Errors that fastavro raises on bytes that are not a datum or not a schema.
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
    """Header of a file.

    Parameters
    ----------
    schema : Any
        Schema of the datums, as fastavro reads it.
    fingerprint : str
        Its CRC-64-AVRO as hex, least significant byte first.
    marker : bytes
        The 16 bytes that end each block.
    length : int
        Length of the header, bytes.
    """

    schema: Any
    fingerprint: str
    marker: bytes
    length: int


@dataclass(frozen=True, slots=True)
class Block:
    """A block of datums.

    Parameters
    ----------
    offset : int
        Where it begins in the file, bytes.
    end : int
        Where the next one begins, bytes.
    count : int
        Number of datums.
    datums : bytes
        The datums, encoded.
    framed : bool
        False if its marker is damaged.
    """

    offset: int
    end: int
    count: int
    datums: bytes
    framed: bool


@dataclass(frozen=True, slots=True)
class Gap:
    """Bytes of a file that are not a block.

    Parameters
    ----------
    offset : int
        Where they begin in the file, bytes.
    end : int
        Where they end, bytes.
    torn : bool
        True if they reach to the end of the file and no marker is in them.
    """

    offset: int
    end: int
    torn: bool


def fingerprint(schema: Any) -> str:
    """Return the fingerprint of a schema.

    Parameters
    ----------
    schema : Any
        The schema, as plain JSON or as fastavro reads it.

    Returns
    -------
    str
        CRC-64-AVRO of its Parsing Canonical Form as hex, least significant byte first.

    References
    ----------
    Apache Avro specification, "Schema fingerprints".

    Examples
    --------
    >>> fingerprint("int")  # apache/avro, share/test/data/schema-tests.txt: 8247732601305521295
    '8f5c393f1ad57572'
    """
    return crc_64_avro(canonical_form(schema), "CRC-64-AVRO")


def header_bytes(schema: Any, marker: bytes) -> bytes:
    """Return the header of a file whose blocks are not compressed.

    Parameters
    ----------
    schema : Any
        Schema of the datums, as fastavro reads it.
    marker : bytes
        The 16 bytes that end each block.

    Returns
    -------
    bytes
        The header.
    """
    out = BytesIO()
    writer(out, schema, [], sync_marker=marker)
    return out.getvalue()


def block_bytes(datum: bytes, marker: bytes) -> bytes:
    """Return a block with one datum.

    Parameters
    ----------
    datum : bytes
        The datum, encoded.
    marker : bytes
        The 16 bytes that end each block of the file.

    Returns
    -------
    bytes
        The block.
    """
    return _long_bytes(1) + _long_bytes(len(datum)) + datum + marker


def read_header(file: Reader, name: str) -> Header:
    """Read the header at the start of a file.

    Parameters
    ----------
    file : IO[bytes] or RawIOBase
        The file, open for reading.
    name : str
        Its name; messages begin with it.

    Returns
    -------
    Header
        The header.

    Raises
    ------
    ArchiveError
        The file is not an Avro file (code "not_avro"), ends within the header or has a damaged one (code "header"), is
        compressed (code "compressed"), or has a schema that cannot be read.
    """
    file.seek(0)
    start = file.read(len(MAGIC))
    if start != MAGIC[: len(start)]:
        raise ArchiveError(
            f"{name}: is not an Avro file (it starts with {start.hex(' ')}, not {MAGIC.hex(' ')}); "
            "name an archive of raw readings",
            code="not_avro",
        )
    file.seek(0)
    start = BytesIO(file.read(LARGEST_HEADER_BYTES))
    try:
        header: Any = schemaless_reader(start, _HEADER_SCHEMA, None)
    except DECODE_ERRORS as error:
        raise ArchiveError(
            f"{name}: its header is incomplete or damaged ({error!r}); no shaft was read", code="header"
        ) from error
    return _header(header, start.tell(), name)


def _header(header: dict[str, Any], length: int, name: str) -> Header:
    """Return the header from what fastavro read, or raise ArchiveError if it is compressed or has no usable schema."""
    codec = header["meta"].get("avro.codec", b"null")
    if codec != b"null":
        raise ArchiveError(
            f"{name}: is compressed with {codec!r}; rewrite it without compression (codec null)", code="compressed"
        )
    try:
        source = json_in(header["meta"]["avro.schema"], f"{name}: the schema in its header", ArchiveError)
        schema = parse_schema(source)
        _fewest_bytes(schema, {})
        return Header(schema, fingerprint(schema), header["marker"], length)
    except DECODE_ERRORS as error:
        raise ArchiveError(f"{name}: the schema in its header cannot be read ({error!r})") from error


def _fewest_bytes(kind: Any, known: dict[str, int | None]) -> int:
    """Return the smallest number of bytes of a datum; `known` has that of each named type, None while it is unfinished.

    Raises ValueError for a type that contains itself, or an array whose items take no bytes: with either, a few bytes
    of a file could stand for any number of values, and fill the memory.
    """
    if isinstance(kind, list):
        return 1 + min([_fewest_bytes(branch, known) for branch in kind], default=0)
    if isinstance(kind, str):
        fewest = known.get(kind, _PLAIN_BYTES.get(kind, 1))
        if fewest is None:
            raise ValueError(f"type {kind!r} contains itself")
        return fewest
    form, name = kind["type"], kind.get("name", "")
    if form == "record":
        known[name] = None
        known[name] = sum(_fewest_bytes(field["type"], known) for field in kind["fields"])
    elif form == "fixed":
        known[name] = kind["size"]
    elif form in ("array", "map"):
        if not _fewest_bytes(kind["items" if form == "array" else "values"], known) and form == "array":
            raise ValueError("the items of an array take no bytes")
        return 1
    else:
        return _fewest_bytes(form, known)
    return known[name] or 0


_PLAIN_BYTES = {"null": 0, "float": 4, "double": 8}


def walk(
    file: Reader, header: Header, is_whole: Callable[[bytes], bool], offset: int | None = None
) -> Iterator[Block | Gap]:
    """Yield all that follows an offset: blocks, and gaps where bytes are not a block.

    If the marker of a block is damaged and its datums are too, reading goes on after the next marker. The memory needed
    does not depend on the length of the file.

    Parameters
    ----------
    file : IO[bytes] or RawIOBase
        The file, open for reading.
    header : Header
        Its header.
    is_whole : Callable[[bytes], bool]
        Returns True if the datums of a block are good in spite of a damaged marker.
    offset : int or None
        Where to begin, bytes; None for the end of the header.

    Yields
    ------
    Block | Gap
        Parts in order, each beginning where the last ended.
    """
    window = _Window(file)
    offset = header.length if offset is None else offset
    while offset < window.size:
        part = _block(window, offset, header.marker, is_whole) or _gap(window, offset, header.marker)
        yield part
        offset = part.end


def _block(window: _Window, offset: int, marker: bytes, is_whole: Callable[[bytes], bool]) -> Block | None:
    """Return the block that starts at an offset, None if there is none."""
    try:
        count, count_bytes = _read_long(window.read(offset, 10))
        size, size_bytes = _read_long(window.read(offset + count_bytes, 10))
    except IndexError:  # the file ends within a number, or the number is too long
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
    """Return the gap from an offset to the end of the next marker, or to the end of the file."""
    found = window.find(marker, offset)
    return Gap(offset, window.size, True) if found is None else Gap(offset, found + MARKER_BYTES, False)


class _Window:
    """Random access to the bytes of a file, which is read a piece at a time."""

    def __init__(self, file: Reader) -> None:
        self.size = os.fstat(file.fileno()).st_size
        self._file = file
        self._start = 0
        self._piece = b""

    def read(self, offset: int, length: int) -> bytes:
        """Return the bytes at an offset, fewer at the end of the file."""
        first = offset - self._start
        if not 0 <= first <= len(self._piece) - length:
            self._file.seek(offset)
            self._piece = self._file.read(max(length, PIECE_BYTES))
            self._start, first = offset, 0
        return self._piece[first : first + length]

    def find(self, wanted: bytes, offset: int) -> int | None:
        """Return the offset of the next occurrence of some bytes, None if there is none."""
        while offset + len(wanted) <= self.size:
            found = self.read(offset, PIECE_BYTES).find(wanted)
            if found >= 0:
                return offset + found
            offset += PIECE_BYTES - len(wanted) + 1  # an occurrence may span two pieces
        return None


def _read_long(data: bytes) -> tuple[int, int]:
    """Return the zig-zag number at the start of some data and its length in bytes; IndexError if it does not end."""
    code = 0
    for position in range(10):
        code |= (data[position] & 127) << 7 * position
        if data[position] < 128:
            return (code >> 1) ^ -(code & 1), position + 1
    raise IndexError("a number of more than 10 bytes")


def _long_bytes(number: int) -> bytes:
    """Return a number in Avro's variable-length encoding."""
    out = BytesIO()
    schemaless_writer(out, "long", number)
    return out.getvalue()
