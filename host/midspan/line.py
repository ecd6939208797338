"""Both directions of a line as records and sequence numbers: numbers what goes out, leaves out what is old."""

from __future__ import annotations

from dataclasses import dataclass

from midspan.frames import DELIMITER, SEQUENCES, Deframer, Frame, encode
from midspan.packing import Said, boot_in, pack, said_in
from midspan.records import Record
from midspan.succession import Standing, Succession


@dataclass(frozen=True, slots=True)
class Unproven:
    """An Identify of a boot number never heard before: to be asked again."""

    said: Said


class Line:
    """Frames what is sent and unframes what comes. Counts since the start are for reading.

    `succession` is what came from this gauge in earlier conversations, if any.

    >>> from midspan.records import Acknowledge
    >>> line = Line()
    >>> line.send(Acknowledge(shaft=3)), line.send(Acknowledge(shaft=4))
    (0, 1)
    >>> len(line.receive(line.outgoing())), line.lost
    (2, 0)
    """

    def __init__(self, succession: Succession | None = None) -> None:
        self.bytes_in = 0
        self.succession = Succession() if succession is None else succession
        self._deframer = Deframer()
        self._outgoing = bytearray()
        self._sequence = 0

    @property
    def frames(self) -> int:
        """Number of sound frames that came."""
        return self._deframer.frames

    @property
    def damaged(self) -> int:
        """Number of damaged frames that came."""
        return self._deframer.damaged

    @property
    def lost(self) -> int:
        """Number of frames that are missing between those that came."""
        return self.succession.lost

    @property
    def old(self) -> int:
        """Number of sound frames that came too late, or again."""
        return self.succession.old

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

    def receive(self, data: bytes) -> list[Said | Unproven]:
        """What the sound frames say that `data` completes; the old ones among them are counted and left out."""
        self.bytes_in += len(data)
        frames = [item for item in self._deframer.feed(data) if isinstance(item, Frame)]
        return [news for frame in frames for news in self._news(frame)]

    def _news(self, frame: Frame) -> list[Said | Unproven]:
        said = said_in(frame.body)
        match self.succession.standing(frame.sequence, boot_in(said)):
            case Standing.NEW:
                return [said]
            case Standing.UNPROVEN:
                return [Unproven(said)]
        return []
