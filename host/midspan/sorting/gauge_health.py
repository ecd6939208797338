"""Watch the health of the gauge during a night: zero, noise, sampling rate, slip, temperature, and the board itself.

Each shaft's run leaves its `RunSigns`; `alarms` compares the newest with fixed limits and with the night so far. An
alarm is about the gauge: it asks a person to look, and does not touch the verdict on the shaft, which rests on that
shaft's own zeros, scatter and temperature (`measurement/result.py`). Usual is what the night's first shafts showed.

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
from midspan.measurement.thermometer import temperature_of
from midspan.wire.records import HostFault, Identify

MISSING_BEFORE = 8  # status bit of protocol/readings.avsc
# The usual value is the median of the first ten runs, which tolerates four bad ones; five are enough to begin.
FIRST, ENOUGH = 10, 5
ZEROS = (Phase.ZERO_BEFORE, Phase.ZERO_MIDDLE, Phase.ZERO_AFTER)
SURE = 2.0  # standard uncertainties by which an observed slip must exceed its limit
Limit = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class WatchLimits(Section):
    """Limits of a healthy gauge, with the reason of each default.

    `_times` and `_change` compare with the usual value of this night.

    Parameters
    ----------
    noise_n : Limit
        Standard deviation of a reading at rest, N.
    noise_times : Limit
        The same, in multiples of the usual value.
    strays : Limit
        Share of readings at rest far from the others, 0 to 1.
    zero_drift_n : Limit
        Change of the zero within a cycle, N.
    zero_change_n : Limit
        Change of the zero since the start of the night, N.
    rate_off : Limit
        Relative departure of the sampling rate from the nominal rate.
    rate_change : Limit
        Relative change of the sampling rate.
    missed : Limit
        Share of readings before which a sample is missing, 0 to 1.
    slip_pct : Limit
        Slip of the shaft against the roller's ratio, percent.
    slip_change_pct : Limit
        Change of the slip, percentage points.
    temperature_c : tuple[float, float]
        Lowest and highest temperature at the gauge, degrees Celsius; the range of the calibration counts besides.
    temperature_change_k : Limit
        Change of the temperature, K.
    free_bytes : Limit
        Least memory that the board's collections leave free, bytes.
    longest_turn_ms : Limit
        Longest turn of the board's loop while something moves, ms.
    """

    # Fifteen times a sound cell's noise: it costs 0.05 thou at spine 500, the intended repeatability.
    noise_n: Limit = 0.006
    # The robust scatter of 30 readings at zero is uncertain by a fifth: three times the usual value is significant.
    noise_times: Limit = 3.0
    # Spikes of a loose wire: four of 30 readings. A sound line gives a spike in a thousand, and by chance alone four
    # readings of a short zero look that far off in one of some thousands of shafts.
    strays: Limit = 0.1
    # A thousandth of the standard load within a cycle. A steady drift is taken out; a sudden one between the depths
    # leaves 0.4 thou in a spine of 500, which is as much as the calibration's U.
    zero_drift_n: Limit = 0.009
    # Ten grams since the start. Ten kelvin move a plain cell by a few grams (common practice, no source); more means
    # a splinter on the head, a loose screw or an overloaded cell.
    zero_change_n: Limit = 0.1
    # The converter's own oscillator may be off by some percent (common practice, no source), but not by ten.
    rate_off: Limit = 0.1
    rate_change: Limit = 0.02
    missed: Limit = 0.02  # a sound line loses a sample in thousands
    # Against the roller's ratio in the calibration, and against the night: shafts of one kind differ by less than
    # 2 % in diameter. A worn, wet or dusty roller slips more with every shaft.
    slip_pct: Limit = 3.0
    slip_change_pct: Limit = 2.0
    # Cells are specified from -10 to 40 degC (OIML R 60, from memory), and a chip is some kelvin warmer than its room.
    temperature_c: Annotated[tuple[float, float], ARRAY] = (-10.0, 45.0)
    # Aluminium softens by 0.05 % a kelvin (handbook value, from memory): five move spine 500 by more than a thou.
    temperature_change_k: Limit = 5.0
    # A program allocates next to nothing while it runs; with less, a message or a fault may find no room.
    free_bytes: Limit = 8192.0
    # Motion lies queued for 50 ms: half of it is left when a turn takes so long, and force is looked at so much later.
    longest_turn_ms: Limit = 25.0


@dataclass(frozen=True, slots=True)
class RunSigns:
    """Signs of the gauge's health in one run; None where the run does not show them.

    Parameters
    ----------
    zero_n : float | None
        Force shown by the empty cell before the cycle, counted from count 0, N.
    zero_drift_n : float | None
        Change of that force over the cycle, N.
    noise_n : float | None
        Standard deviation of a reading at rest, N.
    strays : float | None
        Share of readings at rest more than five standard deviations away, 0 to 1.
    interval_us : float | None
        Time between samples, microseconds.
    rate_off : float | None
        Relative departure of the sampling rate from the nominal rate.
    missed : float | None
        Share of readings before which a sample is missing, 0 to 1.
    slip_pct : float | None
        Slip against the roller's ratio, percent.
    u_slip_pct : float | None
        Its standard uncertainty, percent.
    temperature_c : float | None
        Temperature at the gauge, degrees Celsius; of the board's chip while the calibration does not know how much
        warmer that is.
    free_bytes : float | None
        Least memory free after a collection since the board's start, bytes.
    longest_turn_ms : float | None
        Longest turn of the board's loop since its start, ms.
    coldest_c, warmest_c : float | None
        Range of temperature of the calibration, degrees Celsius; None while the temperature is the chip's.
    sensor_silent : float | None
        1 if the sensor by the shaft gave nothing, 0 if it did; None without a sensor.
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
    free_bytes: float | None = None  # a night that began with an earlier version has none
    longest_turn_ms: float | None = None
    coldest_c: float | None = None
    warmest_c: float | None = None
    sensor_silent: float | None = None

    def as_dict(self) -> dict[str, float | None]:
        """Return the signs as plain values for JSON.

        Returns
        -------
        dict[str, float | None]
            Values by name; `RunSigns(**values)` makes the signs again.
        """
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Alarm:
    """A finding about the gauge.

    Parameters
    ----------
    code : HostFault
        Its code in protocol/faults.json.
    words : str
        Sentence with the figures, for people.
    """

    code: HostFault
    words: str


def observe(
    run: RawRun, result: ShaftResult | Unmeasured, calibration: Calibration, gauge: Identify | None = None
) -> RunSigns:
    """Return the signs of the gauge's health in a run, also in one without a result.

    Parameters
    ----------
    run : RawRun
        The readings.
    result : ShaftResult | Unmeasured
        Result of the measurement.
    calibration : Calibration
        Calibration in use.
    gauge : Identify | None
        What the gauge said of itself after the run; None if it is not known.

    Returns
    -------
    RunSigns
        The signs.
    """
    newtons = calibration.force.newton_per_count
    zeros = {phase: _at_rest(run, phase) for phase in ZEROS}
    before, after = (
        float(np.median(counts)) if len(counts := zeros[phase]) else None
        for phase in (Phase.ZERO_BEFORE, Phase.ZERO_AFTER)
    )
    scatter, strays = _noise_of([counts for counts in zeros.values() if len(counts)])
    interval_us = float(np.median(np.diff(run.tick_us))) if len(run) > 1 else None
    nominal_us = None if gauge is None else gauge.interval_us
    measured = result if isinstance(result, ShaftResult) else None
    known_c = temperature_of(run, calibration)
    return RunSigns(
        zero_n=None if before is None else before * newtons,
        zero_drift_n=None if before is None or after is None else (after - before) * newtons,
        noise_n=None if scatter is None else scatter * newtons,
        strays=strays,
        interval_us=interval_us,
        rate_off=nominal_us / interval_us - 1 if nominal_us and interval_us else None,
        missed=float(np.mean((run.status & MISSING_BEFORE) > 0)) if len(run) else None,
        slip_pct=_finite(measured.slip_pct) if measured else None,
        u_slip_pct=_finite(measured.u_slip_pct) if measured else None,
        temperature_c=run.temperature_c if known_c is None else known_c,
        free_bytes=None if gauge is None else gauge.free_bytes,
        longest_turn_ms=None if gauge is None else gauge.longest_turn_us / 1000,
        coldest_c=None if known_c is None else calibration.calibration.range_c[0],
        warmest_c=None if known_c is None else calibration.calibration.range_c[1],
        sensor_silent=float(run.temperature_c is None) if gauge is not None and gauge.sensor else None,
    )


def _finite(value: float) -> float | None:
    """Return a value, None if it is not finite."""
    return value if math.isfinite(value) else None


def _at_rest(run: RawRun, phase: Phase) -> Integers:
    """Return the counts of the good readings of a phase, empty if there are none."""
    place = run.phase_slice(phase)
    if place is None:
        return np.zeros(0, np.int64)
    counts: Integers = run.counts[place][(run.status[place] & UNFIT) == 0]
    return counts


def _noise_of(zeros: Sequence[Integers]) -> tuple[float | None, float | None]:
    """Return standard deviation of a reading of the empty cell, in counts, and share of strays; None without zeros.

    All zeros of a shaft count together, because a single short one would often seem too quiet.
    """
    if not zeros:
        return None, None
    distance = np.concatenate([np.abs(counts - np.median(counts)) for counts in zeros])
    scatter = MAD_TO_SIGMA * float(np.median(distance))
    return scatter, float(np.mean(distance > REJECT_SIGMAS * scatter))


def alarms(now: RunSigns, before: Sequence[RunSigns], limits: WatchLimits) -> tuple[Alarm, ...]:
    """Return the alarms that the newest signs raise.

    Parameters
    ----------
    now : RunSigns
        Signs of the newest run.
    before : Sequence[RunSigns]
        Signs of the earlier runs of this night, oldest first; only the first ten and the last matter.
    limits : WatchLimits
        Limits of a healthy gauge.

    Returns
    -------
    tuple[Alarm, ...]
        The alarms; empty for a healthy gauge.
    """
    usual = _usual(before[:FIRST])
    checks = (_noise, _zero, _rate, _slip, _temperature)
    found = [alarm for check in checks for alarm in check(now, usual, limits)]
    return (*found, *_board(now, before[-1] if before else None, limits))


def _usual(some: Sequence[RunSigns]) -> RunSigns:
    """Return the median of each figure, None while too few are known."""
    columns = ([value for signs in some if (value := getattr(signs, f.name)) is not None] for f in fields(RunSigns))
    return RunSigns(*(float(np.median(known)) if len(known) >= ENOUGH else None for known in columns))


def _noise(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    """Yield an alarm if the empty cell is noisy."""
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
    """Yield alarms if the zero moved within the cycle or since the start."""
    drift_n, change_limit_n = now.zero_drift_n, limits.zero_change_n
    if drift_n is not None and abs(drift_n) > limits.zero_drift_n:
        words = f"the zero moved by {drift_n:+.4f} N within a cycle, the limit is {limits.zero_drift_n:g}"
        yield Alarm(HostFault.ZERO_DRIFT, words)
    change_n = None if now.zero_n is None or usual.zero_n is None else now.zero_n - usual.zero_n
    if change_n is not None and abs(change_n) > change_limit_n:
        words = f"the zero lies {change_n:+.3f} N from where it was at first, the limit is {change_limit_n:g}"
        yield Alarm(HostFault.ZERO_DRIFT, words)


def _rate(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    """Yield alarms if samples come at another rate or are missing."""
    if now.rate_off is not None and abs(now.rate_off) > limits.rate_off:
        yield Alarm(HostFault.RATE_OFF, f"samples come {now.rate_off:+.1%} off the nominal rate")
    elif now.interval_us and usual.interval_us and abs(usual.interval_us / now.interval_us - 1) > limits.rate_change:
        rate, first = 1e6 / now.interval_us, 1e6 / usual.interval_us
        yield Alarm(HostFault.RATE_OFF, f"{rate:.1f} samples come in a second, at first there were {first:.1f}")
    if now.missed is not None and now.missed > limits.missed:
        yield Alarm(HostFault.RATE_OFF, f"before {now.missed:.1%} of the readings a sample is missing")


def _slip(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    """Yield an alarm if the shaft slips on its roller."""
    if now.slip_pct is None or now.u_slip_pct is None:
        return
    unsure = SURE * now.u_slip_pct  # large for an even and straight shaft, which hardly shows how far it turned
    if abs(now.slip_pct) > limits.slip_pct + unsure:
        yield Alarm(HostFault.ROLLER_SLIP, f"the shaft turned {now.slip_pct:+.2f} % off the roller's ratio")
    elif usual.slip_pct is not None and abs(now.slip_pct - usual.slip_pct) > limits.slip_change_pct + unsure:
        yield Alarm(
            HostFault.ROLLER_SLIP,
            f"the shaft turned {now.slip_pct:+.2f} % off the ratio, at first it was {usual.slip_pct:+.2f}",
        )


def _temperature(now: RunSigns, usual: RunSigns, limits: WatchLimits) -> Iterator[Alarm]:
    """Yield an alarm if the gauge is too cold or too warm, changed, or has a broken sensor."""
    if now.sensor_silent:
        yield Alarm(HostFault.TEMPERATURE_OFF, "the sensor by the shaft gives no temperature: look at its two wires")
    if now.temperature_c is None:
        return
    low, high = limits.temperature_c
    here, first = f"the gauge is at {now.temperature_c:.1f} °C", usual.temperature_c
    coldest, warmest = now.coldest_c, now.warmest_c
    if coldest is not None and warmest is not None and not coldest <= now.temperature_c <= warmest:
        yield Alarm(HostFault.TEMPERATURE_OFF, f"{here}, calibrated for {coldest:g} to {warmest:g}")
    elif not low <= now.temperature_c <= high:
        yield Alarm(HostFault.TEMPERATURE_OFF, f"{here}, outside {low:g} to {high:g}")
    elif first is not None and abs(now.temperature_c - first) > limits.temperature_change_k:
        yield Alarm(HostFault.TEMPERATURE_OFF, f"{here}, at first it was {first:.1f}")


def _board(now: RunSigns, last: RunSigns | None, limits: WatchLimits) -> Iterator[Alarm]:
    """Yield alarms if memory or time ran short on the board.

    Both figures are the worst since its start, so each is reported again only when it has become worse.
    """
    free, turn_ms = now.free_bytes, now.longest_turn_ms
    had = None if last is None else last.free_bytes
    if free is not None and free < limits.free_bytes and (had is None or free < had):
        words = f"a collection left {free:.0f} bytes free on the board, the limit is {limits.free_bytes:.0f}"
        yield Alarm(HostFault.BOARD_STRAINED, words)
    took_ms = None if last is None else last.longest_turn_ms
    if turn_ms is not None and turn_ms > limits.longest_turn_ms and (took_ms is None or turn_ms > took_ms):
        words = f"a turn of the board's loop took {turn_ms:.1f} ms, the limit is {limits.longest_turn_ms:g}"
        yield Alarm(HostFault.BOARD_STRAINED, words)
