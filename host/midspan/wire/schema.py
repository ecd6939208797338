"""The message definition, read from protocol/*.avsc: one schema for both directions and its fingerprint."""

from __future__ import annotations

import json
import re
from functools import cache
from pathlib import Path
from typing import Any

from midspan.base.errors import ConfigurationError

NAMESPACE = "midspan."
_PACKAGE = Path(__file__).parents[1]
_PLACES = (_PACKAGE, _PACKAGE.parents[1])  # installed from a wheel, or in the repository


def data_folder(name: str) -> Path:
    """Folder `protocol` or `device`: inside the installed package, else at the top of the repository.

    Raises ConfigurationError when it is in neither place.

    >>> (data_folder("protocol") / "message.avsc").is_file()
    True
    """
    for place in _PLACES:
        if (place / name).is_dir():
            return place / name
    raise ConfigurationError(f"folder {name!r} is not in {_PACKAGE}, nor beside host/: install midspan again")


def _definition(name: str) -> Any:
    """Content of the file that defines a name, `midspan.EndOfShaft` in end_of_shaft.avsc."""
    stem = re.sub(r"(?<!^)(?=[A-Z])", "_", name.removeprefix(NAMESPACE)).lower()
    return json.loads((data_folder("protocol") / f"{stem}.avsc").read_text(encoding="utf-8"))


def _inlined(node: Any, known: set[str]) -> Any:
    """The schema with each named type of a file of its own put in place where it is first used."""
    if isinstance(node, list):
        return [_inlined(item, known) for item in node]
    if isinstance(node, dict):
        if "name" in node and node["type"] in ("record", "enum", "fixed"):
            known.add(NAMESPACE + node["name"])
        return {key: _inlined(value, known) if key in _NESTED else value for key, value in node.items()}
    if node.startswith(NAMESPACE) and node not in known:
        return _inlined(_definition(node), known)
    return node


_NESTED = ("type", "items", "fields")


@cache
def message_source() -> list[dict[str, Any]]:
    """The union of all records as plain JSON, documentation kept, every name defined at its first use.

    >>> [record["name"] for record in message_source()][:3]
    ['Identify', 'Readings', 'EndOfShaft']
    """
    source: list[dict[str, Any]] = _inlined(_definition("midspan.Message"), set())
    return source


@cache
def record_source(name: str) -> dict[str, Any]:
    """One record that stands for itself, such as `RawRun`, as plain JSON.

    >>> record_source("RawRun")["fields"][0]["name"]
    'shaft'
    """
    source: dict[str, Any] = _inlined(_definition(NAMESPACE + name), set())
    return source


@cache
def message_schema() -> Any:
    """The union as fastavro reads and writes it."""
    from fastavro import parse_schema

    return parse_schema(message_source())


@cache
def raw_run_schema() -> Any:
    """The archive's record as fastavro reads and writes it."""
    from fastavro import parse_schema

    return parse_schema(record_source("RawRun"))


@cache
def canonical() -> str:
    """The message schema in Parsing Canonical Form (Apache Avro specification, "Transforming into PCF")."""
    from fastavro.schema import to_parsing_canonical_form

    return str(to_parsing_canonical_form(message_source()))


@cache
def fingerprint() -> bytes:
    """CRC-64-AVRO of the canonical message schema, 8 bytes, least significant first.

    Neither documentation nor ranges change it; any change of a name, type or order does.

    >>> len(fingerprint())
    8
    """
    from fastavro.schema import fingerprint as crc_64_avro

    return bytes.fromhex(crc_64_avro(canonical(), "CRC-64-AVRO"))


def version_text(major: int, minor: int, schema: bytes) -> str:
    """How a protocol version is named in messages.

    >>> version_text(1, 0, bytes(8))
    '1.0 (schema 0000000000000000)'
    """
    return f"{major}.{minor} (schema {schema.hex()})"
