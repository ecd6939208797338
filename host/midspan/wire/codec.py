"""Records to and from the bytes of one Avro datum of protocol/message.avsc (Apache Avro specification)."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import asdict, fields
from io import BytesIO
from typing import Any, get_args

from midspan.base.errors import ProtocolError
from midspan.wire import schema as schemas
from midspan.wire.ranges import check_ranges
from midspan.wire.records import FaultCode, Greet, Identify, LastRelease, Order, Phase, Record, Refusal, Source, State

# What a frame says; the tuple is an Identify of another version, the error stands for what says nothing to a host.
Said = Record | tuple[int, int, bytes] | ProtocolError

_CLASSES = {cls.__name__: cls for cls in get_args(Record)}
_ENUMS: dict[str, Any] = {
    "phase": Phase, "state": State, "previous": State, "code": FaultCode, "cause": FaultCode,
    "order": Order, "refusal": Refusal, "fault": FaultCode, "source": Source,
}  # fmt: skip
# Every version keeps these three at the start of Identify, so they can be read before the rest is trusted.
_VERSION_FIELDS = 3


def pack(record: Record) -> bytes:
    """Bytes of one Avro datum: the branch of the union, then the record.

    >>> from midspan.wire.records import Acknowledge
    >>> pack(Acknowledge(shaft=3)).hex(" ")
    '12 06'
    """
    from fastavro import schemaless_writer

    out = BytesIO()
    datum = {field.name: _to_avro(field.name, getattr(record, field.name)) for field in fields(record)}
    schemaless_writer(out, schemas.message_schema(), (schemas.NAMESPACE + type(record).__name__, datum))
    return out.getvalue()


def unpack(body: bytes) -> Record:
    """The record in the body of a frame.

    Raises ProtocolError when the bytes are no datum of the message schema or are too many.

    >>> unpack(bytes.fromhex("12 06"))
    Acknowledge(shaft=3)
    """
    name, datum = _read(body, schemas.message_schema())
    cls = _CLASSES[name.removeprefix(schemas.NAMESPACE)]
    record: Record = cls(**{key: _from_avro(key, value) for key, value in datum.items()})
    return record


def greeting() -> Greet:
    """What this host greets with: its own version and fingerprint.

    >>> greeting().protocol_major
    1
    """
    return Greet(schemas.PROTOCOL_MAJOR, schemas.PROTOCOL_MINOR, schemas.fingerprint())


def foreign_version(body: bytes) -> tuple[int, int, bytes] | None:
    """Major, minor and fingerprint of an Identify of another version than this host's; None for all else.

    Raises ProtocolError when an Identify ends too early.

    >>> foreign_version(bytes.fromhex("00 04 06 01 02 03 04 05 06 07 08 ff ff"))
    (2, 3, b'\\x01\\x02\\x03\\x04\\x05\\x06\\x07\\x08')
    """
    if body[:1] != b"\0":
        return None
    identify = schemas.message_source()[0]
    _, start = _read(body, [{**identify, "fields": identify["fields"][:_VERSION_FIELDS]}], whole=False)
    major, minor, fingerprint = start["protocol_major"], start["protocol_minor"], start["fingerprint"]
    ours = (major, fingerprint) == (schemas.PROTOCOL_MAJOR, schemas.fingerprint())
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


def _from_avro(name: str, value: Any) -> Any:
    if name in _ENUMS and value is not None:
        return _ENUMS[name][value]
    if name == "unusual":
        return tuple((item["reading"], item["status"]) for item in value)
    if isinstance(value, dict):
        return LastRelease(**value)
    return tuple(value) if isinstance(value, list) else value


def _to_avro(name: str, value: Any) -> Any:
    if name in _ENUMS and value is not None:
        return value.name
    if name == "unusual":
        return [{"reading": reading, "status": status} for reading, status in value]
    if isinstance(value, LastRelease):
        return asdict(value)
    return list(value) if isinstance(value, tuple) else value
