"""The wires between the board and everything else, from the board's default configuration."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

DEVICE = Path(__file__).parents[2] / "device"
# Where each GPIO of a Pico comes out on the edge of the board, and what else comes out there (its data sheet).
EDGE = dict(zip(
    (*range(16, 22), 22, 26, 27, 28, *range(16)),
    (21, 22, 24, 25, 26, 27, 29, 31, 32, 34, 1, 2, 4, 5, 6, 7, 9, 10, 11, 12, 14, 15, 16, 17, 19, 20), strict=True,
))  # fmt: skip
OTHERS = {3: "GND", 8: "GND", 13: "GND", 18: "GND", 23: "GND", 28: "GND", 30: "RUN", 33: "AGND", 35: "ADC_VREF",
          36: "3V3", 37: "3V3_EN", 38: "GND", 39: "VSYS", 40: "VBUS"}  # fmt: skip
# What stands in the configuration under this name: the part, its terminal, which way the signal goes, what to know. In
# the last, `level` is the level at which the input is set, `0` the whole configuration.
SERVO = "{{0[parts][feeder][{0}][rest_us]}} us at rest, {{0[parts][feeder][{0}][work_us]}} at work"
WIRES = {
    "uart.tx": ("other board, UART", "RX", "out", "only when the line is uart"),
    "uart.rx": ("other board, UART", "TX", "in", "only when the line is uart"),
    "press.step": ("press driver", "STEP", "out", "{0[gear][press_steps_per_mm]} rising edges: 1 mm"),
    "press.direction": ("press driver", "DIR", "out", "{0[press][forward]}: head down"),
    "rotate.step": ("rotate driver", "STEP", "out", "{0[gear][rotate_steps_per_turn]} rising edges: a roller's turn"),
    "rotate.direction": ("rotate driver", "DIR", "out", "{0[rotate][forward]}: tops to the front"),
    "enable": ("both drivers", "EN", "out", "{level}: motors held"),
    "home": ("home switch", "", "in", "{level}: head at home"),
    "mark": ("index mark sensor", "OUT", "in", "{level}: the mark is seen"),
    "parts.feeder.inputs.left_end": ("seat sensor, left end", "OUT", "in", "{level}: a shaft lies there"),
    "parts.feeder.inputs.right_end": ("seat sensor, right end", "OUT", "in", "{level}: a shaft lies there"),
    "parts.feeder.inputs.above": ("sensor above the seat", "OUT", "in", "{level}: a second shaft"),
    "parts.feeder.inputs.hopper": ("hopper sensor", "OUT", "in", "{level}: a shaft waits"),
    "parts.feeder.inputs.slot": ("slot sensor", "OUT", "in", "{level}: the check standard waits"),
    "parts.feeder.inputs.chute": ("chute sensor", "OUT", "in", "{level}: a shaft passes"),
    "inputs.lid": ("lid switch", "", "in", "{level}: open"),
    "inputs.stop": ("emergency stop, contact 2", "", "in", "{level}: pressed"),
    "cell.data": ("converter", "DATA (SDA)", "in", "{0[cell][rate]} words a second"),
    "cell.clock": ("converter", "CLOCK (SCL)", "out", "{0[cell][pulses]} pulses a word"),
    "parts.thermometer.pin": ("thermistor", "free end", "in", "{0[parts][thermometer][ohm_25]} ohm at 25 C"),
    "cell.ready": ("converter", "DRDY", "in", "only with a NAU7802"),
    "parts.feeder.hopper.pin": ("hopper servo", "signal", "out", SERVO.format("hopper")),
    "parts.feeder.slot.pin": ("slot servo", "signal", "out", SERVO.format("slot")),
    "parts.feeder.gate.pin": ("gate servo", "signal", "out", SERVO.format("gate")),
    "parts.feeder.selector": ("selector servo", "signal", "out", "a width for each place"),
    "service": ("service jumper", "", "in", "to ground: the gauge stays off"),
}


@dataclass(frozen=True)
class Wire:
    """A wire of the board: name in the configuration, GPIO, place on the edge, and destination."""

    key: str
    gpio: int
    edge: int
    part: str
    terminal: str
    way: str
    remark: str


def default() -> dict[str, Any]:
    """Return the default configuration with the usual wiring of a feeder and a thermometer."""
    given: dict[str, Any] = json.loads((DEVICE / "board.json").read_text(encoding="utf-8"))
    for part in ("feeder", "thermometer"):
        given["parts"][part] = json.loads((DEVICE / "parts" / f"{part}.json").read_text(encoding="utf-8"))
    return given


def wires() -> list[Wire]:
    """Return all wires of the default configuration and of the usual parts, in the order of the board's edge."""
    given = default()
    found = re.search(r"^SERVICE = const\((\d+)\)", (DEVICE / "settings.py").read_text(encoding="utf-8"), re.MULTILINE)
    assert found is not None
    given["service"] = int(found[1])
    made = []
    for key, (part, terminal, way, remark) in WIRES.items():
        value: Any = given
        for name in key.split("."):
            value = value[name]
        if value is not None:
            gpio, level = value if isinstance(value, list) else (value, None)
            made.append(Wire(key, gpio, EDGE[gpio], part, terminal, way, remark.format(given, level=level)))
    return sorted(made, key=lambda wire: wire.edge)
