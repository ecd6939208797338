"""Write protocol/vectors.json (`make redraw`) with fastavro, cobs and zlib, and no Midspan code."""

import json
import zlib
from typing import Any

from cobs import cobs
from wire import PROTOCOL, datum, framed

MADE = "tests/wire/make_vectors.py with fastavro, cobs and zlib"
LARGEST_BODY = 1530

IDENTIFY = {
    "protocol_major": 2, "protocol_minor": 1, "fingerprint": "0102030405060708", "gauge": "bench gauge",
    "firmware": "0.1.0", "runtime": "µPython on a bench", "boot": 1073741823, "state": "HOLDING",
    "held_shaft": 41, "held_blocks": 63, "tick_us": 1073741823, "interval_us": 12500, "count_min": -8388608,
    "count_max": 8388607, "count_limit": 1200000, "press_limit_steps": 64000, "press_speed_most": 12000,
    "down_speed_most": 8000, "press_acceleration": 40000, "rotate_speed_most": 2560, "rotate_acceleration": 8000,
    "silence_ms": 4000, "readings_most": 2400, "guards": 3, "fault": None, "temperature_centi": -1250,
    "free_bytes": 41216, "longest_turn_us": 4810,
    "feeder": {
        "in_gauge": 41, "seated": True, "hopper": True, "slot": False, "places": 6,
        "last_release": {"shaft": 40, "place": 2, "done": True, "passed": 1},
    },
    "sensor": True, "shaft_centi": 1875,
}  # fmt: skip
BOOT = 5
# Numbers of phase.avsc
ZERO_BEFORE, APPROACH, LIGHT, DEEPEN, FULL, RETURN, LIGHT_AGAIN, LIFT, ZERO_AFTER, BENCH, SEATING = range(11)
STEP = {
    "phase": ZERO_BEFORE, "press_steps": None, "from_step": None, "until_count": None, "unreached": None,
    "rotate_steps": 0, "readings": 40, "settle_readings": 5, "zero": True, "press_speed": 6400, "rotate_speed": 640,
}  # fmt: skip
CYCLE = [
    {**STEP, "phase": SEATING, "rotate_steps": 160, "readings": 0, "zero": False},
    STEP,
    {**STEP, "phase": APPROACH, "press_steps": 19000, "until_count": 94000, "unreached": "NO_CONTACT", "readings": 0,
     "zero": False, "press_speed": 2400},
    {**STEP, "phase": LIGHT, "rotate_steps": 1400, "readings": 0, "zero": False},
    {**STEP, "phase": RETURN, "press_steps": -200, "from_step": 2, "readings": 0, "zero": False},
    {**STEP, "phase": 255, "press_steps": 0, "rotate_steps": -1048576, "zero": False},
]  # fmt: skip
READING_COLUMNS = ("lateness_us", "rotate_steps", "press_steps", "counts")


def block(columns: tuple[list[int], ...], **fields: Any) -> dict[str, Any]:
    """Return a Readings datum of four columns as they go over the line."""
    plain = {
        "boot": BOOT, "shaft": 7, "block": 0, "first": 0, "phase": LIGHT, "tick_us": 0, "interval_us": 12500,
    }  # fmt: skip
    return {**plain, **dict(zip(READING_COLUMNS, columns, strict=True)), "unusual": [], "marks": [], **fields}


def long_block() -> dict[str, Any]:
    """Return a block of 64 readings whose changes are as small as those of a turning shaft, with both signs."""
    counts = [93211, *((37 * i * i) % 241 - 120 for i in range(63))]
    lateness = [0, *((11 * i) % 23 - 11 for i in range(63))]
    columns = (lateness, [1280] + [16] * 63, [21004], counts)
    return block(columns, block=12, first=700, tick_us=1073741000)


RECORDS: list[tuple[str, str, dict[str, Any]]] = [
    ("an identify record", "Identify", IDENTIFY),
    ("an identify record that holds nothing", "Identify",
     {**IDENTIFY, "state": "IDLE", "held_shaft": None, "held_blocks": 0, "boot": 0, "gauge": "g", "guards": 0,
      "temperature_centi": None, "free_bytes": None, "longest_turn_us": 0, "feeder": None,
      "sensor": False, "shaft_centi": None}),
    ("one reading", "Readings", block(([0], [16], [800], [-5]))),
    ("three readings with falling values", "Readings",
     block(([0, 40, -40], [500, -16, -16], [21000, -64, -65], [8388607, -16777215, 16777215]),
           phase=RETURN, tick_us=123456)),
    ("no reading but a mark", "Readings", block(([], [], [], []), marks=[-3])),
    ("unusual readings and marks", "Readings",
     block(([0, 12507, 0], [0, 32, 16], [0], [100, 1, -1]), phase=FULL, block=200, first=12000,
           unusual=[{"reading": 0, "status": 1}, {"reading": 1, "status": 8}, {"reading": 2, "status": 15}],
           marks=[0, 3520])),
    ("sixty-four readings", "Readings", long_block()),
    ("a whole shaft's end", "EndOfShaft",
     {"boot": BOOT, "shaft": 7, "blocks": 42, "readings": 2600, "complete": True, "cause": None,
      "duration_ms": 41230, "sampling_ms": 32500, "temperature_centi": 1875, "by_shaft": True}),
    ("the end of a shaft cut short", "EndOfShaft",
     {"boot": 1073741823, "shaft": 8, "blocks": 0, "readings": 0, "complete": False, "cause": "NO_CONTACT",
      "duration_ms": 5100, "sampling_ms": 500, "temperature_centi": None, "by_shaft": False}),
    ("an event with a shaft", "Event",
     {"boot": BOOT, "tick_us": 1, "previous": "IDLE", "state": "RUNNING", "shaft": 8589934592}),
    ("an event without a shaft", "Event",
     {"boot": 0, "tick_us": 1073741823, "previous": "RETRACTING", "state": "FAULTED", "shaft": None}),
    ("a fault with a negative detail", "Fault",
     {"boot": BOOT, "code": "CELL_SATURATED", "state": "RUNNING", "step": 5, "tick_us": 99, "shaft": 3,
      "detail": -8388608}),
    ("an acceptance", "Reply", {"boot": BOOT, "to_sequence": 65535, "refusal": None, "field": ""}),
    ("a refusal", "Reply", {"boot": BOOT, "to_sequence": 0, "refusal": "OUT_OF_RANGE", "field": "3.press_speed"}),
    ("a greeting", "Greet", {"protocol_major": 2, "protocol_minor": 1, "fingerprint": "ff00ff00ff00ff00"}),
    ("a program of one step", "Program", {"shaft": 7, "stand": False, "steps": [STEP]}),
    ("a program of six steps that stands", "Program", {"shaft": 1073741823, "stand": True, "steps": CYCLE}),
    ("keep alive", "Command", {"order": "KEEP_ALIVE"}),
    ("an order to stop", "Command", {"order": "STOP"}),
    ("an order to clear a fault", "Command", {"order": "CLEAR_FAULT"}),
    ("an acknowledgement", "Acknowledge", {"shaft": 7}),
    ("a request for three blocks", "Resend", {"shaft": 7, "blocks": [0, 63, 64]}),
    ("a request for the end alone", "Resend", {"shaft": 7, "blocks": []}),
    ("a reading of a calibration", "Readings", block(([0], [0], [0], [50123]), phase=BENCH)),
    ("an event of the bench", "Event",
     {"boot": BOOT, "tick_us": 7, "previous": "RUNNING", "state": "STANDING", "shaft": 7}),
    ("a shaft from the hopper", "Feed", {"shaft": 12, "source": "HOPPER"}),
    ("a shaft that lies there already", "Feed", {"shaft": 1073741823, "source": "SEATED"}),
    ("a release", "Release", {"shaft": 12, "place": 3}),
    ("a refusal for safety", "Reply", {"boot": BOOT, "to_sequence": 9, "refusal": "NOT_SAFE", "field": "lid"}),
    ("an identify record after a release that a jam ended", "Identify",
     {**IDENTIFY, "state": "FAULTED", "held_shaft": None, "held_blocks": 0, "fault": "JAM",
      "feeder": {**IDENTIFY["feeder"], "last_release": {"shaft": 41, "place": 6, "done": False, "passed": 0}}}),
    ("a fault while nothing runs", "Fault",
     {"boot": BOOT, "code": "HOME_STUCK", "state": "HOMING", "step": None, "tick_us": 0, "shaft": None, "detail": 9}),
    ("a fault of a cell that is wired the other way round", "Fault",
     {"boot": BOOT, "code": "FORCE_REVERSED", "state": "RUNNING", "step": 2, "tick_us": 5100000, "shaft": 7,
      "detail": -94210}),
]  # fmt: skip


def body_of(name: str, fields: dict[str, Any]) -> bytes:
    """Return the body of a record whose fingerprint, if it has one, is given in hex."""
    fixed = {"fingerprint": bytes.fromhex(fields["fingerprint"])} if "fingerprint" in fields else {}
    return datum(name, {**fields, **fixed})


def records() -> list[dict[str, Any]]:
    """Return the golden triples: datum, body and frame of each record."""
    triples = []
    for number, (what, name, fields) in enumerate(RECORDS):
        sequence = (number * 4099) % 65536
        body = body_of(name, fields)
        triples.append({
            "what": what, "source": MADE, "record": name, "datum": fields, "sequence": sequence,
            "body": body.hex(), "frame": framed(sequence, body).hex(),
        })  # fmt: skip
    return triples


def streams() -> list[dict[str, Any]]:
    """Return byte streams with the good frames in each, in order, and the number of damaged ones."""
    acknowledge = body_of("Acknowledge", {"shaft": 7})
    stop = body_of("Command", {"order": "STOP"})
    first, second = framed(1, acknowledge), framed(2, stop)
    flipped = bytes([first[0], first[1] ^ 0x10]) + first[2:]
    plain = (3).to_bytes(2, "little") + acknowledge
    wrong_crc = cobs.encode(plain + (zlib.crc32(plain) ^ 1).to_bytes(4, "little")) + b"\0"
    bare = zlib.crc32(b"\1\2").to_bytes(4, "little")
    largest = framed(4, bytes(range(256)) * 3 + bytes(LARGEST_BODY - 768))
    too_large = framed(5, bytes(LARGEST_BODY + 1))
    both, after = [[1, acknowledge], [2, stop]], [[2, stop]]
    cases = [
        ("two good frames", first + second, both, 0),
        ("empty frames between good ones are ignored", b"\0" + first + b"\0\0" + second, both, 0),
        ("one bit turned over", flipped + second, after, 1),
        ("cut off in the middle", first[:5] + b"\0" + second, after, 1),
        ("cut off and run into the next", first[:5] + second, [], 1),
        ("no delimiter yet", second + first[:-1], after, 0),
        ("wrong checksum", wrong_crc + second, after, 1),
        ("a code byte that points beyond the end", b"\x09\x01\x02\x00" + second, after, 1),
        ("shorter than a sequence number and a checksum", cobs.encode(b"\1\2\3") + b"\0" + second, after, 1),
        ("a sequence number and a checksum without a body", cobs.encode(b"\1\2" + bare) + b"\0", [], 1),
        ("the largest frame", largest, [[4, bytes(range(256)) * 3 + bytes(LARGEST_BODY - 768)]], 0),
        ("one byte over the largest frame", too_large + second, after, 1),
        ("a long noise without a delimiter", b"\x55" * 5000 + b"\0" + second, after, 1),
        ("a modem command before the first frame", b"AT+GCAP\r\0" + second, after, 1),
    ]  # fmt: skip
    return [
        {"what": what, "source": MADE, "bytes": data.hex(), "damaged": damaged,
         "frames": [{"sequence": sequence, "body": body.hex()} for sequence, body in frames]}
        for what, data, frames, damaged in cases
    ]  # fmt: skip


def foreign_bodies() -> list[dict[str, Any]]:
    """Return bodies that have a good checksum in their frame but hold no record."""
    command = body_of("Command", {"order": "STOP"})
    step = body_of("Program", {"shaft": 7, "stand": False, "steps": [STEP]})
    cases = [
        ("a branch that does not exist", b"\x1c\x00"),
        ("a negative branch", b"\x01\x00"),
        ("a record cut short", body_of("Release", {"shaft": 12, "place": 3})[:-1]),
        ("a symbol that does not exist", command[:1] + b"\x06"),
        ("a branch of a field that does not exist", step[:5] + b"\x04" + step[6:]),
        ("a varint without an end", b"\x12" + b"\xff" * 12),
    ]
    return [{"what": what, "source": MADE, "body": body.hex()} for what, body in cases]


def published() -> dict[str, Any]:
    """Return published check values of the encodings that frames and bodies are made of."""
    return {
        "crc_32": {
            "source": "check value of CRC-32/ISO-HDLC in the catalogue of parametrised CRC algorithms",
            "ascii": "123456789", "crc": "cbf43926",
        },
        "cobs": {
            "source": "S. Cheshire, M. Baker, Consistent Overhead Byte Stuffing, IEEE/ACM Trans. Networking 7(2), "
            "1999, Fig. 3; the short ones are common examples from memory, checked with the cobs package",
            "pairs": [
                ["4500002c4c79000040064f37", "024501042c4c79010540064f37"], ["", "01"], ["00", "0101"],
                ["0000", "010101"], ["001100", "01021101"], ["1122330044", "041122330244"],
                ["11223344", "0511223344"], ["11000000", "0211010101"],
            ],
        },
        "zigzag": {
            "source": "Apache Avro specification, binary encoding of int and long, table of examples",
            "pairs": [[0, "00"], [-1, "01"], [1, "02"], [-2, "03"], [2, "04"], [-64, "7f"], [64, "8001"]],
        },
        "avro": {
            "source": "Apache Avro specification, binary encoding: examples of string, record and array",
            "string_foo": "06666f6f", "record_long_27_string_foo": "3606666f6f", "array_of_long_3_27": "04063600",
        },
        "fingerprints": {
            "source": "apache/avro, share/test/data/schema-tests.txt: CRC-64-AVRO of canonical schemas, here "
            "least significant byte first",
            "pairs": [
                ["\"null\"", "8a8f25cce724dd63"], ["\"int\"", "8f5c393f1ad57572"],
                ["\"string\"", "c70345637248018f"], ["[\"int\",\"boolean\"]", "02160c087835d64a"],
                ["{\"name\":\"foo\",\"type\":\"record\",\"fields\":[{\"name\":\"f1\",\"type\":\"boolean\"},"
                 "{\"name\":\"f2\",\"type\":\"int\"}]}", "4a93f457bd058dbc"],
                ["{\"name\":\"foo\",\"type\":\"fixed\",\"size\":15}", "04a531edc32e6018"],
            ],
        },
    }  # fmt: skip


def vectors() -> dict[str, Any]:
    """Return the content of the whole file."""
    return {
        "about": "Golden bytes of the protocol; hex, all of a frame's bytes with its delimiter. See SPEC.md.",
        "records": records(),
        "streams": streams(),
        "foreign_bodies": foreign_bodies(),
        "published": published(),
    }


if __name__ == "__main__":
    (PROTOCOL / "vectors.json").write_text(json.dumps(vectors(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
