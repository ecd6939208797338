"""A board's MicroPython prompt, reached through mpremote: run a line there, copy files, compare their hashes."""

from __future__ import annotations

import importlib
import json
import logging
import subprocess
import sys
from collections.abc import Iterable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from midspan.base.errors import BoardError, LinkError
from midspan.link.open_line import open_line
from midspan.link.serial_port import Link, find_port

LOG = logging.getLogger(__name__)

# An interrupt for whatever runs there, and out of the raw prompt if another program left the board in it.
ATTENTION = b"\r\x03\x03\x02"
PROMPT = b">>> "
PROMPT_READS = 20  # of a twentieth of a second each
RAW_PROMPT, TO_RAW_PROMPT, RESTART = b"raw REPL; CTRL-B to exit", b"\x01", b"\x04"
RESTART_READS = 200  # it loads all of its code before its prompt comes back
PATIENCE_S = 60.0
SERVICE = (
    "no MicroPython prompt there: the gauge's own code runs, or no board is on this port. Put the service jumper on "
    "(wiring.md), press the board's reset button, and try again"
)
# Hashes on the board itself, so that what lies in its flash is compared and not what was sent.
HASHES = """
import hashlib, json, binascii
found = {}
for name in %s:
    try:
        with open(name, 'rb') as file:
            digest = hashlib.sha256()
            piece = file.read(256)
            while piece:
                digest.update(piece)
                piece = file.read(256)
            found[name] = binascii.hexlify(digest.digest()).decode()
    except OSError:
        pass
print(json.dumps(found))
"""
# Hexadecimal digits, for the prompt's own line would change some bytes on their way.
READ = """
import json, binascii
try:
    with open({!r}, 'rb') as file:
        print(json.dumps(binascii.hexlify(file.read()).decode()))
except OSError:
    print('null')
"""


def at_prompt(link: Link) -> bool:
    """Whether a MicroPython prompt answers on an open line; a running gauge takes what is sent for noise."""
    link.write(ATTENTION)
    return _hears(link, PROMPT_READS, PROMPT)


def _hears(link: Link, reads: int, *wanted: bytes) -> bool:
    """Whether one of these comes within so many reads."""
    heard = b""
    for _ in range(reads):
        heard += link.read()
        if any(words in heard for words in wanted):
            return True
    return False


class BoardShell:
    """The prompt of the board at a port. Raises BoardError without mpremote, LinkError without a prompt there.

    Each method is one run of mpremote; LinkError names the port when that fails, BoardError what the board said.
    """

    def __init__(self, port: str) -> None:
        self.port = find_port(port)
        try:
            importlib.import_module("mpremote")  # it is run as a program; only those who have a board need it
        except ImportError as error:
            raise BoardError(
                "mpremote is missing, which talks to the board; install it: pip install 'midspan[board]'"
            ) from error
        with open_line(self.port) as link:
            if not at_prompt(link):
                raise LinkError(f"{self.port}: {SERVICE}")

    def execute(self, code: str) -> str:
        """What this code prints on the board. Raises BoardError with the last line of what went wrong there."""
        return self._mpremote("exec", code)

    def value(self, code: str) -> Any:
        """The JSON that this code prints on the board."""
        printed = self.execute(code)
        try:
            return json.loads(printed)
        except ValueError as error:
            raise BoardError(f"{self.port}: the board printed {printed[-60:]!r} where JSON was due") from error

    def read(self, name: str) -> bytes | None:
        """A small file of the board, None when there is none of this name."""
        digits = self.value(READ.format(name))
        return None if digits is None else bytes.fromhex(digits)

    def write(self, files: Mapping[str, bytes]) -> None:
        """Put files on the board, over those of the same names. Raises BoardError when one does not arrive whole."""
        if not files:
            return
        with TemporaryDirectory() as folder:
            copies: list[str] = []
            for name, content in files.items():
                (Path(folder) / name).write_bytes(content)
                copies += ["+", "fs", "cp", str(Path(folder) / name), f":{name}"]
            self._mpremote(*copies[1:])

    def restart(self) -> None:
        """Start the board anew at its prompt: with its whole heap, and with the files that it has now.

        Asked for at the raw prompt, so that boot.py runs and main.py, which would move the head, does not. Raises
        LinkError when the prompt does not come back.
        """
        with open_line(self.port) as link:
            link.write(ATTENTION + TO_RAW_PROMPT)
            ready = _hears(link, PROMPT_READS, RAW_PROMPT)
            link.write(RESTART)
            if not (ready and _hears(link, RESTART_READS, RAW_PROMPT, PROMPT) and at_prompt(link)):
                raise LinkError(f"{self.port}: the board does not come back to its prompt; press its reset button")

    def hashes(self, names: Iterable[str]) -> dict[str, str]:
        """SHA-256, computed on the board, of those of the named files that are there."""
        found: dict[str, str] = self.value(HASHES % sorted(names))
        return found

    def _mpremote(self, *arguments: str) -> str:
        command = [sys.executable, "-m", "mpremote", "connect", self.port, "resume", *arguments]
        try:
            done = subprocess.run(
                command, capture_output=True, encoding="utf-8", errors="replace", timeout=PATIENCE_S, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise LinkError(f"{self.port}: the board fell silent; press its reset button and try again") from error
        LOG.debug("mpremote %s", arguments[0])
        if done.returncode:
            LOG.warning("mpremote ended with %d: %s", done.returncode, done.stderr[-600:])
            words = ((done.stdout + done.stderr).strip().splitlines() or ["nothing"])[-1].strip()
            who = "" if words.startswith("mpremote") else "the board said: "
            raise BoardError(f"{self.port}: {who}{words}")
        return done.stdout
