"""Typed records against the schemas and fastavro."""

import json
from dataclasses import fields, replace
from enum import IntEnum

import make_vectors
import numpy as np
import pytest
import wire
from hypothesis import given
from hypothesis import strategies as st
from midspan.archive import raw_run
from midspan.base.errors import ConfigurationError, ProtocolError
from midspan.wire import codec, records
from midspan.wire import schema as schemas
from midspan.wire.fault_texts import describe, fault_texts
from midspan.wire.readings import absolute, check_columns, offset_us, status_of
from midspan.wire.records import Phase, Readings, Unusual

UNION = [schema["name"] for schema in schemas.message_source()]
ints = st.integers(-(2**31), 2**31 - 1)


def enum_of(name: str) -> type[IntEnum]:
    return getattr(records, name.removeprefix("midspan."))


def values(kind: object) -> st.SearchStrategy:
    """Return a strategy for values of a field, from the type in its schema."""
    if isinstance(kind, list):
        return st.none() | values(kind[1])
    if isinstance(kind, dict) and kind["type"] == "array":
        return st.lists(values(kind["items"]), max_size=5).map(tuple)
    if isinstance(kind, dict) and kind["type"] == "record":
        return records_of(kind)
    if isinstance(kind, dict) and kind["type"] == "enum":
        return st.sampled_from(enum_of(kind["name"]))
    plain = {
        "int": ints, "long": st.integers(-(2**63), 2**63 - 1), "string": st.text(max_size=20),
        "boolean": st.booleans(), "midspan.Fingerprint": st.binary(min_size=8, max_size=8),
    }  # fmt: skip
    if isinstance(kind, dict):
        return plain["midspan.Fingerprint"]
    return plain[kind] if kind in plain else st.sampled_from(enum_of(kind))


def records_of(source: dict) -> st.SearchStrategy:
    cls = getattr(records, source["name"])
    parts = {field["name"]: values(field["type"]) for field in source["fields"]}
    if cls is Readings:
        parts |= dict.fromkeys(make_vectors.READING_COLUMNS, st.tuples(ints, ints, ints))
    return st.builds(cls, **parts)


@given(st.one_of([records_of(source) for source in schemas.message_source()]))
def test_any_record_comes_back_and_any_avro_library_reads_it(record: records.Record) -> None:
    body = codec.pack(record)
    assert codec.unpack(body) == record
    name = type(record).__name__
    assert body[0] == 2 * UNION.index(name)  # zig-zag of the union branch
    read, datum = wire.record(body)
    assert read == name
    assert list(datum) == [field.name for field in fields(record)]


@given(st.binary(max_size=60))
def test_any_bytes_are_a_record_or_a_protocol_error(body: bytes) -> None:
    try:
        record = codec.unpack(body)
    except ProtocolError:
        return
    assert codec.unpack(codec.pack(record)) == record


def test_phases_of_a_raw_run_are_those_of_the_line() -> None:
    assert [phase.name for phase in Phase] == list(raw_run.PHASES)


def test_every_field_of_every_record_is_documented() -> None:
    for schema in [*schemas.message_source(), schemas.record_source("RawRun")]:
        assert schema["doc"]
        assert all(len(field["doc"]) > 10 for field in schema["fields"]), schema["name"]


def test_canonical_form_and_fingerprint_against_a_schema_put_together_otherwise() -> None:
    """Hold the text to its definition: the canonical form of every named type is in it once, at its first use."""
    text = schemas.canonical()
    assert json.loads(text)[0]["fields"][2]["type"] == {"name": "midspan.Fingerprint", "type": "fixed", "size": 8}
    assert '"doc"' not in text
    for name in ("Fingerprint", "State", "FaultCode", "Order", "Refusal", "Source", "Unusual", "Step", "FeederReport"):
        assert text.count(f'"name":"midspan.{name}"') == 1
    assert crc_64_avro(text.encode()).to_bytes(8, "little") == schemas.fingerprint()


def crc_64_avro(data: bytes) -> int:
    """Return the CRC bit by bit, from the polynomial in the Apache Avro specification, "Schema fingerprints"."""
    empty = 0xC15D213AA4D7A795
    crc = empty
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ (empty if crc & 1 else 0)
    return crc


def test_own_crc_gives_the_published_fingerprint() -> None:
    """Compare with the schema "int" of apache/avro, share/test/data/schema-tests.txt."""
    assert crc_64_avro(b'"int"') == 0x7275D51A3F395C8F


def test_a_folder_that_is_missing_is_named() -> None:
    with pytest.raises(ConfigurationError, match="'nothing'"):
        schemas.data_folder("nothing")


def test_too_many_bytes_are_refused() -> None:
    with pytest.raises(ProtocolError) as caught:
        codec.unpack(codec.pack(records.Acknowledge(3)) + b"\0")
    assert caught.value.code == "bytes_left"
    assert "midspan.Acknowledge" in str(caught.value)


def readings(**changes: object) -> Readings:
    columns = dict.fromkeys(make_vectors.READING_COLUMNS, (0, 5))
    plain = Readings(boot=9, shaft=1, block=2, first=3, phase=Phase.FULL, tick_us=4, interval_us=12500, **columns,
                     unusual=(), marks=())  # fmt: skip
    return replace(plain, **changes)


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(ProtocolError) as caught:
        check_columns(readings(counts=(1,)))
    assert caught.value.code == "columns"
    assert all(value in str(caught.value) for value in ("block 2", "shaft 1", "[2, 2, 2, 1]"))


@pytest.mark.parametrize("changes", [{"rotate_steps": (7,)}, {"press_steps": (7,)}])
def test_a_column_of_steps_may_end_before_an_axis_moves_again(changes: dict[str, tuple[int, ...]]) -> None:
    check_columns(readings(**changes))
    assert absolute((7,), 2).tolist() == [7, 7]


@pytest.mark.parametrize(
    "changes",
    [{"press_steps": ()}, {"rotate_steps": (0, 5, 0)}, {"lateness_us": (0,)}, {"lateness_us": (), "counts": ()}],
)
def test_columns_that_fit_no_reading_are_refused(changes: dict[str, tuple[int, ...]]) -> None:
    with pytest.raises(ProtocolError) as caught:
        check_columns(readings(**changes))
    assert caught.value.code == "columns"


def test_an_unusual_reading_outside_its_block_is_refused() -> None:
    with pytest.raises(ProtocolError) as caught:
        check_columns(readings(unusual=(Unusual(2, 1),)))
    assert caught.value.code == "unusual"
    assert all(value in str(caught.value) for value in ("block 2", "shaft 1"))


@given(st.lists(st.integers(-(2**23), 2**23 - 1), max_size=70))
def test_changes_add_up_to_values(counts: list[int]) -> None:
    changes = tuple(np.diff(np.array(counts, np.int64), prepend=0).tolist())
    assert absolute(changes, len(counts)).tolist() == counts


def test_times_and_status_of_a_block() -> None:
    block = readings(lateness_us=(0, -40), unusual=(Unusual(0, 1), Unusual(1, 12)))
    assert offset_us(block).tolist() == [0, 12460]
    assert status_of(block).tolist() == [1, 12]
    assert offset_us(readings(**dict.fromkeys(make_vectors.READING_COLUMNS, ()))).tolist() == []


def test_every_fault_has_words() -> None:
    for code, words in fault_texts().items():
        assert all((words.text, words.action, words.detail, words.way_back))
        line = describe(code, -7)
        assert line.startswith(code.name)
        assert f"{words.detail}: -7" in line
        assert "\n" not in line
