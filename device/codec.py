"""Avro packing and unpacking, driven by the tables of records.py. The value of an enum is its number.

end = pack(buffer, 0, REPLY, (boot, sequence, None, ""))
request = Unpacker(buffer, 0, end)
print(request.branch, request.values())
"""

from micropython import const
from records import RECORDS

_ITEMS_MAX = const(64)  # of an array in a request: more would be nonsense, and too large a piece for a used heap


class RecordError(Exception):
    """Bytes with a good CRC that do not hold a record of this protocol."""


def put_int(buffer: bytearray, at: int, value: int) -> int:
    """Write an Avro int or long (zig-zag varint) to buffer from `at` on; return the end.

    The sign goes into the first byte by hand: shifting it in would leave the chip's small integers.
    """
    sign = 0
    if value < 0:
        sign = 1
        value = ~value
    byte = (value & 63) << 1 | sign
    value >>= 6
    while value:
        buffer[at] = byte | 128
        at += 1
        byte = value & 127
        value >>= 7
    buffer[at] = byte
    return at + 1


def pack(buffer: bytearray, at: int, branch: int, values: tuple) -> int:
    """Write the record of this branch of the union, values in field order, to buffer from `at` on; return the end."""
    return put(buffer, put_int(buffer, at, branch), RECORDS[branch], values)


def put(buffer: bytearray, at: int, kind, value) -> int:
    """Write a value of a kind to buffer from `at` on; return the end. Arrays are written in held.py."""
    head = kind[0] if isinstance(kind, tuple) else kind
    if head == "null":
        at = put_int(buffer, at, 0 if value is None else 1)
        return at if value is None else put(buffer, at, kind[1], value)
    if head in ("string", "fixed"):
        if head == "string":
            value = value.encode()
            at = put_int(buffer, at, len(value))
        buffer[at : at + len(value)] = value
        return at + len(value)
    if head == "boolean":
        return put_int(buffer, at, -1 if value else 0)  # the bytes 1 and 0
    if not isinstance(kind, tuple):
        return put_int(buffer, at, value)
    for i in range(len(kind)):
        at = put(buffer, at, kind[i], value[i])
    return at


class Unpacker:
    """Reader of a datum of the union in buffer[at:end]; raises RecordError if the bytes make no sense."""

    def __init__(self, buffer: bytearray, at: int, end: int) -> None:
        self._buffer = buffer
        self._at = at
        self._end = end
        self.branch = self._below(len(RECORDS))

    def values(self) -> list:
        """Return the values of all fields in order; bytes after the last are ignored: a newer minor may add some."""
        return self._take(RECORDS[self.branch])

    def _take(self, kind):
        head = kind[0] if isinstance(kind, tuple) else kind
        if head == "null":
            return self._take(kind[1]) if self._below(2) else None
        if head == "array":
            return self._array(kind[1])
        if head == "fixed":
            return bytes([self._byte() for _ in range(kind[1])])
        if head == "boolean":
            return self._byte() != 0
        if isinstance(kind, tuple):
            return [self._take(part) for part in kind]
        return self._below(kind) if isinstance(kind, int) else self._number()

    def _array(self, kind) -> list:
        items: list = []
        count = self._number()
        while count:
            if count < 0:  # then the size in bytes follows (Avro specification, arrays)
                count = -count
                self._number()
            if len(items) + count > _ITEMS_MAX:
                raise RecordError("too long")
            items += [self._take(kind) for _ in range(count)]
            count = self._number()
        return items

    def _below(self, limit: int) -> int:
        """Return the next number, which counts something from 0."""
        value = self._number()
        if not 0 <= value < limit:
            raise RecordError("out of range")
        return value

    def _number(self) -> int:
        """Return the next Avro int or long."""
        byte = self._byte()
        negative, value, shift = byte & 1, (byte & 127) >> 1, 6
        while byte & 128:
            if shift > 62:
                raise RecordError("too long")
            byte = self._byte()
            value |= (byte & 127) << shift
            shift += 7
        return ~value if negative else value

    def _byte(self) -> int:
        if self._at >= self._end:
            raise RecordError("too short")
        self._at += 1
        return self._buffer[self._at - 1]
