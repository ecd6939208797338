"""The board's configuration: read it, change it, check it, write it with its seal and read it back."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from midspan.base.errors import BoardError, ConfigurationError
from midspan.base.files import bytes_of
from midspan.board.board_file import checked, sealed, unsealed
from midspan.board.files import CONFIGURATION, default_part
from midspan.board.shell import BoardShell

TRIAL = "board.new"
LARGEST_BYTES = 100_000
OPTIONAL = ("feeder", "thermometer")  # sections under parts, each with a file of its usual wiring


def read_configuration(shell: BoardShell) -> dict[str, Any]:
    """Return the contents of the board's file.

    Parameters
    ----------
    shell : BoardShell
        Prompt of the board.

    Returns
    -------
    dict[str, Any]
        Settings by section and key.

    Raises
    ------
    BoardError
        The board has no such file.
    ConfigurationError
        The file is not a JSON object, or was damaged.
    """
    content = shell.read(CONFIGURATION)
    if content is None:
        raise BoardError(
            f"{shell.port}: the board has no {CONFIGURATION}; run: midspan board install --port {shell.port}"
        )
    return unsealed(content, f"{shell.port}: {CONFIGURATION}")


def changed(configuration: dict[str, Any], changes: Iterable[str]) -> dict[str, Any]:
    """Return a copy of a configuration with some values replaced; an optional part begins with its usual wiring.

    Parameters
    ----------
    configuration : dict[str, Any]
        Settings by section and key.
    changes : Iterable[str]
        KEY=VALUE each; keys of sections are joined by points, values are JSON or plain words.

    Returns
    -------
    dict[str, Any]
        The copy.

    Raises
    ------
    ConfigurationError
        A key is not in the configuration; the board's file has every key it may have.

    Examples
    --------
    >>> changed({"name": "a", "press": {"forward": 1}}, ["press.forward=0", "name=north bench"])
    {'name': 'north bench', 'press': {'forward': 0}}
    """
    result: dict[str, Any] = json.loads(json.dumps(configuration))
    for change in changes:
        key, sign, value = change.partition("=")
        for part in OPTIONAL:
            if f"{key.strip()}.".startswith(f"parts.{part}.") and result.get("parts", {}).get(part) is None:
                result["parts"] = {**result.get("parts", {}), part: default_part(part)}
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
    """Return the JSON value of a text, or the text itself if it is not JSON."""
    try:
        return json.loads(text)
    except ValueError:
        return text


def write_configuration(shell: BoardShell, content: bytes, where: str) -> dict[str, Any]:
    """Give the board a configuration after checking all of it, and restart the board with it.

    Parameters
    ----------
    shell : BoardShell
        Prompt of the board.
    content : bytes
        The file, JSON.
    where : str
        Name of the file in messages.

    Returns
    -------
    dict[str, Any]
        Settings that the board now has.

    Raises
    ------
    ConfigurationError
        A setting is wrong; nothing was changed.
    BoardError
        The file did not arrive whole; the board still has its old one.
    """
    settings = checked(content, where)
    whole = sealed(content)
    shell.write({TRIAL: whole})
    if shell.read(TRIAL) != whole:
        raise BoardError(f"{shell.port}: {CONFIGURATION} was not written completely; is the flash full? Write it again")
    shell.execute(f"import os; os.rename({TRIAL!r}, {CONFIGURATION!r})")
    shell.restart()
    return settings


def as_text(configuration: dict[str, Any]) -> str:
    """Return the text of a configuration file: each section on lines of its own, small ones on a single line.

    Parameters
    ----------
    configuration : dict[str, Any]
        Settings by section and key.

    Returns
    -------
    str
        JSON.

    Examples
    --------
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
    """Return the text of a section."""
    flat = json.dumps(value)
    if not isinstance(value, dict) or len(flat) < 100:
        return flat
    inner = [f"  {json.dumps(key)}: {json.dumps(setting)}" for key, setting in value.items()]
    return "{\n" + ",\n".join(inner) + "\n }"


def configuration_file(path: Path) -> bytes:
    """Return the bytes of a configuration file on this computer.

    Parameters
    ----------
    path : Path
        File to read.

    Returns
    -------
    bytes
        Its content, not yet checked.

    Raises
    ------
    ConfigurationError
        The file cannot be read or is too large.
    """
    return bytes_of(path, ConfigurationError, LARGEST_BYTES)
