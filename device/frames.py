"""Frames of the serial line: sequence number, datum and CRC-32, stuffed by COBS, ended by one zero byte.

All buffers are allocated once, so that a frame costs no memory while motors move.

    end = pack(encoder.raw, HEAD, branch, values)
    size = encoder.encode(end, out, 0)  # out[:size] goes to the line
    for byte in received:
        end = decoder.push(byte)
        if end: Unpacker(decoder.frame, HEAD, end)
"""

from binascii import crc32

from micropython import const

FRAME_MAX = const(1536)  # bytes of sequence, datum and CRC before stuffing
HEAD = const(2)  # the sequence number, little-endian
TAIL = const(4)  # the CRC-32 (ISO-HDLC), little-endian
_SEALED = const(0x2144DF1C)  # the CRC-32 of anything followed by its own CRC-32
STUFFED_MAX = const(1544)  # one code byte more for 254, the last one, the delimiter


def stuff(raw: bytearray, size: int, out: bytearray, at: int) -> int:
    """Write raw[:size] to out from `at` on by COBS with its delimiter; return the end.

    Cheshire and Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Trans. Networking 7 (1999).
    """
    code_at = at
    at += 1
    for i in range(size):
        byte = raw[i]
        if byte:
            out[at] = byte
            at += 1
        if byte == 0 or (at - code_at == 255 and i + 1 < size):
            out[code_at] = at - code_at
            code_at = at
            at += 1
    out[code_at] = at - code_at
    out[at] = 0
    return at + 1


class Encoder:
    """Encoder that numbers frames and adds their CRC; the caller writes the datum to `raw` from HEAD on."""

    def __init__(self) -> None:
        self.raw = bytearray(FRAME_MAX)
        self._view = memoryview(self.raw)
        self._sequence = 0

    def encode(self, end: int, out: bytearray, at: int) -> int:
        """Frame the datum in raw[HEAD:end] into out from `at` on; return the end."""
        self.raw[0] = self._sequence & 255
        self.raw[1] = self._sequence >> 8
        self._sequence = (self._sequence + 1) & 0xFFFF
        crc = crc32(self._view[:end])  # 32 bits: the one number here that may not be a small integer
        for i in range(TAIL):
            self.raw[end + i] = (crc >> (8 * i)) & 255
        return stuff(self.raw, end + TAIL, out, at)


class Decoder:
    """Decoder that takes the line byte by byte; it never raises and starts afresh at each delimiter.

    `bad` counts damaged frames. Two delimiters in a row are not a frame.
    """

    def __init__(self) -> None:
        self.frame = bytearray(STUFFED_MAX)
        self.bad = 0
        self._view = memoryview(self.frame)
        self._size = 0  # bytes since the last delimiter; those without room are left out, and the rest is too long

    def push(self, byte: int) -> int:
        """Take a byte; return n if it ended a good frame, whose datum is then frame[HEAD:n], else 0."""
        if byte:
            if self._size < STUFFED_MAX:
                self.frame[self._size] = byte
                self._size += 1
            return 0
        size = self._unstuff()
        if HEAD + TAIL < size <= FRAME_MAX and crc32(self._view[:size]) == _SEALED:
            self._size = 0
            return size - TAIL
        self.bad += self._size > 0
        self._size = 0
        return 0

    def sequence(self) -> int:
        """Return the sequence number of the frame just ended."""
        return self.frame[0] | self.frame[1] << 8

    def _unstuff(self) -> int:
        """Put the frame in place of its stuffed bytes; return its size, 0 if it ends within a run of bytes."""
        frame, size, run, code = self.frame, 0, 0, 255
        for i in range(self._size):
            byte = frame[i]
            if run or code < 255:
                frame[size] = byte if run else 0
                size += 1
            if run:
                run -= 1
            else:
                code, run = byte, byte - 1
        return 0 if run else size
