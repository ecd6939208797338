"""Conversion between a raw run and the bytes of one Avro datum of protocol/raw_run.avsc.

A run has four columns of changes and hundreds of unusual statuses, thousands of small numbers. Decoding them in Python
one at a time would take longer than all the arithmetic that follows. Avro writes each number as a variable-length
integer, like the count before an array and the zero after it. So the tail of a record is a single stream of integers,
which numpy decodes at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache
from io import BytesIO
from typing import Any
from zlib import crc32

import numpy as np
import numpy.typing as npt
from fastavro import parse_schema, schemaless_reader, schemaless_writer
from fastavro.read import SchemaResolutionError
from fastavro.schema import to_parsing_canonical_form as canonical_form
from fastavro.types import Schema

from midspan.archive.avro_container import DECODE_ERRORS
from midspan.archive.raw_run import RawRun
from midspan.base.errors import ArchiveError
from midspan.wire.schema import raw_run_schema

Integers = npt.NDArray[np.int64]
Record = dict[str, Any]

BULK = ("lateness_us", "rotate_steps", "press_steps", "counts")
INT_MIN, INT_MAX = -(2**31), 2**31 - 1
HIGHEST_STATUS = 2**15 - 1
LONGEST_INT = 5  # bytes of a 32-bit number with 7 bits in each
GUARD_BYTES = 5  # the union's branch, then the CRC
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_TAIL = ("unusual", "marks", *BULK, "crc32")  # last fields of a datum: arrays of integers, then the CRC-32
_SIGNED = np.array([(code >> 1) ^ -(code & 1) for code in range(128)], np.int64)


def varints(stream: npt.NDArray[np.uint8]) -> Integers:
    """Return the integers in a stream of Avro's zig-zag variable-length numbers.

    A number has its least significant 7 bits first; the top bit of a byte is set if more follow.

    Parameters
    ----------
    stream : ndarray
        Bytes, uint8, shape (bytes,).

    Returns
    -------
    Integers
        The numbers, int64, shape (numbers,).

    Raises
    ------
    ArchiveError
        The stream ends within a number (code "number_cut"), or a number has more than 32 bits (code "number_long").

    References
    ----------
    Apache Avro specification 1.11, "Binary encoding".

    Examples
    --------
    >>> varints(np.frombuffer(bytes.fromhex("00 01 02 7f 80 01"), np.uint8)).tolist()
    [0, -1, 1, -64, 64]
    """
    if len(stream) and stream[-1] >= 128:
        raise ArchiveError("a column ends within a number", code="number_cut")
    is_last = stream < 128
    (last,) = is_last.nonzero()
    numbers = _SIGNED.take(stream.take(last))
    # A continuation byte belongs to the number whose index is the count of last bytes before it.
    (more,) = (~is_last).nonzero()
    longer = more - np.arange(len(more))
    numbers[longer] = _long_numbers(stream, last[longer])
    return numbers


def _long_numbers(stream: npt.NDArray[np.uint8], last: Integers) -> Integers:
    """Return the numbers of two or more bytes whose last bytes are at `last`, collected backwards byte by byte."""
    codes = stream.take(last).astype(np.int64) << 7 | stream.take(last - 1) & 127
    longer = np.arange(len(last))
    for back in range(2, LONGEST_INT + 1):
        # Before the first byte this wraps round to the final byte of the stream, which ends a number.
        byte = stream.take(last[longer] - back)
        longer = longer[byte >= 128]
        if not len(longer):
            return (codes >> 1) ^ -(codes & 1)
        codes[longer] = codes[longer] << 7 | byte[byte >= 128] & 127
    raise ArchiveError("a column holds a number of more than 32 bits", code="number_long")


@cache
def _head_schema() -> Schema:
    """Return the schema of a record up to its arrays of integers, with the time as a plain number."""
    head = guarded_head(raw_run_schema())
    assert head is not None  # these arrays and the CRC-32 are the last fields of raw_run.avsc
    return head


def guarded_head(schema: Any) -> Schema | None:
    """Return the schema of a record up to its arrays of integers, by which `decode` reads a datum of another version.

    Parameters
    ----------
    schema : Any
        Schema of a file with raw runs, as fastavro reads it.

    Returns
    -------
    Schema or None
        The head, with the time as a plain number. None if it does not end as in this version, or if the fields of this
        version are not found there by name and type: fastavro has to resolve both schemas then.
    """
    if not _ends_alike(schema):
        return None
    theirs, ours = _types(schema), _types(raw_run_schema())
    if any(theirs[name] != ours[name] if name in theirs else name not in _defaults() for name in ours):
        return None
    head = [{"name": name, "type": kind} for name, kind in theirs.items() if name not in _TAIL]
    return parse_schema({"type": "record", "name": "midspan.RawRunHead", "fields": head})


def _ends_alike(schema: Any) -> bool:
    """Return True if the last fields of a record are the arrays of integers and the CRC-32."""
    last = schema.get("fields", [])[-len(_TAIL) :]
    return [field["name"] for field in last] == list(_TAIL) and last[-1]["type"] == raw_run_schema()["fields"][-1][
        "type"
    ]


def _types(schema: Schema) -> dict[str, Any]:
    """Return the types of a record's fields by name, without documentation and logical types."""
    return {field["name"]: field["type"] for field in json.loads(canonical_form(schema))["fields"]}


@cache
def _defaults() -> Record:
    """Return the values of the fields that older versions lack."""
    return {field["name"]: field["default"] for field in raw_run_schema()["fields"] if "default" in field}


def encode(run: RawRun) -> bytes:
    """Return a run as an Avro datum.

    Parameters
    ----------
    run : RawRun
        The run.

    Returns
    -------
    bytes
        The run as changes from reading to reading, with the CRC-32 of all bytes before it at the end.

    Raises
    ------
    ArchiveError
        A number needs more than 32 bits (code "number_long"), or a value does not fit the schema (code "schema").
    """
    out = BytesIO()
    try:
        schemaless_writer(out, raw_run_schema(), to_record(run))
    except (ValueError, TypeError, OverflowError) as error:
        raise ArchiveError(f"{run.name} does not fit the archive's schema: {error}", code="schema") from error
    unguarded = out.getvalue()[:-1]  # the last byte is the branch of the absent CRC
    return unguarded + b"\x02" + crc32(unguarded).to_bytes(4, "little")


def to_record(run: RawRun) -> Record:
    """Return a run as the datum that an Avro library takes, without its CRC-32.

    Parameters
    ----------
    run : RawRun
        The run.

    Returns
    -------
    dict[str, Any]
        Values by field of protocol/raw_run.avsc.

    Raises
    ------
    ArchiveError
        A number needs more than 32 bits (code "number_long").
    """
    changes = _changes(run)
    _check_ranges(run, changes)
    record: Record = {name: getattr(run, name) for name in _SCALARS}
    record["segments"] = [{"phase": phase, "readings": readings} for phase, readings in run.segments]
    record["unusual"] = [
        {"reading": int(reading), "status": int(run.status[reading])} for reading in np.flatnonzero(run.status)
    ]
    record["marks"] = run.marks.tolist()
    record |= {name: column.tolist() for name, column in zip(BULK, changes, strict=True)}
    record["crc32"] = None
    return record


_SCALARS = (
    "shaft", "label", "started_ms", "gauge", "firmware", "runtime", "boot", "count_min", "count_max",
    "complete", "cause", "duration_ms", "sampling_ms", "interval_us", "temperature_centi", "temperature_source",
)  # fmt: skip


_INTS = ("boot", "count_min", "count_max", "duration_ms", "sampling_ms", "interval_us")


def _changes(run: RawRun) -> tuple[Integers, ...]:
    """Return the bulk columns of a run as changes from reading to reading, in the order of `BULK`."""
    lateness_us = np.diff(run.tick_us, prepend=run.tick_us[:1]) - run.interval_us
    lateness_us[:1] = 0
    steps_and_counts = (run.rotate_steps, run.press_steps, run.counts)
    return lateness_us, *(np.diff(column, prepend=0) for column in steps_and_counts)


def _check_ranges(run: RawRun, changes: tuple[Integers, ...]) -> None:
    """Raise ArchiveError if a number needs more than 32 bits: fastavro would write it, others would refuse the file."""
    scalars = [getattr(run, name) for name in _INTS]  # a temperature has narrower bounds of its own
    for numbers in (np.array(scalars), run.marks, *changes):
        if len(numbers) and not INT_MIN <= numbers.min() <= numbers.max() <= INT_MAX:
            raise ArchiveError(
                f"{run.name}: a number needs more than 32 bits; the run was not stored", code="number_long"
            )


def is_guarded(datum: bytes) -> bool:
    """Return True if a datum is undamaged because its CRC-32 is right.

    Parameters
    ----------
    datum : bytes
        The datum.

    Returns
    -------
    bool
        False also for a datum without CRC-32.
    """
    return datum[-GUARD_BYTES:] == b"\x02" + crc32(datum[:-GUARD_BYTES]).to_bytes(4, "little")


def decode(datum: bytes, head_schema: Schema | None = None) -> RawRun:
    """Return the run in a datum with a right CRC-32.

    Parameters
    ----------
    datum : bytes
        A datum for which `is_guarded` is True.
    head_schema : Schema or None
        Head of the schema it was written by, from `guarded_head`; None for that of this version.

    Returns
    -------
    RawRun
        The run.

    Raises
    ------
    ArchiveError
        The bytes are not a run all the same.
    """
    stream = BytesIO(datum)
    try:
        head: Any = schemaless_reader(stream, head_schema or _head_schema(), None)
        numbers = varints(np.frombuffer(datum, np.uint8)[stream.tell() : -GUARD_BYTES])
        unusual, numbers = _array(numbers, 2)
        marks, numbers = _array(numbers, 1)
        columns = numbers.reshape(len(BULK), -1)
    except DECODE_ERRORS as error:
        raise ArchiveError(f"does not hold a run of this schema ({error!r})") from error
    # The count before each column and the zero after it are dropped.
    return _run(_defaults() | head, unusual, marks[:, 0].copy(), columns[:, 1:-1])


def _array(numbers: Integers, width: int) -> tuple[Integers, Integers]:
    """Return the array at the beginning of a stream of integers, shape (items, width), and the integers after it."""
    count = int(numbers[0])
    end = 1 + width * count
    if count < 0 or (count and numbers[end]):
        raise ValueError(f"an array of {count} items does not end after them")
    return numbers[1:end].reshape(-1, width), numbers[end + bool(count) :]


def decode_plain(block: bytes, count: int, writer_schema: Schema) -> Iterator[RawRun]:
    """Yield the runs in a block that another program wrote or that has no CRC-32, decoded by fastavro.

    A block of another version of the schema is resolved by Avro's rules. A CRC-32 is checked if it is the last field.

    Parameters
    ----------
    block : bytes
        The datums, encoded.
    count : int
        Number of datums.
    writer_schema : Schema
        Schema of the file.

    Yields
    ------
    RawRun
        A run.

    Raises
    ------
    ArchiveError
        The bytes are not runs, some are left over, or a CRC-32 is wrong.
    """
    stream, guarded = BytesIO(block), _ends_alike(writer_schema)
    for _ in range(count):
        start = stream.tell()
        try:
            record: Any = schemaless_reader(stream, writer_schema, raw_run_schema())
            if guarded and record["crc32"] is not None:
                _check_guard(block[start : stream.tell()], writer_schema)
        except (*DECODE_ERRORS, SchemaResolutionError) as error:
            raise ArchiveError(f"does not hold a run of this schema ({error!r})") from error
        yield from_record(record)
    if stream.tell() != len(block):
        raise ArchiveError(f"{len(block) - stream.tell()} bytes are left over after its {count} runs")


def _check_guard(datum: bytes, writer_schema: Schema) -> None:
    """Raise ArchiveError if the CRC-32 of a datum is that of neither its bytes nor of the usual way to write them."""
    out = BytesIO()
    schemaless_writer(out, writer_schema, schemaless_reader(BytesIO(datum), writer_schema, None))
    if not is_guarded(datum) and not is_guarded(out.getvalue()):
        raise ArchiveError("its CRC-32 does not match: its data were damaged or changed")


def from_record(record: Record) -> RawRun:
    """Return the run in a datum as an Avro library reads it.

    Parameters
    ----------
    record : dict[str, Any]
        Values by field of protocol/raw_run.avsc.

    Returns
    -------
    RawRun
        The run.

    Raises
    ------
    ArchiveError
        Its columns, segments and statuses contradict each other.
    """
    if len({len(record[name]) for name in BULK}) != 1:
        raise ArchiveError(f"the columns of shaft {record['shaft']} differ in length")
    started_ms = record["started_ms"]
    if isinstance(started_ms, datetime):
        started_ms = (started_ms - EPOCH) // timedelta(milliseconds=1)
    unusual = np.array([(item["reading"], item["status"]) for item in record["unusual"]], np.int64).reshape(-1, 2)
    marks, changes = np.array(record["marks"], np.int64), np.array([record[name] for name in BULK], np.int64)
    return _run({**record, "started_ms": started_ms}, unusual, marks, changes)


def _run(head: Record, unusual: Integers, marks: Integers, changes: Integers) -> RawRun:
    """Return the run of a record, its unusual statuses (items, 2), marks, and changes (columns, readings)."""
    length = changes.shape[1]
    changes[0, 1:] += head["interval_us"]
    values = changes.cumsum(axis=1)
    status = np.zeros(length, np.int16)
    reading, bits = unusual.T
    wrong = unusual[(reading < 0) | (reading >= length) | (bits < 0) | (bits > HIGHEST_STATUS)]
    for place, value in wrong[:1].tolist():
        raise ArchiveError(f"shaft {head['shaft']}: status {value} of reading {place} is out of range")
    status[reading] = bits
    return RawRun(
        **{name: head[name] for name in _SCALARS},
        segments=tuple((segment["phase"], segment["readings"]) for segment in head["segments"]),
        tick_us=values[0],
        rotate_steps=values[1],
        press_steps=values[2],
        counts=values[3],
        status=status,
        marks=marks,
    )
