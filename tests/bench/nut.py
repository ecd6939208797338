"""Play that the load turns over: in how many shafts it is found, and in how many a sound gauge is accused.

Each shaft lies on a simulated gauge of its own with a careful maker's imperfections, some of them larger, and its
carriage is too heavy for the counterweight by so much that the nut turns over between 1.5 and 5 N.
"""

import numpy as np
from in_memory import InMemory
from midspan.link.gauge import Gauge
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import STANDARD
from midspan.measurement.result import evaluate
from repeated_cycles import GAUGE

from bench.figure import at_least, at_most

SHAFTS = 80
SMOOTH = {  # what bends the way to the full depth without a step: from, to
    "friction": (0.05, 0.3),
    "sink_mm_at_standard": (0.0, 0.02),
    "warmup_n": (0.0, 0.03),
    "shaft_creep": (0.0, 5e-4),
    "microstep_mm": (0.0, 0.001),
    "screw_periodic_mm": (0.002, 0.005),
    "screw_periodic_deg": (0.0, 360.0),
}


def figures(_folder):
    """Return the share of shafts in which play of 30 and 10 um is found, and of those on a sound gauge."""
    sound, small, large = (_found(play, seed) for seed, play in enumerate((None, 0.01, 0.03)))
    return [
        at_least("nut turns over by 30 um, found", 100 * large, "% of shafts", 98),
        at_least("nut turns over by 10 um, found", 100 * small, "% of shafts", 85),
        at_most("sound nut accused", 100 * sound, "% of shafts", 0),
    ]


def _found(play_mm, seed):
    """Return the share of shafts with a fault of the nut; None for a nut that the counterweight holds."""
    rng = np.random.default_rng(seed)
    return np.mean([_accused(rng, play_mm) for _ in range(SHAFTS)])


def _accused(rng, play_mm):
    """Return True if the result of a shaft of spine 250 to 1000 has a fault."""
    own = {name: rng.uniform(*ends) for name, ends in SMOOTH.items()}
    if play_mm is not None:
        own |= {"backlash_mm": play_mm, "lift_n": rng.uniform(-7.0, -3.5)}
    spine = float(np.exp(rng.uniform(np.log(250), np.log(1000))))
    shaft = {"number": 1, "spine_thou": spine, "spread_thou": 0.005 * spine, "bow_mm": rng.uniform(0, 0.3)}
    line = InMemory({"seed": int(rng.integers(1 << 30)), "gauge": own, "shafts": [shaft]})
    gauge = Gauge(line, clock=lambda: line.board.now_us / 1e6, wall_clock=lambda: 1.8e9)
    run = gauge.run(1, "", cycle_steps(GAUGE, gauge.identify(), STANDARD))
    (result,) = evaluate([run], GAUGE)
    return bool(result.faults)
