"""Property tests draw the same examples every time and are never failed for being slow."""

import signal

from hypothesis import HealthCheck, settings

# Programs for MicroPython, shadows of the chip's modules, the bench: run by tests, not collected as such.
collect_ignore_glob = ["*_on_device.py", "bench/*", "pio/*"]

settings.register_profile(
    "same every time", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("same every time")

# What a shell starts in the background ignores Ctrl-C, and so would all that is started here to see what Ctrl-C does.
signal.signal(signal.SIGINT, signal.default_int_handler)
