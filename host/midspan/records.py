"""Typed records of the protocol, one for each record of protocol/message.avsc.

Meaning, unit, sign and range of every field stand in the record's .avsc file.
"""

from __future__ import annotations

from dataclasses import dataclass

# Readings and the enums are part of the records' face.
from midspan.readings import Integers as Integers
from midspan.readings import Readings as Readings
from midspan.readings import absolute as absolute
from midspan.symbols import FaultCode as FaultCode
from midspan.symbols import Order as Order
from midspan.symbols import Phase as Phase
from midspan.symbols import Refusal as Refusal
from midspan.symbols import Source as Source
from midspan.symbols import State as State


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
