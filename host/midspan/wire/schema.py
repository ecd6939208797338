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
    """Return the path of a folder beside the host's code: inside the installed package, or in the repository.

    Parameters
    ----------
    name : str
        Name of the folder, "protocol" or "device".

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    ConfigurationError
        It is in neither place.

    Examples
    --------
    >>> (data_folder("protocol") / "message.avsc").is_file()
    True
    """
    for place in _PLACES:
        if (place / name).is_dir():
            return place / name
    raise ConfigurationError(f"folder {name!r} is not in {_PACKAGE}, nor beside host/: reinstall midspan")


def _definition(name: str) -> Any:
    """Return the content of the file that defines a name; `midspan.EndOfShaft` is in end_of_shaft.avsc."""
    stem = re.sub(r"(?<!^)(?=[A-Z])", "_", name.removeprefix(NAMESPACE)).lower()
    return json.loads((data_folder("protocol") / f"{stem}.avsc").read_text(encoding="utf-8"))


def _inlined(node: Any, known: set[str]) -> Any:
    """Return a schema with each named type that has its own file inserted where it is first used."""
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
    """Return the union of all records as plain JSON.

    Returns
    -------
    list[dict[str, Any]]
        The records with their documentation, every name defined at its first use.

    Examples
    --------
    >>> [record["name"] for record in message_source()][:3]
    ['Identify', 'Readings', 'EndOfShaft']
    """
    source: list[dict[str, Any]] = _inlined(_definition("midspan.Message"), set())
    return source


@cache
def record_source(name: str) -> dict[str, Any]:
    """Return a record that is not part of the union as plain JSON.

    Parameters
    ----------
    name : str
        Name of the record without its namespace, "RawRun".

    Returns
    -------
    dict[str, Any]
        Its definition with documentation, every name defined at its first use.

    Examples
    --------
    >>> record_source("RawRun")["fields"][0]["name"]
    'shaft'
    """
    source: dict[str, Any] = _inlined(_definition(NAMESPACE + name), set())
    return source


@cache
def message_schema() -> Any:
    """Return the union as fastavro reads and writes it.

    Returns
    -------
    Any
        The parsed schema.
    """
    from fastavro import parse_schema

    return parse_schema(message_source())


@cache
def raw_run_schema() -> Any:
    """Return the archive's record as fastavro reads and writes it.

    Returns
    -------
    Any
        The parsed schema.
    """
    from fastavro import parse_schema

    return parse_schema(record_source("RawRun"))


@cache
def canonical() -> str:
    """Return the message schema in Parsing Canonical Form.

    Returns
    -------
    str
        The schema as text.

    References
    ----------
    Apache Avro specification, "Transforming into Parsing Canonical Form".
    """
    from fastavro.schema import to_parsing_canonical_form

    return str(to_parsing_canonical_form(message_source()))


@cache
def fingerprint() -> bytes:
    """Return the fingerprint of the message schema.

    A change of a name, a type or an order changes it; documentation and ranges do not.

    Returns
    -------
    bytes
        CRC-64-AVRO of the schema in Parsing Canonical Form, 8 bytes, least significant first.

    References
    ----------
    Apache Avro specification, "Schema fingerprints".

    Examples
    --------
    >>> len(fingerprint())
    8
    """
    from fastavro.schema import fingerprint as crc_64_avro

    return bytes.fromhex(crc_64_avro(canonical(), "CRC-64-AVRO"))


def version_text(major: int, minor: int, schema: bytes) -> str:
    """Return a protocol version as messages name it.

    Parameters
    ----------
    major : int
        Major version.
    minor : int
        Minor version.
    schema : bytes
        Fingerprint of the schema, 8 bytes.

    Returns
    -------
    str
        Both numbers and the fingerprint in hex.

    Examples
    --------
    >>> version_text(1, 0, bytes(8))
    '1.0 (schema 0000000000000000)'
    """
    return f"{major}.{minor} (schema {schema.hex()})"
