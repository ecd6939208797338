"""Conversion between records and the bytes of one Avro datum of protocol/message.avsc (Apache Avro specification)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass
from enum import IntEnum
from functools import cache
from io import BytesIO
from typing import Any, get_args, get_origin, get_type_hints

from midspan.base.errors import ProtocolError
from midspan.wire import schema as schemas
from midspan.wire.ranges import check_ranges
from midspan.wire.readings import check_columns
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, Greet, Phase, Readings, Record

# Content of a frame: a record, the version of a foreign Identify, or an error if the host can make nothing of it.
Said = Record | tuple[int, int, bytes] | ProtocolError

_CLASSES: dict[str, Any] = {cls.__name__: cls for cls in get_args(Record)}


def pack(record: Record) -> bytes:
    """Return a record as the body of a frame.

    Parameters
    ----------
    record : Record
        The record; its values are not checked against their ranges.

    Returns
    -------
    bytes
        One Avro datum: the branch of the union, then the fields.

    Examples
    --------
    >>> from midspan.wire.records import Acknowledge
    >>> pack(Acknowledge(shaft=3)).hex(" ")
    '12 06'
    """
    from fastavro import schemaless_writer

    out = BytesIO()
    schemaless_writer(out, schemas.message_schema(), (schemas.NAMESPACE + type(record).__name__, _to_avro(record)))
    return out.getvalue()


def unpack(body: bytes) -> Record:
    """Return the record in the body of a frame.

    Parameters
    ----------
    body : bytes
        One Avro datum of the message schema.

    Returns
    -------
    Record
        The record; its values are not checked against their ranges.

    Raises
    ------
    ProtocolError
        The bytes are not exactly one datum of the schema.

    Examples
    --------
    >>> unpack(bytes.fromhex("12 06"))
    Acknowledge(shaft=3)
    """
    name, datum = _read(body, schemas.message_schema())
    record: Record = _from_avro(_CLASSES[name.removeprefix(schemas.NAMESPACE)])(datum)
    return record


def greeting() -> Greet:
    """Return the greeting of this host.

    Returns
    -------
    Greet
        Version and fingerprint of the protocol that this host speaks.

    Examples
    --------
    >>> greeting().protocol_major
    2
    """
    return Greet(PROTOCOL_MAJOR, PROTOCOL_MINOR, schemas.fingerprint())


def foreign_version(body: bytes) -> tuple[int, int, bytes] | None:
    """Return the protocol version of a gauge that does not speak this host's.

    Parameters
    ----------
    body : bytes
        Body of any frame.

    Returns
    -------
    tuple[int, int, bytes] or None
        Major, minor and fingerprint of an Identify of another version; None for every other body.

    Raises
    ------
    ProtocolError
        An Identify ends too early.

    Examples
    --------
    >>> foreign_version(bytes.fromhex("00 06 06 01 02 03 04 05 06 07 08 ff ff"))
    (3, 3, b'\\x01\\x02\\x03\\x04\\x05\\x06\\x07\\x08')
    """
    if body[:1] != b"\0":
        return None
    identify = schemas.message_source()[0]
    kept = identify["fields"][: len(identify["keeps"])]  # the fields that begin it in every version
    _, start = _read(body, [{**identify, "fields": kept}], whole=False)
    major, minor, fingerprint = start["protocol_major"], start["protocol_minor"], start["fingerprint"]
    ours = (major, fingerprint) == (PROTOCOL_MAJOR, schemas.fingerprint())
    return None if ours else (major, minor, fingerprint)


def said_in(body: bytes) -> Said:
    """Return the content of a frame, checked; an invalid body comes back as an error instead of raising it.

    Parameters
    ----------
    body : bytes
        Body of a frame whose checksum is right.

    Returns
    -------
    Record or tuple[int, int, bytes] or ProtocolError
        The record; major, minor and fingerprint of an Identify of another version; or the error, if the body holds no
        record or a number outside its range.

    Examples
    --------
    >>> said_in(bytes.fromhex("12 06"))
    Acknowledge(shaft=3)
    >>> said_in(bytes.fromhex("12 06 00"))
    ProtocolError('1 extra bytes after midspan.Acknowledge')
    """
    try:
        if (foreign := foreign_version(body)) is not None:
            return foreign
        record = unpack(body)
        if isinstance(record, Readings):
            check_columns(record)
        check_ranges(record)
        return record
    except ProtocolError as error:
        return error


def boot_in(said: Said) -> int | None:
    """Return the boot number of the gauge in the content of a frame.

    Parameters
    ----------
    said : Record or tuple[int, int, bytes] or ProtocolError
        Content of a frame, as `said_in` returns it.

    Returns
    -------
    int or None
        Boot number in a record of a gauge; None for everything else.
    """
    return getattr(said, "boot", None)


def _read(body: bytes, schema: Any, whole: bool = True) -> tuple[str, dict[str, Any]]:
    """Return the name and the fields of the datum at the start of a body; `whole` allows nothing after it."""
    from fastavro import schemaless_reader

    stream = BytesIO(body)
    try:
        branch: Any = schemaless_reader(
            stream, schema, None, return_record_name=True, return_record_name_override=whole
        )
    except (EOFError, IndexError, ValueError, OverflowError) as error:
        raise ProtocolError(f"a frame of {len(body)} bytes is not a record of this protocol: {error!r}") from error
    if whole and stream.tell() != len(body):
        raise ProtocolError(f"{len(body) - stream.tell()} extra bytes after {branch[0]}", code="bytes_left")
    return branch[0], branch[1]


@cache
def _from_avro(kind: Any) -> Callable[[Any], Any]:
    """Return a function that converts what fastavro reads of a type into the type itself."""
    if get_origin(kind) is tuple:
        item = _from_avro(get_args(kind)[0])
        return tuple if item is _unchanged else lambda value: tuple(map(item, value))
    if type(None) in get_args(kind):
        inner = _from_avro(get_args(kind)[0])
        return lambda value: None if value is None else inner(value)
    if isinstance(kind, type) and issubclass(kind, IntEnum):
        return kind.__getitem__
    return _maker(kind) if is_dataclass(kind) else _unchanged


def _maker(cls: Any) -> Callable[[Any], Any]:
    """Return a function that makes a record of the dictionary that fastavro reads."""
    kinds = {name: _from_avro(kind) for name, kind in get_type_hints(cls).items()}
    return lambda datum: cls(**{name: make(datum[name]) for name, make in kinds.items()})


def _unchanged(value: Any) -> Any:
    return value


def _to_avro(value: Any) -> Any:
    """Return a value as fastavro writes it: names of enum members, lists, dictionaries of fields."""
    if isinstance(value, Phase):  # a number on the line, whose names only the host knows
        return int(value)
    if isinstance(value, IntEnum):
        return value.name
    if isinstance(value, tuple):
        return [_to_avro(item) for item in value]
    if is_dataclass(value):
        return {field.name: _to_avro(getattr(value, field.name)) for field in fields(value)}
    return value
