"""Weighing by a scale: wait until its readings agree, and take none that is doubtful.

The lines of a scale come through a `Pan`, so that nothing here knows ports; the time is passed in.
"""

import re
from collections.abc import Callable, Iterator
from typing import Protocol

from midspan.errors import ReadingsError
from midspan.scale_line import LONGEST_LINE, Scale, Shown
from midspan.typed_table import number_in
from midspan.weights import GRAM_PER, Weight, WeightUnit, weight_of
from midspan.wording import printable

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


def weigh(pan: Pan, scale: Scale, place: str, clock: Callable[[], float]) -> Weight:
    """The weight on the pan, once `scale.equal` steady readings in a row are the same.

    Raises ReadingsError, which begins with `place`, when the scale sends noise or nothing, is overloaded, shows less
    than nothing or another unit, does not come to rest in time, or shows what no shaft weighs.
    """
    row: list[Shown] = []
    for shown in _readings(pan, scale, place, clock, "its readings do not come to rest; keep draughts and hands away"):
        row = [*row[1 - scale.equal :], shown]
        if len(row) == scale.equal and all(one.steady and one.text == shown.text for one in row):
            break
    text = row[-1].text
    if number_in(text, place) < 0:
        raise ReadingsError(f"{place}: the scale shows {text}; empty it, set it to zero, and weigh again")
    return weight_of(text, scale.unit, place)


def wait_until_empty(pan: Pan, scale: Scale, last: Weight, place: str, clock: Callable[[], float]) -> None:
    """Wait until a weight has been taken off, lest it be taken for that of the next shaft; raises as `weigh` does."""
    most = EMPTY_SHARE * last.weight_g / GRAM_PER[WeightUnit(scale.unit)]
    for shown in _readings(pan, scale, place, clock, "the pan is not emptied; take the shaft off"):
        if abs(number_in(shown.text, place)) < most:
            return


def _readings(pan: Pan, scale: Scale, place: str, clock: Callable[[], float], too_late: str) -> Iterator[Shown]:
    """Readings from now on, until the wait is over."""
    heard, noise = False, 0
    for line in _lines(pan, scale, clock):
        try:
            shown = scale.shown(line)
        except ReadingsError as error:
            raise error.at(place) from error
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
