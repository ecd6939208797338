"""What a machine that is short of something does to a program, without a machine that is."""

import resource
import signal
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def no_room(most_bytes: int) -> Iterator[None]:
    """No file of this process may become larger: as on a full disk, but for the number of the error."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)
