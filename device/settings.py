"""The board's configuration: board.json, checked from end to end before any pin is touched.

Every setting has to be there, and no other. board.py converts millimetres and turns to microsteps.
"""

import json

from nau7802 import RATES
from stepper import SPEED_MAX

SERVICE = 22  # the service pin; not in the file, because it must work whatever the file says
PINS = tuple(range(SERVICE)) + (26, 27, 28)  # the others of a Pico's edge


def _printable(character: str) -> bool:
    """Return True for text that can be sent and shown: no control character, no half of a surrogate pair."""
    return " " <= character != chr(0x7F) and not 0xD800 <= ord(character) <= 0xDFFF


class ConfigurationError(Exception):
    """Wrong setting: its name, empty for the file itself, and what is wrong with it."""

    def number(self) -> int:
        """Return the number of the setting in the sorted list of all names, from 1: the detail of the fault."""
        return sorted(_names(WANTED, "")).index(self.args[0]) + 1

    def __str__(self) -> str:
        wrong = "".join([c if _printable(c) else "?" for c in self.args[1]])  # it quotes the file
        return "{}: {}".format(self.args[0] or "board.json", wrong)


def _pin(value) -> bool:
    return type(value) is int and value in PINS


def _sensor(value) -> bool:
    return value is None or (isinstance(value, list) and len(value) == 2 and _pin(value[0]) and value[1] in (0, 1))


def _text(value) -> bool:
    return isinstance(value, str) and all(map(_printable, value)) and 1 <= len(value.encode()) <= 32


def _span(low: int, high: int):
    return lambda value: type(value) is int and low <= value <= high, "{} to {}".format(low, high)


def _choice(*values):
    return lambda value: value in values and type(value) is type(values[0]), "one of {}".format(values)


def _widths(value) -> bool:
    return isinstance(value, list) and len(value) <= 32 and all(WIDTH_US[0](width) for width in value)


WIRES = "a pin", "a pin or null", "[pin, level when set] or null"
PIN, OPTIONAL_PIN = (_pin, WIRES[0]), (lambda value: value is None or _pin(value), WIRES[1])
SENSOR, HOME = (_sensor, WIRES[2]), (lambda value: value is not None and _sensor(value), WIRES[2])
WATCHDOG_MS = _span(5000, 8388)
WIDTH_US = _span(400, 2700)  # of a servo's pulse
WATCHDOG = (  # if shorter than the slowest write to the flash, it would restart a healthy gauge for ever
    lambda value: WATCHDOG_MS[0](value) or (type(value) is int and value == 0),
    "0 for none, or " + WATCHDOG_MS[1],
)
MOTOR = {"step": PIN, "direction": PIN, "forward": _choice(0, 1)}
SERVO = {"pin": PIN, "rest_us": WIDTH_US, "work_us": WIDTH_US}
INPUTS = ("left_end", "right_end", "above", "hopper", "slot", "chute", "lid", "stop")  # in the order of their bits
WANTED = {
    "name": (_text, "1 to 32 bytes of printable text"), "line": _choice("usb", "usb2", "uart"), "watchdog_ms": WATCHDOG,
    "uart": {"tx": OPTIONAL_PIN, "rx": OPTIONAL_PIN, "baud": _span(9600, 1000000)},
    "cell": {"kind": _choice("hx711", "nau7802"), "data": PIN, "clock": PIN, "ready": OPTIONAL_PIN,
             "pulses": _choice(25, 26, 27), "rate": _choice(*sorted(RATES))},
    "press": MOTOR, "rotate": MOTOR, "enable": SENSOR, "home": HOME,
    "gear": {"press_steps_per_mm": _span(1, 10000), "rotate_steps_per_turn": _span(1, 200000)},
    "limits": {"count": _span(1, 0x7FFFFF), "press_mm": _span(1, 500), "press_mm_s": _span(1, 500),
               "press_mm_s2": _span(1, 10000), "home_mm_s": _span(1, 100), "rotate_rpm": _span(1, 1000),
               "rotate_rpm_s": _span(1, 10000), "buffer_bytes": _span(4096, 98304)},
    "mark": SENSOR, "inputs": dict.fromkeys(INPUTS, SENSOR),
    "feeder": {"hopper": SERVO, "slot": SERVO, "gate": SERVO, "selector": PIN, "move_ms": _span(20, 5000),
               "places_us": (_widths, "a list of pulse widths")},
}  # fmt: skip


def load(path: str) -> dict:
    """Return the checked configuration in a file; raise ConfigurationError if it is wrong."""
    try:
        with open(path) as file:
            found = json.load(file)
    except OSError:
        raise ConfigurationError("", "{} is missing".format(path)) from None
    except ValueError:
        raise ConfigurationError("", "{} is no JSON".format(path)) from None
    _check(found, WANTED, "", {})
    _check_together(found)
    return found


def _names(wanted: dict, name: str) -> list:
    names = [name]
    for key in wanted:
        full = name + "." + key if name else key
        names += _names(wanted[key], full) if isinstance(wanted[key], dict) else [full]
    return names


def _check(value, wanted, name: str, taken: dict) -> None:
    if not isinstance(wanted, dict):
        if not wanted[0](value):
            raise ConfigurationError(name, "{} is not {}".format(json.dumps(value), wanted[1]))
        if wanted[1] in WIRES:
            _claim(value[0] if isinstance(value, list) else value, name, taken)
        return
    for key in sorted(wanted):  # the chip's dictionaries have no order
        full = name + "." + key if name else key
        if not isinstance(value, dict) or key not in value:
            raise ConfigurationError(full, "is missing")
        _check(value[key], wanted[key], full, taken)
    for key in value:
        if key not in wanted:
            raise ConfigurationError(name, "{} is not known".format(key))


def _claim(pin: "int | None", name: str, taken: dict) -> None:
    if pin is not None and pin in taken:
        raise ConfigurationError(name, "pin {} is that of {}".format(pin, taken[pin]))
    taken[pin] = name


def _check_together(found: dict) -> None:
    gear, limits, cell, uart = found["gear"], found["limits"], found["cell"], found["uart"]
    per_mm, per_turn = gear["press_steps_per_mm"], gear["rotate_steps_per_turn"]
    for name, speed in (("press_mm_s", limits["press_mm_s"] * per_mm), ("home_mm_s", limits["home_mm_s"] * per_mm),
                        ("rotate_rpm", limits["rotate_rpm"] * per_turn // 60)):  # fmt: skip
        if not 1 <= speed <= SPEED_MAX:
            raise ConfigurationError("limits." + name, "{} steps/s is not 1 to {}".format(speed, SPEED_MAX))
    if limits["rotate_rpm_s"] * per_turn < 60:
        raise ConfigurationError("limits.rotate_rpm_s", "is less than a step/s^2")
    if cell["kind"] == "hx711" and cell["rate"] not in (10, 80):
        raise ConfigurationError("cell.rate", "an hx711 has 10 or 80")
    if cell["kind"] == "nau7802" and cell["ready"] is None:
        raise ConfigurationError("cell.ready", "a nau7802 needs this pin")
    if found["line"] == "uart" and None in (uart["tx"], uart["rx"]):
        raise ConfigurationError("uart", "this line needs tx and rx")
