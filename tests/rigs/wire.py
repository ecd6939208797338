"""The protocol by fastavro, cobs and zlib alone: schemas, data and frames, without any of Midspan's code.

Tests hold both ends of the line to it.
"""

import json
import re
import zlib
from io import BytesIO
from typing import Any

import fastavro
from cobs import cobs
from places import ROOT

PROTOCOL = ROOT / "protocol"


def _inlined(schema: Any, seen: set[str]) -> Any:
    """Return a schema with every named type defined where it is first used."""
    if isinstance(schema, str) and schema.startswith("midspan."):
        name = schema.removeprefix("midspan.")
        if name in seen:
            return schema
        file = re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower() + ".avsc"
        return _inlined(json.loads((PROTOCOL / file).read_text(encoding="utf-8")), seen)
    if isinstance(schema, list):
        return [_inlined(branch, seen) for branch in schema]
    if isinstance(schema, dict):
        if "name" in schema and "type" in schema:
            seen.add(schema["name"])
        keys = ("fields", "items", "type")
        return {key: _inlined(value, seen) if key in keys else value for key, value in schema.items()}
    return schema


MESSAGE = _inlined(json.loads((PROTOCOL / "message.avsc").read_text(encoding="utf-8")), set())
SCHEMA = fastavro.parse_schema(MESSAGE)
FINGERPRINT = bytes.fromhex(
    fastavro.schema.fingerprint(fastavro.schema.to_parsing_canonical_form(MESSAGE), "CRC-64-AVRO")
)


def datum(name: str, fields: dict[str, Any]) -> bytes:
    """Return a record of the union in Avro binary: its branch as a zig-zag varint, then its fields (Avro, "Unions")."""
    out = BytesIO()
    fastavro.schemaless_writer(out, SCHEMA, (f"midspan.{name}", fields))
    return out.getvalue()


def record(data: bytes) -> tuple[str, dict[str, Any]]:
    """Return name and fields of a datum of the union that has no bytes left over."""
    source = BytesIO(data)
    name, fields = fastavro.schemaless_reader(source, SCHEMA, return_record_name=True, return_record_name_override=True)
    assert source.read() == b""
    return name.removeprefix("midspan."), fields


def framed(sequence: int, data: bytes) -> bytes:
    """Return the frame of a datum: sequence number, datum and checksum, stuffed, with a delimiter at the end."""
    raw = sequence.to_bytes(2, "little") + data
    return cobs.encode(raw + zlib.crc32(raw).to_bytes(4, "little")) + b"\0"


def unframed(stream: bytes) -> list[tuple[int, bytes]]:
    """Return sequence number and datum of each frame in a stream."""
    found = []
    for stuffed in stream.split(b"\0"):
        if stuffed:
            raw = cobs.decode(stuffed)
            assert zlib.crc32(raw[:-4]).to_bytes(4, "little") == raw[-4:]
            found.append((int.from_bytes(raw[:2], "little"), raw[2:-4]))
    return found
