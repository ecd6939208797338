"""Where things lie, for tests in whatever folder."""

from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TESTS = ROOT / "tests"
DATA = TESTS / "data"
ON_DEVICE = TESTS / "device"  # scripts that MicroPython runs
