"""Typed readings as numbers, and what looks wrong with them: each finding says what and what to do.

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

# From the stiffest to the softest shaft or bar anyone bends so (common practice, no source), with room.
SPINES_THOU = (80.0, 3000.0)
POSITIONS_OF_A_CLOCK = 12
UNIT_WORDS = {"mm": "millimetres", "in": "inches", "thou": "thousandths of an inch"}


@dataclass(frozen=True)
class HandReadings:
    """Readings in the dial's unit, each [n]; `again` is NaN where nothing was read after the weight came off."""

    angle_deg: Array
    repeat: tuple[str, ...]
    unloaded: Array
    loaded: Array
    again: Array
    confirmed: tuple[bool, ...]

    @property
    def has_return(self) -> bool:
        """Whether the dial was read again without the weight, every time."""
        return bool(np.isfinite(self.again).all())

    @property
    def zero(self) -> Array:
        """The unloaded reading that goes with the loaded one: the mean of before and after where both were read.

        So a dial that drifts evenly drops out.
        """
        return np.where(np.isfinite(self.again), (self.unloaded + self.again) / 2, self.unloaded)

    def name(self, i: int) -> str:
        """Which reading it is, for people."""
        return f"the reading at {self.angle_deg[i]:g} degrees, repeat {self.repeat[i]}"

    def only(self, kept: NDArray[np.bool_]) -> "HandReadings":
        """Those of the readings that are kept [n]."""
        of = [i for i, keep in enumerate(kept) if keep]
        return HandReadings(
            self.angle_deg[of], tuple(self.repeat[i] for i in of), self.unloaded[of], self.loaded[of], self.again[of],
            tuple(self.confirmed[i] for i in of),
        )  # fmt: skip


def numbers_of(typed: tuple[Typed, ...], source: str) -> HandReadings:
    """The readings as numbers; ReadingsError names the first that is none."""
    if not typed:
        raise ReadingsError(f"{source}: there are no readings in it; type some, or give them with --csv")

    def column(name: str, cells: Iterable[str]) -> Array:
        return np.array([number_in(cell, f"{source}: {name}") if cell else np.nan for cell in cells])

    readings = HandReadings(
        column("angle_deg", (one.angle_deg for one in typed)), tuple(one.repeat for one in typed),
        column("unloaded", (one.unloaded for one in typed)), column("loaded", (one.loaded for one in typed)),
        column("unloaded_again", (one.unloaded_again for one in typed)), tuple(bool(one.confirmed) for one in typed),
    )  # fmt: skip
    needed = {"angle_deg": readings.angle_deg, "unloaded": readings.unloaded, "loaded": readings.loaded}
    for name, values in needed.items():
        missing = np.isnan(values)
        if missing.any():
            raise ReadingsError(f"{source}: {readings.name(int(missing.argmax()))} has no {name}; read it again")
    return readings


def typed_from(table: TypedTable) -> Iterator[Typed]:
    """The lines of a CSV with columns angle_deg or clock, unloaded, loaded, and if read: repeat, unloaded_again.

    A column clock holds hours, 12 on top. Without a column repeat, lines of one position are numbered as they come.
    A column confirmed holds a word where a reading that surprises was looked at again.
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
    """ReadingsError when a table has two lines for one position and repeat: nobody knows which is meant."""
    for (angle, repeat), number in Counter((one.angle_deg, one.repeat) for one in typed).items():
        if number > 1:
            raise ReadingsError(f"{source}: {angle} degrees, repeat {repeat} stands there {number} times; number them")


def check_direction(readings: HandReadings, bench: HandBench) -> None:
    """ReadingsError when the load lifts the shaft: columns swapped, or the dial works the other way."""
    sag_mm = (readings.loaded - readings.zero) * bench.indicator.mm
    if (sag_mm > 0).all():
        return
    if (sag_mm < 0).all():
        other = {"rises": "falls", "falls": "rises"}[bench.indicator.when_lower]
        raise ReadingsError(
            "every reading says that the weight lifts the shaft: are the columns loaded and unloaded swapped? If the "
            f'dial {other} as the shaft goes down, write when_lower = "{other}" under [indicator] of the bench file'
        )
    first = int((sag_mm <= 0).argmax())
    raise ReadingsError(
        f"{readings.name(first)} says that the weight lifts the shaft, others do not: are unloaded and loaded swapped "
        "there? Read it again"
    )


def check_size(readings: HandReadings, bench: HandBench) -> None:
    """ReadingsError when no shaft has such a spine; the message names the unit in which it would have one."""
    span = float(np.mean(np.abs(readings.loaded - readings.zero)))
    found = _spine(span * MM_PER_UNIT[bench.indicator.unit], bench)
    if found is not None and SPINES_THOU[0] <= found <= SPINES_THOU[1]:
        return
    others = (unit for unit in MM_PER_UNIT if unit != bench.indicator.unit)
    spines = ((unit, _spine(span * MM_PER_UNIT[unit], bench)) for unit in others)
    fitting = [(unit, spine) for unit, spine in spines if spine and SPINES_THOU[0] <= spine <= SPINES_THOU[1]]
    says = "more than any shaft bends" if found is None else f"a spine of {found:.3g} thou, which no shaft has"
    hint = "check weight, span and unit in the bench file"
    if fitting:
        unit, spine = fitting[0]
        hint = f'were they in {UNIT_WORDS[unit]}? Then it is {spine:.0f} thou: write unit = "{unit}" under [indicator]'
    raise ReadingsError(f"the weight moved the dial by {span:.4g} {bench.indicator.unit}: {says}; {hint}")


def _spine(sag_mm: float, bench: HandBench) -> float | None:
    try:
        return float(BenchLoad.of(bench).thou(np.array(sag_mm)))
    except ConversionError:
        return None


def missing_repeats(readings: HandReadings) -> Iterator[str]:
    """Positions that were read less often than others."""
    repeats = Counter(readings.angle_deg.tolist())
    most = max(repeats.values())
    for angle, number in sorted(repeats.items()):
        if number < most:
            yield f"{angle:g} degrees was read less often than others ({number}, not {most}): read it again"
