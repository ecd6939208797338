"""Frames on the line: COBS( sequence u16 | body | CRC-32 u32 ) and one zero byte, all little-endian.

COBS: S. Cheshire, M. Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Trans. Networking 7(2), 1999.
CRC-32: ISO-HDLC, as in zlib.
"""

from __future__ import annotations

from dataclasses import dataclass
from zlib import crc32

from cobs import cobs

from midspan.base.errors import FrameError

DELIMITER = b"\0"
SEQUENCES = 1 << 16
LARGEST = 1024  # bytes before stuffing
_SEQUENCE_BYTES = 2
_CRC_BYTES = 4
LARGEST_BODY = LARGEST - _SEQUENCE_BYTES - _CRC_BYTES
LARGEST_STUFFED = LARGEST + -(-LARGEST // 254)  # stuffing adds at most one byte in 254


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame that came undamaged: its sequence number (0 to 65535) and its body."""

    sequence: int
    body: bytes


def encode(sequence: int, body: bytes) -> bytes:
    """The bytes of one frame, delimiter included.

    Raises FrameError when the body is empty or larger than LARGEST_BODY or the sequence is no u16.

    >>> encode(1, b"abc").hex(" ")
    '02 01 08 61 62 63 7d 46 27 31 00'
    """
    if not 1 <= len(body) <= LARGEST_BODY:
        raise FrameError(f"a body of {len(body)} bytes fits no frame (1 to {LARGEST_BODY}): split it")
    if not 0 <= sequence < SEQUENCES:
        raise FrameError(f"sequence {sequence} is not in 0 to {SEQUENCES - 1}: count modulo {SEQUENCES}")
    plain = sequence.to_bytes(_SEQUENCE_BYTES, "little") + body
    return bytes(cobs.encode(plain + crc32(plain).to_bytes(_CRC_BYTES, "little")) + DELIMITER)


def decode(stuffed: bytes) -> Frame:
    """The frame between two delimiters.

    Raises FrameError when it is damaged.

    >>> decode(encode(1, b"abc")[:-1])
    Frame(sequence=1, body=b'abc')
    """
    if len(stuffed) > LARGEST_STUFFED:
        raise FrameError(f"over {LARGEST_STUFFED} bytes without a delimiter")
    try:
        plain = cobs.decode(stuffed)
    except cobs.DecodeError as error:
        raise FrameError(f"stuffing is wrong in a frame of {len(stuffed)} bytes ({error})") from error
    covered, check = plain[:-_CRC_BYTES], plain[-_CRC_BYTES:]
    if not _SEQUENCE_BYTES < len(covered) <= LARGEST - _CRC_BYTES:
        raise FrameError(f"{len(plain)} bytes are no frame")
    if crc32(covered) != int.from_bytes(check, "little"):
        raise FrameError(f"checksum is wrong in a frame of {len(plain)} bytes")
    return Frame(int.from_bytes(covered[:_SEQUENCE_BYTES], "little"), covered[_SEQUENCE_BYTES:])


class Deframer:
    """Cuts a stream of bytes into frames; holds at most one frame's bytes whatever comes.

    `frames` and `damaged` count what came since the start.

    >>> deframer = Deframer()
    >>> whole = encode(1, b"abc")
    >>> deframer.feed(whole[:4]), deframer.feed(whole[4:])
    ([], [Frame(sequence=1, body=b'abc')])
    >>> deframer.feed(b"AT+" + DELIMITER)
    [FrameError('stuffing is wrong in a frame of 3 bytes (not enough input bytes for length code)')]
    """

    def __init__(self) -> None:
        self.frames = 0
        self.damaged = 0
        self._partial = b""

    def feed(self, data: bytes) -> list[Frame | FrameError]:
        """Frames that `data` completes, in order; a damaged one stands as a FrameError. Never raises it."""
        *whole, self._partial = (self._partial + data).split(DELIMITER)
        # One byte over the limit is kept as proof that the frame is too long, the rest is dropped.
        self._partial = self._partial[: LARGEST_STUFFED + 1]
        return [self._item(stuffed) for stuffed in whole if stuffed]

    def _item(self, stuffed: bytes) -> Frame | FrameError:
        try:
            frame = decode(stuffed)
        except FrameError as error:
            self.damaged += 1
            return error
        self.frames += 1
        return frame
