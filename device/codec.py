"""Avro packing and unpacking, driven by the tables of records.py. The value of an enum is its number.

end = pack(buffer, 0, REPLY, (boot, sequence, None, ""))
request = Unpacker(buffer, 0, end)
print(request.branch, request.values())
"""

from micropython import const
from records import ENUMS, FIXED, PARTS, RECORDS

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


def _put(buffer: bytearray, at: int, kind, value) -> int:
    if isinstance(kind, tuple):  # ("null", type): the arrays of Readings are packed in held.py
        at = put_int(buffer, at, 0 if value is None else 1)
        return at if value is None else _put(buffer, at, kind[1], value)
    if kind in PARTS:
        return _put_fields(buffer, at, PARTS[kind], value)
    if kind == "boolean":
        value = b"\x01" if value else b"\x00"
    elif kind == "string":
        value = value.encode()
        at = put_int(buffer, at, len(value))
    elif kind not in FIXED:
        return put_int(buffer, at, value)
    buffer[at : at + len(value)] = value
    return at + len(value)


def _put_fields(buffer: bytearray, at: int, kinds, values) -> int:
    for i in range(len(kinds)):
        at = _put(buffer, at, kinds[i], values[i])
    return at


def pack(buffer: bytearray, at: int, branch: int, values: tuple) -> int:
    """Write the record of this branch of the union, values in field order, to buffer from `at` on; return the end."""
    return _put_fields(buffer, put_int(buffer, at, branch), RECORDS[branch], values)


class Unpacker:
    """Reader of a datum of the union in buffer[at:end]; raises RecordError if the bytes make no sense."""

    def __init__(self, buffer: bytearray, at: int, end: int) -> None:
        self._buffer = buffer
        self._at = at
        self._end = end
        self.branch = self._within(len(RECORDS))

    def values(self) -> list:
        """Return the values of all fields in order; bytes after the last are ignored: a newer minor may add some."""
        return [self._take(kind) for kind in RECORDS[self.branch]]

    def _byte(self) -> int:
        if self._at >= self._end:
            raise RecordError("too short")
        self._at += 1
        return self._buffer[self._at - 1]

    def _number(self) -> int:
        """Return the next Avro int or long."""
        byte = self._byte()
        negative = byte & 1
        value = (byte & 127) >> 1
        shift = 6
        while byte & 128:
            if shift > 62:
                raise RecordError("too long")
            byte = self._byte()
            value |= (byte & 127) << shift
            shift += 7
        return ~value if negative else value

    def _within(self, number: int) -> int:
        """Return the next number, which is one of so many."""
        value = self._number()
        if not 0 <= value < number:
            raise RecordError("out of range")
        return value

    def _take(self, kind):
        if isinstance(kind, tuple):
            if kind[0] == "array":
                return self._array(kind[1])
            return self._take(kind[1]) if self._within(2) else None
        if kind in FIXED:
            return bytes([self._byte() for _ in range(FIXED[kind])])
        if kind == "boolean":
            return self._byte() != 0
        if kind in PARTS:
            return [self._take(part) for part in PARTS[kind]]
        return self._within(len(ENUMS[kind])) if kind in ENUMS else self._number()

    def _array(self, kind) -> list:
        items: list = []
        count = self._number()
        while count:
            if count < 0:  # a negative count is followed by the size in bytes (Avro specification, arrays)
                count = -count
                self._number()
            if len(items) + count > _ITEMS_MAX:
                raise RecordError("too long")
            for _ in range(count):
                items.append(self._take(kind))
            count = self._number()
        return items
