"""The records of the line as one table, and Avro packing and unpacking driven by it.

The table repeats the schemas in protocol/ (a test holds the two together): names in union order, fields in schema
order. A type is a plain name, the name of an enum or part, ("null", type), or ("array", type). Enum values are indices.
"""

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 3
# CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first (Avro specification)
FINGERPRINT = b"\xd3\x24\xc8\xec\x08\x59\xe3\x9d"

STATES = ("STARTING", "HOMING", "IDLE", "SEATING", "ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN",
          "LIGHT_AGAIN", "LIFT", "ZERO_AFTER", "RETRACTING", "HOLDING", "FAULTED", "BENCH", "STANDING", "FEEDING",
          "LOADED", "SELECTING", "RELEASING")  # fmt: skip
PHASES = ("ZERO_BEFORE", "APPROACH", "LIGHT", "DEEPEN", "FULL", "RETURN", "LIGHT_AGAIN", "LIFT", "ZERO_AFTER",
          "BENCH")  # fmt: skip
FAULT_CODES = ("CELL_SILENT", "CELL_STUCK", "CELL_OUT_OF_STEP", "CELL_SATURATED", "NO_CONTACT",
               "FORCE_LIMIT", "TRAVEL_LIMIT", "HOME_NOT_FOUND", "HOST_SILENT", "STOPPED_BY_HOST",
               "BUFFER_FULL", "INTERNAL", "LOST_STEPS", "HOPPER_EMPTY", "SHAFT_SHORT", "TWO_SHAFTS", "JAM",
               "BIN_FULL", "LID_OPEN", "EMERGENCY_STOP", "CONFIGURATION", "HOME_STUCK", "FORCE_REVERSED")  # fmt: skip
ORDERS = ("KEEP_ALIVE", "MEASURE", "STOP", "CLEAR_FAULT")
REFUSALS = ("WRONG_PROTOCOL", "WRONG_STATE", "OUT_OF_RANGE", "NO_PLAN", "UNKNOWN_SHAFT", "BUFFER_TOO_SMALL",
            "NOT_SAFE", "NO_FEEDER")  # fmt: skip
SOURCES = ("HOPPER", "SLOT", "SEATED")
ENUMS = {"State": STATES, "Phase": PHASES, "FaultCode": FAULT_CODES, "Order": ORDERS, "Refusal": REFUSALS,
         "Source": SOURCES}  # fmt: skip
FIXED = {"Fingerprint": 8}
ITEMS_MAX = 64  # of an array in a request: a frame of nonsense holds a thousand, too large a piece for a used heap
PARTS = {
    "Unusual": (("reading", "int"), ("status", "int")),
    "LastRelease": (("shaft", "long"), ("place", "int"), ("done", "boolean"), ("passed", "int")),
}

RECORDS = (
    ("Identify", (
        ("protocol_major", "int"), ("protocol_minor", "int"), ("fingerprint", "Fingerprint"), ("gauge", "string"),
        ("firmware", "string"), ("runtime", "string"), ("boot", "int"), ("state", "State"),
        ("held_shaft", ("null", "long")), ("held_blocks", "int"), ("tick_us", "int"), ("interval_us", "int"),
        ("count_min", "int"), ("count_max", "int"), ("count_limit", "int"), ("press_limit_steps", "int"),
        ("silence_ms", "int"), ("buffer_bytes", "int"), ("in_gauge", ("null", "long")), ("seated", "boolean"),
        ("hopper", "boolean"), ("slot", "boolean"), ("places", "int"), ("guards", "int"),
        ("fault", ("null", "FaultCode")), ("last_release", ("null", "LastRelease")),
        ("temperature_centi", ("null", "int")))),
    ("Readings", (
        ("shaft", "long"), ("block", "int"), ("first", "int"), ("phase", "Phase"), ("tick_us", "int"),
        ("interval_us", "int"), ("lateness_us", ("array", "int")), ("rotate_steps", ("array", "int")),
        ("press_steps", ("array", "int")), ("counts", ("array", "int")), ("unusual", ("array", "Unusual")),
        ("marks", ("array", "int")))),
    ("EndOfShaft", (
        ("shaft", "long"), ("blocks", "int"), ("readings", "int"), ("complete", "boolean"),
        ("cause", ("null", "FaultCode")), ("duration_ms", "int"), ("sampling_ms", "int"))),
    ("Event", (("tick_us", "int"), ("previous", "State"), ("state", "State"), ("shaft", ("null", "long")))),
    ("Fault", (
        ("code", "FaultCode"), ("state", "State"), ("tick_us", "int"), ("shaft", ("null", "long")),
        ("detail", "int"))),
    ("Reply", (("to_sequence", "int"), ("refusal", ("null", "Refusal")), ("field", "string"))),
    ("Greet", (("protocol_major", "int"), ("protocol_minor", "int"), ("fingerprint", "Fingerprint"))),
    ("CyclePlan", (
        ("light_count", "int"), ("full_count", "int"), ("clearance_steps", "int"), ("travel_steps", "int"),
        ("takeup_steps", "int"), ("seat_steps", "int"), ("turn_steps", "int"), ("turn_again_steps", "int"),
        ("zero_readings", "int"), ("settle_readings", "int"), ("press_speed", "int"), ("approach_speed", "int"),
        ("rotate_speed", "int"))),
    ("Command", (("order", "Order"), ("shaft", ("null", "long")))),
    ("Acknowledge", (("shaft", "long"),)),
    ("Resend", (("shaft", "long"), ("blocks", ("array", "int")))),
    ("BenchStep", (
        ("shaft", "long"), ("press_steps", "int"), ("rotate_steps", "int"), ("stop_count", ("null", "int")),
        ("readings", "int"), ("settle_readings", "int"), ("press_speed", "int"), ("rotate_speed", "int"))),
    ("Feed", (("shaft", "long"), ("source", "Source"))),
    ("Release", (("shaft", "long"), ("place", "int"))),
)  # fmt: skip
(IDENTIFY, READINGS, END_OF_SHAFT, EVENT, FAULT, REPLY, GREET, CYCLE_PLAN, COMMAND, ACKNOWLEDGE, RESEND,
 BENCH_STEP, FEED, RELEASE) = range(len(RECORDS))  # fmt: skip


class RecordError(Exception):
    """Bytes with a good CRC that are no record of this protocol."""


def put_int(buffer: bytearray, at: int, value: int) -> int:
    """Write an Avro int or long (zig-zag varint) to buffer from `at` on; return the end.

    The sign goes into the first byte by hand: shifting it in would leave the chip's small integers.
    """
    sign = 0
    if value < 0:
        sign = 1
        value = ~value
    byte = (value & 63) << 1 | sign
    value >>= 6
    while value:
        buffer[at] = byte | 128
        at += 1
        byte = value & 127
        value >>= 7
    buffer[at] = byte
    return at + 1


def _put_bytes(buffer: bytearray, at: int, value: bytes) -> int:
    buffer[at : at + len(value)] = value
    return at + len(value)


def _put(buffer: bytearray, at: int, kind, value) -> int:
    if isinstance(kind, tuple):  # ("null", type): the device sends no arrays but those of Readings
        at = put_int(buffer, at, 0 if value is None else 1)
        return at if value is None else _put(buffer, at, kind[1], value)
    if kind == "string":
        text = value.encode()
        return _put_bytes(buffer, put_int(buffer, at, len(text)), text)
    if kind in FIXED:
        return _put_bytes(buffer, at, value)
    if kind == "boolean":
        buffer[at] = 1 if value else 0
        return at + 1
    if kind in PARTS:
        return _put_fields(buffer, at, PARTS[kind], value)
    return put_int(buffer, at, value)


def _put_fields(buffer: bytearray, at: int, fields, values) -> int:
    for i in range(len(fields)):
        at = _put(buffer, at, fields[i][1], values[i])
    return at


def pack(buffer: bytearray, at: int, branch: int, values: tuple) -> int:
    """Write the record of this branch of the union, values in field order, to buffer from `at` on; return the end."""
    return _put_fields(buffer, put_int(buffer, at, branch), RECORDS[branch][1], values)


class Unpacker:
    """Reads a datum of the union from buffer[at:end]; raises RecordError where the bytes make no sense."""

    def __init__(self, buffer: bytearray, at: int, end: int) -> None:
        self._buffer = buffer
        self._at = at
        self._end = end
        self.branch = self.number()
        if not 0 <= self.branch < len(RECORDS):
            raise RecordError("unknown record")

    def values(self) -> list:
        """Values of all fields in order. Bytes after the last field are left alone: a newer minor may add some."""
        return [self._take(kind) for _, kind in RECORDS[self.branch][1]]

    def number(self) -> int:
        """One Avro int or long."""
        byte = self._byte()
        negative = byte & 1
        value = (byte & 127) >> 1
        shift = 6
        while byte & 128:
            if shift > 62:
                raise RecordError("varint too long")
            byte = self._byte()
            value |= (byte & 127) << shift
            shift += 7
        return ~value if negative else value

    def _byte(self) -> int:
        if self._at >= self._end:
            raise RecordError("record too short")
        self._at += 1
        return self._buffer[self._at - 1]

    def _take(self, kind):
        if isinstance(kind, tuple):
            return self._array(kind[1]) if kind[0] == "array" else self._optional(kind[1])
        if kind in FIXED:
            return bytes([self._byte() for _ in range(FIXED[kind])])
        value = self.number()
        if kind in ENUMS and not 0 <= value < len(ENUMS[kind]):
            raise RecordError("unknown symbol")
        return value

    def _optional(self, kind):
        branch = self.number()
        if branch not in (0, 1):
            raise RecordError("unknown branch")
        return self._take(kind) if branch else None

    def _array(self, kind) -> list:
        items: list = []
        count = self.number()
        while count:
            if count < 0:  # a negative count is followed by the size in bytes (Avro specification, arrays)
                count = -count
                self.number()
            if len(items) + count > ITEMS_MAX:
                raise RecordError("array too long")
            for _ in range(count):
                items.append(self._take(kind))
            count = self.number()
        return items
