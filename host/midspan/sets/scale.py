"""Read weights from a scale with a serial line.

Scales differ in how they write a reading, so a scale's file holds the pattern of a whole line with named groups:
`value` is the number; `unit`, where the scale sends it, has to be one of `unit_words`; `steady`, where it sends that,
is one of `steady_words` when the pan is at rest. A weight counts once several readings in a row agree.

>>> scale = Scale.model_validate(EXAMPLE)
>>> scale.shown("weight 312.4 grains steady")
ScaleReading(text='312.4', steady=True)
>>> scale.shown("weight 298.1 grains moving").steady, scale.shown("hello")
(False, None)
>>> scale.shown("weight 20.2 grams steady")
Traceback (most recent call last):
midspan.base.errors.ReadingsError: the scale shows 'grams', its file says grains; switch it over, or correct its file
"""

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Annotated, Any, Protocol, Self

import serial
from pydantic import Field, field_validator, model_validator

from midspan.base.config import ARRAY, Section, read_toml, validated
from midspan.base.csv_table import number_in
from midspan.base.errors import LinkError, ReadingsError
from midspan.base.formatting import printable
from midspan.base.shown_units import WeightUnit
from midspan.sets.weights import GRAM_PER, ShaftWeight, weight_of

LONGEST_LINE = 120  # characters; more without a line end is noise, or the wrong speed
GROUPS = ("value", "unit", "steady")
EXAMPLE: dict[str, Any] = {
    "port": "/dev/ttyUSB0",
    "pattern": r"weight\s+(?P<value>\S+) (?P<unit>\w+) (?P<steady>\w+)",
    "unit": "grains",
    "unit_words": ["grains"],
    "steady_words": ["steady"],
    "overload_words": ["too heavy"],
}
Words = Annotated[tuple[Annotated[str, Field(min_length=1)], ...], ARRAY]


@dataclass(frozen=True, slots=True)
class ScaleReading:
    """One reading of a scale.

    Parameters
    ----------
    text : str
        The number as it was sent.
    steady : bool
        True if the pan was at rest.
    """

    text: str
    steady: bool


class Scale(Section):
    """A scale's file: its port, how its lines are read, and when a weight counts.

    Parameters
    ----------
    port : str
        Name of the serial port.
    baud : int
        Speed, baud.
    ask : str
        Text sent before each reading, empty for a scale that sends by itself.
    pattern : str
        Regular expression of a whole line, with a group `value` and optional groups `unit` and `steady`.
    unit : str
        Unit that the scale is set to, `grains` or `grams`.
    unit_words : Words
        What the group `unit` may read.
    steady_words : Words
        What the group `steady` reads when the pan is at rest.
    overload_words : Words
        Words in a line that mean too much weight.
    equal : int
        Steady readings in a row, all the same, that make a weight.
    wait_s : float
        Longest wait for a weight, s.
    """

    port: Annotated[str, Field(min_length=1)]
    baud: Annotated[int, Field(ge=300, le=1_000_000)] = 9600
    ask: str = ""  # sent before each reading, for a scale that speaks only when asked
    pattern: str
    unit: str
    unit_words: Words = ()
    steady_words: Words = ()
    overload_words: Words = ()
    equal: Annotated[int, Field(ge=2, le=50)] = 3
    wait_s: Annotated[float, Field(ge=1, le=300)] = 20.0

    @field_validator("pattern")
    @classmethod
    def _names_a_value(cls, pattern: str) -> str:
        """Refuse a pattern that is not a regular expression, lacks `value` or has unknown groups."""
        try:
            groups = re.compile(pattern).groupindex
        except (re.error, OverflowError, RecursionError) as error:
            raise ValueError(f"pattern: not a valid regular expression ({error}); correct it") from error
        strange = [name for name in groups if name not in GROUPS]
        if strange or "value" not in groups:
            raise ValueError(
                f"pattern: its groups are {', '.join(groups) or 'none'}; value is required, unit and steady optional"
            )
        return pattern

    @field_validator("unit")
    @classmethod
    def _is_a_unit(cls, unit: str) -> str:
        """Refuse a unit that is neither grains nor grams."""
        if unit not in set(WeightUnit):
            raise ValueError(f"unit = {unit!r}: use {' or '.join(WeightUnit)}, as the scale is set")
        return unit

    @model_validator(mode="after")
    def _words_have_groups(self) -> "Scale":
        """Refuse a group without its words, and words without their group."""
        groups = re.compile(self.pattern).groupindex
        for name, words in (("unit", self.unit_words), ("steady", self.steady_words)):
            if (name in groups) != bool(words):
                raise ValueError(f"{name}_words: goes together with a group {name} in the pattern; add the other")
        return self

    def shown(self, line: str) -> ScaleReading | None:
        """Read one line of the scale.

        Parameters
        ----------
        line : str
            The line, without its end.

        Returns
        -------
        ScaleReading | None
            The reading, None for a line that does not match the pattern.

        Raises
        ------
        ReadingsError
            The line says overload (code `overloaded`) or another unit (code `unit`).
        """
        if any(word in line for word in self.overload_words):
            raise ReadingsError(f"the scale is overloaded ({line.strip()!r}); take everything off", code="overloaded")
        found = re.fullmatch(self.pattern, line.strip()) if len(line) <= LONGEST_LINE else None
        if found is None or not _is_number(found["value"]):
            return None
        groups = found.groupdict()
        if self.unit_words and groups["unit"] not in self.unit_words:
            raise ReadingsError(
                f"the scale shows {groups['unit'] or 'no unit'!r}, its file says {self.unit}; switch it over, "
                "or correct its file",
                code="unit",
            )
        return ScaleReading(found["value"].strip(), not self.steady_words or groups["steady"] in self.steady_words)


def _is_number(text: str | None) -> bool:
    """Return True if a text is a number."""
    try:
        number_in(text or "", "")
    except ReadingsError:
        return False
    return True


def load_scale(path: Path) -> Scale:
    """Read a scale's file.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    Scale
        The checked file.

    Raises
    ------
    ConfigurationError
        The file cannot be read, or a key is missing, unknown or wrong.
    """
    return validated(Scale, read_toml(path), path)


MOST_NOISE = 20  # unreadable lines in a row; after a start in the middle of a line there is one at most
EMPTY_SHARE = 0.1  # of the last weight; below it the pan counts as empty


class Pan(Protocol):
    """An open line to a scale."""

    @property
    def name(self) -> str:
        """Name of the scale in messages."""

    def read(self) -> bytes:
        """Wait a short time for bytes and return those that came.

        Returns
        -------
        bytes
            The bytes; empty if none came.
        """

    def write(self, data: bytes) -> None:
        """Send bytes to the scale.

        Parameters
        ----------
        data : bytes
            The bytes.
        """

    def forget(self) -> None:
        """Drop all bytes that came before now."""


def weigh(pan: Pan, scale: Scale, place: str, clock: Callable[[], float]) -> ShaftWeight:
    """Weigh what lies on the pan, once `scale.equal` steady readings in a row are the same.

    Parameters
    ----------
    pan : Pan
        The line to the scale.
    scale : Scale
        Its file.
    place : str
        Begins every error message, for example the number of the shaft.
    clock : Callable[[], float]
        Returns the time, s.

    Returns
    -------
    ShaftWeight
        The weight.

    Raises
    ------
    ReadingsError
        The scale sends noise or nothing, is overloaded, shows a negative weight or another unit, does not come to rest
        in time, or shows a weight that no shaft has.
    LinkError
        The scale went away.
    """
    row: list[ScaleReading] = []
    late = "its readings do not come to rest; keep draughts and hands away", "unsteady"
    for shown in _readings(pan, scale, place, clock, late):
        row = [*row[1 - scale.equal :], shown]
        if len(row) == scale.equal and all(reading.steady and reading.text == shown.text for reading in row):
            break
    text = row[-1].text
    if number_in(text, place) < 0:
        raise ReadingsError(
            f"{place}: the scale shows {text}; empty it, set it to zero, and weigh again", code="negative"
        )
    return weight_of(text, scale.unit, place)


def wait_until_empty(pan: Pan, scale: Scale, last: ShaftWeight, place: str, clock: Callable[[], float]) -> None:
    """Wait until the shaft is off the pan, so that it is not weighed again as the next shaft.

    Parameters
    ----------
    pan : Pan
        The line to the scale.
    scale : Scale
        Its file.
    last : ShaftWeight
        Weight that was on the pan.
    place : str
        Begins every error message, for example the number of the shaft.
    clock : Callable[[], float]
        Returns the time, s.

    Raises
    ------
    ReadingsError
        The scale sends noise or nothing, is overloaded, shows another unit, or the shaft is not taken off in time.
    LinkError
        The scale went away.
    """
    most = EMPTY_SHARE * last.weight_g / GRAM_PER[WeightUnit(scale.unit)]
    late = "the pan is not emptied; take the shaft off", "not_emptied"
    for shown in _readings(pan, scale, place, clock, late):
        if abs(number_in(shown.text, place)) < most:
            return


def _readings(
    pan: Pan, scale: Scale, place: str, clock: Callable[[], float], late: tuple[str, str]
) -> Iterator[ScaleReading]:
    """Yield readings; after the wait raise ReadingsError, with the message and code in `late` if any reading came."""
    heard, noise = False, 0
    for line in _lines(pan, scale, clock):
        try:
            shown = scale.shown(line)
        except ReadingsError as error:
            error.at(place)
            raise
        noise = 0 if shown else noise + 1
        if noise == MOST_NOISE:
            raise ReadingsError(
                f"{place}: {pan.name} sends noise, last {printable(line[:24])!r}; check its speed, its cable "
                "and the pattern in its file",
                code="noise",
            )
        if shown:
            heard = True
            yield shown
    silent = f"no reading came from {pan.name}; is the scale on, and does it send by itself (else give `ask`)?"
    words, code = late if heard else (silent, "silent")
    raise ReadingsError(f"{place}: {words}", code=code)


def _lines(pan: Pan, scale: Scale, clock: Callable[[], float]) -> Iterator[str]:
    """Yield lines from now until the wait is over; a line too long to be a reading is cut."""
    end_s = clock() + scale.wait_s
    pan.forget()
    rest = b""
    pan.write(scale.ask.encode())
    while clock() < end_s:
        came = pan.read()
        *whole, rest = re.split(rb"[\r\n\0]+", rest + came)
        if len(rest) > LONGEST_LINE:
            whole, rest = [*whole, rest], b""
        yield from (text for text in (line.decode("ascii", "replace") for line in whole) if text.strip())
        if not came or whole:
            pan.write(scale.ask.encode())


READ_S = 0.05


class ScalePort:
    """An open serial port, 8 bits without parity, locked against other programs.

    Its methods raise LinkError when the scale goes away.

    Parameters
    ----------
    port : str
        Name of the serial port.
    baud : int
        Speed, baud.
    read_s : float
        Longest wait of `read` for the first byte, s.

    Raises
    ------
    LinkError
        The port cannot be opened.

    Examples
    --------
    >>> ScalePort("absent", 9600)
    Traceback (most recent call last):
    midspan.base.errors.LinkError: absent: cannot be opened (No such file or directory); check cable, name, permissions
    """

    def __init__(self, port: str, baud: int, read_s: float = READ_S) -> None:
        self.name = port
        with self._as_link_error():
            self._serial = serial.Serial(port, baud, timeout=read_s, write_timeout=1.0, exclusive=True)

    def read(self) -> bytes:
        """Wait up to `read_s` for bytes and return those that came.

        Returns
        -------
        bytes
            The bytes; empty if none came.

        Raises
        ------
        LinkError
            The scale went away.
        """
        with self._as_link_error():
            first = bytes(self._serial.read(1))
            return first + bytes(self._serial.read(self._serial.in_waiting)) if first else first

    def write(self, data: bytes) -> None:
        """Send bytes to the scale.

        Parameters
        ----------
        data : bytes
            The bytes.

        Raises
        ------
        LinkError
            The scale went away, or accepts no data for a second.
        """
        with self._as_link_error():
            self._serial.write(data)

    def forget(self) -> None:
        """Drop all bytes that came before now."""
        with self._as_link_error():
            self._serial.reset_input_buffer()

    def __enter__(self) -> Self:
        """Return this port; it closes when the block exits."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the port."""
        self._serial.close()

    @contextmanager
    def _as_link_error(self) -> Iterator[None]:
        """Turn an error of the port into a LinkError of one line."""
        try:
            yield
        except OSError as error:  # pyserial's own errors are OSErrors, some without a number
            why = os.strerror(error.errno) if error.errno else "it went away, or accepts no data"
            raise LinkError(f"{self.name}: cannot be opened ({why}); check cable, name, permissions") from error
