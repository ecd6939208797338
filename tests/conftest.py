"""Property tests draw the same examples every time and are never failed for being slow."""

from hypothesis import HealthCheck, settings

# Programs for MicroPython, shadows of the chip's modules, the bench: run by tests, not collected as such.
collect_ignore_glob = ["*_on_device.py", "bench/*", "pio/*"]

settings.register_profile(
    "same every time", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("same every time")
