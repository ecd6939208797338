"""protocol/vectors.json against both ends: the host's code here, the device's under CPython and MicroPython."""

import json
import subprocess
import sys
import zlib
from dataclasses import is_dataclass

import fastavro.schema
import pytest
from cobs import cobs
from make_vectors import vectors
from midspan.base.errors import FrameError, ProtocolError
from midspan.rehearsal.process import interpreter_command
from midspan.wire import framing, records
from midspan.wire.codec import pack, unpack
from midspan.wire.schema import data_folder
from places import ON_DEVICE

FILE = data_folder("protocol") / "vectors.json"
VECTORS = json.loads(FILE.read_text(encoding="utf-8"))
PUBLISHED = VECTORS["published"]
VECTORS_ON_DEVICE = ON_DEVICE / "vectors_on_device.py"


def each(name: str) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("vector", [pytest.param(v, id=v["what"]) for v in VECTORS[name]])


def test_the_file_is_what_its_maker_makes() -> None:
    assert json.loads(json.dumps(vectors())) == VECTORS


def test_every_record_and_every_source_is_there() -> None:
    union = json.loads((data_folder("protocol") / "message.avsc").read_text(encoding="utf-8"))
    assert {f"midspan.{v['record']}" for v in VECTORS["records"]} == set(union)
    entries = [*VECTORS["records"], *VECTORS["streams"], *VECTORS["foreign_bodies"], *PUBLISHED.values()]
    assert all(entry["source"] for entry in entries)


@each("records")
def test_host_packs_and_reads_each_record(vector: dict) -> None:
    body, frame = bytes.fromhex(vector["body"]), bytes.fromhex(vector["frame"])
    record = unpack(body)
    assert type(record).__name__ == vector["record"]
    assert plain(record) == vector["datum"]
    assert pack(record) == body
    assert framing.encode(vector["sequence"], body) == frame
    assert framing.decode(frame[:-1]) == framing.Frame(vector["sequence"], body)


def plain(record: object) -> dict:
    """Return a typed record as the file writes it."""
    return {name: plain_value(name, getattr(record, name)) for name in type(record).__dataclass_fields__}


def plain_value(name: str, value: object) -> object:
    if isinstance(value, bytes):
        return value.hex()
    if isinstance(value, tuple):
        return [plain_value(name, item) for item in value]
    if is_dataclass(value):
        return plain(value)
    return getattr(value, "name", value)


@each("streams")
def test_host_takes_each_stream_apart(vector: dict) -> None:
    deframer = framing.Deframer()
    items = deframer.feed(bytes.fromhex(vector["bytes"]))
    good = [{"sequence": f.sequence, "body": f.body.hex()} for f in items if isinstance(f, framing.Frame)]
    assert good == vector["frames"]
    assert deframer.damaged == vector["damaged"] == sum(isinstance(item, FrameError) for item in items)


@each("foreign_bodies")
def test_host_refuses_each_foreign_body(vector: dict) -> None:
    with pytest.raises(ProtocolError):
        unpack(bytes.fromhex(vector["body"]))


@pytest.mark.process
@pytest.mark.parametrize("interpreter", [[sys.executable], interpreter_command()], ids=["cpython", "device"])
def test_device_code_agrees(interpreter: list[str]) -> None:
    command = [*interpreter, str(VECTORS_ON_DEVICE), str(FILE.parent), str(data_folder("device"))]
    done = subprocess.run(command, capture_output=True, text=True, timeout=600, check=False)
    assert done.stderr == ""
    *differences, last = done.stdout.splitlines()
    assert differences == []
    assert int(last.removeprefix("compared ")) > 4 * len(VECTORS["records"])


def test_published_crc() -> None:
    crc = PUBLISHED["crc_32"]
    assert f"{zlib.crc32(crc['ascii'].encode()):08x}" == crc["crc"]


@pytest.mark.parametrize("pair", PUBLISHED["cobs"]["pairs"])
def test_published_stuffing(pair: list[str]) -> None:
    plain_bytes, stuffed = map(bytes.fromhex, pair)
    assert cobs.encode(plain_bytes) == stuffed
    assert cobs.decode(stuffed) == plain_bytes


@pytest.mark.parametrize("pair", PUBLISHED["zigzag"]["pairs"])
def test_published_zigzag(pair: list) -> None:
    value, text = pair
    assert pack(records.Acknowledge(shaft=value)) == b"\x12" + bytes.fromhex(text)


def test_published_string_and_array() -> None:
    avro = PUBLISHED["avro"]
    reply = pack(records.Reply(boot=1, to_sequence=27, refusal=None, field="foo"))
    assert reply.endswith(bytes.fromhex(avro["string_foo"]))
    assert pack(records.Resend(0, (3, 27))).endswith(bytes.fromhex(avro["array_of_long_3_27"]))


@pytest.mark.parametrize("pair", PUBLISHED["fingerprints"]["pairs"])
def test_published_fingerprint_byte_order(pair: list[str]) -> None:
    canonical, least_significant_first = pair
    assert fastavro.schema.fingerprint(canonical, "CRC-64-AVRO") == least_significant_first


def test_damage_of_every_single_bit_is_seen() -> None:
    """Turn over every bit of a frame: wrong stuffing or the CRC-32 must give each away."""
    frame = bytes.fromhex(VECTORS["records"][6]["frame"])
    intact = framing.decode(frame[:-1])
    for bit in range(8 * (len(frame) - 1)):
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        found = framing.Deframer().feed(bytes(damaged))
        assert all(isinstance(item, FrameError) for item in found), (bit, found)
        assert intact not in found


def test_a_block_costs_at_most_six_bytes_per_reading() -> None:
    sizes = {len(v["datum"]["counts"]): len(v["frame"]) // 2 for v in VECTORS["records"] if v["record"] == "Readings"}
    assert 4 < sizes[64] / 64 <= 6
