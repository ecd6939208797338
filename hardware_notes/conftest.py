"""Leaves the solid model out where its modelling library is not installed."""

from importlib.util import find_spec

collect_ignore = [] if find_spec("build123d") else ["model"]
