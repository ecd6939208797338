"""Archives of raw runs under truncation, flipped bits and foreign files, and read and written by another program.

They are held to the Apache Avro specification 1.11 (its published zig-zag numbers) and to fastavro, an implementation
that knows nothing of Midspan.
"""

import json
import re
import resource
import tracemalloc
import zlib
from contextlib import suppress
from dataclasses import replace
from io import BytesIO
from pathlib import Path

import fastavro
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from midspan.archive import avro_container, raw_run_codec
from midspan.archive.raw_run import (
    COLDEST_CENTI,
    HIGHEST_SHAFT,
    HOTTEST_CENTI,
    LATEST_MS,
    LONGEST_TEXT,
    PHASES,
    Phase,
    RawRun,
)
from midspan.archive.reader import Archive, read_archive
from midspan.archive.writer import ArchiveWriter
from midspan.base.errors import ArchiveError
from midspan.wire.schema import raw_run_schema, record_source
from places import ROOT

MARKER = bytes(range(16))
QUICK = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
texts = st.text(max_size=LONGEST_TEXT)
int32 = st.integers(-(2**31), 2**31 - 1)


def a_run(shaft: int = 1, length: int = 6, label: str = "") -> RawRun:
    """Return a short run whose numbers need one to four bytes each."""
    reading = np.arange(length, dtype=np.int64)
    status = np.zeros(length, np.int16)
    status[:2] = 1
    return RawRun(
        shaft=shaft, label=label, started_ms=1_700_000_000_123, gauge="bench", firmware="0.1", runtime="none",
        boot=77, count_min=-8388608, count_max=8388607, complete=False, cause="NO_CONTACT", duration_ms=75,
        sampling_ms=60, interval_us=12500, segments=((Phase.ZERO_BEFORE, 2), (Phase.LIGHT, length - 2)),
        tick_us=reading * 12507, rotate_steps=9000 + reading * 21, press_steps=reading * reading,
        counts=(-1) ** reading * 40_000 * reading + shaft, status=status, marks=np.array([9001, 12201]),
        temperature_centi=2130, temperature_source="SHAFT",
    )  # fmt: skip


@st.composite
def runs(draw: st.DrawFn) -> RawRun:
    """Draw any run that the schema can hold, with empty and full-range columns among them."""
    phases = draw(st.lists(st.sampled_from(range(len(PHASES))), unique=True))
    segments = tuple((phase, draw(st.integers(1, 9))) for phase in phases)
    length = sum(readings for _, readings in segments)
    interval_us = draw(st.integers(1, 2**31 - 1))

    def column(numbers: st.SearchStrategy[int]) -> np.ndarray:
        return np.array(draw(st.lists(numbers, min_size=length, max_size=length)), np.int64)

    lateness_us = column(int32)
    lateness_us[:1] = -interval_us
    return RawRun(
        shaft=draw(st.integers(0, HIGHEST_SHAFT)), label=draw(texts), started_ms=draw(st.integers(0, LATEST_MS)),
        gauge=draw(texts), firmware=draw(texts), runtime=draw(texts), boot=draw(int32),
        count_min=draw(int32), count_max=draw(int32), complete=draw(st.booleans()),
        cause=draw(st.none() | texts), duration_ms=draw(int32), sampling_ms=draw(int32),
        interval_us=interval_us, segments=segments, tick_us=np.cumsum(lateness_us + interval_us),
        rotate_steps=np.cumsum(column(int32)), press_steps=np.cumsum(column(int32)),
        counts=np.cumsum(column(int32)), status=column(st.integers(0, 15)).astype(np.int16),
        marks=np.array(draw(st.lists(int32)), np.int64),
        temperature_centi=draw(st.none() | st.integers(COLDEST_CENTI, HOTTEST_CENTI)),
        temperature_source=draw(st.none() | texts),
    )  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "batch.avro"


def stored(path: Path, *stored_runs: RawRun) -> Path:
    with ArchiveWriter(path, MARKER) as writer:
        for run in stored_runs:
            writer.append(run)
    return path


def recovered(path: Path) -> tuple[list[RawRun], Archive]:
    archive = Archive.open(path)
    return list(archive.runs()), archive


# --- numbers and records


def test_numbers_as_the_avro_specification_prints_them() -> None:
    # Apache Avro specification 1.11, "Binary encoding", table of zig-zag numbers.
    published = {"00": 0, "01": -1, "02": 1, "03": -2, "04": 2, "7f": -64, "80 01": 64}
    stream = np.frombuffer(bytes.fromhex("".join(published)), np.uint8)
    assert raw_run_codec.varints(stream).tolist() == list(published.values())


@QUICK
@given(st.lists(int32 | st.integers(-70, 70)))
def test_numbers_as_fastavro_writes_them(numbers: list[int]) -> None:
    out = BytesIO()
    for number in numbers:
        fastavro.schemaless_writer(out, "int", number)
    assert raw_run_codec.varints(np.frombuffer(out.getvalue(), np.uint8)).tolist() == numbers


@pytest.mark.parametrize(("stream", "code"), [("00 80", "number_cut"), ("80 80 80 80 80 01", "number_long")])
def test_a_number_that_is_cut_or_too_long_is_refused(stream: str, code: str) -> None:
    with pytest.raises(ArchiveError) as caught:
        raw_run_codec.varints(np.frombuffer(bytes.fromhex(stream), np.uint8))
    assert caught.value.code == code


@pytest.mark.slow
@QUICK
@given(runs())
def test_a_datum_is_what_fastavro_writes_and_reads(run: RawRun) -> None:
    datum = raw_run_codec.encode(run)
    record = fastavro.schemaless_reader(BytesIO(datum), raw_run_schema(), None)
    out = BytesIO()
    fastavro.schemaless_writer(out, raw_run_schema(), record)
    assert out.getvalue() == datum
    assert raw_run_codec.is_guarded(datum)
    assert raw_run_codec.decode(datum) == raw_run_codec.from_record(record) == run


@pytest.mark.parametrize("field", ["boot", "count_min", "duration_ms"])
def test_a_number_over_32_bits_is_refused_and_nothing_stored(path: Path, field: str) -> None:
    before = stored(path, a_run()).read_bytes()
    with ArchiveWriter(path) as writer, pytest.raises(ArchiveError) as caught:
        writer.append(replace(a_run(), **{field: 2**31}))
    assert caught.value.code == "number_long"
    assert path.read_bytes() == before


def test_a_change_over_32_bits_is_refused() -> None:
    counts = np.array([0, 0, 0, 0, -(2**31), 2**31])
    with pytest.raises(ArchiveError) as caught:
        raw_run_codec.encode(replace(a_run(), counts=counts))
    assert caught.value.code == "number_long"


def test_text_that_is_not_unicode_is_refused() -> None:
    with pytest.raises(ArchiveError) as caught:
        raw_run_codec.encode(replace(a_run(), label="\ud800"))
    assert caught.value.code == "schema"


# --- raw runs


def test_phases_are_those_of_the_protocol() -> None:
    symbols = json.loads((ROOT / "protocol" / "phase.avsc").read_text())["symbols"]
    assert list(PHASES) == symbols


@pytest.mark.parametrize(
    ("change", "code", "named"),
    [
        ({"counts": np.arange(5)}, "columns", "counts 5"),
        ({"status": np.zeros(7, np.int16)}, "columns", "status 7"),
        ({"segments": ((0, 5),)}, "segments", "6"),
        ({"segments": ((0, 3), (99, 3))}, "phase_unknown", "99"),
        ({"segments": ((0, 3), (0, 3))}, "phase_repeated", "ZERO_BEFORE"),
        ({"segments": ((0, 6), (1, 0))}, "phase_repeated", "APPROACH"),
        ({"tick_us": np.arange(1, 7)}, "times", "shaft 1"),
    ],
)
def test_a_run_that_contradicts_itself_cannot_be_made(change: dict, code: str, named: str) -> None:
    with pytest.raises(ArchiveError) as caught:
        replace(a_run(), **change)
    assert caught.value.code == code
    assert named in str(caught.value)


@pytest.mark.slow
@QUICK
@given(runs())
def test_phase_slices_cover_the_columns_once(run: RawRun) -> None:
    parts = [run.phase_slice(phase) for phase, _ in run.segments]
    covered = [reading for part in parts if part for reading in range(part.start, part.stop)]
    assert covered == list(range(len(run)))
    assert [part and part.stop - part.start for part in parts] == [readings for _, readings in run.segments]
    absent = set(range(len(PHASES))) - {phase for phase, _ in run.segments}
    assert all(run.phase_slice(phase) is None for phase in absent)


def test_runs_differ_by_a_single_value() -> None:
    run, other = a_run(), a_run()
    assert run == other
    other.counts[3] += 1
    assert run != other
    assert run != "a run"


# --- whole files


def read_plain(path: Path) -> list[RawRun]:
    """Return the runs of a file as fastavro's own reader finds them, number by number."""
    with path.open("rb") as file:
        return [raw_run_codec.from_record(record) for record in fastavro.reader(file)]


@pytest.mark.slow
@QUICK
@given(st.lists(runs(), max_size=4))
def test_what_was_stored_comes_back_from_both_readers(tmp_path: Path, kept: list[RawRun]) -> None:
    path = tmp_path / "batch.avro"
    path.unlink(missing_ok=True)
    stored(path, *kept)
    assert list(read_archive(path)) == read_plain(path) == kept


def test_each_append_adds_one_block_and_changes_nothing_before(path: Path) -> None:
    sizes = [len(stored(path).read_bytes())]
    for shaft in range(3):
        before = path.read_bytes()
        stored(path, a_run(shaft))
        assert path.read_bytes().startswith(before)
        sizes.append(path.stat().st_size)
    with path.open("rb") as file:
        assert [block.num_records for block in fastavro.block_reader(file)] == [1, 1, 1]
    assert [offset for offset, _ in Archive.open(path).entries()] == sizes[:-1]


def test_a_run_is_found_again_by_its_offset(path: Path) -> None:
    with ArchiveWriter(path) as writer:
        offsets = [writer.append(a_run(shaft)) for shaft in range(3)]
    archive = Archive.open(path)
    assert [archive.run_at(offset).shaft for offset in reversed(offsets)] == [2, 1, 0]
    for wrong in (offsets[1] + 1, path.stat().st_size):
        with pytest.raises(ArchiveError) as caught:
            archive.run_at(wrong)
        assert caught.value.code == "no_run"
        assert str(wrong) in str(caught.value)


def test_a_file_that_another_program_wrote_is_read(path: Path) -> None:
    kept = [a_run(shaft) for shaft in range(5)]
    with path.open("wb") as file:  # several runs a block, no CRC-32
        fastavro.writer(file, raw_run_schema(), [raw_run_codec.to_record(run) for run in kept])
    assert list(read_archive(path)) == kept


def test_rewriting_a_file_with_another_program_keeps_the_crc_right(path: Path, tmp_path: Path) -> None:
    stored(path, *(a_run(shaft) for shaft in range(3)))
    copy = tmp_path / "copy.avro"
    with path.open("rb") as source, copy.open("wb") as file:
        fastavro.writer(file, raw_run_schema(), fastavro.reader(source))
    assert list(read_archive(copy)) == list(read_archive(path))
    damaged = bytearray(copy.read_bytes())
    damaged[-16 - 20] ^= 1  # a count of the last run
    copy.write_bytes(damaged)
    kept, archive = recovered(copy)
    assert [run.shaft for run in kept] == [0, 1]
    assert len(archive.damage) == 1
    assert "CRC-32" in archive.damage[0].reason


@pytest.mark.slow
def test_memory_does_not_grow_with_the_file(path: Path) -> None:
    body_start = stored(path).stat().st_size
    stored(path, *(a_run(shaft, 1400) for shaft in range(4)))
    body = path.read_bytes()[body_start:]
    peaks = []
    for copies in (200, 400):  # both are longer than the piece that is read at a time
        with path.open("ab") as file:
            file.write(body * copies)
        tracemalloc.start()
        assert sum(len(run) for run in read_archive(path)) % 5600 == 0
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    assert path.stat().st_size > 4 * avro_container.PIECE_BYTES
    assert peaks[1] < 1.1 * peaks[0]


# --- damage


KEPT = [a_run(shaft, 6, "abc") for shaft in range(3)]


@pytest.mark.slow
def test_every_truncation_gives_all_whole_runs(path: Path) -> None:
    whole = stored(path, *KEPT).read_bytes()
    ends = [offset for offset, _ in Archive.open(path).entries()] + [len(whole)]
    for length in range(len(whole)):
        path.write_bytes(whole[:length])
        if length < ends[0]:
            with pytest.raises(ArchiveError) as caught:
                list(read_archive(path))
            assert caught.value.code == "header"
            assert "batch.avro" in str(caught.value)
            continue
        expected = sum(length >= end for end in ends[1:])
        kept, archive = recovered(path)
        assert kept == KEPT[:expected]
        assert [damage.offset for damage in archive.damage] == ([] if length in ends else [ends[expected]])


@pytest.mark.slow
def test_every_truncation_of_a_run_is_moved_aside_and_appending_goes_on(path: Path) -> None:
    whole = stored(path, *KEPT[:2]).read_bytes()
    first, second = (offset for offset, _ in Archive.open(path).entries())
    for length in range(first, len(whole)):
        path.write_bytes(whole[:length])
        end = second if length >= second else first
        with ArchiveWriter(path) as writer:
            writer.append(KEPT[2])
        assert list(read_archive(path)) == [*KEPT[: int(end == second)], KEPT[2]]
        if length == end:
            assert writer.moved is None
        else:
            assert writer.moved is not None
            assert writer.moved.path.read_bytes() == whole[end:length]
            assert str(length - end) in str(writer.moved)
            writer.moved.path.unlink()


@pytest.mark.parametrize("length", [0, 1, 4, 100, -17, -16, -1])
def test_a_torn_header_is_moved_aside(path: Path, length: int) -> None:
    header = stored(path).read_bytes()
    path.write_bytes(header[:length])
    assert list(read_archive(stored(path, *KEPT))) == KEPT
    torn = path.with_name("batch.avro.torn-1")
    assert (torn.read_bytes() if torn.exists() else b"") == header[:length]


def test_torn_tails_never_replace_each_other(path: Path) -> None:
    stored(path, KEPT[0])
    for number in (1, 2, 3):
        with path.open("ab") as file:
            file.write(bytes([number]) * number)
        with ArchiveWriter(path) as writer:
            assert writer.moved is not None
        assert writer.moved.path.name == f"batch.avro.torn-{number}"
        assert writer.moved.path.read_bytes() == bytes([number]) * number
    assert list(read_archive(path)) == KEPT[:1]


@pytest.mark.slow
def test_every_flipped_bit_after_the_header_is_noticed_and_costs_one_run_at_most(path: Path) -> None:
    whole = stored(path, *KEPT).read_bytes()
    archive = Archive.open(path)
    for bit in range(8 * archive.header.length, 8 * len(whole)):
        damaged = bytearray(whole)
        damaged[bit // 8] ^= 1 << bit % 8
        path.write_bytes(damaged)
        kept = list(archive.runs())
        assert len(kept) >= 2
        assert [run.shaft for run in kept] == sorted(run.shaft for run in kept)
        assert all(run == KEPT[run.shaft] for run in kept)
        assert archive.damage
        assert all(damage.offset <= bit // 8 < damage.end for damage in archive.damage)


@pytest.mark.slow
@settings(QUICK, max_examples=400)
@given(st.data())
def test_a_flipped_bit_in_the_header_refuses_the_file_or_does_no_harm(tmp_path: Path, data: st.DataObject) -> None:
    path = tmp_path / "batch.avro"
    path.unlink(missing_ok=True)
    whole = bytearray(stored(path, *KEPT).read_bytes())
    bit = data.draw(st.integers(0, 8 * Archive.open(path).header.length - 1))
    whole[bit // 8] ^= 1 << bit % 8
    path.write_bytes(whole)
    kept = []
    with suppress(ArchiveError):
        kept.extend(Archive.open(path).runs())
    assert all(run in KEPT for run in kept)


def test_reading_yields_the_whole_runs_and_then_names_the_damage(path: Path) -> None:
    stored(path, *KEPT)
    offsets = [offset for offset, _ in Archive.open(path).entries()]
    damaged = bytearray(path.read_bytes())
    damaged[offsets[1] + 30] ^= 8
    path.write_bytes(damaged)
    yielded = []
    with pytest.raises(ArchiveError) as caught:
        yielded.extend(run.shaft for run in read_archive(path))
    assert all(str(value) in str(caught.value) for value in ("batch.avro", *offsets[1:]))
    kept, archive = recovered(path)
    assert [run.shaft for run in kept] == [0, 2]
    assert [(damage.offset, damage.end) for damage in archive.damage] == [tuple(offsets[1:])]


def test_a_size_made_huge_costs_its_own_run_only(path: Path) -> None:
    whole = stored(path, *KEPT).read_bytes()
    offset = next(Archive.open(path).entries())[0]
    path.write_bytes(whole[: offset + 1] + b"\xff" * 5 + whole[offset + 6 :])
    assert recovered(path)[0] == KEPT[1:]


def test_appending_to_a_file_with_damage_inside_keeps_every_byte(path: Path) -> None:
    damaged = bytearray(stored(path, *KEPT).read_bytes())
    damaged[Archive.open(path).header.length + 40] ^= 1
    path.write_bytes(damaged)
    with ArchiveWriter(path) as writer:
        assert writer.moved is None
        writer.append(a_run(9))
    assert path.read_bytes().startswith(damaged)
    assert [run.shaft for run in recovered(path)[0]] == [1, 2, 9]


def test_a_full_disk_loses_no_stored_run(path: Path) -> None:
    room = stored(path, KEPT[0]).stat().st_size + 50
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    with ArchiveWriter(path) as writer:
        resource.setrlimit(resource.RLIMIT_FSIZE, (room, before[1]))
        try:
            with pytest.raises(ArchiveError) as full:
                writer.append(KEPT[1])
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        with pytest.raises(ArchiveError) as closed:  # by the failure
            writer.append(KEPT[1])
    assert (full.value.code, closed.value.code) == ("not_stored", "not_stored")
    assert "shaft 1 (abc)" in str(full.value)
    with ArchiveWriter(path) as writer:
        assert writer.moved is not None
        assert writer.moved.length == 50
        writer.append(KEPT[1])
    assert list(read_archive(path)) == KEPT[:2]


# --- foreign files


def write_avro(path: Path, schema: dict, records: list[dict], codec: str = "null") -> None:
    with path.open("wb") as file:
        fastavro.writer(file, fastavro.parse_schema(schema), records, codec)


def other_version(*, drop: str = "", extra: list[dict] | None = None) -> dict:
    source = record_source("RawRun")
    kept = [field for field in source["fields"] if field["name"] != drop]
    return {**source, "fields": kept + (extra or [])}


def test_a_file_of_an_older_schema_is_resolved(path: Path) -> None:
    record = raw_run_codec.to_record(KEPT[0])
    write_avro(path, other_version(drop="crc32"), [record])
    assert list(read_archive(path)) == KEPT[:1]


def without_temperature() -> dict:
    source = record_source("RawRun")
    kept = [field for field in source["fields"] if not field["name"].startswith("temperature_")]
    return {**source, "fields": kept}


def guarded(schema: dict, record: dict) -> bytes:
    """Return a datum of a schema with its CRC-32, by fastavro and zlib alone."""
    out = BytesIO()
    fastavro.schemaless_writer(out, fastavro.parse_schema(schema), record | {"crc32": None})
    bare = out.getvalue()[:-1]
    return bare + b"\x02" + zlib.crc32(bare).to_bytes(4, "little")


def test_a_file_from_before_temperatures_is_read_as_fast_and_its_crc_checked(path: Path) -> None:
    schema = without_temperature()
    datums = [guarded(schema, raw_run_codec.to_record(run)) for run in KEPT]
    blocks = [avro_container.block_bytes(datum, MARKER) for datum in datums]
    header = avro_container.header_bytes(fastavro.parse_schema(schema), MARKER)
    path.write_bytes(header + b"".join(blocks))
    before = [replace(run, temperature_centi=None, temperature_source=None) for run in KEPT]
    assert list(read_archive(path)) == before
    assert Archive.open(path).head_schema is not None
    spoilt = bytearray(header + b"".join(blocks))
    spoilt[len(header) + len(blocks[0]) - 16 - 12] ^= 1  # a count of the first run
    path.write_bytes(spoilt)
    kept, archive = recovered(path)
    assert kept == before[1:]
    assert len(archive.damage) == 1


def test_the_archives_of_earlier_versions_have_no_temperature() -> None:
    for name in ("readings.avro", "night-readings.avro"):
        kept, archive = recovered(ROOT / "tests/data/e0bd664" / name)
        assert {run.temperature_c for run in kept} == {None}
        assert archive.damage == []
        assert archive.head_schema is not None


@pytest.mark.parametrize("centi", [COLDEST_CENTI - 1, HOTTEST_CENTI + 1])
def test_a_temperature_that_no_electronics_stand_is_refused(centi: int) -> None:
    assert replace(a_run(), temperature_centi=-550).temperature_c == -5.5
    with pytest.raises(ArchiveError) as caught:
        replace(a_run(), temperature_centi=centi)
    assert str(centi) in str(caught.value)


def test_a_file_of_a_newer_schema_is_resolved(path: Path) -> None:
    newer = other_version(extra=[{"name": "room_c", "type": "float", "default": 20.0}])
    write_avro(path, newer, [{**raw_run_codec.to_record(run), "room_c": 21.5} for run in KEPT])
    assert list(read_archive(path)) == KEPT


def test_a_schema_that_cannot_be_resolved_is_refused_with_both_fingerprints(path: Path) -> None:
    schema = other_version(drop="counts")
    write_avro(path, schema, [raw_run_codec.to_record(KEPT[0])])
    both = avro_container.fingerprint(schema), avro_container.fingerprint(raw_run_schema())
    with pytest.raises(ArchiveError) as caught:
        Archive.open(path)
    assert caught.value.code == "schema"
    assert all(value in str(caught.value) for value in ("batch.avro", *both))


NUMBER = {"type": "record", "name": "Number", "fields": [{"name": "n", "type": "int"}]}


def test_records_of_another_kind_are_refused(path: Path) -> None:
    write_avro(path, NUMBER, [{"n": 1}])
    with pytest.raises(ArchiveError) as caught:
        Archive.open(path)
    assert caught.value.code == "other_records"
    assert "'Number'" in str(caught.value)


def test_a_compressed_file_is_refused(path: Path) -> None:
    write_avro(path, record_source("RawRun"), [raw_run_codec.to_record(KEPT[0])], codec="deflate")
    with pytest.raises(ArchiveError) as caught:
        Archive.open(path)
    assert caught.value.code == "compressed"
    assert "deflate" in str(caught.value)


@pytest.mark.parametrize("content", [b"shaft,spine\n1,500\n", b"PK\x03\x04", b"Obj\x02rest"])
def test_a_file_that_is_not_avro_is_refused_by_reader_and_writer(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    for use in (Archive.open, ArchiveWriter):
        with pytest.raises(ArchiveError) as caught:
            use(path)
        assert caught.value.code == "not_avro"
        assert "batch.avro" in str(caught.value)
    assert path.read_bytes() == content


def test_a_writer_refuses_another_version_and_changes_nothing(path: Path) -> None:
    schema = other_version(drop="crc32")
    write_avro(path, schema, [raw_run_codec.to_record(KEPT[0])])
    before = path.read_bytes()
    with pytest.raises(ArchiveError, match=avro_container.fingerprint(schema)):
        ArchiveWriter(path)
    assert path.read_bytes() == before


def test_a_file_in_use_is_refused(path: Path) -> None:
    with ArchiveWriter(path), pytest.raises(ArchiveError) as caught:
        ArchiveWriter(path)
    assert caught.value.code == "in_use"
    ArchiveWriter(path).close()


def test_a_path_that_is_not_a_file_is_refused(tmp_path: Path) -> None:
    for use in (Archive.open, ArchiveWriter):
        for wrong in (tmp_path, tmp_path / "nowhere" / "batch.avro"):
            with pytest.raises(ArchiveError, match=re.escape(str(wrong))):
                use(wrong)
