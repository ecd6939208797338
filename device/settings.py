"""The board's file, board.json: whole, of this version, no pin used twice.

The host checks every setting before it writes the file (host/midspan/board/board_file.py) and seals it with a last
line, `#crc32` and eight digits. A file without that line was put there by hand and is taken.

    given = load("board.json")  # a dictionary, or ConfigurationError("pin 7 has two uses: press.step and home.pin")
"""

import json
from binascii import crc32

from micropython import const

SERVICE = const(22)  # the service pin; not in the file, because it must work whatever the file says
_VERSION = const(2)
_SEAL = b"\n#crc32 "
_PINS = ("step", "direction", "data", "clock", "ready", "tx", "rx", "pin", "selector")  # keys of a single pin


class ConfigurationError(Exception):
    """Refusal of the board's file, with what is wrong."""


def load(path: str) -> dict:
    """Return the settings in a file; raise ConfigurationError if they cannot be used."""
    try:
        with open(path, "rb") as file:
            content = file.read()
        seal = content.rfind(_SEAL) + 1
        if seal and content[seal:].strip() != b"#crc32 %08x" % crc32(content[:seal]):
            raise ConfigurationError("{} is damaged: write it again".format(path))
        given = json.loads(content[:seal] if seal else content)
    except (OSError, ValueError):
        raise ConfigurationError("{} is missing, or is no JSON".format(path)) from None
    if not isinstance(given, dict) or given.get("version") != _VERSION:
        raise ConfigurationError("{} is not of version {}".format(path, _VERSION))
    _claim(given, "", {SERVICE: "service"})
    return given


def _claim(section: dict, path: str, taken: dict) -> None:
    """Note the use of each pin of a section; the pin of a switch has its level beside it."""
    for key, value in section.items():
        if isinstance(value, dict):
            _claim(value, path + key + ".", taken)
        elif isinstance(value, list) and value[1:] in ([0], [1]):
            _claim({"pin": value[0]}, path + key + ".", taken)
        elif key in _PINS and value is not None:
            if value in taken:
                raise ConfigurationError("pin {} has two uses: {} and {}".format(value, taken[value], path + key))
            taken[value] = path + key
