"""Made by `make records` from protocol/: change the definitions there, never this file.

The enums and records of the line, with the ranges of their values. Tuples keep the order of the schema's arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum, StrEnum

PROTOCOL_MAJOR = 2
PROTOCOL_MINOR = 1


class State(IntEnum):
    """State of the device.

    RUNNING: a program runs; HOLDING: it has ended with the head at home; STANDING: it has ended and the head stands
    where it left it. Of a feeder: FEEDING: a shaft rolls in; LOADED: it lies on the rollers and nothing moves;
    SELECTING: the chute turns to a place; RELEASING: the shaft rolls out. SPEC.md has the table of transitions.
    """

    STARTING = 0
    HOMING = 1
    IDLE = 2
    RUNNING = 3
    RETRACTING = 4
    HOLDING = 5
    STANDING = 6
    FAULTED = 7
    FEEDING = 8
    LOADED = 9
    SELECTING = 10
    RELEASING = 11


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
    STEP_OVERTIME = 23


class Refusal(IntEnum):
    """Reason for refusing a request."""

    WRONG_PROTOCOL = 0
    WRONG_STATE = 1
    OUT_OF_RANGE = 2
    UNKNOWN_SHAFT = 3
    BUFFER_TOO_SMALL = 4
    NOT_SAFE = 5
    NO_FEEDER = 6


class Order(IntEnum):
    """Kind of order in a Command."""

    KEEP_ALIVE = 0
    STOP = 1
    CLEAR_FAULT = 2


class Source(IntEnum):
    """Place that a shaft comes from."""

    HOPPER = 0
    SLOT = 1
    SEATED = 2


class Phase(IntEnum):
    """What the host takes a reading for: the tag of its step.

    The device does not know these names, so a new one needs no new device. BACK: the shaft turns the other way. New
    phases are appended, because archives keep the numbers; a retired name stays in its place.
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
    SEATING = 10
    ZERO_MIDDLE = 11
    LIGHT_BACK = 12
    FULL_BACK = 13
    LIGHT_AGAIN_BACK = 14


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
    BOARD_STRAINED = "BOARD_STRAINED"


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
class FeederReport:
    """State of the feeder and of what it handles.

    Parameters
    ----------
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
        Number of places the chute can point to, numbered from 1. 1 or more.
    last_release : LastRelease or None
        Last release on record, across resets; None if there was none.
    """

    in_gauge: int | None
    seated: bool
    hopper: bool
    slot: bool
    places: int
    last_release: LastRelease | None


@dataclass(frozen=True, slots=True)
class Unusual:
    """Change of the status of readings: it holds from this reading on, up to the next change or the end of the block.

    Parameters
    ----------
    reading : int
        Index within this block, from 0. 0 or more.
    status : int
        Bit set, 0 for a good reading: 1 settling (an axis moves without constant speed, or the converter still
        remembers such a time), 2 converter at its limit, 4 trailing bits wrong (out of step), 8 one or more samples
        missing before this one. 0 to 15.
    """

    reading: int
    status: int


@dataclass(frozen=True, slots=True)
class Step:
    """Step of a program: the press moves, then the rotate axis turns while readings are taken.

    It is over when nothing moves and there are enough good readings.

    Parameters
    ----------
    phase : int
        Tag of the step's readings, which only the host understands. 0 to 255.
    press_steps : int or None
        Position that the press goes to: microsteps below home, or below where the step in from_step ended, and then
        never above home; None to stay. Home itself (0) is where the switch has to close. 0 to press_limit_steps.
    from_step : int or None
        Number of an earlier step of the program from whose end press_steps counts, from 0; None to count from home.
    until_count : int or None
        Rise of the count above zero at which a head on its way down stops short of press_steps; None to go all the way.
        1 to count_limit.
    unreached : FaultCode or None
        Fault to report if the head came to press_steps before until_count, NO_CONTACT or TRAVEL_LIMIT; None if that is
        no fault.
    rotate_steps : int
        Microsteps to turn after the press has come to rest, in either direction, ramps included; 0 for no turn.
        -1048576 to 1048576.
    readings : int
        Smallest number of good readings; 0 to take those that come while it moves. 0 to readings_most.
    settle_readings : int
        Number of readings still marked as settling after the head came to rest and the turn to constant speed. 0 to
        100.
    zero : bool
        True if the mean of its good readings, without the lowest and the highest, becomes the zero from which counts
        rise. The head must be at home.
    press_speed : int
        Press speed in microsteps per second. 1 to down_speed_most, on the way home to press_speed_most.
    rotate_speed : int
        Rotate speed in microsteps per second. 1 to rotate_speed_most.
    """

    phase: int
    press_steps: int | None
    from_step: int | None
    until_count: int | None
    unreached: FaultCode | None
    rotate_steps: int
    readings: int
    settle_readings: int
    zero: bool
    press_speed: int
    rotate_speed: int


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
        Number of the run whose blocks are held because the host has not acknowledged them; None if there is none. 0 or
        more.
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
        Force limit of the device as a rise of the count above zero, in either direction; no program exceeds it. 1 or
        more.
    press_limit_steps : int
        Travel limit of the device below home in press microsteps; no program exceeds it. 1 or more.
    press_speed_most : int
        Highest speed of the press in microsteps per second on its way up. 1 or more.
    down_speed_most : int
        Highest speed of the press in microsteps per second on its way down: above it, the head could load the cell with
        more than it bears before it stands. SPEC.md has the formula. 1 or more.
    press_acceleration : int
        Acceleration of the press in microsteps per second squared. 1 or more.
    rotate_speed_most : int
        Highest rotate speed in microsteps per second. 1 or more.
    rotate_acceleration : int
        Acceleration of the rotate axis in microsteps per second squared. 1 or more.
    silence_ms : int
        Time without a frame from the host after which a moving device retracts, in milliseconds. 1 or more.
    readings_most : int
        Most readings that the device can hold; a program that could give more is refused. The maximum is several times
        what the memory of any chip that runs the device code can hold: a larger number is wrong and could fill the
        host's memory. 1 to 262144.
    guards : int
        Bit set of the safety inputs that are configured: 1 lid, 2 emergency stop. 0 or more.
    fault : FaultCode or None
        Reason why the device is FAULTED, or why the last feed, release or program did not go as ordered; None if it
        did. The next order or acknowledgement clears it.
    temperature_centi : int or None
        Temperature of the board's chip, some degrees above the room, in hundredths of a degree Celsius; None if it has
        no thermometer.
    free_bytes : int or None
        Least free memory that a collection left since the start, in bytes; None if the device cannot tell. None is
        forced while something moves. 0 or more.
    longest_turn_us : int
        Longest turn of the device's loop while something moved since the start, in microseconds. 0 or more.
    feeder : FeederReport or None
        What the feeder sees; None on a gauge without feeder.
    sensor : bool
        True if the gauge has a sensor of temperature by the shaft.
    shaft_centi : int or None
        Temperature by the shaft in hundredths of a degree Celsius; None if the sensor is broken or there is none.
        -10000 to 20000.
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
    press_speed_most: int
    down_speed_most: int
    press_acceleration: int
    rotate_speed_most: int
    rotate_acceleration: int
    silence_ms: int
    readings_most: int
    guards: int
    fault: FaultCode | None
    temperature_centi: int | None
    free_bytes: int | None
    longest_turn_us: int
    feeder: FeederReport | None
    sensor: bool
    shaft_centi: int | None


@dataclass(frozen=True, slots=True)
class Readings:
    """Block of raw readings of one step of a program.

    Entry i of the four arrays is one reading. Lateness and counts have an entry for each; the two columns of steps may
    end earlier, and the changes that are left out are 0: an axis that stands costs nothing. Sent by the device.

    Parameters
    ----------
    boot : int
        Boot number of the device, as in Identify: a message of an earlier start is told by it. 0 to 1073741823.
    shaft : int
        Number of the program's run, given by the host: that of the shaft. 0 or more.
    block : int
        Number of this block within the shaft, from 0 without gaps. 0 or more.
    first : int
        Number within the shaft of this block's first reading, from 0 without gaps, so that a loss shows. 0 or more.
    phase : int
        Tag of the step of the program in which all readings of this block were taken: a number of phase.avsc, which
        only the host understands. 0 to 255.
    tick_us : int
        Device clock at the first reading in microseconds, wraps at 2^30. 0 to 1073741823.
    interval_us : int
        Sampling interval in microseconds to which lateness refers: the converter's own, as measured before this
        program. 1 or more.
    lateness_us : tuple[int, ...]
        Time since the reading before minus interval_us, in microseconds, positive when late. The first is 0: its time
        is tick_us.
    rotate_steps : tuple[int, ...]
        Rotate axis in microsteps, positive in the turning direction, at the end of the conversion: the first is the
        position, each later one the change from the reading before.
    press_steps : tuple[int, ...]
        Press axis in microsteps below home, positive down: the first is the position, each later one the change from
        the reading before.
    counts : tuple[int, ...]
        Load-cell converter count, signed, rising with load: the first is the count, each later one the change from the
        reading before. Counts range from -8388608 to 8388607, changes to twice that.
    unusual : tuple[Unusual, ...]
        Where the status of the readings changes; before the first change they are good.
    marks : tuple[int, ...]
        Rotate position in microsteps, absolute, of each passage of the index mark since the block before. Empty on a
        gauge without a mark sensor. If a flickering sensor gives more than the block has room for, the rest is left
        out.
    """

    boot: int
    shaft: int
    block: int
    first: int
    phase: int
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
    """End of a program; its blocks are held until the host acknowledges them.

    Sent by the device.

    Parameters
    ----------
    boot : int
        Boot number of the device, as in Identify: a message of an earlier start is told by it. 0 to 1073741823.
    shaft : int
        Number of the shaft. 0 or more.
    blocks : int
        Number of blocks sent for it. 0 or more.
    readings : int
        Number of readings in those blocks. 0 or more.
    complete : bool
        True if the whole program ran, false if it was cut short for the reason in cause.
    cause : FaultCode or None
        Fault that cut the program short; None if complete.
    duration_ms : int
        Time from the start of the program to its end in milliseconds. 0 or more.
    sampling_ms : int
        Part of duration_ms in which good readings were taken, in milliseconds. 0 or more.
    temperature_centi : int or None
        Temperature at the end of the program in hundredths of a degree Celsius; None if the sensor by the shaft is
        broken, or if there is neither a sensor nor a thermometer of the board. -10000 to 20000.
    by_shaft : bool
        True if the gauge has a sensor by the shaft and temperature_centi is from it, false if it is from the chip of
        the board, some degrees above the room.
    """

    boot: int
    shaft: int
    blocks: int
    readings: int
    complete: bool
    cause: FaultCode | None
    duration_ms: int
    sampling_ms: int
    temperature_centi: int | None
    by_shaft: bool


@dataclass(frozen=True, slots=True)
class Event:
    """Change of the device from one state to another.

    Sent by the device.

    Parameters
    ----------
    boot : int
        Boot number of the device, as in Identify: a message of an earlier start is told by it. 0 to 1073741823.
    tick_us : int
        Device clock in microseconds, wraps at 2^30. 0 to 1073741823.
    previous : State
        State left.
    state : State
        State entered.
    shaft : int or None
        Shaft in the gauge; None if none is being measured. 0 or more.
    """

    boot: int
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
    boot : int
        Boot number of the device, as in Identify: a message of an earlier start is told by it. 0 to 1073741823.
    code : FaultCode
        Code of the fault.
    state : State
        State in which it happened.
    step : int or None
        Number of the program's step in which it happened, from 0; None if no program was running. 0 or more.
    tick_us : int
        Device clock in microseconds, wraps at 2^30. 0 to 1073741823.
    shaft : int or None
        Shaft in the gauge; None if there is none. 0 or more.
    detail : int
        Number that helps to find the cause: a count, the press position in microsteps, the silence in milliseconds, or
        as the fault table says.
    """

    boot: int
    code: FaultCode
    state: State
    step: int | None
    tick_us: int
    shaft: int | None
    detail: int


@dataclass(frozen=True, slots=True)
class Reply:
    """Answer to any request except a greeting and KEEP_ALIVE.

    Sent by the device.

    Parameters
    ----------
    boot : int
        Boot number of the device, as in Identify: a message of an earlier start is told by it. 0 to 1073741823.
    to_sequence : int
        Sequence number of the frame that it answers. 0 to 65535.
    refusal : Refusal or None
        Reason why the request was refused; None if it was accepted.
    field : str
        Name of the field at fault, with the number of its step before it (3.press_speed); with NOT_SAFE, lid or stop;
        empty otherwise. Up to 32 characters.
    """

    boot: int
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
class Program:
    """Order to run a list of steps now under a number.

    Every reading is sent; thresholds count from the last zero, and without a zero since the head was home the press
    goes nowhere. Repeating a program whose reply was lost does no harm. Sent by the host.

    Parameters
    ----------
    shaft : int
        Number of the run: that of the shaft. From LOADED only the number under which the shaft was fed. 0 to
        1073741823.
    stand : bool
        True if the head stays afterwards where the last step left it (STANDING), for a next program from there; false
        if it goes home (HOLDING).
    steps : tuple[Step, ...]
        Steps in their order, 1 to 32. 1 to 32.
    """

    shaft: int
    stand: bool
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Command:
    """Order to the device.

    Repeating an order whose reply was lost does no harm. Sent by the host.

    Parameters
    ----------
    order : Order
        KEEP_ALIVE: the host is there (no reply). STOP: retract now and give up the program. CLEAR_FAULT: home the press
        and return to IDLE, after a fault or from STANDING; the device then forgets which shaft lies on the rollers.
    """

    order: Order


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
    | Program
    | Command
    | Acknowledge
    | Resend
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
    FeederReport: {
        "in_gauge": (0, 9223372036854775807),
        "places": (1, 2147483647),
    },
    Unusual: {
        "reading": (0, 2147483647),
        "status": (0, 15),
    },
    Step: {
        "phase": (0, 255),
        "press_steps": (-2147483648, 2147483647),
        "from_step": (-2147483648, 2147483647),
        "until_count": (-2147483648, 2147483647),
        "rotate_steps": (-1048576, 1048576),
        "readings": (-2147483648, 2147483647),
        "settle_readings": (-2147483648, 2147483647),
        "press_speed": (-2147483648, 2147483647),
        "rotate_speed": (-2147483648, 2147483647),
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
        "press_speed_most": (1, 2147483647),
        "down_speed_most": (1, 2147483647),
        "press_acceleration": (1, 2147483647),
        "rotate_speed_most": (1, 2147483647),
        "rotate_acceleration": (1, 2147483647),
        "silence_ms": (1, 2147483647),
        "readings_most": (1, 262144),
        "guards": (0, 2147483647),
        "temperature_centi": (-2147483648, 2147483647),
        "free_bytes": (0, 2147483647),
        "longest_turn_us": (0, 2147483647),
        "shaft_centi": (-10000, 20000),
    },
    Readings: {
        "boot": (0, 1073741823),
        "shaft": (0, 9223372036854775807),
        "block": (0, 2147483647),
        "first": (0, 2147483647),
        "phase": (0, 255),
        "tick_us": (0, 1073741823),
        "interval_us": (1, 2147483647),
        "lateness_us": (-2147483648, 2147483647),
        "rotate_steps": (-2147483648, 2147483647),
        "press_steps": (-2147483648, 2147483647),
        "counts": (-2147483648, 2147483647),
        "marks": (-2147483648, 2147483647),
    },
    EndOfShaft: {
        "boot": (0, 1073741823),
        "shaft": (0, 9223372036854775807),
        "blocks": (0, 2147483647),
        "readings": (0, 2147483647),
        "duration_ms": (0, 2147483647),
        "sampling_ms": (0, 2147483647),
        "temperature_centi": (-10000, 20000),
    },
    Event: {
        "boot": (0, 1073741823),
        "tick_us": (0, 1073741823),
        "shaft": (0, 9223372036854775807),
    },
    Fault: {
        "boot": (0, 1073741823),
        "step": (0, 2147483647),
        "tick_us": (0, 1073741823),
        "shaft": (0, 9223372036854775807),
        "detail": (-2147483648, 2147483647),
    },
    Reply: {
        "boot": (0, 1073741823),
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
    FeederReport: {
        "last_release": LastRelease,
    },
    Identify: {
        "feeder": FeederReport,
    },
    Readings: {
        "unusual": Unusual,
    },
    Program: {
        "steps": Step,
    },
}
