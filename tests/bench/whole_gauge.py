"""A whole gauge drawn at random: what it truly is, what its maker believes of it, and shafts whose truth is known.

The simulated gauge runs the real device code in virtual time. Its truths are drawn around what its calibration says,
each by the uncertainty that the calibration states, and everything that no calibration names (rollers, play, rims,
friction, temperature, shafts) by what a careful maker's gauge has. None of it is taken from the list of causes of the
budget, so a cause that is missing there shows as a value beyond its U.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from device_rig import shafts
from frame_table import FRAME
from in_memory import InMemory
from midspan.calibrate.supports import Supports
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import STANDARD
from midspan.measurement.result import ShaftResult, evaluate
from midspan.rehearsal import scenario
from midspan.uncertainty.budget import Coverage

QUANTITIES = ("spine", "spread", "side", "runout")
UNITS = {"spine": "thou", "spread": "thou", "side": "deg", "runout": "um"}
ROLLER_STEPS = 3200.0
# As the maker states them, who has the rims' height worked out.
SUPPORTS = Supports(
    rim_radius_mm=FRAME["rim_radius_mm"],
    roller_diameter_mm=FRAME["roller_mm"],
    axle_distance_mm=FRAME["roller_mm"] + FRAME["roller_gap_mm"],
)
AXIAL_FRICTION = 0.01  # what axles square to a quarter of a mrad leave, k = 1
STANDARD_LOAD_N = 0.880 * 9.80665
CALIBRATED_C = 21.0  # of the demonstration's calibration


@dataclass(frozen=True)
class WholeGauge:
    """Truths of a gauge, by the keys of the simulated one, and its calibration file, as tables."""

    truths: dict[str, Any] = field(default_factory=dict)
    calibration: dict[str, Any] = field(default_factory=dict)

    def of_shaft(self, diameter_mm: float) -> Calibration:
        """Return the calibration with the rollers' ratio for a diameter, which the maker measured roughly."""
        tables = tomllib.loads(scenario.example_calibration())
        for name, table in self.calibration.items():
            tables[name] = tables.get(name, {}) | table
        tables["rotation"] |= {"steps_per_turn": ROLLER_STEPS * diameter_mm / FRAME["roller_mm"]}
        tables["span"]["rim_mm"] = SUPPORTS.section(diameter_mm, diameter_mm)["rim_mm"]
        return Calibration.model_validate(tables)


@dataclass(frozen=True)
class Measured:
    """The truth of a shaft, and what the gauge made of it."""

    truth: dict[str, float]
    result: Any

    @property
    def objected(self) -> bool:
        """True if the result carries a doubt or a fault, or is none."""
        return not isinstance(self.result, ShaftResult) or bool(self.result.doubts or self.result.faults)

    def errors(self) -> dict[str, tuple[float, float]]:
        """Return error and U (95 %) of each quantity that is stated; runout in um."""
        found, truth = self.result, self.truth
        if not isinstance(found, ShaftResult):
            return {}
        k = {name: Coverage().k(getattr(found, f"dof_{name}")) for name in ("spine", "spread", "runout")}
        stated = {
            "spine": (found.spine_thou - truth["spine_thou"], k["spine"] * found.u_spine_thou),
            "spread": (found.spread_thou - truth["spread_thou"], k["spread"] * found.u_spread_thou),
            "runout": (1e3 * (found.runout_mm - truth["runout_mm"]), 1e3 * k["runout"] * found.u_runout_mm),
        }
        if found.stiff_side_deg is not None:
            apart = (found.stiff_side_deg - truth["stiff_side_deg"] + 90) % 180 - 90
            stated["side"] = (apart, Coverage().k(None) * found.u_stiff_side_deg)
        return stated

    def silently_beyond(self) -> set[str]:
        """Return the quantities that are off by more than their U without an objection."""
        if self.objected:
            return set()
        return {name for name, (error, expanded) in self.errors().items() if abs(error) > expanded}


def measure(gauge: WholeGauge, given: list[dict[str, Any]], seed: int) -> list[Measured]:
    """Return the shafts as a gauge measures them, one after another."""
    numbered = [{"number": i + 1, **shaft} for i, shaft in enumerate(given)]
    line = InMemory({"seed": seed, "gauge": gauge.truths, "shafts": numbered})
    link = Gauge(line, clock=lambda: line.board.now_us / 1e6, wall_clock=lambda: 1.8e9)
    board, found = link.identify(), []
    warmer_k = gauge.truths.get("temperature_c", CALIBRATED_C) - CALIBRATED_C
    for shaft in numbered:
        calibration = gauge.of_shaft(shaft.get("diameter_mm", 7.5))
        run = link.run(shaft["number"], "", cycle_steps(calibration, board, STANDARD))
        link.acknowledge(shaft["number"])
        (result,) = evaluate([run], calibration)
        found.append(Measured(shafts.truth(shaft, warmer_k), result))
    return found


def careful_shaft(rng: np.random.Generator) -> dict[str, Any]:
    """Return a shaft as shops get them: carbon, nearly even and straight, of any usual spine and diameter."""
    return {
        "spine_thou": rng.uniform(250, 1200), "spread_thou": abs(rng.normal(0, 4)) + 1.0,
        "stiff_side_deg": rng.uniform(0, 180), "bow_mm": abs(rng.normal(0, 0.1)) + 0.02, "bow_deg": rng.uniform(0, 360),
        "out_of_round_mm": abs(rng.normal(0, 0.004)), "out_of_round_deg": rng.uniform(0, 180),
        "hysteresis": abs(rng.normal(0, 0.0005)), "diameter_mm": rng.uniform(5, 9),
        "shaft_creep": abs(rng.normal(0, 1e-4)),
        "wave_order": int(rng.integers(3, 8)), "wave_mm": abs(rng.normal(0, 0.001)), "wave_deg": rng.uniform(0, 360),
        "sideways": bool(rng.integers(2)),
    }  # fmt: skip


def screw(cos_mm: float, sin_mm: float) -> dict[str, float]:
    """Return amplitude and phase at home of a screw's error that is known by its cosine and sine."""
    return {
        "screw_periodic_mm": math.hypot(cos_mm, sin_mm),
        "screw_periodic_deg": math.degrees(math.atan2(cos_mm, sin_mm)),
    }


def as_believed() -> dict[str, Any]:
    """Return truths of the simulated gauge that are what the demonstration's calibration says."""
    believed = WholeGauge().of_shaft(7.5)
    return {
        "count_per_n": 1 / believed.force.newton_per_count,
        **screw(believed.travel.screw_cos_mm, believed.travel.screw_sin_mm),
        "frame_mm_per_n": believed.frame.give_mm_per_n, "span_mm": believed.span.span_mm,
        "rim_radius_mm": FRAME["rim_radius_mm"], "sink_mm_at_standard": FRAME["sink_mm_at_standard"],
        "axial_friction_left": believed.span.axial_friction * SUPPORTS.upright(7.5),
    }  # fmt: skip


def careful_gauge(rng: np.random.Generator) -> WholeGauge:
    """Return a careful maker's gauge, its truths off by what its calibration states."""
    believed = WholeGauge().of_shaft(7.5)
    force, travel, span = believed.force, believed.travel, believed.span
    per_n = 1 / force.newton_per_count * (1 + rng.normal(0, force.u_scale))
    friction = rng.normal(0, AXIAL_FRICTION)
    truths = {
        "count_per_n": per_n,
        "press_scale_error": rng.normal(0, travel.u_scale),
        **screw(
            travel.screw_cos_mm + rng.normal(0, travel.u_screw_mm),
            travel.screw_sin_mm + rng.normal(0, travel.u_screw_mm),
        ),
        "frame_mm_per_n": believed.frame.give_mm_per_n + rng.normal(0, believed.frame.u_give_mm_per_n),
        "span_mm": span.span_mm + rng.normal(0, span.u_span_mm),
        "rim_radius_mm": FRAME["rim_radius_mm"] + rng.normal(0, 0.15),
        "axial_friction_left": friction * SUPPORTS.upright(7.5),
        "friction": rng.uniform(0.05, 0.2),
        "sink_mm_at_standard": FRAME["sink_mm_at_standard"] + rng.normal(0, span.u_sink_mm_per_n) * STANDARD_LOAD_N,
        "off_centre_mm": rng.uniform(-1, 1),
        "tilt_deg": rng.uniform(-0.5, 0.5),
        "temperature_c": rng.uniform(17, 25),
        "warmup_n": rng.normal(0, 0.001),
        "warmup_s": rng.uniform(3, 10),
        "slip": abs(rng.normal(0, 0.003)),
        "slip_per_n": abs(rng.normal(0, 1.3e-4)),
        "zero_drift_count_per_s": rng.normal(0, 4),
        "creep": abs(rng.normal(0, 2e-4)),
        "rate_error": rng.normal(0, 0.015),
    }
    # The converter averages four conversions, on a clock of its own; its delay was calibrated on that clock.
    conversion_s = 0.0125 / (1 + truths["rate_error"])
    known = believed.filter
    assert known is not None
    response = {
        "delay_s": 2 * conversion_s + rng.normal(0, known.u_delay_s),
        "width_s": 4 * conversion_s / math.sqrt(12) + rng.normal(0, known.u_width_s),
    }
    # A shaft of 7.5 mm turned both ways showed the friction; others have another.
    turned = {"axial_friction": friction + rng.normal(0, 6e-4), "u_axial_friction": math.hypot(friction / 3, 6e-4)}
    return WholeGauge(truths, {"filter": response, "span": turned})


def rms(values: list[float]) -> float:
    """Return the root mean square, 0 of nothing."""
    return math.sqrt(math.fsum(value * value for value in values) / len(values)) if values else 0.0
