"""One shaft measured over and over on the real device code, with fresh noise each time."""

import tomllib

import numpy as np
from in_memory import InMemory
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import Calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.result import evaluate
from midspan.rehearsal import scenario

GAUGE = Calibration.model_validate(tomllib.loads(scenario.example_calibration()))  # of the simulated gauge
QUANTITIES = ("spine_thou", "spread_thou", "stiff_side_deg", "runout_mm")


def repeated_cycles(truth, settings, number, seed=1):
    """Return the results of a shaft's cycles."""
    line = InMemory(scenario.rehearsal([{"number": i + 1, **truth} for i in range(number)], seed))
    gauge = Gauge(line, clock=lambda: line.board.now_us / 1e6, wall_clock=lambda: 1.8e9)
    steps = cycle_steps(GAUGE, gauge.identify(), settings)
    runs = []
    for i in range(number):
        runs.append(gauge.run(i + 1, "", steps))
        gauge.acknowledge(i + 1)
    return evaluate(runs, GAUGE)


def scatter(results):
    """Return the standard deviation of each quantity."""
    columns = np.array([[getattr(result, name) for name in QUANTITIES] for result in results])
    return dict(zip(QUANTITIES, columns.std(axis=0, ddof=1), strict=True))
