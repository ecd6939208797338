"""Property tests draw the same examples every time and are never failed for being slow."""

from hypothesis import settings

settings.register_profile("same every time", derandomize=True, deadline=None)
settings.load_profile("same every time")
