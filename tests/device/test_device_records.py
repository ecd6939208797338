"""The device's packers on the real MicroPython against fastavro, and its fingerprint against the schemas."""

from __future__ import annotations

import json
from typing import Any

import pytest
from device_rig import codec as device_codec
from device_rig import needs_micropython, on_micropython, records
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from wire import FINGERPRINT, MESSAGE, datum, record

pytestmark = pytest.mark.process

INT = st.one_of(st.integers(-70, 70), st.integers(-(2**31), 2**31 - 1))
NAMES = [schema["name"] for schema in MESSAGE]
BY_NAME = dict(zip(NAMES, MESSAGE, strict=True))
BATCHES = settings(max_examples=12, phases=(Phase.generate,))  # each starts an interpreter: no shrinking
PACKED_BY_TABLE = [name for name in NAMES if BY_NAME[name]["sender"] == "device" and name != "Readings"]
HOST_SENDS = [name for name in NAMES if BY_NAME[name]["sender"] == "host"]


def values_of(kind: Any) -> st.SearchStrategy[Any]:
    """Return a strategy for values of a field in the device's table, in the device's form."""
    if isinstance(kind, tuple):
        inner = values_of(kind[1])
        return st.lists(inner, max_size=64) if kind[0] == "array" else st.none() | inner
    if kind in records.PARTS:
        return st.tuples(*[values_of(part) for part in records.PARTS[kind]]).map(list)
    if kind in records.ENUMS:
        return st.integers(0, len(records.ENUMS[kind]) - 1)
    plain = {
        "int": INT,
        "long": st.one_of(INT, st.integers(-(2**63), 2**63 - 1)),
        "boolean": st.booleans(),
        "string": st.text(st.characters(exclude_categories=("Cs",)), max_size=32),
        "Fingerprint": st.binary(min_size=8, max_size=8),
    }
    return plain[kind]


def examples_of(names: list[str]) -> st.SearchStrategy[list[tuple[str, list[Any]]]]:
    """Return a strategy for many records at once, so that a single interpreter serves for all."""
    example = st.sampled_from(names).flatmap(
        lambda name: st.tuples(st.just(name), st.tuples(*map(values_of, records.RECORDS[NAMES.index(name)])).map(list))
    )
    return st.lists(example, min_size=20, max_size=40)


def codec(job: dict[str, Any]) -> dict[str, Any]:
    """Return the answer of the device's code to a job; MicroPython's JSON knows no escaped surrogates."""
    answer: dict[str, Any] = json.loads(on_micropython("codec_on_device.py", given=json.dumps(job, ensure_ascii=False)))
    return answer


def as_fastavro(schema: dict[str, Any], values: list[Any]) -> dict[str, Any]:
    """Return a record in fastavro's form: enums by symbol, parts by name."""
    return {
        field["name"]: value_for_fastavro(field["type"], value)
        for field, value in zip(schema["fields"], values, strict=True)
    }


def value_for_fastavro(kind: Any, value: Any) -> Any:
    if isinstance(kind, list):
        return None if value is None else value_for_fastavro(kind[1], value)
    if isinstance(kind, dict) and kind["type"] == "record":
        return as_fastavro(kind, value)
    name = kind.get("name", "") if isinstance(kind, dict) else kind.removeprefix("midspan.")
    return records.ENUMS[name][value] if name in records.ENUMS else value


def plain(values: list[Any]) -> list[Any]:
    return [value.hex() if isinstance(value, bytes) else value for value in values]


def test_fingerprint_is_that_of_the_schemas() -> None:
    assert records.FINGERPRINT == FINGERPRINT  # computed by fastavro from protocol/*.avsc


def test_branches_stand_in_union_order() -> None:
    assert NAMES[records.RESEND] == "Resend"
    assert NAMES[records.IDENTIFY] == "Identify"
    assert [len(kinds) for kinds in records.RECORDS] == [len(schema["fields"]) for schema in MESSAGE]


@needs_micropython
@BATCHES
@given(examples_of(PACKED_BY_TABLE))
def test_packs_what_fastavro_packs(examples: list[tuple[str, list[Any]]]) -> None:
    job = {"pack": [[NAMES.index(name), plain(values)] for name, values in examples]}
    answer = codec(job)
    assert answer["pack"] == [datum(name, as_fastavro(BY_NAME[name], values)).hex() for name, values in examples]


@needs_micropython
@BATCHES
@given(examples_of(HOST_SENDS))
def test_unpacks_what_fastavro_packed(examples: list[tuple[str, list[Any]]]) -> None:
    job = {"unpack": [datum(name, as_fastavro(BY_NAME[name], values)).hex() for name, values in examples]}
    answer = codec(job)
    assert answer["unpack"] == [[NAMES.index(name), plain(values)] for name, values in examples]


READING = st.tuples(
    st.integers(0, 2**30 - 1),  # tick
    st.integers(0, 2**20),  # gap
    st.integers(-100, 2**20),  # rotate
    st.integers(0, 20000),  # press
    st.one_of(st.integers(49000, 51000), st.integers(-(2**23), 2**23 - 1)),  # count
    st.sampled_from([0, 0, 0, 1, 2, 8, 15]),  # status
)
RUN = st.lists(st.tuples(st.integers(0, 8), st.lists(READING, max_size=150)), max_size=4)


@needs_micropython
@BATCHES
@given(st.lists(st.tuples(st.integers(0, 2**30 - 1), RUN), min_size=3, max_size=5))
def test_blocks_are_plain_avro(shafts: list[tuple[int, list[tuple[int, list[Any]]]]]) -> None:
    job = []
    for shaft, run in shafts:
        rows: list[Any] = []
        for phase, readings in run:
            rows += [[phase, *reading] for reading in readings] + [None]
        job.append([shaft, 12315, rows])
    answer = codec({"blocks": job})
    for (shaft, run), (written, readings, used) in zip(shafts, answer["blocks"], strict=True):
        blocks = [bytes.fromhex(text) for text in written]
        assert sum(map(len, blocks)) == used
        decoded = []
        for number, data in enumerate(blocks):
            name, block = record(data)
            assert name == "Readings"
            assert data == datum(name, block)  # as compact as fastavro's own
            assert (block["shaft"], block["block"], block["first"]) == (shaft, number, len(decoded))
            assert len(data) <= 1000
            decoded += rows_of(block)
        wanted = [(records.PHASES[phase], *reading) for phase, some in run for reading in some]
        assert readings == len(decoded) == len(wanted)
        for found, row in zip(decoded, wanted, strict=True):
            assert found[0] == row[0]
            assert found[3:] == row[3:]
            assert found[1] in (None, row[1])
            assert found[2] in (None, row[2])


def rows_of(block: dict[str, Any]) -> list[tuple[Any, ...]]:
    """Return absolute rows of a block: phase, tick of the first, gap of the others, rotate, press, count, status."""
    columns = [block[name] for name in ("lateness_us", "rotate_steps", "press_steps", "counts")]
    length = len(columns[0])
    assert 1 <= length <= 64
    assert all(len(column) == length for column in columns)
    assert columns[0][0] == 0
    status = {odd["reading"]: odd["status"] for odd in block["unusual"]}
    rows = []
    for i in range(length):
        tick = block["tick_us"] if i == 0 else None
        gap = None if i == 0 else columns[0][i] + block["interval_us"]
        sums = [sum(column[: i + 1]) for column in columns[1:]]
        rows.append((block["phase"], tick, gap, *sums, status.get(i, 0)))
    return rows


@pytest.mark.parametrize(
    ("data", "reason"),
    [
        (b"", "record too short"),
        (b"\x1c", "unknown record"),  # branch 14
        (b"\x01", "unknown record"),  # branch -1
        (b"\x10\x08\x00", "unknown symbol"),  # Command with order 4
        (b"\x10\x02\x04\x02", "unknown branch"),  # Command with branch 2 of ["null", "long"]
        (b"\x12", "record too short"),  # Acknowledge without its shaft
        (b"\x12" + 10 * b"\xff" + b"\x01", "varint too long"),
        (b"\x14\x02\x80\x01", "record too short"),  # Resend that ends within its array
        (b"\x14\x02" + b"\x82\x01" + bytes(66), "array too long"),  # Resend of 65 blocks
        (b"\x14\x02" + b"\x80\x01" + bytes(64) + b"\x01\x02" + bytes(2), "array too long"),  # of 64, then of 1 more
    ],
)
def test_nonsense_is_named(data: bytes, reason: str) -> None:
    with pytest.raises(device_codec.RecordError, match=reason):
        device_codec.Unpacker(bytearray(data), 0, len(data)).values()


def test_a_boolean_of_a_request_is_read_as_avro_writes_it(monkeypatch: pytest.MonkeyPatch) -> None:
    # Avro specification, booleans: one byte, 0 or 1. No request has one yet.
    monkeypatch.setattr(device_codec, "RECORDS", (("boolean", "int", ("null", "boolean")),))
    data = bytearray(b"\x00" + b"\x01" + b"\x02" + b"\x02\x00")
    assert device_codec.Unpacker(data, 0, len(data)).values() == [True, 1, False]


def test_fields_of_a_newer_minor_version_are_left_alone() -> None:
    greet = {"protocol_major": 1, "protocol_minor": 7, "fingerprint": bytes(8)}
    data = bytearray(datum("Greet", greet) + b"\x02\x04")
    assert device_codec.Unpacker(data, 0, len(data)).values() == [1, 7, bytes(8)]


def test_arrays_in_several_blocks_and_with_sizes() -> None:
    # Avro specification, arrays: a block with a negative count carries its size in bytes.
    data = bytearray(b"\x14" + b"\x06" + b"\x02\x00" + b"\x03\x04\x02\x04" + b"\x00")
    assert device_codec.Unpacker(data, 0, len(data)).values() == [3, [0, 1, 2]]
