"""Judge the wiring from readings of an empty gauge: rate, lost and damaged words, noise; and what the board says of
its memory and pace. Needs no calibration."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from midspan.archive.raw_run import RawRun
from midspan.board.board_file import LOOP_MS
from midspan.measurement.harmonics import MAD_TO_SIGMA

SATURATED, OUT_OF_STEP, GAP_BEFORE = 2, 4, 8  # status bits of protocol/readings.avsc
RATE_OFF = 0.1  # the converter's own oscillator is within some percent (common practice, no source)
LOST = 0.005
# A sound 2 kg cell scatters by 45 counts (0.042 g by the converter's data sheet); the device's limit is 1.6 kg, about
# 1.7 million counts. Four times that noise hardly spoils a result but shows that something disturbs the cell.
NOISE_OF_LIMIT = 1e-4
# Motors that hold or turn add some noise; on one rig a running motor made thirteen times as much.
HELD_TIMES, MOVING_TIMES = 2.0, 4.0

# A program allocates some kilobytes. With less, the board would have to collect its garbage while the head moves, and
# that takes as long as several turns of its loop.
FREE_BYTES = 16_384


class SignalOutcome(Enum):
    """Result of a check: good, to be looked at, or not seen."""

    GOOD = "good"
    LOOK = "look"
    UNSEEN = "not seen"


@dataclass(frozen=True, slots=True)
class SignalCheck:
    """Result of a check, with what to do if it is not good.

    Parameters
    ----------
    name : str
        Name of what was checked.
    outcome : SignalOutcome
        Its result.
    words : str
        What was found, for people; after a semicolon what to do.
    """

    name: str
    outcome: SignalOutcome
    words: str


@dataclass(frozen=True, slots=True)
class SignalLevel:
    """Summary of a stretch of readings.

    Parameters
    ----------
    rate_hz : float
        Samples a second; 0 if it cannot be told.
    missing : float
        Share of samples that are missing.
    out_of_step : int
        Number of words with wrong trailing bits.
    saturated : int
        Number of words at the end of the converter's range.
    middle : float
        Median, counts.
    scatter : float
        Standard deviation about the drift, counts; NaN for fewer than three readings.
    readings : int
        Number of sound readings.
    """

    rate_hz: float
    missing: float
    out_of_step: int
    saturated: int
    middle: float
    scatter: float
    readings: int


def level(run: RawRun, *, moving: bool = False) -> SignalLevel:
    """Return the summary of a run's settled readings, or of those during which a motor moved.

    The scatter is robust, so that a single spike does not dominate it, and a steady drift is taken out of it.

    Parameters
    ----------
    run : RawRun
        Program of the check or of a calibration.
    moving : bool
        True for the readings during which a motor moved.

    Returns
    -------
    SignalLevel
        Rates and levels of those readings.
    """
    went = (np.diff(run.press_steps, prepend=run.press_steps[0]) != 0) | (
        np.diff(run.rotate_steps, prepend=run.rotate_steps[0]) != 0
    )
    wanted = went if moving else ~went & ((run.status & 1) == 0)
    sound = wanted & ((run.status & (SATURATED | OUT_OF_STEP)) == 0)
    time_s, counts = run.tick_us[sound] / 1e6, run.counts[sound].astype(float)
    gaps_us = np.diff(run.tick_us)[(run.status[1:] & GAP_BEFORE) == 0]
    return SignalLevel(
        rate_hz=1e6 / float(gaps_us.mean()) if len(gaps_us) else 0.0,
        missing=float(np.mean((run.status & GAP_BEFORE) != 0)) if len(run) else 0.0,
        out_of_step=int(np.count_nonzero(run.status & OUT_OF_STEP)),
        saturated=int(np.count_nonzero(run.status & SATURATED)),
        middle=float(np.median(counts)) if len(counts) else 0.0,
        scatter=_scatter(time_s, counts),
        readings=len(counts),
    )


def _scatter(time_s: np.ndarray, counts: np.ndarray) -> float:
    """Return the standard deviation of counts about their drift; NaN for fewer than three readings."""
    third = len(counts) // 3
    if not third:
        return float("nan")
    # Resistant line of J. W. Tukey (Exploratory Data Analysis, 1977): medians of the outer thirds, which no spike
    # bends.
    first, last = slice(None, third), slice(-third, None)
    rise = float(np.median(counts[last]) - np.median(counts[first]))
    span_s = float(np.median(time_s[last]) - np.median(time_s[first]))
    rest = counts - rise / span_s * time_s
    return MAD_TO_SIGMA * float(np.median(np.abs(rest - np.median(rest))))


def _check(name: str, good: bool, words: str, advice: str) -> SignalCheck:
    """Return a check; the advice is added if it is not good."""
    return SignalCheck(
        name, SignalOutcome.GOOD if good else SignalOutcome.LOOK, words if good else f"{words}; {advice}"
    )


def rate_check(rate_hz: float, nominal_hz: float) -> SignalCheck:
    """Compare the sampling rate with the rate in the board's file.

    Parameters
    ----------
    rate_hz : float
        Rate that was measured, Hz.
    nominal_hz : float
        Rate in the file, Hz.

    Returns
    -------
    SignalCheck
        Good within RATE_OFF of the nominal rate.

    Examples
    --------
    >>> rate_check(81.2, 80.0).words, rate_check(10.1, 80.0).outcome.value
    ('81.2 a second, nominal 80.0', 'look')
    """
    words = f"{rate_hz:.1f} a second, nominal {nominal_hz:.1f}"
    good = abs(rate_hz / nominal_hz - 1) <= RATE_OFF
    return _check("sample rate", good, words, "set the converter's rate pin and the configuration alike")


def words_checks(found: SignalLevel) -> list[SignalCheck]:
    """Check that all words came, and came whole.

    Parameters
    ----------
    found : SignalLevel
        Readings of a quiet gauge.

    Returns
    -------
    list[SignalCheck]
        Missing samples, trailing bits and range.
    """
    lost = f"{100 * found.missing:.1f} % of the samples missing"
    wrong = f"{found.out_of_step} of {found.readings + found.out_of_step} words with wrong trailing bits"
    ends = f"{found.saturated} words at the end of the range"
    return [
        _check("samples", found.missing <= LOST, lost, "look at the converter's clock and data wires"),
        _check("trailing bits", not found.out_of_step, wrong, "shorten or shield the converter's wires"),
        _check("range", not found.saturated, ends, "look for a broken bridge wire or a bent cell"),
    ]


def noise_check(name: str, found: SignalLevel, count_limit: int) -> SignalCheck:
    """Compare the noise of a quiet gauge with what a sound cell has; no noise at all is suspect too.

    Parameters
    ----------
    name : str
        Name of the check.
    found : SignalLevel
        Readings of a quiet gauge.
    count_limit : int
        The gauge's own limit of force, counts.

    Returns
    -------
    SignalCheck
        Good from 1 count to NOISE_OF_LIMIT of the limit.
    """
    most = NOISE_OF_LIMIT * count_limit
    words = f"{found.scatter:.0f} counts rms, at most {most:.0f}"
    if found.scatter < 1:
        return _check(name, False, words, "a live cell shows some noise: look at the cell's four wires")
    return _check(name, found.scatter <= most, words, "see grounding and noise in wiring.md")


def coupling_check(name: str, found: SignalLevel, quiet: SignalLevel, most_times: float) -> SignalCheck:
    """Compare the noise while a motor is on with the noise without motors.

    Parameters
    ----------
    name : str
        Name of the check.
    found : SignalLevel
        Readings with a motor on.
    quiet : SignalLevel
        Readings without motors.
    most_times : float
        Largest ratio of the two that is still good.

    Returns
    -------
    SignalCheck
        Good up to that ratio.
    """
    times = found.scatter / quiet.scatter if quiet.scatter else float("inf")
    words = f"{found.scatter:.0f} counts rms, {times:.1f} times that without motors"
    advice = "keep the motor's wires off the cell's, lower its current, see grounding and noise in wiring.md"
    return _check(name, times <= most_times, words, advice)


def zero_check(before: SignalLevel, after: SignalLevel, count_limit: int) -> SignalCheck:
    """Compare the zero before and after the head went down and came home.

    Parameters
    ----------
    before : SignalLevel
        Readings at home, before.
    after : SignalLevel
        Readings at home, afterwards.
    count_limit : int
        The gauge's own limit of force, counts.

    Returns
    -------
    SignalCheck
        Good if the zero moved by less than ten times the largest good noise.
    """
    shift = after.middle - before.middle
    words = f"{shift:+.0f} counts after the head was away"
    return _check("zero", abs(shift) <= 10 * NOISE_OF_LIMIT * count_limit, words, "something touches the head at home")


def memory_check(free_bytes: int | None) -> SignalCheck:
    """Judge the free memory of the board.

    Parameters
    ----------
    free_bytes : int or None
        Least free memory after a collection, bytes; None if the board cannot tell.

    Returns
    -------
    SignalCheck
        Good from FREE_BYTES on; not seen without a number.

    Examples
    --------
    >>> memory_check(60_000).outcome.value, memory_check(None).outcome.value
    ('good', 'not seen')
    """
    if free_bytes is None:
        return SignalCheck("memory", SignalOutcome.UNSEEN, "the board cannot tell")
    words = f"{free_bytes} bytes free, at least {FREE_BYTES}"
    return _check("memory", free_bytes >= FREE_BYTES, words, "lower limits.readings, or leave out parts")


def turn_check(longest_turn_us: int | None) -> SignalCheck:
    """Judge the longest turn of the board's loop while something moved.

    Parameters
    ----------
    longest_turn_us : int or None
        That turn, us; None for a simulated board.

    Returns
    -------
    SignalCheck
        Good up to LOOP_MS, with which the highest speed downwards is computed; not seen without a number.

    Examples
    --------
    >>> turn_check(2500).words
    'longest turn of its loop 2.5 ms, at most 10'
    """
    if longest_turn_us is None:
        return SignalCheck("pace", SignalOutcome.UNSEEN, "a simulated board has none of its own")
    words = f"longest turn of its loop {longest_turn_us / 1000:.1f} ms, at most {LOOP_MS}"
    return _check("pace", longest_turn_us <= 1000 * LOOP_MS, words, "install again; take off what else runs there")
