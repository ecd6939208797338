"""A board for tests: the real MicroPython at its prompt behind a pty, with a folder for its flash."""

import os
import signal
import subprocess
import tty
from contextlib import contextmanager
from pathlib import Path

from device_rig import DEVICE, MICROPYTHON
from places import ON_DEVICE

# Run at the prompt of a wired board: a hand that does in time what the check asks for, but for the names in `idle`.
HAND = """
import service
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
    """`port` is what to open. `reset` starts it anew, as the button does: with main.py, or at its prompt.

    `wired` puts the simulated chip and the bench of world_on_device.py behind it; without them it has no pins. Ctrl-D
    ends this interpreter where a chip's starts anew, so another one is started then.
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
        """Start anew; the service jumper keeps main.py from starting."""
        self._end()
        begun = service or not (self.flash / "main.py").exists()
        first = [*(["-i"] * begun), str(WORLD), *(["main"] * (not begun))] if self._wired else []
        self._process = subprocess.Popen(
            ["sh", "-c", 'while "$@"; do :; done', "sh", str(MICROPYTHON), "-X", f"heapsize={self._heap_kb}K", *first],
            stdin=self._far, stdout=self._far, stderr=self._far, cwd=self.flash, start_new_session=True,
        )  # fmt: skip

    def by_hand(self, what: str) -> None:
        """Let the bench's hand do what is said, like "lid 1", and come back when it is done."""
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
        """The end of the board."""
        self._end()
        os.close(self._near)
        os.close(self._far)


@contextmanager
def board_on(flash, wired=False, heap_kb=512):
    """A board whose flash is this folder."""
    board = PtyBoard(flash, wired, heap_kb)
    try:
        yield board
    finally:
        board.close()


PATH = os.environ | {"MICROPYPATH": f"{ON_DEVICE / 'pio'}:{DEVICE}"}


def command(script: str, *arguments: str) -> list[str]:
    """How MicroPython runs a script, its `machine` and `rp2` the shadows, on a heap that stands for the chip's."""
    return [str(MICROPYTHON), "-X", "heapsize=384K", str(ON_DEVICE / f"{script}_on_device.py"), *arguments]


def run(script: str, *arguments: str) -> str:
    """What a script prints there."""
    done = subprocess.run(
        command(script, *arguments), env=PATH, capture_output=True, text=True, timeout=600, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
