"""One raw run to and from the bytes of one Avro datum of protocol/raw_run.avsc.

A run is four columns of changes, thousands of small numbers, so reading them one by one would cost more than
all the arithmetic that follows. Avro writes every number of a column as a variable-length integer, and the
count before a column and the zero after it are such integers too: the whole tail of a record is one stream of
them, which numpy decodes in one go.
"""

from __future__ import annotations

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
LONGEST_INT = 5  # bytes of a 32-bit number at 7 bits a byte
GUARD_BYTES = 5  # the union's branch, then the CRC
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SIGNED = np.array([(code >> 1) ^ -(code & 1) for code in range(128)], np.int64)


def varints(stream: npt.NDArray[np.uint8]) -> Integers:
    """The integers in a stream of Avro's zig-zag variable-length numbers (Apache Avro specification, 1.11,
    "Binary encoding": least significant 7 bits first, the top bit says that more follow).

    Raises ArchiveError when the stream ends within a number or one is longer than 32 bits need.

    >>> varints(np.frombuffer(bytes.fromhex("00 01 02 7f 80 01"), np.uint8)).tolist()
    [0, -1, 1, -64, 64]
    """
    if len(stream) and stream[-1] >= 128:
        raise ArchiveError("a column ends within a number")
    is_last = stream < 128
    (last,) = is_last.nonzero()
    numbers = _SIGNED.take(stream.take(last))
    # The k-th continuation byte belongs to the number that as many last bytes stand before.
    (more,) = (~is_last).nonzero()
    longer = more - np.arange(len(more))
    numbers[longer] = _long_numbers(stream, last[longer])
    return numbers


def _long_numbers(stream: npt.NDArray[np.uint8], last: Integers) -> Integers:
    """The numbers of two and more bytes whose last bytes stand at `last`, gathered backwards a byte at a time."""
    codes = stream.take(last).astype(np.int64) << 7 | stream.take(last - 1) & 127
    longer = np.arange(len(last))
    for back in range(2, LONGEST_INT + 1):
        # Before the first byte of the stream this wraps round to its final byte, which ends a number.
        byte = stream.take(last[longer] - back)
        longer = longer[byte >= 128]
        if not len(longer):
            return (codes >> 1) ^ -(codes & 1)
        codes[longer] = codes[longer] << 7 | byte[byte >= 128] & 127
    raise ArchiveError("a column holds a number that is longer than 32 bits")


@cache
def _head_schema() -> Schema:
    """The record up to its bulk columns, its time left as the number it is."""
    schema: Any = raw_run_schema()
    fields = [field for field in schema["fields"] if field["name"] not in (*BULK, "crc32")]
    plain = [{**field, "type": "long"} if field["name"] == "started_ms" else field for field in fields]
    return parse_schema({**schema, "name": "midspan.RawRunHead", "fields": plain})


def encode(run: RawRun) -> bytes:
    """Bytes of one Avro datum: the run as changes from reading to reading, guarded by its CRC-32.

    Raises ArchiveError when a value does not fit the schema.
    """
    out = BytesIO()
    try:
        schemaless_writer(out, raw_run_schema(), to_record(run))
    except (ValueError, TypeError, OverflowError) as error:
        raise ArchiveError(f"{run.name} does not fit the archive's schema: {error}") from error
    unguarded = out.getvalue()[:-1]  # the last byte is the branch of the absent CRC
    return unguarded + b"\x02" + crc32(unguarded).to_bytes(4, "little")


def to_record(run: RawRun) -> Record:
    """The run as the datum that an Avro library takes, `crc32` null.

    Raises ArchiveError when a number does not fit the schema's 32 bits.
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
    "complete", "cause", "duration_ms", "sampling_ms", "interval_us",
)  # fmt: skip


_INTS = ("boot", "count_min", "count_max", "duration_ms", "sampling_ms", "interval_us")


def _changes(run: RawRun) -> tuple[Integers, ...]:
    lateness_us = np.diff(run.tick_us, prepend=run.tick_us[:1]) - run.interval_us
    lateness_us[:1] = 0
    steps_and_counts = (run.rotate_steps, run.press_steps, run.counts)
    return lateness_us, *(np.diff(column, prepend=0) for column in steps_and_counts)


def _check_ranges(run: RawRun, changes: tuple[Integers, ...]) -> None:
    # fastavro writes a number of any size as an int; other libraries would refuse the file.
    scalars = [getattr(run, name) for name in _INTS]
    for numbers in (np.array(scalars), run.marks, *changes):
        if len(numbers) and not INT_MIN <= numbers.min() <= numbers.max() <= INT_MAX:
            raise ArchiveError(f"{run.name}: a number of it does not fit 32 bits; it was not stored")


def is_guarded(datum: bytes) -> bool:
    """True when a datum ends in the CRC-32 of all its bytes before, as `encode` leaves it."""
    return datum[-GUARD_BYTES:] == b"\x02" + crc32(datum[:-GUARD_BYTES]).to_bytes(4, "little")


def decode(datum: bytes) -> RawRun:
    """The run in a datum for which `is_guarded` holds.

    Raises ArchiveError when the bytes are no run all the same.
    """
    stream = BytesIO(datum)
    try:
        head: Any = schemaless_reader(stream, _head_schema(), None)
        tail = np.frombuffer(datum, np.uint8)[stream.tell() : -GUARD_BYTES]
        columns = varints(tail).reshape(len(BULK), -1)
    except DECODE_ERRORS as error:
        raise ArchiveError(f"it holds no run of this schema ({error!r})") from error
    return _run(head, columns[:, 1:-1])  # without the count before each column and the zero after it


def decode_plain(block: bytes, count: int, writer_schema: Schema) -> Iterator[RawRun]:
    """The runs in a block that another program wrote or that is not guarded, decoded by fastavro.

    Raises ArchiveError when the bytes are no runs, when some are left over, or when a CRC-32 is wrong. A block
    of another version of the schema is resolved by Avro's rules, and its CRC-32 cannot be checked.
    """
    stream = BytesIO(block)
    for _ in range(count):
        try:
            record: Any = schemaless_reader(stream, writer_schema, raw_run_schema())
        except (*DECODE_ERRORS, SchemaResolutionError) as error:
            raise ArchiveError(f"it holds no run of this schema ({error!r})") from error
        if writer_schema == raw_run_schema():
            _check_guard(record)
        yield from_record(record)
    if stream.tell() != len(block):
        raise ArchiveError(f"{len(block) - stream.tell()} bytes are left over after its {count} runs")


def _check_guard(record: Record) -> None:
    out = BytesIO()
    schemaless_writer(out, raw_run_schema(), record)
    if record["crc32"] is not None and not is_guarded(out.getvalue()):
        raise ArchiveError("its CRC-32 is wrong: a bit of it has changed")


def from_record(record: Record) -> RawRun:
    """The run in a datum as an Avro library gives it.

    Raises ArchiveError when its columns, segments and statuses contradict each other.
    """
    if len({len(record[name]) for name in BULK}) != 1:
        raise ArchiveError(f"the columns of shaft {record['shaft']} differ in length")
    started_ms = record["started_ms"]
    if isinstance(started_ms, datetime):
        started_ms = (started_ms - EPOCH) // timedelta(milliseconds=1)
    return _run({**record, "started_ms": started_ms}, np.array([record[name] for name in BULK], np.int64))


def _run(head: Record, changes: Integers) -> RawRun:
    length = changes.shape[1]
    changes[0, 1:] += head["interval_us"]
    values = changes.cumsum(axis=1)
    status = np.zeros(length, np.int16)
    for unusual in head["unusual"]:
        if not (0 <= unusual["reading"] < length and 0 <= unusual["status"] <= HIGHEST_STATUS):
            raise ArchiveError(
                f"shaft {head['shaft']}: status {unusual['status']} of reading {unusual['reading']}, which cannot be"
            )
        status[unusual["reading"]] = unusual["status"]
    return RawRun(
        **{name: head[name] for name in _SCALARS},
        segments=tuple((segment["phase"], segment["readings"]) for segment in head["segments"]),
        tick_us=values[0],
        rotate_steps=values[1],
        press_steps=values[2],
        counts=values[3],
        status=status,
        marks=np.array(head["marks"], np.int64),
    )
