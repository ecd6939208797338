"""Both directions of a line as records and sequence numbers: numbers what goes out, leaves out what is old."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from midspan.frames import DELIMITER, SEQUENCES, Deframer, Frame, encode
from midspan.packing import Said, boot_in, greeting, pack, said_in
from midspan.records import Greet, Record, Reply, Resend
from midspan.succession import Standing, Succession

PROOF = Resend(shaft=0, blocks=())  # changes nothing, held or not, and its reply names the frame that asked
MOST_UNPROVEN = 16


@dataclass(frozen=True, slots=True)
class Unproven:
    """An Identify of a boot number never heard before: to be proven."""

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
        self._proof: int | None = None  # sequence number of the request whose reply proves who speaks
        self._unproven: deque[tuple[int, Said]] = deque(maxlen=MOST_UNPROVEN)  # and the frame it came in

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
        """Queue a record; its sequence number.

        A greeting stands behind a delimiter, so that the gauge drops what another program may have left half sent.
        """
        if isinstance(record, Greet):
            self._outgoing += DELIMITER
            self._proof = None  # should one still be out, it is lost
        sequence = self.succession.sent
        self.succession.sent = (sequence + 1) % SEQUENCES
        self._outgoing += encode(sequence, pack(record))
        return sequence

    def greet(self, *, proof: bool) -> None:
        """Queue a greeting; with `proof` also a request, whose reply comes next after that of the gauge that speaks."""
        self.send(greeting())
        self._proof = self.send(PROOF) if proof else None

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
        if isinstance(said, Reply) and said.to_sequence == self._proof:
            self._proof = None
            if proven := self._said_before(frame.sequence):
                return proven
        match self.succession.standing(frame.sequence, boot_in(said)):
            case Standing.NEW:
                return [said]
            case Standing.UNPROVEN:
                self._unproven.append((frame.sequence, said))
                return [Unproven(said)] if self._proof is None else []
        return []

    def _said_before(self, sequence: int) -> list[Said | Unproven]:
        """The Identify in the frame before this one, believed from now on; none when two starts told theirs in it."""
        before = {boot_in(said): said for at, said in self._unproven if (at + 1) % SEQUENCES == sequence}
        if len(before) != 1:
            return []
        ((boot, said),) = before.items()
        self.succession.believe(sequence, boot)
        self._unproven.clear()
        return [said]
