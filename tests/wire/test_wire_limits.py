"""Every limit of the wire from both sides: numbers and texts against protocol/*.avsc, frames against SPEC.md.

The largest frame is the specification's (1536 bytes before stuffing, of which 6 are number and checksum), what stuffing
adds to it the paper's: one byte, and one more for each full 254 (Cheshire and Baker, 1999).
"""

import zlib
from dataclasses import fields, replace

import pytest
import wire
from cobs import cobs
from make_vectors import READING_COLUMNS, vectors
from midspan.base.errors import ConfigurationError, FrameError, ProtocolError
from midspan.wire import codec, framing, ranges, records, schema
from midspan.wire.readings import check_columns
from midspan.wire.records import FaultCode, HostFault, Phase, Readings, Unusual

LARGEST_BODY = 1536 - 6
LARGEST_STUFFED = 1536 + 7

INTEGERS = {"int": (-(2**31), 2**31 - 1), "long": (-(2**63), 2**63 - 1)}


def kind_of(field):
    """Return the name of the type of a field's values, of its items or of what is there unless it is null."""
    kind = field["type"]
    if isinstance(kind, list):
        kind = kind[1]
    if isinstance(kind, dict) and kind["type"] == "array":
        kind = kind["items"]
    return kind["name"] if isinstance(kind, dict) else kind


def definitions(node=wire.MESSAGE):
    """Yield the definition of every record that a frame may hold, also of those that stand within others."""
    if isinstance(node, list):
        for item in node:
            yield from definitions(item)
    elif isinstance(node, dict):
        if node.get("type") == "record":
            yield node
        for key in ("type", "items", "fields"):
            yield from definitions(node.get(key))


# What a gauge sends, and what stands within it: of those the ranges are checked.
SENT = {source["name"]: source for source in definitions() if source.get("sender") != "host"}
NUMBERS = [
    (
        name,
        field["name"],
        *(field.get(end, INTEGERS[kind_of(field)][side]) for side, end in enumerate(("minimum", "maximum"))),
    )
    for name, source in SENT.items()
    for field in source["fields"]
    if kind_of(field) in INTEGERS and field["name"] not in source.get("keeps", ())  # another version may say more
]
RANGED = [number for number in NUMBERS if number[2:] != INTEGERS["long"]]


def example(name, **changes):
    """Return a record of a name with values in their ranges, but for the changes."""
    source, kind = SENT[name], getattr(records, name)
    values = {field["name"]: sample_of(field) for field in source["fields"]}
    return kind(**values | changes)


def sample_of(field):
    if isinstance(field["type"], dict) and field["type"]["type"] == "array":
        return ()
    if isinstance(field["type"], list):
        return None
    if (kind := kind_of(field)) in INTEGERS:
        return field.get("minimum", 0)
    if kind == "Fingerprint":
        return wire.FINGERPRINT
    return {"string": "", "boolean": False}.get(kind) if kind in ("string", "boolean") else enum_of(kind)(0)


def enum_of(kind):
    return getattr(records, kind.removeprefix("midspan."))


def as_in(name, field, number):
    """Return a number as the field of a record holds it: alone, or in an array."""
    definition = next(item for item in SENT[name]["fields"] if item["name"] == field)
    is_array = isinstance(definition["type"], dict) and definition["type"]["type"] == "array"
    return (number,) if is_array else number


@pytest.mark.parametrize(("name", "field", "lowest", "highest"), RANGED, ids=lambda value: str(value))
def test_a_number_is_taken_up_to_both_ends_of_its_range_and_not_beyond(name, field, lowest, highest):
    for number in (lowest, highest):
        ranges.check_ranges(example(name, **{field: as_in(name, field, number)}))
    for number in (lowest - 1, highest + 1):
        with pytest.raises(ProtocolError):
            ranges.check_ranges(example(name, **{field: as_in(name, field, number)}))


def test_a_part_of_a_record_is_checked_with_it():
    beyond = example("LastRelease", passed=-1)
    for wrong in (
        example("Identify", feeder=example("FeederReport", last_release=beyond)),
        example("Readings", unusual=(Unusual(0, 1), Unusual(0, 16))),
    ):
        with pytest.raises(ProtocolError):
            ranges.check_ranges(wrong)


TEXTS = [
    (name, field["name"], field["maxLength"])
    for name, source in SENT.items()
    for field in source["fields"]
    if "maxLength" in field
]


@pytest.mark.parametrize(("name", "field", "longest"), TEXTS)
def test_a_text_is_taken_up_to_its_length_and_only_if_it_can_be_shown(name, field, longest):
    ranges.check_ranges(example(name, **{field: "x" * longest}))
    for wrong in ("x" * (longest + 1), "\n", "a\x1b[2Jb"):
        with pytest.raises(ProtocolError):
            ranges.check_ranges(example(name, **{field: wrong}))


def test_what_a_frame_says_is_checked_whole():
    """Bytes that are a record may still be none that a gauge can mean."""
    for wrong in (
        example("Identify", protocol_major=records.PROTOCOL_MAJOR, gauge="x" * 33),
        example("Readings", counts=(1,)),
        example("Event", shaft=-1),
    ):
        assert isinstance(codec.said_in(codec.pack(wrong)), ProtocolError)


def test_an_unusual_reading_is_one_of_its_block():
    columns = dict.fromkeys(READING_COLUMNS, (0, 5))
    block = Readings(
        boot=9, shaft=1, block=2, first=3, phase=Phase.FULL, tick_us=4, interval_us=5, unusual=(), marks=(), **columns
    )
    for reading in (0, 1):
        check_columns(replace(block, unusual=(Unusual(reading, 1),)))
    for reading in (-1, 2):
        with pytest.raises(ProtocolError):
            check_columns(replace(block, unusual=(Unusual(0, 1), Unusual(reading, 1))))


# --- frames


def stuffed(plain):
    """Return the stuffed bytes of a frame's plain bytes with a right checksum, by cobs and zlib alone."""
    return cobs.encode(plain + zlib.crc32(plain).to_bytes(4, "little"))


def without_zeros(length):
    """Return bytes of a frame, without its checksum, which hold no zero together with it: stuffing adds the most."""
    for filler in range(1, 256):
        plain = b"\1\1" + bytes([filler]) * (length - 2)
        if 0 not in zlib.crc32(plain).to_bytes(4, "little"):
            return plain
    raise AssertionError("each filler gives a checksum with a zero")


def test_the_largest_frame_passes_and_nothing_larger_does():
    largest = without_zeros(2 + LARGEST_BODY)
    assert len(stuffed(largest)) == LARGEST_STUFFED
    assert framing.encode(0x0101, largest[2:]) == stuffed(largest) + b"\0"
    assert framing.decode(stuffed(largest)) == framing.Frame(0x0101, largest[2:])
    assert framing.Deframer().feed(stuffed(largest) + b"\0") == [framing.Frame(0x0101, largest[2:])]
    with pytest.raises(FrameError):
        framing.encode(0, bytes(LARGEST_BODY + 1))
    too_large = bytes(2 + LARGEST_BODY + 1)  # zeros: stuffing adds so little that the stuffed length passes
    assert len(stuffed(too_large)) <= LARGEST_STUFFED
    with pytest.raises(FrameError):
        framing.decode(stuffed(too_large))


def test_the_smallest_frame_has_a_body_of_one_byte():
    assert framing.decode(framing.encode(65535, b"x")[:-1]) == framing.Frame(65535, b"x")
    with pytest.raises(FrameError):
        framing.encode(0, b"")
    for plain in (b"", b"\1", b"\1\1"):
        with pytest.raises(FrameError):
            framing.decode(stuffed(plain))


def test_a_frame_that_goes_on_beyond_the_largest_is_damage_however_well_it_began():
    largest = stuffed(without_zeros(2 + LARGEST_BODY))
    deframer = framing.Deframer()
    assert deframer.feed(largest) == []
    assert deframer.feed(b"x" * 3000) == []
    (only,) = deframer.feed(b"\0")
    assert isinstance(only, FrameError)
    assert (deframer.frames, deframer.damaged) == (0, 1)


def test_frames_and_damage_are_counted():
    deframer = framing.Deframer()
    deframer.feed(framing.encode(1, b"a") + b"damage\0" + framing.encode(2, b"b") + b"\0\0")
    assert (deframer.frames, deframer.damaged) == (2, 1)
    with pytest.raises(FrameError):
        framing.encode(-1, b"x")
    with pytest.raises(FrameError):
        framing.encode(65536, b"x")


# --- other versions


def identify(**changes):
    """Return the body of an Identify of this version, but for the changes."""
    datum = next(vector["datum"] for vector in vectors()["records"] if vector["record"] == "Identify")
    return wire.datum("Identify", {**datum, "fingerprint": wire.FINGERPRINT} | changes)


def test_a_gauge_of_another_version_is_known_by_number_or_by_schema():
    major, minor = records.PROTOCOL_MAJOR, records.PROTOCOL_MINOR
    assert codec.foreign_version(identify()) is None
    assert codec.foreign_version(identify(protocol_minor=minor + 1)) is None
    assert codec.foreign_version(identify(protocol_major=major + 1, protocol_minor=0)) == (
        major + 1,
        0,
        wire.FINGERPRINT,
    )
    assert codec.foreign_version(identify(fingerprint=bytes(8), protocol_minor=0)) == (major, 0, bytes(8))
    assert codec.foreign_version(wire.datum("Acknowledge", {"shaft": 3})) is None
    assert codec.foreign_version(b"") is None
    with pytest.raises(ProtocolError):
        codec.foreign_version(identify()[:6])
    greeting = codec.greeting()
    assert (greeting.protocol_major, greeting.protocol_minor) == (major, minor)
    assert greeting.fingerprint == schema.fingerprint() == wire.FINGERPRINT


def test_a_start_of_a_gauge_is_known_by_the_boot_number_of_every_record_that_it_sends():
    for name in ("Identify", "Readings", "EndOfShaft", "Event", "Fault", "Reply"):
        assert codec.boot_in(example(name, boot=77)) == 77
    assert codec.boot_in((2, 0, bytes(8))) is None
    assert codec.boot_in(records.Acknowledge(3)) is None
    assert codec.boot_in(ProtocolError("nothing")) is None


def test_schemas_stand_in_the_order_of_the_union_with_every_name_defined_once():
    assert schema.message_source() == wire.MESSAGE
    with pytest.raises(ConfigurationError):
        schema.data_folder("nothing")
    assert schema.version_text(1, 12, bytes(range(8))) == "1.12 (schema 0001020304050607)"


def test_every_fault_has_its_own_words():
    from midspan.wire.fault_texts import describe, fault_texts, host_fault_texts

    assert [fault_texts()[code].text != "" for code in FaultCode] == [True] * len(FaultCode)
    assert set(host_fault_texts()) == set(HostFault)
    assert "0" in describe(FaultCode.STOPPED_BY_HOST, 0)
    assert describe(FaultCode.STOPPED_BY_HOST).count("(") == 0
    assert len(fields(fault_texts()[FaultCode.STOPPED_BY_HOST])) == 5
