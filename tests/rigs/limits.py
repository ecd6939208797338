"""Shortages of a machine, simulated for a program on a machine that has none."""

import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_room(most_bytes: int) -> Iterator[None]:
    """Limit the size of files that this process writes, as a full disk does; only the error number differs."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
