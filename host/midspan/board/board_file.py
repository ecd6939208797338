"""The board's file: every setting in it checked, the checks that need several, and its seal.

The board itself only looks whether the file is whole, of its version, and uses no pin twice. What is refused here never
reaches it.
"""

from __future__ import annotations

from binascii import crc32
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, Field, model_validator

from midspan.base.config import ARRAY, Section, validated
from midspan.base.errors import ConfigurationError
from midspan.base.files import json_in

VERSION = 2
SEAL = b"#crc32 "
SERVICE = 22  # pin of the service jumper, which has to work whatever the file says
EDGE = frozenset((*range(SERVICE), 26, 27, 28))  # the other GPIO of a Pico's edge (its data sheet)
ANALOG = frozenset((26, 27, 28))  # pins with a converter of voltage (the chip's data sheet)
SPEED_MOST = 32767  # microsteps a second: its square still is a small integer on the chip
LOOP_MS = 10  # longest turn of the board's loop while the press moves
SERVO_SHARE = 16  # pins so far apart have the same pulse generator (the chip's data sheet)
RATES = {"hx711": (10, 80), "nau7802": (10, 20, 40, 80)}  # samples a second
# The loop waits for the start of a converter, which takes so long when it is broken.
WATCHDOG_MS = {"hx711": 1000, "nau7802": 5000}
PIN_KEYS = frozenset(("step", "direction", "data", "clock", "ready", "tx", "rx", "pin", "selector"))


def _text(name: str) -> str:
    """Return a name that the line can carry, or raise ValueError."""
    printable = all(" " <= c != "\x7f" and not "\ud800" <= c <= "\udfff" for c in name)
    if not printable or not 1 <= len(name.encode(errors="replace")) <= 32:
        raise ValueError("name needs 1 to 32 bytes of printable text")
    return name


Bit = Annotated[int, Field(ge=0, le=1)]
Pin = Annotated[int, Field(ge=0, le=28)]
Switch = Annotated[tuple[Pin, Bit], ARRAY]
PulseUs = Annotated[int, Field(ge=400, le=2700)]


class _Uart(Section):
    """Pins and speed of the line if it is a UART."""

    tx: Pin | None
    rx: Pin | None
    baud: int = Field(ge=9600, le=1_000_000)


class _Cell(Section):
    """Converter of the load cell; `filter` is the number of conversions that its filter spans."""

    kind: Literal["hx711", "nau7802"]
    data: Pin
    clock: Pin
    ready: Pin | None
    pulses: int = Field(ge=25, le=27)
    rate: int = Field(ge=10, le=80)
    filter: int = Field(ge=1, le=16)

    @model_validator(mode="after")
    def _together(self) -> _Cell:
        """Return the cell if its settings go together, or raise ValueError."""
        if self.rate not in RATES[self.kind]:
            raise ValueError(f"cell.rate = {self.rate}: a {self.kind} has {', '.join(map(str, RATES[self.kind]))}")
        if self.kind == "nau7802":
            if self.ready is None:
                raise ValueError("cell.ready = null: a nau7802 needs this pin")
            if self.data % 2 or self.clock != self.data + 1:
                raise ValueError(f"cell.clock = {self.clock}: a nau7802 needs an even data pin and the next for clock")
        return self


class _Motor(Section):
    """Driver of a motor."""

    step: Pin
    direction: Pin
    forward: Bit


class _GearSection(Section):
    """Microsteps of a motion."""

    press_steps_per_mm: int = Field(ge=1, le=10_000)
    rotate_steps_per_turn: int = Field(ge=1, le=200_000)


class _LimitsSection(Section):
    """The gauge's own limits."""

    count: int = Field(ge=1, le=0x7FFFFF)
    bears_count: int = Field(ge=1, le=500_000_000)
    count_per_mm: int = Field(ge=1000, le=500_000_000)
    press_mm: int = Field(ge=1, le=500)
    press_mm_s: int = Field(ge=1, le=500)
    press_mm_s2: int = Field(ge=1, le=10_000)
    home_mm_s: int = Field(ge=1, le=100)
    rotate_rpm: int = Field(ge=1, le=1000)
    rotate_rpm_s: int = Field(ge=1, le=10_000)
    readings: int = Field(ge=256, le=4800)


class _Guards(Section):
    """Safety inputs, each with the level at which it is set."""

    lid: Switch | None
    stop: Switch | None


class _Sensors(Section):
    """Sensors of a feeder, each with the level at which it is set."""

    left_end: Switch
    right_end: Switch
    above: Switch | None
    hopper: Switch | None
    slot: Switch | None
    chute: Switch | None


class _Servo(Section):
    """Servo with the widths of its pulses at rest and at work."""

    pin: Pin
    rest_us: PulseUs
    work_us: PulseUs


class _Feeder(Section):
    """Feeder and chute."""

    inputs: _Sensors
    hopper: _Servo
    slot: _Servo
    gate: _Servo
    selector: Pin
    move_ms: int = Field(ge=20, le=5000)
    places_us: Annotated[tuple[PulseUs, ...], ARRAY, Field(min_length=1, max_length=32)]

    @model_validator(mode="after")
    def _together(self) -> _Feeder:
        """Return the feeder if no servo moves with another, or raise ValueError."""
        pins = {self.hopper.pin: "hopper.pin", self.slot.pin: "slot.pin", self.gate.pin: "gate.pin",
                self.selector: "selector"}  # fmt: skip
        for pin, name in pins.items():
            if pin + SERVO_SHARE in pins:
                raise ValueError(f"parts.feeder.{name} = {pin}: has the same pulses as pin {pin + SERVO_SHARE}")
        return self


class _Thermometer(Section):
    """Thermistor by the shaft, from its pin to ground, and the resistor from the pin to 3.3 V."""

    pin: Pin
    pull_up_ohm: int = Field(ge=1000, le=100_000)
    ohm_25: int = Field(ge=1000, le=200_000)
    beta_k: int = Field(ge=2500, le=5000)

    @model_validator(mode="after")
    def _together(self) -> _Thermometer:
        """Return the thermometer if its settings go together, or raise ValueError."""
        if self.pin not in ANALOG:
            raise ValueError(f"parts.thermometer.pin = {self.pin}: measures no voltage; choose 26, 27 or 28")
        if not 0.1 <= self.ohm_25 / self.pull_up_ohm <= 10:
            raise ValueError(
                f"parts.thermometer.pull_up_ohm = {self.pull_up_ohm}: is more than ten times off ohm_25 = {self.ohm_25}"
            )
        return self


class _Parts(Section):
    """Parts that a plain gauge lacks."""

    feeder: _Feeder | None = None
    thermometer: _Thermometer | None = None


class BoardFile(Section):
    """Settings of a board, all of them.

    Parameters
    ----------
    version : int
        Version of the file's form, 2.
    name : str
        Name of the gauge, 1 to 32 bytes.
    line : str
        Line to the host: usb, usb2 or uart.
    watchdog_ms : int
        Time after which a loop that hangs is restarted, ms; 0 for no watchdog.
    uart : Section
        Pins and speed of the UART.
    cell : Section
        Converter of the load cell.
    press, rotate : Section
        Drivers of the two motors.
    enable : tuple of int or None
        Pin of both drivers and the level that enables them; None if they always are.
    home : tuple of int
        Pin of the home switch and its level when it is closed.
    gear : Section
        Microsteps of a millimetre and of a turn.
    limits : Section
        Limits of force, travel, speed and readings.
    mark : tuple of int or None
        Pin of the sensor of the index mark and its level; None without it.
    inputs : Section
        Lid and emergency stop.
    parts : Section
        Feeder and thermometer by the shaft, where the gauge has them.
    """

    version: int = Field(ge=VERSION, le=VERSION)
    name: Annotated[str, AfterValidator(_text)]
    line: Literal["usb", "usb2", "uart"]
    watchdog_ms: int = Field(ge=0, le=8388)
    uart: _Uart
    cell: _Cell
    press: _Motor
    rotate: _Motor
    enable: Switch | None
    home: Switch
    gear: _GearSection
    limits: _LimitsSection
    mark: Switch | None
    inputs: _Guards
    parts: _Parts

    @model_validator(mode="after")
    def _together(self) -> BoardFile:
        """Return the file if its sections go together, or raise ValueError."""
        for problem in (*self._line_and_watchdog(), *self._speeds()):
            raise ValueError(problem)
        return self

    def _line_and_watchdog(self) -> Iterator[str]:
        """Yield what is wrong with the UART's pins and with the watchdog."""
        tx, rx = self.uart.tx, self.uart.rx
        if self.line == "uart" and (tx is None or rx != tx + 1 or tx % 4):
            yield f"uart.tx, uart.rx = {tx}, {rx}: this line needs tx at 0, 4, 8, 12, 16 or 20 and rx at the next pin"
        least = WATCHDOG_MS[self.cell.kind]
        if 0 < self.watchdog_ms < least:
            yield f"watchdog_ms = {self.watchdog_ms}: a {self.cell.kind} needs at least {least}, or 0 for none"

    def _speeds(self) -> Iterator[str]:
        """Yield what is wrong with the limits of speed."""
        gear, limits = self.gear, self.limits
        for key, speed in (
            ("press_mm_s", limits.press_mm_s * gear.press_steps_per_mm),
            ("home_mm_s", limits.home_mm_s * gear.press_steps_per_mm),
            ("rotate_rpm", limits.rotate_rpm * gear.rotate_steps_per_turn // 60),
        ):
            if not 1 <= speed <= SPEED_MOST:
                yield f"limits.{key}: comes to {speed} microsteps/s; 1 to {SPEED_MOST} are possible"
        if limits.rotate_rpm_s * gear.rotate_steps_per_turn < 60:
            yield f"limits.rotate_rpm_s = {limits.rotate_rpm_s}: is less than a microstep/s^2"
        if down_mm_s(self) < 1:
            reached = round(limits.count + limits.count_per_mm * _overrun_um(self, 1) / 1000)
            yield (
                f"limits.bears_count = {limits.bears_count}: a rigid thing met at 1 mm/s loads the cell with {reached} "
                "counts; a stiffer stop, a lower count or a faster rate helps"
            )


def _overrun_um(file: BoardFile, mm_s: int) -> int:
    """Return how far the head may go on after it reached the limit of force at this speed, micrometres, rounded up."""
    interval_us = 1_000_000 // file.cell.rate
    late_ms = -(-interval_us * (4 + file.cell.filter) // 2000) + LOOP_MS
    return mm_s * late_ms + 500 * mm_s * mm_s // file.limits.press_mm_s2 + 1


def down_mm_s(file: BoardFile) -> int:
    """Return the highest speed of the head downwards, as the board computes it from its file.

    A head that meets a rigid thing loads the cell until the force is noticed and the ramp is over. At this speed the
    cell bears that.

    Parameters
    ----------
    file : BoardFile
        Settings of the board.

    Returns
    -------
    int
        Speed, mm/s; 0 if the cell bears none.

    References
    ----------
    protocol/SPEC.md, limits of the device.
    """
    limits = file.limits
    bears_um = (limits.bears_count - limits.count) // -(-limits.count_per_mm // 1000)
    fits = (mm_s for mm_s in range(limits.press_mm_s, 0, -1) if _overrun_um(file, mm_s) <= bears_um)
    return next(fits, 0)


def checked(content: bytes, where: str) -> dict[str, Any]:
    """Return the settings in a board's file after checking all of them.

    Parameters
    ----------
    content : bytes
        The file, sealed or not.
    where : str
        Name of the file in messages.

    Returns
    -------
    dict[str, Any]
        Settings by section and key.

    Raises
    ------
    ConfigurationError
        A setting is missing, unknown or wrong, two do not go together, or the seal (code "seal") is not that of the
        content; the message names the key.
    """
    given = unsealed(content, where)
    validated(BoardFile, given, Path(where))
    taken: dict[int, str] = {}
    for key, pin in _pins(given, ""):
        if pin not in EDGE:
            raise ConfigurationError(
                f"{where}: {key} = {pin}: is not free at the board's edge; choose 0 to 21 or 26 to 28", code="no_pin"
            )
        if pin in taken:
            raise ConfigurationError(
                f"{where}: {key} = {pin}: {taken[pin]} has this pin; choose another", code="pin_twice"
            )
        taken[pin] = key
    return given


def _pins(section: dict[str, Any], path: str) -> Iterator[tuple[str, int]]:
    """Yield the name and the number of each pin of a section."""
    for key, value in section.items():
        if isinstance(value, dict):
            yield from _pins(value, f"{path}{key}.")
        elif isinstance(value, int) and key in PIN_KEYS:
            yield path + key, value
        elif isinstance(value, list) and key != "places_us":
            yield path + key, value[0]


def unsealed(content: bytes, where: str) -> dict[str, Any]:
    """Return the settings in a board's file, whatever they are.

    Parameters
    ----------
    content : bytes
        The file, sealed or not.
    where : str
        Name of the file in messages.

    Returns
    -------
    dict[str, Any]
        Settings by section and key.

    Raises
    ------
    ConfigurationError
        The content is not a JSON object, or the seal (code "seal") is not that of the content.

    Examples
    --------
    >>> unsealed(sealed(b'{"name": "bench"}'), "board.json")
    {'name': 'bench'}
    """
    body, sign, seal = content.rpartition(b"\n" + SEAL)
    body = body + b"\n" if sign else content
    if sign and seal.strip() != b"%08x" % crc32(body):
        raise ConfigurationError(f"{where}: its last line does not fit the rest; write it again", code="seal")
    found = json_in(body, where, ConfigurationError)
    if not isinstance(found, dict):
        raise ConfigurationError(f"{where}: expected a JSON object in braces")
    return found


def sealed(content: bytes) -> bytes:
    """Return a board's file with a last line by which the board sees that it is whole.

    Parameters
    ----------
    content : bytes
        The file, JSON, without a seal or with one.

    Returns
    -------
    bytes
        The file with the CRC-32 of all bytes before the last line.

    Examples
    --------
    >>> sealed(b"{}")
    b'{}\\n#crc32 dda1b006\\n'
    """
    body, sign, _ = content.rpartition(b"\n" + SEAL)
    body = (body if sign else content).rstrip(b"\n") + b"\n"
    return body + SEAL + b"%08x\n" % crc32(body)
