"""Frames on the line: COBS( sequence u16 | body | CRC-32 u32 ) and a zero byte, integers little-endian.

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
LARGEST = 1536  # bytes before stuffing
_SEQUENCE_BYTES = 2
_CRC_BYTES = 4
LARGEST_BODY = LARGEST - _SEQUENCE_BYTES - _CRC_BYTES
LARGEST_STUFFED = LARGEST + -(-LARGEST // 254)  # stuffing adds at most one byte in 254


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame that arrived undamaged.

    Parameters
    ----------
    sequence : int
        Its sequence number, 0 to 65535.
    body : bytes
        One Avro datum, 1 to 1530 bytes.
    """

    sequence: int
    body: bytes


def encode(sequence: int, body: bytes) -> bytes:
    """Return the bytes of a frame as they go over the line.

    Parameters
    ----------
    sequence : int
        Its sequence number, 0 to 65535.
    body : bytes
        One Avro datum, 1 to 1530 bytes.

    Returns
    -------
    bytes
        The stuffed frame with the delimiter at its end.

    Raises
    ------
    FrameError
        The body is empty or too large, or the sequence number is out of range.

    Examples
    --------
    >>> encode(1, b"abc").hex(" ")
    '02 01 08 61 62 63 7d 46 27 31 00'
    """
    if not 1 <= len(body) <= LARGEST_BODY:
        raise FrameError(f"a body of {len(body)} bytes does not fit a frame (1 to {LARGEST_BODY}): split it")
    if not 0 <= sequence < SEQUENCES:
        raise FrameError(f"sequence {sequence} is not in 0 to {SEQUENCES - 1}: count modulo {SEQUENCES}")
    plain = sequence.to_bytes(_SEQUENCE_BYTES, "little") + body
    return bytes(cobs.encode(plain + crc32(plain).to_bytes(_CRC_BYTES, "little")) + DELIMITER)


def decode(stuffed: bytes) -> Frame:
    """Return the frame in the bytes between two delimiters.

    Parameters
    ----------
    stuffed : bytes
        The bytes, without the delimiters.

    Returns
    -------
    Frame
        Sequence number and body.

    Raises
    ------
    FrameError
        The bytes are damaged: wrong stuffing, size or checksum.

    Examples
    --------
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
        raise FrameError(f"{len(plain)} bytes cannot be a frame")
    if crc32(covered) != int.from_bytes(check, "little"):
        raise FrameError(f"checksum is wrong in a frame of {len(plain)} bytes")
    return Frame(int.from_bytes(covered[:_SEQUENCE_BYTES], "little"), covered[_SEQUENCE_BYTES:])


class Deframer:
    """Splitter of a byte stream into frames; it keeps at most the bytes of one frame, whatever arrives.

    `frames` and `damaged` count good and damaged frames since the start.

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
        """Take the next bytes of the stream and return the frames that they complete.

        Parameters
        ----------
        data : bytes
            What arrived, in pieces of any size.

        Returns
        -------
        list[Frame | FrameError]
            Completed frames in order, with an error in place of each damaged frame; empty if none is complete.
        """
        *whole, self._partial = (self._partial + data).split(DELIMITER)
        # Keep one byte over the limit as proof that the frame is too long, and drop the rest.
        self._partial = self._partial[: LARGEST_STUFFED + 1]
        return [self._item(stuffed) for stuffed in whole if stuffed]

    def _item(self, stuffed: bytes) -> Frame | FrameError:
        """Return a frame or the error that it is damaged, and count it."""
        try:
            frame = decode(stuffed)
        except FrameError as error:
            self.damaged += 1
            return error
        self.frames += 1
        return frame
