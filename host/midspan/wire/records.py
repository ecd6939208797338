"""Made by `make records` from protocol/: change the definitions there, never this file.

The enums and records of the line, and what a value of a field may be; tuples are in the order of the schema's arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 3


class State(IntEnum):
    """State of the device. BENCH: a bench step is under way, STANDING: it is over and the head stands where it was
    taken. FEEDING: a shaft rolls in, LOADED: it lies on the rollers and nothing moves, SELECTING: the chute is pointed
    at a place, RELEASING: the shaft rolls out. SPEC.md holds the table of its transitions.
    """

    STARTING = 0
    HOMING = 1
    IDLE = 2
    SEATING = 3
    ZERO_BEFORE = 4
    APPROACH = 5
    LIGHT = 6
    DEEPEN = 7
    FULL = 8
    RETURN = 9
    LIGHT_AGAIN = 10
    LIFT = 11
    ZERO_AFTER = 12
    RETRACTING = 13
    HOLDING = 14
    FAULTED = 15
    BENCH = 16
    STANDING = 17
    FEEDING = 18
    LOADED = 19
    SELECTING = 20
    RELEASING = 21


class FaultCode(IntEnum):
    """What went wrong. Text, safe action and way back of each code stand in faults.json and in SPEC.md. Codes are only
    ever appended.
    """

    CELL_SILENT = 0
    CELL_STUCK = 1
    CELL_OUT_OF_STEP = 2
    CELL_SATURATED = 3
    NO_CONTACT = 4
    FORCE_LIMIT = 5
    TRAVEL_LIMIT = 6
    HOME_NOT_FOUND = 7
    HOST_SILENT = 8
    STOPPED_BY_HOST = 9
    BUFFER_FULL = 10
    INTERNAL = 11
    LOST_STEPS = 12
    HOPPER_EMPTY = 13
    SHAFT_SHORT = 14
    TWO_SHAFTS = 15
    JAM = 16
    BIN_FULL = 17
    LID_OPEN = 18
    EMERGENCY_STOP = 19
    CONFIGURATION = 20
    HOME_STUCK = 21
    FORCE_REVERSED = 22


class Phase(IntEnum):
    """Part of the measuring cycle in which a reading was taken, or BENCH for a bench step. New phases are appended; a
    retired name stays in place.
    """

    ZERO_BEFORE = 0
    APPROACH = 1
    LIGHT = 2
    DEEPEN = 3
    FULL = 4
    RETURN = 5
    LIGHT_AGAIN = 6
    LIFT = 7
    ZERO_AFTER = 8
    BENCH = 9


class Refusal(IntEnum):
    """Why a device refuses a request."""

    WRONG_PROTOCOL = 0
    WRONG_STATE = 1
    OUT_OF_RANGE = 2
    NO_PLAN = 3
    UNKNOWN_SHAFT = 4
    BUFFER_TOO_SMALL = 5
    NOT_SAFE = 6
    NO_FEEDER = 7


class Order(IntEnum):
    """What a Command orders."""

    KEEP_ALIVE = 0
    MEASURE = 1
    STOP = 2
    CLEAR_FAULT = 3


class Source(IntEnum):
    """Where a shaft comes from."""

    HOPPER = 0
    SLOT = 1
    SEATED = 2


class HostFault(StrEnum):
    """What no device can notice, or not by itself: found by the host while it sorts. Words stand in faults.json."""

    GAUGE_RESET = "GAUGE_RESET"
    CELL_NOISY = "CELL_NOISY"
    ROLLER_SLIP = "ROLLER_SLIP"
    RATE_OFF = "RATE_OFF"
    ZERO_DRIFT = "ZERO_DRIFT"
    CHECK_OUT_OF_CONTROL = "CHECK_OUT_OF_CONTROL"
    DISK_FULL = "DISK_FULL"
    STORE_LOCKED = "STORE_LOCKED"
    CLOCK_JUMP = "CLOCK_JUMP"
    CRACK_SUSPECTED = "CRACK_SUSPECTED"
    PORT_LOST = "PORT_LOST"
    TEMPERATURE_OFF = "TEMPERATURE_OFF"
    ARCHIVE_GONE = "ARCHIVE_GONE"
    READINGS_GONE = "READINGS_GONE"
    STORE_GONE = "STORE_GONE"


@dataclass(frozen=True, slots=True)
class LastRelease:
    """A release as the device recorded it."""

    shaft: int
    """Number of the shaft. 0 or more."""
    place: int
    """Place the chute pointed to. 0 or more."""
    done: bool
    """False from before the gate opened until the rollers were clear and the gate shut again: a release that stays
    false may have left the shaft anywhere on its way.
    """
    passed: int
    """Passages that the chute's sensor saw: 1 as a rule, 0 when it saw none, 2 when two shafts came; 0 while done is
    false. 0 or more.
    """


@dataclass(frozen=True, slots=True)
class Unusual:
    """A reading of the block that is no plain good one."""

    reading: int
    """Index within this block, from 0. 0 or more."""
    status: int
    """Bit set: 1 settling after a motion, 2 converter at its limit, 4 trailing bits wrong (out of step), 8 one or more
    samples missing before this one. 1 to 15.
    """


@dataclass(frozen=True, slots=True)
class Identify:
    """Who is speaking and what it holds. Its first three fields keep their place and type in every version, so that any
    host can read them before it trusts the rest. Sent by the device.
    """

    protocol_major: int
    """Version that both ends must share. 1 or more."""
    protocol_minor: int
    """Informative version below the major one. 0 or more."""
    fingerprint: bytes
    """CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first as in Avro
    single-object encoding.
    """
    gauge: str
    """Name given to this gauge by its owner, not empty. Up to 32 characters."""
    firmware: str
    """Version of the device code."""
    runtime: str
    """Interpreter and platform that run the device code, and whether the board is a rehearsal."""
    boot: int
    """Number that changes at every start of the device; a new value tells the host that the device was reset. 0 to
    1073741823.
    """
    state: State
    """State at the moment of sending."""
    held_shaft: int | None
    """Number of the shaft whose blocks are held because the host has not acknowledged them; null when none. 0 or more.
    """
    held_blocks: int
    """Number of blocks held. 0 or more."""
    tick_us: int
    """Device clock in microseconds, wraps at 2^30. 0 to 1073741823."""
    interval_us: int
    """Nominal time between two load-cell samples in microseconds. The actual times come with the readings. 1 or more.
    """
    count_min: int
    """Lowest count the converter can give, -8388608 for 24 bits."""
    count_max: int
    """Highest count the converter can give, 8388607 for 24 bits."""
    count_limit: int
    """The device's own force limit as a rise of the count above zero; no command exceeds it. 1 or more."""
    press_limit_steps: int
    """The device's own travel limit below home in press microsteps; no command exceeds it. 1 or more."""
    silence_ms: int
    """Time without a frame from the host after which a moving device retracts, in milliseconds. 1 or more."""
    buffer_bytes: int
    """Room for held blocks in bytes; a plan that could need more is refused. The maximum is several times the memory of
    any chip that runs the device code: a gauge that says more is mad, and the host's memory is what it would fill. 1 to
    4194304.
    """
    in_gauge: int | None
    """Number under which the shaft on the rollers was fed; null when none was, or when a reset or the clearing of a
    fault forgot it. 0 or more.
    """
    seated: bool
    """Whether a seat sensor sees a shaft on the rollers now."""
    hopper: bool
    """Whether the hopper holds at least one shaft."""
    slot: bool
    """Whether a check standard lies in its slot."""
    places: int
    """Number of places the chute can point to, numbered from 1; 0 on a gauge without feeder and selector. 0 or more."""
    guards: int
    """Bit set of the safety inputs that are configured: 1 lid, 2 emergency stop. 0 or more."""
    fault: FaultCode | None
    """Why the device is FAULTED, or why the feed, release or cycle before did not go as asked; null when it did. The
    next order, or an acknowledgement, wipes it.
    """
    last_release: LastRelease | None
    """The last release as recorded, across resets; null when there was none."""
    temperature_centi: int | None
    """The board's thermometer in hundredths of a degree Celsius; null when it has none."""


@dataclass(frozen=True, slots=True)
class Readings:
    """A block of raw readings of one shaft in one phase. The four arrays are equally long and row i of all four is one
    reading. Sent by the device.
    """

    shaft: int
    """Number of the shaft given by the host. 0 or more."""
    block: int
    """Number of this block within the shaft, from 0 without gaps. 0 or more."""
    first: int
    """Number within the shaft of the first reading here, from 0 without gaps, so that a loss shows. 0 or more."""
    phase: Phase
    """Part of the cycle in which all readings of this block were taken."""
    tick_us: int
    """Device clock at the first reading in microseconds, wraps at 2^30. 0 to 1073741823."""
    interval_us: int
    """Sampling interval in microseconds to which lateness refers: the converter's own, as measured before this shaft. 1
    or more.
    """
    lateness_us: tuple[int, ...]
    """Time since the reading before minus interval_us, in microseconds, positive when late. The first is 0: its time is
    tick_us.
    """
    rotate_steps: tuple[int, ...]
    """Rotate axis in microsteps, positive in the turning direction of the cycle: the first is the position, each later
    one the change from the reading before.
    """
    press_steps: tuple[int, ...]
    """Press axis in microsteps below home, positive down: the first is the position, each later one the change from the
    reading before.
    """
    counts: tuple[int, ...]
    """Load-cell converter count, signed, rising with load: the first is the count, each later one the change from the
    reading before. Counts range from -8388608 to 8388607, changes to twice that.
    """
    unusual: tuple[Unusual, ...]
    """Readings whose status is not 0; a reading that is not listed is a good one."""
    marks: tuple[int, ...]
    """Rotate position in microsteps of each passage of the index mark since the block before; absolute values. Empty on
    a gauge without a mark sensor. Those that find no room in the block, from a sensor that flickers, are left out.
    """


@dataclass(frozen=True, slots=True)
class EndOfShaft:
    """The shaft's cycle is over and its blocks are held until the host acknowledges them. Sent by the device."""

    shaft: int
    """Number of the shaft. 0 or more."""
    blocks: int
    """Number of blocks sent for it. 0 or more."""
    readings: int
    """Number of readings in those blocks. 0 or more."""
    complete: bool
    """True when the whole cycle ran; false when it was cut short, then cause says why."""
    cause: FaultCode | None
    """Why the cycle was cut short; null when complete."""
    duration_ms: int
    """Time from the start of seating, or of the bench step, to the end in milliseconds. 0 or more."""
    sampling_ms: int
    """Part of duration_ms in which readings for the result were taken (both zeros and the three turns, or the good ones
    of the bench step), in milliseconds. 0 or more.
    """


@dataclass(frozen=True, slots=True)
class Event:
    """The cycle went from one state to another. Sent by the device."""

    tick_us: int
    """Device clock in microseconds, wraps at 2^30. 0 to 1073741823."""
    previous: State
    """State left."""
    state: State
    """State entered."""
    shaft: int | None
    """Shaft in the gauge, null when none is being measured. 0 or more."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something went wrong; the device has already taken the safe action of SPEC.md. Sent by the device."""

    code: FaultCode
    """What went wrong."""
    state: State
    """State in which it happened."""
    tick_us: int
    """Device clock in microseconds, wraps at 2^30. 0 to 1073741823."""
    shaft: int | None
    """Shaft in the gauge, null when none. 0 or more."""
    detail: int
    """A number that helps: the count, the press position in microsteps or the silence in milliseconds, as the fault
    table says.
    """


@dataclass(frozen=True, slots=True)
class Reply:
    """Answer to any request but a greeting and KEEP_ALIVE. Sent by the device."""

    to_sequence: int
    """Sequence number of the frame that is answered. 0 to 65535."""
    refusal: Refusal | None
    """Why the request was refused; null when it was accepted."""
    field: str
    """Name of the field at fault when one is; with NOT_SAFE lid or stop; else empty. Up to 32 characters."""


@dataclass(frozen=True, slots=True)
class Greet:
    """Opens the conversation and asks for Identify. Its first three fields keep their place and type in every version.
    A device obeys no other request until a greeting with its own major version and fingerprint has come. Sent by the
    host.
    """

    protocol_major: int
    """Version that both ends must share. 1 or more."""
    protocol_minor: int
    """Informative version below the major one. 0 or more."""
    fingerprint: bytes
    """CRC-64-AVRO of the host's message schema, least significant byte first."""


@dataclass(frozen=True, slots=True)
class CyclePlan:
    """How the next shafts are to be measured; valid until the next plan or a reset. All in counts, microsteps and
    readings: the device converts nothing. Sent by the host.
    """

    light_count: int
    """Rise of the count above zero at which the approach stops (about 10 % of the standard load). 1 to count_limit."""
    full_count: int
    """Rise of the count above zero at which the deepening stops (about the standard load). Above light_count, up to
    count_limit.
    """
    clearance_steps: int
    """Press microsteps below home down to which the head moves at press_speed before the slow approach. 0 to
    travel_steps.
    """
    travel_steps: int
    """Press microsteps below home at which a head without contact, or without full load, gives up. 1 to
    press_limit_steps.
    """
    takeup_steps: int
    """Press microsteps by which the head lifts past the light depth on its way back, then comes down again, so that
    every depth is approached from the same side of the screw's backlash. 0 or more.
    """
    seat_steps: int
    """Rotate microsteps of turning before the first zero, to seat the shaft on its rollers. 0 or more."""
    turn_steps: int
    """Rotate microsteps of turning at the light and at the full depth; at least two revolutions of the shaft. 1 or
    more.
    """
    turn_again_steps: int
    """Rotate microsteps of turning at the light depth on the way back. 1 or more."""
    zero_readings: int
    """Good readings of each zero. 1 to 1000."""
    settle_readings: int
    """Readings marked as settling at the start of every sampled phase (the converter's filter still holds older
    samples). 0 to 100.
    """
    press_speed: int
    """Press speed in microsteps per second. 1 or more."""
    approach_speed: int
    """Press speed of the approach to contact in microsteps per second. 1 or more."""
    rotate_speed: int
    """Rotate speed in microsteps per second. 1 or more."""


@dataclass(frozen=True, slots=True)
class Command:
    """An order. Repeating one whose reply was lost does no harm. Sent by the host."""

    order: Order
    """KEEP_ALIVE: the host is there (no reply). MEASURE: run one cycle on the shaft in the gauge; from LOADED only on
    the one that was fed under this number. STOP: retract now and give the shaft or bench step up. CLEAR_FAULT: home the
    press and return to IDLE, after a fault or from STANDING; which shaft lies on the rollers is then forgotten.
    """
    shaft: int | None = None
    """Shaft number for MEASURE, null otherwise. 0 or more."""


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """Every block of this shaft is on the host's disk; the device may forget it. Sent by the host."""

    shaft: int
    """Number of the shaft. 0 or more."""


@dataclass(frozen=True, slots=True)
class Resend:
    """Send these held blocks again, then EndOfShaft again. Sent by the host."""

    shaft: int
    """Number of the held shaft. 0 or more."""
    blocks: tuple[int, ...]
    """Numbers of the blocks wanted; empty when only EndOfShaft is. At most 64 in one request."""


@dataclass(frozen=True, slots=True)
class BenchStep:
    """One step of a calibration on the bench, a numbered run of its own as a shaft is: the head goes to a position, the
    rotate axis turns, readings are taken, and the head stays there until the next step. The first step from IDLE is
    taken with the head at home; its mean is the zero to which count_limit and stop_count refer. Repeating one whose
    reply was lost does no harm. Sent by the host.
    """

    shaft: int
    """Number of this step's run. 0 to 1073741823."""
    press_steps: int
    """Press microsteps below home at which readings are taken. 0 to press_limit_steps; 0 in the first step from IDLE.
    """
    rotate_steps: int
    """Rotate microsteps to turn from here while sampling, either way; 0 for none. -1048576 to 1048576."""
    stop_count: int | None
    """Rise of the count above the bench's zero at which a head on its way down stops short of press_steps; null to go
    all the way. 1 to count_limit.
    """
    readings: int
    """Good readings wanted at least; a turn that is not over by then gives more. 1 to 10000, if there is room."""
    settle_readings: int
    """Readings marked as settling after the head came to rest; those of its motion, and those of a turn before its
    speed is constant, are marked too. 0 to 100.
    """
    press_speed: int
    """Press speed in microsteps per second; slow where the head may meet something stiff, for it takes two readings to
    notice a load. 1 or more.
    """
    rotate_speed: int
    """Rotate speed in microsteps per second. 1 or more."""


@dataclass(frozen=True, slots=True)
class Feed:
    """Bring a shaft onto the rollers and call it by this number. Repeating one whose reply was lost does no harm. Sent
    by the host.
    """

    shaft: int
    """Number of the shaft, never used for another. 0 to 1073741823."""
    source: Source
    """HOPPER: let one in from the hopper. SLOT: let the check standard in from its slot. SEATED: take what lies on the
    rollers as this shaft, after a reset or a cleared fault, or when a person put it there.
    """


@dataclass(frozen=True, slots=True)
class Release:
    """Let the shaft on the rollers go to a place. Repeating one whose reply was lost does no harm, and one that is
    recorded as done is not done again. Sent by the host.
    """

    shaft: int
    """Number under which the shaft was fed. 0 to 1073741823."""
    place: int
    """Place to point the chute to. 1 to places."""


Record = (
    Identify
    | Readings
    | EndOfShaft
    | Event
    | Fault
    | Reply
    | Greet
    | CyclePlan
    | Command
    | Acknowledge
    | Resend
    | BenchStep
    | Feed
    | Release
)

# Lowest and highest value of each number that a gauge sends, or of the items of an array
RANGES: dict[type, dict[str, tuple[int, int]]] = {
    LastRelease: {
        "shaft": (0, 9223372036854775807),
        "place": (0, 2147483647),
        "passed": (0, 2147483647),
    },
    Unusual: {
        "reading": (0, 2147483647),
        "status": (1, 15),
    },
    Identify: {
        "boot": (0, 1073741823),
        "held_shaft": (0, 9223372036854775807),
        "held_blocks": (0, 2147483647),
        "tick_us": (0, 1073741823),
        "interval_us": (1, 2147483647),
        "count_min": (-2147483648, 2147483647),
        "count_max": (-2147483648, 2147483647),
        "count_limit": (1, 2147483647),
        "press_limit_steps": (1, 2147483647),
        "silence_ms": (1, 2147483647),
        "buffer_bytes": (1, 4194304),
        "in_gauge": (0, 9223372036854775807),
        "places": (0, 2147483647),
        "guards": (0, 2147483647),
        "temperature_centi": (-2147483648, 2147483647),
    },
    Readings: {
        "shaft": (0, 9223372036854775807),
        "block": (0, 2147483647),
        "first": (0, 2147483647),
        "tick_us": (0, 1073741823),
        "interval_us": (1, 2147483647),
        "lateness_us": (-2147483648, 2147483647),
        "rotate_steps": (-2147483648, 2147483647),
        "press_steps": (-2147483648, 2147483647),
        "counts": (-2147483648, 2147483647),
        "marks": (-2147483648, 2147483647),
    },
    EndOfShaft: {
        "shaft": (0, 9223372036854775807),
        "blocks": (0, 2147483647),
        "readings": (0, 2147483647),
        "duration_ms": (0, 2147483647),
        "sampling_ms": (0, 2147483647),
    },
    Event: {
        "tick_us": (0, 1073741823),
        "shaft": (0, 9223372036854775807),
    },
    Fault: {
        "tick_us": (0, 1073741823),
        "shaft": (0, 9223372036854775807),
        "detail": (-2147483648, 2147483647),
    },
    Reply: {
        "to_sequence": (0, 65535),
    },
}
# Most characters of a text that messages repeat
LONGEST: dict[type, dict[str, int]] = {
    Identify: {
        "gauge": 32,
    },
    Reply: {
        "field": 32,
    },
}
# Records that come within others
PARTS: dict[type, dict[str, type]] = {
    Identify: {
        "last_release": LastRelease,
    },
    Readings: {
        "unusual": Unusual,
    },
}
