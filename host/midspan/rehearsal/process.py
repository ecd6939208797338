"""Run a simulated gauge as a process of its own: the device code on MicroPython behind a line like a serial port."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from midspan.base.errors import LinkError
from midspan.base.file_lock import is_locked_now
from midspan.link.serial_port import BUSY
from midspan.rehearsal.device_line import has_terminals, loopback, terminal
from midspan.wire.schema import data_folder

# Objects on a 64-bit host are twice the size of those on the chip, so this is like half as much there. The truths of
# the simulated shafts, which a real board does not hold, come on top.
HEAP_KB, SHAFT_KB = 384, 2
WITHOUT = "CPython (there is no MicroPython here)"
END_S = 1.0
REHEARSAL_PORT = "rehearsal"  # given in place of a port to get a simulated gauge


def interpreter_command(shafts: int = 0) -> list[str]:
    """Return the command that runs the device code.

    MicroPython is looked for beside this Python, then on the path. Without it the command is this Python itself.

    Parameters
    ----------
    shafts : int
        Number of simulated shafts; the heap has room for their truths beside what a chip has.

    Returns
    -------
    list[str]
        Program and options, without the script.
    """
    beside = Path(sys.executable).parent
    found = shutil.which("micropython", path=f"{beside}{os.pathsep}{os.environ.get('PATH', '')}")
    return [sys.executable] if found is None else [found, "-X", f"heapsize={HEAP_KB + SHAFT_KB * shafts}K"]


def _own_group() -> int:
    """Return the flag by which Windows keeps Ctrl-C from a process; elsewhere its session does."""
    if sys.platform == "win32":
        return subprocess.CREATE_NEW_PROCESS_GROUP
    return 0


class Rehearsal:
    """A simulated gauge that runs until its `with` block ends.

    Like a serial port, a folder is used by one host at a time.

    Parameters
    ----------
    scenario : dict[str, Any]
        True values of the simulated gauge, all optional. `"seed"` is a whole number for the noise. `"gauge"` maps
        names to numbers, for example `"span_mm"` 711.2, `"frame_mm_per_n"` 0.010, `"noise_count"` 45. `"shafts"` is a
        list: each has its `"number"` and may have `"spine_thou"` (mean static spine), `"spread_thou"` (highest minus
        lowest around it), `"stiff_side_deg"`, `"bow_mm"` (half the runout), `"hysteresis"` (share of the force) and
        `"fault"`: `"absent"` for no shaft, `"soft"`, or `"cell_stuck"` for a failing load cell. A number that is not in
        the list is an empty gauge. An unknown key is an error. device/rehearsal/README.md lists every key.
    folder : Path
        Where the simulation keeps its files; made if it is missing.
    prepare : Callable[[], None] | None
        Called before the gauge starts, once the folder is this host's; None to call nothing.

    Attributes
    ----------
    port : str
        Port to open; empty until the block begins.

    Examples
    --------
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
        """Name, for people, of the program that runs the device code."""
        return WITHOUT if self._command[0] == sys.executable else "MicroPython"

    def __enter__(self) -> Self:
        """Start the gauge and return this object.

        Raises
        ------
        LinkError
            Another host uses the folder, or the gauge ended at once.
        """
        with ExitStack() as opened:  # what was opened is closed again if the start fails
            self._take_folder(opened)
            line = terminal if has_terminals() else loopback
            try:
                self._process, self.port = opened.enter_context(line(self._start))
            except LinkError as error:
                raise LinkError(
                    f"the simulated gauge does not start: {self._last_words()}", code="simulation_ended"
                ) from error
            self._opened = opened.pop_all()
        return self

    def _take_folder(self, opened: ExitStack) -> None:
        """Lock the folder and prepare it; raise LinkError if another host has it."""
        self._folder.mkdir(parents=True, exist_ok=True)
        hold = opened.enter_context(
            self._scenario_file.open("ab")
        )  # the lock ends with it, also when this host is killed
        if not is_locked_now(hold.fileno()):
            raise LinkError(f"simulated gauge in {self._folder}: {BUSY.words}", code=BUSY.code)
        if self._prepare is not None:
            self._prepare()

    def _start(self, words: Sequence[str], stdin: int, stdout: int) -> subprocess.Popen[bytes]:
        """Write the scenario and start the device code."""
        self._scenario_file.write_text(json.dumps(self._scenario), encoding="utf-8")
        script = data_folder("device") / "rehearsal" / "run.py"
        with self._complaints.open("wb") as complaints:
            return subprocess.Popen(
                [*self._command, str(script), str(self._scenario_file), *words],
                stdin=stdin,
                stdout=stdout,
                stderr=complaints,
                start_new_session=True,  # Ctrl-C is for the host, which stops the gauge in its own way
                creationflags=_own_group(),
            )

    @property
    def _scenario_file(self) -> Path:
        """File with the scenario; it is also the lock of the folder."""
        return self._folder / "scenario.json"

    @property
    def _complaints(self) -> Path:
        """File with what the device code writes to its standard error."""
        return self._folder / "rehearsal-errors.txt"

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End the process and close the line.

        Raises
        ------
        LinkError
            The line broke because the process had died; the message has its last words.
        """
        status = self._own_end() if isinstance(error, LinkError) else None
        self._end()
        if status is not None:
            raise LinkError(
                f"the simulated gauge ended with status {status}: {self._last_words()}", code="simulation_ended"
            ) from error

    def _own_end(self) -> int | None:
        """Return the exit status of a process that ended by itself, or None if it still runs."""
        try:
            return self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            return None

    def _last_words(self) -> str:
        """Return the last line that the device code wrote to its error file."""
        words = self._complaints.read_text(encoding="utf-8", errors="replace").strip().splitlines()
        return f"{words[-1]} (more in {self._complaints})" if words else f"{self._complaints} is empty"

    def _end(self) -> None:
        """End the process and close the line and the lock."""
        self._process.terminate()
        try:
            self._process.wait(END_S)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._opened.close()
