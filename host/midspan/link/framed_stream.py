"""Turn records into frames and frames into records: number what goes out, leave out what is old."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

from midspan.link.stale_frames import FrameNews, Succession
from midspan.wire.codec import Said, boot_in, greeting, pack, said_in
from midspan.wire.framing import DELIMITER, SEQUENCES, Deframer, Frame, encode
from midspan.wire.records import Greet, Record, Reply, Resend

PROOF = Resend(shaft=0, blocks=())  # changes nothing, and its reply names the frame that asked
MOST_UNPROVEN = 320  # frames: a shaft's blocks and the frames between them


@dataclass(frozen=True, slots=True)
class Unproven:
    """A record that may be from another start of the gauge: ask who speaks.

    Until that is answered no further one is handed out.

    Parameters
    ----------
    said : Said
        Content of the frame.
    """

    said: Said


class FramedStream:
    """Both directions of a line as records; the counts since the start are for reading.

    Parameters
    ----------
    succession : Succession | None
        What came from this gauge in earlier conversations; None for a gauge never heard.

    Examples
    --------
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
        self._unproven: deque[tuple[int, Said]] = deque(maxlen=MOST_UNPROVEN)  # sequence number and content
        self._asked = False  # a question who speaks is open
        self._doubted = False  # the last call of doubts() returned True

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
        """Number of frames missing between those that came."""
        return self.succession.lost

    @property
    def old(self) -> int:
        """Number of sound frames that came too late or again."""
        return self.succession.old

    @property
    def waiting(self) -> bool:
        """True if there are bytes to send."""
        return bool(self._outgoing)

    def send(self, record: Record) -> int:
        """Queue a record and return its sequence number.

        A delimiter goes before a greeting, so that the gauge drops what another program may have left half sent.

        Parameters
        ----------
        record : Record
            Record to send.

        Returns
        -------
        int
            Number by which the gauge's reply names it.
        """
        if isinstance(record, Greet):
            self._outgoing += DELIMITER
            self._proof, self._asked = None, False  # an answer still to come counts no more
        sequence = self.succession.sent
        self.succession.sent = (sequence + 1) % SEQUENCES
        self._outgoing += encode(sequence, pack(record))
        return sequence

    def greet(self, doubted: Unproven | None) -> None:
        """Queue a greeting; its answer says what the gauge is doing.

        If the doubtful record is an Identify, a request follows at once: its reply comes next after the answer of the
        gauge that speaks now.

        Parameters
        ----------
        doubted : Unproven | None
            What may be from another start of the gauge; None if nothing is in doubt.
        """
        self.send(greeting())
        self._asked = doubted is not None
        if doubted is not None and boot_in(doubted.said) is not None:
            self._proof = self.send(PROOF)

    def doubts(self) -> bool:
        """Return True if the host should ask who speaks before it repeats a request.

        That is so if the latest frames were old or may be from another start of the gauge; at most every other time,
        because old frames may never end.

        Returns
        -------
        bool
            False for every other call at least.
        """
        self._doubted = not self._doubted and (bool(self._unproven) or self.succession.old_since_new > 0)
        return self._doubted

    def outgoing(self) -> bytes:
        """Return the bytes to send now and forget them.

        Returns
        -------
        bytes
            Empty if nothing waits.
        """
        data, self._outgoing = bytes(self._outgoing), bytearray()
        return data

    def receive(self, data: bytes) -> list[Said | Unproven]:
        """Return what the sound frames completed by `data` say; old frames are counted and left out.

        Parameters
        ----------
        data : bytes
            What came, cut anywhere.

        Returns
        -------
        list[Said | Unproven]
            In order; empty if no new frame was completed.
        """
        self.bytes_in += len(data)
        frames = [item for item in self._deframer.feed(data) if isinstance(item, Frame)]
        return [news for frame in frames for news in self._news(frame)]

    def _news(self, frame: Frame) -> list[Said | Unproven]:
        """Return what a frame says that is new; empty if it is old or not proven yet."""
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
        """Return what came in unproven frames between two numbers, once an Identify says that they are of this start.

        In order of their numbers. Of two different contents under one number neither is taken.
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
        """Return the Identify in the frame before this one, believed from now on.

        Empty if this frame simply follows the newest of the start already believed, or if two different Identify came
        in the frame before.
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
