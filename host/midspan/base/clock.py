"""The time of the day as everything stored has it. Whoever depends on time is given this function, or another one."""

import time
from collections.abc import Callable
from dataclasses import dataclass


def now_ms() -> int:
    """Milliseconds since 1970 (UTC), by this computer's clock."""
    return time.time_ns() // 1_000_000


@dataclass(frozen=True)
class Clocks:
    """Time of the day in milliseconds since 1970, a count of seconds that nobody sets, and a way to wait."""

    now_ms: Callable[[], int] = now_ms
    count_s: Callable[[], float] = time.monotonic
    sleep: Callable[[float], None] = time.sleep
