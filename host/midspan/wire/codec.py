"""Records to and from the bytes of one Avro datum of protocol/message.avsc (Apache Avro specification)."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import fields, is_dataclass
from enum import IntEnum
from functools import cache
from io import BytesIO
from typing import Any, get_args, get_origin, get_type_hints

from midspan.base.errors import ProtocolError
from midspan.wire import schema as schemas
from midspan.wire.ranges import check_ranges
from midspan.wire.readings import check_columns
from midspan.wire.records import PROTOCOL_MAJOR, PROTOCOL_MINOR, Greet, Identify, Readings, Record

# What a frame says; the tuple is an Identify of another version, the error stands for what says nothing to a host.
Said = Record | tuple[int, int, bytes] | ProtocolError

_CLASSES: dict[str, Any] = {cls.__name__: cls for cls in get_args(Record)}


def pack(record: Record) -> bytes:
    """Bytes of one Avro datum: the branch of the union, then the record.

    >>> from midspan.wire.records import Acknowledge
    >>> pack(Acknowledge(shaft=3)).hex(" ")
    '12 06'
    """
    from fastavro import schemaless_writer

    out = BytesIO()
    schemaless_writer(out, schemas.message_schema(), (schemas.NAMESPACE + type(record).__name__, _to_avro(record)))
    return out.getvalue()


def unpack(body: bytes) -> Record:
    """The record in the body of a frame.

    Raises ProtocolError when the bytes are no datum of the message schema or are too many.

    >>> unpack(bytes.fromhex("12 06"))
    Acknowledge(shaft=3)
    """
    name, datum = _read(body, schemas.message_schema())
    record: Record = _from_avro(_CLASSES[name.removeprefix(schemas.NAMESPACE)])(datum)
    return record


def greeting() -> Greet:
    """What this host greets with: its own version and fingerprint.

    >>> greeting().protocol_major
    1
    """
    return Greet(PROTOCOL_MAJOR, PROTOCOL_MINOR, schemas.fingerprint())


def foreign_version(body: bytes) -> tuple[int, int, bytes] | None:
    """Major, minor and fingerprint of an Identify of another version than this host's; None for all else.

    Raises ProtocolError when an Identify ends too early.

    >>> foreign_version(bytes.fromhex("00 04 06 01 02 03 04 05 06 07 08 ff ff"))
    (2, 3, b'\\x01\\x02\\x03\\x04\\x05\\x06\\x07\\x08')
    """
    if body[:1] != b"\0":
        return None
    identify = schemas.message_source()[0]
    kept = identify["fields"][: len(identify["keeps"])]  # what every version begins with, to be read before the rest
    _, start = _read(body, [{**identify, "fields": kept}], whole=False)
    major, minor, fingerprint = start["protocol_major"], start["protocol_minor"], start["fingerprint"]
    ours = (major, fingerprint) == (PROTOCOL_MAJOR, schemas.fingerprint())
    return None if ours else (major, minor, fingerprint)


def said_in(body: bytes) -> Said:
    """What the body of a frame says; a number out of its range makes it an error. Raises nothing.

    >>> said_in(bytes.fromhex("12 06"))
    Acknowledge(shaft=3)
    >>> said_in(bytes.fromhex("12 06 00"))
    ProtocolError('1 bytes too many after midspan.Acknowledge')
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


def boot_in(said: Said) -> Hashable | None:
    """What tells one start of a gauge from another: its boot number, or its version when that is foreign.

    None for all but an Identify.
    """
    if isinstance(said, Identify):
        return said.boot
    return said if isinstance(said, tuple) else None


def _read(body: bytes, schema: Any, whole: bool = True) -> tuple[str, dict[str, Any]]:
    from fastavro import schemaless_reader

    stream = BytesIO(body)
    try:
        branch: Any = schemaless_reader(
            stream, schema, None, return_record_name=True, return_record_name_override=whole
        )
    except (EOFError, IndexError, ValueError, OverflowError) as error:
        raise ProtocolError(f"a frame of {len(body)} bytes holds no record of this protocol: {error!r}") from error
    if whole and stream.tell() != len(body):
        raise ProtocolError(f"{len(body) - stream.tell()} bytes too many after {branch[0]}")
    return branch[0], branch[1]


@cache
def _from_avro(kind: Any) -> Callable[[Any], Any]:
    """Return what makes a field's type, or a record, of what fastavro read."""
    if get_origin(kind) is tuple:
        item = _from_avro(get_args(kind)[0])
        return tuple if item is _as_it_is else lambda value: tuple(map(item, value))
    if type(None) in get_args(kind):
        inner = _from_avro(get_args(kind)[0])
        return lambda value: None if value is None else inner(value)
    if isinstance(kind, type) and issubclass(kind, IntEnum):
        return kind.__getitem__
    return _maker(kind) if is_dataclass(kind) else _as_it_is


def _maker(cls: Any) -> Callable[[Any], Any]:
    kinds = {name: _from_avro(kind) for name, kind in get_type_hints(cls).items()}
    return lambda datum: cls(**{name: make(datum[name]) for name, make in kinds.items()})


def _as_it_is(value: Any) -> Any:
    return value


def _to_avro(value: Any) -> Any:
    if isinstance(value, IntEnum):
        return value.name
    if isinstance(value, tuple):
        return [_to_avro(item) for item in value]
    if is_dataclass(value):
        return {field.name: _to_avro(getattr(value, field.name)) for field in fields(value)}
    return value
