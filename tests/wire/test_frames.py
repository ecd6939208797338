"""Frames under arbitrary bytes, cuts and damage, against the cobs package and zlib."""

import re
import zlib

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st
from midspan.base.errors import FrameError
from midspan.wire import framing
from midspan.wire.framing import Deframer, Frame

bodies = st.binary(min_size=1, max_size=200)
sequences = st.integers(0, framing.SEQUENCES - 1)
sent = st.lists(st.builds(Frame, sequences, bodies), min_size=1, max_size=6)


def on_the_line(items: list[Frame]) -> bytes:
    return b"".join(framing.encode(item.sequence, item.body) for item in items)


@given(sequences, st.binary(min_size=1, max_size=framing.LARGEST_BODY))
def test_a_frame_is_what_its_definition_says(sequence: int, body: bytes) -> None:
    plain = sequence.to_bytes(2, "little") + body
    expected = cobs.encode(plain + zlib.crc32(plain).to_bytes(4, "little")) + b"\0"
    assert framing.encode(sequence, body) == expected
    assert expected.count(0) == 1
    assert Deframer().feed(expected) == [Frame(sequence, body)]


@given(sent, st.data())
def test_every_split_gives_the_same_frames(items: list[Frame], data: st.DataObject) -> None:
    line = on_the_line(items)
    cuts = sorted(data.draw(st.lists(st.integers(0, len(line)), max_size=8)))
    deframer = Deframer()
    found = []
    for start, end in zip([0, *cuts], [*cuts, len(line)], strict=True):
        found += deframer.feed(line[start:end])
    assert found == items
    assert (deframer.frames, deframer.damaged) == (len(items), 0)


@given(sent)
def test_byte_by_byte_gives_the_same_frames(items: list[Frame]) -> None:
    deframer = Deframer()
    assert [f for byte in on_the_line(items) for f in deframer.feed(bytes([byte]))] == items


@given(st.lists(st.binary(max_size=3000), max_size=5))
def test_any_bytes_never_raise_and_are_forgotten(chunks: list[bytes]) -> None:
    deframer = Deframer()
    for chunk in chunks:
        deframer.feed(chunk)
    deframer.feed(b"\0")
    after = Frame(9, b"after")
    assert deframer.feed(framing.encode(after.sequence, after.body)) == [after]


@given(sent, st.data())
def test_one_wrong_byte_never_gives_a_wrong_frame(items: list[Frame], data: st.DataObject) -> None:
    """Change a byte: a burst of at most 8 bits, or a delimiter gained or lost that cuts or joins frames."""
    line = bytearray(on_the_line(items))
    where = data.draw(st.integers(0, len(line) - 1))
    line[where] ^= data.draw(st.integers(1, 255))
    deframer = Deframer()
    found = deframer.feed(bytes(line) + b"\0")
    good = [item for item in found if isinstance(item, Frame)]
    remaining = iter(items)
    assert all(item in remaining for item in good)  # only frames that were sent arrive, in their order
    assert len(good) >= len(items) - 2
    assert deframer.damaged >= 1 or good == items


@given(bodies, st.data())
def test_a_cut_frame_is_damage_and_the_next_one_comes(body: bytes, data: st.DataObject) -> None:
    whole = framing.encode(1, body)
    cut = data.draw(st.integers(1, len(whole) - 2))
    first, second = Deframer().feed(whole[:cut] + b"\0" + framing.encode(2, body))
    assert isinstance(first, FrameError)
    assert second == Frame(2, body)


def test_noise_without_a_delimiter_is_not_kept() -> None:
    deframer = Deframer()
    for _ in range(1000):
        assert deframer.feed(b"\x55" * 1000) == []
    assert len(deframer._partial) <= framing.LARGEST_STUFFED + 1
    (only,) = deframer.feed(b"\0")
    assert isinstance(only, FrameError)
    assert str(framing.LARGEST_STUFFED) in str(only)
    assert deframer.damaged == 1


@pytest.mark.parametrize("body", [b"", bytes(framing.LARGEST_BODY + 1)])
def test_a_body_that_is_empty_or_too_large_is_refused(body: bytes) -> None:
    with pytest.raises(FrameError) as caught:
        framing.encode(0, body)
    assert {str(len(body)), str(framing.LARGEST_BODY)} <= set(re.findall(r"\d+", str(caught.value)))


@pytest.mark.parametrize("sequence", [-1, 65536])
def test_a_sequence_number_out_of_range_is_refused(sequence: int) -> None:
    with pytest.raises(FrameError) as caught:
        framing.encode(sequence, b"x")
    assert str(sequence) in str(caught.value)
