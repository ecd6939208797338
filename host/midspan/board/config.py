"""The board's configuration: read it, change it, have the board check it, write it and read it back."""

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
# The board's own check: what it accepts here it accepts at its next start, because it is the same code.
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
    """Return the objection of the board's own code to a file.

    An accepted file on trial takes the place of the board's file; a refused one is removed.

    Parameters
    ----------
    shell : BoardShell
        Prompt of the board.
    name : str
        File on the board.

    Returns
    -------
    str | None
        What is wrong; None if the code accepts the file.
    """
    words: str | None = shell.value(TAKE.format(name, CONFIGURATION))
    return words


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
        The file is not a JSON object.
    """
    content = shell.read(CONFIGURATION)
    if content is None:
        raise BoardError(
            f"{shell.port}: the board has no {CONFIGURATION}; run: midspan board install --port {shell.port}"
        )
    return _parsed(content, f"{shell.port}: {CONFIGURATION}")


def _parsed(content: bytes, where: str) -> dict[str, Any]:
    """Return the object in a configuration file.

    Parameters
    ----------
    content : bytes
        The file, JSON.
    where : str
        Name of the file in messages.

    Returns
    -------
    dict[str, Any]
        Settings by section and key.

    Raises
    ------
    ConfigurationError
        The content is not a JSON object.

    Examples
    --------
    >>> _parsed(b'{"name": "bench"}', "board.json")
    {'name': 'bench'}
    """
    found = json_in(content, where, ConfigurationError)
    if not isinstance(found, dict):
        raise ConfigurationError(f"{where}: expected a JSON object in braces")
    return found


def changed(configuration: dict[str, Any], changes: Iterable[str]) -> dict[str, Any]:
    """Return a copy of a configuration with some values replaced.

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
    """Give the board a configuration once its own code has accepted it, and restart the board with it.

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
        The board's code refuses it; nothing was changed.
    BoardError
        The file did not arrive whole.
    """
    shell.write({TRIAL: content})
    wrong = refusal(shell, TRIAL)
    if wrong is not None:
        raise ConfigurationError(f"{where}: the board rejects it: {wrong}")
    if shell.read(CONFIGURATION) != content:
        raise BoardError(f"{shell.port}: {CONFIGURATION} was not written completely; is the flash full? Write it again")
    shell.restart()
    return _parsed(content, where)


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
        Its content, a JSON object.

    Raises
    ------
    ConfigurationError
        The file cannot be read, is too large, or is not a JSON object.
    """
    content = bytes_of(path, ConfigurationError, LARGEST_BYTES)
    _parsed(content, str(path))
    return content
