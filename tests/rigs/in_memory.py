"""The real device code in this process, as a line without waiting, and a shaft measured over it."""

from device_rig import FakeLink, board, main
from midspan.link.gauge import Gauge
from midspan.measurement.calibration import EXAMPLE, Calibration
from midspan.measurement.cycle_plan import cycle_steps
from midspan.measurement.cycle_settings import STANDARD
from midspan.measurement.result import evaluate
from perfect import perfect
from synthetic import filter_section

# The simulated converter averages four conversions; its clock is off by two percent at most.
FILTER = filter_section((4.0,), u_delay_s=3e-4, u_width_s=3e-4)


class InMemory:
    """The device code in this process as a line: a read lets its virtual time pass until something comes."""

    name = "in memory"

    def __init__(self, given: dict) -> None:
        self._wire = FakeLink()
        self.board = board.Board(given, self._wire, 7, 0)
        self._device = main.Device(self.board)

    def read(self) -> bytes:
        for _ in range(200):
            self.board.idle()
            self._device.step()
            if self._wire.from_device:
                break
        came = bytes(self._wire.from_device)
        self._wire.from_device.clear()
        return came

    def write(self, data: bytes) -> None:
        self._wire.to_device += data


def measured(truth: dict, gauge: dict | None = None, settings=STANDARD):
    """Measure a shaft in a cycle; return line, gauge, calibration, readings and result."""
    line = InMemory(perfect({"seed": 3, "gauge": gauge or {}, "shafts": [{"number": 1, "diameter_mm": 6.0} | truth]}))
    found = Gauge(line, clock=lambda: line.board.now_us / 1e6, wall_clock=lambda: 1.8e9)
    rotation = {"steps_per_turn": 640.0, "u_relative": 0.02}  # a 30 mm roller of 3200 steps under a 6 mm shaft
    calibration = Calibration.model_validate(EXAMPLE | {"rotation": rotation, "filter": FILTER})
    run = found.run(1, "", cycle_steps(calibration, found.identify(), settings))
    found.acknowledge(1)
    (result,) = evaluate([run], calibration)
    return line, found, calibration, run, result
