"""What a simulated shaft and gauge are made of comes through the device's whole cycle, and nothing else does."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from device_rig import CYCLE, Rig, board, mechanics, rows

STANDARD_N = 0.880 * 9.80665  # ASTM F2031: 880 g; standard gravity is exact (BIPM)
TURN_STEPS = 800  # 30 mm on 7.5 mm
QUIET = {
    "noise_count": 2.0,  # with less the cell seems stuck
    "zero_drift_count_per_s": 0.0, "creep": 0.0, "jitter_us": 0.0, "screw_periodic_mm": 0.0, "backlash_mm": 0.0,
    "slip": 0.0, "filter": "none", "contact_mm": 8.0,
}  # fmt: skip


def cycle_of(shaft: dict[str, Any], **truths: Any) -> list[dict[str, Any]]:
    """Return the blocks of a measurement on a gauge with only the given imperfections."""
    rig = Rig({"gauge": QUIET | truths, "shafts": [{"number": 1} | shaft]})
    rig.ready()
    assert rig.measure()["complete"]
    return rig.all("Readings")


def good(blocks: list[dict[str, Any]], phase: str) -> tuple[np.ndarray, np.ndarray]:
    """Return angle from the first reading (rad) and force (N) of a turn's good readings."""
    first = rows(blocks, "ZERO_BEFORE")[0]["rotate_steps"]
    readings = [row for row in rows(blocks, phase) if row["status"] == 0]
    angle = np.array([row["rotate_steps"] - first for row in readings]) * 2 * math.pi / TURN_STEPS
    return angle, np.array([row["counts"] - 50000 for row in readings]) / mechanics.COUNT_PER_N


def harmonics(blocks: list[dict[str, Any]], phase: str) -> tuple[float, complex, complex]:
    """Return the mean force and the first two harmonics, each a complex number of amplitude and angle of the crest."""
    angle, force = good(blocks, phase)
    basis = np.column_stack([f(k * angle) for k in (0, 1, 2) for f in (np.cos, np.sin)])[:, [0, 2, 3, 4, 5]]
    mean, c1, s1, c2, s2 = np.linalg.lstsq(basis, force, rcond=None)[0]
    return mean, complex(c1, s1), complex(c2, s2)


def test_stiff_side_and_bow_come_through_at_their_angles() -> None:
    shaft = {"spread_thou": 10.0, "stiff_side_deg": 40.0, "bow_mm": 0.2, "bow_deg": 250.0}
    mean, first, second = harmonics(cycle_of(shaft), "FULL")
    assert abs(second) / mean == pytest.approx(10 / 500 / 2, rel=0.02)  # half the spread is the amplitude
    assert np.degrees(np.angle(second)) / 2 % 180 == pytest.approx(40.0, abs=1.0)
    stiffness_n_per_mm = STANDARD_N / 12.7
    assert abs(first) == pytest.approx(0.2 * stiffness_n_per_mm, rel=0.03)  # the beam is a little softer up there
    assert np.degrees(np.angle(first)) % 360 == pytest.approx(250.0, abs=1.0)


def test_the_filter_delays_and_weakens_what_turns() -> None:
    shaft = {"spread_thou": 10.0, "stiff_side_deg": 40.0, "bow_mm": 0.2, "bow_deg": 250.0}
    point, through = [harmonics(cycle_of(shaft, filter=kind), "FULL") for kind in ("none", "average4")]
    span_s = 4 * 0.0125 / 1.015  # of the filter: four conversions at the true rate
    turns_per_s = CYCLE["rotate_speed"] / TURN_STEPS
    deeper = through[0] / point[0]  # the head stops later, and the stiffness's harmonic goes with the load
    for number, scale in ((1, 1.0), (2, deeper)):
        ratio, frequency = through[number] / point[number], number * turns_per_s
        assert abs(ratio) == pytest.approx(scale * np.sinc(frequency * span_s), abs=2e-3)
        assert np.angle(ratio) == pytest.approx(math.pi * frequency * span_s, abs=2e-2)  # half a microstep is 8e-3


def test_backlash_does_not_reach_the_result() -> None:
    blocks = cycle_of({}, backlash_mm=0.1)
    _, light = good(blocks, "LIGHT")
    _, again = good(blocks, "LIGHT_AGAIN")
    assert again.mean() == pytest.approx(light.mean(), rel=1e-5)


def test_hysteresis_of_the_whole_cycle() -> None:
    blocks = cycle_of({"hysteresis": 0.01}, backlash_mm=0.03)
    _, light = good(blocks, "LIGHT")
    _, again = good(blocks, "LIGHT_AGAIN")
    assert again.mean() / light.mean() == pytest.approx(0.99, rel=1e-5)


@pytest.mark.parametrize("spine_thou", [300.0, 500.0, 1000.0])
def test_the_standard_cycle_reaches_the_standard_load(spine_thou: float) -> None:
    mean, _, _ = harmonics(cycle_of({"spine_thou": spine_thou}), "FULL")
    assert 0.9 < mean / STANDARD_N < 1.15
    assert CYCLE["full_count"] < board.Board.COUNT_LIMIT
