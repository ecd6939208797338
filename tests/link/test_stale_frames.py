"""Old and new frames: of two starts of a gauge, far ahead, repeated, and of another version (section 7 of SPEC.md)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import ProtocolError
from midspan.link.framed_stream import FramedStream, Unproven
from midspan.link.stale_frames import LARGEST_LEAP, FrameNews, Succession
from midspan.wire.codec import greeting
from midspan.wire.records import Event, Refusal, Reply, State
from wire import datum, framed, record, unframed

BOOT, NEXT = 77, 78
SEQUENCES = 1 << 16


def event(sequence: int, boot: int = BOOT, tick_us: int = 5) -> bytes:
    """Return the frame of an event."""
    fields = {"boot": boot, "tick_us": tick_us, "previous": "IDLE", "state": "HOMING", "shaft": None}
    return framed(sequence % SEQUENCES, datum("Event", fields))


def reply(sequence: int, to: int, boot: int = BOOT, refusal: str | None = "UNKNOWN_SHAFT") -> bytes:
    """Return the frame of a reply."""
    return framed(sequence, datum("Reply", {"boot": boot, "to_sequence": to, "refusal": refusal, "field": ""}))


def said(boot: int = BOOT, tick_us: int = 5) -> Event:
    return Event(boot, tick_us, State.IDLE, State.HOMING, None)


def heard(sequence: int = 7) -> FramedStream:
    """Return a line on which an event of the first start came."""
    line = FramedStream()
    assert line.receive(event(sequence)) == [said()]
    return line


def asked(line: FramedStream) -> int:
    """Ask who speaks and return the number of the request whose reply proves it."""
    line.outgoing()
    line.ask_who_speaks()
    (proof, request), (_, greeting) = unframed(line.outgoing())
    assert (record(request), record(greeting)[0]) == (("Resend", {"shaft": 0, "blocks": []}), "Greet")
    return proof


@pytest.mark.parametrize(("ahead", "lost"), [(1, 0), (2, 1), (LARGEST_LEAP, LARGEST_LEAP - 1)])
def test_a_frame_of_the_known_start_that_is_ahead_is_new_at_once(ahead: int, lost: int) -> None:
    for first in (7, SEQUENCES - 1):
        line = heard(first)
        assert line.receive(event(first + ahead)) == [said()]
        assert (line.lost, line.old) == (lost, 0)


@pytest.mark.parametrize("behind", [0, 1, 1000, SEQUENCES // 2])
def test_a_frame_that_is_not_ahead_is_old(behind: int) -> None:
    line = heard()
    assert line.receive(event(7 - behind)) == []
    assert line.old == 1
    assert line.doubts()


def test_a_start_never_heard_of_is_asked_about_once_and_proven_by_the_reply() -> None:
    line = heard(9000)
    assert line.receive(event(0, NEXT)) == [Unproven()]
    proof = asked(line)
    assert line.receive(event(1, NEXT)) == []  # the question is open
    assert line.receive(reply(2, proof, NEXT, "WRONG_PROTOCOL") + event(3, NEXT)) == [said(NEXT)]
    assert not line.doubts()
    assert line.receive(event(9001) + event(9002)) == []  # of the start before
    assert line.old == 2


def test_a_start_never_heard_of_that_is_a_repetition_changes_nothing() -> None:
    line = heard()
    assert line.receive(event(4000, NEXT)) == [Unproven()]
    proof = asked(line)
    assert line.receive(reply(8, proof) + event(9)) == [said()]
    assert line.receive(event(4001, NEXT)) == [Unproven()]
    assert (line.lost, line.old) == (0, 0)


def test_a_frame_too_far_ahead_is_asked_about() -> None:
    line = heard()
    far = 7 + LARGEST_LEAP + 1
    assert line.receive(event(far)) == [Unproven()]
    assert line.receive(event(8)) == [said()]  # it was a repetition from before the numbers went round
    assert line.receive(event(far + 1)) == [Unproven()]
    assert line.receive(reply(far + 2, asked(line)) + event(far + 3)) == [said()]


def test_who_speaks_is_asked_before_a_request_is_repeated_until_it_is_answered_and_then_every_other_time() -> None:
    line = heard()
    assert not line.doubts()
    line.receive(event(7))
    assert line.doubts()
    first = asked(line)
    assert line.doubts()  # no answer came
    proof = asked(line)
    assert line.receive(reply(8, first)) != []  # the answer to a question that was asked again proves nothing
    line.receive(reply(9, proof) + event(7))
    assert [line.doubts(), line.doubts()] == [False, True]


def test_a_new_greeting_lets_an_open_question_go() -> None:
    line = heard()
    assert line.receive(event(0, NEXT)) == [Unproven()]
    proof = asked(line)
    line.send(greeting())
    assert line.receive(event(1, NEXT)) == [Unproven()]
    assert line.receive(reply(2, proof, NEXT)) == [Unproven()]  # too late


def test_a_version_that_cannot_be_read_is_always_told_and_changes_nothing() -> None:
    line = heard(9000)
    foreign = b"\0\x02\x06" + bytes(range(8)) + b"\xff\xff"
    for sequence in (9001, 3):
        assert line.receive(framed(sequence, foreign)) == [(1, 3, bytes(range(8)))]
    assert line.receive(event(9001)) == [said()]


def test_bytes_that_are_no_record_have_no_start_and_move_nothing() -> None:
    line = heard()
    (error,) = line.receive(framed(20, b"\x7e"))
    assert isinstance(error, ProtocolError)
    assert line.receive(framed(6, b"\x7e")) == []
    assert line.receive(event(8)) == [said()]
    assert line.lost == 0


@given(st.data())
def test_of_a_line_that_loses_and_repeats_nothing_old_is_taken_and_nothing_new_is_dropped(data: st.DataObject) -> None:
    """Frames come in their order, some are lost, and after each any earlier frames of both starts come again."""
    gauge, sent, came, lost = Succession(), [], [], 0
    for boot in (BOOT, NEXT):
        first = data.draw(st.integers(0, SEQUENCES - 1))
        for number in range(data.draw(st.integers(1, 12))):
            frame = (first + number) % SEQUENCES, boot
            if boot == NEXT and number == 0:
                gauge.believe(*frame)  # its reply proved it
            elif number and data.draw(st.booleans()):
                lost += 1
                sent.append(frame)
                continue
            else:
                assert gauge.standing(*frame) is FrameNews.NEW
                lost, came = 0, [*came, lost]
            sent.append(frame)
            for again in data.draw(st.lists(st.sampled_from(sent), max_size=3)):
                assert gauge.standing(*again) is FrameNews.OLD
        lost = 0
    assert gauge.lost == sum(came)


def test_the_memory_of_a_gauge_is_copied_whole() -> None:
    gauge = Succession(sent=5)
    gauge.standing(7, BOOT)
    copy = gauge.copy()
    copy.believe(0, NEXT)
    assert (copy.sent, copy.standing(8, BOOT)) == (5, FrameNews.OLD)
    assert gauge.standing(8, BOOT) is FrameNews.NEW


def test_a_reply_to_another_request_proves_nothing() -> None:
    line = heard()
    line.receive(event(0, NEXT))
    proof = asked(line)
    assert line.receive(reply(3, (proof + 1) % SEQUENCES, NEXT)) == []
    other = (proof + 1) % SEQUENCES
    assert line.receive(reply(8, other)) == [Reply(BOOT, other, Refusal.UNKNOWN_SHAFT, "")]
    assert line.doubts()
