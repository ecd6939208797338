"""The device's packers on the real MicroPython against fastavro, and its fingerprint against the schemas."""

from __future__ import annotations

import json
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import pytest
from device_rig import codec as device_codec
from device_rig import frames, held, needs_micropython, on_micropython, records
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


def types_in(node: Any) -> Iterator[dict[str, Any]]:
    """Yield the types that are defined within schemas, each where it is first used."""
    for child in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from types_in(child)
    if isinstance(node, dict) and node.get("type") in ("enum", "record"):
        yield node


TYPES = {schema["name"]: schema for schema in types_in(MESSAGE)}
SYMBOLS = {name: schema["symbols"] for name, schema in TYPES.items() if schema["type"] == "enum"}


def name_of(kind: Any) -> str:
    """Return the name of a plain or named type."""
    return str(kind["name"] if isinstance(kind, dict) else kind).removeprefix("midspan.")


def values_of(kind: Any) -> st.SearchStrategy[Any]:
    """Return a strategy for values of a field of a schema, in the device's form."""
    if isinstance(kind, list):
        return st.none() | values_of(kind[1])
    if isinstance(kind, dict) and kind["type"] == "array":
        return st.lists(values_of(kind["items"]), max_size=64)
    name = name_of(kind)
    if name in SYMBOLS:
        return st.integers(0, len(SYMBOLS[name]) - 1)
    if name in TYPES:
        return st.tuples(*[values_of(field["type"]) for field in TYPES[name]["fields"]]).map(list)
    plain = {
        "int": INT,
        "long": st.one_of(INT, st.integers(-(2**63), 2**63 - 1)),
        "boolean": st.booleans(),
        "string": st.text(st.characters(exclude_categories=("Cs",)), max_size=32),
        "Fingerprint": st.binary(min_size=8, max_size=8),
    }
    return plain[name]


def examples_of(names: list[str]) -> st.SearchStrategy[list[tuple[str, list[Any]]]]:
    """Return a strategy for many records at once, so that a single interpreter serves for all."""
    example = st.sampled_from(names).flatmap(lambda name: st.tuples(st.just(name), values_of(name)))
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
    if isinstance(kind, dict) and kind["type"] == "array":
        return [value_for_fastavro(kind["items"], item) for item in value]
    if isinstance(kind, dict) and kind["type"] == "record":
        return as_fastavro(kind, value)
    name = name_of(kind)
    return SYMBOLS[name][value] if name in SYMBOLS else value


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


BOOT = 2**30 - 1
LARGEST_BODY = 1530  # SPEC.md: a frame of 1536 bytes less sequence number and CRC
READING = st.tuples(
    st.integers(0, 2**30 - 1),  # tick
    st.integers(0, 2**20),  # gap
    st.integers(-100, 2**20),  # rotate
    st.integers(0, 20000),  # press
    st.one_of(st.integers(49000, 51000), st.integers(-(2**23), 2**23 - 1)),  # count
    st.sampled_from([0, 0, 0, 1, 2, 8, 15]),  # status
)
MARKS = st.lists(st.integers(-(2**27), 2**27 - 1), max_size=20)
RUN = st.lists(st.tuples(st.integers(0, 255), st.lists(READING, max_size=150), MARKS), max_size=4)


@needs_micropython
@BATCHES
@given(st.lists(st.tuples(st.integers(0, 2**30 - 1), RUN), min_size=3, max_size=5))
def test_blocks_are_plain_avro_and_the_same_each_time(shafts: list[tuple[int, list[Any]]]) -> None:
    job = []
    for shaft, run in shafts:
        entries: list[Any] = []
        for phase, readings, marks in run:
            entries += [[phase, *reading] for reading in readings] + marks + [None]
        job.append([shaft, 12315, entries])
    answer = codec({"blocks": job})
    for (shaft, run), (written, again, readings) in zip(shafts, answer["blocks"], strict=True):
        assert again == written
        decoded = []
        for number, data in enumerate(map(bytes.fromhex, written)):
            name, block = record(data)
            assert name == "Readings"
            assert data == datum(name, block)  # as compact as fastavro's own
            assert (block["boot"], block["shaft"]) == (BOOT, shaft)
            assert (block["block"], block["first"]) == (number, len(decoded))
            assert len(data) <= LARGEST_BODY
            decoded += rows_of(block)
        wanted = [(phase, *reading) for phase, some, _ in run for reading in some]
        assert readings == len(decoded) == len(wanted)
        for found, row in zip(decoded, wanted, strict=True):
            assert found[0] == row[0]
            assert found[3:] == row[3:]
            assert found[1] in (None, row[1])
            assert found[2] in (None, row[2])


def block_of(*entries: Any) -> dict[str, Any]:
    """Return the only block that a store makes of readings and marks."""
    store = held.Held(64)
    store.begin(2**30 - 1, 2**30 - 1)
    for entry in entries:
        if isinstance(entry, int):
            store.mark(entry)
        else:
            store.add(*entry)
    store.close()
    out = bytearray(frames.FRAME_MAX)
    data = bytes(out[: store.write_next(BOOT, out, 0)])
    assert not store.waiting()
    assert len(data) <= LARGEST_BODY
    return record(data)[1]


def test_the_largest_block_fits_into_a_frame() -> None:
    steps, counts = 2**27 - 1, 2**23 - 1
    ends = [(-1) ** i for i in range(64)]
    block = block_of(
        *[-steps] * 20,
        *[(255, 2**30 - 1, 2**29 - 1, steps * end, steps * end, counts * end, 7 + end) for end in ends],
    )
    assert len(block["marks"]) == 12  # the rest is left out
    assert len(block["unusual"]) == len(block["counts"]) == 64
    assert block["counts"][1] == -2 * counts


def test_marks_go_with_the_block_that_was_open() -> None:
    store = held.Held(100)
    store.begin(1, 12500)
    for i in range(70):
        store.add(2, 12500 * i, 12500, 5 * i, 0, 0, 0)
        if i in (3, 63, 64):
            store.mark(i)
    store.close()
    out = bytearray(frames.FRAME_MAX)
    marks = []
    while store.waiting():
        marks.append(record(bytes(out[: store.write_next(1, out, 0)]))[1]["marks"])
    assert marks == [[3], [63, 64]]


def rows_of(block: dict[str, Any]) -> list[tuple[Any, ...]]:
    """Return absolute rows of a block: phase, tick of the first, gap of the others, rotate, press, count, status."""
    columns = [block[name] for name in ("lateness_us", "rotate_steps", "press_steps", "counts")]
    length = len(columns[0])
    assert 1 <= length <= 64
    assert len(block["counts"]) == length
    assert all(1 <= len(column) <= length for column in columns)
    assert all(len(column) == 1 or column[-1] for column in columns[1:3])  # where an axis stands, nothing is sent
    assert columns[0][0] == 0
    changes = {odd["reading"]: odd["status"] for odd in block["unusual"]}
    assert all(was != now for was, now in pairwise([0, *changes.values()]))
    rows, status = [], 0
    for i in range(length):
        tick = block["tick_us"] if i == 0 else None
        gap = None if i == 0 else columns[0][i] + block["interval_us"]
        sums = [sum(column[: i + 1]) for column in columns[1:]]
        status = changes.get(i, status)
        rows.append((block["phase"], tick, gap, *sums, status))
    return rows


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"\x1a",  # branch 13
        b"\x01",  # branch -1
        b"\x10\x06",  # Command with order 3
        b"\x12",  # Acknowledge without its shaft
        b"\x12" + 10 * b"\xff" + b"\x01",  # ... with a varint of 11 bytes
        b"\x0c\x04\x00" + bytes(7),  # Greet without its last byte
        b"\x0e\x02\x00\x02" + b"\x00\x04",  # Program whose step has branch 2 of ["null", "int"]
        b"\x14\x02\x80\x01",  # Resend that ends within its array
        b"\x14\x02" + b"\x82\x01" + bytes(66),  # Resend of 65 blocks
        b"\x14\x02" + b"\x80\x01" + bytes(64) + b"\x01\x02" + bytes(2),  # of 64, then of 1 more
        b"\x14\x02" + b"\x02\x00" + 9 * b"\xff" + b"\x01" + bytes(9),  # of 1, then of 2^63
    ],
)
@pytest.mark.parametrize("rest", [0, 1530])
def test_nonsense_is_refused(data: bytes, rest: int) -> None:
    with pytest.raises(device_codec.RecordError):  # whatever an earlier frame left behind it
        device_codec.Unpacker(bytearray(data) + bytes(rest), 0, len(data)).values()


def test_fields_of_a_newer_minor_version_are_left_alone() -> None:
    greet = {"protocol_major": 2, "protocol_minor": 7, "fingerprint": bytes(8)}
    data = bytearray(datum("Greet", greet) + b"\x02\x04")
    assert device_codec.Unpacker(data, 0, len(data)).values() == [2, 7, bytes(8)]


def test_arrays_in_several_blocks_and_with_sizes() -> None:
    # Avro specification, arrays: a block with a negative count carries its size in bytes.
    data = bytearray(b"\x14" + b"\x06" + b"\x02\x00" + b"\x03\x04\x02\x04" + b"\x00")
    assert device_codec.Unpacker(data, 0, len(data)).values() == [3, [0, 1, 2]]
