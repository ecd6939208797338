"""The board's file, board.json: whole, of this version, no pin used twice.

The host checks every setting before it writes the file (host/midspan/board/board_file.py) and seals it with a last
line, `#crc32` and eight digits. A file without that line was put there by hand and is taken.

    given = load("board.json")  # a dictionary, or ConfigurationError("pin 7 has two uses: home and press.step")
"""

import json
from binascii import crc32

from micropython import const

SERVICE = const(22)  # the service pin; not in the file, because it must work whatever the file says
_VERSION = const(2)
_SEAL = b"\n#crc32 "
_PINS = ("step", "direction", "data", "clock", "ready", "tx", "rx", "pin", "selector")  # settings that are a pin


class ConfigurationError(Exception):
    """Refusal of the board's file, with what is wrong."""


def load(path: str) -> dict:
    """Return the settings in a file; raise ConfigurationError if they cannot be used."""
    try:
        with open(path, "rb") as file:
            content = file.read()
    except OSError:
        raise ConfigurationError("{} is missing".format(path)) from None
    seal = content.rfind(_SEAL) + 1
    if seal and content[seal:].strip() != b"#crc32 %08x" % crc32(content[:seal]):
        raise ConfigurationError("{} is damaged: write it again".format(path))
    try:
        given = json.loads(content[:seal] if seal else content)
    except ValueError:
        raise ConfigurationError("{} is no JSON".format(path)) from None
    if not isinstance(given, dict) or given.get("version") != _VERSION:
        raise ConfigurationError("{} is not of version {}".format(path, _VERSION))
    _claim(given, "", {SERVICE: "service"})
    return given


def _claim(section: dict, path: str, taken: dict) -> None:
    """Note the use of each pin of a section; pins with the level of a switch are pairs."""
    for key, value in section.items():
        name = path + key
        if isinstance(value, dict):
            _claim(value, name + ".", taken)
            continue
        pair = isinstance(value, list) and len(value) == 2 and value[1] in (0, 1)
        pin = value[0] if pair else value if key in _PINS else None
        if pin is not None and pin in taken:
            raise ConfigurationError("pin {} has two uses: {} and {}".format(pin, taken[pin], name))
        taken[pin] = name
