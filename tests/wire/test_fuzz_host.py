"""The host's decoder under ten million corrupt bytes: only declared errors, nothing wrong accepted, bounded memory.

Bytes corrupted on the line have to be caught by the checksum of a frame. Frames with a right checksum and wrong content
are what a faulty gauge would send. All of it is seeded, so that a failure can be repeated.
"""

from __future__ import annotations

import gc
import tracemalloc
from collections import Counter
from random import Random

import pytest
from campaign import corruption
from campaign.conversation import Step, a_night
from midspan.archive.raw_run import RawRun
from midspan.base.errors import MidspanError, ProtocolError
from midspan.link import session_events as out
from midspan.link.session import Session
from midspan.link.session_states import SessionState
from wire import datum, framed, record, unframed

pytestmark = pytest.mark.slow

# Corrupt bytes, together over ten million. A good frame costs the host far more time than a damaged one.
ON_THE_LINE, IN_THE_CONTENT, NOISE = 4_000_000, 2_000_000, 4_500_000
OUTCOMES = tuple(kind for kind in vars(out).values() if isinstance(kind, type) and kind.__module__ == out.__name__)
WORST_BYTES = 1 << 20  # for a session and the shaft it collects; a conversation of the corpus has 6 kB
LARGEST_BODY = 1530
NEVER_DRAWN = 987_654_321  # a boot number that no seed of these tests produces
FAR = 30_000  # far from the sequence numbers of all recorded frames
SHAFTS = [1, 2, 3, 3]  # the last is fetched again after a greeting


@pytest.fixture(scope="module")
def night() -> list[Step]:
    return a_night()


class Sound:
    """Line that changes nothing and delays nothing."""

    def __call__(self, piece: bytes) -> bytes:
        return piece

    def begin(self) -> None:
        """Begin a conversation."""

    def pause_s(self) -> float:
        """Return the time until the next piece, s."""
        return 0.01


class Spoilt(Sound):
    """Line that corrupts frames, more or fewer in each conversation, and counts the corrupt bytes."""

    def __init__(self, seed: int) -> None:
        self.random, self.bytes, self.chance = Random(seed), 0, 0.0

    def begin(self) -> None:
        self.chance = self.random.choice((0.05, 0.6, 0.6))

    def pause_s(self) -> float:
        """Return a short time, now and then long enough for a repetition or for giving up, s."""
        return self.random.choice((0.01,) * 60 + (0.8, 1.5, 6.0))

    def _counted(self, now: bytes, before: bytes) -> bytes:
        self.bytes += len(now) if now != before else 0
        return now


class OnTheLine(Spoilt):
    """Line that damages frames, each once or several times."""

    def __call__(self, piece: bytes) -> bytes:
        return b"".join(self._counted(self._damaged(frame), frame) for frame in corruption.pieces(piece))

    def _damaged(self, frame: bytes) -> bytes:
        while frame and self.random.random() < self.chance:
            frame = self.random.choice(corruption.DAMAGES)(self.random, frame)
        return frame


class InTheContent(Spoilt):
    """Line that changes the content of frames and makes the checksum right again."""

    def __call__(self, piece: bytes) -> bytes:
        return b"".join(self._counted(self._resealed(frame), frame) for frame in corruption.pieces(piece))

    def _resealed(self, frame: bytes) -> bytes:
        ((sequence, body),) = unframed(frame)
        while body and self.random.random() < self.chance:
            body = self.random.choice(corruption.DAMAGES)(self.random, body)
        return framed(sequence, body[:LARGEST_BODY]) if body else b""


class Noise(Spoilt):
    """Line that puts random bytes between the frames, of any length, with many delimiters or none."""

    def __call__(self, piece: bytes) -> bytes:
        noise = self.random.randbytes(self.random.choice((1, 7, 60, 700, 5000)))
        if self.random.random() < 0.5:
            noise = noise.replace(b"\0", b"\1")
        self.bytes += len(noise)
        return noise + b"\0" + piece

    def pause_s(self) -> float:
        """Return the time until the next piece, s: noise delays nothing."""
        return 0.01


def replayed(night: list[Step], line: Sound) -> list[RawRun]:
    """Return the runs that a host accepts in a whole conversation over a line."""
    line.begin()
    session, now_s, runs = Session(), 0.0, []
    for step in night:
        try:
            step.order(session, now_s)
        except ProtocolError:  # not allowed in the state that the session has reached
            session.greet(now_s)
        session.outgoing()
        for piece in step.came:
            now_s += line.pause_s()
            outcomes = session.receive(line(piece), now_s) + session.tick(now_s)
            session.outgoing()
            assert all(isinstance(outcome, OUTCOMES) for outcome in outcomes)
            failed = [outcome for outcome in outcomes if isinstance(outcome, out.Failed)]
            assert all(isinstance(outcome.error, MidspanError) for outcome in failed)
            runs += [outcome.run for outcome in outcomes if isinstance(outcome, out.Finished)]
    greeted_again(session, night, now_s)
    return runs


def greeted_again(session: Session, night: list[Step], now_s: float) -> None:
    """Check that a delimiter and a restarted gauge reopen the conversation, whatever came before."""
    session.greet(now_s)
    session.outgoing()
    identify = next(body for _, body in unframed(b"".join(night[0].came)) if body[:1] == b"\0")
    restarted = datum("Identify", record(identify)[1] | {"boot": NEVER_DRAWN})
    session.receive(b"\0" + framed(FAR, restarted), now_s)
    for number, body in unframed(session.outgoing()):  # empty if the host believed it at once
        if record(body)[0] == "Resend":
            proof = {"boot": NEVER_DRAWN, "to_sequence": number, "refusal": "UNKNOWN_SHAFT", "field": "shaft"}
            session.receive(framed(FAR + 1, datum("Reply", proof)) + framed(FAR + 2, restarted), now_s)
    assert session.state in (SessionState.READY, SessionState.SETTLING)


def test_spoilt_on_the_line_nothing_wrong_is_accepted(night: list[Step]) -> None:
    sound = replayed(night, Sound())
    assert [run.shaft for run in sound] == SHAFTS
    line, accepted = OnTheLine(1), 0
    while line.bytes < ON_THE_LINE:
        for run in replayed(night, line):
            assert run in sound
            accepted += 1
    assert accepted > 50  # some shafts must get through, or the test would show nothing


def test_any_content_under_a_right_check_is_an_outcome(night: list[Step]) -> None:
    line = InTheContent(2)
    while line.bytes < IN_THE_CONTENT:
        replayed(night, line)


def test_noise_between_the_frames_takes_none_of_them(night: list[Step]) -> None:
    line = Noise(3)
    while line.bytes < NOISE:
        assert [run.shaft for run in replayed(night, line)] == SHAFTS


@pytest.mark.parametrize("line", [OnTheLine(4), InTheContent(4), Noise(4)], ids=lambda line: type(line).__name__)
def test_memory_stays_bounded(night: list[Step], line: Spoilt) -> None:
    for _ in range(20):  # parsed schemas and other caches are made once and do not count
        replayed(night, line)
    tracemalloc.start()
    try:
        kept = []
        for _ in range(3):
            for _ in range(20):
                replayed(night, line)
            gc.collect()
            kept.append(tracemalloc.get_traced_memory()[0])
        most_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most_bytes < WORST_BYTES
    assert kept[2] - kept[0] < WORST_BYTES / 20


def test_a_gauge_that_never_ends_its_shaft_is_given_up(night: list[Step]) -> None:
    """Send good new blocks without end: at some point they are more than any gauge can hold."""
    session = Session()
    measuring = night[2]  # greeted, fed
    for step in night[:3]:
        step.order(session, 0.0)
        session.outgoing()
        came = step.came if step is not measuring else step.came[:3]
        for piece in came:
            session.receive(piece, 0.0)
            session.outgoing()
    assert session.state is SessionState.MEASURING
    blocks = [body for piece in measuring.came for _, body in unframed(piece) if body[:1] == b"\2"]
    _, block = record(blocks[-1])
    tracemalloc.start()
    try:
        failed = []
        first = session.line.succession.newest - 99
        for number in range(100, 3_000):
            sent = framed(first + number, datum("Readings", block | {"block": number, "first": 64 * number}))
            failed += [event.error for event in session.receive(sent, 0.0) if isinstance(event, out.Failed)]
            session.outgoing()
        most_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert [type(error) for error in failed] == [ProtocolError]
    assert str(session.identify.readings_most) in str(failed[0])
    assert session.state is SessionState.READY
    assert most_bytes < 10 * WORST_BYTES


# Numbers that a faulty gauge may send with a right checksum, up to the largest and smallest that Avro can carry.
WORST = (2**63 - 1, 2**31, 2**31 - 1, 2**22 + 1, 65536, 1, 0, -1, -(2**31), -(2**63))
HOSTILE_FRAMES = 5_000


class Hostile(Sound):
    """Line that replaces a number by an extreme one, a text by a long one, or a column by an empty one."""

    def __init__(self, seed: int) -> None:
        self.random, self.frames = Random(seed), 0
        self.kinds: Counter[str] = Counter()

    def __call__(self, piece: bytes) -> bytes:
        return b"".join(self._spoilt(frame) for frame in corruption.pieces(piece))

    def _spoilt(self, frame: bytes) -> bytes:
        ((sequence, body),) = unframed(frame)
        name, fields = record(body)
        if self.random.random() < 0.7:
            return frame
        field = self.random.choice([key for key in fields if key != "fingerprint"])
        fields[field] = self._worst(fields[field])
        try:
            spoilt = datum(name, fields)
        except (ValueError, TypeError, OverflowError, AttributeError):  # Avro cannot encode it
            return frame
        self.frames += 1
        self.kinds[name] += 1
        return framed(sequence, spoilt) if len(spoilt) <= LARGEST_BODY else frame

    def _worst(self, value: object) -> object:
        if isinstance(value, list):
            return self.random.choice(([], [self.random.choice(WORST)] * len(value), [0] * 900))
        return "?" * 900 if isinstance(value, str) else self.random.choice((*WORST, None))


def test_hostile_counts_and_texts_take_no_memory(night: list[Step]) -> None:
    line = Hostile(6)
    replayed(night, line)
    tracemalloc.start()
    try:
        while line.frames < HOSTILE_FRAMES:
            replayed(night, line)
        most_bytes = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()

    assert {"Identify", "Readings", "EndOfShaft", "Event", "Fault", "Reply"} <= set(line.kinds)
    assert most_bytes < 2 * WORST_BYTES
