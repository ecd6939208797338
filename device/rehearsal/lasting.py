"""Files that outlive the simulated device: that of the world, and the record of the last release.

An event is a line, written at once; a record is written whole beside the old one and then takes its name. So both stay
good if the process ends at any instant.
"""

import json
import os


class Files:
    """The two files; without a path, the content lasts only as long as this object."""

    def __init__(self, world, record) -> None:
        self._world = world
        self._record = record
        self._last: "tuple | None" = None

    def happenings(self):
        """Yield time in milliseconds, shaft and event of every line so far."""
        try:
            with open(self._world or "") as file:
                for line in file:
                    time_ms, shaft, what = line.strip().split(" ", 2)
                    yield int(time_ms), shaft, what
        except OSError:  # there is no file yet
            pass

    def tell(self, time_ms: int, shaft, what: str) -> None:
        """Write a line for an event."""
        if self._world is not None:
            with open(self._world, "a") as file:
                file.write("{} {} {}\n".format(time_ms, shaft, what))

    def release_read(self):
        """Return the record of the last release, or None."""
        try:
            with open(self._record or "") as file:
                return tuple(json.load(file))
        except OSError:
            return self._last

    def release_write(self, *record) -> None:
        """Keep the record of a release."""
        self._last = record
        if self._record is not None:
            with open(self._record + ".new", "w") as file:
                json.dump(record, file)
            os.rename(self._record + ".new", self._record)
