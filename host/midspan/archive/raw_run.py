"""One shaft's raw readings: counts and steps as the gauge gave them, nothing converted."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from midspan.base.errors import ArchiveError
from midspan.wire.records import Phase as Phase  # part of a run's face

Integers = npt.NDArray[np.int64]
StatusBits = npt.NDArray[np.int16]

COLUMNS = ("tick_us", "rotate_steps", "press_steps", "counts")


# Beyond these a value is no reading, and numbers made of it would be none.
HIGHEST_SHAFT, LONGEST_TEXT, LONGEST_US = 2**31 - 1, 200, 10**12
LATEST_MS = 32_503_680_000_000  # the year 3000; calendars go on for long after it
FARTHEST = 2**40  # microsteps or counts: changes of 32 bits add up to more than they are

PHASES = tuple(phase.name for phase in Phase)


@dataclass(frozen=True, slots=True, eq=False)
class RawRun:
    """All readings of one shaft, in the order they were taken, as absolute values.

    `tick_us` (time after the first reading, us), `rotate_steps`, `press_steps` (below home, positive down)
    and `counts` are int64 arrays of one length; `status` (bits of protocol/readings.avsc, 0 is a good
    reading) is an int16 array of the same length; `marks` are the rotate positions (microsteps) of the index
    mark. `segments` holds (phase index, number of readings) in order. Units and ranges of the other fields
    stand in protocol/raw_run.avsc.

    Raises ArchiveError when the columns differ in length, the segments do not add up to them, a phase
    is unknown or comes twice, or a value is none that a gauge can have sent.

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

    def __post_init__(self) -> None:
        length = len(self.counts)
        if not length == len(self.tick_us) == len(self.rotate_steps) == len(self.press_steps) == len(self.status):
            raise ArchiveError(f"{self.name}: its columns differ in length ({self._lengths()})")
        if sum(readings for _, readings in self.segments) != length:
            raise ArchiveError(f"{self.name}: its segments do not add up to its {length} readings")
        self._check_phases()
        self._check_values()
        if length and self.tick_us[0] != 0:
            raise ArchiveError(f"{self.name}: its times must count from its first reading")

    def _lengths(self) -> str:
        return ", ".join(f"{name} {len(getattr(self, name))}" for name in (*COLUMNS, "status"))

    def _check_phases(self) -> None:
        seen = set()
        for phase, readings in self.segments:
            if not 0 <= phase < len(PHASES):
                raise ArchiveError(f"{self.name}: phase {phase} is unknown; a newer Midspan may know it")
            if phase in seen or readings < 1:
                raise ArchiveError(f"{self.name}: phase {PHASES[phase]} comes twice or without readings")
            seen.add(phase)

    def _check_values(self) -> None:
        for name in ("label", "gauge", "firmware", "runtime", "cause"):
            if len(getattr(self, name) or "") > LONGEST_TEXT:
                raise ArchiveError(f"{self.name}: its {name} has more than {LONGEST_TEXT} signs")
        if not 0 <= self.shaft <= HIGHEST_SHAFT or not 0 <= self.started_ms <= LATEST_MS:
            raise ArchiveError(f"{self.name}: began at {self.started_ms} ms; no shaft has such a number or time")
        for name in COLUMNS:
            most, column = LONGEST_US if name == "tick_us" else FARTHEST, getattr(self, name)
            if len(column) and not -most <= column.min() <= column.max() <= most:
                raise ArchiveError(f"{self.name}: its {name} run to {column.min()} and {column.max()}")

    def __eq__(self, other: object) -> bool:
        """True when every field and every value of every column is the same."""
        if not isinstance(other, RawRun):
            return NotImplemented
        return all(_same(getattr(self, f.name), getattr(other, f.name)) for f in fields(RawRun))

    __hash__ = None  # type: ignore[assignment]  # arrays can be changed in place

    def __len__(self) -> int:
        """Number of readings."""
        return len(self.counts)

    @property
    def name(self) -> str:
        """The shaft as a person would look for it: its number and its label, if it has one."""
        return f"shaft {self.shaft} ({self.label})" if self.label else f"shaft {self.shaft}"

    def places(self) -> dict[int, slice]:
        """Where the readings of each phase stand in every column, by phase index."""
        places, first = {}, 0
        for phase, readings in self.segments:
            places[phase] = slice(first, first + readings)
            first += readings
        return places

    def phase_slice(self, phase: int) -> slice | None:
        """Where the readings of a phase stand in every column, or None when the run has none of it."""
        return self.places().get(phase)


def _same(one: object, other: object) -> bool:
    if isinstance(one, np.ndarray):
        return np.array_equal(one, other)  # type: ignore[arg-type]
    return one == other
