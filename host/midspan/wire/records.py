"""The enums of the protocol: states, phases, faults, orders, refusals, sources.

Numbered as the symbols of the schemas' enums in protocol/*.avsc, where their meaning stands; tests hold both equal.

A block of readings as it comes over the line: first values, then changes.

Typed records of the protocol, one for each record of protocol/message.avsc.

Meaning, unit, sign and range of every field stand in the record's .avsc file.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
import numpy.typing as npt

from midspan.base.errors import ProtocolError

# Readings and the enums are part of the records' face.


Phase = IntEnum("Phase", "ZERO_BEFORE APPROACH LIGHT DEEPEN FULL RETURN LIGHT_AGAIN LIFT ZERO_AFTER BENCH", start=0)
State = IntEnum(
    "State",
    "STARTING HOMING IDLE SEATING ZERO_BEFORE APPROACH LIGHT DEEPEN FULL RETURN LIGHT_AGAIN LIFT ZERO_AFTER "
    "RETRACTING HOLDING FAULTED BENCH STANDING FEEDING LOADED SELECTING RELEASING",
    start=0,
)
FaultCode = IntEnum(
    "FaultCode",
    "CELL_SILENT CELL_STUCK CELL_OUT_OF_STEP CELL_SATURATED NO_CONTACT FORCE_LIMIT TRAVEL_LIMIT "
    "HOME_NOT_FOUND HOST_SILENT STOPPED_BY_HOST BUFFER_FULL INTERNAL LOST_STEPS HOPPER_EMPTY SHAFT_SHORT "
    "TWO_SHAFTS JAM BIN_FULL LID_OPEN EMERGENCY_STOP CONFIGURATION HOME_STUCK FORCE_REVERSED",
    start=0,
)
Order = IntEnum("Order", "KEEP_ALIVE MEASURE STOP CLEAR_FAULT", start=0)
Refusal = IntEnum(
    "Refusal",
    "WRONG_PROTOCOL WRONG_STATE OUT_OF_RANGE NO_PLAN UNKNOWN_SHAFT BUFFER_TOO_SMALL NOT_SAFE NO_FEEDER",
    start=0,
)
Source = IntEnum("Source", "HOPPER SLOT SEATED", start=0)


Integers = npt.NDArray[np.int64]
StatusBits = npt.NDArray[np.int16]


@dataclass(frozen=True, slots=True)
class Readings:
    """A block of readings as on the wire: first values, then changes; see `absolute` and `status`.

    Raises ProtocolError when the columns differ in length or an unusual reading is not in the block.

    >>> block = Readings(shaft=1, block=0, first=0, phase=Phase.LIGHT, tick_us=500, interval_us=12500,
    ...                  lateness_us=(0, 3), rotate_steps=(40, 16), press_steps=(900, 0), counts=(1000, -7),
    ...                  unusual=((1, 8),), marks=())
    >>> absolute(block.counts), block.offset_us, block.status
    (array([1000,  993]), array([    0, 12503]), array([0, 8], dtype=int16))
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
    unusual: tuple[tuple[int, int], ...]
    marks: tuple[int, ...]

    def __post_init__(self) -> None:
        columns = (self.lateness_us, self.rotate_steps, self.press_steps, self.counts)
        lengths = [len(column) for column in columns]
        if len(set(lengths)) != 1:
            raise ProtocolError(f"block {self.block} of shaft {self.shaft}: columns differ in length {lengths}")
        if not all(0 <= reading < len(self) for reading, _ in self.unusual):
            raise ProtocolError(f"{self.name}: it lists an unusual reading that is not in it")

    def __len__(self) -> int:
        """Number of readings."""
        return len(self.counts)

    @property
    def name(self) -> str:
        """The block as messages name it."""
        return f"block {self.block} of shaft {self.shaft}"

    @property
    def offset_us(self) -> Integers:
        """Time of each reading after the block's `tick_us` in microseconds, int64."""
        intervals = np.asarray(self.lateness_us, np.int64) + self.interval_us
        return np.cumsum(intervals) - self.interval_us

    @property
    def status(self) -> StatusBits:
        """Bit set of each reading, int16, 0 for a good one."""
        status = np.zeros(len(self), np.int16)
        for reading, bits in self.unusual:
            status[reading] = bits
        return status


def absolute(column: tuple[int, ...]) -> Integers:
    """Values of a column whose first entry is a value and each later one a change, int64."""
    return np.cumsum(np.asarray(column, np.int64))


@dataclass(frozen=True, slots=True)
class LastRelease:
    """The last release as the gauge recorded it; `passed` counts what its chute saw."""

    shaft: int
    place: int
    done: bool
    passed: int


@dataclass(frozen=True, slots=True)
class Identify:
    """Who is speaking and what it holds."""

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
class EndOfShaft:
    """The cycle is over; totals show what is missing."""

    shaft: int
    blocks: int
    readings: int
    complete: bool
    cause: FaultCode | None
    duration_ms: int
    sampling_ms: int


@dataclass(frozen=True, slots=True)
class Event:
    """The device's cycle went from one state to another."""

    tick_us: int
    previous: State
    state: State
    shaft: int | None


@dataclass(frozen=True, slots=True)
class Fault:
    """Something went wrong; the device has taken its safe action."""

    code: FaultCode
    state: State
    tick_us: int
    shaft: int | None
    detail: int


@dataclass(frozen=True, slots=True)
class Reply:
    """Answer to any request but a greeting and KEEP_ALIVE."""

    to_sequence: int
    refusal: Refusal | None
    field: str


@dataclass(frozen=True, slots=True)
class Greet:
    """Opens the conversation and asks for Identify."""

    protocol_major: int
    protocol_minor: int
    fingerprint: bytes


@dataclass(frozen=True, slots=True)
class CyclePlan:
    """How the next shafts are to be measured, in counts, microsteps and readings."""

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
    """An order."""

    order: Order
    shaft: int | None = None


@dataclass(frozen=True, slots=True)
class Acknowledge:
    """Every block of this shaft is on disk."""

    shaft: int


@dataclass(frozen=True, slots=True)
class Resend:
    """Send these blocks again, then EndOfShaft; at most 64 in one request."""

    shaft: int
    blocks: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class BenchStep:
    """One step of a calibration: readings with the press at a position and the rotate axis turned by an angle."""

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
    """Bring a shaft onto the rollers and call it by this number."""

    shaft: int
    source: Source


@dataclass(frozen=True, slots=True)
class Release:
    """Let the shaft on the rollers go to a place."""

    shaft: int
    place: int


Record = (
    Identify | Readings | EndOfShaft | Event | Fault | Reply
    | Greet | CyclePlan | Command | Acknowledge | Resend | BenchStep | Feed | Release
)  # fmt: skip
