"""Made by `make records` from protocol/: change the definitions there, never this file.

The enums and records of the line, with the ranges of their values. Tuples keep the order of the schema's arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

PROTOCOL_MAJOR = 1
PROTOCOL_MINOR = 3


class State(IntEnum):
    """State of the device.

    BENCH: a bench step is running; STANDING: it has ended and the head stands where it was taken. FEEDING: a shaft
    rolls in; LOADED: it lies on the rollers and nothing moves; SELECTING: the chute turns to a place; RELEASING: the
    shaft rolls out. SPEC.md has the table of transitions.
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
    """Code of a fault.

    Text, safe action and way back of each code are in faults.json and in SPEC.md. New codes are appended.
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
    """Part of the measuring cycle in which a reading was taken; BENCH for a bench step.

    New phases are appended; a retired name stays in its place.
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
    """Reason for refusing a request."""

    WRONG_PROTOCOL = 0
    WRONG_STATE = 1
    OUT_OF_RANGE = 2
    NO_PLAN = 3
    UNKNOWN_SHAFT = 4
    BUFFER_TOO_SMALL = 5
    NOT_SAFE = 6
    NO_FEEDER = 7


class Order(IntEnum):
    """Kind of order in a Command."""

    KEEP_ALIVE = 0
    MEASURE = 1
    STOP = 2
    CLEAR_FAULT = 3


class Source(IntEnum):
    """Place that a shaft comes from."""

    HOPPER = 0
    SLOT = 1
    SEATED = 2


class HostFault(StrEnum):
    """Fault that the host finds while it sorts, because the device cannot notice it; its texts are in faults.json."""

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
    """Release as the device recorded it.

    Parameters
    ----------
    shaft : int
        Number of the shaft. 0 or more.
    place : int
        Place the chute pointed to. 0 or more.
    done : bool
        False from before the gate opens until the rollers are clear and the gate is shut again. If it stays false, the
        shaft may be anywhere on its way.
    passed : int
        Number of shafts that the chute's sensor counted, usually 1; 2 if two came; 0 if it saw none, and while done is
        false. 0 or more.
    """

    shaft: int
    place: int
    done: bool
    passed: int


@dataclass(frozen=True, slots=True)
class Unusual:
    """Status of a reading of the block that is not simply good.

    Parameters
    ----------
    reading : int
        Index within this block, from 0. 0 or more.
    status : int
        Bit set: 1 settling after a motion, 2 converter at its limit, 4 trailing bits wrong (out of step), 8 one or more
        samples missing before this one. 1 to 15.
    """

    reading: int
    status: int


@dataclass(frozen=True, slots=True)
class Identify:
    """Identity of the gauge, its state and what it holds.

    Its first three fields keep their place and type in every version, so that any host can read them before it trusts
    the rest. Sent by the device.

    Parameters
    ----------
    protocol_major : int
        Version that both ends must share. 1 or more.
    protocol_minor : int
        Minor version, for information only. 0 or more.
    fingerprint : bytes
        CRC-64-AVRO of the message schema in Parsing Canonical Form, least significant byte first as in Avro
        single-object encoding.
    gauge : str
        Name that the owner gave this gauge, not empty. Up to 32 characters.
    firmware : str
        Version of the device code.
    runtime : str
        Interpreter and platform that run the device code; it also says if the board is a rehearsal.
    boot : int
        Number that changes at every start of the device: by a new value the host notices a reset. 0 to 1073741823.
    state : State
        State at the moment of sending.
    held_shaft : int or None
        Number of the shaft whose blocks are held because the host has not acknowledged them; None if there is none. 0
        or more.
    held_blocks : int
        Number of blocks held. 0 or more.
    tick_us : int
        Device clock in microseconds, wraps at 2^30. 0 to 1073741823.
    interval_us : int
        Nominal time between two load-cell samples in microseconds. The actual times come with the readings. 1 or more.
    count_min : int
        Lowest count the converter can give, -8388608 for 24 bits.
    count_max : int
        Highest count the converter can give, 8388607 for 24 bits.
    count_limit : int
        Force limit of the device as a rise of the count above zero; no command exceeds it. 1 or more.
    press_limit_steps : int
        Travel limit of the device below home in press microsteps; no command exceeds it. 1 or more.
    silence_ms : int
        Time without a frame from the host after which a moving device retracts, in milliseconds. 1 or more.
    buffer_bytes : int
        Room for held blocks in bytes; a plan that could need more is refused. The maximum is several times the memory
        of any chip that runs the device code: a larger number is wrong and could fill the host's memory. 1 to 4194304.
    in_gauge : int or None
        Number under which the shaft on the rollers was fed; None if none was fed, or if it was forgotten after a reset
        or the clearing of a fault. 0 or more.
    seated : bool
        True if a seat sensor sees a shaft on the rollers now.
    hopper : bool
        True if the hopper holds at least one shaft.
    slot : bool
        True if a check standard lies in its slot.
    places : int
        Number of places the chute can point to, numbered from 1; 0 on a gauge without feeder and selector. 0 or more.
    guards : int
        Bit set of the safety inputs that are configured: 1 lid, 2 emergency stop. 0 or more.
    fault : FaultCode or None
        Reason why the device is FAULTED, or why the last feed, release or cycle did not go as ordered; None if it did.
        The next order or acknowledgement clears it.
    last_release : LastRelease or None
        Last release on record, across resets; None if there was none.
    temperature_centi : int or None
        Temperature of the board in hundredths of a degree Celsius; None if it has no thermometer.
    """

    protocol_major: int
    protocol_minor: int
    fingerprint: bytes
    gauge: str
    firmware: str
    runtime: str
    boot: int
    state: State
    held_shaft: int | None
    held_blocks: int
    tick_us: int
    interval_us: int
    count_min: int
    count_max: int
    count_limit: int
    press_limit_steps: int
    silence_ms: int
    buffer_bytes: int
    in_gauge: int | None
    seated: bool
    hopper: bool
    slot: bool
    places: int
    guards: int
    fault: FaultCode | None
    last_release: LastRelease | None
    temperature_centi: int | None


@dataclass(frozen=True, slots=True)
class Readings:
    """Block of raw readings of one shaft in one phase.

    The four arrays have equal length; entry i of all four is one reading. Sent by the device.

    Parameters
    ----------
    shaft : int
        Number of the shaft given by the host. 0 or more.
    block : int
        Number of this block within the shaft, from 0 without gaps. 0 or more.
    first : int
        Number within the shaft of this block's first reading, from 0 without gaps, so that a loss shows. 0 or more.
    phase : Phase
        Part of the cycle in which all readings of this block were taken.
    tick_us : int
        Device clock at the first reading in microseconds, wraps at 2^30. 0 to 1073741823.
    interval_us : int
        Sampling interval in microseconds to which lateness refers: the converter's own, as measured before this shaft.
        1 or more.
    lateness_us : tuple[int, ...]
        Time since the reading before minus interval_us, in microseconds, positive when late. The first is 0: its time
        is tick_us.
    rotate_steps : tuple[int, ...]
        Rotate axis in microsteps, positive in the turning direction of the cycle: the first is the position, each later
        one the change from the reading before.
    press_steps : tuple[int, ...]
        Press axis in microsteps below home, positive down: the first is the position, each later one the change from
        the reading before.
    counts : tuple[int, ...]
        Load-cell converter count, signed, rising with load: the first is the count, each later one the change from the
        reading before. Counts range from -8388608 to 8388607, changes to twice that.
    unusual : tuple[Unusual, ...]
        Readings whose status is not 0; all others are good.
    marks : tuple[int, ...]
        Rotate position in microsteps, absolute, of each passage of the index mark since the block before. Empty on a
        gauge without a mark sensor. If a flickering sensor gives more than the block has room for, the rest is left
        out.
    """

    shaft: int
    block: int
    first: int
    phase: Phase
    tick_us: int
    interval_us: int
    lateness_us: tuple[int, ...]
    rotate_steps: tuple[int, ...]
    press_steps: tuple[int, ...]
    counts: tuple[int, ...]
    unusual: tuple[Unusual, ...]
    marks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class EndOfShaft:
    """End of a shaft's cycle; its blocks are held until the host acknowledges them.

    Sent by the device.

    Parameters
    ----------
    shaft : int
        Number of the shaft. 0 or more.
    blocks : int
        Number of blocks sent for it. 0 or more.
    readings : int
        Number of readings in those blocks. 0 or more.
    complete : bool
        True if the whole cycle ran, false if it was cut short for the reason in cause.
    cause : FaultCode or None
        Fault that cut the cycle short; None if complete.
    duration_ms : int
        Time from the start of seating, or of the bench step, to the end in milliseconds. 0 or more.
    sampling_ms : int
        Part of duration_ms in which readings for the result were taken (both zeros and the three turns, or the good
        ones of the bench step), in milliseconds. 0 or more.
    """

    shaft: int
    blocks: int
    readings: int
    complete: bool
    cause: FaultCode | None
    duration_ms: int
    sampling_ms: int


@dataclass(frozen=True, slots=True)
class Event:
    """Change of the device from one state to another.

    Sent by the device.

    Parameters
    ----------
    tick_us : int
        Device clock in microseconds, wraps at 2^30. 0 to 1073741823.
    previous : State
        State left.
    state : State
        State entered.
    shaft : int or None
        Shaft in the gauge; None if none is being measured. 0 or more.
    """

    tick_us: int
    previous: State
    state: State
    shaft: int | None


@dataclass(frozen=True, slots=True)
class Fault:
    """Report of a fault; the device has already taken the safe action of SPEC.md.

    Sent by the device.

    Parameters
    ----------
    code : FaultCode
        Code of the fault.
    state : State
        State in which it happened.
    tick_us : int
        Device clock in microseconds, wraps at 2^30. 0 to 1073741823.
    shaft : int or None
        Shaft in the gauge; None if there is none. 0 or more.
    detail : int
        Number that helps to find the cause: a count, the press position in microsteps, the silence in milliseconds, or
        as the fault table says.
    """

    code: FaultCode
    state: State
    tick_us: int
    shaft: int | None
    detail: int


@dataclass(frozen=True, slots=True)
class Reply:
    """Answer to any request except a greeting and KEEP_ALIVE.

    Sent by the device.

    Parameters
    ----------
    to_sequence : int
        Sequence number of the frame that it answers. 0 to 65535.
    refusal : Refusal or None
        Reason why the request was refused; None if it was accepted.
    field : str
        Name of the field at fault; with NOT_SAFE, lid or stop; empty otherwise. Up to 32 characters.
    """

    to_sequence: int
    refusal: Refusal | None
    field: str


@dataclass(frozen=True, slots=True)
class Greet:
    """Greeting that opens the conversation and asks for Identify.

    Its first three fields keep their place and type in every version. A device refuses every other request until it has
    received a greeting with its own major version and fingerprint. Sent by the host.

    Parameters
    ----------
    protocol_major : int
        Version that both ends must share. 1 or more.
    protocol_minor : int
        Minor version, for information only. 0 or more.
    fingerprint : bytes
        CRC-64-AVRO of the host's message schema, least significant byte first.
    """

    protocol_major: int
    protocol_minor: int
    fingerprint: bytes


@dataclass(frozen=True, slots=True)
class CyclePlan:
    """Plan for measuring the next shafts.

    It is valid until the next plan or a reset. All values are counts, microsteps and readings: the device converts
    nothing. Sent by the host.

    Parameters
    ----------
    light_count : int
        Rise of the count above zero at which the approach stops (about 10 % of the standard load). 1 to count_limit.
    full_count : int
        Rise of the count above zero at which the deepening stops (about the standard load). Above light_count, up to
        count_limit.
    clearance_steps : int
        Press microsteps below home down to which the head moves at press_speed before the slow approach. 0 to
        travel_steps.
    travel_steps : int
        Press microsteps below home at which a head without contact, or without full load, gives up. 1 to
        press_limit_steps.
    takeup_steps : int
        Press microsteps by which the head lifts past the light depth on its way back before it comes down again, so
        that every depth is reached from the same side of the screw's backlash. 0 or more.
    seat_steps : int
        Rotate microsteps of turning before the first zero, to seat the shaft on its rollers. 0 or more.
    turn_steps : int
        Rotate microsteps of turning at the light and at the full depth; at least two revolutions of the shaft. 1 or
        more.
    turn_again_steps : int
        Rotate microsteps of turning at the light depth on the way back. 1 or more.
    zero_readings : int
        Number of good readings of each zero. 1 to 1000.
    settle_readings : int
        Number of readings marked as settling at the start of every sampled phase, while the converter's filter still
        holds older samples. 0 to 100.
    press_speed : int
        Press speed in microsteps per second. 1 or more.
    approach_speed : int
        Press speed of the approach to contact in microsteps per second. 1 or more.
    rotate_speed : int
        Rotate speed in microsteps per second. 1 or more.
    """

    light_count: int
    full_count: int
    clearance_steps: int
    travel_steps: int
    takeup_steps: int
    seat_steps: int
    turn_steps: int
    turn_again_steps: int
    zero_readings: int
    settle_readings: int
    press_speed: int
    approach_speed: int
    rotate_speed: int


@dataclass(frozen=True, slots=True)
class Command:
    """Order to the device.

    Repeating an order whose reply was lost does no harm. Sent by the host.

    Parameters
    ----------
    order : Order
        KEEP_ALIVE: the host is there (no reply). MEASURE: run one cycle on the shaft in the gauge; from LOADED only on
        the shaft that was fed under this number. STOP: retract now and give up the shaft or bench step. CLEAR_FAULT:
        home the press and return to IDLE, after a fault or from STANDING; the device then forgets which shaft lies on
        the rollers.
    shaft : int or None
        Shaft number for MEASURE, None otherwise. 0 or more.
    """

    order: Order
    shaft: int | None = None


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """Statement that every block of this shaft is on the host's disk, so the device may forget it.

    Sent by the host.

    Parameters
    ----------
    shaft : int
        Number of the shaft. 0 or more.
    """

    shaft: int


@dataclass(frozen=True, slots=True)
class Resend:
    """Order to send these held blocks again, then EndOfShaft.

    Sent by the host.

    Parameters
    ----------
    shaft : int
        Number of the held shaft. 0 or more.
    blocks : tuple[int, ...]
        Numbers of the blocks wanted, at most 64; empty for EndOfShaft alone.
    """

    shaft: int
    blocks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BenchStep:
    """Order for one step of a calibration on the bench.

    The head goes to a position, the rotate axis turns, readings are taken, and the head stays there until the next
    step. A step is a numbered run of its own, like a shaft. The first step from IDLE is taken with the head at home;
    its mean is the zero to which count_limit and stop_count refer. Repeating a step whose reply was lost does no harm.
    Sent by the host.

    Parameters
    ----------
    shaft : int
        Number of this step's run. 0 to 1073741823.
    press_steps : int
        Press microsteps below home at which readings are taken. 0 to press_limit_steps; 0 in the first step from IDLE.
    rotate_steps : int
        Rotate microsteps to turn from here while sampling, in either direction; 0 for no turn. -1048576 to 1048576.
    stop_count : int or None
        Rise of the count above the bench's zero at which a head on its way down stops short of press_steps; None to go
        all the way. 1 to count_limit.
    readings : int
        Smallest number of good readings; a turn that takes longer gives more. 1 to 10000, if there is room.
    settle_readings : int
        Number of readings marked as settling after the head comes to rest. Those taken while it moves, or while a turn
        has not reached constant speed, are marked too. 0 to 100.
    press_speed : int
        Press speed in microsteps per second. It must be slow where the head may meet something stiff, because noticing
        a load takes two readings. 1 or more.
    rotate_speed : int
        Rotate speed in microsteps per second. 1 or more.
    """

    shaft: int
    press_steps: int
    rotate_steps: int
    stop_count: int | None
    readings: int
    settle_readings: int
    press_speed: int
    rotate_speed: int


@dataclass(frozen=True, slots=True)
class Feed:
    """Order to bring a shaft onto the rollers under this number.

    Repeating it after its reply was lost does no harm. Sent by the host.

    Parameters
    ----------
    shaft : int
        Number of the shaft, never used for another shaft. 0 to 1073741823.
    source : Source
        HOPPER: let a shaft in from the hopper. SLOT: let the check standard in from its slot. SEATED: what lies on the
        rollers is this shaft, after a reset or a cleared fault, or because a person put it there.
    """

    shaft: int
    source: Source


@dataclass(frozen=True, slots=True)
class Release:
    """Order to let the shaft on the rollers go to a place.

    Repeating it after its reply was lost does no harm: a release that is recorded as done is not done again. Sent by
    the host.

    Parameters
    ----------
    shaft : int
        Number under which the shaft was fed. 0 to 1073741823.
    place : int
        Number of the place to turn the chute to. 1 to places.
    """

    shaft: int
    place: int


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
