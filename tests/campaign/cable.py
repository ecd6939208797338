"""A cable between gauge and host that can be cut, plugged in under another name, and that spoils what it carries."""

from __future__ import annotations

import os
import select
import threading
import tty
from collections.abc import Callable
from pathlib import Path

CHUNK = 4096
Pass = Callable[[bytes], bytes]


def untouched(data: bytes) -> bytes:
    """A good cable."""
    return data


class Cable:
    """Carries bytes between a device's two ends and a port that a host opens.

    `port` is the name of a link to the pseudo-terminal, so that a host finds it again after a cut under the same or
    another name, as an operating system would have it. `to_host` and `to_device` change what passes. A host that
    does not read makes the device wait, as the buffers of a real line do.
    """

    def __init__(self, to_host: Pass = untouched, to_device: Pass = untouched) -> None:
        self.to_host, self.to_device = to_host, to_device
        self.port: Path | None = None
        self._far = self._near = -1  # ends of the pseudo-terminal
        self._reads = self._writes = -1  # what the device reads from, what it writes to
        self._waiting = b""  # for a host that does not read
        self._lock = threading.Lock()
        self._hear, self._bell = os.pipe()
        self._pump = threading.Thread(target=self._run, daemon=True)
        self._over = False
        self._pump.start()

    # What happens to it

    def plug_in(self, port: Path) -> None:
        """Let the port appear under this name."""
        far, near = os.openpty()
        tty.setraw(near)  # this end stays open, so that the pseudo-terminal outlives its hosts
        os.set_blocking(far, False)
        port.symlink_to(os.ttyname(near))
        with self._lock:
            self._far, self._near, self.port, self._waiting = far, near, port, b""
        os.write(self._bell, b"!")

    def cut(self) -> None:
        """Pull the plug: the port vanishes, and what was under way on it is lost."""
        with self._lock:
            if self.port is None:
                return
            self.port.unlink()
            os.close(self._far)
            os.close(self._near)
            self._far = self._near = -1
            self.port, self._waiting = None, b""
        os.write(self._bell, b"!")

    def join(self, reads: int, writes: int) -> None:
        """Join it to a device that reads from the one and writes to the other descriptor; -1 for none."""
        with self._lock:
            self._reads, self._writes = reads, writes
        os.write(self._bell, b"!")

    def close(self) -> None:
        """End it."""
        self.cut()
        self._over = True
        os.write(self._bell, b"!")
        self._pump.join()
        os.close(self._hear)
        os.close(self._bell)

    # The pump

    def _run(self) -> None:
        while not self._over:
            with self._lock:
                listening = [end for end in (self._far, self._writes) if end >= 0]
                if self._waiting and self._writes >= 0:
                    listening.remove(self._writes)
                full = [self._far] if self._waiting else []
            try:
                ready, room, _ = select.select([self._hear, *listening], full, [])
            except OSError:  # cut between the lock and here
                continue
            with self._lock:
                if self._hear in ready:
                    os.read(self._hear, CHUNK)
                if self._far in ready:
                    self._from_host()
                if self._writes in ready:
                    self._from_device()
                if self._far in room:
                    self._to_host(b"")

    def _from_host(self) -> None:
        data = self.to_device(_read(self._far))
        if data and self._reads >= 0:
            _write(self._reads, data)

    def _from_device(self) -> None:
        data = _read(self._writes)
        if not data:  # the device died
            self._reads = self._writes = -1
        elif self._far >= 0:
            self._to_host(self.to_host(data))

    def _to_host(self, data: bytes) -> None:
        self._waiting += data
        self._waiting = self._waiting[_write(self._far, self._waiting) :]


def _read(end: int) -> bytes:
    try:
        return os.read(end, CHUNK)
    except OSError:  # the other side went away
        return b""


def _write(end: int, data: bytes) -> int:
    """Number of bytes that were taken."""
    try:
        return os.write(end, data)
    except OSError:
        return 0
