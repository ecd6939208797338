"""Both directions of a line as records and sequence numbers: numbers what goes out, leaves out what is old."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from midspan.link.stale_frames import FrameNews, Succession
from midspan.wire.codec import Said, boot_in, greeting, pack, said_in
from midspan.wire.framing import DELIMITER, SEQUENCES, Deframer, Frame, encode
from midspan.wire.records import Greet, Record, Reply, Resend

PROOF = Resend(shaft=0, blocks=())  # changes nothing, held or not, and its reply names the frame that asked
MOST_UNPROVEN = 320  # frames; a shaft's blocks and what comes between them


@dataclass(frozen=True, slots=True)
class Unproven:
    """What may be of another start of the gauge: ask who speaks. Until that is answered one stands for all."""

    said: Said


class FramedStream:
    """Frames what is sent and unframes what comes. Counts since the start are for reading.

    `succession` is what came from this gauge in earlier conversations, if any.

    >>> from midspan.wire.records import Acknowledge
    >>> line = FramedStream()
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
        self._asked = self._doubted = False  # who speaks

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
            self._proof, self._asked = None, False  # should one still be out, it is lost
        sequence = self.succession.sent
        self.succession.sent = (sequence + 1) % SEQUENCES
        self._outgoing += encode(sequence, pack(record))
        return sequence

    def greet(self, doubted: Unproven | None) -> None:
        """Queue a greeting, by whose answer the gauge says where it is.

        When what is doubted is the very boot number, a request stands right behind: its reply comes next after the
        answer of the gauge that speaks now.
        """
        self.send(greeting())
        self._asked = doubted is not None
        if doubted is not None and boot_in(doubted.said) is not None:
            self._proof = self.send(PROOF)

    def doubts(self) -> bool:
        """Whether to ask who speaks before a request is repeated: what came last was old, or may be of another start.

        At most every other time, for old frames may never end.
        """
        self._doubted = not self._doubted and (bool(self._unproven) or self.succession.old_since_new > 0)
        return self._doubted

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
        said, newest = said_in(frame.body), self.succession.newest
        if isinstance(said, Reply) and said.to_sequence == self._proof:
            self._proof = None
            if proven := self._proven_by(frame.sequence):
                return proven
        match self.succession.standing(frame.sequence, boot_in(said)):
            case FrameNews.NEW:
                return [said] if boot_in(said) is None else [*self._between(newest, frame.sequence), said]
            case FrameNews.UNPROVEN:
                self._unproven.append((frame.sequence, said))
                asked, self._asked = self._asked if boot_in(said) is None else self._proof is not None, True
                return [] if asked else [Unproven(said)]
        return []

    def _between(self, newest: int, sequence: int) -> list[Said]:
        """What came in frames between these, now that an Identify says that they are of this start.

        In their order; of two different in the same frame neither is taken.
        """
        room = (sequence - newest) % SEQUENCES
        found: dict[int, list[Said]] = {}
        for at, said in self._unproven:
            ahead = (at - newest) % SEQUENCES
            if boot_in(said) is None and 0 < ahead < room and said not in found.setdefault(ahead, []):
                found[ahead].append(said)
        self._unproven.clear()
        self._asked = False
        single = [found[ahead][0] for ahead in sorted(found) if len(found[ahead]) == 1]
        self.succession.lost -= len(single)
        return single

    def _proven_by(self, sequence: int) -> list[Said | Unproven]:
        """The Identify in the frame before this one, believed from now on.

        None when this is the next frame of the start that is believed already, or two others told theirs in that one.
        """
        before = {boot_in(said): said for at, said in self._unproven if (at + 1) % SEQUENCES == sequence}
        before.pop(None, None)
        if len(before) != 1 or (self.succession.newest + 1) % SEQUENCES == sequence:
            return []
        ((boot, said),) = before.items()
        self.succession.believe(sequence, boot)
        self._unproven.clear()
        self._asked = False
        return [said]
