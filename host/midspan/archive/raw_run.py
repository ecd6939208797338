"""Raw readings of one shaft: counts and steps as the gauge sent them, not converted."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from midspan.base.errors import ArchiveError
from midspan.wire.records import Phase as Phase  # part of a run's face

Integers = npt.NDArray[np.int64]
StatusBits = npt.NDArray[np.int16]

COLUMNS = ("tick_us", "rotate_steps", "press_steps", "counts")


# No gauge can have sent a value beyond these, and computing with it would give nonsense.
HIGHEST_SHAFT, LONGEST_TEXT, LONGEST_US = 2**31 - 1, 200, 10**12
LATEST_MS = 32_503_680_000_000  # the year 3000
FARTHEST = 2**40  # microsteps or counts: many changes of 32 bits add up to more than 32 bits
COLDEST_CENTI, HOTTEST_CENTI = -10_000, 20_000  # farther than any electronics work

SHAFT, BOARD = "SHAFT", "BOARD"  # thermometers of protocol/raw_run.avsc

PHASES = tuple(phase.name for phase in Phase)


@dataclass(frozen=True, slots=True, eq=False)
class RawRun:
    """All readings of one shaft, in the order they were taken, as absolute values.

    Parameters
    ----------
    shaft : int
        Number of the shaft within its batch, 0 to 2147483647.
    label : str
        Name that the user gave the shaft, at most 200 characters, or empty.
    started_ms : int
        Time of day when the measurement was ordered, milliseconds since 1970 (UTC).
    gauge : str
        Name of the gauge.
    firmware : str
        Version of the device code.
    runtime : str
        Interpreter and platform of the device; it also says if the gauge is a simulated one (rehearsal).
    boot : int
        Boot number of the device.
    count_min : int
        Lowest count of the converter.
    count_max : int
        Highest count of the converter.
    complete : bool
        True if the whole cycle ran.
    cause : str or None
        Code of the fault that cut the cycle short; None if it is complete.
    duration_ms : int
        Duration of the cycle, milliseconds.
    sampling_ms : int
        Part of it spent sampling for the result, milliseconds.
    interval_us : int
        Sampling interval of the converter as the device measured it, microseconds.
    segments : tuple[tuple[int, int], ...]
        Phase index and number of readings of each phase, in the order of the readings.
    tick_us : Integers
        Time of each reading after the first, microseconds, int64, shape (readings,).
    rotate_steps : Integers
        Rotate position, microsteps, int64, shape (readings,).
    press_steps : Integers
        Press position below home, microsteps, positive down, int64, shape (readings,).
    counts : Integers
        Count of the converter, int64, shape (readings,).
    status : StatusBits
        Bit set of each reading, int16, shape (readings,); 0 for a good reading. Bits: 1 settling after a motion,
        2 converter at its limit, 4 out of step, 8 samples missing before this reading.
    marks : Integers
        Rotate positions of the index mark, microsteps, int64, shape (marks,).

    temperature_centi : int or None
        Temperature at the end of the run, 0.01 degC; None if it is not known.
    temperature_source : str or None
        Thermometer it is from: SHAFT, a sensor by the shaft, or BOARD, the chip, some degrees above the room; None if
        the temperature is not known.

    Raises
    ------
    ArchiveError
        The columns differ in length, the segments do not add up to them, a phase is unknown or comes twice, or no gauge
        can have sent a value.

    Examples
    --------
    >>> column = np.arange(3)
    >>> run = RawRun(shaft=7, label="a7", started_ms=0, gauge="bench", firmware="1", runtime="none", boot=1,
    ...              count_min=-8388608, count_max=8388607, complete=True, cause=None, duration_ms=37,
    ...              sampling_ms=37, interval_us=12500, segments=((Phase.LIGHT, 1), (Phase.FULL, 2)),
    ...              tick_us=column * 12500, rotate_steps=column, press_steps=column, counts=column + 100,
    ...              status=np.zeros(3, np.int16), marks=np.zeros(0, np.int64))
    >>> run.counts[run.phase_slice(Phase.FULL)]
    array([101, 102])
    >>> run.phase_slice(Phase.LIFT) is None
    True
    """

    shaft: int
    label: str
    started_ms: int
    gauge: str
    firmware: str
    runtime: str
    boot: int
    count_min: int
    count_max: int
    complete: bool
    cause: str | None
    duration_ms: int
    sampling_ms: int
    interval_us: int
    segments: tuple[tuple[int, int], ...]
    tick_us: Integers
    rotate_steps: Integers
    press_steps: Integers
    counts: Integers
    status: StatusBits
    marks: Integers
    temperature_centi: int | None = None
    temperature_source: str | None = None

    def __post_init__(self) -> None:
        """Raise ArchiveError if the run contradicts itself."""
        length = len(self.counts)
        if not length == len(self.tick_us) == len(self.rotate_steps) == len(self.press_steps) == len(self.status):
            raise ArchiveError(f"{self.name}: its columns differ in length ({self._lengths()})", code="columns")
        if sum(readings for _, readings in self.segments) != length:
            raise ArchiveError(f"{self.name}: its segments do not add up to its {length} readings", code="segments")
        self._check_phases()
        self._check_values()
        if length and self.tick_us[0] != 0:
            raise ArchiveError(f"{self.name}: its times do not begin at 0", code="times")

    def _lengths(self) -> str:
        """Return the lengths of the columns in words."""
        return ", ".join(f"{name} {len(getattr(self, name))}" for name in (*COLUMNS, "status"))

    def _check_phases(self) -> None:
        """Raise ArchiveError if a phase is unknown, comes twice or has no readings."""
        seen = set()
        for phase, readings in self.segments:
            if not 0 <= phase < len(PHASES):
                raise ArchiveError(f"{self.name}: phase {phase} is unknown; try a newer Midspan", code="phase_unknown")
            if phase in seen or readings < 1:
                raise ArchiveError(
                    f"{self.name}: phase {PHASES[phase]} is repeated or has no readings", code="phase_repeated"
                )
            seen.add(phase)

    def _check_values(self) -> None:
        """Raise ArchiveError if no gauge can have sent a value."""
        for name in ("label", "gauge", "firmware", "runtime", "cause", "temperature_source"):
            if len(getattr(self, name) or "") > LONGEST_TEXT:
                raise ArchiveError(f"{self.name}: its {name} has more than {LONGEST_TEXT} characters")
        if not 0 <= self.shaft <= HIGHEST_SHAFT or not 0 <= self.started_ms <= LATEST_MS:
            raise ArchiveError(f"{self.name}: its number or its start time, {self.started_ms} ms, is out of range")
        if self.temperature_centi is not None and not COLDEST_CENTI <= self.temperature_centi <= HOTTEST_CENTI:
            raise ArchiveError(f"{self.name}: its temperature, {self.temperature_centi} / 100 degC, is out of range")
        for name in COLUMNS:
            most, column = LONGEST_US if name == "tick_us" else FARTHEST, getattr(self, name)
            if len(column) and not -most <= column.min() <= column.max() <= most:
                raise ArchiveError(f"{self.name}: its {name} go from {column.min()} to {column.max()}, out of range")

    def __eq__(self, other: object) -> bool:
        """Return True if every field and every value of every column is the same."""
        if not isinstance(other, RawRun):
            return NotImplemented
        return all(_same(getattr(self, f.name), getattr(other, f.name)) for f in fields(RawRun))

    __hash__ = None  # type: ignore[assignment]  # arrays can be changed in place

    def __len__(self) -> int:
        """Return the number of readings."""
        return len(self.counts)

    @property
    def name(self) -> str:
        """Number of the shaft and its label, if it has one, as a person would look for it."""
        return f"shaft {self.shaft} ({self.label})" if self.label else f"shaft {self.shaft}"

    @property
    def temperature_c(self) -> float | None:
        """Temperature at the end of the run, degC; None if it is not known."""
        return None if self.temperature_centi is None else self.temperature_centi / 100

    def places(self) -> dict[int, slice]:
        """Return the position of each phase's readings in the columns.

        Returns
        -------
        dict[int, slice]
            A slice of every column, by phase index.
        """
        places, first = {}, 0
        for phase, readings in self.segments:
            places[phase] = slice(first, first + readings)
            first += readings
        return places

    def phase_slice(self, phase: int) -> slice | None:
        """Return the position of a phase's readings in the columns.

        Parameters
        ----------
        phase : int
            Index of the phase.

        Returns
        -------
        slice or None
            A slice of every column, None if the run has no readings of the phase.
        """
        return self.places().get(phase)


def _same(value: object, other: object) -> bool:
    """Return True if two values, possibly arrays, are equal."""
    if isinstance(value, np.ndarray):
        return np.array_equal(value, other)  # type: ignore[arg-type]
    return value == other
