"""Put the device code on a board: compiled for its chip, only what differs, compared by hash, loaded once."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass

from midspan.base.errors import BoardError, ConfigurationError
from midspan.board.board_file import checked
from midspan.board.files import (
    COMPILED_MAIN,
    CONFIGURATION,
    STARTER,
    Chip,
    board_files,
    default_configuration,
    sha256,
)  # fmt: skip
from midspan.board.shell import BoardShell

LOG = logging.getLogger(__name__)

ASK_CHIP = (
    "import sys, json; s = sys.implementation; "
    "print(json.dumps([getattr(s, '_machine', sys.platform), list(s.version), getattr(s, '_mpy', 0)]))"
)
# A source file of the same name would be loaded instead of the compiled file.
REMOVE = "import os\nfor name in {}:\n    try:\n        os.remove(name)\n    except OSError:\n        pass\n"
# Loads every module afresh except the board's own, which would take hold of the pins.
LOAD = """
import gc, json, sys
for name in {modules}:
    sys.modules.pop(name, None)
gc.collect()  # both generations of modules at once would leave no piece of the heap that is long enough
import {main}, records
(firmware,) = {{module.FIRMWARE for module in sys.modules.values() if hasattr(module, 'FIRMWARE')}}
print(json.dumps([firmware, records.PROTOCOL_MAJOR, records.PROTOCOL_MINOR]))
"""
OLDEST_FIRMWARE = (1, 22)  # first with DMA, which feeds the motors (MicroPython release notes)


@dataclass(frozen=True)
class Installed:
    """What is on the board after an installation.

    Parameters
    ----------
    chip : Chip
        Chip and firmware.
    files : int
        Number of files of the device code.
    copied : int
        Number of files that differed and were copied.
    code_bytes : int
        Size of all files, bytes.
    version : str
        Version of the device code.
    protocol : str
        Version of its protocol, major.minor.
    configuration_is_new : bool
        True if the board had no configuration and got the default.
    configuration_problem : str or None
        What is wrong with the configuration that the board had and keeps; None if nothing is.
    """

    chip: Chip
    files: int
    copied: int
    code_bytes: int
    version: str
    protocol: str
    configuration_is_new: bool
    configuration_problem: str | None


def chip_of(shell: BoardShell) -> Chip:
    """Return the chip and firmware of the board.

    Parameters
    ----------
    shell : BoardShell
        Prompt of the board.

    Returns
    -------
    Chip
        What its interpreter says.
    """
    machine, version, mpy = shell.value(ASK_CHIP)
    return Chip(machine, tuple(part for part in version if isinstance(part, int)), mpy)


def install(shell: BoardShell, say: Callable[[str], None]) -> Installed:
    """Bring the board's files up to date, compare their hashes and load the code once.

    The starter is removed first and comes back last, so that a board whose installation was broken off stays at its
    prompt and never runs a mixture of versions. A configuration that is there stays. The board restarts at the end,
    because by then all of its code is in its heap twice.

    Parameters
    ----------
    shell : BoardShell
        Prompt of the board.
    say : Callable[[str], None]
        Called with each step in words.

    Returns
    -------
    Installed
        What is on the board now.

    Raises
    ------
    BoardError
        The firmware is too old, a hash differs afterwards, or the code does not load.
    LinkError
        The board stopped answering.
    """
    chip = chip_of(shell)
    say(f"board: {chip}")
    if chip.version < OLDEST_FIRMWARE:
        raise BoardError(
            f"{chip}: firmware too old to drive motors; put a current stable firmware on the board", code="old_firmware"
        )
    if chip.has_no_drivers:
        say(
            "an ESP32 runs no gauge yet: motors and HX711 have no drivers for it; what is installed stays at its prompt"
        )
    files = board_files(chip)
    wanted = {name: sha256(content) for name, content in files.items()}
    sources = [f"{name.removesuffix('.mpy')}.py" for name in files if name.endswith(".mpy")]
    present = shell.hashes([*files, *sources, CONFIGURATION])
    changed = [name for name in files if present.get(name) != wanted[name]]
    stale = [name for name in sources if name in present]
    LOG.info("%s has firmware %s; %d of %d files differ", chip.machine, chip.version, len(changed), len(files))
    say(f"{len(files)} files for {chip.march}; {len(changed)} differ from those on the board")
    if changed or stale:
        shell.execute(REMOVE.format([STARTER, *stale]))
        shell.write({name: files[name] for name in changed if name != STARTER})
        shell.write({STARTER: files[STARTER]})
    fresh = CONFIGURATION not in present
    if fresh:
        shell.write({CONFIGURATION: default_configuration()})
    _verify(shell, wanted)
    LOG.info("all files are on the board, each with its hash")
    modules = [name.removesuffix(".py").replace("/", ".") for name in sources]
    problem = _problem(shell)
    version, major, minor = shell.value(LOAD.format(main=COMPILED_MAIN.removesuffix(".mpy"), modules=modules))
    shell.restart()
    size = sum(map(len, files.values()))
    return Installed(chip, len(files), len(changed), size, version, f"{major}.{minor}", fresh, problem)


def _problem(shell: BoardShell) -> str | None:
    """Return what is wrong with the board's configuration; None if nothing is."""
    try:
        checked(shell.read(CONFIGURATION) or b"", CONFIGURATION)
    except ConfigurationError as error:
        return str(error)
    return None


def _verify(shell: BoardShell, wanted: dict[str, str]) -> None:
    """Raise BoardError if a file on the board has another hash."""
    found = shell.hashes(wanted)
    wrong = sorted(name for name in wanted if found.get(name) != wanted[name])
    if wrong:
        raise BoardError(
            f"{shell.port}: {', '.join(wrong)} were not written completely; is the flash full? Install again",
            code="not_whole",
        )
