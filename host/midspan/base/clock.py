"""The clocks of this computer, passed in wherever something depends on time."""

import time
from collections.abc import Callable
from dataclasses import dataclass


def now_ms() -> int:
    """Return the time of day of this computer, UTC.

    Returns
    -------
    int
        Milliseconds since 1970, as every stored time has it.
    """
    return time.time_ns() // 1_000_000


@dataclass(frozen=True)
class Clocks:
    """Two clocks and a way to wait; a test passes its own.

    Parameters
    ----------
    now_ms : Callable[[], int]
        Time of day, milliseconds since 1970 (UTC); it jumps when somebody sets the clock.
    count_s : Callable[[], float]
        Seconds since some moment; it never jumps.
    sleep : Callable[[float], None]
        Waits for a number of seconds.
    """

    now_ms: Callable[[], int] = now_ms
    count_s: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
