"""The time of the day as everything stored has it. Whoever depends on time is given this function, or another one."""

import time


def now_ms() -> int:
    """Milliseconds since 1970 (UTC), by this computer's clock."""
    return time.time_ns() // 1_000_000
