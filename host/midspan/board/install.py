"""Puts the device code on a board: compiled for its chip, only what differs, compared by hash, loaded once."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass

from midspan.base.errors import BoardError
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
# A source file of the same name would be loaded instead of the compiled one.
REMOVE = "import os\nfor name in {}:\n    try:\n        os.remove(name)\n    except OSError:\n        pass\n"
# Loads every module but the board's own, which would take hold of the pins; forgets first what was loaded before.
LOAD = """
import json, sys
for name in {modules}:
    sys.modules.pop(name, None)
import {main}, records
(firmware,) = {{module.FIRMWARE for module in sys.modules.values() if hasattr(module, 'FIRMWARE')}}
print(json.dumps([firmware, records.PROTOCOL_MAJOR, records.PROTOCOL_MINOR]))
"""
OLDEST_FIRMWARE = (1, 22)  # the first with DMA, which feeds the motors (MicroPython release notes)


@dataclass(frozen=True)
class Installed:
    """What is on the board now."""

    chip: Chip
    files: int
    copied: int
    code_bytes: int
    version: str
    protocol: str
    configuration_is_new: bool


def chip_of(shell: BoardShell) -> Chip:
    """What kind of board answers."""
    machine, version, mpy = shell.value(ASK_CHIP)
    return Chip(machine, tuple(part for part in version if isinstance(part, int)), mpy)


def install(shell: BoardShell, say: Callable[[str], None]) -> Installed:
    """Bring the board's files up to date and prove it.

    The starter is taken away first and comes back last, so that a board on which this was broken off stays at its
    prompt and never runs half of one version and half of another. A configuration that is there stays.
    The board starts anew at the end, for by then all of its code lies in its heap twice. Raises BoardError when the
    firmware is too old, a hash differs afterwards or the code does not load.
    """
    chip = chip_of(shell)
    say(f"board: {chip}")
    if chip.version < OLDEST_FIRMWARE:
        raise BoardError(f"{chip}: too old, it cannot feed motors; put a current stable firmware on the board")
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
    modules = [name.removesuffix(".py") for name in sources]
    version, major, minor = shell.value(LOAD.format(main=COMPILED_MAIN.removesuffix(".mpy"), modules=modules))
    shell.restart()
    size = sum(map(len, files.values()))
    return Installed(chip, len(files), len(changed), size, version, f"{major}.{minor}", fresh)


def _verify(shell: BoardShell, wanted: dict[str, str]) -> None:
    found = shell.hashes(wanted)
    wrong = sorted(name for name in wanted if found.get(name) != wanted[name])
    if wrong:
        raise BoardError(f"{shell.port}: {', '.join(wrong)} did not arrive whole; is the flash full? Install once more")
