"""Typed readings as numbers, and their checks; each error names the reading and the remedy.

>>> typed = (Typed("0", "1", "0,10", "12,80", "0,11"), Typed("90", "1", "0.12", "12.82", "0.12"))
>>> readings = numbers_of(typed, "the session")
>>> readings.loaded.tolist(), readings.has_return
([12.8, 12.82], True)
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from midspan.base.csv_table import TypedTable, number_in
from midspan.base.errors import ConversionError, ReadingsError
from midspan.hand_bench.bench import MM_PER_UNIT, HandBench
from midspan.hand_bench.clock_fit import Array
from midspan.hand_bench.conversion import BenchLoad
from midspan.hand_bench.record import Typed

# Shafts and bars bent like this lie well between these limits (common practice, no source).
SPINES_THOU = (80.0, 3000.0)
POSITIONS_OF_A_CLOCK = 12
UNIT_WORDS = {"mm": "millimetres", "in": "inches", "thou": "thousandths of an inch"}


@dataclass(frozen=True)
class HandReadings:
    """Readings in the dial's unit.

    Parameters
    ----------
    angle_deg : ndarray
        Clock positions, degrees, shape (n,).
    repeat : tuple of str
        Round of each reading, as typed.
    unloaded : ndarray
        Dial without the weight, shape (n,).
    loaded : ndarray
        Dial with the weight, shape (n,).
    again : ndarray
        Dial after the weight came off, shape (n,); NaN where it was not read.
    confirmed : tuple of bool
        True for readings that a person looked at again.
    """

    angle_deg: Array
    repeat: tuple[str, ...]
    unloaded: Array
    loaded: Array
    again: Array
    confirmed: tuple[bool, ...]

    @property
    def has_return(self) -> bool:
        """True if the dial was read again without the weight every time."""
        return bool(np.isfinite(self.again).all())

    @property
    def zero(self) -> Array:
        """Unloaded reading for each loaded reading: the mean of before and after if both were read.

        The mean cancels an even drift of the dial.
        """
        return np.where(np.isfinite(self.again), (self.unloaded + self.again) / 2, self.unloaded)

    def name(self, i: int) -> str:
        """Return the name of a reading for messages.

        Parameters
        ----------
        i : int
            Index of the reading.

        Returns
        -------
        str
            Position and round, in words.
        """
        return f"the reading at {self.angle_deg[i]:g} degrees, repeat {self.repeat[i]}"

    def only(self, kept: NDArray[np.bool_]) -> "HandReadings":
        """Return some of the readings.

        Parameters
        ----------
        kept : ndarray of bool
            True for the readings to keep, shape (n,).

        Returns
        -------
        HandReadings
            The readings kept.
        """
        of = [i for i, keep in enumerate(kept) if keep]
        return HandReadings(
            self.angle_deg[of], tuple(self.repeat[i] for i in of), self.unloaded[of], self.loaded[of], self.again[of],
            tuple(self.confirmed[i] for i in of),
        )  # fmt: skip


def numbers_of(typed: tuple[Typed, ...], source: str) -> HandReadings:
    """Return typed readings as numbers.

    Parameters
    ----------
    typed : tuple of Typed
        Readings as typed.
    source : str
        Origin of the readings, for messages.

    Returns
    -------
    HandReadings
        The same readings.

    Raises
    ------
    ReadingsError
        There are no readings (code "empty"), a text is not a number, or a number is missing ("missing").
    """
    if not typed:
        raise ReadingsError(f"{source}: no readings; type some, or give them with --csv", code="empty")

    def column(name: str, cells: Iterable[str]) -> Array:
        return np.array([number_in(cell, f"{source}: {name}") if cell else np.nan for cell in cells])

    readings = HandReadings(
        column("angle_deg", (each.angle_deg for each in typed)),
        tuple(each.repeat for each in typed),
        column("unloaded", (each.unloaded for each in typed)),
        column("loaded", (each.loaded for each in typed)),
        column("unloaded_again", (each.unloaded_again for each in typed)),
        tuple(bool(each.confirmed) for each in typed),
    )
    needed = {"angle_deg": readings.angle_deg, "unloaded": readings.unloaded, "loaded": readings.loaded}
    for name, values in needed.items():
        missing = np.isnan(values)
        if missing.any():
            raise ReadingsError(
                f"{source}: {readings.name(int(missing.argmax()))} has no {name}; read it again", code="missing"
            )
    return readings


def typed_from(table: TypedTable) -> Iterator[Typed]:
    """Yield the readings of a CSV table.

    The table has the columns angle_deg or clock, unloaded and loaded, and may have repeat, unloaded_again and
    confirmed. Clock holds hours, 12 at the top. Without repeat, lines of one position are numbered in their order.
    Confirmed holds any word where a surprising reading was looked at again.

    Parameters
    ----------
    table : TypedTable
        The table.

    Yields
    ------
    Typed
        The reading of each line.

    Raises
    ------
    ReadingsError
        A column or a value is missing, or an hour is not a number.
    """
    angle = table.column_among(("angle_deg", "clock"))
    needed = {name: table.texts(name) for name in (angle, "unloaded", "loaded")}
    seen: Counter[str] = Counter()
    for i, line in enumerate(table.lines):
        position = needed[angle][i]
        if angle == "clock":
            hour = number_in(position, f"{table.source}, line {line.number}: clock")
            position = f"{hour % POSITIONS_OF_A_CLOCK * 360 / POSITIONS_OF_A_CLOCK:g}"
        seen[position] += 1
        repeat = line.cells.get("repeat") or str(seen[position])
        again, confirmed = (line.cells.get(name, "") for name in ("unloaded_again", "confirmed"))
        yield Typed(position, repeat, needed["unloaded"][i], needed["loaded"][i], again, confirmed)


def check_typed_twice(typed: list[Typed], source: str) -> None:
    """Check that a table has one line for each position and repeat.

    Parameters
    ----------
    typed : list of Typed
        Readings of the table.
    source : str
        Name of the table, for the message.

    Raises
    ------
    ReadingsError
        Two lines have the same position and repeat (code "typed_twice").
    """
    for (angle, repeat), number in Counter((reading.angle_deg, reading.repeat) for reading in typed).items():
        if number > 1:
            raise ReadingsError(
                f"{source}: {angle} degrees, repeat {repeat} is listed {number} times; number the repeats",
                code="typed_twice",
            )


def check_direction(readings: HandReadings, bench: HandBench) -> None:
    """Check that the load lowers the shaft at every reading.

    Parameters
    ----------
    readings : HandReadings
        Readings of a session.
    bench : HandBench
        The bench.

    Raises
    ------
    ReadingsError
        Every reading goes up (code "direction"), or one does ("direction_of_one"): columns are swapped, or the
        dial works the other way.
    """
    sag_mm = (readings.loaded - readings.zero) * bench.indicator.mm
    if (sag_mm > 0).all():
        return
    if (sag_mm < 0).all():
        other = {"rises": "falls", "falls": "rises"}[bench.indicator.when_lower]
        raise ReadingsError(
            "every reading says that the weight lifts the shaft: are the columns loaded and unloaded swapped? If the "
            f'dial {other} as the shaft goes down, write when_lower = "{other}" under [indicator] of the bench file',
            code="direction",
        )
    first = int((sag_mm <= 0).argmax())
    raise ReadingsError(
        f"{readings.name(first)} says that the weight lifts the shaft, others do not: are unloaded and loaded swapped "
        "there? Read it again",
        code="direction_of_one",
    )


def check_size(readings: HandReadings, bench: HandBench) -> None:
    """Check that the mean deflection is that of a shaft.

    Parameters
    ----------
    readings : HandReadings
        Readings of a session.
    bench : HandBench
        The bench.

    Raises
    ------
    ReadingsError
        No shaft has this spine (code "size"); the message names the unit in which it would be one, if there is
        any ("unit").
    """
    span = float(np.mean(np.abs(readings.loaded - readings.zero)))
    found = _spine(span * MM_PER_UNIT[bench.indicator.unit], bench)
    if found is not None and SPINES_THOU[0] <= found <= SPINES_THOU[1]:
        return
    others = (unit for unit in MM_PER_UNIT if unit != bench.indicator.unit)
    spines = ((unit, _spine(span * MM_PER_UNIT[unit], bench)) for unit in others)
    fitting = [(unit, spine) for unit, spine in spines if spine and SPINES_THOU[0] <= spine <= SPINES_THOU[1]]
    says = "more than any shaft bends" if found is None else f"a spine of {found:.3g} thou, which no shaft has"
    hint, code = "check weight, span and unit in the bench file", "size"
    if fitting:
        (unit, spine), code = fitting[0], "unit"
        hint = f'were they in {UNIT_WORDS[unit]}? Then it is {spine:.0f} thou: write unit = "{unit}" under [indicator]'
    raise ReadingsError(f"the weight moved the dial by {span:.4g} {bench.indicator.unit}: {says}; {hint}", code=code)


def _spine(sag_mm: float, bench: HandBench) -> float | None:
    """Return the spine for a movement of the dial, thou; None if no shaft bends that far."""
    try:
        return float(BenchLoad.of(bench).thou(np.array(sag_mm)))
    except ConversionError:
        return None


def missing_repeats(readings: HandReadings) -> Iterator[str]:
    """Yield positions that were read less often than others.

    Parameters
    ----------
    readings : HandReadings
        Readings of a session.

    Yields
    ------
    str
        A sentence for each such position.
    """
    repeats = Counter(readings.angle_deg.tolist())
    most = max(repeats.values())
    for angle, number in sorted(repeats.items()):
        if number < most:
            yield f"{angle:g} degrees was read less often than others ({number}, not {most}): read it again"
