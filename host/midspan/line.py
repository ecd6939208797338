"""Both directions of a line as records and sequence numbers: numbers what goes out, counts what was lost."""

from __future__ import annotations

from midspan.frames import DELIMITER, SEQUENCES, Deframer, Frame, encode
from midspan.packing import pack
from midspan.records import Record


class Line:
    """Frames what is sent and unframes what comes. Counts since the start are for reading.

    >>> from midspan.records import Acknowledge
    >>> line = Line()
    >>> line.send(Acknowledge(shaft=3)), line.send(Acknowledge(shaft=4))
    (0, 1)
    >>> len(line.receive(line.outgoing())), line.lost
    (2, 0)
    """

    def __init__(self) -> None:
        self.bytes_in = 0
        self.lost = 0
        self._deframer = Deframer()
        self._outgoing = bytearray()
        self._sequence = 0
        self._expected: int | None = None

    @property
    def frames(self) -> int:
        """Number of sound frames that came."""
        return self._deframer.frames

    @property
    def damaged(self) -> int:
        """Number of damaged frames that came."""
        return self._deframer.damaged

    @property
    def waiting(self) -> bool:
        """True when there are bytes to send."""
        return bool(self._outgoing)

    def send(self, record: Record) -> int:
        """Queue a record; its sequence number."""
        sequence, self._sequence = self._sequence, (self._sequence + 1) % SEQUENCES
        self._outgoing += encode(sequence, pack(record))
        return sequence

    def send_delimiter(self) -> None:
        """Queue the end of a frame, so that the gauge drops what another program may have left half sent."""
        self._outgoing += DELIMITER

    def outgoing(self) -> bytes:
        """Bytes to send now; they are handed out once."""
        data, self._outgoing = bytes(self._outgoing), bytearray()
        return data

    def receive(self, data: bytes) -> list[bytes]:
        """Bodies of the sound frames that `data` completes."""
        self.bytes_in += len(data)
        frames = [item for item in self._deframer.feed(data) if isinstance(item, Frame)]
        for frame in frames:
            self._count_lost(frame.sequence)
        return [frame.body for frame in frames]

    def _count_lost(self, sequence: int) -> None:
        if self._expected is not None:
            gap = (sequence - self._expected) % SEQUENCES
            self.lost += gap if gap < SEQUENCES // 2 else 0  # a larger gap is a gauge that started again
        self._expected = (sequence + 1) % SEQUENCES
