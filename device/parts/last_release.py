"""The record of the last release, which outlives a reset: (shaft, place, done, passed).

write(101, 3, False, 0)  # before the gate opens
read()  # (101, 3, False, 0)
"""

import os

from micropython import const

_FILE, _NEW = "release.txt", "release.new"
_LONGEST, _DIGITS = const(64), const(10)  # of the text, and of a number in it: whatever else lies there is no record


def read():
    """Return the record, None if none was written or it cannot be read."""
    try:
        with open(_FILE) as file:
            words = file.read(_LONGEST).split()
        if not all(word.isdigit() and len(word) <= _DIGITS for word in words):
            return None
        shaft, place, done, passed = [int(word) for word in words]
    except (OSError, ValueError):
        return None
    return shaft, place, bool(done), passed


def write(shaft: int, place: int, done: bool, passed: int) -> None:
    """Write the record to another file, then rename that: after a reset either the old or the new record is whole.

    At rest only: while it writes, the chip hears no interrupt for some ten milliseconds.
    """
    with open(_NEW, "w") as file:
        file.write("{} {} {} {}".format(shaft, place, int(done), passed))
    os.rename(_NEW, _FILE)
