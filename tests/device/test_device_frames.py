"""The device's frames against the cobs package and zlib, and its decoder against arbitrary lines."""

from __future__ import annotations

import device_rig  # noqa: F401  it sets the path to the device's modules
from frames import FRAME_MAX, HEAD, STUFFED_MAX, TAIL, Decoder, Encoder
from hypothesis import given
from hypothesis import strategies as st
from wire import framed, unframed

DATA = st.one_of(
    st.binary(min_size=1, max_size=300), st.integers(1, FRAME_MAX - HEAD - TAIL).map(lambda n: b"\x01" * n)
)


def encoded(data: list[bytes]) -> bytes:
    """Return the device's frames of some data."""
    encoder, out, stream = Encoder(), bytearray(STUFFED_MAX), b""
    for item in data:
        encoder.raw[HEAD : HEAD + len(item)] = item
        stream += out[: encoder.encode(HEAD + len(item), out, 0)]
    return stream


def decoded(stream: bytes, decoder: Decoder) -> list[tuple[int, bytes]]:
    """Return the frames that the device finds in a stream."""
    found = []
    for byte in stream:
        end = decoder.push(byte)
        if end:
            found.append((decoder.sequence(), bytes(decoder.frame[HEAD:end])))
    return found


@given(st.lists(DATA, max_size=4))
def test_encodes_as_the_cobs_package_does(data: list[bytes]) -> None:
    stream = encoded(data)
    assert stream == b"".join(framed(i, item) for i, item in enumerate(data))
    assert unframed(stream) == list(enumerate(data))


def test_largest_frame_fits_its_buffer() -> None:
    assert len(encoded([b"\x01" * (FRAME_MAX - HEAD - TAIL)])) <= STUFFED_MAX


def test_sequence_goes_round() -> None:
    encoder, out = Encoder(), bytearray(STUFFED_MAX)
    encoder.raw[HEAD] = 7
    for expected in (*range(3), *range(3, 65536, 13107)):
        while encoder._sequence != expected:
            encoder.encode(HEAD + 1, out, 0)
        assert unframed(bytes(out[: encoder.encode(HEAD + 1, out, 0)]))[0][0] == expected
    while encoder._sequence:
        encoder.encode(HEAD + 1, out, 0)
    assert unframed(bytes(out[: encoder.encode(HEAD + 1, out, 0)]))[0][0] == 0


@given(st.lists(st.tuples(st.integers(0, 65535), DATA), max_size=4), st.integers(0, 3))
def test_decodes_what_the_cobs_package_encoded(items: list[tuple[int, bytes]], spare: int) -> None:
    decoder = Decoder()
    stream = b"".join(bytes(spare) + framed(*item) for item in items)  # empty frames between are none
    assert decoded(stream, decoder) == items
    assert decoder.bad == 0


@given(st.binary(max_size=3000), DATA)
def test_garbage_never_raises_and_the_next_frame_is_found(garbage: bytes, data: bytes) -> None:
    decoder = Decoder()
    decoded(garbage + b"\0", decoder)
    assert decoded(framed(5, data), decoder) == [(5, data)]


@given(DATA, st.data())
def test_a_flipped_bit_costs_its_own_frame_only(data: bytes, draw: st.DataObject) -> None:
    stuffed = bytearray(framed(1, data))
    bit = draw.draw(st.integers(0, 8 * (len(stuffed) - 1) - 1))
    stuffed[bit // 8] ^= 1 << bit % 8
    decoder = Decoder()
    assert decoded(bytes(stuffed) + framed(2, data), decoder) == [(2, data)]
    assert decoder.bad >= 1


@given(DATA, st.data())
def test_a_lost_delimiter_costs_two_frames(data: bytes, draw: st.DataObject) -> None:
    cut = draw.draw(st.integers(1, len(framed(1, data)) - 1))
    decoder = Decoder()
    assert decoded(framed(1, data)[:cut] + framed(2, data) + framed(3, data), decoder)[-1] == (3, data)


def test_too_long_frames_are_counted_as_bad() -> None:
    decoder = Decoder()
    assert decoded(framed(0, bytes(FRAME_MAX - HEAD - TAIL + 1)), decoder) == []
    assert decoder.bad == 1


@given(st.integers(FRAME_MAX, 3 * FRAME_MAX), DATA)
def test_a_line_without_delimiters_is_one_damaged_frame(size: int, data: bytes) -> None:
    decoder = Decoder()
    assert decoded(bytes([7]) * size + b"\0" + framed(5, data), decoder) == [(5, data)]
    assert decoder.bad == 1


@given(st.lists(st.integers(1, 255).map(lambda n: b"\x01" * n + b"\0"), min_size=6, max_size=12), st.integers(0, 8))
def test_a_body_of_the_largest_size_is_taken_and_no_larger_one(pieces: list[bytes], more: int) -> None:
    body = (b"".join(pieces) * 99)[: FRAME_MAX - HEAD - TAIL + more]
    assert decoded(framed(3, body), Decoder()) == ([] if more else [(3, body)])


def test_frames_without_room_for_a_datum_are_bad() -> None:
    decoder = Decoder()
    assert decoded(framed(0, b""), decoder) == []
    assert decoder.bad == 1
