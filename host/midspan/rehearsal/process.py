"""A simulated gauge as a process of its own: the device code on MicroPython behind a pseudo-terminal."""

from __future__ import annotations

import errno
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from midspan.base.errors import LinkError
from midspan.link.serial_port import ADVICE
from midspan.wire.schema import data_folder

# On a 64-bit host this is what about half of it is on the chip, for objects are twice the size; the truths of the
# simulated shafts, which no real board holds, come on top.
HEAP_KB, SHAFT_KB = 384, 2
WITHOUT = "CPython (there is no MicroPython here)"
END_S = 1.0
REHEARSAL_PORT = "rehearsal"  # what is said in place of a port to get a simulated gauge


def interpreter_command(shafts: int = 0) -> list[str]:
    """MicroPython beside this Python or on the path, with a chip's heap and room for the truths of so many shafts.

    Where there is no MicroPython it is this Python itself.
    """
    beside = Path(sys.executable).parent
    found = shutil.which("micropython", path=f"{beside}{os.pathsep}{os.environ.get('PATH', '')}")
    return [sys.executable] if found is None else [found, "-X", f"heapsize={HEAP_KB + SHAFT_KB * shafts}K"]


class Rehearsal:
    """A simulated gauge that runs until the block is left; `port` is what to open.

    `scenario` is what device/rehearsal/run.py reads, `folder` where it may keep its files, `prepare` what to do there
    before it starts, `interpreter` says in words what runs the device code. Like a serial port a folder is one host's
    at a time. Raises LinkError when another has it, or the gauge cannot start.

    >>> Rehearsal({"seed": 1, "shafts": []}, Path("unused")).interpreter in ("MicroPython", WITHOUT)
    True
    """

    def __init__(self, scenario: dict[str, Any], folder: Path, prepare: Callable[[], None] | None = None) -> None:
        self._command = interpreter_command(sum(len(scenario.get(name, ())) for name in ("shafts", "bench")))
        self._scenario = scenario
        self._folder = folder
        self._prepare = prepare
        self.port = ""

    @property
    def interpreter(self) -> str:
        """What runs the device code, in words."""
        return WITHOUT if self._command[0] == sys.executable else "MicroPython"

    def __enter__(self) -> Self:
        """Itself, started."""
        try:
            import pty
            import tty
        except ImportError as error:
            raise LinkError(
                "a rehearsal needs a pseudo-terminal, which this system lacks: use Linux or macOS"
            ) from error
        self._take_folder()
        device_end, self._host_end = pty.openpty()
        tty.setraw(self._host_end)  # this end stays open here, so that the device sees no hang-up between hosts
        self.port = os.ttyname(self._host_end)
        self._start(device_end)
        os.close(device_end)
        return self

    def _take_folder(self) -> None:
        import fcntl  # wherever there are pseudo-terminals

        self._folder.mkdir(parents=True, exist_ok=True)
        self._hold = self._scenario_file.open("ab")  # while it is open the folder is this host's: that ends with it
        try:
            fcntl.flock(self._hold, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            self._hold.close()
            raise LinkError(f"simulated gauge in {self._folder}: {ADVICE[errno.EBUSY]}") from error
        if self._prepare is not None:
            self._prepare()

    def _start(self, device_end: int) -> None:
        self._scenario_file.write_text(json.dumps(self._scenario), encoding="utf-8")
        script = data_folder("device") / "rehearsal" / "run.py"
        with self._complaints.open("wb") as complaints:
            self._process = subprocess.Popen(
                [*self._command, str(script), str(self._scenario_file)],
                stdin=device_end,
                stdout=device_end,
                stderr=complaints,
                start_new_session=True,  # Ctrl-C is for the host, which stops the gauge in its own way
            )

    @property
    def _scenario_file(self) -> Path:
        return self._folder / "scenario.json"

    @property
    def _complaints(self) -> Path:
        return self._folder / "rehearsal-errors.txt"

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process and give the pseudo-terminal back.

        Raises LinkError with its last words when the process had died and the line broke for that.
        """
        status = self._own_end() if isinstance(error, LinkError) else None
        self._end()
        if status is not None:
            raise LinkError(f"the simulated gauge ended with status {status}: {self._last_words()}") from error

    def _own_end(self) -> int | None:
        """Status of a process that ended by itself, None when it still runs."""
        try:
            return self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            return None

    def _last_words(self) -> str:
        words = self._complaints.read_text(encoding="utf-8", errors="replace").strip().splitlines()
        return f"{words[-1]} (all of it in {self._complaints})" if words else "it left no word why"

    def _end(self) -> None:
        self._process.terminate()
        try:
            self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        os.close(self._host_end)
        self._hold.close()
