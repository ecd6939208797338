"""The board's configuration: read from it, checked on it by its own code before it counts, and read back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from midspan.base.errors import BoardError, ConfigurationError
from midspan.base.files import bytes_of, json_in
from midspan.board.files import CONFIGURATION
from midspan.board.shell import BoardShell

TRIAL = "board.new"
LARGEST_BYTES = 100_000
# The board's own check: what it accepts here it accepts at its next start, for it is the same code.
TAKE = """
import json, os
from settings import ConfigurationError, load
try:
    load({0!r})
    if {0!r} != {1!r}:
        os.rename({0!r}, {1!r})
    print('null')
except ConfigurationError as error:
    if {0!r} != {1!r}:
        os.remove({0!r})
    print(json.dumps(str(error)))
"""


def refusal(shell: BoardShell, name: str = CONFIGURATION) -> str | None:
    """What the board's own code has against a file of it, None when nothing; one on trial then takes its place."""
    words: str | None = shell.value(TAKE.format(name, CONFIGURATION))
    return words


def read_configuration(shell: BoardShell) -> dict[str, Any]:
    """What the board's file holds. Raises BoardError when there is none, ConfigurationError when it is no JSON."""
    content = shell.read(CONFIGURATION)
    if content is None:
        raise BoardError(
            f"{shell.port}: the board has no {CONFIGURATION}; run: midspan board install --port {shell.port}"
        )
    return parsed(content, f"{shell.port}: {CONFIGURATION}")


def parsed(content: bytes, where: str) -> dict[str, Any]:
    """The object in a configuration file. Raises ConfigurationError when it is no JSON object.

    >>> parsed(b'{"name": "bench"}', "board.json")
    {'name': 'bench'}
    """
    found = json_in(content, where, ConfigurationError)
    if not isinstance(found, dict):
        raise ConfigurationError(f"{where} must hold an object in braces")
    return found


def changed(configuration: dict[str, Any], changes: Iterable[str]) -> dict[str, Any]:
    """The configuration with KEY=VALUE put in; keys of sections are joined by points, values are JSON or plain words.

    Raises ConfigurationError for a key that is not there: the board's file has every key it may have.

    >>> changed({"name": "a", "press": {"forward": 1}}, ["press.forward=0", "name=north bench"])
    {'name': 'north bench', 'press': {'forward': 0}}
    """
    result: dict[str, Any] = json.loads(json.dumps(configuration))
    for change in changes:
        key, sign, value = change.partition("=")
        *sections, last = key.strip().split(".")
        place: Any = result
        for section in sections:
            place = place.get(section) if isinstance(place, dict) else None
        if not sign or not isinstance(place, dict) or last not in place:
            raise ConfigurationError(
                f"{change!r}: write KEY=VALUE with a key of the board's file, like press.forward=0"
            )
        place[last] = _value(value.strip())
    return result


def _value(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return text


def write_configuration(shell: BoardShell, content: bytes, where: str) -> dict[str, Any]:
    """Give the board a configuration, once its own code has accepted it; what it then holds.

    Raises ConfigurationError with the board's words and changes nothing when it does not. The board starts anew at the
    end, so that what is asked at its prompt goes by the new file.
    """
    shell.write({TRIAL: content})
    wrong = refusal(shell, TRIAL)
    if wrong is not None:
        raise ConfigurationError(f"{where}: the board refuses it: {wrong}")
    if shell.read(CONFIGURATION) != content:
        raise BoardError(f"{shell.port}: {CONFIGURATION} did not arrive whole; is the flash full? Write it once more")
    shell.restart()
    return parsed(content, where)


def as_text(configuration: dict[str, Any]) -> str:
    """As the file is written: sections on lines of their own, what is small on one line.

    >>> print(as_text({"name": "a", "limits": {"count": 5}, "mark": [8, 0]}))
    {
     "name": "a",
     "limits": {"count": 5},
     "mark": [8, 0]
    }
    """
    lines = [f" {json.dumps(key)}: {_lines(value)}" for key, value in configuration.items()]
    return "{\n" + ",\n".join(lines) + "\n}"


def _lines(value: Any) -> str:
    flat = json.dumps(value)
    if not isinstance(value, dict) or len(flat) < 100:
        return flat
    inner = [f"  {json.dumps(key)}: {json.dumps(one)}" for key, one in value.items()]
    return "{\n" + ",\n".join(inner) + "\n }"


def configuration_file(path: Path) -> bytes:
    """The bytes of a configuration file. Raises ConfigurationError when it cannot be read or is no JSON object."""
    content = bytes_of(path, ConfigurationError, LARGEST_BYTES)
    parsed(content, str(path))
    return content
