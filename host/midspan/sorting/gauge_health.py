"""Is the gauge still the gauge it was at the start of the night? Zero, noise, sampling rate, slip and temperature.

Each shaft's run leaves one `RunSigns`; `alarms` holds the newest against fixed limits and against the night so far.
An alarm is about the gauge: it asks a person to look, and does not touch the verdict on the shaft, which rests on that
shaft's own zeros and scatter (`measurement/result.py`). What is usual is what the first shafts of the night showed.

>>> quiet = RunSigns(zero_n=1.2, zero_drift_n=0.0003, noise_n=0.0004, strays=0.0, rate_off=0.01, interval_us=12315.0,
...                     missed=0.0, slip_pct=0.4, u_slip_pct=0.01, temperature_c=21.0)
>>> alarms(quiet, [quiet] * 6, WatchLimits())
()
>>> from dataclasses import replace
>>> [alarm.code.value for alarm in alarms(replace(quiet, noise_n=0.0013), [quiet] * 6, WatchLimits())]
['CELL_NOISY']
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from typing import Annotated

import numpy as np
from pydantic import Field

from midspan.archive.raw_run import Integers, Phase, RawRun
from midspan.base.config import ARRAY, Section
from midspan.measurement.calibrated_columns import UNFIT
from midspan.measurement.calibration import Calibration
from midspan.measurement.harmonics import MAD_TO_SIGMA, REJECT_SIGMAS
from midspan.measurement.result import ShaftResult, Unmeasured
from midspan.wire.records import HostFault

MISSING_BEFORE = 8  # status bit of protocol/readings.avsc
# What is usual is the median of the first ten, which bears four bad ones; it is known from the fifth on.
FIRST, ENOUGH = 10, 5
SURE = 2.0  # standard uncertainties that an observed slip must lie beyond its limit
Limit = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class WatchLimits(Section):
    """What a healthy gauge stays within, with the reason of each default.

    Forces in newtons; shares as parts of one; `_times` and `_change` against what is usual this night.
    """

    # Fifteen times a sound cell's noise: it costs 0.05 thou at spine 500, the repeatability aimed at.
    noise_n: Limit = 0.006
    # A robust scatter of 40 readings is itself known to a fifth: three times the usual is no chance.
    noise_times: Limit = 3.0
    # Spikes of a loose wire. A sound line gives one in a thousand, and one shaft's zeros are 80 readings.
    strays: Limit = 0.1
    # A thousandth of the standard load within a cycle. A steady drift is taken out; a sudden one between the depths
    # leaves 0.4 thou in a spine of 500, which is as much as the calibration's U.
    zero_drift_n: Limit = 0.009
    # Ten grams since the evening. Ten kelvin move a plain cell by a few (common practice, no source); more is a
    # splinter on the head, a loose screw or a cell that was overloaded.
    zero_change_n: Limit = 0.1
    # The converter's own oscillator may be off by some percent (common practice, no source), not by ten.
    rate_off: Limit = 0.1
    rate_change: Limit = 0.02
    missed: Limit = 0.02  # share of readings before which a sample is missing; a sound line loses one in thousands
    # Against the roller's ratio in the calibration, and against the night: shafts of one kind differ by less than
    # 2 % in diameter. A worn, wet or dusty roller slips more with every shaft.
    slip_pct: Limit = 3.0
    slip_change_pct: Limit = 2.0
    # Cells are specified from -10 to 40 degC (OIML R 60, from memory), and a board is some kelvin warmer than its room.
    temperature_c: Annotated[tuple[float, float], ARRAY] = (-10.0, 45.0)
    # Aluminium softens by 0.05 % a kelvin (handbook value, from memory): five move spine 500 by more than a thou.
    temperature_change_k: Limit = 5.0


@dataclass(frozen=True, slots=True)
class RunSigns:
    """What one run tells of the gauge; None where it does not tell.

    `zero_n` is the force that the empty cell shows before the cycle, counted from count 0, and `zero_drift_n` what it
    shows more after it; `noise_n` the standard deviation of a reading at rest, `strays` the share of readings at rest
    more than five of those away. `interval_us` is the time between samples, `rate_off` its relative departure from the
    nominal one, `missed` the share of readings before which a sample is missing. Slip in percent of the roller's
    ratio, with its standard uncertainty.
    """

    zero_n: float | None
    zero_drift_n: float | None
    noise_n: float | None
    strays: float | None
    interval_us: float | None
    rate_off: float | None
    missed: float | None
    slip_pct: float | None
    u_slip_pct: float | None
    temperature_c: float | None

    def as_dict(self) -> dict[str, float | None]:
        """Plain values, ready for JSON; `RunSigns(**values)` makes it again."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Alarm:
    """What was found, of the host's faults in protocol/faults.json, with the sentence that raised it."""

    code: HostFault
    words: str


def observe(
    run: RawRun,
    result: ShaftResult | Unmeasured,
    calibration: Calibration,
    nominal_us: int | None = None,
    temperature_c: float | None = None,
) -> RunSigns:
    """What a run tells of the gauge, also when it gave no result.

    `nominal_us` is the nominal interval of Identify, `temperature_c` the board's thermometer.
    """
    newtons = calibration.force.newton_per_count
    before, after = (_at_rest(run, phase) for phase in (Phase.ZERO_BEFORE, Phase.ZERO_AFTER))
    zeros = [zero for zero in (before, after) if zero is not None]
    interval_us = float(np.median(np.diff(run.tick_us))) if len(run) > 1 else None
    measured = result if isinstance(result, ShaftResult) else None
    return RunSigns(
        zero_n=before.middle * newtons if before else None,
        zero_drift_n=(after.middle - before.middle) * newtons if before and after else None,
        noise_n=max(zero.scatter for zero in zeros) * newtons if zeros else None,
        strays=max(zero.strays for zero in zeros) if zeros else None,
        interval_us=interval_us,
        rate_off=nominal_us / interval_us - 1 if nominal_us and interval_us else None,
        missed=float(np.mean((run.status & MISSING_BEFORE) > 0)) if len(run) else None,
        slip_pct=_finite(measured.slip_pct) if measured else None,
        u_slip_pct=_finite(measured.u_slip_pct) if measured else None,
        temperature_c=temperature_c,
    )


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


@dataclass(frozen=True, slots=True)
class _Zero:
    """Readings of the empty cell, in counts."""

    middle: float
    scatter: float
    strays: float


def _at_rest(run: RawRun, phase: Phase) -> _Zero | None:
    place = run.phase_slice(phase)
    if place is None:
        return None
    counts: Integers = run.counts[place][(run.status[place] & UNFIT) == 0]
    if not len(counts):
        return None
    middle = float(np.median(counts))
    distance = np.abs(counts - middle)
    scatter = MAD_TO_SIGMA * float(np.median(distance))
    return _Zero(middle, scatter, float(np.mean(distance > REJECT_SIGMAS * scatter)))


def alarms(now: RunSigns, before: Sequence[RunSigns], limits: WatchLimits) -> tuple[Alarm, ...]:
    """What is wrong with the gauge by its newest observation.

    `before` are this night's earlier ones, oldest first; only the first FIRST of them matter.
    """
    usual = _usual(before[:FIRST])
    checks = (_noise, _zero, _rate, _slip, _temperature)
    return tuple(alarm for check in checks for alarm in check(now, usual, limits))


def _usual(some: Sequence[RunSigns]) -> RunSigns:
    """Median of each figure, None while too few are known."""
    columns = ([value for one in some if (value := getattr(one, f.name)) is not None] for f in fields(RunSigns))
    return RunSigns(*(float(np.median(known)) if len(known) >= ENOUGH else None for known in columns))


def _noise(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    if now.noise_n is None or now.strays is None:
        return
    if now.noise_n > limits.noise_n:
        yield Alarm(
            HostFault.CELL_NOISY, f"the empty cell scatters by {now.noise_n:.4f} N, the limit is {limits.noise_n:g}"
        )
    elif usual.noise_n is not None and now.noise_n > limits.noise_times * usual.noise_n:
        yield Alarm(
            HostFault.CELL_NOISY, f"the empty cell scatters by {now.noise_n:.4f} N, at first it was {usual.noise_n:.4f}"
        )
    elif now.strays > limits.strays:
        yield Alarm(HostFault.CELL_NOISY, f"{now.strays:.0%} of the empty cell's readings lie far from the others")


def _zero(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    drift_n, change_limit_n = now.zero_drift_n, limits.zero_change_n
    if drift_n is not None and abs(drift_n) > limits.zero_drift_n:
        words = f"the zero moved by {drift_n:+.4f} N within a cycle, the limit is {limits.zero_drift_n:g}"
        yield Alarm(HostFault.ZERO_DRIFT, words)
    change_n = None if now.zero_n is None or usual.zero_n is None else now.zero_n - usual.zero_n
    if change_n is not None and abs(change_n) > change_limit_n:
        words = f"the zero lies {change_n:+.3f} N from where it was at first, the limit is {change_limit_n:g}"
        yield Alarm(HostFault.ZERO_DRIFT, words)


def _rate(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    if now.rate_off is not None and abs(now.rate_off) > limits.rate_off:
        yield Alarm(HostFault.RATE_OFF, f"samples come {now.rate_off:+.1%} off the nominal rate")
    elif now.interval_us and usual.interval_us and abs(usual.interval_us / now.interval_us - 1) > limits.rate_change:
        rate, first = 1e6 / now.interval_us, 1e6 / usual.interval_us
        yield Alarm(HostFault.RATE_OFF, f"{rate:.1f} samples come in a second, at first there were {first:.1f}")
    if now.missed is not None and now.missed > limits.missed:
        yield Alarm(HostFault.RATE_OFF, f"before {now.missed:.1%} of the readings a sample is missing")


def _slip(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    if now.slip_pct is None or now.u_slip_pct is None:
        return
    unsure = SURE * now.u_slip_pct  # an even and straight shaft hardly shows how far it turned
    if abs(now.slip_pct) > limits.slip_pct + unsure:
        yield Alarm(HostFault.ROLLER_SLIP, f"the shaft turned {now.slip_pct:+.2f} % off the roller's ratio")
    elif usual.slip_pct is not None and abs(now.slip_pct - usual.slip_pct) > limits.slip_change_pct + unsure:
        yield Alarm(
            HostFault.ROLLER_SLIP,
            f"the shaft turned {now.slip_pct:+.2f} % off the ratio, at first it was {usual.slip_pct:+.2f}",
        )


def _temperature(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    if now.temperature_c is None:
        return
    low, high = limits.temperature_c
    here, first = f"the board is at {now.temperature_c:.1f} degC", usual.temperature_c
    if not low <= now.temperature_c <= high:
        yield Alarm(HostFault.TEMPERATURE_OFF, f"{here}, outside {low:g} to {high:g}")
    elif first is not None and abs(now.temperature_c - first) > limits.temperature_change_k:
        yield Alarm(HostFault.TEMPERATURE_OFF, f"{here}, at first it was {first:.1f}")
