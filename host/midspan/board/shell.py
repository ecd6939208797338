"""A board's MicroPython prompt, reached through mpremote: run code there, copy files, compare their hashes."""

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

# Interrupts what runs there and leaves the raw prompt, in case another program left the board in it.
ATTENTION = b"\r\x03\x03\x02"
PROMPT = b">>> "
PROMPT_READS = 20  # of a twentieth of a second each
RAW_PROMPT, TO_RAW_PROMPT, RESTART = b"raw REPL; CTRL-B to exit", b"\x01", b"\x04"
RESTART_READS = 600  # it loads all of its code before its prompt comes back
PATIENCE_S = 60.0
SERVICE = (
    "no MicroPython prompt: the gauge's own code runs, or no board is on this port. Put the service jumper on "
    "(wiring.md), press the board's reset button, and try again"
)
# Hashes are made on the board, so that the contents of its flash are compared and not what was sent.
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
# In hexadecimal digits, because the prompt's line would change some bytes on their way.
READ = """
import json, binascii
try:
    with open({!r}, 'rb') as file:
        print(json.dumps(binascii.hexlify(file.read()).decode()))
except OSError:
    print('null')
"""

FOLDER = "import os\ntry:\n    os.mkdir({!r})\nexcept OSError:\n    pass\n"


def at_prompt(link: Link) -> bool:
    """Return True if a MicroPython prompt answers on an open line; a running gauge takes the question for noise.

    Parameters
    ----------
    link : Link
        Open line of the board.

    Returns
    -------
    bool
        False if no prompt came within a second.
    """
    link.write(ATTENTION)
    return _hears(link, PROMPT_READS, PROMPT)


def _hears(link: Link, reads: int, *wanted: bytes) -> bool:
    """Return True if any of these texts comes within a number of reads."""
    heard = b""
    for _ in range(reads):
        heard += link.read()
        if any(words in heard for words in wanted):
            return True
    return False


class BoardShell:
    """The MicroPython prompt of the board at a port; most methods are a run of mpremote.

    Parameters
    ----------
    port : str
        Name of the port, as `find_port` takes it.

    Raises
    ------
    BoardError
        The package mpremote is missing; from methods, what the board said when code failed.
    LinkError
        There is no such port or no prompt; from methods, the board stopped answering.
    """

    def __init__(self, port: str) -> None:
        self.port = find_port(port)
        try:
            importlib.import_module("mpremote")  # run as a program; needed only with a board
        except ImportError as error:
            raise BoardError(
                "mpremote, which talks to the board, is missing; install it: pip install 'midspan[board]'",
                code="package_missing",
            ) from error
        with open_line(self.port) as link:
            if not at_prompt(link):
                raise LinkError(f"{self.port}: {SERVICE}", code="no_prompt")

    def execute(self, code: str) -> str:
        """Run code on the board and return what it prints.

        Parameters
        ----------
        code : str
            MicroPython statements.

        Returns
        -------
        str
            All that was printed.

        Raises
        ------
        BoardError
            The code failed; the message has the last line of the board's report.
        LinkError
            The board stopped answering.
        """
        return self._mpremote("exec", code)

    def value(self, code: str) -> Any:
        """Run code on the board and return the JSON that it prints.

        Parameters
        ----------
        code : str
            MicroPython statements.

        Returns
        -------
        Any
            Value of the JSON.

        Raises
        ------
        BoardError
            The code failed or printed something else.
        """
        printed = self.execute(code)
        try:
            return json.loads(printed)
        except ValueError as error:
            raise BoardError(
                f"{self.port}: the board printed {printed[-60:]!r}, expected JSON; reset it and try again",
                code="no_json",
            ) from error

    def read(self, name: str) -> bytes | None:
        """Return a small file of the board.

        Parameters
        ----------
        name : str
            Name on the board.

        Returns
        -------
        bytes | None
            Its content; None if there is no such file.
        """
        digits = self.value(READ.format(name))
        return None if digits is None else bytes.fromhex(digits)

    def write(self, files: Mapping[str, bytes]) -> None:
        """Put files on the board, over files of the same names.

        Parameters
        ----------
        files : Mapping[str, bytes]
            Content by name; a folder in a name is made if it is missing.

        Raises
        ------
        BoardError
            A file cannot be written.
        """
        if not files:
            return
        for inner in sorted({name.rpartition("/")[0] for name in files} - {""}):
            self.execute(FOLDER.format(inner))
        with TemporaryDirectory() as folder:
            copies: list[str] = []
            for name, content in files.items():
                copy = Path(folder) / name
                copy.parent.mkdir(exist_ok=True)
                copy.write_bytes(content)
                copies += ["+", "fs", "cp", str(copy), f":{name}"]
            self._mpremote(*copies[1:])

    def restart(self) -> None:
        """Restart the board at its prompt: with its whole heap, and with the files that it has now.

        Restarting from the raw prompt runs boot.py but not main.py, which would move the head.

        Raises
        ------
        LinkError
            The prompt does not come back.
        """
        with open_line(self.port) as link:
            link.write(ATTENTION + TO_RAW_PROMPT)
            ready = _hears(link, PROMPT_READS, RAW_PROMPT)
            link.write(RESTART)
            if not (ready and _hears(link, RESTART_READS, RAW_PROMPT, PROMPT) and at_prompt(link)):
                raise LinkError(
                    f"{self.port}: the board did not return to its prompt; press its reset button", code="no_prompt"
                )

    def hashes(self, names: Iterable[str]) -> dict[str, str]:
        """Return the SHA-256 of files on the board, computed there.

        Parameters
        ----------
        names : Iterable[str]
            Names on the board.

        Returns
        -------
        dict[str, str]
            Hash in hexadecimal digits by name, for the files that are there.
        """
        found: dict[str, str] = self.value(HASHES % sorted(names))
        return found

    def _mpremote(self, *arguments: str) -> str:
        """Run mpremote with these arguments and return what it prints."""
        command = [sys.executable, "-m", "mpremote", "connect", self.port, "resume", *arguments]
        try:
            done = subprocess.run(
                command, capture_output=True, encoding="utf-8", errors="replace", timeout=PATIENCE_S, check=False
            )
        except subprocess.TimeoutExpired as error:
            raise LinkError(
                f"{self.port}: the board stopped answering; press its reset button and try again"
            ) from error
        LOG.debug("mpremote %s", arguments[0])
        if done.returncode:
            LOG.warning("mpremote ended with %d: %s", done.returncode, done.stderr[-600:])
            words = ((done.stdout + done.stderr).strip().splitlines() or ["nothing"])[-1].strip()
            who = "" if words.startswith("mpremote") else "the board said: "
            raise BoardError(f"{self.port}: {who}{words}")
        return done.stdout
