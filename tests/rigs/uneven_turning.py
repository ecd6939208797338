"""Raw runs of shafts that do not turn evenly, on rollers that are not round, under a cell that warms up.

The second truth beside synthetic.py, whose exact beam it uses: the force is worked out at every reading from where the
shaft really is, not taken from a pattern that repeats.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from midspan.archive.raw_run import Phase
from scipy.interpolate import CubicSpline
from synthetic import (
    CONTACT_STEPS,
    FINE,
    LOAD_N,
    SPAN_MM,
    Gauge,
    Shaft,
    _fine_times,
    _noise,
    _press,
    _response,
    load_for,
    paper_calibration,
    ratio_for,
    raw_run,
    stiffness_of,
)

DEPTHS = (Phase.LIGHT, Phase.FULL, Phase.LIGHT_AGAIN)
INTERVAL_S = 0.0125
THOU_MM = 0.0254
PER_TURN = 800 / 18.9  # readings a turn at a speed that does not beat with the readings


@dataclass
class Sins:
    """What a gauge does to a shaft while it turns."""

    slip: tuple[float, float] = (0.003, 0.003)  # at the light and at the full depth
    skid_deg: float = 0.0
    skid_at: tuple[int, float] = (1, 0.5)  # depth, and part of its readings after which it skids
    roller_mm: float = 0.0  # amplitude of the height that unround rollers add at midspan
    roller_steps: float = 2640.0  # steps in a turn of the rollers: 3.3 turns of the shaft
    roller_deg: float = 40.0
    warming_n: float = 0.0  # the zero rises by this much
    warming_s: float = 5.0  # with this time constant, from the first zero on


@dataclass
class UnevenShaft(Shaft):
    """A shaft whose deflection, not its stiffness, is a sinusoid around it, if it is free to move sideways."""

    free: bool = False
    waves_mm: dict[int, tuple[float, float]] = field(default_factory=dict)  # order: amplitude and angle in degrees


def stiffness_around(shaft, angle, vertical):
    """Return EI at angles: a sinusoid in stiffness or, for a shaft free to move sideways, in compliance."""
    wave = np.cos(2 * (angle - np.radians(shaft.stiff_side_deg)))
    thou = shaft.spine_thou + shaft.spread_thou / 2 * np.array([-1.0, 1.0])
    stiff, soft = (float(stiffness_of(value, vertical)) for value in thou)
    if getattr(shaft, "free", False):
        return 2 / ((1 - wave) / soft + (1 + wave) / stiff)
    return (stiff + soft) / 2 + (stiff - soft) / 2 * wave


def surface_mm(shaft, angle):
    """Return the height of the surface at angles."""
    height = shaft.bow_mm * np.cos(angle - np.radians(shaft.bow_deg))
    for order, (amplitude, degrees) in getattr(shaft, "waves_mm", {}).items():
        height = height + amplitude * np.cos(order * (angle - np.radians(degrees)))
    return height


def truth(shaft, vertical=0.0):
    """Return spine, spread, stiff side in degrees and runout in mm."""
    angle = np.linspace(0, 2 * np.pi, 3600, endpoint=False)
    thou = ratio_for(LOAD_N * SPAN_MM**2 / stiffness_around(shaft, angle, vertical), vertical) * SPAN_MM / THOU_MM
    return thou.mean(), np.ptp(thou), shaft.stiff_side_deg % 180, np.ptp(surface_mm(shaft, angle))


def _force(gauge, shaft, travel_mm, angle):
    """Return the force at angles with the head below its first contact with a straight shaft."""
    ei = stiffness_around(shaft, angle, gauge.vertical)
    force = np.zeros_like(angle)
    for _ in range(12):
        bend = travel_mm + surface_mm(shaft, angle) - gauge.give_mm_per_n * force
        force = load_for(bend / gauge.span_mm, gauge.vertical) * ei / gauge.span_mm**2
    return force


def turning_run(shaft, gauge, sins, rng, per_turn=PER_TURN, turns=(2, 4, 2)):
    """Return a run of the standard cycle of firmware 1.0.0 behind the gauge's filter, with its sins."""
    deep = shaft.spine_thou * THOU_MM
    travels = [deep * 0.1, deep * 1.01 + gauge.give_mm_per_n * LOAD_N, deep * 0.1]
    settling = int(np.ceil(sum(gauge.stages))) + 1
    weights = _response(gauge.stages)
    per = 800 / per_turn
    around = np.linspace(0, 2 * np.pi, 721)
    parts, segments, position, angle = [], [], 0.0, 0.0
    phases = [(Phase.ZERO_BEFORE, 15), *((phase, None) for phase in DEPTHS), (Phase.ZERO_AFTER, 15)]
    for phase, number in phases:
        if number:
            parts.append([np.full(number, int(position)), np.zeros(number), np.zeros(number), np.zeros(number)])
            segments.append((int(phase), number))
            continue
        depth = DEPTHS.index(phase)
        number = round(turns[depth] * per_turn * 1.02) + settling
        down = CONTACT_STEPS + round(travels[depth] / gauge.mm_per_step)
        travel = _press(gauge, down) - _press(gauge, CONTACT_STEPS)
        time = _fine_times(gauge.stages, number)
        steps = np.maximum(per * time - 0.5, 0)
        rate = 2 * np.pi / (800 * (1 + sins.slip[depth == 1]))
        skid = np.where((depth == sins.skid_at[0]) & (time > sins.skid_at[1] * number), np.radians(sins.skid_deg), 0.0)
        at = angle + steps * rate - skid
        table, lifted = (
            CubicSpline(around, np.append(force[:-1], force[0]), bc_type="periodic")
            for force in (
                _force(gauge, shaft, travel, around),
                (_force(gauge, shaft, travel + 0.01, around) - _force(gauge, shaft, travel - 0.01, around)) / 0.02,
            )
        )
        turn = at % (2 * np.pi)
        height = sins.roller_mm * np.cos(
            2 * np.pi * (position + steps) / sins.roller_steps + np.radians(sins.roller_deg)
        )
        force = np.convolve(table(turn) + lifted(turn) * height, weights)
        at_tick = len(weights) + FINE + FINE * (np.arange(number) + 1) - 1
        done = np.floor(position + per * (np.arange(number) + 1)).astype(int)
        factor = 1 - shaft.hysteresis * (phase is Phase.LIGHT_AGAIN)
        parts.append(
            [done, np.full(number, down), force[at_tick] * factor, np.where(np.arange(number) < settling, 1, 0)]
        )
        segments.append((int(phase), number))
        position += per * number
        angle += per * number * rate - (np.radians(sins.skid_deg) if depth == sins.skid_at[0] else 0.0)
    rotate, press, force, status = (np.concatenate(column) for column in zip(*parts, strict=True))
    # Half a second passes on the way from one depth to the next.
    gaps = np.repeat(np.arange(len(segments)), [number for _, number in segments]) * 40
    tick_us = (np.arange(len(force)) + gaps) * 12500
    warm = sins.warming_n * (1 - np.exp(-tick_us * 1e-6 / sins.warming_s))
    force = force + gauge.drift_n * tick_us / tick_us[-1] + warm + _noise(gauge, rng, len(force))
    return replace(
        raw_run(Shaft(), gauge, np.random.default_rng(0), turns=(1, 1, 1)),
        shaft=shaft.number,
        firmware="1.0.0",
        segments=tuple(segments),
        tick_us=tick_us,
        rotate_steps=rotate.astype(int),
        press_steps=press.astype(int),
        counts=np.round(84_000 + force * gauge.counts_per_n).astype(int),
        status=status.astype(np.int16),
    )


def careful_calibration(**changes):
    """Return the calibration of a gauge with an even converter's filter and rollers of a known size."""
    rotation = {"steps_per_roller_turn": 2640.0, "u_roller_mm": 0.002, "u_slip_between_depths": 0.001}
    known = {"delay_s": 2 * INTERVAL_S, "u_delay_s": 1e-4, "width_s": 4 / np.sqrt(12) * INTERVAL_S, "u_width_s": 3e-4}
    return paper_calibration(**{"rotation": rotation, "filter": known} | changes)


GAUGE = {"stages": (4.0,), "noise_passes": True, "vertical": 0.0}


def made_gauge(**changes):
    """Return a gauge behind a converter that averages four conversions."""
    return Gauge(**GAUGE | changes)
