"""Every limit of an archive from both sides: a run's values, room for blocks, numbers and schemas of foreign files.

Bytes of files are put together by hand after the Apache Avro specification 1.11 ("Object Container Files"), or by
fastavro, which knows nothing of Midspan.
"""

import json
from dataclasses import fields, replace
from datetime import UTC, datetime, timedelta
from io import BytesIO

import fastavro
import numpy as np
import pytest
from midspan.archive import avro_container, raw_run_codec
from midspan.archive.avro_container import Block, Gap
from midspan.archive.raw_run import Phase, RawRun
from midspan.archive.reader import Archive, read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError, ArchiveGone
from midspan.wire.schema import raw_run_schema
from test_archive import KEPT, MARKER, a_run, stored

LARGEST_BLOCK_BYTES = 4 << 20


def long_bytes(number):
    """Return an Avro long: zig-zag, then 7 bits in each byte, least significant first."""
    code, out = (number << 1) ^ (number >> 63), bytearray()
    while code > 127:
        out.append(code & 127 | 128)
        code >>= 7
    return bytes([*out, code])


# --- a run's values

YEAR_3000_MS = (datetime(3000, 1, 1, tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)
# Field, lowest and highest value; microseconds of 11 days, changes of 32 bits added up.
SCALARS = [("shaft", 0, 2**31 - 1), ("started_ms", 0, YEAR_3000_MS)]
COLUMNS = [("rotate_steps", 2**40), ("press_steps", 2**40), ("counts", 2**40), ("tick_us", 10**12)]
TEXTS = ("label", "gauge", "firmware", "runtime", "cause")


@pytest.mark.parametrize(("name", "lowest", "highest"), SCALARS)
def test_shaft_and_time_are_taken_up_to_both_ends_and_not_beyond(name, lowest, highest):
    for value in (lowest, highest):
        assert getattr(replace(a_run(), **{name: value}), name) == value
    for value in (lowest - 1, highest + 1):
        with pytest.raises(ArchiveError):
            replace(a_run(), **{name: value})


@pytest.mark.parametrize(("name", "most"), COLUMNS)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_column_is_taken_up_to_its_limit_and_not_beyond(name, most, sign):
    assert getattr(replace(a_run(), **{name: np.array([0, 0, 0, 0, 0, sign * most])}), name)[-1] == sign * most
    with pytest.raises(ArchiveError):
        replace(a_run(), **{name: np.array([0, 0, 0, 0, 0, sign * (most + 1)])})


@pytest.mark.parametrize("name", TEXTS)
def test_a_text_is_taken_up_to_200_characters(name):
    assert getattr(replace(a_run(), **{name: "x" * 200}), name) == "x" * 200
    with pytest.raises(ArchiveError):
        replace(a_run(), **{name: "x" * 201})


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"segments": ((-1, 3), (1, 3))}, "phase_unknown"),
        ({"segments": ((len(Phase), 3), (1, 3))}, "phase_unknown"),
        ({"segments": ((0, 7), (1, -1))}, "phase_repeated"),
        ({"tick_us": np.arange(-1, 5)}, "times"),
        *(({name: np.zeros(5, np.int64)}, "columns") for name in ("tick_us", "rotate_steps", "press_steps", "counts")),
    ],
)
def test_a_run_that_contradicts_itself_says_by_what(change, code):
    with pytest.raises(ArchiveError) as caught:
        replace(a_run(), **change)
    assert caught.value.code == code


def test_a_run_of_all_phases_or_of_none_can_be_made():
    last = max(Phase)
    run = replace(a_run(), segments=((last, 5), (Phase.ZERO_BEFORE, 1)))
    assert (run.phase_slice(last), run.phase_slice(Phase.ZERO_BEFORE)) == (slice(0, 5), slice(5, 6))
    nothing = np.zeros(0, np.int64)
    empty = replace(
        a_run(), segments=(), tick_us=nothing, rotate_steps=nothing, press_steps=nothing, counts=nothing,
        status=nothing.astype(np.int16),
    )  # fmt: skip
    assert (len(empty), empty.places()) == (0, {})
    assert raw_run_codec.decode(raw_run_codec.encode(empty)) == empty


def test_runs_are_equal_if_every_field_is():
    run = a_run()
    for field in fields(RawRun):
        value = getattr(run, field.name)
        other = {
            "segments": ((Phase.ZERO_BEFORE, 3), (Phase.LIGHT, 3)), "complete": True, "cause": None,
            "tick_us": run.tick_us * 2, "marks": run.marks[:1],
        }  # fmt: skip
        if field.name not in other:
            other[field.name] = value + "x" if isinstance(value, str) else value + 1
        assert replace(run, **{field.name: other[field.name]}) != run, field.name
    assert run.__eq__("a run") is NotImplemented


def test_a_run_is_named_by_number_and_label():
    assert (a_run(7).name, a_run(7, label="a7").name) == ("shaft 7", "shaft 7 (a7)")


# --- numbers


@pytest.mark.parametrize("number", [2**31 - 1, -(2**31), 2**30, 64, -65, 8191, -8193, 0])
def test_numbers_of_one_to_five_bytes_are_those_of_fastavro(number):
    out = BytesIO()
    fastavro.schemaless_writer(out, "int", number)
    assert long_bytes(number) == out.getvalue()
    around = b"\x04" + out.getvalue() + b"\x03"
    assert raw_run_codec.varints(np.frombuffer(around, np.uint8)).tolist() == [2, number, -2]


@pytest.mark.parametrize("name", ["boot", "count_min", "count_max", "duration_ms", "sampling_ms", "interval_us"])
def test_a_number_of_32_bits_is_stored_and_a_larger_one_is_not(name):
    for value in (2**31 - 1, -(2**31)):
        assert getattr(raw_run_codec.decode(raw_run_codec.encode(one_reading(**{name: value}))), name) == value
    for value in (2**31, -(2**31) - 1):
        with pytest.raises(ArchiveError):
            raw_run_codec.encode(one_reading(**{name: value}))


def one_reading(**changes):
    """Return a run of one reading: no change of time, so that any interval fits."""
    column = np.zeros(1, np.int64)
    columns = dict.fromkeys(("tick_us", "rotate_steps", "press_steps", "counts"), column)
    return replace(a_run(), segments=((Phase.LIGHT, 1),), status=np.zeros(1, np.int16), **columns | changes)


@pytest.mark.parametrize("name", ["rotate_steps", "press_steps", "counts", "marks"])
def test_a_change_or_mark_of_32_bits_is_stored_and_a_larger_one_is_not(name):
    for value in (2**31 - 1, -(2**31)):
        kept = raw_run_codec.decode(raw_run_codec.encode(one_reading(**{name: np.array([value])})))
        assert getattr(kept, name).tolist() == [value]
    for value in (2**31, -(2**31) - 1):
        with pytest.raises(ArchiveError):
            raw_run_codec.encode(one_reading(**{name: np.array([value])}))


def record(**changes):
    return raw_run_codec.to_record(a_run()) | changes


@pytest.mark.parametrize(("reading", "status"), [(-1, 1), (6, 1), (0, -1), (0, 2**15)])
def test_a_status_of_no_reading_or_of_too_many_bits_is_refused(reading, status):
    with pytest.raises(ArchiveError):
        raw_run_codec.from_record(record(unusual=[{"reading": reading, "status": status}]))


@pytest.mark.parametrize(("reading", "status"), [(5, 1), (0, 2**15 - 1), (0, 0)])
def test_a_status_of_the_last_reading_and_of_all_bits_is_kept(reading, status):
    run = raw_run_codec.from_record(record(unusual=[{"reading": reading, "status": status}]))
    assert run.status.tolist() == [status if number == reading else 0 for number in range(6)]


def test_a_record_of_another_library_has_its_time_as_number_or_as_date():
    when = datetime(2023, 11, 14, 22, 13, 20, 123_000, tzinfo=UTC)
    assert raw_run_codec.from_record(record(started_ms=when)) == a_run()  # 1_700_000_000_123 ms
    with pytest.raises(ArchiveError):
        raw_run_codec.from_record(record(counts=[1, 2]))


# --- blocks


def walked(path, body, is_whole=lambda _: False):
    """Return the parts of a file that has the header of an archive before a body."""
    header = stored(path).read_bytes()
    path.write_bytes(header + body)
    with path.open("rb") as file:
        found = avro_container.read_header(file, "a")
        assert (found.length, found.marker) == (len(header), MARKER)
        parts = list(avro_container.walk(file, found, is_whole))
    return [replace(part, offset=part.offset - len(header), end=part.end - len(header)) for part in parts]


def block(datums, count=1):
    return long_bytes(count) + long_bytes(len(datums)) + datums + MARKER


@pytest.fixture
def path(tmp_path):
    """Return the place of an archive that does not exist yet."""
    return tmp_path / "batch.avro"


def test_a_block_is_its_count_its_size_its_datums_and_the_marker(path):
    assert avro_container.block_bytes(b"abc", MARKER) == block(b"abc")
    body = block(b"abc") + block(b"", count=300)
    first = len(block(b"abc"))
    assert walked(path, body) == [Block(0, first, 1, b"abc", True), Block(first, len(body), 300, b"", True)]


def test_a_block_gets_room_up_to_4_mib_and_no_more(path):
    largest, larger = block(bytes(LARGEST_BLOCK_BYTES)), block(bytes(LARGEST_BLOCK_BYTES + 1))
    assert [type(part) for part in walked(path, largest)] == [Block]
    path.unlink()
    assert walked(path, larger) == [Gap(0, len(larger), False)]


@pytest.mark.parametrize(
    "start", [long_bytes(1) + long_bytes(-1), b"\xff" * 10 + b"\x01"], ids=["size below 0", "11 bytes"]
)
def test_what_cannot_be_a_block_is_a_gap_up_to_the_next_marker(path, start):
    between = len(start + MARKER)
    body = start + MARKER + block(b"abc")
    assert walked(path, body) == [Gap(0, between, False), Block(between, len(body), 1, b"abc", True)]


def test_a_block_that_says_one_byte_more_than_the_file_has_is_none(path):
    body = long_bytes(1) + long_bytes(17) + bytes(16) + MARKER
    assert walked(path, body, lambda _: True) == [Gap(0, len(body), False)]


def test_a_number_of_ten_bytes_is_one(path):
    """The count of -2**63 takes ten bytes, the most that a long can take."""
    assert len(long_bytes(-(2**63))) == 10
    assert walked(path, block(b"abc", count=-(2**63)))[0].count == -(2**63)


def test_a_block_with_a_damaged_marker_counts_if_its_datums_are_whole(path):
    damaged = block(b"abc")[:-1] + b"\xff"
    asked = []
    parts = walked(path, damaged + block(b"d"), lambda datums: not asked.append(datums))
    assert asked == [b"abc"]
    assert parts[0] == Block(0, len(damaged), 1, b"abc", False)
    assert parts[1].datums == b"d"


@pytest.mark.parametrize("before", [-20, -17, -16, -15, -8, -1, 0, 1])
def test_a_marker_across_two_pieces_of_a_file_is_found(path, before):
    """A file is read 1 MiB at a time: the marker may lie anywhere about the end of a piece."""
    rubbish = b"\xff" * ((1 << 20) + before)
    body = rubbish + MARKER + block(b"abc")
    gap, found = walked(path, body)
    assert (gap.end, gap.torn, found.datums) == (len(rubbish) + 16, False, b"abc")


def test_rubbish_to_the_end_is_torn_however_long_it_is(path):
    for length in (1, 15, 16, (1 << 20) - 1, 1 << 20, (1 << 20) + 1, 3 << 20):
        body = b"\xff" * length
        assert walked(path, body) == [Gap(0, length, True)]


# --- headers


def header_of(schema, **meta):
    """Return the header of a file by fastavro, with other metadata."""
    out = BytesIO()
    data = {"magic": b"Obj\x01", "meta": {"avro.schema": json.dumps(schema).encode()} | meta, "sync": MARKER}
    fastavro.schemaless_writer(out, fastavro.parse_schema(HEADER), data)
    return out.getvalue()


HEADER = {
    "type": "record", "name": "Header", "fields": [
        {"name": "magic", "type": {"type": "fixed", "name": "Magic", "size": 4}},
        {"name": "meta", "type": {"type": "map", "values": "bytes"}},
        {"name": "sync", "type": {"type": "fixed", "name": "Sync", "size": 16}},
    ],
}  # fmt: skip


def read_header(content):
    return avro_container.read_header(BytesIO(content), "a file")


def test_a_header_says_schema_fingerprint_marker_and_length():
    content = header_of("long")
    found = read_header(content + b"more")
    # apache/avro, share/test/data/schema-tests.txt: the schema "long"
    assert found.fingerprint == (-3434872931120570953 % 2**64).to_bytes(8, "little").hex()
    assert (found.schema, found.marker, found.length) == ("long", MARKER, len(content))
    assert read_header(header_of("long", **{"avro.codec": b"null"})).schema == "long"
    with pytest.raises(ArchiveError) as caught:
        read_header(header_of("long", **{"avro.codec": b"deflate"}))
    assert caught.value.code == "compressed"


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"", "header"), (b"Obj", "header"), (b"Obj\x01", "header"), (b"Obj\x02", "not_avro"), (b"P", "not_avro")],
)
def test_a_header_cut_short_is_told_from_another_kind_of_file(content, code):
    with pytest.raises(ArchiveError) as caught:
        read_header(content)
    assert caught.value.code == code


def test_a_header_gets_room_up_to_1_mib():
    room = (1 << 20) - len(header_of("long", about=b"")) - 2  # the length of a long text takes two bytes more
    assert read_header(header_of("long", about=bytes(room))).length == 1 << 20
    with pytest.raises(ArchiveError):
        read_header(header_of("long", about=bytes(room + 1)))


def fields_of(*kinds):
    named = [{"name": f"f{number}", "type": kind} for number, kind in enumerate(kinds)]
    return {"type": "record", "name": "R", "fields": named}


NULLS = {"type": "array", "items": "null"}
FIXED = {"type": "fixed", "name": "F", "size": 0}


@pytest.mark.parametrize(
    "schema",
    [
        NULLS,
        {"type": "array", "items": fields_of("null")},
        {"type": "array", "items": fields_of()},
        {"type": "array", "items": FIXED},
        fields_of("int", NULLS),
        {"type": "map", "values": NULLS},
        ["null", NULLS],
        fields_of(FIXED, {"type": "array", "items": "F"}),
        {
            "type": "record",
            "name": "Q",
            "fields": [*fields_of(fields_of("null"), {"type": "array", "items": "R"})["fields"]],
        },
        fields_of({"type": "array", "items": "R"}),
        fields_of(["null", "R"]),
    ],
)
def test_a_schema_by_which_a_few_bytes_are_any_number_of_values_is_refused(schema):
    with pytest.raises(ArchiveError):
        read_header(header_of(schema))


@pytest.mark.parametrize(
    "schema",
    [
        {"type": "array", "items": "int"},
        {"type": "array", "items": ["null", "int"]},
        {"type": "array", "items": {**FIXED, "size": 1}},
        {"type": "array", "items": {"type": "array", "items": "int"}},
        {"type": "map", "values": "null"},
        {"type": "array", "items": fields_of("null", "double")},
        {"type": "array", "items": {"type": "enum", "name": "E", "symbols": ["A"]}},
        {"type": "array", "items": {"type": "long", "logicalType": "timestamp-millis"}},
        fields_of({**FIXED, "size": 2}, {"type": "array", "items": "F"}),
    ],
)
def test_a_schema_whose_values_take_bytes_is_read(schema):
    assert read_header(header_of(schema)).length == len(header_of(schema))


# --- archives


def test_the_same_readings_are_found_whatever_their_label(path):
    stored(path, *KEPT)
    archive = Archive.open(path)
    offsets = [offset for offset, _ in archive.entries()]
    assert archive.find(replace(KEPT[1], label="other", started_ms=5)) == (offsets[1], KEPT[1])
    for other in (
        {"gauge": "other"}, {"shaft": 9}, {"boot": 9}, {"counts": KEPT[1].counts + 1}, {"tick_us": KEPT[1].tick_us * 2},
    ):  # fmt: skip
        assert archive.find(replace(KEPT[1], **other)) is None


def test_a_file_is_whole_up_to_its_last_block(path):
    whole = stored(path, *KEPT).read_bytes()
    archive = Archive.open(path)
    offsets = [offset for offset, _ in archive.entries()]
    for start in offsets:
        assert archive.whole_bytes(start) == len(whole)
    path.write_bytes(whole[:-1])
    assert archive.whole_bytes(offsets[0]) == archive.whole_bytes(offsets[2]) == offsets[2]
    damaged = bytearray(whole)
    damaged[offsets[1] + 30] ^= 8  # within: the bytes after it are whole all the same
    path.write_bytes(damaged)
    assert archive.whole_bytes(offsets[0]) == len(whole)


def test_damage_side_by_side_is_one_place_and_each_pass_begins_anew(path):
    header = stored(path).read_bytes()
    rubbish = b"\xff" * 20 + MARKER
    path.write_bytes(header + 2 * rubbish + block(raw_run_codec.encode(KEPT[0])) + rubbish)
    archive = Archive.open(path)
    for _ in range(2):
        assert list(archive.runs()) == KEPT[:1]
        assert [(place.path, place.offset) for place in archive.damage] == [
            (path, len(header)), (path, path.stat().st_size - len(rubbish))
        ]  # fmt: skip
        assert archive.damage[0].end == len(header) + 2 * len(rubbish)
        with pytest.raises(ArchiveError):
            archive.check()
    path.write_bytes(header + block(raw_run_codec.encode(KEPT[0])))
    assert list(archive.runs()) == KEPT[:1]
    archive.check()


def test_a_whole_shaft_in_a_damaged_frame_is_read_and_noted(path):
    header = stored(path).read_bytes()
    datum = raw_run_codec.encode(KEPT[0])
    frames = {
        "sound": (block(datum), 0), "marker": (block(datum)[:-1] + b"\xff", 1), "count": (block(datum, count=2), 1),
    }  # fmt: skip
    for name, (content, damages) in frames.items():
        path.write_bytes(header + content)
        archive = Archive.open(path)
        assert list(archive.runs()) == KEPT[:1], name
        assert len(archive.damage) == damages, name
        assert archive.run_at(len(header)) == KEPT[0], name


def test_several_runs_of_another_program_need_exactly_their_bytes(path):
    out = BytesIO()
    for run in KEPT:
        fastavro.schemaless_writer(out, raw_run_schema(), raw_run_codec.to_record(run))
    datums = out.getvalue()
    assert list(raw_run_codec.decode_plain(datums, 3, raw_run_schema())) == KEPT
    for wrong in ((datums + b"\0", 3), (datums, 2), (datums, 4), (datums[:-1], 3)):
        with pytest.raises(ArchiveError):
            list(raw_run_codec.decode_plain(*wrong, raw_run_schema()))


def test_a_crc_counts_only_over_the_bytes_before_it():
    datum = raw_run_codec.encode(KEPT[0])
    assert raw_run_codec.is_guarded(datum)
    assert not raw_run_codec.is_guarded(datum[:-5] + b"\0" + datum[-4:])
    assert not raw_run_codec.is_guarded(datum[:-1])
    assert not raw_run_codec.is_guarded(bytes([datum[0] ^ 1]) + datum[1:])


# --- writing


def test_a_writer_says_its_marker_and_where_the_next_block_will_stand(path):
    with ArchiveWriter(path, MARKER) as writer:
        assert writer.marker == MARKER.hex()
        for run in KEPT:
            assert writer.end == path.stat().st_size
            assert writer.append(run) == path.stat().st_size - len(block(raw_run_codec.encode(run)))
        assert writer.end == path.stat().st_size
    with ArchiveWriter(path) as again:
        assert (again.marker, again.end, again.moved) == (MARKER.hex(), path.stat().st_size, None)


def test_two_new_archives_have_different_markers(tmp_path):
    with ArchiveWriter(tmp_path / "a.avro") as first, ArchiveWriter(tmp_path / "b.avro") as second:
        assert len({first.marker, second.marker}) == 2
        assert len(bytes.fromhex(first.marker)) == 16


@pytest.mark.parametrize("harm", ["moved", "replaced", "cut", "longer"])
def test_a_file_that_another_program_touched_is_gone_for_its_writer(path, harm):
    stored(path, KEPT[0])
    with ArchiveWriter(path) as writer:
        writer.check_place()
        content = path.read_bytes()
        if harm in ("moved", "replaced"):
            path.rename(path.with_name("elsewhere.avro"))
        if harm == "replaced":
            path.write_bytes(content)
        if harm == "cut":
            path.write_bytes(content[:-1])
        if harm == "longer":
            path.write_bytes(content + b"\0")
        with pytest.raises(ArchiveGone):
            writer.check_place()
        with pytest.raises(ArchiveGone):
            writer.append(KEPT[1])
        if path.exists():
            path.unlink()
        path.with_name("elsewhere.avro").unlink(missing_ok=True)


def test_only_a_torn_header_of_this_version_is_replaced(path):
    header = stored(path).read_bytes()
    for content in (b"Obj\x01rubbish", header[:50] + b"!" + header[51:], header[:-17] + b"x"):
        path.write_bytes(content)
        with pytest.raises(ArchiveError):
            ArchiveWriter(path)
        assert path.read_bytes() == content


def test_reading_tells_of_all_damage_after_the_last_whole_run(path):
    stored(path, *KEPT)
    path.write_bytes(path.read_bytes() + b"\xff")
    runs = read_archive(path)
    assert [next(runs).shaft for _ in KEPT] == [0, 1, 2]
    with pytest.raises(ArchiveError):
        next(runs)
