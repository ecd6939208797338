"""The simulated converter's filter weakens, delays and widens a signal as the closed forms of its kind say.

An integral over an interval T has the response sin(pi f T) / (pi f T), a moving average of n words that of Smith, The
Scientist and Engineer's Guide to Digital Signal Processing (1997), ch. 15, equation 15-2 (from memory; scipy's freqz
gives the same), and what is convolved has the product of the responses and the sum of the variances.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable

import numpy as np
import pytest
from rehearsal_rig import board_of, mechanics, move, samples, word_filter
from scipy.signal import freqz

AVERAGES = {"average1": 1, "average4": 4, "average8": 8}
CONVERSION_US = 12500
QUIET = {
    "contact_mm": 8.0,
    "noise_count": 0.0, "zero_drift_count_per_s": 0.0, "creep": 0.0, "rate_error": 0.0, "jitter_us": 0.0,
    "slip": 0.0, "zero_count": 0.0,
}  # fmt: skip


def response(kind: str, frequency: float) -> complex:
    """Return the closed form of the response, from the conversion's end; time counts in conversions."""
    interval = np.sinc(frequency) * cmath.exp(-1j * math.pi * frequency)
    if kind == "sinc3":
        return interval**3
    length = AVERAGES[kind]
    _, average = freqz(np.ones(length) / length, worN=[2 * math.pi * frequency])
    return complex(interval * average[0])


def words(kind: str, signal: Callable[[float], float], number: int) -> list[float]:
    """Return the words of conversions that end at 1, 2, 3 and so on."""
    made = word_filter.WordFilter(kind)
    made.settle(signal(0.0))
    found = []
    for begun in range(number):
        for instant in made.instants:
            made.add(signal(begun + instant))
        found.append(made.word())
    return found


@pytest.mark.parametrize("kind", [*AVERAGES, "sinc3"])
@pytest.mark.parametrize("frequency", [0.0125, 0.0455, 0.1])
def test_a_sinusoid_is_weakened_and_delayed_by_the_closed_form(kind: str, frequency: float) -> None:
    whirl = np.array(words(kind, lambda t: math.cos(2 * math.pi * frequency * t), 40)[10:])
    quarter = np.array(words(kind, lambda t: math.sin(2 * math.pi * frequency * t), 40)[10:])
    ends = np.arange(11, 41)
    seen = (whirl + 1j * quarter) * np.exp(-2j * math.pi * frequency * ends)
    assert np.abs(seen - response(kind, frequency)).max() < 1e-3


@pytest.mark.parametrize(
    ("kind", "delay", "width"),
    [
        ("none", 0.0, 0.0),
        ("average1", 0.5, math.sqrt(1 / 12)),  # standard deviation of what is even over an interval of 1
        ("average4", 2.0, math.sqrt(16 / 12)),
        ("average8", 4.0, math.sqrt(64 / 12)),
        ("sinc3", 1.5, math.sqrt(3 / 12)),  # the variances of three intervals
    ],
)
def test_delay_and_width_are_those_of_the_intervals(kind: str, delay: float, width: float) -> None:
    assert words(kind, lambda _: 7.0, 20) == pytest.approx([7.0] * 20)
    assert words(kind, lambda t: t, 20)[-1] == pytest.approx(20 - delay)
    mean_square = words(kind, lambda t: (20 - t) ** 2, 20)[-1]
    assert mean_square == pytest.approx(delay**2 + width**2)


@pytest.mark.parametrize(("kind", "settled"), [("none", 1), ("average1", 1), ("average4", 4), ("sinc3", 3)])
def test_a_step_is_through_after_as_many_words_as_the_filter_spans(kind: str, settled: int) -> None:
    rising = words(kind, lambda t: 1.0 if t > 5 else 0.0, 12)
    assert rising[:5] == [0.0] * 5
    assert rising[4 + settled :] == pytest.approx([1.0] * (8 - settled))
    assert all(0 < word < 1 for word in rising[5 : 4 + settled])


def test_an_unknown_kind_is_named() -> None:
    with pytest.raises(ValueError, match="'average9'"):
        mechanics.Mechanics({"gauge": {"filter": "average9"}})


@pytest.mark.parametrize("kind", [*AVERAGES, "sinc3"])
def test_the_turning_shaft_is_seen_through_the_filter(kind: str) -> None:
    # 2 turns a second are 40 conversions a turn. Fine microsteps, so that half of one is no delay to speak of.
    def turning(this: str) -> np.ndarray:
        shaft = {"number": 1, "spread_thou": 8.0, "stiff_side_deg": 25.0, "bow_mm": 0.1, "bow_deg": 70.0}
        truths = QUIET | {"filter": this, "rotate_steps_per_turn": 80000.0}
        made = board_of({"gauge": truths, "shafts": [shaft]})
        move(made.press, 7000, 100)
        samples(made, 1.0)
        move(made.rotate, 200000, 25)  # 20000 are a turn of the shaft, which is a quarter as thick as the roller
        seen = np.array([row[1] for row in samples(made, 3.0)])[40:200]
        return np.fft.fft(seen)[[0, 4, 8]]  # of 4 turns: mean, first and second harmonic

    ratio = turning(kind) / turning("none")
    assert ratio[0] == pytest.approx(1.0, abs=1e-4)
    assert ratio[1] == pytest.approx(response(kind, 1 / 40), abs=1e-3)
    assert ratio[2] == pytest.approx(response(kind, 1 / 20), abs=1e-3)
