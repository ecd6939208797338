"""The line between this program and a simulated gauge: a pseudo-terminal, or a loopback socket where there is none."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress

from midspan.link.loopback import LoopbackDoor, offered

# Starts the device code: further words of its command, standard input, standard output.
Start = Callable[[Sequence[str], int, int], "subprocess.Popen[bytes]"]
Started = tuple["subprocess.Popen[bytes]", str]


def has_terminals() -> bool:
    """Return True if this system has pseudo-terminals.

    Returns
    -------
    bool
        False on Windows.
    """
    try:
        import pty  # noqa: F401
        import tty  # noqa: F401
    except ImportError:
        return False
    return True


@contextmanager
def terminal(start: Start) -> Iterator[Started]:
    """Start a gauge behind a pseudo-terminal, which closes when the block ends.

    Parameters
    ----------
    start : Start
        Starts the device code.

    Yields
    ------
    tuple
        Process of the gauge, and the port to open.
    """
    import pty
    import tty

    device_end, host_end = pty.openpty()
    try:
        tty.setraw(host_end)  # this end stays open, so that the device sees no hang-up between two hosts
        try:
            process = start((), device_end, device_end)
        finally:
            os.close(device_end)
        yield process, os.ttyname(host_end)
    finally:
        os.close(host_end)


@contextmanager
def loopback(start: Start) -> Iterator[Started]:
    """Start a gauge behind a socket of this computer, which closes when the block ends.

    Parameters
    ----------
    start : Start
        Starts the device code.

    Yields
    ------
    tuple
        Process of the gauge, and the name of the line to open.

    Raises
    ------
    LinkError
        The gauge ended, or did not call.
    """
    with ExitStack() as failing, LoopbackDoor() as door:
        process = start([str(door.port)], subprocess.PIPE, subprocess.DEVNULL)
        failing.callback(process.wait)
        failing.callback(process.kill)
        _tell(process, door.word)
        connection = door.gauge(lambda: process.poll() is None)
        failing.pop_all()  # from here on whoever wanted the gauge ends it
    with offered(connection, door.port) as name:
        yield process, name


def _tell(process: subprocess.Popen[bytes], word: str) -> None:
    """Send a gauge the word that it has to say, on its standard input, where no other program reads it."""
    assert process.stdin is not None  # it is a pipe
    with suppress(OSError), process.stdin as line:  # a gauge that has ended is found out by not calling
        line.write(f"{word}\n".encode())
