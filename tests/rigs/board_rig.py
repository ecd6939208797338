"""A board for tests: the real MicroPython at its prompt behind a pseudo-terminal, with a folder for its flash."""

import os
import signal
import subprocess
import tty
from contextlib import contextmanager
from pathlib import Path

from device_rig import DEVICE, MICROPYTHON
from places import ON_DEVICE

# Run at the prompt of a wired board: a hand that does in time what the check asks for, except for names in `idle`.
HAND = """
from parts import service
def watch(name, seconds, given=service.watch):
    if name not in {idle!r}:
        bench.touch(name)
    given(name, seconds)
service.watch = watch
def words(number, given=service.words, pushes=[0, 0 if 'cell' in {idle!r} else 300]):
    chip.converter.load_g = pushes.pop(0)
    given(number)
    chip.converter.load_g = 0
service.words = words
"""
WORLD = ON_DEVICE / "world_on_device.py"


class PtyBoard:
    """A board whose serial port is `port`.

    `wired` puts the simulated chip and the bench of world_on_device.py behind it; without them it has no pins. On a
    chip Ctrl-D restarts the interpreter; here it ends it, so another is started then.
    """

    def __init__(self, flash: Path, wired: bool = False, heap_kb: int = 512) -> None:
        flash.mkdir(exist_ok=True)
        self.flash, self._wired, self._heap_kb = flash, wired, heap_kb
        self._far, self._near = os.openpty()
        tty.setraw(self._near)
        self.port = os.ttyname(self._near)
        self._process = None
        self.reset()

    def reset(self, service: bool = True) -> None:
        """Start the board anew, as its button does; `service` is the jumper that keeps main.py from starting."""
        self._end()
        begun = service or not (self.flash / "main.py").exists()
        first = [*(["-i"] * begun), str(WORLD), *(["main"] * (not begun))] if self._wired else []
        self._process = subprocess.Popen(
            ["sh", "-c", 'while "$@"; do :; done', "sh", str(MICROPYTHON), "-X", f"heapsize={self._heap_kb}K", *first],
            stdin=self._far, stdout=self._far, stderr=self._far, cwd=self.flash, start_new_session=True,
        )  # fmt: skip

    def by_hand(self, what: str) -> None:
        """Let the bench's hand act, on "lid 1" for instance, and return when it has."""
        said = self.flash / "hand"
        said.write_text(what)
        while said.exists():
            assert self._process.poll() is None, "the board died"
            os.sched_yield()

    def _end(self) -> None:
        if self._process is not None:
            os.killpg(self._process.pid, signal.SIGTERM)
            self._process.wait()

    def close(self) -> None:
        """End the board."""
        self._end()
        os.close(self._near)
        os.close(self._far)


@contextmanager
def board_on(flash, wired=False, heap_kb=512):
    """Open a board whose flash is this folder until the block ends."""
    board = PtyBoard(flash, wired, heap_kb)
    try:
        yield board
    finally:
        board.close()


PATH = os.environ | {"MICROPYPATH": f"{ON_DEVICE / 'pio'}:{DEVICE}"}


def command(script: str, *arguments: str) -> list[str]:
    """Return the command that runs a script on MicroPython, with shadows of `machine` and `rp2` and a chip's heap."""
    return [str(MICROPYTHON), "-X", "heapsize=384K", str(ON_DEVICE / f"{script}_on_device.py"), *arguments]


def run(script: str, *arguments: str, given: str = "", code: Path = DEVICE) -> str:
    """Return what a script prints on MicroPython, with an input and the device code of a folder."""
    path = PATH | {"MICROPYPATH": f"{ON_DEVICE / 'pio'}:{code}"}
    done = subprocess.run(
        command(script, *arguments), env=path, input=given, capture_output=True, text=True, timeout=600, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
