"""Turn records into frames and frames into records: number what goes out, leave out what is old."""

from __future__ import annotations

from dataclasses import dataclass

from midspan.link.stale_frames import FrameNews, Succession
from midspan.wire.codec import Said, boot_in, greeting, pack, said_in
from midspan.wire.framing import DELIMITER, SEQUENCES, Deframer, Frame, encode
from midspan.wire.records import Greet, Record, Reply, Resend

PROOF = Resend(shaft=0, blocks=())  # changes nothing, and its reply names the frame that asked


@dataclass(frozen=True, slots=True)
class Unproven:
    """A frame that may be of another start of the gauge: ask who speaks.

    Until that is answered no further one is handed out, and what such a frame says is dropped.
    """


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
        self._asked = False  # the host asked who speaks and has not repeated a request since

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
            self._proof = None  # an answer still to come counts no more
        sequence = self.succession.sent
        self.succession.sent = (sequence + 1) % SEQUENCES
        self._outgoing += encode(sequence, pack(record))
        return sequence

    def ask_who_speaks(self) -> None:
        """Queue a request whose reply proves who speaks now, and a greeting whose answer says what the gauge is doing.

        The proof goes first: a gauge that was reset refuses it, which proves as much, and its next frame is the answer
        to the greeting.
        """
        self._outgoing += DELIMITER
        proof = self.send(PROOF)
        self.send(greeting())
        self._proof, self._asked = proof, True

    def doubts(self) -> bool:
        """Return True if the host should ask who speaks before it repeats a request.

        That is so while the last question is not answered, and if the latest frames were old or unproven. In the second
        case every other time, because old frames may never end.

        Returns
        -------
        bool
            False if the request may be repeated.
        """
        asked, self._asked = self._asked, False
        return self._proof is not None or (not asked and self.succession.doubtful > 0)

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
        """Return what a frame says that is new; empty if it is old, or unproven while a question is open."""
        said = said_in(frame.body)
        if isinstance(said, Reply) and said.to_sequence == self._proof:
            self._proof = None
            if self.succession.standing(frame.sequence, said.boot) is not FrameNews.NEW:
                self.succession.believe(frame.sequence, said.boot)
            return []
        if isinstance(said, tuple):  # no number of another version can be compared with those of this one
            return [said]
        match self.succession.standing(frame.sequence, boot_in(said)):
            case FrameNews.NEW:
                return [said]
            case FrameNews.UNPROVEN if self._proof is None:
                return [Unproven()]
        return []
