"""What a scale with a serial line says: its file, and one of its lines.

Scales differ in how they write a reading, so the file holds the pattern of a whole line, with named groups: `value` is
the number; `unit`, where the scale sends it, has to be one of `unit_words`; `steady`, where it sends that, is one of
`steady_words` when the pan is at rest.

>>> scale = Scale.model_validate(EXAMPLE)
>>> scale.shown("weight 312.4 grains steady")
ScaleReading(text='312.4', steady=True)
>>> scale.shown("weight 298.1 grains moving").steady, scale.shown("hello")
(False, None)
>>> scale.shown("weight 20.2 grams steady")
Traceback (most recent call last):
midspan.base.errors.ReadingsError: the scale shows 'grams' where grains are meant; switch it over, or mend its file

Weighing by a scale: wait until its readings agree, and take none that is doubtful.

The lines of a scale come through a `Pan`, so that nothing here knows ports; the time is passed in.

The serial port of a scale.
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
from midspan.sets.weights import GRAM_PER, ShaftWeight, WeightUnit, weight_of

LONGEST_LINE = 120  # signs; more without an end is noise, or the wrong speed
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
    """A reading: the number as it was sent, and whether the pan was at rest."""

    text: str
    steady: bool


class Scale(Section):
    """A scale's file. `equal` steady readings in a row make a weight; after `wait_s` without them it is given up."""

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
        try:
            groups = re.compile(pattern).groupindex
        except (re.error, OverflowError, RecursionError) as error:
            raise ValueError(f"pattern: is no regular expression ({error}); mend it") from error
        strange = [name for name in groups if name not in GROUPS]
        if strange or "value" not in groups:
            raise ValueError(
                f"pattern: its groups are {', '.join(groups) or 'none'}; it needs value, and may have unit and steady"
            )
        return pattern

    @field_validator("unit")
    @classmethod
    def _is_a_unit(cls, unit: str) -> str:
        if unit not in set(WeightUnit):
            raise ValueError(f"unit = {unit!r}: say {' or '.join(WeightUnit)}, as the scale is set")
        return unit

    @model_validator(mode="after")
    def _words_have_groups(self) -> "Scale":
        groups = re.compile(self.pattern).groupindex
        for name, words in (("unit", self.unit_words), ("steady", self.steady_words)):
            if (name in groups) != bool(words):
                raise ValueError(
                    f"{name}_words: a group {name} in the pattern and its words go together; add the other"
                )
        return self

    def shown(self, line: str) -> ScaleReading | None:
        """What a line says; None when it is none of the scale's.

        Raises ReadingsError when it says overload or another unit.
        """
        if any(word in line for word in self.overload_words):
            raise ReadingsError(f"the scale is overloaded ({line.strip()!r}); take everything off")
        found = re.fullmatch(self.pattern, line.strip()) if len(line) <= LONGEST_LINE else None
        if found is None or not _is_number(found["value"]):
            return None
        groups = found.groupdict()
        if self.unit_words and groups["unit"] not in self.unit_words:
            raise ReadingsError(
                f"the scale shows {groups['unit'] or 'no unit'!r} where {self.unit} are meant; switch it over, or mend "
                "its file"
            )
        return ScaleReading(found["value"].strip(), not self.steady_words or groups["steady"] in self.steady_words)


def _is_number(text: str | None) -> bool:
    try:
        number_in(text or "", "")
    except ReadingsError:
        return False
    return True


def load_scale(path: Path) -> Scale:
    """Read and check a scale's file; ConfigurationError names the file, the key and what to do."""
    return validated(Scale, read_toml(path), path)


MOST_NOISE = 20  # lines in a row that say nothing; a scale that is heard from mid line on sends one
EMPTY_SHARE = 0.1  # of the last weight: less is an empty pan


class Pan(Protocol):
    """A line to a scale; `name` is how messages call it."""

    name: str

    def read(self) -> bytes:
        """Bytes that have come, waiting a short time for the first; empty when none did."""

    def write(self, data: bytes) -> None:
        """Send all the bytes."""

    def forget(self) -> None:
        """Drop what came before now."""


def weigh(pan: Pan, scale: Scale, place: str, clock: Callable[[], float]) -> ShaftWeight:
    """The weight on the pan, once `scale.equal` steady readings in a row are the same.

    Raises ReadingsError, which begins with `place`, when the scale sends noise or nothing, is overloaded, shows less
    than nothing or another unit, does not come to rest in time, or shows what no shaft weighs.
    """
    row: list[ScaleReading] = []
    for shown in _readings(pan, scale, place, clock, "its readings do not come to rest; keep draughts and hands away"):
        row = [*row[1 - scale.equal :], shown]
        if len(row) == scale.equal and all(one.steady and one.text == shown.text for one in row):
            break
    text = row[-1].text
    if number_in(text, place) < 0:
        raise ReadingsError(f"{place}: the scale shows {text}; empty it, set it to zero, and weigh again")
    return weight_of(text, scale.unit, place)


def wait_until_empty(pan: Pan, scale: Scale, last: ShaftWeight, place: str, clock: Callable[[], float]) -> None:
    """Wait until a weight has been taken off, lest it be taken for that of the next shaft; raises as `weigh` does."""
    most = EMPTY_SHARE * last.weight_g / GRAM_PER[WeightUnit(scale.unit)]
    for shown in _readings(pan, scale, place, clock, "the pan is not emptied; take the shaft off"):
        if abs(number_in(shown.text, place)) < most:
            return


def _readings(pan: Pan, scale: Scale, place: str, clock: Callable[[], float], too_late: str) -> Iterator[ScaleReading]:
    """Readings from now on, until the wait is over."""
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
                f"{place}: {pan.name} sends noise, at last {printable(line[:24])!r}; check its speed, its cable "
                "and the pattern in its file"
            )
        if shown:
            heard = True
            yield shown
    silent = f"no reading came from {pan.name}; is the scale on, and does it send by itself (else give `ask`)?"
    raise ReadingsError(f"{place}: {too_late if heard else silent}")


def _lines(pan: Pan, scale: Scale, clock: Callable[[], float]) -> Iterator[str]:
    """Lines that come from now on, whole or as long as a line may get; ends when the wait is over."""
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
    """An open port, 8 bits without parity, that no other program can open meanwhile.

    Raises LinkError when it cannot be opened, and from its methods when it goes away.

    >>> ScalePort("absent", 9600)
    Traceback (most recent call last):
    midspan.base.errors.LinkError: absent: no scale there (No such file or directory); check cable, name and rights
    """

    def __init__(self, port: str, baud: int, read_s: float = READ_S) -> None:
        self.name = port
        with self._in_words():
            self._serial = serial.Serial(port, baud, timeout=read_s, write_timeout=1.0, exclusive=True)

    def read(self) -> bytes:
        """Bytes that have come, waiting up to `read_s` for the first; empty when none did."""
        with self._in_words():
            first = bytes(self._serial.read(1))
            return first + bytes(self._serial.read(self._serial.in_waiting)) if first else first

    def write(self, data: bytes) -> None:
        """Send all the bytes."""
        with self._in_words():
            self._serial.write(data)

    def forget(self) -> None:
        """Drop what came before now."""
        with self._in_words():
            self._serial.reset_input_buffer()

    def __enter__(self) -> Self:
        """Itself; leaving the block closes the port."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the port."""
        self._serial.close()

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:  # pyserial's own errors are OSErrors, some without a number
            why = os.strerror(error.errno) if error.errno else "it went away, or takes nothing"
            raise LinkError(f"{self.name}: no scale there ({why}); check cable, name and rights") from error
